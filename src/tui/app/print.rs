//! The print of a piece, drawn: what is known of it, how it is looked at, what
//! the keys do there, and what is at the marker.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::{Effect, Key, KeyCode, Layer, Model, Screen};
use crate::mesh::{Cavity, Class, Corner, Facet, Flaw, Mask, Survey};
use crate::project::{self, Definition, Piece};
use crate::tui::picture::{Eye, Hit, Picture, Point, Scene, draw, pick};
use crate::units::{Length, number};

/// What a print is read from: where any of it differs, the print is another.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// The file, relative to the project's folder.
    pub file: String,
    /// The unit that the project says; the file's own stands above it.
    pub unit: Option<String>,
    /// What is kept from the bath.
    pub masks: Vec<Mask>,
    /// Passages whose widest ball is smaller are shut.
    pub bubble: Length,
}

impl Source {
    /// What the print of a piece is read from; `None` without a print.
    pub fn of(definition: &Definition, piece: &str) -> Option<Self> {
        let piece = definition.piece(piece)?;
        Self::with_masks(definition, piece, &piece.masks)
    }

    /// What it would be read from, had it these masks.
    pub(super) fn with_masks(
        definition: &Definition,
        piece: &Piece,
        masks: &[project::Mask],
    ) -> Option<Self> {
        let mesh = piece.mesh.as_ref()?;
        let masks = masks.iter().filter_map(|mask| mask.shape.parse().ok());
        Some(Self {
            file: mesh.file.clone(),
            unit: mesh.unit.clone(),
            masks: masks.collect(),
            bubble: definition.bubble,
        })
    }
}

/// A print that was read and surveyed.
#[derive(Debug, PartialEq)]
pub struct Print {
    /// What it was read from.
    pub source: Source,
    /// All that is known of it.
    pub survey: Survey,
    /// Its facets in the survey's order, for drawing; the tint is the place of
    /// the class in [`CLASSES`].
    pub scene: Scene,
    /// How it is looked at first.
    pub first: Eye,
    /// What the Piece screen shows of it.
    pub still: Arc<Still>,
    /// The groups that the file names.
    pub groups: Vec<String>,
}

/// Where most of a print is seen from, at rest unless another place shows far
/// more: a flat one is not looked at along its edge.
pub(super) fn most_of(scene: &Scene) -> Eye {
    let (columns, lines) = STILLS[STILLS.len() - 1];
    // In mm2, whatever the size of the picture.
    let seen = |eye: &Eye| {
        let picture = draw(scene, eye, columns * CELL.0, lines * CELL.1);
        picture.covered() as f32 / picture.view.scale.powi(2)
    };
    let others = [(90.0, 0.0), (0.0, 45.0), (90.0, 45.0)];
    let mut best = (1.5 * seen(&Eye::REST), Eye::REST);
    for eye in others.map(|(right, down)| Eye::REST.turned(right, down)) {
        let seen = seen(&eye);
        if seen > best.0 {
            best = (seen, eye);
        }
    }
    best.1
}

/// What the Piece screen shows of a print: little, so that it is kept of many.
#[derive(Debug, PartialEq)]
pub struct Still {
    /// What it was read from.
    pub source: Source,
    /// The area of each of [`CLASSES`], in mm².
    pub areas_mm2: [f64; 4],
    /// What is at its first places with a name.
    pub places: Vec<String>,
    /// How many more there are.
    pub more_places: usize,
    /// It as it is looked at first, the largest picture first: those of
    /// `STILLS`.
    pub pictures: Vec<Picture>,
}

/// The columns and lines of the still pictures.
const STILLS: [(usize, usize); 3] = [(52, 26), (36, 18), (24, 12)];

/// The dots of a cell of which prints are drawn: beside and above one another.
pub const CELL: (usize, usize) = (2, 4);

/// So many places with a name are told on the Piece screen.
const TOLD_PLACES: usize = 3;

/// Every class, as they are listed.
pub const CLASSES: [Class; 4] = [Class::Wetted, Class::Masked, Class::Dry, Class::Hidden];

/// The word of a class.
pub fn class_word(class: Class) -> &'static str {
    match class {
        Class::Wetted => "wetted",
        Class::Hidden => "hidden",
        Class::Dry => "dry",
        Class::Masked => "masked",
    }
}

