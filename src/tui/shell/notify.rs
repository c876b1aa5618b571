//! The ways a notice leaves the screen: the terminal's bell and notice, the
//! desktop's, a program of the user's own.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use crate::report::safe::plain_text;
use crate::settings::{Notices, TerminalNotice};
use crate::tui::app::Notice;

/// The ways that are open on this machine and terminal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ways {
    /// Whether the terminal's bell rings.
    pub bell: bool,
    terminal: Option<Sequence>,
    desktop: Option<Desktop>,
    /// Whether the desktop tells only while the terminal cannot.
    desktop_steps_back: bool,
    command: Vec<String>,
    said: Vec<String>,
}

/// A sequence that asks the terminal for a notice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Sequence {
    osc: Osc,
    /// Whether tmux is to hand it to the terminal around it.
    through_tmux: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Osc {
    Nine,
    SevenSevenSeven,
}

/// The program that asks the desktop for a notice.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Desktop {
    NotifySend(PathBuf),
    Osascript(PathBuf),
}

/// A program to start, with its arguments.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Call {
    pub(super) program: OsString,
    pub(super) arguments: Vec<String>,
    /// What its environment holds beside ours.
    pub(super) environment: Vec<(&'static str, String)>,
    /// Whether it is the user's own.
    pub(super) own: bool,
}

/// What the ways are sensed from.
type Env<'a> = &'a dyn Fn(&str) -> Option<String>;

impl Ways {
    /// The ways on this machine and terminal.
    pub fn sense(settings: &Notices) -> Self {
        let path = std::env::var_os("PATH").unwrap_or_default();
        let find = |name: &str| {
            let dirs = std::env::split_paths(&path).filter(|dir| dir.is_absolute());
            dirs.map(|dir| dir.join(name)).find(|file| runs(file))
        };
        Self::from(settings, &|name| std::env::var(name).ok(), &find)
    }

    fn from(settings: &Notices, env: Env<'_>, find: &dyn Fn(&str) -> Option<PathBuf>) -> Self {
        let set = |name: &str| env(name).filter(|value| !value.is_empty());
        let (terminal, of_terminal) = terminal(settings.terminal, &set);
        let (desktop, of_desktop) = match settings.desktop {
            Some(false) => (None, "off".to_owned()),
            _ => desktop(&set, find),
        };
        let desktop_steps_back = settings.desktop.is_none() && terminal.is_some();
        let steps_back = if desktop_steps_back && desktop.is_some() {
            ", while the terminal is lent to the editor; `desktop: true` for always"
        } else {
            ""
        };
        let bell = if settings.bell { "on" } else { "off" };
        let command = match settings.command.as_slice() {
            [] => "none".to_owned(),
            [program, ..] => {
                let there = Path::new(program).components().count() > 1 || find(program).is_some();
                let missing = if there { "" } else { ", which is not in PATH" };
                format!("{program}{missing}")
            }
        };
        Self {
            bell: settings.bell,
            terminal,
            desktop,
            desktop_steps_back,
            command: settings.command.clone(),
            said: vec![
                format!("bell: {bell}"),
                format!("terminal: {of_terminal}"),
                format!("desktop: {of_desktop}{steps_back}"),
                format!("command: {command}"),
            ],
        }
    }

    /// Each way and how it stands with it.
    pub fn said(&self) -> &[String] {
        &self.said
    }

    /// Whether a program of the user's own tells.
    pub(super) fn has_program(&self) -> bool {
        !self.command.is_empty()
    }

    /// What is sent to the terminal.
    pub(super) fn for_terminal(&self, notice: &Notice) -> String {
        let sequence = self.terminal.map(|sequence| sequence.of(notice));
        let bell = if self.bell { "\x07" } else { "" };
        sequence.unwrap_or_default() + bell
    }

