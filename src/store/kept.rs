//! What a long project has come to, kept for the next start.
//!
//! Reading a long journal takes longer than a person should wait for a screen.
//! So its outcome is kept in a file of the user's cache folder, never in the
//! project's. It is good for one thing: the first frames, drawn while the
//! journal itself is read and every line of it checked. It is taken only if this
//! very program wrote it, its own checksum fits, `project.ron` is the same to
//! the letter, the logger files have not been touched, and the journal begins
//! with the very bytes that led to it; lines behind these are read, checked and
//! added. Whatever does not fit is as good as nothing, and the file can be
//! deleted at any time.

use std::io;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::disk::{Disk, RealDisk};
use super::files::{self, JOURNAL, PROJECT};
use super::folder::Folder;
use super::journal::{self, Bookmark, Journal, Tail};
use crate::project::{Event, Outcome, Project, What};

/// A journal of fewer events is read at once.
pub const LONG: usize = 1000;

/// So many of the last events are kept with the outcome.
const LAST: usize = 64;

const MARK: &[u8] = b"tankside kept outcome\n";

/// What has to fit.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct Label {
    program: Stamped,
    /// SHA-256 of `project.ron`.
    definition: [u8; 32],
    journal: Bookmark,
    /// The logger files whose rows are in the outcome.
    loggers: Vec<Stamped>,
}

/// A file as it was.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct Stamped {
    path: PathBuf,
    len: u64,
    modified: Option<Duration>,
    changed: Option<Duration>,
}

/// What is kept.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct Content {
    outcome: Outcome,
    /// The last events, each a line of RON.
    last: Vec<String>,
}

impl Stamped {
    fn of(disk: &dyn Disk, path: PathBuf) -> Option<Self> {
        let stamp = disk.stat(&path).ok()?;
        Some(Self {
            path,
            len: stamp.len,
            modified: stamp.modified,
            changed: stamp.changed,
        })
    }

    /// This program: another build may keep things in another form.
    fn program() -> Option<Self> {
        Self::of(&RealDisk, std::env::current_exe().ok()?)
    }

    fn is_as_it_was(&self, disk: &dyn Disk) -> bool {
        Self::of(disk, self.path.clone()).as_ref() == Some(self)
    }
}

/// What tells this very program from another build of it: where its file is, how
/// long and how old.
pub fn program_stamp() -> Option<String> {
    Stamped::program().map(|stamped| format!("{stamped:?}"))
}

impl Folder {
    /// The project in a folder as it can be shown at once, from what
    /// [`Self::keep`] left in the cache folder `dir`; `None` where nothing there
    /// fits, and where opening the folder does not take long.
    pub fn glimpse(path: &Path, dir: &Path) -> Option<Project> {
        Self::glimpse_on(&RealDisk, path, dir)
    }

    /// The same on a disk of one's own.
    pub fn glimpse_on(disk: &dyn Disk, path: &Path, dir: &Path) -> Option<Project> {
        let kept = disk.read(&dir.join(name_of(disk, path, "kept")?)).ok()?;
        let body = kept.strip_prefix(MARK)?;
        let (sum, body) = body.split_at_checked(32)?;
        let (label, rest) = postcard::take_from_bytes::<Label>(body).ok()?;
        let text = files::read_text(disk, &path.join(PROJECT)).ok()?;
        let is_fit = label.program == Stamped::program()?
            && label.definition == digest(text.as_bytes())
            && label.loggers.iter().all(|file| file.is_as_it_was(disk));
        if !is_fit {
            return None;
        }
        let (content, new) = thread::scope(|scope| {
            let new = scope.spawn(|| since(disk, path, &label.journal));
            let is_whole = sum == digest(body);
            let content = is_whole.then(|| postcard::from_bytes::<Content>(rest).ok());
            (content.flatten(), new.join().ok().flatten())
        });
        let content = content?;
        let last = content.last.iter().map(|line| journal::read_line(line));
        let last = last.collect::<Option<_>>()?;
        let definition = files::parse(&text, path).ok()?;
        let mut project = Project::glimpse(definition, content.outcome, last);
        for event in new?.into_iter().flatten() {
            project.go_on(event)?;
        }
        Some(project)
    }

