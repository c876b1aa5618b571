//! The thread that computes where the metal goes: that takes seconds, and the
//! screen never waits.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{self, Sender};
use std::thread;

use super::ShellError;
use super::desk::{self, Waiting};
use super::inbox::{Ending, Incoming};
use crate::clock::{Clock as _, SystemClock};
use crate::field::scene::PANELS;
use crate::report::spread::{Form, Rows};
use crate::spreading::{Asked, Held, Unspread};
use crate::store::{self, Disk as _, RealDisk, Stamp};
use crate::tui::app::{Failure, Message, Seen, SpreadWork};
use crate::tui::view::written;
use crate::units::Watch as _;

/// The spreader, seen from the loop. Its thread is never joined: what it does is
/// for the screen alone.
pub(super) struct Spreader {
    jobs: Sender<Job>,
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
        let mut desk = Desk {
            folder: folder.to_owned(),
            cache,
            panels: PANELS,
            wanted: Arc::clone(&wanted),
            stamps: BTreeMap::new(),
            held: Held::default(),
        };
        thread::Builder::new()
            .name("spreader".to_owned())
            .spawn(move || {
                let tell = Ending(tell);
                desk::work(&todo, &tell.0, |job| match job {
                    Some(Job::Solve(work, number)) => desk.solve(*work, number, &tell.0),
                    Some(Job::Write(seen, name, form)) => Some(desk.write(&seen, &name, form)),
                    None => desk.follow(),
                });
            })?;
        Ok(Self { jobs, wanted })
    }

    /// Computes it; what is still computed is given up.
    pub(super) fn solve(&self, work: SpreadWork) -> Result<(), ShellError> {
        let number = self.wanted.fetch_add(1, Ordering::SeqCst) + 1;
        self.ask(Job::Solve(Box::new(work), number))
    }

    /// Writes what came of a tank into a file of the project's folder.
    pub(super) fn write(
        &self,
        seen: Arc<Seen>,
        name: String,
        form: Form,
    ) -> Result<(), ShellError> {
        self.ask(Job::Write(seen, name, form))
    }

    fn ask(&self, job: Job) -> Result<(), ShellError> {
        self.jobs.send(job).map_err(|_gone| ShellError::Worker)
    }

    /// Gives up what is computed.
    pub(super) fn stop(&self) {
        self.wanted.fetch_add(1, Ordering::SeqCst);
    }
}

/// What the thread is asked.
enum Job {
    /// To compute it, under a number.
    Solve(Box<SpreadWork>, u64),
    /// To write a file of this name and form.
    Write(Arc<Seen>, String, Form),
}

/// The files of a tank's prints with their stamps.
type Stamps = Vec<(PathBuf, Option<Stamp>)>;

struct Desk {
    folder: PathBuf,
    cache: Option<PathBuf>,
    panels: usize,
    wanted: Arc<AtomicU64>,
    /// Of each tank that was computed, what its prints were read from.
    stamps: BTreeMap<String, Stamps>,
    held: Held,
}

fn stamp(file: &Path) -> Option<Stamp> {
    RealDisk.stat(file).ok()
}

impl Desk {
    /// Tells once that the file of a print is another.
    fn follow(&mut self) -> Option<Message> {
        let is_other = |(_, stamps): &(&String, &Stamps)| {
            stamps.iter().any(|(file, then)| stamp(file) != *then)
        };
        let tank = self.stamps.iter().find(is_other)?.0.clone();
        self.stamps.remove(&tank);
        Some(Message::SpreadChanged(tank))
    }

    fn write(&self, seen: &Seen, name: &str, form: Form) -> Message {
        let content = written(&seen.spread, form, Rows::Triangle);
        match store::write_out(&self.folder.join(name), content) {
            Ok(()) => Message::Notice(format!("{name} is written into the project's folder")),
            Err(error) => Message::Failed(Failure::Trouble {
                message: error.message,
                remedy: error.remedy,
            }),
        }
    }

    /// What was given up tells nothing.
    fn solve(&mut self, work: SpreadWork, number: u64, tell: &Sender<Incoming>) -> Option<Message> {
        let say = |step, done| Message::SpreadAt { step, done };
        let waiting = Waiting::new(&self.wanted, number, tell, &say);
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
            flow: work.flow,
            panels: self.panels,
        };
        let began = SystemClock.now();
        let seconds = || SystemClock.now().elapsed_since(began);
        let answer = asked.answer(&mut self.held, &seconds, &waiting);
        let tank = work.tank.clone();
        let result = match answer {
            Ok(answer) => {
                let assumed = [answer.assumed, answer.warnings].concat();
                let came = (&answer.scene, answer.spread);
                Ok(Arc::new(Seen::of(work, came, assumed)))
            }
            Err(Unspread::Told(why)) => Err(why),
            Err(Unspread::Stopped(_)) => return None,
        };
        if waiting.stopped() {
            return None;
        }
        self.stamps.insert(tank.clone(), stamps);
        Some(Message::SpreadSolved { tank, result })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plating::Metal;
    use crate::project::{Definition, MeshRef, Piece, Target};
    use crate::units::{MM, UM};

