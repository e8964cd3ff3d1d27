//! Relief, vent-down, walls and heat against closed forms and an integration of their own.

use super::{near, network, rejected, run_of, times};
use hydro::network::Network;
use hydro::result::{EventCode, RunResult};

/// A tank whose outlet is all but shut: its gas is alone.
const SEALED: &str = "
inertia: off
site: {ambient_pressure: 100 kPa(a), water_temperature: 20 degC, water_density: 1000 kg/m3}
gas_model: ideal
tolerance: 1e-9
tanks:
  t: {volume: 10 m3, diameter: 2 m, bottom: 0 m, water: 5 m3, pressure: 9 bar(g), gas_temperature: 20 degC}
outfalls:
  out: {elevation: 0 m}
valves:
  v: {from: t, to: out, bore: 200 mm, loss_coefficient: 2, opens_at: 1000 s}
duty: {end: 30 s}
";

const R: f64 = 8.31446261815324 / 28.0134e-3;

/// Flow of a choked throat over its pressure and area, s/m, of an ideal gas with gamma 1.4.
fn choked(temperature: f64) -> f64 {
    (1.4 / (R * temperature)).sqrt() * (2.0_f64 / 2.4).powf(3.0)
}

fn conserved(network: &Network, result: &RunResult) {
    let ideal = network.gas_vessels.iter().map(|vessel| vessel.pressure).sum::<f64>();
    let energy: f64 = result.gas.iter().map(|gas| gas.stored_at_start).sum::<f64>() + ideal;
    assert!(result.balance.energy_error.abs() < 1e-8 * energy, "{:e} J of {energy:e}", result.balance.energy_error);
    assert!(result.balance.gas_error.abs() < 1e-8, "{:e} kg", result.balance.gas_error);
}

#[test]
fn a_relief_valve_blows_down_to_its_reseat() {
    let relief = "tanks.t.relief={set: 8 bar(g), bore: 20 mm, discharge_coefficient: 0.8, blowdown: 25 %}";
    // Isothermal: dp/dt = -p R T Cd A k/V while choked, so p falls as an exponential: from 10 to 7 bar(a).
    let network = network(SEALED, &[relief, "tanks.t.ullage=isothermal", "duty.end=200 s"]);
    let result = run_of(&network);
    assert_eq!(times(&result, "t", EventCode::ReliefOpens), [0.0], "above its set pressure from the start");
    let area = 0.8 * std::f64::consts::PI / 4.0 * 0.02 * 0.02;
    let rate = R * 293.15 * area * choked(293.15) / 5.0;
    near(times(&result, "t", EventCode::ReliefCloses)[0], (10.0_f64 / 7.0).ln() / rate, 1e-6, "shuts");
    let mass = 3e5 * 5.0 / (R * 293.15);
    near(result.gas[0].relieved.unwrap(), mass, 1e-6 * mass, "gas let out");
    near(result.supply.gas_vented, mass, 1e-6 * mass, "gas let out in all");
    assert_eq!(result.gas[0].relief_openings, 1);
    assert!(result.findings.iter().any(|f| f.code == "relief_opened"));
    conserved(&network, &result);
}

#[test]
fn a_relief_valve_without_heat_follows_the_adiabatic_blowdown() {
    let relief = "tanks.t.relief={set: 8 bar(g), bore: 20 mm, discharge_coefficient: 0.8, reseats_at: 3 bar(g)}";
    let network = network(SEALED, &[relief, "duty.end=200 s"]);
    let result = run_of(&network);
    // Adiabatic vessel, choked: p/p0 = (1 + a t)^(-2 gamma/(gamma - 1)), a = (gamma - 1)/2 Cd A k p0/m0.
    let area = 0.8 * std::f64::consts::PI / 4.0 * 0.02 * 0.02;
    let a = 0.2 * area * choked(293.15) * R * 293.15 / 5.0;
    let wanted = ((10.0_f64 / 4.0).powf(0.4 / 2.8) - 1.0) / a;
    near(times(&result, "t", EventCode::ReliefCloses)[0], wanted, 1e-6 * wanted, "shuts");
    let coldest = result.gas[0].lowest_gas;
    near(coldest.value, 293.15 * 0.4_f64.powf(0.4 / 1.4), 1e-6 * 293.15, "coldest");
    near(coldest.time, wanted, 1e-6 * wanted, "coldest at");
    conserved(&network, &result);
}

