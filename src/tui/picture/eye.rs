//! How a scene is looked at.

use super::{Point, Scene, dot, minus};

/// How a scene is looked at: along parallel lines, so that lengths can be
/// compared wherever they are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Eye {
    /// How far the print is turned to the right about its upright axis, in
    /// degrees.
    pub yaw: f32,
    /// How far it is looked at from above, in degrees: -90 to 90.
    pub tilt: f32,
    /// How much larger than the whole of it fits: 1 and more.
    pub zoom: f32,
    /// What is in the middle of the picture, in mm from the middle of its box.
    pub centre: Point,
    /// Where it is cut open, square to the line of sight: what is so many mm
    /// or more nearer than the middle of its box is left out.
    pub cut: Option<f32>,
    /// Tints of which the sides that face the eye are left out, one bit each.
    pub open: u32,
}

impl Eye {
    /// From the front, level.
    pub const FRONT: Self = Self {
        yaw: 0.0,
        tilt: 0.0,
        zoom: 1.0,
        centre: [0.0; 3],
        cut: None,
        open: 0,
    };

    /// A little from the left and from above: three sides of a box are seen.
    pub const REST: Self = Self {
        yaw: 30.0,
        tilt: 20.0,
        ..Self::FRONT
    };

    /// Turned further, in degrees to the right and from above.
    pub fn turned(self, right: f32, down: f32) -> Self {
        Self {
            yaw: (self.yaw + right + 180.0).rem_euclid(360.0) - 180.0,
            tilt: (self.tilt + down).clamp(-90.0, 90.0),
            ..self
        }
    }

    /// The directions of the picture: to the right, up, and towards the eye.
    pub fn directions(&self) -> [Point; 3] {
        let (sin, cos) = self.yaw.to_radians().sin_cos();
        let (lower, level) = self.tilt.to_radians().sin_cos();
        [
            [cos, -sin, 0.0],
            [lower * sin, lower * cos, level],
            [-level * sin, -level * cos, lower],
        ]
    }

    /// Half of what is seen of a scene at its whole size, in mm: to the side
    /// and up. Turning about the upright axis never changes it.
    pub fn reach(&self, scene: &Scene) -> [f32; 2] {
        let (lower, level) = self.tilt.to_radians().sin_cos();
        let reach = scene.reach(lower.abs(), level);
        reach.map(|reach| reach.max(1e-6))
    }

    /// The view of a scene on so many dots; a little is left free around it.
    pub fn view(&self, scene: &Scene, width: usize, height: usize) -> View {
        let [aside, up] = self.reach(scene);
        let (width, height) = (width as f32, height as f32);
        let fits = (width / aside).min(height / up) / 2.0;
        View {
            directions: self.directions(),
            centre: self.centre,
            scale: 0.96 * fits * self.zoom,
            middle: [width / 2.0, height / 2.0],
        }
    }
}

/// Where points come to lie in a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct View {
    pub(super) directions: [Point; 3],
    pub(super) centre: Point,
    /// Dots a mm.
    pub scale: f32,
    pub(super) middle: [f32; 2],
}

impl View {
    /// Dots from the left, dots from the top, and how much nearer the eye than
    /// the middle of the box, in mm.
    pub fn place(&self, point: Point) -> Point {
        let [right, up, near] = self.directions;
        let from = minus(point, self.centre).map(|number| number * self.scale);
        [
            self.middle[0] + dot(from, right),
            self.middle[1] - dot(from, up),
            dot(point, near),
        ]
    }
}
