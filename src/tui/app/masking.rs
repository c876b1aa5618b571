//! The masks of a piece, seen from its print: one more at the marker or by a
//! group of the file, one taken off. Each is surveyed anew, then written into
//! `project.ron`.

use std::sync::Arc;

use super::inside::{moved, row_of_digit};
use super::print::{Marker, Print, Source, upright};
use super::{Effect, Failure, Field, Key, KeyCode, Layer, Model, Showing};
use crate::mesh::{self, Corner};
use crate::project::{Mask, MaskEdit, Piece};
use crate::units::{AH, LengthDim, MM, rounded};

/// The masks of a piece, over its print.
#[derive(Debug, Clone, PartialEq)]
pub struct Masking {
    /// Which piece.
    pub piece: String,
    /// The marked place with what is upright there, of any length.
    pub marked: Option<(Marker, Corner)>,
    /// The groups that the file names.
    pub groups: Vec<String>,
    /// How far it is.
    pub step: MaskStep,
    /// What is wrong.
    pub wrong: Option<String>,
}

/// How far the choice of a mask is.
#[derive(Debug, Clone, PartialEq)]
pub enum MaskStep {
    /// What can be added, then the masks there are; the selected line.
    List(usize),
    /// The sizes of a new mask are typed.
    Fields {
        /// Of which kind it is.
        kind: MaskKind,
        /// Its sizes, its name last.
        fields: Vec<Field>,
        /// The field under the cursor.
        at: usize,
    },
    /// A group of the file is chosen; the selected one.
    Groups(usize),
    /// Whether this mask, at its place, is to be taken off.
    Sure(usize, Mask),
}

/// A kind of mask that can be added from the print.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MaskKind {
    /// From the marker up to a crease.
    Patch,
    /// A ball around the marker.
    Ball,
    /// All below or above the marker.
    Side,
    /// A cylinder through the marker, upright on the surface.
    Cylinder,
    /// A box around the marker.
    Box,
    /// A group named in the file.
    Group,
}

impl MaskKind {
    /// Every kind, as they are listed.
    pub const ALL: [Self; 6] = [
        Self::Patch,
        Self::Ball,
        Self::Side,
        Self::Cylinder,
        Self::Box,
        Self::Group,
    ];

    /// What the list says.
    pub fn say(self) -> &'static str {
        match self {
            Self::Patch => "patch from the marker up to a crease",
            Self::Ball => "ball around the marker",
            Self::Side => "all below or above the marker",
            Self::Cylinder => "cylinder through the marker, upright on the surface",
            Self::Box => "box around the marker",
            Self::Group => "a group named in the file",
        }
    }

    /// What its sizes mean.
    pub fn explained(self) -> &'static str {
        match self {
            Self::Patch => {
                "it grows from the marker over edges that are bent by no more than so much"
            }
            Self::Ball => "all of the surface within the radius",
            Self::Side => "level with the marker, as the print lies in its file: z is up",
            Self::Cylinder => "its axis stands upright on the surface, as deep out as in",
            Self::Box => "the marker is in its middle; x, y and z are those of the file",
            Self::Group => "all triangles that the file has under this name",
        }
    }

    /// The sizes that are asked, with common ones ready.
    fn fields(self) -> Vec<Field> {
        let mm = |label, size| Field::number(label, "mm", Some(size));
        match self {
            Self::Patch => vec![Field::number("crease", "degrees", Some(30.0))],
            Self::Ball => vec![mm("radius", 5.0)],
            Self::Side => {
                let sides = ["below the marker", "above the marker"];
                vec![Field::choice("masked", sides.map(str::to_owned).to_vec())]
            }
            Self::Cylinder => vec![mm("radius", 5.0), mm("depth each way", 5.0)],
            Self::Box => vec![
                mm("width x", 10.0),
                mm("depth y", 10.0),
                mm("height z", 10.0),
            ],
            Self::Group => Vec::new(),
        }
    }

    /// The mask of these sizes at a marker; `None` for a group.
    ///
    /// # Errors
    /// In words, what is wrong with a size.
    fn shape(
        self,
        (marker, upright): &(Marker, Corner),
        fields: &[Field],
    ) -> Result<Option<mesh::Mask>, String> {
        // A thousandth of a mm is finer than any print.
        let at = marker.at_mm.map(rounded_mm);
        let moved = |by: Corner| [0, 1, 2].map(|axis| rounded_mm(at[axis] + by[axis]));
        let size = |n: usize| mm(&fields[n]);
        Ok(Some(match self {
            Self::Patch => mesh::Mask::Patch {
                point: at,
                degrees: degrees(&fields[0])?,
            },
            Self::Ball => mesh::Mask::Sphere {
                middle: at,
                radius: size(0)?,
            },
            Self::Side => mesh::Mask::Plane {
                point: at,
                normal: [0.0, 0.0, if fields[0].chosen() == 0 { -1.0 } else { 1.0 }],
            },
            Self::Cylinder => {
                let (radius, depth) = (size(0)?, size(1)?);
                let length = upright.iter().map(|d| d * d).sum::<f64>().sqrt();
                let out = upright.map(|d| d / length * depth);
                if !out.iter().all(|d| d.is_finite()) {
                    return Err("the triangle here has no area: mark one beside it".to_owned());
                }
                mesh::Mask::Cylinder {
                    from: moved(out.map(|d| -d)),
                    to: moved(out),
                    radius,
                }
            }
            Self::Box => {
                let half = [size(0)? / 2.0, size(1)? / 2.0, size(2)? / 2.0];
                mesh::Mask::Box {
                    from: moved(half.map(|d| -d)),
                    to: moved(half),
                }
            }
            Self::Group => return Ok(None),
        }))
    }
}

