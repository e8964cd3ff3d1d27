//! The block `spread`: which quantities of the file are uncertain, how much, and which depend on each other.

mod read;

use super::vary::Place;
use crate::units::Dimension;

pub(super) use read::read;

/// What `hydro spread` draws.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// Runs with drawn quantities.
    pub samples: u32,
    /// Seed.
    pub seed: u32,
    /// Whether samples are points of a Sobol' sequence; otherwise of a Latin hypercube.
    pub sobol: bool,
    /// Rows of the design for variance-based indices.
    pub index_rows: u32,
    /// Quantities.
    pub quantities: Vec<Quantity>,
    /// Quantities that depend on each other: indices into `quantities`, and the matrix of their coefficients.
    pub correlated: Vec<(Vec<usize>, Vec<Vec<f64>>)>,
}

/// One uncertain quantity: a variable with a distribution, and the places of the file that follow it.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantity {
    /// Name.
    pub name: String,
    /// The distribution in words, with its values as written.
    pub words: String,
    /// Form of the distribution of the variable.
    pub form: Form,
    /// Least and greatest value of the variable.
    pub bounds: [f64; 2],
    /// What the variable is.
    pub variable: Variable,
    /// Places that follow it.
    pub places: Vec<Place>,
}

/// Form of a distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Form {
    /// Mean and standard deviation.
    Normal(f64, f64),
    /// Median and standard deviation of the logarithm.
    Lognormal(f64, f64),
    /// Least and greatest.
    Uniform(f64, f64),
    /// Least, likeliest and greatest.
    Triangular(f64, f64, f64),
}

/// What the variable of a quantity is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Variable {
    /// The value itself, SI.
    Value(Dimension),
    /// What is added to several values, SI.
    Shift(Dimension),
    /// What several numbers as written are multiplied by.
    Factor,
}
