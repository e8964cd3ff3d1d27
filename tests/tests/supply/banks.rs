//! Several gas banks that feed one tank.

use super::{network, run_of};
use hydro::network::Network;
use hydro::result::RunResult;

/// A tank whose gas comes from banks, each through valves of its own.
fn fed(model: &str, banks: &str, valves: &str) -> Network {
    let text = format!(
        "
site: {{ambient_pressure: 100 kPa(a), water_temperature: 20 degC}}
gas_model: {model}
tolerance: 1e-9
inertia: off
gas_banks: {{{banks}}}
gas_valves: {{{valves}}}
tanks:
  t: {{volume: 30 m3, diameter: 2.4 m, bottom: 0 m, water: 24 m3, pressure: 8 bar(g)}}
outfalls:
  out: {{elevation: 0 m}}
valves:
  v: {{from: t, to: out, bore: 250 mm, loss_coefficient: 2.4}}
duty: {{start: 0 s, ignition: 1 s, hold: 10 s, end: 60 s}}
"
    );
    network(&text, &[])
}

fn bank(name: &str, bottles: u32, pressure: f64) -> String {
    format!("{name}: {{bottles: {bottles}, bottle_volume: 500 L, pressure: {pressure} bar(g), temperature: 20 degC}}")
}

fn valve(name: &str, from: &str, open: u32, more: &str) -> String {
    format!(
        "{name}: {{from: {from}, to: t, installed: 8, open: {open}, bore: 14 mm, discharge_coefficient: 0.84{more}}}"
    )
}

fn conserved(network: &Network, result: &RunResult) {
    let stored: f64 = result.gas.iter().map(|gas| gas.stored_at_start).sum();
    let gas: f64 = result.series.gas_banks.iter().map(|bank| bank.mass[0]).sum();
    assert!(result.balance.gas_error.abs() <= 1e-8 * gas, "{:e} of {gas} kg", result.balance.gas_error);
    assert!(result.balance.energy_error.abs() <= 1e-8 * stored, "{:e} of {stored} J", result.balance.energy_error);
    assert!(result.balance.water_error.abs() <= 1e-8 * network.tanks[0].water, "{:e} m3", result.balance.water_error);
}

/// Equal banks side by side are one bank: the equations are the same, so the series differ by what the integration of
/// each leaves, 1e-9 a step, and by where its steps lie.
#[test]
fn two_half_banks_are_one_whole() {
    for model in ["ideal", "real"] {
        let one = fed(model, &bank("a", 12, 220.0), &valve("va", "a", 6, ""));
        let halves = [bank("a", 6, 220.0), bank("b", 6, 220.0)].join(", ");
        let two = fed(model, &halves, &[valve("va", "a", 3, ""), valve("vb", "b", 3, "")].join(", "));
        let (whole, parts) = (run_of(&one), run_of(&two));
        conserved(&one, &whole);
        conserved(&two, &parts);
        let ([a, b], [all]) = (parts.series.gas_banks.as_slice(), whole.series.gas_banks.as_slice()) else { panic!() };
        assert_eq!(whole.series.time.len(), parts.series.time.len());
        let near = |name: &str, found: &[f64], wanted: &[f64], share: f64| {
            for (found, wanted) in found.iter().zip(wanted) {
                let wanted = share * wanted;
                assert!((found - wanted).abs() <= 1e-7 * wanted.abs(), "{model}, {name}: {found}, not {wanted}");
            }
        };
        near("pressure of the other half", &b.pressure, &a.pressure, 1.0);
        near("gas in the other half", &b.mass, &a.mass, 1.0);
        near("time", &parts.series.time, &whole.series.time, 1.0);
        near("pressure of the bank", &a.pressure, &all.pressure, 1.0);
        near("gas in the bank", &a.mass, &all.mass, 0.5);
        let (tank, alone) = (&parts.series.tanks[0], &whole.series.tanks[0]);
        near("pressure of the tank", &tank.pressure, &alone.pressure, 1.0);
        near("gas temperature of the tank", &tank.gas_temperature, &alone.gas_temperature, 1.0);
    }
}

/// Banks of different size and pressure, one of them below that of the tank, one let in later.
#[test]
fn gas_of_unlike_banks_is_conserved_and_runs_to_the_lower_pressure() {
    let banks = [bank("a", 8, 230.0), bank("b", 3, 120.0), bank("low", 4, 3.0)].join(", ");
    let valves =
        [valve("va", "a", 4, ""), valve("vb", "b", 2, ", opens_at: 4 s"), valve("vl", "low", 1, "")].join(", ");
    for model in ["ideal", "real"] {
        let network = fed(model, &banks, &valves);
        let result = run_of(&network);
        conserved(&network, &result);
        let [_, b, low] = result.series.gas_banks.as_slice() else { panic!() };
        let tank = &result.series.tanks[0];
        for (row, &time) in result.series.time.iter().enumerate() {
            let flow = |valve: usize| result.series.gas_valves[valve].flow[row];
            if time != 4.0 {
                let gives = time > 4.0 && b.pressure[row] > tank.pressure[row];
                assert_eq!(flow(1) > 0.0, gives, "the bank that is let in at 4 s, at {time} s");
            }
            let back = tank.pressure[row] > low.pressure[row];
            assert_eq!(flow(2) < 0.0, back, "the plain valve of the low bank passes gas the other way at {time} s");
        }
        assert!(low.mass.last() > low.mass.first());
    }
}

/// A bank behind a regulator makes up for what a bank through a plain valve does not give.
#[test]
fn a_regulated_bank_makes_up_for_a_plain_one() {
    let banks = [bank("a", 12, 220.0), bank("b", 1, 150.0)].join(", ");
    let valves = [valve("va", "a", 8, ", regulated_to: 8 bar(g)"), valve("vb", "b", 1, "")].join(", ");
    let network = fed("real", &banks, &valves);
    let result = run_of(&network);
    conserved(&network, &result);
    let [a, b] = result.series.gas_valves.as_slice() else { panic!() };
    let tank = &result.series.tanks[0];
    let held = (0..result.series.time.len()).filter(|&row| a.flow[row] > 0.0 && tank.outflow[row] > 0.0);
    let held: Vec<usize> = held.skip(1).collect();
    assert!(held.len() > 50);
    for &row in &held {
        assert!(b.flow[row] > 0.0, "the plain bank gives all the time");
        assert!(
            (tank.pressure[row] - 9e5).abs() <= 1e-3 * 9e5,
            "{} Pa at {}",
            tank.pressure[row],
            result.series.time[row]
        );
    }
}
