//! Gas valve: equal valves in parallel between two gas vessels.

use super::law::circle;
use super::schedule::Schedule;
use crate::fluid::gas::{Gas, GasError, GasKind, GasState, Throat};

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

/// Share of the upstream pressure below which a drop is joined by a cubic: an isentropic flux has an infinite slope
/// where the drop vanishes.
pub const SMALL_DROP: f64 = 1e-5;

/// Ratio of the heats of a diatomic gas at low pressure, for [`GasValveLaw::Kv`].
const RATIO_OF_HEATS: f64 = 1.4;

/// Reference state of ISO 6358 (and ISO 8778): temperature, K.
const REFERENCE_TEMPERATURE: f64 = 293.15;
/// Reference state of ISO 6358 (and ISO 8778): pressure, Pa.
const REFERENCE_PRESSURE: f64 = 1e5;

/// Flow of gas through one valve that is open, from the vessel with the higher pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GasFlow {
    /// Mass flow, kg/s, 0 or more.
    pub mass_flow: f64,
    /// d(mass flow)/d(pressure downstream), kg/(s Pa), 0 or less.
    pub by_downstream: f64,
    /// d(mass flow)/d(pressure upstream) at constant temperature, kg/(s Pa).
    pub by_upstream: f64,
    /// d(mass flow)/d(temperature upstream) at constant pressure, kg/(s K).
    pub by_temperature: f64,
    /// Above 0 where choked, below 0 where not; continuous.
    pub choking: f64,
}

impl GasFlow {
    /// No flow.
    pub const NONE: GasFlow =
        GasFlow { mass_flow: 0.0, by_downstream: 0.0, by_upstream: 0.0, by_temperature: 0.0, choking: -1.0 };

    /// The flow of several valves, or of a valve part open.
    pub fn times(self, share: f64) -> Self {
        GasFlow {
            mass_flow: self.mass_flow * share,
            by_downstream: self.by_downstream * share,
            by_upstream: self.by_upstream * share,
            by_temperature: self.by_temperature * share,
            ..self
        }
    }
}

impl GasValveLaw {
    /// Mass flow of one valve, fully open, from a state at rest to a pressure downstream, Pa absolute.
    ///
    /// ```text
    /// throat   m = Cd A G                                        G: mass flux of the isentropic expansion
    /// Kv, xT   m = Kv/3600 Y sqrt(0.01 rho1 x p1),  Y = 1 - x/(3 F xT),  x = min((p1-p2)/p1, F xT),  F = 1
    /// C, b     m = C rho0 p1 sqrt(T0/T1),  times sqrt(1 - ((p2/p1 - b)/(1 - b))^2) where p2/p1 > b
    /// ```
    /// with m in kg/s, Kv in m3/h, C in m3/(s Pa), rho0 the gas at 293.15 K and 100 kPa (air: 1.185 kg/m3, as the
    /// standard gives it). F = gamma/1.4 with the gamma of the gas at low pressure. Below [`SMALL_DROP`] a cubic joins
    /// the flow to zero.
    ///
    /// # Errors
    /// Where the state at the throat cannot be found.
    ///
    /// # Source
    /// Throat: isentropic flow, ISO 9300 for the real gas. Kv: IEC 60534-2-1. C: ISO 6358-1 (formulas from memory).
    pub fn flow(
        &self,
        gas: &Gas,
        upstream: &GasState,
        downstream: f64,
        guess: Option<&Throat>,
    ) -> Result<GasFlow, GasError> {
        self.flow_like(gas, upstream, downstream, &mut guess.copied())
    }

