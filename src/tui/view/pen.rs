//! Rows of text in roles, and the pen that draws them. Everything drawn goes
//! through it: no text reaches a cell before it was made safe.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Color, Style};

use super::{Role, Theme};
use crate::report::safe::{self, cell, columns, excerpt, fit, fitted};

/// Of one text in lines no more is drawn than this, in bytes: about what 24 rows
/// of 80 columns hold. A frame is drawn in time whatever a file holds.
const DRAWN: usize = 2 * 1024;

/// A row of text.
#[derive(Debug, Clone, Default)]
pub(super) struct Row {
    parts: Vec<(String, Role)>,
    selected: bool,
}

impl Row {
    /// A row that begins so.
    pub(super) fn of(role: Role, text: impl Into<String>) -> Self {
        Self::default().and(role, text)
    }

    /// Ordinary text.
    pub(super) fn plain(text: impl Into<String>) -> Self {
        Self::of(Role::Plain, text)
    }

    /// The row, going on so.
    pub(super) fn and(mut self, role: Role, text: impl Into<String>) -> Self {
        self.parts.push((text.into(), role));
        self
    }

    /// The row, going on with a column of exactly `width`.
    pub(super) fn column(self, role: Role, text: &str, width: usize) -> Self {
        self.and(role, cell(text, width))
    }

    /// The row, going on with another one.
    pub(super) fn join(mut self, other: Self) -> Self {
        self.parts.extend(other.parts);
        self
    }

    /// The row, drawn as selected or not: with a pointer in a gap, and reversed.
    pub(super) fn chosen(mut self, selected: bool) -> Self {
        self.selected = selected;
        self
    }

    /// The part of a selected row in which a pointer stands: the first with a
    /// gap beside its words, so that it takes no place of its own.
    fn pointed(&self) -> Option<usize> {
        let gap = |text: &str| text.starts_with(' ') || text.ends_with(' ');
        let pointed = self.parts.iter().position(|(text, _)| gap(text));
        pointed.filter(|_| self.selected)
    }

    /// How many columns it takes.
    pub(super) fn width(&self) -> usize {
        self.parts.iter().map(|(text, _)| columns(text)).sum()
    }
}

/// Draws rows into a buffer.
pub(super) struct Pen<'a> {
    buffer: &'a mut Buffer,
    theme: Theme,
}

impl<'a> Pen<'a> {
    pub(super) fn new(buffer: &'a mut Buffer, theme: Theme) -> Self {
        Self { buffer, theme }
    }

    /// Draws a row at the top left of `area`, cut to its width; a selected row
    /// is drawn across all of it.
    pub(super) fn row(&mut self, area: Rect, row: &Row) {
        let area = area.intersection(self.buffer.area);
        if area.is_empty() {
            return;
        }
        let mut left = usize::from(area.width);
        let mut x = area.x;
        let pointed = row.pointed();
        for (n, (text, role)) in row.parts.iter().enumerate() {
            let mut text = fitted(text, left);
            if pointed == Some(n) {
                text = text.replacen(' ', ">", 1);
            }
            let text = self.theme.glyphs(&text);
            let text = fit(&text, left);
            let text = self.theme.glyphs(&text);
            let style = if row.selected {
                self.theme.selected(*role)
            } else {
                self.theme.style(*role)
            };
            // Words on a line do not take the line's colour.
            let style = style.fg(style.fg.unwrap_or(Color::Reset));
            let (next, _) = self.buffer.set_stringn(x, area.y, &text, left, style);
            left = left.saturating_sub(usize::from(next - x));
            x = next;
        }
        if row.selected && left > 0 {
            let rest = " ".repeat(left);
            let style = self.theme.selected(Role::Plain);
            self.buffer.set_stringn(x, area.y, rest, left, style);
        }
    }

    /// Draws rows one below the other; those that do not fit are left out.
    pub(super) fn rows(&mut self, area: Rect, rows: &[Row]) {
        for (n, row) in rows.iter().enumerate().take(usize::from(area.height)) {
            self.row(line_of(area, n), row);
        }
    }

