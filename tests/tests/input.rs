//! The reader: a file with every key, defaults, grids, `--set`, and that the generated papers are fresh.

use std::path::Path;

use hydro::component::Fill;
use hydro::component::cooling::{Drive, Judged};
use hydro::component::gas_valve::GasValveLaw;
use hydro::component::header::Takeoffs;
use hydro::component::panel::{DischargeCoefficient, Momentum};
use hydro::component::port::Port;
use hydro::component::tank::UllageModel;
use hydro::component::tee::TeeAngle;
use hydro::finding::Level;
use hydro::fluid::gas::{GasKind, GasModel};
use hydro::input::schema::{SECTIONS, SectionType, Type, key_at};
use hydro::input::{Input, Rejected, json_schema::json_schema, manual::manual, read_file, read_text, read_text_with};
use hydro::network::{GasVesselKind, Network, NodeKind, PassageKind};

const ALL_KEYS: &str = include_str!("../data/input/all-keys.yaml");
/// The file that it names.
const HEAT: &str = include_str!("../data/input/heat.csv");

/// The least that is a network.
const SMALL: &str = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC}
tanks: {t: {volume: 10 m3, diameter: 2 m, bottom: 3 m, filled: 80 %, pressure: 2 bar(g)}}
panels:
  p: {at: [0 m, 0 m], size: [2 m, 3 m], elevation: 0 m, holes: {count: 100, diameter: 5 mm, discharge_coefficient: 0.8}}
pipes: {a: {from: t, to: p, length: 5 m, bore: 100 mm, roughness: 0.05 mm}}
";

fn read(text: &str, sets: &[&str]) -> Result<Input, String> {
    let sets: Vec<String> = sets.iter().map(|s| s.to_string()).collect();
    read_beside("net.yaml", text, &sets, HEAT).map_err(|r| r.render())
}

/// Reads a text beside which `heat.csv` lies.
fn read_beside(name: &str, text: &str, sets: &[String], heat: &str) -> Result<Input, Rejected> {
    let mut files = |path: &Path| match path.to_str() {
        Some("heat.csv") => Ok(heat.as_bytes().to_vec()),
        _ => Err(std::io::ErrorKind::NotFound.into()),
    };
    read_text_with(name, text, sets, &mut files)
}

fn network(text: &str, sets: &[&str]) -> Network {
    read(text, sets).unwrap_or_else(|e| panic!("{e}")).network
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * b.abs()
}

