//! Water and pressurising gas.

pub mod gas;
pub mod site;
pub mod water;
