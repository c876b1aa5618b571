//! How fast a tank is solved: `cargo bench --bench field`. Ten thousand panels
//! beside the same panels with every pair worked out and kept; a second solve;
//! growth up to a hundred thousand panels, on a ball and on the fern lamp, with
//! the most memory each took; accuracy against the count of panels where the
//! answer is known. Ratios stand beside the times.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a bench prints, and panics where it fails"
)]

use std::f64::consts::PI;
use std::hint::black_box;
use std::path::Path;
use std::process::Command;

use rayon::prelude::*;
use serde_json::json;

use tankside::field::scene::{Print, Ready, Scene, Solved, Supply};
use tankside::field::{Bath, Body, Kinetics, Order, Panel, Surface};
use tankside::mesh::{self, LengthUnit};
use tankside::units::Unwatched;

#[path = "../support/solids.rs"]
#[allow(dead_code, reason = "shared by tests, benches and fuzz targets")]
mod solids;

mod timing;

use solids::Solid;
use timing::{peak_mb, row, shortest, timed};

/// Asks this program to solve one scene with so many panels and tell what it
/// took.
const GROWTH: &str = "--scene-of";

/// Conductivity, S/m, and the ball's radius, m.
const CONDUCTIVITY: f64 = 25.0;
const RADIUS: f64 = 0.03;

/// A print as the bath reaches it.
fn print(stl: &[u8]) -> Print {
    let mesh = mesh::read(stl).unwrap();
    let order = mesh::Order::in_unit(LengthUnit::Mm);
    Print::of(&mesh::survey(&mesh, &order, &Unwatched).unwrap())
}

/// A scene with its prints.
struct Case {
    scene: Scene,
    prints: Vec<Print>,
}

impl Case {
    fn ready(&self, panels: usize) -> Ready {
        Ready::new(&self.scene, &self.prints, panels, &Unwatched).unwrap()
    }

    fn solved(&self, panels: usize) -> Solved {
        let ready = self.ready(panels);
        ready.solve(&self.scene, None, &Unwatched).unwrap()
    }

    fn with(&self, kinetics: Kinetics) -> Self {
        let mut scene = self.scene.clone();
        for body in &mut scene.bodies {
            body.kinetics = kinetics;
        }
        Self {
            scene,
            prints: self.prints.clone(),
        }
    }
}

/// Acid copper, wide spread; as in the samples.
fn butler_volmer() -> Kinetics {
    serde_json::from_value(json!({
        "kind": "butler-volmer", "i0_a_m2": 10, "alpha_a": 1.5, "alpha_c": 0.5,
        "temperature_k": 298.15, "limit_a_m2": 800,
    }))
    .unwrap()
}

/// A ball of 60 mm between two anodes in walls.
fn ball() -> Case {
    let anode = |name: &str, x: f64| {
        json!({"name": name, "centre_mm": [x, 0, 0], "normal": [-x.signum(), 0, 0],
               "size_mm": [150, 150], "volts": 1})
    };
    let scene = json!({
        "tank": {"min_mm": [-150, -100, -100], "max_mm": [150, 100, 100]},
        "conductivity_s_m": CONDUCTIVITY,
        "anodes": [anode("right", 150.0), anode("left", -150.0)],
        "bodies": [{"name": "ball", "mesh": "", "unit": "mm", "move_mm": [0, 0, 0],
                    "rotation": [1, 0, 0, 0], "volts": 0, "kinetics": {"kind": "none"}}],
        "supply": {"volts": 1},
    });
    Case {
        scene: serde_json::from_value(scene).unwrap(),
        prints: vec![print(&Solid::ball(RADIUS * 1e3, 48).stl())],
    }
}

/// Two fronds and the crozier of the sample, with wires, a thief and a shield.
fn lamp() -> Case {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-projects/fern-lamp");
    let text = std::fs::read_to_string(folder.join("scene.json")).unwrap();
    let scene: Scene = serde_json::from_str(&text).unwrap();
    let prints = scene.bodies.iter();
    let prints = prints.map(|body| print(&std::fs::read(folder.join(&body.mesh)).unwrap()));
    Case {
        prints: prints.collect(),
        scene,
    }
}

