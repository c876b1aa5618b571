//! What only a real terminal shows: that it is given back, whatever happens,
//! and that nothing is written to it while nothing changes.

#![cfg(unix)]

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::thread;
use std::time::{Duration, UNIX_EPOCH};

use crate::support::long;
use crate::support::pty::Pty;
use tankside::clock::{Clock, SystemClock};
use tankside::settings::Settings;
use tankside::store::{Folder, LONG};
use tankside::tui::shell::{Tty, run};
use tankside::units::Instant;

const PROGRAM: &str = env!("CARGO_BIN_EXE_tankside");

const CLOCK: &str = r#"(
    format: 1,
    name: "Mantel clock",
    metal: "copper-acid",
    target: Mean("40um"),
    pieces: [
        (name: "pediment", area: "2.1dm2"),
        (name: "dial", area: "1.4dm2"),
    ],
)
"#;

/// A project that was just begun, in a folder that goes with it.
struct Project {
    _holds: tempfile::TempDir,
    folder: PathBuf,
}

impl Project {
    fn new() -> Self {
        let holds = tempfile::tempdir().unwrap();
        let folder = holds.path().join("clock");
        let begun = "2026-03-01T19:00:00Z".parse().unwrap();
        Folder::create(&folder, CLOCK, begun).unwrap();
        Self {
            _holds: holds,
            folder,
        }
    }

    fn path(&self) -> &str {
        self.folder.to_str().unwrap()
    }

    fn file(&self, name: &str) -> String {
        std::fs::read_to_string(self.folder.join(name)).unwrap()
    }

    /// Opens it on a screen that shows its pieces.
    fn open(&self, env: &[(&str, &str)]) -> Pty {
        let pty = Pty::run(PROGRAM, &["open", self.path()], env);
        shown(&pty);
        pty
    }

    /// Records from another program.
    fn record(&self, words: &[&str]) {
        let mut command = Command::new(PROGRAM);
        command.args(["record", self.path()]).args(words);
        let done = command.args(["--who", "Ada"]).output().unwrap();
        assert!(done.status.success(), "{done:?}");
    }
}

fn shown(pty: &Pty) {
    pty.wait_frame("the pieces on a screen of their own", |screen| {
        screen.alternate_screen() && screen.contents().contains("pediment")
    });
}

/// Waits until the minute has so many seconds left: the screens show minutes.
#[expect(
    clippy::disallowed_methods,
    reason = "a test of what the real clock does"
)]
fn with_seconds_left(seconds: u64) {
    let second = || {
        let now = std::time::SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .unwrap();
        now.as_secs() % 60
    };
    while second() == 0 || second() + seconds > 59 {
        thread::sleep(Duration::from_millis(100));
    }
}

#[test]
fn it_starts_and_quits_and_the_terminal_is_as_before() {
    let project = Project::new();
    let mut pty = project.open(&[]);
    pty.screen(|screen| {
        assert!(screen.hide_cursor() && screen.bracketed_paste());
        assert_eq!(screen.mouse_protocol_mode(), vt100::MouseProtocolMode::None);
    });
    pty.send("q");
    assert_eq!(pty.ended(), 0);
}

#[test]
fn control_c_leaves() {
    let project = Project::new();
    let mut pty = project.open(&[]);
    pty.send("\x03");
    assert_eq!(pty.ended(), 0);
}

#[test]
fn a_signal_to_end_gives_the_terminal_back() {
    let project = Project::new();
    for signal in ["TERM", "HUP", "INT", "QUIT"] {
        let pty = project.open(&[]);
        pty.signal(signal);
        assert_eq!(pty.ended(), 0, "after SIG{signal}");
    }
}

