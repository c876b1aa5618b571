//! The archive around a 3MF: names, and parts unpacked a little at a time.
//!
//! From memory of the ZIP application note (PKWARE, 6.3), with the wide fields
//! (ZIP64) that some writers of 3MF use for every file. Nothing is ever written
//! or opened by a name of the archive: a part is bytes of the file.

use std::collections::BTreeMap;

use miniz_oxide::inflate::stream::{InflateState, inflate};
use miniz_oxide::{DataFormat, MZError, MZFlush, MZStatus};

use crate::mesh::words::{printable, shown};
use crate::mesh::{MeshError, UNPACKED_BUDGET};

/// What the parts of a small file may unpack to, in bytes.
const UNPACKED_OF_SMALL: u64 = 32 << 20;
/// What each byte of a file may unpack to besides, so that the time to read it
/// goes with its size. Prints pack to a twentieth at the utmost, bombs to a
/// thousandth.
const UNPACKED_OF_BYTE: u64 = 64;

/// Begins the record of one file at its data.
const LOCAL: &[u8] = b"PK\x03\x04";
/// Begins the record of one file in the list at the end.
const LISTED: &[u8] = b"PK\x01\x02";
/// Begins the record that tells where the list is.
const END: &[u8] = b"PK\x05\x06";
/// The same in wide fields, and what tells where that is.
const WIDE_END: &[u8] = b"PK\x06\x06";
const WIDE_LOCATOR: &[u8] = b"PK\x06\x07";

pub(in crate::mesh) fn is_zip(bytes: &[u8]) -> bool {
    bytes.starts_with(LOCAL) || bytes.starts_with(END)
}

/// An archive by its list of names.
#[derive(Debug)]
pub(super) struct Archive<'a> {
    bytes: &'a [u8],
    /// By name in lower case, as a package's names are compared.
    entries: BTreeMap<String, Entry>,
    /// How many names lead out of the archive; they are never looked up.
    pub(super) climbing: usize,
    /// What may be unpacked, and what is left of it.
    budget: u64,
    left: u64,
}

#[derive(Debug, Clone, Copy)]
struct Entry {
    is_encrypted: bool,
    method: u16,
    crc: u32,
    packed: u64,
    unpacked: u64,
    at: u64,
    is_twice: bool,
}

impl<'a> Archive<'a> {
    /// Reads the list of names.
    pub(super) fn open(bytes: &'a [u8]) -> Result<Self, MeshError> {
        let (count, at) = find_list(bytes).ok_or_else(|| bad("an archive without its list"))?;
        let by_length = UNPACKED_OF_SMALL + UNPACKED_OF_BYTE * bytes.len() as u64;
        let budget = by_length.min(UNPACKED_BUDGET);
        let mut archive = Self {
            bytes,
            entries: BTreeMap::new(),
            climbing: 0,
            budget,
            left: budget,
        };
        let mut list = from(bytes, at).ok_or_else(|| bad("a list outside of the file"))?;
        for _ in 0..count {
            let (name, entry, rest) =
                listed(list).ok_or_else(|| bad("a list of names that is cut short"))?;
            archive.add(name, entry);
            list = rest;
        }
        Ok(archive)
    }

    fn add(&mut self, name: &[u8], entry: Entry) {
        let name = printable(name).replace('\\', "/").to_lowercase();
        if name.starts_with('/') || name.split('/').any(|step| step == "..") {
            self.climbing += 1;
            return;
        }
        let twice = self.entries.insert(name.clone(), entry).is_some();
        if let Some(entry) = self.entries.get_mut(&name) {
            entry.is_twice = twice;
        }
    }

    pub(super) fn has(&self, name: &str) -> bool {
        self.entries.contains_key(&name.to_lowercase())
    }

    /// Begins to unpack a part that is there.
    pub(super) fn part(&mut self, name: &str) -> Result<Unpacking<'a>, MeshError> {
        let entry = self.entries.get(&name.to_lowercase()).copied();
        let entry = entry.ok_or_else(|| missing(name))?;
        if entry.is_twice {
            return Err(bad("two parts of one name"));
        }
        if entry.is_encrypted {
            return Err(packing("an encrypted part"));
        }
        let Some(left) = self.left.checked_sub(entry.unpacked) else {
            return Err(MeshError::TooLarge {
                what: "unpacked bytes",
                found: (self.budget - self.left).saturating_add(entry.unpacked),
                limit: self.budget,
            });
        };
        self.left = left;
        let data = data_of(self.bytes, &entry).ok_or_else(|| bad("a part outside of the file"))?;
        let method = match entry.method {
            0 => Method::Stored,
            8 => Method::Deflated(InflateState::new_boxed(DataFormat::Raw)),
            _ => return Err(packing("a way of packing other than `deflate`")),
        };
        Ok(Unpacking {
            data,
            method,
            left: entry.unpacked,
            crc: crc32fast::Hasher::new(),
            expected_crc: entry.crc,
        })
    }
}

fn bad(found: &str) -> MeshError {
    MeshError::BadZip {
        found: found.to_owned(),
    }
}

/// The refusal of a part that is not there.
pub(super) fn missing(name: &str) -> MeshError {
    MeshError::MissingPart {
        name: format!("`{}`", shown(name.as_bytes())),
    }
}

fn packing(found: &str) -> MeshError {
    MeshError::Unsupported {
        found: found.to_owned(),
        expected: "a plain 3MF, stored or deflated,",
    }
}

