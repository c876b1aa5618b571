//! What may lie on top of a screen.

use super::{Adding, Changing, Field, Id, Masking, Showing, Spot, Task, Typing};
use crate::project::{Action, Finding, GateView, Refusal};

/// One thing on top of the screen.
#[derive(Debug, Clone, PartialEq)]
pub enum Layer {
    /// What can be done with a piece or a tank, or everything else.
    Menu(Menu),
    /// Entry of one thing.
    Form(Form),
    /// Picking the findings of a look.
    Look(LookEntry),
    /// Gates as a checklist.
    Gates(Checklist),
    /// A refusal with the ways out.
    Refused(Refused),
    /// A question.
    Confirm(Confirm),
    /// Help of the screen, scrolled so far.
    Help(usize),
    /// What was told of what is due, scrolled so far.
    Told(usize),
    /// What can be read across the room.
    Far,
    /// The keyboard is locked; so many keys of the unlocking sequence are done.
    Locked(usize),
    /// What the signed sheet says of the next day.
    Morning,
    /// Adding a piece with its print.
    Adding(Box<Adding>),
    /// Typing in the pencil sheet.
    Typing(Box<Typing>),
    /// The print of a piece, drawn.
    Print(Box<Showing>),
    /// The pieces of a tank by where the metal goes.
    Spread(Box<Showing>),
    /// Trying a change of what hangs where.
    Changing(Box<Changing>),
    /// The masks of a piece, over its print.
    Masking(Box<Masking>),
}

/// A menu of things to do.
#[derive(Debug, Clone, PartialEq)]
pub struct Menu {
    /// What it is about; `None` for everything else.
    pub spot: Option<Spot>,
    /// What can be done now.
    pub entries: Vec<MenuEntry>,
    /// What cannot, with the reason.
    pub cannot: Vec<(&'static str, String)>,
    /// Whether what cannot be done is shown.
    pub why: bool,
    /// The selected line.
    pub row: usize,
    /// Whether it lists figures to copy rather than what can be done.
    pub figures: bool,
}

/// One line of a menu.
#[derive(Debug, Clone, PartialEq)]
pub struct MenuEntry {
    /// Its letter.
    pub letter: char,
    /// What it says.
    pub say: String,
    /// What it does.
    pub does: Does,
}

/// What a line of a menu does.
#[derive(Debug, Clone, PartialEq)]
pub enum Does {
    /// Opens the entry of a task.
    Task(Task),
    /// A command of the table.
    Command(Id),
    /// Opens the menu of a tank.
    Menu(Spot),
    /// Copies a figure.
    Copy(String),
}

/// Entry of one thing.
#[derive(Debug, Clone, PartialEq)]
pub struct Form {
    /// What is entered.
    pub task: Task,
    /// Its title.
    pub title: String,
    /// Its fields, 'when' last where it has one.
    pub fields: Vec<Field>,
    /// The field under the cursor.
    pub at: usize,
    /// What is wrong with it, or the question of a tenfold jump.
    pub wrong: Option<String>,
    /// Whether it asks if the meter really reads as last time.
    pub asks_same: bool,
    /// Whether it waits to be written down.
    pub waits: bool,
    /// Whether it is a step of a guide and may be left out.
    pub guided: bool,
}

/// Picking the findings of a look.
#[derive(Debug, Clone, PartialEq)]
pub struct LookEntry {
    /// Which piece.
    pub piece: String,
    /// What was picked.
    pub picked: Vec<Finding>,
    /// The selected line.
    pub row: usize,
    /// What the guide says, where it is part of one.
    pub guided: bool,
    /// When: the last field.
    pub when: Field,
    /// Whether 'when' is being typed.
    pub at_when: bool,
    /// Whether it waits to be written down.
    pub waits: bool,
    /// What is wrong with it.
    pub wrong: Option<String>,
}

/// Gates as a checklist, before a start, a finish or on their own.
#[derive(Debug, Clone, PartialEq)]
pub struct Checklist {
    /// Which piece.
    pub piece: String,
    /// What waits behind the gates.
    pub then: Option<Task>,
    /// The gates that do not hold.
    pub gates: Vec<GateView>,
    /// Other ticks that can take the place of a gate: name, what it says.
    pub instead: Vec<(String, &'static str)>,
    /// The names chosen to be ticked.
    pub chosen: Vec<String>,
    /// When they were true.
    pub when: Field,
    /// Whether 'when' is being typed.
    pub at_when: bool,
    /// The selected line.
    pub row: usize,
}

/// A refusal with the ways out.
#[derive(Debug, Clone, PartialEq)]
pub struct Refused {
    /// What was refused.
    pub action: Action,
    /// Why, and what would do.
    pub refusal: Refusal,
    /// The gates that were ticked only later than it is said to have been.
    pub late: Vec<String>,
    /// The entry it came from, to be filled in again.
    pub form: Option<Form>,
    /// The ways out, as keys.
    pub ways: Vec<(&'static str, Way)>,
    /// The selected line.
    pub row: usize,
}

/// A way out of a refusal.
#[derive(Debug, Clone, PartialEq)]
pub enum Way {
    /// Open the checklist of the gates.
    Gates,
    /// Enter a reason and pass the gates.
    Override,
    /// Do this first.
    Task(Task),
    /// Enter it again.
    Again,
    /// Go to the close-out.
    CloseOut,
    /// Leave it.
    Leave,
}

/// A question, answered by Enter or by the key that asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Confirm {
    /// What is asked.
    pub question: String,
    /// What should be known first.
    pub lines: Vec<String>,
    /// What Enter does.
    pub then: Then,
}

/// What a confirmed question does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Then {
    /// Undo the last record.
    Undo,
    /// Bring back what was undone.
    Redo,
    /// Sign the close-out.
    Sign,
    /// Leave.
    Quit,
}

impl Then {
    /// The command that asked the question, whose keys answer it too.
    pub fn command(self) -> Id {
        match self {
            Self::Undo => Id::Undo,
            Self::Redo => Id::Redo,
            Self::Sign => Id::Sign,
            Self::Quit => Id::Quit,
        }
    }
}

/// One step that a guide asks, in order.
#[derive(Debug, Clone, PartialEq)]
pub enum Step {
    /// The entry of a task.
    Task(Task),
    /// The findings of a look.
    Look(String),
    /// The entry of a task before which nothing is open any more, with the
    /// instant that was typed already.
    Ready(Task, Field),
}
