//! Makes the meshes of the sample projects, the same bytes on every run:
//! `cargo run --example make-sample-meshes` writes them into this package, or
//! into the folder given.
//!
//! Each piece is one closed shell, turned outwards, in mm. Three ways of
//! building suffice: [`loft`] closes a skin of rings at both ends, [`hoop`]
//! joins the last ring to the first, and [`thicken`] gives a sheet its other
//! side and its rim.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test that fails panics"
)]

use std::collections::BTreeSet;
use std::f64::consts::{PI, TAU};
use std::path::Path;
use std::{env, fs, io};

fn main() -> io::Result<()> {
    let into = env::args().nth(1);
    write_all(Path::new(
        into.as_deref().unwrap_or(env!("CARGO_MANIFEST_DIR")),
    ))
}

/// Writes every sample mesh into its place under `into`.
pub(crate) fn write_all(into: &Path) -> io::Result<()> {
    for (name, bytes) in all() {
        let path = into.join(name);
        fs::create_dir_all(path.parent().unwrap_or(into))?;
        fs::write(path, bytes)?;
    }
    Ok(())
}

/// Every sample mesh: its path from the package's root, and its bytes.
pub(crate) fn all() -> Vec<(String, Vec<u8>)> {
    let projects = [
        ("fern-lamp", fern_lamp()),
        ("table-bell", table_bell()),
        ("mantel-clock", mantel_clock()),
    ];
    let named = |(project, pieces): (&str, Vec<(String, Solid)>)| {
        pieces
            .into_iter()
            .map(|(name, solid)| {
                let path = format!("sample-projects/{project}/meshes/{name}.stl");
                (path, solid.to_stl(&name))
            })
            .collect::<Vec<_>>()
    };
    projects.into_iter().flat_map(named).collect()
}

// The three things.

fn fern_lamp() -> Vec<(String, Solid)> {
    let frond = |length, leaflets, reach, sway| {
        Frond {
            length,
            leaflets,
            reach,
            sway,
        }
        .solid()
    };
    named([
        ("base", lamp_base()),
        ("stem", lamp_stem()),
        ("crozier", lamp_crozier()),
        ("frond-1", frond(340.0, 12, 122.0, 12.0)),
        ("frond-2", frond(310.0, 12, 110.0, -10.0)),
        ("frond-3", frond(270.0, 10, 98.0, 8.0)),
        ("frond-4", frond(230.0, 9, 84.0, -7.0)),
    ])
}

fn table_bell() -> Vec<(String, Solid)> {
    // From the crown's inside down to the lip and up again outside.
    let bell = [
        5.0, 60.5, 13.0, 59.0, 18.0, 54.0, 20.0, 46.0, 22.5, 35.0, 26.5, 23.0, 32.5, 11.0, 38.5,
        2.5, 40.5, 0.0, 42.5, 0.0, 43.0, 2.0, 35.5, 12.5, 29.5, 24.5, 25.5, 36.0, 23.0, 47.0, 21.0,
        56.0, 15.5, 61.5, 7.0, 64.0,
    ];
    let handle = [
        5.0, 0.0, 9.0, 1.0, 10.0, 4.0, 6.5, 8.0, 5.0, 14.0, 6.0, 19.0, 8.5, 28.0, 10.5, 40.0, 10.5,
        50.0, 8.0, 60.0, 5.5, 66.0, 8.0, 70.0, 9.5, 75.0, 8.0, 80.0, 4.0, 83.0,
    ];
    named([
        ("bell", turned(pairs(&bell), 28)),
        ("handle", turned(pairs(&handle), 14)),
    ])
}

