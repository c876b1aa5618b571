//! Nothing raw: whatever stands in names, notes, files, arguments and the
//! environment, nothing of it acts on the terminal, and nothing floods it.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a test that fails panics; how long a frame takes is real time"
)]
#![cfg(unix)]

use std::collections::BTreeMap;
use std::ffi::{OsStr, OsString};
use std::os::unix::ffi::OsStrExt as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use tankside::project::{Lead, Project, What};
use tankside::report::sheet::Sheet;
use tankside::report::text;
use tankside::tui::app::{Failure, Key, Message, Model, update};
use tankside::tui::view::Theme;
use tankside::units::MM;
use unicode_segmentation::UnicodeSegmentation as _;

use crate::screens_support::{Hands, evening, evening_of};
use crate::support::pty::Pty;

/// What hostile or merely foreign texts hold; each stands for many.
const HOSTILE: &[(&str, &str)] = &[
    ("clear screen", "a\u{1b}[2Jb"),
    ("window title", "a\u{1b}]0;owned\u{7}b"),
    (
        "hyperlink",
        "a\u{1b}]8;;http://x\u{1b}\\b\u{1b}]8;;\u{1b}\\",
    ),
    ("clipboard", "a\u{1b}]52;c;aGk=\u{7}b"),
    ("device control", "a\u{1b}P+q544e\u{1b}\\b"),
    ("C1 introducer", "a\u{9b}2Jb\u{9d}0;x\u{9c}"),
    ("bell and backspace", "a\u{7}b\u{8}\u{8}c\u{7f}"),
    ("carriage return", "ok\rerror: forged"),
    ("new line", "ok\nerror: forged\n  tankside undo"),
    ("next line", "a\u{85}b\u{b}c\u{c}d"),
    ("tab", "a\tb"),
    ("override", "\u{202e}mets\u{202c}"),
    ("isolates", "a\u{2066}b\u{2069}\u{2067}c\u{2068}d"),
    ("marks of direction", "a\u{200e}b\u{200f}c\u{61c}d"),
    ("zero width", "st\u{200b}e\u{200c}m\u{feff}\u{2060}"),
    ("separators", "a\u{2028}b\u{2029}c"),
    ("tags", "a\u{e0001}\u{e0041}\u{e007f}"),
    ("shift out", "a\u{e}b\u{f}"),
    ("formula", "=HYPERLINK(\"http://x\")"),
    ("markdown", "| a | `b` <script>x</script> [c](d) # *e*"),
    ("replacement", "a\u{fffd}b\u{ffff}"),
    ("hangul in parts", "\u{1107}\u{1166}\u{11af}"),
    ("family", "\u{1f468}\u{200d}\u{1f469}\u{200d}\u{1f467}"),
];

/// A heap of accents of 10 kB on one letter.
fn heap() -> String {
    format!("a{}", "\u{301}".repeat(5_000))
}

/// Longer than anybody reads: 24 kB.
fn long() -> String {
    "long\u{9b}".repeat(4_000)
}

/// The corpus, several texts in one, for a program is slower to start than to
/// look at a text.
fn corpus() -> Vec<(String, String)> {
    let several = HOSTILE.chunks(6).map(|chunk| {
        let (names, texts): (Vec<&str>, Vec<&str>) = chunk.iter().copied().unzip();
        (names.join(", "), texts.join(" "))
    });
    several
        .chain([("heap".to_owned(), heap()), ("long".to_owned(), long())])
        .collect()
}

/// Whether a terminal would obey or hide a character. Written apart from the
/// program's own list: ECMA-48 (C0, DEL, C1), UAX #9 table 2, and what Unicode
/// calls separators and default-ignorable format characters.
fn acts(character: char) -> bool {
    let code = u32::from(character);
    let control = code < 0x20 || (0x7f..0xa0).contains(&code);
    let direction = matches!(code, 0x61c | 0x200e | 0x200f | 0x202a..=0x202e | 0x2066..=0x2069);
    let hidden = matches!(code, 0xad | 0x200b..=0x200d | 0x2028 | 0x2029 | 0x2060..=0x2065 | 0xfeff)
        || (0xe0000..=0xe007f).contains(&code);
    control || direction || hidden
}

/// Nothing acts, no letter carries a heap, and no line goes on and on.
#[track_caller]
fn assert_plain(bytes: &[u8], longest: usize, what: &str) {
    let text = std::str::from_utf8(bytes).unwrap_or_else(|e| panic!("{what}: {e}"));
    let raw = text.chars().find(|c| *c != '\n' && acts(*c));
    assert_eq!(raw, None, "{what}: {text:.2000}");
    for line in text.lines() {
        assert!(!line.starts_with("error: forged"), "{what}: {text:.2000}");
        let count = line.chars().count();
        assert!(count <= longest, "{what}: a line of {count}: {line:.300}");
    }
    let heap = text.graphemes(true).find(|g| g.chars().count() > 12);
    assert_eq!(heap, None, "{what}");
}

/// A folder with a project `p`, and the program run in it.
struct Desk {
    dir: tempfile::TempDir,
    env: Vec<(String, OsString)>,
}

struct Said {
    status: i32,
    out: Vec<u8>,
    err: Vec<u8>,
}

impl Desk {
    fn empty() -> Self {
        Self {
            dir: tempfile::tempdir().unwrap(),
            env: Vec::new(),
        }
    }

