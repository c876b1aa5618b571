//! What was told of what is due, and what was silenced: `notices.ron`, one
//! line each.
//!
//! It is no part of the history. A notice that is not written down is told all
//! the same, a line that does not read is passed over, and a file that grows
//! large loses its older half.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::sleep;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::disk::{Disk, Locked, Stamp};
use super::error::StoreError;
use super::files::{self, NOTICES};
use super::folder::Folder;
use crate::project::{Due, DueKind, DueName, Silence};
use crate::units::Instant;

/// A lock that is held is asked for again after so long, and so often: a fifth
/// of a second in all.
const LOCK_PAUSE: Duration = Duration::from_millis(10);
const LOCK_ATTEMPTS: u32 = 20;

/// The largest file in bytes, some 400 lines, and what is kept of a larger one.
const MOST: usize = 64 << 10;
const KEPT: usize = 32 << 10;

/// What was done about things that are due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum NoticeDone {
    /// They were told.
    Told {
        /// Which ring it was, from 1.
        ring: u32,
        /// Whether the user's own program was started for it.
        program: bool,
    },
    /// Somebody wanted no more notices of them.
    Silenced,
}

/// One line of `notices.ron`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoticeEntry {
    /// When.
    pub at: Instant,
    /// By whom; empty if that is not known.
    pub who: String,
    /// What was done.
    pub done: NoticeDone,
    /// About what, most urgent first, each with the instant it was due.
    pub due: Vec<(DueName, Instant)>,
}

/// An entry as it stands in the file.
#[derive(Serialize, Deserialize)]
struct Line {
    at: Instant,
    who: String,
    done: NoticeDone,
    due: Vec<Named>,
}

#[derive(Serialize, Deserialize)]
struct Named {
    what: String,
    piece: Option<String>,
    tank: Option<String>,
    at: Instant,
}

impl From<&Silence> for NoticeEntry {
    fn from(silence: &Silence) -> Self {
        Self {
            at: silence.at,
            who: silence.who.clone(),
            done: NoticeDone::Silenced,
            due: silence.of.clone(),
        }
    }
}

impl NoticeEntry {
    /// These things were told.
    pub fn told<'a>(
        at: Instant,
        who: &str,
        (ring, program): (u32, bool),
        due: impl IntoIterator<Item = &'a Due>,
    ) -> Self {
        Self {
            at,
            who: who.to_owned(),
            done: NoticeDone::Told { ring, program },
            due: due.into_iter().map(|d| (d.name(), d.at)).collect(),
        }
    }

    /// The silence that it is, if it is one.
    pub fn silence(&self) -> Option<Silence> {
        (self.done == NoticeDone::Silenced).then(|| Silence {
            at: self.at,
            who: self.who.clone(),
            of: self.due.clone(),
        })
    }

    /// Whether the user's program was started for this first of all, at most
    /// `seconds` before `now`.
    pub fn program_told(&self, due: &Due, now: Instant, seconds: f64) -> bool {
        let lately = (0.0..=seconds).contains(&now.since(self.at));
        let first = self.due.first().is_some_and(|(name, _)| name.is(due));
        lately && first && matches!(self.done, NoticeDone::Told { program: true, .. })
    }

    fn read(line: &[u8]) -> Option<Self> {
        let line: Line = ron::de::from_bytes(line).ok()?;
        let due: Option<Vec<(DueName, Instant)>> = line
            .due
            .into_iter()
            .map(|named| {
                let what = DueKind::named(&named.what)?;
                let (piece, tank) = (named.piece, named.tank);
                Some((DueName { what, piece, tank }, named.at))
            })
            .collect();
        Some(Self {
            at: line.at,
            who: line.who,
            done: line.done,
            due: due?,
        })
    }

    /// The line with its end; characters that end lines are escaped in it.
    fn written(&self) -> Option<Vec<u8>> {
        let named = |(name, at): &(DueName, Instant)| Named {
            what: name.what.word().to_owned(),
            piece: name.piece.clone(),
            tank: name.tank.clone(),
            at: *at,
        };
        let line = Line {
            at: self.at,
            who: self.who.clone(),
            done: self.done,
            due: self.due.iter().map(named).collect(),
        };
        let text = ron::ser::to_string(&line).ok()?;
        Some(format!("{text}\n").into_bytes())
    }
}

