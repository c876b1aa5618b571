//! How keys are named: on screens, in the README, and in the user's own
//! `keys.ron`. One table reads and writes the names.

use std::str::FromStr;

use super::{Key, KeyCode};

/// The keys that have a name of their own.
const NAMED: [(KeyCode, &str); 15] = [
    (KeyCode::Char(' '), "Space"),
    (KeyCode::Enter, "Enter"),
    (KeyCode::Esc, "Esc"),
    (KeyCode::Tab, "Tab"),
    (KeyCode::BackTab, "Shift-Tab"),
    (KeyCode::Backspace, "Backspace"),
    (KeyCode::Delete, "Delete"),
    (KeyCode::Up, "Up"),
    (KeyCode::Down, "Down"),
    (KeyCode::Left, "Left"),
    (KeyCode::Right, "Right"),
    (KeyCode::Home, "Home"),
    (KeyCode::End, "End"),
    (KeyCode::PageUp, "PgUp"),
    (KeyCode::PageDown, "PgDn"),
];

/// The last function key that terminals send (xterm counts on to it).
const LAST_F: u8 = 24;

const CTRL: &str = "Ctrl-";

/// No key has this name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("no key has this name")]
pub struct NoSuchKey;

impl FromStr for Key {
    type Err = NoSuchKey;

    fn from_str(name: &str) -> Result<Self, NoSuchKey> {
        match name.strip_prefix(CTRL) {
            Some(rest) => code_named(rest).map(|code| Self { code, ctrl: true }),
            None => code_named(name).map(Self::plain),
        }
        .ok_or(NoSuchKey)
    }
}

fn code_named(name: &str) -> Option<KeyCode> {
    if let Some((code, _)) = NAMED.iter().find(|(_, n)| *n == name) {
        return Some(*code);
    }
    let mut chars = name.chars();
    match (chars.next()?, chars.as_str()) {
        (c, "") => (!c.is_control() && !c.is_whitespace()).then_some(KeyCode::Char(c)),
        ('F', number) => {
            let n: u8 = number.parse().ok()?;
            let written = n.to_string() == number;
            (written && (1..=LAST_F).contains(&n)).then_some(KeyCode::F(n))
        }
        _ => None,
    }
}

impl Key {
    /// A key without Control.
    pub const fn plain(code: KeyCode) -> Self {
        Self { code, ctrl: false }
    }

    /// A character without Control.
    pub const fn char(c: char) -> Self {
        Self::plain(KeyCode::Char(c))
    }

    /// Its name: `a`, `Enter`, `F2`, `Ctrl-z`. Parsing it gives the key again.
    pub fn name(self) -> String {
        let named = NAMED.iter().find(|(code, _)| *code == self.code);
        let name = match (named, self.code) {
            (Some((_, name)), _) => (*name).to_owned(),
            (None, KeyCode::Char(c)) => c.to_string(),
            (None, KeyCode::F(n)) => format!("F{n}"),
            (None, other) => format!("{other:?}"),
        };
        if self.ctrl {
            format!("{CTRL}{name}")
        } else {
            name
        }
    }

    /// Names that a misspelt one may have meant.
    pub fn names() -> impl Iterator<Item = String> {
        let named = NAMED.iter().map(|(_, name)| (*name).to_owned());
        let functions = (1..=12).map(|n| format!("F{n}"));
        let control = ('a'..='z').map(|c| format!("{CTRL}{c}"));
        named.chain(functions).chain(control)
    }

    /// Why a terminal never sends it as itself, if so.
    pub fn never_arrives(self) -> Option<&'static str> {
        match self.code {
            KeyCode::Char('h') if self.ctrl => Some("a terminal sends it as Backspace"),
            KeyCode::Char('i') if self.ctrl => Some("a terminal sends it as Tab"),
            KeyCode::Char('j' | 'm') if self.ctrl => Some("a terminal sends it as Enter"),
            KeyCode::Char(c) if self.ctrl && !c.is_ascii_lowercase() => {
                Some("with Ctrl a terminal sends the small letters a to z only")
            }
            _ => None,
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn any_key() -> impl Strategy<Value = Key> {
        let printable = any::<char>().prop_filter("no key types it", |c| {
            *c == ' ' || !c.is_control() && !c.is_whitespace()
        });
        let code = prop_oneof![
            prop::sample::select(NAMED.map(|(code, _)| code).to_vec()),
            (1..=LAST_F).prop_map(KeyCode::F),
            printable.prop_map(KeyCode::Char),
        ];
        (code, any::<bool>()).prop_map(|(code, ctrl)| Key { code, ctrl })
    }

    proptest! {
        #[test]
        fn a_name_reads_back_as_its_key(key in any_key()) {
            prop_assert_eq!(key.name().parse::<Key>(), Ok(key));
        }

        #[test]
        fn a_text_that_reads_is_written_as_it_was(text in "(Ctrl-)?([A-Za-z -]{1,9}|F[0-9]{1,3}|.)") {
            if let Ok(key) = text.parse::<Key>() {
                prop_assert_eq!(key.name(), text);
            }
        }
    }

    #[test]
    fn names_are_spelt_one_way_only() {
        for wrong in [
            "", "enter", "PageUp", "F0", "F25", "F01", "F+1", "Ctrl-", " ", "ab", "\n",
        ] {
            assert_eq!(wrong.parse::<Key>(), Err(NoSuchKey), "{wrong:?}");
        }
    }
}
