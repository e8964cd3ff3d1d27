//! The rows of the table, from the CSV files.

use crate::root;

/// Files in the order of the paper, with their headings.
pub const FILES: [(&str, &str); 10] = [
    ("friction", "Friction, pipes and fittings"),
    ("networks", "Networks of pipes"),
    ("headers", "Headers and tees"),
    ("holes", "Holes and perforated plates"),
    ("cells", "The inside of a panel"),
    ("tanks", "Tanks, siphons and pressurised tanks"),
    ("columns", "Moving columns of water"),
    ("gas", "Gas"),
    ("water", "Water"),
    ("heat", "Heat and boiling"),
];

const COLUMNS: [&str; 10] =
    ["id", "what", "source", "seen", "compute", "published", "unit", "unit_si", "tolerance", "why"];

/// One published value and how the library computes it.
pub struct Row {
    /// File it stands in.
    pub file: &'static str,
    /// Name, unique over all files.
    pub id: String,
    /// The case in words.
    pub what: String,
    /// Who published the value.
    pub source: String,
    /// How the value was come by.
    pub seen: String,
    /// What to compute, see [`crate::compute`].
    pub compute: String,
    /// Published value, in `unit`.
    pub published: f64,
    /// Unit.
    pub unit: String,
    /// One unit in SI.
    pub unit_si: f64,
    /// Largest difference, relative.
    pub tolerance: f64,
    /// Why this tolerance.
    pub why: String,
}

impl Row {
    /// Relative difference of a computed value.
    pub fn difference(&self, computed: f64) -> f64 {
        computed / self.published - 1.0
    }

    /// Whether a computed value is within the tolerance.
    pub fn holds(&self, computed: f64) -> bool {
        self.difference(computed).abs() <= self.tolerance
    }

    /// The tolerance for people.
    pub fn tolerance_text(&self) -> String {
        if self.tolerance < 1e-4 {
            format!("{:e}", self.tolerance)
        } else {
            format!("{} %", (self.tolerance * 1e8).round() / 1e6)
        }
    }
}

/// All rows.
///
/// # Panics
/// Where a file is not the table it should be.
pub fn all() -> Vec<Row> {
    FILES.iter().flat_map(|&(file, _)| read(file)).collect()
}

fn read(file: &'static str) -> Vec<Row> {
    let path = root().join(format!("tests/data/verification/{file}.csv"));
    let mut reader = csv::Reader::from_path(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    assert_eq!(reader.headers().unwrap().iter().collect::<Vec<_>>(), COLUMNS, "{file}.csv");
    let row = |record: csv::StringRecord| {
        let text = |k: usize| record[k].trim().to_string();
        let number = |k: usize| record[k].trim().parse().unwrap_or_else(|_| panic!("{file}.csv: {record:?}"));
        Row {
            file,
            id: text(0),
            what: text(1),
            source: text(2),
            seen: text(3),
            compute: text(4),
            published: number(5),
            unit: text(6),
            unit_si: number(7),
            tolerance: number(8),
            why: text(9),
        }
    };
    reader.records().map(|record| row(record.unwrap_or_else(|e| panic!("{file}.csv: {e}")))).collect()
}
