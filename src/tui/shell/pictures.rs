//! The terminal's own pictures: whether it has them, and putting one where the
//! screen leaves room for it.
//!
//! A terminal is asked when the first print is shown, while no other thread
//! reads it. It is asked first what every terminal of this century answers, and
//! the rest only where it did: what is answered too late would read as keys.

use super::sense::{Env, of_process};
use crate::tui::app::{Key, KeyCode, Layer, Model, Print, Seen, Showing};
use crate::tui::picture::{Image, kitty, kitty_gone, sixel};
use crate::tui::view::{Theme, picture, picture_place};
use ratatui::layout::Rect;
use std::fmt::Write as _;
use std::sync::Arc;
use std::time::Duration;

/// A terminal that answers at all does so within this: over a slow line too,
/// and nobody notices it when a print is opened.
const FIRST: Duration = Duration::from_millis(250);

/// A terminal that answered once answers again.
const THEN: Duration = Duration::from_secs(1);

/// "What are you?": DA1 of ECMA-48 and DEC's terminals.
const WHAT: &str = "\x1b[c";

/// Whether it knows kitty's pictures, by a picture of one dot that it is asked
/// not to keep; how many dots a cell has (xterm's window operations); and once
/// more what it is, so that the end of the answers is seen.
const WHETHER: &str = "\x1b_Gi=7301,s=1,v=1,a=q,t=d,f=24;AAAA\x1b\\\x1b[16t\x1b[c";

/// The dots of a cell where a terminal does not tell and stretches anyway.
const CELL: (u16, u16) = (10, 20);

/// The most dots of a picture: more take a terminal longer than a key may.
const MOST: f32 = 500_000.0;

/// How a terminal takes pictures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    /// By kitty's protocol.
    Kitty,
    /// As sixels, its cells being so many dots wide and high.
    Sixel(u16, u16),
}

/// What was heard from a terminal.
#[derive(Debug, Default, PartialEq)]
struct Heard {
    /// What it is.
    attributes: Option<Vec<u16>>,
    /// Whether it took kitty's picture.
    kitty: bool,
    /// The dots of a cell: wide, high.
    cell: Option<(u16, u16)>,
    /// What was typed meanwhile.
    typed: Vec<Key>,
}

/// Whether a terminal is to be asked at all: those that pass nothing on, or have
/// no dots of their own, are not.
pub(super) fn may_ask() -> bool {
    may(&of_process)
}

fn may(env: Env<'_>) -> bool {
    let set = |name: &str| env(name).filter(|value| !value.is_empty());
    let term = set("TERM").unwrap_or_default();
    let plain = ["linux", "screen", "tmux", "dumb", "vt100", "ansi"];
    set("TMUX").is_none() && !term.is_empty() && !plain.iter().any(|name| term.starts_with(name))
}

/// Asks the terminal; keys that were typed meanwhile are handed back. `send`
/// writes to it, `listen` waits so long for what it says. `cell` is the dots of a
/// cell as the system knows them, for a terminal that does not say: xterm keeps
/// that to itself unless it is told to answer.
pub(super) fn ask<E>(
    mut send: impl FnMut(&str) -> Result<(), E>,
    mut listen: impl FnMut(Duration) -> Vec<u8>,
    cell: Option<(u16, u16)>,
) -> Result<(Option<Way>, Vec<Key>), E> {
    let mut typed = Vec::new();
    let mut answers = |question: &str, patience: Duration| {
        send(question)?;
        let mut bytes = Vec::new();
        loop {
            let more = listen(patience);
            let is_over = more.is_empty();
            bytes.extend(more);
            let heard = heard(&bytes);
            if is_over || heard.attributes.is_some() {
                return Ok(heard);
            }
        }
    };
    let first = answers(WHAT, FIRST)?;
    typed.extend(first.typed);
    if first.attributes.is_none() {
        return Ok((None, typed));
    }
    let then = answers(WHETHER, THEN)?;
    typed.extend(then.typed);
    let has_sixels = then.attributes.is_some_and(|a| a.contains(&4));
    let way = match then.cell.or(cell) {
        _ if then.kitty => Some(Way::Kitty),
        Some((wide, high)) if has_sixels && wide > 0 && high > 0 => Some(Way::Sixel(wide, high)),
        _ => None,
    };
    Ok((way, typed))
}