#[test]
fn every_key_is_read() {
    let Input { network: n, findings, studies } = read(ALL_KEYS, &[]).unwrap();
    assert_eq!(n.title, "Every key once");
    assert_eq!((n.gas, n.gas_model, n.inertia, n.tolerance), (GasKind::Nitrogen, GasModel::Real, false, 1e-6));
    assert_eq!(n.site.ambient_pressure, 101_325.0);
    assert!(close(n.site.ambient_temperature, 291.15) && close(n.site.water_vapour_pressure, 2340.0));
    let names: Vec<&str> = n.nodes.iter().map(|node| node.name.as_str()).collect();
    assert_eq!(
        names,
        [
            "burst-1",
            "sustain-1",
            "collector",
            "ring",
            "long",
            "wyes",
            "drain",
            "A1",
            "B1",
            "C1",
            "C2",
            "bed-1-1",
            "bed-2-1",
            "bed-3-1",
            "bed-1-2",
            "bed-2-2",
            "bed-3-2"
        ]
    );
    let passage = |name: &str| n.passages.iter().find(|p| p.name == name).unwrap_or_else(|| panic!("{name}"));
    let end = |i: usize| n.nodes[i].name.as_str();

    let tank = &n.tanks[0];
    assert!(close(tank.water, 36.8) && close(tank.heel, 0.5) && close(tank.rating.unwrap(), 1_701_325.0));
    assert!(close(tank.relief.unwrap().set, 1_651_325.0));
    assert_eq!(n.tanks[1].ullage, UllageModel::Polytropic { exponent: 1.2 });
    assert_eq!(n.gas_vessels[tank.vessel].name, "burst-1");
    assert_eq!(n.gas_vessels[tank.vessel].kind, GasVesselKind::Ullage(0));
    assert!(close(n.gas_vessels[tank.vessel].pressure, 1_201_325.0));
    assert_eq!(n.gas_vessels[0].kind, GasVesselKind::Bank { bottles: 24, bottle_volume: 0.5 });
    assert_eq!(n.gas_vessels[2].pressure, 101_325.0, "a gas header without pressure is at ambient");

    let PassageKind::Pipe(drop) = &passage("burst-1-drop").kind else { panic!() };
    // Crane: 0.5 given, entrance 0.5, exit 1, two bends of 14 f_T; f_T of 0.6 m as in the fittings' own check.
    assert!((drop.loss_coefficient - (0.5 + 0.5 + 1.0 + 2.0 * 14.0 * 0.0114)).abs() < 0.01);
    let PassageKind::Pipe(pipe) = &passage("sustain-1-drop").kind else { panic!() };
    assert!(close(pipe.bore, 0.3048) && pipe.friction_factor == Some(0.02) && pipe.roughness == 0.0);
    let PassageKind::Pipe(feed) = &passage("feed").kind else { panic!() };
    assert_eq!(feed.starts, Fill::Dry);
    let PassageKind::Valve(valve) = &passage("v-burst").kind else { panic!() };
    assert_eq!(
        (valve.schedule.opens_at, valve.schedule.closes_at, valve.schedule.stroke),
        (Some(0.0), Some(40.0), 1.2)
    );
    // Kv 200 on 100 mm, by the definition of Kv: 1 bar drives 200 m3/h of 1000 kg/m3.
    let PassageKind::Valve(valve) = &passage("v-kv").kind else { panic!() };
    let velocity = 200.0 / 3600.0 / (std::f64::consts::FRAC_PI_4 * 0.01);
    assert!(close(valve.loss_coefficient * 500.0 * velocity * velocity, 1e5) && valve.one_way);
    let PassageKind::WeirPipe(weir) = &passage("weir").kind else { panic!() };
    assert_eq!((weir.apex, weir.rise.length, weir.vent.unwrap().bore), (6.5, 9.0, 0.08));

    let a1 = &n.panels[0];
    assert_eq!(a1.outline, [[20.0, 0.0], [23.0, 0.0], [23.0, 3.0], [20.0, 3.0]]);
    assert!(close(a1.area, 9.0) && close(a1.required_flux.unwrap(), 0.03) && close(a1.gap.unwrap(), 0.06));
    assert_eq!(a1.heat_flux.as_ref().unwrap().over_time.value, [0.0, 0.0, 8e6]);
    assert!(close(a1.plume_pressure.as_ref().unwrap().over_time.value[0], 141_325.0));
    assert_eq!(n.panels[3].momentum, Some(Momentum { dividing: 0.9, combining: 2.0 }));
    let b1 = &n.panels[1];
    assert!(close(b1.area, 4.5));
    assert_eq!(b1.outline, [[26.0, 0.0], [23.0, 3.0], [23.0, 0.0]], "made counter-clockwise");
    assert_eq!(b1.holes.discharge_coefficient, DischargeCoefficient::Auto);
    assert_eq!(b1.holes.cavitation, Some(true));
    // Half of what the peak adds to 10 kPa(g) is left at the half-width, and half of that half a second after 6 s.
    let plume = b1.plume_pressure.as_ref().unwrap();
    let at = |point| plume.pattern.as_ref().unwrap().excess.at(point);
    assert!(close(at([24.0, 1.0]), 7e4) && close(at([24.0, 3.0]), 3.5e4));
    assert!(close(plume.greatest_at(6.5), 101_325.0 + 1e4 + 3.5e4), "its centre lies on B1");
    assert!(plume.at(6.5) < plume.greatest_at(6.5) && plume.at(6.5) > 101_325.0 + 1e4);
    // Of the grid: half of the 8 MW/m2 over 0.5 MW/m2 in the middle of its lower edge.
    let heat = b1.heat_flux.as_ref().unwrap();
    assert!(close(heat.pattern.as_ref().unwrap().excess.at([24.0, 2.0]), 6e6));
    assert!(heat.greatest_at(0.0) < 0.5e6 + 0.5 * 8e6 && heat.greatest_at(0.0) > 0.5e6 + 0.4 * 8e6);
    let judged = Judged { utilisation: 0.1, wetting: 0.5, safety_factor: 1.5 };
    assert_eq!((n.cooling.judged, n.cooling.conductivity), (Some(judged), Some(45.0)));
    let limit = n.cooling.wetting_limit.unwrap();
    assert!(close(limit.contact_angle, 60f64.to_radians()));
    assert!(matches!(limit.drive, Drive::Weight(inclination) if close(inclination, 45f64.to_radians())));
    assert_eq!(b1.density.as_ref().unwrap().at([23.0, 1.5]), 1.5);
    assert_eq!(n.panels[2].density.as_ref().unwrap().at([24.5, -1.5]), 2.5);
    assert_eq!((a1.cells, a1.gap_roughness, a1.ribs[1].loss_coefficient), ([6, 4], 5e-5, Some(40.0)));
    // Idelchik's thin wall, 20 % open: (0.707 sqrt(0.8) + 0.8)^2/0.04.
    assert!((a1.ribs[0].loss_coefficient.unwrap() - 51.3).abs() < 0.1);
    let about = |point: [f64; 2], inward: [f64; 2], bore: f64| {
        let half = [inward[1].abs() * 0.5 * bore, inward[0].abs() * 0.5 * bore];
        [[point[0] - half[0], point[1] - half[1]], [point[0] + half[0], point[1] + half[1]]]
    };
    let port = |port: &Port| match *port {
        Port::Edge { from, to, inward } => (from, to, inward),
        Port::Inside { .. } => panic!("in a plate"),
    };
    // The end of the pipe on the lower edge of A1, at the place given.
    let (from, to, inward) = port(&passage("to-a1").ports[1][0]);
    assert_eq!(inward, [0.0, 1.0]);
    let wanted = about([21.5, 0.0], inward, 0.3);
    assert!([from, to].iter().flatten().zip(wanted.iter().flatten()).all(|(a, b)| (a - b).abs() < 1e-12));
    // Both ends of a crossover, run the same way.
    let [a, b] = &passage("A1-B1").ports;
    assert_eq!((a.len(), b.len()), (2, 2));
    let ((a_from, a_to, a_in), (b_from, b_to, b_in)) = (port(&a[1]), port(&b[1]));
    assert!((a_from[1] - b_from[1]).abs() < 1e-12 && (a_to[1] - b_to[1]).abs() < 1e-12);
    assert_eq!((a_in, b_in), ([-1.0, 0.0], [1.0, 0.0]));
    // Seams: 3 m in ports 400 mm apart; the rest, where no crossover is yet.
    let ports = |name: &str| match &passage(name).kind {
        PassageKind::Crossover(crossover) => crossover.ports,
        _ => panic!("{name}"),
    };
    assert_eq!((ports("C1:C2"), ports("B1:C1")), (8, 4));
    assert_eq!(n.passages.iter().filter(|p| p.name.contains(':') && !p.name.starts_with("bed-")).count(), 2);

    assert_eq!(n.gas_valves[0].regulated_to, Some(1_301_325.0));
    assert_eq!((n.gas_valves[2].installed, n.gas_valves[2].open), (2, 2), "installed as many as open");
    assert!(matches!(n.gas_valves[2].law, GasValveLaw::Sonic { conductance, .. } if close(conductance, 2.5e-7)));
    let [long, wyes] = n.long_headers.as_slice() else { panic!() };
    assert!(close(long.length, 6.0) && close(long.bore, 0.6) && close(long.roughness, 5e-5));
    assert_eq!(long.takeoffs, Takeoffs::Regain { dividing: 0.95, combining: 2.0 });
    let places: Vec<(&str, f64, bool)> =
        long.joins.iter().map(|j| (n.passages[j.passage].name.as_str(), j.at, j.to)).collect();
    assert_eq!(places, [("ring-long", 0.0, true), ("long-wyes", 2.4, false), ("long-drain", 3.0, false)]);
    assert_eq!((wyes.takeoffs, wyes.friction_factor), (Takeoffs::Tees { angle: TeeAngle::Deg45 }, Some(0.02)));

    let notes = [("bank-a", "drawing 12-104"), ("long", "regain from memory: Bajura and Jones")];
    assert_eq!(n.notes, notes.map(|(name, note)| (name.to_string(), note.to_string())));
    assert_eq!((n.duty.start, n.duty.ignition, n.duty.hold, n.duty.end), (0.0, 6.0, 15.0, 60.0));

    let crossover = passage("bed-2-1:up");
    assert_eq!((end(crossover.from), end(crossover.to)), ("bed-2-1", "bed-2-2"));
    let crossover = passage("bed-2-2:right");
    assert_eq!((end(crossover.from), end(crossover.to)), ("bed-2-2", "bed-3-2"));
    let crossovers = n.passages.iter().filter(|p| p.name.starts_with("bed-")).count();
    assert_eq!(crossovers, 2 * 2 + 3, "3 x 2 panels: 4 to the right, 3 up");
    let NodeKind::Panel(k) = n.nodes[n.nodes.len() - 1].kind else { panic!() };
    assert_eq!(n.panels[k].outline[0], [7.0, 4.5], "column 3, row 2 from [1, 2] with 3 x 2.5");

    assert!(close(studies.faults.low_charge, 0.85) && close(studies.faults.plugged, 0.05));
    let sizing = &studies.sizing;
    assert!(close(sizing.plume_margin, 5e3) && close(sizing.unevenness.unwrap(), 0.2) && sizing.within_rating);
    assert!(close(sizing.bank_end_pressure.unwrap(), 3_101_325.0) && sizing.lasts == Some(20.0));
    assert_eq!((sizing.total_flow, sizing.greatest_velocity, sizing.vary.len()), (Some(2.0), Some(12.0), 2));
    assert_eq!(studies.faults.without, ["B1", "bed-*/plugged"]);
    assert_eq!(studies.faults.pairs, ["burst-1/out + v-burst/stuck-shut"]);
    let blocked: Vec<&str> = n.passages.iter().filter(|p| p.blocked).map(|p| p.name.as_str()).collect();
    assert_eq!(blocked, ["A1-B1"]);

    let warned: Vec<(&str, &str)> =
        findings.iter().filter(|f| f.level == Level::Warn).map(|f| (f.code, f.item.as_str())).collect();
    assert_eq!(warned, [("not_computed", "feed")]);
    assert!(findings.iter().any(|f| f.code == "no_entrance_loss" && f.item == "sustain-1-drop"));
    assert!(!findings.iter().any(|f| f.code == "no_entrance_loss" && f.item == "burst-1-drop"));
}

