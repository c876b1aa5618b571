//! The far view: the next due thing, its time and the charge left, readable
//! across the room.

use ratatui::layout::Rect;

use super::Role;
use super::pen::{Pen, Row, below, line_of};
use crate::tui::app::Model;
use crate::units::{AH, number};

/// Digits of five by five cells, a row of bits each.
const DIGITS: [(char, [&str; 5]); 14] = [
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
];

/// Draws the far view.
pub(super) fn draw(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    let big = area.height >= 22 && area.width >= 60;
    let Some(due) = model.facts.due.first() else {
        pen.row(below(area, 1), &Row::of(Role::Strong, "nothing is due"));
        big_words(pen, below(area, 3), &clock(model), big, Role::Plain);
        return;
    };
    let over = due.at <= model.now;
    let role = if over { Role::Alarm } else { Role::Strong };
    let name = due.piece.as_deref().or(due.tank.as_deref()).unwrap_or("");
    let word = if over {
        format!("{} NOW", due.what.word().to_uppercase())
    } else {
        due.what.word().to_uppercase()
    };
    pen.row(
        line_of(area, 0),
        &Row::of(role, spaced(&word))
            .and(role, "   ")
            .and(role, spaced(name)),
    );
    pen.row(line_of(area, 1), &Row::plain(&due.say));
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
    let mut y = 3;
    y += big_words(pen, below(area, y), &lead, big, role);
    pen.row(
        below(area, y),
        &Row::of(role, format!("{unit} {words}, {}", model.clock(due.at))),
    );
    y += 2;
    y += charge_left(model, pen, below(area, y), due.piece.as_deref(), big);
    let rest = below(area, y);
    for (n, next) in model
        .facts
        .due
        .iter()
        .enumerate()
        .skip(1)
        .take(usize::from(rest.height))
    {
        let name = next.piece.as_deref().or(next.tank.as_deref()).unwrap_or("");
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
    big: bool,
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
    let lines = big_words(
        pen,
        area,
        &format!("{sign}{}", number(ah, 3)),
        big,
        Role::Strong,
    );
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

/// Draws digits five lines high, or plain where there is no room; the lines taken.
fn big_words(pen: &mut Pen<'_>, area: Rect, text: &str, big: bool, role: Role) -> usize {
    if !big && area.height < 7 {
        pen.row(area, &Row::of(role, text));
        return 1;
    }
    let scale = if area.width >= 100 && area.height >= 24 {
        2
    } else {
        1
    };
    for line in 0..5 {
        let drawn: Vec<String> = text
            .chars()
            .filter_map(|c| DIGITS.iter().find(|(d, _)| *d == c))
            .map(|(_, rows)| widened(rows[line], scale))
            .collect();
        pen.row(line_of(area, line), &Row::of(role, drawn.join("  ")));
    }
    5
}

fn widened(bits: &str, scale: usize) -> String {
    bits.chars()
        .map(|bit| if bit == '#' { "\u{2588}" } else { " " }.repeat(scale))
        .collect()
}
