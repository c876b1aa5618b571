//! Where the metal goes in a project's tank: its prints are read and surveyed,
//! the scene is made and solved, and what came of it is kept for the next time
//! the same is asked.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::field::FieldError;
use crate::field::scene::{Print, Ready, Scene, SceneError, Spread};
use crate::mesh::{self, LengthUnit, Mask, Mesh, Order};
use crate::project::{Definition, Piece, PrintBox};
use crate::store::{self, sha256_hex};
use crate::units::{Part, Stopped, Watch};

/// What is asked.
#[derive(Debug)]
pub struct Asked<'a> {
    /// The project's folder, to which the files of prints are relative.
    pub folder: &'a Path,
    /// Where results are kept, if anywhere.
    pub cache: Option<&'a Path>,
    /// The project's definition.
    pub definition: &'a Definition,
    /// The name of the tank.
    pub tank: &'a str,
    /// The names of the pieces in it, which have prints.
    pub pieces: &'a [String],
    /// About so many panels.
    pub panels: usize,
}

/// What came of it.
#[derive(Debug)]
pub struct Answer {
    /// Where the current goes.
    pub spread: Spread,
    /// What was taken for want of anything told.
    pub assumed: Vec<String>,
    /// What has to be known of the prints.
    pub warnings: Vec<String>,
    /// Whether it was kept from an earlier solve.
    pub cached: bool,
}

/// Why nothing came of it.
#[derive(Debug, thiserror::Error)]
pub enum Unspread {
    /// It was given up.
    #[error(transparent)]
    Stopped(#[from] Stopped),
    /// In words, with what would do.
    #[error("{0}")]
    Told(String),
}

/// A result with what it took, as it is kept.
#[derive(Debug, Serialize, Deserialize)]
struct Kept {
    spread: Spread,
    setup_s: f64,
    solve_s: f64,
}

/// The share of the work after which the prints are surveyed.
const SURVEYED: f64 = 0.15;

/// The share after which all is in panels.
const READY: f64 = 0.6;

impl Asked<'_> {
    /// Answers it; `seconds` tells how much time passed since any instant.
    ///
    /// # Errors
    /// [`Unspread`]: a file, a print, the scene or the equations stood in the
    /// way, or it was stopped.
    pub fn answer(&self, seconds: &dyn Fn() -> f64, watch: &dyn Watch) -> Result<Answer, Unspread> {
        let tank = self.definition.tank(self.tank);
        let tank = tank.ok_or_else(|| told("the project has no such tank"))?;
        watch.at("reading the prints", 0.0);
        let files = self
            .pieces
            .iter()
            .map(|name| self.file(name))
            .collect::<Result<Vec<_>, _>>()?;
        let read = files
            .iter()
            .map(File::read)
            .collect::<Result<Vec<_>, _>>()?;
        let boxes = files.iter().zip(&read);
        let hung: Vec<_> = boxes
            .map(|(file, (print, unit))| (file.piece, box_mm(print, *unit)))
            .collect();
        let (scene, assumed) = self.definition.whole_scene(tank, &hung);
        scene.check().map_err(|error| scene_told(&error))?;
        let digests = files.iter().map(|file| sha256_hex(&file.bytes));
        let label = label(&scene, self.panels, digests);
        let kept = label.as_ref().zip(self.cache);
        let kept = kept.and_then(|(label, dir)| store::kept_spread(dir, label));
        let kept = kept.and_then(|bytes| postcard::from_bytes::<Kept>(&bytes).ok());
        let mut warnings = Vec::new();
        for (file, (print, unit)) in files.iter().zip(&read) {
            let name = &file.piece.name;
            if print.unit.is_none() && file.given.is_none() {
                warnings.push(format!("{name}: the file says no unit: taken as {unit}"));
            }
        }
        let (spread, cached) = if let Some(kept) = kept {
            (kept.spread, true)
        } else {
            let prints = surveyed(&scene, &files, &read, watch)?;
            let kept = self.solved(&scene, &prints, seconds, watch)?;
            if let (Some((label, dir)), Ok(bytes)) =
                (label.zip(self.cache), postcard::to_allocvec(&kept))
            {
                // Where that fails it is solved again the next time.
                store::keep_spread(dir, &label, &bytes);
            }
            (kept.spread, false)
        };
        Ok(Answer {
            spread,
            assumed,
            warnings,
            cached,
        })
    }

