//! What a file says of studies of many variants.

/// What a file says of studies; everything has a default.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Studies {
    /// The block `faults`.
    pub faults: Faults,
    /// The block `sizing`.
    pub sizing: Sizing,
    /// The block `fit`.
    pub fit: Fit,
}

/// What `hydro fit` varies, and the record it compares with.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Fit {
    /// The record: a path relative to the network file.
    pub record: Option<String>,
    /// Unknowns, `PATH=LEAST..MOST UNIT`.
    pub vary: Vec<String>,
    /// Columns of the record to use, `QUANTITY` or `QUANTITY=NAME IN THE RECORD`; empty: all.
    pub columns: Vec<String>,
    /// Bounds of what is added to the times of the record, s.
    pub offset: Option<[f64; 2]>,
    /// Noise, `COLUMN=VALUE UNIT`.
    pub noise: Vec<String>,
}

/// What `hydro faults` looks at.
#[derive(Debug, Clone, PartialEq)]
pub struct Faults {
    /// Gauge pressure of a bank at low charge, as a share of that in the file.
    pub low_charge: f64,
    /// Share of the open holes of a panel that the failure plugs.
    pub plugged: f64,
    /// Items and failures that are left out: patterns in which `*` is any run of characters.
    pub without: Vec<String>,
    /// Pairs of failures, `ITEM/KIND + ITEM/KIND`.
    pub pairs: Vec<String>,
}

impl Default for Faults {
    fn default() -> Self {
        Faults { low_charge: 0.8, plugged: 0.1, without: Vec::new(), pairs: Vec::new() }
    }
}

/// What `hydro size` may vary and what it must meet, beside the flux of every panel; SI.
#[derive(Debug, Clone, PartialEq)]
pub struct Sizing {
    /// Unknowns, `PATH=LOW..HIGH UNIT`.
    pub vary: Vec<String>,
    /// Least time that the supply lasts, s.
    pub lasts: Option<f64>,
    /// Least pressure inside a panel above that of its plume, Pa.
    pub plume_margin: f64,
    /// Greatest velocity in any passage, m/s.
    pub greatest_velocity: Option<f64>,
    /// Whether no tank may rise above its rating.
    pub within_rating: bool,
    /// Least pressure left in every gas bank, Pa absolute.
    pub bank_end_pressure: Option<f64>,
    /// Least flow of all panels together in the duty, m3/s.
    pub total_flow: Option<f64>,
    /// Greatest difference of flux between two panels, as a share of the mean of all.
    pub unevenness: Option<f64>,
    /// Weights, `PATH=NUMBER`.
    pub cost: Vec<String>,
}

impl Default for Sizing {
    fn default() -> Self {
        Sizing {
            vary: Vec::new(),
            lasts: None,
            plume_margin: 0.0,
            greatest_velocity: None,
            within_rating: true,
            bank_end_pressure: None,
            total_flow: None,
            unevenness: None,
            cost: Vec::new(),
        }
    }
}

/// Kinds of single failures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FaultKind {
    /// One of the open valves of a gas valve stays shut.
    OneShut,
    /// One valve more than planned opens of a gas valve.
    OneMore,
    /// A water valve stays shut.
    StuckShut,
    /// A water valve stands open from the start to the end.
    StuckOpen,
    /// A check valve passes water backwards.
    PassesBack,
    /// A tank is not there: nothing flows into or out of it.
    Out,
    /// Nothing passes a header, a crossover, a weir pipe or a pipe to a panel.
    Blocked,
    /// A gas bank begins with less pressure.
    LowCharge,
    /// Some holes of a panel are plugged.
    Plugged,
    /// The vent of a weir pipe admits no air.
    VentBlocked,
    /// The relief valve of a tank stands open from the start and never shuts.
    ReliefOpen,
}

impl FaultKind {
    /// All kinds.
    pub const ALL: [FaultKind; 11] = [
        FaultKind::OneShut,
        FaultKind::OneMore,
        FaultKind::StuckShut,
        FaultKind::StuckOpen,
        FaultKind::PassesBack,
        FaultKind::Out,
        FaultKind::Blocked,
        FaultKind::LowCharge,
        FaultKind::Plugged,
        FaultKind::VentBlocked,
        FaultKind::ReliefOpen,
    ];

    /// The kind's name in files and results: `one-shut`.
    pub fn label(self) -> &'static str {
        match self {
            FaultKind::OneShut => "one-shut",
            FaultKind::OneMore => "one-more",
            FaultKind::StuckShut => "stuck-shut",
            FaultKind::StuckOpen => "stuck-open",
            FaultKind::PassesBack => "passes-back",
            FaultKind::Out => "out",
            FaultKind::Blocked => "blocked",
            FaultKind::LowCharge => "low-charge",
            FaultKind::Plugged => "plugged",
            FaultKind::VentBlocked => "vent-blocked",
            FaultKind::ReliefOpen => "relief-open",
        }
    }

    /// Whether the failure takes an item away, or one of its valves.
    pub fn takes_away(self) -> bool {
        matches!(self, FaultKind::OneShut | FaultKind::StuckShut | FaultKind::Out | FaultKind::Blocked)
    }
}

/// The two sides of a pair of failures, where both are what `is_fault` knows. Names may hold plus signs.
pub fn pair(text: &str, is_fault: impl Fn(&str) -> bool) -> Option<[&str; 2]> {
    text.match_indices('+').find_map(|(at, _)| {
        let (left, right) = (text.get(..at)?.trim(), text.get(at + 1..)?.trim());
        (is_fault(left) && is_fault(right)).then_some([left, right])
    })
}
