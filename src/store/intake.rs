//! Files that are taken into the folder: meshes and loggers' files.

use std::path::Path;

use super::error::{ErrorKind, StoreError};
use super::files::{self, IMMERSIONS, MESHES, sha256_hex};
use super::{Folder, logger};
use crate::project::What;

/// A logger's file that was copied into the folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakenLogger {
    /// Its name relative to the folder, as the journal holds it.
    pub file: String,
    /// Its SHA-256.
    pub sha256: String,
    /// How many rows it has.
    pub rows: usize,
}

impl Folder {
    /// Copies a mesh into `meshes/` under a name made from `name` and the
    /// source's extension; one that lies in the folder already stays where it
    /// is, and so does an equal copy. Returns its name relative to the folder,
    /// with forward slashes.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn copy_mesh(&mut self, source: &Path, name: &str) -> Result<String, StoreError> {
        if let Some(inside) = self.inside(source) {
            return Ok(inside);
        }
        let bytes = self
            .disk
            .read(source)
            .map_err(|error| StoreError::io("read", source, &error))?;
        self.make_dir(MESHES)?;
        let extension = source.extension().map_or_else(
            || "stl".to_owned(),
            |e| safe_name(&e.to_string_lossy().to_lowercase()),
        );
        let stem = safe_name(name);
        let numbered = |number: u32| match number {
            1 => format!("{MESHES}/{stem}.{extension}"),
            _ => format!("{MESHES}/{stem}-{number}.{extension}"),
        };
        let is_there = |file: &String| {
            let there = self.disk.read(&files::inside(&self.path, file));
            there.is_ok_and(|there| there == bytes)
        };
        let first = numbered(1);
        if is_there(&first) {
            return Ok(first);
        }
        self.write_numbered(&bytes, numbered)
    }

    /// Copies a logger's file into `immersions/` under the next number, for an
    /// event to name. [`Self::record`] takes it away again if that event is not
    /// recorded.
    ///
    /// # Errors
    /// Of kind `logger` when the file does not read, with line and column in
    /// it, has no rows, or was taken in already.
    pub fn take_logger(&mut self, source: &Path) -> Result<TakenLogger, StoreError> {
        let bytes = files::read_logger(self.disk.as_ref(), source)?;
        let rows = logger::read(&bytes, self.project.definition.zone)
            .map_err(|error| error.in_file(source))?
            .len();
        if rows == 0 {
            let message = "the file has no rows";
            let remedy = "export it again from the logger, with its readings";
            return Err(StoreError::new(ErrorKind::Logger, message, remedy).in_file(source));
        }
        let sha256 = sha256_hex(&bytes);
        self.check_is_new(source, &sha256)?;
        self.make_dir(IMMERSIONS)?;
        let file = self.write_numbered(&bytes, |number| format!("{IMMERSIONS}/{number:03}.csv"))?;
        self.taken = Some(file.clone());
        Ok(TakenLogger { file, sha256, rows })
    }

    /// The same rows twice would count their charge twice.
    fn check_is_new(&self, source: &Path, sha256: &str) -> Result<(), StoreError> {
        let same =
            |what: &What| matches!(what, What::Logger { sha256: known, .. } if known == sha256);
        let mut events = self.project.events().iter();
        let Some(event) = events.find(|e| same(&e.what) && !self.project.is_undone(e.sequence))
        else {
            return Ok(());
        };
        let message = format!(
            "this file was taken in already, as event {}",
            event.sequence
        );
        let remedy = "nothing need be done; `tankside history` shows the event";
        Err(StoreError::new(ErrorKind::Logger, message, remedy).in_file(source))
    }

    /// The name relative to the folder of a file that lies in it.
    fn inside(&self, file: &Path) -> Option<String> {
        let folder = self.disk.real_path(&self.path).ok()?;
        files::relative(&folder, &self.disk.real_path(file).ok()?)
    }

    fn make_dir(&self, name: &str) -> Result<(), StoreError> {
        let dir = self.path.join(name);
        self.check_not_poisoned()?;
        let made = files::make_folder(self.disk.as_ref(), &dir);
        self.written("make", &dir, made)
    }
}

/// A file name of letters, digits, dashes and underscores for any system.
fn safe_name(name: &str) -> String {
    let name: String = name
        .chars()
        .map(|c| {
            if c.is_alphanumeric() || c == '_' {
                c
            } else {
                '-'
            }
        })
        .collect();
    let name = name.trim_matches('-');
    // Windows keeps these names for its devices.
    let devices = ["con", "prn", "aux", "nul", "com", "lpt"];
    let lower = name
        .trim_end_matches(|c: char| c.is_ascii_digit())
        .to_lowercase();
    if name.is_empty() || devices.contains(&lower.as_str()) {
        format!("piece-{name}").trim_end_matches('-').to_owned()
    } else {
        name.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::safe_name;

    #[test]
    fn names_of_files_are_safe_everywhere() {
        for (name, safe) in [
            ("Frond 3", "Frond-3"),
            ("../../etc/passwd", "etc-passwd"),
            ("a\u{1b}[2J\n", "a--2J"),
            ("Blüte", "Blüte"),
            ("...", "piece"),
            ("NUL", "piece-NUL"),
            ("com1", "piece-com1"),
        ] {
            assert_eq!(safe_name(name), safe);
        }
    }
}
