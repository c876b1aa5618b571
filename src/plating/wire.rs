//! Contact wires and thieves: they draw current by their area.

use crate::units::{Area, Length, MM};

/// The surface of a wire: `pi d L`, ends left out.
pub fn wire_area(diameter: Length, length: Length) -> Area {
    Area::from_si(std::f64::consts::PI * diameter.si() * length.si())
}

/// Diameter of an American wire gauge: `0.127 mm * 92^((36 - n) / 39)`
/// (ASTM B258; NBS Handbook 100).
pub fn awg_diameter(gauge: i32) -> Length {
    MM.of(0.127 * 92_f64.powf(f64::from(36 - gauge) / 39.0))
}
