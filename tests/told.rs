//! What is due is told in time, by the real program: bell, terminal, a program
//! of the user's own, `wait`; once, and never for what was dealt with.

#![cfg(unix)]

use std::os::unix::fs::PermissionsExt as _;
use std::os::unix::process::ExitStatusExt as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::thread;
use std::time::Duration;

use crate::support::pty::Pty;
use serde_json::Value;
use tankside::store::Folder;

const PROGRAM: &str = env!("CARGO_BIN_EXE_tankside");

/// A coat of it is dry after four seconds.
const CLOCK: &str = r#"(
    format: 1,
    name: "Mantel clock",
    metal: "copper-acid",
    target: Mean("40um"),
    drying: "4s",
    pieces: [
        (name: "pediment", area: "2.1dm2"),
        (name: "dial", area: "1.4dm2"),
    ],
)
"#;

struct Project {
    _holds: tempfile::TempDir,
    folder: PathBuf,
    config: PathBuf,
}

impl Project {
    fn new() -> Self {
        let holds = tempfile::tempdir().unwrap();
        let (folder, config) = (holds.path().join("clock"), holds.path().join("config"));
        let begun = "2026-03-01T19:00:00Z".parse().unwrap();
        Folder::create(&folder, CLOCK, begun).unwrap();
        std::fs::create_dir(&config).unwrap();
        Self {
            _holds: holds,
            folder,
            config,
        }
    }

    fn path(&self) -> &str {
        self.folder.to_str().unwrap()
    }

    fn settle(&self, notices: &str) {
        let text = format!("(\n    notices: ({notices}),\n)\n");
        std::fs::write(self.config.join("settings.ron"), text).unwrap();
    }

    /// A program of the user's own.
    fn script(&self, name: &str, text: &str) -> String {
        let file = self.config.join(name);
        std::fs::write(&file, format!("#!/bin/sh\n{text}\n")).unwrap();
        let mode = std::fs::Permissions::from_mode(0o755);
        std::fs::set_permissions(&file, mode).unwrap();
        file.to_str().unwrap().to_owned()
    }

    fn open(&self, env: &[(&str, &str)]) -> Pty {
        let config = [("TANKSIDE_CONFIG_DIR", self.config.to_str().unwrap())];
        let env = [&config, env].concat();
        let pty = Pty::run(PROGRAM, &["open", self.path()], &env);
        pty.wait_for("pediment");
        pty
    }

    fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(PROGRAM);
        let (verb, rest) = words.split_first().unwrap();
        command
            .args([*verb, self.path()])
            .args(rest)
            .env("TANKSIDE_CONFIG_DIR", &self.config)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        command
    }

    /// A command that is about no project.
    fn run_plain(&self, words: &[&str]) -> Output {
        let mut command = Command::new(PROGRAM);
        command.env("TANKSIDE_CONFIG_DIR", &self.config);
        command.args(words).output().unwrap()
    }

    fn run(&self, words: &[&str]) -> Output {
        self.command(words).output().unwrap()
    }

    fn record(&self, words: &[&str]) {
        let words = [&["record"], words, &["--who", "Ada"]].concat();
        let done = self.run(&words);
        assert!(done.status.success(), "{done:?}");
    }

    /// A coat is on: in four seconds it is dry.
    fn coat(&self, piece: &str) {
        let start = [piece, "start", "coat", "--override", "a trial"];
        self.record(&start);
        self.record(&[piece, "coat"]);
    }

    /// The drying is no longer waited for.
    fn deal_with(&self, piece: &str) {
        self.record(&[piece, "skip", "coat", "--because", "a trial"]);
    }

    fn told(&self) -> Value {
        let out = self.run(&["notices", "--json"]);
        json(&out)["notices"].clone()
    }
}

fn json(out: &Output) -> Value {
    serde_json::from_slice(&out.stdout).unwrap_or_else(|_| panic!("no JSON: {out:?}"))
}

