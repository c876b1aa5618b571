//! A project of every format that there ever was loads forever, and tells what
//! it told when it was written. `tests/data/format-N` holds one with every kind
//! of event and every field; `summary.txt` beside it is what it says.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use tankside::project::{FORMAT, PieceFigures, Project};
use tankside::store::{Folder, check};
use tankside::units::{AH, Current, DM2, UM, Voltage};

fn data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data")
}

fn formats() -> Vec<PathBuf> {
    let mut folders: Vec<PathBuf> = fs::read_dir(data())
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.is_dir())
        .collect();
    folders.sort();
    folders
}

/// A copy that may be changed.
fn copied(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let to = to.join(entry.file_name());
        if entry.path().is_dir() {
            copied(&entry.path(), &to);
        } else {
            fs::copy(entry.path(), &to).unwrap();
        }
    }
}

/// What a project says, in words that no later format changes: its definition,
/// every event, and the figures at its end.
fn summary(project: &Project) -> String {
    let definition = &project.definition;
    let mut out = format!(
        "{}; {}; {}; {:.1} um mean\n",
        definition.name,
        definition.object,
        definition.metal,
        definition.target.mean().to(UM)
    );
    for tank in &definition.tanks {
        let area = tank.anode_area().map(|area| area.to(DM2));
        let _ = writeln!(
            out,
            "tank {}: {:?}, anodes {area:?} dm2, supply {:?} {:?}, dose every {:?}",
            tank.name,
            tank.bath.stirring,
            tank.supply.limit_amps.map(Current::si),
            tank.supply.limit_volts.map(Voltage::si),
            tank.bath.dose_every.map(|charge| charge.to(AH)),
        );
    }
    let route: Vec<String> = definition.route.iter().map(ToString::to_string).collect();
    let gates: Vec<&str> = definition.gates.iter().map(|g| g.gate.as_str()).collect();
    let _ = writeln!(out, "route {}; gates {}", route.join(" "), gates.join(" "));
    let _ = writeln!(
        out,
        "hold {} s, drying {} s, looks {} s, ladders {} and {}, {:?}",
        definition.hold.time.si(),
        definition.drying.si(),
        definition.looks.strike.si(),
        definition.ladders.strike.len(),
        definition.ladders.build.len(),
        definition.unattended
    );
    for event in project.events().iter() {
        let _ = write!(
            out,
            "#{} {} {} {}: {}",
            event.sequence, event.at, event.recorded, event.who, event.what
        );
        if let Some(reason) = &event.reason {
            let _ = write!(out, " ({reason}: {})", event.overridden.join(" "));
        }
        out.push('\n');
    }
    let end = project.events().last().unwrap().recorded;
    let state = project.state_at(end);
    for piece in &definition.pieces {
        let figures = PieceFigures::of(definition, &state, &piece.name, end).unwrap();
        let _ = writeln!(
            out,
            "{}: {:?}, {:.3} dm2, {:.4} Ah measured, {:.4} Ah estimated, of {:.3} Ah",
            piece.name,
            state.piece(&piece.name).and_then(|p| p.stage.clone()),
            piece.conductor_area().unwrap().to(DM2),
            figures.charges.measured.to(AH),
            figures.charges.estimated.to(AH),
            definition.charge_target(piece).unwrap().to(AH),
        );
    }
    out
}

#[test]
fn there_is_a_project_of_every_format() {
    for format in 1..=FORMAT {
        let folder = data().join(format!("format-{format}"));
        for file in ["project.ron", "journal.ron", "summary.txt"] {
            assert!(
                folder.join(file).exists(),
                "{} is missing: DEVELOPERS.md tells how to lay it down",
                folder.join(file).display()
            );
        }
    }
}

#[test]
fn projects_of_every_format_say_what_they_said() {
    for folder in formats() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("bell");
        copied(&folder, &path);
        assert_eq!(check(&path).problems, [], "{}", folder.display());
        let opened = Folder::open(&path).unwrap();
        assert!(opened.notices().is_empty(), "{:?}", opened.notices());
        let said = summary(opened.project());
        let file = folder.join("summary.txt");
        if std::env::var_os("TANKSIDE_WRITE_SUMMARY").is_some() && !file.exists() {
            fs::write(&file, &said).unwrap();
        }
        assert_eq!(
            said,
            fs::read_to_string(&file).unwrap(),
            "{}",
            file.display()
        );
    }
}

#[test]
fn the_project_of_the_present_format_holds_every_kind_of_event() {
    let journal = data().join(format!("format-{FORMAT}/journal.ron"));
    let journal = fs::read_to_string(journal).unwrap();
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/project/event.rs");
    let source = fs::read_to_string(source).unwrap();
    let (_, kinds) = source.split_once("pub enum What {").unwrap();
    let (kinds, _) = kinds.split_once("\n}").unwrap();
    let kinds: Vec<&str> = kinds
        .lines()
        .filter_map(|line| line.strip_prefix("    ")?.strip_suffix(" {"))
        .collect();
    assert!(kinds.len() >= 27, "{kinds:?}");
    for kind in kinds {
        assert!(journal.contains(&format!("what:{kind}(")), "no {kind}");
    }
}

#[test]
fn other_systems_line_breaks_marks_and_torn_tails_change_nothing() {
    type Change = fn(&[u8]) -> Vec<u8>;
    let changes: [(&str, &[&str], Change); 3] = [
        ("CRLF", &["project.ron", "journal.ron"], |bytes| {
            let text = String::from_utf8(bytes.to_vec()).unwrap();
            text.replace('\n', "\r\n").into_bytes()
        }),
        (
            "byte order mark",
            &["project.ron", "journal.ron"],
            |bytes| [b"\xef\xbb\xbf", bytes].concat(),
        ),
        ("torn tail", &["journal.ron"], |bytes| {
            [bytes, b"(sequence:63,at:\"2026-03"].concat()
        }),
    ];
    for folder in formats() {
        for (word, files, change) in &changes {
            let dir = tempfile::tempdir().unwrap();
            let path = dir.path().join("bell");
            copied(&folder, &path);
            for file in *files {
                let file = path.join(file);
                let changed = change(&fs::read(&file).unwrap());
                fs::write(&file, changed).unwrap();
            }
            let opened = Folder::open(&path).unwrap();
            let said = fs::read_to_string(folder.join("summary.txt")).unwrap();
            assert_eq!(summary(opened.project()), said, "{word}");
            assert_eq!(check(&path).problems, [], "{word}");
        }
    }
}
