//! What the screen shows: the project, the selection, and what lies on top.

use std::collections::{BTreeSet, VecDeque};

use super::bell::Bell;
use super::{Facts, Keymap, Layer, Place, Prints, Spreads, Step, Typing};
use crate::project::{
    Action, BathWork, Due, NextStep, PieceFigures, PieceState, Project, Setting, Stage, WeighedAs,
    What,
};
use crate::report::safe::fitted;
use crate::units::{A, G, Instant, ML, V, clock_span};

/// The screens, in the order Tab walks them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Screen {
    /// The bench from left to right.
    Line,
    /// One piece.
    Piece,
    /// Where the metal goes in a tank.
    Spread,
    /// The ageing holds side by side.
    Holds,
    /// The end of the evening.
    CloseOut,
}

impl Screen {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Line,
        Self::Piece,
        Self::Spread,
        Self::Holds,
        Self::CloseOut,
    ];

    /// Its name.
    pub fn title(self) -> &'static str {
        match self {
            Self::Line => "Line",
            Self::Piece => "Piece",
            Self::Spread => "Spread",
            Self::Holds => "Holds",
            Self::CloseOut => "Close-out",
        }
    }
}

/// What is selected on the bench.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Spot {
    /// A piece.
    Piece(String),
    /// A tank.
    Tank(String),
}

impl Spot {
    /// Its name.
    pub fn name(&self) -> &str {
        match self {
            Self::Piece(name) | Self::Tank(name) => name,
        }
    }
}

/// What was last said on the line above the hints.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Said {
    /// The words.
    pub text: String,
    /// Whether something went wrong.
    pub alarm: bool,
    /// Whether it is gone when the project could be read or written again.
    pub mendable: bool,
}

/// The whole model. Nothing in it draws, reads a clock or touches a file.
#[derive(Debug)]
pub struct Model {
    /// The project as last told.
    pub project: Project,
    /// Who is at the tank, once known.
    pub who: Option<String>,
    /// The login name of the computer, offered when a name is asked.
    pub login: Option<String>,
    /// The project's folder, as it is written in commands.
    pub folder: String,
    /// The present, as last told.
    pub now: Instant,
    /// The figures of the present.
    pub facts: Facts,
    /// Which screen.
    pub screen: Screen,
    /// What is selected on the bench.
    pub spot: Option<Spot>,
    /// Which line of the due list is selected.
    pub due_row: usize,
    /// Which row of the close-out is selected; the last one signs.
    pub item_row: usize,
    /// How far the Piece screen is scrolled.
    pub scroll: usize,
    /// Pieces marked to be refreshed together.
    pub marked: BTreeSet<String>,
    /// What lies on top of the screen, uppermost last.
    pub layers: Vec<Layer>,
    /// What the guide asks next.
    pub guide: VecDeque<Step>,
    /// The action that waits for its answer.
    pub pending: Option<Action>,
    /// What was last said.
    pub said: Said,
    /// The pencil sheet that is half typed in, while it is left.
    pub typing: Option<Box<Typing>>,
    /// When the last pencil sheet was written from this screen.
    pub printed: Option<Instant>,
    /// The keys of every command.
    pub keys: Keymap,
    /// Why the user's own keys are not taken; said until they are mended.
    pub keys_fault: Option<String>,
    /// Where the user's own keys are kept.
    pub keys_place: Option<String>,
    /// What was told of what is due and what was silenced, the latest first, in
    /// words.
    pub told: Vec<String>,
    /// Why the user's settings are not taken; said to the end.
    pub settings_fault: Option<String>,
    /// Why nothing is written down any more; said to the end.
    pub stopped: Option<String>,
    /// The prints that were read.
    pub prints: Prints,
    /// Where the metal goes, as far as it was computed.
    pub spreads: Spreads,
    pub(super) bell: Bell,
    /// The number of the last [`super::Effect::Adding`].
    pub(super) adding_tickets: u32,
}

