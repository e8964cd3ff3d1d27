//! Which run of a spread has which values.

use crate::input::spread::{Form, Quantity, Spread};
use crate::statistics::copula::Copula;
use crate::statistics::distribution::{Distribution, Shape};
use crate::statistics::sampling::{Design, Sampling};

/// Draws are kept apart from those of the design for indices.
const SAMPLES: u64 = 1;
const ROWS: u64 = 2;

/// The runs of a spread, each found from its number: first the samples, then row by row the design for indices (the
/// point A, the point B, and for each driver A with that driver of B).
#[derive(Debug, Clone)]
pub struct Plan {
    spread: Spread,
    distributions: Vec<Distribution>,
    copulas: Vec<(Vec<usize>, Copula)>,
    drivers: Vec<(String, Vec<usize>)>,
    samples: Design,
    rows: Design,
}

impl Plan {
    /// The plan of a block `spread`.
    pub fn new(spread: Spread) -> Plan {
        let shape = |form: Form| match form {
            Form::Normal(mean, deviation) => Shape::Normal { mean, deviation },
            Form::Lognormal(median, log_deviation) => Shape::Lognormal { median, log_deviation },
            Form::Uniform(low, high) => Shape::Uniform { low, high },
            Form::Triangular(low, mode, high) => Shape::Triangular { low, mode, high },
        };
        let distribution = |q: &Quantity| {
            let [low, high] = q.bounds;
            Distribution { shape: shape(q.form), low, high }
        };
        let distributions: Vec<Distribution> = spread.quantities.iter().map(distribution).collect();
        // The reader has seen that each matrix has a factor.
        let copula =
            |(members, matrix): &(Vec<usize>, Vec<Vec<f64>>)| Some((members.clone(), Copula::new(matrix).ok()?));
        let copulas: Vec<(Vec<usize>, Copula)> = spread.correlated.iter().filter_map(copula).collect();
        let count = distributions.len();
        let mut drivers: Vec<(String, Vec<usize>)> = Vec::new();
        for k in 0..count {
            let group = copulas.iter().find(|(members, _)| members.contains(&k));
            match group {
                None => drivers.push((spread.quantities[k].name.clone(), vec![k])),
                Some((members, _)) if members.iter().min() == Some(&k) => {
                    let names: Vec<&str> = members.iter().map(|&m| spread.quantities[m].name.as_str()).collect();
                    drivers.push((names.join(" + "), members.clone()));
                }
                Some(_) => {}
            }
        }
        let seed = u64::from(spread.seed);
        let sampling = if spread.sobol { Sampling::Sobol } else { Sampling::LatinHypercube };
        let samples = Design::new(sampling, seed, SAMPLES, u64::from(spread.samples), count);
        let rows = Design::new(Sampling::Sobol, seed, ROWS, u64::from(spread.index_rows), 2 * count);
        Plan { spread, distributions, copulas, drivers, samples, rows }
    }

    /// What the file says.
    pub fn spread(&self) -> &Spread {
        &self.spread
    }

    /// Samples.
    pub fn samples(&self) -> u64 {
        u64::from(self.spread.samples)
    }

    /// Rows of the design for indices.
    pub fn rows(&self) -> u64 {
        u64::from(self.spread.index_rows)
    }

    /// Drivers: quantities that depend on each other count as one. Name, and indices of its quantities.
    pub fn drivers(&self) -> &[(String, Vec<usize>)] {
        &self.drivers
    }

    /// Runs of a row.
    pub fn points(&self) -> u64 {
        self.drivers.len() as u64 + 2
    }

    /// Runs in all.
    pub fn runs(&self) -> u64 {
        self.samples() + self.rows() * self.points()
    }

    /// Probabilities at which the quantities of a run are drawn, each in its own distribution.
    pub fn probabilities(&self, number: u64) -> Vec<f64> {
        let mut drawn = match number.checked_sub(self.samples()) {
            None => self.samples.point(number),
            Some(beyond) => {
                let (row, point) = (beyond / self.points(), beyond % self.points());
                let both = self.rows.point(row);
                let (a, b) = both.split_at(self.distributions.len());
                match point {
                    0 => a.to_vec(),
                    1 => b.to_vec(),
                    _ => {
                        let mut mixed = a.to_vec();
                        let driver = usize::try_from(point - 2).ok().and_then(|d| self.drivers.get(d));
                        for &k in driver.iter().flat_map(|(_, members)| members) {
                            mixed[k] = b[k];
                        }
                        mixed
                    }
                }
            }
        };
        for (members, copula) in &self.copulas {
            let mut some: Vec<f64> = members.iter().map(|&k| drawn[k]).collect();
            copula.apply(&mut some);
            members.iter().zip(some).for_each(|(&k, u)| drawn[k] = u);
        }
        drawn
    }

    /// Values of the quantities of a run: SI, or the factor or shift of several.
    pub fn values(&self, number: u64) -> Vec<f64> {
        self.probabilities(number).iter().zip(&self.distributions).map(|(&u, d)| d.quantile(u)).collect()
    }

    /// Options of a run, `PATH=VALUE`: with them every command computes the same supply.
    pub fn options(&self, number: u64) -> Vec<String> {
        let values = self.values(number);
        let each = self.spread.quantities.iter().zip(values);
        each.flat_map(|(quantity, x)| quantity.places.iter().map(move |place| place.option(x))).collect()
    }

    /// Quantities that their range cuts to less than nine tenths: name and share that is left.
    pub fn much_cut(&self) -> impl Iterator<Item = (&str, f64)> {
        let each = self.spread.quantities.iter().zip(&self.distributions);
        each.map(|(quantity, d)| (quantity.name.as_str(), d.kept())).filter(|(_, kept)| *kept < 0.9)
    }

    /// Quantities of which nothing is left within their range.
    pub fn nothing_left(&self) -> Option<&str> {
        let each = self.spread.quantities.iter().zip(&self.distributions);
        each.filter(|(_, d)| d.kept() < 1e-9).map(|(quantity, _)| quantity.name.as_str()).next()
    }
}
