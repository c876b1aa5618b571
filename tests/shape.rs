//! Shapes whose tips, recesses, ways, walls and fits are known in closed form.

#![allow(
    clippy::cast_possible_wrap,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test that fails panics"
)]

use std::f64::consts::{PI, TAU};

use tankside::mesh::shape::{Farthest, Recess, Room, Tip, Turn, Wall};
use tankside::mesh::{Class, Corner, Facet, shape};
use tankside::units::{Stopped, Unwatched, Watch};

fn facets(triangles: impl IntoIterator<Item = [Corner; 3]>) -> Vec<Facet> {
    let numbered = (0..).zip(triangles);
    let facet = |(triangle, corners)| Facet {
        triangle,
        corners,
        class: Class::Wetted,
    };
    numbered.map(facet).collect()
}

/// Cells between planes, solid where told: their outside, two triangles a side.
fn blocks(planes: [&[f64]; 3], solid: impl Fn(Corner) -> bool) -> Vec<Facet> {
    let mut triangles = Vec::new();
    let middle = |axis: usize, at: i64| {
        let planes = planes[axis];
        let inside = at >= 0 && (at as usize) < planes.len() - 1;
        inside.then(|| f64::midpoint(planes[at as usize], planes[at as usize + 1]))
    };
    let is_solid = |at: [i64; 3]| {
        let place = [middle(0, at[0]), middle(1, at[1]), middle(2, at[2])];
        matches!(place, [Some(x), Some(y), Some(z)] if solid([x, y, z]))
    };
    let counts = planes.map(|planes| planes.len() as i64 - 1);
    for k in 0..counts[2] {
        for j in 0..counts[1] {
            for i in 0..counts[0] {
                for axis in 0..3 {
                    for side in [0, 1] {
                        let at = [i, j, k];
                        let mut beyond = at;
                        beyond[axis] += 2 * side - 1;
                        if !is_solid(at) || is_solid(beyond) {
                            continue;
                        }
                        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
                        let corner = |du: i64, dv: i64| {
                            let mut place = at;
                            place[axis] += side;
                            place[u] += du;
                            place[v] += dv;
                            [0, 1, 2].map(|axis| planes[axis][place[axis] as usize])
                        };
                        let [a, b, c, d] = [corner(0, 0), corner(1, 0), corner(1, 1), corner(0, 1)];
                        let quad = if side == 1 {
                            [a, b, c, d]
                        } else {
                            [a, d, c, b]
                        };
                        triangles.push([quad[0], quad[1], quad[2]]);
                        triangles.push([quad[0], quad[2], quad[3]]);
                    }
                }
            }
        }
    }
    facets(triangles)
}

fn cuboid(size: Corner) -> Vec<Facet> {
    blocks([&[0.0, size[0]], &[0.0, size[1]], &[0.0, size[2]]], |_| {
        true
    })
}

