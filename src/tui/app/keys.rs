//! How keys are named on screens and in the README.

use super::{Key, KeyCode};

impl Key {
    /// A key without Control.
    pub const fn plain(code: KeyCode) -> Self {
        Self { code, ctrl: false }
    }

    /// A character without Control.
    pub const fn char(c: char) -> Self {
        Self::plain(KeyCode::Char(c))
    }

    /// Its name: `a`, `Enter`, `F2`, `Ctrl-z`.
    pub fn name(self) -> String {
        let name = match self.code {
            KeyCode::Char(' ') => "Space".to_owned(),
            KeyCode::Char(c) => c.to_string(),
            KeyCode::Enter => "Enter".to_owned(),
            KeyCode::Esc => "Esc".to_owned(),
            KeyCode::Tab => "Tab".to_owned(),
            KeyCode::BackTab => "Shift-Tab".to_owned(),
            KeyCode::Backspace => "Backspace".to_owned(),
            KeyCode::Delete => "Delete".to_owned(),
            KeyCode::Up => "Up".to_owned(),
            KeyCode::Down => "Down".to_owned(),
            KeyCode::Left => "Left".to_owned(),
            KeyCode::Right => "Right".to_owned(),
            KeyCode::Home => "Home".to_owned(),
            KeyCode::End => "End".to_owned(),
            KeyCode::PageUp => "PgUp".to_owned(),
            KeyCode::PageDown => "PgDn".to_owned(),
            KeyCode::F(n) => format!("F{n}"),
        };
        if self.ctrl {
            format!("Ctrl-{name}")
        } else {
            name
        }
    }

    /// The digit it types, if it types one.
    pub fn digit(self) -> Option<usize> {
        match self.code {
            KeyCode::Char(c) if !self.ctrl => c.to_digit(10).map(|d| d as usize),
            _ => None,
        }
    }

    /// Whether it goes one step back: Escape, or minus on the keypad.
    pub fn is_back(self) -> bool {
        matches!(self.code, KeyCode::Esc | KeyCode::Char('-'))
    }
}
