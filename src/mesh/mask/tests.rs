use std::f64::consts::PI;

use proptest::prelude::*;

use super::*;
use crate::mesh::space::{cross, dot, length, less, middle, plus, times, unit};
use crate::units::Unwatched;

fn facets(triangles: impl IntoIterator<Item = [Corner; 3]>) -> Vec<Facet> {
    let facet = |(triangle, corners)| Facet {
        triangle,
        corners,
        class: Class::Wetted,
    };
    (0..).zip(triangles).map(facet).collect()
}

/// A four-cornered face as two triangles.
fn quad(a: Corner, b: Corner, c: Corner, d: Corner) -> [[Corner; 3]; 2] {
    [[a, b, c], [a, c, d]]
}

/// The closed box from 0, 0, 0, outwards; the bottom first.
fn cuboid([x, y, z]: Corner) -> Vec<Facet> {
    let at = |i: f64, j: f64, k: f64| [i * x, j * y, k * z];
    let [a, b, c, d] = [
        at(0., 0., 0.),
        at(1., 0., 0.),
        at(1., 1., 0.),
        at(0., 1., 0.),
    ];
    let [e, f, g, h] = [
        at(0., 0., 1.),
        at(1., 0., 1.),
        at(1., 1., 1.),
        at(0., 1., 1.),
    ];
    let sides = [
        quad(a, d, c, b),
        quad(e, f, g, h),
        quad(a, b, f, e),
        quad(b, c, g, f),
        quad(c, d, h, g),
        quad(d, a, e, h),
    ];
    facets(sides.into_iter().flatten())
}

/// The side of an upright prism about the z axis, and its two lids.
fn prism(radius: f64, height: f64, sides: usize) -> Vec<Facet> {
    let at = |n: usize, z: f64| {
        let angle = 2.0 * PI * n as f64 / sides as f64;
        [radius * angle.cos(), radius * angle.sin(), z]
    };
    let wall = |n: usize| quad(at(n, 0.0), at(n + 1, 0.0), at(n + 1, height), at(n, height));
    let lids = |n: usize| {
        let (down, up) = ([0.0; 3], [0.0, 0.0, height]);
        [
            [down, at(n + 1, 0.0), at(n, 0.0)],
            [up, at(n, height), at(n + 1, height)],
        ]
    };
    facets((0..sides).flat_map(|n| [wall(n), lids(n)].concat()))
}

fn masked(text: &str, facets: &mut Vec<Facet>) -> f64 {
    taken(&[text], &[], facets)[0].area_mm2
}

fn taken(texts: &[&str], groups: &[Group], facets: &mut Vec<Facet>) -> Vec<MaskTaken> {
    let masks: Vec<Mask> = texts.iter().map(|text| text.parse().unwrap()).collect();
    apply(&masks, groups, facets, &Unwatched).unwrap()
}

fn of_class(class: Class, facets: &[Facet]) -> f64 {
    let of = facets.iter().filter(|facet| facet.class == class);
    of.map(Facet::area_mm2).sum()
}

fn near(found: f64, wanted: f64, share: f64) {
    assert!(
        (found - wanted).abs() <= share * wanted.abs(),
        "{found} is not {wanted}"
    );
}

#[test]
fn a_mask_reads_back_as_its_text() {
    for text in [
        "plane:0,0,5:0,0,-1",
        "box:-1,-1,-1:21,21,5",
        "sphere:0.5,1e-9,-3:2.25",
        "cylinder:0,0,0:0,0,10:4",
        "patch:10,10,20:10",
        "group:glue: the foot, left",
    ] {
        let mask: Mask = text.parse().unwrap();
        assert_eq!(mask.to_string(), text);
    }
    let spaced: Mask = "sphere: +1.50, 2e0 ,-.5 :1e1".parse().unwrap();
    assert_eq!(spaced.to_string(), "sphere:1.5,2,-0.5:10");
}

