//! Corners about which the triangles lie side by side.

use rayon::prelude::*;

use super::super::space::{cross, dot, less, plus};
use super::weld::{Numbers, Plane, Welded};

/// Whose triangles, seen from one side, fill one round about it: those that
/// share such a corner meet nowhere else, or along the side that they share.
#[derive(Debug)]
pub(super) struct Fans {
    /// By number of the corner.
    plain: Vec<bool>,
}

/// Triangles that lean more than this, as a cosine, against the side from which
/// a corner is seen could come to lie on each other within the tolerance.
const LEAST_UPRIGHT: f64 = 0.05;

/// The most triangles about a corner that are worth going round.
const MOST: usize = 64;

impl Fans {
    /// Of welded triangles with their planes. Those that are `blind` are too
    /// thin to lie beside anything.
    pub(super) fn of(welded: &Welded, planes: &[Plane], blind: &[bool]) -> Self {
        let mut first = vec![(0_u32, 0_u32); welded.corners.len()];
        for (at, numbers) in welded.triangles.iter().enumerate() {
            for (k, &number) in numbers.iter().enumerate() {
                let (side, count) = &mut first[number as usize];
                *side = (3 * at + k) as u32;
                *count += 1;
            }
        }
        let is_plain = |&(side, count): &(u32, u32)| {
            (3..=MOST).contains(&(count as usize))
                && is_one_round(welded, planes, blind, side, count as usize)
        };
        let mut plain = Vec::new();
        first
            .par_iter()
            .with_min_len(4096)
            .map(is_plain)
            .collect_into_vec(&mut plain);
        Self { plain }
    }

    /// Whether two triangles share a corner about which they lie side by side.
    #[allow(
        clippy::needless_bitwise_bool,
        reason = "branches that no processor could foresee"
    )]
    pub(super) fn part(&self, a: &Numbers, b: &Numbers) -> bool {
        let is_common = |number: u32| (number == b[0]) | (number == b[1]) | (number == b[2]);
        let parts = a.map(|number| is_common(number) & self.plain[number as usize]);
        parts[0] | parts[1] | parts[2]
    }
}

/// Whether the triangles about the corner where `first` starts, `count` of them,
/// go round it once.
fn is_one_round(
    welded: &Welded,
    planes: &[Plane],
    blind: &[bool],
    first: u32,
    count: usize,
) -> bool {
    let number = |side: u32| welded.triangles[side as usize / 3][side as usize % 3];
    let around = |side: u32, by: u32| side - side % 3 + (side + by) % 3;
    let (mut sides, mut side) = ([0; MOST], first);
    let mut up = [0.0; 3];
    for place in &mut sides[..count] {
        *place = side;
        let triangle = side as usize / 3;
        if blind[triangle] {
            return false;
        }
        up = plus(up, planes[triangle].normal);
        // The side that ends at the corner is where the next one starts.
        match welded.sides.twin(around(side, 2)) {
            Some(next) if number(next) == number(first) => side = next,
            _ => return false,
        }
    }
    if side != first || sides[1..count].contains(&first) {
        return false;
    }
    let upright = LEAST_UPRIGHT * dot(up, up).sqrt();
    let sides = &sides[..count];
    let leans = |side: &u32| dot(planes[*side as usize / 3].normal, up) <= upright;
    if sides.iter().any(leans) {
        return false;
    }
    let corner = welded.corners[number(first) as usize];
    let arm = |side: u32| less(welded.corners[number(around(side, 1)) as usize], corner);
    let across = cross(up, arm(first));
    let is_left = |side: &u32| dot(across, arm(*side)) >= 0.0;
    let mut was_left = is_left(&sides[count - 1]);
    let mut rounds = 0;
    for side in sides {
        let left = is_left(side);
        rounds += usize::from(left && !was_left);
        was_left = left;
    }
    rounds == 1
}
