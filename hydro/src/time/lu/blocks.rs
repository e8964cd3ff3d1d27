//! Strongly connected parts of the graph in which a column of a matrix leads to its rows.
//!
//! Source: R. Tarjan, SIAM J. Comput. 1 (1972) 146.

/// Rows of the numbers of a matrix that are not zero, column after column.
#[derive(Debug)]
pub(super) struct Columns {
    pub rows: Vec<u32>,
    /// End of each column.
    pub ends: Vec<usize>,
}

impl Columns {
    /// None yet, with room for those of an `n` by `n` matrix.
    pub fn with_capacity(n: usize) -> Self {
        Columns { rows: Vec::with_capacity(n * n), ends: Vec::with_capacity(n) }
    }

    /// Rows of a column.
    pub fn of(&self, node: u32) -> &[u32] {
        &self.rows[self.start(node as usize)..self.ends[node as usize]]
    }

    fn start(&self, node: usize) -> usize {
        node.checked_sub(1).map_or(0, |before| self.ends[before])
    }
}

/// The parts one after the other, each behind those that it leads to, and where each ends.
pub(super) fn parts(columns: &Columns) -> (Vec<u32>, Vec<usize>) {
    const DONE: usize = usize::MAX;
    let n = columns.ends.len();
    // Order in which the nodes were come to, from 1, and the first one that each is shown to be joined with.
    let (mut number, mut low, mut seen) = (vec![0; n], vec![0; n], 0);
    // Nodes not yet in a part, and those on the way from the root with the place of the next row to look at.
    let (mut open, mut way) = (Vec::with_capacity(n), Vec::with_capacity(n));
    let (mut nodes, mut ends) = (Vec::with_capacity(n), Vec::with_capacity(n));
    for root in 0..n {
        if number[root] == 0 {
            way.push((root, columns.start(root)));
        }
        while let Some((node, next)) = way.last_mut() {
            let node = *node;
            if number[node] == 0 {
                seen += 1;
                (number[node], low[node]) = (seen, seen);
                open.push(node as u32);
            }
            let mut come = None;
            for &row in &columns.rows[*next..columns.ends[node]] {
                *next += 1;
                let row = row as usize;
                if number[row] == 0 {
                    come = Some((row, columns.start(row)));
                    break;
                }
                low[node] = low[node].min(number[row]);
            }
            if come.is_some() {
                way.extend(come);
                continue;
            }
            way.pop();
            if let Some(&(before, _)) = way.last() {
                low[before] = low[before].min(low[node]);
            }
            if low[node] == number[node] {
                while let Some(other) = open.pop() {
                    number[other as usize] = DONE;
                    nodes.push(other);
                    if other as usize == node {
                        break;
                    }
                }
                ends.push(nodes.len());
            }
        }
    }
    (nodes, ends)
}