#[test]
fn defaults() {
    let n = network(SMALL, &[]);
    // IAPWS-95 at 20 degC and 1 bar: 998.2 kg/m3, 1.0016 mPa s, 2.3393 kPa (widely tabulated).
    assert!((n.site.water_density - 998.2).abs() < 0.05, "{}", n.site.water_density);
    assert!((n.site.water_viscosity - 1.0016e-3).abs() < 5e-7, "{}", n.site.water_viscosity);
    assert!((n.site.water_vapour_pressure - 2339.3).abs() < 0.5, "{}", n.site.water_vapour_pressure);
    assert!(close(n.site.ambient_temperature, 293.15));
    assert_eq!(n.site.gravity, 9.80665);
    assert_eq!((n.gas, n.gas_model, n.inertia, n.tolerance), (GasKind::Nitrogen, GasModel::Real, true, 1e-6));
    assert_eq!((n.duty.start, n.duty.ignition, n.duty.hold, n.duty.end), (0.0, 0.0, 0.0, 3600.0));
    assert_eq!(n.tanks[0].ullage, UllageModel::Energy);
    assert_eq!(n.gas_vessels[0].temperature, n.site.ambient_temperature);
    let held = network(SMALL, &["duty.ignition=6 s", "duty.hold=10 s"]);
    assert_eq!((held.duty.start, held.duty.end), (0.0, 3616.0));
}

