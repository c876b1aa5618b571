//! From a due line to the steps that deal with it.

use super::menu::possible;
use super::{Deed, Model, Step, Task, Upkeep};
use crate::project::{Due, DueKind, FindingKind, Setting, Stage, What};
use crate::units::Current;

/// The steps that deal with a due line, in order.
pub(super) fn steps(model: &Model, due: &Due) -> Vec<Step> {
    match (&due.piece, &due.tank) {
        (Some(piece), tank) => of_piece(model, due.what, piece, tank.as_deref()),
        (None, Some(tank)) => of_tank(model, due.what, tank),
        (None, None) => Vec::new(),
    }
}

fn of_piece(model: &Model, what: DueKind, piece: &str, tank: Option<&str>) -> Vec<Step> {
    let deed = |deed| Step::Task(Task::Piece(piece.to_owned(), deed));
    match what {
        DueKind::LiftOut => vec![deed(Deed::Lift)],
        DueKind::Return => vec![deed(Deed::Return)],
        DueKind::Look => look(model, piece),
        DueKind::Reading => vec![deed(Deed::OwnReading)],
        DueKind::Target => {
            let reading = tank.map(|t| Step::Task(Task::Tank(t.to_owned(), Upkeep::Reading)));
            reading.into_iter().chain([deed(Deed::Finish)]).collect()
        }
        DueKind::Dry => match model.piece(piece).and_then(|p| p.stage.as_ref()) {
            Some(Stage::Coat) => vec![deed(Deed::Ohms), deed(Deed::Finish)],
            _ => vec![deed(Deed::Weigh), deed(Deed::Finish)],
        },
        DueKind::Hold => match model.piece(piece).and_then(|p| p.stage.as_ref()) {
            Some(Stage::Seal) => vec![deed(Deed::Start)],
            _ => vec![deed(Deed::Finish)],
        },
        DueKind::Cure => vec![deed(Deed::Finish)],
        DueKind::Ladder | DueKind::Dose | DueKind::Filter | DueKind::Bags => {
            tank.map_or_else(Vec::new, |tank| of_tank(model, what, tank))
        }
    }
}

fn of_tank(model: &Model, what: DueKind, tank: &str) -> Vec<Step> {
    if what == DueKind::Ladder {
        let setting = model.next_step_in(tank).and_then(|next| next.setting);
        let set = setting.map(|s| Step::Task(Task::Set(tank.to_owned(), s)));
        return set.into_iter().collect();
    }
    let upkeep = match what {
        DueKind::Reading => Upkeep::Reading,
        DueKind::Dose => Upkeep::Dose,
        DueKind::Filter => Upkeep::Filter,
        DueKind::Bags => Upkeep::Bags,
        _ => return Vec::new(),
    };
    vec![Step::Task(Task::Tank(tank.to_owned(), upkeep))]
}

/// What follows from what was just written down, before the guide goes on: a
/// bare spot that was seen is touched up while the piece is out, and a tank
/// that a piece left empty is switched off.
pub(super) fn then(model: &Model, what: &What) -> Option<Task> {
    match what {
        What::Look { piece, findings } => {
            let bare = findings.iter().any(|f| f.kind == FindingKind::Bare);
            let back = Task::Piece(piece.clone(), Deed::Return);
            let returns = model.guide.front() == Some(&Step::Task(back));
            let may = bare && returns && possible(model, piece, Deed::TouchUp).is_ok();
            may.then(|| Task::Piece(piece.clone(), Deed::TouchUp))
        }
        What::Finish { piece } => {
            let span = model
                .piece(piece)
                .filter(|p| p.tank.is_none())?
                .spans
                .last();
            let left = span.is_some_and(|s| s.stage.in_bath());
            let mut tanks = model.facts.tanks.iter();
            let empty = tanks.find(|t| left && t.on && t.pieces.is_empty())?;
            Some(Task::Tank(empty.name.clone(), Upkeep::Off))
        }
        _ => None,
    }
}

/// The current to set before a piece leaves a shared constant one for good.
pub(super) fn lower_first(model: &Model, task: &Task) -> Option<Task> {
    let Task::Piece(name, Deed::Finish) = task else {
        return None;
    };
    let (definition, state) = (&model.project.definition, model.project.state());
    let route = definition.route_of(definition.piece(name)?);
    let stage = model.piece(name)?.stage.as_ref()?;
    let mut ahead = route.iter().skip_while(|s| *s != stage).skip(1);
    let stays = ahead.next().is_some_and(Stage::in_bath);
    let (tank, amps) = state.current_without(definition, name).filter(|_| !stays)?;
    Some(Task::Set(tank, Setting::Amps(to_milliamps(amps))))
}

/// What a supply can be set to.
fn to_milliamps(amps: Current) -> Current {
    Current::from_si((amps.si() * 1000.0).round() / 1000.0)
}

/// A look: the lower current first where others share a constant one, then
/// lift, findings, return, and the current set back.
fn look(model: &Model, piece: &str) -> Vec<Step> {
    let deed = |deed| Step::Task(Task::Piece(piece.to_owned(), deed));
    let set = |tank: &str, amps: Current| {
        Step::Task(Task::Set(
            tank.to_owned(),
            Setting::Amps(to_milliamps(amps)),
        ))
    };
    let lifted = model.piece(piece).is_some_and(|p| p.lifted_at.is_some());
    let state = model.project.state();
    let lower = state
        .current_without(&model.project.definition, piece)
        .filter(|_| !lifted);
    let mut steps = Vec::new();
    if let Some((tank, amps)) = &lower {
        steps.push(set(tank, *amps));
    }
    if !lifted {
        steps.push(deed(Deed::Lift));
    }
    steps.push(Step::Look(piece.to_owned()));
    steps.push(deed(Deed::Return));
    if let Some((tank, _)) = &lower
        && let Some(before) = state.tank(tank).and_then(|t| t.set_amps)
    {
        steps.push(set(tank, before));
    }
    steps
}
