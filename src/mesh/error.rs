//! Why a file is no mesh that can be read.

use std::fmt;

use super::{COORDINATE_LIMIT, INSTANCE_BUDGET};

/// Where in a text something stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spot {
    /// The line, from 1.
    pub line: usize,
    /// The column, from 1, in bytes.
    pub column: usize,
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}", self.line, self.column)
    }
}

/// Why a file could not be read: what was found, and what was expected.
///
/// The message does not name the file, which this room never sees.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MeshError {
    /// No bytes, or nothing but blanks.
    #[error("the file is empty; expected a mesh")]
    EmptyFile,

    /// The content is none of the formats that a mesh comes in.
    #[error("found {found}; expected a mesh in STL, OBJ, PLY or 3MF")]
    NotAMesh {
        /// What the content looks like.
        found: String,
    },

    /// A mesh, or a drawing, in a format or a packing that is not read.
    #[error("found {found}; only {expected} is read")]
    Unsupported {
        /// What it is.
        found: String,
        /// What is read.
        expected: &'static str,
    },

    /// A beginning that lacks something or has it wrong.
    #[error("{at}: found `{found}`; expected {expected}")]
    BadHeader {
        /// Where the word stands.
        at: Spot,
        /// The word.
        found: String,
        /// What could stand there.
        expected: &'static str,
    },

    /// The file ends before the data that it announces.
    #[error("{}cut short: found {found}; expected {expected}", before(*at))]
    Truncated {
        /// The end of a text file.
        at: Option<Spot>,
        /// What is there.
        found: String,
        /// What the file announces.
        expected: String,
    },

    /// More follows, whole, than the header announces.
    #[error("the header announces {announced} {what}; found {present}")]
    CountMismatch {
        /// Of what, in the plural.
        what: &'static str,
        /// The count in the header.
        announced: usize,
        /// The count in the file.
        present: usize,
    },

    /// A coordinate that is no number, infinite or absurdly large.
    #[error(
        "{}{of} {number} has the coordinate {found:e}; expected a number within ±{COORDINATE_LIMIT:e}",
        before(*at)
    )]
    BadCoordinate {
        /// Where in a text file.
        at: Option<Spot>,
        /// Whose: `triangle` or `vertex`.
        of: &'static str,
        /// Which of them, from 1.
        number: usize,
        /// The coordinate.
        found: f64,
    },

    /// A face names a corner that is not there.
    #[error("{}a face names the corner {found}; expected {expected}", before(*at))]
    BadIndex {
        /// Where in a text file.
        at: Option<Spot>,
        /// The number as it stands in the file.
        found: String,
        /// The numbers that could stand there.
        expected: String,
    },

    /// A well-formed file without a single triangle that has an area.
    #[error("found no triangle that has an area; expected at least one")]
    NoTriangles,

    /// A word in a file that does not belong there.
    #[error("{}found {found}; expected {expected}", before(*at))]
    Parse {
        /// Where in a text file.
        at: Option<Spot>,
        /// What stands there, shortened if it is long.
        found: String,
        /// What could stand there.
        expected: &'static str,
    },

    /// An archive that is damaged, or none where one is expected.
    #[error("found {found}; expected the whole ZIP archive of a 3MF")]
    BadZip {
        /// What is wrong.
        found: String,
    },

    /// A name that leads out of the archive. Nothing outside is ever opened.
    #[error("the archive refers to `{name}`, which leads out of it")]
    UnsafePath {
        /// The name.
        name: String,
    },

    /// Something is referred to that is not in the file.
    #[error("{name} is referred to and is not in the file")]
    MissingPart {
        /// What it is.
        name: String,
    },

    /// More than one of the budgets allows.
    #[error("found {found} {what} or more; at most {limit} are read")]
    TooLarge {
        /// Of what, in the plural.
        what: &'static str,
        /// How many when reading stopped.
        found: u64,
        /// The budget.
        limit: u64,
    },

    /// More copies of objects than [`INSTANCE_BUDGET`], or objects within
    /// objects beyond any sense.
    #[error("its objects are built more than {INSTANCE_BUDGET} times or nested too deeply")]
    TooManyInstances,

    /// An object that contains itself.
    #[error("object {object} contains itself")]
    ComponentCycle {
        /// Its number in the file.
        object: u32,
    },

    /// A document type or an entity in XML, which no 3MF may have.
    #[error("{at}: found {found}; expected plain XML without a document type or entities")]
    XmlEntity {
        /// Where.
        at: Spot,
        /// What stands there.
        found: String,
    },

    /// Trouble within a part of a 3MF.
    #[error("in {part}: {error}")]
    InPart {
        /// The part's name; lines and columns are counted in it.
        part: String,
        /// The trouble.
        error: Box<Self>,
    },
}