fn mantel_clock() -> Vec<(String, Solid)> {
    let mut pieces = clock_case();
    pieces.extend(clock_dial());
    for place in ["front-left", "front-right", "back-left", "back-right"] {
        pieces.push((format!("column-{place}"), fluted(pairs(&COLUMN), 12, 0.08)));
        pieces.push((format!("finial-{place}"), turned(pairs(&FINIAL), 12)));
        pieces.push((format!("foot-{place}"), turned(pairs(&FOOT), 12)));
    }
    for place in ["top-left", "top-right", "bottom-left", "bottom-right"] {
        let rosette = fluted(pairs(&ROSETTE), 16, 0.16);
        pieces.push((format!("rosette-{place}"), rosette));
    }
    pieces
}

fn named<const N: usize>(pieces: [(&str, Solid); N]) -> Vec<(String, Solid)> {
    pieces.map(|(name, solid)| (name.to_owned(), solid)).into()
}

/// Pairs of coordinates from their plain list.
fn pairs(numbers: &[f64]) -> &[Flat] {
    numbers.as_chunks().0
}

// The lamp.

/// The weighted foot, with a socket for the stem in its top.
fn lamp_base() -> Solid {
    let profile = [
        97.0, 0.0, 101.0, 3.0, 102.0, 9.0, 98.0, 15.0, 90.0, 19.0, 76.0, 24.0, 58.0, 31.0, 42.0,
        41.0, 31.0, 52.0, 25.0, 63.0, 24.0, 70.0, 20.0, 73.0, 10.2, 73.0, 10.2, 47.0,
    ];
    turned(pairs(&profile), 26)
}

/// A stalk in a slow double bend, with a spigot at either end.
fn lamp_stem() -> Solid {
    const LENGTH: f64 = 390.0;
    let heading = |s: f64| PI / 2.0 + 0.16 * (TAU * s / LENGTH).sin();
    let radius = |s: f64| {
        let knot = (-((s - 210.0) / 9.0).powi(2)).exp();
        13.5 - 4.0 * s / LENGTH + 2.0 * knot
    };
    let ends = [[0.0, 10.0], [25.0, 10.0], [25.0, radius(25.0)]];
    let shaft = [
        60.0, 100.0, 140.0, 175.0, 195.0, 210.0, 225.0, 245.0, 280.0, 320.0, 350.0,
    ]
    .map(|s| [s, radius(s)]);
    let top = [[370.0, radius(370.0)], [370.0, 7.5], [LENGTH, 7.5]];
    tube(&heading, &[&ends[..], &shaft, &top].concat(), 16)
}

/// The curled top: a stalk that winds up ever tighter to a bud, with a socket
/// for the stem at its foot.
fn lamp_crozier() -> Solid {
    const LENGTH: f64 = 640.0;
    const RINGS: usize = 42;
    let heading = |s: f64| PI / 2.0 - 2.1 * TAU * (s / LENGTH).powf(2.4);
    let socket = [[22.0, 7.7], [0.0, 7.7], [0.0, 12.0]];
    let stalk = (1..RINGS).map(|ring| {
        // Closer rings where the stalk winds tighter.
        let s = 1.0 - (1.0 - ring as f64 / RINGS as f64).powf(1.4);
        let bud = 4.0 * (-((s - 0.985) / 0.018).powi(2)).exp();
        [s * LENGTH, 12.0 - 8.0 * s + bud]
    });
    let stations: Vec<_> = socket
        .into_iter()
        .chain(stalk)
        .chain([[LENGTH, 3.0]])
        .collect();
    tube(&heading, &stations, 10)
}

/// A leaf of the lamp: leaflets in pairs along a rachis, which begins with a
/// tang for the stem.
struct Frond {
    /// From the first leaflet to the tip, along the rachis, in mm.
    length: f64,
    /// Leaflets on each side.
    leaflets: usize,
    /// Length of the longest leaflet, in mm.
    reach: f64,
    /// How far the tip bends aside, in mm.
    sway: f64,
}

impl Frond {
    const TANG: f64 = 24.0;
    const THICKNESS: f64 = 2.4;

