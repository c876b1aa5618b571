//! Where the metal goes: JSON for scripts, text for people, tables and files of
//! triangles.

use std::fmt::Write as _;

use serde_json::{Value, json};

use super::csv::field;
use super::safe::{cell, pad, pad_left, wrapped};
use super::text::COLUMNS;
use crate::field::scene::{BodySpread, Cell, Kind, Place, Spread, Whole};
use crate::units::number;

/// A result with how it came about.
#[derive(Debug)]
pub struct Told<'a> {
    /// What came of the scene.
    pub spread: &'a Spread,
    /// Conductivity of the bath, S/m.
    pub conductivity_s_m: f64,
    /// Seconds for panels and what they make on each other.
    pub setup_s: f64,
    /// Seconds for the currents.
    pub solve_s: f64,
    /// Whether it was kept from an earlier solve.
    pub cached: bool,
    /// What was taken for want of anything told.
    pub assumed: &'a [String],
}

/// What a table has a row for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Rows {
    /// What is wetted of each triangle of each print.
    #[default]
    Triangle,
    /// Every panel of every body.
    Panel,
}

/// What a file of a result is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Triangles with figures and colours.
    Ply,
    /// The same for VTK.
    Vtu,
    /// A table.
    Csv,
    /// A picture.
    Png,
}

impl Form {
    /// Every form.
    pub const ALL: [Self; 4] = [Self::Ply, Self::Vtu, Self::Csv, Self::Png];

    /// How a file's name ends.
    pub fn ending(self) -> &'static str {
        match self {
            Self::Ply => "ply",
            Self::Vtu => "vtu",
            Self::Csv => "csv",
            Self::Png => "png",
        }
    }

    /// The form whose files end like this.
    pub fn of_ending(ending: &str) -> Option<Self> {
        let ending = ending.to_ascii_lowercase();
        Self::ALL.into_iter().find(|form| form.ending() == ending)
    }
}

impl Told<'_> {
    /// The result for scripts, in the order of its form.
    pub fn json(&self) -> Value {
        let spread = self.spread;
        let flows = &spread.flows;
        let bodies = spread.bodies.iter().map(|body| {
            let places = body.places.iter().map(|place| {
                json!({
                    "what": place.what, "at_mm": place.at_mm, "over_mean": place.over_mean,
                    "where": body.direction(place.at_mm),
                })
            });
            json!({
                "name": body.name, "kind": body.kind.word(), "area_dm2": body.area_dm2,
                "amps": body.amps, "share": body.share, "mean_a_dm2": body.mean_a_dm2,
                "min_over_mean": body.min_over_mean, "max_over_mean": body.max_over_mean,
                "p05": body.p05, "p95": body.p95, "places": places.collect::<Vec<_>>(),
                "volts": body.volts,
            })
        });
        json!({
            "resistance_ohm": finite(spread.resistance_ohm),
            "volts": spread.volts,
            "amps": spread.amps,
            "bodies": bodies.collect::<Vec<_>>(),
            "panels": flows.panels,
            "residual": flows.residual,
            "balance": flows.balance,
            "error_estimate": { "resistance": finite(flows.error_resistance), "zones": finite(flows.error_zones) },
            "seconds": { "setup": self.setup_s, "solve": self.solve_s },
            "cached": self.cached,
            "assumed": self.assumed,
        })
    }

    /// The result for people: what flows, each body's share and evenness, the
    /// places to watch, and what it rests on.
    pub fn text(&self) -> String {
        let spread = self.spread;
        let flows = &spread.flows;
        let mut lines = vec![
            format!(
                "predicted: {} V drive {} A, {} ohm +-{} %",
                number(spread.volts, 3),
                number(spread.amps, 3),
                number(spread.resistance_ohm, 3),
                number(flows.error_resistance * 100.0, 2)
            ),
            String::new(),
        ];
        let wide = spread.bodies.iter().map(|body| body.name.chars().count());
        let wide = wide.max().unwrap_or(0).clamp(6, 20);
        lines.push(format!(
            "  {} {:>8} {:>8} {:>7} {:>9}  least  most  5-95 %",
            pad("", wide + 7),
            "area dm2",
            "amps",
            "share",
            "A/dm2"
        ));
        lines.extend(spread.bodies.iter().map(|body| row(body, wide)));
        lines.push(String::new());
        for body in spread.bodies.iter().filter(|body| !body.places.is_empty()) {
            lines.push(format!(
                "  {}: places to watch",
                cell(&body.name, 40).trim_end()
            ));
            let places = body.places.iter();
            lines.extend(places.map(|place| place_words(body, place)));
        }
        lines.extend(self.rests_on().iter().flat_map(|said| led("  ", said)));
        let assumed = self.assumed.iter();
        lines.extend(assumed.flat_map(|said| led("  assumed: ", said)));
        lines.join("\n") + "\n"
    }

    fn rests_on(&self) -> Vec<String> {
        let flows = &self.spread.flows;
        let percent = |share: f64| number(share * 100.0, 2);
        let took = if self.cached {
            "kept from an earlier solve".to_owned()
        } else {
            format!(
                "{} s to prepare, {} s to solve",
                number(self.setup_s, 2),
                number(self.solve_s, 2)
            )
        };
        vec![
            format!(
                "a zone is within {} %, by a solve with a quarter of the panels; charge balances to {} %",
                percent(flows.error_zones),
                percent(flows.balance),
            ),
            format!(
                "{} panels, {} S/m, {took}",
                flows.panels,
                number(self.conductivity_s_m, 3)
            ),
        ]
    }
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

