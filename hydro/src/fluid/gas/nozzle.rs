//! Isentropic expansion from rest to a throat: choked and subsonic mass flux.
//!
//! The flux at the end of an isentropic expansion is `G = rho sqrt(2 (h0 - h))`. Along the isentrope it is greatest
//! where the speed equals the speed of sound (`dh = dp/rho`, `dp = w^2 drho`), which for a real gas is found as the
//! root of `h0 - h - w^2/2`. Source: ISO 9300:2005, annex, for the definition; the solution is ours.

use super::helmholtz::{Helmholtz, Point};
use super::ideal::{GAMMA, Ideal, critical_ratios};
use super::real::{Real, TEMPERATURES, moved};
use super::{GasError, GasState};

const MAX_ITERATIONS: u32 = 60;
/// The search for the greatest flux ends at this relative step of the density: the flux depends on its square, that
/// term is added, and what is left is of third order.
const CRITICAL_STEP: f64 = 3e-5;
/// An expansion, and the temperature of the throat, end at this relative step; the last one is added to first order.
const STEP: f64 = 1e-6;
/// Below this share of the upstream pressure the drop of enthalpy is integrated from the volumes, because the
/// difference of two enthalpies would lose digits.
const SMALL_DROP: f64 = 1e-3;

/// The gas at the end of an isentropic expansion from rest; also the start of the next, similar, computation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Throat {
    /// Mass flux, kg/(m2 s).
    pub mass_flux: f64,
    /// Pressure, Pa.
    pub pressure: f64,
    /// Density, kg/m3.
    pub density: f64,
    /// Temperature, K.
    pub temperature: f64,
    /// True where the speed is that of sound.
    pub choked: bool,
    density_ratio: f64,
    temperature_ratio: f64,
    /// 1 + d ln w / d ln rho along the isentrope.
    fundamental_derivative: f64,
    /// (dp/dT)/(rho cv), the parameter of Grueneisen.
    gruneisen: f64,
}

/// Mass flux from a state at rest to a pressure downstream.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flux {
    /// Mass flux, kg/(m2 s).
    pub mass_flux: f64,
    /// Derivative with the pressure downstream, kg/(m2 s Pa): zero where choked, else negative; it grows like
    /// `1/sqrt(p_up - p_down)` as the drop vanishes.
    pub d_flux_d_downstream: f64,
    /// True where the pressure downstream no longer matters.
    pub choked: bool,
    /// Positive where choked, `1 - p_down/p*`; else negative, `Mach^2 - 1`. Continuous: its zero is the change.
    pub choking: f64,
    /// The throat: start for the next computation.
    pub throat: Throat,
}

impl Flux {
    /// d(mass flux)/d(pressure upstream) at constant temperature, kg/(m2 s Pa), and d(mass flux)/d(temperature upstream) at
    /// constant pressure, kg/(m2 s K), both at constant pressure downstream.
    ///
    /// ```text
    /// dG = (rho/v) (dh0 - T (1 + g (v/w)^2) ds0),   g = (dp/dT)/(rho cv)
    /// dh0 = cp dT + (1/rho0 - a) dp,  ds0 = cp dT/T0 - a dp/T0,   a = T0 (dp/dT)/(rho0^2 (dp/drho))
    /// ```
    /// with rho, v, w, T at the throat: at constant pressure `dh = T ds` and `drho = -g rho T ds/w^2`. Where the flow is
    /// choked v = w, and to first order G does not change with the density of the throat. No flux, no slopes: they are
    /// then infinite.
    pub fn by_upstream(&self, upstream: &GasState) -> [f64; 2] {
        let throat = &self.throat;
        let speed = self.mass_flux / throat.density;
        if speed <= 0.0 {
            return [0.0; 2];
        }
        let mach_squared = if self.choked { 1.0 } else { 1.0 + self.choking };
        let dearness = throat.temperature * (1.0 + throat.gruneisen * mach_squared);
        let GasState { density, temperature, cp, dp_drho, dp_dt, .. } = *upstream;
        let expansion = temperature * dp_dt / (density * density * dp_drho);
        let by_pressure = 1.0 / density - expansion * (1.0 - dearness / temperature);
        let by_temperature = cp * (1.0 - dearness / temperature);
        [by_pressure, by_temperature].map(|by| by * throat.density / speed)
    }
}

