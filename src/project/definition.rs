//! What a person wrote in `project.ron`.

use super::hung::{Evenness, Hangs, Law, Lead, Plate, Rod};
use serde::{Deserialize, Serialize};

use super::nearest::nearest;
use super::{GateRule, Setting, Stage, Step, When};
use crate::mesh::{self, MaskTaken};
use crate::plating::{
    ASSUMED_LEAST_OVER_MEAN, AcidCopper, Metal, charge_for, mean_from_minimum, wire_area,
};
use crate::units::{
    Area, CELSIUS, Charge, Current, Duration, H, Length, MIN, MM, MM2, Mass, Ratio, System,
    Temperature, Voltage, Volume, Zone, rounded,
};

/// The newest format of `project.ron` and `journal.ron` that this program writes.
pub const FORMAT: u32 = 1;

/// A project as defined.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Definition {
    /// Format number of the file.
    pub format: u32,
    /// What is being plated.
    pub name: String,
    /// Words about the object.
    #[serde(default)]
    pub object: String,
    /// The metal and its bath.
    pub metal: Metal,
    /// How thick.
    pub target: Target,
    /// Cathode efficiency of the bath.
    #[serde(default = "whole")]
    pub efficiency: Ratio,
    /// Where the clock on the wall hangs.
    #[serde(default = "utc")]
    pub zone: Zone,
    /// What the screen shows.
    #[serde(default)]
    pub units: System,
    /// The vessels, with their supplies and baths.
    #[serde(default = "one_tank")]
    pub tanks: Vec<Tank>,
    /// The stages, in order.
    #[serde(default = "Stage::default_route")]
    pub route: Vec<Stage>,
    /// Stages of the user's own that routes may name.
    #[serde(default)]
    pub stages: Vec<OwnStage>,
    /// Changes to the default gates.
    #[serde(default)]
    pub gates: Vec<GatePatch>,
    /// How often to look.
    #[serde(default)]
    pub looks: Intervals,
    /// How long an estimate goes on after a reading.
    #[serde(default)]
    pub readings: Limits,
    /// The stepped settings of strike and build.
    #[serde(default)]
    pub ladders: Ladders,
    /// The ageing hold.
    #[serde(default)]
    pub hold: HoldRule,
    /// Drying of the conductive coat, from its last coat.
    #[serde(default = "drying")]
    pub drying: Duration,
    /// Passages of a print whose widest ball is smaller are shut to the bath.
    #[serde(default = "bubble")]
    pub bubble: Length,
    /// Plating while nobody is there.
    #[serde(default)]
    pub unattended: Unattended,
    /// The standing list of the close-out's tank side; the default one if left out.
    #[serde(default)]
    pub closeout: Option<Vec<StandingItem>>,
    /// Standard uncertainties.
    #[serde(default)]
    pub uncertainty: Uncertainty,
    /// The pieces.
    #[serde(default)]
    pub pieces: Vec<Piece>,
    /// Where pieces meet.
    #[serde(default)]
    pub joints: Vec<Joint>,
}

fn whole() -> Ratio {
    Ratio::from_si(1.0)
}
fn one() -> f64 {
    1.0
}
fn utc() -> Zone {
    Zone::UTC
}
fn one_tank() -> Vec<Tank> {
    vec![Tank::named("main")]
}
fn drying() -> Duration {
    H.of(8.0)
}
fn bubble() -> Length {
    MM.of(mesh::Order::BUBBLE_MM)
}

/// How thick the deposit shall be.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Target {
    /// The mean over the surface.
    Mean(Length),
    /// The least local thickness (the drawing thickness of ISO 2064).
    Minimum(Length),
}

impl Target {
    /// The mean to plate for it; a minimum by the assumed evenness.
    pub fn mean(self) -> Length {
        self.mean_by(ASSUMED_LEAST_OVER_MEAN)
    }

    /// The mean to plate for it; a minimum by the least local thickness over
    /// the mean.
    pub fn mean_by(self, least_over_mean: f64) -> Length {
        match self {
            Self::Mean(mean) => mean,
            Self::Minimum(least) => mean_from_minimum(least, least_over_mean),
        }
    }
}