    fn new() -> Self {
        let desk = Self::empty();
        desk.done(&[
            "new",
            "p",
            "--name",
            "Bell",
            "--metal",
            "copper-acid",
            "--mean",
            "40um",
        ]);
        desk.done(&["add", "p", "stem", "--area", "2.5dm2"]);
        desk
    }

    fn path(&self, name: impl AsRef<Path>) -> PathBuf {
        self.dir.path().join(name)
    }

    fn run<A: AsRef<OsStr>>(&self, args: &[A]) -> Said {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tankside"));
        command
            .current_dir(self.dir.path())
            .env("TANKSIDE_CONFIG_DIR", self.path("config"))
            .env("TANKSIDE_TRY_DIR", self.path("try"))
            .env("USER", "ida")
            .args(args);
        command.envs(self.env.iter().map(|(n, v)| (n, v)));
        let out = command.output().unwrap();
        Said {
            status: out.status.code().unwrap_or(-1),
            out: out.stdout,
            err: out.stderr,
        }
    }

    #[track_caller]
    fn done(&self, args: &[&str]) -> Said {
        let said = self.run(args);
        let err = String::from_utf8_lossy(&said.err);
        assert_eq!(said.status, 0, "{args:?}: {err}");
        said
    }

    /// Both streams are plain, with and without `--json`. Errors are short.
    #[track_caller]
    fn plain<A: AsRef<OsStr>>(&self, args: &[A], what: &str) -> Said {
        let args: Vec<&OsStr> = args.iter().map(AsRef::as_ref).collect();
        let told = format!("{what}: {:.200}", format!("{args:?}"));
        let json = self.run(&[&[OsStr::new("--json")], args.as_slice()].concat());
        // JSON is for scripts: letters keep their marks there, and length.
        let text = std::str::from_utf8(&json.out).unwrap();
        let raw = text.chars().find(|c| *c != '\n' && acts(*c));
        assert_eq!(raw, None, "{told} as JSON: {text:.2000}");
        serde_json::from_str::<serde_json::Value>(text).expect(&told);
        let mut said = self.run(&args);
        if args.first() == Some(&OsStr::new("sheet")) {
            // A new page of the printer's.
            let text = String::from_utf8_lossy(&said.out);
            said.out = text.replace("\n\u{c}", "\n").into_bytes();
        }
        assert_plain(&said.out, usize::MAX, &told);
        for err in [&json.err, &said.err] {
            assert_plain(err, 9_000, &told);
            let lines = String::from_utf8_lossy(err).lines().count();
            assert!(lines < 25, "{told}: {lines} lines");
        }
        said
    }

    /// Everything that can be asked of a project is told plainly.
    #[track_caller]
    fn all_plain(&self, dir: &str, pieces: &[&str], what: &str) {
        for verb in ["status", "check", "history", "sheet", "closeout", "open"] {
            self.plain(&[verb, dir], what);
        }
        self.plain(&["history", dir, "--csv"], what);
        self.plain(&["closeout", dir, "print"], what);
        for piece in pieces {
            for verb in ["gates", "history", "traveller"] {
                self.plain(&[verb, dir, piece], what);
            }
        }
    }
}

#[test]
fn no_argument_is_echoed_raw() {
    let desk = Desk::new();
    for (name, text) in corpus() {
        let t = text.as_str();
        let forms: &[&[&str]] = &[
            &[t],
            &["open", t],
            &["status", t],
            &["check", t],
            &["sheet", t],
            &["try", t],
            &["measure", t],
            &["completions", t],
            &[
                "charge",
                "--metal",
                t,
                "--area",
                "1dm2",
                "--thickness",
                "1um",
            ],
            &[
                "charge",
                "--metal",
                "zinc",
                "--area",
                t,
                "--thickness",
                "1um",
            ],
            &["--now", t, "status", "p"],
            &["status", "p", t],
            &["status", "p", "--x", t],
            &["new", "n", "--name", "N", "--metal", t, "--mean", "40um"],
            &["new", "n", "--name", "N", "--metal", "zinc", "--mean", t],
            &[
                "new", "n", "--name", "N", "--metal", "zinc", "--mean", "4um", "--zone", t,
            ],
            &["add", "p", t],
            &["add", "p", t, "--area", "1dm2"],
            &["add", "p", "x", "--area", t],
            &["add", "p", "x", "--mesh", t],
            &["add", "p", "x", "--area", "1dm2", "--wire", t],
            &["set", "p", t, "1"],
            &["set", "p", "name", t],
            &["set", "p", "metal", t],
            &["set", "p", "pieces.stem.area", t],
            &["history", "p", t],
            &["gates", "p", t],
            &["traveller", "p", t],
            &["refresh", "p", t],
            &["closeout", "p", t],
            &["closeout", "p", "tick", t],
            &["record", t, "stem", "coat"],
            &["record", "p", t, "coat"],
            &["record", "p", "stem", t],
            &["record", "p", "stem", "start", t],
            &["record", "p", "stem", "start", "coat", "--tank", t],
            &["record", "p", "stem", "look", t],
            &["record", "p", "stem", "tick", t],
            &["record", "p", "stem", "ohms", t],
            &["record", "p", "stem", "weigh", "1g", "--as", t],
            &["record", "p", "stem", "coat", "--at", t],
            &[
                "record", "p", "reading", "--tank", t, "--volts", "1V", "--amps", "1A",
            ],
            &["record", "p", "logger", "--tank", "main", t],
            &["record", "p", "logger", "--tank", t, "none.csv"],
        ];
        for form in forms {
            desk.plain(form, &name);
        }
    }
}

