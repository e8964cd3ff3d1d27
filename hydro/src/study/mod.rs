//! Studies: many variants of one file, computed in parallel and put together.
//!
//! [`variants::evaluate`] is the frame: it computes variants on any number of threads and hands their results over one
//! by one in their order, so that memory does not grow with their number and the outcome does not depend on the
//! threads. [`log`] keeps what is finished, [`ordered`] is the loop itself. [`faults`] looks at failures, [`sizing`] for what meets a requirement; [`verdict`]
//! is what it keeps of a run.

pub mod faults;
pub mod fit;
pub mod log;
pub mod ordered;
pub mod sizing;
pub mod spread;
#[cfg(test)]
mod tests;
pub mod variants;
pub mod verdict;
