//! Reports: results as tables for people, as JSON and as CSV. No physics: a report only picks, converts and prints.

pub mod csv;
mod format;
pub mod json;
pub mod table;
pub mod text;

#[cfg(test)]
mod examples;