#[test]
fn arguments_that_are_no_text_are_told_plainly() {
    let desk = Desk::new();
    let no_text = OsStr::from_bytes(b"a\xff\xed\xa0\x80\x1b[2J\x9b");
    let words = |line: &str| -> Vec<OsString> {
        let one = |w: &str| {
            if w == "?" {
                no_text.to_owned()
            } else {
                w.into()
            }
        };
        line.split(' ').map(one).collect()
    };
    for line in [
        "?",
        "open ?",
        "status ?",
        "try ?",
        "measure ?",
        "add p ? --area 1dm2",
        "add p x --mesh ?",
        "set p ? 1",
        "record p stem note ?",
        "record p logger --tank main ?",
        "--now ? status p",
        "new ? --name N --metal zinc --mean 4um",
        "status ?",
    ] {
        desk.plain(&words(line), line);
    }
}

#[test]
fn what_is_recorded_is_told_plainly_everywhere() {
    for (name, text) in corpus() {
        let desk = Desk::new();
        let t = text.as_str();
        let words: &[&[&str]] = &[
            &["note", t],
            &["note", "x", "--who", t],
            &["start", "coat", "--override", t],
            &["turn", t],
            &["ohms", "40ohm", "--place", t],
            &["look", &format!("bare:20%@{t}")],
            &["contact", "moved", t],
            &["rework", "coat", "--because", t],
            &["skip", "coat", "--because", t],
            &["start", "wiring", "--override", t],
            &["finish", "--override", t],
            &["start", "strike", "--override", t],
            &["lift"],
            &["touch-up", "--where", t],
        ];
        for form in words {
            desk.plain(&[&["record", "p", "stem"], *form].concat(), &name);
        }
        desk.plain(&["record", "p", "undo"], &name);
        desk.plain(&["record", "p", "redo"], &name);
        desk.plain(&["closeout", "p", "tick", "acid", "--who", t], &name);
        desk.plain(&["settings", "--who", t], &name);
        desk.plain(&["settings"], &name);
        desk.all_plain("p", &["stem"], &name);
        let history = desk.done(&["history", "p"]);
        assert!(history.out.len() > 400, "{name}: most of it was recorded");
    }
}

