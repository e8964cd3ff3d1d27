//! Real gas: states by GERG-2008, their range, and where the gas would condense.

use super::gerg2008::helmholtz;
use super::helmholtz::{Helmholtz, Point};
use super::{GasError, GasKind, GasState};

/// Lowest and highest temperature, K (extended range of GERG-2008).
pub(super) const TEMPERATURES: (f64, f64) = (60.0, 700.0);
/// Highest pressure, Pa (extended range of GERG-2008).
pub(super) const HIGHEST_PRESSURE: f64 = 70e6;
/// Density above which no state lies in the range, kg/m3.
const HIGHEST_DENSITY: f64 = 1300.0;
/// Iterations end when the step is below this share of the unknown; the last step is then added to first order, so
/// that the error left is of the order of its square.
const STEP: f64 = 1e-7;
const MAX_ITERATIONS: u32 = 100;

/// End of the saturated vapour: highest temperature (K), pressure (Pa) and density (kg/m3) there, and the vapour
/// pressure below it, `ln(p/p_end) = T_end/T sum n (1 - T/T_end)^k`.
#[derive(Debug)]
struct Vapour {
    temperature: f64,
    pressure: f64,
    density: f64,
    terms: [(f64, f64); 4],
}

/// R. Span et al., J. Phys. Chem. Ref. Data 29 (2000) 1361, the ancillary equation of the vapour pressure.
static NITROGEN: Vapour = Vapour {
    temperature: 126.192,
    pressure: 3.3958e6,
    density: 313.3,
    terms: [(-6.124_452_84, 1.0), (1.263_272_20, 1.5), (-0.765_910_082, 2.5), (-1.775_705_64, 5.0)],
};

/// E. W. Lemmon et al., J. Phys. Chem. Ref. Data 29 (2000) 331, the ancillary equation of the dew line.
static AIR: Vapour = Vapour {
    temperature: 132.6312,
    pressure: 3.78502e6,
    density: 302.6,
    terms: [(-0.156_726_6, 0.5), (-5.539_635, 1.0), (0.756_721_2, 2.5), (-3.514_322, 4.0)],
};

/// Nitrogen or air as a real gas.
#[derive(Debug, Clone, Copy)]
pub(super) struct Real {
    pub helmholtz: &'static Helmholtz,
    vapour: &'static Vapour,
}

impl Real {
    pub fn new(kind: GasKind) -> Self {
        let vapour = match kind {
            GasKind::Nitrogen => &NITROGEN,
            GasKind::Air => &AIR,
        };
        Self { helmholtz: helmholtz(kind), vapour }
    }

    pub fn state_rho_t(&self, density: f64, temperature: f64) -> Result<GasState, GasError> {
        check_density(density)?;
        check_temperature(temperature)?;
        self.accept(self.helmholtz.point(density, temperature))
    }

    pub fn state_p_t(&self, pressure: f64, temperature: f64) -> Result<GasState, GasError> {
        check_temperature(temperature)?;
        if !(pressure > 0.0 && pressure <= HIGHEST_PRESSURE) {
            return Err(GasError::Pressure { pressure, highest: HIGHEST_PRESSURE });
        }
        let mut density = pressure / (self.helmholtz.gas_constant * temperature);
        if self.saturation_pressure(temperature).is_some_and(|saturation| pressure > saturation) {
            return Err(GasError::Condenses { pressure, temperature, density });
        }
        let (mut low, mut high) = (0.0, f64::INFINITY);
        let mut left = pressure;
        for _ in 0..MAX_ITERATIONS {
            let point = self.helmholtz.point(density, temperature);
            let mut next = 0.0; // outside the bracket: halve it
            if self.is_gas(&point) {
                left = pressure - point.pressure;
                let step = left / point.dp_drho;
                if step.abs() <= STEP * density {
                    return self.accept(moved(&point, step, 0.0));
                }
                if left > 0.0 {
                    low = density
                } else {
                    high = density
                }
                next = (density + step).clamp(0.5 * density, 2.0 * density);
            } else {
                high = density;
            }
            density = if next > low && next < high { next } else { 0.5 * (low + high).min(4.0 * density) };
        }
        Err(GasError::NotConverged { unknown: "density", pressure, temperature, left })
    }

