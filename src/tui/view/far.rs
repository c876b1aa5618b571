//! The far view: the next due thing, its time and the charge left, readable
//! across the room.

use ratatui::layout::Rect;

use super::Role;
use super::pen::{Pen, Row, below, line_of};
use crate::tui::app::Model;
use crate::units::{AH, number};

/// Glyphs of five rows of dots.
const GLYPHS: [(char, [&str; 5]); 42] = [
    ('0', [" ### ", "#   #", "#   #", "#   #", " ### "]),
    ('1', ["  #  ", " ##  ", "  #  ", "  #  ", " ### "]),
    ('2', ["#### ", "    #", " ### ", "#    ", "#####"]),
    ('3', ["#### ", "    #", " ### ", "    #", "#### "]),
    ('4', ["#  # ", "#  # ", "#####", "   # ", "   # "]),
    ('5', ["#####", "#    ", "#### ", "    #", "#### "]),
    ('6', [" ### ", "#    ", "#### ", "#   #", " ### "]),
    ('7', ["#####", "    #", "   # ", "  #  ", "  #  "]),
    ('8', [" ### ", "#   #", " ### ", "#   #", " ### "]),
    ('9', [" ### ", "#   #", " ####", "    #", " ### "]),
    ('.', ["   ", "   ", "   ", "   ", " # "]),
    (':', ["   ", " # ", "   ", " # ", "   "]),
    ('~', ["     ", " #   ", "# # #", "   # ", "     "]),
    ('+', ["     ", "  #  ", " ### ", "  #  ", "     "]),
    ('A', [" ### ", "#   #", "#####", "#   #", "#   #"]),
    ('B', ["#### ", "#   #", "#### ", "#   #", "#### "]),
    ('C', [" ####", "#    ", "#    ", "#    ", " ####"]),
    ('D', ["#### ", "#   #", "#   #", "#   #", "#### "]),
    ('E', ["#####", "#    ", "#### ", "#    ", "#####"]),
    ('F', ["#####", "#    ", "#### ", "#    ", "#    "]),
    ('G', [" ####", "#    ", "#  ##", "#   #", " ####"]),
    ('H', ["#   #", "#   #", "#####", "#   #", "#   #"]),
    ('I', ["###", " # ", " # ", " # ", "###"]),
    ('J', ["   ##", "    #", "    #", "#   #", " ### "]),
    ('K', ["#  # ", "# #  ", "##   ", "# #  ", "#  # "]),
    ('L', ["#    ", "#    ", "#    ", "#    ", "#####"]),
    ('M', ["#   #", "## ##", "# # #", "#   #", "#   #"]),
    ('N', ["#   #", "##  #", "# # #", "#  ##", "#   #"]),
    ('O', [" ### ", "#   #", "#   #", "#   #", " ### "]),
    ('P', ["#### ", "#   #", "#### ", "#    ", "#    "]),
    ('Q', [" ### ", "#   #", "# # #", "#  # ", " ## #"]),
    ('R', ["#### ", "#   #", "#### ", "#  # ", "#   #"]),
    ('S', [" ####", "#    ", " ### ", "    #", "#### "]),
    ('T', ["#####", "  #  ", "  #  ", "  #  ", "  #  "]),
    ('U', ["#   #", "#   #", "#   #", "#   #", " ### "]),
    ('V', ["#   #", "#   #", " # # ", " # # ", "  #  "]),
    ('W', ["#   #", "#   #", "# # #", "## ##", "#   #"]),
    ('X', ["#   #", " # # ", "  #  ", " # # ", "#   #"]),
    ('Y', ["#   #", " # # ", "  #  ", "  #  ", "  #  "]),
    ('Z', ["#####", "   # ", "  #  ", " #   ", "#####"]),
    ('-', ["   ", "   ", "###", "   ", "   "]),
    ('?', [" ### ", "#   #", "   # ", "     ", "  #  "]),
];

/// Draws the far view.
pub(super) fn draw(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    // Three large texts and nine lines between and below them.
    let high = usize::from(area.height).saturating_sub(9) / 15;
    let Some(due) = model.facts.due.first() else {
        pen.row(below(area, 1), &Row::of(Role::Strong, "nothing is due"));
        large(
            pen,
            below(area, 3),
            &clock(model),
            high.max(1),
            Role::Strong,
        );
        return;
    };
    let over = due.at <= model.now;
    let role = if over { Role::Alarm } else { Role::Strong };
    let name = due.place();
    let mut y = 0;
    let word = due.what.word().to_uppercase();
    let mut named = Row::default();
    if high == 0 {
        named = named.and(role, spaced(&word)).and(role, "   ");
    } else {
        y += large(pen, area, &word, high, role) + 1;
    }
    if over {
        named = named.and(role, spaced("NOW")).and(role, "   ");
    }
    pen.row(line_of(area, y), &named.and(role, spaced(name)));
    pen.row(line_of(area, y + 1), &Row::plain(&due.say));
    y += 3;
    let seconds = model.now.since(due.at).abs();
    let (value, unit) = if seconds < 60.0 {
        (format!("{seconds:.0}"), "s")
    } else if seconds < 6000.0 {
        (format!("{:.0}", (seconds / 60.0).floor()), "min")
    } else {
        (
            format!(
                "{:.0}:{:02.0}",
                (seconds / 3600.0).floor(),
                (seconds % 3600.0 / 60.0).floor()
            ),
            "h",
        )
    };
    let lead = if over { format!("+{value}") } else { value };
    let words = if over { "over" } else { "to go" };
    y += large(pen, below(area, y), &lead, high.max(1), role);
    pen.row(
        below(area, y),
        &Row::of(role, format!("{unit} {words}, {}", model.clock(due.at))),
    );
    y += 2;
    y += charge_left(
        model,
        pen,
        below(area, y),
        due.piece.as_deref(),
        high.max(1),
    );
    let rest = below(area, y);
    for (n, next) in model
        .facts
        .due
        .iter()
        .enumerate()
        .skip(1)
        .take(usize::from(rest.height))
    {
        let name = next.place();
        let told = format!(
            "then {} {} {}",
            next.what.word(),
            name,
            model.distance(next.at)
        );
        pen.row(line_of(rest, n - 1), &Row::plain(told));
    }
}

