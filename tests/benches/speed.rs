//! How fast: the screen's frame, the fold, the journal, the print reader.
//! Run with `cargo bench`; each print is also told as a ratio to the naive way.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test that fails panics"
)]

#[path = "../support/long.rs"]
mod long;
#[path = "../support/prints.rs"]
#[allow(dead_code, reason = "shared with the tests")]
mod prints;
#[path = "../support/pty.rs"]
mod pty;

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use tankside::field::scene::{BodySpread, Cell, Flows, Kind, Place, Scene, Spread, Vessel};
use tankside::mesh;
use tankside::project::{Action, Definition, History, Project, What};
use tankside::store::{Folder, read_journal};
use tankside::tui::app::{Key, KeyCode, Message, Model, Print, Screen, Seen, Source, Spot, update};
use tankside::tui::view::{Colours, Theme, draw};
use tankside::units::{A, Instant, Unwatched, V};

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-projects")
        .join(name)
}

fn evening() -> Instant {
    "2026-03-04T20:05:00Z".parse().expect("an instant")
}

/// The mantel clock's forty pieces with their history.
fn forty() -> Project {
    let text =
        std::fs::read_to_string(sample("mantel-clock").join("project.ron")).expect("a definition");
    let definition = Definition::parse(&text).expect("reads");
    let journal =
        std::fs::read_to_string(sample("mantel-clock").join("journal.ron")).expect("a journal");
    Project::new(
        definition,
        read_journal(&journal).expect("whole"),
        BTreeMap::new(),
    )
    .expect("folds")
}

/// What the bench is about.
const EVENTS: usize = 100_000;

#[expect(clippy::disallowed_methods, reason = "a bench measures real time")]
fn timed<T>(act: impl FnOnce() -> T) -> (Duration, T) {
    let begun = std::time::Instant::now();
    let done = act();
    (begun.elapsed(), done)
}

fn ms(time: Duration) -> f64 {
    time.as_secs_f64() * 1000.0
}

/// A ball with waves on it, of so many triangles.
fn wavy(triangles: usize) -> Vec<[mesh::Corner; 3]> {
    use std::f64::consts::PI;
    let bands = ((triangles as f64 / 4.0).sqrt()).round() as usize;
    let at = |band: usize, step: usize| {
        let (down, round) = (
            PI * band as f64 / bands as f64,
            PI * step as f64 / bands as f64,
        );
        let radius = 50.0 + 3.0 * (9.0 * down).sin() * (7.0 * round).sin();
        let level = radius * down.sin();
        [
            level * round.cos(),
            level * round.sin(),
            radius * down.cos(),
        ]
    };
    let every = (0..bands).flat_map(|band| (0..2 * bands).map(move |step| (band, step)));
    let pairs = every.map(|(band, step)| {
        let [a, b] = [at(band, step), at(band, step + 1)];
        let [c, d] = [at(band + 1, step), at(band + 1, step + 1)];
        [[a, c, b], [b, c, d]]
    });
    pairs.flatten().collect()
}

/// A screen that shows such a print.
fn showing(triangles: usize) -> Model {
    let mut model = Model::new(forty(), Some("Ida".into()), evening());
    let piece = model.pieces_along()[0].to_owned();
    model.spot = Some(Spot::Piece(piece.clone()));
    let source = Source::of(&model.project.definition, &piece).expect("a print");
    let wavy = mesh::Mesh::of(wavy(triangles));
    let order = mesh::Order::in_unit(mesh::LengthUnit::Mm);
    let facets = (0..)
        .zip(wavy.triangles())
        .map(|(triangle, corners)| mesh::Facet {
            triangle,
            corners,
            class: mesh::Class::Wetted,
        });
    let few = mesh::Mesh::of(wavy.triangles().take(1).collect());
    let mut survey = mesh::survey(&few, &order, &Unwatched).expect("not stopped");
    survey.facets = facets.collect();
    let print = Arc::new(Print::of(source, survey));
    update(&mut model, Message::Key(Key::char('d')), evening());
    let read = Message::PrintRead {
        piece,
        result: Ok(print),
    };
    update(&mut model, read, evening());
    model
}

