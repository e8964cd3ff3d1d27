//! Cells: the gap of a panel as a grid of cells, masked by its outline.
//!
//! A grid of `nx` by `ny` equal rectangles lies over the rectangle around the outline. What of a rectangle is inside
//! the outline is a cell: it has that part's area and centre, and of each of its sides the length inside. Neighbours
//! are joined where their common side has a length.

use super::outline::{self, Point};
use super::port::Port;
use super::rib::Rib;
use super::weave::{self, Weave};
use crate::few::Few;

/// Share of a whole cell below which a cell is left out; its area goes to the others.
const LEAST_AREA: f64 = 1e-6;

/// Share of a side below which it joins nothing.
const LEAST_SIDE: f64 = 1e-6;

/// Marks a place of the grid that holds no cell.
const NONE: u32 = u32::MAX;

/// Cells of one panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Cells {
    /// Places along x and y.
    pub lines: [u32; 2],
    /// Lower left corner of the grid.
    pub low: Point,
    /// Extent of a place along x and y, m.
    pub step: [f64; 2],
    /// The cells, row by row, along x first.
    pub cells: Few<Cell>,
    /// Cell at each place; empty where every place holds one.
    at: Vec<u32>,
    /// Lengths of the left and lower sides of each cell that it shares with a neighbour, m.
    sides: Vec<[f64; 2]>,
}

/// One cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Place in the grid: column + columns x row.
    pub place: u32,
    /// Centre of its area.
    pub center: Point,
    /// Area, m2.
    pub area: f64,
    /// Share of the panel's holes, 0 to 1; 1 together.
    pub holes: f64,
}

/// A side that two neighbouring cells have in common.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Face {
    /// Cells on either side: the left and the right, or the lower and the upper.
    pub cells: [u32; 2],
    /// 0: water passes along x; 1: along y.
    pub axis: usize,
    /// Length of the side, m.
    pub width: f64,
    /// Distance of the middles of the places, m.
    pub length: f64,
    /// What ribs between them lose on the velocity through the side.
    pub loss_coefficient: f64,
}

/// A part of a port that opens into one cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Opening {
    /// Cell.
    pub cell: u32,
    /// Share of the port, 0 to 1; 1 together.
    pub share: f64,
    /// At an edge, between the edge and the middle of the cell: width and length of the way, m.
    pub way: Option<[f64; 2]>,
}

impl Cells {
    /// One cell for the whole panel, of the area inside its outline, m2.
    pub fn lumped(points: &[Point], area: f64) -> Self {
        let [low, high] = outline::bounds(points);
        let cell = Cell { place: 0, center: outline::centroid(points), area, holes: 1.0 };
        Cells {
            lines: [1, 1],
            low,
            step: [high[0] - low[0], high[1] - low[1]],
            cells: Few::One([cell]),
            at: Vec::new(),
            sides: Vec::new(),
        }
    }

