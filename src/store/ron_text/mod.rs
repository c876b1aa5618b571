//! Changes one value in a RON text that a person wrote, and nothing else.
//!
//! Reading a file into types and writing it out again would lose the comments,
//! the blank lines and the order a person gave it. So the text is scanned into
//! a tree of byte spans, a path finds the span it means, and only that span is
//! exchanged: every other byte of the text stays as it was.
//!
//! A path walks with dots: `pieces.leaf-1.area`. In a struct a segment is a
//! field; in a list it is the `name` of an entry, or its number counted from 0
//! when no entry has that name; in a map it is a key. A name that has dots
//! itself is put in quotes: `pieces."leaf.1".area`. On its way a path sees
//! through `Some(...)`.
//!
//! ```
//! use tankside::store::ron_text;
//!
//! let text = "(\n    hold: 72, // hours\n)\n";
//! let changed = ron_text::set(text, "hold", "48").unwrap();
//! assert_eq!(changed, "(\n    hold: 48, // hours\n)\n");
//! ```

mod edit;
mod scan;
#[cfg(test)]
mod tests;
mod tree;

use std::fmt::Write as _;

use thiserror::Error;

use edit::{Fragment, append, changed, line_start, newline, removal};
use scan::{Scanner, parse};
use tree::{Kind, Node};

/// Brackets may nest this deep; beyond it a text is refused instead of
/// exhausting the stack. It is the usual recursion limit of the `ron` crate too.
const DEEPEST: usize = 128;

/// Indentation of one level where the text shows none of its own.
const USUAL_INDENT: &str = "    ";

/// Why a path could not be followed or a change not be made.
///
/// Lines and columns count from 1, columns in characters.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum PathError {
    /// The text is not RON, so nothing in it can be found or changed safely.
    #[error(
        "line {line}, column {column}: expected {expected}, found {found}; mend the text there first"
    )]
    Text {
        /// Line of the fault in the text.
        line: usize,
        /// Column of the fault in the text.
        column: usize,
        /// What would have been right there.
        expected: &'static str,
        /// What stands there.
        found: String,
    },
    /// The new value is not one RON value.
    #[error(
        "the value `{value}` is not RON at its line {line}, column {column}: {reason}; \
         write a number as 1.5, a text as \"in quotes\", a list as [a, b], fields as (name: value)"
    )]
    Value {
        /// The value as given.
        value: String,
        /// Line of the fault in the value.
        line: usize,
        /// Column of the fault in the value.
        column: usize,
        /// What is wrong with it.
        reason: String,
    },
    /// The path itself cannot be read.
    #[error(
        "the path `{path}` {problem} at column {column}; write names joined by dots, \
         such as pieces.leaf.area, and a name with dots in quotes"
    )]
    Path {
        /// The path as given.
        path: String,
        /// Column of the fault in the path.
        column: usize,
        /// What is wrong with it.
        problem: &'static str,
    },
    /// There is no such field, entry or key.
    #[error(
        "`{path}`: no {what} {name} at line {line}, column {column}{}; {}",
        nearest.as_ref().map(|near| format!(", nearest is {near}")).unwrap_or_default(),
        choices(names)
    )]
    Missing {
        /// The path as given.
        path: String,
        /// `field`, `entry` or `key`.
        what: &'static str,
        /// The segment that was looked for, as one writes it in a path.
        name: String,
        /// Line where the struct, list or map starts.
        line: usize,
        /// Column where the struct, list or map starts.
        column: usize,
        /// The most similar name there, if one is similar.
        nearest: Option<String>,
        /// All names there, as one writes them in a path.
        names: Box<[String]>,
    },
    /// Several entries or fields have the name.
    #[error(
        "`{path}`: {count} places are named {name} in the brackets at line {line}, column {column}; \
         give each its own name, or say a list entry by its number from 0"
    )]
    Ambiguous {
        /// The path as given.
        path: String,
        /// The segment that was looked for, as one writes it in a path.
        name: String,
        /// How many have it.
        count: usize,
        /// Line where the struct, list or map starts.
        line: usize,
        /// Column where the struct, list or map starts.
        column: usize,
    },
    /// A value on the way is of a kind that cannot hold what was asked for.
    #[error(
        "`{path}`: expected {expected} at line {line}, column {column}, found {found}; \
         shorten the path or change the value there"
    )]
    Kind {
        /// The path as given.
        path: String,
        /// The kind of value that was needed.
        expected: &'static str,
        /// Line where the value starts.
        line: usize,
        /// Column where the value starts.
        column: usize,
        /// The kind of value that stands there.
        found: &'static str,
    },
    /// The segment would have to be a new field but is not a field's name.
    #[error(
        "`{path}`: {name} cannot be the name of a field; use letters, digits and underscores, \
         with no digit first"
    )]
    FieldName {
        /// The path as given.
        path: String,
        /// The segment, as one writes it in a path.
        name: String,
    },
}

