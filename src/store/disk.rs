//! All access to the disk, behind one small trait.
//!
//! A [`Disk`] promises what crash safety is built on: [`Locked::append`] hands
//! its bytes over in one go, [`Locked::sync`] and [`Disk::write_synced`] return
//! when the bytes would survive a power cut, and [`Disk::sync_dir`] when names
//! would.

use std::fmt;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Read as _, Seek as _, Write as _};
use std::path::{Path, PathBuf};
use std::time::{Duration, UNIX_EPOCH};

/// What a cheap look at a file tells; a change of content changes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamp {
    /// Length in bytes.
    pub len: u64,
    /// When it was last written, since 1970, where the file system keeps that.
    pub modified: Option<Duration>,
    /// When anything about it was last changed, since 1970, where the system
    /// keeps that (Unix): unlike [`Self::modified`] nobody can set it back.
    pub changed: Option<Duration>,
    /// Whether it is a folder.
    pub is_dir: bool,
    /// Whether it is a regular file: none that only ends when another program
    /// says so, as a pipe, nor one that never ends, as a device.
    pub is_file: bool,
    /// Its number in the file system, where it has one: a file that is put in
    /// the place of another has another.
    pub inode: Option<u64>,
}

impl Stamp {
    fn of(data: &fs::Metadata) -> Self {
        #[cfg(unix)]
        let inode = Some(std::os::unix::fs::MetadataExt::ino(data));
        #[cfg(not(unix))]
        let inode = None;
        Self {
            len: data.len(),
            modified: data
                .modified()
                .ok()
                .and_then(|modified| modified.duration_since(UNIX_EPOCH).ok()),
            changed: changed(data),
            is_dir: data.is_dir(),
            is_file: data.is_file(),
            inode,
        }
    }
}

#[cfg(unix)]
fn changed(data: &fs::Metadata) -> Option<Duration> {
    use std::os::unix::fs::MetadataExt as _;
    let seconds = u64::try_from(data.ctime()).ok()?;
    let nanoseconds = u32::try_from(data.ctime_nsec()).ok()?;
    Some(Duration::new(seconds, nanoseconds))
}

#[cfg(not(unix))]
fn changed(_: &fs::Metadata) -> Option<Duration> {
    None
}

/// What the store does with a disk. Errors are those of the system.
pub trait Disk: fmt::Debug + Send + Sync {
    /// All bytes of a regular file.
    ///
    /// # Errors
    /// Those of the system; `InvalidInput` at once for what is no regular file.
    fn read(&self, path: &Path) -> io::Result<Vec<u8>>;

    /// Its stamp; `NotFound` where nothing is.
    ///
    /// # Errors
    /// Those of the system.
    fn stat(&self, path: &Path) -> io::Result<Stamp>;

    /// The whole path without links and dots.
    ///
    /// # Errors
    /// Those of the system.
    fn real_path(&self, path: &Path) -> io::Result<PathBuf>;

    /// The names of the files in a folder, sorted.
    ///
    /// # Errors
    /// Those of the system.
    fn list(&self, dir: &Path) -> io::Result<Vec<String>>;

    /// Whether a file or folder that is there may be written, as far as that
    /// can be told without writing.
    ///
    /// # Errors
    /// Why it may not.
    fn may_write(&self, path: &Path) -> io::Result<()>;

    /// Makes a folder and those above it; one that is there already will do.
    ///
    /// # Errors
    /// Those of the system.
    fn create_dir(&self, dir: &Path) -> io::Result<()>;

    /// Writes a whole file and syncs it. With `fresh` a file that is there is
    /// `AlreadyExists`, else it is written over.
    ///
    /// # Errors
    /// Those of the system.
    fn write_synced(&self, path: &Path, bytes: &[u8], fresh: bool) -> io::Result<()>;

    /// Gives `to` the permissions of `from`, durably.
    ///
    /// # Errors
    /// Those of the system.
    fn copy_permissions(&self, from: &Path, to: &Path) -> io::Result<()>;

    /// Renames a file over another, in one step.
    ///
    /// # Errors
    /// Those of the system.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;

    /// Takes a file away.
    ///
    /// # Errors
    /// Those of the system.
    fn remove(&self, path: &Path) -> io::Result<()>;

    /// Syncs the names in a folder.
    ///
    /// # Errors
    /// Those of the system.
    fn sync_dir(&self, dir: &Path) -> io::Result<()>;