#[test]
fn control_z_and_its_signal_stop_and_fg_comes_back() {
    let project = Project::new();
    let mut pty = Pty::shell(&[]);
    pty.send(&format!(
        "sh -c 'echo $$ > $PID_FILE; exec {PROGRAM} open {}'; echo left with $?\r",
        project.path()
    ));
    shown(&pty);
    for by_signal in [false, true, false] {
        if by_signal {
            pty.signal("TSTP");
        } else {
            pty.send("\x1a");
        }
        pty.wait("the shell's prompt", |screen| {
            let shown = screen.contents();
            shown.contains("Stopped") && shown.trim_end().ends_with("ready>")
        });
        pty.screen(|screen| assert!(!screen.alternate_screen() && !screen.hide_cursor()));
        pty.send("stty -a | tr ' ' '\\n' | grep -cE '^-(icanon|echo|isig)$'; echo over\r");
        pty.wait_for("\nover");
        assert!(
            pty.contents().contains("\n0\nover"),
            "the shell types: {}",
            pty.contents()
        );
        pty.send("clear; fg\r");
        shown(&pty);
        pty.screen(|screen| assert!(screen.hide_cursor()));
    }
    pty.send("q");
    pty.wait("the shell", |screen| {
        !screen.alternate_screen() && screen.contents().trim_end().ends_with("ready>")
    });
    pty.given_back();
}

/// Runs one test of this file in a terminal of its own.
fn alone(test: &str) -> Pty {
    let this = std::env::current_exe().unwrap();
    let test = format!("pty::{test}");
    let words = ["--ignored", "--exact", &test, "--nocapture"];
    Pty::run(this.to_str().unwrap(), &words, &[])
}

#[test]
fn where_nobody_could_continue_it_nothing_stops_it() {
    let project = Project::new();
    let mut pty = project.open(&[]);
    pty.signal("TSTP");
    pty.answer("h");
    pty.wait_for("[Holds]");
    pty.send("q");
    assert_eq!(pty.ended(), 0);
}

#[test]
#[ignore = "run by the next test in a terminal of its own"]
fn panics_on_a_taken_terminal() {
    let mut tty = Tty::enter().unwrap();
    tty.draw(|frame| frame.render_widget("before the panic", frame.area()))
        .unwrap();
    panic!("the lamp fell into the tank");
}

#[test]
fn a_panic_gives_the_terminal_back_and_then_tells() {
    let pty = alone("panics_on_a_taken_terminal");
    assert_ne!(pty.ended(), 0);
    let written = String::from_utf8(pty.since(0)).unwrap();
    let left = written.find("\x1b[?1049l").unwrap();
    let told = written.find("the lamp fell into the tank").unwrap();
    assert!(left < told, "given back first, told second");
    assert_eq!(written.matches("\x1b[?1049l").count(), 1, "given back once");
}

/// A clock that goes to pieces after two seconds.
struct Falling(OnceLock<Instant>);

impl Clock for Falling {
    fn now(&self) -> Instant {
        let now = SystemClock.now();
        let begun = self.0.get_or_init(|| now);
        assert!(now.since(*begun) < 2.0, "the clock fell into the tank");
        now
    }
}

#[test]
#[ignore = "run by the next test in a terminal of its own"]
fn the_whole_screen_panics() {
    let project = Project::new();
    let clock = Falling(OnceLock::new());
    let _never = run(&project.folder, Ok(Settings::default()), &clock);
}

#[test]
fn a_panic_amid_the_evening_gives_the_terminal_back_with_all_threads_running() {
    let pty = alone("the_whole_screen_panics");
    assert_ne!(pty.ended(), 0);
    let written = String::from_utf8(pty.since(0)).unwrap();
    let (drawn, told) = written.split_once("\x1b[?1049l").unwrap();
    assert!(drawn.contains("pediment"), "it was drawn");
    assert!(told.contains("the clock fell into the tank"), "{told:?}");
    assert!(!told.contains("\x1b[?1049"), "given back once: {told:?}");
}

#[test]
#[ignore = "run by the next test in a terminal of its own"]
fn another_thread_panics_on_a_taken_terminal() {
    let mut tty = Tty::enter().unwrap();
    let mut draw = |text: &str| tty.draw(|frame| frame.render_widget(text, frame.area()));
    draw("before the panic").unwrap();
    let worker = thread::spawn(|| panic!("the lamp fell into the tank"));
    assert!(worker.join().is_err());
    draw("after the panic").unwrap();
    tty.title("a title after the panic").unwrap();
    tty.tell("\x07").unwrap();
}

