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

use std::fmt::Write as _;
use std::ops::Range;

use ron::extensions::Extensions;
use serde::de::IgnoredAny;
use thiserror::Error;

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

// --- The tree of spans -----------------------------------------------------

/// What kind of value a node is, as far as a path cares.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// Numbers, texts, words: whatever holds no others.
    Leaf,
    /// `(a: 1)`, named or not.
    Struct,
    /// `(1, 2)`, named or not; also `()`.
    Tuple,
    /// `[1, 2]`.
    List,
    /// `{"a": 1}`.
    Map,
}

impl Kind {
    fn name(self) -> &'static str {
        match self {
            Self::Leaf => "a single value",
            Self::Struct => "a struct",
            Self::Tuple => "a tuple",
            Self::List => "a list",
            Self::Map => "a map",
        }
    }
}

/// One value and where it stands.
#[derive(Debug)]
struct Node {
    kind: Kind,
    /// All of the value, from a struct's name to its closing bracket.
    span: Range<usize>,
    /// Between the brackets; empty for a leaf.
    inside: Range<usize>,
    items: Vec<Item>,
}

/// One field, entry or key with its value.
#[derive(Debug)]
struct Item {
    key: Option<Range<usize>>,
    value: Node,
    /// The comma behind it.
    comma: Option<usize>,
}

impl Item {
    fn start(&self) -> usize {
        self.key.as_ref().unwrap_or(&self.value.span).start
    }

    /// Behind the comma, or behind the value where none is.
    fn end(&self) -> usize {
        self.comma
            .map_or(self.value.span.end, |comma| comma + ','.len_utf8())
    }

    /// A field's name or a key's text; a list entry has its `name` field.
    fn name(&self, text: &str) -> Option<String> {
        let Some(key) = &self.key else {
            let entry = self.value.inside_some(text);
            let name = entry.items.iter().find(|item| item.is_named_name(text))?;
            return string_value(&text[name.value.inside_some(text).span.clone()]);
        };
        let source = &text[key.clone()];
        let word = source.strip_prefix("r#").unwrap_or(source);
        Some(string_value(source).unwrap_or_else(|| word.to_owned()))
    }

    fn is_named_name(&self, text: &str) -> bool {
        self.key.clone().is_some_and(|key| &text[key] == "name")
    }
}

impl Node {
    /// The value in `Some(...)`, however often it is wrapped; else itself.
    fn inside_some(&self, text: &str) -> &Self {
        let mut node = self;
        while let (Kind::Tuple, [only]) = (node.kind, node.items.as_slice()) {
            let word = &text[node.span.start..];
            if !word.starts_with("Some") || word[4..].starts_with(is_word) {
                break;
            }
            node = &only.value;
        }
        node
    }

    fn is_none(&self, text: &str) -> bool {
        &text[self.span.clone()] == "None"
    }

    fn find(&self, text: &str, path: &str, segment: &Segment) -> Result<Option<usize>, PathError> {
        let named = |item: &Item| item.name(text).is_some_and(|name| name == segment.name);
        let mut matches = (0..self.items.len()).filter(|index| named(&self.items[*index]));
        let first = matches.next();
        let others = matches.count();
        if others > 0 {
            let (line, column) = line_column(text, self.span.start);
            return Err(PathError::Ambiguous {
                path: path.to_owned(),
                name: in_path(&segment.name),
                count: others + 1,
                line,
                column,
            });
        }
        let counts = matches!(self.kind, Kind::List | Kind::Tuple);
        let numbered = segment
            .number()
            .filter(|number| counts && *number < self.items.len());
        Ok(first.or(numbered))
    }

    fn names(&self, text: &str) -> Vec<String> {
        self.items
            .iter()
            .filter_map(|item| item.name(text))
            .collect()
    }

    fn wrong_kind(&self, text: &str, path: &str, expected: &'static str) -> PathError {
        let (line, column) = line_column(text, self.span.start);
        PathError::Kind {
            path: path.to_owned(),
            expected,
            line,
            column,
            found: self.kind.name(),
        }
    }

    /// The segment as a new key: in quotes unless the other keys have none.
    fn key_like_others(&self, text: &str, segment: &Segment) -> Result<String, PathError> {
        let plain = |item: &Item| {
            let key = item.key.clone();
            key.is_some_and(|key| string_value(&text[key]).is_none())
        };
        if segment.quoted || !self.items.first().is_some_and(plain) {
            return Ok(quote(&segment.name));
        }
        let key = Fragment::read(&segment.name)?;
        Ok(key.laid_out(newline(text), None))
    }

    /// Where the item's own part of the brackets begins: behind the item
    /// before it, or behind the opening bracket.
    fn part_start(&self, index: usize) -> usize {
        match index.checked_sub(1) {
            Some(before) => self.items[before].end(),
            None => self.inside.start,
        }
    }
}

// --- Changes ---------------------------------------------------------------

/// A span and what takes its place.
type Edit = (Range<usize>, String);

/// The text with the edits made, which are in order and do not overlap. The
/// outcome is read once more, since a deep value in a deep place may go beyond
/// what can be read.
fn changed(text: &str, edits: &[Edit]) -> Result<String, PathError> {
    let mut out = String::with_capacity(text.len());
    let mut at = 0;
    for (span, new) in edits {
        out.push_str(&text[at..span.start]);
        out.push_str(new);
        at = span.end;
    }
    out.push_str(&text[at..]);
    parse(&out).map(|_| out)
}

/// The edits that put an item last in `holder`. `item` makes its source for
/// the indentation of the line it will stand on. With `spread`, an item that
/// has no neighbours to be like gets lines of its own.
fn append(
    text: &str,
    root: &Node,
    holder: &Node,
    spread: bool,
    item: impl FnOnce(&str) -> String,
) -> Vec<Edit> {
    match holder.items.last() {
        Some(last) => append_after(text, root, holder, last, item),
        None => vec![append_first(text, root, holder, spread, item)],
    }
}

