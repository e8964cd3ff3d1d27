//! Results as text for people, no wider than [`WIDTH`] columns where names allow.

mod faults;
mod fit;
mod flow;
mod plate;
mod run;
mod shortfall;
mod size;
mod sizing;
mod spread;

use comfy_table::{CellAlignment, ContentArrangement, LineStyle, TableStyle};

use super::format;
use super::table::{Align, Table};
use crate::finding::Finding;
use crate::result::{FaultsResult, FitResult, FlowResult, RunResult, SizeResult, SizingResult, SpreadResult};

/// Columns that text is laid out for.
pub const WIDTH: u16 = 96;

/// Panels listed in full up to here; beyond, only the worst [`WORST_PANELS`].
const ALL_PANELS: usize = 40;
/// Panels listed where there are too many.
const WORST_PANELS: usize = 20;
/// Headers and weir pipes listed; a result with more leaves them to the JSON.
const ALL_HEADERS: usize = 12;
/// Rows of any table; the JSON has the rest.
const ALL_ROWS: usize = 60;
/// Findings of one code listed one by one.
const LIKE_FINDINGS: usize = 5;

/// Cautions that every report for people ends with.
pub const CAUTIONS: &str = "Stored gas and pressure, water hammer, oxygen-poor air and hot gas kill: \
    local codes and licensed practice come first.";

/// A steady result.
pub fn flow(result: &FlowResult) -> String {
    flow::text(result)
}

/// A run over time.
pub fn run(result: &RunResult) -> String {
    run::text(result)
}

/// An answer to a question of size.
pub fn size(result: &SizeResult) -> String {
    size::text(result)
}

/// What failures do, the worst first.
pub fn faults(result: &FaultsResult) -> String {
    faults::text(result)
}

/// What meets a requirement with any unknowns.
pub fn sizing(result: &SizingResult) -> String {
    sizing::text(result)
}

/// Spread of the outcomes of a supply whose quantities are drawn.
pub fn spread(result: &SpreadResult) -> String {
    spread::text(result)
}

/// Coefficients fitted to a measured record.
pub fn fit(result: &FitResult) -> String {
    fit::text(result)
}

/// Findings of a network that has not been solved.
pub fn check(title: &str, findings: &[Finding]) -> String {
    let mut page = Page::new(title);
    match findings.len() {
        0 => page.paragraph("The file can be computed; nothing to remark."),
        n => page.paragraph(&format!("The file can be computed; {}.", format::count(n, "remark"))),
    }
    page.findings(findings);
    page.close()
}

/// Text in the making: blocks with an empty line between.
struct Page {
    text: String,
}

impl Page {
    /// A page that starts with its title, if there is one.
    fn new(title: &str) -> Self {
        let mut page = Page { text: String::new() };
        if !title.trim().is_empty() {
            page.paragraph(title.trim());
        }
        page
    }

    /// Adds an empty line before every block but the first.
    fn gap(&mut self) {
        if !self.text.is_empty() {
            self.text.push('\n');
        }
    }

    /// Adds a paragraph, broken into lines at its blanks; [`format::with_unit`] holds a number and its unit together.
    fn paragraph(&mut self, words: &str) {
        self.gap();
        let mut line = 0;
        for word in words.split([' ', '\t', '\n', '\r']).filter(|word| !word.is_empty()) {
            let length = word.chars().count();
            if line > 0 && line + 1 + length > usize::from(WIDTH) {
                self.text.push('\n');
                line = 0;
            }
            if line > 0 {
                self.text.push(' ');
                line += 1;
            }
            self.text.push_str(word);
            line += length;
        }
        self.text.push('\n');
    }

    /// Adds a table under its title, its first rows where it is long; nothing where it has none.
    fn table(&mut self, table: &Table) {
        if table.row_count() == 0 {
            return;
        }
        self.gap();
        if !table.title.is_empty() {
            self.text.push_str(&table.title);
            self.text.push('\n');
        }
        for line in layout(table).lines() {
            self.text.push_str(line.trim_end());
            self.text.push('\n');
        }
        if let Some(more) = table.row_count().checked_sub(ALL_ROWS).filter(|more| *more > 0) {
            self.text.push_str(&format!(" and {} more; --json has all\n", more));
        }
    }

