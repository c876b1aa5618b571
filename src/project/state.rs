//! What is: the fold of all that happened.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::{Finding, FindingKind, Mode, Setting, Sharing, Stage, WeighedAs, What};
use crate::plating::{Delivered, Immersion, Point};
use crate::units::{Current, Instant, Mass, Ratio, Resistance, Temperature, Voltage};

/// Everything that folds out of the events up to one instant.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct State {
    /// Each in memory of its own, so that a copy of the state shares them.
    pub(super) pieces: BTreeMap<String, Arc<PieceState>>,
    pub(super) tanks: BTreeMap<String, Arc<TankState>>,
    /// Close-out items ticked since the last signature: who and when.
    pub ticked: BTreeMap<String, (String, Instant)>,
    /// The last signed sheet: its sequence, when and by whom.
    pub signed: Option<(u64, Instant, String)>,
    /// The latest `at` folded.
    pub latest: Option<Instant>,
}

/// How far a piece is within its stage.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum StageState {
    /// At the stage, not begun.
    #[default]
    Waiting,
    /// Begun.
    Running,
    /// Interrupted.
    Paused,
    /// The whole route is done.
    Done,
}

impl StageState {
    /// The word for scripts and screens.
    pub fn word(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Running => "running",
            Self::Paused => "paused",
            Self::Done => "done",
        }
    }
}

/// One piece.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct PieceState {
    /// The stage it is at; `None` when its route is done.
    pub stage: Option<Stage>,
    /// How far within it.
    pub stage_state: StageState,
    /// Since when it is at this stage.
    pub entered_at: Option<Instant>,
    /// When the stage was begun.
    pub started_at: Option<Instant>,
    /// When it was paused, while it is.
    pub paused_at: Option<Instant>,
    /// Seconds of pauses before.
    pub paused_s: f64,
    /// The tank it hangs in, lifted or not.
    pub tank: Option<String>,
    /// Since when it hangs there.
    pub hung_at: Option<Instant>,
    /// When it was lifted, while it is out.
    pub lifted_at: Option<Instant>,
    /// When it last came back into the bath.
    pub returned_at: Option<Instant>,
    /// Repainted since it was lifted.
    pub touched_up: bool,
    /// The fraction of its surface that carries metal, where a look said so.
    pub coverage: Option<f64>,
    /// How often a contact was moved, so that no bare mark stays.
    pub contacts_moved: u32,
    /// How it hangs, in words.
    pub turn: Option<String>,
    /// When it was turned or its contacts were moved last.
    pub moved: Option<Moved>,
    /// Coats of the present stage's coating, since the last rework to it.
    pub coats: Vec<Instant>,
    /// Resistances: when, how much, where.
    pub ohms: Vec<(Instant, Resistance, Option<String>)>,
    /// Weighings.
    pub masses: Vec<(Instant, Mass, WeighedAs)>,
    /// Confirmed conditions and when they were last confirmed.
    pub ticks: BTreeMap<String, Instant>,
    /// Looks of the present stage and before.
    pub looks: Vec<Look>,
    /// The ageing hold, running or ended.
    pub hold: Option<Hold>,
    /// Air readings.
    pub climate: Vec<(Instant, Temperature, Ratio)>,
    /// What stays on the traveller for good.
    pub marks: Vec<Mark>,
    /// The stages gone through.
    pub spans: Vec<StageSpan>,
    /// How often it was reworked.
    pub reworks: u32,
    /// Charge of ended immersions, by tank.
    pub delivered: BTreeMap<String, Delivered>,
    /// When rework last went back to a stage or to one before it: what was
    /// ticked or measured for that stage earlier no longer counts.
    pub reset: BTreeMap<Stage, Instant>,
}

/// A change of what hangs in a tank.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Moved {
    /// When.
    pub at: Instant,
    /// What was done.
    pub why: String,
}

impl Moved {
    pub(super) fn at(at: Instant, what: &What) -> Self {
        let why = what.to_string();
        Self { at, why }
    }
}

