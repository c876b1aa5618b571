//! One-shot commands: arguments in, text or one JSON object out.
//!
//! The same rules as on the screen: every record goes through
//! [`crate::project::Project::decide`].

mod args;
mod ask;
mod joints;
mod measure;
mod notices;
mod outcome;
mod own;
mod project;
mod record;
mod samples;
mod spread;
mod survey;
mod template;
mod wait;

use std::cell::RefCell;
use std::ffi::OsString;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};

use clap::{CommandFactory, Parser};

use crate::clock::Clock;
use crate::project::{Command, Project, What, quoted};
use crate::settings;
use crate::store::{self, Folder};
use crate::units::{D, Instant, Zone};
use args::{Cli, ShellName, Verb};
use outcome::{Outcome, Trouble};

/// Where a command writes, and what it knows of its surroundings.
pub struct Io<'a> {
    /// Standard output.
    pub out: &'a mut dyn Write,
    /// Standard error.
    pub err: &'a mut dyn Write,
    /// Whether standard output is a terminal.
    pub terminal: bool,
}

impl std::fmt::Debug for Io<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Io")
            .field("terminal", &self.terminal)
            .finish_non_exhaustive()
    }
}

/// What holds for every command.
struct Context<'a> {
    clock: &'a dyn Clock,
    now: Option<String>,
    json: bool,
    terminal: bool,
    /// Standard output, for what is told while the command goes on.
    out: RefCell<&'a mut dyn Write>,
    /// What a person should know beside the answer, whether there is one or not.
    notices: RefCell<Vec<String>>,
}

/// A clock so many seconds behind the journal is worth a word.
const CLOCK_BEHIND_S: f64 = 60.0;

/// Nothing that is recorded lies further back, in days: 50 years.
const FURTHEST_DAYS: f64 = 18_263.0;

impl Context<'_> {
    /// Opens a project; what its files give cause to say is said.
    fn open(&self, dir: &Path) -> Result<Folder, Trouble> {
        let mut folder = Folder::open_soon(dir)?;
        if let Some(cache) = settings::cache_dir() {
            folder.remember_digests(&cache, self.clock.now());
        }
        folder.look_at_meshes();
        self.heed(&folder);
        Ok(folder)
    }

    /// Keeps a folder's notices for the end.
    fn heed(&self, folder: &Folder) {
        folder.notices().iter().for_each(|n| self.notice(n));
    }

    fn notice(&self, notice: &str) {
        let mut notices = self.notices.borrow_mut();
        if !notices.iter().any(|n| n == notice) {
            notices.push(notice.to_owned());
        }
    }

    /// The instant that an option names.
    fn instant(option: &str, text: &str, zone: Zone, now: Instant) -> Result<Instant, Trouble> {
        let instant = zone
            .instant(text, now)
            .map_err(|e| Trouble::usage(format!("{option}: {e}")))?;
        if now.since(instant) > D.of(FURTHEST_DAYS).si() {
            let message = format!("{option}: {instant} is more than 50 years back");
            return Err(Trouble::usage(message));
        }
        Ok(instant)
    }

    /// `--now`, if it was given.
    fn replaced_now(&self, zone: Zone) -> Result<Option<Instant>, Trouble> {
        self.now
            .as_deref()
            .map(|text| Self::instant("--now", text, zone, self.clock.now()))
            .transpose()
    }

    /// The present of a project: `--now` as it is, or the clock, which cannot
    /// go back behind what has been recorded.
    fn now(&self, project: &Project) -> Result<Instant, Trouble> {
        let zone = project.definition.zone;
        if let Some(now) = self.replaced_now(zone)? {
            return Ok(now);
        }
        let clock = self.clock.now();
        let present = project.present(clock);
        if present.since(clock) > CLOCK_BEHIND_S {
            let shown = zone.local(clock).beside(zone.local(present));
            let held = zone.local(present).beside(zone.local(clock));
            self.notice(&format!(
                "the clock shows {shown}, the journal holds {held}: until then {held} is taken for the present; \
                 see to the clock, or take back what was recorded with a wrong one"
            ));
        }
        Ok(present)
    }
}