/// A vessel with its supply and bath.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tank {
    /// Its name.
    pub name: String,
    /// Inside width, depth and height.
    #[serde(default)]
    pub inside: Option<[Length; 3]>,
    /// Height of the liquid.
    #[serde(default)]
    pub fill: Option<Length>,
    /// What hangs on plus.
    #[serde(default)]
    pub anodes: Vec<Anode>,
    /// Insulating plates in the liquid.
    #[serde(default)]
    pub shields: Vec<Plate>,
    /// The DC supply.
    #[serde(default)]
    pub supply: Supply,
    /// The liquid.
    #[serde(default)]
    pub bath: Bath,
}

impl Tank {
    /// Whether it is told where an anode hangs.
    pub fn has_placed_anode(&self) -> bool {
        let mut anodes = self.anodes.iter();
        anodes.any(|anode| anode.plate.is_some() || anode.rod.is_some())
    }

    /// A tank of which nothing but the name is known.
    pub fn named(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            inside: None,
            fill: None,
            anodes: Vec::new(),
            shields: Vec::new(),
            supply: Supply::default(),
            bath: Bath::default(),
        }
    }

    /// The area of all its anodes that faces the work, if every one's is known.
    pub fn anode_area(&self) -> Option<Area> {
        let areas: Option<Vec<Area>> = self.anodes.iter().map(|a| a.area).collect();
        areas.filter(|a| !a.is_empty()).map(|a| a.into_iter().sum())
    }
}

/// One anode.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Anode {
    /// Its name.
    pub name: String,
    /// The area that faces the work.
    #[serde(default)]
    pub area: Option<Area>,
    /// The most current it may carry.
    #[serde(default)]
    pub carries: Option<Current>,
    /// Where it hangs, in words.
    #[serde(default)]
    pub place: String,
    /// Where it hangs, of a plate.
    #[serde(default)]
    pub plate: Option<Plate>,
    /// Where it hangs, of a rod.
    #[serde(default)]
    pub rod: Option<Rod>,
}

/// A DC power supply.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Supply {
    /// The most current it gives.
    #[serde(default)]
    pub limit_amps: Option<Current>,
    /// The most voltage it gives.
    #[serde(default)]
    pub limit_volts: Option<Voltage>,
    /// Relative standard uncertainty of its ammeter; the project's if left out.
    #[serde(default)]
    pub amps_rel: Option<f64>,
    /// What it holds when the field is asked; where the build's ladder ends if
    /// left out.
    #[serde(default)]
    pub holds: Option<Setting>,
}

/// The liquid and its upkeep.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bath {
    /// How much of it.
    #[serde(default)]
    pub volume: Option<Volume>,
    /// How it is moved.
    #[serde(default)]
    pub stirring: Stirring,
    /// Charge after which a dose is due.
    #[serde(default)]
    pub dose_every: Option<Charge>,
    /// Charge after which the filter is due.
    #[serde(default)]
    pub filter_every: Option<Charge>,
    /// Charge after which the anode bags are due.
    #[serde(default)]
    pub bags_every: Option<Charge>,
    /// Its temperature.
    #[serde(default)]
    pub temperature: Option<Temperature>,
    /// Copper in it (as metal), g/L.
    #[serde(default)]
    pub copper_g_l: Option<f64>,
    /// Sulphuric acid in it, g/L.
    #[serde(default)]
    pub acid_g_l: Option<f64>,
    /// Its conductivity, S/m; of acid copper by what is in it if left out.
    #[serde(default)]
    pub conductivity_s_m: Option<f64>,
    /// What the metal does in it; that of its metal if left out.
    #[serde(default)]
    pub kinetics: Option<Law>,
}

impl Bath {
    /// The temperature of a bath of which none is told.
    pub const USUAL_CELSIUS: f64 = 25.0;

    /// Its temperature, °C.
    pub fn celsius(&self) -> f64 {
        self.temperature
            .map_or(Self::USUAL_CELSIUS, |temperature| temperature.to(CELSIUS))
    }

