//! Confidence interval of a share.

/// Wilson's score interval of a probability of which `hits` of `trials` independent trials were hits.
///
/// ```text
/// (k + z^2/2 -+ z sqrt(k (n - k)/n + z^2/4)) / (n + z^2)
/// ```
///
/// # Arguments
/// `z`: standard normal quantile of the confidence, 1.96 for 95 %.
///
/// # Range
/// Without trials nothing is known: 0 .. 1.
///
/// # Source
/// E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212.
///
/// # Example
/// ```
/// // R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3: 81 of 263 gives 0.2553 to 0.3662.
/// let [low, high] = hydro::statistics::interval::wilson(81, 263, 1.959964);
/// assert!((low - 0.2553).abs() < 5e-5 && (high - 0.3662).abs() < 5e-5);
/// ```
pub fn wilson(hits: u64, trials: u64, z: f64) -> [f64; 2] {
    if trials == 0 {
        return [0.0, 1.0];
    }
    let (k, n) = (hits.min(trials) as f64, trials as f64);
    let root = z * (k * (n - k) / n + z * z / 4.0).sqrt();
    let middle = k + z * z / 2.0;
    let low = if k == 0.0 { 0.0 } else { (middle - root) / (n + z * z) };
    let high = if k == n { 1.0 } else { (middle + root) / (n + z * z) };
    [low, high]
}
