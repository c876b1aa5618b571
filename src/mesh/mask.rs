//! Parts of a print that are kept from the bath on purpose.

use super::Corner;

/// A part kept from the bath. Points and lengths are in mm.
#[derive(Debug, Clone, PartialEq)]
pub enum Mask {
    /// All on the side of a plane to which its normal points.
    Plane {
        /// A point of the plane.
        point: Corner,
        /// Upright on it, to the masked side; of any length but zero.
        normal: Corner,
    },
    /// All in the box between two corners, its faces included.
    Box {
        /// One corner.
        from: Corner,
        /// The opposite one.
        to: Corner,
    },
    /// All in a ball.
    Sphere {
        /// Its middle.
        middle: Corner,
        /// Its radius.
        radius: f64,
    },
    /// All in a cylinder with flat ends.
    Cylinder {
        /// The middle of one end.
        from: Corner,
        /// The middle of the other.
        to: Corner,
        /// Its radius.
        radius: f64,
    },
    /// What is reached from the triangle nearest to a point without crossing
    /// an edge that is bent by more than an angle.
    Patch {
        /// On or near the surface.
        point: Corner,
        /// The largest bend that is crossed, in degrees.
        degrees: f64,
    },
    /// The triangles that the file has under a name.
    Group(
        /// The name.
        String,
    ),
}
