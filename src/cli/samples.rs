//! `try`: a private copy of a sample, as if its evening were now.

use std::path::{Path, PathBuf};

use include_dir::{Dir, include_dir};
use serde_json::json;

use super::outcome::{Outcome, Trouble, line_safe};
use super::{Context, project};
use crate::project::{ClosedItem, Event, What};
use crate::report;
use crate::settings::samples_dir;
use crate::store::{ErrorKind, Folder, ron_text};
use crate::units::Instant;

static SAMPLES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/sample-projects");

/// The instant at which a sample's journal was opened, beside it.
const OPENED: &str = "opened.txt";

/// `try [SAMPLE]`
pub(super) fn try_sample(context: &Context<'_>, name: &str) -> Result<Outcome, Trouble> {
    let Some(sample) = SAMPLES.get_dir(name) else {
        let names: Vec<_> = SAMPLES
            .dirs()
            .map(|d| d.path().to_string_lossy().into_owned())
            .collect();
        return Err(Trouble::usage(format!(
            "`{}` is no sample; there are: {}",
            name.escape_debug(),
            names.join(" ")
        )));
    };
    let zone = crate::clock::local_zone();
    let now = context
        .replaced_now(zone)?
        .unwrap_or_else(|| context.clock.now());
    let folder = copy(sample, now)?;
    let place = line_safe(&folder.path().to_string_lossy());
    let told = format!("your copy is in {place}");
    if context.terminal {
        project::show(context, folder.path())?;
        return Ok(Outcome::both(told, json!({})));
    }
    let text = report::text::status_text(folder.project(), now);
    Ok(Outcome::both(text, json!({ "path": folder.path().to_string_lossy() })).warn([told]))
}

/// Lays a sample out in a folder of its own, its instants moved to `now`.
fn copy(sample: &Dir<'_>, now: Instant) -> Result<Folder, Trouble> {
    let text = |name: &str| {
        sample
            .get_file(sample.path().join(name))
            .and_then(|f| f.contents_utf8())
    };
    let broken = || Trouble::fault("sample", "the sample is not whole", "reinstall the program");
    let definition = text("project.ron").ok_or_else(broken)?;
    let zone = ron_text::quote(crate::clock::local_zone().name());
    let definition = ron_text::set(definition, "zone", &zone)
        .map_err(|e| Trouble::fault("sample", e.to_string(), ""))?;
    let events = match (text("journal.ron"), text(OPENED)) {
        (Some(journal), Some(opened)) => {
            let opened: Instant = opened.trim().parse().map_err(|_unreadable| broken())?;
            moved(crate::store::read_journal(journal)?, now.since(opened))
        }
        _ => Vec::new(),
    };
    let meshes: Vec<(&Path, &[u8])> = sample
        .get_dir(sample.path().join("meshes"))
        .into_iter()
        .flat_map(Dir::files)
        .filter_map(|f| Some((Path::new(f.path().file_name()?), f.contents())))
        .collect();
    for target in places(sample.path(), now) {
        match Folder::lay_out(&target, &definition, &events, &meshes) {
            // Another program was quicker.
            Err(error) if error.kind == ErrorKind::Exists => {}
            Err(mut error) if error.kind == ErrorKind::Io => {
                error.remedy += "; TANKSIDE_TRY_DIR names a folder for the copies";
                return Err(error.into());
            }
            laid_out => return Ok(laid_out?),
        }
    }
    let full = format!("no name is free for a copy of {}", sample.path().display());
    Err(Trouble::fault("io", full, "remove old copies"))
}

/// New folders under the user's data, or the system's place for temporary files.
fn places(sample: &Path, now: Instant) -> impl Iterator<Item = PathBuf> {
    let base = samples_dir().unwrap_or_else(std::env::temp_dir);
    let stamp: String = now
        .to_string()
        .chars()
        .filter(char::is_ascii_digit)
        .take(14)
        .collect();
    (1..1000)
        .map(move |n| base.join(format!("{}-{stamp}-{n}", sample.display())))
        .filter(|path| !path.exists())
}

/// Every instant moved by so many seconds.
fn moved(events: Vec<Event>, seconds: f64) -> Vec<Event> {
    let later = |at: Instant| at.plus_seconds(seconds);
    let item = |i: ClosedItem| ClosedItem {
        at: i.at.map(later),
        ..i
    };
    events
        .into_iter()
        .map(|event| Event {
            at: later(event.at),
            recorded: later(event.recorded),
            what: match event.what {
                What::CloseoutSign { sheet } => What::CloseoutSign {
                    sheet: sheet.into_iter().map(item).collect(),
                },
                other => other,
            },
            ..event
        })
        .collect()
}
