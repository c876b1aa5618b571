//! Commands that ask: `status`, `gates`, `history`, `sheet`, `traveller`,
//! `charge`.

use std::path::{Path, PathBuf};

use serde_json::json;

use super::Context;
use super::args::{ChargeArgs, SheetArgs};
use super::outcome::{Outcome, Trouble};
use crate::project::{Project, Refusal};
use crate::report::{self, json as as_json, text as as_text};
use crate::store;
use crate::units::{CurrentDensity, Instant};

/// More than all of the current cannot deposit; 20 % is left for a meter's error.
const MOST_EFFICIENCY: f64 = 1.2;

fn ask(
    context: &Context<'_>,
    dir: &Path,
    answer: impl FnOnce(&Project, Instant) -> Outcome,
) -> Result<Outcome, Trouble> {
    let folder = context.open(dir)?;
    let now = context.now(folder.project())?;
    Ok(answer(folder.project(), now))
}

fn known(project: &Project, piece: &str) -> Result<(), Trouble> {
    match project.definition.piece(piece) {
        Some(_) => Ok(()),
        None => Err(Refusal::new(
            "unknown-piece",
            format!("there is no piece `{}`", piece.escape_debug()),
        )
        .into()),
    }
}

/// `status DIR`
pub(super) fn status(context: &Context<'_>, dir: &Path) -> Result<Outcome, Trouble> {
    ask(context, dir, |project, now| {
        Outcome::both(
            as_text::status_text(project, now),
            as_json::status(project, now),
        )
    })
}

/// `gates DIR PIECE`
pub(super) fn gates(context: &Context<'_>, dir: &Path, piece: &str) -> Result<Outcome, Trouble> {
    let folder = context.open(dir)?;
    known(folder.project(), piece)?;
    let now = context.now(folder.project())?;
    let shown = dir.to_string_lossy();
    let text = as_text::gates_text(folder.project(), piece, now, &shown);
    Ok(Outcome::both(
        text,
        as_json::gates(folder.project(), piece, now, &shown),
    ))
}

/// `history DIR [PIECE]`
pub(super) fn history(
    context: &Context<'_>,
    dir: &Path,
    piece: Option<&str>,
    csv: bool,
) -> Result<Outcome, Trouble> {
    let folder = context.open(dir)?;
    if let Some(piece) = piece {
        known(folder.project(), piece)?;
    }
    let text = if csv {
        report::csv::history(folder.project(), piece)
    } else {
        as_text::history_text(folder.project(), piece)
    };
    Ok(Outcome::both(
        text,
        as_json::history(folder.project(), piece),
    ))
}

/// `sheet DIR [--html] [--out FILE]`
pub(super) fn sheet(context: &Context<'_>, args: &SheetArgs) -> Result<Outcome, Trouble> {
    let folder = context.open(&args.dir)?;
    let now = context.now(folder.project())?;
    let sheet = report::sheet::Sheet::of(folder.project(), now);
    let html = |path: &PathBuf| {
        path.extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("html"))
    };
    let page = if args.html || args.out.as_ref().is_some_and(html) {
        sheet.html()
    } else {
        sheet.text()
    };
    match &args.out {
        // Every name in it was made safe already; form feeds stay.
        None => Ok(Outcome::generated(page)),
        Some(out) => {
            store::write_out(out, &page)?;
            let told = format!("{} is written: sheet {}", out.display(), sheet.number);
            Ok(Outcome::both(
                told,
                json!({ "written": out.display().to_string(), "sheet": sheet.number }),
            ))
        }
    }
}

/// `traveller DIR PIECE`
pub(super) fn traveller(
    context: &Context<'_>,
    dir: &Path,
    piece: &str,
) -> Result<Outcome, Trouble> {
    let folder = context.open(dir)?;
    known(folder.project(), piece)?;
    let now = context.now(folder.project())?;
    Ok(Outcome::text(
        report::markdown::traveller(folder.project(), piece, now).unwrap_or_default(),
    ))
}

/// `charge …`
pub(super) fn charge(args: &ChargeArgs) -> Result<Outcome, Trouble> {
    use report::charge::{Asked, From};
    let positive = |name: &str, value: f64| {
        if value > 0.0 {
            Ok(())
        } else {
            Err(Trouble::usage(format!(
                "--{name} must be more than nothing"
            )))
        }
    };
    positive("area", args.area.si())?;
    positive("efficiency", args.efficiency.si())?;
    positive("density", args.density.map_or(1.0, CurrentDensity::si))?;
    if args.efficiency.si() > MOST_EFFICIENCY {
        let message = format!(
            "--efficiency: {} cannot be, it is 120% at most",
            args.efficiency
        );
        return Err(Trouble::usage(message));
    }
    let from = match (args.thickness, args.charge, args.amps.zip(args.hours)) {
        (Some(thickness), _, _) => From::Thickness(thickness),
        (_, Some(charge), _) => From::Charge(charge),
        (_, _, Some((amps, hours))) => From::Run(amps, hours),
        _ => {
            return Err(Trouble::usage(
                "give --thickness, --charge, or --amps and --hours",
            ));
        }
    };
    let asked = Asked {
        metal: args.metal,
        area: args.area,
        from,
        efficiency: args.efficiency,
        density: args.density,
    };
    let warning = args
        .metal
        .cyanide
        .then(|| report::cautions::CYANIDE.to_owned());
    Ok(Outcome::both(as_text::charge_text(&asked), as_json::charge(&asked)).warn(warning))
}
