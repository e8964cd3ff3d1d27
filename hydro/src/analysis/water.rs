//! The water side of a network as equations that can be solved for one state of tanks, valves and plume.

use super::curve::Curve;
use super::hydraulics::{Hydraulics, Weir, WeirFlow};
use crate::network::{Network, NodeKind, PassageKind};
use crate::nonlinear::newton::{self, Options, Workspace};
use crate::nonlinear::{NonlinearError, NonlinearStats};
use petgraph::unionfind::UnionFind;

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
    /// The matrix is too large to be analysed.
    #[error("the network is too large to be solved: {0}")]
    TooLarge(String),
}

/// Iterations of a second try in which no step has to lower the error.
const STRIDES: usize = 200;

/// Where the flow of a passage is found.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Place {
    Curve(usize),
    Weir(usize),
}

/// The equations of the water side of a network, and where each item is in them.
#[derive(Debug)]
pub struct WaterSide<'a> {
    network: &'a Network,
    equations: Hydraulics,
    work: Workspace,
    point_of_node: Vec<usize>,
    place: Vec<Place>,
    holes: Vec<Option<usize>>,
    /// First fixed index of the outside of the panels; those of tanks and outfalls come before.
    outside: usize,
    opened: Vec<f64>,
    dry_tanks: Vec<bool>,
    connected: bool,
    solved: bool,
    time: f64,
    /// Networks solved so far.
    pub solves: usize,
}

impl<'a> WaterSide<'a> {
    /// Equations of a network with every valve open and every tank in use.
    pub fn new(network: &'a Network) -> Result<Self, SolveError> {
        let site = &network.site;
        let is_free = |kind: &NodeKind| matches!(kind, NodeKind::Header | NodeKind::Panel(_));
        let free = network.nodes.iter().filter(|node| is_free(&node.kind)).count();
        let (mut next_free, mut next_fixed) = (0..free, free..);
        let point_of_node: Vec<usize> = network
            .nodes
            .iter()
            .map(|node| if is_free(&node.kind) { next_free.next() } else { next_fixed.next() }.unwrap_or_default())
            .collect();
        let outside = network.nodes.len() - free;
        let mut fixed = vec![0.0; outside + network.panels.len()];
        for (node, &point) in network.nodes.iter().zip(&point_of_node) {
            if let NodeKind::Outfall { pressure } = node.kind {
                fixed[point - free] = pressure + site.water_density * site.gravity * node.elevation;
            }
        }
        let mut curves = Vec::new();
        let holes = network
            .panels
            .iter()
            .enumerate()
            .map(|(k, panel)| {
                let law = panel.hole_law(site)?;
                curves.push(Curve::new(point_of_node[panel.node], free + outside + k, true, law));
                Some(curves.len() - 1)
            })
            .collect();
        let (mut place, mut vented) = (Vec::new(), Vec::new());
        for passage in &network.passages {
            let (from, to) = (point_of_node[passage.from], point_of_node[passage.to]);
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
            place.push(Place::Curve(curves.len()));
            curves.push(Curve::new(from, to, one_way, law));
        }
        let mut weirs = Vec::new();
        for (from, to, weir) in vented {
            let apex = free + fixed.len();
            fixed.push(weir.apex_head(site));
            let full = curves.len();
            curves.push(Curve::new(from, to, false, weir.full_law(site)));
            curves.push(Curve::new(from, apex, true, weir.jet_law(&weir.rise, site)));
            curves.push(Curve::new(to, apex, true, weir.jet_law(&weir.fall, site)));
            weirs.push(Weir { full, forward: full + 1, backward: full + 2 });
        }
        let too_large = |error: &dyn std::fmt::Display| SolveError::TooLarge(error.to_string());
        let equations = Hydraulics::new(free, &fixed, curves, weirs).map_err(|e| too_large(&e))?;
        let work = Workspace::new(&equations).map_err(|e| too_large(&e))?;
        Ok(WaterSide {
            network,
            equations,
            work,
            point_of_node,
            place,
            holes,
            outside,
            opened: vec![1.0; network.passages.len()],
            dry_tanks: vec![false; network.tanks.len()],
            connected: false,
            solved: false,
            time: network.duty.start,
            solves: 0,
        })
    }

    /// Sets the time, for tables and messages, and with it the pressure outside every panel.
    pub fn set_time(&mut self, time: f64) {
        let site = &self.network.site;
        self.time = time;
        for (k, panel) in self.network.panels.iter().enumerate() {
            let lift = site.water_density * site.gravity * self.network.nodes[panel.node].elevation;
            self.equations.set_fixed(self.outside + k, panel.outside(time, site) + lift);
        }
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
        if let Place::Curve(curve) = self.place[passage]
            && opened > 0.0
        {
            self.equations.curves_mut()[curve].set_law(valve.law(opened, &self.network.site));
        }
    }