    /// What is in it, of acid copper, if all of it is told.
    pub fn acid_copper(&self) -> Option<AcidCopper> {
        Some(AcidCopper {
            copper_g_l: self.copper_g_l?,
            acid_g_l: self.acid_g_l?,
            celsius: self.celsius(),
        })
    }
}

/// How the bath is moved.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Stirring {
    /// Not at all.
    #[default]
    Still,
    /// By a stirrer or pump.
    Stirred,
    /// By air.
    Air,
}

/// A stage of the user's own.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OwnStage {
    /// Its name, as routes use it.
    pub name: String,
    /// What is done in it.
    #[serde(default)]
    pub say: String,
}

/// A change to the gates: a new one, or one of the defaults changed or off.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GatePatch {
    /// Its name.
    pub gate: String,
    /// The stage it stands at (for a new one).
    #[serde(default)]
    pub stage: Option<Stage>,
    /// At the stage's start or end (for a new one).
    #[serde(default)]
    pub when: Option<When>,
    /// What it asks; a tick unless said.
    #[serde(default)]
    pub rule: Option<GateRule>,
    /// What it says.
    #[serde(default)]
    pub say: Option<String>,
    /// Whether it is taken away.
    #[serde(default)]
    pub off: bool,
}

/// How often to look (common practice, no source).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Intervals {
    /// First look of a strike.
    pub strike_first: Duration,
    /// Then every.
    pub strike: Duration,
    /// First look of a build.
    pub build_first: Duration,
    /// Then every.
    pub build: Duration,
    /// How long copper may be out before it needs a dip.
    pub out: Duration,
}

impl Default for Intervals {
    fn default() -> Self {
        Self {
            strike_first: MIN.of(5.0),
            strike: MIN.of(20.0),
            build_first: MIN.of(30.0),
            build: MIN.of(60.0),
            out: MIN.of(5.0),
        }
    }
}

/// How long an estimate goes on after a reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Limits {
    /// In strike.
    pub strike: Duration,
    /// In build.
    pub build: Duration,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            strike: MIN.of(30.0),
            build: MIN.of(60.0),
        }
    }
}

/// The ladders of strike and build. Makers disagree; these defaults are low
/// and slow (common practice, no source).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Ladders {
    /// Steps of the strike.
    pub strike: Vec<Step>,
    /// Steps of the build.
    pub build: Vec<Step>,
}

impl Default for Ladders {
    fn default() -> Self {
        Self {
            strike: vec![
                Step::volts(0.3, 20.0),
                Step::volts(0.5, 20.0),
                Step::volts_on(0.8),
            ],
            build: vec![
                Step::density(0.5, 12.0),
                Step::density(1.0, 12.0),
                Step::density_on(1.5),
            ],
        }
    }
}

/// The ageing hold (72 h is common; there is no standard).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct HoldRule {
    /// How long.
    pub time: Duration,
    /// Give or take: evenings.
    pub tolerance: Duration,
}

impl Default for HoldRule {
    fn default() -> Self {
        Self {
            time: H.of(72.0),
            tolerance: H.of(4.0),
        }
    }
}

/// Whether current may flow while nobody is there.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Unattended {
    /// Never: an evening is not closed while current flows.
    #[default]
    Never,
    /// The user decided otherwise, with limits and an independent cut-off.
    Allowed {
        /// The limits set.
        limits: String,
        /// What cuts the current off independently of this program.
        cut_off: String,
    },
}

/// An item of the standing close-out list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StandingItem {
    /// Its name, for ticking.
    pub id: String,
    /// What it says.
    pub say: String,
}

/// Standard uncertainties, relative.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Uncertainty {
    /// Of an area; a piece with its own ± brings its own.
    pub area_rel: f64,
    /// Of the bath's efficiency.
    pub efficiency_rel: f64,
    /// Of an ammeter.
    pub amps_rel: f64,
    /// Of a share by area where several share a supply: ±20 % as a
    /// rectangular bound, 0.2 / sqrt 3.
    pub share_rel: f64,
    /// Half-width of water, paint and wire in a weighing, as a share of the mass.
    pub water: Ratio,
    /// Standard uncertainty of the balance.
    pub balance: Mass,
}

