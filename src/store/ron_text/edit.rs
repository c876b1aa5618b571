//! Changes: which spans are exchanged, and for what.

use std::ops::Range;

use ron::extensions::Extensions;
use serde::de::IgnoredAny;

use super::scan::{Scanner, comment_at, comments, found, is_blank, parse};
use super::tree::{Item, Node};
use super::{PathError, USUAL_INDENT, line_column};

/// A span and what takes its place.
pub(super) type Edit = (Range<usize>, String);

/// The text with the edits made, which are in order and do not overlap. The
/// outcome is read once more, since a deep value in a deep place may go beyond
/// what can be read.
pub(super) fn changed(text: &str, edits: &[Edit]) -> Result<String, PathError> {
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
pub(super) fn append(
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

pub(super) fn append_after(
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

pub(super) fn append_first(
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
pub(super) fn removal(text: &str, holder: &Node, index: usize) -> Vec<Edit> {
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
pub(super) fn own_part(text: &str, holder: &Node, index: usize) -> Range<usize> {
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
pub(super) fn beside_others(
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
pub(super) struct Tail {
    /// Behind the last comment; the place itself where none is.
    pub(super) end: usize,
    /// The line break or token that ends it.
    pub(super) stop: usize,
    /// Where the next line starts, if nothing else comes first.
    pub(super) next_line: Option<usize>,
    pub(super) has_line_comment: bool,
}

impl Tail {
    pub(super) fn behind(text: &str, at: usize) -> Self {
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
pub(super) fn newline(text: &str) -> &'static str {
    let first = text.find('\n').unwrap_or(0);
    if text[..first].ends_with('\r') {
        "\r\n"
    } else {
        "\n"
    }
}

/// Where the line of a byte starts.
pub(super) fn line_start(text: &str, at: usize) -> usize {
    text[..at].rfind('\n').map_or(0, |end| end + 1)
}

/// The blanks that the line of a byte starts with.
pub(super) fn indent_of(text: &str, at: usize) -> &str {
    leading_blanks(&text[line_start(text, at)..at])
}

pub(super) fn leading_blanks(line: &str) -> &str {
    let rest = line.trim_start_matches([' ', '\t']);
    &line[..line.len() - rest.len()]
}

/// The indentation of a line inside `holder`, judged by the line of a byte
/// that may still be the one of the opening bracket.
pub(super) fn indent_inside(text: &str, root: &Node, holder: &Node, at: usize) -> String {
    let indent = indent_of(text, at);
    if line_start(text, at) >= holder.inside.start {
        indent.to_owned()
    } else {
        format!("{indent}{}", indent_unit(text, root))
    }
}

/// One level of indentation: that of the outermost fields.
pub(super) fn indent_unit<'t>(text: &'t str, root: &Node) -> &'t str {
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
pub(super) struct Fragment<'s> {
    pub(super) source: &'s str,
    pub(super) node: Node,
    /// The line breaks between its tokens, not those inside its texts.
    pub(super) breaks: Vec<usize>,
}

impl<'s> Fragment<'s> {
    pub(super) fn read(source: &'s str) -> Result<Self, PathError> {
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

    pub(super) fn spans_lines(&self) -> bool {
        !self.breaks.is_empty()
    }

    /// The value's source with the given line breaks; with an indentation, its
    /// lines are moved to it and keep their indentation to each other.
    pub(super) fn laid_out(&self, newline: &str, indent: Option<&str>) -> String {
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
    pub(super) fn base_indent(&self) -> &'s str {
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
