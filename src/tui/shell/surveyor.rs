//! The thread that reads and surveys prints, one at a time: a large one takes
//! seconds, and the screen never waits.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{self, Sender};
use std::thread;

use super::ShellError;
use super::desk::{self, Waiting};
use super::inbox::{Ending, Incoming};
use crate::mesh::{self, LengthUnit, Mask, Mesh, MeshError, Order};
use crate::project::survey_for_piece;
use crate::store::{self, Disk, RealDisk, Stamp, sha256_hex, survey_values};
use crate::tui::app::{MaskWork, MaskedPrint, Message, Print, Source};
use crate::units::{MM, Stopped, Watch};

/// A print to read.
struct Job {
    piece: String,
    asked: Asked,
    number: u64,
}

/// What it is read for.
enum Asked {
    /// To be shown, as it is.
    Shown(Source),
    /// To be written down, with other masks.
    Masked(MaskWork),
}

/// The surveyor, seen from the loop. Its thread is never joined: what it does
/// is for the screen alone.
pub(super) struct Surveyor {
    jobs: Sender<Job>,
    /// The number of the print that is wanted; work on any other one stops.
    wanted: Arc<AtomicU64>,
}

impl Surveyor {
    /// For the prints of the project in a folder.
    pub(super) fn start(folder: &Path, tell: Sender<Incoming>) -> io::Result<Self> {
        let (jobs, todo) = mpsc::channel();
        let wanted = Arc::new(AtomicU64::new(0));
        let mut desk = Desk {
            folder: folder.to_owned(),
            wanted: Arc::clone(&wanted),
            last: None,
        };
        thread::Builder::new()
            .name("surveyor".to_owned())
            .spawn(move || {
                let tell = Ending(tell);
                desk::work(&todo, &tell.0, |job| match job {
                    Some(job) => desk.perform(job, &tell.0),
                    None => desk.follow(),
                });
            })?;
        Ok(Self { jobs, wanted })
    }

    /// Reads a print; one that is still read is given up.
    pub(super) fn read(&self, piece: String, source: Source) -> Result<(), ShellError> {
        self.ask(piece, Asked::Shown(source))
    }

    /// Surveys a print with other masks; one that is still read is given up.
    pub(super) fn survey(&self, work: MaskWork) -> Result<(), ShellError> {
        self.ask(work.piece.clone(), Asked::Masked(work))
    }

    fn ask(&self, piece: String, asked: Asked) -> Result<(), ShellError> {
        let number = self.wanted.fetch_add(1, Ordering::SeqCst) + 1;
        let job = Job {
            piece,
            asked,
            number,
        };
        self.jobs.send(job).map_err(|_gone| ShellError::Worker)
    }

    /// Gives up what is read.
    pub(super) fn stop(&self) {
        self.wanted.fetch_add(1, Ordering::SeqCst);
    }
}

struct Desk {
    folder: PathBuf,
    wanted: Arc<AtomicU64>,
    /// The print that was read last, its file and the file's stamp.
    last: Option<(String, PathBuf, Stamp)>,
}

impl Desk {
    /// Tells once that the file of the last print is another.
    fn follow(&mut self) -> Option<Message> {
        let (_, file, stamp) = self.last.as_ref()?;
        let is_same = RealDisk.stat(file).is_ok_and(|now| now == *stamp);
        let (piece, ..) = self.last.take_if(|_| !is_same)?;
        Some(Message::PrintChanged(piece))
    }

    /// What was given up tells nothing.
    fn perform(&mut self, job: Job, tell: &Sender<Incoming>) -> Option<Message> {
        let Job {
            piece,
            asked,
            number,
        } = job;
        let say = |step, done| Message::PrintAt {
            piece: piece.clone(),
            step,
            done,
        };
        let waiting = Waiting::new(&self.wanted, number, tell, &say);
        if waiting.stopped() {
            return None;
        }
        let source = match &asked {
            Asked::Shown(source) => source,
            Asked::Masked(work) => &work.source,
        };
        let file = self.folder.join(&source.file);
        self.last = None;
        let stamp = RealDisk.stat(&file).ok();
        let message = match asked {
            Asked::Shown(source) => {
                let read = read(&file, source, &waiting);
                told(read).map(|result| Message::PrintRead {
                    piece: piece.clone(),
                    result: result.map(Arc::new),
                })
            }
            Asked::Masked(work) => {
                let masked = masked(&file, work, &waiting);
                told(masked).map(|result| Message::MasksSurveyed {
                    piece: piece.clone(),
                    result: result.map(Box::new),
                })
            }
        };
        let is_given_up = waiting.stopped();
        self.last = stamp.map(|stamp| (piece.clone(), file, stamp));
        message.filter(|_| !is_given_up)
    }
}

/// What was given up is not told.
fn told<T>(result: Result<T, Trouble>) -> Option<Result<T, String>> {
    match result {
        Ok(done) => Some(Ok(done)),
        Err(Trouble::Told(why)) => Some(Err(why)),
        Err(Trouble::Stopped) => None,
    }
}

/// Why there is no print.
enum Trouble {
    Stopped,
    /// In words.
    Told(String),
}

impl From<Stopped> for Trouble {
    fn from(_: Stopped) -> Self {
        Self::Stopped
    }
}

fn read(file: &Path, source: Source, watch: &dyn Watch) -> Result<Print, Trouble> {
    let bytes = bytes(file, &source, watch)?;
    let (mesh, order) = ordered(&bytes, &source)?;
    let survey = mesh::survey(&mesh, &order, watch)?;
    Ok(Print::of(source, survey).with_groups(groups(&mesh)))
}

