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
    /// The next step of a running piece's ladder: the highest step that a set
    /// point since the stage began has reached stands for its time, from when
    /// it was reached. A current that was lowered for a look and restored is no
    /// step; where set points are of another kind than the ladder, each is one.
    pub fn next_step(&self, definition: &Definition, piece: &str) -> Option<NextStep> {
        let state = self.piece(piece)?;
        let stage = state.stage.as_ref().filter(|_| state.is_running())?;
        let ladder = definition.ladder(stage);
        let tank_name = state.tank.as_deref()?;
        let began = state.started_at?;
        let area = self.hanging_area(definition, tank_name);
        let sets: Vec<(Instant, Setting)> = self
            .tank(tank_name)?
            .sets
            .iter()
            .filter(|(at, _)| *at >= began)
            .copied()
            .collect();
        let (index, since) = present_step(ladder, area, &sets).unwrap_or((0, began));
        let step = ladder.get(index + 1)?;
        Some(NextStep {
            step: LadderStep {
                number: index + 2,
                of: ladder.len(),
                step: *step,
            },
            due: since + ladder.get(index)?.time?,
            setting: step.setting(area),
        })
    }

    /// Conductor area of all that hangs in a tank, where every one's is known.
    pub fn hanging_area(&self, definition: &Definition, tank: &str) -> Option<Area> {
        self.hanging(tank)
            .map(|(name, _)| definition.piece(name)?.conductor_area())
            .sum()
    }
}

/// The step that set points have reached, and when; `None` before any.
fn present_step(
    ladder: &[Step],
    area: Option<Area>,
    sets: &[(Instant, Setting)],
) -> Option<(usize, Instant)> {
    let wanted: Vec<Option<Setting>> = ladder.iter().map(|s| s.setting(area)).collect();
    let mut present: Option<(usize, Instant)> = None;
    for (at, set) in sets {
        let reached = wanted
            .iter()
            .rposition(|step| step.is_some_and(|step| reaches(*set, step)));
        let of_its_kind = wanted.iter().flatten().any(|step| comparable(*set, *step));
        let index = match (reached, present) {
            (Some(reached), Some((before, _))) if reached <= before => continue,
            (Some(reached), _) => reached,
            (None, None) => 0,
            (None, Some(_)) if of_its_kind => continue,
            (None, Some((before, _))) => before + 1,
        };
        present = Some((index.min(ladder.len().saturating_sub(1)), *at));
    }
    present
}

/// Amounts of the same kind of setting.
fn amounts(a: Setting, b: Setting) -> Option<(f64, f64)> {
    match (a, b) {
        (Setting::Amps(a), Setting::Amps(b)) => Some((a.si(), b.si())),
        (Setting::Volts(a), Setting::Volts(b)) => Some((a.si(), b.si())),
        _ => None,
    }
}

fn comparable(a: Setting, b: Setting) -> bool {
    amounts(a, b).is_some()
}

/// Whether a set point is a step, give or take a tenth.
fn reaches(set: Setting, step: Setting) -> bool {
    amounts(set, step).is_some_and(|(set, step)| set >= step * 0.9)
}
