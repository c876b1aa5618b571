//! The one table of commands: it drives the keys, the hint bar, the menus, the
//! help and the key list of the README.

use super::{Key, KeyCode, Keymap, Measure, Model, Screen};
use crate::project::{READING, StageState};

/// What a key can ask for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(missing_docs, reason = "each is said in the table below")]
pub enum Id {
    Deal,
    DealRow(usize),
    Actions,
    PlaceUp,
    PlaceDown,
    PlaceBack,
    PlaceOn,
    Choose,
    NextScreen,
    PreviousScreen,
    Show(Screen),
    Reading,
    Supply,
    Note,
    Print,
    Mark,
    Refresh,
    Tick,
    Sign,
    Undo,
    Redo,
    Far,
    Lock,
    Silence,
    Told,
    Sheet,
    TypeIn,
    AddPiece,
    Edit,
    Copy,
    Who,
    ScrollBack,
    ScrollOn,
    Help,
    Suspend,
    Everything,
    Compute,
    TakeSpread,
    GiveUp,
    Picture,
    Measure,
    Together,
    Quit,
    Leave,
}

/// Where a command works.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Applies {
    /// On every screen.
    Everywhere,
    /// On these screens.
    On(&'static [Screen]),
}

/// One command.
#[derive(Debug, Clone, Copy)]
pub struct Command {
    /// What a user's `keys.ron` calls it.
    pub name: &'static str,
    /// Which.
    pub id: Id,
    /// The keys that ask for it where the user has no others; the first is the
    /// one shown.
    pub default_keys: &'static [Key],
    /// One word for the hint bar; empty if it has no place there.
    pub hint: &'static str,
    /// What it does.
    pub say: &'static str,
    /// Where it works.
    pub applies: Applies,
}

const fn c(c: char) -> Key {
    Key::char(c)
}
const fn k(code: KeyCode) -> Key {
    Key::plain(code)
}
const fn ctrl(c: char) -> Key {
    Key {
        code: KeyCode::Char(c),
        ctrl: true,
    }
}

const LISTS: Applies = Applies::On(&[Screen::Line, Screen::Piece]);
const PIECES: Applies = Applies::On(&[Screen::Line, Screen::Piece, Screen::Spread, Screen::Holds]);
const SPREAD: Applies = Applies::On(&[Screen::Spread]);
const HOLDS: Applies = Applies::On(&[Screen::Holds]);
const CLOSEOUT: Applies = Applies::On(&[Screen::CloseOut]);
const ALL: Applies = Applies::Everywhere;

macro_rules! commands {
    ($($name:ident: $id:expr, [$($key:expr),*], $hint:literal, $say:literal, $applies:expr;)+) => {
        &[$(Command {
            name: stringify!($name),
            id: $id,
            default_keys: &[$($key),*],
            hint: $hint,
            say: $say,
            applies: $applies,
        }),+]
    };
}