fn rounded_mm(mm: f64) -> f64 {
    // Plus zero, so that no minus zero is written.
    (mm * 1000.0).round() / 1000.0 + 0.0
}

/// A length above a hundredth of a mm.
fn mm(field: &Field) -> Result<f64, String> {
    let length = field.quantity::<LengthDim>()?.map(|length| length.to(MM));
    length
        .filter(|mm| *mm >= 0.01)
        .map(|mm| rounded(mm, 6))
        .ok_or_else(|| format!("{} wants a length of 0.01 mm or more", field.label))
}

fn degrees(field: &Field) -> Result<f64, String> {
    let number = field.text.trim().replace(',', ".").parse().ok();
    number
        .filter(|degrees| (0.0..=180.0).contains(degrees))
        .ok_or_else(|| format!("{} wants degrees from 0 to 180", field.label))
}

/// Masks to be surveyed and then written.
#[derive(Debug, Clone, PartialEq)]
pub struct MaskWork {
    /// Of which piece.
    pub piece: String,
    /// The masks that it has.
    pub before: Vec<Mask>,
    /// What becomes of them.
    pub edit: MaskEdit,
    /// What the print is read from with the change made.
    pub source: Source,
}

/// A print that was surveyed with other masks.
#[derive(Debug, Clone, PartialEq)]
pub struct MaskedPrint {
    /// What was asked.
    pub work: MaskWork,
    /// The print with them.
    pub print: Arc<Print>,
    /// What is to stand in `project.ron` besides: paths and values in RON.
    pub values: Vec<(String, String)>,
}

impl Masking {
    /// The masks that the piece has.
    pub fn masks<'m>(&self, model: &'m Model) -> &'m [Mask] {
        let piece = model.project.definition.piece(&self.piece);
        piece.map_or(&[], |piece| &piece.masks)
    }

    /// How many lines its list has: what can be added, what can be taken off.
    pub fn rows(&self, model: &Model) -> usize {
        MaskKind::ALL.len() + self.masks(model).len()
    }

    /// Pasted text goes into the field under the cursor.
    pub(super) fn paste(&mut self, text: &str) {
        if let MaskStep::Fields { fields, at, .. } = &mut self.step {
            fields[*at].paste(text);
        }
    }
}

/// Opens the masks over a print, or says why not.
pub(super) fn open(model: &mut Model, showing: &Showing) -> Option<Masking> {
    let piece = &showing.piece;
    if Source::of(&model.project.definition, piece).is_none() {
        model.say("masks are parts of a print, and this piece has none");
        return None;
    }
    let known = model.prints.of(piece);
    let print = known.filter(|known| known.reading.is_none());
    let Some(print) = print.and_then(|known| known.print.as_deref()) else {
        model.say("its masks can be chosen when the print is read");
        return None;
    };
    let marked = showing.marker.and_then(|marker| {
        let facet = print.facet(&marker)?;
        Some((marker, upright(facet)))
    });
    Some(Masking {
        piece: piece.clone(),
        marked,
        groups: print.groups.clone(),
        step: MaskStep::List(0),
        wrong: None,
    })
}

