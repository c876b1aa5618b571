//! A project's files: what is written comes back, what is damaged is told.

use std::fs::{self, File, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::time;

use tankside::project::{Action, Event, Mask, MaskEdit, Stage, What};
use tankside::store::{Folder, RecordError, StoreError, check, sha256_hex};
use tankside::units::Instant;

const LAMP: &str = r#"(
    format: 1,
    name: "Fern lamp", // seven pieces
    metal: "copper-acid",
    target: Mean("40um"),
    zone: "Europe/Berlin",
    pieces: [
        // from the ground up
        (name: "base", area: "6.84dm2"),
        (
            name: "stem",
            area: "3.1dm2", // by the slicer
            wires: [(diameter: "1.2mm", length: "30mm")],
        ),
    ],
)
"#;

fn at(text: &str) -> Instant {
    text.parse().unwrap()
}

fn evening() -> Instant {
    at("2026-03-01T19:00:00Z")
}

/// A fresh project in a folder of its own.
fn lamp() -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("lamp");
    Folder::create(&path, LAMP, evening()).unwrap();
    (dir, path)
}

fn note(piece: &str, text: &str) -> Action {
    let what = What::Note {
        piece: piece.to_owned(),
        text: text.to_owned(),
    };
    Action::now(what, "Ada")
}

/// The first stage begun, its gates passed on purpose.
fn start_coat(piece: &str) -> Action {
    let what = What::Start {
        piece: piece.to_owned(),
        stage: Stage::Coat,
        tank: None,
    };
    Action {
        override_reason: Some("primed last week".to_owned()),
        ..Action::now(what, "Ada")
    }
}

fn record(folder: &mut Folder, action: &Action) -> Event {
    folder.record(action, evening(), None).unwrap().event
}

/// A project with this many notes.
fn lamp_with_notes(count: usize) -> (tempfile::TempDir, PathBuf) {
    let (dir, path) = lamp();
    let mut folder = Folder::open(&path).unwrap();
    for n in 0..count {
        record(&mut folder, &note("base", &format!("note {n}")));
    }
    (dir, path)
}

fn journal(path: &Path) -> Vec<u8> {
    fs::read(path.join("journal.ron")).unwrap()
}

fn refused(path: &Path) -> StoreError {
    let error = Folder::open(path).unwrap_err();
    assert!(!error.remedy.is_empty(), "{error:?}");
    error
}

#[test]
fn what_is_recorded_comes_back() {
    let (_dir, path) = lamp();
    let mut folder = Folder::open(&path).unwrap();
    let decision = folder.record(&start_coat("base"), evening(), None).unwrap();
    assert!(!decision.event.overridden.is_empty());
    assert_eq!(decision.event.sequence, 1);
    assert_eq!(decision.event.recorded, evening());
    let later = Action {
        at: Some(evening().plus_seconds(0.123)),
        ..note("stem", "a scratch")
    };
    let now = at("2026-03-01T20:00:00Z");
    let second = folder.record(&later, evening(), Some(now)).unwrap().event;
    assert_eq!((second.recorded, second.sequence), (now, 2));
    let again = Folder::open(&path).unwrap();
    assert_eq!(again.project(), folder.project());
    assert_eq!(again.notices(), [""; 0]);
    let report = check(&path);
    assert_eq!((report.events, report.problems), (2, vec![]));
}

#[test]
fn a_refusal_changes_nothing() {
    let (_dir, path) = lamp_with_notes(1);
    let before = journal(&path);
    let mut folder = Folder::open(&path).unwrap();
    let lift = What::Lift {
        piece: "base".to_owned(),
    };
    let refusal = folder.record(&Action::now(lift, "Ada"), evening(), None);
    assert!(
        matches!(refusal, Err(RecordError::Refused(_))),
        "{refusal:?}"
    );
    assert_eq!(journal(&path), before);
    assert_eq!(record(&mut folder, &note("base", "x")).sequence, 2);
}

#[test]
fn a_clock_that_was_set_back_does_not_go_before_what_happened() {
    let (_dir, path) = lamp_with_notes(1);
    let mut folder = Folder::open(&path).unwrap();
    let back = evening().plus_seconds(-3600.0);
    let event = folder.record(&note("base", "x"), back, None).unwrap().event;
    assert_eq!(event.at, evening());
}

#[test]
fn two_programs_take_turns() {
    let (_dir, path) = lamp();
    let mut one = Folder::open(&path).unwrap();
    let mut two = Folder::open(&path).unwrap();
    for n in 0..10 {
        assert_eq!(record(&mut one, &note("base", "one")).sequence, 2 * n + 1);
        assert_eq!(record(&mut two, &note("stem", "two")).sequence, 2 * n + 2);
    }
    assert!(one.follow().unwrap());
    assert!(!one.follow().unwrap());
    assert_eq!(one.project(), two.project());
    assert_eq!(Folder::open(&path).unwrap().project(), two.project());
}