/// The print with other masks, and what is to be written of it.
fn masked(file: &Path, work: MaskWork, watch: &dyn Watch) -> Result<MaskedPrint, Trouble> {
    let source = work.source.clone();
    let bytes = bytes(file, &source, watch)?;
    let (mesh, order) = ordered(&bytes, &source)?;
    let (taken, surveyed) = survey_for_piece(&mesh, &order, watch)?;
    let masks = work.edit.made_on(&work.before);
    let has_shape = |at: &usize| masks[*at].shape.parse::<Mask>().is_ok();
    let places: Vec<usize> = (0..masks.len()).filter(has_shape).collect();
    let (unit, sha256) = (order.unit.to_string(), sha256_hex(&bytes));
    let values = survey_values(&work.piece, &surveyed, &places, (&unit, &sha256));
    // As the survey found it, the project says the unit from now on.
    let source = Source {
        unit: Some(unit),
        ..source
    };
    let print = Print::of(source, taken.survey).with_groups(groups(&mesh));
    Ok(MaskedPrint {
        work,
        print: Arc::new(print),
        values,
    })
}

fn groups(mesh: &Mesh<'_>) -> Vec<String> {
    let groups = mesh.groups().iter();
    groups.map(|group| group.name.clone()).collect()
}

fn bytes(file: &Path, source: &Source, watch: &dyn Watch) -> Result<Vec<u8>, Trouble> {
    if let Ok(stamp) = RealDisk.stat(file) {
        mesh::check_length(stamp.len).map_err(|error| refused(source, &error))?;
    }
    watch.at("reading the file", 0.0);
    store::read_file(file).map_err(|error| {
        let why = format!("{}: {}; {}", source.file, error.message, error.remedy);
        Trouble::Told(why)
    })
}

/// The print, and what to survey of it.
fn ordered<'b>(bytes: &'b [u8], source: &Source) -> Result<(Mesh<'b>, Order), Trouble> {
    let print = mesh::read(bytes).map_err(|error| refused(source, &error))?;
    let given = source.unit.as_deref();
    let given = given.and_then(|unit| unit.parse::<LengthUnit>().ok());
    let order = Order {
        masks: source.masks.clone(),
        bubble_mm: source.bubble.to(MM),
        ..Order::in_unit(print.unit.or(given).unwrap_or(LengthUnit::Mm))
    };
    Ok((print, order))
}

fn refused(source: &Source, error: &MeshError) -> Trouble {
    Trouble::Told(format!("{}: {error}; {}", source.file, error.remedy()))
}

#[cfg(test)]
mod tests {
    use std::sync::mpsc::Receiver;
    use std::time::Duration;

    use super::*;

    const TIP: &str = "solid tip\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 3 0 0\nvertex 0 4 0\n\
                       endloop\nendfacet\nendsolid tip\n";

    fn source(file: &str) -> Source {
        Source {
            file: file.to_owned(),
            unit: Some("cm".to_owned()),
            masks: Vec::new(),
            bubble: MM.of(0.5),
        }
    }

    /// The next message that is no step of the work.
    fn next(inbox: &Receiver<Incoming>) -> Message {
        loop {
            match inbox.recv_timeout(Duration::from_secs(20)).unwrap() {
                Incoming::Message(Message::PrintAt { .. }) => {}
                Incoming::Message(message) => return message,
                other => panic!("{other:?}"),
            }
        }
    }

    #[test]
    fn a_print_is_read_in_its_unit_and_a_change_of_its_file_is_told_once() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("tip.stl");
        std::fs::write(&file, TIP).unwrap();
        let (tell, inbox) = mpsc::channel();
        let surveyor = Surveyor::start(folder.path(), tell).unwrap();
        surveyor.read("tip".to_owned(), source("tip.stl")).unwrap();
        let Message::PrintRead { result, .. } = next(&inbox) else {
            panic!("a print");
        };
        let print = result.unwrap();
        assert!((print.survey.naive_area_mm2 - 600.0).abs() < 1e-9);
        std::fs::write(&file, TIP.replace("vertex 3", "vertex 30")).unwrap();
        assert!(matches!(next(&inbox), Message::PrintChanged(piece) if piece == "tip"));
        assert!(inbox.recv_timeout(Duration::from_millis(1500)).is_err());
    }

    #[test]
    fn what_cannot_be_read_is_told_with_its_file_and_what_is_given_up_is_not() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("bad.stl"), "no print").unwrap();
        let (tell, inbox) = mpsc::channel();
        let surveyor = Surveyor::start(folder.path(), tell).unwrap();
        for file in ["gone.stl", "bad.stl"] {
            surveyor.read("tip".to_owned(), source(file)).unwrap();
            let Message::PrintRead { result, .. } = next(&inbox) else {
                panic!("an answer");
            };
            assert!(result.unwrap_err().starts_with(file));
        }
        let (wanted, nobody) = (AtomicU64::new(2), mpsc::channel().0);
        let say = |step, done| Message::SpreadAt { step, done };
        let stopped = Waiting::new(&wanted, 1, &nobody, &say);
        std::fs::write(folder.path().join("tip.stl"), TIP).unwrap();
        let read = read(&folder.path().join("tip.stl"), source("tip.stl"), &stopped);
        assert!(matches!(read, Err(Trouble::Stopped)));
    }
}
