//! Sizing with any unknowns: against inverse closed forms, brute force on grids, and the requirement moved.

use std::f64::consts::FRAC_PI_4;
use std::sync::atomic::AtomicBool;

use hydro::input::Template;
use hydro::report::json;
use hydro::result::{Criterion, SizingResult};
use hydro::study::log::Log;
use hydro::study::sizing::Question;
use hydro::study::variants::Frame;
use hydro::study::verdict;

const STAND: &str = include_str!("../data/studies/small-stand.yaml");

fn template(text: &str, sets: &[&str]) -> Template {
    let sets: Vec<String> = sets.iter().map(ToString::to_string).collect();
    Template::read_text("stand.yaml", text, &sets).unwrap_or_else(|e| panic!("{e}"))
}

fn asked(text: &str, sets: &[&str], vary: &[&str], greatest: bool, threads: usize, log: Option<&str>) -> SizingResult {
    let template = template(text, sets);
    let input = template.input(&[]).unwrap_or_else(|e| panic!("{e}"));
    let vary: Vec<String> = vary.iter().map(ToString::to_string).collect();
    let question = Question::new(&template, &input, &vary, greatest).unwrap_or_else(|e| panic!("{e}"));
    let interrupt = AtomicBool::new(false);
    let log = log.map(|path| Log::open(path.as_ref(), &question.header(&template), true).unwrap());
    let mut frame = Frame { threads, interrupt: &interrupt, progress: &mut |_| {}, log };
    question.answer(&template, &input, &mut frame).unwrap()
}

fn sized(text: &str, sets: &[&str], vary: &[&str]) -> SizingResult {
    asked(text, sets, vary, false, 2, None)
}

/// Whether `hydro run` meets the requirement with these options.
fn run_meets(text: &str, sets: &[&str], more: &[String]) -> bool {
    let input = template(text, sets).input(more).unwrap_or_else(|e| panic!("{e}"));
    verdict::run(&input.network).is_ok_and(|result| result.requirements_met())
}

/// One tank, one valve, one plate: at the start of the duty everything is known in closed form.
const PLATE: &str = "
inertia: off
site: {ambient_pressure: 101.325 kPa(a), water_temperature: 18 degC, water_density: 1000 kg/m3, gravity: 10 m/s2}
tanks: {t: {volume: 40 m3, diameter: 3 m, bottom: 2 m, water: 30 m3, pressure: 5 bar(g), ullage: isothermal}}
valves: {v: {from: t, to: p, bore: 200 mm, loss_coefficient: 2.5}}
panels:
  p: {at: [0 m, 0 m], size: [3 m, 3 m], elevation: 0.5 m, holes: {count: 2000, diameter: 4 mm, discharge_coefficient: 0.8}}
duty: {start: 0 s, ignition: 0 s, hold: 0 s, end: 1 s}
";

#[test]
fn the_pressure_for_a_flow_through_a_plate_is_that_of_the_closed_form() {
    for flow in [0.25, 0.35, 0.5] {
        let total = format!("sizing.total_flow={flow} m3/s");
        let result = sized(PLATE, &[&total], &["tanks.t.pressure=0.1..60 bar(g) step 0.0001"]);
        // Bernoulli with losses: holes n Cd A, valve K on its bore, less the water standing above the panel.
        let holes = 0.8 * 2000.0 * FRAC_PI_4 * 0.004 * 0.004;
        let valve = FRAC_PI_4 * 0.2 * 0.2;
        let level = 30.0 / (FRAC_PI_4 * 9.0) + 2.0 - 0.5;
        let wanted = 500.0 * flow * flow * (1.0 / (holes * holes) + 2.5 / (valve * valve)) - 1000.0 * 10.0 * level;
        let answer = result.answer.unwrap();
        // The least multiple of the step, 10 Pa, that is not below the exact pressure.
        let over = answer.si[0] - 101_325.0 - wanted;
        assert!((-1e-3..10.0 + 1e-3).contains(&over), "{flow}: {over} Pa over {wanted}");
        assert_eq!(answer.trial.binding().unwrap().criterion, Criterion::TotalFlow);
        assert!(result.evaluations < 40, "{} runs", result.evaluations);
    }
}

