//! The space around the print in cubes, each with a ball that no surface cuts.

use rayon::prelude::*;

use super::super::Corner;
use super::super::space::{length, less};
use super::facing::Spot;
use super::surface::Surface;
use super::tree::{Span, Tree};

/// A cube of the octree; its middle is the middle of its ball.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cell {
    /// Where among the cubes of its level.
    at: [u16; 3],
    level: u8,
    /// The first of its eight parts; 0 where it is whole.
    parts: u32,
    /// The radius of its ball in mm: the distance to the surface.
    pub(super) clearance: f32,
    /// The feature that it touches.
    touches: u32,
}

/// The cubes of this level are always parted: 16 of them go along the whole.
const COARSEST: u8 = 4;
/// As far as the numbers in a [`Cell`] reach.
const FINEST: u8 = 15;
/// No more cells than this at first; then what is not parted stays coarse.
const BUDGET: usize = 200_000;
/// A cell further off a gap than this times its side need not be finer.
const GRADING: f32 = 1.3;
/// So many cells go along a gap.
pub(super) const PER_GAP: f64 = 3.2;

/// An octree over the print and a margin, fine where gaps are narrow.
#[derive(Debug)]
pub(super) struct Cells {
    low: Corner,
    size: f64,
    pub(super) all: Vec<Cell>,
    /// Whether the budget left a gap too coarse.
    pub(super) cut_short: bool,
}

impl Cells {
    /// A cube around the surface, whole.
    fn around(surface: &Surface) -> Self {
        let whole = &surface.tree.whole().span;
        let size = whole.longest_mm() * 1.3;
        Self {
            low: whole.middle().map(|middle| middle - size / 2.0),
            size,
            all: vec![Cell {
                at: [0; 3],
                level: 0,
                parts: 0,
                clearance: f32::INFINITY,
                touches: 0,
            }],
            cut_short: false,
        }
    }

    /// Parts the space until every cell is small as against the gaps nearby.
    pub(super) fn grow(surface: &Surface, spots: &[Spot]) -> Self {
        let mut grown = Self::around(surface);
        grown.part_all(surface, spots, vec![0], BUDGET);
        grown
    }

    /// Parts the cells that are asked for further.
    pub(super) fn refine(
        &mut self,
        surface: &Surface,
        spots: &[Spot],
        is_asked: impl Fn(&Span) -> bool + Sync,
        budget: usize,
    ) {
        let is_asked = |&cell: &usize| {
            let own = Span::around(self.middle(cell), self.side_of(cell) / 2.0);
            self.is_whole(cell) && is_asked(&own)
        };
        let cells = (0..self.all.len()).into_par_iter().filter(is_asked);
        let cells = cells.collect();
        self.part_all(surface, spots, cells, budget);
    }

    /// Parts these cells, and their parts, as far as is called for; no more
    /// once there would be more cells than the budget.
    fn part_all(
        &mut self,
        surface: &Surface,
        spots: &[Spot],
        mut cells: Vec<usize>,
        budget: usize,
    ) {
        let spots = Tree::of(spots);
        self.cut_short = false;
        while !cells.is_empty() {
            let parted = cells.into_par_iter();
            let parted = parted.filter(|&cell| self.is_coarse(cell, spots.as_ref()));
            let parted: Vec<usize> = parted.collect();
            self.cut_short =
                self.all.len() + 8 * parted.len() > budget || surface.is_half_exhausted();
            if self.cut_short {
                break;
            }
            let new = self.part(&parted);
            self.measure(surface, new.clone());
            cells = new.collect();
        }
    }

    /// Whether a gap nearby is narrow as against the cell. A cell that its ball
    /// covers hangs together with its neighbours anyway, and is only to be
    /// parted in the very gap, to tell its width.
    fn is_coarse(&self, cell: usize, spots: Option<&Tree<Spot>>) -> bool {
        let Cell {
            level, clearance, ..
        } = self.all[cell];
        if level < COARSEST {
            return true;
        }
        let Some(spots) = spots.filter(|_| level < FINEST) else {
            return false;
        };
        let side = self.side(level);
        let own = Span::around(self.middle(cell), side / 2.0);
        let covered = f64::from(clearance) >= side * HALF_DIAGONAL;
        let (side, narrow) = (side as f32, (side * PER_GAP) as f32);
        let near = |spot: &Spot| {
            let reach = if covered {
                spot.gap * 0.75
            } else {
                side * GRADING
            };
            own.gap_squared(&spot.span) < reach * reach
        };
        let mut found = false;
        spots.visit(
            &mut found,
            |found, branch| {
                let reach = if covered {
                    narrow * 0.75
                } else {
                    side * GRADING
                };
                let gap = own.gap_squared(&branch.span);
                (!found && branch.gap < narrow && gap < reach * reach).then_some(gap)
            },
            |found, _| !found,
            |found, place| {
                let spot = &spots.items[place];
                *found |= spot.gap < narrow && near(spot);
            },
        );
        found
    }

