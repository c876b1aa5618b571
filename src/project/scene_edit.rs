//! A change of what hangs where in a tank, as the screen makes it.

use super::hung::{Hangs, Lead, Plate};
use super::{Definition, Piece};
use crate::units::{MM, number};

/// One change of a tank's scene.
#[derive(Debug, Clone, PartialEq)]
pub enum SceneEdit {
    /// A piece hangs so from now on, or where nothing says.
    Hang(String, Option<Hangs>),
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
    /// The anode of this name is taken out of a tank.
    RemoveAnode(String, String),
}

impl SceneEdit {
    /// What takes it back, by what there was before it; `None` where it changes
    /// nothing that there is.
    pub fn back(&self, before: &Definition) -> Option<Self> {
        Some(match self {
            Self::Hang(piece, _) => Self::Hang(piece.clone(), before.piece(piece)?.hangs.clone()),
            Self::AddLead(piece, lead) => Self::RemoveLead(piece.clone(), lead.clone()),
            Self::RemoveLead(piece, lead) => Self::AddLead(piece.clone(), lead.clone()),
            Self::AddShield(tank, plate) => Self::RemoveShield(tank.clone(), plate.clone()),
            Self::RemoveShield(tank, plate) => Self::AddShield(tank.clone(), plate.clone()),
            Self::AddAnode(tank, name, _) => Self::RemoveAnode(tank.clone(), name.clone()),
            Self::RemoveAnode(tank, name) => {
                let mut anodes = before.tank(tank)?.anodes.iter();
                let plate = anodes.find(|anode| anode.name == *name)?.plate.clone()?;
                Self::AddAnode(tank.clone(), name.clone(), plate)
            }
        })
    }

    /// What it does, in words.
    pub fn words(&self) -> String {
        match self {
            Self::Hang(piece, Some(hangs)) => {
                let [x, y, z] = hangs.at.map(|side| number(side.to(MM), 4));
                format!("{piece} hangs at {x}, {y}, {z} mm")
            }
            Self::Hang(piece, None) => format!("{piece} hangs where nothing says"),
            Self::AddLead(piece, lead) => format!("{} at {piece}", lead.name),
            Self::RemoveLead(piece, lead) => format!("{} off {piece}", lead.name),
            Self::AddShield(tank, _) => format!("a shield in {tank}"),
            Self::RemoveShield(tank, _) => format!("a shield out of {tank}"),
            Self::AddAnode(tank, name, _) => format!("{name} in {tank}"),
            Self::RemoveAnode(tank, name) => format!("{name} out of {tank}"),
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
        let plain = of.anodes.iter().filter(|anode| {
            anode.plate.is_some() && anode.area.is_none() && anode.carries.is_none()
        });
        all.extend(plain.map(|anode| Self::RemoveAnode(tank.to_owned(), anode.name.clone())));
        all
    }
}
