//! A design found, or a front of designs, as JSON.

use serde::Serialize;
use serde_json::{Map, Value, json};

use super::{FindingView, findings};
use crate::result::{Criterion, Design, DesignTrial, Margin, SizedUnknown, SizingResult};

/// A design found. `values` are in the unit that the unknown was written in, `si` in SI.
pub(super) fn view(result: &SizingResult) -> impl Serialize + '_ {
    let design = |design: &Design| view_of(design, &result.unknowns);
    Sizing {
        kind: "size",
        title: &result.title,
        ambient_pressure_pa: result.ambient_pressure,
        quantity: "design",
        unknowns: result.unknowns.iter().map(unknown).collect(),
        greatest: result.greatest,
        feasible: result.feasible,
        answer: result.answer.as_ref().map(design),
        front: result.front.iter().map(design).collect(),
        best: result.best.as_ref().map(design),
        neighbours: (result.neighbours.iter()).map(|n| json!({"path": n.path, "design": design(&n.design)})).collect(),
        sensitivities: (result.sensitivities.iter())
            .map(|s| json!({"path": s.path, "per_percent": s.per_percent, "spare": s.spare}))
            .collect(),
        monotone: result.monotone,
        front_whole: result.front_whole,
        front_proven: result.front_proven,
        searches: &result.searches,
        solver: SizingSolver { evaluations: result.evaluations, solve_time_s: result.solve_time },
        findings: findings(&result.findings),
    }
}

#[derive(Serialize)]
struct Sizing<'a> {
    kind: &'a str,
    title: &'a str,
    ambient_pressure_pa: f64,
    quantity: &'a str,
    unknowns: Vec<Value>,
    greatest: bool,
    feasible: bool,
    answer: Option<Value>,
    front: Vec<Value>,
    best: Option<Value>,
    neighbours: Vec<Value>,
    sensitivities: Vec<Value>,
    monotone: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    front_whole: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    front_proven: Option<usize>,
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    searches: &'a [Option<f64>],
    solver: SizingSolver,
    findings: Vec<FindingView<'a>>,
}

#[derive(Serialize)]
struct SizingSolver {
    evaluations: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    solve_time_s: Option<f64>,
}

/// One unknown.
fn unknown(unknown: &SizedUnknown) -> Value {
    json!({"path": unknown.path, "unit": unknown.unit, "low": unknown.low, "high": unknown.high, "step": unknown.step,
        "count": unknown.count})
}

/// One design.
fn view_of(design: &Design, unknowns: &[SizedUnknown]) -> Value {
    let values = unknowns.iter().zip(&design.values).zip(&design.si);
    let values: Vec<Value> = values
        .map(|((unknown, value), si)| json!({"path": unknown.path, "value": value, "unit": unknown.unit, "si": si}))
        .collect();
    let DesignTrial { margins, error } = &design.trial;
    json!({"values": values, "sets": design.sets, "cost": design.cost, "met": design.trial.met(),
        "binding": design.trial.binding().map(margin), "margins": margins.iter().map(margin).collect::<Vec<_>>(),
        "error": error})
}

/// One requirement: what is required and reached have their unit in their names.
fn margin(margin: &Margin) -> Value {
    let unit = match margin.criterion {
        Criterion::Flux | Criterion::Velocity => "m_s",
        Criterion::PlumePressure | Criterion::Rating | Criterion::BankPressure => "pa",
        Criterion::Lasts => "s",
        Criterion::TotalFlow => "m3_s",
        Criterion::Unevenness | Criterion::Cooling => "share",
    };
    let mut view = Map::new();
    view.insert("criterion".into(), json!(margin.criterion.label()));
    view.insert("item".into(), json!(margin.item));
    view.insert("time_s".into(), json!(margin.time));
    view.insert(format!("required_{unit}"), json!(margin.required));
    view.insert(format!("reached_{unit}"), json!(margin.reached));
    view.insert("margin".into(), json!(margin.share));
    Value::Object(view)
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use crate::report::{examples, json};

    #[test]
    fn a_design_has_its_values_and_what_binds() {
        let value = serde_json::to_value(json::sizing(&examples::sizing(true))).unwrap();
        assert_eq!((&value["kind"], &value["quantity"]), (&json!("size"), &json!("design")));
        let wanted = json!([{"path": "tanks.*.pressure", "value": 6.5, "unit": "bar(g)", "si": 751_325.0}]);
        assert_eq!(value["answer"]["values"], wanted);
        assert_eq!(value["answer"]["binding"]["reached_m_s"], json!(0.0401));
        assert_eq!(value["neighbours"][0]["design"]["met"], json!(false));
        let none = serde_json::to_value(json::sizing(&examples::sizing(false))).unwrap();
        assert_eq!((&none["answer"], &none["best"]["met"]), (&json!(null), &json!(false)));
    }
}