#[test]
fn a_panic_of_another_thread_gives_it_back_and_nothing_is_drawn_any_more() {
    let pty = alone("another_thread_panics_on_a_taken_terminal");
    assert_eq!(pty.ended(), 0);
    let written = String::from_utf8(pty.since(0)).unwrap();
    let (drawn, told) = written.split_once("\x1b[?1049l").unwrap();
    assert!(drawn.contains("before"), "{written:?}");
    assert!(told.contains("the lamp fell into the tank"), "{written:?}");
    assert!(
        !told.contains("after the panic") && !told.contains('\x07'),
        "{written:?}"
    );
}

#[test]
fn a_keyboard_that_goes_away_ends_the_screen_with_a_word() {
    let project = Project::new();
    let keyboard = portable_pty::native_pty_system()
        .openpty(portable_pty::PtySize::default())
        .unwrap();
    let typed_on = keyboard.master.tty_name().unwrap();
    let from_there = format!(
        "exec {PROGRAM} open {} < {}",
        project.path(),
        typed_on.display()
    );
    let pty = Pty::run("sh", &["-c", &from_there], &[]);
    shown(&pty);
    drop(keyboard);
    assert_eq!(pty.ended(), 2);
    assert!(pty.contents().contains("error"), "{}", pty.contents());
}

#[test]
fn a_screen_that_goes_away_gives_the_keyboard_back() {
    let project = Project::new();
    let screen = portable_pty::native_pty_system()
        .openpty(portable_pty::PtySize::default())
        .unwrap();
    let shown_on = screen.master.tty_name().unwrap();
    let to_there = format!(
        "exec {PROGRAM} open {} > {}",
        project.path(),
        shown_on.display()
    );
    let mut pty = Pty::run("sh", &["-c", &to_there], &[]);
    let mut shown = screen.master.try_clone_reader().unwrap();
    let mut begun = [0; 4];
    std::io::Read::read_exact(&mut shown, &mut begun).unwrap();
    // A whole frame is out before the screen goes.
    thread::sleep(Duration::from_secs(1));
    drop((shown, screen));
    pty.send("p");
    assert_eq!(pty.ended(), 2);
    assert!(pty.contents().contains("cannot be read or written"));
}

#[test]
fn an_editor_that_leaves_the_terminal_a_mess_is_cleaned_up_after() {
    let project = Project::new();
    let home = tempfile::tempdir().unwrap();
    let editor = home.path().join("editor");
    // Keys of the kitty protocol and xterm's other keys are left on.
    let keys = r"printf '\033[>1u\033[>4;2m' > /dev/tty";
    let script = format!("#!/bin/sh\nstty raw -echo < /dev/tty\n{keys}\nexit 3\n");
    std::fs::write(&editor, script).unwrap();
    let run = format!("sh {}", editor.display());
    let mut pty = project.open(&[("EDITOR", &run)]);
    pty.send("e");
    pty.wait_for("ended with");
    let written = String::from_utf8(pty.since(0)).unwrap();
    let (_, since) = written.rsplit_once("\x1b[>4;2m").unwrap();
    assert!(since.contains("\x1b[>4m") && since.contains("\x1b[>0u"));
    pty.send("q");
    assert_eq!(pty.ended(), 0);
}

#[test]
fn without_colour_nothing_is_coloured_and_nothing_wiped() {
    let project = Project::new();
    let mut pty = project.open(&[("NO_COLOR", "1")]);
    pty.send("q");
    assert_eq!(pty.ended(), 0);
    let written = String::from_utf8(pty.since(0)).unwrap();
    let colours = select_graphic(&written);
    for numbers in colours {
        assert_ne!(numbers, "", "a bare reset wipes bold and reverse");
        for number in numbers.split(';').map(|n| n.parse::<u32>().unwrap()) {
            let colour = matches!(number, 30..=38 | 40..=48 | 90..=97 | 100..=107);
            assert!(!colour, "ESC [ {numbers} m is a colour");
        }
    }
}