/// A key that turns a print, and the frame after it.
fn print_drawn(c: &mut Criterion) {
    for (triangles, width, height) in [(100_000, 120, 40), (100_000, 200, 60), (1_000_000, 120, 40)]
    {
        let mut model = showing(triangles);
        let theme = Theme::with(Colours::Dark, false);
        let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a terminal");
        let name = format!("print drawn: {triangles} triangles at {width}x{height}");
        c.bench_function(&name, |b| {
            b.iter(|| {
                update(&mut model, Message::Key(Key::char('6')), evening());
                terminal
                    .draw(|f| draw(&model, &theme, evening(), f))
                    .expect("drawn")
                    .count
            });
        });
        update(&mut model, Message::Key(Key::char('*')), evening());
        c.bench_function(&format!("{name}, a step of the marker"), |b| {
            b.iter(|| update(&mut model, Message::Key(Key::char('6')), evening()).len());
        });
    }
}

/// The middle of some times in milliseconds.
/// A piece of so many triangles with what came of it, at its place in a row.
fn plated(name: &str, n: usize, triangles: usize) -> BodySpread {
    let moved = |corner: mesh::Corner| [corner[0] + 120.0 * n as f64, corner[1], corner[2] + 200.0];
    let cells = (0..).zip(wavy(triangles));
    let cells = cells.map(|(triangle, corners)| Cell {
        triangle,
        corners_mm: corners.map(moved),
        area_mm2: 1.0,
        i_a_dm2: 2.0 * f64::from(triangle) / triangles as f64,
    });
    let at_mm = moved([0.0, 0.0, 50.0]);
    BodySpread {
        name: name.to_owned(),
        kind: Kind::Piece,
        volts: 0.0,
        area_dm2: 1.0,
        amps: 1.0,
        share: 0.025,
        mean_a_dm2: 1.0,
        min_over_mean: 0.1,
        max_over_mean: 2.0,
        p05: 0.1,
        p95: 1.9,
        places: vec![Place {
            what: "tip".to_owned(),
            at_mm,
            over_mean: 2.0,
        }],
        box_mm: [at_mm.map(|side| side - 50.0), at_mm.map(|side| side + 50.0)],
        panels: Vec::new(),
        triangles: cells.collect(),
    }
}

/// The Spread screen of forty pieces with so many triangles in all.
fn spread_shown(triangles: usize) -> Model {
    let mut model = Model::new(forty(), Some("Ida".into()), evening());
    for key in ['x', 'w'] {
        update(&mut model, Message::Key(Key::char(key)), evening());
    }
    let work = model.spread_asked().expect("prints");
    let each = triangles / work.pieces.len();
    let pieces = work.pieces.iter().enumerate();
    let spread = Spread {
        volts: 0.5,
        amps: 40.0,
        resistance_ohm: 0.0125,
        bodies: pieces.map(|(n, name)| plated(name, n, each)).collect(),
        flows: Flows {
            panels: 10_000,
            residual: 1e-7,
            balance: 1e-6,
            error_resistance: 0.01,
            error_zones: 0.03,
        },
    };
    let scene = Scene {
        tank: Some(Vessel {
            min_mm: [-100.0, -100.0, 0.0],
            max_mm: [5000.0, 100.0, 400.0],
        }),
        conductivity_s_m: 25.0,
        anodes: Vec::new(),
        rods: Vec::new(),
        bodies: Vec::new(),
        wires: Vec::new(),
        shields: Vec::new(),
        supply: None,
    };
    let tank = work.tank.clone();
    let seen = Arc::new(Seen::of(work, (&scene, spread), Vec::new()));
    let result = Ok(seen);
    update(
        &mut model,
        Message::SpreadSolved { tank, result },
        evening(),
    );
    model
}

