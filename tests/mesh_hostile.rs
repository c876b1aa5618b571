//! Whatever the bytes, a print file is read or refused: in bounded time, in
//! words, never by a crash. The seeds of the fuzzers are held here too.

#![allow(clippy::format_collect, reason = "texts of a test, each made once")]

use std::path::Path;
use std::sync::mpsc;
use std::time::Duration;

use proptest::prelude::*;
use tankside::mesh::{self, LengthUnit};

use crate::support::prints::{self, Ply, Shape};

/// One small file of each format and kind, by the reader it is for.
fn seeds() -> Vec<(&'static str, Vec<u8>)> {
    let (brick, bent) = (Shape::brick(), Shape::bent());
    let model = prints::model_xml(
        "unit=\"inch\"",
        &format!(
            "<object id=\"1\" name=\"a\">{}</object><object id=\"2\"><components>\
             <component objectid=\"1\" transform=\"0 1 0 -1 0 0 0 0 1 60 0 0\"/></components></object>",
            prints::mesh_xml(&brick)
        ),
        "<item objectid=\"2\"/><item objectid=\"1\"/>",
    );
    vec![
        ("stl/binary", prints::stl(&brick)),
        ("stl/ascii", prints::stl_ascii(&brick, "part").into_bytes()),
        ("obj/bent", prints::obj(&bent).into_bytes()),
        (
            "obj/groups",
            format!(
                "o a\n{}g b c\nf 1/1/1 -2//3 \\\n 3/4\n",
                prints::obj_corners(&brick)
            )
            .into_bytes(),
        ),
        ("ply/ascii", prints::ply(&bent, Ply::Ascii)),
        ("ply/little", prints::ply(&bent, Ply::Little)),
        ("ply/big", prints::ply(&bent, Ply::Big)),
        ("archive/one", prints::threemf_of(&brick, "millimeter")),
        ("archive/components", prints::threemf(&model, &[])),
        (
            "archive/stored",
            prints::stored(&[
                ("_rels/.rels", prints::relationships("/m").as_bytes()),
                ("m", model.as_bytes()),
            ]),
        ),
    ]
}

/// Reads and measures; a refusal has to be a sentence.
fn survives(bytes: &[u8]) -> bool {
    match mesh::read(bytes) {
        Ok(mesh) => {
            // A face of n corners, of two bytes each, is n - 2 triangles.
            assert!(mesh.count() >= 1);
            assert!(mesh.count() <= 40 + bytes.len());
            let measure = mesh::measure(&mesh, mesh.unit.unwrap_or(LengthUnit::Mm));
            assert!(measure.naive_area_mm2.is_finite() && measure.volume_mm3.is_finite());
            for group in mesh.groups() {
                assert!(
                    group
                        .runs
                        .iter()
                        .all(|run| run.end as usize <= mesh.count())
                );
            }
            mesh::is_closed(&mesh);
            true
        }
        Err(error) => {
            let said = format!("{error} {}", error.remedy());
            assert!(
                said.len() < 400 && !said.contains(char::is_control),
                "{said}"
            );
            false
        }
    }
}

/// What reading comes to, which may not take long: the inputs are made so that
/// work out of proportion to their size takes hours.
fn kind_in_time(bytes: Vec<u8>) -> &'static str {
    let (told, kind) = mpsc::channel();
    std::thread::spawn(move || {
        let read = mesh::read(&bytes);
        told.send(read.map_or_else(|error| error.kind(), |_| "read"))
    });
    kind.recv_timeout(Duration::from_mins(1)).expect("in time")
}

#[test]
fn the_seeds_are_read_and_are_those_of_the_fuzzers() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/seeds");
    let mut seeds = seeds();
    let brick = prints::mesh_xml(&Shape::brick());
    let object = format!("<object id=\"1\">{brick}</object>");
    let model = prints::model_xml("", &object, "<item objectid=\"1\"/>");
    seeds.push(("model/wide", prints::utf16(&model, u16::to_le_bytes)));
    seeds.push(("model/one", model.into_bytes()));
    for (name, made) in seeds {
        let as_read = if name.starts_with("model") {
            let relationships = prints::relationships("/m");
            prints::zip(&[("_rels/.rels", relationships.as_bytes()), ("m", &made)])
        } else {
            made.clone()
        };
        assert!(survives(&as_read), "{name}");
        let path = folder.join(name);
        if std::env::var_os("TANKSIDE_WRITE_SEEDS").is_some() {
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(&path, &made).unwrap();
        }
        let kept = std::fs::read(&path).unwrap();
        assert!(
            kept == made,
            "{name} differs: run with TANKSIDE_WRITE_SEEDS=1"
        );
    }
}

#[test]
fn a_file_cut_at_any_byte_is_survived() {
    for (name, whole) in seeds() {
        for length in 0..whole.len() {
            let is_read = survives(&whole[..length]);
            // Only a list of faces and the last word of a text may end early.
            let may_be_read = name.starts_with("obj") || length + 10 > whole.len();
            assert!(
                !is_read || may_be_read,
                "{name} cut to {length} bytes is read"
            );
        }
    }
}

