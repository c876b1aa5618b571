//! Panels for what hangs in a bath.
//!
//! A print's wetted triangles are far too many in its rounds and far too large on
//! its flats. [`print`] makes a [`Cover`] of about as many panels as wanted: corners
//! are drawn together where triangles are small (`coarser`), triangles halved
//! where they are large (`finer`), by a size (`sizes`) that shrinks toward edges,
//! rims, tips and borders of masks, where current crowds. What the panels carry is
//! given back to the print's own triangles (`back`). Panels need not share their
//! corners: the equations are held in their middles.
//!
//! What is made by measure gets its panels from [`tube`], [`block`] and [`face`].

mod back;
mod boxes;
mod coarser;
mod finer;
mod flips;
mod joints;
#[cfg(test)]
mod known;
mod made;
mod parted;
mod sizes;
mod skin;

use super::bodies::FieldError;
use super::panel::{Panel, Point};
use crate::mesh::space::area;
use crate::mesh::tree::in_order;
use crate::units::{Watch, go_on};

pub use made::{block, face, tube};

/// A print's surface in panels, and the way back.
#[derive(Debug, Clone)]
pub struct Cover {
    /// The panels, normals as the print's.
    pub panels: Vec<Panel>,
    /// Whether current may flow to each panel; false: masked, an insulator.
    pub live: Vec<bool>,
    back: back::Back,
}

impl Cover {
    /// A/m² on each triangle of the print, from A/m² on each panel: the sum of
    /// current is the same, and each triangle has the figures of the panels that
    /// stand for it.
    pub fn carried_back(&self, densities: &[f64]) -> Vec<f64> {
        self.back.carried(densities)
    }
}

/// About `wanted` panels for the wetted `triangles` (m) of a print, whose normals
/// look into the liquid; `masked`: no current there, of as many.
///
/// The area of panels that are not masked is that of the print: what rounds lose
/// to flat panels, and roughness finer than these, is put on all of them alike.
///
/// # Errors
/// [`FieldError::Wrong`] for a place that is none, [`FieldError::Empty`] where
/// nothing has an area, and [`FieldError::Stopped`] as asked.
pub fn print(
    triangles: &[[Point; 3]],
    masked: &[bool],
    wanted: usize,
    watch: &dyn Watch,
) -> Result<Cover, FieldError> {
    checked(triangles, masked)?;
    go_on(watch, "making panels", 0.0)?;
    let mut skin = skin::Skin::new(triangles, masked);
    if skin.faces.is_empty() {
        return Err(FieldError::Empty);
    }
    go_on(watch, "making panels", 0.1)?;
    let mut shape = skin::Shape::new(&skin);
    let mut sizes = sizes::Sizes::new(&skin, &shape, wanted);
    if parted::parted(&mut skin, &mut sizes, wanted) {
        shape = skin::Shape::new(&skin);
    }
    let coarse = coarser::coarser(skin, shape, &sizes, wanted, watch)?;
    let facets = finer::finer(&coarse, &sizes, wanted, watch)?;
    let cut: Vec<(Panel, bool)> = facets
        .iter()
        .map(|facet| (Panel::new(facet.corners), facet.live))
        .filter(|(panel, _)| panel.area > 0.0)
        .collect();
    // Neighbours beside each other: trees over the panels count on it.
    let (mut panels, live): (Vec<Panel>, Vec<bool>) = in_order(cut.len(), |k| cut[k].0.middle)
        .into_iter()
        .map(|k| cut[k as usize])
        .unzip();
    as_large_as(&mut panels, &live, triangles, masked);
    let back = back::Back::new(triangles, masked, (&panels, &live), sizes.smooth, watch)?;
    Ok(Cover { panels, live, back })
}

fn checked(triangles: &[[Point; 3]], masked: &[bool]) -> Result<(), FieldError> {
    if masked.len() != triangles.len() {
        let counts = format!("{} for {} triangles", masked.len(), triangles.len());
        return Err(FieldError::Wrong("masks", counts));
    }
    let wrong = |triangle: &&[Point; 3]| !triangle.iter().flatten().all(|c| c.is_finite());
    match triangles.iter().find(wrong) {
        Some(triangle) => Err(FieldError::Wrong("triangle", format!("{triangle:?}"))),
        None if triangles.is_empty() => Err(FieldError::Empty),
        None => Ok(()),
    }
}

/// Gives the live panels together the area of the live triangles.
fn as_large_as(panels: &mut [Panel], live: &[bool], triangles: &[[Point; 3]], masked: &[bool]) {
    let open = triangles.iter().zip(masked).filter(|(_, masked)| !**masked);
    let wanted: f64 = open.map(|(triangle, _)| area(*triangle)).sum();
    let there = panels.iter().zip(live).filter(|(_, live)| **live);
    let factor = wanted / there.map(|(panel, _)| panel.area).sum::<f64>();
    for (panel, _) in panels.iter_mut().zip(live).filter(|(_, live)| **live) {
        panel.area *= factor;
    }
}
