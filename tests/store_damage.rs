//! Every kind of damage is found and named, and what is whole is saved.

use std::path::{Path, PathBuf};

use crate::support::disk::{FakeDisk, Image};
use tankside::project::{Action, Event, What};
use tankside::store::{Folder, Problem, Rescue, check_on, read_journal, salvage_on, sha256_hex};
use tankside::units::Instant;

const MESH: &[u8] = b"solid bell endsolid bell";
const ROWS: &[u8] = b"2026-03-01T19:10:00Z,0.3,0.62,22\n2026-03-01T19:11:00Z,0.3,0.63,22\n";

fn bell() -> &'static Path {
    Path::new("/shop/bell")
}

fn saved() -> &'static Path {
    Path::new("/shop/bell-saved")
}

fn file(name: &str) -> PathBuf {
    bell().join(name)
}

fn definition() -> String {
    format!(
        r#"(
    format: 1,
    name: "Table bell", // cast in one
    metal: "copper-acid",
    target: Mean("40um"),
    pieces: [
        (name: "bell", area: "6.84dm2", mesh: (file: "meshes/bell.stl", sha256: "{}")),
    ],
)
"#,
        sha256_hex(MESH)
    )
}

/// Five notes, a logger's file and two notes more: lines 2 to 9.
fn sound() -> (Image, Vec<Event>) {
    let card = PathBuf::from("/shop/card.csv");
    let disk = FakeDisk::holding(&Image::from([
        (PathBuf::from("/shop"), None),
        (card.clone(), Some(ROWS.to_vec())),
    ]));
    let begun: Instant = "2026-03-01T20:00:00Z".parse().unwrap();
    let mesh: [(&Path, &[u8]); 1] = [(Path::new("bell.stl"), MESH)];
    let mut folder = Folder::lay_out_on(disk.shared(), bell(), &definition(), &[], &mesh).unwrap();
    for minute in 0..8 {
        let what = if minute == 5 {
            let taken = folder.take_logger(&card).unwrap();
            What::Logger {
                tank: "main".to_owned(),
                file: taken.file,
                sha256: taken.sha256,
            }
        } else {
            What::Note {
                piece: "bell".to_owned(),
                text: format!("note {minute}"),
            }
        };
        let now = begun.plus_seconds(f64::from(minute) * 60.0);
        folder.record(&Action::now(what, "Ada"), now, None).unwrap();
    }
    (disk.image(), folder.project().events().to_vec())
}

fn lines(image: &Image) -> Vec<String> {
    let bytes = image[&file("journal.ron")].clone().unwrap();
    let text = String::from_utf8(bytes).unwrap();
    text.lines().map(str::to_owned).collect()
}

fn put(image: &mut Image, name: &str, bytes: impl Into<Vec<u8>>) {
    image.insert(file(name), Some(bytes.into()));
}

/// Changes the lines of the journal.
fn journal(image: &mut Image, change: impl FnOnce(&mut Vec<String>)) {
    let mut lines = lines(image);
    change(&mut lines);
    put(image, "journal.ron", lines.join("\n") + "\n");
}

fn definition_with(image: &mut Image, from: &str, to: &str) {
    let text = definition();
    assert!(text.contains(from));
    put(image, "project.ron", text.replace(from, to));
}

/// A line of the journal of another project, where it is as good as any.
fn foreign() -> String {
    let disk = FakeDisk::default();
    let begun = "2026-04-01T20:00:00Z".parse().unwrap();
    let mut folder = Folder::create_on(disk.shared(), bell(), &definition(), begun).unwrap();
    for n in 0..3 {
        let what = What::Note {
            piece: "bell".to_owned(),
            text: format!("foreign {n}"),
        };
        folder
            .record(&Action::now(what, "Eve"), begun, None)
            .unwrap();
    }
    lines(&disk.image())[3].clone()
}

struct Case {
    word: &'static str,
    damage: fn(&mut Image),
    kind: &'static str,
    file: &'static str,
    line: Option<usize>,
    /// What can be saved of the journal, if that is damaged.
    rescue: Option<[usize; 4]>,
}