#[test]
fn what_is_no_mask_says_which_part_and_what_would_do() {
    for (text, said) in [
        ("", "`` is no mask"),
        (
            "bos:0,0,0:1,1,1",
            "`bos:0,0,0:1,1,1` is no mask; did you mean `box`?",
        ),
        ("sphere", "`sphere` is no mask; did you mean `sphere`?"),
        (
            "box:0,0,0",
            "`box:0,0,0` has 1 part after the word `box`; expected 2 parts",
        ),
        (
            "sphere:0,0,0:1:2",
            "`sphere:0,0,0:1:2` has 3 parts after the word `sphere`; expected 2 parts",
        ),
        (
            "box:0,0:1,1,1",
            "the first corner of the box is `0,0`; expected three numbers x,y,z in mm",
        ),
        (
            "box:0,0,0:1,NaN,1",
            "the second corner of the box is `1,NaN,1`; expected three numbers x,y,z in mm",
        ),
        (
            "box:0,0,0:1,1e400,1",
            "the second corner of the box is `1,1e400,1`; expected three numbers x,y,z in mm",
        ),
        (
            "sphere:0,0,0:inf",
            "the radius of the sphere is `inf`; expected a number of mm above zero",
        ),
        (
            "sphere:0,0,0:0",
            "the radius of the sphere is `0`; expected a number of mm above zero",
        ),
        (
            "cylinder:0,0,0:0,0,1:-2",
            "the radius of the cylinder is `-2`; expected a number of mm above zero",
        ),
        (
            "cylinder:0,0,1:0,0,1:2",
            "the second end of the cylinder is `0,0,1`; expected a point away from the first end",
        ),
        (
            "plane:0,0,1:0,-0,0",
            "the normal of the plane is `0,-0,0`; expected a direction, which is not all zero",
        ),
        (
            "patch:0,0,1:181",
            "the bend of the patch is `181`; expected degrees from 0 to 180",
        ),
        (
            "patch:0,0,1:-1",
            "the bend of the patch is `-1`; expected degrees from 0 to 180",
        ),
        (
            "group: ",
            "`group:` names no group: the name of a group or object in the file is missing behind the colon",
        ),
    ] {
        let error = text.parse::<Mask>().unwrap_err();
        assert_eq!(error.to_string(), said);
        assert_eq!(error.kind(), "mask");
        assert!(error.remedy().starts_with("write "), "{}", error.remedy());
    }
    for (text, is_meant) in [
        ("box:", true),
        ("box of nails", false),
        ("the foot: all", false),
    ] {
        assert_eq!(Mask::is_meant(text), is_meant, "{text}");
    }
}

/// Closed form: 4 walls of 20 x 5 mm and the bottom of 20 x 20.
#[test]
fn a_box_cuts_the_walls_of_a_cube() {
    let mut cube = cuboid([20.0; 3]);
    near(masked("box:-1,-1,-1:21,21,5", &mut cube), 800.0, 1e-12);
    near(of_class(Class::Masked, &cube), 800.0, 1e-12);
    near(of_class(Class::Wetted, &cube), 1600.0, 1e-12);
    assert!(
        cube.iter().all(|facet| facet.area_mm2() > 0.1),
        "no slivers"
    );
    let is_in_its_triangle = |facet: &Facet| {
        let whole = cuboid([20.0; 3])[facet.triangle as usize].corners;
        facet
            .corners
            .iter()
            .all(|corner| crate::mesh::near::point_to_triangle(*corner, whole).0 < 1e-9)
    };
    assert!(cube.iter().all(is_in_its_triangle));
}

/// The same through a survey: 2400 mm² of which 800 are masked.
#[test]
fn a_survey_tells_what_is_left_after_the_masks() {
    let cube = cuboid([20.0; 3])
        .iter()
        .map(|facet| facet.corners)
        .collect();
    let mut order = crate::mesh::Order::in_unit(crate::mesh::LengthUnit::Mm);
    order.masks = vec!["box:-1,-1,-1:21,21,5".parse().unwrap()];
    let told = crate::mesh::survey(&crate::mesh::Mesh::of(cube), &order, &Unwatched).unwrap();
    near(told.masked_area_mm2, 800.0, 1e-9);
    near(told.wetted_area_mm2, 1600.0, 1e-9);
    near(told.masks[0].area_mm2, 800.0, 1e-9);
}