/// The end of a message about a missing name: what one may choose from.
fn choices(names: &[String]) -> String {
    if names.is_empty() {
        "nothing there has a name".to_owned()
    } else {
        format!("there are: {}", names.join(", "))
    }
}

/// The source text of the value at `path`, or `None` when the path leads to a
/// field, entry or key that is not there.
///
/// # Errors
/// When the text is not RON, the path cannot be read or is ambiguous, or it
/// leads into a value that holds no others, such as a number.
pub fn value<'t>(text: &'t str, path: &str) -> Result<Option<&'t str>, PathError> {
    let (segments, root) = (segments(path)?, parse(text)?);
    let walk = Walk::along(text, &root, path, &segments)?;
    if walk.arrived() {
        Ok(Some(&text[walk.node.span.clone()]))
    } else if walk.node.is_none(text) {
        Ok(None)
    } else {
        walk.must_hold_names(text, path).map(|()| None)
    }
}

/// Line and column where the value at `path` starts, both from 1; `None` when
/// there is no such value.
pub fn position(text: &str, path: &str) -> Option<(usize, usize)> {
    let (segments, root) = (segments(path).ok()?, parse(text).ok()?);
    let walk = Walk::along(text, &root, path, &segments).ok()?;
    walk.arrived()
        .then(|| line_column(text, walk.node.span.start))
}

/// The text with the value at `path` replaced by the RON source `value`.
///
/// A field that is not there yet becomes the last one of its struct, in the
/// style of its neighbours; structs missing on the way are created as
/// `(field: value)`, inside `Some(...)` where `None` stands. Comments before
/// and after `value` are left out, those inside it stay.
///
/// # Errors
/// When text, path or value cannot be read, a list entry on the way is
/// missing, or a value on the way can hold no fields.
pub fn set(text: &str, path: &str, value: &str) -> Result<String, PathError> {
    let fragment = Fragment::read(value)?;
    let (segments, root) = (segments(path)?, parse(text)?);
    let walk = Walk::along(text, &root, path, &segments)?;
    let new = fragment.laid_out(newline(text), None);
    if walk.arrived() {
        return changed(text, &[(walk.node.span.clone(), new)]);
    }
    let rest = &segments[walk.done..];
    if walk.node.is_none(text) {
        let wrapped = format!("Some({})", nested(path, rest, new)?);
        return changed(text, &[(walk.node.span.clone(), wrapped)]);
    }
    walk.must_hold_names(text, path)?;
    let [first, below @ ..] = rest else {
        return Ok(text.to_owned());
    };
    let key = match walk.node.kind {
        Kind::Struct | Kind::Tuple => field_name(path, first)?.to_owned(),
        Kind::Map => walk.node.key_like_others(text, first)?,
        Kind::List | Kind::Leaf => return Err(walk.missing(text, path, first)),
    };
    let field = format!("{key}: {}", nested(path, below, new)?);
    changed(text, &append(text, &root, walk.node, false, |_| field))
}

/// The text with the RON source `entry` appended to the list at `path`.
///
/// The entry is laid out like its neighbours and indented to its place; a
/// field that is missing or `None` becomes a list first. Comments before and
/// after `entry` are left out, those inside it stay.
///
/// # Errors
/// As [`set`], and when the value at `path` is not a list.
pub fn push(text: &str, path: &str, entry: &str) -> Result<String, PathError> {
    let fragment = Fragment::read(entry)?;
    let (segments, root) = (segments(path)?, parse(text)?);
    let walk = Walk::along(text, &root, path, &segments)?;
    if !walk.arrived() {
        return push(&set(text, path, "[]")?, path, entry);
    }
    if walk.node.is_none(text) {
        return push(&set(text, path, "Some([])")?, path, entry);
    }
    let list = walk.node.inside_some(text);
    if list.kind != Kind::List {
        return Err(list.wrong_kind(text, path, "a list"));
    }
    // A struct or list gets lines of its own unless all of the text is in one line.
    let in_lines = line_start(text, list.span.start) > root.span.start;
    let spread = fragment.spans_lines() || (fragment.node.kind != Kind::Leaf && in_lines);
    let edits = append(text, &root, list, spread, |indent| {
        fragment.laid_out(newline(text), Some(indent))
    });
    changed(text, &edits)
}

