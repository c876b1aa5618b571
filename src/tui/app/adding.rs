//! Adding a piece with its print: the file, the unit where it says none, the
//! survey, and the question whether the piece is to be added so.

use super::inside::{moved, row_of_digit};
use super::{Effect, Failure, Field, Key, KeyCode, Layer, Model};
use crate::mesh::{LengthUnit, Printed, plausible_print};
use crate::project::Piece;
use crate::report::print::size_in;
use crate::units::{AH, DM2, Instant, Length, number, rounded};

/// A piece that is being added.
#[derive(Debug, Clone, PartialEq)]
pub struct Adding {
    /// The file, the name and how it was printed.
    pub fields: [Field; 3],
    /// The field under the cursor.
    pub at: usize,
    /// How far it is.
    pub step: AddStep,
    /// How far what was found is scrolled.
    pub scroll: usize,
    /// What is wrong.
    pub wrong: Option<String>,
    /// What is asked of the shell bears a number, so that the answer to what
    /// was given up is known for it.
    pub ticket: u32,
    /// Since when the shell works.
    pub since: Instant,
}

/// How far the adding of a piece is.
#[derive(Debug, Clone, PartialEq)]
pub enum AddStep {
    /// The fields are filled in.
    Fields,
    /// The file is read.
    Reading,
    /// The unit of the file is asked.
    Unit {
        /// Each unit, with the size that it makes.
        choices: Vec<(LengthUnit, String)>,
        /// The selected one.
        row: usize,
    },
    /// The print is surveyed.
    Surveying {
        /// What is done, in plain words.
        step: &'static str,
        /// Which share of the whole is done, 0 to 1.
        done: f64,
    },
    /// It was surveyed: Enter adds the piece.
    Found(Box<FoundPrint>),
    /// It is written down.
    Writing(Box<FoundPrint>),
}

/// A print as its survey found it.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundPrint {
    /// The piece that it makes: area, ±, method, size, unit and digest.
    pub piece: Piece,
    /// What whoever plates it has to know.
    pub cautions: Vec<String>,
}

/// What the shell is asked to do for a piece that is added.
#[derive(Debug, Clone, PartialEq)]
pub enum AddWork {
    /// Look for print files near at hand.
    Find,
    /// Read a print file, for its unit and size.
    Look(String),
    /// Survey a print file in this unit, with the project's bubble.
    Survey(String, LengthUnit, Length),
    /// Give up what is worked on.
    Stop,
    /// Copy the file in and write the piece into `project.ron`.
    Add(String, Box<FoundPrint>),
}

/// What the shell tells of it.
#[derive(Debug)]
pub enum AddNews {
    /// The print files near at hand.
    Files(Vec<String>),
    /// The unit that the file names, and its extents in whatever its unit is.
    Looked(Result<(Option<LengthUnit>, [f64; 3]), Failure>),
    /// The survey is at this step, and this share of it is done.
    At(&'static str, f64),
    /// What the survey found.
    Surveyed(Result<Box<FoundPrint>, Failure>),
    /// Whether the piece is written down.
    Added(Result<(), Failure>),
}

/// The choice of no way of printing.
const NOT_SAID: &str = "not said";

impl Adding {
    /// What the fields say.
    fn file(&self) -> String {
        self.fields[0].text.trim().to_owned()
    }

    fn name(&self) -> String {
        self.fields[1].text.trim().to_owned()
    }

    /// Asks the shell for something; whatever was asked before is given up.
    fn ask(&mut self, step: AddStep, work: AddWork, now: Instant) -> Vec<Effect> {
        self.step = step;
        self.scroll = 0;
        self.wrong = None;
        self.ticket += 1;
        self.since = now;
        vec![Effect::Adding(self.ticket, work)]
    }

    fn go_to(&mut self, at: usize) {
        self.at = at.min(self.fields.len() - 1);
        if self.at == 1 && !self.fields[1].touched {
            self.fields[1].text = name_of(&self.file());
        }
        self.fields[self.at].enter_anew();
    }

    /// Surveys in this unit.
    fn survey(&mut self, unit: LengthUnit, (bubble, now): (Length, Instant)) -> Vec<Effect> {
        let step = AddStep::Surveying {
            step: "reading the file",
            done: 0.0,
        };
        let work = AddWork::Survey(self.file(), unit, bubble);
        self.ask(step, work, now)
    }

    /// The piece as it will be added.
    pub fn piece(&self, found: &FoundPrint) -> Piece {
        let printed = self.fields[2].text.parse::<Printed>().ok();
        let because = printed.map(Printed::because);
        Piece {
            name: self.name(),
            roughness: printed.map_or(1.0, |printed| rounded(printed.factor(), 3)),
            roughness_because: because,
            ..found.piece.clone()
        }
    }

