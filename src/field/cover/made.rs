//! Panels of what is made by measure: wires, plates, blocks.

use std::f64::consts::PI;

use crate::field::panel::{Panel, Point};
use crate::mesh::space::{cross, dot, length, less, plus, times, unit};

/// The least and the most sides of a wire. A polygon of twelve sides with
/// the wire's perimeter draws as much current as a round wire 1 % thinner: 0.2 %
/// of the resistance of a long one.
const SIDES: [f64; 2] = [12.0, 32.0];
/// The smallest panel at an edge, as a share of the largest.
const SMALLEST: f64 = 0.125;
/// By how much panels grow from one to the next.
const GROWTH: f64 = 1.5;
/// A wire's elbow is cut no steeper than so: the cosine of half its bend.
const STEEPEST: f64 = 0.3;

/// A wire along `points` (m), closed to a ring or open with caps: a tube of even
/// sides whose perimeter is π times the `diameter` (m), so that its area is that
/// of a round wire. `fineness`: the longest panel along it, m.
///
/// Nothing, where there is no length.
pub fn tube(points: &[Point], diameter: f64, closed: bool, fineness: f64) -> Vec<Panel> {
    let points = apart(points, closed);
    if points.len() < 2 || (closed && points.len() < 3) {
        return Vec::new();
    }
    let wire = Wire::new(&points, diameter, closed, fineness);
    let mut panels = Vec::new();
    for (k, legs) in wire.rings.windows(2).enumerate() {
        let cuts = wire.cuts(k);
        for pair in cuts.windows(2) {
            let [from, to] = [pair[0], pair[1]].map(|share| between(&legs[0], &legs[1], share));
            panels.extend(band(&from, &to));
        }
    }
    if let (false, Some(first), Some(last)) = (closed, wire.rings.first(), wire.rings.last()) {
        panels.extend(cap(last));
        panels.extend(cap(&first.iter().rev().copied().collect::<Vec<_>>()));
    }
    panels.retain(|panel| panel.area > 0.0);
    panels
}

/// The points without those that are where the one before is.
fn apart(points: &[Point], closed: bool) -> Vec<Point> {
    let same = |a: Point, b: Point| length(less(a, b)) <= 1e-9 * length(a).max(length(b));
    let mut left: Vec<Point> = Vec::new();
    for point in points {
        if left.last().is_none_or(|last| !same(*last, *point)) {
            left.push(*point);
        }
    }
    while closed && left.len() > 1 && same(left[0], left[left.len() - 1]) {
        left.pop();
    }
    left
}

struct Wire {
    axis: Vec<Point>,
    rings: Vec<Vec<Point>>,
    diameter: f64,
    closed: bool,
    fineness: f64,
}

impl Wire {
    fn new(points: &[Point], diameter: f64, closed: bool, fineness: f64) -> Self {
        let mut axis = points.to_vec();
        if closed {
            axis.push(points[0]);
        }
        let sides = (PI * diameter / fineness).ceil().clamp(SIDES[0], SIDES[1]);
        let rings = rings(&axis, diameter, closed, sides);
        Self {
            axis,
            rings,
            diameter,
            closed,
            fineness,
        }
    }

    /// Where leg `k` is cut, as shares of it.
    fn cuts(&self, k: usize) -> Vec<f64> {
        let long = length(less(self.axis[k + 1], self.axis[k]));
        let first = (self.diameter / 4.0).min(self.fineness * SMALLEST);
        let [starts, ends] = [
            !self.closed && k == 0,
            !self.closed && k + 2 == self.axis.len(),
        ];
        cuts(long, first, self.fineness, [starts, ends])
    }
}

