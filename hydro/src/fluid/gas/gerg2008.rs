//! GERG-2008 for nitrogen and dry air: coefficients and mixing rules.
//!
//! Source: O. Kunz, W. Wagner, "The GERG-2008 Wide-Range Equation of State for Natural Gases and Other Mixtures",
//! J. Chem. Eng. Data 57 (2012) 3032-3091, doi:10.1021/je300655b; numbers as in the crate `aga8` (a port of the NIST
//! code), against which they are tested. The three pairs of air have no departure function in GERG-2008, so at fixed
//! composition the residual part is the sum of those of the pure gases at the common reduced density and temperature.

use std::sync::LazyLock;

use super::GasKind;
use super::helmholtz::{Helmholtz, Powers, Sum, Sums};
use super::ideal_part::{IdealPart, Vibration};
use super::lanes::Four;

/// Molar gas constant of GERG-2008, J/(mol K).
const GAS_CONSTANT: f64 = 8.314_472;

/// Molar mass of dry air, kg/mol.
pub(super) const AIR_MOLAR_MASS: f64 = 28.96546e-3;

struct Component {
    molar_mass: f64,
    critical_density: f64,
    critical_temperature: f64,
    ideal: [f64; 3],
    vibrations: &'static [Vibration],
}

const fn sinh(n: f64, theta: f64) -> Vibration {
    Vibration { n, theta, sinh: true }
}

const fn cosh(n: f64, theta: f64) -> Vibration {
    Vibration { n, theta, sinh: false }
}

const NITROGEN: Component = Component {
    molar_mass: 28.0134e-3,
    critical_density: 11.1839,
    critical_temperature: 126.192,
    ideal: [20.765_049_294_458_148, -2_801.740_514_218_428, 2.500_321_427_277_643],
    vibrations: &[
        sinh(0.137_320_627_599_684_03, 662.738),
        cosh(-0.146_600_670_012_479_45, 680.562),
        sinh(0.900_664_116_326_328_4, 1_740.06),
    ],
};

const OXYGEN: Component = Component {
    molar_mass: 31.9988e-3,
    critical_density: 13.63,
    critical_temperature: 154.595,
    ideal: [19.999_055_243_617_576, -2_318.331_922_884_808_6, 2.501_471_432_533_538_8],
    vibrations: &[sinh(1.075_584_915_770_959_4, 2_235.71), cosh(1.013_344_631_312_728, 1_116.69)],
};

const ARGON: Component = Component {
    molar_mass: 39.948e-3,
    critical_density: 13.407_429_659,
    critical_temperature: 150.687,
    ideal: [13.243_702_139_468_894, -745.377_043_972_245, 1.500_006_855_516_501_8],
    vibrations: &[],
};

/// Coefficients of the short form, as [`SHORT_PLAIN`] and [`SHORT_GROUPS`] number them: oxygen and argon.
const SHORT_FORM: [[f64; 12]; 2] = [
    [
        0.888_782_863_697_01,
        -2.487_943_331_214_8,
        0.597_501_907_758_86,
        0.009_650_181_706_188_1,
        0.071_970_428_712_77,
        0.000_223_374_430_001_95,
        0.185_586_863_914_74,
        -0.038_129_368_035_76,
        -0.153_522_453_830_06,
        -0.026_726_814_910_919,
        -0.025_675_298_677_127,
        0.009_571_430_212_366_8,
    ],
    [
        0.850_957_148_039_69,
        -2.400_322_294_348,
        0.541_278_414_764_66,
        0.016_919_770_692_538,
        0.068_825_965_019_035,
        0.000_214_280_328_153_38,
        0.174_298_953_219_92,
        -0.033_654_495_604_194,
        -0.135_267_998_576_91,
        -0.016_387_350_791_552,
        -0.024_987_666_851_475,
        0.008_876_920_481_570_9,
    ],
];

/// A term `n delta^d tau^(eighths/8)`: n, d, eighths.
type Term = (f64, usize, usize);

/// No term, where a group has fewer than those beside it.
const NO: Term = (0.0, 0, 0);

/// Terms of nitrogen without exponential.
const NITROGEN_PLAIN: [[Term; 4]; 2] = [
    [
        (0.598_897_118_012_01, 1, 1),
        (-1.694_155_748_073_1, 1, 9),
        (0.245_797_361_917_18, 2, 3),
        (-0.237_224_567_551_75, 2, 9),
    ],
    [(0.017_954_918_715_141, 4, 5), (0.014_592_875_720_215, 4, 12), NO, NO],
];