fn tint(class: Class) -> u8 {
    let at = CLASSES.iter().position(|other| *other == class);
    at.unwrap_or(0) as u8
}

impl Print {
    /// A print ready to be drawn. Takes a while for a large one.
    pub fn of(source: Source, survey: Survey) -> Self {
        let facets = survey.facets.iter();
        let mut areas_mm2 = [0.0; 4];
        for facet in facets.clone() {
            areas_mm2[usize::from(tint(facet.class))] += facet.area_mm2();
        }
        let scene = Scene::of(facets.map(|facet| (facet.corners, tint(facet.class))));
        let places = places(&survey, Flaw::matters_in_the_bath);
        let mut places = places.into_iter().map(|place| place.all());
        let told = places.by_ref().take(TOLD_PLACES).collect();
        let first = most_of(&scene);
        let still = |(columns, lines)| draw(&scene, &first, columns * CELL.0, lines * CELL.1);
        let still = Still {
            source: source.clone(),
            areas_mm2,
            places: told,
            more_places: places.count(),
            pictures: STILLS.map(still).into(),
        };
        Self {
            source,
            scene,
            first,
            still: Arc::new(still),
            groups: Vec::new(),
            survey,
        }
    }

    /// The same print, of a file that names these groups.
    #[must_use]
    pub fn with_groups(self, groups: Vec<String>) -> Self {
        Self { groups, ..self }
    }
}

/// What the screen knows of one piece's print.
#[derive(Debug, Default)]
pub struct Known {
    /// The print as last read, until others were read in its place.
    pub print: Option<Arc<Print>>,
    /// What the Piece screen shows of it.
    pub still: Option<Arc<Still>>,
    /// While it is read: which step, and which share of all is done.
    pub reading: Option<(&'static str, f64)>,
    /// Why it could not be read.
    pub fault: Option<String>,
    /// Whether its file is another since it was read.
    pub changed: bool,
    /// Whether what is read are other masks, which are then written down.
    pub masking: bool,
    /// Whether the reading was given up: then it is not begun unasked.
    pub given_up: bool,
}

/// The prints that the screen knows.
#[derive(Debug, Default)]
pub struct Prints {
    known: BTreeMap<String, Known>,
    /// How the last one was looked at.
    last: Option<Box<Showing>>,
    /// Whether the terminal draws pictures.
    pub pictures: bool,
    /// How prints are drawn where nothing else is chosen.
    pub usual: Option<Dots>,
    /// Whether the Piece screen has room for a picture.
    pub roomy: bool,
}

/// The step at which masks can no longer be given up.
const WRITING: &str = "writing it down";

/// So many prints are kept; a large one takes some hundred megabytes.
const KEPT: usize = 3;

impl Prints {
    /// What is known of a piece's print.
    pub fn of(&self, piece: &str) -> Option<&Known> {
        self.known.get(piece)
    }

    /// Only one print is read at a time.
    fn begin(&mut self, piece: &str, step: &'static str, masking: bool) {
        for known in self.known.values_mut() {
            known.reading = None;
            known.masking = false;
        }
        let known = self.known.entry(piece.to_owned()).or_default();
        known.reading = Some((step, 0.0));
        known.masking = masking;
        known.given_up = false;
        known.fault = None;
    }

    /// It is surveyed with other masks.
    pub(super) fn begin_masking(&mut self, piece: &str) {
        self.begin(piece, "opening the file", true);
    }

    /// It was surveyed with other masks, and is written down if that did;
    /// whether anybody still wants it.
    pub(super) fn masks_surveyed(&mut self, piece: &str, is_done: bool) -> bool {
        let known = self.known.get_mut(piece);
        let Some(known) = known.filter(|known| known.masking && known.reading.is_some()) else {
            return false;
        };
        known.reading = is_done.then_some((WRITING, 1.0));
        known.masking = is_done;
        true
    }

    /// Its masks are written down, or were not to be.
    pub(super) fn masks_written(&mut self, piece: &str) {
        if let Some(known) = self.known.get_mut(piece).filter(|known| known.masking) {
            known.reading = None;
            known.masking = false;
        }
    }

    /// The work on a print is so far.
    pub(super) fn at(&mut self, piece: &str, step: &'static str, done: f64) {
        if let Some(reading) = self.known.get_mut(piece).map(|k| &mut k.reading)
            && reading.is_some()
        {
            *reading = Some((step, done));
        }
    }

