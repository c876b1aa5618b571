//! Typing in the pencil sheet: its rows in their order, each with the time
//! first, one pass from top to bottom.
//!
//! The rows are those of the sheet as it was printed, however far the project
//! has come since. A row is tried as a whole on a copy of the project before
//! any of its events is handed over to be written down.

mod happened;

use std::collections::{BTreeSet, VecDeque};

use super::layer::LookEntry;
use super::suggest::override_reasons;
use super::{Effect, Entry, Failure, Field, Id, Key, KeyCode, Layer, Model, inside, inside_look};
use crate::project::{Action, Decision, Finding, Refusal, Setting};
use crate::report::sheet::{Asks, Blank, Row, Sheet, Tick};
use crate::units::{A, Instant, V, Zone};
use happened::actions;

/// The sheet that is typed in and how far it has come.
#[derive(Debug, Clone, PartialEq)]
pub struct Typing {
    /// The sheet; `None` while its number is asked.
    pub sheet: Option<Box<Sheet>>,
    /// The number of the sheet, as it is typed.
    pub number: Field,
    /// The row under the cursor, from 0.
    pub row: usize,
    /// What is typed into that row.
    pub cells: Vec<Cell>,
    /// The cell under the cursor.
    pub at: usize,
    /// What is wrong with it, or why it was refused.
    pub wrong: Option<String>,
    /// The rows that were written down.
    pub written: BTreeSet<usize>,
    /// The clock time that was written down last.
    last: String,
    /// What of the row has still to be written down.
    queue: VecDeque<Action>,
    /// Whether it waits for the answer to a record.
    pub waits: bool,
}

/// One thing that is typed into a row.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// A time, a figure, words or a choice.
    Field(Field),
    /// What a look saw.
    Seen(Vec<Finding>),
    /// Boxes: all of them, those that are ticked, the first one of the nine
    /// that the digits tick.
    Boxes(Vec<Tick>, BTreeSet<usize>, usize),
    /// Why gates may be passed: asked after a refusal.
    Override(Field),
}

/// So many boxes have a digit at a time.
const NINE: usize = 9;

impl Cell {
    /// The field, where it is one.
    fn field(&self) -> Option<&Field> {
        match self {
            Self::Field(field) | Self::Override(field) => Some(field),
            _ => None,
        }
    }

    fn field_mut(&mut self) -> Option<&mut Field> {
        match self {
            Self::Field(field) | Self::Override(field) => Some(field),
            _ => None,
        }
    }
}

impl Typing {
    fn begin(model: &Model) -> Self {
        let zone = model.project.definition.zone;
        let mut number = Field::when();
        "sheet".clone_into(&mut number.label);
        if let Some(printed) = model.printed {
            number.text = Sheet::number_at(printed, zone);
        }
        Self {
            sheet: None,
            number,
            row: 0,
            cells: Vec::new(),
            at: 0,
            wrong: None,
            written: BTreeSet::new(),
            last: String::new(),
            queue: VecDeque::new(),
            waits: false,
        }
    }

    /// How many rows the sheet has.
    pub fn rows(&self) -> usize {
        self.sheet.as_ref().map_or(0, |s| s.rows().count())
    }

    /// Whether a time was typed that Right brings once more.
    pub fn has_time_before(&self) -> bool {
        !self.last.is_empty()
    }

    /// The row under the cursor, with whose it is.
    pub fn here(&self) -> Option<(String, Row)> {
        let sheet = self.sheet.as_ref()?;
        let (section, row) = sheet.rows().nth(self.row)?;
        Some((format!("{}: {}", section.name, section.stands), row.clone()))
    }

    /// What a time of the sheet means: `Mon 2 Mar 19:40`.
    ///
    /// # Errors
    /// In words, when it is no clock time.
    pub fn time(&self, text: &str, zone: Zone) -> Result<Option<Instant>, String> {
        let Some(sheet) = self.sheet.as_ref().filter(|_| !text.trim().is_empty()) else {
            return Ok(None);
        };
        Sheet::clock(text, zone, sheet.printed).map(Some)
    }

