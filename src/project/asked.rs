//! The whole scene that a project asks: its tank with the pieces, what masks
//! keep from the bath, the current that is known, and what is not told.

use super::hung::SUPPLY_SAID;
use super::{Definition, Mode, Piece, PrintBox, Stage, State, Tank};
use crate::field::scene::{Scene, Supply};
use crate::mesh::Mask;
use crate::units::{A, Current, DM2, Instant, Length, number};

/// The box of a print that was not read.
const UNREAD: PrintBox = [[0.0; 3], [1.0; 3]];

/// A current that differs by less than this share drives the same field, as
/// near as anybody looks.
const SAME_AMPS: f64 = 0.1;

/// The current that flows into pieces in their build, as it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flow {
    /// How much.
    pub amps: Current,
    /// When it was set or read last.
    pub at: Instant,
    /// Whether the supply holds it, or it was read.
    pub is_set: bool,
}

impl State {
    /// The current that flows into just these pieces of a tank, all of them in
    /// their build: held by the supply, or read no longer ago than an estimate
    /// goes on.
    pub fn flow_into(
        &self,
        definition: &Definition,
        tank: &str,
        pieces: &[&str],
        now: Instant,
    ) -> Option<Flow> {
        let hanging = self.hanging(tank).filter(|(_, piece)| piece.in_bath());
        let (others, asked): (Vec<_>, Vec<_>) = hanging
            .partition(|(name, piece)| !pieces.contains(name) || piece.stage != Some(Stage::Build));
        if !others.is_empty() || asked.len() != pieces.len() {
            return None;
        }
        let tank = self.tank(tank).filter(|tank| tank.on)?;
        let held = tank.held.filter(|_| tank.mode == Some(Mode::Cc));
        let limit = definition.readings.build.si();
        let read = tank.reading.map(|reading| reading.at);
        let read = read.filter(|at| now.since(*at) <= limit);
        Some(Flow {
            amps: tank.amps(now).filter(|amps| amps.si() > 0.0)?,
            at: held.map(|held| held.at).or(read)?,
            is_set: held.is_some(),
        })
    }
}

/// All that a project says of what is asked, prints unread.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    scene: Scene,
    bubble: Length,
}

impl Outline {
    /// Whether the same is asked; a little more or less current is no other
    /// question.
    pub fn asks_as(&self, other: &Self) -> bool {
        let (mine, its) = (self.scene.supply, other.scene.supply);
        let is_near = match (mine, its) {
            (Some(Supply::Amps(a)), Some(Supply::Amps(b))) => {
                (a - b).abs() <= SAME_AMPS * a.abs().max(b.abs())
            }
            _ => mine == its,
        };
        let alike = Scene {
            supply: mine,
            ..other.scene.clone()
        };
        is_near && self.bubble == other.bubble && self.scene == alike
    }
}

impl Outline {
    /// All that is asked of the tank but what drives it.
    pub(super) fn undriven(self) -> Scene {
        Scene {
            supply: None,
            ..self.scene
        }
    }
}

impl Definition {
    /// The scene of pieces with the boxes around their prints, mm, and what was
    /// assumed for it. A current that flows goes before what a ladder says.
    pub fn whole_scene(
        &self,
        tank: &Tank,
        pieces: &[(&Piece, PrintBox)],
        flow: Option<Flow>,
    ) -> (Scene, Vec<String>) {
        let hung: Vec<_> = pieces
            .iter()
            .map(|(piece, print)| {
                let area = piece.wetted_area().map_or(1.0, |area| area.to(DM2));
                (*piece, *print, area)
            })
            .collect();
        let (mut scene, mut assumed) = self.scene(tank, &hung);
        for (body, (piece, _)) in scene.bodies.iter_mut().zip(pieces) {
            let shapes = piece.masks.iter().map(|mask| mask.shape.clone());
            body.masks = shapes
                .filter(|shape| shape.parse::<Mask>().is_ok())
                .collect();
        }
        if let Some(flow) = flow.filter(|_| tank.supply.holds.is_none()) {
            scene.supply = Some(Supply::Amps(flow.amps.to(A)));
            assumed.retain(|said| !said.starts_with(SUPPLY_SAID));
            assumed.push(self.flow_words(flow));
        }
        let undrawn = pieces.iter().map(|(piece, _)| piece).filter(|piece| {
            piece.leads.is_empty() && !(piece.wires.is_empty() && piece.thieves.is_empty())
        });
        let undrawn: Vec<&str> = undrawn.map(|piece| piece.name.as_str()).collect();
        if !undrawn.is_empty() {
            assumed.push(format!(
                "no wires at {}: `leads` of a piece tell how they run",
                undrawn.join(", ")
            ));
        }
        (scene, assumed)
    }

    /// `supply: 4.30 A, as read at 20:31`.
    pub fn flow_words(&self, flow: Flow) -> String {
        let how = if flow.is_set { "set" } else { "read" };
        format!(
            "{SUPPLY_SAID}{} A, as {how} at {}",
            number(flow.amps.to(A), 3),
            self.zone.local(flow.at).clock()
        )
    }

    /// What is asked as far as the project says it.
    pub fn outline(&self, tank: &Tank, pieces: &[&Piece], flow: Option<Flow>) -> Outline {
        let unread: Vec<_> = pieces.iter().map(|piece| (*piece, UNREAD)).collect();
        Outline {
            scene: self.whole_scene(tank, &unread, flow).0,
            bubble: self.bubble,
        }
    }
}
