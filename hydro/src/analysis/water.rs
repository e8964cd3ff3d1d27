//! The water side of a network as equations that can be solved for one state of tanks, valves and plume.

mod cells;
mod connect;
mod crossing;
mod header;
mod moving;
mod near;
mod solving;

use super::columns::{self, Columns, Standing};
use super::hydraulics::{Hydraulics, Weir, WeirFlow, WeirMode};
use super::links::Links;
use super::plate::Plate;
use super::ways_out::WaysOut;
use crate::network::{Network, NodeKind, PassageKind};
use crate::nonlinear::NonlinearError;
use crate::nonlinear::newton::{Tally, Workspace};
pub use header::StationState;
use header::Stations;
use nalgebra::DMatrix;
use std::ops::Range;

/// Why the water side could not be solved.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SolveError {
    /// Newton's method failed.
    #[error("the water network could not be solved at {time} s near {item}: {source}")]
    Nonlinear {
        /// Time, s.
        time: f64,
        /// Item where the flows balance least.
        item: String,
        /// What went wrong.
        source: NonlinearError,
    },
    /// The flows do not balance although the iteration ended.
    #[error("the flows at {item} do not balance at {time} s: {imbalance:.3e} m3/s are left over")]
    Imbalance {
        /// Time, s.
        time: f64,
        /// Item.
        item: String,
        /// Sum of flows, m3/s.
        imbalance: f64,
    },
    /// The streams in the gaps and the flow of the holes that they pass do not settle.
    #[error("the flow through the holes of {item} and the stream in its gap do not settle at {time} s")]
    Crossing {
        /// Time, s.
        time: f64,
        /// Panel.
        item: String,
    },
    /// The matrix is too large to be analysed.
    #[error("the network is too large to be solved: {0}")]
    TooLarge(String),
}

/// Share of the flow at the other end up to which one counts as none.
const NOTHING: f64 = 1e-9;

/// Where the flow of a passage is found.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Place {
    Curve(usize),
    /// Streams of the plate: the first and how many.
    Streams(usize, usize),
    Weir(usize),
}

/// The equations of the water side of a network, and where each item is in them.
#[derive(Debug)]
pub struct WaterSide<'a> {
    network: &'a Network,
    equations: Hydraulics,
    work: Workspace,
    /// Point of each node; of a panel that of its first cell.
    point_of_node: Vec<usize>,
    /// Points of the start and the end of each passage; of a panel that of its first cell, or the mouth there.
    ends: Vec<[usize; 2]>,
    /// Long headers.
    stations: Vec<Stations>,
    place: Vec<Place>,
    /// The insides of the panels.
    plate: Plate,
    /// Curves between points of the same panel or long header.
    gaps: Range<usize>,
    ways: WaysOut,
    /// What the stream in the gap takes from the holes of each cell, Pa; empty for a panel that it does not.
    crossing: Vec<Vec<f64>>,
    opened: Vec<f64>,
    dry_tanks: Vec<bool>,
    /// The water as columns that are set moving, and how it stands; `None`: it follows at once.
    columns: Option<(Columns, Standing)>,
    connected: bool,
    solved: bool,
    /// Whether the pressures outside stay as they are, and whether they have been given.
    outside: (bool, bool),
    /// Time of the last solve near another, which has moved the start of the next.
    neared: Option<f64>,
    time: f64,
    /// Networks solved so far.
    pub solves: usize,
}

impl<'a> WaterSide<'a> {
    /// Equations of a network with every valve open and every tank in use, whose water follows at once.
    pub fn new(network: &'a Network) -> Result<Self, SolveError> {
        Self::build(network, false)
    }

