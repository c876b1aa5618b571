//! A change of what hangs where in a tank, as the screen makes it.

use super::hung::{Hangs, Lead, Plate};
use super::{Anode, Definition, Piece};
use crate::units::{Length, MM, number};

/// One change of a tank's scene, with what was there before it: so it has its
/// way back, and does not go over what somebody else has changed meanwhile.
#[derive(Debug, Clone, PartialEq)]
pub enum SceneEdit {
    /// A piece hangs elsewhere, or otherwise.
    Hang {
        /// Which piece.
        piece: String,
        /// How it hung; `None` where nothing said.
        from: Option<Hangs>,
        /// How it hangs from now on; `None` where nothing says.
        to: Option<Hangs>,
    },
    /// A wire or thief more at a piece.
    AddLead(String, Lead),
    /// That wire or thief of a piece is taken off.
    RemoveLead(String, Lead),
    /// A shield more in a tank.
    AddShield(String, Plate),
    /// That shield is taken out of a tank.
    RemoveShield(String, Plate),
    /// An anode plate of this name more in a tank.
    AddAnode(String, String, Plate),
    /// The anode plate of this name is taken out of a tank.
    RemoveAnode(String, String, Plate),
}

impl SceneEdit {
    /// What takes it back.
    #[must_use]
    pub fn back(&self) -> Self {
        match self.clone() {
            Self::Hang { piece, from, to } => Self::Hang {
                piece,
                from: to,
                to: from,
            },
            Self::AddLead(piece, lead) => Self::RemoveLead(piece, lead),
            Self::RemoveLead(piece, lead) => Self::AddLead(piece, lead),
            Self::AddShield(tank, plate) => Self::RemoveShield(tank, plate),
            Self::RemoveShield(tank, plate) => Self::AddShield(tank, plate),
            Self::AddAnode(tank, name, plate) => Self::RemoveAnode(tank, name, plate),
            Self::RemoveAnode(tank, name, plate) => Self::AddAnode(tank, name, plate),
        }
    }

    /// Whether what it changes or takes off still is as it was.
    pub fn fits(&self, now: &Definition) -> bool {
        match self {
            Self::Hang { piece, from, .. } => now.piece(piece).is_some_and(|piece| {
                let pair = (&piece.hangs, from);
                matches!(pair, (None, None))
                    || matches!(pair, (Some(now), Some(then)) if now.is_as(then))
            }),
            Self::RemoveLead(piece, lead) => now.piece(piece).is_some_and(|piece| {
                let mut leads = piece.leads.iter();
                leads.any(|of| of.is_as(lead))
            }),
            Self::RemoveShield(tank, plate) => now.tank(tank).is_some_and(|tank| {
                let mut shields = tank.shields.iter();
                shields.any(|of| of.is_as(plate))
            }),
            Self::RemoveAnode(tank, name, plate) => now.tank(tank).is_some_and(|tank| {
                let mut anodes = tank.anodes.iter();
                anodes.any(|of| {
                    let is_as = |of: &Plate| of.is_as(plate);
                    of.name == *name && of.mere_plate().is_some_and(is_as)
                })
            }),
            Self::AddLead(piece, _) => now.piece(piece).is_some(),
            Self::AddShield(tank, _) | Self::AddAnode(tank, ..) => now.tank(tank).is_some(),
        }
    }

    /// What it does, in words.
    pub fn words(&self) -> String {
        match self {
            Self::Hang {
                piece,
                to: Some(hangs),
                ..
            } => {
                let [x, y, z] = hangs.at.map(|side| number(side.to(MM), 4));
                format!("{piece} hangs at {x}, {y}, {z} mm")
            }
            Self::Hang { piece, .. } => format!("{piece} hangs where nothing says"),
            Self::AddLead(piece, lead) => format!("{} at {piece}", lead.name),
            Self::RemoveLead(piece, lead) => format!("{} off {piece}", lead.name),
            Self::AddShield(tank, _) => format!("a shield in {tank}"),
            Self::RemoveShield(tank, _) => format!("a shield out of {tank}"),
            Self::AddAnode(tank, name, _) => format!("{name} in {tank}"),
            Self::RemoveAnode(tank, name, _) => format!("{name} out of {tank}"),
        }
    }

    /// All that can be taken off a piece and out of its tank: anodes that are a
    /// plate and nothing else, so that nothing is lost by it.
    pub fn removals(definition: &Definition, tank: &str, piece: &Piece) -> Vec<Self> {
        let leads = piece.leads.iter();
        let mut all: Vec<Self> = leads
            .map(|lead| Self::RemoveLead(piece.name.clone(), lead.clone()))
            .collect();
        let Some(of) = definition.tank(tank) else {
            return all;
        };
        let shields = of.shields.iter();
        all.extend(shields.map(|plate| Self::RemoveShield(tank.to_owned(), plate.clone())));
        let plates = of
            .anodes
            .iter()
            .filter_map(|anode| Some((&anode.name, anode.mere_plate()?)));
        all.extend(
            plates.map(|(name, plate)| {
                Self::RemoveAnode(tank.to_owned(), name.clone(), plate.clone())
            }),
        );
        all
    }
}

impl Anode {
    /// Its plate, if nothing else is told of it.
    fn mere_plate(&self) -> Option<&Plate> {
        let is_mere = self.area.is_none()
            && self.carries.is_none()
            && self.rod.is_none()
            && self.place.is_empty();
        self.plate.as_ref().filter(|_| is_mere)
    }
}

/// Lengths that differ by less, mm, are written alike.
const WRITTEN_MM: f64 = 2e-3;

/// Numbers without a unit likewise.
const WRITTEN: f64 = 1e-5;

fn are_alike<const N: usize>(a: [Length; N], b: [Length; N]) -> bool {
    let mut pairs = a.into_iter().zip(b);
    pairs.all(|(a, b)| (a.to(MM) - b.to(MM)).abs() < WRITTEN_MM)
}

fn are_near<const N: usize>(a: [f64; N], b: [f64; N]) -> bool {
    let mut pairs = a.into_iter().zip(b);
    pairs.all(|(a, b)| (a - b).abs() < WRITTEN * a.abs().max(1.0))
}

impl Hangs {
    /// Whether it is the other one, as near as a file tells it.
    fn is_as(&self, other: &Self) -> bool {
        are_alike(self.at, other.at) && are_near(self.turn, other.turn)
    }
}

impl Lead {
    /// Whether it is the other one, as near as a file tells it.
    pub fn is_as(&self, other: &Self) -> bool {
        let mut points = self.points.iter().zip(&other.points);
        self.name == other.name
            && (self.thief, self.closed) == (other.thief, other.closed)
            && self.points.len() == other.points.len()
            && are_alike([self.diameter], [other.diameter])
            && points.all(|(a, b)| are_alike(*a, *b))
    }
}

impl Plate {
    /// Whether it is the other one, as near as a file tells it.
    pub fn is_as(&self, other: &Self) -> bool {
        let is_thick = match (self.thickness, other.thickness) {
            (Some(a), Some(b)) => are_alike([a], [b]),
            (a, b) => a.is_none() && b.is_none(),
        };
        is_thick
            && self.one_face == other.one_face
            && are_alike(self.at, other.at)
            && are_alike(self.size, other.size)
            && are_near(self.facing, other.facing)
    }
}
