//! Fields with closed forms, and independent finite-element answers.

use std::f64::consts::PI;

use super::shapes::{graded, grid, plate, revolved, six_faces, sphere, turned};
use super::{Bath, Body, Currents, Kinetics, Order, Panel, Surface, Tank};
use crate::mesh::space::times;
use crate::units::Unwatched;

const KAPPA: f64 = 25.0;

/// 300 x 200 x 200 mm.
const TANK: Tank = Tank {
    low: [-0.15, -0.1, -0.1],
    high: [0.15, 0.1, 0.1],
};

fn solved(tank: Option<Tank>, bodies: &[Body], order: &Order) -> Currents {
    Bath::new(tank, KAPPA, bodies, &Unwatched)
        .unwrap()
        .solve(order, &Unwatched)
        .unwrap()
}

fn close(got: f64, known: f64, relative: f64) {
    assert!(
        (got / known - 1.0).abs() < relative,
        "{got} is not {known}: {:.2e}",
        got / known - 1.0
    );
}

fn metal(panels: Vec<Panel>) -> Body {
    Body::uniform(panels, Surface::Metal)
}

/// At 0 V with the anode at infinity at 1 V.
fn resistance_in_no_tank(panels: Vec<Panel>) -> f64 {
    let order = Order {
        far_volts: 1.0,
        ..Order::volts(vec![0.0])
    };
    1.0 / solved(None, &[metal(panels)], &order).amps[0]
}

#[test]
fn sphere_in_no_tank() {
    // 1/(4π κ a), textbook potential theory; from memory.
    close(
        resistance_in_no_tank(sphere(12, 0.03, [0.0; 3])),
        0.106_103_3,
        3e-3,
    );
}

#[test]
fn cube_in_no_tank() {
    // Capacitance of the unit cube 0.66067815 · 4πε0 (Hwang & Mascagni, J. Appl.
    // Phys. 95, 2004, 3798; from memory).
    close(
        resistance_in_no_tank(six_faces(12, 2.0, |at| times(at, 0.025))),
        0.096_358_53,
        3e-3,
    );
}

#[test]
fn spheroid_in_no_tank() {
    // atanh(e)/(4π κ c) with half axes 40 and 10 mm; at its pole 3.222689 of the
    // mean (Landau & Lifshitz; from memory).
    let (long, short) = (0.04, 0.01);
    let panels = sphere(16, 1.0, [0.0; 3]);
    let panels: Vec<Panel> = panels
        .iter()
        .map(|p| Panel::new(p.corners.map(|[x, y, z]| [x * short, y * short, z * long])))
        .collect();
    let order = Order {
        far_volts: 1.0,
        ..Order::volts(vec![0.0])
    };
    let currents = solved(None, &[metal(panels.clone())], &order);
    close(1.0 / currents.amps[0], 0.169_588_2, 5e-3);
    let mean = currents.amps[0] / panels.iter().map(|p| p.area).sum::<f64>();
    for (panel, density) in panels.iter().zip(&currents.density[0]) {
        let [x, y, z] = panel.middle;
        let share = ((x * x + y * y) / short.powi(4) + z * z / long.powi(4)).sqrt();
        let known = 1.0 / (4.0 * PI * long * short * short * share)
            * panels.iter().map(|p| p.area).sum::<f64>();
        close(density / mean, known, 0.08);
    }
}

#[test]
fn disc_in_an_insulating_plane() {
    // A plate in the open liquid is two discs back to back, each 1/(4 κ a) in its
    // half: 1/(8 κ a) together; shares inside r as 1 - √(1 - r²/a²) (Newman,
    // J. Electrochem. Soc. 113, 1966, 501; from memory).
    let a: f64 = 0.01;
    let rings = |u: f64| 1.0 - (1.0 - u).powi(3);
    let disc = grid(20, 48, |u, v| {
        let (r, angle) = (a * rings(u), 2.0 * PI * v);
        [r * angle.cos(), r * angle.sin(), 0.0]
    });
    let order = Order {
        far_volts: 1.0,
        ..Order::volts(vec![0.0])
    };
    let currents = solved(None, &[Body::uniform(disc.clone(), Surface::Plate)], &order);
    close(1.0 / currents.amps[0], 0.5, 5e-3);
    let half = rings(0.5);
    let inside: f64 = disc
        .iter()
        .zip(&currents.density[0])
        .filter(|(panel, _)| panel.middle[0].hypot(panel.middle[1]) < half * a)
        .map(|(panel, density)| panel.area * density)
        .sum();
    close(
        inside / currents.amps[0],
        1.0 - (1.0 - half * half).sqrt(),
        0.01,
    );
}