impl Default for Uncertainty {
    fn default() -> Self {
        Self {
            area_rel: 0.02,
            efficiency_rel: 0.01,
            amps_rel: 0.01,
            share_rel: 0.115,
            water: Ratio::from_si(0.005),
            balance: Mass::from_si(1e-4),
        }
    }
}

/// A separately plated part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Piece {
    /// Its name.
    pub name: String,
    /// Its print file.
    #[serde(default)]
    pub mesh: Option<MeshRef>,
    /// Its wetted area before any mask, from the mesh or given.
    #[serde(default)]
    pub area: Option<Area>,
    /// The area's expanded uncertainty ±, k = 2.
    #[serde(default)]
    pub area_pm: Option<Area>,
    /// How the area was found.
    #[serde(default)]
    pub area_method: Option<String>,
    /// Its outside width, depth and height.
    #[serde(default)]
    pub size: Option<[Length; 3]>,
    /// Plating area over wetted area: the texture of the print's layers.
    #[serde(default = "one")]
    pub roughness: f64,
    /// Why that roughness.
    #[serde(default)]
    pub roughness_because: Option<String>,
    /// Contact wires in the bath.
    #[serde(default)]
    pub wires: Vec<Wire>,
    /// Thieves in the bath.
    #[serde(default)]
    pub thieves: Vec<Wire>,
    /// Contact wires and thieves as they run in the tank.
    #[serde(default)]
    pub leads: Vec<Lead>,
    /// Where it hangs and how it is turned.
    #[serde(default)]
    pub hangs: Option<Hangs>,
    /// How even metal comes on it, as predicted; the assumed range if left out.
    #[serde(default)]
    pub evenness: Option<Evenness>,
    /// Parts kept from the bath on purpose.
    #[serde(default)]
    pub masks: Vec<Mask>,
    /// A route of its own.
    #[serde(default)]
    pub route: Option<Vec<Stage>>,
    /// A target of its own.
    #[serde(default)]
    pub target: Option<Target>,
    /// Words about it.
    #[serde(default)]
    pub note: String,
}

impl Piece {
    /// A piece of which nothing but the name is known.
    pub fn named(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            mesh: None,
            area: None,
            area_pm: None,
            area_method: None,
            size: None,
            roughness: 1.0,
            roughness_because: None,
            wires: Vec::new(),
            thieves: Vec::new(),
            leads: Vec::new(),
            hangs: None,
            evenness: None,
            masks: Vec::new(),
            route: None,
            target: None,
            note: String::new(),
        }
    }

    /// The area the bath touches: the piece's alone, less what masks take.
    pub fn wetted_area(&self) -> Option<Area> {
        let masked: f64 = self
            .masks
            .iter()
            .filter_map(|m| m.takes)
            .map(Area::si)
            .sum();
        self.area.map(|a| Area::from_si((a.si() - masked).max(0.0)))
    }

    /// The masks that have a shape on the mesh, in their order; none of those
    /// in plain words.
    pub fn mask_shapes(&self) -> Vec<mesh::Mask> {
        let shape = |mask: &Mask| mask.shape.parse().ok();
        self.masks.iter().filter_map(shape).collect()
    }

    /// What its masks take, as measured with [`Self::mask_shapes`]: for each
    /// that has a shape its place in `project.ron` and the new value of
    /// `takes`. Those in plain words keep what was given by hand.
    pub fn measured_takes(&self, taken: &[MaskTaken]) -> Vec<(String, Area)> {
        let shaped = self
            .masks
            .iter()
            .filter(|mask| mask.shape.parse::<mesh::Mask>().is_ok());
        let path = |mask: &Mask| format!("pieces.{}.masks.{}.takes", self.name, mask.name);
        let area = |taken: &MaskTaken| MM2.of(rounded(taken.area_mm2, 8));
        shaped.map(path).zip(taken.iter().map(area)).collect()
    }

    /// Wetted area times roughness: what the charge target is made from.
    pub fn plating_area(&self) -> Option<Area> {
        self.wetted_area().map(|a| a * self.roughness)
    }

    /// Area of its wires and thieves.
    pub fn wire_area(&self) -> Area {
        self.wires
            .iter()
            .chain(&self.thieves)
            .map(|w| wire_area(w.diameter, w.length))
            .sum()
    }

    /// Plating area, wires and thieves: what draws current through its lead.
    pub fn conductor_area(&self) -> Option<Area> {
        self.plating_area().map(|a| a + self.wire_area())
    }

    /// Relative standard uncertainty of its area.
    pub fn area_rel(&self, project: &Uncertainty) -> f64 {
        match (self.area, self.area_pm) {
            (Some(area), Some(pm)) if area.si() > 0.0 => pm / area / 2.0,
            _ => project.area_rel,
        }
    }
}

