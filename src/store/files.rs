//! Where things lie in a project's folder, and how they are read and written.

use std::io;
use std::path::{Component, Path, PathBuf};

use sha2::{Digest as _, Sha256};

use super::disk::Disk;
use super::error::{ErrorKind, StoreError};
use super::journal::{BadLine, Fault, hex};
use super::{logger, ron_text};
use crate::project::{Contradiction, Definition, History, LogRow, MeshRef, Stage, What, quoted};
use crate::units::Zone;

pub(super) const PROJECT: &str = "project.ron";
pub(super) const JOURNAL: &str = "journal.ron";
pub(super) const MESHES: &str = "meshes";
pub(super) const IMMERSIONS: &str = "immersions";
pub(super) const NOTICES: &str = "notices.ron";
/// What a person edits in place of `project.ron`. A text that does not do
/// stays in it, so that no edit is ever lost.
pub(super) const DRAFT: &str = "project.edited.ron";

/// Whether a file of this name is the project's own: nothing that is printed may
/// take its place.
pub(super) fn is_own(name: &str) -> bool {
    [PROJECT, JOURNAL, NOTICES, DRAFT].contains(&name)
}

/// What a file is written as before it takes its place.
pub(super) fn temporary(name: &str) -> String {
    format!(".{name}.tmp")
}

/// Whether a file of this name is one that was to take its place.
pub(super) fn is_temporary(name: &str) -> bool {
    let hidden = name.strip_prefix('.');
    hidden.is_some_and(|rest| rest.strip_suffix(".tmp").is_some())
}

/// SHA-256 of bytes, as 64 hexadecimal digits.
pub fn sha256_hex(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

/// Where a file of the project lies whose name has forward slashes.
pub(super) fn inside(folder: &Path, relative: &str) -> PathBuf {
    folder.join(relative)
}

/// The name of a file relative to the folder, with forward slashes.
pub(super) fn relative(folder: &Path, file: &Path) -> Option<String> {
    let rest = file.strip_prefix(folder).ok()?;
    let parts: Option<Vec<&str>> = rest
        .components()
        .map(|part| match part {
            Component::Normal(name) => name.to_str(),
            _ => None,
        })
        .collect();
    parts.map(|parts| parts.join("/"))
}

/// The bytes of a file, or nothing where it is not there.
pub(super) fn read_if_there(disk: &dyn Disk, file: &Path) -> Result<Vec<u8>, StoreError> {
    match disk.read(file) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Vec::new()),
        read => read.map_err(|error| StoreError::io("read", file, &error)),
    }
}

/// The text of a file, a byte order mark included.
pub(super) fn read_text(disk: &dyn Disk, file: &Path) -> Result<String, StoreError> {
    let bytes = disk
        .read(file)
        .map_err(|error| StoreError::io("read", file, &error))?;
    String::from_utf8(bytes).map_err(|error| {
        let whole = error.utf8_error().valid_up_to();
        let before = String::from_utf8_lossy(&error.as_bytes()[..whole]).into_owned();
        StoreError::new(
            ErrorKind::Definition,
            "the text is not UTF-8",
            "save it as UTF-8 in the editor",
        )
        .in_file(file)
        .at(Some(ron_text::line_column(&before, whole)))
    })
}

/// A text without the byte order mark that some editors begin it with.
pub(super) fn without_mark(text: &str) -> &str {
    text.trim_start_matches('\u{feff}')
}

/// Whether a folder is a project's.
pub fn is_project(dir: &Path) -> bool {
    dir.join(PROJECT).is_file()
}

/// The folders in a folder that are projects, in the order of their names.
pub fn projects_in(dir: &Path) -> Vec<PathBuf> {
    let inside = std::fs::read_dir(dir).into_iter().flatten().flatten();
    let inside = inside.map(|entry| entry.path());
    let mut found: Vec<PathBuf> = inside.filter(|path| is_project(path)).collect();
    found.sort();
    found
}

/// The files in these folders whose names have one of these endings, in either
/// case: those of each folder in the order of their names.
pub fn files_with_endings(dirs: &[&Path], endings: &[&str]) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = Vec::new();
    for dir in dirs {
        let inside = std::fs::read_dir(dir).into_iter().flatten().flatten();
        let mut files: Vec<PathBuf> = inside
            .map(|entry| entry.path())
            .filter(|path| {
                let ending = path.extension().and_then(|ending| ending.to_str());
                let is_one = |ending: &str| endings.iter().any(|e| e.eq_ignore_ascii_case(ending));
                ending.is_some_and(is_one) && path.is_file()
            })
            .map(|path| path.strip_prefix(".").map(Path::to_owned).unwrap_or(path))
            .collect();
        files.sort();
        found.extend(files);
    }
    found
}

/// The definition in a text; `file` is told in the error.
pub(super) fn parse(text: &str, file: &Path) -> Result<Definition, StoreError> {
    let text = without_mark(text);
    Definition::parse(text).map_err(|error| StoreError::of_definition(text, file, &error))
}

