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
use ratatui::{Frame, Terminal};

use crate::tui::app::Failure;

/// The longest text for the clipboard, in bytes as sent: terminals drop
/// longer ones without a word (xterm's buffer, from memory).
const LONGEST_COPY: usize = 100_000;

/// Whether the terminal is taken. A process has one terminal, and a panic
/// hook can know it only from here.
static TAKEN: AtomicBool = AtomicBool::new(false);

/// The terminal while it is taken: alternate screen, raw mode, bracketed
/// paste, no cursor, no mouse. Dropping gives it back; so does a panic,
/// before its message is printed.
pub struct Tty {
    // Ratatui's own drop prints to a terminal that may be gone; `give_back`
    // does its work.
    terminal: ManuallyDrop<Terminal<CrosstermBackend<BufWriter<Stdout>>>>,
    title: String,
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

    /// Gives the terminal back; again and again does no harm.
    pub fn leave(&self) {
        give_back();
    }

    /// Draws a frame; writes what has changed since the last one.
    ///
    /// # Errors
    /// When the terminal cannot be written.
    pub fn draw(&mut self, frame: impl FnOnce(&mut Frame<'_>)) -> io::Result<()> {
        self.terminal.draw(frame).map(|_drawn| ())
    }

    /// Names the terminal's window, if the name is another than before.
    ///
    /// # Errors
    /// When the terminal cannot be written.
    pub fn title(&mut self, title: &str) -> io::Result<()> {
        let title: String = title.chars().filter(|c| !c.is_control()).collect();
        if title == self.title {
            return Ok(());
        }
        execute!(self.terminal.backend_mut(), SetTitle(&title))?;
        self.title = title;
        Ok(())
    }

    /// Rings the bell or asks for a notice: a sequence that draws nothing.
    ///
    /// # Errors
    /// When the terminal cannot be written.
    pub fn tell(&mut self, sequence: &[u8]) -> io::Result<()> {
        self.send(sequence)
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
        self.send(sequence.as_bytes())?;
        Ok(Ok(()))
    }

    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        let backend = self.terminal.backend_mut();
        backend.write_all(bytes)?;
        Write::flush(backend)
    }
}

impl Drop for Tty {
    fn drop(&mut self) {
        give_back();
    }
}

fn take() -> io::Result<()> {
    // Marked first: whatever of the following fails, all of it is undone.
    TAKEN.store(true, Ordering::SeqCst);
    enable_raw_mode()?;
    execute!(
        stdout(),
        Raw("\x1b[22;0t"), // remember the window's title
        EnterAlternateScreen,
        EnableBracketedPaste,
        Hide
    )
}

/// Undoes [`take`]; failures have nowhere to be told.
fn give_back() {
    if TAKEN.swap(false, Ordering::SeqCst) {
        let mut out = stdout();
        let _written = queue!(
            out,
            Show,
            DisableBracketedPaste,
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

/// RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let byte = |i: usize| u32::from(group.get(i).copied().unwrap_or(0));
        let bits = byte(0) << 16 | byte(1) << 8 | byte(2);
        for digit in 0..4 {
            text.push(if digit <= group.len() {
                char::from(DIGITS[(bits >> (18 - 6 * digit)) as usize & 63])
            } else {
                '='
            });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::{base64, clipboard};

    #[test]
    fn base64_as_in_the_rfc() {
        // Test vectors of RFC 4648, section 10.
        let vectors = [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ];
        for (text, encoded) in vectors {
            assert_eq!(base64(text.as_bytes()), encoded);
        }
        assert_eq!(base64(&[0xfb, 0xff, 0xbf]), "+/+/");
    }

    #[test]
    fn the_clipboard_takes_what_terminals_take() {
        // Operating System Command 52 of xterm's control sequences.
        assert_eq!(clipboard("40 \u{b5}m").unwrap(), "\x1b]52;c;NDAgwrVt\x07");
        assert!(clipboard(&"a".repeat(75_000)).is_ok());
        assert!(clipboard(&"a".repeat(75_001)).is_err());
    }
}
