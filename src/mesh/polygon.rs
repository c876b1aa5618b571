//! Faces with more than three corners, cut into triangles.

use super::Corner;

/// Cuts polygons into triangles; it keeps its scratch space from one to the
/// next.
#[derive(Debug)]
pub(super) struct Cutter {
    /// The corners in the plane of the polygon, counter-clockwise.
    flat: Vec<[f64; 2]>,
    /// The corners before and after each, of those that are not cut off yet.
    before: Vec<usize>,
    after: Vec<usize>,
    /// How many more times a corner may be held against an ear.
    tests_left: u64,
}

impl Cutter {
    /// A cutter that gives up after so many comparisons of a corner with an
    /// ear, over all its polygons.
    pub(super) fn new(tests: u64) -> Self {
        Self {
            flat: Vec::new(),
            before: Vec::new(),
            after: Vec::new(),
            tests_left: tests,
        }
    }

    /// Gives the polygon's n - 2 triangles to `each`, turned as it is. However
    /// it is bent in its plane, none of them reaches outside of it, as long as
    /// it does not cross itself. Returns `false` if that takes too many
    /// comparisons.
    ///
    /// The polygon has three corners or more, each of which is one of `corners`.
    #[must_use]
    pub(super) fn cut(
        &mut self,
        polygon: &[u32],
        corners: &[Corner],
        mut each: impl FnMut([u32; 3]),
    ) -> bool {
        let count = polygon.len();
        if count > 3 {
            self.flatten(polygon, corners);
            self.link(count);
        }
        if count == 3 || (0..count).all(|at| self.turn(at) > 0.0) {
            for at in 2..count {
                each([polygon[0], polygon[at - 1], polygon[at]]);
            }
            return true;
        }
        let (mut at, mut left, mut passed) = (0, count, 0);
        while left > 3 {
            let Some(tests_left) = self.tests_left.checked_sub(left as u64) else {
                return false;
            };
            self.tests_left = tests_left;
            // A round without an ear leaves corners on a straight line, another
            // one a polygon that crosses itself: then there is no right way.
            let forced = passed >= 2 * left || (passed >= left && self.turn(at).abs() <= 0.0);
            if forced || self.is_ear(at) {
                each([self.before[at], at, self.after[at]].map(|place| polygon[place]));
                self.unlink(at);
                left -= 1;
                passed = 0;
            } else {
                passed += 1;
            }
            at = self.after[at];
        }
        each([self.before[at], at, self.after[at]].map(|place| polygon[place]));
        true
    }

    /// Lays the polygon down along the axis that its normal (Newell's, from
    /// memory) is nearest to.
    fn flatten(&mut self, polygon: &[u32], corners: &[Corner]) {
        let corner = |at: usize| corners[polygon[at % polygon.len()] as usize];
        let origin = corner(0);
        let from_origin = |at: usize| {
            let corner = corner(at);
            [0, 1, 2].map(|axis| corner[axis] - origin[axis])
        };
        let mut normal = [0.0_f64; 3];
        for at in 0..polygon.len() {
            let (a, b) = (from_origin(at), from_origin(at + 1));
            for (axis, sum) in normal.iter_mut().enumerate() {
                let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
                *sum += a[u] * b[v] - a[v] * b[u];
            }
        }
        let steeper = |a: &usize, b: &usize| normal[*a].abs().total_cmp(&normal[*b].abs());
        let axis = (0..3).max_by(steeper).unwrap_or(2);
        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        let (u, v) = if normal[axis] < 0.0 { (v, u) } else { (u, v) };
        self.flat.clear();
        self.flat.extend((0..polygon.len()).map(|at| {
            let corner = from_origin(at);
            [corner[u], corner[v]]
        }));
    }

    fn link(&mut self, count: usize) {
        self.before.clear();
        self.before
            .extend((0..count).map(|at| (at + count - 1) % count));
        self.after.clear();
        self.after.extend((0..count).map(|at| (at + 1) % count));
    }

    fn unlink(&mut self, at: usize) {
        let (before, after) = (self.before[at], self.after[at]);
        self.after[before] = after;
        self.before[after] = before;
    }

    /// Positive where the polygon bends to the left, as a convex one does
    /// everywhere.
    fn turn(&self, at: usize) -> f64 {
        let [a, b, c] = [self.before[at], at, self.after[at]].map(|place| self.flat[place]);
        turn(a, b, c)
    }

