//! Components: one file a kind, with its law, derivatives, units, range and source.

pub mod air_outlet;
pub mod breakthrough;
pub mod cells;
pub mod control;
pub mod cooling;
pub mod crossover;
pub mod density;
pub mod dual;
pub mod fitting;
pub mod friction;
pub mod gas_outlet;
pub mod gas_valve;
pub mod gas_vessel;
pub mod gas_wall;
pub mod header;
pub mod hole;
pub mod law;
pub mod load;
pub mod outline;
pub mod panel;
pub mod pipe;
pub mod port;
pub mod rib;
pub mod schedule;
pub mod tank;
pub mod tee;
pub mod valve;
pub mod vapour;
pub mod weave;
pub mod weir_pipe;

/// Whether a water item is full of water or dry when the run starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Fill {
    /// Full of water.
    #[default]
    Full,
    /// Full of air.
    Dry,
}