fn append_after(
    text: &str,
    root: &Node,
    holder: &Node,
    last: &Item,
    item: impl FnOnce(&str) -> String,
) -> Vec<Edit> {
    let tail = Tail::behind(text, last.end());
    let own_line =
        line_start(text, last.start()) >= holder.part_start(holder.items.len().saturating_sub(1));
    let (gap, indent) = if own_line || tail.has_line_comment {
        let indent = indent_inside(text, root, holder, last.start());
        (format!("{}{indent}", newline(text)), indent)
    } else {
        (" ".to_owned(), indent_of(text, last.start()).to_owned())
    };
    let (missing_comma, closing_comma) = match last.comma {
        Some(_) => ("", ","),
        None => (",", ""),
    };
    let value_end = last.value.span.end;
    let new = format!("{gap}{}{closing_comma}", item(&indent));
    vec![
        (value_end..value_end, missing_comma.to_owned()),
        (tail.end..tail.end, new),
    ]
}

fn append_first(
    text: &str,
    root: &Node,
    holder: &Node,
    spread: bool,
    item: impl FnOnce(&str) -> String,
) -> Edit {
    let Range { start, end } = holder.inside;
    let comment = comments(text, start).pop();
    let at = comment.as_ref().map_or(start, |comment| comment.span.end);
    let (line_end, outer) = (newline(text), indent_of(text, end));
    if text[at..end].contains('\n') {
        let indent = match comment {
            Some(comment) => indent_inside(text, root, holder, comment.span.start),
            None => format!("{outer}{}", indent_unit(text, root)),
        };
        return (at..at, format!("{line_end}{indent}{},", item(&indent)));
    }
    if comment.is_some() {
        return (at..at, format!(" {}", item(outer)));
    }
    if spread {
        let indent = format!("{outer}{}", indent_unit(text, root));
        let new = format!("{line_end}{indent}{},{line_end}{outer}", item(&indent));
        return (start..end, new);
    }
    (start..end, item(outer))
}

/// The edits that take the item out of `holder`.
fn removal(text: &str, holder: &Node, index: usize) -> Vec<Edit> {
    let item = &holder.items[index];
    let is_last = index + 1 == holder.items.len();
    // Without a comma of its own, the last item takes the one before it along.
    let comma_before = (is_last && item.comma.is_none())
        .then(|| index.checked_sub(1).and_then(|i| holder.items[i].comma))
        .flatten();
    let own_part = own_part(text, holder, index);
    comma_before
        .into_iter()
        .map(|comma| comma..comma + 1)
        .chain([own_part])
        .map(|span| (span, String::new()))
        .collect()
}

/// The bytes that belong to the item alone.
fn own_part(text: &str, holder: &Node, index: usize) -> Range<usize> {
    let item = &holder.items[index];
    let part_start = holder.part_start(index);
    let line = line_start(text, item.start());
    let leading = comments(text, part_start);
    let tail = Tail::behind(text, item.end());
    let starts_line = line >= part_start && !leading.iter().any(|c| c.span.contains(&line));
    if starts_line && let Some(next_line) = tail.next_line {
        return line..next_line;
    }
    if starts_line && tail.stop >= holder.inside.end {
        // The closing bracket moves up, but never into a comment.
        let start = if leading.is_empty() { part_start } else { line };
        return start..tail.end;
    }
    let start = leading
        .iter()
        .map(|comment| comment.span.start)
        .find(|start| *start >= line)
        .unwrap_or(item.start());
    beside_others(text, holder, part_start, start, item)
}

/// The bytes of an item that shares its line, together with the blanks on one
/// of its sides.
fn beside_others(
    text: &str,
    holder: &Node,
    part_start: usize,
    start: usize,
    item: &Item,
) -> Range<usize> {
    let tail = Tail::behind(text, item.end());
    let end = if tail.stop >= holder.inside.end {
        tail.end
    } else {
        item.end()
    };
    let blanks = |c: char| c == ' ' || c == '\t';
    let after = text[end..].trim_start_matches(blanks);
    let ends_here = end + (text[end..].len() - after.len()) >= holder.inside.end;
    if ends_here || after.starts_with(['\n', '\r']) || after.starts_with("//") {
        let before = text[part_start..start].trim_end_matches(blanks);
        return part_start + before.len()..end;
    }
    start..text.len() - after.len()
}

/// What stands between a place and the end of its line or the next token.
#[derive(Debug)]
struct Tail {
    /// Behind the last comment; the place itself where none is.
    end: usize,
    /// The line break or token that ends it.
    stop: usize,
    /// Where the next line starts, if nothing else comes first.
    next_line: Option<usize>,
    has_line_comment: bool,
}

impl Tail {
    fn behind(text: &str, at: usize) -> Self {
        let mut tail = Self {
            end: at,
            stop: at,
            next_line: None,
            has_line_comment: false,
        };
        while let Some(c) = text[tail.stop..].chars().next() {
            if c == '\n' {
                tail.next_line = Some(tail.stop + 1);
                break;
            } else if is_blank(c) {
                tail.stop += c.len_utf8();
            } else if let Some(comment) = comment_at(text, tail.stop) {
                (tail.end, tail.stop) = (comment.span.end, comment.span.end);
                tail.has_line_comment |= comment.to_line_end;
            } else {
                break;
            }
        }
        tail
    }
}

/// The line break that the text uses.
fn newline(text: &str) -> &'static str {
    let first = text.find('\n').unwrap_or(0);
    if text[..first].ends_with('\r') {
        "\r\n"
    } else {
        "\n"
    }
}

/// Where the line of a byte starts.
fn line_start(text: &str, at: usize) -> usize {
    text[..at].rfind('\n').map_or(0, |end| end + 1)
}

/// The blanks that the line of a byte starts with.
fn indent_of(text: &str, at: usize) -> &str {
    leading_blanks(&text[line_start(text, at)..at])
}

fn leading_blanks(line: &str) -> &str {
    let rest = line.trim_start_matches([' ', '\t']);
    &line[..line.len() - rest.len()]
}

/// The indentation of a line inside `holder`, judged by the line of a byte
/// that may still be the one of the opening bracket.
fn indent_inside(text: &str, root: &Node, holder: &Node, at: usize) -> String {
    let indent = indent_of(text, at);
    if line_start(text, at) >= holder.inside.start {
        indent.to_owned()
    } else {
        format!("{indent}{}", indent_unit(text, root))
    }
}

/// One level of indentation: that of the outermost fields.
fn indent_unit<'t>(text: &'t str, root: &Node) -> &'t str {
    let outermost = root.items.iter().map(Item::start);
    outermost
        .filter(|start| line_start(text, *start) >= root.inside.start)
        .map(|start| indent_of(text, start))
        .find(|indent| !indent.is_empty())
        .unwrap_or(USUAL_INDENT)
}

