//! Fits of records made by the model itself, with noise.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use super::record::Record;
use super::{FitFailure, Plan, fit};
use crate::analysis::run::{RunOptions, run};
use crate::input::Template;
use crate::result::FitResult;
use crate::statistics::distribution::normal_quantile;
use crate::statistics::sampling::{Design, Sampling};
use crate::study::log::Log;
use crate::study::variants::{Frame, Progress};

/// A small tank that empties through a pipe and a plate: the truth has K = 2.5 and a coefficient of 0.7.
const TEXT: &str = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC}
tolerance: 1e-7
tanks: {t: {volume: 2 m3, diameter: 1 m, bottom: 2 m, filled: 80 %, pressure: 3 bar(g), ullage: isothermal}}
pipes:
  a: {from: t, to: p, length: 5 m, bore: 100 mm, roughness: 0.05 mm, loss_coefficient: 1.0}   # a guess
panels:
  p: {at: [0 m, 0 m], size: [1 m, 1 m], elevation: 0 m, holes: {count: 600, diameter: 4 mm, discharge_coefficient: 0.8}}
duty: {start: 0 s, end: 25 s}
";

const TRUTH: [&str; 2] = ["pipes.a.loss_coefficient=2.5", "panels.p.holes.discharge_coefficient=0.7"];
const VARY: [&str; 2] = ["pipes.a.loss_coefficient=0.1..10", "panels.p.holes.discharge_coefficient=0.4..1"];

fn strings(list: &[&str]) -> Vec<String> {
    list.iter().map(ToString::to_string).collect()
}

/// Record of the truth: pressures of tank and panel, and flow, at 40 times of a clock that is `late`, with noise of about
/// 1 %, every seventh flow missing.
fn record(seed: u64, late: f64) -> Vec<u8> {
    let template = Template::read_text("f.yaml", TEXT, &strings(&TRUTH)).unwrap();
    let result =
        run(&template.input(&[]).unwrap().network, &mut RunOptions { rows: 1001, progress: &mut |_| {} }).unwrap();
    let series = result.series;
    let at = |values: &[f64], time: f64| {
        let after = series.time.partition_point(|&t| t < time).clamp(1, series.time.len() - 1);
        let (a, b) = (series.time[after - 1], series.time[after]);
        values[after - 1] + (time - a) / (b - a) * (values[after] - values[after - 1])
    };
    // So many strata that the few points drawn do not know of each other.
    let design = Design::new(Sampling::LatinHypercube, seed, 3, 1 << 31, 3);
    let mut text =
        String::from("time [s], tanks.t.pressure [bar(g)], panels.p.flow [L/s], panels.p.pressure [bar(g)]\n");
    for k in 0..40 {
        let time = 0.3 + 0.3 * k as f64;
        let noise: Vec<f64> = design.point(k).iter().map(|&u| normal_quantile(u)).collect();
        let pressure = (at(&series.tanks[0].pressure, time) - 1e5) / 1e5 + 0.02 * noise[0];
        let flow = if k % 7 == 3 {
            String::new()
        } else {
            format!("{}", 1e3 * at(&series.panels[0].flow, time) + 1.0 * noise[1])
        };
        let inside = (at(&series.pressures[0].pressure, time) - 1e5) / 1e5 + 0.01 * noise[2];
        text += &format!("{},{pressure},{flow},{inside}\n", time - late);
    }
    text.into_bytes()
}

fn fitted(vary: &[&str], csv: &[u8], offset: Option<[f64; 2]>) -> Result<FitResult, FitFailure> {
    framed(vary, csv, offset, (u64::MAX, None))
}