    /// What the survey found, in words for the screen.
    pub fn found_words(&self, model: &Model, found: &FoundPrint) -> Vec<String> {
        let piece = self.piece(found);
        let units = model.project.definition.units;
        let mut words = Vec::new();
        if let (Some(area), Some(pm)) = (piece.area, piece.area_pm) {
            let unit = units.area();
            words.push(format!(
                "wetted area ~{} \u{b1}{} {}",
                number(area.to(unit), 4),
                number(pm.to(unit), 2),
                unit.symbol
            ));
        }
        if let Some(because) = &piece.roughness_because {
            let plating = piece.plating_area().map_or(0.0, |area| area.to(DM2));
            words.push(format!(
                "plating area {} dm2, x{}: {because}",
                number(plating, 4),
                piece.roughness
            ));
        }
        if let Some(charge) = model.project.definition.charge_target(&piece) {
            words.push(format!("charge for its target {}", charge.shown(AH, 4)));
        }
        words.extend(
            piece
                .area_method
                .map(|method| format!("found as: {method}")),
        );
        words
    }
}

/// A name for the piece of a file: the file's without folder and ending.
fn name_of(file: &str) -> String {
    let last = file.rsplit(['/', '\\']).next().unwrap_or_default();
    let stem = last.rsplit_once('.').map_or(last, |(stem, _)| stem);
    stem.trim_start_matches('-').chars().take(60).collect()
}

/// Opens the entry.
pub(super) fn open(model: &mut Model) -> Vec<Effect> {
    let ways = std::iter::once(NOT_SAID.to_owned());
    // Smoothed adds nothing either.
    let rough = Printed::USUAL
        .into_iter()
        .filter(|printed| printed.factor() > 1.0);
    let ways = ways.chain(rough.map(|printed| printed.to_string()));
    let mut adding = Adding {
        fields: [
            Field::words("print file", Vec::new()),
            Field::words("name", Vec::new()),
            Field::choice("printed", ways.collect()),
        ],
        at: 0,
        scroll: 0,
        step: AddStep::Fields,
        wrong: None,
        ticket: model.adding_tickets,
        since: model.now,
    };
    let effects = adding.ask(AddStep::Fields, AddWork::Find, model.now);
    model.adding_tickets = adding.ticket;
    model.layers.push(Layer::Adding(Box::new(adding)));
    effects
}

/// A key while a piece is added.
pub(super) fn key(model: &mut Model, mut adding: Box<Adding>, key: Key) -> Vec<Effect> {
    let effects = match adding.step.clone() {
        AddStep::Unit { .. } | AddStep::Found(_)
            if matches!(key.code, KeyCode::Char('/' | '?')) =>
        {
            model.layers.extend([Layer::Adding(adding), Layer::Help(0)]);
            return Vec::new();
        }
        AddStep::Fields => match in_fields(model, &mut adding, key) {
            Some(effects) => effects,
            None => return Vec::new(),
        },
        AddStep::Unit { choices, row } => in_units(model, &mut adding, (&choices, row), key),
        AddStep::Reading | AddStep::Surveying { .. } if key.is_back() => {
            model.say("given up; nothing was added");
            adding.ask(AddStep::Fields, AddWork::Stop, model.now)
        }
        AddStep::Found(found) if matches!(key.code, KeyCode::Enter | KeyCode::Char('+')) => {
            let named = FoundPrint {
                piece: adding.piece(&found),
                ..(*found).clone()
            };
            let work = AddWork::Add(adding.file(), Box::new(named));
            adding.ask(AddStep::Writing(found), work, model.now)
        }
        AddStep::Found(_) if matches!(key.code, KeyCode::Down | KeyCode::PageDown) => {
            adding.scroll = (adding.scroll + 3).min(200);
            Vec::new()
        }
        AddStep::Found(_) if matches!(key.code, KeyCode::Up | KeyCode::PageUp) => {
            adding.scroll = adding.scroll.saturating_sub(3);
            Vec::new()
        }
        AddStep::Found(_) if key.is_back() => {
            adding.step = AddStep::Fields;
            Vec::new()
        }
        _ => Vec::new(),
    };
    model.adding_tickets = adding.ticket;
    model.layers.push(Layer::Adding(adding));
    effects
}

fn in_units(
    model: &Model,
    adding: &mut Adding,
    (choices, row): (&[(LengthUnit, String)], usize),
    key: Key,
) -> Vec<Effect> {
    let taken = row_of_digit(row, choices.len(), key)
        .or_else(|| (key.code == KeyCode::Enter).then_some(row));
    if let Some((unit, _)) = taken.and_then(|row| choices.get(row)) {
        return adding.survey(*unit, (model.project.definition.bubble, model.now));
    }
    if let Some(row) = moved(row, choices.len(), key) {
        let choices = choices.to_vec();
        adding.step = AddStep::Unit { choices, row };
    } else if key.is_back() {
        adding.step = AddStep::Fields;
    }
    Vec::new()
}

/// A key in the fields; `None` when the entry is left.
fn in_fields(model: &mut Model, adding: &mut Adding, key: Key) -> Option<Vec<Effect>> {
    if adding.fields[adding.at].key(key) {
        adding.wrong = None;
        return Some(Vec::new());
    }
    let last = adding.fields.len() - 1;
    match key.code {
        KeyCode::Enter if adding.at < last => match adding.fields[adding.at].said() {
            Ok(_) => adding.go_to(adding.at + 1),
            Err(wrong) => adding.wrong = Some(wrong),
        },
        KeyCode::Enter | KeyCode::Char('+') => return Some(submit(model, adding)),
        KeyCode::Up | KeyCode::BackTab => adding.go_to(adding.at.saturating_sub(1)),
        KeyCode::Down | KeyCode::Tab => adding.go_to(adding.at + 1),
        KeyCode::Char('*') => adding.fields[adding.at].empty(),
        _ if key.is_back() && adding.at > 0 => adding.go_to(adding.at - 1),
        _ if key.is_back() => return None,
        _ => {}
    }
    Some(Vec::new())
}

fn submit(model: &Model, adding: &mut Adding) -> Vec<Effect> {
    if adding.at == 0 {
        adding.go_to(1);
    }
    let said = adding.fields[..2].iter().map(|field| field.said().err());
    let taken = model.project.definition.piece(&adding.name()).is_some();
    let taken = taken.then(|| format!("there is a piece `{}` already", adding.name()));
    let wrong = said.into_iter().flatten().next().or(taken);
    if wrong.is_some() {
        adding.wrong = wrong;
        return Vec::new();
    }
    let work = AddWork::Look(adding.file());
    adding.ask(AddStep::Reading, work, model.now)
}

/// Pasted text goes into the field under the cursor.
pub(super) fn paste(adding: &mut Adding, text: &str) {
    if adding.step == AddStep::Fields {
        adding.fields[adding.at].paste(text);
    }
}

/// What the shell tells; of what was given up nothing is heeded.
pub(super) fn news(model: &mut Model, ticket: u32, news: AddNews) -> Vec<Effect> {
    let at = model
        .layers
        .iter()
        .position(|layer| matches!(layer, Layer::Adding(adding) if adding.ticket == ticket));
    let Some(at) = at else {
        return Vec::new();
    };
    if matches!(news, AddNews::Added(Ok(()))) {
        if let Layer::Adding(adding) = model.layers.remove(at) {
            let name = adding.name();
            model.say(format!("{name} is added"));
            model.spot = Some(super::Spot::Piece(name));
            model.refresh();
        }
        return Vec::new();
    }
    let given = (model.project.definition.bubble, model.now);
    let Some(Layer::Adding(adding)) = model.layers.get_mut(at) else {
        return Vec::new();
    };
    let effects = heed(adding, news, given);
    model.adding_tickets = adding.ticket;
    effects
}

fn heed(adding: &mut Adding, news: AddNews, given: (Length, Instant)) -> Vec<Effect> {
    match news {
        AddNews::Files(files) => {
            if !adding.fields[0].touched {
                adding.fields[0].text = files.first().cloned().unwrap_or_default();
            }
            adding.fields[0].entry = super::Entry::Words(files);
        }
        AddNews::Looked(Ok((Some(unit), _))) => return adding.survey(unit, given),
        AddNews::Looked(Ok((None, extents))) => adding.step = ask_unit(extents),
        AddNews::At(step, done) => adding.step = AddStep::Surveying { step, done },
        AddNews::Surveyed(Ok(found)) => adding.step = AddStep::Found(found),
        AddNews::Looked(Err(failure))
        | AddNews::Surveyed(Err(failure))
        | AddNews::Added(Err(failure)) => {
            adding.wrong = Some(match failure {
                Failure::Refused(refusal) => refusal.because,
                Failure::Trouble { message, remedy } => format!("{message}; {remedy}"),
            });
            adding.step = AddStep::Fields;
        }
        AddNews::Added(Ok(())) => {}
    }
    Vec::new()
}

/// Asks the unit, the likeliest first: the first that makes it a print.
fn ask_unit(extents: [f64; 3]) -> AddStep {
    let units = LengthUnit::COMMON;
    let is_print = |unit: &LengthUnit| plausible_print(extents.map(|e| e * unit.mm())).is_ok();
    let row = units.iter().position(is_print).unwrap_or(0);
    let choices = units.map(|unit| (unit, size_in(extents, unit)));
    AddStep::Unit {
        choices: choices.to_vec(),
        row,
    }
}
