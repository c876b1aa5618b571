//! Contact wires and thieves: they draw current by their area.

use std::f64::consts::PI;

use crate::units::{Area, Length, MM, Resistance};

/// Resistivity of annealed copper at 20 °C, ohm metre: 100 % IACS, 58 MS/m
/// (International Annealed Copper Standard, 1913; NBS Handbook 100). The CRC
/// Handbook gives 1.678e-8 for the pure metal, 2.7 % less; wire tables use this.
pub const ANNEALED_COPPER_OHM_M: f64 = 1.0 / 58.0e6;

/// The surface of a wire: `pi d L`, ends left out.
pub fn wire_area(diameter: Length, length: Length) -> Area {
    Area::from_si(PI * diameter.si() * length.si())
}

/// Diameter of an American wire gauge: `0.127 mm * 92^((36 - n) / 39)`
/// (ASTM B258; NBS Handbook 100).
pub fn awg_diameter(gauge: i32) -> Length {
    MM.of(0.127 * 92_f64.powf(f64::from(36 - gauge) / 39.0))
}

/// Resistance of a round copper wire at 20 °C: `4 rho L / (pi d^2)`.
pub fn wire_resistance(diameter: Length, length: Length) -> Resistance {
    Resistance::from_si(ANNEALED_COPPER_OHM_M * length.si() * 4.0 / (PI * diameter.si().powi(2)))
}
