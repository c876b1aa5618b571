//! How far the surface leans away from a point: the measure of a tip.

use super::boxes::Boxes;
use crate::mesh::space::{cross, dot, length, less, middle, normal, plus, times, unit};
use crate::mesh::{Corner, Facet};

/// The surface within a ball around a point.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Lean {
    /// In mm².
    area: f64,
    /// The area times where it is, seen from the point.
    moment: Corner,
    /// The area times where it is turned.
    turned: Corner,
}

impl Lean {
    /// Of the surface within `radius` of `point`; triangles are cut at the ball
    /// exactly, so that it does not matter how fine they are.
    pub(super) fn at(boxes: &Boxes<'_>, point: Corner, radius: f64) -> Self {
        let mut lean = Self::default();
        boxes.near(point, radius, |facet| lean.add(facet, point, radius));
        lean
    }

    fn add(&mut self, facet: &Facet, point: Corner, radius: f64) {
        let from_point = facet.corners.map(|corner| less(corner, point));
        let doubled = normal(facet.corners);
        if from_point
            .iter()
            .all(|&corner| dot(corner, corner) <= radius * radius)
        {
            let area = length(doubled) / 2.0;
            self.area += area;
            self.moment = plus(self.moment, times(middle(from_point), area));
            self.turned = plus(self.turned, times(doubled, 0.5));
            return;
        }
        let upright = unit(doubled);
        let height = dot(from_point[0], upright);
        let disc_squared = radius * radius - height * height;
        if disc_squared <= 0.0 {
            return;
        }
        let x_way = unit(less(facet.corners[1], facet.corners[0]));
        let y_way = cross(upright, x_way);
        let flat = from_point.map(|corner| [dot(corner, x_way), dot(corner, y_way)]);
        let (area, moment) = within_disc(flat, disc_squared.sqrt());
        self.area += area;
        let in_plane = plus(times(x_way, moment[0]), times(y_way, moment[1]));
        self.moment = plus(self.moment, plus(in_plane, times(upright, height * area)));
        self.turned = plus(self.turned, times(upright, area));
    }

    /// Where the surface lies on average, seen from the point, in mm.
    pub(super) fn mean(&self) -> Corner {
        if self.area > 0.0 {
            times(self.moment, 1.0 / self.area)
        } else {
            [0.0; 3]
        }
    }

    /// How far the surface leans away, from 0 on a plane to 1. The mean of a
    /// round cone of half angle a, seen from its apex, is 2/3 cos a of the
    /// radius away, so this is the cosine of the half angle of the cone that
    /// leans as far.
    pub(super) fn pointedness(&self, radius: f64) -> f64 {
        (1.5 * length(self.mean()) / radius).min(1.0)
    }

    /// How thin the solid is in the ball, from 0 on a plane to 1. A cone fills
    /// sin² a of the ball's section; as all that closes a surface sums to
    /// nothing, the sides that are turned outwards sum to that section. So this
    /// is the cosine of the half angle of the cone that is as thin.
    pub(super) fn sharpness(&self, radius: f64) -> f64 {
        let section = std::f64::consts::PI * radius * radius;
        (1.0 - length(self.turned) / section).clamp(0.0, 1.0).sqrt()
    }

    /// Whether the surface lies behind the point and not before it.
    pub(super) fn is_convex(&self) -> bool {
        dot(self.turned, self.moment) < 0.0
    }
}

type Flat = [f64; 2];

/// Area and first moment of the part of a triangle within a disc around the
/// origin: what lies between the origin and each side, added with its sign.
fn within_disc(corners: [Flat; 3], radius: f64) -> (f64, Flat) {
    let mut sum = (0.0, [0.0; 2]);
    for at in 0..3 {
        let part = under_side(corners[at], corners[(at + 1) % 3], radius);
        sum.0 += part.0;
        sum.1 = [sum.1[0] + part.1[0], sum.1[1] + part.1[1]];
    }
    sum
}

