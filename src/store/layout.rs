//! A whole project laid out at once: a copy of a sample.

use std::path::Path;
use std::sync::Arc;

use super::error::{ErrorKind, StoreError};
use super::files::{self, JOURNAL, MESHES};
use super::folder::Folder;
use super::journal::{Fault, Journal, Tail};
use super::{Disk, RealDisk};
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
        Self::lay_out_on(Arc::new(RealDisk), path, definition, events, meshes)
    }

    /// The same on a disk of one's own.
    ///
    /// # Errors
    /// As [`Self::lay_out`].
    pub fn lay_out_on(
        disk: Arc<dyn Disk>,
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
        drop(Self::create_on(Arc::clone(&disk), path, definition, begun)?);
        let failed = |file: &Path| {
            let file = file.to_owned();
            move |error| StoreError::io("write", &file, &error)
        };
        let dir = path.join(MESHES);
        for (name, mesh) in meshes {
            let file = dir.join(name);
            disk.write_synced(&file, mesh, false)
                .map_err(failed(&file))?;
        }
        disk.sync_dir(&dir).map_err(failed(&dir))?;
        if !bytes.is_empty() {
            files::replace(disk.as_ref(), path, JOURNAL, &bytes)
                .map_err(failed(&path.join(JOURNAL)))?;
        }
        Self::open_on(disk, path)
    }
}