fn copper() -> Kinetics {
    Kinetics::ButlerVolmer {
        i0_a_m2: 10.0,
        alpha_a: 1.5,
        alpha_c: 0.5,
        temperature_k: 298.15,
        limit_a_m2: None,
    }
}

/// A sphere of 10 mm inside one of 50 mm, at `volts`.
fn concentric(volts: f64, kinetics: Kinetics) -> f64 {
    let bodies = [
        metal(sphere(10, 0.01, [0.0; 3])),
        metal(turned(sphere(10, 0.05, [0.0; 3]))),
    ];
    let order = Order {
        kinetics: vec![kinetics, Kinetics::None],
        // Nothing comes from beyond the outer sphere: any potential there will do.
        far_volts: volts,
        ..Order::volts(vec![0.0, volts])
    };
    solved(None, &bodies, &order).amps[0]
}

#[test]
fn concentric_spheres() {
    // (1/a - 1/b)/(4πκ) + Rp/(4πa²); derived from Laplace's equation. Butler-Volmer
    // by root finding, worked out independently.
    close(1.0 / concentric(1.0, Kinetics::None), 0.254_647_9, 5e-3);
    close(
        1.0 / concentric(1.0, Kinetics::Linear { rp_ohm_m2: 4e-4 }),
        0.572_957_8,
        5e-3,
    );
    for (volts, amps) in [(0.1, 0.063_979_84), (0.3, 0.454_183_5), (0.8, 2.107_94)] {
        close(concentric(volts, copper()), amps, 5e-3);
    }
    // So far from equilibrium nothing goes back: Tafel's law alone. A limit of
    // 1000 A/m², by the same root finding.
    let tafel = |limit_a_m2| Kinetics::Tafel {
        i0_a_m2: 10.0,
        alpha_c: 0.5,
        temperature_k: 298.15,
        limit_a_m2,
    };
    close(concentric(0.8, tafel(None)), 2.107_94, 5e-3);
    close(concentric(0.8, tafel(Some(1000.0))), 1.246_252, 5e-3);
}

#[test]
fn sphere_near_a_wall() {
    // Two spheres by images (Maxwell; Smythe; from memory): 1/(4πκa S). Here the
    // image is a body of its own, so this checks two bodies close together.
    for (far, known) in [
        (0.031, 0.152_004_4),
        (0.04, 0.143_760_2),
        (0.09, 0.123_703_8),
    ] {
        let bodies = [
            metal(sphere(16, 0.03, [far, 0.0, 0.0])),
            metal(sphere(16, 0.03, [-far, 0.0, 0.0])),
        ];
        let order = Order {
            far_volts: 1.0,
            ..Order::volts(vec![0.0; 2])
        };
        let currents = solved(None, &bodies, &order);
        close(1.0 / currents.amps[0], known, 5e-3);
    }
}

/// A plate over the whole end of the tank at `x`, `count` squares aside.
fn end(x: f64, count: usize) -> Body {
    let panels = plate(
        count,
        1.0,
        [x, -0.1, -0.1],
        [0.0, 0.2, 0.0],
        [0.0, 0.0, 0.2],
    );
    Body::uniform(panels, Surface::FlushPlate)
}

#[test]
fn parallel_plates() {
    // d/(κ A) + Rp/A: trivial.
    let order = Order::volts(vec![0.0, 1.0]);
    let bodies = [end(-0.15, 10), end(0.15, 10).as_anode()];
    let currents = solved(Some(TANK), &bodies, &order);
    close(1.0 / currents.amps[0], 0.3, 5e-4);
    assert!(currents.balance < 1e-5);
    let linear = Order {
        kinetics: vec![Kinetics::Linear { rp_ohm_m2: 4e-3 }, Kinetics::None],
        ..order.clone()
    };
    close(
        1.0 / solved(Some(TANK), &bodies, &linear).amps[0],
        0.4,
        5e-4,
    );
    // Fixed amps: 2 A ask for 0.8 V.
    let amps = Order {
        amps: Some(2.0),
        volts: vec![0.0, 0.0],
        ..linear
    };
    let currents = solved(Some(TANK), &bodies, &amps);
    close(currents.raised, 0.8, 5e-4);
    close(currents.amps[0], 2.0, 1e-4);
}

