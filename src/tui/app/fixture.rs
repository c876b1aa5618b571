//! What stands in a tank beside the pieces, as it is drawn: walls, anodes,
//! shields, and wires that are too thin to be seen as they are.

use crate::field::scene::{Kind, Scene};
use crate::mesh::Corner;

/// What is drawn in outline beside the pieces.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fixture {
    /// A wall of the tank, or the surface of the liquid.
    Wall,
    /// An anode.
    Anode,
    /// A shield.
    Shield,
    /// A contact wire.
    Wire,
    /// A thief.
    Thief,
}

impl Fixture {
    /// Those that a legend names.
    pub const NAMED: [Self; 4] = [Self::Anode, Self::Shield, Self::Wire, Self::Thief];

    /// The letter that draws it; walls have none.
    pub fn letter(self) -> Option<char> {
        match self {
            Self::Wall => None,
            Self::Anode => Some('A'),
            Self::Shield => Some('S'),
            Self::Wire => Some('w'),
            Self::Thief => Some('t'),
        }
    }

    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Wall => "wall",
            Self::Anode => Kind::Anode.word(),
            Self::Shield => Kind::Shield.word(),
            Self::Wire => Kind::Wire.word(),
            Self::Thief => Kind::Thief.word(),
        }
    }
}

/// A part of a fixture, mm in the tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stroke {
    /// From here to there.
    Line(Corner, Corner),
    /// A plate: one corner, and its two sides from there.
    Plate(Corner, [Corner; 2]),
}

/// All that stands in a tank beside its pieces.
pub(super) fn fixtures(scene: &Scene) -> Vec<(Fixture, Stroke)> {
    let mut all = Vec::new();
    if let Some(tank) = &scene.tank {
        let edges = edges(tank.min_mm, tank.max_mm);
        all.extend(edges.map(|stroke| (Fixture::Wall, stroke)));
    }
    let anodes = scene.anodes.iter();
    all.extend(anodes.map(|anode| {
        let plate = plate(anode.centre_mm, anode.normal, anode.size_mm);
        (Fixture::Anode, plate)
    }));
    for rod in &scene.rods {
        all.extend(lines(&rod.points_mm, false).map(|line| (Fixture::Anode, line)));
    }
    let shields = scene.shields.iter();
    all.extend(shields.map(|shield| {
        let plate = plate(shield.centre_mm, shield.normal, shield.size_mm);
        (Fixture::Shield, plate)
    }));
    for wire in &scene.wires {
        let what = if wire.thief {
            Fixture::Thief
        } else {
            Fixture::Wire
        };
        all.extend(lines(&wire.points_mm, wire.closed).map(|line| (what, line)));
    }
    all
}

/// The corners of the liquid, which a picture of the whole shows too.
pub(super) fn corners(scene: &Scene) -> Vec<Corner> {
    let tank = scene.tank.iter();
    tank.flat_map(|tank| (0..8).map(|n| corner(n, tank.min_mm, tank.max_mm)))
        .collect()
}

/// The corner of a box with this number: a bit for each axis.
fn corner(number: usize, low: Corner, high: Corner) -> Corner {
    [0, 1, 2].map(|axis| [low, high][number >> axis & 1][axis])
}

/// The twelve edges of a box.
fn edges(low: Corner, high: Corner) -> impl Iterator<Item = Stroke> {
    let ends = (0..8_usize).flat_map(|from| [1, 2, 4].map(|axis| (from, from | axis)));
    ends.filter(|(from, to)| from != to)
        .map(move |(from, to)| Stroke::Line(corner(from, low, high), corner(to, low, high)))
}

/// A line through points, back to the first where it is closed.
fn lines(points: &[Corner], is_closed: bool) -> impl Iterator<Item = Stroke> {
    let back = points.first().filter(|_| is_closed);
    let next = points.iter().skip(1).chain(back);
    points.iter().zip(next).map(|(a, b)| Stroke::Line(*a, *b))
}

/// A plate by its middle, what is upright on it, and its level width and height;
/// a level one lies along x and y.
fn plate(middle: Corner, normal: Corner, [width, height]: [f64; 2]) -> Stroke {
    let level = normal[0].hypot(normal[1]);
    let long = level.hypot(normal[2]).max(f64::MIN_POSITIVE);
    let (along, up) = if level <= 1e-9 * long {
        ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0])
    } else {
        let along = [-normal[1] / level, normal[0] / level, 0.0];
        let [nx, ny, nz] = normal.map(|part| part / long);
        let up = [
            ny * along[2] - nz * along[1],
            nz * along[0] - nx * along[2],
            nx * along[1] - ny * along[0],
        ];
        (along, up)
    };
    let sides = [along.map(|part| part * width), up.map(|part| part * height)];
    let first = [0, 1, 2].map(|axis| middle[axis] - f64::midpoint(sides[0][axis], sides[1][axis]));
    Stroke::Plate(first, sides)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_box_has_twelve_edges_and_a_plate_lies_around_its_middle() {
        let strokes: Vec<Stroke> = edges([0.0; 3], [1.0, 2.0, 3.0]).collect();
        assert_eq!(strokes.len(), 12);
        let Stroke::Plate(first, sides) = plate([0.0, 100.0, 50.0], [-2.0, 0.0, 0.0], [60.0, 40.0])
        else {
            panic!("a plate");
        };
        assert_eq!(first.map(|side| side.abs() as u8), [0, 130, 30]);
        assert!((sides[0][1].abs() - 60.0).abs() < 1e-9, "level: {sides:?}");
        assert!(
            (sides[1][2].abs() - 40.0).abs() < 1e-9,
            "upright: {sides:?}"
        );
        let Stroke::Plate(first, _) = plate([5.0, 5.0, 0.0], [0.0, 0.0, 1.0], [4.0, 2.0]) else {
            panic!("a plate");
        };
        assert_eq!(first.map(|side| side as u8), [3, 4, 0]);
    }
}
