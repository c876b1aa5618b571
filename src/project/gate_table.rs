//! The gates a project has: the defaults and its own changes.
//!
//! The defaults are common practice with no source; they differ from shop to
//! shop, and `gates:` in `project.ron` changes them.

use serde::{Deserialize, Serialize};

use super::{Definition, Stage};
use crate::units::{Duration, H, OHM, Resistance};

/// At which end of its stage a gate stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum When {
    /// Before the stage starts.
    #[serde(rename = "start")]
    Start,
    /// Before it ends.
    #[serde(rename = "end")]
    End,
}

impl When {
    /// The word for scripts.
    pub fn word(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::End => "end",
        }
    }
}

/// What a gate asks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum GateRule {
    /// A person confirms it.
    Tick,
    /// So many coats are on.
    Coats(u32),
    /// The drying time since the last coat is over, or it is ticked.
    Drying,
    /// The last resistance at every place is under this.
    OhmsUnder(Resistance),
    /// The resistances of all contacts lie within this factor of each other.
    OhmsAgree(f64),
    /// The whole surface was seen covered, or the bare spots are named as
    /// never seen (tick `never-seen`).
    Coverage,
    /// The measured charge is within this share of the target, or a plain
    /// stop reason is ticked.
    Charge(f64),
    /// The piece is out of the tank.
    OutOfBath,
    /// The ageing hold is over, less its tolerance.
    Hold,
    /// So long since the last coat or the stage's start, or it is ticked.
    Hours(Duration),
    /// So long since the stage's start, or two weighings that agree, or a tick.
    Dried(Duration),
    /// Every piece of the project has come as far as this stage.
    AllAt(Stage),
}

/// A gate of a route.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Gate {
    pub(super) id: String,
    pub(super) stage: Stage,
    pub(super) when: When,
    pub(super) rule: GateRule,
    pub(super) say: String,
}

impl GateRule {
    /// Whether a tick of the gate's own name satisfies it.
    pub(super) fn tickable(&self) -> bool {
        matches!(
            self,
            Self::Tick | Self::Drying | Self::Hours(_) | Self::Dried(_)
        )
    }
}

/// A row of the default gates.
type Row = (&'static str, Stage, When, GateRule, &'static str);

