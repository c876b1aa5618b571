//! Adding a piece with its print.

use super::Role;
use super::layers::{Drawn, field_row, marked};
use super::pen::{Row, bar, wrapped};
use crate::tui::app::{AddStep, Adding, Model};
use crate::units::clock_span;

/// The rows of a piece that is added.
pub(super) fn rows(model: &Model, adding: &Adding, width: usize) -> Drawn {
    let is_typed = adding.step == AddStep::Fields;
    let fields = adding.fields.iter().enumerate();
    let mut rows: Vec<Row> = fields
        .map(|(n, field)| field_row(model, field, is_typed && n == adding.at, width))
        .collect();
    let mut at = adding.at;
    let wrong = adding.wrong.iter().flat_map(|wrong| wrapped(wrong, width));
    rows.extend(wrong.map(|line| Row::of(Role::Alarm, line)));
    match &adding.step {
        AddStep::Fields if adding.at == 0 => {
            rows.extend(marked(
                ["STL, OBJ, PLY or 3MF; Left and Right walk through those near at hand"],
                "= ",
                Role::Soon,
                width,
            ));
        }
        AddStep::Fields => {
            let told = if adding.at == 1 {
                "what the piece is called in project.ron, on the screen and in commands"
            } else {
                "layer lines add to the area that takes metal: with `not said` nothing is added"
            };
            rows.extend(marked([told], "= ", Role::Soon, width));
        }
        AddStep::Reading => rows.push(Row::of(Role::Soon, "reading the file; Esc gives up")),
        AddStep::Unit { choices, row } => {
            rows.push(Row::of(
                Role::Strong,
                "the file says no unit: how large is it?",
            ));
            at = rows.len() + row;
            rows.extend(choices.iter().enumerate().map(|(n, (unit, size))| {
                Row::of(Role::Key, format!("{} ", n + 1))
                    .column(Role::Strong, unit.symbol(), 4)
                    .and(Role::Plain, size)
                    .chosen(n == *row)
            }));
        }
        AddStep::Surveying { step, done } => {
            rows.extend(progress(model, adding, step, *done, width));
        }
        AddStep::Found(found) | AddStep::Writing(found) => {
            let words = adding.found_words(model, found);
            rows.extend(marked(words, "= ", Role::Soon, width));
            rows.extend(marked(&found.cautions, "! ", Role::Alarm, width));
            let is_found = matches!(adding.step, AddStep::Found(_));
            rows.push(if is_found {
                Row::of(Role::Key, "Enter").and(Role::Plain, ": add it; - or Esc: back")
            } else {
                Row::of(Role::Soon, "writing it down")
            });
        }
    }
    let scroll = adding.scroll.min(rows.len().saturating_sub(1));
    let rows = rows.split_off(scroll);
    let at = at.saturating_sub(scroll);
    ("add a piece with its print".to_owned(), rows, (at, at))
}

/// How far the survey is, how long still, and how to give it up.
fn progress(model: &Model, adding: &Adding, step: &str, done: f64, width: usize) -> Vec<Row> {
    let took = model.now.elapsed_since(adding.since);
    let left = if done > 0.05 && took > 1.0 {
        format!(", {} left", clock_span(took / done - took))
    } else {
        String::new()
    };
    let cells = (width / 3).clamp(6, 40);
    vec![
        Row::of(Role::Strong, format!("surveying: {step}")),
        Row::of(Role::Metal, bar(cells, done, done))
            .and(Role::Plain, format!(" {:.0} %{left}", done * 100.0)),
        Row::plain("Esc gives up"),
    ]
}
