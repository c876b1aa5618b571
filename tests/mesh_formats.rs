//! OBJ, PLY and 3MF beside STL: the same thing measures the same in each, and
//! what is wrong in a file is refused with its place.

use tankside::mesh::{self, LengthUnit, Measure, Mesh, MeshError, Remark};

use crate::support::prints::{self, Ply, Shape, mesh_xml, model_xml, obj_corners, threemf, zip};

fn measured(bytes: &[u8]) -> Measure {
    let mesh = mesh::read(bytes).unwrap_or_else(|error| panic!("{error}"));
    mesh::measure(&mesh, mesh.unit.unwrap_or(LengthUnit::Mm))
}

fn refused(bytes: impl AsRef<[u8]>) -> MeshError {
    let error = mesh::read(bytes.as_ref()).unwrap_err();
    let (said, remedy) = (error.to_string(), error.remedy());
    assert!(
        said.len() < 250 && !said.contains(char::is_control),
        "{said}"
    );
    assert!(!remedy.is_empty());
    error
}

fn near(found: f64, expected: f64) {
    let off = (found - expected).abs();
    assert!(off <= 1e-9 * expected.abs(), "{found}, expected {expected}");
}

fn measures(bytes: &[u8], triangles: usize, size: [f64; 3], area: f64, volume: f64) {
    let measure = measured(bytes);
    assert_eq!(measure.triangles, triangles);
    for (found, expected) in measure.size_mm.into_iter().zip(size) {
        near(found, expected);
    }
    near(measure.naive_area_mm2, area);
    near(measure.volume_mm3, volume);
    assert!(mesh::is_closed(&mesh::read(bytes).unwrap()));
}

fn is_brick(bytes: impl AsRef<[u8]>) {
    measures(bytes.as_ref(), 12, [20.0, 30.0, 40.0], 5200.0, 24_000.0);
}

/// Six times the volume with its sign: positive if turned outwards.
fn signed_volume(mesh: &Mesh) -> f64 {
    let of = |[[ax, ay, az], [bx, by, bz], [cx, cy, cz]]: [[f64; 3]; 3]| {
        ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
    };
    mesh.triangles().map(of).sum()
}

#[test]
fn the_same_box_measures_the_same_in_every_format() {
    let brick = Shape::brick();
    is_brick(prints::stl(&brick));
    is_brick(prints::stl_ascii(&brick, "part"));
    is_brick(prints::obj(&brick));
    for form in Ply::ALL {
        is_brick(prints::ply(&brick, form));
    }
    is_brick(prints::threemf_of(&brick, "millimeter"));
}

#[test]
fn bent_faces_are_not_cut_across_the_outside() {
    // A fan from the first corner gives 1500 or 1600.
    let bent = Shape::bent();
    let size = [20.0, 20.0, 10.0];
    measures(prints::obj(&bent).as_bytes(), 20, size, 1400.0, 3000.0);
    for form in Ply::ALL {
        measures(&prints::ply(&bent, form), 20, size, 1400.0, 3000.0);
    }
}

#[test]
fn digits_beyond_single_precision_are_kept() {
    // 16777217 = 2^24 + 1 is the first whole number that single precision
    // lacks.
    let far = Shape::cuboid([16_777_217.0, 0.0, 0.0], [20.0, 30.0, 40.0]);
    is_brick(prints::obj(&far));
    is_brick(prints::ply(&far, Ply::Ascii));
    is_brick(prints::ply(&far, Ply::Big));
    is_brick(prints::threemf_of(&far, "millimeter"));
}

