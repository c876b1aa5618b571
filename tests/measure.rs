//! `measure`, `survey` and what `add` takes from a print, by the real program.
//! Areas are closed forms of boxes, worked out beside each.

#![allow(dead_code, reason = "the support is shared")]

use crate::support::cli::{Shop, near};
use crate::support::prints::{self, Shape};
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
        "48.00 cm2 is 25 % too much",
        "9.50 cm2 lie inside the solid",
    ] {
        assert!(text.text.contains(part), "{part}: {}", text.text);
    }
    let text = s.raw(&["measure".into(), "hollow.stl".into()]).text;
    assert!(text.contains("lift it by 9.3 g"), "{text}");
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
