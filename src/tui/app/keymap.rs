//! The keys of every command: the defaults of the table, with the user's own
//! patch over them.

use std::collections::BTreeMap;

use super::commands::TABLE;
use super::{Command, Id, Key, KeyCode, Model, Screen};
use crate::project::nearest;

/// The keys of every command.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Keymap {
    /// By the command's name, for those that the user gave other keys.
    own: BTreeMap<&'static str, Vec<Key>>,
}

/// A word of a patch, with its place in the file, line and column from 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Word {
    /// What stands there.
    pub text: String,
    /// Its line.
    pub line: usize,
    /// Its column.
    pub column: usize,
}

/// What a patch says of one command.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rebinding {
    /// The command's name.
    pub command: Word,
    /// The names of its keys, the one that is shown first; none at all takes
    /// its keys away.
    pub keys: Vec<Word>,
}

/// Why a patch is not taken, and where it goes wrong first.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct BadPatch {
    /// The line, from 1.
    pub line: usize,
    /// The column, from 1.
    pub column: usize,
    /// What is wrong there, with the nearest known name.
    pub message: String,
}

impl Word {
    fn bad(&self, message: impl Into<String>) -> BadPatch {
        BadPatch {
            line: self.line,
            column: self.column,
            message: message.into(),
        }
    }

    fn command(&self) -> Result<&'static Command, BadPatch> {
        let command = TABLE.iter().find(|c| c.name == self.text);
        command.ok_or_else(|| {
            let near = nearest(&self.text, TABLE.iter().map(|c| c.name));
            let found = self.text.escape_debug();
            self.bad(format!("no command is called `{found}`{near}"))
        })
    }

    fn key(&self) -> Result<Key, BadPatch> {
        let found = self.text.escape_debug();
        let key: Key = self.text.parse().map_err(|_no_such_key| {
            let names: Vec<String> = Key::names().collect();
            let near = nearest(&self.text, names.iter().map(String::as_str));
            self.bad(format!("no key is called `{found}`{near}"))
        })?;
        match key.never_arrives() {
            Some(why) => Err(self.bad(format!("`{found}` is never typed: {why}"))),
            None => Ok(key),
        }
    }
}

impl Keymap {
    /// The defaults with a patch over them.
    ///
    /// # Errors
    /// At the first word that is no known name or stands there twice, that
    /// would let a key mean two things on one screen, or that takes the last
    /// key of a command that one cannot do without.
    pub fn patched(patch: &[Rebinding]) -> Result<Self, BadPatch> {
        let mut map = Self::default();
        for rebinding in patch {
            let command = rebinding.command.command()?;
            let word = &rebinding.command;
            if command.is_fixed() {
                let keys = map.names(command);
                let message = format!("`{}` keeps its keys: {keys}", command.name);
                return Err(word.bad(message));
            }
            let keys = own_keys(command, &rebinding.keys)?;
            if keys.is_empty() && command.is_needed() {
                let message = format!("`{}` wants at least one key", command.name);
                return Err(word.bad(message));
            }
            if map.own.insert(command.name, keys).is_some() {
                let message = format!("`{}` stands here a second time", command.name);
                return Err(word.bad(message));
            }
        }
        // Who gave a key away is known only when the whole patch is read.
        for (nth, rebinding) in patch.iter().enumerate() {
            let command = rebinding.command.command()?;
            for word in &rebinding.keys {
                map.free(command, word, &patch[..nth])?;
            }
        }
        Ok(map)
    }

    /// Refuses a key that another command has on one of the same screens,
    /// unless that one stands later in the patch and is refused itself.
    fn free(&self, command: &Command, word: &Word, before: &[Rebinding]) -> Result<(), BadPatch> {
        let key = word.key()?;
        let other = TABLE.iter().find(|other| {
            let later = self.own.contains_key(other.name)
                && !other.always().contains(&key)
                && !before.iter().any(|r| r.command.text == other.name);
            other.name != command.name
                && !later
                && other.meets(command)
                && self.of(other).contains(&key)
        });
        other.map_or(Ok(()), |other| {
            let (key, name) = (&word.text, other.name);
            let what = match other.say {
                "" => String::new(),
                say => format!(" ({say})"),
            };
            let stays = other.is_fixed() || other.always().contains(&word.key()?);
            Err(word.bad(if stays {
                format!("`{key}` stays `{name}`{what}: choose another key")
            } else {
                format!("`{key}` is `{name}` already{what}: give `{name}` other keys too")
            }))
        })
    }