    /// A print was read, or why not.
    pub(super) fn read(&mut self, piece: &str, result: Result<Arc<Print>, String>) {
        let known = self.known.entry(piece.to_owned()).or_default();
        known.reading = None;
        known.masking = false;
        match result {
            Ok(print) => {
                *known = Known {
                    still: Some(print.still.clone()),
                    print: Some(print),
                    ..Known::default()
                }
            }
            Err(fault) => known.fault = Some(fault),
        }
        let kept = self.known.values().filter(|known| known.print.is_some());
        if kept.count() > KEPT {
            let mut others = self.known.iter_mut().filter(|(name, _)| *name != piece);
            let other = others.find_map(|(_, known)| known.print.take());
            drop(other);
        }
    }

    /// The file of a print was touched.
    pub(super) fn changed(&mut self, piece: &str) {
        if let Some(known) = self.known.get_mut(piece) {
            known.changed = true;
        }
    }

    /// What dots a still picture is drawn with.
    pub fn still_dots(&self) -> Dots {
        match self.usual {
            Some(Dots::Braille) => Dots::Braille,
            _ => Dots::Blocks,
        }
    }

    /// What dots a print is drawn with.
    pub fn dots(&self, showing: &Showing) -> Dots {
        let best = if self.pictures {
            Dots::Picture
        } else {
            Dots::Blocks
        };
        let wanted = showing.dots.or(self.usual).unwrap_or(best);
        match wanted {
            Dots::Picture if !self.pictures => Dots::Blocks,
            wanted => wanted,
        }
    }
}

/// What a print is drawn with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dots {
    /// Half blocks: two dots a cell.
    Blocks,
    /// Braille: eight dots a cell.
    Braille,
    /// The terminal's own pictures.
    Picture,
}

/// How the print of a piece is looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct Showing {
    /// Which piece.
    pub piece: String,
    /// How it is turned, zoomed and cut.
    pub eye: Eye,
    /// The marked place.
    pub marker: Option<Marker>,
    /// Whether the arrows move the marker rather than turn the print.
    pub marking: bool,
    /// What it is drawn with, if that was chosen.
    pub dots: Option<Dots>,
    /// The place that was jumped to last, in the order of [`Print::places`].
    place: Option<usize>,
}

/// A marked place of the surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Marker {
    /// Which facet of the survey.
    pub facet: usize,
    /// Where, in mm, in the file's axes.
    pub at_mm: Corner,
}

impl Showing {
    /// Without a marker.
    pub fn of(piece: &str, eye: Eye) -> Self {
        Self {
            piece: piece.to_owned(),
            eye,
            marker: None,
            marking: false,
            dots: None,
            place: None,
        }
    }

    /// The same without a marker.
    pub fn unmarked(&self) -> Self {
        Self {
            marker: None,
            ..self.clone()
        }
    }

    /// Whether the sides that face the eye are left out.
    pub fn is_open(&self) -> bool {
        self.eye.open != 0
    }

    pub(super) fn mark(&mut self, scene: &Scene, hit: Option<Hit>) -> bool {
        if let Some(hit) = hit {
            self.marker = Some(Marker {
                facet: hit.face as usize,
                at_mm: scene.in_print(hit.at),
            });
        }
        hit.is_some()
    }

    /// Where the marker is from the middle of the print's box.
    fn marked(&self, scene: &Scene) -> Option<Point> {
        self.marker.map(|marker| scene.from_middle(marker.at_mm))
    }

    /// While it is drawn larger than whole, the marker is in the middle.
    pub(super) fn centre(&mut self, scene: &Scene) {
        let marked = self.marked(scene).filter(|_| self.eye.zoom > 1.0);
        self.eye.centre = marked.unwrap_or_default();
    }

    /// Whether the marker is seen, not behind something.
    pub fn sees_marker(&self, scene: &Scene) -> bool {
        let hit = self.marked(scene).and_then(|at| pick(scene, &self.eye, at));
        let is_same = |at: Point, hit: Hit| {
            let apart = at.iter().zip(hit.at).map(|(a, b)| (a - b).abs());
            apart.fold(0.0, f32::max) < 1e-3 * scene.half().into_iter().fold(1.0, f32::max)
        };
        let marked = self.marked(scene).zip(hit);
        marked.is_some_and(|(at, hit)| is_same(at, hit))
    }
}

