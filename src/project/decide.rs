//! From an action to an event, or to a refusal.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::gates::refuse_gates;
use super::refold::{Checkpoints, Past, back_dated, contradiction};
use super::{
    CloseOut, Command, Definition, Event, GateView, History, LogRow, Refusal, Stage, State, What,
    When,
};
use crate::units::Instant;

/// Something a person wants recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct Action {
    /// What happened.
    pub what: What,
    /// When; the present if not said.
    pub at: Option<Instant>,
    /// Who says so.
    pub who: String,
    /// The reason to pass gates that do not hold.
    pub override_reason: Option<String>,
}

impl Action {
    /// An action of the present moment.
    pub fn now(what: What, who: &str) -> Self {
        Self {
            what,
            at: None,
            who: who.to_owned(),
            override_reason: None,
        }
    }
}

/// An event to write down, and what is said beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct Decision {
    /// The event.
    pub event: Event,
    /// Warnings that let it pass.
    pub warnings: Vec<String>,
}

/// The journal tells what the definition no longer allows.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("event {sequence} ({told}) cannot be under this project.ron: {because}")]
pub struct Contradiction {
    /// The event's sequence.
    pub sequence: u64,
    /// The event in a few words.
    pub told: String,
    /// Why not.
    pub because: String,
}

/// A definition with its history: everything that can be asked or recorded. A
/// copy shares all that is large.
#[derive(Debug, Clone, PartialEq)]
pub struct Project {
    /// What a person wrote.
    pub definition: Definition,
    pub(super) events: History,
    pub(super) undone: Undone,
    pub(super) logs: Arc<Logs>,
    pub(super) state: State,
    pub(super) checkpoints: Checkpoints,
    /// Whether the events are all there are.
    pub(super) whole: bool,
}

/// The rows of logger files by their names in the journal.
pub(super) type Logs = BTreeMap<String, Vec<LogRow>>;

/// What is taken back.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Undone {
    sequences: BTreeSet<u64>,
    /// What a redo would bring again, the next one last.
    stack: Vec<u64>,
}

/// Said of what takes the whole history, before it is there.
pub const READING: &str = "the journal is still being read";

impl Project {
    /// Folds a history over a definition. `logs` holds the rows of logger
    /// files by their names in the journal; a file left out has no rows.
    ///
    /// # Errors
    /// When an event cannot be under this definition.
    pub fn new(
        definition: Definition,
        events: impl Into<History>,
        logs: BTreeMap<String, Vec<LogRow>>,
    ) -> Result<Self, Contradiction> {
        let events = events.into();
        let undone = Undone::of(&events);
        let past = Past {
            definition: &definition,
            events: &events,
            undone: &undone,
            logs: &logs,
        };
        let (state, checkpoints) = past.fold(Checkpoints::default())?;
        Ok(Self {
            definition,
            events,
            undone,
            logs: Arc::new(logs),
            state,
            checkpoints,
            whole: true,
        })
    }

    /// All events in the order they were written down, undone ones too.
    pub fn events(&self) -> &History {
        &self.events
    }

    /// The rows of logger files.
    pub fn logs(&self) -> &BTreeMap<String, Vec<LogRow>> {
        &self.logs
    }

