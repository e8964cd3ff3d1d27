//! The network: what one file describes, in SI, with every reference resolved.
//!
//! A [`Network`] is plain data. Water items that hold a pressure are [`Node`]s, water items that join two of them
//! are [`Passage`]s; gas items that hold gas are [`GasVessel`]s, gas items that join two of them are
//! [`GasValve`]s. Indices are positions in the vectors of [`Network`].

pub mod check;

use crate::component::cooling::Cooling;
use crate::component::crossover::Crossover;
use crate::component::gas_outlet::VentDown;
use crate::component::gas_valve::GasValve;
use crate::component::gas_wall::Wall;
use crate::component::header::LongHeader;
use crate::component::law::circle;
use crate::component::panel::Panel;
use crate::component::pipe::Pipe;
use crate::component::port::Port;
use crate::component::tank::Tank;
use crate::component::valve::Valve;
use crate::component::weir_pipe::WeirPipe;
use crate::fluid::gas::{GasKind, GasModel};
pub use crate::fluid::site::Site;
use crate::name::Name;

/// Everything one network file says, in SI.
#[derive(Debug, Clone, PartialEq)]
pub struct Network {
    /// Title of the file; empty when not given.
    pub title: String,
    /// Surroundings and water.
    pub site: Site,
    /// Pressurising gas.
    pub gas: GasKind,
    /// Equation of state of the gas.
    pub gas_model: GasModel,
    /// Whether pipes carry their water column as inertia.
    pub inertia: bool,
    /// Relative tolerance of the time integration.
    pub tolerance: f64,
    /// Water items that hold a pressure, in the order of the file.
    pub nodes: Vec<Node>,
    /// Water items that join two nodes, in the order of the file.
    pub passages: Vec<Passage>,
    /// Tanks; `nodes[tanks[k].node]` is the node of tank `k`.
    pub tanks: Vec<Tank>,
    /// Panels; `nodes[panels[k].node]` is the node of panel `k`.
    pub panels: Vec<Panel>,
    /// Headers with a length; `nodes[long_headers[k].node]` is the node of one.
    pub long_headers: Vec<LongHeader>,
    /// Gas banks, gas headers and the ullages of the tanks.
    pub gas_vessels: Vec<GasVessel>,
    /// Gas valves, in the order of the file.
    pub gas_valves: Vec<GasValve>,
    /// How the water is taken to cool the plate.
    pub cooling: Cooling,
    /// Times that the requirement refers to.
    pub duty: Duty,
    /// The user's notes: item name and text, in the order of the file.
    pub notes: Vec<(String, String)>,
}

/// A water item that holds a (total) pressure.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// Name in the file.
    pub name: Name,
    /// Elevation, m: for a tank its bottom (the outlet).
    pub elevation: f64,
    /// What the item is.
    pub kind: NodeKind,
}

/// Kinds of water items that hold a pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NodeKind {
    /// Tank; index into [`Network::tanks`].
    Tank(usize),
    /// Header: a junction whose pressure is found.
    Header,
    /// Panel; index into [`Network::panels`].
    Panel(usize),
    /// Outfall: a fixed total pressure, Pa absolute.
    Outfall {
        /// Pa absolute.
        pressure: f64,
    },
}

/// A water item that joins two nodes; positive flow runs `from` -> `to`.
#[derive(Debug, Clone, PartialEq)]
pub struct Passage {
    /// Name in the file.
    pub name: Name,
    /// Index of the node at its start.
    pub from: usize,
    /// Index of the node at its end.
    pub to: usize,
    /// What the item is, with its law.
    pub kind: PassageKind,
    /// Equal ports at its start and at its end, where that is a panel of more than one cell; else empty.
    pub ports: [Vec<Port>; 2],
    /// Whether nothing passes, whatever its law.
    pub blocked: bool,
}

/// Kinds of passages: one arm a component.
#[derive(Debug, Clone, PartialEq)]
pub enum PassageKind {
    /// Pipe.
    Pipe(Pipe),
    /// Water valve.
    Valve(Valve),
    /// Weir pipe with its apex.
    WeirPipe(WeirPipe),
    /// Crossover between two panels.
    Crossover(Crossover),
}

impl PassageKind {
    /// Area that the water has in it, m2: of the bore, of all ports.
    pub fn area(&self) -> f64 {
        match self {
            PassageKind::Pipe(pipe) => circle(pipe.bore),
            PassageKind::WeirPipe(weir) => circle(weir.bore),
            PassageKind::Valve(valve) => valve.area(),
            PassageKind::Crossover(crossover) => crossover.area(),
        }
    }

    /// The kind's name in results: `pipe`, `valve`, `weir_pipe` or `crossover`.
    pub fn label(&self) -> &'static str {
        match self {
            PassageKind::Pipe(_) => "pipe",
            PassageKind::Valve(_) => "valve",
            PassageKind::WeirPipe(_) => "weir_pipe",
            PassageKind::Crossover(_) => "crossover",
        }
    }
}

/// A volume of gas.
#[derive(Debug, Clone, PartialEq)]
pub struct GasVessel {
    /// Name in the file (the tank's name for an ullage).
    pub name: String,
    /// What the vessel is.
    pub kind: GasVesselKind,
    /// Initial pressure, Pa absolute.
    pub pressure: f64,
    /// Initial gas temperature, K.
    pub temperature: f64,
    /// Heat transfer to the surroundings, W/K; 0 is adiabatic.
    pub wall_heat_transfer: f64,
    /// Metal between the gas and the surroundings, in place of `wall_heat_transfer`.
    pub wall: Option<Wall>,
    /// Lowest temperature that its material is good for, K.
    pub minimum_temperature: Option<f64>,
    /// Valve that lets its gas out.
    pub vent_down: Option<VentDown>,
}

/// Kinds of gas vessels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GasVesselKind {
    /// Bank of equal bottles.
    Bank {
        /// Number of bottles.
        bottles: u32,
        /// Volume of one bottle, m3.
        bottle_volume: f64,
    },
    /// Gas header.
    Header {
        /// Volume, m3.
        volume: f64,
    },
    /// Gas over the water of a tank; index into [`Network::tanks`].
    Ullage(usize),
}

/// Times that the requirement refers to, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Duty {
    /// Start of the run.
    pub start: f64,
    /// The requirement applies from here ...
    pub ignition: f64,
    /// ... for this long.
    pub hold: f64,
    /// The run stops here at the latest.
    pub end: f64,
}

impl Duty {
    /// End of the time in which the requirement applies, s.
    pub fn hold_ends(&self) -> f64 {
        self.ignition + self.hold
    }

    /// Whether the requirement applies at a time, s: from ignition to the end of hold, both included.
    pub fn applies(&self, time: f64) -> bool {
        (self.ignition..=self.hold_ends()).contains(&time)
    }
}
