//! The terminal: taken, drawn on, and given back in every case.

use std::fmt;
use std::io::{self, BufWriter, Stdout, Write, stdout};
use std::mem::ManuallyDrop;
use std::sync::Once;
use std::sync::atomic::{AtomicBool, Ordering};

use crossterm::cursor::{Hide, Show};
use crossterm::event::{DisableBracketedPaste, EnableBracketedPaste};
use crossterm::terminal::{
    EnterAlternateScreen, LeaveAlternateScreen, SetTitle, disable_raw_mode, enable_raw_mode,
};
use crossterm::{Command, execute, queue};
use ratatui::backend::CrosstermBackend;
use ratatui::layout::Rect;
use ratatui::{Frame, Terminal};

use crate::report::safe::plain_text;
use crate::tui::app::Failure;
use crate::tui::picture::{base64, kitty_gone};

/// The longest text for the clipboard, in bytes as sent: terminals drop
/// longer ones without a word (xterm's buffer, from memory).
const LONGEST_COPY: usize = 100_000;

/// Whether the terminal is taken. A process has one terminal, and a panic
/// hook can know it only from here.
static TAKEN: AtomicBool = AtomicBool::new(false);

/// Whether a picture may stand on it that outlives the text.
static PICTURED: AtomicBool = AtomicBool::new(false);

/// The terminal while it is taken: alternate screen, raw mode, bracketed
/// paste, no cursor, no mouse. Dropping gives it back; so does a panic,
/// before its message is printed.
pub struct Tty {
    // Ratatui's own drop prints to a terminal that may be gone; `give_back`
    // does its work.
    terminal: ManuallyDrop<Terminal<CrosstermBackend<BufWriter<Stdout>>>>,
    title: String,
    /// How the terminal was lent.
    modes: Option<line_modes::Modes>,
}

impl fmt::Debug for Tty {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Tty")
            .field("title", &self.title)
            .finish_non_exhaustive()
    }
}

impl Tty {
    /// Takes the terminal.
    ///
    /// # Errors
    /// When it cannot be taken; it is then as it was before.
    pub fn enter() -> io::Result<Self> {
        give_back_on_panic();
        // The theme alone decides on colours. Left to itself, the library
        // answers NO_COLOR with a bare reset in place of every colour, which
        // wipes bold and reverse.
        crossterm::style::force_color_output(true);
        let backend = CrosstermBackend::new(BufWriter::with_capacity(1 << 16, stdout()));
        let mut tty = Self {
            terminal: ManuallyDrop::new(Terminal::new(backend)?),
            title: String::new(),
            modes: None,
        };
        tty.enter_again()?;
        Ok(tty)
    }

    /// Takes the terminal again after [`Self::leave`] and draws all of it anew.
    ///
    /// # Errors
    /// When it cannot be taken; it is then as it was before.
    pub fn enter_again(&mut self) -> io::Result<()> {
        let taken = take();
        if taken.is_err() {
            give_back();
        }
        taken?;
        self.title.clear();
        let area = self.terminal.size()?;
        self.terminal.resize(area.into())
    }

    /// Lends the terminal to another program, until [`Self::take_back`].
    pub fn lend(&mut self) {
        self.leave();
        self.modes = Some(line_modes::now());
    }

    /// Takes a lent terminal again, whatever state that program left it in.
    ///
    /// # Errors
    /// When it cannot be taken; it is then as it was before.
    pub fn take_back(&mut self) -> io::Result<()> {
        if let Some(modes) = self.modes.take() {
            line_modes::set(modes);
        }
        self.enter_again()
    }

    /// Gives the terminal back; again and again does no harm.
    pub fn leave(&self) {
        give_back();
    }