    fn part(&mut self, parted: &[usize]) -> std::ops::Range<usize> {
        let start = self.all.len();
        for &cell in parted {
            let Cell {
                at,
                level,
                clearance,
                touches,
                ..
            } = self.all[cell];
            self.all[cell].parts = self.all.len() as u32;
            let part = |part: u16| Cell {
                at: [0, 1, 2].map(|axis| 2 * at[axis] + (part >> axis & 1)),
                level: level + 1,
                parts: 0,
                clearance,
                touches,
            };
            self.all.extend((0..8).map(part));
        }
        start..self.all.len()
    }

    /// The clearance of new cells, which hold what the cell touches that they are part of.
    fn measure(&mut self, surface: &Surface, level: std::ops::Range<usize>) {
        let (low, size) = (self.low, self.size);
        self.all[level].par_iter_mut().for_each(|cell| {
            let side = size / f64::from(1u32 << cell.level);
            let middle = middle(low, side, cell.at);
            let (clearance, touches) = surface.closest(middle, cell.touches);
            cell.clearance = clearance as f32;
            cell.touches = touches;
        });
    }

    pub(super) fn side(&self, level: u8) -> f64 {
        self.size / f64::from(1u32 << level)
    }

    pub(super) fn side_of(&self, cell: usize) -> f64 {
        self.side(self.all[cell].level)
    }

    pub(super) fn middle(&self, cell: usize) -> Corner {
        let Cell { at, level, .. } = self.all[cell];
        middle(self.low, self.side(level), at)
    }

    pub(super) fn clearance(&self, cell: usize) -> f64 {
        f64::from(self.all[cell].clearance)
    }

    pub(super) fn is_whole(&self, cell: usize) -> bool {
        self.all[cell].parts == 0
    }

    /// Whether it is in the margin around the print.
    pub(super) fn is_outside(&self, cell: usize) -> bool {
        let Cell { at, level, .. } = self.all[cell];
        let last = ((1u32 << level) - 1) as u16;
        level <= COARSEST && at.iter().any(|&at| at == 0 || at == last)
    }

    /// The whole cell that holds the point, if it is in the octree.
    pub(super) fn at(&self, point: Corner) -> Option<usize> {
        let steps = [0, 1, 2].map(|axis| {
            let share = (point[axis] - self.low[axis]) / self.size;
            (0.0..1.0)
                .contains(&share)
                .then(|| (share * f64::from(1u32 << FINEST)) as u16)
        });
        let [Some(x), Some(y), Some(z)] = steps else {
            return None;
        };
        Some(self.down([x, y, z], FINEST))
    }

    fn down(&self, at: [u16; 3], most: u8) -> usize {
        let mut cell = 0;
        for level in 1..=most {
            if self.is_whole(cell) {
                break;
            }
            let bit = |axis: usize| u32::from(at[axis] >> (most - level) & 1) << axis;
            cell = (self.all[cell].parts + bit(0) + bit(1) + bit(2)) as usize;
        }
        cell
    }

    /// The whole cells across its six faces that are not smaller; of equal ones
    /// only those further on, so that a pair comes up once.
    pub(super) fn neighbours(&self, cell: usize) -> impl Iterator<Item = usize> {
        let Cell { at, level, .. } = self.all[cell];
        let last = ((1u32 << level) - 1) as u16;
        (0..6).filter_map(move |face| {
            let (axis, on) = (face / 2, face % 2 == 0);
            let mut to = at;
            to[axis] = if on {
                at[axis].checked_add(1).filter(|&to| to <= last)?
            } else {
                at[axis].checked_sub(1)?
            };
            let other = self.down(to, level);
            let once = self.all[other].level < level || on;
            (self.is_whole(other) && once).then_some(other)
        })
    }

    /// The whole cells across the middles of its six faces.
    pub(super) fn beside(&self, cell: usize) -> impl Iterator<Item = usize> {
        let (middle, side) = (self.middle(cell), self.side_of(cell));
        (0..6).filter_map(move |face| {
            let mut point = middle;
            point[face / 2] += if face % 2 == 0 { 0.51 } else { -0.51 } * side;
            self.at(point)
        })
    }

    /// The radius of the circle in which the balls of two cells cut each other:
    /// the clearance on the way from one to the other is no less.
    pub(super) fn passage(&self, a: usize, b: usize) -> Option<f32> {
        let apart = length(less(self.middle(a), self.middle(b)));
        lens(apart, self.clearance(a), self.clearance(b)).map(|radius| radius as f32)
    }
}

/// Half the space diagonal of a cube of side 1.
const HALF_DIAGONAL: f64 = 0.866_025_403_784_438_6;

fn middle(low: Corner, side: f64, at: [u16; 3]) -> Corner {
    [0, 1, 2].map(|axis| low[axis] + (f64::from(at[axis]) + 0.5) * side)
}

/// The radius of the widest ball that passes between two balls that overlap.
pub(super) fn lens(apart: f64, a: f64, b: f64) -> Option<f64> {
    if apart >= a + b {
        return None;
    }
    let along = (apart * apart + a * a - b * b) / (2.0 * apart);
    if (0.0..=apart).contains(&along) {
        Some((a * a - along * along).max(0.0).sqrt())
    } else {
        Some(a.min(b))
    }
}
