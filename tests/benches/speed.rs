//! How fast: the screen's frame, the fold, the journal, the print reader.
//! Run with `cargo bench`; each print is also told as a ratio to the naive way.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test that fails panics"
)]

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use tankside::mesh;
use tankside::project::{Action, Event, Project, What};
use tankside::store::{Folder, read_journal};
use tankside::tui::app::{Message, Model, update};
use tankside::tui::view::{Theme, draw};
use tankside::units::Instant;

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-projects")
        .join(name)
}

fn start() -> Instant {
    "2026-03-04T20:05:00Z".parse().expect("an instant")
}

/// The mantel clock's forty pieces with their history.
fn forty() -> Project {
    let text =
        std::fs::read_to_string(sample("mantel-clock").join("project.ron")).expect("a definition");
    let definition = tankside::project::Definition::parse(&text).expect("reads");
    let journal =
        std::fs::read_to_string(sample("mantel-clock").join("journal.ron")).expect("a journal");
    Project::new(
        definition,
        read_journal(&journal).expect("whole"),
        BTreeMap::new(),
    )
    .expect("folds")
}

/// So many notes after the history of the forty.
fn long_history(events: usize) -> Vec<Event> {
    let project = forty();
    let mut all = project.events().to_vec();
    for n in all.len()..events {
        let at = start().plus_seconds(n as f64);
        all.push(Event {
            sequence: n as u64 + 1,
            at,
            recorded: at,
            who: "Ida".into(),
            what: What::Note {
                piece: "numeral-7".into(),
                text: format!("note {n}"),
            },
            reason: None,
            overridden: Vec::new(),
        });
    }
    all
}

fn frame(c: &mut Criterion) {
    let mut model = Model::new(forty(), Some("Ida".into()), start());
    let theme = Theme::new(true, false);
    let mut terminal = Terminal::new(TestBackend::new(200, 60)).expect("a terminal");
    c.bench_function("frame: forty pieces at 200x60", |b| {
        b.iter(|| {
            terminal
                .draw(|f| draw(&model, &theme, start(), f))
                .expect("drawn")
                .count
        });
    });
    let mut second = 0.0;
    c.bench_function("a second passes: update and frame", |b| {
        b.iter(|| {
            second += 1.0;
            let now = start().plus_seconds(second);
            let effects = update(&mut model, Message::Tick, now);
            terminal
                .draw(|f| draw(&model, &theme, now, f))
                .expect("drawn");
            effects.len()
        });
    });
}

fn history(c: &mut Criterion) {
    let definition = forty().definition;
    let events = long_history(100_000);
    let mut group = c.benchmark_group("100,000 events");
    group.sample_size(10);
    group.bench_function("fold", |b| {
        b.iter_batched(
            || (definition.clone(), events.clone()),
            |(definition, events)| {
                Project::new(definition, events, BTreeMap::new()).expect("folds")
            },
            BatchSize::PerIteration,
        );
    });
    let scratch = tempfile::tempdir().expect("a folder");
    let path = scratch.path().join("long");
    let text =
        std::fs::read_to_string(sample("mantel-clock").join("project.ron")).expect("a definition");
    drop(Folder::lay_out(&path, &text, &events, &[]).expect("laid out"));
    group.bench_function("open", |b| {
        b.iter(|| Folder::open(&path).expect("opens").project().events().len());
    });
    group.finish();
}

fn record(c: &mut Criterion) {
    let scratch = tempfile::tempdir().expect("a folder");
    let text =
        std::fs::read_to_string(sample("table-bell").join("project.ron")).expect("a definition");
    let mut folder = Folder::create(&scratch.path().join("p"), &text, start()).expect("made");
    let mut group = c.benchmark_group("one event");
    group.sample_size(20);
    group.bench_function("recorded", |b| {
        b.iter(|| {
            let what = What::Note {
                piece: "bell".into(),
                text: "bright".into(),
            };
            folder
                .record(&Action::now(what, "Ida"), start(), None)
                .expect("recorded")
                .event
                .sequence
        });
    });
    let mut file = File::create(scratch.path().join("plain")).expect("a file");
    group.bench_function("an append and its fsync alone", |b| {
        b.iter(|| {
            file.write_all(&[b'x'; 160]).expect("written");
            file.sync_all().expect("synced");
        });
    });
    group.finish();
}

/// A million triangles: a sheet of 707 x 707 cells, each of two.
fn million() -> Vec<u8> {
    let side = 707_u32;
    let mut bytes = vec![0; 80];
    bytes.extend((side * side * 2).to_le_bytes());
    let z = |x: u32, y: u32| ((x * 7 + y * 13) % 17) as f32 * 0.01;
    for x in 0..side {
        for y in 0..side {
            let corner = |dx: u32, dy: u32| {
                [
                    (x + dx) as f32 * 0.1,
                    (y + dy) as f32 * 0.1,
                    z(x + dx, y + dy),
                ]
            };
            for triangle in [
                [corner(0, 0), corner(1, 0), corner(1, 1)],
                [corner(0, 0), corner(1, 1), corner(0, 1)],
            ] {
                bytes.extend([0; 12]);
                bytes.extend(triangle.into_iter().flatten().flat_map(f32::to_le_bytes));
                bytes.extend([0; 2]);
            }
        }
    }
    bytes
}

fn print(c: &mut Criterion) {
    let scratch = tempfile::tempdir().expect("a folder");
    let path = scratch.path().join("million.stl");
    std::fs::write(&path, million()).expect("written");
    let read = |path: &Path| {
        let mut bytes = Vec::new();
        File::open(path)
            .expect("opens")
            .read_to_end(&mut bytes)
            .expect("reads");
        bytes
    };
    let mut group = c.benchmark_group("a million triangles");
    group.sample_size(10);
    group.bench_function("file alone", |b| b.iter(|| read(&path).len()));
    group.bench_function("file, reader and naive sum", |b| {
        b.iter(|| {
            let bytes = read(&path);
            let print = mesh::read(&bytes).expect("reads");
            mesh::measure(&print, mesh::LengthUnit::Mm).naive_area_mm2
        });
    });
    group.finish();
}

criterion_group!(benches, frame, history, record, print);
criterion_main!(benches);
