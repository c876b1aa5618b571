//! The journal: one event a line, each chained to the one before.
//!
//! ```text
//! (format:1,begun:"2026-03-01T18:00:00Z",sum:"0123456789abcdef")
//! (sequence:1,at:"…",recorded:"…",who:"Ada",what:Coat(piece:"bell"),sum:"…")
//! ```
//!
//! A line's `sum` is the first 8 bytes, in hexadecimal, of the SHA-256 over the
//! sum of the line before (nothing before the first) and the line's own text up
//! to `,sum:`. So no line can be changed, taken out, put in or moved unseen.
//!
//! A line is whole when its sum is right. A last line without a line break that
//! is not whole was being written when something failed; it was never
//! acknowledged and is set aside. Any other line that is not whole is damage.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use ron::extensions::Extensions;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use crate::project::{Event, FORMAT};
use crate::units::Instant;

const SUM_FIELD: &str = ",sum:\"";
const SUM_END: &str = "\")";
/// Characters of a sum.
const SUM_LENGTH: usize = 16;

/// The first line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Header {
    format: u32,
    /// When the journal was begun; it makes the chains of two projects differ.
    begun: Instant,
}

/// Why a line cannot stand.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(super) enum Fault {
    /// It ends before its sum.
    #[error("the line has no checksum at its end")]
    NoSum,
    /// Its sum is wrong.
    #[error("the checksum does not fit: this line or the one before it was changed")]
    Sum,
    /// Its sum is right, but not its number.
    #[error("event {found} where event {expected} was expected")]
    Sequence { expected: u64, found: u64 },
    /// Its sum is right, but it is of a format that is not known.
    #[error("the journal is of format {0}, which this program does not read")]
    Format(u32),
    /// Its sum is right, but nothing that is known.
    #[error("the line is not readable: {0}")]
    Unreadable(String),
}

impl Fault {
    /// Whether a failed write leaves such a last line. None leaves anything
    /// behind a line's sum: there a line break was changed.
    fn may_be_torn(&self, line: &[u8]) -> bool {
        matches!(self, Self::NoSum | Self::Sum) && !goes_on_behind_a_sum(line)
    }
}

fn goes_on_behind_a_sum(line: &[u8]) -> bool {
    let length = SUM_FIELD.len() + SUM_LENGTH + SUM_END.len();
    let is_sum = |text: &[u8]| {
        let sum = text.strip_prefix(SUM_FIELD.as_bytes());
        let sum = sum.and_then(|text| text.strip_suffix(SUM_END.as_bytes()));
        sum.is_some_and(|sum| sum.iter().all(u8::is_ascii_hexdigit))
    };
    let before_last = &line[..line.len().saturating_sub(1)];
    before_last.windows(length).any(is_sum)
}

fn ron_options() -> ron::Options {
    ron::Options::default().with_default_extension(Extensions::IMPLICIT_SOME)
}

fn sum_of(chain: &str, body: &str) -> String {
    let digest = Sha256::new()
        .chain_update(chain)
        .chain_update(body)
        .finalize();
    hex(&digest[..SUM_LENGTH / 2])
}

/// Bytes in hexadecimal.
pub(super) fn hex(bytes: &[u8]) -> String {
    let digit = |half: u8| char::from(b"0123456789abcdef"[usize::from(half)]);
    let digits = |byte: &u8| [digit(byte >> 4), digit(byte & 15)];
    bytes.iter().flat_map(digits).collect()
}

/// A value as a line with its sum, without the line break.
fn sealed<T: Serialize>(value: &T, chain: &str) -> Result<String, Fault> {
    let text = ron_options()
        .to_string(value)
        .map_err(|error| Fault::Unreadable(error.to_string()))?;
    let body = text.strip_suffix(')').unwrap_or(&text);
    let sum = sum_of(chain, body);
    Ok(format!("{body}{SUM_FIELD}{sum}{SUM_END}"))
}

/// A line's text before its sum, and the sum.
fn parted(line: &[u8]) -> Result<(&str, &str), Fault> {
    let line = std::str::from_utf8(line).map_err(|_no_text| Fault::NoSum)?;
    let line = line.strip_suffix('\r').unwrap_or(line);
    let rest = line.strip_suffix(SUM_END).ok_or(Fault::NoSum)?;
    let (body, sum) = rest.rsplit_once(SUM_FIELD).ok_or(Fault::NoSum)?;
    let is_sum = sum.len() == SUM_LENGTH && sum.bytes().all(|b| b.is_ascii_hexdigit());
    if is_sum {
        Ok((body, sum))
    } else {
        Err(Fault::NoSum)
    }
}

