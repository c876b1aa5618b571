//! The digests of prints, remembered between starts.
//!
//! Whether a print is as it was measured is looked at whenever its project is
//! opened, and prints are large. So their digests are kept in the user's cache
//! folder, each with the stamp of its file. While the stamp is the same the file
//! is not read again. A file that was written just now may be written once more
//! within the same tick of its file system, and its stamp would not tell: such a
//! digest is not remembered. What cannot be read or written here is as good as
//! nothing, and the file can be deleted at any time.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::disk::{Disk, Stamp};
use super::{files, kept};
use crate::units::Instant;

const MARK: &[u8] = b"tankside digests 1\n";

/// A file written less than so long before is not settled: the coarsest clock
/// of a file system in use, FAT's, ticks every two seconds (Microsoft, "File
/// Times", from memory).
const SETTLED: Duration = Duration::from_secs(2);

/// Where digests are remembered, and since when.
#[derive(Debug, Clone)]
pub(super) struct Memory {
    /// The user's cache folder.
    pub(super) dir: PathBuf,
    /// An instant before any file was read.
    pub(super) since: Instant,
}

/// The digests of a project's prints.
pub(super) struct Digests<'a> {
    disk: &'a dyn Disk,
    /// The folder and the file in which they are remembered, and since when
    /// they are looked at.
    kept: Option<(PathBuf, String, Duration)>,
    before: BTreeMap<String, Known>,
    now: BTreeMap<String, Known>,
}

/// A digest and the stamp of the file that had it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Known {
    len: u64,
    modified: Duration,
    inode: Option<u64>,
    sha256: String,
}

impl Known {
    fn fits(&self, stamp: &Stamp) -> bool {
        let known = (self.len, Some(self.modified), self.inode);
        known == (stamp.len, stamp.modified, stamp.inode)
    }
}

impl<'a> Digests<'a> {
    /// What is remembered for a project's folder; nothing without a memory.
    pub(super) fn remembered(disk: &'a dyn Disk, folder: &Path, memory: Option<&Memory>) -> Self {
        let kept = memory.and_then(|memory| {
            let since = u64::try_from(memory.since.unix_ms()).ok()?;
            let name = kept::name_of(disk, folder, "digests")?;
            Some((memory.dir.clone(), name, Duration::from_millis(since)))
        });
        let read = |(dir, name, _): &(PathBuf, String, _)| read(disk, &dir.join(name));
        let before = kept.as_ref().and_then(read);
        Self {
            disk,
            kept,
            before: before.unwrap_or_default(),
            now: BTreeMap::new(),
        }
    }

    /// The SHA-256 of a file, which is read only if it has to be. `name` is that
    /// within the project.
    pub(super) fn of(&mut self, name: &str, file: &Path) -> io::Result<String> {
        let stamp = self.disk.stat(file)?;
        let known = self.before.get(name).filter(|known| known.fits(&stamp));
        if let Some(known) = known {
            self.now.insert(name.to_owned(), known.clone());
            return Ok(known.sha256.clone());
        }
        let sha256 = files::sha256_hex(&self.disk.read(file)?);
        if let Some(modified) = self.settled(&stamp)
            && self.disk.stat(file).is_ok_and(|after| after == stamp)
        {
            let known = Known {
                len: stamp.len,
                modified,
                inode: stamp.inode,
                sha256: sha256.clone(),
            };
            self.now.insert(name.to_owned(), known);
        }
        Ok(sha256)
    }

    /// When a file was written, if that was long enough before.
    fn settled(&self, stamp: &Stamp) -> Option<Duration> {
        let (_, _, since) = self.kept.as_ref()?;
        stamp
            .modified
            .filter(|modified| *modified + SETTLED < *since)
    }

    /// Remembers the digests for the next start.
    pub(super) fn remember(self) {
        let Some((dir, name, _)) = self.kept.filter(|_| self.now != self.before) else {
            return;
        };
        if let Ok(body) = postcard::to_allocvec(&self.now) {
            let bytes = [MARK, &kept::digest(&body), &body].concat();
            // Where it cannot be written, the prints are read next time too.
            let _ = kept::put(self.disk, &dir, &name, &bytes);
        }
    }
}

fn read(disk: &dyn Disk, file: &Path) -> Option<BTreeMap<String, Known>> {
    let bytes = disk.read(file).ok()?;
    let (sum, body) = bytes.strip_prefix(MARK)?.split_at_checked(32)?;
    let is_whole = sum == kept::digest(body);
    is_whole.then(|| postcard::from_bytes(body).ok())?
}
