//! The first hour of a person who has never seen the program: what it says
//! alone, where the empty project leads, and one sentence for each trouble.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a test that fails panics; a newcomer waits in real time"
)]
#![cfg(unix)]

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use crate::screens_support::{Hands, definition};
use crate::support::pty::Pty;
use tankside::project::Project;
use tankside::tui::app::{Message, Model, Spot, update};

const PROGRAM: &str = env!("CARGO_BIN_EXE_tankside");

/// A folder of a person who begins.
struct Home {
    dir: tempfile::TempDir,
}

struct Said {
    status: i32,
    out: String,
    err: String,
}

impl Home {
    fn new() -> Self {
        Self {
            dir: tempfile::tempdir().unwrap(),
        }
    }

    /// With a project `bell` in it, without a piece.
    fn with_bell() -> Self {
        let home = Self::new();
        home.done(NEW);
        home
    }

    fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    fn command(&self, line: &str) -> Command {
        self.command_in("", line)
    }

    fn command_in(&self, dir: &str, line: &str) -> Command {
        let mut command = Command::new(PROGRAM);
        command
            .args(line.split(' ').filter(|w| !w.is_empty()))
            .current_dir(self.path(dir))
            .stdin(Stdio::null())
            .env("HOME", self.dir.path())
            .env("TANKSIDE_CONFIG_DIR", self.path("config"))
            .env("TANKSIDE_TRY_DIR", self.path("try"))
            .env("USER", "ida");
        command
    }

    fn say(&self, line: &str) -> Said {
        said(&mut self.command(line))
    }

    #[track_caller]
    fn done(&self, line: &str) -> String {
        let said = self.say(line);
        assert_eq!(said.status, 0, "{line}: {}", said.err);
        said.out
    }

    /// What is wrong and what would do, as printed: a line or two, and a last
    /// one that is no repetition of the first.
    #[track_caller]
    fn trouble(&self, line: &str) -> String {
        trouble(&self.say(line), line)
    }
}

const NEW: &str = "new bell --name Bell --metal copper-acid --mean 40um --zone UTC";

fn said(command: &mut Command) -> Said {
    let out = command.output().unwrap();
    Said {
        status: out.status.code().unwrap_or(-1),
        out: String::from_utf8(out.stdout).unwrap(),
        err: String::from_utf8(out.stderr).unwrap(),
    }
}

#[track_caller]
fn trouble(said: &Said, what: &str) -> String {
    assert!((1..=2).contains(&said.status), "{what}: {}", said.err);
    assert!(said.out.is_empty(), "{what}: {}", said.out);
    let first = said.err.lines().next().unwrap_or_default();
    let leads = ["error: ", "refused ("]
        .iter()
        .any(|l| first.starts_with(l));
    assert!(leads && first.len() > 20, "{what}: {}", said.err);
    let last = said.err.lines().last().unwrap_or_default();
    let way_out = last.starts_with("  ") && last.len() > 10;
    assert!(way_out, "{what}: what would do? {}", said.err);
    assert!(!said.err.contains("panicked"), "{}", said.err);
    said.err.clone()
}

#[track_caller]
fn tells(text: &str, parts: &[&str]) {
    for part in parts {
        assert!(text.contains(part), "`{part}` is not in:\n{text}");
    }
}

#[test]
fn alone_it_says_what_to_do_and_every_line_of_it_works() {
    let home = Home::new();
    let welcome = home.done("");
    let commands: Vec<&str> = welcome
        .lines()
        .filter_map(|l| l.strip_prefix("  tankside "))
        .filter_map(|l| l.split("   ").next())
        .map(str::trim)
        .collect();
    assert_eq!(commands.len(), 5, "{welcome}");
    let mesh = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/sample-projects/table-bell/meshes/bell.stl"
    );
    std::fs::copy(mesh, home.path("stem.stl")).unwrap();
    for command in commands {
        if command.starts_with("open") {
            continue;
        }
        home.done(command);
    }
    // Where a project is at hand, it says how to open it.
    tells(&home.done(""), &["tankside open lamp\n"]);
    let inside = said(&mut home.command_in("lamp", ""));
    tells(&inside.out, &["tankside open .\n"]);
    // Help by any of its names.
    for help in ["--help", "-h", "help"] {
        tells(&home.done(help), &["Usage: tankside", "try"]);
    }
    tells(&home.done("help add"), &["--mesh", "--area"]);
}

