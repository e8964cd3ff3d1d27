//! `hydro fit` from outside: a record that `hydro run` makes, the coefficient it was made with, and the file written.

use std::fmt::Write;
use std::fs;
use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;
use tempfile::TempDir;

/// Exit status, standard output, standard error.
fn hydro(args: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("hydro").unwrap().args(args).output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

#[test]
fn a_record_gives_back_the_coefficient_it_was_made_with() {
    let folder = TempDir::new().unwrap();
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../networks/01-one-panel.yaml");
    let file = file.to_str().unwrap();
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    let truth = "panels.plate.holes.discharge_coefficient=0.75";
    let (_, out, _) = hydro(&["run", file, "--json", "--rows", "41", "--set", truth]);
    let run: Value = serde_json::from_str(&out).unwrap();
    let series = &run["series"];
    let mut csv = String::from("time [s],tanks.tank.pressure [Pa(a)],panels.plate.flow [m3/s]\n");
    for (k, time) in series["time_s"].as_array().unwrap().iter().enumerate() {
        let (pressure, flow) = (&series["tanks"]["tank"]["pressure_pa"][k], &series["panels"]["plate"]["flow_m3_s"][k]);
        let flow = if k % 5 == 2 { String::new() } else { flow.to_string() };
        let _ = writeln!(csv, "{time},{pressure},{flow}");
    }
    fs::write(at("record.csv"), &csv).unwrap();
    let vary = "panels.plate.holes.discharge_coefficient=0.5..1";
    let (record, fitted, plot) = (at("record.csv"), at("fitted.yaml"), at("plot.csv"));
    let command = ["fit", file, &record, "--vary", vary, "--json", "--write", &fitted, "--residuals", &plot];
    let (status, out, error) = hydro(&command);
    assert_eq!((status, error.as_str()), (0, ""));
    let result: Value = serde_json::from_str(&out).unwrap();
    let value = result["parameters"]["panels.plate.holes.discharge_coefficient"]["value"].as_f64().unwrap();
    // The record has no noise but that of interpolation between rows.
    assert!((value - 0.75).abs() < 1e-3, "{value}");
    // The file is as it was but for this number.
    let (before, after) = (fs::read_to_string(file).unwrap(), fs::read_to_string(&fitted).unwrap());
    let differing: Vec<(&str, &str)> = before.lines().zip(after.lines()).filter(|(a, b)| a != b).collect();
    let [(old, new)] = differing.as_slice() else { panic!("{differing:?}") };
    assert!(old.contains("discharge_coefficient: 0.8}") && new.contains("discharge_coefficient: 0.7"), "{new}");
    assert_eq!(hydro(&["check", &fitted]).0, 0);
    let plot = fs::read_to_string(&plot).unwrap();
    assert!(plot.starts_with("column,time [s],measured,model,residual") && plot.lines().count() > 60, "{plot}");
    // The same from the file itself, with the record beside it and other names in it.
    let names = csv.replace("panels.plate.flow [m3/s]", "FT-1 [m3/s],door");
    let named: String =
        names.lines().enumerate().map(|(k, l)| if k == 0 { format!("{l}\n") } else { format!("{l},shut\n") }).collect();
    fs::write(at("named.csv"), named).unwrap();
    let block = format!(
        "fit:\n  record: named.csv\n  vary: [{vary}]\n  columns: [tanks.tank.pressure, panels.plate.flow=FT-1]\n"
    );
    fs::write(at("own.yaml"), format!("{before}\n{block}")).unwrap();
    let log = at("fit.log");
    let (status, own, error) = hydro(&["fit", &at("own.yaml"), "--json", "--log", &log]);
    assert_eq!((status, error.as_str(), &own), (0, "", &out));
    // Cut short, as by an interruption, the log is gone on from, to the same bytes.
    let text = fs::read_to_string(&log).unwrap();
    fs::write(&log, text.lines().take(4).map(|line| format!("{line}\n")).collect::<String>()).unwrap();
    assert_eq!(hydro(&["fit", &at("own.yaml"), "--json", "--log", &log, "--resume"]), (0, own, String::new()));
    assert_eq!(fs::read_to_string(&log).unwrap(), text);
    let (status, _, error) = hydro(&["fit", file]);
    assert!(status == 2 && error.contains("no record is named"), "{error}");
    // What is wrong is said with its place.
    fs::write(at("record.csv"), csv.replace("tanks.tank.pressure", "tanks.tnak.pressure")).unwrap();
    let (status, _, error) = hydro(&command);
    assert!(status == 2 && error.contains("record.csv:1:2: nothing of the file is"), "{error}");
    let (status, _, error) = hydro(&["fit", file, &record, "--vary", "tanks.tank.presure=1..2 bar(g)"]);
    assert!(status == 2 && error.contains("`pressure`"), "{error}");
}
