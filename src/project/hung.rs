//! How pieces hang in a tank, and the scene that makes: what is not told is
//! taken as usual, and said.

use serde::{Deserialize, Serialize};

use super::{Bath, Definition, Piece, PredictedFor, Setting, Tank};
use crate::field::Kinetics;
use crate::field::scene::{self, Faces, Hung, Scene, Shield, Strand, Supply, Vessel};
use crate::plating::wire_area;
use crate::units::{A, A_DM2, Area, CELSIUS, DM2, Length, MM, V, number};

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

/// A plate in the tank: an anode or a shield.
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
    /// Whether only the face works to which `facing` points; of use for an anode
    /// alone.
    #[serde(default)]
    pub one_face: bool,
}

/// An anode rod in the tank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rod {
    /// Its line, as places in the tank.
    pub points: Vec<[Length; 3]>,
    /// Its diameter.
    pub diameter: Length,
}

/// What a metal does in its bath: the current density that an overpotential
/// makes. SI, deposition positive, at the bath's temperature.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Law {
    /// No overpotential: what the geometry alone makes.
    Primary,
    /// `i = p / Rp`.
    Linear {
        /// Polarisation resistance, ohm m².
        rp_ohm_m2: f64,
    },
    /// `i = i0 exp(αc F p / RT)`.
    Tafel {
        /// Exchange current density, A/m².
        i0_a_m2: f64,
        /// Cathodic transfer coefficient.
        alpha_c: f64,
        /// Limiting current density, A/m².
        #[serde(default)]
        limit_a_m2: Option<f64>,
    },
    /// `i = i0 (exp(αc F p / RT) - exp(-αa F p / RT))`.
    ButlerVolmer {
        /// Exchange current density, A/m².
        i0_a_m2: f64,
        /// Anodic transfer coefficient.
        alpha_a: f64,
        /// Cathodic transfer coefficient.
        alpha_c: f64,
        /// Limiting current density, A/m².
        #[serde(default)]
        limit_a_m2: Option<f64>,
    },
}

impl Law {
    /// The law at a temperature, °C.
    pub fn at(self, celsius: f64) -> Kinetics {
        let temperature_k = CELSIUS.of(celsius).si();
        match self {
            Self::Primary => Kinetics::None,
            Self::Linear { rp_ohm_m2 } => Kinetics::Linear { rp_ohm_m2 },
            Self::Tafel {
                i0_a_m2,
                alpha_c,
                limit_a_m2,
            } => Kinetics::Tafel {
                i0_a_m2,
                alpha_c,
                temperature_k,
                limit_a_m2,
            },
            Self::ButlerVolmer {
                i0_a_m2,
                alpha_a,
                alpha_c,
                limit_a_m2,
            } => Kinetics::ButlerVolmer {
                i0_a_m2,
                alpha_a,
                alpha_c,
                temperature_k,
                limit_a_m2,
            },
        }
    }

    /// Its numbers with their names; all of them are above 0.
    pub(super) fn numbers(self) -> Vec<(&'static str, f64)> {
        let mut numbers = match self {
            Self::Primary => vec![],
            Self::Linear { rp_ohm_m2 } => vec![("rp_ohm_m2", rp_ohm_m2)],
            Self::Tafel {
                i0_a_m2, alpha_c, ..
            } => vec![("i0_a_m2", i0_a_m2), ("alpha_c", alpha_c)],
            Self::ButlerVolmer {
                i0_a_m2,
                alpha_a,
                alpha_c,
                ..
            } => vec![
                ("i0_a_m2", i0_a_m2),
                ("alpha_a", alpha_a),
                ("alpha_c", alpha_c),
            ],
        };
        if let Self::Tafel { limit_a_m2, .. } | Self::ButlerVolmer { limit_a_m2, .. } = self {
            numbers.extend(limit_a_m2.map(|limit| ("limit_a_m2", limit)));
        }
        numbers
    }
}

/// How even metal comes on a piece, as a field predicts it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Evenness {
    /// Least local thickness over the mean, above 0, at most 1.
    pub least: f64,
    /// Most local thickness over the mean, 1 or more.
    pub most: f64,
    /// What predicts it.
    #[serde(default)]
    pub because: String,
    /// What it was computed for; never stale if left out.
    #[serde(default)]
    pub of: Option<PredictedFor>,
}

