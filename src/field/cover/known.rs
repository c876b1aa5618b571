//! Covers against known fields, and what must be kept.

use std::f64::consts::{PI, TAU};

use super::{Cover, block, face, print, tube};
use crate::field::shapes::{grid, revolved, six_faces, sphere};
use crate::field::{Bath, Body, Currents, Order, Panel, Point, Surface, Tank};
use crate::mesh::space::{area, dot, length, less, middle, times};
use crate::units::{Stopped, Unwatched, Watch};

const KAPPA: f64 = 25.0;

type Triangle = [Point; 3];

fn corners(panels: &[Panel]) -> Vec<Triangle> {
    panels.iter().map(|panel| panel.corners).collect()
}

fn cube() -> Vec<Triangle> {
    corners(&six_faces(1, 1.0, |at| times(at, 0.025)))
}

fn covered(triangles: &[Triangle], wanted: usize) -> Cover {
    print(triangles, &vec![false; triangles.len()], wanted, &Unwatched).unwrap()
}

fn alone(panels: Vec<Panel>, surface: Surface) -> Currents {
    let bath = Bath::new(None, KAPPA, &[Body::uniform(panels, surface)], &Unwatched).unwrap();
    let order = Order {
        far_volts: 1.0,
        ..Order::volts(vec![0.0])
    };
    bath.solve(&order, &Unwatched).unwrap()
}

fn resistance(panels: Vec<Panel>) -> f64 {
    1.0 / alone(panels, Surface::Metal).amps[0]
}

fn close(got: f64, known: f64, relative: f64) {
    let off = got / known - 1.0;
    assert!(off.abs() < relative, "{got} is not {known}: {off:.2e}");
}

fn whole(panels: &[Panel]) -> f64 {
    panels.iter().map(|panel| panel.area).sum()
}

fn volume(panels: &[Panel]) -> f64 {
    let under = |panel: &Panel| panel.area * dot(panel.middle, panel.normal) / 3.0;
    panels.iter().map(under).sum()
}

/// Numbers from -1 to 1 that look random, always the same.
fn random(count: usize) -> Vec<f64> {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut next = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    };
    (0..count).map(|_| next()).collect()
}

fn turned(triangles: &[Triangle]) -> Vec<Triangle> {
    // 3-4-5 about z, then 5-12-13 about x.
    let turn = |[x, y, z]: Point| {
        let [x, y] = [0.6 * x - 0.8 * y, 0.8 * x + 0.6 * y];
        let (cos, sin) = (5.0 / 13.0, 12.0 / 13.0);
        [x, cos * y - sin * z, sin * y + cos * z]
    };
    triangles.iter().map(|corners| corners.map(turn)).collect()
}

/// In another order, some parted at a place on an edge or inside.
fn shuffled(triangles: &[Triangle]) -> Vec<Triangle> {
    let mut parts = Vec::new();
    for ([a, b, c], dice) in triangles.iter().zip(random(triangles.len())) {
        let share = 0.5 + 0.3 * dice;
        let on = [0, 1, 2].map(|k| a[k] + (b[k] - a[k]) * share);
        let within = middle([*a, *b, *c]);
        if dice > 0.3 {
            parts.extend([[*a, on, *c], [on, *b, *c]]);
        } else if dice > -0.3 {
            parts.extend([[*a, *b, within], [*b, *c, within], [*c, *a, within]]);
        } else {
            parts.push([*a, *b, *c]);
        }
    }
    let mut order: Vec<(f64, Triangle)> = random(parts.len()).into_iter().zip(parts).collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    order.into_iter().map(|(_, part)| part).collect()
}

#[test]
fn cube_of_twelve_triangles() {
    // Capacitance of the unit cube 0.66067815 · 4πε0 (Hwang & Mascagni, J. Appl.
    // Phys. 95, 2004, 3798; from memory).
    let cubes = [cube(), turned(&cube()), shuffled(&cube())];
    for triangles in cubes {
        let cover = covered(&triangles, 3000);
        assert!((2250..=3750).contains(&cover.panels.len()));
        close(whole(&cover.panels), 0.015, 1e-12);
        close(resistance(cover.panels), 0.096_358_53, 2e-3);
    }
}

