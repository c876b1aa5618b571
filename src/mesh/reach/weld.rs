//! Equal corners as one, and the sides along which triangles meet.

use rayon::prelude::*;

use super::super::space::{dot, length, less, normal, unit};
use super::super::tree::in_order;
use super::super::{Corner, InMm};

/// A triangle's three corners by number.
pub(super) type Numbers = [u32; 3];

/// No triangle, no side.
pub(super) const NONE: u32 = u32::MAX;

/// Triangles with their corners numbered, neighbours near each other.
#[derive(Debug)]
pub(super) struct Welded {
    /// By number, in mm.
    pub(super) corners: Vec<Corner>,
    /// The triangles.
    pub(super) triangles: Vec<Numbers>,
    /// Which triangle of the file each is; [`NONE`] for a lid over a hole.
    pub(super) file: Vec<u32>,
    /// Triangles of the file without area.
    pub(super) flat: Vec<u32>,
    /// Triangles of the file that are there before.
    pub(super) doubled: Vec<u32>,
    /// Where there are doubles: the triangle of the file that stands for all,
    /// and how many are turned as it is less how many are turned the other way.
    pub(super) nets: Vec<(u32, i32)>,
    /// How the triangles meet.
    pub(super) sides: Sides,
    /// Under this length in mm, what is apart counts as one: a few last places
    /// of the single precision that most files are in.
    pub(super) tolerance: f64,
}

impl Welded {
    /// Welds the triangles of a file, in mm.
    pub(super) fn of(raw: InMm<'_>) -> Self {
        let third = 1.0 / 3.0;
        let order = in_order(raw.count, |at| {
            let [a, b, c] = raw.corners(at);
            [0, 1, 2].map(|axis| (a[axis] + b[axis] + c[axis]) * third)
        });
        let (corners, triangles) = numbered(raw.count, |at| raw.corners(order[at] as usize));
        let largest = corners
            .iter()
            .flatten()
            .fold(0.0, |largest: f64, number| largest.max(number.abs()));
        let tolerance = largest * 2_f64.powi(-22);
        let mut welded = Self {
            corners,
            triangles,
            file: order,
            flat: Vec::new(),
            doubled: Vec::new(),
            nets: Vec::new(),
            sides: Sides::default(),
            tolerance,
        };
        welded.settle();
        welded
    }

    /// The corners of a triangle.
    pub(super) fn corners_of(&self, triangle: usize) -> [Corner; 3] {
        let corner = |at: u32| self.corners[at as usize];
        let [a, b, c] = self.triangles[triangle];
        [corner(a), corner(b), corner(c)]
    }

    /// Whether the two triangles of a side are turned alike: the side runs from
    /// corner to corner in one as it runs back in the other.
    pub(super) fn runs_on(&self, side: u32, twin: u32) -> bool {
        let from = self.triangles[side as usize / 3][side as usize % 3];
        let to = self.triangles[twin as usize / 3][(twin as usize + 1) % 3];
        // The corner after number k of a triangle: 3 t is a multiple of 3.
        from == to
    }

    /// Whether a triangle is a lid over a hole, which the file has not.
    pub(super) fn is_lid(&self, triangle: usize) -> bool {
        self.file[triangle] == NONE
    }

    /// Adds triangles that the file has not.
    pub(super) fn add_lids(&mut self, lids: Vec<Numbers>) {
        if lids.is_empty() {
            return;
        }
        self.file.resize(self.file.len() + lids.len(), NONE);
        self.triangles.extend(lids);
        self.sides = Sides::of(&self.triangles, self.corners.len());
    }

    /// Makes one of corners: every number becomes what `now` says.
    pub(super) fn renumber(&mut self, now: impl Fn(u32) -> u32) {
        for numbers in &mut self.triangles {
            *numbers = numbers.map(&now);
        }
        self.settle();
    }

    /// Drops triangles that are no higher than the tolerance.
    fn drop_flat(&mut self) {
        let (corners, tolerance) = (&self.corners, self.tolerance);
        let is_flat = |&[a, b, c]: &Numbers| {
            a == b || b == c || c == a || {
                height([a, b, c].map(|at| corners[at as usize])) <= tolerance
            }
        };
        let flat: Vec<usize> = (0..self.triangles.len())
            .into_par_iter()
            .with_min_len(4096)
            .filter(|&at| is_flat(&self.triangles[at]))
            .collect();
        self.flat.extend(flat.iter().map(|&at| self.file[at]));
        self.drop(&flat);
    }

    /// Finds how triangles meet, without those of the same three corners: the
    /// first of the file stays.
    fn settle(&mut self) {
        self.drop_flat();
        self.sides = Sides::of(&self.triangles, self.corners.len());
        let doubled = self.same_corners();
        if !doubled.is_empty() {
            self.doubled.extend(doubled.iter().map(|&at| self.file[at]));
            self.drop(&doubled);
            self.sides = Sides::of(&self.triangles, self.corners.len());
        }
    }

