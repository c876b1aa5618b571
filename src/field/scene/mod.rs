//! A tank with what hangs in it, as data, and where the current goes in it.
//!
//! A [`Scene`] is what a scene file holds: mm, volts, S/m. With the surveyed
//! [`Print`] of each of its bodies it is checked, cut into panels ([`Ready`])
//! and solved: a [`Spread`].

mod build;
mod check;
mod doubt;
mod meet;
mod places;
mod ready;
mod spread;

pub use build::{Print, turned};
pub use check::SceneError;
pub use places::Place;
pub use ready::{Ready, Solved};
pub use spread::{BodySpread, Cell, Flows, Kind, Spread, Whole, direction_words};

use serde::{Deserialize, Deserializer, Serialize};

use super::kinetics::Kinetics;
use super::panel::Point;

/// Panels for the whole of a scene unless told otherwise: edges within a few
/// per cent in a second or two.
pub const PANELS: usize = 12_000;

/// Fewer panels say nothing, more do not fit into memory.
pub const PANELS_RANGE: std::ops::RangeInclusive<usize> = 500..=400_000;

/// A tank with what hangs in it. Lengths in mm, volts, S/m.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scene {
    /// The liquid's box; none: a bath without end, the anode infinitely far away.
    #[serde(deserialize_with = "Option::deserialize")]
    pub tank: Option<Vessel>,
    /// Conductivity of the bath, S/m.
    pub conductivity_s_m: f64,
    /// Anode plates.
    #[serde(default)]
    pub anodes: Vec<Anode>,
    /// Anode rods.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rods: Vec<Rod>,
    /// Pieces.
    #[serde(default)]
    pub bodies: Vec<Hung>,
    /// Contact wires and thieves.
    #[serde(default)]
    pub wires: Vec<Strand>,
    /// Insulating plates.
    #[serde(default)]
    pub shields: Vec<Shield>,
    /// What the supply holds; none: the volts are as they are told.
    #[serde(default)]
    pub supply: Option<Supply>,
}

/// The liquid in a tank: walls, floor and surface insulate.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Vessel {
    /// Its lowest corner, mm.
    pub min_mm: Point,
    /// Its highest corner, mm: z is the surface.
    pub max_mm: Point,
}

/// An anode plate. In a wall it works on one face.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Anode {
    /// Its name.
    pub name: String,
    /// Its middle, mm.
    pub centre_mm: Point,
    /// Upright on it; of any length but zero.
    pub normal: Point,
    /// Its width (level) and height, mm; of a level plate along x and y.
    pub size_mm: [f64; 2],
    /// Its volts.
    #[serde(default)]
    pub volts: f64,
    /// Which faces work, of a plate that hangs in the liquid.
    #[serde(default, skip_serializing_if = "Faces::is_both")]
    pub faces: Faces,
}

/// Which faces of an anode plate work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Faces {
    /// Both.
    #[default]
    Both,
    /// The one that its normal points away from the plate; the other insulates.
    Front,
}

impl Faces {
    #[allow(
        clippy::trivially_copy_pass_by_ref,
        reason = "the form that serde asks for"
    )]
    fn is_both(&self) -> bool {
        *self == Self::Both
    }
}

/// An anode rod.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rod {
    /// Its name.
    pub name: String,
    /// Its middle line, mm.
    pub points_mm: Vec<Point>,
    /// Its diameter, mm.
    pub diameter_mm: f64,
    /// Its volts.
    #[serde(default)]
    pub volts: f64,
}

/// A piece and how it hangs: turned first, then moved.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hung {
    /// Its name.
    pub name: String,
    /// Its print's file.
    pub mesh: String,
    /// The unit of a file that does not say its own.
    #[serde(default)]
    pub unit: Option<String>,
    /// By how much it is moved after it was turned, mm.
    #[serde(default)]
    pub move_mm: Point,
    /// How it is turned about the print's origin: a quaternion w, x, y, z of
    /// any length but zero.
    #[serde(default = "unturned")]
    pub rotation: [f64; 4],
    /// Its volts.
    #[serde(default)]
    pub volts: f64,
    /// What its metal does.
    #[serde(default)]
    pub kinetics: Kinetics,
    /// What of it is kept from the bath, as masks are written, in the print's mm.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub masks: Vec<String>,
}

fn unturned() -> [f64; 4] {
    [1.0, 0.0, 0.0, 0.0]
}

/// A contact wire or a thief.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Strand {
    /// Its name.
    pub name: String,
    /// Its middle line, mm.
    pub points_mm: Vec<Point>,
    /// Its diameter, mm.
    pub diameter_mm: f64,
    /// Its volts.
    #[serde(default)]
    pub volts: f64,
    /// Whether its end is joined to its beginning.
    #[serde(default)]
    pub closed: bool,
    /// Whether it is there to take current from the piece.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub thief: bool,
    /// What its metal does; none told: as the first piece.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kinetics: Option<Kinetics>,
}

/// An insulating plate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shield {
    /// Its name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Its middle, mm.
    pub centre_mm: Point,
    /// Upright on it; of any length but zero.
    pub normal: Point,
    /// Its width (level) and height, mm; of a level plate along x and y.
    pub size_mm: [f64; 2],
    /// Its thickness, mm.
    pub thickness_mm: f64,
}

/// What the supply holds: volts, the highest of the anodes' (or those at
/// infinity), the others shifted with it; or amps in all.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Supply {
    /// Volts of the highest anode.
    Volts(f64),
    /// Amps into all cathodes together.
    Amps(f64),
}

impl<'de> Deserialize<'de> for Supply {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        #[serde(deny_unknown_fields)]
        struct Either {
            #[serde(default)]
            volts: Option<f64>,
            #[serde(default)]
            amps: Option<f64>,
        }
        match Either::deserialize(deserializer)? {
            Either {
                volts: Some(volts),
                amps: None,
            } => Ok(Self::Volts(volts)),
            Either {
                volts: None,
                amps: Some(amps),
            } => Ok(Self::Amps(amps)),
            _ => Err(serde::de::Error::custom(
                "the supply holds either volts or amps: give one of them",
            )),
        }
    }
}