#[test]
fn a_relief_valve_keeps_a_failed_regulator_in_check() {
    // A bank that blows into the tank without a regulator: the relief valve opens and shuts in turn.
    let text = SEALED.replace("tanks:", "gas_banks:\n  b: {bottles: 4, bottle_volume: 50 L, pressure: 200 bar(g)}\n  c: {bottles: 4, bottle_volume: 50 L, pressure: 180 bar(g)}\ngas_valves:\n  g: {from: b, to: t, bore: 3 mm, discharge_coefficient: 0.8}\n  h: {from: c, to: t, bore: 3 mm, discharge_coefficient: 0.8}\ntanks:");
    let sets = ["tanks.t.relief={set: 10 bar(g), bore: 30 mm, discharge_coefficient: 0.8}", "duty.end=100 s"];
    let network = network(&text, &sets);
    let result = run_of(&network);
    let (opens, closes) = (times(&result, "t", EventCode::ReliefOpens), times(&result, "t", EventCode::ReliefCloses));
    assert!(opens.len() > 2 && opens.len() - closes.len() <= 1, "{opens:?} {closes:?}");
    let highest = result.series.tanks[0].pressure.iter().copied().fold(0.0, f64::max);
    near(highest, 11e5, 1.0, "highest pressure");
    for closes in closes {
        let row = result.series.time.iter().position(|&t| t == closes).unwrap();
        near(result.series.tanks[0].pressure[row], 11e5 - 0.07 * 10e5, 10.0, "reseats 7 % of the gauge set below");
    }
    conserved(&network, &result);
}

#[test]
fn a_relief_valve_that_chatters_is_followed_to_the_end() {
    // Next to no gas above the water, and a large relief valve: hundreds of pops a second.
    let text = SEALED.replace("tanks:", "gas_banks:\n  b: {bottles: 4, bottle_volume: 50 L, pressure: 200 bar(g)}\ngas_valves:\n  g: {from: b, to: t, bore: 3 mm, discharge_coefficient: 0.8}\ntanks:");
    let sets = [
        "tanks.t.relief={set: 10 bar(g), bore: 50 mm, discharge_coefficient: 0.8, blowdown: 1 %}",
        "tanks.t.water=9.99 m3",
        "tolerance=1e-6",
    ];
    let network = network(&text, &sets);
    let result = run_of(&network);
    assert!(result.findings.iter().any(|f| f.code == "relief_chatters"));
    assert!(result.solver.steps < 5000, "{}", result.solver.steps);
    let last = *result.series.tanks[0].pressure.last().unwrap();
    assert!((10.9e5..=11e5).contains(&last), "between reseat and set: {last}");
    conserved(&network, &result);
}

#[test]
fn a_vent_down_empties_the_tank_after_the_run() {
    let vent = "tanks.t.vent_down={opens_when: {item: t, water_below: 1 m3}, bore: 40 mm, discharge_coefficient: 0.8}";
    let sets = [vent, "valves.v.opens_at=1 s", "valves.v.closes_when={item: t, water_below: 1 m3}", "duty.end=400 s"];
    let network = network(SEALED, &sets);
    let result = run_of(&network);
    let met = times(&result, "t", EventCode::ValveOpen);
    assert_eq!(met.len(), 1, "{:?}", result.events);
    let last = *result.series.tanks[0].pressure.last().unwrap();
    near(last, 1e5, 10.0, "ambient at the end");
    let density = 1e5 / (R * result.series.tanks[0].gas_temperature.last().unwrap());
    let mass = 10e5 * 5.0 / (R * 293.15) - density * 9.0;
    near(result.gas[0].vented.unwrap(), mass, 1e-3, "gas let out");
    assert!(result.gas[0].stored_at_end < 1e-3 * result.gas[0].stored_at_start);
    assert!(result.gas[0].most_stored.time <= met[0], "worst before the vent-down");
    conserved(&network, &result);
}

#[test]
fn the_run_goes_on_until_an_empty_tank_is_vented() {
    let vent = "tanks.t.vent_down={opens_at: 60 s, stroke: 2 s, bore: 100 mm, discharge_coefficient: 0.8}";
    let network = network(SEALED, &[vent, "valves.v.opens_at=1 s", "duty.end=900 s"]);
    let result = run_of(&network);
    let empty = times(&result, "t", EventCode::TankEmpty)[0];
    assert!(empty < 60.0);
    near(*result.series.tanks[0].pressure.last().unwrap(), 1e5, 10.0, "ambient at the end");
    assert!(result.ended.contains("nothing flows"), "{}", result.ended);
    near(result.supply.lasts.unwrap(), empty, 1e-9, "lasts as long as the water");
}