    /// Adds findings, the gravest first; nothing where there are none.
    fn findings(&mut self, findings: &[Finding]) {
        let mut sorted: Vec<&Finding> = findings.iter().collect();
        sorted.sort_by_key(|f| (f.level, f.code));
        let mut rows: Vec<(&str, &str, String)> = Vec::new();
        for group in sorted.chunk_by(|a, b| a.code == b.code) {
            let listed = if group.len() > LIKE_FINDINGS + 1 { LIKE_FINDINGS } else { group.len() };
            let line = |f: &Finding| format!("{} [{}]", f.text, f.code);
            rows.extend(group.iter().take(listed).map(|f| (f.level.label(), f.item.as_str(), line(f))));
            if let (true, Some(last)) = (listed < group.len(), group.last()) {
                rows.push((last.level.label(), "", format!("{} more [{}]", group.len() - listed, last.code)));
            }
        }
        let table = Table::new("Findings")
            .words("", rows.iter().map(|r| r.0))
            .words("item", rows.iter().map(|r| r.1))
            .words("what", rows.iter().map(|r| r.2.as_str()))
            .without_empty_columns();
        self.table(&table);
    }

    /// Adds the cautions and hands the text over.
    fn finish(mut self) -> String {
        self.paragraph(CAUTIONS);
        self.close()
    }

    /// Hands the text over, with nothing in it that could move a terminal's cursor.
    fn close(self) -> String {
        let text = self.text.replace(format::HOLD, " ");
        text.replace(|c: char| c.is_control() && c != '\n', "\u{fffd}")
    }
}

/// A table set in columns: names, units, a rule, rows.
fn layout(table: &Table) -> comfy_table::Table {
    let style = TableStyle::new().header_separator(LineStyle::none().fill('─').junction('─'));
    let mut out = comfy_table::Table::new();
    out.load_style(style).set_content_arrangement(ContentArrangement::Dynamic).set_width(WIDTH);
    let units = table.columns.iter().any(|c| !c.unit.is_empty());
    out.set_header(
        table.columns.iter().map(|c| if units { format!("{}\n{}", c.name, c.unit) } else { c.name.clone() }),
    );
    for row in table.rows().take(ALL_ROWS) {
        out.add_row(row);
    }
    for (column, shape) in table.columns.iter().zip(out.column_iter_mut()) {
        shape.set_padding((1, 1));
        shape.set_cell_alignment(match column.align {
            Align::Left => CellAlignment::Left,
            Align::Right => CellAlignment::Right,
        });
    }
    out
}

/// The share by which a flux is over what is required, %.
fn margin(flux: f64, required: Option<f64>) -> Option<f64> {
    required.filter(|r| *r > 0.0).map(|r| format::percent(flux / r - 1.0))
}

/// The worst panels of many: indices in the order to print, and the sentence that says what was left out.
///
/// `worse` gives a number that is lowest for the worst panel.
fn worst_first(count: usize, worse: impl Fn(usize) -> f64) -> (Vec<usize>, Option<String>) {
    let mut order: Vec<usize> = (0..count).collect();
    if count <= ALL_PANELS {
        return (order, None);
    }
    order.sort_by(|a, b| worse(*a).total_cmp(&worse(*b)));
    order.truncate(WORST_PANELS);
    let left = count - order.len();
    (order, Some(format!("The other {left} panels have more than these.")))
}

#[cfg(test)]
mod tests {
    use crate::report::{examples, text};
    use crate::result::PanelFlow;

    /// Every line fits, and none ends in a space.
    fn assert_tidy(text: &str) {
        for line in text.lines() {
            assert!(line.chars().count() <= usize::from(super::WIDTH), "too wide: {line}\n{text}");
            assert_eq!(line, line.trim_end());
        }
    }

    #[test]
    fn a_flow_says_first_whether_the_panels_get_their_water() {
        let text = text::flow(&examples::flow());
        assert_tidy(&text);
        assert!(text.starts_with("Two panels\n\nSteady flow at 6 s: 1 of 2 panels get too little water."), "{text}");
        assert!(text.contains("The plume enters 1 panel."), "{text}");
        assert!(text.contains("Where the pressure goes from north, lower to dry"), "{text}");
        assert!(text.contains("100"), "{text}");
        assert!(text.find("fail").unwrap() < text.find("note").unwrap(), "{text}");
        assert!(text.trim_end().ends_with("come first."), "{text}");
    }