    /// Draws a frame; writes what has changed since the last one. A terminal
    /// that was given back, as a panic of another thread does, is left alone.
    ///
    /// # Errors
    /// When the terminal cannot be written.
    pub fn draw(&mut self, frame: impl FnOnce(&mut Frame<'_>)) -> io::Result<()> {
        let _held = stdout().lock();
        if !is_taken() {
            return Ok(());
        }
        self.terminal.draw(frame).map(|_drawn| ())
    }

    /// Names the terminal's window, if the name is another than before.
    ///
    /// # Errors
    /// When the terminal cannot be written.
    pub fn title(&mut self, title: &str) -> io::Result<()> {
        let title = plain_text(title);
        if title != self.title {
            let mut sequence = String::new();
            SetTitle(&title)
                .write_ansi(&mut sequence)
                .map_err(io::Error::other)?;
            self.send(&sequence)?;
            self.title = title.into_owned();
        }
        Ok(())
    }

    /// Rings the bell or asks for a notice: a sequence that draws nothing.
    ///
    /// # Errors
    /// When the terminal cannot be written.
    pub fn tell(&mut self, sequence: &str) -> io::Result<()> {
        self.send(sequence)
    }

    /// Puts a picture on the screen, or takes it away. What is drawn beneath
    /// stays as it is known.
    ///
    /// # Errors
    /// When the terminal cannot be written.
    pub(super) fn picture(&mut self, sequence: &str) -> io::Result<()> {
        let lasts = sequence.contains("\x1b_G");
        PICTURED.fetch_or(lasts, Ordering::SeqCst);
        self.send(sequence)
    }

    /// Its size in cells.
    ///
    /// # Errors
    /// When the terminal does not tell.
    pub(super) fn area(&self) -> io::Result<Rect> {
        let size = self.terminal.size()?;
        Ok(Rect::new(0, 0, size.width, size.height))
    }

    /// Puts text on the clipboard of the terminal (OSC 52), which works over
    /// ssh too. Whether the terminal does it cannot be known.
    ///
    /// # Errors
    /// The outer error when the terminal cannot be written, the inner one
    /// when the text is longer than terminals take.
    pub fn copy(&mut self, text: &str) -> io::Result<Result<(), Failure>> {
        let sequence = match clipboard(text) {
            Ok(sequence) => sequence,
            Err(failure) => return Ok(Err(failure)),
        };
        self.send(&sequence)?;
        Ok(Ok(()))
    }

    fn send(&mut self, sequence: &str) -> io::Result<()> {
        let _held = stdout().lock();
        if !is_taken() {
            return Ok(());
        }
        let backend = self.terminal.backend_mut();
        backend.write_all(sequence.as_bytes())?;
        Write::flush(backend)
    }
}

impl Drop for Tty {
    fn drop(&mut self) {
        give_back();
    }
}

/// To be asked while standard output is held, which giving back waits for.
fn is_taken() -> bool {
    TAKEN.load(Ordering::SeqCst)
}

fn take() -> io::Result<()> {
    // Marked first: whatever of the following fails, all of it is undone.
    TAKEN.store(true, Ordering::SeqCst);
    enable_raw_mode()?;
    execute!(
        stdout(),
        Raw("\x1b[22;0t"), // remember the window's title
        EnterAlternateScreen,
        Raw(USUAL),
        Raw(PLAIN_KEYS),
        EnableBracketedPaste,
        Hide
    )
}

/// The modes that drawing and keys rest on, as every terminal begins: a program
/// that had the terminal before may have left others. In order: cursor keys and
/// keypad as such, no insertion, text where it is told to go, lines that wrap,
/// not reversed, ASCII letters, all lines scroll, no colours, neither the mouse
/// nor the focus told (xterm's control sequences).
const USUAL: &str = "\x1b[?1l\x1b>\x1b[4l\x1b[?6l\x1b[?7h\x1b[?5l\x0f\x1b(B\x1b[r\x1b[0m\
    \x1b[?9l\x1b[?1000l\x1b[?1002l\x1b[?1003l\x1b[?1005l\x1b[?1006l\x1b[?1015l\x1b[?1004l";

/// Keys as they have always been sent, whatever a program before asked for:
/// xterm's other keys as the terminal begins with them (`modifyOtherKeys`),
/// then a set of the kitty keyboard protocol's flags on top of whichever there
/// is, which [`KEYS_AS_BEFORE`] takes off again. A terminal that takes the
/// first for underlining hears the reset behind it.
const PLAIN_KEYS: &str = "\x1b[>4m\x1b[0m\x1b[>0u";

/// Undoes the set of flags of [`PLAIN_KEYS`].
const KEYS_AS_BEFORE: &str = "\x1b[<u";

/// How the system's side of the terminal reads lines and echoes keys. What is
/// no terminal has no modes, and there is nobody to tell what fails.
#[cfg(unix)]
mod line_modes {
    use rustix::termios::{OptionalActions, Termios, tcgetattr, tcsetattr};