#[test]
fn the_hole_for_a_flow_is_that_of_the_closed_form() {
    // Without the valve's loss to speak of: q = n Cd pi/4 d^2 sqrt(2 dp/rho), so that d = sqrt(...).
    let sets = ["valves.v.loss_coefficient=1e-6", "sizing.total_flow=300 L/s"];
    let result = sized(PLATE, &sets, &["panels.p.holes.diameter=2..9 mm step 0.001"]);
    let dp = 5e5 + 1e4 * (30.0 / (FRAC_PI_4 * 9.0) + 1.5);
    let wanted = (0.3 / (0.8 * 2000.0 * FRAC_PI_4 * (2.0 * dp / 1000.0).sqrt())).sqrt();
    let over = result.answer.unwrap().si[0] - wanted;
    assert!((-1e-9..1e-6 + 1e-9).contains(&over), "{over} m over {wanted}");
}

/// Gas through equal choked valves into a tank that is to keep its pressure.
const CHOKED: &str = "
inertia: off
site: {ambient_pressure: 100 kPa(a), water_temperature: 20 degC, water_density: 1000 kg/m3, gravity: 10 m/s2}
gas: nitrogen
gas_model: ideal
gas_banks: {b: {bottles: 400, bottle_volume: 1 m3, pressure: 100 bar(a), temperature: 20 degC}}
gas_valves: {g: {from: b, to: t, installed: 12, bore: 10 mm, discharge_coefficient: 0.9, regulated_to: 7 bar(a)}}
tanks: {t: {volume: 31 m3, diameter: 6 m, bottom: 2 m, water: 30 m3, pressure: 7 bar(a)}}
valves: {v: {from: t, to: p, bore: 400 mm, loss_coefficient: 0.5}}
panels:
  p: {at: [0 m, 0 m], size: [3 m, 3 m], elevation: 2 m, holes: {count: 2000, diameter: 4 mm, discharge_coefficient: 0.8}, required_flux: 1 L/s/m2}
duty: {start: 0 s, ignition: 10 s, hold: 15 s, end: 26 s}
";

#[test]
fn the_valve_count_for_a_mass_rate_is_that_of_the_closed_form() {
    let (gamma, r, t): (f64, f64, f64) = (1.4, 8.314_462_618 / 0.028_013_4, 293.15);
    // Choked flow of one valve of an ideal gas (Saint-Venant and Wantzel), at the first pressure of the bank.
    let critical = (2.0 / (gamma + 1.0)).powf((gamma + 1.0) / (2.0 * (gamma - 1.0)));
    let one = 0.9 * FRAC_PI_4 * 0.01 * 0.01 * 100e5 * (gamma / (r * t)).sqrt() * critical;
    // Water at 7 bar(a) and half its level; its volume is made up at constant pressure by m = p q/(R T) of gas.
    let holes = 0.8 * 2000.0 * FRAC_PI_4 * 0.004 * 0.004;
    let valve = FRAC_PI_4 * 0.16;
    let dp = 6e5 + 1e4 * 0.8;
    let flow = (2.0 * dp / 1000.0 / (1.0 / (holes * holes) + 0.5 / (valve * valve))).sqrt();
    let count = 7e5 * flow / (r * t) / one;
    // Far enough from a whole number for the fall of the bank (a few per cent) not to matter.
    assert!((0.2..0.8).contains(&count.fract()), "{count}");
    // At full pressure the flux falls by the sinking level, less than 1 %; with one valve less the pressure sags more.
    let required = format!("panels.p.required_flux={} m3/s/m2", 0.985 * flow / 9.0);
    let result = sized(CHOKED, &[&required], &["gas_valves.g.open=1..12"]);
    let answer = result.answer.unwrap();
    assert_eq!(answer.values, [count.ceil()], "{count}");
    // Proven minimal: its neighbour was run and misses.
    let neighbour = &result.neighbours[0].design;
    assert_eq!(neighbour.values, [count.ceil() - 1.0]);
    assert!(!neighbour.trial.met() && !run_meets(CHOKED, &[&required], &neighbour.sets));
    assert!(run_meets(CHOKED, &[&required], &answer.sets));
}

