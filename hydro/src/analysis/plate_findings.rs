//! What a steady result says of holes and heat. What holds for most of a plate is said once, of the worst panel.

use super::findings::{flux, heat};
use crate::component::hole::CONTRACTION;
use crate::component::panel::DischargeCoefficient;
use crate::finding::Level;
use crate::network::Network;
use crate::result::{CoolingCheck, FlowResult, PanelFlow};

/// Adds the findings.
pub fn add(network: &Network, result: &FlowResult, find: &mut impl FnMut(Level, &'static str, &str, String)) {
    cavitation(network, result, find);
    crossing(network, result, find);
    let heated: Vec<(&PanelFlow, &CoolingCheck)> =
        result.panels.iter().filter_map(|panel| Some((panel, panel.cooling.as_ref()?))).collect();
    for (panel, cooling) in &heated {
        if let (Some(needed), Some(false)) = (cooling.needed, cooling.met) {
            let (has, load) = (flux(cooling.flux), heat(cooling.worst_heat_flux));
            let text = format!("gets {has} of the {} that {load} of heat need", flux(needed));
            find(Level::Fail, "heat_short", &panel.name, text);
        }
    }
    let hot = |c: &CoolingCheck| c.critical_heat_flux.map_or(0.0, |critical| c.worst_heat_flux / critical);
    if let Some(((panel, cooling), more)) = worst(&heated, |(_, c)| hot(c), 1.0) {
        let text = format!(
            "{} of heat are above the critical heat flux of a pool, {} (Zuber): it stays cool only as long as fast, cold \
             water runs over it{more}",
            heat(cooling.worst_heat_flux),
            heat(cooling.critical_heat_flux.unwrap_or(0.0))
        );
        find(Level::Warn, "above_critical_heat_flux", &panel.name, text);
    }
    let thin = |c: &CoolingCheck| match c.wetting_flux {
        Some(least) if c.worst_heat_flux > 0.0 => least / c.flux.max(f64::MIN_POSITIVE),
        _ => 0.0,
    };
    if let Some(((panel, cooling), more)) = worst(&heated, |(_, c)| thin(c), 1.0) {
        let least = flux(cooling.wetting_flux.unwrap_or(0.0));
        let text =
            format!("gets {}, less than the {least} at which a film closes over dry spots{more}", flux(cooling.flux));
        find(Level::Warn, "below_wetting_limit", &panel.name, text);
    }
    let unknown = |c: &CoolingCheck| if c.saturation_temperature.is_none() { 1.0 } else { 0.0 };
    if let Some(((panel, _), more)) = worst(&heated, |(_, c)| unknown(c), 0.5) {
        let text = format!(
            "water has no boiling point above its own temperature at the pressure outside: its heat is not judged{more}"
        );
        find(Level::Warn, "no_saturation", &panel.name, text);
    }
}

/// Share of the drop over the holes above which the velocity head in the gap is worth a word; common practice.
const GAP_HEAD: f64 = 0.1;

/// Gaps whose stream takes from the holes.
fn crossing(network: &Network, result: &FlowResult, find: &mut impl FnMut(Level, &'static str, &str, String)) {
    let panels: Vec<_> = result.panels.iter().zip(&network.panels).collect();
    let share = |panel: &PanelFlow| panel.holes.gap_head_to_drop.unwrap_or(0.0);
    let Some(((panel, data), more)) = worst(&panels, |(panel, _)| share(panel), GAP_HEAD) else { return };
    let reckoned = match data.holes.discharge_coefficient {
        DischargeCoefficient::Auto => "which is taken from the holes as far as the law holds",
        DischargeCoefficient::Given(_) => "which the given discharge coefficient leaves out: less water comes",
    };
    let text = format!(
        "the stream in its gap has a velocity head of {:.0} % of the drop over the holes, {reckoned}{more}",
        share(panel) * 100.0
    );
    find(Level::Warn, "fast_gap", &panel.name, text);
}

/// Holes past the drop at which they cavitate.
fn cavitation(network: &Network, result: &FlowResult, find: &mut impl FnMut(Level, &'static str, &str, String)) {
    let holes: Vec<_> = result.panels.iter().zip(&network.panels).collect();
    let past = |panel: &PanelFlow| match (panel.holes.drop, panel.holes.cavitates_above) {
        (Some(drop), Some(above)) if panel.holes.cavitates => drop / above,
        _ => 0.0,
    };
    let Some(((panel, data), more)) = worst(&holes, |(panel, _)| past(panel), 1.0) else { return };
    let reckoned = if data.holes.is_limited() {
        "their flow is reckoned with it"
    } else {
        "the given discharge coefficient leaves that out"
    };
    let text = format!(
        "its holes drop {:.2} bar, past the {:.2} bar at which holes with square edges cavitate; {reckoned}. A cold-flow \
         test at low pressure promises too much: up to {:.0} % where the jets come off the wall{more}",
        panel.holes.drop.unwrap_or(0.0) / 1e5,
        panel.holes.cavitates_above.unwrap_or(0.0) / 1e5,
        (data.holes.coefficient() / CONTRACTION - 1.0) * 100.0
    );
    find(Level::Warn, "holes_cavitate", &panel.name, text);
}

/// The panel for which a measure is greatest, if it is above `from`, and how many others are above it, in words.
fn worst<T: Copy>(panels: &[T], measure: impl Fn(&T) -> f64, from: f64) -> Option<(T, String)> {
    let past = || panels.iter().filter(|panel| measure(panel) > from);
    let most = past().map(&measure).fold(from, f64::max);
    let first = past().find(|panel| measure(panel) >= most)?;
    let more = match past().count() - 1 {
        0 => String::new(),
        1 => String::from(" (and 1 more panel)"),
        n => format!(" (and {n} more panels)"),
    };
    Some((*first, more))
}
