//! Level of a tank against the submergence that its outlets need.

use super::Supply;
use crate::component::breakthrough::{dip, vortex};
use crate::network::PassageKind;

impl Supply<'_> {
    /// Level above the outlet at which gas breaks through at the flows of the last instant, m; 0 where nothing leaves.
    /// With a vortex breaker by the dip, else by the vortex, at the outlet that needs most.
    pub fn submergence(&self, tank: usize) -> f64 {
        let (data, site) = (&self.network.tanks[tank], &self.network.site);
        if self.dry[tank] {
            return 0.0;
        }
        let gas = self.contents[data.vessel].state.density;
        let mut deepest = 0.0_f64;
        for (k, passage) in self.network.passages.iter().enumerate() {
            let leaving = match (passage.from == data.node, passage.to == data.node) {
                (true, _) => self.water.flow(k),
                (_, true) => -self.water.flow(k),
                _ => continue,
            };
            let bore = match &passage.kind {
                PassageKind::Pipe(pipe) => pipe.bore,
                PassageKind::Valve(valve) => valve.bore,
                PassageKind::WeirPipe(weir) => weir.bore,
                PassageKind::Crossover(_) => continue,
            };
            if leaving > 0.0 {
                deepest = deepest.max(if data.vortex_breaker {
                    dip(leaving, gas, site.water_density, site.gravity)
                } else {
                    vortex(leaving, bore, site.gravity)
                });
            }
        }
        deepest
    }

    /// Level above the submergence that is needed, m; above 0 where nothing leaves.
    pub fn breakthrough_margin(&self, tank: usize, y: &[f64]) -> f64 {
        let needed = self.submergence(tank);
        if needed <= 0.0 {
            return 1.0;
        }
        y[self.water_index(tank)] / self.network.tanks[tank].surface() - needed
    }
}