/// No gas comes in: the tanks blow down.
const BLOWDOWN: [&str; 2] = ["gas_valves.*.open=0", "tanks.*.filled=50 %"];
const HARDER: [&str; 2] = ["panels.*.required_flux=39 L/s/m2", "sizing.lasts=30 s"];

#[test]
fn one_unknown_is_the_least_of_a_grid() {
    let vary = ["tanks.*.pressure=3..7 bar(g) step 0.25"];
    let needs = ["panels.*.required_flux=25 L/s/m2", BLOWDOWN[0], BLOWDOWN[1]];
    let result = sized(STAND, &needs, &vary);
    let meets =
        |k: u32| run_meets(STAND, &needs, &[format!("tanks.*.pressure={:.2} bar(g)", 3.0 + 0.25 * f64::from(k))]);
    let least = (0..=16).find(|&k| meets(k)).unwrap();
    let answer = result.answer.unwrap();
    assert!(least > 2, "{least}");
    assert_eq!(answer.values, [3.0 + 0.25 * f64::from(least)]);
    // The same without steps lies within one of them.
    let fine = sized(STAND, &needs, &["tanks.*.pressure=3..7 bar(g)"]).answer.unwrap();
    assert!(fine.values[0] <= answer.values[0] && fine.values[0] > answer.values[0] - 0.25, "{:?}", fine.values);
}

#[test]
fn the_front_of_two_unknowns_is_that_of_a_grid() {
    let vary = ["gas_valves.gas.open=0..4", "gas_banks.bottles.pressure=30..180 bar(g) step 10"];
    let result = sized(STAND, &HARDER, &vary);
    let template = template(STAND, &HARDER);
    let meets = |open: u32, pressure: u32| {
        let sets = [format!("gas_valves.gas.open={open}"), format!("gas_banks.bottles.pressure={pressure} bar(g)")];
        let input = template.input(&sets).unwrap();
        let run = verdict::run(&input.network).unwrap();
        run.requirements_met() && run.supply.lasts.is_none_or(|lasts| lasts >= 30.0 * (1.0 - 1e-9))
    };
    let mut wanted: Vec<(f64, f64)> = Vec::new();
    for open in 0..=4 {
        let least = (3..=18).map(|k| 10 * k).find(|&pressure| meets(open, pressure));
        if let Some(least) = least.filter(|&p| wanted.last().is_none_or(|last| f64::from(p) < last.1)) {
            wanted.push((f64::from(open), f64::from(least)));
        }
    }
    let found: Vec<(f64, f64)> = result.front.iter().map(|design| (design.values[0], design.values[1])).collect();
    assert_eq!(found, wanted);
    assert!(!found.is_empty());
}

/// Least gauge pressure, Pa, for a flow through the plate of so many holes and a valve of a bore: the closed form above.
fn pressure_for(flow: f64, count: f64, bore: f64) -> f64 {
    let holes = 0.8 * count * FRAC_PI_4 * 0.004 * 0.004;
    let valve = FRAC_PI_4 * bore * bore;
    let level = 30.0 / (FRAC_PI_4 * 9.0) + 2.0 - 0.5;
    500.0 * flow * flow * (1.0 / (holes * holes) + 2.5 / (valve * valve)) - 1000.0 * 10.0 * level
}

#[test]
fn the_whole_front_of_a_count_is_found_and_proven() {
    // 61 counts, and 201 pressures: each pressure falls with the count, so that several counts share one.
    let vary = ["panels.p.holes.count=1800..1860", "tanks.t.pressure=5.5..7.5 bar(g) step 0.01"];
    for vary in [vary, [vary[1], vary[0]]] {
        let result = sized(PLATE, &["sizing.total_flow=0.5 m3/s"], &vary);
        let (count, pressure) = if vary[0].starts_with("panels") { (0, 1) } else { (1, 0) };
        let mut wanted: Vec<(f64, f64)> = Vec::new();
        for holes in 1800..=1860 {
            // The least multiple of 0.01 bar, but for rounding.
            let steps = (pressure_for(0.5, f64::from(holes), 0.2) / 1e3 - 1e-6).ceil();
            if wanted.last().is_none_or(|last| steps < last.1) {
                wanted.push((f64::from(holes), steps));
            }
        }
        let mut found: Vec<(f64, f64)> =
            result.front.iter().map(|d| (d.values[count], (d.values[pressure] * 100.0).round())).collect();
        assert!(found.is_sorted_by(|a, b| if count == 0 { a.0 < b.0 } else { a.0 > b.0 }), "{found:?}");
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        assert!(wanted.len() > 21, "more than are followed first: {}", wanted.len());
        assert_eq!(found, wanted);
        assert_eq!((result.front_whole, result.front_proven), (Some(true), Some(wanted.len())));
        assert!(result.findings.iter().any(|f| f.code == "front" && f.text.contains("no design")));
    }
}

