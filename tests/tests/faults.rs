//! Failures: the list of a file, that each is what a hand-edited file is, and that threads change nothing.

use std::collections::BTreeSet;
use std::sync::atomic::AtomicBool;

use hydro::analysis::run::{RunOptions, run};
use hydro::input::{Input, Template, read_text};
use hydro::report::json;
use hydro::result::FaultsResult;
use hydro::study::faults::Plan;
use hydro::study::variants::Frame;
use hydro::study::verdict;

/// A small stand: a bank, two tanks, a check valve, a vented weir pipe, a header, two panels.
const STAND: &str = include_str!("../data/studies/small-stand.yaml");

fn template(text: &str) -> Template {
    Template::read_text("stand.yaml", text, &[]).unwrap_or_else(|e| panic!("{e}"))
}

fn input(text: &str) -> Input {
    read_text("stand.yaml", text, &[]).unwrap_or_else(|e| panic!("{e}"))
}

fn plan(text: &str, pairs: &[&str], all: bool) -> Plan {
    let pairs: Vec<String> = pairs.iter().map(ToString::to_string).collect();
    Plan::new(&input(text), &pairs, all).unwrap_or_else(|e| panic!("{e}"))
}

fn faults(text: &str, pairs: &[&str], threads: usize) -> FaultsResult {
    let interrupt = AtomicBool::new(false);
    let mut frame = Frame { threads, interrupt: &interrupt, progress: &mut |_| {}, log: None };
    plan(text, pairs, false).run(&template(text), &mut frame).unwrap()
}

/// The text with one place changed by hand.
fn edited(edits: &[(&str, &str)]) -> String {
    let mut text = STAND.to_string();
    for (from, to) in edits {
        assert_eq!(text.matches(from).count(), 1, "{from}");
        text = text.replace(from, to);
    }
    text
}

/// Every number of a run, as bytes.
fn numbers(input: &Input) -> String {
    let mut result = run(&input.network, &mut RunOptions { rows: 201, progress: &mut |_| {} }).unwrap();
    result.findings.clear();
    serde_json::to_string(&json::run(&result)).unwrap()
}

/// The hand-edited file of each failure: what a person would write.
const BY_HAND: &[(&str, &[(&str, &str)])] = &[
    ("gas/one-shut", &[("open: 2", "open: 1")]),
    ("gas/one-more", &[("open: 2", "open: 3")]),
    ("check/stuck-shut", &[("opens_at: 1 s, stroke: 0.5 s", "opens_at: 1000 s")]),
    ("check/stuck-open", &[("opens_at: 1 s, stroke: 0.5 s, ", "")]),
    ("check/passes-back", &[("one_way: true}  # check", "one_way: false}")]),
    ("south/out", &[("drop-south: {", "drop-south: {blocked: true, "), ("open: 1  # south", "open: 0")]),
    ("near-far/blocked", &[("near-far: {", "near-far: {blocked: true, ")]),
    ("to-near/blocked", &[("to-near: {", "to-near: {blocked: true, ")]),
    ("ring/blocked", &[("  ring: {", "  ring: {blocked: true, ")]),
    ("bottles/low-charge", &[("pressure: 90 bar(g)", "pressure: 72 bar(g)")]),
    ("far/plugged", &[("required_flux: 20 L/s/m2  # far", "required_flux: 20 L/s/m2\n    plugged: 10 %")]),
    ("weir/vent-blocked", &[("    vent: {bore: 60 mm, discharge_coefficient: 0.6}\n", "")]),
    // Open as soon as there is any pressure, and shut again at none that comes.
    ("south/relief-open", &[("{set: 7.5 bar(g), ", "{set: 0.1 bar(g), reseats_at: 0.01 bar(a), ")]),
];

#[test]
fn every_failure_is_what_the_hand_edited_file_is() {
    let plan = plan(STAND, &[], false);
    let template = template(STAND);
    let result = faults(STAND, &[], 2);
    assert_eq!(result.cases.len(), plan.faults().len());
    for (name, edits) in BY_HAND {
        let fault = plan.faults().iter().find(|f| f.name == *name).unwrap_or_else(|| panic!("{name}"));
        let by_hand = input(&edited(edits));
        let by_sets = template.input(&fault.sets).unwrap();
        // Findings and (for the valve that opens too late to matter) marks beyond the end are no numbers.
        assert!(numbers(&by_sets) == numbers(&by_hand), "{name}");
        let case = result.cases.iter().find(|c| c.name == *name).unwrap();
        let run = run(&by_hand.network, &mut RunOptions { rows: 201, progress: &mut |_| {} }).unwrap();
        assert_eq!(case.outcome, Ok(verdict::of(&by_hand.network, &run)), "{name}");
        let whole = template.input(&[]).unwrap();
        // Nothing flows back here: the tank's own gas valves hold it above the collector.
        let idle = *name == "check/passes-back";
        assert_eq!(numbers(&by_sets) == numbers(&whole), idle, "{name}");
        assert!(format!("{:?}", by_sets.network) != format!("{:?}", whole.network), "{name} changes nothing");
    }
}