    /// The programs to start. `lent`: the terminal cannot be told; `own`: the
    /// user's program has not been started for it by another screen.
    pub(super) fn calls(&self, notice: &Notice, lent: bool, own: bool) -> Vec<Call> {
        let desktop = self.desktop.as_ref();
        let desktop = desktop.filter(|_| lent || !self.desktop_steps_back);
        let desktop = desktop.map(|desktop| desktop.call(notice));
        let command = self.command.split_first().filter(|_| own);
        let command = command.map(|(program, arguments)| Call {
            program: program.into(),
            arguments: arguments.to_vec(),
            environment: environment(notice),
            own: true,
        });
        desktop.into_iter().chain(command).collect()
    }
}

/// The user's program finds these in its environment, as they stand in the
/// project's files; only NUL, which an environment cannot hold, is left out.
fn environment(notice: &Notice) -> Vec<(&'static str, String)> {
    let first = &notice.first;
    let text = |text: &str| text.replace('\0', "");
    let name = |name: &Option<String>| text(name.as_deref().unwrap_or_default());
    vec![
        ("TANKSIDE_NOTICE", text(&notice.words())),
        ("TANKSIDE_WHAT", first.what.word().to_owned()),
        ("TANKSIDE_PIECE", name(&first.piece)),
        ("TANKSIDE_TANK", name(&first.tank)),
        ("TANKSIDE_DUE_AT", first.at.to_string()),
        (
            "TANKSIDE_OVERDUE_S",
            format!("{:.0}", first.overdue_s(notice.now)),
        ),
        ("TANKSIDE_PROJECT", text(&notice.project)),
        ("TANKSIDE_RING", notice.ring.to_string()),
        ("TANKSIDE_MORE", notice.others.len().to_string()),
    ]
}

impl Sequence {
    fn of(self, notice: &Notice) -> String {
        let (title, text) = (plain(&notice.title()), plain(&notice.text()));
        let sequence = match self.osc {
            // Digits and a semicolon at its beginning are a progress bar to
            // some terminals (ConEmu's OSC 9;4); a title begins with a word.
            Osc::Nine => format!("\x1b]9;{title}: {text}\x1b\\"),
            Osc::SevenSevenSeven => {
                let title = title.replace(';', ",");
                format!("\x1b]777;notify;{title};{text}\x1b\\")
            }
        };
        if self.through_tmux {
            // tmux's wiki, FAQ: "What is the passthrough escape sequence".
            let doubled = sequence.replace('\x1b', "\x1b\x1b");
            format!("\x1bPtmux;{doubled}\x1b\\")
        } else {
            sequence
        }
    }
}

/// Nothing in it ends the sequence or begins another one.
fn plain(text: &str) -> String {
    let text = plain_text(text);
    text.chars().filter(|c| !c.is_control()).collect()
}

/// The sequence for the terminal, and how it stands with it.
fn terminal(
    asked: TerminalNotice,
    set: &dyn Fn(&str) -> Option<String>,
) -> (Option<Sequence>, String) {
    let through_tmux = set("TMUX").is_some();
    let inside = ["TMUX", "STY", "ZELLIJ"]
        .into_iter()
        .find(|name| set(name).is_some());
    let known = known(set);
    let (osc, said) = match (asked, inside, known) {
        (TerminalNotice::Off, ..) => (None, "off".to_owned()),
        (TerminalNotice::Osc9, ..) => (Some(Osc::Nine), "OSC 9, as settled".to_owned()),
        (TerminalNotice::Osc777, ..) => {
            (Some(Osc::SevenSevenSeven), "OSC 777, as settled".to_owned())
        }
        (TerminalNotice::Auto, Some(name), _) => (
            None,
            format!(
                "none: which terminal is around {name} is not known; Osc9 or Osc777 settles it"
            ),
        ),
        (TerminalNotice::Auto, None, Some((osc, name))) => (Some(osc), name),
        (TerminalNotice::Auto, None, None) => (
            None,
            "none: this one is not known for notices; Osc9 or Osc777 settles it".to_owned(),
        ),
    };
    let passed = match (osc, through_tmux) {
        (Some(_), true) => "; handed through tmux, which wants `set -g allow-passthrough on`",
        _ => "",
    };
    let sequence = osc.map(|osc| Sequence { osc, through_tmux });
    (sequence, format!("{said}{passed}"))
}

