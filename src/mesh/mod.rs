//! One print: the triangles of its file, its size, area and volume.
//!
//! Bytes in, values out: this room never sees a file, a clock or a terminal.
//! [`read`] tells the format by the content, never by a name; [`measure`] sums
//! what is there; [`plausible_print`] says when a size cannot be a print and
//! the unit must be asked for.
//!
//! ```
//! # use tankside::mesh::{self, LengthUnit, MeshError};
//! let file = b"solid tip
//!   facet normal 0 0 1
//!     outer loop
//!       vertex 0 0 0
//!       vertex 3 0 0
//!       vertex 0 4 0
//!     endloop
//!   endfacet
//! endsolid tip";
//! let tip = mesh::read(file)?;
//! let measure = mesh::measure(&tip, tip.unit.unwrap_or(LengthUnit::Cm));
//! assert_eq!(measure.triangles, 1);
//! assert!((measure.naive_area_mm2 - 600.0).abs() < 1e-9);
//! # Ok::<(), MeshError>(())
//! ```

mod closed;
mod error;
mod measure;
mod size;
mod stl;

pub use closed::is_closed;
pub use error::MeshError;
pub use measure::{Measure, measure};
pub use size::{LengthUnit, SizeDoubt, UnknownUnit, plausible_print};

/// The most triangles that a file may have: [`MeshError::TooLarge`] beyond.
///
/// A binary STL of this many is 1 GB, and far finer than any printer.
pub const TRIANGLE_BUDGET: usize = 20_000_000;

/// The largest coordinate that is believed, in the file's unit:
/// [`MeshError::BadCoordinate`] beyond. In mm it is a thousand kilometres.
pub const COORDINATE_LIMIT: f32 = 1e9;

/// A corner of a triangle: x, y, z in the file's unit.
pub type Corner = [f32; 3];

/// The triangles of one file, as they stand there.
///
/// Those of a binary STL stay in the bytes of the file and are read where they
/// lie: to copy a million of them takes longer than to sum them.
#[derive(Debug, Clone, PartialEq)]
pub struct Mesh<'a> {
    triangles: Triangles<'a>,
    /// The unit that the file names; an STL names none.
    pub unit: Option<LengthUnit>,
    /// Bytes that follow the last triangle and were left unread: harmless, but
    /// worth a remark.
    pub trailing_bytes: usize,
}

#[derive(Debug, Clone, PartialEq)]
enum Triangles<'a> {
    Records(&'a [stl::Record]),
    Listed(Vec<[Corner; 3]>),
}

impl Mesh<'_> {
    /// A mesh of these triangles, in no unit.
    pub fn of(triangles: Vec<[Corner; 3]>) -> Self {
        Self {
            triangles: Triangles::Listed(triangles),
            unit: None,
            trailing_bytes: 0,
        }
    }

    /// How many triangles there are. From [`read`] there is at least one.
    pub fn count(&self) -> usize {
        match &self.triangles {
            Triangles::Records(records) => records.len(),
            Triangles::Listed(triangles) => triangles.len(),
        }
    }

    /// Three corners each, counter-clockwise seen from outside if the file is
    /// well made. From [`read`] every coordinate is finite.
    pub fn triangles(&self) -> impl Iterator<Item = [Corner; 3]> {
        let (records, listed): (&[stl::Record], &[[Corner; 3]]) = match &self.triangles {
            Triangles::Records(records) => (records, &[]),
            Triangles::Listed(triangles) => (&[], triangles),
        };
        records
            .iter()
            .map(stl::corners)
            .chain(listed.iter().copied())
    }
}

/// Reads a mesh file: binary or ASCII STL.
///
/// # Errors
/// Every [`MeshError`]; it says what was found, what was expected and, with
/// [`MeshError::remedy`], what to do. A count in the file is checked against
/// the bytes that are there before anything is allocated for it.
pub fn read(bytes: &[u8]) -> Result<Mesh<'_>, MeshError> {
    if bytes.trim_ascii_start().is_empty() {
        return Err(MeshError::EmptyFile);
    }
    if stl::is_whole_binary(bytes) {
        return stl::read_binary(bytes);
    }
    if let Some(foreign) = foreign_format(bytes) {
        return Err(foreign);
    }
    if is_text(bytes) {
        stl::read_ascii(bytes)
    } else {
        stl::read_binary(bytes)
    }
}

/// Whether the beginning of the file could be text: there is no zero byte.
/// A binary STL has one in its header or its count.
fn is_text(bytes: &[u8]) -> bool {
    !bytes.iter().take(1024).any(|&byte| byte == 0)
}

/// The refusal of a file that begins as another format does.
///
/// The signatures are from memory of the formats' own documents.
fn foreign_format(bytes: &[u8]) -> Option<MeshError> {
    const OTHER_MESHES: [(&[u8], &str); 6] = [
        (b"ply\n", "PLY"),
        (b"ply\r", "PLY"),
        (b"PK\x03\x04", "a ZIP archive, as 3MF is"),
        (b"glTF", "binary glTF"),
        (b"<?xml", "XML, as AMF is"),
        (b"ISO-10303-21", "STEP"),
    ];
    const NO_MESHES: [(&[u8], &str); 6] = [
        (b"\x89PNG", "a PNG picture"),
        (b"\xff\xd8\xff", "a JPEG picture"),
        (b"GIF8", "a GIF picture"),
        (b"%PDF", "a PDF document"),
        (b"\x1f\x8b", "a gzip archive"),
        (b"\x7fELF", "a program"),
    ];
    let named = |table: &[(&[u8], &'static str)]| {
        let (_, format) = table.iter().find(|(start, _)| bytes.starts_with(start))?;
        Some(*format)
    };
    if let Some(format) = named(&OTHER_MESHES) {
        return Some(MeshError::Unsupported { format });
    }
    let format = named(&NO_MESHES)?;
    Some(MeshError::NotAMesh {
        found: format.to_owned(),
    })
}