#[test]
fn a_relief_valve_stuck_open_is_an_open_vent() {
    let plan = plan(STAND, &[], false);
    let fault = plan.faults().iter().find(|f| f.name == "south/relief-open").unwrap();
    assert_eq!(fault.sets, ["tanks.south.relief.stuck=open"]);
    assert!(!plan.faults().iter().any(|f| f.name == "north/relief-open"), "it has no relief valve");
    // To a time at which both tanks still hold water: a run does not end for want of it.
    let early = ("end: 60 s", "end: 12 s");
    let stuck = template(&edited(&[early])).input(&fault.sets).unwrap();
    let vent = input(&edited(&[early, ("relief: {set: 7.5 bar(g), ", "vent_down: {opens_at: 0 s, ")]));
    let series = |input: &Input| {
        let result = run(&input.network, &mut RunOptions { rows: 61, progress: &mut |_| {} }).unwrap();
        let south = &result.gas.iter().find(|gas| gas.name == "south").unwrap();
        (south.relieved.or(south.vented).unwrap(), result.series.tanks[1].pressure.clone())
    };
    let ((gas, pressure), (vented, vent_pressure)) = (series(&stuck), series(&vent));
    // The same throat: only the steps of the integration (relative tolerance 1e-4) may differ.
    assert!(gas > 1.0 && (gas / vented - 1.0).abs() < 1e-3, "{gas} {vented}");
    let ends = |p: &[f64]| (p[0], p[p.len() - 1]);
    let ((a, b), (c, d)) = (ends(&pressure), ends(&vent_pressure));
    assert!(a == c && (b / d - 1.0).abs() < 1e-3, "{b} {d}");
}

#[test]
fn every_item_fails_in_every_way_it_can() {
    let names: BTreeSet<String> = plan(STAND, &[], false).faults().iter().map(|f| f.name.clone()).collect();
    let by_hand: BTreeSet<String> = BY_HAND.iter().map(|(name, _)| name.to_string()).collect();
    let more =
        ["gas-south/one-shut", "north/out", "collector/blocked", "riser/blocked", "weir/blocked", "near/plugged"];
    let wanted: BTreeSet<String> = by_hand.into_iter().chain(more.map(String::from)).collect();
    // `gas-south` has no valve to spare; `main` neither moves nor holds back: it can only stick shut.
    let wanted: BTreeSet<String> = wanted.into_iter().chain(["main/stuck-shut".to_string()]).collect();
    assert_eq!(names, wanted);
}

#[test]
fn the_worst_comes_first_and_what_cannot_be_lost_is_named() {
    let result = faults(STAND, &[], 1);
    assert!(result.planned.met(), "{:?}", result.planned);
    assert!(result.complete() && !result.requirements_met());
    let margins: Vec<f64> =
        result.cases.iter().map(|c| c.outcome.as_ref().unwrap().worst.as_ref().unwrap().margin()).collect();
    let mets: Vec<bool> = result.cases.iter().map(|c| c.met()).collect();
    assert!(mets.is_sorted(), "what misses the requirement stands before what meets it");
    let missed = mets.iter().filter(|met| !**met).count();
    assert!(missed > 2 && missed < mets.len() - 2, "{missed}");
    assert!(margins[..missed].is_sorted() && margins[missed..].is_sorted(), "{margins:?}");
    for item in ["ring", "weir", "main", "collector"] {
        assert!(result.cannot_lose.iter().any(|lost| lost == item), "{item}: {:?}", result.cannot_lose);
    }
    // Nothing at all comes through a blocked ring: short from ignition through the whole hold, by all of it.
    let ring = result.cases.iter().find(|c| c.name == "ring/blocked").unwrap().outcome.as_ref().unwrap();
    let worst = ring.worst.as_ref().unwrap();
    assert_eq!((worst.lowest_flux, worst.short_from, ring.panels_short), (0.0, Some(4.0), 2));
    assert!((worst.short_for - 8.0).abs() < 1e-9, "{worst:?}");
    // A tank that is out gives no water: the other one gives it all.
    let out = result.cases.iter().find(|c| c.name == "south/out").unwrap().outcome.as_ref().unwrap();
    assert!(out.lasts.unwrap() < result.planned.outcome.as_ref().unwrap().lasts.unwrap());
}

#[test]
fn what_only_the_cooling_check_misses_has_its_time_and_amount() {
    // No flux is required: the water is judged by the heat, which has its peak at 9 s, in the hold.
    let heat = "heat_flux: {time: [0 s, 9 s, 12 s], value: [1 MW/m2, 5.7 MW/m2, 1 MW/m2]}";
    let text = STAND.replace("    required_flux: 20 L/s/m2  # far", &format!("    {heat}"));
    let text = text.replace("    required_flux: 20 L/s/m2\n", "");
    let text = format!("{text}\ncooling: {{utilisation: 0 %, wetting: 50 %, safety_factor: 1.2}}\n");
    let result = faults(&text, &[], 2);
    assert!(result.planned.met(), "{:?}", result.planned);
    let short = result.cases.iter().find(|c| c.name == "check/stuck-shut").unwrap();
    let verdict = short.outcome.as_ref().unwrap();
    let cooling = verdict.cooling.as_ref().unwrap();
    assert!(!verdict.met && verdict.worst.is_none() && cooling.short == 1, "{verdict:?}");
    assert_eq!(cooling.panel, "far");
    let failed = template(&text).input(&["valves.check.stuck=shut".to_string()]).unwrap();
    let run = run(&failed.network, &mut RunOptions { rows: 201, progress: &mut |_| {} }).unwrap();
    let of_run = run.panels[1].cooling.unwrap();
    assert_eq!((Some(cooling.margin), Some(cooling.at)), (of_run.lowest_margin, of_run.lowest_at));
    assert!(cooling.margin < -0.01 && (8.0..=10.0).contains(&cooling.at), "{cooling:?}");
}

