//! The rooms of the library and what each may import: `a <- b` means that b may import a, never the reverse.
//!
//! ```text
//! physics    units, fluid <- component <- network <- input
//! numerics   linear <- nonlinear;  time;  statistics     import nothing of ours
//! join       physics, numerics, result <- analysis
//! output     result <- report                            knows no solver and no component
//! studies    input, analysis, result <- study
//! outside    hydro <- hydro-cli
//! ```

use std::collections::BTreeSet;
use std::fmt::Write;
use std::path::{Path, PathBuf};

use proc_macro2::{Delimiter, TokenStream, TokenTree};

/// A room of `hydro`: its name, the rooms that it may import, the crates from outside that it may name (also in its
/// tests).
const ROOMS: [(&str, &[&str], &[&str]); 16] = [
    ("units", &[], &["thiserror"]),
    ("few", &[], &[]),
    ("finding", &[], &[]),
    ("name", &[], &[]),
    ("fluid", &[], &["aga8", "proptest", "pulp", "seuif97", "thiserror"]),
    ("component", &["few", "fluid", "units"], &[]),
    ("network", &["component", "finding", "fluid", "name"], &["petgraph"]),
    (
        "input",
        &["component", "finding", "fluid", "name", "network", "units"],
        &["annotate_snippets", "csv", "saphyr_parser", "serde_json", "strsim"],
    ),
    ("linear", &[], &["faer", "nalgebra", "proptest", "thiserror"]),
    ("nonlinear", &["linear"], &["nalgebra", "thiserror"]),
    ("time", &[], &["nalgebra", "thiserror"]),
    ("statistics", &[], &["libm", "nalgebra", "rand_chacha", "sobol_burley", "statrs", "thiserror"]),
    ("result", &["few", "finding", "name", "units"], &["serde"]),
    (
        "analysis",
        &["component", "few", "finding", "fluid", "linear", "name", "network", "nonlinear", "result", "time", "units"],
        &["nalgebra", "petgraph", "pulp", "rayon", "thiserror"],
    ),
    (
        "study",
        &["analysis", "component", "finding", "fluid", "input", "network", "result", "statistics", "units"],
        &["csv", "rayon", "serde", "serde_json", "sha2", "thiserror"],
    ),
    ("report", &["few", "finding", "result", "units"], &["comfy_table", "csv", "serde", "serde_json"]),
];

/// Rooms that the command line may name.
const FACE: [&str; 8] = ["analysis", "finding", "input", "network", "report", "result", "study", "units"];

/// Macros that the library does not call: it does not print and has no stubs.
const NO_MACROS: [&str; 7] = ["print", "println", "eprint", "eprintln", "dbg", "todo", "unimplemented"];

/// Parts of the standard library that the library does not name: no clock, no process, no terminal, no environment.
const NO_STD: [&[&str]; 7] =
    [&["time"], &["process"], &["env"], &["thread"], &["io", "stdout"], &["io", "stderr"], &["io", "stdin"]];

/// Lines that a file may have.
const LONGEST_FILE: usize = 500;

/// A path named in a file, resolved as far as `crate`, `self` and `super` go.
#[derive(Debug, PartialEq)]
struct Named {
    path: Vec<String>,
    line: usize,
}

/// Paths of two segments and more, and `NAME!` for every macro called, of a file that is the module `module`.
fn named(text: &str, module: &[String]) -> Vec<Named> {
    let tokens: TokenStream = text.parse().expect("a Rust file");
    let mut found = Vec::new();
    walk(tokens, &mut module.to_vec(), &mut found);
    found
}

fn walk(stream: TokenStream, module: &mut Vec<String>, found: &mut Vec<Named>) {
    let tokens: Vec<TokenTree> = stream.into_iter().collect();
    let mut at = 0;
    while at < tokens.len() {
        match &tokens[at] {
            TokenTree::Group(group) => {
                let inner = (at >= 2 && is_ident(&tokens[at - 2], "mod") && group.delimiter() == Delimiter::Brace)
                    .then(|| tokens[at - 1].to_string());
                let depth = module.len();
                module.extend(inner);
                walk(group.stream(), module, found);
                module.truncate(depth);
                at += 1;
            }
            TokenTree::Ident(_) => at = path(&tokens, at, &[], module, found),
            _ => at += 1,
        }
    }
}

