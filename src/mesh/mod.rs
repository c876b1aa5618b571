//! One print: the triangles of its file, its size, area and volume.
//!
//! Bytes in, values out: this room never sees a file, a clock or a terminal.
//! [`read`] takes STL, OBJ, PLY and 3MF and tells them by the content, never by
//! a name; [`measure`] sums what is there; [`plausible_print`] says when a size
//! cannot be a print and the unit must be asked for.
//!
//! ```
//! # use tankside_kernel::mesh::{self, LengthUnit, MeshError};
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

mod boxes;
mod classes;
mod closed;
mod draft;
mod error;
mod flaw;
mod joint;
mod mask;
mod measure;
mod near;
mod obj;
mod ply;
mod polygon;
mod reach;
mod rooms;
pub mod shape;
mod size;
pub(crate) mod space;
mod stl;
mod survey;
mod texture;
mod threemf;
pub(crate) mod tree;
mod words;

use std::fmt;
use std::ops::Range;

pub use classes::classes_ply;
pub use closed::is_closed;
pub use error::{MeshError, Spot};
pub use flaw::{area_words, place, volume_words};
pub use joint::{Answer, Face, Fit, Gap, LEAST_GAP_MM, Mating, MatingKind, Which, least_gap};
pub use mask::{Mask, MaskError, MaskTaken};
pub use measure::{Measure, measure};
pub use size::{LengthUnit, SizeDoubt, UnknownUnit, plausible_print, size_beside};
pub use survey::{Cavity, Class, Defect, Facet, Flaw, Island, Order, Survey, survey};
pub use texture::{Printed, UnknownPrinting};

/// The endings that files of the formats usually have; what is in them is told
/// by the content.
pub const ENDINGS: &[&str] = &["stl", "obj", "ply", "3mf"];

/// The most triangles that a file may have: [`MeshError::TooLarge`] beyond.
///
/// A binary STL of this many is 1 GB, and far finer than any printer.
pub const TRIANGLE_BUDGET: usize = 20_000_000;

/// The most corners that OBJ, PLY and 3MF may number, all copies of a 3MF's
/// objects counted: [`MeshError::TooLarge`] beyond. A closed mesh has half as
/// many corners as triangles; these take 480 MB.
pub const CORNER_BUDGET: usize = 20_000_000;

/// The most bytes of a file: [`MeshError::TooLarge`] beyond. A binary STL of
/// [`TRIANGLE_BUDGET`] fits.
pub const BYTE_BUDGET: usize = 1 << 30;

/// The most bytes that the parts of a 3MF may unpack to, whatever its size:
/// [`MeshError::TooLarge`] beyond. They are read as they are unpacked and never
/// held whole.
pub const UNPACKED_BUDGET: u64 = 1 << 30;

/// The most copies of objects that a 3MF may build:
/// [`MeshError::TooManyInstances`] beyond.
pub const INSTANCE_BUDGET: usize = 10_000;

/// The most comparisons of a corner with an ear that all bent faces of a file
/// may take, a second or two: [`MeshError::TooLarge`] beyond.
const EAR_TEST_BUDGET: u64 = 400_000_000;

/// The largest coordinate that is believed, in the file's unit:
/// [`MeshError::BadCoordinate`] beyond. In mm it is a hundred kilometres;
/// single precision is off by four units there.
pub const COORDINATE_LIMIT: f64 = 1e8;

/// A corner of a triangle: x, y, z in the file's unit.
///
/// STL holds single precision. The texts of the other formats carry more, which
/// is kept: faces of two shells that coincide in the file still do, also after
/// the transforms of a 3MF.
pub type Corner = [f64; 3];

/// The triangles of one file, as they stand there.
///
/// Those of a binary STL stay in the bytes of the file and are read where they
/// lie: to copy a million of them takes longer than to sum them. Where the file
/// numbers its corners the mesh does too, in a third of the space.
#[derive(Debug, Clone, PartialEq)]
pub struct Mesh<'a> {
    triangles: Triangles<'a>,
    groups: Vec<Group>,
    /// The unit that the file names; only 3MF names one.
    pub unit: Option<LengthUnit>,
    /// What was passed over: harmless, but worth a word.
    pub remarks: Vec<Remark>,
}

