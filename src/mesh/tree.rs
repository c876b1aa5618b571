//! A tree of boxes: what lies near what, and what a ray meets.
//!
//! Eight boxes stand together, so that the compiler compares them at once. The
//! items come in an order in which neighbours stand near each other
//! ([`in_order`]); the tree then needs no pointers.

use std::ops::Range;

use rayon::prelude::*;

use super::Corner;

/// A box in single precision, rounded outwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Bounds {
    /// The corner with the lowest x, y, z.
    pub(crate) low: [f32; 3],
    /// The corner with the highest.
    pub(crate) high: [f32; 3],
}

impl Bounds {
    /// Holds nothing.
    pub(crate) const NONE: Self = Self {
        low: [f32::INFINITY; 3],
        high: [f32::NEG_INFINITY; 3],
    };

    /// Around these points, wider by `margin` on every side.
    pub(crate) fn around(points: &[Corner], margin: f64) -> Self {
        let mut bounds = Self::NONE;
        for axis in 0..3 {
            let along = points.iter().map(|point| point[axis]);
            let (low, high) = along.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), at| {
                (low.min(at), high.max(at))
            });
            bounds.low[axis] = ((low - margin) as f32).next_down();
            bounds.high[axis] = ((high + margin) as f32).next_up();
        }
        bounds
    }

    fn with(self, other: Self) -> Self {
        let axes = [0, 1, 2];
        Self {
            low: axes.map(|axis| self.low[axis].min(other.low[axis])),
            high: axes.map(|axis| self.high[axis].max(other.high[axis])),
        }
    }
}

/// Boxes that stand together.
const WIDTH: usize = 8;

/// Eight boxes, by axis and then by box; those that are missing hold nothing.
#[derive(Debug, Clone, Copy)]
struct Octet {
    low: [[f32; WIDTH]; 3],
    high: [[f32; WIDTH]; 3],
}

impl Octet {
    fn of(boxes: &[Bounds]) -> Self {
        let bounds = |lane| boxes.get(lane).copied().unwrap_or(Bounds::NONE);
        let mut octet = Self {
            low: [[0.0; WIDTH]; 3],
            high: [[0.0; WIDTH]; 3],
        };
        for lane in 0..WIDTH {
            let bounds = bounds(lane);
            for axis in 0..3 {
                octet.low[axis][lane] = bounds.low[axis];
                octet.high[axis][lane] = bounds.high[axis];
            }
        }
        octet
    }

    fn lane(&self, lane: usize) -> Bounds {
        let axes = [0, 1, 2];
        Bounds {
            low: axes.map(|axis| self.low[axis][lane]),
            high: axes.map(|axis| self.high[axis][lane]),
        }
    }

    fn whole(&self) -> Bounds {
        (1..WIDTH).fold(self.lane(0), |all, lane| all.with(self.lane(lane)))
    }

    /// A byte for each box: 1 if it overlaps `other`, else 0.
    #[allow(
        clippy::needless_bitwise_bool,
        reason = "without branches the compiler compares eight at once"
    )]
    fn overlapping(&self, other: &Bounds) -> u64 {
        let mut overlap = [1; WIDTH];
        for axis in 0..3 {
            for (lane, overlap) in overlap.iter_mut().enumerate() {
                let here = (self.low[axis][lane] <= other.high[axis])
                    & (self.high[axis][lane] >= other.low[axis]);
                *overlap &= u8::from(here);
            }
        }
        u64::from_le_bytes(overlap)
    }

    /// Where the ray enters each box, beyond `reach` where it misses it.
    fn entries(&self, ray: &Ray, reach: f32) -> [f32; WIDTH] {
        let (mut enter, mut leave) = ([0.0_f32; WIDTH], [reach; WIDTH]);
        for axis in 0..3 {
            let (from, inverse) = (ray.near[axis], ray.inverse[axis]);
            for lane in 0..WIDTH {
                let a = (self.low[axis][lane] - from) * inverse;
                let b = (self.high[axis][lane] - from) * inverse;
                enter[lane] = enter[lane].max(a.min(b));
                leave[lane] = leave[lane].min(a.max(b));
            }
        }
        let mut entries = [f32::INFINITY; WIDTH];
        for lane in 0..WIDTH {
            let is_there = self.low[0][lane] <= self.high[0][lane];
            // Single precision may miss a box by a few last places.
            if is_there && enter[lane] * 0.999_999 <= leave[lane] * 1.000_001 {
                entries[lane] = enter[lane] * 0.999_999;
            }
        }
        entries
    }
}