/// The same, interrupted when so many runs are done, and kept in a log.
fn framed(
    vary: &[&str],
    csv: &[u8],
    offset: Option<[f64; 2]>,
    (until, log): (u64, Option<&Path>),
) -> Result<FitResult, FitFailure> {
    let template = Template::read_text("f.yaml", TEXT, &[]).unwrap();
    let varied = template.varied(&strings(vary)).unwrap_or_else(|error| panic!("{error}"));
    let interrupt = AtomicBool::new(false);
    let plan = Plan { varied: &varied, offset, noise: &[], columns: &[] };
    let log = log.map(|path| Log::open(path, &plan.header(&template, csv), true).unwrap());
    let mut progress = |progress: Progress| {
        assert!(progress.about && progress.count >= progress.done, "{progress:?}");
        interrupt.fetch_or(progress.done - progress.resumed >= until, Ordering::Relaxed);
    };
    let mut frame = Frame { threads: 2, interrupt: &interrupt, progress: &mut progress, log };
    fit(&template, &plan, csv, &mut frame)
}

/// Interrupted again and again, each time after a few more runs, a fit goes on from its log and ends with the same answer
/// to the last digit; what it had at the time is kept.
#[test]
fn an_interrupted_fit_goes_on_to_the_same_answer() {
    let csv = record(1, 0.0);
    let whole = fitted(&VARY, &csv, None).unwrap();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/study-tests");
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join("fit.log");
    let _ = std::fs::remove_file(&path);
    let (mut early, mut partial) = (0, 0);
    let last = loop {
        match framed(&VARY, &csv, None, (4, Some(&path))) {
            Err(FitFailure::Interrupted(runs)) => early += usize::from(runs > 0),
            Ok(result) if result.findings.iter().any(|f| f.code == "interrupted") => {
                assert!(!result.converged);
                partial += 1;
            }
            Ok(result) => break result,
            Err(error) => panic!("{error}"),
        }
    };
    assert_eq!(last, whole);
    assert!(early > 0 && partial > 1, "{early} {partial}");
    // Every run is in the log once.
    let text = std::fs::read_to_string(&path).unwrap();
    assert_eq!(text.lines().count(), whole.runs, "the header, and all but the first run, which has no parameters");
    std::fs::remove_file(&path).unwrap();
}

/// A record with columns that the file knows nothing of, and names of its own.
#[test]
fn columns_are_chosen_and_named() {
    let csv = String::from_utf8(record(1, 0.0)).unwrap();
    let other = csv.replace("panels.p.flow [L/s]", "FT-7 [L/s]").replace("panels.p.pressure [bar(g)]", "door open");
    let template = Template::read_text("f.yaml", TEXT, &[]).unwrap();
    let series = run(&template.input(&[]).unwrap().network, &mut RunOptions { rows: 2, progress: &mut |_| {} });
    let series = series.unwrap().series;
    let read = |csv: &str, columns: &[&str]| Record::read(csv.as_bytes(), &series, 1e5, &strings(columns));
    let whole = read(&csv, &[]).unwrap();
    let chosen = read(&other, &["panels.p.flow = FT-7", "tanks.t.pressure"]).unwrap();
    assert_eq!((&chosen.columns[..], &chosen.time), (&whole.columns[..2], &whole.time));
    let said = read(&other, &["panels.p.flow=FT-8"]).unwrap_err().to_string();
    assert!(said.contains("no column is named `FT-8`") && said.contains("FT-7"), "{said}");
}

/// Known coefficients come back, with noise, gaps and a clock that is 1.4 s late.
#[test]
fn known_coefficients_come_back() {
    let result = fitted(&VARY, &record(1, 1.4), Some([-5.0, 5.0])).unwrap_or_else(|error| panic!("{error}"));
    assert!(result.converged, "{result:?}");
    for (parameter, truth) in result.parameters.iter().zip([2.5, 0.7, 1.4]) {
        let error = parameter.error.unwrap();
        assert!((parameter.value - truth).abs() < 3.5 * error && error < 0.2 * truth, "{parameter:?} {truth}");
    }
    // The noise that was put in, 0.02 bar and 1 L/s, within what 40 data tell of it: 4 times 1/sqrt(80).
    let (pressure, flow) = (&result.columns[0], &result.columns[1]);
    assert!((pressure.noise / 2e3 - 1.0).abs() < 0.45 && (flow.noise / 1e-3 - 1.0).abs() < 0.45, "{}", flow.noise);
    assert_eq!((pressure.rows.len(), flow.rows.len()), (40, 34));
    assert!(result.blind.is_empty());
}