/// The silences among entries.
pub fn silences(entries: &[NoticeEntry]) -> Vec<Silence> {
    entries.iter().filter_map(NoticeEntry::silence).collect()
}

/// The notices of one project, which all programs on it write and read.
#[derive(Debug)]
pub struct NoticeLog {
    disk: Arc<dyn Disk>,
    file: PathBuf,
    seen: Option<Stamp>,
}

impl Folder {
    /// The log of this project's notices.
    pub fn notice_log(&self) -> NoticeLog {
        NoticeLog {
            disk: Arc::clone(&self.disk),
            file: self.path.join(NOTICES),
            seen: None,
        }
    }
}

impl NoticeLog {
    /// Where it is.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// All entries that read, the oldest first; none without a file.
    ///
    /// # Errors
    /// When there is a file that cannot be read.
    pub fn entries(&self) -> Result<Vec<NoticeEntry>, StoreError> {
        files::read_if_there(self.disk.as_ref(), &self.file).map(|bytes| read(&bytes))
    }

    /// All entries, if the file is another than when this was asked last.
    /// Trouble with the file is no news.
    pub fn follow(&mut self) -> Option<Vec<NoticeEntry>> {
        let stamp = self.disk.stat(&self.file).ok();
        if stamp == self.seen {
            return None;
        }
        let entries = self.entries().ok()?;
        self.seen = stamp;
        Some(entries)
    }

    /// Adds the entry that `make` gives for the entries so far, while no other
    /// program can add one. Nothing of it is waited for to be on the disk.
    ///
    /// # Errors
    /// When the file cannot be locked, read or written; `make` may have been
    /// asked by then.
    pub fn add(
        &self,
        make: impl FnOnce(&[NoticeEntry]) -> Option<NoticeEntry>,
    ) -> Result<(), StoreError> {
        let failed = |error: io::Error| StoreError::io("write", &self.file, &error);
        let mut lock = self.lock().map_err(failed)?;
        let bytes = lock.read().map_err(failed)?;
        let Some(line) = make(&read(&bytes)).and_then(|entry| entry.written()) else {
            return Ok(());
        };
        put(lock.as_mut(), &bytes, &line).map_err(failed)
    }

    fn lock(&self) -> io::Result<Box<dyn Locked>> {
        if self.disk.stat(&self.file).is_ok_and(|stamp| !stamp.is_file) {
            return Err(io::ErrorKind::InvalidInput.into());
        }
        let mut left = LOCK_ATTEMPTS;
        loop {
            match self.disk.lock(&self.file) {
                Err(error) if error.kind() == io::ErrorKind::WouldBlock && left > 0 => {
                    left -= 1;
                    sleep(LOCK_PAUSE);
                }
                locked => return locked,
            }
        }
    }
}

fn read(bytes: &[u8]) -> Vec<NoticeEntry> {
    let lines = bytes.split(|byte| *byte == b'\n');
    lines.filter_map(NoticeEntry::read).collect()
}