/// A text as a string of project.ron, byte for byte where RON allows it.
fn ron(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

#[test]
fn project_files_are_told_plainly() {
    for (name, text) in corpus() {
        let desk = Desk::empty();
        let t = ron(&text);
        let base = "format: 1, metal: \"copper-acid\", target: Mean(\"40um\")";
        let piece = "pieces: [(name: \"stem\", area: \"2dm2\"";
        // Taken, and told everywhere.
        let whole = format!(
            "({base}, name: {t}, object: {t}, {piece}, note: {t}, area_method: Some({t}))], \
             stages: [(name: \"patina\", say: {t})], \
             gates: [(gate: \"photo\", stage: \"coat\", when: start, say: {t})], \
             tanks: [(name: \"main\", anodes: [(name: {t}, place: {t})])], \
             unattended: Allowed(limits: {t}, cut_off: {t}))"
        );
        std::fs::create_dir(desk.path("whole")).unwrap();
        std::fs::write(desk.path("whole/project.ron"), whole).unwrap();
        desk.all_plain("whole", &["stem"], &name);
        let status = desk.run(&["status", "whole"]);
        let err = String::from_utf8_lossy(&status.err).into_owned();
        assert_eq!(status.status, 0, "{name}: {err:.300}");
        // Refused, and told why.
        for (n, wrong) in [
            format!("({base}, name: \"N\", pieces: [(name: {t})])"),
            format!("({base}, name: \"N\", tanks: [(name: {t})])"),
            format!("({base}, name: \"N\", route: [{t}])"),
            format!("({base}, name: \"N\", gates: [(gate: {t})])"),
            format!("({base}, name: \"N\", zone: {t})"),
            format!("({base}, name: \"N\", hold: (time: {t}))"),
            format!("({base}, name: \"N\", joints: [(name: {t}, between: ({t}, \"b\"))])"),
            format!("(format: 1, name: \"N\", metal: {t}, target: Mean(\"40um\"))"),
            format!("(format: 1, name: \"N\", metal: \"zinc\", target: {text}(\"40um\"))"),
            format!("({base}, name: \"N\", {text}: 1)"),
            format!("({base}, name: \"N\", r#{text}#: 1)"),
            format!("({base}, name: \"N\" {text}"),
            text.clone(),
        ]
        .into_iter()
        .enumerate()
        {
            let dir = format!("wrong-{n}");
            std::fs::create_dir(desk.path(&dir)).unwrap();
            std::fs::write(desk.path(&dir).join("project.ron"), wrong).unwrap();
            // The same files are read by both.
            let verb = if n % 2 == 0 { "status" } else { "check" };
            desk.plain(&[verb, &dir], &name);
        }
    }
}

#[test]
fn damaged_and_foreign_files_are_told_plainly() {
    let mut all: Vec<(String, Vec<u8>)> = corpus()
        .into_iter()
        .map(|(n, t)| (n, t.into_bytes()))
        .collect();
    all.push((
        "no text".into(),
        b"\xff\xfe\x00\x1b[2J\xed\xa0\x80".to_vec(),
    ));
    all.push(("nul".into(), b"a\0b".to_vec()));
    for (name, bytes) in all {
        let desk = Desk::new();
        let around =
            |before: &str, after: &str| [before.as_bytes(), &bytes, after.as_bytes()].concat();
        // Prints.
        for (n, print) in [
            around("solid ", "\nendsolid"),
            around("solid x\n", "\nendsolid"),
            around("solid x\nfacet normal 0 0 1\nouter loop\nvertex ", " 0 0\n"),
            around("", ""),
        ]
        .iter()
        .enumerate()
        {
            let file = format!("{n}.stl");
            std::fs::write(desk.path(&file), print).unwrap();
            desk.plain(&["measure", &file], &name);
            desk.plain(&["add", "p", "x", "--mesh", &file], &name);
        }
        // Loggers.
        for (n, log) in [
            around("instant,volts,", "\n2026-03-01T18:30:00Z,1,1\n"),
            around("2026-03-01T18:30:00Z,1,", "\n"),
            around("", ",1,1\n"),
            around("instant,volts,amps,note\n2026-03-01T18:30:00Z,1,1,", "\n"),
        ]
        .iter()
        .enumerate()
        {
            let file = format!("{n}.csv");
            std::fs::write(desk.path(&file), log).unwrap();
            desk.plain(&["record", "p", "logger", "--tank", "main", &file], &name);
        }
        // Settings and journal.
        std::fs::create_dir_all(desk.path("config")).unwrap();
        std::fs::write(desk.path("config/settings.ron"), around("(", ": 1)")).unwrap();
        desk.plain(&["settings"], &name);
        desk.plain(&["settings", "--who", "Ida"], &name);
        std::fs::write(desk.path("config/settings.ron"), around("(who: \"", "\")")).unwrap();
        desk.plain(&["settings"], &name);
        desk.plain(&["record", "p", "stem", "note", "x"], &name);
        let journal = std::fs::read(desk.path("p/journal.ron")).unwrap_or_default();
        for damage in [
            around("(sequence: 9, who: \"", "\")\n"),
            around("", "\n"),
            around("(", ""),
        ] {
            let damaged = [journal.as_slice(), &damage, b"\n", &damage].concat();
            std::fs::write(desk.path("p/journal.ron"), damaged).unwrap();
            desk.plain(&["status", "p"], &name);
            desk.plain(&["check", "p"], &name);
            desk.plain(&["record", "p", "stem", "note", "x"], &name);
        }
    }
}

#[test]
fn names_of_files_and_the_environment_are_told_plainly() {
    let mut names: Vec<(String, OsString)> = corpus()
        .into_iter()
        .map(|(n, t)| (n, t.replace('/', "|")))
        .filter(|(_, t)| t.len() < 250)
        .map(|(n, t)| (n, t.into()))
        .collect();
    names.push(("heap".into(), heap()[..201].to_owned().into()));
    names.push((
        "no text".into(),
        OsStr::from_bytes(b"a\xff\x1b[2J\x9b").into(),
    ));
    for (name, file) in names {
        let mut desk = Desk::new();
        let words = |line: &str| -> Vec<OsString> {
            let one = |w: &str| if w == "?" { file.clone() } else { w.into() };
            line.split(' ').map(one).collect()
        };
        let made = desk.plain(
            &words("--now 2026-03-01T18:30:00Z new ? --name N --metal zinc --mean 4um"),
            &name,
        );
        assert!(
            made.status == 2,
            "{name}: there already, made by the JSON run"
        );
        desk.plain(&words("add ? stem --area 1dm2"), &name);
        for line in [
            "status ?",
            "check ?",
            "gates ? stem",
            "open ?",
            "record ? stem lift",
            "record ? stem finish",
            "record ? stem start strike",
            "set ? metal x",
        ] {
            desk.plain(&words(line), &name);
        }
        let print = b"solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 10 0 0\nvertex 0 10 0\nendloop\nendfacet\nendsolid x\n";
        let mesh = desk.path(&file).join(&file);
        std::fs::write(&mesh, print).unwrap();
        std::fs::write(desk.path("print"), print).unwrap();
        for args in [
            vec![OsStr::new("measure"), mesh.as_os_str()],
            vec![
                OsStr::new("add"),
                OsStr::new("p"),
                OsStr::new("y"),
                OsStr::new("--mesh"),
                mesh.as_os_str(),
            ],
            vec![
                OsStr::new("record"),
                OsStr::new("p"),
                OsStr::new("logger"),
                OsStr::new("--tank"),
                OsStr::new("main"),
                mesh.as_os_str(),
            ],
        ] {
            desk.plain(&args, &name);
        }
        // A file where a folder is wanted.
        std::fs::write(desk.path("config"), "").unwrap();
        desk.plain(&["settings", "--who", "x"], &name);
        for variable in [
            "USER",
            "TANKSIDE_CONFIG_DIR",
            "TANKSIDE_TRY_DIR",
            "TERM",
            "TZ",
            "LANG",
            "EDITOR",
        ] {
            desk.env = vec![(variable.to_owned(), file.clone())];
            for args in [
                ["settings", "--who", "x"].as_slice(),
                &["settings"],
                &["record", "p", "stem", "note", "x"],
                &["history", "p"],
                &[
                    "new", "n", "--name", "N", "--metal", "zinc", "--mean", "4um",
                ],
                ["try"].as_slice(),
            ] {
                if args == ["try"] && variable != "TANKSIDE_TRY_DIR" {
                    continue;
                }
                desk.plain(args, &format!("{name} in {variable}"));
            }
        }
    }
}

/// Four megabytes of what acts, in one line.
fn four_megabytes() -> String {
    "\u{9b}2J \u{202e}".repeat(500_000)
}

#[test]
fn four_megabytes_are_told_by_their_ends() {
    let desk = Desk::new();
    let text = four_megabytes();
    let t = ron(&text);
    let base = "format: 1, metal: \"copper-acid\", target: Mean(\"40um\")";
    for (n, definition) in [
        format!(
            "({base}, name: {t}, pieces: [(name: \"stem\", area: \"2dm2\", note: {t})], \
             gates: [(gate: \"photo\", stage: \"coat\", when: start, say: {t})])"
        ),
        format!("({base}, name: \"N\", route: [{t}])"),
        format!("({base}, name: \"N\", {text}: 1)"),
        text.clone(),
    ]
    .into_iter()
    .enumerate()
    {
        let dir = n.to_string();
        std::fs::create_dir(desk.path(&dir)).unwrap();
        std::fs::write(desk.path(&dir).join("project.ron"), definition).unwrap();
        for args in [
            &["status", &dir][..],
            &["gates", &dir, "stem"],
            &["check", &dir],
        ] {
            let said = desk.run(args);
            assert_plain(&said.out, 9_000, &format!("{args:?}"));
            assert_plain(&said.err, 9_000, &format!("{args:?}"));
            let all = said.out.len() + said.err.len();
            assert!(all < 100_000, "{args:?}: {all} bytes");
        }
    }
    let gates = desk.run(&["gates", "0", "stem"]);
    let gates = String::from_utf8(gates.out).unwrap();
    assert!(gates.contains("characters more"), "{gates:.3000}");
    for file in ["x.stl", "x.csv"] {
        std::fs::write(desk.path(file), &text).unwrap();
    }
    for args in [
        &["measure", "x.stl"][..],
        &["record", "p", "logger", "--tank", "main", "x.csv"],
    ] {
        assert_plain(&desk.run(args).err, 9_000, &format!("{args:?}"));
    }
}

#[test]
fn pages_of_the_program_itself_are_plain() {
    let desk = Desk::new();
    for page in [
        &[][..],
        &["--help"],
        &["--version"],
        &["record", "--help"],
        &["man"],
    ] {
        let said = desk.run(page);
        assert_plain(&said.out, 20_000, &format!("{page:?}"));
    }
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let said = desk.done(&["completions", shell]);
        let text = String::from_utf8(said.out).unwrap();
        let raw = text.chars().find(|c| !"\n\t".contains(*c) && acts(*c));
        assert_eq!(raw, None, "{shell}");
    }
}