#[test]
fn many_threads_leave_one_chain() {
    let (_dir, path) = lamp();
    std::thread::scope(|scope| {
        for _ in 0..4 {
            scope.spawn(|| {
                let mut folder = Folder::open(&path).unwrap();
                for _ in 0..25 {
                    record(&mut folder, &note("base", "x"));
                }
            });
        }
    });
    let folder = Folder::open(&path).unwrap();
    let sequences: Vec<u64> = folder
        .project()
        .events()
        .iter()
        .map(|e| e.sequence)
        .collect();
    assert_eq!(sequences, (1..=100).collect::<Vec<u64>>());
}

#[test]
fn a_torn_last_line_is_set_aside_at_whichever_byte() {
    let (_dir, path) = lamp_with_notes(2);
    let whole = journal(&path);
    let start = 1 + whole[..whole.len() - 1]
        .iter()
        .rposition(|b| *b == b'\n')
        .unwrap();
    for cut in start + 1..whole.len() - 1 {
        fs::write(path.join("journal.ron"), &whole[..cut]).unwrap();
        let report = check(&path);
        assert_eq!(
            (report.events, report.problems.len()),
            (1, 1),
            "{cut}: {report:?}"
        );
        assert_eq!(report.problems[0].line, Some(3));
        let mut folder = Folder::open(&path).unwrap();
        assert_eq!(folder.project().events().len(), 1, "{cut}");
        assert!(folder.notices()[0].contains("set aside in journal.torn-1.ron"));
        assert_eq!(
            fs::read(path.join("journal.torn-1.ron")).unwrap(),
            &whole[start..cut]
        );
        assert_eq!(journal(&path), &whole[..start]);
        assert_eq!(record(&mut folder, &note("base", "again")).sequence, 2);
        assert_eq!(check(&path).problems, []);
        fs::remove_file(path.join("journal.torn-1.ron")).unwrap();
    }
}

#[test]
fn a_last_line_with_its_line_break_that_does_not_fit_is_damage() {
    let (_dir, path) = lamp_with_notes(2);
    let text = String::from_utf8(journal(&path)).unwrap();
    let spoilt = text.replace("note 1", "note 9");
    fs::write(path.join("journal.ron"), &spoilt).unwrap();
    let error = refused(&path);
    assert_eq!((error.kind(), error.line), ("journal", Some(3)));
    assert!(check(&path).problems[0].remedy.contains("backup"));
    assert_eq!(journal(&path), spoilt.as_bytes());
}

#[test]
fn an_empty_journal_is_told() {
    let (_dir, path) = lamp_with_notes(1);
    fs::write(path.join("journal.ron"), "").unwrap();
    let folder = Folder::open(&path).unwrap();
    assert!(folder.notices()[0].contains("journal.ron is empty"));
    assert_eq!(check(&path).problems.len(), 1);
}

#[test]
fn an_event_that_lacks_only_its_line_break_is_whole() {
    let (_dir, path) = lamp_with_notes(2);
    let whole = journal(&path);
    fs::write(path.join("journal.ron"), &whole[..whole.len() - 1]).unwrap();
    assert_eq!(check(&path).problems, []);
    let mut folder = Folder::open(&path).unwrap();
    let mut other = Folder::open(&path).unwrap();
    assert_eq!(record(&mut folder, &note("base", "x")).sequence, 3);
    assert!(other.follow().unwrap());
    assert_eq!(other.project(), folder.project());
    assert!(journal(&path).starts_with(&whole));
}

#[test]
fn a_torn_header_is_set_aside() {
    let (_dir, path) = lamp();
    fs::write(path.join("journal.ron"), "(format:1,beg").unwrap();
    let mut folder = Folder::open(&path).unwrap();
    record(&mut folder, &note("base", "x"));
    assert_eq!(Folder::open(&path).unwrap().project(), folder.project());
}

#[test]
fn torn_lines_are_kept_under_numbers() {
    let (_dir, path) = lamp();
    for n in 1..=3 {
        let mut file = OpenOptions::new()
            .append(true)
            .open(path.join("journal.ron"))
            .unwrap();
        write!(file, "(sequence:1,at {n}").unwrap();
        Folder::open(&path).unwrap();
        let kept = fs::read_to_string(path.join(format!("journal.torn-{n}.ron"))).unwrap();
        assert_eq!(kept, format!("(sequence:1,at {n}"));
    }
}

#[test]
fn a_line_that_tears_while_the_project_is_open_is_set_aside_by_the_next_writer() {
    let (_dir, path) = lamp_with_notes(1);
    let mut reader = Folder::open(&path).unwrap();
    let mut writer = Folder::open(&path).unwrap();
    let mut file = OpenOptions::new()
        .append(true)
        .open(path.join("journal.ron"))
        .unwrap();
    file.write_all(b"(sequence:2,at:\"20").unwrap();
    assert!(!reader.follow().unwrap());
    assert_eq!(record(&mut writer, &note("base", "x")).sequence, 2);
    assert!(writer.notices()[0].contains("set aside"));
    assert!(reader.follow().unwrap());
    assert_eq!(reader.project(), writer.project());
}