/// Terms of nitrogen side by side with `exp(-delta)`, `exp(-delta^2)`, `exp(-delta^3)`, `exp(-delta^6)`.
const NITROGEN_GROUPS: [[Term; 4]; 6] = [
    [
        (0.100_080_659_362_06, 1, 5),
        (-0.169_366_415_549_83, 2, 36),
        (0.005_874_366_410_729_9, 2, 60),
        (-0.005_202_407_968_059_9, 5, 208),
    ],
    [
        (0.731_571_153_855_3, 1, 21),
        (0.135_468_460_417_01, 3, 38),
        (-0.018_451_951_971_969, 3, 112),
        (0.043_563_505_956_635, 6, 224),
    ],
    [
        (-0.883_722_723_363_66, 1, 22),
        (-0.033_066_712_095_307, 3, 40),
        (0.004_722_662_204_247_2, 4, 92),
        (-0.036_251_690_750_939, 6, 240),
    ],
    [(0.318_876_602_467_08, 2, 17), (-0.060_690_817_018_557, 4, 32), NO, (-0.002_897_402_686_654_3, 7, 128)],
    [(0.207_664_917_287_99, 3, 16), (0.012_797_548_292_871, 4, 36), NO, NO],
    [(-0.019_379_315_454_158, 6, 14), NO, NO, NO],
];

/// Terms of the short form without exponential, common to oxygen and argon but for their coefficients: in place of those
/// their places in [`SHORT_FORM`].
const SHORT_PLAIN: [[Term; 4]; 2] =
    [[(0.0, 1, 2), (1.0, 1, 9), (2.0, 1, 12), (3.0, 2, 11)], [(4.0, 3, 2), (5.0, 7, 7), NO, NO]];

/// As [`SHORT_PLAIN`], side by side as in [`NITROGEN_GROUPS`].
const SHORT_GROUPS: [[Term; 4]; 2] =
    [[(6.0, 2, 5), (8.0, 1, 29), (10.0, 3, 116), NO], [(7.0, 5, 14), (9.0, 4, 29), (11.0, 4, 96), NO]];

/// Coefficients of all terms in a gas of fixed composition, each times the mole fraction.
#[derive(Debug, Clone, Copy)]
pub(super) struct Coefficients {
    nitrogen: [[f64; 4]; 8],
    /// Those of oxygen and argon together.
    short: Option<[[f64; 4]; 4]>,
}

/// Exponents of the terms of a row.
const fn exponents(row: &[Term; 4]) -> ([usize; 4], [usize; 4]) {
    ([row[0].1, row[1].1, row[2].1, row[3].1], [row[0].2, row[1].2, row[2].2, row[3].2])
}

/// Adds rows of terms to sums.
macro_rules! add {
    ($sums:ident, $powers:expr, $rows:expr, [$($row:literal: $n:expr),*]) => {
        $({
            const OF_ROW: ([usize; 4], [usize; 4]) = exponents(&$rows[$row]);
            $sums = $sums.plus($powers, $n, OF_ROW.0, OF_ROW.1);
        })*
    };
}

impl Coefficients {
    /// Sum of all terms.
    #[inline(always)]
    pub fn sum<S: Four>(&self, by: S, powers: &Powers) -> Sum {
        const FIRST: [([usize; 4], [usize; 4]); 2] = [exponents(&NITROGEN_PLAIN[0]), exponents(&NITROGEN_GROUPS[0])];
        let n = &self.nitrogen;
        let mut plain = Sums::of(by, powers, n[0], FIRST[0].0, FIRST[0].1);
        add!(plain, powers, NITROGEN_PLAIN, [1: n[1]]);
        if let Some(short) = &self.short {
            add!(plain, powers, SHORT_PLAIN, [0: short[0], 1: short[1]]);
        }
        let mut groups = Sums::of(by, powers, n[2], FIRST[1].0, FIRST[1].1);
        add!(groups, powers, NITROGEN_GROUPS, [1: n[3], 2: n[4], 3: n[5], 4: n[6], 5: n[7]]);
        if let Some(short) = &self.short {
            add!(groups, powers, SHORT_GROUPS, [0: short[2], 1: short[3]]);
        }
        groups.together(&plain, powers, [1, 2, 3, 6])
    }
}

/// Parameters `beta_v, gamma_v, beta_T, gamma_T` of the pairs of air: nitrogen-oxygen, nitrogen-argon, oxygen-argon.
const PAIRS: [(usize, usize, [f64; 4]); 3] = [
    (0, 1, [0.999_521_770, 0.997_082_328, 0.997_190_589, 0.995_157_044]),
    (0, 2, [1.004_166_412, 1.002_212_182, 0.999_069_843, 0.990_034_831]),
    (1, 2, [0.999_746_847, 0.993_907_223, 1.000_023_103, 0.990_430_423]),
];

