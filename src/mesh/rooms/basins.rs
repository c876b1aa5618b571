//! Which parts of the space hang together only through a narrow place.
//!
//! Cells are joined in order of falling passage, as land rises out of a sea
//! that sinks. Where two parts meet that both have room for a much larger ball
//! than passes between them, the tree of joins is cut; hung up by the outside
//! it then shows what lies behind what. Corners, which come last, hang on
//! whatever they adjoin.

use rayon::prelude::*;

use super::super::Corner;
use super::super::space::{length, less, plus, times, unit};
use super::cells::{Cells, lens};
use super::surface::Surface;
use super::throat::{climb, summit};

/// A part of the space between cuts.
#[derive(Debug)]
pub(super) struct Basin {
    /// What it opens into; none of the outside.
    pub(super) before: Option<usize>,
    /// The cells on its side and the other side of its opening.
    pub(super) opening: [u32; 2],
    /// The cell with the largest ball, on the side of the cut where it is the
    /// smaller.
    pub(super) widest: u32,
    /// The radius of the ball that passes at least, in mm; 0 where no way in was
    /// found, and where the opening is is not known.
    pub(super) passes: f64,
}

impl Basin {
    fn behind(before: Option<usize>, opening: [u32; 2], widest: u32, passes: f64) -> Self {
        Self {
            before,
            opening,
            widest,
            passes,
        }
    }
}

/// The basins, the outside first, each after the one it opens into.
#[derive(Debug)]
pub(super) struct Basins {
    pub(super) list: Vec<Basin>,
    /// Which basin a cell is in; [`NOWHERE`] out of reach from the outside.
    of: Vec<u32>,
    /// The next cell on the widest way to the outside; itself at the end.
    outwards: Vec<u32>,
    /// The next cell on the way to the largest ball behind; itself at the end.
    inwards: Vec<u32>,
    /// The radius of that ball in mm.
    behind: Vec<f32>,
}

const NOWHERE: u32 = u32::MAX;

#[derive(Debug, Clone, Copy)]
struct Join {
    cells: [u32; 2],
    cut: Option<Cut>,
}

/// A narrow place.
#[derive(Debug, Clone, Copy)]
struct Cut {
    /// The widest cell of the smaller part.
    widest: u32,
    passes: f64,
}

impl Basins {
    /// Open spaces with a ball of radius `counts` or more that no way leads to
    /// are basins too. `is_narrow` tells, of the radius that passes between two parts and that
    /// of the largest ball of the smaller one, whether to part them.
    pub(super) fn of(
        cells: &Cells,
        surface: &Surface,
        counts: f64,
        is_narrow: impl Fn(f64, f64) -> bool,
    ) -> Self {
        let joins = tree(cells, |[a, b], passes, room| {
            let seems = is_narrow(passes, room);
            let passes = seems.then(|| straight(cells, surface, a, b).max(passes))?;
            let narrow = is_narrow(passes, room).then_some(passes)?;
            is_narrow(drawn(cells, surface, a, b).max(narrow), room).then_some(narrow)
        });
        let mut basins = Self::closed(cells);
        let beside = Beside::of(cells.all.len(), &joins);
        let Some(&outside) = joins.first().map(|join| &join.cells[0]) else {
            return basins;
        };
        basins
            .list
            .push(Basin::behind(None, [outside; 2], outside, f64::INFINITY));
        basins.hang(&joins, &beside, outside, 0);
        for cell in widest_first(cells, counts) {
            let clearance = cells.clearance(cell as usize);
            let is_new = basins.of[cell as usize] == NOWHERE;
            if is_new && surface.is_open(cells.middle(cell as usize), clearance) {
                let next_to = basins.basin_beside(cells, surface, cell, counts);
                let basin = next_to.unwrap_or_else(|| basins.basin_above(cells, surface, cell));
                basins.hang(&joins, &beside, cell, basin);
            }
        }
        basins
    }

    fn closed(cells: &Cells) -> Self {
        let count = cells.all.len();
        Self {
            list: Vec::new(),
            of: vec![NOWHERE; count],
            outwards: vec![NOWHERE; count],
            inwards: (0..count as u32).collect(),
            behind: cells.all.iter().map(|cell| cell.clearance).collect(),
        }
    }

    /// The basin of a cell beside one out of reach, if a ball of this radius
    /// passes straight to it: the balls of large cells in a slit need not meet.
    fn basin_beside(
        &self,
        cells: &Cells,
        surface: &Surface,
        cell: u32,
        passes: f64,
    ) -> Option<usize> {
        cells.beside(cell as usize).find_map(|other| {
            let basin = self.at(other)?;
            (straight(cells, surface, cell, other as u32) >= passes).then_some(basin)
        })
    }

    /// The basin that a cell out of reach is in all the same, because uphill
    /// from it is one; or a new one.
    fn basin_above(&mut self, cells: &Cells, surface: &Surface, cell: u32) -> usize {
        let start = (cells.middle(cell as usize), cells.clearance(cell as usize));
        let (top, room) = summit(surface, start);
        let Some(above) = cells.at(top) else {
            return 0;
        };
        let apart = length(less(cells.middle(above), top));
        let hangs = lens(apart, room, cells.clearance(above)).is_some();
        self.at(above).filter(|_| hangs).unwrap_or_else(|| {
            self.list.push(Basin::behind(Some(0), [cell; 2], cell, 0.0));
            self.list.len() - 1
        })
    }

