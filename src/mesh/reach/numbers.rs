//! Corners without repeats.

use rayon::prelude::*;

use super::super::Corner;
use super::weld::{NONE, Numbers};

/// Triangles whose corners are numbered together, few enough for a processor's
/// cache.
const BLOCK: usize = 1 << 13;

/// Corners without repeats, in the order of their first appearance, and the
/// number of each triangle's. Corners are the same where their coordinates are,
/// bit for bit, but for the sign of zero.
pub(super) fn numbered(
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
    let unique = blocks.iter().map(|(corners, _)| corners.len());
    let starts: Vec<u32> = std::iter::once(0)
        .chain(unique.scan(0, |sum, count| {
            *sum += count as u32;
            Some(*sum)
        }))
        .collect();
    let unique: Vec<&[Corner]> = blocks.iter().map(|(corners, _)| &corners[..]).collect();
    let mut corners = unique.concat();
    let names = without_repeats(&corners);
    let numbers = (0..count)
        .into_par_iter()
        .with_min_len(BLOCK)
        .map(|at| {
            let names = &names[starts[at / BLOCK] as usize..];
            blocks[at / BLOCK].1[at % BLOCK].map(|number| names[number as usize])
        })
        .collect();
    let mut next = 0;
    let mut is_new = names.iter().map(|name| {
        let is_new = *name == next;
        next += u32::from(is_new);
        is_new
    });
    corners.retain(|_| is_new.next().unwrap_or(true));
    (corners, numbers)
}

/// For each corner its number in a list without repeats.
fn without_repeats(corners: &[Corner]) -> Vec<u32> {
    let hashes: Vec<u32> = corners
        .par_iter()
        .with_min_len(BLOCK)
        .map(|at| hash(*at))
        .collect();
    // Those that may be the same come together.
    let repeats: Vec<Vec<(u32, u32)>> = (0..SHARES)
        .into_par_iter()
        .map(|share| {
            let mine: Vec<u32> = (0_u32..)
                .zip(&hashes)
                .filter(|(_, hash)| *hash >> SHARE_BITS == share)
                .map(|(at, _)| at)
                .collect();
            let mut index = Index::of_up_to(mine.len());
            let mut firsts = Vec::new();
            let mut repeats = Vec::new();
            for at in mine {
                let number = index.number(corners[at as usize]) as usize;
                match firsts.get(number) {
                    Some(first) => repeats.push((at, *first)),
                    None => firsts.push(at),
                }
            }
            repeats
        })
        .collect();
    let mut firsts = vec![NONE; corners.len()];
    for (at, first) in repeats.into_iter().flatten() {
        firsts[at as usize] = first;
    }
    let mut next = 0;
    let mut names = Vec::with_capacity(corners.len());
    for first in firsts {
        names.push(if first == NONE {
            next
        } else {
            names[first as usize]
        });
        next += u32::from(first == NONE);
    }
    names
}

/// Corners are told apart in so many shares, side by side.
const SHARES: u32 = 16;

/// The bits of a hash below its share.
const SHARE_BITS: u32 = 28;

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
