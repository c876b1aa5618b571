#![allow(
    clippy::cast_possible_wrap,
    clippy::float_cmp,
    reason = "steps of small grids, and heights as they were given"
)]

use std::f64::consts::{PI, TAU};

use super::super::space::{cross, unit};
use super::super::{Class, Corner, Facet};
use super::{Rooms, rooms};
use crate::units::Unwatched;

type Triangles = Vec<[Corner; 3]>;

/// The boundary of those blocks of a grid that `solid` names, without a seam.
fn blocks(lines: [&[f64]; 3], solid: impl Fn([usize; 3]) -> bool) -> Triangles {
    let counts = lines.map(|line| line.len() - 1);
    let filled = |at: [i32; 3]| {
        let inside = (0..3).all(|axis| at[axis] >= 0 && (at[axis] as usize) < counts[axis]);
        inside && solid(at.map(|step| step as usize))
    };
    let mut triangles = Vec::new();
    for x in 0..counts[0] as i32 {
        for y in 0..counts[1] as i32 {
            for z in 0..counts[2] as i32 {
                for (axis, step) in (0..3).flat_map(|axis| [(axis, 1), (axis, -1)]) {
                    let mut beside = [x, y, z];
                    beside[axis] += step;
                    if filled([x, y, z]) && !filled(beside) {
                        triangles.extend(side(lines, [x, y, z], axis, step > 0));
                    }
                }
            }
        }
    }
    triangles
}

fn side(lines: [&[f64]; 3], at: [i32; 3], axis: usize, on: bool) -> [[Corner; 3]; 2] {
    let corner = |u: usize, v: usize| {
        let mut step = at.map(|step| step as usize);
        step[axis] += usize::from(on);
        step[(axis + 1) % 3] += u;
        step[(axis + 2) % 3] += v;
        [0, 1, 2].map(|axis| lines[axis][step[axis]])
    };
    let [a, b, c, d] = [corner(0, 0), corner(1, 0), corner(1, 1), corner(0, 1)];
    if on {
        [[a, b, c], [a, c, d]]
    } else {
        [[a, c, b], [a, d, c]]
    }
}

/// A cube of 30 mm with a cubic hollow of 20 mm and a square way in of this
/// width through the top, 5 mm long.
fn drained_cube(width: f64) -> Triangles {
    let (low, high) = (15.0 - width / 2.0, 15.0 + width / 2.0);
    let line = [0.0, 5.0, low, high, 25.0, 30.0];
    let hollow = 1..4;
    blocks([&line, &line, &[0.0, 5.0, 25.0, 30.0]], |[x, y, z]| {
        let inside = hollow.contains(&x) && hollow.contains(&y) && z == 1;
        let drain = x == 2 && y == 2 && z == 2;
        !inside && !drain
    })
}

/// What a closed line of radius and height makes, turned about the z axis in so
/// many flats; corners on the axis have radius 0.
fn turned(outline: &[[f64; 2]], flats: usize) -> Triangles {
    let point = |[radius, height]: [f64; 2], step: usize| {
        let angle = TAU * (step % flats) as f64 / flats as f64;
        [radius * angle.cos(), radius * angle.sin(), height]
    };
    let mut triangles = Vec::new();
    for at in 0..outline.len() {
        let (from, to) = (outline[at], outline[(at + 1) % outline.len()]);
        for step in 0..flats {
            let [a, b] = [step, step + 1].map(|step| point(from, step));
            let [c, d] = [step + 1, step].map(|step| point(to, step));
            if from[0] > 0.0 {
                triangles.push([a, b, c]);
            }
            if to[0] > 0.0 {
                triangles.push([a, c, d]);
            }
        }
    }
    triangles
}

/// A bottle of 15 mm radius, 40 mm high, walls of 2 mm, with a hole of this
/// width in the bottom.
fn bottle(hole: f64) -> Triangles {
    let hole = hole / 2.0;
    let outline = [
        [0.0, 40.0],
        [0.0, 38.0],
        [13.0, 38.0],
        [13.0, 2.0],
        [hole, 2.0],
        [hole, 0.0],
        [15.0, 0.0],
        [15.0, 40.0],
    ];
    turned(&outline, 48)
}