/// A place with a name: a hollow, a flaw, an island.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// What is there.
    pub say: String,
    /// Of how many such places it is the one that is told.
    pub count: usize,
    /// What it means for the plating; nothing where that is plain.
    pub means: &'static str,
    /// Where, in mm.
    pub at_mm: Corner,
}

impl Place {
    /// `a thin wall, one of 12`.
    fn one(&self) -> String {
        match self.count {
            0 | 1 => self.say.clone(),
            count => format!("{}, one of {count}", self.say),
        }
    }

    /// `a thin wall (12 times)`.
    fn all(&self) -> String {
        match self.count {
            0 | 1 => self.say.clone(),
            count => format!("{} ({count} times)", self.say),
        }
    }
}

impl Print {
    /// The places with a name, as they are jumped to.
    pub fn places(&self) -> Vec<Place> {
        places(&self.survey, |_| true)
    }

    /// The facet at a marker.
    pub fn facet(&self, marker: &Marker) -> Option<&Facet> {
        self.survey.facets.get(marker.facet)
    }

    /// What is at a marker: `triangle 12: wetted, 3.1 mm2, faces up and left,
    /// at x 12.3, y -4.0, z 88.1 mm`, then the nearest place with a name. What
    /// is masked names the mask, of these.
    pub fn told_at(&self, marker: &Marker, masks: &[project::Mask]) -> Vec<String> {
        let Some(facet) = self.facet(marker) else {
            return Vec::new();
        };
        let [x, y, z] = marker.at_mm.map(|mm| format!("{mm:.1}"));
        let by = self.mask_at(marker).map(|by| {
            let named = masks
                .iter()
                .find(|mask| mask.shape.parse().as_ref() == Ok(by));
            named.map_or_else(|| by.words(), |mask| mask.name.clone())
        });
        let by = by.map_or_else(String::new, |by| format!(" by {by}"));
        let told = format!(
            "triangle {}: {}{by}, {} mm2, faces {}; x {x}  y {y}  z {z} mm",
            facet.triangle + 1,
            class_word(facet.class),
            number(facet.area_mm2(), 3),
            facing(facet),
        );
        std::iter::once(told).chain(self.near(marker)).collect()
    }

    /// The nearest place with a name, within a quarter of the print.
    fn near(&self, marker: &Marker) -> Option<String> {
        let places = self.places().into_iter();
        let apart = places.map(|place| (distance(place.at_mm, marker.at_mm), place));
        let (apart, place) = apart.min_by(|a, b| a.0.total_cmp(&b.0))?;
        let near = apart < self.survey.diagonal_mm() / 4.0;
        let means = match place.means {
            "" => String::new(),
            means => format!(": {means}"),
        };
        near.then(|| {
            let apart = number(apart, 2);
            format!("{apart} mm from here: {}{means}", place.one())
        })
    }

    /// The marker at the place of one on the print as it was: the facet there,
    /// none where the surface is elsewhere now.
    fn marker_at(&self, old: Marker) -> Option<Marker> {
        let away = self
            .survey
            .facets
            .iter()
            .map(|facet| facet.away_mm(old.at_mm));
        let (facet, away) = away.enumerate().min_by(|(_, a), (_, b)| a.total_cmp(b))?;
        let is_there = away < 1e-3 * self.survey.diagonal_mm().max(1.0);
        is_there.then_some(Marker { facet, ..old })
    }

    /// The mask that covers a marker, of those the print was read with.
    pub fn mask_at(&self, marker: &Marker) -> Option<&Mask> {
        let mut masks = self.survey.masks.iter();
        masks
            .find(|taken| taken.has(marker.facet))
            .map(|taken| &taken.mask)
    }

    /// The facet nearest to a place: the middle of it.
    fn nearest(&self, at_mm: Corner) -> Option<Marker> {
        let middles = self.survey.facets.iter().map(middle).enumerate();
        let (facet, at_mm) =
            middles.min_by(|(_, a), (_, b)| distance(*a, at_mm).total_cmp(&distance(*b, at_mm)))?;
        Some(Marker { facet, at_mm })
    }
}