    /// The cells of an outline, counter-clockwise, on `lines` places along x and y.
    ///
    /// `density`: holes per area at a point, in any unit; its integral over each cell is taken as the value at the
    /// cell's centre times the area.
    pub fn new(points: &[Point], lines: [u32; 2], density: impl Fn(Point) -> f64) -> Self {
        let [low, high] = outline::bounds(points);
        let step = [(high[0] - low[0]) / f64::from(lines[0]), (high[1] - low[1]) / f64::from(lines[1])];
        let [nx, ny] = lines.map(|n| n as usize);
        let line = |axis: usize, k: usize, n: usize| {
            if k == n { high[axis] } else { low[axis] + step[axis] * k as f64 }
        };
        let mut cells: Vec<Cell> = Vec::with_capacity(nx * ny);
        let mut sides = Vec::with_capacity(nx * ny);
        let mut at = Vec::with_capacity(nx * ny);
        // Upper sides of the row below and the right side of the cell before.
        let mut upper = vec![0.0; nx];
        let (mut strip, mut rest, mut cut, mut cell) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        for j in 0..ny {
            outline::clip(points, 1, line(1, j, ny), true, &mut cut);
            outline::clip(&cut, 1, line(1, j + 1, ny), false, &mut strip);
            let mut right = 0.0;
            for (i, upper) in upper.iter_mut().enumerate() {
                let (x0, x1) = (line(0, i, nx), line(0, i + 1, nx));
                outline::clip(&strip, 0, x1, false, &mut cell);
                outline::clip(&strip, 0, x1, true, &mut rest);
                std::mem::swap(&mut strip, &mut rest);
                let area = outline::signed_area(&cell);
                let inside = area > LEAST_AREA * step[0] * step[1];
                let length = |axis: usize, at: f64| {
                    let long = side_length(&cell, axis, at, 1e-9 * step[axis]);
                    if inside && long > LEAST_SIDE * step[1 - axis] { long } else { 0.0 }
                };
                let left: f64 = length(0, x0);
                let lower: f64 = length(1, line(1, j, ny));
                if inside {
                    at.push(cells.len() as u32);
                    sides.push([left.min(right), lower.min(*upper)]);
                    let center = outline::centroid(&cell);
                    let holes = area * density(center);
                    cells.push(Cell { place: (i + nx * j) as u32, center, area, holes });
                } else {
                    at.push(NONE);
                }
                right = length(0, x1);
                *upper = length(1, line(1, j + 1, ny));
            }
        }
        let whole: f64 = cells.iter().map(|cell| cell.area).sum();
        let holes: f64 = cells.iter().map(|cell| cell.holes).sum();
        let grow = outline::area(points) / whole;
        for cell in &mut cells {
            cell.holes = if holes > 0.0 { cell.holes / holes } else { cell.area / whole };
            cell.area *= grow;
        }
        if cells.len() == nx * ny {
            at = Vec::new();
        }
        Cells { lines, low, step, cells: Few::Many(cells), at, sides }
    }

    /// The cell at a place.
    fn cell_at(&self, place: usize) -> Option<u32> {
        if self.at.is_empty() { Some(place as u32) } else { self.at.get(place).copied().filter(|&k| k != NONE) }
    }

    /// Middle of the place of a cell.
    pub fn middle(&self, cell: &Cell) -> Point {
        let (i, j) = (cell.place % self.lines[0], cell.place / self.lines[0]);
        [self.low[0] + self.step[0] * (f64::from(i) + 0.5), self.low[1] + self.step[1] * (f64::from(j) + 0.5)]
    }

    /// The sides that neighbours have in common and no rib closes, in the order of the cell behind them.
    pub fn faces<'a>(&'a self, ribs: &'a [Rib]) -> impl Iterator<Item = Face> + 'a {
        let before = [1, self.lines[0] as usize];
        self.cells.iter().zip(&self.sides).enumerate().flat_map(move |(k, (cell, sides))| {
            (0..2).filter(|&axis| sides[axis] > 0.0).filter_map(move |axis| {
                let other = self.cell_at((cell.place as usize).checked_sub(before[axis])?)?;
                let mut loss_coefficient = 0.0;
                if !ribs.is_empty() {
                    let (from, to) = (self.middle(&self.cells[other as usize]), self.middle(cell));
                    for rib in ribs {
                        loss_coefficient += rib.on_way(from, to)?;
                    }
                }
                let (width, length) = (sides[axis], self.step[axis]);
                Some(Face { cells: [other, k as u32], axis, width, length, loss_coefficient })
            })
        })
    }