/// Takes apart what came from a terminal: answers, and what was typed.
fn heard(bytes: &[u8]) -> Heard {
    let mut heard = Heard::default();
    let mut rest = bytes;
    while let Some((first, after)) = rest.split_first() {
        rest = match (first, after) {
            (0x1b, [b'_', body @ ..]) => {
                let end = body.windows(2).position(|two| two == b"\x1b\\");
                let end = end.unwrap_or(body.len());
                heard.kitty |= body[..end].ends_with(b";OK");
                body.get(end + 2..).unwrap_or_default()
            }
            (0x1b, [b'[' | b'O', body @ ..]) => {
                let end = body.iter().position(|byte| (0x40..0x7f).contains(byte));
                let Some(end) = end else {
                    return heard;
                };
                heard.control(&body[..end], body[end]);
                &body[end + 1..]
            }
            _ => {
                let text = String::from_utf8_lossy(rest);
                let typed = text.chars().next().unwrap_or(' ');
                heard.typed.push(key_of(typed));
                rest.get(typed.len_utf8()..).unwrap_or_default()
            }
        };
    }
    heard
}

impl Heard {
    fn control(&mut self, numbers: &[u8], last: u8) {
        let text = String::from_utf8_lossy(numbers);
        let numbers = text.trim_start_matches('?').split(';');
        let numbers: Vec<u16> = numbers.filter_map(|n| n.parse().ok()).collect();
        let arrow = match (last, numbers.as_slice()) {
            (b'c', _) if text.starts_with('?') => {
                self.attributes = Some(numbers);
                return;
            }
            (b't', [6, high, wide]) => {
                self.cell = Some((*wide, *high));
                return;
            }
            (b'A', _) => KeyCode::Up,
            (b'B', _) => KeyCode::Down,
            (b'C', _) => KeyCode::Right,
            (b'D', _) => KeyCode::Left,
            _ => return,
        };
        self.typed.push(Key::plain(arrow));
    }
}

fn key_of(typed: char) -> Key {
    match typed {
        '\x1b' => Key::plain(KeyCode::Esc),
        '\r' | '\n' => Key::plain(KeyCode::Enter),
        '\t' => Key::plain(KeyCode::Tab),
        '\x7f' | '\x08' => Key::plain(KeyCode::Backspace),
        control @ '\x01'..='\x1a' => Key {
            code: KeyCode::Char(char::from(b'a' + (control as u8 - 1))),
            ctrl: true,
        },
        other => Key::char(other),
    }
}

/// The picture that stands on the terminal: where the same is to be shown, it
/// is not sent again.
#[derive(Debug, Clone)]
pub(super) struct Standing {
    place: Rect,
    screen: Rect,
    showing: Box<Showing>,
    what: What,
}

/// What a picture is of.
#[derive(Debug, Clone)]
enum What {
    Print(Arc<Print>),
    Spread(Arc<Seen>, Option<Arc<Seen>>),
}

impl What {
    fn is(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Print(a), Self::Print(b)) => Arc::ptr_eq(a, b),
            (Self::Spread(a, a_before), Self::Spread(b, b_before)) => {
                let before = [a_before, b_before].map(|seen| seen.as_ref().map(Arc::as_ptr));
                Arc::ptr_eq(a, b) && before[0] == before[1]
            }
            _ => false,
        }
    }
}

impl PartialEq for Standing {
    fn eq(&self, other: &Self) -> bool {
        (self.place, self.screen, &self.showing) == (other.place, other.screen, &other.showing)
            && self.what.is(&other.what)
    }
}