/// Makes a folder and those above it so that their names would survive a power
/// cut, whoever made them.
///
/// # Errors
/// Those of the system.
pub fn make_folder(disk: &dyn Disk, dir: &Path) -> io::Result<()> {
    let above = |dir: &Path| match dir.parent() {
        Some(above) if above.as_os_str().is_empty() => PathBuf::from("."),
        Some(above) => above.to_owned(),
        None => dir.to_owned(),
    };
    let ancestors: Vec<&Path> = dir
        .ancestors()
        .filter(|dir| !dir.as_os_str().is_empty())
        .collect();
    let there = ancestors.iter().position(|dir| disk.stat(dir).is_ok());
    // The one that is there may be of a program that was killed before it synced.
    let unsure = there.map_or(ancestors.as_slice(), |there| &ancestors[..=there]);
    for dir in unsure.iter().rev() {
        disk.create_dir(dir)?;
        match disk.sync_dir(&above(dir)) {
            // A folder of the system's, which keeps its names by itself.
            Err(error) if error.kind() == io::ErrorKind::PermissionDenied => {}
            synced => synced?,
        }
    }
    Ok(())
}

/// Writes a file anew, in one step: whoever reads it finds the old or the new,
/// after a power cut too.
///
/// # Errors
/// Those of the system; the file is as it was then, or new already.
pub fn replace(disk: &dyn Disk, folder: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
    let (file, temporary) = (folder.join(name), folder.join(temporary(name)));
    // What lies there may be a link to a file that is none of ours.
    let cleared = match disk.remove(&temporary) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        removed => removed,
    };
    let written = cleared
        .and_then(|()| disk.write_synced(&temporary, bytes, true))
        .and_then(|()| match disk.copy_permissions(&file, &temporary) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
            copied => copied,
        })
        .and_then(|()| disk.rename(&temporary, &file))
        .and_then(|()| disk.sync_dir(folder));
    if written.is_err() {
        // What is left of it, `check` finds.
        let _ = disk.remove(&temporary);
    }
    written
}

/// Writes what was printed into a file of the user's choice, in one step; one
/// that is there is replaced.
///
/// # Errors
/// When it names a project's own file or what is no plain file, or the system
/// refuses.
pub fn write_out(path: &Path, content: impl AsRef<[u8]>) -> Result<(), StoreError> {
    // A link or a device would be replaced, not written.
    let is_other = path.symlink_metadata().is_ok_and(|data| !data.is_file());
    let name = path.file_name().and_then(|name| name.to_str());
    let Some(name) = name.filter(|name| !is_other && !is_own(name)) else {
        let message = format!("{} cannot be written over", path.display());
        let remedy = "give the name of a plain file that is none of a project's own";
        return Err(StoreError::new(ErrorKind::Path, message, remedy));
    };
    let parent = path.parent().filter(|p| !p.as_os_str().is_empty());
    let folder = parent.unwrap_or(Path::new("."));
    let written = replace(&super::RealDisk, folder, name, content.as_ref());
    written.map_err(|error| StoreError::io("write", path, &error))
}

/// The rows of a logger file that the journal knows by name and hash.
pub(super) fn rows_of(
    disk: &dyn Disk,
    folder: &Path,
    (name, sha256): (&str, &str),
    zone: Zone,
) -> Result<Vec<LogRow>, StoreError> {
    let file = inside(folder, name);
    let bytes = read_logger(disk, &file)?;
    if sha256_hex(&bytes) != sha256 {
        return Err(StoreError::new(
            ErrorKind::Logger,
            "the file has changed since it was taken in",
            "restore it from git or a backup, or undo it and take it in anew",
        )
        .in_file(&file));
    }
    logger::read(&bytes, zone).map_err(|error| error.in_file(&file))
}

/// The bytes of a logger's file, unless it is far too large to be one.
pub(super) fn read_logger(disk: &dyn Disk, file: &Path) -> Result<Vec<u8>, StoreError> {
    let failed = |error: io::Error| StoreError::io("read", file, &error);
    if disk.stat(file).map_err(failed)?.len > logger::MOST_BYTES {
        return Err(logger::too_large().in_file(file));
    }
    disk.read(file).map_err(failed)
}

/// What is wrong with a piece's mesh file, if anything is; `digest` yields the
/// SHA-256 of a file.
pub(super) fn mesh_fault(
    disk: &dyn Disk,
    folder: &Path,
    mesh: &MeshRef,
    digest: impl FnOnce(&Path) -> io::Result<String>,
) -> Option<StoreError> {
    let file = inside(folder, &mesh.file);
    let Some(sha256) = &mesh.sha256 else {
        let error = disk.stat(&file).err()?;
        return Some(StoreError::io("find", &file, &error));
    };
    match digest(&file) {
        Err(error) => Some(StoreError::io("read", &file, &error)),
        Ok(found) if found == *sha256 => None,
        Ok(_) => {
            let message = format!("{} has changed since it was measured", mesh.file);
            let remedy = "`tankside survey` measures it again";
            Some(StoreError::new(ErrorKind::Io, message, remedy).in_file(&file))
        }
    }
}