/// A project whose every text is hostile, the way a file can hold it.
fn hostile_hands(text: &str) -> Hands {
    let mut hands = evening();
    let mut definition = hands.model.project.definition.clone();
    text.clone_into(&mut definition.name);
    text.clone_into(&mut definition.object);
    for piece in &mut definition.pieces {
        text.clone_into(&mut piece.note);
        piece.area_method = Some(text.to_owned());
        piece.leads.push(Lead {
            name: text.to_owned(),
            points: vec![[MM.of(10.0); 3], [MM.of(20.0); 3]],
            diameter: MM.of(1.0),
            thief: true,
            closed: false,
        });
    }
    for piece in ["stem", "leaf-1", "arm"] {
        let piece = piece.to_owned();
        for what in [
            What::Note {
                piece: piece.clone(),
                text: text.to_owned(),
            },
            What::Turn {
                piece: piece.clone(),
                text: text.to_owned(),
            },
        ] {
            hands.did(what, text);
        }
    }
    let events = hands.model.project.events().to_vec();
    let project = Project::new(definition, events, BTreeMap::new()).unwrap();
    hands.model =
        Model::new(project, Some(text.to_owned()), hands.now).with_login(Some(text.to_owned()));
    hands
}

/// Every screen and layer of a project, as far as keys lead to it.
const WAYS: [&str; 16] = [
    "",
    "p",
    "h",
    "c",
    "p ?",
    "+",
    "p + +",
    "r",
    "r 1 Enter 9 Enter",
    "n",
    "i",
    "-",
    "Enter",
    "f",
    "x",
    "x + 9",
];

#[test]
fn no_screen_shows_anything_raw() {
    for (name, text) in corpus() {
        for way in WAYS {
            let mut hands = hostile_hands(&text);
            hands.select("stem");
            hands.keys(way);
            // What went wrong is told on every screen.
            let failure = Failure::Trouble {
                message: text.clone(),
                remedy: text.clone(),
            };
            for theme in [Theme::new(true, false), Theme::new(false, true)] {
                for (width, height) in [(40, 12), (80, 24), (200, 60)] {
                    let shown = hands.text(width, height);
                    assert_plain(shown.as_bytes(), 400, &format!("{name} after `{way}`"));
                    let _styled = hands.shown(width, height, theme);
                }
            }
            update(&mut hands.model, Message::Failed(failure), hands.now);
            let shown = hands.text(80, 24);
            assert_plain(shown.as_bytes(), 400, &format!("{name} told after `{way}`"));
            assert_plain(hands.model.title().as_bytes(), 100, &name);
        }
    }
}

/// A frame at sixty a second, in milliseconds; a build without optimisation is
/// some ten times slower.
const FRAME_MS: u128 = if cfg!(debug_assertions) { 160 } else { 16 };

