//! Gas valve: equal valves in parallel between two gas vessels.

use super::schedule::Schedule;

/// `open` equal gas valves between two gas vessels.
#[derive(Debug, Clone, PartialEq)]
pub struct GasValve {
    /// Name in the file.
    pub name: String,
    /// Index of the vessel at its start.
    pub from: usize,
    /// Index of the vessel at its end.
    pub to: usize,
    /// Valves installed.
    pub installed: u32,
    /// Valves open.
    pub open: u32,
    /// Law of one valve.
    pub law: GasValveLaw,
    /// Outlet pressure that it does not exceed, Pa absolute.
    pub regulated_to: Option<f64>,
    /// When it moves.
    pub schedule: Schedule,
}

/// Law of one gas valve, fully open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GasValveLaw {
    /// Throat with a discharge coefficient.
    Throat {
        /// Bore, m.
        bore: f64,
        /// Discharge coefficient.
        discharge_coefficient: f64,
    },
    /// IEC 60534-2-1.
    Kv {
        /// Flow coefficient, m3/h at 1 bar.
        kv: f64,
        /// Pressure differential ratio at choked flow, of the valve without fittings.
        xt: f64,
    },
    /// ISO 6358-1.
    Sonic {
        /// Sonic conductance, m3/(s Pa) at the reference state.
        conductance: f64,
        /// Critical pressure ratio.
        critical_ratio: f64,
    },
}
