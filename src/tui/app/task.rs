//! What can be recorded, as the action menu and the forms know it.

use super::suggest::override_reasons;
use super::{Field, Model};
use crate::project::{Finding, FindingKind, Setting, Stage, What};
use crate::units::{A, Instant, V};

/// For so many seconds the first reading of a piece in company is taken for
/// what the meter showed at its start.
const START_S: f64 = 600.0;

/// Something to record, before its figures are known.
#[derive(Debug, Clone, PartialEq)]
pub enum Task {
    /// Something about a piece.
    Piece(String, Deed),
    /// Something about a tank, its supply or its bath.
    Tank(String, Upkeep),
    /// Several pieces refreshed together.
    Refresh(Vec<String>),
    /// One finding of a look, to be added to those picked.
    Finding(FindingKind),
    /// An action again, with the reason to pass gates that do not hold.
    Override(Box<What>, Option<Instant>),
    /// Who is at the tank.
    Who,
    /// The supply of a tank, with this setting ready.
    Set(String, Setting),
}

/// What can be done with a piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(missing_docs, reason = "the names are those of the events")]
pub enum Deed {
    Start,
    Look,
    Lift,
    Return,
    Resume,
    Turn,
    Contact,
    TouchUp,
    Coat,
    Ohms,
    Weigh,
    OwnReading,
    Finish,
    Pause,
    Ticks,
    Wipe,
    Climate,
    Note,
    Rework,
    Skip,
}

/// What can be done with a tank.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(missing_docs, reason = "the names are those of the events")]
pub enum Upkeep {
    Reading,
    SetAmps,
    SetVolts,
    Off,
    Dose,
    Filter,
    Bags,
    TopUp,
    Anodes,
    Logger,
    Moved,
}

impl Deed {
    /// All of them, in the order the menu lists them.
    pub const ALL: [Self; 20] = [
        Self::Start,
        Self::Look,
        Self::Lift,
        Self::Return,
        Self::Resume,
        Self::Turn,
        Self::Contact,
        Self::TouchUp,
        Self::Coat,
        Self::Ohms,
        Self::Weigh,
        Self::OwnReading,
        Self::Finish,
        Self::Pause,
        Self::Ticks,
        Self::Wipe,
        Self::Climate,
        Self::Note,
        Self::Rework,
        Self::Skip,
    ];

    /// Its letter in the action menu and what it says.
    pub fn shown(self) -> (char, &'static str) {
        match self {
            Self::Start => ('s', "start"),
            Self::Look => ('k', "look: write down what is seen"),
            Self::Lift => ('l', "lift it out"),
            Self::Return => ('r', "return it to the bath"),
            Self::Resume => ('e', "resume"),
            Self::Turn => ('t', "turn: how it hangs now"),
            Self::Contact => ('c', "contact moved, loosened or added"),
            Self::TouchUp => ('o', "touch-up: a bare spot repainted"),
            Self::Coat => ('g', "one more coat on"),
            Self::Ohms => ('m', "ohms of coat or contact"),
            Self::Weigh => ('w', "weigh it"),
            Self::OwnReading => ('d', "reading on its own lead"),
            Self::Finish => ('f', "finish"),
            Self::Pause => ('p', "pause"),
            Self::Ticks => ('i', "tick conditions"),
            Self::Wipe => ('z', "wiped, dipped or touched: its ageing hold restarts"),
            Self::Climate => ('h', "air: temperature and humidity"),
            Self::Note => ('n', "note"),
            Self::Rework => ('b', "rework: back to an earlier stage"),
            Self::Skip => ('x', "skip this stage"),
        }
    }
}

impl Deed {
    /// What it says of this piece.
    pub(super) fn say(self, model: &Model, piece: &str) -> &'static str {
        let state = model.piece(piece);
        let since = state.and_then(|p| p.started_at);
        let bare = state.is_some_and(|p| !p.coats.iter().any(|at| Some(*at) >= since));
        match self {
            Self::Coat if bare => "a coat on",
            _ => self.shown().1,
        }
    }
}

impl Upkeep {
    /// All of them, in the order the menu lists them.
    pub const ALL: [Self; 11] = [
        Self::Reading,
        Self::SetAmps,
        Self::SetVolts,
        Self::Off,
        Self::Dose,
        Self::Filter,
        Self::Bags,
        Self::TopUp,
        Self::Anodes,
        Self::Logger,
        Self::Moved,
    ];

    /// Its letter in the action menu and what it says.
    pub fn shown(self) -> (char, &'static str) {
        match self {
            Self::Reading => ('r', "reading: volts, amps, bath"),
            Self::SetAmps => ('a', "supply set to amps (cc)"),
            Self::SetVolts => ('v', "supply set to volts (cv)"),
            Self::Off => ('o', "supply off"),
            Self::Dose => ('d', "dose of the bath"),
            Self::Filter => ('f', "filter changed or cleaned"),
            Self::Bags => ('b', "anode bags changed or rinsed"),
            Self::TopUp => ('t', "topped up"),
            Self::Anodes => ('n', "anode metal added"),
            Self::Logger => ('l', "take in a data logger's file (CSV)"),
            Self::Moved => ('m', "anodes or shields moved"),
        }
    }
}