/// The text without the field, entry or key at `path`.
///
/// Its lines go with it, and the comments on them, and the comma that parted
/// it from its neighbour. Comments on lines of their own stay; so do comments
/// behind it on a line that it shares with others.
///
/// # Errors
/// When text or path cannot be read, or there is nothing at `path`.
pub fn remove(text: &str, path: &str) -> Result<String, PathError> {
    let (segments, root) = (segments(path)?, parse(text)?);
    let walk = Walk::along(text, &root, path, &segments)?;
    match (walk.holder, segments.get(walk.done)) {
        (_, Some(segment)) => {
            walk.must_hold_names(text, path)?;
            Err(walk.missing(text, path, segment))
        }
        (Some((holder, index)), None) => changed(text, &removal(text, holder, index)),
        (None, None) => Ok(text.to_owned()),
    }
}

/// A text that stands in a RON text, with its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Placed {
    /// The text itself.
    pub text: String,
    /// Its line, from 1.
    pub line: usize,
    /// Its column, from 1, in characters.
    pub column: usize,
}

/// A struct whose every field is a list of texts, as it stands: in its order,
/// and a field that stands there twice is told twice.
///
/// # Errors
/// [`PathError::Text`] when the text is not RON, or something else stands
/// where a field, a list or a text should.
pub fn text_lists(text: &str) -> Result<Vec<(Placed, Vec<Placed>)>, PathError> {
    let root = parse(text)?;
    let fault = |at, expected| {
        let (line, column) = line_column(text, at);
        let found = scan::found(text, at);
        Err(PathError::Text {
            line,
            column,
            expected,
            found,
        })
    };
    let placed = |at, text_there| {
        let (line, column) = line_column(text, at);
        Placed {
            text: text_there,
            line,
            column,
        }
    };
    let is_empty = root.kind == Kind::Tuple && root.items.is_empty();
    if root.kind != Kind::Struct && !is_empty {
        return fault(root.span.start, "names with their lists in round brackets");
    }
    let mut fields = Vec::new();
    for item in &root.items {
        let list = &item.value;
        if list.kind != Kind::List {
            return fault(list.span.start, "a list such as [\"a\", \"b\"]");
        }
        let mut texts = Vec::new();
        for entry in &list.items {
            let at = entry.value.span.start;
            match string_value(&text[entry.value.span.clone()]) {
                Some(value) => texts.push(placed(at, value)),
                None => return fault(at, "a text in quotes"),
            }
        }
        let name = item.name(text).unwrap_or_default();
        fields.push((placed(item.start(), name), texts));
    }
    Ok(fields)
}

/// Line and column of a byte of the text, both from 1, the column in
/// characters. A byte inside a character counts as that character, one behind
/// the end as the end.
pub fn line_column(text: &str, byte: usize) -> (usize, usize) {
    let before = &text[..text.floor_char_boundary(byte)];
    let line = before.matches('\n').count() + 1;
    let column = before[line_start(before, before.len())..].chars().count() + 1;
    (line, column)
}

/// A RON string literal that reads back as exactly `text`.
///
/// Quotes, backslashes and whatever a screen does not show as itself (control
/// characters, line separators, writing direction controls) are escaped, so
/// that what one sees in the file is what is in it.
pub fn quote(text: &str) -> String {
    let mut literal = String::with_capacity(text.len() + 2);
    literal.push('"');
    for c in text.chars() {
        match c {
            '"' | '\\' => literal.extend(['\\', c]),
            '\n' => literal.push_str("\\n"),
            '\r' => literal.push_str("\\r"),
            '\t' => literal.push_str("\\t"),
            _ if is_unseen(c) => {
                let _ = write!(literal, "\\u{{{:x}}}", u32::from(c));
            }
            _ => literal.push(c),
        }
    }
    literal.push('"');
    literal
}

/// Control characters, the bidirectional controls of Unicode Standard Annex 9
/// (table 1 and 2), the two Unicode line separators, and the byte order mark.
fn is_unseen(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'
                ..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}'
        )
}

// --- Paths -----------------------------------------------------------------

/// One name of a path.
#[derive(Debug)]
struct Segment {
    name: String,
    /// In quotes it is a name and never a number.
    quoted: bool,
}

impl Segment {
    /// The entry's number when the segment is one.
    fn number(&self) -> Option<usize> {
        if self.quoted {
            None
        } else {
            self.name.parse().ok()
        }
    }
}