/// Reads the path that begins at `at` behind `prefix`; gives where the next token is.
fn path(tokens: &[TokenTree], mut at: usize, prefix: &[String], module: &[String], found: &mut Vec<Named>) -> usize {
    let line = tokens[at].span().start().line;
    let mut segments = prefix.to_vec();
    loop {
        match tokens.get(at) {
            Some(TokenTree::Ident(ident)) => segments.push(ident.to_string()),
            Some(TokenTree::Punct(star)) if star.as_char() == '*' && segments.len() > prefix.len() => {
                segments.push("*".into());
            }
            Some(TokenTree::Group(group)) if group.delimiter() == Delimiter::Brace => {
                let inner: Vec<TokenTree> = group.stream().into_iter().collect();
                let mut start = true;
                let mut k = 0;
                while k < inner.len() {
                    match &inner[k] {
                        TokenTree::Ident(_) if start => {
                            start = false;
                            k = path(&inner, k, &segments, module, found);
                        }
                        token => {
                            start = matches!(token, TokenTree::Punct(p) if p.as_char() == ',');
                            k += 1;
                        }
                    }
                }
                return at + 1;
            }
            _ => break,
        }
        at += 1;
        let colons = tokens.get(at..at + 2).is_some_and(|next| next.iter().all(|t| is_punct(t, ':')));
        if !colons {
            break;
        }
        at += 2;
    }
    if segments.len() > 1 {
        found.push(Named { path: resolve(segments, module), line });
    } else if tokens.get(at).is_some_and(|t| is_punct(t, '!')) {
        found.push(Named { path: vec![format!("{}!", segments[0])], line });
    }
    at
}

/// A path from the root of the crate where it begins at `crate`, `self` or `super`; others stay.
fn resolve(path: Vec<String>, module: &[String]) -> Vec<String> {
    let mut base: Vec<String> = match path[0].as_str() {
        "crate" => Vec::new(),
        "self" | "super" => module.to_vec(),
        _ => return path,
    };
    let mut rest = path.as_slice();
    while let Some((first, others)) = rest.split_first() {
        match first.as_str() {
            "crate" | "self" => {}
            "super" => drop(base.pop()),
            _ => break,
        }
        rest = others;
    }
    let mut resolved = vec!["crate".to_string()];
    resolved.append(&mut base);
    resolved.extend_from_slice(rest);
    resolved
}

fn is_ident(token: &TokenTree, name: &str) -> bool {
    matches!(token, TokenTree::Ident(ident) if ident == name)
}

fn is_punct(token: &TokenTree, char: char) -> bool {
    matches!(token, TokenTree::Punct(punct) if punct.as_char() == char)
}

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Every Rust file below a folder of the repository, with its path in it.
fn files(folder: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut open = vec![top().join(folder)];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let name = path.strip_prefix(top()).unwrap().to_str().unwrap().replace('\\', "/");
                found.push((name, std::fs::read_to_string(&path).unwrap()));
            }
        }
    }
    found.sort();
    assert!(!found.is_empty(), "no Rust file in {folder}");
    found
}

/// Module of a file below `hydro/src`.
fn module_of(name: &str) -> Vec<String> {
    let inner = name.strip_prefix("hydro/src/").unwrap().strip_suffix(".rs").unwrap();
    let mut module: Vec<String> = inner.split('/').map(str::to_string).collect();
    if module.last().is_some_and(|last| last == "mod" || last == "lib") {
        module.pop();
    }
    module
}

/// Crates that `hydro` depends on, as they are named in code.
fn crates() -> BTreeSet<String> {
    let text = std::fs::read_to_string(top().join("hydro/Cargo.toml")).unwrap();
    let mut inside = false;
    let mut names = BTreeSet::new();
    for line in text.lines() {
        if line.starts_with('[') {
            inside = line.contains("dependencies]");
        } else if inside && let Some(end) = line.find(['.', ' ', '=']) {
            names.insert(line[..end].replace('-', "_"));
        }
    }
    assert!(names.contains("faer") && names.contains("saphyr_parser"), "{names:?}");
    names
}

/// What is wrong with the paths of one file of `hydro`.
fn judge(name: &str, text: &str, crates: &BTreeSet<String>) -> String {
    let module = module_of(name);
    let mut wrong = String::new();
    let room = module.first().map(String::as_str);
    let rules = ROOMS.iter().find(|(known, ..)| Some(*known) == room);
    if rules.is_none() && room.is_some() {
        let _ = writeln!(wrong, "{name}: this room is not in the table ROOMS of tests/tests/architecture.rs");
    }
    let (rooms, outside) = rules.map_or((&[][..], &[][..]), |(_, rooms, outside)| (*rooms, *outside));
    for Named { path, line } in named(text, &module) {
        let shown = path.join("::");
        let first = path[0].as_str();
        let second = path.get(1).map_or("", String::as_str);
        let problem = if first == "crate" {
            (Some(second) != room && !rooms.contains(&second)).then_some("is not below this room")
        } else if let Some(called) = first.strip_suffix('!') {
            NO_MACROS.contains(&called).then_some("is not for the library")
        } else if first == "std" || first == "core" {
            NO_STD.iter().any(|no| path[1..].starts_with(&no.map_owned())).then_some("is not for the library")
        } else {
            (crates.contains(first) && !outside.contains(&first)).then_some("is not for this room")
        };
        if let Some(problem) = problem {
            let _ = writeln!(wrong, "{name}:{line}: {shown} {problem}");
        }
    }
    wrong
}

