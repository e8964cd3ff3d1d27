//! Air ahead of the fronts: where it leaves to, or how it is compressed.

use super::load::Step;
use super::{Columns, LineStand, NodeStand, Standing};
use crate::component::law::circle;
use crate::network::{Network, NodeKind, PassageKind};
use petgraph::unionfind::UnionFind;

/// Polytropic exponent of air that cannot leave: adiabatic, the stiffest.
const EXPONENT: f64 = 1.4;

/// One connected volume of air.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Air {
    /// Panels whose holes let it out, with their effective area, m2.
    holes: Vec<(usize, f64)>,
    /// Other ways out: pressure outside, Pa, and effective area, m2.
    ways: Vec<(f64, f64)>,
    /// Where it has no way out: `p V^n` in Pa m3^n.
    closed: Option<f64>,
}

impl Air {
    /// Effective area of all ways out, m2; 0: it cannot leave.
    pub fn outlet(&self) -> f64 {
        self.holes.iter().map(|(_, area)| area).chain(self.ways.iter().map(|(_, area)| area)).sum()
    }

    /// Pressure outside, Pa: the mean over the ways out.
    fn outside(&self, time: f64, network: &Network) -> f64 {
        let holes = self.holes.iter().map(|&(panel, area)| area * network.panels[panel].outside(time, &network.site));
        let ways = self.ways.iter().map(|(pressure, area)| area * pressure);
        holes.chain(ways).sum::<f64>() / self.outlet()
    }
}

impl Columns {
    /// Pressure of the air that something sees at the end of a step, Pa, and how it rises with what comes in, Pa/m3.
    pub(super) fn air_at(
        &self,
        standing: &Standing,
        air: Option<usize>,
        network: &Network,
        step: &Step<'_>,
    ) -> (f64, f64) {
        let Some(region) = air else { return (network.site.ambient_pressure, 0.0) };
        let Some(constant) = standing.air[region].closed else {
            return (standing.air[region].outside(step.time, network), 0.0);
        };
        let volume = self.air_volume(standing, region, step.states);
        let pressure = constant * volume.powf(-EXPONENT);
        (pressure, EXPONENT * pressure / volume)
    }

    /// Volume of a region of air, m3; never quite none.
    fn air_volume(&self, standing: &Standing, region: usize, states: &[f64]) -> f64 {
        let mut all = 0.0;
        let mut left = 0.0;
        for (k, line) in self.lines.iter().enumerate() {
            if standing.air_of_line[k] == Some(region) {
                all += line.volume;
                left += line.volume - self.line(k, states).volumes.iter().sum::<f64>();
            }
        }
        for (b, basin) in self.basins.iter().enumerate() {
            if standing.air_of_node[basin.node] == Some(region) {
                all += basin.volume;
                left += basin.volume - states[self.basin_index(b)];
            }
        }
        left.max(1e-6 * all)
    }

    /// Finds the regions of air as the water stands. What cannot leave keeps the pressure that it had.
    pub fn find_air(&self, standing: &mut Standing, network: &Network, open: &[bool], time: f64, states: &[f64]) {
        let step = Step { time, reach: 1.0, base: states, states };
        let had = !standing.air_of_line.is_empty();
        let before: Vec<f64> = (0..self.lines.len())
            .map(|k| {
                if had {
                    self.air_at(standing, standing.air_of_line[k], network, &step).0
                } else {
                    network.site.ambient_pressure
                }
            })
            .collect();
        let nodes = network.nodes.len();
        let mut parts = UnionFind::<usize>::new(nodes + self.lines.len());
        let airy = |node: usize| standing.nodes[node] != NodeStand::Full;
        let filling = |k: usize| standing.lines[k] == LineStand::Filling;
        for (k, line) in self.lines.iter().enumerate().filter(|(k, _)| filling(*k)) {
            let volumes = self.line(k, states).volumes;
            for (&node, volume) in line.ends.iter().zip(volumes) {
                if airy(node) && volume <= 0.0 {
                    parts.union(nodes + k, node);
                }
            }
        }
        for (passage, data) in network.passages.iter().enumerate() {
            let through = matches!(data.kind, PassageKind::Valve(_) | PassageKind::Crossover(_));
            if through && open[passage] && airy(data.from) && airy(data.to) {
                parts.union(data.from, data.to);
            }
        }
        let mut region_of = std::collections::BTreeMap::new();
        let mut air: Vec<Air> = Vec::new();
        let mut region = |element: usize| -> usize {
            *region_of.entry(parts.find(element)).or_insert_with(|| {
                air.push(Air::default());
                air.len() - 1
            })
        };
        let air_of_node: Vec<Option<usize>> = (0..nodes).map(|node| airy(node).then(|| region(node))).collect();
        let air_of_line: Vec<Option<usize>> =
            (0..self.lines.len()).map(|k| filling(k).then(|| region(nodes + k))).collect();
        for (node, region) in air_of_node.iter().enumerate() {
            let Some(region) = *region else { continue };
            match network.nodes[node].kind {
                NodeKind::Panel(k) => {
                    let area = network.panels[k].effective_area();
                    if area > 0.0 {
                        air[region].holes.push((k, area));
                    }
                }
                NodeKind::Outfall { pressure } => air[region].ways.push((pressure, 1.0)),
                NodeKind::Tank(_) | NodeKind::Header => {}
            }
        }
        for (k, line) in self.lines.iter().enumerate() {
            let (Some(region), PassageKind::WeirPipe(weir)) = (air_of_line[k], &network.passages[line.passage].kind)
            else {
                continue;
            };
            let [rise, fall] = self.line(k, states).volumes;
            if let Some(vent) = weir.vent.filter(|_| rise <= line.rise && fall <= line.fall()) {
                let area = vent.discharge_coefficient * circle(vent.bore);
                air[region].ways.push((network.site.ambient_pressure, area));
            }
        }
        (standing.air, standing.air_of_line, standing.air_of_node) = (air, air_of_line, air_of_node);
        for region in 0..standing.air.len() {
            if standing.air[region].outlet() > 0.0 {
                continue;
            }
            let lines = (0..self.lines.len()).filter(|&k| standing.air_of_line[k] == Some(region));
            let pressure = lines.map(|k| before[k]).fold(network.site.ambient_pressure, f64::max);
            let volume = self.air_volume(standing, region, states);
            if volume > 0.0 {
                standing.air[region].closed = Some(pressure * volume.powf(EXPONENT));
            } else {
                standing.air[region].ways.push((pressure, 1.0));
            }
        }
    }
}
