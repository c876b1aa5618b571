//! Prints whose wetted area is known, each with where the figure comes from.
//! Lengths are in mm.

#![allow(
    clippy::struct_excessive_bools,
    clippy::too_many_lines,
    reason = "tables of cases, each with what is true of it"
)]

use std::f64::consts::PI;
use std::ops::RangeInclusive;

use tankside::mesh::Flaw;

use super::solids::{
    Dice, Point, Solid, polygon_area, polygon_perimeter, turned_area, turned_volume,
};

/// What a hollow with a way in has to come to, the walls of its opening given
/// to it or to the outside.
#[derive(Clone, Debug)]
pub(crate) struct Hollow {
    pub(crate) area_mm2: RangeInclusive<f64>,
    pub(crate) volume_mm3: RangeInclusive<f64>,
    /// The widest ball that passes.
    pub(crate) opening_mm: RangeInclusive<f64>,
}

/// A print and what is true of it.
#[derive(Clone, Debug)]
pub(crate) struct Case {
    pub(crate) name: &'static str,
    /// Where the wetted area comes from.
    pub(crate) source: &'static str,
    pub(crate) solid: Solid,
    pub(crate) wetted_mm2: f64,
    /// How far off that may itself be, relative.
    pub(crate) exact: f64,
    /// Any of these; not looked at where empty.
    pub(crate) volumes_mm3: Vec<f64>,
    /// Area and volume of each hollow that is shut, the largest first.
    pub(crate) sealed: Vec<[f64; 2]>,
    pub(crate) hollow: Option<Hollow>,
    pub(crate) islands: RangeInclusive<usize>,
    pub(crate) watertight: Option<bool>,
    /// Of each line one has to be told.
    pub(crate) told: Vec<&'static [Flaw]>,
    /// Whether nothing may be told.
    pub(crate) is_clean: bool,
    /// Whether shells lie in shells, so that what is solid hangs on how they
    /// are turned, or solid is not asked for at all.
    pub(crate) turn_matters: bool,
    /// Whether it is too fine for single precision far from the origin.
    pub(crate) is_fine: bool,
    /// Whether its hollows are told though none is asked for: open sheets.
    pub(crate) hollows_are_open_question: bool,
}

impl Case {
    /// One piece without hollows.
    fn new(name: &'static str, solid: Solid, wetted_mm2: f64, source: &'static str) -> Self {
        Self {
            name,
            source,
            solid,
            wetted_mm2,
            exact: 1e-9,
            volumes_mm3: Vec::new(),
            sealed: Vec::new(),
            hollow: None,
            islands: 1..=1,
            watertight: None,
            told: Vec::new(),
            is_clean: false,
            turn_matters: false,
            is_fine: false,
            hollows_are_open_question: false,
        }
    }

    fn exact_to(self, exact: f64) -> Self {
        Self { exact, ..self }
    }

    fn volume(self, mm3: f64) -> Self {
        self.volumes(&[mm3])
    }

    fn volumes(self, mm3: &[f64]) -> Self {
        let volumes_mm3 = mm3.to_vec();
        Self {
            volumes_mm3,
            ..self
        }
    }

    fn sealed(mut self, area_mm2: f64, volume_mm3: f64) -> Self {
        self.sealed.push([area_mm2, volume_mm3]);
        Self {
            turn_matters: true,
            ..self
        }
    }

    fn hollow(self, hollow: Hollow) -> Self {
        Self {
            hollow: Some(hollow),
            ..self
        }
    }

    fn islands(self, islands: RangeInclusive<usize>) -> Self {
        Self { islands, ..self }
    }

    fn watertight(self, is: bool) -> Self {
        Self {
            watertight: Some(is),
            ..self
        }
    }

    fn told(mut self, any_of: &'static [Flaw]) -> Self {
        self.told.push(any_of);
        self
    }

    /// Of shells that run through each other: flipped triangle by triangle,
    /// nobody can tell what is solid.
    fn overlapping(self) -> Self {
        self.nested().told(OVERLAP)
    }

    fn clean(self) -> Self {
        Self {
            is_clean: true,
            ..self.watertight(true)
        }
    }

    fn nested(self) -> Self {
        Self {
            turn_matters: true,
            ..self
        }
    }

    fn fine(self) -> Self {
        Self {
            is_fine: true,
            ..self
        }
    }

    /// Of sheets, of which neither solid nor hollow can be asked.
    fn of_sheets(self) -> Self {
        Self {
            islands: 0..=usize::MAX,
            hollows_are_open_question: true,
            turn_matters: true,
            ..self
        }
    }
}

const O: Point = [0.0; 3];
const OVERLAP: &[Flaw] = &[Flaw::OverlappingShells];
const INSIDE: &[Flaw] = &[Flaw::InternalFaces];
const SEALED: &[Flaw] = &[Flaw::SealedCavity];
const DRAINED: &[Flaw] = &[Flaw::DrainedCavity];
const OPEN: &[Flaw] = &[Flaw::OpenMesh];