#[test]
fn anodes_with_one_cosine() {
    // 0 < x < d, anode at V0 + V1 cos(πy/W): the second mode is V1/(Rp cosh kd +
    // sinh(kd)/(κk)); derived from Laplace's equation. Here the anode is many
    // strips, each at its volts.
    let (d, w) = (0.1, 0.2);
    let tank = Tank {
        low: [0.0; 3],
        high: [d, w, w],
    };
    let count = 30;
    let mut volts = vec![0.0];
    let mut bodies = vec![Body::uniform(
        plate(count, 1.0, [0.0; 3], [0.0, w, 0.0], [0.0, 0.0, w]),
        Surface::FlushPlate,
    )];
    for k in 0..count {
        let (low, wide) = (w * k as f64 / count as f64, w / count as f64);
        let strip = grid(1, count, |u, v| [d, low + wide * u, w * v]);
        bodies.push(Body::uniform(strip, Surface::FlushPlate));
        volts.push(1.0 + (PI * (low + wide / 2.0) / w).cos());
    }
    let bath = Bath::new(Some(tank), KAPPA, &bodies, &Unwatched).unwrap();
    for (rp, i0, i1) in [
        (0.0, 250.0, 170.642_4),
        (4e-4, 227.272_7, 145.690_2),
        (4e-3, 125.0, 62.905_25),
    ] {
        let mut order = Order::volts(volts.clone());
        if rp > 0.0 {
            order.kinetics[0] = Kinetics::Linear { rp_ohm_m2: rp };
        }
        let currents = bath.solve(&order, &Unwatched).unwrap();
        let mode = |cosine: bool| {
            let sum = |(panel, density): (&Panel, &f64)| {
                let wave = if cosine {
                    2.0 * (PI * panel.middle[1] / w).cos()
                } else {
                    1.0
                };
                panel.area * density * wave
            };
            bodies[0]
                .panels
                .iter()
                .zip(&currents.density[0])
                .map(sum)
                .sum::<f64>()
                / (w * w)
        };
        close(mode(false), i0, 5e-3);
        close(mode(true), i1, 1e-2);
    }
}

/// A field of 1 V over the tank, between its ends, around a sphere of 10 mm.
fn in_an_even_field(body: Body, kinetics: Kinetics, volts: f64) -> (Vec<Panel>, Currents) {
    let panels = body.panels.clone();
    let bodies = [body, end(-0.15, 8), end(0.15, 8)];
    let mut order = Order::volts(vec![volts, 0.0, 1.0]);
    order.kinetics[0] = kinetics;
    (panels, solved(Some(TANK), &bodies, &order))
}

/// The share of `values` on a sphere that goes like x over its radius.
fn along_x(panels: &[Panel], values: &[f64], radius: f64) -> f64 {
    let sum = |(panel, value): (&Panel, &f64)| panel.area * value * panel.middle[0] / radius;
    let squares = |panel: &Panel| panel.area * (panel.middle[0] / radius).powi(2);
    panels.iter().zip(values).map(sum).sum::<f64>() / panels.iter().map(squares).sum::<f64>()
}

#[test]
fn spheres_in_an_even_field() {
    // The tank is wide enough for a sphere of a twentieth of its width to be
    // alone in a field of 1/0.3 V/m. An insulator has 1.5 E a cos θ on it, metal
    // with linear kinetics i1 = 3 κ E/(1 + 2 Wa) (textbook; the latter derived
    // from Laplace's equation), Wa = κ Rp/a.
    let (a, field) = (0.01, 1.0 / 0.3);
    let ball = || sphere(9, a, [0.0; 3]);
    let (panels, shield) = in_an_even_field(
        Body::uniform(ball(), Surface::Insulator),
        Kinetics::None,
        0.0,
    );
    close(
        along_x(&panels, &shield.overpotential[0], a),
        1.5 * field * a,
        0.01,
    );
    assert!(shield.amps[0].abs() < 1e-12);
    for wagner in [0.0, 0.1, 1.0, 10.0] {
        let kinetics = if wagner > 0.0 {
            Kinetics::Linear {
                rp_ohm_m2: wagner * a / KAPPA,
            }
        } else {
            Kinetics::None
        };
        let (panels, currents) = in_an_even_field(metal(ball()), kinetics, 0.5);
        close(
            along_x(&panels, &currents.density[0], a),
            3.0 * KAPPA * field / (1.0 + 2.0 * wagner),
            0.01,
        );
    }
}