fn places(survey: &Survey, is_told: impl Fn(Flaw) -> bool) -> Vec<Place> {
    let hollows = survey.cavities.iter().map(|cavity| Place {
        say: hollow(cavity),
        count: 1,
        means: cavity.flaw().means(),
        at_mm: cavity.at_mm,
    });
    let islands = survey.islands.iter().enumerate().skip(1);
    let islands = islands.map(|(n, island)| Place {
        say: format!("loose part {} of {}", n + 1, survey.islands.len()),
        count: 1,
        means: "what touches no other part needs a contact of its own, or stays bare",
        at_mm: island.at_mm,
    });
    let of_hollows = [Flaw::SealedCavity, Flaw::PinholeCavity, Flaw::DrainedCavity];
    let told = |what: Flaw| !of_hollows.contains(&what);
    let flaws = survey.defects.iter();
    let flaws = flaws.filter(|flaw| told(flaw.what) && is_told(flaw.what));
    let flaws = flaws.map(|flaw| Place {
        say: flaw_words(flaw.what).to_owned(),
        count: flaw.count,
        means: flaw.what.means(),
        at_mm: flaw.at_mm,
    });
    hollows.chain(islands).chain(flaws).collect()
}

fn middle(facet: &Facet) -> Corner {
    let [a, b, c] = facet.corners;
    [0, 1, 2].map(|axis| (a[axis] + b[axis] + c[axis]) / 3.0)
}

fn distance(a: Corner, b: Corner) -> f64 {
    let squares = [0, 1, 2].map(|axis| (a[axis] - b[axis]).powi(2));
    squares.iter().sum::<f64>().sqrt()
}

/// Upright on a facet, of any length.
pub(super) fn upright(facet: &Facet) -> Corner {
    let [a, b, c] = facet.corners;
    let side = |to: Corner| [0, 1, 2].map(|axis| to[axis] - a[axis]);
    let ([ux, uy, uz], [vx, vy, vz]) = (side(b), side(c));
    [uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx]
}

/// Where a facet faces, in words: `up and left`.
fn facing(facet: &Facet) -> String {
    let upright = upright(facet);
    let length = distance(upright, [0.0; 3]);
    let words = [("right", "left"), ("back", "front"), ("up", "down")];
    // The least share that is told: less than 22.5 degrees off the others.
    let told = |axis: &usize| upright[*axis].abs() > 0.38 * length;
    let mut axes: Vec<usize> = [2, 1, 0].into_iter().filter(told).collect();
    axes.sort_by(|a, b| upright[*b].abs().total_cmp(&upright[*a].abs()));
    let words: Vec<&str> = axes
        .into_iter()
        .map(|axis| {
            if upright[axis] > 0.0 {
                words[axis].0
            } else {
                words[axis].1
            }
        })
        .collect();
    if words.is_empty() {
        "nowhere".to_owned()
    } else {
        words.join(" and ")
    }
}

fn hollow(cavity: &Cavity) -> String {
    let volume = number(cavity.volume_mm3 / 1000.0, 2);
    match (cavity.sealed, cavity.opening_mm) {
        (true, None) => format!("a hollow of {volume} cm3 without a way in"),
        (true, Some(opening)) => {
            let opening = number(opening, 2);
            format!("a hollow of {volume} cm3, taken as shut: its hole is {opening} mm wide")
        }
        (false, opening) => {
            let opening = opening.map_or_else(String::new, |mm| format!(", {} mm", number(mm, 2)));
            format!("the opening{opening} of a hollow of {volume} cm3")
        }
    }
}

fn flaw_words(what: Flaw) -> &'static str {
    match what {
        Flaw::OverlappingShells => "shells that run through each other",
        Flaw::FlippedNormals => "triangles turned inside out",
        Flaw::DuplicateFaces => "triangles that are there twice",
        Flaw::InternalFaces => "triangles inside the solid",
        Flaw::NonManifoldEdges => "a side where more than two triangles meet",
        Flaw::OpenMesh => "a hole",
        Flaw::TJunction => "a corner in the middle of another's side",
        Flaw::DegenerateTriangles => "a triangle without area",
        Flaw::SelfIntersection => "a shell that runs through itself",
        Flaw::SealedCavity => "a hollow without a way in",
        Flaw::PinholeCavity => "a hollow behind a hole that no bubble passes",
        Flaw::DrainedCavity => "a hollow with an opening",
        Flaw::UnitSuspect => "a size that no print has",
        Flaw::FarOff => "triangles far away from the rest",
        Flaw::ThinWall => "a thin wall",
    }
}

