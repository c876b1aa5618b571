//! Current along a thin film: how far from a contact a coat still carries.

use super::wire::ANNEALED_COPPER_OHM_M;
use crate::units::{CurrentDensity, Length, Resistance, Voltage};

/// Sheet resistance of a copper film, ohm per square: `rho / t`, with `rho` of
/// annealed copper ([`ANNEALED_COPPER_OHM_M`]). A film of no thickness has none
/// that is finite.
pub fn copper_sheet_resistance(thickness: Length) -> Resistance {
    Resistance::from_si(ANNEALED_COPPER_OHM_M / thickness.si())
}

/// Drop along a strip of coat fed at one end, from the contact to its far end
/// at `reach`, while it draws the same current density everywhere:
/// `V = j Rs L^2 / 2` (Ohm's law integrated along the strip). `sheet` is the
/// coat's sheet resistance, ohm per square.
pub fn strip_drop(density: CurrentDensity, sheet: Resistance, reach: Length) -> Voltage {
    Voltage::from_si(0.5 * density.si() * sheet.si() * reach.si().powi(2))
}

/// How far from a contact the drop along the coat stays within `drop`: the
/// inverse of [`strip_drop`], `L = sqrt(2 V / (j Rs))`. Without current, or on
/// a coat without resistance, it is infinite.
pub fn strip_reach(density: CurrentDensity, sheet: Resistance, drop: Voltage) -> Length {
    Length::from_si((2.0 * drop.si() / (density.si() * sheet.si())).sqrt())
}