#[test]
fn a_flipped_byte_in_the_middle_is_told_with_its_line() {
    let (_dir, path) = lamp_with_notes(4);
    let whole = journal(&path);
    let mut line = 1;
    for (index, byte) in whole.iter().enumerate() {
        if *byte == b'\n' {
            line += 1;
            continue;
        }
        // Every byte of the third line; of the others a few.
        if line >= 5 || (line != 3 && index % 17 != 0) {
            continue;
        }
        let mut spoilt = whole.clone();
        spoilt[index] ^= 1;
        fs::write(path.join("journal.ron"), &spoilt).unwrap();
        let error = refused(&path);
        assert_eq!(
            (error.kind(), error.line),
            ("journal", Some(line)),
            "{index}: {error:?}"
        );
        let before = line.saturating_sub(2);
        assert!(
            error.message.contains(&format!("the {before} event")),
            "{error}"
        );
        let report = check(&path);
        assert_eq!(report.events, before);
        assert_eq!(report.problems[0].line, Some(line));
        assert_eq!(journal(&path), spoilt, "a refusal changes nothing");
    }
}

#[test]
fn a_line_of_another_number_is_told_though_its_sum_fits() {
    let (_dir, path) = lamp_with_notes(2);
    let text = String::from_utf8(journal(&path)).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let sum = |line: &str| line.rsplit('"').nth(1).unwrap().to_owned();
    let (body, _) = lines[2].rsplit_once(",sum:").unwrap();
    let body = body.replacen("sequence:2", "sequence:3", 1);
    let sealed = &sha256_hex(format!("{}{body}", sum(lines[1])).as_bytes())[..16];
    let other = format!("{}\n{}\n{body},sum:\"{sealed}\")\n", lines[0], lines[1]);
    fs::write(path.join("journal.ron"), other).unwrap();
    let error = refused(&path);
    assert_eq!(error.line, Some(3));
    assert!(error.message.contains("event 3 where event 2"), "{error}");
}

#[test]
fn nothing_is_recorded_behind_a_line_that_was_changed_meanwhile() {
    let (_dir, path) = lamp_with_notes(2);
    let mut folder = Folder::open(&path).unwrap();
    let text = String::from_utf8(journal(&path)).unwrap();
    let changed = text.replacen("sequence:2", "sequence:7", 1);
    fs::write(path.join("journal.ron"), &changed).unwrap();
    let recorded = folder.record(&note("base", "more"), evening(), None);
    assert!(matches!(recorded, Err(RecordError::Store(error)) if error.kind() == "journal"));
    assert_eq!(journal(&path), changed.as_bytes());
}

#[test]
fn check_tells_every_bad_line_once() {
    let (_dir, path) = lamp_with_notes(6);
    let text = String::from_utf8(journal(&path)).unwrap();
    let spoilt = text.replace("note 1", "note 9").replace("note 4", "note 8");
    fs::write(path.join("journal.ron"), spoilt).unwrap();
    let report = check(&path);
    let lines: Vec<_> = report.problems.iter().map(|p| p.line).collect();
    assert_eq!((report.events, lines), (1, vec![Some(3), Some(6)]));
}

#[test]
fn a_line_taken_out_put_in_or_moved_is_told() {
    let (_dir, path) = lamp_with_notes(4);
    let text = String::from_utf8(journal(&path)).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let orders = [
        vec![0, 1, 3, 4],
        vec![0, 1, 2, 2, 3, 4],
        vec![0, 1, 3, 2, 4],
        vec![1, 2, 3],
    ];
    for (order, line) in orders.iter().zip([3, 4, 3, 1]) {
        let moved: String = order.iter().flat_map(|i| [lines[*i], "\n"]).collect();
        fs::write(path.join("journal.ron"), moved).unwrap();
        assert_eq!(refused(&path).line, Some(line), "{order:?}");
    }
}

#[test]
fn line_breaks_of_another_system_are_read() {
    let (_dir, path) = lamp_with_notes(3);
    let text = String::from_utf8(journal(&path))
        .unwrap()
        .replace('\n', "\r\n");
    fs::write(path.join("journal.ron"), format!("\u{feff}{text}")).unwrap();
    let mut folder = Folder::open(&path).unwrap();
    assert_eq!(record(&mut folder, &note("base", "x")).sequence, 4);
    assert_eq!(Folder::open(&path).unwrap().project(), folder.project());
}

#[test]
fn a_journal_of_a_newer_format_is_left_alone() {
    // The sum of a line is the head of a SHA-256 over its text up to `,sum:`.
    let (_dir, path) = lamp();
    let body = "(format:2,begun:\"2026-03-01T19:00:00Z\",seal:true";
    let line = format!("{body},sum:\"{}\")\n", &sha256_hex(body.as_bytes())[..16]);
    fs::write(path.join("journal.ron"), line).unwrap();
    let error = refused(&path);
    assert!(error.message.contains("format 2"), "{error}");
    assert!(error.remedy.contains("newer program"), "{error:?}");
}