/// [0,20] x [0,30] x [0,40].
fn brick() -> Solid {
    Solid::cuboid(O, [20.0, 30.0, 40.0])
}

fn cube(low: Point) -> Solid {
    Solid::cube(low, 20.0)
}

/// The inward-turned cube of this side about the middle of [0,`around`]³.
fn within(around: f64, side: f64) -> Solid {
    Solid::cube([(around - side) / 2.0; 3], side)
}

pub(crate) fn globe() -> Solid {
    Solid::globe(10.0, 64, 128)
}

/// All but the triangles that lie wholly at this height.
fn open_at(solid: &Solid, height: f64) -> Solid {
    solid.without(|triangle| {
        triangle
            .iter()
            .all(|corner| (corner[2] - height).abs() < 1e-9)
    })
}

/// The bottle as a polyline of (radius, height): 15 wide, 40 high, walls of 2,
/// a hole of 3 across in its top.
const BOTTLE: [[f64; 2]; 8] = [
    [0.0, 0.0],
    [15.0, 0.0],
    [15.0, 40.0],
    [1.5, 40.0],
    [1.5, 38.0],
    [13.0, 38.0],
    [13.0, 2.0],
    [0.0, 2.0],
];

fn is_between(low: f64, high: f64, x: f64) -> bool {
    low < x && x < high
}

/// A cube of 30 with a hollow of 20 and a square drain of this width.
pub(crate) fn drained(width: f64) -> Solid {
    let (from, to) = (15.0 - width / 2.0, 15.0 + width / 2.0);
    let planes = [0.0, 5.0, from, to, 25.0, 30.0];
    Solid::lattice([&planes, &planes, &planes], |[x, y, z]| {
        let in_hollow = [x, y, z].iter().all(|at| is_between(5.0, 25.0, *at));
        let in_drain = is_between(from, to, x) && is_between(from, to, y) && z > 25.0;
        !in_hollow && !in_drain
    })
}

/// Two chambers of 20 side by side in a block of 60 x 30 x 30; the first has a
/// square drain of 4 in its top, the second a square passage to the first.
pub(crate) fn two_chambers(passage: f64) -> Solid {
    let (from, to) = (15.0 - passage / 2.0, 15.0 + passage / 2.0);
    let along = [0.0, 5.0, 13.0, 17.0, 25.0, 35.0, 55.0, 60.0];
    let across = [0.0, 5.0, 13.0, from, to, 17.0, 25.0, 30.0];
    Solid::lattice([&along, &across, &across], |[x, y, z]| {
        let inside = |x: f64| is_between(5.0, 25.0, x);
        let in_first = inside(x) && inside(y) && inside(z);
        let in_second = is_between(35.0, 55.0, x) && inside(y) && inside(z);
        let in_drain = is_between(13.0, 17.0, x) && is_between(13.0, 17.0, y) && z > 25.0;
        let in_passage =
            is_between(25.0, 35.0, x) && is_between(from, to, y) && is_between(from, to, z);
        !in_first && !in_second && !in_drain && !in_passage
    })
}

/// Every case of this file.
pub(crate) fn cases() -> Vec<Case> {
    [
        overlapping(),
        touching(),
        hollow(),
        turned_or_doubled(),
        broken(),
        sheets(),
        extremes(),
    ]
    .concat()
}