#[test]
fn sets() {
    let n = network(
        ALL_KEYS,
        &[
            "tanks.burst-1.pressure=9 bar(g)",
            "tanks.burst-1.water=30 m3",
            "tanks.burst-1.relief.set=14 bar(g)",
            "panels.bed-2-2.plume_pressure={time: [0 s, 5 s], value: [0 bar(g), 1 bar(g)]}",
            "grids.bed.panel.elevation=0.5 m",
            "crossovers.bed-1-1:up.ports=3",
            "panels.bed-1-*.plugged=10 %",
            "tolerance=1e-8",
            "duty.end=90 s",
            "pipes.feed.fittings.exit=1",
            "tanks.*.heel=1 m3",
            "title=Another",
            "pipes.\"to-a1\".length=7 m",
        ],
    );
    assert!(close(n.tanks[0].water, 30.0), "`water` takes the place of `filled`");
    assert!(close(n.gas_vessels[n.tanks[0].vessel].pressure, 1_001_325.0));
    assert!(close(n.tanks[0].relief.unwrap().set, 1_501_325.0));
    assert_eq!((n.tanks[0].heel, n.tanks[1].heel), (1.0, 1.0));
    let panel = |name: &str| {
        let node = n.nodes.iter().position(|node| node.name == name).unwrap();
        (n.panels.iter().find(|p| p.node == node).unwrap(), n.nodes[node].elevation)
    };
    assert_eq!(panel("bed-2-2").0.plume_pressure.as_ref().unwrap().over_time.time, [0.0, 5.0]);
    assert_eq!(panel("bed-2-2").1, 0.5, "grids are changed before their panels");
    assert_eq!(panel("bed-2-1").0.plume_pressure, None);
    assert_eq!((panel("bed-1-1").0.plugged, panel("bed-1-2").0.plugged, panel("bed-2-1").0.plugged), (0.1, 0.1, 0.0));
    let PassageKind::Crossover(up) = n.passages.iter().find(|p| p.name == "bed-1-1:up").unwrap().kind.clone() else {
        panic!()
    };
    assert_eq!(up.ports, 3);
    assert_eq!((n.tolerance, n.duty.end, n.title.as_str()), (1e-8, 90.0, "Another"));
    let pipe = |name: &str| match &n.passages.iter().find(|p| p.name == name).unwrap().kind {
        PassageKind::Pipe(pipe) => *pipe,
        _ => panic!(),
    };
    assert_eq!((pipe("feed").loss_coefficient, pipe("to-a1").length), (1.0, 7.0));
}

