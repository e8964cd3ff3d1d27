//! Long headers in the water network: a point for every position at which items join, and the run between them.

use super::WaterSide;
use crate::analysis::hydraulics::Run;
use crate::analysis::links::Links;
use crate::component::header::LongHeader;
use crate::component::law::{Friction, LEAST_LOSS, Law, Quadratic, circle};
use crate::network::{Network, PassageKind};
use crate::nonlinear::newton::{self, Options};
use crate::nonlinear::{NonlinearError, NonlinearStats};

/// Loss coefficient that the laws along a whole header hold in excess, taken off again by the corrections: keeps the
/// matrix well conditioned where a header loses next to nothing. It has no effect on results.
const EXTRA: f64 = 0.5;

/// Steps in which momentum is brought in where it cannot be had at once, and most iterations of each.
const STEPS: u8 = 10;
const MOST_ITERATIONS: usize = 200;

/// Positions closer than this share of the length are one.
const SAME_PLACE: f64 = 1e-9;

/// Where a long header is in the equations.
#[derive(Debug)]
pub(super) struct Stations {
    /// Positions, m, rising.
    at: Vec<f64>,
    /// Point of each.
    points: Vec<usize>,
    /// Their corrections and those of the header's curves.
    run: Run,
}

impl Stations {
    /// The stations of all long headers; their points beyond the headers' own are taken from `free` on.
    pub fn all(network: &Network, point_of_node: &[usize], free: &mut usize) -> Vec<Self> {
        let headers = network.long_headers.iter();
        headers.map(|header| Stations::new(network, header, point_of_node[header.node], free)).collect()
    }

    /// Points of the start and the end of each passage.
    pub fn ends(network: &Network, stations: &[Stations], point_of_node: &[usize]) -> Vec<[usize; 2]> {
        let point = |node: usize| point_of_node[node];
        let mut ends: Vec<[usize; 2]> = network.passages.iter().map(|p| [p.from, p.to].map(point)).collect();
        for (header, stations) in network.long_headers.iter().zip(stations) {
            for join in &header.joins {
                ends[join.passage][usize::from(join.to)] = stations.point_at(header, join.at);
            }
        }
        ends
    }

    /// The stations of a header; points beyond the first are taken from `next`.
    fn new(network: &Network, header: &LongHeader, point: usize, next: &mut usize) -> Self {
        let mut at: Vec<f64> = Vec::new();
        let mut bores: Vec<Vec<f64>> = Vec::new();
        for join in &header.joins {
            let bore = match &network.passages[join.passage].kind {
                PassageKind::Pipe(pipe) => pipe.bore,
                PassageKind::Valve(valve) => valve.bore,
                PassageKind::WeirPipe(weir) => weir.bore,
                PassageKind::Crossover(_) => header.bore,
            };
            match (at.last(), bores.last_mut()) {
                (Some(&last), Some(bores)) if join.at - last <= SAME_PLACE * header.length => bores.push(bore),
                _ => {
                    at.push(join.at);
                    bores.push(vec![bore]);
                }
            }
        }
        let stations = at.iter().zip(&bores).map(|(&at, bores)| header.junction(at, bores)).collect();
        let more = at.len().saturating_sub(1);
        let points = std::iter::once(point).chain(*next..*next + more).collect();
        *next += more;
        let head = header.velocity_head(&network.site);
        let run = Run { curves: Vec::new(), stations, head: vec![head; more], extra: Vec::new() };
        Stations { at, points, run }
    }

    /// Adds the links between the stations.
    pub fn add_links(&mut self, network: &Network, header: &LongHeader, links: &mut Links) {
        for (at, ends) in self.at.windows(2).zip(self.points.windows(2)) {
            let length = at[1] - at[0];
            let loss = (EXTRA * length / header.length).max(LEAST_LOSS);
            let law = Friction::new(length, header.bore, header.roughness, loss, header.friction_factor, &network.site);
            let density = network.site.water_density;
            self.run.extra.push(Some(Quadratic::new(loss, circle(header.bore), 1.0, density, 3.0)));
            self.run.curves.push(links.push(ends[0], ends[1], false, Law::Friction(law)));
        }
    }

    /// The run for the equations.
    pub fn run(&self) -> Run {
        self.run.clone()
    }

    /// Point of a position.
    fn point_at(&self, header: &LongHeader, at: f64) -> usize {
        let place = self.at.partition_point(|&x| x < at - SAME_PLACE * header.length);
        self.points[place.min(self.points.len() - 1)]
    }

