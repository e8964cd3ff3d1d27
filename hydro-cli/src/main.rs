//! Command line of `hydro`.
fn main() {}