    fn build(network: &'a Network, moving: bool) -> Result<Self, SolveError> {
        let site = &network.site;
        let (mut plate, mut point_of_node, mut free) = Plate::number(network);
        let (streams, mouths) = plate.add_ports(network, &mut free);
        let mut stations = Stations::all(network, &point_of_node, &mut free);
        let pockets = free;
        free += if moving { columns::pockets(network) } else { 0 };
        let mut fixed = Vec::new();
        for (node, point) in network.nodes.iter().zip(&mut point_of_node) {
            let head = match node.kind {
                NodeKind::Tank(_) => 0.0,
                NodeKind::Outfall { pressure } => pressure + site.water_density * site.gravity * node.elevation,
                NodeKind::Header | NodeKind::Panel(_) => continue,
            };
            *point = free + fixed.len();
            fixed.push(head);
        }
        let mut ends = Stations::ends(network, &stations, &point_of_node);
        for (passage, mouths) in mouths {
            for (end, mouth) in ends[passage].iter_mut().zip(mouths) {
                *end = mouth.unwrap_or(*end);
            }
        }
        let passages = network.passages.len();
        let mut links = Links::with_capacity(free + passages);
        let outsides = plate.add_holes(network, free, fixed.len(), &mut links);
        fixed.resize(fixed.len() + outsides, 0.0);
        let inner = links.len();
        plate.add_gaps(network, &mut links);
        for (header, stations) in network.long_headers.iter().zip(&mut stations) {
            stations.add_links(network, header, &mut links);
        }
        let gaps = inner..links.len();
        let (mut place, mut vented, mut stream) = (Vec::with_capacity(passages), Vec::new(), 0);
        for ((passage, &count), &[from, to]) in network.passages.iter().zip(&streams).zip(&ends) {
            let (law, one_way) = match &passage.kind {
                PassageKind::Pipe(pipe) => (pipe.law(site), false),
                PassageKind::Valve(valve) => (valve.law(1.0, site), valve.one_way),
                PassageKind::Crossover(crossover) => (crossover.law(site), false),
                PassageKind::WeirPipe(weir) => (weir.full_law(site), false),
            };
            if let PassageKind::WeirPipe(weir) = &passage.kind
                && weir.vent.is_some()
            {
                place.push(Place::Weir(vented.len()));
                vented.push((from, to, weir));
                continue;
            }
            if count == 0 {
                place.push(Place::Curve(links.push(from, to, one_way, law)));
                continue;
            }
            place.push(Place::Streams(stream, count));
            for part in &mut plate.streams[stream..stream + count] {
                let [start, end] = part.ends;
                part.curve = links.push(start.unwrap_or(from), end.unwrap_or(to), one_way, law.share(part.share));
            }
            stream += count;
        }
        let mut columns = moving.then(|| {
            let full = place.iter().map(|place| match *place {
                Place::Curve(curve) => vec![(curve, 1.0)],
                Place::Streams(first, count) => {
                    plate.streams[first..first + count].iter().map(|part| (part.curve, part.share)).collect()
                }
                Place::Weir(_) => Vec::new(),
            });
            let full: Vec<Vec<(usize, f64)>> = full.collect();
            let cells = |panel: usize| plate.insides[panel].points(&network.panels[panel]);
            let (ends, fixed, links) = (&ends, &mut fixed, &mut links);
            let mut parts = columns::Parts { network, ends, cells: &cells, free, pockets, fixed, links };
            (Columns::build(&mut parts, full), Standing::default())
        });
        let mut weirs = Vec::new();
        for (from, to, weir) in vented {
            let apex = free + fixed.len();
            fixed.push(weir.apex_head(site));
            let full = links.push(from, to, false, weir.full_law(site));
            let forward = links.push(from, apex, true, weir.jet_law(&weir.rise, site));
            let backward = links.push(to, apex, true, weir.jet_law(&weir.fall, site));
            weirs.push(Weir { full, forward, backward, mode: WeirMode::Middle });
        }
        if let Some((columns, _)) = &mut columns {
            for (passage, place) in place.iter().enumerate() {
                if let Place::Weir(weir) = place {
                    columns.set_weir(passage, *weir);
                }
            }
        }
        let too_large = |error: &dyn std::fmt::Display| SolveError::TooLarge(error.to_string());
        let mut equations = Hydraulics::new(free, &fixed, links, weirs).map_err(|e| too_large(&e))?;
        let mut runs = plate.runs(network, inner);
        runs.extend(stations.iter().map(Stations::run));
        equations.set_runs(runs);
        let work = Workspace::new(&equations).map_err(|e| too_large(&e))?;
        let crossing = crossing::none(network, &plate);
        Ok(WaterSide {
            network,
            equations,
            work,
            point_of_node,
            ends,
            stations,
            place,
            plate,
            gaps,
            ways: WaysOut::new(network),
            crossing,
            opened: vec![1.0; network.passages.len()],
            dry_tanks: vec![false; network.tanks.len()],
            columns,
            connected: false,
            solved: false,
            outside: (false, false),
            neared: None,
            time: network.duty.start,
            solves: 0,
        })
    }

    /// Sets the time, for tables and messages, and with it the pressure outside every panel.
    pub fn set_time(&mut self, time: f64) {
        let site = &self.network.site;
        self.time = time;
        if self.outside == (true, true) {
            return;
        }
        self.outside.1 = true;
        let fixed = self.equations.free();
        for (index, (inside, panel)) in self.plate.insides.iter().zip(&self.network.panels).enumerate() {
            let lift = site.water_density * site.gravity * self.network.nodes[panel.node].elevation;
            let limited = panel.holes.is_limited();
            for (k, cell) in inside.cells.cells.iter().enumerate() {
                let outside = inside.outside_of(panel, k, time, site);
                let head = outside + lift + self.crossing(index, k);
                let moved = self.equations.head(fixed + inside.outside + k) != Some(head);
                self.equations.set_fixed(inside.outside + k, head);
                // Holes that cavitate follow the pressure outside.
                if limited
                    && moved
                    && let (Some(hole), Some(law)) = (inside.hole(k), panel.hole_law(outside, site))
                {
                    self.equations.set_law(hole, law.share(cell.holes));
                }
            }
        }
    }

