//! The one table of commands: it drives the keys, the hint bar, the menus, the
//! help and the key list of the README.

use super::{Key, KeyCode, Model, Screen};
use crate::project::StageState;

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
    Mark,
    Refresh,
    Tick,
    Sign,
    Undo,
    Redo,
    Far,
    Lock,
    Silence,
    Edit,
    Who,
    ScrollBack,
    ScrollOn,
    Help,
    Suspend,
    Everything,
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
    /// Which.
    pub id: Id,
    /// The keys that ask for it; the first is the one shown.
    pub keys: &'static [Key],
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
const PIECES: Applies = Applies::On(&[Screen::Line, Screen::Piece, Screen::Holds]);
const HOLDS: Applies = Applies::On(&[Screen::Holds]);
const CLOSEOUT: Applies = Applies::On(&[Screen::CloseOut]);
const ALL: Applies = Applies::Everywhere;

macro_rules! commands {
    ($($id:expr, [$($key:expr),*], $hint:literal, $say:literal, $applies:expr;)+) => {
        &[$(Command { id: $id, keys: &[$($key),*], hint: $hint, say: $say, applies: $applies }),+]
    };
}

const TABLE: &[Command] = commands! {
    Id::Deal, [k(KeyCode::Enter)], "next step", "do the next step of the selected due line; with nothing due, what can be done", LISTS;
    Id::DealRow(0), [k(KeyCode::F(1))], "", "do the next step of that line of the due list (F1 to F8)", ALL;
    Id::DealRow(1), [k(KeyCode::F(2))], "", "", ALL;
    Id::DealRow(2), [k(KeyCode::F(3))], "", "", ALL;
    Id::DealRow(3), [k(KeyCode::F(4))], "", "", ALL;
    Id::DealRow(4), [k(KeyCode::F(5))], "", "", ALL;
    Id::DealRow(5), [k(KeyCode::F(6))], "", "", ALL;
    Id::DealRow(6), [k(KeyCode::F(7))], "", "", ALL;
    Id::DealRow(7), [k(KeyCode::F(8))], "", "", ALL;
    Id::Tick, [k(KeyCode::Enter), c(' '), c('*')], "tick", "tick the selected item; on the last row, sign", CLOSEOUT;
    Id::Sign, [c('s')], "sign", "sign the close-out", CLOSEOUT;
    Id::Actions, [c('+'), c('a')], "actions", "what can be done with the selected piece or tank", PIECES;
    Id::Actions, [k(KeyCode::Enter)], "", "what can be done with the selected piece", HOLDS;
    Id::Everything, [c('+'), c('a')], "everything else", "everything else: bring back, lock, leave and more", CLOSEOUT;
    Id::Mark, [c('*'), c(' ')], "mark", "mark or unmark the selected piece for a refresh", HOLDS;
    Id::Refresh, [c('w')], "refresh", "refresh the marked pieces together: one new ageing hold for all", HOLDS;
    Id::PlaceUp, [k(KeyCode::Up)], "", "the line above: of the due list, of the holds, of the close-out", ALL;
    Id::PlaceDown, [k(KeyCode::Down)], "", "the line below", ALL;
    Id::PlaceBack, [k(KeyCode::Left)], "", "the piece or tank to the left along the bench", PIECES;
    Id::PlaceOn, [k(KeyCode::Right)], "", "the piece or tank to the right along the bench", PIECES;
    Id::Choose, [c('1'), c('2'), c('3'), c('4'), c('5'), c('6'), c('7'), c('8'), c('9')], "", "the piece with this digit, in the order of project.ron. On Close-out, tick the item with it", ALL;
    Id::NextScreen, [c('.'), k(KeyCode::Tab), c(',')], "screen", "the next screen", ALL;
    Id::PreviousScreen, [k(KeyCode::BackTab)], "", "the screen before", ALL;
    Id::Show(Screen::Line), [c('l')], "", "Line: the bench from left to right", ALL;
    Id::Show(Screen::Piece), [c('p')], "", "Piece: one piece, its figures and its history", ALL;
    Id::Show(Screen::Holds), [c('h')], "", "Holds: how long each piece has aged, how they match", ALL;
    Id::Show(Screen::CloseOut), [c('c')], "", "Close-out: the end of the evening", ALL;
    Id::Reading, [c('r')], "reading", "volts, amps and bath of the tank", LISTS;
    Id::Supply, [c('s')], "", "set the supply of the tank as it is set now (cc or cv)", LISTS;
    Id::Note, [c('n')], "", "a note on the selected piece", PIECES;
    Id::Undo, [c('-'), c('u')], "undo", "undo the last record: says which, asks once", ALL;
    Id::Redo, [c('y')], "", "bring back what was undone", ALL;
    Id::Far, [c('0'), c('f')], "far", "the far view: the next due thing, readable across the room", ALL;
    Id::Lock, [c('k')], "", "lock the keyboard for wiping", ALL;
    Id::Silence, [c('b')], "", "silence bell and notices for what is due now", ALL;
    Id::ScrollBack, [k(KeyCode::PageUp)], "", "scroll back", ALL;
    Id::ScrollOn, [k(KeyCode::PageDown)], "", "scroll on", ALL;
    Id::Edit, [c('e')], "", "open project.ron in your editor", ALL;
    Id::Who, [c('i')], "", "who is at the tank", ALL;
    Id::Help, [c('/'), c('?')], "help", "this screen's keys, words and cautions", ALL;
    Id::Suspend, [ctrl('z')], "", "stop to the shell; fg comes back", ALL;
    Id::Quit, [c('q')], "quit", "leave; asks while current flows", ALL;
    Id::Leave, [ctrl('c')], "", "leave at once, without asking; what was recorded is kept", ALL;
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
            _ => self.hint,
        }
    }

    /// The names of its keys: `Enter, Space`.
    pub fn key_names(&self) -> String {
        let digits = self.keys.len() == 9;
        if digits {
            return "1 to 9".to_owned();
        }
        let names: Vec<String> = self.keys.iter().map(|k| k.name()).collect();
        names.join("  ")
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
                "there is no piece yet: `tankside add`",
            ),
            Id::Note | Id::Mark => need(model.selected_piece().is_some(), "no piece is selected"),
            Id::Refresh => need(!model.marked.is_empty(), "mark pieces first"),
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

/// The command that a key asks for on a screen.
pub fn command_of(key: Key, screen: Screen) -> Option<&'static Command> {
    TABLE
        .iter()
        .find(|command| command.on(screen) && command.keys.contains(&key))
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
    let mut out = String::from("| key | where | what it does |\n|---|---|---|\n");
    for command in TABLE.iter().filter(|c| !c.say.is_empty()) {
        let place = match command.applies {
            Applies::Everywhere => "everywhere".to_owned(),
            Applies::On(screens) => {
                let titles: Vec<&str> = screens.iter().map(|s| s.title()).collect();
                titles.join(", ")
            }
        };
        let keys: Vec<String> = if command.keys.len() == 9 {
            vec!["`1` to `9`".to_owned()]
        } else {
            command
                .keys
                .iter()
                .map(|k| format!("`{}`", k.name()))
                .collect()
        };
        let row = [keys.join(" "), place, cell(command.say)].join(" | ");
        out = out + "| " + &row + " |\n";
    }
    for (keys, say) in INSIDE {
        out = out + "| " + &cell(keys) + " | menus and entries | " + &cell(say) + " |\n";
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
                for key in command.keys {
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
                .flat_map(|c| c.keys)
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