/// A pattern is changed by its keys, and made where there was a value.
#[test]
fn sets_of_patterns() {
    let n = network(ALL_KEYS, &["panels.B1.plume_pressure.peak=1 bar(g)", "panels.bed-*.heat_flux.file=heat.csv"]);
    assert!(close(n.panels[1].plume_pressure.as_ref().unwrap().greatest, 9e4));
    assert!(n.panels.iter().skip(4).all(|panel| panel.heat_flux.as_ref().unwrap().pattern.is_some()));
}

/// Whatever is wrong with a file that the network names is reported at its name, with the line in it.
#[test]
fn files_beside_the_network() {
    let text = SMALL.replace("elevation: 0 m,", "elevation: 0 m, heat_flux: {file: heat.csv},");
    for (heat, wanted) in [
        ("", "the header is"),
        ("x, y, value\n0,0,1\n", "line 1: the header is `x, y, value`"),
        ("x [m],y [m],value [MW/m2]\n", "holds no points"),
        ("x [m],y [m],value [MW/m2]\n0,0,1\n0,0\n", "line 3: 2 values"),
        ("x [m],y [m],value [MW/m2]\n0,0,1\n0,one,2\n", "line 3, y: `one m`"),
        ("x [m],y [m],value [MW]\n0,0,1\n", "line 2, value: `1 MW` is"),
        ("x [m],y [m],value [MW/m2]\n0,0,-1\n", "out of range"),
        ("x [m],y [m],value [MW/m2]\n0,0,1\n1,1,1\n", "the point x = 1 m, y = 0 m is missing"),
        ("x [m],y [m],value [MW/m2]\n0,0,1\n0,0,1\n", "line 3: the point x = 0 m, y = 0 m is there twice"),
        ("x [m],y [m],value [MW/m2]\n0,0,nan\n", "line 2, value"),
    ] {
        let message = read_beside("net.yaml", &text, &[], heat).unwrap_err().render();
        let file = text.lines().position(|line| line.contains("heat.csv")).unwrap() + 1;
        assert!(message.starts_with(&format!("net.yaml:{file}:")) && message.contains(wanted), "{heat}: {message}");
    }
    let scrambled = "x [mm],y [ft],q [W/cm2]\n2000,0,1\n\n1000,0,2\n";
    let n = read_beside("net.yaml", &text, &[], scrambled).unwrap().network;
    let heat = n.panels[0].heat_flux.clone().unwrap();
    assert!(close(heat.pattern.unwrap().excess.at([1.25, 9.0]), 1.75e4), "in any order, in any unit");
    let other = read_beside("net.yaml", &text.replace("heat.csv", "other.csv"), &[], "").unwrap_err().render();
    assert!(other.contains("cannot read `other.csv`"), "{other}");
    let nowhere = read_text("net.yaml", &text, &[]).unwrap_err().render();
    assert!(nowhere.contains("this text has no folder"), "{nowhere}");
    // A file is looked for beside the network file that names it.
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/input/all-keys.yaml");
    assert_eq!(read_file(&folder, &[]).unwrap().network, network(ALL_KEYS, &[]));
}