#[test]
fn a_front_of_two_sizes_is_shown_finely_enough() {
    let vary = ["valves.v.bore=150..400 mm", "tanks.t.pressure=1..20 bar(g)"];
    let result = sized(PLATE, &["sizing.total_flow=0.5 m3/s"], &vary);
    assert_eq!((result.front_whole, result.front_proven), (Some(false), Some(result.front.len())));
    let pressures: Vec<f64> = result.front.iter().map(|design| design.values[1]).collect();
    for design in &result.front {
        // The least value with three decimals.
        let over = design.values[1] - pressure_for(0.5, 2000.0, design.values[0] / 1e3) / 1e5;
        assert!((-1e-6..1e-3 + 1e-6).contains(&over), "{:?}: {over} bar over", design.values);
    }
    let extent = pressures[0] - pressures[pressures.len() - 1];
    let widest = pressures.windows(2).map(|w| w[0] - w[1]).fold(0.0, f64::max);
    assert!(extent > 1.0 && widest <= extent / 20.0 + 1e-3, "{widest} of {extent}: {pressures:?}");
    // Some thirty runs close in on each.
    assert!(result.evaluations < 50 * (result.front.len() + 21), "{} for {}", result.evaluations, result.front.len());
}

#[test]
fn three_unknowns_cost_no_more_than_the_best_of_a_grid() {
    let vary = ["gas_valves.gas.open=0..4", "gas_banks.bottles.bottles=1..6", "tanks.*.pressure=3..7 bar(g) step 0.5"];
    let cost = "sizing.cost=[gas_valves.gas.open=1.5, gas_banks.bottles.bottles=2, tanks.*.pressure=1]";
    let needs = ["panels.*.required_flux=36 L/s/m2", "duty.hold=12 s", cost];
    let result = sized(STAND, &needs, &vary);
    let mut best = f64::INFINITY;
    for open in 0..=4_u32 {
        for bottles in 1..=6_u32 {
            for k in 0..=8_u32 {
                let pressure = 3.0 + 0.5 * f64::from(k);
                let spent = 1.5 * f64::from(open) + 2.0 * f64::from(bottles) + pressure;
                let sets = [
                    format!("gas_valves.gas.open={open}"),
                    format!("gas_banks.bottles.bottles={bottles}"),
                    format!("tanks.*.pressure={pressure:.1} bar(g)"),
                ];
                if spent < best && run_meets(STAND, &needs, &sets) {
                    best = spent;
                }
            }
        }
    }
    let answer = result.answer.unwrap();
    assert!(best.is_finite() && (answer.cost.unwrap() - best).abs() < 1e-9, "{:?} against {best}", answer);
    assert!(run_meets(STAND, &needs, &answer.sets));
    for neighbour in &result.neighbours {
        assert!(!run_meets(STAND, &needs, &neighbour.design.sets), "{neighbour:?}");
    }
    // Searched from four designs, and the cheapest of what they came to is the answer.
    let cheapest = result.searches.iter().flatten().copied().fold(f64::INFINITY, f64::min);
    assert_eq!((result.searches.len(), Some(cheapest)), (4, answer.cost));
    assert!(result.findings.iter().any(|f| f.code == "searches" && f.text.contains("no proof")));
}

