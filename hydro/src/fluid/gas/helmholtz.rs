//! Helmholtz energy of a gas of fixed composition, with its first and second derivatives.
//!
//! Written for speed, see `docs/decisions/gas-evaluation.md`: the terms are straight-line code, four side by side, the
//! powers come from products, and the exponentials are common to a group of terms.

use super::gerg2008::Coefficients;
use super::ideal_part::{IdealPart, IdealTable, Segment};
use super::lanes::{Four, Lanes, OneByOne};
use crate::fluid::logarithm::ln;

/// Powers of the reduced density and of the reciprocal reduced temperature, by as few products as may be.
pub(super) struct Powers {
    /// delta^0 .. delta^7.
    delta: [f64; 8],
    /// tau^(k/8) at k; only where terms have it, else not a number.
    tau: [f64; 256],
}

/// Sets powers, each the product of two before it.
macro_rules! chain {
    ($t:ident, $($k:literal: $a:literal + $b:literal),*) => { $( $t[$k] = $t[$a] * $t[$b]; )* };
}

impl Powers {
    #[inline(always)]
    fn new(delta: f64, tau: f64) -> Self {
        let square = delta * delta;
        let (cube, fourth) = (square * delta, square * square);
        let mut t = [f64::NAN; 256];
        t[8] = tau;
        t[4] = tau.sqrt();
        t[2] = t[4].sqrt();
        t[1] = t[2].sqrt();
        t[0] = 1.0;
        chain!(
            t,
            3: 1 + 2, 5: 4 + 1, 6: 4 + 2, 7: 4 + 3, 9: 8 + 1, 11: 8 + 3, 12: 8 + 4,
            14: 8 + 6, 16: 8 + 8, 17: 16 + 1, 21: 16 + 5, 22: 16 + 6, 29: 17 + 12, 32: 16 + 16,
            36: 32 + 4, 38: 32 + 6, 40: 32 + 8, 60: 38 + 22, 92: 60 + 32, 96: 60 + 36, 52: 40 + 12,
            112: 60 + 52, 116: 112 + 4, 128: 112 + 16, 80: 40 + 40, 208: 128 + 80, 224: 112 + 112, 240: 224 + 16
        );
        Self { delta: [1.0, delta, square, cube, fourth, fourth * delta, cube * cube, fourth * cube], tau: t }
    }
}

/// Sums of terms `n delta^d tau^t` with those of their derivatives, each times its powers of delta and tau; side by side those of
/// four groups.
#[derive(Clone, Copy)]
pub(super) struct Sums<S> {
    by: S,
    value: Lanes<S>,
    d: Lanes<S>,
    dd: Lanes<S>,
    t: Lanes<S>,
    tt: Lanes<S>,
    dt: Lanes<S>,
}

impl<S: Four> Sums<S> {
    /// Adds `n delta^d tau^(eighths/8)` to each group. The exponents are constants at every call.
    #[inline(always)]
    pub fn plus(self, powers: &Powers, n: [f64; 4], d: [usize; 4], eighths: [usize; 4]) -> Self {
        let term = Self::of(self.by, powers, n, d, eighths);
        Sums {
            by: self.by,
            value: self.value + term.value,
            d: self.d + term.d,
            dd: self.dd + term.dd,
            t: self.t + term.t,
            tt: self.tt + term.tt,
            dt: self.dt + term.dt,
        }
    }

    /// The first of them.
    #[inline(always)]
    pub fn of(by: S, powers: &Powers, n: [f64; 4], d: [usize; 4], eighths: [usize; 4]) -> Self {
        let lanes = |numbers: [f64; 4]| Lanes::new(by, numbers);
        let value = lanes(n) * lanes(d.map(|d| powers.delta[d])) * lanes(eighths.map(|k| powers.tau[k]));
        let (d, t) = (d.map(|d| d as f64), eighths.map(|k| k as f64 / 8.0));
        let less = |x: f64| x * (x - 1.0);
        Sums {
            by,
            value,
            d: value * lanes(d),
            dd: value * lanes(d.map(less)),
            t: value * lanes(t),
            tt: value * lanes(t.map(less)),
            dt: value * lanes([d[0] * t[0], d[1] * t[1], d[2] * t[2], d[3] * t[3]]),
        }
    }

    /// Groups times their `exp(-delta^c)`, and others, summed up.
    #[inline(always)]
    pub fn together(&self, other: &Self, powers: &Powers, c: [usize; 4]) -> Sum {
        let lanes = |numbers: [f64; 4]| Lanes::new(self.by, numbers);
        let power = c.map(|c| powers.delta[c]);
        let power = lanes(power);
        let e = power.exp_of_minus();
        let cutoff = c.map(|c| c as f64);
        let x = lanes(cutoff) * power;
        let steeper = x + x;
        let bend = x * (x + lanes(cutoff.map(|c| 1.0 - c)));
        let [value, d, dd, t] = Lanes::sums([
            e * self.value + other.value,
            e * (self.d - x * self.value) + other.d,
            e * (self.dd - steeper * self.d + bend * self.value) + other.dd,
            e * self.t + other.t,
        ]);
        let (tt, dt) = (e * self.tt + other.tt, e * (self.dt - x * self.t) + other.dt);
        let [tt, dt, ..] = Lanes::sums([tt, dt, tt, dt]);
        Sum { value, d, dd, t, tt, dt }
    }
}