/// A line of (radius, height) turned about z; outward where it runs so that the
/// solid is on its left.
fn lathe(line: &[[f64; 2]], sectors: usize) -> Vec<Facet> {
    let at = |[radius, height]: [f64; 2], sector: usize| {
        let angle = TAU * (sector % sectors) as f64 / sectors as f64;
        [radius * angle.cos(), radius * angle.sin(), height]
    };
    let mut triangles = Vec::new();
    for pair in line.windows(2) {
        for sector in 0..sectors {
            let (a, b) = (at(pair[0], sector), at(pair[0], sector + 1));
            let (c, d) = (at(pair[1], sector + 1), at(pair[1], sector));
            triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    let has_area = |facet: &Facet| facet.area_mm2() > 0.0;
    facets(triangles).into_iter().filter(has_area).collect()
}

fn ball(radius: f64, sectors: usize) -> Vec<Facet> {
    let line: Vec<_> = (0..=sectors / 2)
        .map(|step| {
            let angle = TAU * step as f64 / sectors as f64;
            let around = if step == 0 || step == sectors / 2 {
                0.0
            } else {
                angle.sin()
            };
            [radius * around, -radius * angle.cos()]
        })
        .collect();
    lathe(&line, sectors)
}

/// The plate with three cones of `tips_three_cones`, the cones cut at the plate
/// and the plate left whole under them.
fn three_cones() -> Vec<Facet> {
    let mut all = cuboid([60.0, 20.0, 3.0]);
    let foot = 4.0 * 12.0 / 13.0;
    for x in [10.0, 30.0, 50.0] {
        all.extend(moved(
            &lathe(&[[foot, 3.0], [0.0, 15.0]], 32),
            [x, 10.0, 0.0],
        ));
    }
    all
}

/// The block of `recess_blind_hole`.
fn blind_hole() -> Vec<Facet> {
    let planes = [0.0, 13.0, 17.0, 30.0];
    blocks([&planes, &planes, &[0.0, 10.0, 30.0]], |[x, y, z]| {
        !((13.0..17.0).contains(&x) && (13.0..17.0).contains(&y) && z > 10.0)
    })
}

fn each(facets: &[Facet], change: impl Fn(Corner) -> Corner) -> Vec<Facet> {
    let changed = |facet: &Facet| Facet {
        corners: facet.corners.map(&change),
        ..*facet
    };
    facets.iter().map(changed).collect()
}

fn moved(facets: &[Facet], by: Corner) -> Vec<Facet> {
    each(facets, |corner| {
        [0, 1, 2].map(|axis| corner[axis] + by[axis])
    })
}

fn finer(facets: &[Facet]) -> Vec<Facet> {
    let half = |a: Corner, b: Corner| [0, 1, 2].map(|axis| f64::midpoint(a[axis], b[axis]));
    let quarters = facets.iter().flat_map(|facet| {
        let [a, b, c] = facet.corners;
        let (ab, bc, ca) = (half(a, b), half(b, c), half(c, a));
        [[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]
            .map(|corners| Facet { corners, ..*facet })
    });
    quarters.collect()
}

const TURNS: [Turn; 3] = [
    Turn {
        degrees: [0.0, 0.0, 0.0],
    },
    Turn {
        degrees: [31.0, 77.0, 12.0],
    },
    Turn {
        degrees: [143.0, -29.0, 201.0],
    },
];

fn apart(a: Corner, b: Corner) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1]).hypot(a[2] - b[2])
}

fn assert_near(found: f64, wanted: f64, share: f64) {
    assert!(
        (found - wanted).abs() <= share * wanted.abs(),
        "{found} for {wanted}"
    );
}

fn tips(facets: &[Facet]) -> Vec<Tip> {
    shape::tips(facets, &Unwatched).unwrap().sharpest
}

fn recesses(facets: &[Facet]) -> Vec<Recess> {
    shape::recesses(facets, &Unwatched).unwrap().deepest
}

/// Apexes 13 above a circle of 4: half angle atan(4/13) = 17.103 degrees; of
/// the 32-gon in it a little less. Then the eight corners of the plate.
#[test]
fn three_cones_are_the_three_sharpest_tips() {
    for (turn, cuts) in TURNS.into_iter().zip(0..) {
        let mut facets = each(&three_cones(), |corner| turn.of(corner));
        for _ in 0..cuts {
            facets = finer(&facets);
        }
        let tips = shape::tips(&facets, &Unwatched).unwrap();
        assert_eq!(tips.count, 11, "{turn}");
        let tips = tips.sharpest;
        for x in [10.0, 30.0, 50.0] {
            let apex = turn.of([x, 10.0, 15.0]);
            let tip = tips[..3]
                .iter()
                .find(|tip| apart(tip.at_mm, apex) < 1e-6)
                .unwrap();
            assert_near(tip.half_angle_deg, 17.103, 0.005);
            assert_near(tip.radius_mm, Tip::RESOLVED_MM, 1e-9);
        }
        for corner in &tips[3..] {
            assert_near(corner.sharpness, CORNER, 1e-3);
        }
    }
}

/// A ball around the corner of a cube cuts quarter discs from its three sides,
/// upright on each other: √3 pi r² / 4 of the ball's section pi r², so the
/// sharpness is √(1 - √3/4).
const CORNER: f64 = 0.752_934;

#[test]
fn what_is_smooth_or_only_edged_has_no_tips() {
    let tube = [[0.0, 0.0], [10.0, 0.0], [10.0, 30.0], [0.0, 30.0]];
    for facets in [ball(10.0, 96), lathe(&tube, 96)] {
        assert_eq!(tips(&facets), []);
    }
    assert_eq!(tips(&cuboid([30.0; 3])).len(), 8);
}