fn clock(model: &Model) -> String {
    model.project.definition.zone.local(model.now).clock()
}

/// The charge that is left of the piece in question, else of the one that has
/// the least left.
fn charge_left(
    model: &Model,
    pen: &mut Pen<'_>,
    area: Rect,
    piece: Option<&str>,
    high: usize,
) -> usize {
    let left = |name: &str| {
        let figures = model
            .figures(name)
            .filter(|f| f.charges.unknown_since.is_none())?;
        model.piece(name)?.tank.as_ref()?;
        let left = figures.charge_target.as_ref()?.value - figures.charges.total();
        Some((
            name.to_owned(),
            left.to(AH).max(0.0),
            figures.charges.estimated.si() > 0.0,
        ))
    };
    let own = piece.and_then(left);
    let least = || {
        let all = model.facts.pieces.keys().filter_map(|n| left(n));
        all.min_by(|a, b| a.1.total_cmp(&b.1))
    };
    let Some((name, ah, estimated)) = own.or_else(least) else {
        return 0;
    };
    let sign = if estimated { "~" } else { "" };
    let told = format!("{sign}{}", number(ah, 3));
    let lines = large(pen, area, &told, high, Role::Strong);
    pen.row(
        below(area, lines),
        &Row::plain(format!("Ah left on {name}")),
    );
    lines + 2
}

fn spaced(text: &str) -> String {
    let letters: Vec<String> = text.chars().map(String::from).collect();
    letters.join(" ")
}

/// How many cells a dot takes: columns, lines.
type Dot = (usize, usize);

/// Draws a text large, or plain where there is no room; the lines taken.
fn large(pen: &mut Pen<'_>, area: Rect, text: &str, high: usize, role: Role) -> usize {
    let Some((wide, high)) = dot(area, text, high) else {
        pen.row(area, &Row::of(role, text));
        return 1;
    };
    for line in 0..5 {
        let drawn: Vec<String> = glyphs(text).map(|rows| widened(rows[line], wide)).collect();
        let row = Row::of(role, drawn.join(&" ".repeat(gap(wide))));
        for again in 0..high {
            pen.row(line_of(area, line * high + again), &row);
        }
    }
    5 * high
}

/// The largest dot, at most so many lines high, with which a text fits. A cell
/// is about twice as high as wide, so twice as many columns make it square.
fn dot(area: Rect, text: &str, high: usize) -> Option<Dot> {
    let letters = glyphs(text).count();
    let dots: usize = glyphs(text).map(|rows| rows[0].len()).sum();
    let fits = |(wide, high): &Dot| {
        let columns = dots * wide + letters.saturating_sub(1) * gap(*wide);
        columns <= usize::from(area.width) && 5 * high < usize::from(area.height)
    };
    let dots = (1..=high).rev().flat_map(|h| [(2 * h, h), (h, h)]);
    dots.into_iter().find(fits)
}

/// The columns between two glyphs.
fn gap(wide: usize) -> usize {
    wide.max(2)
}

fn glyphs(text: &str) -> impl Iterator<Item = &'static [&'static str; 5]> {
    let found = |c| GLYPHS.iter().find(move |(glyph, _)| *glyph == c);
    text.chars().filter_map(found).map(|(_, rows)| rows)
}

fn widened(dots: &str, wide: usize) -> String {
    dots.chars()
        .map(|dot| if dot == '#' { "\u{2588}" } else { " " }.repeat(wide))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::project::DueKind;

    #[test]
    fn every_glyph_is_five_rows_of_one_width() {
        for (glyph, rows) in GLYPHS {
            assert!(rows.iter().all(|r| r.len() == rows[0].len()), "{glyph}");
        }
    }

    #[test]
    fn every_word_and_number_of_the_far_view_has_its_glyphs() {
        let words = DueKind::ALL.map(|kind| kind.word().to_uppercase());
        let numbers = ["0123456789", "~7.73", "+12", "1:05", "?"].map(str::to_owned);
        for text in words.iter().chain(&numbers) {
            assert_eq!(glyphs(text).count(), text.chars().count(), "{text}");
        }
    }
}