#[test]
fn gas_and_metal_come_together_as_two_bodies_do() {
    let wall = "tanks.t.wall={mass: 40 kg, specific_heat: 500 J/(kg K), heat_transfer: 900 W/K, temperature: 80 degC}";
    let network = network(SEALED, &[wall, "duty.end=20 s", "valves.v.opens_at=20 s", "tolerance=1e-10"]);
    let result = run_of(&network);
    let (metal, gas) = (40.0 * 500.0, 10e5 * 5.0 / (R * 293.15) * R / 0.4);
    let mean = (353.15 * metal + 293.15 * gas) / (metal + gas);
    let side = &result.series.tanks[0].side;
    for (row, &time) in result.series.time.iter().enumerate() {
        let apart = 60.0 * (-900.0 * (1.0 / metal + 1.0 / gas) * time).exp();
        near(side.wall_temperature[row], mean + apart * gas / (metal + gas), 1e-6, "metal");
        near(result.series.tanks[0].gas_temperature[row], mean - apart * metal / (metal + gas), 1e-6, "gas");
    }
    conserved(&network, &result);
}

#[test]
fn heat_to_the_water_and_by_natural_convection() {
    // Given: an exponential towards the water. Natural on the metal of a bank: an integration of its own below.
    let set = "tanks.t.water_heat_transfer=500 W/K";
    let network_ =
        network(SEALED, &[set, "tanks.t.gas_temperature=60 degC", "valves.v.opens_at=20 s", "duty.end=20 s"]);
    let result = run_of(&network_);
    let capacity = 10e5 * 5.0 / (R * 333.15) * R / 0.4;
    let row = result.series.time.len() - 1;
    let wanted = 293.15 + 40.0 * (-500.0 / capacity * result.series.time[row]).exp();
    near(result.series.tanks[0].gas_temperature[row], wanted, 1e-6, "towards the water");
    conserved(&network_, &result);

    let natural = "tanks.t.wall={mass: 1e8 kg, heat_transfer: natural, area: 20 m2, temperature: 80 degC}";
    let network_ = network(SEALED, &[natural, "valves.v.opens_at=20 s"]);
    let result = run_of(&network_);
    // Heun's method with 20000 steps on m cv dT/dt = A h(T) (Tw - T).
    let gas = hydro::fluid::gas::Gas::new(network_.gas, network_.gas_model);
    let mass = 10e5 * 5.0 / (R * 293.15);
    let slope = |temperature: f64| {
        let state = gas.state_rho_t(mass / 5.0, temperature).unwrap();
        let h = hydro::component::gas_wall::natural(&gas, &state, 353.15, 9.80665);
        20.0 * h * (353.15 - temperature) / (mass * R / 0.4)
    };
    let (mut temperature, step) = (293.15, 20.0 / 20000.0);
    for _ in 0..20000 {
        let first = slope(temperature);
        temperature += 0.5 * step * (first + slope(temperature + step * first));
    }
    let row = result.series.time.iter().position(|&t| t == 20.0).unwrap();
    let found = result.series.tanks[0].gas_temperature[row];
    near(found, temperature, 1e-5, "natural convection");
    assert!(temperature > 295.0, "{temperature}");
}