/// Boxes of which the coarse look alone found four to seven tips.
#[test]
fn every_box_has_eight_tips_however_long_and_flat() {
    for size in [
        [78.0, 66.0, 13.1],
        [46.0, 2.0, 23.0],
        [94.22, 21.3, 31.3],
        [18.0, 83.04, 98.3],
        [55.0, 56.42, 18.47],
        [49.89, 92.1, 61.0],
        [82.0, 22.51, 98.0],
    ] {
        let found = tips(&cuboid(size));
        assert_eq!(found.len(), 8, "{size:?}");
        for tip in found {
            assert_near(tip.sharpness, CORNER, 1e-3);
            let is_end = |(at, end): (f64, f64)| [0.0, end].contains(&at);
            assert!(tip.at_mm.into_iter().zip(size).all(is_end), "{tip:?}");
        }
    }
}

/// A rod thinner than the ball it is looked at in: its end is a tip, its sides
/// are none. A hole's floor corners and the mouth's inner corners are none.
#[test]
fn ends_of_rods_are_tips_and_inner_corners_are_not() {
    let rod = lathe(&[[0.0, 0.0], [0.2, 0.0], [0.2, 60.0], [0.0, 60.0]], 24);
    let tips_of_rod = tips(&rod);
    assert_eq!(tips_of_rod.len(), 2, "{tips_of_rod:?}");
    assert!(tips_of_rod.iter().all(|tip| tip.sharpness > 0.98));
    let corners: Vec<_> = tips(&blind_hole()).iter().map(|tip| tip.at_mm).collect();
    assert_eq!(corners.len(), 8);
    let is_outer = |corner: &Corner| corner.iter().all(|x| [0.0, 30.0].contains(x));
    assert!(corners.iter().all(is_outer), "{corners:?}");
}

/// A cone of half angle 20 degrees with a ball of radius 0.5 mm in its end: the
/// ball touches the cone at 0.5 cos 20 off the axis.
#[test]
fn the_radius_of_a_round_tip_is_that_of_the_ball_in_it() {
    const RADIUS: f64 = 0.5;
    let lean = 20.0_f64.to_radians();
    let (top, touch) = (40.0, RADIUS * lean.cos());
    let drop = RADIUS * (1.0 - lean.sin());
    let foot = 12.0;
    let height = top - drop - (foot - touch) / lean.tan();
    let mut line = vec![[0.0, height], [foot, height]];
    for step in 0..=24 {
        let angle = lean + (PI / 2.0 - lean) * f64::from(step) / 24.0;
        let around = if step == 24 {
            0.0
        } else {
            RADIUS * angle.cos()
        };
        line.push([around, top - RADIUS + RADIUS * angle.sin()]);
    }
    let found = tips(&lathe(&line, 64));
    assert!(apart(found[0].at_mm, [0.0, 0.0, top]) < 0.05, "{found:?}");
    assert_near(found[0].radius_mm, RADIUS, 0.02);
}

/// 4 x 4 mm, 20 deep, its mouth in the middle of the top (the definition of
/// `recess_blind_hole`).
#[test]
fn a_blind_hole_is_told_by_depth_width_and_mouth() {
    for (turn, cuts) in TURNS.into_iter().zip(0..) {
        let mut facets = each(&blind_hole(), |corner| turn.of(corner));
        for _ in 0..cuts {
            facets = finer(&facets);
        }
        let found = recesses(&facets);
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(
            apart(found[0].at_mm, turn.of([15.0, 15.0, 30.0])) < 0.1,
            "{found:?}"
        );
        assert_near(found[0].depth_mm, 20.0, 0.01);
        assert_near(found[0].width_mm, 4.0, 0.02);
    }
}

/// A groove 3 wide and 9 deep all along a block; a hole right through counts
/// half its length; a bottle is as deep as from its neck to its floor.
#[test]
fn grooves_passages_and_bottles() {
    let groove = blocks(
        [&[0.0, 20.0, 23.0, 43.0], &[0.0, 60.0], &[0.0, 6.0, 15.0]],
        |[x, _, z]| !((20.0..23.0).contains(&x) && z > 6.0),
    );
    let found = recesses(&each(&groove, |corner| TURNS[1].of(corner)));
    assert_eq!(found.len(), 1, "{found:?}");
    assert_near(found[0].width_mm, 3.0, 0.02);
    assert_near(found[0].depth_mm, 9.0, 0.02);

    let planes = [0.0, 13.0, 17.0, 30.0];
    let passage = blocks([&planes, &planes, &[0.0, 30.0]], |[x, y, _]| {
        !((13.0..17.0).contains(&x) && (13.0..17.0).contains(&y))
    });
    let found = recesses(&passage);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_near(found[0].width_mm, 4.0, 0.02);
    assert_near(found[0].depth_mm, 15.0, 0.02);

    // The definition of `cavity_bottle`.
    let line = [
        [0.0, 0.0],
        [15.0, 0.0],
        [15.0, 40.0],
        [1.5, 40.0],
        [1.5, 38.0],
        [13.0, 38.0],
        [13.0, 2.0],
        [0.0, 2.0],
    ];
    let found = recesses(&lathe(&line, 48));
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(apart(found[0].at_mm, [0.0, 0.0, 40.0]) < 0.1, "{found:?}");
    assert_near(found[0].width_mm, 3.0, 0.02);
    assert_near(found[0].depth_mm, 38.0, 0.01);
}