/// Closed form: the plane itself belongs to the mask, so the bottom alone, or
/// the bottom and 4 walls of 20 x 5 mm.
#[test]
fn a_plane_takes_the_side_to_which_its_normal_points() {
    near(
        masked("plane:3,4,0:0,0,-2", &mut cuboid([20.0; 3])),
        400.0,
        1e-12,
    );
    near(
        masked("plane:3,4,5:0,0,-2", &mut cuboid([20.0; 3])),
        800.0,
        1e-12,
    );
    near(
        masked("plane:3,4,5:0,0,2", &mut cuboid([20.0; 3])),
        1600.0,
        1e-12,
    );
    // Aslant through the middle: half of everything.
    near(
        masked("plane:10,10,10:1,2,3", &mut cuboid([20.0; 3])),
        1200.0,
        1e-12,
    );
}

/// Faces that an STL rounded to single precision are still those of a mask
/// that was typed.
#[test]
fn a_border_that_was_typed_meets_a_face_that_was_rounded() {
    let rounded = f64::from(5.3_f32);
    assert!(rounded > 5.3);
    let mut cube = cuboid([20.0, 20.0, rounded]);
    near(masked("box:-1,-1,5.3:21,21,9", &mut cube), 400.0, 1e-9);
    let mut cube = cuboid([20.0, 20.0, rounded]);
    assert_eq!(cube.len(), 12);
    near(
        masked("box:-1,-1,-1:21,21,5.3", &mut cube),
        800.0 + 4.0 * 20.0 * rounded,
        1e-12,
    );
    assert_eq!(cube.len(), 12, "nothing was cut");
}

/// Closed form: a group's face of 20 x 30 mm, of 5200.
#[test]
fn a_group_takes_its_triangles() {
    let named = |name: &str, runs: Vec<Range<u32>>| Group {
        name: name.to_owned(),
        runs,
    };
    let groups = [
        named("body", vec![2..8, 9..12]),
        named("glue", vec![0..1, 1..2]),
    ];
    let mut print = cuboid([20.0, 30.0, 40.0]);
    let told = taken(&["group:glue", "group:glut"], &groups, &mut print);
    near(told[0].area_mm2, 600.0, 1e-12);
    near(of_class(Class::Wetted, &print), 4600.0, 1e-12);
    assert_eq!(told[0].warning(), None);
    let warning = told[1].warning().unwrap();
    assert!(
        warning.contains("no group `glut`; did you mean `glue`?"),
        "{warning}"
    );
    let unknown = told[1].mask.check_group(&groups).unwrap_err();
    assert_eq!(unknown.kind(), "unknown-group");
    assert_eq!(unknown.remedy(), "the file has: body, glue");
    assert_eq!(told[0].mask.check_group(&groups), Ok(()));
    // Triangle 8 is in no run, 11 in the second.
    let mut print = cuboid([20.0, 30.0, 40.0]);
    masked_group(&groups, &mut print);
    let wetted = print.iter().filter(|facet| facet.class == Class::Wetted);
    assert_eq!(
        wetted.map(|facet| facet.triangle).collect::<Vec<_>>(),
        [0, 1, 8]
    );
}

fn masked_group(groups: &[Group], print: &mut Vec<Facet>) {
    taken(&["group:body"], groups, print);
}

/// Closed forms: a ball of radius 5 mm whose middle is 3 mm over a plate cuts
/// a disc of radius 4 out of it; one about the corner of a cube takes a quarter
/// of a disc of each of three faces.
#[test]
fn a_sphere_takes_discs() {
    for at in ["10,10", "10,4.001", "4.3,12.7", "10,9.99"] {
        let mut plate = facets(quad(
            [0., 0., 0.],
            [20., 0., 0.],
            [20., 20., 0.],
            [0., 20., 0.],
        ));
        near(
            masked(&format!("sphere:{at},3:5"), &mut plate),
            PI * 16.0,
            1e-9,
        );
        near(of_class(Class::Wetted, &plate), 400.0 - PI * 16.0, 1e-9);
    }
    let mut cube = cuboid([20.0; 3]);
    near(masked("sphere:0,0,0:7", &mut cube), 0.75 * PI * 49.0, 1e-9);
    // One about the middle of the cube touches the faces or goes through all.
    let mut cube = cuboid([20.0; 3]);
    let all = 6.0 * PI * (12.0 * 12.0 - 10.0 * 10.0);
    near(masked("sphere:10,10,10:12", &mut cube), all, 1e-9);
    let mut cube = cuboid([20.0; 3]);
    assert!(masked("sphere:10,10,10:10", &mut cube) < 1e-9);
    assert_eq!(cube.len(), 12, "what is touched is not cut");
    let mut cube = cuboid([20.0; 3]);
    near(masked("sphere:10,10,10:17.4", &mut cube), 2400.0, 1e-12);
    assert_eq!(cube.len(), 12);
}

