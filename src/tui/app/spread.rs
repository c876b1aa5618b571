//! Where the metal goes in a tank: what is asked of the worker, what came of it,
//! how it is looked at, and what the keys do there.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::fixture::{Fixture, Stroke, corners, fixtures};
use super::print::{ENLARGE, cut, enlarge, go, in_the_middle, most_of, next_dots, open_sides};
use super::{Effect, Key, KeyCode, Layer, Marker, Message, Model, Screen, Showing};
use crate::field::scene::{BodySpread, Cell, Place, Scene as FieldScene, Spread};
use crate::mesh::Corner;
use crate::project::{Definition, Flow, Outline, Piece, SUPPLY_SAID, SceneEdit, Tank};
use crate::report::spread::{over_mean, step_of};
use crate::tui::picture::{Eye, Picture, Scene, draw};
use crate::units::{Instant, Length};

/// What is asked of the worker: where the metal goes on some pieces in a tank.
#[derive(Debug, Clone, PartialEq)]
pub struct SpreadWork {
    /// The tank.
    pub tank: String,
    /// The pieces in it, all with a print.
    pub pieces: Vec<String>,
    /// What the project says of all that.
    pub definition: Box<Definition>,
    /// The current that flows into just these pieces, where it is known.
    pub flow: Option<Flow>,
    /// What is asked as far as the project says it: where it is another, a
    /// result is stale.
    pub outline: Outline,
}

impl SpreadWork {
    fn digest(&self) -> Option<String> {
        let pieces: Vec<&str> = self.pieces.iter().map(String::as_str).collect();
        self.definition.scene_digest(&self.tank, &pieces)
    }

    /// What will be taken as usual, a word each.
    pub fn assumed_in_short(&self) -> Vec<&'static str> {
        let tank = self.definition.tank(&self.tank);
        let pieces = self.pieces.iter();
        let pieces: Vec<&Piece> = pieces
            .filter_map(|name| self.definition.piece(name))
            .collect();
        let is_said = |said: fn(&Tank) -> bool| tank.is_some_and(said);
        let wired = |piece: &&Piece| !(piece.wires.is_empty() && piece.thieves.is_empty());
        let undrawn = |piece: &&Piece| piece.leads.is_empty() && wired(piece);
        let all = [
            (
                pieces.iter().any(|piece| piece.hangs.is_none()),
                "where pieces hang",
            ),
            (
                !is_said(|tank| {
                    tank.bath.conductivity_s_m.is_some() || tank.bath.acid_copper().is_some()
                }),
                "conductivity",
            ),
            (!is_said(|tank| tank.bath.kinetics.is_some()), "kinetics"),
            (
                !is_said(|tank| tank.supply.holds.is_some()) && self.flow.is_none(),
                "current",
            ),
            (!is_said(|tank| tank.inside.is_some()), "tank size"),
            (!is_said(Tank::has_placed_anode), "anodes"),
            (pieces.iter().any(undrawn), "no wires"),
        ];
        let taken = all.into_iter().filter(|(is_taken, _)| *is_taken);
        taken.map(|(_, word)| word).collect()
    }
}

/// What came of a tank, ready to be drawn.
#[derive(Debug)]
pub struct Seen {
    /// The pieces that were asked for.
    pub pieces: Vec<String>,
    /// What was asked for, as far as the project says it.
    pub outline: Outline,
    /// The digest of the scene, which goes with what is written down of it.
    pub digest: Option<String>,
    /// The current that was taken because it flows.
    pub flow: Option<Flow>,
    /// Where the current goes.
    pub spread: Spread,
    /// What was taken for want of anything told, and what has to be known of the
    /// prints.
    pub assumed: Vec<String>,
    /// The same in a word each.
    pub in_short: Vec<&'static str>,
    /// Pieces, wires and thieves in the tank, mm; the tint is the step of the
    /// scale.
    pub scene: Scene,
    /// What stands beside them.
    pub fixtures: Vec<(Fixture, Stroke)>,
    /// The least and the greatest corner of the liquid, mm.
    pub tank: Option<[Corner; 2]>,
    /// How it is looked at first.
    pub first: Eye,
    /// Of each face the body and the place among its cells.
    faces: Vec<(u32, u32)>,
    /// Of each body the share of its area in each of [`BANDS`].
    shares: Vec<[f64; BANDS.len()]>,
    /// Of each body where the probe stands for each of its places to watch.
    spots: Vec<Vec<Option<Marker>>>,
    /// What was drawn last: it does until it is turned or the size is another.
    drawn: Mutex<Option<Drawn>>,
}

