//! A whole project laid out at once: a copy of a sample.

use std::path::Path;

use super::error::{ErrorKind, StoreError};
use super::files::{self, JOURNAL, MESHES};
use super::folder::Folder;
use super::journal::{Fault, Journal, Tail};
use super::{Disk as _, RealDisk};
use crate::project::Event;
use crate::units::Instant;

/// The events of a journal's text.
///
/// # Errors
/// When a line is not whole.
pub fn read_journal(text: &str) -> Result<Vec<Event>, StoreError> {
    let file = Path::new(JOURNAL);
    match Journal::default().take(text.as_bytes()) {
        Ok((events, Tail::Whole)) => Ok(events.into_iter().flatten().collect()),
        Ok((events, Tail::Torn)) => Err(StoreError::new(
            ErrorKind::Journal,
            "the last line is not whole",
            "cut it off",
        )
        .in_file(file)
        .at_line(events.iter().flatten().count() + 2)),
        Err(bad) => Err(files::bad_line(file, &bad)),
    }
}

impl Folder {
    /// Makes a new folder with a definition, a history and meshes by name, and
    /// opens it.
    ///
    /// # Errors
    /// As [`Folder::create`], and when the history cannot be under the
    /// definition.
    pub fn lay_out(
        path: &Path,
        definition: &str,
        events: &[Event],
        meshes: &[(&Path, &[u8])],
    ) -> Result<Self, StoreError> {
        let begun = events
            .first()
            .map_or(Instant::from_unix_ms(0), |e| e.recorded);
        let unwritable =
            |fault: Fault| StoreError::new(ErrorKind::Journal, fault.to_string(), "").in_file(path);
        let mut journal = Journal::default();
        let mut bytes = Vec::new();
        for event in events {
            let line = journal.sealed(event).map_err(unwritable)?;
            journal.accept(&line);
            bytes.extend_from_slice(&line.bytes);
        }
        drop(Self::create(path, definition, begun)?);
        for (name, mesh) in meshes {
            let file = path.join(MESHES).join(name);
            RealDisk
                .write_synced(&file, mesh, false)
                .map_err(|error| StoreError::io("write", &file, &error))?;
        }
        if !bytes.is_empty() {
            files::replace(&RealDisk, path, JOURNAL, &bytes)?;
        }
        Self::open(path)
    }
}
