//! The arithmetic of `charge`: one deposit without a project.

use crate::plating::{Metal, charge_for, deposited_mass, thickness_of_charge};
use crate::units::{Area, Charge, Current, CurrentDensity, Duration, Length, Mass, Ratio};

/// From what the deposit is told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum From {
    /// The mean thickness wanted.
    Thickness(Length),
    /// The charge passed.
    Charge(Charge),
    /// A current for a time.
    Run(Current, Duration),
}

/// One deposit to reckon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    /// The metal and its bath.
    pub metal: Metal,
    /// The area that draws current.
    pub area: Area,
    /// Cathode efficiency.
    pub efficiency: Ratio,
    /// What is known of the deposit.
    pub from: From,
    /// The current density it is plated at, for the time it takes.
    pub density: Option<CurrentDensity>,
}

/// Charge, mass, mean thickness and time of one deposit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deposit {
    /// Charge through the lead.
    pub charge: Charge,
    /// Mass deposited.
    pub mass: Mass,
    /// Mean thickness.
    pub thickness: Length,
    /// How long, where a current is known.
    pub time: Option<Duration>,
}

impl Asked {
    /// The deposit, by Faraday's law (see [`charge_for`]).
    pub fn deposit(&self) -> Deposit {
        let charge = match self.from {
            From::Thickness(thickness) => {
                charge_for(&self.metal, self.area, thickness, self.efficiency)
            }
            From::Charge(charge) => charge,
            From::Run(amps, time) => Charge::from_si(amps.si() * time.si()),
        };
        let by_density = || {
            let amps = self.density?.si() * self.area.si();
            (amps > 0.0).then(|| Duration::from_si(charge.si() / amps))
        };
        let time = match self.from {
            From::Run(_, time) => Some(time),
            _ => by_density(),
        };
        Deposit {
            charge,
            mass: deposited_mass(&self.metal, charge, self.efficiency),
            thickness: match self.from {
                From::Thickness(thickness) => thickness,
                _ => thickness_of_charge(&self.metal, charge, self.area, self.efficiency),
            },
            time,
        }
    }
}