#[test]
fn threads_change_nothing() {
    let one = serde_json::to_string(&json::faults(&faults(STAND, &["gas/one-shut + south/out"], 1))).unwrap();
    let two = serde_json::to_string(&json::faults(&faults(STAND, &["gas/one-shut + south/out"], 2))).unwrap();
    assert_eq!(one, two);
    assert!(one.contains("gas/one-shut + south/out"));
}

#[test]
fn a_pair_is_both_failures_at_once() {
    let plan = plan(STAND, &["far/plugged + gas/one-shut"], false);
    let pair = plan.faults().last().unwrap();
    assert_eq!((pair.name.as_str(), pair.items.len()), ("far/plugged + gas/one-shut", 2));
    let edits = [BY_HAND[0].1[0], BY_HAND[10].1[0]];
    let by_hand = input(&edited(&edits));
    assert!(numbers(&template(STAND).input(&pair.sets).unwrap()) == numbers(&by_hand));
}

#[test]
fn all_pairs_are_of_different_items_and_clash_nowhere() {
    let plan = plan(STAND, &[], true);
    let singles = plan.faults().iter().filter(|f| f.kind.is_some()).count();
    let pairs: Vec<_> = plan.faults().iter().filter(|f| f.kind.is_none()).collect();
    assert!(pairs.len() > singles && pairs.len() < singles * (singles - 1) / 2);
    for pair in &pairs {
        assert_ne!(pair.items[0], pair.items[1], "{}", pair.name);
        let paths: BTreeSet<&str> = pair.sets.iter().map(|s| &s[..s.rfind('=').unwrap()]).collect();
        assert_eq!(paths.len(), pair.sets.len(), "{}", pair.name);
    }
    // A tank that is out has its gas valves shut: the same valve with one more open is no second failure.
    assert!(!pairs.iter().any(|p| p.name.contains("gas-south/one-shut") && p.name.contains("south/out")));
    let error = Plan::new(&input(STAND), &["south/out + gas-south/one-shut".to_string()], false).unwrap_err();
    assert!(error.to_string().contains("both change gas_valves.gas-south.open"), "{error}");
    let error = Plan::new(&input(STAND), &["south/out + gas-south/ajar".to_string()], false).unwrap_err();
    assert!(error.to_string().contains("no pair of failures"), "{error}");
}

#[test]
fn the_file_says_what_to_leave_out_and_how_much() {
    let with = |block: &str| plan(&format!("{STAND}\nfaults: {block}\n"), &[], false).faults().to_vec();
    let fewer = with("{without: [gas, \"*/plugged\", \"w*r/vent-*\"], low_charge: 75 %}");
    let names: Vec<&str> = fewer.iter().map(|f| f.name.as_str()).collect();
    assert!(!names.iter().any(|n| n.starts_with("gas/") || n.ends_with("/plugged") || *n == "weir/vent-blocked"));
    assert!(names.contains(&"gas-south/one-shut") && names.contains(&"weir/blocked"));
    let bank = fewer.iter().find(|f| f.name == "bottles/low-charge").unwrap();
    assert_eq!(bank.sets, ["gas_banks.bottles.pressure=67.5 bar(g)"]);
    let paired = with("{pairs: [ring/blocked + gas/one-shut]}");
    assert_eq!(paired.last().unwrap().name, "ring/blocked + gas/one-shut");
}

#[test]
fn names_that_a_path_could_mistake_are_quoted() {
    let text = STAND.replace("near-far:", "\"near.far = 2\":");
    let plan = plan(&text, &[], false);
    let fault = plan.faults().iter().find(|f| f.name == "near.far = 2/blocked").unwrap();
    assert_eq!(fault.sets, ["crossovers.\"near.far = 2\".blocked=true"]);
    assert!(template(&text).input(&fault.sets).is_ok());
}

#[test]
fn every_failure_of_every_shown_network_can_be_written() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../networks");
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "yaml") {
            continue;
        }
        let template = Template::read_file(&path, &[]).unwrap();
        let input = template.input(&[]).unwrap();
        let plan = Plan::new(&input, &[], false).unwrap();
        assert!(!plan.faults().is_empty());
        for fault in plan.faults() {
            let failed = template.input(&fault.sets).unwrap_or_else(|e| panic!("{}: {e}", fault.name));
            assert_ne!(failed.network, input.network, "{}: {}", path.display(), fault.name);
        }
    }
}
