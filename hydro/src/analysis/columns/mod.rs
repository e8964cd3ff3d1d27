//! Columns of water: the lines of a network as they are set moving, filled, broken and drained.
//!
//! A line is a pipe or a weir pipe. Its water moves as one rigid column: over a step of time the loss of its law gets the
//! part that sets it moving,
//!
//! ```text
//! h_from - h_to = law(Q) + I dQ/dt,   I = rho L/A
//! ```
//!
//! A dry line fills with a front from either end; the air ahead leaves by holes, vents and open ends, against what it loses
//! there, or is compressed. The legs of a vented weir pipe part at the apex when the static pressure there would fall below ambient: the
//! rise ends as a free jet, the fall drains below a pocket of air that the vent feeds. Behind a tank that is out gas follows,
//! and on through headers that no other water comes to.
//!
//! Flows and volumes of every line are states of the run ([`Line::STATES`] of them each), the water that has gathered in every
//! item that starts dry is one more, and so is the pressure of the air in each of them and in each dry line.

mod arrival;
mod build;
mod drain;
mod follow;
mod leaving;
mod load;

pub use arrival::Arrival;
pub use build::Parts;
pub use follow::{Way, behind, lines_behind, ways};
pub use leaving::{AirStand, pockets};
pub use load::Step;

use super::links::Links;

/// Velocity below which water that has not moved yet counts as at rest, m/s.
const REST: f64 = 1e-3;

/// How water stands in a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineStand {
    /// One column from end to end.
    Full,
    /// Fronts advance from either end into air.
    Filling,
    /// The legs are parted at the apex; water stands in the fall.
    Parted,
    /// The legs are parted and the fall holds no water: what comes over the apex falls through.
    Falling,
    /// Gas has come to an end (0: its start) and follows the water.
    Draining(usize),
    /// Gas that came to the start of a vented weir pipe has come to its vent: it goes out there, and follows the water of the
    /// fall.
    Venting,
    /// It has run empty from an end: gas fills it.
    Drained(usize),
}

/// How water stands in an item that holds a pressure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NodeStand {
    /// Full of water.
    Full,
    /// Reached by water, not full.
    Filling,
    /// Not reached by water.
    Dry,
}

/// How the water stands in the whole network, between two restarts.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Standing {
    /// For each line.
    pub lines: Vec<LineStand>,
    /// For each node.
    pub nodes: Vec<NodeStand>,
    /// Air of what starts dry: of lines, then of nodes.
    pub air: Vec<AirStand>,
    /// Whether air passes each of the links between what starts dry.
    pub links: Vec<bool>,
    /// For each line and end the water, m3, down to which a front there has fallen back and been stopped.
    pub held: Vec<[f64; 2]>,
    /// Lines whose water still stands as it started: there nothing parts.
    pub rests: Vec<bool>,
    /// Nodes that the gas of a tank has come to.
    pub gas: Vec<bool>,
}

/// Curves of a line whose legs can part.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Parting {
    /// Rise as a free jet into the pocket.
    rise: usize,
    /// Fall, from the pocket.
    fall: usize,
    /// Vent, from the outside into the pocket: volume of air.
    vent: usize,
}

/// What carries the flow of a line that is full.
#[derive(Debug, Clone, PartialEq)]
enum Full {
    /// Parallel curves, and the share of each in the line.
    Curves(Vec<(usize, f64)>),
    Weir(usize),
}

/// A pipe or weir pipe.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Index among the passages.
    pub passage: usize,
    /// Nodes at both ends.
    pub ends: [usize; 2],
    /// Area of the bore, m2.
    pub area: f64,
    /// Volume, m3.
    pub volume: f64,
    /// Volume from its start to the apex, m3; a pipe's is all of it.
    pub rise: f64,
    /// Elevations of its start, its apex (of a pipe its end) and its end, m.
    heights: [f64; 3],
    full: Full,
    /// Curves of the fronts from both ends.
    fronts: Option<[usize; 2]>,
    parting: Option<Parting>,
    /// Tank whose gas can come to each end.
    pub behind: [Option<usize>; 2],
    /// For each of these ends: the curves of a line that drains from there, and their shares.
    drains: [Vec<(usize, f64)>; 2],
}

/// An item that starts dry: water gathers there before it passes on.
#[derive(Debug, Clone, PartialEq)]
pub struct Basin {
    /// Node.
    pub node: usize,
    /// Volume to be filled, m3.
    pub volume: f64,
    /// Curves from its points to the air in it.
    curves: Vec<usize>,
}