/// The box around a print in its own mm.
pub type PrintBox = [[f64; 3]; 2];

/// Conductivity of an acid copper bath, S/m: 0.8 mol/l copper sulphate and 0.6 to
/// 2 mol/l sulphuric acid have some 15 to 60 (from memory of handbooks).
pub const ACID_COPPER_S_M: f64 = 25.0;

/// Conductivity of any other bath, S/m, so that there is one: the distribution
/// without overpotential does not depend on it, volts do.
const ANY_BATH_S_M: f64 = 10.0;

/// Kinetics of acid copper: αa 1.5 and αc 0.5 by Mattsson & Bockris, Trans.
/// Faraday Soc. 55 (1959) 1586 (from memory). i0: Hinatsu & Foulkes, Can. J. Chem.
/// Eng. 69 (1991) 571, have 11 ± 4 A/m² with αc 0.46 in little copper, a fit of
/// pulsed currents (J. Appl. Electrochem., doi 10.1007/bf00620584) has 0.34, and
/// up to 100 is told (from memory); additives change it.
pub const ACID_COPPER: Law = Law::ButlerVolmer {
    i0_a_m2: 10.0,
    alpha_a: 1.5,
    alpha_c: 0.5,
    limit_a_m2: None,
};

/// How it begins what is said of a supply that was not told.
pub const SUPPLY_SAID: &str = "supply: ";

/// Density where no ladder tells one, A/dm²: common practice, no source.
const USUAL_A_DM2: f64 = 1.0;

/// What is left around pieces in a tank that is not told, as a multiple of them.
const ROOM: f64 = 3.0;

impl Definition {
    /// The scene of pieces that hang in one tank, with what was assumed for it.
    /// Each piece comes with the box around its print and its wetted area, dm².
    pub fn scene(&self, tank: &Tank, pieces: &[(&Piece, PrintBox, f64)]) -> (Scene, Vec<String>) {
        let mut assumed = Vec::new();
        let size = inside(tank, pieces, &mut assumed);
        let conductivity = self.conductivity(&tank.bath, &mut assumed);
        let kinetics = self.kinetics(&tank.bath, &mut assumed);
        let supply = self.supply(tank, pieces, &mut assumed);
        let scene = Scene {
            tank: Some(Vessel {
                min_mm: [0.0; 3],
                max_mm: size,
            }),
            conductivity_s_m: conductivity,
            anodes: anodes(tank, size, &mut assumed),
            rods: rods(tank),
            bodies: bodies(pieces, size, kinetics, &mut assumed),
            wires: pieces.iter().flat_map(|(piece, ..)| leads(piece)).collect(),
            shields: tank.shields.iter().map(shield).collect(),
            supply: Some(supply),
        };
        (scene, assumed)
    }

    fn is_acid_copper(&self) -> bool {
        self.metal.name == "copper-acid"
    }

    /// What a bath conducts, S/m: as given, by what is in it, or as usual.
    fn conductivity(&self, bath: &Bath, assumed: &mut Vec<String>) -> f64 {
        if let Some(given) = bath.conductivity_s_m {
            return given;
        }
        if !self.is_acid_copper() {
            assumed.push(format!(
                "{} S/m: that of a {} bath is not known here, and volts and ohm go by it; \
                 `conductivity_s_m` of a bath tells it",
                number(ANY_BATH_S_M, 2),
                self.metal
            ));
            return ANY_BATH_S_M;
        }
        let found = bath.acid_copper().and_then(|acid| {
            let found = acid.conductivity()?;
            assumed.push(format!(
                "{} S/m +- {} % by {} g/L of copper, {} g/L of acid and {} C (Price & Davenport 1980, carried on \
                 below 50 C)",
                number(found.s_m, 3),
                number(found.pm_rel * 100.0, 2),
                number(acid.copper_g_l, 3),
                number(acid.acid_g_l, 3),
                number(acid.celsius, 3),
            ));
            Some(found.s_m)
        });
        found.unwrap_or_else(|| {
            assumed.push(format!(
                "{} S/m, acid copper has some 15 to 60: `copper_g_l` and `acid_g_l` of a bath tell more",
                number(ACID_COPPER_S_M, 2)
            ));
            ACID_COPPER_S_M
        })
    }

