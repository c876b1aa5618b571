//! A disk that fails at each of its operations in turn: nothing that was
//! acknowledged is lost, and nothing is left that does not open.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test that fails panics"
)]

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use tankside::project::{Action, What};
use tankside::store::{Disk, Folder, Locked, RealDisk, RecordError, Stamp, check};
use tankside::units::Instant;

const BELL: &str = r#"(
    format: 1,
    name: "Table bell",
    metal: "copper-acid",
    target: Mean("40um"),
    pieces: [(name: "bell", area: "6.84dm2")], // cast in one
)
"#;

fn evening() -> Instant {
    "2026-03-01T19:00:00Z".parse().unwrap()
}

fn note(text: &str) -> Action {
    let what = What::Note {
        piece: "bell".to_owned(),
        text: text.to_owned(),
    };
    Action::now(what, "Ada")
}

/// Counts the operations that change something; one of them fails. A write
/// that fails leaves half of its bytes.
#[derive(Debug, Clone)]
struct FailingDisk {
    left: Arc<AtomicUsize>,
}

impl FailingDisk {
    fn after(operations: usize) -> Self {
        Self {
            left: Arc::new(AtomicUsize::new(operations)),
        }
    }

    fn fails(&self) -> bool {
        self.left.fetch_sub(1, Ordering::SeqCst) == 0
    }

    fn count(&self) -> io::Result<()> {
        if self.fails() {
            Err(io::ErrorKind::StorageFull.into())
        } else {
            Ok(())
        }
    }
}

impl Disk for FailingDisk {
    fn read(&self, path: &Path) -> io::Result<Vec<u8>> {
        RealDisk.read(path)
    }
    fn stat(&self, path: &Path) -> io::Result<Stamp> {
        RealDisk.stat(path)
    }
    fn real_path(&self, path: &Path) -> io::Result<PathBuf> {
        RealDisk.real_path(path)
    }
    fn create_dir(&self, dir: &Path) -> io::Result<()> {
        self.count().and_then(|()| RealDisk.create_dir(dir))
    }
    fn write_synced(&self, path: &Path, bytes: &[u8], fresh: bool) -> io::Result<()> {
        if self.fails() {
            RealDisk.write_synced(path, &bytes[..bytes.len() / 2], fresh)?;
            return Err(io::ErrorKind::StorageFull.into());
        }
        RealDisk.write_synced(path, bytes, fresh)
    }
    fn copy_permissions(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.count()
            .and_then(|()| RealDisk.copy_permissions(from, to))
    }
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.count().and_then(|()| RealDisk.rename(from, to))
    }
    fn remove(&self, path: &Path) -> io::Result<()> {
        RealDisk.remove(path)
    }
    fn sync_dir(&self, dir: &Path) -> io::Result<()> {
        self.count().and_then(|()| RealDisk.sync_dir(dir))
    }
    fn lock(&self, path: &Path) -> io::Result<Box<dyn Locked>> {
        let (file, disk) = (RealDisk.lock(path)?, self.clone());
        Ok(Box::new(FailingFile { file, disk }))
    }
}

#[derive(Debug)]
struct FailingFile {
    file: Box<dyn Locked>,
    disk: FailingDisk,
}

impl Locked for FailingFile {
    fn stat(&self) -> io::Result<Stamp> {
        self.file.stat()
    }
    fn read(&mut self) -> io::Result<Vec<u8>> {
        self.file.read()
    }
    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        if self.disk.fails() {
            self.file.append(&bytes[..bytes.len() / 2])?;
            return Err(io::ErrorKind::StorageFull.into());
        }
        self.file.append(bytes)
    }
    fn truncate(&mut self, len: u64) -> io::Result<()> {
        self.disk.count().and_then(|()| self.file.truncate(len))
    }
    fn sync(&mut self) -> io::Result<()> {
        self.disk.count().and_then(|()| self.file.sync())
    }
}

/// Notes of a project, in order.
fn notes(folder: &Folder) -> Vec<String> {
    let text = |what: &What| match what {
        What::Note { text, .. } => text.clone(),
        other => other.to_string(),
    };
    let events = folder.project().events().iter();
    events.map(|event| text(&event.what)).collect()
}

/// The acts of an evening on a disk that fails at some point, and what was
/// acknowledged of them.
fn evening_on(disk: &FailingDisk, path: &Path) -> Option<(Vec<String>, Option<String>)> {
    let disk = Arc::new(disk.clone());
    let mut folder = Folder::create_on(disk, path, BELL, evening()).ok()?;
    let mut acknowledged = Vec::new();
    let mut name = None;
    for n in 0..3 {
        let text = format!("note {n}");
        match folder.record(&note(&text), evening(), None) {
            Ok(_) => acknowledged.push(text),
            Err(RecordError::Refused(refusal)) => panic!("{refusal}"),
            Err(RecordError::Store(error)) if error.kind() == "io" => {
                let again = folder.record(&note("again"), evening(), None);
                let Err(RecordError::Store(poisoned)) = again else {
                    panic!("recorded after a failed write: {again:?}");
                };
                assert_eq!(poisoned.kind(), "poisoned");
                assert!(poisoned.remedy.contains("open it again"), "{poisoned:?}");
                break;
            }
            Err(RecordError::Store(error)) => assert_eq!(error.kind(), "poisoned"),
        }
        let wanted = format!("Bell {n}");
        if folder.set("name", &wanted).is_ok() {
            name = Some(wanted);
        }
    }
    Some((acknowledged, name))
}

#[test]
fn whichever_operation_fails_what_was_acknowledged_is_there() {
    let mut created = 0;
    for operations in 0.. {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("bell");
        let disk = FailingDisk::after(operations);
        let Some((acknowledged, name)) = evening_on(&disk, &path) else {
            assert_eq!(created, 0, "creation came first");
            continue;
        };
        created += 1;
        let failed = disk.left.load(Ordering::SeqCst) > operations;
        assert!(failed || acknowledged.len() == 3);
        let mut folder = Folder::open(&path).unwrap();
        let found = notes(&folder);
        assert!(found.starts_with(&acknowledged), "{operations}: {found:?}");
        assert!(
            found.len() <= acknowledged.len() + 1,
            "{operations}: {found:?}"
        );
        let is_name = &folder.project().definition.name;
        assert!(
            name.is_none_or(|name| *is_name >= name),
            "{operations}: {is_name}"
        );
        folder.record(&note("after"), evening(), None).unwrap();
        folder.set("name", "Bell").unwrap();
        assert_eq!(Folder::open(&path).unwrap().project(), folder.project());
        assert_eq!(check(&path).problems, []);
        if !failed {
            break;
        }
    }
    // Three records of two steps, three changes of four, and the run without failure.
    assert_eq!(created, 3 * 2 + 3 * 4 + 1);
}