fn row(body: &BodySpread, wide: usize) -> String {
    let figures = format!(
        "{:>8} {:>8} {:>5} % {:>9}",
        number(body.area_dm2, 4),
        number(body.amps, 4),
        number(body.share * 100.0, 3),
        number(body.mean_a_dm2, 3),
    );
    let even = if body.kind == Kind::Anode {
        String::new()
    } else {
        format!(
            " {} {} {}-{}",
            pad_left(&number(body.min_over_mean, 2), 6),
            pad_left(&number(body.max_over_mean, 2), 5),
            number(body.p05, 2),
            number(body.p95, 2)
        )
    };
    format!(
        "  {} {} {figures}{even}",
        pad(&cell(&body.name, wide), wide),
        pad(body.kind.word(), 6)
    )
}

/// `    tip     3.4x  upper left: x 10  y 20  z 30 mm`.
fn place_words(body: &BodySpread, place: &Place) -> String {
    let [x, y, z] = place.at_mm.map(|mm| format!("{mm:.0}"));
    format!(
        "    {} {}x  {}: x {x}  y {y}  z {z} mm",
        pad(&place.what, 7),
        pad_left(&number(place.over_mean, 2), 5),
        body.direction(place.at_mm),
    )
}

fn led(lead: &str, text: &str) -> Vec<String> {
    let indent = " ".repeat(lead.len());
    let lines = wrapped(text, COLUMNS - lead.len());
    let lines = lines.into_iter().enumerate();
    lines
        .map(|(n, line)| format!("{}{line}", if n == 0 { lead } else { &indent }))
        .collect()
}

/// The table's head.
const HEAD: &str = "body,triangle,x_mm,y_mm,z_mm,nx,ny,nz,area_mm2,i_a_dm2";

/// One row per triangle of the prints' wetted surfaces, or per panel.
pub fn csv(spread: &Spread, rows: Rows) -> String {
    let mut table = format!("{HEAD}\n");
    for body in &spread.bodies {
        let name = field(&body.name);
        let wholes = match rows {
            Rows::Triangle => body.whole_triangles(),
            Rows::Panel => body.panels.iter().map(Whole::of).collect(),
        };
        for whole in wholes {
            let ([x, y, z], [nx, ny, nz]) = (whole.at_mm, whole.normal);
            // Writing to a text cannot fail.
            let _written = writeln!(
                table,
                "{name},{},{x:.6},{y:.6},{z:.6},{nx:.6},{ny:.6},{nz:.6},{:.9e},{:.9e}",
                whole.triangle, whole.area_mm2, whole.i_a_dm2
            );
        }
    }
    table
}

/// The triangles that are written to a file, each with the number of its body:
/// prints as they are, the rest by its panels.
fn shown(spread: &Spread, rows: Rows) -> Vec<(usize, Cell)> {
    let of = |(k, body): (usize, &BodySpread)| {
        let cells = if rows == Rows::Triangle && !body.triangles.is_empty() {
            &body.triangles
        } else {
            &body.panels
        };
        cells.iter().map(|cell| (k, *cell)).collect::<Vec<_>>()
    };
    spread.bodies.iter().enumerate().flat_map(of).collect()
}

/// A binary PLY in mm: for each face the current density in A/dm², that over
/// its body's mean, a colour for it, the body's number and the triangle of its
/// print.
pub fn ply(spread: &Spread, rows: Rows) -> Vec<u8> {
    let cells = shown(spread, rows);
    let names = spread.bodies.iter().enumerate();
    let names: Vec<String> = names
        .map(|(k, body)| format!("comment body {k} {}\n", cell(&body.name, 200).trim_end()))
        .collect();
    let names = names.concat();
    let header = format!(
        "ply\nformat binary_little_endian 1.0\ncomment mm; i_a_dm2: A/dm2, deposition positive\n{names}\
         element vertex {}\nproperty double x\nproperty double y\nproperty double z\nelement face {}\n\
         property list uchar int vertex_indices\nproperty float i_a_dm2\nproperty float over_mean\n\
         property uchar red\nproperty uchar green\nproperty uchar blue\nproperty uchar body\n\
         property uint triangle\nend_header\n",
        3 * cells.len(),
        cells.len()
    );
    let mut ply = header.into_bytes();
    for (_, cell) in &cells {
        for number in cell.corners_mm.as_flattened() {
            ply.extend(number.to_le_bytes());
        }
    }
    for (k, (body, cell)) in cells.iter().enumerate() {
        ply.push(3);
        for corner in 0..3 {
            ply.extend((3 * k as u32 + corner).to_le_bytes());
        }
        let over = over_mean(&spread.bodies[*body], cell);
        ply.extend((cell.i_a_dm2 as f32).to_le_bytes());
        ply.extend((over as f32).to_le_bytes());
        ply.extend(colour(step_of(over)));
        ply.push((*body).min(255) as u8);
        ply.extend(cell.triangle.to_le_bytes());
    }
    ply
}