fn number<const N: usize>(bytes: &[u8], at: usize) -> Option<u64> {
    let field: &[u8; N] = bytes.get(at..)?.first_chunk()?;
    let mut wide = [0; 8];
    wide[..N].copy_from_slice(field);
    Some(u64::from_le_bytes(wide))
}

fn from(bytes: &[u8], at: u64) -> Option<&[u8]> {
    bytes.get(usize::try_from(at).ok()?..)
}

/// How many names the list has and where it begins. It is told in the last 22
/// bytes of the file, but for a comment of up to 64 KiB behind them.
fn find_list(bytes: &[u8]) -> Option<(u64, u64)> {
    let from_here = bytes.len().saturating_sub(22 + 0xffff);
    let end = from_here + memchr::memmem::rfind(&bytes[from_here..], END)?;
    let record = &bytes[end..];
    let (count, at) = (number::<2>(record, 10)?, number::<4>(record, 16)?);
    if count < 0xffff && at < 0xffff_ffff {
        return Some((count, at));
    }
    let locator = bytes.get(end.checked_sub(20)?..end)?;
    if !locator.starts_with(WIDE_LOCATOR) {
        return Some((count, at));
    }
    let record = from(bytes, number::<8>(locator, 8)?)?;
    if !record.starts_with(WIDE_END) {
        return None;
    }
    Some((number::<8>(record, 32)?, number::<8>(record, 48)?))
}

/// The first entry of the list, its name and what follows it.
fn listed(list: &[u8]) -> Option<(&[u8], Entry, &[u8])> {
    if !list.starts_with(LISTED) {
        return None;
    }
    let length = |at| number::<2>(list, at).map(|length| length as usize);
    let (name_length, extra_length, comment_length) = (length(28)?, length(30)?, length(32)?);
    let name = list.get(46..46 + name_length)?;
    let extra = list.get(46 + name_length..46 + name_length + extra_length)?;
    let rest = list.get(46 + name_length + extra_length + comment_length..)?;
    let mut wide = WideFields::of(extra);
    let unpacked = wide.instead_of(number::<4>(list, 24)?)?;
    let packed = wide.instead_of(number::<4>(list, 20)?)?;
    let at = wide.instead_of(number::<4>(list, 42)?)?;
    let entry = Entry {
        is_encrypted: number::<2>(list, 8)? & 1 == 1,
        method: number::<2>(list, 10)? as u16,
        crc: number::<4>(list, 16)? as u32,
        packed,
        unpacked,
        at,
        is_twice: false,
    };
    Some((name, entry, rest))
}

/// The fields of eight bytes that stand for those of four that are all ones.
struct WideFields<'a>(&'a [u8]);

impl<'a> WideFields<'a> {
    fn of(mut extra: &'a [u8]) -> Self {
        while let (Some(id), Some(length)) = (number::<2>(extra, 0), number::<2>(extra, 2)) {
            let end = extra.len().min(4 + length as usize);
            if id == 1 {
                return Self(&extra[4..end]);
            }
            extra = &extra[end..];
        }
        Self(&[])
    }

    fn instead_of(&mut self, field: u64) -> Option<u64> {
        if field != 0xffff_ffff {
            return Some(field);
        }
        let wide = number::<8>(self.0, 0)?;
        self.0 = &self.0[8..];
        Some(wide)
    }
}

/// The packed bytes of an entry, past its own record.
fn data_of<'a>(bytes: &'a [u8], entry: &Entry) -> Option<&'a [u8]> {
    let record = from(bytes, entry.at)?;
    if !record.starts_with(LOCAL) {
        return None;
    }
    let names = number::<2>(record, 26)? + number::<2>(record, 28)?;
    from(record, 30 + names)?.get(..usize::try_from(entry.packed).ok()?)
}

/// A part in the course of being unpacked.
pub(super) struct Unpacking<'a> {
    data: &'a [u8],
    method: Method,
    /// What the list still announces; not a byte more is unpacked.
    left: u64,
    crc: crc32fast::Hasher,
    expected_crc: u32,
}

enum Method {
    Stored,
    Deflated(Box<InflateState>),
}

impl Unpacking<'_> {
    /// Unpacks the next bytes into the buffer and says how many; 0 only at the
    /// end, which has been checked then.
    pub(super) fn next(&mut self, buffer: &mut [u8]) -> Result<usize, MeshError> {
        let room = buffer
            .len()
            .min(usize::try_from(self.left).unwrap_or(usize::MAX));
        let count = match &mut self.method {
            Method::Stored => {
                let count = room.min(self.data.len());
                buffer[..count].copy_from_slice(&self.data[..count]);
                self.data = &self.data[count..];
                count
            }
            Method::Deflated(state) => {
                let step = inflate(state, self.data, &mut buffer[..room], MZFlush::None);
                self.data = &self.data[step.bytes_consumed..];
                match step.status {
                    Ok(MZStatus::Ok | MZStatus::StreamEnd) | Err(MZError::Buf) => {}
                    Ok(MZStatus::NeedDict) | Err(_) => return Err(bad("a damaged part")),
                }
                step.bytes_written
            }
        };
        self.crc.update(&buffer[..count]);
        self.left -= count as u64;
        if count == 0 && (self.left > 0 || self.crc.clone().finalize() != self.expected_crc) {
            return Err(bad("a part other than the list says"));
        }
        Ok(count)
    }
}