impl PartialEq for Seen {
    /// The same question with the same answer: all else follows from these.
    fn eq(&self, other: &Self) -> bool {
        let asked = |seen: &Self| (seen.pieces.clone(), seen.outline.clone());
        asked(self) == asked(other) && self.spread == other.spread
    }
}

/// How it was looked at, on how many dots, and what was seen.
type Drawn = (Eye, [usize; 2], Arc<Picture>);

/// The bands of density over the mean in which areas are told: from how much,
/// and the words.
pub const BANDS: [(f64, &str); 7] = [
    (0.0, "under 0.25"),
    (0.25, "0.25 to 0.5"),
    (0.5, "0.5 to 0.8"),
    (0.8, "0.8 to 1.25"),
    (1.25, "1.25 to 2"),
    (2.0, "2 to 4"),
    (4.0, "over 4"),
];

/// The band of a density over the mean.
pub fn band_of(over_mean: f64) -> usize {
    let at = BANDS.iter().rposition(|(from, _)| over_mean >= *from);
    at.unwrap_or(0)
}

/// What of a body is drawn: what is wetted of a print, else its panels.
fn cells(body: &BodySpread) -> &[Cell] {
    if body.triangles.is_empty() {
        &body.panels
    } else {
        &body.triangles
    }
}

impl Seen {
    /// A result ready to be drawn. Takes a while for a large one.
    pub fn of(
        work: SpreadWork,
        (asked, spread): (&FieldScene, Spread),
        mut assumed: Vec<String>,
    ) -> Self {
        // A current that flows is told above all, not among what was assumed.
        assumed.retain(|said| work.flow.is_none() || !said.starts_with(SUPPLY_SAID));
        let (mut faces, mut drawn, mut spots) = (Vec::new(), Vec::new(), Vec::new());
        for (k, body) in (0..).zip(&spread.bodies) {
            let first = faces.len();
            let places = body.places.iter();
            spots.push(places.map(|place| nearest(body, place, first)).collect());
            if !body.kind.is_cathode() {
                continue;
            }
            for (n, cell) in (0..).zip(cells(body)) {
                faces.push((k, n));
                drawn.push((cell.corners_mm, step_of(over_mean(body, cell))));
            }
        }
        let scene = Scene::among(drawn, &corners(asked));
        Self {
            spots,
            fixtures: fixtures(asked),
            tank: asked.tank.map(|tank| [tank.min_mm, tank.max_mm]),
            drawn: Mutex::default(),
            in_short: work.assumed_in_short(),
            digest: work.digest(),
            pieces: work.pieces,
            outline: work.outline,
            flow: work.flow,
            first: most_of(&scene),
            scene,
            shares: spread.bodies.iter().map(shares).collect(),
            spread,
            assumed,
            faces,
        }
    }

    /// The body and the cell of a face of the scene.
    pub fn at(&self, face: usize) -> Option<(&BodySpread, &Cell)> {
        let (body, cell) = self.faces.get(face)?;
        let body = self.spread.bodies.get(*body as usize)?;
        Some((body, cells(body).get(*cell as usize)?))
    }

    /// What came of a piece.
    pub fn body(&self, piece: &str) -> Option<&BodySpread> {
        self.spread.bodies.iter().find(|body| body.name == piece)
    }

    /// The share of a piece's area in each of [`BANDS`].
    pub fn shares(&self, piece: &str) -> Option<&[f64; BANDS.len()]> {
        let at = self.spread.bodies.iter().position(|b| b.name == piece)?;
        self.shares.get(at)
    }

    /// Where the probe stands for a place to watch of a piece.
    fn spot(&self, piece: &str, place: usize) -> Option<Marker> {
        let at = self.spread.bodies.iter().position(|b| b.name == piece)?;
        *self.spots.get(at)?.get(place)?
    }

    /// The place to watch at which the probe stands, if it is one.
    pub fn place_at(&self, marker: &Marker) -> Option<&Place> {
        let (body, _) = self.faces.get(marker.facet)?;
        let spots = self.spots.get(*body as usize)?;
        let at = spots
            .iter()
            .position(|spot| spot.as_ref() == Some(marker))?;
        self.spread.bodies.get(*body as usize)?.places.get(at)
    }