#[test]
fn ball_of_many_triangles() {
    // 1/(4π κ a), textbook potential theory; from memory.
    let ball = corners(&sphere(50, 0.03, [0.0; 3]));
    for triangles in [turned(&ball), shuffled(&ball)] {
        let cover = covered(&triangles, 2500);
        assert!((1875..=3125).contains(&cover.panels.len()));
        close(whole(&cover.panels), 4.0 * PI * 9e-4, 1e-6);
        close(resistance(cover.panels), 0.106_103_3, 2e-3);
    }
}

/// The cup of the independent finite elements, as a drawing program makes it:
/// long triangles between sharp rims. Mouth to +x, r 25 outside, bore r 22, 40 mm
/// deep.
fn cup() -> Vec<Triangle> {
    let outline = [
        [-18.5, 0.0],
        [-18.5, 22.0],
        [21.5, 22.0],
        [21.5, 25.0],
        [-21.5, 25.0],
        [-21.5, 0.0],
    ];
    let parts = [(1, 1.0); 5];
    let zones = revolved(&outline.map(|at| at.map(|c| c * 1e-3)), &parts, 96);
    corners(&zones.concat())
}

/// Which zone of the cup a triangle is in: bottom, bore, rim, outside, end.
fn zone(triangle: Triangle) -> usize {
    let panel = Panel::new(triangle);
    let [x, y, z] = panel.middle;
    match panel.normal[0] {
        upright if upright < -0.7 => 4,
        upright if upright > 0.7 => usize::from(x > 0.0) * 2,
        _ => 1 + 2 * usize::from(y.hypot(z) > 0.0235),
    }
}

#[test]
fn cup_of_needles_in_the_tank() {
    // Independent finite elements: quadratic, graded, four refinements. Told on
    // the print's own triangles.
    let triangles = cup();
    let cover = covered(&triangles, 12_000);
    let mut bodies = vec![Body::uniform(cover.panels.clone(), Surface::Metal)];
    for x in [0.15, -0.15] {
        let plate = face([x, 0.0, 0.0], [-x, 0.0, 0.0], [0.15; 2], 0.012);
        bodies.push(Body::uniform(plate, Surface::FlushPlate).as_anode());
    }
    let tank = Tank {
        low: [-0.15, -0.1, -0.1],
        high: [0.15, 0.1, 0.1],
    };
    let bath = Bath::new(Some(tank), KAPPA, &bodies, &Unwatched).unwrap();
    let order = Order::volts(vec![0.0, 1.0, 1.0]);
    let currents = bath.solve(&order, &Unwatched).unwrap();
    close(1.0 / currents.amps[0], 0.131_814_9, 5e-3);
    let mut sums = [(0.0, 0.0); 5];
    for (triangle, density) in triangles
        .iter()
        .zip(cover.carried_back(&currents.density[0]))
    {
        let sum = &mut sums[zone(*triangle)];
        *sum = (sum.0 + area(*triangle), sum.1 + area(*triangle) * density);
    }
    let mean =
        sums.iter().map(|sum| sum.1).sum::<f64>() / sums.iter().map(|sum| sum.0).sum::<f64>();
    let known = [0.010_674_76, 0.203_985, 3.3107, 1.574_409, 1.509_266];
    for ((area, amps), known) in sums.into_iter().zip(known) {
        let got = amps / area / mean;
        let allowed = f64::max(0.02 * known, 0.001);
        assert!((got - known).abs() < allowed, "{got} is not {known}");
    }
}

#[test]
fn disc_without_thickness() {
    // 1/(8 κ a) for both sides (Newman, J. Electrochem. Soc. 113, 1966, 501; from
    // memory). A fan of needles with an open border.
    let disc = grid(1, 64, |u, v| {
        let (sin, cos) = (TAU * v).sin_cos();
        [0.01 * u * cos, 0.01 * u * sin, 0.0]
    });
    let cover = covered(&corners(&disc), 3000);
    close(1.0 / alone(cover.panels, Surface::Plate).amps[0], 0.5, 5e-3);
}

#[test]
fn square_face_without_thickness() {
    // Capacitance of the unit square 0.3667894 · 4πε0 (Read, J. Comput. Phys. 133,
    // 1997, 1; from memory).
    let side = 0.04;
    let square = face([0.01, 0.0, 0.02], [0.6, 0.8, 0.0], [side; 2], 0.004);
    let known = 1.0 / (4.0 * PI * KAPPA * 0.366_789_4 * side);
    close(1.0 / alone(square, Surface::Plate).amps[0], known, 5e-3);
}