pub(super) const TABLE: &[Command] = commands! {
    next_step: Id::Deal, [k(KeyCode::Enter)], "next step", "do the next step of the selected due line; with nothing due, what can be done", LISTS;
    due_1: Id::DealRow(0), [k(KeyCode::F(1))], "", "do the next step of this line of the due list: due_1 to due_8", ALL;
    due_2: Id::DealRow(1), [k(KeyCode::F(2))], "", "", ALL;
    due_3: Id::DealRow(2), [k(KeyCode::F(3))], "", "", ALL;
    due_4: Id::DealRow(3), [k(KeyCode::F(4))], "", "", ALL;
    due_5: Id::DealRow(4), [k(KeyCode::F(5))], "", "", ALL;
    due_6: Id::DealRow(5), [k(KeyCode::F(6))], "", "", ALL;
    due_7: Id::DealRow(6), [k(KeyCode::F(7))], "", "", ALL;
    due_8: Id::DealRow(7), [k(KeyCode::F(8))], "", "", ALL;
    tick: Id::Tick, [k(KeyCode::Enter), c(' '), c('*')], "tick", "tick the selected item; on the last row, sign", CLOSEOUT;
    sign: Id::Sign, [c('s')], "sign", "sign the close-out", CLOSEOUT;
    actions: Id::Actions, [c('+'), c('a')], "actions", "what can be done with the selected piece or tank; on Spread, try a change: a turn, a thief, a shield, an anode", PIECES;
    holds_actions: Id::Actions, [k(KeyCode::Enter)], "", "what can be done with the selected piece", HOLDS;
    compute: Id::Compute, [k(KeyCode::Enter)], "compute", "compute where the metal goes in the tank; again after a change", SPREAD;
    give_up: Id::GiveUp, [k(KeyCode::Esc)], "give up", "give up what is computed", SPREAD;
    picture: Id::Picture, [c('*'), c('j')], "picture", "the pieces by where the metal goes, drawn: turn them, move the probe", SPREAD;
    thickness: Id::Measure, [c('z')], "thickness", "current density, or thickness at the target charge", SPREAD;
    set_spread: Id::TakeSpread, [c('s')], "set", "take what is computed into the project: evenness, and from now on the shares of what hangs there", SPREAD;
    together: Id::Together, [c('w')], "", "the pieces that hang together now, or all that have a place in a tank; where none has, all with a print", SPREAD;
    everything: Id::Everything, [c('+'), c('a')], "everything else", "everything else: bring back, lock, leave and more", CLOSEOUT;
    mark: Id::Mark, [c('*'), c(' ')], "mark", "mark or unmark the selected piece for a refresh", HOLDS;
    refresh: Id::Refresh, [c('w')], "refresh", "refresh the marked pieces together: one new ageing hold for all", HOLDS;
    up: Id::PlaceUp, [k(KeyCode::Up)], "", "the line above: of the due list, of the places to watch, of the holds, of the close-out", ALL;
    down: Id::PlaceDown, [k(KeyCode::Down)], "", "the line below", ALL;
    left: Id::PlaceBack, [k(KeyCode::Left)], "", "the piece or tank to the left along the bench", PIECES;
    right: Id::PlaceOn, [k(KeyCode::Right)], "", "the piece or tank to the right along the bench", PIECES;
    choose: Id::Choose, [c('1'), c('2'), c('3'), c('4'), c('5'), c('6'), c('7'), c('8'), c('9')], "", "the piece with this digit, in the order of project.ron. On Close-out, tick the item with it", ALL;
    next_screen: Id::NextScreen, [c('.'), k(KeyCode::Tab), c(',')], "screen", "the next screen", ALL;
    previous_screen: Id::PreviousScreen, [k(KeyCode::BackTab)], "", "the screen before", ALL;
    line: Id::Show(Screen::Line), [c('l')], "", "Line: the bench from left to right", ALL;
    piece: Id::Show(Screen::Piece), [c('p')], "", "Piece: one piece, its figures and its history", ALL;
    spread: Id::Show(Screen::Spread), [c('x')], "", "Spread: where the metal will pile up or be missing", ALL;
    holds: Id::Show(Screen::Holds), [c('h')], "", "Holds: how long each piece has aged, how they match", ALL;
    close_out: Id::Show(Screen::CloseOut), [c('c')], "", "Close-out: the end of the evening", ALL;
    reading: Id::Reading, [c('r')], "reading", "volts, amps and bath of the tank", LISTS;
    supply: Id::Supply, [c('s')], "", "set the supply of the tank as it is set now (cc or cv)", LISTS;
    note: Id::Note, [c('n')], "", "a note on the selected piece", PIECES;
    print: Id::Print, [c('d')], "print", "the print of the selected piece, drawn: turn it, cut it open, mark places", PIECES;
    undo: Id::Undo, [c('-'), c('u')], "undo", "undo the last record: says which, asks once", ALL;
    redo: Id::Redo, [c('y')], "", "bring back what was undone", ALL;
    far: Id::Far, [c('0'), c('f')], "far", "the far view: the next due thing, readable across the room", ALL;
    lock: Id::Lock, [c('k')], "", "lock the keyboard for wiping", ALL;
    silence: Id::Silence, [c('b')], "", "silence bell and notices for what is due now", ALL;
    notices: Id::Told, [c('m')], "", "what was told of what is due, and what was silenced", ALL;
    sheet: Id::Sheet, [c('o')], "", "the pencil sheet on paper: an HTML file in the project's folder, to print", ALL;
    type_in: Id::TypeIn, [c('t')], "", "type in the pencil sheet, row by row; goes on where it was left", ALL;
    scroll_back: Id::ScrollBack, [k(KeyCode::PageUp)], "", "scroll back", ALL;
    scroll_on: Id::ScrollOn, [k(KeyCode::PageDown)], "", "scroll on", ALL;
    add_piece: Id::AddPiece, [c('g')], "", "add a piece with its print: file, unit, what the bath wets", ALL;
    edit: Id::Edit, [c('e')], "", "open project.ron in your editor", ALL;
    copy: Id::Copy, [c('v')], "", "copy a figure of what is selected, with its unit and its +-", ALL;
    who: Id::Who, [c('i')], "", "who is at the tank", ALL;
    help: Id::Help, [c('/'), c('?')], "help", "this screen's keys, words and cautions", ALL;
    suspend: Id::Suspend, [ctrl('z')], "", "stop to the shell; fg comes back", ALL;
    quit: Id::Quit, [c('q')], "quit", "leave; asks while current flows", ALL;
    leave: Id::Leave, [ctrl('c')], "", "leave at once, without asking; what was recorded is kept", ALL;
};

