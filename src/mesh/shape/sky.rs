//! How much of the open bath a place of the surface sees.

use rayon::prelude::*;

use super::boxes::Boxes;
use super::sample::in_sky;
use crate::mesh::space::{middle, plus, times};
use crate::mesh::{Corner, Facet};
use crate::units::{Stopped, Watch, go_on};

/// The share of the hemisphere over each facet's middle that sees out of the
/// print, each direction counted by its cosine to the facet: 1 on all that is
/// convex, near 0 deep in a hole, where metal will be thin. In the order of the
/// facets; within 0.06 of the truth, k = 2 (64 directions).
///
/// This is the view factor of heat radiation from the place to the surroundings
/// (any textbook of radiative heat transfer).
///
/// # Errors
/// [`Stopped`] where `watch` asks for it.
pub fn sky(facets: &[Facet], watch: &dyn Watch) -> Result<Vec<f64>, Stopped> {
    const TOGETHER: usize = 16_384;
    let boxes = Boxes::new(facets);
    let mut shares = Vec::with_capacity(facets.len());
    for start in (0..facets.len()).step_by(TOGETHER) {
        go_on(
            watch,
            "looking at the sky",
            start as f64 / facets.len() as f64,
        )?;
        let end = (start + TOGETHER).min(facets.len());
        shares.par_extend((start..end).into_par_iter().map(|at| {
            let place = (middle(facets[at].corners), boxes.turned(at));
            share(&open_ways(&boxes, place, RAYS, turn_of(at)), RAYS)
        }));
    }
    Ok(shares)
}

/// In how many directions a place looks.
pub(super) const RAYS: usize = 64;

/// How far the directions of the place with this number are turned, so that
/// neighbours do not look the same ways.
pub(super) fn turn_of(number: usize) -> f64 {
    (number as f64 * 0.618_033_988_749_894_9).fract()
}

pub(super) fn share(open: &[Corner], rays: usize) -> f64 {
    open.len() as f64 / rays as f64
}

/// Those of the first `rays` directions in which nothing is in the way.
pub(super) fn open_ways(
    boxes: &Boxes<'_>,
    (at, upright): (Corner, Corner),
    rays: usize,
    turn: f64,
) -> Vec<Corner> {
    let from = lifted(boxes, at, upright);
    let ways = (0..rays).map(|number| in_sky(upright, number, turn));
    ways.filter(|&way| !boxes.blocked(from, way, f64::INFINITY))
        .collect()
}

/// A little off the surface.
pub(super) fn lifted(boxes: &Boxes<'_>, at: Corner, upright: Corner) -> Corner {
    plus(at, times(upright, 1e-6 * boxes.diagonal()))
}
