//! Trying a change of what hangs where, from the Spread screen: the piece turned
//! or moved, a thief, a shield or an anode more, or taken off. Each is written
//! into `project.ron`, then where the metal goes is computed again. Here too what
//! was computed is written into a file.

use super::inside::{moved, row_of_digit};
use super::{Effect, Failure, Field, Key, KeyCode, Layer, Model};
use crate::mesh::Corner;
use crate::project::{Hangs, Lead, Piece, Plate, SceneEdit, Tank};
use crate::report::spread::Form;
use crate::units::{Length, LengthDim, MM};

/// The choice of a change.
#[derive(Debug, Clone, PartialEq)]
pub struct Changing {
    /// Of which piece.
    pub piece: String,
    /// In which tank.
    pub tank: String,
    /// Where the probe is, mm in the tank, and what is upright there.
    pub probe: Option<(Corner, Corner)>,
    /// How far it is.
    pub step: ChangeStep,
    /// What is wrong.
    pub wrong: Option<String>,
}

/// How far the choice of a change is.
#[derive(Debug, Clone, PartialEq)]
pub enum ChangeStep {
    /// What can be done; the selected line.
    List(usize),
    /// Its figures are typed.
    Fields {
        /// Of which change.
        kind: ChangeKind,
        /// Its figures.
        fields: Vec<Field>,
        /// The field under the cursor.
        at: usize,
    },
}

/// What can be done from the Spread screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChangeKind {
    /// The piece turned.
    Turn,
    /// The piece hung elsewhere.
    Move,
    /// A thief beside the probe.
    Thief,
    /// A shield before the probe.
    Shield,
    /// An anode on a wall.
    Anode,
    /// What was computed taken into the project.
    Set,
    /// What was computed written into a file.
    File,
    /// Everything else that can be done with the piece.
    Actions,
}

/// How a piece can be turned: in words, and the axis with its sense.
const TURNS: [(&str, [f64; 3]); 6] = [
    ("clockwise from above", [0.0, 0.0, -1.0]),
    ("anticlockwise", [0.0, 0.0, 1.0]),
    ("top to the left", [0.0, -1.0, 0.0]),
    ("top to the right", [0.0, 1.0, 0.0]),
    ("top to the front", [1.0, 0.0, 0.0]),
    ("top to the back", [-1.0, 0.0, 0.0]),
];

/// Along which axis of the tank something lies or faces.
const AXES: [&str; 3] = ["left to right", "front to back", "upright"];

/// The walls that take an anode: in words, the axis, and whether it is that of
/// the greatest value there.
const WALLS: [(&str, usize, bool); 5] = [
    ("left wall", 0, false),
    ("right wall", 0, true),
    ("front wall", 1, false),
    ("back wall", 1, true),
    ("floor", 2, false),
];

impl ChangeKind {
    /// Every kind, as they are listed.
    pub const ALL: [Self; 8] = [
        Self::Turn,
        Self::Move,
        Self::Thief,
        Self::Shield,
        Self::Anode,
        Self::Set,
        Self::File,
        Self::Actions,
    ];

    /// What the list says.
    pub fn say(self) -> &'static str {
        match self {
            Self::Turn => "turn the piece",
            Self::Move => "hang the piece elsewhere",
            Self::Thief => "a thief beside the probe",
            Self::Shield => "a shield before the probe",
            Self::Anode => "an anode more",
            Self::Set => "set this result: evenness, and shares from now on",
            Self::File => "write this result into a file",
            Self::Actions => "what else can be done with the piece",
        }
    }

    /// What its figures mean.
    pub fn explained(self) -> &'static str {
        match self {
            Self::Turn => "about the middle of its print; its wires stay where they are",
            Self::Move => {
                "the middle of its print, from the left front lower corner of the tank, inside; its wires stay"
            }
            Self::Thief => {
                "a straight wire at the piece's volts; its lead out of the bath is left out"
            }
            Self::Shield => "an insulating plate with the probe behind its middle",
            Self::Anode => {
                "a plate in the middle of a wall; where anodes were assumed, it takes their place"
            }
            Self::File => {
                "into the project's folder: PLY and VTU with a value for each triangle, CSV, PNG"
            }
            Self::Set | Self::Actions => "",
        }
    }

    fn fields(self, model: &Model, changing: &Changing) -> Vec<Field> {
        let mm = |label, size| Field::number(label, "mm", Some(size));
        let choice = |label, of: &[&str]| {
            Field::choice(label, of.iter().map(|word| (*word).to_owned()).collect())
        };
        match self {
            Self::Turn => vec![
                choice("turned", &TURNS.map(|(words, _)| words)),
                Field::number("by", "degrees", Some(90.0)),
            ],
            Self::Move => {
                let at = hangs(model, changing).at.map(|side| tenth(side.to(MM)));
                let labels = ["from the left", "from the front", "above the floor"];
                (0..3).map(|axis| mm(labels[axis], at[axis])).collect()
            }
            Self::Thief => vec![
                mm("away from it", 10.0),
                mm("length", 60.0),
                mm("diameter", 1.0),
                choice("runs", &AXES),
            ],
            Self::Shield => {
                let mut faces = choice("faces", &AXES);
                if let Some((_, upright)) = changing.probe {
                    AXES[longest(upright)].clone_into(&mut faces.text);
                }
                vec![
                    mm("away from it", 20.0),
                    mm("width", 60.0),
                    mm("height", 60.0),
                    mm("thickness", 3.0),
                    faces,
                ]
            }
            Self::Anode => vec![
                choice("on the", &WALLS.map(|(words, ..)| words)),
                mm("width", 150.0),
                mm("height", 200.0),
            ],
            Self::File => vec![choice("as", &Form::ALL.map(Form::ending))],
            Self::Set | Self::Actions => Vec::new(),
        }
    }

    fn needs_probe(self) -> bool {
        matches!(self, Self::Thief | Self::Shield)
    }
}

