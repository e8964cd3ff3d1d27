//! Water and pressurising gas.

pub mod gas;