    /// As [`Self::flow`], from the throat of a similar computation; leaves that of this one, where the law has one.
    ///
    /// # Errors
    /// Where the state at the throat cannot be found.
    pub fn flow_like(
        &self,
        gas: &Gas,
        upstream: &GasState,
        downstream: f64,
        throat: &mut Option<Throat>,
    ) -> Result<GasFlow, GasError> {
        let drop = upstream.pressure - downstream;
        if drop <= 0.0 {
            return Ok(GasFlow::NONE);
        }
        let small = SMALL_DROP * upstream.pressure;
        if drop >= small {
            return self.flow_at(gas, upstream, downstream, throat);
        }
        let edge = self.flow_at(gas, upstream, upstream.pressure - small, throat)?;
        // a x + b x^3 with the value and the slope of the law at the edge
        let slope = -edge.by_downstream * small;
        let b = 0.5 * (slope - edge.mass_flow);
        let a = edge.mass_flow - b;
        let x = drop / small;
        let by_drop = (a + 3.0 * b * x * x) / small;
        Ok(GasFlow {
            mass_flow: x * (a + b * x * x),
            by_downstream: -by_drop,
            by_upstream: by_drop,
            by_temperature: 0.0,
            ..edge
        })
    }

    fn flow_at(
        &self,
        gas: &Gas,
        upstream: &GasState,
        downstream: f64,
        throat: &mut Option<Throat>,
    ) -> Result<GasFlow, GasError> {
        let p1 = upstream.pressure;
        match *self {
            GasValveLaw::Throat { bore, discharge_coefficient } => {
                let area = discharge_coefficient * circle(bore);
                let flux = gas.mass_flux(upstream, downstream, throat.as_ref())?;
                *throat = Some(flux.throat);
                let [by_upstream, by_temperature] = flux.by_upstream(upstream).map(|by| area * by);
                Ok(GasFlow {
                    mass_flow: area * flux.mass_flux,
                    by_downstream: area * flux.d_flux_d_downstream,
                    by_upstream,
                    by_temperature,
                    choking: flux.choking,
                })
            }
            GasValveLaw::Kv { kv, xt } => {
                let limit = RATIO_OF_HEATS / 1.4 * xt;
                let ratio = (p1 - downstream) / p1;
                let x = ratio.min(limit);
                let root = (0.01 * upstream.density * x * p1).sqrt();
                let expansion = 1.0 - x / (3.0 * limit);
                let by_x = if ratio < limit {
                    kv / 3600.0 * root * (expansion / (2.0 * x) - 1.0 / (3.0 * limit))
                } else {
                    0.0
                };
                let mass_flow = kv / 3600.0 * expansion * root;
                // As the root of the density, which itself is of pressure and temperature.
                let by_density = 0.5 * mass_flow / upstream.density;
                let thinner = -upstream.dp_dt / upstream.dp_drho;
                Ok(GasFlow {
                    mass_flow,
                    by_downstream: -by_x / p1,
                    by_upstream: 0.5 * mass_flow / p1 + by_x * downstream / (p1 * p1) + by_density / upstream.dp_drho,
                    by_temperature: by_density * thinner,
                    choking: ratio - limit,
                })
            }
            GasValveLaw::Sonic { conductance, critical_ratio } => {
                let density = match gas.kind() {
                    GasKind::Air => 1.185,
                    GasKind::Nitrogen => REFERENCE_PRESSURE / (gas.gas_constant() * REFERENCE_TEMPERATURE),
                };
                let sonic = conductance * density * p1 * (REFERENCE_TEMPERATURE / upstream.temperature).sqrt();
                let ratio = downstream / p1;
                let beyond = ((ratio - critical_ratio) / (1.0 - critical_ratio)).max(0.0);
                let share = (1.0 - beyond * beyond).max(0.0).sqrt();
                let by_ratio = if beyond > 0.0 { -sonic * beyond / (share * (1.0 - critical_ratio)) } else { 0.0 };
                Ok(GasFlow {
                    mass_flow: sonic * share,
                    by_downstream: by_ratio / p1,
                    by_upstream: (sonic * share - by_ratio * ratio) / p1,
                    by_temperature: -0.5 * sonic * share / upstream.temperature,
                    choking: critical_ratio - ratio,
                })
            }
        }
    }
}
