//! Statistics without physics: distributions, sampling, and sums that join exactly.
//!
//! Whatever accumulates here is a count or a sum of whole numbers, so that its content depends neither on the order of
//! the samples nor on how they were shared out: [`sum`], [`histogram`], [`variance`]. [`least_squares`] fits.

pub mod copula;
pub mod distribution;
pub mod histogram;
pub mod interval;
pub mod least_squares;
pub mod sampling;
pub mod sum;
pub mod variance;