#[test]
fn a_held_lock_is_told_after_two_seconds() {
    let (_dir, path) = lamp();
    let mut folder = Folder::open(&path).unwrap();
    let holder = File::open(path.join("journal.ron")).unwrap();
    holder.lock().unwrap();
    #[allow(clippy::disallowed_methods, reason = "the wait itself is measured")]
    let now = time::Instant::now;
    let began = now();
    let held = folder.record(&note("base", "x"), evening(), None);
    let Err(RecordError::Store(error)) = held else {
        panic!("{held:?}");
    };
    assert_eq!(error.kind(), "locked");
    let waited = began.elapsed().as_secs_f64();
    assert!((2.0..4.0).contains(&waited), "{waited}");
    assert!(!folder.follow().unwrap(), "reading needs no lock");
    drop(holder);
    assert_eq!(record(&mut folder, &note("base", "x")).sequence, 1);
}

#[test]
fn control_characters_stay_inside_their_line() {
    let (_dir, path) = lamp();
    let mut folder = Folder::open(&path).unwrap();
    let text = "a\nb\r\0\u{1b}[2J\u{202e}\u{2066}\u{85}\u{2028}\"\\,sum:\"0123456789abcdef\")é\t";
    let action = Action {
        who: text.to_owned(),
        ..note("base", text)
    };
    let event = record(&mut folder, &action);
    let line = String::from_utf8(journal(&path)).unwrap();
    assert_eq!(line.lines().count(), 2);
    let raw = |c: char| (c.is_control() && c != '\n') || "\u{202e}\u{2066}\u{2028}".contains(c);
    assert!(!line.contains(raw), "{line:?}");
    let again = Folder::open(&path).unwrap();
    assert_eq!(again.project().events().to_vec(), [event]);
    assert_eq!(again.project().events()[0].who, text);
}

#[test]
fn nothing_from_files_reaches_a_message_raw() {
    let (_dir, path) = lamp();
    fs::write(
        path.join("project.ron"),
        LAMP.replace("metal:", "\u{1b}]0;x\u{7}:"),
    )
    .unwrap();
    let error = refused(&path);
    assert!(!error.message.contains(char::is_control), "{error:?}");
    let folder = path.join("x\u{1b}[2J");
    assert!(!refused(&folder).message.contains(char::is_control));
}

#[test]
fn what_is_no_project_is_told_each_in_its_way() {
    let dir = tempfile::tempdir().unwrap();
    let missing = refused(&dir.path().join("none"));
    assert_eq!(missing.kind(), "not_found");
    let report = check(&dir.path().join("none"));
    assert_eq!(
        (report.problems.len(), report.problems[0].kind),
        (1, "not_found")
    );
    let report = check(dir.path());
    assert_eq!(
        (report.problems.len(), report.problems[0].kind),
        (1, "not_a_project")
    );
    let empty = refused(dir.path());
    assert_eq!(empty.kind(), "not_a_project");
    assert!(empty.message.contains("no project.ron"), "{empty}");
    let file = dir.path().join("lamp.ron");
    fs::write(&file, LAMP).unwrap();
    let file = refused(&file);
    assert_eq!(file.kind(), "not_a_project");
    assert!(file.message.contains("is a file"), "{file}");
    fs::create_dir(dir.path().join("project.ron")).unwrap();
    assert_eq!(refused(dir.path()).kind(), "io");
    fs::remove_dir(dir.path().join("project.ron")).unwrap();
    fs::write(
        dir.path().join("project.ron"),
        b"(format: 1,\n name: \"\xff\")",
    )
    .unwrap();
    let bytes = refused(dir.path());
    assert_eq!((bytes.line, bytes.column), (Some(2), Some(9)), "{bytes:?}");
}

#[test]
fn a_project_is_not_begun_over_another() {
    let (_dir, path) = lamp_with_notes(1);
    let before = journal(&path);
    let again = || Folder::create(&path, LAMP, evening()).unwrap_err();
    assert_eq!(again().kind(), "exists");
    fs::remove_file(path.join("project.ron")).unwrap();
    assert_eq!(again().kind(), "exists");
    assert_eq!(journal(&path), before);
    assert!(!path.join("project.ron").exists());
    let wrong = path.with_file_name("other");
    let error = Folder::create(&wrong, "(format: 1)", evening()).unwrap_err();
    assert_eq!(error.kind(), "definition");
    assert!(!wrong.exists());
}

#[test]
fn a_hand_written_project_needs_no_journal() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("project.ron"), format!("\u{feff}{LAMP}")).unwrap();
    let mut folder = Folder::open(dir.path()).unwrap();
    assert!(folder.notices()[0].contains("journal.ron is missing"));
    assert_eq!(check(dir.path()).problems[0].kind, "journal");
    record(&mut folder, &note("base", "x"));
    assert!(folder.notices().is_empty());
    assert_eq!(
        Folder::open(dir.path()).unwrap().project(),
        folder.project()
    );
    assert_eq!(check(dir.path()).problems, []);
}