    /// Triangles with the corners of one that comes before them in the file.
    fn same_corners(&mut self) -> Vec<usize> {
        let crowded = self.sides.crowds.iter().flatten().map(|side| side / 3);
        let twins = self.sides.twins.as_chunks::<3>().0;
        let back_to_back = (0_u32..)
            .zip(twins)
            .filter(|(_, [a, b, c])| a / 3 == b / 3 && b / 3 == c / 3 && *a < CROWD)
            .map(|(at, _)| at);
        let mut alike: Vec<(Numbers, u32, u32)> = crowded
            .chain(back_to_back)
            .map(|at| {
                let mut numbers = self.triangles[at as usize];
                numbers.sort_unstable();
                (numbers, self.file[at as usize], at)
            })
            .collect();
        alike.sort_unstable();
        alike.dedup();
        let mut doubled = Vec::new();
        for alike in alike.chunk_by(|a, b| a.0 == b.0) {
            let [(_, file, first), others @ ..] = alike else {
                continue;
            };
            let kept = is_rising(self.triangles[*first as usize]);
            let turned = |at: u32| {
                if is_rising(self.triangles[at as usize]) == kept {
                    1
                } else {
                    -1
                }
            };
            let net: i32 = alike.iter().map(|&(.., at)| turned(at)).sum();
            self.nets.push((*file, net));
            doubled.extend(others.iter().map(|&(.., at)| at as usize));
        }
        doubled.sort_unstable();
        doubled
    }

    /// Drops the triangles of these rising numbers.
    fn drop(&mut self, numbers: &[usize]) {
        if numbers.is_empty() {
            return;
        }
        let mut gone = vec![false; self.triangles.len()];
        for &at in numbers {
            gone[at] = true;
        }
        let mut stays = gone.iter().map(|gone| !gone);
        self.triangles.retain(|_| stays.next().unwrap_or(true));
        let mut stays = gone.iter().map(|gone| !gone);
        self.file.retain(|_| stays.next().unwrap_or(true));
    }
}

/// Whether the numbers rise on two of three steps around, not on one.
fn is_rising([a, b, c]: Numbers) -> bool {
    [a < b, b < c, c < a].iter().filter(|rises| **rises).count() == 2
}

/// The height of a triangle over its longest side.
pub(super) fn height(corners: [Corner; 3]) -> f64 {
    let longest = (0..3)
        .map(|k| less(corners[(k + 1) % 3], corners[k]))
        .map(|side| dot(side, side))
        .fold(0.0, f64::max)
        .sqrt();
    if longest > 0.0 {
        length(normal(corners)) / longest
    } else {
        0.0
    }
}

/// A triangle's plane.
#[derive(Debug, Clone, Copy)]
pub(super) struct Plane {
    /// Of length 1, to the side where the corners run counter-clockwise.
    pub(super) normal: Corner,
    /// One over the square of the triangle's height, in 1/mm².
    pub(super) steep: f64,
}

impl Plane {
    pub(super) fn of(corners: [Corner; 3]) -> Self {
        let normal = unit(normal(corners));
        Self {
            normal,
            steep: height(corners).powi(-2),
        }
    }
}

/// A side that more than two triangles share.
pub(super) const CROWD: u32 = u32::MAX - 1;

/// How triangles meet along their sides. Side `k` of triangle `t`, from its
/// corner `k` to the next, has the number `3 t + k`.
#[derive(Debug, Default)]
pub(super) struct Sides {
    /// The only other side between the same corners; [`NONE`] where there is
    /// none, [`CROWD`] where there are several.
    pub(super) twins: Vec<u32>,
    /// The sides that stand together where more than two do.
    pub(super) crowds: Vec<Vec<u32>>,
}

impl Sides {
    fn of(triangles: &[Numbers], corners: usize) -> Self {
        // Sides by their lower corner, each with the other one.
        let mut starts = vec![0_u32; corners + 1];
        let ends = |numbers: &Numbers, k: usize| {
            let (a, b) = (numbers[k], numbers[(k + 1) % 3]);
            (a.min(b), a.max(b))
        };
        for numbers in triangles {
            for k in 0..3 {
                starts[ends(numbers, k).0 as usize + 1] += 1;
            }
        }
        for at in 1..starts.len() {
            starts[at] += starts[at - 1];
        }
        let mut next = starts.clone();
        let mut entries = vec![(0_u32, 0_u32); 3 * triangles.len()];
        for (at, numbers) in triangles.iter().enumerate() {
            for k in 0..3 {
                let (low, high) = ends(numbers, k);
                let place = &mut next[low as usize];
                entries[*place as usize] = (high, (3 * at + k) as u32);
                *place += 1;
            }
        }
        // The sides at each corner by their other end, in blocks of corners.
        let mut rest = &mut entries[..];
        let mut blocks = Vec::with_capacity(corners.div_ceil(BLOCK));
        for first in (0..corners).step_by(BLOCK) {
            let starts = &starts[first..=corners.min(first + BLOCK)];
            let count = starts[starts.len() - 1] - starts[0];
            let (block, others) = rest.split_at_mut(count as usize);
            blocks.push((starts, block));
            rest = others;
        }
        let crowds: Vec<Vec<Vec<u32>>> = blocks.into_par_iter().map(sorted).collect();
        let twin = |side: usize| {
            let (low, high) = ends(&triangles[side / 3], side % 3);
            let bucket = &entries[starts[low as usize] as usize..starts[low as usize + 1] as usize];
            let first = bucket.partition_point(|(end, _)| *end < high);
            let mut others = bucket[first..]
                .iter()
                .take_while(|(end, _)| *end == high)
                .filter(|(_, other)| *other as usize != side);
            match (others.next(), others.next()) {
                (None, _) => NONE,
                (Some((_, other)), None) => *other,
                _ => CROWD,
            }
        };
        let twins = (0..3 * triangles.len()).into_par_iter();
        Self {
            twins: twins.with_min_len(BLOCK).map(twin).collect(),
            crowds: crowds.into_iter().flatten().collect(),
        }
    }

