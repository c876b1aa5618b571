//! What is in one place with something else, or out of the tank.

use std::borrow::Cow;

use super::super::panel::{Panel, Point};
use super::build::{Make, Part};
use super::check::SceneError;
use super::{Kind, Vessel};
use crate::mesh::space::{cross, dot, length, less, middle, normal, plus, times};
use crate::mesh::tree::{Bounds, Ray, Tree};
use crate::units::number;

/// What lies nearer to a wall than this lies in it, m.
pub(super) const IN_WALL: f64 = 2e-5;

const WALLS: [[&str; 2]; 3] = [
    ["the wall at the least x", "the wall at the greatest x"],
    ["the wall at the least y", "the wall at the greatest y"],
    ["the floor", "the surface"],
];

/// Looks at every part: in the tank, and clear of the others.
///
/// # Errors
/// [`SceneError::Meets`], in the words of a person.
pub(super) fn look(tank: Option<&Vessel>, parts: &[Part]) -> Result<(), SceneError> {
    if let Some(tank) = tank {
        parts.iter().try_for_each(|part| inside(tank, part))?;
    }
    let solids: Vec<Solid<'_>> = parts.iter().map(Solid::new).collect();
    for (k, a) in solids.iter().enumerate() {
        for b in &solids[k + 1..] {
            if lies_on(a.part, b.part) || lies_on(b.part, a.part) {
                return Err(SceneError::Meets(format!(
                    "{} lies on {}: move one of them",
                    a.part.words(),
                    b.part.words()
                )));
            }
            if may_touch(a.part, b.part) {
                continue;
            }
            if let Some(at) = a.meets(b) {
                let at = at.map(|m| number(m * 1e3, 3));
                let how = if a.part.kind.is_cathode() && b.part.kind.is_cathode() {
                    if (a.part.volts - b.part.volts).abs() > 0.0 && is_wire(a.part, b.part) {
                        "touches, at other volts: a short"
                    } else {
                        "overlaps"
                    }
                } else if is_wire(a.part, b.part) {
                    "goes through"
                } else {
                    "runs into"
                };
                let (one, other) = if a.part.make == Make::Tube {
                    (a.part, b.part)
                } else if b.part.make == Make::Tube {
                    (b.part, a.part)
                } else {
                    (a.part, b.part)
                };
                return Err(SceneError::Meets(format!(
                    "{} {how} {} near {} mm: move one of them",
                    one.words(),
                    other.words(),
                    at.join(", ")
                )));
            }
        }
    }
    Ok(())
}

/// A wire touches what it feeds, insulators lie on one another and on walls.
fn may_touch(a: &Part, b: &Part) -> bool {
    let both = |kind: fn(Kind) -> bool| kind(a.kind) && kind(b.kind);
    let is_shield = |kind: Kind| kind == Kind::Shield;
    both(is_shield)
        || (is_wire(a, b) && both(Kind::is_cathode) && (a.volts - b.volts).abs() <= f64::EPSILON)
        || both(|kind| kind == Kind::Anode) && (a.volts - b.volts).abs() <= f64::EPSILON
}

/// Whether a plate covers a part of another one: a sixteenth or more of it.
fn lies_on(a: &Part, b: &Part) -> bool {
    let halves = |part: &Part| {
        part.shell
            .iter()
            .copied()
            .map(Panel::new)
            .collect::<Vec<_>>()
    };
    let covers = |half: &Panel, at: Point| {
        let off = dot(less(at, half.middle), half.normal).abs() < IN_WALL;
        off && (0..3).all(|k| {
            let (p, q) = (half.corners[k], half.corners[(k + 1) % 3]);
            dot(cross(less(q, p), less(at, p)), half.normal) >= 0.0
        })
    };
    a.make == Make::Plate && b.make == Make::Plate && {
        let of_b = halves(b);
        let parts = halves(a).into_iter().flat_map(|half| half.quartered());
        let mut spots = parts.flat_map(|part| part.quartered().map(|part| part.middle));
        spots.any(|at| of_b.iter().any(|half| covers(half, at)))
    }
}

fn is_wire(a: &Part, b: &Part) -> bool {
    a.make == Make::Tube || b.make == Make::Tube
}

/// Whether all of it lies in the tank.
fn inside(tank: &Vessel, part: &Part) -> Result<(), SceneError> {
    for axis in 0..3 {
        let along = || part.shell.iter().flatten().map(move |corner| corner[axis]);
        let (low, high) = along().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), at| {
            (low.min(at), high.max(at))
        });
        let out = [
            tank.min_mm[axis] * 1e-3 - low,
            high - tank.max_mm[axis] * 1e-3,
        ];
        for (side, out) in out.into_iter().enumerate() {
            if out > IN_WALL {
                return Err(SceneError::Meets(format!(
                    "{} goes through {} by {} mm: move it by as much, or the tank is larger",
                    part.words(),
                    WALLS[axis][side],
                    number(out * 1e3, 3)
                )));
            }
        }
    }
    Ok(())
}

