//! The frame from outside: order, threads, failures, interruption and going on.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use super::log::{Header, Log, LogError};
use super::variants::{Failure, Frame, Outcome, Progress, Stage, StudyError, evaluate};
use crate::input::{Input, Template};

const TEXT: &str = "
site: {ambient_pressure: 101.325 kPa(a), water_temperature: 18 degC}
tanks: {t: {volume: 2 m3, diameter: 1 m, bottom: 3 m, filled: 80 %, pressure: 2 bar(g)}}
pipes: {p: {from: t, to: out, length: 3 m, bore: 50 mm, roughness: 0.05 mm}}
outfalls: {out: {elevation: 0 m}}
";

/// Variant 3 is no network, variant 5 cannot be solved, variant 7 makes the program fail.
fn sets(index: u64) -> Vec<String> {
    let bore = if index == 3 { "-1 mm".to_string() } else { format!("{} mm", 50 + index) };
    vec![format!("pipes.p.bore={bore}")]
}

fn compute(input: &Input) -> Result<f64, String> {
    let crate::network::PassageKind::Pipe(pipe) = &input.network.passages[0].kind else { panic!("a pipe") };
    match (pipe.bore * 1e3).round() as u64 {
        55 => Err("it cannot be solved".to_string()),
        57 => panic!("seven"),
        _ => Ok(pipe.bore / 3.0),
    }
}

/// A study of 20 variants; `stop_at` interrupts it there.
fn study(threads: usize, log: Option<Log>, stop_at: Option<u64>) -> Result<(u64, Vec<Outcome<f64>>, u64), StudyError> {
    let template = Template::read_text("f.yaml", TEXT, &[]).unwrap();
    let interrupt = AtomicBool::new(false);
    let mut results = Vec::new();
    let mut resumed = 0;
    let mut progress = |p: Progress| {
        resumed = p.resumed;
        assert_eq!(p.count, 20);
        if stop_at == Some(p.done) {
            interrupt.store(true, Ordering::Relaxed);
        }
    };
    let mut frame = Frame { threads, interrupt: &interrupt, progress: &mut progress, log };
    let done = evaluate(&template, 20, &sets, &compute, &mut frame, &mut |index, outcome| {
        assert_eq!(index, results.len() as u64);
        results.push(outcome);
    })?;
    Ok((done, results, resumed))
}

fn header() -> Header {
    Header::new("test", 20, [TEXT])
}

#[test]
fn failures_are_results_and_threads_change_nothing() {
    let (done, results, _) = study(1, None, None).unwrap();
    assert_eq!((done, results.len()), (20, 20));
    let failed: Vec<(usize, Stage)> = results
        .iter()
        .enumerate()
        .filter_map(|(k, outcome)| if let Outcome::Failed(f) = outcome { Some((k, f.stage)) } else { None })
        .collect();
    assert_eq!(failed, [(3, Stage::Rejected), (5, Stage::Unsolved), (7, Stage::Internal)]);
    assert_eq!(results[7], Outcome::Failed(Failure { stage: Stage::Internal, text: "seven".into() }));
    assert_eq!(results[0].solved(), Some(&(0.05 / 3.0)));
    for threads in [2, 5] {
        assert_eq!(study(threads, None, None).unwrap().1, results);
    }
}

#[test]
fn an_interrupted_study_goes_on_where_it_was() {
    let folder = folder("resume");
    let whole = study(2, None, None).unwrap().1;
    let path = folder.join("log");
    let (done, first, _) = study(1, Some(Log::open(&path, &header(), false).unwrap()), Some(6)).unwrap();
    assert_eq!((done, first.len()), (6, 6));
    // A line cut short is computed again.
    let mut text = std::fs::read_to_string(&path).unwrap();
    assert_eq!(text.lines().count(), 7);
    text.truncate(text.len() - 3);
    std::fs::write(&path, &text).unwrap();
    let (done, all, resumed) = study(2, Some(Log::open(&path, &header(), true).unwrap()), None).unwrap();
    assert_eq!((done, resumed), (20, 5));
    assert_eq!(all, whole);
    // A log that is whole gives everything, and computes nothing.
    let (done, all, resumed) = study(2, Some(Log::open(&path, &header(), true).unwrap()), None).unwrap();
    assert_eq!((done, resumed), (20, 20));
    assert_eq!(all, whole);
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn a_log_is_never_written_over_or_mixed() {
    let folder = folder("other");
    let path = folder.join("log");
    study(1, Some(Log::open(&path, &header(), true).unwrap()), Some(3)).unwrap();
    assert!(matches!(Log::open(&path, &header(), false), Err(LogError::Exists(_))));
    for (other, differs) in [
        (Header::new("test", 20, [TEXT, ""]), "the file or an option"),
        (Header::new("test", 21, [TEXT]), "the number of variants"),
        (Header::new("tests", 20, [TEXT]), "the kind of study"),
    ] {
        match Log::open(&path, &other, true) {
            Err(LogError::Other { what, .. }) => assert_eq!(what, differs),
            outcome => panic!("{outcome:?}"),
        }
    }
    let text = std::fs::read_to_string(&path).unwrap().replacen("{\"solved\"", "{\"sloved\"", 1);
    std::fs::write(&path, text).unwrap();
    let outcome = study(1, Some(Log::open(&path, &header(), true).unwrap()), None);
    assert!(matches!(outcome, Err(StudyError::Log(LogError::Damaged { line: 2, .. }))), "{outcome:?}");
    std::fs::remove_dir_all(folder).unwrap();
}

/// A new folder below the target directory of the build.
fn folder(name: &str) -> std::path::PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/study-tests").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}