/// Puts a line behind what is there: behind the newer half of it where it is
/// large, and on a line of its own where the last one is not whole.
fn put(lock: &mut dyn Locked, bytes: &[u8], line: &[u8]) -> io::Result<()> {
    if bytes.len() + line.len() > MOST {
        let tail = &bytes[bytes.len().saturating_sub(KEPT)..];
        let whole = tail.iter().position(|b| *b == b'\n').map_or(0, |at| at + 1);
        lock.truncate(0)?;
        return lock.append(&[&tail[whole..], line].concat());
    }
    match bytes.last() {
        None | Some(b'\n') => lock.append(line),
        Some(_) => lock.append(&[b"\n", line].concat()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BELL: &str = r#"(format: 1, name: "Table bell", metal: "copper-acid", target: Mean("40um"), pieces: [(name: "bell", area: "6.84dm2")])"#;

    fn at(minutes: f64) -> Instant {
        let begin: Instant = "2026-03-01T19:00:00Z".parse().unwrap();
        begin.plus_seconds(minutes * 60.0)
    }

    fn look(piece: &str) -> Due {
        Due {
            what: DueKind::Look,
            piece: Some(piece.to_owned()),
            tank: Some("main".to_owned()),
            at: at(0.0),
            say: format!("look at {piece}"),
        }
    }

    fn told(minutes: f64, ring: u32) -> NoticeEntry {
        NoticeEntry::told(at(minutes), "Ana", (ring, true), [&look("bell")])
    }

    fn log() -> (tempfile::TempDir, NoticeLog) {
        let dir = tempfile::tempdir().unwrap();
        let folder = Folder::create(&dir.path().join("bell"), BELL, at(0.0)).unwrap();
        let log = folder.notice_log();
        (dir, log)
    }

    #[test]
    fn what_one_program_adds_another_one_reads_once() {
        let (_dir, mut log) = log();
        assert_eq!(log.follow(), None, "no file, no news");
        let hostile = Due {
            piece: Some("a\n\u{1b}]0;\"b\"\\".to_owned()),
            ..look("bell")
        };
        let silenced = NoticeEntry::from(&Silence {
            at: at(1.0),
            who: "Bo".to_owned(),
            of: vec![(hostile.name(), hostile.at)],
        });
        for entry in [told(0.0, 1), silenced.clone()] {
            log.add(|_| Some(entry)).unwrap();
        }
        assert_eq!(log.follow(), Some(vec![told(0.0, 1), silenced.clone()]));
        assert_eq!(log.follow(), None);
        let bytes = std::fs::read(log.file()).unwrap();
        assert_eq!(String::from_utf8_lossy(&bytes).lines().count(), 2);
        assert!(!bytes.contains(&0x1b), "it can be looked at in a terminal");
        let silences = silences(&log.entries().unwrap());
        assert!(silences[0].holds(&hostile) && !silences[0].holds(&look("bell")));
        let later = Due {
            at: at(2.0),
            ..hostile
        };
        assert!(!silences[0].holds(&later), "it is due anew");
    }

    #[test]
    fn lines_that_do_not_read_are_passed_over() {
        let (_dir, log) = log();
        log.add(|_| Some(told(0.0, 1))).unwrap();
        let mut bytes = std::fs::read(log.file()).unwrap();
        bytes.extend_from_slice(b"(at:\"2026\"\n\xff\xfe\n\n(at:\"2026-03-01T19:0");
        std::fs::write(log.file(), &bytes).unwrap();
        log.add(|entries| {
            assert_eq!(entries, [told(0.0, 1)]);
            Some(told(1.0, 2))
        })
        .unwrap();
        assert_eq!(log.entries().unwrap(), [told(0.0, 1), told(1.0, 2)]);
    }

    #[test]
    fn the_file_does_not_grow_for_ever() {
        let (_dir, log) = log();
        let line = told(0.0, 1).written().unwrap();
        std::fs::write(log.file(), line.repeat(MOST / line.len() + 1)).unwrap();
        log.add(|_| Some(told(9.0, 7))).unwrap();
        let left = log.entries().unwrap();
        assert_eq!(left.last(), Some(&told(9.0, 7)));
        assert!(left.len() > 100 && std::fs::metadata(log.file()).unwrap().len() <= MOST as u64);
    }

    #[test]
    fn what_cannot_be_written_is_told_and_not_waited_for() {
        let (_dir, log) = log();
        std::fs::create_dir(log.file()).unwrap();
        assert!(log.add(|_| Some(told(0.0, 1))).is_err());
    }

    #[test]
    fn the_users_program_told_lately_only_of_the_most_urgent_thing() {
        let entry = told(0.0, 1);
        assert!(entry.program_told(&look("bell"), at(0.4), 30.0));
        assert!(!entry.program_told(&look("bell"), at(1.0), 30.0));
        assert!(!entry.program_told(&look("hammer"), at(0.4), 30.0));
        let without = NoticeEntry::told(at(0.0), "Ana", (1, false), [&look("bell")]);
        assert!(!without.program_told(&look("bell"), at(0.4), 30.0));
    }
}