/// Runs the command line and returns the exit status.
pub fn run(arguments: impl Iterator<Item = OsString>, io: &mut Io<'_>, clock: &dyn Clock) -> u8 {
    let (arguments, json, now) = split_globals(arguments.collect());
    let arguments = with_help_word(arguments);
    let now = match now.transpose() {
        Ok(now) => now,
        Err(trouble) => return outcome::fail(io, json, "", &trouble, &[]),
    };
    let context = Context {
        clock,
        now,
        json,
        terminal: io.terminal,
        out: RefCell::new(io.out),
        notices: RefCell::default(),
    };
    let cli = match Cli::try_parse_from(&arguments) {
        Ok(cli) => cli,
        Err(error) => return outcome::of_clap(io, json, error, &way_out_of_usage(&arguments)),
    };
    let folder = cli.command.as_ref().and_then(folder_of).unwrap_or_default();
    let is_project = !matches!(cli.command, Some(Verb::New(_)));
    let done = dispatch(cli.command, &context);
    let notices = context.notices.into_inner();
    match done {
        Ok(done) => outcome::print(io, json, &done.warn(notices)),
        Err(trouble) => {
            let trouble = with_projects_near(trouble);
            let trouble = if is_project {
                with_way_out(trouble)
            } else {
                trouble
            };
            outcome::fail(io, json, &folder, &trouble, &notices)
        }
    }
}

/// A refusal with a command that helps, where the rules know none.
fn with_way_out(trouble: Trouble) -> Trouble {
    match trouble {
        Trouble::Refused(refusal) if refusal.instead.is_empty() => {
            let of_history = [
                "nothing-to-undo",
                "nothing-to-redo",
                "later-event",
                "depends",
            ];
            let verb = if of_history.contains(&refusal.rule.as_str()) {
                "history"
            } else {
                "status"
            };
            Trouble::Refused(refusal.or(Command::new(verb, "")))
        }
        other => other,
    }
}

/// Runs on the process's own arguments, streams and clock.
pub fn run_process() -> u8 {
    let (mut out, mut err) = (std::io::stdout().lock(), std::io::stderr());
    let terminal = std::io::stdout().is_terminal() && std::io::stdin().is_terminal();
    let mut io = Io {
        out: &mut out,
        err: &mut err,
        terminal,
    };
    run(std::env::args_os(), &mut io, &crate::clock::SystemClock)
}

/// `help` and `help VERB` ask for what `--help` tells.
fn with_help_word(mut arguments: Vec<OsString>) -> Vec<OsString> {
    if arguments.get(1).is_some_and(|word| word == "help") {
        arguments.remove(1);
        arguments.push("--help".into());
    }
    arguments
}

/// What would do instead of arguments that do not read: the help of the command
/// that was meant, or the command for the folder that was named alone.
fn way_out_of_usage(arguments: &[OsString]) -> String {
    let Some(word) = arguments.get(1) else {
        return "see `tankside --help`".to_owned();
    };
    let shown = word.to_string_lossy();
    if Cli::command().find_subcommand(&*shown).is_some() {
        return format!("see `tankside {shown} --help`");
    }
    if store::is_project(Path::new(word)) {
        return format!("to open that project: `tankside open {}`", quoted(&shown));
    }
    "see `tankside --help`".to_owned()
}

type Split = (Vec<OsString>, bool, Option<Result<String, Trouble>>);