    fn go_to(&mut self, model: &Model, row: usize) {
        self.row = row;
        self.at = 0;
        self.wrong = None;
        self.queue.clear();
        let here = self.here().map(|(_, row)| row);
        let degrees = self.sheet.as_ref().map_or("C", |s| s.degrees);
        self.cells = here.map_or_else(Vec::new, |row| cells(model, &row, degrees));
    }

    /// Pasted text, as if typed.
    pub(super) fn paste(&mut self, text: &str) {
        if let Some(field) = self.cell().and_then(Cell::field_mut) {
            field.paste(text);
        }
    }

    fn cell(&mut self) -> Option<&mut Cell> {
        self.cells.get_mut(self.at)
    }

    fn enter_cell(&mut self, at: usize) {
        self.at = at.min(self.cells.len().saturating_sub(1));
        if let Some(field) = self.cell().and_then(Cell::field_mut) {
            field.enter_anew();
        }
    }

    /// Whether the key edits the cell under the cursor.
    fn edits(&mut self, key: Key) -> bool {
        let last = self.last.clone();
        match self.cell() {
            Some(Cell::Field(field) | Cell::Override(field)) => {
                let again = matches!(key.code, KeyCode::Left | KeyCode::Right);
                if field.entry == Entry::When && again && !last.is_empty() {
                    field.text = last;
                    field.ready = true;
                    return true;
                }
                field.key(key)
            }
            Some(Cell::Boxes(boxes, ticked, first)) => ticks(boxes.len(), ticked, first, key),
            Some(Cell::Seen(seen)) => {
                let takes_back = matches!(key.code, KeyCode::Backspace | KeyCode::Delete);
                takes_back && seen.pop().is_some()
            }
            None => false,
        }
    }

    /// Why a row stands: what was typed stays, and where gates may be passed
    /// the reason is asked.
    fn refused(&mut self, because: &str, may_pass: bool) {
        self.wrong = Some(format!("refused: {because}"));
        let asks = self.cells.iter().any(|c| matches!(c, Cell::Override(_)));
        if may_pass && !asks {
            let reason = Field::words("override because", override_reasons()).optional();
            self.cells.push(Cell::Override(reason));
        }
        self.enter_cell(self.at);
    }

    fn is_blank(&self) -> bool {
        let time = self.cells.first().and_then(Cell::field);
        time.is_none_or(|f| f.text.trim().is_empty())
    }
}

/// Digits tick, a star ticks all or none, 0 goes to the next nine.
fn ticks(boxes: usize, ticked: &mut BTreeSet<usize>, first: &mut usize, key: Key) -> bool {
    if let Some(digit) = key.digit().filter(|d| *d > 0) {
        let n = *first + digit - 1;
        if n < boxes && !ticked.remove(&n) {
            ticked.insert(n);
        }
        return true;
    }
    match key.code {
        KeyCode::Char('*') if ticked.len() == boxes => ticked.clear(),
        KeyCode::Char('*') => *ticked = (0..boxes).collect(),
        KeyCode::Char('0') if *first + NINE < boxes => *first += NINE,
        KeyCode::Char('0') => *first = 0,
        _ => return false,
    }
    true
}

/// What a row has room for, the last values within reach of Right.
fn cells(model: &Model, row: &Row, degrees: &'static str) -> Vec<Cell> {
    let blanks = row.blanks(degrees).into_iter();
    blanks
        .map(|blank| match blank {
            Blank::Time(label) => {
                let mut when = Field::when();
                label.clone_into(&mut when.label);
                Cell::Field(when)
            }
            Blank::Figure(label, unit) => Cell::Field(figure(model, row, label, unit)),
            Blank::One(label, of) => Cell::Field(Field::choice(label, of)),
            Blank::Words(label) => {
                let optional = !matches!(row.asks, Asks::Note { .. });
                let field = Field::words(label, suggestions(model, label));
                Cell::Field(if optional { field.optional() } else { field })
            }
            Blank::Seen => Cell::Seen(Vec::new()),
            Blank::Boxes(boxes) => Cell::Boxes(boxes, BTreeSet::new(), 0),
        })
        .collect()
}

