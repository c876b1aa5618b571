//! What can happen, as the journal keeps it.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::shares::shares_told;
use super::{BathWork, ContactChange, Finding, Mode, PieceShare, Setting, Stage, WeighedAs};
use crate::units::{Current, Instant, Mass, Ratio, Resistance, Temperature, Voltage};

/// One line of the journal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Event {
    /// 1, 2, 3 … in the order they were written down.
    pub sequence: u64,
    /// When it happened.
    pub at: Instant,
    /// When it was written down.
    pub recorded: Instant,
    /// Who wrote it down.
    pub who: String,
    /// What happened.
    pub what: What,
    /// Why gates were passed that did not hold, if any were.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// The gates that were passed so.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub overridden: Vec<String>,
}

/// What happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum What {
    /// A stage was begun; strike and build hang the piece in a tank.
    Start {
        /// Which piece.
        piece: String,
        /// Which stage.
        stage: Stage,
        /// Where it hangs, for strike and build.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        tank: Option<String>,
    },
    /// Work stopped; in a tank this means no current.
    Pause {
        /// Which piece.
        piece: String,
    },
    /// Work went on.
    Resume {
        /// Which piece.
        piece: String,
    },
    /// The stage is done.
    Finish {
        /// Which piece.
        piece: String,
    },
    /// Back to an earlier stage; delivered charge is kept.
    Rework {
        /// Which piece.
        piece: String,
        /// To which stage.
        stage: Stage,
        /// Why.
        because: String,
    },
    /// The stage is left out.
    Skip {
        /// Which piece.
        piece: String,
        /// Which stage.
        stage: Stage,
        /// Why.
        because: String,
    },
    /// Out of the bath for a look.
    Lift {
        /// Which piece.
        piece: String,
    },
    /// Back into the bath.
    Return {
        /// Which piece.
        piece: String,
        /// Whether it was dipped in acid first.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        dipped: bool,
    },
    /// A bare spot was repainted.
    TouchUp {
        /// Which piece.
        piece: String,
        /// Where.
        place: String,
    },
    /// A look, with what was seen.
    Look {
        /// Which piece.
        piece: String,
        /// What was seen, where and on how much of it.
        findings: Vec<Finding>,
    },
    /// Conditions that a person confirmed.
    Tick {
        /// Which piece.
        piece: String,
        /// Which conditions.
        names: Vec<String>,
    },
    /// A resistance of the coat or of a contact.
    Ohms {
        /// Which piece.
        piece: String,
        /// What the meter said.
        resistance: Resistance,
        /// From where to where, or which contact.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<String>,
    },
    /// A weighing.
    Weigh {
        /// Which piece.
        piece: String,
        /// What the balance said.
        mass: Mass,
        /// In which condition.
        condition: WeighedAs,
    },
    /// One more conductive coat (or clear coat, in seal) went on.
    Coat {
        /// Which piece.
        piece: String,
    },
    /// Its orientation in the tank was changed.
    Turn {
        /// Which piece.
        piece: String,
        /// How it hangs now.
        text: String,
    },
    /// A contact was moved, loosened or added.
    Contact {
        /// Which piece.
        piece: String,
        /// What was done.
        change: ContactChange,
        /// Where.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        text: String,
    },
    /// Wiped, dipped, polished or touched: a running hold begins anew. Several
    /// pieces are refreshed together.
    Wipe {
        /// Which pieces.
        pieces: Vec<String>,
    },
    /// The air a piece is in.
    Climate {
        /// Which piece.
        piece: String,
        /// Temperature of the air.
        celsius: Temperature,
        /// Relative humidity.
        humidity: Ratio,
    },
    /// A remark.
    Note {
        /// Which piece.
        piece: String,
        /// The remark.
        text: String,
    },
    /// Volts and amps were read at a tank, or on one piece's own lead.
    Reading {
        /// Which tank.
        tank: String,
        /// Volts.
        volts: Voltage,
        /// Amps.
        amps: Current,
        /// Bath temperature.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        celsius: Option<Temperature>,
        /// What the supply limits, where its lamp says.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mode: Option<Mode>,
        /// The piece whose own lead it is.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        piece: Option<String>,
    },
    /// The supply was set or switched off.
    Supply {
        /// Which tank's.
        tank: String,
        /// To what.
        to: Setting,
    },
    /// Upkeep of a bath.
    Bath {
        /// Which tank's.
        tank: String,
        /// What was done.
        work: BathWork,
    },
    /// From now on the pieces that hang in a tank share its current so, as a
    /// field predicts, for as long as they hang there unchanged. Of none: by
    /// area again.
    Shares {
        /// Which tank's.
        tank: String,
        /// What each piece in it takes.
        shares: Vec<PieceShare>,
        /// Relative standard uncertainty of a share.
        rel: f64,
        /// The digest of the scene that was asked, as the project told it; empty
        /// for shares that were found otherwise.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        scene: String,
        /// The digest of the result; empty likewise.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        result: String,
    },
    /// A data logger's file was taken in.
    Logger {
        /// Which tank's.
        tank: String,
        /// The file, relative to the project's folder.
        file: String,
        /// Its SHA-256, so that a later change is noticed.
        sha256: String,
    },
    /// Close-out items that were done.
    CloseoutTick {
        /// Which items.
        items: Vec<String>,
    },
    /// The evening was closed; the sheet as it was signed.
    CloseoutSign {
        /// Every item as it stood.
        sheet: Vec<ClosedItem>,
    },
    /// An event is taken back.
    Undo {
        /// Its sequence.
        sequence: u64,
    },
    /// An event that was taken back holds again.
    Redo {
        /// Its sequence.
        sequence: u64,
    },
}

