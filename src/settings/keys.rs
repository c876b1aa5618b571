//! The user's own keys, `keys.ron`.

use std::path::{Path, PathBuf};

use super::SettingsError;
use super::files::{config_dir, read};
use crate::store::ron_text::{self, PathError, Placed};
use crate::store::{Disk as _, RealDisk, Stamp};

const FILE: &str = "keys.ron";

const MAY_HOLD: &str =
    "it may hold (undo: [\"u\", \"F9\"]); `tankside keys` lists every name and its keys";

/// The user's own keys, `keys.ron`: where it is, what it says, whether it
/// changed. What the names in it mean, the screen knows.
#[derive(Debug, Clone)]
pub struct KeysFile {
    path: Option<PathBuf>,
    seen: Option<Stamp>,
}

/// Names of commands with the names of their keys, in the order of the file.
pub type KeysPatch = Vec<(Placed, Vec<Placed>)>;

impl KeysFile {
    /// Beside the user's settings.
    pub fn of_the_user() -> Self {
        Self::at(config_dir().map(|dir| dir.join(FILE)))
    }

    fn at(path: Option<PathBuf>) -> Self {
        let mut file = Self { path, seen: None };
        file.seen = file.stamp();
        file
    }

    /// Where it is; `None` for a user without a home.
    pub fn path(&self) -> Option<&Path> {
        self.path.as_deref()
    }

    /// Its text as it stands; `None` without one.
    ///
    /// # Errors
    /// When the file is there and cannot be read.
    pub fn text(&self) -> Result<Option<String>, SettingsError> {
        self.path().map_or(Ok(None), |path| read(&RealDisk, path))
    }

    /// What it says; nothing without a file.
    ///
    /// # Errors
    /// When the file is there and is no list of names with their keys.
    pub fn patch(&self) -> Result<KeysPatch, SettingsError> {
        let text = self.text()?.unwrap_or_else(|| "()".to_owned());
        ron_text::text_lists(&text).map_err(|error| match error {
            PathError::Text {
                line,
                column,
                expected,
                found,
            } => self.fault(line, column, format!("expected {expected}, found {found}")),
            other => self.fault(1, 1, other.to_string()),
        })
    }

    /// A fault at a place in it.
    pub fn fault(&self, line: usize, column: usize, message: String) -> SettingsError {
        SettingsError::Text {
            path: self.path.clone().unwrap_or_default(),
            line,
            column,
            message,
            may_hold: MAY_HOLD,
        }
    }

    /// Whether the file is another one than when this was asked last.
    pub fn changed(&mut self) -> bool {
        let now = self.stamp();
        std::mem::replace(&mut self.seen, now) != now
    }

    fn stamp(&self) -> Option<Stamp> {
        RealDisk.stat(self.path()?).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[test]
    fn keys_are_told_with_their_places_and_a_change_is_seen_once() {
        let folder = tempfile::tempdir().unwrap();
        let mut file = KeysFile::at(Some(folder.path().join(FILE)));
        assert!(file.patch().unwrap().is_empty(), "without a file");
        assert!(!file.changed());
        fs::write(file.path().unwrap(), "(\n    undo: [\"u\"],\n)").unwrap();
        assert!(file.changed() && !file.changed());
        let patch = file.patch().unwrap();
        let [(name, keys)] = patch.as_slice() else {
            panic!("{patch:?}")
        };
        assert_eq!((name.text.as_str(), name.line, name.column), ("undo", 2, 5));
        assert_eq!(
            (keys[0].text.as_str(), keys[0].line, keys[0].column),
            ("u", 2, 12)
        );
        fs::write(file.path().unwrap(), "(undo: u)").unwrap();
        assert!(file.changed());
        let error = file.patch().unwrap_err();
        assert_eq!(error.place().1, Some((1, 8)), "{error}");
        assert!(error.to_string().contains("expected a list"), "{error}");
        fs::remove_file(file.path().unwrap()).unwrap();
        assert!(file.changed() && file.patch().unwrap().is_empty());
    }
}