impl Task {
    /// What the form says at its top.
    pub fn title(&self, model: &Model) -> String {
        match self {
            Self::Piece(
                piece,
                Deed::Start | Deed::Finish | Deed::Skip | Deed::Pause | Deed::Resume,
            ) => {
                let stage = model.piece(piece).and_then(|p| p.stage.as_ref());
                let stage = stage.map_or("", Stage::title);
                let Self::Piece(_, deed) = self else {
                    return String::new();
                };
                let verb = match deed {
                    Deed::Start => "start",
                    Deed::Finish => "finish",
                    Deed::Skip => "skip",
                    Deed::Pause => "pause",
                    _ => "resume",
                };
                format!("{verb} {stage} of {piece}")
            }
            Self::Piece(piece, deed) => format!("{piece}: {}", deed.say(model, piece)),
            Self::Tank(tank, upkeep) => format!("{tank}: {}", upkeep.shown().1),
            Self::Refresh(pieces) => format!("refresh {} together", pieces.join(", ")),
            Self::Finding(kind) => format!("{kind}: how much of it, where"),
            Self::Override(what, _) => format!("override: {what}"),
            Self::Who => "who is at the tank?".to_owned(),
            Self::Set(tank, _) => format!("set the supply of {tank}"),
        }
    }

    /// The piece it is about.
    pub fn piece(&self) -> Option<&str> {
        match self {
            Self::Piece(piece, _) => Some(piece),
            _ => None,
        }
    }

    /// Whether it is written down with the instant when it happened.
    pub fn has_when(&self) -> bool {
        !matches!(
            self,
            Self::Finding(_)
                | Self::Override(_, Some(_))
                | Self::Who
                // Its rows have instants of their own.
                | Self::Tank(_, Upkeep::Logger)
        )
    }

    /// The fields to fill in, last values ready; 'when' comes last.
    pub fn fields(&self, model: &Model) -> Vec<Field> {
        let mut fields = match self {
            Self::Piece(piece, deed) => deed.fields(model, piece),
            Self::Tank(tank, upkeep) => upkeep.fields(model, tank),
            Self::Finding(kind) => {
                let ready = (*kind == FindingKind::Covered).then_some(100.0);
                vec![
                    Field::number("share of the surface", "%", ready).optional(),
                    Field::words("place", model.places()).optional(),
                ]
            }
            Self::Override(what, _) => {
                let tanks = match &**what {
                    What::Start { piece, .. } => model.tank_choices(piece),
                    _ => Vec::new(),
                };
                let tank = (tanks.len() > 1).then(|| Field::choice("tank", tanks));
                let reason = Field::words("reason", override_reasons());
                std::iter::once(reason).chain(tank).collect()
            }
            Self::Who => {
                let mut name = Field::words("name", model.who_choices());
                name.text = model.who.clone().unwrap_or_default();
                vec![name]
            }
            Self::Set(_, Setting::Amps(amps)) => vec![Field::number("amps", "A", Some(amps.to(A)))],
            Self::Set(_, Setting::Volts(volts)) => {
                vec![Field::number("volts", "V", Some(volts.to(V)))]
            }
            Self::Set(_, Setting::Off) | Self::Refresh(_) => Vec::new(),
        };
        if self.has_when() {
            let zone = model.project.definition.zone;
            let start = self.started_just_now(model);
            fields.push(start.map_or_else(Field::when, |at| Field::when_at(at, zone)));
        }
        fields
    }

    /// Since when the share of a piece is unknown, if a reading of its own can
    /// still be told as of then.
    fn started_just_now(&self, model: &Model) -> Option<Instant> {
        let Self::Piece(piece, Deed::OwnReading) = self else {
            return None;
        };
        let since = model.figures(piece)?.charges.unknown_since?;
        (model.now.since(since) < START_S).then_some(since)
    }

    /// What happened, from the fields as they stand.
    ///
    /// # Errors
    /// In words, when a field is empty or no quantity.
    pub fn what(&self, model: &Model, fields: &[Field]) -> Result<What, String> {
        match self {
            Self::Piece(piece, deed) => deed.what(model, piece, fields),
            Self::Tank(tank, upkeep) => upkeep.what(tank, fields),
            Self::Refresh(pieces) => Ok(What::Wipe {
                pieces: pieces.clone(),
            }),
            Self::Override(what, _) => Ok(in_tank(what, fields)),
            Self::Set(tank, Setting::Amps(_)) => Upkeep::SetAmps.what(tank, fields),
            Self::Set(tank, Setting::Volts(_)) => Upkeep::SetVolts.what(tank, fields),
            Self::Set(tank, Setting::Off) => Upkeep::Off.what(tank, fields),
            Self::Finding(_) | Self::Who => Err("nothing to write down".to_owned()),
        }
    }
}

/// A start in the tank that was chosen, where there was a choice.
fn in_tank(what: &What, fields: &[Field]) -> What {
    let chosen = fields.iter().find(|f| f.label == "tank");
    match (what, chosen) {
        (What::Start { piece, stage, .. }, Some(tank)) => What::Start {
            piece: piece.clone(),
            stage: stage.clone(),
            tank: Some(tank.text.clone()),
        },
        _ => what.clone(),
    }
}

/// The finding that the form of [`Task::Finding`] tells.
///
/// # Errors
/// In words, when the share is none.
pub fn finding(kind: FindingKind, fields: &[Field]) -> Result<Finding, String> {
    let [share, place, ..] = fields else {
        return Err("a field is missing".to_owned());
    };
    let share = share.quantity::<crate::units::RatioDim>()?;
    if share.is_some_and(|s| s.si() > 1.0) {
        return Err("a share is at most 100 %".to_owned());
    }
    Ok(Finding {
        kind,
        share,
        place: Some(place.said()?).filter(|p| !p.is_empty()),
    })
}