fn figure(model: &Model, row: &Row, label: &str, unit: &'static str) -> Field {
    match &row.asks {
        Asks::Set {
            planned: Some(Setting::Amps(amps)),
            ..
        } => Field::number(label, unit, Some(amps.to(A))),
        Asks::Set {
            planned: Some(Setting::Volts(volts)),
            ..
        } => Field::number(label, unit, Some(volts.to(V))),
        Asks::Reading { tank, piece } if unit == "V" || unit == "A" => {
            let state = model.project.state().tank(tank);
            let read = state.and_then(|t| t.reading).filter(|_| piece.is_none());
            let last = read.map(|r| {
                if unit == "V" {
                    r.volts.to(V)
                } else {
                    r.amps.to(A)
                }
            });
            Field::measured(label, unit, last)
        }
        Asks::Weigh { piece, .. } => Field::measured(label, unit, model.last_mass(piece)),
        Asks::Reading { .. } | Asks::Bath { .. } | Asks::Set { .. } => {
            Field::measured(label, unit, None).optional()
        }
        _ => Field::measured(label, unit, None),
    }
}

fn suggestions(model: &Model, label: &str) -> Vec<String> {
    let words = |all: &[&str]| all.iter().map(|w| (*w).to_owned()).collect();
    match label {
        "note" => model.last_notes(),
        "hangs" => words(&["upside down", "quarter turn", "half turn", "as before"]),
        "where" => model.contact_places(),
        "place" => words(&["far end", "contact 1", "contact 2", "contact 3"]),
        _ => model.places(),
    }
}

/// Opens the pass where it was left, or asks which sheet it is.
pub(super) fn open(model: &mut Model) {
    let typing = model.typing.take();
    let typing = typing.unwrap_or_else(|| Box::new(Typing::begin(model)));
    model.layers.push(Layer::Typing(typing));
}

/// Writes the sheet of now into the project's folder, and remembers when.
pub(super) fn write_sheet(model: &mut Model) -> Vec<Effect> {
    let sheet = Sheet::of(&model.project, model.now);
    model.printed = Some(sheet.printed);
    vec![Effect::WriteFile {
        name: format!("sheet-{}.html", sheet.number),
        content: sheet.html(),
    }]
}

/// A key while the sheet is typed in.
pub(super) fn key(model: &mut Model, mut typing: Box<Typing>, key: Key) -> Vec<Effect> {
    if typing.waits {
        model.layers.push(Layer::Typing(typing));
        return Vec::new();
    }
    if typing.sheet.is_none() {
        return in_number(model, typing, key);
    }
    if typing.edits(key) {
        typing.wrong = None;
        model.layers.push(Layer::Typing(typing));
        return Vec::new();
    }
    if picks(&typing, key) {
        return pick_findings(model, typing, key);
    }
    match key.code {
        KeyCode::Enter if typing.at == 0 && typing.is_blank() => return next_row(model, typing),
        KeyCode::Enter if typing.at + 1 < typing.cells.len() => {
            let onwards = usize::from(accepts(model, &mut typing));
            let next = typing.at + onwards;
            typing.enter_cell(next);
        }
        KeyCode::Enter | KeyCode::Char('+') => return submit(model, typing),
        KeyCode::Char('*') if typing.at == 0 => return next_row(model, typing),
        KeyCode::Char('*') => empty(&mut typing),
        KeyCode::Esc | KeyCode::Char('/') => return leave(model, typing),
        KeyCode::Up | KeyCode::BackTab => {
            let before = typing.at.saturating_sub(1);
            typing.enter_cell(before);
        }
        KeyCode::Down | KeyCode::Tab => {
            let next = typing.at + 1;
            typing.enter_cell(next);
        }
        KeyCode::PageDown => return next_row(model, typing),
        KeyCode::Char('-') if typing.at > 0 => {
            let before = typing.at - 1;
            typing.enter_cell(before);
        }
        KeyCode::Char('-') | KeyCode::PageUp => {
            if let Some(before) = typing.row.checked_sub(1) {
                typing.go_to(model, before);
            } else {
                *typing = Typing::begin(model);
            }
        }
        _ => {}
    }
    model.layers.push(Layer::Typing(typing));
    Vec::new()
}

