//! The reader: a file with every key, defaults, grids, `--set`, and that the generated papers are fresh.

use hydro::input::{Input, read_text};

const ALL_KEYS: &str = include_str!("../data/input/all-keys.yaml");

fn read(text: &str, sets: &[&str]) -> Result<Input, String> {
    let sets: Vec<String> = sets.iter().map(|s| s.to_string()).collect();
    read_text("net.yaml", text, &sets).map_err(|r| r.render())
}

#[test]
fn every_key_is_read() {
    let input = read(ALL_KEYS, &[]).unwrap();
    println!("{:#?}", input);
}
