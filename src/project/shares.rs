//! Shares of a tank's current that a field predicts: what of them is written
//! down, how long they hold, and whether the project still is what the field
//! was asked for.

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::state::{Moved, TankState};
use super::{BathWork, ContactChange, Definition, Event, Piece, Refusal, State, What};
use crate::plating::{FieldPart, FieldShares};
use crate::units::{AreaDim, Instant, Quantity, number};

/// What one piece takes of its tank's current, as a field predicts it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PieceShare {
    /// Which piece.
    pub piece: String,
    /// The part of the tank's current that goes through its lead, 0 to 1.
    pub share: f64,
    /// The part of that which lands on its wires and thieves, 0 to 1.
    #[serde(default)]
    pub wire: f64,
}

/// `stem 70 %`
impl fmt::Display for PieceShare {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {} %", self.piece, number(self.share * 100.0, 3))
    }
}

/// `shares of main by the field: stem 70 %, base 30 %`
pub(super) fn shares_told(tank: &str, shares: &[PieceShare]) -> String {
    if shares.is_empty() {
        return format!("shares of {tank} by area");
    }
    let shares: Vec<String> = shares.iter().map(ToString::to_string).collect();
    format!("shares of {tank} by the field: {}", shares.join(", "))
}

/// What a prediction was made for, so that it is known to be of another scene.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PredictedFor {
    /// In which tank.
    pub tank: String,
    /// The pieces that hung there together.
    pub pieces: Vec<String>,
    /// [`Definition::scene_digest`] of them.
    pub scene: String,
    /// When.
    pub at: Instant,
}

/// How a tank's current is shared among the pieces in it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Sharing {
    /// The shares of a field that hold, and since when.
    pub field: Option<(Instant, FieldShares)>,
    /// Since when those of a field no longer hold, and what ended them.
    pub ended: Option<(Instant, String)>,
}

/// What tells the shares.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ShareBy {
    /// The conductor areas.
    Area,
    /// What a field predicts.
    Field,
}

impl ShareBy {
    /// The word for scripts and screens.
    pub fn word(self) -> &'static str {
        match self {
            Self::Area => "area",
            Self::Field => "field",
        }
    }
}

impl Definition {
    /// A digest of all that decides where the metal goes on pieces in a tank, as
    /// far as the project says it: the tank with its anodes, how the pieces
    /// hang, their prints, areas and wires. The supply is left out. `None` where
    /// there is no such tank or piece.
    pub fn scene_digest(&self, tank: &str, pieces: &[&str]) -> Option<String> {
        let pieces: Option<Vec<&Piece>> = pieces.iter().map(|name| self.piece(name)).collect();
        let pieces = pieces?;
        let scene = self.outline(self.tank(tank)?, &pieces, None).undriven();
        let mut digest = Sha256::new();
        digest.update(serde_json::to_vec(&scene).ok()?);
        for piece in pieces {
            let print = piece.mesh.as_ref().and_then(|mesh| mesh.sha256.as_deref());
            digest.update(print.unwrap_or_default());
            let wetted = piece.wetted_area().map_or(0.0, Quantity::<AreaDim>::si);
            let numbers = [wetted, piece.roughness, piece.wire_area().si()];
            for number in numbers {
                digest.update(number.to_le_bytes());
            }
        }
        Some(format!("{:x}", digest.finalize()))
    }
}

impl What {
    /// Whether shares that are told can be any: parts of a whole.
    pub(super) fn check_shares(shares: &[PieceShare], rel: f64) -> Result<(), Refusal> {
        let is_part = |part: f64| (0.0..=1.0).contains(&part);
        let all: f64 = shares.iter().map(|of| of.share).sum();
        let parts = shares
            .iter()
            .all(|of| of.share > 0.0 && is_part(of.share) && (0.0..1.0).contains(&of.wire));
        let whole = shares.is_empty() || (all - 1.0).abs() < ROUNDED;
        if parts && whole && is_part(rel) {
            return Ok(());
        }
        Err(Refusal::new(
            "no-shares",
            "shares are parts of the tank's current above 0 that come to 1, the part on wires is under 1",
        ))
    }
}

