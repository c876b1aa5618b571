//! Where the metal goes in a tank: what is asked of the worker, what came of it,
//! how it is looked at, and what the keys do there.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::print::{ENLARGE, cut, enlarge, go, in_the_middle, most_of, next_dots, open_sides};
use super::{Effect, Key, KeyCode, Layer, Marker, Message, Model, Screen, Showing};
use crate::field::scene::{BodySpread, Cell, Place, Scene as FieldScene, Spread};
use crate::mesh::Corner;
use crate::project::{Definition, Piece, Tank};
use crate::report::spread::{over_mean, step_of};
use crate::tui::picture::{Eye, Scene};
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
    /// The scene as far as the project says it: where it is another, a result
    /// is stale.
    pub outline: FieldScene,
}

impl SpreadWork {
    /// What will be taken as usual, a word each: kinetics and current are never
    /// told.
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
                !is_said(|tank| tank.bath.conductivity_s_m.is_some()),
                "conductivity",
            ),
            (true, "kinetics"),
            (true, "current"),
            (!is_said(|tank| tank.inside.is_some()), "tank size"),
            (
                !is_said(|tank| tank.anodes.iter().any(|anode| anode.plate.is_some())),
                "anodes",
            ),
            (pieces.iter().any(undrawn), "no wires"),
        ];
        let taken = all.into_iter().filter(|(is_taken, _)| *is_taken);
        taken.map(|(_, word)| word).collect()
    }
}

/// What came of a tank, ready to be drawn.
#[derive(Debug, PartialEq)]
pub struct Seen {
    /// The pieces that were asked for.
    pub pieces: Vec<String>,
    /// The scene that was asked for, as far as the project says it.
    pub outline: FieldScene,
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
    /// How it is looked at first.
    pub first: Eye,
    /// Of each face the body and the place among its cells.
    faces: Vec<(u32, u32)>,
    /// Of each body the share of its area in each of [`BANDS`].
    shares: Vec<[f64; BANDS.len()]>,
}

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
    pub fn of(work: SpreadWork, spread: Spread, assumed: Vec<String>) -> Self {
        let mut faces = Vec::new();
        let mut drawn = Vec::new();
        for (k, body) in (0..).zip(&spread.bodies) {
            if !body.kind.is_cathode() {
                continue;
            }
            for (n, cell) in (0..).zip(cells(body)) {
                faces.push((k, n));
                drawn.push((cell.corners_mm, step_of(over_mean(body, cell))));
            }
        }
        let scene = Scene::of(drawn);
        Self {
            in_short: work.assumed_in_short(),
            pieces: work.pieces,
            outline: work.outline,
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

    /// The face of a piece whose middle is nearest to a place in the tank.
    fn nearest(&self, piece: &str, at_mm: Corner) -> Option<Marker> {
        let away = |cell: &Cell| {
            let middle = cell.middle_mm();
            [0, 1, 2]
                .map(|k| (middle[k] - at_mm[k]).powi(2))
                .iter()
                .sum::<f64>()
        };
        let of_piece = (0..self.faces.len()).filter_map(|face| {
            let (body, cell) = self.at(face).filter(|(body, _)| body.name == piece)?;
            Some((away(cell), face, cell, body))
        });
        let (_, facet, cell, _) = of_piece.min_by(|a, b| a.0.total_cmp(&b.0))?;
        Some(Marker {
            facet,
            at_mm: cell.middle_mm(),
        })
    }
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
    /// What the last change of the scene did.
    pub changes: Vec<Change>,
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
            && before.outline != seen.outline
        {
            known.changes = changes(&before, &seen);
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

fn changes(before: &Seen, after: &Seen) -> Vec<Change> {
    let both = after.pieces.iter().filter_map(|piece| {
        let (old, new) = (before.body(piece)?, after.body(piece)?);
        Some(Change {
            piece: piece.clone(),
            least: [old.min_over_mean, new.min_over_mean],
            most: [old.max_over_mean, new.max_over_mean],
        })
    });
    both.collect()
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
    /// with the selected one, else that alone; or every one.
    fn spread_together(&self, tank: &Tank) -> Vec<&Piece> {
        let pieces = self.project.definition.pieces.iter();
        let hangs = |piece: &&Piece| {
            let state = self.piece(&piece.name);
            state.is_some_and(|state| state.tank.as_deref() == Some(tank.name.as_str()))
        };
        let selected = self.selected_piece();
        let is_selected = |piece: &&Piece| selected == Some(piece.name.as_str());
        if self.spreads.every {
            return pieces.collect();
        }
        let hanging: Vec<&Piece> = pieces.clone().filter(hangs).collect();
        if hanging.iter().any(is_selected) || (selected.is_none() && !hanging.is_empty()) {
            hanging
        } else {
            pieces.filter(is_selected).collect()
        }
    }

    /// What is to be asked of the worker; pieces without a print are left out.
    ///
    /// # Errors
    /// In words: what is missing, and what would do.
    pub fn spread_asked(&self) -> Result<SpreadWork, String> {
        let (tank, pieces) = self.spread_scene()?;
        Ok(SpreadWork {
            tank: tank.name.clone(),
            outline: self.project.definition.outline(tank, &pieces),
            pieces: pieces.iter().map(|piece| piece.name.clone()).collect(),
            definition: Box::new(self.project.definition.clone()),
        })
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
            self.project.definition.outline(tank, &pieces) != seen.outline
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
            format!("stale: the scene is another now; {key} computes it again")
        } else {
            let (then, now) = (names(&then), names(&now));
            format!("this is of {then}; {key} computes it for {now}")
        })
    }

    /// The mean thickness that the target of a piece asks.
    pub fn target_mean(&self, piece: &str) -> Option<Length> {
        let definition = &self.project.definition;
        let piece = definition.piece(piece)?;
        Some(definition.target_of(piece).mean())
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
        let place = self.spread_places().get(self.spreads.place);
        let Some(marker) = place.and_then(|place| seen.nearest(piece, place.at_mm)) else {
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
        Char('+') => enlarge(&mut showing, scene, ENLARGE),
        Char('-') => enlarge(&mut showing, scene, 1.0 / ENLARGE),
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