#[test]
fn holes_side_by_side_are_two_and_the_deeper_comes_first() {
    let xs = [0.0, 8.0, 12.0, 13.0, 17.0, 25.0];
    let block = blocks(
        [&xs, &[0.0, 8.0, 12.0, 20.0], &[0.0, 8.0, 16.0, 26.0]],
        |[x, y, z]| {
            let deep = (8.0..12.0).contains(&x) && z > 8.0;
            let less_deep = (13.0..17.0).contains(&x) && z > 16.0;
            !((8.0..12.0).contains(&y) && (deep || less_deep))
        },
    );
    let found = recesses(&block);
    assert_eq!(found.len(), 2, "{found:?}");
    assert_near(found[0].depth_mm, 18.0, 0.02);
    assert_near(found[1].depth_mm, 10.0, 0.02);
    assert!(apart(found[1].at_mm, [15.0, 10.0, 26.0]) < 0.2, "{found:?}");
}

#[test]
fn what_is_convex_or_only_stepped_has_no_recess() {
    let step = blocks(
        [&[0.0, 15.0, 30.0], &[0.0, 30.0], &[0.0, 10.0, 30.0]],
        |[x, _, z]| x < 15.0 || z < 10.0,
    );
    for facets in [
        ball(10.0, 64),
        cuboid([30.0, 20.0, 3.0]),
        three_cones(),
        step,
    ] {
        assert_eq!(recesses(&facets), []);
    }
}

/// A plate of 40 x 30 mm: both faces are over what is too thin.
#[test]
fn a_thin_plate_is_told_with_both_sides() {
    for turn in TURNS {
        let plate = |thick: f64| each(&cuboid([40.0, 30.0, thick]), |corner| turn.of(corner));
        let wall = shape::thin_walls(&plate(0.6), Wall::LEAST_MM, &Unwatched)
            .unwrap()
            .unwrap();
        assert_near(wall.thinnest_mm, 0.6, 1e-3);
        assert_near(wall.area_mm2, 2.0 * 40.0 * 30.0, 0.01);
        let back = turn.of([0.0, 0.0, 0.3]);
        let height = turn.of([0.0, 0.0, 1.0]);
        let along = |point: Corner| (0..3).map(|axis| point[axis] * height[axis]).sum::<f64>();
        assert_near(along(wall.at_mm), along(back), 0.01);
        assert_eq!(
            shape::thin_walls(&plate(0.82), Wall::LEAST_MM, &Unwatched),
            Ok(None)
        );
        assert!(
            shape::thin_walls(&plate(0.78), Wall::LEAST_MM, &Unwatched)
                .unwrap()
                .is_some()
        );
    }
    let cones = shape::thin_walls(&three_cones(), Wall::LEAST_MM, &Unwatched);
    assert_eq!(cones, Ok(None), "a point is no wall");
}

fn farthest(facets: &[Facet], contacts: &[Corner]) -> Farthest {
    shape::farthest(facets, contacts, &Unwatched)
        .unwrap()
        .unwrap()
}

/// From a corner of a 1 x 1 x 2 box the furthest point is not the opposite
/// corner, √8 away, but √(130)/4 = 2.850 away, on the far square a quarter in
/// from both its sides at that corner (Kotani's ant problem; from memory).
#[test]
fn the_ant_on_a_box_goes_to_kotanis_point() {
    let box_of_20 = cuboid([10.0, 10.0, 20.0]);
    for (turn, cuts) in TURNS.into_iter().zip([0, 1, 3]) {
        let mut facets = each(&box_of_20, |corner| turn.of(corner));
        for _ in 0..cuts {
            facets = finer(&facets);
        }
        let found = farthest(&facets, &[turn.of([0.0; 3])]);
        assert_near(found.length_mm, 10.0 * 130.0_f64.sqrt() / 4.0, 0.003);
        assert!(
            apart(found.at_mm, turn.of([7.5, 7.5, 20.0])) < 0.6,
            "{found:?}"
        );
    }
}