    fn solid(&self) -> Solid {
        let mut stations = vec![[-Self::TANG, 3.5], [-4.0, 3.5]];
        for leaflet in 0..self.leaflets {
            let [start, middle, end] =
                [0.0, 0.275, 0.55].map(|part| (leaflet as f64 + part) * self.pitch());
            stations.extend([start, middle, end].map(|x| [x, self.half_rachis(x)]));
        }
        stations.push([self.length, 0.5]);
        let mut sheet = blade(&stations);
        for leaflet in 0..self.leaflets {
            for (side, line) in [(1.0, 0), (-1.0, 2)] {
                // The rachis has three points a station, the leaflet three stations.
                let root = [2, 3, 4].map(|station| 3 * (3 * leaflet + station) + line);
                self.add_leaflet(&mut sheet, root, side, leaflet);
            }
        }
        for point in &mut sheet.points {
            *point = self.droop(*point);
        }
        thicken(sheet, Self::THICKNESS)
    }

    /// Length of the rachis for each pair of leaflets.
    fn pitch(&self) -> f64 {
        self.length / (self.leaflets as f64 + 0.6)
    }

    fn half_rachis(&self, x: f64) -> f64 {
        4.5 - 3.2 * x / self.length
    }

    /// Grows a leaflet from three neighbouring points of the rachis's edge.
    fn add_leaflet(&self, sheet: &mut Solid, root: [usize; 3], side: f64, leaflet: usize) {
        const SLANT: f64 = 1.15;
        let along = leaflet as f64 / self.leaflets as f64;
        let length = self.reach * (PI * (0.2 + 0.78 * along)).sin().powf(0.8);
        let [base_x, base_y, _] = sheet.points[root[1]];
        let spine = |t: f64| {
            (
                base_x + t * length * SLANT.cos(),
                base_y + side * t * length * SLANT.sin(),
            )
        };
        let mut row = root;
        for (t, width) in [(0.35, 0.84), (0.7, 0.56)] {
            let (x, y) = spine(t);
            let half = width * self.pitch() / 2.0;
            let next = [(-half, 0.0), (0.0, 1.2 - t), (half, 0.0)]
                .map(|(dx, z)| sheet.point([x + dx, y, z]));
            sheet.strip(row, next, side);
            row = next;
        }
        let (x, y) = spine(1.0);
        let tip = sheet.point([x, y, 0.0]);
        sheet.triangle([row[0], row[1], tip], side);
        sheet.triangle([row[1], row[2], tip], side);
    }

    /// Bends the flat leaf: down towards the tip and the sides, and aside.
    fn droop(&self, [x, y, z]: Point) -> Point {
        let out = x / self.length;
        [
            x,
            y + self.sway * out * out,
            z - 46.0 * out * out - y * y / 900.0,
        ]
    }
}

// The clock.

/// Profiles of what the clock has four of: radius, height, radius, height ...
const COLUMN: [f64; 16] = [
    9.0, 0.0, 9.0, 4.0, 7.0, 7.0, 6.5, 12.0, 6.0, 120.0, 6.5, 125.0, 9.0, 129.0, 9.0, 134.0,
];
const FINIAL: [f64; 16] = [
    5.0, 0.0, 7.0, 3.0, 3.5, 7.0, 7.5, 13.0, 8.5, 18.0, 6.0, 24.0, 2.5, 30.0, 0.8, 36.0,
];
const FOOT: [f64; 10] = [7.0, 0.0, 10.0, 2.0, 11.0, 7.0, 8.0, 12.0, 8.0, 15.0];
const ROSETTE: [f64; 8] = [11.0, 0.0, 11.5, 1.5, 8.0, 3.5, 3.0, 5.0];

