//! Long projects: their journal is read by several threads, and what is kept of
//! them for the next start shows what the files say, or nothing.

use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use crate::support::long;
use tankside::project::{Action, LogRow, Project, What};
use tankside::store::{Folder, LONG, sha256_hex};
use tankside::units::Instant;

const EVENTS: usize = LONG + 300;

/// A long project of which something is kept.
struct Kept {
    _holds: tempfile::TempDir,
    path: PathBuf,
    cache: PathBuf,
}

impl Kept {
    fn new() -> Self {
        let kept = Self::laid_out(EVENTS);
        assert!(kept.glimpse().is_none(), "nothing is kept before");
        assert!(kept.open().keep(&kept.cache));
        kept
    }

    fn laid_out(events: usize) -> Self {
        let holds = tempfile::tempdir().unwrap();
        let path = holds.path().join("forty");
        long::lay_out(&path, events);
        let cache = holds.path().join("cache").join("tankside");
        Self {
            _holds: holds,
            path,
            cache,
        }
    }

    fn open(&self) -> Folder {
        Folder::open(&self.path).unwrap()
    }

    fn glimpse(&self) -> Option<Project> {
        Folder::glimpse(&self.path, &self.cache)
    }

    fn file(&self) -> PathBuf {
        let mut files = fs::read_dir(&self.cache).unwrap();
        let only = files.next().unwrap().unwrap().path();
        assert!(files.next().is_none(), "one file a project");
        only
    }

    fn journal(&self) -> PathBuf {
        self.path.join("journal.ron")
    }
}

/// What a glimpse shows is what the whole project says.
fn assert_same(glimpse: &Project, whole: &Project) {
    assert!(!glimpse.is_whole() && whole.is_whole());
    assert_eq!(glimpse.definition, whole.definition);
    assert_eq!(glimpse.state(), whole.state());
    assert_eq!(glimpse.undone_sequences(), whole.undone_sequences());
    assert_eq!(glimpse.undo_target(), whole.undo_target());
    assert_eq!(
        glimpse.redo_target().is_some(),
        whole.redo_target().is_some()
    );
    let last = whole.events().iter().rev();
    assert!(glimpse.events().len() >= 64);
    assert!(
        glimpse
            .events()
            .iter()
            .rev()
            .eq(last.take(glimpse.events().len()))
    );
}

fn note(text: &str) -> Action {
    let what = What::Note {
        piece: "piece-07".to_owned(),
        text: text.to_owned(),
    };
    Action::now(what, "Ada")
}

fn after(folder: &Folder, seconds: f64) -> Instant {
    let latest = folder.project().state().latest.unwrap();
    latest.plus_seconds(seconds)
}

#[test]
fn what_is_kept_shows_what_the_files_say() {
    let kept = Kept::new();
    assert_same(&kept.glimpse().unwrap(), kept.open().project());
}

#[test]
fn what_was_recorded_since_is_in_it_whoever_recorded_it() {
    let kept = Kept::new();
    let (mut one, mut other) = (kept.open(), kept.open());
    for n in 0..20 {
        let folder = if n % 2 == 0 { &mut one } else { &mut other };
        let now = after(folder, 60.0);
        folder
            .record(&note(&format!("number {n}")), now, None)
            .unwrap();
    }
    let glimpse = kept.glimpse().unwrap();
    assert_same(&glimpse, kept.open().project());
    let last = glimpse.events().last().unwrap().what.to_string();
    assert!(last.contains("number 19"), "{last}");
}

#[test]
fn an_undo_since_takes_the_whole_history() {
    let kept = Kept::new();
    let mut folder = kept.open();
    let now = after(&folder, 60.0);
    folder.record(&note("wrong"), now, None).unwrap();
    let undo = Action::now(What::Undo { sequence: 0 }, "Ada");
    folder.record(&undo, now, None).unwrap();
    assert!(kept.glimpse().is_none());
    assert!(folder.keep(&kept.cache));
    let glimpse = kept.glimpse().unwrap();
    assert_same(&glimpse, kept.open().project());
    assert!(glimpse.redo_target().is_some());
}