/// Keeps the place for the next time.
fn leave(model: &mut Model, typing: Box<Typing>) -> Vec<Effect> {
    model.say(format!(
        "left at row {} of {}; {} goes on there",
        typing.row + 1,
        typing.rows(),
        model.way_to(Id::TypeIn)
    ));
    model.typing = Some(typing);
    Vec::new()
}

fn in_number(model: &mut Model, mut typing: Box<Typing>, key: Key) -> Vec<Effect> {
    typing.wrong = None;
    if typing.number.key(key) {
    } else if matches!(key.code, KeyCode::Enter | KeyCode::Char('+')) {
        let zone = model.project.definition.zone;
        match Sheet::printed_at(&typing.number.text, zone, model.now) {
            Ok(printed) => {
                typing.sheet = Some(Box::new(Sheet::of(&model.project, printed)));
                typing.go_to(model, 0);
            }
            Err(wrong) => typing.wrong = Some(wrong),
        }
    } else if key.code == KeyCode::Char('*') {
        typing.number.empty();
    } else if key.is_back() || key.code == KeyCode::Char('/') {
        return Vec::new();
    }
    model.layers.push(Layer::Typing(typing));
    Vec::new()
}

/// Whether the key picks findings.
fn picks(typing: &Typing, key: Key) -> bool {
    let seen = matches!(typing.cells.get(typing.at), Some(Cell::Seen(_)));
    let opens = matches!(key.code, KeyCode::Right | KeyCode::Char(' '));
    seen && (key.digit().is_some() || opens)
}

/// Opens the list of findings and gives it the key that asked for it.
fn pick_findings(model: &mut Model, typing: Box<Typing>, key: Key) -> Vec<Effect> {
    let piece = match typing.here().map(|(_, row)| row.asks) {
        Some(Asks::Look { piece, .. }) => piece,
        _ => String::new(),
    };
    let mut entry = LookEntry::of(&piece, false);
    if let Some(Cell::Seen(seen)) = typing.cells.get(typing.at) {
        entry.picked.clone_from(seen);
    }
    model.layers.push(Layer::Typing(typing));
    inside_look::key(model, entry, key)
}

/// Takes the findings that were picked for the row below; `false` when none is
/// typed in.
pub(super) fn take_findings(model: &mut Model, picked: &[Finding]) -> bool {
    let Some(Layer::Typing(typing)) = model.layers.last_mut() else {
        return false;
    };
    if let Some(Cell::Seen(seen)) = typing.cell() {
        seen.clear();
        seen.extend_from_slice(picked);
    }
    let next = typing.at + 1;
    typing.enter_cell(next);
    true
}

fn empty(typing: &mut Typing) {
    match typing.cell() {
        Some(Cell::Seen(seen)) => seen.clear(),
        Some(cell) => {
            if let Some(field) = cell.field_mut() {
                field.empty();
            }
        }
        None => {}
    }
}

/// Whether the cell under the cursor may be left.
fn accepts(model: &Model, typing: &mut Typing) -> bool {
    let Some(field) = typing.cells.get(typing.at).and_then(Cell::field) else {
        return true;
    };
    let wrong = match field.entry {
        Entry::When => time_wrong(model, typing, &field.text),
        Entry::Number { .. } => inside::number_wrong(field),
        Entry::Words(_) => field.said().err(),
        Entry::Choice(_) => None,
    };
    let question = wrong.is_none().then(|| field.jump()).flatten();
    if let Some(field) = typing.cell().and_then(Cell::field_mut) {
        if question.is_some() {
            field.asked = Some(field.text.clone());
        }
        if wrong.is_some() || question.is_some() {
            field.enter_anew();
        }
    }
    typing.wrong = wrong.or(question);
    typing.wrong.is_none()
}

