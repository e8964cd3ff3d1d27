//! Water and pressurising gas.

pub mod gas;
pub(crate) mod logarithm;
pub mod site;
pub mod water;