    /// The blocks of 2 x 2 whole places, by the place at their lower left, between whose cells nothing stands in the way:
    /// no outline and no rib. Diagonal ducts cross in them.
    pub fn blocks(&self, ribs: &[Rib]) -> Vec<bool> {
        let [nx, ny] = self.lines.map(|n| n as usize);
        let mut blocks = vec![false; nx * ny];
        if nx < 2 || ny < 2 {
            return blocks;
        }
        let whole = |cell: u32, axis: usize| self.sides[cell as usize][axis] >= (1.0 - 1e-9) * self.step[1 - axis];
        for (k, cell) in self.cells.iter().enumerate() {
            let place = cell.place as usize;
            let (i, j) = (place % nx, place / nx);
            if i == 0 || j == 0 {
                continue;
            }
            let corners = [place - nx - 1, place - nx, place - 1].map(|place| self.cell_at(place));
            let [Some(first), Some(right), Some(upper)] = corners else { continue };
            let last = k as u32;
            if !(whole(last, 0) && whole(last, 1) && whole(right, 0) && whole(upper, 1)) {
                continue;
            }
            let ways = [[first, right], [first, upper], [right, last], [upper, last], [first, last], [right, upper]];
            blocks[place - nx - 1] = ribs.iter().all(|rib| {
                let free = |way: [u32; 2]| {
                    let [from, to] = way.map(|cell| self.middle(&self.cells[cell as usize]));
                    rib.on_way(from, to) == Some(0.0)
                };
                ways.into_iter().all(free)
            });
        }
        blocks
    }

    /// Width and length, m, of the duct through a side: on each half of it that adjoins a block, the straight one of the
    /// weave; on the others, at an edge or a rib, all of the half.
    pub fn straight(&self, face: &Face, blocks: &[bool], weave: &Weave) -> (f64, f64) {
        let nx = self.lines[0] as usize;
        let place = self.cells[face.cells[1] as usize].place as usize;
        let behind = [1, nx][face.axis];
        let beside = place.checked_sub(1 + nx).is_some_and(|place| blocks[place]);
        let adjoining = [beside, blocks[place - behind]].into_iter().filter(|&open| open).count() as f64;
        if adjoining == 0.0 {
            return (face.width, face.length);
        }
        let share = weave.straight[face.axis].map(|share| 1.0 - 0.5 * adjoining * (1.0 - share));
        let (width, length) = weave::duct(share);
        (width * face.width, length * face.length)
    }

    /// The cells at both ends of each diagonal duct of the blocks.
    pub fn diagonals<'a>(&'a self, blocks: &'a [bool]) -> impl Iterator<Item = [u32; 2]> + 'a {
        let nx = self.lines[0] as usize;
        let open = blocks.iter().enumerate().filter(|(_, open)| **open);
        open.flat_map(move |(place, _)| {
            let pairs = [[place, place + nx + 1], [place + 1, place + nx]];
            pairs.into_iter().filter_map(move |[a, b]| Some([self.cell_at(a)?, self.cell_at(b)?]))
        })
    }

    /// Width and length of a diagonal duct, m.
    pub fn diagonal(&self, weave: &Weave) -> (f64, f64) {
        let [dx, dy] = self.step;
        let (width, length) = weave::duct(weave.diagonal);
        (width * (dx * dy).sqrt(), length * dx.hypot(dy))
    }

    /// The cells into which equal ports open, port by port.
    pub fn openings(&self, ports: &[Port]) -> Vec<Opening> {
        let mut found: Vec<Opening> = Vec::new();
        let weight = 1.0 / ports.len() as f64;
        for port in ports {
            match *port {
                Port::Edge { from, to, inward } => self.along(from, to, inward, weight, &mut found),
                Port::Inside { low, high } => self.under(low, high, weight, &mut found),
            }
        }
        found
    }

