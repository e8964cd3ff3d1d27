//! What a run did to each volume of gas: coldest, stored energy, what was let out, what the bottles still hold.

use crate::analysis::supply::Supply;
use crate::analysis::supply::gas_side::OutletKind;
use crate::component::gas_outlet::MOST_POPS;
use crate::finding::{Finding, Level};
use crate::fluid::gas::Gas;
use crate::network::{GasVesselKind, Network};
use crate::result::{At, BottlesLeft, GasSideSeries, GasVerdict, RunResult, Series};

/// Ratio of the heats of a diatomic gas.
const RATIO_OF_HEATS: f64 = 1.4;
/// Share of its gas below which a bank counts as not used.
const UNUSED: f64 = 1e-6;

/// Energy that a gas gives off as it expands to the pressure of the surroundings, J; 0 below it.
///
/// ```text
/// E = p V/(gamma - 1) (1 - (p0/p)^((gamma - 1)/gamma)),   gamma = 1.4
/// ```
///
/// # Source
/// Isentropic expansion of an ideal gas; the form that laboratories use for the hazard of stored gas (LLNL ES&H
/// manual, as quoted). For a real gas at 200 bar it is an estimate.
pub fn stored_energy(pressure: f64, volume: f64, ambient: f64) -> f64 {
    let ratio = ambient / pressure;
    if ratio >= 1.0 {
        return 0.0;
    }
    let exponent = (RATIO_OF_HEATS - 1.0) / RATIO_OF_HEATS;
    pressure * volume / (RATIO_OF_HEATS - 1.0) * (1.0 - ratio.powf(exponent))
}

/// Share of vapour in the pressure up to which evaporation is computed as the range of its law has it.
const MOST_VAPOUR: f64 = 0.1;

/// Series of one vessel.
struct View<'s> {
    pressure: &'s [f64],
    temperature: &'s [f64],
    mass: &'s [f64],
    side: &'s GasSideSeries,
    water: Option<&'s [f64]>,
}

/// Every gas vessel through a run, in the order of the file; none where no row was reached.
pub fn verdicts(supply: &Supply<'_>, series: &Series, opened: &[usize], state: &[f64]) -> Vec<GasVerdict> {
    let network = supply.network;
    let views = views(network, series);
    let highest: Vec<f64> = views.iter().map(|view| view.pressure.iter().copied().fold(0.0, f64::max)).collect();
    let verdict = |(v, view): (usize, &View<'_>)| {
        let vessel = &network.gas_vessels[v];
        let lowest = |values: &[f64]| extreme(&series.time, values, |a, b| a < b);
        let stored: Vec<f64> = (view.pressure.iter().enumerate())
            .map(|(row, &pressure)| {
                stored_energy(pressure, volume(network, v, view, row), network.site.ambient_pressure)
            })
            .collect();
        let outlets = supply.gas_side.outlets.iter().enumerate().filter(|(_, outlet)| outlet.vessel == v);
        let relief = outlets.clone().find(|(_, outlet)| matches!(outlet.kind, OutletKind::Relief(..)));
        // The vent of a weir pipe counts where gas has passed it.
        let vents = outlets.filter_map(|(k, outlet)| match (outlet.kind, supply.vented_by(k, state)) {
            (OutletKind::Relief(..), _) | (OutletKind::Apex(_), 0.0) => None,
            (_, mass) => Some(mass),
        });
        Some(GasVerdict {
            name: vessel.name.clone(),
            lowest_gas: lowest(view.temperature)?,
            lowest_wall: lowest(&view.side.wall_temperature),
            stored_at_start: *stored.first()?,
            stored_at_end: *stored.last()?,
            most_stored: extreme(&series.time, &stored, |a, b| a > b)?,
            relieved: relief.map(|(k, _)| supply.vented_by(k, state)),
            relief_openings: relief.and_then(|(k, _)| opened.get(k).copied()).unwrap_or(0),
            vented: vents.reduce(|sum, mass| sum + mass),
            bottles: bottles(network, v, view, &highest),
        })
    };
    views.iter().enumerate().filter_map(verdict).collect()
}

fn views<'s>(network: &Network, series: &'s Series) -> Vec<View<'s>> {
    let (mut banks, mut headers) = (series.gas_banks.iter(), series.gas_headers.iter());
    let of = |kind: &GasVesselKind| {
        let vessel = match kind {
            GasVesselKind::Bank { .. } => banks.next(),
            GasVesselKind::Header { .. } => headers.next(),
            GasVesselKind::Ullage(tank) => {
                let tank = series.tanks.get(*tank)?;
                let (pressure, temperature) = (&tank.pressure, &tank.gas_temperature);
                return Some(View { pressure, temperature, mass: &[], side: &tank.side, water: Some(&tank.water) });
            }
        }?;
        let (pressure, temperature, mass) = (&vessel.pressure, &vessel.temperature, &vessel.mass);
        Some(View { pressure, temperature, mass, side: &vessel.side, water: None })
    };
    network.gas_vessels.iter().map(|vessel| &vessel.kind).filter_map(of).collect()
}

/// Volume of a vessel at a row, m3.
fn volume(network: &Network, vessel: usize, view: &View<'_>, row: usize) -> f64 {
    match network.gas_vessels[vessel].kind {
        GasVesselKind::Bank { bottles, bottle_volume } => f64::from(bottles) * bottle_volume,
        GasVesselKind::Header { volume } => volume,
        GasVesselKind::Ullage(tank) => {
            network.tanks[tank].volume - view.water.and_then(|water| water.get(row)).copied().unwrap_or(0.0)
        }
    }
}