fn clock_case() -> Vec<(String, Solid)> {
    // Inset from the edge, height, inset, height ...
    let plinth_base = [0.0, 0.0, 0.0, 12.0, 2.0, 16.0, 7.0, 19.0, 7.0, 24.0];
    let plinth_moulding = [0.0, 0.0, 2.5, 2.5, 2.5, 5.0, 6.0, 8.0, 9.0, 9.0];
    let back = [0.0, 0.0, 0.0, 3.0, 1.5, 4.5, 12.0, 4.5];
    let side = [0.0, 0.0, 0.0, 4.0, 8.0, 4.0, 11.0, 6.5];
    let top_moulding = [9.0, 0.0, 6.0, 1.0, 2.5, 4.0, 0.0, 8.0, 0.0, 11.0];
    named([
        ("plinth-base", plate([196.0, 122.0], &plinth_base)),
        ("plinth-moulding", plate([182.0, 108.0], &plinth_moulding)),
        ("front-panel", panel_with_opening([164.0, 150.0], 56.0, 5.0)),
        ("back-panel", plate([164.0, 150.0], &back)),
        ("side-panel-left", plate([86.0, 150.0], &side)),
        ("side-panel-right", plate([86.0, 150.0], &side)),
        ("top-moulding", plate([176.0, 102.0], &top_moulding)),
        ("pediment", pediment(160.0, 46.0, 14.0)),
    ])
}

fn clock_dial() -> Vec<(String, Solid)> {
    let bezel = [
        52.0, 0.0, 61.0, 0.0, 63.0, 3.0, 59.0, 7.0, 54.0, 6.0, 51.5, 3.0,
    ];
    let dial = [51.0, 0.0, 51.0, 1.5, 44.0, 2.2, 40.0, 2.2, 38.0, 3.0];
    // Way from the arbor, half width, way, half width ...
    let hour_hand = [
        -8.0, 1.5, -6.0, 4.5, 0.0, 7.0, 6.0, 4.5, 8.0, 1.8, 19.0, 1.6, 22.0, 5.0, 25.0, 5.6, 29.0,
        3.0, 37.0, 0.4,
    ];
    let minute_hand = [
        -7.0, 1.5, -5.0, 4.0, 0.0, 6.0, 5.0, 4.0, 7.0, 1.6, 30.0, 1.3, 33.0, 3.6, 36.0, 4.0, 40.0,
        2.2, 50.0, 0.4,
    ];
    let mut pieces = named([
        ("bezel", turned_hoop(pairs(&bezel), 24)),
        ("dial", turned(pairs(&dial), 24)),
        ("hour-hand", thicken(blade(pairs(&hour_hand)), 1.6)),
        ("minute-hand", thicken(blade(pairs(&minute_hand)), 1.4)),
    ]);
    pieces.extend((1..=12).map(|hour| (format!("numeral-{hour}"), numeral(hour))));
    pieces
}

/// A flat front with a round opening for the dial.
fn panel_with_opening(size: Flat, radius: f64, depth: f64) -> Solid {
    let edge = rectangle(size, 8);
    let opening: Vec<_> = edge
        .iter()
        .map(|[x, y]| [x / x.hypot(*y) * radius, y / x.hypot(*y) * radius])
        .collect();
    hoop(&[
        at(&edge, 0.0),
        at(&edge, depth),
        at(&opening, depth),
        at(&opening, 0.0),
    ])
}

/// The gable: an arch on a straight foot, bevelled on both faces.
fn pediment(width: f64, height: f64, depth: f64) -> Solid {
    const STEPS: usize = 16;
    let arch = (0..=STEPS).map(|k| {
        let angle = PI * k as f64 / STEPS as f64;
        [width / 2.0 * angle.cos(), height * (angle.sin() - 0.35)]
    });
    let foot = [-0.25, 0.0, 0.25].map(|part| [part * width, -0.35 * height]);
    let outline: Vec<Flat> = arch.chain(foot).collect();
    let shrunk: Vec<_> = outline.iter().map(|[x, y]| [0.94 * x, 0.9 * y]).collect();
    loft(&[
        at(&shrunk, 0.0),
        at(&outline, 2.0),
        at(&outline, depth - 2.0),
        at(&shrunk, depth),
    ])
}