    /// Hangs a tree of joins up by a cell of this basin, and parts it at the
    /// cuts.
    fn hang(&mut self, joins: &[Join], beside: &Beside, root: u32, basin: usize) {
        self.of[root as usize] = basin as u32;
        self.outwards[root as usize] = root;
        let mut reached = vec![root];
        let mut done = 0;
        while let Some(&cell) = reached.get(done) {
            done += 1;
            for &join in beside.joins(cell) {
                let join = &joins[join as usize];
                let [a, b] = join.cells;
                let other = if a == cell { b } else { a };
                if self.of[other as usize] == NOWHERE {
                    self.of[other as usize] = self.basin_across(join, [other, cell]);
                    self.outwards[other as usize] = cell;
                    reached.push(other);
                }
            }
        }
        self.point_inwards(&reached);
    }

    /// The basin of the first of two cells: a new one across a cut.
    fn basin_across(&mut self, join: &Join, [inner, outer]: [u32; 2]) -> u32 {
        let here = self.of[outer as usize];
        let Some(Cut { widest, passes }) = join.cut else {
            return here;
        };
        self.list.push(Basin::behind(
            Some(here as usize),
            [inner, outer],
            widest,
            passes,
        ));
        self.list.len() as u32 - 1
    }

    /// `reached` has every cell after the one further out.
    fn point_inwards(&mut self, reached: &[u32]) {
        for &cell in reached.iter().rev() {
            let out = self.outwards[cell as usize] as usize;
            if out != cell as usize && self.behind[cell as usize] > self.behind[out] {
                self.behind[out] = self.behind[cell as usize];
                self.inwards[out] = cell;
            }
        }
    }

    /// Whether a cell is in this basin or in one behind it.
    pub(super) fn is_behind(&self, basin: usize, cell: usize) -> bool {
        let before = |&at: &usize| self.list[at].before;
        std::iter::successors(self.at(cell), before).any(|at| at == basin)
    }

    pub(super) fn at(&self, cell: usize) -> Option<usize> {
        let basin = self.of[cell];
        (basin != NOWHERE).then_some(basin as usize)
    }

    /// Neighbours in different basins, the widest ways first.
    pub(super) fn borders(&self, cells: &Cells) -> Vec<[u32; 2]> {
        let whole = (0..cells.all.len()).into_par_iter();
        let whole = whole.filter(|&cell| cells.is_whole(cell));
        let mut borders: Vec<(u32, [u32; 2])> = whole
            .flat_map_iter(|cell| {
                let parted = move |other: &usize| match (self.at(cell), self.at(*other)) {
                    (Some(here), Some(there)) => here != there,
                    _ => false,
                };
                cells
                    .neighbours(cell)
                    .filter(parted)
                    .filter_map(move |other| {
                        let passes = cells.passage(cell, other)?;
                        Some((!passes.to_bits(), [cell as u32, other as u32]))
                    })
            })
            .collect();
        borders.par_sort_unstable();
        borders.into_iter().map(|border| border.1).collect()
    }

    /// The cells on the widest way outwards, from this one on.
    pub(super) fn way_out(&self, from: u32) -> impl Iterator<Item = u32> {
        follow(&self.outwards, from)
    }

    /// The cells on the way to the largest ball behind this one, which is first.
    pub(super) fn way_in(&self, from: u32) -> impl Iterator<Item = u32> {
        follow(&self.inwards, from)
    }
}

fn follow(next: &[u32], from: u32) -> impl Iterator<Item = u32> {
    std::iter::successors(Some(from), |&cell| {
        Some(next[cell as usize]).filter(|&next| next != cell)
    })
}

/// The joins of the widest spanning tree, those of the outside first.
fn tree(cells: &Cells, narrow: impl Fn([u32; 2], f64, f64) -> Option<f64>) -> Vec<Join> {
    let whole = (0..cells.all.len()).into_par_iter();
    let whole = whole.filter(|&cell| cells.is_whole(cell));
    let mut ways: Vec<(u32, u32, u32)> = whole
        .flat_map_iter(|cell| {
            cells.neighbours(cell).filter_map(move |other| {
                let passes = cells.passage(cell, other)?;
                // Of positive numbers the bits are in the order of the numbers.
                Some((!passes.to_bits(), cell as u32, other as u32))
            })
        })
        .collect();
    ways.par_sort_unstable();
    let mut parts = Parts::of(cells);
    let outside: Vec<u32> = (0..cells.all.len())
        .filter(|&cell| cells.is_whole(cell) && cells.is_outside(cell))
        .map(|cell| cell as u32)
        .collect();
    let mut joins = Vec::new();
    for pair in outside.windows(2) {
        parts.join(pair[0], pair[1]);
        let cells = [pair[0], pair[1]];
        joins.push(Join { cells, cut: None });
    }
    for (bits, a, b) in ways {
        let passes = f32::from_bits(!bits);
        let Some((room, widest)) = parts.join(a, b) else {
            continue;
        };
        let narrow = narrow([a, b], f64::from(passes), f64::from(room));
        joins.push(Join {
            cells: [a, b],
            cut: narrow.map(|passes| Cut { widest, passes }),
        });
    }
    joins
}