/// Takes `--json` and `--now INSTANT` out, wherever they stand before a `--`.
fn split_globals(arguments: Vec<OsString>) -> Split {
    let (mut rest, mut json, mut now) = (Vec::new(), false, None);
    let mut arguments = arguments.into_iter();
    while let Some(argument) = arguments.next() {
        match argument.to_str() {
            Some("--") => {
                rest.push(argument);
                rest.extend(arguments);
                break;
            }
            Some("--json") => json = true,
            Some("--now") => {
                let value = arguments.next().and_then(|v| v.into_string().ok());
                now = Some(value.ok_or_else(|| Trouble::usage("--now wants an instant")));
            }
            Some(text) if text.starts_with("--now=") => {
                now = text.get(6..).map(|text| Ok(text.to_owned()));
            }
            _ => rest.push(argument),
        }
    }
    (rest, json, now)
}

/// The folder as it was typed, for commands that are suggested.
fn folder_of(verb: &Verb) -> Option<String> {
    use Verb::{
        Check, Closeout, Gates, History, Joints, Notices, Open, Record, Refresh, Set, Shares,
        Sheet, Silence, Status, Survey, Traveller,
    };
    let dir = match verb {
        Open { dir }
        | Set { dir, .. }
        | Check { dir, .. }
        | History { dir, .. }
        | Sheet(args::SheetArgs { dir, .. })
        | Traveller { dir, .. }
        | Record { dir, .. }
        | Refresh { dir, .. }
        | Shares { dir, .. }
        | Gates { dir, .. }
        | Joints { dir }
        | Notices { dir }
        | Silence { dir, .. }
        | Status { dir }
        | Survey { dir, .. }
        | Closeout { dir, .. } => dir,
        Verb::New(new) => &new.dir,
        Verb::Add(add) => &add.dir,
        Verb::Wait(wait) => &wait.dir,
        Verb::Spread(spread) => spread.dir.as_ref()?,
        _ => return None,
    };
    Some(dir.to_string_lossy().into_owned())
}

fn dispatch(verb: Option<Verb>, context: &Context<'_>) -> Result<Outcome, Trouble> {
    let Some(verb) = verb else {
        return Ok(Outcome::text(welcome()));
    };
    match verb {
        Verb::Try { sample } => samples::try_sample(context, &sample),
        Verb::Open { dir } => project::open(context, &dir),
        Verb::New(new) => project::new(context, &new),
        Verb::Add(add) => project::add(context, &add),
        Verb::Set { dir, path, value } => project::set(context, &dir, &path, &value),
        Verb::Check { dir, save_to } => match save_to {
            Some(to) => project::save(&dir, &to),
            None => project::check(&dir),
        },
        Verb::History { dir, piece, csv } => ask::history(context, &dir, piece.as_deref(), csv),
        Verb::Sheet(sheet) => ask::sheet(context, &sheet),
        Verb::Traveller { dir, piece } => ask::traveller(context, &dir, &piece),
        Verb::Record { dir, subject, what } => record::record(context, &dir, &subject, what),
        Verb::Refresh {
            dir,
            pieces,
            common,
        } => record::refresh(context, &dir, pieces, common),
        Verb::Shares {
            dir,
            tank,
            shares,
            rel,
            scene,
            result,
            common,
        } => {
            let rel = if shares.is_empty() { 0.0 } else { rel };
            let what = What::Shares {
                tank,
                shares,
                rel,
                scene,
                result,
            };
            record::shares(context, &dir, what, common)
        }
        Verb::Gates { dir, piece } => ask::gates(context, &dir, &piece),
        Verb::Joints { dir } => joints::joints(context, &dir),
        Verb::Status { dir } => ask::status(context, &dir),
        Verb::Wait(wait) => wait::wait(context, &wait),
        Verb::Silence { dir, who } => notices::silence(context, &dir, who),
        Verb::Notices { dir } => notices::notices(context, &dir),
        Verb::Charge(charge) => ask::charge(&charge),
        Verb::Closeout { dir, act } => record::closeout(context, &dir, act),
        Verb::Spread(asked) => spread::spread(context, &asked),
        Verb::Measure(measure) => measure::measure(context, &measure),
        Verb::Survey { dir, pieces } => survey::survey(context, &dir, &pieces),
        Verb::Settings { who } => own::settings(who.as_deref()),
        Verb::Keys => Ok(own::keys()),
        Verb::Completions { shell } => Ok(completions(shell)),
        Verb::Man => man(),
    }
}

