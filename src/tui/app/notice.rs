//! One notice: what is due, told once for everything that is.

use super::Facts;
use crate::project::{Due, DueKind, Project, Silence};
use crate::report::safe::fitted;
use crate::units::{Instant, clock_span};

/// The longest title and text of a notice, in columns.
const TITLE: usize = 60;
const TEXT: usize = 240;

/// What is told when something is due. Several things at once make one notice:
/// it names the most urgent one and how many more there are.
#[derive(Debug, Clone, PartialEq)]
pub struct Notice {
    /// The name of the project.
    pub project: String,
    /// The most urgent thing.
    pub first: Due,
    /// The others, most urgent first.
    pub others: Vec<Due>,
    /// When it is told.
    pub now: Instant,
    /// Which ring it is, from 1.
    pub ring: u32,
    /// Since when the first is due, as the project's clocks show it.
    since: String,
}

impl Notice {
    /// The notice of these things, most urgent first; `None` without any.
    pub fn of(project: &Project, due: Vec<Due>, now: Instant, ring: u32) -> Option<Self> {
        let zone = project.definition.zone;
        let mut due = due.into_iter();
        let first = due.next()?;
        Some(Self {
            project: project.definition.name.clone(),
            since: zone.local(first.at).beside(zone.local(now)),
            first,
            others: due.collect(),
            now,
            ring,
        })
    }

    /// What of it still stands in a project that may have moved on: without
    /// what was dealt with or silenced meanwhile.
    pub fn still(&self, project: &Project, silences: &[Silence]) -> Option<Self> {
        let stands = |due: &&Due| {
            self.due().any(|told| told.name().is(due)) && !silences.iter().any(|s| s.holds(due))
        };
        let facts = Facts::of(project, project.present(self.now));
        let due = facts.overdue().filter(stands).cloned().collect();
        Self::of(project, due, self.now, self.ring)
    }

    /// Everything that it is about, most urgent first.
    pub fn due(&self) -> impl Iterator<Item = &Due> {
        std::iter::once(&self.first).chain(&self.others)
    }

    /// Whether something is being spoilt right now.
    pub fn is_urgent(&self) -> bool {
        self.due().any(|d| d.what == DueKind::LiftOut)
    }

    /// `look frond-3: Fern floor lamp`, safe for a terminal.
    pub fn title(&self) -> String {
        fitted(&format!("{}: {}", self.first.name(), self.project), TITLE)
    }

    /// What to do, since when, and what else is due, safe for a terminal.
    pub fn text(&self) -> String {
        fitted(&self.words(), TEXT)
    }

    /// The same as it stands in the files.
    pub fn words(&self) -> String {
        let Due { say, .. } = &self.first;
        let mut words = format!("{say} (due since {}", self.since);
        let over = self.first.overdue_s(self.now);
        if over >= 60.0 {
            words = format!("{words}, {} over", clock_span(over));
        }
        words.push(')');
        let others = |due: &Due| due.name().to_string();
        match self.others.len() {
            0 => words,
            more => {
                let named: Vec<String> = self.others.iter().take(3).map(others).collect();
                let and = if more > named.len() { ", …" } else { "" };
                format!("{words}; and {more} more: {}{and}", named.join(", "))
            }
        }
    }
}
