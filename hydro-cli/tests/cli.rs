//! The command line from outside: exit status, what goes to standard output and what to standard error.

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use serde_json::Value;
use tempfile::TempDir;

/// What a command did.
#[derive(Debug)]
struct Outcome {
    status: i32,
    out: String,
    err: String,
}

impl Outcome {
    /// Standard output as the one JSON document that it must be.
    fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }
}

/// Runs `hydro` with these arguments and this text on standard input.
fn hydro_with(args: &[&str], input: &str) -> Outcome {
    let output = Command::cargo_bin("hydro").unwrap().args(args).write_stdin(input).output().unwrap();
    Outcome {
        status: output.status.code().expect("it ends by itself"),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Runs `hydro` with these arguments.
fn hydro(args: &[&str]) -> Outcome {
    hydro_with(args, "")
}

/// A directory with the starter file in it.
fn starter() -> (TempDir, PathBuf) {
    let dir = TempDir::new().unwrap();
    let made = hydro(&["new", text(dir.path())]);
    assert_eq!((made.status, made.err.as_str()), (0, ""), "{made:?}");
    let file = dir.path().join("supply.yaml");
    (dir, file)
}

/// A path as an argument.
fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

#[test]
fn help_is_no_error_and_a_wrong_command_line_is() {
    let help = hydro(&["--help"]);
    assert_eq!(help.status, 0);
    assert!(help.out.contains("flow") && help.out.contains("Exit status") && help.err.is_empty(), "{help:?}");
    for args in [&[][..], &["flood", "f.yaml"], &["flow"], &["run", "f.yaml", "--rows", "1"], &["size", "f.yaml"]] {
        let wrong = hydro(args);
        assert_eq!(wrong.status, 2, "{args:?}: {wrong:?}");
        assert!(wrong.out.is_empty() && !wrong.err.is_empty(), "{args:?}: {wrong:?}");
    }
    let wrong = hydro(&["flow", "f.yaml", "--at", "6 m"]);
    assert_eq!(wrong.status, 2);
    assert!(wrong.err.contains("6 m"), "{wrong:?}");
}

#[test]
fn new_writes_a_file_and_never_over_one() {
    let (dir, file) = starter();
    let before = fs::read_to_string(&file).unwrap();
    let again = hydro(&["new", text(dir.path())]);
    assert_eq!(again.status, 2);
    assert!(again.out.is_empty() && again.err.contains("supply.yaml is there already"), "{again:?}");
    assert_eq!(fs::read_to_string(&file).unwrap(), before);
    let other = hydro(&["new", text(&dir.path().join("a/b")), "--json"]);
    assert_eq!(other.json()["kind"], "new");
    let in_a_file = hydro(&["new", text(&file)]);
    assert_eq!(in_a_file.status, 2, "{in_a_file:?}");
}

#[test]
fn completions_name_the_commands() {
    let bash = hydro(&["completions", "bash"]);
    assert_eq!(bash.status, 0);
    assert!(bash.out.contains("check"), "{bash:?}");
}

#[test]
fn the_starter_file_has_nothing_to_complain_about() {
    let (_dir, file) = starter();
    let check = hydro(&["check", text(&file), "--json"]);
    assert_eq!(check.status, 0, "{check:?}");
    let json = check.json();
    assert_eq!(json["kind"], "check");
    let findings = json["findings"].as_array().unwrap();
    assert!(findings.iter().all(|f| f["level"] == "note"), "{findings:?}");
    assert_eq!(hydro(&["check", text(&file)]).status, 0);
}

#[test]
fn the_starter_file_flows_and_meets_its_requirement() {
    let (_dir, file) = starter();
    let tables = hydro(&["flow", text(&file)]);
    assert_eq!((tables.status, tables.err.as_str()), (0, ""), "{tables:?}");
    assert!(tables.out.contains("every panel gets its water"), "{tables:?}");
    let json = hydro(&["flow", text(&file), "--json"]).json();
    assert_eq!(json["kind"], "flow");
    assert!(json["solver"].get("solve_time_s").is_none());
    let total = json["totals"]["flow_m3_s"].as_f64().unwrap();
    let tank = json["tanks"]["tank"]["outflow_m3_s"].as_f64().unwrap();
    assert!(total > 0.1 && (total - tank).abs() < 1e-9, "{total} {tank}");
}

#[test]
fn timing_is_given_on_request_only() {
    let (_dir, file) = starter();
    let json = hydro(&["flow", text(&file), "--json", "--timing"]).json();
    assert!(json["solver"]["solve_time_s"].as_f64().unwrap() > 0.0, "{json}");
}

#[test]
fn a_requirement_not_met_is_status_1_with_the_result_printed() {
    let (_dir, file) = starter();
    let dry = hydro(&["flow", text(&file), "--json", "--set", "panels.panel-2.required_flux=900 L/s/m2"]);
    assert_eq!((dry.status, dry.err.as_str()), (1, ""), "{dry:?}");
    assert_eq!(dry.json()["panels"]["panel-2"]["met"], false);
    assert_eq!(dry.json()["panels"]["panel-1"]["met"], true);
}

#[test]
fn a_file_can_come_from_standard_input() {
    let (_dir, file) = starter();
    let from_file = hydro(&["flow", text(&file), "--json"]);
    let from_input = hydro_with(&["flow", "-", "--json"], &fs::read_to_string(&file).unwrap());
    assert_eq!((from_input.status, from_input.out), (0, from_file.out));
}

#[test]
fn wrong_input_is_status_2_with_a_place_and_an_empty_standard_output() {
    let (_dir, file) = starter();
    let wrong = fs::read_to_string(&file).unwrap().replace("bottles: 6", "botles: 6");
    fs::write(&file, wrong).unwrap();
    for command in ["check", "flow", "run"] {
        let outcome = hydro(&[command, text(&file), "--json"]);
        assert_eq!(outcome.status, 2, "{outcome:?}");
        assert!(outcome.out.is_empty(), "{outcome:?}");
        assert!(outcome.err.contains("supply.yaml:") && outcome.err.contains("bottles"), "{outcome:?}");
    }
    let missing = hydro(&["flow", "no-such-file.yaml"]);
    assert_eq!(missing.status, 2);
    assert!(missing.err.contains("no-such-file.yaml"), "{missing:?}");
    let rubbish = Command::cargo_bin("hydro").unwrap().args(["flow", "-"]).write_stdin(vec![0xff, 0xfe, 0]).output();
    assert_eq!(rubbish.unwrap().status.code(), Some(2));
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let (_dir, file) = starter();
    let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin("hydro"))
        .args(["flow", text(&file), "--json"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!((output.status.code(), output.stderr.as_slice()), (Some(0), &b""[..]));
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_reported() {
    let full = fs::File::options().write(true).open("/dev/full").unwrap();
    let output = std::process::Command::new(assert_cmd::cargo::cargo_bin("hydro"))
        .args(["completions", "bash"])
        .stdout(full)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8(output.stderr).unwrap().contains("cannot write to standard output"));
}

#[test]
fn the_starter_file_runs_and_writes_its_series() {
    let (dir, file) = starter();
    let csv = dir.path().join("series.csv");
    let run = hydro(&["run", text(&file), "--json", "--rows", "11", "--csv", text(&csv)]);
    assert_eq!((run.status, run.err.as_str()), (0, ""), "{run:?}");
    let json = run.json();
    assert_eq!(json["kind"], "run");
    let times = json["series"]["time_s"].as_array().unwrap().len();
    assert!(times >= 11, "{times}");
    let series = fs::read_to_string(&csv).unwrap();
    assert_eq!(series.lines().count(), times + 1);
    assert!(series.starts_with("time [s],tank pressure [Pa],"), "{series}");
    let tables = hydro(&["run", text(&file)]);
    assert_eq!((tables.status, tables.err.as_str()), (0, ""), "{tables:?}");
    assert!(tables.out.contains("Requirement held"), "{tables:?}");
    let rows = hydro(&["run", text(&file), "--rows", "11", "--csv", "-"]);
    assert_eq!((rows.status, rows.out), (0, series));
}

#[test]
fn a_series_that_cannot_be_written_is_status_2_and_the_result_is_kept() {
    let (dir, file) = starter();
    let run = hydro(&["run", text(&file), "--json", "--csv", text(&dir.path().join("none/series.csv"))]);
    assert_eq!(run.status, 2);
    assert_eq!(run.json()["kind"], "run");
    assert!(run.err.contains("series.csv"), "{run:?}");
    let both = hydro(&["run", text(&file), "--json", "--csv", "-"]);
    assert_eq!((both.status, both.out.as_str()), (2, ""), "{both:?}");
}

#[test]
fn the_schema_is_json() {
    let schema = hydro(&["schema"]);
    assert_eq!(schema.status, 0);
    assert!(schema.json()["properties"]["tanks"].is_object(), "{schema:?}");
}

#[test]
fn size_answers_and_names_what_it_does_not_know() {
    let (_dir, file) = starter();
    let pressure = hydro(&["size", text(&file), "--tank-pressure", "--json"]);
    assert_eq!((pressure.status, pressure.err.as_str()), (0, ""), "{pressure:?}");
    let json = pressure.json();
    assert_eq!((&json["kind"], &json["at_answer"]["met"]), (&Value::from("size"), &Value::from(true)));
    assert!(json["answer"]["tank"]["pressure_pa"].as_f64().unwrap() > 101_325.0, "{json}");
    let valves = hydro(&["size", text(&file), "--open-valves", "gas-valve"]);
    assert_eq!((valves.status, valves.err.as_str()), (0, ""), "{valves:?}");
    let unknown = hydro(&["size", text(&file), "--tank-pressure", "tnak"]);
    assert_eq!((unknown.status, unknown.out.as_str()), (2, ""));
    assert!(unknown.err.contains("\"tnak\"") && unknown.err.contains("the file has tank"), "{unknown:?}");
    let out_of_reach =
        hydro(&["size", text(&file), "--tank-pressure", "--set", "panels.panel-2.required_flux=90 L/s/m2"]);
    assert_eq!(out_of_reach.status, 1, "{out_of_reach:?}");
}

#[test]
fn faults_say_what_cannot_be_lost() {
    let (dir, file) = starter();
    let faults = hydro(&["faults", text(&file), "--threads", "2", "--set", "faults.plugged=5 %"]);
    assert!(faults.status <= 1 && faults.err.is_empty(), "{faults:?}");
    assert!(faults.out.contains("Failures, the worst first"), "{faults:?}");
    let json = hydro(&["faults", text(&file), "--json"]);
    assert_eq!(json.json()["kind"], "faults");
    let worst = json.json()["faults"][0].clone();
    let mut args = vec!["run", text(&file), "--json"];
    for set in worst["sets"].as_array().unwrap() {
        args.extend(["--set", set.as_str().unwrap()]);
    }
    let run = hydro(&args).json();
    let panel = worst["verdict"]["worst"]["panel"].as_str().unwrap();
    assert_eq!(run["panels"][panel]["lowest_flux_m_s"], worst["verdict"]["worst"]["lowest_flux_m_s"]);
    for wrong in [&["--pair", "a/b"][..], &["--resume"], &["--threads", "0"], &["--log", text(dir.path())]] {
        let outcome = hydro(&[&["faults", text(&file)], wrong].concat());
        assert_eq!((outcome.status, outcome.out.as_str()), (2, ""), "{outcome:?}");
    }
}

/// A study that is interrupted ends by itself, keeps what it has, and goes on to the same result.
#[cfg(unix)]
#[test]
fn an_interrupted_study_goes_on() {
    let (dir, file) = starter();
    let log = dir.path().join("log");
    let args = ["faults", text(&file), "--pairs", "--json"];
    let logged = [&args[..], &["--threads", "1", "--log", text(&log)]].concat();
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_hydro"))
        .args(&logged)
        .stdout(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    let lines = || fs::read_to_string(&log).map_or(0, |text| text.lines().count());
    while lines() < 3 && child.try_wait().unwrap().is_none() {
        std::thread::yield_now();
    }
    std::process::Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(3));
    let part: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(part["complete"], false);
    assert_eq!(part["faults"].as_array().unwrap().len() + 2, lines());
    let again = hydro(&logged);
    assert!(again.status == 2 && again.err.contains("--resume"), "{again:?}");
    let resumed = hydro(&[&logged[..], &["--resume"]].concat());
    let whole = hydro(&args);
    assert_eq!((resumed.status, resumed.out), (whole.status, whole.out));
    let other = hydro(&[&logged[..], &["--resume", "--set", "faults.plugged=5 %"]].concat());
    assert!(other.status == 2 && other.err.contains("the file or an option differs"), "{other:?}");
}

#[test]
fn size_varies_what_it_is_told() {
    let (dir, file) = starter();
    let vary = ["size", text(&file), "--vary", "tanks.*.pressure=0.5..9 bar(g) step 0.5", "--json"];
    let least = hydro(&vary).json();
    assert_eq!((&least["kind"], &least["feasible"]), (&"size".into(), &true.into()));
    let set = least["answer"]["sets"][0].as_str().unwrap();
    assert_eq!(hydro(&["run", text(&file), "--set", set]).status, 0);
    if let Some(easier) = least["neighbours"][0]["design"]["sets"][0].as_str() {
        assert_eq!(hydro(&["run", text(&file), "--set", easier]).status, 1);
    }
    let people = hydro(&vary[..4]);
    assert!(people.status == 0 && people.out.contains("Least that meets every requirement"), "{people:?}");
    let endless = hydro(&[&vary[..], &["--lasts", "100 h"]].concat());
    assert_eq!((endless.status, &endless.json()["feasible"]), (1, &false.into()));
    for wrong in [&[][..], &["--vary", "tanks.*.pressure=9..1 bar(g)"], &["--vary", "tanks.x.pressure=1..2 bar(g)"]] {
        let outcome = hydro(&[&["size", text(&file)], wrong].concat());
        assert_eq!((outcome.status, outcome.out.as_str()), (2, ""), "{outcome:?}");
    }
    drop(dir);
}

/// Every cell is there, in the document and in the file, and the holes of the cells pass what the panel does.
#[test]
fn cells_are_given_on_request_and_add_up() {
    let dir = TempDir::new().unwrap();
    let csv = dir.path().join("cells.csv");
    let network = concat!(env!("CARGO_MANIFEST_DIR"), "/../networks/07-panels-in-cells.yaml");
    let plain = hydro(&["flow", network, "--json"]).json();
    let done = hydro(&["flow", network, "--json", "--cells", "--cells-csv", text(&csv)]);
    let result = done.json();
    let written = fs::read_to_string(&csv).unwrap();
    let mut rows = written.lines();
    assert!(rows.next().is_some_and(|head| head.starts_with("panel,x [m],y [m],area [m2],")), "{written}");
    let mut cells = 0;
    for (name, panel) in result["panels"].as_object().unwrap() {
        assert!(plain["panels"][name]["cells"].is_null(), "{name}: only on request");
        let list = panel["cells"].as_array().unwrap();
        assert_eq!(written.lines().filter(|row| row.starts_with(&format!("{name},"))).count(), list.len());
        cells += list.len();
        let sum: f64 = list.iter().map(|cell| cell["flow_m3_s"].as_f64().unwrap()).sum();
        let flow = panel["flow_m3_s"].as_f64().unwrap();
        assert!((sum - flow).abs() <= 1e-12 * flow, "{name}: {sum} and {flow}");
    }
    assert!(cells > 100 && rows.count() == cells, "{cells}");
    let plain = hydro(&["run", network, "--json", "--rows", "21"]).json();
    let done = hydro(&["run", network, "--json", "--rows", "21", "--cells", "--cells-csv", text(&csv)]);
    let written = fs::read_to_string(&csv).unwrap();
    let lines: Vec<&str> = written.lines().collect();
    assert!(
        lines[0].starts_with("panel,x [m],y [m],area [m2],holes,required flux [m/s],lowest flux [m/s],"),
        "{written}"
    );
    assert_eq!(lines.len(), 1 + cells);
    for (name, panel) in done.json()["panels"].as_object().unwrap() {
        assert!(
            plain["panels"][name]["cells"].is_null() && plain["panels"][name]["inside"] == panel["inside"],
            "{name}"
        );
        let lowest = panel["cells"].as_array().unwrap().iter().map(|cell| cell["lowest_flux_m_s"].as_f64().unwrap());
        let lowest = lowest.fold(f64::INFINITY, f64::min);
        let driest = panel["inside"]["driest"]["lowest_flux_m_s"].as_f64().unwrap();
        assert!((driest / lowest - 1.0).abs() < 1e-8 && lowest < panel["lowest_flux_m_s"].as_f64().unwrap(), "{name}");
        let place = panel["inside"]["driest"]["x_m"].as_f64().unwrap();
        assert!(
            lines
                .iter()
                .any(|line| line.starts_with(&format!("{name},{place},")) && line.contains(&driest.to_string()))
        );
    }
    let people = hydro(&["run", network, "--rows", "21"]);
    assert!(people.out.contains("The cell with the least water is that of bed-"), "{people:?}");
    let nowhere = dir.path().join("no/such/folder.csv");
    let kept = hydro(&["flow", network, "--json", "--cells-csv", text(&nowhere)]);
    assert!(kept.status == 2 && kept.err.contains("cannot write") && kept.json()["panels"].is_object(), "{kept:?}");
}