fn parsed<T: for<'de> Deserialize<'de>>(body: &str) -> Result<T, Fault> {
    ron_options()
        .from_str(&format!("{body})"))
        .map_err(|error| {
            Fault::Unreadable(format!("{} at column {}", error.code, error.span.start.col))
        })
}

/// An event as a line without a sum.
pub(super) fn line(event: &Event) -> Option<String> {
    ron_options().to_string(event).ok()
}

/// The event of such a line.
pub(super) fn read_line(line: &str) -> Option<Event> {
    ron_options().from_str(line).ok()
}

/// The format number of a header, also of one with fields that are not known.
fn format_of(body: &str) -> Option<u32> {
    let rest = body.strip_prefix("(format:")?;
    rest.split(',').next()?.parse().ok()
}

/// How far the lines have been read.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Position {
    /// The sum of the last line.
    chain: String,
    lines: usize,
    events: u64,
}

impl Position {
    /// Reads the next line: a header first, then events.
    fn line(&mut self, line: &[u8]) -> Result<Option<Event>, Fault> {
        let (body, sum) = parted(line)?;
        if sum_of(&self.chain, body) != sum {
            return Err(Fault::Sum);
        }
        let event = if self.lines == 0 {
            read_header(body)?;
            None
        } else {
            Some(read_event(body, self.events + 1)?)
        };
        self.lines += 1;
        self.events += u64::from(event.is_some());
        sum.clone_into(&mut self.chain);
        Ok(event)
    }

    /// Reads the lines from a place in the file on, and moves the place behind
    /// the last whole one.
    fn lines(
        &mut self,
        bytes: &[u8],
        at: &mut usize,
        events: &mut Vec<Vec<Event>>,
    ) -> Result<Tail, BadLine> {
        let mut read = Vec::new();
        let mut tail = Tail::Whole;
        while *at < bytes.len() {
            let line_break = bytes[*at..].iter().position(|b| *b == b'\n');
            let end = line_break.map_or(*at + without_blank_end(&bytes[*at..]).len(), |length| {
                *at + length
            });
            match self.line(without_mark(&bytes[*at..end], *at)) {
                Ok(event) => read.extend(event),
                Err(fault) if line_break.is_none() && fault.may_be_torn(&bytes[*at..end]) => {
                    tail = Tail::Torn;
                    break;
                }
                Err(fault) => return Err(self.bad(fault)),
            }
            *at = line_break.map_or(end, |_| end + 1);
        }
        events.push(read);
        Ok(tail)
    }

    /// Portions of whole lines from a place in the file on, and the position
    /// behind them; what is left over is less than a portion, or damaged.
    fn portions<'b>(&self, bytes: &'b [u8], mut at: usize) -> (Vec<Portion<'b>>, Self) {
        let mut portions = Vec::new();
        let mut from = self.clone();
        while let Some(rest) = bytes.get(at + PORTION..) {
            let Some(length) = rest.iter().position(|b| *b == b'\n') else {
                break;
            };
            let end = at + PORTION + length + 1;
            let lines = &bytes[at..end - 1];
            let (mut count, mut last) = (0, lines);
            for line in lines.split(|b| *b == b'\n') {
                (count, last) = (count + 1, line);
            }
            let Ok((_, sum)) = parted(last) else {
                break;
            };
            let after = Self {
                chain: sum.to_owned(),
                lines: from.lines + count,
                events: (from.lines + count - 1) as u64,
            };
            portions.push(Portion {
                bytes,
                at,
                end,
                from,
            });
            (at, from) = (end, after);
        }
        (portions, from)
    }

    fn bad(&self, fault: Fault) -> BadLine {
        BadLine {
            line: self.lines + 1,
            fault,
        }
    }
}

/// The lines read so far.
#[derive(Debug, Clone, Default)]
pub(super) struct Journal {
    /// Where the whole lines end in the file, in bytes, line breaks included.
    end: usize,
    /// SHA-256 of all of these bytes.
    digest: Sha256,
    /// Whether the last line is still without its line break.
    is_open: bool,
    position: Position,
}