/// The numbers of each `ESC [ … m`.
fn select_graphic(written: &str) -> Vec<&str> {
    let sequences = written.split("\x1b[").skip(1);
    sequences
        .filter_map(|rest| {
            let end = rest.find(|c: char| !(c.is_ascii_digit() || c == ';'))?;
            rest[end..].starts_with('m').then(|| &rest[..end])
        })
        .collect()
}

#[test]
fn while_nothing_runs_nothing_is_written() {
    let project = Project::new();
    let pty = project.open(&[]);
    with_seconds_left(10);
    // Whatever the last minute brought has been drawn by now.
    while !pty.listen(pty.mark(), Duration::from_secs(1)).is_empty() {}
    let written = pty.listen(pty.mark(), Duration::from_secs(5));
    assert!(
        written.is_empty(),
        "{:?}",
        String::from_utf8_lossy(&written)
    );
}

/// Writes down that a piece hung in the bath and was lifted out just now.
fn lifted(project: &Project) {
    for stage in ["coat", "wiring"] {
        project.record(&["pediment", "start", stage, "--override", "a trial"]);
        project.record(&["pediment", "finish", "--override", "a trial"]);
    }
    project.record(&["pediment", "start", "strike", "--override", "a trial"]);
    project.record(&["pediment", "lift"]);
}

#[test]
fn while_a_timer_shows_minutes_nothing_is_written_between_them() {
    let project = Project::new();
    // The timer's minute begins where it is written down.
    with_seconds_left(20);
    let begun = "-12min";
    project.record(&[
        "pediment",
        "start",
        "coat",
        "--at",
        begun,
        "--override",
        "a trial",
    ]);
    let pty = project.open(&[]);
    assert!(pty.contents().contains("12 min"), "{}", pty.contents());
    while !pty.listen(pty.mark(), Duration::from_secs(1)).is_empty() {}
    let written = pty.listen(pty.mark(), Duration::from_secs(5));
    assert!(
        written.is_empty(),
        "{:?}",
        String::from_utf8_lossy(&written)
    );
}

#[test]
fn a_shown_second_costs_a_few_bytes_and_one_frame() {
    let project = Project::new();
    with_seconds_left(25);
    lifted(&project);
    let pty = project.open(&[]);
    pty.wait_for("OUT");
    // The first frames are behind.
    thread::sleep(Duration::from_secs(2));
    let mark = pty.mark();
    thread::sleep(Duration::from_secs(6));
    let written = pty.since(mark);
    let frames = written
        .windows(6)
        .filter(|window| *window == b"\x1b[?25l")
        .count();
    assert!((4..=8).contains(&frames), "{frames} frames in 6 s");
    assert!(
        written.len() <= frames * 120,
        "{} bytes in {frames} frames: {:?}",
        written.len(),
        String::from_utf8_lossy(&written)
    );
}

#[test]
fn a_figure_is_copied_by_way_of_the_terminal() {
    let project = Project::new();
    let mut pty = project.open(&[]);
    pty.send("v");
    pty.wait_for("figures to copy");
    let mark = pty.mark();
    pty.send("2");
    pty.wait_for("copied: ");
    let written = String::from_utf8(pty.since(mark)).unwrap();
    let (_, rest) = written.split_once("\x1b]52;c;").unwrap();
    let (encoded, _) = rest.split_once('\x07').unwrap();
    let copied = decoded(encoded);
    assert!(
        copied.ends_with(" Ah") && copied.contains('\u{b1}'),
        "{copied}"
    );
    assert!(
        pty.contents().contains(&format!("copied: {copied} (")),
        "{}",
        pty.contents()
    );
    assert!(!copied.chars().any(char::is_control), "{copied:?}");
    assert_eq!(written.matches("\x1b]52").count(), 1);
}

/// RFC 4648, section 4, backwards.
fn decoded(text: &str) -> String {
    let digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let bit = |n: usize, shift: usize| u8::from(n >> (5 - shift) & 1 == 1);
    let numbers = text.chars().filter_map(|c| digits.find(c));
    let bits: Vec<u8> = numbers
        .flat_map(|n| (0..6).map(move |shift| bit(n, shift)))
        .collect();
    let bytes = bits.chunks_exact(8);
    let byte = |bits: &[u8]| bits.iter().fold(0, |byte, bit| byte << 1 | bit);
    String::from_utf8(bytes.map(byte).collect()).unwrap()
}

