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
/// term is added, and what is left is of third order and of how well the fundamental derivative is known.
const CRITICAL_STEP: f64 = 3e-6;
/// An expansion, and the temperature of the throat, end at this relative step; the last one is added: to first order in the logarithms
/// of an expansion's density, to second order in the enthalpy.
const STEP: f64 = 1e-6;
/// Least relative change of the density upstream over which the ratio at the throat is seen to change.
const SLOPE_STEP: f64 = 1e-5;
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
    /// d(density ratio)/d(density upstream) from throat to throat, m3/kg; where choked.
    ratio_slope: f64,
    /// 1 + d ln w / d ln rho along the isentrope.
    fundamental_derivative: f64,
    /// (dp/dT)/(rho cv), the parameter of Grueneisen.
    gruneisen: f64,
    /// d ln p / d ln rho along the isentrope.
    exponent: f64,
    /// Isochoric heat, J/(kg K).
    cv: f64,
    /// Entropy, J/(kg K).
    entropy: f64,
}

/// Relative change of density or pressure up to which a throat is found from a similar one by its derivatives.
const SIMILAR: f64 = 0.1;

/// Density and temperature on an isentrope, from those on another at another pressure, to first order in their logarithms:
///
/// ```text
/// d ln rho = (d ln p - g (rho T/p) ds)/n,   d ln T = g d ln rho + ds/cv,   n = rho w^2/p
/// ```
///
/// with Grueneisen's g; exact for an ideal gas. `rise`: relative change of the pressure, small; `heat`: change of the entropy.
fn moved_to(at: &Throat, rise: f64, heat: f64) -> (f64, f64) {
    let warmth = at.gruneisen * at.density * at.temperature / at.pressure * heat;
    let denser = (logarithm(rise) - warmth) / at.exponent;
    let warmer = at.gruneisen * denser + heat / at.cv;
    (at.density * exponential(denser), at.temperature * exponential(warmer))
}

impl Throat {
    /// Density and temperature of a throat of another entropy and pressure, by [`moved_to`]; `None` where the pressure is not a
    /// similar one.
    fn like(&self, entropy: f64, pressure: f64) -> Option<(f64, f64)> {
        let rise = (pressure - self.pressure) / self.pressure;
        (rise.abs() <= SIMILAR).then(|| moved_to(self, rise, entropy - self.entropy))
    }

    /// Density and temperature of a choked throat behind another state; the ratio of the densities goes on as it did.
    fn behind(&self, upstream: &GasState) -> Option<(f64, f64)> {
        let before = self.density / self.density_ratio;
        let density = upstream.density * (self.density_ratio + self.ratio_slope * (upstream.density - before));
        let rise = (density - self.density) / self.density;
        (rise.abs() <= SIMILAR).then(|| {
            let warmer = self.gruneisen * logarithm(rise) + (upstream.entropy - self.entropy) / self.cv;
            (density, self.temperature * exponential(warmer))
        })
    }
}

/// `ln(1 + x)` for small x, to third order.
fn logarithm(x: f64) -> f64 {
    x * (1.0 - x * (0.5 - x * (1.0 / 3.0)))
}

/// `exp(x)` for small x, to third order.
fn exponential(x: f64) -> f64 {
    1.0 + x * (1.0 + x * (0.5 + x * (1.0 / 6.0)))
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
        ratio_slope: 0.0,
        fundamental_derivative: (GAMMA + 1.0) / 2.0,
        gruneisen: GAMMA - 1.0,
        exponent: GAMMA,
        cv: upstream.cv,
        entropy: upstream.entropy,
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
        let start = guess.behind(upstream).unwrap_or_else(|| {
            let cooling = guess.density_ratio.powf(guess.gruneisen);
            (upstream.density * guess.density_ratio, upstream.temperature * cooling)
        });
        if let Ok(mut throat) = critical_from(energy, upstream, start, guess.fundamental_derivative) {
            let denser = upstream.density - guess.density / guess.density_ratio;
            throat.ratio_slope = if denser.abs() > SLOPE_STEP * upstream.density {
                (throat.density_ratio - guess.density_ratio) / denser
            } else {
                guess.ratio_slope
            };
            return Ok(throat);
        }
    }
    let [density, temperature, _] = critical_ratios();
    critical_from(energy, upstream, (upstream.density * density, upstream.temperature * temperature), 1.2)
}

fn critical_from(
    energy: &Helmholtz,
    upstream: &GasState,
    (mut density, mut temperature): (f64, f64),
    mut fundamental: f64,
) -> Result<Throat, GasError> {
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
                    ratio_slope: 0.0,
                    fundamental_derivative: fundamental,
                    gruneisen: gruneisen(&point),
                    exponent: point.density * w2 / point.pressure,
                    cv: point.cv,
                    entropy: upstream.entropy,
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
    let critical;
    let mut start = guess;
    if likely_choked {
        critical = critical_real(gas, upstream, guess)?;
        if downstream <= critical.pressure {
            return Ok(choked(critical, downstream));
        }
        start = Some(&critical);
    }
    let expanded = expand(gas.helmholtz, upstream, downstream, start);
    if let Ok((throat, speed_squared, sound_squared)) = &expanded
        && speed_squared < sound_squared
    {
        return Ok(subsonic(*throat, downstream, *speed_squared, *sound_squared));
    }
    let critical = critical_real(gas, upstream, start)?;
    if downstream > critical.pressure * (1.0 + 1e-6) {
        expanded?;
    }
    Ok(choked(critical, downstream))
}