    pub(super) type Modes = Option<Termios>;

    pub(super) fn try_now() -> std::io::Result<Termios> {
        Ok(tcgetattr(std::io::stdin())?)
    }

    pub(super) fn now() -> Modes {
        try_now().ok()
    }

    pub(super) fn set(modes: Modes) {
        let input = std::io::stdin();
        let _set = modes.map(|modes| tcsetattr(input, OptionalActions::Drain, &modes));
    }
}

/// Windows keeps no such modes between programs.
#[cfg(not(unix))]
mod line_modes {
    pub(super) type Modes = ();

    pub(super) fn try_now() -> std::io::Result<()> {
        Ok(())
    }

    pub(super) fn now() {}

    pub(super) fn set((): ()) {}
}

/// Undoes [`take`]; failures have nowhere to be told.
fn give_back() {
    // Held, so that no frame of another thread is cut in two or comes after.
    let mut out = stdout().lock();
    if TAKEN.swap(false, Ordering::SeqCst) {
        if PICTURED.swap(false, Ordering::SeqCst) {
            let _written = out.write_all(kitty_gone().as_bytes());
        }
        let _written = queue!(
            out,
            Show,
            DisableBracketedPaste,
            Raw(KEYS_AS_BEFORE),
            LeaveAlternateScreen,
            Raw("\x1b[23;0t")
        )
        .and_then(|()| out.flush());
        let _cooked = disable_raw_mode();
    }
}

fn give_back_on_panic() {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let previous = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            give_back();
            previous(panic);
        }));
    });
}

/// Whether the keyboard is still there. The library that reads it takes a
/// terminal that has gone for one on which nobody types, and never sleeps.
///
/// # Errors
/// When it has gone.
pub(super) fn still_there() -> io::Result<()> {
    line_modes::try_now().map(|_modes| ())
}

/// A sequence that the terminal library has no command for.
struct Raw(&'static str);

impl Command for Raw {
    fn write_ansi(&self, f: &mut impl fmt::Write) -> fmt::Result {
        f.write_str(self.0)
    }

    #[cfg(windows)]
    fn execute_winapi(&self) -> io::Result<()> {
        Ok(())
    }
}

/// The sequence that puts a text on the clipboard.
fn clipboard(text: &str) -> Result<String, Failure> {
    let encoded = base64(text.as_bytes());
    if encoded.len() <= LONGEST_COPY {
        return Ok(format!("\x1b]52;c;{encoded}\x07"));
    }
    Err(Failure::Trouble {
        message: format!(
            "the text is {} kB long, and the clipboard of a terminal takes {} kB",
            text.len() / 1000,
            LONGEST_COPY / 4 * 3 / 1000
        ),
        remedy: "write it to a file and take it from there".to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::clipboard;

    #[test]
    fn the_clipboard_takes_what_terminals_take() {
        // Operating System Command 52 of xterm's control sequences.
        assert_eq!(clipboard("40 \u{b5}m").unwrap(), "\x1b]52;c;NDAgwrVt\x07");
        assert!(clipboard(&"a".repeat(75_000)).is_ok());
        assert!(clipboard(&"a".repeat(75_001)).is_err());
    }
}