#[test]
fn an_obj_is_read_however_it_is_written() {
    let corners = obj_corners(&Shape::brick());
    let faces = "f 1 3 4 2\nf 5 6 8 7\nf 1 2 6 5\nf 3 7 8 4\nf 1 5 7 3\nf 2 4 8 6\n";
    let plain = format!("{corners}{faces}");
    is_brick(&plain);
    is_brick(plain.replace('\n', "\r\n"));
    is_brick(plain.replace('\n', "\r"));
    is_brick(format!(
        "\u{feff}# made in a modeller\nmtllib none.mtl\n\n{plain}"
    ));
    is_brick(
        plain
            .replace("f 1 3", "f 1 \\\n 3")
            .replace("8 6", "8\\\n6"),
    );
    is_brick(plain.replace("f 5 6 8 7", "usemtl x # y\ns off\n  f  5\t6 8 7  # a face"));
    is_brick(format!(
        "{corners}vt 0 0\nvn 0 0 1\nf 1/1/1 3/1/1 4/1/1 2/1/1\nf 5//1 6//1 8//1 7//1\n\
         f 1/1 2/1 6/1 5/1\nf 3 7 8 4\nf 1 5 7 3\nf 2 4 8 6\n"
    ));
    is_brick(format!(
        "{corners}f -8 -6 -5 -7\nf -4 -3 -1 -2\nf -8 -7 -3 -4\nf -6 -2 -1 -5\nf -8 -4 -2 -6\n\
         f -7 -5 -1 -3\n"
    ));
    // A weight and a colour behind the coordinates.
    is_brick(plain.replacen("v 0 0 0\n", "v 0 0 0 1.0\n", 1));
    is_brick(plain.replacen("v 0 0 0\n", "v 0 0 0 0.9 0.8 0.7\n", 1));
    let thin = format!("{plain}l 1 2\nf 1 2\nf 3\n");
    is_brick(&thin);
    let remarks = mesh::read(thin.as_bytes()).unwrap().remarks;
    assert!(
        matches!(remarks[..], [Remark::Skipped { count: 2, .. }]),
        "{remarks:?}"
    );
}

#[test]
fn an_obj_says_the_line_of_what_is_wrong() {
    let corners = obj_corners(&Shape::brick());
    for (more, kind) in [
        ("f 0 1 2\n", "bad_index"),
        ("f 1 2 9\n", "bad_index"),
        ("f 1 2 -9\n", "bad_index"),
        ("f 1 2 99999999999\n", "bad_index"),
        ("f 1 2 -9223372036854775808\n", "bad_index"),
        ("f 1 2 x\n", "parse"),
        ("f 1 2 /3\n", "parse"),
        ("f 1 2 3.5\n", "parse"),
        ("v 1 2\nf 1 2 3\n", "parse"),
        ("v 1 2 zwei\nf 1 2 3\n", "parse"),
        ("v 1,5 2,5 3,5\nf 1 2 3\n", "parse"),
        ("v 1 2 nan\nf 1 2 3\n", "bad_coordinate"),
        ("v 1 inf 2\nf 1 2 3\n", "bad_coordinate"),
        ("v 1e99 2 3\nf 1 2 3\n", "bad_coordinate"),
    ] {
        let error = refused(format!("{corners}{more}"));
        assert_eq!(
            (error.kind(), error.line()),
            (kind, Some(9)),
            "{more}{error}"
        );
    }
    assert_eq!(refused(&corners).kind(), "no_triangles");
    assert_eq!(refused("v 1 2 3\nf 1 1 2").kind(), "bad_index");
    let column = |more: &str| {
        let spot = refused(format!("{corners}{more}")).spot();
        spot.map(|spot| (spot.line, spot.column))
    };
    assert_eq!(column("f 1 2 x\n"), Some((9, 7)));
    assert_eq!(column("f 1 \\\n  22 3\n"), Some((10, 3)));
    assert_eq!(column("f 1 99\\\n3\n"), Some((9, 5)));
    assert_eq!(column("v 1  nan 2\r\n"), Some((9, 6)));
    assert_eq!(column("v 1 2\n"), Some((9, 6)));
    let comma = refused("v 0,5 0 0\nv 1 0 0\n");
    assert_eq!(
        comma.to_string().split(':').next(),
        Some("line 1, column 3")
    );
    assert!(comma.remedy().contains("decimal point"), "{comma}");
}

