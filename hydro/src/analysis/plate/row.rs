//! Rows of cells that carry momentum: the gap of a panel of one row as a straight run.

use super::{Plate, Way};
use crate::analysis::hydraulics::Run;
use crate::component::header::Junction;
use crate::component::law::{LEAST_LOSS, Quadratic, circle};
use crate::component::panel::Panel;
use crate::network::Network;

/// Loss coefficient that the laws along a whole row hold in excess, see [`Run`]; it has no effect on results.
const EXTRA: f64 = 0.5;

/// Loss coefficient in excess of a length of gap; 0 in a panel whose gap carries no momentum.
pub(super) fn extra_loss(panel: &Panel, row: f64, length: f64) -> f64 {
    if panel.momentum.is_some() { (EXTRA * length / row).max(LEAST_LOSS) } else { 0.0 }
}

/// Along x or y: the direction of the row of a panel.
fn axis(panel: &Panel) -> usize {
    usize::from(panel.cells[0] == 1)
}

/// A curve of the gap, its length along the stream and its width across, m.
type Stretch = (usize, f64, f64);

impl Plate {
    /// Length of the row of a panel, m.
    pub(super) fn row_length(&self, panel: usize) -> f64 {
        let cells = &self.insides[panel].cells;
        cells.step[0] * f64::from(cells.lines[0]) + cells.step[1] * f64::from(cells.lines[1])
    }

    /// Whether a way, from an edge into a cell, runs against the row: it enters at the row's far end.
    pub(super) fn is_far(network: &Network, way: &Way) -> bool {
        let panel = &network.panels[way.panel];
        panel.momentum.is_some() && way.inward.is_some_and(|inward| inward[axis(panel)] < -0.999)
    }

    /// The rows that carry momentum; the curves of the gaps begin at `first`.
    ///
    /// A stream that enters or leaves at an end of the row, along it, is part of the run; all others join at its side.
    pub fn runs(&self, network: &Network, first: usize) -> Vec<Run> {
        let mut runs = Vec::new();
        if network.panels.iter().all(|panel| panel.momentum.is_none()) {
            return runs;
        }
        let mut curve = first;
        // Curves along each row with their lengths and widths, in order: a row's cells are numbered along it.
        let mut rows = Vec::<(usize, Vec<Stretch>)>::new();
        for (k, (inside, panel)) in self.insides.iter().zip(&network.panels).enumerate() {
            let mut row = Vec::new();
            let mut whole = true;
            for (at, face) in (0..).zip(inside.cells.faces(&panel.ribs)) {
                whole &= face.cells == [at, at + 1];
                row.push((curve, face.length, face.width));
                curve += 1;
            }
            // An outline or a rib may cut the row in two: then its parts carry none.
            if panel.momentum.is_some() && whole && !row.is_empty() && row.len() + 1 == inside.cells.cells.len() {
                rows.push((k, row));
            }
        }
        let ways = curve;
        for (k, row) in rows {
            let panel = &network.panels[k];
            let Some(momentum) = panel.momentum else { continue };
            let axis = axis(panel);
            let junction = Junction::Regain { dividing: momentum.dividing, combining: momentum.combining };
            let mut stations = vec![junction; row.len() + 1];
            let mut curves = row;
            let far_cell = self.insides[k].point + curves.len();
            let at_end = |cell: usize, sign: f64| {
                let mut found = self.ways.iter().enumerate().filter(|(_, way)| {
                    way.cell == cell && way.inward.is_some_and(|inward| sign * inward[axis] > 0.999)
                });
                // Several streams at one end stand side by side: no run of their own.
                match (found.next(), found.next()) {
                    (Some((at, way)), None) => Some((ways + at, way.length, way.width)),
                    _ => None,
                }
            };
            if let Some(way) = at_end(far_cell, -1.0) {
                curves.push(way);
                stations.push(Junction::End);
            }
            if let Some(way) = at_end(self.insides[k].point, 1.0) {
                curves.insert(0, way);
                stations.insert(0, Junction::End);
            }
            let (gap, rho) = (panel.gap.unwrap_or(1.0), network.site.water_density);
            let (length, tube) = (self.row_length(k), circle(2.0 * gap));
            let extra = |long: f64, width: f64| {
                Quadratic::new(extra_loss(panel, length, long), tube, 1.0, rho, 3.0).share(width * gap / tube)
            };
            runs.push(Run {
                head: curves.iter().map(|&(_, _, width)| 0.5 * rho / (width * gap).powi(2)).collect(),
                extra: curves.iter().map(|&(curve, long, width)| (curve < ways).then(|| extra(long, width))).collect(),
                curves: curves.iter().map(|&(curve, ..)| curve).collect(),
                stations,
            });
        }
        runs
    }
}