/// A frame of the Spread screen, and of its picture after a key that turns it.
fn spread_drawn(c: &mut Criterion) {
    let mut model = spread_shown(100_000);
    let theme = Theme::with(Colours::Dark, false);
    for (width, height) in [(80, 24), (120, 40), (200, 60)] {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a terminal");
        let name = format!("spread: forty pieces, 100,000 triangles at {width}x{height}");
        c.bench_function(&name, |b| {
            b.iter(|| {
                update(&mut model, Message::Tick, evening());
                terminal
                    .draw(|f| draw(&model, &theme, evening(), f))
                    .expect("drawn")
                    .count
            });
        });
        update(&mut model, Message::Key(Key::char('*')), evening());
        c.bench_function(&format!("{name}, turned"), |b| {
            b.iter(|| {
                update(&mut model, Message::Key(Key::char('6')), evening());
                terminal
                    .draw(|f| draw(&model, &theme, evening(), f))
                    .expect("drawn")
                    .count
            });
        });
        update(
            &mut model,
            Message::Key(Key::plain(KeyCode::Esc)),
            evening(),
        );
    }
}

fn middle(times: &mut [f64]) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

/// Tells some times: the shortest, the middle, the longest.
fn tell(what: &str, bound: &str, times: &mut [f64]) {
    let middle = middle(times);
    let (least, most) = (times[0], times[times.len() - 1]);
    say(&format!(
        "{what}: {least:.2} / {middle:.2} / {most:.2} ms (asked: {bound})"
    ));
}

/// Whether a part that times itself is asked for: by its name, or by no name.
fn asked(part: &str) -> bool {
    let name = std::env::args().nth(1).filter(|arg| !arg.starts_with('-'));
    name.is_none_or(|name| part.contains(&name))
}

fn say(line: &str) {
    writeln!(std::io::stdout(), "{line}").expect("standard output");
}

fn frame(c: &mut Criterion) {
    let mut model = Model::new(forty(), Some("Ida".into()), evening());
    let theme = Theme::new(true, false);
    let mut terminal = Terminal::new(TestBackend::new(200, 60)).expect("a terminal");
    c.bench_function("frame: forty pieces at 200x60", |b| {
        b.iter(|| {
            terminal
                .draw(|f| draw(&model, &theme, evening(), f))
                .expect("drawn")
                .count
        });
    });
    let mut second = 0.0;
    c.bench_function("a second passes: update and frame", |b| {
        b.iter(|| {
            second += 1.0;
            let now = evening().plus_seconds(second);
            let effects = update(&mut model, Message::Tick, now);
            terminal
                .draw(|f| draw(&model, &theme, now, f))
                .expect("drawn");
            effects.len()
        });
    });
}

/// A second that passes and its frame, after a long history, on every screen.
fn long_frame(c: &mut Criterion) {
    let project = long::project(EVENTS);
    let mut now = project.state().latest.expect("it has a history");
    let mut model = Model::new(project, Some("Ida".into()), now);
    let theme = Theme::new(true, false);
    let mut terminal = Terminal::new(TestBackend::new(200, 60)).expect("a terminal");
    for screen in Screen::ALL {
        model.screen = screen;
        model.spot = Some(Spot::Piece("piece-07".to_owned()));
        let name = format!("100,000 events: update and frame, {}", screen.title());
        c.bench_function(&name, |b| {
            b.iter(|| {
                now = now.plus_seconds(1.0);
                update(&mut model, Message::Tick, now);
                terminal
                    .draw(|f| draw(&model, &theme, now, f))
                    .expect("drawn");
            });
        });
    }
}

fn history(c: &mut Criterion) {
    let definition = Definition::parse(&long::text()).expect("a definition");
    let events = History::from(long::events(EVENTS));
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
    let (path, cache) = (scratch.path().join("long"), scratch.path().join("cache"));
    long::lay_out(&path, EVENTS);
    group.bench_function("open", |b| {
        b.iter(|| Folder::open(&path).expect("opens").project().events().len());
    });
    let folder = Folder::open(&path).expect("opens");
    group.bench_function("keep", |b| b.iter(|| assert!(folder.keep(&cache))));
    group.bench_function("glimpse", |b| {
        b.iter(|| Folder::glimpse(&path, &cache).expect("fits").events().len());
    });
    group.finish();
}