#[test]
fn another_size_is_drawn_anew() {
    let project = Project::new();
    let pty = project.open(&[]);
    for (rows, cols) in [(40, 120), (12, 40), (6, 20), (24, 80)] {
        let mark = pty.mark();
        pty.resize(rows, cols);
        assert!(
            !pty.listen(mark, Duration::from_secs(10)).is_empty(),
            "{cols}x{rows}"
        );
    }
    shown(&pty);
}

#[test]
fn what_another_program_records_appears_within_a_second() {
    let project = Project::new();
    let pty = project.open(&[]);
    with_seconds_left(10);
    let before = pty.contents();
    project.record(&["pediment", "start", "coat", "--override", "a trial"]);
    let changed = pty.within(Duration::from_secs(1), |screen| screen.contents() != before);
    assert!(changed.is_ok(), "still\n{before}");
}

#[test]
fn killed_and_opened_again_it_shows_what_it_showed() {
    let project = Project::new();
    let started = [
        "pediment",
        "start",
        "coat",
        "--at",
        "-12min",
        "--override",
        "a trial",
    ];
    project.record(&started);
    with_seconds_left(20);
    let pty = project.open(&[]);
    let before = pty.contents();
    pty.signal("KILL");
    pty.wait_for("left with 137");
    let again = project.open(&[]);
    again.wait("the same screen", |screen| screen.contents() == before);
}

#[test]
fn a_terminal_that_goes_away_ends_the_program() {
    let project = Project::new();
    let pty = project.open(&[]);
    let pid = std::fs::read_to_string(pty.home().join("pid")).unwrap();
    drop(pty);
    let lives = || {
        let asked = Command::new("kill")
            .args(["-s", "0", pid.trim()])
            .output()
            .unwrap();
        asked.status.success()
    };
    let ended = (0..100).any(|_| {
        thread::sleep(Duration::from_millis(100));
        !lives()
    });
    assert!(ended, "it goes on without a terminal");
}

#[test]
fn an_edit_that_does_takes_the_place_of_the_file() {
    let project = Project::new();
    let mut pty = project.open(&[("EDITOR", "sed -i.was s/pediment/finial/")]);
    pty.send("e");
    pty.wait_for("finial");
    assert_eq!(
        project.file("project.ron"),
        CLOCK.replace("pediment", "finial")
    );
    assert!(!project.folder.join("project.edited.ron").exists());
    pty.send("q");
    assert_eq!(pty.ended(), 0);
}

#[test]
fn an_edit_that_does_not_do_is_kept_and_the_file_stays() {
    let project = Project::new();
    let mut pty = project.open(&[
        ("VISUAL", "sed -i.was s/metal:/mettle:/"),
        ("EDITOR", "false"),
    ]);
    pty.send("e");
    pty.wait_for("project.edited.ron:4:");
    assert_eq!(project.file("project.ron"), CLOCK);
    assert_eq!(
        project.file("project.edited.ron"),
        CLOCK.replace("metal:", "mettle:")
    );
    pty.send("\x03");
    assert_eq!(pty.ended(), 0);
}

#[test]
fn without_an_editor_it_says_which_variable_to_set() {
    let project = Project::new();
    let mut pty = project.open(&[]);
    pty.send("e");
    pty.wait_for("EDITOR");
    assert!(!project.folder.join("project.edited.ron").exists());
}

#[test]
fn without_a_terminal_or_on_a_dumb_one_it_says_what_works_instead() {
    let project = Project::new();
    let piped = Command::new(PROGRAM)
        .args(["open", project.path()])
        .output()
        .unwrap();
    assert_eq!(piped.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&piped.stderr).contains("tankside status"));
    // A keyboard without a screen, a screen without a keyboard.
    for redirected in ["> /dev/null", "< /dev/null", "< /dev/null > /dev/null"] {
        let command = format!("{PROGRAM} open {} {redirected}", project.path());
        let pty = Pty::run("sh", &["-c", &command], &[]);
        assert_eq!(pty.ended(), 2, "{redirected}");
        assert!(pty.contents().contains("tankside status"), "{redirected}");
    }
    let pty = Pty::run(PROGRAM, &["open", project.path()], &[("TERM", "dumb")]);
    assert_eq!(pty.ended(), 2);
    assert!(pty.contents().contains("TERM"));
}