/// Mole fractions of dry air: nitrogen, oxygen, argon.
///
/// Nitrogen is 78.084 %; oxygen and argon share the rest so that the molar mass is 28.96546 g/mol. That gives
/// 20.927 % and 0.989 %: argon also stands for the carbon dioxide (0.04 %, nearly as heavy).
pub(super) fn air_fractions() -> [f64; 3] {
    let nitrogen = 0.780_84;
    let rest = 1.0 - nitrogen;
    let mass_of_rest = AIR_MOLAR_MASS - nitrogen * NITROGEN.molar_mass;
    let argon = (mass_of_rest - rest * OXYGEN.molar_mass) / (ARGON.molar_mass - OXYGEN.molar_mass);
    [nitrogen, rest - argon, argon]
}

/// Helmholtz energy of the gas.
pub(super) fn helmholtz(kind: GasKind) -> &'static Helmholtz {
    static NITROGEN_ENERGY: LazyLock<Helmholtz> = LazyLock::new(|| mix(&[(1.0, &NITROGEN)]));
    static AIR_ENERGY: LazyLock<Helmholtz> = LazyLock::new(|| {
        let [nitrogen, oxygen, argon] = air_fractions();
        mix(&[(nitrogen, &NITROGEN), (oxygen, &OXYGEN), (argon, &ARGON)])
    });
    match kind {
        GasKind::Nitrogen => &NITROGEN_ENERGY,
        GasKind::Air => &AIR_ENERGY,
    }
}

/// The mixture with the given mole fractions, listed in the order nitrogen, oxygen, argon.
fn mix(parts: &[(f64, &Component)]) -> Helmholtz {
    let fraction = |i: usize| parts.get(i).map_or(0.0, |part| part.0);
    let of_nitrogen = |row: &[Term; 4]| row.map(|(n, ..)| fraction(0) * n);
    let of_short = |row: &[Term; 4]| {
        row.map(|(place, d, _)| {
            let [oxygen, argon] = SHORT_FORM.map(|n| if d == 0 { 0.0 } else { n[place as usize] });
            fraction(1) * oxygen + fraction(2) * argon
        })
    };
    let [p0, p1] = NITROGEN_PLAIN.each_ref().map(of_nitrogen);
    let [g0, g1, g2, g3, g4, g5] = NITROGEN_GROUPS.each_ref().map(of_nitrogen);
    let nitrogen = [p0, p1, g0, g1, g2, g3, g4, g5];
    let ([p0, p1], [g0, g1]) = (SHORT_PLAIN.each_ref().map(of_short), SHORT_GROUPS.each_ref().map(of_short));
    let coefficients = Coefficients { nitrogen, short: (parts.len() > 1).then_some([p0, p1, g0, g1]) };

    let mut ideal = IdealPart { constant: 0.0, slope: 0.0, power: 0.0, vibrations: Vec::new() };
    let mut molar_mass = 0.0;
    for &(x, component) in parts {
        molar_mass += x * component.molar_mass;
        let [constant, slope, power] = component.ideal;
        ideal.constant += x * (constant + x.ln());
        ideal.slope += x * slope;
        ideal.power += x * power;
        ideal.vibrations.extend(component.vibrations.iter().map(|v| Vibration { n: x * v.n, ..*v }));
    }
    Helmholtz::new(coefficients, ideal, reducing(parts), molar_mass, GAS_CONSTANT)
}

/// Reducing density (mol/dm3) and temperature (K), equations 16 and 17 of the source.
fn reducing(parts: &[(f64, &Component)]) -> (f64, f64) {
    let mut volume: f64 = parts.iter().map(|(x, c)| x * x / c.critical_density).sum();
    let mut temperature: f64 = parts.iter().map(|(x, c)| x * x * c.critical_temperature).sum();
    for (i, j, [beta_v, gamma_v, beta_t, gamma_t]) in PAIRS {
        let (Some(&(xi, a)), Some(&(xj, b))) = (parts.get(i), parts.get(j)) else { continue };
        let share = |beta: f64, gamma: f64| 2.0 * xi * xj * beta * gamma * (xi + xj) / (beta * beta * xi + xj);
        let length = (a.critical_density.powf(-1.0 / 3.0) + b.critical_density.powf(-1.0 / 3.0)) / 2.0;
        volume += share(beta_v, gamma_v) * length * length * length;
        temperature += share(beta_t, gamma_t) * (a.critical_temperature * b.critical_temperature).sqrt();
    }
    (1.0 / volume, temperature)
}
