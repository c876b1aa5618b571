//! One flat triangle that carries an even sheet of charge or of dipoles, and
//! the potential these make.

use std::f64::consts::PI;

use crate::mesh::space::{area, cross, dot, length, less, middle, normal, plus, times, unit};

/// A place or a direction; places in metres.
pub type Point = [f64; 3];

/// A flat triangle. Its corners run counter-clockwise seen from the liquid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Panel {
    /// Its corners, m.
    pub corners: [Point; 3],
    /// Its middle (centroid), m: where the equations are held.
    pub middle: Point,
    /// Of length 1, upright, into the liquid.
    pub normal: Point,
    /// Its area, m².
    pub area: f64,
    /// From the middle to the farthest corner, m.
    pub radius: f64,
}

/// What a panel makes at a place, per unit of what it carries.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Potential {
    /// `∫ 1/(4π r) dA` in m: of one unit of charge per m².
    pub single: f64,
    /// `∫ ∂/∂n 1/(4π r) dA`, no unit: of one unit of dipole per m² along the
    /// normal; the solid angle over 4π, positive on the side of the normal.
    pub double: f64,
}

impl std::ops::AddAssign for Potential {
    fn add_assign(&mut self, other: Self) {
        self.single += other.single;
        self.double += other.double;
    }
}

/// A panel farther away than so many of its radii is summed at three points:
/// the error of that falls with the fourth power of the distance.
const NEAR_RADII: f64 = 5.0;

/// A place less than so many radii above a panel lies on it: the middle of a
/// panel of some micrometres far from the origin does, as near as numbers tell.
const FLAT: f64 = 1e-9;

impl Panel {
    /// The panel with these corners, m.
    pub fn new(corners: [Point; 3]) -> Self {
        let middle = middle(corners);
        let radius = corners
            .iter()
            .map(|corner| length(less(*corner, middle)))
            .fold(0.0, f64::max);
        Self {
            corners,
            middle,
            normal: unit(normal(corners)),
            area: area(corners),
            radius,
        }
    }

    /// Three points that, a third of the area each, stand for the panel from
    /// afar: exact to the second degree (Strang & Fix 1973, from memory).
    pub fn points(&self) -> [Point; 3] {
        self.corners
            .map(|corner| plus(times(corner, 0.5), times(self.middle, 0.5)))
    }

    /// Its four equal parts.
    pub fn quartered(&self) -> [Self; 4] {
        let [a, b, c] = self.corners;
        let half = |p: Point, q: Point| times(plus(p, q), 0.5);
        let (ab, bc, ca) = (half(a, b), half(b, c), half(c, a));
        [[a, ab, ca], [ab, b, bc], [ca, bc, c], [bc, ca, ab]].map(Self::new)
    }

    /// The potential at `place`: in closed form nearby, of three points afar.
    pub fn potential(&self, place: Point) -> Potential {
        let away = less(place, self.middle);
        let reach = NEAR_RADII * self.radius;
        if dot(away, away) < reach * reach {
            self.potential_near(place)
        } else {
            self.potential_far(place)
        }
    }

    /// The potential in closed form, right anywhere: on the panel, where
    /// `double` is its mean over the two sides, 0, and on its edges.
    ///
    /// Wilton, Rao & Glisson, IEEE Trans. Antennas Propag. 32 (1984) 276, for
    /// the single layer; van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30
    /// (1983) 125, for the solid angle. Both from memory.
    pub fn potential_near(&self, place: Point) -> Potential {
        let away = self.corners.map(|corner| less(corner, place));
        let far = away.map(length);
        let height = -dot(away[0], self.normal);
        let flat = height.abs() < FLAT * self.radius;
        let solid = if flat { 0.0 } else { solid_angle(away, far) };
        let mut edges = 0.0;
        for k in 0..3 {
            edges += edge(
                away[k],
                away[(k + 1) % 3],
                far[k],
                far[(k + 1) % 3],
                self.normal,
            );
        }
        Potential {
            single: (edges - height * solid) / (4.0 * PI),
            double: solid / (4.0 * PI),
        }
    }

