//! Close-out: can I switch off the light and go?

use ratatui::layout::Rect;

use super::pen::{Pen, Row, below, window, wrapped};
use super::{Role, is_narrow};
use crate::project::{Item, MaySign, Side, What};
use crate::tui::app::{Id, Model};

/// Draws the close-out.
pub(super) fn draw(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    let width = usize::from(area.width);
    let verdict = verdict(model, width);
    pen.rows(area, &verdict);
    let list = below(area, verdict.len());
    let items = &model.facts.closeout.items;
    let both: Vec<(usize, &Item)> = items.iter().enumerate().collect();
    let (tank, paper): (Vec<_>, Vec<_>) = both.into_iter().partition(|(_, i)| i.side == Side::Tank);
    if width >= 100 {
        let half = area.width / 2;
        let left = Rect {
            width: half - 1,
            ..list
        };
        let right = Rect {
            x: area.x + half,
            width: area.width - half,
            ..list
        };
        let (rows, at) = side(
            model,
            "tank side: ticked by hand",
            &tank,
            usize::from(left.width),
        );
        scrolled(pen, left, rows, at);
        let (mut rows, at) = side(
            model,
            "paper side: kept from the project",
            &paper,
            usize::from(right.width),
        );
        let at = at.or((model.item_row == items.len()).then_some(rows.len()));
        rows.extend(foot(model));
        scrolled(pen, right, rows, at);
    } else {
        let (mut rows, first) = side(model, "tank side", &tank, width);
        let (more, second) = side(model, "paper side", &paper, width);
        let at = first.or(second.map(|n| n + rows.len()));
        rows.extend(more);
        let at = at.or(Some(rows.len()));
        rows.extend(foot(model));
        scrolled(pen, list, rows, at);
    }
}

fn scrolled(pen: &mut Pen<'_>, area: Rect, rows: Vec<Row>, at: Option<usize>) {
    // The second line of a long item too, where it has one.
    let seen = at.map_or(0, |at| at + 1).min(rows.len().saturating_sub(1));
    let rows = window(rows, seen, usize::from(area.height), "Up Down");
    pen.rows(area, &rows);
}

fn verdict(model: &Model, width: usize) -> Vec<Row> {
    let (role, told) = match &model.facts.closeout.may_sign {
        MaySign::Yes(None) => (Role::Good, "it may be signed".to_owned()),
        MaySign::Yes(Some(rests_on)) => (Role::Soon, format!("it may be signed: {rests_on}")),
        MaySign::No(because) => (Role::Alarm, format!("not yet: {because}")),
    };
    let lines = wrapped(&told, width).into_iter();
    lines.map(|line| Row::of(role, line)).collect()
}

/// The items of one side; the line of the selected one.
fn side(
    model: &Model,
    title: &str,
    items: &[(usize, &Item)],
    width: usize,
) -> (Vec<Row>, Option<usize>) {
    let mut rows = vec![Row::of(Role::Title, title)];
    let mut at = None;
    for (n, item) in items {
        let selected = *n == model.item_row;
        if selected {
            at = Some(rows.len());
        }
        let digit = model
            .digit_of_item(*n)
            .map_or_else(|| " ".to_owned(), |d| d.to_string());
        let (role, mark) = match (item.done, item.side) {
            (true, _) => (Role::Good, "[x]"),
            (false, Side::Tank) => (Role::Alarm, "[ ]"),
            (false, Side::Paper) => (Role::Soon, "[!]"),
        };
        let ticked = item
            .ticked
            .as_ref()
            .filter(|_| !is_narrow(width))
            .map_or_else(String::new, |(who, when)| {
                format!("  {who} {}", model.clock(*when))
            });
        let told = format!("{}{ticked}", item.text);
        for (line, text) in wrapped(&told, width.saturating_sub(6))
            .into_iter()
            .enumerate()
        {
            let (digit, mark) = if line == 0 {
                (digit.as_str(), mark)
            } else {
                (" ", "   ")
            };
            rows.push(
                Row::of(Role::Key, format!("{digit} "))
                    .and(role, format!("{mark} "))
                    .and(Role::Plain, text)
                    .chosen(selected),
            );
        }
    }
    (rows, at)
}

/// The signing row, and the last signed sheet.
fn foot(model: &Model) -> Vec<Row> {
    let selected = model.item_row == model.facts.closeout.items.len();
    let id = if selected { Id::Tick } else { Id::Sign };
    let key = model.key_of(id).unwrap_or_default();
    let mut rows = vec![
        Row::of(Role::Key, format!("{key} "))
            .and(Role::Strong, "sign the sheet")
            .chosen(selected),
    ];
    if let Some((sequence, at, who)) = &model.project.state().signed {
        let told = format!("last signed {} by {who} (#{sequence})", model.clock(*at));
        rows.push(Row::plain(told));
    }
    rows
}

/// What the last signed sheet says of the next day.
pub(super) fn morning(model: &Model) -> Vec<String> {
    let signed = model.project.state().signed.as_ref();
    let Some((sequence, at, who)) = signed else {
        return Vec::new();
    };
    let event = model.project.event(*sequence);
    let Some(What::CloseoutSign { sheet }) = event.map(|e| &e.what) else {
        return Vec::new();
    };
    let mut lines = vec![format!("signed {} by {who}", model.clock(*at))];
    let kept = [
        "tomorrow",
        "overnight",
        "hanging",
        "wet",
        "readings",
        "weighings",
        "doses",
    ];
    for id in kept {
        let item = sheet.iter().find(|i| i.id == id);
        let matters = |done: bool| !done || matches!(id, "tomorrow" | "overnight");
        lines.extend(item.filter(|i| matters(i.done)).map(|i| i.text.clone()));
    }
    lines
}
