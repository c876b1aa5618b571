//! Holds: ages side by side, how far the pieces differ, one visit to seal.

use ratatui::layout::Rect;

use super::pen::{Pen, Row, bar, below, line_of, window};
use super::{Role, how_to_begin, is_narrow};
use crate::project::{Behind, HoldFigures};
use crate::tui::app::{Id, Model, holds_order};
use crate::units::{AH, Duration, H, clock_span, number};

/// Draws the holds.
pub(super) fn draw(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    let width = usize::from(area.width);
    let summary = summary(model);
    let lines = summary.len() + 1;
    pen.rows(area, &summary);
    let names = holds_order(model);
    if names.is_empty() {
        pen.row(below(area, lines), &Row::plain(how_to_begin(model)));
        return;
    }
    pen.row(line_of(area, lines - 1), &heading(width));
    let list = below(area, lines);
    let at = names
        .iter()
        .position(|n| model.selected_piece() == Some(n))
        .unwrap_or(0);
    let rows = names.iter().map(|name| row(model, name, width)).collect();
    let rows = window(rows, at, usize::from(list.height), "Up Down");
    pen.rows(list, &rows);
}

fn summary(model: &Model) -> Vec<Row> {
    let matching = &model.facts.matching;
    let unit = model.project.definition.units.thickness();
    let mut spread = Row::of(Role::Title, "match");
    spread = match &matching.age_spread {
        Some(age) => spread.and(Role::Strong, format!("  ages differ by {}", span(*age))),
        None => spread.and(Role::Plain, "  ages compare from two holds on"),
    };
    spread = match &matching.thickness_spread {
        Some(by) => spread.and(Role::Strong, format!("; thickness by {}", by.shown(unit))),
        None => spread.and(Role::Plain, "; thickness from two plated pieces on"),
    };
    let rule = &model.project.definition.hold;
    let visit = match matching.visit {
        Some((from, to)) => Row::of(
            Role::Good,
            format!(
                "one visit seals all: {} to {}",
                model.clock(from),
                model.clock(to)
            ),
        ),
        None if running(model) > 1 => Row::of(
            Role::Soon,
            format!(
                "no one visit seals all: mark them ({}) and refresh, {}, for one hold",
                model.key_of(Id::Mark).unwrap_or_default(),
                model.way_to(Id::Refresh)
            ),
        ),
        None => Row::plain(format!(
            "the ageing hold is {}, give or take {}",
            span(rule.time),
            span(rule.tolerance)
        )),
    };
    let mut rows = vec![spread, visit];
    if matching.finishes_differ {
        rows.push(Row::of(
            Role::Alarm,
            "finishes differ (polished, as plated): hours do not compare",
        ));
    }
    rows
}

/// Hours to two digits; what is under one as a clock tells it.
fn span(time: Duration) -> String {
    if time.to(H) < 1.0 {
        clock_span(time.si())
    } else {
        format!("{} h", number(time.to(H), 2))
    }
}

fn running(model: &Model) -> usize {
    let holds = model.facts.pieces.values().filter_map(|f| f.hold);
    holds.filter(|h| !h.ended).count()
}

fn heading(width: usize) -> Row {
    let row = Row::default()
        .column(Role::Title, "    piece", name_width(width) + 4)
        .column(Role::Title, " aged", 22);
    if is_narrow(width) {
        row
    } else {
        row.column(Role::Title, "seal from", 12)
            .column(Role::Title, "to", 12)
            .and(Role::Title, "thickness")
    }
}

fn name_width(width: usize) -> usize {
    if width >= 120 { 22 } else { 12 }
}

