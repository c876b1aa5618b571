//! `new`, `add`, `set`, `check`, `open`.

use std::path::Path;

use serde_json::{Value, json};

use super::Context;
use super::args::{AddArgs, NewArgs};
use super::measure::{Progress, ReadPrint, read_bytes, stopped};
use super::outcome::{Fault, Outcome, Trouble, line_safe};
use super::template::{Seed, project_ron};
use crate::clock::Ahead;
use crate::mesh::{self, LengthUnit, Mesh, Printed, SizeDoubt};
use crate::plating::Metal;
use crate::project::{
    Command, Definition, Mask, MeshRef, Piece, Refusal, Target, quoted, survey_for_piece,
};
use crate::report::print::Print;
use crate::settings::{Settings, login};
use crate::store::ron_text::quote;
use crate::store::{Folder, Problem, Rescue, StoreError, piece_entry, sha256_hex};
use crate::tui::shell::{self, ShellError};
use crate::units::{DM2, MM, rounded};

/// Who writes things down: the user's own setting, else the login name.
pub(super) fn who() -> String {
    Settings::load()
        .ok()
        .and_then(|s| s.who)
        .or_else(login)
        .filter(|who| !who.trim().is_empty())
        .unwrap_or_else(|| "unknown".to_owned())
}

/// `new DIR …`
pub(super) fn new(context: &Context<'_>, args: &NewArgs) -> Result<Outcome, Trouble> {
    let metal = Metal::named(&args.metal).map_err(|e| Trouble::usage(e.to_string()))?;
    if metal.cyanide {
        return Err(Refusal::new(
            "cyanide",
            format!(
                "no project is kept for a cyanide bath ({metal}): acid on cyanide frees a deadly gas; licensed shops only. \
                 `tankside charge` does the arithmetic"
            ),
        )
        .into());
    }
    let target = match (args.mean, args.minimum) {
        (Some(mean), _) => Target::Mean(mean),
        (None, Some(least)) => Target::Minimum(least),
        (None, None) => return Err(Trouble::usage("give --mean or --minimum")),
    };
    let seed = Seed {
        name: &args.name,
        metal: &metal,
        target,
        efficiency: args.efficiency,
        zone: args.zone.unwrap_or_else(crate::clock::local_zone),
        hold: args.hold,
    };
    let text = project_ron(&seed);
    Definition::parse(&text)?;
    let now = context
        .replaced_now(seed.zone)?
        .unwrap_or_else(|| context.clock.now());
    Folder::create(&args.dir, &text, now)?;
    let dir = args.dir.to_string_lossy();
    let shown = line_safe(&quoted(&dir));
    let text = format!(
        "{shown} is a project now. Next:\n  tankside add {shown} PIECE --mesh FILE   (or --area 6.84dm2)\n  \
         tankside open {shown}\nIts tank, supply and bath are told in {shown}/project.ron."
    );
    Ok(Outcome::both(text, json!({ "project": dir })))
}

/// `add DIR PIECE …`
pub(super) fn add(context: &Context<'_>, args: &AddArgs) -> Result<Outcome, Trouble> {
    let mut folder = context.open(&args.dir)?;
    if folder.project().definition.piece(&args.piece).is_some() {
        return Err(Trouble::fault(
            "exists",
            format!("there is a piece `{}` already", args.piece),
            "give it another name, or change it with `tankside set`",
        ));
    }
    let piece = named(args);
    // Before anything is read or copied for it.
    let trial = Piece {
        area: piece.area.or(Some(DM2.of(1.0))),
        ..piece.clone()
    };
    folder
        .check_piece(&piece_entry(&trial))
        .map_err(of_new_piece)?;
    let mut warnings = Vec::new();
    let piece = match &args.mesh {
        Some(file) => with_print(context, &mut folder, args, file, piece, &mut warnings)?,
        None => piece,
    };
    folder
        .add_piece(&piece_entry(&piece))
        .map_err(of_new_piece)?;
    let (text, json) = added(&folder.project().definition, &piece);
    Ok(Outcome::both(text, json).warn(warnings))
}

/// The piece as far as the arguments alone tell it.
fn named(args: &AddArgs) -> Piece {
    let (roughness, roughness_because) = match (args.roughness, args.printed) {
        (None, None) => (1.0, None),
        (Some(given), None) => (given, None),
        (None, Some(printed)) => (rounded(printed.factor(), 3), Some(printed.because())),
        (Some(given), Some(printed)) => {
            let usual = rounded(printed.factor(), 3);
            (
                given,
                Some(format!("given, in place of {usual} for {printed}")),
            )
        }
    };
    Piece {
        area: args.area,
        area_method: args.area.map(|_| "given".to_owned()),
        roughness,
        roughness_because,
        wires: args.wire.clone(),
        thieves: args.thief.clone(),
        ..Piece::named(&args.piece)
    }
}

