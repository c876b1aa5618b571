//! What is due, most urgent first: one list for every screen and script.

use std::fmt;

use super::gate_table::{GateRule, gates_of};
use super::state::PieceState;
use super::{Definition, PieceFigures, Setting, Stage, StageState, State, TankFigures, When};
use crate::units::{AH, Instant, clock_span};

/// What kind of thing is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum DueKind {
    /// In the bath without current: out with it. The most urgent of all.
    LiftOut,
    /// Back into the bath, before its copper passivates.
    Return,
    /// A look.
    Look,
    /// The next step of the ladder.
    Ladder,
    /// The charge target.
    Target,
    /// A reading of the meter.
    Reading,
    /// Drying is over.
    Dry,
    /// The ageing hold is over.
    Hold,
    /// A dose of the bath.
    Dose,
    /// The filter.
    Filter,
    /// The anode bags.
    Bags,
    /// The clear coat is dry or cured.
    Cure,
}

impl DueKind {
    /// Every kind.
    pub const ALL: [Self; 12] = [
        Self::LiftOut,
        Self::Return,
        Self::Look,
        Self::Ladder,
        Self::Target,
        Self::Reading,
        Self::Dry,
        Self::Hold,
        Self::Dose,
        Self::Filter,
        Self::Bags,
        Self::Cure,
    ];

    /// The word for scripts.
    pub fn word(self) -> &'static str {
        match self {
            Self::LiftOut => "lift-out",
            Self::Return => "return",
            Self::Look => "look",
            Self::Ladder => "ladder",
            Self::Target => "target",
            Self::Reading => "reading",
            Self::Dry => "dry",
            Self::Hold => "hold",
            Self::Dose => "dose",
            Self::Filter => "filter",
            Self::Bags => "bags",
            Self::Cure => "cure",
        }
    }

    /// The kind of this word.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// Once overdue: 0 before all, 1 at the tank, 2 the rest.
    fn urgency(self) -> u8 {
        match self {
            Self::LiftOut => 0,
            Self::Return | Self::Look | Self::Ladder | Self::Target | Self::Reading => 1,
            Self::Dry | Self::Hold | Self::Dose | Self::Filter | Self::Bags | Self::Cure => 2,
        }
    }
}

/// What tells one due thing from another, however often it comes.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct DueName {
    /// What kind.
    pub what: DueKind,
    /// Which piece, if it is one's.
    pub piece: Option<String>,
    /// In which tank, if in one.
    pub tank: Option<String>,
}

/// Somebody wants no more notices of these things until they are due anew.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Silence {
    /// When it was said.
    pub at: Instant,
    /// By whom; empty if that is not known.
    pub who: String,
    /// Of what, each with the instant it was due.
    pub of: Vec<(DueName, Instant)>,
}

impl Silence {
    /// Whether it holds for a due thing: one that was due by then and has not
    /// been dealt with since.
    pub fn holds(&self, due: &Due) -> bool {
        due.at <= self.at && self.of.iter().any(|(name, _)| name.is(due))
    }
}

/// One thing that is due, or will be.
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// What kind.
    pub what: DueKind,
    /// Which piece, if it is one's.
    pub piece: Option<String>,
    /// In which tank, if in one.
    pub tank: Option<String>,
    /// When.
    pub at: Instant,
    /// What to do, in a sentence.
    pub say: String,
}

impl DueName {
    /// Whether a due thing has this name. The steps of the ladders in one tank
    /// set one supply: there the tank alone tells.
    pub fn is(&self, due: &Due) -> bool {
        let same_piece = self.what == DueKind::Ladder || self.piece == due.piece;
        self.what == due.what && self.tank == due.tank && same_piece
    }
}

/// `look frond-3`.
impl fmt::Display for DueName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.what.word())?;
        match self.piece.as_ref().or(self.tank.as_ref()) {
            Some(place) => write!(f, " {place}"),
            None => Ok(()),
        }
    }
}

impl Due {
    /// What tells it from others.
    pub fn name(&self) -> DueName {
        DueName {
            what: self.what,
            piece: self.piece.clone(),
            tank: self.tank.clone(),
        }
    }

    /// The piece, or else the tank, that it is about; empty if neither.
    pub fn place(&self) -> &str {
        let named = self.piece.as_deref().or(self.tank.as_deref());
        named.unwrap_or_default()
    }

    /// Seconds over; negative beforehand.
    pub fn overdue_s(&self, now: Instant) -> f64 {
        now.since(self.at)
    }

    /// Most urgent first: at the tank before elsewhere once overdue, then by time.
    fn order(&self, now: Instant) -> (u8, Instant, DueKind, Option<String>) {
        let over = now >= self.at;
        let rank = if over { self.what.urgency() } else { 3 };
        (rank, self.at, self.what, self.piece.clone())
    }
}