/// A half line.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ray {
    /// Where it begins.
    pub(crate) from: Corner,
    /// Of length 1.
    pub(crate) along: Corner,
    near: [f32; 3],
    inverse: [f32; 3],
}

impl Ray {
    /// From a point along a direction of length 1.
    pub(crate) fn new(from: Corner, along: Corner) -> Self {
        // A hair instead of zero keeps infinities times zero away.
        let hair = |number: f64| if number.abs() < 1e-18 { 1e-18 } else { number };
        Self {
            from,
            along,
            near: from.map(|number| number as f32),
            inverse: along.map(|number| (1.0 / hair(number)) as f32),
        }
    }

    /// The point so far along it.
    pub(crate) fn at(&self, distance: f64) -> Corner {
        [0, 1, 2].map(|axis| self.from[axis] + distance * self.along[axis])
    }
}

/// Boxes of items, found by place.
#[derive(Debug)]
pub(crate) struct Tree {
    /// The items' boxes first, then the boxes of eight each, and so on.
    levels: Vec<Vec<Octet>>,
}

impl Tree {
    /// Over `count` items whose boxes are given by number.
    pub(crate) fn over(count: usize, bounds: impl Fn(usize) -> Bounds + Sync) -> Self {
        let octets = |range: usize, bounds: &(dyn Fn(usize) -> Bounds + Sync)| {
            let octet = |at: usize| {
                let lanes: [Bounds; WIDTH] = std::array::from_fn(|lane| {
                    let item = WIDTH * at + lane;
                    if item < range {
                        bounds(item)
                    } else {
                        Bounds::NONE
                    }
                });
                Octet::of(&lanes)
            };
            (0..range.div_ceil(WIDTH))
                .into_par_iter()
                .with_min_len(1024)
                .map(octet)
                .collect::<Vec<_>>()
        };
        let mut levels = vec![octets(count, &bounds)];
        while let Some(below) = levels.last().filter(|below| below.len() > 1) {
            let above = octets(below.len(), &|at| below[at].whole());
            levels.push(above);
        }
        Self { levels }
    }

    /// The items whose boxes overlap `bounds`, by rising number.
    pub(crate) fn overlapping(&self, bounds: &Bounds, mut found: impl FnMut(usize)) {
        self.groups(bounds, 0, &mut |group| {
            lanes(self.levels[0][group].overlapping(bounds), |lane| {
                found(WIDTH * group + lane);
            });
        });
    }

    /// All pairs of different items whose boxes overlap, each once, the lower
    /// number first, where the lower one is in these groups of [`Self::groups_of_items`].
    pub(crate) fn pairs(&self, groups: Range<usize>, mut found: impl FnMut(usize, usize)) {
        for group in groups {
            let here = &self.levels[0][group];
            self.groups(&self.whole(group), group, &mut |other| {
                let there = &self.levels[0][other];
                lanes(here.overlapping(&self.whole(other)), |lane| {
                    let mut with = there.overlapping(&here.lane(lane));
                    if other == group {
                        with &= from_lane(lane + 1);
                    }
                    lanes(with, |with| {
                        found(WIDTH * group + lane, WIDTH * other + with);
                    });
                });
            });
        }
    }

    /// Around all items of a group.
    fn whole(&self, group: usize) -> Bounds {
        match self.levels.get(1) {
            Some(above) => above[group / WIDTH].lane(group % WIDTH),
            None => self.levels[0][group].whole(),
        }
    }

    /// How many groups [`Self::pairs`] counts.
    pub(crate) fn groups_of_items(&self) -> usize {
        self.levels[0].len()
    }