    /// The pieces as they are seen, so many dots wide and high; drawn again only
    /// where that is another picture than the last.
    pub fn drawn(&self, eye: &Eye, size: [usize; 2]) -> Arc<Picture> {
        let mut drawn = self.drawn.lock().unwrap_or_else(PoisonError::into_inner);
        match drawn.as_ref() {
            Some((of, at, picture)) if (of, at) == (eye, &size) => Arc::clone(picture),
            _ => {
                let picture = Arc::new(draw(&self.scene, eye, size[0], size[1]));
                *drawn = Some((*eye, size, Arc::clone(&picture)));
                picture
            }
        }
    }
}

/// The middle of a body's cell that is nearest to a place; `first` is the face
/// of its first cell.
fn nearest(body: &BodySpread, place: &Place, first: usize) -> Option<Marker> {
    let away = |cell: &Cell| {
        let middle = cell.middle_mm();
        let off = [0, 1, 2].map(|k| (middle[k] - place.at_mm[k]).powi(2));
        off.iter().sum::<f64>()
    };
    let each = cells(body).iter().enumerate();
    let (at, cell) = each.min_by(|a, b| away(a.1).total_cmp(&away(b.1)))?;
    Some(Marker {
        facet: first + at,
        at_mm: cell.middle_mm(),
    })
}

fn shares(body: &BodySpread) -> [f64; BANDS.len()] {
    let mut shares = [0.0; BANDS.len()];
    for cell in cells(body) {
        shares[band_of(over_mean(body, cell))] += cell.area_mm2;
    }
    let all: f64 = shares.iter().sum();
    shares.map(|share| share / all.max(f64::MIN_POSITIVE))
}

/// What is told of each place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Measure {
    /// The current density, and that over the piece's mean.
    #[default]
    Density,
    /// The thickness when the piece has the charge of its target.
    Thickness,
}

/// The work that goes on.
#[derive(Debug)]
pub struct Solving {
    /// For which tank.
    pub tank: String,
    /// Which step, in plain words.
    pub step: &'static str,
    /// Which share of all is done.
    pub done: f64,
    /// Since when.
    pub began: Instant,
}

/// What the change of a scene did to a piece.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// The piece.
    pub piece: String,
    /// Its least density over the mean, before and after.
    pub least: [f64; 2],
    /// Its greatest, likewise.
    pub most: [f64; 2],
}

/// What the screen knows of one tank.
#[derive(Debug, Default)]
pub struct OfTank {
    /// What came of it last.
    pub seen: Option<Arc<Seen>>,
    /// What came of it before the scene was changed last.
    pub before: Option<Arc<Seen>>,
    /// Why nothing came of it.
    pub fault: Option<String>,
    /// Whether a print's file is another since.
    pub changed: bool,
}

/// What the screen knows of where the metal goes.
#[derive(Debug, Default)]
pub struct Spreads {
    tanks: BTreeMap<String, OfTank>,
    /// The work that goes on.
    pub solving: Option<Solving>,
    /// Whether every piece with a print is asked for, not those that hang
    /// together alone.
    pub every: bool,
    /// What is told of each place.
    pub measure: Measure,
    /// The selected place to watch.
    pub place: usize,
    /// What takes back the changes that were tried from the screen, the latest
    /// last.
    pub back: Vec<SceneEdit>,
    /// Whether the picture shows what was before beside what is now.
    pub beside: bool,
    /// How it was last looked at.
    last: Option<Box<Showing>>,
}

impl Spreads {
    /// What is known of a tank.
    pub fn of(&self, tank: &str) -> Option<&OfTank> {
        self.tanks.get(tank)
    }

    /// How a tank is looked at, and where its probe is.
    pub fn showing(&self, tank: &str) -> Option<&Showing> {
        self.last.as_deref().filter(|last| last.piece == tank)
    }

    /// Takes in what the worker says.
    pub(super) fn news(&mut self, message: Message) {
        match message {
            Message::SpreadAt { step, done } => self.at(step, done),
            Message::SpreadSolved { tank, result } => self.solved(&tank, result),
            Message::SpreadChanged(tank) => self.changed(&tank),
            _ => {}
        }
    }