/// A print file of a piece.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeshRef {
    /// The file, relative to the project's folder.
    pub file: String,
    /// The unit its numbers are in.
    #[serde(default)]
    pub unit: Option<String>,
    /// Its SHA-256 when it was measured.
    #[serde(default)]
    pub sha256: Option<String>,
}

/// A wire or a thief in the bath.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wire {
    /// Its diameter.
    pub diameter: Length,
    /// Its length in the bath.
    pub length: Length,
}

/// A part kept from the bath on purpose.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mask {
    /// Its name.
    pub name: String,
    /// Which part: the text of a [`crate::mesh::Mask`] on the piece's mesh, in
    /// mm, or plain words.
    #[serde(default)]
    pub shape: String,
    /// The area it takes from the wetted one: measured on the mesh where the
    /// shape is a mask, else given by hand.
    #[serde(default)]
    pub takes: Option<Area>,
}

/// Where two pieces meet when assembled.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Joint {
    /// Its name.
    pub name: String,
    /// The two pieces: the one with the hole or socket, then the one with the
    /// peg. Everything that is told of both faces has this order.
    pub between: [String; 2],
    /// How they mate.
    #[serde(default)]
    pub kind: JointKind,
    /// The hole as printed: its diameter, or the width of a socket.
    #[serde(default)]
    pub hole: Option<Length>,
    /// The peg as printed: its diameter or width.
    #[serde(default)]
    pub peg: Option<Length>,
    /// Free room as printed on each side: half of what hole and peg differ; of
    /// flat faces the room between them. A press fit is told by its sizes.
    #[serde(default)]
    pub gap_per_side: Option<Length>,
    /// The printer's accuracy on the gap per side, k = 2.
    #[serde(default)]
    pub printed_pm: Option<Length>,
    /// All that is put on the faces beside metal: conductive coat, clear coat.
    /// It counts on masked faces too. Nothing unless told.
    #[serde(default)]
    pub coats: [Length; 2],
    /// The pieces whose face is kept from the bath.
    #[serde(default)]
    pub masked: Vec<String>,
    /// The two faces: each a mask of its piece by name or shape, which keeps it
    /// from the bath, or any other shape or words.
    #[serde(default)]
    pub faces: Option<[String; 2]>,
    /// What has to be left on each side: 0.05 mm of a peg, nothing of flat
    /// faces, unless told (common practice, no source).
    #[serde(default)]
    pub least_gap: Option<Length>,
    /// Words about it.
    #[serde(default)]
    pub note: String,
}

/// How two faces mate.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum JointKind {
    /// A round peg in a hole: sizes are diameters.
    #[default]
    PegInHole,
    /// A square peg in a socket: sizes are widths.
    SquarePeg,
    /// Two flat faces that meet.
    FlatFaces,
}

/// What is wrong with a definition, and where.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct DefinitionError {
    /// What is wrong.
    pub message: String,
    /// What would mend it.
    pub remedy: String,
    /// Line and column, from 1, where the parser knows them.
    pub position: Option<(usize, usize)>,
    /// Path of the value (`pieces.stem.area`), where a rule knows it.
    pub path: Option<String>,
}

impl DefinitionError {
    pub(super) fn rule(
        path: impl Into<String>,
        message: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self {
            message: message.into(),
            remedy: remedy.into(),
            position: None,
            path: Some(path.into()),
        }
    }
}

