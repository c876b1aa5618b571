//! STL, binary and ASCII.
//!
//! Layouts from memory of the format's first description (3D Systems, 1989):
//! binary is an 80-byte header, a 32-bit count and 50 bytes for each triangle
//! (normal, three corners, an attribute word), all little-endian. The normal is
//! not read, since exporters leave it zero or not a number; the attribute word
//! (a colour, if anything) neither.

use super::{COORDINATE_LIMIT, Corner, Mesh, MeshError, TRIANGLE_BUDGET, Triangles};

/// Header and count of a binary STL, in bytes.
const HEAD: usize = 84;
/// One triangle of a binary STL, in bytes.
const RECORD: usize = 50;
/// One triangle of a binary STL.
pub(super) type Record = [u8; RECORD];
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
            line: None,
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
            line: None,
            found: format!("{} whole triangles", records.len()),
            expected: format!("{announced} by the header"),
        });
    }
    if announced < records.len() && rest.is_empty() {
        return Err(MeshError::CountMismatch {
            announced,
            present: records.len(),
        });
    }
    if announced == 0 {
        return Err(MeshError::NoTriangles);
    }
    if announced > TRIANGLE_BUDGET {
        return Err(MeshError::TooLarge {
            triangles: announced,
        });
    }
    let records = &records[..announced];
    check_sound(records)?;
    Ok(Mesh {
        triangles: Triangles::Records(records),
        unit: None,
        trailing_bytes: body.len() - announced * RECORD,
    })
}

/// Holds a file whose length does not fit its count to be an STL only if its
/// first triangle could be one: the bytes of anything else, read as numbers,
/// are scattered over every power of ten.
fn check_belief(records: &[Record]) -> Result<(), MeshError> {
    let believable =
        |number: f32| number == 0.0 || (1e-12..=COORDINATE_LIMIT).contains(&number.abs());
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
        line: None,
        triangle: index + 1,
        found: found.unwrap_or(f32::NAN),
    })
}

/// Finite and not absurdly large.
fn is_sound(coordinate: f32) -> bool {
    coordinate.abs() <= COORDINATE_LIMIT
}

/// The nine coordinates of a triangle, corner by corner.
pub(super) fn numbers(record: &Record) -> [f32; 9] {
    std::array::from_fn(|number| {
        let at = CORNERS + 4 * number;
        f32::from_le_bytes([record[at], record[at + 1], record[at + 2], record[at + 3]])
    })
}

/// The corners of a triangle.
pub(super) fn corners(record: &Record) -> [Corner; 3] {
    let [ax, ay, az, bx, by, bz, cx, cy, cz] = numbers(record);
    [[ax, ay, az], [bx, by, bz], [cx, cy, cz]]
}

/// Reads an ASCII STL, or says why the text is none.
///
/// Upper and lower case, any blanks and line ends, names with blanks or none,
/// and several solids in one file are all taken.
pub(super) fn read_ascii(bytes: &[u8]) -> Result<Mesh<'_>, MeshError> {
    let mut words = Words::new(bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes));
    let mut triangles = Vec::new();
    check_first_word(&words)?;
    while let Some(word) = words.next() {
        if !word.eq_ignore_ascii_case(b"solid") {
            return Err(words.unexpected(word, "`solid`, or the end of the file"));
        }
        words.skip_line();
        read_solid(&mut words, &mut triangles)?;
    }
    if triangles.is_empty() {
        return Err(MeshError::NoTriangles);
    }
    Ok(Mesh::of(triangles))
}

/// Tells an ASCII STL from other text by its first word.
fn check_first_word(words: &Words) -> Result<(), MeshError> {
    let mut ahead = words.clone();
    let first = ahead.next().unwrap_or_default();
    if first.eq_ignore_ascii_case(b"solid") {
        return Ok(());
    }
    if first.eq_ignore_ascii_case(b"facet") {
        return Err(MeshError::BadHeader {
            line: ahead.line,
            found: shown(first),
        });
    }
    if looks_like_obj(words.bytes) {
        return Err(MeshError::Unsupported { format: "OBJ" });
    }
    Err(MeshError::NotAMesh {
        found: format!("text that begins with `{}`", shown(first)),
    })
}

/// Whether one of the first lines of the text is a vertex as OBJ writes it.
fn looks_like_obj(text: &[u8]) -> bool {
    let mut lines = text.split(|&byte| byte == b'\n').take(1000);
    lines.any(|line| {
        let mut words = Words::new(line);
        words.next() == Some(b"v") && (0..3).all(|_| words.next().and_then(number).is_some())
    })
}