/// What an event is about, for marks and for telling what depends on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject<'a> {
    /// One or more pieces.
    Pieces(&'a [String]),
    /// One piece.
    Piece(&'a str),
    /// A tank, its bath or its supply.
    Tank(&'a str),
    /// The whole project.
    Project,
}

impl What {
    /// What it is about.
    pub fn subject(&self) -> Subject<'_> {
        match self {
            Self::Start { piece, .. }
            | Self::Pause { piece }
            | Self::Resume { piece }
            | Self::Finish { piece }
            | Self::Rework { piece, .. }
            | Self::Skip { piece, .. }
            | Self::Lift { piece }
            | Self::Return { piece, .. }
            | Self::TouchUp { piece, .. }
            | Self::Look { piece, .. }
            | Self::Tick { piece, .. }
            | Self::Ohms { piece, .. }
            | Self::Weigh { piece, .. }
            | Self::Coat { piece }
            | Self::Turn { piece, .. }
            | Self::Contact { piece, .. }
            | Self::Climate { piece, .. }
            | Self::Note { piece, .. } => Subject::Piece(piece),
            Self::Wipe { pieces } => Subject::Pieces(pieces),
            Self::Reading { tank, .. }
            | Self::Supply { tank, .. }
            | Self::Bath { tank, .. }
            | Self::Shares { tank, .. }
            | Self::Logger { tank, .. } => Subject::Tank(tank),
            Self::CloseoutTick { .. }
            | Self::CloseoutSign { .. }
            | Self::Undo { .. }
            | Self::Redo { .. } => Subject::Project,
        }
    }

    /// Whether it is about this piece.
    pub fn concerns(&self, piece: &str) -> bool {
        match self.subject() {
            Subject::Piece(name) => name == piece,
            Subject::Pieces(names) => names.iter().any(|n| n == piece),
            Subject::Tank(_) => match self {
                Self::Reading { piece: own, .. } => own.as_deref() == Some(piece),
                Self::Shares { shares, .. } => shares.iter().any(|of| of.piece == piece),
                _ => false,
            },
            Subject::Project => false,
        }
    }
}

/// Told in a few words: `start strike of stem in main`.
impl fmt::Display for What {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Start {
                piece,
                stage,
                tank: Some(tank),
            } => write!(f, "start {stage} of {piece} in {tank}"),
            Self::Start {
                piece,
                stage,
                tank: None,
            } => write!(f, "start {stage} of {piece}"),
            Self::Pause { piece } => write!(f, "pause {piece}"),
            Self::Resume { piece } => write!(f, "resume {piece}"),
            Self::Finish { piece } => write!(f, "finish the stage of {piece}"),
            Self::Rework {
                piece,
                stage,
                because,
            } => write!(f, "rework {piece} to {stage}: {because}"),
            Self::Skip {
                piece,
                stage,
                because,
            } => write!(f, "skip {stage} of {piece}: {because}"),
            Self::Lift { piece } => write!(f, "lift {piece}"),
            Self::Return {
                piece,
                dipped: true,
            } => write!(f, "return {piece}, dipped"),
            Self::Return {
                piece,
                dipped: false,
            } => write!(f, "return {piece}"),
            Self::TouchUp { piece, place } => write!(f, "touch-up of {piece}: {place}"),
            Self::Look { piece, findings } => {
                write!(f, "look at {piece}:")?;
                findings
                    .iter()
                    .try_for_each(|finding| write!(f, " {finding}"))
            }
            Self::Tick { piece, names } => write!(f, "tick of {piece}: {}", names.join(", ")),
            Self::Ohms {
                piece,
                resistance,
                place,
            } => {
                write!(f, "{resistance} on {piece}")?;
                place.iter().try_for_each(|place| write!(f, " at {place}"))
            }
            Self::Weigh {
                piece,
                mass,
                condition,
            } => write!(f, "{piece} weighs {mass} {condition}"),
            Self::Coat { piece } => write!(f, "one more coat on {piece}"),
            Self::Turn { piece, text } => write!(f, "turn {piece}: {text}"),
            Self::Contact {
                piece,
                change,
                text,
            } if text.is_empty() => write!(f, "contact of {piece} {change}"),
            Self::Contact {
                piece,
                change,
                text,
            } => write!(f, "contact of {piece} {change}: {text}"),
            Self::Wipe { pieces } if pieces.len() == 1 => write!(f, "wipe {}", pieces.join(", ")),
            Self::Wipe { pieces } => write!(f, "refresh {}", pieces.join(", ")),
            Self::Climate {
                piece,
                celsius,
                humidity,
            } => write!(f, "air of {piece}: {celsius}, {humidity} humidity"),
            Self::Note { piece, text } => write!(f, "note on {piece}: {text}"),
            Self::Reading {
                tank,
                volts,
                amps,
                celsius,
                mode,
                piece,
            } => {
                write!(f, "{} reads {volts} {amps}", piece.as_ref().unwrap_or(tank))?;
                celsius.iter().try_for_each(|c| write!(f, " {c}"))?;
                mode.iter().try_for_each(|m| write!(f, " {m}"))
            }
            Self::Supply { tank, to } => write!(f, "supply of {tank} {to}"),
            Self::Bath { tank, work } => write!(f, "bath of {tank}: {work}"),
            Self::Shares { tank, shares, .. } => f.write_str(&shares_told(tank, shares)),
            Self::Logger { tank, file, .. } => write!(f, "logger file {file} of {tank}"),
            Self::CloseoutTick { items } => write!(f, "close-out tick {}", items.join(", ")),
            Self::CloseoutSign { .. } => write!(f, "close-out signed"),
            Self::Undo { sequence } => write!(f, "undo #{sequence}"),
            Self::Redo { sequence } => write!(f, "redo #{sequence}"),
        }
    }
}

/// An item of a signed close-out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClosedItem {
    /// Its name.
    pub id: String,
    /// Whether it belongs to the tank side (else the paper side).
    pub tank_side: bool,
    /// What it says.
    pub text: String,
    /// Whether it was done.
    pub done: bool,
    /// By whom.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// When.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<Instant>,
}