/// The bar of an hour where it lies on the dial, whose centre is the origin
/// and whose twelve is at +y; longer bars at the quarters.
fn numeral(hour: u8) -> Solid {
    const BEVEL: f64 = 0.8;
    let (length, width) = match hour {
        12 => (15.0, 6.0),
        3 | 6 | 9 => (13.0, 5.0),
        _ => (9.0, 3.6),
    };
    let bar = |inset: f64, z| at(&capsule(length - 2.0 * inset, width - 2.0 * inset), z);
    let lying = loft(&[
        bar(BEVEL / 2.0, 0.0),
        bar(0.0, 0.4),
        bar(0.0, 2.0),
        bar(BEVEL, 2.8),
    ]);
    let (sin, cos) = (f64::from(hour) / 12.0 * TAU).sin_cos();
    lying.moved(|[x, y, z]| {
        let out = y + 42.0;
        [x * cos + out * sin, out * cos - x * sin, z]
    })
}

// Outlines and profiles.

/// A point of an outline, in mm.
type Flat = [f64; 2];

/// A rectangle around the origin, each side cut into `cuts`.
fn rectangle([width, height]: Flat, cuts: usize) -> Vec<Flat> {
    let corners = [
        (1.0, -1.0),
        (1.0, 1.0),
        (-1.0, 1.0),
        (-1.0, -1.0),
        (1.0, -1.0),
    ];
    let side = |pair: &[(f64, f64)]| {
        let [(x0, y0), (x1, y1)] = [pair[0], pair[1]];
        (0..cuts).map(move |k| {
            let part = k as f64 / cuts as f64;
            [
                width / 2.0 * (x0 + part * (x1 - x0)),
                height / 2.0 * (y0 + part * (y1 - y0)),
            ]
        })
    };
    corners.windows(2).flat_map(side).collect()
}

/// A bar along y with round ends, around the origin.
fn capsule(length: f64, width: f64) -> Vec<Flat> {
    const STEPS: usize = 6;
    let radius = width / 2.0;
    let end = |sign: f64| {
        (0..=STEPS).map(move |k| {
            let (sin, cos) = (PI * k as f64 / STEPS as f64).sin_cos();
            [
                sign * radius * cos,
                sign * (length / 2.0 - radius + radius * sin),
            ]
        })
    };
    end(1.0).chain(end(-1.0)).collect()
}

fn circle(radius: f64, segments: usize) -> Vec<Flat> {
    wavy_circle(radius, segments, 0.0)
}

/// A circle whose every other point is drawn in by a fraction of the radius.
fn wavy_circle(radius: f64, segments: usize, depth: f64) -> Vec<Flat> {
    let point = |k| {
        let (sin, cos) = (TAU * k as f64 / segments as f64).sin_cos();
        let radius = if k % 2 == 0 {
            radius
        } else {
            radius * (1.0 - depth)
        };
        [radius * cos, radius * sin]
    };
    (0..segments).map(point).collect()
}

/// An outline lifted to a height.
fn at(outline: &[Flat], z: f64) -> Vec<Point> {
    outline.iter().map(|&[x, y]| [x, y, z]).collect()
}

/// A solid of revolution about z from its profile of radius and height.
fn turned(profile: &[Flat], segments: usize) -> Solid {
    fluted(profile, segments, 0.0)
}

/// A turned solid with flutes of a depth that is a fraction of the radius.
fn fluted(profile: &[Flat], segments: usize, depth: f64) -> Solid {
    let ring = |&[radius, z]: &Flat| at(&wavy_circle(radius, segments, depth), z);
    loft(&profile.iter().map(ring).collect::<Vec<_>>())
}