/// Shares written down by hand are rounded.
const ROUNDED: f64 = 0.005;

impl State {
    /// The pieces in a tank through which current can flow.
    pub fn in_circuit_of<'a>(&'a self, tank: &'a str) -> Vec<&'a str> {
        let hanging = self.hanging(tank).filter(|(_, piece)| piece.in_circuit());
        hanging.map(|(name, _)| name).collect()
    }

    /// Whether shares are told of exactly the pieces that hang in a tank.
    pub(super) fn check_sharers(&self, tank: &str, shares: &[PieceShare]) -> Result<(), Refusal> {
        let hang = self.in_circuit_of(tank);
        let mut told: Vec<&str> = shares.iter().map(|of| of.piece.as_str()).collect();
        told.sort_unstable();
        if shares.is_empty() || told == hang {
            return Ok(());
        }
        let because = match hang.as_slice() {
            [] => format!("nothing hangs in {tank}, so nothing shares its current"),
            hang => format!(
                "shares are told of {}, and in {tank} hang {}",
                told.join(", ").escape_debug(),
                hang.join(", ")
            ),
        };
        Err(Refusal::new("other-pieces", because))
    }

    /// From now on the shares of a field hold in a tank, or, of none, no longer.
    pub(super) fn share_by_field(
        &mut self,
        definition: &Definition,
        tank: &str,
        shares: &[PieceShare],
        (rel, scene): (f64, &str),
        at: Instant,
    ) {
        let told: Vec<&str> = shares.iter().map(|of| of.piece.as_str()).collect();
        let stands =
            scene.is_empty() || definition.scene_digest(tank, &told).as_deref() == Some(scene);
        let part = |of: &PieceShare| {
            let (share, wire) = (of.share, of.wire);
            (of.piece.clone(), FieldPart { share, wire })
        };
        let field = FieldShares {
            members: shares.iter().map(part).collect::<BTreeMap<_, _>>(),
            rel,
            stands,
        };
        if let Some(state) = self.tank_mut(tank) {
            if shares.is_empty() {
                state.end_shares(at, "as asked");
            } else {
                state.predict(at, field);
            }
        }
    }

    /// Ends the shares of a field where an event has changed what they are of.
    pub(super) fn see_to_shares(&mut self, event: &Event) {
        let moved = |why: &What| Some(Moved::at(event.at, why));
        match &event.what {
            What::Turn { piece, .. }
            | What::Contact {
                piece,
                change: ContactChange::Moved | ContactChange::Added,
                ..
            } => self.with(piece, |p| p.moved = moved(&event.what)),
            What::Bath {
                tank,
                work: BathWork::Moved(_),
            } => {
                if let Some(tank) = self.tank_mut(tank) {
                    tank.moved = moved(&event.what);
                }
            }
            _ => {}
        }
        let ended = self.tanks.iter().filter(|(name, tank)| {
            tank.sharing.field.as_ref().is_some_and(|(_, shares)| {
                let told = shares.members.keys().map(String::as_str);
                was_moved(name, shares, &event.what) || !told.eq(self.in_circuit_of(name))
            })
        });
        let ended: Vec<String> = ended.map(|(name, _)| name.clone()).collect();
        for tank in ended {
            if let Some(tank) = self.tank_mut(&tank) {
                tank.end_shares(event.at, &event.what.to_string());
            }
        }
        // Who hangs in an empty tank next has nothing to do with it.
        let told = self.tanks.iter().filter(|(name, tank)| {
            tank.sharing.ended.is_some() && self.hanging(name).next().is_none()
        });
        let told: Vec<String> = told.map(|(name, _)| name.clone()).collect();
        for tank in told {
            if let Some(tank) = self.tank_mut(&tank) {
                tank.sharing.ended = None;
            }
        }
    }

    /// Said of an act after which the shares of a field no longer hold.
    pub(super) fn ends_shares(&self, what: &What) -> Option<String> {
        let (name, _) = self.tanks.iter().find(|(name, tank)| {
            let field = tank.sharing.field.as_ref();
            field.is_some_and(|(_, shares)| was_moved(name, shares, what))
        })?;
        Some(format!(
            "the field's shares of {name} end here: by area until Spread is computed and set again"
        ))
    }

