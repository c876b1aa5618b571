//! XML as 3MF has it, tag by tag, while it is being unpacked.
//!
//! Text between tags is passed over, since a 3MF keeps nothing of a mesh there.
//! A document type is refused and with it every entity of its own, as the 3MF
//! core specification demands (from memory); so there is nothing to expand.

use super::text::Text;
use super::zip::Unpacking;
use crate::mesh::words::{parsed, shown};
use crate::mesh::{Corner, MeshError, Spot, is_sound};

/// The longest tag, in bytes.
const LONGEST_TAG: usize = 1 << 16;
/// The most tags within each other.
const DEEPEST: usize = 100;

/// The tags of a part.
pub(super) struct Xml<'a> {
    source: Text<'a>,
    buffer: Vec<u8>,
    /// How far the buffer has been read.
    at: usize,
    /// Where that is in the part.
    spot: Spot,
    /// The names of the elements that are open.
    open: Vec<Vec<u8>>,
}

/// What stands between `<` and `>`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tag<'b> {
    /// The name with its prefix.
    pub(super) name: &'b [u8],
    attributes: &'b [u8],
    /// Where it begins.
    pub(super) spot: Spot,
    /// How many elements are open here, its own included.
    pub(super) depth: usize,
}

impl<'a> Xml<'a> {
    pub(super) fn new(source: Unpacking<'a>) -> Self {
        Self {
            source: Text::of(source),
            buffer: Vec::new(),
            at: 0,
            spot: Spot { line: 1, column: 1 },
            open: Vec::new(),
        }
    }