/// A cell's density over its body's mean.
pub fn over_mean(body: &BodySpread, cell: &Cell) -> f64 {
    cell.i_a_dm2 / body.mean_a_dm2
}

/// The same as a VTK file of XML (`UnstructuredGrid`, text): points in mm, cells
/// with `i_a_dm2`, `over_mean`, `body` and `triangle`.
pub fn vtu(spread: &Spread, rows: Rows) -> String {
    let cells = shown(spread, rows);
    let list = |of: &mut dyn FnMut(&(usize, Cell)) -> String| {
        cells.iter().map(of).collect::<Vec<String>>().join("\n")
    };
    let points = list(&mut |(_, cell)| {
        let numbers = cell.corners_mm.as_flattened();
        let words: Vec<String> = numbers.iter().map(|n| format!("{n:.7} ")).collect();
        words.concat()
    });
    let mut next = 0;
    let corners = list(&mut |_| {
        next += 3;
        format!("{} {} {}", next - 3, next - 2, next - 1)
    });
    let mut end = 0;
    let ends = list(&mut |_| {
        end += 3;
        end.to_string()
    });
    let kinds = list(&mut |_| "5".to_owned());
    let density = list(&mut |(_, cell)| format!("{:.9e}", cell.i_a_dm2));
    let over = list(&mut |(body, cell)| format!("{:.9e}", over_mean(&spread.bodies[*body], cell)));
    let body = list(&mut |(body, _)| body.to_string());
    let triangle = list(&mut |(_, cell)| cell.triangle.to_string());
    let array = |kind: &str, name: &str, values: &str| {
        format!(
            "<DataArray type=\"{kind}\" Name=\"{name}\" format=\"ascii\">\n{values}\n</DataArray>\n"
        )
    };
    format!(
        "<?xml version=\"1.0\"?>\n<VTKFile type=\"UnstructuredGrid\" version=\"0.1\" byte_order=\"LittleEndian\">\n\
         <UnstructuredGrid>\n<Piece NumberOfPoints=\"{}\" NumberOfCells=\"{}\">\n<Points>\n\
         <DataArray type=\"Float64\" NumberOfComponents=\"3\" format=\"ascii\">\n{points}\n</DataArray>\n</Points>\n\
         <Cells>\n{}{}{}</Cells>\n<CellData Scalars=\"i_a_dm2\">\n{}{}{}{}</CellData>\n</Piece>\n\
         </UnstructuredGrid>\n</VTKFile>\n",
        3 * cells.len(),
        cells.len(),
        array("Int64", "connectivity", &corners),
        array("Int64", "offsets", &ends),
        array("UInt8", "types", &kinds),
        array("Float64", "i_a_dm2", &density),
        array("Float64", "over_mean", &over),
        array("Int32", "body", &body),
        array("Int64", "triangle", &triangle),
    )
}

/// Steps of the scale.
pub const STEPS: u8 = 24;

/// The scale goes from this much of the mean to [`MOST`], each step by the same
/// factor: a coat half as thick is as far from the mean as one twice as thick.
pub const LEAST: f64 = 0.125;

/// The scale's other end.
pub const MOST: f64 = 8.0;

/// The step of a density over the mean, 0 to [`STEPS`] - 1.
pub fn step_of(over_mean: f64) -> u8 {
    let along = (over_mean.max(1e-9) / LEAST).ln() / (MOST / LEAST).ln();
    (along * f64::from(STEPS)).clamp(0.0, f64::from(STEPS) - 1.0) as u8
}

/// Red, green and blue of a step: from dark blue over grey to light yellow, ever
/// lighter, so that it reads in grey and with any colour blindness. The corners
/// are of the perceptual scale of Nuñez, Anderton & Renslow (PLoS ONE 13, 2018,
/// e0199239; from memory).
pub fn colour(step: u8) -> [u8; 3] {
    const CORNERS: [[f64; 3]; 6] = [
        [0.0, 32.0, 81.0],
        [44.0, 62.0, 108.0],
        [87.0, 93.0, 109.0],
        [127.0, 124.0, 117.0],
        [187.0, 173.0, 107.0],
        [253.0, 234.0, 69.0],
    ];
    let along = f64::from(step.min(STEPS - 1)) / f64::from(STEPS - 1) * 5.0;
    let low = (along as usize).min(4);
    let part = along - low as f64;
    [0, 1, 2].map(|k| {
        let mixed = CORNERS[low][k] * (1.0 - part) + CORNERS[low + 1][k] * part;
        mixed.round() as u8
    })
}
