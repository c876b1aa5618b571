//! OBJ: corners, faces and groups; everything else is passed over.
//!
//! From memory of the format's description in the Advanced Visualizer manual
//! (Wavefront, about 1990): one statement a line, a `\` at the end of a line
//! goes on with the next; faces name corners from 1, or from -1 backwards.

use super::draft::Draft;
use super::words::{Words, parsed, printable, shown};
use super::{Group, Mesh, MeshError, Remark};

/// Whether one of the first lines of the text is a corner as OBJ writes it.
pub(super) fn is_obj(text: &[u8]) -> bool {
    let mut words = Words::new(text);
    for _ in 0..10_000 {
        let is_corner = words.next_on_line() == Some(b"v");
        if is_corner && (0..3).all(|_| words.next_on_line().is_some_and(is_number_like)) {
            return true;
        }
        words.skip_line();
        words.end_line();
    }
    false
}

/// Whether the word could be meant as a number: one with a decimal comma is
/// refused in its place, not taken for another format.
fn is_number_like(word: &[u8]) -> bool {
    let digits = word.strip_prefix(b"-").unwrap_or(word);
    digits.first().is_some_and(u8::is_ascii_digit) || parsed::<f64>(word).is_some()
}

/// Reads an OBJ file.
pub(super) fn read(bytes: &[u8]) -> Result<Mesh<'static>, MeshError> {
    let mut reader = Reader {
        words: Words::new(bytes),
        draft: Draft::new(),
        face: Vec::new(),
        object: Named::default(),
        groups: Named::default(),
        thin_faces: 0,
        surfaces: 0,
    };
    loop {
        if let Some(statement) = reader.words.next_on_line() {
            reader.statement(statement)?;
        }
        reader.words.skip_line();
        if !reader.words.end_line() {
            break;
        }
    }
    reader.object.close(&mut reader.draft);
    reader.groups.close(&mut reader.draft);
    // Groups that went on over an object are closed after it.
    let began = |group: &Group| group.runs.first().map(|run| run.start);
    reader.draft.groups.list.sort_by_key(began);
    let remarks = &mut reader.draft.remarks;
    remarks.extend(Remark::skipped(
        "faces of two corners or fewer",
        reader.thin_faces,
    ));
    remarks.extend(Remark::skipped("curved surfaces", reader.surfaces));
    reader.draft.finish(None)
}

struct Reader<'a> {
    words: Words<'a>,
    draft: Draft,
    /// Scratch: the corners of one face.
    face: Vec<u32>,
    /// The object that faces belong to.
    object: Named,
    /// The groups that they belong to.
    groups: Named,
    thin_faces: usize,
    surfaces: usize,
}

/// Names in force.
#[derive(Default)]
struct Named {
    names: Vec<String>,
    /// The first triangle that they are for.
    from: u32,
}

impl Named {
    /// The triangles since then belong to these names.
    fn close(&mut self, draft: &mut Draft) {
        let run = self.from..draft.count();
        for name in &self.names {
            draft.groups.add(name, run.clone());
        }
        self.from = run.end;
    }
}

impl Reader<'_> {
    fn statement(&mut self, statement: &[u8]) -> Result<(), MeshError> {
        match statement {
            b"v" => self.corner()?,
            b"f" | b"fo" => self.face()?,
            b"g" => {
                self.object.close(&mut self.draft);
                self.groups.close(&mut self.draft);
                self.groups.names.clear();
                while let Some(name) = self.words.next_on_line() {
                    self.groups.names.push(printable(name));
                }
            }
            b"o" => {
                // The groups go on; there may be too many of them to be gone
                // over at every object.
                self.object.close(&mut self.draft);
                self.object.names.clear();
                let name = printable(self.words.skip_line());
                self.object.names.push(name.trim().to_owned());
            }
            b"surf" => self.surfaces += 1,
            _ => {}
        }
        Ok(())
    }

    /// Three coordinates; a weight or a colour behind them is left.
    fn corner(&mut self) -> Result<(), MeshError> {
        let number = self.draft.corners.len() + 1;
        let mut corner = [0.0; 3];
        for coordinate in &mut corner {
            let word = self.words.need_on_line("a coordinate")?;
            *coordinate = self.words.coordinate(word, "vertex", number)?;
        }
        self.draft.add_corner(corner)
    }

    fn face(&mut self) -> Result<(), MeshError> {
        self.face.clear();
        while let Some(word) = self.words.next_on_line() {
            let end = memchr::memchr(b'/', word).unwrap_or(word.len());
            let Some(number) = parsed::<i64>(&word[..end]) else {
                let expected = "the number of a corner";
                return Err(self.words.cut_or_unexpected(word, expected));
            };
            let index = self.index(number).ok_or_else(|| MeshError::BadIndex {
                at: Some(self.words.spot),
                found: shown(&word[..end]),
                expected: match self.draft.corners.len() {
                    0 => "corners before it".to_owned(),
                    count => format!("1 to {count}, or -1 to -{count}"),
                },
            })?;
            self.face.push(index);
        }
        if self.face.len() < 3 {
            self.thin_faces += 1;
            return Ok(());
        }
        self.draft.add_face(&self.face)
    }

    /// The corner that a number means; none if it is not there.
    fn index(&self, number: i64) -> Option<u32> {
        let count = self.draft.corners.len();
        let distance = usize::try_from(number.unsigned_abs()).ok()?;
        let index = if number < 0 {
            count.checked_sub(distance)?
        } else {
            distance.checked_sub(1)?
        };
        (index < count).then_some(index as u32)
    }
}
