//! How one event changes the state.
//!
//! [`State::check`] (in `possible`) says whether an act is possible at all;
//! [`State::apply`] carries it out. Gates are not asked here: they stand before
//! a new act, not before history.

use std::sync::Arc;

use super::current::member;
use super::state::{PieceState, TankState};
use super::{
    ContactChange, Coverage, Definition, Event, Hold, Look, Mark, MarkKind, Reading, Stage,
    StageSpan, StageState, State, What,
};
use crate::units::Instant;

/// Out of the bath or without current for longer than this, with metal on it,
/// a piece is marked: layers part where plating was interrupted (common
/// practice, no source).
const INTERRUPTED_S: f64 = 2.0 * 3600.0;

impl State {
    /// The state before anything has happened.
    pub fn begin(definition: &Definition) -> Self {
        let pieces = definition.pieces.iter().map(|piece| {
            let state = PieceState {
                stage: definition.route_of(piece).first().cloned(),
                ..PieceState::default()
            };
            (piece.name.clone(), Arc::new(state))
        });
        let tanks = definition
            .tanks
            .iter()
            .map(|tank| (tank.name.clone(), Arc::new(TankState::default())));
        Self {
            pieces: pieces.collect(),
            tanks: tanks.collect(),
            ..Self::default()
        }
    }

    /// Carries out an event that [`State::check`] let pass.
    pub(super) fn apply(&mut self, definition: &Definition, event: &Event) {
        let at = event.at;
        self.latest = self.latest.max(Some(at));
        match &event.what {
            What::Reading {
                tank,
                volts,
                amps,
                celsius,
                mode,
                piece,
            } => {
                let reading = Reading {
                    at,
                    volts: *volts,
                    amps: *amps,
                    celsius: *celsius,
                };
                self.read(definition, tank, reading, *mode, piece.as_deref());
            }
            What::Supply { tank, to } => self.set_supply(definition, tank, *to, at),
            What::Bath { tank, work } => self.bath_work(tank, work, at),
            What::Shares {
                tank,
                shares,
                rel,
                scene,
                ..
            } => self.share_by_field(definition, tank, shares, (*rel, scene), at),
            What::CloseoutTick { items } => {
                let who = (event.who.clone(), at);
                self.ticked
                    .extend(items.iter().map(|i| (i.clone(), who.clone())));
            }
            What::CloseoutSign { .. } => {
                self.ticked.clear();
                self.signed = Some((event.sequence, at, event.who.clone()));
            }
            What::Wipe { pieces } => {
                for name in pieces {
                    self.with(name, |p| p.wipe(at));
                }
            }
            What::Logger { .. } | What::Undo { .. } | What::Redo { .. } => {}
            of_piece => self.apply_to_piece(definition, of_piece, at),
        }
        self.see_to_shares(event);
        if let super::Subject::Piece(name) = event.what.subject() {
            let reason = event.reason.clone().unwrap_or_default();
            self.with(name, |p| {
                p.marks.extend(event.overridden.iter().map(|gate| Mark {
                    kind: MarkKind::Override,
                    because: reason.clone(),
                    at,
                    gate: Some(gate.clone()),
                }));
            });
        }
    }

    pub(super) fn with(&mut self, piece: &str, change: impl FnOnce(&mut PieceState)) {
        if let Some(state) = self.piece_mut(piece) {
            change(state);
        }
    }

    fn apply_to_piece(&mut self, definition: &Definition, what: &What, at: Instant) {
        match what {
            What::Start { piece, stage, tank } => {
                self.start(definition, piece, stage, tank.as_deref(), at);
            }
            What::Finish { piece } => self.finish(definition, piece, false, at),
            What::Skip {
                piece,
                stage,
                because,
            } => {
                self.with(piece, |p| {
                    p.mark(MarkKind::Skipped, format!("{stage}: {because}"), at);
                });
                self.finish(definition, piece, true, at);
            }
            What::Rework {
                piece,
                stage,
                because,
            } => self.rework(definition, piece, stage, because, at),
            What::Pause { piece } => self.in_circuit(definition, piece, at, |p| {
                p.stage_state = StageState::Paused;
                p.paused_at = Some(at);
            }),
            What::Resume { piece } => self.in_circuit(definition, piece, at, |p| p.resume(at)),
            What::Lift { piece } => self.in_circuit(definition, piece, at, |p| {
                p.lifted_at = Some(at);
                p.touched_up = false;
            }),
            What::Return { piece, .. } => self.in_circuit(definition, piece, at, |p| p.back_in(at)),
            What::Look { piece, findings } => self.in_circuit(definition, piece, at, |p| {
                if let Coverage::Is(coverage) = Coverage::of(findings) {
                    p.coverage = coverage;
                }
                p.looks.push(Look {
                    at,
                    findings: findings.clone(),
                });
            }),
            What::TouchUp { piece, .. } => self.with(piece, |p| p.touched_up = true),
            What::Tick { piece, names } => self.with(piece, |p| {
                p.ticks.extend(names.iter().map(|n| (n.clone(), at)));
            }),
            What::Ohms {
                piece,
                resistance,
                place,
            } => {
                self.with(piece, |p| p.ohms.push((at, *resistance, place.clone())));
            }
            What::Weigh {
                piece,
                mass,
                condition,
            } => self.with(piece, |p| p.masses.push((at, *mass, *condition))),
            What::Coat { piece } => self.with(piece, |p| p.coats.push(at)),
            What::Turn { piece, text } => self.with(piece, |p| p.turn = Some(text.clone())),
            What::Contact { piece, change, .. } => self.with(piece, |p| match change {
                ContactChange::Moved => p.contacts_moved += 1,
                ContactChange::Loosened | ContactChange::Added => {}
            }),
            What::Climate {
                piece,
                celsius,
                humidity,
            } => self.with(piece, |p| p.climate.push((at, *celsius, *humidity))),
            _ => {}
        }
    }