/// A rule that a new piece breaks has no place in a text that a person knows.
fn of_new_piece(error: StoreError) -> Trouble {
    if error.kind() == "definition" {
        Trouble::fault("definition", error.message, error.remedy)
    } else {
        error.into()
    }
}

/// The piece with its print: the file, its area with ± and method, its size,
/// what its masks take.
fn with_print(
    context: &Context<'_>,
    folder: &mut Folder,
    args: &AddArgs,
    file: &Path,
    piece: Piece,
    warnings: &mut Vec<String>,
) -> Result<Piece, Trouble> {
    let bytes = read_bytes(file)?;
    let read = ReadPrint::of(file, &bytes, args.unit)?;
    if let Err(doubt) = read.plausible() {
        if read.unit_source == "assumed" {
            return Err(in_other_units(args, file, &read.print, doubt).into());
        }
        warnings.push(format!("{doubt}; taken as told"));
    }
    warnings.extend(read.warnings());
    let order = read.order(folder.project().definition.bubble.to(MM), args.mask.clone())?;
    let progress = Progress::on(context.clock);
    let (taken, surveyed) = survey_for_piece(&read.print, &order, &progress).map_err(stopped)?;
    drop(progress);
    let print = Print {
        file: &args.piece,
        unit_source: read.unit_source,
        order: &order,
        survey: &taken.survey,
        shape: &taken.shape,
        seconds: None,
    };
    let is_other = |said: &String| !said.starts_with("no print is of this size");
    warnings.extend(print.cautions().into_iter().filter(is_other));
    let mesh = MeshRef {
        file: folder.copy_mesh(file, &args.piece)?,
        unit: Some(read.unit.to_string()),
        sha256: Some(sha256_hex(&bytes)),
    };
    let masks = (1..).zip(args.mask.iter().zip(&surveyed.takes));
    let masks = masks.map(|(n, (mask, takes))| Mask {
        name: format!("mask{n}"),
        shape: mask.to_string(),
        takes: Some(*takes),
    });
    let piece = Piece {
        mesh: Some(mesh),
        masks: masks.collect(),
        ..piece
    };
    Ok(surveyed.put_on(piece))
}

/// The refusal of a size that is no print's: the same command with each unit
/// that makes it one, or else with the unit that was assumed.
fn in_other_units(args: &AddArgs, file: &Path, print: &Mesh, doubt: SizeDoubt) -> Refusal {
    let fits =
        |unit: &LengthUnit| mesh::plausible_print(mesh::measure(print, *unit).size_mm).is_ok();
    let mut units: Vec<LengthUnit> = LengthUnit::COMMON.into_iter().filter(fits).collect();
    if units.is_empty() {
        units.push(LengthUnit::Mm);
    }
    let mut rest = vec![
        quoted(&args.piece),
        format!("--mesh {}", quoted(&file.to_string_lossy())),
    ];
    for (flag, wires) in [("--wire", &args.wire), ("--thief", &args.thief)] {
        rest.extend(
            wires
                .iter()
                .map(|w| format!("{flag} {}:{}", w.diameter, w.length)),
        );
    }
    rest.extend(
        args.mask
            .iter()
            .map(|mask| format!("--mask {}", quoted(&mask.to_string()))),
    );
    rest.extend(args.printed.map(|printed| format!("--printed {printed}")));
    rest.extend(args.roughness.map(|factor| format!("--roughness {factor}")));
    let rest = rest.join(" ");
    units
        .iter()
        .map(|unit| Command::new("add", format!("{rest} --unit {unit}")))
        .fold(Refusal::new("unit", doubt.to_string()), Refusal::or)
}