/// One look.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Look {
    /// When.
    pub at: Instant,
    /// What was seen.
    #[serde(with = "bare")]
    pub findings: Vec<Finding>,
}

/// Findings one field after the other, for a form in which none can be left out.
mod bare {
    use serde::{Deserialize, Deserializer, Serializer};

    use crate::project::{Finding, FindingKind};
    use crate::units::Ratio;

    type Bare = (FindingKind, Option<Ratio>, Option<String>);

    pub(super) fn serialize<S: Serializer>(
        findings: &[Finding],
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(findings.iter().map(|f| (f.kind, f.share, &f.place)))
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<Vec<Finding>, D::Error> {
        let bare = Vec::<Bare>::deserialize(deserializer)?;
        let finding = |(kind, share, place)| Finding { kind, share, place };
        Ok(bare.into_iter().map(finding).collect())
    }
}

impl Look {
    /// Whether it saw a sign to stop.
    pub fn stops(&self) -> Option<FindingKind> {
        self.findings.iter().map(|f| f.kind).find(|k| k.stops())
    }
}

/// An ageing hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hold {
    /// When it began, or last began anew.
    pub started_at: Instant,
    /// When the seal was begun.
    pub ended_at: Option<Instant>,
    /// How often a wipe began it anew.
    pub restarts: u32,
}

/// Something that stays on the traveller.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mark {
    /// What kind.
    pub kind: MarkKind,
    /// Why.
    pub because: String,
    /// When.
    pub at: Instant,
    /// The gate that was passed, for an override.
    pub gate: Option<String>,
}

/// Kinds of marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum MarkKind {
    /// A gate was passed that did not hold.
    Override,
    /// Back to an earlier stage.
    Rework,
    /// A stage was left out.
    Skipped,
    /// Sealed later than the hold and its tolerance.
    Late,
    /// Written down after later events of the same piece.
    BackDated,
    /// Out of the bath, or without current, for hours: where layers part.
    Interrupted,
}

impl MarkKind {
    /// The word for scripts and the traveller.
    pub fn word(self) -> &'static str {
        match self {
            Self::Override => "override",
            Self::Rework => "rework",
            Self::Skipped => "skipped",
            Self::Late => "late",
            Self::BackDated => "back-dated",
            Self::Interrupted => "interrupted",
        }
    }
}

/// One stay at a stage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StageSpan {
    /// Which.
    pub stage: Stage,
    /// From when.
    pub from: Instant,
    /// Until when; open while it lasts.
    pub to: Option<Instant>,
    /// Seconds of pauses in it.
    pub paused_s: f64,
    /// Whether it was left out.
    pub skipped: bool,
}

/// One tank with its supply and bath.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct TankState {
    /// What the supply limits, where known.
    pub mode: Option<Mode>,
    /// Its set current, in constant current.
    pub set_amps: Option<Current>,
    /// Its set voltage, in constant voltage.
    pub set_volts: Option<Voltage>,
    /// Whether a set point or a reading says that current flows.
    pub on: bool,
    /// Since when the supply is as it is.
    pub since: Option<Instant>,
    /// The last reading of the tank.
    pub reading: Option<Reading>,
    /// The set points: when, to what.
    pub sets: Vec<(Instant, Setting)>,
    /// The immersion that goes on, if one does.
    pub immersion: Option<Immersion>,
    /// Charge of ended immersions.
    pub delivered: Delivered,
    /// How its current is shared.
    pub sharing: Sharing,
    /// When its anodes or shields were moved last.
    pub moved: Option<Moved>,
    /// The current that a constant-current supply holds, and when it was told.
    pub held: Option<Point>,
    /// The last dose, filter and bags.
    pub upkeep: [Upkeep; 3],
    /// What stays on the bath's record for good.
    pub marks: Vec<Mark>,
    /// Logger files whose rows were left out, with the reason.
    pub left_out: Vec<String>,
}