/// Isentropic expansion to a pressure: the gas there, the speed squared and that of sound. Newton in the logarithms of density and
/// temperature. From the last point, at `dp` and `ds` from the end, to second order
///
/// ```text
/// h = h1 + T1 ds + dp/rho1 + T1 ds^2/(2 cp) + g T1/(rho1 w^2) ds dp - dp^2/(2 rho1^2 w^2)
/// ```
fn expand(
    energy: &Helmholtz,
    upstream: &GasState,
    downstream: f64,
    start: Option<&Throat>,
) -> Result<(Throat, f64, f64), GasError> {
    let (mut density, mut temperature) =
        start.and_then(|throat| throat.like(upstream.entropy, downstream)).unwrap_or_else(|| {
            let ratio = downstream / upstream.pressure;
            (upstream.density * ratio.powf(1.0 / GAMMA), upstream.temperature * ratio.powf(1.0 - 1.0 / GAMMA))
        });
    let mut left = f64::INFINITY;
    for _ in 0..MAX_ITERATIONS {
        let point = energy.point(density, temperature);
        if !(point.sound_squared > 0.0 && point.cv > 0.0) {
            let step = (0.5 * (upstream.density - density)).clamp(-0.3 * density, 0.3 * density);
            temperature = within(temperature + isentropic_slope(&point) * step);
            density += step;
            continue;
        }
        let heat = upstream.entropy - point.entropy;
        left = downstream - point.pressure;
        let rise = left / point.pressure;
        let here = Throat {
            mass_flux: 0.0,
            pressure: point.pressure,
            density,
            temperature,
            choked: false,
            density_ratio: 1.0,
            ratio_slope: start.map_or(0.0, |start| start.ratio_slope),
            fundamental_derivative: start.map_or(1.2, |start| start.fundamental_derivative),
            gruneisen: gruneisen(&point),
            exponent: density * point.sound_squared / point.pressure,
            cv: point.cv,
            entropy: upstream.entropy,
        };
        let similar = rise.abs() <= SIMILAR && heat.abs() <= SIMILAR * point.cv;
        if similar {
            let (end, warm_end) = moved_to(&here, rise, heat);
            let (step, warming) = (end - density, warm_end - temperature);
            if step.abs() <= STEP * density && warming.abs() <= STEP * temperature {
                let speed_squared = 2.0 * enthalpy_drop(upstream, &point, end, [left, heat]);
                let throat = Throat { pressure: downstream, density: end, temperature: warm_end, ..here };
                return Ok((throat, speed_squared, point.sound_squared));
            }
            (density, temperature) = (end, within(warm_end));
            continue;
        }
        let warming = entropy_step(&point, upstream);
        let step = (left - point.dp_dt * warming) / point.sound_squared;
        let step = step.clamp(-0.3 * density, 0.3 * density);
        temperature = within(temperature + warming + isentropic_slope(&point) * step);
        density += step;
    }
    Err(not_converged("expansion", upstream, left))
}

/// Drop of enthalpy from upstream to the end of an expansion, at changes of pressure and entropy from a point. A small drop is
/// `h0 - h = integral of dp/rho`, by the trapezoidal rule with its first correction (Euler-Maclaurin), `d(1/rho)/dp = -1/(rho w)^2`.
fn enthalpy_drop(upstream: &GasState, point: &Point, density: f64, [rise, heat]: [f64; 2]) -> f64 {
    let drop = upstream.pressure - point.pressure - rise;
    if drop > SMALL_DROP * upstream.pressure {
        let stiffness = 1.0 / (point.density * point.sound_squared);
        let by_pressure =
            (1.0 - 0.5 * rise * stiffness) / point.density + gruneisen(point) * point.temperature * stiffness * heat;
        let by_heat = point.temperature * (1.0 + 0.5 * heat / point.cp);
        return upstream.enthalpy - point.enthalpy - (rise * by_pressure + heat * by_heat);
    }
    let slope_up = 1.0 / (upstream.density * upstream.speed_of_sound).powi(2);
    let slope_end = 1.0 / (density * density * point.sound_squared);
    drop * (0.5 * (1.0 / upstream.density + 1.0 / density) - drop * (slope_end - slope_up) / 12.0)
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
        ratio_slope: 0.0,
        fundamental_derivative: 1.2,
        gruneisen: GAMMA - 1.0,
        exponent: GAMMA,
        cv: upstream.cv,
        entropy: upstream.entropy,
    };
    Flux { mass_flux: 0.0, d_flux_d_downstream: 0.0, choked: false, choking: -1.0, throat }
}