#[derive(Debug, Clone, PartialEq)]
enum Triangles<'a> {
    Records(&'a [stl::Record]),
    Listed(Vec<[f32; 9]>),
    Numbered {
        corners: Vec<Corner>,
        triangles: Vec<[u32; 3]>,
    },
}

/// Triangles that the file has under a name: a solid of an STL, an object or a
/// group of an OBJ, an object of a 3MF. A triangle may be in several groups.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// The name, without control characters; never empty.
    pub name: String,
    /// Which triangles, counted from 0: runs that rise and do not overlap.
    pub runs: Vec<Range<u32>>,
}

impl Mesh<'_> {
    /// A mesh of these triangles, in no unit.
    pub fn of(triangles: Vec<[Corner; 3]>) -> Self {
        let numbers = (0..triangles.len() as u32).map(|at| [3 * at, 3 * at + 1, 3 * at + 2]);
        Self {
            triangles: Triangles::Numbered {
                triangles: numbers.collect(),
                corners: triangles.into_flattened(),
            },
            groups: Vec::new(),
            unit: None,
            remarks: Vec::new(),
        }
    }

    /// How many triangles there are. From [`read`] there is at least one.
    pub fn count(&self) -> usize {
        match &self.triangles {
            Triangles::Records(records) => records.len(),
            Triangles::Listed(triangles) => triangles.len(),
            Triangles::Numbered { triangles, .. } => triangles.len(),
        }
    }

    /// Three corners each, counter-clockwise seen from outside if the file is
    /// well made. From [`read`] every coordinate is finite.
    pub fn triangles(&self) -> impl Iterator<Item = [Corner; 3]> {
        let (records, listed, corners, numbered) = match &self.triangles {
            Triangles::Records(records) => (*records, &[][..], &[][..], &[][..]),
            Triangles::Listed(listed) => (&[][..], &listed[..], &[][..], &[][..]),
            Triangles::Numbered { corners, triangles } => {
                (&[][..], &[][..], &corners[..], &triangles[..])
            }
        };
        let single = records
            .iter()
            .map(stl::numbers)
            .chain(listed.iter().copied());
        let double = numbered.iter().map(|of| of.map(|at| corners[at as usize]));
        single.map(in_corners).chain(double)
    }

    /// Its triangles in mm, of numbers that are in `unit`.
    pub(crate) fn in_mm(&self, unit: LengthUnit) -> InMm<'_> {
        InMm {
            triangles: &self.triangles,
            count: self.count(),
            mm: unit.mm(),
        }
    }

    /// The named groups of the file, in its order.
    pub fn groups(&self) -> &[Group] {
        &self.groups
    }
}

/// The triangles of a mesh in mm, read where they lie: a copy of a million takes
/// longer than reading them twice.
#[derive(Debug, Clone, Copy)]
pub(crate) struct InMm<'a> {
    triangles: &'a Triangles<'a>,
    /// How many there are.
    pub(crate) count: usize,
    mm: f64,
}

impl InMm<'_> {
    /// The corners of triangle number `at`.
    #[inline]
    pub(crate) fn corners(&self, at: usize) -> [Corner; 3] {
        let corners = match self.triangles {
            Triangles::Records(records) => in_corners(stl::numbers(&records[at])),
            Triangles::Listed(listed) => in_corners(listed[at]),
            Triangles::Numbered { corners, triangles } => {
                triangles[at].map(|at| corners[at as usize])
            }
        };
        let [a, b, c] = corners;
        let in_mm = |[x, y, z]: Corner| [x * self.mm, y * self.mm, z * self.mm];
        [in_mm(a), in_mm(b), in_mm(c)]
    }
}

