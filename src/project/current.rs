//! Current: set points, readings, the immersions they belong to.

use std::sync::Arc;

use super::state::TankState;
use super::{BathWork, Definition, LogRow, Mode, PieceState, Reading, Setting, Stage, State};
use crate::plating::{Immersion, Member, Point, ShareByArea};
use crate::units::{Current, Instant};

impl State {
    /// Makes sure an immersion goes on in the tank. One that begins because a
    /// piece was hung takes over the current that a constant-current supply
    /// still holds.
    pub(super) fn begin_immersion(
        &mut self,
        definition: &Definition,
        tank: &str,
        at: Instant,
        hung: bool,
    ) {
        if self.tanks.get(tank).is_none_or(|t| t.immersion.is_some()) {
            return;
        }
        let mut immersion = Immersion::begun(at);
        for (name, piece) in self.hanging(tank).filter(|(_, p)| p.in_circuit()) {
            immersion.change(at, name, Some(member(definition, name, piece)));
        }
        let Some(state) = self.tank_mut(tank) else {
            return;
        };
        immersion
            .tank
            .extend(state.held.filter(|_| hung && state.on));
        immersion.predict(at, state.sharing.field.clone().map(|(_, shares)| shares));
        state.immersion = Some(immersion);
    }

    pub(super) fn end_immersion(&mut self, tank: &str, at: Instant) {
        let Some((state, mut immersion)) = self
            .tank_mut(tank)
            .and_then(|state| state.immersion.take().map(|immersion| (state, immersion)))
        else {
            return;
        };
        // Until the last piece leaves, a constant current holds as it was set.
        if let Some(held) = state.held {
            immersion.close(Point { at, ..held });
        }
        immersion.ended = Some(at);
        let settled = immersion.settle(at, &ShareByArea);
        for upkeep in &mut state.upkeep {
            if let Some(seen_to) = upkeep.at.filter(|seen_to| *seen_to >= immersion.from) {
                upkeep.before += immersion.settle(seen_to, &ShareByArea).tank.measured;
            }
        }
        state.delivered.add(&settled.tank);
        for (name, delivered) in settled.pieces {
            self.with(&name, |p| {
                p.delivered
                    .entry(tank.to_owned())
                    .or_default()
                    .add(&delivered);
            });
        }
    }

    pub(super) fn set_supply(
        &mut self,
        definition: &Definition,
        tank: &str,
        to: Setting,
        at: Instant,
    ) {
        self.begin_immersion(definition, tank, at, false);
        self.mark_interrupted_in(tank, to, at);
        let Some(state) = self.tank_mut(tank) else {
            return;
        };
        let held = state.held.take();
        if let Some(immersion) = &mut state.immersion {
            if let Some(held) = held {
                immersion.close(Point { at, ..held });
            }
            if let Setting::Amps(amps) = to {
                let amps = amps.si();
                immersion.tell(Point { at, amps }, true);
            }
        }
        state.since = Some(at);
        (state.set_amps, state.set_volts) = (None, None);
        match to {
            Setting::Amps(amps) => {
                state.mode = Some(Mode::Cc);
                state.set_amps = Some(amps);
                state.held = Some(Point {
                    at,
                    amps: amps.si(),
                });
                state.on = amps.si() > 0.0;
                state.sets.push((at, to));
            }
            Setting::Volts(volts) => {
                state.mode = Some(Mode::Cv);
                state.set_volts = Some(volts);
                state.on = volts.si() > 0.0;
                state.sets.push((at, to));
            }
            Setting::Off => {
                state.mode = None;
                state.on = false;
                self.end_immersion(tank, at);
            }
        }
    }

    /// Pieces with metal that hung for hours without current are marked when
    /// the current comes back.
    fn mark_interrupted_in(&mut self, tank: &str, to: Setting, at: Instant) {
        let Some(state) = self.tanks.get(tank).filter(|t| !t.on && to != Setting::Off) else {
            return;
        };
        let Some(off_since) = state.since else { return };
        for piece in self
            .pieces
            .values_mut()
            .filter(|p| p.tank.as_deref() == Some(tank) && p.in_circuit())
        {
            let since = off_since.max(piece.hung_at.unwrap_or(off_since));
            Arc::make_mut(piece).mark_interruption(since, at);
        }
    }

