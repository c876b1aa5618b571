//! What a command leads to, and how it is printed.

use std::path::PathBuf;

use serde_json::{Map, Value, json};

use super::Io;
use crate::project::{DefinitionError, Refusal};
use crate::report;
use crate::store::{RecordError, StoreError};

/// A command that was done.
#[derive(Debug)]
pub(super) struct Outcome {
    /// For people.
    pub(super) text: String,
    /// For scripts, without its `schema`.
    pub(super) json: Value,
    /// Said on standard error, and in `warnings`.
    pub(super) warnings: Vec<String>,
    /// Exit status: not 0 only where damage was found.
    pub(super) status: u8,
}

impl Outcome {
    /// Text that is the whole answer.
    pub(super) fn text(text: impl Into<String>) -> Self {
        let text = text.into();
        Self::both(text.clone(), json!({ "text": text }))
    }

    /// The same answer for people and for scripts.
    pub(super) fn both(text: impl Into<String>, json: Value) -> Self {
        Self {
            text: text.into(),
            json,
            warnings: Vec::new(),
            status: 0,
        }
    }

    /// Adds warnings.
    pub(super) fn warn(mut self, warnings: impl IntoIterator<Item = String>) -> Self {
        self.warnings.extend(warnings);
        self
    }
}

/// A command that was not done. Nothing has changed.
#[derive(Debug)]
pub(super) enum Trouble {
    /// A rule refused it: exit status 1.
    Refused(Refusal),
    /// Bad usage, bad input or the system: exit status 2.
    Error(Box<Fault>),
}

/// What is wrong, where, and what would do.
#[derive(Debug, Default)]
pub(super) struct Fault {
    pub(super) kind: String,
    pub(super) message: String,
    pub(super) remedy: String,
    pub(super) file: Option<PathBuf>,
    pub(super) line: Option<usize>,
    pub(super) column: Option<usize>,
}

impl Trouble {
    pub(super) fn usage(message: impl Into<String>) -> Self {
        Self::fault("usage", message, "see `tankside --help`")
    }

    pub(super) fn fault(kind: &str, message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self::Error(Box::new(Fault {
            kind: kind.to_owned(),
            message: message.into(),
            remedy: remedy.into(),
            ..Fault::default()
        }))
    }
}

impl From<Refusal> for Trouble {
    /// A name that the project does not have is bad input, not a rule.
    fn from(refusal: Refusal) -> Self {
        if refusal.rule.starts_with("unknown-") {
            let remedy = "`tankside status DIR` lists what there is";
            Self::fault(&refusal.rule, refusal.because, remedy)
        } else {
            Self::Refused(refusal)
        }
    }
}

impl From<StoreError> for Trouble {
    fn from(error: StoreError) -> Self {
        Self::Error(Box::new(Fault {
            kind: error.kind().to_owned(),
            message: error.message,
            remedy: error.remedy,
            file: error.file,
            line: error.line,
            column: error.column,
        }))
    }
}

impl From<RecordError> for Trouble {
    fn from(error: RecordError) -> Self {
        match error {
            RecordError::Refused(refusal) => refusal.into(),
            RecordError::Store(error) => error.into(),
        }
    }
}

impl From<DefinitionError> for Trouble {
    fn from(error: DefinitionError) -> Self {
        Self::fault("definition", error.message, error.remedy)
    }
}

impl From<std::io::Error> for Trouble {
    fn from(error: std::io::Error) -> Self {
        Self::fault(
            "io",
            error.to_string(),
            "look at the disk and the permissions",
        )
    }
}

/// Prints a done command; returns its exit status.
pub(super) fn print(io: &mut Io<'_>, json: bool, done: &Outcome) -> u8 {
    for warning in &done.warnings {
        let said = writeln!(io.err, "warning: {}", line_safe(warning));
        drop(said);
    }
    let written = if json {
        let mut object = with_schema(&done.json);
        if !done.warnings.is_empty() || object.contains_key("recorded") {
            object.insert("warnings".into(), done.warnings.clone().into());
        }
        writeln!(io.out, "{}", Value::Object(object))
    } else {
        let newline = if done.text.is_empty() || done.text.ends_with('\n') {
            ""
        } else {
            "\n"
        };
        write!(io.out, "{}{newline}", done.text)
    };
    match written.and_then(|()| io.out.flush()) {
        Ok(()) => done.status,
        // Whoever reads a pipe may stop reading: that is no failure of the command.
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => done.status,
        Err(_) => 2,
    }
}

/// Prints why a command was not done; returns its exit status.
pub(super) fn fail(io: &mut Io<'_>, json: bool, folder: &str, trouble: &Trouble) -> u8 {
    let (status, object, text) = match trouble {
        Trouble::Refused(refusal) => (
            1,
            report::json::refused(refusal, folder),
            refused_text(refusal, folder),
        ),
        Trouble::Error(fault) => (
            2,
            report::json::error(&report::json::Fault {
                kind: &fault.kind,
                message: &fault.message,
                remedy: Some(fault.remedy.as_str()).filter(|r| !r.is_empty()),
                file: fault.file.as_ref().map(|f| f.to_string_lossy()).as_deref(),
                line: fault.line,
                column: fault.column,
            }),
            fault_text(fault),
        ),
    };
    let said = write!(io.err, "{}", block_safe(&text));
    drop(said);
    if json {
        let printed = writeln!(io.out, "{}", Value::Object(with_schema(&object)));
        drop(printed);
    }
    status
}

/// Help and version go to standard output; anything else is bad usage.
pub(super) fn of_clap(io: &mut Io<'_>, json: bool, error: &clap::Error) -> u8 {
    let text = error.render().to_string();
    if error.use_stderr() {
        let message = text.trim_start_matches("error: ").trim_end();
        fail(io, json, "", &Trouble::usage(message))
    } else {
        print(io, json, &Outcome::text(text))
    }
}

fn with_schema(value: &Value) -> Map<String, Value> {
    let mut object = Map::new();
    object.insert("schema".into(), 1.into());
    if let Value::Object(fields) = value {
        object.extend(fields.clone());
    }
    object
}

fn refused_text(refusal: &Refusal, folder: &str) -> String {
    let mut text = format!("refused ({}): {}\n", refusal.rule, refusal.because);
    for command in &refusal.instead {
        text.push_str("  would do: ");
        text.push_str(&command.line(folder));
        text.push('\n');
    }
    text
}

fn fault_text(fault: &Fault) -> String {
    let mut place = fault
        .file
        .as_ref()
        .map(|f| f.to_string_lossy().into_owned())
        .unwrap_or_default();
    for number in [fault.line, fault.column].into_iter().flatten() {
        place = format!("{place}:{number}");
    }
    let place = if place.is_empty() {
        place
    } else {
        format!("{place}: ")
    };
    let remedy = if fault.remedy.is_empty() {
        String::new()
    } else {
        format!("\n  {}", fault.remedy)
    };
    format!("error: {place}{}{remedy}\n", fault.message)
}

/// Text that may come from files, made safe for a terminal, lines kept.
pub(super) fn block_safe(text: &str) -> String {
    text.split_inclusive('\n')
        .map(|line| match line.strip_suffix('\n') {
            Some(line) => format!("{}\n", line_safe(line)),
            None => line_safe(line),
        })
        .collect()
}

fn line_safe(line: &str) -> String {
    report::safe::plain_text(line).into()
}