    /// Changes a piece and tells the immersion of its tank what it is now.
    fn in_circuit(
        &mut self,
        definition: &Definition,
        name: &str,
        at: Instant,
        change: impl FnOnce(&mut PieceState),
    ) {
        self.with(name, change);
        let Some(piece) = self.pieces.get(name) else {
            return;
        };
        let member = piece.in_circuit().then(|| member(definition, name, piece));
        let immersion = piece
            .tank
            .as_ref()
            .and_then(|tank| self.tanks.get_mut(tank).map(Arc::make_mut))
            .and_then(|tank| tank.immersion.as_mut());
        if let Some(immersion) = immersion {
            immersion.change(at, name, member);
        }
    }

    fn start(
        &mut self,
        definition: &Definition,
        name: &str,
        stage: &Stage,
        tank: Option<&str>,
        at: Instant,
    ) {
        let hold = &definition.hold;
        self.with(name, |p| {
            p.stage_state = StageState::Running;
            p.started_at = Some(at);
            p.paused_s = 0.0;
            if p.spans.last().is_none_or(|s| s.to.is_some()) {
                p.spans.push(StageSpan {
                    stage: stage.clone(),
                    from: at,
                    to: None,
                    paused_s: 0.0,
                    skipped: false,
                });
            }
            match stage {
                Stage::Age => {
                    p.hold = Some(Hold {
                        started_at: at,
                        ended_at: None,
                        restarts: 0,
                    });
                }
                Stage::Seal => p.end_hold(at, hold.time.si() + hold.tolerance.si()),
                _ => {}
            }
        });
        match tank {
            Some(tank) => self.hang(definition, name, tank, at),
            None => self.in_circuit(definition, name, at, |_| {}),
        }
    }

    fn finish(&mut self, definition: &Definition, name: &str, skipped: bool, at: Instant) {
        let route = definition
            .piece(name)
            .map(|p| definition.route_of(p))
            .unwrap_or_default();
        let Some(stage) = self.piece(name).and_then(|p| p.stage.clone()) else {
            return;
        };
        self.with(name, |p| {
            if p.stage_state == StageState::Paused {
                p.resume_count(at);
            }
            p.close_span(&stage, skipped, at);
            let next = route
                .iter()
                .position(|s| *s == stage)
                .and_then(|i| route.get(i + 1));
            p.enter(next.cloned(), at);
        });
        let stays = self
            .piece(name)
            .and_then(|p| p.stage.as_ref())
            .is_some_and(Stage::in_bath);
        if stays {
            self.in_circuit(definition, name, at, |_| {});
        } else {
            self.take_out(name, at);
        }
    }

    fn rework(
        &mut self,
        definition: &Definition,
        name: &str,
        stage: &Stage,
        because: &str,
        at: Instant,
    ) {
        let route = definition
            .piece(name)
            .map(|p| definition.route_of(p))
            .unwrap_or_default();
        let wanted = route.iter().position(|s| s == stage).unwrap_or(0);
        let ageing = route.iter().position(|s| *s == Stage::Age);
        self.take_out(name, at);
        self.with(name, |p| {
            p.mark(MarkKind::Rework, format!("to {stage}: {because}"), at);
            p.reworks += 1;
            if let Some(now) = p.stage.clone() {
                p.close_span(&now, false, at);
            }
            p.reset
                .extend(route.iter().skip(wanted).map(|s| (s.clone(), at)));
            if *stage == Stage::Coat {
                p.coverage = None;
            }
            if ageing.is_some_and(|age| wanted <= age) {
                p.hold = None;
            }
            p.enter(Some(stage.clone()), at);
        });
    }

