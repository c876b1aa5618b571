//! Panels sorted into cells, and which cells see which from afar.

use std::ops::Range;

use super::panel::{Panel, Point};
use super::tank::{Image, Tank};
use crate::mesh::space::{less, plus, times};

/// A cell with more panels than this is divided.
const FULL: usize = 64;

/// The deepest level; a cell there is 2^-18 of the root's length.
const DEEPEST: u32 = 18;

/// A cuboid with panels, all of whose middles lie in it.
#[derive(Debug)]
pub(super) struct Cell {
    pub(super) level: u32,
    /// Which cell of its level it is, from the lowest corner.
    pub(super) at: [i32; 3],
    /// Its panels, in the tree's order.
    pub(super) panels: Range<usize>,
    /// Its parts; none in a leaf.
    pub(super) parts: Range<usize>,
}

impl Cell {
    pub(super) fn is_leaf(&self) -> bool {
        self.parts.is_empty()
    }
}

/// All cells, level by level from the roots down.
#[derive(Debug)]
pub(super) struct Tree {
    low: Point,
    /// Half the lengths of a root, m.
    half: Point,
    pub(super) roots: [i32; 3],
    pub(super) cells: Vec<Cell>,
    /// Which panel stands at each place of the tree's order.
    pub(super) order: Vec<u32>,
}

/// What one cell gets from another.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sight {
    pub(super) to: u32,
    pub(super) from: u32,
    pub(super) image: Image,
    /// By how many cells of their level `to` lies beside the image of `from`;
    /// of use for cells of one level.
    pub(super) apart: [i32; 3],
}

/// All pairs: those far enough for expansions, and leaves close together.
#[derive(Debug, Default)]
pub(super) struct Sights {
    pub(super) far: Vec<Sight>,
    pub(super) near: Vec<Sight>,
}

impl Tree {
    pub(super) fn new(panels: &[Panel], tank: Option<&Tank>) -> Self {
        let (low, size, roots) =
            tank.map_or_else(|| around(panels), |t| (t.low, t.size(), roots_of(t)));
        let half = [0, 1, 2].map(|axis| size[axis] / f64::from(2 * roots[axis]));
        let keys: Vec<Key> = panels
            .iter()
            .map(|panel| key(panel.middle, low, half, roots))
            .collect();
        let mut order: Vec<u32> = (0..panels.len() as u32).collect();
        order.sort_by_key(|panel| keys[*panel as usize].along);
        let mut tree = Self {
            low,
            half,
            roots,
            cells: Vec::new(),
            order,
        };
        tree.grow(&keys, panels);
        tree
    }

    fn grow(&mut self, keys: &[Key], panels: &[Panel]) {
        self.divide(0..panels.len(), 0, keys);
        let mut next = 0;
        while next < self.cells.len() {
            let Cell {
                level,
                panels: here,
                ..
            } = &self.cells[next];
            let (level, here) = (*level, here.clone());
            let largest = here
                .clone()
                .map(|k| panels[self.order[k] as usize].radius)
                .fold(0.0, f64::max);
            let narrowest = self
                .half_at(level)
                .into_iter()
                .fold(f64::INFINITY, f64::min);
            if here.len() > FULL && level < DEEPEST && largest < 0.7 * narrowest {
                let first = self.cells.len();
                self.divide(here, level + 1, keys);
                self.cells[next].parts = first..self.cells.len();
            }
            next += 1;
        }
    }

    /// Adds the cells of `level` that hold the panels.
    fn divide(&mut self, panels: Range<usize>, level: u32, keys: &[Key]) {
        let shift = DEEPEST - level;
        let mut first = panels.start;
        let cell_of = |k: usize| keys[self.order[k] as usize].at.map(|at| at >> shift);
        for k in panels.clone() {
            if k + 1 == panels.end || cell_of(k + 1) != cell_of(k) {
                self.cells.push(Cell {
                    level,
                    at: cell_of(k),
                    panels: first..k + 1,
                    parts: 0..0,
                });
                first = k + 1;
            }
        }
    }

    /// Half the lengths of a cell of `level`, m.
    pub(super) fn half_at(&self, level: u32) -> Point {
        times(self.half, 0.5_f64.powi(level.cast_signed()))
    }

    pub(super) fn centre(&self, cell: &Cell) -> Point {
        let half = self.half_at(cell.level);
        [0, 1, 2].map(|axis| self.low[axis] + half[axis] * f64::from(2 * cell.at[axis] + 1))
    }

    /// Every pair of panels in exactly one of the pairs, for every image.
    pub(super) fn sights(&self, images: &[Image]) -> Sights {
        let mut sights = Sights::default();
        let roots = self.cells.iter().take_while(|cell| cell.level == 0).count() as u32;
        for image in images {
            for to in 0..roots {
                for from in 0..roots {
                    self.look(to, from, *image, &mut sights);
                }
            }
        }
        sights
    }

