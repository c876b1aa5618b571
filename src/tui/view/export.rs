//! Where the metal goes as a file: tables and triangles for other programs, and
//! the pieces as a PNG picture (ISO/IEC 15948).

use miniz_oxide::deflate::compress_to_vec_zlib;

use crate::field::scene::{Kind, Spread};
use crate::report::spread::{
    Form, LEAST, MOST, Rows, STEPS, colour, csv, over_mean, ply, step_of, vtu,
};
use crate::tui::picture::{Eye, Scene, draw};

const WIDE: usize = 1000;
const HIGH: usize = 800;

/// The legend's column, dots.
const LEGEND: usize = 110;

const PAPER: [u8; 3] = [250, 250, 250];
const INK: [u8; 3] = [30, 30, 30];

/// Half as light at least, so that the scale still reads in shade.
const SHADE: f32 = 0.55;

/// The bytes of a file of this form.
pub fn written(spread: &Spread, form: Form, rows: Rows) -> Vec<u8> {
    match form {
        Form::Ply => ply(spread, rows),
        Form::Vtu => vtu(spread, rows).into_bytes(),
        Form::Csv => csv(spread, rows).into_bytes(),
        Form::Png => picture(spread),
    }
}

/// The pieces and wires as seen a little from above, with the scale beside them.
fn picture(spread: &Spread) -> Vec<u8> {
    let cathodes = spread.bodies.iter().filter(|body| body.kind.is_cathode());
    let faces = cathodes.flat_map(|body| {
        let cells = match body.kind {
            Kind::Piece => &body.triangles,
            _ => &body.panels,
        };
        let face = |cell| (cell, step_of(over_mean(body, cell)));
        cells.iter().map(move |cell| {
            let (cell, step) = face(cell);
            (cell.corners_mm, step)
        })
    });
    let seen = draw(&Scene::of(faces), &Eye::REST, WIDE - LEGEND, HIGH);
    let mut canvas = Canvas::new();
    for y in 0..HIGH {
        for x in 0..WIDE - LEGEND {
            if let Some(dot) = seen.seen(x, y) {
                let light = SHADE + (1.0 - SHADE) * dot.light;
                canvas.put(x, y, colour(dot.tint).map(|c| (f32::from(c) * light) as u8));
            }
        }
    }
    canvas.legend();
    encoded(&canvas)
}

struct Canvas(Vec<[u8; 3]>);

impl Canvas {
    fn new() -> Self {
        Self(vec![PAPER; WIDE * HIGH])
    }

    fn put(&mut self, x: usize, y: usize, colour: [u8; 3]) {
        if let Some(dot) = self.0.get_mut(y * WIDE + x) {
            *dot = colour;
        }
    }

    /// The scale, the most above, with multiples of the mean.
    fn legend(&mut self) {
        let (left, top, high) = (WIDE - LEGEND + 10, 60, HIGH - 120);
        for y in 0..high {
            let step = (high - 1 - y) * usize::from(STEPS) / high;
            for x in 0..24 {
                self.put(left + x, top + y, colour(step as u8));
            }
        }
        let mut multiple = LEAST;
        while multiple < MOST * 1.01 {
            let along = (multiple / LEAST).ln() / (MOST / LEAST).ln();
            let y = top + ((1.0 - along) * high as f64) as usize;
            (24..30).for_each(|x| self.put(left + x, y.min(top + high - 1), INK));
            self.write(left + 34, y.saturating_sub(5), &format!("{multiple}x"));
            multiple *= 2.0;
        }
        self.write(left, top - 30, "x mean");
    }

    fn write(&mut self, left: usize, top: usize, text: &str) {
        for (place, letter) in text.chars().enumerate() {
            for (row, bits) in glyph(letter).into_iter().enumerate() {
                for column in (0..3).filter(|column| bits & (4 >> column) != 0) {
                    let (x, y) = (left + place * 8 + column * 2, top + row * 2);
                    for (right, down) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                        self.put(x + right, y + down, INK);
                    }
                }
            }
        }
    }
}

/// Three dots wide, five high.
fn glyph(letter: char) -> [u8; 5] {
    match letter {
        '0' => [7, 5, 5, 5, 7],
        '1' => [2, 6, 2, 2, 7],
        '2' => [7, 1, 7, 4, 7],
        '3' => [7, 1, 7, 1, 7],
        '4' => [5, 5, 7, 1, 1],
        '5' => [7, 4, 7, 1, 7],
        '6' => [7, 4, 7, 5, 7],
        '7' => [7, 1, 1, 1, 1],
        '8' => [7, 5, 7, 5, 7],
        '9' => [7, 5, 7, 1, 7],
        '.' => [0, 0, 0, 0, 2],
        'x' => [0, 5, 2, 5, 0],
        'm' => [0, 7, 7, 5, 5],
        'e' => [7, 4, 7, 4, 7],
        'a' => [2, 5, 7, 5, 5],
        'n' => [0, 6, 5, 5, 5],
        _ => [0; 5],
    }
}

fn encoded(canvas: &Canvas) -> Vec<u8> {
    let mut png = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut head = Vec::new();
    for size in [WIDE, HIGH] {
        head.extend((size as u32).to_be_bytes());
    }
    // Eight bits, red green blue, and the only ways of the rest.
    head.extend([8, 2, 0, 0, 0]);
    chunk(&mut png, *b"IHDR", &head);
    let mut lines = Vec::with_capacity(HIGH * (3 * WIDE + 1));
    for line in canvas.0.chunks(WIDE) {
        lines.push(0);
        lines.extend(line.as_flattened());
    }
    chunk(&mut png, *b"IDAT", &compress_to_vec_zlib(&lines, 6));
    chunk(&mut png, *b"IEND", &[]);
    png
}

fn chunk(png: &mut Vec<u8>, kind: [u8; 4], content: &[u8]) {
    png.extend((content.len() as u32).to_be_bytes());
    let begins = png.len();
    png.extend(kind);
    png.extend(content);
    let sum = crc32fast::hash(&png[begins..]);
    png.extend(sum.to_be_bytes());
}