// --- New source ------------------------------------------------------------

/// One RON value that is to go into a text.
#[derive(Debug)]
struct Fragment<'s> {
    source: &'s str,
    node: Node,
    /// The line breaks between its tokens, not those inside its texts.
    breaks: Vec<usize>,
}

impl<'s> Fragment<'s> {
    fn read(source: &'s str) -> Result<Self, PathError> {
        let refused = |(line, column), reason| PathError::Value {
            value: source.to_owned(),
            line,
            column,
            reason,
        };
        let mut scanner = Scanner::new(source);
        let node = scanner.whole().map_err(|fault| {
            let reason = format!(
                "expected {}, found {}",
                fault.expected,
                found(source, fault.at)
            );
            refused(line_column(source, fault.at), reason)
        })?;
        let reader = ron::Options::default().with_default_extension(
            Extensions::IMPLICIT_SOME
                | Extensions::UNWRAP_NEWTYPES
                | Extensions::UNWRAP_VARIANT_NEWTYPES,
        );
        // The scanner takes any word for a value; what numbers and names there
        // are is for the reader to say.
        reader
            .from_str::<IgnoredAny>(&source[node.span.clone()])
            .map_err(|error| {
                let start = line_column(source, node.span.start);
                refused(start, error.code.to_string())
            })?;
        let inside = |at: &usize| node.span.contains(at);
        let breaks = scanner.breaks.into_iter().filter(inside).collect();
        Ok(Self {
            source,
            node,
            breaks,
        })
    }

    fn spans_lines(&self) -> bool {
        !self.breaks.is_empty()
    }

    /// The value's source with the given line breaks; with an indentation, its
    /// lines are moved to it and keep their indentation to each other.
    fn laid_out(&self, newline: &str, indent: Option<&str>) -> String {
        let base = self.base_indent();
        let mut out = String::new();
        let mut at = self.node.span.start;
        for &end in &self.breaks {
            let line = &self.source[at..end];
            out.push_str(line.strip_suffix('\r').unwrap_or(line));
            out.push_str(newline);
            at = end + 1;
            let Some(indent) = indent else { continue };
            let blanks = leading_blanks(&self.source[at..]);
            let kept = blanks.strip_prefix(base).unwrap_or("");
            at += blanks.len();
            if !self.source[at..].starts_with(['\n', '\r']) {
                out.push_str(indent);
                out.push_str(kept);
            }
        }
        out.push_str(&self.source[at..self.node.span.end]);
        out
    }

    /// The indentation of the value as a whole: that of its closing bracket
    /// where it has a line of its own, else that of its first line.
    fn base_indent(&self) -> &'s str {
        let Range { start, end } = self.node.span;
        let last_line = self.breaks.last().map_or(start, |at| at + 1);
        let blanks = leading_blanks(&self.source[last_line..end]);
        let closes = self.source[last_line + blanks.len()..end].starts_with([')', ']', '}']);
        if closes && self.spans_lines() {
            blanks
        } else {
            indent_of(self.source, start)
        }
    }
}

// --- The scanner -----------------------------------------------------------

/// Where the scanner could not go on, and what it would have needed.
#[derive(Debug)]
struct Fault {
    at: usize,
    expected: &'static str,
}

#[derive(Debug)]
struct Comment {
    span: Range<usize>,
    /// `// ...`, so that nothing may be put behind it on its line.
    to_line_end: bool,
}

/// Reads a whole text: a byte order mark, headers, one value, comments.
fn parse(text: &str) -> Result<Node, PathError> {
    let mut scanner = Scanner::new(text);
    scanner
        .headers()
        .and_then(|()| scanner.whole())
        .map_err(|Fault { at, expected }| {
            let (line, column) = line_column(text, at);
            PathError::Text {
                line,
                column,
                expected,
                found: found(text, at),
            }
        })
}

/// What stands at a place, for a message.
fn found(text: &str, at: usize) -> String {
    let word: String = text[at..].chars().take_while(|c| is_word(*c)).collect();
    match text[at..].chars().next() {
        None => "the end".to_owned(),
        Some('\n' | '\r') => "the end of the line".to_owned(),
        Some(c) if is_unseen(c) => format!("the character U+{:04X}", u32::from(c)),
        Some(c) if word.is_empty() => format!("`{c}`"),
        Some(_) => format!("`{}`", word.chars().take(24).collect::<String>()),
    }
}

/// What RON takes for white space (its grammar, section "Whitespace and
/// comments").
fn is_blank(c: char) -> bool {
    matches!(
        c,
        ' ' | '\t'..='\r' | '\u{85}' | '\u{200e}' | '\u{200f}' | '\u{2028}' | '\u{2029}'
    )
}

/// What may be part of a number, a name or a range.
fn is_word(c: char) -> bool {
    !is_blank(c) && !",:()[]{}\"'/".contains(c)
}

/// The comment that starts at a place, if one does and ends.
fn comment_at(text: &str, at: usize) -> Option<Comment> {
    let rest = &text[at..];
    if rest.starts_with("//") {
        let line = rest.split('\n').next().unwrap_or(rest);
        let length = line.strip_suffix('\r').unwrap_or(line).len();
        return Some(Comment {
            span: at..at + length,
            to_line_end: true,
        });
    }
    let mut depth = 0_usize;
    let mut length = 0;
    loop {
        let here = &rest[length..];
        if here.starts_with("/*") {
            depth += 1;
            length += 2;
        } else if depth == 0 {
            return None;
        } else if here.starts_with("*/") {
            depth -= 1;
            length += 2;
            if depth == 0 {
                return Some(Comment {
                    span: at..at + length,
                    to_line_end: false,
                });
            }
        } else {
            length += here.chars().next()?.len_utf8();
        }
    }
}

/// The comments from a place to the next token.
fn comments(text: &str, mut at: usize) -> Vec<Comment> {
    let mut comments = Vec::new();
    loop {
        at += text[at..].len() - text[at..].trim_start_matches(is_blank).len();
        let Some(comment) = comment_at(text, at) else {
            return comments;
        };
        at = comment.span.end;
        comments.push(comment);
    }
}

