//! What comes into the model and what it asks the shell to do.

use std::sync::Arc;

use super::{
    AddNews, AddWork, Keymap, MaskWork, MaskedPrint, Notice, Print, Seen, Source, SpreadWork,
};
use crate::project::{Action, Decision, Project, Refusal, SceneEdit, Silence};
use crate::report::spread::Form;

/// A key, as the shell translates it; releases never arrive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key {
    /// Which.
    pub code: KeyCode,
    /// Whether Control was held.
    pub ctrl: bool,
}

/// Which key. The numeric keypad's digits, point, comma and Enter arrive as
/// their characters and [`KeyCode::Enter`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum KeyCode {
    /// A character.
    Char(char),
    /// Enter.
    Enter,
    /// Escape.
    Esc,
    /// Tab.
    Tab,
    /// Shift-Tab.
    BackTab,
    /// Backspace.
    Backspace,
    /// Delete.
    Delete,
    /// Arrow up.
    Up,
    /// Arrow down.
    Down,
    /// Arrow left.
    Left,
    /// Arrow right.
    Right,
    /// Home.
    Home,
    /// End.
    End,
    /// Page up.
    PageUp,
    /// Page down.
    PageDown,
    /// A function key.
    F(u8),
}

/// Why something the model asked for was not done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Failure {
    /// A rule refused it: what would do instead is inside.
    Refused(Refusal),
    /// The disk, a file or another program stood in the way: message, remedy.
    Trouble {
        /// What is wrong, with file, line and column where there are such.
        message: String,
        /// What would do.
        remedy: String,
    },
}

/// What comes into the model.
#[derive(Debug)]
pub enum Message {
    /// A key was pressed.
    Key(Key),
    /// Text was pasted.
    Paste(String),
    /// The wall clock moved on; redraw what shows seconds.
    Tick,
    /// The project is now this (after a record, an edit, or another program).
    Project(Box<Project>),
    /// What became of an [`Effect::Record`]; a `Project` came before it if it
    /// was done.
    Recorded(Result<Decision, Failure>),
    /// Something the shell wants said: what an editor or a printout led to.
    Notice(String),
    /// What the store warns of; told until the project reads otherwise.
    Warned(String),
    /// What the programs on this project want no more notices of.
    Silenced(Vec<Silence>),
    /// What was told of what is due and what was silenced, by all programs: the
    /// latest first, in words.
    Told(Vec<String>),
    /// Nothing is written down any more until the project is opened again: why,
    /// and what would do. It stands from now on, whatever else is said.
    Stopped(String),
    /// An effect other than a record failed.
    Failed(Failure),
    /// What became of the [`Effect::Adding`] with this number.
    Adding(u32, AddNews),
    /// The user's own keys are now these; or why they are not taken.
    Keys(Result<Keymap, String>),
    /// The work on a piece's print is so far.
    PrintAt {
        /// Which piece.
        piece: String,
        /// What is done, in plain words.
        step: &'static str,
        /// Which share of the whole is done, 0 to 1.
        done: f64,
    },
    /// What became of an [`Effect::ReadPrint`]: the print, or in words why not.
    PrintRead {
        /// Of which piece.
        piece: String,
        /// The print.
        result: Result<Arc<Print>, String>,
    },
    /// What became of an [`Effect::SurveyMasks`]: what is to be written, or in
    /// words why nothing.
    MasksSurveyed {
        /// Of which piece.
        piece: String,
        /// What was found.
        result: Result<Box<MaskedPrint>, String>,
    },
    /// What became of an [`Effect::WriteMasks`].
    MasksWritten(Box<MaskedPrint>, Result<(), Failure>),
    /// The file of a piece's print is another since it was read.
    PrintChanged(String),
    /// The work on where the metal goes is so far.
    SpreadAt {
        /// What is done, in plain words.
        step: &'static str,
        /// Which share of the whole is done, 0 to 1.
        done: f64,
    },
    /// What became of an [`Effect::Spread`]: where the metal goes, or in words
    /// why that is not known.
    SpreadSolved {
        /// In which tank.
        tank: String,
        /// What came of it.
        result: Result<Arc<Seen>, String>,
    },
    /// What became of an [`Effect::EditScene`].
    SceneEdited(Box<SceneEdit>, Result<(), Failure>),
    /// The file of a print in a tank is another since it was computed.
    SpreadChanged(String),
    /// Whether the terminal draws pictures.
    Pictures(bool),
    /// Whether the Piece screen has room for a picture of the print.
    Room(bool),
}

/// What the model asks the shell to do.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// Decide on, write down and fold an action (its `who` is already set). A
    /// logger's file without a checksum is still where the user named it.
    Record(Action),
    /// Remember who the user is, in the user's settings.
    SaveWho(String),
    /// Open `project.ron` in the user's editor, then read it again.
    EditProject,
    /// Write a Markdown or text file into the project's folder: name, content.
    WriteFile {
        /// File name, relative to the project's folder.
        name: String,
        /// What to write.
        content: String,
    },
    /// Work for a piece that is added, under a number; what was asked under
    /// another is given up.
    Adding(u32, AddWork),
    /// Put text on the clipboard of the terminal (OSC 52).
    Copy(String),
    /// Tell what is due, unless another program has dealt with it meanwhile.
    Notify(Box<Notice>),
    /// Write down that no more notices are wanted, for all programs.
    Silence(Silence),
    /// Read and survey the print of a piece; one that is still read is given up.
    ReadPrint {
        /// Which piece.
        piece: String,
        /// From what.
        source: Source,
    },
    /// Read and survey the print of a piece with other masks than it has; one
    /// that is still read is given up.
    SurveyMasks(Box<MaskWork>),
    /// Write other masks into `project.ron`, with what their survey found.
    WriteMasks(Box<MaskedPrint>),
    /// Compute where the metal goes; what is still computed is given up.
    Spread(Box<SpreadWork>),
    /// Take into the project what was computed for a tank, as somebody says.
    TakeSpread {
        /// The tank.
        tank: String,
        /// What came of it.
        seen: Arc<Seen>,
        /// Who says so.
        who: String,
    },
    /// Give up what is computed.
    StopSpread,
    /// Write what was computed of a tank into a file of the project's folder.
    WriteSpread {
        /// Of which tank.
        tank: String,
        /// As what.
        form: Form,
    },
    /// Change in `project.ron` what hangs where.
    EditScene(Box<SceneEdit>),
    /// Give up the print that is read.
    StopReading,
    /// Stop to the shell (Ctrl-Z), come back with `fg`.
    Suspend,
    /// Leave.
    Quit,
}
