//! `hydro spread` and `hydro merge` from outside: bytes, exit status, and what is said of a run alone.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;
use tempfile::TempDir;

/// Exit status, standard output, standard error.
fn hydro(args: &[&str]) -> (i32, Vec<u8>, String) {
    let output = Command::cargo_bin("hydro").unwrap().args(args).output().unwrap();
    (output.status.code().unwrap(), output.stdout, String::from_utf8(output.stderr).unwrap())
}

fn network() -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../networks/01-one-panel.yaml").to_str().unwrap().to_string()
}

#[test]
fn shares_and_threads_give_the_bytes_of_the_whole() {
    let (file, folder) = (network(), TempDir::new().unwrap());
    let plan = ["spread", &file, "--samples", "24", "--index-rows", "3", "--seed", "9"];
    let with = |more: &[&str]| hydro(&[&plan[..], more].concat());
    let (status, whole, error) = with(&["--json", "--threads", "1"]);
    assert!(status <= 1 && error.is_empty(), "{status} {error}");
    assert_eq!(with(&["--json", "--threads", "2"]).1, whole);
    let text = with(&[]).1;
    for parts in [3, 7] {
        let mut paths = Vec::new();
        for part in 1..=parts {
            let (status, share, error) = with(&["--part", &format!("{part}/{parts}")]);
            assert_eq!((status, error.as_str()), (0, ""));
            let path = folder.path().join(format!("{part}-of-{parts}.json"));
            fs::write(&path, share).unwrap();
            paths.push(path.to_str().unwrap().to_string());
        }
        paths.reverse();
        let named: Vec<&str> = paths.iter().map(String::as_str).collect();
        let (merged, json, _) = hydro(&[&["merge", "--json"], &named[..]].concat());
        assert_eq!((merged, &json), (status, &whole), "{parts}");
        assert_eq!(hydro(&[&["merge"], &named[..]].concat()).1, text);
        let (missing, out, error) = hydro(&[&["merge"], &named[1..]].concat());
        assert!(missing == 2 && out.is_empty() && error.contains(&format!("are missing: {parts}")), "{error}");
        let (twice, _, error) = hydro(&[&["merge", named[0]], &named[..]].concat());
        assert!(twice == 2 && error.contains("there twice"), "{error}");
    }
    let document: Value = serde_json::from_slice(&whole).unwrap();
    assert_eq!((document["kind"].as_str(), document["runs"].as_u64()), (Some("spread"), Some(24 + 3 * 6)));
    assert_eq!(document["chance"]["of"], 24);
    let flux = &document["panels"]["plate"]["lowest_flux_m_s"];
    assert!(flux["p05"].as_f64() < flux["p50"].as_f64() && flux["p50"].as_f64() < flux["p95"].as_f64(), "{flux}");
    assert!(flux["rank_correlations"]["holes"].as_f64() > Some(0.5), "{flux}");
}

#[test]
fn a_run_alone_says_how_to_repeat_it() {
    let file = network();
    let (_, out, _) = hydro(&["spread", &file, "--sample", "17", "--json"]);
    let sample: Value = serde_json::from_slice(&out).unwrap();
    let options: Vec<&str> = sample["set"].as_array().unwrap().iter().map(|o| o.as_str().unwrap()).collect();
    assert_eq!(options.len(), 4);
    let sets: Vec<&str> = options.iter().flat_map(|option| ["--set", option]).collect();
    let (status, _, error) = hydro(&[&["run", &file, "--json"], &sets[..]].concat());
    assert_eq!((status == 0, error.as_str()), (sample["met"].as_bool().unwrap(), ""));
    let (_, text, _) = hydro(&["spread", &file, "--sample", "17"]);
    let text = String::from_utf8(text).unwrap();
    assert!(text.starts_with("Run 17: ") && options.iter().all(|option| text.contains(option)), "{text}");
    let (status, _, error) = hydro(&["spread", &file, "--sample", "99999"]);
    assert!(status == 2 && error.contains("no run 99999"), "{error}");
}

/// A grid of which single panels are drawn, a value that the file does not write, and an end that may come too early.
const MORE: &str = "
spread:  # of the test
  samples: 40
  quantities:
    - {path: panels.bed-2-1.plugged, name: plugged, distribution: uniform, range: [0 %, 30 %]}
    - {path: site.gravity, name: gravity, distribution: uniform, range: [9.7 m/s2, 9.9 m/s2]}
    - {path: duty.end, name: end, distribution: uniform, range: [10 s, 40 s]}