    /// The groups of items, from number `first` on, that may overlap `bounds`.
    fn groups(&self, bounds: &Bounds, first: usize, found: &mut impl FnMut(usize)) {
        let top = self.levels.len() - 1;
        if top == 0 {
            if first == 0 {
                found(0);
            }
            return;
        }
        let mut open = Stack::new(0.0, top, 0);
        while let Some((_, level, at)) = open.pop() {
            // Groups before the first one: each level up has an eighth of them.
            let from = first >> (3 * (level - 1));
            let mut bits = self.levels[level][at].overlapping(bounds);
            if from > WIDTH * at {
                bits &= from_lane((from - WIDTH * at).min(WIDTH));
            }
            lanes(bits, |lane| {
                let child = WIDTH * at + lane;
                if level == 1 {
                    found(child);
                } else {
                    open.push(0.0, level - 1, child);
                }
            });
        }
    }

    /// Shows the items whose boxes a ray meets, the nearest about first; each
    /// answer is how far it is still worth looking.
    pub(crate) fn along(&self, ray: &Ray, reach: f64, mut met: impl FnMut(usize) -> f64) {
        let mut reach = reach;
        // Where the ray enters each box that is still to look at.
        let mut open = Stack::new(0.0, self.levels.len() - 1, 0);
        while let Some((entry, level, at)) = open.pop() {
            if f64::from(entry) > reach {
                continue;
            }
            let entries = self.levels[level][at].entries(ray, reach as f32);
            let before = open.count;
            for (lane, entry) in entries.into_iter().enumerate() {
                if entry == f32::INFINITY {
                    continue;
                }
                let item = WIDTH * at + lane;
                if level > 0 {
                    open.push(entry, level - 1, item);
                    open.sink(before);
                } else if f64::from(entry) <= reach {
                    reach = met(item);
                }
            }
        }
    }
}

/// Nodes still to look at, each with where it begins; deep enough for 2^24
/// items.
struct Stack {
    nodes: [(f32, u32); 7 * 9],
    count: usize,
}

impl Stack {
    /// Bits of a place in a level; the number of the level stands above them.
    const PLACE: u32 = 28;

    fn new(entry: f32, level: usize, at: usize) -> Self {
        let mut stack = Self {
            nodes: [(0.0, 0); 7 * 9],
            count: 0,
        };
        stack.push(entry, level, at);
        stack
    }

    fn push(&mut self, entry: f32, level: usize, at: usize) {
        self.nodes[self.count] = (entry, (level as u32) << Self::PLACE | at as u32);
        self.count += 1;
    }

    /// Puts the last node below those from number `first` on that begin before
    /// it.
    fn sink(&mut self, first: usize) {
        let mut at = self.count - 1;
        while at > first && self.nodes[at - 1].0 < self.nodes[at].0 {
            self.nodes.swap(at - 1, at);
            at -= 1;
        }
    }

    fn pop(&mut self) -> Option<(f32, usize, usize)> {
        self.count = self.count.checked_sub(1)?;
        let (entry, node) = self.nodes[self.count];
        let (level, at) = (node >> Self::PLACE, node & ((1 << Self::PLACE) - 1));
        Some((entry, level as usize, at as usize))
    }
}

/// Calls with the number of each byte that is 1; all others are 0.
fn lanes(mut bytes: u64, mut found: impl FnMut(usize)) {
    while bytes != 0 {
        found(bytes.trailing_zeros() as usize / 8);
        bytes &= bytes - 1;
    }
}

/// All bytes from number `first` on.
fn from_lane(first: usize) -> u64 {
    u64::MAX.checked_shl(8 * first as u32).unwrap_or(0)
}