#[test]
fn every_flipped_bit_is_survived() {
    for (_, whole) in seeds() {
        for place in 0..whole.len() {
            for bit in 0..8 {
                let mut flipped = whole.clone();
                flipped[place] ^= 1 << bit;
                survives(&flipped);
            }
        }
    }
}

#[test]
fn a_flipped_bit_in_a_packed_part_is_seen() {
    // The checksum guards what is unpacked; the data of the model lies behind
    // its name.
    let whole = prints::threemf_of(&Shape::brick(), "millimeter");
    let name = b"3D/3dmodel.model";
    let start = whole.windows(name.len()).position(|w| w == name).unwrap() + name.len();
    let end = whole.windows(4).position(|w| w == b"PK\x01\x02").unwrap();
    // The last byte has bits to spare.
    for place in start..end - 1 {
        let mut flipped = whole.clone();
        flipped[place] ^= 4;
        assert!(!survives(&flipped), "byte {place}");
    }
}

/// A face of very many corners that bends at every one, as often as it fits.
#[test]
fn bent_faces_without_end_are_refused_in_time() {
    let corners = 60_000;
    let mut text = String::new();
    text.extend((0..corners).map(|k| format!("v {k} {} 0\n", k % 2 * 50_000)));
    text.push('f');
    let numbers = (0..corners).map(|k| format!(" {}", (k * 7919) % corners + 1));
    text.extend(numbers);
    let error = mesh::read(text.as_bytes()).unwrap_err();
    assert_eq!(error.kind(), "too_large");
}

#[test]
fn elements_of_a_ply_without_properties_take_no_time() {
    let corners = "element vertex 3\nproperty char x\nproperty char y\nproperty char z\n";
    let face = "element face 1\nproperty list char char vertex_index\nend_header\n";
    let rows = "0 0 0\n9 0 0\n0 9 0\n3 0 1 2\n";
    for empty in [
        "element tristrips 18446744073709551615\n".to_owned(),
        "element camera 18446744073709551615\n".to_owned(),
        "element face 20000000\n".repeat(100_000),
    ] {
        for header in [format!("{corners}{empty}"), format!("{empty}{corners}")] {
            let file = format!("ply\nformat ascii 1.0\n{header}{face}{rows}");
            assert_eq!(kind_in_time(file.into_bytes()), "read");
        }
    }
}

#[test]
fn blanks_around_the_rows_of_a_ply_are_gone_over_once() {
    let header = "ply\nformat ascii 1.0\nelement vertex 3\nproperty int x\nproperty int y\n\
                  property int z\nelement face 300000\nproperty list int int vertex_index\n\
                  end_header\n0 0 0\n9 0 0\n0 9 0\n";
    let (rows, blanks) = ("3 0 1 2\n".repeat(300_000), " ".repeat(20_000_000));
    let behind = format!("{header}{rows}{blanks}");
    assert_eq!(kind_in_time(behind.into_bytes()), "read");
    let between = format!("{header}{blanks}{rows}");
    assert_eq!(kind_in_time(between.into_bytes()), "read");
}

#[test]
fn bytes_behind_the_rows_of_a_ply_are_no_row() {
    for (form, more, count) in [
        (Ply::Little, &b"\x01"[..], 1),
        (Ply::Big, b"\0\0", 2),
        (Ply::Ascii, b"1 0.25 4 0 2", 12),
    ] {
        let file = [&prints::ply(&Shape::brick(), form)[..], more].concat();
        let remarks = mesh::read(&file).unwrap().remarks;
        assert_eq!(remarks, [mesh::Remark::TrailingBytes(count)]);
    }
}

#[test]
fn many_groups_of_an_obj_are_not_told_again_for_every_object() {
    let mut file = "v 0 0 0\nv 9 0 0\nv 0 9 0\ng".to_owned();
    file.extend((0..200_000).map(|k| format!(" {k}")));
    file.push('\n');
    file.push_str(&"f 1 2 3\no x\n".repeat(200_000));
    assert_eq!(kind_in_time(file.into_bytes()), "read");
}

/// A model of nothing but this, packed.
fn model_of(attributes: &str, objects: &str, items: &str) -> Vec<u8> {
    prints::threemf(&prints::model_xml(attributes, objects, items), &[])
}

#[test]
fn names_in_a_3mf_are_looked_up_once() {
    let brick = prints::mesh_xml(&Shape::brick());
    // Each object is built twenty times in the next, by a long way to its part.
    let way = "/".repeat(60_000) + "3D/3dmodel.model";
    let mut objects = format!("<object id=\"1\">{brick}</object>");
    objects.extend((2..5).map(|k| {
        let used = format!("<component objectid=\"{}\" p:path=\"{way}\"/>", k - 1);
        let uses = used.repeat(20);
        format!("<object id=\"{k}\"><components>{uses}</components></object>")
    }));
    let file = model_of("xmlns:p=\"p\"", &objects, "<item objectid=\"4\"/>");
    assert_eq!(kind_in_time(file), "read");
    let mut many = String::new();
    many.extend((0..300_000).map(|k| format!("<item objectid=\"1\" p:path=\"/{k}\"/>")));
    let file = model_of("xmlns:p=\"p\"", &objects, &many);
    assert_eq!(kind_in_time(file), "missing_part");
    // One tag that needs thousands of extensions which it names itself.
    let prefixes: Vec<String> = (0..2500).map(|k| format!("{k:x}")).collect();
    let mut attributes = format!("requiredextensions=\"{}\"", prefixes.join(" "));
    attributes.extend(prefixes.iter().map(|p| format!(" xmlns:{p}=\"slice\"")));
    let file = model_of(&attributes, &objects, "<item objectid=\"1\"/>");
    assert_eq!(kind_in_time(file), "read");
}