#[test]
fn one_face_masked() {
    // A slab across the whole tank, metal on one face, masked on the other: 100 mm
    // of liquid over 200 x 200 mm before the metal, R = d/(κ A) = 0.1 ohm; behind
    // the mask nothing flows, and the liquid is at that anode's volts.
    let face = |x: f64| plate(8, 1.0, [x, -0.1, -0.1], [0.0, 0.2, 0.0], [0.0, 0.0, 0.2]);
    let bare = turned(face(-0.05));
    let mut slab = metal(bare.clone());
    slab.panels.extend(face(0.05));
    slab.surfaces.resize(slab.panels.len(), Surface::Insulator);
    let bodies = [slab, end(-0.15, 8), end(0.15, 8)];
    let currents = solved(Some(TANK), &bodies, &Order::volts(vec![0.0, 1.0, 1.5]));
    close(currents.amps[0], 10.0, 2e-3);
    assert!(currents.amps[2].abs() < 1e-2);
    for (k, u) in currents.overpotential[0].iter().enumerate() {
        let known = if k < bare.len() { 0.0 } else { 1.5 };
        assert!((u - known).abs() < 5e-3, "{k} {u}");
    }
}

#[test]
fn volts_as_they_were_are_at_hand_at_once() {
    let bath = Bath::new(Some(TANK), KAPPA, &sphere_in_tank(8, 2), &Unwatched).unwrap();
    let first = bath
        .solve(&Order::volts(vec![0.0, 1.0, 1.0]), &Unwatched)
        .unwrap();
    let again = bath
        .solve_from(&Order::volts(vec![0.0, 2.5, 2.5]), Some(&first), &Unwatched)
        .unwrap();
    assert!(again.steps <= 2, "{}", again.steps);
    close(again.amps[0], 2.5 * first.amps[0], 1e-4);
    let mut bent = Order::volts(vec![0.0, 1.0, 1.0]);
    bent.kinetics[0] = copper();
    let (cold, warm) = (
        bath.solve(&bent, &Unwatched).unwrap(),
        bath.solve_from(&bent, Some(&first), &Unwatched).unwrap(),
    );
    close(warm.amps[0], cold.amps[0], 1e-4);
}

#[test]
fn doubt_covers_what_is_known() {
    // The cube without end again: its error is within what four times as large
    // panels say.
    let cube = six_faces(6, 2.0, |at| times(at, 0.025));
    let order = Order {
        far_volts: 1.0,
        ..Order::volts(vec![0.0])
    };
    let told = super::solve_doubted(None, KAPPA, &[metal(cube)], &order, &Unwatched).unwrap();
    let off = (1.0 / told.currents.amps[0] / 0.096_358_53 - 1.0).abs();
    assert!(off <= told.amps && told.amps < 0.02, "{off} {}", told.amps);
    assert!(told.density > 0.0 && told.density < 0.2, "{}", told.density);
    assert_eq!(told.bodies[0].panels.len(), 4 * 432);
}

#[test]
fn what_cannot_be_is_refused() {
    let bodies = || vec![metal(sphere(2, 0.03, [0.0; 3]))];
    let refused = |tank, kappa, bodies: &[Body]| {
        Bath::new(tank, kappa, bodies, &Unwatched)
            .unwrap_err()
            .to_string()
    };
    assert_eq!(refused(None, KAPPA, &[]), "there is no metal in the bath");
    assert!(refused(None, 0.0, &bodies()).contains("conductivity"));
    assert!(
        refused(
            Some(Tank {
                low: [0.0; 3],
                high: [0.2; 3]
            }),
            KAPPA,
            &bodies()
        )
        .contains("outside the tank")
    );
    assert!(
        refused(
            Some(Tank {
                low: [0.0; 3],
                high: [0.2, 0.0, 0.2]
            }),
            KAPPA,
            &bodies()
        )
        .starts_with("tank")
    );
}