const CASES: &[Case] = &[
    Case {
        word: "missing journal",
        damage: |image| drop(image.remove(&file("journal.ron"))),
        kind: "journal",
        file: "journal.ron",
        line: None,
        rescue: None,
    },
    Case {
        word: "empty journal",
        damage: |image| put(image, "journal.ron", ""),
        kind: "journal",
        file: "journal.ron",
        line: None,
        rescue: None,
    },
    Case {
        word: "torn tail",
        damage: |image| {
            let whole = image[&file("journal.ron")].clone().unwrap();
            put(
                image,
                "journal.ron",
                [&whole, &b"(sequence:9,at"[..]].concat(),
            );
        },
        kind: "journal",
        file: "journal.ron",
        line: Some(10),
        rescue: None,
    },
    Case {
        word: "blank tail",
        damage: |image| {
            let whole = image[&file("journal.ron")].clone().unwrap();
            put(image, "journal.ron", [&whole, &[0; 300][..]].concat());
        },
        kind: "journal",
        file: "journal.ron",
        line: Some(10),
        rescue: None,
    },
    Case {
        word: "last line break changed",
        damage: |image| {
            let mut bytes = image[&file("journal.ron")].clone().unwrap();
            bytes.pop();
            put(image, "journal.ron", [&bytes, &b"J"[..]].concat());
        },
        kind: "journal",
        file: "journal.ron",
        line: Some(9),
        rescue: Some([7, 0, 0, 1]),
    },
    Case {
        word: "every line break changed",
        damage: |image| {
            let text = lines(image).join("\r") + "\r";
            put(image, "journal.ron", text);
        },
        kind: "journal",
        file: "journal.ron",
        line: Some(1),
        rescue: Some([8, 0, 0, 0]),
    },
    Case {
        word: "changed line",
        damage: |image| {
            journal(image, |lines| {
                lines[3] = lines[3].replace("note 2", "note 7");
            });
        },
        kind: "journal",
        file: "journal.ron",
        line: Some(4),
        rescue: Some([2, 5, 1, 0]),
    },
    Case {
        word: "line removed",
        damage: |image| journal(image, |lines| drop(lines.remove(3))),
        kind: "journal",
        file: "journal.ron",
        line: Some(4),
        rescue: Some([2, 4, 1, 1]),
    },
    Case {
        word: "lines swapped",
        damage: |image| journal(image, |lines| lines.swap(3, 4)),
        kind: "journal",
        file: "journal.ron",
        line: Some(4),
        rescue: Some([8, 0, 0, 0]),
    },
    Case {
        word: "foreign line",
        damage: |image| journal(image, |lines| lines.insert(3, foreign())),
        kind: "journal",
        file: "journal.ron",
        line: Some(4),
        rescue: Some([8, 0, 1, 0]),
    },
    Case {
        word: "damaged first line",
        damage: |image| journal(image, |lines| lines[0] = lines[0].replace("1970", "1971")),
        kind: "journal",
        file: "journal.ron",
        line: Some(1),
        rescue: Some([8, 0, 0, 0]),
    },
    Case {
        word: "bytes that are no text in the journal",
        damage: |image| {
            let mut bytes = image[&file("journal.ron")].clone().unwrap();
            let at = bytes.windows(6).position(|w| w == b"note 2").unwrap();
            bytes[at] = 0xff;
            put(image, "journal.ron", bytes);
        },
        kind: "journal",
        file: "journal.ron",
        line: Some(4),
        rescue: Some([2, 5, 0, 1]),
    },
    Case {
        word: "bytes that are no text in the definition",
        damage: |image| {
            let bytes = definition().into_bytes();
            let at = bytes.windows(6).position(|w| w == b"copper").unwrap();
            put(
                image,
                "project.ron",
                [&bytes[..at], b"\xff", &bytes[at..]].concat(),
            );
        },
        kind: "definition",
        file: "project.ron",
        line: Some(4),
        rescue: None,
    },
    Case {
        word: "unreadable definition",
        damage: |image| definition_with(image, "metal:", "mettle:"),
        kind: "definition",
        file: "project.ron",
        line: Some(4),
        rescue: None,
    },
    Case {
        word: "definition of a later format",
        damage: |image| definition_with(image, "format: 1", "format: 99"),
        kind: "definition",
        file: "project.ron",
        line: Some(2),
        rescue: None,
    },
    Case {
        word: "an event names a piece that is gone",
        damage: |image| definition_with(image, "name: \"bell\"", "name: \"gong\""),
        kind: "contradiction",
        file: "project.ron",
        line: Some(6),
        rescue: None,
    },
    Case {
        word: "mesh missing",
        damage: |image| drop(image.remove(&file("meshes/bell.stl"))),
        kind: "io",
        file: "meshes/bell.stl",
        line: None,
        rescue: None,
    },
    Case {
        word: "mesh changed",
        damage: |image| put(image, "meshes/bell.stl", "solid gong"),
        kind: "io",
        file: "meshes/bell.stl",
        line: None,
        rescue: None,
    },
    Case {
        word: "logger file missing",
        damage: |image| drop(image.remove(&file("immersions/001.csv"))),
        kind: "io",
        file: "immersions/001.csv",
        line: None,
        rescue: None,
    },
    Case {
        word: "logger file changed",
        damage: |image| {
            put(
                image,
                "immersions/001.csv",
                "2026-03-01T19:10:00Z,0.3,6.2\n",
            );
        },
        kind: "logger",
        file: "immersions/001.csv",
        line: None,
        rescue: None,
    },
    Case {
        word: "leftover of a write",
        damage: |image| put(image, ".project.ron.tmp", "(format: 1,"),
        kind: "io",
        file: ".project.ron.tmp",
        line: None,
        rescue: None,
    },
];

