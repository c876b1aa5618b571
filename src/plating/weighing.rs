//! Weighing closes the loop: mass gained gives thickness and efficiency.

use super::{Metal, deposited_mass, thickness_of_mass};
use crate::units::{Area, Charge, Figure, Kind, LengthDim, Mass, MassDim, Ratio, RatioDim};

/// What two weighings say about a deposit.
#[derive(Debug, Clone)]
pub struct Weighing {
    /// Mass gained, with the doubt of the balance and of water in the print.
    pub gained: Figure<MassDim>,
    /// Mean thickness over the area that was on the balance.
    pub thickness: Figure<LengthDim>,
    /// Efficiency: mass gained over the mass that the charge could deposit.
    pub efficiency: Option<Figure<RatioDim>>,
}

impl Weighing {
    /// Whether the efficiency is one an acid copper bath can have (95-101 %,
    /// common practice; the Metal Finishing Guidebook gives "essentially
    /// 100 %"). Outside it, water, wire, meter or area are to blame first.
    pub fn plausible(&self) -> Option<bool> {
        self.efficiency
            .as_ref()
            .map(|e| (0.95..=1.01).contains(&e.value.si()))
    }
}

/// Mass, thickness and efficiency from a dry weighing before and one after.
///
/// `water` is the half-width, as a share of the mass before, of what water,
/// paint and wire may have added or taken; it enters as a rectangular bound,
/// `a / sqrt 3` (GUM 4.3.7). `balance` is the balance's standard uncertainty.
/// `area` is what carried metal on the balance; its relative standard
/// uncertainty is `area_rel`.
pub fn weigh(
    metal: &Metal,
    before: Mass,
    after: Mass,
    water: Ratio,
    balance: Mass,
    on: Weighed<'_>,
) -> Weighing {
    let doubt = before.si() * water.si() / 3_f64.sqrt();
    let gained = Figure::exact(after - before, Kind::Measured)
        .doubt(format!("water {}", on.name), doubt)
        .doubt("balance", balance.si() * 2_f64.sqrt());
    let per_mass = thickness_of_mass(metal, Mass::from_si(1.0), on.area).si();
    let thickness: Figure<LengthDim> = gained
        .scaled(per_mass)
        .doubt_relative(format!("area {}", on.name), -on.area_rel);
    let possible = on
        .charge
        .map(|charge| deposited_mass(metal, charge, Ratio::from_si(1.0)).si())
        .filter(|mass| *mass > 0.0);
    let efficiency = possible.map(|possible| {
        gained
            .scaled::<RatioDim>(1.0 / possible)
            .doubt_relative(format!("amps {}", on.name), -on.amps_rel)
    });
    Weighing {
        gained,
        thickness,
        efficiency,
    }
}

/// What was on the balance.
#[derive(Debug, Clone, Copy)]
pub struct Weighed<'a> {
    /// The piece's name, for its error components.
    pub name: &'a str,
    /// Area that carried metal.
    pub area: Area,
    /// Relative standard uncertainty of the area.
    pub area_rel: f64,
    /// Charge that passed, where it is known.
    pub charge: Option<Charge>,
    /// Relative standard uncertainty of the charge's meter.
    pub amps_rel: f64,
}