#[test]
fn ring_of_wire() {
    // ln(8R/r)/(4π² κ R), classical, below 0.1 % off here; from memory.
    let points: Vec<Point> = (0..72)
        .map(|k| {
            let (sin, cos) = (TAU * f64::from(k) / 72.0).sin_cos();
            [0.04 * cos, 0.04 * sin, 0.0]
        })
        .collect();
    close(
        resistance(tube(&points, 0.002, true, 0.004)),
        0.146_113_3,
        1e-2,
    );
}

#[test]
fn wires_have_the_area_and_the_volume_of_wires() {
    // π d L and, of twelve sides with that perimeter, π d² L/4 · 0.977: by hand.
    let bent = [
        [0.0, 0.0, 0.0],
        [0.05, 0.0, 0.0],
        [0.05, 0.06, 0.0],
        [0.05, 0.06, 0.04],
    ];
    let panels = tube(&bent, 0.001, false, 0.005);
    let end = |panel: &&Panel| {
        panel.normal[0] < -0.99 || panel.normal[2] > 0.99 && panel.middle[2] > 0.0399
    };
    let caps: f64 = panels.iter().filter(end).map(|panel| panel.area).sum();
    close(whole(&panels) - caps, PI * 0.001 * 0.15, 1e-3);
    let twelve = PI / 12.0 / (PI / 12.0).tan();
    close(volume(&panels), PI / 4.0 * 1e-6 * 0.15 * twelve, 1e-3);
    assert!(tube(&bent[..1], 0.001, false, 0.005).is_empty());
}

#[test]
fn blocks_are_closed_and_lie_as_told() {
    for (normal, spans) in [
        ([0.0, 0.0, -1.0], [0.06, 0.04, 0.003]),
        ([0.0, 2.0, 0.0], [0.06, 0.003, 0.04]),
        ([-1.0, 0.0, 0.0], [0.003, 0.06, 0.04]),
    ] {
        let panels = block([0.1, 0.2, 0.3], normal, [0.06, 0.04], 0.003, 0.01);
        close(volume(&panels), 0.06 * 0.04 * 0.003, 1e-9);
        for (axis, span) in spans.into_iter().enumerate() {
            let along = || {
                panels
                    .iter()
                    .flat_map(|panel| panel.corners)
                    .map(|at| at[axis])
            };
            let wide = along().fold(f64::MIN, f64::max) - along().fold(f64::MAX, f64::min);
            close(wide, span, 1e-9);
        }
        let one = face([0.1, 0.2, 0.3], normal, [0.06, 0.04], 0.01);
        close(whole(&one), 0.06 * 0.04, 1e-9);
        let size = length(normal);
        assert!(
            one.iter()
                .all(|panel| dot(panel.normal, normal) > 0.999 * size)
        );
    }
}

#[test]
fn current_is_kept_on_the_way_back() {
    let ball = corners(&sphere(20, 0.03, [0.0; 3]));
    for (triangles, wanted) in [(cube(), 2000), (shuffled(&cup()), 3000), (ball, 700)] {
        let masked: Vec<bool> = triangles.iter().map(|t| middle(*t)[1] > 0.01).collect();
        let cover = print(&triangles, &masked, wanted, &Unwatched).unwrap();
        let densities = random(cover.panels.len());
        let back = cover.carried_back(&densities);
        let flow = |(area, density): (f64, &f64)| area * density;
        let sum = |areas: Vec<f64>, of: &[f64]| areas.into_iter().zip(of).map(flow).sum::<f64>();
        let panels = || {
            cover
                .panels
                .iter()
                .map(|panel| panel.area)
                .collect::<Vec<_>>()
        };
        let areas = triangles.iter().map(|t| area(*t)).collect::<Vec<_>>();
        let off = sum(panels(), &densities) - sum(areas, &back);
        assert!(off.abs() < 1e-12 * whole(&cover.panels), "{off:e}");
        // Even current on the live is even current on the live, but for what is
        // moved where the border of a mask is ragged.
        let live: Vec<f64> = cover
            .live
            .iter()
            .map(|live| f64::from(u8::from(*live)))
            .collect();
        let mut astray = 0.0;
        for (k, back) in cover.carried_back(&live).into_iter().enumerate() {
            assert!(!masked[k] || back.abs() < 1e-12, "{back} on a mask");
            let known = f64::from(u8::from(!masked[k]));
            astray += area(triangles[k]) * (back - known).abs();
        }
        assert!(astray < 0.02 * whole(&cover.panels), "{astray}");
    }
}

