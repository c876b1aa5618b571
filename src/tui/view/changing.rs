//! Trying a change of what hangs where, from the Spread screen.

use super::Role;
use super::layers::{Drawn, digit, field_row, marked};
use super::pen::{Row, wrapped};
use crate::tui::app::{ChangeKind, ChangeStep, Changing, Model};

/// The rows of the list or of a change's figures.
pub(super) fn rows(model: &Model, changing: &Changing, width: usize) -> Drawn {
    let mut rows = marked(&changing.wrong, "! ", Role::Alarm, width);
    let before = rows.len();
    let (title, at) = match &changing.step {
        ChangeStep::List(row) => {
            let (of_list, at) = list(model, changing, *row, width);
            rows.extend(of_list);
            (format!("{} in {}: try", changing.piece, changing.tank), at)
        }
        ChangeStep::Fields { kind, fields, at } => {
            let fields = fields.iter().enumerate();
            rows.extend(fields.map(|(n, field)| field_row(model, field, n == *at, width)));
            let then = match kind {
                ChangeKind::File => "",
                _ => "project.ron is written and it is computed again; it can be taken back",
            };
            let told = [kind.explained(), then].into_iter();
            let told = told.filter(|said| !said.is_empty());
            rows.extend(marked(told, "= ", Role::Soon, width));
            (format!("{}: {}", changing.piece, kind.say()), (*at, *at))
        }
    };
    (title, rows, (before + at.0, before + at.1))
}

/// What can be done, then what can be taken back or off; which rows the selected
/// nine begin and end with.
fn list(
    model: &Model,
    changing: &Changing,
    row: usize,
    width: usize,
) -> (Vec<Row>, (usize, usize)) {
    let probe = match changing.probe {
        Some((at, _)) => {
            let [x, y, z] = at.map(|mm| format!("{mm:.0}"));
            format!("the probe is at x {x}  y {y}  z {z} mm")
        }
        None => "no probe is set yet".to_owned(),
    };
    let mut rows = vec![Row::of(Role::Title, probe)];
    let (mut at, mut until) = (0, 0);
    let kinds = ChangeKind::ALL.map(|kind| kind.say().to_owned());
    let edits = changing.edits(model).into_iter().map(|(say, _)| say);
    for (n, say) in kinds.into_iter().chain(edits).enumerate() {
        if n == row {
            at = rows.len();
        }
        let lines = wrapped(&say, width.saturating_sub(2)).into_iter();
        rows.extend(lines.enumerate().map(|(line, text)| {
            let lead = if line == 0 {
                digit(n, row)
            } else {
                " ".to_owned()
            };
            Row::of(Role::Key, format!("{lead} "))
                .and(Role::Plain, text)
                .chosen(n == row)
        }));
        if n / 9 == row / 9 {
            until = rows.len() - 1;
        }
    }
    (rows, (at, until))
}