/// The part of the triangle origin, a, b within the disc: a triangle where the
/// side is inside, sectors where it is not.
fn under_side(a: Flat, b: Flat, radius: f64) -> (f64, Flat) {
    let way = [b[0] - a[0], b[1] - a[1]];
    let squared = way[0] * way[0] + way[1] * way[1];
    if squared == 0.0 {
        return (0.0, [0.0; 2]);
    }
    let half = (a[0] * way[0] + a[1] * way[1]) / squared;
    let rest = (a[0] * a[0] + a[1] * a[1] - radius * radius) / squared;
    let root = half * half - rest;
    if root <= 0.0 {
        return sector(a, b, radius);
    }
    let (enter, leave) = (-half - root.sqrt(), -half + root.sqrt());
    if leave <= 0.0 || enter >= 1.0 {
        return sector(a, b, radius);
    }
    let on_side = |share: f64| [a[0] + share * way[0], a[1] + share * way[1]];
    let (from, to) = (on_side(enter.max(0.0)), on_side(leave.min(1.0)));
    let area = (from[0] * to[1] - from[1] * to[0]) / 2.0;
    let third = area / 3.0;
    let mut sum = (area, [(from[0] + to[0]) * third, (from[1] + to[1]) * third]);
    for (start, end, is_there) in [(a, from, enter > 0.0), (to, b, leave < 1.0)] {
        if is_there {
            let part = sector(start, end, radius);
            sum.0 += part.0;
            sum.1 = [sum.1[0] + part.1[0], sum.1[1] + part.1[1]];
        }
    }
    sum
}

/// The sector of the disc from the direction of `a` to that of `b`, the short
/// way round.
fn sector(a: Flat, b: Flat, radius: f64) -> (f64, Flat) {
    let turn = (a[0] * b[1] - a[1] * b[0]).atan2(a[0] * b[0] + a[1] * b[1]);
    let along = |corner: Flat| {
        let length = corner[0].hypot(corner[1]);
        if length > 0.0 {
            [corner[0] / length, corner[1] / length]
        } else {
            [0.0; 2]
        }
    };
    let (from, to) = (along(a), along(b));
    let cubed = radius.powi(3) / 3.0;
    let moment = [(to[1] - from[1]) * cubed, (from[0] - to[0]) * cubed];
    (radius * radius * turn / 2.0, moment)
}

#[cfg(test)]
mod tests {
    use super::*;

    const BIG: f64 = 100.0;

    /// Halves and quarters of discs: area and centroid 4 r / 3 pi as in every
    /// table of centroids.
    #[test]
    fn a_quarter_disc_has_the_centroid_of_the_tables() {
        let (area, moment) = within_disc([[0.0, 0.0], [BIG, 0.0], [0.0, BIG]], 2.0);
        assert!((area - std::f64::consts::PI).abs() < 1e-12);
        let centroid = 4.0 * 2.0 / (3.0 * std::f64::consts::PI);
        assert!((moment[0] / area - centroid).abs() < 1e-12);
        assert!((moment[1] / area - centroid).abs() < 1e-12);
    }

    #[test]
    fn a_triangle_inside_or_around_or_away_from_the_disc() {
        let (area, moment) = within_disc([[1.0, 1.0], [2.0, 1.0], [1.0, 2.0]], 5.0);
        assert!((area - 0.5).abs() < 1e-12 && (moment[0] - 0.5 * 4.0 / 3.0).abs() < 1e-12);
        let (area, moment) = within_disc([[-BIG, -BIG], [BIG, -BIG], [0.0, BIG]], 3.0);
        assert!((area - 9.0 * std::f64::consts::PI).abs() < 1e-9);
        assert!(moment[0].abs() < 1e-9 && moment[1].abs() < 1e-9);
        let (area, _) = within_disc([[9.0, 9.0], [10.0, 9.0], [9.0, 10.0]], 3.0);
        assert!(area.abs() < 1e-12);
    }
}
