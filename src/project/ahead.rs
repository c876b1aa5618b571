//! The hours ahead: when the clock will call, were everything done on time.

use std::collections::BTreeMap;

use super::{Definition, Due, DueKind, Event, Finding, FindingKind, Setting, State, What};
use crate::units::{A, Instant, V};

/// So many calls are told at most, for each piece and tank: an interval of
/// seconds would fill more paper than anybody has.
const MOST_EACH: usize = 24;

/// Something that the clock will call for.
#[derive(Debug, Clone, PartialEq)]
pub struct Planned {
    /// What: a look, a step of a ladder or a reading.
    pub what: DueKind,
    /// Of which piece; `None` for the meter of a tank.
    pub piece: Option<String>,
    /// In which tank.
    pub tank: String,
    /// When; what is overdue comes at once.
    pub at: Instant,
    /// What to set, for a step of a ladder.
    pub setting: Option<Setting>,
}

impl State {
    /// The looks, ladder steps and readings from `now` until `until`, in order
    /// of time, as though each were done when it is due and changed nothing
    /// else. The rules are those of [`State::due`], asked again after each.
    pub fn ahead(&self, definition: &Definition, now: Instant, until: Instant) -> Vec<Planned> {
        let mut state = self.clone();
        let mut planned: Vec<Planned> = Vec::new();
        let mut done: BTreeMap<Call, Instant> = BTreeMap::new();
        let mut clock = now;
        let most = MOST_EACH * (definition.pieces.len() + definition.tanks.len());
        while planned.len() < most {
            // What was done and is due as before will not change by doing it.
            let goes_on = |due: &Due| done.get(&call(due)).is_none_or(|last| *last < due.at);
            let next = state
                .due(definition, clock)
                .into_iter()
                .filter(|due| at_the_tank(due) && due.at.max(clock) <= until && goes_on(due))
                .min_by_key(|due| due.at.max(clock));
            let Some((due, tank)) = next.and_then(|due| Some((due.clone(), due.tank?))) else {
                break;
            };
            clock = clock.max(due.at);
            done.insert(call(&due), due.at);
            let (what, setting) = state.as_asked(definition, &due, &tank);
            if let Some(what) = what {
                state.apply(definition, &supposed(what, clock));
                planned.push(Planned {
                    what: due.what,
                    piece: due.piece,
                    tank,
                    at: clock,
                    setting,
                });
            }
        }
        planned
    }

    /// What doing a due thing would be, its figures as they are now.
    fn as_asked(
        &self,
        definition: &Definition,
        due: &Due,
        tank: &str,
    ) -> (Option<What>, Option<Setting>) {
        let piece = due.piece.clone();
        match due.what {
            DueKind::Look => {
                let seen = Finding {
                    kind: FindingKind::Ok,
                    share: None,
                    place: None,
                };
                let look = |piece| What::Look {
                    piece,
                    findings: vec![seen],
                };
                (piece.map(look), None)
            }
            DueKind::Ladder => {
                let step = piece.and_then(|piece| self.next_step(definition, &piece));
                let setting = step.and_then(|step| step.setting);
                let tank = tank.to_owned();
                (setting.map(|to| What::Supply { tank, to }), setting)
            }
            _ => (Some(self.as_last_read(tank, piece)), None),
        }
    }

    /// A reading that says what the meter said last.
    fn as_last_read(&self, tank: &str, piece: Option<String>) -> What {
        let state = self.tank(tank);
        let last = state.and_then(|t| t.reading);
        let set = |t: &super::TankState| (t.set_volts, t.set_amps);
        let (set_volts, set_amps) = state.map(set).unwrap_or_default();
        What::Reading {
            tank: tank.to_owned(),
            volts: last.map(|r| r.volts).or(set_volts).unwrap_or(V.of(1.0)),
            amps: last.map(|r| r.amps).or(set_amps).unwrap_or(A.of(1.0)),
            celsius: None,
            mode: None,
            piece,
        }
    }
}

type Call = (DueKind, Option<String>, Option<String>);

fn call(due: &Due) -> Call {
    (due.what, due.piece.clone(), due.tank.clone())
}

fn at_the_tank(due: &Due) -> bool {
    matches!(due.what, DueKind::Look | DueKind::Ladder | DueKind::Reading)
}

/// An event that is never written down.
fn supposed(what: What, at: Instant) -> Event {
    Event {
        sequence: u64::MAX,
        at,
        recorded: at,
        who: String::new(),
        what,
        reason: None,
        overridden: Vec::new(),
    }
}