    /// The only neighbour across a side, with the number of its side.
    pub(super) fn twin(&self, side: u32) -> Option<u32> {
        Some(self.twins[side as usize]).filter(|&twin| twin < CROWD)
    }
}

/// Sorts the sides at each of some corners by their other end, and finds where
/// more than two stand together.
fn sorted((starts, entries): (&[u32], &mut [(u32, u32)])) -> Vec<Vec<u32>> {
    let mut crowds = Vec::new();
    for ends in starts.windows(2) {
        let [from, to] = [ends[0], ends[1]].map(|at| (at - starts[0]) as usize);
        let bucket = &mut entries[from..to];
        bucket.sort_unstable();
        let together = bucket.chunk_by(|a, b| a.0 == b.0);
        let crowded = together.filter(|together| together.len() > 2);
        crowds.extend(crowded.map(|crowd| crowd.iter().map(|entry| entry.1).collect()));
    }
    crowds
}

/// Triangles whose corners are numbered together, few enough for a processor's
/// cache.
const BLOCK: usize = 1 << 13;

/// Corners without repeats, in the order of their first appearance, and the
/// number of each triangle's. Corners are the same where their coordinates are,
/// bit for bit, but for the sign of zero.
fn numbered(
    count: usize,
    triangle: impl Fn(usize) -> [Corner; 3] + Sync,
) -> (Vec<Corner>, Vec<Numbers>) {
    // Neighbours are near each other in the order too: each block by itself
    // finds most of what is the same.
    let blocks: Vec<(Vec<Corner>, Vec<Numbers>)> = (0..count.div_ceil(BLOCK))
        .into_par_iter()
        .map_init(Vec::new, |triangles, block| {
            let mine = block * BLOCK..count.min((block + 1) * BLOCK);
            let mut index = Index::of_up_to(3 * mine.len());
            // All at once, for they lie far apart in the file.
            triangles.clear();
            triangles.extend(mine.map(&triangle));
            let number = |of: &[Corner; 3]| of.map(|corner| index.number(corner));
            let numbers = triangles.iter().map(number).collect();
            (index.corners, numbers)
        })
        .collect();
    let mut index = Index::of_up_to(blocks.iter().map(|(corners, _)| corners.len()).sum());
    let names: Vec<Vec<u32>> = blocks
        .iter()
        .map(|(corners, _)| corners.iter().map(|at| index.number(*at)).collect())
        .collect();
    let numbers = (0..count)
        .into_par_iter()
        .with_min_len(BLOCK)
        .map(|at| {
            let names = &names[at / BLOCK];
            blocks[at / BLOCK].1[at % BLOCK].map(|number| names[number as usize])
        })
        .collect();
    (index.corners, numbers)
}

/// Corners by number, found by their coordinates.
struct Index {
    corners: Vec<Corner>,
    /// Numbers by hash, each in the first free place from there on.
    table: Vec<u32>,
}

impl Index {
    fn of_up_to(count: usize) -> Self {
        Self {
            corners: Vec::new(),
            table: vec![0; (count + count / 2 + 1).next_power_of_two()],
        }
    }

    /// The number of a corner, a new one if it was not there before.
    fn number(&mut self, corner: Corner) -> u32 {
        let mask = self.table.len() - 1;
        let mut place = hash(corner) as usize & mask;
        loop {
            // One more than the number, so that the table begins as zeros.
            let there = self.table[place];
            if there == 0 {
                self.corners.push(corner);
                self.table[place] = self.corners.len() as u32;
                return self.corners.len() as u32 - 1;
            }
            if is_same(self.corners[there as usize - 1], corner) {
                return there - 1;
            }
            place = (place + 1) & mask;
        }
    }
}

fn is_same(a: Corner, b: Corner) -> bool {
    // Adding zero makes -0 to 0.
    (0..3).all(|axis| (a[axis] + 0.0).to_bits() == (b[axis] + 0.0).to_bits())
}

fn hash(point: Corner) -> u32 {
    let bits = point.map(|number| (number + 0.0).to_bits());
    let mixed = bits.iter().fold(0_u64, |mixed, bits| {
        (mixed.rotate_left(23) ^ bits).wrapping_mul(0x9e37_79b9_7f4a_7c15)
    });
    (mixed >> 29) as u32
}
