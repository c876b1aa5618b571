//! The user's project: its definition, what happened, and the state that folds
//! out of both.
//!
//! Three ideas carry this room:
//!
//! - A [`Definition`] is what a person wrote in `project.ron`.
//! - An [`Event`] is what happened, with two instants: when (`at`) and when it
//!   was written down (`recorded`).
//! - A [`State`] is a pure fold of the events over the definition, ordered by
//!   `at`, then sequence. A rule looks at the state and yields either an event
//!   or a [`Refusal`] that says what to do instead.
//!
//! Nothing here reads a clock or a file: the present is an argument.

mod ahead;
mod asked;
mod closeout;
mod current;
mod decide;
mod definition;
mod due;
mod event;
mod figures;
mod fold;
mod gate_table;
mod gates;
mod glimpse;
mod history;
mod hung;
mod joint;
mod ladder;
mod mask_edit;
mod nearest;
mod placed;
mod possible;
mod refold;
mod refusal;
mod retell;
mod scene_edit;
mod shares;
mod stage;
mod state;
mod surveyed;
mod validate;
mod warnings;
mod words;

pub(crate) use nearest::nearest;

pub use ahead::Planned;
pub use asked::{Flow, Outline};
pub use closeout::{CloseOut, Item, MaySign, Side};
pub use decide::{Action, Contradiction, Decision, Project, READING};
pub use definition::{
    Anode, Bath, Definition, DefinitionError, FORMAT, GatePatch, HoldRule, Intervals, Joint,
    JointKind, Ladders, Limits, Mask, MeshRef, OwnStage, Piece, StandingItem, Stirring, Supply,
    Tank, Target, Unattended, Uncertainty, Wire,
};
pub use due::{Due, DueKind, DueName, Silence};
pub use event::{ClosedItem, Event, Subject, What};
pub use figures::{Behind, Charges, HoldFigures, Match, PieceFigures, TankFigures, weighing};
pub use gate_table::{GateRule, When};
pub use gates::GateView;
pub use glimpse::Outcome;
pub use history::History;
pub use hung::{
    ACID_COPPER, ACID_COPPER_S_M, Evenness, Hangs, Law, Lead, Plate, PrintBox, Rod, SUPPLY_SAID,
};
pub use joint::{JointFit, fit};
pub use ladder::{LadderStep, NextStep, Step};
pub use mask_edit::MaskEdit;
pub use refusal::{Command, Refusal, quoted};
pub use scene_edit::SceneEdit;
pub use shares::{PieceShare, PredictedFor, ShareBy, Sharing};
pub use stage::Stage;
pub use state::{
    Hold, LogRow, Look, Mark, MarkKind, Moved, PieceState, Reading, StageSpan, StageState, State,
    TankState, Upkeep,
};
pub use surveyed::{Surveyed, SurveyedPrint, TRUE_TO_SIZE, survey_for_piece};
pub use words::{
    BathWork, ContactChange, Coverage, Finding, FindingKind, Mode, Setting, WeighedAs,
};