fn overlapping() -> Vec<Case> {
    let pegged = |low, high| {
        let peg = Solid::cylinder(5.0, low, high, 64).moved([20.0, 20.0, 0.0]);
        Solid::cuboid(O, [40.0, 40.0, 10.0]).and(&peg)
    };
    let around = polygon_perimeter(5.0, 64);
    let section = polygon_area(5.0, 64);
    let letter = |k: usize| {
        let low = [3.0 + 9.5 * (k / 2) as f64, 5.0 + 12.0 * (k % 2) as f64, 2.8];
        Solid::cuboid(low, [3.0, 5.0, 2.0])
    };
    let link = |k: usize| {
        let k = k as f64;
        Solid::cube([7.0 * k, 3.0 * k, 2.0 * k], 10.0)
    };
    let cone = |x| Solid::turned(&[[0.0, 2.0], [4.0, 2.0], [0.0, 15.0]], 32).moved([x, 10.0, 0.0]);
    // Where the cones come out of the plate.
    let foot = 4.0 * 12.0 / 13.0;
    let cone_area = turned_area(&[[foot, 3.0], [0.0, 15.0]], 32) - polygon_area(foot, 32);
    let blocks = Solid::block(O, [60.0, 40.0, 30.0], [12, 8, 6]).and(&Solid::block(
        [23.7, 17.3, 11.9],
        [60.0, 40.0, 30.0],
        [12, 8, 6],
    ));
    let shared = [36.3, 22.7, 18.1];
    vec![
        Case::new(
            "two cubes that overlap",
            cube(O).and(&cube([10.0, 7.0, 5.0])),
            4800.0 - 950.0,
            "closed form: 2·2400 less the surface of the shared 10 x 13 x 15, 950",
        )
        .volume(14_050.0)
        .watertight(true)
        .overlapping(),
        Case::new(
            "a shell in a shell, both turned outwards",
            Solid::cube(O, 30.0).and(&within(30.0, 20.0)),
            5400.0,
            "closed form: 6·30²; the inner shell is in the solid or sealed",
        )
        .volumes(&[27_000.0, 19_000.0])
        .nested()
        .told(&[
            Flaw::InternalFaces,
            Flaw::SealedCavity,
            Flaw::OverlappingShells,
        ]),
        Case::new(
            "two balls 12 apart",
            globe().and(&globe().moved([12.0, 0.0, 0.0])),
            2_009.890_784,
            "libigl 2.6.3, remesh_self_intersections and extract_cells (exact numbers), on \
             corners rounded to single precision; manifold3d 3.5.4 agrees to 1e-9",
        )
        .exact_to(1e-6)
        .volume(7_499.748_489)
        .overlapping(),
        Case::new(
            "a peg through a plate",
            pegged(-10.0, 20.0),
            4800.0 + 20.0 * around,
            "closed form: plate 2·1600 + 4·400, caps as large as their holes, 20 of the peg's side",
        )
        .volume(16_000.0 + 20.0 * section)
        .overlapping(),
        Case::new(
            "a peg flush on both sides of a plate",
            pegged(0.0, 10.0),
            4800.0,
            "closed form: the plate alone",
        )
        .volume(16_000.0),
        Case::new(
            "a peg flush below and proud above",
            pegged(0.0, 20.0),
            4800.0 + 10.0 * around,
            "closed form: the plate and 10 of the peg's side",
        )
        .volume(16_000.0 + 10.0 * section)
        .overlapping(),
        Case::new(
            "letters sunk into a plate",
            Solid::all((0..12).map(letter)).and(&Solid::cuboid(O, [60.0, 30.0, 3.0])),
            4140.0 + 12.0 * 28.8,
            "closed form: the plate and 1.8 of twelve outlines of 16",
        )
        .volume(5724.0)
        .overlapping(),
        Case::new(
            "three cones sunk into a plate",
            Solid::all([10.0, 30.0, 50.0].map(cone)).and(&Solid::cuboid(O, [60.0, 20.0, 3.0])),
            2880.0 + 3.0 * cone_area,
            "closed form: the plate and three 32-sided cones above it, less their feet",
        )
        .overlapping(),
        Case::new(
            "a chain of fifty cubes",
            Solid::all((0..50).map(link)),
            50.0 * 600.0 - 49.0 * 202.0,
            "closed form: 50·600 less 49 surfaces of the shared 3 x 7 x 8, 202",
        )
        .volume(50.0 * 1000.0 - 49.0 * 168.0)
        .overlapping(),
        Case::new(
            "two finely meshed boxes",
            blocks,
            2.0 * 10_800.0
                - 2.0 * (shared[0] * shared[1] + shared[1] * shared[2] + shared[0] * shared[2]),
            "closed form: both less the surface of the shared 36.3 x 22.7 x 18.1",
        )
        .volume(144_000.0 - shared.iter().product::<f64>())
        .overlapping(),
        three_balls(),
        crossing_cylinders(),
        Case::new(
            "a bar that crosses itself",
            Solid::bar(
                &[
                    [0.0, 0.0],
                    [20.0, 0.0],
                    [20.0, 20.0],
                    [10.0, 20.0],
                    [10.0, -10.0],
                    [0.0, -10.0],
                ],
                2.0,
            ),
            2.0 * 384.0 + 4.0 * 184.0,
            "closed form: a path of 100 that is 4 wide and crosses itself once covers 400 - 16 \
             and has an outline of 200 - 16; it is 4 thick",
        )
        .volume(4.0 * 384.0)
        .watertight(true)
        .told(&[Flaw::SelfIntersection]),
    ]
}

/// Three balls of radius 10, each pair 12 apart, with a part that all share.
pub(crate) fn triad(rows: usize) -> Solid {
    let ball = Solid::globe(10.0, rows, 2 * rows);
    Solid::all([
        ball.clone(),
        ball.moved([12.0, 0.0, 0.0]),
        ball.moved([6.0, 12.0 * 0.75_f64.sqrt(), 0.0]),
    ])
}

fn three_balls() -> Case {
    Case::new(
        "three balls that overlap",
        triad(32),
        2_525.283_374,
        "manifold3d 3.5.4, union of the same polyhedra; 0.12 % under smooth_three_balls",
    )
    .exact_to(1e-8)
    .volume(10_245.094_233)
    .overlapping()
}

