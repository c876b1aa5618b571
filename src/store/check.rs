//! Goes through a whole folder and tells everything that is wrong with it.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

use super::disk::{Disk, RealDisk};
use super::error::{ErrorKind, StoreError};
use super::files::{self, DRAFT, IMMERSIONS, JOURNAL, PROJECT};
use super::journal::{BadLine, Survey};
use super::salvage::{self, Rescue};
use crate::project::{Definition, Event, History, Project, What};
use crate::units::Zone;

/// What a check found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckReport {
    /// The whole events before the first bad line; all, where none is bad.
    pub events: usize,
    /// What is wrong; nothing, in a sound folder.
    pub problems: Vec<Problem>,
    /// What is worth knowing and no damage: lines that were set aside, an edit
    /// that was not finished, files that cannot be written.
    pub notes: Vec<Problem>,
    /// What of a damaged journal can be saved by [`super::salvage()`]; nothing
    /// for a journal that is whole, or of which only a torn line is to be set
    /// aside.
    pub rescue: Option<Rescue>,
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Of what kind, in the words of [`StoreError::kind`].
    pub kind: &'static str,
    /// The file.
    pub file: PathBuf,
    /// Line, from 1.
    pub line: Option<usize>,
    /// Column in characters, from 1.
    pub column: Option<usize>,
    /// What is wrong.
    pub what: String,
    /// What would mend it.
    pub remedy: String,
}

/// Checks the project in a folder and changes nothing.
pub fn check(path: &Path) -> CheckReport {
    check_on(&RealDisk, path)
}

/// The same on a disk of one's own.
pub fn check_on(disk: &dyn Disk, path: &Path) -> CheckReport {
    let mut check = Check {
        disk,
        folder: path,
        problems: Vec::new(),
        rescue: None,
    };
    let is_project = super::folder::check_is_project(disk, path);
    let is_project = check.told(is_project).is_some();
    if !disk.stat(path).is_ok_and(|stamp| stamp.is_dir) {
        return CheckReport {
            events: 0,
            problems: check.problems,
            notes: Vec::new(),
            rescue: None,
        };
    }
    let definition = check.definition();
    let events = check.journal();
    if is_project && let Some(fault) = files::journal_fault(disk, path) {
        check.tell(fault);
    }
    if let Some((text, definition)) = &definition {
        check.fold(text, definition, &events);
        check.meshes(definition);
    }
    let zone = definition.map_or(Zone::UTC, |(_, definition)| definition.zone);
    check.loggers(&events, zone);
    let names = check.names();
    check.leftovers(&names);
    let rescue = check.rescue;
    let problems = std::mem::take(&mut check.problems);
    check.note_set_aside(&names);
    if rescue.is_none() {
        check.note_unnamed(&events);
    }
    check.note_what_cannot_be_written();
    CheckReport {
        events: events.len(),
        problems,
        notes: check.problems,
        rescue,
    }
}

struct Check<'a> {
    disk: &'a dyn Disk,
    folder: &'a Path,
    problems: Vec<Problem>,
    rescue: Option<Rescue>,
}