#[test]
fn a_frame_is_drawn_in_time_whatever_a_text_holds() {
    for text in [
        four_megabytes(),
        format!("a{}", "\u{301}".repeat(2_000_000)),
        "\u{9234}".repeat(1_400_000),
        "words of four letters ".repeat(190_000),
    ] {
        let mut hands = hostile_hands(&text);
        hands.select("stem");
        for way in ["l", "p", "h", "c", "p ?", "Esc +"] {
            hands.keys(way);
            // The least of a few: others work on this machine too.
            let time = |hands: &Hands| {
                let begun = std::time::Instant::now();
                let _shown = hands.text(120, 40);
                begun.elapsed().as_millis()
            };
            let least = (0..5).map(|_| time(&hands)).min().unwrap();
            assert!(least < FRAME_MS, "`{way}` {least} ms: {text:.20}");
        }
        // One key on top of it, folded and drawn.
        let begun = std::time::Instant::now();
        update(&mut hands.model, Message::Key(Key::char('p')), hands.now);
        assert!(begun.elapsed().as_millis() < FRAME_MS);
    }
}

/// A program that prints what it likes.
fn script(dir: &Path, name: &str, lines: &str) -> String {
    use std::os::unix::fs::PermissionsExt as _;
    let path = dir.join(name);
    std::fs::write(&path, format!("#!/bin/sh\n{lines}\n")).unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o755)).unwrap();
    path.to_str().unwrap().to_owned()
}

/// What the screen itself writes: where text goes, its look, what is hidden,
/// the title. Everything else that begins with an escape is somebody else's.
fn only_own_sequences(bytes: &[u8]) {
    let text = std::str::from_utf8(bytes).unwrap();
    let mut rest = text;
    while let Some(at) = rest.find(|c| acts(c) && !"\r\n".contains(c)) {
        let sequence = &rest[at..];
        let length = own_sequence(sequence);
        assert!(
            length > 0,
            "{:?}",
            sequence.chars().take(40).collect::<String>()
        );
        rest = &sequence[length..];
    }
}

/// The length of the sequence at the beginning, 0 if it is none of the screen's.
fn own_sequence(text: &str) -> usize {
    if text.starts_with(['\u{7}', '\u{f}']) {
        return 1;
    }
    if text.starts_with("\u{1b}>") || text.starts_with("\u{1b}(B") {
        return if text.starts_with("\u{1b}>") { 2 } else { 3 };
    }
    // The flags of the keys, laid on top and taken off again.
    let of_keys = ["\u{1b}[>4m", "\u{1b}[>0u", "\u{1b}[<u"];
    if let Some(keys) = of_keys.iter().find(|keys| text.starts_with(**keys)) {
        return keys.len();
    }
    if let Some(title) = text.strip_prefix("\u{1b}]0;") {
        let end = title.find(acts).unwrap_or(0);
        assert!(end < 120, "{title:.200}");
        let ends = title[end..].starts_with('\u{7}');
        return if ends { 4 + end + 1 } else { 0 };
    }
    let Some(control) = text.strip_prefix("\u{1b}[") else {
        return 0;
    };
    let end = control.find(|c: char| c.is_ascii_alphabetic()).unwrap_or(0);
    let (parameters, last) = (&control[..end], &control[end..=end]);
    let usual = parameters
        .chars()
        .all(|c| c.is_ascii_digit() || ";?".contains(c));
    let known = usual && "HhlJKmtr".contains(last) && end < 24;
    if known { 2 + end + 1 } else { 0 }
}

#[test]
fn the_terminal_gets_only_what_the_screen_itself_makes() {
    for (name, text) in corpus() {
        let desk = Desk::empty();
        let t = ron(&text);
        std::fs::create_dir(desk.path("p")).unwrap();
        std::fs::write(
            desk.path("p/project.ron"),
            format!(
                "(format: 1, name: {t}, metal: \"copper-acid\", target: Mean(\"40um\"), \
                 pieces: [(name: \"stem\", area: \"2dm2\", note: {t})], \
                 gates: [(gate: \"photo\", stage: \"coat\", when: start, say: {t})])"
            ),
        )
        .unwrap();
        desk.run(&["record", "p", "stem", "note", &text]);
        desk.run(&["settings", "--who", &text]);
        let config = desk.path("config");
        let editor = format!("/no/{}", text.replace(char::is_whitespace, "_"));
        let project = desk.path("p");
        let mut pty = Pty::run(
            env!("CARGO_BIN_EXE_tankside"),
            &["open", project.to_str().unwrap()],
            &[
                ("TANKSIDE_CONFIG_DIR", config.to_str().unwrap()),
                ("EDITOR", &editor),
                ("USER", &text),
            ],
        );
        pty.wait_frame("a screen", |s| s.contents().contains("stem"));
        for keys in ["p", "h", "c", "l", "?", "x", "+", "-", "i", "-"] {
            let mark = pty.mark();
            pty.send(keys);
            pty.listen(mark, std::time::Duration::from_secs(2));
        }
        // Only the shell around it and the screen have written.
        pty.send("e");
        // Its Ctrl-C would be the editor's until it is told why there is none.
        pty.wait_for("the editor");
        pty.send("\u{3}");
        assert_eq!(pty.ended(), 0, "{name}");
        only_own_sequences(&pty.since(0));
    }
}

