//! The file of a data logger: instants, volts, amps and °C, one row a line.
//!
//! A header may name the columns, in any order; without one they are instant,
//! volts, amps, °C. Columns are parted by commas, semicolons or tabs; with the
//! latter two a number may have a decimal comma. Blank lines and lines that
//! begin with `#` are passed over. An instant is RFC 3339, or
//! `2026-03-01 19:40:07` on the clock of the project's zone.

use super::error::{ErrorKind, StoreError, shown};
use crate::project::LogRow;
use crate::units::{A, CELSIUS, Instant, V, Zone};

/// The most bytes that a logger's file may have.
pub const MOST_BYTES: u64 = 64 << 20;

/// The most rows that a logger's file may have: eleven days of one a second.
pub const MOST_ROWS: usize = 1_000_000;

/// A meter at rest shows a little to either side of zero; so much below it
/// counts as zero, in amperes (common practice, no source).
const ZERO_AMPS: f64 = 0.05;

/// More than any bench supply gives, in amperes; such a cell is misread.
const MOST_AMPS: f64 = 10_000.0;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Column {
    Instant,
    Volts,
    Amps,
    Celsius,
    /// Something else: passed over.
    Other,
}

/// The columns where no header names them.
const USUAL: [Column; 4] = [
    Column::Instant,
    Column::Volts,
    Column::Amps,
    Column::Celsius,
];

impl Column {
    /// The column of a header's name, such as `Current (A)`. A known name with
    /// a unit of another kind is an error: its numbers would be misread.
    fn named(header: &str) -> Result<Self, String> {
        let name = header.to_lowercase();
        let (name, unit) = match name.split_once(['(', '[']) {
            Some((name, unit)) => (name.trim(), unit.trim_end_matches([')', ']']).trim()),
            None => (name.trim(), ""),
        };
        let (column, units) = match name {
            "time" | "instant" | "timestamp" | "at" => return Ok(Self::Instant),
            "volts" | "v" | "voltage" => (Self::Volts, ["v", "volts"]),
            "amps" | "a" | "current" => (Self::Amps, ["a", "amps"]),
            "celsius" | "c" | "°c" | "temperature" => (Self::Celsius, ["°c", "c"]),
            _ => return Ok(Self::Other),
        };
        if unit.is_empty() || units.contains(&unit) {
            Ok(column)
        } else {
            Err(format!("a column in `{unit}`, expected `{}`", units[0]))
        }
    }

    fn word(self) -> &'static str {
        match self {
            Self::Instant => "instant",
            Self::Volts => "volts",
            Self::Amps => "amps",
            Self::Celsius => "celsius",
            Self::Other => "other",
        }
    }
}

/// Reads the rows of a logger's file; local times are of `zone`.
///
/// # Errors
/// Of kind `logger`, with line and column and what was found there: a cell
/// that does not read or cannot be, a row that is earlier than the one before it, or a file
/// beyond [`MOST_BYTES`] or [`MOST_ROWS`]. The error does not know the file.
pub fn read(bytes: &[u8], zone: Zone) -> Result<Vec<LogRow>, StoreError> {
    if bytes.len() as u64 > MOST_BYTES {
        return Err(too_large());
    }
    if bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff") {
        return Err(fault(1, 1, "the text is UTF-16", "save it as UTF-8"));
    }
    let text = String::from_utf8_lossy(bytes);
    let lines = text.trim_start_matches('\u{feff}').lines().enumerate();
    let mut lines = lines
        .map(|(index, line)| (index + 1, line))
        .filter(|(_, line)| !line.trim().is_empty() && !line.trim_start().starts_with('#'))
        .peekable();
    let Some((number, first)) = lines.peek().copied() else {
        return Ok(Vec::new());
    };
    let separator = ['\t', ';'].into_iter().find(|s| first.contains(*s));
    let header = header(number, first, separator.unwrap_or(','))?;
    if header.is_some() {
        lines.next();
    }
    let reader = Reader {
        columns: header.unwrap_or_else(|| USUAL.to_vec()),
        separator: separator.unwrap_or(','),
        zone,
    };
    let mut rows: Vec<LogRow> = Vec::new();
    for (number, line) in lines {
        if rows.len() == MOST_ROWS {
            return Err(too_large().at_line(number));
        }
        rows.push(reader.row(number, line, rows.last())?);
    }
    Ok(rows)
}

pub(super) fn too_large() -> StoreError {
    StoreError::new(
        ErrorKind::Logger,
        format!(
            "the file has more than {} MB or {MOST_ROWS} rows",
            MOST_BYTES >> 20
        ),
        "cut it into several files and take them in one after the other",
    )
}

