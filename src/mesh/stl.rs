//! STL, binary and ASCII.
//!
//! Layouts from memory of the format's first description (3D Systems, 1989):
//! binary is an 80-byte header, a 32-bit count and 50 bytes for each triangle
//! (normal, three corners, an attribute word), all little-endian. The normal is
//! not read, since exporters leave it zero or not a number; the attribute word
//! (a colour, if anything) neither.

use super::draft::{Groups, within_budget};
use super::words::{Words, printable, shown};
use super::{COORDINATE_LIMIT, Mesh, MeshError, Remark, TRIANGLE_BUDGET, Triangles};

/// Header and count of a binary STL, in bytes.
const HEAD: usize = 84;
/// One triangle of a binary STL, in bytes.
const RECORD: usize = 50;
/// One triangle of a binary STL.
pub(super) type Record = [u8; RECORD];
/// [`COORDINATE_LIMIT`] in the precision of the format, which holds it exactly.
const LIMIT: f32 = COORDINATE_LIMIT as f32;
/// Where in its record a triangle's corners stand: past the normal.
const CORNERS: usize = 12;

/// The count in the header of a binary STL; none in a shorter file.
fn announced_count(bytes: &[u8]) -> Option<usize> {
    let count = bytes.get(HEAD - 4..HEAD)?.first_chunk()?;
    usize::try_from(u32::from_le_bytes(*count)).ok()
}

/// Whether the file is exactly as long as its count says. Text never is: read
/// as a count, four letters are over five hundred million.
pub(super) fn is_whole_binary(bytes: &[u8]) -> bool {
    announced_count(bytes)
        .and_then(|count| count.checked_mul(RECORD)?.checked_add(HEAD))
        .is_some_and(|length| length == bytes.len())
}

/// Reads a binary STL, or says why the bytes are none.
pub(super) fn read_binary(bytes: &[u8]) -> Result<Mesh<'_>, MeshError> {
    let Some(announced) = announced_count(bytes) else {
        return Err(MeshError::Truncated {
            at: None,
            found: format!("{} bytes", bytes.len()),
            expected: format!("the {HEAD} bytes that a binary STL begins with"),
        });
    };
    let body = &bytes[HEAD..];
    let (records, rest) = body.as_chunks::<RECORD>();
    if !is_whole_binary(bytes) {
        check_belief(records)?;
    }
    if announced > records.len() {
        return Err(MeshError::Truncated {
            at: None,
            found: format!("{} whole triangles", records.len()),
            expected: format!("{announced} by the header"),
        });
    }
    if announced < records.len() && rest.is_empty() {
        return Err(MeshError::CountMismatch {
            what: "triangles",
            announced,
            present: records.len(),
        });
    }
    if announced == 0 {
        return Err(MeshError::NoTriangles);
    }
    within_budget("triangles", announced, TRIANGLE_BUDGET)?;
    let records = &records[..announced];
    check_sound(records)?;
    Ok(Mesh {
        triangles: Triangles::Records(records),
        groups: Vec::new(),
        unit: None,
        remarks: Remark::trailing(body.len() - announced * RECORD)
            .into_iter()
            .collect(),
    })
}

/// Holds a file whose length does not fit its count to be an STL only if its
/// first triangle could be one: the bytes of anything else, read as numbers,
/// are scattered over every power of ten.
fn check_belief(records: &[Record]) -> Result<(), MeshError> {
    let believable = |number: f32| number == 0.0 || (1e-12..=LIMIT).contains(&number.abs());
    match records.first() {
        Some(record) if numbers(record).into_iter().all(believable) => Ok(()),
        None => Ok(()),
        Some(_) => Err(MeshError::NotAMesh {
            found: "binary data of no known format".to_owned(),
        }),
    }
}