/// Residual part with its derivatives, each times its powers of delta and tau.
pub(super) struct Sum {
    value: f64,
    d: f64,
    dd: f64,
    t: f64,
    tt: f64,
    dt: f64,
}

/// Helmholtz energy of one gas of fixed composition.
#[derive(Debug)]
pub(super) struct Helmholtz {
    /// Specific gas constant, J/(kg K).
    pub gas_constant: f64,
    /// Molar mass, kg/mol.
    pub molar_mass: f64,
    coefficients: Coefficients,
    per_reducing_density: f64,
    reducing_temperature: f64,
    /// ln(moles per litre) of the unit of density.
    unit: f64,
    ideal: IdealTable,
    /// What the processor has.
    arch: pulp::Arch,
}

/// What the Helmholtz energy gives at one density and temperature; not checked against range or stability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    pub density: f64,
    pub temperature: f64,
    pub pressure: f64,
    pub dp_drho: f64,
    pub dp_dt: f64,
    pub internal_energy: f64,
    pub enthalpy: f64,
    pub entropy: f64,
    pub cv: f64,
    pub cp: f64,
    /// Speed of sound squared, m2/s2; not positive where the gas is not stable.
    pub sound_squared: f64,
}

/// A point, to be found by code that is compiled for what the processor has. The numbers are the same on any.
struct At<'h, S> {
    energy: &'h Helmholtz,
    segment: &'h Segment,
    by: S,
    density: f64,
    temperature: f64,
}

impl<S: Four> pulp::NullaryFnOnce for At<'_, S> {
    type Output = Point;

    #[inline(always)]
    fn call(self) -> Point {
        self.energy.at(self.by, self.segment, self.density, self.temperature)
    }
}

impl Helmholtz {
    /// `reducing_density` in mol/dm3, `reducing_temperature` in K, `molar_mass` in kg/mol, `molar_gas_constant` in
    /// J/(mol K).
    pub fn new(
        coefficients: Coefficients,
        ideal: IdealPart,
        (reducing_density, reducing_temperature): (f64, f64),
        molar_mass: f64,
        molar_gas_constant: f64,
    ) -> Self {
        Self {
            gas_constant: molar_gas_constant / molar_mass,
            molar_mass,
            coefficients,
            arch: pulp::Arch::new(),
            per_reducing_density: 1.0 / (reducing_density * 1e3 * molar_mass),
            reducing_temperature,
            unit: (1e-3 / molar_mass).ln(),
            ideal: IdealTable::new(ideal),
        }
    }

    /// The point at a density (kg/m3) and a temperature (K), both positive.
    pub fn point(&self, density: f64, temperature: f64) -> Point {
        let segment = self.ideal.segment(temperature);
        #[cfg(target_arch = "x86_64")]
        if let pulp::Arch::V3(by) = self.arch {
            return by.vectorize(At { energy: self, segment, by, density, temperature });
        }
        self.at(OneByOne, segment, density, temperature)
    }

    #[inline(always)]
    fn at<S: Four>(&self, by: S, segment: &Segment, density: f64, temperature: f64) -> Point {
        let r = self.residual(by, density * self.per_reducing_density, self.reducing_temperature / temperature);
        let [a, b, t0, tt0] = segment.at(by, temperature);
        let [logarithm] = ln([density]);
        let rt = self.gas_constant * temperature;
        let compressed = 1.0 + r.d;
        let pressure_per_density = rt * compressed;
        let dp_drho = rt * (compressed + (r.d + r.dd));
        let slope = self.gas_constant * (compressed - r.dt);
        let inner = t0 + r.t;
        let internal_energy = rt * inner;
        let cv = self.gas_constant * (tt0 - r.tt);
        let heat = temperature * slope * slope;
        Point {
            density,
            temperature,
            pressure: density * pressure_per_density,
            dp_drho,
            dp_dt: density * slope,
            internal_energy,
            enthalpy: internal_energy + pressure_per_density,
            entropy: self.gas_constant * (inner - (a + b) - r.value - (logarithm + self.unit)),
            cv,
            cp: cv + heat / dp_drho,
            sound_squared: dp_drho + heat / cv,
        }
    }

    /// Residual part.
    #[inline(always)]
    fn residual<S: Four>(&self, by: S, delta: f64, tau: f64) -> Sum {
        self.coefficients.sum(by, &Powers::new(delta, tau))
    }
}

#[cfg(test)]
mod tests {
    use super::super::GasKind;
    use super::super::gerg2008::helmholtz;
    use super::*;

    /// What the processor has changes no bit.
    #[test]
    fn the_numbers_are_the_same_on_any_processor() {
        for energy in [GasKind::Nitrogen, GasKind::Air].map(helmholtz) {
            for (density, temperature) in [(1e-3, 300.0), (8.0, 215.0), (150.0, 260.0), (300.0, 170.0), (500.0, 480.0)]
            {
                let plain = energy.at(OneByOne, energy.ideal.segment(temperature), density, temperature);
                assert_eq!(energy.point(density, temperature), plain);
            }
        }
    }
}