#[test]
fn a_back_dated_event_since_takes_the_whole_history() {
    let kept = Kept::new();
    let mut folder = kept.open();
    let now = after(&folder, 60.0);
    let late = Action {
        at: Some(after(&folder, -86_400.0)),
        ..note("yesterday")
    };
    folder.record(&late, now, None).unwrap();
    assert!(kept.glimpse().is_none());
    assert!(folder.keep(&kept.cache));
    assert_same(&kept.glimpse().unwrap(), kept.open().project());
}

#[test]
fn another_text_of_the_definition_has_nothing_kept() {
    let kept = Kept::new();
    let text = fs::read_to_string(kept.path.join("project.ron")).unwrap();
    let other = text.replace("0.07dm2", "0.08dm2");
    assert_ne!(text, other);
    fs::write(kept.path.join("project.ron"), other).unwrap();
    assert!(kept.glimpse().is_none());
    fs::write(kept.path.join("project.ron"), text).unwrap();
    assert!(kept.glimpse().is_some());
}

#[test]
fn a_journal_with_one_other_byte_has_nothing_kept() {
    let kept = Kept::new();
    let whole = fs::read(kept.journal()).unwrap();
    for at in (0..whole.len()).step_by(whole.len() / 60) {
        let mut other = whole.clone();
        other[at] ^= 1;
        fs::write(kept.journal(), &other).unwrap();
        assert!(kept.glimpse().is_none(), "byte {at}");
    }
    fs::write(kept.journal(), &whole[..whole.len() - 1]).unwrap();
    assert!(kept.glimpse().is_none(), "shorter");
    fs::write(kept.journal(), "").unwrap();
    assert!(kept.glimpse().is_none(), "empty");
    fs::remove_file(kept.journal()).unwrap();
    assert!(kept.glimpse().is_none(), "gone");
    fs::write(kept.journal(), &whole).unwrap();
    assert!(kept.glimpse().is_some());
}

#[test]
fn lines_that_do_not_follow_are_not_shown() {
    let kept = Kept::new();
    let whole = fs::read(kept.journal()).unwrap();
    let line = whole.split(|b| *b == b'\n').nth(5).unwrap();
    let torn = &line[..line.len() / 2];
    for (what, behind) in [
        ("a line of before", [line, b"\n"].concat()),
        ("a torn line", torn.to_vec()),
        ("no line at all", b"nothing\n".to_vec()),
    ] {
        fs::write(kept.journal(), &whole).unwrap();
        let mut file = OpenOptions::new()
            .append(true)
            .open(kept.journal())
            .unwrap();
        file.write_all(&behind).unwrap();
        assert!(kept.glimpse().is_none(), "{what}");
    }
}

#[test]
fn another_journal_under_the_same_path_has_nothing_kept() {
    let kept = Kept::new();
    fs::remove_dir_all(&kept.path).unwrap();
    long::lay_out(&kept.path, EVENTS - 1);
    assert!(kept.glimpse().is_none());
}

#[test]
fn a_folder_that_was_moved_is_read_again_and_another_in_its_place_too() {
    let kept = Kept::new();
    let moved = kept.path.with_file_name("moved");
    fs::rename(&kept.path, &moved).unwrap();
    assert!(Folder::glimpse(&moved, &kept.cache).is_none());
    assert!(kept.glimpse().is_none(), "nothing lies there");
    fs::rename(&moved, &kept.path).unwrap();
    assert!(kept.glimpse().is_some());
    let roundabout = kept.path.join("..").join("forty");
    assert!(
        Folder::glimpse(&roundabout, &kept.cache).is_some(),
        "one path, two names"
    );
}

