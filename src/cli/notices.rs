//! `silence` and `notices`: what is told of what is due.

use std::path::Path;

use serde_json::{Value, json};

use super::outcome::{Outcome, Trouble};
use super::{Context, project};
use crate::project::{DueName, Silence};
use crate::store::{NoticeDone, NoticeEntry};
use crate::units::Instant;

/// `silence DIR [--who NAME]`
pub(super) fn silence(
    context: &Context<'_>,
    dir: &Path,
    who: Option<String>,
) -> Result<Outcome, Trouble> {
    let folder = context.open(dir)?;
    let project = folder.project();
    let now = context.now(project)?;
    let due = project.state_at(now).due(&project.definition, now);
    let overdue = due.iter().filter(|d| d.at <= now);
    let silence = Silence {
        at: now,
        who: who.unwrap_or_else(project::who),
        of: overdue.map(|d| (d.name(), d.at)).collect(),
    };
    let json = json!({ "at": now, "who": silence.who, "silenced": names(&silence.of) });
    if silence.of.is_empty() {
        return Ok(Outcome::both("nothing is due", json));
    }
    folder
        .notice_log()
        .add(|_| Some(NoticeEntry::from(&silence)))?;
    let lines = silence.of.iter().map(|(name, _)| name.to_string());
    let text = format!(
        "no more notices, until it is due anew, of {}",
        lines.collect::<Vec<_>>().join(", ")
    );
    Ok(Outcome::both(text, json))
}

/// `notices DIR`
pub(super) fn notices(context: &Context<'_>, dir: &Path) -> Result<Outcome, Trouble> {
    let folder = context.open(dir)?;
    let project = folder.project();
    let (now, zone) = (context.now(project)?, project.definition.zone);
    let entries = folder.notice_log().entries()?;
    let clock = |at: Instant| zone.local(at).beside(zone.local(now));
    let line = |entry: &NoticeEntry| {
        let done = done(entry.done);
        let by = match entry.who.as_str() {
            "" => String::new(),
            who => format!(" ({who})"),
        };
        let due = entry.due.iter();
        let due: Vec<String> = due
            .map(|(name, at)| format!("{name} due {}", clock(*at)))
            .collect();
        format!("{} {done}{by}: {}\n", clock(entry.at), due.join(", "))
    };
    let text: String = entries.iter().map(line).collect();
    let text = if text.is_empty() {
        "nothing was told yet\n".to_owned()
    } else {
        text
    };
    let list: Vec<Value> = entries.iter().map(as_json).collect();
    Ok(Outcome::both(text, json!({ "notices": list })))
}

fn done(done: NoticeDone) -> String {
    match done {
        NoticeDone::Told { ring, .. } => format!("told, ring {ring}"),
        NoticeDone::Silenced => "silenced".to_owned(),
    }
}

fn as_json(entry: &NoticeEntry) -> Value {
    let (done, ring) = match entry.done {
        NoticeDone::Told { ring, .. } => ("told", Some(ring)),
        NoticeDone::Silenced => ("silenced", None),
    };
    json!({
        "at": entry.at, "who": entry.who, "done": done, "ring": ring, "due": names(&entry.due),
    })
}

fn names(due: &[(DueName, Instant)]) -> Vec<Value> {
    let name = |(name, at): &(DueName, Instant)| {
        let what = name.what.word();
        json!({ "what": what, "piece": name.piece, "tank": name.tank, "at": at })
    };
    due.iter().map(name).collect()
}