/// A key while the masks are shown.
pub(super) fn key(model: &mut Model, mut masking: Box<Masking>, key: Key) -> Vec<Effect> {
    let next = match masking.step.clone() {
        MaskStep::List(row) => in_list(model, &mut masking, row, key),
        MaskStep::Groups(row) => in_groups(model, &mut masking, row, key),
        MaskStep::Sure(at, mask) => is_sure(model, &mut masking, (at, &mask), key),
        MaskStep::Fields { kind, fields, at } => {
            let (next, step) = in_fields(model, &mut masking, (kind, fields, at), key);
            masking.step = step;
            next
        }
    };
    match next {
        Next::Stay => model.layers.push(Layer::Masking(masking)),
        Next::Help => {
            let help = [Layer::Masking(masking), Layer::Help(0)];
            model.layers.extend(help);
        }
        Next::Leave => {}
        Next::Do(edit) => return begin(model, &masking.piece, edit),
    }
    Vec::new()
}

/// What a key led to.
enum Next {
    Stay,
    Help,
    Leave,
    Do(MaskEdit),
}

fn in_list(model: &Model, masking: &mut Masking, row: usize, key: Key) -> Next {
    let masks = masking.masks(model);
    let rows = masking.rows(model);
    let taken =
        row_of_digit(row, rows, key).or_else(|| (key.code == KeyCode::Enter).then_some(row));
    masking.wrong = None;
    if let Some(row) = taken {
        masking.step = MaskStep::List(row);
        let at = row.saturating_sub(MaskKind::ALL.len());
        if let Some(kind) = MaskKind::ALL.get(row) {
            choose(model, masking, *kind);
        } else if let Some(mask) = masks.get(at) {
            masking.step = MaskStep::Sure(at, mask.clone());
        }
    } else if let Some(row) = moved(row, rows, key) {
        masking.step = MaskStep::List(row);
    } else if matches!(key.code, KeyCode::Char('/' | '?')) {
        return Next::Help;
    } else if key.is_back() {
        return Next::Leave;
    }
    Next::Stay
}

fn choose(model: &Model, masking: &mut Masking, kind: MaskKind) {
    if kind == MaskKind::Group {
        if masking.groups.is_empty() {
            masking.wrong = Some("the file names no groups: mask by a shape".to_owned());
        } else {
            masking.step = MaskStep::Groups(0);
        }
        return;
    }
    if masking.marked.is_none() {
        let wrong = "nothing is marked: go back and set the marker with *";
        masking.wrong = Some(wrong.to_owned());
        return;
    }
    let mut name = Field::words(
        "name",
        ["socket", "peg", "thread", "contact"]
            .map(str::to_owned)
            .to_vec(),
    );
    name.text = free_name(masking.masks(model), "mask1");
    let mut fields = kind.fields();
    fields.push(name);
    masking.step = MaskStep::Fields {
        kind,
        fields,
        at: 0,
    };
}

/// A name that no mask has: the wished one, or one with the next free number.
fn free_name(masks: &[Mask], wished: &str) -> String {
    let is_free = |name: &String| masks.iter().all(|mask| mask.name != *name);
    let stem = wished.trim_end_matches(|c: char| c.is_ascii_digit());
    let numbered = (1..=masks.len() + 1).map(|n| format!("{stem}{n}"));
    let mut names = std::iter::once(wished.to_owned()).chain(numbered);
    names.find(is_free).unwrap_or_default()
}

fn in_groups(model: &Model, masking: &mut Masking, row: usize, key: Key) -> Next {
    let rows = masking.groups.len();
    let taken =
        row_of_digit(row, rows, key).or_else(|| (key.code == KeyCode::Enter).then_some(row));
    if let Some(group) = taken.and_then(|row| masking.groups.get(row)) {
        return Next::Do(MaskEdit::Add(Mask {
            name: free_name(masking.masks(model), group),
            shape: mesh::Mask::Group(group.clone()).to_string(),
            takes: None,
        }));
    }
    if let Some(row) = moved(row, rows, key) {
        masking.step = MaskStep::Groups(row);
    } else if key.is_back() {
        masking.step = MaskStep::List(MaskKind::ALL.len() - 1);
    }
    Next::Stay
}

/// Enter, or nothing.
fn is_sure(model: &Model, masking: &mut Masking, (at, mask): (usize, &Mask), key: Key) -> Next {
    let is_there = masking.masks(model).get(at) == Some(mask);
    if key.code == KeyCode::Enter && is_there {
        return Next::Do(MaskEdit::Remove(at));
    }
    masking.wrong = Some("it stays as it was".to_owned());
    masking.step = MaskStep::List(MaskKind::ALL.len() + at);
    Next::Stay
}

