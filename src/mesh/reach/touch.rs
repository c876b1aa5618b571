//! Where two triangles meet other than along a common side.

use super::super::Corner;
use super::super::space::{cross, dot, length, less, plus, times, unit};
use super::weld::{Numbers, Plane};

/// How many times the tolerance a plane may be off far from its triangle; what
/// is off by more is not what rounding makes.
const MOST_TILT: f64 = 64.0;

/// How far the corners of a triangle stand above a plane, and whether that is
/// sure however little the corners of the plane's own triangle may be off.
struct Above {
    above: [f64; 3],
    is_sure: bool,
}

/// How two triangles meet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Meeting {
    /// Along a line, from point to point.
    Line([Corner; 2]),
    /// They lie on each other.
    Stack,
}

/// One of two triangles.
#[derive(Debug, Clone, Copy)]
pub(super) struct Flat<'a> {
    pub(super) numbers: &'a Numbers,
    pub(super) corners: [&'a Corner; 3],
    pub(super) plane: &'a Plane,
}

impl Flat<'_> {
    /// Which of its corners the other has, too, and which of the other's it has.
    fn shared(&self, other: &Self) -> [[bool; 3]; 2] {
        let mut shared = [[false; 3]; 2];
        for (own, number) in self.numbers.iter().enumerate() {
            for (its, other) in other.numbers.iter().enumerate() {
                shared[0][own] |= number == other;
                shared[1][its] |= number == other;
            }
        }
        shared
    }

    /// How far its corners stand above the other's plane; what is shared or
    /// within the tolerance lies in it.
    #[allow(
        clippy::needless_bitwise_bool,
        reason = "branches that no processor could foresee"
    )]
    fn above(&self, other: &Self, shared: [bool; 3], tolerance: f64) -> Above {
        let near = tolerance * tolerance;
        let mut is_sure = true;
        let above = std::array::from_fn(|k| {
            let to = less(*self.corners[k], *other.corners[0]);
            let above = dot(other.plane.normal, to);
            let square = above * above;
            let is_flat = shared[k] | (square <= near);
            is_sure &= is_flat | (square > near * (1.0 + dot(to, to) * other.plane.steep));
            if is_flat { 0.0 } else { above }
        });
        Above { above, is_sure }
    }

    /// The same where that is not sure: a plane tilts as the corners of its
    /// triangle are off, so that far from it, for its size, less is known of it.
    fn settled(&self, other: &Self, above: [f64; 3], tolerance: f64) -> [f64; 3] {
        std::array::from_fn(|k| {
            let shares = other.shares(*self.corners[k]).map(f64::abs);
            let tilt = shares.iter().sum::<f64>().clamp(1.0, MOST_TILT);
            if above[k].abs() <= tolerance * tilt {
                0.0
            } else {
                above[k]
            }
        })
    }

    /// Whether a side of it has all of `other` beyond, as `is_beyond` finds by
    /// how far inside a corner is, times the side's length, and by the square of
    /// what that is at the tolerance.
    fn parts(&self, other: &Self, tolerance: f64, is_beyond: impl Fn(f64, f64) -> bool) -> bool {
        (0..3).any(|k| {
            let along = less(*self.corners[(k + 1) % 3], *self.corners[k]);
            let inward = cross(self.plane.normal, along);
            let margin = tolerance * tolerance * dot(along, along);
            let inside = |corner: &Corner| dot(inward, less(*corner, *self.corners[k]));
            let mut corners = other.corners.iter();
            corners.all(|corner| is_beyond(inside(corner), margin))
        })
    }

    /// Whether a side of it has all of `other` beyond it, and not just so.
    fn is_off(&self, other: &Self, tolerance: f64) -> bool {
        let is_clear = |inside: f64, margin: f64| inside < 0.0 && inside * inside > margin;
        self.parts(other, tolerance, is_clear)
    }

    /// What share of each corner makes a point of its plane: all from 0 to 1
    /// within it.
    fn shares(&self, point: Corner) -> [f64; 3] {
        let [a, b, c] = self.corners.map(|corner| less(*corner, point));
        let of = |one, other| dot(self.plane.normal, cross(one, other));
        let shares = [of(b, c), of(c, a), of(a, b)];
        let whole: f64 = shares.iter().sum();
        shares.map(|share| share / whole)
    }

    /// Inward normals of its sides in its plane, of length 1.
    fn inward(&self) -> [Corner; 3] {
        std::array::from_fn(|k| {
            let along = less(*self.corners[(k + 1) % 3], *self.corners[k]);
            unit(cross(self.plane.normal, along))
        })
    }
}