fn tenth(mm: f64) -> f64 {
    (mm * 10.0).round() / 10.0 + 0.0
}

/// The axis along which a direction reaches furthest.
fn longest(direction: Corner) -> usize {
    let [x, y, z] = direction.map(f64::abs);
    match (x >= y, x >= z, y >= z) {
        (true, true, _) => 0,
        (false, _, true) => 1,
        _ => 2,
    }
}

/// How the piece hangs: as told, or as it was taken for the last result.
fn hangs(model: &Model, changing: &Changing) -> Hangs {
    let piece = model.project.definition.piece(&changing.piece);
    let told = piece.and_then(|piece| piece.hangs.clone());
    told.unwrap_or_else(|| {
        let seen = model.spread_seen();
        let body = seen.and_then(|seen| seen.body(&changing.piece));
        let [low, high] = body.map_or([[0.0; 3]; 2], |body| body.box_mm);
        Hangs {
            at: [0, 1, 2].map(|axis| MM.of(f64::midpoint(low[axis], high[axis]))),
            turn: [1.0, 0.0, 0.0, 0.0],
        }
    })
}

/// One turn after another, as quaternions w, x, y, z.
fn after([a, b, c, d]: [f64; 4], [w, x, y, z]: [f64; 4]) -> [f64; 4] {
    [
        a * w - b * x - c * y - d * z,
        a * x + b * w + c * z - d * y,
        a * y - b * z + c * w + d * x,
        a * z + b * y - c * x + d * w,
    ]
}

fn mm(field: &Field) -> Result<f64, String> {
    let length = field.quantity::<LengthDim>()?.map(|length| length.to(MM));
    let told = length.filter(|mm| (0.0..=10_000.0).contains(mm));
    told.ok_or_else(|| format!("{} wants a length of 0 to 10 m", field.label))
}

/// A length above a hundredth of a mm.
fn size(field: &Field) -> Result<f64, String> {
    let told = mm(field)?;
    if told < 0.01 {
        return Err(format!("{} wants a length of 0.01 mm or more", field.label));
    }
    Ok(told)
}

fn degrees(field: &Field) -> Result<f64, String> {
    let number = field.text.trim().replace(',', ".").parse().ok();
    number
        .filter(|degrees| (0.0..=360.0).contains(degrees))
        .ok_or_else(|| format!("{} wants degrees from 0 to 360", field.label))
}

impl Changing {
    /// What can be taken back or off, after [`ChangeKind::ALL`] in the list.
    pub fn edits(&self, model: &Model) -> Vec<(String, SceneEdit)> {
        let definition = &model.project.definition;
        // What somebody has changed since is not taken back.
        let mut tried = model.spreads.back.iter().rev();
        let back = tried.find(|edit| edit.fits(definition));
        let back = back.map(|edit| (format!("take back: {}", edit.words()), edit.clone()));
        let piece = definition.piece(&self.piece);
        let removals = piece.map(|piece| SceneEdit::removals(definition, &self.tank, piece));
        let removals = removals.unwrap_or_default().into_iter();
        back.into_iter()
            .chain(removals.map(|edit| (format!("take off: {}", edit.words()), edit)))
            .collect()
    }

