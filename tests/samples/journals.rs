//! Makes the samples' journals from their stories, through the command line's
//! own rules: what a sample tells is legal.
//!
//! `cargo run --example make-sample-journals` writes them into
//! `sample-projects`; a test holds them equal to their stories.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test that fails panics"
)]

#[path = "../support/words.rs"]
mod words;

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::path::{Path, PathBuf};

use tankside::cli::{Io, run};
use tankside::units::Instant;

/// The first day of every story.
const FIRST_DAY: &str = "2026-03-01T00:00:00Z";

/// The samples that have a story.
pub(crate) const STORIES: [(&str, &str); 2] = [
    ("fern-lamp", include_str!("fern-lamp.story")),
    ("mantel-clock", include_str!("mantel-clock.story")),
];

/// A line of a story: when, and the words of a command after the folder.
struct Line {
    number: usize,
    at: Instant,
    words: Vec<String>,
}

/// The instant of `DAY HH:MM`.
fn instant(day: &str, clock: &str) -> Option<Instant> {
    let first: Instant = FIRST_DAY.parse().ok()?;
    let day: f64 = day.parse().ok()?;
    let (hours, minutes) = clock.split_once(':')?;
    let minutes: f64 = hours.parse::<f64>().ok()? * 60.0 + minutes.parse::<f64>().ok()?;
    Some(first.plus_seconds((day - 1.0) * 86400.0 + minutes * 60.0))
}

/// When a story is opened.
pub(crate) fn opened(story: &str) -> Option<Instant> {
    let line = story.lines().find(|l| l.starts_with("opened "))?;
    let mut words = line.split(' ').skip(1);
    instant(words.next()?, words.next()?)
}

fn lines(story: &str) -> Vec<Line> {
    let told = story
        .lines()
        .enumerate()
        .filter(|(_, l)| !l.is_empty() && !l.starts_with('#') && !l.starts_with("opened"));
    told.flat_map(|(number, text)| {
        let words = words::split(text);
        let at =
            instant(&words[0], &words[1]).unwrap_or_else(|| panic!("line {}: {text}", number + 1));
        each(&words[2])
            .into_iter()
            .map(|subject| Line {
                number: number + 1,
                at,
                words: [vec![subject], words[3..].to_vec()].concat(),
            })
            .collect::<Vec<_>>()
    })
    .collect()
}

/// `numeral-{1,2}` is `numeral-1` and `numeral-2`.
fn each(word: &str) -> Vec<String> {
    let parts = word
        .split_once('{')
        .and_then(|(head, rest)| Some((head, rest.split_once('}')?)));
    match parts {
        Some((head, (list, tail))) => list
            .split(',')
            .map(|one| format!("{head}{one}{tail}"))
            .collect(),
        None => vec![word.to_owned()],
    }
}

/// Lives a story on a sample's project in `folder`; its journal.
pub(crate) fn live(name: &str, story: &str, folder: &Path) -> String {
    let sample = samples().join(name);
    std::fs::create_dir_all(folder.join("meshes")).expect("a folder");
    std::fs::copy(sample.join("project.ron"), folder.join("project.ron"))
        .expect("the sample's definition");
    for mesh in std::fs::read_dir(sample.join("meshes")).expect("meshes") {
        let mesh = mesh.expect("a mesh");
        std::fs::copy(mesh.path(), folder.join("meshes").join(mesh.file_name())).expect("a copy");
    }
    for line in lines(story) {
        tell(folder, &line);
    }
    std::fs::read_to_string(folder.join("journal.ron")).expect("a journal")
}

fn tell(folder: &Path, line: &Line) {
    let verb = match line.words[0].as_str() {
        verb @ ("closeout" | "refresh") => verb.to_owned(),
        _ => "record".to_owned(),
    };
    let rest = line
        .words
        .iter()
        .skip(usize::from(verb != "record"))
        .cloned();
    let arguments = ["tankside".to_owned(), verb, folder.display().to_string()]
        .into_iter()
        .chain(rest)
        .chain([
            "--who".into(),
            "Ida".into(),
            "--now".into(),
            line.at.to_string(),
        ]);
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let mut io = Io {
        out: &mut out,
        err: &mut err,
        terminal: false,
    };
    let status = run(arguments.map(OsString::from), &mut io, &line.at);
    let err = String::from_utf8_lossy(&err);
    assert!(
        status == 0,
        "line {} ({}): {err}",
        line.number,
        line.words.join(" ")
    );
}

/// Where the samples lie.
pub(crate) fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-projects")
}

/// Every sample's journal by its name, lived in folders under `scratch`.
pub(crate) fn all(scratch: &Path) -> BTreeMap<&'static str, String> {
    STORIES
        .iter()
        .map(|(name, story)| (*name, live(name, story, &scratch.join(name))))
        .collect()
}

#[allow(
    dead_code,
    reason = "the example's own; the test includes this file as a module"
)]
fn main() {
    let scratch = tempfile::tempdir().expect("a folder");
    for (name, journal) in all(scratch.path()) {
        let story = STORIES
            .iter()
            .find(|(n, _)| *n == name)
            .map(|(_, s)| *s)
            .unwrap_or_default();
        let opened = opened(story).expect("a story says when it is opened");
        std::fs::write(samples().join(name).join("journal.ron"), journal).expect("written");
        std::fs::write(
            samples().join(name).join("opened.txt"),
            format!("{opened}\n"),
        )
        .expect("written");
    }
}