#[test]
fn after_an_editor_that_leaves_the_terminal_in_disorder_the_screen_is_its_own() {
    let desk = Desk::new();
    let junk = r"\033]0;owned\007\033[31;44mjunk\033[?1000h\033[?1006h\033[?1h\033=\033[4h\033[?6h\033[5;9r\033[?7l\033(0\016";
    let editor = script(
        desk.dir.path(),
        "editor.sh",
        &format!("printf '{junk}'; stty raw -echo"),
    );
    let project = desk.path("p");
    let args = ["open", project.to_str().unwrap()];
    let env = [("EDITOR", editor.as_str())];
    let mut pty = Pty::run(env!("CARGO_BIN_EXE_tankside"), &args, &env);
    let whole = |s: &vt100::Screen| {
        let shown = s.contents();
        shown.contains("Bell") && shown.contains("stem") && shown.contains("quit")
    };
    pty.wait_frame("a screen", whole);
    let before = pty.contents();
    pty.send("e");
    // What the editor leaves is gone too soon to be waited for.
    pty.wait_frame("the screen again", |s| {
        whole(s) && s.contents().contains("project.ron is as it was")
    });
    let after = pty.contents();
    // All but the clock of the first row and what is said in the last ones.
    let rows = |shown: &str| {
        let rows = shown.lines().skip(1).take(19);
        rows.map(str::to_owned).collect::<Vec<_>>()
    };
    assert_eq!(rows(&before), rows(&after), "drawn anew, all of it");
    pty.screen(|screen| {
        assert!(!screen.application_cursor(), "arrows are arrows");
        assert_eq!(screen.mouse_protocol_mode(), vt100::MouseProtocolMode::None);
        assert!(screen.alternate_screen());
        let cell = screen.cell(10, 40).expect("a cell");
        assert_eq!(cell.bgcolor(), vt100::Color::Default);
    });
    let written = pty.since(0);
    assert!(written.windows(4).any(|w| w == b"junk"), "the editor wrote");
    let title = b"\x1b]0;tankside: Bell\x07";
    let titles = written.windows(title.len()).filter(|w| w == title).count();
    assert_eq!(titles, 2, "the window is named again");
    pty.send("q");
    // The line modes of the terminal are as they were before, in spite of stty.
    assert_eq!(pty.ended_tidied(), 0);
}

/// Names in many scripts, with the columns that a terminal gives them: wide are
/// Hangul, ideographs and emoji, none have combining marks and the later parts
/// of a Hangul syllable (Unicode UAX #11 and #29).
///
/// Hebrew and Arabic take one column a letter. Where a terminal turns their
/// direction itself, it does so within what it takes for a run of text: a name
/// followed by figures may change places with them on that line. Marks that
/// would hold it are themselves among what is never written, and no terminal
/// tells whether it turns; the columns are right all the same.
const SCRIPTS: [(&str, usize); 7] = [
    ("\u{bca8}\u{ba38}\u{b9ac}", 6),
    ("\u{110c}\u{116e}\u{11af}\u{1100}\u{1175}", 4),
    ("\u{9234}\u{306e}\u{679d}", 6),
    ("e\u{301}toi\u{308}le", 6),
    ("\u{5e4}\u{5e2}\u{5de}\u{5d5}\u{5df}", 5),
    ("\u{62c}\u{631}\u{633}", 3),
    ("\u{1f514}bell", 6),
];

/// Stand-ins of the same columns, of letters that stand nowhere else; they sort
/// like the names they stand for.
const STAND_INS: [char; 7] = [
    '\u{142}', '\u{f8}', '\u{fe}', '\u{df}', '\u{e6}', '\u{f0}', '\u{14b}',
];

/// A line's columns: each letter in its first one, nothing in a further one.
fn in_columns(line: &str) -> Vec<&str> {
    let mut columns = Vec::new();
    for letter in line.graphemes(true) {
        let own = SCRIPTS.iter().any(|(name, _)| name.contains(letter));
        let wide = letter
            .chars()
            .next()
            .is_some_and(|c| matches!(c, '\u{1100}'..='\u{115f}' | '\u{3040}'..='\u{9fff}' | '\u{ac00}'..='\u{d7a3}' | '\u{1f514}'));
        columns.push(letter);
        columns.extend((own && wide).then_some(""));
    }
    columns
}

/// Whatever stands beside the names stands in the same column.
#[track_caller]
fn assert_lines_up(foreign: &str, plain: &str, what: &str) {
    let both = foreign.lines().zip(plain.lines());
    for (foreign_line, plain_line) in both {
        let (foreign_columns, plain_columns) = (in_columns(foreign_line), in_columns(plain_line));
        for (at, letter) in plain_columns.iter().enumerate() {
            let of_name = letter.contains(STAND_INS) || *letter == "\u{2026}";
            let there = foreign_columns.get(at).copied().unwrap_or(" ");
            assert!(
                of_name || there == *letter,
                "{what}, column {at}:\n{foreign_line}\n{plain_line}"
            );
        }
    }
    assert_eq!(foreign.lines().count(), plain.lines().count(), "{what}");
}

