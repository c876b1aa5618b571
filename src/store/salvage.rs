//! What can be saved of a damaged project, put into a new folder.
//!
//! An event goes into the new journal when every line from the first to its
//! own is proven: a line's sum fits the sum that the line before it states. The
//! rest becomes a script for a person to read, mend and run, in which each event
//! is the command that records it again: nothing is ever guessed.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io;
use std::path::{Component, Path, PathBuf};

use super::disk::{Disk, RealDisk};
use super::error::{ErrorKind, StoreError, shown};
use super::files::{self, IMMERSIONS, JOURNAL, MESHES, PROJECT};
use super::journal::{self, Journal, LooseLine};
use crate::project::{Event, What};
use crate::units::{Instant, is_unseen};

/// What the new journal could not take.
pub(super) const LOOSE: &str = "journal.loose.sh";

/// So many lines to either side are asked whether they vouch for a line.
const NEIGHBOURS: usize = 3;

/// No more events than these are told as missing, whatever a line claims.
const MOST_MISSING: u64 = 100_000;

/// How much of a journal can be saved, in events.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Rescue {
    /// Proven from the first line on: they go into the new journal.
    pub saved: usize,
    /// Whole, but behind the damage: they go into a script.
    pub loose: usize,
    /// They read, but nothing vouches for them; they go into the script too, as
    /// remarks.
    pub doubtful: usize,
    /// They do not read, or are not there.
    pub lost: usize,
}

/// What was saved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Salvage {
    /// The new folder.
    pub folder: PathBuf,
    /// Of the journal.
    pub events: Rescue,
    /// The file that tells what the new journal could not take, if there is
    /// such.
    pub loose: Option<PathBuf>,
    /// The files that were copied as they are, relative to the folder.
    pub copied: Vec<String>,
    /// What could not be copied, and why.
    pub left_out: Vec<String>,
}

/// Makes a new folder with what can be saved of the project in a damaged one,
/// which stays as it is.
///
/// # Errors
/// When there is no such folder or nothing of a project in it, the new one is
/// taken or lies inside it, or the system refuses.
pub fn salvage(damaged: &Path, to: &Path) -> Result<Salvage, StoreError> {
    salvage_on(&RealDisk, damaged, to)
}

/// The same on a disk of one's own.
///
/// # Errors
/// As [`salvage`].
pub fn salvage_on(disk: &dyn Disk, damaged: &Path, to: &Path) -> Result<Salvage, StoreError> {
    check_places(disk, damaged, to)?;
    let bytes = files::read_if_there(disk, &damaged.join(JOURNAL))?;
    let found = Found::of(&bytes);
    let new = NewFolder { disk, damaged, to };
    new.make()?;
    let mut done = Salvage {
        folder: to.to_owned(),
        events: found.rescue(),
        loose: None,
        copied: Vec::new(),
        left_out: Vec::new(),
    };
    for name in new.named_files(&found.saved) {
        new.copy(&name, &mut done)?;
    }
    if let Some(text) = found.told(damaged) {
        new.write(LOOSE, text.as_bytes())?;
        done.loose = Some(to.join(LOOSE));
    }
    new.write(JOURNAL, &found.journal()?)?;
    // Last: a folder in which this is missing is no project yet.
    new.copy(PROJECT, &mut done)?;
    Ok(done)
}

/// How much of a journal's bytes can be saved.
pub(super) fn rescue(bytes: &[u8]) -> Rescue {
    Found::of(bytes).rescue()
}

fn check_places(disk: &dyn Disk, damaged: &Path, to: &Path) -> Result<(), StoreError> {
    let is_there = |name: &str| disk.stat(&damaged.join(name)).is_ok();
    if !is_there(JOURNAL) && !is_there(PROJECT) {
        super::folder::check_is_project(disk, damaged)?;
    }
    let taken = match disk.stat(to) {
        Ok(stamp) if stamp.is_dir => disk.list(to).is_ok_and(|names| !names.is_empty()),
        there => there.is_ok(),
    };
    let inside = disk
        .real_path(damaged)
        .is_ok_and(|damaged| to.ancestors().any(|above| real(disk, above) == damaged));
    if !taken && !inside {
        return Ok(());
    }
    let why = if inside {
        "lies inside the damaged project"
    } else {
        "is there already"
    };
    let message = format!("{} {why}", to.display());
    let remedy = "name a new folder beside it";
    Err(StoreError::new(ErrorKind::Exists, message, remedy).in_file(to))
}

fn real(disk: &dyn Disk, path: &Path) -> PathBuf {
    let path = if path.as_os_str().is_empty() {
        Path::new(".")
    } else {
        path
    };
    disk.real_path(path).unwrap_or_default()
}