#[test]
fn groups_keep_their_names_and_triangles() {
    let runs = |bytes: &[u8]| -> Vec<(String, Vec<(u32, u32)>)> {
        let mesh = mesh::read(bytes).unwrap();
        let pairs = |group: &mesh::Group| group.runs.iter().map(|r| (r.start, r.end)).collect();
        let groups = mesh.groups().iter();
        groups
            .map(|group| (group.name.clone(), pairs(group)))
            .collect()
    };
    let named = |name: &str, runs: &[(u32, u32)]| (name.to_owned(), runs.to_vec());
    let corners = obj_corners(&Shape::brick());
    let text = format!(
        "{corners}f 1 2 3\no the lamp\ng foot glue\nf 1 2 3 4\ng foot\nf 2 3 4\nf 2 3 4\ng\n\
         f 5 6 7\ng glue\nf 5 6 7\n"
    );
    assert_eq!(
        runs(text.as_bytes()),
        [
            named("the lamp", &[(1, 7)]),
            named("foot", &[(1, 5)]),
            named("glue", &[(1, 3), (6, 7)]),
        ]
    );
    let brick = Shape::brick();
    let two = prints::stl_ascii(&brick, "foot") + &prints::stl_ascii(&brick, " top \u{7}part ");
    assert_eq!(
        runs(two.as_bytes()),
        [named("foot", &[(0, 12)]), named("top part", &[(12, 24)])]
    );
    let objects = format!(
        "<object id=\"1\" name=\"a &amp; b\">{}</object><object id=\"2\" name=\"pair\">\
         <components><component objectid=\"1\"/><component objectid=\"1\"/></components></object>",
        mesh_xml(&brick)
    );
    let items = "<item objectid=\"1\"/><item objectid=\"2\"/>";
    assert_eq!(
        runs(&threemf(&model_xml("", &objects, items), &[])),
        [named("a & b", &[(0, 36)]), named("pair", &[(12, 36)])]
    );
}

#[test]
fn a_ply_may_have_its_elements_in_any_order() {
    let corners = "0 0 0\n20 0 0\n0 30 0\n0 0 40\n";
    let faces = "3 0 2 1\n3 0 1 3\n3 0 3 2\n3 1 2 3\n";
    let vertex = "element vertex 4\nproperty float x\nproperty float y\nproperty float z\n";
    let face = "element face 4\nproperty list int8 uint16 vertex_index\n";
    let format = "ply\nformat ascii 1.0\n";
    let usual = format!("{format}{vertex}{face}end_header\n{corners}{faces}");
    let other = format!("{format}{face}obj_info x\n{vertex}end_header\n{faces}{corners}");
    let strips = format!(
        "{format}{vertex}element tristrips 1\nproperty list int int vertex_indices\nend_header\n\
         {corners}9 0 2 1 3 -1 3 2 0 0\n"
    );
    for text in [
        &usual,
        &other,
        &usual.replace('\n', "\r\n"),
        &usual.replace('\n', "\r"),
    ] {
        // A corner of a box: (600 + 400 + 300)... the slope is half the cross
        // product of (-20, 30, 0) and (-20, 0, 40): (1200, 800, 600).
        let slope = (1200.0_f64.powi(2) + 800.0_f64.powi(2) + 600.0_f64.powi(2)).sqrt() / 2.0;
        measures(
            text.as_bytes(),
            4,
            [20.0, 30.0, 40.0],
            1300.0 + slope,
            4000.0,
        );
    }
    let strips = mesh::read(strips.as_bytes()).unwrap();
    let turned: Vec<_> = strips.triangles().collect();
    let [o, x, y, z] = [[0.; 3], [20., 0., 0.], [0., 30., 0.], [0., 0., 40.]];
    assert_eq!(turned, [[o, y, x], [x, y, z], [z, y, o]]);
}

#[test]
fn a_ply_says_the_line_of_what_is_wrong_in_its_header() {
    let whole = String::from_utf8(prints::ply(&Shape::brick(), Ply::Ascii)).unwrap();
    for (find, replace, line, kind) in [
        ("ascii 1.0", "ascii 2.0", 2, "bad_header"),
        ("ascii 1.0", "morse 1.0", 2, "bad_header"),
        ("float angle", "long angle", 5, "bad_header"),
        ("element vertex 8", "element vertex -8", 7, "bad_header"),
        ("element vertex 8", "elements vertex 8", 7, "bad_header"),
        ("element camera 1\n", "", 4, "bad_header"),
        ("format ascii 1.0\n", "", 14, "bad_header"),
        ("0 200 0 0 ", "0 200 0 x ", 17, "parse"),
        ("0 200 0 0 ", "0 200 0 nan ", 17, "bad_coordinate"),
        ("1 0.25 4 0 2 3 1", "1 0.25 4 0 2 3 8", 25, "bad_index"),
        ("1 0.25 4 0 2 3 1", "1 0.25 4 0 2 3 -1", 25, "bad_index"),
        ("1 0.25 4 0 2 3 1", "1 0.25 4 0 2 3 1.5", 25, "bad_index"),
        ("1 0.25 4 0 2 3 1", "1 0.25 -4 0 2 3 1", 25, "parse"),
        ("1 0.25 4 0 2 3 1", "1 0.25 900 0 2 3 1", 25, "truncated"),
    ] {
        assert!(whole.contains(find), "{find}");
        let error = refused(whole.replacen(find, replace, 1));
        assert_eq!(
            (error.kind(), error.line()),
            (kind, Some(line)),
            "{replace}: {error}"
        );
    }
    let flat = whole.replace("double z", "double depth");
    assert_eq!(refused(flat).kind(), "not_a_mesh");
}