#[test]
fn names_in_every_script_line_up() {
    let names = SCRIPTS.map(|(name, _)| name);
    let stand_ins: Vec<String> = SCRIPTS
        .iter()
        .zip(STAND_INS)
        .map(|((_, wide), letter)| letter.to_string().repeat(*wide))
        .collect();
    let stand_ins: [&str; 7] = std::array::from_fn(|n| stand_ins[n].as_str());
    let of = |names: [&str; 7]| {
        let mut hands = evening_of(names);
        hands.select(names[0]);
        hands
    };
    let (mut foreign, mut plain) = (of(names), of(stand_ins));
    for way in ["l", "p", "h", "c", "l +", "Esc Esc Enter", "Esc Esc f"] {
        foreign.keys(way);
        plain.keys(way);
        for (width, height) in [(40, 20), (80, 24), (120, 40), (200, 60)] {
            let what = format!("`{way}` at {width} columns");
            assert_lines_up(
                &foreign.text(width, height),
                &plain.text(width, height),
                &what,
            );
        }
    }
    let texts = |hands: &Hands, name: &str| {
        let (project, now) = (&hands.model.project, hands.now);
        [
            text::status_text(project, now),
            text::history_text(project, None),
            text::gates_text(project, name, now, "p"),
            text::closeout_text(project, now),
            Sheet::of(project, now).text(),
        ]
    };
    let (foreign, plain) = (texts(&foreign, names[0]), texts(&plain, stand_ins[0]));
    for (n, (foreign, plain)) in foreign.iter().zip(&plain).enumerate() {
        let shown = SCRIPTS.iter().any(|(name, _)| foreign.contains(name));
        assert!(shown || n == 2, "text {n} names pieces");
        assert_lines_up(foreign, plain, &format!("text {n}"));
    }
}

/// Rows and fields as RFC 4180 has them, told apart from what writes them.
fn csv(text: &str) -> Vec<Vec<String>> {
    let (mut rows, mut row, mut field) = (Vec::new(), Vec::new(), String::new());
    let mut characters = text.chars().peekable();
    let mut quoted = false;
    while let Some(c) = characters.next() {
        match c {
            '"' if quoted && characters.peek() == Some(&'"') => {
                field.push('"');
                characters.next();
            }
            '"' => quoted = !quoted,
            ',' if !quoted => row.push(std::mem::take(&mut field)),
            '\n' if !quoted => {
                row.push(std::mem::take(&mut field));
                rows.push(std::mem::take(&mut row));
            }
            c => field.push(c),
        }
    }
    assert!(
        !quoted && field.is_empty() && row.is_empty(),
        "all rows end"
    );
    rows
}

#[test]
fn the_history_as_csv_is_text_in_every_field() {
    let desk = Desk::new();
    let formulas = [
        "=1+1",
        "+1",
        "-1",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        "\u{ff1d}1",
        "a,\"b\"\n=c",
    ];
    for text in formulas {
        desk.done(&[
            "record",
            "p",
            "stem",
            "note",
            text,
            &format!("--who={text}"),
        ]);
    }
    desk.done(&["record", "p", "undo"]);
    let said = desk.plain(&["history", "p", "--csv"], "formulas");
    let rows = csv(std::str::from_utf8(&said.out).unwrap());
    assert_eq!(rows.len(), 1 + formulas.len() + 1);
    let column = |name: &str| rows[0].iter().position(|c| c == name).unwrap();
    for (n, row) in rows.iter().enumerate() {
        assert_eq!(row.len(), rows[0].len(), "{row:?}");
        for cell in row {
            // OWASP, CSV Injection.
            let leads = ['=', '+', '-', '@', '\t', '\r', '\u{ff1d}'];
            assert!(!cell.starts_with(leads), "{cell}");
        }
        if n > 0 {
            assert_eq!(row[column("sequence")], n.to_string());
        }
    }
    assert_eq!(rows[1][column("who")], "'=1+1");
    assert_eq!(rows[8][column("who")], r#"a,"b"\n=c"#);
    assert_eq!(rows[1][column("piece")], "stem");
    assert_eq!(rows[1][column("what")], "note");
    assert!(rows[1][column("text")].contains("=1+1"));
    assert_eq!(rows[8][column("undone")], "true");
    let of_piece = desk.done(&["history", "p", "stem", "--csv"]);
    assert_eq!(csv(std::str::from_utf8(&of_piece.out).unwrap()).len(), 9);
}

#[test]
fn markdown_of_hostile_texts_marks_nothing_up() {
    let desk = Desk::new();
    let text = "| a | `b` <script>x</script> [c](d) ![e](f) *g* ~h~ # http://i www.j";
    desk.done(&["record", "p", "stem", "note", text, "--who", text]);
    desk.done(&["record", "p", "stem", "start", "coat", "--override", text]);
    let sheet = desk.done(&["traveller", "p", "stem"]);
    let sheet = String::from_utf8(sheet.out).unwrap();
    let lines: Vec<&str> = sheet.lines().filter(|l| l.contains("script")).collect();
    assert!(lines.len() >= 3, "{sheet}");
    for line in lines {
        // What is escaped (CommonMark 0.31, 2.4) is out of the way.
        let mut bare = String::new();
        let mut characters = line.chars();
        while let Some(c) = characters.next() {
            if c == '\\' {
                characters.next();
            } else {
                bare.push(c);
            }
        }
        let bars = bare.matches('|').count();
        assert!(bars == 0 || bars == 5, "a row of four cells: {line}");
        // The program's own bold words aside, nothing is left that marks up.
        let rest = bare.replace("**", "");
        assert!(!rest.contains(['`', '<', '[', '*', '#', '~']), "{line}");
        assert!(!rest.contains("://") && !rest.contains("www."), "{line}");
    }
}