#[test]
fn stops_when_asked() {
    struct Enough;
    impl crate::units::Watch for Enough {
        fn at(&self, _step: &'static str, _done: f64) {}
        fn stopped(&self) -> bool {
            true
        }
    }
    let bodies = [metal(sphere(4, 0.03, [0.0; 3]))];
    assert!(Bath::new(None, KAPPA, &bodies, &Enough).is_err());
    let bath = Bath::new(None, KAPPA, &bodies, &Unwatched).unwrap();
    let order = Order {
        far_volts: 1.0,
        ..Order::volts(vec![0.0])
    };
    let stopped = bath.solve(&order, &Enough).unwrap_err();
    assert_eq!(stopped, super::FieldError::Stopped(crate::units::Stopped));
}

/// The sphere of 30 mm in the tank, with one or two square anodes in the walls.
fn sphere_in_tank(count: usize, plates: usize) -> Vec<Body> {
    let mut bodies = vec![metal(sphere(count, 0.03, [0.0; 3]))];
    for x in [0.15, -0.15].into_iter().take(plates) {
        let panels = plate(
            20,
            1.5,
            [x, -0.075, -0.075],
            [0.0, 0.15, 0.0],
            [0.0, 0.0, 0.15],
        );
        bodies.push(Body::uniform(panels, Surface::FlushPlate).as_anode());
    }
    bodies
}

/// Mean over the cap of 30° about `axis`, over the mean of all.
fn cap(panels: &[Panel], density: &[f64], axis: usize, side: f64) -> f64 {
    let within = |panel: &&(&Panel, &f64)| side * panel.0.normal[axis] > (PI / 6.0).cos();
    let all: Vec<(&Panel, &f64)> = panels.iter().zip(density).collect();
    let mean = |of: Vec<&(&Panel, &f64)>| {
        let amps: f64 = of
            .iter()
            .map(|(panel, density)| panel.area * **density)
            .sum();
        amps / of.iter().map(|(panel, _)| panel.area).sum::<f64>()
    };
    mean(all.iter().filter(within).collect()) / mean(all.iter().collect())
}

#[test]
fn sphere_in_the_tank() {
    // Independent finite elements: quadratic, graded, four refinements; errors
    // 3e-5 ohm and 5e-4 of the zones.
    for (plates, rp, resistance, front, back, side) in [
        (2, 0.0, 0.124_253_7, 1.064_258, 1.064_255, 0.967),
        (1, 0.0, 0.202_773_1, 1.454_117, 0.674_159, 0.967_048),
        (2, 4e-4, 0.159_644_1, 1.032_193, 1.032_193, 0.983_574),
        (1, 4e-4, 0.239_411_7, 1.269_982, 0.794_278, 0.983_603),
    ] {
        let bodies = sphere_in_tank(14, plates);
        let mut order = Order::volts(vec![1.0; plates + 1]);
        order.volts[0] = 0.0;
        if rp > 0.0 {
            order.kinetics[0] = Kinetics::Linear { rp_ohm_m2: rp };
        }
        let currents = solved(Some(TANK), &bodies, &order);
        let (panels, density) = (&bodies[0].panels, &currents.density[0]);
        close(1.0 / currents.amps[0], resistance, 5e-3);
        close(cap(panels, density, 0, 1.0), front, 0.01);
        close(cap(panels, density, 0, -1.0), back, 0.01);
        close(cap(panels, density, 1, 1.0), side, 0.01);
        close(cap(panels, density, 2, -1.0), side, 0.01);
        assert!(currents.balance < 1e-5 && currents.residual < 1e-4);
    }
}

#[test]
fn cup_in_the_tank() {
    // Independent finite elements as for the sphere. A cup with its mouth to +x:
    // outside r 25, x -21.5 to 21.5 mm; bore r 22, 40 mm deep.
    let mm = 1e-3;
    let outline = [
        [-18.5, 0.0],
        [-18.5, 22.0],
        [21.5, 22.0],
        [21.5, 25.0],
        [-21.5, 25.0],
        [-21.5, 0.0],
    ];
    let parts = [(8, 1.3), (20, 1.7), (5, 2.0), (18, 1.7), (9, 1.5)];
    let zones = revolved(&outline.map(|at| at.map(|c| c * mm)), &parts, 60);
    let cup: Vec<Panel> = zones.iter().flatten().copied().collect();
    for (plates, rp, resistance, known) in [
        (
            2,
            0.0,
            0.131_814_9,
            [0.010_674_76, 0.203_985, 3.3107, 1.574_409, 1.509_266],
        ),
        (
            1,
            4e-4,
            0.250_511_9,
            [0.080_425_7, 0.418_719, 2.058_07, 1.544_653, 1.236_264],
        ),
    ] {
        let mut bodies = sphere_in_tank(1, plates);
        bodies[0] = metal(cup.clone());
        let mut order = Order::volts(vec![1.0; plates + 1]);
        order.volts[0] = 0.0;
        if rp > 0.0 {
            order.kinetics[0] = Kinetics::Linear { rp_ohm_m2: rp };
        }
        let currents = solved(Some(TANK), &bodies, &order);
        close(1.0 / currents.amps[0], resistance, 5e-3);
        let mean = currents.amps[0] / cup.iter().map(|p| p.area).sum::<f64>();
        let mut first = 0;
        for (zone, known) in zones.iter().zip(known) {
            let density = &currents.density[0][first..first + zone.len()];
            first += zone.len();
            let amps: f64 = zone
                .iter()
                .zip(density)
                .map(|(panel, density)| panel.area * density)
                .sum();
            let over_mean = amps / zone.iter().map(|p| p.area).sum::<f64>() / mean;
            let allowed = if known > 2.0 {
                0.05 * known
            } else {
                f64::max(0.02 * known, 0.001)
            };
            assert!(
                (over_mean - known).abs() < allowed,
                "{over_mean} is not {known}"
            );
        }
    }
}

#[test]
fn hull_cell() {
    // Independent finite elements in two dimensions, errors below 2e-4: the
    // trapezoid of 64 mm between sides of 48 and 127 mm, 47.7 mm deep, the sloping
    // panel the cathode, zones of 10 mm from its near end. In the smallest cuboid
    // around it the sloping panel is the free face of a wedge.
    let (near, far, wide, deep) = (0.048, 0.127, 0.064, 0.0477);
    let tank = Tank {
        low: [0.0; 3],
        high: [far, wide, deep],
    };
    let long = (far - near).hypot(wide);
    let slope = grid(60, 8, |u, v| {
        [
            near + (far - near) * graded(u, 1.6),
            wide * graded(u, 1.6),
            deep * v,
        ]
    });
    let slope = turned(slope);
    let anode = grid(24, 8, |u, v| [0.0, wide * u, deep * v]);
    let bodies = [
        metal(slope.clone()),
        Body::uniform(anode, Surface::FlushPlate),
    ];
    let bath = Bath::new(Some(tank), KAPPA, &bodies, &Unwatched).unwrap();
    for (kinetics, volts, resistance, known) in [
        (
            Kinetics::None,
            1.0,
            0.884_564_58,
            [
                3.469_235, 1.801_172, 1.358_838, 1.068_119, 0.838_575, 0.641_33, 0.464_967,
                0.306_233, 0.166_19, 0.051_852,
            ],
        ),
        (
            Kinetics::Linear { rp_ohm_m2: 2e-3 },
            0.1,
            1.444_435_66,
            [
                1.684_365, 1.475_968, 1.310_113, 1.165_115, 1.033_396, 0.910_548, 0.793_649,
                0.681_684, 0.573_78, 0.469_838,
            ],
        ),
        (
            copper(),
            0.5,
            1.198_197_96,
            [
                2.554_671, 1.721_053, 1.350_128, 1.096_608, 0.898_809, 0.735_306, 0.597_132,
                0.480_818, 0.384_004, 0.304_429,
            ],
        ),
        (
            copper(),
            1.1,
            1.057_502_98,
            [
                3.011_367, 1.783_43, 1.358_255, 1.076_856, 0.857_027, 0.673_059, 0.516_07,
                0.384_688, 0.279_356, 0.199_728,
            ],
        ),
    ] {
        let mut order = Order::volts(vec![0.0, volts]);
        order.kinetics[0] = kinetics;
        let currents = bath.solve(&order, &Unwatched).unwrap();
        close(volts / currents.amps[0], resistance, 5e-3);
        let mean = currents.amps[0] / (long * deep);
        for (zone, known) in known.into_iter().enumerate() {
            let (low, high) = (zone as f64 * 0.01, zone as f64 * 0.01 + 0.01);
            // A panel counts as far as it lies within the zone.
            let (mut amps, mut area) = (0.0, 0.0);
            for (panel, density) in slope.iter().zip(&currents.density[0]) {
                let along = panel.corners.map(|at| (at[0] - near).hypot(at[1]));
                let first = along.iter().copied().fold(f64::INFINITY, f64::min);
                let last = along.iter().copied().fold(0.0, f64::max);
                let share = ((last.min(high) - first.max(low)) / (last - first)).max(0.0);
                amps += share * panel.area * density;
                area += share * panel.area;
            }
            let got = amps / area / mean;
            let allowed = if zone == 0 { 0.05 } else { 0.02 } * known;
            assert!(
                (got - known).abs() < allowed,
                "{kinetics:?} zone {zone}: {got} is not {known}"
            );
        }
    }
}
