//! The fold of a history, begun anew no earlier than it must be.
//!
//! An undo, a redo or an event of twelve minutes ago changes what was folded
//! before. Folding a hundred thousand events again for each of them would keep
//! a hand at the tank waiting. So the state is set aside now and then, as a
//! checkpoint: the fold goes on from the last one before the change. They lie
//! close together near the end, where changes happen, and ever farther apart
//! before, so that a long history has some twenty of them.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::decide::{Logs, Undone};
use super::{Contradiction, Definition, Event, History, LogRow, Refusal, State, Subject, What};
use crate::units::Instant;

/// So many steps lie between the last checkpoints.
const EVERY: usize = 64;

/// The order of the fold: when it happened, the sequence of the event, and the
/// row of its logger file (from 1; 0 for the event itself).
type Order = (Instant, u64, usize);

const fn order(event: &Event) -> Order {
    (event.at, event.sequence, 0)
}

/// All that a state folds out of.
#[derive(Debug, Clone, Copy)]
pub(super) struct Past<'a> {
    pub(super) definition: &'a Definition,
    pub(super) events: &'a History,
    pub(super) undone: &'a Undone,
    pub(super) logs: &'a Logs,
}

/// States set aside on the way, in order.
#[derive(Debug, Clone, Default)]
pub(super) struct Checkpoints {
    kept: Vec<Checkpoint>,
    /// How many steps there are in all.
    steps: usize,
}

/// The state at one place of the fold.
#[derive(Debug, Clone)]
struct Checkpoint {
    /// The last step in it.
    last: Order,
    /// How many steps are in it.
    steps: usize,
    /// Every event written down before this place is in it, or is taken back.
    from: usize,
    state: Arc<State>,
}

/// One step of the fold.
struct Step<'a> {
    order: Order,
    /// The place of its event in the history.
    place: usize,
    does: Does<'a>,
}

enum Does<'a> {
    Event(&'a Event),
    /// A row of a logger file on a tank.
    Row(&'a str, &'a LogRow),
}

impl<'a> Past<'a> {
    /// The state after everything, from the last of the checkpoints on, and the
    /// checkpoints for the next time.
    pub(super) fn fold(
        self,
        mut checkpoints: Checkpoints,
    ) -> Result<(State, Checkpoints), Contradiction> {
        let mut state = checkpoints.state(self.definition);
        let (steps, before) = (self.steps(&checkpoints, None), checkpoints.steps);
        let back_dated = back_dated(self.holding(checkpoints.from()));
        for (done, step) in (1..).zip(&steps) {
            step.apply(&mut state, self.definition, &back_dated)?;
            let behind = &steps[done..];
            if is_far_enough(behind.len()) {
                checkpoints.kept.push(Checkpoint {
                    last: step.order,
                    steps: before + done,
                    from: behind.iter().map(|step| step.place).min().unwrap_or(0),
                    state: Arc::new(state.clone()),
                });
            }
        }
        checkpoints.steps = before + steps.len();
        checkpoints.thin_out();
        Ok((state, checkpoints))
    }

    /// The state after all that had happened by an instant.
    pub(super) fn fold_until(
        self,
        until: Instant,
        checkpoints: &Checkpoints,
    ) -> Result<State, Contradiction> {
        let end = (until, u64::MAX, usize::MAX);
        let checkpoints = checkpoints.before(end, usize::MAX);
        let mut state = checkpoints.state(self.definition);
        let back_dated = back_dated(self.holding(checkpoints.from()));
        for step in self.steps(&checkpoints, Some(end)) {
            step.apply(&mut state, self.definition, &back_dated)?;
        }
        Ok(state)
    }

    /// The checkpoints that still hold once an event has been added.
    pub(super) fn unchanged_by(self, event: &Event, checkpoints: &Checkpoints) -> Checkpoints {
        let (What::Undo { sequence } | What::Redo { sequence }) = event.what else {
            return checkpoints.before(self.first(event), self.events.len());
        };
        let Some(place) = self.events.place_of(sequence) else {
            return Checkpoints::default();
        };
        // What was written down after it may be back-dated by it, or no longer.
        let changed = self.events.iter_from(place).filter(|e| is_folded(e));
        let first = changed.map(|event| self.first(event)).min();
        first.map_or_else(Checkpoints::default, |first| {
            checkpoints.before(first, place)
        })
    }

