//! The manual of the network file (`docs/input.md`), made from the table of keys.

use std::fmt::Write;

use super::json_schema::range_of;
use super::schema::{Group, Key, Need, SECTIONS, SectionType, Type};
use crate::component::fitting;
use crate::units::{Dimension, units};

/// The manual of the network file as Markdown.
pub fn manual() -> String {
    let mut out = String::from(HEAD);
    for section in SECTIONS {
        match &section.ty {
            SectionType::Key(key) => {
                let _ = write!(out, "\n## `{}`\n\n{}\n\n", section.name, section.doc);
                table(&mut out, &[*key]);
            }
            SectionType::One(group, need) => {
                let default = match need {
                    Need::Optional(default) => format!(" Left out: {default}."),
                    _ => " Required.".to_string(),
                };
                let _ = write!(out, "\n## `{}`\n\n{}{default}\n", section.name, section.doc);
                self::group(&mut out, section.name, group);
            }
            SectionType::Items(_, group) => {
                let _ = write!(out, "\n## `{}`\n\n{} Items by name.\n", section.name, section.doc);
                self::group(&mut out, section.name, group);
            }
        }
    }
    fittings(&mut out);
    values(&mut out);
    out.push_str(SETS);
    out
}

const HEAD: &str = "\
<!-- Generated from hydro/src/input/schema; `UPDATE=1 cargo test -p hydro-tests --test input` writes it anew. -->

# The network file

One YAML file (UTF-8, one document, at most 64 MiB) describes one water supply. All that is wrong with a file is
reported at once, each with its line and what would be right. Sections may stand in any order; all but `site` may be
left out. Names are free text without control characters, unique over the whole file (panels and crossovers of grids
included). Anchors and aliases (`&a`, `*a`) work; tags do not.

A value is a number and a unit: `12.5 m`, `600 mm`, `24 in`, `45000 gal/min`, `18 degC`, `85 %`. A pressure level says
what it is measured from: `bar(g)` or `bar(a)`, `kPa(g)`, `psig`, `psia` ...; a pressure difference takes plain units.
Only pure numbers have no unit. A table over time, where allowed, is `{time: [0 s, 6 s], value: [...]}`: linear between
its points, constant outside.
";

const SETS: &str = "
## Changing values from the command line

`--set PATH=VALUE` changes or adds one value before the file is checked; it may be repeated. A path is the section, the
item's name where the section has items, and keys: `tanks.burst-1.pressure=12 bar(g)`, `tanks.burst-1.relief.set=15
bar(g)`, `duty.end=90 s`, `pipes.feed.fittings.exit=1`. The value is YAML:
`panels.A1.plume_pressure={time: [0 s, 6 s], value: [0 bar(g), 1 bar(g)]}`.

- Names may hold dots and spaces; the longest name that fits is taken. Double quotes fix where a name ends:
  `tanks.\"a.b\".pressure=...`.
- `*` stands for any run of characters of a name: `tanks.*.pressure=...`, `panels.bed-1-*.plugged=10 %`.
- A grid is changed as a whole (`grids.bed.panel.elevation=...`) or one panel or crossover at a time
  (`panels.bed-2-3.plume_pressure=...`, `crossovers.bed-1-1:up.ports=3`). Grids are changed first.
- Setting one side of a choice takes the other away: `tanks.a.water=30 m3` replaces `filled`.
";

fn group(out: &mut String, path: &str, group: &Group) {
    out.push('\n');
    table(out, group.keys);
    for choice in group.choices {
        let _ = write!(out, "\nExactly one of {} says {}.\n", choice.words(), choice.what);
    }
    for key in group.keys {
        if let Type::Group(inner) | Type::List(inner) | Type::ShareOrGroup(_, _, inner) | Type::Load(_, _, inner) =
            key.ty
        {
            let _ = write!(out, "\n### `{}` of `{path}`\n\n{}\n", key.name, key.doc);
            self::group(out, &format!("{path}.{}", key.name), inner);
        }
    }
}

fn table(out: &mut String, keys: &[Key]) {
    out.push_str("| key | value | left out | meaning |\n|---|---|---|---|\n");
    for key in keys {
        let left_out = match key.need {
            Need::Required => "required".to_string(),
            Need::Unless(other) => format!("required without `{other}`"),
            Need::Optional(default) => default.to_string(),
            Need::Choice => "see below".to_string(),
        };
        let range = range_of(key).map(|r| format!(" Must be {r}.")).unwrap_or_default();
        let _ = writeln!(
            out,
            "| `{}` | {}: `{}` | {left_out} | {}{range} |",
            key.name,
            kind(key),
            key.example,
            key.doc.replace('|', "\\|")
        );
    }
}

