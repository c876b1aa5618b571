//! How one event changes the state, and when it cannot.
//!
//! [`State::check`] says whether an act is possible at all (order of stages,
//! what hangs where); [`State::apply`] carries it out. Gates are not asked
//! here: they stand before a new act, not before history.

use super::state::{PieceState, TankState};
use super::{
    BathWork, Command, ContactChange, Coverage, Definition, Event, Hold, LogRow, Look, Mark,
    MarkKind, Mode, Reading, Refusal, Setting, Stage, StageSpan, StageState, State, What,
};
use crate::plating::{Immersion, Member, Point, Reach, ShareByArea};
use crate::units::{Current, Instant};

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
            (piece.name.clone(), state)
        });
        let tanks = definition
            .tanks
            .iter()
            .map(|tank| (tank.name.clone(), TankState::default()));
        Self {
            pieces: pieces.collect(),
            tanks: tanks.collect(),
            ..Self::default()
        }
    }

    fn known_piece(&self, name: &str) -> Result<&PieceState, Refusal> {
        self.pieces.get(name).ok_or_else(|| {
            let near = super::definition::nearest(name, self.pieces.keys().map(String::as_str));
            Refusal::new(
                "unknown-piece",
                format!("there is no piece `{}`{near}", name.escape_debug()),
            )
        })
    }

    fn known_tank(&self, name: &str) -> Result<&TankState, Refusal> {
        self.tanks.get(name).ok_or_else(|| {
            let names: Vec<&str> = self.tanks.keys().map(String::as_str).collect();
            Refusal::new(
                "unknown-tank",
                format!(
                    "there is no tank `{}`; there is {}",
                    name.escape_debug(),
                    names.join(", ")
                ),
            )
        })
    }

    /// Whether an act is possible in this state.
    ///
    /// # Errors
    /// A refusal that names what stands in the way.
    pub fn check(&self, definition: &Definition, what: &What) -> Result<(), Refusal> {
        match what {
            What::Start { piece, stage, tank } => {
                self.check_start(definition, piece, stage, tank.as_deref())
            }
            What::Pause { piece } => self.check_pause(piece),
            What::Resume { piece } => match self.known_piece(piece)?.stage_state {
                StageState::Paused => Ok(()),
                _ => Err(Refusal::new("not-paused", format!("{piece} is not paused"))),
            },
            What::Finish { piece } => self.check_finish(piece),
            What::Rework { piece, stage, .. } => self.check_rework(definition, piece, stage),
            What::Skip { piece, stage, .. } => self.check_at(piece, stage),
            What::Lift { piece } => match self.known_piece(piece)? {
                p if p.in_bath() => Ok(()),
                p if p.lifted_at.is_some() => Err(Refusal::new(
                    "already-out",
                    format!("{piece} is already lifted"),
                )
                .or(Command::record(piece, "return"))),
                _ => Err(Refusal::new(
                    "not-in-bath",
                    format!("{piece} does not hang in a tank"),
                )),
            },
            What::Return { piece, .. } | What::TouchUp { piece, .. } => {
                if self.known_piece(piece)?.lifted_at.is_some() {
                    Ok(())
                } else {
                    Err(
                        Refusal::new("not-lifted", format!("{piece} has not been lifted"))
                            .or(Command::record(piece, "lift")),
                    )
                }
            }
            What::Coat { piece } | What::Weigh { piece, .. } => match self.known_piece(piece)? {
                p if p.in_bath() => Err(Refusal::new(
                    "in-bath",
                    format!("{piece} hangs in the bath"),
                )
                .or(Command::record(piece, "lift"))),
                _ => Ok(()),
            },
            What::Look { piece, .. }
            | What::Tick { piece, .. }
            | What::Ohms { piece, .. }
            | What::Turn { piece, .. }
            | What::Contact { piece, .. }
            | What::Climate { piece, .. }
            | What::Note { piece, .. } => self.known_piece(piece).map(|_| ()),
            What::Wipe { pieces } => pieces
                .iter()
                .try_for_each(|p| self.known_piece(p).map(|_| ())),
            What::Reading { tank, piece, .. } => self.check_reading(tank, piece.as_deref()),
            What::Supply { tank, .. } | What::Bath { tank, .. } | What::Logger { tank, .. } => {
                self.known_tank(tank).map(|_| ())
            }
            What::CloseoutTick { .. }
            | What::CloseoutSign { .. }
            | What::Undo { .. }
            | What::Redo { .. } => Ok(()),
        }
    }

    fn check_start(
        &self,
        definition: &Definition,
        name: &str,
        stage: &Stage,
        tank: Option<&str>,
    ) -> Result<(), Refusal> {
        let piece = self.known_piece(name)?;
        self.check_at(name, stage)
            .map_err(|refusal| self.with_way_forward(definition, name, refusal))?;
        if piece.stage_state != StageState::Waiting {
            return Err(Refusal::new(
                "already-begun",
                format!("{stage} of {name} is {}", piece.stage_state.word()),
            )
            .or(Command::record(name, "finish")));
        }
        match (stage.in_bath(), tank) {
            (true, Some(tank)) => self.known_tank(tank).map(|_| ()),
            (true, None) => {
                let choices = self.tanks.keys().map(|t| {
                    Command::record(name, format!("start {stage} --tank {}", super::quoted(t)))
                });
                Err(Refusal {
                    rule: "which-tank".into(),
                    because: format!("there are several tanks: say in which one {name} hangs"),
                    instead: choices.collect(),
                })
            }
            (false, Some(_)) => Err(Refusal::new("no-tank", format!("{stage} needs no tank"))
                .or(Command::record(name, format!("start {stage}")))),
            (false, None) => Ok(()),
        }
    }

    fn with_way_forward(&self, definition: &Definition, name: &str, refusal: Refusal) -> Refusal {
        let Some(piece) = self.piece(name) else {
            return refusal;
        };
        match (&piece.stage, piece.stage_state) {
            (Some(stage), StageState::Waiting) => {
                refusal.or(Command::record(name, format!("start {stage}")))
            }
            (Some(_), _) => refusal.or(Command::record(name, "finish")),
            (None, _) => definition.route.first().map_or(refusal.clone(), |first| {
                refusal.or(Command::record(
                    name,
                    format!("rework {first} --because 'what is wrong'"),
                ))
            }),
        }
    }

    fn check_at(&self, name: &str, stage: &Stage) -> Result<(), Refusal> {
        match &self.known_piece(name)?.stage {
            Some(at) if at == stage => Ok(()),
            Some(at) => Err(Refusal::new(
                "order",
                format!("{name} is at {at}, not at {stage}"),
            )),
            None => Err(Refusal::new("order", format!("{name} is done"))),
        }
    }

    fn check_pause(&self, name: &str) -> Result<(), Refusal> {
        let piece = self.known_piece(name)?;
        if piece.is_running() {
            return Ok(());
        }
        let refusal = Refusal::new(
            "not-running",
            format!("{name} is {}, not running", piece.stage_state.word()),
        );
        Err(match &piece.tank {
            Some(tank) => refusal.or(Command::new(
                "record",
                format!("supply --tank {} --off", super::quoted(tank)),
            )),
            None => refusal,
        })
    }

    fn check_finish(&self, name: &str) -> Result<(), Refusal> {
        let piece = self.known_piece(name)?;
        match (&piece.stage, piece.stage_state) {
            (Some(_), StageState::Running | StageState::Paused) => Ok(()),
            (Some(stage), _) => Err(Refusal::new(
                "not-begun",
                format!("{stage} of {name} has not begun"),
            )
            .or(Command::record(name, format!("start {stage}")))),
            (None, _) => Err(Refusal::new("order", format!("{name} is done"))),
        }
    }

    fn check_rework(
        &self,
        definition: &Definition,
        name: &str,
        stage: &Stage,
    ) -> Result<(), Refusal> {
        let piece = self.known_piece(name)?;
        let route = definition
            .piece(name)
            .map(|p| definition.route_of(p))
            .unwrap_or_default();
        let place = |stage: &Stage| route.iter().position(|s| s == stage);
        let Some(wanted) = place(stage) else {
            return Err(Refusal::new(
                "order",
                format!("{stage} is not on the route of {name}"),
            ));
        };
        let at = piece.stage.as_ref().and_then(place).unwrap_or(route.len());
        if wanted < at {
            Ok(())
        } else {
            Err(Refusal::new(
                "order",
                format!("rework goes back: {name} has not passed {stage} yet"),
            ))
        }
    }

    fn check_reading(&self, tank: &str, piece: Option<&str>) -> Result<(), Refusal> {
        self.known_tank(tank)?;
        let Some(name) = piece else { return Ok(()) };
        match self.known_piece(name)? {
            p if p.tank.as_deref() != Some(tank) => Err(Refusal::new(
                "not-in-bath",
                format!("{name} does not hang in {tank}"),
            )),
            p if p.lifted_at.is_some() => Err(Refusal::new(
                "not-in-bath",
                format!("{name} is lifted: no current flows through it"),
            )
            .or(Command::record(name, "return"))),
            _ => Ok(()),
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

    fn with(&mut self, piece: &str, change: impl FnOnce(&mut PieceState)) {
        if let Some(state) = self.pieces.get_mut(piece) {
            change(state);
        }
    }

    fn apply_to_piece(&mut self, definition: &Definition, what: &What, at: Instant) {
        match what {
            What::Start { piece, stage, tank } => {
                self.start(definition, piece, stage, tank.as_deref(), at)
            }
            What::Finish { piece } => self.finish(definition, piece, false, at),
            What::Skip {
                piece,
                stage,
                because,
            } => {
                self.with(piece, |p| {
                    p.mark(MarkKind::Skipped, format!("{stage}: {because}"), at)
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
                p.ticks.extend(names.iter().map(|n| (n.clone(), at)))
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
            .and_then(|tank| self.tanks.get_mut(tank))
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
                    })
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
        let Some(tank) = self.pieces.get_mut(name).and_then(|p| {
            p.lifted_at = None;
            p.touched_up = false;
            p.hung_at = None;
            p.tank.take()
        }) else {
            return;
        };
        if let Some(immersion) = self.tanks.get_mut(&tank).and_then(|t| t.immersion.as_mut()) {
            immersion.change(at, name, None);
        }
        if self.hanging(&tank).next().is_none() {
            self.end_immersion(&tank, at);
        }
    }

    /// Makes sure an immersion goes on in the tank. One that begins because a
    /// piece was hung takes over the current that a constant-current supply
    /// still holds.
    fn begin_immersion(&mut self, definition: &Definition, tank: &str, at: Instant, hung: bool) {
        if self.tanks.get(tank).is_none_or(|t| t.immersion.is_some()) {
            return;
        }
        let mut immersion = Immersion::begun(at);
        for (name, piece) in self.hanging(tank).filter(|(_, p)| p.in_circuit()) {
            immersion.change(at, name, Some(member(definition, name, piece)));
        }
        let Some(state) = self.tanks.get_mut(tank) else {
            return;
        };
        if let Some(amps) = state.held.filter(|_| hung && state.on) {
            immersion.tank.push(Point {
                at,
                amps,
                reach: Reach::Read,
            });
        }
        state.immersion = Some(immersion);
    }

    fn end_immersion(&mut self, tank: &str, at: Instant) {
        let Some((state, mut immersion)) = self
            .tanks
            .get_mut(tank)
            .and_then(|state| state.immersion.take().map(|immersion| (state, immersion)))
        else {
            return;
        };
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
                    .add(&delivered)
            });
        }
    }

    fn set_supply(&mut self, definition: &Definition, tank: &str, to: Setting, at: Instant) {
        self.begin_immersion(definition, tank, at, false);
        self.mark_interrupted_in(tank, to, at);
        let Some(state) = self.tanks.get_mut(tank) else {
            return;
        };
        let held = state.held.take();
        if let Some(immersion) = &mut state.immersion {
            if let Some(amps) = held {
                immersion.tell(
                    Point {
                        at,
                        amps,
                        reach: Reach::Read,
                    },
                    false,
                );
            }
            if let Setting::Amps(amps) = to {
                let known_before = held.is_some() || immersion.tank.is_empty();
                let reach = if known_before {
                    Reach::Read
                } else {
                    Reach::Carried
                };
                immersion.tell(
                    Point {
                        at,
                        amps: amps.si(),
                        reach,
                    },
                    true,
                );
            }
        }
        state.since = Some(at);
        (state.set_amps, state.set_volts) = (None, None);
        match to {
            Setting::Amps(amps) => {
                state.mode = Some(Mode::Cc);
                state.set_amps = Some(amps);
                state.held = Some(amps.si());
                state.on = amps.si() > 0.0;
                state.sets.push(at);
            }
            Setting::Volts(volts) => {
                state.mode = Some(Mode::Cv);
                state.set_volts = Some(volts);
                state.on = volts.si() > 0.0;
                state.sets.push(at);
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
            piece.mark_interruption(since, at);
        }
    }

    fn read(
        &mut self,
        definition: &Definition,
        tank: &str,
        reading: Reading,
        mode: Option<Mode>,
        piece: Option<&str>,
    ) {
        let at = reading.at;
        self.begin_immersion(definition, tank, at, false);
        let Some(state) = self.tanks.get_mut(tank) else {
            return;
        };
        let flows = reading.amps.si() > 0.0;
        if flows != state.on && (flows || piece.is_none()) {
            state.on = flows;
            state.since = Some(at);
        }
        state.since.get_or_insert(at);
        let point = Point {
            at,
            amps: reading.amps.si(),
            reach: Reach::Read,
        };
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
        state.held = (state.mode == Some(Mode::Cc)).then_some(point.amps);
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

    fn bath_work(&mut self, tank: &str, work: &BathWork, at: Instant) {
        let Some(state) = self.tanks.get_mut(tank) else {
            return;
        };
        let index = match work {
            BathWork::Dose(_) => 0,
            BathWork::Filter => 1,
            BathWork::Bags => 2,
            BathWork::TopUp(_) | BathWork::Anodes(_) => return,
        };
        if let Some(upkeep) = state.upkeep.get_mut(index) {
            *upkeep = super::Upkeep {
                at: Some(at),
                before: state.delivered.measured,
            };
        }
    }

    /// Puts the mark of an event that was written down after later ones.
    pub(super) fn mark_back_dated(&mut self, event: &Event) {
        let because = format!("{} was written down at {}", event.what, event.recorded);
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
                if let Some(tank) = self.tanks.get_mut(tank) {
                    tank.marks.push(mark);
                }
            }
            super::Subject::Project => {}
        }
    }
}

/// What a piece is to the account now.
fn member(definition: &Definition, name: &str, piece: &PieceState) -> Member {
    let limit = match piece.stage {
        Some(Stage::Strike) => definition.readings.strike,
        _ => definition.readings.build,
    };
    Member {
        area: definition
            .piece(name)
            .and_then(super::Piece::conductor_area)
            .map(crate::units::Area::si),
        covered: piece.coverage.is_some_and(|c| c >= 1.0 - 1e-9),
        limit_s: limit.si(),
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

    fn mark_interruption(&mut self, since: Instant, at: Instant) {
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
            .or(self.held)
            .map(Current::from_si)
    }
}
