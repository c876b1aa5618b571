//! A disk in memory that keeps apart what programs see and what a power cut
//! would leave, for tests that cut the power.
//!
//! Content becomes durable when its file is synced, a name (of a new, renamed
//! or removed file) when the folder is synced that holds it. What was done and
//! not yet synced is [`Change`]s in a row; a power cut keeps any part of them.

#![allow(clippy::unwrap_used, reason = "a helper that fails fails its test")]
#![allow(dead_code, reason = "each test binary uses what it needs")]

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;

use tankside::store::{Disk, Locked, Stamp};

/// What lies on a disk: the bytes of files, nothing for folders.
pub(crate) type Image = BTreeMap<PathBuf, Option<Vec<u8>>>;

/// What goes wrong at an operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fault {
    /// It is refused, nothing is done.
    Refused(io::ErrorKind),
    /// It is refused, but was done: half of it if it is a write, all of it if it
    /// is about names.
    Half(io::ErrorKind),
    /// The program dies in it, and with it the power.
    PowerCut,
}

/// What a name stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Node {
    Dir,
    File(usize),
}

type Names = BTreeMap<PathBuf, Node>;

/// A change that is seen at once and not durable yet.
#[derive(Debug, Clone)]
enum Change {
    /// Names that change in one step; nothing for one that is gone.
    Names(Vec<(PathBuf, Option<Node>)>),
    /// Bytes at a place of a file.
    Put {
        inode: usize,
        at: usize,
        bytes: Vec<u8>,
    },
    /// A file gets a length.
    Cut { inode: usize, len: usize },
}

impl Change {
    fn is_names(&self) -> bool {
        matches!(self, Self::Names(_))
    }

    fn is_of(&self, file: usize) -> bool {
        match self {
            Self::Names(_) => false,
            Self::Put { inode, .. } | Self::Cut { inode, .. } => *inode == file,
        }
    }

    fn is_in(&self, dir: &Path) -> bool {
        match self {
            Self::Names(names) => names.iter().all(|(name, _)| name.parent() == Some(dir)),
            _ => false,
        }
    }
}

/// Names and content.
#[derive(Debug, Clone, Default)]
struct Content {
    names: Names,
    files: Vec<Vec<u8>>,
}

impl Content {
    fn apply(&mut self, change: &Change) {
        match change {
            Change::Names(names) => {
                for (name, node) in names {
                    match node {
                        Some(node) => self.names.insert(name.clone(), *node),
                        None => self.names.remove(name),
                    };
                }
            }
            Change::Put { inode, at, bytes } => {
                let file = self.file(*inode);
                file.resize(file.len().max(at + bytes.len()), 0);
                file[*at..at + bytes.len()].copy_from_slice(bytes);
            }
            Change::Cut { inode, len } => self.file(*inode).resize(*len, 0),
        }
    }

    fn file(&mut self, inode: usize) -> &mut Vec<u8> {
        if self.files.len() <= inode {
            self.files.resize(inode + 1, Vec::new());
        }
        &mut self.files[inode]
    }

    /// What can be reached by names from above.
    fn image(&self) -> Image {
        let there = |name: &Path| name.parent().is_none() || self.names.contains_key(name);
        let reached = |name: &&PathBuf| name.ancestors().all(there);
        let content = |node: &Node| match node {
            Node::Dir => None,
            Node::File(inode) => Some(self.files.get(*inode).cloned().unwrap_or_default()),
        };
        let names = self.names.keys().filter(reached);
        names
            .map(|name| (name.clone(), content(&self.names[name])))
            .collect()
    }
}

/// A disk as it is at one moment.
#[derive(Debug, Clone, Default)]
pub(crate) struct Moment {
    live: Content,
    durable: Content,
    /// In the order they were made.
    pending: Vec<Change>,
}

impl Moment {
    fn of(image: &Image) -> Self {
        let mut content = Content::default();
        for (path, bytes) in image {
            let node = match bytes {
                None => Node::Dir,
                Some(bytes) => {
                    content.files.push(bytes.clone());
                    Node::File(content.files.len() - 1)
                }
            };
            content.names.insert(path.clone(), node);
        }
        Self {
            live: content.clone(),
            durable: content,
            pending: Vec::new(),
        }
    }

    fn make(&mut self, change: Change) {
        self.live.apply(&change);
        self.pending.push(change);
    }

    fn settle(&mut self, is_synced: impl Fn(&Change) -> bool) {
        for change in std::mem::take(&mut self.pending) {
            if is_synced(&change) {
                self.durable.apply(&change);
            } else {
                self.pending.push(change);
            }
        }
    }