    /// Opens a file for appending, makes it if need be, and takes its lock;
    /// `WouldBlock` while another holds it. Dropping the handle unlocks.
    ///
    /// # Errors
    /// Those of the system.
    fn lock(&self, path: &Path) -> io::Result<Box<dyn Locked>>;
}

/// A file whose lock is held.
pub trait Locked: fmt::Debug {
    /// Its stamp.
    ///
    /// # Errors
    /// Those of the system.
    fn stat(&self) -> io::Result<Stamp>;

    /// All of its bytes.
    ///
    /// # Errors
    /// Those of the system.
    fn read(&mut self) -> io::Result<Vec<u8>>;

    /// Puts bytes at its end.
    ///
    /// # Errors
    /// Those of the system; some of the bytes may have been written.
    fn append(&mut self, bytes: &[u8]) -> io::Result<()>;

    /// Cuts it to a length.
    ///
    /// # Errors
    /// Those of the system.
    fn truncate(&mut self, len: u64) -> io::Result<()>;

    /// Returns when all of it would survive a power cut.
    ///
    /// # Errors
    /// Those of the system.
    fn sync(&mut self) -> io::Result<()>;
}

/// The disk of the machine.
#[derive(Debug, Clone, Copy, Default)]
pub struct RealDisk;

impl Disk for RealDisk {
    fn read(&self, path: &Path) -> io::Result<Vec<u8>> {
        if self.stat(path)?.is_file {
            return fs::read(path);
        }
        let no_file = "it is no regular file";
        Err(io::Error::new(io::ErrorKind::InvalidInput, no_file))
    }

    fn stat(&self, path: &Path) -> io::Result<Stamp> {
        fs::metadata(path).map(|data| Stamp::of(&data))
    }

    fn real_path(&self, path: &Path) -> io::Result<PathBuf> {
        path.canonicalize()
    }

    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        let mut names = Vec::new();
        for entry in fs::read_dir(dir)? {
            let entry = entry?;
            if fs::metadata(entry.path()).is_ok_and(|data| data.is_file()) {
                names.extend(entry.file_name().into_string());
            }
        }
        names.sort();
        Ok(names)
    }

    fn may_write(&self, path: &Path) -> io::Result<()> {
        let data = fs::metadata(path)?;
        if data.permissions().readonly() {
            return Err(io::ErrorKind::PermissionDenied.into());
        }
        if data.is_file() {
            OpenOptions::new().append(true).open(path)?;
        }
        Ok(())
    }

    fn create_dir(&self, dir: &Path) -> io::Result<()> {
        fs::create_dir_all(dir)
    }

    fn write_synced(&self, path: &Path, bytes: &[u8], fresh: bool) -> io::Result<()> {
        let mut options = OpenOptions::new();
        options.write(true);
        if fresh {
            options.create_new(true);
        } else {
            options.create(true).truncate(true);
        }
        let mut file = options.open(path)?;
        file.write_all(bytes)?;
        file.sync_all()
    }

    fn copy_permissions(&self, from: &Path, to: &Path) -> io::Result<()> {
        let wanted = fs::metadata(from)?.permissions();
        if wanted == fs::metadata(to)?.permissions() {
            return Ok(());
        }
        let file = File::open(to)?;
        file.set_permissions(wanted)?;
        file.sync_all()
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        fs::remove_file(path)
    }

    /// Elsewhere than on Unix a folder cannot be opened to be synced; there the
    /// file system orders its names by itself.
    fn sync_dir(&self, dir: &Path) -> io::Result<()> {
        if cfg!(unix) {
            File::open(dir)?.sync_all()
        } else {
            Ok(())
        }
    }

    fn lock(&self, path: &Path) -> io::Result<Box<dyn Locked>> {
        let mut options = OpenOptions::new();
        let file = options.read(true).append(true).create(true).open(path)?;
        match file.try_lock() {
            Ok(()) => Ok(Box::new(LockedFile(file))),
            Err(TryLockError::WouldBlock) => Err(io::ErrorKind::WouldBlock.into()),
            Err(TryLockError::Error(error)) => Err(error),
        }
    }
}

#[derive(Debug)]
struct LockedFile(File);

impl Locked for LockedFile {
    fn stat(&self) -> io::Result<Stamp> {
        self.0.metadata().map(|data| Stamp::of(&data))
    }

    fn read(&mut self) -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        self.0.rewind()?;
        self.0.read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.0.write_all(bytes)
    }

    fn truncate(&mut self, len: u64) -> io::Result<()> {
        self.0.set_len(len)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.0.sync_all()
    }
}