/// What is wrong with a time: that it is none, or that it has not come yet,
/// which is told before the rest of the row is typed.
fn time_wrong(model: &Model, typing: &Typing, text: &str) -> Option<String> {
    match typing.time(text, model.project.definition.zone) {
        Ok(Some(at)) if at > model.now => Some(format!(
            "{} has not come yet: what is recorded has happened",
            model.clock(at)
        )),
        Ok(_) => None,
        Err(wrong) => Some(wrong),
    }
}

fn next_row(model: &mut Model, mut typing: Box<Typing>) -> Vec<Effect> {
    let (next, rows) = (typing.row + 1, typing.rows());
    if next < rows {
        typing.go_to(model, next);
        model.layers.push(Layer::Typing(typing));
    } else {
        let written = typing.written.len();
        model.say(format!(
            "the sheet is typed in: {written} of {rows} rows had something in them"
        ));
    }
    Vec::new()
}

/// Tries the whole row, then hands its first event over.
fn submit(model: &mut Model, mut typing: Box<Typing>) -> Vec<Effect> {
    let at = typing.at;
    for n in 0..typing.cells.len() {
        typing.at = n;
        if !accepts(model, &mut typing) {
            model.layers.push(Layer::Typing(typing));
            return Vec::new();
        }
    }
    typing.at = at;
    // What of the row is written down already is not written down again.
    if typing.queue.is_empty() {
        match actions(model, &typing) {
            Ok(actions) => typing.queue = actions.into(),
            Err(wrong) => {
                typing.wrong = Some(wrong);
                model.layers.push(Layer::Typing(typing));
                return Vec::new();
            }
        }
        if let Err(refusal) = tried(model, &typing.queue) {
            typing.queue.clear();
            typing.refused(&refusal.because, refusal.may_be_overridden());
            model.layers.push(Layer::Typing(typing));
            return Vec::new();
        }
    }
    hand_over(model, typing)
}

/// Decides on all of a row, one after the other, without writing it down.
fn tried(model: &Model, actions: &VecDeque<Action>) -> Result<(), Refusal> {
    let mut project = model.project.clone();
    for action in actions {
        let decision = project.decide(action, model.now)?;
        // What was decided folds.
        let _folds = project.push(decision.event, None);
    }
    Ok(())
}

fn hand_over(model: &mut Model, mut typing: Box<Typing>) -> Vec<Effect> {
    let Some(action) = typing.queue.pop_front() else {
        typing.written.insert(typing.row);
        if let Some(time) = typing.cells.first().and_then(Cell::field) {
            typing.last.clone_from(&time.text);
        }
        return next_row(model, typing);
    };
    typing.waits = true;
    model.layers.push(Layer::Typing(typing));
    model.record(action.what, action.at, action.override_reason)
}

/// Whether the pass waits for the answer to a record.
pub(super) fn waits(model: &Model) -> bool {
    matches!(model.layers.last(), Some(Layer::Typing(typing)) if typing.waits)
}

/// What became of a record of the pass.
pub(super) fn recorded(model: &mut Model, result: Result<Decision, Failure>) -> Vec<Effect> {
    let Some(Layer::Typing(mut typing)) = model.layers.pop() else {
        return Vec::new();
    };
    typing.waits = false;
    let action = model.pending.take();
    match result {
        Ok(decision) => {
            let alarm = !decision.warnings.is_empty();
            let mut told = format!(
                "recorded #{} {}",
                decision.event.sequence, decision.event.what
            );
            if alarm {
                told = format!("{told}. Mind: {}", decision.warnings.join("; "));
            }
            model.say(told);
            model.said.alarm = alarm;
            return hand_over(model, typing);
        }
        Err(failure) => {
            // What is left of the row waits for the next Enter.
            if let Some(action) = action {
                typing.queue.push_front(action);
            }
            typing.wrong = Some(match failure {
                Failure::Refused(refusal) => format!("refused: {}", refusal.because),
                Failure::Trouble { message, remedy } => {
                    format!("not written down: {message}; {remedy}")
                }
            });
        }
    }
    model.layers.push(Layer::Typing(typing));
    Vec::new()
}