/// What the same comes to for smooth balls: of each sphere two caps are
/// covered, their axes 60° apart; what both cover has two arcs and two corners
/// (Gauss and Bonnet).
pub(crate) fn smooth_three_balls() -> f64 {
    let (radius, cap) = (10.0, 0.6_f64);
    let (cos_between, sin_between) = (0.5, 0.75_f64.sqrt());
    let sin_cap_squared = 1.0 - cap * cap;
    let arc = 2.0 * ((cap - cos_between * cap) / (sin_between * sin_cap_squared.sqrt())).acos();
    let corner = ((cos_between - cap * cap) / sin_cap_squared).acos();
    let both = 2.0 * PI - 2.0 * arc * cap - 2.0 * corner;
    let covered = 2.0 * 2.0 * PI * (1.0 - cap) - both;
    3.0 * radius * radius * (4.0 * PI - covered)
}

/// Two cylinders of radius 10 and length 60 that cross at a right angle; for
/// round ones 16 r² is lost of the surface and 16/3 r³ shared (Archimedes,
/// Steinmetz). With polygons of the same corners what is lost of a side facet
/// is the trapezoid between its two half widths.
fn crossing_cylinders() -> Case {
    let (radius, sides) = (10.0, 32);
    let upright = Solid::cylinder(radius, -30.0, 30.0, sides);
    let along_x = upright.mapped(|[x, y, z]| [z, x, y]);
    let along_y = upright.mapped(|[x, y, z]| [x, -z, y]);
    // Half width and height of the corners of both sections.
    let corner = |k: usize| {
        let (sin, cos) = (2.0 * PI * k as f64 / sides as f64).sin_cos();
        [radius * cos.abs(), radius * sin]
    };
    let (mut lost, mut shared) = (0.0, 0.0);
    for k in 0..sides {
        let ([width, height], [next_width, next_height]) = (corner(k), corner(k + 1));
        let facet = 2.0 * radius * (PI / sides as f64).sin();
        lost += 2.0 * facet * (width + next_width);
        let squares = width * width + width * next_width + next_width * next_width;
        shared += 2.0 / 3.0 * (next_height - height).abs() * squares;
    }
    let one = 60.0 * polygon_perimeter(radius, sides) + 2.0 * polygon_area(radius, sides);
    Case::new(
        "two cylinders that cross",
        along_x.and(&along_y),
        2.0 * one - lost,
        "closed form: both less trapezoids between the half widths of the sections; in the limit \
         16 r²",
    )
    .volume(2.0 * 60.0 * polygon_area(radius, sides) - shared)
    .overlapping()
}

fn touching() -> Vec<Case> {
    let standing = |cells| cube(O).and(&Solid::block([5.0, 5.0, 20.0], [10.0; 3], [cells; 3]));
    let hole = [0.0, 15.0, 25.0, 40.0];
    let pocket = Solid::lattice([&hole, &hole, &[0.0, 10.0]], |[x, y, _]| {
        !(is_between(15.0, 25.0, x) && is_between(15.0, 25.0, y))
    });
    let peg = Solid::cuboid([15.0, 15.0, 0.0], [10.0; 3]);
    vec![
        Case::new(
            "two cubes face to face",
            cube(O).and(&cube([20.0, 0.0, 0.0])),
            4000.0,
            "closed form: the box of 40 x 20 x 20",
        )
        .volume(16_000.0)
        .told(INSIDE),
        Case::new(
            "two cubes face to face, one of them finer",
            cube(O).and(&Solid::block([20.0, 0.0, 0.0], [20.0; 3], [3; 3])),
            4000.0,
            "closed form: the box of 40 x 20 x 20",
        )
        .volume(16_000.0)
        .told(INSIDE),
        Case::new(
            "two cubes that share part of a face",
            cube(O).and(&cube([20.0, 7.0, 5.0])),
            4800.0 - 2.0 * 13.0 * 15.0,
            "closed form: both less twice the shared 13 x 15",
        )
        .volume(16_000.0)
        .told(INSIDE),
        Case::new(
            "a small cube in the middle of a large one's face",
            standing(1),
            2400.0 + 600.0 - 200.0,
            "closed form: both less twice the footprint",
        )
        .volume(9000.0)
        .told(INSIDE),
        Case::new(
            "a small and finer cube in the middle of a large one's face",
            standing(3),
            2400.0 + 600.0 - 200.0,
            "closed form: both less twice the footprint",
        )
        .volume(9000.0)
        .told(INSIDE),
        Case::new(
            "a small cube flush in a large one's corner",
            cube(O).and(&Solid::cube([20.0, 0.0, 0.0], 10.0)),
            2400.0 + 600.0 - 200.0,
            "closed form: both less twice the footprint",
        )
        .volume(9000.0)
        .told(INSIDE),
        Case::new(
            "two boxes that overlap with four flush sides",
            Solid::cuboid(O, [20.0, 10.0, 10.0])
                .and(&Solid::cuboid([10.0, 0.0, 0.0], [20.0, 10.0, 10.0])),
            1400.0,
            "closed form: the box of 30 x 10 x 10",
        )
        .volume(3000.0),
        Case::new(
            "a small cube in a large one's inner corner",
            cube(O).and(&Solid::cube(O, 10.0)),
            2400.0,
            "closed form: the large one alone",
        )
        .volume(8000.0),
        Case::new(
            "a square peg that fills its hole",
            pocket.and(&peg),
            4800.0,
            "closed form: the plate of 40 x 40 x 10",
        )
        .volume(16_000.0)
        .told(INSIDE),
        Case::new(
            "two cubes edge to edge",
            cube(O).and(&cube([20.0, 20.0, 0.0])),
            4800.0,
            "closed form: both",
        )
        .volume(16_000.0)
        .islands(1..=2),
        Case::new(
            "two cubes corner to corner",
            cube(O).and(&cube([20.0; 3])),
            4800.0,
            "closed form: both",
        )
        .volume(16_000.0)
        .islands(1..=2),
        Case::new(
            "eight cubes as one",
            Solid::all(
                (0..8).map(|k| {
                    Solid::cube([0, 1, 2].map(|axis| 10.0 * f64::from(k >> axis & 1)), 10.0)
                }),
            ),
            2400.0,
            "closed form: the cube of 20",
        )
        .volume(8000.0)
        .told(INSIDE),
    ]
}