#[test]
fn counts_of_a_ply_that_lie_are_refused_before_they_are_believed() {
    for form in Ply::ALL {
        let whole = prints::ply(&Shape::brick(), form);
        let with = |find: &str, replace: &str| {
            let at = whole
                .windows(find.len())
                .position(|w| w == find.as_bytes())
                .unwrap();
            [&whole[..at], replace.as_bytes(), &whole[at + find.len()..]].concat()
        };
        for huge in [
            "vertex 4000000000",
            "vertex 18446744073709551615",
            "vertex 100000",
        ] {
            assert_eq!(refused(with("vertex 8", huge)).kind(), "truncated");
        }
        assert_eq!(refused(with("face 6", "face 7")).kind(), "truncated");
        assert_eq!(
            refused(with("camera 1", "camera 4000000000")).kind(),
            "truncated"
        );
        let more = refused(with("face 6", "face 5"));
        assert_eq!(more.kind(), "count_mismatch", "{more}");
        assert!(more.to_string().contains("announces 5"), "{more}");
        assert_eq!(refused(with("face 6", "face 0")).kind(), "count_mismatch");
        let trailing = [&whole[..], &[0; 37]].concat();
        if !matches!(form, Ply::Ascii) {
            is_brick(&trailing);
            let remarks = mesh::read(&trailing).unwrap().remarks;
            assert_eq!(remarks, [Remark::TrailingBytes(37)]);
        }
    }
}

#[test]
fn every_unit_of_a_3mf_is_its_own() {
    let small = Shape::cuboid([0.0; 3], [2.0, 1.0, 0.5]);
    // Millimetres in each unit of the 3MF core specification.
    for (unit, mm) in [
        ("micron", 0.001),
        ("millimeter", 1.0),
        ("centimeter", 10.0),
        ("inch", 25.4),
        ("foot", 304.8),
        ("meter", 1000.0),
    ] {
        let file = prints::threemf_of(&small, unit);
        let size = [2.0 * mm, mm, 0.5 * mm];
        measures(&file, 12, size, 7.0 * mm * mm, mm * mm * mm);
        let unit = mesh::read(&file).unwrap().unit.unwrap();
        assert_eq!(unit.symbol().parse::<LengthUnit>(), Ok(unit));
    }
    assert_eq!(refused(prints::threemf_of(&small, "cubit")).kind(), "parse");
    let object = format!("<object id=\"1\">{}</object>", mesh_xml(&small));
    let none = threemf(&model_xml("", &object, "<item objectid=\"1\"/>"), &[]);
    assert_eq!(mesh::read(&none).unwrap().unit, Some(LengthUnit::Mm));
}

fn object(id: &str, inner: &str) -> String {
    format!("<object id=\"{id}\">{inner}</object>")
}

fn components(uses: &str) -> String {
    format!("<components>{uses}</components>")
}

#[test]
fn components_are_turned_scaled_and_moved_as_the_build_says() {
    let small = mesh_xml(&Shape::cuboid([0.0; 3], [10.0, 20.0, 30.0]));
    let three = components(
        "<component objectid=\"1\"/><component objectid=\"1\" transform=\"0 1 0 -1 0 0 0 0 1 60 0 0\"/>\
         <component objectid=\"1\" transform=\"2 0 0 0 2 0 0 0 2 100 0 0\"/>",
    );
    let objects = object("1", &small) + &object("2", &three);
    let item = "<item objectid=\"2\" transform=\"1 0 0 0 1 0 0 0 1 0 0 5\"/>";
    let file = threemf(&model_xml("", &objects, item), &[]);
    // 2200 mm², 6000 mm³: plain, turned (it spans x 40 to 60, y 0 to 10), and
    // twice as large.
    measures(&file, 36, [120.0, 40.0, 60.0], 13_200.0, 60_000.0);
    let mesh = mesh::read(&file).unwrap();
    let turned: Vec<_> = mesh.triangles().skip(12).take(12).flatten().collect();
    let range = |axis: usize| {
        let numbers = turned.iter().map(|corner| corner[axis]);
        (
            numbers.clone().fold(f64::MAX, f64::min),
            numbers.fold(f64::MIN, f64::max),
        )
    };
    assert_eq!(
        [range(0), range(1), range(2)],
        [(40., 60.), (0., 10.), (5., 35.)]
    );
}

