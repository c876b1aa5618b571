//! The real program killed with -9 at random instants, five hundred times,
//! while several of it write to one project: what was acknowledged is there.
//! And on a disk that takes no more: it says so and writes no more.

#![cfg(unix)]

use std::collections::BTreeMap;
use std::os::unix::process::ExitStatusExt as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use crate::support::pty::Pty;
use serde_json::Value;
use tankside::project::What;
use tankside::store::{Folder, check};

const PROGRAM: &str = env!("CARGO_BIN_EXE_tankside");

const BELL: &str = r#"(
    format: 1,
    name: "Table bell",
    metal: "copper-acid",
    target: Mean("40um"),
    pieces: [(name: "bell", area: "6.84dm2", note: "")],
)
"#;

/// Kills of one-shot commands; with those of the screen five hundred.
const KILLS: usize = 490;
const SCREEN_KILLS: usize = 10;
/// Each on a project of its own, so that its journal stays short.
const PROJECTS: usize = 14;
const WRITERS: u64 = 3;
const SIGKILL: i32 = 9;

/// A small generator of numbers that seem random (xorshift; Marsaglia 2003).
struct Dice(u64);

impl Dice {
    fn below(&mut self, bound: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % bound.max(1)
    }
}

struct Bell {
    _holds: tempfile::TempDir,
    folder: PathBuf,
}

impl Bell {
    fn new() -> Self {
        let holds = tempfile::tempdir().unwrap();
        let folder = holds.path().join("bell");
        Folder::create(&folder, BELL, "2026-03-01T19:00:00Z".parse().unwrap()).unwrap();
        Self {
            _holds: holds,
            folder,
        }
    }

    /// What a program was told to write, and what it acknowledged.
    fn check(&self, acknowledged: &BTreeMap<String, Option<u64>>, tried: &[String]) {
        for problem in check(&self.folder).problems {
            let is_torn = problem.kind == "journal" && problem.what.contains("not whole");
            let is_left = problem.what.contains("ended before its time");
            assert!(is_torn && problem.line.is_some() || is_left, "{problem:?}");
        }
        let mut folder = Folder::open(&self.folder).unwrap();
        let mut found = BTreeMap::new();
        for event in folder.project().events().iter() {
            let What::Note { text, .. } = &event.what else {
                panic!("nobody wrote {event:?}");
            };
            assert!(tried.contains(text), "nobody wrote {text}");
            assert!(
                found.insert(text.clone(), event.sequence).is_none(),
                "{text} twice"
            );
        }
        for (text, sequence) in acknowledged {
            let at = found.get(text);
            assert!(at.is_some(), "{text} was acknowledged and is not there");
            assert!(
                sequence.is_none_or(|sequence| at == Some(&sequence)),
                "{text} at {at:?}"
            );
        }
        folder.set("pieces.bell.note", "after").unwrap();
        assert_eq!(check(&self.folder).problems.len(), self.left_over());
    }

    /// Temporary files that a killed program left.
    fn left_over(&self) -> usize {
        let names = std::fs::read_dir(&self.folder).unwrap();
        names
            .filter(|name| {
                let name = name.as_ref().unwrap().file_name();
                name.to_string_lossy().ends_with(".tmp")
            })
            .count()
    }
}

/// Runs the program, killed after so long if it still runs then: whether it
/// was, and what it said.
fn killed_after(delay: Duration, words: &[&str]) -> (bool, String) {
    let mut command = Command::new(PROGRAM);
    command.args(words).args(["--json"]);
    command
        .env("TANKSIDE_CONFIG_DIR", "/nowhere")
        .env("USER", "ida");
    let quiet = command.stdout(Stdio::piped()).stderr(Stdio::null());
    let mut child = quiet.spawn().unwrap();
    thread::sleep(delay);
    // One that has ended already cannot be killed.
    let _ended = child.kill();
    let out = child.wait_with_output().unwrap();
    let killed = out.status.signal() == Some(SIGKILL);
    assert!(killed || out.status.success(), "{words:?}: {out:?}");
    (killed, String::from_utf8(out.stdout).unwrap())
}

/// How long a record takes here.
#[allow(
    clippy::disallowed_methods,
    reason = "how fast this machine is, only its clock tells"
)]
fn usual_time() -> Duration {
    let bell = Bell::new();
    let begun = Instant::now();
    for _ in 0..5 {
        let folder = bell.folder.to_str().unwrap();
        let done = Command::new(PROGRAM)
            .args(["record", folder, "bell", "note", "x", "--who", "Ada"])
            .output()
            .unwrap();
        assert!(done.status.success(), "{done:?}");
    }
    begun.elapsed() / 5
}

/// One of several that write; what it tried and what was acknowledged.
fn writer(
    folder: &Path,
    number: u64,
    seed: u64,
    usual: Duration,
    left: &AtomicUsize,
) -> (Vec<String>, BTreeMap<String, Option<u64>>) {
    let mut dice = Dice(seed);
    let (mut tried, mut acknowledged) = (Vec::new(), BTreeMap::new());
    let folder = folder.to_str().unwrap();
    while left.load(Ordering::SeqCst) > 0 {
        let most = usual.as_micros() as u64 * 3 / 2;
        let delay = Duration::from_micros(dice.below(most));
        let text = format!("writer {number}, note {}", tried.len());
        let is_edit = dice.below(8) == 0;
        let (killed, said) = if is_edit {
            killed_after(delay, &["set", folder, "pieces.bell.note", &text])
        } else {
            tried.push(text.clone());
            killed_after(delay, &["record", folder, "bell", "note", &text])
        };
        let said: Value = serde_json::from_str(&said).unwrap_or_default();
        if let Some(sequence) = said["recorded"]["sequence"].as_u64() {
            acknowledged.insert(text, Some(sequence));
        }
        if killed {
            let _ = left.fetch_update(Ordering::SeqCst, Ordering::SeqCst, |n| n.checked_sub(1));
        }
    }
    (tried, acknowledged)
}

