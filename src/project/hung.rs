//! How pieces hang in a tank, and the scene that makes: what is not told is
//! taken as usual, and said.

use serde::{Deserialize, Serialize};

use super::{Definition, Piece, Tank};
use crate::field::Kinetics;
use crate::field::scene::{self, Faces, Hung, Scene, Shield, Strand, Supply, Vessel};
use crate::units::{Length, MM, number};

/// Where a piece hangs and how it is turned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hangs {
    /// The middle of its print's box in the tank: to the right, to the back and
    /// up from the tank's left front lower corner, inside.
    pub at: [Length; 3],
    /// How it is turned about that: a quaternion w, x, y, z.
    #[serde(default = "unturned")]
    pub turn: [f64; 4],
}

fn unturned() -> [f64; 4] {
    [1.0, 0.0, 0.0, 0.0]
}

/// A contact wire or a thief as it runs in the tank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lead {
    /// Its name.
    pub name: String,
    /// Its line, as places in the tank.
    pub points: Vec<[Length; 3]>,
    /// Its diameter.
    pub diameter: Length,
    /// Whether it is a thief.
    #[serde(default)]
    pub thief: bool,
    /// Whether its end is joined to its beginning.
    #[serde(default)]
    pub closed: bool,
}

/// An anode plate's place in the tank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plate {
    /// Its middle in the tank.
    pub at: [Length; 3],
    /// Upright on it.
    pub facing: [f64; 3],
    /// Width and height.
    pub size: [Length; 2],
    /// Thickness; of use for a shield alone.
    #[serde(default)]
    pub thickness: Option<Length>,
}

/// The box around a print in its own mm.
pub type PrintBox = [[f64; 3]; 2];

/// Conductivity of an acid copper bath, S/m: 0.8 mol/l copper sulphate and 0.6 to
/// 2 mol/l sulphuric acid have some 15 to 60 (from memory of handbooks).
pub const ACID_COPPER_S_M: f64 = 25.0;

/// Kinetics of acid copper: Mattsson & Bockris, Trans. Faraday Soc. 55 (1959)
/// 1586, αa 1.5 and αc 0.5; i0 is told from 1 to 100 A/m², additives change it
/// (from memory).
pub const ACID_COPPER: Kinetics = Kinetics::ButlerVolmer {
    i0_a_m2: 10.0,
    alpha_a: 1.5,
    alpha_c: 0.5,
    temperature_k: 298.15,
    limit_a_m2: None,
};

/// Density in want of a supply, A/dm²: common practice, no source.
const USUAL_A_DM2: f64 = 1.0;

/// What is left around pieces in a tank that is not told, as a multiple of them.
const ROOM: f64 = 3.0;

impl Definition {
    /// The scene of pieces that hang in one tank, with what was assumed for it.
    /// Each piece comes with the box around its print and its wetted area, dm².
    pub fn scene(&self, tank: &Tank, pieces: &[(&Piece, PrintBox, f64)]) -> (Scene, Vec<String>) {
        let mut assumed = Vec::new();
        let size = inside(tank, pieces, &mut assumed);
        let conductivity = tank.bath.conductivity_s_m.unwrap_or_else(|| {
            assumed.push(format!(
                "{} S/m, acid copper has some 15 to 60",
                number(ACID_COPPER_S_M, 2)
            ));
            ACID_COPPER_S_M
        });
        assumed.push(
            "kinetics of acid copper: i0 10 A/m2 (told from 1 to 100, additives change it), alpha 1.5 and 0.5"
                .to_owned(),
        );
        let area: f64 = pieces.iter().map(|(_, _, dm2)| dm2).sum();
        assumed.push(format!("{} A/dm2 on the pieces", number(USUAL_A_DM2, 2)));
        let scene = Scene {
            tank: Some(Vessel {
                min_mm: [0.0; 3],
                max_mm: size,
            }),
            conductivity_s_m: conductivity,
            anodes: anodes(tank, size, &mut assumed),
            rods: Vec::new(),
            bodies: bodies(pieces, size, &mut assumed),
            wires: pieces.iter().flat_map(|(piece, ..)| leads(piece)).collect(),
            shields: tank.shields.iter().map(shield).collect(),
            supply: Some(Supply::Amps(USUAL_A_DM2 * area)),
        };
        (scene, assumed)
    }
}