    /// The work is so far.
    fn at(&mut self, step: &'static str, done: f64) {
        if let Some(solving) = &mut self.solving {
            (solving.step, solving.done) = (step, done);
        }
    }

    /// What came of a tank, or why nothing.
    fn solved(&mut self, tank: &str, result: Result<Arc<Seen>, String>) {
        self.solving = None;
        let known = self.tanks.entry(tank.to_owned()).or_default();
        let seen = match result {
            Ok(seen) => seen,
            Err(fault) => {
                known.fault = Some(fault);
                return;
            }
        };
        if let Some(before) = known.seen.take()
            && !before.outline.asks_as(&seen.outline)
        {
            // Other pieces altogether are no change of these.
            let is_there = |piece: &String| seen.pieces.contains(piece);
            known.before = Some(before).filter(|before| before.pieces.iter().any(is_there));
            self.beside = true;
        }
        known.seen = Some(seen);
        known.fault = None;
        known.changed = false;
        self.place = 0;
        self.last = None;
    }

    /// The file of a print in a tank was touched.
    fn changed(&mut self, tank: &str) {
        if let Some(known) = self.tanks.get_mut(tank) {
            known.changed = true;
        }
    }
}

impl OfTank {
    /// What the last change of the scene did to a piece that was there before.
    pub fn change(&self, piece: &str) -> Option<Change> {
        let (before, after) = (self.before.as_ref()?, self.seen.as_ref()?);
        let (old, new) = (before.body(piece)?, after.body(piece)?);
        Some(Change {
            piece: piece.to_owned(),
            least: [old.min_over_mean, new.min_over_mean],
            most: [old.max_over_mean, new.max_over_mean],
        })
    }
}

impl Model {
    /// The tank that Spread shows: that of the selected piece, the selected one,
    /// or the first.
    pub fn spread_tank(&self) -> Option<&Tank> {
        let definition = &self.project.definition;
        let hangs = self.selected_piece().and_then(|name| self.piece(name));
        let named = match &self.spot {
            Some(super::Spot::Tank(name)) => Some(name.as_str()),
            _ => hangs.and_then(|piece| piece.tank.as_deref()),
        };
        named
            .and_then(|name| definition.tank(name))
            .or(definition.tanks.first())
    }

    /// The pieces that hang together in the tank that is shown: those in it now
    /// with the selected one, else that alone; or every one that has a place, and
    /// where none has, every one.
    fn spread_together(&self, tank: &Tank) -> Vec<&Piece> {
        let pieces = self.project.definition.pieces.iter();
        let hangs = |piece: &&Piece| {
            let state = self.piece(&piece.name);
            state.is_some_and(|state| state.tank.as_deref() == Some(tank.name.as_str()))
        };
        let selected = self.selected_piece();
        let is_selected = |piece: &&Piece| selected == Some(piece.name.as_str());
        if self.spreads.every {
            let placed = pieces.clone().filter(|piece| piece.hangs.is_some());
            let placed: Vec<&Piece> = placed.collect();
            return if placed.is_empty() {
                pieces.collect()
            } else {
                placed
            };
        }
        let hanging: Vec<&Piece> = pieces.clone().filter(hangs).collect();
        if hanging.iter().any(is_selected) || (selected.is_none() && !hanging.is_empty()) {
            hanging
        } else {
            pieces.filter(is_selected).collect()
        }
    }

    /// The pieces that are to be computed.
    ///
    /// # Errors
    /// As [`Self::spread_asked`].
    pub fn spread_pieces(&self) -> Result<Vec<&str>, String> {
        let (_, pieces) = self.spread_scene()?;
        Ok(pieces.iter().map(|piece| piece.name.as_str()).collect())
    }

    /// What is to be asked of the worker; pieces without a print are left out.
    ///
    /// # Errors
    /// In words: what is missing, and what would do.
    pub fn spread_asked(&self) -> Result<SpreadWork, String> {
        let (tank, pieces) = self.spread_scene()?;
        let flow = self.flow_into(tank, &pieces);
        Ok(SpreadWork {
            tank: tank.name.clone(),
            outline: self.project.definition.outline(tank, &pieces, flow),
            flow,
            pieces: pieces.iter().map(|piece| piece.name.clone()).collect(),
            definition: Box::new(self.project.definition.clone()),
        })
    }