    /// The next tag that opens an element; none at the end.
    pub(super) fn next(&mut self) -> Result<Option<Tag<'_>>, MeshError> {
        loop {
            if !self.skip_to(b"<")? {
                return match self.open.last() {
                    None => Ok(None),
                    Some(name) => Err(MeshError::Truncated {
                        at: Some(self.spot),
                        found: "the end of the part".to_owned(),
                        expected: format!("`</{}>`", shown(name)),
                    }),
                };
            }
            if self.begins_with(b"<!--")? {
                self.skip_past(b"-->")?;
            } else if self.begins_with(b"<![CDATA[")? {
                self.skip_past(b"]]>")?;
            } else if self.begins_with(b"<?")? {
                self.skip_past(b"?>")?;
            } else if self.begins_with(b"<!")? {
                return Err(MeshError::XmlEntity {
                    at: self.spot,
                    found: "a document type".to_owned(),
                });
            } else if self.begins_with(b"</")? {
                let length = self.tag_length()?;
                self.close(length)?;
            } else {
                let length = self.tag_length()?;
                return self.open(length).map(Some);
            }
        }
    }

    /// Opens the element whose tag is next, `length` bytes long.
    fn open(&mut self, length: usize) -> Result<Tag<'_>, MeshError> {
        let spot = self.spot;
        let tag = self.at + 1..self.at + length - 1;
        self.advance(length);
        let inner = &self.buffer[tag];
        let inner_open = inner.strip_suffix(b"/").unwrap_or(inner);
        let is_end = |byte: &u8| byte.is_ascii_whitespace();
        let end = inner_open
            .iter()
            .position(is_end)
            .unwrap_or(inner_open.len());
        let (name, attributes) = inner_open.split_at(end);
        if name.is_empty() {
            return Err(unexpected(spot, inner, "the name of a tag"));
        }
        let depth = self.open.len() + 1;
        if inner.len() == inner_open.len() {
            if depth > DEEPEST {
                return Err(unexpected(spot, name, "fewer tags within each other"));
            }
            self.open.push(name.to_vec());
        }
        Ok(Tag {
            name,
            attributes,
            spot,
            depth,
        })
    }

    /// Closes the element whose tag is next.
    fn close(&mut self, length: usize) -> Result<(), MeshError> {
        let spot = self.spot;
        let name = self.buffer[self.at + 2..self.at + length - 1].trim_ascii_end();
        if self.open.pop().as_deref() != Some(name) {
            return Err(unexpected(spot, name, "the end of the tag that is open"));
        }
        self.advance(length);
        Ok(())
    }

    /// How long the tag is that begins here; `>` within quotes does not end it.
    fn tag_length(&mut self) -> Result<usize, MeshError> {
        let mut quote = None;
        let mut length = 1;
        loop {
            let Some(byte) = self.buffer.get(self.at + length).copied() else {
                if length > LONGEST_TAG || !self.fill()? {
                    return Err(self.unfinished());
                }
                continue;
            };
            length += 1;
            match (byte, quote) {
                (b'>', None) => return Ok(length),
                (b'<', _) => {
                    let tag = &self.buffer[self.at..self.at + length];
                    return Err(unexpected(self.spot, tag, "`>` before the next `<`"));
                }
                (b'"' | b'\'', None) => quote = Some(byte),
                (_, Some(open)) if open == byte => quote = None,
                _ => {}
            }
        }
    }

    fn unfinished(&self) -> MeshError {
        MeshError::Truncated {
            at: Some(self.spot),
            found: "a tag without its end".to_owned(),
            expected: "`>`".to_owned(),
        }
    }

    fn begins_with(&mut self, mark: &[u8]) -> Result<bool, MeshError> {
        while self.buffer.len() - self.at < mark.len() && self.fill()? {}
        Ok(self.buffer[self.at..].starts_with(mark))
    }

    /// Goes past the next `mark`, which has to be there.
    fn skip_past(&mut self, mark: &[u8]) -> Result<(), MeshError> {
        if !self.skip_to(mark)? {
            return Err(self.unfinished());
        }
        self.advance(mark.len());
        Ok(())
    }

    /// Goes to the next `mark`, if there is one.
    fn skip_to(&mut self, mark: &[u8]) -> Result<bool, MeshError> {
        loop {
            let ahead = &self.buffer[self.at..];
            let found = match mark {
                [byte] => memchr::memchr(*byte, ahead),
                _ => memchr::memmem::find(ahead, mark),
            };
            // The mark may begin in the last bytes that are there.
            let without = ahead.len().saturating_sub(mark.len() - 1);
            self.advance(found.unwrap_or(without));
            if found.is_some() {
                return Ok(true);
            }
            if !self.fill()? {
                return Ok(false);
            }
        }
    }

    fn advance(&mut self, length: usize) {
        let passed = &self.buffer[self.at..self.at + length];
        match memchr::memrchr(b'\n', passed) {
            None => self.spot.column += length,
            Some(last) => {
                self.spot.line += memchr::memchr_iter(b'\n', passed).count();
                self.spot.column = length - last;
            }
        }
        self.at += length;
    }

    /// Unpacks more, having let go of what was read; `false` at the end.
    fn fill(&mut self) -> Result<bool, MeshError> {
        self.buffer.drain(..self.at);
        self.at = 0;
        self.source.unpack(&mut self.buffer)
    }
}

impl<'b> Tag<'b> {
    /// The name without its prefix, and the prefix.
    pub(super) fn local(&self) -> (&'b [u8], &'b [u8]) {
        split_prefix(self.name)
    }