/// Closed forms: a cylinder through a plate takes a disc, aslant an ellipse
/// longer by 1 / cos; along the inside of a wall a strip.
#[test]
fn a_cylinder_takes_discs_ellipses_and_strips() {
    let plate = || cuboid([40.0, 40.0, 2.0]);
    near(
        masked("cylinder:20,20,-5:20,20,9:6", &mut plate()),
        2.0 * PI * 36.0,
        1e-9,
    );
    // Its end is within the plate: the upper face only.
    near(
        masked("cylinder:20,20,1:20,20,9:6", &mut plate()),
        PI * 36.0,
        1e-9,
    );
    // 30 degrees off the upright.
    let slope = 30.0_f64.to_radians();
    let end = format!(
        "{},20,{}",
        20.0 + 20.0 * slope.sin(),
        1.0 + 20.0 * slope.cos()
    );
    near(
        masked(&format!("cylinder:20,20,1:{end}:6"), &mut plate()),
        PI * 36.0 / slope.cos(),
        1e-9,
    );
    // Along y, 3 mm under the upper face, radius 5: a strip of width 8 and both
    // ends' circular segments, of which the plate has 2 mm.
    let mut plate = plate();
    let strip = masked("cylinder:20,-1,-1:20,41,-1:5", &mut plate);
    let chord = |height: f64| {
        let half = (25.0 - height * height).sqrt();
        half * height + 25.0 * (height / 5.0).asin()
    };
    let segment = chord(3.0) - chord(1.0);
    let lower = 2.0 * 24.0_f64.sqrt();
    near(strip, 40.0 * 8.0 + 40.0 * lower + 2.0 * segment, 1e-9);
    near(
        strip + of_class(Class::Wetted, &plate),
        2.0 * 1600.0 + 4.0 * 80.0,
        1e-12,
    );
}

/// A mask of a bore that is drawn with the bore's own radius takes the bore
/// and nothing thin beside it.
#[test]
fn a_cylinder_takes_the_side_of_a_prism_of_its_radius() {
    let mut print = prism(5.0, 8.0, 64);
    let wall = 64.0 * 2.0 * 5.0 * (PI / 64.0).sin() * 8.0;
    let lids = 64.0 * 25.0 * (2.0 * PI / 64.0).sin();
    near(
        masked("cylinder:0,0,0:0,0,8:5", &mut print),
        wall + lids,
        1e-12,
    );
    assert_eq!(print.len(), 256, "nothing was cut");
}

#[test]
fn a_patch_stops_at_sharp_edges() {
    let mut cube = cuboid([20.0; 3]);
    near(masked("patch:3,7,20:10", &mut cube), 400.0, 1e-12);
    let top = cube.iter().filter(|facet| facet.class == Class::Masked);
    assert_eq!(top.map(|facet| facet.triangle).collect::<Vec<_>>(), [2, 3]);
    near(
        masked("patch:3,7,20:89", &mut cuboid([20.0; 3])),
        400.0,
        1e-12,
    );
    near(
        masked("patch:3,7,20:90", &mut cuboid([20.0; 3])),
        2400.0,
        1e-12,
    );
    // The side of a prism of 64 bends by 5.625 degrees an edge.
    let wall = 64.0 * 2.0 * 5.0 * (PI / 64.0).sin() * 8.0;
    near(
        masked("patch:5,0,4:10", &mut prism(5.0, 8.0, 64)),
        wall,
        1e-12,
    );
    near(
        masked("patch:5,0.01,4:5", &mut prism(5.0, 8.0, 64)),
        wall / 64.0,
        1e-12,
    );
}

#[test]
fn a_patch_crosses_edges_that_lie_upon_each_other_in_part() {
    // One quad beside two of half its length; the middle corner is only theirs.
    let wide = quad([0., 0., 0.], [10., 0., 0.], [10., 10., 0.], [0., 10., 0.]);
    let half = quad([10., 0., 0.], [20., 0., 0.], [20., 5., 0.], [10., 5., 0.]);
    let rest = quad([10., 5., 0.], [20., 5., 0.], [20., 10., 0.], [10., 10., 0.]);
    let mut plate = facets([wide, half, rest].concat());
    near(masked("patch:1,1,0:1", &mut plate), 200.0, 1e-12);
    // Corner to corner is no way across.
    let apart = quad(
        [10., 10., 0.],
        [20., 10., 0.],
        [20., 20., 0.],
        [10., 20., 0.],
    );
    near(
        masked("patch:1,1,0:1", &mut facets([wide, apart].concat())),
        100.0,
        1e-12,
    );
}

