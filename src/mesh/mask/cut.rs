//! Cutting flat convex pieces at the border of a mask.

use std::f64::consts::{FRAC_PI_2, TAU};

use super::Mask;
use crate::mesh::Corner;
use crate::mesh::space::{area, cross, dot, length, less, times, unit};

/// x, y, z in mm, then where it is in the plane in which a round border is the
/// circle of radius 1 about 0, 0.
type Point = [f64; 5];

/// A flat convex piece, its points in turn.
pub(super) type Polygon = Vec<Point>;

/// Inside and outside.
type Divided = (Vec<Polygon>, Vec<Polygon>);

/// Points this near to a flat border lie on it, as a share of the largest
/// coordinate: single precision, in which STL is written, keeps 6e-8.
const ON_BORDER: f64 = 1e-7;

/// The same for borders that are ours alone.
const ON_LINE: f64 = 1e-12;

/// A smaller share of the piece it comes from is no piece.
const NO_AREA: f64 = 1e-15;

/// The border of a mask that is a shape.
#[derive(Debug, Clone)]
pub(super) struct Border {
    /// The half spaces whose common part it is, each by a point and the unit
    /// normal to the inside.
    flats: Vec<(Corner, Corner)>,
    /// The ball or the endless cylinder that it is part of.
    round: Option<Round>,
    /// The box around it.
    around: Option<(Corner, Corner)>,
}

#[derive(Debug, Clone, Copy)]
enum Round {
    Ball {
        middle: Corner,
        radius: f64,
    },
    Tube {
        from: Corner,
        axis: Corner,
        radius: f64,
    },
}

impl Border {
    /// None of a patch or a group.
    pub(super) fn of(mask: &Mask) -> Option<Self> {
        match *mask {
            Mask::Plane { point, normal } => Some(Self {
                flats: vec![(point, unit(normal))],
                round: None,
                around: None,
            }),
            Mask::Box { from, to } => {
                let (low, high) = box_of([from, to]);
                let axes = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
                let sides = axes.map(|axis| [(low, axis), (high, times(axis, -1.0))]);
                Some(Self {
                    flats: sides.concat(),
                    round: None,
                    around: Some((low, high)),
                })
            }
            Mask::Sphere { middle, radius } => Some(Self {
                flats: Vec::new(),
                round: Some(Round::Ball { middle, radius }),
                around: Some(wider(box_of([middle]), radius)),
            }),
            Mask::Cylinder { from, to, radius } => {
                let axis = unit(less(to, from));
                Some(Self {
                    flats: vec![(from, axis), (to, times(axis, -1.0))],
                    round: Some(Round::Tube { from, axis, radius }),
                    around: Some(wider(box_of([from, to]), radius)),
                })
            }
            Mask::Patch { .. } | Mask::Group(_) => None,
        }
    }

    /// What of these pieces is inside, and what is not.
    pub(super) fn divide(&self, pieces: Vec<Polygon>) -> Divided {
        let (mut inside, mut outside) = Divided::default();
        for piece in pieces {
            let tolerance = tolerance(&piece);
            if self.is_far(&piece, tolerance) {
                outside.push(piece);
                continue;
            }
            let mut rest = Some(piece);
            for (point, normal) in &self.flats {
                let Some(whole) = rest.take() else { break };
                let (within, beyond) =
                    halved(whole, tolerance, |at| dot(less(place(at), *point), *normal));
                rest = within;
                outside.extend(beyond);
            }
            match (rest, self.round) {
                (Some(rest), Some(round)) => {
                    let (within, beyond) = round.divide(rest, tolerance);
                    inside.extend(within);
                    outside.extend(beyond);
                }
                (Some(rest), None) => inside.push(rest),
                (None, _) => {}
            }
        }
        (inside, outside)
    }

    fn is_far(&self, piece: &Polygon, tolerance: f64) -> bool {
        self.around.is_some_and(|(low, high)| {
            let (from, to) = box_of(piece.iter().map(place));
            (0..3).any(|n| from[n] > high[n] + tolerance || to[n] < low[n] - tolerance)
        })
    }
}