#[test]
fn a_clock_given_for_the_screen_runs_on_from_there() {
    let project = Project::new();
    let args = ["open", project.path(), "--now", "2026-03-01T20:14:52Z"];
    let pty = Pty::run(PROGRAM, &args, &[]);
    pty.wait("the clock given", |screen| {
        screen.contents().contains("20:14")
    });
    pty.wait("it runs", |screen| screen.contents().contains("20:15"));
}

#[test]
fn without_a_place_for_its_errors_the_screen_is_shown_all_the_same() {
    let project = Project::new();
    let command = format!("{PROGRAM} open {} 2> /dev/null", project.path());
    let mut pty = Pty::run("sh", &["-c", &command], &[]);
    shown(&pty);
    pty.send("q");
    assert_eq!(pty.ended(), 0);
}

#[test]
fn a_reader_that_has_gone_is_no_error() {
    let project = Project::new();
    let home = tempfile::tempdir().unwrap();
    let asked: [&[&str]; 9] = [
        &["status", project.path()],
        &["status", project.path(), "--json"],
        &["history", project.path()],
        &["sheet", project.path()],
        &["gates", project.path(), "dial"],
        &["try"],
        &["man"],
        &["--help"],
        &["completions", "bash"],
    ];
    for words in asked {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let done = Command::new(PROGRAM)
            .args(words)
            .env("TMPDIR", home.path())
            .env("HOME", home.path())
            .current_dir(home.path())
            .stdout(writer)
            .output()
            .unwrap();
        assert_eq!(done.status.code(), Some(0), "{words:?}: {done:?}");
        let said = String::from_utf8_lossy(&done.stderr);
        assert!(!said.contains("error"), "{words:?}: {said}");
    }
}

#[test]
fn a_palette_is_drawn_in_24_bits_where_the_terminal_has_them() {
    let project = Project::new();
    let place = tempfile::tempdir().unwrap();
    std::fs::write(place.path().join("settings.ron"), "(palette: Dark)").unwrap();
    let config = place.path().to_str().unwrap();
    let written = |more: (&str, &str)| {
        let pty = project.open(&[("TANKSIDE_CONFIG_DIR", config), more]);
        String::from_utf8(pty.since(0)).unwrap()
    };
    assert!(written(("COLORTERM", "truecolor")).contains("\x1b[38;2;"));
    assert!(!written(("COLORTERM", "")).contains("\x1b[38;2;"));
    let told = Command::new(PROGRAM)
        .arg("settings")
        .env("TANKSIDE_CONFIG_DIR", config)
        .env("COLORTERM", "")
        .env("NO_COLOR", "")
        .output()
        .unwrap();
    let told = String::from_utf8(told.stdout).unwrap();
    assert!(told.contains("palette: Dark"), "{told}");
    assert!(told.contains("COLORTERM"), "{told}");
}

#[test]
fn settings_of_the_user_are_taken() {
    let project = Project::new();
    let with = |settings: &str| {
        let place = tempfile::tempdir().unwrap();
        std::fs::write(place.path().join("settings.ron"), settings).unwrap();
        let config = place.path().to_str().unwrap().to_owned();
        let pty = project.open(&[("NO_COLOR", "1"), ("TANKSIDE_CONFIG_DIR", &config)]);
        let written = String::from_utf8(pty.since(0)).unwrap();
        let is_ascii = Path::new(&config).exists() && pty.contents().is_ascii();
        (written.contains("\x1b[38;5;"), is_ascii)
    };
    assert_eq!(with("(ascii: true, colour: false)"), (false, true));
    assert_eq!(with("(ascii: true, colour: true)"), (true, true));
}

