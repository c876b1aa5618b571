//! Faraday's law between charge, area, mean thickness and mass.

use super::Metal;
use crate::units::{Area, Charge, CurrentDensity, Length, Mass, Ratio};

/// Least local thickness over the mean that is assumed until a field solution
/// says otherwise: recesses 0.3-0.5x, so 0.5 (rule of the trade for parts
/// without masking or thieving; `s.rule`, published shop rule).
pub const ASSUMED_LEAST_OVER_MEAN: f64 = 0.5;

/// Most local thickness over the mean that is assumed: edges 2-3x, so 3.
pub const ASSUMED_MOST_OVER_MEAN: f64 = 3.0;

/// Charge for a mean thickness on an area: `Q = n F rho A t / (M eta)`.
///
/// The efficiency divides into the charge wanted: a bath that deposits 95 %
/// of its current needs more charge, not less.
pub fn charge_for(metal: &Metal, area: Area, thickness: Length, efficiency: Ratio) -> Charge {
    Charge::from_si(metal.charge_per_volume() * area.si() * thickness.si() / efficiency.si())
}

/// Mean thickness that a charge puts on an area: the inverse of [`charge_for`].
pub fn thickness_of_charge(metal: &Metal, charge: Charge, area: Area, efficiency: Ratio) -> Length {
    Length::from_si(charge.si() * efficiency.si() / (metal.charge_per_volume() * area.si()))
}

/// Mass that a charge deposits: `m = Q M eta / (n F)`.
pub fn deposited_mass(metal: &Metal, charge: Charge, efficiency: Ratio) -> Mass {
    Mass::from_si(charge.si() * efficiency.si() * metal.mass_per_charge())
}

/// Mean thickness of a mass spread over an area: `t = m / (rho A)`.
pub fn thickness_of_mass(metal: &Metal, mass: Mass, area: Area) -> Length {
    Length::from_si(mass.si() / (metal.density_g_cm3 * 1e3 * area.si()))
}

/// Growth of the mean thickness at a current density, m/s.
pub fn growth_rate(metal: &Metal, density: CurrentDensity, efficiency: Ratio) -> f64 {
    density.si() * efficiency.si() / metal.charge_per_volume()
}

/// The mean to plate so that the least local thickness (the drawing thickness
/// of ISO 2064) is `minimum`, by the evenness `least_over_mean`.
pub fn mean_from_minimum(minimum: Length, least_over_mean: f64) -> Length {
    minimum * (1.0 / least_over_mean)
}