#[test]
fn transforms_within_transforms_work_from_the_inside_out() {
    // Moved by 100, then scaled by 2: 200. The other way round it would be 100.
    let objects = object("1", &mesh_xml(&Shape::brick()))
        + &object(
            "2",
            &components("<component objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 1 100 0 0\"/>"),
        );
    let item = "<item objectid=\"2\" transform=\"2 0 0 0 2 0 0 0 2 0 0 0\"/>";
    let file = threemf(&model_xml("", &objects, item), &[]);
    let mesh = mesh::read(&file).unwrap();
    let lowest = mesh
        .triangles()
        .flatten()
        .map(|c| c[0])
        .fold(f64::MAX, f64::min);
    near(lowest, 200.0);
}

#[test]
fn a_mirrored_copy_stays_turned_outwards() {
    let objects = object("1", &mesh_xml(&Shape::brick()));
    for (transform, volume) in [
        ("-1 0 0 0 1 0 0 0 1 0 0 0", 24_000.0),
        ("0 1 0 1 0 0 0 0 2 7 7 7", 48_000.0),
    ] {
        let item = format!("<item objectid=\"1\" transform=\"{transform}\"/>");
        let file = threemf(&model_xml("", &objects, &item), &[]);
        let mesh = mesh::read(&file).unwrap();
        near(signed_volume(&mesh) / 6.0, volume);
    }
}

#[test]
fn only_what_is_built_and_stays_on_the_print_counts() {
    let brick = mesh_xml(&Shape::brick());
    let of_kind =
        |id: &str, kind: &str| format!("<object id=\"{id}\" type=\"{kind}\">{brick}</object>");
    let objects = of_kind("1", "model")
        + &of_kind("2", "support")
        + &of_kind("3", "other")
        + &of_kind("4", "model");
    let items =
        "<item objectid=\"1\" printable=\"0\"/><item objectid=\"2\"/><item objectid=\"3\"/>";
    let file = threemf(&model_xml("", &objects, items), &[]);
    is_brick(&file);
    let remarks = mesh::read(&file).unwrap().remarks;
    assert!(
        matches!(remarks[..], [Remark::Skipped { count: 2, .. }]),
        "{remarks:?}"
    );
    let none = threemf(&model_xml("", &objects, "<item objectid=\"2\"/>"), &[]);
    assert_eq!(refused(none).kind(), "no_triangles");
}

#[test]
fn what_belongs_to_an_extension_is_passed_over() {
    let brick = mesh_xml(&Shape::brick());
    let slices = "<s:stack><s:vertices><s:vertex x=\"9\" y=\"9\"/></s:vertices></s:stack>\
                  <stack xmlns=\"http://else\"><object><vertex x=\"nan\"/></object></stack>";
    let attributes = "xmlns:s=\"http://schemas.microsoft.com/3dmanufacturing/slice/2015/07\" \
                      xmlns:b=\"http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02\"";
    let objects =
        format!("{slices}<metadata name=\"x\">&lt;vertex/></metadata>") + &object("1", &brick);
    let item = "<item objectid=\"1\"/>";
    is_brick(threemf(&model_xml(attributes, &objects, item), &[]));
    let slice = format!("{attributes} requiredextensions=\"s\"");
    is_brick(threemf(&model_xml(&slice, &objects, item), &[]));
    let beams = format!("{attributes} requiredextensions=\"s b\"");
    assert_eq!(
        refused(threemf(&model_xml(&beams, &objects, item), &[])).kind(),
        "unsupported"
    );
    // The core under a prefix.
    let prefixed = model_xml("", &object("1", &brick), item)
        .replace("xmlns=", "xmlns:m=")
        .replace("</", "</m:")
        .replace('<', "<m:")
        .replace("<m:/m:", "</m:")
        .replace("<m:?", "<?");
    is_brick(threemf(&prefixed, &[]));
}

