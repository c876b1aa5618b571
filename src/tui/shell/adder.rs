//! The worker that reads and surveys a print which is to be added. It may take
//! its time, so it never holds up the keeper; what is given up ends soon after.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::mpsc::Sender;
use std::thread;

use super::inbox::Incoming;
use crate::mesh::{self, LengthUnit, Order};
use crate::project::{MeshRef, Piece, survey_for_piece};
use crate::report::print::Print;
use crate::store::{self, sha256_hex};
use crate::tui::app::{AddNews, AddWork, Failure, FoundPrint, Message};
use crate::units::{MM, Watch};

/// So many print files are told at most.
const MOST_FILES: usize = 60;

/// The worker, seen from the loop.
pub(super) struct Adder {
    tell: Sender<Incoming>,
    stop: Arc<AtomicBool>,
}

impl Adder {
    pub(super) fn new(tell: Sender<Incoming>) -> Self {
        Self {
            tell,
            stop: Arc::default(),
        }
    }

    /// Begins work under a number, in place of what was begun before; `folder`
    /// is the project's.
    pub(super) fn begin(&mut self, ticket: u32, work: AddWork, folder: PathBuf) -> io::Result<()> {
        self.stop.store(true, Ordering::Relaxed);
        self.stop = Arc::default();
        if work == AddWork::Stop {
            return Ok(());
        }
        let job = Job {
            ticket,
            tell: self.tell.clone(),
            stop: self.stop.clone(),
            told: AtomicU32::new(0),
        };
        thread::Builder::new()
            .name("adder".to_owned())
            .spawn(move || {
                let _panicked = Panicked(job.tell.clone());
                job.work(work, &folder);
            })
            .map(drop)
    }
}

/// Tells of a worker that panicked, so that the loop never waits for it.
struct Panicked(Sender<Incoming>);

impl Drop for Panicked {
    fn drop(&mut self) {
        if thread::panicking() {
            // Where the loop has gone, nobody listens.
            let _loop_gone = self.0.send(Incoming::WorkerGone);
        }
    }
}

/// One thing that is worked on.
struct Job {
    ticket: u32,
    tell: Sender<Incoming>,
    stop: Arc<AtomicBool>,
    /// The last hundredth that was told.
    told: AtomicU32,
}

impl Job {
    fn work(&self, work: AddWork, folder: &Path) {
        match work {
            AddWork::Find => {
                let near = [Path::new("."), folder, &folder.join("meshes")];
                let files = store::files_with_endings(&near, mesh::ENDINGS);
                let files = files.into_iter().take(MOST_FILES);
                let names = files.map(|file| file.to_string_lossy().into_owned());
                self.say(AddNews::Files(names.collect()));
            }
            AddWork::Look(file) => self.say(AddNews::Looked(look(Path::new(&file)))),
            AddWork::Survey(file, unit, bubble) => {
                let order = Order {
                    bubble_mm: bubble.to(MM),
                    ..Order::in_unit(unit)
                };
                let surveyed = self.survey(Path::new(&file), &order).transpose();
                if let Some(surveyed) = surveyed {
                    self.say(AddNews::Surveyed(surveyed));
                }
            }
            // The keeper adds it.
            AddWork::Stop | AddWork::Add(..) => {}
        }
    }

    /// `None` where it was given up.
    fn survey(&self, file: &Path, order: &Order) -> Result<Option<Box<FoundPrint>>, Failure> {
        let bytes = bytes(file)?;
        let print = mesh::read(&bytes).map_err(|error| unread(&error))?;
        let Ok((taken, surveyed)) = survey_for_piece(&print, order, self) else {
            return Ok(None);
        };
        let name = file.to_string_lossy();
        let told = Print {
            file: &name,
            unit_source: "given",
            order,
            survey: &taken.survey,
            shape: &taken.shape,
            seconds: None,
        };
        let remarks = print.remarks.iter().map(ToString::to_string);
        let cautions = told.cautions().into_iter().chain(remarks).collect();
        let mesh = MeshRef {
            file: name.clone().into_owned(),
            unit: Some(order.unit.to_string()),
            sha256: Some(sha256_hex(&bytes)),
        };
        let piece = Piece {
            mesh: Some(mesh),
            ..Piece::named("")
        };
        Ok(Some(Box::new(FoundPrint {
            piece: surveyed.put_on(piece),
            cautions,
        })))
    }

    fn say(&self, news: AddNews) {
        // Where the loop has gone, nobody listens.
        let message = Message::Adding(self.ticket, news);
        let _loop_gone = self.tell.send(Incoming::Message(message));
    }
}

impl Watch for Job {
    fn at(&self, step: &'static str, done: f64) {
        let hundredth = (done.clamp(0.0, 1.0) * 100.0) as u32;
        if self.told.fetch_max(hundredth, Ordering::Relaxed) < hundredth && !self.stopped() {
            self.say(AddNews::At(step, done));
        }
    }

    fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

fn look(file: &Path) -> Result<(Option<LengthUnit>, [f64; 3]), Failure> {
    let bytes = bytes(file)?;
    let print = mesh::read(&bytes).map_err(|error| unread(&error))?;
    // One mm for each of the file's numbers.
    let extents = mesh::measure(&print, LengthUnit::Mm).size_mm;
    Ok((print.unit, extents))
}

fn bytes(file: &Path) -> Result<Vec<u8>, Failure> {
    store::read_file(file).map_err(|error| Failure::Trouble {
        message: error.message,
        remedy: error.remedy,
    })
}

fn unread(error: &mesh::MeshError) -> Failure {
    Failure::Trouble {
        message: error.to_string(),
        remedy: error.remedy(),
    }
}