#[test]
fn a_small_3mf_does_not_swell() {
    let object = format!(
        "<object id=\"1\" name=\"{}\">{}</object>",
        "n".repeat(60_000),
        prints::mesh_xml(&Shape::brick())
    );
    let item = "<item objectid=\"1\"/>";
    // As few bytes as they are packed, these take 200 in memory each.
    let many = model_of("", &object, &item.repeat(1_000_001));
    assert!(many.len() < 100_000);
    assert_eq!(kind_in_time(many), "too_large");
    // A thousand times its size.
    let blanks = model_of("", &(object.clone() + &" ".repeat(40 << 20)), item);
    assert_eq!(kind_in_time(blanks), "too_large");
    let named = mesh::read(&model_of("", &object, item)).unwrap().groups()[0].clone();
    assert_eq!(named.name, "n".repeat(200));
}

#[test]
fn a_part_of_a_3mf_may_say_any_size() {
    // Of the last entry, which is the model, in its field of eight bytes; the
    // list is read from where it was, so the end is left as it is.
    let mut file = prints::threemf_of(&Shape::brick(), "millimeter");
    let entry = file.windows(4).rposition(|w| w == b"PK\x01\x02").unwrap();
    let end = file.windows(4).rposition(|w| w == b"PK\x05\x06").unwrap();
    file[entry + 24..entry + 28].fill(0xff);
    file[entry + 30] = 12;
    let field = [&[1, 0, 8, 0][..], &[0xff; 8]].concat();
    file.splice(end..end, field);
    assert_eq!(kind_in_time(file), "too_large");
}

/// Pieces that files of these formats are made of.
const PIECES: [&str; 24] = [
    "v 1 2 3\n",
    "f 1 2 3 -1\n",
    "g a b\n",
    "o x\n",
    "\\\n",
    "#",
    "ply\n",
    "format ascii 1.0\n",
    "format binary_big_endian 1.0\n",
    "element vertex 3\n",
    "element face 1\n",
    "property float x\n",
    "property list uchar int vertex_indices\n",
    "end_header\n",
    "solid x\n",
    "facet normal 0 0 1\n",
    "outer loop\n",
    "vertex 1 2 3\n",
    "endloop endfacet\n",
    "endsolid\n",
    "0 1 2 3\n",
    "PK\x03\x04",
    "-1e38 nan inf\n",
    "\0\0\0\u{1}",
];

/// Pieces that models of a 3MF are made of.
const TAGS: [&str; 16] = [
    "<model unit=\"inch\">",
    "</model>",
    "<object id=\"1\">",
    "<object id='2' type='other'>",
    "</object>",
    "<mesh>",
    "</mesh>",
    "<vertex x=\"1\" y=\"2\" z=\"3\"/>",
    "<triangle v1=\"0\" v2=\"1\" v3=\"0\"/>",
    "<component objectid=\"1\"/>",
    "<component objectid='2' transform='1 0 0 0 1 0 0 0 1 0 0 0'/>",
    "<item objectid=\"1\"/>",
    "<!-- -->",
    "<?x?>",
    "<![CDATA[",
    "&lt;",
];

proptest! {
    #[test]
    fn spoilt_files_are_survived(
        which in 0_usize..10,
        spoilt in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
        cut in any::<prop::sample::Index>(),
        more in prop::collection::vec(any::<u8>(), 0..60),
    ) {
        let (_, mut bytes) = seeds().swap_remove(which);
        for (place, byte) in spoilt {
            let place = place.index(bytes.len());
            bytes[place] = byte;
        }
        let at = cut.index(bytes.len());
        bytes.splice(at..at, more);
        survives(&bytes);
    }

    #[test]
    fn texts_of_the_right_pieces_are_survived(
        pieces in prop::collection::vec(prop::sample::select(&PIECES[..]), 0..40),
    ) {
        survives(pieces.concat().as_bytes());
        survives(format!("ply\nformat ascii 1.0\n{}", pieces.concat()).as_bytes());
        survives(format!("v 1 2 3\n{}", pieces.concat()).as_bytes());
    }

    #[test]
    fn models_of_the_right_tags_are_survived(
        tags in prop::collection::vec(prop::sample::select(&TAGS[..]), 0..40),
    ) {
        survives(&prints::threemf(&tags.concat(), &[]));
        let inner = format!("<model><object id='1'>{}<item objectid='1'/></model>", tags.concat());
        survives(&prints::threemf(&inner, &[]));
    }
}
