//! STL files and the sums over them, the refusals of bad ones, and the sample
//! meshes that come with the program.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use proptest::prelude::*;
use tankside::mesh::{self, LengthUnit, Measure, Mesh, MeshError, Remark};

#[path = "samples/meshes.rs"]
#[allow(dead_code, reason = "run as an example it also writes")]
mod samples;

/// A corner as STL holds it.
type Corner = [f32; 3];

/// The box [0,20]x[0,30]x[0,40]: 12 triangles, 5200 square units, 24,000 cubic.
fn brick() -> Vec<[Corner; 3]> {
    cuboid([0.0; 3], [20.0, 30.0, 40.0])
}

/// A closed box turned outwards.
fn cuboid(low: Corner, size: Corner) -> Vec<[Corner; 3]> {
    // Corner k has the high x, y, z where bit 0, 1, 2 of k is set.
    const SIDES: [[usize; 4]; 6] = [
        [0, 2, 3, 1],
        [4, 5, 7, 6],
        [0, 1, 5, 4],
        [2, 6, 7, 3],
        [0, 4, 6, 2],
        [1, 3, 7, 5],
    ];
    let corner = |k: usize| [0, 1, 2].map(|axis| low[axis] + size[axis] * (k >> axis & 1) as f32);
    let halves = |[a, b, c, d]: [usize; 4]| [[a, b, c], [a, c, d]];
    let corners = |half: [usize; 3]| half.map(corner);
    SIDES.into_iter().flat_map(halves).map(corners).collect()
}

fn binary(triangles: &[[Corner; 3]], header: &str) -> Vec<u8> {
    let mut bytes = format!("{header:\0<80}").into_bytes();
    bytes.extend((triangles.len() as u32).to_le_bytes());
    for triangle in triangles {
        bytes.extend([0; 12]);
        for number in triangle.as_flattened() {
            bytes.extend(number.to_le_bytes());
        }
        bytes.extend([0x1f, 0x80]);
    }
    bytes
}

fn ascii(triangles: &[[Corner; 3]], name: &str) -> String {
    let vertex = |[x, y, z]: &Corner| format!("      vertex {x:e} {y:e} {z:e}\n");
    let facet = |triangle: &[Corner; 3]| {
        let vertices: String = triangle.iter().map(vertex).collect();
        format!("  facet normal 0 0 0\n    outer loop\n{vertices}    endloop\n  endfacet\n")
    };
    let facets: String = triangles.iter().map(facet).collect();
    format!("solid {name}\n{facets}endsolid {name}\n")
}

fn measure_mm(mesh: &Mesh) -> Measure {
    mesh::measure(mesh, LengthUnit::Mm)
}

fn assert_near(found: f64, expected: f64, relative: f64) {
    let off = (found - expected).abs();
    assert!(
        off <= relative * expected.abs(),
        "{found}, expected {expected}"
    );
}

fn assert_is_brick(bytes: &[u8]) {
    let mesh = mesh::read(bytes).unwrap();
    assert_eq!(mesh.unit, None);
    let measure = measure_mm(&mesh);
    assert_eq!(measure.triangles, 12);
    for (found, expected) in measure.size_mm.into_iter().zip([20.0, 30.0, 40.0]) {
        assert_near(found, expected, 1e-12);
    }
    assert_near(measure.naive_area_mm2, 5200.0, 1e-12);
    assert_near(measure.volume_mm3, 24_000.0, 1e-12);
}

fn refusal(bytes: &[u8]) -> MeshError {
    let error = mesh::read(bytes).unwrap_err();
    assert!(!error.remedy().is_empty());
    error
}