    #[test]
    fn a_number_and_its_unit_stay_on_one_line() {
        for length in 0..=usize::from(super::WIDTH) {
            let mut page = super::Page::new(&"x".repeat(length));
            page.paragraph(&format!("{} {} end", "y".repeat(length), super::format::seconds(20.0)));
            let text = page.close();
            assert!(text.contains("20 s"), "{text}");
        }
    }

    #[test]
    fn of_many_panels_the_driest_are_printed() {
        let mut result = examples::flow();
        let flow = |k: u32| 0.2 + 0.001 * f64::from(k);
        let many = (0..45).rev().map(|k| examples::panel(&format!("bed {k}."), flow(k), None, true));
        result.panels = many.collect::<Vec<PanelFlow>>();
        let text = text::flow(&result);
        assert_tidy(&text);
        assert!(text.contains("every panel gets its water"), "{text}");
        assert!(text.contains("bed 19.") && !text.contains("bed 20."), "{text}");
        assert!(text.contains("The other 25 panels have more than these."), "{text}");
    }

    #[test]
    fn long_lists_are_cut_and_say_so() {
        let mut result = examples::flow();
        let finding = result.findings[1].clone();
        result.findings = vec![finding; 30];
        result.title = "with \u{1b}[31m".to_string();
        let tank = result.tanks[0].clone();
        result.tanks = vec![tank; 75];
        let text = text::flow(&result);
        assert_tidy(&text);
        assert_eq!(text.matches("Too little water.").count(), 5, "{text}");
        assert!(text.contains("25 more [flux_short]"), "{text}");
        assert!(text.contains("and 15 more; --json has all"), "{text}");
        assert!(!text.contains('\u{1b}'));
    }

    #[test]
    fn a_run_starts_with_its_verdict() {
        let mut result = examples::run();
        let text = text::run(&result);
        assert_tidy(&text);
        assert!(text.contains("Requirement held: 1 panel had the required water from ignition at 2 s"), "{text}");
        assert!(text.contains("without a break from 1 s until 9.5 s"), "{text}");
        assert!(text.contains("5 items") && text.contains("from p1 to p5 at 0.5 s"), "{text}");
        result.panels[0].met = None;
        let text = text::run(&result);
        assert!(text.contains("The requirement was not judged"), "{text}");
        result.panels[0].met = Some(false);
        let text = text::run(&result);
        assert!(text.contains("Requirement missed: 1 of 1 fell short"), "{text}");
    }

    #[test]
    fn failures_begin_with_what_cannot_be_lost() {
        let text = text::faults(&examples::faults());
        assert_tidy(&text);
        let sentence = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(sentence.contains("3 failures over the whole duty, from ignition at 2 s"), "{text}");
        assert!(sentence.contains("1 met the requirement, 1 missed it, 1 could not be computed"), "{text}");
        assert!(sentence.contains("the tightest panel, dry, has 25.0 % more than it needs"), "{text}");
        assert!(sentence.contains("It cannot lose north."), "{text}");
        assert!(sentence.contains("hydro run FILE --set 'pipes.main.blocked=true' --set"), "{text}");
    }

    #[test]
    fn a_design_shows_what_binds_and_its_neighbour() {
        let text = text::sizing(&examples::sizing(true));
        assert_tidy(&text);
        let sentence = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(sentence.starts_with("Least that meets every requirement: tanks.*.pressure = 6.5 bar(g)."), "{text}");
        assert!(sentence.contains("What binds is the flux of dry."), "{text}");
        assert!(sentence.contains("tanks.*.pressure = 6 bar(g) flux dry 39.9 L/s/m2"), "{text}");
        assert!(sentence.contains("+0.125 bar(g) 0.250"), "{text}");
        assert!(text::sizing(&examples::sizing(false)).starts_with("No design within the bounds"), "{text}");
    }

    #[test]
    fn a_size_shows_the_answer_and_what_binds_below_it() {
        let text = text::size(&examples::size(true));
        assert_tidy(&text);
        let sentence = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.starts_with("Least gas pressure of north, south: 9.0000 bar(g)."), "{text}");
        assert!(sentence.contains("At 8.9990 bar(g), dry would be short by 0.100 L/s/m2 at 6 s"), "{text}");
        let text = text::size(&examples::size(false)).replace('\n', " ");
        assert!(text.contains("Even at 16.000 bar(g), dry is short by 10.0 L/s/m2 at 6 s"), "{text}");
    }
}