/// The facets of one solid up to its `endsolid`.
fn read_solid(words: &mut Words, triangles: &mut Vec<[Corner; 3]>) -> Result<(), MeshError> {
    loop {
        let word = words.need("`endsolid`")?;
        if word.eq_ignore_ascii_case(b"endsolid") {
            words.skip_line();
            return Ok(());
        }
        if !word.eq_ignore_ascii_case(b"facet") {
            return Err(words.cut_or_unexpected(word, "`facet` or `endsolid`"));
        }
        if triangles.len() == TRIANGLE_BUDGET {
            return Err(MeshError::TooLarge {
                triangles: TRIANGLE_BUDGET + 1,
            });
        }
        words.skip_line();
        triangles.push(read_facet(words, triangles.len() + 1)?);
    }
}

/// The rest of a facet past its normal; `triangle` is its number, from 1.
fn read_facet(words: &mut Words, triangle: usize) -> Result<[Corner; 3], MeshError> {
    let mut corners = [[0.0; 3]; 3];
    words.keyword(b"outer", "`outer loop`")?;
    words.keyword(b"loop", "`outer loop`")?;
    for corner in &mut corners {
        words.keyword(b"vertex", "`vertex`")?;
        for coordinate in corner {
            *coordinate = words.coordinate(triangle)?;
        }
    }
    words.keyword(b"endloop", "`endloop` after three corners")?;
    words.keyword(b"endfacet", "`endfacet`")?;
    Ok(corners)
}

/// The words of a text, with the line that the last one stood on.
#[derive(Clone)]
struct Words<'a> {
    bytes: &'a [u8],
    line: usize,
}

impl<'a> Words<'a> {
    fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, line: 1 }
    }

    /// The next word; none at the end.
    fn next(&mut self) -> Option<&'a [u8]> {
        let is_blank = |byte: &u8| byte.is_ascii_whitespace();
        while let Some(byte) = self.bytes.first().filter(|byte| is_blank(byte)) {
            let before_line_feed = self.bytes.get(1) == Some(&b'\n');
            self.line += usize::from(*byte == b'\n' || (*byte == b'\r' && !before_line_feed));
            self.bytes = &self.bytes[1..];
        }
        let end = self.bytes.iter().position(is_blank);
        let (word, rest) = self.bytes.split_at(end.unwrap_or(self.bytes.len()));
        self.bytes = rest;
        (!word.is_empty()).then_some(word)
    }

    /// Leaves out the rest of the line.
    fn skip_line(&mut self) {
        let end = self
            .bytes
            .iter()
            .position(|byte| matches!(byte, b'\n' | b'\r'));
        self.bytes = &self.bytes[end.unwrap_or(self.bytes.len())..];
    }

    /// The next word, which has to be there.
    fn need(&mut self, expected: &str) -> Result<&'a [u8], MeshError> {
        self.next().ok_or_else(|| MeshError::Truncated {
            line: Some(self.line),
            found: "the end of the file".to_owned(),
            expected: expected.to_owned(),
        })
    }

    fn keyword(&mut self, keyword: &[u8], expected: &'static str) -> Result<(), MeshError> {
        let word = self.need(expected)?;
        if word.eq_ignore_ascii_case(keyword) {
            return Ok(());
        }
        Err(self.cut_or_unexpected(word, expected))
    }

    fn coordinate(&mut self, triangle: usize) -> Result<f32, MeshError> {
        let word = self.need("a coordinate")?;
        match number(word) {
            Some(value) if is_sound(value) => Ok(value),
            Some(found) => Err(MeshError::BadCoordinate {
                line: Some(self.line),
                triangle,
                found,
            }),
            None => Err(self.cut_or_unexpected(word, "a coordinate")),
        }
    }

    /// The refusal of a word; as the very last bytes of the file it is taken
    /// for the first half of a word that was cut.
    fn cut_or_unexpected(&self, word: &[u8], expected: &'static str) -> MeshError {
        if self.bytes.is_empty() {
            return MeshError::Truncated {
                line: Some(self.line),
                found: format!("`{}` at the end of the file", shown(word)),
                expected: expected.to_owned(),
            };
        }
        self.unexpected(word, expected)
    }

    fn unexpected(&self, word: &[u8], expected: &'static str) -> MeshError {
        MeshError::Parse {
            line: self.line,
            found: shown(word),
            expected,
        }
    }
}

/// A number as C writes it, including the `nan(ind)` of some libraries.
fn number(word: &[u8]) -> Option<f32> {
    let text = std::str::from_utf8(word).ok()?;
    text.split('(').next()?.parse().ok()
}

/// A word of the file for a message: without control characters, and short.
fn shown(word: &[u8]) -> String {
    let text = String::from_utf8_lossy(word);
    text.chars().filter(|c| !c.is_control()).take(24).collect()
}