/// Keys inside what lies on top of a screen: the keys, what they do.
pub const INSIDE: &[(&str, &str)] = &[
    ("1 to 9, a letter", "take that line of a menu or checklist"),
    ("0", "the next nine lines"),
    ("Enter", "go on: the next field, then write it down"),
    (
        "+",
        "in an entry: write it down at once; in a menu: everything else",
    ),
    ("-, Esc", "one step back"),
    (
        "+ - amid words",
        "are typed there: * empties the field first",
    ),
    (
        "*",
        "in an entry: empty the field; in a checklist: all of them; in a guided step: leave this step out",
    ),
    (
        ".",
        "in a checklist: when the ticks were true, for what is written down afterwards",
    ),
    (
        "Up, Down",
        "the field or line above, below; in a field come back to, a digit replaces the figure",
    ),
    (
        "Left, Right",
        "the next choice or suggestion; in a figure, the last value",
    ),
    ("/, ?", "in a menu: what cannot be done now, and why"),
    (
        "12, 19.40, 1940",
        "in `when`: 12 min ago, the clock at 19:40",
    ),
    (
        "[ ], [?]",
        "in a checklist: a line to tick; a line that a record makes true: its digit opens the entry",
    ),
    (
        "1940, Enter",
        "in the pencil sheet: the clock of its evening; Enter on an empty time leaves the row out",
    ),
    (
        "Right, -, /",
        "there, on a time: the time before once more; the row before; leave, the place is kept",
    ),
    (
        "2 4 6 8, arrows",
        "on a print: turn it, or move the marker; * changes between the two",
    ),
    (
        "+, -",
        "on a print: larger, smaller; - at its whole size goes back",
    ),
    (
        "3, 1",
        "on a print: cut it open, deeper; cut less. Also ] and [",
    ),
    (
        "7, 9, 0, 5",
        "on a print: leave out the side that faces you; other dots; the next hollow or flaw; as it was at first",
    ),
    (
        "Enter",
        "on a print: its masks: one more at the marker or of a group in the file, one taken off",
    ),
    (
        "Esc, /",
        "on a print: back, also while it is read; its keys",
    ),
    (
        "2 4 6 8, + -, * 5 3 1 7 9",
        "on the spread: turn, larger and smaller, move the probe, as at first, cut, inside, dots: as on a print",
    ),
    (
        "0, z, Enter",
        "on the spread: the probe to the next place to watch; density or thickness; compute again when it is stale",
    ),
    (
        ".",
        "on the spread: what was before the last change beside what is now, or not",
    ),
    (
        "1 to 9, 0, Enter",
        "trying a change: what is to be done; what is taken back or off again; the next nine",
    ),
    (
        "Enter, +",
        "trying a change: the next figure; at the last, or + at once: write it down and compute it",
    ),
    (
        "1 to 9, 0, Enter",
        "on its masks: this kind of mask at the marker, or this mask off; the next nine",
    ),
    (
        "Enter, +",
        "on its masks: the next size; at the last, or + at once: survey the print with it and write it down",
    ),
    (
        "Left, Right",
        "adding a piece: the next print file near at hand, or way of printing",
    ),
    (
        "1 to 4, Enter",
        "adding a piece: the unit that makes it so large; then what was found, Enter adds it",
    ),
    (
        "-, Esc",
        "adding a piece: one step back; while it is surveyed, give that up",
    ),
    ("7 3 Enter", "unlock the keyboard"),
];