fn added(definition: &Definition, piece: &Piece) -> (String, Value) {
    let dm2 = |area: Option<crate::units::Area>| area.map(|a| a.to(DM2));
    let target = definition.charge_target(piece);
    let shown =
        |area: Option<crate::units::Area>| area.map_or_else(|| "?".to_owned(), |a| a.shown(DM2, 4));
    let pm = piece.area_pm.map_or_else(String::new, |pm| {
        format!(" +- {}", crate::units::number(pm.to(DM2), 2))
    });
    let text = format!(
        "{}: {}{pm}, with wires {}, target {}",
        piece.name,
        shown(piece.wetted_area()),
        shown(piece.conductor_area()),
        target.map_or_else(|| "?".to_owned(), |q| q.shown(crate::units::AH, 4)),
    );
    let masks = piece.masks.iter().map(
        |mask| json!({ "name": mask.name, "shape": mask.shape, "takes_dm2": dm2(mask.takes) }),
    );
    let json = json!({
        "piece": piece.name,
        "wetted_area_dm2": dm2(piece.wetted_area()),
        "plating_area_dm2": dm2(piece.plating_area()),
        "conductor_area_dm2": dm2(piece.conductor_area()),
        "area_pm_dm2": dm2(piece.area_pm),
        "area_method": piece.area_method,
        "size_mm": piece.size.map(|size| size.map(|side| side.to(MM))),
        "roughness": piece.roughness,
        "roughness_because": piece.roughness_because,
        "masks": masks.collect::<Vec<_>>(),
        "unit": piece.mesh.as_ref().and_then(|m| m.unit.clone()),
        "charge_target_ah": target.map(|q| q.to(crate::units::AH)),
    });
    (text, json)
}

/// `set DIR PATH VALUE`
pub(super) fn set(
    context: &Context<'_>,
    dir: &Path,
    path: &str,
    value: &str,
) -> Result<Outcome, Trouble> {
    let mut folder = context.open(dir)?;
    if let Some(done) = set_roughness(&mut folder, path, value)? {
        return Ok(done);
    }
    if let Err(error) = folder.set(path, value) {
        let now = folder.value(path);
        return Err(contradicted(with_example(error, path, now)));
    }
    Ok(Outcome::both(
        format!("{} is {}", line_safe(path), line_safe(value)),
        json!({ "path": path, "value": value }),
    )
    .warn(wants_survey(path)))
}

/// A roughness is set with its reason: that of a way of printing, or that it
/// was given where another stands.
fn set_roughness(folder: &mut Folder, path: &str, value: &str) -> Result<Option<Outcome>, Trouble> {
    let Some(piece) = path
        .strip_prefix("pieces.")
        .and_then(|rest| rest.strip_suffix(".roughness"))
    else {
        return Ok(None);
    };
    let because_at = format!("pieces.{piece}.roughness_because");
    let (factor, because) = match value.parse::<Printed>() {
        Ok(printed) => (rounded(printed.factor(), 3), printed.because()),
        Err(_) if value.parse::<f64>().is_err() || folder.value(&because_at).is_none() => {
            return Ok(None);
        }
        Err(_) => (value.parse().unwrap_or(1.0), "given".to_owned()),
    };
    let values = [
        (path.to_owned(), format!("{factor:?}")),
        (because_at, quote(&because)),
    ];
    folder.set_all(&values).map_err(contradicted)?;
    Ok(Some(Outcome::both(
        format!("{} is {factor}: {because}", line_safe(path)),
        json!({ "path": path, "value": factor.to_string(), "because": because }),
    )))
}

/// What is reckoned from a print does not change with its file or its masks by
/// itself.
fn wants_survey(path: &str) -> Option<String> {
    let of_print = [".masks", ".mesh"].iter().any(|field| path.contains(field));
    of_print.then(|| "`tankside survey` reckons area and masks anew from the print".to_owned())
}

/// What stands there now is an example of what would do. The file is as it was:
/// nothing is to be mended in it.
fn with_example(mut error: StoreError, path: &str, now: Option<String>) -> StoreError {
    const LONGEST: usize = 100;
    if error.remedy.starts_with("mend the line") {
        error.remedy.clear();
    }
    let short = now.filter(|n| n.chars().count() <= LONGEST && !n.contains('\n'));
    if let Some(now) = short {
        let and = if error.remedy.is_empty() { "" } else { "; " };
        error.remedy = format!("{}{and}{path} reads now {now}", error.remedy);
    }
    error
}

/// What history contradicts is refused by a rule; the rest is bad input.
pub(super) fn contradicted(error: StoreError) -> Trouble {
    if error.kind() != "contradiction" {
        return error.into();
    }
    let because = format!("{}; {}", error.message, error.remedy);
    Refusal::new("contradiction", because)
        .or(Command::new("history", ""))
        .into()
}

