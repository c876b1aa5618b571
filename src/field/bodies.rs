//! What hangs in a bath, what is asked of it and what flows.

use super::kinetics::Kinetics;
use super::panel::{Panel, Point};
use super::tank::Tank;
use crate::units::Stopped;

/// What a body's surface is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Surface {
    /// Metal of a closed body, the bath on one side of each panel.
    Metal,
    /// A metal plate without thickness in the liquid: current reaches both of
    /// its faces and is told as their sum. It knows no kinetics.
    Plate,
    /// A metal plate in a wall of the tank: one face works.
    FlushPlate,
    /// An insulator, or a part of metal that is masked.
    Insulator,
}

/// One electrode or insulator.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// Its panels, normals into the liquid.
    pub panels: Vec<Panel>,
    /// What each panel is: as many as panels.
    pub surfaces: Vec<Surface>,
    /// Whether it belongs to the side of the supply whose volts are shifted
    /// until the wanted amps flow: the anodes.
    pub anode: bool,
}

impl Body {
    /// A body that is one thing all over.
    pub fn uniform(panels: Vec<Panel>, surface: Surface) -> Self {
        Self {
            surfaces: vec![surface; panels.len()],
            panels,
            anode: false,
        }
    }

    /// The same as an anode.
    pub fn as_anode(mut self) -> Self {
        self.anode = true;
        self
    }
}

/// What hangs at which volts.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// Each body's volts.
    pub volts: Vec<f64>,
    /// Each body's kinetics.
    pub kinetics: Vec<Kinetics>,
    /// The volts of the anode at infinity; of use without a tank.
    pub far_volts: f64,
    /// The amps wanted from the anodes (in a tank) or from infinity; their volts
    /// are then shifted together. None: the volts are as they are.
    pub amps: Option<f64>,
    /// How much of the residual may be left, as a share of the largest volts.
    pub exact: f64,
}

impl Order {
    /// These volts, no kinetics.
    pub fn volts(volts: Vec<f64>) -> Self {
        Self {
            kinetics: vec![Kinetics::None; volts.len()],
            volts,
            far_volts: 0.0,
            amps: None,
            exact: 2e-5,
        }
    }
}

/// What flows.
#[derive(Debug, Clone, PartialEq)]
pub struct Currents {
    /// Of each body, of each panel: the current density into the metal, A/m².
    pub density: Vec<Vec<f64>>,
    /// Of each body, of each panel: the potential of the liquid less the body's
    /// volts, V.
    pub overpotential: Vec<Vec<f64>>,
    /// Of each body: the amps into it.
    pub amps: Vec<f64>,
    /// The potential far away, V; in a tank a constant without a place.
    pub constant: f64,
    /// What the anodes' volts (or those at infinity) were raised by for the amps
    /// that were wanted, V.
    pub raised: f64,
    /// The root mean square of what is left of the equations, as a share of the
    /// largest volts between bodies.
    pub residual: f64,
    /// In a tank: amps that go in less those that come out, as a share of
    /// either; with an anode at infinity 0.
    pub balance: f64,
    /// How many panels there are.
    pub panels: usize,
    /// How often the operator was asked.
    pub steps: usize,
}

/// Why no currents are told.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FieldError {
    /// Stopped as asked.
    #[error(transparent)]
    Stopped(#[from] Stopped),
    /// No more panels than none.
    #[error("there is no metal in the bath")]
    Empty,
    /// A number that cannot be.
    #[error("{0} cannot be: {1}")]
    Wrong(&'static str, String),
    /// The equations were not solved well enough.
    #[error("the equations are not solved: {left:.1e} of them is left after {steps} steps")]
    Unsolved {
        /// The residual that is left.
        left: f64,
        /// After so many steps.
        steps: usize,
    },
}

/// Whether these can be a bath.
///
/// # Errors
/// [`FieldError::Empty`] or [`FieldError::Wrong`].
pub(super) fn checked(
    tank: Option<Tank>,
    conductivity: f64,
    bodies: &[Body],
) -> Result<(), FieldError> {
    let panels = || bodies.iter().flat_map(|body| &body.panels);
    if panels().next().is_none() {
        return Err(FieldError::Empty);
    }
    if !(conductivity.is_finite() && conductivity > 0.0) {
        return Err(FieldError::Wrong(
            "conductivity",
            format!("{conductivity} S/m"),
        ));
    }
    if let Some(tank) = tank
        && !tank
            .size()
            .iter()
            .all(|long| long.is_finite() && *long > 0.0)
    {
        return Err(FieldError::Wrong("tank", format!("{:?} m", tank.size())));
    }
    if let Some(panel) = panels().find(|panel| !(panel.area.is_finite() && panel.area > 0.0)) {
        return Err(FieldError::Wrong("panel", format!("{:?}", panel.corners)));
    }
    if bodies
        .iter()
        .any(|body| body.surfaces.len() != body.panels.len())
    {
        return Err(FieldError::Wrong(
            "surfaces",
            "not as many as panels".to_owned(),
        ));
    }
    let outside = |tank: Tank, middle: Point| {
        let slack = 1e-6 * tank.size().iter().copied().fold(0.0, f64::max);
        (0..3).any(|axis| {
            middle[axis] < tank.low[axis] - slack || middle[axis] > tank.high[axis] + slack
        })
    };
    match tank.and_then(|tank| panels().find(|panel| outside(tank, panel.middle))) {
        Some(panel) => Err(FieldError::Wrong(
            "panel outside the tank",
            format!("{:?} m", panel.middle),
        )),
        None => Ok(()),
    }
}