    /// The events that hold, from a place of the history on.
    fn holding(self, from: usize) -> impl Iterator<Item = &'a Event> {
        self.undone.holding(self.events.iter_from(from))
    }

    /// What holds behind the last checkpoint, in the order of the fold.
    fn steps(self, checkpoints: &Checkpoints, until: Option<Order>) -> Vec<Step<'a>> {
        let (last, from) = (checkpoints.last(), checkpoints.from());
        let is_asked = |order: &Order| {
            last.is_none_or(|last| last < *order) && until.is_none_or(|until| *order <= until)
        };
        let mut steps = Vec::with_capacity(self.events.len() - from);
        for (place, event) in (from..).zip(self.events.iter_from(from)) {
            if !is_folded(event) || self.undone.has(event.sequence) {
                continue;
            }
            let mut add = |order, does| {
                if is_asked(&order) {
                    steps.push(Step { order, place, does });
                }
            };
            add(order(event), Does::Event(event));
            if let What::Logger { tank, .. } = &event.what {
                let rows = self.rows(event);
                rows.for_each(|(order, row)| add(order, Does::Row(tank, row)));
            }
        }
        steps.sort_by_key(|step| step.order);
        steps
    }

    /// The rows that an event brought in.
    fn rows(self, event: &Event) -> impl Iterator<Item = (Order, &'a LogRow)> {
        let rows = match &event.what {
            What::Logger { file, .. } => self.logs.get(file),
            _ => None,
        };
        let rows = rows.into_iter().flatten().zip(1..);
        let sequence = event.sequence;
        rows.map(move |(row, number)| ((row.at, sequence, number), row))
    }

    /// The first step of an event: itself or a row.
    fn first(self, event: &Event) -> Order {
        let rows = self.rows(event).map(|(order, _)| order);
        rows.fold(order(event), Order::min)
    }
}

impl Step<'_> {
    fn apply(
        &self,
        state: &mut State,
        definition: &Definition,
        back_dated: &BTreeSet<u64>,
    ) -> Result<(), Contradiction> {
        match self.does {
            Does::Row(tank, row) => state.apply_row(definition, tank, row),
            Does::Event(event) => {
                state
                    .check(definition, &event.what)
                    .map_err(|refusal| contradiction(event, &refusal))?;
                state.apply(definition, event);
                if back_dated.contains(&event.sequence) {
                    state.mark_back_dated(definition, event);
                }
            }
        }
        Ok(())
    }
}

impl Checkpoints {
    /// Notes that an event came to the end of the fold, with which the history
    /// has so many events.
    pub(super) fn add(&mut self, event: &Event, events: usize, state: &State) {
        self.steps += 1;
        if self.steps - self.kept.last().map_or(0, |last| last.steps) >= EVERY {
            self.kept.push(Checkpoint {
                last: order(event),
                steps: self.steps,
                from: events,
                state: Arc::new(state.clone()),
            });
            self.thin_out();
        }
    }

    /// Those before a place of the fold at which an event is put in or taken
    /// out that stands at `place` in the history.
    fn before(&self, order: Order, place: usize) -> Self {
        let end = self.kept.partition_point(|c| c.last < order);
        let mut kept = self.kept[..end].to_vec();
        // An event that holds again may have been written down before `from`.
        for checkpoint in &mut kept {
            checkpoint.from = checkpoint.from.min(place);
        }
        let steps = kept.last().map_or(0, |last| last.steps);
        Self { kept, steps }
    }

    /// Leaves out what would leave no longer way between its neighbours than
    /// lies behind them: to begin at a checkpoint is at most to fold twice what
    /// has to be folded, and [`EVERY`] steps.
    fn thin_out(&mut self) {
        let mut before = 0;
        let mut at = 0;
        while let Some([this, next]) = self.kept.get(at..at + 2) {
            if next.steps - before <= self.steps - next.steps {
                self.kept.remove(at);
            } else {
                before = this.steps;
                at += 1;
            }
        }
    }

    fn last(&self) -> Option<Order> {
        self.kept.last().map(|c| c.last)
    }

    fn from(&self) -> usize {
        self.kept.last().map_or(0, |c| c.from)
    }