/// Half round a sphere is pi R; the facets lie a little inside.
#[test]
fn the_far_side_of_a_ball_is_half_way_round() {
    for sectors in [24, 96] {
        let facets = ball(10.0, sectors);
        let found = farthest(&facets, &[[0.0, 10.0, 0.0]]);
        assert_near(found.length_mm, 10.0 * PI, 0.01);
        assert!(
            apart(found.at_mm, [0.0, -10.0, 0.0]) < 1.0,
            "{:?}",
            found.at_mm
        );
    }
}

/// A tube without ends, rolled flat, is a rectangle: from its rim the far end of
/// the opposite line is √((pi r)² + h²) away, with the perimeter of the polygon
/// in place of the circle's.
#[test]
fn a_tube_is_rolled_flat() {
    let half = 64.0 * 10.0 * (PI / 64.0).sin();
    let mut tube = lathe(&[[10.0, 0.0], [10.0, 40.0]], 64);
    for _ in 0..3 {
        let found = farthest(&tube, &[[10.0, 0.0, 0.0]]);
        assert_near(found.length_mm, half.hypot(40.0), 0.005);
        assert!(
            apart(found.at_mm, [-10.0, 0.0, 40.0]) < 0.5,
            "{:?}",
            found.at_mm
        );
        tube = finer(&tube);
    }
}

/// A bar of 100 x 2 x 2 with a contact at each end: the middle is 1 and 50
/// away from both, a little more on its edges; with none given the way is from
/// end to end.
#[test]
fn several_contacts_share_the_way() {
    let bar = cuboid([100.0, 2.0, 2.0]);
    let found = farthest(&bar, &[[0.0, 1.0, 1.0], [100.0, 1.0, 1.0]]);
    assert!(
        (50.9..52.1).contains(&found.length_mm),
        "{}",
        found.length_mm
    );
    assert!((found.at_mm[0] - 50.0).abs() < 1.0);
    let found = farthest(&bar, &[]);
    assert!(
        (101.0..104.0).contains(&found.length_mm),
        "{}",
        found.length_mm
    );
    let nearest = found
        .corners_mm
        .iter()
        .flatten()
        .copied()
        .fold(f64::MAX, f64::min);
    let most = found
        .corners_mm
        .iter()
        .flatten()
        .copied()
        .fold(0.0, f64::max);
    assert!(nearest < 3.0 && most <= found.length_mm + 1e-9);
}

/// A face that is split where its neighbours are not: the way is the same. A
/// second body is told as unreached.
#[test]
fn sides_that_are_split_on_one_face_only_still_join() {
    let whole = cuboid([30.0, 20.0, 10.0]);
    let is_top = |facet: &&Facet| facet.corners.iter().all(|corner| corner[2] > 9.0);
    let (top, rest): (Vec<&Facet>, Vec<_>) = whole.iter().partition(is_top);
    let top: Vec<Facet> = top.into_iter().copied().collect();
    let mut split = finer(&finer(&top));
    split.extend(rest.into_iter().copied());
    let contact = [[15.0, 10.0, 10.0]];
    let (plain, split_way) = (farthest(&whole, &contact), farthest(&split, &contact));
    assert_near(split_way.length_mm, plain.length_mm, 0.003);
    assert_eq!(split_way.unreached_mm, Vec::<Corner>::new());
    split.extend(moved(&whole, [50.0, 0.0, 0.0]));
    let found = farthest(&split, &contact);
    assert_eq!(found.unreached_mm.len(), 1);
    assert!(found.unreached_mm[0][0] >= 50.0);
    assert_near(found.length_mm, plain.length_mm, 0.003);
}