#[test]
fn thin_walls_stay_apart() {
    // A plate of 1 mm cut into squares of 1 mm, covered with panels of many mm.
    let (long, thick) = (0.06, 0.001);
    let plate = grid(60, 60, |u, v| [long * u, long * v, thick]);
    let mut triangles = corners(&plate);
    triangles.extend(plate.iter().map(|panel| {
        let [a, b, c] = panel.corners.map(|[x, y, _]| [x, y, 0.0]);
        [a, c, b]
    }));
    for (from, to) in [
        ([0.0, 0.0], [1.0, 0.0]),
        ([1.0, 0.0], [1.0, 1.0]),
        ([1.0, 1.0], [0.0, 1.0]),
        ([0.0, 1.0], [0.0, 0.0]),
    ] {
        let rim = grid(60, 1, |u, v| {
            let at = |k: usize| long * (from[k] + (to[k] - from[k]) * u);
            [at(0), at(1), thick * v]
        });
        triangles.extend(corners(&rim));
    }
    let cover = covered(&triangles, 3000);
    assert!(cover.panels.len() < 3750);
    close(volume(&cover.panels), long * long * thick, 1e-6);
    for panel in &cover.panels {
        let off = panel
            .corners
            .map(|at| f64::min(at[2].abs(), (at[2] - thick).abs()));
        let flat = panel.normal[2].abs() > 0.999;
        assert!(!flat || off.iter().all(|off| *off < 1e-9));
    }
}

#[test]
fn panels_shrink_toward_edges() {
    let cover = covered(&cube(), 5000);
    let from_edge = |panel: &Panel| {
        let mut off = panel.middle.map(|c| 0.025 - c.abs());
        off.sort_by(f64::total_cmp);
        off[1]
    };
    let mean = |near: bool| {
        let there = |panel: &&Panel| (from_edge(panel) < 0.001) == near;
        let areas: Vec<f64> = cover.panels.iter().filter(there).map(|p| p.area).collect();
        areas.iter().sum::<f64>() / areas.len() as f64
    };
    assert!(mean(true) < mean(false) / 4.0);
    for panel in &cover.panels {
        let [a, b, c] = panel.corners;
        let longest = [less(b, a), less(c, b), less(a, c)].map(length);
        let longest = longest.into_iter().fold(0.0, f64::max);
        assert!(panel.area > 0.2 * longest * longest);
    }
}

/// Stops the work after so many questions.
struct Impatient(std::sync::atomic::AtomicUsize);

impl Watch for Impatient {
    fn at(&self, _step: &'static str, _done: f64) {}

    fn stopped(&self) -> bool {
        self.0.fetch_add(1, std::sync::atomic::Ordering::Relaxed) > 2
    }
}

#[test]
fn stops_when_asked_and_says_what_is_wrong() {
    use crate::field::FieldError;
    let triangles = cube();
    let masked = [false; 12];
    let stopped = print(&triangles, &masked, 100, &Impatient(0.into()));
    assert_eq!(stopped.unwrap_err(), FieldError::Stopped(Stopped));
    assert!(matches!(
        print(&triangles, &masked[1..], 100, &Unwatched),
        Err(FieldError::Wrong("masks", _))
    ));
    assert_eq!(
        print(&[], &[], 100, &Unwatched).unwrap_err(),
        FieldError::Empty
    );
    let flat = [[[0.01, 0.0, 0.0]; 3]];
    assert_eq!(
        print(&flat, &[false], 100, &Unwatched).unwrap_err(),
        FieldError::Empty
    );
    let nowhere = [[[f64::NAN, 0.0, 0.0], [0.0; 3], [1.0, 0.0, 0.0]]];
    assert!(matches!(
        print(&nowhere, &[false], 100, &Unwatched),
        Err(FieldError::Wrong("triangle", _))
    ));
}