fn in_fields(
    model: &Model,
    masking: &mut Masking,
    (kind, mut fields, at): (MaskKind, Vec<Field>, usize),
    key: Key,
) -> (Next, MaskStep) {
    let last = fields.len() - 1;
    let mut next = Next::Stay;
    let mut to = at;
    if fields[at].key(key) {
        masking.wrong = None;
    } else {
        match key.code {
            KeyCode::Enter if at < last => to = at + 1,
            KeyCode::Enter | KeyCode::Char('+') => match made(model, masking, kind, &fields) {
                Ok(edit) => next = Next::Do(edit),
                Err(wrong) => masking.wrong = Some(wrong),
            },
            KeyCode::Down | KeyCode::Tab => to = (at + 1).min(last),
            KeyCode::Up | KeyCode::BackTab => to = at.saturating_sub(1),
            KeyCode::Char('*') => fields[at].empty(),
            _ if key.is_back() && at > 0 => to = at - 1,
            _ if key.is_back() => {
                masking.wrong = None;
                let row = MaskKind::ALL.iter().position(|of| *of == kind);
                return (next, MaskStep::List(row.unwrap_or(0)));
            }
            _ => {}
        }
    }
    if to != at {
        fields[to].enter_anew();
    }
    let at = to;
    (next, MaskStep::Fields { kind, fields, at })
}

/// The mask that the fields say.
fn made(
    model: &Model,
    masking: &Masking,
    kind: MaskKind,
    fields: &[Field],
) -> Result<MaskEdit, String> {
    let Some((name, sizes)) = fields.split_last() else {
        return Err("it has no size".to_owned());
    };
    let name = name.said()?;
    if masking.masks(model).iter().any(|mask| mask.name == name) {
        return Err(format!("there is a mask `{name}` already"));
    }
    let marked = masking.marked.as_ref();
    let shape = marked.map(|marked| kind.shape(marked, sizes)).transpose()?;
    let shape = shape.flatten().ok_or("nothing is marked")?.to_string();
    // What would not be read again is not written.
    if let Err(wrong) = shape.parse::<mesh::Mask>() {
        return Err(wrong.to_string());
    }
    Ok(MaskEdit::Add(Mask {
        name,
        shape,
        takes: None,
    }))
}

/// Asks for the survey with the change made.
fn begin(model: &mut Model, piece: &str, edit: MaskEdit) -> Vec<Effect> {
    let Some(of) = model.project.definition.piece(piece) else {
        return Vec::new();
    };
    let masks = edit.made_on(&of.masks);
    let before = of.masks.clone();
    let Some(source) = Source::with_masks(&model.project.definition, of, &masks) else {
        return Vec::new();
    };
    model.prints.begin_masking(piece);
    vec![Effect::SurveyMasks(Box::new(MaskWork {
        piece: piece.to_owned(),
        before,
        edit,
        source,
    }))]
}

/// The survey is there: it is written, unless it was given up.
pub(super) fn surveyed(
    model: &mut Model,
    piece: &str,
    result: Result<Box<MaskedPrint>, String>,
) -> Vec<Effect> {
    if !model.prints.masks_surveyed(piece, result.is_ok()) {
        return Vec::new();
    }
    match result {
        Ok(done) => vec![Effect::WriteMasks(done)],
        Err(why) => {
            model.alarm(format!("its masks are as before: {why}"));
            Vec::new()
        }
    }
}

/// It is written, or why not.
pub(super) fn written(model: &mut Model, done: &MaskedPrint, result: Result<(), Failure>) {
    let work = &done.work;
    model.prints.masks_written(&work.piece);
    if let Err(failure) = result {
        let why = match failure {
            Failure::Refused(refusal) => refusal.because,
            Failure::Trouble { message, remedy } => format!("{message}; {remedy}"),
        };
        return model.alarm(format!("its masks are as before: {why}"));
    }
    model.print_read(&work.piece, Ok(Arc::clone(&done.print)));
    let unit = model.project.definition.units.area();
    let piece = model.project.definition.piece(&work.piece);
    let area = piece.and_then(Piece::wetted_area);
    let charge = piece.and_then(|piece| model.project.definition.charge_target(piece));
    let charge = charge.map_or_else(String::new, |charge| {
        format!(", its target {}", charge.shown(AH, 3))
    });
    let area = area.map_or_else(String::new, |area| {
        format!("; wetted area now ~{}{charge}", area.shown(unit, 4))
    });
    match &work.edit {
        MaskEdit::Add(mask) => {
            let taken = done.print.survey.masks.last();
            if let Some(because) = taken.and_then(mesh::MaskTaken::nothing_because) {
                let name = &mask.name;
                return model.alarm(format!("{name} is there and takes nothing: {because}"));
            }
            model.say(format!("{} is masked{area}", mask.name));
        }
        MaskEdit::Remove(at) => {
            let name = work.before.get(*at).map_or("it", |mask| &mask.name);
            model.say(format!("{name} is masked no more{area}"));
        }
    }
}
