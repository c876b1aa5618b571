//! `spread`: where the metal goes, of a scene file or of a project.

mod chosen;
mod located;

use std::path::{Path, PathBuf};

use serde_json::json;

use super::Context;
use super::args::SpreadArgs;
use super::measure::{Progress, ReadPrint, read_bytes, stopped};
use super::outcome::{Fault, Outcome, Trouble, line_safe};
use super::project::{contradicted, who};
use crate::field::FieldError;
use crate::field::scene::{Hung, Print, Scene, SceneError, Spread, Supply};
use crate::mesh::{self, LengthUnit, Mask};
use crate::predicted::{Predicted, Taken};
use crate::project::SUPPLY_SAID;
use crate::report::spread::{Form, Told};
use crate::settings;
use crate::spreading::{Held, Kept, Question, box_mm};
use crate::store::{self, RecordError};
use crate::tui::view::written;
use crate::units::{A, MM, V, number};
use chosen::chosen;
use located::located;

/// `spread --scene SCENE.json` or `spread DIR`
pub(super) fn spread(context: &Context<'_>, args: &SpreadArgs) -> Result<Outcome, Trouble> {
    let out = args.out.as_deref().map(form_of).transpose()?;
    let mut asked = match (&args.scene, &args.dir) {
        (Some(file), None) => Asked::of_file(file)?,
        (_, dir) => Asked::of_project(context, dir.as_deref().unwrap_or(Path::new(".")), args)?,
    };
    if args.amps.is_some() || args.volts.is_some() {
        asked.assumed.retain(|said| !said.starts_with(SUPPLY_SAID));
    }
    if let Some(amps) = args.amps {
        asked.scene.supply = Some(Supply::Amps(amps.to(A)));
    }
    if let Some(volts) = args.volts {
        asked.scene.supply = Some(Supply::Volts(volts.to(V)));
    }
    if let Some(Supply::Amps(amps)) = asked.scene.supply
        && amps <= 0.0
    {
        let because = format!("{amps} A plate nothing: give a current above zero");
        return Err(asked.wrong("supply.amps", because));
    }
    let (kept, cached) = asked.answered(context, args.panels)?;
    asked.warnings.extend(coarse(&kept.spread));
    let told = Told {
        spread: &kept.spread,
        conductivity_s_m: asked.scene.conductivity_s_m,
        setup_s: kept.setup_s,
        solve_s: kept.solve_s,
        cached,
        assumed: &asked.assumed,
    };
    let mut text = told.text();
    if let (Some(form), Some(path)) = (out, &args.out) {
        store::write_out(path, written(&kept.spread, form, args.rows.into()))?;
        text = format!("{text}  {} is written\n", path.display());
    }
    let mut json = told.json();
    if let (true, Some(dir)) = (args.set, &args.dir) {
        let taken = asked.taken(context, dir, &kept.spread)?;
        let said = taken.even.iter().chain([&taken.shares]);
        text.extend(said.map(|line| format!("  {}\n", line_safe(line))));
        json["set"] = json!({
            "evenness": taken.even,
            "shares": taken.shares,
            "recorded": taken.recorded,
        });
        let warnings = taken.warnings.iter().map(|said| line_safe(said));
        asked.warnings.extend(warnings);
    }
    Ok(Outcome::both(text, json).warn(asked.warnings))
}

/// Said of zones that so few panels do not tell.
fn coarse(spread: &Spread) -> Option<String> {
    let error = spread.flows.error_zones;
    (error > COARSE).then(|| {
        format!(
            "a zone is within {} % only: more --panels tell what goes where",
            number(error * 100.0, 2)
        )
    })
}

/// The error of a zone from which on its figures are hardly any, relative.
const COARSE: f64 = 0.25;

/// What a file with this name is written as.
fn form_of(path: &Path) -> Result<Form, Trouble> {
    let ending = path.extension().and_then(|ending| ending.to_str());
    ending
        .and_then(Form::of_ending)
        .ok_or_else(|| Trouble::usage("--out names a file that ends in .ply, .vtu, .csv or .png"))
}

/// A scene and where its prints lie.
struct Asked {
    scene: Scene,
    /// Of the prints' surveys, mm.
    bubble_mm: f64,
    /// The scene's file and text, for the place of what is wrong.
    file: PathBuf,
    text: String,
    /// Of each body.
    prints: Vec<PathBuf>,
    assumed: Vec<String>,
    warnings: Vec<String>,
    /// The tank and the pieces of a project.
    tank: String,
    pieces: Vec<String>,
    /// What of the project they were asked for.
    digest: Option<String>,
}

