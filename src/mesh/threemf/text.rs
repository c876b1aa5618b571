//! The text of a part as UTF-8, while it is being unpacked.
//!
//! A part of a 3MF is in UTF-8 or UTF-16, by its core specification (from
//! memory); XML has UTF-16 begin with a mark (XML 1.0, 4.3.3).

use super::zip::Unpacking;
use crate::mesh::MeshError;

/// How much is unpacked at a time, in bytes.
const STEP: usize = 1 << 16;

pub(super) struct Text<'a> {
    source: Unpacking<'a>,
    coding: Coding,
}

enum Coding {
    /// Nothing has been unpacked yet.
    Unknown,
    /// The bytes are taken as they are.
    Utf8,
    Utf16 {
        /// Two bytes as one unit.
        unit: fn([u8; 2]) -> u16,
        /// What is unpacked and not yet turned into UTF-8.
        waiting: Vec<u8>,
    },
}

impl<'a> Text<'a> {
    pub(super) fn of(source: Unpacking<'a>) -> Self {
        Self {
            source,
            coding: Coding::Unknown,
        }
    }

    /// Unpacks more behind what the buffer holds; `false` at the end.
    pub(super) fn unpack(&mut self, buffer: &mut Vec<u8>) -> Result<bool, MeshError> {
        let before = buffer.len();
        buffer.resize(before + STEP, 0);
        let count = self.source.next(&mut buffer[before..])?;
        buffer.truncate(before + count);
        if matches!(self.coding, Coding::Unknown) {
            self.coding = Coding::of(&buffer[before..]);
        }
        if let Coding::Utf16 { unit, waiting } = &mut self.coding {
            waiting.extend(buffer.drain(before..));
            turn(waiting, *unit, count == 0, buffer);
        }
        Ok(count > 0)
    }
}

impl Coding {
    fn of(beginning: &[u8]) -> Self {
        let unit = match beginning {
            [0xff, 0xfe, ..] => u16::from_le_bytes,
            [0xfe, 0xff, ..] => u16::from_be_bytes,
            _ => return Self::Utf8,
        };
        Self::Utf16 {
            unit,
            waiting: Vec::new(),
        }
    }
}

/// Moves what is whole of a text in UTF-16 behind one in UTF-8. Of a character
/// of two units the first waits for the second; halves without the other become
/// U+FFFD.
fn turn(waiting: &mut Vec<u8>, unit: fn([u8; 2]) -> u16, is_end: bool, text: &mut Vec<u8>) {
    let (mut pairs, _) = waiting.as_chunks::<2>();
    if let [whole @ .., last] = pairs
        && matches!(unit(*last), 0xd800..0xdc00)
        && !is_end
    {
        pairs = whole;
    }
    for character in char::decode_utf16(pairs.iter().map(|pair| unit(*pair))) {
        let character = character.unwrap_or(char::REPLACEMENT_CHARACTER);
        text.extend(character.encode_utf8(&mut [0; 4]).bytes());
    }
    waiting.drain(..2 * pairs.len());
}
