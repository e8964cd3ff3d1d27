//! Files that are wrong: the whole message of each, and that no input makes the reader panic, hang or swell.

use std::fmt::Write;
use std::path::{Path, PathBuf};

use hydro::input::{Input, Rejected, read_file, read_text, read_text_with};
use proptest::prelude::*;

const ALL_KEYS: &str = include_str!("../data/input/all-keys.yaml");
/// The file that it names.
const HEAT: &str = include_str!("../data/input/heat.csv");

/// Reads a text beside which every file holds the same.
fn read_beside(text: &str, sets: &[String], file: &str) -> Result<Input, Rejected> {
    read_text_with("x", text, sets, &mut |_| Ok(file.as_bytes().to_vec()))
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../networks/bad")
}

/// Every `networks/bad/NAME.yaml` is rejected with the text of `NAME.expected`; `UPDATE=1` writes it anew.
#[test]
fn messages_are_as_recorded() {
    let mut names: Vec<PathBuf> = std::fs::read_dir(folder())
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "yaml"))
        .collect();
    names.sort();
    assert!(names.len() >= 12);
    let mut stale = String::new();
    for path in names {
        let text = std::fs::read_to_string(&path).unwrap();
        let name = format!("networks/bad/{}", path.file_name().unwrap().to_str().unwrap());
        let message = read_text(&name, &text, &[]).expect_err(&name).render();
        let expected = path.with_extension("expected");
        if std::env::var_os("UPDATE").is_some() {
            std::fs::write(&expected, &message).unwrap();
        }
        if std::fs::read_to_string(&expected).unwrap_or_default() != message {
            let _ = writeln!(stale, "--- {name}\n{message}");
        }
    }
    assert!(stale.is_empty(), "not as recorded (UPDATE=1 records):\n{stale}");
}

/// The places point at the words they are about.
#[test]
fn places_are_right() {
    let text = "title: café\nsite: {ambient_pressure: 1 bar(a), water_temperature: 20 degC, größe: 3 m}\r\nheaders: {h: {elevation: 3}}\n";
    let rejected = read_text("x", text, &[]).unwrap_err();
    let cut: Vec<(String, &str)> = rejected
        .diagnostics
        .iter()
        .map(|d| {
            let place = d.place.unwrap();
            let line = text.lines().nth(place.line as usize - 1).unwrap();
            let word = line.chars().skip(place.column as usize - 1).take(place.length as usize).collect();
            (word, d.code)
        })
        .collect();
    assert_eq!(cut, [("größe".to_string(), "unknown_key"), ("3".to_string(), "unit_missing")]);
}

fn rejected(text: &str) -> Rejected {
    read_text("x.yaml", text, &[]).expect_err("was taken")
}

fn codes(rejected: &Rejected) -> Vec<&'static str> {
    rejected.diagnostics.iter().map(|d| d.code).collect()
}

#[test]
fn deep_nesting() {
    for (open, close) in [("[", "]"), ("{a: ", "}"), ("- ", ""), ("? ", "")] {
        for depth in [100, 300, 100_000] {
            let r = rejected(&format!("a:\n  {}x{}", open.repeat(depth), close.repeat(depth)));
            assert!(
                matches!(codes(&r)[..], ["too_deep" | "yaml_syntax" | "key_not_text"]),
                "{open} {depth}: {}",
                r.render()
            );
        }
    }
    let indented: String = (0..1000).map(|i| format!("{}a:\n", " ".repeat(i))).collect();
    assert_eq!(codes(&rejected(&indented)), ["too_deep"]);
}