impl Standing {
    /// What is to stand on a screen of this size.
    pub(super) fn of(model: &Model, theme: Theme, screen: Rect) -> Option<Self> {
        let place = picture_place(model, &theme, screen)?;
        let (showing, what) = match model.layers.last() {
            Some(Layer::Print(showing)) => {
                let print = model.prints.of(&showing.piece)?.print.clone()?;
                (showing.clone(), What::Print(print))
            }
            Some(Layer::Spread(showing)) => {
                let before = model.spread_before().cloned();
                (
                    showing.clone(),
                    What::Spread(model.spread_seen()?.clone(), before),
                )
            }
            _ => return None,
        };
        Some(Self {
            place,
            screen,
            showing,
            what,
        })
    }

    /// The sequence that puts it there.
    pub(super) fn sequence(&self, model: &Model, theme: Theme, way: Way) -> String {
        let (columns, lines) = (self.place.width, self.place.height);
        let (wide, high) = match way {
            Way::Kitty => CELL,
            Way::Sixel(wide, high) => (wide, high),
        };
        let (wide, high) = (f32::from(wide), f32::from(high));
        let dots = f32::from(columns) * wide * f32::from(lines) * high;
        let share = (MOST / dots).sqrt().min(1.0);
        // Sixels are not stretched: a part of the cells is left free around it.
        let (columns, lines, share) = match way {
            Way::Kitty => (columns, lines, share),
            Way::Sixel(..) => {
                let part = |cells: u16| (f32::from(cells) * share).floor().max(1.0) as u16;
                (part(columns), part(lines), 1.0)
            }
        };
        let size = (
            (f32::from(columns) * wide * share) as usize,
            (f32::from(lines) * high * share) as usize,
        );
        let none = Image {
            width: 0,
            dots: Vec::new(),
        };
        let image = picture(model, &theme, size).unwrap_or(none);
        let place = Rect {
            x: self.place.x + (self.place.width - columns) / 2,
            y: self.place.y + (self.place.height - lines) / 2,
            ..self.place
        };
        let (line, column) = (place.y + 1, place.x + 1);
        let mut out = String::from("\x1b7");
        if way != Way::Kitty {
            self.erase(&mut out);
        }
        // Writing to a text cannot fail.
        let _written = write!(out, "\x1b[{line};{column}H");
        out.push_str(&match way {
            Way::Kitty => kitty(&image, columns, lines),
            Way::Sixel(..) => sixel(&image),
        });
        out.push_str("\x1b8");
        out
    }

    /// The sequence that takes it away.
    pub(super) fn gone(&self, way: Way) -> String {
        if way == Way::Kitty {
            return kitty_gone();
        }
        let mut out = String::from("\x1b7");
        self.erase(&mut out);
        out.push_str("\x1b8");
        out
    }

    /// Blanks wipe sixels.
    fn erase(&self, out: &mut String) {
        let column = self.place.x + 1;
        for line in self.place.top() + 1..=self.place.bottom() {
            let _written = write!(
                out,
                "\x1b[{line};{column}H\x1b[0m\x1b[{}X",
                self.place.width
            );
        }
    }
}

/// The dots of a cell, wide and high, as the system knows them from the
/// terminal.
pub(super) fn cell_of_system() -> Option<(u16, u16)> {
    let size = crossterm::terminal::window_size().ok()?;
    let cell = (
        size.width.checked_div(size.columns)?,
        size.height.checked_div(size.rows)?,
    );
    (cell.0 > 0 && cell.1 > 0).then_some(cell)
}

/// What the terminal says within so long; nothing when it is silent.
#[cfg(unix)]
pub(super) fn listen(patience: Duration) -> Vec<u8> {
    use rustix::event::{PollFd, PollFlags, Timespec, poll};

    let input = std::io::stdin();
    let mut waiting = [PollFd::new(&input, PollFlags::IN)];
    let timeout = Timespec::try_from(patience).ok();
    // What fails is as good as silence.
    if !poll(&mut waiting, timeout.as_ref()).is_ok_and(|ready| ready > 0) {
        return Vec::new();
    }
    let mut bytes = [0; 256];
    let read = rustix::io::read(&input, &mut bytes).unwrap_or(0);
    bytes[..read].to_vec()
}

