//! `measure`, `survey` and what `add` takes from a print, by the real program.
//! Areas are closed forms of boxes, worked out beside each.

#![allow(dead_code, reason = "the support is shared")]

use crate::support::cli::{Shop, near};
use crate::support::prints::{self, Shape};
use crate::support::solids::Solid;
use serde_json::{Value, json};
use tankside::mesh;

const CUBE: [f64; 3] = [20.0; 3];

/// Several shapes in one file, as they are, one after the other.
fn together(shapes: &[Shape]) -> Vec<u8> {
    let mut whole = Shape {
        corners: Vec::new(),
        faces: Vec::new(),
    };
    for shape in shapes {
        let first = whole.corners.len();
        let shifted = shape
            .faces
            .iter()
            .map(|face| face.iter().map(|k| k + first).collect());
        whole.faces.extend(shifted.collect::<Vec<_>>());
        whole.corners.extend(&shape.corners);
    }
    prints::stl(&whole)
}

fn inward(shape: Shape) -> Shape {
    let turned = |mut face: Vec<usize>| {
        face.reverse();
        face
    };
    Shape {
        faces: shape.faces.into_iter().map(turned).collect(),
        ..shape
    }
}

/// A shop with prints: `cube` of 20 mm, `two` that overlap, `hollow` with a
/// sealed cavity.
fn shop() -> Shop {
    let s = Shop::with_project();
    let cube = |at| Shape::cuboid(at, CUBE);
    let write = |name: &str, bytes: Vec<u8>| std::fs::write(s.path(name), bytes).unwrap();
    write("cube.stl", prints::stl(&cube([0.0; 3])));
    write(
        "two.stl",
        together(&[cube([0.0; 3]), cube([10.0, 7.0, 5.0])]),
    );
    let outer = Shape::cuboid([0.0; 3], [30.0; 3]);
    let inner = inward(Shape::cuboid([5.0; 3], CUBE));
    write("hollow.stl", together(&[outer, inner]));
    s
}