fn hollow() -> Vec<Case> {
    let cube30 = || Solid::cube(O, 30.0);
    let nest = |sides: &[f64]| {
        Solid::all(sides.iter().enumerate().map(|(depth, side)| {
            let shell = within(sides[0], *side);
            if depth % 2 == 0 {
                shell
            } else {
                shell.inside_out()
            }
        }))
    };
    let bottle_inside = turned_area(&BOTTLE[5..], 48) + turned_area(&BOTTLE[4..6], 48);
    let neck = turned_area(&BOTTLE[3..5], 48);
    let bottle_room = 36.0 * polygon_area(13.0, 48);
    let blind = Solid::lattice(
        [
            &[0.0, 13.0, 17.0, 30.0],
            &[0.0, 13.0, 17.0, 30.0],
            &[0.0, 10.0, 30.0],
        ],
        |[x, y, z]| !(is_between(13.0, 17.0, x) && is_between(13.0, 17.0, y) && z > 10.0),
    );
    let socket = [0.0, 10.85, 19.15, 30.0];
    let socket = Solid::lattice([&socket, &socket, &[0.0, 20.0]], |[x, y, _]| {
        !(is_between(10.85, 19.15, x) && is_between(10.85, 19.15, y))
    });
    let lone_ball = Solid::ball(5.0, 8);
    vec![
        Case::new(
            "a sealed hollow",
            nest(&[30.0, 20.0]),
            5400.0,
            "closed form: 6·30²; the inner walls are dry",
        )
        .volume(19_000.0)
        .sealed(2400.0, 8000.0)
        .watertight(true)
        .told(SEALED),
        Case::new(
            "a hollow with a drain",
            drained(4.0),
            7848.0,
            "closed form: 5384 outside, 2384 inside, 80 in the drain",
        )
        .volume(18_920.0)
        .hollow(Hollow {
            area_mm2: 2384.0..=2464.0,
            volume_mm3: 8000.0..=8080.0,
            opening_mm: 3.5..=5.7,
        })
        .watertight(true)
        .told(DRAINED),
        Case::new(
            "a bottle",
            Solid::turned(&BOTTLE, 48),
            turned_area(&BOTTLE, 48),
            "closed form: trapezoids of 48 sectors; all of it is wet",
        )
        .volume(turned_volume(&BOTTLE, 48))
        .hollow(Hollow {
            area_mm2: bottle_inside..=bottle_inside + neck,
            volume_mm3: bottle_room..=bottle_room + 2.0 * polygon_area(1.5, 48),
            opening_mm: 2.5..=3.2,
        })
        .watertight(true)
        .told(DRAINED),
        Case::new(
            "shells four deep",
            nest(&[40.0, 30.0, 20.0, 10.0]),
            9600.0,
            "closed form: 6·40²",
        )
        .volume(64_000.0 - 27_000.0 + 8000.0 - 1000.0)
        .sealed(6.0 * 900.0 + 6.0 * 400.0, 27_000.0 - 8000.0)
        .sealed(600.0, 1000.0)
        .islands(1..=2)
        .told(SEALED),
        Case::new(
            "a loose ball in a sealed hollow",
            nest(&[30.0, 20.0]).and(&lone_ball.moved([15.0; 3])),
            5400.0,
            "closed form: 6·30²; all within is dry",
        )
        .volume(19_000.0 + lone_ball.signed_volume())
        .sealed(
            2400.0 + lone_ball.area(),
            8000.0 - lone_ball.signed_volume(),
        )
        .islands(1..=2)
        .told(SEALED),
        Case::new(
            "two sealed hollows",
            Solid::cuboid(O, [60.0, 30.0, 30.0])
                .and(&Solid::cube([5.0; 3], 20.0).inside_out())
                .and(&Solid::cube([40.0, 10.0, 10.0], 10.0).inside_out()),
            2.0 * 1800.0 + 2.0 * 1800.0 + 2.0 * 900.0,
            "closed form: the box of 60 x 30 x 30",
        )
        .volume(54_000.0 - 9000.0)
        .sealed(2400.0, 8000.0)
        .sealed(600.0, 1000.0)
        .told(SEALED),
        Case::new(
            "a hollow shut by six plates that touch",
            six_plates(),
            6.0 * 900.0,
            "closed form: six boxes around a hollow of 20 make the cube of 30",
        )
        .volume(19_000.0)
        .sealed(2400.0, 8000.0)
        .told(SEALED),
        Case::new(
            "a blind hole",
            blind,
            5400.0 + 4.0 * 4.0 * 20.0,
            "closed form: the cube and the hole's four walls",
        )
        .volume(27_000.0 - 320.0),
        Case::new(
            "a square socket",
            socket,
            2.0 * (900.0 - 8.3 * 8.3) + 4.0 * 20.0 * (30.0 + 8.3),
            "closed form: two frames, outer and inner sides",
        )
        .volume((900.0 - 8.3 * 8.3) * 20.0),
        Case::new(
            "a hollow full of shell",
            cube30()
                .and(&within(30.0, 20.0).inside_out())
                .and(&within(30.0, 20.0)),
            5400.0,
            "closed form: 6·30²; what fills the hollow touches all its walls",
        )
        .volume(27_000.0)
        .nested(),
    ]
}

