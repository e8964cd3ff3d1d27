//! Analyses: where the network and the numerics meet.

pub mod curve;
pub mod findings;
pub mod hydraulics;
pub mod loss_path;
pub mod plate;
pub mod run;
pub mod size;
pub mod steady;
pub mod supply;
#[cfg(test)]
mod tests;
pub mod water;
