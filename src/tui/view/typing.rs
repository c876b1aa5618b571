//! Drawing of the pencil sheet while it is typed in.

use super::layers::{Drawn, field_row, marked};
use super::pen::{Row, wrapped};
use super::{Role, is_narrow};
use crate::tui::app::{Cell, Entry, Field, Model, Typing};

/// The row under the cursor: whose it is, what is planned, its cells.
pub(super) fn rows(model: &Model, typing: &Typing, width: usize) -> Drawn {
    let Some((sheet, (section, here))) = typing.sheet.as_ref().zip(typing.here()) else {
        return number(model, typing, width);
    };
    let title = format!(
        "sheet {}, row {} of {}",
        sheet.number,
        here.number,
        typing.rows()
    );
    let mut rows = vec![Row::of(Role::Strong, section)];
    let planned = here.planned.as_ref().map(|at| format!("{at} "));
    let planned = planned.unwrap_or_default();
    let again = if typing.written.contains(&typing.row) {
        "   written down already"
    } else {
        ""
    };
    rows.push(
        Row::of(
            Role::Title,
            format!("{} {planned}{}", here.number, here.say),
        )
        .and(Role::Good, again),
    );
    // Why a row stands is seen however long its list of boxes is.
    let wrong = typing.wrong.iter();
    let asks = matches!(typing.cells.get(typing.at), Some(Cell::Override(_)));
    let mut at = rows.len();
    rows.extend(marked(wrong, "! ", Role::Alarm, width));
    for (n, cell) in typing.cells.iter().enumerate() {
        if n == typing.at && (asks || typing.wrong.is_none()) {
            at = rows.len();
        }
        rows.extend(cell_rows(model, typing, (n, cell), width));
    }
    if typing.waits {
        rows.push(Row::of(Role::Soon, "writing it down"));
    }
    let until = rows.len().saturating_sub(1);
    (title, rows, (at, until))
}

fn number(model: &Model, typing: &Typing, width: usize) -> Drawn {
    let mut rows = vec![time_row(model, None, (&typing.number, true), width)];
    let how = "its number stands at its top: 03.1858 was printed on the third at 18:58";
    rows.extend(wrapped(how, width).into_iter().map(Row::plain));
    let wrong = typing.wrong.iter();
    rows.extend(marked(wrong, "! ", Role::Alarm, width));
    ("type in the pencil sheet".to_owned(), rows, (0, 0))
}

fn cell_rows(model: &Model, typing: &Typing, (n, cell): (usize, &Cell), width: usize) -> Vec<Row> {
    let here = n == typing.at;
    match cell {
        Cell::Field(field) if field.entry == Entry::When => {
            vec![time_row(model, Some(typing), (field, here), width)]
        }
        Cell::Field(field) | Cell::Override(field) => vec![field_row(model, field, here, width)],
        Cell::Seen(seen) => {
            let told: Vec<String> = seen.iter().map(ToString::to_string).collect();
            let told = if told.is_empty() {
                "nothing picked".to_owned()
            } else {
                told.join(", ")
            };
            vec![labelled("seen", here, width).and(Role::Strong, told)]
        }
        Cell::Boxes(boxes, ticked, first) => boxes
            .iter()
            .enumerate()
            .flat_map(|(n, tick)| {
                let digit = n
                    .checked_sub(*first)
                    .filter(|d| here && *d < 9)
                    .map_or_else(|| " ".to_owned(), |d| (d + 1).to_string());
                let mark = if ticked.contains(&n) { "[x]" } else { "[ ]" };
                let lead = format!("{digit} {mark} ");
                let lines = wrapped(&tick.say, width.saturating_sub(6)).into_iter();
                lines.enumerate().map(move |(line, say)| {
                    let lead = if line == 0 {
                        lead.clone()
                    } else {
                        " ".repeat(6)
                    };
                    Row::of(Role::Key, lead).and(Role::Plain, say)
                })
            })
            .collect(),
    }
}

fn labelled(label: &str, here: bool, width: usize) -> Row {
    let role = if here { Role::Strong } else { Role::Plain };
    let lead = if here { "> " } else { "  " };
    Row::of(role, lead).column(role, label, if is_narrow(width) { 12 } else { 21 })
}

/// A time as it is typed, and the day and clock it means.
fn time_row(
    model: &Model,
    typing: Option<&Typing>,
    (field, here): (&Field, bool),
    width: usize,
) -> Row {
    let cursor = if here { "_" } else { "" };
    let row =
        labelled(&field.label, here, width).and(Role::Strong, format!("{}{cursor}", field.text));
    let zone = model.project.definition.zone;
    let meant = typing.and_then(|typing| typing.time(&field.text, zone).ok().flatten());
    match meant {
        Some(at) => {
            let local = zone.local(at);
            row.and(Role::Plain, format!("   {} {}", local.day(), local.clock()))
        }
        None => row,
    }
}
