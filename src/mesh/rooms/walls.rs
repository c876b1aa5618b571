//! Which room a bit of the wall belongs to.

use super::super::Corner;
use super::super::space::{dot, length, less, plus, times, unit};
use super::basins::Basins;
use super::cells::{Cells, lens};
use super::surface::Surface;
use super::tree::{Span, Tree};

/// What walls are measured to may be off by.
const SLACK: f64 = 0.93;

/// The space with its parts.
#[derive(Debug)]
pub(super) struct Plan<'a> {
    pub(super) surface: &'a Surface,
    pub(super) cells: Cells,
    pub(super) basins: Basins,
    /// Neighbours in different basins, the widest ways first.
    pub(super) borders: Vec<[u32; 2]>,
    /// Narrower gaps were not looked into, in mm.
    pub(super) least: f64,
    /// Whether all others were, where a basin has no way in.
    pub(super) is_sure: bool,
    /// No ball need be larger, in mm.
    pub(super) largest: f64,
}

impl Plan<'_> {
    /// The ways into a basin and what is behind it, the widest first.
    pub(super) fn other_ways(&self, basin: usize) -> impl Iterator<Item = [u32; 2]> {
        self.borders.iter().filter_map(move |&[a, b]| {
            let inside = [a, b].map(|cell| self.basins.is_behind(basin, cell as usize));
            match inside {
                [true, false] => Some([a, b]),
                [false, true] => Some([b, a]),
                _ => None,
            }
        })
    }

    /// The boxes around the balls of the basins that are asked for, and what
    /// may be beside them.
    pub(super) fn reach(&self, asked: impl Fn(usize) -> bool) -> Option<Tree<Span>> {
        let boxes: Vec<Span> = self
            .boxes()
            .filter(|at| asked(at.0))
            .map(|at| at.1)
            .collect();
        Tree::of(&boxes)
    }

    /// The boxes around the basins that no way leads to.
    pub(super) fn about_shut_off(&self) -> Vec<Span> {
        let basins = &self.basins.list;
        let mut reaches = vec![Span::EMPTY; basins.len()];
        for (basin, span) in self.boxes() {
            if let Some(first) = self.shut_off(basin) {
                reaches[first] = reaches[first].join(span);
            }
        }
        reaches.retain(|reach| reach.low[0] <= reach.high[0]);
        reaches
    }

    /// The basin that no way leads to which this one is or opens into.
    pub(super) fn shut_off(&self, basin: usize) -> Option<usize> {
        let basins = &self.basins.list;
        let before = |&at: &usize| basins[at].before;
        std::iter::successors(Some(basin), before).find(|&at| basins[at].passes <= 0.0)
    }

    /// The basins of the cells and the boxes around their balls.
    fn boxes(&self) -> impl Iterator<Item = (usize, Span)> {
        let cells = 0..self.cells.all.len();
        cells.filter_map(|cell| {
            let half = self.cells.clearance(cell) + 2.0 * self.cells.side_of(cell);
            let span = Span::around(self.cells.middle(cell), half);
            Some((self.basins.at(cell)?, span))
        })
    }

    /// Whether a ball of this radius has room at a point of the wall, but no way
    /// is known to it.
    pub(super) fn is_unknown(&self, on: Corner, upright: Corner, ball: f64) -> bool {
        let basin = self.basin(on, upright);
        let is_known = basin.is_some_and(|basin| self.shut_off(basin).is_none());
        !is_known && self.ball_at(on, upright) >= ball
    }

    /// The basin that a point of the wall lies in: that of a ball which touches
    /// the wall there, or of where there is more room from it.
    pub(super) fn basin(&self, on: Corner, upright: Corner) -> Option<usize> {
        const TRIES: usize = 16;
        let mut point = plus(on, times(upright, self.ball_at(on, upright)));
        for _ in 0..TRIES {
            let Some(cell) = self.cells.at(point) else {
                return Some(0);
            };
            let (basin, clearance) = (self.basins.at(cell), self.cells.clearance(cell));
            let apart = length(less(self.cells.middle(cell), point));
            if basin.is_some() && apart < clearance {
                return basin;
            }
            let (room, touched) = self.surface.about_nearest(point, self.largest, SLACK);
            if room >= self.largest
                || basin.is_some() && lens(apart, SLACK * room, clearance).is_some()
            {
                return basin;
            }
            point = plus(point, times(unit(less(point, touched)), room * 0.7));
        }
        None
    }

    /// The radius of a ball about as large as the cells here that touches the
    /// wall: shrunk until nothing is in it.
    fn ball_at(&self, on: Corner, upright: Corner) -> f64 {
        const SHRINKS: usize = 8;
        let cell = self.cells.at(on).map(|cell| self.cells.side_of(cell));
        let mut radius = cell.unwrap_or(self.largest).min(self.largest);
        for _ in 0..SHRINKS {
            let middle = plus(on, times(upright, radius));
            let within = radius * SLACK;
            let (room, touched) = self.surface.about_nearest(middle, within, SLACK);
            if room >= within {
                break;
            }
            let to = less(touched, on);
            let ahead = 2.0 * dot(to, upright);
            if ahead <= 0.0 {
                break;
            }
            radius = radius.min(dot(to, to) / ahead);
        }
        radius
    }
}