    /// Keeps in the cache folder `dir` what a long project has come to, for
    /// [`Self::glimpse`]; whether it did. Where a file of the project could not
    /// be read, or has changed since, nothing is kept.
    pub fn keep(&self, dir: &Path) -> bool {
        self.project.events().len() >= LONG && self.try_keep(dir).is_some()
    }

    fn try_keep(&self, dir: &Path) -> Option<()> {
        let disk = self.disk.as_ref();
        let text = files::read_text(disk, &self.path.join(PROJECT)).ok()?;
        let is_sound = self.notices.is_of_all_files()
            && files::parse(&text, &self.path).ok()? == self.project.definition;
        let label = Label {
            program: Stamped::program()?,
            definition: digest(text.as_bytes()),
            journal: self.journal.bookmark(),
            loggers: is_sound.then(|| self.loggers())??,
        };
        let content = Content {
            outcome: self.project.outcome(),
            last: self.last_lines()?,
        };
        let label = postcard::to_allocvec(&label).ok()?;
        let body = [label, postcard::to_allocvec(&content).ok()?].concat();
        let bytes = [MARK, &digest(&body), &body].concat();
        put(disk, dir, &name_of(disk, &self.path, "kept")?, &bytes).ok()
    }

    /// The logger files whose rows are in the outcome, if they are as they were.
    fn loggers(&self) -> Option<Vec<Stamped>> {
        let disk = self.disk.as_ref();
        let zone = self.project.definition.zone;
        let events = self.project.events().iter();
        let files = events.filter_map(|event| match &event.what {
            What::Logger { file, sha256, .. } => Some((file, sha256)),
            _ => None,
        });
        files
            .map(|(name, sha256)| {
                let stamped = Stamped::of(disk, files::inside(&self.path, name))?;
                let rows = files::rows_of(disk, &self.path, (name, sha256), zone).ok()?;
                let is_known = self.project.logs().get(name) == Some(&rows);
                (is_known && stamped.is_as_it_was(disk)).then_some(stamped)
            })
            .collect()
    }

    /// The last events, and those before up to the last one that holds.
    fn last_lines(&self) -> Option<Vec<String>> {
        let events = self.project.events();
        let from = events.len().saturating_sub(LAST);
        let holding = self.project.undo_target().map_or(1, |event| event.sequence);
        let holding = usize::try_from(holding.saturating_sub(1)).ok()?;
        let places = from.min(holding)..events.len();
        let lines = places.map(|at| journal::line(events.get(at)?));
        lines.collect()
    }
}

/// The events in the journal behind a bookmark, in portions, if what is before
/// it is the same to the byte.
fn since(disk: &dyn Disk, path: &Path, bookmark: &Bookmark) -> Option<Vec<Vec<Event>>> {
    let bytes = disk.read(&path.join(JOURNAL)).ok()?;
    let mut journal = Journal::at(bookmark, &bytes)?;
    match journal.take(&bytes) {
        Ok((events, Tail::Whole)) => Some(events),
        _ => None,
    }
}

/// The file in which something of a folder is kept: by the folder's whole path.
pub(super) fn name_of(disk: &dyn Disk, path: &Path, kind: &str) -> Option<String> {
    let path = disk.real_path(path).ok()?;
    let name = files::sha256_hex(path.as_os_str().as_encoded_bytes());
    Some(format!("{}.{kind}", &name[..32]))
}

/// Puts a file into the cache folder, which is made if need be.
pub(super) fn put(disk: &dyn Disk, dir: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
    disk.create_dir(dir)?;
    files::replace(disk, dir, name, bytes)
}

pub(super) fn digest(bytes: &[u8]) -> [u8; 32] {
    Sha256::digest(bytes).into()
}