impl Definition {
    /// The generous defaults around a name, a metal and a target.
    pub fn new(name: &str, metal: Metal, target: Target) -> Self {
        Self {
            format: FORMAT,
            name: name.to_owned(),
            object: String::new(),
            metal,
            target,
            efficiency: whole(),
            zone: utc(),
            units: System::default(),
            tanks: one_tank(),
            route: Stage::default_route(),
            stages: Vec::new(),
            gates: Vec::new(),
            looks: Intervals::default(),
            readings: Limits::default(),
            ladders: Ladders::default(),
            hold: HoldRule::default(),
            drying: drying(),
            unattended: Unattended::default(),
            closeout: None,
            uncertainty: Uncertainty::default(),
            pieces: Vec::new(),
            bubble: bubble(),
            joints: Vec::new(),
        }
    }

    /// Reads and validates the text of a `project.ron`.
    ///
    /// # Errors
    /// When it is no RON, a field is unknown (the nearest known one is named),
    /// missing or of the wrong kind, or a rule of [`Self::validate`] is broken.
    pub fn parse(text: &str) -> Result<Self, DefinitionError> {
        let options = ron::Options::default()
            .with_default_extension(ron::extensions::Extensions::IMPLICIT_SOME);
        let definition: Self = options.from_str(text).map_err(|e| of_ron(&e))?;
        definition.validate()?;
        Ok(definition)
    }

    /// The piece of this name.
    pub fn piece(&self, name: &str) -> Option<&Piece> {
        self.pieces.iter().find(|p| p.name == name)
    }

    /// The tank of this name.
    pub fn tank(&self, name: &str) -> Option<&Tank> {
        self.tanks.iter().find(|t| t.name == name)
    }

    /// The route of a piece: its own or the project's.
    pub fn route_of(&self, piece: &Piece) -> Vec<Stage> {
        piece.route.clone().unwrap_or_else(|| self.route.clone())
    }

    /// The target of a piece: its own or the project's.
    pub fn target_of(&self, piece: &Piece) -> Target {
        piece.target.unwrap_or(self.target)
    }

    /// The mean to plate on a piece for its target: a minimum by its own
    /// predicted evenness, or the assumed one.
    pub fn mean_of(&self, piece: &Piece) -> Length {
        let least = piece.evenness.as_ref().map(|evenness| evenness.least);
        self.target_of(piece)
            .mean_by(least.unwrap_or(ASSUMED_LEAST_OVER_MEAN))
    }

    /// The charge that puts the target on a piece, through its lead.
    pub fn charge_target(&self, piece: &Piece) -> Option<Charge> {
        let area = piece.conductor_area().filter(|a| a.si() > 0.0)?;
        Some(charge_for(
            &self.metal,
            area,
            self.mean_of(piece),
            self.efficiency,
        ))
    }

    /// Relative standard uncertainty of a tank's ammeter.
    pub fn amps_rel(&self, tank: &str) -> f64 {
        self.tank(tank)
            .and_then(|t| t.supply.amps_rel)
            .unwrap_or(self.uncertainty.amps_rel)
    }
}

