//! An answer to a question of size as JSON.

use serde::{Serialize, Serializer};

use super::{FindingView, by_name, findings};
use crate::result::{Binding, Requirement, SizeBound, SizeQuantity, SizeResult, SizeTrial};

/// An answer to a question of size. `answer` holds one value an item, under `pressure_pa` or `open`.
pub(super) fn view(result: &SizeResult) -> impl Serialize + '_ {
    let quantity = result.quantity;
    Size {
        kind: "size",
        title: &result.title,
        ambient_pressure_pa: result.ambient_pressure,
        quantity: quantity.label(),
        feasible: result.feasible,
        answer: result.answer.map(|value| by_name(&result.items, move |name| (name, Value { quantity, value }))),
        items: &result.items,
        bounds: Bounds { lower: bound(quantity, &result.lower), upper: bound(quantity, &result.upper) },
        step: Value { quantity, value: result.step },
        at_answer: trial(quantity, &result.at_answer),
        below: result.below.as_ref().map(|t| trial(quantity, t)),
        solver: SizeSolver { evaluations: result.evaluations, solve_time_s: result.solve_time },
        findings: findings(&result.findings),
    }
}

#[derive(Serialize)]
struct Size<'a, A> {
    kind: &'a str,
    title: &'a str,
    ambient_pressure_pa: f64,
    quantity: &'a str,
    items: &'a [String],
    feasible: bool,
    answer: Option<A>,
    bounds: Bounds<'a>,
    step: Value,
    at_answer: Trial<'a>,
    below: Option<Trial<'a>>,
    solver: SizeSolver,
    findings: Vec<FindingView<'a>>,
}

/// A value of the sized quantity: `{"pressure_pa": ..}` or `{"open": ..}`.
struct Value {
    quantity: SizeQuantity,
    value: f64,
}

impl Serialize for Value {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self.quantity {
            SizeQuantity::TankPressure => serializer.collect_map([("pressure_pa", self.value)]),
            SizeQuantity::OpenValves => serializer.collect_map([("open", self.value as u64)]),
        }
    }
}

#[derive(Serialize)]
struct Bounds<'a> {
    lower: Bound<'a>,
    upper: Bound<'a>,
}

#[derive(Serialize)]
struct Bound<'a> {
    #[serde(flatten)]
    value: Value,
    source: &'a str,
}

/// One end of a search.
fn bound(quantity: SizeQuantity, bound: &SizeBound) -> Bound<'_> {
    Bound { value: Value { quantity, value: bound.value }, source: &bound.source }
}

#[derive(Serialize)]
struct Trial<'a> {
    #[serde(flatten)]
    value: Value,
    met: bool,
    binding: Option<BindingView<'a>>,
}

/// One value tried.
fn trial(quantity: SizeQuantity, trial: &SizeTrial) -> Trial<'_> {
    let binding = trial.binding.as_ref().map(binding);
    Trial { value: Value { quantity, value: trial.value }, met: trial.met, binding }
}

/// A requirement: fluxes end in `_m_s`, pressures in `_pa`.
#[derive(Serialize)]
struct BindingView<'a> {
    panel: &'a str,
    time_s: f64,
    requirement: &'a str,
    #[serde(flatten)]
    values: BindingValues,
}

#[derive(Serialize)]
#[serde(untagged)]
enum BindingValues {
    Flux { required_flux_m_s: f64, flux_m_s: f64, shortfall_m_s: f64 },
    PlumePressure { plume_pressure_pa: f64, pressure_pa: f64, shortfall_pa: f64 },
}

/// The requirement with the least margin.
fn binding(binding: &Binding) -> BindingView<'_> {
    let (required, reached, shortfall) = (binding.required, binding.reached, binding.shortfall());
    BindingView {
        panel: &binding.panel,
        time_s: binding.time,
        requirement: binding.requirement.label(),
        values: match binding.requirement {
            Requirement::Flux => {
                BindingValues::Flux { required_flux_m_s: required, flux_m_s: reached, shortfall_m_s: shortfall }
            }
            Requirement::PlumePressure => BindingValues::PlumePressure {
                plume_pressure_pa: required,
                pressure_pa: reached,
                shortfall_pa: shortfall,
            },
        },
    }
}

#[derive(Serialize)]
struct SizeSolver {
    evaluations: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    solve_time_s: Option<f64>,
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use crate::report::{examples, json};
    use crate::result::SizeQuantity;

    #[test]
    fn an_answer_has_its_unit_in_its_name() {
        let value = serde_json::to_value(json::size(&examples::size(true))).unwrap();
        assert_eq!(value["kind"], "size");
        assert_eq!(value["quantity"], "tank_pressure");
        assert_eq!(
            value["answer"],
            json!({"north": {"pressure_pa": 1_001_325.0}, "south": {"pressure_pa": 1_001_325.0}})
        );
        assert_eq!(value["bounds"]["upper"], json!({"pressure_pa": 1_701_325.0, "source": "rating of north"}));
        assert_eq!(value["below"]["met"], false);
        assert_eq!(value["below"]["binding"]["panel"], "dry");
        let shortfall = value["below"]["binding"]["shortfall_m_s"].as_f64().unwrap();
        assert!((shortfall - 1e-4).abs() < 1e-12, "{shortfall}");
    }

    #[test]
    fn a_count_is_a_whole_number() {
        let mut result = examples::size(true);
        result.quantity = SizeQuantity::OpenValves;
        result.items = vec!["gas".to_string()];
        result.answer = Some(6.0);
        let text = serde_json::to_string(&json::size(&result)).unwrap();
        assert!(text.contains(r#""answer":{"gas":{"open":6}}"#), "{text}");
    }

    #[test]
    fn infeasible_has_no_answer() {
        let value = serde_json::to_value(json::size(&examples::size(false))).unwrap();
        assert_eq!((value["feasible"].clone(), value["answer"].clone()), (json!(false), json!(null)));
        let shortfall = value["at_answer"]["binding"]["shortfall_m_s"].as_f64().unwrap();
        assert!((shortfall - 0.01).abs() < 1e-12, "{shortfall}");
    }
}
