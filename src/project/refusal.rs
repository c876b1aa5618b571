//! A refusal says what stands in the way and what would do.

use std::fmt;

/// A whole command of the program that would do; only the folder is left open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Command {
    verb: &'static str,
    rest: String,
}

impl Command {
    /// `tankside VERB DIR REST`.
    pub fn new(verb: &'static str, rest: impl Into<String>) -> Self {
        Self {
            verb,
            rest: rest.into(),
        }
    }

    /// `tankside record DIR PIECE REST`.
    pub fn record(piece: &str, rest: impl fmt::Display) -> Self {
        Self::new("record", format!("{} {rest}", quoted(piece)))
    }

    /// The command as typed in a shell, for the project in `folder`.
    pub fn line(&self, folder: &str) -> String {
        let folder = quoted(folder);
        if self.rest.is_empty() {
            format!("tankside {} {folder}", self.verb)
        } else {
            format!("tankside {} {folder} {}", self.verb, self.rest)
        }
    }
}

/// A word quoted for a POSIX shell where it needs it.
pub fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./:=@%+,".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', r"'\''"))
    }
}

/// A rule that does not let something happen. Nothing has changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{because}")]
pub struct Refusal {
    /// Which rule, one word for scripts.
    pub rule: String,
    /// Why, in a sentence.
    pub because: String,
    /// Commands that would do.
    pub instead: Vec<Command>,
}

impl Refusal {
    /// A refusal without a way out yet.
    pub fn new(rule: impl Into<String>, because: impl Into<String>) -> Self {
        Self {
            rule: rule.into(),
            because: because.into(),
            instead: Vec::new(),
        }
    }

    /// Whether one of the commands that would do passes the gates with a reason.
    pub fn may_be_overridden(&self) -> bool {
        let mut commands = self.instead.iter();
        commands.any(|command| command.rest.contains(" --override "))
    }

    /// Adds a command that would do.
    pub fn or(mut self, command: Command) -> Self {
        self.instead.push(command);
        self
    }
}