    /// Pasted text goes into the field under the cursor.
    pub(super) fn paste(&mut self, text: &str) {
        if let ChangeStep::Fields { fields, at, .. } = &mut self.step {
            fields[*at].paste(text);
        }
    }

    /// The change that the fields say.
    fn edit(
        &self,
        model: &Model,
        kind: ChangeKind,
        fields: &[Field],
    ) -> Result<Option<SceneEdit>, String> {
        let name = self.piece.clone();
        let definition = &model.project.definition;
        let piece = definition.piece(&name).ok_or("the piece is gone")?;
        let tank = definition.tank(&self.tank).ok_or("the tank is gone")?;
        Ok(Some(match kind {
            ChangeKind::Turn => {
                let half = degrees(&fields[1])?.to_radians() / 2.0;
                let axis = TURNS[fields[0].chosen()].1.map(|part| part * half.sin());
                let hangs = hangs(model, self);
                let turn = after([half.cos(), axis[0], axis[1], axis[2]], hangs.turn);
                Self::hang(piece, Hangs { turn, ..hangs })
            }
            ChangeKind::Move => {
                let at = [mm(&fields[0])?, mm(&fields[1])?, mm(&fields[2])?];
                let at = at.map(|mm| MM.of(mm));
                let hangs = hangs(model, self);
                Self::hang(piece, Hangs { at, ..hangs })
            }
            ChangeKind::Thief => SceneEdit::AddLead(name, self.thief(model, piece, fields)?),
            ChangeKind::Shield => {
                SceneEdit::AddShield(self.tank.clone(), self.shield(model, fields)?)
            }
            ChangeKind::Anode => {
                let plate = Self::anode(model, fields)?;
                SceneEdit::AddAnode(self.tank.clone(), free_name(tank), plate)
            }
            ChangeKind::Set | ChangeKind::File | ChangeKind::Actions => return Ok(None),
        }))
    }

    fn hang(piece: &Piece, to: Hangs) -> SceneEdit {
        SceneEdit::Hang {
            piece: piece.name.clone(),
            from: piece.hangs.clone(),
            to: Some(to),
        }
    }

    /// The place so far out from the probe, mm.
    fn out(&self, away: f64) -> Result<Corner, String> {
        let (at, upright) = self.probe.ok_or("no probe is set")?;
        Ok([0, 1, 2].map(|axis| at[axis] + away * upright[axis]))
    }

    fn thief(&self, model: &Model, piece: &Piece, fields: &[Field]) -> Result<Lead, String> {
        let [away, length, diameter] = [mm(&fields[0])?, size(&fields[1])?, size(&fields[2])?];
        let middle = self.out(away + diameter / 2.0)?;
        let along = fields[3].chosen();
        let end = |side: f64| {
            let at = [0, 1, 2].map(|axis| {
                let off = if axis == along {
                    side * length / 2.0
                } else {
                    0.0
                };
                middle[axis] + off
            });
            in_tank(model, at)
        };
        let is_free = |name: &String| piece.leads.iter().all(|lead| lead.name != *name);
        let mut names = (1..).map(|n| format!("thief-{n}"));
        Ok(Lead {
            name: names.find(is_free).unwrap_or_default(),
            points: vec![end(-1.0)?, end(1.0)?],
            diameter: MM.of(diameter),
            thief: true,
            closed: false,
        })
    }

    fn shield(&self, model: &Model, fields: &[Field]) -> Result<Plate, String> {
        let [away, width, height, thick] = [
            mm(&fields[0])?,
            size(&fields[1])?,
            size(&fields[2])?,
            size(&fields[3])?,
        ];
        let at = self.out(away + thick / 2.0)?;
        let axis = fields[4].chosen();
        Ok(Plate {
            at: in_tank(model, at)?,
            facing: [0, 1, 2].map(|of| f64::from(u8::from(of == axis))),
            size: [width, height].map(|side| MM.of(side)),
            thickness: Some(MM.of(thick)),
            one_face: false,
        })
    }