#[test]
fn a_damaged_file_is_as_good_as_none() {
    let kept = Kept::new();
    let (file, whole) = (kept.file(), fs::read(kept.file()).unwrap());
    let head = (0..200.min(whole.len())).chain((200..whole.len()).step_by(whole.len() / 150));
    for at in head {
        fs::write(&file, &whole[..at]).unwrap();
        assert!(kept.glimpse().is_none(), "cut at {at}");
        let mut other = whole.clone();
        other[at] ^= 0x10;
        fs::write(&file, &other).unwrap();
        assert!(kept.glimpse().is_none(), "another bit in {at}");
    }
    fs::write(&file, [whole.as_slice(), b"x"].concat()).unwrap();
    assert!(kept.glimpse().is_none(), "one byte more");
    fs::write(&file, &whole).unwrap();
    assert!(kept.glimpse().is_some());
}

#[test]
fn what_another_program_kept_is_as_good_as_none() {
    let kept = Kept::new();
    let mut bytes = fs::read(kept.file()).unwrap();
    let program = std::env::current_exe().unwrap();
    let program = program.as_os_str().as_encoded_bytes();
    let at = bytes.windows(program.len()).position(|w| w == program);
    let last = at.expect("the program is named") + program.len() - 1;
    // With the checksum that such a program would have written, twice: the
    // second time this very program again.
    let body = 32 + "tankside kept outcome\n".len();
    for is_this_program in [false, true] {
        bytes[last] ^= 1;
        let sum = sha256_hex(&bytes[body..]);
        for (index, byte) in bytes[body - 32..body].iter_mut().enumerate() {
            *byte = u8::from_str_radix(&sum[2 * index..2 * index + 2], 16).unwrap();
        }
        fs::write(kept.file(), &bytes).unwrap();
        assert_eq!(kept.glimpse().is_some(), is_this_program);
    }
}

#[test]
fn a_project_that_opens_at_once_keeps_nothing() {
    let kept = Kept::laid_out(LONG - 1);
    assert!(!kept.open().keep(&kept.cache));
    assert!(!kept.cache.exists());
}

#[test]
fn where_nothing_can_be_written_nothing_is_kept_and_nothing_is_said() {
    let kept = Kept::laid_out(EVENTS);
    let file = kept.path.with_file_name("a-file");
    fs::write(&file, "").unwrap();
    assert!(!kept.open().keep(&file));
    assert!(!kept.open().keep(&file.join("below")));
    assert_eq!(fs::read_to_string(&file).unwrap(), "");
}

#[test]
fn a_logger_file_that_changed_has_nothing_kept() {
    let kept = Kept::laid_out(EVENTS);
    let mut folder = kept.open();
    let latest = folder.project().state().latest.unwrap();
    let row = |seconds| format!("{},0.5,0.4\n", latest.plus_seconds(seconds));
    let csv = kept.path.with_file_name("log.csv");
    let rows = [row(-50.0), row(-40.0), row(-30.0)].concat();
    fs::write(&csv, format!("time,volts,amps\n{rows}")).unwrap();
    let taken = folder.take_logger(&csv).unwrap();
    let (file, sha256) = (taken.file.clone(), taken.sha256);
    let tank = "main".to_owned();
    let what = What::Logger { tank, file, sha256 };
    let now = after(&folder, 60.0);
    folder.record(&Action::now(what, "Ada"), now, None).unwrap();
    assert!(folder.keep(&kept.cache));
    assert_same(&kept.glimpse().unwrap(), kept.open().project());
    let rows: &Vec<LogRow> = &folder.project().logs()[&taken.file];
    assert_eq!(rows.len(), 3);

    let inside = kept.path.join(&taken.file);
    let text = fs::read_to_string(&inside).unwrap();
    fs::write(&inside, format!("{text}{}", row(-20.0))).unwrap();
    assert!(kept.glimpse().is_none());
    assert!(!kept.open().keep(&kept.cache), "its rows are left out");
    assert!(!folder.keep(&kept.cache), "it was read before the change");

    // A file of the same length that was given its former time.
    fs::write(&inside, &text).unwrap();
    assert!(folder.keep(&kept.cache));
    assert!(kept.glimpse().is_some());
    let was = fs::metadata(&inside).unwrap().modified().unwrap();
    fs::write(&inside, text.replace(",0.5,", ",0.6,")).unwrap();
    let written = OpenOptions::new().append(true).open(&inside).unwrap();
    written.set_modified(was).unwrap();
    assert!(cfg!(not(unix)) || kept.glimpse().is_none());
}

