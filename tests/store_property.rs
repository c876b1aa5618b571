//! Whatever is recorded comes back, whatever is damaged is told, and no bytes
//! make the store panic.

use std::fs;
use std::path::{Path, PathBuf};

use proptest::prelude::*;
use tankside::project::{Action, Event, Mode, What};
use tankside::store::{Folder, check, logger};
use tankside::units::{A, CELSIUS, Instant, V, Zone};

const BELL: &str = r#"(format: 1, name: "Table bell", metal: "copper-acid", target: Mean("40um"),
    pieces: [(name: "bell", area: "6.84dm2")])"#;

fn evening() -> Instant {
    "2026-03-01T19:00:00Z".parse().unwrap()
}

fn bell() -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("bell");
    Folder::create(&path, BELL, evening()).unwrap();
    (dir, path)
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

fn events(path: &Path) -> Option<Vec<Event>> {
    Folder::open(path)
        .ok()
        .map(|folder| folder.project().events().to_vec())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn what_two_programs_record_comes_back(actions in actions(), turns in any::<u64>()) {
        let (_dir, path) = bell();
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
        let (_dir, path) = bell();
        let mut folder = Folder::open(&path).unwrap();
        for action in &actions {
            let _ = folder.record(action, evening().plus_seconds(3600.0), None);
        }
        let whole = folder.project().events().to_vec();
        let file = path.join("journal.ron");
        let mut bytes = fs::read(&file).unwrap();
        let at = place.index(bytes.len());
        bytes.splice(at..(at + cut).min(bytes.len()), new);
        fs::write(&file, &bytes).unwrap();
        let report = check(&path);
        prop_assert!(report.events <= whole.len());
        if let Some(found) = events(&path) {
            prop_assert!(found.len() + 1 >= whole.len() && whole.starts_with(&found));
            prop_assert_eq!(report.events, found.len());
        } else {
            prop_assert!(!report.problems.is_empty());
        }
    }

    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..200), text: String) {
        let (_dir, path) = bell();
        fs::write(path.join("journal.ron"), &bytes).unwrap();
        let _ = check(&path);
        let _ = Folder::open(&path);
        fs::write(path.join("project.ron"), &bytes).unwrap();
        prop_assert!(!check(&path).problems.is_empty());
        let error = Folder::open(&path).unwrap_err();
        prop_assert!(!error.message.contains(char::is_control));
        let _ = logger::read(&bytes, Zone::UTC);
        let _ = logger::read(text.as_bytes(), Zone::UTC);
    }

    #[test]
    fn whatever_a_person_sets_is_whole_or_refused(path in "[a-z.]{0,12}", value: String) {
        let (_dir, folder_path) = bell();
        let mut folder = Folder::open(&folder_path).unwrap();
        for path in [path.as_str(), "name", "pieces.bell.note", "pieces.bell.area"] {
            let before = fs::read_to_string(folder_path.join("project.ron")).unwrap();
            match folder.set(path, &value) {
                Ok(()) => {}
                Err(error) => {
                    prop_assert!(!error.message.contains(char::is_control));
                    let after = fs::read_to_string(folder_path.join("project.ron")).unwrap();
                    prop_assert_eq!(before, after);
                }
            }
            let again = Folder::open(&folder_path).unwrap();
            prop_assert_eq!(again.project(), folder.project());
        }
        folder.set("pieces.bell.note", "words").unwrap();
    }
}
