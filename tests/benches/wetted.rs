//! How fast a print is surveyed: `cargo bench --bench wetted`. A million clean
//! triangles read, summed and surveyed; two balls that cross beside the union
//! by manifold3d, where `python3` has it; growth up to five million triangles
//! with the most memory each took. Ratios stand beside the times.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a bench prints, and panics where it fails"
)]

use std::hint::black_box;
use std::path::Path;
use std::process::Command;

use tankside::mesh::{self, LengthUnit, Order, Survey};
use tankside::units::Unwatched;

#[path = "../support/solids.rs"]
#[allow(dead_code, reason = "shared by tests, benches and fuzz targets")]
mod solids;

mod timing;

use solids::Solid;
use timing::{peak_mb, row, shortest, timed};

/// Asks this program to survey a ball of so many cuts and tell what it took.
const GROWTH: &str = "--ball-of";

fn survey(stl: &[u8]) -> Survey {
    let mesh = mesh::read(stl).unwrap();
    mesh::survey(&mesh, &Order::in_unit(LengthUnit::Mm), &Unwatched).unwrap()
}

fn naive(stl: &[u8]) -> f64 {
    let mesh = mesh::read(stl).unwrap();
    mesh::measure(&mesh, LengthUnit::Mm).naive_area_mm2
}

fn clean() {
    let ball = Solid::ball(30.0, 354);
    let stl = ball.stl();
    println!(
        "\n{} clean triangles, one ball, from bytes in memory",
        ball.0.len()
    );
    let (reading, count) = shortest(|| black_box(mesh::read(&stl).unwrap()).count());
    let (summing, area) = shortest(|| black_box(naive(&stl)));
    let (surveying, survey) = shortest(|| survey(&stl));
    assert_eq!(count, ball.0.len());
    assert!((survey.wetted_area_mm2 - area).abs() < area * 1e-4);
    row("read", reading, summing, "");
    row("read and naive sum", summing, summing, "");
    let note = format!(
        "{:.3} ± {:.3} mm²",
        survey.wetted_area_mm2, survey.wetted_pm_mm2
    );
    row("read and survey", surveying, summing, &note);
}

/// What manifold3d makes of these shells: its version, seconds and area.
fn union(folder: &Path, shells: &[Solid]) -> Option<(String, [f64; 4])> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/benches/union.py");
    let mut command = Command::new("python3");
    command.arg(script);
    for (at, shell) in shells.iter().enumerate() {
        let path = folder.join(format!("{at}.stl"));
        std::fs::write(&path, shell.stl()).unwrap();
        command.arg(path);
    }
    let output = command
        .output()
        .ok()
        .filter(|output| output.status.success())?;
    let said = String::from_utf8(output.stdout).ok()?;
    let (version, figures) = said.trim().split_once(' ')?;
    let figures: Vec<f64> = figures
        .split(' ')
        .map_while(|one| one.parse().ok())
        .collect();
    Some((version.to_owned(), figures.try_into().ok()?))
}

fn crossing() {
    let ball = Solid::ball(10.0, 250);
    let shells = [ball.clone(), ball.moved([12.0, 0.0, 0.0])];
    let stl = Solid::all(shells.clone()).stl();
    println!("\n{} triangles, two balls that cross", 2 * ball.0.len());
    let (surveying, survey) = shortest(|| survey(&stl));
    let folder = tempfile::tempdir().unwrap();
    let compared = union(folder.path(), &shells);
    let than = compared
        .as_ref()
        .map_or(surveying, |(_, figures)| figures[2]);
    let note = format!(
        "{:.6} ± {:.6} mm²",
        survey.wetted_area_mm2, survey.wetted_pm_mm2
    );
    row("read and survey", surveying, than, &note);
    match compared {
        Some((version, [reading, building, uniting, area])) => {
            row(
                &format!("manifold3d {version}: union"),
                uniting,
                than,
                &format!("{area:.6} mm²"),
            );
            row("  its reading and welding", reading, than, "in Python");
            row("  its building of manifolds", building, than, "");
            row("  all of it", reading + building + uniting, than, "");
            assert!((survey.wetted_area_mm2 - area).abs() < area * 1e-4);
        }
        None => println!("manifold3d is not there: no comparison"),
    }
}

/// Surveys one ball once, in a process of its own.
fn grown(cuts: usize) {
    let stl = Solid::ball(30.0, cuts).stl();
    // From here on: 5 sets the peak back to what is held (Linux, proc(5)).
    let _ = std::fs::write("/proc/self/clear_refs", "5");
    let (seconds, survey) = timed(|| survey(&stl));
    black_box(survey);
    let file = stl.len() as f64 / f64::from(1 << 20);
    println!("{seconds} {} {file}", peak_mb().unwrap_or(0.0));
}

fn growth() {
    println!("\ngrowth: one ball, each in a process of its own");
    println!(
        "{:>10} {:>12} {:>14} {:>14} {:>10}",
        "triangles", "survey ms", "ns/triangle", "peak MB", "file MB"
    );
    let program = std::env::current_exe().unwrap();
    for cuts in [35, 112, 354, 559, 791] {
        let output = Command::new(&program)
            .args([GROWTH, &cuts.to_string()])
            .output()
            .unwrap();
        let said = String::from_utf8(output.stdout).unwrap();
        let figures: Vec<f64> = said
            .split_whitespace()
            .map_while(|one| one.parse().ok())
            .collect();
        let [seconds, peak, file] = figures[..] else {
            panic!("{said}")
        };
        let triangles: u32 = 8 * cuts * cuts;
        let each = seconds * 1e9 / f64::from(triangles);
        println!(
            "{triangles:>10} {:>12.1} {each:>14.0} {peak:>14.0} {file:>10.1}",
            seconds * 1e3
        );
    }
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if let Some(at) = arguments.iter().position(|argument| argument == GROWTH) {
        return grown(arguments[at + 1].parse().unwrap());
    }
    clean();
    crossing();
    growth();
}