    fn kept<'c>(&self, changes: impl IntoIterator<Item = &'c Change>) -> Image {
        let mut left = self.durable.clone();
        changes.into_iter().for_each(|change| left.apply(change));
        left.image()
    }

    /// What programs see.
    pub(crate) fn image(&self) -> Image {
        self.live.image()
    }

    /// What a power cut may leave, each with a word for it.
    pub(crate) fn after_crash(&self) -> Vec<(String, Image)> {
        let pending = &self.pending;
        let mut left: Vec<(String, Image)> = (0..=pending.len())
            .map(|count| {
                let word = format!("{count} of {} unsynced kept", pending.len());
                (word, self.kept(&pending[..count]))
            })
            .collect();
        let names = pending.iter().filter(|change| change.is_names());
        left.push(("only names kept".to_owned(), self.kept(names)));
        let content = pending.iter().filter(|change| !change.is_names());
        left.push(("names lost".to_owned(), self.kept(content)));
        let last = pending
            .iter()
            .rposition(|c| matches!(c, Change::Put { .. }));
        if let Some(last) = last
            && let Change::Put { inode, at, bytes } = &pending[last]
        {
            let mut put = |word: String, bytes: Vec<u8>| {
                let (inode, at) = (*inode, *at);
                let torn = Change::Put { inode, at, bytes };
                let changes = pending[..last].iter().chain([&torn]);
                left.push((word, self.kept(changes)));
            };
            for count in 1..bytes.len() {
                put(
                    format!("last write torn at {count}"),
                    bytes[..count].to_vec(),
                );
            }
            // A file may have its length before it has its content.
            for count in (0..bytes.len()).step_by(16) {
                let mut blank = bytes[..count].to_vec();
                blank.resize(bytes.len(), 0);
                put(format!("last write blank from {count}"), blank);
            }
        }
        let mut seen = BTreeSet::new();
        left.retain(|(_, image)| seen.insert(image.clone()));
        left
    }
}

#[derive(Debug, Default)]
struct World {
    now: Moment,
    /// Operations that change something, so far.
    operations: usize,
    fault: Option<(usize, Fault)>,
    dead: bool,
    /// The disk in the middle of each operation, if that is wanted.
    watched: Option<Vec<Moment>>,
    locks: BTreeSet<usize>,
    /// When each file was written, counted in writes.
    written: BTreeMap<usize, u64>,
    writes: u64,
    /// Where nothing may be written, or read.
    read_only: BTreeSet<PathBuf>,
    closed: BTreeSet<PathBuf>,
    /// How often each file was read.
    reads: BTreeMap<PathBuf, usize>,
}

/// One thing that a program asks of the disk.
enum Operation {
    Make(Change),
    Sync(usize),
    SyncDir(PathBuf),
}

impl World {
    /// Does one operation, or what its fault leaves of it.
    fn perform(&mut self, operation: Operation) -> io::Result<()> {
        self.alive()?;
        let number = self.operations;
        self.operations += 1;
        let fault = self.fault.filter(|(at, _)| *at == number);
        match (fault.map(|(_, fault)| fault), operation) {
            (Some(Fault::Refused(kind)), _) => return Err(kind.into()),
            (Some(Fault::Half(kind)), operation) => {
                match operation {
                    Operation::Make(Change::Put { inode, at, bytes }) => {
                        let bytes = bytes[..bytes.len() / 2].to_vec();
                        self.make(Change::Put { inode, at, bytes });
                    }
                    Operation::Make(change) => self.make(change),
                    Operation::Sync(_) | Operation::SyncDir(_) => {}
                }
                return Err(kind.into());
            }
            (Some(Fault::PowerCut), operation) => {
                if let Operation::Make(change) = operation {
                    self.make(change);
                }
                self.dead = true;
                return self.alive();
            }
            (None, Operation::Make(change)) => {
                self.make(change);
                self.watch();
            }
            (None, Operation::Sync(file)) => {
                self.watch();
                self.now.settle(|change| change.is_of(file));
            }
            (None, Operation::SyncDir(dir)) => {
                self.watch();
                self.now.settle(|change| change.is_in(&dir));
            }
        }
        Ok(())
    }

    fn make(&mut self, change: Change) {
        if let Change::Put { inode, .. } | Change::Cut { inode, .. } = &change {
            self.writes += 1;
            self.written.insert(*inode, self.writes);
        }
        self.now.make(change);
    }

    fn watch(&mut self) {
        if let Some(watched) = &mut self.watched {
            watched.push(self.now.clone());
        }
    }

