//! The scanner: from a text to its tree of spans.

use std::ops::Range;

use super::tree::{Item, Kind, Node};
use super::{DEEPEST, PathError, is_unseen, line_column};

/// Where the scanner could not go on, and what it would have needed.
#[derive(Debug)]
pub(super) struct Fault {
    pub(super) at: usize,
    pub(super) expected: &'static str,
}

#[derive(Debug)]
pub(super) struct Comment {
    pub(super) span: Range<usize>,
    /// `// ...`, so that nothing may be put behind it on its line.
    pub(super) to_line_end: bool,
}

/// Reads a whole text: a byte order mark, headers, one value, comments.
pub(super) fn parse(text: &str) -> Result<Node, PathError> {
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
pub(super) fn found(text: &str, at: usize) -> String {
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
pub(super) fn is_blank(c: char) -> bool {
    matches!(
        c,
        ' ' | '\t'..='\r' | '\u{85}' | '\u{200e}' | '\u{200f}' | '\u{2028}' | '\u{2029}'
    )
}

/// What may be part of a number, a name or a range.
pub(super) fn is_word(c: char) -> bool {
    !is_blank(c) && !",:()[]{}\"'/".contains(c)
}

/// The comment that starts at a place, if one does and ends.
pub(super) fn comment_at(text: &str, at: usize) -> Option<Comment> {
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
pub(super) fn comments(text: &str, mut at: usize) -> Vec<Comment> {
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
pub(super) struct Scanner<'t> {
    pub(super) text: &'t str,
    pub(super) at: usize,
    pub(super) depth: usize,
    /// The line breaks met between tokens and in comments.
    pub(super) breaks: Vec<usize>,
}

impl<'t> Scanner<'t> {
    pub(super) fn new(text: &'t str) -> Self {
        Self {
            text,
            at: 0,
            depth: 0,
            breaks: Vec::new(),
        }
    }

    pub(super) fn rest(&self) -> &'t str {
        &self.text[self.at..]
    }

    pub(super) fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    pub(super) fn fault<T>(&self, expected: &'static str) -> Result<T, Fault> {
        Err(Fault {
            at: self.at,
            expected,
        })
    }

    pub(super) fn take(&mut self, token: &str) -> bool {
        let there = self.rest().starts_with(token);
        if there {
            self.at += token.len();
        }
        there
    }

    pub(super) fn need(&mut self, token: &str, expected: &'static str) -> Result<(), Fault> {
        if self.take(token) {
            Ok(())
        } else {
            self.fault(expected)
        }
    }

    /// Goes over white space and comments.
    pub(super) fn skip(&mut self) -> Result<(), Fault> {
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
    pub(super) fn headers(&mut self) -> Result<(), Fault> {
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
    pub(super) fn whole(&mut self) -> Result<Node, Fault> {
        self.skip()?;
        let node = self.value()?;
        self.skip()?;
        match self.peek() {
            None => Ok(node),
            Some(_) => self.fault("the end of the text"),
        }
    }

    pub(super) fn value(&mut self) -> Result<Node, Fault> {
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

    pub(super) fn leaf(&self) -> Node {
        Node {
            kind: Kind::Leaf,
            span: self.at..self.at,
            inside: self.at..self.at,
            items: Vec::new(),
        }
    }

    pub(super) fn word(&mut self) -> &'t str {
        let rest = self.rest();
        let word = &rest[..rest.find(|c| !is_word(c)).unwrap_or(rest.len())];
        self.at += word.len();
        word
    }

    /// A value that starts with a word: a number, a name, a name with
    /// brackets, or a literal with a prefix.
    pub(super) fn word_or_named(&mut self) -> Result<Node, Fault> {
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

    pub(super) fn string(&mut self) -> Result<Node, Fault> {
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

    pub(super) fn raw_string(&mut self, hashes: &str) -> Result<Node, Fault> {
        let end = format!("\"{hashes}");
        match self.rest()[1..].find(&end) {
            Some(length) => self.at += 1 + length + end.len(),
            None => return self.fault("a raw text that ends"),
        }
        Ok(self.leaf())
    }

    pub(super) fn character(&mut self) -> Result<Node, Fault> {
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
    pub(super) fn bracket(&mut self, start: usize, close: &'static str) -> Result<Node, Fault> {
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
    pub(super) fn item(&mut self, close: &str, first: Option<&Item>) -> Result<Item, Fault> {
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
