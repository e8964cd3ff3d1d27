//! Helmholtz energy of a gas of fixed composition, with its first and second derivatives.
//!
//! Written for speed, see `docs/decisions/gas-evaluation.md`: the terms are straight-line code, the powers come from
//! products, and the exponentials are common to a group of terms.

use super::gerg2008::{nitrogen_terms, short_form_terms};
use super::vibration::{Vibration, VibrationTable};

/// Powers of the reduced density and of the reciprocal reduced temperature.
pub(super) struct Powers {
    /// delta^0 .. delta^7.
    delta: [f64; 8],
    /// tau^(0/8) .. tau^(7/8).
    eighths: [f64; 8],
    /// tau^0 .. tau^7.
    whole: [f64; 8],
    /// tau^0, tau^8, tau^16, tau^24.
    coarse: [f64; 4],
}

impl Powers {
    #[inline]
    fn new(delta: f64, tau: f64) -> Self {
        let square = delta * delta;
        let (cube, fourth) = (square * delta, square * square);
        let half = tau.sqrt();
        let quarter = half.sqrt();
        let eighth = quarter.sqrt();
        let three = quarter * eighth;
        let (t2, t4) = (tau * tau, (tau * tau) * (tau * tau));
        let (t3, t8) = (t2 * tau, t4 * t4);
        Self {
            delta: [1.0, delta, square, cube, fourth, fourth * delta, cube * cube, fourth * cube],
            eighths: [1.0, eighth, quarter, three, half, half * eighth, half * quarter, half * three],
            whole: [1.0, tau, t2, t3, t4, t4 * tau, t4 * t2, t4 * t3],
            coarse: [1.0, t8, t8 * t8, (t8 * t8) * t8],
        }
    }
}

/// Sum of terms `n delta^d tau^t` with those of its derivatives, each times its powers of delta and tau.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sum {
    value: f64,
    d: f64,
    dd: f64,
    t: f64,
    tt: f64,
    dt: f64,
}

impl Sum {
    /// Adds `n delta^d tau^(eighths/8)`, `d` below 8 and `eighths` below 256; both are constants at every call, so
    /// that all but some ten operations are done by the compiler.
    #[inline(always)]
    pub fn add(&mut self, powers: &Powers, n: f64, d: usize, eighths: usize) {
        let tau = powers.eighths[eighths % 8] * powers.whole[eighths / 8 % 8] * powers.coarse[eighths / 64 % 4];
        let value = n * (powers.delta[d % 8] * tau);
        let (d, t) = (d as f64, eighths as f64 / 8.0);
        self.value += value;
        self.d += value * d;
        self.dd += value * (d * (d - 1.0));
        self.t += value * t;
        self.tt += value * (t * (t - 1.0));
        self.dt += value * (d * t);
    }

    /// Adds a group times its `exp(-delta^c)`.
    #[inline(always)]
    fn add_group(&mut self, powers: &Powers, c: usize, group: &Sum) {
        let (power, cutoff) = (powers.delta[c % 8], c as f64);
        let e = (-power).exp();
        let x = cutoff * power;
        self.value += e * group.value;
        self.d += e * (group.d - x * group.value);
        self.dd += e * (group.dd - 2.0 * x * group.d + x * (x + 1.0 - cutoff) * group.value);
        self.t += e * group.t;
        self.tt += e * group.tt;
        self.dt += e * (group.dt - x * group.t);
    }

    /// `share` times this plus the other.
    #[inline(always)]
    fn mixed(&self, share: f64, other: &Sum) -> Sum {
        Sum {
            value: share * self.value + other.value,
            d: share * self.d + other.d,
            dd: share * self.dd + other.dd,
            t: share * self.t + other.t,
            tt: share * self.tt + other.tt,
            dt: share * self.dt + other.dt,
        }
    }
}

/// The terms by their exponential: none, `exp(-delta)`, `exp(-delta^2)`, `exp(-delta^3)`, `exp(-delta^6)`.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sums {
    pub polynomial: Sum,
    pub exp_1: Sum,
    pub exp_2: Sum,
    pub exp_3: Sum,
    pub exp_6: Sum,
}

impl Sums {
    #[inline(always)]
    fn mixed(&self, share: f64, other: &Sums) -> Sums {
        Sums {
            polynomial: self.polynomial.mixed(share, &other.polynomial),
            exp_1: self.exp_1.mixed(share, &other.exp_1),
            exp_2: self.exp_2.mixed(share, &other.exp_2),
            exp_3: self.exp_3.mixed(share, &other.exp_3),
            exp_6: self.exp_6.mixed(share, &other.exp_6),
        }
    }
}