#[test]
fn a_patch_goes_over_what_other_masks_took() {
    let mut cube = cuboid([20.0; 3]);
    let told = taken(&["box:8,-1,19:12,21,21", "patch:1,1,20:10"], &[], &mut cube);
    near(told[0].area_mm2, 4.0 * 20.0 + 2.0 * 4.0, 1e-12);
    near(told[1].area_mm2, 400.0 - 80.0, 1e-12);
}

#[test]
fn a_mask_beside_the_print_says_so() {
    let mut cube = cuboid([20.0; 3]);
    let told = taken(&["patch:10,10,24:10", "sphere:90,0,0:3"], &[], &mut cube);
    let warnings: Vec<String> = told.iter().filter_map(MaskTaken::warning).collect();
    assert_eq!(
        warnings,
        [
            "mask patch:10,10,24:10 takes nothing: the surface is 4.00 mm away from its point, more than 1.00 mm",
            "mask sphere:90,0,0:3 takes nothing: it touches nothing that the bath wets and no other took",
        ]
    );
    assert_eq!(cube, cuboid([20.0; 3]));
    // Of a large print a hundredth of its diagonal, 346.4 mm.
    let told = taken(&["patch:100,100,204:10"], &[], &mut cuboid([200.0; 3]));
    assert!(told[0].warning().unwrap().ends_with("more than 3.46 mm"));
}

#[test]
fn dry_and_hidden_facets_stay() {
    let mut cube = cuboid([20.0; 3]);
    cube[0].class = Class::Dry;
    cube[2].class = Class::Hidden;
    let told = taken(&["plane:0,0,0:0,0,1", "box:0,0,0:20,20,20"], &[], &mut cube);
    near(told[0].area_mm2, 2000.0, 1e-12);
    assert_eq!(told[1].area_mm2.to_bits(), 0.0_f64.to_bits());
    assert_eq!((cube[0].class, cube[2].class), (Class::Dry, Class::Hidden));
    // The patch of a face of which half is dry: the other half.
    let mut cube = cuboid([20.0; 3]);
    cube[2].class = Class::Dry;
    near(masked("patch:10,10,20:10", &mut cube), 200.0, 1e-12);
}