/// What every pair of panels makes, kept in full, and the same equations solved
/// by conjugate gradients on them, each panel's area its weight: amps at 1 V.
fn dense(panels: &[Panel]) -> (f64, f64, f64) {
    let count = panels.len();
    let (assembly, matrix) = timed(|| {
        let mut matrix = vec![0.0_f64; count * count];
        matrix
            .par_chunks_mut(count)
            .zip(panels)
            .for_each(|(row, to)| {
                for (entry, from) in row.iter_mut().zip(panels) {
                    *entry = from.potential(to.middle).single / CONDUCTIVITY;
                }
            });
        matrix
    });
    let apply = |x: &[f64]| -> Vec<f64> {
        let sum = |row: &[f64]| row.iter().zip(x).map(|(a, b)| a * b).sum();
        matrix.par_chunks(count).map(sum).collect()
    };
    let (solving, density) = timed(|| {
        let dot = |a: &[f64], b: &[f64]| -> f64 { a.iter().zip(b).map(|(a, b)| a * b).sum() };
        // GMRES without a preconditioner but the diagonal, as anybody writes it.
        let diagonal: Vec<f64> = (0..count).map(|k| matrix[k * count + k]).collect();
        let scaled =
            |v: Vec<f64>| -> Vec<f64> { v.iter().zip(&diagonal).map(|(v, d)| v / d).collect() };
        let right = scaled(vec![1.0; count]);
        let first = dot(&right, &right).sqrt();
        let mut basis: Vec<Vec<f64>> = vec![right.iter().map(|v| v / first).collect()];
        let mut columns: Vec<Vec<f64>> = Vec::new();
        for step in 0..200 {
            let mut next = scaled(apply(&basis[step]));
            let mut column = Vec::new();
            for other in &basis {
                let share = dot(&next, other);
                next.iter_mut()
                    .zip(other)
                    .for_each(|(a, b)| *a -= share * b);
                column.push(share);
            }
            let long = dot(&next, &next).sqrt();
            column.push(long);
            columns.push(column);
            basis.push(next.iter().map(|v| v / long).collect());
            let (y, left) = least_squares(&columns, first);
            if left < 2e-5 * first {
                let mut x = vec![0.0; count];
                for (factor, vector) in y.iter().zip(&basis) {
                    x.iter_mut().zip(vector).for_each(|(a, b)| *a += factor * b);
                }
                return x;
            }
        }
        panic!("not solved");
    });
    let amps = density
        .iter()
        .zip(panels)
        .map(|(i, panel)| i * panel.area)
        .sum();
    (assembly, solving, amps)
}

/// The best combination of Hessenberg columns for `first` along the first axis,
/// by rotations, and what is left.
fn least_squares(columns: &[Vec<f64>], first: f64) -> (Vec<f64>, f64) {
    let size = columns.len();
    let mut rows = vec![vec![0.0; size]; size + 1];
    for (k, column) in columns.iter().enumerate() {
        for (row, value) in column.iter().enumerate() {
            rows[row][k] = *value;
        }
    }
    let mut right = vec![0.0; size + 1];
    right[0] = first;
    for k in 0..size {
        let long = rows[k][k].hypot(rows[k + 1][k]);
        let (cos, sin) = (rows[k][k] / long, rows[k + 1][k] / long);
        let (above, below) = rows.split_at_mut(k + 1);
        for (a, b) in above[k].iter_mut().zip(&mut below[0]).skip(k) {
            (*a, *b) = (cos * *a + sin * *b, cos * *b - sin * *a);
        }
        let (a, b) = (right[k], right[k + 1]);
        right[k] = cos * a + sin * b;
        right[k + 1] = cos * b - sin * a;
    }
    let mut y = vec![0.0; size];
    for k in (0..size).rev() {
        let known: f64 = (k + 1..size).map(|j| rows[k][j] * y[j]).sum();
        y[k] = (right[k] - known) / rows[k][k];
    }
    (y, right[size].abs())
}

fn against_dense() {
    let ball = ball();
    let metres: Vec<[[f64; 3]; 3]> = ball.prints[0]
        .triangles
        .iter()
        .map(|corners| corners.map(|corner| corner.map(|along| along * 1e-3)))
        .collect();
    let masked = vec![false; metres.len()];
    let cover = tankside::field::print(&metres, &masked, 10_000, &Unwatched).unwrap();
    let panels = cover.panels;
    println!("\nball without a tank, {} panels, primary", panels.len());
    let (fast, amps) = shortest(|| {
        let body = Body::uniform(panels.clone(), Surface::Metal);
        let bath = Bath::new(None, CONDUCTIVITY, &[body], &Unwatched).unwrap();
        let order = Order {
            far_volts: 1.0,
            ..Order::volts(vec![0.0])
        };
        bath.solve(&order, &Unwatched).unwrap().amps[0]
    });
    let (assembly, solving, by_all) = dense(&panels);
    row(
        "set up and solved",
        fast,
        fast,
        &format!("{:.5} ohm", 1.0 / amps),
    );
    let note = format!("{:.5} ohm", 1.0 / by_all);
    row(
        "every pair: assembly and solve",
        assembly + solving,
        fast,
        &note,
    );
    row("  assembly", assembly, fast, "");
    row("  solve", solving, fast, "");
    assert!((amps / by_all - 1.0).abs() < 1e-3);
}

/// A scene set up and solved at both finenesses, and then again otherwise.
fn again(name: &str, case: &Case) {
    let (setting, ready) = shortest(|| case.ready(10_000));
    let (solving, first) = shortest(|| ready.solve(&case.scene, None, &Unwatched).unwrap());
    let panels = first.spread.flows.panels;
    println!("\n{name}, {panels} panels and a quarter of them for the doubt");
    let whole = setting + solving;
    row("set up and solved", whole, whole, "");
    row("  set up", setting, whole, "");
    row("  solved", solving, whole, "");
    let mut other = case.scene.clone();
    other.supply = match other.supply {
        Some(Supply::Volts(volts)) => Some(Supply::Volts(1.3 * volts)),
        Some(Supply::Amps(amps)) => Some(Supply::Amps(1.3 * amps)),
        None => None,
    };
    let second =
        |scene: &Scene| shortest(|| ready.solve(scene, Some(&first), &Unwatched).unwrap()).0;
    row("again, 1.3 times the supply", second(&other), whole, "");
    let linear = case.with(Kinetics::Linear { rp_ohm_m2: 4e-4 });
    row("again, linear kinetics", second(&linear.scene), whole, "");
}