#[test]
fn names_with_dots_and_spaces() {
    let text = SMALL.replace("t: {volume", "my tank v1.2: {volume").replace("from: t", "from: my tank v1.2");
    for path in ["tanks.my tank v1.2.bottom", "tanks.\"my tank v1.2\".bottom", "tanks.my*.bottom", "tanks.*.2.bottom"] {
        assert_eq!(network(&text, &[&format!("{path}=4 m")]).nodes[0].elevation, 4.0, "{path}");
    }
}

#[test]
fn wrong_sets_are_named() {
    for (set, wanted) in [
        ("tanks.x.pressure=1 bar(g)", "--set:1:7: there is no `x` in `tanks`"),
        ("tanks.t.presure=1 bar(g)", "would be right: `pressure`"),
        ("tanks.t.pressure=1 bar", "--set:1:18: `pressure`: `1 bar` does not say whether it is gauge or absolute"),
        ("tank.t.pressure=1 bar(g)", "would be right: `tanks`"),
        ("tanks=3", "`tanks` is a whole section"),
        ("tanks.t=3", "`t` is a whole item"),
        ("tanks.t.pressure", "this option sets no value"),
        ("tanks.t.pressure=", "nothing is written after `tanks.t.pressure=`"),
        ("tanks.t.pressure.x=3", "`pressure` has no keys of its own"),
        ("tolerance.x=3", "`tolerance` has no keys of its own"),
        ("tanks.\"t.pressure=3", "this option sets no value"),
        ("tanks.t.pressure=[1, 2", "this is not YAML"),
        ("panels.p.holes=3", "must be a group of keys"),
        ("panels.q.elevation=3 m", "there is no `q` in `panels`"),
        ("", "this option sets no value"),
        ("=", "nothing is written after"),
        ("tanks..=3", "there is no ``"),
        ("pipes.a.fittings.exot=1", "would be right: `exit`"),
    ] {
        let message = read(SMALL, &[set]).err().unwrap_or_else(|| panic!("{set} was taken"));
        assert!(message.contains(wanted), "{set}:\n{message}");
    }
}

