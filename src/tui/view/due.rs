//! The due list: on every screen, in the same place.

use ratatui::layout::Rect;

use super::pen::{Pen, Row, below, line_of};
use super::{Role, is_narrow};
use crate::project::Due;
use crate::tui::app::{Model, Screen};

/// How many lines the list has on a screen of this height.
pub(super) fn lines(height: u16) -> u16 {
    match height {
        0..16 => 3,
        16..22 => 4,
        22..34 => 5,
        34..46 => 7,
        _ => 9,
    }
}

/// Draws the list.
pub(super) fn draw(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    let over = model.facts.overdue().count();
    let heading = match over {
        0 => Row::of(Role::Title, "due").and(Role::Plain, " nothing now"),
        n => Row::of(Role::Title, "due").and(Role::Alarm, format!(" {n} now")),
    };
    pen.rule(line_of(area, 0), &heading);
    let area = below(area, 1);
    if model.facts.due.is_empty() {
        let idle = "nothing is due: no piece is in a tank, drying or ageing";
        pen.row(area, &Row::plain(idle));
        return;
    }
    let rows = usize::from(area.height);
    let first = first_shown(model.due_row, model.facts.due.len(), rows);
    let shown = model.facts.due.iter().enumerate().skip(first).take(rows);
    for (line, (n, due)) in shown.enumerate() {
        let area = line_of(area, line);
        pen.row(area, &row(model, n, due, usize::from(area.width)));
    }
}

/// The first line shown, so that the selected one is.
fn first_shown(selected: usize, all: usize, rows: usize) -> usize {
    let last = all.saturating_sub(rows);
    selected.saturating_sub(rows.saturating_sub(1)).min(last)
}

fn row(model: &Model, n: usize, due: &Due, width: usize) -> Row {
    let over = due.at <= model.now;
    let role = if over { Role::Alarm } else { Role::Plain };
    let mark = if over { "! " } else { "  " };
    let name = due.piece.as_deref().or(due.tank.as_deref()).unwrap_or("");
    let key = key_of(model, n);
    let selected = n == model.due_row && enter_deals(model);
    if is_narrow(width) {
        return Row::of(role, mark)
            .column(role, due.what.word(), 9)
            .column(Role::Strong, name, width.saturating_sub(32).max(6))
            .and(Role::Plain, " ")
            .column(role, &model.distance(due.at), 13)
            .and(Role::Key, key)
            .chosen(selected);
    }
    let wide = if width >= 110 { 18 } else { 11 };
    let fixed = 2 + 10 + 14 + 10 + wide + 1 + 7;
    Row::of(role, mark)
        .column(Role::Plain, &model.clock(due.at), 10)
        .column(role, &model.distance(due.at), 14)
        .column(role, due.what.word(), 10)
        .column(Role::Strong, name, wide)
        .and(Role::Plain, " ")
        .column(Role::Plain, &due.say, width.saturating_sub(fixed))
        .and(Role::Key, format!(" {key}"))
        .chosen(selected)
}

/// Whether Enter on this screen deals with the selected line.
fn enter_deals(model: &Model) -> bool {
    matches!(model.screen, Screen::Line | Screen::Piece)
}

/// The key that deals with a line; none while something lies on the screen.
fn key_of(model: &Model, n: usize) -> String {
    if !model.layers.is_empty() {
        String::new()
    } else if n == model.due_row && enter_deals(model) {
        "Enter".to_owned()
    } else if n < 8 {
        format!("F{}", n + 1)
    } else {
        String::new()
    }
}