    /// How it draws.
    pub(super) fn theme(&self) -> Theme {
        self.theme
    }

    /// Draws one glyph, of one column, in a cell of an area.
    pub(super) fn cell(&mut self, area: Rect, at: (usize, usize), glyph: char, style: Style) {
        let (x, y) = (u16::try_from(at.0), u16::try_from(at.1));
        let (Ok(x), Ok(y)) = (x, y) else { return };
        let area = area.intersection(self.buffer.area);
        if x < area.width && y < area.height {
            let cell = &mut self.buffer[(area.x + x, area.y + y)];
            // Nothing of what was there shines through.
            cell.reset();
            cell.set_char(glyph).set_style(style);
        }
    }

    /// Empties an area.
    pub(super) fn clear(&mut self, area: Rect) {
        for n in 0..usize::from(area.height) {
            let blank = Row::plain(" ".repeat(usize::from(area.width)));
            let area = line_of(area, n).intersection(self.buffer.area);
            self.buffer.set_style(area, Style::reset());
            self.row(area, &blank);
        }
    }

    /// A line across, with words in it.
    pub(super) fn rule(&mut self, area: Rect, words: &Row) {
        let width = usize::from(area.width);
        let line = Row::of(Role::Vessel, "\u{2500}".repeat(width));
        self.row(area, &line);
        if words.width() > 0 && width > 4 {
            let inner = Rect {
                x: area.x + 2,
                width: area.width - 4,
                ..area
            };
            let parts = words.parts.iter().cloned();
            let spaced = Row {
                parts: std::iter::once((" ".to_owned(), Role::Plain))
                    .chain(parts)
                    .chain([(" ".to_owned(), Role::Plain)])
                    .collect(),
                selected: false,
            };
            self.row(inner, &spaced);
        }
    }
}

/// The rows that fit, down to one that must be seen; where others are left out,
/// the last line says how many, and what leads to them.
pub(super) fn window(rows: Vec<Row>, seen: usize, height: usize, way: &str) -> Vec<Row> {
    if rows.len() <= height || height < 2 {
        let first = (seen + 1).saturating_sub(height);
        return rows.into_iter().skip(first).collect();
    }
    let shown = height - 1;
    let more = rows.len() - shown;
    let first = (seen + 1).saturating_sub(shown).min(more);
    let sign = Row::of(Role::Soon, format!("{more} more lines: {way}"));
    let rows = rows.into_iter().skip(first).take(shown);
    rows.chain([sign]).collect()
}

/// Text of any origin in lines of at most so many columns; of a text that no
/// screen holds, its beginning and its end.
pub(super) fn wrapped(text: &str, most: usize) -> Vec<String> {
    safe::wrapped(&excerpt(text, DRAWN), most)
}

/// The `n`-th line of an area, as an area of one line; empty beyond its end.
pub(super) fn line_of(area: Rect, n: usize) -> Rect {
    let inside = n < usize::from(area.height);
    Rect {
        y: area.y.saturating_add(u16::try_from(n).unwrap_or(u16::MAX)),
        height: u16::from(inside),
        ..area
    }
}

/// The lower part of an area, `skip` lines down.
pub(super) fn below(area: Rect, skip: usize) -> Rect {
    let skip = u16::try_from(skip).unwrap_or(u16::MAX).min(area.height);
    Rect {
        y: area.y + skip,
        height: area.height - skip,
        ..area
    }
}

/// A bar of `width` columns: filled as far as measured, half as far as
/// estimated, dots for what is left.
pub(super) fn bar(width: usize, measured: f64, total: f64) -> String {
    let cells = |share: f64| {
        let cells = (share.clamp(0.0, 1.0) * width as f64).round() as usize;
        cells.max(usize::from(share > 0.0)).min(width)
    };
    let (full, half) = (cells(measured), cells(total).max(cells(measured)));
    let mut bar = "\u{2588}".repeat(full);
    bar.push_str(&"\u{2592}".repeat(half - full));
    bar.push_str(&"\u{b7}".repeat(width - half));
    bar
}