/// The lines and basins of a network, and where they are among the curves of its equations.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Columns {
    /// Lines, in the order of the passages.
    pub lines: Vec<Line>,
    /// Basins, in the order of the nodes.
    pub basins: Vec<Basin>,
    /// Summed area of the passages at each node, m2.
    pub feeds: Vec<f64>,
    /// Headers that gas can come to, nearest to their tanks first.
    ways: Vec<follow::GasWay>,
    /// What holds air at the start, and the ways of the air between.
    cells: Vec<leaving::AirCell>,
    links: Vec<leaving::AirLink>,
}

/// Flows and volumes of one line.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LineState {
    /// Flow at the start of the line, and at its end, m3/s. Full: both the flow. Filling: what enters at each end. Parted:
    /// of the rise, and of the fall.
    pub flows: [f64; 2],
    /// Water behind each front, m3; of a full line its volume and 0, of one that drains what is left and 0. Parted: of the
    /// rise, all of it until gas comes to it, and of the fall.
    pub volumes: [f64; 2],
}

impl Line {
    /// States of a line: both flows and both volumes.
    pub const STATES: usize = 4;

    /// Inertance of a volume of water in the line, Pa s2/m3: `rho V/A^2`.
    pub fn inertance(&self, volume: f64, density: f64) -> f64 {
        density * volume / (self.area * self.area)
    }

    /// Elevation of the place behind so much water from the start, m.
    pub fn height(&self, volume: f64) -> f64 {
        let [start, apex, end] = self.heights;
        if volume <= self.rise {
            start + (apex - start) * (volume / self.rise).clamp(0.0, 1.0)
        } else {
            apex + (end - apex) * ((volume - self.rise) / (self.volume - self.rise)).clamp(0.0, 1.0)
        }
    }

    /// Volume of the leg behind the apex, m3.
    pub fn fall(&self) -> f64 {
        self.volume - self.rise
    }

    /// Whether it counts as at rest with a flow, m3/s.
    pub fn is_still(&self, flow: f64) -> bool {
        flow.abs() < REST * self.area
    }

    /// Whether gas can come to it.
    pub fn can_drain(&self) -> bool {
        self.drains.iter().any(|drains| !drains.is_empty())
    }

    /// Whether its legs can part.
    pub fn can_part(&self) -> bool {
        self.parting.is_some()
    }

    /// Whether its legs part at a point.
    pub fn parts_at(&self, links: &Links, point: usize) -> bool {
        self.parting.as_ref().is_some_and(|parting| links.ends(parting.rise)[1] == point)
    }
}

impl Columns {
    /// Number of states.
    pub fn states(&self) -> usize {
        Line::STATES * self.lines.len() + self.basins.len() + self.cells.len()
    }

    /// State of a line, from the states of all.
    pub fn line(&self, line: usize, states: &[f64]) -> LineState {
        let at = &states[Line::STATES * line..Line::STATES * (line + 1)];
        LineState { flows: [at[0], at[1]], volumes: [at[2], at[3]] }
    }

    /// Writes the state of a line into the states of all.
    pub fn set_line(&self, line: usize, state: LineState, states: &mut [f64]) {
        let at = &mut states[Line::STATES * line..Line::STATES * (line + 1)];
        at.copy_from_slice(&[state.flows[0], state.flows[1], state.volumes[0], state.volumes[1]]);
    }

    /// Place of a basin's water among the states.
    pub fn basin_index(&self, basin: usize) -> usize {
        Line::STATES * self.lines.len() + basin
    }

    /// Natural sizes of the states: flows at 10 m/s, volumes, and of the pressures of air.
    pub fn scale(&self) -> impl Iterator<Item = f64> {
        let lines = self.lines.iter().flat_map(|line| [10.0 * line.area, 10.0 * line.area, line.volume, line.volume]);
        lines.chain(self.basins.iter().map(|basin| basin.volume)).chain(self.cells.iter().map(|_| leaving::SIZE))
    }

    /// Water in the lines and basins, m3, from the states of all.
    pub fn water(&self, states: &[f64]) -> f64 {
        let lines: f64 = (0..self.lines.len()).map(|k| self.line(k, states).volumes.iter().sum::<f64>()).sum();
        lines + states[self.basin_index(0)..self.cell_index(0)].iter().sum::<f64>()
    }

    /// Basin of a node.
    pub fn basin_of(&self, node: usize) -> Option<usize> {
        self.basins.iter().position(|basin| basin.node == node)
    }

    /// Line of a passage.
    pub fn line_of(&self, passage: usize) -> Option<usize> {
        self.lines.binary_search_by_key(&passage, |line| line.passage).ok()
    }
}