    fn state(&self, definition: &Definition) -> State {
        let last = self.kept.last().map(|c| State::clone(&c.state));
        last.unwrap_or_else(|| State::begin(definition))
    }
}

/// Where a fold is begun, the outcome is the same.
impl PartialEq for Checkpoints {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

/// Whether so many steps before the end a state is set aside: at 64, 128, 256 …
fn is_far_enough(behind: usize) -> bool {
    behind.is_multiple_of(EVERY) && (behind / EVERY).is_power_of_two()
}

/// Whether an event is a step of the fold; else it says which ones are.
fn is_folded(event: &Event) -> bool {
    !matches!(event.what, What::Undo { .. } | What::Redo { .. })
}

/// Of events in the order they were written down, those whose `at` lies before
/// one already recorded for the same piece or tank.
pub(super) fn back_dated<'a>(events: impl Iterator<Item = &'a Event>) -> BTreeSet<u64> {
    let mut latest: BTreeMap<(bool, &str), Instant> = BTreeMap::new();
    let mut found = BTreeSet::new();
    for event in events {
        let keys: Vec<(bool, &str)> = match event.what.subject() {
            Subject::Piece(piece) => vec![(true, piece)],
            Subject::Pieces(pieces) => pieces.iter().map(|p| (true, p.as_str())).collect(),
            Subject::Tank(tank) => vec![(false, tank)],
            Subject::Project => Vec::new(),
        };
        for key in keys {
            let last = latest.entry(key).or_insert(event.at);
            if event.at < *last {
                found.insert(event.sequence);
            }
            *last = (*last).max(event.at);
        }
    }
    found
}