fn row(model: &Model, name: &str, width: usize) -> Row {
    let selected = model.selected_piece() == Some(name);
    let digit = model
        .digit_of(name)
        .map_or_else(|| " ".to_owned(), |d| d.to_string());
    let mark = if model.marked.contains(name) {
        "*"
    } else {
        " "
    };
    let row = Row::of(Role::Key, digit)
        .and(Role::Soon, format!(" {mark} "))
        .column(Role::Strong, name, name_width(width) + 1)
        .chosen(selected);
    let Some(figures) = model.figures(name) else {
        return row;
    };
    let row = if let Some(hold) = figures.hold {
        aged(model, row, &hold, width)
    } else {
        let stage = model.piece(name).and_then(|p| p.stage.as_ref());
        let told = stage.map_or_else(|| "done".to_owned(), |s| format!("at {s}"));
        row.column(Role::Plain, &told, if is_narrow(width) { 22 } else { 46 })
    };
    if is_narrow(width) {
        row
    } else {
        row.and(Role::Plain, metal(model, name, width))
    }
}

/// The age beside what is wanted; a short hold as a clock tells it.
pub(super) fn age(hold: &HoldFigures) -> String {
    let (aged, of) = (hold.elapsed.to(H), hold.target.to(H));
    if of < 2.0 {
        let [aged, of] = [hold.elapsed, hold.target].map(|t| clock_span(t.si()));
        format!("{aged}/{of}")
    } else {
        format!("{aged:.1}/{of:.0} h")
    }
}

/// Where a hold stands, behind its age: nothing while the seal has to wait.
pub(super) fn standing(hold: &HoldFigures) -> String {
    match hold.word() {
        "early" => String::new(),
        word => format!(" {word}"),
    }
}

fn role(hold: &HoldFigures) -> Role {
    match hold.word() {
        "late" => Role::Alarm,
        "early" => Role::Strong,
        _ => Role::Good,
    }
}

/// The age with its bar, and when the seal may begin.
fn aged(model: &Model, row: Row, hold: &HoldFigures, width: usize) -> Row {
    let share = hold.elapsed / hold.target;
    let (from, to) = hold.window();
    if is_narrow(width) {
        let told = format!(" {}{}", age(hold), standing(hold));
        return row
            .and(Role::Metal, bar(4, share, share))
            .column(role(hold), &told, 18);
    }
    let row = row.and(Role::Metal, bar(8, share, share)).column(
        Role::Strong,
        &format!(" {}", age(hold)),
        14,
    );
    match hold.word() {
        "sealed" => row.column(Role::Good, "sealed", 24),
        "early" => row.column(Role::Plain, &model.clock(from), 12).column(
            Role::Plain,
            &model.clock(to),
            12,
        ),
        word => row
            .column(role(hold), word, 12)
            .column(Role::Plain, &model.clock(to), 12),
    }
}

/// How far a piece is behind the thickest, and what brings it level; nothing
/// does where the difference drowns in its ±.
pub(super) fn level(model: &Model, behind: &Behind) -> String {
    let by = behind.by.shown(model.project.definition.units.thickness());
    if behind.by.value <= behind.by.pm() {
        return format!("{by} behind: level within the \u{b1}");
    }
    let time = behind
        .time
        .map_or_else(String::new, |t| format!(", {}", clock_span(t.si())));
    format!(
        "{by} behind; level with {} Ah{time}",
        number(behind.charge.to(AH), 2)
    )
}

/// Thickness and, where there is room, what brings the piece level with the
/// thickest.
fn metal(model: &Model, name: &str, width: usize) -> String {
    let unit = model.project.definition.units.thickness();
    let Some(figures) = model.figures(name) else {
        return String::new();
    };
    let Some(thickness) = figures.thickness.as_ref().filter(|t| t.value.si() > 0.0) else {
        return String::new();
    };
    let told = thickness.shown(unit);
    let matching = &model.facts.matching;
    if width < 100 {
        return told;
    }
    if let Some(behind) = matching.behind.iter().find(|b| b.name == name) {
        format!("{told}; {}", level(model, behind))
    } else if matching.thickest.as_deref() == Some(name) && !matching.behind.is_empty() {
        format!("{told}; the thickest")
    } else {
        told
    }
}
