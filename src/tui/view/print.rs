//! The print of a piece, drawn in cells: shaded, each class with a pattern and
//! a word of its own, and what is at the marker.

use ratatui::layout::Rect;
use ratatui::style::{Color, Style};

use super::pen::{Pen, Row, below, line_of, wrapped};
use super::theme::{Shade, Theme};
use super::{Role, is_narrow, or_edit};
use crate::mesh::Class;
use crate::report::safe::fitted;
use crate::tui::app::{
    CELL, CLASSES, Dots, Known, Model, Print, Showing, Source, Still, class_word,
};
use crate::tui::picture::{Dot, Image, Picture, Scene, draw as drawn};
use crate::units::{CM2, MM2, number};

/// Draws the print of a piece in the place of the screen.
pub(super) fn draw(model: &Model, showing: &Showing, pen: &mut Pen<'_>, area: Rect) {
    let known = model.prints.of(&showing.piece);
    let title = Row::of(Role::Strong, fitted(&showing.piece, 30)).and(Role::Plain, ": its print");
    let print = known.and_then(|known| known.print.as_deref());
    let Some(print) = print else {
        pen.rule(line_of(area, 0), &title);
        let lines = without(model, showing, known);
        let width = usize::from(area.width);
        let rows = lines.iter().flat_map(|(role, text)| {
            let lines = wrapped(text, width).into_iter();
            lines.map(|line| Row::of(*role, line))
        });
        pen.rows(below(area, 1), &rows.collect::<Vec<_>>());
        return;
    };
    let title = if is_narrow(usize::from(area.width)) {
        let name = Row::of(Role::Strong, fitted(&showing.piece, 12));
        name.and(Role::Plain, format!("  {}", turned_in_short(showing)))
    } else {
        title.and(Role::Plain, format!("  {}", turned(showing)))
    };
    pen.rule(line_of(area, 0), &title);
    let (place, told) = laid_out(model, showing, print, (area, pen.theme()));
    match model.prints.dots(showing) {
        // The shell draws there.
        Dots::Picture => pen.clear(place),
        dots => in_cells(showing, print, dots, pen, place),
    }
    pen.rows(below(area, usize::from(1 + place.height)), &told);
}

/// Where the picture is, and the rows under it.
fn laid_out(
    model: &Model,
    showing: &Showing,
    print: &Print,
    (area, theme): (Rect, Theme),
) -> (Rect, Vec<Row>) {
    let width = usize::from(area.width);
    let is_cut = showing.eye.cut.is_some();
    let look = (model.prints.dots(showing), is_cut);
    let legend = legend(model, &print.still, look, (width, theme));
    let told = stands(model, showing)
        .into_iter()
        .chain(readout(model, showing, print, width));
    // Where all does not fit, what changes comes first.
    let mut rows: Vec<Row> = if area.height < 12 {
        told.chain(legend).collect()
    } else {
        legend.into_iter().chain(told).collect()
    };
    // The picture keeps the larger part.
    rows.truncate(usize::from(area.height.saturating_sub(1) / 2));
    let lines = u16::try_from(rows.len()).unwrap_or(0) + 1;
    let place = Rect {
        height: area.height.saturating_sub(lines),
        ..below(area, 1)
    };
    (place, rows)
}

/// Where the terminal's own picture belongs in the body of the screen.
pub(super) fn place(
    model: &Model,
    showing: &Showing,
    (area, theme): (Rect, Theme),
) -> Option<Rect> {
    let print = model.prints.of(&showing.piece)?.print.as_deref()?;
    let is_picture = model.prints.dots(showing) == Dots::Picture;
    let (place, _) = laid_out(model, showing, print, (area, theme));
    (is_picture && !place.is_empty()).then_some(place)
}

