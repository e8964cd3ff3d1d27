//! The block `spread` read from the tree.

use super::{Form, Quantity, Spread, Variable};
use crate::input::diagnostic::{Collector, Spot};
use crate::input::files::Files;
use crate::input::names::Nearest;
use crate::input::schema::{CORRELATION, MOST_QUANTITIES, SPREAD};
use crate::input::set::{self, Overrides, Target};
use crate::input::tree::{Node, Value};
use crate::input::validate::{Fields, Validator};
use crate::input::vary::{self, Admits, Base, Follow};
use crate::units::{self, Dimension, cut};

/// Standard normal quantile of 97.5 %.
const NORMAL_95: f64 = 1.959_963_984_540_054;

/// The block `spread` of a tree that is valid otherwise; `None` where there is none, or with diagnostics.
pub(in crate::input) fn read(
    root: &mut Node,
    overrides: &mut Overrides,
    ambient_pressure: f64,
    out: &mut Collector,
) -> Option<Spread> {
    let block = root.entries().iter().find(|entry| entry.key == "spread")?.clone();
    // The block names no files.
    let files = Files::new(|_| Err(std::io::ErrorKind::NotFound.into()));
    let mut v = Validator { out, files, nearest: Nearest::default(), ambient_pressure };
    let fields = v.group(&block.node, &SPREAD, "`spread`", block.spot);
    let mut reader = Reader { v, root, overrides, quantities: Vec::new(), origins: Vec::new() };
    for quantity in fields.list("quantities") {
        reader.quantity(quantity);
    }
    reader.check(&fields);
    let correlated = reader.correlated(fields.list("correlated"));
    let Reader { v, quantities, .. } = reader;
    let count = |key: &str, usual| fields.count(key).unwrap_or(usual);
    let spread = Spread {
        samples: count("samples", 1000),
        seed: count("seed", 1),
        sobol: fields.word("sampling") == Some("sobol"),
        index_rows: count("index_rows", 0),
        quantities,
        correlated,
    };
    if spread.sobol && spread.samples > 65536 {
        let hint = "at most 65536, or `sampling: latin_hypercube`".to_string();
        v.out.add("out_of_range", fields.spot_of("samples"), "more samples than a Sobol' sequence has", Some(hint));
    }
    v.out.is_empty().then_some(spread)
}

struct Reader<'r, 'o> {
    v: Validator<'o>,
    root: &'r mut Node,
    overrides: &'r mut Overrides,
    quantities: Vec<Quantity>,
    /// For each quantity the name that the file gives it, before `each` made several of one.
    origins: Vec<String>,
}

/// One target with what it admits and what is written there.
struct Aim {
    target: Target,
    admits: Admits,
    base: Option<Base>,
}

