//! Spread of small supplies against exact distributions, and shares against the whole.

use std::sync::atomic::AtomicBool;

use super::share::JoinError;
use super::{Part, Share, SpreadError, prepare, summary};
use crate::input::Template;
use crate::result::{SpreadKind, SpreadOutcome, SpreadResult};
use crate::statistics::distribution::normal_quantile;
use crate::study::variants::{Frame, Outcome};

/// A plate at a tank of constant pressure: a pipe so wide that it loses nothing, and one instant. The flux is
/// `n Cd a sqrt(2 dp / rho) / A`, in proportion to the coefficient.
fn file(spread: &str) -> String {
    format!(
        "
inertia: off
site: {{ambient_pressure: 1 bar(a), water_temperature: 20 degC, water_density: 1000 kg/m3}}
tanks: {{t: {{volume: 100 m3, diameter: 4 m, bottom: 0 m, filled: 50 %, pressure: 2 bar(g), ullage: isothermal}}}}
pipes: {{a: {{from: t, to: p, length: 1 m, bore: 10 m, roughness: 0 mm}}}}
panels:
  p:
    at: [0 m, 0 m]
    size: [1 m, 1 m]
    elevation: 0 m
    holes: {{count: 100, diameter: 4 mm, discharge_coefficient: 0.6}}
    required_flux: 15 L/s/m2
duty: {{start: 0 s, ignition: 0 s, hold: 0 s, end: 0.1 s}}
spread:
{spread}
"
    )
}

/// Flux of [`file`] at a coefficient, m/s.
fn flux(coefficient: f64) -> f64 {
    let head = 2e5 + 1000.0 * 9.80665 * 50.0 / (std::f64::consts::PI * 4.0);
    100.0 * coefficient * std::f64::consts::PI * 4e-6 * (2.0 * head / 1000.0).sqrt()
}

fn share(text: &str, part: Part, threads: usize) -> Share {
    let template = Template::read_text("f.yaml", text, &[]).unwrap();
    let study = prepare(&template, &[]).unwrap_or_else(|error| panic!("{error}"));
    let interrupt = AtomicBool::new(false);
    let mut frame = Frame { threads, interrupt: &interrupt, progress: &mut |_| {}, log: None };
    let (share, whole) = study.compute(&template, part, &mut frame).unwrap();
    assert!(whole);
    share
}

fn result(text: &str) -> SpreadResult {
    summary::result(&share(text, Part::WHOLE, 2))
}

fn of(result: &SpreadResult, kind: SpreadKind) -> &SpreadOutcome {
    result.panels[0].outcomes.iter().chain(&result.duty).find(|outcome| outcome.kind == kind).unwrap()
}

/// A linear case: the flux is normal as the coefficient is. The 5 % point of 2000 stratified samples is within a few
/// strata of the exact one: 2e-4 of the flux. The chance is exact to one stratum.
#[test]
fn a_linear_case_has_its_exact_distribution() {
    for sampling in ["latin_hypercube", "sobol"] {
        let text = file(&format!(
            "  {{samples: 2000, sampling: {sampling}, quantities: [{{path: panels.p.holes.discharge_coefficient, \
             distribution: normal, deviation: 0.03}}]}}"
        ));
        let result = result(&text);
        let outcome = of(&result, SpreadKind::Flux);
        assert!((outcome.nominal / flux(0.6) - 1.0).abs() < 1e-6, "{} {}", outcome.nominal, flux(0.6));
        for (found, p) in outcome.quantiles.unwrap().iter().zip([0.05, 0.5, 0.95]) {
            let exact = flux(0.6 + 0.03 * normal_quantile(p));
            assert!((found / exact - 1.0).abs() < 2e-4, "{sampling} {p}: {found} {exact}");
        }
        assert!(outcome.rank_correlations[0].unwrap() > 0.999);
        let needed = 0.015 / flux(1.0);
        let exact = 1.0 - crate::statistics::distribution::normal_probability((needed - 0.6) / 0.03);
        assert!((result.chance.share() - exact).abs() <= 1.0 / 2000.0 + 1e-9, "{} {exact}", result.chance.share());
        let [low, high] = result.chance.interval;
        assert!(low < exact && exact < high && result.panels[0].chance == result.chance);
        assert_eq!((result.broken, result.chance.of), (0, 2000));
    }
}