#[test]
fn alias_bombs() {
    let mut bomb = String::from("a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n");
    for i in 1..30 {
        let list = vec![format!("*a{}", i - 1); 10].join(", ");
        let _ = writeln!(bomb, "a{i}: &a{i} [{list}]");
    }
    let r = rejected(&bomb);
    assert_eq!(codes(&r), ["too_large"], "{}", r.render());
    // Nested anchors: each keeps a copy of all inside it.
    let nested = format!("{}x{}", (0..50).map(|i| format!("[&n{i} ")).collect::<String>(), "]".repeat(50));
    assert!(!codes(&rejected(&nested)).is_empty());
    assert_eq!(codes(&rejected("a: &a [*a]\n")), ["yaml_syntax"]);
    assert_eq!(codes(&rejected("a: *nowhere\n")), ["yaml_syntax"]);
    let fair = ALL_KEYS.replace("{length: 9 m, loss_coefficient: 0.4}\n    fall:", "&leg {length: 9 m}\n    fall:");
    let fair = fair.replace("fall: {length: 9 m, loss_coefficient: 0.4}", "fall: *leg");
    assert!(read_beside(&fair, &[], HEAT).is_ok(), "fair aliases are taken");
}

#[test]
fn long_lines_and_large_files() {
    let long = "x".repeat(10_000_000);
    for text in [long.clone(), format!("{long}: 1"), format!("a: {long}"), format!("tanks: {{{long}: {{}}}}")] {
        let r = rejected(&text);
        let message = r.render();
        assert!(message.len() < 5_000, "{} bytes of message", message.len());
    }
    assert!(rejected(&"[".repeat(10_000_000)).render().len() < 5_000);
    // Very many mistakes: a bounded list, and the rest counted.
    let mut many = String::from("pipes:\n");
    for i in 0..100_000 {
        let _ = writeln!(many, "  p{i}: {{from: q{i}, to: r{i}, length: 3, bore: 3, roughness: 3}}");
    }
    let r = rejected(&many);
    assert!(r.diagnostics.len() <= 10_000);
    assert_eq!(r.render().matches("would be right").count(), 100);
    assert!(r.render().ends_with("more\n"));
    // The same name over and over.
    let r = rejected(&"a: 1\n".repeat(100_000));
    assert!(r.render().ends_with("more\n"));
    // A grid of 2000 x 2000 panels is too large; so are tables that grids multiply.
    let grid = "site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC}\ngrids: {g: {columns: 2000, rows: 2000, panel: \
                {size: [1 m, 1 m], elevation: 0 m, holes: {count: 1, diameter: 1 mm, discharge_coefficient: 0.8}}}}";
    assert_eq!(codes(&rejected(grid)), ["too_large"]);
}

#[test]
fn odd_bytes() {
    let dir = std::env::temp_dir().join(format!("hydro-bad-bytes-{}", std::process::id()));
    std::fs::create_dir_all(&dir).unwrap();
    let answer = |name: &str, bytes: &[u8]| -> Rejected {
        let path = dir.join(name);
        std::fs::write(&path, bytes).unwrap();
        read_file(&path, &[]).expect_err(name)
    };
    let mut state = 1_u64;
    let mut rubbish = || -> Vec<u8> {
        (0..20_000)
            .map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 56) as u8
            })
            .collect()
    };
    for i in 0..20 {
        assert_eq!(codes(&answer(&format!("rubbish-{i}"), &rubbish())), ["not_text"]);
    }
    assert_eq!(codes(&answer("nul", b"title: a\0b\n")), ["not_text"]);
    let utf16 = answer("utf16", b"\xff\xfet\0i\0t\0l\0e\0");
    assert_eq!(codes(&utf16), ["not_text"]);
    let place = answer("late", b"title: a\nsite: \xffb\n").diagnostics[0].place.unwrap();
    assert_eq!((place.line, place.column), (2, 7));
    assert_eq!(codes(&answer("empty", b"")), ["empty_file"]);
    assert_eq!(codes(&answer("blank", b"\n\n  \n")), ["empty_file"]);
    let mut with_mark = b"\xef\xbb\xbf".to_vec();
    with_mark.extend_from_slice(ALL_KEYS.as_bytes());
    std::fs::write(dir.join("mark"), with_mark).unwrap();
    std::fs::write(dir.join("heat.csv"), HEAT).unwrap();
    assert!(read_file(&dir.join("mark"), &[]).is_ok(), "a byte order mark is taken");
    std::fs::write(dir.join("crlf"), ALL_KEYS.replace('\n', "\r\n")).unwrap();
    assert!(read_file(&dir.join("crlf"), &[]).is_ok(), "lines may end in CR LF");
    assert_eq!(codes(&read_file(&dir, &[]).unwrap_err()), ["cannot_read"]);
    assert_eq!(codes(&read_file(&dir.join("nothing-here"), &[]).unwrap_err()), ["cannot_read"]);
    std::fs::remove_dir_all(&dir).unwrap();
}

