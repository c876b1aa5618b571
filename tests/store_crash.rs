//! The power is cut, the disk fails, a program dies: at every operation of an
//! evening. What was acknowledged is there, in order; at most the event that was
//! being written comes after it; nothing is half.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};

use crate::support::disk::{FakeDisk, Fault, Image, Moment};
use tankside::project::{Action, Event, Finding, Setting, Stage, What};
use tankside::settings::{Settings, remember_who_on};
use tankside::store::{Disk as _, Folder, RecordError, check_on, salvage_on};
use tankside::units::{A, Instant, V};

const BELL: &str = r#"(
    format: 1,
    name: "Table bell",
    metal: "copper-acid",
    target: Mean("40um"),
    pieces: [(name: "bell", area: "6.84dm2")], // cast in one
)
"#;

const ROWS: &str = "2026-03-01T19:10:00Z,0.3,0.62,22\n2026-03-01T19:11:00Z,0.3,0.63,22\n";

const SHEET: &str = "bell-sheet.md";

fn shop() -> PathBuf {
    PathBuf::from("/shop")
}

fn bell() -> PathBuf {
    shop().join("projects/bell")
}

fn saved() -> PathBuf {
    shop().join("bell-saved")
}

fn evening(minute: usize) -> Instant {
    let begun: Instant = "2026-03-01T19:00:00Z".parse().unwrap();
    begun.plus_seconds(minute as f64 * 60.0)
}

/// A disk with the logger's card in it and nothing else.
fn empty_disk() -> FakeDisk {
    let rows = Some(ROWS.as_bytes().to_vec());
    FakeDisk::holding(&Image::from([
        (shop(), None),
        (shop().join("card.csv"), rows),
    ]))
}

