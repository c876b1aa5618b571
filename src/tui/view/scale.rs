//! Where the metal goes, drawn in cells: by colours of a scale that is even to
//! the eye where there are such, else by a glyph for each band.

use ratatui::layout::Rect;
use ratatui::style::{Color, Style};

use super::pen::Pen;
use super::print::{BITS, LEAST, marker};
use super::{Role, Theme};
use crate::mesh::Corner;
use crate::report::spread::{STEPS, colour, over_mean, step_of};
use crate::tui::app::{CELL, Dots, Fixture, Seen, Showing, Stroke, band_of};
use crate::tui::picture::{Dot, Image, Picture};

/// Half as light at least, so that the scale still reads in shade.
const SHADE: f32 = 0.55;

/// The glyph of each band, ever fuller: beside one another they tell which is
/// more without a legend.
const GLYPHS: [char; 7] = [
    '.', ':', '\u{2591}', '\u{2592}', '\u{2593}', '\u{2588}', '@',
];

/// The same in plain ASCII.
const LETTERS: [char; 7] = ['.', ':', '-', '=', '+', '#', '@'];

/// A density over the mean in the middle of each band.
const MIDDLES: [f64; 7] = [0.18, 0.35, 0.63, 1.0, 1.6, 2.8, 5.6];

/// The glyph and style that stand for a band in a legend.
pub(super) fn sample(band: usize, theme: Theme) -> (char, Style) {
    let band = band.min(GLYPHS.len() - 1);
    if theme.has_shades() {
        return (
            '\u{2588}',
            Style::reset().fg(Color::from_u32(rgb(MIDDLES[band], 1.0))),
        );
    }
    let glyphs = if theme.is_ascii() { LETTERS } else { GLYPHS };
    (glyphs[band], theme.style(role(band)))
}

/// What a band is, where the terminal's own colours alone are there.
fn role(band: usize) -> Role {
    match band {
        0 | 1 => Role::Soon,
        5 | 6 => Role::Metal,
        _ => Role::Plain,
    }
}

fn rgb(over_mean: f64, light: f32) -> u32 {
    let light = SHADE + (1.0 - SHADE) * light;
    colour(step_of(over_mean))
        .into_iter()
        .fold(0, |rgb, part| rgb << 8 | (f32::from(part) * light) as u32)
}

/// Draws the pieces in their tank, with the probe.
pub(super) fn in_cells(showing: &Showing, seen: &Seen, dots: Dots, pen: &mut Pen<'_>, area: Rect) {
    let size = (usize::from(area.width), usize::from(area.height));
    let picture = seen.drawn(&showing.eye, [size.0 * CELL.0, size.1 * CELL.1]);
    let picture = picture.as_ref();
    let theme = pen.theme();
    for y in 0..size.1 {
        for x in 0..size.0 {
            let cell = Cell {
                picture,
                seen,
                at: (x, y),
                theme,
            };
            let (glyph, style) = match (dots, theme.is_ascii(), theme.has_shades()) {
                (Dots::Braille, false, _) => cell.braille(),
                (_, false, true) => cell.halves(),
                _ => cell.banded(),
            };
            pen.cell(area, (x, y), glyph, style);
        }
    }
    draw_fixtures(seen, picture, pen, area);
    marker(showing, &seen.scene, picture, pen, area);
}

/// Walls, anodes, shields and wires in letters where no piece is seen: they are
/// glass, so that nothing of a piece is hidden.
fn draw_fixtures(seen: &Seen, picture: &Picture, pen: &mut Pen<'_>, area: Rect) {
    let theme = pen.theme();
    let step = CELL.0 as f32 / picture.view.scale;
    for (fixture, stroke) in &seen.fixtures {
        let (glyph, style) = fixture_sign(*fixture, theme);
        let rim = rim(*stroke, step).into_iter().map(|at| (at, true));
        let within = within(*stroke, step).into_iter().map(|at| (at, false));
        for (at, is_rim) in within.chain(rim) {
            let Some((x, y)) = dot_of(seen, picture, at) else {
                continue;
            };
            let (column, line) = (x / CELL.0, y / CELL.1);
            let is_in = column < usize::from(area.width) && line < usize::from(area.height);
            let is_drawn = is_rim || (column + line % 2 * 2).is_multiple_of(4);
            if is_in && is_drawn && !is_covered(picture, (column, line)) {
                pen.cell(area, (column, line), glyph, style);
            }
        }
    }
}