    /// A plate in the middle of a wall of the tank as it was computed.
    fn anode(model: &Model, fields: &[Field]) -> Result<Plate, String> {
        let (_, axis, is_far) = WALLS[fields[0].chosen()];
        let seen = model.spread_seen();
        let [low, high] = seen.and_then(|seen| seen.tank).ok_or("compute it first")?;
        let mut at = [0, 1, 2].map(|axis| f64::midpoint(low[axis], high[axis]));
        at[axis] = if is_far { high[axis] } else { low[axis] };
        let inward = if is_far { -1.0 } else { 1.0 };
        Ok(Plate {
            at: at.map(|side| MM.of(side)),
            facing: [0, 1, 2].map(|of| if of == axis { inward } else { 0.0 }),
            size: [size(&fields[1])?, size(&fields[2])?].map(|side| MM.of(side)),
            thickness: None,
            one_face: false,
        })
    }
}

/// A place as it is written, if it is in the tank as it was computed.
fn in_tank(model: &Model, at: Corner) -> Result<[Length; 3], String> {
    let tank = model.spread_seen().and_then(|seen| seen.tank);
    let is_in =
        |[low, high]: [Corner; 2]| (0..3).all(|axis| (low[axis]..=high[axis]).contains(&at[axis]));
    if tank.is_none_or(is_in) {
        Ok(at.map(|side| MM.of(tenth(side))))
    } else {
        Err("it would stand outside the tank: make it smaller, or nearer to the probe".to_owned())
    }
}

/// A name that no anode of the tank has.
fn free_name(tank: &Tank) -> String {
    let is_free = |name: &String| tank.anodes.iter().all(|anode| anode.name != *name);
    let mut names = (1..).map(|n| format!("anode-{n}"));
    names.find(is_free).unwrap_or_default()
}

/// Opens the list for the piece whose figures are told.
pub(super) fn open(model: &mut Model) {
    let piece = model.spread_piece().or(model.selected_piece());
    let (Some(piece), Some(tank)) = (piece.map(str::to_owned), model.spread_tank()) else {
        return model.open_menu(model.spot.clone());
    };
    let tank = tank.name.clone();
    let showing = model.spreads.showing(&tank);
    let marker = showing.and_then(|showing| showing.marker);
    let probe = marker.and_then(|marker| {
        let (_, cell) = model.spread_seen()?.at(marker.facet)?;
        Some((marker.at_mm, cell.normal()))
    });
    model.layers.push(Layer::Changing(Box::new(Changing {
        piece,
        tank,
        probe,
        step: ChangeStep::List(0),
        wrong: None,
    })));
}

/// What a key led to.
enum Next {
    Stay,
    Help,
    Leave,
    Actions,
    Do(SceneEdit),
    Set,
    Write(Form),
}

/// A key while the list or its figures are shown.
pub(super) fn key(model: &mut Model, mut changing: Box<Changing>, key: Key) -> Vec<Effect> {
    let next = match changing.step.clone() {
        ChangeStep::List(row) => in_list(model, &mut changing, row, key),
        ChangeStep::Fields { kind, fields, at } => {
            let (next, step) = in_fields(model, &mut changing, (kind, fields, at), key);
            changing.step = step;
            next
        }
    };
    match next {
        Next::Stay => model.layers.push(Layer::Changing(changing)),
        Next::Help => model
            .layers
            .extend([Layer::Changing(changing), Layer::Help(0)]),
        Next::Leave => {}
        Next::Actions => model.open_menu(model.spot.clone()),
        Next::Do(edit) => return vec![Effect::EditScene(Box::new(edit))],
        Next::Set => return model.take_spread(),
        Next::Write(form) => {
            let tank = changing.tank;
            return vec![Effect::WriteSpread { tank, form }];
        }
    }
    Vec::new()
}

fn in_list(model: &Model, changing: &mut Changing, row: usize, key: Key) -> Next {
    let mut edits = changing.edits(model);
    let rows = ChangeKind::ALL.len() + edits.len();
    let taken =
        row_of_digit(row, rows, key).or_else(|| (key.code == KeyCode::Enter).then_some(row));
    changing.wrong = None;
    if let Some(row) = taken {
        changing.step = ChangeStep::List(row);
        return match ChangeKind::ALL.get(row) {
            Some(kind) => choose(model, changing, *kind),
            None => Next::Do(edits.swap_remove(row - ChangeKind::ALL.len()).1),
        };
    }
    if let Some(row) = moved(row, rows, key) {
        changing.step = ChangeStep::List(row);
    } else if matches!(key.code, KeyCode::Char('/' | '?')) {
        return Next::Help;
    } else if key.is_back() {
        return Next::Leave;
    }
    Next::Stay
}

