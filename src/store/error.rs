//! What can go wrong with a project's files.

use std::io;
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::ron_text::{self, PathError};
use crate::project::{DefinitionError, Refusal};
use crate::units::{excerpt, is_unseen};

/// What an error repeats of a file is told by its ends beyond this, in bytes.
const LONGEST: usize = 1000;

/// What kind of trouble, one word for scripts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum ErrorKind {
    /// There is nothing at the path.
    NotFound,
    /// What is there is no project's folder.
    NotAProject,
    /// There is a project already where a new one was to be.
    Exists,
    /// `project.ron` does not read.
    Definition,
    /// A path into `project.ron`, or a value for it, does not do.
    Path,
    /// `journal.ron` is damaged.
    Journal,
    /// Definition and journal contradict each other.
    Contradiction,
    /// A logger's file does not read.
    Logger,
    /// Another program holds the journal's lock.
    Locked,
    /// A write failed before; the folder must be opened anew.
    Poisoned,
    /// The system refused.
    Io,
}

impl ErrorKind {
    /// The word for scripts.
    pub fn word(self) -> &'static str {
        match self {
            Self::NotFound => "not_found",
            Self::NotAProject => "not_a_project",
            Self::Exists => "exists",
            Self::Definition => "definition",
            Self::Path => "path",
            Self::Journal => "journal",
            Self::Contradiction => "contradiction",
            Self::Logger => "logger",
            Self::Locked => "locked",
            Self::Poisoned => "poisoned",
            Self::Io => "io",
        }
    }
}

/// Trouble with a project's files: what, where, and what would do. Its texts
/// hold no control characters, whatever stands in the files.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{message}")]
#[non_exhaustive]
pub struct StoreError {
    /// What kind.
    pub kind: ErrorKind,
    /// What was found, and what was expected.
    pub message: String,
    /// What would mend it.
    pub remedy: String,
    /// Where.
    pub file: Option<PathBuf>,
    /// Line, from 1.
    pub line: Option<usize>,
    /// Column in characters, from 1.
    pub column: Option<usize>,
}

/// Why nothing was recorded.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum RecordError {
    /// A rule does not let it happen.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// The files are in trouble.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl StoreError {
    pub(super) fn new(kind: ErrorKind, message: impl AsRef<str>, remedy: impl AsRef<str>) -> Self {
        Self {
            kind,
            message: shown(&excerpt(message.as_ref(), LONGEST)),
            remedy: shown(&excerpt(remedy.as_ref(), LONGEST)),
            file: None,
            line: None,
            column: None,
        }
    }

    /// The kind as one word for scripts.
    pub fn kind(&self) -> &'static str {
        self.kind.word()
    }

    pub(super) fn in_file(mut self, file: &Path) -> Self {
        self.file = Some(file.to_owned());
        self
    }

    pub(super) fn at(mut self, place: Option<(usize, usize)>) -> Self {
        (self.line, self.column) = place.unzip();
        self
    }

    pub(super) fn at_line(mut self, line: usize) -> Self {
        self.line = Some(line);
        self
    }

    /// The system's refusal to do something with a file.
    pub(super) fn io(doing: &str, file: &Path, error: &io::Error) -> Self {
        let remedy = match error.kind() {
            io::ErrorKind::NotFound => "see whether the folder was moved or the file taken away",
            io::ErrorKind::PermissionDenied => "see to the permissions of the file and its folder",
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => "free some space first",
            io::ErrorKind::InvalidInput => "name a file on the disk, no folder, pipe or device",
            io::ErrorKind::ReadOnlyFilesystem => "copy the folder to where it can be written",
            _ => "see to the disk; a copy of the folder elsewhere is wise",
        };
        let message = format!("cannot {doing} {}: {error}", file.display());
        Self::new(ErrorKind::Io, message, remedy).in_file(file)
    }

    /// The system's refusal to make a folder for a project: there is nothing to
    /// copy elsewhere yet.
    pub(super) fn no_place(dir: &Path, error: &io::Error) -> Self {
        let mut refused = Self::io("make", dir, error);
        if error.kind() == io::ErrorKind::ReadOnlyFilesystem {
            let remedy = "name a place that can be written, such as one in your home folder";
            remedy.clone_into(&mut refused.remedy);
        }
        refused
    }

    /// A definition that does not read, with its place in the text.
    pub(super) fn of_definition(text: &str, file: &Path, error: &DefinitionError) -> Self {
        let of_path = || error.path.as_deref().and_then(|path| place(text, path));
        Self::new(ErrorKind::Definition, &error.message, &error.remedy)
            .in_file(file)
            .at(error.position.or_else(of_path))
    }

    /// A path or value that the text of a definition cannot take; the message
    /// holds the remedy behind its last semicolon.
    pub(super) fn of_path(file: &Path, error: &PathError) -> Self {
        let told = error.to_string();
        let (message, remedy) = told.rsplit_once("; ").unwrap_or((&told, ""));
        let place = match error {
            PathError::Text { line, column, .. }
            | PathError::Missing { line, column, .. }
            | PathError::Ambiguous { line, column, .. }
            | PathError::Kind { line, column, .. } => Some((*line, *column)),
            _ => None,
        };
        let kind = match error {
            PathError::Text { .. } => ErrorKind::Definition,
            _ => ErrorKind::Path,
        };
        Self::new(kind, message, remedy).in_file(file).at(place)
    }
}

/// Where the value at a path stands, or else the nearest one around it.
fn place(text: &str, path: &str) -> Option<(usize, usize)> {
    std::iter::successors(Some(path), |path| Some(path.rsplit_once('.')?.0))
        .find_map(|path| ron_text::position(text, path))
}

/// Text with everything escaped that a terminal would not show as itself.
pub(super) fn shown(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for part in text.split_inclusive(['"', '\'', '\\']) {
        let plain = part.trim_end_matches(['"', '\'', '\\']);
        for character in plain.chars() {
            match character {
                control if control.is_control() => out.extend(control.escape_debug()),
                unseen if is_unseen(unseen) => out.extend(unseen.escape_unicode()),
                seen => out.push(seen),
            }
        }
        out.push_str(&part[plain.len()..]);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_terminal_would_obey_is_escaped() {
        let text = "it's \"so\" \\ e\u{301} \u{1b}[2J\n\u{202e}\u{7}";
        let expected = "it's \"so\" \\ e\u{301} \\u{1b}[2J\\n\\u{202e}\\u{7}";
        assert_eq!(shown(text), expected);
    }
}