/// Turned about an axis and moved, by the seed.
fn moved(triangles: &[[Corner; 3]], seed: u32) -> Triangles {
    if seed == 0 {
        return triangles.to_vec();
    }
    let random = |salt: u32| (f64::from(seed * 12 + salt) * 78.233).sin() * 43_758.545 % 1.0;
    let axis = unit([random(1), random(2), random(3)]);
    let (sine, cosine) = (random(4) * PI).sin_cos();
    let turn = |p: Corner| {
        let (side, along) = (cross(axis, p), super::dot(axis, p) * (1.0 - cosine));
        [0, 1, 2].map(|i| p[i] * cosine + side[i] * sine + axis[i] * along)
    };
    let shift = [5, 6, 7].map(|salt| 100.0 * random(salt));
    let place = |corner| [0, 1, 2].map(|i| f64::from((turn(corner)[i] + shift[i]) as f32));
    triangles
        .iter()
        .map(|triangle| triangle.map(place))
        .collect()
}

fn facets(triangles: &[[Corner; 3]]) -> Vec<Facet> {
    let facet = |(triangle, &corners): (u32, &[Corner; 3])| Facet {
        triangle,
        corners,
        class: Class::Wetted,
    };
    (0..).zip(triangles).map(facet).collect()
}

fn found(triangles: &[[Corner; 3]], bubble: f64) -> Rooms {
    let facets = facets(triangles);
    rooms(&facets, bubble, &Unwatched).unwrap()
}

#[track_caller]
fn close(value: f64, truth: f64, share: f64) {
    assert!((value / truth - 1.0).abs() < share, "{value}, not {truth}");
}

#[test]
fn a_cube_with_a_drain_is_a_drained_cavity() {
    for seed in 0..2 {
        let found = found(&moved(&drained_cube(4.0), seed), 0.5);
        assert!(found.shut.is_empty());
        let [cavity] = found.cavities[..] else {
            panic!("{found:?}");
        };
        assert!(!cavity.sealed);
        // 6 x 20² - 4², with or without the walls of the drain, 4 x 4 x 5.
        assert!((2384.0 * 0.97..2464.0 * 1.03).contains(&cavity.area_mm2));
        close(cavity.volume_mm3, 8000.0, 0.03);
        close(cavity.opening_mm.unwrap(), 4.0, 0.05);
    }
}

#[test]
fn a_bottle_is_a_drained_cavity() {
    for seed in 0..2 {
        let found = found(&moved(&bottle(3.0), seed), 0.5);
        let [cavity] = found.cavities[..] else {
            panic!("{found:?}");
        };
        // Of a prism with 48 sides about r = 13, h = 36: 2 x 24 r² sin 7.5°
        // + 96 r h sin 3.75°, less the hole.
        close(cavity.area_mm2, 3990.0, 0.03);
        close(cavity.volume_mm3, 19059.0, 0.03);
        close(cavity.opening_mm.unwrap(), 3.0, 0.05);
    }
}

#[test]
fn the_bubble_tells_which_holes_are_shut() {
    for seed in 0..2 {
        for (hole, bubble, is_shut) in [(0.4, 0.5, true), (0.6, 0.5, false), (0.4, 0.3, false)] {
            let triangles = moved(&drained_cube(hole), seed);
            let found = found(&triangles, bubble);
            let [cavity] = found.cavities[..] else {
                panic!("{found:?}");
            };
            assert_eq!(cavity.sealed, is_shut);
            close(cavity.opening_mm.unwrap(), hole, 0.05);
            close(cavity.volume_mm3, 8000.0, 0.03);
            // 6 x 20², a hole less, its walls to either side.
            close(cavity.area_mm2, 2400.0, 0.01);
            let area =
                |&(facet, part): &(usize, f64)| super::super::space::area(triangles[facet]) * part;
            let shut: f64 = found.shut.iter().map(area).sum();
            assert!((shut - if is_shut { cavity.area_mm2 } else { 0.0 }).abs() < 1e-6);
        }
    }
}

#[track_caller]
fn has_none(triangles: &[[Corner; 3]], bubble: f64) {
    for seed in 0..2 {
        let found = found(&moved(triangles, seed), bubble);
        // A search that is given up tells of none either.
        let told = Rooms {
            given_up: false,
            ..found
        };
        assert_eq!(told, Rooms::default(), "seed {seed}");
    }
}