/// Slices of text as owned text.
trait MapOwned {
    fn map_owned(&self) -> Vec<String>;
}

impl MapOwned for [&str] {
    fn map_owned(&self) -> Vec<String> {
        self.iter().map(|part| part.to_string()).collect()
    }
}

/// No module imports upward; the library does not print, exit or read the clock; crates stay in their rooms.
#[test]
fn rooms_import_only_what_is_below() {
    let crates = crates();
    let wrong: String = files("hydro/src").iter().map(|(name, text)| judge(name, text, &crates)).collect();
    assert!(wrong.is_empty(), "\n{wrong}");
}

/// The table itself has no way back up, and every room of the library is in it.
#[test]
fn rooms_have_an_order() {
    let mut placed: Vec<&str> = Vec::new();
    while placed.len() < ROOMS.len() {
        let next =
            ROOMS.iter().find(|(room, below, _)| !placed.contains(room) && below.iter().all(|b| placed.contains(b)));
        let Some((room, ..)) = next else { panic!("the rooms import each other in a circle above {placed:?}") };
        placed.push(room);
    }
    let lib = std::fs::read_to_string(top().join("hydro/src/lib.rs")).unwrap();
    for line in lib.lines().filter_map(|line| line.strip_prefix("pub mod ")) {
        assert!(placed.contains(&line.trim_end_matches(';')), "`{line}` is not in the table ROOMS");
    }
}

/// The command line knows the analyses, the reader and the writers, and nothing behind them.
#[test]
fn the_command_line_is_a_thin_face() {
    let mut wrong = String::new();
    for (name, text) in files("hydro-cli/src") {
        for Named { path, line } in named(&text, &[]) {
            if path[0] == "hydro" && !FACE.contains(&path[1].as_str()) {
                let _ = writeln!(wrong, "{name}:{line}: {} is not for the command line", path.join("::"));
            }
        }
    }
    assert!(wrong.is_empty(), "\n{wrong}");
}

/// A file that grows past 500 lines is split.
#[test]
fn files_are_short() {
    let mut wrong = String::new();
    for (name, text) in files("hydro/src").into_iter().chain(files("hydro-cli/src")) {
        let lines = text.lines().count();
        if lines > LONGEST_FILE {
            let _ = writeln!(wrong, "{name}: {lines} lines, more than {LONGEST_FILE}");
        }
    }
    assert!(wrong.is_empty(), "\n{wrong}");
}

/// The reader of paths sees through groups, `super`, inner modules, re-exports, expressions and macros.
#[test]
fn paths_are_found() {
    let text = "
        pub use crate::{component::{law, pipe::*}, network as n};
        use super::super::analysis;
        fn f() -> super::Thing { vec![crate::report::json::flow(x)]; std::process::exit(1) }
        /// Words about crate::input are not code.
        mod tests { use super::own; use super::super::super::time::lu; fn g() { println!(\"{}\", faer::x()) } }";
    let module = ["component".to_string(), "pipe".to_string()];
    let found: Vec<(String, usize)> = named(text, &module).into_iter().map(|n| (n.path.join("::"), n.line)).collect();
    let expected = [
        ("crate::component::law", 2),
        ("crate::component::pipe::*", 2),
        ("crate::network", 2),
        ("crate::analysis", 3),
        ("crate::component::Thing", 4),
        ("vec!", 4),
        ("crate::report::json::flow", 4),
        ("std::process::exit", 4),
        ("crate::component::pipe::own", 6),
        ("crate::time::lu", 6),
        ("println!", 6),
        ("faer::x", 6),
    ];
    assert_eq!(found, expected.map(|(path, line)| (path.to_string(), line)));
    let wrong = judge("hydro/src/component/pipe.rs", text, &crates());
    let lines: Vec<&str> = wrong.lines().collect();
    assert_eq!(lines.len(), 7, "{wrong}");
    for (line, word) in lines.iter().zip(["network", "analysis", "report", "process", "time", "println!", "faer"]) {
        assert!(line.contains(word), "{line} {word}");
    }
}