/// `check DIR`
pub(super) fn check(dir: &Path) -> Result<Outcome, Trouble> {
    let report = crate::store::check(dir);
    if let [only] = report.problems.as_slice()
        && ["not_found", "not_a_project"].contains(&only.kind)
    {
        return Err(Trouble::Error(Box::new(Fault {
            kind: only.kind.to_owned(),
            message: only.what.clone(),
            remedy: only.remedy.clone(),
            file: Some(only.file.clone()),
            ..Fault::default()
        })));
    }
    let (mut text, problems) = told_problems(&report.problems);
    if problems.is_empty() {
        text = format!("no damage: {} events\n", report.events);
    }
    let (noted, notes) = told_problems(&report.notes);
    if !notes.is_empty() {
        text = format!("{text}\nworth knowing, no damage:\n{noted}");
    }
    let offer = report.rescue.map(|rescue| {
        let to = format!("{}-saved", dir.to_string_lossy().trim_end_matches('/'));
        let command = format!(
            "tankside check {} --save-to {}",
            quoted(&dir.to_string_lossy()),
            quoted(&to)
        );
        text = format!(
            "{text}\nwhat can be saved: {}\n  {}\n",
            told_rescue(rescue),
            line_safe(&command)
        );
        json!({ "command": command, "events": rescue_json(rescue) })
    });
    let status = if problems.is_empty() { 0 } else { 2 };
    let json = json!({
        "events": report.events, "problems": problems, "notes": notes, "offer": offer,
    });
    Ok(Outcome {
        status,
        ..Outcome::both(text, json)
    })
}

/// Problems for people and for scripts.
fn told_problems(problems: &[Problem]) -> (String, Vec<Value>) {
    let mut text = String::new();
    let mut list = Vec::new();
    for problem in problems {
        let file = problem.file.to_string_lossy();
        let numbers = [problem.line, problem.column].into_iter().flatten();
        let place = numbers.fold(line_safe(&file), |place, number| {
            format!("{place}:{number}")
        });
        text = format!("{text}{place}: {}\n  {}\n", problem.what, problem.remedy);
        list.push(json!({
            "kind": problem.kind, "file": file, "line": problem.line, "column": problem.column,
            "what": problem.what, "remedy": problem.remedy,
        }));
    }
    (text, list)
}

fn told_rescue(rescue: Rescue) -> String {
    let Rescue {
        saved,
        loose,
        doubtful,
        lost,
    } = rescue;
    format!(
        "{saved} events go into a new journal, {loose} whole ones behind the damage and {doubtful} that nothing \
         vouches for into a script that records them again; {lost} are lost"
    )
}

fn rescue_json(rescue: Rescue) -> Value {
    json!({
        "saved": rescue.saved, "loose": rescue.loose, "doubtful": rescue.doubtful, "lost": rescue.lost,
    })
}

/// `check DIR --save-to NEWDIR`
pub(super) fn save(dir: &Path, to: &Path) -> Result<Outcome, Trouble> {
    let done = crate::store::salvage(dir, to)?;
    let mut text = format!(
        "{}: {}\nother files copied: {}; {} is as it was\n",
        done.folder.display(),
        told_rescue(done.events),
        done.copied.len(),
        dir.display()
    );
    if let Some(loose) = &done.loose {
        text = format!("{text}read {}, and run it there\n", loose.display());
    }
    let left_out = done.left_out.iter().map(|why| format!("left out: {why}"));
    let json = json!({
        "folder": done.folder.to_string_lossy(), "events": rescue_json(done.events),
        "loose": done.loose.as_ref().map(|file| file.to_string_lossy()), "copied": done.copied,
    });
    Ok(Outcome::both(text, json).warn(left_out))
}

/// `open DIR`
pub(super) fn open(context: &Context<'_>, dir: &Path) -> Result<Outcome, Trouble> {
    show(context, dir)?;
    Ok(Outcome::both("", json!({})))
}

/// Runs the screen on the project in a folder. A clock given with `--now` runs
/// on from there.
pub(super) fn show(context: &Context<'_>, dir: &Path) -> Result<(), Trouble> {
    if !context.terminal {
        context.open(dir)?;
        return Err(Trouble::fault(
            "no-terminal",
            "the screen needs a terminal, and input or output is none",
            "`tankside status DIR` prints the same as text",
        ));
    }
    let clock = screen_clock(context, dir)?;
    shell::run(dir, Settings::load(), &clock).map_err(|error| match error {
        ShellError::Unopened(error) => error.into(),
        error => Trouble::fault("terminal", error.to_string(), error.remedy()),
    })
}

fn screen_clock<'a>(context: &Context<'a>, dir: &Path) -> Result<Ahead<'a>, Trouble> {
    let clock = context.clock;
    let replaced = if context.now.is_some() {
        context.replaced_now(context.open(dir)?.project().definition.zone)?
    } else {
        None
    };
    let by = replaced.map_or(0.0, |now| now.since(clock.now()));
    Ok(Ahead { clock, by })
}