impl MeshError {
    pub(super) fn unread_format(found: String) -> Self {
        Self::Unsupported {
            found,
            expected: "STL, OBJ, PLY or 3MF",
        }
    }

    /// One word for programs, stable between versions.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::EmptyFile => "empty_file",
            Self::NotAMesh { .. } => "not_a_mesh",
            Self::Unsupported { .. } => "unsupported",
            Self::BadHeader { .. } => "bad_header",
            Self::Truncated { .. } => "truncated",
            Self::CountMismatch { .. } => "count_mismatch",
            Self::BadCoordinate { .. } => "bad_coordinate",
            Self::NoTriangles => "no_triangles",
            Self::Parse { .. } => "parse",
            Self::BadIndex { .. } => "bad_index",
            Self::BadZip { .. } => "bad_zip",
            Self::UnsafePath { .. } => "unsafe_path",
            Self::MissingPart { .. } => "missing_part",
            Self::TooLarge { .. } => "too_large",
            Self::TooManyInstances => "too_many_instances",
            Self::ComponentCycle { .. } => "component_cycle",
            Self::XmlEntity { .. } => "xml_entity",
            Self::InPart { error, .. } => error.kind(),
        }
    }

    /// Where in a text file; none within a part of a 3MF, where the message has
    /// it.
    pub fn spot(&self) -> Option<Spot> {
        match self {
            Self::BadHeader { at, .. } | Self::XmlEntity { at, .. } => Some(*at),
            Self::Truncated { at, .. }
            | Self::BadCoordinate { at, .. }
            | Self::BadIndex { at, .. }
            | Self::Parse { at, .. } => *at,
            _ => None,
        }
    }

    /// The line in a text file, from 1.
    pub fn line(&self) -> Option<usize> {
        self.spot().map(|spot| spot.line)
    }

    /// What to do about it, as one sentence.
    pub fn remedy(&self) -> String {
        match self {
            Self::EmptyFile | Self::NoTriangles => {
                "Export the piece again and see that something is selected."
            }
            Self::NotAMesh { .. } => "Give the STL, OBJ, PLY or 3MF file of the piece.",
            Self::Unsupported { .. } => "Export the piece as STL or as a plain 3MF.",
            Self::BadHeader { .. } => "Correct that line, or export the piece again.",
            Self::Truncated { .. } | Self::BadZip { .. } => {
                "Copy the file again from where it came, or export it again."
            }
            Self::CountMismatch { .. } => "Export the piece again: its header is wrong.",
            Self::BadCoordinate { .. } => {
                "Repair the model where it was drawn and export it again."
            }
            Self::Parse { found, .. } if found.contains(',') => {
                "Export again with a decimal point instead of a comma, or as binary STL."
            }
            Self::Parse { .. } | Self::BadIndex { .. } => {
                "Correct it there, or export the piece again, best as binary STL."
            }
            Self::UnsafePath { .. }
            | Self::MissingPart { .. }
            | Self::ComponentCycle { .. }
            | Self::XmlEntity { .. } => "Export the piece again, as 3MF from a slicer or as STL.",
            Self::TooLarge { .. } => {
                "Reduce the mesh in the modeller, or export it as binary STL if it is none."
            }
            Self::TooManyInstances => "Export one piece, not the whole plate.",
            Self::InPart { error, .. } => return error.remedy(),
        }
        .to_owned()
    }
}

/// `line 7, column 3: ` in front of a message about a text file.
fn before(at: Option<Spot>) -> String {
    at.map_or_else(String::new, |spot| format!("{spot}: "))
}