#[test]
fn objects_may_lie_in_other_parts() {
    let path = "xmlns:p=\"http://schemas.microsoft.com/3dmanufacturing/production/2015/06\"";
    let part = model_xml(
        "",
        &object("7", &mesh_xml(&Shape::brick())),
        "<item objectid=\"7\"/>",
    );
    let root = |target: &str| {
        let uses = format!("<component objectid=\"7\" p:path=\"{target}\"/>");
        model_xml(
            path,
            &object("1", &components(&uses)),
            "<item objectid=\"1\"/>",
        )
    };
    let other: (&str, &[u8]) = ("3D/Objects/a b.model", part.as_bytes());
    is_brick(threemf(&root("/3D/Objects/a%20b.model"), &[other]));
    is_brick(threemf(&root("/3d/objects/A B.model"), &[other]));
    for (target, kind) in [
        ("/3D/none.model", "missing_part"),
        ("/../3D/Objects/a b.model", "unsafe_path"),
        ("..\\3D\\a.model", "unsafe_path"),
        ("/3D/%2e%2e/%2e%2e/etc/passwd", "unsafe_path"),
        ("file:///etc/passwd", "unsafe_path"),
    ] {
        let error = refused(threemf(&root(target), &[other]));
        assert_eq!(error.kind(), kind, "{target}: {error}");
    }
}

#[test]
fn what_a_3mf_lacks_or_repeats_is_named() {
    let brick = mesh_xml(&Shape::brick());
    let one = object("1", &brick);
    let cycle = object("1", &components("<component objectid=\"2\"/>"))
        + &object("2", &components("<component objectid=\"1\"/>"));
    // Each object twice in the next: 2^40 copies of nothing.
    let doubled: String = (1..40)
        .map(|k| {
            object(
                &k.to_string(),
                &components(&format!(
                    "<component objectid=\"{0}\"/><component objectid=\"{0}\"/>",
                    k - 1
                )),
            )
        })
        .collect();
    let many = object("0", &brick) + &doubled;
    let chain: String = (1..200)
        .map(|k| {
            object(
                &k.to_string(),
                &components(&format!("<component objectid=\"{}\"/>", k - 1)),
            )
        })
        .collect();
    let deep = object("0", &brick) + &chain;
    let bad_index = brick.replacen("v1=\"0\"", "v1=\"8\"", 1);
    let item = |id: u32| format!("<item objectid=\"{id}\"/>");
    for (objects, items, kind) in [
        (&one, item(2), "missing_part"),
        (&one, String::new(), "no_triangles"),
        (&cycle, item(1), "component_cycle"),
        (&many, item(39), "too_many_instances"),
        (&deep, item(199), "too_many_instances"),
        (&(one.clone() + &one), item(1), "parse"),
        (&object("1", &bad_index), item(1), "bad_index"),
        (
            &object("1", &brick.replacen("x=\"0\"", "x=\"nan\"", 1)),
            item(1),
            "bad_coordinate",
        ),
        (
            &object("1", &brick.replacen("x=\"0\"", "", 1)),
            item(1),
            "parse",
        ),
        (
            &object("1", &brick.replacen("x=\"0\"", "x=0", 1)),
            item(1),
            "parse",
        ),
        (&brick, item(1), "parse"),
        (&one.replace("</object>", "</objects>"), item(1), "parse"),
        (
            &one,
            "<item objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 1 0 0\"/>".to_owned(),
            "parse",
        ),
        (
            &one,
            "<item objectid=\"1\" transform=\"1e8 0 0 0 1 0 0 0 1 0 0 0\"/>".to_owned(),
            "bad_coordinate",
        ),
        (&one, "<item objectid=\"&file;\"/>".to_owned(), "xml_entity"),
    ] {
        let error = refused(threemf(&model_xml("", objects, &items), &[]));
        assert_eq!(error.kind(), kind, "{error}");
    }
    let model = model_xml("", &one, &item(1));
    let dtd = "<!DOCTYPE m [<!ENTITY a \"b\"><!ENTITY c \"&a;&a;\">]><model";
    let bomb = refused(threemf(&model.replacen("<model", dtd, 1), &[]));
    assert_eq!(bomb.kind(), "xml_entity");
    assert!(
        bomb.to_string()
            .starts_with("in 3D/3dmodel.model: line 2, column 1: "),
        "{bomb}"
    );
    assert_eq!(
        refused(threemf("no xml at all", &[])).kind(),
        "no_triangles"
    );
    assert_eq!(refused(threemf("<svg/>", &[])).kind(), "parse");
    assert_eq!(
        refused(threemf(&model[..model.len() - 9], &[])).kind(),
        "truncated"
    );
    assert_eq!(refused(&model).kind(), "bad_zip");
    assert_eq!(
        refused("<?xml version=\"1.0\"?><amf/>").kind(),
        "unsupported"
    );
}

