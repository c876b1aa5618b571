//! The words of a text file, and the numbers among them.

use std::str::FromStr;

use super::{MeshError, Spot, is_sound};

/// The words of a text, with where the last one stands.
#[derive(Debug, Clone)]
pub(super) struct Words<'a> {
    pub(super) bytes: &'a [u8],
    /// Where the last word stands.
    pub(super) spot: Spot,
    /// The line that is being read, and how many bytes were left at its
    /// beginning.
    line: usize,
    left_at_line: usize,
}

impl<'a> Words<'a> {
    /// The words of a file; a mark of UTF-8 at its beginning is left out.
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
        Self {
            bytes,
            spot: Spot { line: 1, column: 1 },
            line: 1,
            left_at_line: bytes.len(),
        }
    }

    /// Where the next byte stands.
    fn here(&self) -> Spot {
        Spot {
            line: self.line,
            column: self.left_at_line - self.bytes.len() + 1,
        }
    }

    /// The next word; none at the end.
    pub(super) fn next(&mut self) -> Option<&'a [u8]> {
        while self.bytes.first().is_some_and(u8::is_ascii_whitespace) {
            if !self.end_line() {
                self.bytes = &self.bytes[1..];
            }
        }
        self.word()
    }

    /// The next word of this line; none at its end or before a comment. A line
    /// that ends in `\` goes on with the next one.
    pub(super) fn next_on_line(&mut self) -> Option<&'a [u8]> {
        loop {
            match self.bytes {
                [b'\\', b'\r' | b'\n', ..] => {
                    self.bytes = &self.bytes[1..];
                    self.end_line();
                }
                [b'\r' | b'\n' | b'#', ..] => return None,
                [byte, ..] if byte.is_ascii_whitespace() => self.bytes = &self.bytes[1..],
                _ => break,
            }
        }
        let word = self.word()?;
        let goes_on = matches!(self.bytes, [b'\r' | b'\n', ..]);
        match word.strip_suffix(b"\\") {
            Some(before) if goes_on => {
                self.end_line();
                Some(before)
            }
            _ => Some(word),
        }
    }

    /// What stands up to the next blank.
    fn word(&mut self) -> Option<&'a [u8]> {
        self.spot = self.here();
        let end = self.bytes.iter().position(u8::is_ascii_whitespace);
        let (word, rest) = self.bytes.split_at(end.unwrap_or(self.bytes.len()));
        self.bytes = rest;
        (!word.is_empty()).then_some(word)
    }

    /// Goes over the end of a line, if one is next.
    pub(super) fn end_line(&mut self) -> bool {
        let length = match self.bytes {
            [b'\r', b'\n', ..] => 2,
            [b'\r' | b'\n', ..] => 1,
            _ => return false,
        };
        self.bytes = &self.bytes[length..];
        self.line += 1;
        self.left_at_line = self.bytes.len();
        true
    }

    /// Leaves out the rest of the line and returns it, without its end.
    pub(super) fn skip_line(&mut self) -> &'a [u8] {
        let end = memchr::memchr2(b'\n', b'\r', self.bytes);
        let (line, rest) = self.bytes.split_at(end.unwrap_or(self.bytes.len()));
        self.bytes = rest;
        line
    }

    /// The next word, which has to be there.
    pub(super) fn need(&mut self, expected: &str) -> Result<&'a [u8], MeshError> {
        self.next().ok_or_else(|| self.ended(expected))
    }

    /// The next word of this line, which has to be there.
    pub(super) fn need_on_line(&mut self, expected: &'static str) -> Result<&'a [u8], MeshError> {
        match self.next_on_line() {
            Some(word) => Ok(word),
            None if self.bytes.is_empty() => Err(self.ended(expected)),
            None => Err(MeshError::Parse {
                at: Some(self.here()),
                found: "the end of the line".to_owned(),
                expected,
            }),
        }
    }

    fn ended(&self, expected: &str) -> MeshError {
        MeshError::Truncated {
            at: Some(self.here()),
            found: "the end of the file".to_owned(),
            expected: expected.to_owned(),
        }
    }

    pub(super) fn keyword(
        &mut self,
        keyword: &[u8],
        expected: &'static str,
    ) -> Result<(), MeshError> {
        let word = self.need(expected)?;
        if word.eq_ignore_ascii_case(keyword) {
            return Ok(());
        }
        Err(self.cut_or_unexpected(word, expected))
    }

    /// The number that `word` is, as a coordinate of the numbered triangle or
    /// vertex `of`.
    pub(super) fn coordinate<N>(
        &self,
        word: &[u8],
        of: &'static str,
        number: usize,
    ) -> Result<N, MeshError>
    where
        N: FromStr + Copy + Into<f64>,
    {
        match parsed::<N>(word) {
            Some(value) if is_sound(value.into()) => Ok(value),
            Some(found) => Err(MeshError::BadCoordinate {
                at: Some(self.spot),
                of,
                number,
                found: found.into(),
            }),
            None => Err(self.cut_or_unexpected(word, "a coordinate")),
        }
    }

    /// The refusal of a word; as the very last bytes of the file it is taken
    /// for the first half of a word that was cut.
    pub(super) fn cut_or_unexpected(&self, word: &[u8], expected: &'static str) -> MeshError {
        if self.bytes.is_empty() {
            return MeshError::Truncated {
                at: Some(self.spot),
                found: format!("`{}` at the end of the file", shown(word)),
                expected: expected.to_owned(),
            };
        }
        self.unexpected(word, expected)
    }

    pub(super) fn unexpected(&self, word: &[u8], expected: &'static str) -> MeshError {
        MeshError::Parse {
            at: Some(self.spot),
            found: format!("`{}`", shown(word)),
            expected,
        }
    }
}

/// A number as C writes it, including the `nan(ind)` of some libraries.
pub(super) fn parsed<N: FromStr>(word: &[u8]) -> Option<N> {
    let text = std::str::from_utf8(word).ok()?;
    text.split('(').next()?.parse().ok()
}

/// Characters of a word that a message repeats.
const SHOWN: usize = 60;

/// A word of the file for a message: without control characters; of a long one
/// the beginning and `…`.
pub(super) fn shown(word: &[u8]) -> String {
    // No character has more than four bytes.
    let beginning = &word[..word.len().min(4 * SHOWN + 4)];
    cut(&printable(beginning), SHOWN)
}

/// A text of at most so many characters, with `…` in place of what is cut off.
pub(super) fn cut(text: &str, most: usize) -> String {
    if text.chars().nth(most).is_none() {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most - 1).collect();
    kept + "\u{2026}"
}

/// A name of the file without control characters.
pub(super) fn printable(name: &[u8]) -> String {
    let text = String::from_utf8_lossy(name);
    text.chars().filter(|c| !c.is_control()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_cut_off_a_word_is_seen() {
        assert_eq!(shown(b"joint"), "joint");
        let whole = "\u{e9}".repeat(60);
        assert_eq!(shown(whole.as_bytes()), whole);
        for long in ["\u{e9}".repeat(61), "\u{1f514}".repeat(5000)] {
            let shown = shown(long.as_bytes());
            assert_eq!(shown.chars().count(), 60);
            assert!(
                shown.ends_with('\u{2026}') && !shown.contains('\u{fffd}'),
                "{shown}"
            );
        }
    }
}