fn assert_told(word: &str, problem: &Problem, kind: &str, name: &str, line: Option<usize>) {
    assert_eq!(problem.kind, kind, "{word}: {problem:?}");
    assert_eq!(problem.file, file(name), "{word}: {problem:?}");
    assert_eq!(problem.line, line, "{word}: {problem:?}");
    assert!(
        !problem.what.is_empty() && !problem.remedy.is_empty(),
        "{word}: {problem:?}"
    );
}

#[test]
fn a_sound_project_has_neither_problems_nor_notes() {
    let (image, events) = sound();
    let report = check_on(&FakeDisk::holding(&image), bell());
    assert_eq!(report.events, events.len());
    assert_eq!((report.problems, report.notes), (vec![], vec![]));
    assert_eq!(report.rescue, None);
}

#[test]
fn each_kind_of_damage_is_named_with_file_line_and_remedy() {
    let (sound, _) = sound();
    for case in CASES {
        let mut image = sound.clone();
        (case.damage)(&mut image);
        let disk = FakeDisk::holding(&image);
        let report = check_on(&disk, bell());
        let first = report.problems.first();
        assert_told(
            case.word,
            first.expect(case.word),
            case.kind,
            case.file,
            case.line,
        );
        let rescue = case.rescue.map(|[saved, loose, doubtful, lost]| Rescue {
            saved,
            loose,
            doubtful,
            lost,
        });
        assert_eq!(report.rescue, rescue, "{}", case.word);
        assert_eq!(
            disk.image(),
            image,
            "{}: a check changes nothing",
            case.word
        );
    }
}

#[test]
fn whatever_is_damaged_what_is_whole_is_saved_and_the_folder_stays_as_it_is() {
    let (sound, events) = sound();
    for case in CASES {
        let mut image = sound.clone();
        (case.damage)(&mut image);
        let disk = FakeDisk::holding(&image);
        let done = salvage_on(&disk, bell(), saved()).expect(case.word);
        let all = disk.image();
        let (new, old): (Image, Image) = all
            .into_iter()
            .partition(|(name, _)| name.starts_with(saved()));
        assert_eq!(old, image, "{}: the damaged folder is as it was", case.word);
        let text = new[&saved().join("journal.ron")].clone().unwrap();
        let kept = read_journal(&String::from_utf8(text).unwrap()).expect(case.word);
        assert!(events.starts_with(&kept), "{}", case.word);
        assert_eq!(kept.len(), done.events.saved, "{}", case.word);
        if let Some([saved, ..]) = case.rescue {
            assert_eq!(kept.len(), saved, "{}", case.word);
            let report = check_on(&disk, self::saved());
            let is_of_logger = |p: &&Problem| p.kind != "logger" && p.kind != "io";
            assert_eq!(
                report.problems.iter().find(is_of_logger),
                None,
                "{}",
                case.word
            );
        }
        for name in ["meshes/bell.stl", "immersions/001.csv", "project.ron"] {
            let copy = new.get(&saved().join(name));
            assert_eq!(copy, image.get(&file(name)), "{}: {name}", case.word);
        }
    }
}