#[test]
fn a_cup_is_no_cavity() {
    has_none(
        &turned(
            &[
                [0.0, 0.0],
                [15.0, 0.0],
                [15.0, 40.0],
                [13.0, 40.0],
                [13.0, 2.0],
                [0.0, 2.0],
            ],
            48,
        ),
        0.5,
    );
}

#[test]
fn a_blind_hole_of_one_width_is_no_cavity() {
    let line = [0.0, 5.0, 9.0, 14.0];
    has_none(
        &blocks([&line, &line, &[0.0, 5.0, 25.0]], |[x, y, z]| {
            x != 1 || y != 1 || z != 1
        }),
        0.5,
    );
}

/// Three plates of 10 x 8 x 2 mm on a back, so far apart.
fn comb(slit: f64) -> Triangles {
    let mut line = vec![0.0];
    for plate in 0..2 {
        let low = f64::from(plate) * (2.0 + slit);
        line.extend([low + 2.0, low + 2.0 + slit]);
    }
    line.push(2.0 * (2.0 + slit) + 2.0);
    blocks([&line, &[0.0, 3.0, 11.0], &[0.0, 10.0]], |[x, y, _]| {
        y == 0 || x % 2 == 0
    })
}

#[test]
fn a_slit_that_leads_nowhere_is_no_room() {
    has_none(&comb(2.0), 0.5);
    has_none(&comb(0.6), 0.5);
}

#[test]
fn a_groove_is_a_corner_of_what_it_belongs_to() {
    let groove = |half: f64| {
        let z = [
            [0.0, 0.0],
            [20.0, 0.0],
            [20.0, 10.0],
            [10.0 + half, 10.0],
            [10.0, 2.0],
            [10.0 - half, 10.0],
            [0.0, 10.0],
        ];
        prism(&z, 8.0)
    };
    has_none(&groove(4.0), 0.5);
    has_none(&groove(1.0), 2.0);
}

/// An outline, counter-clockwise, pulled up; its corners are seen from the
/// first.
fn prism(outline: &[[f64; 2]], height: f64) -> Triangles {
    let at = |[x, y]: [f64; 2], z: f64| [x, y, z];
    let mut triangles = Vec::new();
    let count = outline.len();
    for i in 0..count {
        let (p, q) = (outline[i], outline[(i + 1) % count]);
        triangles.push([at(p, 0.0), at(q, 0.0), at(q, height)]);
        triangles.push([at(p, 0.0), at(q, height), at(p, height)]);
    }
    // The groove's ground is seen from everywhere.
    let start = (0..count).find(|&i| outline[i][1] == 2.0).unwrap_or(0);
    for i in 1..count - 1 {
        let [a, b, c] = [start, start + i, start + i + 1].map(|i| outline[i % count]);
        triangles.push([at(a, height), at(b, height), at(c, height)]);
        triangles.push([at(a, 0.0), at(c, 0.0), at(b, 0.0)]);
    }
    triangles
}

fn torus(large: f64, small: f64, flats: usize) -> Triangles {
    let outline: Vec<_> = (0..flats)
        .map(|step| {
            let angle = TAU * step as f64 / flats as f64;
            [large + small * angle.cos(), small * angle.sin()]
        })
        .collect();
    turned(&outline, 2 * flats)
}

#[test]
fn the_hole_of_a_ring_is_no_cavity() {
    has_none(&torus(20.0, 8.0, 40), 0.5);
    has_none(&torus(8.3, 8.0, 40), 0.8);
}

/// Two hollows of 20 mm in a row with square holes: outside, then the first,
/// then the second.
fn row(outer: f64, inner: f64) -> Triangles {
    let half = |width: f64| [15.0 - width / 2.0, 15.0 + width / 2.0];
    let (wide, narrow) = (half(outer.max(inner)), half(outer.min(inner)));
    let line = [0.0, 5.0, wide[0], narrow[0], narrow[1], wide[1], 25.0, 30.0];
    let heights = [0.0, 5.0, 25.0, 30.0, 50.0, 55.0];
    blocks([&line, &line, &heights], |[x, y, z]| {
        let within = |margin: usize| [x, y].iter().all(|at| (margin..7 - margin).contains(at));
        let hole = |width: f64| within(if width >= outer.max(inner) { 2 } else { 3 });
        let empty = match z {
            1 | 3 => within(1),
            2 => hole(inner),
            4 => hole(outer),
            _ => false,
        };
        !empty
    })
}