/// What draws a fixture: its letter, or a dot for a wall.
pub(super) fn fixture_sign(fixture: Fixture, theme: Theme) -> (char, Style) {
    let dot = if theme.is_ascii() { '\'' } else { '\u{b7}' };
    let role = match fixture {
        Fixture::Anode => Role::Metal,
        Fixture::Wall => Role::Plain,
        _ => Role::Soon,
    };
    (fixture.letter().unwrap_or(dot), theme.style(role))
}

/// Whether so much of a piece is seen in a cell that it is drawn there.
fn is_covered(picture: &Picture, (column, line): (usize, usize)) -> bool {
    let (left, top) = (column * CELL.0, line * CELL.1);
    let places = (top..top + CELL.1).flat_map(|y| (left..left + CELL.0).map(move |x| (x, y)));
    let seen = places.filter(|(x, y)| picture.seen(*x, *y).is_some());
    seen.count() >= CELL.0
}

/// The dot at which a place in the tank is seen.
fn dot_of(seen: &Seen, picture: &Picture, at: Corner) -> Option<(usize, usize)> {
    let [x, y, _] = picture.view.place(seen.scene.from_middle(at));
    let is_in = x >= 0.0 && y >= 0.0 && x < picture.width as f32 && y < picture.height as f32;
    is_in.then_some((x as usize, y as usize))
}

/// No stroke has more points along it: what is enlarged beyond that has gaps.
const MOST_POINTS: f64 = 2000.0;

/// The same of the points within a plate, for each of its sides.
const MOST_WITHIN: f64 = 100.0;

/// The places from here along a side, `step` mm apart, at most so many.
fn along(from: Corner, side: Corner, step: f32, most: f64) -> impl Iterator<Item = Corner> {
    let long = side.iter().map(|part| part * part).sum::<f64>().sqrt();
    let count = (long / f64::from(step)).clamp(1.0, most).ceil();
    (0..=count as u32).map(move |n| {
        let part = f64::from(n) / count;
        [0, 1, 2].map(|axis| from[axis] + part * side[axis])
    })
}

/// Places along a line, or around a plate.
fn rim(stroke: Stroke, step: f32) -> Vec<Corner> {
    let plus = |a: Corner, b: Corner| [0, 1, 2].map(|axis| a[axis] + b[axis]);
    let sides = match stroke {
        Stroke::Line(from, to) => vec![(from, [0, 1, 2].map(|axis| to[axis] - from[axis]))],
        Stroke::Plate(first, [wide, high]) => vec![
            (first, wide),
            (plus(first, high), wide),
            (first, high),
            (plus(first, wide), high),
        ],
    };
    let sides = sides.into_iter();
    sides
        .flat_map(|(from, side)| along(from, side, step, MOST_POINTS))
        .collect()
}

/// Places all over a plate.
fn within(stroke: Stroke, step: f32) -> Vec<Corner> {
    let Stroke::Plate(first, [wide, high]) = stroke else {
        return Vec::new();
    };
    along(first, high, step, MOST_WITHIN)
        .flat_map(|from| along(from, wide, step, MOST_WITHIN))
        .collect()
}

/// One cell over a picture.
struct Cell<'p> {
    picture: &'p Picture,
    seen: &'p Seen,
    at: (usize, usize),
    theme: Theme,
}

/// What is seen of several dots together: the density over the mean, and how
/// light it lies.
#[derive(Clone, Copy)]
struct Part {
    over: f64,
    light: f32,
}

fn over(seen: &Seen, dot: &Dot) -> f64 {
    let at = seen.at(dot.face as usize);
    at.map_or(1.0, |(body, cell)| over_mean(body, cell))
}

