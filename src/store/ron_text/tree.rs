//! The tree of spans: which value stands where.

use std::ops::Range;

use super::edit::{Fragment, newline};
use super::scan::is_word;
use super::{PathError, Segment, in_path, line_column, quote, string_value};

/// What kind of value a node is, as far as a path cares.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
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
    pub(super) fn name(self) -> &'static str {
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
pub(super) struct Node {
    pub(super) kind: Kind,
    /// All of the value, from a struct's name to its closing bracket.
    pub(super) span: Range<usize>,
    /// Between the brackets; empty for a leaf.
    pub(super) inside: Range<usize>,
    pub(super) items: Vec<Item>,
}

/// One field, entry or key with its value.
#[derive(Debug)]
pub(super) struct Item {
    pub(super) key: Option<Range<usize>>,
    pub(super) value: Node,
    /// The comma behind it.
    pub(super) comma: Option<usize>,
}

impl Item {
    pub(super) fn start(&self) -> usize {
        self.key.as_ref().unwrap_or(&self.value.span).start
    }

    /// Behind the comma, or behind the value where none is.
    pub(super) fn end(&self) -> usize {
        self.comma
            .map_or(self.value.span.end, |comma| comma + ','.len_utf8())
    }

    /// A field's name or a key's text; a list entry has its `name` field.
    pub(super) fn name(&self, text: &str) -> Option<String> {
        let Some(key) = &self.key else {
            let entry = self.value.inside_some(text);
            let name = entry.items.iter().find(|item| item.is_named_name(text))?;
            return string_value(&text[name.value.inside_some(text).span.clone()]);
        };
        let source = &text[key.clone()];
        let word = source.strip_prefix("r#").unwrap_or(source);
        Some(string_value(source).unwrap_or_else(|| word.to_owned()))
    }

    pub(super) fn is_named_name(&self, text: &str) -> bool {
        self.key.clone().is_some_and(|key| &text[key] == "name")
    }
}

impl Node {
    /// The value in `Some(...)`, however often it is wrapped; else itself.
    pub(super) fn inside_some(&self, text: &str) -> &Self {
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

    pub(super) fn is_none(&self, text: &str) -> bool {
        &text[self.span.clone()] == "None"
    }

    pub(super) fn find(
        &self,
        text: &str,
        path: &str,
        segment: &Segment,
    ) -> Result<Option<usize>, PathError> {
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

    pub(super) fn names(&self, text: &str) -> Vec<String> {
        self.items
            .iter()
            .filter_map(|item| item.name(text))
            .collect()
    }

    pub(super) fn wrong_kind(&self, text: &str, path: &str, expected: &'static str) -> PathError {
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
    pub(super) fn key_like_others(
        &self,
        text: &str,
        segment: &Segment,
    ) -> Result<String, PathError> {
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
    pub(super) fn part_start(&self, index: usize) -> usize {
        match index.checked_sub(1) {
            Some(before) => self.items[before].end(),
            None => self.inside.start,
        }
    }
}