    /// Whether the corner can be cut off: no other corner lies in the triangle.
    fn is_ear(&self, at: usize) -> bool {
        let places = [self.before[at], at, self.after[at]];
        let [a, b, c] = places.map(|place| self.flat[place]);
        if turn(a, b, c) <= 0.0 {
            return false;
        }
        let is_end = |point: [f64; 2]| {
            let same = |end: [f64; 2]| end.map(f64::to_bits) == point.map(f64::to_bits);
            same(a) || same(b) || same(c)
        };
        let mut other = self.after[places[2]];
        while other != places[0] {
            let point = self.flat[other];
            let inside = turn(a, b, point) >= 0.0
                && turn(b, c, point) >= 0.0
                && turn(c, a, point) >= 0.0
                && self.turn(other) <= 0.0;
            if inside && !is_end(point) {
                return false;
            }
            other = self.after[other];
        }
        true
    }
}

fn turn(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The triangles of a polygon over x and y, which is laid into space by
    /// `place`.
    fn areas(polygon: &[[f64; 2]], place: impl Fn([f64; 2]) -> Corner) -> Vec<f64> {
        let corners: Vec<Corner> = polygon.iter().copied().map(place).collect();
        let numbers: Vec<u32> = (0..corners.len() as u32).collect();
        let mut areas = Vec::new();
        let is_cut = Cutter::new(1_000_000).cut(&numbers, &corners, |triangle| {
            let [a, b, c] = triangle.map(|at| polygon[at as usize]);
            areas.push(turn(a, b, c) / 2.0);
        });
        assert!(is_cut);
        areas
    }

    #[test]
    fn bent_polygons_are_cut_within_their_outline() {
        let l = [
            [20., 0.],
            [20., 10.],
            [10., 10.],
            [10., 20.],
            [0., 20.],
            [0., 0.],
        ];
        let arrow = [[0., 0.], [10., -10.], [3., 0.], [10., 10.]];
        let comb = [
            [0., 0.],
            [9., 0.],
            [9., 5.],
            [8., 1.],
            [7., 5.],
            [6., 1.],
            [5., 5.],
            [4., 1.],
            [3., 5.],
            [2., 1.],
            [1., 5.],
        ];
        // A square of 10 with a square hole of 4, joined by a cut that is
        // walked twice.
        let keyhole = [
            [0., 0.],
            [10., 0.],
            [10., 10.],
            [0., 10.],
            [0., 0.],
            [3., 3.],
            [3., 7.],
            [7., 7.],
            [7., 3.],
            [3., 3.],
        ];
        let on_the_line = [
            [0., 0.],
            [5., 0.],
            [10., 0.],
            [10., 5.],
            [10., 10.],
            [0., 10.],
        ];
        for (polygon, area) in [
            (&l[..], 300.0),
            (&arrow, 30.0),
            (&comb, 26.5),
            (&keyhole, 84.0),
            (&on_the_line, 100.0),
        ] {
            for start in 0..polygon.len() {
                let mut turned = polygon.to_vec();
                turned.rotate_left(start);
                for place in [
                    |[x, y]: [f64; 2]| [x, y, 7.0],
                    |[x, y]: [f64; 2]| [x, 1e5, -y],
                    |[x, y]: [f64; 2]| [x + y, y - x, 3.0 * x + y],
                ] {
                    let areas = areas(&turned, place);
                    assert_eq!(areas.len(), polygon.len() - 2);
                    assert!(areas.iter().all(|area| *area >= 0.0), "{areas:?}");
                    let sum: f64 = areas.iter().sum();
                    assert!((sum - area).abs() < 1e-9, "{sum}, expected {area}");
                }
            }
        }
    }

    #[test]
    fn a_polygon_that_crosses_itself_or_is_a_line_still_ends() {
        let bow = [[0., 0.], [10., 10.], [10., 0.], [0., 10.]];
        let line = [[0., 0.], [1., 0.], [2., 0.], [3., 0.], [1.5, 0.]];
        let point = [[1., 1.]; 7];
        for polygon in [&bow[..], &line, &point] {
            assert_eq!(
                areas(polygon, |[x, y]| [x, y, 0.0]).len(),
                polygon.len() - 2
            );
        }
    }

    #[test]
    fn too_many_comparisons_are_given_up() {
        let zigzag: Vec<Corner> = (0..2000)
            .map(|k| [f64::from(k), f64::from(k % 2 * 50), 0.0])
            .collect();
        let numbers: Vec<u32> = (0..2000).collect();
        assert!(!Cutter::new(1000).cut(&numbers, &zigzag, |_| ()));
    }
}