    /// Says whether the pressure outside every panel stays the same at all times given from here on.
    pub fn set_outside_stays(&mut self, stays: bool) {
        self.outside = (stays, false);
    }

    /// Forgets how the flows have changed so far: they go on otherwise from here.
    pub fn forget_instants(&mut self) {
        self.equations.forget_instants();
    }

    /// Sets the total pressure at the outlet of a tank, Pa.
    pub fn set_tank(&mut self, tank: usize, outlet_pressure: f64) {
        let site = &self.network.site;
        let node = self.network.tanks[tank].node;
        let head = outlet_pressure + site.water_density * site.gravity * self.network.nodes[node].elevation;
        self.equations.set_fixed(self.point_of_node[node] - self.equations.free(), head);
    }

    /// Takes a tank out, or in again: a tank that is out passes nothing.
    pub fn set_dry(&mut self, tank: usize, dry: bool) {
        if self.dry_tanks[tank] != dry {
            self.dry_tanks[tank] = dry;
            self.connected = false;
        }
    }

    /// Sets how far a water valve is open, 0 to 1.
    pub fn set_opened(&mut self, passage: usize, opened: f64) {
        let PassageKind::Valve(valve) = &self.network.passages[passage].kind else { return };
        if self.opened[passage] == opened {
            return;
        }
        self.connected &= (self.opened[passage] > 0.0) == (opened > 0.0);
        self.opened[passage] = opened;
        if opened <= 0.0 {
            return;
        }
        let law = valve.law(opened, &self.network.site);
        match self.place[passage] {
            Place::Curve(curve) => self.equations.set_law(curve, law),
            Place::Streams(first, count) => {
                for stream in &self.plate.streams[first..first + count] {
                    self.equations.set_law(stream.curve, law.share(stream.share));
                }
            }
            Place::Weir(_) => {}
        }
    }

    /// Linear algebra of all solves so far.
    pub fn tally(&self) -> Tally {
        self.work.tally()
    }

    /// Head of a node, `p + rho g z`, Pa; of a panel the mean over its area. `None` where nothing ties it to a known
    /// pressure.
    pub fn head(&self, node: usize) -> Option<f64> {
        let first = self.point_of_node[node];
        let NodeKind::Panel(k) = self.network.nodes[node].kind else { return self.equations.head(first) };
        let cells = &self.plate.insides[k].cells.cells;
        if let [_] = **cells {
            return self.equations.head(first);
        }
        let mut mean = 0.0;
        for (k, cell) in cells.iter().enumerate() {
            mean += self.equations.head(first + k)? * cell.area;
        }
        Some(mean / self.network.panels[k].area)
    }

    /// Total pressure of a node, Pa; of a panel the mean over its area. `None` where nothing ties it to a known
    /// pressure.
    pub fn pressure(&self, node: usize) -> Option<f64> {
        Some(self.head(node)? - self.lift(node))
    }

    /// rho g z of a node, Pa.
    fn lift(&self, node: usize) -> f64 {
        let site = &self.network.site;
        site.water_density * site.gravity * self.network.nodes[node].elevation
    }

    /// The equations, as they were solved last.
    pub fn equations(&self) -> &Hydraulics {
        &self.equations
    }

    /// The insides of the panels.
    pub fn plate(&self) -> &Plate {
        &self.plate
    }

    /// Heads at the ends of a passage, Pa: where it opens into several cells the mean over its ports.
    pub fn end_heads(&self, passage: usize) -> Option<[f64; 2]> {
        let Place::Streams(first, count) = self.place[passage] else {
            let [from, to] = self.ends[passage];
            return Some([self.equations.head(from)?, self.equations.head(to)?]);
        };
        let mut heads = [0.0; 2];
        for stream in &self.plate.streams[first..first + count] {
            for (end, head) in heads.iter_mut().enumerate() {
                let point = stream.ends[end].unwrap_or(self.ends[passage][end]);
                *head += stream.share * self.equations.head(point)?;
            }
        }
        Some(heads)
    }

