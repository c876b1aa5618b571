//! Shapes with known fields, cut into panels: for tests.

use super::panel::{Panel, Point};
use crate::mesh::space::{plus, times, unit};

/// A grid of `u` by `v` quadrangles of two panels each.
pub(super) fn grid(u: usize, v: usize, at: impl Fn(f64, f64) -> Point) -> Vec<Panel> {
    let mut panels = Vec::new();
    let part = |k: usize, of: usize| k as f64 / of as f64;
    for i in 0..u {
        for j in 0..v {
            let corner = |a: usize, b: usize| at(part(i + a, u), part(j + b, v));
            panels.push(Panel::new([corner(0, 0), corner(1, 0), corner(1, 1)]));
            panels.push(Panel::new([corner(0, 0), corner(1, 1), corner(0, 1)]));
        }
    }
    panels.retain(|panel| panel.area > 0.0);
    panels
}

/// 0 to 1, close together at both ends: the smaller, the larger `power`.
pub(super) fn graded(t: f64, power: f64) -> f64 {
    if t <= 0.5 {
        0.5 * (2.0 * t).powf(power)
    } else {
        1.0 - 0.5 * (2.0 - 2.0 * t).powf(power)
    }
}

/// A cube's surface as six faces of `count` by `count`, each corner moved by `moved`.
pub(super) fn six_faces(count: usize, power: f64, moved: impl Fn(Point) -> Point) -> Vec<Panel> {
    let mut panels = Vec::new();
    for axis in 0..3 {
        for side in [-1.0, 1.0] {
            panels.extend(grid(count, count, |u, v| {
                let (u, v) = (2.0 * graded(u, power) - 1.0, 2.0 * graded(v, power) - 1.0);
                let (u, v) = if side > 0.0 { (u, v) } else { (v, u) };
                let mut at = [0.0; 3];
                at[axis] = side;
                at[(axis + 1) % 3] = u;
                at[(axis + 2) % 3] = v;
                moved(at)
            }));
        }
    }
    panels
}

/// A sphere of 12 count² panels of nearly one size, of the area of the true one.
pub(super) fn sphere(count: usize, radius: f64, centre: Point) -> Vec<Panel> {
    let quarter = std::f64::consts::FRAC_PI_4;
    let round = |at: Point| unit(at.map(|c| (c * quarter).tan()));
    let flat: f64 = six_faces(count, 1.0, round)
        .iter()
        .map(|panel| panel.area)
        .sum();
    let grown = radius * (4.0 * std::f64::consts::PI / flat).sqrt();
    six_faces(count, 1.0, |at| plus(centre, times(round(at), grown)))
}

/// A rectangle of `count` by `count` quadrangles, graded towards its edges,
/// from a corner along two sides.
pub(super) fn plate(
    count: usize,
    power: f64,
    corner: Point,
    one: Point,
    other: Point,
) -> Vec<Panel> {
    grid(count, count, |u, v| {
        plus(
            corner,
            plus(times(one, graded(u, power)), times(other, graded(v, power))),
        )
    })
}

/// All panels turned round.
pub(super) fn turned(panels: Vec<Panel>) -> Vec<Panel> {
    panels
        .into_iter()
        .map(
            |Panel {
                 corners: [a, b, c], ..
             }| Panel::new([a, c, b]),
        )
        .collect()
}

/// The outline (x and distance from the axis, m) turned about x: each stretch
/// in so many parts, graded by its power, with `around` parts in a turn.
pub(super) fn revolved(
    outline: &[[f64; 2]],
    parts: &[(usize, f64)],
    around: usize,
) -> Vec<Vec<Panel>> {
    let stretch = |(ends, (count, power)): (&[[f64; 2]], &(usize, f64))| {
        let between = |k: usize, t: f64| ends[0][k] + (ends[1][k] - ends[0][k]) * graded(t, *power);
        grid(*count, around, |t, turn| {
            let (sin, cos) = (turn * std::f64::consts::TAU).sin_cos();
            [between(0, t), between(1, t) * cos, between(1, t) * sin]
        })
    };
    outline.windows(2).zip(parts).map(stretch).collect()
}