# the end
";

#[test]
fn the_file_of_a_run_alone_gives_the_same_numbers() {
    let folder = TempDir::new().unwrap();
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    let bed = fs::read_to_string(network().replace("01-one-panel", "03-cross-fed-bed")).unwrap();
    fs::write(at("bed.yaml"), format!("{bed}{MORE}")).unwrap();
    // Too: what the command line sets is written.
    let given = ["--set", "site.water_temperature=11 degC", "--set", "spread.samples=41"];
    for (file, number) in [(network(), 17), (at("bed.yaml"), 3), (at("bed.yaml"), 40)] {
        let number = number.to_string();
        let written = at(&format!("sample-{number}.yaml"));
        let given = if file == network() { &given[..2] } else { &given[..] };
        let command = [&["spread", &file, "--sample", &number, "--write", &written, "--json"], given].concat();
        let (status, out, _) = hydro(&command);
        let sample: Value = serde_json::from_slice(&out).unwrap();
        let sets = sample["set"].as_array().unwrap().iter().flat_map(|o| ["--set", o.as_str().unwrap()]);
        let sets: Vec<&str> = given[..2].iter().copied().chain(sets).collect();
        let by_sets = hydro(&[&["run", &file, "--json"], &sets[..]].concat());
        let by_file = hydro(&["run", &written, "--json"]);
        assert_eq!((by_file.0, &by_file.1), (by_sets.0, &by_sets.1), "{number}");
        assert_eq!(status == 0, sample["met"].as_bool().unwrap());
        // All else is as it was, comments too; what was drawn is no longer to be drawn.
        let (before, after) = (fs::read_to_string(&file).unwrap(), fs::read_to_string(&written).unwrap());
        let rest = before.split("\nspread:").next().unwrap();
        assert!(after.starts_with(rest) && !after.contains("\nspread:") && after.contains("\nset:\n"), "{after}");
    }
    assert_eq!(fs::read_to_string(at("sample-3.yaml")).unwrap().matches("# the end").count(), 1);
    let (_, out, error) = hydro(&["check", &at("sample-3.yaml"), "--set", "set=[duty.end=1 s]"]);
    assert!(error.contains("`set` cannot be set"), "{error} {out:?}");
}

#[test]
fn a_broken_run_names_the_command_that_writes_its_file() {
    let folder = TempDir::new().unwrap();
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_string();
    let bed = fs::read_to_string(network().replace("01-one-panel", "03-cross-fed-bed")).unwrap();
    fs::write(at("bed.yaml"), format!("{bed}{MORE}")).unwrap();
    let early = ["--set", "duty.hold=20 s"];
    let (_, out, _) = hydro(&[&["spread", &at("bed.yaml"), "--json", "--samples", "12"], &early[..]].concat());
    let result: Value = serde_json::from_slice(&out).unwrap();
    let broken = &result["broken"]["runs"][0];
    assert_eq!(broken["stage"], "rejected", "{result}");
    let command = broken["alone"].as_str().unwrap();
    let word = |word: &str| match word {
        "FILE" => at("bed.yaml"),
        word if word.ends_with(".yaml") => at(word),
        word => word.to_string(),
    };
    let args: Vec<String> = command.split(' ').skip(1).map(word).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let (status, _, _) = hydro(&[&args[..], &early[..]].concat());
    assert_eq!(status, 3);
    // What is wrong is said where it stands in the file written.
    let (status, _, error) = hydro(&["run", args.last().unwrap()]);
    let text = fs::read_to_string(args.last().unwrap()).unwrap();
    let line = text.lines().position(|line| line.contains("'duty.end=")).unwrap() + 1;
    assert!(status == 2 && error.contains(&format!("sample-{}.yaml:{line}:", broken["number"])), "{error}");
}

#[test]
fn what_cannot_be_drawn_or_joined_is_said() {
    let folder = TempDir::new().unwrap();
    let (status, _, error) = hydro(&["spread", &network().replace("01-one-panel", "02-ring-main")]);
    assert!(status == 2 && error.contains("no block `spread`"), "{error}");
    let path = folder.path().join("share.json");
    fs::write(&path, "{}").unwrap();
    let (status, _, error) = hydro(&["merge", path.to_str().unwrap()]);
    assert!(status == 2 && error.contains("no share of a spread"), "{error}");
    let (status, _, error) = hydro(&["spread", &network(), "--part", "4/3"]);
    assert!(status == 2 && error.contains("2/7"), "{error}");
}