    fn file(&self, name: &str) -> Result<File<'_>, Unspread> {
        let piece = self.definition.piece(name);
        let piece = piece.ok_or_else(|| told(format!("there is no piece `{name}`")))?;
        let mesh = piece.mesh.as_ref();
        let mesh = mesh.ok_or_else(|| told(format!("`{name}` has no print")))?;
        let bytes = store::read_file(&self.folder.join(&mesh.file)).map_err(|error| {
            told(format!(
                "{}: {}; {}",
                mesh.file, error.message, error.remedy
            ))
        })?;
        Ok(File {
            piece,
            name: &mesh.file,
            given: mesh.unit.as_deref().and_then(|unit| unit.parse().ok()),
            bytes,
        })
    }

    fn solved(
        &self,
        scene: &Scene,
        prints: &[Print],
        seconds: &dyn Fn() -> f64,
        watch: &dyn Watch,
    ) -> Result<Kept, Unspread> {
        let part = |from, to| Part {
            whole: watch,
            from,
            to,
        };
        let began = seconds();
        let ready =
            Ready::new(scene, prints, self.panels, &part(SURVEYED, READY)).map_err(of_scene)?;
        let set_up = seconds();
        let solved = ready
            .solve(scene, None, &part(READY, 1.0))
            .map_err(of_scene)?;
        Ok(Kept {
            spread: solved.spread,
            setup_s: set_up - began,
            solve_s: seconds() - set_up,
        })
    }
}

/// A print's file.
struct File<'a> {
    piece: &'a Piece,
    name: &'a str,
    given: Option<LengthUnit>,
    bytes: Vec<u8>,
}

impl File<'_> {
    /// Its triangles, and the unit of its numbers: its own before the one given.
    fn read(&self) -> Result<(Mesh<'_>, LengthUnit), Unspread> {
        let print = mesh::read(&self.bytes)
            .map_err(|error| told(format!("{}: {error}; {}", self.name, error.remedy())))?;
        let unit = print.unit.or(self.given).unwrap_or(LengthUnit::Mm);
        Ok((print, unit))
    }
}

/// What of each print is wetted.
fn surveyed(
    scene: &Scene,
    files: &[File<'_>],
    read: &[(Mesh<'_>, LengthUnit)],
    watch: &dyn Watch,
) -> Result<Vec<Print>, Unspread> {
    let step = SURVEYED / files.len().max(1) as f64;
    let mut prints = Vec::new();
    for (k, (body, (print, unit))) in scene.bodies.iter().zip(read).enumerate() {
        let shapes = body.masks.iter();
        let order = Order {
            masks: shapes
                .filter_map(|shape| shape.parse::<Mask>().ok())
                .collect(),
            ..Order::in_unit(*unit)
        };
        let part = Part {
            whole: watch,
            from: step * k as f64,
            to: step * (k + 1) as f64,
        };
        prints.push(Print::of(&mesh::survey(print, &order, &part)?));
    }
    Ok(prints)
}

/// The box around a print, mm.
fn box_mm(print: &Mesh<'_>, unit: LengthUnit) -> PrintBox {
    let none = [[f64::INFINITY; 3], [f64::NEG_INFINITY; 3]];
    print
        .triangles()
        .flatten()
        .fold(none, |[low, high], corner| {
            let at = corner.map(|along| along * unit.mm());
            [
                [0, 1, 2].map(|k| at[k].min(low[k])),
                [0, 1, 2].map(|k| at[k].max(high[k])),
            ]
        })
}

/// What has to be the same: every number of the scene, the bytes of its prints,
/// how fine it is cut, and this very program.
fn label(scene: &Scene, panels: usize, digests: impl Iterator<Item = String>) -> Option<String> {
    let mut scene = scene.clone();
    // Where a print lies is not what it is.
    for (body, digest) in scene.bodies.iter_mut().zip(digests) {
        body.mesh = digest;
    }
    let text = serde_json::to_string(&scene).ok()?;
    let program = store::program_stamp()?;
    Some(sha256_hex(
        format!("{program}\n{panels}\n{text}").as_bytes(),
    ))
}

fn told(why: impl Into<String>) -> Unspread {
    Unspread::Told(why.into())
}

fn of_scene(error: SceneError) -> Unspread {
    match error {
        SceneError::Field(FieldError::Stopped(stopped)) => stopped.into(),
        error => scene_told(&error),
    }
}

fn scene_told(error: &SceneError) -> Unspread {
    let remedy = match error {
        SceneError::Meets(_) => {
            "in project.ron, `hangs` of a piece says where its middle is: hangs: (at: (\"20cm\", \"15cm\", \"20cm\"))"
        }
        _ => "see to the tank and the pieces in project.ron",
    };
    told(format!("{error}; {remedy}"))
}