fn of_ron(error: &ron::error::SpannedError) -> DefinitionError {
    let start = error.span.start;
    let (message, remedy) = match &error.code {
        ron::Error::NoSuchStructField {
            expected, found, ..
        } => (
            format!(
                "there is no field `{}`{}",
                found.escape_debug(),
                nearest(found, expected.iter().copied())
            ),
            format!("the fields here are: {}", expected.join(" ")),
        ),
        ron::Error::NoSuchEnumVariant {
            expected, found, ..
        } => (
            format!(
                "`{}` is not known here{}",
                found.escape_debug(),
                nearest(found, expected.iter().copied())
            ),
            format!("there are: {}", expected.join(" ")),
        ),
        other => (
            other
                .to_string()
                .escape_debug()
                .to_string()
                .replace("\\'", "'")
                .replace("\\\"", "\""),
            "mend the line in an editor; `tankside check` tells whether it reads".to_owned(),
        ),
    };
    DefinitionError {
        message,
        remedy,
        position: Some((start.line, start.col)),
        path: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LEAST: &str = r#"(format: 1, name: "Table bell", metal: "copper-acid", target: Mean("40um"), pieces: [(name: "bell", area: "6.84dm2")])"#;

    #[test]
    fn the_least_definition_has_generous_defaults() {
        let d = Definition::parse(LEAST).unwrap();
        assert_eq!(d.tanks[0].name, "main");
        assert_eq!(d.route, Stage::default_route());
        assert_eq!(d.hold.time, H.of(72.0));
        assert!((d.charge_target(&d.pieces[0]).unwrap().to(crate::units::AH) - 20.68).abs() < 0.01);
    }

    #[test]
    fn an_unknown_field_names_the_nearest_and_its_place() {
        let text = LEAST.replace("metal:", "\n  metl:");
        let e = Definition::parse(&text).unwrap_err();
        assert!(e.message.contains("did you mean `metal`"), "{e:?}");
        assert_eq!(e.position.map(|p| p.0), Some(2), "{e:?}");
    }

    #[test]
    fn rules_tell_path_and_remedy() {
        for (from, to, path) in [
            ("6.84dm2", "0dm2", "pieces.bell.area"),
            ("\"bell\"", "\"undo\"", "pieces.undo.name"),
            ("copper-acid", "copper-cyanide", "metal"),
            ("40um", "0um", "target"),
            ("format: 1", "format: 9", "format"),
        ] {
            let e = Definition::parse(&LEAST.replace(from, to)).unwrap_err();
            assert_eq!(e.path.as_deref(), Some(path), "{e:?}");
            assert!(!e.remedy.is_empty());
        }
    }

    const MASKED: &str = r#"(format: 1, name: "Bell", metal: "copper-acid", target: Mean("40um"), pieces: [(name: "bell",
        area: "24cm2", masks: [(name: "foot", shape: "box:-1,-1,-1:21,21,5", takes: "1cm2"),
        (name: "thread", shape: "inside: all of it", takes: "2cm2"), (name: "rim"), (name: "glue", shape: "group:the: glue")])])"#;

    #[test]
    fn masks_are_shapes_or_plain_words() {
        let d = Definition::parse(MASKED).unwrap();
        let bell = &d.pieces[0];
        let shapes: Vec<String> = bell.mask_shapes().iter().map(ToString::to_string).collect();
        assert_eq!(shapes, ["box:-1,-1,-1:21,21,5", "group:the: glue"]);
        assert_eq!(bell.wetted_area().unwrap().written(), "0.21dm2");
        let taken = |shape: &mesh::Mask, area_mm2| MaskTaken {
            mask: shape.clone(),
            area_mm2,
            facets: Vec::new(),
            because: None,
        };
        let taken: Vec<MaskTaken> = bell
            .mask_shapes()
            .iter()
            .zip([800.0, 0.0])
            .map(|(m, a)| taken(m, a))
            .collect();
        let takes = bell.measured_takes(&taken);
        let takes: Vec<(&str, String)> = takes
            .iter()
            .map(|(p, a)| (p.as_str(), a.written()))
            .collect();
        assert_eq!(
            takes,
            [
                ("pieces.bell.masks.foot.takes", "0.08dm2".to_owned()),
                ("pieces.bell.masks.glue.takes", "0dm2".to_owned()),
            ]
        );
    }

    #[test]
    fn a_shape_that_does_not_read_is_refused_with_its_place() {
        let e = Definition::parse(&MASKED.replace("21,21,5", "21,21")).unwrap_err();
        assert_eq!(e.path.as_deref(), Some("pieces.bell.masks.foot.shape"));
        assert_eq!(
            e.message,
            "the second corner of the box is `21,21`; expected three numbers x,y,z in mm"
        );
        assert!(e.remedy.contains("box:x,y,z:x,y,z"), "{}", e.remedy);
    }

    #[test]
    fn a_route_names_known_stages_once() {
        let with = |route: &str| {
            Definition::parse(&LEAST.replace("pieces:", &format!("route: {route}, pieces:")))
        };
        assert!(with(r#"["coat", "strike", "build"]"#).is_ok());
        assert!(with(r#"["coat", "coat"]"#).is_err());
        assert!(
            with(r#"["coat", "biuld"]"#)
                .unwrap_err()
                .message
                .contains("did you mean `build`")
        );
    }
}