/// Nine coordinates as three corners.
fn in_corners([ax, ay, az, bx, by, bz, cx, cy, cz]: [f32; 9]) -> [Corner; 3] {
    [[ax, ay, az], [bx, by, bz], [cx, cy, cz]].map(|corner| corner.map(f64::from))
}

/// Something in a file that was passed over.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Remark {
    /// So many bytes follow what the file announces.
    TrailingBytes(usize),
    /// So many parts of a kind do not count.
    Skipped {
        /// Of what kind, in the plural.
        what: &'static str,
        /// How many there are.
        count: usize,
    },
}

impl Remark {
    fn trailing(bytes: usize) -> Option<Self> {
        (bytes > 0).then_some(Self::TrailingBytes(bytes))
    }

    fn skipped(what: &'static str, count: usize) -> Option<Self> {
        (count > 0).then_some(Self::Skipped { what, count })
    }
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TrailingBytes(bytes) => {
                write!(f, "{bytes} bytes after the last triangle are not read")
            }
            Self::Skipped { what, count } => write!(f, "left out: {what} ({count})"),
        }
    }
}

/// Finite and not absurdly large.
fn is_sound(coordinate: f64) -> bool {
    coordinate.abs() <= COORDINATE_LIMIT
}

/// Whether a file of so many bytes is read at all: to be asked before its bytes
/// are fetched.
///
/// # Errors
/// [`MeshError::TooLarge`] over [`BYTE_BUDGET`].
pub fn check_length(bytes: u64) -> Result<(), MeshError> {
    let bytes = usize::try_from(bytes).unwrap_or(usize::MAX);
    draft::within_budget("bytes", bytes, BYTE_BUDGET)
}

/// Reads a mesh file: STL (binary or ASCII), OBJ, PLY (ASCII or binary of
/// either byte order) or 3MF.
///
/// # Errors
/// Every [`MeshError`]; it says what was found, what was expected and, with
/// [`MeshError::remedy`], what to do. A count in the file is checked against
/// the bytes that are there before anything is allocated for it.
pub fn read(bytes: &[u8]) -> Result<Mesh<'_>, MeshError> {
    let mesh = parsed(bytes)?;
    let raw = mesh.in_mm(LengthUnit::Mm);
    let has_area = |at: usize| space::area(raw.corners(at)) > 0.0;
    // The first has, as a rule.
    if (0..raw.count).any(has_area) {
        Ok(mesh)
    } else {
        Err(MeshError::NoTriangles)
    }
}

fn parsed(bytes: &[u8]) -> Result<Mesh<'_>, MeshError> {
    check_length(bytes.len() as u64)?;
    if bytes.trim_ascii_start().is_empty() {
        return Err(MeshError::EmptyFile);
    }
    if stl::is_whole_binary(bytes) {
        return stl::read_binary(bytes);
    }
    if ply::is_ply(bytes) {
        return ply::read(bytes);
    }
    if threemf::is_zip(bytes) {
        return threemf::read(bytes);
    }
    if let Some(foreign) = foreign_format(bytes) {
        return Err(foreign);
    }
    if !is_text(bytes) {
        stl::read_binary(bytes)
    } else if stl::is_ascii(bytes) {
        stl::read_ascii(bytes)
    } else if obj::is_obj(bytes) {
        obj::read(bytes)
    } else {
        let first = words::Words::new(bytes).next().unwrap_or_default();
        Err(MeshError::NotAMesh {
            found: format!("text that begins with `{}`", words::shown(first)),
        })
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
    const OTHER_MESHES: [(&[u8], &str); 2] = [(b"glTF", "binary glTF"), (b"ISO-10303-21", "STEP")];
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
        Some((*format).to_owned())
    };
    if let Some(found) = named(&OTHER_MESHES) {
        return Some(MeshError::unread_format(found));
    }
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    if text.starts_with(b"<?xml") || text.starts_with(b"<model") {
        return Some(threemf::bare_xml(text));
    }
    named(&NO_MESHES).map(|found| MeshError::NotAMesh { found })
}
