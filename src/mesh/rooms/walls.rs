//! Which room a bit of the wall belongs to.

use super::super::Corner;
use super::super::space::{dot, length, less, normal, plus, times, unit};
use super::basins::Basins;
use super::cells::{Cells, lens};
use super::surface::Surface;
use super::tree::Span;

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

    /// The box around the balls of the basins that are asked for.
    pub(super) fn reach(&self, asked: impl Fn(usize) -> bool) -> Span {
        let cells = 0..self.cells.all.len();
        let asked = cells.filter(|&cell| self.basins.at(cell).is_some_and(&asked));
        asked.fold(Span::EMPTY, |reach, cell| {
            let ball = self.cells.clearance(cell) + self.cells.side_of(cell);
            reach.join(Span::around(self.cells.middle(cell), ball))
        })
    }

    /// The basin that a point of the wall lies in: that of a ball which touches
    /// the wall there, or of where there is more room from it.
    pub(super) fn basin(&self, on: Corner, upright: Corner) -> Option<usize> {
        const TRIES: usize = 24;
        let mut point = plus(on, times(upright, self.ball_at(on, upright)));
        for _ in 0..TRIES {
            let (room, touched) = self.surface.nearest(point, self.largest);
            if room >= self.largest {
                return self.cells.at(point).and_then(|cell| self.basins.at(cell));
            }
            let Some(cell) = self.cells.at(point) else {
                return Some(0);
            };
            let apart = length(less(self.cells.middle(cell), point));
            if let Some(basin) = self.basins.at(cell)
                && lens(apart, room, self.cells.clearance(cell)).is_some()
            {
                return Some(basin);
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
            let (room, touched) = self.surface.nearest(middle, radius * 0.999);
            if room >= radius * 0.999 {
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

/// A part of a facet.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tile {
    pub(super) middle: Corner,
    pub(super) upright: Corner,
    pub(super) area: f64,
}

/// A facet in alike triangles with sides of this length or less, 64 along a
/// side at most.
pub(super) fn tiles([a, b, c]: [Corner; 3], side: f64) -> impl Iterator<Item = Tile> {
    let (right, up) = (less(b, a), less(c, a));
    let longest = [right, up, less(c, b)]
        .map(length)
        .into_iter()
        .fold(0.0, f64::max);
    let count = (longest / side).ceil().clamp(1.0, 64.0);
    let across = normal([a, b, c]);
    let area = length(across) / 2.0 / (count * count);
    let upright = unit(across);
    let rows = count as usize;
    (0..rows * rows).map(move |tile| {
        // Row r counts 2 r + 1 tiles from the corner a, every other upside down.
        let row = tile.isqrt();
        let step = tile - row * row;
        let third = if step % 2 == 0 { 1.0 / 3.0 } else { 2.0 / 3.0 };
        let along_up = ((step / 2) as f64 + third) / count;
        let along_right = (row as f64 + 1.0 - third) / count - along_up;
        Tile {
            middle: plus(a, plus(times(right, along_right), times(up, along_up))),
            upright,
            area,
        }
    })
}
