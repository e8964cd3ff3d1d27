//! Numbers for people: the units reports print in, and decimals that suit a whole column.

/// Printed where there is no value.
pub(super) const NONE: &str = "-";

/// A blank at which no line is broken; printed as a plain one.
pub(super) const HOLD: char = '\u{a0}';

/// A number and its unit, never on two lines.
pub(super) fn with_unit(number: &str, unit: &str) -> String {
    format!("{number}{HOLD}{unit}")
}

/// Pressure over the surroundings, bar: printed as bar(g).
pub(super) fn bar_gauge(pressure: f64, ambient: f64) -> f64 {
    (pressure - ambient) / 1e5
}

/// Pressure difference, bar.
pub(super) fn bar(difference: f64) -> f64 {
    difference / 1e5
}

/// Flow, L/s; and, from m/s, water per area, L/s/m2.
pub(super) fn litres(flow: f64) -> f64 {
    flow * 1e3
}

/// Temperature, degC.
pub(super) fn celsius(temperature: f64) -> f64 {
    temperature - 273.15
}

/// Share, %.
pub(super) fn percent(share: f64) -> f64 {
    share * 100.0
}

/// Number of decimals (0 .. 6) that shows `significant` digits of a value of this size.
fn decimals(size: f64, significant: i32) -> usize {
    if !size.is_finite() || size <= 0.0 {
        return usize::try_from((significant - 1).clamp(0, 6)).unwrap_or(0);
    }
    let before_point = (size.log10().floor() as i32).saturating_add(1);
    usize::try_from(significant.saturating_sub(before_point).clamp(0, 6)).unwrap_or(0)
}

/// A value with a fixed number of decimals; no minus sign before a printed zero.
fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return NONE.to_string();
    }
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| b == b'0' || b == b'.') => rest.to_string(),
        _ => text,
    }
}

/// One value with this many significant digits, never in powers of ten.
pub(super) fn number(value: f64, significant: i32) -> String {
    fixed(value, decimals(value.abs(), significant))
}

/// One value with this many significant digits in powers of ten: for residuals.
pub(super) fn tiny(value: f64) -> String {
    if value.is_finite() { format!("{value:.1e}") } else { NONE.to_string() }
}

/// A column of values, all with the decimals that give the largest of them this many significant digits.
pub(super) fn column(values: &[Option<f64>], significant: i32) -> Vec<String> {
    let largest = values.iter().flatten().filter(|v| v.is_finite()).fold(0.0, |m: f64, v| m.max(v.abs()));
    let decimals = decimals(largest, significant);
    values.iter().map(|v| v.map_or_else(|| NONE.to_string(), |v| fixed(v, decimals))).collect()
}

/// A time in seconds with the unit, to a hundredth, without zeros at its end.
pub(super) fn seconds(time: f64) -> String {
    let text = fixed(time, 2);
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    with_unit(text, "s")
}

/// A duration of computing.
pub(super) fn clock(seconds: f64) -> String {
    if seconds < 1.0 { with_unit(&number(seconds * 1e3, 3), "ms") } else { with_unit(&number(seconds, 3), "s") }
}

/// A count and its noun: `1 panel`, `3 panels`.
pub(super) fn count(number: usize, noun: &str) -> String {
    if number == 1 { format!("1 {noun}") } else { format!("{number} {noun}s") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_follow_the_largest_of_a_column() {
        assert_eq!(column(&[Some(1234.56), Some(0.4), None], 5), ["1234.6", "0.4", "-"]);
        assert_eq!(column(&[Some(0.012345), Some(-0.0000001)], 3), ["0.0123", "0.0000"]);
        assert_eq!(column(&[Some(f64::NAN), Some(f64::INFINITY)], 3), ["-", "-"]);
    }

    #[test]
    fn numbers_keep_their_digits_and_lose_an_empty_sign() {
        assert_eq!(number(12.3456, 4), "12.35");
        assert_eq!(number(-0.0, 3), "0.00");
        assert_eq!(number(98765.4, 3), "98765");
        assert_eq!(seconds(6.0), "6\u{a0}s");
        assert_eq!(seconds(20.0), "20\u{a0}s");
        assert_eq!(seconds(12.345), "12.35\u{a0}s");
        assert_eq!(seconds(-0.001), "0\u{a0}s");
    }
}