/// Six boxes, 5 thick, around [5,25]³: none overlaps another.
fn six_plates() -> Solid {
    Solid::all([
        Solid::cuboid(O, [30.0, 30.0, 5.0]),
        Solid::cuboid([0.0, 0.0, 25.0], [30.0, 30.0, 5.0]),
        Solid::cuboid([0.0, 0.0, 5.0], [30.0, 5.0, 20.0]),
        Solid::cuboid([0.0, 25.0, 5.0], [30.0, 5.0, 20.0]),
        Solid::cuboid([0.0, 5.0, 5.0], [5.0, 20.0, 20.0]),
        Solid::cuboid([25.0, 5.0, 5.0], [5.0, 20.0, 20.0]),
    ])
}

fn turned_or_doubled() -> Vec<Case> {
    let flipped: &[Flaw] = &[Flaw::FlippedNormals];
    let gridded = Solid::block(O, [20.0; 3], [4; 3]);
    let rod = Solid::cuboid(O, [150.0, 10.0, 10.0]);
    let half = 0.5_f64.sqrt();
    let l = [0.0, 10.0, 20.0];
    vec![
        Case::new(
            "a brick",
            brick(),
            5200.0,
            "closed form: 2·(600 + 800 + 1200)",
        )
        .volume(24_000.0)
        .clean(),
        Case::new(
            "a ball",
            Solid::ball(10.0, 12),
            Solid::ball(10.0, 12).area(),
            "closed form: every triangle of one convex shell",
        )
        .volume(Solid::ball(10.0, 12).signed_volume())
        .clean(),
        Case::new(
            "an L",
            Solid::lattice([&l, &l, &[0.0, 10.0]], |[x, y, _]| x < 10.0 || y < 10.0),
            1400.0,
            "closed form: two L of 300, six sides of 80 by 10",
        )
        .volume(3000.0)
        .clean(),
        Case::new(
            "a rod that lies askew",
            rod.mapped(|[x, y, z]| [half * (x - y), half * (x + y), z]),
            6200.0,
            "closed form: 4·1500 + 2·100",
        )
        .volume(15_000.0)
        .clean(),
        Case::new(
            "a cube inside out",
            cube(O).inside_out(),
            2400.0,
            "closed form: 6·20²",
        )
        .volume(8000.0)
        .watertight(true)
        .told(flipped),
        Case::new(
            "a cube with every second triangle inside out",
            gridded.flipped_where(|at| at % 2 == 0),
            2400.0,
            "closed form: 6·20²",
        )
        .volume(8000.0)
        .told(flipped),
        Case::new(
            "a brick twice",
            brick().and(&brick()),
            5200.0,
            "closed form: once",
        )
        .volume(24_000.0)
        .told(&[Flaw::DuplicateFaces]),
        Case::new(
            "a brick and its inside-out copy",
            brick().and(&brick().inside_out()),
            5200.0,
            "closed form: once",
        )
        .nested()
        .told(&[Flaw::DuplicateFaces]),
    ]
}

