//! Water supply of a perforated, water-cooled plate under an engine or launch stand.
//!
//! `hydro` reads one YAML network file and computes the steady flow through every panel, the emptying of the
//! gas-pressurised tanks over time and the size of the supply. It never prints, never reads the clock and never
//! exits; all numbers inside are SI `f64`, pressures absolute.
//!
//! The rooms and what each may import are in `docs/architecture.md`; a test holds the line.

pub mod analysis;
pub mod component;
pub mod few;
pub mod finding;
pub mod fluid;
pub mod input;
pub mod linear;
pub mod name;
pub mod network;
pub mod nonlinear;
pub mod report;
pub mod result;
pub mod statistics;
pub mod study;
pub mod time;
pub mod units;