/// Uniform, triangular and lognormal likewise, and a value that is cut.
#[test]
fn other_distributions_are_exact_too() {
    let quantity = |words: &str| {
        file(&format!("  {{samples: 2000, quantities: [{{path: panels.p.holes.discharge_coefficient, {words}}}]}}"))
    };
    // (words, coefficient at 5 %, 50 %, 95 %)
    let s = 0.1f64.powi(2).ln_1p().sqrt();
    let cases = [
        ("distribution: uniform, range: [0.5, 0.7]", [0.51, 0.6, 0.69]),
        ("distribution: uniform, relative_range: [-50 %, 50 %]", [0.33, 0.6, 0.87]),
        (
            "distribution: triangular, range: [0.5, 0.7]",
            [0.5 + 0.02f64.sqrt() * 0.1f64.sqrt() * 0.5f64.sqrt(), 0.6, 0.7 - (0.05f64 * 0.2 * 0.1).sqrt()],
        ),
        (
            "distribution: lognormal, relative_deviation: 10 %",
            [0.05, 0.5, 0.95].map(|p| 0.6 * (s * normal_quantile(p)).exp()),
        ),
        (
            "distribution: normal, range: [0.5, 0.7]",
            [0.05, 0.5, 0.95].map(|p| 0.6 + 0.1 * normal_quantile(p) / normal_quantile(0.975)),
        ),
        (
            "distribution: normal, deviation: 0.1, most: 0.6",
            [0.025, 0.25, 0.475].map(|p| 0.6 + 0.1 * normal_quantile(p)),
        ),
    ];
    for (words, coefficients) in cases {
        let result = result(&quantity(words));
        for (found, coefficient) in of(&result, SpreadKind::Flux).quantiles.unwrap().iter().zip(coefficients) {
            assert!((found / flux(coefficient) - 1.0).abs() < 5e-4, "{words}: {found} {}", flux(coefficient));
        }
    }
}

/// The flux is the product of coefficient and count: with means m, deviations s and `V = m1^2 s2^2 + m2^2 s1^2 +
/// s1^2 s2^2`, first order `m2^2 s1^2 / V`, total `(m2^2 + s2^2) s1^2 / V`. The count is a whole number: uniform from 50
/// to 150 after rounding, nearly.
#[test]
fn indices_of_a_product_are_its_closed_forms() {
    let text = file(
        "  samples: 64
  index_rows: 512
  quantities:
    - {path: panels.p.holes.discharge_coefficient, name: coefficient, distribution: uniform, range: [0.4, 0.8]}
    - {path: panels.p.holes.count, name: count, distribution: uniform, range: [50, 150]}
    - {path: tanks.t.wall_heat_transfer, name: wall, distribution: uniform, range: [0 W/K, 100 W/K]}",
    );
    let result = result(&text);
    assert_eq!(result.runs, 64 + 512 * 5);
    let indices = &of(&result, SpreadKind::Flux).indices;
    let (m, v) = ([0.6, 100.0], [0.4f64.powi(2) / 12.0, 100.0f64.powi(2) / 12.0]);
    let all = m[0] * m[0] * v[1] + m[1] * m[1] * v[0] + v[0] * v[1];
    for (name, own, other) in [("coefficient", 0, 1), ("count", 1, 0)] {
        let index = indices.iter().find(|index| index.driver == name).unwrap();
        let first = m[other] * m[other] * v[own] / all;
        let total = (m[other] * m[other] + v[other]) * v[own] / all;
        assert!((index.first[0] - first).abs() < 0.02 && (index.total[0] - total).abs() < 0.02, "{index:?} {first}");
    }
    let wall = indices.iter().find(|index| index.driver == "wall").unwrap();
    assert!(wall.total[0].abs() < 1e-9, "{wall:?}");
}