fn broken() -> Vec<Case> {
    let fine_top = Solid::block(O, [20.0; 3], [2, 2, 1])
        .without(|triangle| triangle.iter().any(|corner| corner[2] < 20.0));
    let split = Solid::block(O, [20.0; 3], [1, 1, 2]);
    let level = |z: f64, low: f64, high: f64| {
        Solid::sheet([
            [low, low, z],
            [high, low, z],
            [high, high, z],
            [low, high, z],
        ])
    };
    // Next to the equator: behind a row of 128 triangles and 31 of 256.
    let is_hole = |at: &usize| *at == 128 + 31 * 256;
    let whole = globe().0.into_iter().enumerate();
    let pierced = Solid(
        whole
            .filter(|(at, _)| !is_hole(at))
            .map(|(_, triangle)| triangle)
            .collect(),
    );
    let slivers = Solid(vec![
        [O, [20.0, 0.0, 0.0], [5.0, 0.0, 0.0]],
        [O, O, [20.0, 0.0, 0.0]],
        [[20.0, 30.0, 0.0]; 3],
        [[5.0; 3]; 3],
    ]);
    let without_lid = open_at(&cube(O), 20.0);
    let small_globe = Solid::globe(4.0, 16, 32);
    vec![
        Case::new(
            "a top with more corners than its sides",
            open_at(&cube(O), 20.0).and(&fine_top),
            2400.0,
            "closed form: 6·20²; closed in space, though not side by side",
        )
        .volume(8000.0)
        .watertight(false)
        .told(&[Flaw::TJunction, Flaw::OpenMesh]),
        Case::new(
            "a wall within",
            split.and(&level(10.0, 0.0, 20.0)),
            2400.0,
            "closed form: 6·20²; the wall has solid on both sides",
        )
        .volume(8000.0)
        .nested()
        .told(INSIDE)
        .told(&[Flaw::NonManifoldEdges]),
        Case::new(
            "a ball with one triangle missing",
            pierced.clone(),
            pierced.area(),
            "closed form: every triangle there is; the hole lets nothing in",
        )
        .volume(globe().signed_volume())
        .watertight(false)
        .told(OPEN),
        Case::new(
            "a hollow ball with one outer triangle missing",
            pierced.clone().and(&small_globe.inside_out()),
            pierced.area(),
            "closed form: every outer triangle; the hole lets nothing in",
        )
        .volume(globe().signed_volume() - small_globe.signed_volume())
        .sealed(small_globe.area(), small_globe.signed_volume())
        .told(OPEN),
        Case::new(
            "triangles without area",
            brick().and(&slivers),
            5200.0,
            "closed form: the brick",
        )
        .volume(24_000.0)
        .told(&[Flaw::DegenerateTriangles]),
        Case::new(
            "a box without a lid",
            without_lid.clone(),
            2000.0,
            "closed form: five sheets, each once",
        )
        .of_sheets()
        .told(OPEN)
        .watertight(false),
        Case::new(
            "a box without a lid around a cube",
            without_lid.and(&Solid::cube([5.0; 3], 10.0)),
            2000.0,
            "closed form: five sheets, each once; a hole is shut, so all within is dry",
        )
        .of_sheets()
        .told(OPEN),
        Case::new(
            "cracks of 1e-7 along every edge",
            cracked(1e-7),
            2400.0,
            "closed form: 6·20²; six faces each moved out by a hair",
        )
        .exact_to(1e-6)
        .volume(8000.0)
        .fine(),
        Case::new(
            "corners that miss each other by 1e-7",
            jittered(1e-7),
            2400.0,
            "closed form: 6·20², each corner of each triangle moved by a hair",
        )
        .exact_to(1e-6)
        .volume(8000.0)
        .fine(),
        Case::new(
            "zeros with either sign",
            with_negative_zeros(&cube(O)),
            2400.0,
            "closed form: 6·20²",
        )
        .volume(8000.0)
        .clean(),
    ]
}

/// The cube of 20 with each face moved out by a hair, so that no two of its
/// sides meet.
fn cracked(hair: f64) -> Solid {
    let middle = |triangle: &[Point; 3], axis: usize| {
        triangle
            .iter()
            .map(|corner| corner[axis] - 10.0)
            .sum::<f64>()
            / 3.0
    };
    let moved = |triangle: &[Point; 3]| {
        let out = [0, 1, 2].map(|axis| {
            let off = middle(triangle, axis);
            if off.abs() > 9.0 {
                hair * off.signum()
            } else {
                0.0
            }
        });
        triangle.map(|corner| [0, 1, 2].map(|axis| corner[axis] + out[axis]))
    };
    Solid(cube(O).0.iter().map(moved).collect())
}

/// The cube of 20 with every corner of every triangle a hair off.
fn jittered(hair: f64) -> Solid {
    let mut dice = Dice(20);
    let gridded = Solid::block(O, [20.0; 3], [4; 3]);
    let mut off = |corner: Point| corner.map(|x| x + hair * dice.share());
    Solid(
        gridded
            .0
            .iter()
            .map(|triangle| triangle.map(&mut off))
            .collect(),
    )
}