impl Check<'_> {
    fn tell(&mut self, error: StoreError) {
        self.problems.push(Problem {
            kind: error.kind(),
            file: error.file.unwrap_or_else(|| self.folder.to_owned()),
            line: error.line,
            column: error.column,
            what: error.message,
            remedy: error.remedy,
        });
    }

    fn told<T>(&mut self, result: Result<T, StoreError>) -> Option<T> {
        result.map_err(|error| self.tell(error)).ok()
    }

    fn definition(&mut self) -> Option<(String, Definition)> {
        let file = self.folder.join(PROJECT);
        let missing = |error: &io::Error| error.kind() == io::ErrorKind::NotFound;
        if self.disk.stat(&file).is_err_and(|error| missing(&error)) {
            return None;
        }
        let text = self.told(files::read_text(self.disk, &file))?;
        let definition = self.told(files::parse(&text, &file))?;
        Some((text, definition))
    }

    /// The whole events before the first bad line; every bad line is told.
    fn journal(&mut self) -> History {
        let file = self.folder.join(JOURNAL);
        let read = files::read_if_there(self.disk, &file);
        let Some(bytes) = self.told(read) else {
            return History::default();
        };
        let survey = Survey::of(&bytes);
        if survey.bad.len() > usize::from(survey.torn) {
            self.rescue = Some(salvage::rescue(&bytes));
        }
        let last = survey.bad.len().checked_sub(usize::from(survey.torn));
        for (index, bad) in survey.bad.iter().enumerate() {
            let error = if survey.torn && Some(index) == last {
                torn(&file, bad)
            } else if index == 0 {
                files::bad_line(&file, bad)
            } else {
                let remedy = "restore journal.ron from git or a backup";
                StoreError::new(ErrorKind::Journal, bad.fault.to_string(), remedy)
                    .in_file(&file)
                    .at_line(bad.line)
            };
            self.tell(error);
        }
        survey.events.into()
    }

    /// Whether what happened could be under the definition. Logger rows change
    /// figures, never what can be.
    fn fold(&mut self, text: &str, definition: &Definition, events: &History) {
        let folded = Project::new(definition.clone(), events.clone(), BTreeMap::new());
        if let Err(found) = folded {
            let file = self.folder.join(PROJECT);
            let place = (text, file.as_path());
            self.tell(files::contradiction(place, definition, events, &found));
        }
    }

    fn meshes(&mut self, definition: &Definition) {
        let meshes = definition.pieces.iter().filter_map(|p| p.mesh.as_ref());
        // Nothing that is remembered counts here: every print is read.
        let anew = |file: &Path| self.disk.read(file).map(|bytes| files::sha256_hex(&bytes));
        let fault = |mesh| files::mesh_fault(self.disk, self.folder, mesh, anew);
        let faults: Vec<StoreError> = meshes.filter_map(fault).collect();
        for fault in faults {
            self.tell(fault);
        }
    }

    fn loggers(&mut self, events: &History, zone: Zone) {
        for event in events.iter() {
            if let What::Logger { file, sha256, .. } = &event.what {
                let rows = files::rows_of(self.disk, self.folder, (file, sha256), zone);
                self.told(rows);
            }
        }
    }

    /// The names of the files in the folder.
    fn names(&mut self) -> Vec<String> {
        let names = self.disk.list(self.folder);
        let names = names.map_err(|error| StoreError::io("list", self.folder, &error));
        self.told(names).unwrap_or_default()
    }

    /// What a write that failed left behind.
    fn leftovers(&mut self, names: &[String]) {
        for name in names.iter().filter(|name| files::is_temporary(name)) {
            let what = "a write ended before its time and left this behind";
            let remedy = "the file that it was to replace is whole; take this file away";
            self.tell_of(name, ErrorKind::Io, what, remedy);
        }
    }

    fn tell_of(&mut self, name: &str, kind: ErrorKind, what: &str, remedy: &str) {
        let file = self.folder.join(name);
        self.tell(StoreError::new(kind, what, remedy).in_file(&file));
    }

    /// Lines and edits that were put beside the files they belong to.
    fn note_set_aside(&mut self, names: &[String]) {
        for name in names
            .iter()
            .filter(|name| name.starts_with("journal.torn-"))
        {
            let what =
                "a line that a failed write left unfinished, set aside; it was never acknowledged";
            let remedy = "nothing need be done; read it, and take it away when you like";
            self.tell_of(name, ErrorKind::Journal, what, remedy);
        }
        if names.iter().any(|name| name == DRAFT) {
            let what = "an edit of project.ron that is not finished, or did not do";
            let remedy = "edit again (`e` on the screen) to go on with it, or take it away";
            self.tell_of(DRAFT, ErrorKind::Definition, what, remedy);
        }
    }

    /// Logger files that no event names.
    fn note_unnamed(&mut self, events: &History) {
        let files = self.disk.list(&self.folder.join(IMMERSIONS));
        for name in files.unwrap_or_default() {
            let name = format!("{IMMERSIONS}/{name}");
            let is_named =
                |event: &Event| matches!(&event.what, What::Logger { file, .. } if *file == name);
            if !events.iter().any(is_named) {
                let what = "no event names this logger file: its rows count for nothing";
                let remedy = "if it was taken in when something failed, take it in again with `record logger`";
                self.tell_of(&name, ErrorKind::Logger, what, remedy);
            }
        }
    }

    fn note_what_cannot_be_written(&mut self) {
        for file in [
            self.folder.to_owned(),
            self.folder.join(PROJECT),
            self.folder.join(JOURNAL),
        ] {
            if let Err(error) = self.disk.may_write(&file)
                && error.kind() != io::ErrorKind::NotFound
            {
                let error = StoreError::io("write", &file, &error);
                self.tell(error);
            }
        }
    }
}

fn torn(file: &Path, bad: &BadLine) -> StoreError {
    let message = format!(
        "the last line is not whole, since a write failed: {}",
        bad.fault
    );
    let remedy =
        "nothing need be done: it was never acknowledged, and opening the project sets it aside";
    StoreError::new(ErrorKind::Journal, message, remedy)
        .in_file(file)
        .at_line(bad.line)
}