/// Refuses a coordinate that is no length.
fn check_sound(records: &[Record]) -> Result<(), MeshError> {
    // Blocks that are checked without branches, since nearly every file is
    // sound.
    const BLOCK: usize = 256;
    let is_bad = |record: &Record| numbers(record).map(is_sound).contains(&false);
    let has_bad = |block: &[Record]| {
        let sound = block.iter().map(|record| {
            let each = numbers(record).map(is_sound);
            each.iter().fold(true, |all, sound| all & sound)
        });
        !sound.fold(true, |all, sound| all & sound)
    };
    let Some(block) = records.chunks(BLOCK).position(has_bad) else {
        return Ok(());
    };
    let mut after = records.iter().enumerate().skip(block * BLOCK);
    let (index, record) = after
        .find(|(_, record)| is_bad(record))
        .unwrap_or((0, &records[0]));
    let found = numbers(record)
        .into_iter()
        .find(|number| !is_sound(*number));
    Err(MeshError::BadCoordinate {
        at: None,
        of: "triangle",
        number: index + 1,
        found: found.unwrap_or(f32::NAN).into(),
    })
}

/// Finite and not absurdly large: [`super::is_sound`] in single precision.
fn is_sound(coordinate: f32) -> bool {
    coordinate.abs() <= LIMIT
}

/// The nine coordinates of a triangle, corner by corner.
pub(super) fn numbers(record: &Record) -> [f32; 9] {
    std::array::from_fn(|number| {
        let at = CORNERS + 4 * number;
        f32::from_le_bytes([record[at], record[at + 1], record[at + 2], record[at + 3]])
    })
}

/// Whether a text begins as an ASCII STL does, or one without its first line.
pub(super) fn is_ascii(text: &[u8]) -> bool {
    let first = Words::new(text).next().unwrap_or_default();
    first.eq_ignore_ascii_case(b"solid") || first.eq_ignore_ascii_case(b"facet")
}

/// Reads an ASCII STL, or says why the text is none.
///
/// Upper and lower case, any blanks and line ends, names with blanks or none,
/// and several solids in one file are all taken.
pub(super) fn read_ascii(bytes: &[u8]) -> Result<Mesh<'static>, MeshError> {
    let mut words = Words::new(bytes);
    let mut triangles = Vec::new();
    let mut groups = Groups::default();
    while let Some(word) = words.next() {
        if !word.eq_ignore_ascii_case(b"solid") {
            let first = triangles.is_empty() && word.eq_ignore_ascii_case(b"facet");
            let expected = "`solid`, or the end of the file";
            return Err(if first {
                MeshError::BadHeader {
                    at: words.spot,
                    found: shown(word),
                    expected: "the file to begin with `solid`",
                }
            } else {
                words.unexpected(word, expected)
            });
        }
        let name = printable(words.skip_line());
        let from = triangles.len() as u32;
        read_solid(&mut words, &mut triangles)?;
        groups.add(name.trim(), from..triangles.len() as u32);
    }
    if triangles.is_empty() {
        return Err(MeshError::NoTriangles);
    }
    Ok(Mesh {
        triangles: Triangles::Listed(triangles),
        groups: groups.list,
        unit: None,
        remarks: Vec::new(),
    })
}

/// The facets of one solid up to its `endsolid`.
fn read_solid(words: &mut Words, triangles: &mut Vec<[f32; 9]>) -> Result<(), MeshError> {
    loop {
        let word = words.need("`endsolid`")?;
        if word.eq_ignore_ascii_case(b"endsolid") {
            words.skip_line();
            return Ok(());
        }
        if !word.eq_ignore_ascii_case(b"facet") {
            return Err(words.cut_or_unexpected(word, "`facet` or `endsolid`"));
        }
        let number = triangles.len() + 1;
        within_budget("triangles", number, TRIANGLE_BUDGET)?;
        words.skip_line();
        triangles.push(read_facet(words, number)?);
    }
}

/// The rest of a facet past its normal; `triangle` is its number, from 1.
fn read_facet(words: &mut Words, triangle: usize) -> Result<[f32; 9], MeshError> {
    let mut numbers = [0.0; 9];
    words.keyword(b"outer", "`outer loop`")?;
    words.keyword(b"loop", "`outer loop`")?;
    for corner in numbers.chunks_exact_mut(3) {
        words.keyword(b"vertex", "`vertex`")?;
        for coordinate in corner {
            let word = words.need("a coordinate")?;
            *coordinate = words.coordinate(word, "triangle", triangle)?;
        }
    }
    words.keyword(b"endloop", "`endloop` after three corners")?;
    words.keyword(b"endfacet", "`endfacet`")?;
    Ok(numbers)
}