/// How `a` and `b` meet; none where they are apart, touch at a point or only
/// along a side that they share. What is closer than the tolerance touches.
pub(super) fn meet(a: &Flat, b: &Flat, tolerance: f64) -> Option<Meeting> {
    let [own, shared] = a.shared(b);
    let common = shared.iter().filter(|shared| **shared).count();
    let is_parted = match common {
        1 => are_parted(a, own, b, shared, tolerance),
        2 => is_unfolded(a, own, b, shared),
        _ => false,
    };
    if is_parted {
        return None;
    }
    let is_flat = |above: [f64; 3]| above.iter().all(|above| *above == 0.0);
    let b_seen = b.above(a, shared, tolerance);
    let a_seen = a.above(b, own, tolerance);
    let (mut b_above, mut a_above) = (b_seen.above, a_seen.above);
    if !(b_seen.is_sure && a_seen.is_sure) {
        if a.is_off(b, tolerance) || b.is_off(a, tolerance) {
            return None;
        }
        b_above = b.settled(a, b_above, tolerance);
        a_above = a.settled(b, a_above, tolerance);
    }
    // The most common by far, so it comes first.
    if is_one_sided(b_above, common) && !is_flat(a_above) {
        return None;
    }
    // The plane of a small triangle says little of what is far from it: one of
    // the two has to lie in the other's plane, not both.
    if is_flat(b_above) || is_flat(a_above) {
        let apart = are_apart(a, b, tolerance) || are_apart(b, a, tolerance);
        return (!apart).then_some(Meeting::Stack);
    }
    if is_one_sided(b_above, common) || is_one_sided(a_above, common) {
        return None;
    }
    if common == 2 {
        return None;
    }
    let line = section(b, b_above)?;
    clipped(line, a, tolerance).map(Meeting::Line)
}

/// Whether a plane through the only corner that the two share, across the way
/// from one to the other, parts them: they meet nowhere else.
fn are_parted(a: &Flat, own: [bool; 3], b: &Flat, shared: [bool; 3], tolerance: f64) -> bool {
    let arms = |of: &Flat, shared: [bool; 3]| {
        let k = shared.iter().position(|shared| *shared).unwrap_or(0);
        [1, 2].map(|next| less(*of.corners[(k + next) % 3], *of.corners[k]))
    };
    let (of_a, of_b) = (arms(a, own), arms(b, shared));
    let way = |arms: [Corner; 2]| plus(arms[0], arms[1]);
    let (to_a, to_b) = (way(of_a), way(of_b));
    // Halfway, so that a long triangle does not tilt the plane into a short one.
    let across = less(times(to_b, length(to_a)), times(to_a, length(to_b)));
    let margin = tolerance * tolerance * dot(across, across);
    let is_beyond = |along: f64| along > 0.0 && along * along > margin;
    of_b.iter().all(|arm| is_beyond(dot(*arm, across)))
        && of_a.iter().all(|arm| is_beyond(-dot(*arm, across)))
}

/// Whether the only corner of `b` that `a` has not lies beyond the side that the
/// two share: they meet nowhere else.
fn is_unfolded(a: &Flat, own: [bool; 3], b: &Flat, shared: [bool; 3]) -> bool {
    let alone = |shared: [bool; 3]| shared.iter().position(|shared| !shared).unwrap_or(0);
    // The side after the corner that is not shared.
    let (from, to) = ((alone(own) + 1) % 3, (alone(own) + 2) % 3);
    let inward = cross(a.plane.normal, less(*a.corners[to], *a.corners[from]));
    dot(inward, less(*b.corners[alone(shared)], *a.corners[from])) <= 0.0
}

/// Whether a triangle with corners so far above a plane meets it nowhere, or
/// only in the corners that it shares, or in a single other one.
fn is_one_sided(above: [f64; 3], common: usize) -> bool {
    let up = above.iter().filter(|above| **above > 0.0).count();
    let down = above.iter().filter(|above| **above < 0.0).count();
    let stays_on_a_side = up == 0 || down == 0;
    (stays_on_a_side && up + down >= 2) || (common == 2 && up + down == 1)
}

/// Whether a side of `a` has all of `b` behind it; both lie in one plane.
fn are_apart(a: &Flat, b: &Flat, tolerance: f64) -> bool {
    a.parts(b, tolerance, |inside, margin| {
        inside <= 0.0 || inside * inside <= margin
    })
}

/// The line along which a triangle meets a plane that its corners stand so far
/// above.
fn section(of: &Flat, above: [f64; 3]) -> Option<[Corner; 2]> {
    let mut points = [[0.0; 3]; 3];
    let mut count = 0;
    for k in 0..3 {
        let (from, to) = (k, (k + 1) % 3);
        if above[from] == 0.0 {
            points[count] = *of.corners[from];
            count += 1;
        } else if above[from] * above[to] < 0.0 {
            let share = above[from] / (above[from] - above[to]);
            let along = less(*of.corners[to], *of.corners[from]);
            points[count] = plus(*of.corners[from], times(along, share));
            count += 1;
        }
    }
    (count == 2).then_some([points[0], points[1]])
}

/// The part of a line that is on a triangle, if it is longer than the
/// tolerance.
fn clipped(line: [Corner; 2], to: &Flat, tolerance: f64) -> Option<[Corner; 2]> {
    let along = less(line[1], line[0]);
    let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
    for (k, inward) in to.inward().into_iter().enumerate() {
        let from = dot(inward, less(line[0], *to.corners[k])) + tolerance;
        let change = dot(inward, along);
        if change > 0.0 {
            enter = enter.max(-from / change);
        } else if change < 0.0 {
            leave = leave.min(-from / change);
        } else if from < 0.0 {
            return None;
        }
    }
    let at = |share: f64| plus(line[0], times(along, share));
    ((leave - enter) * length(along) > 3.0 * tolerance).then(|| [at(enter), at(leave)])
}
