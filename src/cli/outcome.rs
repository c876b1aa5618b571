//! What a command leads to, and how it is printed.

use std::path::PathBuf;

use clap::error::{ContextKind, ContextValue};
use serde_json::{Map, Value, json};

use super::{Context, Io};
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
    /// Whether the program made the text out of itself: a script, whose every
    /// character stays.
    pub(super) generated: bool,
}

impl Outcome {
    /// Text that is the whole answer.
    pub(super) fn text(text: impl Into<String>) -> Self {
        let text = text.into();
        Self::both(text.clone(), json!({ "text": text }))
    }

    /// A script or a page of the program's own.
    pub(super) fn generated(text: impl Into<String>) -> Self {
        Self {
            generated: true,
            ..Self::text(text)
        }
    }

    /// The same answer for people and for scripts.
    pub(super) fn both(text: impl Into<String>, json: Value) -> Self {
        Self {
            text: text.into(),
            json,
            warnings: Vec::new(),
            status: 0,
            generated: false,
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
            message: told(&message.into()),
            remedy: told(&remedy.into()),
            ..Fault::default()
        }))
    }
}

impl From<Refusal> for Trouble {
    /// A name that the project does not have is bad input, not a rule.
    fn from(refusal: Refusal) -> Self {
        if refusal.rule.starts_with("unknown-") {
            let remedy = match refusal.rule.as_str() {
                "unknown-tick" => "`tankside gates DIR PIECE` lists what a piece waits for",
                "unknown-item" => "`tankside closeout DIR` lists the items",
                "unknown-stage" => "`tankside gates DIR PIECE` lists the stages of a piece",
                "unknown-tank" => "`tankside status DIR` lists the tanks",
                _ => "`tankside status DIR` lists the pieces",
            };
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
    warn(io, &done.warnings);
    let written = io.out.write_all(answer(json, done).as_bytes());
    match written.and_then(|()| io.out.flush()) {
        Ok(()) => done.status,
        // Whoever reads a pipe may stop reading: that is no failure of the command.
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => done.status,
        Err(error) => {
            let stands = match done.json.pointer("/recorded/sequence") {
                Some(sequence) => format!("; event {sequence} is recorded all the same"),
                None => String::new(),
            };
            let said = writeln!(
                io.err,
                "error: the answer could not be written: {error}{stands}"
            );
            drop(said);
            2
        }
    }
}

/// What goes to standard output.
fn answer(json: bool, done: &Outcome) -> String {
    if json {
        let mut object = with_schema(&done.json);
        if !done.warnings.is_empty() || object.contains_key("recorded") {
            object.insert("warnings".into(), done.warnings.clone().into());
        }
        return format!("{}\n", json_safe(object));
    }
    let newline = if done.text.is_empty() || done.text.ends_with('\n') {
        ""
    } else {
        "\n"
    };
    let text = if done.generated {
        done.text.clone()
    } else {
        block_safe(&done.text)
    };
    format!("{text}{newline}")
}

/// Prints a part of the answer at once; whether anybody still reads.
pub(super) fn tell(context: &Context<'_>, part: &Outcome) -> Result<bool, Trouble> {
    let mut out = context.out.borrow_mut();
    let told = answer(context.json, part);
    match out.write_all(told.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Ok(true),
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(false),
        Err(error) => Err(error.into()),
    }
}

fn warn(io: &mut Io<'_>, warnings: &[String]) {
    for warning in warnings {
        let said = writeln!(io.err, "warning: {}", told(warning));
        drop(said);
    }
}

/// Prints why a command was not done; returns its exit status.
pub(super) fn fail(
    io: &mut Io<'_>,
    json: bool,
    folder: &str,
    trouble: &Trouble,
    notices: &[String],
) -> u8 {
    warn(io, notices);
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
        let mut object = with_schema(&object);
        if !notices.is_empty() {
            object.insert("warnings".into(), notices.into());
        }
        let printed = writeln!(io.out, "{}", json_safe(object));
        drop(printed);
    }
    status
}

/// Help and version go to standard output; anything else is bad usage.
pub(super) fn of_clap(io: &mut Io<'_>, json: bool, error: clap::Error, way_out: &str) -> u8 {
    match said_by_clap(error, way_out) {
        Ok(done) => print(io, json, &done),
        Err(trouble) => fail(io, json, "", &trouble, &[]),
    }
}

/// The same, with what would do.
pub(super) fn said_by_clap(error: clap::Error, way_out: &str) -> Result<Outcome, Trouble> {
    if !error.use_stderr() {
        return Ok(Outcome::text(error.render().to_string()));
    }
    let text = in_plain_words(error);
    let text = text.trim_start_matches("error: ");
    let lines = text
        .lines()
        .filter(|l| !l.starts_with("For more information"));
    let message = lines.collect::<Vec<_>>().join("\n");
    // Its lines are the parser's own: they stay.
    Err(Trouble::Error(Box::new(Fault {
        kind: "usage".to_owned(),
        message: message.trim_end().to_owned(),
        remedy: told(way_out),
        ..Fault::default()
    })))
}

/// The parser's message, what it repeats of the arguments made plain and short:
/// its lines are its own.
fn in_plain_words(mut error: clap::Error) -> String {
    let own: Vec<(ContextKind, ContextValue)> = error
        .context()
        .filter_map(|(kind, value)| Some((kind, plain_context(value)?)))
        .collect();
    for (kind, value) in own {
        error.insert(kind, value);
    }
    error.render().to_string()
}

fn plain_context(value: &ContextValue) -> Option<ContextValue> {
    Some(match value {
        ContextValue::String(text) => ContextValue::String(told(text)),
        ContextValue::Strings(texts) => {
            ContextValue::Strings(texts.iter().map(|t| told(t)).collect())
        }
        ContextValue::StyledStrs(texts) => {
            let plain = texts.iter().map(|t| told(&t.to_string()).into());
            ContextValue::StyledStrs(plain.collect())
        }
        _ => return None,
    })
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
    let because = told(&refusal.because);
    let mut text = format!("refused ({}): {because}\n", refusal.rule);
    for command in &refusal.instead {
        text.push_str("  would do: ");
        // A command is of use only as a whole.
        let line = command.line(folder);
        text.push_str(&line_safe(&report::safe::excerpt(&line, 4000)));
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
    if fault.line.is_none() && fault.message.contains(&*told(&place)) {
        // The message names the file in its own place.
        place.clear();
    }
    for number in [fault.line, fault.column].into_iter().flatten() {
        place = format!("{place}:{number}");
    }
    let place = if place.is_empty() {
        place
    } else {
        format!("{}: ", told(&place))
    };
    let remedy = if fault.remedy.is_empty() {
        String::new()
    } else {
        format!("\n  {}", fault.remedy)
    };
    format!("error: {place}{}{remedy}\n", without_place(fault))
}

/// The message without the line and column that stand before it already.
fn without_place(fault: &Fault) -> &str {
    let (Some(line), Some(column)) = (fault.line, fault.column) else {
        return &fault.message;
    };
    let told = format!("line {line}, column {column}: ");
    fault.message.strip_prefix(&told).unwrap_or(&fault.message)
}

/// Text of any origin and length as part of a message: one line, its ends only
/// where it would go on and on.
fn told(text: &str) -> String {
    const MOST: usize = 500;
    line_safe(&report::safe::excerpt(text, MOST))
}

/// One object in which nothing acts on a terminal either: what JSON lets pass
/// (RFC 8259, 7 asks only for what is below U+0020) is escaped too. Such
/// characters stand in texts alone, never between them.
fn json_safe(object: Map<String, Value>) -> String {
    let text = Value::Object(object).to_string();
    let mut safe = String::with_capacity(text.len());
    for character in text.chars() {
        if report::safe::is_unseen(character) {
            let units = character.encode_utf16(&mut [0; 2]).to_vec();
            safe.extend(units.iter().map(|unit| format!("\\u{unit:04x}")));
        } else {
            safe.push(character);
        }
    }
    safe
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

/// Text of any origin as part of one line.
pub(super) fn line_safe(line: &str) -> String {
    report::safe::plain_text(line).into()
}