/// One event acknowledged, and an append with its fsync alone, in turn, so that
/// a busy disk is busy for both.
fn record(_: &mut Criterion) {
    if !asked("record") {
        return;
    }
    for events in [1, EVENTS] {
        let scratch = tempfile::tempdir().expect("a folder");
        let path = scratch.path().join("p");
        long::lay_out(&path, events);
        let mut folder = Folder::open(&path).expect("opens");
        let mut file = File::create(scratch.path().join("plain")).expect("a file");
        let mut now = folder.project().state().latest.expect("a history");
        let (mut one, mut fsync) = (Vec::new(), Vec::new());
        // The screen has a copy of what the keeper has.
        let mut shown = folder.project().clone();
        for _ in 0..200 {
            now = now.plus_seconds(1.0);
            let what = What::Note {
                piece: "piece-07".into(),
                text: "bright".into(),
            };
            let action = Action::now(what, "Ida");
            let (time, recorded) = timed(|| folder.record(&action, now, None));
            recorded.expect("recorded");
            one.push(ms(time));
            let (time, ()) = timed(|| {
                file.write_all(&[b'x'; 160]).expect("written");
                file.sync_all().expect("synced");
            });
            fsync.push(ms(time));
            shown.clone_from(folder.project());
        }
        let ratio = middle(&mut one) / middle(&mut fsync);
        tell(
            &format!("{events} events: an append and its fsync"),
            "-",
            &mut fsync,
        );
        tell(
            &format!("{events} events: one more acknowledged"),
            "2x",
            &mut one,
        );
        say(&format!(
            "{events} events: one event / one fsync = {ratio:.2}x (asked: 2x)"
        ));
        drop(shown);
    }
}

/// What changes the past acknowledged: an event of twelve minutes ago, which is
/// taken back and brought again; and an append with its fsync alone, in turn.
fn record_past(_: &mut Criterion) {
    if !asked("record: the past") {
        return;
    }
    let scratch = tempfile::tempdir().expect("a folder");
    let path = scratch.path().join("p");
    long::lay_out(&path, EVENTS);
    let mut folder = Folder::open(&path).expect("opens");
    let mut file = File::create(scratch.path().join("plain")).expect("a file");
    let mut now = folder.project().state().latest.expect("a history");
    let mut shown = folder.project().clone();
    let reading = What::Reading {
        tank: "main".into(),
        volts: V.of(0.7),
        amps: A.of(0.6),
        celsius: None,
        mode: None,
        piece: None,
    };
    let acts = [
        ("an event of 12 min ago", reading, 720.0),
        ("an undo", What::Undo { sequence: 0 }, 0.0),
        ("a redo", What::Redo { sequence: 0 }, 0.0),
    ];
    let (mut times, mut fsync) = ([const { Vec::new() }; 3], Vec::new());
    for _ in 0..100 {
        for ((_, what, ago), times) in acts.iter().zip(&mut times) {
            now = now.plus_seconds(1.0);
            let mut action = Action::now(what.clone(), "Ida");
            action.at = (*ago > 0.0).then(|| now.plus_seconds(-ago));
            let (time, recorded) = timed(|| folder.record(&action, now, None));
            recorded.expect("recorded");
            times.push(ms(time));
            let (time, ()) = timed(|| {
                file.write_all(&[b'x'; 160]).expect("written");
                file.sync_all().expect("synced");
            });
            fsync.push(ms(time));
            shown.clone_from(folder.project());
        }
    }
    let one = middle(&mut fsync);
    tell("an append and its fsync", "-", &mut fsync);
    for ((name, ..), times) in acts.iter().zip(&mut times) {
        let ratio = middle(times) / one;
        tell(
            &format!("{EVENTS} events: {name} acknowledged"),
            "2x",
            times,
        );
        say(&format!(
            "{EVENTS} events: {name} / one fsync = {ratio:.2}x (asked: 2x)"
        ));
    }
    drop(shown);
}