    /// Adds what a unit of charge and of dipole per m² make at all the places:
    /// the same as [`Self::potential`], many places at a time.
    #[inline(always)]
    pub(super) fn add_potentials(&self, places: &Places, single: &mut [f32], double: &mut [f32]) {
        let from = |point: Point| less(point, places.origin).map(|at| at as f32);
        let middle = from(self.middle);
        let points = self.points().map(from);
        let normal = self.normal.map(|along| along as f32);
        let reach = ((NEAR_RADII * self.radius) as f32).powi(2);
        let weight = (self.area / (12.0 * PI)) as f32;
        let count = single.len();
        let [x, y, z] = places.along.each_ref().map(|along| &along[..count]);
        let double = &mut double[..count];
        for k in 0..count {
            let square = square(away([x[k], y[k], z[k]], middle));
            let weight = if square < reach { 0.0 } else { weight };
            let (mut one, mut two) = (0.0, 0.0);
            for point in points {
                let away = away([x[k], y[k], z[k]], point);
                let inverse = 1.0 / self::square(away).sqrt();
                let height = away[0] * normal[0] + away[1] * normal[1] + away[2] * normal[2];
                one += inverse;
                two += inverse * inverse * inverse * height;
            }
            // A point may lie on a place that is near: nothing times infinity.
            single[k] += if weight > 0.0 { one * weight } else { 0.0 };
            double[k] += if weight > 0.0 { two * weight } else { 0.0 };
        }
        for k in 0..count {
            if square(away([x[k], y[k], z[k]], middle)) < reach {
                let near = self.potential_near(places.exact[k]);
                single[k] += near.single as f32;
                double[k] += near.double as f32;
            }
        }
    }

    fn potential_far(&self, place: Point) -> Potential {
        let mut sum = Potential::default();
        for point in self.points() {
            let away = less(place, point);
            let inverse = 1.0 / length(away);
            sum.single += inverse;
            sum.double += inverse * inverse * inverse * dot(away, self.normal);
        }
        let weight = self.area / (12.0 * PI);
        Potential {
            single: sum.single * weight,
            double: sum.double * weight,
        }
    }
}

/// Places to be seen from many panels near an origin.
#[derive(Debug)]
pub(super) struct Places {
    origin: Point,
    /// Coordinates from the origin, axis by axis, m.
    along: [Vec<f32>; 3],
    exact: Vec<Point>,
}

impl Places {
    pub(super) fn new(origin: Point, exact: Vec<Point>) -> Self {
        let along = [0, 1, 2].map(|axis| {
            let from = |place: &Point| (place[axis] - origin[axis]) as f32;
            exact.iter().map(from).collect()
        });
        Self {
            origin,
            along,
            exact,
        }
    }
}

#[inline(always)]
fn away(place: [f32; 3], from: [f32; 3]) -> [f32; 3] {
    [place[0] - from[0], place[1] - from[1], place[2] - from[2]]
}

#[inline(always)]
fn square([x, y, z]: [f32; 3]) -> f32 {
    x * x + y * y + z * z
}

/// The share of the edge from `a` to `b` (seen from the place) in the single
/// layer: its distance in the panel's plane times `∫ ds/r` along it.
fn edge(a: Point, b: Point, far_a: f64, far_b: f64, normal: Point) -> f64 {
    let along = less(b, a);
    let long = length(along);
    // Twice the area between foot and edge; the foot on the edge's line has none.
    let wide = dot(cross(a, along), normal);
    if wide.abs() <= 1e-14 * long * long {
        return 0.0;
    }
    let sum = far_a + far_b;
    wide / long * ((sum + long) / (sum - long)).ln()
}