/// Goes through a text once, from left to right.
#[derive(Debug)]
struct Scanner<'t> {
    text: &'t str,
    at: usize,
    depth: usize,
    /// The line breaks met between tokens and in comments.
    breaks: Vec<usize>,
}

impl<'t> Scanner<'t> {
    fn new(text: &'t str) -> Self {
        Self {
            text,
            at: 0,
            depth: 0,
            breaks: Vec::new(),
        }
    }

    fn rest(&self) -> &'t str {
        &self.text[self.at..]
    }

    fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    fn fault<T>(&self, expected: &'static str) -> Result<T, Fault> {
        Err(Fault {
            at: self.at,
            expected,
        })
    }

    fn take(&mut self, token: &str) -> bool {
        let there = self.rest().starts_with(token);
        if there {
            self.at += token.len();
        }
        there
    }

    fn need(&mut self, token: &str, expected: &'static str) -> Result<(), Fault> {
        if self.take(token) {
            Ok(())
        } else {
            self.fault(expected)
        }
    }

    /// Goes over white space and comments.
    fn skip(&mut self) -> Result<(), Fault> {
        let start = self.at;
        loop {
            self.at = self.text.len() - self.rest().trim_start_matches(is_blank).len();
            match comment_at(self.text, self.at) {
                Some(comment) => self.at = comment.span.end,
                None if self.rest().starts_with("/*") => {
                    return self.fault("a comment that ends with `*/`");
                }
                None => break,
            }
        }
        let breaks = self.text[start..self.at].match_indices('\n');
        self.breaks.extend(breaks.map(|(at, _)| start + at));
        Ok(())
    }

    /// `#![enable(...)]`, any number of them.
    fn headers(&mut self) -> Result<(), Fault> {
        self.take("\u{feff}");
        self.skip()?;
        while self.take("#") {
            for token in ["!", "[", "enable", "("] {
                self.skip()?;
                self.need(token, "a header such as `#![enable(implicit_some)]`")?;
            }
            self.skip()?;
            while self.peek().is_some_and(is_word) {
                self.word();
                self.skip()?;
                self.take(",");
                self.skip()?;
            }
            self.need(")", "`)` at the end of the header's names")?;
            self.skip()?;
            self.need("]", "`]` at the end of the header")?;
            self.skip()?;
        }
        Ok(())
    }

    /// One value and nothing behind it.
    fn whole(&mut self) -> Result<Node, Fault> {
        self.skip()?;
        let node = self.value()?;
        self.skip()?;
        match self.peek() {
            None => Ok(node),
            Some(_) => self.fault("the end of the text"),
        }
    }

    fn value(&mut self) -> Result<Node, Fault> {
        let start = self.at;
        match self.peek() {
            Some('(') => self.bracket(start, ")"),
            Some('[') => self.bracket(start, "]"),
            Some('{') => self.bracket(start, "}"),
            Some('"') => self.string(),
            Some('\'') => self.character(),
            Some(c) if is_word(c) => self.word_or_named(),
            _ => self.fault("a value"),
        }
        .map(|node| Node {
            span: start..self.at,
            ..node
        })
    }

    fn leaf(&self) -> Node {
        Node {
            kind: Kind::Leaf,
            span: self.at..self.at,
            inside: self.at..self.at,
            items: Vec::new(),
        }
    }

    fn word(&mut self) -> &'t str {
        let rest = self.rest();
        let word = &rest[..rest.find(|c| !is_word(c)).unwrap_or(rest.len())];
        self.at += word.len();
        word
    }

    /// A value that starts with a word: a number, a name, a name with
    /// brackets, or a literal with a prefix.
    fn word_or_named(&mut self) -> Result<Node, Fault> {
        let start = self.at;
        let word = self.word();
        match (word, self.peek()) {
            ("b", Some('"')) => return self.string(),
            ("b", Some('\'')) => return self.character(),
            (_, Some('"')) => {
                let hashes = word.strip_prefix('b').unwrap_or(word).strip_prefix('r');
                return match hashes.filter(|h| h.chars().all(|c| c == '#')) {
                    Some(hashes) => self.raw_string(hashes),
                    None => self.fault("`,` or a closing bracket"),
                };
            }
            _ => {}
        }
        let end = self.at;
        let names = word.starts_with(|c: char| c.is_alphabetic() || c == '_');
        self.skip()?;
        if names && self.peek() == Some('(') {
            return self.bracket(start, ")");
        }
        // What was skipped belongs to whoever comes next.
        self.at = end;
        while self.breaks.pop_if(|at| *at >= end).is_some() {}
        Ok(self.leaf())
    }

    fn string(&mut self) -> Result<Node, Fault> {
        let start = self.at;
        self.need("\"", "a text in quotes")?;
        while let Some(c) = self.peek() {
            self.at += c.len_utf8();
            match c {
                '"' => return Ok(self.leaf()),
                '\\' => self.at += self.peek().map_or(0, char::len_utf8),
                _ => {}
            }
        }
        self.at = start;
        self.fault("a text that ends with a quote")
    }

    fn raw_string(&mut self, hashes: &str) -> Result<Node, Fault> {
        let end = format!("\"{hashes}");
        match self.rest()[1..].find(&end) {
            Some(length) => self.at += 1 + length + end.len(),
            None => return self.fault("a raw text that ends"),
        }
        Ok(self.leaf())
    }

    fn character(&mut self) -> Result<Node, Fault> {
        let mut chars = self.rest().char_indices().skip(1);
        let escaped = chars.next().is_some_and(|(_, c)| c == '\\');
        if escaped {
            chars.next();
        }
        match chars.find(|(_, c)| *c == '\'' || *c == '\n') {
            Some((at, '\'')) => self.at += at + 1,
            _ => return self.fault("a character that ends with `'`"),
        }
        Ok(self.leaf())
    }

    /// The brackets at the scanner's place, and all that is in them.
    fn bracket(&mut self, start: usize, close: &'static str) -> Result<Node, Fault> {
        if self.depth == DEEPEST {
            return self.fault("brackets nested at most 128 deep");
        }
        self.depth += 1;
        self.at += 1;
        let inside = self.at;
        let mut items = Vec::new();
        self.skip()?;
        while !self.rest().starts_with(close) {
            let item = self.item(close, items.first())?;
            let more = item.comma.is_some();
            items.push(item);
            if !more && !self.rest().starts_with(close) {
                return self.fault(match close {
                    ")" => "`,` or `)`",
                    "]" => "`,` or `]`",
                    _ => "`,` or `}`",
                });
            }
        }
        let inside = inside..self.at;
        self.at += 1;
        self.depth -= 1;
        let keyed = items.first().is_some_and(|item| item.key.is_some());
        let kind = match close {
            "]" => Kind::List,
            "}" => Kind::Map,
            _ if keyed => Kind::Struct,
            _ => Kind::Tuple,
        };
        Ok(Node {
            kind,
            span: start..self.at,
            inside,
            items,
        })
    }

    /// One field, entry or key, up to the next token behind its comma.
    fn item(&mut self, close: &str, first: Option<&Item>) -> Result<Item, Fault> {
        let keyed = first.map(|item| item.key.is_some());
        let mut value = self.value()?;
        let mut key = None;
        self.skip()?;
        if close != "]" && keyed != Some(false) && self.take(":") {
            key = Some(value.span);
            self.skip()?;
            value = self.value()?;
            self.skip()?;
        } else if close == "}" || keyed == Some(true) {
            return self.fault("`:` and a value");
        }
        let at = self.at;
        let comma = self.take(",").then_some(at);
        self.skip()?;
        Ok(Item { key, value, comma })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const LAMP: &str = r##"#![enable(implicit_some)]
// Fern-shaped floor lamp, printed in March.
(
    name: "fern lamp",
    metal: copper, // acid copper, bright
    thickness: (mean: 150.0, minimum: 80.0),
    hold: None,

    /* the pieces, /* nested */ from the ground up */
    pieces: [
        (
            name: "foot",
            area: 4.1, // dm2, from the slicer
            wire: Some((diameter: 0.8, length: 120)),
            notes: r#"the "heavy" one, (glued"#,
        ),

        // printed twice, the first cracked
        (name: "stem", area: 2.75),
        (name: "leaf.1", area: 0.6)   // thin
    ],
    tanks: [
        // nothing bought yet
    ],
    prices: { "copper": 12.5, "bag" : 3 },
)
"##;

    fn reads(text: &str) -> bool {
        ron::from_str::<ron::Value>(text).is_ok()
    }

    /// The text with `old`, which it has once, exchanged for `new`.
    fn exchanged(text: &str, old: &str, new: &str) -> String {
        assert_eq!(text.matches(old).count(), 1, "{old}");
        text.replacen(old, new, 1)
    }

    #[test]
    fn a_path_walks_fields_entries_keys_and_some() {
        let at = |path| value(LAMP, path).unwrap();
        assert!(reads(LAMP));
        assert_eq!(at("metal"), Some("copper"));
        assert_eq!(at("thickness.mean"), Some("150.0"));
        assert_eq!(at("pieces.stem.area"), Some("2.75"));
        assert_eq!(at("pieces.1.area"), Some("2.75"));
        assert_eq!(at("pieces.\"leaf.1\".area"), Some("0.6"));
        assert_eq!(at("pieces.foot.wire.length"), Some("120"));
        let wire = "Some((diameter: 0.8, length: 120))";
        assert_eq!(at("pieces.foot.wire"), Some(wire));
        assert_eq!(at("prices.bag"), Some("3"));
        assert_eq!(at("hold.hours"), None);
        assert_eq!(at("pieces.crown"), None);
        assert_eq!(at("pieces.3"), None);
        assert_eq!(at("pieces.\"1\""), None);
        assert_eq!(position(LAMP, "metal"), Some((5, 12)));
        assert_eq!(position(LAMP, "pieces.stem.area"), Some((19, 30)));
        assert_eq!(position(LAMP, "pieces.crown"), None);
    }

    #[test]
    fn the_name_of_an_entry_goes_before_its_number() {
        let text = r#"(bells: [(name: "1", area: 5), Some((name: "b", area: 6))])"#;
        assert_eq!(value(text, "bells.1.area"), Ok(Some("5")));
        assert_eq!(value(text, "bells.\"1\".area"), Ok(Some("5")));
        assert_eq!(value(text, "bells.b.area"), Ok(Some("6")));
        assert_eq!(value(text, "bells.0.area"), Ok(Some("5")));
    }

    #[test]
    fn setting_changes_the_value_alone() {
        let changed = set(LAMP, "pieces.foot.area", "4.35").unwrap();
        assert_eq!(changed, exchanged(LAMP, "area: 4.1,", "area: 4.35,"));
        let changed = set(LAMP, "pieces.foot.wire.diameter", " 1 // mm").unwrap();
        assert_eq!(changed, exchanged(LAMP, "diameter: 0.8", "diameter: 1"));
        let changed = set(LAMP, "prices.bag", "4").unwrap();
        assert_eq!(changed, exchanged(LAMP, "\"bag\" : 3", "\"bag\" : 4"));
    }

    #[test]
    fn a_new_field_follows_its_neighbours() {
        let changed = set(LAMP, "pieces.foot.roughness", "1.2").unwrap();
        let last = "(glued\"#,\n";
        let with_new = format!("{last}            roughness: 1.2,\n");
        assert_eq!(changed, exchanged(LAMP, last, &with_new));
        let changed = set(LAMP, "pieces.stem.wire", "None").unwrap();
        assert_eq!(changed, exchanged(LAMP, "2.75)", "2.75, wire: None)"));
        let changed = set(LAMP, "prices.salt", "2").unwrap();
        assert_eq!(changed, exchanged(LAMP, "3 }", "3, \"salt\": 2 }"));
    }

    #[test]
    fn a_new_field_gets_the_commas_right() {
        let cases = [
            ("()", "(c: 3)"),
            ("Lamp( )", "Lamp(c: 3)"),
            ("(a: 1,)", "(a: 1, c: 3,)"),
            ("(a: 1 /* mm */)", "(a: 1, /* mm */ c: 3)"),
            (
                "(\n\ta: 1 // one\n\t// end\n)",
                "(\n\ta: 1, // one\n\tc: 3\n\t// end\n)",
            ),
            (
                "(\n  a: 1, b: 2 // two\n)",
                "(\n  a: 1, b: 2, // two\n  c: 3\n)",
            ),
            ("(a: 1, // one\n)", "(a: 1, // one\n    c: 3,\n)"),
            ("(\r\n  a: 1\r\n)", "(\r\n  a: 1,\r\n  c: 3\r\n)"),
        ];
        for (text, expected) in cases {
            assert_eq!(set(text, "c", "3").as_deref(), Ok(expected));
        }
        let changed = set("(m: {1: \"a\"})", "m.2", "\"b\"");
        assert_eq!(changed.as_deref(), Ok("(m: {1: \"a\", 2: \"b\"})"));
    }

    #[test]
    fn missing_structs_are_made_on_the_way() {
        let changed = set(LAMP, "rest.night.hours", "8").unwrap();
        let last = "\"bag\" : 3 },\n";
        let with_new = format!("{last}    rest: (night: (hours: 8)),\n");
        assert_eq!(changed, exchanged(LAMP, last, &with_new));
        let changed = set(LAMP, "hold.hours", "72").unwrap();
        let new = "hold: Some((hours: 72))";
        assert_eq!(changed, exchanged(LAMP, "hold: None", new));
    }

    #[test]
    fn a_missing_name_is_told_with_those_there_are() {
        let error = set(LAMP, "pieces.stm.area", "1").unwrap_err();
        assert_eq!(
            error.to_string(),
            "`pieces.stm.area`: no entry stm at line 10, column 13, nearest is stem; \
             there are: foot, stem, \"leaf.1\""
        );
        let error = push(LAMP, "pieces.crown.layers", "1").unwrap_err();
        assert!(matches!(error, PathError::Missing { what: "entry", .. }));
        let error = remove(LAMP, "holt").unwrap_err().to_string();
        assert!(error.contains("no field holt at line 3, column 1, nearest is hold;"));
        let error = remove("(tanks: [])", "tanks.acid").unwrap_err().to_string();
        assert!(error.ends_with("nothing there has a name"));
    }

    #[test]
    fn pushing_follows_the_neighbours() {
        let changed = push(LAMP, "pieces", "(\n  name: \"bud\",\n\n  area: 1,\n)").unwrap();
        let entry = "        (\n          name: \"bud\",\n\n          area: 1,\n        )\n";
        let with_new = format!("area: 0.6),   // thin\n{entry}");
        assert_eq!(
            changed,
            exchanged(LAMP, "area: 0.6)   // thin\n", &with_new)
        );
        let changed = push(LAMP, "tanks", "(name: \"acid\")").unwrap();
        let comment = "        // nothing bought yet\n";
        let with_new = format!("{comment}        (name: \"acid\"),\n");
        assert_eq!(changed, exchanged(LAMP, comment, &with_new));
        let changed = push(LAMP, "pieces.stem.layers", "80").unwrap();
        assert_eq!(changed, exchanged(LAMP, "2.75)", "2.75, layers: [80])"));
        let changed = push(LAMP, "hold", "1").unwrap();
        assert_eq!(changed, exchanged(LAMP, "hold: None", "hold: Some([1])"));
    }

    #[test]
    fn a_list_that_pushing_makes_has_a_line_for_each_struct() {
        let changed = push(LAMP, "bags", "(name: \"x\")").unwrap();
        let last = "\"bag\" : 3 },\n";
        let with_new = format!("{last}    bags: [\n        (name: \"x\"),\n    ],\n");
        assert_eq!(changed, exchanged(LAMP, last, &with_new));
    }

    #[test]
    fn pushing_into_lists_without_entries() {
        let pushed = |text| push(text, "a", "1").unwrap();
        assert_eq!(pushed("(a: [])"), "(a: [1])");
        assert_eq!(pushed("(a: Some([ ]))"), "(a: Some([1]))");
        assert_eq!(pushed("(a: [ /* none */ ])"), "(a: [ /* none */ 1 ])");
        assert_eq!(pushed("(a: [ // none\n])"), "(a: [ // none\n    1,\n])");
        assert_eq!(pushed("(\n  a: [\n  ],\n)"), "(\n  a: [\n    1,\n  ],\n)");
        assert_eq!(pushed("(a: [0,])"), "(a: [0, 1,])");
        assert_eq!(pushed("(a: [\n 0])"), "(a: [\n 0,\n 1])");
        assert_eq!(pushed("()"), "(a: [1])");
    }

    #[test]
    fn a_text_of_several_lines_is_not_indented() {
        let entry = "  (t: \"x\n  y\",\n   u: 1)";
        let changed = push("(\n  a: [\n  ],\n)", "a", entry).unwrap();
        let expected = "(\n  a: [\n    (t: \"x\n  y\",\n     u: 1),\n  ],\n)";
        assert_eq!(changed, expected);
    }

    #[test]
    fn removing_takes_the_line_and_its_comments() {
        let changed = remove(LAMP, "metal").unwrap();
        let line = "    metal: copper, // acid copper, bright\n";
        assert_eq!(changed, exchanged(LAMP, line, ""));
        let changed = remove(LAMP, "pieces.stem").unwrap();
        let line = "        (name: \"stem\", area: 2.75),\n";
        assert_eq!(changed, exchanged(LAMP, line, ""));
        let changed = remove(LAMP, "pieces.\"leaf.1\"").unwrap();
        let lines = "2.75),\n        (name: \"leaf.1\", area: 0.6)   // thin\n";
        assert_eq!(changed, exchanged(LAMP, lines, "2.75)\n"));
        let changed = remove(LAMP, "pieces.foot.wire.length").unwrap();
        assert_eq!(changed, exchanged(LAMP, ", length: 120", ""));
        let changed = remove(LAMP, "pieces.foot.wire.diameter").unwrap();
        assert_eq!(changed, exchanged(LAMP, "diameter: 0.8, ", ""));
    }

    #[test]
    fn removing_beside_others() {
        let cases = [
            ("(a: 1, b: 2, c: 3)", "(a: 1, c: 3)"),
            ("(b: 2)", "()"),
            ("( b: 2 )", "( )"),
            ("(a: 1, b: 2,)", "(a: 1,)"),
            ("(a: 1 /* one */, b: 2 /* two */)", "(a: 1 /* one */)"),
            ("(a: 1, /* two: */ b: 2, c: 3)", "(a: 1, c: 3)"),
            ("(a: 1, b: 2, // both\n c: 3)", "(a: 1, // both\n c: 3)"),
            ("(a: 1,\n b: 2)", "(a: 1)"),
            ("(a: 1, // one\n b: 2)", "(a: 1 // one\n)"),
            ("(b: 2, // two\n c: 3)", "( // two\n c: 3)"),
            ("(\n  b: 2, // two\n)", "(\n)"),
            (
                "(\n  // above\n  b: (\n 1),\n  c: 3)",
                "(\n  // above\n  c: 3)",
            ),
        ];
        for (text, expected) in cases {
            assert_eq!(remove(text, "b").as_deref(), Ok(expected));
        }
    }

    #[test]
    fn all_kinds_of_values_are_read() {
        let text = r###"(a: b"\x41\"", c: '\'', d: b'x', e: '"', f: br##""#"##, g: -1.5e-3,
            h: 0xFF_u8, i: inf, j: (), k: Unit, l: Named(x: 1), m: Some (5), n: [[], [1,],],
            o: {1: {}}, p: 'é', r#type: 1, q: "a\\", r: T(1, "x"), s: /* ) */ true, // }
            z: 1,)"###;
        assert!(reads(text));
        assert_eq!(value(text, "f"), Ok(Some(r###"br##""#"##"###)));
        assert_eq!(value(text, "type"), Ok(Some("1")));
        assert_eq!(value(text, "r.1"), Ok(Some("\"x\"")));
        assert_eq!(value(text, "l.x"), Ok(Some("1")));
        assert_eq!(value(text, "m"), Ok(Some("Some (5)")));
        assert_eq!(value(text, "z"), Ok(Some("1")));
    }

    #[test]
    fn faults_in_the_text_have_line_and_column() {
        let cases = [
            (
                "(\n  é: 1\n  b: 2)",
                "line 3, column 3: expected `,` or `)`, found `b`",
            ),
            ("(a: \"x)", "line 1, column 5: expected a text that ends"),
            (
                "(a: 1",
                "line 1, column 6: expected `,` or `)`, found the end",
            ),
            ("(a: 1) x", "column 8: expected the end of the text"),
            ("/* /* */ (", "column 1: expected a comment that ends"),
            ("(a: 1, 2)", "column 9: expected `:` and a value"),
            ("(a: ]", "column 5: expected a value, found `]`"),
            ("#[enable(x)] ()", "column 2: expected a header"),
        ];
        for (text, expected) in cases {
            let error = value(text, "a").unwrap_err().to_string();
            assert!(error.contains(expected), "{error}");
        }
    }

    #[test]
    fn nesting_has_a_limit() {
        let lists = |deep: usize| format!("{}{}", "[".repeat(deep), "]".repeat(deep));
        assert!(value(&lists(DEEPEST), "0").is_ok());
        let error = value(&lists(DEEPEST + 1), "0").unwrap_err();
        assert!(error.to_string().contains("at most 128 deep"), "{error}");
        assert!(value(&"(".repeat(1_000_000), "a").is_err());
        let path = vec!["a"; DEEPEST + 1].join(".");
        assert!(matches!(set("()", &path, "1"), Err(PathError::Text { .. })));
    }

    #[test]
    fn values_that_are_not_ron_are_refused() {
        let values = [
            "", "1, b: 2", "4 dm2", "1)", "(a: 1", "\"x", "0x", "1.2.3", "// x", "\"\\q\"",
        ];
        for bad in values {
            let error = set("(a: 1)", "a", bad).unwrap_err();
            assert!(matches!(error, PathError::Value { .. }), "{bad}: {error}");
        }
    }

    #[test]
    fn paths_that_cannot_be_read_or_followed_are_refused() {
        let text = "(a: 1, b: [(name: \"x\"), (name: \"x\")], t: (1, 2))";
        let refused = |path| set(text, path, "1").unwrap_err();
        for bad in ["", ".", "a.", "a..b", "\"a", "\"a\"b", "\"\\q\""] {
            assert!(matches!(refused(bad), PathError::Path { .. }), "{bad}");
        }
        assert!(matches!(refused("a.b"), PathError::Kind { .. }));
        assert!(matches!(refused("t.x"), PathError::Kind { .. }));
        let twice = refused("b.x");
        assert!(matches!(twice, PathError::Ambiguous { count: 2, .. }));
        assert!(matches!(refused("9a"), PathError::FieldName { .. }));
        assert!(matches!(refused("c.d e"), PathError::FieldName { .. }));
        assert!(set(text, "b.0.area", "1").is_ok());
        assert!(matches!(push(text, "a", "1"), Err(PathError::Kind { .. })));
    }

    #[test]
    fn a_byte_order_mark_stays() {
        let changed = set("\u{feff}(a: 1)", "a", "2");
        assert_eq!(changed.as_deref(), Ok("\u{feff}(a: 2)"));
    }

    #[test]
    fn lines_and_columns_count_characters_from_one() {
        assert_eq!(line_column("", 0), (1, 1));
        assert_eq!(line_column("é\r\nab", 2), (1, 2));
        assert_eq!(line_column("é\r\nab", 1), (1, 1));
        assert_eq!(line_column("é\r\nab", 5), (2, 2));
        assert_eq!(line_column("é\r\nab", 99), (2, 3));
    }

    #[test]
    fn quoting_hides_nothing() {
        let literal = r#""a\"\\\n\u{202e}\u{0}é""#;
        assert_eq!(quote("a\"\\\n\u{202e}\u{0}é"), literal);
    }

    /// Blanks and comments, as may stand between any two tokens.
    fn gap() -> impl Strategy<Value = String> {
        let piece = prop_oneof![
            4 => Just(""),
            3 => Just(" "),
            2 => Just("\n    "),
            1 => Just(" // note, (\n"),
            1 => Just("/* a /* b */ ] */"),
            1 => Just("\n\n\t// own line\n"),
        ];
        prop::collection::vec(piece, 0..3).prop_map(|pieces| pieces.concat())
    }

    fn leaf() -> impl Strategy<Value = String> {
        prop_oneof![
            any::<i32>().prop_map(|n| n.to_string()),
            any::<String>().prop_map(|text| quote(&text)),
            Just("true".to_owned()),
            Just("r#\")\"//\"#".to_owned()),
            Just("'('".to_owned()),
            Just("Some(3)".to_owned()),
            Just("(x: 1, y: [2, 3])".to_owned()),
            Just("(\n    x: 1, // one\n    y: 2,\n)".to_owned()),
        ]
    }

    /// Items with gaps around all tokens, with or without a last comma.
    fn bracketed(
        items: Vec<(String, String, String)>,
        last_comma: bool,
        end: &str,
        brackets: (char, char),
    ) -> String {
        let comma = if last_comma && !items.is_empty() {
            ","
        } else {
            ""
        };
        let items: Vec<String> = items.into_iter().map(|(a, i, b)| a + &i + &b).collect();
        let (open, close) = brackets;
        format!("{open}{}{comma}{end}{close}", items.join(","))
    }

    fn items() -> impl Strategy<Value = Vec<(String, String, String)>> {
        prop::collection::vec((gap(), leaf(), gap()), 0..4)
    }

    prop_compose! {
        /// A struct of up to three fields f0, f1, f2, and perhaps `list` behind
        /// the first; its line breaks are all of one kind, save in texts.
        fn document()(
            before in gap(), fields in items(), entries in items(), end in gap(),
            after in gap(), commas in any::<(bool, bool)>(), crlf in any::<bool>(),
        ) -> String {
            let list = bracketed(entries, commas.0, &end, ('[', ']'));
            let mut fields: Vec<_> = fields
                .into_iter()
                .enumerate()
                .map(|(n, (a, value, b))| (a.clone(), format!("f{n}{b}:{a}{value}"), b))
                .collect();
            if let Some((a, _, b)) = fields.first().cloned() {
                fields.insert(1, (b.clone(), format!("list{a}:{b}{list}"), a));
            }
            let text = format!("{before}{}{after}\n", bracketed(fields, commas.1, &end, ('(', ')')));
            if crlf { text.replace('\n', "\r\n") } else { text }
        }
    }

    /// Whether `long` is `short` with something put in, and nothing taken out.
    fn put_in(short: &str, long: &str) -> bool {
        let mut rest = long.chars();
        short.chars().all(|c| rest.any(|other| other == c))
    }

    fn has_lone_line_feed(text: &str) -> bool {
        text.replace("\r\n", "").contains('\n')
    }

    proptest! {
        #[test]
        fn whatever_text_and_path_never_panic(text: String, path: String, new: String) {
            let _ = value(&text, &path);
            let _ = position(&text, &path);
            let _ = set(&text, &path, &new);
            let _ = push(&text, &path, &new);
            let _ = remove(&text, &path);
            let _ = line_column(&text, path.len());
        }

        #[test]
        fn scraps_of_ron_never_panic(
            scraps in prop::collection::vec(
                prop::sample::select(vec![
                    "(", ")", "[", "]", "{", "}", "a", ":", ",", "1", "\"", "'", "r#\"", "\"#",
                    "b", "//", "/*", "*/", "\n", "\r\n", " ", "é", "\\", "Some", "None",
                    "name: \"a\"", "#![", "(a: 1", "(a: [",
                ]),
                0..40,
            ),
        ) {
            let text = scraps.concat();
            let outcomes = [set(&text, "a.a", "1"), push(&text, "a", "1"), remove(&text, "a")];
            for changed in outcomes.into_iter().flatten() {
                prop_assert!(parse(&changed).is_ok());
            }
        }

        #[test]
        fn quoted_text_reads_back(text: String) {
            let literal = quote(&text);
            prop_assert!(!literal.contains(is_unseen));
            prop_assert_eq!(ron::from_str::<String>(&literal).unwrap(), text);
        }

        #[test]
        fn setting_keeps_the_rest(text in document(), field in 0..4, new in leaf()) {
            let path = format!("f{field}");
            let new = if text.contains("\r\n") { new.replace('\n', "\r\n") } else { new };
            prop_assert!(reads(&text), "{}", text);
            let changed = set(&text, &path, &new).unwrap();
            prop_assert!(reads(&changed), "{}", changed);
            prop_assert_eq!(value(&changed, &path).unwrap(), Some(new.as_str()));
            if let Some(old) = value(&text, &path).unwrap() {
                let start = old.as_ptr().addr() - text.as_ptr().addr();
                let expected = format!("{}{new}{}", &text[..start], &text[start + old.len()..]);
                prop_assert_eq!(changed, expected);
            } else if text.contains("f0") {
                prop_assert!(put_in(&text, &changed), "{}\n{}", text, changed);
                let grown = changed.len() - text.len();
                let source = path.len() + ": ".len() + new.len();
                let commas_and_line = 2 + "\r\n".len() + 2 * "\t      ".len();
                prop_assert!(grown <= source + commas_and_line, "{}\n{}", text, changed);
            }
        }

        #[test]
        fn pushing_keeps_the_rest(text in document(), new in leaf()) {
            let changed = push(&text, "list", &new).unwrap();
            prop_assert!(reads(&changed), "{}", changed);
            let list = |text: &str| {
                let list = value(text, "list").unwrap().unwrap_or("[]").to_owned();
                ron::from_str::<Vec<ron::Value>>(&list).unwrap()
            };
            let mut expected = list(&text);
            expected.push(ron::from_str(&new).unwrap());
            prop_assert_eq!(list(&changed), expected);
            for other in ["f0", "f1", "f2", "f3"] {
                prop_assert_eq!(value(&text, other).unwrap(), value(&changed, other).unwrap());
            }
            if value(&text, "list.0").unwrap().is_some() {
                prop_assert!(put_in(&text, &changed), "{}\n{}", text, changed);
            }
            if text.contains("\r\n") && !has_lone_line_feed(&text) {
                prop_assert!(!has_lone_line_feed(&changed), "{}", changed);
            }
        }

        #[test]
        fn removing_keeps_the_others(text in document(), field in 0..4) {
            let path = format!("f{field}");
            let Some(_) = value(&text, &path).unwrap() else {
                let refused = remove(&text, &path).unwrap_err().to_string();
                prop_assert!(refused.contains("no field"), "{}", refused);
                return Ok(());
            };
            let changed = remove(&text, &path).unwrap();
            prop_assert!(reads(&changed), "{}", changed);
            prop_assert!(put_in(&changed, &text), "{}\n{}", text, changed);
            prop_assert_eq!(value(&changed, &path).unwrap(), None);
            for other in ["f0", "f1", "f2", "f3", "list"] {
                if other != path {
                    prop_assert_eq!(value(&text, other).unwrap(), value(&changed, other).unwrap());
                }
            }
        }
    }
}