/// Critical flow of an ideal gas, closed form.
pub(super) fn critical_ideal(gas: &Ideal, upstream: &GasState) -> Throat {
    let [density_ratio, temperature_ratio, pressure_ratio] = critical_ratios();
    let density = upstream.density * density_ratio;
    let temperature = upstream.temperature * temperature_ratio;
    Throat {
        mass_flux: density * (GAMMA * gas.gas_constant * temperature).sqrt(),
        pressure: upstream.pressure * pressure_ratio,
        density,
        temperature,
        choked: true,
        density_ratio,
        temperature_ratio,
        fundamental_derivative: (GAMMA + 1.0) / 2.0,
        gruneisen: GAMMA - 1.0,
    }
}

/// Mass flux of an ideal gas, closed form. The pressure downstream is below that upstream.
pub(super) fn flux_ideal(gas: &Ideal, upstream: &GasState, downstream: f64) -> Flux {
    let critical = critical_ideal(gas, upstream);
    if downstream <= critical.pressure {
        return choked(critical, downstream);
    }
    let log_ratio = ((downstream - upstream.pressure) / upstream.pressure).ln_1p();
    let cooling = ((GAMMA - 1.0) / GAMMA * log_ratio).exp_m1();
    let (density_ratio, temperature_ratio) = ((log_ratio / GAMMA).exp(), 1.0 + cooling);
    let throat = Throat {
        density: upstream.density * density_ratio,
        temperature: upstream.temperature * temperature_ratio,
        density_ratio,
        temperature_ratio,
        ..critical
    };
    let speed_squared = -2.0 * upstream.cp * upstream.temperature * cooling;
    subsonic(throat, downstream, speed_squared, GAMMA * gas.gas_constant * throat.temperature)
}

/// Critical flow of a real gas.
///
/// Newton in density and temperature for `s = s0` and `h0 - h = w^2/2`. Along the isentrope the derivative of the
/// second is `-w^2 Gamma/rho` with the fundamental derivative Gamma, kept from the guess and renewed as a secant. A
/// bracket holds the density: no lower than a supersonic point, no higher than a subsonic one.
pub(super) fn critical_real(gas: &Real, upstream: &GasState, guess: Option<&Throat>) -> Result<Throat, GasError> {
    let energy: &Helmholtz = gas.helmholtz;
    let warm = guess.filter(|guess| guess.choked);
    if let Some(guess) = warm {
        let start = (guess.density_ratio, guess.temperature_ratio, guess.fundamental_derivative);
        if let Ok(throat) = critical_from(energy, upstream, start) {
            return Ok(throat);
        }
    }
    let [density, temperature, _] = critical_ratios();
    critical_from(energy, upstream, (density, temperature, 1.2))
}