    /// The current that flows into just these pieces now, where it is known.
    fn flow_into(&self, tank: &Tank, pieces: &[&Piece]) -> Option<Flow> {
        let names: Vec<&str> = pieces.iter().map(|piece| piece.name.as_str()).collect();
        let (state, definition) = (self.project.state(), &self.project.definition);
        state.flow_into(definition, &tank.name, &names, self.now)
    }

    /// The tank and the pieces in it that are to be computed.
    fn spread_scene(&self) -> Result<(&Tank, Vec<&Piece>), String> {
        let tank = self
            .spread_tank()
            .ok_or("the project has no tank: project.ron wants one, tanks: [(name: \"main\")]")?;
        let together = self.spread_together(tank);
        let pieces: Vec<&Piece> = together
            .iter()
            .copied()
            .filter(|piece| piece.mesh.is_some())
            .collect();
        if pieces.is_empty() {
            let folder = &self.folder;
            return Err(match together.first() {
                Some(piece) => format!(
                    "`{}` has no print, and where its metal goes is told on its print. In project.ron \
                     give the piece a line such as mesh: (file: \"meshes/{}.stl\", unit: \"mm\"), then \
                     `tankside survey {folder}`",
                    piece.name, piece.name
                ),
                None => "no piece is selected: Left and Right select one".to_owned(),
            });
        }
        Ok((tank, pieces))
    }

    /// The pieces that are left out for want of a print.
    pub fn spread_without(&self) -> Vec<String> {
        let together = self.spread_tank().map(|tank| self.spread_together(tank));
        let without = together.unwrap_or_default().into_iter();
        without
            .filter(|piece| piece.mesh.is_none())
            .map(|piece| piece.name.clone())
            .collect()
    }

    /// What is known of the tank that is shown.
    pub fn spread_known(&self) -> Option<&OfTank> {
        self.spreads.of(&self.spread_tank()?.name)
    }

    /// What came of the tank before it was changed last, while that is shown
    /// beside what there is now.
    pub fn spread_before(&self) -> Option<&Arc<Seen>> {
        let before = self.spread_known()?.before.as_ref();
        before.filter(|_| self.spreads.beside)
    }

    /// What came of the tank that is shown.
    pub fn spread_seen(&self) -> Option<&Arc<Seen>> {
        self.spread_known()?.seen.as_ref()
    }

    /// The piece whose figures are told: the selected one if it is in the
    /// result, else the first of it.
    pub fn spread_piece(&self) -> Option<&str> {
        let seen = self.spread_seen()?;
        let selected = self.selected_piece();
        let is_there = |name: &&str| seen.body(name).is_some();
        let first = seen.pieces.first().map(String::as_str);
        selected.filter(is_there).or(first)
    }

    /// The places to watch on it.
    pub fn spread_places(&self) -> &[Place] {
        let seen = self.spread_seen();
        let body = seen.and_then(|seen| seen.body(self.spread_piece()?));
        body.map_or(&[], |body| &body.places)
    }

    /// Whether what is shown is of another scene than there is now.
    pub fn is_spread_stale(&self) -> bool {
        let Some(known) = self.spread_known() else {
            return false;
        };
        let Some(seen) = &known.seen else {
            return false;
        };
        let is_other = |(tank, pieces): (&Tank, Vec<&Piece>)| {
            let flow = self.flow_into(tank, &pieces);
            let now = self.project.definition.outline(tank, &pieces, flow);
            !now.asks_as(&seen.outline)
        };
        known.changed || self.spread_scene().is_ok_and(is_other)
    }

    /// Why what is shown is stale, in words: other pieces, or another scene.
    pub fn spread_stale_words(&self) -> Option<String> {
        let seen = self.spread_seen().filter(|_| self.is_spread_stale())?;
        let key = self.key_of(super::Id::Compute).unwrap_or_default();
        let names = |pieces: &[&str]| match pieces {
            [one] => (*one).to_owned(),
            more => format!("{} pieces", more.len()),
        };
        let now = self.spread_scene().map_or_else(
            |_| Vec::new(),
            |(_, pieces)| pieces.iter().map(|piece| piece.name.as_str()).collect(),
        );
        let then: Vec<&str> = seen.pieces.iter().map(String::as_str).collect();
        Some(if now.is_empty() || now == then {
            let what = if self.spread_known().is_some_and(|known| known.changed) {
                "a print"
            } else {
                "the scene"
            };
            format!("stale: {what} is another now; {key} computes it again")
        } else {
            let (then, now) = (names(&then), names(&now));
            format!("this is of {then}; {key} computes it for {now}")
        })
    }