impl Model {
    /// A model at `now`. After an evening that was signed, it opens with what
    /// the signed sheet says of the next day.
    pub fn new(project: Project, who: Option<String>, now: Instant) -> Self {
        let facts = Facts::of(&project, now);
        let mut model = Self {
            project,
            who,
            login: None,
            folder: "DIR".to_owned(),
            now,
            facts,
            screen: Screen::Line,
            spot: None,
            due_row: 0,
            item_row: 0,
            scroll: 0,
            marked: BTreeSet::new(),
            layers: Vec::new(),
            guide: VecDeque::new(),
            pending: None,
            said: Said::default(),
            typing: None,
            printed: None,
            keys: Keymap::default(),
            keys_fault: None,
            keys_place: None,
            told: Vec::new(),
            settings_fault: None,
            stopped: None,
            prints: Prints::default(),
            spreads: Spreads::default(),
            bell: Bell::default(),
            adding_tickets: 0,
        };
        model.spot = model
            .due_spot()
            .or_else(|| model.spots().into_iter().next());
        if let Some(what) = model.project.undo_target().map(|e| &e.what)
            && matches!(what, What::CloseoutSign { .. })
        {
            model.layers.push(Layer::Morning);
        }
        model
    }

    /// The same, which offers this login name when a name is asked.
    #[must_use]
    pub fn with_login(mut self, login: Option<String>) -> Self {
        self.login = login;
        self
    }

    /// The same with the user's own keys, or why they are not taken, and where
    /// they are kept.
    #[must_use]
    pub fn with_keys(mut self, keys: Result<Keymap, String>, place: Option<String>) -> Self {
        self.keys_place = place;
        match keys {
            Ok(keys) => self.keys = keys,
            Err(fault) => self.keys_fault = Some(fault),
        }
        self
    }

    /// The same, of a project in this folder.
    #[must_use]
    pub fn in_folder(mut self, folder: &str) -> Self {
        folder.clone_into(&mut self.folder);
        self
    }

    /// The title of the terminal: what is due, of which project.
    pub fn title(&self) -> String {
        let name = fitted(&self.project.definition.name, 40);
        match self.facts.overdue().count() {
            0 => format!("tankside: {name}"),
            due => format!("({due} due) tankside: {name}"),
        }
    }

    /// Seconds until something shown changes by itself: the next second while
    /// a span under a minute is shown, else the next minute of any span shown
    /// or of the clock.
    pub fn redraw_in(&self, now: Instant) -> Option<f64> {
        let state = self.project.state();
        let pieces = self.facts.pieces.keys().filter_map(|n| state.piece(n));
        let since = pieces.flat_map(|p| [p.lifted_at, p.started_at.filter(|_| p.is_running())]);
        let spans = since
            .flatten()
            .chain(self.facts.due.iter().map(|d| d.at))
            .map(|at| now.since(at));
        let clock = 60.0 - (now.unix_ms().rem_euclid(60_000) as f64 / 1000.0);
        let until = spans.map(next_change).fold(clock, f64::min);
        let bell = self.bell.rings_in(now).unwrap_or(f64::INFINITY);
        Some(until.min(bell).clamp(0.2, 60.0))
    }

    /// What is wrong and must be seen whatever lies on the screen: what stands
    /// until it is mended, the worst first, else what was said last.
    pub fn wrong(&self) -> Option<&str> {
        let said = (self.said.alarm).then_some(&self.said.text);
        let standing = self.keys_fault.as_ref().or(self.settings_fault.as_ref());
        let wrong = self.stopped.as_ref().or(said).or(standing);
        wrong.map(String::as_str)
    }

    /// Whether the bell will ring again by itself.
    pub fn bell_rings(&self) -> bool {
        self.bell.rings_in(self.now).is_some()
    }

    /// The state of a piece.
    pub fn piece(&self, name: &str) -> Option<&PieceState> {
        self.project.state().piece(name)
    }

    /// The figures of a piece.
    pub fn figures(&self, name: &str) -> Option<&PieceFigures> {
        self.facts.pieces.get(name)
    }

    /// The selected piece, if a piece is selected.
    pub fn selected_piece(&self) -> Option<&str> {
        match &self.spot {
            Some(Spot::Piece(name)) => Some(name),
            _ => None,
        }
    }

    /// Every spot along the bench, from left to right: a tank, then what hangs
    /// in it.
    pub fn spots(&self) -> Vec<Spot> {
        let mut spots = Vec::new();
        for station in &self.facts.bench {
            if let Place::Tank(name) = &station.place {
                spots.push(Spot::Tank(name.clone()));
            }
            spots.extend(station.pieces.iter().cloned().map(Spot::Piece));
        }
        spots
    }

