//! The pencil sheet: paper for the evening, written on at the tank and typed
//! in afterwards from top to bottom.

use super::safe::{cell, columns, excerpt, pad, wrapped};
use super::text::{COLUMNS, PRINTED};
use super::{cautions, told};
use crate::project::{Definition, PieceState, Project, Stage, State, When};
use crate::units::Instant;

/// Blank rows of a reading table.
const ROWS: usize = 6;

/// The sheet for the evening of `now`: what hangs where, what is still open,
/// when to look, and blanks for what is read and seen.
pub fn pencil_sheet(project: &Project, now: Instant) -> String {
    let definition = &project.definition;
    let state = project.state_at(now);
    let mut lines: Vec<String> = Vec::new();
    let local = definition.zone.local(now);
    let weekday: String = local.day().chars().take(3).collect();
    let date = format!("{weekday} {} {}", local.date(), local.clock());
    lines.push(format!(
        "{} {date}",
        cell(&definition.name, COLUMNS - columns(&date) - 1)
    ));
    lines.push(format!("Written by {}", "_".repeat(24)));
    due(&mut lines, definition, &state, now);
    for tank in &definition.tanks {
        readings(&mut lines, &tank.name);
    }
    for piece in &definition.pieces {
        if let Some(at) = state.piece(&piece.name).filter(|p| p.stage.is_some()) {
            piece_block(&mut lines, definition, &state, (&piece.name, at), now);
        }
    }
    lines.push(String::new());
    lines.push("Notes".to_owned());
    lines.extend((0..4).map(|_| format!("\n  {}", "_".repeat(COLUMNS - 2))));
    lines.push(String::new());
    let minded = [cautions::DEFERS]
        .into_iter()
        .chain(cautions::GENERAL.iter().copied());
    for caution in minded.chain(cautions::FIRST_AID.iter().copied()) {
        led(&mut lines, "! ", caution);
    }
    let trimmed = lines.iter().map(|l| l.trim_end());
    trimmed.fold(String::new(), |sheet, line| sheet + line + "\n")
}

fn led(lines: &mut Vec<String>, lead: &str, text: &str) {
    let indent = columns(lead);
    for (n, line) in wrapped(&excerpt(text, PRINTED), COLUMNS - indent)
        .iter()
        .enumerate()
    {
        let lead = if n == 0 { lead } else { "" };
        lines.push(format!("{}{line}", pad(lead, indent)));
    }
}

fn due(lines: &mut Vec<String>, definition: &Definition, state: &State, now: Instant) {
    lines.push(String::new());
    lines.push("Due".to_owned());
    let due = state.due(definition, now);
    if due.is_empty() {
        lines.push("  nothing by the clock".to_owned());
    }
    for due in due {
        let clock = told::clock(definition, due.at, now);
        led(lines, &format!("  [ ] {} ", cell(&clock, 16)), &due.say);
    }
}

fn readings(lines: &mut Vec<String>, tank: &str) {
    lines.push(String::new());
    lines.push(format!("Readings of {}", cell(tank, 40)));
    lines.push(
        "  time      volts       amps        \u{b0}C      cc/cv   piece (own lead)".to_owned(),
    );
    let row = "  __:__     ________    ________    ______  _____   ____________________";
    lines.extend((0..ROWS).map(|_| row.to_owned()));
}

/// A piece's place, its open gates in the order they are met, and room for its
/// looks.
fn piece_block(
    lines: &mut Vec<String>,
    definition: &Definition,
    state: &State,
    (name, at): (&str, &PieceState),
    now: Instant,
) {
    lines.push(String::new());
    let place = at.tank.as_ref().map_or_else(String::new, |tank| {
        let how = if at.lifted_at.is_some() {
            ", lifted"
        } else {
            ""
        };
        format!(" in {tank}{how}")
    });
    led(lines, "", &format!("{name}: {}{place}", told::stage(at)));
    for gate in state.gates(definition, name, now) {
        let here = at.stage.as_ref() == Some(&gate.stage);
        let passed = gate.when == When::Start && at.started_at.is_some();
        if here && !gate.held && !passed {
            let lead = format!("  [ ] {} ", cell(&gate.gate, 16));
            led(lines, &lead, &gate.say);
        }
    }
    if at.stage.as_ref().is_some_and(Stage::in_bath) {
        lines.push(
            "  out       in          dipped   findings (what : share @ where), turn".to_owned(),
        );
        let row = "  __:__     __:__       [ ]      ________________________________________";
        lines.extend((0..4).map(|_| row.to_owned()));
    } else {
        lines.push(
            "  done __:__   remarks ___________________________________________________".to_owned(),
        );
    }
    let minded = at
        .stage
        .as_ref()
        .map(cautions::for_stage)
        .unwrap_or_default();
    for caution in minded {
        led(lines, "  ! ", caution);
    }
}