impl Cell<'_> {
    /// What is seen of the lines `from` to `until` of its dots, if at least half
    /// of them are covered. What is furthest from the mean counts, so that a tip
    /// is not lost among its neighbours.
    fn part(&self, from: usize, until: usize) -> Option<Part> {
        let (left, top) = (self.at.0 * CELL.0, self.at.1 * CELL.1);
        let places =
            (top + from..top + until).flat_map(|y| (left..left + CELL.0).map(move |x| (x, y)));
        let dots: Vec<&Dot> = places
            .filter_map(|(x, y)| self.picture.seen(x, y))
            .collect();
        if 2 * dots.len() < (until - from) * CELL.0 {
            return None;
        }
        let light = dots.iter().map(|dot| dot.light).sum::<f32>() / dots.len() as f32;
        // The mean is in the middle of the scale's steps.
        let off = |dot: &&&Dot| (2 * i16::from(dot.tint) + 1 - i16::from(STEPS)).abs();
        let over = over(self.seen, dots.iter().max_by_key(off)?);
        Some(Part { over, light })
    }

    /// Two dots, one above the other, each in a colour of its own.
    fn halves(&self) -> (char, Style) {
        let half = |n: usize| {
            let part = self.part(2 * n, 2 * n + 2)?;
            Some(Color::from_u32(rgb(part.over, part.light)))
        };
        match (half(0), half(1)) {
            (None, None) => (' ', Style::reset()),
            (Some(upper), None) => ('\u{2580}', Style::reset().fg(upper)),
            (None, Some(lower)) => ('\u{2584}', Style::reset().fg(lower)),
            (Some(upper), Some(lower)) => ('\u{2580}', Style::reset().fg(upper).bg(lower)),
        }
    }

    /// The glyph of the band.
    fn banded(&self) -> (char, Style) {
        match self.part(0, CELL.1) {
            None => (' ', Style::reset()),
            Some(part) => sample(band_of(part.over), self.theme),
        }
    }

    /// Eight dots, the more the more metal there is.
    fn braille(&self) -> (char, Style) {
        let (left, top) = (self.at.0 * CELL.0, self.at.1 * CELL.1);
        let mut bits = 0;
        for (dy, row) in BITS.iter().enumerate() {
            for (dx, bit) in row.iter().enumerate() {
                let (x, y) = (left + dx, top + dy);
                let Some(dot) = self.picture.seen(x, y) else {
                    continue;
                };
                let step = f32::from(dot.tint);
                let share = 0.1 + 0.9 * step / f32::from(STEPS - 1);
                bits |= u32::from(share > LEAST[y % 4][x % 4] / 16.0) << bit;
            }
        }
        let Some(part) = self.part(0, CELL.1).filter(|_| bits > 0) else {
            return (' ', Style::reset());
        };
        let glyph = char::from_u32(0x2800 + bits).unwrap_or(' ');
        let style = if self.theme.has_shades() {
            Style::reset().fg(Color::from_u32(rgb(part.over, 1.0)))
        } else {
            self.theme.style(role(band_of(part.over)))
        };
        (glyph, style)
    }
}

/// Grey for walls, copper, acrylic, and light wires.
fn fixture_rgb(fixture: Fixture) -> u32 {
    match fixture {
        Fixture::Wall => 0x70_70_70,
        Fixture::Anode => 0xb8_73_33,
        Fixture::Shield => 0x6a_a0_d8,
        Fixture::Wire => 0xd0_d0_d0,
        Fixture::Thief => 0xe0_a0_e0,
    }
}

/// The pieces as the terminal's own picture, so many dots wide and high.
pub(super) fn image(showing: &Showing, seen: &Seen, (width, height): (usize, usize)) -> Image {
    let picture = seen.drawn(&showing.eye, [width, height]);
    let marked = showing.marker.map(|marker| {
        let at = picture.view.place(seen.scene.from_middle(marker.at_mm));
        (at, showing.sees_marker(&seen.scene))
    });
    let every = (0..height).flat_map(|y| (0..width).map(move |x| (x, y)));
    let dots = every.map(|at| {
        let sign =
            marked.and_then(|(marked, is_seen)| super::print::on_marker(marked, is_seen, at));
        sign.or_else(|| {
            let dot = picture.seen(at.0, at.1)?;
            Some(rgb(over(seen, dot), dot.light))
        })
    });
    let mut dots: Vec<Option<u32>> = dots.collect();
    for (fixture, stroke) in &seen.fixtures {
        let every = rim(*stroke, 1.0 / picture.view.scale);
        for (x, y) in every
            .into_iter()
            .filter_map(|at| dot_of(seen, &picture, at))
        {
            let dot = &mut dots[y * width + x];
            *dot = dot.or(Some(fixture_rgb(*fixture)));
        }
    }
    Image { width, dots }
}