/// The corners of the tube at each point of its axis.
fn rings(axis: &[Point], diameter: f64, closed: bool, sides: f64) -> Vec<Vec<Point>> {
    let ways: Vec<Point> = axis
        .windows(2)
        .map(|leg| unit(less(leg[1], leg[0])))
        .collect();
    let last = ways.len() - 1;
    let radius = PI * diameter / (2.0 * sides * (PI / sides).sin());
    let mut across = upright(ways[0]);
    let twist = if closed { twist(&ways, across) } else { 0.0 };
    let mut elbows = Vec::new();
    for (k, at) in axis.iter().enumerate() {
        let [before, after] = match (k, closed) {
            (0, true) => [ways[last], ways[0]],
            (0, false) => [ways[0]; 2],
            (k, true) if k > last => [ways[last], ways[0]],
            (k, _) => [ways[k - 1], ways[k.min(last)]],
        };
        // A leg's frame is that of its beginning; the twist is spread over all.
        let own = if k == 0 { after } else { before };
        let turn = twist * k as f64 / ways.len() as f64;
        let cut = unit(plus(before, after));
        elbows.push(ring(*at, [own, cut], across, [radius, turn, sides]));
        if k > 0 && k <= last {
            across = carried(across, ways[k - 1], ways[k]);
        }
    }
    elbows
}

/// One ring of corners around `at`, cut by the plane upright on `cut`.
fn ring(
    at: Point,
    [way, cut]: [Point; 2],
    across: Point,
    [radius, turn, sides]: [f64; 3],
) -> Vec<Point> {
    let other = cross(way, across);
    let corner = |k: usize| {
        let angle = turn + 2.0 * PI * k as f64 / sides;
        let out = plus(
            times(across, radius * angle.cos()),
            times(other, radius * angle.sin()),
        );
        let along = -dot(out, cut) / dot(way, cut).max(STEEPEST);
        plus(at, plus(out, times(way, along)))
    };
    (0..sides as usize).map(corner).collect()
}

/// By what angle a frame carried once round the ring is turned less than it was.
fn twist(ways: &[Point], across: Point) -> f64 {
    let mut carried_round = across;
    for k in 0..ways.len() {
        carried_round = carried(carried_round, ways[k], ways[(k + 1) % ways.len()]);
    }
    -dot(cross(across, carried_round), ways[0]).atan2(dot(across, carried_round))
}

/// `across` turned as `from` turns into `to`.
fn carried(across: Point, from: Point, to: Point) -> Point {
    let axis = cross(from, to);
    let cos = dot(from, to);
    let sum = 1.0 + cos;
    if sum < 1e-9 {
        return across;
    }
    // Rodrigues, with the sine inside the axis.
    plus(
        plus(times(across, cos), cross(axis, across)),
        times(axis, dot(axis, across) / sum),
    )
}

/// Of length 1 and upright on `way`.
fn upright(way: Point) -> Point {
    let mut aside = [0.0; 3];
    let flattest = (0..3).min_by(|a, b| way[*a].abs().total_cmp(&way[*b].abs()));
    aside[flattest.unwrap_or(0)] = 1.0;
    unit(cross(way, aside))
}

fn between(from: &[Point], to: &[Point], share: f64) -> Vec<Point> {
    let at = |(a, b): (&Point, &Point)| plus(times(*a, 1.0 - share), times(*b, share));
    from.iter().zip(to).map(at).collect()
}

fn band(from: &[Point], to: &[Point]) -> Vec<Panel> {
    let mut panels = Vec::with_capacity(2 * from.len());
    for k in 0..from.len() {
        let next = (k + 1) % from.len();
        panels.push(Panel::new([from[k], from[next], to[next]]));
        panels.push(Panel::new([from[k], to[next], to[k]]));
    }
    panels
}

/// The end of a tube: a middle and a rim, seen counter-clockwise.
fn cap(ring: &[Point]) -> Vec<Panel> {
    let sum = ring.iter().fold([0.0; 3], |sum, corner| plus(sum, *corner));
    let middle = times(sum, 1.0 / ring.len() as f64);
    let inner: Vec<Point> = ring
        .iter()
        .map(|corner| plus(times(*corner, 0.7), times(middle, 0.3)))
        .collect();
    let mut panels = band(ring, &inner);
    for k in 0..ring.len() {
        panels.push(Panel::new([middle, inner[k], inner[(k + 1) % ring.len()]]));
    }
    panels
}

