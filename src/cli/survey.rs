//! `survey`: the prints of a project, surveyed anew.

use std::path::Path;

use serde_json::{Value, json};

use super::Context;
use super::measure::{Progress, ReadPrint, read_bytes, stopped};
use super::outcome::{Outcome, Trouble, line_safe};
use super::project::contradicted;
use crate::mesh::{LengthUnit, Mask};
use crate::project::{Definition, Piece, Refusal, survey_for_piece};
use crate::report::print::Print;
use crate::store::ron_text::quote;
use crate::store::{Folder, sha256_hex, survey_values};
use crate::units::{AH, Area, DM2, MM};

/// Values of `project.ron`, each with its path.
type Values = Vec<(String, String)>;

/// `survey DIR [PIECE]…`
pub(super) fn survey(
    context: &Context<'_>,
    dir: &Path,
    named: &[String],
) -> Result<Outcome, Trouble> {
    let mut folder = context.open(dir)?;
    let before = folder.project().definition.clone();
    let pieces = with_print(&before, named)?;
    let mut values = Values::new();
    let mut warnings = Vec::new();
    for piece in &pieces {
        let (of_piece, said) = surveyed(context, &folder, piece)?;
        warnings.extend(
            said.into_iter()
                .map(|said| format!("{}: {said}", piece.name)),
        );
        values.extend(of_piece);
    }
    values.retain(|(path, value)| folder.value(path).as_ref() != Some(value));
    if !values.is_empty() {
        folder.set_all(&values).map_err(contradicted)?;
    }
    let after = &folder.project().definition;
    let told = pieces.iter().filter_map(|was| {
        let is = after.piece(&was.name)?;
        Some(change(was, is, (&before, after)))
    });
    let (texts, objects): (Vec<String>, Vec<Value>) = told.unzip();
    Ok(Outcome::both(texts.join(""), json!({ "pieces": objects })).warn(warnings))
}

/// The pieces that are named, or all, those that have a print.
pub(super) fn with_print(definition: &Definition, named: &[String]) -> Result<Vec<Piece>, Trouble> {
    let mut pieces = Vec::new();
    for name in named {
        let Some(piece) = definition.piece(name) else {
            let because = format!("there is no piece `{}`", name.escape_debug());
            return Err(Refusal::new("unknown-piece", because).into());
        };
        if piece.mesh.is_none() {
            let message = format!("`{}` has no print: its area was given", piece.name);
            let remedy = "give it one in project.ron: mesh: (file: \"meshes/…\")";
            return Err(Trouble::fault("no-mesh", message, remedy));
        }
        pieces.push(piece.clone());
    }
    if named.is_empty() {
        let all = definition.pieces.iter();
        pieces.extend(all.filter(|piece| piece.mesh.is_some()).cloned());
    }
    if pieces.is_empty() {
        let remedy = "`tankside add DIR PIECE --mesh FILE` adds one";
        return Err(Trouble::fault("no-mesh", "no piece has a print", remedy));
    }
    Ok(pieces)
}

/// What a piece's print says now, and what is to be said of it.
fn surveyed(
    context: &Context<'_>,
    folder: &Folder,
    piece: &Piece,
) -> Result<(Values, Vec<String>), Trouble> {
    let Some(mesh) = &piece.mesh else {
        return Ok((Values::new(), Vec::new()));
    };
    let file = folder.path().join(&mesh.file);
    let bytes = read_bytes(&file)?;
    let unit = mesh.unit.as_deref().map(str::parse::<LengthUnit>);
    let unit = unit.transpose().map_err(|error| {
        Trouble::fault(
            "definition",
            error.to_string(),
            format!("set pieces.{}.mesh.unit", quote(&piece.name)),
        )
    })?;
    let read = ReadPrint::of(&file, &bytes, unit)?;
    let mut warnings = read.warnings();
    // A mask in words has no shape to survey: what it takes stays as it is.
    let masks: Vec<(usize, Mask)> = (piece.masks.iter().enumerate())
        .filter_map(|(at, mask)| Some((at, mask.shape.parse().ok()?)))
        .collect();
    let in_words = piece.masks.iter().enumerate();
    let in_words = in_words.filter(|(at, _)| !masks.iter().any(|(of, _)| of == at));
    warnings.extend(in_words.map(|(_, mask)| {
        format!(
            "its mask `{}` is told in words: what it takes stays as it is",
            mask.name
        )
    }));
    let shapes = masks.iter().map(|(_, mask)| mask.clone()).collect();
    let order = read.order(folder.project().definition.bubble.to(MM), shapes)?;
    let (surveyed, of_piece) =
        survey_for_piece(&read.print, &order, &Progress::on(context.clock)).map_err(stopped)?;
    let print = Print {
        file: &mesh.file,
        unit_source: read.unit_source,
        order: &order,
        survey: &surveyed.survey,
        shape: &surveyed.shape,
        seconds: None,
    };
    warnings.extend(print.cautions());
    let places: Vec<usize> = masks.iter().map(|(at, _)| *at).collect();
    let (unit, sha256) = (read.unit.to_string(), sha256_hex(&bytes));
    let values = survey_values(&piece.name, &of_piece, &places, (&unit, &sha256));
    Ok((values, warnings))
}

/// What became of a piece.
fn change(was: &Piece, is: &Piece, (before, after): (&Definition, &Definition)) -> (String, Value) {
    let target = |definition: &Definition, piece: &Piece| definition.charge_target(piece);
    let (target_was, target_is) = (target(before, was), target(after, is));
    let told = |piece: &Piece| {
        let shown = |area: Option<Area>| area.map_or_else(|| "?".to_owned(), |a| a.shown(DM2, 5));
        let pm = piece.area_pm.map_or_else(String::new, |pm| {
            format!(" +- {}", crate::units::number(pm.to(DM2), 2))
        });
        format!("{}{pm}", shown(piece.wetted_area()))
    };
    let is_same = was == is;
    let shown = line_safe(&is.name);
    let text = if is_same {
        format!("{shown}: {}, as before\n", told(is))
    } else {
        let charge = target_is.map_or_else(String::new, |q| format!("; target {}", q.shown(AH, 4)));
        let charge_was = target_was.map_or_else(String::new, |q| format!(", {}", q.shown(AH, 4)));
        format!(
            "{shown}: {}{charge} (was {}{charge_was})\n",
            told(is),
            told(was)
        )
    };
    let mut json = json!({ "piece": is.name, "changed": !is_same });
    let object = |piece: &Piece, target: Option<crate::units::Charge>| {
        let masked = piece.masks.iter().filter_map(|mask| mask.takes);
        let dm2 = |area: Option<Area>| area.map(|area| area.to(DM2));
        json!({
            "wetted_area_dm2": dm2(piece.wetted_area()),
            "area_pm_dm2": dm2(piece.area_pm),
            "area_method": piece.area_method,
            "masked_dm2": masked.fold(0.0, |sum, area| sum + area.to(DM2)),
            "sha256": piece.mesh.as_ref().and_then(|mesh| mesh.sha256.clone()),
            "charge_target_ah": target.map(|charge| charge.to(AH)),
        })
    };
    let mut fields = object(is, target_is);
    if let (Value::Object(all), Value::Object(fields)) = (&mut json, &mut fields) {
        all.append(fields);
    }
    json["was"] = object(was, target_was);
    (text, json)
}
