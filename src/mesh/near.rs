//! Distances between points, sides and triangles.

use super::space::{cross, dot, length, less, normal, plus, times};
use super::{Corner, Facet};

/// How far apart two things are, and where: a point of each.
pub(super) type Apart = (f64, [Corner; 2]);

fn apart(a: Corner, b: Corner) -> Apart {
    (length(less(a, b)), [a, b])
}

fn nearer(a: Apart, b: Apart) -> Apart {
    if b.0 < a.0 { b } else { a }
}

impl Facet {
    /// How far a point is from it, both in mm.
    pub fn away_mm(&self, point: Corner) -> f64 {
        point_to_triangle(point, self.corners).0
    }
}

/// From a point to a triangle, and the nearest point of the triangle.
pub(super) fn point_to_triangle(point: Corner, triangle: [Corner; 3]) -> (f64, Corner) {
    let [a, b, c] = triangle;
    let upright = normal(triangle);
    let square = dot(upright, upright);
    let is_left =
        |from: Corner, to: Corner| dot(cross(less(to, from), less(point, from)), upright) >= 0.0;
    if square > 0.0 && is_left(a, b) && is_left(b, c) && is_left(c, a) {
        let height = dot(less(point, a), upright) / square;
        let foot = less(point, times(upright, height));
        return (length(less(point, foot)), foot);
    }
    let sides = [[a, b], [b, c], [c, a]];
    let each = sides.map(|side| {
        let foot = on_side(point, side);
        (length(less(point, foot)), foot)
    });
    each.into_iter().fold((f64::INFINITY, a), |best, next| {
        if next.0 < best.0 { next } else { best }
    })
}

/// The point of a side that is nearest to a point.
fn on_side(point: Corner, [from, to]: [Corner; 2]) -> Corner {
    let along = less(to, from);
    let square = dot(along, along);
    if square <= 0.0 {
        return from;
    }
    let share = (dot(less(point, from), along) / square).clamp(0.0, 1.0);
    plus(from, times(along, share))
}

/// Between two sides.
///
/// Where they are not parallel the nearest points of their lines decide, else
/// an end of one of them does; taking all of these is exact in every case.
fn side_to_side(one: [Corner; 2], other: [Corner; 2]) -> Apart {
    let ends = [
        apart(one[0], on_side(one[0], other)),
        apart(one[1], on_side(one[1], other)),
        apart(on_side(other[0], one), other[0]),
        apart(on_side(other[1], one), other[1]),
    ];
    let best = ends.into_iter().fold((f64::INFINITY, one), nearer);
    let (u, v) = (less(one[1], one[0]), less(other[1], other[0]));
    let between = less(other[0], one[0]);
    let upright = cross(u, v);
    let square = dot(upright, upright);
    if square <= 0.0 {
        return best;
    }
    let s = dot(cross(between, v), upright) / square;
    let t = dot(cross(between, u), upright) / square;
    if !((0.0..=1.0).contains(&s) && (0.0..=1.0).contains(&t)) {
        return best;
    }
    nearer(
        best,
        apart(plus(one[0], times(u, s)), plus(other[0], times(v, t))),
    )
}

/// Between two triangles that do not cross ([`crossing`]); 0 where they touch.
pub(super) fn triangle_to_triangle(one: [Corner; 3], other: [Corner; 3]) -> Apart {
    let sides = |[a, b, c]: [Corner; 3]| [[a, b], [b, c], [c, a]];
    let mut best = (f64::INFINITY, [one[0], other[0]]);
    for side in sides(one) {
        for against in sides(other) {
            best = nearer(best, side_to_side(side, against));
        }
    }
    for corner in one {
        let (_, foot) = point_to_triangle(corner, other);
        best = nearer(best, apart(corner, foot));
    }
    for corner in other {
        let (_, foot) = point_to_triangle(corner, one);
        best = nearer(best, apart(foot, corner));
    }
    best
}

/// Where a side goes through the inside of a triangle, from one side of it to
/// the other.
pub(super) fn crossing([from, to]: [Corner; 2], triangle: [Corner; 3]) -> Option<Corner> {
    let [a, b, c] = triangle;
    let upright = normal(triangle);
    let (above, below) = (dot(less(from, a), upright), dot(less(to, a), upright));
    if above * below >= 0.0 {
        return None;
    }
    let at = plus(from, times(less(to, from), above / (above - below)));
    let is_left =
        |from: Corner, to: Corner| dot(cross(less(to, from), less(at, from)), upright) > 0.0;
    (is_left(a, b) && is_left(b, c) && is_left(c, a)).then_some(at)
}
