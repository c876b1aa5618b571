//! `record`, `refresh` and `closeout`: from words to an action.

use std::path::Path;

use clap::Parser;
use serde_json::json;

use super::args::{BathVerb, CloseoutVerb, Common, PieceRecord, PieceVerb, TankRecord, TankVerb};
use super::outcome::{Outcome, Trouble, said_by_clap};
use super::{Context, project};
use crate::project::{Action, BathWork, Decision, Setting, What};
use crate::report;
use crate::store::Folder;

const TANK_WORDS: [&str; 6] = ["reading", "supply", "bath", "logger", "undo", "redo"];

/// `record DIR SUBJECT WHAT…`
pub(super) fn record(
    context: &Context<'_>,
    dir: &Path,
    subject: &str,
    words: Vec<String>,
) -> Result<Outcome, Trouble> {
    let help = |error: clap::Error| said_by_clap(error, "see `tankside record --help`");
    if TANK_WORDS.contains(&subject) {
        let line = [vec!["record".to_owned(), subject.to_owned()], words].concat();
        match TankRecord::try_parse_from(line) {
            Ok(record) => of_tank(context, dir, record.verb),
            Err(error) => help(error),
        }
    } else {
        let line = [vec!["record".to_owned()], words].concat();
        match PieceRecord::try_parse_from(line) {
            Ok(record) => {
                let (what, common) = of_piece(record.verb, subject);
                write_down(context, dir, common, |_| Ok(what))
            }
            Err(error) => help(error),
        }
    }
}

/// `refresh DIR PIECE…`
pub(super) fn refresh(
    context: &Context<'_>,
    dir: &Path,
    pieces: Vec<String>,
    common: Common,
) -> Result<Outcome, Trouble> {
    write_down(context, dir, common, |_| Ok(What::Wipe { pieces }))
}

/// `shares DIR [PIECE=SHARE]…`
pub(super) fn shares(
    context: &Context<'_>,
    dir: &Path,
    what: What,
    common: Common,
) -> Result<Outcome, Trouble> {
    write_down(context, dir, common, |_| Ok(what))
}

/// `closeout DIR [tick ID… | sign | print]`
pub(super) fn closeout(
    context: &Context<'_>,
    dir: &Path,
    act: Option<CloseoutVerb>,
) -> Result<Outcome, Trouble> {
    match act {
        Some(CloseoutVerb::Tick { ids, common }) => write_down(context, dir, common, |_| {
            Ok(What::CloseoutTick { items: ids })
        }),
        Some(CloseoutVerb::Sign { common }) => write_down(context, dir, common, |_| {
            Ok(What::CloseoutSign { sheet: Vec::new() })
        }),
        Some(CloseoutVerb::Print) => {
            let folder = context.open(dir)?;
            let now = context.now(folder.project())?;
            Ok(Outcome::text(report::markdown::closeout_sheet(
                folder.project(),
                now,
            )))
        }
        None => {
            let folder = context.open(dir)?;
            let now = context.now(folder.project())?;
            let text = report::text::closeout_text(folder.project(), now);
            Ok(Outcome::both(
                text,
                report::json::closeout(folder.project(), now),
            ))
        }
    }
}

/// Records what is told, once everything that is said of it reads.
fn write_down(
    context: &Context<'_>,
    dir: &Path,
    common: Common,
    what: impl FnOnce(&mut Folder) -> Result<What, Trouble>,
) -> Result<Outcome, Trouble> {
    let mut folder = context.open(dir)?;
    let zone = folder.project().definition.zone;
    let now = context.now(folder.project())?;
    let at = common
        .at
        .map(|text| Context::instant("--at", &text, zone, now))
        .transpose()?;
    let action = Action {
        what: what(&mut folder)?,
        at,
        who: common.who.unwrap_or_else(project::who),
        override_reason: common.override_reason,
    };
    let replaced = context.replaced_now(zone)?;
    let decision = folder.record(&action, context.clock.now(), replaced);
    context.heed(&folder);
    Ok(recorded(&folder, &decision?))
}

fn recorded(folder: &Folder, decision: &Decision) -> Outcome {
    let event = &decision.event;
    let zone = folder.project().definition.zone;
    let clock = zone.local(event.at).beside(zone.local(event.recorded));
    let what = report::safe::plain_text(&event.what.to_string()).into_owned();
    let text = format!("#{} {clock} {what}", event.sequence);
    // What an undo or a redo is about is its message, not a warning.
    let of_history = matches!(event.what, What::Undo { .. } | What::Redo { .. });
    let (about, warnings) = if of_history {
        (decision.warnings.join("; "), Vec::new())
    } else {
        (String::new(), decision.warnings.clone())
    };
    let text = if about.is_empty() {
        text
    } else {
        format!("{text} ({})", report::safe::plain_text(&about))
    };
    let json = json!({
        "recorded": {
            "sequence": event.sequence,
            "at": event.at.to_string(),
            "recorded": event.recorded.to_string(),
            "who": event.who,
            "what": event.what.to_string(),
            "overridden": event.overridden,
        }
    });
    Outcome::both(text, json).warn(warnings)
}

