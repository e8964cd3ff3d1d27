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
