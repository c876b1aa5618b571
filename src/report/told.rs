//! Phrases that several printed forms share.

use crate::project::{Definition, PieceFigures, PieceState, ShareBy, StageState};
use crate::units::{AH, Instant, clock_span, number};

/// What the signs before figures mean.
pub(super) const LEGEND: &str =
    "no sign measured, ~ estimated, > predicted, ? assumed; \u{b1} is k = 2";

/// A clock time beside `now`, in the project's zone.
pub(super) fn clock(definition: &Definition, at: Instant, now: Instant) -> String {
    definition.zone.local(at).beside(definition.zone.local(now))
}

/// Date and clock time, in the project's zone.
pub(super) fn date_clock(definition: &Definition, at: Instant) -> String {
    let local = definition.zone.local(at);
    format!("{} {}", local.date(), local.clock())
}

/// `over 12 min` or `in 8 min`.
pub(super) fn overdue(seconds: f64) -> String {
    if seconds >= 0.0 {
        format!("over {}", clock_span(seconds))
    } else {
        format!("in {}", clock_span(seconds))
    }
}

/// `strike running`, `done`.
pub(super) fn stage(at: &PieceState) -> String {
    match (&at.stage, at.stage_state) {
        (Some(stage), state) => format!("{} {}", stage.title(), state.word()),
        (None, _) => StageState::Done.word().to_owned(),
    }
}

/// `1 mark`, `2 marks`.
pub(super) fn counted(number: usize, thing: &str) -> String {
    let many = if number == 1 { "" } else { "s" };
    format!("{number} {thing}{many}")
}

/// Charge so far: `~12.3 of 20.7 Ah`, `unknown share of 20.7 Ah`.
pub(super) fn charge(figures: &PieceFigures) -> String {
    let target = figures
        .charge_target
        .as_ref()
        .map_or_else(|| "? Ah (no area)".to_owned(), |t| t.value.shown(AH, 3));
    match &figures.charge {
        Some(charge) => {
            let so_far = number(charge.value.to(AH), 3);
            format!("{}{so_far} of {target}", charge.kind.sign())
        }
        None => format!("share unknown, of {target}"),
    }
}

/// What tells the share of the charge, where it is not the areas.
pub(super) fn share(figures: &PieceFigures) -> Option<&'static str> {
    let by_field = figures.share_by == Some(ShareBy::Field);
    let was = figures.charge_by_field.si() > 0.0;
    match (by_field, was) {
        (true, _) => Some("share by the field"),
        (false, true) => Some("share in part by the field"),
        (false, false) => None,
    }
}

/// Mean thickness with its ±.
pub(super) fn thickness(definition: &Definition, figures: &PieceFigures) -> Option<String> {
    let thickness = figures.thickness.as_ref()?;
    Some(thickness.shown(definition.units.thickness()))
}

/// The local range around a mean above zero: `?11.9-71.4 um`, or `>` where it is
/// predicted.
pub(super) fn local_range(definition: &Definition, figures: &PieceFigures) -> Option<String> {
    let (least, most, kind) = figures.local().filter(|(_, most, _)| most.si() > 0.0)?;
    let unit = definition.units.thickness();
    let [least, most] = [least, most].map(|l| number(l.to(unit), 3));
    Some(format!("{}{least}-{most} {}", kind.sign(), unit.symbol))
}

/// The ageing hold: `aged 12 h 30 of 72 h 00, over Wed 20:15`.
pub(super) fn hold(
    definition: &Definition,
    figures: &PieceFigures,
    now: Instant,
) -> Option<String> {
    let hold = figures.hold?;
    let (aged, target) = (clock_span(hold.elapsed.si()), clock_span(hold.target.si()));
    Some(if hold.ended {
        format!("aged {aged} of {target}, ended")
    } else {
        let ends = clock(definition, hold.ends_at, now);
        format!("aged {aged} of {target}, over {ends}")
    })
}

/// Where the blame for an impossible efficiency is sought, in this order.
pub(super) const BLAME: &str = "Outside 95-101 %: blame first water left in the print, then metal on the wire, the meter, the area. The figure is not adopted.";