#[test]
fn every_way_to_write_the_same_box_reads_the_same() {
    let text = ascii(&brick(), "part");
    assert_is_brick(&binary(&brick(), "made by a modeller"));
    assert_is_brick(&binary(&brick(), "solid exported by a modeller"));
    assert_is_brick(&binary(&brick(), "COLOR=    ,MATERIAL="));
    assert_is_brick(text.as_bytes());
    assert_is_brick(text.to_uppercase().as_bytes());
    assert_is_brick(text.replace('\n', "\r\n").as_bytes());
    assert_is_brick(text.replace('\n', "\r").as_bytes());
    assert_is_brick(
        text.replace("  ", "\t")
            .replace("vertex ", "vertex   ")
            .as_bytes(),
    );
    assert_is_brick(ascii(&brick(), "").as_bytes());
    assert_is_brick(ascii(&brick(), "facet of my part, endsolid v2").as_bytes());
    assert_is_brick(format!("\u{feff}\n {text}").as_bytes());
    assert_is_brick(
        text.replace("normal 0 0 0", "normal nan -nan(ind) 0")
            .as_bytes(),
    );
    assert_is_brick(text.trim_end().as_bytes());
}

#[test]
fn several_solids_in_one_text_are_one_mesh() {
    let twenty = [20.0; 3];
    let first = ascii(&cuboid([0.0; 3], twenty), "a");
    let second = ascii(&cuboid([10.0, 7.0, 5.0], twenty), "b");
    let file = format!("{first}\n\n{second}");
    let mesh = mesh::read(file.as_bytes()).unwrap();
    let measure = measure_mm(&mesh);
    assert_eq!(measure.triangles, 24);
    assert_near(measure.naive_area_mm2, 4800.0, 1e-12);
}

#[test]
fn bytes_after_the_last_triangle_are_counted_and_left() {
    let mut bytes = binary(&brick(), "");
    bytes.extend([0; 37]);
    assert_is_brick(&bytes);
    assert_eq!(
        mesh::read(&bytes).unwrap().remarks,
        [Remark::TrailingBytes(37)]
    );
}

#[test]
fn an_inward_box_has_the_same_volume() {
    let mut inward = brick();
    for triangle in &mut inward {
        triangle.swap(1, 2);
    }
    assert_is_brick(&binary(&inward, ""));
}

#[test]
fn triangles_without_area_are_counted_and_add_nothing() {
    let mut slivers = brick();
    slivers.push([[0.0; 3], [20.0, 0.0, 0.0], [5.0, 0.0, 0.0]]);
    slivers.push([[0.0; 3], [0.0; 3], [20.0, 0.0, 0.0]]);
    slivers.push([[20.0, 30.0, 0.0]; 3]);
    let measure = measure_mm(&mesh::read(&binary(&slivers, "")).unwrap());
    assert_eq!(measure.triangles, 15);
    assert_near(measure.naive_area_mm2, 5200.0, 1e-12);
    assert_near(measure.volume_mm3, 24_000.0, 1e-12);
}

#[test]
fn the_unit_scales_length_area_and_volume() {
    // 2 x 1 x 0.5 in: 50.8 x 25.4 x 12.7 mm, 7 in² and 1 in³.
    let bytes = binary(&cuboid([0.0; 3], [2.0, 1.0, 0.5]), "");
    let mesh = mesh::read(&bytes).unwrap();
    let measure = mesh::measure(&mesh, "in".parse().unwrap());
    assert_near(measure.size_mm[0], 50.8, 1e-12);
    assert_near(measure.naive_area_mm2, 4516.12, 1e-12);
    assert_near(measure.volume_mm3, 16_387.064, 1e-12);
    for (word, mm) in [("mm", 1.0), ("CM", 10.0), ("m", 1000.0), ("ft", 304.8)] {
        assert_near(word.parse::<LengthUnit>().unwrap().mm(), mm, 0.0);
    }
    let refused = "yd".parse::<LengthUnit>().unwrap_err();
    assert!(refused.to_string().contains("`yd`"));
}