fn choose(model: &Model, changing: &mut Changing, kind: ChangeKind) -> Next {
    let is_computed = model.spread_seen().is_some();
    if kind == ChangeKind::Actions {
        return Next::Actions;
    }
    if !is_computed {
        changing.wrong =
            Some("compute it first, so that there is a before and an after".to_owned());
    } else if kind.needs_probe() && changing.probe.is_none() {
        changing.wrong =
            Some("no probe is set: go back and let Down set it at a place to watch".to_owned());
    } else if kind == ChangeKind::Set {
        return Next::Set;
    } else {
        changing.step = ChangeStep::Fields {
            kind,
            fields: kind.fields(model, changing),
            at: 0,
        };
    }
    Next::Stay
}

fn in_fields(
    model: &Model,
    changing: &mut Changing,
    (kind, mut fields, at): (ChangeKind, Vec<Field>, usize),
    key: Key,
) -> (Next, ChangeStep) {
    let last = fields.len() - 1;
    let mut next = Next::Stay;
    let mut to = at;
    if fields[at].key(key) {
        changing.wrong = None;
    } else {
        match key.code {
            KeyCode::Enter if at < last => to = at + 1,
            KeyCode::Enter | KeyCode::Char('+') => match changing.edit(model, kind, &fields) {
                Ok(Some(edit)) => next = Next::Do(edit),
                Ok(None) => next = Next::Write(Form::ALL[fields[0].chosen()]),
                Err(wrong) => changing.wrong = Some(wrong),
            },
            KeyCode::Down | KeyCode::Tab => to = (at + 1).min(last),
            KeyCode::Up | KeyCode::BackTab => to = at.saturating_sub(1),
            KeyCode::Char('*') => fields[at].empty(),
            _ if key.is_back() && at > 0 => to = at - 1,
            _ if key.is_back() => {
                changing.wrong = None;
                let row = ChangeKind::ALL.iter().position(|of| *of == kind);
                return (next, ChangeStep::List(row.unwrap_or(0)));
            }
            _ => {}
        }
    }
    if to != at {
        fields[to].enter_anew();
    }
    (
        next,
        ChangeStep::Fields {
            kind,
            fields,
            at: to,
        },
    )
}

/// The change is written, and computed again; or why it is not.
pub(super) fn edited(
    model: &mut Model,
    edit: &SceneEdit,
    result: Result<(), Failure>,
) -> Vec<Effect> {
    if let Err(failure) = result {
        let why = match failure {
            Failure::Refused(refusal) => refusal.because,
            Failure::Trouble { message, remedy } => format!("{message}; {remedy}"),
        };
        model.alarm(format!("the scene is as before: {why}"));
        return Vec::new();
    }
    // What takes a change back is no change of its own.
    let tried = &mut model.spreads.back;
    match tried.iter().rposition(|back| back == edit) {
        Some(at) => {
            tried.remove(at);
        }
        None => tried.push(edit.back()),
    }
    let effects = model.compute_spread();
    model.say(format!("in project.ron: {}", edit.words()));
    effects
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::scene::turned;

    #[test]
    fn each_turn_goes_where_its_words_say() {
        // Right, back and up as seen from the front.
        let quarter = std::f64::consts::FRAC_PI_4;
        let turned_by = |n: usize, at: Corner| {
            let axis = TURNS[n].1.map(|part| part * quarter.sin());
            let turn = after(
                [quarter.cos(), axis[0], axis[1], axis[2]],
                [1.0, 0.0, 0.0, 0.0],
            );
            turned(turn, at).map(|part| part.round() as i8)
        };
        let (top, right) = ([0.0, 0.0, 1.0], [1.0, 0.0, 0.0]);
        assert_eq!(turned_by(0, right), [0, -1, 0], "to the front");
        assert_eq!(turned_by(1, right), [0, 1, 0], "to the back");
        assert_eq!(turned_by(2, top), [-1, 0, 0]);
        assert_eq!(turned_by(3, top), [1, 0, 0]);
        assert_eq!(turned_by(4, top), [0, -1, 0]);
        assert_eq!(turned_by(5, top), [0, 1, 0]);
    }

    #[test]
    fn a_second_turn_goes_by_the_tank_not_by_the_turned_piece() {
        let quarter = std::f64::consts::FRAC_PI_4;
        let (sin, cos) = quarter.sin_cos();
        let first = [cos, 0.0, sin, 0.0];
        let second = [cos, 0.0, 0.0, sin];
        let both = after(second, first);
        let at = [1.0, 0.0, 0.0];
        let one_by_one = turned(second, turned(first, at));
        let at_once = turned(both, at);
        for axis in 0..3 {
            assert!((at_once[axis] - one_by_one[axis]).abs() < 1e-12);
        }
    }
}