#[test]
fn what_is_written_before_the_first_record_begins_the_journal() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("project.ron"), LAMP).unwrap();
    let mut folder = Folder::open(dir.path()).unwrap();
    folder.set("object", "a lamp").unwrap();
    folder.follow().unwrap();
    assert_eq!(folder.notices(), [""; 0]);
    assert!(Folder::open(dir.path()).unwrap().notices().is_empty());
    assert_eq!(check(dir.path()).problems, []);
    assert_eq!(record(&mut folder, &note("base", "x")).sequence, 1);
    assert_eq!(check(dir.path()).problems, []);
}

#[test]
fn a_moved_folder_still_opens() {
    let (dir, path) = lamp_with_notes(2);
    let project = Folder::open(&path).unwrap().project().clone();
    let moved = dir.path().join("moved here");
    fs::rename(&path, &moved).unwrap();
    assert_eq!(Folder::open(&moved).unwrap().project(), &project);
}

#[test]
fn setting_keeps_comments_and_order() {
    let (_dir, path) = lamp_with_notes(1);
    let mut folder = Folder::open(&path).unwrap();
    let mut expected = LAMP.to_owned();
    for (key, value, from, to) in [
        ("pieces.stem.area", "3.4dm2", "\"3.1dm2\"", "\"3.4dm2\""),
        ("pieces.stem.name", "tall stem", "\"stem\"", "\"tall stem\""),
        (
            "target",
            "Minimum(\"20um\")",
            "Mean(\"40um\")",
            "Minimum(\"20um\")",
        ),
        ("name", "12", "\"Fern lamp\"", "\"12\""),
    ] {
        folder.set(key, value).unwrap();
        expected = expected.replace(from, to);
        assert_eq!(
            fs::read_to_string(path.join("project.ron")).unwrap(),
            expected
        );
    }
    assert_eq!(folder.project().definition.name, "12");
    assert_eq!(Folder::open(&path).unwrap().project(), folder.project());
    assert!(!path.join(".project.ron.tmp").exists());
}

#[test]
fn a_value_that_does_not_do_is_told_and_changes_nothing() {
    let (_dir, path) = lamp();
    let mut folder = Folder::open(&path).unwrap();
    for (key, value, kind, message) in [
        (
            "pieces.stem.area",
            "3.4",
            "definition",
            "the unit is missing",
        ),
        (
            "pieces.stem.area",
            "3.4kg",
            "definition",
            "`kg` is not one of its units",
        ),
        (
            "pieces.stem.roughness",
            "50",
            "definition",
            "a roughness of 50",
        ),
        ("target", "Mean(", "path", "`Mean(`"),
        ("pieces.step.area", "3dm2", "path", "nearest is stem"),
        ("metl", "copper-acid", "definition", "did you mean `metal`"),
        (
            "pieces.stem.name",
            "base",
            "definition",
            "two of the pieces",
        ),
    ] {
        let error = folder.set(key, value).unwrap_err();
        assert_eq!(error.kind(), kind, "{error:?}");
        assert!(error.message.contains(message), "{error:?}");
        assert!(
            !error.remedy.is_empty() || error.message.contains("write"),
            "{error:?}"
        );
        assert_eq!(fs::read_to_string(path.join("project.ron")).unwrap(), LAMP);
    }
}

#[test]
fn what_contradicts_the_journal_is_refused_and_changes_nothing() {
    let (_dir, path) = lamp_with_notes(1);
    let mut folder = Folder::open(&path).unwrap();
    let renamed = folder.set("pieces.base.name", "foot").unwrap_err();
    assert_eq!((renamed.kind(), renamed.line), ("contradiction", Some(7)));
    assert!(
        renamed.message.contains("event 1 (note on base: note 0)"),
        "{renamed}"
    );
    assert!(
        renamed.remedy.contains("put the piece `base` back"),
        "{renamed:?}"
    );
    assert_eq!(fs::read_to_string(path.join("project.ron")).unwrap(), LAMP);
    let edited = LAMP.replace("\"base\"", "\"foot\"");
    let draft = folder.begin_edit().unwrap();
    fs::write(draft.path(), &edited).unwrap();
    assert_eq!(folder.end_edit(&draft).unwrap_err().kind(), "contradiction");
    fs::remove_file(draft.path()).unwrap();
    fs::write(path.join("project.ron"), &edited).unwrap();
    assert_eq!(refused(&path).kind(), "contradiction");
    assert_eq!(check(&path).problems[0].kind, "contradiction");
}