/// The one command table.
pub fn commands() -> &'static [Command] {
    TABLE
}

impl Command {
    /// Whether it works on this screen.
    pub fn on(&self, screen: Screen) -> bool {
        match self.applies {
            Applies::Everywhere => true,
            Applies::On(screens) => screens.contains(&screen),
        }
    }

    /// Its word in the hint bar now; empty if it has no place there.
    pub fn hint_now(&self, model: &Model) -> &'static str {
        match self.id {
            Id::Deal if model.facts.due.is_empty() => "actions",
            Id::Actions if model.screen == Screen::Spread => "try a change",
            Id::Measure if model.spreads.measure == Measure::Thickness => "density",
            Id::Undo if model.gives_up_spread() => "give up",
            Id::GiveUp if model.key_of(Id::Undo).is_some() => "",
            Id::AddPiece if model.facts.pieces.is_empty() => "add a piece",
            _ => self.hint,
        }
    }

    /// Whether it works on a screen on which another works too.
    pub(super) fn meets(&self, other: &Self) -> bool {
        let mut screens = Screen::ALL.into_iter();
        screens.any(|screen| self.on(screen) && other.on(screen))
    }

    /// Keys that it has whatever a user says: the arrows.
    pub(super) fn always(&self) -> &'static [Key] {
        match self.id {
            Id::PlaceUp | Id::PlaceDown | Id::PlaceBack | Id::PlaceOn => self.default_keys,
            _ => &[],
        }
    }

    /// Whether its keys cannot be changed: a digit is what it stands beside on
    /// the screen, and Ctrl-c leaves whatever state the screen is in.
    pub fn is_fixed(&self) -> bool {
        matches!(self.id, Id::Choose | Id::Leave)
    }

    /// Whether one cannot do without it, so that it keeps at least one key.
    pub(super) fn is_needed(&self) -> bool {
        matches!(
            self.id,
            Id::Deal
                | Id::Tick
                | Id::Actions
                | Id::Everything
                | Id::NextScreen
                | Id::Help
                | Id::Quit
        )
    }

    /// Where it works, in words.
    pub fn place(&self) -> String {
        match self.applies {
            Applies::Everywhere => "everywhere".to_owned(),
            Applies::On(screens) => {
                let titles: Vec<&str> = screens.iter().map(|s| s.title()).collect();
                titles.join(", ")
            }
        }
    }

    /// Whether it can be done now.
    ///
    /// # Errors
    /// In words, why not.
    pub fn can(&self, model: &Model) -> Result<(), String> {
        let need = |holds: bool, why: &str| if holds { Ok(()) } else { Err(why.to_owned()) };
        match self.id {
            Id::Deal => need(
                !model.facts.due.is_empty() || model.spot.is_some(),
                "nothing is due",
            ),
            Id::DealRow(row) => need(row < model.facts.due.len(), "there is no such line"),
            Id::Actions => need(
                model.spot.is_some(),
                "there is no piece yet: everything else, add a piece",
            ),
            Id::Copy => need(
                model.spot.is_some() || !model.facts.due.is_empty(),
                "there is no figure yet",
            ),
            Id::Note | Id::Mark | Id::Print => {
                need(model.selected_piece().is_some(), "no piece is selected")
            }
            Id::GiveUp => need(model.spreads.solving.is_some(), "nothing is computed"),
            Id::Compute => need(model.spreads.solving.is_none(), "it is being computed"),
            Id::Picture | Id::TakeSpread => {
                need(model.spread_seen().is_some(), "nothing is computed yet")
            }
            Id::Refresh => need(!model.marked.is_empty(), "mark pieces first"),
            Id::Undo if model.gives_up_spread() => Ok(()),
            Id::Undo | Id::Redo if !model.project.is_whole() => need(false, READING),
            Id::Undo => need(model.project.undo_target().is_some(), "nothing to undo"),
            Id::Redo => need(model.project.redo_target().is_some(), "nothing to redo"),
            Id::Silence => need(model.bell.rings_in(model.now).is_some(), "nothing rings"),
            Id::Sign => model
                .facts
                .closeout
                .check_sign()
                .map_err(|refusal| refusal.because),
            _ => Ok(()),
        }
    }
}