    /// Says which curves take part and which points nothing ties to a known head.
    fn connect(&mut self) {
        let free = self.equations.free();
        let dry = |node: usize| matches!(self.network.nodes[node].kind, NodeKind::Tank(k) if self.dry_tanks[k]);
        let shut: Vec<bool> = self
            .network
            .passages
            .iter()
            .zip(&self.opened)
            .map(|(passage, &opened)| opened <= 0.0 || dry(passage.from) || dry(passage.to))
            .collect();
        // Every fixed point is the one element `free`.
        let mut parts = UnionFind::<usize>::new(free + 1);
        for (passage, &shut) in self.network.passages.iter().zip(&shut) {
            if !shut {
                let (a, b) = (self.point_of_node[passage.from], self.point_of_node[passage.to]);
                parts.union(a.min(free), b.min(free));
            }
        }
        for &hole in self.holes.iter().flatten() {
            parts.union(self.equations.curves()[hole].from as usize, free);
        }
        let tied: Vec<bool> = (0..free).map(|point| parts.equiv(point, free)).collect();
        for (passage, &shut) in shut.iter().enumerate() {
            let ends = [self.network.passages[passage].from, self.network.passages[passage].to];
            let active =
                !shut && ends.iter().all(|&node| self.point_of_node[node] >= free || tied[self.point_of_node[node]]);
            let first = match self.place[passage] {
                Place::Curve(curve) => curve..curve + 1,
                Place::Weir(weir) => {
                    let full = self.equations.weirs()[weir].full;
                    full..full + 3
                }
            };
            for curve in &mut self.equations.curves_mut()[first] {
                curve.active = active;
            }
        }
        self.equations.set_loose(tied.iter().map(|tied| !tied).collect());
        self.connected = true;
    }

    /// Solves: from the last solution where there is one, to the given options, else from a cold start to the default.
    pub fn solve(&mut self, resumed: &Options) -> Result<NonlinearStats, SolveError> {
        if !self.connected {
            self.connect();
            self.solved = false;
        }
        self.solves += 1;
        if self.solved
            && let Ok(stats) = newton::resume(&mut self.equations, &mut self.work, resumed)
            && self.equations.largest_imbalance().0 <= self.equations.tolerated_imbalance(1e-7)
        {
            return Ok(stats);
        }
        self.solved = false;
        let mut outcome = newton::solve(&mut self.equations, &mut self.work, &Options::default());
        if outcome.is_err() {
            // A line search can be caught between laws that open and shut; strides alone are not.
            let strides = Options { iterations: STRIDES, free: STRIDES, ..Options::default() };
            outcome = newton::solve(&mut self.equations, &mut self.work, &strides);
        }
        let (imbalance, worst) = self.equations.largest_imbalance();
        let stats = outcome.map_err(|source| SolveError::Nonlinear {
            time: self.time,
            item: self.name(worst, &source),
            source,
        })?;
        if imbalance.is_nan() || imbalance > self.equations.tolerated_imbalance(1e-9) {
            let item = worst.map_or_else(String::new, |point| self.name_of_point(point));
            return Err(SolveError::Imbalance { time: self.time, item, imbalance });
        }
        self.solved = true;
        Ok(stats)
    }

    fn name(&self, worst: Option<usize>, error: &NonlinearError) -> String {
        match (error, worst) {
            (NonlinearError::Singular(place), _) => self.name_of_point(place.row),
            (_, Some(point)) => self.name_of_point(point),
            _ => String::from("the tanks"),
        }
    }

    fn name_of_point(&self, point: usize) -> String {
        let node = self.point_of_node.iter().position(|&p| p == point);
        node.map_or_else(String::new, |node| self.network.nodes[node].name.clone())
    }

    /// Head of a node, `p + rho g z`, Pa; `None` where nothing ties it to a known pressure.
    pub fn head(&self, node: usize) -> Option<f64> {
        self.equations.head(self.point_of_node[node])
    }

    /// Total pressure of a node, Pa; `None` where nothing ties it to a known pressure.
    pub fn pressure(&self, node: usize) -> Option<f64> {
        let site = &self.network.site;
        Some(self.head(node)? - site.water_density * site.gravity * self.network.nodes[node].elevation)
    }

    /// Flow of a passage, m3/s.
    pub fn flow(&self, passage: usize) -> f64 {
        match self.place[passage] {
            Place::Curve(curve) => self.equations.flow(curve),
            Place::Weir(_) => self.weir(passage).map_or(0.0, |weir| weir.flow),
        }
    }

    /// Flow of a vented weir pipe and what it follows; `None` for other passages and where it is cut off.
    pub fn weir(&self, passage: usize) -> Option<WeirFlow> {
        let Place::Weir(weir) = self.place[passage] else { return None };
        let full = self.equations.weirs()[weir].full;
        self.equations.curves()[full].active.then(|| self.equations.weir_flow(weir))
    }

    /// How near the vent of a weir pipe is to a change: flow that the apex could pass as a free jet less the flow of
    /// the full pipe, m3/s, in the direction of the flow. Below 0 the vent admits air.
    pub fn vent_margin(&self, passage: usize) -> Option<f64> {
        let Place::Weir(weir) = self.place[passage] else { return None };
        let weir = self.equations.weirs()[weir];
        if !self.equations.curves()[weir.full].active {
            return None;
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
        self.holes[panel].map_or(0.0, |hole| self.equations.flow(hole))
    }

    /// Water leaving a tank, m3/s.
    pub fn outflow(&self, tank: usize) -> f64 {
        let node = self.network.tanks[tank].node;
        let mut sum = 0.0;
        for (k, passage) in self.network.passages.iter().enumerate() {
            if passage.from == node {
                sum += self.flow(k);
            } else if passage.to == node {
                sum -= self.flow(k);
            }
        }
        sum
    }

    /// Largest sum of flows at an item whose pressure was solved for, m3/s.
    pub fn largest_imbalance(&self) -> f64 {
        self.equations.largest_imbalance().0
    }
}