fn fault(line: usize, column: usize, found: &str, remedy: &str) -> StoreError {
    StoreError::new(ErrorKind::Logger, found, remedy).at(Some((line, column)))
}

/// A line's cells with the column, in characters, where each starts.
fn cells(line: &str, separator: char) -> impl Iterator<Item = (usize, &str)> {
    let mut at = 1;
    line.split(separator).map(move |cell| {
        let start = at + cell.chars().take_while(|c| c.is_whitespace()).count();
        at += cell.chars().count() + 1;
        (start, unquoted(cell.trim()))
    })
}

fn unquoted(cell: &str) -> &str {
    let inside = cell.strip_prefix('"').and_then(|c| c.strip_suffix('"'));
    inside.map_or(cell, str::trim)
}

/// The columns that the first line names, if it is a header.
fn header(number: usize, line: &str, separator: char) -> Result<Option<Vec<Column>>, StoreError> {
    let remedy = "a header names time, amps and, where logged, volts and celsius";
    let starts_with_word = cells(line, separator)
        .next()
        .is_some_and(|(_, cell)| !cell.starts_with(|c: char| c.is_ascii_digit()));
    if !starts_with_word {
        return Ok(None);
    }
    let mut columns = Vec::new();
    for (at, cell) in cells(line, separator) {
        let column = Column::named(cell)
            .map_err(|found| fault(number, at, &format!("found {found}"), remedy))?;
        if column != Column::Other && columns.contains(&column) {
            let found = format!("a second column of {}", column.word());
            return Err(fault(number, at, &found, remedy));
        }
        columns.push(column);
    }
    for needed in [Column::Instant, Column::Amps] {
        if !columns.contains(&needed) {
            let found = format!(
                "found `{}`, neither a row nor a header with a column of {}",
                shown(&line.chars().take(60).collect::<String>()),
                needed.word()
            );
            return Err(fault(number, 1, &found, remedy));
        }
    }
    Ok(Some(columns))
}

/// How the lines of one file read.
struct Reader {
    columns: Vec<Column>,
    separator: char,
    zone: Zone,
}

impl Reader {
    fn row(
        &self,
        number: usize,
        line: &str,
        before: Option<&LogRow>,
    ) -> Result<LogRow, StoreError> {
        let cells: Vec<(usize, &str)> = cells(line, self.separator).collect();
        let cell = |column| {
            let index = self.columns.iter().position(|c| *c == column)?;
            cells.get(index).filter(|(_, cell)| !cell.is_empty())
        };
        let needed = |column: Column| {
            cell(column).ok_or_else(|| {
                let found = format!("found no {} in this row", column.word());
                fault(number, 1, &found, "fill it in, or take the line out")
            })
        };
        let value = |(at, cell): &(usize, &str)| {
            self.number(cell).ok_or_else(|| {
                let found = format!("found `{}`, expected a number", shown(cell));
                let remedy = "write numbers without unit, as 0.62; a decimal comma only between semicolons or tabs";
                fault(number, *at, &found, remedy)
            })
        };
        let at = self.instant(number, needed(Column::Instant)?, before)?;
        let amps_cell = needed(Column::Amps)?;
        let amps = value(amps_cell)?;
        if amps < -ZERO_AMPS {
            let found = format!("found {amps} A, expected a current that deposits metal");
            return Err(fault(
                number,
                amps_cell.0,
                &found,
                "see whether the meter's leads were swapped",
            ));
        }
        if amps > MOST_AMPS {
            let found = format!("found {amps} A, expected at most {MOST_AMPS} A");
            let remedy = "see whether the column is in milliamperes, or the line is broken";
            return Err(fault(number, amps_cell.0, &found, remedy));
        }
        Ok(LogRow {
            at,
            volts: cell(Column::Volts)
                .map(value)
                .transpose()?
                .map(|v| V.of(v.abs())),
            amps: A.of(amps.max(0.0)),
            celsius: cell(Column::Celsius)
                .map(value)
                .transpose()?
                .map(|c| CELSIUS.of(c)),
        })
    }

    fn instant(
        &self,
        number: usize,
        (at, cell): &(usize, &str),
        before: Option<&LogRow>,
    ) -> Result<Instant, StoreError> {
        let before = before.map(|row| row.at);
        let instant = cell
            .parse()
            .or_else(|_no_rfc3339| self.zone.wall_clock(cell, before))
            .map_err(|_no_instant| {
                let found = format!("found `{}`, expected an instant", shown(cell));
                let remedy =
                    "write 2026-03-01T19:40:07Z, or 2026-03-01 19:40:07 on the project's clock";
                fault(number, *at, &found, remedy)
            })?;
        match before {
            Some(before) if instant < before => {
                let found = format!("{instant} is earlier than the row before it, {before}");
                Err(fault(number, *at, &found, "sort the rows by their time"))
            }
            _ => Ok(instant),
        }
    }