    /// The mean thickness that the target of a piece asks.
    pub fn target_mean(&self, piece: &str) -> Option<Length> {
        let definition = &self.project.definition;
        let piece = definition.piece(piece)?;
        Some(definition.mean_of(piece))
    }

    /// Asks the worker; one piece of work that goes on is given up.
    pub(super) fn compute_spread(&mut self) -> Vec<Effect> {
        match self.spread_asked() {
            Ok(work) => {
                self.spreads.solving = Some(Solving {
                    tank: work.tank.clone(),
                    step: "beginning",
                    done: 0.0,
                    began: self.now,
                });
                vec![Effect::Spread(Box::new(work))]
            }
            Err(why) => {
                self.say(why);
                Vec::new()
            }
        }
    }

    /// Takes what is shown into the project, if it is of what there is now.
    pub(super) fn take_spread(&mut self) -> Vec<Effect> {
        if let Some(stale) = self.spread_stale_words() {
            self.say(stale);
            return Vec::new();
        }
        let (Some(seen), Some(tank)) = (self.spread_seen().cloned(), self.spread_tank()) else {
            self.say("nothing is computed yet; Enter computes it");
            return Vec::new();
        };
        let who = self.who.clone().or(self.login.clone());
        vec![Effect::TakeSpread {
            tank: tank.name.clone(),
            seen,
            who: who.unwrap_or_else(|| "unknown".to_owned()),
        }]
    }

    /// Whether the key of undo, which is one step back elsewhere, gives up what
    /// is computed: the keypad has no Escape.
    pub(super) fn gives_up_spread(&self) -> bool {
        self.screen == Screen::Spread && self.spreads.solving.is_some()
    }

    /// Gives up the work that goes on.
    pub(super) fn stop_spread(&mut self) -> Vec<Effect> {
        if self.spreads.solving.take().is_some() {
            self.say("given up; what was computed before is kept");
            return vec![Effect::StopSpread];
        }
        Vec::new()
    }

    /// The place above or below in the list; the probe goes with it.
    pub(super) fn step_places(&mut self, down: bool) {
        let last = self.spread_places().len().saturating_sub(1);
        let at = self.spreads.place;
        // The first step marks the place that is selected already.
        let is_marked = self
            .spread_tank()
            .and_then(|tank| self.spreads.showing(&tank.name))
            .is_some_and(|showing| showing.marker.is_some());
        self.spreads.place = match (down, is_marked) {
            (_, false) => at.min(last),
            (true, true) => (at + 1).min(last),
            (false, true) => at.saturating_sub(1),
        };
        let mut showing = self.take_showing();
        self.probe_place(&mut showing);
        self.spreads.last = Some(Box::new(showing));
        self.scroll = 0;
    }

    /// Another piece is told.
    pub(super) fn spread_piece_chosen(&mut self) {
        self.spreads.place = 0;
        if let Some(last) = &mut self.spreads.last {
            last.marker = None;
        }
    }

    fn take_showing(&mut self) -> Showing {
        let tank = self
            .spread_tank()
            .map_or_else(String::new, |t| t.name.clone());
        let last = self.spreads.last.take().filter(|last| last.piece == tank);
        let first = self.spread_seen().map_or(Eye::REST, |seen| seen.first);
        last.map_or_else(|| Showing::of(&tank, first), |last| *last)
    }

    /// Puts the probe on the selected place and turns it to the eye.
    fn probe_place(&mut self, showing: &mut Showing) {
        let (Some(seen), Some(piece)) = (self.spread_seen().cloned(), self.spread_piece()) else {
            return;
        };
        let Some(marker) = seen.spot(piece, self.spreads.place) else {
            return;
        };
        showing.marker = Some(marker);
        showing.eye.cut = None;
        showing.eye.open = 0;
        if !showing.sees_marker(&seen.scene)
            && let Some((_, cell)) = seen.at(marker.facet)
        {
            let [x, y, z] = cell.normal();
            showing.eye.yaw = (-x).atan2(-y).to_degrees() as f32;
            showing.eye.tilt = z.atan2(x.hypot(y)).to_degrees() as f32;
        }
        showing.centre(&seen.scene);
    }