/// The stated errors are right: of 200 records with other noise, the true value is within one standard error in 68.3 %
/// of the fits and within two in 95.4 %. With noise estimated from some 70 data the shares are 68.0 and 95.0 % (Student's
/// t); bounds: 3.5 standard deviations of a binomial share of 200. One parameter is followed by the others.
#[test]
fn stated_errors_cover_in_the_right_share() {
    let mut within = [[0; 2]; 2];
    for seed in 0..200 {
        let result = fitted(&VARY, &record(100 + seed, 0.0), None).unwrap_or_else(|error| panic!("{seed}: {error}"));
        assert!(result.converged, "{seed}");
        for ((parameter, truth), within) in result.parameters.iter().zip([2.5, 0.7]).zip(&mut within) {
            let off = (parameter.value - truth).abs() / parameter.error.unwrap();
            within[0] += i32::from(off < 1.0);
            within[1] += i32::from(off < 2.0);
        }
    }
    for [one, two] in within {
        assert!((113..=159).contains(&one) && (179..=200).contains(&two), "{within:?}");
    }
}

/// Two losses in one pipe: only their sum shows.
#[test]
fn what_cannot_be_told_apart_is_said() {
    let vary = [
        "pipes.a.loss_coefficient=0.1..10",
        "panels.p.holes.discharge_coefficient=0.4..1",
        "panels.p.holes.count=1..2",
    ];
    assert!(Template::read_text("f.yaml", TEXT, &[]).unwrap().varied(&strings(&vary)).is_err(), "a count");
    // Coefficient and diameter of the holes: only Cd d^2 shows.
    let vary = ["panels.p.holes.discharge_coefficient=0.4..1", "panels.p.holes.diameter=3 mm..5 mm"];
    let result = fitted(&vary, &record(1, 0.0), None).unwrap();
    assert_eq!(result.blind.len(), 1, "{result:?}");
    let shares = &result.blind[0].shares;
    assert!(shares.len() == 2 && (shares[0].1 + 2.0 * shares[1].1).abs() < 0.05, "{shares:?}");
    assert!(result.findings.iter().any(|f| f.code == "not_told" && f.text.contains("apart")));
    assert!(result.parameters.iter().all(|p| p.error.is_none()));
}

#[test]
fn the_file_keeps_all_but_its_numbers() {
    let template = Template::read_text("f.yaml", TEXT, &[]).unwrap();
    let varied =
        template.varied(&strings(&["pipes.a.bore=50..200 mm", VARY[0], "tanks.t.pressure=1..5 bar(g)"])).unwrap();
    let changes: Vec<_> = varied.iter().zip([0.123_456_789, 2.5, 351_000.0]).collect();
    let text = template.rewritten(&changes).unwrap();
    let expected = TEXT
        .replace("bore: 100 mm", "bore: 123.45679 mm")
        .replace("loss_coefficient: 1.0}", "loss_coefficient: 2.5}")
        .replace("pressure: 3 bar(g)", "pressure: 2.51 bar(g)");
    assert_eq!(text, expected);
    let absent = template.varied(&strings(&["tanks.t.heel=0 m3..1 m3"])).unwrap();
    assert!(template.rewritten(&[(&absent[0], 0.5)]).unwrap_err().contains("tanks.t.heel"));
}

#[test]
fn a_wrong_record_is_said_with_its_place() {
    let say = |csv: &str| fitted(&VARY, csv.as_bytes(), None).unwrap_err().to_string();
    assert!(say("tanks.t.pressure [bar(g)]\n1\n").starts_with("RECORD:1:1: the first column"));
    assert!(say("time [s],tanks.u.pressure [bar(g)]\n").contains("1:2: nothing of the file is `tanks.u.pressure`"));
    assert!(say("time [s],tanks.t.pressure [bar]\n0,3\n").contains("2:2: "));
    assert!(say("time [s],tanks.t.pressure [bar(g)]\n1,3\n0,3\n").contains("3:1: the times fall"));
    assert!(say("time [s],tanks.t.pressure\n").contains("has no unit"));
    assert!(say("time [s],tanks.t.pressure [bar(g)]\n0,3\n").contains("cannot say 2 parameters"));
}