/// A part's surface, to be asked what crosses it.
struct Solid<'a> {
    part: &'a Part,
    /// All of it, closed where the part is.
    shell: Cow<'a, [[Point; 3]]>,
    tree: Tree,
    bounds: Bounds,
}

impl<'a> Solid<'a> {
    fn new(part: &'a Part) -> Self {
        let shell: Cow<'a, [[Point; 3]]> = if part.in_walls.is_empty() {
            Cow::Borrowed(&part.shell)
        } else {
            Cow::Owned([&part.shell[..], &part.in_walls].concat())
        };
        Self {
            tree: Tree::over(shell.len(), |k| Bounds::around(&shell[k], 0.0)),
            bounds: Bounds::around(shell.as_flattened(), 0.0),
            shell,
            part,
        }
    }

    /// A place where the two cross or one is within the other.
    fn meets(&self, other: &Self) -> Option<Point> {
        let apart = (0..3).any(|axis| {
            self.bounds.low[axis] > other.bounds.high[axis]
                || other.bounds.low[axis] > self.bounds.high[axis]
        });
        if apart {
            return None;
        }
        self.crossed_by(other)
            .or_else(|| other.crossed_by(self))
            .or_else(|| self.holds(other))
            .or_else(|| other.holds(self))
    }

    /// Where a side of the other's triangles goes through this surface.
    fn crossed_by(&self, other: &Self) -> Option<Point> {
        for triangle in other.shell.iter() {
            for k in 0..3 {
                let (a, b) = (triangle[k], triangle[(k + 1) % 3]);
                let mut found = None;
                self.tree
                    .overlapping(&Bounds::around(&[a, b], 0.0), |item| {
                        found = found.or_else(|| crossing(a, b, self.shell[item]));
                    });
                if found.is_some() {
                    return found;
                }
            }
        }
        None
    }

    /// A corner of the other that lies in this solid, where it is one.
    fn holds(&self, other: &Self) -> Option<Point> {
        let at = middle(*other.part.shell.first()?);
        self.has(at).then_some(at)
    }

    /// Whether a place lies in this solid, where it is one.
    fn has(&self, at: Point) -> bool {
        if !self.part.solid {
            return false;
        }
        // A direction of no symmetry, so that no edge is hit.
        let along = crate::mesh::space::unit([0.539_1, 0.237_3, 0.807_9]);
        let ray = Ray::new(at, along);
        let mut count = 0;
        self.tree.along(&ray, 1e6, |item| {
            let far = plus(at, times(along, 1e3));
            count += u32::from(crossing(at, far, self.shell[item]).is_some());
            1e6
        });
        count % 2 == 1
    }
}

/// The pieces, to be asked what lies within one: the end of a wire that feeds it.
pub(super) struct Pieces<'a>(Vec<Solid<'a>>);

impl<'a> Pieces<'a> {
    pub(super) fn of(parts: &'a [Part]) -> Self {
        let pieces = parts.iter().filter(|part| part.kind == Kind::Piece);
        Self(pieces.map(Solid::new).collect())
    }

    /// Whether a place lies in one of them.
    pub(super) fn have(&self, at: Point) -> bool {
        self.0.iter().any(|piece| piece.has(at))
    }
}

/// Where the stretch from `a` to `b` goes through a triangle, well away from
/// the ends: what only touches does not.
fn crossing(a: Point, b: Point, triangle: [Point; 3]) -> Option<Point> {
    let upright = normal(triangle);
    let size = length(upright);
    if size <= 0.0 {
        return None;
    }
    let (from, to) = (
        dot(less(a, triangle[0]), upright) / size,
        dot(less(b, triangle[0]), upright) / size,
    );
    if from * to >= 0.0 || from.abs().min(to.abs()) < IN_WALL {
        return None;
    }
    let at = plus(a, times(less(b, a), from / (from - to)));
    let is_left = |k: usize| {
        let (p, q) = (triangle[k], triangle[(k + 1) % 3]);
        dot(cross(less(q, p), less(at, p)), upright) >= 0.0
    };
    (0..3).all(is_left).then_some(at)
}

/// The triangles of panels.
pub(super) fn shell_of(panels: &[Panel]) -> Vec<[Point; 3]> {
    panels.iter().map(|panel| panel.corners).collect()
}