    /// Without a probe the piece whose figures are told is in the middle of what
    /// is enlarged.
    fn centre_on_piece(&self, showing: &mut Showing) {
        let seen = self.spread_seen().zip(self.spread_piece());
        let body = seen.and_then(|(seen, piece)| Some((seen, seen.body(piece)?)));
        if let Some((seen, body)) = body
            && showing.marker.is_none()
            && showing.eye.zoom > 1.0
        {
            let [low, high] = body.box_mm;
            let middle = [0, 1, 2].map(|axis| f64::midpoint(low[axis], high[axis]));
            showing.eye.centre = seen.scene.from_middle(middle);
        }
    }

    /// Opens the picture of the tank that is shown.
    pub(super) fn open_spread(&mut self) {
        if self.spread_seen().is_none() {
            return self.say("nothing is computed yet; Enter computes it");
        }
        let showing = Box::new(self.take_showing());
        self.layers.push(Layer::Spread(showing));
    }

    /// Density or thickness.
    pub(super) fn next_measure(&mut self) {
        self.spreads.measure = match self.spreads.measure {
            Measure::Density => Measure::Thickness,
            Measure::Thickness => Measure::Density,
        };
    }
}

/// A key while the picture of a tank is shown: as on a print.
pub(super) fn key(model: &mut Model, mut showing: Box<Showing>, key: Key) -> Vec<Effect> {
    use KeyCode::{
        BackTab, Char, Down, End, Enter, Esc, Home, Left, PageDown, PageUp, Right, Tab, Up,
    };
    model.said = super::Said::default();
    let seen = model.spread_seen().cloned();
    let Some(seen) = seen.filter(|_| key.code != Esc) else {
        model.spreads.last = Some(showing);
        model.screen = Screen::Spread;
        return Vec::new();
    };
    let scene = &seen.scene;
    let mut effects = Vec::new();
    match key.code {
        Char('-') if showing.eye.zoom <= 1.0 => {
            model.spreads.last = Some(showing);
            return Vec::new();
        }
        Char('/' | '?') => {
            model.layers.push(Layer::Spread(showing));
            model.layers.push(Layer::Help(0));
            return Vec::new();
        }
        Enter if model.spreads.solving.is_none() && model.is_spread_stale() => {
            effects = model.compute_spread();
        }
        Left | Char('4') => go(model, &mut showing, Some(scene), [-1.0, 0.0]),
        Right | Char('6') => go(model, &mut showing, Some(scene), [1.0, 0.0]),
        Up | Char('8') => go(model, &mut showing, Some(scene), [0.0, 1.0]),
        Down | Char('2') => go(model, &mut showing, Some(scene), [0.0, -1.0]),
        Char('+') => {
            enlarge(&mut showing, scene, ENLARGE);
            model.centre_on_piece(&mut showing);
        }
        Char('-') => {
            enlarge(&mut showing, scene, 1.0 / ENLARGE);
            model.centre_on_piece(&mut showing);
        }
        Char('5') | Home => {
            showing.eye = seen.first;
            showing.centre(scene);
        }
        Char('*' | 'm') | Tab | BackTab => {
            showing.marking = !showing.marking;
            if showing.marking && showing.marker.is_none() {
                let first = in_the_middle(scene, &showing.eye);
                showing.mark(scene, first);
            }
        }
        Char('3' | ']') | PageDown => cut(model, &mut showing, scene, -1.0),
        Char('1' | '[') | End => cut(model, &mut showing, scene, 1.0),
        Char('7' | 'i') => open_sides(model, &mut showing, u32::MAX),
        Char('9' | 'b') | PageUp => next_dots(model, &mut showing),
        Char('0' | 'n') => next_place(model, &mut showing),
        Char('z') => model.next_measure(),
        Char('.' | ',') => model.spreads.beside = !model.spreads.beside,
        _ => {}
    }
    model.layers.push(Layer::Spread(showing));
    effects
}

/// Moves the probe to the next place to watch.
fn next_place(model: &mut Model, showing: &mut Showing) {
    let count = model.spread_places().len();
    if count == 0 {
        return model.say("no place to watch on it");
    }
    if showing.marker.is_some() {
        model.spreads.place = (model.spreads.place + 1) % count;
    }
    model.probe_place(showing);
}