    /// The pieces in the order of the bench.
    pub fn pieces_along(&self) -> Vec<&str> {
        let stations = self.facts.bench.iter();
        stations
            .flat_map(|s| s.pieces.iter().map(String::as_str))
            .collect()
    }

    /// The digit that chooses a piece, wherever it is: its place in the order of
    /// `project.ron`. Pieces beyond the ninth have none.
    pub fn digit_of(&self, piece: &str) -> Option<usize> {
        let mut pieces = self.project.definition.pieces.iter();
        let at = pieces.position(|p| p.name == piece)?;
        (at < 9).then_some(at + 1)
    }

    /// The piece that a digit chooses.
    pub fn piece_of_digit(&self, digit: usize) -> Option<String> {
        let pieces = &self.project.definition.pieces;
        let found = digit.checked_sub(1).and_then(|at| pieces.get(at));
        found.map(|p| p.name.clone())
    }

    /// The digit that ticks an item of the close-out: its place among those that
    /// a person ticks. Items beyond the ninth have none.
    pub fn digit_of_item(&self, row: usize) -> Option<usize> {
        let items = &self.facts.closeout.items;
        let item = items.get(row).filter(|i| i.is_ticked_by_hand())?;
        let mut ticked = items.iter().filter(|i| i.is_ticked_by_hand());
        let at = ticked.position(|i| i.id == item.id)?;
        (at < 9).then_some(at + 1)
    }

    /// What the selected due line is about.
    pub fn due_spot(&self) -> Option<Spot> {
        let due = self.facts.due.get(self.due_row)?;
        let piece = due.piece.clone().map(Spot::Piece);
        piece.or_else(|| due.tank.clone().map(Spot::Tank))
    }

    /// How an instant is told beside the present.
    pub fn clock(&self, at: Instant) -> String {
        let zone = self.project.definition.zone;
        zone.local(at).beside(zone.local(self.now))
    }

    /// `in 12 min`, `12 min over`, `now`.
    pub fn distance(&self, at: Instant) -> String {
        let over = self.now.since(at);
        if over.abs() < 1.0 {
            "now".to_owned()
        } else if over < 0.0 {
            format!("in {}", clock_span(over))
        } else {
            format!("{} over", clock_span(over))
        }
    }

    /// Whether a return asks for the acid dip now.
    pub fn wants_dip(&self, piece: &str) -> bool {
        let what = What::Return {
            piece: piece.to_owned(),
            dipped: false,
        };
        let refused = self.project.decide(&Action::now(what, ""), self.now);
        matches!(refused, Err(refusal) if refusal.rule == "dip")
    }

    /// The tanks a piece may be hung in, where there is a choice the likeliest first.
    pub fn tank_choices(&self, piece: &str) -> Vec<String> {
        let Some(state) = self.piece(piece) else {
            return Vec::new();
        };
        if !state.stage.as_ref().is_some_and(Stage::in_bath) {
            return Vec::new();
        }
        let tanks = self.project.definition.tanks.iter();
        let every = || tanks.map(|t| t.name.clone()).collect();
        state.tank.clone().map_or_else(every, |tank| vec![tank])
    }

    /// The stages that a rework can go back to, the nearest first.
    pub fn rework_choices(&self, name: &str) -> Vec<String> {
        let (Some(piece), Some(state)) = (self.project.definition.piece(name), self.piece(name))
        else {
            return Vec::new();
        };
        let route = self.project.definition.route_of(piece);
        let passed = route
            .iter()
            .take_while(|s| Some(*s) != state.stage.as_ref());
        let mut stages: Vec<String> = passed.map(ToString::to_string).collect();
        stages.reverse();
        stages
    }

    /// The conditions a piece may be weighed in, the likeliest first.
    pub fn weigh_choices(&self, name: &str) -> Vec<String> {
        let likely = match self.piece(name).and_then(|p| p.stage.as_ref()) {
            Some(Stage::Coat) => WeighedAs::Coated,
            Some(Stage::Wiring | Stage::Strike | Stage::Build) => WeighedAs::Wired,
            Some(Stage::Polish) => WeighedAs::Polished,
            _ => WeighedAs::Plated,
        };
        let others = WeighedAs::ALL.iter().filter(|c| **c != likely);
        std::iter::once(&likely)
            .chain(others)
            .map(ToString::to_string)
            .collect()
    }