/// A closed box around `centre` (m), its broad faces upright on `normal`, of
/// `size` (m) across and `thickness` (m), normals out, graded toward its edges.
/// `fineness`: the largest panel, m.
///
/// For a normal along z the first size runs along x and the second along y; else
/// the first is level and the second upward, as near as can be.
pub fn block(
    centre: Point,
    normal: Point,
    size: [f64; 2],
    thickness: f64,
    fineness: f64,
) -> Vec<Panel> {
    let axes = axes(normal);
    let sizes = [size[0], size[1], thickness];
    let mut panels = Vec::new();
    for axis in 0..3 {
        let (one, other) = ((axis + 1) % 3, (axis + 2) % 3);
        for side in [-1.0, 1.0] {
            let middle = plus(centre, times(axes[axis], side * sizes[axis] / 2.0));
            let [one, other] = if side > 0.0 {
                [one, other]
            } else {
                [other, one]
            };
            let sides = [one, other].map(|k| (axes[k], sizes[k]));
            panels.extend(rectangle(middle, sides, fineness));
        }
    }
    panels
}

/// One face alone of [`block`], in the middle of its thickness: an anode in a
/// wall, or a plate without thickness.
pub fn face(centre: Point, normal: Point, size: [f64; 2], fineness: f64) -> Vec<Panel> {
    let [one, other, _] = axes(normal);
    rectangle(centre, [(one, size[0]), (other, size[1])], fineness)
}

/// Across, up and along the normal, right-handed.
fn axes(normal: Point) -> [Point; 3] {
    let normal = unit(normal);
    if normal[0].hypot(normal[1]) < 1e-9 {
        let up = normal[2].signum();
        return [[1.0, 0.0, 0.0], [0.0, up, 0.0], [0.0, 0.0, up]];
    }
    let level = unit(cross([0.0, 0.0, 1.0], normal));
    [level, cross(normal, level), normal]
}

/// Panels between two sides, each a direction with a length, that see the
/// liquid where the first turns counter-clockwise into the second.
fn rectangle(centre: Point, sides: [(Point, f64); 2], fineness: f64) -> Vec<Panel> {
    let [across, up] = sides.map(|(_, long)| {
        let first = SMALLEST * fineness.min(long);
        cuts(long, first, fineness, [true; 2])
    });
    let at = |u: f64, v: f64| {
        let [one, other] = [(u, sides[0]), (v, sides[1])]
            .map(|(share, (way, long))| times(way, (share - 0.5) * long));
        plus(centre, plus(one, other))
    };
    let mut panels = Vec::new();
    for u in across.windows(2) {
        for v in up.windows(2) {
            let [a, b, c, d] = [
                at(u[0], v[0]),
                at(u[1], v[0]),
                at(u[1], v[1]),
                at(u[0], v[1]),
            ];
            panels.push(Panel::new([a, b, c]));
            panels.push(Panel::new([a, c, d]));
        }
    }
    panels
}

/// Shares from 0 to 1 of a length (m), its parts no longer than `largest`; where
/// an end is an edge they begin with `first` there and grow.
fn cuts(long: f64, first: f64, largest: f64, edges: [bool; 2]) -> Vec<f64> {
    let largest = largest.min(long / 2.0);
    let mut parts: [Vec<f64>; 2] = edges.map(|edge| {
        let mut sizes = Vec::new();
        let mut next = first;
        while edge && next < largest {
            sizes.push(next);
            next *= GROWTH;
        }
        sizes
    });
    let taken = |parts: &[Vec<f64>; 2]| parts.iter().flatten().sum::<f64>();
    while taken(&parts) > long {
        let longer = usize::from(parts[1].len() > parts[0].len());
        parts[longer].pop();
    }
    let rest = long - taken(&parts);
    let plain = (rest / largest).ceil().max(1.0);
    let [start, end] = parts;
    let sizes = start
        .into_iter()
        .chain(std::iter::repeat_n(rest / plain, plain as usize))
        .chain(end.into_iter().rev());
    let mut at = 0.0;
    let mut shares = vec![0.0];
    for size in sizes {
        at += size / long;
        shares.push(at);
    }
    if let Some(last) = shares.last_mut() {
        *last = 1.0;
    }
    shares
}