/// Range in words, as written.
fn pair<'t>(fields: &Fields<'t>, key: &str) -> Option<[(&'t str, Spot); 2]> {
    match fields.texts(key) {
        [low, high] => Some([*low, *high]),
        _ => None,
    }
}

impl Reader<'_, '_> {
    fn fail(&mut self, spot: Spot, message: String, hint: &str) -> Option<()> {
        self.v.out.add("spread", spot, message, Some(hint.to_string()));
        None
    }

    fn quantity(&mut self, fields: &Fields<'_>) -> Option<()> {
        let path = fields.text("path")?;
        let spot = fields.spot_of("path");
        let v = &mut self.v;
        let targets = set::targets(self.root, self.overrides, path, spot, &mut v.nearest, v.out);
        let ambient_pressure = v.ambient_pressure;
        let mut aims = Vec::with_capacity(targets.len());
        for target in targets {
            let admits = vary::admits(&target, spot, v.out)?;
            let base = vary::base(&target, &admits, ambient_pressure);
            aims.push(Aim { target, admits, base });
        }
        let name = fields.text("name").unwrap_or(path);
        if self.origins.iter().any(|taken| taken == name) {
            let spot = fields.get("name").map_or(spot, |field| field.spot);
            return self.fail(spot, format!("two quantities are named `{}`", cut(name)), "a `name` of its own");
        }
        let each = fields.switch("each") == Some(true);
        if each && self.quantities.len() + aims.len() > MOST_QUANTITIES {
            let message = format!("more than {MOST_QUANTITIES} quantities are drawn");
            return self.fail(spot, message, "fewer, or one draw for all items of a path (`each: off`)");
        }
        let groups: Vec<Vec<Aim>> = if each { aims.into_iter().map(|aim| vec![aim]).collect() } else { vec![aims] };
        let several = groups.len() > 1;
        for aims in groups.into_iter().filter(|aims| !aims.is_empty()) {
            let own = if several { format!("{name} ({})", aims[0].target.path) } else { name.to_string() };
            let quantity = self.drawn(fields, own, &aims)?;
            self.quantities.push(quantity);
            self.origins.push(name.to_string());
        }
        Some(())
    }

    /// The quantity that one draw makes of its targets.
    fn drawn(&mut self, fields: &Fields<'_>, name: String, aims: &[Aim]) -> Option<Quantity> {
        let first = aims.first()?;
        let (dimension, path_spot) = (first.admits.dimension, fields.spot_of("path"));
        if aims.iter().any(|aim| aim.admits.dimension != dimension) {
            self.fail(path_spot, "the path names quantities of different kinds".into(), "one kind");
            return None;
        }
        let ambient = self.v.ambient_pressure;
        let middle = match fields.text("middle") {
            Some(text) => {
                self.value(text, fields.spot_of("middle"), dimension)?;
                Some(text)
            }
            None => None,
        };
        let given = |key: &str| fields.get(key).is_some();
        let table = aims.iter().any(|aim| aim.base.as_ref().is_some_and(|base| base.time.is_some()));
        let absolute = given("range") || middle.is_some();
        if table && absolute {
            let message = "a table over time is drawn as a whole".to_string();
            self.fail(path_spot, message, "`deviation`, `relative_deviation` or `relative_range`, without `middle`");
            return None;
        }
        let needs_base =
            !absolute || (given("range") && middle.is_none() && fields.word("distribution") == Some("triangular"));
        if needs_base && let Some(aim) = aims.iter().find(|aim| aim.base.is_none()) {
            let message = format!("the file gives no number for `{}`", cut(&aim.target.path));
            self.fail(path_spot, message, "`middle`, or the number written in the file");
            return None;
        }
        // One value for all, or a change of several.
        let alone = aims.len() == 1 && !table;
        let follow = match () {
            () if absolute || alone => Follow::Value,
            () if given("deviation") => Follow::Shift,
            () => Follow::Factor,
        };
        let ends = match (middle, &first.base) {
            (Some(text), _) => vary::ends(text, dimension, ambient).map(|(ends, _)| ends),
            (None, Some(base)) => base.values.first().copied(),
            (None, None) => None,
        };
        // The variable at a factor of the number as written, and its middle.
        let at = |factor: f64| match (follow, ends) {
            (Follow::Value, Some([none, whole])) => none + (whole - none) * factor,
            (Follow::Shift, _) => 0.0,
            _ => factor,
        };
        let form = self.form(fields, dimension, at)?;
        let gauge = aims.iter().all(|aim| aim.base.as_ref().is_none_or(|base| base.gauge));
        let level = if gauge { ambient } else { 0.0 };
        let places: Vec<_> =
            aims.iter().map(|aim| vary::place(&aim.target, &aim.admits, aim.base.as_ref(), follow, level)).collect();
        let mut bounds = [f64::NEG_INFINITY, f64::INFINITY];
        for (place, aim) in places.iter().zip(aims) {
            let [low, high] = vary::bounds(place, &aim.admits);
            bounds = [bounds[0].max(low), bounds[1].min(high)];
            // Further bounds are of the values, not of the variable.
            let line = match &place.form {
                vary::Form::Value { line, .. } | vary::Form::Count { line, .. } => Some(*line),
                vary::Form::Table { .. } => None,
            };
            for (key, side) in [("least", 0), ("most", 1)] {
                let Some(text) = fields.text(key) else { continue };
                let value = self.value(text, fields.spot_of(key), dimension)?;
                let Some([a, b]) = line.filter(|line| line[1] != 0.0) else { continue };
                let x = (value - a) / b;
                bounds = if (side == 0) == (b > 0.0) {
                    [bounds[0].max(x), bounds[1]]
                } else {
                    [bounds[0], bounds[1].min(x)]
                };
            }
        }
        if let Form::Uniform(low, high) | Form::Triangular(low, _, high) = form {
            bounds = [bounds[0].max(low), bounds[1].min(high)];
        }
        if bounds[0] > bounds[1] {
            let message = format!("no value of `{}` is left: its range lies outside what the key admits", cut(&name));
            self.fail(path_spot, message, "a range that the key admits");
            return None;
        }
        let variable = match follow {
            Follow::Value => Variable::Value(dimension),
            Follow::Shift => Variable::Shift(dimension),
            Follow::Factor => Variable::Factor,
        };
        Some(Quantity { name, words: words(fields), form, bounds, variable, places })
    }

    /// Form of the distribution of the variable, whose value at a factor of the number as written is `at`.
    fn form(&mut self, fields: &Fields<'_>, dimension: Dimension, at: impl Fn(f64) -> f64) -> Option<Form> {
        let distribution = fields.word("distribution")?;
        let smooth = matches!(distribution, "normal" | "lognormal");
        let spot = fields.spot;
        if let Some(text) = fields.text("deviation") {
            let spot = fields.spot_of("deviation");
            if distribution != "normal" {
                let message = format!("a {distribution} distribution has no `deviation`");
                self.fail(spot, message, "`relative_deviation` (lognormal), `range` or `relative_range`");
                return None;
            }
            let deviation = self.difference(text, spot, dimension)?;
            return Some(Form::Normal(at(1.0), deviation));
        }
        if let Some(relative) = fields.number("relative_deviation") {
            let spot = fields.spot_of("relative_deviation");
            let (middle, width) = (at(1.0), (at(1.0 + relative) - at(1.0)).abs());
            if !smooth {
                let message = format!("a {distribution} distribution has no `relative_deviation`");
                self.fail(spot, message, "`range` or `relative_range`");
                return None;
            }
            if width == 0.0 {
                self.fail(spot, "a share of 0 is 0: nothing would vary".into(), "`deviation` or `range`");
                return None;
            }
            if distribution == "normal" {
                return Some(Form::Normal(middle, width));
            }
            if middle <= 0.0 {
                self.fail(spot, "a lognormal quantity is above 0".into(), "a `normal` distribution");
                return None;
            }
            // Of a lognormal quantity: (deviation/mean)^2 = exp(s^2) - 1.
            return Some(Form::Lognormal(middle, (relative * relative).ln_1p().sqrt()));
        }
        let absolute = fields.get("range").is_some();
        let key = if absolute { "range" } else { "relative_range" };
        let spot = fields.get(key).map_or(spot, |field| field.spot);
        let Some([low, high]) = pair(fields, key) else {
            self.fail(spot, format!("`{key}` must hold two values"), "[least, greatest]");
            return None;
        };
        let [low, high] = if absolute {
            [self.value(low.0, low.1, dimension)?, self.value(high.0, high.1, dimension)?]
        } else {
            let [low, high] =
                [self.value(low.0, low.1, Dimension::Share)?, self.value(high.0, high.1, Dimension::Share)?];
            let [low, high] = [at(1.0 + low), at(1.0 + high)];
            [low.min(high), low.max(high)]
        };
        if low >= high {
            self.fail(spot, format!("the second value of `{key}` is not above the first"), "[least, greatest]");
            return None;
        }
        match distribution {
            "normal" => {
                let middle = 0.5 * (low + high);
                Some(Form::Normal(middle, (high - middle) / NORMAL_95))
            }
            "lognormal" if low <= 0.0 => {
                self.fail(spot, "a lognormal quantity is above 0".into(), "a `normal` distribution");
                None
            }
            "lognormal" => Some(Form::Lognormal((low * high).sqrt(), 0.5 * (high / low).ln() / NORMAL_95)),
            "uniform" => Some(Form::Uniform(low, high)),
            _ => {
                let mode = at(1.0);
                if !(low..=high).contains(&mode) {
                    let message = "the likeliest value, `middle` or the file's, is outside the range".to_string();
                    self.fail(spot, message, "a range around it");
                    return None;
                }
                Some(Form::Triangular(low, mode, high))
            }
        }
    }

    /// SI value of a text.
    fn value(&mut self, text: &str, spot: Spot, dimension: Dimension) -> Option<f64> {
        match units::parse(text, dimension) {
            Ok(quantity) => Some(quantity.resolve(self.v.ambient_pressure)),
            Err(error) => {
                self.v.out.add("spread", spot, error.to_string(), Some(error.hint(dimension)));
                None
            }
        }
    }

    /// SI difference of a text, above 0.
    fn difference(&mut self, text: &str, spot: Spot, dimension: Dimension) -> Option<f64> {
        let of = if dimension == Dimension::Pressure { Dimension::PressureDifference } else { dimension };
        self.value(text, spot, of)?;
        // A difference of temperatures has no zero point.
        let difference = vary::ends(text, of, 0.0).map(|([none, whole], _)| whole - none)?;
        if difference > 0.0 {
            return Some(difference);
        }
        self.fail(spot, "a deviation is above 0".into(), of.example());
        None
    }

    /// What single quantities cannot say.
    fn check(&mut self, fields: &Fields<'_>) {
        if fields.list("quantities").is_empty() && fields.get("quantities").is_some() {
            self.fail(fields.spot_of("quantities"), "no quantity is named".into(), "at least one");
        }
        if self.quantities.len() > MOST_QUANTITIES {
            let message = format!("more than {MOST_QUANTITIES} quantities are drawn");
            self.fail(fields.spot_of("quantities"), message, "fewer");
        }
        let mut places: Vec<&str> =
            self.quantities.iter().flat_map(|q| q.places.iter().map(|p| p.path.as_str())).collect();
        places.sort_unstable();
        let twice = places.windows(2).find(|pair| pair[0] == pair[1]).map(|pair| pair[0].to_string());
        if let Some(path) = twice {
            let message = format!("`{}` is drawn twice", cut(&path));
            self.fail(fields.spot_of("quantities"), message, "each place in one quantity");
        }
    }

    fn correlated(&mut self, groups: &[Fields<'_>]) -> Vec<(Vec<usize>, Vec<Vec<f64>>)> {
        let mut taken = vec![false; self.quantities.len()];
        groups.iter().filter_map(|group| self.group(group, &mut taken)).collect()
    }

    fn group(&mut self, fields: &Fields<'_>, taken: &mut [bool]) -> Option<(Vec<usize>, Vec<Vec<f64>>)> {
        let mut members = Vec::new();
        for &(name, spot) in fields.texts("quantities") {
            let found: Vec<usize> = (0..taken.len()).filter(|&k| self.origins[k] == name).collect();
            if found.is_empty() {
                let near = self.v.nearest.of(name, self.origins.iter().map(String::as_str));
                let hint = near.map_or_else(|| "the name of a quantity".to_string(), |n| format!("`{n}`"));
                self.fail(spot, format!("no quantity is named `{}`", cut(name)), &hint);
                return None;
            }
            for k in found {
                if std::mem::replace(&mut taken[k], true) {
                    let message = format!("`{}` is in two groups", cut(name));
                    self.fail(spot, message, "one group a quantity");
                    return None;
                }
                members.push(k);
            }
        }
        let spot = fields.spot_of("quantities");
        if members.len() < 2 {
            self.fail(spot, "one quantity cannot depend on itself".into(), "two or more");
            return None;
        }
        let n = members.len();
        let matrix = match fields.number("coefficient") {
            Some(c) => {
                // The least that n quantities can have in common, each with each.
                if c >= 1.0 || c <= -1.0 / (n as f64 - 1.0) {
                    let hint = format!("above {:.3} and below 1", -1.0 / (n as f64 - 1.0));
                    self.fail(
                        fields.spot_of("coefficient"),
                        format!("{n} quantities cannot have this coefficient"),
                        &hint,
                    );
                    return None;
                }
                (0..n).map(|i| (0..n).map(|j| if i == j { 1.0 } else { c }).collect()).collect()
            }
            None => self.matrix(fields, n)?,
        };
        Some((members, matrix))
    }

    fn matrix(&mut self, fields: &Fields<'_>, n: usize) -> Option<Vec<Vec<f64>>> {
        let node = fields.raw("matrix")?;
        let example = "[[1, 0.8], [0.8, 1]]";
        let rows = match &node.value {
            Value::List(rows) if rows.len() == n => rows,
            _ => {
                self.fail(node.spot, format!("`matrix` must have {n} rows of {n} numbers"), example);
                return None;
            }
        };
        let mut matrix = Vec::with_capacity(n);
        for row in rows {
            let Value::List(items) = &row.value else {
                self.fail(row.spot, "a row is a list of numbers".into(), example);
                return None;
            };
            let mut numbers = Vec::with_capacity(n);
            for item in items {
                let Value::Scalar(text) = &item.value else { continue };
                let number = self.value(text, item.spot, Dimension::Pure)?;
                if !CORRELATION.holds(number) {
                    self.fail(item.spot, format!("`{}` is no correlation coefficient", cut(text)), CORRELATION.text);
                    return None;
                }
                numbers.push(number);
            }
            if numbers.len() != n {
                self.fail(row.spot, format!("this row has {} numbers, not {n}", numbers.len()), example);
                return None;
            }
            matrix.push(numbers);
        }
        let wrong = (0..n).any(|i| matrix[i][i] != 1.0 || (0..i).any(|j| matrix[i][j] != matrix[j][i]));
        if wrong {
            self.fail(node.spot, "`matrix` must be symmetric with ones on its diagonal".into(), example);
            return None;
        }
        if !positive_definite(&matrix) {
            let message = "no quantities can depend on each other like this: `matrix` is not positive definite";
            self.fail(node.spot, message.into(), "smaller coefficients");
            return None;
        }
        Some(matrix)
    }
}

/// Whether a symmetric matrix has a Cholesky factor.
fn positive_definite(matrix: &[Vec<f64>]) -> bool {
    let n = matrix.len();
    let mut lower = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let sum: f64 = (0..j).map(|k| lower[i][k] * lower[j][k]).sum();
            let rest = matrix[i][j] - sum;
            if i == j {
                if rest <= 1e-12 {
                    return false;
                }
                lower[i][i] = rest.sqrt();
            } else {
                lower[i][j] = rest / lower[j][j];
            }
        }
    }
    true
}

/// The distribution in words, with its values as written.
fn words(fields: &Fields<'_>) -> String {
    let mut text = fields.word("distribution").unwrap_or("").to_string();
    if let Some(middle) = fields.text("middle") {
        text += &format!(", middle {middle}");
    }
    if let Some(deviation) = fields.text("deviation") {
        text += &format!(", deviation {deviation}");
    }
    if let Some(share) = fields.number("relative_deviation") {
        text += &format!(", deviation {} %", units::digits(100.0 * share));
    }
    for key in ["range", "relative_range"] {
        if let Some([low, high]) = pair(fields, key) {
            text += &format!(", {} to {}", low.0, high.0);
        }
    }
    for (key, word) in [("least", "not below"), ("most", "not above")] {
        if let Some(value) = fields.text(key) {
            text += &format!(", {word} {value}");
        }
    }
    text
}
