//! Whatever is recorded comes back, whatever is damaged is told, and no bytes
//! make the store panic.

use std::path::Path;

use proptest::prelude::*;
use tankside::project::{Action, Event, Mode, What};
use tankside::store::{Disk as _, Folder, check, check_on, logger};
use tankside::units::{A, CELSIUS, Instant, V, Zone};

use crate::support::disk::FakeDisk;

const BELL: &str = r#"(format: 1, name: "Table bell", metal: "copper-acid", target: Mean("40um"),
    pieces: [(name: "bell", area: "6.84dm2")])"#;

fn evening() -> Instant {
    "2026-03-01T19:00:00Z".parse().unwrap()
}

/// A bell on a disk in memory, which syncs at once; what that of the machine
/// does is held by `store.rs` and below, where two programs record.
fn bell() -> (FakeDisk, &'static Path) {
    let (disk, path) = (FakeDisk::default(), Path::new("/bell"));
    Folder::create_on(disk.shared(), path, BELL, evening()).unwrap();
    (disk, path)
}

fn text(disk: &FakeDisk, file: &Path) -> String {
    String::from_utf8(disk.read(file).unwrap()).unwrap()
}

fn note() -> impl Strategy<Value = What> {
    any::<String>().prop_map(|text| What::Note {
        piece: "bell".to_owned(),
        text,
    })
}

fn reading() -> impl Strategy<Value = What> {
    let mode = prop_oneof![Just(None), Just(Some(Mode::Cc)), Just(Some(Mode::Cv))];
    (0.0..30.0, 0.0..50.0, prop::option::of(-5.0..80.0), mode).prop_map(
        |(volts, amps, celsius, mode)| What::Reading {
            tank: "main".to_owned(),
            volts: V.of(volts),
            amps: A.of(amps),
            celsius: celsius.map(|c| CELSIUS.of(c)),
            mode,
            piece: None,
        },
    )
}

/// Actions at any second of an hour, by anybody.
fn actions() -> impl Strategy<Value = Vec<Action>> {
    let action = (
        prop_oneof![note(), reading(), Just(What::Undo { sequence: 0 })],
        0..3600,
        any::<String>(),
    );
    let action = action.prop_map(|(what, second, who)| Action {
        at: Some(evening().plus_seconds(f64::from(second))),
        ..Action::now(what, &who)
    });
    prop::collection::vec(action, 1..12)
}

fn events(disk: &FakeDisk, path: &Path) -> Option<Vec<Event>> {
    Folder::open_on(disk.shared(), path)
        .ok()
        .map(|folder| folder.project().events().to_vec())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn what_two_programs_record_comes_back(actions in actions(), turns in any::<u64>()) {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("bell");
        Folder::create(&path, BELL, evening()).unwrap();
        let mut folders = [Folder::open(&path).unwrap(), Folder::open(&path).unwrap()];
        let now = evening().plus_seconds(3600.0);
        let mut acknowledged = Vec::new();
        for (n, action) in actions.iter().enumerate() {
            let who = usize::from(turns >> n & 1 == 1);
            if let Ok(decision) = folders[who].record(action, now, None) {
                acknowledged.push(decision.event);
            }
        }
        let again = Folder::open(&path).unwrap();
        prop_assert_eq!(again.project().events(), &acknowledged[..]);
        for mut folder in folders {
            folder.follow().unwrap();
            prop_assert_eq!(folder.project(), again.project());
        }
        prop_assert_eq!(check(&path).problems, vec![]);
    }

    #[test]
    fn damage_never_changes_what_happened(
        actions in actions(),
        place in any::<prop::sample::Index>(),
        new in prop::collection::vec(any::<u8>(), 0..4),
        cut in 0_usize..4,
    ) {
        let (disk, path) = bell();
        let mut folder = Folder::open_on(disk.shared(), path).unwrap();
        for action in &actions {
            let _ = folder.record(action, evening().plus_seconds(3600.0), None);
        }
        let whole = folder.project().events().to_vec();
        let file = path.join("journal.ron");
        let mut bytes = disk.read(&file).unwrap();
        let at = place.index(bytes.len());
        bytes.splice(at..(at + cut).min(bytes.len()), new);
        disk.write_synced(&file, &bytes, false).unwrap();
        let report = check_on(&disk, path);
        prop_assert!(report.events <= whole.len());
        if let Some(found) = events(&disk, path) {
            prop_assert!(found.len() + 1 >= whole.len() && whole.starts_with(&found));
            prop_assert_eq!(report.events, found.len());
        } else {
            prop_assert!(!report.problems.is_empty());
        }
    }

    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..200), text: String) {
        let (disk, path) = bell();
        disk.write_synced(&path.join("journal.ron"), &bytes, false).unwrap();
        let _ = check_on(&disk, path);
        let _ = Folder::open_on(disk.shared(), path);
        disk.write_synced(&path.join("project.ron"), &bytes, false).unwrap();
        prop_assert!(!check_on(&disk, path).problems.is_empty());
        let error = Folder::open_on(disk.shared(), path).unwrap_err();
        prop_assert!(!error.message.contains(char::is_control));
        let _ = logger::read(&bytes, Zone::UTC);
        let _ = logger::read(text.as_bytes(), Zone::UTC);
    }

    #[test]
    fn whatever_a_person_sets_is_whole_or_refused(path in "[a-z.]{0,12}", value: String) {
        let (disk, folder_path) = bell();
        let mut folder = Folder::open_on(disk.shared(), folder_path).unwrap();
        for path in [path.as_str(), "name", "pieces.bell.note", "pieces.bell.area"] {
            let before = text(&disk, &folder_path.join("project.ron"));
            match folder.set(path, &value) {
                Ok(()) => {}
                Err(error) => {
                    prop_assert!(!error.message.contains(char::is_control));
                    let after = text(&disk, &folder_path.join("project.ron"));
                    prop_assert_eq!(before, after);
                }
            }
            let again = Folder::open_on(disk.shared(), folder_path).unwrap();
            prop_assert_eq!(again.project(), folder.project());
        }
        folder.set("pieces.bell.note", "words").unwrap();
    }
}
