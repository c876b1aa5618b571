//! Where the metal goes in a project's tank: its prints are read and surveyed,
//! the scene is made and solved, and what came of it is kept for the next time
//! the same is asked.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::field::scene::{Print, Ready, Scene, SceneError, Solved, Spread};
use crate::field::{FieldError, Kinetics};
use crate::mesh::{self, LengthUnit, Mask, Mesh, Order};
use crate::project::{Definition, Flow, Piece, PrintBox};
use crate::store::{self, sha256_hex};
use crate::units::{MM, Part, Stopped, Watch};

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
    /// The current that flows into just these pieces, where it is known.
    pub flow: Option<Flow>,
    /// About so many panels.
    pub panels: usize,
}

/// What came of it.
#[derive(Debug)]
pub struct Answer {
    /// What was asked, prints read.
    pub scene: Scene,
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
pub struct Kept {
    /// Where the current goes.
    pub spread: Spread,
    /// To cut all into panels and prepare the equations, s.
    pub setup_s: f64,
    /// To solve them, s.
    pub solve_s: f64,
}

/// The last scene that was solved, in panels: the same geometry at another supply
/// or with other kinetics needs neither to be cut again nor to begin from nothing.
#[derive(Debug, Default)]
pub struct Held(Option<(String, Ready, Solved)>);

/// A scene with more panels takes too much memory to be held.
const HELD_PANELS: usize = 20_000;

/// A scene and all that its result hangs on, but for the bytes of its prints.
#[derive(Debug)]
pub struct Question<'a> {
    /// The scene.
    pub scene: &'a Scene,
    /// The bubble of the prints' surveys, mm.
    pub bubble_mm: f64,
    /// About so many panels.
    pub panels: usize,
    /// Where results are kept, if anywhere.
    pub cache: Option<&'a Path>,
}

impl Question<'_> {
    /// What is kept of it, or else what it comes to now, which is then kept;
    /// and whether it was kept. `files` are the bytes of its prints, in the
    /// order of the scene's bodies; `surveyed` is asked what of them is wetted.
    /// `held` is of the question before; `seconds` tells how much time passed since
    /// any instant.
    ///
    /// # Errors
    /// What `surveyed` fails with, or what `told` makes of the scene's error.
    pub fn answered<E>(
        &self,
        files: &[&[u8]],
        surveyed: impl FnOnce() -> Result<Vec<Print>, E>,
        told: impl Fn(SceneError) -> E,
        held: &mut Held,
        (seconds, watch): (&dyn Fn() -> f64, &dyn Watch),
    ) -> Result<(Kept, bool), E> {
        self.scene.check().map_err(&told)?;
        let place = self.cache.zip(self.label(files));
        let bytes = place.as_ref();
        let bytes = bytes.and_then(|(dir, label)| store::kept_spread(dir, label));
        if let Some(kept) = bytes.and_then(|bytes| postcard::from_bytes(&bytes).ok()) {
            return Ok((kept, true));
        }
        let part = |from, to| Part {
            whole: watch,
            from,
            to,
        };
        let geometry = self.geometry(files).unwrap_or_default();
        let before = held.0.take().filter(|(of, ..)| *of == geometry);
        let (began, ready, before) = if let Some((_, ready, solved)) = before {
            (seconds(), ready, Some(solved))
        } else {
            let prints = surveyed()?;
            let began = seconds();
            let preparing = part(SURVEYED, READY);
            let ready = Ready::new(self.scene, &prints, self.panels, &preparing);
            (began, ready.map_err(&told)?, None)
        };
        let set_up = seconds();
        let solving = part(READY, 1.0);
        let solved = ready.solve(self.scene, before.as_ref(), &solving);
        let solved = solved.map_err(&told)?;
        let kept = Kept {
            spread: solved.spread.clone(),
            setup_s: set_up - began,
            solve_s: seconds() - set_up,
        };
        if kept.spread.flows.panels <= HELD_PANELS && !geometry.is_empty() {
            held.0 = Some((geometry, ready, solved));
        }
        // Where it cannot be kept it is solved again the next time.
        if let (Some((dir, label)), Ok(bytes)) = (place, postcard::to_allocvec(&kept)) {
            store::keep_spread(dir, &label, &bytes);
        }
        Ok((kept, false))
    }

    /// What has to be the same: every number of the scene, the bytes of its
    /// prints, how they are surveyed, how fine it is cut, and this very program.
    fn label(&self, files: &[&[u8]]) -> Option<String> {
        self.digest(self.scene.clone(), files)
    }

    /// The same of what was cut into panels: any supply, and any kinetics as long
    /// as there are some.
    fn geometry(&self, files: &[&[u8]]) -> Option<String> {
        let mut scene = self.scene.clone();
        scene.supply = None;
        let bodies = scene.bodies.iter_mut().map(|body| &mut body.kinetics);
        for kinetics in bodies.filter(|kinetics| !kinetics.is_none()) {
            *kinetics = Kinetics::Linear { rp_ohm_m2: 1.0 };
        }
        scene.wires.iter_mut().for_each(|wire| wire.kinetics = None);
        self.digest(scene, files)
    }

    fn digest(&self, mut scene: Scene, files: &[&[u8]]) -> Option<String> {
        // Where a print lies is not what it is.
        for (body, bytes) in scene.bodies.iter_mut().zip(files) {
            body.mesh = sha256_hex(bytes);
        }
        let text = serde_json::to_string(&scene).ok()?;
        let program = store::program_stamp()?;
        let (panels, bubble) = (self.panels, self.bubble_mm);
        let all = format!("{program}\n{panels}\n{bubble}\n{text}");
        Some(sha256_hex(all.as_bytes()))
    }
}