/// There nobody is asked.
#[cfg(not(unix))]
pub(super) fn listen(_patience: Duration) -> Vec<u8> {
    Vec::new()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::VecDeque;

    /// Asks a terminal that gives these answers, one a listening.
    fn asked(answers: &[&str]) -> (Option<Way>, Vec<Key>, String) {
        asked_beside(answers, None)
    }

    /// The same, where the system knows the dots of a cell, or not.
    fn asked_beside(answers: &[&str], cell: Option<(u16, u16)>) -> (Option<Way>, Vec<Key>, String) {
        let mut answers: VecDeque<&str> = answers.iter().copied().collect();
        let mut sent = String::new();
        let send = |text: &str| -> Result<(), ()> {
            sent.push_str(text);
            Ok(())
        };
        let listen = |_| answers.pop_front().unwrap_or_default().as_bytes().to_vec();
        let (way, typed) = ask(send, listen, cell).unwrap();
        (way, typed, sent)
    }

    #[test]
    fn a_terminal_that_does_not_answer_is_asked_nothing_more() {
        let (way, typed, sent) = asked(&[]);
        assert_eq!((way, typed), (None, Vec::new()));
        assert_eq!(sent, WHAT);
    }

    #[test]
    fn each_kind_of_picture_is_known_by_its_answer() {
        // Kitty, in pieces; foot, with sixels; xterm without either; one with
        // sixels that does not tell the size of a cell.
        let what = "\x1b[?62;4;22c";
        for (then, way) in [
            (
                vec!["\x1b_Gi=7301;O", "K\x1b\\\x1b[6;20;10t\x1b[?62", ";4c"],
                Some(Way::Kitty),
            ),
            (vec!["\x1b[6;18;9t\x1b[?62;4;22c"], Some(Way::Sixel(9, 18))),
            (vec!["\x1b[6;18;9t\x1b[?64;1;2c"], None),
            (vec!["\x1b_Gi=7301;ENOTSUP\x1b\\\x1b[?62;4c"], None),
            (vec![], None),
        ] {
            let answers = [vec![what], then].concat();
            assert_eq!(asked(&answers).0, way, "{answers:?}");
        }
    }

    /// What xterm 379 answers when it is started as a VT340.
    #[test]
    fn the_system_knows_the_cells_of_a_terminal_that_does_not_tell() {
        let what = "\x1b[?63;1;2;4;6;9;15;16;22;28c";
        let beside = |cell| asked_beside(&[what, what], cell).0;
        assert_eq!(beside(Some((9, 17))), Some(Way::Sixel(9, 17)));
        assert_eq!(beside(None), None);
        let told = ["\x1b[?62;4;22c", "\x1b[6;18;9t\x1b[?62;4;22c"];
        let way = asked_beside(&told, Some((8, 16))).0;
        assert_eq!(way, Some(Way::Sixel(9, 18)), "what it tells goes before");
        let without = ["\x1b[?62c", "\x1b[?62c"];
        assert_eq!(asked_beside(&without, Some((8, 16))).0, None);
    }

    #[test]
    fn what_is_typed_meanwhile_is_not_lost() {
        let (_, typed, _) = asked(&["6\x1b[C\x1b[?1;2c", "\u{e4}\x1bOA+\x1b[?1;2c"]);
        let keys = [
            Key::char('6'),
            Key::plain(KeyCode::Right),
            Key::char('\u{e4}'),
            Key::plain(KeyCode::Up),
            Key::char('+'),
        ];
        assert_eq!(typed, keys);
        let (_, typed, _) = asked(&["\x03\x1b"]);
        assert!(typed[0].ctrl && typed[1] == Key::plain(KeyCode::Esc));
    }

    #[test]
    fn terminals_that_pass_nothing_on_are_not_asked() {
        let with = |env: &'static [(&str, &str)]| {
            may(&|name: &str| {
                let found = env.iter().find(|(n, _)| *n == name);
                found.map(|(_, value)| (*value).to_owned())
            })
        };
        assert!(with(&[("TERM", "xterm-kitty")]) && with(&[("TERM", "foot")]));
        assert!(!with(&[("TERM", "tmux-256color")]) && !with(&[("TERM", "linux")]));
        assert!(!with(&[("TERM", "xterm-256color"), ("TMUX", "/tmp/tmux")]) && !with(&[]));
    }
}