/// The fault of a project whose journal is missing or holds nothing, if it is
/// so: a journal has its first line from the beginning.
pub(super) fn journal_fault(disk: &dyn Disk, folder: &Path) -> Option<StoreError> {
    let file = folder.join(JOURNAL);
    let how = match disk.stat(&file) {
        Ok(stamp) if stamp.len > 0 => return None,
        Ok(_) => "is empty",
        Err(_) => "is missing",
    };
    let message = format!("{JOURNAL} {how}: whatever was recorded before is not there");
    let remedy = "restore it from git or a backup; if nothing was ever recorded here, nothing need be done, \
                  the first record begins it";
    Some(StoreError::new(ErrorKind::Journal, message, remedy).in_file(&file))
}

/// A bad line of the journal, with what comes before it.
pub(super) fn bad_line(file: &Path, bad: &BadLine) -> StoreError {
    let before = bad.line.saturating_sub(2);
    let events = if before == 1 { "event" } else { "events" };
    let message = format!("{}; the {before} {events} before it are whole", bad.fault);
    let folder = file.parent().unwrap_or(file).to_string_lossy();
    let remedy = match bad.fault {
        Fault::Format(_) => "open it with the newer program that wrote it".to_owned(),
        _ => format!(
            "restore journal.ron from git or a backup; `tankside check {}` lists every bad line and offers \
             to save what is whole",
            quoted(&folder)
        ),
    };
    StoreError::new(ErrorKind::Journal, message, remedy)
        .in_file(file)
        .at_line(bad.line)
}

/// A definition under which an event of the journal cannot be; the place is
/// where the definition would have to allow it.
pub(super) fn contradiction(
    (text, file): (&str, &Path),
    definition: &Definition,
    events: &History,
    found: &Contradiction,
) -> StoreError {
    let event = events.iter().find(|e| e.sequence == found.sequence);
    let (remedy, path) = event.map_or_else(
        || (String::new(), String::new()),
        |event| way_out(definition, &event.what),
    );
    StoreError::new(ErrorKind::Contradiction, found.to_string(), remedy)
        .in_file(file)
        .at(ron_text::position(text, &path))
}

/// What to put back in `project.ron`, and at which path.
fn way_out(definition: &Definition, what: &What) -> (String, String) {
    let (pieces, tank, stage) = named(what);
    if let Some(gone) = pieces.iter().find(|name| definition.piece(name).is_none()) {
        let remedy = format!("put the piece `{gone}` back under `pieces`");
        return (remedy, "pieces".to_owned());
    }
    if let Some(gone) = tank.filter(|name| definition.tank(name).is_none()) {
        let remedy = format!("put the tank `{gone}` back under `tanks`");
        return (remedy, "tanks".to_owned());
    }
    let piece = pieces.first().and_then(|name| definition.piece(name));
    let path = match piece {
        Some(piece) if piece.route.is_some() => {
            format!("pieces.{}.route", ron_text::quote(&piece.name))
        }
        _ => "route".to_owned(),
    };
    let remedy = match (piece, stage) {
        (Some(piece), Some(stage)) if !definition.route_of(piece).contains(stage) => {
            format!(
                "put the stage `{stage}` back into the route of `{}`",
                piece.name
            )
        }
        _ => {
            "take back what was changed in project.ron; the journal tells what happened".to_owned()
        }
    };
    (remedy, path)
}

/// The pieces, the tank and the stage that an event names.
fn named(what: &What) -> (Vec<&str>, Option<&str>, Option<&Stage>) {
    use crate::project::Subject;
    let tank = match what {
        What::Start { tank, .. } => tank.as_deref(),
        _ => match what.subject() {
            Subject::Tank(tank) => Some(tank),
            _ => None,
        },
    };
    let stage = match what {
        What::Start { stage, .. } | What::Rework { stage, .. } | What::Skip { stage, .. } => {
            Some(stage)
        }
        _ => None,
    };
    let pieces = match (what, what.subject()) {
        (What::Reading { piece, .. }, _) => piece.iter().map(String::as_str).collect(),
        (_, Subject::Piece(piece)) => vec![piece],
        (_, Subject::Pieces(pieces)) => pieces.iter().map(String::as_str).collect(),
        _ => Vec::new(),
    };
    (pieces, tank, stage)
}

/// The largest file that is read from outside a project: 2 GiB.
const LARGEST: u64 = 2 << 30;

/// The bytes of a file anywhere, such as a print to measure.
///
/// # Errors
/// When the system refuses, or the file is over 2 GiB.
pub fn read_file(file: &Path) -> Result<Vec<u8>, StoreError> {
    let disk = super::RealDisk;
    let stamp = disk
        .stat(file)
        .map_err(|error| StoreError::io("read", file, &error))?;
    if stamp.len > LARGEST {
        let message = format!("{} is over 2 GiB", file.display());
        return Err(
            StoreError::new(ErrorKind::Io, message, "no print is that large").in_file(file),
        );
    }
    disk.read(file)
        .map_err(|error| StoreError::io("read", file, &error))
}
