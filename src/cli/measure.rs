//! `measure`, and how print files are read and surveyed for other commands.

use std::io::{self, IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use serde_json::{Value, json};

use super::Context;
use super::args::MeasureArgs;
use super::outcome::{Fault, Outcome, Trouble};
use crate::clock::Clock;
use crate::mesh::{self, LengthUnit, Mask, MaskTaken, Mesh, MeshError, Order, SizeDoubt, Survey};
use crate::project::SurveyedPrint;
use crate::report::print::{Print, size_words};
use crate::store;
use crate::units::{Instant, MM, Stopped, Watch, clock_span};

/// `measure FILE…`
pub(super) fn measure(context: &Context<'_>, args: &MeasureArgs) -> Result<Outcome, Trouble> {
    if args.classes.is_some() && args.files.len() > 1 {
        return Err(Trouble::usage("--classes takes one print: name one file"));
    }
    let mut warnings = Vec::new();
    let mut objects = Vec::new();
    let mut texts = Vec::new();
    for file in &args.files {
        let (object, text) = measure_one(context, args, file, &mut warnings)?;
        texts.push(text);
        objects.push(object);
    }
    let json = match objects.as_slice() {
        [only] => only.clone(),
        _ => json!({ "files": objects }),
    };
    Ok(Outcome::both(texts.join("\n"), json).warn(warnings))
}

fn measure_one(
    context: &Context<'_>,
    args: &MeasureArgs,
    file: &Path,
    warnings: &mut Vec<String>,
) -> Result<(Value, String), Trouble> {
    let began = context.clock.now();
    let bytes = read_bytes(file)?;
    let read = ReadPrint::of(file, &bytes, args.unit)?;
    let order = read.order(args.bubble.to(MM), args.mask.clone())?;
    let progress = Progress::on(context.clock);
    let SurveyedPrint { survey, shape } =
        SurveyedPrint::of(&read.print, &order, &progress).map_err(stopped)?;
    drop(progress);
    let name = file.to_string_lossy();
    let mut warn = |said: String| warnings.push(format!("{name}: {said}"));
    read.warnings().into_iter().for_each(&mut warn);
    survey
        .masks
        .iter()
        .filter_map(MaskTaken::warning)
        .for_each(&mut warn);
    if survey.volume_mm3.is_none() {
        warn("the triangles do not close up: no volume is told".to_owned());
    }
    if let Some(out) = &args.classes {
        write_classes(out, file, &survey)?;
    }
    let print = Print {
        file: &name,
        unit_source: read.unit_source,
        order: &order,
        survey: &survey,
        shape: &shape,
        seconds: Some(context.clock.now().elapsed_since(began)),
    };
    let mut text = print.text();
    if let Some(out) = &args.classes {
        text = format!("{text}  {} is written\n", out.display());
    }
    Ok((print.json(), text))
}

/// Writes the surface with its classes, never over the print itself.
fn write_classes(out: &Path, print: &Path, survey: &Survey) -> Result<(), Trouble> {
    let whole = |path: &Path| path.canonicalize().ok();
    if whole(out).is_some_and(|out| whole(print) == Some(out)) {
        return Err(Trouble::usage(
            "--classes names the print itself: give another file",
        ));
    }
    Ok(store::write_out(out, mesh::classes_ply(&survey.facets))?)
}

/// A print file as it reads.
pub(super) struct ReadPrint<'a> {
    /// Its triangles.
    pub(super) print: Mesh<'a>,
    /// The unit that its numbers are taken in.
    pub(super) unit: LengthUnit,
    /// Where that comes from.
    pub(super) unit_source: &'static str,
    /// The unit that was given.
    given: Option<LengthUnit>,
}

impl<'a> ReadPrint<'a> {
    /// Reads it; the unit that the file names goes before the one given.
    pub(super) fn of(
        file: &Path,
        bytes: &'a [u8],
        given: Option<LengthUnit>,
    ) -> Result<Self, Trouble> {
        let print = mesh::read(bytes).map_err(|error| mesh_trouble(file, &error))?;
        let (unit, unit_source) = match (print.unit, given) {
            (Some(unit), _) => (unit, "file"),
            (None, Some(unit)) => (unit, "given"),
            (None, None) => (LengthUnit::Mm, "assumed"),
        };
        Ok(Self {
            print,
            unit,
            unit_source,
            given,
        })
    }

    /// What to survey; a mask of a group that the file does not have is refused.
    pub(super) fn order(&self, bubble_mm: f64, masks: Vec<Mask>) -> Result<Order, Trouble> {
        for mask in &masks {
            mask.check_group(self.print.groups()).map_err(|error| {
                Trouble::fault("usage", format!("--mask: {error}"), error.remedy())
            })?;
        }
        Ok(Order {
            unit: self.unit,
            bubble_mm,
            masks,
        })
    }

    /// Its size as the unit makes it, in mm.
    pub(super) fn size_mm(&self) -> [f64; 3] {
        mesh::measure(&self.print, self.unit).size_mm
    }