#[test]
fn water_evaporates_into_gas_at_its_temperature() {
    // At one temperature all is in closed form: the vapour comes to its saturation as an exponential with the time
    // V/(G R T), G = UA/(rho cp Le^(2/3))/(R T), while the gas stays as it is. With 40 degC the pressure gains 7.4 kPa.
    let sets = [
        "tanks.t.water_heat_transfer=800 W/K",
        "tanks.t.evaporation=true",
        "site.water_temperature=40 degC",
        "site.water_vapour_pressure=7.3849 kPa(a)",
        "tanks.t.gas_temperature=40 degC",
        "duty.end=3000 s",
        "valves.v.opens_at=2999 s",
    ];
    let network_ = network(SEALED, &sets);
    let result = run_of(&network_);
    let gas = hydro::fluid::gas::Gas::new(network_.gas, network_.gas_model);
    let state = gas.state_p_t(10e5, 313.15).unwrap();
    // Lewis number of water vapour in nitrogen by the properties of the run, the analogy written out again.
    let diffusivity = 1.87e-10 * 313.15_f64.powf(2.072) / (10e5 / 101325.0);
    let lewis = gas.conductivity(&state) / (state.density * state.cp * diffusivity);
    let rate = 800.0 / (state.density * state.cp * lewis.powf(2.0 / 3.0)) / 5.0;
    let (tank, saturation) = (&result.series.tanks[0], 7384.9);
    for (row, &time) in result.series.time.iter().enumerate().filter(|(_, time)| **time < 2999.0) {
        let wanted = saturation * (1.0 - (-rate * time).exp());
        // 0.7 % of vapour changes what passes heat by as much; what flows in warms the gas by the work of its pressure, 0.2 K.
        near(tank.side.vapour_pressure[row], wanted, 0.01 * saturation, "vapour");
        let (temperature, volume) = (tank.gas_temperature[row], 10.0 - tank.water[row]);
        let alone = 10e5 * (temperature / 313.15) * (5.0 / volume);
        near(tank.pressure[row], alone + tank.side.vapour_pressure[row], 0.1, "Dalton");
    }
    let row = result.series.time.iter().rposition(|&time| time < 2999.0).unwrap();
    near(tank.side.vapour_pressure[row], saturation, 1e-3 * saturation, "saturated");
    let mass = saturation * 5.0 / (461.526 * 313.15);
    near(5.0 - tank.water[row], mass / 1000.0, 2e-3 * mass / 1000.0, "the water that is gone");
    assert!(result.balance.water_error.abs() < 1e-11, "{}", result.balance.water_error);
    conserved(&network_, &result);
    assert!(result.findings.iter().any(|f| f.code == "evaporation"));

    // Saturated from the start nothing evaporates, and the pressure in the file is that of both.
    let network_ = network(SEALED, &[&sets[..], &["tanks.t.humidity=100 %"]].concat());
    let result = run_of(&network_);
    let tank = &result.series.tanks[0];
    assert!(tank.pressure.iter().zip(&result.series.time).all(|(p, &t)| t > 2999.0 || (p - 10e5).abs() < 1.0));
    near(tank.side.vapour_pressure[100], saturation, 1e-6 * saturation, "saturated");
}

#[test]
fn vapour_is_conserved_wherever_it_goes() {
    // Two tanks on one gas header: the warm one's relief valve opens, moist gas runs back into the header and into the other
    // tank, whose water does not evaporate; then water runs, with and without inertia.
    let text = SEALED
        .replace("tanks:", "gas_headers:\n  h: {volume: 1 m3, pressure: 5 bar(g)}\ngas_valves:\n  a: {from: h, to: t, bore: 10 mm, discharge_coefficient: 0.8}\n  b: {from: h, to: u, bore: 10 mm, discharge_coefficient: 0.8}\ntanks:\n  u: {volume: 6 m3, diameter: 2 m, bottom: 0 m, water: 2 m3, pressure: 3 bar(g), gas_temperature: 20 degC}")
        .replace("  v:", "  w: {from: u, to: out, bore: 200 mm, loss_coefficient: 2, opens_at: 40 s}\n  v:");
    let sets = [
        "tanks.t.water_heat_transfer=natural",
        "tanks.t.evaporation=true",
        "site.water_temperature=60 degC",
        "site.water_vapour_pressure=19.95 kPa(a)",
        "tanks.t.relief={set: 7 bar(g), bore: 10 mm, discharge_coefficient: 0.8, reseats_at: 5 bar(g)}",
        "valves.v.opens_at=40 s",
        "duty.end=60 s",
    ];
    let wall = ["tanks.t.wall={mass: 900 kg, heat_transfer: 900 W/K, temperature: 20 degC}"];
    for (inertia, model) in [("inertia=off", "gas_model=ideal"), ("inertia=on", "gas_model=real")] {
        let network_ = network(&text, &[&sets[..], &wall, &[inertia, model]].concat());
        let result = run_of(&network_);
        let (water, vapour) = (7.0, &result.series.gas_headers[0].side.vapour_pressure);
        assert!(vapour.last().unwrap() > &10.0, "vapour comes to the header: {:?}", vapour.last());
        let other = result.series.tanks.iter().find(|t| t.name == "u").unwrap();
        assert!(other.side.vapour_pressure.last().unwrap() > &1.0, "and to the tank: {:?}", other.side.vapour_pressure);
        assert!(result.gas.iter().any(|gas| gas.relieved.is_some_and(|mass| mass > 0.1)));
        assert!(result.balance.water_error.abs() < 1e-10 * water, "{:e} m3", result.balance.water_error);
        conserved(&network_, &result);
    }
}