    fn look(&self, to: u32, from: u32, image: Image, sights: &mut Sights) {
        let (here, there) = (&self.cells[to as usize], &self.cells[from as usize]);
        let seen = self.imaged(there, image);
        let apart = [0, 1, 2].map(|axis| here.at[axis] - seen[axis]);
        let sight = Sight {
            to,
            from,
            image,
            apart,
        };
        let split = |cell: &Cell| cell.parts.start as u32..cell.parts.end as u32;
        if here.level == there.level && apart.iter().any(|apart| apart.abs() > 1) {
            sights.far.push(sight);
        } else if here.is_leaf() && there.is_leaf() {
            sights.near.push(sight);
        } else if here.is_leaf() {
            split(there).for_each(|from| self.look(to, from, image, sights));
        } else if there.is_leaf() {
            split(here).for_each(|to| self.look(to, from, image, sights));
        } else {
            for to in split(here) {
                split(there).for_each(|from| self.look(to, from, image, sights));
            }
        }
    }

    /// Where the image of a cell lies, in cells of its level.
    fn imaged(&self, cell: &Cell, image: Image) -> [i32; 3] {
        [0, 1, 2].map(|axis| {
            let count = self.roots[axis] << cell.level;
            let (aside, at) = (image.0[axis], cell.at[axis]);
            let mirrored = if aside % 2 == 0 { at } else { count - 1 - at };
            mirrored + aside * count
        })
    }
}

/// A panel's place: in cells of the deepest level, and along the curve that
/// keeps every cell's panels together.
struct Key {
    at: [i32; 3],
    along: (usize, u64),
}

fn key(middle: Point, low: Point, half: Point, roots: [i32; 3]) -> Key {
    let at = [0, 1, 2].map(|axis| {
        let cells = f64::from(roots[axis] << DEEPEST);
        let across = (middle[axis] - low[axis]) / (2.0 * half[axis]) * f64::from(1 << DEEPEST);
        across.clamp(0.0, cells - 1.0) as i32
    });
    let root = at.map(|at| at >> DEEPEST);
    let which = (root[0] * roots[1] + root[1]) * roots[2] + root[2];
    let mut curve = 0;
    for bit in (0..DEEPEST).rev() {
        for at in at {
            curve = curve << 1 | u64::from(at as u32 >> bit & 1);
        }
    }
    Key {
        at,
        along: (which as usize, curve),
    }
}

/// A cube around all panels: lowest corner, lengths, one root.
fn around(panels: &[Panel]) -> (Point, Point, [i32; 3]) {
    let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    for panel in panels {
        for axis in 0..3 {
            low[axis] = low[axis].min(panel.middle[axis]);
            high[axis] = high[axis].max(panel.middle[axis]);
        }
    }
    let longest = less(high, low).into_iter().fold(1e-9, f64::max) * 1.001;
    let middle = times(plus(low, high), 0.5);
    (middle.map(|at| at - longest / 2.0), [longest; 3], [1; 3])
}

/// Roots as near to cubes as few of them can be.
fn roots_of(tank: &Tank) -> [i32; 3] {
    let size = tank.size();
    let shortest = size.iter().copied().fold(f64::INFINITY, f64::min);
    let roots =
        |parts: f64| size.map(|long| ((long / shortest * parts).round() as i32).clamp(1, 64));
    let skew = |roots: [i32; 3]| {
        let cell = [0, 1, 2].map(|axis| size[axis] / f64::from(roots[axis]));
        cell.iter().copied().fold(0.0, f64::max)
            / cell.iter().copied().fold(f64::INFINITY, f64::min)
    };
    let [one, two, three] = [1.0, 2.0, 3.0].map(roots);
    if skew(one) < 1.15 {
        one
    } else if skew(two) < 1.15 || skew(two) < skew(three) {
        two
    } else {
        three
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pair_is_seen_once_for_every_image() {
        let mut panels = Vec::new();
        for k in 0..700 {
            // A spiral that winds itself close to a corner.
            let t = f64::from(k) / 700.0;
            let [x, y, z] = [0.3 * t * t * t, 0.2 * t * t, 0.1 + 0.09 * (40.0 * t).sin()];
            let s = 1e-4 + 1e-3 * t * t;
            panels.push(Panel::new([[x, y, z], [x + s, y, z], [x, y + s, z]]));
        }
        let tank = Tank {
            low: [0.0; 3],
            high: [0.31, 0.21, 0.2],
        };
        let tree = Tree::new(&panels, Some(&tank));
        let images = [Image::ITSELF, Image([0, -1, 0]), Image([1, -1, 1])];
        let sights = tree.sights(&images);
        let mut seen = vec![0; 3 * 700 * 700];
        for sight in sights.far.iter().chain(&sights.near) {
            let image = images
                .iter()
                .position(|image| *image == sight.image)
                .unwrap();
            for to in tree.cells[sight.to as usize].panels.clone() {
                for from in tree.cells[sight.from as usize].panels.clone() {
                    seen[(image * 700 + to) * 700 + from] += 1;
                }
            }
        }
        assert!(seen.iter().all(|times| *times == 1));
        assert!(sights.far.len() > 100);
    }

    #[test]
    fn roots_are_nearly_cubes() {
        let of = |x, y, z| {
            roots_of(&Tank {
                low: [0.0; 3],
                high: [x, y, z],
            })
        };
        assert_eq!(of(0.3, 0.2, 0.2), [3, 2, 2]);
        assert_eq!(of(0.2, 0.2, 0.2), [1, 1, 1]);
        assert_eq!(of(0.6, 0.2, 0.3), [6, 2, 3]);
    }
}
