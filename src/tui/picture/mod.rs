//! Pictures of prints: faces go in, dots come out. Neither a terminal nor a
//! colour is known here.
//!
//! A [`Scene`] is the faces of a print, each with a tint: a class, or a step of
//! a scale. An [`Eye`] says how it is looked at; [`draw`] yields a [`Picture`],
//! dot by dot which face is seen and how light it lies; [`pick`] tells what is
//! at one place of it. At rest x goes to the right, z up, and y into the depth.
//!
//! ```
//! use tankside::tui::picture::{Eye, Scene, draw};
//! let sheet = [[[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [0.0, 0.0, 10.0]]];
//! let scene = Scene::of(sheet.map(|corners| (corners, 0)));
//! let picture = draw(&scene, &Eye::FRONT, 20, 20);
//! assert!(picture.seen(2, 17).is_some(), "its low left corner");
//! assert!(picture.seen(17, 2).is_none());
//! ```

mod eye;
mod kitty;
mod light;
mod raster;
mod scene;
mod sixel;

pub use eye::{Eye, View};
pub(crate) use kitty::base64;
pub use kitty::{kitty, kitty_gone};
pub use raster::{Dot, Hit, Picture, draw, pick};
pub use scene::{Face, Scene};
pub use sixel::sixel;

/// Single precision does for drawing: a screen has fewer than 5000 dots.
pub type Point = [f32; 3];

/// A picture in colours, line by line from the top; `None` shows what lies
/// beneath.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Image {
    /// Dots in a line.
    pub width: usize,
    /// `0xRRGGBB` each, as many as whole lines.
    pub dots: Vec<Option<u32>>,
}

impl Image {
    /// How many lines it has.
    pub fn height(&self) -> usize {
        self.dots.len() / self.width.max(1)
    }
}

fn minus(a: Point, b: Point) -> Point {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

fn plus(a: Point, b: Point, times: f32) -> Point {
    [
        a[0] + b[0] * times,
        a[1] + b[1] * times,
        a[2] + b[2] * times,
    ]
}

fn dot(a: Point, b: Point) -> f32 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: Point, b: Point) -> Point {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

/// Of length 1; what has no length stays as it is.
fn unit(a: Point) -> Point {
    let length = dot(a, a).sqrt();
    if length > 0.0 {
        a.map(|number| number / length)
    } else {
        a
    }
}
