//! Why a file is no mesh that can be read.

use super::{COORDINATE_LIMIT, TRIANGLE_BUDGET};

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
    #[error("found {found}; expected a mesh in STL")]
    NotAMesh {
        /// What the content looks like.
        found: String,
    },

    /// A mesh, or a drawing, in a format that is not read.
    #[error("found {format}; only STL is read")]
    Unsupported {
        /// The format's name.
        format: &'static str,
    },

    /// Triangles without the line that has to come before them.
    #[error("line {line}: found `{found}`; expected the file to begin with `solid`")]
    BadHeader {
        /// Line of the first word, from 1.
        line: usize,
        /// The first word.
        found: String,
    },

    /// The file ends before the data that it announces.
    #[error("{}cut short: found {found}; expected {expected}", at_line(*line))]
    Truncated {
        /// The last line, from 1, of a text file.
        line: Option<usize>,
        /// What is there.
        found: String,
        /// What the file announces.
        expected: String,
    },

    /// More whole triangles follow than the header announces.
    #[error("the header announces {announced} triangles; found {present}")]
    CountMismatch {
        /// The count in the header.
        announced: usize,
        /// Whole triangles in the file.
        present: usize,
    },

    /// A coordinate that is no number, infinite or absurdly large.
    #[error(
        "{}triangle {triangle} has the coordinate {found}; expected a number within ±{COORDINATE_LIMIT:e}",
        at_line(*line)
    )]
    BadCoordinate {
        /// Line in a text file, from 1.
        line: Option<usize>,
        /// Which triangle, from 1.
        triangle: usize,
        /// The coordinate.
        found: f32,
    },

    /// A well-formed file without a single triangle.
    #[error("found no triangles; expected at least one")]
    NoTriangles,

    /// A word in a text file that does not belong there.
    #[error("line {line}: found `{found}`; expected {expected}")]
    Parse {
        /// Line of the word, from 1.
        line: usize,
        /// The word, shortened if it is long.
        found: String,
        /// What could stand there.
        expected: &'static str,
    },

    /// More triangles than [`TRIANGLE_BUDGET`].
    #[error("found {triangles} triangles or more; at most {TRIANGLE_BUDGET} are read")]
    TooLarge {
        /// Triangles seen when reading stopped.
        triangles: usize,
    },
}

impl MeshError {
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
            Self::TooLarge { .. } => "too_large",
        }
    }

    /// The line in a text file, from 1.
    pub fn line(&self) -> Option<usize> {
        match self {
            Self::BadHeader { line, .. } | Self::Parse { line, .. } => Some(*line),
            Self::Truncated { line, .. } | Self::BadCoordinate { line, .. } => *line,
            _ => None,
        }
    }

    /// What to do about it, as one sentence.
    pub fn remedy(&self) -> String {
        match self {
            Self::EmptyFile | Self::NoTriangles => {
                "Export the piece again and see that something is selected."
            }
            Self::NotAMesh { .. } => "Give the STL file of the piece.",
            Self::Unsupported { .. } => "Export the piece as STL.",
            Self::BadHeader { .. } => "Put a line `solid` first, or export the piece again.",
            Self::Truncated { .. } => "Copy the file again from where it came, or export it again.",
            Self::CountMismatch { .. } => "Export the piece again: its header is wrong.",
            Self::BadCoordinate { .. } => {
                "Repair the model where it was drawn and export it again."
            }
            Self::Parse { found, .. } if found.contains(',') => {
                "Export again with a decimal point instead of a comma, or as binary STL."
            }
            Self::Parse { .. } => "Correct that line, or export the piece as binary STL.",
            Self::TooLarge { .. } => "Reduce the mesh in the modeller and export it again.",
        }
        .to_owned()
    }
}

/// `line 7: ` in front of a message about a text file.
fn at_line(line: Option<usize>) -> String {
    line.map_or_else(String::new, |line| format!("line {line}: "))
}
