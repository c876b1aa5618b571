//! The masks of a piece, over its print.

use super::Role;
use super::layers::{Drawn, digit, field_row, marked};
use super::pen::{Row, wrapped};
use crate::mesh;
use crate::project::Mask;
use crate::tui::app::{MaskKind, MaskStep, Masking, Model};

/// The rows of the masks.
pub(super) fn rows(model: &Model, masking: &Masking, width: usize) -> Drawn {
    let wrong = masking.wrong.iter();
    let mut rows = marked(wrong, "! ", Role::Alarm, width);
    let before = rows.len();
    let (title, at) = match &masking.step {
        MaskStep::List(row) => {
            let (of_list, at) = list(model, masking, *row, width);
            rows.extend(of_list);
            (format!("masks of {}", masking.piece), at)
        }
        MaskStep::Groups(row) => {
            let groups = masking.groups.iter().enumerate();
            rows.extend(groups.map(|(n, group)| {
                Row::of(Role::Key, format!("{} ", digit(n, *row)))
                    .and(Role::Plain, group)
                    .chosen(n == *row)
            }));
            ("mask which group of the file?".to_owned(), (*row, *row))
        }
        MaskStep::Sure(_, mask) => {
            let told = said_of(model, mask);
            rows.extend(wrapped(&told, width).into_iter().map(Row::plain));
            rows.push(Row::of(Role::Key, "Enter").and(Role::Plain, ": yes; any other key: no"));
            (format!("take off the mask {}?", mask.name), (0, 0))
        }
        MaskStep::Fields { kind, fields, at } => {
            let fields = fields.iter().enumerate();
            rows.extend(fields.map(|(n, field)| field_row(model, field, n == *at, width)));
            let told = [
                kind.explained(),
                "the print is surveyed with it, then project.ron says what it takes; it can be taken off again",
            ];
            rows.extend(marked(told, "= ", Role::Soon, width));
            (format!("mask: {}", kind.say()), (*at, *at))
        }
    };
    (title, rows, (before + at.0, before + at.1))
}

/// What can be added, then the masks there are; which rows the selected nine
/// begin and end with.
fn list(model: &Model, masking: &Masking, row: usize, width: usize) -> (Vec<Row>, (usize, usize)) {
    let here = match &masking.marked {
        Some((marker, _)) => {
            let [x, y, z] = marker.at_mm.map(|mm| format!("{mm:.1}"));
            format!("mask here, at x {x}  y {y}  z {z} mm")
        }
        None => "mask here: nothing is marked yet".to_owned(),
    };
    let mut rows = vec![Row::of(Role::Title, here)];
    let (mut at, mut until) = (0, 0);
    let kinds = MaskKind::ALL.into_iter().map(|kind| kind.say().to_owned());
    let masks = masking.masks(model).iter();
    let masks = masks.map(|mask| format!("take off {}", said_of(model, mask)));
    for (n, say) in kinds.chain(masks).enumerate() {
        if n == MaskKind::ALL.len() {
            rows.push(Row::of(Role::Title, "its masks"));
        }
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
    if masking.masks(model).is_empty() {
        rows.push(Row::plain("it has no masks yet"));
    }
    (rows, (at, until))
}

/// `socket: ball of 4 mm around 1, 2, 3, takes 0.05 dm2`.
fn said_of(model: &Model, mask: &Mask) -> String {
    let shape = mask.shape.parse::<mesh::Mask>();
    let shape = match shape {
        Ok(shape) => shape.words(),
        Err(_) if mask.shape.is_empty() => "told by its name alone".to_owned(),
        Err(_) => mask.shape.clone(),
    };
    let unit = model.project.definition.units.area();
    let takes = mask.takes.map_or_else(
        || "its area is not said".to_owned(),
        |area| match area.si() {
            0.0 => "takes nothing".to_owned(),
            _ => format!("takes {}", area.shown(unit, 3)),
        },
    );
    format!("{}: {shape}, {takes}", mask.name)
}