fn seconds(seconds: f64) {
    thread::sleep(Duration::from_secs_f64(seconds));
}

/// Waits until it is so, at most twenty seconds.
#[track_caller]
fn until(what: &str, so: impl Fn() -> bool) {
    let came = (0..200).any(|_| {
        let is = so();
        if !is {
            seconds(0.1);
        }
        is
    });
    assert!(came, "waited in vain for {what}");
}

/// How often the bell rang: BEL outside of sequences such as the title's.
fn bells(pty: &Pty, mark: usize) -> usize {
    let written = String::from_utf8_lossy(&pty.since(mark)).into_owned();
    let mut parts = written.split("\x1b]");
    let plain = parts.next().unwrap_or_default().matches('\x07').count();
    let behind = parts.map(|part| {
        let ends = [part.find('\x07').map(|at| at + 1), part.find("\x1b\\")];
        let end = ends.into_iter().flatten().min().unwrap_or(part.len());
        part[end..].matches('\x07').count()
    });
    plain + behind.sum::<usize>()
}

fn notices(pty: &Pty, mark: usize) -> usize {
    let written = String::from_utf8_lossy(&pty.since(mark)).into_owned();
    written.matches("\x1b]777;notify;").count()
}

#[test]
fn bell_and_notice_come_while_an_entry_is_open_and_once() {
    let project = Project::new();
    project.coat("pediment");
    let mut pty = project.open(&[("TERM_PROGRAM", "WezTerm")]);
    pty.send("i");
    pty.wait_for("who");
    let mark = pty.mark();
    until("the bell", || bells(&pty, mark) > 0);
    let written = String::from_utf8_lossy(&pty.since(mark)).into_owned();
    let wanted = "\x1b]777;notify;dry pediment: Mantel clock;pediment: ";
    assert!(written.contains(wanted), "{written:?}");
    seconds(2.0);
    assert_eq!((bells(&pty, mark), notices(&pty, mark)), (1, 1));
    let told = project.told();
    assert_eq!(told.as_array().unwrap().len(), 1, "{told}");
    assert_eq!(
        (&told[0]["done"], &told[0]["ring"]),
        (&"told".into(), &1.into())
    );
    assert_eq!(told[0]["due"][0]["piece"], "pediment");
}

/// Whether something was done within so many seconds.
#[expect(
    clippy::disallowed_methods,
    reason = "a test of what the real clock does"
)]
fn within(seconds: f64, act: impl FnOnce()) -> bool {
    let begin = std::time::Instant::now();
    act();
    begin.elapsed().as_secs_f64() < seconds
}

#[test]
fn what_another_program_dealt_with_a_moment_before_is_not_told() {
    let project = Project::new();
    let mut pty = project.open(&[("TERM_PROGRAM", "WezTerm")]);
    pty.send("k");
    let mark = pty.mark();
    // Less than the half second in which a screen follows; a slow machine
    // gets a second try.
    let in_time = [("pediment", 3.7), ("dial", 3.2)]
        .into_iter()
        .any(|(piece, wait)| {
            within(4.0, || {
                project.coat(piece);
                seconds(wait);
                project.deal_with(piece);
            })
        });
    assert!(in_time, "the machine is too slow to tell");
    let mark = if notices(&pty, mark) == 0 {
        mark
    } else {
        pty.mark()
    };
    seconds(2.5);
    assert_eq!((bells(&pty, mark), notices(&pty, mark)), (0, 0));
}