/// The lines of a journal by what can be done with them.
#[derive(Debug, Default)]
struct Found<'l> {
    begun: Option<Instant>,
    saved: Vec<Event>,
    /// Number of the line, and what it says.
    loose: Vec<(usize, Event)>,
    doubtful: Vec<(usize, Event)>,
    unreadable: Vec<(usize, &'l [u8])>,
    /// A last line that was being written when something failed.
    torn: Option<(usize, &'l [u8])>,
    /// The numbers of events that stand nowhere.
    missing: Vec<u64>,
}

impl<'l> Found<'l> {
    fn of(bytes: &'l [u8]) -> Self {
        let mut found = Self::default();
        let mut lines = LooseLine::all(bytes);
        found.begun = lines.first().and_then(LooseLine::begun);
        let sums: Vec<(usize, &str)> = lines
            .iter()
            .filter_map(|line| Some((line.number, line.sum()?)))
            .collect();
        let first = lines.first().filter(|line| line.is_header());
        let mut chain = first.and_then(LooseLine::sum);
        if first.is_some() {
            lines.remove(0);
        }
        if !bytes.ends_with(b"\n") && lines.last().is_some_and(LooseLine::may_be_torn) {
            found.torn = lines.pop().map(|line| (line.number, line.text));
        }
        while let Some(next) = chain.and_then(|chain| found.next(&lines, chain)) {
            let line = lines.remove(next);
            chain = line.sum();
            found.saved.extend(line.event);
        }
        for line in lines {
            let number = line.number;
            let from = sums.partition_point(|(n, _)| n + NEIGHBOURS < number);
            let near = sums[from..]
                .iter()
                .take_while(|(n, _)| *n <= number + NEIGHBOURS);
            let is_whole = near.into_iter().any(|(_, sum)| line.follows(sum));
            match line.event {
                Some(event) if found.saved.contains(&event) => {}
                Some(event) if is_whole => found.loose.push((number, event)),
                Some(event) => found.doubtful.push((number, event)),
                None => found.unreadable.push((number, line.text)),
            }
        }
        found.look_for_missing();
        found
    }

    /// The line that was written behind the one of this sum.
    fn next(&self, lines: &[LooseLine<'_>], chain: &str) -> Option<usize> {
        let wanted = self.saved.len() as u64 + 1;
        lines.iter().position(|line| {
            let sequence = line.event.as_ref().map(|event| event.sequence);
            sequence == Some(wanted) && line.follows(chain)
        })
    }

    fn look_for_missing(&mut self) {
        let sequences = |events: &[(usize, Event)]| {
            let numbers = events.iter().map(|(_, event)| event.sequence);
            numbers.collect::<BTreeSet<u64>>()
        };
        let (loose, mut seen) = (sequences(&self.loose), sequences(&self.doubtful));
        let saved = self.saved.len() as u64;
        // A number that was changed may be anything.
        let others = self.loose.len() + self.doubtful.len() + self.unreadable.len();
        seen.retain(|number| *number <= saved + others as u64);
        seen.extend(loose);
        let last = seen.last().copied().unwrap_or(0).min(saved + MOST_MISSING);
        self.missing = (saved + 1..=last).filter(|n| !seen.contains(n)).collect();
    }

    fn rescue(&self) -> Rescue {
        Rescue {
            saved: self.saved.len(),
            loose: self.loose.len(),
            doubtful: self.doubtful.len(),
            lost: self.missing.len().max(self.unreadable.len()),
        }
    }

    /// The new journal.
    fn journal(&self) -> Result<Vec<u8>, StoreError> {
        let unwritable =
            |fault: journal::Fault| StoreError::new(ErrorKind::Journal, fault.to_string(), "");
        let first = self.saved.first().map(|event| event.recorded);
        let begun = self.begun.or(first).unwrap_or(Instant::from_unix_ms(0));
        let mut bytes = journal::header(begun).map_err(unwritable)?;
        let mut journal = Journal::default();
        journal
            .take(&bytes)
            .map_err(|bad| files::bad_line(Path::new(JOURNAL), &bad))?;
        for event in &self.saved {
            let line = journal.sealed(event).map_err(unwritable)?;
            journal.accept(&line);
            bytes.extend_from_slice(&line.bytes);
        }
        Ok(bytes)
    }

    /// What the new journal could not take: a script for a person to read and
    /// to run.
    fn told(&self, damaged: &Path) -> Option<String> {
        let raw = |lines: &[(usize, &[u8])]| lines.iter().map(told_raw).collect::<Vec<_>>();
        let torn: Vec<_> = self.torn.into_iter().collect();
        let missing = self.missing.iter().map(|number| format!("# #{number}"));
        let parts = [
            (
                "Whole, but behind the damage, so that something may be missing before them",
                self.loose.iter().map(to_run).collect(),
            ),
            (
                "They read, but their checksum does not fit: take the mark away where it is true",
                self.doubtful.iter().map(to_judge).collect(),
            ),
            ("They do not read", raw(&self.unreadable)),
            (
                "Being written when something failed, never acknowledged",
                raw(&torn),
            ),
            (
                "Nowhere to be found, events of the numbers",
                missing.collect::<Vec<_>>(),
            ),
        ];
        if parts.iter().all(|(_, lines)| lines.is_empty()) {
            return None;
        }
        let mut text = format!(
            "#!/bin/sh\n\
             # What of the journal in {} could not be put into the new one, which\n\
             # holds {} events. Take out what is not true; then, in this folder,\n\
             #   sh {LOOSE}\n\
             # records the rest again, and stops at what a rule refuses.\n\
             set -e\n",
            shown(&damaged.to_string_lossy()),
            self.saved.len()
        );
        for (title, lines) in parts.iter().filter(|(_, lines)| !lines.is_empty()) {
            let _ = write!(text, "\n# {title}:\n{}\n", lines.join("\n"));
        }
        Some(text)
    }
}

/// An event as a remark that tells it and the command that records it again.
fn to_run((line, event): &(usize, Event)) -> String {
    let command = event.command().line(".");
    let mark = if command.contains(is_unseen) {
        // No command line carries these.
        "# "
    } else {
        ""
    };
    let (told, command) = (event.what.to_string(), shown(&command));
    format!(
        "# line {line}: #{} {}\n{mark}{command}",
        event.sequence,
        shown(&told)
    )
}

/// The same with the command as a remark too.
fn to_judge(doubtful: &(usize, Event)) -> String {
    let (_, event) = doubtful;
    let told = to_run(doubtful);
    let (remark, command) = told.split_once('\n').unwrap_or((&told, ""));
    let recorded = format!("recorded {} by {}", event.recorded, shown(&event.who));
    format!(
        "{remark} ({recorded})\n# {}",
        command.trim_start_matches("# ")
    )
}

fn told_raw((line, text): &(usize, &[u8])) -> String {
    format!("# line {line}: {}", shown(&String::from_utf8_lossy(text)))
}

/// The folder that is made.
struct NewFolder<'a> {
    disk: &'a dyn Disk,
    damaged: &'a Path,
    to: &'a Path,
}

impl NewFolder<'_> {
    fn make(&self) -> Result<(), StoreError> {
        for dir in [
            self.to.to_owned(),
            self.to.join(MESHES),
            self.to.join(IMMERSIONS),
        ] {
            files::make_folder(self.disk, &dir)
                .map_err(|error| StoreError::no_place(&dir, &error))?;
        }
        Ok(())
    }

    /// The files that belong to the project: all in its two folders, and those
    /// elsewhere that it names.
    fn named_files(&self, events: &[Event]) -> BTreeSet<String> {
        let mut names = BTreeSet::new();
        for dir in [MESHES, IMMERSIONS] {
            let inside = self.disk.list(&self.damaged.join(dir)).unwrap_or_default();
            names.extend(inside.into_iter().map(|name| format!("{dir}/{name}")));
        }
        let file = self.damaged.join(PROJECT);
        let definition = files::read_text(self.disk, &file).and_then(|t| files::parse(&t, &file));
        let pieces = definition.map(|d| d.pieces).unwrap_or_default();
        names.extend(pieces.into_iter().filter_map(|p| p.mesh).map(|m| m.file));
        names.extend(events.iter().filter_map(|event| match &event.what {
            What::Logger { file, .. } => Some(file.clone()),
            _ => None,
        }));
        let is_inside = |name: &String| {
            let mut parts = Path::new(name).components();
            parts.all(|part| matches!(part, Component::Normal(_)))
        };
        names.retain(is_inside);
        names
    }

    /// Copies a file; one that cannot be read is left out.
    fn copy(&self, name: &str, done: &mut Salvage) -> Result<(), StoreError> {
        match self.disk.read(&files::inside(self.damaged, name)) {
            Ok(bytes) => {
                if name == PROJECT {
                    files::replace(self.disk, self.to, name, &bytes)
                        .map_err(|error| StoreError::io("write", &self.to.join(name), &error))?;
                } else {
                    self.write(name, &bytes)?;
                }
                done.copied.push(name.to_owned());
            }
            Err(error) => done.left_out.push(format!("{}: {error}", shown(name))),
        }
        Ok(())
    }

    fn write(&self, name: &str, bytes: &[u8]) -> Result<(), StoreError> {
        let file = files::inside(self.to, name);
        let dir = file.parent().unwrap_or(self.to);
        let made = match self.disk.stat(dir) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                files::make_folder(self.disk, dir)
            }
            there => there.map(|_| ()),
        };
        made.and_then(|()| self.disk.write_synced(&file, bytes, true))
            .and_then(|()| self.disk.sync_dir(dir))
            .map_err(|error| StoreError::io("write", &file, &error))
    }
}