/// The solid angle of a triangle whose corners are seen at `away`, at the
/// distances `far`; positive where the corners run counter-clockwise.
fn solid_angle(away: [Point; 3], far: [f64; 3]) -> f64 {
    let [a, b, c] = away;
    let volume = dot(a, cross(b, c));
    let below =
        far[0] * far[1] * far[2] + dot(a, b) * far[2] + dot(b, c) * far[0] + dot(c, a) * far[1];
    -2.0 * volume.atan2(below)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn panel() -> Panel {
        Panel::new([[0.0, 0.0, 0.0], [0.03, 0.0, 0.0], [0.01, 0.02, 0.005]])
    }

    /// Midpoints of `4^depth` equal parts: numerical quadrature, right to a few
    /// parts in 10⁴ a panel's width away.
    fn summed(panel: &Panel, place: Point, depth: u32) -> Potential {
        if depth == 0 {
            return panel.potential_far(place);
        }
        let mut sum = Potential::default();
        for part in panel.quartered() {
            sum += summed(&part, place, depth - 1);
        }
        sum
    }

    #[test]
    fn closed_form_is_what_quadrature_sums() {
        let panel = panel();
        for lift in [0.002, 0.01, -0.01, 0.1, -0.3] {
            for along in [[0.0; 3], [0.02, 0.0, 0.0], [0.0, 0.05, 0.01]] {
                let place = plus(plus(panel.middle, along), times(panel.normal, lift));
                let (got, sum) = (panel.potential_near(place), summed(&panel, place, 7));
                assert!(
                    (got.single / sum.single - 1.0).abs() < 1e-5,
                    "{got:?} {sum:?}"
                );
                assert!((got.double - sum.double).abs() < 1e-5 * sum.double.abs().max(1e-3));
            }
        }
    }

    #[test]
    fn far_points_are_the_closed_form() {
        let panel = panel();
        for direction in [[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.6, 0.0, 0.8]] {
            let place = plus(panel.middle, times(direction, 5.0 * panel.radius));
            let (near, far) = (panel.potential_near(place), panel.potential_far(place));
            assert!((far.single / near.single - 1.0).abs() < 2e-4);
            assert!((far.double - near.double).abs() < 1e-5, "{near:?} {far:?}");
        }
    }

    #[test]
    fn many_places_are_as_each_alone() {
        let panel = panel();
        let spot = |k: u32| {
            let t = f64::from(k);
            let away = 1e-3 * 1.1_f64.powf(t);
            plus(
                panel.middle,
                times([t.sin(), t.cos(), (2.3 * t).sin()], away),
            )
        };
        let exact: Vec<Point> = (0..77).map(spot).chain([panel.middle]).collect();
        let places = Places::new([0.01, -0.02, 0.03], exact.clone());
        let (mut single, mut double) = (vec![1.0_f32; 78], vec![0.5_f32; 78]);
        panel.add_potentials(&places, &mut single, &mut double);
        let largest = panel.potential(panel.middle).single;
        for (k, place) in exact.into_iter().enumerate() {
            let alone = panel.potential(place);
            assert!((f64::from(single[k] - 1.0) - alone.single).abs() < 2e-5 * largest);
            assert!((f64::from(double[k] - 0.5) - alone.double).abs() < 1e-6);
        }
    }

    #[test]
    fn in_the_middle_of_an_even_triangle() {
        // ∫ 1/r over an equilateral triangle of edge s at its centroid is
        // √3 s ln(2 + √3), and at a corner (√3/2) s ln 3; by hand in polar
        // coordinates.
        let s = 0.02_f64;
        let root = 3.0_f64.sqrt();
        let even = Panel::new([[0.0; 3], [s, 0.0, 0.0], [s / 2.0, s * root / 2.0, 0.0]]);
        let middle = even.potential_near(even.middle);
        assert!((middle.single * 4.0 * PI / (root * s * (2.0 + root).ln()) - 1.0).abs() < 1e-12);
        assert!(middle.double.abs() < 1e-15);
        let corner = even.potential_near(even.corners[0]);
        assert!((corner.single * 4.0 * PI / (root / 2.0 * s * 3.0_f64.ln()) - 1.0).abs() < 1e-9);
    }

    #[test]
    fn just_off_the_panel_half_a_turn_is_seen() {
        // The solid angle of a plane close by is 2π; textbook potential theory.
        let panel = panel();
        for side in [1.0, -1.0] {
            let place = plus(panel.middle, times(panel.normal, side * 1e-9));
            let got = panel.potential_near(place);
            assert!((got.double - side * 0.5).abs() < 1e-5, "{got:?}");
        }
    }

    #[test]
    fn small_panels_do_not_see_themselves() {
        // In its own plane a panel takes up no solid angle, wherever it lies.
        for k in 0..500 {
            let t = f64::from(k);
            let at = [0.3 + 0.1 * t.sin(), 0.4 * t.cos(), 0.2 * (1.7 * t).sin()];
            let aside = |t: f64| times([t.cos(), (1.3 * t).sin(), (0.7 * t).cos()], 1.3e-5);
            let panel = Panel::new([at, plus(at, aside(t)), plus(at, aside(t + 2.0))]);
            assert!(
                panel.potential_near(panel.middle).double.abs() < 1e-12,
                "{k}"
            );
        }
    }

    #[test]
    fn solid_angles_of_a_closed_body_add_up() {
        // Inside 4π, outside nothing, on a face 2π with the face itself left
        // out: Gauss.
        let o = [0.0, 0.0, 0.0];
        let (x, y, z) = ([0.01, 0.0, 0.0], [0.0, 0.02, 0.0], [0.0, 0.0, 0.03]);
        let body = [[o, y, x], [o, x, z], [o, z, y], [x, y, z]].map(Panel::new);
        let seen = |place| {
            body.iter()
                .map(|p| p.potential_near(place).double)
                .sum::<f64>()
        };
        assert!((seen([0.001, 0.002, 0.003]) + 1.0).abs() < 1e-12);
        assert!(seen([0.05, 0.0, 0.01]).abs() < 1e-12);
        for face in body {
            assert!((seen(face.middle) + 0.5).abs() < 1e-12);
        }
    }
}