fn critical_from(energy: &Helmholtz, upstream: &GasState, start: (f64, f64, f64)) -> Result<Throat, GasError> {
    let (density_ratio, temperature_ratio, mut fundamental) = start;
    let mut density = upstream.density * density_ratio;
    let mut temperature = upstream.temperature * temperature_ratio;
    let (mut low, mut high) = (0.0, upstream.density);
    let mut last: Option<(f64, f64, f64)> = None;
    let mut left = f64::INFINITY;
    for _ in 0..MAX_ITERATIONS {
        let point = energy.point(density, temperature);
        let slope = isentropic_slope(&point);
        let w2 = point.sound_squared;
        let next;
        let mut warming = 0.0;
        if w2 > 0.0 && point.cv > 0.0 {
            warming = entropy_step(&point, upstream);
            let rise = (point.cv + point.dp_dt / density) * warming;
            let kinetic = upstream.enthalpy - point.enthalpy - rise;
            left = kinetic - 0.5 * w2 * (1.0 + warming / temperature);
            // What a first-order correction of the entropy leaves in `left`, over w^2.
            let blur = warming.abs() / temperature;
            if let Some((last_density, last_left, last_blur)) = last {
                let distance: f64 = density / last_density - 1.0;
                let secant = (last_left - left) / (w2 * distance);
                if distance.abs() > 1e-5 + 10.0 * (blur + last_blur) && secant > 0.2 && secant < 20.0 {
                    fundamental = secant;
                }
            }
            last = Some((density, left, blur));
            if left > blur * w2 {
                low = f64::max(low, density);
            } else if left < -blur * w2 {
                high = f64::min(high, density);
            }
            let step = left * density / (fundamental * w2);
            if step.abs() <= CRITICAL_STEP * density && blur <= STEP && kinetic > 0.0 {
                let end = moved(&point, step, warming + slope * step);
                // d2 ln G/d(ln rho)2 = -2 Gamma
                let gain = fundamental * (step / density).powi(2);
                return Ok(Throat {
                    mass_flux: density * (2.0 * kinetic).sqrt() * (1.0 + gain),
                    pressure: end.pressure,
                    density: end.density,
                    temperature: end.temperature,
                    choked: true,
                    density_ratio: end.density / upstream.density,
                    temperature_ratio: end.temperature / upstream.temperature,
                    fundamental_derivative: fundamental,
                    gruneisen: gruneisen(&point),
                });
            }
            next = (density + step).clamp(0.6 * density, 1.5 * density);
        } else {
            low = f64::max(low, density); // beyond the limit of stability
            next = 0.0;
        }
        let next = if next > low && next < high { next } else { 0.5 * (low + high) };
        temperature = within(temperature + warming + slope * (next - density));
        density = next;
    }
    Err(not_converged("throat", upstream, left))
}

/// Mass flux of a real gas. The pressure downstream is below that upstream.
pub(super) fn flux_real(
    gas: &Real,
    upstream: &GasState,
    downstream: f64,
    guess: Option<&Throat>,
) -> Result<Flux, GasError> {
    let likely_choked = guess.map_or(downstream < 0.53 * upstream.pressure, |guess| guess.choked);
    let mut start = guess.copied();
    if likely_choked {
        let critical = critical_real(gas, upstream, guess)?;
        if downstream <= critical.pressure {
            return Ok(choked(critical, downstream));
        }
        start = Some(critical);
    }
    let expanded = expand(gas.helmholtz, upstream, downstream, start.as_ref());
    if let Ok((point, speed_squared)) = &expanded
        && *speed_squared < point.sound_squared
    {
        let throat = Throat {
            mass_flux: 0.0,
            pressure: downstream,
            density: point.density,
            temperature: point.temperature,
            choked: false,
            density_ratio: point.density / upstream.density,
            temperature_ratio: point.temperature / upstream.temperature,
            fundamental_derivative: start.map_or(1.2, |start| start.fundamental_derivative),
            gruneisen: gruneisen(point),
        };
        return Ok(subsonic(throat, downstream, *speed_squared, point.sound_squared));
    }
    let critical = critical_real(gas, upstream, start.as_ref())?;
    if downstream > critical.pressure * (1.0 + 1e-6) {
        expanded?;
    }
    Ok(choked(critical, downstream))
}