impl Round {
    /// A piece of the plane in which this is a circle, or a strip.
    fn divide(self, mut piece: Polygon, tolerance: f64) -> Divided {
        let normal = unit(normal_of(&piece));
        if length(normal) < 0.5 {
            return (Vec::new(), vec![piece]);
        }
        let (middle, across, radius) = match self {
            Self::Ball { middle, radius } => {
                let height = dot(less(middle, place(&piece[0])), normal);
                let square = radius.mul_add(radius, -height * height);
                if square <= (ON_LINE * radius).powi(2) {
                    return (Vec::new(), vec![piece]);
                }
                (middle, normal, square.sqrt())
            }
            Self::Tube { from, axis, radius } => (from, axis, radius),
        };
        let (first, second) = upright(across);
        for at in &mut piece {
            let from_middle = less(place(at), middle);
            at[3] = dot(from_middle, first) / radius;
            at[4] = dot(from_middle, second) / radius;
        }
        let shadow = turn_of(&piece) * radius * radius / 2.0;
        if shadow.abs() < 1e-9 * area_of(&piece) {
            return in_strip(piece, tolerance / radius);
        }
        if shadow < 0.0 {
            for at in &mut piece {
                at[4] = -at[4];
            }
        }
        in_circle(piece, tolerance / radius)
    }
}

/// Two directions of length 1, upright on `axis` and on each other.
fn upright(axis: Corner) -> (Corner, Corner) {
    let size = axis.map(f64::abs);
    let least = (0..3)
        .min_by(|a, b| size[*a].total_cmp(&size[*b]))
        .unwrap_or(0);
    let mut other = [0.0; 3];
    other[least] = 1.0;
    let first = unit(cross(axis, other));
    (first, cross(axis, first))
}

/// A piece that is upright on the plane of the circle: a line there, of which
/// the circle takes what lies between two points.
fn in_strip(piece: Polygon, tolerance: f64) -> Divided {
    let foot = piece[0];
    let far = |at: &&Point| (at[3] - foot[3]).hypot(at[4] - foot[4]);
    let Some(end) = piece.iter().max_by(|a, b| far(a).total_cmp(&far(b))) else {
        return Divided::default();
    };
    let reach = far(&end);
    if reach <= 0.0 {
        return (Vec::new(), vec![piece]);
    }
    let along = [(end[3] - foot[3]) / reach, (end[4] - foot[4]) / reach];
    let height = along[0] * foot[4] - along[1] * foot[3];
    let half = (1.0 - height * height).max(0.0).sqrt();
    if half <= tolerance {
        return (Vec::new(), vec![piece]);
    }
    let on = move |at: &Point| along[0] * at[3] + along[1] * at[4];
    let (rest, mut outside) = (Some(piece), Vec::new());
    let lower = |at: &Point| on(at) + half;
    let upper = |at: &Point| half - on(at);
    let (rest, beyond) = rest.map_or((None, None), |rest| halved(rest, tolerance, lower));
    outside.extend(beyond);
    let (rest, beyond) = rest.map_or((None, None), |rest| halved(rest, tolerance, upper));
    outside.extend(beyond);
    (rest.into_iter().collect(), outside)
}

/// A piece, counter-clockwise in the plane of the circle.
///
/// Each arc that runs through the piece becomes a line of corners that takes
/// the same area, and what lies beyond the line comes off side by side.
fn in_circle(piece: Polygon, tolerance: f64) -> Divided {
    let is_within = |at: &Point| at[3].hypot(at[4]) <= 1.0 + tolerance;
    if piece.iter().all(is_within) {
        return (vec![piece], Vec::new());
    }
    let arcs = arcs_within(&piece);
    if arcs.is_empty() {
        return (Vec::new(), vec![piece]);
    }
    let step = widest_step(turn_of(&piece) / 2.0);
    let mut outside = Vec::new();
    let mut rest = Some(piece);
    let mut keep = |rest: &mut Option<Polygon>, height: &dyn Fn(&Point) -> f64| {
        if let Some(whole) = rest.take() {
            let size = whole.iter().map(|at| height(at).abs()).fold(1.0, f64::max);
            let (within, beyond) = halved(whole, ON_LINE * size, height);
            *rest = within;
            outside.extend(beyond);
        }
    };
    // Nothing long and thin comes off a wide piece.
    for quarter in 0..4 {
        let (sine, cosine) = (f64::from(quarter) * FRAC_PI_2).sin_cos();
        keep(&mut rest, &|at| 1.25 - cosine * at[3] - sine * at[4]);
    }
    for (from, to) in arcs {
        let corners = corners_of_arc(from, to, step);
        for (a, b) in corners.iter().zip(corners.iter().skip(1)) {
            let [x, y] = [b[0] - a[0], b[1] - a[1]];
            let long = x.hypot(y);
            keep(&mut rest, &|at| {
                (x * (at[4] - a[1]) - y * (at[3] - a[0])) / long
            });
        }
    }
    (rest.into_iter().collect(), outside)
}

