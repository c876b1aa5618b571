//! Commands that ask: `status`, `gates`, `history`, `sheet`, `traveller`,
//! `charge`, `measure`.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::Context;
use super::args::{ChargeArgs, SheetArgs};
use super::outcome::{Fault, Outcome, Trouble, line_safe};
use crate::mesh::{self, LengthUnit, Mesh, MeshError};
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

/// `measure FILE…`
pub(super) fn measure(files: &[PathBuf], unit: Option<LengthUnit>) -> Result<Outcome, Trouble> {
    let mut warnings = Vec::new();
    let mut objects = Vec::new();
    let mut text = String::new();
    for file in files {
        let (object, words) = measure_one(file, unit, &mut warnings)?;
        text.push_str(&words);
        objects.push(object);
    }
    let json = match objects.as_slice() {
        [only] => only.clone(),
        _ => json!({ "files": objects }),
    };
    Ok(Outcome::both(text, json).warn(warnings))
}

fn measure_one(
    file: &Path,
    given: Option<LengthUnit>,
    warnings: &mut Vec<String>,
) -> Result<(Value, String), Trouble> {
    let bytes = read_bytes(file)?;
    let print = mesh::read(&bytes).map_err(|e| mesh_trouble(file, &e))?;
    let (unit, source) = unit_of(&print, given);
    let m = mesh::measure(&print, unit);
    let name = file.to_string_lossy();
    let volume = mesh::is_closed(&print).then_some(m.volume_mm3);
    if volume.is_none() {
        warnings.push(format!(
            "{name}: the triangles do not close up (a hole, a flipped or a doubled one): no volume is told"
        ));
    }
    if source == "assumed" {
        warnings.push(format!(
            "{name}: the file says no unit: taken as mm ({})",
            size_words(m.size_mm)
        ));
    }
    warnings.extend(differing_unit(&print, given).map(|said| format!("{name}: {said}")));
    let remarks = print.remarks.iter();
    warnings.extend(remarks.map(|remark| format!("{name}: {remark}")));
    let object = json!({
        "file": name,
        "triangles": m.triangles,
        "unit": unit.symbol(),
        "unit_source": source,
        "size_mm": m.size_mm,
        "naive_area_mm2": m.naive_area_mm2,
        "volume_mm3": volume,
        "method": "area: naive sum over all triangles, not the wetted area; \
                   volume: of the shells as they stand, null unless every side of a triangle meets one other",
    });
    let words = format!(
        "{}\n  {} triangles, {}\n  naive area {:.2} cm2 (the sum of all triangles, not the wetted area)\n  volume {}\n",
        line_safe(&name),
        m.triangles,
        size_words(m.size_mm),
        m.naive_area_mm2 / 100.0,
        volume.map_or_else(|| "?".to_owned(), |v| format!("{:.2} cm3", v / 1000.0)),
    );
    Ok((object, words))
}

/// `120 x 80 x 40 mm`.
pub(super) fn size_words(size_mm: [f64; 3]) -> String {
    let sides = size_mm.map(|s| crate::units::number(s, 3));
    format!("{} mm", sides.join(" x "))
}

/// The unit a mesh is read in and where it comes from.
pub(super) fn unit_of(print: &Mesh, given: Option<LengthUnit>) -> (LengthUnit, &'static str) {
    match (print.unit, given) {
        (Some(unit), _) => (unit, "file"),
        (None, Some(unit)) => (unit, "given"),
        (None, None) => (LengthUnit::Mm, "assumed"),
    }
}

/// What to say of a unit that was given where the file names another.
pub(super) fn differing_unit(print: &Mesh, given: Option<LengthUnit>) -> Option<String> {
    let (file, given) = (print.unit?, given?);
    (file != given).then(|| format!("the file says its unit, {file}: --unit {given} is not taken"))
}

/// The bytes of a print file.
pub(super) fn read_bytes(file: &Path) -> Result<Vec<u8>, Trouble> {
    if let Ok(there) = std::fs::metadata(file) {
        mesh::check_length(there.len()).map_err(|e| mesh_trouble(file, &e))?;
    }
    store::read_file(file).map_err(|error| {
        if file.exists() {
            return error.into();
        }
        let here = std::env::current_dir().map_or_else(|_| ".".into(), PathBuf::into_os_string);
        let here = here.to_string_lossy();
        Trouble::Error(Box::new(Fault {
            kind: error.kind().to_owned(),
            message: "there is no such file".to_owned(),
            remedy: format!("see to the spelling of its path, which begins at {here}"),
            file: Some(file.to_owned()),
            ..Fault::default()
        }))
    })
}

/// What a reader found wrong, with its file.
pub(super) fn mesh_trouble(file: &Path, error: &MeshError) -> Trouble {
    Trouble::Error(Box::new(Fault {
        kind: error.kind().to_owned(),
        message: error.to_string(),
        remedy: error.remedy(),
        file: Some(file.to_owned()),
        line: error.line(),
        column: None,
    }))
}