impl Asked {
    fn of_file(file: &Path) -> Result<Self, Trouble> {
        let bytes = store::read_file(file)?;
        let wrong = |message: String, line: usize, column: usize| {
            Trouble::Error(Box::new(Fault {
                kind: "scene".to_owned(),
                message,
                remedy: "`tankside help spread` shows the form of a scene".to_owned(),
                file: Some(file.to_owned()),
                line: Some(line),
                column: Some(column),
            }))
        };
        let Ok(text) = String::from_utf8(bytes) else {
            return Err(wrong("the text is not UTF-8".to_owned(), 1, 1));
        };
        let text = text.trim_start_matches('\u{feff}').to_owned();
        let scene: Scene = serde_json::from_str(&text).map_err(|error| {
            let said = error.to_string();
            let said = said
                .rsplit_once(" at line ")
                .map_or(said.as_str(), |(said, _)| said);
            wrong(said.to_owned(), error.line().max(1), error.column().max(1))
        })?;
        let beside = file.parent().unwrap_or(Path::new(""));
        let find = |body: &Hung| {
            let path = beside.join(&body.mesh);
            if path.exists() {
                path
            } else {
                PathBuf::from(&body.mesh)
            }
        };
        Ok(Self {
            prints: scene.bodies.iter().map(find).collect(),
            scene,
            bubble_mm: mesh::Order::BUBBLE_MM,
            file: file.to_owned(),
            text,
            assumed: Vec::new(),
            warnings: Vec::new(),
            tank: String::new(),
            pieces: Vec::new(),
            digest: None,
        })
    }

    /// The scene of a project's pieces in their tank.
    fn of_project(context: &Context<'_>, dir: &Path, args: &SpreadArgs) -> Result<Self, Trouble> {
        let folder = context.open(dir)?;
        let definition = &folder.project().definition;
        let chosen = chosen(
            definition,
            folder.project().state(),
            args.tank.as_deref(),
            &args.piece,
        )?;
        let (tank, pieces) = (&chosen.tank, &chosen.pieces);
        let (mut files, mut boxes) = (Vec::new(), Vec::new());
        for piece in pieces {
            let mesh = piece.mesh.as_ref();
            let file = folder.path().join(mesh.map_or("", |mesh| &mesh.file));
            let bytes = read_bytes(&file)?;
            let unit = mesh.and_then(|mesh| mesh.unit.as_deref()?.parse().ok());
            let read = ReadPrint::of(&file, &bytes, unit)?;
            boxes.push(box_mm(&read.print, read.unit));
            files.push(file);
        }
        let hung: Vec<_> = pieces.iter().zip(boxes).collect();
        let names: Vec<&str> = pieces.iter().map(|piece| piece.name.as_str()).collect();
        let state = folder.project().state();
        let now = context.now(folder.project())?;
        let flow = state.flow_into(definition, &tank.name, &names, now);
        let (scene, of_scene) = definition.whole_scene(tank, &hung, flow);
        let assumed = [chosen.said, of_scene].concat();
        Ok(Self {
            scene,
            bubble_mm: definition.bubble.to(MM),
            file: dir.join("project.ron"),
            text: String::new(),
            prints: files,
            assumed,
            warnings: Vec::new(),
            digest: definition.scene_digest(&tank.name, &names),
            tank: tank.name.clone(),
            pieces: pieces.iter().map(|piece| piece.name.clone()).collect(),
        })
    }

    /// Takes what came of it into the project.
    fn taken(&self, context: &Context<'_>, dir: &Path, spread: &Spread) -> Result<Taken, Trouble> {
        let mut folder = context.open(dir)?;
        let now = context.now(folder.project())?;
        let replaced = context.replaced_now(folder.project().definition.zone)?;
        let predicted = Predicted {
            tank: &self.tank,
            pieces: self.pieces.iter().map(String::as_str).collect(),
            scene: self.digest.as_deref(),
            spread,
        };
        let clock = context.clock.now();
        let taken = predicted.take(&mut folder, &who(), (now, clock, replaced));
        context.heed(&folder);
        taken.map_err(|error| match error {
            RecordError::Store(error) => contradicted(error),
            refused @ RecordError::Refused(_) => refused.into(),
        })
    }