#[test]
fn a_ball_far_from_the_origin_keeps_its_area_and_volume() {
    // A sphere of radius 32 in rows and meridians, whose corners are rounded to
    // 1/64 so that moving it by 2^17 changes no corner: the sums must agree.
    let ball = |away: f64| -> Vec<[Corner; 3]> {
        let point = |row: u32, meridian: u32| {
            let (polar, around) = (f64::from(row) / 96.0, f64::from(meridian) / 96.0);
            let (sin, cos) = (polar * std::f64::consts::PI).sin_cos();
            let (y, x) = (around * std::f64::consts::TAU).sin_cos();
            [x * sin, y * sin, cos].map(|part| ((part * 32.0 * 64.0).round() / 64.0 + away) as f32)
        };
        let quad = |row: u32, k: u32| {
            let next = (k + 1) % 96;
            let [a, b] = [point(row, k), point(row + 1, k)];
            let [c, d] = [point(row + 1, next), point(row, next)];
            [[a, b, c], [a, c, d]]
        };
        let row = |row: u32| (0..96).flat_map(move |k| quad(row, k)).collect::<Vec<_>>();
        (0..96).flat_map(row).collect()
    };
    let near = measure_mm(&mesh::read(&binary(&ball(0.0), "")).unwrap());
    let far = measure_mm(&mesh::read(&binary(&ball(131_072.0), "")).unwrap());
    assert_near(far.naive_area_mm2, near.naive_area_mm2, 1e-13);
    assert_near(far.volume_mm3, near.volume_mm3, 1e-13);
    // 4 pi r² and 4/3 pi r³; the facets lie a little inside the sphere.
    let smooth = 4.0 * std::f64::consts::PI * 32.0 * 32.0;
    assert_near(near.naive_area_mm2, smooth, 2e-3);
    assert_near(near.volume_mm3, smooth * 32.0 / 3.0, 2e-3);
}

#[test]
fn empty_and_foreign_files_are_told_apart() {
    let mut png = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec();
    png.extend([0; 220]);
    let noise: Vec<u8> = (0..4000_u32)
        .map(|k| (k.wrapping_mul(2_654_435_761) >> 13) as u8)
        .collect();
    for (bytes, kind) in [
        (&b""[..], "empty_file"),
        (b" \r\n\t", "empty_file"),
        (&[0; 84], "no_triangles"),
        (b"solid nothing\nendsolid nothing\n", "no_triangles"),
        (&png, "not_a_mesh"),
        (&noise, "not_a_mesh"),
        (b"dear reader, this is no mesh", "not_a_mesh"),
        (b"solidarity is a word", "not_a_mesh"),
        (b"glTF\x02\0\0\0", "unsupported"),
        (b"ISO-10303-21;\nHEADER;\n", "unsupported"),
        (b"PK\x03\x04\x14\0\0\0", "bad_zip"),
        (b"  facet normal 0 0 1\n outer loop\n", "bad_header"),
    ] {
        assert_eq!(
            refusal(bytes).kind(),
            kind,
            "{:?}",
            String::from_utf8_lossy(bytes)
        );
    }
}

#[test]
fn a_binary_file_cut_anywhere_is_refused() {
    let whole = binary(&brick(), "cut me");
    for length in 1..whole.len() {
        let kind = refusal(&whole[..length]).kind();
        let as_text = length <= "cut me".len();
        assert_eq!(
            kind,
            if as_text { "not_a_mesh" } else { "truncated" },
            "{length} bytes"
        );
    }
    let error = refusal(&whole[..84 + 7 * 50 + 20]);
    assert_eq!(
        error.to_string(),
        "cut short: found 7 whole triangles; expected 12 by the header"
    );
}

#[test]
fn a_text_file_cut_anywhere_is_refused() {
    let whole = ascii(&brick(), "part");
    let without_end = whole.find("endsolid").unwrap() + "endsolid".len();
    for length in "solid".len()..without_end {
        let error = refusal(&whole.as_bytes()[..length]);
        assert_eq!(error.kind(), "truncated", "{length} bytes: {error}");
        assert_eq!(
            error.line(),
            Some(whole[..length].matches('\n').count() + 1)
        );
    }
}

#[test]
fn a_count_that_lies_is_refused_without_being_believed() {
    let with_count = |count: u32| {
        let mut bytes = binary(&brick(), "");
        bytes[80..84].copy_from_slice(&count.to_le_bytes());
        bytes
    };
    // The largest would be 200 GB.
    assert_eq!(refusal(&with_count(0xffff_fff0)).kind(), "truncated");
    let fewer = refusal(&with_count(9));
    assert_eq!(
        fewer,
        MeshError::CountMismatch {
            what: "triangles",
            announced: 9,
            present: 12
        }
    );
    assert_eq!(refusal(&with_count(0)).kind(), "count_mismatch");
}