    fn hang(&mut self, definition: &Definition, name: &str, tank: &str, at: Instant) {
        if self
            .piece(name)
            .and_then(|p| p.tank.as_deref())
            .is_some_and(|now| now != tank)
        {
            self.take_out(name, at);
        }
        self.begin_immersion(definition, tank, at, true);
        self.in_circuit(definition, name, at, |p| {
            if p.tank.is_none() {
                p.tank = Some(tank.to_owned());
                p.hung_at = Some(at);
            }
            if p.lifted_at.is_some() {
                p.back_in(at);
            }
        });
    }

    fn take_out(&mut self, name: &str, at: Instant) {
        let Some(tank) = self.piece_mut(name).and_then(|p| {
            p.lifted_at = None;
            p.touched_up = false;
            p.hung_at = None;
            p.tank.take()
        }) else {
            return;
        };
        if let Some(immersion) = self.tank_mut(&tank).and_then(|t| t.immersion.as_mut()) {
            immersion.change(at, name, None);
        }
        if self.hanging(&tank).next().is_none() {
            self.end_immersion(&tank, at);
        }
    }

    /// Puts the mark of an event that was written down after later ones.
    pub(super) fn mark_back_dated(&mut self, definition: &Definition, event: &Event) {
        let local = definition.zone.local(event.recorded);
        let because = format!(
            "{}, written down {} {}",
            event.what,
            local.date(),
            local.clock()
        );
        let mark = Mark {
            kind: MarkKind::BackDated,
            because,
            at: event.at,
            gate: None,
        };
        match event.what.subject() {
            super::Subject::Piece(name) => self.with(name, |p| p.marks.push(mark)),
            super::Subject::Pieces(names) => names
                .iter()
                .for_each(|n| self.with(n, |p| p.marks.push(mark.clone()))),
            super::Subject::Tank(tank) => {
                if let Some(tank) = self.tank_mut(tank) {
                    tank.marks.push(mark);
                }
            }
            super::Subject::Project => {}
        }
    }
}

impl PieceState {
    fn mark(&mut self, kind: MarkKind, because: String, at: Instant) {
        self.marks.push(Mark {
            kind,
            because,
            at,
            gate: None,
        });
    }

    fn enter(&mut self, stage: Option<Stage>, at: Instant) {
        self.stage_state = if stage.is_some() {
            StageState::Waiting
        } else {
            StageState::Done
        };
        self.stage = stage;
        self.entered_at = Some(at);
        self.started_at = None;
        self.paused_at = None;
        self.paused_s = 0.0;
    }

    fn close_span(&mut self, stage: &Stage, skipped: bool, at: Instant) {
        let paused_s = self.paused_s;
        match self.spans.last_mut().filter(|s| s.to.is_none()) {
            Some(span) => {
                span.to = Some(at);
                span.paused_s = paused_s;
                span.skipped = skipped;
            }
            None if skipped => self.spans.push(StageSpan {
                stage: stage.clone(),
                from: at,
                to: Some(at),
                paused_s: 0.0,
                skipped,
            }),
            None => {}
        }
    }

    fn resume_count(&mut self, at: Instant) {
        if let Some(paused) = self.paused_at.take() {
            self.paused_s += at.elapsed_since(paused);
        }
    }

    fn resume(&mut self, at: Instant) {
        if let Some(paused) = self.paused_at
            && self.tank.is_some()
        {
            self.mark_interruption(paused, at);
        }
        self.resume_count(at);
        self.stage_state = StageState::Running;
    }

    fn back_in(&mut self, at: Instant) {
        if let Some(lifted) = self.lifted_at.take() {
            self.mark_interruption(lifted, at);
        }
        self.returned_at = Some(at);
        self.touched_up = false;
    }

    pub(super) fn mark_interruption(&mut self, since: Instant, at: Instant) {
        if self.has_metal() && at.since(since) > INTERRUPTED_S {
            let span = crate::units::clock_span(at.since(since));
            self.mark(MarkKind::Interrupted, format!("no current for {span}"), at);
        }
    }

    fn wipe(&mut self, at: Instant) {
        if let Some(hold) = self.hold.as_mut().filter(|h| h.ended_at.is_none()) {
            hold.started_at = at;
            hold.restarts += 1;
        }
    }

    fn end_hold(&mut self, at: Instant, latest_s: f64) {
        let Some(hold) = self.hold.as_mut().filter(|h| h.ended_at.is_none()) else {
            return;
        };
        hold.ended_at = Some(at);
        let age = at.elapsed_since(hold.started_at);
        if age > latest_s {
            let over = crate::units::clock_span(age - latest_s);
            self.mark(
                MarkKind::Late,
                format!("sealed {over} after the hold and its tolerance"),
                at,
            );
        }
    }
}