    /// What tells the shares in a tank now; `None` where nothing hangs in it.
    pub fn share_by(&self, tank: &str) -> Option<ShareBy> {
        let hang = self.in_circuit_of(tank);
        if hang.is_empty() {
            return None;
        }
        Some(match self.field_shares(tank) {
            Some(_) => ShareBy::Field,
            None => ShareBy::Area,
        })
    }

    /// The shares of a field that hold in a tank now.
    pub fn field_shares(&self, tank: &str) -> Option<&FieldShares> {
        let (_, shares) = self.tank(tank)?.sharing.field.as_ref()?;
        let covered = |name: &&str| {
            let coverage = self.piece(name).and_then(|piece| piece.coverage);
            coverage.is_some_and(super::current::is_whole)
        };
        let all = self.in_circuit_of(tank).iter().all(covered);
        (shares.stands && all).then_some(shares)
    }

    /// What is to be said of a tank whose pieces shared its current as a field
    /// predicted, and no longer do.
    pub fn shares_ended(
        &self,
        definition: &Definition,
        tank: &str,
        now: Instant,
    ) -> Option<String> {
        if self.in_circuit_of(tank).len() < 2 {
            return None;
        }
        let sharing = &self.tank(tank)?.sharing;
        let (since, why) = match (&sharing.field, &sharing.ended) {
            (Some((since, field)), _) if !field.stands => (
                *since,
                "project.ron tells another scene than the one computed",
            ),
            (None, Some((since, why))) => (*since, why.as_str()),
            _ => return None,
        };
        let clock = definition.zone.local(since);
        let clock = clock.beside(definition.zone.local(now));
        Some(format!(
            "shares by area since {clock} ({why}): compute Spread again and set it"
        ))
    }

    /// Why the evenness of a piece is that of another scene, in words with what
    /// would do; `None` where it is not, or was not computed.
    ///
    /// It takes a digest of the scene: too long to be asked of each of many pieces
    /// every second.
    pub fn stale_evenness(&self, definition: &Definition, piece: &str) -> Option<String> {
        let evenness = definition.piece(piece)?.evenness.as_ref()?;
        let of = evenness.of.as_ref()?;
        let pieces: Vec<&str> = of.pieces.iter().map(String::as_str).collect();
        let of_pieces = pieces
            .iter()
            .filter_map(|name| self.piece(name)?.moved.as_ref());
        let of_tank = self.tank(&of.tank).and_then(|tank| tank.moved.as_ref());
        let mut moved = of_pieces.chain(of_tank).filter(|moved| moved.at > of.at);
        let why = match moved.next() {
            Some(moved) => moved.why.clone(),
            None if definition.scene_digest(&of.tank, &pieces).as_ref() != Some(&of.scene) => {
                "project.ron tells another scene".to_owned()
            }
            None => return None,
        };
        Some(format!(
            "its evenness is stale ({why}): compute Spread again and set it"
        ))
    }
}

/// Whether what shares are of is moved in its tank, though it stays there.
fn was_moved(name: &str, shares: &FieldShares, what: &What) -> bool {
    let is_of = |piece: &String| shares.members.contains_key(piece);
    match what {
        What::Turn { piece, .. }
        | What::Contact {
            piece,
            change: ContactChange::Moved | ContactChange::Added,
            ..
        } => is_of(piece),
        What::Bath {
            tank: of,
            work: BathWork::Moved(_),
        } => of == name,
        _ => false,
    }
}

impl TankState {
    fn predict(&mut self, at: Instant, shares: FieldShares) {
        if let Some(immersion) = &mut self.immersion {
            immersion.predict(at, Some(shares.clone()));
        }
        self.sharing = Sharing {
            field: Some((at, shares)),
            ended: None,
        };
    }

    fn end_shares(&mut self, at: Instant, why: &str) {
        if let Some(immersion) = &mut self.immersion {
            immersion.predict(at, None);
        }
        if self.sharing.field.take().is_some() {
            self.sharing.ended = Some((at, why.to_owned()));
        }
    }
}