#[test]
fn a_limit_of_the_material_is_watched() {
    let relief = "tanks.t.relief={set: 8 bar(g), bore: 20 mm, discharge_coefficient: 0.8, reseats_at: 1 bar(g)}";
    let warned = |sets: &[&str]| {
        let result = run_of(&network(SEALED, sets));
        result.findings.iter().any(|f| f.code == "below_minimum_temperature")
    };
    assert!(warned(&[relief, "duty.end=200 s", "tanks.t.minimum_temperature=-40 degC"]));
    assert!(!warned(&[relief, "duty.end=200 s", "tanks.t.minimum_temperature=-120 degC"]));
    let wall = "tanks.t.wall={mass: 4000 kg, heat_transfer: 300 W/K}";
    assert!(!warned(&[relief, wall, "duty.end=200 s", "tanks.t.minimum_temperature=-40 degC"]), "the metal stays warm");
}

#[test]
fn bottles_know_how_many_runs_they_give() {
    let text = SEALED.replace("tanks:", "gas_banks:\n  b: {bottles: 10, bottle_volume: 50 L, pressure: 200 bar(g), wall_heat_transfer: 1e9 W/K}\ngas_valves:\n  g: {from: b, to: t, bore: 10 mm, discharge_coefficient: 0.8, regulated_to: 10 bar(g), opens_at: 0 s}\ntanks:");
    let result = run_of(&network(&text, &["duty.end=60 s"]));
    // Isothermal bottles, ideal gas: each run takes used R T/V of their pressure, down to 11 bar(a).
    let bank = result.series.gas_banks.iter().map(|b| (b.mass[0], *b.mass.last().unwrap())).next().unwrap();
    let used = bank.0 - bank.1;
    let least = 11e5 * 0.5 / (R * 293.15);
    let left = result.gas[0].bottles.unwrap();
    assert_eq!(left.more_runs, ((bank.1 - least) / used).floor() as u32);
    assert!(left.more_runs > 2);
    near(left.settled_pressure, bank.1 * R * 293.15 / 0.5, 1.0, "settled");
    assert_eq!(left.needed_pressure, 11e5);
    assert_eq!(result.supply.more_runs, Some(left.more_runs));
}

#[test]
fn wrong_gas_sides_are_named() {
    for (set, wanted) in [
        (
            "tanks.t.relief={set: 8 bar(g), bore: 20 mm, discharge_coefficient: 0.8, blowdown: 5 %, reseats_at: 7 bar(g)}",
            "say the same thing",
        ),
        (
            "tanks.t.relief={set: 8 bar(g), bore: 20 mm, discharge_coefficient: 0.8, reseats_at: 9 bar(g)}",
            "not below `set`",
        ),
        ("tanks.t.relief={set: 0.9 bar(a), bore: 20 mm, discharge_coefficient: 0.8}", "not above the ambient"),
        ("tanks.t.vent_down={bore: 20 mm, discharge_coefficient: 0.8}", "does not say when it opens"),
        ("tanks.t.wall={mass: 40 kg, heat_transfer: natural}", "needs `area`"),
        ("tanks.t.wall={mass: 40 kg, heat_transfer: 3 W/K, area: 3 m2}", "no meaning without"),
        ("tanks.t.wall={mass: 40 kg}", "has no `heat_transfer`"),
        ("tanks.t.minimum_temperature=-20", "unit"),
        ("tanks.t.evaporation=true", "needs `water_heat_transfer`"),
        ("tanks.t.humidity=20 %", "no meaning without `evaporation"),
    ] {
        let message = rejected(SEALED, &[set]);
        assert!(message.contains(wanted), "{set}:\n{message}");
    }
    let wall = "tanks.t.wall={mass: 40 kg, heat_transfer: 3 W/K}";
    let both = rejected(SEALED, &[wall, "tanks.t.wall_heat_transfer=3 W/K"]);
    assert!(both.contains("both say how heat"), "{both}");
    let unused = rejected(SEALED, &[wall, "tanks.t.ullage=isothermal"]);
    assert!(unused.contains("no meaning with `ullage: isothermal`"), "{unused}");
}