    /// Openings of a piece of edge: cut at the lines of the grid.
    fn along(&self, from: Point, to: Point, inward: Point, weight: f64, found: &mut Vec<Opening>) {
        let mut cuts = vec![0.0, 1.0];
        for axis in 0..2 {
            let place = |p: Point| (p[axis] - self.low[axis]) / self.step[axis];
            let (a, b) = (place(from), place(to));
            let last = f64::from(self.lines[axis]);
            let (low, high) = (a.min(b).ceil().max(0.0), a.max(b).floor().min(last));
            let mut k = low;
            while k <= high && (b - a).abs() > 1e-9 {
                cuts.push(((k - a) / (b - a)).clamp(0.0, 1.0));
                k += 1.0;
            }
        }
        cuts.sort_by(f64::total_cmp);
        let nudge = 1e-6 * self.step[0].min(self.step[1]);
        for pair in cuts.windows(2) {
            let share = pair[1] - pair[0];
            if share <= 0.0 {
                continue;
            }
            let t = 0.5 * (pair[0] + pair[1]);
            let p = [0, 1].map(|k| from[k] + t * (to[k] - from[k]) + nudge * inward[k]);
            let Some(cell) = self.nearest(p) else { continue };
            let middle = self.middle(&self.cells[cell as usize]);
            // Across the cell, along the edge: what of the edge's direction fits into a place.
            let across = [0, 1]
                .map(|k| if inward[1 - k].abs() > 1e-9 { self.step[k] / inward[1 - k].abs() } else { f64::INFINITY });
            let width = across[0].min(across[1]);
            let depth = (middle[0] - p[0]) * inward[0] + (middle[1] - p[1]) * inward[1];
            let way = [width, depth.max(0.1 * self.step[0].min(self.step[1]))];
            match found.last_mut() {
                Some(last) if last.cell == cell => last.share += weight * share,
                _ => found.push(Opening { cell, share: weight * share, way: Some(way) }),
            }
        }
    }

    /// Openings of a rectangle: cells by the area that lies over them.
    fn under(&self, low: Point, high: Point, weight: f64, found: &mut Vec<Opening>) {
        let range = |axis: usize| {
            let place = |x: f64| ((x - self.low[axis]) / self.step[axis]).clamp(0.0, f64::from(self.lines[axis]));
            (place(low[axis]), place(high[axis]))
        };
        let ((x0, x1), (y0, y1)) = (range(0), range(1));
        let start = found.len();
        for j in y0.floor() as usize..(y1.ceil() as usize).min(self.lines[1] as usize) {
            for i in x0.floor() as usize..(x1.ceil() as usize).min(self.lines[0] as usize) {
                let (x, y) = (i as f64, j as f64);
                let share = (x1.min(x + 1.0) - x0.max(x)) * (y1.min(y + 1.0) - y0.max(y));
                if let Some(cell) = self.cell_at(i + self.lines[0] as usize * j)
                    && share > 0.0
                {
                    found.push(Opening { cell, share, way: None });
                }
            }
        }
        if found.len() == start
            && let Some(cell) = self.nearest([0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1])])
        {
            found.push(Opening { cell, share: 1.0, way: None });
        }
        let whole: f64 = found[start..].iter().map(|opening| opening.share).sum();
        for opening in &mut found[start..] {
            opening.share *= weight / whole;
        }
    }

    /// The cell at a point, or the nearest one where its place holds none.
    fn nearest(&self, p: Point) -> Option<u32> {
        let place = |axis: usize| {
            let at = ((p[axis] - self.low[axis]) / self.step[axis]).floor().max(0.0) as u32;
            at.min(self.lines[axis] - 1) as usize
        };
        if let Some(cell) = self.cell_at(place(0) + self.lines[0] as usize * place(1)) {
            return Some(cell);
        }
        let far = |cell: &Cell| (cell.center[0] - p[0]).hypot(cell.center[1] - p[1]);
        let nearest = self.cells.iter().enumerate().min_by(|(_, a), (_, b)| far(a).total_cmp(&far(b)));
        nearest.map(|(k, _)| k as u32)
    }
}

/// Signed length of the edges of a counter-clockwise polygon along a line `axis = at` of its boundary: those of a part
/// that is cut off by the line, run both ways, cancel.
fn side_length(points: &[Point], axis: usize, at: f64, near: f64) -> f64 {
    let on = |p: Point| (p[axis] - at).abs() <= near;
    let along = outline::edges(points).filter(|(a, b)| on(*a) && on(*b)).map(|(a, b)| b[1 - axis] - a[1 - axis]);
    along.sum::<f64>().abs()
}

#[cfg(test)]
mod tests {
    use super::*;

    const EVEN: fn(Point) -> f64 = |_| 1.0;

