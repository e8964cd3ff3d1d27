//! The water side as columns that are set moving.

use super::{SolveError, WaterSide};
use crate::analysis::columns::{Columns, LineStand, NodeStand, Standing, Step};
use crate::network::{Network, NodeKind};

/// Least share of its holes that a panel which fills wets, lest their law vanish.
const LEAST_WETTED: f64 = 1e-4;

impl<'a> WaterSide<'a> {
    /// The same with the water as columns that are set moving, and their states at the start.
    pub fn moving(network: &'a Network) -> Result<(Self, Vec<f64>), SolveError> {
        let mut side = Self::build(network, true)?;
        let mut states = Vec::new();
        if let Some((columns, standing)) = &mut side.columns {
            (*standing, states) = columns.start(network);
        }
        Ok((side, states))
    }

    /// Flows that are the states of a line, m3/s.
    pub fn line_flows(&self, line: usize) -> [f64; 2] {
        self.columns.as_ref().map_or([0.0; 2], |(columns, standing)| columns.flows(&self.equations, standing, line))
    }

    /// Flows at both ends of a passage that is a column, m3/s.
    pub(super) fn column_flows(&self, passage: usize) -> Option<[f64; 2]> {
        let (columns, standing) = self.columns.as_ref()?;
        let line = columns.line_of(passage)?;
        Some(columns.end_flows(&self.equations, standing, line))
    }

    /// Flow out of the item at the start of a passage and into the one at its end, m3/s: they differ while it fills or
    /// drains.
    pub fn end_flows(&self, passage: usize) -> [f64; 2] {
        self.column_flows(passage).unwrap_or_else(|| [self.flow(passage); 2])
    }

    /// The columns and how the water stands in them; `None` where it follows at once.
    pub fn columns(&self) -> Option<(&Columns, &Standing)> {
        self.columns.as_ref().map(|(columns, standing)| (columns, standing))
    }

    /// End from which the gas of a tank drains a passage.
    pub(super) fn drains_from(&self, passage: usize) -> Option<usize> {
        let (columns, standing) = self.columns.as_ref()?;
        columns.gas_side(standing, columns.line_of(passage)?)
    }

    /// Whether the gas of a tank stands at the vent of a weir pipe, a passage, and can flow on to it.
    pub fn vents_gas(&self, passage: usize) -> bool {
        let Some((columns, standing)) = &self.columns else { return false };
        let Some(line) = columns.line_of(passage) else { return false };
        standing.lines[line] == LineStand::Venting
            && columns.gas_reaches(standing, &self.unshut())[columns.lines[line].ends[0]]
    }

    /// Water that the gas of a tank pushes out of lines, m3/s.
    pub fn draining(&self, tank: usize) -> f64 {
        self.columns.as_ref().map_or(0.0, |(columns, standing)| columns.draining(&self.equations, standing, tank))
    }

    /// Says how the water stands.
    pub fn set_standing(&mut self, standing: &Standing) {
        if let Some((_, own)) = &mut self.columns
            && own != standing
        {
            own.clone_from(standing);
            self.connected = false;
        }
    }

    /// Parameters of all curves as they were solved last, to begin with another time; `None` where the water does not move, or
    /// they are too many to be kept for every step.
    pub fn parameters(&self) -> Option<Vec<f64>> {
        (self.columns.is_some() && self.is_small()).then(|| self.equations.parameters())
    }

    /// Begins the next solve between two lists of [`Self::parameters`], a share of the way from the first to the second.
    pub fn begin_between(&mut self, lists: [&[f64]; 2], share: f64) {
        if !self.connected {
            self.connect_now();
        }
        self.equations.begin_between(lists, share);
    }

    /// Loads a step of the columns; [`Self::solve`] then finds the flows at its end.
    pub fn load(&mut self, step: &Step<'_>) {
        if !self.connected {
            self.connect_now();
        }
        if let Some((columns, standing)) = &self.columns {
            columns.load(&mut self.equations, self.network, standing, step);
        }
        self.wet_holes(Some(step));
    }

    /// Lets the holes of panels that started dry pass water: of one that fills, in proportion to the water in its gap, of a full
    /// one, where no step is given, all.
    pub(super) fn wet_holes(&mut self, step: Option<&Step<'_>>) {
        let (Some((columns, standing)), site) = (&self.columns, &self.network.site) else { return };
        for (b, basin) in columns.basins.iter().enumerate() {
            let NodeKind::Panel(k) = self.network.nodes[basin.node].kind else { continue };
            let (panel, inside) = (&self.network.panels[k], &self.plate.insides[k]);
            let (wetted, depth) = match (step, standing.nodes[basin.node]) {
                (Some(step), NodeStand::Filling) => {
                    let filled = step.states[columns.basin_index(b)] / basin.volume;
                    (filled.clamp(LEAST_WETTED, 1.0), panel.gap.unwrap_or(0.0))
                }
                (None, NodeStand::Full) => (1.0, 0.0),
                _ => continue,
            };
            for (c, cell) in inside.cells.cells.iter().enumerate() {
                let outside = inside.outside_of(panel, c, self.time, site);
                if let (Some(hole), Some(law)) = (inside.hole(c), panel.hole_law(outside, site)) {
                    self.equations.set_law(hole, law.share(cell.holes * wetted));
                    self.equations.set_linear(hole, 0.0, site.water_density * site.gravity * depth);
                }
            }
        }
    }

    /// Rates of the states of the columns over the step loaded and solved.
    pub fn column_rates(&self, step: &Step<'_>, rates: &mut [f64]) {
        if let Some((columns, standing)) = &self.columns {
            columns.rates(&self.equations, standing, step, rates);
        }
    }

    /// Static pressure at the apex of a vented weir pipe above ambient, Pa; `None` where no water runs over it as one column.
    pub fn apex_margin(&self, line: usize, states: &[f64]) -> Option<f64> {
        let (columns, standing) = self.columns.as_ref()?;
        let [start, _] = self.end_heads(columns.lines[line].passage)?;
        match standing.lines[line] {
            LineStand::Full => columns.apex_margin(&self.equations, self.network, line, start),
            LineStand::Draining(0) => columns.drained_apex_margin(&self.equations, self.network, line, (start, states)),
            _ => None,
        }
    }
}