/// Takes a path apart at its dots.
fn segments(path: &str) -> Result<Vec<Segment>, PathError> {
    let fault = |at, problem| PathError::Path {
        path: path.to_owned(),
        column: line_column(path, at).1,
        problem,
    };
    let mut segments = Vec::new();
    let mut at = 0;
    loop {
        let rest = &path[at..];
        let quoted = rest.starts_with('"');
        let end = if quoted {
            let mut scanner = Scanner::new(rest);
            scanner
                .string()
                .map_err(|_fault| fault(at, "has a quote without its end"))?;
            at + scanner.at
        } else {
            at + rest.find('.').unwrap_or(rest.len())
        };
        let source = &path[at..end];
        if source.is_empty() {
            return Err(fault(at, "lacks a name"));
        }
        let name = if quoted {
            string_value(source).ok_or_else(|| fault(at, "has an unknown escape"))?
        } else {
            source.to_owned()
        };
        segments.push(Segment { name, quoted });
        match path[end..].chars().next() {
            None => return Ok(segments),
            Some('.') => at = end + 1,
            Some(_) => return Err(fault(end, "lacks a dot")),
        }
    }
}

/// A name as one writes it in a path.
fn in_path(name: &str) -> String {
    let plain = !name.is_empty() && !name.starts_with('"') && !name.contains('.');
    if plain && !name.contains(is_unseen) {
        name.to_owned()
    } else {
        quote(name)
    }
}

/// The content of a string literal; `None` for whatever else.
fn string_value(source: &str) -> Option<String> {
    ron::from_str(source).ok()
}

/// The segment as the name of a new field.
fn field_name<'s>(path: &str, segment: &'s Segment) -> Result<&'s str, PathError> {
    let name = segment.name.as_str();
    let word = name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
    let first = name.starts_with(|c: char| c.is_ascii_alphabetic() || c == '_');
    if word && first {
        return Ok(name);
    }
    Err(PathError::FieldName {
        path: path.to_owned(),
        name: in_path(name),
    })
}

/// `value` inside one new struct for each of the segments.
fn nested(path: &str, segments: &[Segment], value: String) -> Result<String, PathError> {
    segments.iter().rev().try_fold(value, |inner, segment| {
        Ok(format!("({}: {inner})", field_name(path, segment)?))
    })
}

/// How far a path leads into a text.
#[derive(Debug)]
struct Walk<'n> {
    /// The value at the end of the path, or the last one before a missing name.
    node: &'n Node,
    /// How many segments were found.
    done: usize,
    /// How many segments there are.
    all: usize,
    /// What holds `node`, and as which of its items, once the path arrived.
    holder: Option<(&'n Node, usize)>,
}

impl<'n> Walk<'n> {
    fn along(
        text: &str,
        root: &'n Node,
        path: &str,
        segments: &[Segment],
    ) -> Result<Self, PathError> {
        let mut walk = Self {
            node: root,
            done: 0,
            all: segments.len(),
            holder: None,
        };
        for segment in segments {
            let holder = walk.node.inside_some(text);
            walk.node = holder;
            let Some(index) = holder.find(text, path, segment)? else {
                break;
            };
            walk.holder = Some((holder, index));
            walk.node = &holder.items[index].value;
            walk.done += 1;
        }
        Ok(walk)
    }

    fn arrived(&self) -> bool {
        self.done == self.all
    }

    /// Refuses a value that has no fields, entries or keys to look for. An
    /// empty tuple may be a struct whose fields all have their usual values.
    fn must_hold_names(&self, text: &str, path: &str) -> Result<(), PathError> {
        match self.node.kind {
            Kind::Struct | Kind::List | Kind::Map => Ok(()),
            Kind::Tuple if self.node.items.is_empty() => Ok(()),
            Kind::Tuple | Kind::Leaf => Err(self.node.wrong_kind(text, path, "a struct or a list")),
        }
    }

    fn missing(&self, text: &str, path: &str, segment: &Segment) -> PathError {
        let (line, column) = line_column(text, self.node.span.start);
        let names = self.node.names(text);
        let nearest = names
            .iter()
            .map(|name| (strsim::jaro_winkler(&segment.name, name), name))
            .filter(|(likeness, _)| *likeness > 0.7)
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, name)| in_path(name));
        PathError::Missing {
            path: path.to_owned(),
            what: match self.node.kind {
                Kind::List => "entry",
                Kind::Map => "key",
                Kind::Struct | Kind::Tuple | Kind::Leaf => "field",
            },
            name: in_path(&segment.name),
            line,
            column,
            nearest,
            names: names.iter().map(|name| in_path(name)).collect(),
        }
    }
}