/// Larger than is read: rejected without reading it all.
#[test]
fn too_large_a_file() {
    let path = std::env::temp_dir().join(format!("hydro-large-{}.yaml", std::process::id()));
    let file = std::fs::File::create(&path).unwrap();
    file.set_len(200 << 30).or_else(|_| file.set_len(1 << 30)).unwrap();
    let r = read_file(&path, &[]).unwrap_err();
    std::fs::remove_file(&path).unwrap();
    assert_eq!(codes(&r), ["cannot_read"]);
    assert!(r.render().contains("larger than 64 MiB"));
}

/// What is answered is right or explained, and the same each time.
fn answered(text: &str, sets: &[String]) {
    answered_beside(text, sets, HEAT);
}

/// The same with another text in the file beside it.
fn answered_beside(text: &str, sets: &[String], file: &str) {
    let answer = |result: Result<Input, Rejected>| match result {
        Ok(input) => format!("{input:?}"),
        Err(rejected) => {
            assert!(!rejected.diagnostics.is_empty());
            assert!(!rejected.render().is_empty());
            rejected.render()
        }
    };
    assert_eq!(answer(read_beside(text, sets, file)), answer(read_beside(text, sets, file)));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn mutations_are_answered(
        edits in prop::collection::vec((0..ALL_KEYS.len(), 0..12usize, "\\PC|[\\[\\]{}:,&*!|>%@?\n\t -]|\\PC{0,6}"), 1..8)
    ) {
        let mut text: Vec<char> = ALL_KEYS.chars().collect();
        for (at, delete, insert) in edits {
            let at = at.min(text.len());
            let end = (at + delete).min(text.len());
            text.splice(at..end, insert.chars());
        }
        let text: String = text.into_iter().collect();
        answered(&text, &[]);
    }

    #[test]
    fn lines_swapped_are_answered(a in 0..150usize, b in 0..150usize, c in 0..150usize) {
        let mut lines: Vec<&str> = ALL_KEYS.lines().collect();
        let count = lines.len();
        lines.swap(a % count, b % count);
        lines.remove(c % count);
        answered(&lines.join("\n"), &[]);
    }

    #[test]
    fn any_text_is_answered(text in "\\PC{0,200}|[a-c:\\[\\]{}&*!,?\\-|>\"' \n\t]{0,200}") {
        answered(&text, &[]);
    }

    #[test]
    fn any_file_beside_is_answered(
        edits in prop::collection::vec((0..HEAT.len(), 0..12usize, "\\PC|[-\\[\\],.#e\"\n\t 0-9]{0,8}"), 0..6)
    ) {
        let mut text: Vec<char> = HEAT.chars().collect();
        for (at, delete, insert) in edits {
            let at = at.min(text.len());
            let end = (at + delete).min(text.len());
            text.splice(at..end, insert.chars());
        }
        answered_beside(ALL_KEYS, &[], &text.into_iter().collect::<String>());
    }

    #[test]
    fn any_set_is_answered(set in "\\PC{0,60}|(tanks|panels|grids|duty|pipes)[.](burst-1|bed-1-1|\\*|bed|end)[.]\\PC{0,12}=\\PC{0,20}") {
        answered(ALL_KEYS, &[set]);
    }
}