/// Correlated quantities are one driver; one draw for several items, and one for each.
const SEVERAL: &str = "  samples: 101
  seed: 7
  index_rows: 21
  quantities:
    - {path: panels.p.holes.discharge_coefficient, name: coefficient, distribution: normal, relative_deviation: 5 %}
    - {path: tanks.*.pressure, name: pressure, distribution: triangular, relative_range: [-20 %, 10 %]}
    - {path: site.water_temperature, name: water, distribution: uniform, range: [5 degC, 25 degC]}
  correlated:
    - {quantities: [coefficient, water], coefficient: -0.5}";

#[test]
fn shares_join_to_the_same_bytes_on_any_number_of_threads() {
    let text = file(SEVERAL);
    let whole = share(&text, Part::WHOLE, 1);
    let bytes = |share: &Share| serde_json::to_string(share).unwrap();
    assert_eq!(bytes(&share(&text, Part::WHOLE, 2)), bytes(&whole));
    assert_eq!(whole.drivers.len(), 2);
    let expected = summary::result(&whole);
    for parts in [3, 7] {
        let mut shares: Vec<Share> =
            (1..=parts).map(|part| share(&text, Part { part, parts }, 1 + part as usize % 2)).collect();
        // Kept and read again, and joined in another order.
        shares.reverse();
        let mut joined: Share = serde_json::from_str(&bytes(&shares[0])).unwrap();
        assert_eq!(joined, shares[0]);
        for share in &shares[1..] {
            assert!(matches!(joined.complete(), Err(JoinError::Missing { .. })));
            joined.join(share).unwrap();
        }
        assert_eq!(joined.join(&shares[0]), Err(JoinError::Twice(parts)));
        joined.complete().unwrap();
        assert_eq!(summary::result(&joined), expected);
        assert_eq!(joined.join(&whole), Err(JoinError::Different));
    }
}

/// Ignition is drawn past the end of the duty in half of the samples: they are no supply. Each is counted, and named
/// by a number at which it breaks again.
#[test]
fn broken_samples_are_counted_named_and_repeatable() {
    let text = file("  {samples: 40, quantities: [{path: duty.ignition, distribution: uniform, range: [0 s, 0.2 s]}]}");
    let result = result(&text);
    assert_eq!((result.broken, result.broken_named.len()), (20, 20));
    assert_eq!((result.chance.of, result.chance.met), (40, 20));
    assert!(result.findings.iter().any(|finding| finding.code == "broken_samples"));
    let template = Template::read_text("f.yaml", &text, &[]).unwrap();
    let study = prepare(&template, &[]).unwrap();
    for run in &result.broken_named {
        let (options, outcome) = study.alone(&template, run.number).unwrap();
        assert_eq!(options.len(), 1);
        let Outcome::Failed(failure) = outcome else { panic!("{options:?}") };
        assert_eq!((failure.stage.label(), &failure.text), ("rejected", &run.text));
        assert!(template.input(&options).is_err());
    }
    assert!(study.alone(&template, 40).is_none());
}

/// What a run's options say is what it computes.
#[test]
fn options_repeat_a_run() {
    let text = file(SEVERAL);
    let template = Template::read_text("f.yaml", &text, &[]).unwrap();
    let study = prepare(&template, &[]).unwrap();
    let (options, outcome) = study.alone(&template, 17).unwrap();
    let values = study.plan.values(17);
    let coefficient = format!("panels.p.holes.discharge_coefficient={}", values[0]);
    assert!(
        options.contains(&coefficient) && options.iter().any(|o| o.starts_with("tanks.t.pressure=")),
        "{options:?}"
    );
    let again = super::outcome::compute(&template.input(&options).unwrap()).unwrap();
    assert_eq!(outcome.solved(), Some(&again));
    assert!((5.0..=25.0).contains(&(values[2] - 273.15)) && (1.6e5..=2.2e5).contains(&(values[1] - 1e5)), "{values:?}");
}

#[test]
fn a_file_without_the_block_says_so() {
    let text = file("").replace("spread:\n", "");
    let template = Template::read_text("f.yaml", &text, &[]).unwrap();
    assert!(matches!(prepare(&template, &[]), Err(SpreadError::Nothing)));
}