#[test]
fn masks_stop_when_asked_and_leave_all_as_it_was() {
    struct Impatient;
    impl Watch for Impatient {
        fn at(&self, _: &'static str, _: f64) {}
        fn stopped(&self) -> bool {
            true
        }
    }
    let mut cube = cuboid([20.0; 3]);
    let mask = "sphere:0,0,0:7".parse().unwrap();
    assert_eq!(apply(&[mask], &[], &mut cube, &Impatient), Err(Stopped));
    assert_eq!(cube, cuboid([20.0; 3]));
}

/// The area that a triangle and a ball share, by the divergence theorem: over
/// each side the signed triangles and sectors about the disc's middle.
fn shared_with_ball(corners: [Corner; 3], centre: Corner, radius: f64) -> f64 {
    let upright = unit(crate::mesh::space::normal(corners));
    let height = dot(less(centre, corners[0]), upright);
    let square = radius * radius - height * height;
    if square <= 0.0 {
        return 0.0;
    }
    let first = unit(less(corners[1], corners[0]));
    let second = cross(upright, first);
    let flat = corners.map(|corner| {
        let from = less(corner, centre);
        [dot(from, first), dot(from, second)]
    });
    let turn =
        |a: [f64; 2], b: [f64; 2]| (a[0] * b[1] - a[1] * b[0]).atan2(a[0] * b[0] + a[1] * b[1]);
    let side = |a: [f64; 2], b: [f64; 2]| {
        let along = [b[0] - a[0], b[1] - a[1]];
        let long = along[0].hypot(along[1]);
        let foot = -(a[0] * along[0] + a[1] * along[1]) / (long * long);
        let distance = (a[0] * along[1] - a[1] * along[0]).abs() / long;
        let half = (square - distance * distance).max(0.0).sqrt() / long;
        let at = |share: f64| [a[0] + share * along[0], a[1] + share * along[1]];
        let (from, to) = ((foot - half).clamp(0.0, 1.0), (foot + half).clamp(0.0, 1.0));
        let (enter, leave) = (at(from), at(to));
        let triangle = (enter[0] * leave[1] - enter[1] * leave[0]) / 2.0;
        triangle + square / 2.0 * (turn(a, enter) + turn(leave, b))
    };
    (0..3).map(|n| side(flat[n], flat[(n + 1) % 3])).sum()
}

fn corner(size: f64) -> impl Strategy<Value = Corner> {
    [-size..size, -size..size, -size..size]
}

fn triangle() -> impl Strategy<Value = [Corner; 3]> {
    [corner(10.0), corner(10.0), corner(10.0)].prop_filter("has an area", |corners| {
        crate::mesh::space::area(*corners) > 1e-3
    })
}

fn shape() -> impl Strategy<Value = Mask> {
    let apart = |a: Corner, b: Corner| length(less(a, b)) > 1e-3;
    prop_oneof![
        (corner(10.0), corner(1.0))
            .prop_filter("a direction", |(_, normal)| length(*normal) > 1e-3)
            .prop_map(|(point, normal)| Mask::Plane { point, normal }),
        (corner(12.0), corner(12.0)).prop_map(|(from, to)| Mask::Box { from, to }),
        (corner(12.0), 0.01..30.0).prop_map(|(middle, radius)| Mask::Sphere { middle, radius }),
        (corner(12.0), corner(12.0), 0.01..20.0)
            .prop_filter("a length", move |(from, to, _)| apart(*from, *to))
            .prop_map(|(from, to, radius)| Mask::Cylinder { from, to, radius }),
    ]
}

/// How far inside the mask a point is, in mm; negative outside.
fn depth(mask: &Mask, at: Corner) -> f64 {
    match mask {
        Mask::Plane { point, normal } => dot(less(at, *point), unit(*normal)),
        Mask::Box { from, to } => (0..3)
            .map(|n| (at[n] - from[n].min(to[n])).min(from[n].max(to[n]) - at[n]))
            .fold(f64::INFINITY, f64::min),
        Mask::Sphere { middle, radius } => radius - length(less(at, *middle)),
        Mask::Cylinder { from, to, radius } => {
            let axis = unit(less(*to, *from));
            let along = dot(less(at, *from), axis);
            let off = length(less(less(at, *from), times(axis, along)));
            let ends = along.min(length(less(*to, *from)) - along);
            ends.min(radius - off)
        }
        Mask::Patch { .. } | Mask::Group(_) => f64::NEG_INFINITY,
    }
}

/// Turned about an axis by an angle (Rodrigues' formula, from memory), then
/// moved.
fn turned(at: Corner, axis: Corner, angle: f64, moved: Corner) -> Corner {
    let axis = unit(axis);
    let (sine, cosine) = angle.sin_cos();
    let along = times(axis, dot(axis, at) * (1.0 - cosine));
    let turned = plus(plus(times(at, cosine), times(cross(axis, at), sine)), along);
    plus(turned, moved)
}

fn turned_mask(mask: &Mask, turn: impl Fn(Corner) -> Corner) -> Option<Mask> {
    Some(match *mask {
        Mask::Plane { point, normal } => Mask::Plane {
            point: turn(point),
            normal: less(turn(plus(point, normal)), turn(point)),
        },
        Mask::Sphere { middle, radius } => Mask::Sphere {
            middle: turn(middle),
            radius,
        },
        Mask::Cylinder { from, to, radius } => Mask::Cylinder {
            from: turn(from),
            to: turn(to),
            radius,
        },
        _ => return None,
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn nothing_is_lost_and_every_piece_is_on_its_side(
        whole in triangle(), masks in prop::collection::vec(shape(), 1..4),
    ) {
        let mut print = facets([whole]);
        let all = print[0].area_mm2();
        let told = apply(&masks, &[], &mut print, &Unwatched).unwrap();
        let taken: f64 = told.iter().map(|told| told.area_mm2).sum();
        let (masked, left) = (of_class(Class::Masked, &print), of_class(Class::Wetted, &print));
        prop_assert!((masked + left - all).abs() < 1e-9 * all, "{masked} + {left} of {all}");
        prop_assert!((masked - taken).abs() < 1e-9 * all);
        for piece in &print {
            let at = middle(piece.corners);
            let deepest = masks.iter().map(|mask| depth(mask, at)).fold(f64::NEG_INFINITY, f64::max);
            // Lines stand for arcs of 7.5 degrees at most: r (0.131)^2 / 24 beside them.
            let slack = 0.03;
            match piece.class {
                Class::Masked => prop_assert!(deepest > -slack, "{deepest}"),
                _ => prop_assert!(deepest < slack, "{deepest}"),
            }
        }
    }

    #[test]
    fn a_ball_takes_what_the_formula_says(
        shape in triangle(), at in corner(10.0), scale in -1.0..0.0_f64,
        centre in corner(12.0), radius in 0.01..40.0_f64, is_near: bool,
    ) {
        // Also small bits of a surface, near the border of a large ball.
        let whole = shape.map(|corner| plus(times(corner, 10.0_f64.powf(scale)), at));
        let centre = if is_near {
            plus(middle(whole), times(unit(centre), radius))
        } else {
            centre
        };
        let mut print = facets([whole]);
        let all = print[0].area_mm2();
        let mask = Mask::Sphere { middle: centre, radius };
        let told = apply(&[mask], &[], &mut print, &Unwatched).unwrap();
        let wanted = shared_with_ball(whole, centre, radius);
        prop_assert!((told[0].area_mm2 - wanted).abs() < 1e-5 * all, "{} is not {wanted} of {all}", told[0].area_mm2);
    }

    #[test]
    fn turning_everything_changes_nothing(
        whole in triangle(), mask in shape(), axis in corner(1.0), angle in 0.0..6.3, moved in corner(50.0),
    ) {
        prop_assume!(length(axis) > 1e-3);
        let turn = |at| turned(at, axis, angle, moved);
        let Some(other) = turned_mask(&mask, turn) else { return Ok(()) };
        let mut there = facets([whole.map(turn)]);
        let mut here = facets([whole]);
        let all = here[0].area_mm2();
        let here = apply(&[mask], &[], &mut here, &Unwatched).unwrap()[0].area_mm2;
        let there = apply(&[other], &[], &mut there, &Unwatched).unwrap()[0].area_mm2;
        prop_assert!((here - there).abs() < 5e-6 * all, "{here} {there} of {all}");
    }

    #[test]
    fn any_mask_reads_back(mask in shape()) {
        prop_assert_eq!(mask.to_string().parse::<Mask>(), Ok(mask));
    }

    #[test]
    fn any_text_is_read_or_refused_in_words(text in "(plane|box|sphere|cylinder|patch|group|x):[-0-9.,:eE ]{0,24}") {
        match text.parse::<Mask>() {
            Ok(mask) => prop_assert_eq!(mask.to_string().parse::<Mask>(), Ok(mask)),
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }
}

#[test]
fn each_mask_tells_which_facets_it_took() {
    let masks: Vec<Mask> = [
        "box:-1,-1,-1:5,21,21",
        "plane:0,0,15:0,0,1",
        "sphere:90,0,0:1",
    ]
    .map(|text| text.parse().unwrap())
    .to_vec();
    let mut print = cuboid([20.0; 3]);
    let taken = apply(&masks, &[], &mut print, &Unwatched).unwrap();
    for told in &taken {
        let of_it = (0..).zip(&print).filter(|(at, _)| told.has(*at));
        let area: f64 = of_it.clone().map(|(_, facet)| facet.area_mm2()).sum();
        assert!((area - told.area_mm2).abs() < 1e-6, "{}: {area}", told.mask);
        for (_, facet) in of_it {
            assert_eq!(facet.class, Class::Masked);
            let is_in = facet
                .corners
                .iter()
                .all(|at| depth(&told.mask, *at) > -1e-9);
            assert!(is_in, "{}: {facet:?}", told.mask);
        }
    }
    let owners = |at| taken.iter().filter(|told| told.has(at)).count();
    for (at, facet) in print.iter().enumerate() {
        assert_eq!(owners(at), usize::from(facet.class == Class::Masked));
    }
}
