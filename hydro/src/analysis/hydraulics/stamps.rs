//! What the links put into the matrix and the right-hand side.

use super::Pattern;
use super::few::FEW;
use super::points::Table;

/// The linear elements of all links that take part, but for those of vented weir pipes, at one state. The pass over the laws
/// that leads to a state sums them up on its way, for it has all of them in hand.
#[derive(Debug, Clone, Default)]
pub(super) struct Stamps {
    /// Entries of the matrix off the diagonal, in its places, and behind them one for links that have none.
    values: Vec<f64>,
    /// Diagonal, right-hand side and sum of the flows leaving of each free point (the last number is for whole sets of lanes), and behind them one for all fixed points.
    points: Vec<[f64; 4]>,
    free: usize,
    /// Whether they are those of the laws and heads in force.
    pub valid: bool,
}

impl Stamps {
    /// Begins anew, for a matrix with so many places and so many free points.
    pub(super) fn begin(&mut self, places: usize, free: usize) {
        self.valid = false;
        self.values.clear();
        self.values.resize(places + 1, 0.0);
        self.points.resize(FEW.max(free + 1), [0.0; 4]);
        self.free = free;
        self.points[..=free].fill([0.0; 4]);
    }

    /// Adds a linear element of conductance `c` with the flow `still` at no change of heads, and the flow itself; `ways`: the
    /// points that the flow leaves and comes to, `slot`: its place off the diagonal, and those behind the last for none.
    pub(super) fn add(&mut self, ways: [u32; 2], slot: u32, element: [f64; 3]) {
        add(&mut self.points, &mut self.values, ways.map(|way| way as usize), slot, element);
    }

    /// Adds those of links that are passed over together.
    #[inline(always)]
    pub(super) fn add_all(&mut self, table: &Table, elements: impl Iterator<Item = [f64; 3]>) {
        let (points, values) = (&mut self.points[..], &mut self.values[..]);
        match points.first_chunk_mut::<FEW>() {
            Some(points) if self.free < FEW => {
                for (element, (ways, &slot)) in elements.zip(table.few_ways.iter().zip(&table.slots)) {
                    add(points, values, ways.map(usize::from), slot, element);
                }
            }
            _ => {
                for (element, (ways, &slot)) in elements.zip(table.ways.iter().zip(&table.slots)) {
                    add(points, values, ways.map(|way| way as usize), slot, element);
                }
            }
        }
    }

    /// Gives the sums of the flows leaving the points.
    pub(super) fn flows(&self, sums: &mut [f64]) {
        for (sum, &[_, _, flow, _]) in sums.iter_mut().zip(&self.points) {
            *sum = flow;
        }
    }

    /// Writes the matrix and the right-hand side.
    pub(super) fn write(&self, pattern: &Pattern, values: &mut [f64], rhs: &mut [f64]) {
        values.copy_from_slice(&self.values[..values.len()]);
        for ((&[c, excess, ..], &place), rhs) in self.points.iter().zip(pattern.col_start()).zip(rhs) {
            values[place as usize] = c;
            *rhs = excess;
        }
    }
}

/// See [`Stamps::add`].
#[inline(always)]
fn add(points: &mut [[f64; 4]], values: &mut [f64], [leaves, comes]: [usize; 2], slot: u32, element: [f64; 3]) {
    let [c, still, flow] = element;
    let add = |sums: &mut [f64; 4], element: [f64; 4]| *sums = std::array::from_fn(|k| sums[k] + element[k]);
    add(&mut points[leaves], [c, -still, flow, 0.0]);
    add(&mut points[comes], [c, still, -flow, 0.0]);
    values[slot as usize] -= c;
}

#[cfg(test)]
mod tests {
    use crate::analysis::hydraulics::{Hydraulics, Links};
    use crate::component::law::{Law, Quadratic};
    use crate::nonlinear::NetworkEquations;
    use crate::nonlinear::newton::{self, Options, Workspace};

    /// A ladder of free points between two fixed heads, with holes that pass nothing back, some of them shut.
    fn ladder() -> (Hydraulics, Workspace) {
        let (free, mut links) = (6, Links::with_capacity(12));
        let law = |k: f64| Law::Quadratic(Quadratic { k, smooth: 1e-6, natural: 0.1 });
        for point in 0..free - 1 {
            links.push(point, point + 1, false, law(1e4));
        }
        links.push(free, 0, false, law(1e3));
        for point in 0..free {
            links.push(point, free + 1 + point % 2, true, law(1e6));
        }
        let mut equations = Hydraulics::new(free, &[3e5, 1e5, 2.9e5], links, Vec::new()).unwrap();
        equations.set_loose(vec![false; free]);
        let work = Workspace::new(&equations).unwrap();
        (equations, work)
    }

    /// Matrix and right-hand side at the base.
    fn assembled(equations: &mut Hydraulics) -> (Vec<f64>, Vec<f64>) {
        let (mut values, mut rhs) = (vec![0.0; equations.pattern().len()], vec![0.0; equations.free()]);
        equations.assemble(&mut values, &mut rhs);
        (values, rhs)
    }

    /// What a pass over the laws sums up on its way is what a pass for its own sake finds, to the last bit; and it is not used
    /// once a law or a head is another.
    #[test]
    fn summed_up_on_the_way() {
        let (mut equations, mut work) = ladder();
        newton::solve(&mut equations, &mut work, &Options::default()).unwrap();
        assert!(equations.base_stamps.valid && equations.base_shut);
        let on_the_way = assembled(&mut equations);
        equations.base_stamps.valid = false;
        assert_eq!(assembled(&mut equations), on_the_way);
        let renewed = |change: &mut dyn FnMut(&mut Hydraulics)| {
            let (mut equations, mut work) = ladder();
            newton::solve(&mut equations, &mut work, &Options::default()).unwrap();
            change(&mut equations);
            assert!(!equations.base_stamps.valid);
            assembled(&mut equations)
        };
        assert_ne!(renewed(&mut |equations| equations.set_fixed(0, 3.1e5)), on_the_way);
        assert_ne!(renewed(&mut |equations| equations.set_linear(0, 1e4, 0.0)), on_the_way);
        assert_ne!(renewed(&mut |equations| equations.set_active(5, false)), on_the_way);
    }
}