    fn number(&self, cell: &str) -> Option<f64> {
        let number: f64 = if self.separator == ',' {
            cell.parse().ok()?
        } else {
            cell.replacen(',', ".", 1).parse().ok()?
        };
        number.is_finite().then_some(number)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str) -> Vec<LogRow> {
        read(text.as_bytes(), Zone::UTC).unwrap()
    }

    fn refused(text: &str) -> (String, Option<usize>, Option<usize>) {
        let error = read(text.as_bytes(), Zone::UTC).unwrap_err();
        assert_eq!(error.kind(), "logger");
        assert!(!error.remedy.is_empty());
        (error.message, error.line, error.column)
    }

    #[test]
    fn three_dialects_say_the_same() {
        let plain = rows("2026-03-01T19:40:07Z,0.3,0.62,22.5\n2026-03-01T19:41:07Z,0.31,0.6,\n");
        assert_eq!(plain.len(), 2);
        assert_eq!(plain[0].amps, A.of(0.62));
        assert_eq!(plain[1].celsius, None);
        let german = "# logger 3\r\n\r\nTemperature (°C);Current [A];Time;Voltage\r\n\
            22,5;0,62;2026-03-01 19:40:07;0,3\r\n;0,6;2026-03-01 19:41:07;0,31\r\n";
        assert_eq!(rows(german), plain);
        let tabs = "\u{feff}timestamp\tfan\ta\tv\tc\n2026-03-01T20:40:07+01:00\t9\t0.62\t0,3\t22.5\n\
            2026-03-01T19:41:07Z\t9\t0.6\t0.31\t\n";
        assert_eq!(rows(tabs), plain);
        assert_eq!(
            rows("at,amps\n2026-03-01T19:40:07Z,0.62\n")[0].amps,
            A.of(0.62)
        );
        assert_eq!(rows("# nothing yet\n"), []);
    }

    #[test]
    fn faults_have_their_place_and_what_was_found() {
        let row = "2026-03-01T19:40:07Z,0.3,0.62\n";
        let cases = [
            (
                format!("{row}\n2026-03-01T19:41:07Z,0.3, x\u{1b}\n"),
                3,
                27,
                r"found `x\u{1b}`, expected a number",
            ),
            (
                format!("{row}yesterday,1,2\n"),
                2,
                1,
                "found `yesterday`, expected an instant",
            ),
            (
                format!("{row}2026-03-01T19:40:06Z,0.3,0.62\n"),
                2,
                1,
                "earlier than the row before",
            ),
            (
                format!("{row}2026-03-01T19:41:07Z,0.3\n"),
                2,
                1,
                "found no amps",
            ),
            (
                format!("{row}2026-03-01T19:41:07Z,0.3,-2\n"),
                2,
                26,
                "found -2 A",
            ),
            (
                format!("{row}2026-03-01T19:41:07Z,0.3,inf\n"),
                2,
                26,
                "found `inf`",
            ),
            ("time,amps (mA)\n".to_owned(), 1, 6, "a column in `ma`"),
            (
                format!("{row}2026-03-01T19:41:07Z,0.3,10001\n"),
                2,
                26,
                "expected at most 10000 A",
            ),
            ("time,volts\n".to_owned(), 1, 1, "a column of amps"),
            ("time,a,amps\n".to_owned(), 1, 8, "a second column of amps"),
        ];
        for (text, line, column, message) in cases {
            let (found, l, c) = refused(&text);
            assert!(found.contains(message), "{found}");
            assert_eq!((l, c), (Some(line), Some(column)), "{found}");
        }
        let wide: Vec<u8> = "time,a".encode_utf16().flat_map(u16::to_le_bytes).collect();
        let wide = [b"\xff\xfe".to_vec(), wide].concat();
        assert!(
            read(&wide, Zone::UTC)
                .unwrap_err()
                .message
                .contains("UTF-16")
        );
    }

    #[test]
    fn a_file_has_bounds() {
        let row = "2026-03-01T19:40:07Z,,1\n";
        assert_eq!(rows(&row.repeat(1000)).len(), 1000);
        let (message, line, _) = refused(&row.repeat(MOST_ROWS + 1));
        assert!(message.contains("1000000 rows"), "{message}");
        assert_eq!(line, Some(MOST_ROWS + 1));
        assert!(read(&vec![b'\n'; (MOST_BYTES + 1) as usize], Zone::UTC).is_err());
    }

    #[test]
    fn a_meter_at_rest_counts_as_zero() {
        assert_eq!(rows("2026-03-01T19:40:07Z,0,-0.004")[0].amps, A.of(0.0));
    }
}
