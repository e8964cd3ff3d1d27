//! What failures do, as JSON.

use serde::Serialize;

use super::{FindingView, findings};
use crate::result::{DutyVerdict, FaultCase, FaultsResult};

/// What failures do. `faults` are in the order of the result, the worst first.
pub(super) fn view(result: &FaultsResult) -> impl Serialize + '_ {
    let met = |met: bool| result.cases.iter().filter(|c| c.outcome.as_ref().is_ok_and(|v| v.met == met)).count();
    Faults {
        kind: "faults",
        title: &result.title,
        ambient_pressure_pa: result.ambient_pressure,
        ignition_s: result.ignition,
        hold_ends_s: result.hold_ends,
        planned: case(&result.planned),
        faults: result.cases.iter().map(case).collect(),
        cannot_lose: &result.cannot_lose,
        counts: Counts {
            wanted: result.wanted,
            met: met(true),
            missed: met(false),
            not_solved: result.cases.iter().filter(|c| c.outcome.is_err()).count(),
        },
        complete: result.complete(),
        solver: FaultsSolver { solve_time_s: result.solve_time },
        findings: findings(&result.findings),
    }
}

#[derive(Serialize)]
struct Faults<'a> {
    kind: &'a str,
    title: &'a str,
    ambient_pressure_pa: f64,
    ignition_s: f64,
    hold_ends_s: f64,
    planned: Case<'a>,
    faults: Vec<Case<'a>>,
    cannot_lose: &'a [String],
    counts: Counts,
    complete: bool,
    solver: FaultsSolver,
    findings: Vec<FindingView<'a>>,
}

#[derive(Serialize)]
struct Counts {
    wanted: usize,
    met: usize,
    missed: usize,
    not_solved: usize,
}

#[derive(Serialize)]
struct FaultsSolver {
    #[serde(skip_serializing_if = "Option::is_none")]
    solve_time_s: Option<f64>,
}

#[derive(Serialize)]
struct Case<'a> {
    name: &'a str,
    items: &'a [String],
    text: &'a str,
    sets: &'a [String],
    met: Option<bool>,
    verdict: Option<Verdict<'a>>,
    error: Option<ErrorView<'a>>,
}

#[derive(Serialize)]
struct ErrorView<'a> {
    stage: &'a str,
    text: &'a str,
}

/// One failure.
fn case(case: &FaultCase) -> Case<'_> {
    let solved = case.outcome.as_ref();
    Case {
        name: &case.name,
        items: &case.items,
        text: &case.text,
        sets: &case.sets,
        met: solved.ok().map(|verdict| verdict.met),
        verdict: solved.ok().map(verdict),
        error: solved.err().map(|error| ErrorView { stage: error.stage, text: &error.text }),
    }
}

#[derive(Serialize)]
struct Verdict<'a> {
    worst: Option<Worst<'a>>,
    cooling: Option<Cooling<'a>>,
    panels_short: usize,
    plume_enters: &'a [String],
    lasts_s: Option<f64>,
    above_rating: Vec<AboveRatingView<'a>>,
    ended_s: f64,
}

#[derive(Serialize)]
struct Worst<'a> {
    panel: &'a str,
    required_flux_m_s: f64,
    lowest_flux_m_s: f64,
    shortfall_m_s: f64,
    margin: f64,
    short_from_s: Option<f64>,
    short_for_s: f64,
}

#[derive(Serialize)]
struct Cooling<'a> {
    panel: &'a str,
    lowest_margin: f64,
    lowest_margin_at_s: f64,
    panels_short: usize,
}

#[derive(Serialize)]
struct AboveRatingView<'a> {
    tank: &'a str,
    pressure_pa: f64,
    rating_pa: f64,
}

/// How a duty went.
fn verdict(verdict: &DutyVerdict) -> Verdict<'_> {
    Verdict {
        worst: verdict.worst.as_ref().map(|w| Worst {
            panel: &w.panel,
            required_flux_m_s: w.required_flux,
            lowest_flux_m_s: w.lowest_flux,
            shortfall_m_s: w.shortfall(),
            margin: w.margin(),
            short_from_s: w.short_from,
            short_for_s: w.short_for,
        }),
        cooling: verdict.cooling.as_ref().map(|c| Cooling {
            panel: &c.panel,
            lowest_margin: c.margin,
            lowest_margin_at_s: c.at,
            panels_short: c.short,
        }),
        panels_short: verdict.panels_short,
        plume_enters: &verdict.plume_enters,
        lasts_s: verdict.lasts,
        above_rating: (verdict.above_rating.iter())
            .map(|a| AboveRatingView { tank: &a.tank, pressure_pa: a.highest, rating_pa: a.rating })
            .collect(),
        ended_s: verdict.ended,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use crate::report::{examples, json};

    #[test]
    fn a_failure_says_how_to_repeat_it_and_what_falls_short() {
        let value = serde_json::to_value(json::faults(&examples::faults())).unwrap();
        assert_eq!(value["kind"], "faults");
        assert_eq!(value["counts"], json!({"wanted": 3, "met": 1, "missed": 1, "not_solved": 1}));
        assert_eq!((value["complete"].clone(), value["cannot_lose"].clone()), (json!(false), json!(["north"])));
        assert_eq!(value["faults"][0]["error"], json!({"stage": "unsolved", "text": "the run stopped"}));
        let north = &value["faults"][1];
        assert_eq!(north["sets"], json!(["pipes.main.blocked=true", "gas_valves.gas.open=0"]));
        let worst = json!({"panel": "dry", "required_flux_m_s": 0.04, "lowest_flux_m_s": 0.03, "shortfall_m_s": 0.01,
            "margin": -0.25, "short_from_s": 8.5, "short_for_s": 1.5});
        let cooling = json!({"panel": "hot", "lowest_margin": -0.125, "lowest_margin_at_s": 9.0, "panels_short": 1});
        assert_eq!(north["verdict"]["cooling"], cooling);
        let found = &north["verdict"]["worst"];
        for key in worst.as_object().unwrap().keys() {
            let (a, b) = (&found[key], &worst[key]);
            match (a.as_f64(), b.as_f64()) {
                (Some(a), Some(b)) => assert!((a - b).abs() < 1e-12, "{key}: {a} {b}"),
                _ => assert_eq!(a, b),
            }
        }
    }
}