#[test]
fn a_room_behind_a_shut_room_is_shut() {
    for seed in 0..2 {
        let found = found(&moved(&row(0.4, 3.0), seed), 0.5);
        let [outer, inner] = found.cavities[..] else {
            panic!("{found:?}");
        };
        assert!(outer.sealed && inner.sealed);
        close(outer.opening_mm.unwrap(), 0.4, 0.05);
        close(inner.opening_mm.unwrap(), 3.0, 0.05);
        close(outer.volume_mm3, 8000.0, 0.03);
        close(inner.volume_mm3, 8000.0, 0.03);
    }
}

#[test]
fn a_shut_room_behind_a_drained_one_is_shut_alone() {
    for seed in 0..2 {
        let found = found(&moved(&row(3.0, 0.4), seed), 0.5);
        let [outer, inner] = found.cavities[..] else {
            panic!("{found:?}");
        };
        assert!(!outer.sealed && inner.sealed);
        close(outer.opening_mm.unwrap(), 3.0, 0.05);
        close(inner.opening_mm.unwrap(), 0.4, 0.05);
        let shut: f64 = found
            .walls
            .iter()
            .filter(|wall| wall.cavity == 1)
            .map(|wall| wall.share)
            .sum();
        let told: f64 = found.shut.iter().map(|shut| shut.1).sum();
        assert!((shut - told).abs() < 1e-9);
    }
}

/// The cube with two holes in the top.
fn twice_drained(widths: [f64; 2]) -> Triangles {
    let [a, b] = widths.map(|width| width / 2.0);
    let line = [0.0, 5.0, 10.0 - a, 10.0 + a, 20.0 - b, 20.0 + b, 25.0, 30.0];
    let across = if a < b {
        [15.0 - b, 15.0 - a, 15.0 + a, 15.0 + b]
    } else {
        [15.0 - a, 15.0 - b, 15.0 + b, 15.0 + a]
    };
    let across = [
        0.0, 5.0, across[0], across[1], across[2], across[3], 25.0, 30.0,
    ];
    let inner = |at: usize| (1..6).contains(&at);
    let hole = |y: usize, is_wide: bool| if is_wide { (2..5).contains(&y) } else { y == 3 };
    blocks([&line, &across, &[0.0, 5.0, 25.0, 30.0]], |[x, y, z]| {
        let hollow = z == 1 && inner(x) && inner(y);
        let first = z == 2 && x == 2 && hole(y, a >= b);
        let second = z == 2 && x == 4 && hole(y, b >= a);
        !hollow && !first && !second
    })
}

#[test]
fn of_two_openings_the_wider_counts() {
    for seed in 0..2 {
        for widths in [[0.4, 0.6], [0.6, 0.4], [0.45, 0.55]] {
            let found = found(&moved(&twice_drained(widths), seed), 0.5);
            let [cavity] = found.cavities[..] else {
                panic!("{found:?}");
            };
            assert!(!cavity.sealed);
            close(cavity.opening_mm.unwrap(), widths[0].max(widths[1]), 0.05);
        }
    }
}

fn sphere(radius: f64, flats: usize) -> Triangles {
    let outline: Vec<_> = (0..=flats)
        .map(|step| {
            let (sine, cosine) = (PI * (step as f64 / flats as f64 - 0.5)).sin_cos();
            let is_pole = step == 0 || step == flats;
            [if is_pole { 0.0 } else { radius * cosine }, radius * sine]
        })
        .collect();
    turned(&outline, 2 * flats)
}

#[test]
fn what_bulges_everywhere_is_passed_at_once() {
    let sphere = facets(&moved(&sphere(20.0, 100), 1));
    let whole = super::clumps::bounds(&sphere).unwrap();
    assert!(!super::clumps::may_face(&sphere, &whole, 20.0));
}
