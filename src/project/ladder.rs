//! The stepped settings of a strike or a build, and the next one.

use serde::{Deserialize, Serialize};

use super::{Definition, Setting, Stage, State};
use crate::units::{A_DM2, Area, Current, CurrentDensity, Duration, Instant, MIN, V, Voltage};

/// One step of a ladder: a setting and how long it stands.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// Constant voltage.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volts: Option<Voltage>,
    /// Constant current.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub amps: Option<Current>,
    /// Constant current by the area of what hangs in the tank.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub density: Option<CurrentDensity>,
    /// How long; the last step goes on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time: Option<Duration>,
}

impl Step {
    const NOTHING: Self = Self {
        volts: None,
        amps: None,
        density: None,
        time: None,
    };

    /// So many volts for so many minutes.
    pub fn volts(volts: f64, minutes: f64) -> Self {
        Self {
            time: Some(MIN.of(minutes)),
            ..Self::volts_on(volts)
        }
    }

    /// So many volts until the end.
    pub fn volts_on(volts: f64) -> Self {
        Self {
            volts: Some(V.of(volts)),
            ..Self::NOTHING
        }
    }

    /// So many A/dm² for so many minutes.
    pub fn density(a_dm2: f64, minutes: f64) -> Self {
        Self {
            time: Some(MIN.of(minutes)),
            ..Self::density_on(a_dm2)
        }
    }

    /// So many A/dm² until the end.
    pub fn density_on(a_dm2: f64) -> Self {
        Self {
            density: Some(A_DM2.of(a_dm2)),
            ..Self::NOTHING
        }
    }

    /// What to set a supply to, with `area` hanging in its tank.
    pub fn setting(&self, area: Option<Area>) -> Option<Setting> {
        let by_density = || Some(Current::from_si(self.density?.si() * area?.si()));
        self.volts
            .map(Setting::Volts)
            .or_else(|| self.amps.or_else(by_density).map(Setting::Amps))
    }
}

/// A step with its place in the ladder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LadderStep {
    /// From 1.
    pub number: usize,
    /// How many there are.
    pub of: usize,
    /// The step.
    pub step: Step,
}

/// The next step and when it is due.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NextStep {
    /// Which.
    pub step: LadderStep,
    /// When.
    pub due: Instant,
    /// What to set.
    pub setting: Option<Setting>,
}

impl Definition {
    /// The ladder of a stage.
    pub fn ladder(&self, stage: &Stage) -> &[Step] {
        match stage {
            Stage::Strike => &self.ladders.strike,
            Stage::Build => &self.ladders.build,
            _ => &[],
        }
    }
}

impl State {
    /// The next step of a running piece's ladder: every set point since the
    /// stage began (or was returned to the bath's current) is one step taken,
    /// and each stands for its time.
    pub fn next_step(&self, definition: &Definition, piece: &str) -> Option<NextStep> {
        let state = self.piece(piece)?;
        let stage = state.stage.as_ref().filter(|_| state.is_running())?;
        let ladder = definition.ladder(stage);
        let tank = self.tank(state.tank.as_deref()?)?;
        let began = state.started_at?;
        let taken = tank.sets.iter().filter(|at| **at >= began).count().max(1);
        let current = ladder.get(taken - 1)?;
        let next = ladder.get(taken)?;
        let since = tank
            .sets
            .last()
            .copied()
            .filter(|at| *at >= began)
            .unwrap_or(began);
        let area = self.hanging_area(definition, state.tank.as_deref()?);
        Some(NextStep {
            step: LadderStep {
                number: taken + 1,
                of: ladder.len(),
                step: *next,
            },
            due: since + current.time?,
            setting: next.setting(area),
        })
    }

    /// Conductor area of all that hangs in a tank, where every one's is known.
    pub fn hanging_area(&self, definition: &Definition, tank: &str) -> Option<Area> {
        self.hanging(tank)
            .map(|(name, _)| definition.piece(name)?.conductor_area())
            .sum()
    }
}