impl Model {
    /// Whether what is shown of a print is of another file, unit or mask than
    /// there is now.
    pub fn is_stale(&self, piece: &str) -> bool {
        let Some(known) = self.prints.of(piece) else {
            return false;
        };
        let source = Source::of(&self.project.definition, piece);
        let is_other = |still: &Arc<Still>| Some(&still.source) != source.as_ref();
        known.changed || known.still.as_ref().is_some_and(is_other)
    }

    /// Has the print of the piece read that the Piece screen shows, where it has
    /// room for a picture and nothing is being masked.
    pub(super) fn read_for_still(&mut self) -> Vec<Effect> {
        let is_shown = self.screen == Screen::Piece && self.layers.is_empty();
        let piece = self.selected_piece().map(str::to_owned);
        let Some(piece) = piece.filter(|_| is_shown && self.prints.roomy) else {
            return Vec::new();
        };
        let is_busy = self.prints.known.values().any(|known| known.masking);
        let is_known = self.prints.of(&piece).is_some_and(|known| {
            known.still.is_some()
                || known.reading.is_some()
                || known.fault.is_some()
                || known.given_up
        });
        if is_busy || is_known {
            return Vec::new();
        }
        self.read_print(&piece)
    }

    /// Opens the print of the selected piece, as it was last looked at.
    pub(super) fn open_print(&mut self) -> Vec<Effect> {
        let Some(piece) = self.selected_piece().map(str::to_owned) else {
            return Vec::new();
        };
        let last = self.prints.last.take().filter(|last| last.piece == piece);
        let known = self.prints.of(&piece);
        let first = known.and_then(|known| known.print.as_ref());
        let first = first.map_or(Eye::REST, |print| print.first);
        let showing = last.unwrap_or_else(|| Box::new(Showing::of(&piece, first)));
        self.layers.push(Layer::Print(showing));
        if known.is_some_and(|k| k.print.is_some() || k.reading.is_some()) {
            return Vec::new();
        }
        self.read_print(&piece)
    }

    /// Asks for a print to be read, if the piece has one.
    fn read_print(&mut self, piece: &str) -> Vec<Effect> {
        let Some(source) = Source::of(&self.project.definition, piece) else {
            return Vec::new();
        };
        self.prints.begin(piece, "opening the file", false);
        let piece = piece.to_owned();
        vec![Effect::ReadPrint { piece, source }]
    }

    /// A print was read, or why not. A marker stays at its place, whatever the
    /// facet there is now.
    pub(super) fn print_read(&mut self, piece: &str, result: Result<Arc<Print>, String>) {
        if let Ok(print) = &result {
            let open = self.layers.iter_mut().filter_map(|layer| match layer {
                Layer::Print(showing) => Some(showing),
                _ => None,
            });
            let all = open.chain(&mut self.prints.last);
            for showing in all.filter(|showing| showing.piece == piece) {
                showing.marker = showing.marker.and_then(|marker| print.marker_at(marker));
                if showing.eye == Eye::REST {
                    showing.eye = print.first;
                }
            }
        }
        self.prints.read(piece, result);
    }

    fn close_print(&mut self, showing: Box<Showing>) -> Vec<Effect> {
        let known = self.prints.known.get_mut(&showing.piece);
        let masking = known.as_ref().is_some_and(|known| known.masking);
        let reading = known.and_then(|known| {
            known.given_up = known.still.is_none();
            known.reading.take()
        });
        if masking && reading.is_some_and(|(step, _)| step != WRITING) {
            self.say("given up; its masks are as before");
        }
        self.prints.last = Some(showing);
        reading.map(|_| Effect::StopReading).into_iter().collect()
    }
}

/// How far one key turns, in degrees.
const TURN: f32 = 15.0;

/// How much one key enlarges.
pub(super) const ENLARGE: f32 = 1.25;

/// The most that a print is enlarged.
const LARGEST: f32 = 60.0;

/// A step of the marker, as a share of what is seen from the middle to an edge.
const STEP: f32 = 0.05;

/// So many steps over empty space lead to the next surface.
const LEAP: u8 = 8;

/// A step of the cut, as a share of the print's depth.
const SLICE: f32 = 0.05;