/// Every key that the table says is optional can be left out of the file with every key, and every required key is
/// missed by name.
#[test]
fn required_keys_are_missed() {
    for section in SECTIONS {
        if let SectionType::Items(_, group) = section.ty {
            let text = format!(
                "site: {{ambient_pressure: 1 bar(a), water_temperature: 20 degC}}\n{}: {{x: {{}}}}\n",
                section.name
            );
            let message = read(&text, &[]).err().unwrap();
            for key in group.keys {
                let missed = message.contains(&format!("has no `{}`", key.name));
                assert_eq!(
                    missed,
                    matches!(key.need, hydro::input::schema::Need::Required | hydro::input::schema::Need::Unless(_)),
                    "{}.{}\n{message}",
                    section.name,
                    key.name
                );
            }
            assert_eq!(message.matches("does not say").count(), group.choices.len(), "{message}");
        }
    }
}

/// The example that the table gives for a key is taken by the reader.
#[test]
fn examples_of_the_table_are_right() {
    for section in SECTIONS {
        let SectionType::Items(_, group) = section.ty else { continue };
        for key in group.keys {
            let text = format!("{}: {{x: {{{}: {}}}}}", section.name, key.name, key.example);
            let message = read(&text, &[]).err().unwrap();
            let line = message.lines().find(|l| {
                l.starts_with("net.yaml:1:")
                    && !l.contains("has no")
                    && !l.contains("does not say")
                    && !l.contains("nothing is named")
            });
            assert_eq!(line, None, "{text}");
        }
    }
}

#[test]
fn paths_of_the_table() {
    assert!(matches!(
        key_at("tanks", &["relief", "set"]).unwrap().ty,
        Type::Value(hydro::units::Dimension::Pressure, _)
    ));
    assert!(matches!(key_at("duty", &["end"]).unwrap().ty, Type::Value(hydro::units::Dimension::Time, _)));
    assert!(key_at("tolerance", &[]).is_some());
    assert!(key_at("tanks", &["relief", "nothing"]).is_none());
    assert!(key_at("tanks", &[]).is_none());
    assert!(key_at("nothing", &["x"]).is_none());
}

#[test]
fn manual_is_fresh() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../docs/input.md");
    if std::env::var_os("UPDATE").is_some() {
        std::fs::write(path, manual()).unwrap();
    }
    let kept = std::fs::read_to_string(path).unwrap_or_default();
    assert!(kept == manual(), "docs/input.md is stale: run with UPDATE=1");
}

/// The JSON Schema names every key, and its patterns take the examples.
#[test]
fn schema_holds_every_key() {
    let schema = json_schema();
    for section in SECTIONS {
        let at_section = &schema["properties"][section.name];
        assert!(at_section.is_object(), "{}", section.name);
        if let SectionType::Items(_, group) = section.ty {
            for key in group.keys {
                let at_key = &at_section["additionalProperties"]["properties"][key.name];
                assert!(at_key["description"].as_str().is_some_and(|d| d.starts_with(key.doc)), "{}", key.name);
            }
        }
    }
}

/// Every file of `networks/` is read, from the disk.
#[test]
fn networks_are_read() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../networks");
    let mut count = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "yaml") {
            hydro::input::read_file(&path, &[]).unwrap_or_else(|e| panic!("{e}"));
            count += 1;
        }
    }
    assert!(count >= 5);
}
