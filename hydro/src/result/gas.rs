//! What a run did to each volume of gas.

/// A value and when it was reached.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct At {
    /// The value.
    pub value: f64,
    /// Time, s.
    pub time: f64,
}

/// A gas bank, a gas header or the gas over the water of a tank through a run.
#[derive(Debug, Clone, PartialEq)]
pub struct GasVerdict {
    /// Name in the file.
    pub name: String,
    /// Lowest temperature of the gas, K, among the rows of the series.
    pub lowest_gas: At,
    /// Lowest temperature of the metal wall, K, among the rows; `None` where the file gives none.
    pub lowest_wall: Option<At>,
    /// Energy stored at the start, J.
    pub stored_at_start: f64,
    /// Energy stored at the end, J.
    pub stored_at_end: f64,
    /// Most energy stored, J, among the rows.
    pub most_stored: At,
    /// Gas that its relief valve let out, kg; `None` where it has none.
    pub relieved: Option<f64>,
    /// Times that its relief valve opened.
    pub relief_openings: usize,
    /// Gas that its vent-down let out, and the vents of weir pipes that it came to, less the air that these let in, kg; `None`
    /// where there is none of either.
    pub vented: Option<f64>,
    /// What is left in a bank of bottles that gave gas.
    pub bottles: Option<BottlesLeft>,
}

/// What is left in a bank of bottles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BottlesLeft {
    /// Pressure once the gas is at ambient temperature again, Pa absolute.
    pub settled_pressure: f64,
    /// Highest pressure that it has to feed into, Pa absolute.
    pub needed_pressure: f64,
    /// Further runs of the same use: each takes the gas that this one took and ends as cold as this one, the bottles
    /// warm up in between, and at the end of each the bank is still above the pressure that it feeds into.
    pub more_runs: u32,
}

/// Metal and outlets of a gas vessel over time; a vector is empty where the vessel has no such thing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct GasSideSeries {
    /// Temperature of the metal, K.
    pub wall_temperature: Vec<f64>,
    /// Pressure of the vapour in it, Pa: part of its pressure; empty where no water evaporates.
    pub vapour_pressure: Vec<f64>,
    /// Gas leaving through the relief valve, kg/s.
    pub relief: Vec<f64>,
    /// Gas leaving through the vent-down, kg/s.
    pub vent_down: Vec<f64>,
}

/// A tank through a run.
#[derive(Debug, Clone, PartialEq)]
pub struct TankVerdict {
    /// Name in the file.
    pub name: String,
    /// Water at the end, m3, heel included.
    pub water_left: f64,
    /// Water in it when gas first breaks through, m3: the heel that this leaves; `None` where it never does.
    pub breakthrough: Option<At>,
}