    pub(super) fn read(
        &mut self,
        definition: &Definition,
        tank: &str,
        reading: Reading,
        mode: Option<Mode>,
        piece: Option<&str>,
    ) {
        let at = reading.at;
        self.begin_immersion(definition, tank, at, false);
        let Some(state) = self.tank_mut(tank) else {
            return;
        };
        let flows = reading.amps.si() > 0.0;
        if flows != state.on && (flows || piece.is_none()) {
            state.on = flows;
            state.since = Some(at);
        }
        state.since.get_or_insert(at);
        let amps = reading.amps.si();
        let point = Point { at, amps };
        if let Some(piece) = piece {
            if let Some(immersion) = &mut state.immersion {
                immersion
                    .own
                    .entry(piece.to_owned())
                    .or_default()
                    .push(point);
            }
            return;
        }
        state.mode = mode.or(state.mode);
        state.held = (state.mode == Some(Mode::Cc)).then_some(point);
        state.reading = Some(reading);
        if let Some(immersion) = &mut state.immersion {
            immersion.tell(point, false);
        }
    }

    /// A row of a logger is a reading of its tank.
    pub(super) fn apply_row(&mut self, definition: &Definition, tank: &str, row: &LogRow) {
        self.latest = self.latest.max(Some(row.at));
        let volts = row
            .volts
            .or_else(|| {
                self.tank(tank)
                    .and_then(|t| t.set_volts.or(t.reading.map(|r| r.volts)))
            })
            .unwrap_or_default();
        let reading = Reading {
            at: row.at,
            volts,
            amps: row.amps,
            celsius: row.celsius,
        };
        self.read(definition, tank, reading, None, None);
    }

    pub(super) fn bath_work(&mut self, tank: &str, work: &BathWork, at: Instant) {
        let Some(state) = self.tank_mut(tank) else {
            return;
        };
        let index = match work {
            BathWork::Dose(_) => 0,
            BathWork::Filter => 1,
            BathWork::Bags => 2,
            BathWork::TopUp(_) | BathWork::Anodes(_) | BathWork::Moved(_) => return,
        };
        if let Some(upkeep) = state.upkeep.get_mut(index) {
            *upkeep = super::Upkeep {
                at: Some(at),
                before: state.delivered.measured,
            };
        }
    }
}

/// Whether a coverage is all of the surface.
pub(super) fn is_whole(coverage: f64) -> bool {
    coverage >= 1.0 - 1e-9
}

/// What a piece is to the account now.
pub(super) fn member(definition: &Definition, name: &str, piece: &PieceState) -> Member {
    let limit = match piece.stage {
        Some(Stage::Strike) => definition.readings.strike,
        _ => definition.readings.build,
    };
    Member {
        area: definition
            .piece(name)
            .and_then(super::Piece::conductor_area)
            .map(crate::units::Area::si),
        covered: piece.coverage.is_some_and(is_whole),
        limit_s: limit.si(),
    }
}

impl TankState {
    /// The charge measured since one of the upkeeps, in coulombs, up to `now`.
    pub(super) fn measured_since(&self, upkeep: usize, now: Instant) -> f64 {
        let seen_to = self.upkeep.get(upkeep).copied().unwrap_or_default();
        let open = |until| {
            self.immersion
                .as_ref()
                .map_or(0.0, |i| i.settle(until, &ShareByArea).tank.measured)
        };
        let before_in_open = match (seen_to.at, &self.immersion) {
            (Some(at), Some(immersion)) if at >= immersion.from => open(at),
            _ => 0.0,
        };
        (self.delivered.measured + open(now) - seen_to.before - before_in_open).max(0.0)
    }

    /// The set point as the supply would show it.
    pub fn setting(&self) -> Option<Setting> {
        self.set_amps
            .map(Setting::Amps)
            .or(self.set_volts.map(Setting::Volts))
            .filter(|_| self.on)
    }

    /// The current that flows now, as last known.
    pub fn amps(&self, now: Instant) -> Option<Current> {
        if !self.on {
            return Some(Current::from_si(0.0));
        }
        self.immersion
            .as_ref()
            .and_then(|i| i.current(now))
            .or(self.held.map(|held| held.amps))
            .map(Current::from_si)
    }
}