#[test]
fn a_stage_that_was_begun_cannot_leave_the_route() {
    let (_dir, path) = lamp();
    let mut folder = Folder::open(&path).unwrap();
    record(&mut folder, &start_coat("base"));
    let error = folder.set("route", r#"["strike", "build"]"#).unwrap_err();
    assert_eq!(error.kind(), "contradiction");
    assert!(
        error.remedy.contains("put the stage `coat` back"),
        "{error:?}"
    );
}

#[test]
fn pieces_are_added_in_the_style_of_the_others() {
    let (_dir, path) = lamp();
    let mut folder = Folder::open(&path).unwrap();
    folder
        .add_piece(r#"(name: "frond-1", area: "1.2dm2")"#)
        .unwrap();
    assert!(folder.project().definition.piece("frond-1").is_some());
    let text = fs::read_to_string(path.join("project.ron")).unwrap();
    assert!(
        text.contains("        (name: \"frond-1\", area: \"1.2dm2\"),\n    ],"),
        "{text}"
    );
    let twice = folder.add_piece(r#"(name: "frond-1")"#).unwrap_err();
    assert!(twice.message.contains("two of the pieces"), "{twice}");
}

#[cfg(unix)]
/// Linux syncs neither `/dev/null` nor `/proc` and says so (fsync(2): EINVAL),
/// which shows that it was asked to.
#[cfg(target_os = "linux")]
#[test]
fn what_is_said_to_be_durable_was_synced() {
    use tankside::store::{Disk as _, RealDisk};
    let null = Path::new("/dev/null");
    let refused = |synced: std::io::Result<()>| {
        assert_eq!(synced.unwrap_err().kind(), std::io::ErrorKind::InvalidInput);
    };
    refused(RealDisk.write_synced(null, b"bell", false));
    refused(RealDisk.sync_dir(Path::new("/proc")));
    let mut lock = RealDisk.lock(null).unwrap();
    lock.append(b"bell").unwrap();
    refused(lock.sync());
}

#[cfg(unix)]
#[test]
fn nothing_is_written_through_a_link_that_lies_in_the_way() {
    let (dir, path) = lamp();
    let mine = dir.path().join("mine");
    fs::write(&mine, "mine").unwrap();
    for name in [".project.ron.tmp", ".sheet.md.tmp", "sheet.md"] {
        std::os::unix::fs::symlink(&mine, path.join(name)).unwrap();
    }
    let mut folder = Folder::open(&path).unwrap();
    folder.set("name", "Door bell").unwrap();
    folder.write_file("sheet.md", "a sheet").unwrap();
    assert_eq!(fs::read_to_string(&mine).unwrap(), "mine");
    assert_eq!(
        fs::read_to_string(path.join("sheet.md")).unwrap(),
        "a sheet"
    );
    assert!(
        fs::read_to_string(path.join("project.ron"))
            .unwrap()
            .contains("Door bell")
    );
}

#[cfg(unix)]
#[test]
fn an_edit_is_seen_whatever_time_it_claims() {
    let (_dir, path) = lamp();
    let mut folder = Folder::open(&path).unwrap();
    let name = folder.project().definition.name.clone();
    let file = path.join("project.ron");
    let was = fs::metadata(&file).unwrap().modified().unwrap();
    let other: String = name.chars().rev().collect();
    assert_ne!(name, other);
    let text = fs::read_to_string(&file).unwrap();
    fs::write(&file, text.replacen(&name, &other, 1)).unwrap();
    let written = OpenOptions::new().append(true).open(&file).unwrap();
    written.set_modified(was).unwrap();
    assert!(folder.follow().unwrap());
    assert_eq!(folder.project().definition.name, other);
}

#[test]
fn permissions_of_the_definition_stay() {
    use std::os::unix::fs::PermissionsExt as _;
    let (_dir, path) = lamp();
    let file = path.join("project.ron");
    fs::set_permissions(&file, fs::Permissions::from_mode(0o640)).unwrap();
    Folder::open(&path).unwrap().set("name", "Lamp").unwrap();
    let mode = fs::metadata(&file).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o640);
}

#[test]
fn an_edit_is_followed_and_a_bad_one_leaves_the_former_in_force() {
    let (_dir, path) = lamp_with_notes(1);
    let mut folder = Folder::open(&path).unwrap();
    let write = |text: &str| fs::write(path.join("project.ron"), text).unwrap();
    write(&LAMP.replace("Fern lamp", "Floor lamp"));
    assert!(folder.follow().unwrap());
    assert_eq!(folder.project().definition.name, "Floor lamp");
    write(&LAMP.replace("    metal:", "    metl:"));
    assert!(folder.follow().unwrap());
    assert_eq!(folder.project().definition.name, "Floor lamp");
    let notice = &folder.notices()[0];
    assert!(notice.starts_with("project.ron:4:"), "{notice}");
    assert!(notice.contains("did you mean `metal`"), "{notice}");
    assert_eq!(record(&mut folder, &note("base", "x")).sequence, 2);
    assert!(!folder.follow().unwrap());
    write(LAMP);
    assert!(folder.follow().unwrap());
    assert_eq!(folder.notices(), [""; 0]);
    assert_eq!(folder.project().definition.name, "Fern lamp");
    fs::remove_file(path.join("project.ron")).unwrap();
    assert!(folder.follow().unwrap());
    assert_eq!(folder.notices().len(), 1);
}

#[test]
fn a_piece_that_another_program_adds_and_records_is_followed() {
    let (_dir, path) = lamp();
    let mut reader = Folder::open(&path).unwrap();
    let mut writer = Folder::open(&path).unwrap();
    writer.add_piece(r#"(name: "frond-1")"#).unwrap();
    record(&mut writer, &note("frond-1", "x"));
    assert!(reader.follow().unwrap());
    assert_eq!(reader.project(), writer.project());
}

#[test]
fn a_journal_that_shrank_or_changed_is_told() {
    let (_dir, path) = lamp_with_notes(2);
    let whole = journal(&path);
    let write = |bytes: &[u8]| fs::write(path.join("journal.ron"), bytes).unwrap();
    let mut folder = Folder::open(&path).unwrap();
    write(&whole[..whole.len() - 40]);
    let error = folder.follow().unwrap_err();
    assert_eq!(error.kind(), "journal");
    assert!(error.message.contains("shorter"), "{error}");
    write(
        &String::from_utf8(whole.clone())
            .unwrap()
            .replace("note 0", "note 1!")
            .into_bytes(),
    );
    let error = folder.follow().unwrap_err();
    assert!(error.message.contains("changed"), "{error}");
    let recorded = folder.record(&note("base", "x"), evening(), None);
    assert!(matches!(recorded, Err(RecordError::Store(e)) if e.kind() == "journal"));
    write(&whole);
    folder.follow().unwrap();
    assert_eq!(record(&mut folder, &note("base", "x")).sequence, 3);
}

#[test]
fn meshes_are_copied_once_and_watched() {
    let (dir, path) = lamp();
    let mut folder = Folder::open(&path).unwrap();
    let source = dir.path().join("Export 7.STL");
    fs::write(&source, "solid a").unwrap();
    assert_eq!(
        folder.copy_mesh(&source, "../base").unwrap(),
        "meshes/base.stl"
    );
    assert_eq!(
        folder.copy_mesh(&source, "base").unwrap(),
        "meshes/base.stl"
    );
    let inside = path.join("meshes").join("base.stl");
    assert_eq!(
        folder.copy_mesh(&inside, "stem").unwrap(),
        "meshes/base.stl"
    );
    fs::write(&source, "solid b").unwrap();
    assert_eq!(
        folder.copy_mesh(&source, "base").unwrap(),
        "meshes/base-2.stl"
    );
    let sha256 = sha256_hex(b"solid a");
    let mesh = format!(r#"(file: "meshes/base.stl", sha256: "{sha256}")"#);
    folder.set("pieces.base.mesh", &mesh).unwrap();
    assert_eq!(Folder::open(&path).unwrap().notices(), [""; 0]);
    fs::write(&inside, "solid c").unwrap();
    let changed = Folder::open(&path).unwrap();
    assert!(changed.notices()[0].contains("has changed since it was measured"));
    fs::remove_file(&inside).unwrap();
    let missing = Folder::open(&path).unwrap();
    assert!(
        missing.notices()[0].contains("mesh of base"),
        "{:?}",
        missing.notices()
    );
    assert_eq!(check(&path).problems.len(), 1);
}

#[test]
fn sha256_is_the_published_one() {
    // FIPS 180-2, appendix B.1: the message "abc".
    let digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    assert_eq!(sha256_hex(b"abc"), digest);
}

fn logger(tank: &str, file: &str, sha256: &str) -> Action {
    let what = What::Logger {
        tank: tank.to_owned(),
        file: file.to_owned(),
        sha256: sha256.to_owned(),
    };
    Action::now(what, "Ada")
}

#[test]
fn a_logger_file_is_taken_in_with_its_rows() {
    let (dir, path) = lamp();
    let mut folder = Folder::open(&path).unwrap();
    let source = dir.path().join("logger.csv");
    // 19:40 in Berlin in winter is 18:40 UTC.
    fs::write(
        &source,
        "time;amps\n2026-03-01 19:40:00;0,62\n2026-03-01 19:41:00;0,6\n",
    )
    .unwrap();
    let refused = folder.take_logger(&source).unwrap();
    assert_eq!(
        (refused.file.as_str(), refused.rows),
        ("immersions/001.csv", 2)
    );
    let action = logger("other", &refused.file, &refused.sha256);
    assert!(folder.record(&action, evening(), None).is_err());
    assert!(
        !path.join("immersions/001.csv").exists(),
        "a refusal changes nothing"
    );
    folder.take_logger(&source).unwrap();
    let action = logger("main", "immersions/001.csv", &refused.sha256);
    let Err(RecordError::Refused(early)) = folder.record(&action, at("2026-03-01T18:40:30Z"), None)
    else {
        panic!("rows that have not come were recorded");
    };
    assert_eq!(early.rule, "future");
    let holder = File::open(path.join("journal.ron")).unwrap();
    folder.take_logger(&source).unwrap();
    holder.lock().unwrap();
    assert!(folder.record(&action, evening(), None).is_err());
    drop(holder);
    assert_eq!(fs::read_dir(path.join("immersions")).unwrap().count(), 0);
    let taken = folder.take_logger(&source).unwrap();
    let event = record(&mut folder, &logger("main", &taken.file, &taken.sha256));
    assert_eq!(folder.project().logs()[&taken.file].len(), 2);
    assert_eq!(
        folder.project().logs()[&taken.file][0].at,
        at("2026-03-01T18:40:00Z")
    );
    let twice = folder.take_logger(&source).unwrap_err();
    assert!(
        twice.message.contains(&format!("event {}", event.sequence)),
        "{twice}"
    );
    assert_eq!(Folder::open(&path).unwrap().project(), folder.project());
    fs::write(path.join(&taken.file), "time;amps\n").unwrap();
    let changed = Folder::open(&path).unwrap();
    assert!(changed.project().logs().is_empty());
    assert!(changed.notices()[0].contains("has changed since it was taken in"));
    assert_eq!(check(&path).problems[0].kind, "logger");
}

#[test]
fn a_logger_file_that_does_not_read_is_not_taken_in() {
    let (dir, path) = lamp();
    let mut folder = Folder::open(&path).unwrap();
    let source = dir.path().join("logger.csv");
    fs::write(&source, "2026-03-01T19:40:00Z,0.3,many\n").unwrap();
    let error = folder.take_logger(&source).unwrap_err();
    assert_eq!(
        (error.kind(), error.line, error.column),
        ("logger", Some(1), Some(26))
    );
    assert_eq!(error.file.as_ref(), Some(&source));
    fs::write(&source, "time;amps\n").unwrap();
    let error = folder.take_logger(&source).unwrap_err();
    assert!(error.message.contains("no rows"), "{error}");
    assert_eq!(fs::read_dir(path.join("immersions")).unwrap().count(), 0);
}

#[test]
fn a_whole_edit_is_checked_before_it_is_written() {
    let (_dir, path) = lamp_with_notes(1);
    let mut folder = Folder::open(&path).unwrap();
    let bad = LAMP.replace("\"3.1dm2\"", "\"0dm2\"");
    let draft = folder.begin_edit().unwrap();
    fs::write(draft.path(), &bad).unwrap();
    let error = folder.end_edit(&draft).unwrap_err();
    assert_eq!(
        (error.line, error.column),
        (Some(12), Some(19)),
        "{error:?}"
    );
    assert_eq!(fs::read_to_string(path.join("project.ron")).unwrap(), LAMP);
    let good = LAMP.replace("40um", "60um");
    fs::write(draft.path(), &good).unwrap();
    folder.end_edit(&draft).unwrap();
    assert_eq!(fs::read_to_string(path.join("project.ron")).unwrap(), good);
    assert_eq!(Folder::open(&path).unwrap().project(), folder.project());
}

#[test]
fn check_finds_what_a_failed_write_left() {
    let (_dir, path) = lamp();
    fs::write(path.join(".project.ron.tmp"), "(for").unwrap();
    let report = check(&path);
    assert_eq!(report.problems.len(), 1);
    assert!(report.problems[0].remedy.contains("take this file away"));
    Folder::open(&path).unwrap().set("name", "Lamp").unwrap();
    assert_eq!(check(&path).problems, []);
}

#[test]
fn a_mask_is_put_on_and_taken_off_and_only_where_the_piece_has_the_masks_it_was_meant_for() {
    let holds = tempfile::tempdir().unwrap();
    fs::write(holds.path().join("project.ron"), LAMP).unwrap();
    let mut folder = Folder::open(holds.path()).unwrap();
    let foot = Mask {
        name: "foot".to_owned(),
        shape: "plane:0,0,5:0,0,-1".to_owned(),
        takes: None,
    };
    let add = MaskEdit::Add(foot.clone());
    let takes = (
        "pieces.stem.masks.0.takes".to_owned(),
        "\"0.2dm2\"".to_owned(),
    );
    let values = std::slice::from_ref(&takes);
    folder.edit_mask("stem", (&[], &add), values).unwrap();
    let masks = |folder: &Folder| {
        folder
            .project()
            .definition
            .piece("stem")
            .unwrap()
            .masks
            .clone()
    };
    let put_on = masks(&folder);
    assert_eq!(put_on.len(), 1);
    assert_eq!(put_on[0].takes.unwrap().to_string(), "0.2dm2");
    let text = || fs::read_to_string(holds.path().join("project.ron")).unwrap();
    let written = text();
    assert!(
        written.contains("// by the slicer"),
        "comments stay: {written}"
    );
    // Meant for a piece without masks, which it is no more.
    let refused = folder.edit_mask("stem", (&[], &add), values).unwrap_err();
    assert!(refused.message.contains("are others by now"), "{refused}");
    assert_eq!(text(), written);
    let remove = MaskEdit::Remove(0);
    folder.edit_mask("stem", (&put_on, &remove), &[]).unwrap();
    assert_eq!(masks(&folder), []);
    assert_eq!(masks(&Folder::open(holds.path()).unwrap()), []);
}