/// Whether anything still runs that wants a person near: asked before leaving.
pub fn current_flows(model: &Model) -> Option<String> {
    let on: Vec<&str> = model
        .facts
        .tanks
        .iter()
        .filter(|t| t.on)
        .map(|t| t.name.as_str())
        .collect();
    let paused = model.facts.pieces.keys().any(|name| {
        model
            .piece(name)
            .is_some_and(|p| p.in_bath() && p.stage_state == StageState::Paused)
    });
    match (on.is_empty(), paused) {
        (false, _) => Some(format!("current flows in {}", on.join(", "))),
        (true, true) => Some("a piece hangs in the bath without current".to_owned()),
        (true, false) => None,
    }
}

/// The key list as Markdown, for the README.
pub fn keys_markdown() -> String {
    let cell = |text: &str| text.replace('|', "\\|");
    let keys = Keymap::default();
    let mut out = String::from("| key | where | what it does | name |\n|---|---|---|---|\n");
    for command in TABLE.iter().filter(|c| !c.say.is_empty()) {
        let names = format!("`{}`", keys.names(command).replace("  ", "` `"));
        let names = names.replace(" to ", "` to `");
        let name = if command.is_fixed() {
            String::new()
        } else {
            format!("`{}`", command.name)
        };
        let row = [names, command.place(), cell(command.say), name].join(" | ");
        out = out + "| " + &row + " |\n";
    }
    for (keys, say) in INSIDE {
        out = out + "| " + &cell(keys) + " | menus and entries | " + &cell(say) + " | |\n";
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_key_means_two_things_on_one_screen() {
        for screen in Screen::ALL {
            let mut seen = Vec::new();
            for command in TABLE.iter().filter(|c| c.on(screen)) {
                for key in command.default_keys {
                    assert!(!seen.contains(key), "{} twice on {screen:?}", key.name());
                    seen.push(*key);
                }
            }
        }
    }

    #[test]
    fn the_keypad_reaches_what_an_evening_needs() {
        let keypad = |key: &Key| {
            !key.ctrl
                && matches!(
                    key.code,
                    KeyCode::Enter | KeyCode::Up | KeyCode::Down | KeyCode::Left | KeyCode::Right
                )
                || matches!(key.code, KeyCode::Char(c) if c.is_ascii_digit() || ".,+-*/".contains(c))
        };
        for id in [
            Id::Deal,
            Id::Actions,
            Id::NextScreen,
            Id::Undo,
            Id::Far,
            Id::Help,
            Id::Tick,
            Id::Mark,
        ] {
            let keys: Vec<Key> = TABLE
                .iter()
                .filter(|c| c.id == id)
                .flat_map(|c| c.default_keys)
                .copied()
                .collect();
            assert!(keys.iter().any(keypad), "{id:?}");
        }
    }

    #[test]
    fn the_readme_list_has_every_command() {
        let list = keys_markdown();
        for command in TABLE.iter().filter(|c| !c.say.is_empty()) {
            assert!(list.contains(command.say), "{}", command.say);
        }
    }
}