fn kinds(measured: &Value) -> Vec<String> {
    let defects = measured["defects"].as_array().unwrap();
    defects
        .iter()
        .map(|d| d["what"].as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn every_key_of_the_form_stands_in_its_order() {
    let s = shop();
    let measured = s.ok("measure cube.stl --unit mm");
    let keys: Vec<&str> = measured
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .collect();
    let form = "triangles unit unit_source size_mm naive_area_mm2 wetted_area_mm2 wetted_pm_mm2 outside_area_mm2 \
                cavities masked_area_mm2 volume_mm3 envelope_volume_mm3 islands watertight defects tips recesses \
                seconds method";
    let found: Vec<&str> = keys
        .iter()
        .copied()
        .filter(|k| form.split(' ').any(|f| f == *k))
        .collect();
    assert_eq!(found, form.split(' ').collect::<Vec<_>>());
    assert_eq!(measured["unit_source"], "given");
    assert_eq!(measured["size_mm"], json!([20.0, 20.0, 20.0]));
    // 6 x 20 x 20 mm.
    near(&measured["wetted_area_mm2"], 2400.0, 1e-9);
    near(&measured["outside_area_mm2"], 2400.0, 1e-9);
    near(&measured["volume_mm3"], 8000.0, 1e-9);
    assert_eq!(measured["islands"], 1);
    assert_eq!(measured["watertight"], true);
    assert_eq!(measured["cavities"], json!([]));
    assert_eq!(kinds(&measured), [""; 0]);
    assert!(measured["seconds"].as_f64().unwrap() < 60.0);
    assert!(measured["method"].as_str().unwrap().contains("0.5 mm"));
    let both = s.ok("measure cube.stl two.stl --unit mm");
    assert_eq!(both["files"].as_array().map(Vec::len), Some(2));
    assert_eq!(both["files"][1]["file"], "two.stl");
}

#[test]
fn what_overlaps_or_is_shut_in_is_told_and_not_counted() {
    let s = shop();
    // Two cubes share 10 x 13 x 15 mm, whose surface, 950 mm2, is inside.
    let two = s.ok("measure two.stl --unit mm");
    near(&two["naive_area_mm2"], 4800.0, 1e-9);
    near(&two["wetted_area_mm2"], 3850.0, 1e-6);
    near(&two["hidden_area_mm2"], 950.0, 1e-6);
    assert!(
        kinds(&two).contains(&"overlapping_shells".to_owned()),
        "{two}"
    );
    let hollow = s.ok("measure hollow.stl --unit mm");
    near(&hollow["wetted_area_mm2"], 5400.0, 1e-6);
    near(&hollow["dry_area_mm2"], 2400.0, 1e-6);
    near(&hollow["volume_mm3"], 19_000.0, 1e-6);
    near(&hollow["envelope_volume_mm3"], 27_000.0, 1e-6);
    let cavity = &hollow["cavities"][0];
    assert_eq!(
        (&cavity["sealed"], &cavity["opening_mm"]),
        (&json!(true), &Value::Null)
    );
    assert!(
        kinds(&hollow).contains(&"sealed_cavity".to_owned()),
        "{hollow}"
    );
    for defect in two["defects"].as_array().unwrap() {
        assert!(
            defect["say"].as_str().unwrap().contains(" mm: "),
            "{defect}"
        );
    }
    let text = s.raw(&["measure".into(), "two.stl".into()]);
    for part in [
        "WETTED AREA   38.500 +- ",
        "cm2, all triangles: 25 % too much",
        "9.50 cm2 lie",
    ] {
        assert!(text.text.contains(part), "{part}: {}", text.text);
    }
    let text = s.raw(&["measure".into(), "hollow.stl".into()]).text;
    assert!(text.contains("lift it by 9.3 g"), "{text}");
    assert!(text.contains("taken as mm, assumed: no unit"), "{text}");
    assert!(text.contains("cm3, measured: no way in, at "), "{text}");
}

/// A box of 30 mm around a hollow of 20 mm, its wall pierced by a square hole.
fn pierced(hole: f64) -> Vec<u8> {
    let (from, to) = (15.0 - hole / 2.0, 15.0 + hole / 2.0);
    let planes = [0.0, 5.0, from, to, 25.0, 30.0];
    let in_hole = |at: f64| (from..to).contains(&at);
    let in_hollow = |at: f64| (5.0..25.0).contains(&at);
    let is_solid = |[x, y, z]: [f64; 3]| {
        let hollow = [x, y, z].into_iter().all(in_hollow);
        let hole = z > 25.0 && in_hole(x) && in_hole(y);
        !(hollow || hole)
    };
    Solid::lattice([&planes, &planes, &[0.0, 5.0, 25.0, 30.0]], is_solid).stl()
}

#[test]
fn a_hole_too_narrow_for_the_bath_is_told_with_its_width_and_what_follows() {
    let s = shop();
    std::fs::write(s.path("pin.stl"), pierced(0.3)).unwrap();
    let pin = s.ok("measure pin.stl --unit mm");
    let sealed: Vec<&Value> = (pin["defects"].as_array().unwrap().iter())
        .filter(|defect| defect["what"] == "sealed_cavity")
        .collect();
    assert_eq!(sealed.len(), 1, "{pin}");
    let said = sealed[0]["say"].as_str().unwrap();
    for part in [
        "no bubble passes (0.",
        " mm wide), at 15, 15, ",
        "acid may creep in",
        "seal the hole",
    ] {
        assert!(said.contains(part), "{part}: {said}");
    }
    let text = s.raw(&["measure".into(), "pin.stl".into()]).text;
    assert!(text.contains("taken as shut, its hole"), "{text}");
    assert!(!text.contains("a sealed cavity"), "{text}");
}

#[test]
fn the_parts_of_the_wetted_area_add_up_before_the_readers_eyes() {
    let s = shop();
    std::fs::write(s.path("drain.stl"), pierced(4.0)).unwrap();
    let mut words = vec!["measure", "drain.stl"];
    for mask in [
        "box:-1,-1,28:31,31,31",
        "box:-1,-1,-1:31,31,2",
        "sphere:99,99,99:1",
    ] {
        words.extend(["--mask", mask]);
    }
    let words: Vec<String> = words.into_iter().map(Into::into).collect();
    let text = s.raw(&words).text;
    let figure = |line: &str| -> Option<f64> {
        let figure = line.get(16..)?.split_whitespace().next()?;
        figure.parse().ok()
    };
    let of = |sign: &str| -> Vec<f64> {
        let lines = text.lines().filter(|line| line.starts_with(sign));
        lines.map(|line| figure(line).expect(line)).collect()
    };
    let (plus, less, is) = (of("  + "), of("  - masked"), of("  = "));
    assert_eq!((plus.len(), less.len(), is.len()), (2, 3, 1), "{text}");
    let sum = plus.iter().sum::<f64>() - less.iter().sum::<f64>();
    assert!((sum - is[0]).abs() < 0.0015, "{text}");
    for part in [
        "before masks",
        "sphere:99,99,99:1 takes nothing",
        "estimated, through an opening",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
}

/// Beside a cube a triangle or a corner that is far away.
#[test]
fn what_lies_far_off_is_told_with_its_place_or_refused() {
    let s = shop();
    let cube = Shape::cuboid([0.0; 3], CUBE);
    let far = |at: f64| {
        let mut shape = Shape::cuboid([0.0; 3], CUBE);
        shape.corners[0] = [-at, 0.0, 0.0];
        prints::stl(&shape)
    };
    std::fs::write(s.path("corner.stl"), far(9e8)).unwrap();
    assert_eq!(
        s.bad("measure corner.stl --unit mm")["kind"],
        "bad_coordinate"
    );
    // What single precision cannot hold beside it is doubted as a whole.
    std::fs::write(s.path("rough.stl"), far(9e7)).unwrap();
    let rough = s.ok("measure rough.stl --unit mm");
    let of = |key: &str| rough[key].as_f64().unwrap();
    let doubted = of("wetted_area_mm2") + of("wetted_pm_mm2");
    assert!(doubted >= 0.99 * of("naive_area_mm2"), "{rough}");
    let stray = Shape {
        corners: vec![[1e5, 0.0, 0.0], [1e5 + 1.0, 0.0, 0.0], [1e5, 1.0, 0.0]],
        faces: vec![vec![0, 1, 2]],
    };
    std::fs::write(s.path("stray.stl"), together(&[cube, stray])).unwrap();
    std::fs::write(s.path("spike.stl"), far(9e4)).unwrap();
    for (file, at) in [
        ("stray.stl", "100001, 0, 0 mm"),
        ("spike.stl", "-90000, 0, 0 mm"),
    ] {
        let told = s.ok(&format!("measure {file} --unit mm"));
        let told = (told["defects"].as_array().unwrap().iter())
            .find(|defect| defect["what"] == "unit_suspect")
            .unwrap();
        let said = told["say"].as_str().unwrap();
        assert!(
            said.contains("far away from the rest") && said.contains(at),
            "{said}"
        );
    }
}

#[cfg(unix)]
#[test]
fn a_file_that_is_not_to_be_had_is_told_why() {
    let s = shop();
    let link = |to: &str, name: &str| std::os::unix::fs::symlink(to, s.path(name)).unwrap();
    link("round.stl", "about.stl");
    link("about.stl", "round.stl");
    link("gone.stl", "dangling.stl");
    for (file, told) in [
        (
            "round.stl".to_owned(),
            "a link to about.stl that cannot be followed",
        ),
        (
            "dangling.stl".to_owned(),
            "a link to gone.stl, where nothing is",
        ),
        (
            format!("{}.stl", "a".repeat(300)),
            "longer than the system takes",
        ),
        ("cube.stl/x.stl".to_owned(), "leads through a file"),
        ("nowhere.stl".to_owned(), "there is no such file"),
    ] {
        let error = s.bad(&format!("measure {file}"));
        assert!(error["message"].as_str().unwrap().contains(told), "{error}");
    }
}

#[test]
fn masks_take_their_part_and_a_group_that_is_not_there_is_refused() {
    let s = shop();
    // All below z = 5: 20 x 20 and 4 x 20 x 5 mm.
    let masked = s.ok("measure cube.stl --unit mm --mask box:-1,-1,-1:21,21,5");
    near(&masked["masked_area_mm2"], 800.0, 1e-9);
    near(&masked["wetted_area_mm2"], 1600.0, 1e-9);
    let obj = prints::obj(&Shape::cuboid([0.0; 3], CUBE));
    let mut lines: Vec<&str> = obj.lines().collect();
    let first = lines.iter().position(|l| l.starts_with("f ")).unwrap();
    lines.insert(first + 1, "g rest");
    lines.insert(first, "g glue");
    std::fs::write(s.path("grouped.obj"), lines.join("\n")).unwrap();
    near(
        &s.ok("measure grouped.obj --unit mm --mask group:glue")["masked_area_mm2"],
        400.0,
        1e-9,
    );
    let error = s.bad("measure grouped.obj --unit mm --mask group:glu");
    let told = format!("{} {}", error["message"], error["remedy"]);
    assert!(told.contains("glue, rest"), "{told}");
    let error = s.bad("measure grouped.obj --unit mm --mask group:");
    let told = format!("{} {}", error["message"], error["remedy"]);
    assert!(
        told.contains("missing behind the colon") && told.contains("glue, rest"),
        "{told}"
    );
    for mask in [
        "ball:1,2,3:4",
        "sphere:1,2:4",
        "sphere:1,2,3",
        "plane:0,0,0:0,0,0",
    ] {
        let error = s.bad(&format!("measure cube.stl --unit mm --mask {mask}"));
        assert_eq!(error["kind"], "usage", "{mask}");
    }
}

#[test]
fn a_bubble_wants_its_unit() {
    let s = shop();
    let error = s.bad("measure cube.stl --bubble 0.5");
    assert_eq!(error["kind"], "usage");
    assert!(error["message"].as_str().unwrap().contains("mm"), "{error}");
    s.bad("measure cube.stl --bubble 0mm");
    s.bad("measure cube.stl --bubble=-1mm");
    let coarse = s.ok("measure cube.stl --unit mm --bubble 1.5mm");
    assert_eq!(coarse["bubble_mm"], 1.5);
}

#[test]
fn classes_are_written_face_by_face_and_never_over_the_print() {
    let s = shop();
    let measured = s.ok("measure cube.stl --unit mm --mask box:-1,-1,-1:21,21,5 --classes out.ply");
    let ply = std::fs::read(s.path("out.ply")).unwrap();
    let triangles: Vec<_> = mesh::read(&ply).unwrap().triangles().collect();
    let area = |[a, b, c]: [[f64; 3]; 3]| {
        let less = |p: [f64; 3], q: [f64; 3]| [p[0] - q[0], p[1] - q[1], p[2] - q[2]];
        let (u, v) = (less(b, a), less(c, a));
        let normal = [
            u[1] * v[2] - u[2] * v[1],
            u[2] * v[0] - u[0] * v[2],
            u[0] * v[1] - u[1] * v[0],
        ];
        normal.iter().map(|n| n * n).sum::<f64>().sqrt() / 2.0
    };
    // Each face is 1 + 12 + 1 + 3 + 4 bytes long, at the end of the file.
    let faces = &ply[ply.len() - 21 * triangles.len()..];
    let of_class = |class: u8| -> f64 {
        let faces = faces.chunks(21).zip(&triangles);
        faces
            .filter(|(face, _)| face[13] == class)
            .map(|(_, t)| area(*t))
            .sum()
    };
    near(&measured["wetted_area_mm2"], of_class(0), 1e-9);
    near(&measured["masked_area_mm2"], of_class(3), 1e-9);
    let before = std::fs::read(s.path("cube.stl")).unwrap();
    s.bad("measure cube.stl --classes cube.stl");
    s.bad("measure cube.stl two.stl --classes both.ply");
    s.bad("measure cube.stl --classes p/project.ron");
    assert_eq!(std::fs::read(s.path("cube.stl")).unwrap(), before);
    assert!(!s.path("both.ply").exists());
}

#[test]
fn a_piece_takes_its_area_from_the_survey_and_never_the_naive_sum() {
    let s = shop();
    let added = s.ok("add p block --mesh two.stl --unit mm");
    near(&added["wetted_area_dm2"], 0.385, 1e-6);
    // 38.5 cm2 x 2 x 0.5 % / sqrt 3, twice.
    near(
        &added["area_pm_dm2"],
        0.385 * 4.0 * 0.005 / 3.0_f64.sqrt(),
        0.02,
    );
    let method = added["area_method"].as_str().unwrap();
    assert!(method.starts_with("wetted area of the print"), "{method}");
    assert!(
        added["warnings"].to_string().contains("shells overlap"),
        "{added}"
    );
    let text = std::fs::read_to_string(s.path("p/project.ron")).unwrap();
    assert!(!text.contains("naive"), "{text}");
}

#[test]
fn masks_are_kept_by_name_and_taken_off_the_wetted_area() {
    let s = shop();
    let masks = "--mask box:-1,-1,-1:21,21,5 --mask plane:0,0,15:0,0,1";
    let added = s.ok(&format!("add p block --mesh cube.stl --unit mm {masks}"));
    near(&added["masks"][0]["takes_dm2"], 0.08, 1e-6);
    near(&added["masks"][1]["takes_dm2"], 0.08, 1e-6);
    near(&added["wetted_area_dm2"], 0.08, 1e-6);
    near(
        &s.ok("status p")["pieces"][0]["wetted_area_dm2"],
        0.08,
        1e-6,
    );
    // Another shape counts when it is surveyed anew.
    let set = s.ok("set p pieces.block.masks.mask2.shape plane:0,0,10:0,0,1");
    assert!(
        set["warnings"].to_string().contains("tankside survey"),
        "{set}"
    );
    let told = s.ok("survey p block");
    near(&told["pieces"][0]["wetted_area_dm2"], 0.04, 1e-6);
    near(&told["pieces"][0]["was"]["wetted_area_dm2"], 0.08, 1e-6);
    assert_eq!(told["pieces"][0]["changed"], true);
    assert_eq!(s.ok("survey p")["pieces"][0]["changed"], false);
}

#[test]
fn a_file_that_was_replaced_is_surveyed_anew_and_comments_stay() {
    let s = shop();
    s.ok("add p block --mesh cube.stl --unit mm");
    s.ok("add p lid --area 1dm2");
    let file = s.path("p/project.ron");
    let text = std::fs::read_to_string(&file).unwrap();
    let noted = text.replace("name: \"block\",", "name: \"block\", // the block");
    std::fs::write(&file, noted).unwrap();
    std::fs::write(
        s.path("p/meshes/block.stl"),
        prints::stl(&Shape::cuboid([0.0; 3], [10.0; 3])),
    )
    .unwrap();
    let history = s.run("history p");
    assert!(history.err.contains("`tankside survey`"), "{}", history.err);
    let told = s.ok("survey p");
    assert_eq!(told["pieces"].as_array().map(Vec::len), Some(1));
    near(&told["pieces"][0]["wetted_area_dm2"], 0.06, 1e-6);
    assert!(
        std::fs::read_to_string(&file)
            .unwrap()
            .contains("// the block")
    );
    assert_eq!(s.run("history p").err, "");
    assert_eq!(s.bad("survey p lid")["kind"], "no-mesh");
    assert_eq!(s.bad("survey p nobody")["kind"], "unknown-piece");
    std::fs::remove_file(s.path("p/meshes/block.stl")).unwrap();
    s.bad("survey p");
}

#[test]
fn the_bubble_of_the_project_is_that_of_its_prints() {
    let s = shop();
    let method = |told: &Value| told["area_method"].as_str().unwrap().to_owned();
    let usual = s.ok("add p block --mesh cube.stl --unit mm");
    assert!(method(&usual).contains("under 0.5 mm shut"), "{usual}");
    s.ok("set p bubble 2mm");
    let told = s.ok("survey p");
    assert!(
        method(&told["pieces"][0]).contains("under 2 mm shut"),
        "{told}"
    );
    let added = s.ok("add p other --mesh cube.stl --unit mm");
    assert!(method(&added).contains("under 2 mm shut"), "{added}");
    assert_eq!(s.bad("set p bubble 0mm")["kind"], "definition");
}

#[test]
fn the_texture_of_layers_comes_with_its_reason() {
    let s = shop();
    let added = s.ok("add p block --mesh cube.stl --unit mm --printed fdm:0.2mm");
    // An arc over its chord, a quarter of the chord high.
    let half = 2.0 * 0.5_f64.atan();
    near(&added["roughness"], half / half.sin(), 1e-2);
    near(&added["plating_area_dm2"], 0.24 * 1.16, 1e-6);
    let because = added["roughness_because"].as_str().unwrap();
    assert!(
        because.contains("0.05 mm deep") && because.contains("no source"),
        "{because}"
    );
    assert_eq!(s.ok("set p pieces.block.roughness smoothed")["value"], "1");
    s.ok("set p pieces.block.roughness 1.3");
    let text = std::fs::read_to_string(s.path("p/project.ron")).unwrap();
    assert!(text.contains("roughness_because: \"given\""), "{text}");
    assert_eq!(
        s.bad("set p pieces.block.roughness 99")["kind"],
        "definition"
    );
    let own = s.ok("add p lid --area 1dm2 --printed sls --roughness 1.1");
    assert_eq!(own["roughness"], 1.1);
    assert!(
        own["roughness_because"]
            .as_str()
            .unwrap()
            .contains("in place of 1.23")
    );
    s.bad("add p rim --area 1dm2 --printed fdm:0.2");
    // Without a word of it the print is as smooth as its mesh.
    assert_eq!(s.ok("add p rim --area 1dm2")["roughness"], 1.0);
}

#[test]
fn a_size_that_is_no_prints_is_a_defect_where_the_unit_was_told() {
    let s = shop();
    let measured = s.ok("measure cube.stl --unit m");
    assert_eq!(kinds(&measured)[0], "unit_suspect");
    let added = s.ok("add p block --mesh cube.stl --unit m");
    assert!(
        added["warnings"].to_string().contains("taken as told"),
        "{added}"
    );
}