/// Ideal-gas part: `ln rho_molar + constant + slope/T - power ln T + vibrations` (divided by R T).
#[derive(Debug, Clone, PartialEq)]
pub(super) struct IdealPart {
    /// Constant, with the entropy of mixing.
    pub constant: f64,
    /// Coefficient of 1/T, K.
    pub slope: f64,
    /// Coefficient of -ln T: cv/R without vibrations.
    pub power: f64,
    /// Hyperbolic terms.
    pub vibrations: Vec<Vibration>,
}

/// Helmholtz energy of one gas of fixed composition.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Helmholtz {
    /// Specific gas constant, J/(kg K).
    pub gas_constant: f64,
    /// Molar mass, kg/mol.
    pub molar_mass: f64,
    composition: Composition,
    reducing_density: f64,
    reducing_temperature: f64,
    moles_per_litre: f64,
    ideal: IdealPart,
    vibrations: VibrationTable,
}

/// What the residual part needs to know of the composition.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Composition {
    /// Mole fraction of nitrogen.
    pub nitrogen: f64,
    /// Coefficients of the short form, those of oxygen and argon each times its mole fraction; none without them.
    pub short_form: Option<[f64; 12]>,
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

impl Helmholtz {
    /// `reducing_density` in mol/dm3, `reducing_temperature` in K, `molar_mass` in kg/mol, `molar_gas_constant` in
    /// J/(mol K).
    pub fn new(
        composition: Composition,
        ideal: IdealPart,
        (reducing_density, reducing_temperature): (f64, f64),
        molar_mass: f64,
        molar_gas_constant: f64,
    ) -> Self {
        Self {
            gas_constant: molar_gas_constant / molar_mass,
            molar_mass,
            composition,
            reducing_density: reducing_density * 1e3 * molar_mass,
            reducing_temperature,
            moles_per_litre: 1e-3 / molar_mass,
            vibrations: VibrationTable::new(&ideal.vibrations),
            ideal,
        }
    }

    /// The point at a density (kg/m3) and a temperature (K), both positive.
    pub fn point(&self, density: f64, temperature: f64) -> Point {
        let r = self.residual(density / self.reducing_density, self.reducing_temperature / temperature);
        let (a0, t0, tt0) = self.ideal_part(density, temperature);
        let rt = self.gas_constant * temperature;
        let pressure = density * rt * (1.0 + r.d);
        let dp_drho = rt * (1.0 + 2.0 * r.d + r.dd);
        let dp_dt = density * self.gas_constant * (1.0 + r.d - r.dt);
        let internal_energy = rt * (t0 + r.t);
        let cv = self.gas_constant * (tt0 - r.tt);
        let slope = dp_dt / density;
        let cp = cv + temperature * slope * slope / dp_drho;
        Point {
            density,
            temperature,
            pressure,
            dp_drho,
            dp_dt,
            internal_energy,
            enthalpy: internal_energy + rt * (1.0 + r.d),
            entropy: self.gas_constant * (t0 + r.t - a0 - r.value),
            cv,
            cp,
            sound_squared: dp_drho + temperature * slope * slope / cv,
        }
    }

    /// Residual part.
    fn residual(&self, delta: f64, tau: f64) -> Sum {
        let powers = Powers::new(delta, tau);
        let mut sums = nitrogen_terms(&powers);
        if let Some(coefficients) = &self.composition.short_form {
            let short = short_form_terms(&powers, coefficients);
            sums = sums.mixed(self.composition.nitrogen, &short);
        }
        let mut sum = sums.polynomial;
        sum.add_group(&powers, 1, &sums.exp_1);
        sum.add_group(&powers, 2, &sums.exp_2);
        sum.add_group(&powers, 3, &sums.exp_3);
        sum.add_group(&powers, 6, &sums.exp_6);
        sum
    }

    /// Ideal-gas part: value, tau times its first derivative, and minus tau^2 times its second.
    fn ideal_part(&self, density: f64, temperature: f64) -> (f64, f64, f64) {
        let ideal = &self.ideal;
        let [value, t, tt] = self.vibrations.at(temperature);
        let by_temperature = (ideal.slope + self.vibrations.slope) / temperature;
        let logarithms = (density * self.moles_per_litre).ln() - ideal.power * temperature.ln();
        (logarithms + ideal.constant + by_temperature + value, ideal.power + by_temperature + t, ideal.power + tt)
    }
}