#[test]
fn while_the_editor_is_open_the_users_program_tells_and_the_terminal_is_left_alone() {
    let project = Project::new();
    let out = project.config.join("told");
    let script = format!(
        "env -0 > '{0}.new'; printf %s \"$1\" >> '{0}.new'; mv '{0}.new' '{0}'",
        out.display()
    );
    let say = project.script("say-it", &script);
    project.settle(&format!("command: [\"{say}\", \"$(id) two\"]"));
    let editor = project.script("editor", "echo editing; exec sleep 30");
    project.coat("pediment");
    let mut pty = project.open(&[("TERM_PROGRAM", "WezTerm"), ("EDITOR", &editor)]);
    pty.send("e");
    pty.wait_for("editing");
    let mark = pty.mark();
    until("the program", || out.exists());
    let text = String::from_utf8(std::fs::read(&out).unwrap()).unwrap();
    let of = |name: &str| {
        let found = text
            .split('\0')
            .find_map(|v| v.strip_prefix(&format!("{name}=")));
        found
            .unwrap_or_else(|| panic!("no {name} in {text}"))
            .to_owned()
    };
    assert_eq!(of("TANKSIDE_WHAT"), "dry");
    assert_eq!(of("TANKSIDE_PIECE"), "pediment");
    assert_eq!(of("TANKSIDE_PROJECT"), "Mantel clock");
    assert_eq!(
        (of("TANKSIDE_RING"), of("TANKSIDE_TANK")),
        ("1".into(), String::new())
    );
    assert!(of("TANKSIDE_NOTICE").starts_with("pediment: "));
    assert!(of("TANKSIDE_DUE_AT").ends_with('Z'));
    assert!(text.ends_with("$(id) two"), "no shell reads it: {text}");
    assert!(pty.since(mark).is_empty(), "the terminal is the editor's");
}

#[test]
fn a_program_that_fails_is_told_once_and_leaves_nothing_behind() {
    let project = Project::new();
    let say = project.script("say-it", "exit 3");
    project.settle(&format!("command: [\"{say}\"]"));
    project.coat("pediment");
    let pty = project.open(&[]);
    pty.wait_for("`say-it`, your program for notices, ended with exit status: 3");
    let pid: u32 = std::fs::read_to_string(pty.home().join("pid"))
        .unwrap()
        .trim()
        .parse()
        .unwrap();
    until("its end", || children(pid).is_empty());
}

/// The processes that a process has begun and not taken leave of; none where
/// the system does not say.
fn children(pid: u32) -> Vec<String> {
    let Ok(entries) = std::fs::read_dir("/proc") else {
        return Vec::new();
    };
    let stats = entries.filter_map(|e| std::fs::read_to_string(e.ok()?.path().join("stat")).ok());
    let of = format!(" {pid} ");
    stats
        .filter(|stat| {
            let rest = stat.rsplit_once(')').map_or("", |(_, rest)| rest);
            rest.get(2..).is_some_and(|rest| rest.starts_with(&of))
        })
        .collect()
}

#[test]
fn what_is_due_on_opening_is_told_without_a_key() {
    let project = Project::new();
    project.coat("pediment");
    seconds(4.0);
    let pty = project.open(&[]);
    let rang = (0..20).any(|_| {
        seconds(0.1);
        bells(&pty, 0) == 1
    });
    assert!(rang, "within two seconds");
    pty.wait_for("(b) silences the bell");
}

#[test]
fn a_silence_holds_for_every_program_and_is_recorded() {
    let project = Project::new();
    project.coat("pediment");
    let first = project.open(&[]);
    until("the bell", || bells(&first, 0) == 1);
    let done = project.run(&["silence", "--who", "Bo", "--json"]);
    assert!(done.status.success(), "{done:?}");
    assert_eq!(json(&done)["silenced"][0]["what"], "dry");
    first.wait_for("silenced by Bo");
    let second = project.open(&[]);
    seconds(2.0);
    assert_eq!(bells(&second, 0), 0, "it is silent from its beginning");
    // Something new rings in both, for itself alone.
    project.coat("dial");
    until("the bell", || {
        bells(&first, 0) == 2 && bells(&second, 0) == 1
    });
    let told = project.told();
    let last = told.as_array().unwrap().last().unwrap();
    assert_eq!(last["due"].as_array().unwrap().len(), 1, "{told}");
    assert_eq!(last["due"][0]["piece"], "dial");
    // The key does the same as the command.
    let mut first = first;
    first.send("b");
    until("the line", || {
        let told = project.told();
        let done = told
            .as_array()
            .unwrap()
            .iter()
            .filter(|n| n["done"] == "silenced");
        done.count() == 2
    });
    // The screen tells it too, the latest first.
    first.send("m");
    first.wait("what was told", |screen| {
        let shown = screen.contents();
        let place = |words: &str| shown.find(words);
        let (latest, before) = (place("dry dial due"), place("silenced (Bo): dry pediment"));
        latest.is_some() && latest < before
    });
}