#[test]
fn names_that_climb_are_never_looked_up() {
    let model = model_xml(
        "",
        &object("1", &mesh_xml(&Shape::brick())),
        "<item objectid=\"1\"/>",
    );
    let climbing: [(&str, &[u8]); 3] =
        [("../../x.txt", b"x"), ("/y.txt", b"x"), ("..\\z.txt", b"x")];
    let file = threemf(&model, &climbing);
    is_brick(&file);
    let remarks = mesh::read(&file).unwrap().remarks;
    assert!(
        matches!(remarks[..], [Remark::Skipped { count: 3, .. }]),
        "{remarks:?}"
    );
    let rels = prints::relationships("/../../../../etc/hostname");
    let outside = zip(&[
        ("_rels/.rels", rels.as_bytes()),
        ("3D/3dmodel.model", model.as_bytes()),
    ]);
    assert_eq!(refused(outside).kind(), "unsafe_path");
}

#[test]
fn an_archive_that_is_not_what_its_list_says_is_refused() {
    let whole = prints::threemf_of(&Shape::brick(), "millimeter");
    let list = whole.windows(4).rposition(|w| w == b"PK\x01\x02").unwrap();
    let with = |at: usize, bytes: &[u8]| {
        let mut file = whole.clone();
        file[at..at + bytes.len()].copy_from_slice(bytes);
        file
    };
    for (file, kind) in [
        // The last entry of the list is the model.
        (with(list + 8, &[1, 0]), "unsupported"), // encrypted
        (with(list + 10, &[14, 0]), "unsupported"), // LZMA
        (with(list + 16, &[1, 2, 3, 4]), "bad_zip"), // checksum
        (with(list + 20, &[5, 0, 0, 0]), "bad_zip"), // packed size
        (with(list + 24, &[9, 0, 0, 0]), "bad_zip"), // too small a size
        (with(list + 24, &[0, 0, 1, 0]), "bad_zip"), // too large a size
        (with(list + 24, &[0xff, 0xff, 0xff, 0x7f]), "too_large"),
        (with(list + 42, &[1, 0, 0, 0]), "bad_zip"), // where it is
        (with(list, b"PK\x09\x09"), "bad_zip"),
        (whole[..whole.len() - 30].to_vec(), "bad_zip"),
        (zip(&[("word/document.xml", b"<w/>")]), "not_a_mesh"),
        (zip(&[("_rels/.rels", b"<Relationships/>")]), "not_a_mesh"),
        (zip(&[]), "not_a_mesh"),
    ] {
        let error = refused(file);
        assert_eq!(error.kind(), kind, "{error}");
    }
    let model = model_xml(
        "",
        &object("1", &mesh_xml(&Shape::brick())),
        "<item objectid=\"1\"/>",
    );
    let twice = threemf(&model, &[("3D/3DMODEL.model", model.as_bytes())]);
    assert_eq!(refused(twice).kind(), "bad_zip");
    let rels = prints::relationships("/3D/3dmodel.model");
    assert_eq!(
        refused(zip(&[("_rels/.rels", rels.as_bytes())])).kind(),
        "missing_part"
    );
}

#[test]
fn wide_fields_of_an_archive_are_read() {
    // As writers do that keep every size in eight bytes: the list entry of the
    // model with all ones and an extra field, and the wide end.
    let whole = prints::threemf_of(&Shape::brick(), "millimeter");
    let entry = whole.windows(4).rposition(|w| w == b"PK\x01\x02").unwrap();
    let end = whole.windows(4).rposition(|w| w == b"PK\x05\x06").unwrap();
    let field = |at: usize| u64::from(u32::from_le_bytes(*whole[at..].first_chunk().unwrap()));
    let wide = [field(entry + 24), field(entry + 20), field(entry + 42)];
    let mut file = whole[..end].to_vec();
    for at in [20, 24, 42] {
        file[entry + at..entry + at + 4].fill(0xff);
    }
    file[entry + 30] = 28;
    file.extend([1, 0, 24, 0]);
    file.extend(wide.map(u64::to_le_bytes).concat());
    let wide_end = file.len() as u64;
    file.extend(b"PK\x06\x06");
    file.extend(44_u64.to_le_bytes());
    file.extend([45, 0, 45, 0, 0, 0, 0, 0, 0, 0, 0, 0]);
    file.extend(
        [3, 3, wide_end - field(end + 16), field(end + 16)]
            .map(u64::to_le_bytes)
            .concat(),
    );
    file.extend(b"PK\x06\x07\0\0\0\0");
    file.extend(wide_end.to_le_bytes());
    file.extend([1, 0, 0, 0]);
    file.extend(b"PK\x05\x06\0\0\0\0");
    file.extend([0xff; 12]);
    file.extend([0; 2]);
    is_brick(file);
}

