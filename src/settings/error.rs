//! Why a file of the user's own is not read or written.

use std::io;
use std::path::{Path, PathBuf};

use super::files::CONFIG_DIR;

/// Settings that cannot be read or kept.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SettingsError {
    /// The file is no settings file.
    #[error("{}:{line}:{column}: {message}", path.display())]
    Text {
        /// Which file.
        path: PathBuf,
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What is wrong there.
        message: String,
        /// What would be right.
        may_hold: &'static str,
    },
    /// The disk stands in the way.
    #[error("{}: {source}", path.display())]
    Disk {
        /// Which file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// There is no home folder to keep settings in.
    #[error("there is no home folder to keep settings in")]
    Homeless,
}

impl SettingsError {
    /// The file, with line and column where the fault has such.
    pub fn place(&self) -> (Option<&Path>, Option<(usize, usize)>) {
        match self {
            Self::Text {
                path, line, column, ..
            } => (Some(path), Some((*line, *column))),
            Self::Disk { path, .. } => (Some(path), None),
            Self::Homeless => (None, None),
        }
    }

    /// What is wrong, without its place.
    pub fn message(&self) -> String {
        match self {
            Self::Text { message, .. } => message.clone(),
            Self::Disk { source, .. } => source.to_string(),
            Self::Homeless => self.to_string(),
        }
    }

    /// What would do.
    pub fn remedy(&self) -> String {
        match self {
            Self::Text { path, may_hold, .. } => format!(
                "mend that line of {}, or delete the file to begin afresh; {may_hold}",
                path.display()
            ),
            Self::Disk { path, .. } => format!(
                "see that {} can be read and written, or name another folder in {CONFIG_DIR}",
                path.display()
            ),
            Self::Homeless => format!("name a folder for them in {CONFIG_DIR}"),
        }
    }
}