#[test]
fn killed_at_random_instants_it_loses_nothing_that_it_acknowledged() {
    let usual = usual_time();
    let (mut all, mut kept) = (0, 0);
    for project in 0..PROJECTS {
        let bell = Bell::new();
        let left = AtomicUsize::new(KILLS / PROJECTS);
        let (mut tried, mut acknowledged) = (Vec::new(), BTreeMap::new());
        thread::scope(|scope| {
            let writers: Vec<_> = (0..WRITERS)
                .map(|number| {
                    let seed = 0x9e37_79b9 + project as u64 * WRITERS + number;
                    let (folder, left) = (&bell.folder, &left);
                    scope.spawn(move || writer(folder, number, seed, usual, left))
                })
                .collect();
            for writer in writers {
                let (its, told) = writer.join().unwrap();
                tried.extend(its);
                acknowledged.extend(told);
            }
        });
        bell.check(&acknowledged, &tried);
        all += tried.len();
        kept += acknowledged.len();
    }
    assert!(
        kept > 20 && all > kept + KILLS / 2,
        "{kept} of {all} were acknowledged"
    );
}

#[test]
fn killed_while_notes_are_typed_the_screen_loses_nothing_that_it_acknowledged() {
    let config = tempfile::tempdir().unwrap();
    std::fs::write(config.path().join("settings.ron"), "(who: \"Ida\")").unwrap();
    let env = [("TANKSIDE_CONFIG_DIR", config.path().to_str().unwrap())];
    let bell = Bell::new();
    let mut dice = Dice(0x2545_f491);
    let (mut tried, mut acknowledged) = (Vec::new(), BTreeMap::new());
    for run in 0..SCREEN_KILLS {
        let mut pty = Pty::run(PROGRAM, &["open", bell.folder.to_str().unwrap()], &env);
        pty.wait_frame("the bench", |screen| screen.contents().contains("bell"));
        for note in 0..=dice.below(3) {
            let text = format!("run {run} note {note}");
            tried.push(text.clone());
            pty.send(&format!("n{text}\r\r"));
            let told = format!("note on bell: {text}");
            pty.wait_for(&told);
            if pty.contents().contains("recorded #") {
                acknowledged.insert(text, None);
            }
        }
        let last = format!("run {run} last");
        tried.push(last.clone());
        pty.send(&format!("n{last}\r\r"));
        thread::sleep(Duration::from_micros(dice.below(20_000)));
        let shown = pty.contents();
        pty.signal("KILL");
        pty.wait_for("left with 137");
        if shown.contains("recorded #") && shown.contains(&format!("note on bell: {last}")) {
            acknowledged.insert(last, None);
        }
    }
    assert!(acknowledged.len() >= SCREEN_KILLS, "{acknowledged:?}");
    bell.check(&acknowledged, &tried);
}

/// A file can grow no further than a block or two: the first notes go in, a later
/// one only in part.
#[test]
fn after_a_write_that_failed_the_screen_says_so_and_keeps_saying_it() {
    let config = tempfile::tempdir().unwrap();
    std::fs::write(config.path().join("settings.ron"), "(who: \"Ida\")").unwrap();
    let env = [("TANKSIDE_CONFIG_DIR", config.path().to_str().unwrap())];
    let bell = Bell::new();
    let limited = "trap '' XFSZ; ulimit -f 1; exec \"$@\"";
    let folder = bell.folder.to_str().unwrap();
    let mut pty = Pty::run("sh", &["-c", limited, "sh", PROGRAM, "open", folder], &env);
    pty.wait_frame("the bench", |screen| screen.contents().contains("bell"));
    let stands = |screen: &vt100::Screen| screen.contents().contains("nothing more is recorded");
    let (mut tried, mut acknowledged) = (Vec::new(), BTreeMap::new());
    for note in 0..30 {
        let text = format!("note {note}");
        tried.push(text.clone());
        pty.send(&format!("n{text}\r\r"));
        let told = format!("note on bell: {text}");
        pty.wait("an answer", |screen| {
            stands(screen) || screen.contents().contains(&told)
        });
        if pty.screen(stands) {
            break;
        }
        acknowledged.insert(text, None);
    }
    assert!((1..30).contains(&acknowledged.len()), "{acknowledged:?}");
    let journal = std::fs::read(bell.folder.join("journal.ron")).unwrap();
    // Back from the entry, through the screens, and another note.
    for keys in ["\x1b", "\x1b", "l", "p", "h", "nagain\r\r", "\x1b", "\x1b"] {
        pty.send(keys);
        thread::sleep(Duration::from_millis(100));
        pty.wait("what stands", stands);
    }
    assert_eq!(
        std::fs::read(bell.folder.join("journal.ron")).unwrap(),
        journal
    );
    pty.send("\x03");
    assert_eq!(pty.ended(), 0);
    bell.check(&acknowledged, &tried);
}