    /// The attribute of that name, without a prefix.
    pub(super) fn raw(&self, name: &[u8]) -> Result<Option<&'b [u8]>, MeshError> {
        self.find(|found, _| found == name)
    }

    /// The attribute of that name under some prefix.
    pub(super) fn prefixed(&self, name: &[u8]) -> Result<Option<String>, MeshError> {
        let found = self.find(|found, _| {
            let (local, prefix) = split_prefix(found);
            local == name && !prefix.is_empty()
        })?;
        found.map(|value| self.text(value)).transpose()
    }

    /// The attribute of that name as text.
    pub(super) fn attribute(&self, name: &[u8]) -> Result<Option<String>, MeshError> {
        let found = self.raw(name)?;
        found.map(|value| self.text(value)).transpose()
    }

    /// An attribute that has to be there.
    pub(super) fn need(&self, name: &'static str) -> Result<&'b [u8], MeshError> {
        let found = self.raw(name.as_bytes())?;
        found.ok_or_else(|| MeshError::Parse {
            at: Some(self.spot),
            found: format!("`{}` without `{name}`", shown(self.name)),
            expected: "it there",
        })
    }

    /// The same as text.
    pub(super) fn need_text(&self, name: &'static str) -> Result<String, MeshError> {
        self.text(self.need(name)?)
    }

    /// The numbers x, y and z of the numbered vertex.
    pub(super) fn corner(&self, number: usize) -> Result<Corner, MeshError> {
        let mut corner = [0.0; 3];
        for (coordinate, name) in corner.iter_mut().zip(["x", "y", "z"]) {
            let value = self.need(name)?;
            let found = parsed::<f64>(value.trim_ascii());
            *coordinate = found.ok_or_else(|| self.wrong(value, "a coordinate"))?;
            if !is_sound(*coordinate) {
                return Err(MeshError::BadCoordinate {
                    at: Some(self.spot),
                    of: "vertex",
                    number,
                    found: *coordinate,
                });
            }
        }
        Ok(corner)
    }

    /// The refusal of this tag.
    pub(super) fn unexpected(&self, expected: &'static str) -> MeshError {
        self.wrong(self.name, expected)
    }

    /// The refusal of something in this tag.
    pub(super) fn wrong(&self, found: &[u8], expected: &'static str) -> MeshError {
        unexpected(self.spot, found, expected)
    }

    /// The value of the first attribute whose name and value will do.
    pub(super) fn find(
        &self,
        mut is_it: impl FnMut(&[u8], &[u8]) -> bool,
    ) -> Result<Option<&'b [u8]>, MeshError> {
        let mut rest = self.attributes.trim_ascii_start();
        while !rest.is_empty() {
            let wrong = || unexpected(self.spot, rest, "NAME=\"VALUE\"");
            let equals = memchr::memchr(b'=', rest).ok_or_else(wrong)?;
            let name = rest[..equals].trim_ascii_end();
            let value = rest[equals + 1..].trim_ascii_start();
            let (quote, value) = value.split_first().ok_or_else(wrong)?;
            if !matches!(quote, b'"' | b'\'') {
                return Err(wrong());
            }
            let end = memchr::memchr(*quote, value).ok_or_else(wrong)?;
            if is_it(name, &value[..end]) {
                return Ok(Some(&value[..end]));
            }
            rest = value[end + 1..].trim_ascii_start();
        }
        Ok(None)
    }

    /// The text of a value: of entities only XML's own five and characters by
    /// number.
    fn text(&self, value: &[u8]) -> Result<String, MeshError> {
        let text = String::from_utf8_lossy(value);
        let mut parts = text.split('&');
        let mut decoded = parts.next().unwrap_or_default().to_owned();
        for part in parts {
            let (entity, rest) = part.split_once(';').unwrap_or((part, ""));
            let character = character(entity).ok_or_else(|| MeshError::XmlEntity {
                at: self.spot,
                found: format!("`&{}`", shown(entity.as_bytes())),
            })?;
            decoded.push(character);
            decoded.push_str(rest);
        }
        Ok(decoded)
    }
}

fn character(entity: &str) -> Option<char> {
    Some(match entity {
        "amp" => '&',
        "lt" => '<',
        "gt" => '>',
        "quot" => '"',
        "apos" => '\'',
        _ => {
            let number = entity.strip_prefix('#')?;
            let number = match number.strip_prefix('x') {
                Some(hex) => u32::from_str_radix(hex, 16).ok()?,
                None => number.parse().ok()?,
            };
            char::from_u32(number)?
        }
    })
}

fn split_prefix(name: &[u8]) -> (&[u8], &[u8]) {
    match memchr::memchr(b':', name) {
        Some(at) => (&name[at + 1..], &name[..at]),
        None => (name, &[]),
    }
}

fn unexpected(spot: Spot, found: &[u8], expected: &'static str) -> MeshError {
    MeshError::Parse {
        at: Some(spot),
        found: format!("`{}`", shown(found)),
        expected,
    }
}
