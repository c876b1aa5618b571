//! One open project folder.

use std::cell::OnceCell;
use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::sleep;
use std::time::Duration;

use super::digests::Memory;
use super::disk::{Disk, Locked, RealDisk, Stamp};
use super::error::{ErrorKind, RecordError, StoreError};
use super::files::{self, IMMERSIONS, JOURNAL, MESHES, PROJECT};
use super::journal::{self, Journal, Sealed, Tail};
use super::notices::Notices;
use crate::project::{
    Action, Decision, Definition, Event, History, LogRow, Project, Refusal, What,
};
use crate::units::{Instant, Zone};

/// A lock that is held is asked for again after so long.
const LOCK_PAUSE: Duration = Duration::from_millis(10);

/// And so often: two seconds in all.
const LOCK_ATTEMPTS: u32 = 200;

/// An open project: its folder, and what its files say.
///
/// Several programs may have one project open. Whoever writes takes the
/// journal's lock, reads what the others wrote, judges by that, writes, syncs
/// and lets go; whoever only reads calls [`Self::follow`] now and then.
#[derive(Debug)]
pub struct Folder {
    pub(super) disk: Arc<dyn Disk>,
    pub(super) path: PathBuf,
    pub(super) project: Project,
    /// A logger file that was copied in and that no event names yet.
    pub(super) taken: Option<String>,
    pub(super) notices: Notices,
    pub(super) journal: Journal,
    seen: Seen,
    /// Where the digests of prints are remembered.
    memory: Option<Memory>,
    /// Why nothing can be written any more.
    poisoned: OnceCell<String>,
}

/// A project under a definition that can be, with what is to be told of it.
pub(super) type Validated = (Project, Notices);

/// What came of reading on.
#[derive(Debug)]
struct Taken {
    tail: Tail,
    /// Whether the project or a notice is another now.
    changed: bool,
}

/// The files as they were when they were last read.
#[derive(Debug, Default)]
struct Seen {
    definition: Option<Stamp>,
    journal: Option<Stamp>,
}