#[test]
fn a_sample_opens_in_seconds() {
    let home = Home::new();
    let begun = Instant::now();
    let place = home.path("try");
    let pty = Pty::run(
        PROGRAM,
        &["try"],
        &[("TANKSIDE_TRY_DIR", place.to_str().unwrap())],
    );
    pty.wait("the sample", |s| s.contents().contains("Fern floor lamp"));
    assert!(begun.elapsed() < Duration::from_secs(5));
}

#[test]
fn the_wrong_folder_has_its_sentence() {
    let home = Home::with_bell();
    std::fs::create_dir(home.path("empty")).unwrap();
    let none = home.trouble("open nowhere");
    // The folder is named once.
    tells(
        &none,
        &["error: there is no folder nowhere\n", "tankside new"],
    );
    let empty = home.trouble("status empty");
    tells(
        &empty,
        &["there is no project.ron in empty", "tankside new"],
    );
    let file = home.trouble("status bell/project.ron");
    tells(&file, &["a file, not a folder", "project.ron lies"]);
    // One above the project, with and without its name.
    for line in ["open", "status", "open ."] {
        tells(&home.trouble(line), &["no project.ron", "here are: bell"]);
    }
    // Inside it no name is needed.
    let inside = said(&mut home.command_in("bell", "status"));
    assert_eq!(inside.status, 0, "{}", inside.err);
    tells(&inside.out, &["Bell"]);
    // The folder alone, without the word.
    tells(&home.trouble("./bell"), &["`tankside open ./bell`"]);
    tells(&home.trouble("opne bell"), &["open"]);
    let again = home.trouble(NEW);
    tells(&again, &["is there already", "empty or new"]);
}

#[test]
fn what_was_left_out_is_asked_for_with_both_choices() {
    let home = Home::with_bell();
    tells(
        &home.trouble("new lamp"),
        &[
            "--name",
            "--metal",
            "--mean",
            "--minimum",
            "tankside new --help",
        ],
    );
    tells(
        &home.trouble("add bell clapper"),
        &["--mesh", "--area", "tankside add --help"],
    );
    let metal = home.trouble("new lamp --name Lamp --metal copper --mean 40um");
    tells(&metal, &["copper-acid", "nickel"]);
    let bare = home.trouble("new lamp --name Lamp --metal nickel --mean 40");
    tells(&bare, &["unit", "um"]);
}

#[test]
fn a_print_that_is_not_there_or_none_has_its_sentence() {
    let home = Home::with_bell();
    let file = |name: &str, bytes: &[u8]| std::fs::write(home.path(name), bytes).unwrap();
    file("empty.stl", b"");
    file("words.stl", b"this is a letter, not a print\n");
    file("zip.3mf", b"PK\x03\x04\x14\x00\x00\x00\x08\x00abcdefgh");
    file("scene.glb", b"glTF\x02\x00\x00\x00");
    for (mesh, parts) in [
        ("none.stl", ["no such file", "spelling"]),
        ("bell", ["regular file", "name a file"]),
        ("empty.stl", ["is empty", "again"]),
        ("words.stl", ["words.stl", "STL"]),
        ("zip.3mf", ["3MF", "again"]),
        ("scene.glb", ["glTF", "STL"]),
    ] {
        let said = home.trouble(&format!("add bell clapper --mesh {mesh}"));
        tells(&said, &parts);
    }
    assert!(
        !home.done("status bell").contains("clapper"),
        "nothing was added"
    );
    home.done("add bell yoke --area 1dm2");
    tells(&home.done("status bell"), &["conductive coat waiting "]);
    home.done("record bell yoke tick primed no-weep --who ida");
    home.done("record bell yoke start coat --override tried --who ida");
    let marked = home.done("status bell");
    tells(&marked, &["conductive coat running ", "1 mark\n"]);
    let mesh = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/sample-projects/table-bell/meshes/bell.stl"
    );
    // A slip in the unit: asked when assumed, said when told.
    let huge = home.say(&format!("add bell clapper --mesh {mesh} --unit m"));
    assert_eq!(huge.status, 0);
    tells(&huge.err, &["86000 mm", "taken as told"]);
}