/// Isentropic expansion to a pressure: the point there and the speed squared. Newton in density and temperature.
fn expand(
    energy: &Helmholtz,
    upstream: &GasState,
    downstream: f64,
    start: Option<&Throat>,
) -> Result<(Point, f64), GasError> {
    let ratio = downstream / upstream.pressure;
    let (density_ratio, temperature_ratio) = match start {
        Some(throat) => (throat.density_ratio, throat.temperature_ratio),
        None => (ratio.powf(1.0 / GAMMA), ratio.powf(1.0 - 1.0 / GAMMA)),
    };
    let mut density = upstream.density * density_ratio;
    let mut temperature = upstream.temperature * temperature_ratio;
    let mut left = f64::INFINITY;
    for _ in 0..MAX_ITERATIONS {
        let point = energy.point(density, temperature);
        let slope = isentropic_slope(&point);
        let (step, warming) = if point.sound_squared > 0.0 && point.cv > 0.0 {
            let warming = entropy_step(&point, upstream);
            left = downstream - point.pressure - point.dp_dt * warming;
            (left / point.sound_squared, warming)
        } else {
            (0.5 * (upstream.density - density), 0.0)
        };
        if step.abs() <= STEP * density && warming.abs() <= STEP * temperature && point.sound_squared > 0.0 {
            let end = moved(&point, step, warming + slope * step);
            return Ok((end, 2.0 * enthalpy_drop(upstream, &end, downstream)));
        }
        let step = step.clamp(-0.3 * density, 0.3 * density);
        temperature = within(temperature + warming + slope * step);
        density += step;
    }
    Err(not_converged("expansion", upstream, left))
}

/// `h0 - h = integral of dp/rho`. For a small drop by the trapezoidal rule with its first correction
/// (Euler-Maclaurin), `d(1/rho)/dp = -1/(rho w)^2`.
fn enthalpy_drop(upstream: &GasState, end: &Point, downstream: f64) -> f64 {
    let drop = upstream.pressure - downstream;
    if drop > SMALL_DROP * upstream.pressure {
        return upstream.enthalpy - end.enthalpy;
    }
    let slope_up = 1.0 / (upstream.density * upstream.speed_of_sound).powi(2);
    let slope_end = 1.0 / (end.density * end.density * end.sound_squared);
    drop * (0.5 * (1.0 / upstream.density + 1.0 / end.density) - drop * (slope_end - slope_up) / 12.0)
}

/// Change of temperature at constant density that brings the entropy to that upstream.
fn entropy_step(point: &Point, upstream: &GasState) -> f64 {
    let step = (upstream.entropy - point.entropy) * point.temperature / point.cv;
    step.clamp(-0.2 * point.temperature, 0.2 * point.temperature)
}

/// dT/drho at constant entropy.
fn isentropic_slope(point: &Point) -> f64 {
    point.temperature * point.dp_dt / (point.density * point.density * point.cv)
}

/// (dp/dT)/(rho cv).
fn gruneisen(point: &Point) -> f64 {
    point.dp_dt / (point.density * point.cv)
}

/// A throat may be colder than a vessel, yet not without limit.
fn within(temperature: f64) -> f64 {
    temperature.clamp(0.7 * TEMPERATURES.0, TEMPERATURES.1)
}

fn not_converged(unknown: &'static str, upstream: &GasState, left: f64) -> GasError {
    GasError::NotConverged { unknown, pressure: upstream.pressure, temperature: upstream.temperature, left }
}

fn choked(throat: Throat, downstream: f64) -> Flux {
    Flux {
        mass_flux: throat.mass_flux,
        d_flux_d_downstream: 0.0,
        choked: true,
        choking: 1.0 - downstream / throat.pressure,
        throat,
    }
}

fn subsonic(throat: Throat, downstream: f64, speed_squared: f64, sound_squared: f64) -> Flux {
    let speed = speed_squared.max(f64::MIN_POSITIVE).sqrt();
    let mass_flux = throat.density * speed;
    let choking = speed_squared / sound_squared - 1.0;
    Flux {
        mass_flux,
        d_flux_d_downstream: choking / speed,
        choked: false,
        choking,
        throat: Throat { mass_flux, pressure: downstream, choked: false, ..throat },
    }
}

/// No drop, no flux.
pub(super) fn at_rest(upstream: &GasState, downstream: f64) -> Flux {
    let throat = Throat {
        mass_flux: 0.0,
        pressure: downstream,
        density: upstream.density,
        temperature: upstream.temperature,
        choked: false,
        density_ratio: 1.0,
        temperature_ratio: 1.0,
        fundamental_derivative: 1.2,
        gruneisen: GAMMA - 1.0,
    };
    Flux { mass_flux: 0.0, d_flux_d_downstream: 0.0, choked: false, choking: -1.0, throat }
}