/// The share of the work after which the prints are surveyed.
const SURVEYED: f64 = 0.15;

/// The share after which all is in panels.
const READY: f64 = 0.6;

impl Asked<'_> {
    /// Answers it; `held` is of the question before, `seconds` tells how much time
    /// passed since any instant.
    ///
    /// # Errors
    /// [`Unspread`]: a file, a print, the scene or the equations stood in the
    /// way, or it was stopped.
    pub fn answer(
        &self,
        held: &mut Held,
        seconds: &dyn Fn() -> f64,
        watch: &dyn Watch,
    ) -> Result<Answer, Unspread> {
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
        let (scene, assumed) = self.definition.whole_scene(tank, &hung, self.flow);
        let mut warnings = Vec::new();
        for (file, (print, unit)) in files.iter().zip(&read) {
            let name = &file.piece.name;
            if print.unit.is_none() && file.given.is_none() {
                warnings.push(format!("{name}: the file says no unit: taken as {unit}"));
            }
            let remarks = print.remarks.iter();
            warnings.extend(remarks.map(|remark| format!("{name}: {remark}")));
        }
        let question = Question {
            scene: &scene,
            bubble_mm: self.definition.bubble.to(MM),
            panels: self.panels,
            cache: self.cache,
        };
        let bytes: Vec<&[u8]> = files.iter().map(|file| &file.bytes[..]).collect();
        let surveyed = || surveyed(&question, &read, watch);
        let (kept, cached) =
            question.answered(&bytes, surveyed, of_scene, held, (seconds, watch))?;
        Ok(Answer {
            scene,
            spread: kept.spread,
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
    question: &Question<'_>,
    read: &[(Mesh<'_>, LengthUnit)],
    watch: &dyn Watch,
) -> Result<Vec<Print>, Unspread> {
    let step = SURVEYED / read.len().max(1) as f64;
    let mut prints = Vec::new();
    for (k, (body, (print, unit))) in question.scene.bodies.iter().zip(read).enumerate() {
        let shapes = body.masks.iter();
        let order = Order {
            masks: shapes
                .filter_map(|shape| shape.parse::<Mask>().ok())
                .collect(),
            bubble_mm: question.bubble_mm,
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
pub fn box_mm(print: &Mesh<'_>, unit: LengthUnit) -> PrintBox {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::scene::Supply;
    use crate::units::Unwatched;

    const DOWN: [f64; 3] = [0.0, 0.0, -10.0];

    /// A pyramid of 20 mm that stands on its tip, in a bath without end.
    fn pyramid() -> (Scene, Print) {
        let [a, b, c] = [[-10.0, -10.0, 10.0], [10.0, -10.0, 10.0], [0.0, 10.0, 10.0]];
        let triangles = vec![[a, b, c], [b, a, DOWN], [c, b, DOWN], [a, c, DOWN]];
        let print = Print {
            masked: vec![false; 4],
            of: vec![0, 1, 2, 3],
            solid: true,
            triangles,
        };
        let scene = r#"{"tank": null, "conductivity_s_m": 25, "bodies": [{"name": "leaf",
            "mesh": "leaf.stl", "unit": "mm", "move_mm": [0, 0, 0], "rotation": [1, 0, 0, 0],
            "volts": 0, "kinetics": {"kind": "linear", "rp_ohm_m2": 0.0004}}],
            "supply": {"amps": 1}}"#;
        (serde_json::from_str(scene).unwrap(), print)
    }

    /// The volts of the scene, and whether its print was asked for.
    fn volts(scene: &Scene, print: &Print, held: &mut Held) -> (f64, bool) {
        let question = Question {
            scene,
            bubble_mm: 0.5,
            panels: 600,
            cache: None,
        };
        let mut asked = false;
        let surveyed = || {
            asked = true;
            Ok::<_, String>(vec![print.clone()])
        };
        let told = |error: SceneError| error.to_string();
        let answer = question.answered(&[b"leaf"], surveyed, told, held, (&|| 0.0, &Unwatched));
        (answer.unwrap().0.spread.volts, asked)
    }

    #[test]
    fn the_same_geometry_is_not_cut_again() {
        let (mut scene, print) = pyramid();
        let mut held = Held::default();
        let (first, asked) = volts(&scene, &print, &mut held);
        assert!(asked);
        scene.supply = Some(Supply::Amps(3.0));
        let (third, asked) = volts(&scene, &print, &mut held);
        // Ohm's law: linear kinetics, three times the amps.
        assert!(!asked && (third / first / 3.0 - 1.0).abs() < 1e-3);
        scene.bodies[0].kinetics = Kinetics::Linear { rp_ohm_m2: 8e-4 };
        let (other, asked) = volts(&scene, &print, &mut held);
        let (fresh, _) = volts(&scene, &print, &mut Held::default());
        assert!(!asked && (other / fresh - 1.0).abs() < 1e-3 && other > 1.05 * third);
        scene.bodies[0].move_mm = [1.0, 0.0, 0.0];
        assert!(volts(&scene, &print, &mut held).1);
    }
}
