//! How light a face lies: a lamp over the left shoulder, and a little of its
//! shine, as on metal.

use super::{Point, dot, unit};

/// Where the light comes from: right, up, towards the eye.
const LAMP: Point = [-0.45, 0.62, 0.64];

/// How light, 0 to 1, where the surface is upright along `upright`, told in
/// the picture's directions; a surface that shows its back is lit as well.
pub(super) fn light(upright: Point) -> f32 {
    let upright = unit(upright);
    let upright = if upright[2] < 0.0 {
        upright.map(|number| -number)
    } else {
        upright
    };
    let lit = dot(upright, unit(LAMP)).max(0.0);
    let half = unit([LAMP[0], LAMP[1], LAMP[2] + 1.0]);
    let shine = dot(upright, half).max(0.0).powi(28);
    (0.14 + 0.62 * lit + 0.12 * upright[2] + 0.22 * shine).clamp(0.0, 1.0)
}