/// The real program in a real terminal.
fn start(_: &mut Criterion) {
    if !asked("start") {
        return;
    }
    let scratch = tempfile::tempdir().expect("a folder");
    let (path, cache) = (scratch.path().join("long"), scratch.path().join("cache"));
    long::lay_out(&path, EVENTS);
    let (path, cache_dir) = (
        path.to_str().expect("a path"),
        cache.to_str().expect("a path"),
    );
    let run = || {
        let env = [("TANKSIDE_CACHE_DIR", cache_dir)];
        let run = || pty::Pty::bare(env!("CARGO_BIN_EXE_tankside"), &["open", path], &env);
        let (time, pty) = timed(|| {
            let pty = run();
            pty.wait_frame("the first frame", |s| s.contents().contains("Forty pieces"));
            pty
        });
        (ms(time), pty)
    };
    let quit = |mut pty: pty::Pty| {
        pty.send("\x03");
        pty.wait_end();
    };
    let (mut rebuilt, mut kept, mut busy, mut idle) = (vec![], vec![], vec![], vec![]);
    let (mut rebuilt_worked, mut kept_worked) = (vec![], vec![]);
    let mut memory = [0.0_f64; 2];
    for _ in 0..10 {
        let _nothing_there = std::fs::remove_dir_all(&cache);
        let (time, pty) = run();
        rebuilt.push(time);
        rebuilt_worked.push(pty.worked_ms());
        memory[0] = memory[0].max(pty.most_memory_mb());
        quit(pty);
        let (time, mut pty) = run();
        kept.push(time);
        kept_worked.push(pty.worked_ms());
        // The keeper reads the journal now.
        for _ in 0..5 {
            busy.push(ms(pty.answer("\t")));
        }
        std::thread::sleep(Duration::from_millis(1500));
        for _ in 0..5 {
            idle.push(ms(pty.answer("\t")));
        }
        memory[1] = memory[1].max(pty.most_memory_mb());
        quit(pty);
    }
    tell(
        "100,000 events: start to first frame, rebuilt",
        "500 ms",
        &mut rebuilt,
    );
    tell(
        "100,000 events: start to first frame, kept",
        "50 ms",
        &mut kept,
    );
    let worked = "100,000 events: the first thread's own time till then";
    tell(&format!("{worked}, rebuilt"), "-", &mut rebuilt_worked);
    tell(&format!("{worked}, kept"), "-", &mut kept_worked);
    tell(
        "key to frame while the keeper reads them",
        "16 ms",
        &mut busy,
    );
    tell("key to frame", "16 ms", &mut idle);
    say(&format!(
        "100,000 events: most memory {:.0} MB rebuilt, {:.0} MB kept (asked: 100 MB)",
        memory[0], memory[1]
    ));
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

/// The readers of every format on the same 180,000 triangles, in bytes of the
/// file a second; of a 3MF these are packed.
fn formats(c: &mut Criterion) {
    let side = 300;
    let corner = |k: usize| {
        let (x, y) = (k / (side + 1), k % (side + 1));
        [
            x as f64 * 0.05,
            y as f64 * 0.05,
            ((x * 7 + y * 13) % 17) as f64 * 0.01,
        ]
    };
    let halves = |k: usize| {
        let a = k / side * (side + 1) + k % side;
        let (b, c, d) = (a + side + 1, a + side + 2, a + 1);
        [vec![a, b, c], vec![a, c, d]]
    };
    let grid = prints::Shape {
        corners: (0..(side + 1) * (side + 1)).map(corner).collect(),
        faces: (0..side * side).flat_map(halves).collect(),
    };
    let mut group = c.benchmark_group("a print in each format");
    group.sample_size(10);
    for (name, file) in [
        ("stl", prints::stl(&grid)),
        ("stl ascii", prints::stl_ascii(&grid, "grid").into_bytes()),
        ("obj", prints::obj(&grid).into_bytes()),
        ("ply ascii", prints::ply(&grid, prints::Ply::Ascii)),
        ("ply", prints::ply(&grid, prints::Ply::Little)),
        ("3mf", prints::threemf_of(&grid, "millimeter")),
    ] {
        group.throughput(Throughput::Bytes(file.len() as u64));
        group.bench_function(name, |b| {
            b.iter(|| mesh::read(&file).expect("reads").count());
        });
    }
    group.finish();
}

criterion_group!(
    benches,
    frame,
    long_frame,
    history,
    record,
    record_past,
    start,
    print,
    print_drawn,
    spread_drawn,
    formats
);
criterion_main!(benches);
