//! Cells of panels in the solved state.

use super::WaterSide;
use crate::component::panel::plume_presses;

impl WaterSide<'_> {
    /// Total pressure in a cell of a panel, Pa; `None` where nothing ties it to a known pressure.
    pub fn cell_pressure(&self, panel: usize, cell: usize) -> Option<f64> {
        Some(self.cell_head(panel, cell)? - self.lift(self.network.panels[panel].node))
    }

    /// Head in a cell of a panel, Pa; `None` where nothing ties it to a known pressure.
    pub fn cell_head(&self, panel: usize, cell: usize) -> Option<f64> {
        self.equations.head(self.plate.insides[panel].point + cell)
    }

    /// Pressure outside the holes of a cell of a panel at the time set, Pa.
    pub fn cell_outside(&self, panel: usize, cell: usize) -> f64 {
        let inside = &self.plate.insides[panel];
        let head = self.equations.head(self.equations.free() + inside.outside + cell);
        head.unwrap_or_default() - self.lift(self.network.panels[panel].node) - self.crossing(panel, cell)
    }

    /// Flow through the holes of a cell of a panel, m3/s.
    pub fn cell_flow(&self, panel: usize, cell: usize) -> f64 {
        self.plate.insides[panel].hole(cell).map_or(0.0, |hole| self.equations.flow(hole))
    }

    /// Pressure inside and outside, Pa, where a panel holds least against the plume at the time set: in the cell with
    /// the least difference of those that the plume presses on, the first where it presses on none; in a panel of one
    /// cell where the plume is highest. Inside is `None` where nothing ties it to a known pressure.
    pub fn weakest(&self, panel: usize) -> (Option<f64>, f64) {
        let (site, data) = (&self.network.site, &self.network.panels[panel]);
        if data.is_lumped() {
            return (self.pressure(data.node), data.greatest_outside(self.time, site));
        }
        let cells = 0..self.plate.insides[panel].cells.cells.len();
        let ends = cells.map(|cell| (self.cell_pressure(panel, cell), self.cell_outside(panel, cell)));
        let rank = |(inside, outside): &(Option<f64>, f64)| {
            let over = inside.map_or(f64::NEG_INFINITY, |inside| inside - outside);
            if plume_presses(*outside, site) { over } else { f64::INFINITY }
        };
        let least = ends.min_by(|a, b| rank(a).total_cmp(&rank(b)));
        least.unwrap_or((None, site.ambient_pressure))
    }
}