#[test]
fn two_screens_start_the_users_program_once() {
    let project = Project::new();
    let out = project.config.join("told");
    let say = project.script("say-it", &format!("echo ring >> '{}'", out.display()));
    project.settle(&format!("command: [\"{say}\"]"));
    let screens = [project.open(&[]), project.open(&[])];
    project.coat("pediment");
    for screen in &screens {
        until("the bell", || bells(screen, 0) == 1);
    }
    until("the program", || out.exists());
    seconds(0.5);
    assert_eq!(std::fs::read_to_string(&out).unwrap(), "ring\n");
}

#[test]
fn settings_that_do_not_read_are_told_with_their_place_and_the_bell_rings_all_the_same() {
    let project = Project::new();
    project.settle("terminal: Osc8");
    project.coat("pediment");
    let pty = project.open(&[]);
    let told = |text: &str| text.contains("settings.ron:2:") && text.contains("Osc8");
    pty.wait("the fault", |screen| {
        told(&screen.contents().replace('\n', ""))
    });
    until("the bell", || bells(&pty, 0) == 1);
    let out = project.run_plain(&["settings"]);
    assert!(told(&String::from_utf8_lossy(&out.stderr)), "{out:?}");
}

#[test]
fn settings_tell_which_ways_are_open_here() {
    let project = Project::new();
    project.settle("command: [\"no-such-program-here\"]");
    let mut command = Command::new(PROGRAM);
    let out = command
        .arg("settings")
        .env_clear()
        .env("TANKSIDE_CONFIG_DIR", &project.config)
        .env("TERM", "foot")
        .env("PATH", "")
        .output()
        .unwrap();
    let text = String::from_utf8(out.stdout).unwrap();
    for part in [
        "bell: on",
        "terminal: OSC 777, for foot",
        "desktop: none",
        "not in PATH",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
}

// `wait`

/// A `wait` under way, whose output nobody has seen yet.
fn waiting(project: &Project, words: &[&str]) -> Child {
    project
        .command(&[&["wait"], words].concat())
        .spawn()
        .unwrap()
}

#[test]
fn wait_ends_when_something_becomes_due_and_says_what() {
    let project = Project::new();
    project.coat("pediment");
    let mut child = waiting(&project, &["--json", "--for", "dry", "--timeout", "20s"]);
    seconds(1.0);
    assert!(child.try_wait().unwrap().is_none(), "it is not due yet");
    let out = child.wait_with_output().unwrap();
    assert_eq!(out.status.code(), Some(0));
    let told = json(&out);
    assert_eq!(
        (&told["schema"], &told["name"]),
        (&1.into(), &"Mantel clock".into())
    );
    let due = &told["due"][0];
    assert_eq!(
        (&due["what"], &due["piece"]),
        (&"dry".into(), &"pediment".into())
    );
    let over = due["overdue_s"].as_f64().unwrap();
    assert!((0.0..1.0).contains(&over), "{over} s late");
    let again = project.run(&["wait", "--for", "pediment"]);
    let text = String::from_utf8(again.stdout).unwrap();
    assert!(text.starts_with("dry pediment: pediment: "), "{text}");
    assert_eq!(text.lines().count(), 1);
}

#[test]
fn wait_gives_up_after_its_time_and_leaves_out_what_was_due() {
    let project = Project::new();
    project.coat("pediment");
    seconds(4.0);
    for words in [&["--new"][..], &["--for", "dial"], &["--for", "look"]] {
        let out = project.run(&[&["wait", "--json", "--timeout", "1s"], words].concat());
        assert_eq!(out.status.code(), Some(1), "{out:?}");
        assert_eq!(json(&out)["refused"]["rule"], "nothing-due");
        assert!(
            json(&out)["refused"]["instead"][0]
                .as_str()
                .unwrap()
                .starts_with("tankside status")
        );
    }
    let child = waiting(&project, &["--json", "--new", "--timeout", "20s"]);
    seconds(0.3);
    project.coat("dial");
    let told = json(&child.wait_with_output().unwrap());
    assert_eq!(told["due"].as_array().unwrap().len(), 1, "{told}");
    assert_eq!(told["due"][0]["piece"], "dial");
}

#[test]
fn wait_does_not_tell_what_another_program_dealt_with() {
    let project = Project::new();
    project.coat("pediment");
    let child = waiting(&project, &["--timeout", "5s"]);
    seconds(2.0);
    project.deal_with("pediment");
    let out = child.wait_with_output().unwrap();
    assert_eq!(out.status.code(), Some(1), "{out:?}");
    assert!(out.stdout.is_empty());
}

#[test]
fn wait_knows_what_can_be_waited_for() {
    let project = Project::new();
    let out = project.run(&["wait", "--for", "luk", "--json"]);
    assert_eq!(out.status.code(), Some(2));
    let error = &json(&out)["error"];
    assert_eq!(error["kind"], "unknown-due");
    assert!(
        error["message"]
            .as_str()
            .unwrap()
            .contains("did you mean `look`")
    );
    assert!(
        project
            .run(&["wait", "--for", "main", "--timeout", "0s"])
            .status
            .code()
            == Some(1)
    );
}

#[test]
fn the_clock_of_wait_starts_where_it_is_told_and_runs_on() {
    let project = Project::new();
    let at = [
        "--at",
        "2026-03-02T18:00:00Z",
        "--now",
        "2026-03-02T18:00:01Z",
    ];
    let start = ["pediment", "start", "coat", "--override", "a trial"];
    project.record(&[&start[..], &at].concat());
    project.record(&[&["pediment", "coat"][..], &at].concat());
    let out = project.run(&[
        "wait",
        "--json",
        "--timeout",
        "20s",
        "--now",
        "2026-03-02T18:00:02Z",
    ]);
    let told = json(&out);
    let now = told["now"].as_str().unwrap();
    assert!(now.starts_with("2026-03-02T18:00:04"), "{told}");
}

#[test]
fn wait_goes_on_with_each_until_it_is_ended() {
    let project = Project::new();
    project.coat("pediment");
    seconds(1.0);
    project.coat("dial");
    let mut child = waiting(&project, &["--each", "--json"]);
    seconds(6.0);
    assert!(child.try_wait().unwrap().is_none());
    let sent = Command::new("kill")
        .arg(child.id().to_string())
        .status()
        .unwrap();
    assert!(sent.success());
    let out = child.wait_with_output().unwrap();
    assert_eq!(out.status.signal(), Some(15), "SIGTERM ends it at once");
    let text = String::from_utf8(out.stdout).unwrap();
    let pieces: Vec<Value> = text
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).unwrap()["due"][0]["piece"].clone())
        .collect();
    assert_eq!(pieces, ["pediment", "dial"]);
}

#[test]
fn wait_ends_when_the_project_is_damaged() {
    let project = Project::new();
    let child = waiting(&project, &["--json"]);
    seconds(1.0);
    std::fs::write(Path::new(project.path()).join("journal.ron"), "spoilt").unwrap();
    let out = child.wait_with_output().unwrap();
    assert_eq!(out.status.code(), Some(2), "{out:?}");
    assert_eq!(json(&out)["error"]["kind"], "journal");
}