    fn alive(&self) -> io::Result<()> {
        if self.dead {
            return Err(io::Error::other("the power is cut"));
        }
        Ok(())
    }

    fn node(&self, path: &Path) -> io::Result<Node> {
        self.alive()?;
        if path.parent().is_none() {
            return Ok(Node::Dir);
        }
        let node = self.now.live.names.get(path).copied();
        node.ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    fn file(&self, path: &Path) -> io::Result<usize> {
        match self.node(path)? {
            Node::File(inode) => Ok(inode),
            Node::Dir => Err(io::ErrorKind::InvalidInput.into()),
        }
    }

    fn content(&self, inode: usize) -> &[u8] {
        &self.now.live.files[inode]
    }

    fn may_write(&self, path: &Path) -> io::Result<()> {
        if path.ancestors().any(|above| self.read_only.contains(above)) {
            return Err(io::ErrorKind::PermissionDenied.into());
        }
        Ok(())
    }

    /// A file of this name, made if it is not there.
    fn made(&mut self, path: &Path) -> io::Result<usize> {
        match self.file(path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                self.node(path.parent().unwrap())?;
                self.may_write(path)?;
                let inode = self.now.live.files.len();
                self.now.live.files.push(Vec::new());
                let name = vec![(path.to_owned(), Some(Node::File(inode)))];
                self.perform(Operation::Make(Change::Names(name)))?;
                Ok(inode)
            }
            there => there,
        }
    }

    fn stamp(&self, node: Node) -> Stamp {
        let (len, written) = match node {
            Node::Dir => (0, None),
            Node::File(inode) => (self.content(inode).len(), self.written.get(&inode)),
        };
        let written = Some(Duration::from_secs(written.copied().unwrap_or(0)));
        Stamp {
            len: len as u64,
            modified: written,
            changed: written,
            is_dir: node == Node::Dir,
            is_file: node != Node::Dir,
            inode: match node {
                Node::Dir => None,
                Node::File(inode) => Some(inode as u64),
            },
        }
    }

    fn put(&mut self, inode: usize, bytes: &[u8]) -> io::Result<()> {
        let at = self.content(inode).len();
        let bytes = bytes.to_vec();
        self.perform(Operation::Make(Change::Put { inode, at, bytes }))
    }
}

/// The disk; a clone is the same disk as another program sees it.
#[derive(Debug, Clone, Default)]
pub(crate) struct FakeDisk(Arc<Mutex<World>>);

impl FakeDisk {
    /// A disk on which these things lie, durable.
    pub(crate) fn holding(image: &Image) -> Self {
        Self::going_on(Moment::of(image))
    }

    /// A disk as it was at a moment when every program on it died: what they
    /// wrote is seen, synced or not, and their locks are free.
    pub(crate) fn going_on(now: Moment) -> Self {
        let world = World {
            now,
            ..World::default()
        };
        Self(Arc::new(Mutex::new(world)))
    }

    /// For the store.
    pub(crate) fn shared(&self) -> Arc<dyn Disk> {
        Arc::new(self.clone())
    }

    fn world(&self) -> MutexGuard<'_, World> {
        self.0.lock().unwrap()
    }

    /// Lets an operation go wrong, counted from the first ever.
    pub(crate) fn fail_at(&self, operation: usize, fault: Fault) {
        self.world().fault = Some((operation, fault));
    }

    /// Keeps the disk in the middle of each operation from now on.
    pub(crate) fn watch(&self) {
        self.world().watched = Some(Vec::new());
    }

    /// The disk in the middle of each operation that was watched.
    pub(crate) fn watched(&self) -> Vec<Moment> {
        self.world().watched.clone().unwrap_or_default()
    }

    /// How many operations changed something so far.
    pub(crate) fn operations(&self) -> usize {
        self.world().operations
    }

    /// The disk as it is.
    pub(crate) fn moment(&self) -> Moment {
        self.world().now.clone()
    }

    /// What programs see.
    pub(crate) fn image(&self) -> Image {
        self.world().now.image()
    }

    /// Nothing can be written in here any more.
    pub(crate) fn make_read_only(&self, path: &Path) {
        self.world().read_only.insert(path.to_owned());
    }

    /// How often a file was read so far.
    pub(crate) fn reads(&self, path: &Path) -> usize {
        self.world().reads.get(path).copied().unwrap_or(0)
    }

    /// Nobody may read this file.
    pub(crate) fn close(&self, path: &Path) {
        self.world().closed.insert(path.to_owned());
    }
}