#[test]
fn without_a_terminal_it_says_what_works_instead() {
    let home = Home::with_bell();
    tells(
        &home.trouble("open bell"),
        &["needs a terminal", "tankside status"],
    );
    let path = home.path("bell");
    let args = ["open", path.to_str().unwrap()];
    let pty = Pty::run(PROGRAM, &args, &[("TERM", "dumb")]);
    assert_eq!(pty.ended(), 2);
    tells(&pty.contents(), &["TERM is `dumb`", "tankside status"]);
}

#[test]
fn whoever_stops_reading_stops_nothing() {
    let home = Home::with_bell();
    for line in ["man", "status bell", "--help", "completions bash"] {
        let mut child = home
            .command(line)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut first = String::new();
        let mut out = BufReader::with_capacity(1, child.stdout.take().unwrap());
        out.read_line(&mut first).unwrap();
        drop(out);
        let ended = child.wait_with_output().unwrap();
        assert!(ended.status.success(), "{line}");
        assert_eq!(String::from_utf8_lossy(&ended.stderr), "", "{line}");
    }
}

#[test]
fn without_home_and_name_it_still_records() {
    let home = Home::with_bell();
    home.done("add bell clapper --area 2dm2");
    let mut bare = home.command("record bell clapper note x");
    let said = said(
        bare.env_clear()
            .env("TANKSIDE_CONFIG_DIR", home.path("config")),
    );
    assert_eq!(said.status, 0, "{}", said.err);
    tells(&home.done("history bell"), &["unknown", "note on clapper"]);
}

/// Whoever runs the tests may be root, whom no permission stops; then the
/// program is run as nobody.
fn as_nobody(home: &Home, line: &str) -> Option<Said> {
    let is_root = std::fs::write(home.path("bell/probe"), "").is_ok();
    if !is_root {
        return Some(home.say(line));
    }
    std::fs::remove_file(home.path("bell/probe")).unwrap();
    let program = home.path("tankside");
    std::fs::copy(PROGRAM, &program).unwrap();
    let mut command = Command::new("setpriv");
    command
        .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
        .arg(program)
        .args(line.split(' '))
        .current_dir(home.dir.path())
        .env("TANKSIDE_CONFIG_DIR", home.path("bell/config"))
        .env("TANKSIDE_TRY_DIR", home.path("bell/try"));
    // A machine without the tool cannot tell.
    command.output().ok()?;
    Some(said(&mut command))
}

fn mode(path: &Path, mode: u32) {
    use std::os::unix::fs::PermissionsExt as _;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
}

#[test]
fn a_folder_that_cannot_be_written_is_still_read_and_has_its_sentence() {
    let home = Home::with_bell();
    home.done("add bell clapper --area 2dm2");
    mode(home.dir.path(), 0o755);
    mode(&home.path("bell/journal.ron"), 0o444);
    mode(&home.path("bell/project.ron"), 0o444);
    mode(&home.path("bell"), 0o555);
    let of = |line: &str| as_nobody(&home, line);
    let Some(status) = of("status bell") else {
        return;
    };
    assert_eq!(status.status, 0, "{}", status.err);
    for line in [
        "record bell clapper note x",
        "add bell lip --area 1dm2",
        "set bell name x",
        "new bell/inside --name N --metal zinc --mean 4um",
        "settings --who Ida",
        "try",
    ] {
        let said = trouble(&of(line).unwrap(), line);
        tells(&said, &["bell", "ermission"]);
    }
    mode(&home.path("bell"), 0o755);
    assert!(!home.done("history bell").contains("note"));
}