/// A place in a journal, and what must stand before it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Bookmark {
    end: usize,
    digest: [u8; 32],
    is_open: bool,
    position: Position,
}

/// An event ready to be written.
#[derive(Debug)]
pub(super) struct Sealed {
    /// What to append.
    pub(super) bytes: Vec<u8>,
    /// The event as it will be read back.
    pub(super) event: Event,
    after: Position,
}

/// What follows the whole lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tail {
    /// Nothing.
    Whole,
    /// A line without a line break that is not whole.
    Torn,
}

/// A line that is damaged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct BadLine {
    /// From 1.
    pub(super) line: usize,
    pub(super) fault: Fault,
}

/// So many bytes of a long journal, and the rest of a line, are read at a time.
const PORTION: usize = 1 << 18;

/// Lines that are read apart from those before them: where they stand, and
/// what the line before them says of itself. As that line is read too, every
/// line is held against the one before it.
#[derive(Debug)]
struct Portion<'b> {
    bytes: &'b [u8],
    at: usize,
    end: usize,
    from: Position,
}

impl Portion<'_> {
    /// The events in it, if every line is whole.
    fn read(&self) -> Option<Vec<Event>> {
        let mut position = self.from.clone();
        let mut events = Vec::new();
        let (bytes, mut at) = (&self.bytes[..self.end], self.at);
        position.lines(bytes, &mut at, &mut events).ok()?;
        events.pop()
    }
}