impl Folder {
    /// Opens the project in a folder.
    ///
    /// A last line of the journal that is not whole, for a write failed, is set
    /// aside in a file of its own; [`Self::notices`] tells, as of a journal that
    /// is missing.
    ///
    /// # Errors
    /// When there is no such folder or no project in it, a file cannot be
    /// read, or what is in it cannot be.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        Self::open_on(Arc::new(RealDisk), path)
    }

    /// The same on a disk of one's own.
    ///
    /// # Errors
    /// As [`Self::open`].
    pub fn open_on(disk: Arc<dyn Disk>, path: &Path) -> Result<Self, StoreError> {
        let mut folder = Self::open_soon_on(disk, path)?;
        folder.look_at_meshes();
        Ok(folder)
    }

    /// The same as [`Self::open`] without a look at the prints, which takes its
    /// time: [`Self::look_at_meshes`].
    ///
    /// # Errors
    /// As [`Self::open`].
    pub fn open_soon(path: &Path) -> Result<Self, StoreError> {
        Self::open_soon_on(Arc::new(RealDisk), path)
    }

    /// Looks whether the prints are as they were measured; [`Self::notices`]
    /// tells.
    pub fn look_at_meshes(&mut self) {
        let (disk, definition) = (self.disk.as_ref(), &self.project.definition);
        let memory = self.memory.as_ref();
        self.notices
            .look_at_meshes(disk, &self.path, definition, memory);
    }

    /// Remembers the digests of prints in the cache folder `dir`, so that one
    /// that has not been touched since is not read by [`Self::look_at_meshes`].
    /// `now` is the present, or an instant before.
    pub fn remember_digests(&mut self, dir: &Path, now: Instant) {
        self.memory = Some(Memory {
            dir: dir.to_owned(),
            since: now,
        });
    }

    /// The same as [`Self::open_soon`] on a disk of one's own.
    ///
    /// # Errors
    /// As [`Self::open`].
    pub fn open_soon_on(disk: Arc<dyn Disk>, path: &Path) -> Result<Self, StoreError> {
        check_is_project(disk.as_ref(), path)?;
        let (file, journal_file) = (path.join(PROJECT), path.join(JOURNAL));
        let seen = Seen {
            definition: disk.stat(&file).ok(),
            journal: disk.stat(&journal_file).ok(),
        };
        let mut journal = Journal::default();
        let bytes = files::read_if_there(disk.as_ref(), &journal_file)?;
        let (events, tail) = journal
            .take(&bytes)
            .map_err(|bad| files::bad_line(&journal_file, &bad))?;
        drop(bytes);
        let events: History = events.into_iter().flatten().collect();
        let text = files::read_text(disk.as_ref(), &file)?;
        let definition = files::parse(&text, &file)?;
        let mut notices = Notices::default();
        let logs = read_logs(
            disk.as_ref(),
            path,
            events.iter(),
            definition.zone,
            &mut notices,
        );
        let project = folded((&text, &file), definition, events, logs)?;
        let mut folder = Self {
            disk,
            path: path.to_owned(),
            project,
            taken: None,
            notices,
            journal,
            seen,
            memory: None,
            poisoned: OnceCell::new(),
        };
        if tail == Tail::Torn {
            folder.mend()?;
        }
        folder.look_at_journal();
        Ok(folder)
    }

    /// Makes a folder, or fills an empty one, with a new project: `text` is
    /// its `project.ron`, `at` when it is begun.
    ///
    /// # Errors
    /// When there is a project already, the text is none, or the system
    /// refuses.
    pub fn create(path: &Path, text: &str, at: Instant) -> Result<Self, StoreError> {
        Self::create_on(Arc::new(RealDisk), path, text, at)
    }

    /// The same on a disk of one's own.
    ///
    /// # Errors
    /// As [`Self::create`].
    pub fn create_on(
        disk: Arc<dyn Disk>,
        path: &Path,
        text: &str,
        at: Instant,
    ) -> Result<Self, StoreError> {
        let (file, journal_file) = (path.join(PROJECT), path.join(JOURNAL));
        files::parse(text, &file)?;
        if disk.stat(path).is_ok_and(|stamp| !stamp.is_dir) {
            return Err(exists(path, "is a file, not a folder"));
        }
        check_is_free(disk.as_ref(), path)?;
        for dir in [path.to_owned(), path.join(MESHES), path.join(IMMERSIONS)] {
            files::make_folder(disk.as_ref(), &dir)
                .map_err(|error| StoreError::no_place(&dir, &error))?;
        }
        let mut lock = locked(disk.as_ref(), &journal_file)?;
        // Another program may have been quicker.
        check_is_free(disk.as_ref(), path)?;
        let header = journal::header(at)
            .map_err(|fault| StoreError::new(ErrorKind::Journal, fault.to_string(), ""))?;
        // This makes the journal's name durable too, before a line is in it.
        let begun = files::replace(disk.as_ref(), path, PROJECT, text.as_bytes())
            .map_err(|error| StoreError::io("write", &file, &error));
        let begun = begun.and_then(|()| {
            let written = lock.append(&header).and_then(|()| lock.sync());
            written.map_err(|error| StoreError::io("write", &journal_file, &error))
        });
        if begun.is_err() {
            // Half a project would stand in the way of the next attempt.
            let _emptied = lock.truncate(0);
            let _removed = disk.remove(&file);
        }
        begun?;
        drop(lock);
        Self::open_on(disk, path)
    }

    /// What the files say.
    pub fn project(&self) -> &Project {
        &self.project
    }

    /// The folder.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What a person should know of the files, one sentence each.
    pub fn notices(&self) -> &[String] {
        self.notices.all()
    }

    /// Why nothing is written with this folder any more, once a write has failed.
    pub fn stopped(&self) -> Option<StoreError> {
        self.check_not_poisoned().err()
    }

    /// Takes in what other programs recorded and what was edited in
    /// `project.ron`; whether there was any such thing. It is cheap while
    /// nothing changes. An edit that cannot be leaves the former definition in
    /// force; [`Self::notices`] tells.
    ///
    /// # Errors
    /// When the journal cannot be read, has been changed behind its end, or
    /// holds what cannot be; of kind `poisoned` when a write failed before.
    pub fn follow(&mut self) -> Result<bool, StoreError> {
        self.check_not_poisoned()?;
        let file = self.path.join(JOURNAL);
        let stamp = self.disk.stat(&file).ok();
        if stamp == self.seen.journal {
            return self.take_in(None).map(|taken| taken.changed);
        }
        let bytes = files::read_if_there(self.disk.as_ref(), &file)?;
        let taken = self.take_in(Some(&bytes))?;
        self.seen.journal = stamp;
        Ok(taken.changed)
    }

    /// Records an action, if the rules let it pass, on what the files say by
    /// now. When this returns, the event would survive a power cut.
    ///
    /// `clock` is what the clock shows, `now` what is to be taken for it; the
    /// present is never before what has happened unless `now` says so.
    ///
    /// # Errors
    /// A refusal of the rules, or trouble with the files: kind `locked` when
    /// another program holds the journal for over two seconds, `poisoned` when
    /// a write failed before. Nothing is recorded then, or where a write failed
    /// nothing that was acknowledged; a logger's file that was taken in for it is
    /// gone again, unless the event may stand in the journal all the same.
    pub fn record(
        &mut self,
        action: &Action,
        clock: Instant,
        now: Option<Instant>,
    ) -> Result<Decision, RecordError> {
        let recorded = self.try_record(action, clock, now);
        if recorded.is_err() {
            self.drop_taken(&action.what);
        }
        recorded
    }

    fn try_record(
        &mut self,
        action: &Action,
        clock: Instant,
        now: Option<Instant>,
    ) -> Result<Decision, RecordError> {
        let mut lock = self.lock()?;
        self.catch_up(lock.as_mut())?;
        let now = now.unwrap_or_else(|| self.project.present(clock));
        let decision = self.project.judge(action, now)?;
        let sealed = self.sealed(&decision.event)?;
        let mut project = self.project.clone();
        let rows = self.rows(&sealed.event)?;
        self.check_have_come(rows.as_deref().unwrap_or_default(), now)?;
        project
            .push(sealed.event.clone(), rows)
            .map_err(|later| self.project.refuse(&sealed.event, &later))?;
        self.append(lock.as_mut(), &sealed)?;
        self.seen.journal = lock.stat().ok();
        self.project = project;
        self.taken = None;
        self.look_at_journal();
        Ok(Decision {
            event: sealed.event,
            warnings: decision.warnings,
        })
    }

    /// After a write that failed nobody knows what is on the disk: nothing more
    /// is written or read with this folder.
    pub(super) fn check_not_poisoned(&self) -> Result<(), StoreError> {
        let Some(because) = self.poisoned.get() else {
            return Ok(());
        };
        let message = format!("nothing more is recorded, since a write failed ({because})");
        let remedy = "see to the disk, then leave and open the project again";
        Err(StoreError::new(ErrorKind::Poisoned, message, remedy).in_file(&self.path.join(JOURNAL)))
    }

    /// What a write led to. One that failed, unless the system did not let it
    /// begin, is the last with this folder.
    pub(super) fn written<T>(
        &self,
        doing: &str,
        file: &Path,
        result: io::Result<T>,
    ) -> Result<T, StoreError> {
        result.map_err(|error| {
            let has_not_begun = matches!(
                error.kind(),
                io::ErrorKind::NotFound
                    | io::ErrorKind::AlreadyExists
                    | io::ErrorKind::PermissionDenied
                    | io::ErrorKind::ReadOnlyFilesystem
            );
            if !has_not_begun {
                self.poisoned.get_or_init(|| error.to_string());
            }
            StoreError::io(doing, file, &error)
        })
    }

    /// The journal's lock, for a folder that can still be written.
    pub(super) fn lock(&self) -> Result<Box<dyn Locked>, StoreError> {
        self.check_not_poisoned()?;
        let file = self.path.join(JOURNAL);
        let is_new = self.disk.stat(&file).is_err();
        let mut lock = locked(self.disk.as_ref(), &file)?;
        if is_new {
            self.begin(lock.as_mut(), &file)?;
        }
        Ok(lock)
    }

    /// Gives a journal that its lock has made its first line: one without it
    /// has lost something.
    fn begin(&self, lock: &mut dyn Locked, file: &Path) -> Result<(), StoreError> {
        let stamp = lock.stat();
        let stamp = stamp.map_err(|error| StoreError::io("read", file, &error))?;
        if stamp.len > 0 {
            return Ok(());
        }
        // It was made just now.
        let made = stamp.modified.unwrap_or_default().as_millis();
        let begun = Instant::from_unix_ms(i64::try_from(made).unwrap_or(0));
        let header = journal::header(begun)
            .map_err(|fault| StoreError::new(ErrorKind::Journal, fault.to_string(), ""))?;
        let named = self.disk.sync_dir(&self.path);
        let written = named
            .and_then(|()| lock.append(&header))
            .and_then(|()| lock.sync());
        self.written("write", file, written)
    }

    /// Takes in everything while the lock is held, so that nothing more can
    /// come, and sets a torn line aside.
    pub(super) fn catch_up(&mut self, lock: &mut dyn Locked) -> Result<(), StoreError> {
        let file = self.path.join(JOURNAL);
        let failed = |error: io::Error| StoreError::io("read", &file, &error);
        let stamp = lock.stat().map_err(failed)?;
        if Some(stamp) == self.seen.journal && stamp.len == self.journal.end() as u64 {
            return self.take_in(None).map(|_| ());
        }
        let bytes = lock.read().map_err(failed)?;
        if self.take_in(Some(&bytes))?.tail == Tail::Torn {
            self.set_aside(lock, &bytes)?;
        }
        self.seen.journal = lock.stat().ok();
        Ok(())
    }

    /// Sets a torn line aside if the journal can be locked at once. Where it
    /// cannot, the line may still be being written, or nothing can be written
    /// at all: then it is left out.
    fn mend(&mut self) -> Result<(), StoreError> {
        let file = self.path.join(JOURNAL);
        let mended = match self.disk.lock(&file) {
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => return Ok(()),
            Err(error) => Err(StoreError::io("open", &file, &error)),
            Ok(mut lock) => self.catch_up(lock.as_mut()),
        };
        mended.or_else(|error| match error.kind {
            ErrorKind::Io => {
                self.notices.torn(format!(
                    "journal.ron: its last line is not whole, since a write failed; it is left out ({})",
                    error.message
                ));
                Ok(())
            }
            _ => Err(error),
        })
    }

    /// Rows of a logger are recorded like anything else: when they have come.
    fn check_have_come(&self, rows: &[LogRow], now: Instant) -> Result<(), Refusal> {
        let Some(row) = rows.last().filter(|row| row.at > now) else {
            return Ok(());
        };
        let zone = self.project.definition.zone;
        let clock = zone.local(row.at).beside(zone.local(now));
        let because = format!(
            "the last row is of {clock}, which has not come yet: see to the logger's clock and its zone"
        );
        Err(Refusal::new("future", because))
    }

    /// Tells of a journal in which there is nothing, and no more once there is.
    fn look_at_journal(&mut self) {
        let fault = match self.journal.end() {
            0 => files::journal_fault(self.disk.as_ref(), &self.path),
            _ => None,
        };
        self.notices.no_journal(fault.as_ref());
    }

    fn set_aside(&mut self, lock: &mut dyn Locked, bytes: &[u8]) -> Result<(), StoreError> {
        let end = self.journal.end();
        let torn = bytes.get(end..).unwrap_or_default();
        let name = self.write_numbered(torn, |number| format!("journal.torn-{number}.ron"))?;
        let cut = lock.truncate(end as u64).and_then(|()| lock.sync());
        self.written("cut", &self.path.join(JOURNAL), cut)?;
        self.notices.torn(format!(
            "journal.ron: its last line was not whole, since a write failed; it was set aside in {name}"
        ));
        Ok(())
    }

    /// Writes a new file under the first free number; its name.
    pub(super) fn write_numbered(
        &self,
        bytes: &[u8],
        name: impl Fn(u32) -> String,
    ) -> Result<String, StoreError> {
        let mut number = 1;
        loop {
            let name = name(number);
            let file = files::inside(&self.path, &name);
            match self.disk.write_synced(&file, bytes, true) {
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => number += 1,
                written => {
                    let written = written
                        .and_then(|()| self.disk.sync_dir(file.parent().unwrap_or(&self.path)));
                    return self.written("write", &file, written.map(|()| name));
                }
            }
        }
    }

    /// Takes in what the journal's bytes hold beyond what was read of them, and
    /// then `project.ron` if it has changed: whoever records of a new piece has
    /// written that piece before.
    fn take_in(&mut self, bytes: Option<&[u8]>) -> Result<Taken, StoreError> {
        let (journal, new, tail) = match bytes {
            Some(bytes) => self.read_on(bytes)?,
            None => (None, Vec::new(), Tail::Whole),
        };
        let mut changed = !new.is_empty();
        match self.changed_definition(&new) {
            Some(Ok((project, notices))) => {
                changed |= project != self.project || notices != self.notices;
                self.project = project;
                self.notices = notices;
            }
            former => {
                if let Some(Err(error)) = former {
                    changed |= self.notices.edit(&error);
                }
                self.push_all(&new)?;
            }
        }
        if let Some(journal) = journal {
            self.journal = journal;
            self.look_at_journal();
        }
        Ok(Taken { tail, changed })
    }

    /// The journal with the new lines of its file, and their events.
    fn read_on(&self, bytes: &[u8]) -> Result<(Option<Journal>, Vec<Event>, Tail), StoreError> {
        let file = self.path.join(JOURNAL);
        if !self.journal.is_start_of(bytes) {
            let message = if bytes.len() < self.journal.end() {
                "the journal has become shorter than it was when it was read"
            } else {
                "the journal was changed in lines that had been read"
            };
            let remedy = "close the project, look at it with `tankside check`, and open it again";
            return Err(StoreError::new(ErrorKind::Journal, message, remedy).in_file(&file));
        }
        let mut journal = self.journal.clone();
        let (events, tail) = journal
            .take(bytes)
            .map_err(|bad| files::bad_line(&file, &bad))?;
        Ok((Some(journal), events.concat(), tail))
    }

    /// The project under its definition with the new events, if `project.ron`
    /// has changed, or could not be before there were these.
    fn changed_definition(&mut self, new: &[Event]) -> Option<Result<Validated, StoreError>> {
        let file = self.path.join(PROJECT);
        let stamp = self.disk.stat(&file).ok();
        let again = !new.is_empty() && self.notices.has_edit();
        if stamp == self.seen.definition && !again {
            return None;
        }
        self.seen.definition = stamp;
        let text = files::read_text(self.disk.as_ref(), &file);
        Some(text.and_then(|text| self.validated(&text, new)))
    }

    fn push_all(&mut self, new: &[Event]) -> Result<(), StoreError> {
        if new.is_empty() {
            return Ok(());
        }
        let mut project = self.project.clone();
        for event in new {
            let rows = match self.rows(event) {
                Ok(rows) => rows,
                Err(error) => {
                    self.notices.left_out(&event.what, &error);
                    None
                }
            };
            project
                .push(event.clone(), rows)
                .map_err(|found| self.contradicts(&found, new))?;
        }
        self.project = project;
        Ok(())
    }

    /// The rows that come with an event.
    fn rows(&self, event: &Event) -> Result<Option<Vec<LogRow>>, StoreError> {
        let What::Logger { file, sha256, .. } = &event.what else {
            return Ok(None);
        };
        let zone = self.project.definition.zone;
        files::rows_of(self.disk.as_ref(), &self.path, (file, sha256), zone).map(Some)
    }

    fn sealed(&self, event: &Event) -> Result<Sealed, StoreError> {
        self.journal.sealed(event).map_err(|fault| {
            let message = format!("the event cannot be written: {fault}");
            StoreError::new(ErrorKind::Journal, message, "say it in other words")
        })
    }

    /// Writes the line and syncs it. Part of a line is cut off again as far as
    /// that goes; after a sync that failed nothing more is written.
    fn append(&mut self, lock: &mut dyn Locked, sealed: &Sealed) -> Result<(), StoreError> {
        let file = self.path.join(JOURNAL);
        if self.journal.end() == 0 {
            // Who finds a line in the journal may rely on the journal's name.
            let named = self.disk.sync_dir(&self.path);
            self.written("write", &file, named)?;
        }
        let appended = lock.append(&sealed.bytes);
        if appended.is_err() {
            let _ = lock.truncate(self.journal.end() as u64);
        }
        let written = appended.and_then(|()| lock.sync());
        if written.is_err() {
            // The event may be there after all: then what it names stays.
            self.taken = None;
        }
        self.written("write", &file, written)?;
        self.journal.accept(sealed);
        Ok(())
    }

    /// The project under another text of its definition, with new events.
    pub(super) fn validated(&self, text: &str, new: &[Event]) -> Result<Validated, StoreError> {
        let file = self.path.join(PROJECT);
        let definition = files::parse(text, &file)?;
        let mut notices = self.notices.without_edit();
        let events = self.events_with(new);
        let (zone, disk) = (definition.zone, self.disk.as_ref());
        // Local times in a logger's file are of the zone.
        let logs = if zone == self.project.definition.zone {
            let mut logs = self.project.logs().clone();
            logs.extend(read_logs(disk, &self.path, new.iter(), zone, &mut notices));
            logs
        } else {
            notices.clear_left_out();
            read_logs(disk, &self.path, events.iter(), zone, &mut notices)
        };
        notices.look_at_meshes(disk, &self.path, &definition, self.memory.as_ref());
        let project = folded((text, &file), definition, events, logs)?;
        Ok((project, notices))
    }

    /// Puts a text that [`Self::validated`] let pass in the place of
    /// `project.ron`. The lock is held.
    pub(super) fn put_definition(
        &mut self,
        text: &str,
        (project, notices): Validated,
    ) -> Result<(), StoreError> {
        let replaced = files::replace(self.disk.as_ref(), &self.path, PROJECT, text.as_bytes());
        self.written("write", &self.path.join(PROJECT), replaced)?;
        self.seen.definition = self.disk.stat(&self.path.join(PROJECT)).ok();
        self.project = project;
        self.notices = notices;
        Ok(())
    }

    fn contradicts(&self, found: &crate::project::Contradiction, new: &[Event]) -> StoreError {
        let file = self.path.join(PROJECT);
        let text = files::read_text(self.disk.as_ref(), &file).unwrap_or_default();
        let events = self.events_with(new);
        files::contradiction((&text, &file), &self.project.definition, &events, found)
    }

    fn events_with(&self, new: &[Event]) -> History {
        let mut events = self.project.events().clone();
        events.extend(new.iter().cloned());
        events
    }

    /// Takes the logger file away again that an action in vain brought in.
    fn drop_taken(&mut self, what: &What) {
        let What::Logger { file, .. } = what else {
            return;
        };
        if self.taken.as_ref() == Some(file) {
            let _ = self.disk.remove(&files::inside(&self.path, file));
            self.taken = None;
        }
    }
}