/// What stands in the place of a print that is not there.
fn without(model: &Model, showing: &Showing, known: Option<&Known>) -> Vec<(Role, String)> {
    let piece = &showing.piece;
    if Source::of(&model.project.definition, piece).is_none() {
        let edit = or_edit(model);
        return vec![
            (Role::Strong, "this piece has no print".to_owned()),
            (
                Role::Plain,
                format!(
                    "in project.ron{edit}, give the piece a line such as: mesh: Some((file: \
                     \"meshes/{piece}.stl\", unit: Some(\"mm\"))). STL, OBJ, PLY and 3MF are read."
                ),
            ),
        ];
    }
    if let Some((step, done)) = known.and_then(|known| known.reading) {
        let told = format!("reading the print: {step} ... {:.0} %", done * 100.0);
        return vec![(Role::Strong, told)];
    }
    let fault = known.and_then(|known| known.fault.clone());
    let fault = fault.unwrap_or_else(|| "it was not read".to_owned());
    vec![
        (Role::Alarm, fault),
        (Role::Plain, "Enter reads it again".to_owned()),
    ]
}

/// `turned 30 right, 20 from above; 2.4 times; cut open; inside`.
pub(super) fn turned(showing: &Showing) -> String {
    let eye = &showing.eye;
    let side = if eye.yaw < 0.0 { "left" } else { "right" };
    let height = if eye.tilt < 0.0 { "below" } else { "above" };
    let mut told = format!(
        "turned {:.0} {side}, {:.0} from {height}",
        eye.yaw.abs(),
        eye.tilt.abs()
    );
    if eye.zoom > 1.0 {
        told = format!("{told}, {:.1} times", eye.zoom);
    }
    if eye.cut.is_some() {
        told.push_str(", cut open");
    }
    if showing.is_open() {
        told.push_str(", near side left out");
    }
    told
}

/// `cut inside x2.4 30 right 20 above`, for a narrow screen: what is usual last,
/// where there may be no room for it.
pub(super) fn turned_in_short(showing: &Showing) -> String {
    let eye = &showing.eye;
    let side = if eye.yaw < 0.0 { "left" } else { "right" };
    let height = if eye.tilt < 0.0 { "below" } else { "above" };
    let (yaw, tilt) = (eye.yaw.abs(), eye.tilt.abs());
    let mut told = String::new();
    if eye.cut.is_some() {
        told.push_str("cut ");
    }
    if showing.is_open() {
        told.push_str("inside ");
    }
    if eye.zoom > 1.0 {
        told = format!("{told}x{:.1} ", eye.zoom);
    }
    format!("{told}{yaw:.0} {side} {tilt:.0} {height}")
}

/// Each class that there is: its pattern, its word, its area and share; then what a
/// cut looks like, where there is one.
pub(super) fn legend(
    model: &Model,
    print: &Still,
    (dots, is_cut): (Dots, bool),
    (width, theme): (usize, Theme),
) -> Vec<Row> {
    let is_braille = dots == Dots::Braille && !theme.is_ascii();
    let all: f64 = print.areas_mm2.iter().sum();
    let unit = model.project.definition.units.area();
    let parts = CLASSES.into_iter().zip(print.areas_mm2);
    let parts = parts.filter(|(class, area)| *area > 0.0 || *class == Class::Wetted);
    let told = parts.map(|(class, area)| {
        let shown = MM2.of(area).to(unit);
        let shown = if shown < 0.1 {
            format!("{} cm2", number(MM2.of(area).to(CM2), 3))
        } else {
            format!("{} {}", number(shown, 3), unit.symbol)
        };
        let share = match 100.0 * area / all.max(f64::MIN_POSITIVE) {
            share if share > 0.0 && share < 1.0 => "under 1".to_owned(),
            share => format!("{share:.0}"),
        };
        let word = class_word(class);
        let words = if is_narrow(width) {
            format!("{word} {share} %")
        } else {
            format!("{word} ~{shown}, {share} %")
        };
        let role = match class {
            Class::Wetted if theme.has_shades() => Role::Metal,
            class => role(class),
        };
        let glyph = if is_braille {
            in_braille(class, false).to_string()
        } else {
            sample(class).to_owned()
        };
        Row::of(role, glyph).and(Role::Plain, format!(" {words}"))
    });
    let glyph = if is_braille {
        in_braille(Class::Wetted, true)
    } else {
        SECTION
    };
    let cut = Row::of(Role::Vessel, glyph.to_string()).and(Role::Plain, " cut through the solid");
    let mut rows = vec![Row::default()];
    for part in told.chain(is_cut.then_some(cut)) {
        match rows.last_mut() {
            Some(row) if row.width() == 0 => *row = part,
            Some(row) if row.width() + 3 + part.width() <= width => {
                *row = std::mem::take(row).and(Role::Plain, "   ").join(part);
            }
            _ => rows.push(part),
        }
    }
    rows
}