#[test]
fn a_definition_that_does_not_do_keeps_nothing() {
    let kept = Kept::laid_out(EVENTS);
    let mut folder = kept.open();
    fs::write(kept.path.join("project.ron"), "(format: 1").unwrap();
    assert!(folder.follow().unwrap());
    assert!(!folder.keep(&kept.cache));
    assert!(!Path::new(&kept.cache).exists());
}

#[test]
fn a_glimpse_takes_nothing_back() {
    let kept = Kept::new();
    let glimpse = kept.glimpse().unwrap();
    let now = glimpse.state().latest.unwrap();
    for what in [What::Undo { sequence: 0 }, What::Redo { sequence: 0 }] {
        let refused = glimpse.decide(&Action::now(what, "Ada"), now).unwrap_err();
        assert_eq!(refused.rule, "reading");
    }
}

#[test]
fn a_long_journal_reads_as_it_was_written() {
    let kept = Kept::laid_out(6000);
    let length = fs::metadata(kept.journal()).unwrap().len();
    assert!(length > 3 << 18, "{length} bytes are several portions");
    let read = kept.open().project().events().clone();
    let told = |e: &tankside::project::Event| (e.sequence, e.at, e.what.to_string());
    assert!(
        read.iter()
            .map(told)
            .eq(long::events(6000).iter().map(told))
    );
    // So few are read by one thread.
    let few = Kept::laid_out(500).open().project().events().to_vec();
    assert!(read.iter().take(500).eq(&few));
}

#[test]
fn the_first_bad_line_of_a_long_journal_is_named_wherever_it_is() {
    let kept = Kept::laid_out(6000);
    let whole = fs::read_to_string(kept.journal()).unwrap();
    let lines: Vec<&str> = whole.split_inclusive('\n').collect();
    for bad in [0, 1, 1500, 3100, 4500, 5999, 6000] {
        let mut other: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
        other[bad] = other[bad].replacen("20", "21", 1);
        if bad < 5000 {
            other[5500] = "nothing\n".to_owned();
        }
        fs::write(kept.journal(), other.concat()).unwrap();
        let error = Folder::open(&kept.path).unwrap_err();
        assert_eq!(
            (error.kind(), error.line),
            ("journal", Some(bad + 1)),
            "{error}"
        );
    }
    for gone in [1, 2900, 6000] {
        let other = [&lines[..gone], &lines[gone + 1..]].concat();
        fs::write(kept.journal(), other.concat()).unwrap();
        let opened = Folder::open(&kept.path);
        match opened {
            Ok(folder) => assert_eq!((gone, folder.project().events().len()), (6000, 5999)),
            Err(error) => assert_eq!(error.line, Some(gone + 1), "{error}"),
        }
    }
}

#[test]
fn a_long_journal_whose_last_line_was_being_written_opens_without_it() {
    let kept = Kept::laid_out(6000);
    let whole = fs::read(kept.journal()).unwrap();
    fs::write(kept.journal(), &whole[..whole.len() - 30]).unwrap();
    let folder = kept.open();
    assert_eq!(folder.project().events().len(), 5999);
    assert!(kept.path.join("journal.torn-1.ron").exists());
}

#[test]
fn a_change_of_lines_that_were_read_is_told() {
    let kept = Kept::laid_out(EVENTS);
    let mut folder = kept.open();
    let whole = fs::read_to_string(kept.journal()).unwrap();
    fs::write(
        kept.journal(),
        whole.replacen("inner curl", "outer curl", 1),
    )
    .unwrap();
    let error = folder.follow().unwrap_err();
    assert!(
        error
            .message
            .contains("was changed in lines that had been read"),
        "{error}"
    );
}
