//! Numbers of a scene that cannot be.

use super::super::bodies::FieldError;
use super::super::kinetics::Kinetics;
use super::super::panel::Point;
use super::{Scene, Vessel};
use crate::mesh::space::length;
use crate::units::{Stopped, plain};

/// Why a scene is not solved.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SceneError {
    /// A number or a name that cannot be.
    #[error("{path}: {because}")]
    Wrong {
        /// Where in the scene: `anodes[0].size_mm`.
        path: String,
        /// What is wrong, and what would do.
        because: String,
    },
    /// Two things are in one place, or one is out of the tank.
    #[error("{0}")]
    Meets(String),
    /// The field itself.
    #[error(transparent)]
    Field(#[from] FieldError),
}

impl From<Stopped> for SceneError {
    fn from(stopped: Stopped) -> Self {
        Self::Field(stopped.into())
    }
}

/// Lengths beyond this are no tank's, mm.
const FARTHEST_MM: f64 = 1e5;

/// The volts of a supply at most, V.
const MOST_VOLTS: f64 = 1e3;

/// The amps of a supply at most, A.
const MOST_AMPS: f64 = 1e5;

/// From a thousandth of pure water's to ten times the best acid's, S/m.
const CONDUCTIVITY: std::ops::RangeInclusive<f64> = 1e-4..=1e3;

impl Scene {
    /// Whether every number can be and every name is there once. What meets
    /// what is looked at when it is cut into panels.
    ///
    /// # Errors
    /// [`SceneError::Wrong`].
    pub fn check(&self) -> Result<(), SceneError> {
        if !CONDUCTIVITY.contains(&self.conductivity_s_m) {
            return wrong("conductivity_s_m", || {
                format!(
                    "{} S/m is no bath's: give 0.0001 to 1000",
                    plain(self.conductivity_s_m)
                )
            });
        }
        if let Some(tank) = &self.tank {
            check_tank(tank)?;
        }
        self.check_names()?;
        self.check_anodes()?;
        self.check_metal()?;
        for (k, shield) in self.shields.iter().enumerate() {
            let at = |field: &str| format!("shields[{k}].{field}");
            place(&at("centre_mm"), shield.centre_mm)?;
            direction(&at("normal"), &shield.normal)?;
            shield
                .size_mm
                .iter()
                .try_for_each(|mm| size(&at("size_mm"), *mm))?;
            size(&at("thickness_mm"), shield.thickness_mm)?;
        }
        self.check_supply()
    }

    fn check_anodes(&self) -> Result<(), SceneError> {
        for (k, anode) in self.anodes.iter().enumerate() {
            let at = |field: &str| format!("anodes[{k}].{field}");
            place(&at("centre_mm"), anode.centre_mm)?;
            direction(&at("normal"), &anode.normal)?;
            anode
                .size_mm
                .iter()
                .try_for_each(|mm| size(&at("size_mm"), *mm))?;
            volts(&at("volts"), anode.volts)?;
        }
        for (k, rod) in self.rods.iter().enumerate() {
            let at = |field: &str| format!("rods[{k}].{field}");
            line(&at("points_mm"), &rod.points_mm, rod.diameter_mm, false)?;
            size(&at("diameter_mm"), rod.diameter_mm)?;
            volts(&at("volts"), rod.volts)?;
        }
        Ok(())
    }

    fn check_metal(&self) -> Result<(), SceneError> {
        if self.bodies.is_empty() && self.wires.is_empty() {
            return wrong("bodies", || "there is no metal to plate".to_owned());
        }
        for (k, body) in self.bodies.iter().enumerate() {
            let at = |field: &str| format!("bodies[{k}].{field}");
            place(&at("move_mm"), body.move_mm)?;
            direction(&at("rotation"), &body.rotation)?;
            volts(&at("volts"), body.volts)?;
            law(&at("kinetics"), &body.kinetics)?;
        }
        for (k, wire) in self.wires.iter().enumerate() {
            let at = |field: &str| format!("wires[{k}].{field}");
            line(
                &at("points_mm"),
                &wire.points_mm,
                wire.diameter_mm,
                wire.closed,
            )?;
            size(&at("diameter_mm"), wire.diameter_mm)?;
            volts(&at("volts"), wire.volts)?;
            wire.kinetics
                .iter()
                .try_for_each(|kinetics| law(&at("kinetics"), kinetics))?;
        }
        Ok(())
    }

    fn check_names(&self) -> Result<(), SceneError> {
        let named = (self.anodes.iter().map(|of| &of.name))
            .chain(self.rods.iter().map(|of| &of.name))
            .chain(self.bodies.iter().map(|of| &of.name))
            .chain(self.wires.iter().map(|of| &of.name));
        let mut seen = std::collections::BTreeSet::new();
        for name in named {
            if name.trim().is_empty() {
                return wrong("name", || "a name is empty: every body has one".to_owned());
            }
            if !seen.insert(name) {
                return wrong("name", || {
                    format!("`{name}` is there twice: every body has a name of its own")
                });
            }
        }
        Ok(())
    }