fn of_piece(verb: PieceVerb, piece: &str) -> (What, Common) {
    let piece = piece.to_owned();
    match verb {
        PieceVerb::Start {
            stage,
            tank,
            common,
        } => (What::Start { piece, stage, tank }, common),
        PieceVerb::Pause { common } => (What::Pause { piece }, common),
        PieceVerb::Resume { common } => (What::Resume { piece }, common),
        PieceVerb::Finish { common } => (What::Finish { piece }, common),
        PieceVerb::Rework {
            stage,
            because,
            common,
        } => (
            What::Rework {
                piece,
                stage,
                because,
            },
            common,
        ),
        PieceVerb::Skip {
            stage,
            because,
            common,
        } => (
            What::Skip {
                piece,
                stage,
                because,
            },
            common,
        ),
        PieceVerb::Lift { common } => (What::Lift { piece }, common),
        PieceVerb::Return { dipped, common } => (What::Return { piece, dipped }, common),
        PieceVerb::TouchUp { place, common } => (What::TouchUp { piece, place }, common),
        PieceVerb::Look { findings, common } => (What::Look { piece, findings }, common),
        PieceVerb::Tick { names, common } => (What::Tick { piece, names }, common),
        PieceVerb::Ohms {
            resistance,
            place,
            common,
        } => (
            What::Ohms {
                piece,
                resistance,
                place,
            },
            common,
        ),
        PieceVerb::Weigh {
            mass,
            condition,
            common,
        } => (
            What::Weigh {
                piece,
                mass,
                condition,
            },
            common,
        ),
        PieceVerb::Coat { common } => (What::Coat { piece }, common),
        PieceVerb::Turn { text, common } => (What::Turn { piece, text }, common),
        PieceVerb::Contact {
            change,
            text,
            common,
        } => (
            What::Contact {
                piece,
                change,
                text,
            },
            common,
        ),
        PieceVerb::Wipe { common } => (
            What::Wipe {
                pieces: vec![piece],
            },
            common,
        ),
        PieceVerb::Climate {
            celsius,
            humidity,
            common,
        } => (
            What::Climate {
                piece,
                celsius,
                humidity,
            },
            common,
        ),
        PieceVerb::Note { text, common } => (What::Note { piece, text }, common),
    }
}

fn of_tank(context: &Context<'_>, dir: &Path, verb: TankVerb) -> Result<Outcome, Trouble> {
    let (what, common) = match verb {
        TankVerb::Reading {
            tank,
            volts,
            amps,
            celsius,
            mode,
            piece,
            common,
        } => (
            What::Reading {
                tank,
                volts,
                amps,
                celsius,
                mode,
                piece,
            },
            common,
        ),
        TankVerb::Supply {
            tank,
            amps,
            volts,
            off: _,
            common,
        } => {
            let to = amps
                .map(Setting::Amps)
                .or(volts.map(Setting::Volts))
                .unwrap_or(Setting::Off);
            (What::Supply { tank, to }, common)
        }
        TankVerb::Bath { tank, work } => {
            let (work, common) = of_bath(work);
            (What::Bath { tank, work }, common)
        }
        TankVerb::Logger { tank, file, common } => {
            return write_down(context, dir, common, |folder| taken_in(folder, tank, &file));
        }
        TankVerb::Undo { common } => (What::Undo { sequence: 0 }, common),
        TankVerb::Redo { common } => (What::Redo { sequence: 0 }, common),
    };
    write_down(context, dir, common, |_| Ok(what))
}

/// A logger's file in the project's folder, if the tank is one.
fn taken_in(folder: &mut Folder, tank: String, file: &Path) -> Result<What, Trouble> {
    let logger = |file, sha256| What::Logger {
        tank: tank.clone(),
        file,
        sha256,
    };
    let project = folder.project();
    let named = logger(String::new(), String::new());
    project.state().check(&project.definition, &named)?;
    let taken = folder.take_logger(file)?;
    Ok(logger(taken.file, taken.sha256))
}

fn of_bath(work: BathVerb) -> (BathWork, Common) {
    match work {
        BathVerb::Dose { volume, common } => (BathWork::Dose(volume), common),
        BathVerb::Filter { common } => (BathWork::Filter, common),
        BathVerb::Bags { common } => (BathWork::Bags, common),
        BathVerb::Topup { volume, common } => (BathWork::TopUp(volume), common),
        BathVerb::Anodes { mass, common } => (BathWork::Anodes(mass), common),
        BathVerb::Moved { text, common } => (BathWork::Moved(text), common),
    }
}