/// A start from what was kept: keys are answered while the keeper still reads
/// the journal, and what is recorded then is on the disk in the end.
#[test]
fn a_long_project_is_shown_from_what_was_kept_and_answers_while_it_is_read() {
    let holds = tempfile::tempdir().unwrap();
    let (path, cache) = (holds.path().join("forty"), holds.path().join("cache"));
    let events = LONG * 4;
    long::lay_out(&path, events);
    let folder = path.to_str().unwrap();
    let env = [("TANKSIDE_CACHE_DIR", cache.to_str().unwrap())];
    let open = || {
        let pty = Pty::run(PROGRAM, &["open", folder], &env);
        pty.wait_frame("the project", |s| s.contents().contains("Forty pieces"));
        pty
    };
    let mut pty = open();
    pty.send("\x03");
    assert_eq!(pty.ended(), 0);
    assert_eq!(std::fs::read_dir(&cache).unwrap().count(), 1, "it was kept");
    assert!(
        Folder::glimpse(&path, &cache).is_none(),
        "only for that very program"
    );

    let mut pty = open();
    let answers = (0..5).map(|_| pty.answer("\t"));
    let quickest = answers.min().unwrap();
    assert!(quickest < Duration::from_millis(100), "{quickest:?}");
    // As soon as all is read, the last record can be taken back.
    let asks = (0..10).any(|_| {
        pty.send("-");
        let asked = |s: &vt100::Screen| s.contents().contains(&format!("undo #{events}"));
        pty.within(Duration::from_secs(2), asked).is_ok()
    });
    assert!(asks, "{}", pty.contents());
    pty.send("\x03");
    assert_eq!(pty.ended(), 0);
}

/// The fern lamp in a folder of its own, on a screen that shows a print.
fn with_a_print(env: &[(&str, &str)]) -> (tempfile::TempDir, Pty) {
    let holds = tempfile::tempdir().unwrap();
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-projects/fern-lamp");
    let folder = holds.path().join("lamp");
    std::fs::create_dir_all(folder.join("meshes")).unwrap();
    for file in ["project.ron", "journal.ron", "meshes/crozier.stl"] {
        std::fs::copy(sample.join(file), folder.join(file)).unwrap();
    }
    let args = [
        "open",
        folder.to_str().unwrap(),
        "--now",
        "2026-03-04T20:05:00Z",
    ];
    let mut pty = Pty::run(PROGRAM, &args, env);
    pty.wait_frame("the lamp", |s| s.contents().contains("crozier"));
    let place = std::fs::read_to_string(sample.join("project.ron")).unwrap();
    let names = place.lines().filter(|line| line.contains("mesh:"));
    let digit = names.take_while(|line| !line.contains("crozier")).count() + 1;
    pty.send(&format!("p{digit}d"));
    (holds, pty)
}

#[test]
fn a_print_is_turned_by_keys_and_the_terminal_is_as_before() {
    let (_holds, mut pty) = with_a_print(&[]);
    pty.wait_frame("the print", |s| s.contents().contains("wetted"));
    let written = String::from_utf8_lossy(&pty.since(0)).into_owned();
    assert!(!written.contains("\x1b_G") && !written.contains("\x1bP"));
    pty.send("66");
    pty.wait_frame("it turned", |s| s.contents().contains("turned 60 right"));
    pty.send("\x1b[A*8");
    pty.wait_frame("the marker", |s| s.contents().contains("triangle"));
    pty.send("-\x03");
    assert_eq!(pty.ended(), 0);
}

/// Waits until the program has written this.
fn written(pty: &Pty, mark: usize, text: &str) -> String {
    for _ in 0..1000 {
        let since = String::from_utf8_lossy(&pty.since(mark)).into_owned();
        if since.contains(text) {
            return since;
        }
        thread::sleep(Duration::from_millis(20));
    }
    panic!("never {text:?}: {:?}", pty.contents());
}