/// What else must be known: that it is stale, or read anew.
fn stands(model: &Model, showing: &Showing) -> Option<Row> {
    let known = model.prints.of(&showing.piece)?;
    if let Some((step, done)) = known.reading {
        let what = if known.masking {
            "surveying it with the masks"
        } else {
            "reading it again"
        };
        let told = format!("{what}: {step} ... {:.0} %", done * 100.0);
        return Some(Row::of(Role::Soon, told));
    }
    if let Some(fault) = &known.fault {
        return Some(Row::of(Role::Alarm, fault.clone()));
    }
    let stale = model.is_stale(&showing.piece);
    stale.then(|| {
        Row::of(
            Role::Soon,
            "stale: the file is another now; Enter reads it again",
        )
    })
}

fn readout(model: &Model, showing: &Showing, print: &Print, width: usize) -> Vec<Row> {
    let Some(marker) = &showing.marker else {
        return Vec::new();
    };
    let is_seen = showing.sees_marker(&print.scene);
    let sign = if is_seen { MARK } else { HIDDEN_MARK };
    let piece = model.project.definition.piece(&showing.piece);
    let told = print.told_at(marker, piece.map_or(&[], |piece| &piece.masks));
    let behind =
        (!is_seen).then(|| "it lies behind what is seen here: turn it, or 7 or 3".to_owned());
    let told = told.into_iter().chain(behind);
    let lines = told.collect::<Vec<_>>();
    let lines = lines
        .iter()
        .flat_map(|text| wrapped(text, width.saturating_sub(2)));
    let lead = |n: usize| {
        if n == 0 {
            format!("{sign} ")
        } else {
            "  ".to_owned()
        }
    };
    let rows = lines.enumerate();
    rows.map(|(n, line)| Row::of(Role::Key, lead(n)).and(Role::Plain, line))
        .collect()
}

/// The marker, and the marker behind something.
pub(super) const MARK: &str = "\u{25cf}";
pub(super) const HIDDEN_MARK: &str = "\u{25cb}";

fn role(class: Class) -> Role {
    match class {
        Class::Wetted => Role::Plain,
        Class::Masked => Role::Soon,
        Class::Dry => Role::Good,
        Class::Hidden => Role::Vessel,
    }
}

/// The glyph that fills a class where colours do not tell it: shades for what
/// is wetted, lines for the others.
fn sample(class: Class) -> &'static str {
    match class {
        Class::Wetted => "\u{2593}",
        Class::Masked => "\u{2573}",
        Class::Dry => "\u{2261}",
        Class::Hidden => "\u{2571}",
    }
}

/// The glyph that stands for a cut through the solid.
const SECTION: char = '\u{253c}';

fn class_of(dot: &Dot) -> Class {
    CLASSES[usize::from(dot.tint) % CLASSES.len()]
}

/// Draws the print in cells.
fn in_cells(showing: &Showing, print: &Print, dots: Dots, pen: &mut Pen<'_>, area: Rect) {
    let size = (usize::from(area.width), usize::from(area.height));
    let picture = drawn(&print.scene, &showing.eye, size.0 * CELL.0, size.1 * CELL.1);
    cells(&picture, dots, pen, area);
    marker(showing, &print.scene, &picture, pen, area);
}

