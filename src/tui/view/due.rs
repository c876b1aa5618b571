//! The due list: on every screen, in the same place.

use ratatui::layout::Rect;

use super::pen::{Pen, Row, below, line_of};
use super::{Role, is_narrow};
use crate::project::{Due, DueKind, StageState};
use crate::report::safe::{columns, fitted};
use crate::tui::app::{Id, Model, Screen};

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
        pen.row(area, &idle(model, usize::from(area.width)));
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

/// With nothing due: what the selected piece waits for, and the key to it.
fn idle(model: &Model, width: usize) -> Row {
    let waits = |name: &str| {
        let piece = model.piece(name)?;
        let waits = piece.stage_state == StageState::Waiting && enter_deals(model);
        Some(piece.stage.as_ref()?.title().to_owned()).filter(|_| waits)
    };
    let next = model.selected_piece().and_then(|n| Some((n, waits(n)?)));
    let Some((name, stage)) = next.filter(|_| model.layers.is_empty()) else {
        return Row::plain("nothing is due: no piece is in a tank, drying or ageing");
    };
    let so_far = if is_narrow(width) {
        ""
    } else {
        "nothing is due; "
    };
    Row::plain(format!("{so_far}next for "))
        .and(Role::Strong, fitted(name, name_most(width)))
        .and(Role::Plain, format!(": {stage} "))
        .and(Role::Key, model.key_of(Id::Deal).unwrap_or_default())
}

/// The columns of a name in a sentence.
fn name_most(width: usize) -> usize {
    (width / 4).max(8)
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
    let name = due.place();
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
    let wide = name_width(model, width);
    let fixed = 2 + 10 + 14 + 10 + wide + 1 + key_width(model) + 2;
    Row::of(role, mark)
        .column(Role::Plain, &model.clock(due.at), 10)
        .column(role, &model.distance(due.at), 14)
        .column(role, due.what.word(), 10)
        .column(Role::Strong, name, wide)
        .and(Role::Plain, " ")
        .column(
            Role::Plain,
            &told(model, due, name),
            width.saturating_sub(fixed),
        )
        .and(Role::Key, format!(" {key}"))
        .chosen(selected)
}

/// The columns of the names: as many as the longest takes, up to a limit.
fn name_width(model: &Model, width: usize) -> usize {
    let most = if width >= 110 { 18 } else { 11 };
    let due = model.facts.due.iter();
    let names = due.map(|d| columns(d.place()));
    names.max().unwrap_or(0).clamp(4, most - 1) + 1
}

/// The columns of the keys: as many as the longest takes.
fn key_width(model: &Model) -> usize {
    let keys = (0..model.facts.due.len()).map(|n| columns(&key_of(model, n)));
    keys.max().unwrap_or(0).max(5)
}

/// What is due, without what the columns before it say; where there is one
/// tank only, a step of the ladder needs not name it.
fn told(model: &Model, due: &Due, name: &str) -> String {
    let say = brief(&due.say, name, due.what.word());
    let alone = model.facts.tanks.len() == 1;
    let tank = due
        .tank
        .as_deref()
        .filter(|_| alone && due.what == DueKind::Ladder);
    tank.map_or_else(|| say.clone(), |tank| without_name(&say, tank))
}

/// A sentence without the name and the kind that stand in the columns before it.
fn brief(say: &str, name: &str, kind: &str) -> String {
    let said = without_name(say, name);
    let leads = [kind, &format!("reaches its {kind}"), "drying time"];
    let rest = leads
        .iter()
        .find_map(|lead| {
            said.strip_prefix(lead)
                .filter(|rest| rest.starts_with([' ', ',']))
        })
        .unwrap_or_default();
    match rest.strip_prefix([' ', ',']) {
        Some(rest) => rest.trim_start().trim_end_matches(" is over").to_owned(),
        None => said,
    }
}

/// A sentence without the name and the words that led to it.
fn without_name(say: &str, name: &str) -> String {
    let word_at = |at: usize| {
        let around = [
            say[..at].chars().next_back(),
            say[at + name.len()..].chars().next(),
        ];
        around
            .into_iter()
            .flatten()
            .all(|c| c == ' ' || ",;:".contains(c))
    };
    let found = say
        .match_indices(name)
        .map(|(at, _)| at)
        .find(|at| word_at(*at));
    let Some(at) = found.filter(|_| !name.is_empty()) else {
        return say.to_owned();
    };
    let mut before = say[..at].trim_end();
    for lead in [" at", " of", " for"] {
        before = before.strip_suffix(lead).unwrap_or(before);
    }
    let after = &say[at + name.len()..];
    if before.is_empty() {
        after.trim_start_matches([':', ' ']).to_owned()
    } else {
        format!("{before}{after}")
    }
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
        model.key_of(Id::Deal).unwrap_or_default()
    } else {
        model.key_of(Id::DealRow(n)).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::brief;

    #[test]
    fn the_name_and_the_kind_in_the_columns_are_not_told_again() {
        for (kind, name, say, told) in [
            (
                "dry",
                "crozier",
                "crozier: 24 h touch dry",
                "24 h touch dry",
            ),
            ("look", "stem", "first look at stem", "first look"),
            (
                "dry",
                "stem",
                "stem: drying time since the last coat is over",
                "since the last coat",
            ),
            (
                "target",
                "stem",
                "stem reaches its target at the present current",
                "at the present current",
            ),
            (
                "look",
                "stem",
                "look at stem, turn it: seen 20 min ago",
                "turn it: seen 20 min ago",
            ),
            (
                "return",
                "stem",
                "return stem to main: lower it in live",
                "to main: lower it in live",
            ),
            (
                "ladder",
                "leaf-1",
                "set main to 7.00 A: step 2 of 3 for leaf-1",
                "set main to 7.00 A: step 2 of 3",
            ),
            (
                "ladder",
                "main",
                "set main to 7.00 A for stem, leaf-1: step 2 of 3",
                "set to 7.00 A for stem, leaf-1: step 2 of 3",
            ),
            (
                "lift-out",
                "leaf",
                "lift leaf-1 out now: in main",
                "lift leaf-1 out now: in main",
            ),
            (
                "reading",
                "main",
                "read the meter of main",
                "read the meter",
            ),
        ] {
            assert_eq!(brief(say, name, kind), told);
        }
    }
}