#[test]
fn coordinates_that_are_no_numbers_are_refused_with_their_triangle() {
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, -3e9] {
        let mut triangles = brick();
        triangles[3][1][2] = bad;
        let of_binary = refusal(&binary(&triangles, ""));
        assert_eq!(of_binary.kind(), "bad_coordinate");
        assert_eq!(of_binary.line(), None);
        assert!(
            of_binary.to_string().starts_with("triangle 4 "),
            "{of_binary}"
        );
        let of_text = refusal(ascii(&triangles, "").as_bytes());
        assert_eq!(of_text.kind(), "bad_coordinate");
        // Seven lines a facet; the second vertex is the fourth of them.
        assert_eq!(of_text.line(), Some(1 + 3 * 7 + 4));
    }
}

#[test]
fn a_word_out_of_place_is_refused_with_its_line() {
    let text = ascii(&cuboid([0.5; 3], [20.0, 30.0, 40.0]), "part");
    for (find, replace, line) in [
        ("5e-1 5e-1 5e-1", "0,5 0,5 0,5", 4),
        ("5e-1 5e-1 5e-1", "5e-1 5e-1", 5),
        ("5e-1 5e-1 5e-1", "5e-1 5e-1 5e-1 1", 5 - 1),
        ("outer loop", "outer  lop", 3),
        ("endloop", "vertex 1 2 3", 7),
        ("endfacet", "facet", 8),
        ("  facet", "  face", 2),
        ("endsolid part", "endsolid part\nthe end\n", 87),
    ] {
        let error = refusal(text.replacen(find, replace, 1).as_bytes());
        assert_eq!(
            (error.kind(), error.line()),
            ("parse", Some(line)),
            "{error}"
        );
    }
    let comma = refusal(text.replace('.', ",").replace("5e-1", "0,5").as_bytes());
    assert!(comma.to_string().contains("`0,5`"), "{comma}");
    assert!(comma.remedy().contains("decimal point"));
}

#[test]
fn more_triangles_than_the_budget_are_refused() {
    // Only the length and the count matter: the body is zeros.
    let count = mesh::TRIANGLE_BUDGET + 1;
    let mut bytes = vec![0; 84 + 50 * count];
    bytes[80..84].copy_from_slice(&(count as u32).to_le_bytes());
    assert_eq!(
        refusal(&bytes),
        MeshError::TooLarge {
            what: "triangles",
            found: count as u64,
            limit: mesh::TRIANGLE_BUDGET as u64
        }
    );
}

#[test]
fn a_size_that_no_print_has_asks_for_the_unit() {
    assert_eq!(mesh::plausible_print([5.0, 0.1, 0.1]), Ok(()));
    assert_eq!(mesh::plausible_print([3.0, 2000.0, 1.0]), Ok(()));
    for (largest, words) in [
        (0.04, "0.0400 mm, as thin as a hair"),
        (4.9, "4.90 mm, as small as a peppercorn"),
        (2001.0, "2001 mm, as tall as a door"),
        (250_000.0, "250000 mm, as large as a church or larger"),
        (f64::INFINITY, "inf mm, as large as a church or larger"),
    ] {
        let doubt = mesh::plausible_print([0.01, largest, 0.02]).unwrap_err();
        assert!(doubt.to_string().contains(words), "{doubt}");
    }
    assert!(mesh::plausible_print([f64::NAN; 3]).is_err());
}