    /// The state after everything.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// The state at `now`: what happened later is left out.
    pub fn state_at(&self, now: Instant) -> Cow<'_, State> {
        if !self.whole || self.state.latest.is_none_or(|latest| latest <= now) {
            return Cow::Borrowed(&self.state);
        }
        Cow::Owned(self.fold_until(now))
    }

    /// The present for a clock that shows `clock`: a clock that was set back
    /// does not undo what has happened.
    pub fn present(&self, clock: Instant) -> Instant {
        self.state.latest.map_or(clock, |latest| latest.max(clock))
    }

    /// Adds an event that [`Self::decide`] yielded, or that another program
    /// wrote.
    ///
    /// # Errors
    /// When the history with it cannot be.
    pub fn push(&mut self, event: Event, rows: Option<Vec<LogRow>>) -> Result<(), Contradiction> {
        if let (What::Logger { file, .. }, Some(rows)) = (&event.what, rows) {
            let former = Arc::make_mut(&mut self.logs).insert(file.clone(), rows);
            if former.is_some() {
                self.checkpoints = Checkpoints::default();
            }
        }
        if self.comes_last(&event) {
            self.state
                .check(&self.definition, &event.what)
                .map_err(|refusal| contradiction(&event, &refusal))?;
            self.state.apply(&self.definition, &event);
            self.undone.take(&event.what);
            let events = self.events.len() + 1;
            self.checkpoints.add(&event, events, &self.state);
            self.events.push(event);
            return Ok(());
        }
        *self = self.with(event)?;
        Ok(())
    }

    /// Whether an event only adds to the state: nothing before it is folded anew.
    pub(super) fn comes_last(&self, event: &Event) -> bool {
        let is_latest = self.state.latest.is_none_or(|latest| latest <= event.at);
        let changes_the_past = matches!(
            event.what,
            What::Undo { .. } | What::Redo { .. } | What::Logger { .. }
        );
        is_latest && !changes_the_past
    }

    /// The project with an event that changes what was folded before.
    fn with(&self, event: Event) -> Result<Self, Contradiction> {
        let unchanged = self.past().unchanged_by(&event, &self.checkpoints);
        let mut new = self.clone();
        new.undone.take(&event.what);
        new.events.push(event);
        (new.state, new.checkpoints) = new.past().fold(unchanged)?;
        Ok(new)
    }

    pub(super) fn past(&self) -> Past<'_> {
        Past {
            definition: &self.definition,
            events: &self.events,
            undone: &self.undone,
            logs: &self.logs,
        }
    }

    /// What holds up to an instant; every prefix by time of a history that
    /// folds folds, since the order of the fold is the order of time.
    fn fold_until(&self, now: Instant) -> State {
        let folded = self.past().fold_until(now, &self.checkpoints);
        folded.unwrap_or_else(|_cannot_be| State::begin(&self.definition))
    }

    /// Decides on an action at `now`.
    ///
    /// # Errors
    /// A refusal that says what stands in the way and what would do instead.
    pub fn decide(&self, action: &Action, now: Instant) -> Result<Decision, Refusal> {
        let decision = self.judge(action, now)?;
        if self.whole && !self.comes_last(&decision.event) {
            self.with(decision.event.clone())
                .map_err(|later| self.refuse(&decision.event, &later))?;
        }
        Ok(decision)
    }

    /// The same, except that what happened later is not looked at: whoever adds
    /// the event at once learns of that from [`Self::push`], and
    /// [`Self::refuse`] says it.
    ///
    /// # Errors
    /// As [`Self::decide`].
    pub fn judge(&self, action: &Action, now: Instant) -> Result<Decision, Refusal> {
        let at = action.at.unwrap_or(now);
        if at > now {
            let local = self.definition.zone.local(at);
            let clock = format!("{} {}", local.date(), local.clock_seconds());
            return Err(Refusal::new(
                "future",
                format!("{clock} has not come yet: what is recorded has happened"),
            ));
        }
        match action.what {
            What::Undo { .. } | What::Redo { .. } if !self.whole => {
                return Err(Refusal::new("reading", READING));
            }
            What::Undo { .. } => return self.decide_undo(action, at, now),
            What::Redo { .. } => return self.decide_redo(action, at, now),
            _ => {}
        }
        let state = self.state_at(at);
        let what = self.complete(&state, action.what.clone(), at)?;
        self.check_words(&state, &what, at)?;
        let checked = state.check(&self.definition, &what);
        checked.map_err(|refusal| self.as_of(at, now, &what, refusal))?;
        let missing = self.missing_gates(&state, &what, at);
        let (reason, overridden) = match (&action.override_reason, missing.is_empty()) {
            (_, true) => (None, Vec::new()),
            (Some(reason), false) => (
                Some(reason.clone()),
                missing.into_iter().map(|g| g.gate).collect(),
            ),
            (None, false) => return Err(refuse_gates(&missing, again_with_override(&what))),
        };
        let warnings = state.warnings(&self.definition, &what, at);
        let event = Event {
            sequence: self.next_sequence(),
            at,
            recorded: now,
            who: action.who.clone(),
            what,
            reason,
            overridden,
        };
        Ok(Decision { event, warnings })
    }

    /// A refusal that stands at `at` only says so: the present would let it be.
    fn as_of(&self, at: Instant, now: Instant, what: &What, mut refusal: Refusal) -> Refusal {
        if at < now && self.state_at(now).check(&self.definition, what).is_ok() {
            let zone = self.definition.zone;
            let clock = zone.local(at).beside(zone.local(now));
            refusal.because = format!("at {clock}: {}", refusal.because);
        }
        refusal
    }

    fn next_sequence(&self) -> u64 {
        self.events.last().map_or(1, |e| e.sequence + 1)
    }

    /// Fills in what the rules know: the tank a piece is hung in, the sheet
    /// that is signed.
    fn complete(&self, state: &State, what: What, at: Instant) -> Result<What, Refusal> {
        Ok(match what {
            What::Start {
                piece,
                stage,
                tank: None,
            } if stage.in_bath() => {
                let hangs = state.piece(&piece).and_then(|p| p.tank.clone());
                let only = || match self.definition.tanks.as_slice() {
                    [only] => Some(only.name.clone()),
                    _ => None,
                };
                let tank = hangs.or_else(only);
                What::Start { piece, stage, tank }
            }
            What::Tick { piece, names } => What::Tick {
                piece,
                names: once(names),
            },
            What::Wipe { pieces } => What::Wipe {
                pieces: once(pieces),
            },
            What::CloseoutTick { items } => What::CloseoutTick { items: once(items) },
            What::CloseoutSign { .. } => {
                let closeout = CloseOut::of(&self.definition, state, at);
                closeout.check_sign()?;
                What::CloseoutSign {
                    sheet: closeout.sheet(),
                }
            }
            other => other,
        })
    }

    /// Words that name something of the project: ticks and close-out items.
    fn check_words(&self, state: &State, what: &What, at: Instant) -> Result<(), Refusal> {
        match what {
            What::Start { stage, .. } | What::Rework { stage, .. } | What::Skip { stage, .. } => {
                self.check_stage(stage)
            }
            What::Tick { piece, names } => {
                let Some(piece) = self.definition.piece(piece) else {
                    return Ok(());
                };
                let known = State::tick_names(&self.definition, piece);
                match names.iter().find(|n| !known.contains(n)) {
                    None => Ok(()),
                    Some(unknown) => {
                        let near =
                            super::nearest::nearest(unknown, known.iter().map(String::as_str));
                        Err(Refusal::new(
                            "unknown-tick",
                            format!(
                                "`{}` is nothing to tick{near}; there are: {}",
                                unknown.escape_debug(),
                                known.join(" ")
                            ),
                        )
                        .or(Command::new("gates", super::quoted(&piece.name))))
                    }
                }
            }
            What::CloseoutTick { items } => {
                CloseOut::of(&self.definition, state, at).check_ticks(items)
            }
            // Not asked of history: shares of others than hang there do not hold.
            What::Shares { tank, shares, .. } if state.tank(tank).is_some() => {
                state.check_sharers(tank, shares)
            }
            _ => Ok(()),
        }
    }

    fn check_stage(&self, stage: &Stage) -> Result<(), Refusal> {
        let Stage::Own(name) = stage else {
            return Ok(());
        };
        let own: Vec<&str> = self
            .definition
            .stages
            .iter()
            .map(|s| s.name.as_str())
            .collect();
        if own.contains(&name.as_str()) {
            return Ok(());
        }
        let mut known: Vec<&str> = Stage::known_names().collect();
        known.extend(own);
        let near = super::nearest::nearest(name, known.iter().copied());
        Err(Refusal::new(
            "unknown-stage",
            format!(
                "`{}` is no stage{near}; there are: {}",
                name.escape_debug(),
                known.join(" ")
            ),
        ))
    }

    fn missing_gates(&self, state: &State, what: &What, at: Instant) -> Vec<GateView> {
        let gates = |piece: &str, stage: &Stage, when| {
            state.gates_at(&self.definition, piece, stage, when, at)
        };
        let mut missing = match what {
            What::Start { piece, stage, .. } => {
                let mut gates = gates(piece, stage, When::Start);
                gates.extend(
                    state
                        .dip_gate(&self.definition, piece, at)
                        .filter(|_| stage.in_bath()),
                );
                gates
            }
            What::Finish { piece } => state
                .piece(piece)
                .and_then(|p| p.stage.clone())
                .map(|stage| gates(piece, &stage, When::End))
                .unwrap_or_default(),
            What::Return {
                piece,
                dipped: false,
            } => state
                .dip_gate(&self.definition, piece, at)
                .into_iter()
                .collect(),
            _ => Vec::new(),
        };
        missing.retain(|g| !g.held);
        missing
    }

    /// The refusal of an event with which a later one could not be.
    pub fn refuse(&self, event: &Event, later: &Contradiction) -> Refusal {
        let Contradiction {
            sequence,
            told,
            because,
        } = later;
        let target = match event.what {
            What::Undo { sequence } | What::Redo { sequence } => self.event(sequence),
            _ => None,
        };
        match target {
            Some(target) => Refusal::new(
                "depends",
                format!(
                    "#{} ({}) cannot be taken back: #{sequence} ({told}) depends on it: {because}",
                    target.sequence, target.what
                ),
            ),
            None => Refusal::new(
                "later-event",
                format!("then #{sequence} ({told}) would be impossible: {because}"),
            ),
        }
    }

    /// The event that an undo would take back: the last not undone.
    pub fn undo_target(&self) -> Option<&Event> {
        self.events.iter().rev().find(|e| {
            !matches!(e.what, What::Undo { .. } | What::Redo { .. }) && !self.is_undone(e.sequence)
        })
    }

    /// The event that a redo would bring back.
    pub fn redo_target(&self) -> Option<&Event> {
        let last = self.undone.stack.last()?;
        self.event(*last)
    }

    /// The event of a sequence; they are counted as they were written down.
    pub fn event(&self, sequence: u64) -> Option<&Event> {
        self.events.get(self.events.place_of(sequence)?)
    }

    /// Whether an event is taken back.
    pub fn is_undone(&self, sequence: u64) -> bool {
        self.undone.has(sequence)
    }

    /// The sequences of the events that are taken back.
    pub fn undone_sequences(&self) -> &BTreeSet<u64> {
        &self.undone.sequences
    }

    /// The sequences of the events that happened before one already written
    /// down for the same piece or tank.
    pub fn back_dated(&self) -> BTreeSet<u64> {
        back_dated(self.undone.holding(self.events.iter()))
    }

    fn decide_undo(&self, action: &Action, at: Instant, now: Instant) -> Result<Decision, Refusal> {
        let target = self.undo_target().ok_or_else(|| {
            Refusal::new(
                "nothing-to-undo",
                "nothing has been recorded that could be undone",
            )
        })?;
        let sequence = target.sequence;
        Ok(self.change_of_history(What::Undo { sequence }, action, (at, now), target))
    }

    fn decide_redo(&self, action: &Action, at: Instant, now: Instant) -> Result<Decision, Refusal> {
        let target = self.redo_target().ok_or_else(|| {
            Refusal::new(
                "nothing-to-redo",
                "nothing was undone since the last new event",
            )
        })?;
        let sequence = target.sequence;
        Ok(self.change_of_history(What::Redo { sequence }, action, (at, now), target))
    }

    fn change_of_history(
        &self,
        what: What,
        action: &Action,
        (at, recorded): (Instant, Instant),
        target: &Event,
    ) -> Decision {
        let event = Event {
            sequence: self.next_sequence(),
            at,
            recorded,
            who: action.who.clone(),
            what,
            reason: None,
            overridden: Vec::new(),
        };
        Decision {
            event,
            warnings: vec![format!("#{}: {}", target.sequence, target.what)],
        }
    }
}