#[test]
fn a_terminal_that_has_pictures_is_given_one_and_it_is_taken_away_again() {
    for (answer, begin, gone) in [
        ("\x1b_Gi=7301;OK\x1b\\\x1b[?62c", "\x1b_Ga=T", "\x1b_Ga=d"),
        ("\x1b[6;16;8t\x1b[?62;4c", "\x1bP0;1q", "X\x1b8"),
    ] {
        let (_holds, mut pty) = with_a_print(&[]);
        written(&pty, 0, "\x1b[c");
        pty.send("\x1b[?62;4c");
        written(&pty, 0, "\x1b[16t");
        // A key amid the answers turns the print all the same.
        pty.send(&format!("6{answer}"));
        written(&pty, 0, begin);
        pty.wait("it turned", |s| s.contents().contains("turned 45 right"));
        let mark = pty.mark();
        pty.send("6");
        written(&pty, mark, begin);
        let mark = pty.mark();
        pty.send("\x1b");
        written(&pty, mark, gone);
        pty.send("d");
        written(&pty, mark, begin);
        let mark = pty.mark();
        pty.send("\x03");
        assert_eq!(pty.ended(), 0);
        if begin.contains('G') {
            assert!(String::from_utf8_lossy(&pty.since(mark)).contains(gone));
        }
    }
}

/// A cube of 20 mm as ASCII STL, turned outwards.
fn cube() -> String {
    let corner = |n: u8| [0, 1, 2].map(|bit| (n >> bit & 1) * 20);
    let sides = [
        [0, 2, 3, 1],
        [4, 5, 7, 6],
        [0, 1, 5, 4],
        [2, 6, 7, 3],
        [0, 4, 6, 2],
        [1, 3, 7, 5],
    ];
    let halves = sides.map(|[a, b, c, d]| [[a, b, c], [a, c, d]]);
    let facets = halves.as_flattened().iter().map(|corners| {
        let vertices = corners.map(|n| {
            let [x, y, z] = corner(n);
            format!("vertex {x} {y} {z}\n")
        });
        let vertices = vertices.concat();
        format!("facet normal 0 0 0\nouter loop\n{vertices}endloop\nendfacet\n")
    });
    format!("solid\n{}endsolid\n", facets.collect::<String>())
}

#[test]
fn a_mask_put_on_and_taken_off_by_the_keypad_is_as_a_survey_says() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("project.ron");
    let project = r#"(format: 1, name: "Cube", metal: "nickel", target: Mean("9um"), pieces: [
    (name: "cube", mesh: (file: "cube.stl", unit: "mm")), // printed twice
])"#;
    std::fs::write(&file, project).unwrap();
    std::fs::write(folder.path().join("cube.stl"), cube()).unwrap();
    let project = || std::fs::read_to_string(&file).unwrap();
    let mut pty = Pty::run(PROGRAM, &["open", folder.path().to_str().unwrap()], &[]);
    pty.wait_frame("the cube", |s| s.contents().contains("cube"));
    pty.send("p1d");
    pty.wait_frame("the print", |s| s.contents().contains("wetted"));
    pty.send("*");
    pty.wait_frame("the marker", |s| s.contents().contains("triangle"));
    // A patch up to the edges: one side of six. Crease and name stand ready.
    pty.send("\r1\r\r");
    pty.wait_frame("the mask", |s| {
        let text = s.contents();
        text.contains("masked by mask1") && text.contains("wetted ~0.200 dm2, 83 %")
    });
    let masked = project();
    assert!(
        masked.contains("name: \"mask1\", shape: \"patch:"),
        "{masked}"
    );
    for part in [
        "area: \"0.24dm2\"",
        "takes: \"0.04dm2\"",
        "// printed twice",
    ] {
        assert!(masked.contains(part), "{part}: {masked}");
    }
    let survey = || {
        let mut command = Command::new(PROGRAM);
        let out = command.arg("survey").arg(folder.path()).output();
        String::from_utf8(out.unwrap().stdout).unwrap()
    };
    let told = survey();
    assert!(told.contains("as before"), "{told}");
    pty.send("\r7");
    pty.wait_frame("the question", |s| {
        s.contents().contains("take off the mask mask1?")
    });
    pty.send("\r");
    pty.wait_frame("it is off", |s| {
        let text = s.contents();
        text.contains("triangle") && text.contains("wetted ~0.240 dm2, 100 %")
    });
    assert!(!project().contains("patch:"), "{}", project());
    assert!(survey().contains("as before"));
    pty.send("\x03");
    assert_eq!(pty.ended(), 0);
}