    fn check_supply(&self) -> Result<(), SceneError> {
        let anodes = self.anodes.len() + self.rods.len();
        match self.supply {
            Some(super::Supply::Volts(given)) => volts("supply.volts", given),
            Some(super::Supply::Amps(amps)) if !(amps.is_finite() && amps.abs() <= MOST_AMPS) => {
                wrong("supply.amps", || format!("{} A cannot be", plain(amps)))
            }
            Some(super::Supply::Amps(_)) if self.tank.is_some() && anodes == 0 => {
                wrong("supply.amps", || {
                    "amps come from anodes, and there are none".to_owned()
                })
            }
            _ => Ok(()),
        }
    }
}

fn wrong(path: &str, because: impl FnOnce() -> String) -> Result<(), SceneError> {
    Err(SceneError::Wrong {
        path: path.to_owned(),
        because: because(),
    })
}

fn check_tank(tank: &Vessel) -> Result<(), SceneError> {
    place("tank.min_mm", tank.min_mm)?;
    place("tank.max_mm", tank.max_mm)?;
    if (0..3).any(|axis| tank.max_mm[axis] - tank.min_mm[axis] < 1.0) {
        return wrong("tank.max_mm", || {
            "it lies beyond min_mm by a millimetre or more along every axis".to_owned()
        });
    }
    Ok(())
}

fn place(path: &str, at: Point) -> Result<(), SceneError> {
    match at.iter().find(|mm| mm.is_nan() || mm.abs() > FARTHEST_MM) {
        Some(mm) => wrong(path, || format!("{} mm is in no tank", plain(*mm))),
        None => Ok(()),
    }
}

fn direction(path: &str, of: &[f64]) -> Result<(), SceneError> {
    let square: f64 = of.iter().map(|number| number * number).sum();
    if square.is_finite() && square > 1e-18 {
        Ok(())
    } else {
        wrong(path, || "it has no length, so no direction".to_owned())
    }
}

fn size(path: &str, mm: f64) -> Result<(), SceneError> {
    if mm > 1e-3 && mm <= FARTHEST_MM {
        Ok(())
    } else {
        wrong(path, || {
            format!("{} mm cannot be: it is above 0.001", plain(mm))
        })
    }
}

fn volts(path: &str, volts: f64) -> Result<(), SceneError> {
    if volts.abs() <= MOST_VOLTS {
        Ok(())
    } else {
        wrong(path, || format!("{} V cannot be", plain(volts)))
    }
}

fn line(path: &str, points: &[Point], diameter: f64, closed: bool) -> Result<(), SceneError> {
    points.iter().try_for_each(|point| place(path, *point))?;
    let least = if closed { 3 } else { 2 };
    if points.len() < least {
        return wrong(path, || format!("{least} points or more make a line"));
    }
    let ends = if closed { points.first() } else { None };
    let next = points.iter().skip(1).chain(ends);
    let long = |(a, b): (&Point, &Point)| length([0, 1, 2].map(|axis| a[axis] - b[axis]));
    if let Some(k) = points
        .iter()
        .zip(next)
        .map(long)
        .position(|mm| mm < 1e-3 * diameter.abs().max(1e-3))
    {
        return wrong(path, || {
            format!("points {k} and {} are in one place", k + 1)
        });
    }
    Ok(())
}

fn law(path: &str, kinetics: &Kinetics) -> Result<(), SceneError> {
    let above = |name: &str, value: f64, unit: &str| {
        if value.is_finite() && value > 0.0 {
            Ok(())
        } else {
            wrong(&format!("{path}.{name}"), || {
                format!("{} {unit} cannot be: it is above 0", plain(value))
            })
        }
    };
    let limit = |limit: Option<f64>| limit.map_or(Ok(()), |l| above("limit_a_m2", l, "A/m2"));
    match *kinetics {
        Kinetics::None => Ok(()),
        Kinetics::Linear { rp_ohm_m2 } => above("rp_ohm_m2", rp_ohm_m2, "ohm m2"),
        Kinetics::Tafel {
            i0_a_m2,
            alpha_c,
            temperature_k,
            limit_a_m2,
        } => above("i0_a_m2", i0_a_m2, "A/m2")
            .and_then(|()| above("alpha_c", alpha_c, ""))
            .and_then(|()| above("temperature_k", temperature_k, "K"))
            .and_then(|()| limit(limit_a_m2)),
        Kinetics::ButlerVolmer {
            i0_a_m2,
            alpha_a,
            alpha_c,
            temperature_k,
            limit_a_m2,
        } => above("i0_a_m2", i0_a_m2, "A/m2")
            .and_then(|()| above("alpha_a", alpha_a, ""))
            .and_then(|()| above("alpha_c", alpha_c, ""))
            .and_then(|()| above("temperature_k", temperature_k, "K"))
            .and_then(|()| limit(limit_a_m2)),
    }
}
