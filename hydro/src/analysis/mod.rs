//! Analyses: where the network and the numerics meet.

pub mod columns;
pub mod curve;
pub mod evenness;
pub mod findings;
pub mod hydraulics;
pub mod links;
pub mod loss_path;
pub mod panels;
pub mod plate;
mod plate_findings;
pub mod run;
pub mod size;
pub mod steady;
pub mod supply;
#[cfg(test)]
mod tests;
pub mod water;
pub mod ways_out;