/// Draws the marker over a picture in cells.
pub(super) fn marker(
    showing: &Showing,
    scene: &Scene,
    picture: &Picture,
    pen: &mut Pen<'_>,
    area: Rect,
) {
    let Some(marker) = showing.marker else {
        return;
    };
    let theme = pen.theme();
    let at = picture.view.place(scene.from_middle(marker.at_mm));
    let at = (at[0] / CELL.0 as f32, at[1] / CELL.1 as f32);
    let is_inside = at.0 >= 0.0 && at.1 >= 0.0;
    let sign = match (theme.is_ascii(), showing.sees_marker(scene)) {
        (true, true) => '*',
        (true, false) => 'o',
        (false, true) => '\u{25cf}',
        (false, false) => '\u{25cb}',
    };
    if is_inside {
        let style = theme.selected(Role::Key);
        pen.cell(area, (at.0 as usize, at.1 as usize), sign, style);
    }
}

/// Draws the largest still picture for which there is room, in the middle of it.
pub(super) fn still(model: &Model, still: &Still, pen: &mut Pen<'_>, area: Rect) {
    let size = |picture: &Picture| (picture.width / CELL.0, picture.height / CELL.1);
    let fits = |picture: &&Picture| {
        let (columns, lines) = size(picture);
        columns <= usize::from(area.width) && lines <= usize::from(area.height)
    };
    let Some(picture) = still.pictures.iter().find(fits) else {
        return;
    };
    let (columns, lines) = size(picture);
    let (columns, lines) = (columns as u16, lines as u16);
    let place = Rect {
        x: area.x + (area.width - columns) / 2,
        width: columns,
        height: lines,
        ..area
    };
    cells(picture, model.prints.still_dots(), pen, place);
}

/// Draws the dots of a picture.
fn cells(picture: &Picture, dots: Dots, pen: &mut Pen<'_>, area: Rect) {
    let theme = pen.theme();
    for y in 0..usize::from(area.height) {
        for x in 0..usize::from(area.width) {
            let cell = Cell {
                picture,
                at: (x, y),
                theme,
            };
            let (glyph, style) = match (dots, theme.is_ascii(), theme.has_shades()) {
                (_, true, _) => cell.letter(),
                (Dots::Braille, ..) => cell.braille(),
                (_, _, true) => cell.halves(),
                _ => cell.shade(),
            };
            pen.cell(area, (x, y), glyph, style);
        }
    }
}

/// What is seen of several dots together.
#[derive(Clone, Copy)]
struct Seen {
    /// Of what most of them are.
    class: Class,
    section: bool,
    light: f32,
    /// Which share of them is covered.
    share: f32,
}

/// One cell over a picture.
struct Cell<'p> {
    picture: &'p Picture,
    at: (usize, usize),
    theme: Theme,
}