#[test]
fn the_answer_moves_as_it_says_when_the_requirement_moves() {
    let vary = ["tanks.*.pressure=3..8 bar(g) step 0.0001"];
    let at = |flux: f64| {
        let needs = [&*format!("panels.*.required_flux={flux} L/s/m2"), BLOWDOWN[0], BLOWDOWN[1]];
        sized(STAND, &needs, &vary)
    };
    let (first, harder) = (at(25.0), at(25.0 * 1.01));
    let moved = harder.answer.unwrap().values[0] - first.answer.unwrap().values[0];
    let said = first.sensitivities[0].per_percent.unwrap();
    // First order over 1 %, and the curvature of q ~ sqrt(p): within 2 %.
    assert!(moved > 0.01 && (said / moved - 1.0).abs() < 0.02, "{said} {moved}");
}

#[test]
fn what_stops_an_infeasible_design_is_said_with_its_amount() {
    let result = sized(STAND, &["panels.far.required_flux=60 L/s/m2"], &["gas_valves.gas.open=0..4"]);
    assert!(!result.feasible && result.answer.is_none() && !result.requirements_met());
    let best = result.best.unwrap();
    let binding = best.trial.binding().unwrap();
    assert_eq!((binding.criterion, binding.item.as_str(), binding.required), (Criterion::Flux, "far", 0.06));
    assert!(binding.reached > 0.03 && binding.share < -0.2, "{binding:?}");
    let finding = result.findings.iter().find(|f| f.code == "infeasible").unwrap();
    assert!(finding.text.contains("60 L/s/m2"), "{}", finding.text);
    // A rating stops a pressure that would be enough for the flow.
    let needs = ["panels.*.required_flux=36 L/s/m2", BLOWDOWN[0], BLOWDOWN[1], "tanks.*.rating=5 bar(g)"];
    let rated = sized(STAND, &needs, &["tanks.*.pressure=3..20 bar(g)"]);
    assert!(!rated.feasible);
    let free =
        sized(STAND, &[&needs[..], &["sizing.within_rating=false"]].concat(), &["tanks.*.pressure=3..20 bar(g)"]);
    assert!(free.feasible && free.answer.unwrap().values[0] > 5.0);
}

#[test]
fn ports_even_out_the_panels() {
    let needs = ["sizing.unevenness=2 %"];
    let result = sized(STAND, &needs, &["crossovers.near-far.bore=60..300 mm step 1"]);
    let answer = result.answer.unwrap();
    assert_eq!(answer.trial.binding().unwrap().criterion, Criterion::Unevenness);
    // Of two equal panels, one fed through ports of loss K: p_near - p_far = K rho/2 (q/(4 A))^2 and flux ~ sqrt(dp).
    let run = verdict::run(&template(STAND, &needs).input(&answer.sets).unwrap().network).unwrap();
    let worst = run.series.panels[0].flow.iter().zip(&run.series.panels[1].flow).zip(&run.series.time);
    let worst = worst.filter(|(_, t)| (4.0..=12.0).contains(*t)).map(|((a, b), _)| (a - b) / (0.5 * (a + b)));
    let worst = worst.fold(0.0, f64::max);
    assert!(worst <= 0.02 && worst > 0.018, "{worst}");
}

#[test]
fn the_greatest_is_found_too() {
    let needs = ["panels.*.required_flux=30 L/s/m2"];
    let result = asked(STAND, &needs, &["panels.far.plugged=0..60 % step 1"], true, 2, None);
    let meets = |k: u32| run_meets(STAND, &needs, &[format!("panels.far.plugged={k} %")]);
    let most = (0..=60).rev().find(|&k| meets(k)).unwrap();
    assert_eq!(result.answer.unwrap().values, [f64::from(most)]);
}

#[test]
fn other_requirements_bind_where_they_should() {
    let least = |needs: &[&str], vary: &str, criterion: Criterion| {
        let result = sized(STAND, needs, &[vary]);
        let answer = result.answer.unwrap_or_else(|| panic!("{vary}: {:?}", result.best));
        let missed = result.neighbours[0].design.trial.binding().unwrap().criterion;
        assert_eq!(missed, criterion, "{vary}");
        answer.values[0]
    };
    let bore = least(&["sizing.greatest_velocity=8 m/s"], "pipes.to-near.bore=150..500 mm step 1", Criterion::Velocity);
    assert!(bore > 200.0);
    least(&["sizing.bank_end_pressure=20 bar(g)"], "gas_banks.bottles.bottles=1..30", Criterion::BankPressure);
    let vary = "tanks.*.pressure=1..7 bar(g)";
    least(&["sizing.plume_margin=2 bar", BLOWDOWN[0], BLOWDOWN[1]], vary, Criterion::PlumePressure);
}