/// The events of portions, read by as many threads as there are cores; `None`
/// where a line is not whole.
fn read_together(portions: &[Portion<'_>]) -> Option<Vec<Vec<Event>>> {
    let next = AtomicUsize::new(0);
    let work = || {
        let mut read = Vec::new();
        while let Some(portion) = portions.get(next.fetch_add(1, Ordering::Relaxed)) {
            read.push((portion.at, portion.read()?));
        }
        Some(read)
    };
    let cores = thread::available_parallelism().map_or(1, usize::from);
    let mut all = thread::scope(|scope| {
        let others = 1..cores.min(portions.len());
        let others: Vec<_> = others.map(|_| scope.spawn(work)).collect();
        let mut all = work();
        for other in others {
            let read = other.join().ok().flatten();
            all = all
                .zip(read)
                .map(|(all, read)| all.into_iter().chain(read).collect());
        }
        all
    })?;
    all.sort_by_key(|(at, _)| *at);
    Some(all.into_iter().map(|(_, events)| events).collect())
}

impl Journal {
    /// Where the whole lines end, in bytes.
    pub(super) fn end(&self) -> usize {
        self.end
    }

    /// Whether the file still begins with what was read.
    pub(super) fn is_start_of(&self, bytes: &[u8]) -> bool {
        let start = bytes.get(..self.end);
        start.is_some_and(|start| Sha256::digest(start) == self.digest.clone().finalize())
    }

    /// The place behind the lines read so far.
    pub(super) fn bookmark(&self) -> Bookmark {
        Bookmark {
            end: self.end,
            digest: self.digest.clone().finalize().into(),
            is_open: self.is_open,
            position: self.position.clone(),
        }
    }

    /// A journal read as far as a bookmark, if the same bytes stand before it.
    pub(super) fn at(bookmark: &Bookmark, bytes: &[u8]) -> Option<Self> {
        let digest = Sha256::new().chain_update(bytes.get(..bookmark.end)?);
        let is_same = <[u8; 32]>::from(digest.clone().finalize()) == bookmark.digest;
        is_same.then(|| Self {
            end: bookmark.end,
            digest,
            is_open: bookmark.is_open,
            position: bookmark.position.clone(),
        })
    }

    /// Reads what the file holds beyond the lines read so far, which it must
    /// begin with. The events come in portions.
    pub(super) fn take(&mut self, bytes: &[u8]) -> Result<(Vec<Vec<Event>>, Tail), BadLine> {
        let mut position = self.position.clone();
        let mut at = self.end;
        if self.is_open && bytes.len() > at {
            at += match &bytes[at..] {
                [b'\n', ..] => 1,
                [b'\r', b'\n', ..] => 2,
                rest if without_blank_end(rest).is_empty() => 0,
                _ => return Err(position.bad(Fault::NoSum)),
            };
        }
        let mut events = Vec::new();
        let (portions, after) = position.portions(bytes, at);
        if let Some(read) = read_together(&portions) {
            events = read;
            at = portions.last().map_or(at, |portion| portion.end);
            position = after;
        }
        let tail = position.lines(bytes, &mut at, &mut events)?;
        self.digest.update(&bytes[self.end..at]);
        self.end = at;
        self.is_open = at > 0 && bytes[at - 1] != b'\n';
        self.position = position;
        Ok((events, tail))
    }

    /// An event ready to be put behind the lines read so far, with a header
    /// where none is yet. Nothing is written that would not read back.
    pub(super) fn sealed(&self, event: &Event) -> Result<Sealed, Fault> {
        let mut after = self.position.clone();
        let mut bytes = Vec::new();
        if after.lines == 0 {
            bytes = header(event.recorded)?;
            after.line(bytes.trim_ascii_end())?;
        } else if self.is_open {
            bytes.push(b'\n');
        }
        let line = sealed(event, &after.chain)?;
        let event = after.line(line.as_bytes())?.ok_or(Fault::NoSum)?;
        bytes.extend_from_slice(line.as_bytes());
        bytes.push(b'\n');
        Ok(Sealed {
            bytes,
            event,
            after,
        })
    }

    /// Goes on behind an event that was written.
    pub(super) fn accept(&mut self, written: &Sealed) {
        self.digest.update(&written.bytes);
        self.end += written.bytes.len();
        self.is_open = false;
        self.position = written.after.clone();
    }
}

/// A last line without the zeros that a file system may leave at the end of a
/// file for what was being written when the power failed.
fn without_blank_end(line: &[u8]) -> &[u8] {
    let blank = line.iter().rev().take_while(|b| **b == 0).count();
    &line[..line.len() - blank]
}

/// A line without the byte order mark that a file may begin with.
fn without_mark(line: &[u8], at: usize) -> &[u8] {
    let mark = if at == 0 { "\u{feff}" } else { "" };
    line.strip_prefix(mark.as_bytes()).unwrap_or(line)
}

/// The line that a journal begins with.
pub(super) fn header(begun: Instant) -> Result<Vec<u8>, Fault> {
    let header = Header {
        format: FORMAT,
        begun,
    };
    sealed(&header, "").map(|line| format!("{line}\n").into_bytes())
}

/// The lines of a journal without their line breaks.
fn lines_of(bytes: &[u8], line_break: u8) -> impl Iterator<Item = &[u8]> {
    let text = bytes.strip_suffix(&[line_break]).unwrap_or(bytes);
    let is_open = text.len() == bytes.len();
    let mut lines = text.split(move |b| *b == line_break).peekable();
    std::iter::from_fn(move || {
        let line = lines.next()?;
        let is_torn = is_open && lines.peek().is_none();
        Some(if is_torn {
            without_blank_end(line)
        } else {
            line
        })
    })
}

fn read_header(body: &str) -> Result<(), Fault> {
    match format_of(body) {
        Some(FORMAT) => parsed::<Header>(body).map(|_| ()),
        Some(other) => Err(Fault::Format(other)),
        None => Err(Fault::Unreadable("it is no header of a journal".to_owned())),
    }
}

fn read_event(body: &str, expected: u64) -> Result<Event, Fault> {
    let event: Event = parsed(body)?;
    if event.sequence == expected {
        Ok(event)
    } else {
        Err(Fault::Sequence {
            expected,
            found: event.sequence,
        })
    }
}

/// Every line that is not as it should be, for a check: each is judged by what
/// the lines before it say of themselves, so that one fault is told once.
#[derive(Debug, Default)]
pub(super) struct Survey {
    /// The events that are whole, as far as the first bad line.
    pub(super) events: Vec<Event>,
    /// The bad lines.
    pub(super) bad: Vec<BadLine>,
    /// Whether the last of them may be a write that failed.
    pub(super) torn: bool,
}

impl Survey {
    pub(super) fn of(bytes: &[u8]) -> Self {
        let mut survey = Self::default();
        let is_open = !bytes.ends_with(b"\n");
        let mut judge = Judge::default();
        for (index, line) in lines_of(bytes, b'\n').enumerate() {
            let judged = match index {
                0 if bytes.is_empty() => return survey,
                0 => judge.header(without_mark(line, 0)).map(|()| None),
                _ => judge.event(line).map(Some),
            };
            survey.torn = is_open && matches!(&judged, Err(fault) if fault.may_be_torn(line));
            match judged {
                Ok(event) if survey.bad.is_empty() => survey.events.extend(event),
                Ok(_) => {}
                Err(fault) => survey.bad.push(BadLine {
                    line: index + 1,
                    fault,
                }),
            }
        }
        survey
    }
}

/// Judges lines, the good behind the bad too.
#[derive(Debug, Default)]
struct Judge {
    /// The sums that the line before may have; `None` where it tells none.
    chains: Option<Vec<String>>,
    events: u64,
}

impl Judge {
    fn header(&mut self, line: &[u8]) -> Result<(), Fault> {
        self.chains = Some(vec![String::new()]);
        let body = self.chained(line);
        body.and_then(read_header)
    }

    fn event(&mut self, line: &[u8]) -> Result<Event, Fault> {
        self.events = self.events.saturating_add(1);
        let event = self
            .chained(line)
            .and_then(|body| read_event(body, self.events));
        match &event {
            Ok(event) => self.events = event.sequence,
            Err(Fault::Sequence { found, .. }) => self.events = *found,
            Err(_) => {}
        }
        event
    }

    /// The line's text before its sum, if that fits.
    fn chained<'l>(&mut self, line: &'l [u8]) -> Result<&'l str, Fault> {
        let before = self.chains.take();
        let (body, sum) = parted(line)?;
        let computed: Vec<String> = before
            .iter()
            .flatten()
            .map(|chain| sum_of(chain, body))
            .collect();
        if before.is_none() || computed.iter().any(|computed| computed == sum) {
            self.chains = Some(vec![sum.to_owned()]);
            Ok(body)
        } else {
            self.chains = Some([computed, vec![sum.to_owned()]].concat());
            Err(Fault::Sum)
        }
    }
}