/// A key while a print is shown: the digits lie as the keypad has them, and its
/// arrows, End and page keys mean the same.
pub(super) fn key(model: &mut Model, mut showing: Box<Showing>, key: Key) -> Vec<Effect> {
    use KeyCode::{
        BackTab, Char, Down, End, Enter, Esc, Home, Left, PageDown, PageUp, Right, Tab, Up,
    };
    let print = model
        .prints
        .of(&showing.piece)
        .and_then(|known| known.print.clone());
    model.said = super::Said::default();
    match (key.code, print) {
        (Esc, _) | (Char('-'), None) => return model.close_print(showing),
        (Char('-'), _) if showing.eye.zoom <= 1.0 => return model.close_print(showing),
        (Char('/' | '?'), _) => {
            model.layers.push(Layer::Print(showing));
            model.layers.push(Layer::Help(0));
            return Vec::new();
        }
        (Enter, _) if wants_reading(model, &showing.piece) => {
            let effects = model.read_print(&showing.piece);
            model.layers.push(Layer::Print(showing));
            return effects;
        }
        (Enter, _) => {
            let masking = super::masking::open(model, &showing);
            model.layers.push(Layer::Print(showing));
            let masking = masking.map(|masking| Layer::Masking(Box::new(masking)));
            model.layers.extend(masking);
            return Vec::new();
        }
        (Left | Char('4'), print) => go(
            model,
            &mut showing,
            print.as_deref().map(|print| &print.scene),
            [-1.0, 0.0],
        ),
        (Right | Char('6'), print) => go(
            model,
            &mut showing,
            print.as_deref().map(|print| &print.scene),
            [1.0, 0.0],
        ),
        (Up | Char('8'), print) => go(
            model,
            &mut showing,
            print.as_deref().map(|print| &print.scene),
            [0.0, 1.0],
        ),
        (Down | Char('2'), print) => go(
            model,
            &mut showing,
            print.as_deref().map(|print| &print.scene),
            [0.0, -1.0],
        ),
        (Char('+'), Some(print)) => enlarge(&mut showing, &print.scene, ENLARGE),
        (Char('-'), Some(print)) => enlarge(&mut showing, &print.scene, 1.0 / ENLARGE),
        (Char('5') | Home, Some(print)) => {
            showing.eye = print.first;
            showing.centre(&print.scene);
        }
        (Char('*' | 'm') | Tab | BackTab, Some(print)) => {
            showing.marking = !showing.marking;
            if showing.marking && showing.marker.is_none() {
                let first = in_the_middle(&print.scene, &showing.eye);
                showing.mark(&print.scene, first);
            }
        }
        (Char('3' | ']') | PageDown, Some(print)) => cut(model, &mut showing, &print.scene, -1.0),
        (Char('1' | '[') | End, Some(print)) => cut(model, &mut showing, &print.scene, 1.0),
        (Char('7' | 'i'), Some(_)) => open(model, &mut showing),
        (Char('9' | 'b') | PageUp, Some(_)) => next_dots(model, &mut showing),
        (Char('0' | 'n'), Some(print)) => jump(model, &mut showing, &print),
        _ => {}
    }
    model.layers.push(Layer::Print(showing));
    Vec::new()
}

fn wants_reading(model: &Model, piece: &str) -> bool {
    let known = model.prints.of(piece);
    let has_print = Source::of(&model.project.definition, piece).is_some();
    let failed = has_print && known.is_none_or(|k| k.fault.is_some());
    let reads = known.is_some_and(|k| k.reading.is_some());
    !reads && (failed || model.is_stale(piece))
}

/// Turns the print, also while it is read, or moves the marker over it.
pub(super) fn go(
    model: &mut Model,
    showing: &mut Showing,
    scene: Option<&Scene>,
    [right, up]: [f32; 2],
) {
    let Some(scene) = scene.filter(|_| showing.marking) else {
        showing.eye = showing.eye.turned(TURN * right, -TURN * up);
        return;
    };
    let eye = &showing.eye;
    let [to_right, to_up, _] = eye.directions();
    let [aside, high] = eye.reach(scene);
    let step = STEP * aside.min(high) / eye.zoom;
    let from = showing.marked(scene).unwrap_or(eye.centre);
    let mut steps = (1..=LEAP).map(|n| {
        let far = step * f32::from(n);
        [0, 1, 2].map(|axis| from[axis] + far * (right * to_right[axis] + up * to_up[axis]))
    });
    let next = steps.find_map(|point| pick(scene, eye, point));
    if showing.mark(scene, next) {
        showing.centre(scene);
    } else {
        model.say("that is its edge as it is turned now");
    }
}