impl Cell<'_> {
    /// What is seen of the lines `from` to `until` of its samples.
    fn seen(&self, from: usize, until: usize) -> Option<Seen> {
        let (left, top) = (self.at.0 * CELL.0, self.at.1 * CELL.1);
        let (mut light, mut covered) = (0.0, 0u8);
        let mut of = [0u8; CLASSES.len()];
        let mut sections = [0u8; CLASSES.len()];
        for y in top + from..top + until {
            for x in left..left + CELL.0 {
                if let Some(dot) = self.picture.seen(x, y) {
                    light += dot.light;
                    covered += 1;
                    let class = usize::from(dot.tint) % CLASSES.len();
                    sections[class] += u8::from(dot.section);
                    of[class] += 1;
                }
            }
        }
        let most = (0..CLASSES.len()).rev().max_by_key(|class| of[*class])?;
        let all = ((until - from) * CELL.0) as f32;
        (covered > 0).then(|| Seen {
            class: CLASSES[most],
            section: 2 * sections[most] > of[most],
            light: light / f32::from(covered),
            share: f32::from(covered) / all,
        })
    }

    /// Two dots, one above the other, each in a colour of its own.
    fn halves(&self) -> (char, Style) {
        let half = |n: usize| {
            let seen = self
                .seen(2 * n, 2 * n + 2)
                .filter(|seen| seen.share >= 0.5)?;
            let at = (self.at.0, 2 * self.at.1 + n);
            let shade = Shade {
                class: seen.class,
                section: seen.section,
                light: patterned(seen.class, seen.section, seen.light, at),
            };
            self.theme.shade(shade)
        };
        match (half(0).map(Color::from_u32), half(1).map(Color::from_u32)) {
            (None, None) => (' ', Style::reset()),
            (Some(upper), None) => ('\u{2580}', Style::reset().fg(upper)),
            (None, Some(lower)) => ('\u{2584}', Style::reset().fg(lower)),
            (Some(upper), Some(lower)) => ('\u{2580}', Style::reset().fg(upper).bg(lower)),
        }
    }

    /// Where there are no shades of colours: one of four densities; lines for
    /// all but what is wetted.
    fn shade(&self) -> (char, Style) {
        let Some(seen) = self.seen(0, 4).filter(|seen| seen.share >= 0.5) else {
            return (' ', Style::reset());
        };
        let glyph = match (seen.class, seen.section) {
            (_, true) => SECTION,
            (Class::Wetted, _) => {
                let densities = ['\u{2591}', '\u{2592}', '\u{2593}', '\u{2588}'];
                densities[(seen.light * 4.4 - 0.4).clamp(0.0, 3.0) as usize]
            }
            (class, _) => sample(class).chars().next().unwrap_or(' '),
        };
        (glyph, self.theme.style(role(seen.class)))
    }

    /// Plain ASCII: a ramp for what is wetted, letters for the others.
    fn letter(&self) -> (char, Style) {
        let Some(seen) = self.seen(0, 4).filter(|seen| seen.share >= 0.4) else {
            return (' ', Style::reset());
        };
        let is_light = seen.light > 0.5;
        let glyph = match (seen.class, seen.section) {
            (_, true) => '/',
            (Class::Wetted, _) => {
                // No asterisk: that is the marker.
                let ramp = *b".:-=+x#%@";
                let step = seen.light * ramp.len() as f32;
                char::from(ramp[(step as usize).min(ramp.len() - 1)])
            }
            (Class::Masked, _) => {
                if is_light {
                    'M'
                } else {
                    'm'
                }
            }
            (Class::Dry, _) => {
                if is_light {
                    'D'
                } else {
                    'd'
                }
            }
            (Class::Hidden, _) => {
                if is_light {
                    'H'
                } else {
                    'h'
                }
            }
        };
        (glyph, self.theme.style(role(seen.class)))
    }

    /// Eight dots, more where it is lighter; all but what is wetted in lines.
    fn braille(&self) -> (char, Style) {
        let (left, top) = (self.at.0 * CELL.0, self.at.1 * CELL.1);
        let mut bits = 0;
        for (dy, row) in BITS.iter().enumerate() {
            for (dx, bit) in row.iter().enumerate() {
                let (x, y) = (left + dx, top + dy);
                let Some(dot) = self.picture.seen(x, y) else {
                    continue;
                };
                let class = class_of(dot);
                let is_set = if class == Class::Wetted && !dot.section {
                    // Dots are bright on a dark ground, and dark on a light one.
                    let share = if self.theme.is_light() {
                        1.1 - 0.9 * dot.light
                    } else {
                        1.25 * dot.light - 0.08
                    };
                    share > LEAST[y % 4][x % 4] / 16.0
                } else {
                    is_on_line(class, dot.section, (x, y))
                };
                bits |= u32::from(is_set) << bit;
            }
        }
        let Some(seen) = self.seen(0, 4).filter(|_| bits > 0) else {
            return (' ', Style::reset());
        };
        let glyph = char::from_u32(0x2800 + bits).unwrap_or(' ');
        let style = match self.theme.tone(seen.class) {
            Some(tone) => Style::reset().fg(Color::from_u32(tone)),
            None => self.theme.style(role(seen.class)),
        };
        (glyph, style)
    }
}