/// The same with the zeros of every second triangle negative.
fn with_negative_zeros(solid: &Solid) -> Solid {
    let signed = |(at, triangle): (usize, &[Point; 3])| {
        let sign = |x: f64| {
            if at % 2 == 0 && x.abs() < f64::MIN_POSITIVE {
                -0.0
            } else {
                x
            }
        };
        triangle.map(|corner| corner.map(sign))
    };
    Solid(solid.0.iter().enumerate().map(signed).collect())
}

fn sheets() -> Vec<Case> {
    let square = |z: f64, low: f64, high: f64| {
        Solid::sheet([
            [low, low, z],
            [high, low, z],
            [high, high, z],
            [low, high, z],
        ])
    };
    let upright = |x: f64, low: f64, high: f64, foot: f64| {
        Solid::sheet([
            [x, low, foot],
            [x, high, foot],
            [x, high, foot + 10.0],
            [x, low, foot + 10.0],
        ])
    };
    let triangle = Solid(vec![[O, [3.0, 0.0, 0.0], [0.0, 4.0, 0.0]]]);
    vec![
        Case::new(
            "a sheet through a cube",
            cube(O).and(&square(10.0, -10.0, 30.0)),
            2400.0 + 1600.0 - 400.0,
            "closed form: the cube and the sheet's part outside it, once",
        )
        .volume(8000.0)
        .of_sheets()
        .told(OPEN),
        Case::new(
            "a sheet that stands on a cube",
            cube(O).and(&upright(10.0, 5.0, 15.0, 20.0)),
            2500.0,
            "closed form: the cube and the sheet, once",
        )
        .volume(8000.0)
        .of_sheets()
        .told(OPEN),
        Case::new(
            "a sheet that lies on a cube",
            cube(O).and(&square(20.0, 5.0, 15.0)),
            2400.0,
            "closed form: the cube; the sheet is a face that is there twice",
        )
        .volume(8000.0)
        .of_sheets()
        .told(OPEN),
        Case::new(
            "a sheet inside a cube",
            cube(O).and(&square(10.0, 5.0, 15.0)),
            2400.0,
            "closed form: the cube; the sheet has solid on both sides",
        )
        .volume(8000.0)
        .of_sheets()
        .told(OPEN),
        Case::new(
            "three sheets",
            Solid::all([0.0, 20.0, 40.0].map(|z| square(z, 0.0, 10.0))),
            300.0,
            "closed form: each once",
        )
        .of_sheets()
        .told(OPEN),
        Case::new(
            "two sheets that cross",
            square(0.0, -5.0, 5.0).and(&upright(0.0, -5.0, 5.0, -5.0)),
            200.0,
            "closed form: each once",
        )
        .of_sheets()
        .told(OPEN),
        Case::new(
            "a single triangle",
            triangle.clone(),
            6.0,
            "closed form: 3·4/2",
        )
        .of_sheets()
        .told(OPEN),
        Case::new(
            "the same triangle twice",
            triangle.clone().and(&triangle),
            6.0,
            "closed form: 3·4/2, once",
        )
        .of_sheets(),
        Case::new(
            "a triangle and its back",
            triangle.clone().and(&triangle.inside_out()),
            6.0,
            "closed form: 3·4/2, once",
        )
        .of_sheets(),
    ]
}

fn extremes() -> Vec<Case> {
    let thin: &[Flaw] = &[Flaw::ThinWall];
    let wall = [0.0, 0.05, 19.95, 20.0];
    let cup = Solid::lattice([&wall, &wall, &[0.0, 1.0, 20.0]], |[x, y, z]| {
        z < 1.0 || !is_between(0.05, 19.95, x) || !is_between(0.05, 19.95, y)
    });
    let far = 100_000.0;
    vec![
        Case::new(
            "a plate of 0.05",
            Solid::cuboid(O, [20.0, 20.0, 0.05]),
            2.0 * 400.0 + 4.0 * 20.0 * 0.05,
            "closed form: 2·400 + 4·1",
        )
        .volume(20.0)
        .told(thin)
        .fine(),
        Case::new(
            "a cup with walls of 0.05",
            cup,
            2400.0 + 4.0 * 19.9 * 19.0,
            "closed form: the cube of 20 and the four inner walls; the floor makes up for the top",
        )
        .volume(8000.0 - 19.9 * 19.9 * 19.0)
        .told(thin)
        .fine(),
        Case::new(
            "two cubes that overlap 100 m away",
            cube([far, far, -far]).and(&cube([far + 10.0, far + 7.0, 5.0 - far])),
            4800.0 - 950.0,
            "closed form: as at the origin",
        )
        .volume(14_050.0)
        .overlapping()
        .fine(),
        Case::new(
            "a cube of a micrometre",
            Solid::cube(O, 0.001),
            6e-6,
            "closed form: 6·0.001²",
        )
        .volume(1e-9)
        .told(&[Flaw::UnitSuspect])
        .fine(),
    ]
}