#[test]
fn what_cannot_be_put_back_becomes_a_script_that_records_it_again() {
    let (mut image, _) = sound();
    journal(&mut image, |lines| {
        lines[2] = lines[2].replace("note 1", "note 9");
        lines[4] = "what\u{1b}[2J is this".to_owned();
        lines.push("(sequence:9,at:\"20".to_owned());
    });
    let mut bytes = image[&file("journal.ron")].clone().unwrap();
    bytes.pop();
    put(&mut image, "journal.ron", bytes);
    let disk = FakeDisk::holding(&image);
    let done = salvage_on(&disk, bell(), saved()).unwrap();
    let loose = done.loose.unwrap();
    assert_eq!(loose, saved().join("journal.loose.sh"));
    let text = disk.image()[&loose].clone().unwrap();
    let text = String::from_utf8(text).unwrap();
    let note = |at: u32, n: u32| {
        format!("tankside record . bell note --at=2026-03-01T20:0{at}:00Z --who=Ada 'note {n}'\n")
    };
    for told in [
        "# holds 1 events.".to_owned(),
        format!("\n# line 4: #3 note on bell: note 2\n{}", note(2, 2)),
        format!(
            "is true:\n# line 3: #2 note on bell: note 9 (recorded 2026-03-01T20:01:00Z by Ada)\n# {}",
            note(1, 9)
        ),
        "do not read:\n# line 5: what\\u{1b}[2J is this\n".to_owned(),
        "never acknowledged:\n# line 10: (sequence:9,at:\"20\n".to_owned(),
        "numbers:\n# #4\n".to_owned(),
    ] {
        assert!(text.contains(&told), "{told}\n{text}");
    }
    let Rescue { saved, lost, .. } = done.events;
    assert_eq!((saved, lost), (1, 1));
}

#[test]
fn nothing_is_saved_over_what_is_there_or_into_the_damaged_folder() {
    let (image, _) = sound();
    let disk = FakeDisk::holding(&image);
    for to in [
        bell(),
        Path::new("/shop"),
        &file("saved"),
        &file("meshes/saved"),
    ] {
        let error = salvage_on(&disk, bell(), to).unwrap_err();
        assert_eq!(error.kind(), "exists", "{}", to.display());
        assert_eq!(disk.image(), image, "{}", to.display());
    }
    let error = salvage_on(&disk, Path::new("/shop/gong"), saved()).unwrap_err();
    assert_eq!(error.kind(), "not_found");
}

#[test]
fn what_is_no_damage_is_noted_beside_it() {
    let (mut image, _) = sound();
    put(&mut image, "journal.torn-1.ron", "(sequence");
    put(&mut image, "project.edited.ron", "(format");
    put(&mut image, "immersions/002.csv", ROWS);
    let disk = FakeDisk::holding(&image);
    disk.make_read_only(bell());
    let report = check_on(&disk, bell());
    assert_eq!(report.problems, []);
    let notes: Vec<_> = report
        .notes
        .iter()
        .map(|n| (n.kind, n.file.clone()))
        .collect();
    let wanted = [
        ("journal", file("journal.torn-1.ron")),
        ("definition", file("project.edited.ron")),
        ("logger", file("immersions/002.csv")),
        ("io", bell().to_owned()),
        ("io", file("project.ron")),
        ("io", file("journal.ron")),
    ];
    assert_eq!(notes, wanted);
    assert!(report.notes.iter().all(|n| !n.remedy.is_empty()));
}

#[test]
fn what_may_not_be_read_is_told() {
    let (image, _) = sound();
    for name in [
        "project.ron",
        "journal.ron",
        "meshes/bell.stl",
        "immersions/001.csv",
    ] {
        let disk = FakeDisk::holding(&image);
        disk.close(&file(name));
        let report = check_on(&disk, bell());
        assert_told(name, &report.problems[0], "io", name, None);
        assert!(
            report.problems[0].remedy.contains("permissions"),
            "{:?}",
            report.problems
        );
    }
}