#[test]
fn a_bomb_is_refused_by_its_own_list_and_a_dense_print_is_not() {
    // 9 MB of blanks in 9 kB, said to be 3 bytes: no more than these are
    // unpacked.
    let blanks = model_xml("", &" ".repeat(9 << 20), "");
    let mut file = threemf(&blanks, &[]);
    let list = file.windows(4).rposition(|w| w == b"PK\x01\x02").unwrap();
    file[list + 24..list + 28].copy_from_slice(&[3, 0, 0, 0]);
    assert_eq!(refused(&file).kind(), "bad_zip");
    // An honest one packs a hundredfold too.
    let many: String = (0..2000).map(|_| mesh_xml(&Shape::brick())).collect();
    let items = "<item objectid=\"1\"/>";
    let dense = threemf(&model_xml("", &object("1", &many), items), &[]);
    assert!(dense.len() * 50 < many.len());
    assert_eq!(measured(&dense).triangles, 24_000);
    let long = model_xml(
        "",
        &object("1", &format!("<mesh {}/>", "a".repeat(1 << 20))),
        items,
    );
    assert_eq!(refused(threemf(&long, &[])).kind(), "truncated");
    let nested = "<a>".repeat(1_000_000);
    assert_eq!(
        refused(threemf(&model_xml("", &nested, ""), &[])).kind(),
        "parse"
    );
}

#[test]
fn a_part_in_utf_16_reads_as_one_in_utf_8() {
    let brick = Shape::brick();
    // A long name of characters of two units, so that some lie across what is
    // unpacked at a time, and every offset of them.
    for length in 32_700..32_708 {
        let comment = format!(
            "<!--{}{}-->",
            "-".repeat(length),
            "\u{1f514}".repeat(40_000)
        );
        let objects = format!(
            "{comment}<object id=\"1\" name=\"Glocke \u{1f514} \u{e4}\">{}</object>",
            mesh_xml(&brick)
        );
        let model = model_xml("unit=\"millimeter\"", &objects, "<item objectid=\"1\"/>");
        for bytes in [u16::to_le_bytes, u16::to_be_bytes] {
            let rels = prints::utf16(&prints::relationships("/m"), bytes);
            let file = zip(&[("_rels/.rels", &rels), ("m", &prints::utf16(&model, bytes))]);
            is_brick(&file);
            let mesh = mesh::read(&file).unwrap();
            assert_eq!(mesh.groups()[0].name, "Glocke \u{1f514} \u{e4}");
        }
    }
    // What is wrong keeps its place; half a character is none.
    let model = "<model>\n <vertex/></model>";
    let wide = |more: &[u8]| {
        let rels = prints::relationships("/m");
        let model = [&prints::utf16(model, u16::to_be_bytes)[..], more].concat();
        refused(zip(&[("_rels/.rels", rels.as_bytes()), ("m", &model)])).to_string()
    };
    let said = wide(&[]);
    assert!(
        said.starts_with("in m: line 2, column 2: found `vertex`"),
        "{said}"
    );
    assert_eq!(wide(&[0xd8]), said);
    assert_eq!(wide(&[0xd8, 0x3d]), said);
}

#[test]
fn comments_and_texts_may_cross_what_is_unpacked_at_a_time() {
    let brick = Shape::brick();
    for length in (65_400..65_700).step_by(7) {
        let comment = format!(
            "<!-- {} <vertex> --><![CDATA[ <object> ]]>",
            "-".repeat(length)
        );
        let objects = comment + &object("1", &mesh_xml(&brick));
        is_brick(threemf(
            &model_xml("", &objects, "<item objectid=\"1\"/>"),
            &[],
        ));
    }
}