/// Terminals whose own documentation promises a notice:
/// iTerm2 (iterm2.com/documentation-escape-codes.html), WezTerm
/// (wezterm.org/escape-sequences.html), Ghostty (ghostty.org/docs, option
/// `desktop-notifications`), kitty (its changelog, 0.24.0), foot (its manual
/// foot-ctlseqs(7)). `LC_TERMINAL` comes through ssh from iTerm2 (from memory).
/// Others show one with a patch or an extension of their own
/// (VTE, rxvt-unicode): there the user settles it.
fn known(set: &dyn Fn(&str) -> Option<String>) -> Option<(Osc, String)> {
    let program = set("TERM_PROGRAM").unwrap_or_default();
    let term = set("TERM").unwrap_or_default();
    let (osc, name) = match (program.as_str(), term.as_str()) {
        ("WezTerm", _) | (_, "wezterm") => (Osc::SevenSevenSeven, "WezTerm"),
        ("iTerm.app", _) => (Osc::Nine, "iTerm2"),
        ("ghostty", _) | (_, "xterm-ghostty") => (Osc::SevenSevenSeven, "Ghostty"),
        (_, "xterm-kitty") => (Osc::SevenSevenSeven, "kitty"),
        (_, term) if term == "foot" || term.starts_with("foot-") => (Osc::SevenSevenSeven, "foot"),
        _ if set("LC_TERMINAL").as_deref() == Some("iTerm2") => (Osc::Nine, "iTerm2"),
        _ if set("KITTY_WINDOW_ID").is_some() => (Osc::SevenSevenSeven, "kitty"),
        _ => return None,
    };
    let number = match osc {
        Osc::Nine => 9,
        Osc::SevenSevenSeven => 777,
    };
    Some((osc, format!("OSC {number}, for {name}")))
}

/// The program for the desktop, and how it stands with it.
fn desktop(
    set: &dyn Fn(&str) -> Option<String>,
    find: &dyn Fn(&str) -> Option<PathBuf>,
) -> (Option<Desktop>, String) {
    let (name, make): (_, fn(PathBuf) -> Desktop) = if cfg!(target_os = "macos") {
        ("osascript", Desktop::Osascript)
    } else {
        let session = ["DBUS_SESSION_BUS_ADDRESS", "WAYLAND_DISPLAY", "DISPLAY"];
        if !session.into_iter().any(|name| set(name).is_some()) {
            return (None, "none: no desktop session here".to_owned());
        }
        ("notify-send", Desktop::NotifySend)
    };
    match find(name) {
        Some(file) => {
            let said = file.display().to_string();
            (Some(make(file)), said)
        }
        None => (None, format!("none: no `{name}` in PATH")),
    }
}

impl Desktop {
    fn call(&self, notice: &Notice) -> Call {
        let (title, text) = (plain(&notice.title()), plain(&notice.text()));
        let urgency = if notice.is_urgent() {
            "critical"
        } else {
            "normal"
        };
        let (program, arguments) = match self {
            // The text may hold markup (Desktop Notifications Specification,
            // "Markup"), the title not.
            Self::NotifySend(file) => (
                file,
                vec![
                    "--app-name=tankside".to_owned(),
                    format!("--urgency={urgency}"),
                    "--".to_owned(),
                    title,
                    without_markup(&text),
                ],
            ),
            // The words are arguments of the script and no part of it.
            Self::Osascript(file) => {
                let lines = [
                    "on run argv",
                    "display notification (item 2 of argv) with title (item 1 of argv)",
                    "end run",
                ];
                let script = lines
                    .iter()
                    .flat_map(|line| ["-e".to_owned(), (*line).to_owned()]);
                let words = ["--".to_owned(), title, text];
                (file, script.chain(words).collect())
            }
        };
        Call {
            program: program.into(),
            arguments,
            environment: Vec::new(),
            own: false,
        }
    }
}