const WELCOME: &str = "\
tankside keeps a plated assembly on track: areas, charge, timers, holds, record.

  tankside try                               look around in a sample; it is a copy
  tankside new lamp --name Lamp --metal copper-acid --mean 40um
                                             begin a project in a folder `lamp`
  tankside add lamp stem --mesh stem.stl     a piece with its print, or --area 6.84dm2
  tankside open lamp                         the screen for the evening
  tankside --help                            everything else
";

/// What to do first; where a project is at hand, how to open it.
fn welcome() -> String {
    let at_hand = projects_near(Path::new("."));
    let open = |dir: &String| format!("  tankside open {}\n", outcome::line_safe(dir));
    let commands: String = at_hand.iter().map(open).collect();
    if commands.is_empty() {
        return WELCOME.to_owned();
    }
    format!("{WELCOME}\nHere:\n{commands}")
}

/// The folder itself if it is a project, else those of its folders that are;
/// the first few, quoted for the shell.
fn projects_near(dir: &Path) -> Vec<String> {
    const MOST: usize = 5;
    if store::is_project(dir) {
        return vec![quoted(&dir.to_string_lossy())];
    }
    let inside = store::projects_in(dir).into_iter().take(MOST);
    let here = |path: PathBuf| path.strip_prefix(".").map(Path::to_owned).unwrap_or(path);
    inside
        .map(|path| quoted(&here(path).to_string_lossy()))
        .collect()
}

/// The wrong folder, with the projects that lie in it.
fn with_projects_near(trouble: Trouble) -> Trouble {
    match trouble {
        Trouble::Error(mut fault) if fault.kind == "not_a_project" => {
            let near = fault.file.as_deref().map(projects_near).unwrap_or_default();
            if !near.is_empty() {
                let near = near.iter().map(|dir| outcome::line_safe(dir));
                let near = near.collect::<Vec<_>>().join(", ");
                fault.remedy = format!("name a project's folder; here are: {near}");
            }
            Trouble::Error(fault)
        }
        other => other,
    }
}

fn completions(shell: ShellName) -> Outcome {
    use clap_complete::Shell;
    let shell = match shell {
        ShellName::Bash => Shell::Bash,
        ShellName::Elvish => Shell::Elvish,
        ShellName::Fish => Shell::Fish,
        ShellName::Powershell => Shell::PowerShell,
        ShellName::Zsh => Shell::Zsh,
    };
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "tankside", &mut text);
    Outcome::generated(String::from_utf8_lossy(&text))
}

/// One page: the program, then every command.
fn man() -> Result<Outcome, Trouble> {
    let command = Cli::command();
    let mut page = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut page)?;
    for verb in command.get_subcommands() {
        let man = clap_mangen::Man::new(
            verb.clone()
                .bin_name(format!("tankside {}", verb.get_name())),
        );
        let title = verb.get_name().to_uppercase();
        writeln!(page, ".SH \"COMMAND {title}\"")?;
        writeln!(
            page,
            "{}",
            verb.get_about()
                .map(ToString::to_string)
                .unwrap_or_default()
        )?;
        for section in [
            clap_mangen::Man::render_synopsis_section,
            clap_mangen::Man::render_options_section,
            clap_mangen::Man::render_extra_section,
        ] {
            section(&man, &mut page)?;
        }
    }
    let text = String::from_utf8_lossy(&page)
        .replace(".SH SYNOPSIS", ".SS SYNOPSIS")
        .replace(".SH OPTIONS", ".SS OPTIONS")
        .replace(".SH EXTRA", ".SS FORMS");
    Ok(Outcome::generated(text))
}
