//! Helmholtz energy of a gas of fixed composition, with its first and second derivatives.

/// One term `n delta^d tau^t exp(-delta^c)` of the residual Helmholtz energy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Term {
    /// Coefficient.
    pub n: f64,
    /// Power of the reduced density, 1..=7.
    pub d: u8,
    /// Eight times the power of the reciprocal reduced temperature, 0..=255.
    pub eighths: u8,
    /// Power of the reduced density in the exponential, one of `CUTOFFS`; 0 for none.
    pub c: u8,
}

/// Powers of the reduced density that occur in the exponentials.
const CUTOFFS: [u8; 5] = [0, 1, 2, 3, 6];

/// One hyperbolic term of the ideal-gas part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Vibration {
    /// Coefficient (mole fraction included).
    pub n: f64,
    /// Characteristic temperature, K.
    pub theta: f64,
    /// True: `+n ln sinh(theta/T)`; false: `-n ln cosh(theta/T)`.
    pub sinh: bool,
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

/// A term made ready: which entries of the power tables it needs, and `n` times the factors of all derivatives.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Prepared {
    delta: u8,
    tau: [u8; 3],
    weights: [f64; 6],
}

/// Helmholtz energy of one gas of fixed composition.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Helmholtz {
    /// Specific gas constant, J/(kg K).
    pub gas_constant: f64,
    /// Molar mass, kg/mol.
    pub molar_mass: f64,
    reducing_density: f64,
    reducing_temperature: f64,
    moles_per_litre: f64,
    groups: [Vec<Prepared>; CUTOFFS.len()],
    ideal: IdealPart,
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

/// Sums of the residual part and of its derivatives, each times its powers of delta and tau.
#[derive(Debug, Clone, Copy, Default)]
struct Residual {
    a: f64,
    d: f64,
    dd: f64,
    t: f64,
    tt: f64,
    dt: f64,
}

impl Helmholtz {
    /// Prepares the terms. `reducing_density` in mol/dm3, `reducing_temperature` in K, `molar_mass` in kg/mol,
    /// `molar_gas_constant` in J/(mol K).
    pub fn new(
        terms: &[Term],
        ideal: IdealPart,
        (reducing_density, reducing_temperature): (f64, f64),
        molar_mass: f64,
        molar_gas_constant: f64,
    ) -> Self {
        let groups = CUTOFFS.map(|c| terms.iter().filter(|term| term.c == c).map(prepare).collect());
        Self {
            gas_constant: molar_gas_constant / molar_mass,
            molar_mass,
            reducing_density: reducing_density * 1e3 * molar_mass,
            reducing_temperature,
            moles_per_litre: 1e-3 / molar_mass,
            groups,
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
            entropy: self.gas_constant * (t0 + r.t - a0 - r.a),
            cv,
            cp,
            sound_squared: dp_drho + temperature * slope * slope / cv,
        }
    }

    /// Residual part. The exponential is common to a group of terms, so a group costs one `exp` and every term
    /// one multiplication for each derivative.
    fn residual(&self, delta: f64, tau: f64) -> Residual {
        let (d2, t2) = (delta * delta, tau * tau);
        let (d3, d4) = (d2 * delta, d2 * d2);
        let deltas = [1.0, delta, d2, d3, d4, d4 * delta, d3 * d3, d4 * d3];
        let half = tau.sqrt();
        let quarter = half.sqrt();
        let eighth = quarter.sqrt();
        let three = quarter * eighth;
        let fine = [1.0, eighth, quarter, three, half, half * eighth, half * quarter, half * three];
        let (t3, t4) = (t2 * tau, t2 * t2);
        let t8 = t4 * t4;
        let whole = [1.0, tau, t2, t3, t4, t4 * tau, t4 * t2, t4 * t3];
        let coarse = [1.0, t8, t8 * t8, t8 * t8 * t8];

        let mut sum = Residual::default();
        for (group, c) in self.groups.iter().zip(CUTOFFS) {
            let mut s = [0.0; 6];
            for term in group {
                let [f, w, c] = term.tau;
                let tau_power = fine[usize::from(f & 7)] * whole[usize::from(w & 7)] * coarse[usize::from(c & 3)];
                let value = deltas[usize::from(term.delta & 7)] * tau_power;
                for (s, weight) in s.iter_mut().zip(term.weights) {
                    *s += value * weight;
                }
            }
            let [a, d, dd, t, tt, dt] = s;
            if c == 0 {
                sum = Residual { a, d, dd: dd - d, t, tt, dt };
                continue;
            }
            let power = deltas[usize::from(c & 7)];
            let x = f64::from(c) * power;
            let e = (-power).exp();
            sum.a += e * a;
            sum.d += e * (d - x * a);
            sum.dd += e * (dd - (2.0 * x + 1.0) * d + (x * x + x - f64::from(c) * x) * a);
            sum.t += e * t;
            sum.tt += e * tt;
            sum.dt += e * (dt - x * t);
        }
        sum
    }

    /// Ideal-gas part: value, tau times its first derivative, and minus tau^2 times its second.
    fn ideal_part(&self, density: f64, temperature: f64) -> (f64, f64, f64) {
        let ideal = &self.ideal;
        let inverse = 1.0 / temperature;
        let mut a = (density * self.moles_per_litre).ln() + ideal.constant + ideal.slope * inverse
            - ideal.power * temperature.ln();
        let mut t = ideal.power + ideal.slope * inverse;
        let mut tt = ideal.power;
        for v in &ideal.vibrations {
            let y = v.theta * inverse;
            let q = (-2.0 * y).exp();
            // sinh y = e^y (1 - q)/2, cosh y = e^y (1 + q)/2
            let (signed_q, sign) = if v.sinh { (-q, v.n) } else { (q, -v.n) };
            let (sum, difference) = (1.0 + signed_q, 1.0 - signed_q);
            let ratio = 1.0 / sum;
            let y_over = y * ratio;
            a += sign * (y + (0.5 * sum).ln());
            t += sign * y_over * difference;
            tt += v.n * 4.0 * q * y_over * y_over;
        }
        (a, t, tt)
    }
}

fn prepare(term: &Term) -> Prepared {
    let Term { n, d, eighths, .. } = *term;
    let (power, t) = (f64::from(d), f64::from(eighths) / 8.0);
    Prepared {
        delta: d & 7,
        tau: [eighths & 7, (eighths >> 3) & 7, eighths >> 6],
        weights: [n, n * power, n * power * power, n * t, n * t * (t - 1.0), n * t * power],
    }
}