    /// What comes of it: kept from before, or solved now and kept.
    fn answered(&mut self, context: &Context<'_>, panels: usize) -> Result<(Kept, bool), Trouble> {
        let bytes = self
            .prints
            .iter()
            .map(|file| read_bytes(file))
            .collect::<Result<Vec<_>, _>>()?;
        let progress = Progress::on(context.clock);
        let began = context.clock.now();
        let cache = settings::cache_dir();
        let question = Question {
            scene: &self.scene,
            bubble_mm: self.bubble_mm,
            panels,
            cache: cache.as_deref(),
        };
        let files: Vec<&[u8]> = bytes.iter().map(Vec::as_slice).collect();
        let read = files.iter().enumerate();
        let read = read
            .map(|(k, bytes)| self.read(k, bytes))
            .collect::<Result<Vec<_>, _>>()?;
        let surveyed = || {
            let each = read.iter().enumerate();
            each.map(|(k, read)| self.print(k, read, &progress))
                .collect()
        };
        let answered = question.answered(
            &files,
            surveyed,
            |error| self.told(error),
            &mut Held::default(),
            (&|| context.clock.now().elapsed_since(began), &progress),
        )?;
        for (body, read) in self.scene.bodies.iter().zip(&read) {
            let said = read.warnings().into_iter();
            self.warnings
                .extend(said.map(|said| format!("{}: {said}", body.name)));
        }
        Ok(answered)
    }

    /// The print of a body.
    fn read<'b>(&self, k: usize, bytes: &'b [u8]) -> Result<ReadPrint<'b>, Trouble> {
        let unit = self.scene.bodies[k].unit.as_deref();
        let unit = unit
            .map(str::parse::<LengthUnit>)
            .transpose()
            .map_err(|error| self.wrong(&format!("bodies[{k}].unit"), error.to_string()))?;
        ReadPrint::of(&self.prints[k], bytes, unit)
    }

    /// What of a body's print is wetted.
    fn print(
        &self,
        k: usize,
        read: &ReadPrint<'_>,
        progress: &Progress<'_>,
    ) -> Result<Print, Trouble> {
        let body = &self.scene.bodies[k];
        let masks = body
            .masks
            .iter()
            .map(|mask| mask.parse::<Mask>())
            .collect::<Result<Vec<_>, _>>()
            .map_err(|error| self.wrong(&format!("bodies[{k}].masks"), error.to_string()))?;
        let order = read.order(self.bubble_mm, masks)?;
        let survey = mesh::survey(&read.print, &order, progress).map_err(stopped)?;
        Ok(Print::of(&survey))
    }

    /// What is wrong at a place of the scene.
    fn wrong(&self, path: &str, because: String) -> Trouble {
        let place = if self.text.is_empty() {
            None
        } else {
            located(&self.text, path)
        };
        Trouble::Error(Box::new(Fault {
            kind: "scene".to_owned(),
            message: format!("{path}: {because}"),
            remedy: "`tankside help spread` shows the form of a scene".to_owned(),
            file: Some(self.file.clone()),
            line: place.map(|(line, _)| line),
            column: place.map(|(_, column)| column),
        }))
    }

    fn told(&self, error: SceneError) -> Trouble {
        match error {
            SceneError::Wrong { path, because } => self.wrong(&path, because),
            SceneError::Meets(said) => Trouble::Error(Box::new(Fault {
                kind: "collision".to_owned(),
                message: said,
                remedy: if self.text.is_empty() {
                    "`hangs` of a piece in project.ron tells its place and turn, `--piece` takes some alone".to_owned()
                } else {
                    "see to the places and turns in the scene".to_owned()
                },
                file: Some(self.file.clone()),
                ..Fault::default()
            })),
            SceneError::Field(FieldError::Stopped(error)) => stopped(error),
            SceneError::Field(error @ FieldError::Unsolved { .. }) => Trouble::fault(
                "unsolved",
                error.to_string(),
                "see whether every `limit_a_m2` lets the amps through and no two plates are in one place; else try other \
                 --panels",
            ),
            SceneError::Field(error) => Trouble::fault(
                "scene",
                error.to_string(),
                "see to the numbers of the scene",
            ),
        }
    }
}