/// One thing that is done with the program.
#[derive(Debug, Clone)]
enum Act {
    Record(What),
    Set(&'static str, &'static str),
    AddPiece(&'static str),
    /// An edit of `project.ron` in an editor: what, into what.
    Edit(&'static str, &'static str),
    TakeLogger,
    WriteSheet(&'static str),
    Salvage,
}

fn script() -> Vec<Act> {
    let piece = || "bell".to_owned();
    let start = |stage, tank: Option<&str>| What::Start {
        piece: piece(),
        stage,
        tank: tank.map(str::to_owned),
    };
    let finish = || What::Finish { piece: piece() };
    let supply = |to| What::Supply {
        tank: "main".to_owned(),
        to,
    };
    let findings: Vec<Finding> = vec!["bare:40%@rim".parse().unwrap()];
    let note = |text: &str| What::Note {
        piece: piece(),
        text: text.to_owned(),
    };
    vec![
        Act::Record(note("a blister at the \"rim\"")),
        Act::Set("name", "Table bell of the hall"),
        Act::AddPiece(r#"(name: "clapper", area: "1dm2")"#),
        Act::Record(start(Stage::Coat, None)),
        Act::Record(What::Coat { piece: piece() }),
        Act::Record(What::Tick {
            piece: piece(),
            names: vec!["primed".to_owned()],
        }),
        Act::Set("pieces.clapper.area", "1.1dm2"),
        Act::Record(finish()),
        Act::Record(start(Stage::Wiring, None)),
        Act::Record(finish()),
        Act::Record(supply(Setting::Volts(V.of(0.3)))),
        Act::Record(start(Stage::Strike, Some("main"))),
        Act::Record(What::Reading {
            tank: "main".to_owned(),
            volts: V.of(0.3),
            amps: A.of(0.62),
            celsius: None,
            mode: None,
            piece: None,
        }),
        Act::WriteSheet("the first sheet\n"),
        Act::Record(What::Lift { piece: piece() }),
        Act::Record(What::Look {
            piece: piece(),
            findings,
        }),
        Act::Record(What::Return {
            piece: piece(),
            dipped: true,
        }),
        Act::Record(What::Undo { sequence: 0 }),
        Act::Record(What::Redo { sequence: 0 }),
        Act::TakeLogger,
        Act::Edit("40um", "45um"),
        Act::Record(supply(Setting::Off)),
        Act::Record(What::CloseoutTick {
            items: vec!["anodes-in".to_owned()],
        }),
        Act::WriteSheet("the second sheet\n"),
        Act::Record(note("gone home")),
        Act::Salvage,
    ]
}

/// Why an act was not done.
type Failed = Box<dyn std::fmt::Debug>;

fn failed(error: impl std::fmt::Debug + 'static) -> Failed {
    Box::new(error)
}

/// Does an act in the minute of its number; the event it led to, if any.
fn perform(
    act: &Act,
    folder: &mut Folder,
    disk: &FakeDisk,
    minute: usize,
) -> Result<Option<Event>, Failed> {
    let record = |folder: &mut Folder, what: &What| {
        let action = Action {
            override_reason: Some("a dry run".to_owned()),
            ..Action::now(what.clone(), "Ada")
        };
        let recorded = folder.record(&action, evening(minute), None);
        recorded
            .map(|decision| Some(decision.event))
            .map_err(failed)
    };
    match act {
        Act::Record(what) => record(folder, what),
        Act::Set(path, value) => folder.set(path, value).map(|()| None).map_err(failed),
        Act::AddPiece(entry) => folder.add_piece(entry).map(|()| None).map_err(failed),
        Act::Edit(from, to) => {
            let draft = folder.begin_edit().map_err(failed)?;
            let text = disk.read(draft.path()).map_err(failed)?;
            let text = String::from_utf8(text).unwrap().replace(from, to);
            disk.write_synced(draft.path(), text.as_bytes(), false)
                .map_err(failed)?;
            folder.end_edit(&draft).map(|_| None).map_err(failed)
        }
        Act::TakeLogger => {
            let taken = folder
                .take_logger(&shop().join("card.csv"))
                .map_err(failed)?;
            let what = What::Logger {
                tank: "main".to_owned(),
                file: taken.file,
                sha256: taken.sha256,
            };
            record(folder, &what)
        }
        Act::WriteSheet(text) => folder
            .write_file(SHEET, text)
            .map(|()| None)
            .map_err(failed),
        Act::Salvage => salvage_on(disk, &bell(), &saved())
            .map(|_| None)
            .map_err(failed),
    }
}

/// What had been acknowledged when so many operations were done.
#[derive(Debug, Clone, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
struct Told {
    operations: usize,
    created: bool,
    events: usize,
    /// How many texts `project.ron` and the sheet had.
    texts: usize,
    sheets: usize,
    saved: bool,
    /// Programs that died before: each may have left an event that it never
    /// acknowledged.
    dead: usize,
}

/// An evening from first to last: two programs take turns on one folder.
struct Evening {
    disk: FakeDisk,
    events: Vec<Event>,
    texts: Vec<Vec<u8>>,
    sheets: Vec<Vec<u8>>,
    told: Vec<Told>,
    /// The disks on which a second recovery changed nothing.
    recovered: RefCell<BTreeSet<Image>>,
}

/// The evening up to its first failure.
fn live(disk: &FakeDisk) -> (Evening, Option<(Folder, Failed)>) {
    let mut lived = Evening {
        disk: disk.clone(),
        events: Vec::new(),
        texts: Vec::new(),
        sheets: Vec::new(),
        told: vec![Told::default()],
        recovered: RefCell::default(),
    };
    if Folder::create_on(disk.shared(), &bell(), BELL, evening(0)).is_err() {
        return (lived, None);
    }
    lived.tell(|told| told.created = true);
    let Ok(one) = Folder::open_on(disk.shared(), &bell()) else {
        return (lived, None);
    };
    let Ok(other) = Folder::open_on(disk.shared(), &bell()) else {
        return (lived, None);
    };
    let mut folders = [one, other];
    for (number, act) in script().iter().enumerate() {
        let folder = &mut folders[number % 2];
        match perform(act, folder, disk, number + 20) {
            Ok(event) => {
                lived.events.extend(event);
                lived.tell(|told| told.saved |= matches!(act, Act::Salvage));
            }
            Err(error) => {
                let [one, other] = folders;
                let folder = if number % 2 == 0 { one } else { other };
                return (lived, Some((folder, error)));
            }
        }
    }
    (lived, None)
}

impl Evening {
    fn tell(&mut self, change: impl Fn(&mut Told)) {
        let keep = |texts: &mut Vec<Vec<u8>>, now: io::Result<Vec<u8>>| {
            texts.extend(now.ok().filter(|now| texts.last() != Some(now)));
        };
        keep(&mut self.texts, self.disk.read(&bell().join("project.ron")));
        keep(&mut self.sheets, self.disk.read(&bell().join(SHEET)));
        let mut told = self.told.last().cloned().unwrap_or_default();
        told.operations = self.disk.operations();
        told.events = self.events.len();
        told.texts = self.texts.len();
        told.sheets = self.sheets.len();
        change(&mut told);
        self.told.push(told);
    }

    /// What had been acknowledged in the middle of an operation.
    fn told_at(&self, operation: usize) -> &Told {
        let before = |told: &&Told| told.operations <= operation;
        self.told.iter().rfind(before).unwrap()
    }

    /// Opens what a crash left, and holds it against what was acknowledged.
    /// Recovering a second time changes nothing.
    fn recovers(&self, word: &str, image: &Image, told: &Told) {
        let disk = FakeDisk::holding(image);
        // Of a line that was torn, a check of every tenth place will do.
        let is_checked = !word.contains(" torn at ") || word.ends_with('1');
        let before = is_checked.then(|| check_on(&disk, &bell()).problems);
        for problem in before.iter().flatten() {
            let is_torn = problem.kind == "journal" && problem.what.contains("not whole");
            assert!(!is_torn || problem.line.is_some(), "{word}: {problem:?}");
            assert!(!problem.remedy.is_empty(), "{word}: {problem:?}");
        }
        let folder = match Folder::open_on(disk.shared(), &bell()) {
            Ok(folder) => folder,
            Err(error) => {
                assert!(!told.created, "{word}: {error:?}");
                assert!(
                    ["not_found", "not_a_project"].contains(&error.kind()),
                    "{word}: {error:?}"
                );
                return;
            }
        };
        let found = folder.project().events();
        assert!(
            (told.events..=told.events + 1 + told.dead).contains(&found.len()),
            "{word}: {} events where {} were acknowledged",
            found.len(),
            told.events
        );
        assert_eq!(found, &self.events[..found.len()], "{word}");
        let read = |name: &str| disk.read(&bell().join(name)).ok();
        let is_old_or_new = |texts: &[Vec<u8>], known: usize, now: Option<Vec<u8>>| match now {
            None => known == 0,
            Some(now) => {
                let first = known.saturating_sub(1);
                texts[first..].iter().take(2).any(|text| *text == now)
            }
        };
        assert!(
            is_old_or_new(&self.texts, told.texts, read("project.ron")),
            "{word}: project.ron is {:?}",
            read("project.ron")
        );
        assert!(
            is_old_or_new(&self.sheets, told.sheets, read(SHEET)),
            "{word}: the sheet is {:?}",
            read(SHEET)
        );
        let left_out = |notice: &&String| !notice.contains("journal");
        let notices: Vec<_> = folder.notices().iter().filter(left_out).collect();
        assert!(notices.is_empty(), "{word}: {notices:?}");
        match Folder::open_on(disk.shared(), &saved()) {
            Ok(saved) => assert!(
                self.events.starts_with(&saved.project().events().to_vec()),
                "{word}"
            ),
            Err(error) => assert!(!told.saved, "{word}: {error:?}"),
        }
        let once = disk.image();
        if self.recovered.borrow_mut().insert(without_torn(&once)) {
            drop(folder);
            drop(Folder::open_on(disk.shared(), &bell()).unwrap());
            assert_eq!(disk.image(), once, "{word}: a second recovery changes it");
        }
    }

    /// Every way in which a moment may end in a power cut; writes torn at every
    /// byte, or not at all where that is held elsewhere.
    fn survives(&self, word: &str, moment: &Moment, told: &Told, seen: &mut Seen, torn: bool) {
        for (left, image) in moment.after_crash() {
            if !torn && left.contains(" torn at ") {
                continue;
            }
            let told_so = Told {
                operations: 0,
                ..told.clone()
            };
            if seen.insert((in_use(&image), told_so)) {
                self.recovers(&format!("{word}, {left}"), &image, told);
            }
        }
    }
}

/// What of a disk is ever read: nobody reads a file that was to be renamed, nor
/// a folder of what was saved before there is a project in it.
fn in_use(image: &Image) -> Image {
    let is_project = image.contains_key(&saved().join("project.ron"));
    let mut used = image.clone();
    for (name, bytes) in &mut used {
        let is_unused = name.extension().is_some_and(|e| e == "tmp")
            || name.starts_with(saved()) && !is_project;
        if is_unused && bytes.is_some() {
            *bytes = Some(Vec::new());
        }
    }
    used
}

/// The same disk, whatever stood in the lines that were set aside.
fn without_torn(image: &Image) -> Image {
    let is_torn = |name: &Path| name.to_string_lossy().contains("journal.torn-");
    let kept = image.iter().filter(|(name, _)| !is_torn(name));
    kept.map(|(name, bytes)| (name.clone(), bytes.clone()))
        .collect()
}

type Seen = BTreeSet<(Image, Told)>;

/// The whole evening, watched.
fn watched() -> (Evening, Vec<Moment>) {
    let disk = empty_disk();
    disk.watch();
    let (lived, failed) = live(&disk);
    assert!(failed.is_none(), "{:?}", failed.map(|(_, error)| error));
    let moments = disk.watched();
    assert_eq!(moments.len(), disk.operations());
    (lived, moments)
}

#[test]
fn a_power_cut_at_any_operation_loses_nothing_that_was_acknowledged() {
    let (lived, moments) = watched();
    assert_eq!(lived.events.len(), 19, "the script is what it was");
    let mut seen = Seen::new();
    for (operation, moment) in moments.iter().enumerate() {
        let told = lived.told_at(operation);
        let word = format!("operation {operation}");
        lived.survives(&word, moment, told, &mut seen, true);
    }
    assert!(seen.len() > 2500, "{} crashes", seen.len());
}

#[test]
fn a_program_that_dies_at_any_operation_leaves_a_folder_that_others_go_on_with() {
    let (mut lived, moments) = watched();
    let after = What::Note {
        piece: "bell".to_owned(),
        text: "after".to_owned(),
    };
    let whole = std::mem::take(&mut lived.events);
    let mut seen = Seen::new();
    for (operation, moment) in moments.iter().enumerate() {
        let told = lived.told_at(operation).clone();
        if !told.created {
            continue;
        }
        let word = format!("dead in operation {operation}");
        let disk = FakeDisk::going_on(moment.clone());
        let mut folder = Folder::open_on(disk.shared(), &bell()).unwrap();
        let found = folder.project().events().to_vec();
        assert!(whole.starts_with(&found), "{word}");
        assert!(
            (told.events..=told.events + 1).contains(&found.len()),
            "{word}"
        );
        disk.watch();
        let event = perform(&Act::Record(after.clone()), &mut folder, &disk, 100).unwrap();
        lived.events = [found.clone(), event.into_iter().collect()].concat();
        let middle = Told {
            dead: found.len() - told.events,
            ..told.clone()
        };
        for moment in disk.watched() {
            lived.survives(&word, &moment, &middle, &mut seen, false);
        }
        let end = Told {
            events: lived.events.len(),
            ..told
        };
        lived.survives(&word, &disk.moment(), &end, &mut seen, false);
    }
}

#[test]
fn the_journal_that_a_first_record_begins_is_there_whoever_died_before() {
    let image = Image::from([
        (bell(), None),
        (shop().join("projects"), None),
        (shop(), None),
        (bell().join("project.ron"), Some(BELL.into())),
    ]);
    let note = |text: &str| {
        Act::Record(What::Note {
            piece: "bell".to_owned(),
            text: text.to_owned(),
        })
    };
    let first = FakeDisk::holding(&image);
    let mut folder = Folder::open_on(first.shared(), &bell()).unwrap();
    first.watch();
    perform(&note("first"), &mut folder, &first, 1).unwrap();
    let moments = [first.watched(), vec![first.moment()]].concat();
    for (operation, moment) in moments.into_iter().enumerate() {
        let disk = FakeDisk::going_on(moment);
        let mut folder = Folder::open_on(disk.shared(), &bell()).unwrap();
        perform(&note("second"), &mut folder, &disk, 2).unwrap();
        let events = folder.project().events();
        for (left, image) in disk.moment().after_crash() {
            let disk = FakeDisk::holding(&image);
            let again = Folder::open_on(disk.shared(), &bell()).unwrap();
            assert_eq!(
                again.project().events(),
                events,
                "dead in {operation}, {left}"
            );
        }
    }
}

#[test]
fn a_project_that_was_begun_is_sound_after_a_power_cut() {
    let disk = empty_disk();
    drop(Folder::create_on(disk.shared(), &bell(), BELL, evening(0)).unwrap());
    for (left, image) in disk.moment().after_crash() {
        let report = check_on(&FakeDisk::holding(&image), &bell());
        assert_eq!(report.problems, [], "{left}");
    }
}

#[test]
fn a_project_that_could_not_be_begun_does_not_stand_in_the_way_of_the_next_attempt() {
    let begin = |disk: &FakeDisk| Folder::create_on(disk.shared(), &bell(), BELL, evening(0));
    let disk = empty_disk();
    begin(&disk).unwrap();
    let operations = disk.operations();
    assert!(operations > 5);
    for operation in 0..operations {
        for fault in [
            Fault::Refused(io::ErrorKind::StorageFull),
            Fault::Half(io::ErrorKind::Other),
        ] {
            let disk = empty_disk();
            disk.fail_at(operation, fault);
            assert!(begin(&disk).is_err(), "{fault:?} at operation {operation}");
            let disk = FakeDisk::going_on(disk.moment());
            let begun = begin(&disk);
            assert!(
                begun.is_ok(),
                "{fault:?} at operation {operation}: {begun:?}"
            );
        }
    }
}

#[test]
fn a_last_line_that_lacks_only_its_line_break_stays_whatever_is_torn_behind_it() {
    let disk = empty_disk();
    let note = || {
        Act::Record(What::Note {
            piece: "bell".to_owned(),
            text: "said".to_owned(),
        })
    };
    let mut folder = Folder::create_on(disk.shared(), &bell(), BELL, evening(0)).unwrap();
    perform(&note(), &mut folder, &disk, 1).unwrap();
    let events = folder.project().events().to_vec();
    let mut image = disk.image();
    let journal = image.get_mut(&bell().join("journal.ron")).unwrap();
    let bytes = journal.as_mut().unwrap();
    assert_eq!(bytes.pop(), Some(b'\n'));
    bytes.extend([0; 200]);
    let disk = FakeDisk::holding(&image);
    let reader = Folder::open_on(disk.shared(), &bell()).unwrap();
    assert_eq!(reader.project().events().to_vec(), events);
    let mut folder = Folder::open_on(disk.shared(), &bell()).unwrap();
    perform(&note(), &mut folder, &disk, 2).unwrap();
    let again = Folder::open_on(disk.shared(), &bell()).unwrap();
    assert_eq!(again.project().events().len(), events.len() + 1);
}

#[test]
fn recovery_itself_may_be_cut_off_anywhere() {
    let (lived, moments) = watched();
    let mut seen = Seen::new();
    for (operation, moment) in moments.iter().enumerate() {
        let told = lived.told_at(operation);
        let crashes = moment.after_crash();
        let torn = crashes.iter().find(|(left, _)| left.ends_with("torn at 9"));
        let Some((left, image)) = torn.filter(|_| told.created) else {
            continue;
        };
        let disk = FakeDisk::holding(image);
        disk.watch();
        drop(Folder::open_on(disk.shared(), &bell()).unwrap());
        for moment in disk.watched() {
            let word = format!("operation {operation}, {left}, then in recovery");
            lived.survives(&word, &moment, told, &mut seen, false);
        }
    }
    assert!(seen.len() > 50, "{} crashes", seen.len());
}

#[test]
fn whichever_operation_fails_nothing_more_is_written_until_the_folder_is_opened_again() {
    let (whole, moments) = watched();
    let mut seen = Seen::new();
    for operation in 0..moments.len() {
        for fault in [
            Fault::Refused(io::ErrorKind::StorageFull),
            Fault::Half(io::ErrorKind::Other),
        ] {
            let word = format!("{fault:?} at operation {operation}");
            let disk = empty_disk();
            disk.fail_at(operation, fault);
            let (mut lived, failed) = live(&disk);
            let told = lived.told.last().unwrap().clone();
            let acknowledged = lived.events.clone();
            lived.events = whole.events.clone();
            lived.texts = whole.texts.clone();
            lived.sheets = whole.sheets.clone();
            if let Some((mut folder, _)) = failed {
                let before = disk.image();
                let note = What::Note {
                    piece: "bell".to_owned(),
                    text: "again".to_owned(),
                };
                let again = folder.record(&Action::now(note, "Ada"), evening(100), None);
                match again {
                    Err(RecordError::Store(error)) if error.kind() == "poisoned" => {
                        assert!(
                            error.remedy.contains("open the project again"),
                            "{word}: {error:?}"
                        );
                        assert_eq!(folder.follow().unwrap_err().kind(), "poisoned", "{word}");
                        assert!(folder.set("name", "Bell").is_err(), "{word}");
                        assert!(folder.write_file("a.md", "a").is_err(), "{word}");
                        assert!(folder.begin_edit().is_err(), "{word}");
                        assert_eq!(disk.image(), before, "{word}: something was written");
                    }
                    // Neither an editor's nor the new folder's writes are the folder's.
                    other => {
                        let act = &script()[lived.told.len() - 2];
                        let apart = matches!(act, Act::Salvage | Act::Edit(..));
                        assert!(apart, "{word}: {act:?}: {other:?}");
                        continue;
                    }
                }
            }
            let moment = disk.moment();
            lived.recovers(&word, &moment.image(), &told);
            lived.survives(&word, &moment, &told, &mut seen, false);
            // On the disk as it is, the next program goes on.
            let disk = FakeDisk::going_on(moment);
            if let Ok(mut folder) = Folder::open_on(disk.shared(), &bell()) {
                let note = Act::Record(What::Note {
                    piece: "bell".to_owned(),
                    text: "after".to_owned(),
                });
                perform(&note, &mut folder, &disk, 100).unwrap();
                assert!(
                    folder
                        .project()
                        .events()
                        .to_vec()
                        .starts_with(&acknowledged),
                    "{word}"
                );
            }
        }
    }
}

#[test]
fn the_fake_disk_leaves_what_a_real_one_does() {
    let fake = empty_disk();
    let (lived, _) = live(&fake);
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("bell");
    let mut folder = Folder::create(&path, BELL, evening(0)).unwrap();
    let card = dir.path().join("card.csv");
    std::fs::write(&card, ROWS).unwrap();
    for (number, act) in script().iter().enumerate() {
        match act {
            Act::TakeLogger => {
                let taken = folder.take_logger(&card).unwrap();
                let what = What::Logger {
                    tank: "main".to_owned(),
                    file: taken.file,
                    sha256: taken.sha256,
                };
                perform(&Act::Record(what), &mut folder, &fake, number + 20).unwrap();
            }
            Act::Edit(from, to) => {
                let draft = folder.begin_edit().unwrap();
                let text = std::fs::read_to_string(draft.path()).unwrap();
                std::fs::write(draft.path(), text.replace(from, to)).unwrap();
                folder.end_edit(&draft).unwrap();
            }
            Act::Salvage => {}
            act => {
                perform(act, &mut folder, &fake, number + 20).unwrap();
            }
        }
    }
    assert_eq!(folder.project().events().to_vec(), lived.events);
    let files: Vec<_> = fake
        .image()
        .into_iter()
        .filter(|(name, _)| name.starts_with(bell()))
        .collect();
    assert!(files.len() > 5);
    for (name, bytes) in files {
        let real = path.join(name.strip_prefix(bell()).unwrap());
        assert_eq!(std::fs::read(&real).ok(), bytes, "{}", real.display());
    }
}

#[test]
fn settings_are_old_or_new_after_a_power_cut() {
    let disk = FakeDisk::default();
    let path = Path::new("/home/ida/.config/tankside/settings.ron");
    disk.watch();
    remember_who_on(&disk, path, "Ida").unwrap();
    let first = disk.operations();
    remember_who_on(&disk, path, "Ada").unwrap();
    for (operation, moment) in disk.watched().iter().enumerate() {
        for (word, image) in moment.after_crash() {
            let who = Settings::load_from(&FakeDisk::holding(&image), path)
                .unwrap()
                .who;
            let may_be: &[_] = if operation < first {
                &[None, Some("Ida")]
            } else {
                &[Some("Ida"), Some("Ada")]
            };
            assert!(
                may_be.contains(&who.as_deref()),
                "{operation}, {word}: {who:?}"
            );
        }
    }
    let (_, image) = disk.moment().after_crash().remove(0);
    let left = Settings::load_from(&FakeDisk::holding(&image), path).unwrap();
    assert_eq!(left.who.as_deref(), Some("Ada"));
}