proptest! {
    #[test]
    fn a_spoilt_file_is_read_or_refused_in_words(
        as_text: bool,
        place in 0_usize..1000,
        spoilt: u8,
        more in prop::collection::vec(any::<u8>(), 0..120),
    ) {
        let mut bytes = if as_text { ascii(&brick(), "part").into_bytes() } else { binary(&brick(), "part") };
        let place = place % bytes.len();
        bytes[place] = spoilt;
        bytes.extend(more);
        match mesh::read(&bytes) {
            Ok(mesh) => {
                prop_assert!((1..=bytes.len() / 50).contains(&mesh.count()));
                prop_assert!(measure_mm(&mesh).naive_area_mm2.is_finite());
            }
            Err(error) => prop_assert!(!error.to_string().contains('\n'), "{error}"),
        }
    }
}

/// Whether all triangles hang together by their corners.
fn is_one_shell(mesh: &Mesh) -> bool {
    let bits = |corner: mesh::Corner| corner.map(f64::to_bits);
    let mut neighbours = BTreeMap::<_, Vec<_>>::new();
    for [a, b, c] in mesh.triangles().map(|triangle| triangle.map(bits)) {
        for (from, to) in [(a, b), (b, c), (c, a)] {
            neighbours.entry(from).or_default().push(to);
        }
    }
    let mut reached = BTreeSet::new();
    let mut waiting: Vec<_> = mesh
        .triangles()
        .take(1)
        .map(|[corner, ..]| bits(corner))
        .collect();
    while let Some(corner) = waiting.pop() {
        if reached.insert(corner) {
            waiting.extend(&neighbours[&corner]);
        }
    }
    reached.len() == neighbours.len()
}

/// Whether every edge is there once in each direction.
fn is_closed(mesh: &Mesh) -> bool {
    let bits = |corner: mesh::Corner| corner.map(f64::to_bits);
    let mut uses = BTreeMap::<_, usize>::new();
    for [a, b, c] in mesh.triangles().map(|triangle| triangle.map(bits)) {
        for edge in [(a, b), (b, c), (c, a)] {
            *uses.entry(edge).or_default() += 1;
        }
    }
    uses.iter()
        .all(|(&(a, b), &count)| a != b && count == 1 && uses.get(&(b, a)) == Some(&1))
}

/// Six times the volume with its sign, about the origin.
fn signed_volume(mesh: &Mesh) -> f64 {
    let of_triangle = |triangle: [mesh::Corner; 3]| {
        let [[ax, ay, az], [bx, by, bz], [cx, cy, cz]] = triangle;
        ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
    };
    mesh.triangles().map(of_triangle).sum()
}

#[test]
fn the_committed_samples_are_what_the_generator_makes() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let samples = samples::all();
    assert_eq!(samples.len(), 7 + 2 + 40);
    for (path, made) in &samples {
        let committed = std::fs::read(root.join(path)).unwrap();
        assert!(
            committed == *made,
            "{path} differs: run the example make-sample-meshes"
        );
    }
    let total: usize = samples.iter().map(|(_, bytes)| bytes.len()).sum();
    assert!(total < 700_000, "{total} bytes of samples");
}

#[test]
fn the_samples_are_single_closed_shells_of_plausible_size() {
    for (path, bytes) in samples::all() {
        let mesh = mesh::read(&bytes).unwrap();
        let measure = measure_mm(&mesh);
        assert!(is_closed(&mesh), "{path} is not closed");
        assert!(is_one_shell(&mesh), "{path} is in pieces");
        assert!(signed_volume(&mesh) > 0.0, "{path} is turned inwards");
        assert_near(signed_volume(&mesh) / 6.0, measure.volume_mm3, 1e-9);
        assert_eq!(mesh::plausible_print(measure.size_mm), Ok(()), "{path}");
    }
}

#[test]
fn the_lamp_fits_its_tank() {
    for (path, bytes) in samples::all() {
        if !path.contains("fern-lamp") {
            continue;
        }
        let measure = measure_mm(&mesh::read(&bytes).unwrap());
        let mut size = measure.size_mm;
        size.sort_by(f64::total_cmp);
        for (extent, room) in size.into_iter().zip([250.0, 300.0, 400.0]) {
            assert!(extent < room, "{path}: {extent} mm in {room} mm");
        }
        let dm2 = measure.naive_area_mm2 / 1e4;
        assert!((2.0..9.0).contains(&dm2), "{path}: {dm2} dm²");
    }
}