/// The radius of the ball that passes from the middle of one cell straight to
/// that of another. Next to a wall it is wider than where their balls meet.
fn straight(cells: &Cells, surface: &Surface, a: u32, b: u32) -> f64 {
    let beads = [0.0, 0.25, 0.5, 0.75, 1.0];
    passes(&beads.map(|share| bead(cells, surface, [a, b], share)))
}

/// The same, once the way is drawn to where across it there is more room: a
/// slit that runs askew to the cells seems narrower than it is.
fn drawn(cells: &Cells, surface: &Surface, a: u32, b: u32) -> f64 {
    let [from, to] = [a, b].map(|cell| cells.middle(cell as usize));
    let step = cells.side_of(a as usize).min(cells.side_of(b as usize)) / 2.0;
    let along = Some(unit(less(to, from)));
    let halfway = bead(cells, surface, [a, b], 0.5);
    climb(surface, halfway, step, along).1 * LENS
}

/// Of the balls of a slit, what passes from one to the next.
const LENS: f64 = 0.95;

fn bead(cells: &Cells, surface: &Surface, ends: [u32; 2], share: f64) -> (Corner, f64) {
    let [from, to] = ends.map(|cell| cells.middle(cell as usize));
    let at = plus(from, times(less(to, from), share));
    (at, surface.nearest(at, f64::INFINITY).0)
}

/// The radius of the ball that passes from ball to ball.
fn passes(beads: &[(Corner, f64)]) -> f64 {
    let between = |pair: &[(Corner, f64)]| {
        let apart = length(less(pair[0].0, pair[1].0));
        lens(apart, pair[0].1, pair[1].1).unwrap_or(0.0)
    };
    beads.windows(2).map(between).fold(f64::INFINITY, f64::min)
}

/// Cells that hang together so far.
struct Parts {
    above: Vec<u32>,
    /// Of each part, at its top cell: the largest ball and its cell.
    widest: Vec<(f32, u32)>,
}

impl Parts {
    fn of(cells: &Cells) -> Self {
        let ball = |cell: usize| {
            let outside = cells.is_outside(cell);
            let radius = if outside {
                f32::INFINITY
            } else {
                cells.all[cell].clearance
            };
            (radius, cell as u32)
        };
        Self {
            above: (0..cells.all.len() as u32).collect(),
            widest: (0..cells.all.len()).map(ball).collect(),
        }
    }

    fn top(&mut self, mut cell: u32) -> u32 {
        while self.above[cell as usize] != cell {
            let next = self.above[self.above[cell as usize] as usize];
            self.above[cell as usize] = next;
            cell = next;
        }
        cell
    }

    /// The largest ball of the smaller part; none where they were one before.
    fn join(&mut self, a: u32, b: u32) -> Option<(f32, u32)> {
        let (a, b) = (self.top(a), self.top(b));
        if a == b {
            return None;
        }
        let is_larger = self.widest[a as usize].0 >= self.widest[b as usize].0;
        let (large, small) = if is_larger { (a, b) } else { (b, a) };
        self.above[small as usize] = large;
        Some(self.widest[small as usize])
    }
}

/// Whole cells with balls of this radius or more, the largest first.
fn widest_first(cells: &Cells, counts: f64) -> Vec<u32> {
    let all = 0..cells.all.len() as u32;
    let mut wide: Vec<u32> = all
        .filter(|&cell| cells.is_whole(cell as usize) && cells.clearance(cell as usize) >= counts)
        .collect();
    wide.sort_by(|&a, &b| {
        let [a, b] = [a, b].map(|cell| cells.all[cell as usize].clearance);
        b.total_cmp(&a)
    });
    wide
}

/// The joins of each cell.
struct Beside {
    starts: Vec<u32>,
    joins: Vec<u32>,
}

impl Beside {
    fn of(count: usize, joins: &[Join]) -> Self {
        let mut starts = vec![0u32; count + 1];
        for cell in joins.iter().flat_map(|join| join.cells) {
            starts[cell as usize + 1] += 1;
        }
        for cell in 0..count {
            starts[cell + 1] += starts[cell];
        }
        let mut filled = starts.clone();
        let mut listed = vec![0u32; 2 * joins.len()];
        for (at, join) in joins.iter().enumerate() {
            for cell in join.cells {
                listed[filled[cell as usize] as usize] = at as u32;
                filled[cell as usize] += 1;
            }
        }
        Self {
            starts,
            joins: listed,
        }
    }

    fn joins(&self, cell: u32) -> &[u32] {
        let [from, to] = [0, 1].map(|step| self.starts[cell as usize + step] as usize);
        &self.joins[from..to]
    }
}