    /// The last mass of a piece in grams.
    pub fn last_mass(&self, name: &str) -> Option<f64> {
        let masses = &self.piece(name)?.masses;
        masses.last().map(|(_, mass, _)| mass.to(G))
    }

    /// Volts of the tank and amps of the piece, as last known.
    pub fn last_reading_of_piece(&self, name: &str) -> (Option<f64>, Option<f64>) {
        let tank = self
            .piece(name)
            .and_then(|p| self.facts.tank(p.tank.as_deref()?));
        let amps = self.figures(name).and_then(|f| f.amps).map(|a| a.to(A));
        (tank.and_then(|t| t.volts).map(|v| v.to(V)), amps)
    }

    /// The last dose of a tank's bath in millilitres.
    pub fn last_dose(&self, name: &str) -> Option<f64> {
        let events = self.project.events().iter().rev();
        events
            .filter(|e| !self.project.is_undone(e.sequence))
            .find_map(|e| match &e.what {
                What::Bath {
                    tank,
                    work: BathWork::Dose(volume),
                } if tank == name => Some(volume.to(ML)),
                _ => None,
            })
    }

    /// What the ladders of the pieces in a tank ask next, and when.
    pub fn next_step_in(&self, tank: &str) -> Option<NextStep> {
        let state = self.project.state();
        let steps = state
            .hanging(tank)
            .filter_map(|(name, _)| state.next_step(&self.project.definition, name));
        steps.min_by_key(|s| s.due)
    }

    /// The setting that a ladder asks of a tank, if it is due.
    pub fn ladder_setting(&self, tank: &str) -> Option<Setting> {
        let next = self.next_step_in(tank).filter(|s| s.due <= self.now);
        next.and_then(|s| s.setting)
    }

    /// Says something on the line above the hints.
    pub fn say(&mut self, text: impl Into<String>) {
        self.said = Said {
            text: text.into(),
            alarm: false,
            mendable: false,
        };
    }

    /// Says that something went wrong.
    pub fn alarm(&mut self, text: impl Into<String>) {
        self.said = Said {
            text: text.into(),
            alarm: true,
            mendable: false,
        };
    }

    /// Says what stood in the way, until the project reads again.
    pub(super) fn trouble(&mut self, text: impl Into<String>) {
        self.alarm(text);
        self.said.mendable = true;
    }

    /// The clock moved: figures of the same second are kept.
    pub(super) fn advance(&mut self, now: Instant) {
        let second = |i: Instant| i.unix_ms().div_euclid(1000);
        let moved = second(now) != second(self.facts.at);
        self.now = now;
        if moved {
            self.refresh();
            self.refresh_layers();
        }
    }

    /// Computes the facts anew and keeps every selection where it was. A due
    /// line that was dealt with leaves the most urgent one selected.
    pub(super) fn refresh(&mut self) {
        let selected = self.facts.due.get(self.due_row).cloned();
        self.facts = Facts::of(&self.project, self.now);
        let mut due = self.facts.due.iter();
        let same = selected.and_then(|old| due.position(|new| is_still_due(&old, new)));
        self.due_row = same.unwrap_or(0);
        let spots = self.spots();
        if self.spot.as_ref().is_none_or(|s| !spots.contains(s)) {
            self.spot = self.due_spot().or_else(|| spots.into_iter().next());
        }
        let known = &self.facts.pieces;
        self.marked.retain(|name| known.contains_key(name));
        self.item_row = self.item_row.min(self.facts.closeout.items.len());
    }
}

/// Whether a due line is the one from before, not its next time round. What is
/// due at a present current moves a little with every second.
fn is_still_due(old: &Due, new: &Due) -> bool {
    let about = |due: &Due| (due.what, due.piece.clone(), due.tank.clone());
    about(old) == about(new) && new.at.since(old.at) < 60.0
}

/// Seconds until a span, told in whole minutes (seconds below one), reads
/// otherwise; `span` is negative while it counts down.
fn next_change(span: f64) -> f64 {
    let shown = span.abs();
    if shown < 61.0 {
        return 1.0;
    }
    let within = shown.rem_euclid(60.0);
    if span < 0.0 {
        within + 0.6
    } else {
        60.0 - within
    }
}