    /// Whether a point is one of its stations.
    pub fn holds(&self, point: usize) -> bool {
        self.points.contains(&point)
    }
}

/// What the stream in a long header does at one of its stations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StationState {
    /// Position, m.
    pub at: f64,
    /// Pressure that the items joined there meet, Pa.
    pub pressure: f64,
    /// Static pressure, mean of before and behind, Pa.
    pub static_pressure: f64,
    /// Total pressure, mean of before and behind, Pa.
    pub total_pressure: f64,
    /// Velocities before and behind, m/s, positive along the header.
    pub velocities: [f64; 2],
}

impl WaterSide<'_> {
    /// The stations of a long header, by position; `None` where nothing ties it to a known pressure.
    pub fn stations(&self, header: usize) -> Option<Vec<StationState>> {
        let stations = &self.stations[header];
        let data = &self.network.long_headers[header];
        let site = &self.network.site;
        let (run, area) = (&stations.run, circle(data.bore));
        let flow =
            |segment: Option<usize>| segment.and_then(|k| run.curves.get(k)).map(|&curve| self.equations.flow(curve));
        let lift = site.water_density * site.gravity * self.network.nodes[data.node].elevation;
        let last = stations.at.len() - 1;
        (0..=last)
            .map(|k| {
                let pressure = self.equations.head(stations.points[k])? - lift;
                let flows = [flow(k.checked_sub(1)), flow(Some(k))];
                let [before, behind] = flows.map(|flow| flow.unwrap_or(0.0));
                let heads = run.heads_at(k);
                let over = run.stations[k].heads(heads, before, behind);
                let ends = [(before, over[0], heads[0]), (behind, over[1], heads[1])];
                let sides = ends.map(|(flow, over, head)| (pressure + over.value, head * flow * flow));
                // At an end of the header there is one side; a closed end beyond an inner station counts as one.
                let inner = stations.at[k] > 0.0 && stations.at[k] < data.length;
                let there: Vec<_> = sides
                    .iter()
                    .zip(flows)
                    .filter(|(_, flow)| inner || flow.is_some())
                    .map(|(side, _)| *side)
                    .collect();
                let count = there.len().max(1) as f64;
                let mean = |of: fn(&(f64, f64)) -> f64| match there.as_slice() {
                    [] => pressure,
                    sides => sides.iter().map(of).sum::<f64>() / count,
                };
                Some(StationState {
                    at: stations.at[k],
                    pressure,
                    static_pressure: mean(|(total, head)| total - head),
                    total_pressure: mean(|(total, _)| *total),
                    velocities: [before / area, behind / area],
                })
            })
            .collect()
    }

    /// Total pressure at the start of a long header, Pa.
    pub fn header_pressure(&self, header: usize) -> Option<f64> {
        let stations = &self.stations[header];
        let first = stations.run.curves.first().map_or(0.0, |&curve| self.equations.flow(curve));
        let site = &self.network.site;
        let node = &self.network.nodes[self.network.long_headers[header].node];
        let head = self.equations.head(*stations.points.first()?)?;
        let over =
            stations.run.stations.first().map_or(0.0, |s| s.heads(stations.run.heads_at(0), 0.0, first)[0].value);
        Some(head + over - site.water_density * site.gravity * node.elevation)
    }

    /// Solves without momentum, which is a convex problem, and brings it in by steps.
    pub(super) fn bring_momentum_in(&mut self) -> Result<NonlinearStats, NonlinearError> {
        let mut stats = NonlinearStats::default();
        for step in 0..=STEPS {
            self.equations.set_momentum(f64::from(step) / f64::from(STEPS));
            let options = Options { iterations: MOST_ITERATIONS, ..Options::default() };
            let outcome = match step {
                0 => newton::solve(&mut self.equations, &mut self.work, &options),
                _ => newton::resume(&mut self.equations, &mut self.work, &options),
            };
            match outcome {
                Ok(more) => {
                    stats.iterations += more.iterations;
                    stats.shortened += more.shortened;
                }
                Err(error) => {
                    self.equations.set_momentum(1.0);
                    return Err(error);
                }
            }
        }
        Ok(stats)
    }

    /// Largest error of the equation between heads of an item at the solution, Pa.
    pub fn largest_head_error(&self) -> f64 {
        self.equations.largest_head_error()
    }
}