/// The rod of `tank_diagonal_rod`, 150 x 10 x 10 turned by 45 degrees, in its
/// three tanks and its beaker.
#[test]
fn a_rod_fits_where_its_turns_allow() {
    let turn = Turn {
        degrees: [0.0, 0.0, 45.0],
    };
    let rod = each(&cuboid([150.0, 10.0, 10.0]), |corner| turn.of(corner));
    let tank = |inside_mm: [f64; 3]| Room::Box {
        inside_mm,
        keep_mm: [[0.0; 2]; 3],
    };
    let fits = |inside: [f64; 3]| shape::fits(&rod, tank(inside));

    let long = fits([160.0, 40.0, 40.0]);
    assert_eq!(long.as_is, None);
    let laid = long.turned.unwrap();
    assert_near(laid.size_mm[0], 150.0, 1e-6);
    assert_near(laid.clear_mm[0][0], 5.0, 1e-6);
    assert_near(laid.clear_mm[1][1], 15.0, 1e-6);
    assert_eq!(laid.to_string(), "turned -45° about z");

    let square = fits([120.0, 120.0, 40.0]);
    let laid = square.as_is.unwrap();
    assert_eq!(square.turned, square.as_is);
    assert_near(laid.size_mm[0], 160.0 / 2.0_f64.sqrt(), 1e-6);
    assert_eq!(laid.to_string(), "as it is, laid along the diagonal");

    let small = fits([100.0, 100.0, 60.0]);
    assert_eq!((small.as_is, small.turned), (None, None));

    let beaker = |diameter_mm: f64, depth_mm: f64| {
        let room = Room::Round {
            diameter_mm,
            depth_mm,
            keep_side_mm: 0.0,
            keep_ends_mm: [0.0; 2],
        };
        shape::fits(&rod, room)
    };
    let tall = beaker(100.0, 160.0);
    assert_eq!(tall.as_is, None);
    let stood = tall.turned.unwrap();
    assert!(stood.size_mm[2] <= 160.0 && stood.size_mm[0] <= 100.0);
    // Leaning in a beaker of 100 x 120: √(100² + 120²) = 156, less for its section.
    assert_eq!(beaker(60.0, 120.0).turned, None);
    // Lying, its foot is 150 x 10: √(150² + 10²) = 150.33.
    assert_near(beaker(170.0, 12.0).as_is.unwrap().size_mm[0], 150.333, 1e-4);
    assert_eq!(beaker(150.0, 12.0).turned, None);
}

/// A cube of 50 in a tank of 80 with anodes at both walls along x: 10 for each
/// with its bag and gap leave 5 to spare, 15 from each anode wall. A bar that
/// is longer than every side lies along the space diagonal: 100 √3 = 173.
#[test]
fn what_is_kept_for_anodes_is_kept_and_the_diagonal_is_found() {
    let cube = cuboid([50.0; 3]);
    let keep_mm = [[10.0; 2], [0.0; 2], [0.0, 20.0]];
    let room = |side: f64| Room::Box {
        inside_mm: [side, 80.0, 80.0],
        keep_mm,
    };
    let hung = shape::fits(&cube, room(80.0)).as_is.unwrap();
    assert_near(hung.spare_mm, 5.0, 1e-9);
    assert_near(hung.clear_mm[0][1], 15.0, 1e-9);
    assert_near(hung.clear_mm[2][1], 25.0, 1e-9);
    assert_eq!(shape::fits(&cube, room(69.0)).turned, None);

    let bar = cuboid([150.0, 4.0, 4.0]);
    let cubic = Room::Box {
        inside_mm: [100.0; 3],
        keep_mm: [[0.0; 2]; 3],
    };
    let laid = shape::fits(&bar, cubic).turned.unwrap();
    assert!(laid.is_diagonal && laid.spare_mm > 3.0, "{laid}: {laid:?}");
    for axis in 0..3 {
        let along = bar
            .iter()
            .flat_map(|facet| facet.corners)
            .map(|at| laid.turn.of(at)[axis]);
        let (low, high) = along.fold((f64::MAX, f64::MIN), |(a, b), x| (a.min(x), b.max(x)));
        assert_near(high - low, laid.size_mm[axis], 1e-9);
        assert!(high - low <= 100.0);
    }
}

#[test]
fn the_summary_says_what_the_parts_say() {
    let facets = blind_hole();
    let all = shape::of(&facets, &Unwatched).unwrap();
    assert_eq!(all.tips, shape::tips(&facets, &Unwatched).unwrap());
    assert_eq!(all.recesses, shape::recesses(&facets, &Unwatched).unwrap());
    assert_eq!(all.thin, None);
    assert_eq!(shape::of(&[], &Unwatched).unwrap(), shape::Shape::default());
    assert_eq!(shape::farthest(&[], &[], &Unwatched), Ok(None));
}

#[test]
fn all_of_it_stops_when_told() {
    struct Stop;
    impl Watch for Stop {
        fn at(&self, _step: &'static str, _done: f64) {}

        fn stopped(&self) -> bool {
            true
        }
    }
    let facets = cuboid([10.0; 3]);
    assert_eq!(shape::of(&facets, &Stop), Err(Stopped));
    assert_eq!(shape::farthest(&facets, &[], &Stop), Err(Stopped));
    assert_eq!(shape::sky(&facets, &Stop), Err(Stopped));
}
