//! Every length to which a small journal or definition can be cut, and every
//! bit of them that can flip: never a panic, never an event that was not.

use std::path::{Path, PathBuf};

use crate::support::disk::{FakeDisk, Image};
use tankside::project::{Action, Event, Stage, What};
use tankside::store::{Folder, check_on, salvage_on};
use tankside::units::Instant;

const BELL: &str = r#"(format: 1, name: "Bell", metal: "copper-acid",
  target: Mean("40um"), // mean
  pieces: [(name: "bell", area: "6.84dm2")])
"#;

fn bell() -> &'static Path {
    Path::new("/bell")
}

fn file(name: &str) -> PathBuf {
    bell().join(name)
}

/// A small project with a dozen events.
fn small() -> (Image, Vec<Event>) {
    let disk = FakeDisk::default();
    let begun: Instant = "2026-03-01T19:00:00Z".parse().unwrap();
    let mut folder = Folder::create_on(disk.shared(), bell(), BELL, begun).unwrap();
    let piece = || "bell".to_owned();
    let start = What::Start {
        piece: piece(),
        stage: Stage::Coat,
        tank: None,
    };
    let coats = (0..5).map(|_| What::Coat { piece: piece() });
    let notes = (0..5).map(|n| What::Note {
        piece: piece(),
        text: n.to_string(),
    });
    let acts = [start].into_iter().chain(coats).chain(notes);
    for (minute, what) in acts.chain([What::Undo { sequence: 0 }]).enumerate() {
        let action = Action {
            override_reason: Some("dry".to_owned()),
            ..Action::now(what, "A")
        };
        let now = begun.plus_seconds(minute as f64 * 60.0);
        folder.record(&action, now, None).unwrap();
    }
    (disk.image(), folder.project().events().to_vec())
}

fn with(image: &Image, name: &str, bytes: Vec<u8>) -> FakeDisk {
    let mut image = image.clone();
    image.insert(file(name), Some(bytes));
    FakeDisk::holding(&image)
}

/// Every text that is cut short, and every one with a flipped bit.
fn damaged(bytes: &[u8]) -> impl Iterator<Item = Vec<u8>> {
    let cut = (0..bytes.len()).map(|length| bytes[..length].to_vec());
    let flipped = (0..bytes.len() * 8).map(|bit| {
        let mut bytes = bytes.to_vec();
        bytes[bit / 8] ^= 1 << (bit % 8);
        bytes
    });
    cut.chain(flipped)
}

#[test]
fn no_cut_and_no_flipped_bit_of_a_journal_invents_an_event() {
    let (image, events) = small();
    assert_eq!(events.len(), 12);
    let journal = image[&file("journal.ron")].clone().unwrap();
    let (mut opened, mut refused) = (0, 0);
    for (number, bytes) in damaged(&journal).enumerate() {
        let disk = with(&image, "journal.ron", bytes.clone());
        // Every third will do for a check: every byte and every bit has its turn.
        let report = (number % 3 == 0).then(|| check_on(&disk, bell()));
        match Folder::open_on(disk.shared(), bell()) {
            Ok(folder) => {
                opened += 1;
                let found = folder.project().events();
                assert!(events.starts_with(&found.to_vec()));
                assert!(report.is_none_or(|report| report.events == found.len()));
                // Only a line that was cut short may be missing without damage.
                let whole_lines = bytes.split(|b| *b == b'\n').count() - 1;
                assert!(found.len() + 1 >= whole_lines);
                let is_cut = bytes.len() < journal.len();
                assert!(is_cut || found.len() == events.len());
            }
            Err(error) => {
                refused += 1;
                assert_eq!(error.kind(), "journal", "{error:?}");
                assert_eq!(error.file.as_deref(), Some(file("journal.ron").as_path()));
                let line = error.line.unwrap();
                assert!((1..=events.len() + 1).contains(&line), "{error:?}");
                assert!(!error.remedy.is_empty());
                if let Some(report) = report {
                    assert!(report.events < events.len());
                    let told = report.problems.iter().any(|p| p.line == Some(line));
                    assert!(told, "{error:?}: {:?}", report.problems);
                    assert!(report.rescue.is_some());
                }
            }
        }
    }
    assert_eq!(opened + refused, journal.len() * 9);
    assert!(
        refused > journal.len() * 7,
        "{refused} refused, {opened} opened"
    );
}

#[test]
fn what_is_saved_of_a_journal_with_a_flipped_bit_is_what_was_written() {
    let (image, events) = small();
    let journal = image[&file("journal.ron")].clone().unwrap();
    let to = Path::new("/saved");
    for bit in (0..journal.len() * 8).step_by(37) {
        let mut bytes = journal.clone();
        bytes[bit / 8] ^= 1 << (bit % 8);
        let disk = with(&image, "journal.ron", bytes);
        let done = salvage_on(&disk, bell(), to).unwrap().events;
        let found = Folder::open_on(disk.shared(), to).unwrap();
        let found = found.project().events();
        assert!(events.starts_with(&found.to_vec()), "bit {bit}");
        assert_eq!(found.len(), done.saved);
        // One line is damaged, or two: where a line break is gone, or the sum by
        // which the next one is known.
        assert!(
            done.saved + done.loose + 2 >= events.len(),
            "bit {bit}: {done:?}"
        );
        let counted = done.saved + done.loose + done.doubtful + done.lost;
        // A last line without its line break counts as torn.
        let torn = usize::from(bit >= (journal.len() - 1) * 8);
        assert!(counted + torn >= events.len(), "bit {bit}: {done:?}");
    }
}

#[test]
fn no_cut_and_no_flipped_bit_of_a_definition_panics_or_changes_what_happened() {
    let (image, events) = small();
    let mut refused = 0;
    for bytes in damaged(BELL.as_bytes()) {
        let disk = with(&image, "project.ron", bytes.clone());
        let report = check_on(&disk, bell());
        match Folder::open_on(disk.shared(), bell()) {
            Ok(folder) => assert_eq!(folder.project().events().to_vec(), events),
            Err(error) => {
                refused += 1;
                assert_eq!(error.file.as_deref(), Some(file("project.ron").as_path()));
                assert!(error.line.is_some(), "{error:?}: {bytes:?}");
                assert!(!error.message.is_empty());
                assert!(!error.message.contains(char::is_control));
                assert!(!report.problems.is_empty());
            }
        }
        assert_eq!(disk.image()[&file("project.ron")], Some(bytes));
    }
    assert!(refused > BELL.len() * 3, "{refused} refused");
}