#[test]
fn the_plume_margin_of_a_panel_in_cells_is_that_of_its_worst_cell() {
    // The middle is pressed on hardest: 60 kPa where the mean is less.
    let plume = "plume_pressure: {centre: [1.5 m, 1.5 m], half_width: 1 m, peak: 60 kPa(g)}";
    let cells = &format!("panels:\n  p: {{cells: [3, 3], gap: 40 mm, {plume}, ");
    let text = PLATE.replace("panels:\n  p: {", cells);
    let result = sized(&text, &["sizing.plume_margin=50 kPa"], &["tanks.t.pressure=0.2..6 bar(g) step 0.001"]);
    let answer = result.answer.unwrap();
    // The steady flow at the start, which is the whole duty here: the cells say it themselves.
    let network = template(&text, &[]).input(&answer.sets).unwrap().network;
    let flow = hydro::analysis::steady::solve(&network, &Default::default()).unwrap();
    let over = |cell: &hydro::result::CellFlow| cell.pressure.unwrap() - cell.plume_pressure;
    let pressed = flow.panels[0].cells.iter().filter(|cell| cell.plume_pressure > 101_325.0 + 1.0);
    let least = pressed.map(over).fold(f64::INFINITY, f64::min);
    // A step of 0.001 bar is 100 Pa before the valve.
    assert!((50e3 - 1.0..50e3 + 200.0).contains(&least), "{least}");
    let mean = flow.panels[0].pressure.unwrap() - flow.panels[0].plume_pressure.unwrap();
    assert!(mean > least + 5e3, "the mean would not do: {mean}");
}

#[test]
fn threads_and_a_log_change_nothing() {
    let vary = ["gas_valves.gas.open=0..4", "gas_banks.bottles.pressure=30..180 bar(g) step 10"];
    let text = |threads, log| {
        serde_json::to_string(&json::sizing(&asked(STAND, &HARDER, &vary, false, threads, log))).unwrap()
    };
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/study-tests");
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join("sizing.log");
    let _ = std::fs::remove_file(&path);
    let one = text(1, None);
    assert!(text(2, None) == one);
    assert!(text(2, path.to_str()) == one);
    // A part of the log is what an interrupted search left behind.
    let whole = std::fs::read_to_string(&path).unwrap();
    let part: Vec<&str> = whole.lines().take(20).collect();
    std::fs::write(&path, format!("{}\n", part.join("\n"))).unwrap();
    assert!(text(1, path.to_str()) == one);
    assert_eq!(std::fs::read_to_string(&path).unwrap().lines().count(), whole.lines().count());
    std::fs::remove_file(&path).unwrap();
}

#[test]
fn the_file_may_ask_itself_and_wrong_questions_are_named() {
    let block = "sizing: {vary: [gas_valves.gas.open=0..4], lasts: 30 s}\n";
    assert_eq!(sized(&format!("{STAND}\n{block}"), &[], &[]).answer.unwrap().values, [2.0]);
    let template = template(STAND, &[]);
    let input = template.input(&[]).unwrap();
    let wrong = |vary: &[&str], greatest: bool| {
        let vary: Vec<String> = vary.iter().map(ToString::to_string).collect();
        Question::new(&template, &input, &vary, greatest).unwrap_err().to_string()
    };
    assert!(wrong(&[], false).contains("nothing is to vary"));
    assert!(wrong(&["tanks.east.pressure=1..2 bar(g)"], false).contains("there is no `east` in `tanks`"));
    assert!(wrong(&["tanks.*.pressure=1..2 bar"], false).contains("(g)"));
    let twice = ["gas_valves.gas.open=0..4", "gas_valves.gas.open=1..4"];
    assert!(wrong(&twice, false).contains("twice"));
    assert!(wrong(&["gas_valves.gas.open=0..4", "gas_banks.bottles.bottles=1..4"], true).contains("one unknown"));
}