/// A ring turned about z from the closed profile of its section.
fn turned_hoop(profile: &[Flat], segments: usize) -> Solid {
    let ring = |&[radius, z]: &Flat| at(&circle(radius, segments), z);
    hoop(&profile.iter().map(ring).collect::<Vec<_>>())
}

/// A rectangular plate; its profile lists inset from the edge, and height.
fn plate([width, height]: Flat, profile: &[f64]) -> Solid {
    let ring = |&[inset, z]: &Flat| {
        at(
            &rectangle([width - 2.0 * inset, height - 2.0 * inset], 4),
            z,
        )
    };
    loft(&pairs(profile).iter().map(ring).collect::<Vec<_>>())
}

/// A round rod in the plane y = 0 that starts at the origin with `heading`
/// (radians from +x) as a function of the way along it; `stations` are that way
/// and the radius there.
fn tube(heading: &dyn Fn(f64) -> f64, stations: &[Flat], segments: usize) -> Solid {
    let ring = |&[s, radius]: &Flat| {
        let [x, z] = way(heading, s);
        let (sin, cos) = heading(s).sin_cos();
        let point = |[across, y]: Flat| [x - across * sin, y, z + across * cos];
        circle(radius, segments).into_iter().map(point).collect()
    };
    loft(&stations.iter().map(ring).collect::<Vec<_>>())
}

/// Where a walk of length `s` with the given heading ends (midpoint rule).
fn way(heading: &dyn Fn(f64) -> f64, s: f64) -> Flat {
    const STEPS: usize = 400;
    let step = s / STEPS as f64;
    let mut end = [0.0, 0.0];
    for k in 0..STEPS {
        let (sin, cos) = heading((k as f64 + 0.5) * step).sin_cos();
        end = [end[0] + step * cos, end[1] + step * sin];
    }
    end
}

/// A sheet along x with a ridge in its middle, from stations of x and half
/// width: three points for each of them, left, ridge and right.
fn blade(stations: &[Flat]) -> Solid {
    let mut sheet = Solid::default();
    let mut last: Option<[usize; 3]> = None;
    for &[x, half] in stations {
        let ridge = 0.3 * half;
        let row =
            [[x, half, 0.0], [x, 0.0, ridge], [x, -half, 0.0]].map(|point| sheet.point(point));
        if let Some(last) = last {
            sheet.strip(last, row, 1.0);
        }
        last = Some(row);
    }
    sheet
}

// Solids.

/// A point in space, in mm.
type Point = [f64; 3];

/// Points and the triangles between them.
#[derive(Default)]
struct Solid {
    points: Vec<Point>,
    triangles: Vec<[usize; 3]>,
}

/// A skin over rings of equally many points, closed by a fan at both ends.
fn loft(rings: &[Vec<Point>]) -> Solid {
    let mut solid = skin(rings);
    let segments = rings[0].len();
    let last = solid.points.len() - segments;
    let bottom = solid.point(centre(&rings[0]));
    let top = solid.point(centre(&rings[rings.len() - 1]));
    for k in 0..segments {
        let next = (k + 1) % segments;
        solid.triangles.push([bottom, next, k]);
        solid.triangles.push([top, last + k, last + next]);
    }
    solid.turned_outwards()
}

/// A skin over rings of equally many points, the last joined to the first.
fn hoop(rings: &[Vec<Point>]) -> Solid {
    let mut solid = skin(rings);
    let segments = rings[0].len();
    solid.join(solid.points.len() - segments, 0, segments);
    solid.turned_outwards()
}

fn skin(rings: &[Vec<Point>]) -> Solid {
    let segments = rings[0].len();
    let mut solid = Solid {
        points: rings.concat(),
        triangles: Vec::new(),
    };
    for ring in 1..rings.len() {
        solid.join((ring - 1) * segments, ring * segments, segments);
    }
    solid
}

