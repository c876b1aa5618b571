//! Goes through a whole folder and tells everything that is wrong with it.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

use super::disk::{Disk, RealDisk};
use super::error::{ErrorKind, StoreError};
use super::files::{self, JOURNAL, PROJECT, TEMPORARY};
use super::journal::{BadLine, Survey};
use crate::project::{Definition, History, Project, What};
use crate::units::Zone;

/// What a check found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckReport {
    /// The whole events before the first bad line; all, where none is bad.
    pub events: usize,
    /// What is wrong; nothing, in a sound folder.
    pub problems: Vec<Problem>,
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
    };
    let is_project = super::folder::check_is_project(disk, path);
    let is_project = check.told(is_project).is_some();
    if !disk.stat(path).is_ok_and(|stamp| stamp.is_dir) {
        return CheckReport {
            events: 0,
            problems: check.problems,
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
    check.leftovers();
    CheckReport {
        events: events.len(),
        problems: check.problems,
    }
}

struct Check<'a> {
    disk: &'a dyn Disk,
    folder: &'a Path,
    problems: Vec<Problem>,
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
        for fault in meshes.filter_map(|mesh| files::mesh_fault(self.disk, self.folder, mesh)) {
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

    /// What a write that failed left behind.
    fn leftovers(&mut self) {
        let file = self.folder.join(TEMPORARY);
        if self.disk.stat(&file).is_ok() {
            let what = "a write of project.ron ended before its time and left this behind";
            let remedy = "project.ron is whole; take this file away";
            self.tell(StoreError::new(ErrorKind::Io, what, remedy).in_file(&file));
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
