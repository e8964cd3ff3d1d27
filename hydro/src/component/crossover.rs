//! Crossover: equal ports that join two panels.

/// Ports in parallel; the loss coefficient is on one port's own velocity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossover {
    /// Number of equal ports.
    pub ports: u32,
    /// Bore of one port, m.
    pub bore: f64,
    /// Loss coefficient of one port.
    pub loss_coefficient: f64,
}