/// A sheet made solid: its other side lies `thickness` below, in z.
fn thicken(sheet: Solid, thickness: f64) -> Solid {
    let below = sheet.points.len();
    let edges: BTreeSet<[usize; 2]> = sheet
        .triangles
        .iter()
        .flat_map(|&[a, b, c]| [[a, b], [b, c], [c, a]])
        .collect();
    let mut solid = sheet;
    solid.points.extend_from_within(..);
    for point in &mut solid.points[below..] {
        point[2] -= thickness;
    }
    let other_side: Vec<_> = solid
        .triangles
        .iter()
        .map(|&[a, b, c]| [below + a, below + c, below + b])
        .collect();
    solid.triangles.extend(other_side);
    for &[a, b] in edges.iter().filter(|&&[a, b]| !edges.contains(&[b, a])) {
        solid.triangles.push([b, a, below + a]);
        solid.triangles.push([b, below + a, below + b]);
    }
    solid.turned_outwards()
}

fn centre(ring: &[Point]) -> Point {
    [0, 1, 2].map(|axis| ring.iter().map(|point| point[axis]).sum::<f64>() / ring.len() as f64)
}

impl Solid {
    fn point(&mut self, point: Point) -> usize {
        self.points.push(point);
        self.points.len() - 1
    }

    /// Adds a triangle, turned over if `side` is negative.
    fn triangle(&mut self, [a, b, c]: [usize; 3], side: f64) {
        self.triangles
            .push(if side < 0.0 { [a, c, b] } else { [a, b, c] });
    }

    /// Two quads between two rows of three points.
    fn strip(&mut self, from: [usize; 3], to: [usize; 3], side: f64) {
        for k in 0..2 {
            self.triangle([from[k], from[k + 1], to[k + 1]], side);
            self.triangle([from[k], to[k + 1], to[k]], side);
        }
    }

    /// A band of quads between two rings that begin at these points.
    fn join(&mut self, from: usize, to: usize, segments: usize) {
        for k in 0..segments {
            let next = (k + 1) % segments;
            self.triangles.push([from + k, from + next, to + next]);
            self.triangles.push([from + k, to + next, to + k]);
        }
    }

    fn moved(mut self, place: impl Fn(Point) -> Point) -> Self {
        for point in &mut self.points {
            *point = place(*point);
        }
        self
    }

    fn turned_outwards(mut self) -> Self {
        let corners = |triangle: &[usize; 3]| triangle.map(|k| self.points[k]);
        let volume: f64 = self
            .triangles
            .iter()
            .map(corners)
            .map(|[a, b, c]| dot(a, cross(b, c)))
            .sum();
        if volume < 0.0 {
            self.triangles
                .iter_mut()
                .for_each(|triangle| triangle.swap(1, 2));
        }
        self
    }

    /// Binary STL, rounded to micrometres so that the last digits of a
    /// machine's sines do not show.
    fn to_stl(&self, name: &str) -> Vec<u8> {
        let header = format!("{:<80}", format!("tankside sample, mm: {name}"));
        let mut bytes = header.into_bytes();
        bytes.extend((self.triangles.len() as u32).to_le_bytes());
        for triangle in &self.triangles {
            let [a, b, c] = triangle.map(|k| self.points[k].map(rounded));
            for number in [normal(a, b, c), a, b, c].as_flattened() {
                bytes.extend((*number as f32).to_le_bytes());
            }
            bytes.extend([0, 0]);
        }
        bytes
    }
}

fn rounded(coordinate: f64) -> f64 {
    // Adding zero turns a negative zero into the other.
    (coordinate * 1000.0).round() / 1000.0 + 0.0
}

fn normal(a: Point, b: Point, c: Point) -> Point {
    let less = |p: Point, q: Point| [p[0] - q[0], p[1] - q[1], p[2] - q[2]];
    let normal = cross(less(b, a), less(c, a));
    let length = dot(normal, normal).sqrt();
    normal.map(|part| part / length + 0.0)
}

fn dot(a: Point, b: Point) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: Point, b: Point) -> Point {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}