/// The widest arc, in radians, that is drawn as two sides: at most 7.5 degrees,
/// and so fine that what its corner loses where the piece ends beneath it
/// (at most the cube of the arc over 192, in squares of the radius) is under a
/// millionth of the piece.
fn widest_step(area: f64) -> f64 {
    (192e-6 * area).cbrt().min(TAU / 48.0)
}

/// The arcs of the circle that run within a piece, from angle to larger angle.
fn arcs_within(piece: &Polygon) -> Vec<(f64, f64)> {
    let mut angles: Vec<f64> = sides(piece).flat_map(|(a, b)| crossings(a, b)).collect();
    angles.sort_by(f64::total_cmp);
    angles.dedup();
    if angles.is_empty() {
        angles.push(0.0);
    }
    let first = angles[0] + TAU;
    let ends = angles.iter().skip(1).copied().chain([first]);
    let arcs = angles.iter().copied().zip(ends);
    let is_within = |(from, to): &(f64, f64)| {
        let (y, x) = f64::midpoint(*from, *to).sin_cos();
        sides(piece).all(|(a, b)| (b[3] - a[3]) * (y - a[4]) >= (b[4] - a[4]) * (x - a[3]))
    };
    arcs.filter(is_within).collect()
}

fn sides(piece: &Polygon) -> impl Iterator<Item = (&Point, &Point)> {
    piece.iter().zip(piece.iter().cycle().skip(1))
}

/// The angles at which the circle crosses a side.
fn crossings(a: &Point, b: &Point) -> Vec<f64> {
    let [x, y] = [b[3] - a[3], b[4] - a[4]];
    let long = x.hypot(y);
    if long <= 0.0 {
        return Vec::new();
    }
    let [x, y] = [x / long, y / long];
    let foot = -(a[3] * x + a[4] * y);
    let height = x * a[4] - y * a[3];
    let square = (1.0 - height) * (1.0 + height);
    if square <= 0.0 {
        return Vec::new();
    }
    let half = square.sqrt();
    [foot - half, foot + half]
        .into_iter()
        .filter(|along| (0.0..=long).contains(along))
        .map(|along| (a[4] + along * y).atan2(a[3] + along * x))
        .collect()
}

/// Corners along an arc, its ends among them, whose line takes the area that
/// the arc takes: beside points of the arc, one between each two of them that
/// stands as far out as makes the triangle equal to the segment.
fn corners_of_arc(from: f64, to: f64, step: f64) -> Vec<[f64; 2]> {
    const MOST: f64 = 4096.0;
    let count = ((to - from) / step).ceil().clamp(1.0, MOST);
    let each = (to - from) / count;
    let (sine, cosine) = (each / 2.0).sin_cos();
    let out = cosine + (each - each.sin()) / (2.0 * sine);
    let at = |angle: f64, radius: f64| [radius * angle.cos(), radius * angle.sin()];
    let mut corners = vec![at(from, 1.0)];
    for n in 0..count as u32 {
        let start = from + f64::from(n) * each;
        corners.push(at(start + each / 2.0, out));
        corners.push(at(start + each, 1.0));
    }
    corners
}

