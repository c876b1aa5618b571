//! The thread that computes where the metal goes: that takes seconds, and the
//! screen never waits.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use super::ShellError;
use super::inbox::{Ending, Incoming};
use crate::clock::{Clock as _, SystemClock};
use crate::field::scene::PANELS;
use crate::spreading::{Asked, Unspread};
use crate::store::{Disk as _, RealDisk, Stamp};
use crate::tui::app::{Message, Seen, SpreadWork};
use crate::units::Watch;

/// How often the files of the last prints are looked at for changes.
const FOLLOW: Duration = Duration::from_secs(1);

/// The spreader, seen from the loop. Its thread is never joined: what it does is
/// for the screen alone.
pub(super) struct Spreader {
    jobs: Sender<(SpreadWork, u64)>,
    /// The number of the work that is wanted; any other stops.
    wanted: Arc<AtomicU64>,
}

impl Spreader {
    /// For the project in a folder; results are kept in the cache folder.
    pub(super) fn start(
        folder: &Path,
        cache: Option<PathBuf>,
        tell: Sender<Incoming>,
    ) -> io::Result<Self> {
        let (jobs, todo) = mpsc::channel();
        let wanted = Arc::new(AtomicU64::new(0));
        let desk = Desk {
            folder: folder.to_owned(),
            cache,
            wanted: Arc::clone(&wanted),
            last: None,
        };
        thread::Builder::new()
            .name("spreader".to_owned())
            .spawn(move || {
                let tell = Ending(tell);
                desk.work(&todo, &tell.0);
            })?;
        Ok(Self { jobs, wanted })
    }

    /// Computes it; what is still computed is given up.
    pub(super) fn solve(&self, work: SpreadWork) -> Result<(), ShellError> {
        let number = self.wanted.fetch_add(1, Ordering::SeqCst) + 1;
        let sent = self.jobs.send((work, number));
        sent.map_err(|_gone| ShellError::Worker)
    }

    /// Gives up what is computed.
    pub(super) fn stop(&self) {
        self.wanted.fetch_add(1, Ordering::SeqCst);
    }
}

/// The files of a tank's prints with their stamps.
type Stamps = Vec<(PathBuf, Option<Stamp>)>;

struct Desk {
    folder: PathBuf,
    cache: Option<PathBuf>,
    wanted: Arc<AtomicU64>,
    /// The tank that was computed last, with what its prints were read from.
    last: Option<(String, Stamps)>,
}

fn stamp(file: &Path) -> Option<Stamp> {
    RealDisk.stat(file).ok()
}

impl Desk {
    fn work(mut self, todo: &Receiver<(SpreadWork, u64)>, tell: &Sender<Incoming>) {
        loop {
            let message = match todo.recv_timeout(FOLLOW) {
                Ok((work, number)) => self.perform(work, number, tell),
                Err(RecvTimeoutError::Timeout) => self.follow(),
                Err(RecvTimeoutError::Disconnected) => return,
            };
            if let Some(message) = message
                && tell.send(Incoming::Message(message)).is_err()
            {
                return;
            }
        }
    }

    /// Tells once that the file of a print is another.
    fn follow(&mut self) -> Option<Message> {
        let (_, stamps) = self.last.as_ref()?;
        let is_same = stamps.iter().all(|(file, then)| stamp(file) == *then);
        let (tank, _) = self.last.take_if(|_| !is_same)?;
        Some(Message::SpreadChanged(tank))
    }

    /// What was given up tells nothing.
    fn perform(
        &mut self,
        work: SpreadWork,
        number: u64,
        tell: &Sender<Incoming>,
    ) -> Option<Message> {
        let waiting = Waiting {
            wanted: &self.wanted,
            number,
            tell: Mutex::new((tell.clone(), "", 0)),
        };
        if waiting.stopped() {
            return None;
        }
        let files = work.pieces.iter().filter_map(|name| {
            let mesh = work.definition.piece(name)?.mesh.as_ref()?;
            let file = self.folder.join(&mesh.file);
            Some((file.clone(), stamp(&file)))
        });
        let stamps = files.collect();
        let definition = work.definition.clone();
        let asked = Asked {
            folder: &self.folder,
            cache: self.cache.as_deref(),
            definition: &definition,
            tank: &work.tank,
            pieces: &work.pieces,
            panels: PANELS,
        };
        let began = SystemClock.now();
        let seconds = || SystemClock.now().elapsed_since(began);
        let answer = asked.answer(&seconds, &waiting);
        let tank = work.tank.clone();
        let result = match answer {
            Ok(answer) => {
                let assumed = [answer.assumed, answer.warnings].concat();
                Ok(Arc::new(Seen::of(work, answer.spread, assumed)))
            }
            Err(Unspread::Told(why)) => Err(why),
            Err(Unspread::Stopped(_)) => return None,
        };
        if waiting.stopped() {
            return None;
        }
        self.last = Some((tank.clone(), stamps));
        Some(Message::SpreadSolved { tank, result })
    }
}

/// Tells the screen how far the work is, a percent at a time.
struct Waiting<'w> {
    wanted: &'w AtomicU64,
    number: u64,
    /// Where it is told, which step was told last, and how many percent.
    tell: Mutex<(Sender<Incoming>, &'static str, u8)>,
}

impl Watch for Waiting<'_> {
    fn at(&self, step: &'static str, done: f64) {
        // Where another thread tells just now, it is told next time.
        let Ok(mut told) = self.tell.try_lock() else {
            return;
        };
        let percent = (done * 100.0).clamp(0.0, 100.0) as u8;
        if (told.1, told.2) != (step, percent) && !self.stopped() {
            (told.1, told.2) = (step, percent);
            let message = Message::SpreadAt { step, done };
            // Where the loop has gone, nobody listens.
            let _loop_gone = told.0.send(Incoming::Message(message));
        }
    }

    fn stopped(&self) -> bool {
        self.wanted.load(Ordering::SeqCst) != self.number
    }
}