    /// The keys of a command, the one that is shown first.
    pub fn of(&self, command: &Command) -> Vec<Key> {
        match self.own.get(command.name) {
            Some(own) => {
                let beside = command.always().iter().filter(|key| !own.contains(key));
                own.iter().chain(beside).copied().collect()
            }
            None => command.default_keys.to_vec(),
        }
    }

    /// The command that a key asks for on a screen.
    pub fn command_of(&self, key: Key, screen: Screen) -> Option<&'static Command> {
        TABLE
            .iter()
            .find(|command| command.on(screen) && self.of(command).contains(&key))
    }

    /// The key that is shown for a command on a screen, if it has one there.
    pub fn shown(&self, id: Id, screen: Screen) -> Option<String> {
        let mut commands = TABLE.iter().filter(|c| c.id == id && c.on(screen));
        let key = commands.find_map(|c| self.of(c).first().copied());
        key.map(Key::name)
    }

    /// Whether a key asks for a command on any screen.
    pub fn asks(&self, id: Id, key: Key) -> bool {
        let mut commands = TABLE.iter().filter(|c| c.id == id);
        commands.any(|c| self.of(c).contains(&key))
    }

    /// The letter that takes a command's line of the menu.
    pub fn letter(&self, command: &Command) -> Option<char> {
        let keys = self.of(command);
        let small = keys.iter().find_map(|key| match key.code {
            KeyCode::Char(c) if !key.ctrl && c.is_lowercase() => Some(c),
            _ => None,
        });
        small.or_else(|| keys.contains(&Key::char('?')).then_some('?'))
    }

    /// The names of a command's keys, for a list: `Enter  Space`; `none` where
    /// they were taken away. The lines of the due list are one.
    pub fn names(&self, command: &Command) -> String {
        let keys: Vec<Key> = match command.id {
            Id::Choose => return "1 to 9".to_owned(),
            Id::DealRow(0) => {
                let rows = TABLE.iter().filter(|c| matches!(c.id, Id::DealRow(_)));
                rows.flat_map(|c| self.of(c)).collect()
            }
            _ => self.of(command),
        };
        let functions = (1..=8).map(|n| Key::plain(KeyCode::F(n)));
        if keys.iter().copied().eq(functions) {
            return "F1 to F8".to_owned();
        }
        let names: Vec<String> = keys.iter().map(|k| k.name()).collect();
        if names.is_empty() {
            "none".to_owned()
        } else {
            names.join("  ")
        }
    }
}

impl Model {
    /// The key that is shown for a command on this screen, if it has one.
    pub fn key_of(&self, id: Id) -> Option<String> {
        self.keys.shown(id, self.screen)
    }

    /// How a command is reached through the menu of everything else, as the
    /// keypad does it: the keys, then its letter there. A command without a
    /// letter is told by its own key.
    pub fn way_to(&self, id: Id) -> String {
        let menu = match self.key_of(Id::Everything) {
            Some(key) => key,
            None => format!("{} +", self.key_of(Id::Actions).unwrap_or_default()),
        };
        let command = TABLE.iter().find(|c| c.id == id);
        match (command.and_then(|c| self.keys.letter(c)), self.key_of(id)) {
            (Some(letter), _) => format!("{menu} ({letter})"),
            (None, Some(key)) => key,
            (None, None) => menu,
        }
    }
}