/// The least light at which a dot is set, in sixteenths, ordered so that
/// neighbours differ (B. E. Bayer, 1973).
pub(super) const LEAST: [[f32; 4]; 4] = [
    [0.5, 8.5, 2.5, 10.5],
    [12.5, 4.5, 14.5, 6.5],
    [3.5, 11.5, 1.5, 9.5],
    [15.5, 7.5, 13.5, 5.5],
];

/// Which bit a dot of a Braille cell has: Unicode 15, 22.1, "Braille Patterns".
pub(super) const BITS: [[u32; CELL.0]; CELL.1] = [[0, 3], [1, 4], [2, 5], [6, 7]];

/// The pattern of a class, or of a cut, in one cell of Braille.
fn in_braille(class: Class, section: bool) -> char {
    let every = (0..CELL.1).flat_map(|y| (0..CELL.0).map(move |x| (x, y)));
    let is_whole = class == Class::Wetted && !section;
    let set = every.filter(|at| is_whole || is_on_line(class, section, *at));
    let bits = set.fold(0, |bits, (x, y)| bits | 1 << BITS[y][x]);
    char::from_u32(0x2800 + bits).unwrap_or(' ')
}

/// Whether a dot is on a line of the pattern of its class: slanted lines for
/// what is hidden, level ones for what is dry, points for what is masked; the
/// other slant where the cut goes through the solid.
fn is_on_line(class: Class, section: bool, (x, y): (usize, usize)) -> bool {
    match class {
        _ if section => (x + 4 * y - y) % 4 == 0,
        Class::Wetted => false,
        Class::Hidden => (x + y) % 4 == 0,
        Class::Dry => y % 3 == 0,
        Class::Masked => x % 2 == 0 && y % 2 == 0,
    }
}

/// The light with the pattern of its class in it.
fn patterned(class: Class, section: bool, light: f32, at: (usize, usize)) -> f32 {
    let light = if class == Class::Wetted {
        light
    } else {
        0.35 + 0.5 * light
    };
    if is_on_line(class, section, at) {
        if section { light - 0.12 } else { 0.35 * light }
    } else {
        light
    }
}

/// The print as the terminal's own picture, so many dots wide and high; lines
/// of its patterns are so many dots apart.
pub(super) fn image(
    model: &Model,
    showing: &Showing,
    theme: Theme,
    (width, height): (usize, usize),
) -> Option<Image> {
    let print = model.prints.of(&showing.piece)?.print.as_deref()?;
    let picture = drawn(&print.scene, &showing.eye, width, height);
    let marked = showing.marker.map(|marker| {
        let at = picture.view.place(print.scene.from_middle(marker.at_mm));
        (at, showing.sees_marker(&print.scene))
    });
    let every = (0..height).flat_map(|y| (0..width).map(move |x| (x, y)));
    let dots = every.map(|(x, y)| {
        if let Some(sign) = marked.and_then(|(at, seen)| on_marker(at, seen, (x, y))) {
            return Some(sign);
        }
        let dot = picture.seen(x, y)?;
        let class = class_of(dot);
        let light = patterned(class, dot.section, dot.light, (x / 2, y / 2));
        let section = dot.section;
        Some(theme.lasting_shade(Shade {
            class,
            section,
            light,
        }))
    });
    let dots = dots.collect();
    Some(Image { width, dots })
}

/// A ring around the marker, white in black; broken where it is behind.
pub(super) fn on_marker(at: [f32; 3], seen: bool, (x, y): (usize, usize)) -> Option<u32> {
    let (dx, dy) = (x as f32 + 0.5 - at[0], y as f32 + 0.5 - at[1]);
    let off = dx.hypot(dy);
    let is_gap = !seen && ((dx.atan2(dy) * 4.0).floor() as i32) % 2 == 0;
    match off {
        _ if is_gap => None,
        0.0..1.5 if seen => Some(0xff_ffff),
        4.0..5.5 | 7.5..9.0 => Some(0x00_0000),
        5.5..7.5 => Some(0xff_ffff),
        _ => None,
    }
}