impl Disk for FakeDisk {
    fn read(&self, path: &Path) -> io::Result<Vec<u8>> {
        let mut world = self.world();
        if world.closed.contains(path) {
            return Err(io::ErrorKind::PermissionDenied.into());
        }
        *world.reads.entry(path.to_owned()).or_default() += 1;
        Ok(world.content(world.file(path)?).to_vec())
    }

    fn stat(&self, path: &Path) -> io::Result<Stamp> {
        let world = self.world();
        Ok(world.stamp(world.node(path)?))
    }

    fn real_path(&self, path: &Path) -> io::Result<PathBuf> {
        self.world().node(path).map(|_| path.to_owned())
    }

    fn list(&self, dir: &Path) -> io::Result<Vec<String>> {
        let world = self.world();
        world.node(dir)?;
        let files = world.now.live.names.iter();
        let files = files.filter(|(_, node)| **node != Node::Dir);
        let inside = files.filter(|(path, _)| path.parent() == Some(dir));
        let name = |path: &PathBuf| path.file_name()?.to_str().map(str::to_owned);
        Ok(inside.filter_map(|(path, _)| name(path)).collect())
    }

    fn may_write(&self, path: &Path) -> io::Result<()> {
        let world = self.world();
        world.node(path)?;
        world.may_write(path)
    }

    fn create_dir(&self, dir: &Path) -> io::Result<()> {
        let mut world = self.world();
        let above: Vec<&Path> = dir.ancestors().collect();
        for dir in above.into_iter().rev() {
            match world.node(dir) {
                Ok(Node::Dir) => {}
                Ok(Node::File(_)) => return Err(io::ErrorKind::AlreadyExists.into()),
                Err(_) => {
                    world.may_write(dir)?;
                    let name = vec![(dir.to_owned(), Some(Node::Dir))];
                    world.perform(Operation::Make(Change::Names(name)))?;
                }
            }
        }
        Ok(())
    }

    fn write_synced(&self, path: &Path, bytes: &[u8], fresh: bool) -> io::Result<()> {
        let mut world = self.world();
        let there = world.node(path).is_ok();
        if fresh && there {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        world.may_write(path)?;
        let inode = world.made(path)?;
        if there && !world.content(inode).is_empty() {
            world.perform(Operation::Make(Change::Cut { inode, len: 0 }))?;
        }
        world.put(inode, bytes)?;
        world.perform(Operation::Sync(inode))
    }

    fn copy_permissions(&self, from: &Path, to: &Path) -> io::Result<()> {
        let world = self.world();
        world.node(from)?;
        world.node(to).map(|_| ())
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        let mut world = self.world();
        let node = world.node(from)?;
        world.may_write(to)?;
        let names = vec![(from.to_owned(), None), (to.to_owned(), Some(node))];
        world.perform(Operation::Make(Change::Names(names)))
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        let mut world = self.world();
        world.file(path)?;
        world.may_write(path)?;
        let name = vec![(path.to_owned(), None)];
        world.perform(Operation::Make(Change::Names(name)))
    }

    fn sync_dir(&self, dir: &Path) -> io::Result<()> {
        let mut world = self.world();
        world.node(dir)?;
        world.perform(Operation::SyncDir(dir.to_owned()))
    }

    fn lock(&self, path: &Path) -> io::Result<Box<dyn Locked>> {
        let mut world = self.world();
        world.may_write(path)?;
        let inode = world.made(path)?;
        if !world.locks.insert(inode) {
            return Err(io::ErrorKind::WouldBlock.into());
        }
        let disk = self.clone();
        Ok(Box::new(FakeFile { disk, inode }))
    }
}

/// A file whose lock is held.
#[derive(Debug)]
struct FakeFile {
    disk: FakeDisk,
    inode: usize,
}

impl Drop for FakeFile {
    fn drop(&mut self) {
        self.disk.world().locks.remove(&self.inode);
    }
}

impl Locked for FakeFile {
    fn stat(&self) -> io::Result<Stamp> {
        let world = self.disk.world();
        world.alive()?;
        Ok(world.stamp(Node::File(self.inode)))
    }

    fn read(&mut self) -> io::Result<Vec<u8>> {
        let world = self.disk.world();
        world.alive()?;
        Ok(world.content(self.inode).to_vec())
    }

    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.disk.world().put(self.inode, bytes)
    }

    fn truncate(&mut self, len: u64) -> io::Result<()> {
        let (inode, len) = (self.inode, len as usize);
        let cut = Change::Cut { inode, len };
        self.disk.world().perform(Operation::Make(cut))
    }

    fn sync(&mut self) -> io::Result<()> {
        self.disk.world().perform(Operation::Sync(self.inode))
    }
}
