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

mod closeout;
mod decide;
mod definition;
mod due;
mod event;
mod figures;
mod fold;
mod gates;
mod ladder;
mod refusal;
mod stage;
mod state;
mod warnings;

pub use closeout::{CloseOut, Item, MaySign, Side};
pub use decide::{Action, Contradiction, Decision, Project};
pub use definition::{
    Anode, Bath, Definition, DefinitionError, FORMAT, GatePatch, HoldRule, Intervals, Joint,
    Ladders, Limits, Mask, MeshRef, OwnStage, Piece, StandingItem, Stirring, Supply, Tank, Target,
    Unattended, Uncertainty, Wire,
};
pub use due::{Due, DueKind};
pub use event::{
    BathWork, ClosedItem, ContactChange, Coverage, Event, Finding, FindingKind, Mode, Setting,
    Subject, WeighedAs, What,
};
pub use figures::{Behind, Charges, HoldFigures, Match, PieceFigures, TankFigures, weighing};
pub use gates::{GateRule, GateView, When};
pub use ladder::{LadderStep, NextStep, Step};
pub use refusal::{Command, Refusal, quoted};
pub use stage::Stage;
pub use state::{
    Hold, LogRow, Look, Mark, MarkKind, PieceState, Reading, StageSpan, StageState, State,
    TankState, Upkeep,
};