/// The parts of a piece where `height` is not negative and where it is; points
/// within the tolerance of zero belong to both.
fn halved(
    piece: Polygon,
    tolerance: f64,
    height: impl Fn(&Point) -> f64,
) -> (Option<Polygon>, Option<Polygon>) {
    let heights: Vec<f64> = piece.iter().map(height).collect();
    if heights.iter().all(|height| *height >= -tolerance) {
        return (Some(piece), None);
    }
    if heights.iter().all(|height| *height <= tolerance) {
        return (None, Some(piece));
    }
    let (mut above, mut below) = (Polygon::new(), Polygon::new());
    for at in 0..piece.len() {
        let next = (at + 1) % piece.len();
        let (here, there) = (heights[at], heights[next]);
        if here >= -tolerance {
            above.push(piece[at]);
        }
        if here <= tolerance {
            below.push(piece[at]);
        }
        let is_crossed = here.abs() > tolerance && there.abs() > tolerance && here * there < 0.0;
        if is_crossed {
            let point = between(&piece[at], &piece[next], here, there);
            above.push(point);
            below.push(point);
        }
    }
    (Some(above), Some(below))
}

/// Where the height is zero between two points: the same, bit for bit, from
/// either side.
fn between(a: &Point, b: &Point, at_a: f64, at_b: f64) -> Point {
    let (a, b, at_a, at_b) = if at_a < at_b {
        (a, b, at_a, at_b)
    } else {
        (b, a, at_b, at_a)
    };
    let share = at_a / (at_a - at_b);
    let mut point = *a;
    for (number, end) in point.iter_mut().zip(b) {
        *number += share * (end - *number);
    }
    point
}

pub(super) fn polygon_of(corners: [Corner; 3]) -> Polygon {
    corners.map(|[x, y, z]| [x, y, z, 0.0, 0.0]).to_vec()
}

fn place(at: &Point) -> Corner {
    [at[0], at[1], at[2]]
}

/// The triangles of a convex piece of something of this area, those without
/// area left out; what has none itself stays.
pub(super) fn pieces(piece: &Polygon, of_area: f64) -> Vec<[Corner; 3]> {
    let mut triangles = Vec::with_capacity(piece.len());
    let corners: Vec<Corner> = piece.iter().map(place).collect();
    in_triangles(&corners, &mut triangles);
    triangles.retain(|triangle| area(*triangle) >= NO_AREA * of_area);
    triangles
}

/// Halves first: rounder triangles than a fan has.
fn in_triangles(corners: &[Corner], triangles: &mut Vec<[Corner; 3]>) {
    match corners {
        [a, b, c] => triangles.push([*a, *b, *c]),
        [first, .., last] if corners.len() > 3 => {
            let middle = corners.len() / 2;
            triangles.push([*first, corners[middle], *last]);
            if middle > 1 {
                in_triangles(&corners[..=middle], triangles);
            }
            if middle + 2 < corners.len() {
                in_triangles(&corners[middle..], triangles);
            }
        }
        _ => {}
    }
}

/// Upright on it, twice its area long.
fn normal_of(piece: &Polygon) -> Corner {
    let first = place(&piece[0]);
    let arms = || piece.iter().skip(1).map(|at| less(place(at), first));
    let mut sum = [0.0; 3];
    for (a, b) in arms().zip(arms().skip(1)) {
        let normal = cross(a, b);
        (0..3).for_each(|n| sum[n] += normal[n]);
    }
    sum
}

fn area_of(piece: &Polygon) -> f64 {
    length(normal_of(piece)) / 2.0
}

/// Twice its area in the plane of the circle; positive where its points run
/// counter-clockwise.
fn turn_of(piece: &Polygon) -> f64 {
    let first = piece[0];
    let arms = || {
        piece
            .iter()
            .skip(1)
            .map(|at| [at[3] - first[3], at[4] - first[4]])
    };
    arms()
        .zip(arms().skip(1))
        .map(|(a, b)| a[0] * b[1] - a[1] * b[0])
        .sum()
}

fn tolerance(piece: &Polygon) -> f64 {
    let numbers = piece.iter().flat_map(place);
    ON_BORDER * numbers.map(f64::abs).fold(0.0, f64::max)
}

fn box_of(points: impl IntoIterator<Item = Corner>) -> (Corner, Corner) {
    let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    for point in points {
        for n in 0..3 {
            low[n] = low[n].min(point[n]);
            high[n] = high[n].max(point[n]);
        }
    }
    (low, high)
}

fn wider((low, high): (Corner, Corner), by: f64) -> (Corner, Corner) {
    (low.map(|n| n - by), high.map(|n| n + by))
}
