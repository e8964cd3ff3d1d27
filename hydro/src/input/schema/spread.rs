//! Keys of `spread`: how uncertain quantities of the file are.

use super::{Choice, Group, Range, Type, optional, required};
use crate::units::Dimension;

/// Most quantities that are drawn, those of wildcards counted one by one.
pub(crate) const MOST_QUANTITIES: usize = 128;

/// Range of a correlation coefficient.
pub(crate) const CORRELATION: Range = Range { min: -1.0, above: false, max: 1.0, below: false, text: "from -1 to 1" };

const RELATIVE: Range = Range::over(0.0, 10.0, "above 0 % and at most 1000 %");

const QUANTITY: Group = Group {
    keys: &[
        required(
            "path",
            Type::Text,
            "What is drawn: a path as in `--set`; `*` stands for any run of characters of a name.",
            "panels.*.holes.discharge_coefficient",
        ),
        optional("name", Type::Text, "the path", "Its name in results and in `correlated`.", "hole coefficient"),
        required(
            "distribution",
            Type::Words(&["normal", "lognormal", "uniform", "triangular"]),
            "Form of the distribution. It is always cut where the key's own range ends.",
            "normal",
        ),
        optional(
            "middle",
            Type::Text,
            "the value in the file",
            "Mean of a normal, median of a lognormal, likeliest value of a triangular distribution; with \
             `relative_range`, what the shares are of.",
            "0.8",
        ),
        super::choice(
            "deviation",
            Type::Text,
            "Standard deviation of a normal distribution, in the unit of the quantity; of a pressure, a difference.",
            "0.2 bar",
        ),
        super::choice(
            "relative_deviation",
            Type::Value(Dimension::Share, RELATIVE),
            "Standard deviation of a normal or lognormal distribution as a share of the number as written: 5 % of \
             `9 bar(g)` is 0.45 bar.",
            "5 %",
        ),
        super::choice(
            "range",
            Type::Texts,
            "Least and greatest value of a uniform or triangular distribution; of a normal or lognormal one the range \
             in which 95 % lie, half of the rest on either side.",
            "[0.7, 0.9]",
        ),
        super::choice(
            "relative_range",
            Type::Texts,
            "As `range`, in shares of the number as written, below and above it.",
            "[-10 %, 5 %]",
        ),
        optional("least", Type::Text, "the key's range", "No value below this is drawn.", "0.6"),
        optional("most", Type::Text, "the key's range", "No value above this is drawn.", "0.95"),
        optional(
            "each",
            Type::Switch,
            "off",
            "Whether every item that the path names is drawn by itself; otherwise one draw holds for all of them.",
            "on",
        ),
    ],
    choices: &[Choice {
        what: "how wide it spreads",
        options: &[&["deviation"], &["relative_deviation"], &["range"], &["relative_range"]],
    }],
};

const CORRELATED: Group = Group {
    keys: &[
        required(
            "quantities",
            Type::Texts,
            "Names of quantities that depend on each other (all items of one with `each: on`). A quantity is in one \
             such group at most.",
            "[north, south]",
        ),
        super::choice(
            "coefficient",
            Type::Value(Dimension::Pure, CORRELATION),
            "Correlation coefficient of every two of them.",
            "0.8",
        ),
        super::choice(
            "matrix",
            Type::Matrix,
            "Correlation coefficients, one row a quantity in their order.",
            "[[1, 0.8], [0.8, 1]]",
        ),
    ],
    choices: &[Choice { what: "how they depend on each other", options: &[&["coefficient"], &["matrix"]] }],
};

pub(crate) const SPREAD: Group = Group {
    keys: &[
        optional("samples", Type::Count(1, 100_000_000), "1000", "Runs with drawn quantities.", "10000"),
        optional("seed", Type::Count(0, u32::MAX), "1", "The same seed gives the same samples.", "1"),
        optional(
            "sampling",
            Type::Words(&["latin_hypercube", "sobol"]),
            "latin_hypercube",
            "How samples are spread: a Latin hypercube, or a scrambled Sobol' sequence (at most 65536 samples).",
            "sobol",
        ),
        optional(
            "index_rows",
            Type::Count(0, 65536),
            "0: no variance-based indices",
            "Rows of the design that variance-based indices come from; each takes as many runs as there are \
             independent quantities, and two. At least 16 for standard errors; some hundred for two digits.",
            "256",
        ),
        required(
            "quantities",
            Type::List(&QUANTITY),
            "What is drawn.",
            "[{path: tanks.t.pressure, distribution: normal, relative_deviation: 3 %}]",
        ),
        optional(
            "correlated",
            Type::List(&CORRELATED),
            "none",
            "Quantities that depend on each other: a Gaussian copula, whose coefficients are those of the normal \
             quantities behind.",
            "[{quantities: [north, south], coefficient: 0.8}]",
        ),
    ],
    choices: &[],
};
