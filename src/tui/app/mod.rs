//! The screen's model: what is shown, and what a key does.
//!
//! [`update`] takes a [`Message`] and the present into a [`Model`] and says
//! what the shell shall do. Everything that a key can ask for on a screen is a
//! line of [`commands`]; whatever lies on top of a screen is a [`Layer`] and
//! takes the keys first.

mod adding;
mod bell;
mod changing;
mod commands;
mod copying;
mod deed;
mod entry;
mod facts;
mod fixture;
mod guide;
mod inside;
mod inside_look;
mod keymap;
mod keys;
mod layer;
mod masking;
mod meaning;
mod menu;
mod message;
mod model;
mod notice;
mod open;
mod print;
mod refused;
mod spread;
mod suggest;
mod task;
mod typing;
mod update;
mod words;

pub use adding::{AddNews, AddStep, AddWork, Adding, FoundPrint};
pub use changing::{ChangeKind, ChangeStep, Changing};
pub use commands::{Applies, Command, INSIDE, Id, commands, current_flows, keys_markdown};
pub use entry::{Entry, Field};
pub use facts::{Facts, Place, Station};
pub use fixture::{Fixture, Stroke};
pub use keymap::{BadPatch, Keymap, Rebinding, Word};
pub use keys::NoSuchKey;
pub use layer::{
    Checklist, Confirm, Does, Form, Layer, LookEntry, Menu, MenuEntry, Refused, Step, Then, Way,
};
pub use masking::{MaskKind, MaskStep, MaskWork, MaskedPrint, Masking};
pub use message::{Effect, Failure, Key, KeyCode, Message};
pub use model::{Model, Said, Screen, Spot};
pub use notice::Notice;
pub use print::{
    CELL, CLASSES, Dots, Known, Marker, Place as PrintPlace, Print, Prints, Showing, Source, Still,
    class_word,
};
pub use spread::{BANDS, Change, Measure, OfTank, Seen, Solving, SpreadWork, Spreads, band_of};
pub use task::{Deed, Task, Upkeep, finding};
pub use typing::{Cell, Typing};
pub use update::update;
pub use words::{cautions_of, words_of};

/// The pieces that Holds lists: those with a hold first, longest first, then
/// the rest in the order of the bench.
pub fn holds_order(model: &Model) -> Vec<String> {
    let mut names: Vec<String> = model
        .pieces_along()
        .into_iter()
        .map(str::to_owned)
        .collect();
    let age = |name: &String| {
        let hold = model.figures(name).and_then(|f| f.hold);
        hold.map_or(-1.0, |h| h.elapsed.si())
    };
    names.sort_by(|a, b| age(b).total_cmp(&age(a)));
    names
}