fn without_markup(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

/// Whether a file is there that can be run.
fn runs(file: &Path) -> bool {
    let Ok(data) = file.metadata() else {
        return false;
    };
    #[cfg(unix)]
    let may = std::os::unix::fs::PermissionsExt::mode(&data.permissions()) & 0o111 != 0;
    #[cfg(not(unix))]
    let may = true;
    data.is_file() && may
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::project::{Definition, Due, DueKind, Project};

    fn ways(settings: &Notices, env: &[(&str, &str)], programs: &[&str]) -> Ways {
        let value = |name: &str| {
            let found = env.iter().find(|(n, _)| *n == name)?;
            Some(found.1.to_owned())
        };
        let find = |name: &str| {
            let there = programs.contains(&name);
            there.then(|| Path::new("/usr/bin").join(name))
        };
        Ways::from(settings, &value, &find)
    }

    fn notice(pieces: &[&str]) -> Notice {
        let definition = r#"(format: 1, name: "Table; bell", metal: "copper-acid", target: Mean("40um"), pieces: [(name: "bell", area: "6.84dm2")])"#;
        let definition = Definition::parse(definition).unwrap();
        let project = Project::new(definition, Vec::new(), BTreeMap::new()).unwrap();
        let at = "2026-03-01T19:00:00Z".parse().unwrap();
        let due = pieces.iter().map(|piece| Due {
            what: DueKind::Look,
            piece: Some((*piece).to_owned()),
            tank: Some("main".to_owned()),
            at,
            say: format!("look at {piece}"),
        });
        Notice::of(&project, due.collect(), at.plus_seconds(130.0), 2).unwrap()
    }

    fn told(ways: &Ways, piece: &str) -> String {
        ways.for_terminal(&notice(&[piece]))
    }

    #[test]
    fn several_things_are_one_notice_that_names_the_most_urgent() {
        let one = notice(&["bell"]);
        assert_eq!(one.title(), "look bell: Table; bell");
        assert!(
            one.text().starts_with("look at bell (due since "),
            "{}",
            one.text()
        );
        assert!(one.text().ends_with(", 2 min over)"), "{}", one.text());
        let many = notice(&["bell", "a", "b", "c", "d"]);
        assert!(
            many.text()
                .ends_with("; and 4 more: look a, look b, look c, …"),
            "{}",
            many.text()
        );
    }

    #[test]
    fn known_terminals_are_asked_in_their_own_words() {
        let auto = Notices::default();
        let of = |env: &[(&str, &str)]| told(&ways(&auto, env, &[]), "bell");
        let nine = of(&[("TERM_PROGRAM", "iTerm.app")]);
        assert!(
            nine.starts_with("\x1b]9;look bell: Table; bell: look at bell"),
            "{nine:?}"
        );
        assert!(nine.ends_with("\x1b\\\x07"), "{nine:?}");
        for env in [
            [("TERM_PROGRAM", "WezTerm")],
            [("TERM_PROGRAM", "ghostty")],
            [("TERM", "xterm-kitty")],
            [("KITTY_WINDOW_ID", "1")],
            [("TERM", "foot-extra")],
        ] {
            let told = of(&env);
            let wanted = "\x1b]777;notify;look bell: Table, bell;look at bell";
            assert!(told.starts_with(wanted), "{env:?} {told:?}");
        }
        for env in [
            [("TERM", "xterm-256color")],
            [("VTE_VERSION", "8203")],
            [("TERM", "rxvt-unicode")],
        ] {
            assert_eq!(of(&env), "\x07", "{env:?}");
        }
    }

    #[test]
    fn a_terminal_inside_another_is_asked_only_when_that_is_settled() {
        let env = [("TMUX", "/tmp/tmux-0/x,1,0"), ("TERM_PROGRAM", "WezTerm")];
        let auto = ways(&Notices::default(), &env, &[]);
        assert_eq!(told(&auto, "bell"), "\x07");
        assert!(auto.said()[1].contains("TMUX"), "{:?}", auto.said());
        let settled = Notices {
            terminal: TerminalNotice::Osc9,
            bell: false,
            ..Notices::default()
        };
        let through = ways(&settled, &env, &[]);
        assert!(through.said()[1].contains("allow-passthrough"));
        let told = told(&through, "bell");
        assert!(
            told.starts_with("\x1bPtmux;\x1b\x1b]9;look bell"),
            "{told:?}"
        );
        assert!(told.ends_with("\x1b\x1b\\\x1b\\"), "{told:?}");
    }

    #[test]
    fn no_name_ends_the_sequence_or_begins_another() {
        let settled = Notices {
            terminal: TerminalNotice::Osc777,
            bell: false,
            ..Notices::default()
        };
        let told = told(
            &ways(&settled, &[], &[]),
            "a\x07\x1b\\\x1b]52;c;AAAA\u{9c}b\n",
        );
        let inner = &told[2..told.len() - 2];
        assert!(!inner.chars().any(char::is_control), "{told:?}");
        assert_eq!(inner.split(';').nth(1), Some("notify"));
    }

    #[test]
    #[cfg(not(target_os = "macos"))]
    fn the_desktop_tells_where_the_terminal_does_not() {
        let session = ("DISPLAY", ":0");
        let called = |settings: &Notices, env: &[(&str, &str)], lent| {
            let ways = ways(settings, env, &["notify-send"]);
            ways.calls(&notice(&["-<b>"]), lent, true).pop()
        };
        let auto = Notices::default();
        let call = called(&auto, &[session], false).unwrap();
        assert_eq!(call.program, "/usr/bin/notify-send");
        let words = &call.arguments[call.arguments.len() - 3..];
        assert_eq!(words[0], "--", "what follows is no option");
        assert!(words[2].starts_with("look at -&lt;b&gt; (due"), "{words:?}");
        let known = [session, ("TERM", "foot")];
        assert_eq!(called(&auto, &known, false), None);
        assert!(called(&auto, &known, true).is_some(), "lent to the editor");
        let always = Notices {
            desktop: Some(true),
            ..Notices::default()
        };
        assert!(called(&always, &known, false).is_some());
        let never = Notices {
            desktop: Some(false),
            ..Notices::default()
        };
        assert_eq!(called(&never, &[session], true), None);
        assert_eq!(called(&always, &[], false), None, "no session");
        let none = ways(&auto, &[session], &[]);
        assert!(none.said()[2].contains("no `notify-send` in PATH"));
    }

    #[test]
    fn the_users_program_gets_the_words_in_its_environment() {
        let settings = Notices {
            command: vec!["say-it".to_owned(), "$(reboot); `id`".to_owned()],
            ..Notices::default()
        };
        let ways = ways(&settings, &[], &[]);
        let hostile = notice(&["a\0\n$(id)", "leaf"]);
        assert_eq!(
            ways.calls(&hostile, false, false),
            [],
            "another screen did it"
        );
        let call = ways.calls(&hostile, false, true).pop().unwrap();
        assert_eq!((call.program.to_str(), call.own), (Some("say-it"), true));
        assert_eq!(call.arguments, ["$(reboot); `id`"]);
        let of = |name: &str| {
            let found = call.environment.iter().find(|(n, _)| *n == name);
            found.unwrap_or_else(|| panic!("no {name}")).1.as_str()
        };
        assert_eq!(of("TANKSIDE_PIECE"), "a\n$(id)", "only the NUL is gone");
        assert_eq!(of("TANKSIDE_WHAT"), "look");
        assert_eq!(of("TANKSIDE_TANK"), "main");
        assert_eq!(of("TANKSIDE_DUE_AT"), "2026-03-01T19:00:00Z");
        assert_eq!(of("TANKSIDE_OVERDUE_S"), "130");
        assert_eq!(of("TANKSIDE_PROJECT"), "Table; bell");
        assert_eq!((of("TANKSIDE_RING"), of("TANKSIDE_MORE")), ("2", "1"));
        assert!(of("TANKSIDE_NOTICE").starts_with("look at a\n$(id) (due since"));
        assert!(ways.said()[3].contains("not in PATH"));
    }
}