pub(super) fn contradiction(event: &Event, refusal: &Refusal) -> Contradiction {
    Contradiction {
        sequence: event.sequence,
        told: event.what.to_string(),
        because: refusal.because.clone(),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::plating::Metal;
    use crate::project::{Action, Piece, PieceShare, Project, Setting, Stage, Target};
    use crate::units::{A, Current, DM2, UM, V};

    fn begun() -> Instant {
        Instant::from_unix_ms(1_772_000_000_000)
    }

    fn minutes(count: u32) -> f64 {
        f64::from(count) * 60.0
    }

    fn definition() -> Definition {
        let metal = Metal::named("copper-acid").unwrap();
        let mut definition = Definition::new("Table bell", metal, Target::Mean(UM.of(40.0)));
        definition.pieces = ["bell", "handle"]
            .map(|name| Piece {
                area: Some(DM2.of(3.0)),
                ..Piece::named(name)
            })
            .to_vec();
        definition
    }

    fn amps(number: u32) -> Current {
        A.of(f64::from(number % 7) * 0.5)
    }

    /// One thing that may happen; what cannot be is refused.
    fn what(project: &Project, kind: u32, number: usize) -> What {
        let piece = ["bell", "handle"][number % 2].to_owned();
        let tank = "main".to_owned();
        let stage = project.state().piece(&piece).unwrap().stage.clone();
        match (kind, stage) {
            (0..=1, Some(stage)) => What::Start {
                piece,
                stage,
                tank: None,
            },
            (2..=3, _) => What::Finish { piece },
            (4, _) => What::Rework {
                piece,
                stage: Stage::Coat,
                because: "thin".to_owned(),
            },
            (5, _) => What::Wipe {
                pieces: vec!["bell".to_owned(), "handle".to_owned()],
            },
            (6, _) => What::Supply {
                tank,
                to: Setting::Amps(A.of(1.5)),
            },
            (7..=8, _) => What::Undo { sequence: 0 },
            (9..=10, _) => What::Redo { sequence: 0 },
            (11, _) => What::Logger {
                tank,
                file: format!("immersions/{number:03}.csv"),
                sha256: String::new(),
            },
            (14, _) => What::Turn {
                piece,
                text: "over".to_owned(),
            },
            (15, _) => What::Shares {
                tank,
                shares: ["bell", "handle"]
                    .map(|name| PieceShare {
                        piece: name.to_owned(),
                        share: 0.5,
                        wire: 0.1,
                    })
                    .to_vec(),
                rel: 0.04,
                scene: String::new(),
                result: String::new(),
            },
            (12..=13, _) => What::Note {
                piece,
                text: "bright".to_owned(),
            },
            _ => What::Reading {
                tank,
                volts: V.of(0.5),
                amps: amps(kind),
                celsius: None,
                mode: None,
                piece: (kind == 20).then_some(piece),
            },
        }
    }

    /// Rows every five minutes of the forty before an instant.
    fn rows(until: Instant) -> Vec<LogRow> {
        let row = |n: u32| LogRow {
            at: until.plus_seconds(-minutes(5 * n)),
            volts: None,
            amps: amps(n),
            celsius: None,
        };
        (0..8).rev().map(row).collect()
    }

    fn same_from_nothing(project: &Project, at: Instant) {
        let (past, none) = (project.past(), Checkpoints::default());
        let (state, _) = past.fold(none.clone()).expect("folds");
        assert_eq!(project.state(), &state);
        let then = past.fold_until(at, &none).expect("folds");
        assert_eq!(project.state_at(at).as_ref(), &then, "at {at}");
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

        #[test]
        fn wherever_a_fold_begins_its_outcome_is_the_same(
            deeds in prop::collection::vec(
                (0..22_u32, 0..15_u32, prop_oneof![8 => Just(0), 1 => 1..40_u32, 1 => 1..2000_u32], any::<u32>()),
                1..500,
            ),
            edited in 0..600_usize,
        ) {
            let mut project = Project::new(definition(), Vec::new(), Logs::new()).unwrap();
            let mut now = begun();
            for (number, (kind, passed, back, then)) in deeds.into_iter().enumerate() {
                now = now.plus_seconds(minutes(passed));
                let action = Action {
                    at: (back > 0).then(|| now.plus_seconds(-minutes(back))),
                    override_reason: Some("trying".to_owned()),
                    ..Action::now(what(&project, kind, number), "Ida")
                };
                if let Ok(decision) = project.decide(&action, now) {
                    let rows = (kind == 11).then(|| rows(decision.event.at));
                    project.push(decision.event, rows).expect("what was decided folds");
                }
                if number == edited {
                    let mut definition = definition();
                    definition.pieces[0].area = Some(DM2.of(5.0));
                    let (events, logs) = (project.events().clone(), project.logs().clone());
                    project = Project::new(definition, events, logs).expect("an area may change");
                }
                if number % 16 == 0 {
                    let past = now.since(begun()) * f64::from(then) / f64::from(u32::MAX);
                    same_from_nothing(&project, begun().plus_seconds(past));
                }
            }
            same_from_nothing(&project, now);
        }
    }

    fn note(sequence: u64) -> Event {
        let at = Instant::from_unix_ms(sequence.cast_signed());
        Event {
            sequence,
            at,
            recorded: at,
            who: "Ida".to_owned(),
            what: What::Coat {
                piece: "bell".to_owned(),
            },
            reason: None,
            overridden: Vec::new(),
        }
    }

    /// How far before each place the fold is begun.
    fn is_never_far(checkpoints: &Checkpoints) {
        let end = checkpoints.steps;
        for place in 1..=end {
            let before = checkpoints.before(order(&note(place as u64)), end);
            let (folded, needed) = (end - before.steps, end - place + 1);
            assert!(folded <= 2 * needed + EVERY, "{place} of {end}");
        }
    }

    #[test]
    fn a_fold_begins_close_before_what_changes_and_few_states_are_kept() {
        let mut checkpoints = Checkpoints::default();
        for count in 1..=20_000 {
            checkpoints.add(&note(count), usize::MAX, &State::default());
            assert!(checkpoints.kept.len() <= 20, "{count}");
            if count % 997 == 0 {
                is_never_far(&checkpoints);
            }
        }
    }

    #[test]
    fn a_history_that_is_opened_has_its_checkpoints_at_once() {
        let mut definition = definition();
        definition.route = vec![Stage::Coat];
        for count in [10, 64, 65, 1000, 5000] {
            let at = |n| Event {
                what: What::Wipe {
                    pieces: vec!["bell".to_owned()],
                },
                ..note(n)
            };
            let events: Vec<Event> = (1..=count).map(at).collect();
            let project = Project::new(definition.clone(), events, Logs::new()).unwrap();
            is_never_far(&project.checkpoints);
        }
    }
}