/// When a bath was last seen to, and the tank's charge before that.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Upkeep {
    /// When.
    pub at: Option<Instant>,
    /// Measured charge of the immersions that had ended by then, and of the
    /// part before `at` of the one that went on, once it has ended; coulombs.
    pub before: f64,
}

/// Volts and amps at an instant.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// When.
    pub at: Instant,
    /// Volts.
    pub volts: Voltage,
    /// Amps.
    pub amps: Current,
    /// Bath temperature.
    pub celsius: Option<Temperature>,
}

/// One row of a data logger.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogRow {
    /// When.
    pub at: Instant,
    /// Volts, where logged.
    pub volts: Option<Voltage>,
    /// Amps.
    pub amps: Current,
    /// Bath temperature, where logged.
    pub celsius: Option<Temperature>,
}

impl PieceState {
    /// Whether its stage is running.
    pub fn is_running(&self) -> bool {
        self.stage_state == StageState::Running
    }

    /// Whether it hangs in the liquid: in a tank and not lifted.
    pub fn in_bath(&self) -> bool {
        self.tank.is_some() && self.lifted_at.is_none()
    }

    /// Whether current can flow through it.
    pub fn in_circuit(&self) -> bool {
        self.in_bath() && self.stage_state != StageState::Paused
    }

    /// Seconds of the stage so far, pauses left out; `None` while waiting.
    pub fn stage_elapsed(&self, now: Instant) -> Option<f64> {
        let began = self.started_at?;
        let until = self.paused_at.unwrap_or(now);
        Some((until.elapsed_since(began) - self.paused_s).max(0.0))
    }

    /// Whether something of this instant still counts for a stage.
    pub fn counts(&self, stage: &Stage, at: Instant) -> bool {
        self.reset.get(stage).is_none_or(|reset| at >= *reset)
    }

    /// Whether a condition was confirmed for a stage.
    pub fn ticked(&self, stage: &Stage, name: &str) -> bool {
        self.ticks
            .get(name)
            .is_some_and(|at| self.counts(stage, *at))
    }

    /// Whether metal is known to be on any of it.
    pub fn has_metal(&self) -> bool {
        self.coverage.is_some_and(|c| c > 0.0)
    }

    /// The last weighing in a condition.
    pub fn mass(&self, condition: WeighedAs) -> Option<(Instant, Mass)> {
        self.mass_before(condition, None)
    }

    /// The last weighing in a condition, before an instant if one is given.
    pub fn mass_before(
        &self,
        condition: WeighedAs,
        before: Option<Instant>,
    ) -> Option<(Instant, Mass)> {
        self.masses
            .iter()
            .rev()
            .find(|(at, _, c)| *c == condition && before.is_none_or(|b| *at < b))
            .map(|(at, mass, _)| (*at, *mass))
    }
}

impl State {
    /// The state of a piece.
    pub fn piece(&self, name: &str) -> Option<&PieceState> {
        self.pieces.get(name).map(Arc::as_ref)
    }

    /// The state of a tank.
    pub fn tank(&self, name: &str) -> Option<&TankState> {
        self.tanks.get(name).map(Arc::as_ref)
    }

    /// What hangs in a tank, lifted or not.
    pub fn hanging<'a>(
        &'a self,
        tank: &'a str,
    ) -> impl Iterator<Item = (&'a str, &'a PieceState)> + 'a {
        self.pieces
            .iter()
            .filter(move |(_, p)| p.tank.as_deref() == Some(tank))
            .map(|(name, p)| (name.as_str(), p.as_ref()))
    }

    pub(super) fn piece_mut(&mut self, name: &str) -> Option<&mut PieceState> {
        self.pieces.get_mut(name).map(Arc::make_mut)
    }

    pub(super) fn tank_mut(&mut self, name: &str) -> Option<&mut TankState> {
        self.tanks.get_mut(name).map(Arc::make_mut)
    }
}