/// Each word once, in the order given.
fn once(words: Vec<String>) -> Vec<String> {
    let mut seen = BTreeSet::new();
    words
        .into_iter()
        .filter(|w| seen.insert(w.clone()))
        .collect()
}

impl Undone {
    fn of(events: &History) -> Self {
        let mut undone = Self::default();
        events.iter().for_each(|event| undone.take(&event.what));
        undone
    }

    /// Takes in what happened next.
    fn take(&mut self, what: &What) {
        match what {
            What::Undo { sequence } => {
                self.sequences.insert(*sequence);
                self.stack.push(*sequence);
            }
            What::Redo { sequence } => {
                self.sequences.remove(sequence);
                self.stack.retain(|s| s != sequence);
            }
            _ => self.stack.clear(),
        }
    }

    /// Whether the event of a sequence is taken back.
    pub(super) fn has(&self, sequence: u64) -> bool {
        self.sequences.contains(&sequence)
    }

    /// Of some events those that hold.
    pub(super) fn holding<'a>(
        &self,
        events: impl Iterator<Item = &'a Event>,
    ) -> impl Iterator<Item = &'a Event> {
        events.filter(|event| !self.has(event.sequence))
    }
}

/// The same act again, with the gates passed on purpose.
fn again_with_override(what: &What) -> Command {
    let reason = "--override 'why it may pass'";
    match what {
        What::Start { piece, stage, tank } => {
            let tank = tank
                .as_ref()
                .map_or_else(String::new, |t| format!(" --tank {}", super::quoted(t)));
            Command::record(piece, format!("start {stage}{tank} {reason}"))
        }
        What::Return { piece, .. } => Command::record(piece, format!("return {reason}")),
        What::Finish { piece } => Command::record(piece, format!("finish {reason}")),
        other => Command::new("history", other.to_string()),
    }
}