/// What may stand after a key, in words.
fn kind(key: &Key) -> String {
    match key.ty {
        Type::Text => "text".into(),
        Type::Value(dimension, _) => plain(dimension),
        Type::ValueOr(dimension, _, word) => format!("{}, or `{word}`", plain(dimension)),
        Type::Absolute(_) => "absolute pressure".into(),
        Type::Table(dimension, _) => format!("{}, or table over time", plain(dimension)),
        Type::Load(dimension, ..) => format!("{}, table over time, or pattern", plain(dimension)),
        Type::Count(min, max) => format!("whole number from {min} to {max}"),
        Type::Switch => "`on`, `off`, `true` or `false`".into(),
        Type::Words(words) => words.iter().map(|w| format!("`{w}`")).collect::<Vec<_>>().join(", "),
        Type::Reference(kinds) => format!("name of {}", kinds.iter().map(|k| k.a()).collect::<Vec<_>>().join(", ")),
        Type::Group(_) => "group".into(),
        Type::List(_) => "list of groups".into(),
        Type::ShareOrGroup(words, ..) => {
            let words = words.iter().map(|w| format!("`{w}`")).collect::<Vec<_>>().join(", ");
            format!("{words}, a share, or group")
        }
        Type::Point => "x and y".into(),
        Type::Size => "x and y, above 0".into(),
        Type::Points => "x and y, or list of them".into(),
        Type::Numbers(dimension, _) => format!("list: {}", plain(dimension)),
        Type::Rows(dimension, _) => format!("list, or list of lists: {}", plain(dimension)),
        Type::Polygon => "3 to 200 corners".into(),
        Type::Cells => "two whole numbers from 1 to 1000".into(),
        Type::Fittings => "fitting: count".into(),
        Type::Texts => "list of texts".into(),
        Type::Matrix => "list of rows of numbers".into(),
    }
}

fn plain(dimension: Dimension) -> String {
    let name = dimension.name();
    name.split_once(' ').map_or(name, |(_, rest)| rest).to_string()
}

fn fittings(out: &mut String) {
    out.push_str(
        "\n## Fittings\n\nLoss coefficients K on the bore of the pipe. f_T is the friction factor of complete \
         turbulence in commercial steel pipe of that bore, `0.25 / log10(e / (3.7 D))^2` with e = 0.0018 in \
         (0.04572 mm).\n\n| fitting | K | meaning | source |\n|---|---|---|---|\n",
    );
    for (name, k, source, meaning) in fitting::table() {
        let _ = writeln!(out, "| `{name}` | {k} | {meaning} | {source} |");
    }
}

fn values(out: &mut String) {
    out.push_str("\n## Units\n\nUsual units of each kind of value; others can be built from the table below.\n\n");
    out.push_str("| value | units | example |\n|---|---|---|\n");
    for dimension in Dimension::all() {
        let units: Vec<String> = dimension.usual_units().iter().map(|u| format!("`{u}`")).collect();
        let _ = writeln!(out, "| {} | {} | `{}` |", plain(*dimension), units.join(", "), dimension.example());
    }
    out.push_str(
        "\nA flow coefficient in `m3/h` is a Kv (m3/h of water at 1 bar); in `gal/min` it is a Cv (US gallons a minute \
         at 1 psi), 1 Cv = 0.86498 Kv.\n\nUnit expressions are products and quotients with whole exponents: `m3/s`, \
         `L/s/m2`, `L/(s bar)`, `kg m-3`, `m^2`, `m³`. After one `/`, more than one unit needs brackets or another `/`. \
         The SI prefixes G, M, k, h, d, c, m, u (µ), n may stand before the units marked.\n\n\
         | unit | size in SI | prefixes | source |\n|---|---|---|---|\n",
    );
    for unit in units() {
        let symbols: Vec<String> = unit.symbols.iter().map(|s| format!("`{s}`")).collect();
        let prefixes = if unit.prefixes { "yes" } else { "" };
        let _ = writeln!(out, "| {} | {} | {prefixes} | {} |", symbols.join(", "), unit.factor, unit.source);
    }
}