pub(super) fn check_is_project(disk: &dyn Disk, path: &Path) -> Result<(), StoreError> {
    let none = |message: String, remedy: &str| {
        Err(StoreError::new(ErrorKind::NotAProject, message, remedy).in_file(path))
    };
    match disk.stat(path) {
        Ok(stamp) if stamp.is_dir => {}
        Ok(_) => {
            return none(
                format!("{} is a file, not a folder", path.display()),
                "name the folder in which project.ron lies",
            );
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            let message = format!("there is no folder {}", path.display());
            let remedy = "see to the spelling, or begin a project there with `tankside new`";
            return Err(StoreError::new(ErrorKind::NotFound, message, remedy).in_file(path));
        }
        Err(error) => return Err(StoreError::io("open", path, &error)),
    }
    let file = path.join(PROJECT);
    match disk.stat(&file) {
        Ok(_) => Ok(()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => none(
            format!("there is no project.ron in {}", path.display()),
            "name a project's folder, or begin one with `tankside new`",
        ),
        Err(error) => Err(StoreError::io("read", &file, &error)),
    }
}

/// Refuses a folder that holds a project or the history of one.
fn check_is_free(disk: &dyn Disk, path: &Path) -> Result<(), StoreError> {
    if disk.stat(&path.join(PROJECT)).is_ok() {
        return Err(exists(&path.join(PROJECT), "is there already"));
    }
    if disk
        .stat(&path.join(JOURNAL))
        .is_ok_and(|stamp| stamp.len > 0)
    {
        return Err(exists(&path.join(JOURNAL), "is there already"));
    }
    Ok(())
}

fn exists(path: &Path, how: &str) -> StoreError {
    let message = format!("{} {how}", path.display());
    StoreError::new(
        ErrorKind::Exists,
        message,
        "name a folder that is empty or new",
    )
    .in_file(path)
}

/// The lock of a journal, asked for again for two seconds.
fn locked(disk: &dyn Disk, journal: &Path) -> Result<Box<dyn Locked>, StoreError> {
    for _ in 0..LOCK_ATTEMPTS {
        match disk.lock(journal) {
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => sleep(LOCK_PAUSE),
            taken => return taken.map_err(|error| StoreError::io("open", journal, &error)),
        }
    }
    Err(StoreError::new(
        ErrorKind::Locked,
        "could not have the journal's lock within 2 s: another program holds it, or many write at once",
        "try again; if it stays so, see which other program has the project open",
    )
    .in_file(journal))
}

/// The rows of the logger files that events name; those of a file in trouble are left out.
fn read_logs<'a>(
    disk: &dyn Disk,
    folder: &Path,
    events: impl Iterator<Item = &'a Event>,
    zone: Zone,
    notices: &mut Notices,
) -> BTreeMap<String, Vec<LogRow>> {
    let mut logs = BTreeMap::new();
    for event in events {
        let What::Logger { file, sha256, .. } = &event.what else {
            continue;
        };
        match files::rows_of(disk, folder, (file, sha256), zone) {
            Ok(rows) => {
                logs.insert(file.clone(), rows);
            }
            Err(error) => notices.left_out(&event.what, &error),
        }
    }
    logs
}

fn folded(
    (text, file): (&str, &Path),
    definition: Definition,
    events: History,
    logs: BTreeMap<String, Vec<LogRow>>,
) -> Result<Project, StoreError> {
    Project::new(definition.clone(), events.clone(), logs)
        .map_err(|found| files::contradiction((text, file), &definition, &events, &found))
}