    #[test]
    fn a_rectangle_is_cut_into_equal_cells() {
        let square = [[1.0, 2.0], [4.0, 2.0], [4.0, 4.0], [1.0, 4.0]];
        let cells = Cells::new(&square, [3, 4], EVEN);
        assert_eq!(cells.cells.len(), 12);
        assert!(cells.cells.iter().all(|c| (c.area - 0.5).abs() < 1e-15 && (c.holes - 1.0 / 12.0).abs() < 1e-15));
        let faces: Vec<Face> = cells.faces(&[]).collect();
        assert_eq!(faces.len(), 2 * 4 + 3 * 3);
        let lengths =
            |f: &Face| if f.axis == 0 { (f.width, f.length) == (0.5, 1.0) } else { (f.width, f.length) == (1.0, 0.5) };
        assert!(faces.iter().all(lengths), "{faces:?}");
        assert_eq!(cells.cells[5].center, [3.5, 2.75]);
    }

    /// Any outline: the areas add up, every cell is joined to the others, and the wet sides of a column add up to the
    /// height of the outline there.
    #[test]
    fn outlines_are_covered() {
        let ring: Vec<Point> = (0..=8)
            .map(|k| (2.0, f64::from(k)))
            .chain((0..=8).rev().map(|k| (1.0, f64::from(k))))
            .map(|(r, k)| [r * (k / 8.0).cos(), r * (k / 8.0).sin()])
            .collect();
        let shapes: [&[Point]; 4] = [
            &[[0.0, 0.0], [3.0, 0.0], [1.0, 2.0]],
            &[[0.0, 0.0], [3.0, 0.0], [2.0, 1.0], [1.0, 1.0]],
            &[[1.0, 0.0], [0.5, 0.8660254], [-0.5, 0.8660254], [-1.0, 0.0], [-0.5, -0.8660254], [0.5, -0.8660254]],
            &ring,
        ];
        for shape in shapes {
            for lines in [[1, 7], [4, 4], [13, 9]] {
                let cells = Cells::new(shape, lines, EVEN);
                let area: f64 = cells.cells.iter().map(|c| c.area).sum();
                assert!((area / outline::area(shape) - 1.0).abs() < 1e-12, "{shape:?} {lines:?}");
                let mut joined = vec![false; cells.cells.len()];
                joined[0] = true;
                for _ in 0..joined.len() {
                    for face in cells.faces(&[]) {
                        let [a, b] = face.cells.map(|k| k as usize);
                        let any = joined[a] || joined[b];
                        (joined[a], joined[b]) = (any, any);
                    }
                }
                assert!(joined.iter().all(|&j| j), "{shape:?} {lines:?}");
            }
        }
        // The trapezoid, 1 high in the middle, its x sides there.
        let cells = Cells::new(shapes[1], [6, 5], EVEN);
        let inner: f64 = cells
            .faces(&[])
            .filter(|f| f.axis == 0 && cells.cells[f.cells[1] as usize].place % 6 == 3)
            .map(|f| f.width)
            .sum();
        assert!((inner - 1.0).abs() < 1e-12, "{inner}");
    }

    #[test]
    fn ports_open_into_the_cells_behind_them() {
        let square = [[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]];
        let cells = Cells::new(&square, [4, 4], EVEN);
        let port = Port::Edge { from: [0.5, 0.0], to: [2.5, 0.0], inward: [0.0, 1.0] };
        let found = cells.openings(&[port]);
        let wanted = [(0, 0.25), (1, 0.5), (2, 0.25)];
        assert_eq!(found.iter().map(|o| (o.cell, o.share)).collect::<Vec<_>>(), wanted);
        let [width, length] = found[0].way.unwrap();
        assert!((width - 1.0).abs() < 1e-12 && (length - 0.5).abs() < 1e-5);
        let inner = cells.openings(&[Port::Inside { low: [0.5, 0.5], high: [1.5, 1.5] }]);
        assert_eq!(
            inner.iter().map(|o| (o.cell, o.share)).collect::<Vec<_>>(),
            [(0, 0.25), (1, 0.25), (4, 0.25), (5, 0.25)]
        );
        assert_eq!(cells.openings(&[port, port]).iter().map(|o| o.share).sum::<f64>(), 1.0);
    }
}