/// The first value that none beats, with its time.
fn extreme(times: &[f64], values: &[f64], beats: fn(f64, f64) -> bool) -> Option<At> {
    let mut best: Option<At> = None;
    for (&time, &value) in times.iter().zip(values) {
        if best.is_none_or(|best| beats(value, best.value)) {
            best = Some(At { value, time });
        }
    }
    best
}

/// What a bank still holds, where it gave gas.
fn bottles(network: &Network, vessel: usize, view: &View<'_>, highest: &[f64]) -> Option<BottlesLeft> {
    if !matches!(network.gas_vessels[vessel].kind, GasVesselKind::Bank { .. }) {
        return None;
    }
    let (first, last) = (*view.mass.first()?, *view.mass.last()?);
    let used = first - last;
    if used <= UNUSED * first {
        return None;
    }
    let needed = network.gas_valves.iter().filter(|valve| valve.from == vessel);
    let needed = needed.map(|valve| valve.regulated_to.unwrap_or(highest[valve.to])).fold(0.0, f64::max);
    let gas = Gas::new(network.gas, network.gas_model);
    let volume = volume(network, vessel, view, 0);
    let settled = gas.state_rho_t(last / volume, network.site.ambient_temperature).ok()?;
    let least =
        if needed > 0.0 { gas.state_p_t(needed, *view.temperature.last()?).ok()?.density * volume } else { 0.0 };
    // A whole number from 0 to what fits: the cast saturates.
    let more_runs = ((last - least) / used).floor().max(0.0) as u32;
    Some(BottlesLeft { settled_pressure: settled.pressure, needed_pressure: needed, more_runs })
}

/// Adds what is to be said of the gas.
pub fn findings(network: &Network, result: &mut RunResult) {
    let mut found = Vec::new();
    let mut find = |level, code, item: &str, text| found.push(Finding { level, code, item: item.to_owned(), text });
    for (vessel, gas) in
        network.gas_vessels.iter().filter_map(|v| Some((v, result.gas.iter().find(|g| g.name == v.name)?)))
    {
        let (what, coldest) = match gas.lowest_wall {
            Some(wall) => ("metal", wall),
            None => ("gas", gas.lowest_gas),
        };
        if let Some(limit) = vessel.minimum_temperature.filter(|&limit| coldest.value < limit) {
            let text = format!(
                "its {what} cools to {:.1} degC at {:.3} s, below the {:.1} degC that its material is good for",
                coldest.value - 273.15,
                coldest.time,
                limit - 273.15
            );
            find(Level::Warn, "below_minimum_temperature", &gas.name, text);
        }
        if let Some(mass) = gas.relieved.filter(|_| gas.relief_openings > 0) {
            let times = match gas.relief_openings {
                1 => String::from("once"),
                n => format!("{n} times"),
            };
            let text = format!("its relief valve opens {times} and lets out {mass:.3} kg of gas: keep clear of it");
            find(Level::Warn, "relief_opened", &gas.name, text);
        }
        if gas.relief_openings > MOST_POPS {
            let text = String::from(
                "its relief valve opens and shuts again and again: too large for what it has to pass, it would chatter \
                 and be damaged; from then on it is computed as one that modulates",
            );
            find(Level::Warn, "relief_chatters", &gas.name, text);
        }
    }
    let evaporating = network.tanks.iter().zip(&result.series.tanks).filter(|(tank, _)| tank.evaporation.is_some());
    for (_, series) in evaporating {
        let shares: Vec<f64> = series
            .side
            .vapour_pressure
            .iter()
            .zip(&series.pressure)
            .map(|(vapour, pressure)| vapour / pressure)
            .collect();
        let most = |values: &[f64]| extreme(&result.series.time, values, |a, b| a > b);
        let (Some(vapour), Some(share)) = (most(&series.side.vapour_pressure), most(&shares)) else { continue };
        let text = format!(
            "water evaporates into its gas: the vapour comes to {:.4} kPa at {:.3} s, and to {:.3} % of the pressure at {:.3} s",
            vapour.value * 1e-3,
            vapour.time,
            share.value * 100.0,
            share.time
        );
        find(Level::Note, "evaporation", &series.name, text);
        if network.site.water_vapour_pressure > MOST_VAPOUR * series.pressure.iter().copied().fold(f64::MAX, f64::min) {
            let text = format!(
                "the water's vapour pressure is above {:.0} % of the pressure over it: evaporation is faster than computed",
                MOST_VAPOUR * 100.0
            );
            find(Level::Warn, "evaporation_out_of_range", &series.name, text);
        }
    }
    for (tank, verdict) in network.tanks.iter().zip(&result.tanks) {
        let Some(at) = verdict.breakthrough else { continue };
        let by = if tank.vortex_breaker { "the dip of the surface" } else { "a vortex, as no vortex_breaker is given" };
        let text = format!(
            "gas may break through at its outlet from {:.3} s on, by {by}: {:.3} m3 of water are then left, and gas under \
             pressure reaches the plate unless it is stopped before",
            at.time, at.value
        );
        find(Level::Warn, "gas_breakthrough", &verdict.name, text);
    }
    result.findings.extend(found);
}

#[cfg(test)]
mod tests {
    use super::stored_energy;

    #[test]
    fn stored_energy_of_two_known_volumes() {
        // 100 m3 at 20 bar(a): 287 MJ; 10 m3 at 200 bar(a): 390 MJ (project's own sums by the same formula, rounded).
        assert!((stored_energy(2e6, 100.0, 101325.0) / 287e6 - 1.0).abs() < 2e-3);
        assert!((stored_energy(2e7, 10.0, 101325.0) / 390e6 - 1.0).abs() < 2e-3);
        assert_eq!(stored_energy(9e4, 10.0, 101325.0), 0.0);
    }
}