/// The place nearest to the middle of the picture.
pub(super) fn in_the_middle(scene: &Scene, eye: &Eye) -> Option<Hit> {
    pick(scene, eye, eye.centre).or_else(|| beside_the_middle(scene, eye))
}

fn beside_the_middle(scene: &Scene, eye: &Eye) -> Option<Hit> {
    let [right, up, _] = eye.directions();
    let off = |middle: Point| {
        let aside = |direction: Point| {
            let from = [0, 1, 2].map(|axis| (middle[axis] - eye.centre[axis]) * direction[axis]);
            from.iter().sum::<f32>()
        };
        aside(right).hypot(aside(up))
    };
    let middles = scene.faces().iter().map(|face| {
        let [a, b, c] = face.corners;
        [0, 1, 2].map(|axis| (a[axis] + b[axis] + c[axis]) / 3.0)
    });
    let nearest = middles.min_by(|a, b| off(*a).total_cmp(&off(*b)))?;
    pick(scene, eye, nearest)
}

pub(super) fn enlarge(showing: &mut Showing, scene: &Scene, times: f32) {
    let zoom = showing.eye.zoom * times;
    // Back at its whole size there is no rest left of the steps.
    showing.eye.zoom = if zoom < 1.05 { 1.0 } else { zoom.min(LARGEST) };
    showing.centre(scene);
}

/// Moves the cut away from the eye or towards it; the first goes through the
/// marker, or through the middle.
pub(super) fn cut(model: &mut Model, showing: &mut Showing, scene: &Scene, towards: f32) {
    let [_, _, near] = showing.eye.directions();
    let half = scene.half();
    let deep: f32 = half
        .iter()
        .zip(near)
        .map(|(half, near)| half * near.abs())
        .sum();
    let marked = showing.marked(scene);
    let marked = marked.map(|at| at.iter().zip(near).map(|(at, near)| at * near).sum());
    let next = match showing.eye.cut {
        Some(cut) => cut + towards * 2.0 * SLICE * deep,
        None if towards < 0.0 => marked.unwrap_or(0.0),
        None => return model.say("it is not cut open; 3 cuts it"),
    };
    showing.eye.cut = (next < deep).then_some(next.max(-deep));
}

/// Leaves out what faces the eye, except what the bath does not reach.
fn open(model: &mut Model, showing: &mut Showing) {
    open_sides(
        model,
        showing,
        1 << tint(Class::Wetted) | 1 << tint(Class::Masked),
    );
}

/// The same of these tints.
pub(super) fn open_sides(model: &mut Model, showing: &mut Showing, outside: u32) {
    showing.eye.open = if showing.is_open() { 0 } else { outside };
    if showing.is_open() {
        model.say("near side left out: the inside is seen");
    }
}

pub(super) fn next_dots(model: &mut Model, showing: &mut Showing) {
    let next = match model.prints.dots(showing) {
        Dots::Blocks => Dots::Braille,
        Dots::Braille if model.prints.pictures => Dots::Picture,
        Dots::Braille | Dots::Picture => Dots::Blocks,
    };
    showing.dots = Some(next);
}

/// Marks the next place with a name and turns the print so that it is seen.
fn jump(model: &mut Model, showing: &mut Showing, print: &Print) {
    let places = print.places();
    if places.is_empty() {
        return model.say("nothing is known to be wrong with it: no hollow, no flaw");
    }
    let next = showing.place.map_or(0, |at| at + 1) % places.len();
    let place = &places[next];
    showing.place = Some(next);
    let Some(marker) = print.nearest(place.at_mm) else {
        return;
    };
    showing.marker = Some(marker);
    if let Some([x, y, z]) = print.facet(&marker).map(upright) {
        let level = x.hypot(y);
        showing.eye.yaw = (-x).atan2(-y).to_degrees() as f32;
        showing.eye.tilt = z.atan2(level).to_degrees() as f32;
    }
    showing.eye.cut = None;
    showing.eye.open = 0;
    if !showing.sees_marker(&print.scene) {
        open(model, showing);
    }
    showing.centre(&print.scene);
    model.say(format!("{} of {}: {}", next + 1, places.len(), place.one()));
}