    pub fn state_rho_u(&self, density: f64, internal_energy: f64, guess: f64) -> Result<GasState, GasError> {
        check_density(density)?;
        let (mut low, mut high) = TEMPERATURES;
        let mut temperature = if guess > low && guess < high { guess } else { 300.0 };
        for _ in 0..MAX_ITERATIONS {
            let point = self.helmholtz.point(density, temperature);
            let step = (internal_energy - point.internal_energy) / point.cv;
            if step.abs() <= STEP * temperature {
                return self.accept(moved(&point, 0.0, step));
            }
            if step > 0.0 {
                low = temperature
            } else {
                high = temperature
            }
            let next = temperature + step;
            temperature = if next > low && next < high { next } else { 0.5 * (low + high) };
            if high - low <= STEP * low {
                break;
            }
        }
        let energy_at = |temperature| self.helmholtz.point(density, temperature).internal_energy;
        let (lowest, highest) = (energy_at(TEMPERATURES.0), energy_at(TEMPERATURES.1));
        Err(GasError::Energy { internal_energy, density, lowest, highest })
    }

    /// Saturation pressure of the vapour (dew pressure of air), Pa; none above the temperature where it ends.
    pub fn saturation_pressure(&self, temperature: f64) -> Option<f64> {
        let vapour = self.vapour;
        (temperature < vapour.temperature).then(|| {
            let distance = 1.0 - temperature / vapour.temperature;
            let sum: f64 = vapour.terms.iter().map(|(n, k)| n * distance.powf(*k)).sum();
            vapour.pressure * (vapour.temperature / temperature * sum).exp()
        })
    }

    /// Stable (dp/drho > 0) and no liquid.
    fn is_gas(&self, point: &Point) -> bool {
        let liquid = point.temperature < self.vapour.temperature && point.density > self.vapour.density;
        point.dp_drho > 0.0 && point.cv > 0.0 && !liquid
    }

    /// The state, if it is in range and a gas.
    pub fn accept(&self, point: Point) -> Result<GasState, GasError> {
        let Point { pressure, temperature, density, .. } = point;
        check_temperature(temperature)?;
        if !self.is_gas(&point) {
            return Err(GasError::Condenses { pressure, temperature, density });
        }
        if !(pressure > 0.0 && pressure <= HIGHEST_PRESSURE) {
            return Err(GasError::Pressure { pressure, highest: HIGHEST_PRESSURE });
        }
        Ok(GasState {
            pressure,
            temperature,
            density,
            internal_energy: point.internal_energy,
            enthalpy: point.enthalpy,
            entropy: point.entropy,
            cp: point.cp,
            cv: point.cv,
            speed_of_sound: point.sound_squared.sqrt(),
            dp_drho: point.dp_drho,
            dp_dt: point.dp_dt,
        })
    }
}

/// The point moved by small steps of density and temperature, to first order; its derivatives stay.
pub(super) fn moved(point: &Point, density_step: f64, temperature_step: f64) -> Point {
    let p = point;
    let du_drho = (p.pressure - p.temperature * p.dp_dt) / (p.density * p.density);
    let ds_drho = -p.dp_dt / (p.density * p.density);
    let density = p.density + density_step;
    let pressure = p.pressure + p.dp_drho * density_step + p.dp_dt * temperature_step;
    let internal_energy = p.internal_energy + du_drho * density_step + p.cv * temperature_step;
    Point {
        density,
        temperature: p.temperature + temperature_step,
        pressure,
        internal_energy,
        enthalpy: internal_energy + pressure / density,
        entropy: p.entropy + ds_drho * density_step + p.cv / p.temperature * temperature_step,
        ..*p
    }
}

fn check_temperature(temperature: f64) -> Result<(), GasError> {
    let (lowest, highest) = TEMPERATURES;
    if temperature >= lowest && temperature <= highest {
        Ok(())
    } else {
        Err(GasError::Temperature { temperature, lowest, highest })
    }
}

fn check_density(density: f64) -> Result<(), GasError> {
    if density > 0.0 && density <= HIGHEST_DENSITY { Ok(()) } else { Err(GasError::Density { density }) }
}
