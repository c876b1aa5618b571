//! `wait`: blocks until something is due, for scripts.

use std::thread::sleep;
use std::time::Duration;

use serde_json::{Value, json};

use super::Context;
use super::args::WaitArgs;
use super::outcome::{self, Outcome, Trouble};
use crate::clock::Clock;
use crate::project::{Due, DueKind, DueName, Project, Refusal, nearest};
use crate::report;
use crate::store::Folder;
use crate::units::{Instant, Quantity, clock_span};

/// The files and the clock are looked at this often.
const NAP: Duration = Duration::from_millis(500);

/// `wait DIR …`
pub(super) fn wait(context: &Context<'_>, args: &WaitArgs) -> Result<Outcome, Trouble> {
    let folder = context.open(&args.dir)?;
    check_wanted(folder.project(), &args.what)?;
    let mut watch = Watch::begin(context, folder, &args.what)?;
    if args.new {
        watch.news();
    }
    let done = watch_for(context, &mut watch, args);
    context.heed(&watch.folder);
    done
}

fn watch_for(
    context: &Context<'_>,
    watch: &mut Watch<'_>,
    args: &WaitArgs,
) -> Result<Outcome, Trouble> {
    let mut left = args.timeout.map(Quantity::si);
    loop {
        let news = watch.news();
        if !news.is_empty() {
            let told = told(watch.folder.project(), &news, watch.now());
            if !args.each {
                return Ok(told);
            }
            if !outcome::tell(context, &told)? {
                return Ok(Outcome::text(""));
            }
        }
        let nap = watch.nap(left);
        if nap.is_zero() {
            return Err(nothing(args).into());
        }
        sleep(nap);
        left = left.map(|left| left - nap.as_secs_f64());
        watch.folder.follow()?;
    }
}

/// Nothing became due in time.
fn nothing(args: &WaitArgs) -> Refusal {
    let time = args.timeout.map_or(0.0, Quantity::si);
    let new = if args.new { "new " } else { "" };
    let what = match args.what.as_slice() {
        [] => String::new(),
        what => format!(" of {}", what.join(", ")),
    };
    Refusal::new(
        "nothing-due",
        format!("nothing {new}became due within {}{what}", clock_span(time)),
    )
}

/// Whether every word asked for can be met at all.
fn check_wanted(project: &Project, what: &[String]) -> Result<(), Trouble> {
    let definition = &project.definition;
    let kinds = DueKind::ALL.iter().map(|kind| -> &str { kind.word() });
    let pieces = definition.pieces.iter().map(|p| p.name.as_str());
    let tanks = definition.tanks.iter().map(|t| t.name.as_str());
    let known: Vec<&str> = kinds.chain(pieces).chain(tanks).collect();
    match what.iter().find(|word| !known.contains(&word.as_str())) {
        None => Ok(()),
        Some(word) => {
            let near = nearest(word, known.iter().copied());
            let message = format!(
                "--for: nothing here is called `{}`{near}",
                word.escape_debug()
            );
            let kinds: Vec<&str> = DueKind::ALL.into_iter().map(DueKind::word).collect();
            let remedy = format!("name a piece, a tank, or one of {}", kinds.join(" "));
            Err(Trouble::fault("unknown-due", message, remedy))
        }
    }
}

/// A project that is looked at again and again.
struct Watch<'a> {
    clock: &'a dyn Clock,
    folder: Folder,
    wanted: Vec<String>,
    /// How far `--now` lies ahead of the clock, in seconds.
    ahead: Option<f64>,
    /// What was due when it was looked at last.
    known: Vec<DueName>,
    /// Seconds until the next thing is due; infinite if nothing is foreseen.
    next: f64,
}

impl<'a> Watch<'a> {
    fn begin(context: &Context<'a>, folder: Folder, wanted: &[String]) -> Result<Self, Trouble> {
        let zone = folder.project().definition.zone;
        let replaced = context.replaced_now(zone)?;
        // Says so where the clock is behind the journal.
        context.now(folder.project())?;
        Ok(Self {
            ahead: replaced.map(|now| now.since(context.clock.now())),
            clock: context.clock,
            folder,
            wanted: wanted.to_vec(),
            known: Vec::new(),
            next: f64::INFINITY,
        })
    }

    /// The present; one given with `--now` runs on from there.
    fn now(&self) -> Instant {
        let clock = self.clock.now();
        match self.ahead {
            Some(ahead) => clock.plus_seconds(ahead),
            None => self.folder.project().present(clock),
        }
    }

    /// What is due and was not when this was asked last.
    fn news(&mut self) -> Vec<Due> {
        let (project, now) = (self.folder.project(), self.now());
        let mut due = project.state_at(now).due(&project.definition, now);
        due.retain(|d| self.wants(d));
        let to_come = due.iter().map(|d| -d.overdue_s(now)).filter(|s| *s > 0.0);
        self.next = to_come.fold(f64::INFINITY, f64::min);
        due.retain(|d| d.at <= now);
        let names = due.iter().map(Due::name).collect();
        let known = std::mem::replace(&mut self.known, names);
        due.retain(|d| !known.contains(&d.name()));
        due
    }

    fn wants(&self, due: &Due) -> bool {
        let is = |name: &Option<String>, word: &String| name.as_ref() == Some(word);
        let meets = |w: &String| due.what.word() == w || is(&due.piece, w) || is(&due.tank, w);
        self.wanted.is_empty() || self.wanted.iter().any(meets)
    }

    /// How long to sleep with so many seconds left.
    fn nap(&self, left: Option<f64>) -> Duration {
        let nap = left.unwrap_or(f64::INFINITY).min(self.next.max(0.001));
        Duration::try_from_secs_f64(nap.max(0.0)).map_or(NAP, |nap| nap.min(NAP))
    }
}

fn told(project: &Project, due: &[Due], now: Instant) -> Outcome {
    let zone = project.definition.zone;
    let line = |d: &Due| {
        let since = zone.local(d.at).beside(zone.local(now));
        format!("{}: {} (due since {since})\n", d.name(), d.say)
    };
    let text: String = due.iter().map(line).collect();
    let list: Vec<Value> = due.iter().map(|d| report::json::due(d, now)).collect();
    let json = json!({ "name": project.definition.name, "now": now, "due": list });
    Outcome::both(text, json)
}
