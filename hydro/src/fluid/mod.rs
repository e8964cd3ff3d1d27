//! Water and pressurising gas.

pub mod gas;
pub mod site;
