//! When and why a panel falls short in a run.

use super::LossItem;

/// What a panel lacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lack {
    /// Flux against the one that the file asks for.
    RequiredFlux,
    /// Flux against the heat, as the file judges it.
    Heat,
    /// Pressure inside against that of the plume.
    Pressure,
}

impl Lack {
    /// The name in results: `required_flux`, `heat` or `plume_pressure`.
    pub fn label(self) -> &'static str {
        match self {
            Lack::RequiredFlux => "required_flux",
            Lack::Heat => "heat",
            Lack::Pressure => "plume_pressure",
        }
    }
}

/// The first shortfall of a panel between ignition and the end of hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Shortfall {
    /// When, s.
    pub time: f64,
    /// What it lacks first.
    pub lack: Lack,
    /// Why; `None` where nobody asked, or where the network at rest could not be solved there.
    pub reason: Option<Reason>,
}

/// Why a panel falls short: what steady flow it would have at that moment with one thing put right.
///
/// Every margin is one in what the panel lacks: flux over that needed, less 1; against the plume, pressure inside less
/// that outside over that outside.
#[derive(Debug, Clone, PartialEq)]
pub struct Reason {
    /// Margin at rest, with everything as it is; `None` where nothing ties the panel to a known pressure.
    pub margin: Option<f64>,
    /// What would help, the best first.
    pub causes: Vec<Cause>,
    /// Margin with all that would help put right at once.
    pub margin_with_all: Option<f64>,
    /// Whether even that leaves the panel short: the network itself is too small.
    pub network_too_small: bool,
    /// Where most of the pressure goes between a tank and the panel, with all that would help put right; `None` where no
    /// water reaches the panel even so.
    pub most_loss: Option<LossItem>,
}

impl Reason {
    /// The causes that lift the panel over what it needs each by itself.
    pub fn sufficient(&self) -> impl Iterator<Item = &Cause> {
        self.causes.iter().filter(|cause| cause.restores)
    }
}

/// Something that would help a panel, put right.
#[derive(Debug, Clone, PartialEq)]
pub struct Cause {
    /// What it is.
    pub kind: CauseKind,
    /// Name of the item; empty where it is not one item.
    pub item: String,
    /// How it stands, as a clause for people.
    pub text: String,
    /// Flux of the panel with it put right, m/s.
    pub flux: f64,
    /// Margin with it put right, as in [`Reason`].
    pub margin: Option<f64>,
    /// Whether the panel then has all that it needs.
    pub restores: bool,
}

/// Kinds of causes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CauseKind {
    /// The water is still being set moving, or fills what was dry; put right: at rest, everything full.
    WaterMoving,
    /// The plume presses on the plate; put right: ambient pressure.
    PlumePressure,
    /// A valve is partly open or shut; put right: open.
    Valve,
    /// A tank is out; put right: as filled and pressed as at the start.
    TankEmpty,
    /// Tanks have lost pressure; put right: their highest pressure so far.
    TankPressure,
    /// The levels of tanks have fallen; put right: those of the start.
    TankLevel,
    /// The vent of a weir pipe admits air; put right: full.
    WeirVent,
}

impl CauseKind {
    /// The name in results.
    pub fn label(self) -> &'static str {
        match self {
            CauseKind::WaterMoving => "water_moving",
            CauseKind::PlumePressure => "plume_pressure",
            CauseKind::Valve => "valve",
            CauseKind::TankEmpty => "tank_empty",
            CauseKind::TankPressure => "tank_pressure",
            CauseKind::TankLevel => "tank_level",
            CauseKind::WeirVent => "weir_vent",
        }
    }
}
