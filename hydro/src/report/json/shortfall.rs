//! When and why a panel falls short, as JSON.

use serde::Serialize;

use super::flow::PathItem;
use crate::result::Shortfall as Result;

#[derive(Serialize)]
pub(super) struct Shortfall<'a> {
    time_s: f64,
    lacks: &'a str,
    #[serde(flatten)]
    reason: Option<Reason<'a>>,
}

#[derive(Serialize)]
struct Reason<'a> {
    margin_at_rest: Option<f64>,
    causes: Vec<Cause<'a>>,
    margin_with_all: Option<f64>,
    network_too_small: bool,
    most_loss: Option<PathItem<'a>>,
}

#[derive(Serialize)]
struct Cause<'a> {
    kind: &'a str,
    item: &'a str,
    text: &'a str,
    flux_m_s: f64,
    margin: Option<f64>,
    restores: bool,
}

/// The first shortfall of a panel.
pub(super) fn view(shortfall: &Result) -> Shortfall<'_> {
    let reason = shortfall.reason.as_ref().map(|reason| Reason {
        margin_at_rest: reason.margin,
        causes: (reason.causes.iter())
            .map(|cause| Cause {
                kind: cause.kind.label(),
                item: &cause.item,
                text: &cause.text,
                flux_m_s: cause.flux,
                margin: cause.margin,
                restores: cause.restores,
            })
            .collect(),
        margin_with_all: reason.margin_with_all,
        network_too_small: reason.network_too_small,
        most_loss: reason.most_loss.as_ref().map(PathItem::of),
    });
    Shortfall { time_s: shortfall.time, lacks: shortfall.lack.label(), reason }
}
