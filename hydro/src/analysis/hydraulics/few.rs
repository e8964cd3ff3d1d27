//! Heads of points and sums of flows at points, by bytes where there are few: no index is then ever out of bounds.

use super::points::Table;

/// Points that a byte tells apart.
pub(super) const FEW: usize = 256;

/// Heads of points, Pa, as drops are found from.
#[derive(Clone, Copy)]
pub(super) enum Heads<'h> {
    Few(&'h [f64; FEW]),
    Many(&'h [f64]),
}

impl<'h> Heads<'h> {
    /// Takes heads; of few in a room of theirs.
    #[inline(always)]
    pub(super) fn new(heads: &'h [f64], room: &'h mut [f64; FEW]) -> Self {
        match room.get_mut(..heads.len()) {
            Some(few) => {
                few.copy_from_slice(heads);
                Heads::Few(room)
            }
            None => Heads::Many(heads),
        }
    }

    /// Finds drops, Pa, of as many links.
    #[inline(always)]
    pub(super) fn find_drops(self, table: &Table, drops: &mut [f64]) {
        match self {
            Heads::Few(heads) => {
                for (drop, &[from, to]) in drops.iter_mut().zip(&table.few_ends) {
                    *drop = heads[from as usize] - heads[to as usize];
                }
            }
            Heads::Many(heads) => {
                for (drop, &[from, to]) in drops.iter_mut().zip(&table.ends) {
                    *drop = heads[from as usize] - heads[to as usize];
                }
            }
        }
    }
}

/// Sums of flows at the free points, with one behind them, as flows are taken off and added; of few points in a room of theirs.
pub(super) struct PointSums<'s> {
    sums: &'s mut [f64],
    room: &'s mut [f64; FEW],
}

impl<'s> PointSums<'s> {
    /// Begins at 0.
    #[inline(always)]
    pub(super) fn new(sums: &'s mut [f64], room: &'s mut [f64; FEW]) -> Self {
        match room.get_mut(..sums.len()) {
            Some(few) => few.fill(0.0),
            None => sums.fill(0.0),
        }
        PointSums { sums, room }
    }

    /// Takes flows of links off where they leave and adds them where they come to.
    #[inline(always)]
    pub(super) fn give(&mut self, table: &Table, flows: &[f64]) {
        let give = |sums: &mut [f64], [from, to]: [usize; 2], flow: f64| {
            sums[from] -= flow;
            sums[to] += flow;
        };
        if self.sums.len() <= FEW {
            for (&flow, ways) in flows.iter().zip(&table.few_ways) {
                give(self.room, ways.map(usize::from), flow);
            }
        } else {
            for (&flow, ways) in flows.iter().zip(&table.ways) {
                give(self.sums, ways.map(|way| way as usize), flow);
            }
        }
    }

    /// Ends with the sums.
    #[inline(always)]
    pub(super) fn end(self) -> &'s mut [f64] {
        if let Some(few) = self.room.get(..self.sums.len()) {
            self.sums.copy_from_slice(few);
        }
        self.sums
    }
}