/// The keys that a patch names, each once.
fn own_keys(command: &Command, words: &[Word]) -> Result<Vec<Key>, BadPatch> {
    let mut keys = Vec::new();
    for word in words {
        let key = word.key()?;
        if keys.contains(&key) {
            let message = format!("`{}` stands in `{}` twice", word.text, command.name);
            return Err(word.bad(message));
        }
        keys.push(key);
    }
    Ok(keys)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each command on a line of its own: `undo u F9`.
    fn patch(text: &str) -> Vec<Rebinding> {
        let lines = text.lines().enumerate();
        lines
            .map(|(n, line)| {
                let mut column = 1;
                let mut words = line.split(' ').map(|text| {
                    let word = Word {
                        text: text.to_owned(),
                        line: n + 1,
                        column,
                    };
                    column += text.chars().count() + 1;
                    word
                });
                Rebinding {
                    command: words.next().unwrap(),
                    keys: words.collect(),
                }
            })
            .collect()
    }

    fn refused(text: &str) -> (usize, usize, String) {
        let bad = Keymap::patched(&patch(text)).expect_err(text);
        (bad.line, bad.column, bad.message)
    }

    fn command(name: &str) -> &'static Command {
        TABLE.iter().find(|c| c.name == name).unwrap()
    }

    #[test]
    fn no_patch_is_the_defaults() {
        let map = Keymap::patched(&[]).unwrap();
        assert_eq!(map, Keymap::default());
        for command in TABLE {
            assert_eq!(map.of(command), command.default_keys);
        }
    }

    #[test]
    fn a_patch_changes_what_it_names_and_nothing_else() {
        let map = Keymap::patched(&patch("undo F9 u\nfar")).unwrap();
        let on_line = |name: &str| map.command_of(name.parse().unwrap(), Screen::Line);
        assert_eq!(on_line("F9").map(|c| c.id), Some(Id::Undo));
        assert_eq!(on_line("u").map(|c| c.id), Some(Id::Undo));
        assert!(on_line("-").is_none() && on_line("f").is_none() && on_line("0").is_none());
        assert_eq!(map.shown(Id::Undo, Screen::Line).as_deref(), Some("F9"));
        assert_eq!(map.names(command("far")), "none");
        assert_eq!(map.of(command("lock")), command("lock").default_keys);
    }

    #[test]
    fn what_is_wrong_is_told_at_its_place_with_the_nearest_name() {
        for (text, place, told) in [
            ("far x\nundoo F9", (2, 1), "`undoo`; did you mean `undo`?"),
            ("undo x PageUp", (1, 8), "`PageUp`; did you mean `PgUp`?"),
            ("undo Crtl-x", (1, 6), "did you mean `Ctrl-x`?"),
            ("undo enter", (1, 6), "did you mean `Enter`?"),
            ("undo x F9 x", (1, 11), "twice"),
            ("undo x\nfar z\nundo F9", (3, 1), "second time"),
            ("undo Ctrl-m", (1, 6), "as Enter"),
            ("undo Ctrl-5", (1, 6), "small letters"),
            ("help", (1, 1), "at least one key"),
            ("choose F9", (1, 1), "keeps its keys: 1 to 9"),
            ("leave F9", (1, 1), "keeps its keys: Ctrl-c"),
        ] {
            let (line, column, message) = refused(text);
            assert_eq!((line, column), place, "{text}: {message}");
            assert!(message.contains(told), "{text}: {message}");
        }
    }

    #[test]
    fn a_key_means_one_thing_on_a_screen() {
        for (text, place, told) in [
            ("far u", (1, 5), "give `undo` other keys too"),
            ("undo F9\nfar f u F9", (2, 9), "`undo` already"),
            ("far 3", (1, 5), "`3` stays `choose`"),
            ("far Ctrl-c", (1, 5), "`Ctrl-c` stays `leave`"),
            ("far Up\nup F9", (1, 5), "`Up` stays `up`"),
            ("mark F2", (1, 6), "`due_2` already: give"),
        ] {
            let (line, column, message) = refused(text);
            assert_eq!((line, column), place, "{text}: {message}");
            assert!(message.contains(told), "{text}: {message}");
        }
        // A key that its command gives away is free, in either order, and so
        // is one of another screen.
        for text in [
            "far u\nundo F9",
            "undo F9\nfar u",
            "far u\nundo f",
            "reading w",
        ] {
            assert_eq!(Keymap::patched(&patch(text)).err(), None, "{text}");
        }
    }

    #[test]
    fn arrows_work_whatever_is_said() {
        let map = Keymap::patched(&patch("up F9\ndown\nleft\nright")).unwrap();
        for (name, id) in [
            ("F9", Id::PlaceUp),
            ("Up", Id::PlaceUp),
            ("Down", Id::PlaceDown),
            ("Left", Id::PlaceBack),
            ("Right", Id::PlaceOn),
        ] {
            let found = map.command_of(name.parse().unwrap(), Screen::Line);
            assert_eq!(found.map(|c| c.id), Some(id), "{name}");
        }
    }

    #[test]
    fn every_command_has_a_name_of_its_own() {
        for (n, command) in TABLE.iter().enumerate() {
            let same = TABLE.iter().position(|c| c.name == command.name);
            assert_eq!(same, Some(n), "{}", command.name);
        }
    }
}