/// The numbers of points in an order in which neighbours stand near each other
/// (along Hilbert's curve, which never jumps; Hamilton 2006, from memory).
pub(crate) fn in_order(count: usize, point: impl Fn(usize) -> Corner + Sync) -> Vec<u32> {
    let bounds = (0..count)
        .into_par_iter()
        .with_min_len(4096)
        .fold(
            || ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]),
            |(low, high), at| {
                let point = point(at);
                widen((low, high), (point, point))
            },
        )
        .reduce(|| ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]), widen);
    let (low, high) = bounds;
    let widest = (0..3)
        .map(|axis| high[axis] - low[axis])
        .fold(0.0, f64::max);
    let scale = if widest > 0.0 { 2046.0 / widest } else { 0.0 };
    let mut keys: Vec<u64> = (0..count)
        .into_par_iter()
        .with_min_len(4096)
        .map(|at| {
            let point = point(at);
            let cell = [0, 1, 2].map(|axis| ((point[axis] - low[axis]) * scale) as u64);
            (along_curve(cell) << 31) | at as u64
        })
        .collect();
    keys.par_sort_unstable();
    keys.into_par_iter()
        .with_min_len(4096)
        .map(|key| (key & ((1 << 31) - 1)) as u32)
        .collect()
}

type Extent = (Corner, Corner);

fn widen((low, high): Extent, (lower, higher): Extent) -> Extent {
    let axes = [0, 1, 2];
    (
        axes.map(|axis| low[axis].min(lower[axis])),
        axes.map(|axis| high[axis].max(higher[axis])),
    )
}

/// Bits of each coordinate along the curve.
const DEPTH: u32 = 11;

/// How far along the curve a cell lies. Each step takes one bit of every
/// coordinate, and which way the curve runs through the eighth that they name.
fn along_curve(cell: [u64; 3]) -> u64 {
    let step = |(key, state): (u64, u8), bit: u32| {
        let eighth = (0..3).fold(0, |eighth, axis| eighth | (cell[axis] >> bit & 1) << axis);
        let turn = TURNS[usize::from(state)][eighth as usize];
        (key << 3 | u64::from(turn & 7), turn >> 3)
    };
    (0..DEPTH).rev().fold((0, 0), step).0
}

/// By state of the curve (3 times the corner where it enters, and its axis) and
/// eighth: which in turn it is, and above three bits the state in there.
const TURNS: [[u8; 8]; 24] = turns();

const fn turns() -> [[u8; 8]; 24] {
    let mut turns = [[0; 8]; 24];
    let mut state = 0;
    while state < 24 {
        let (enter, axis) = (state / 3, state % 3);
        let mut eighth = 0;
        while eighth < 8 {
            let place = number_of(rolled(
                eighth as u8 ^ enter as u8,
                3 - (axis as u32 + 1) % 3,
            ));
            let next = enter as u8 ^ rolled(entry(place), axis as u32 + 1);
            let along = (axis as u32 + way(place) + 1) % 3;
            turns[state][eighth] = place | (next * 3 + along as u8) << 3;
            eighth += 1;
        }
        state += 1;
    }
    turns
}

/// Three bits moved up in a circle.
const fn rolled(bits: u8, by: u32) -> u8 {
    let by = by % 3;
    (bits << by | bits >> (3 - by)) & 7
}

/// Gray's code of a number: the next differs in one bit.
const fn gray(number: u8) -> u8 {
    number ^ number >> 1
}

/// The number whose code this is.
const fn number_of(code: u8) -> u8 {
    code ^ code >> 1 ^ code >> 2
}

/// Where the curve enters the eighth that comes at this place.
const fn entry(place: u8) -> u8 {
    if place == 0 {
        0
    } else {
        gray((place - 1) & !1)
    }
}

/// The axis along which it runs from there.
const fn way(place: u8) -> u32 {
    match place {
        0 => 0,
        _ if place & 1 == 0 => (place - 1).trailing_ones() % 3,
        _ => place.trailing_ones() % 3,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curve_visits_every_cell_and_never_jumps() {
        let mut cells: Vec<[u64; 3]> = (0..512).map(|at| [at & 7, at >> 3 & 7, at >> 6]).collect();
        cells.sort_by_key(|cell| along_curve(*cell));
        for pair in cells.windows(2) {
            let apart = |axis: usize| pair[0][axis].abs_diff(pair[1][axis]);
            assert_eq!(apart(0) + apart(1) + apart(2), 1, "{pair:?}");
        }
    }
}
