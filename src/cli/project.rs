//! `new`, `add`, `set`, `check`, `open`.

use std::path::Path;

use serde_json::{Value, json};

use super::args::{AddArgs, NewArgs};
use super::outcome::{Fault, Outcome, Trouble, line_safe};
use super::template::{Seed, project_ron};
use super::{Context, ask};
use crate::clock::Ahead;
use crate::mesh::{self, LengthUnit, Mesh, SizeDoubt};
use crate::plating::Metal;
use crate::project::{Command, Definition, Piece, Refusal, Target, Wire, quoted};
use crate::settings::{Settings, login};
use crate::store::ron_text::quote;
use crate::store::{Folder, Problem, Rescue, StoreError, sha256_hex};
use crate::tui::shell::{self, ShellError};
use crate::units::{DM2, MM, MM2, rounded};

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
    // Before anything is read or copied for it.
    let area = "area: \"1dm2\"".to_owned();
    let given = args
        .area
        .map(|a| format!("area: \"{a}\", area_method: \"given\""));
    let trial = entry(args, given.clone().unwrap_or(area));
    folder.check_piece(&trial).map_err(of_new_piece)?;
    let mut warnings = Vec::new();
    let size = match (&args.mesh, given) {
        (Some(file), _) => measured(&mut folder, args, file, &mut warnings)?,
        (None, Some(given)) => given,
        (None, None) => return Err(Trouble::usage("give --mesh or --area")),
    };
    folder.add_piece(&entry(args, size)).map_err(of_new_piece)?;
    let piece = folder
        .project()
        .definition
        .piece(&args.piece)
        .cloned()
        .unwrap_or_else(|| Piece::named(&args.piece));
    let definition = &folder.project().definition;
    let (text, json) = added(definition, &piece);
    Ok(Outcome::both(text, json).warn(warnings))
}

/// A piece as `pieces` holds it; `size` are its fields of size.
fn entry(args: &AddArgs, size: String) -> String {
    let mut fields = vec![format!("name: {}", quote(&args.piece)), size];
    if (args.roughness - 1.0).abs() > f64::EPSILON {
        fields.push(format!("roughness: {:?}", args.roughness));
    }
    fields.extend(wires("wires", &args.wire));
    fields.extend(wires("thieves", &args.thief));
    format!("(\n    {},\n)", fields.join(",\n    "))
}

/// A rule that a new piece breaks has no place in a text that a person knows.
fn of_new_piece(error: StoreError) -> Trouble {
    if error.kind() == "definition" {
        Trouble::fault("definition", error.message, error.remedy)
    } else {
        error.into()
    }
}

/// The fields that a print file gives: the file, its area with ± and method,
/// its size.
fn measured(
    folder: &mut Folder,
    args: &AddArgs,
    file: &Path,
    warnings: &mut Vec<String>,
) -> Result<String, Trouble> {
    let bytes = ask::read_bytes(file)?;
    let print = mesh::read(&bytes).map_err(|e| ask::mesh_trouble(file, &e))?;
    let (unit, source) = ask::unit_of(&print, args.unit);
    warnings.extend(ask::differing_unit(&print, args.unit));
    warnings.extend(print.remarks.iter().map(ToString::to_string));
    let measure = mesh::measure(&print, unit);
    let plausible = mesh::plausible_print(measure.size_mm);
    if source == "assumed" {
        if let Err(doubt) = plausible {
            return Err(in_other_units(args, file, &print, doubt).into());
        }
        warnings.push(format!(
            "the file says no unit: taken as mm ({})",
            ask::size_words(measure.size_mm)
        ));
    }
    if let (Err(doubt), false) = (plausible, source == "assumed") {
        warnings.push(format!("{doubt}; taken as told"));
    }
    let relative = folder.copy_mesh(file, &args.piece)?;
    let area = MM2.of(rounded(measure.naive_area_mm2, 8));
    warnings.push(
        "the area is the naive sum of all triangles: what overlaps, lies inside or is shut in is counted too".to_owned(),
    );
    let rel = folder.project().definition.uncertainty.area_rel;
    let size = measure
        .size_mm
        .map(|s| format!("\"{}\"", MM.of(rounded(s, 6))));
    let fields = [
        format!(
            "mesh: (file: {}, unit: \"{unit}\", sha256: \"{}\")",
            quote(&relative),
            sha256_hex(&bytes)
        ),
        format!(
            "area: \"{area}\", area_pm: \"{}\"",
            DM2.of(rounded(area.to(DM2) * 2.0 * rel, 3))
        ),
        format!(
            "area_method: \"naive sum of {} triangles, not the wetted area\"",
            measure.triangles
        ),
        format!("size: ({})", size.join(", ")),
    ];
    Ok(fields.join(",\n    "))
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
    if (args.roughness - 1.0).abs() > f64::EPSILON {
        rest.push(format!("--roughness {}", args.roughness));
    }
    let rest = rest.join(" ");
    units
        .iter()
        .map(|unit| Command::new("add", format!("{rest} --unit {unit}")))
        .fold(Refusal::new("unit", doubt.to_string()), Refusal::or)
}

fn wires(field: &str, wires: &[Wire]) -> Option<String> {
    let list: Vec<String> = wires
        .iter()
        .map(|w| format!("(diameter: \"{}\", length: \"{}\")", w.diameter, w.length))
        .collect();
    (!list.is_empty()).then(|| format!("{field}: [{}]", list.join(", ")))
}

fn added(definition: &Definition, piece: &Piece) -> (String, Value) {
    let dm2 = |area: Option<crate::units::Area>| area.map(|a| a.to(DM2));
    let target = definition.charge_target(piece);
    let shown =
        |area: Option<crate::units::Area>| area.map_or_else(|| "?".to_owned(), |a| a.shown(DM2, 4));
    let text = format!(
        "{}: {}, with wires {}, target {}",
        piece.name,
        shown(piece.wetted_area()),
        shown(piece.conductor_area()),
        target.map_or_else(|| "?".to_owned(), |q| q.shown(crate::units::AH, 4)),
    );
    let json = json!({
        "piece": piece.name,
        "wetted_area_dm2": dm2(piece.wetted_area()),
        "plating_area_dm2": dm2(piece.plating_area()),
        "conductor_area_dm2": dm2(piece.conductor_area()),
        "area_pm_dm2": dm2(piece.area_pm),
        "area_method": piece.area_method,
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
    if let Err(error) = folder.set(path, value) {
        let now = folder.value(path);
        return Err(contradicted(with_example(error, path, now)));
    }
    Ok(Outcome::both(
        format!("{} is {}", line_safe(path), line_safe(value)),
        json!({ "path": path, "value": value }),
    ))
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
fn contradicted(error: StoreError) -> Trouble {
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