fn case(name: &str) -> Case {
    match name {
        "ball, primary" => ball(),
        "ball, Butler-Volmer" => ball().with(butler_volmer()),
        "fern lamp, primary" => lamp().with(Kinetics::None),
        "fern lamp, Butler-Volmer" => lamp(),
        other => panic!("{other}"),
    }
}

/// Solves one scene once, in a process of its own.
fn grown(name: &str, panels: usize) {
    let case = case(name);
    let (seconds, solved) = timed(|| case.solved(panels));
    let panels = solved.spread.flows.panels;
    println!("{seconds} {} {panels}", peak_mb().unwrap_or(0.0));
}

fn growth() {
    println!("\ngrowth, both finenesses, each in a process of its own");
    println!(
        "{:>26} {:>10} {:>10} {:>12} {:>10}",
        "", "panels", "s", "us/panel", "peak MB"
    );
    let program = std::env::current_exe().unwrap();
    for name in [
        "ball, primary",
        "ball, Butler-Volmer",
        "fern lamp, primary",
        "fern lamp, Butler-Volmer",
    ] {
        let mut points = Vec::new();
        for panels in [12_500, 25_000, 50_000, 100_000] {
            let output = Command::new(&program)
                .args([GROWTH, name, &panels.to_string()])
                .output()
                .unwrap();
            let said = String::from_utf8(output.stdout).unwrap();
            let figures: Vec<f64> = said
                .split_whitespace()
                .map(|f| f.parse().unwrap())
                .collect();
            let [seconds, peak, panels] = figures[..] else {
                panic!("{said}");
            };
            println!(
                "{name:>26} {panels:>10} {seconds:>10.2} {:>12.1} {peak:>10.0}",
                seconds / panels * 1e6
            );
            points.push((panels.ln(), seconds.ln()));
        }
        println!("{name:>26} grows like panels^{:.2}", slope(&points));
    }
}

/// The slope of the best line through points.
fn slope(points: &[(f64, f64)]) -> f64 {
    let count = points.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / count;
    let (x, y) = (mean(|p| p.0), mean(|p| p.1));
    let up: f64 = points.iter().map(|p| (p.0 - x) * (p.1 - y)).sum();
    up / points.iter().map(|p| (p.0 - x).powi(2)).sum::<f64>()
}

/// Errors of the resistance where it is known: a ball, 1/(4πκa), its radius that
/// of its flat triangles' area; a cube, 0.66067815 of its edge (Hwang & Mascagni,
/// J. Appl. Phys. 95, 2004, 3798; from memory).
fn accuracy() {
    println!("\nerror of the resistance without a tank (and what is told of it)");
    println!("{:>10} {:>22} {:>22}", "panels", "ball", "cube");
    let alone = |print: Print| {
        let mut case = ball();
        case.scene.tank = None;
        case.scene.anodes.clear();
        case.prints = vec![print];
        case
    };
    let round = Solid::ball(RADIUS * 1e3, 120);
    let radius = (round.area() / (4.0 * PI)).sqrt() * 1e-3;
    let cases = [
        (
            alone(print(&round.stl())),
            1.0 / (4.0 * PI * CONDUCTIVITY * radius),
        ),
        (
            alone(print(&Solid::cube([0.0; 3], 50.0).stl())),
            1.0 / (4.0 * PI * CONDUCTIVITY * 0.660_678_15 * 0.05),
        ),
    ];
    for panels in [1_000, 2_000, 4_000, 8_000, 16_000, 32_000, 64_000] {
        let errors = cases.iter().map(|(case, known)| {
            let spread = case.solved(panels).spread;
            format!(
                "{:+.3} % ({:.3} %)",
                100.0 * (spread.resistance_ohm / known - 1.0),
                100.0 * spread.flows.error_resistance
            )
        });
        let errors: Vec<String> = errors.collect();
        println!("{panels:>10} {:>22} {:>22}", errors[0], errors[1]);
    }
}

fn main() {
    let args: Vec<String> = std::env::args().collect();
    if let Some(at) = args.iter().position(|arg| arg == GROWTH) {
        grown(&args[at + 1], args[at + 2].parse().unwrap());
        return;
    }
    against_dense();
    again("ball in a tank, primary", &ball());
    again(
        "ball in a tank, Butler-Volmer",
        &ball().with(butler_volmer()),
    );
    again("fern lamp, primary", &lamp().with(Kinetics::None));
    again("fern lamp, Butler-Volmer", &lamp());
    accuracy();
    growth();
    black_box(());
}