/// The gates that stand where the project says nothing else.
const DEFAULTS: &[Row] = &[
    (
        "primed",
        Stage::Coat,
        When::Start,
        GateRule::Tick,
        "print primed",
    ),
    (
        "no-weep",
        Stage::Coat,
        When::Start,
        GateRule::Tick,
        "no weep after 10 min in water",
    ),
    (
        "degreased",
        Stage::Coat,
        When::Start,
        GateRule::Tick,
        "degreased; from here on gloves",
    ),
    (
        "coats",
        Stage::Coat,
        When::End,
        GateRule::Coats(1),
        "a coat is on and written down",
    ),
    (
        "drying",
        Stage::Coat,
        When::End,
        GateRule::Drying,
        "drying time since the last coat is over",
    ),
    (
        "ohms",
        Stage::Coat,
        When::End,
        GateRule::OhmsUnder(OHM.of(1000.0)),
        "under 1 kohm from contact to the farthest point, each island (good: under 300 ohm)",
    ),
    (
        "contacts",
        Stage::Wiring,
        When::End,
        GateRule::OhmsAgree(3.0),
        "ohms of every contact within 3x of each other",
    ),
    (
        "tug",
        Stage::Wiring,
        When::End,
        GateRule::Tick,
        "tug test: no contact moves",
    ),
    (
        "polarity",
        Stage::Strike,
        When::Start,
        GateRule::Tick,
        "polarity: work on minus (reversed strips it)",
    ),
    (
        "anodes",
        Stage::Strike,
        When::Start,
        GateRule::Tick,
        "anodes in, bagged, 10-25 cm away and even round the work",
    ),
    (
        "level",
        Stage::Strike,
        When::Start,
        GateRule::Tick,
        "level 2-5 cm over the work",
    ),
    (
        "temperature",
        Stage::Strike,
        When::Start,
        GateRule::Tick,
        "bath at its temperature",
    ),
    (
        "stirring",
        Stage::Strike,
        When::Start,
        GateRule::Tick,
        "stirring and filter on",
    ),
    (
        "limits",
        Stage::Strike,
        When::Start,
        GateRule::Tick,
        "current limit and volt limit set (strike: 1-1.5 V)",
    ),
    (
        "leads",
        Stage::Strike,
        When::Start,
        GateRule::Tick,
        "leads clipped above splash",
    ),
    (
        "kit",
        Stage::Strike,
        When::Start,
        GateRule::Tick,
        "bicarbonate, water, eyewash, phone at hand",
    ),
    (
        "protection",
        Stage::Strike,
        When::Start,
        GateRule::Tick,
        "goggles, gloves, apron on; nobody else near",
    ),
    (
        "coverage",
        Stage::Strike,
        When::End,
        GateRule::Coverage,
        "whole surface seen covered at a look",
    ),
    (
        "coverage-seen",
        Stage::Build,
        When::Start,
        GateRule::Coverage,
        "coverage seen",
    ),
    (
        "charge",
        Stage::Build,
        When::End,
        GateRule::Charge(0.05),
        "charge reached (-5 %), or a plain stop reason",
    ),
    (
        "tracks",
        Stage::Build,
        When::End,
        GateRule::Tick,
        "wire tracks patched, contacts moved",
    ),
    (
        "out",
        Stage::Rinse,
        When::Start,
        GateRule::OutOfBath,
        "out of the tank, its share taken off the supply",
    ),
    (
        "neutral",
        Stage::Rinse,
        When::End,
        GateRule::Tick,
        "pH 6-8 at the drain hole",
    ),
    (
        "no-weeping",
        Stage::Rinse,
        When::End,
        GateRule::Tick,
        "no weeping; hollows flushed 3x",
    ),
    (
        "dried",
        Stage::Dry,
        When::End,
        GateRule::Dried(H.of(12.0)),
        "mass changes under 0.1 % in 4 h, or dried long enough",
    ),
    (
        "edges",
        Stage::Polish,
        When::End,
        GateRule::Tick,
        "no breakthrough at edges",
    ),
    (
        "surface",
        Stage::Age,
        When::Start,
        GateRule::Tick,
        "rinsed, dry, finish of the surface written down",
    ),
    (
        "hold",
        Stage::Age,
        When::End,
        GateRule::Hold,
        "hold over, inside its tolerance",
    ),
    (
        "aged",
        Stage::Seal,
        When::Start,
        GateRule::Hold,
        "hold over, inside its tolerance",
    ),
    (
        "power-off",
        Stage::Seal,
        When::Start,
        GateRule::Tick,
        "supply near it off, no flame: solvent vapour",
    ),
    (
        "touch-dry",
        Stage::Seal,
        When::End,
        GateRule::Hours(H.of(24.0)),
        "24 h touch dry since the last clear coat",
    ),
    (
        "cured",
        Stage::Cure,
        When::End,
        GateRule::Hours(H.of(168.0)),
        "a week to full cure",
    ),
    (
        "all-sealed",
        Stage::Assemble,
        When::Start,
        GateRule::AllAt(Stage::Assemble),
        "all pieces sealed and cured",
    ),
    (
        "fit",
        Stage::Assemble,
        When::Start,
        GateRule::Tick,
        "dry fit done, glue faces bare or abraded",
    ),
];

pub(super) fn default_gates() -> Vec<Gate> {
    DEFAULTS
        .iter()
        .map(|(id, stage, when, rule, say)| Gate {
            id: (*id).to_owned(),
            stage: stage.clone(),
            when: *when,
            rule: rule.clone(),
            say: (*say).to_owned(),
        })
        .collect()
}

/// The default gates with the project's changes.
pub(super) fn gates_of(definition: &Definition) -> Vec<Gate> {
    let mut gates = default_gates();
    for patch in &definition.gates {
        if patch.off {
            gates.retain(|g| g.id != patch.gate);
            continue;
        }
        let position = gates.iter().position(|g| g.id == patch.gate);
        let mut gate = match (position, &patch.stage, patch.when) {
            (Some(index), _, _) => gates.remove(index),
            (None, Some(stage), Some(when)) => Gate {
                id: patch.gate.clone(),
                stage: stage.clone(),
                when,
                rule: GateRule::Tick,
                say: patch.gate.clone(),
            },
            _ => continue,
        };
        gate.stage = patch.stage.clone().unwrap_or(gate.stage);
        gate.when = patch.when.unwrap_or(gate.when);
        gate.rule = patch.rule.clone().unwrap_or(gate.rule);
        gate.say = patch.say.clone().unwrap_or(gate.say);
        gates.insert(position.unwrap_or(gates.len()), gate);
    }
    gates
}