    /// Whether the size is one of a print.
    pub(super) fn plausible(&self) -> Result<(), SizeDoubt> {
        mesh::plausible_print(self.size_mm())
    }

    /// What is to be said of the file itself.
    pub(super) fn warnings(&self) -> Vec<String> {
        let mut warnings = Vec::new();
        if self.unit_source == "assumed" {
            let size = size_words(self.size_mm());
            warnings.push(format!("the file says no unit: taken as mm ({size})"));
        }
        if let (Some(file), Some(given)) = (self.print.unit, self.given)
            && file != given
        {
            warnings.push(format!(
                "the file says its unit, {file}: --unit {given} is not taken"
            ));
        }
        warnings.extend(self.print.remarks.iter().map(ToString::to_string));
        warnings
    }
}

/// The bytes of a print file.
pub(super) fn read_bytes(file: &Path) -> Result<Vec<u8>, Trouble> {
    let there = std::fs::metadata(file).map_err(|error| not_there(file, &error))?;
    mesh::check_length(there.len()).map_err(|e| mesh_trouble(file, &e))?;
    Ok(store::read_file(file)?)
}

/// Why a file is not to be had.
fn not_there(file: &Path, error: &io::Error) -> Trouble {
    let leads_to = std::fs::read_link(file).ok();
    let spelling = || {
        let here = std::env::current_dir().map_or_else(|_| ".".into(), PathBuf::into_os_string);
        let here = here.to_string_lossy();
        format!("see to the spelling of its path, which begins at {here}")
    };
    let (message, remedy) = match (error.kind(), leads_to) {
        (io::ErrorKind::NotFound, Some(to)) => (
            format!("it is a link to {}, where nothing is", to.display()),
            "name the file itself, or mend the link".to_owned(),
        ),
        (io::ErrorKind::NotFound, None) => ("there is no such file".to_owned(), spelling()),
        (io::ErrorKind::NotADirectory, _) => (
            "its path leads through a file as if that were a folder".to_owned(),
            spelling(),
        ),
        (io::ErrorKind::InvalidFilename, _) => (
            "its name or its path is longer than the system takes".to_owned(),
            "give it a shorter name".to_owned(),
        ),
        (io::ErrorKind::PermissionDenied, _) => (
            "it may not be read".to_owned(),
            "see to the permissions of the file and its folder".to_owned(),
        ),
        (_, Some(to)) => (
            format!(
                "it is a link to {} that cannot be followed: {error}",
                to.display()
            ),
            "name the file itself; where links lead in a circle, mend them".to_owned(),
        ),
        (_, None) => (format!("it cannot be read: {error}"), spelling()),
    };
    Trouble::Error(Box::new(Fault {
        kind: "io".to_owned(),
        message,
        remedy,
        file: Some(file.to_owned()),
        ..Fault::default()
    }))
}

/// What a reader found wrong, with its file.
fn mesh_trouble(file: &Path, error: &MeshError) -> Trouble {
    Trouble::Error(Box::new(Fault {
        kind: error.kind().to_owned(),
        message: error.to_string(),
        remedy: error.remedy(),
        file: Some(file.to_owned()),
        line: error.line(),
        column: error.spot().map(|spot| spot.column),
    }))
}

/// Long work that was stopped.
pub(super) fn stopped(error: Stopped) -> Trouble {
    Trouble::fault("stopped", error.to_string(), "begin it again")
}

/// How far long work is, on standard error where that is a terminal and the
/// work takes over a second. Ctrl-C ends the program as it ends any other.
pub(super) struct Progress<'a> {
    clock: &'a dyn Clock,
    began: Instant,
    /// When it was last told; none where nobody would see it.
    told: Option<Mutex<Instant>>,
}

impl<'a> Progress<'a> {
    pub(super) fn on(clock: &'a dyn Clock) -> Self {
        let began = clock.now();
        let is_seen = io::stderr().is_terminal();
        Self {
            clock,
            began,
            told: is_seen.then(|| Mutex::new(began)),
        }
    }

    fn say(text: &str) {
        // Where it cannot be told, the work goes on all the same.
        let _untold = write!(io::stderr(), "\r\x1b[K{text}");
    }
}

impl Watch for Progress<'_> {
    fn at(&self, step: &'static str, done: f64) {
        let Some(Ok(mut told)) = self.told.as_ref().map(Mutex::try_lock) else {
            return;
        };
        let now = self.clock.now();
        let took = now.elapsed_since(self.began);
        if now.elapsed_since(*told) < 1.0 {
            return;
        }
        *told = now;
        let left = if done > 0.05 {
            format!(", {} left", clock_span(took / done - took))
        } else {
            String::new()
        };
        Self::say(&format!("{step}: {:.0} %{left}", done * 100.0));
    }

    fn stopped(&self) -> bool {
        false
    }
}

impl Drop for Progress<'_> {
    fn drop(&mut self) {
        let told = self.told.take().and_then(|told| told.into_inner().ok());
        if told.is_some_and(|told| told != self.began) {
            Self::say("");
        }
    }
}