    /// A folder with a cube of 20 mm.
    fn folder() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        let corner = |n: usize| [0, 1, 2].map(|bit| (n >> bit & 1) * 20);
        let sides = [
            [0, 2, 3, 1],
            [4, 5, 7, 6],
            [0, 1, 5, 4],
            [2, 6, 7, 3],
            [0, 4, 6, 2],
            [1, 3, 7, 5],
        ];
        let halves = sides
            .iter()
            .flat_map(|[a, b, c, d]| [[*a, *b, *c], [*a, *c, *d]]);
        let facets = halves.map(|of| {
            let corners = of.map(corner);
            let lines = corners.map(|[x, y, z]| format!("vertex {x} {y} {z}\n"));
            format!(
                "facet normal 0 0 0\nouter loop\n{}endloop\nendfacet\n",
                lines.concat()
            )
        });
        let text = facets.collect::<String>();
        let text = format!("solid cube\n{text}endsolid cube\n");
        std::fs::write(folder.path().join("cube.stl"), text).unwrap();
        folder
    }

    fn work(at: [f64; 3]) -> SpreadWork {
        let metal = Metal::named("copper-acid").unwrap();
        let mut definition = Definition::new("cube", metal, Target::Mean(UM.of(40.0)));
        definition.tanks[0].inside = Some([200.0; 3].map(|mm| MM.of(mm)));
        definition.pieces = vec![Piece {
            mesh: Some(MeshRef {
                file: "cube.stl".to_owned(),
                unit: Some("mm".to_owned()),
                sha256: None,
            }),
            hangs: Some(crate::project::Hangs {
                at: at.map(|mm| MM.of(mm)),
                turn: [1.0, 0.0, 0.0, 0.0],
            }),
            ..Piece::named("cube")
        }];
        let tank = &definition.tanks[0];
        SpreadWork {
            tank: tank.name.clone(),
            pieces: vec!["cube".to_owned()],
            flow: None,
            outline: definition.outline(tank, &[&definition.pieces[0]], None),
            definition: Box::new(definition),
        }
    }

    fn desk(folder: &Path) -> Desk {
        Desk {
            folder: folder.to_owned(),
            cache: Some(folder.join("cache")),
            panels: 600,
            wanted: Arc::new(AtomicU64::new(1)),
            stamps: BTreeMap::new(),
            held: Held::default(),
        }
    }

    #[test]
    fn a_tank_is_computed_with_steps_and_a_change_of_its_print_is_told_once() {
        let folder = folder();
        let mut desk = desk(folder.path());
        let (tell, inbox) = mpsc::channel();
        let message = desk.solve(work([100.0; 3]), 1, &tell);
        let Some(Message::SpreadSolved {
            result: Ok(seen), ..
        }) = message
        else {
            panic!("{message:?}");
        };
        let cube = seen.body("cube").unwrap();
        assert!((cube.area_dm2 - 0.24).abs() < 1e-3, "six sides of 4 cm2");
        assert!(
            cube.min_over_mean < 0.99 && cube.max_over_mean > 1.02,
            "{} to {}: its corners stand out",
            cube.min_over_mean,
            cube.max_over_mean
        );
        assert!(seen.scene.faces().len() >= 12 && !seen.assumed.is_empty());
        let steps = inbox.try_iter().count();
        assert!(steps > 3, "{steps} steps were told");
        // Kept: the second time nothing but the reading is left to do.
        let again = desk.solve(work([100.0; 3]), 1, &tell);
        assert!(matches!(
            again,
            Some(Message::SpreadSolved { result: Ok(_), .. })
        ));
        let steps = inbox.try_iter().count();
        assert_eq!(steps, 1, "it was kept");
        assert!(desk.follow().is_none());
        std::fs::write(folder.path().join("cube.stl"), "another").unwrap();
        assert!(matches!(desk.follow(), Some(Message::SpreadChanged(tank)) if tank == "main"));
        assert!(desk.follow().is_none());
    }

    #[test]
    fn what_is_in_the_way_is_told_in_words_and_what_is_given_up_is_not() {
        let folder = folder();
        let mut desk = desk(folder.path());
        let (tell, _inbox) = mpsc::channel();
        let Some(Message::SpreadSolved {
            result: Err(why), ..
        }) = desk.solve(work([5.0, 100.0, 100.0]), 1, &tell)
        else {
            panic!("it goes through the wall");
        };
        assert!(
            why.contains("`cube` goes through the wall") && why.contains("hangs: (at:"),
            "{why}"
        );
        assert!(
            desk.solve(work([100.0; 3]), 0, &tell).is_none(),
            "another is wanted"
        );
        std::fs::remove_file(folder.path().join("cube.stl")).unwrap();
        let gone = desk.solve(work([100.0; 3]), 1, &tell);
        assert!(
            matches!(&gone, Some(Message::SpreadSolved { result: Err(why), .. }) if why.contains("cube.stl"))
        );
    }
}