/// One line as what can be saved of a journal is judged by it: alone.
#[derive(Debug)]
pub(super) struct LooseLine<'l> {
    /// From 1.
    pub(super) number: usize,
    /// As it stands.
    pub(super) text: &'l [u8],
    /// The event that it reads as, whether anything vouches for it or not.
    pub(super) event: Option<Event>,
    /// Its text before its sum, and the sum.
    sealed: Option<(&'l str, &'l str)>,
}

impl<'l> LooseLine<'l> {
    /// Every line of a journal.
    pub(super) fn all(bytes: &'l [u8]) -> Vec<Self> {
        // Some editor may have put other line breaks everywhere.
        let is_usual = bytes.contains(&b'\n');
        let line_break = if is_usual { b'\n' } else { b'\r' };
        let lines = lines_of(bytes, line_break).enumerate();
        let lines = lines.filter(|(_, line)| !line.is_empty());
        lines
            .map(|(index, line)| {
                let line = without_mark(line, index);
                let sealed = parted(line).ok();
                Self {
                    number: index + 1,
                    text: line,
                    event: sealed.and_then(|(body, _)| parsed(body).ok()),
                    sealed,
                }
            })
            .collect()
    }

    /// The sum that it states, also where the rest of it is no text.
    pub(super) fn sum(&self) -> Option<&'l str> {
        let line = self.text.strip_suffix(b"\r").unwrap_or(self.text);
        let line = line.strip_suffix(SUM_END.as_bytes())?;
        let (before, sum) = line.split_at_checked(line.len().checked_sub(SUM_LENGTH)?)?;
        let is_sum = before.ends_with(SUM_FIELD.as_bytes());
        let sum = std::str::from_utf8(sum).ok()?;
        (is_sum && sum.bytes().all(|b| b.is_ascii_hexdigit())).then_some(sum)
    }

    /// Whether it is what was once written behind a line of this sum.
    pub(super) fn follows(&self, chain: &str) -> bool {
        self.sealed
            .is_some_and(|(body, sum)| sum_of(chain, body) == sum)
    }

    /// Whether a failed write leaves such a last line.
    pub(super) fn may_be_torn(&self) -> bool {
        self.event.is_none() && !goes_on_behind_a_sum(self.text)
    }

    /// Whether it is the first line of a journal, damaged or not.
    pub(super) fn is_header(&self) -> bool {
        self.text.starts_with(b"(format:")
    }

    /// When its journal was begun, if it is a whole first line.
    pub(super) fn begun(&self) -> Option<Instant> {
        let (body, _) = self.sealed.filter(|_| self.follows(""))?;
        parsed::<Header>(body).ok().map(|header| header.begun)
    }
}