    /// Flow of a passage, m3/s.
    pub fn flow(&self, passage: usize) -> f64 {
        if let Some(ends) = self.column_flows(passage) {
            return if ends[0].abs() <= NOTHING * ends[1].abs() { ends[1] } else { ends[0] };
        }
        match self.place[passage] {
            Place::Curve(curve) => self.equations.flow(curve),
            Place::Streams(..) => self.curves_of(passage).map(|curve| self.equations.flow(curve)).sum(),
            Place::Weir(_) => self.weir(passage).map_or(0.0, |weir| weir.flow),
        }
    }

    /// Flow of a vented weir pipe and what it follows; `None` for other passages and where it is cut off.
    pub fn weir(&self, passage: usize) -> Option<WeirFlow> {
        let Place::Weir(weir) = self.place[passage] else { return None };
        let full = self.equations.weirs()[weir].full;
        self.equations.links().link(full).active.then(|| self.equations.weir_flow(weir))
    }

    /// How near the vent of a weir pipe is to a change: flow that the apex could pass as a free jet less the flow of
    /// the full pipe, m3/s, in the direction of the flow. Below 0 the vent admits air. Where water reaches the apex on neither side:
    /// what the higher side lacks, by the slope of its jet.
    pub fn vent_margin(&self, passage: usize) -> Option<f64> {
        let Place::Weir(weir) = self.place[passage] else { return None };
        let weir = self.equations.weirs()[weir];
        if !self.equations.links().link(weir.full).active {
            return None;
        }
        // Where the water does not meet, nothing is known of the flow of the full pipe, and of a side that is cut off no head either.
        let lacks = [weir.forward, weir.backward].map(|jet| {
            let lack = self.equations.parameter(jet);
            (lack, self.equations.is_tied(self.equations.links().ends(jet)[0]))
        });
        if lacks.iter().all(|&(lack, _)| lack < 0.0) {
            let any_tied = lacks.iter().any(|&(_, tied)| tied);
            let asked = lacks.iter().filter(|&&(_, tied)| tied || !any_tied);
            return Some(asked.fold(f64::NEG_INFINITY, |most, &(lack, _)| most.max(lack)));
        }
        let full = self.equations.flow(weir.full);
        Some(if full >= 0.0 {
            self.equations.flow(weir.forward) - full
        } else {
            self.equations.flow(weir.backward) + full
        })
    }

    /// Flow through the holes of a panel, m3/s.
    pub fn panel_flow(&self, panel: usize) -> f64 {
        self.plate.insides[panel].holes().map(|hole| self.equations.flow(hole)).sum()
    }

    /// Water leaving a tank, m3/s.
    pub fn outflow(&self, tank: usize) -> f64 {
        self.ways.from_tank(tank).map(|(passage, sign)| sign * self.flow_at(passage, sign)).sum()
    }

    /// Flow at the end of a passage that a sign names: 1 its start, -1 its end.
    fn flow_at(&self, passage: usize, sign: f64) -> f64 {
        let [start, end] = self.end_flows(passage);
        if sign > 0.0 { start } else { end }
    }

    /// d(outflow of tank i)/d(head at the outlet of tank j), m3/(s Pa), at the last solution; `None` where the network
    /// cannot be factorised.
    pub fn response(&mut self) -> Option<DMatrix<f64>> {
        let free = self.equations.free();
        let mut fixed: Vec<usize> =
            self.network.tanks.iter().map(|tank| self.point_of_node[tank.node] - free).collect();
        let tanks = fixed.len();
        // Gas that has come to a header stands for its tank there.
        let gas: Vec<(usize, usize)> = self.columns.iter().flat_map(|(columns, now)| columns.gas_heads(now)).collect();
        fixed.extend(gas.iter().map(|&(head, _)| head));
        // Water that follows at once is solved again near this state.
        let anew = self.columns.is_none();
        let response = self.equations.response(&mut self.work, &fixed, anew).ok()?;
        if anew {
            self.equations.begin_chords(self.time);
            self.begin_step();
        }
        if gas.is_empty() {
            return Some(response);
        }
        let of = |k: usize| if k < tanks { k } else { gas[k - tanks].1 };
        let mut whole = DMatrix::zeros(tanks, tanks);
        for i in 0..fixed.len() {
            for j in 0..fixed.len() {
                whole[(of(i), of(j))] += response[(i, j)];
            }
        }
        Some(whole)
    }

    /// Water leaving the network through panels and outfalls, m3/s.
    pub fn leaving(&self) -> f64 {
        let panels: f64 = (0..self.network.panels.len()).map(|k| self.panel_flow(k)).sum();
        let outfalls = self.ways.to_outfalls().map(|(passage, sign)| sign * self.flow_at(passage, -sign));
        panels + outfalls.sum::<f64>()
    }

    /// Largest sum of flows at an item whose pressure was solved for, m3/s.
    pub fn largest_imbalance(&self) -> f64 {
        self.equations.largest_imbalance().0
    }
}