/// The liquid's width, depth and height, mm.
fn inside(tank: &Tank, pieces: &[(&Piece, PrintBox, f64)], assumed: &mut Vec<String>) -> [f64; 3] {
    if let Some(inside) = tank.inside {
        let [wide, deep, high] = inside.map(|side| side.to(MM));
        return [wide, deep, tank.fill.map_or(high, |fill| fill.to(MM))];
    }
    let largest = pieces
        .iter()
        .map(|(_, print, _)| {
            (0..3)
                .map(|k| print[1][k] - print[0][k])
                .fold(0.0, f64::max)
        })
        .sum::<f64>();
    let side = ROOM * largest.max(10.0);
    assumed.push(format!(
        "a tank of {} mm each way, `{}` has no inside size",
        number(side, 2),
        tank.name
    ));
    [side; 3]
}

fn mm(at: [Length; 3]) -> [f64; 3] {
    at.map(|side| side.to(MM))
}

fn anodes(tank: &Tank, size: [f64; 3], assumed: &mut Vec<String>) -> Vec<scene::Anode> {
    let placed = tank.anodes.iter().filter_map(|anode| {
        let plate = anode.plate.as_ref()?;
        Some(scene::Anode {
            name: anode.name.clone(),
            centre_mm: mm(plate.at),
            normal: plate.facing,
            size_mm: plate.size.map(|side| side.to(MM)),
            volts: 0.0,
            faces: Faces::Both,
        })
    });
    let placed: Vec<_> = placed.collect();
    if !placed.is_empty() {
        return placed;
    }
    assumed.push("two anodes, on the left and right walls, three quarters of them".to_owned());
    let wall = |name: &str, x: f64, inward: f64| scene::Anode {
        name: name.to_owned(),
        centre_mm: [x, size[1] / 2.0, size[2] / 2.0],
        normal: [inward, 0.0, 0.0],
        size_mm: [0.75 * size[1], 0.75 * size[2]],
        volts: 0.0,
        faces: Faces::Both,
    };
    vec![
        wall("left anode", 0.0, 1.0),
        wall("right anode", size[0], -1.0),
    ]
}

fn bodies(
    pieces: &[(&Piece, PrintBox, f64)],
    size: [f64; 3],
    assumed: &mut Vec<String>,
) -> Vec<Hung> {
    let loose = pieces.iter().filter(|(piece, ..)| piece.hangs.is_none());
    let count = loose.count();
    let mut next = 0;
    let each = pieces.iter().map(|(piece, print, _)| {
        let hangs = piece.hangs.clone().unwrap_or_else(|| {
            next += 1;
            // Side by side between the anodes.
            let along = size[1] * (f64::from(next) - 0.5) / count as f64;
            Hangs {
                at: [size[0] / 2.0, along, size[2] / 2.0].map(|mm| MM.of(mm)),
                turn: unturned(),
            }
        });
        let middle = [0, 1, 2].map(|k| f64::midpoint(print[0][k], print[1][k]));
        let turned = scene::turned(hangs.turn, middle);
        let at = mm(hangs.at);
        Hung {
            name: piece.name.clone(),
            mesh: piece
                .mesh
                .as_ref()
                .map_or_else(String::new, |mesh| mesh.file.clone()),
            unit: piece.mesh.as_ref().and_then(|mesh| mesh.unit.clone()),
            move_mm: [0, 1, 2].map(|k| at[k] - turned[k]),
            rotation: hangs.turn,
            volts: 0.0,
            kinetics: ACID_COPPER,
            masks: Vec::new(),
        }
    });
    let hung = each.collect();
    if count > 0 {
        assumed.push(if count == 1 {
            "a piece without a place hangs in the middle of the tank as its print stands".to_owned()
        } else {
            "pieces without a place hang side by side between the anodes as their prints stand"
                .to_owned()
        });
    }
    hung
}

fn leads(piece: &Piece) -> Vec<Strand> {
    let strand = |lead: &Lead| Strand {
        name: lead.name.clone(),
        points_mm: lead.points.iter().map(|at| mm(*at)).collect(),
        diameter_mm: lead.diameter.to(MM),
        volts: 0.0,
        closed: lead.closed,
        thief: lead.thief,
        kinetics: None,
    };
    piece.leads.iter().map(strand).collect()
}

fn shield(plate: &Plate) -> Shield {
    Shield {
        name: None,
        centre_mm: mm(plate.at),
        normal: plate.facing,
        size_mm: plate.size.map(|side| side.to(MM)),
        thickness_mm: plate.thickness.map_or(3.0, |thick| thick.to(MM)),
    }
}
