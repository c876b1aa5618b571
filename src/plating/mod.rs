//! One deposit: metals, Faraday's law, charge from readings, shares, ladders.
//!
//! Kernels take and return plain SI numbers inside; quantities stand at the
//! doors. Nothing here knows a project, a file or a clock.

mod account;
mod bath;
mod coat;
mod density;
mod deposit;
mod metal;
mod weighing;
mod wire;

pub use account::{
    ByField, Delivered, FieldPart, FieldShares, Immersion, Lead, Member, Point, Settled, Share,
    ShareByArea,
};
pub use bath::{AcidCopper, Conductivity};
pub use coat::{copper_sheet_resistance, strip_drop, strip_reach};
pub use density::{DensityWord, density_word};
pub use deposit::{
    ASSUMED_LEAST_OVER_MEAN, ASSUMED_MOST_OVER_MEAN, charge_for, deposited_mass, growth_rate,
    mean_from_minimum, thickness_of_charge, thickness_of_mass,
};
pub use metal::{FARADAY, METALS, Metal, UnknownMetal};
pub use weighing::{Weighed, Weighing, weigh};
pub use wire::{ANNEALED_COPPER_OHM_M, awg_diameter, wire_area, wire_resistance};