#[test]
fn on_a_full_disk_nothing_is_half_made() {
    let home = Home::new();
    let disk = home.path("disk");
    std::fs::create_dir(&disk).unwrap();
    let mounted = Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=40k", "tmpfs"])
        .arg(&disk)
        .output();
    if !mounted.is_ok_and(|out| out.status.success()) {
        // Only root mounts; `store_failing` fails every operation in memory.
        return;
    }
    let line = NEW.replace("new bell", "new disk/bell");
    // Page by page more room: what failed never stands in the way.
    let mut attempts = (0..=10_usize).rev().map(|pages| {
        std::fs::write(disk.join("fill"), vec![0; pages * 4096]).unwrap();
        home.say(&line)
    });
    let failed: Vec<Said> = attempts
        .by_ref()
        .take_while(|said| said.status != 0)
        .collect();
    let left = attempts.count();
    let unmounted = Command::new("umount").arg(&disk).status().unwrap();
    assert!(unmounted.success());
    assert!(failed.len() > 1 && left > 0, "{} failed", failed.len());
    for said in failed {
        let told = trouble(&said, "new on a full disk");
        tells(&told, &["No space left", "free some space"]);
    }
}

#[test]
fn an_editor_that_is_missing_or_fails_has_its_sentence() {
    let home = Home::with_bell();
    let path = home.path("bell");
    for (editor, parts) in [
        ("", ["VISUAL", "export EDITOR=nano"]),
        (
            "no-such-editor",
            ["`no-such-editor` does not start", "VISUAL or EDITOR"],
        ),
        ("false", ["`false` ended with", "as it was"]),
    ] {
        let args = ["open", path.to_str().unwrap()];
        let mut pty = Pty::run(PROGRAM, &args, &[("EDITOR", editor)]);
        pty.wait_frame("the first steps", |s| {
            s.contents().contains("A new project")
        });
        pty.send("e");
        // The sentence may be broken between words.
        let joined = |s: &vt100::Screen| {
            s.contents()
                .split_whitespace()
                .collect::<Vec<_>>()
                .join(" ")
        };
        pty.wait("the sentence", |s| {
            parts.iter().all(|p| joined(s).contains(p))
        });
        pty.send("q");
        assert_eq!(pty.ended(), 0);
    }
}

#[test]
fn the_empty_project_leads_to_the_first_piece_and_the_first_stage() {
    let home = Home::with_bell();
    let path = home.path("bell");
    let mut pty = Pty::run(PROGRAM, &["open", path.to_str().unwrap()], &[]);
    pty.wait_frame("the first steps", |s| {
        s.contents().contains("A new project")
    });
    // The command is whole and for this very folder; it may be broken between words.
    let shown = pty
        .contents()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    let wanted = format!("tankside add {} base --area 6.84dm2", path.display());
    assert!(shown.contains(&wanted), "{shown}");
    let said = said(Command::new(PROGRAM).args(wanted.split(' ').skip(1)));
    assert_eq!(said.status, 0, "{}", said.err);
    // The screen follows, and the next step is one key.
    pty.wait_for("next for base: conductive coat");
    pty.send("\r");
    pty.wait_for("base: what can be done now");
    pty.send("1");
    pty.wait_for("primed");
    pty.send("\x03");
    assert_eq!(pty.ended(), 0);
}

#[test]
fn at_every_size_the_empty_project_shows_a_whole_command() {
    let project = Project::new(
        definition(&[]),
        Vec::new(),
        std::collections::BTreeMap::new(),
    )
    .unwrap();
    let now = "2026-03-02T17:00:00Z".parse().unwrap();
    let model = Model::new(project, None, now).in_folder("/home/ida/it's here/lamp");
    let mut hands = Hands::of(model, now);
    for (width, height) in [(40, 20), (80, 24), (120, 40), (200, 60)] {
        let text = hands.text(width, height);
        let shown = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let command = r"tankside add '/home/ida/it'\''s here/lamp' stem --mesh stem.stl";
        assert!(shown.contains(command), "{text}");
    }
    // Where there was only a tank to select, the first piece is selected.
    assert!(matches!(hands.model.spot, Some(Spot::Tank(_)) | None));
    let project = Project::new(
        definition(&["stem"]),
        Vec::new(),
        std::collections::BTreeMap::new(),
    );
    update(
        &mut hands.model,
        Message::Project(Box::new(project.unwrap())),
        now,
    );
    assert_eq!(hands.model.selected_piece(), Some("stem"));
    let text = hands.text(40, 20);
    assert!(
        text.contains("next for stem: conductive coat Enter"),
        "{text}"
    );
}