    fn kinetics(&self, bath: &Bath, assumed: &mut Vec<String>) -> Kinetics {
        let law = bath.kinetics.unwrap_or_else(|| {
            if self.is_acid_copper() {
                assumed.push(
                    "kinetics of acid copper: i0 10 A/m2 (told from 0.3 to 100, additives change it), alpha 1.5 and \
                     0.5, no limiting current"
                        .to_owned(),
                );
                return ACID_COPPER;
            }
            assumed.push(format!(
                "no overpotential: that of a {} bath is not known here, and it makes metal come more evenly; \
                 `kinetics` of a bath tells it",
                self.metal
            ));
            Law::Primary
        });
        law.at(bath.celsius())
    }

    /// What the supply holds: as told, or where the build's ladder ends.
    fn supply(
        &self,
        tank: &Tank,
        pieces: &[(&Piece, PrintBox, f64)],
        assumed: &mut Vec<String>,
    ) -> Supply {
        let of = |setting: Setting| match setting {
            Setting::Amps(amps) => Some(Supply::Amps(amps.to(A))),
            Setting::Volts(volts) => Some(Supply::Volts(volts.to(V))),
            Setting::Off => None,
        };
        if let Some(held) = tank.supply.holds.and_then(of) {
            return held;
        }
        let wires = pieces.iter().flat_map(|(piece, ..)| &piece.leads);
        let area = pieces.iter().map(|(_, _, dm2)| DM2.of(*dm2)).sum::<Area>()
            + wires.map(Lead::area).sum::<Area>();
        let last = self.ladders.build.last();
        let found = last.and_then(|step| Some((step, of(step.setting(Some(area))?)?)));
        let Some((step, supply)) = found else {
            assumed.push(format!(
                "{SUPPLY_SAID}{} A/dm2 on pieces and wires",
                number(USUAL_A_DM2, 2)
            ));
            return Supply::Amps(USUAL_A_DM2 * area.to(DM2));
        };
        let on = step.density.map(|density| {
            let density = number(density.to(A_DM2), 3);
            format!("{density} A/dm2 on pieces and wires, ")
        });
        let held = match supply {
            Supply::Volts(volts) => format!("{} V", number(volts, 3)),
            Supply::Amps(amps) => format!("{} A", number(amps, 3)),
        };
        assumed.push(format!(
            "{SUPPLY_SAID}{}{held}: where the build's ladder ends",
            on.unwrap_or_default()
        ));
        supply
    }
}

impl Lead {
    /// What its wire is called in the field: several pieces may have their hook.
    pub fn body_of(&self, piece: &Piece) -> String {
        format!("{} {}", piece.name, self.name)
    }

    /// The area of its wire, as long as its line.
    pub fn area(&self) -> Area {
        let back = if self.closed {
            self.points.first()
        } else {
            None
        };
        let next = self.points.iter().skip(1).chain(back);
        let long = |(a, b): (&[Length; 3], &[Length; 3])| {
            let square = |k: usize| (a[k] - b[k]).si().powi(2);
            Length::from_si((square(0) + square(1) + square(2)).sqrt())
        };
        wire_area(self.diameter, self.points.iter().zip(next).map(long).sum())
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
            faces: if plate.one_face {
                Faces::Front
            } else {
                Faces::Both
            },
        })
    });
    let placed: Vec<_> = placed.collect();
    if !placed.is_empty() || tank.anodes.iter().any(|anode| anode.rod.is_some()) {
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

fn rods(tank: &Tank) -> Vec<scene::Rod> {
    let rod = |anode: &super::Anode| {
        let rod = anode.rod.as_ref()?;
        Some(scene::Rod {
            name: anode.name.clone(),
            points_mm: rod.points.iter().map(|at| mm(*at)).collect(),
            diameter_mm: rod.diameter.to(MM),
            volts: 0.0,
        })
    };
    tank.anodes.iter().filter_map(rod).collect()
}

fn bodies(
    pieces: &[(&Piece, PrintBox, f64)],
    size: [f64; 3],
    kinetics: Kinetics,
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
            kinetics,
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
        name: lead.body_of(piece),
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