/// Gathers what is due.
struct Gather<'a> {
    definition: &'a Definition,
    state: &'a State,
    now: Instant,
    due: Vec<Due>,
}

impl State {
    /// What is due and what will be, most urgent first.
    pub fn due(&self, definition: &Definition, now: Instant) -> Vec<Due> {
        let mut gather = Gather {
            definition,
            state: self,
            now,
            due: Vec::new(),
        };
        for piece in &definition.pieces {
            if let Some(state) = self.piece(&piece.name) {
                gather.at_tank(&piece.name, state);
                gather.timers(&piece.name, state);
            }
        }
        for tank in &definition.tanks {
            gather.tank(&tank.name);
        }
        let mut due = gather.due;
        due.sort_by_cached_key(|d| d.order(now));
        due
    }
}

impl Gather<'_> {
    fn push(
        &mut self,
        what: DueKind,
        (piece, tank): (Option<&str>, Option<&str>),
        at: Instant,
        say: String,
    ) {
        self.due.push(Due {
            what,
            piece: piece.map(str::to_owned),
            tank: tank.map(str::to_owned),
            at,
            say,
        });
    }

    fn at_tank(&mut self, name: &str, piece: &PieceState) {
        let Some(tank_name) = piece.tank.clone() else {
            return;
        };
        let Some(tank) = self.state.tank(&tank_name) else {
            return;
        };
        let place = (Some(name), Some(tank_name.as_str()));
        if let Some(lifted) = piece.lifted_at {
            let dip = if piece.touched_up {
                "dry it again, ohms, dip only the copper, "
            } else {
                ""
            };
            let say = format!("return {name} to {tank_name}: {dip}lower it in live");
            self.push(
                DueKind::Return,
                place,
                lifted + self.definition.looks.out,
                say,
            );
        } else if piece.stage_state == StageState::Paused || !tank.on {
            let off = tank.since.filter(|_| !tank.on);
            let paused = piece
                .paused_at
                .filter(|_| piece.stage_state == StageState::Paused);
            let without = off.into_iter().chain(paused).min();
            let inside = piece.hung_at.max(piece.returned_at);
            let since = without.max(inside).unwrap_or(self.now);
            let say = format!(
                "lift {name} out now: in {tank_name} without current its paint soaks and thin copper dissolves"
            );
            self.push(DueKind::LiftOut, place, since, say);
            return;
        }
        self.look(name, &tank_name, piece);
        if piece.lifted_at.is_none() {
            self.ladder(name, &tank_name);
            self.target(name, &tank_name, piece);
        }
    }

    fn look(&mut self, name: &str, tank: &str, piece: &PieceState) {
        let looks = &self.definition.looks;
        let (first, then) = match piece.stage {
            Some(Stage::Strike) => (looks.strike_first, looks.strike),
            _ => (looks.build_first, looks.build),
        };
        let Some(began) = piece.started_at.or(piece.entered_at) else {
            return;
        };
        let last = piece.looks.last().map(|l| l.at).filter(|at| *at >= began);
        let at = last.map_or(began + first, |last| last + then);
        let say = last.map_or_else(
            || format!("first look at {name}"),
            |last| {
                format!(
                    "look at {name}, turn it: seen {} ago",
                    clock_span(self.now.elapsed_since(last))
                )
            },
        );
        self.push(DueKind::Look, (Some(name), Some(tank)), at, say);
    }

    fn ladder(&mut self, name: &str, tank: &str) {
        let Some(next) = self.state.next_step(self.definition, name) else {
            return;
        };
        let setting = match next.setting {
            Some(Setting::Amps(amps)) => amps.shown(crate::units::A, 3),
            Some(Setting::Volts(volts)) => volts.shown(crate::units::V, 2),
            _ => return,
        };
        let say = format!(
            "set {tank} to {setting}: step {} of {} for {name}",
            next.step.number, next.step.of
        );
        self.push(DueKind::Ladder, (Some(name), Some(tank)), next.due, say);
    }

    fn target(&mut self, name: &str, tank: &str, piece: &PieceState) {
        if piece.stage != Some(Stage::Build) || piece.stage_state != StageState::Running {
            return;
        }
        let Some(figures) = PieceFigures::of(self.definition, self.state, name, self.now) else {
            return;
        };
        let Some(at) = figures.target_at else { return };
        let told = figures.charges.total().to(AH);
        let say = if at > self.now {
            format!("{name} reaches its target at the present current")
        } else if figures.charges.estimated.si() > 0.0 {
            format!(
                "{name} has {told:.2} Ah, part of it estimated: read the meter, then take it out"
            )
        } else {
            format!("{name} has its {told:.2} Ah: take it out")
        };
        self.push(DueKind::Target, (Some(name), Some(tank)), at, say);
    }

    /// Drying, curing and holds: timers of a piece that is not in a tank.
    fn timers(&mut self, name: &str, piece: &PieceState) {
        let Some(stage) = &piece.stage else { return };
        if let Some(hold) = piece.hold.filter(|h| h.ended_at.is_none()) {
            let rule = &self.definition.hold;
            let ends = hold.started_at + rule.time;
            let say = format!(
                "{name} is aged: seal within {}",
                clock_span(rule.tolerance.si())
            );
            self.push(DueKind::Hold, (Some(name), None), ends, say);
        }
        let Some(began) = piece.started_at else {
            return;
        };
        let gates = gates_of(self.definition);
        for gate in gates
            .iter()
            .filter(|g| g.stage == *stage && g.when == When::End)
        {
            let coat = piece
                .coats
                .last()
                .copied()
                .filter(|at| piece.counts(stage, *at));
            let (what, since, time) = match (&gate.rule, coat) {
                (GateRule::Drying, Some(coat)) => (DueKind::Dry, coat, self.definition.drying),
                (GateRule::Dried(time), _) => (DueKind::Dry, began, *time),
                (GateRule::Hours(time), coat) => {
                    (DueKind::Cure, coat.unwrap_or(began).max(began), *time)
                }
                _ => continue,
            };
            if !piece.ticked(stage, &gate.id) {
                let say = format!("{name}: {}", gate.say);
                self.push(what, (Some(name), None), since + time, say);
            }
        }
    }

    fn tank(&mut self, name: &str) {
        let Some(tank) = self.state.tank(name) else {
            return;
        };
        self.reading(name);
        let Some(bath) = self.definition.tank(name).map(|t| t.bath.clone()) else {
            return;
        };
        let Some(figures) = TankFigures::of(self.state, name, self.now) else {
            return;
        };
        let upkeep = [
            (DueKind::Dose, bath.dose_every, "a dose"),
            (DueKind::Filter, bath.filter_every, "its filter"),
            (DueKind::Bags, bath.bags_every, "its anode bags"),
        ];
        for ((what, every, words), since) in upkeep.into_iter().zip(figures.since) {
            if let Some(every) = every.filter(|e| since.si() >= e.si() && e.si() > 0.0) {
                let at = tank
                    .reading
                    .map(|r| r.at)
                    .or(tank.since)
                    .unwrap_or(self.now)
                    .min(self.now);
                let say = format!(
                    "{name} wants {words}: {:.1} Ah since the last, due each {:.0}",
                    since.to(AH),
                    every.to(AH)
                );
                self.push(what, (None, Some(name)), at, say);
            }
        }
    }

    fn reading(&mut self, name: &str) {
        let Some(tank) = self.state.tank(name).filter(|t| t.on) else {
            return;
        };
        let Some(immersion) = &tank.immersion else {
            return;
        };
        let members = immersion.members();
        let own: Vec<String> = immersion.own.keys().cloned().collect();
        let unread: Vec<(&str, f64)> = members
            .iter()
            .filter(|(piece, _)| !own.iter().any(|o| o == *piece))
            .map(|(piece, m)| (*piece, m.limit_s))
            .collect();
        let mut calls: Vec<(Option<String>, Instant, String)> = Vec::new();
        for (piece, member) in members
            .iter()
            .filter(|(piece, _)| own.iter().any(|o| o == *piece))
        {
            if let Some(last) = immersion.own.get(*piece).and_then(|points| points.last()) {
                calls.push((
                    Some((*piece).to_owned()),
                    last.at.plus_seconds(member.limit_s),
                    format!("read the ammeter of {piece}"),
                ));
            }
        }
        let strangers = unread.len() > 1
            && members
                .iter()
                .any(|(p, m)| !m.covered && unread.iter().any(|(u, _)| u == p));
        if strangers {
            for (piece, _) in unread
                .iter()
                .filter(|(p, _)| members.get(p).is_some_and(|m| !m.covered))
            {
                let say = format!(
                    "read {piece} on its own lead: in company and not covered its share is unknown"
                );
                calls.push((
                    Some((*piece).to_owned()),
                    immersion.last_read().unwrap_or(immersion.from),
                    say,
                ));
            }
        }
        if let Some(limit) = unread.iter().map(|(_, limit)| *limit).reduce(f64::min) {
            let last = immersion.tank.last().map(|p| p.at);
            let at = last.map_or(tank.since.unwrap_or(self.now), |at| at.plus_seconds(limit));
            let say = match last {
                Some(last) if self.now >= at => format!(
                    "read the meter of {name}: no reading since {}",
                    self.definition
                        .zone
                        .local(last)
                        .beside(self.definition.zone.local(self.now))
                ),
                Some(_) => format!("read the meter of {name}"),
                None => format!("read the meter of {name}: amps unknown"),
            };
            calls.push((None, at, say));
        }
        for (piece, at, say) in calls {
            self.push(DueKind::Reading, (piece.as_deref(), Some(name)), at, say);
        }
    }
}
