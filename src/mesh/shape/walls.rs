//! Walls that are too thin.

use rayon::prelude::*;

use super::boxes::Boxes;
use super::sample::{Sample, samples};
use crate::mesh::space::{dot, plus, times};
use crate::mesh::{Corner, Facet};
use crate::units::{Stopped, Watch, go_on};

/// What of a print's walls is thinner than a limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wall {
    /// The least thickness found, in mm.
    pub thinnest_mm: f64,
    /// The surface over what is too thin, both sides counted, in mm².
    pub area_mm2: f64,
    /// The middle of the wall where it is thinnest.
    pub at_mm: Corner,
}

impl Wall {
    /// Thinner than this a printed wall breaks or leaks in the bath: mm, common
    /// practice, no source.
    pub const LEAST_MM: f64 = 0.8;
}

/// The walls thinner than `least_mm`: both sides must be among `facets`, turned
/// to the open side, and within 25 degrees of parallel, so that a sharp edge or
/// a cone is no wall. Of meshes over 8,000 triangles 4,000 points are looked
/// at.
///
/// # Errors
/// [`Stopped`] where `watch` asks for it.
pub fn thin_walls(
    facets: &[Facet],
    least_mm: f64,
    watch: &dyn Watch,
) -> Result<Option<Wall>, Stopped> {
    let boxes = Boxes::new(facets);
    within(&boxes, &samples(&boxes), least_mm, watch)
}

pub(super) fn within(
    boxes: &Boxes<'_>,
    samples: &[Sample],
    least_mm: f64,
    watch: &dyn Watch,
) -> Result<Option<Wall>, Stopped> {
    go_on(watch, "looking for thin walls", 0.0)?;
    let one = |sample: &Sample| {
        let thickness = thickness(boxes, sample, least_mm)?;
        Some(Wall {
            thinnest_mm: thickness,
            area_mm2: sample.area,
            at_mm: plus(sample.at, times(sample.upright, -thickness / 2.0)),
        })
    };
    let thin: Vec<Wall> = samples.par_iter().filter_map(one).collect();
    let both = |a: Wall, b: Wall| {
        let thinner = if b.thinnest_mm < a.thinnest_mm { b } else { a };
        Wall {
            area_mm2: a.area_mm2 + b.area_mm2,
            ..thinner
        }
    };
    Ok(thin.into_iter().reduce(both))
}

/// Through the solid from a point to the opposite side, if that is parallel and
/// nearer than `least_mm`.
fn thickness(boxes: &Boxes<'_>, sample: &Sample, least_mm: f64) -> Option<f64> {
    /// The cosine of 25 degrees.
    const PARALLEL: f64 = 0.906;
    let inward = times(sample.upright, -1.0);
    let skin = 1e-6 * boxes.diagonal();
    let start = plus(sample.at, times(inward, skin));
    let hit = boxes.hit(start, inward, least_mm)?;
    let thickness = hit.far + skin;
    let is_wall = dot(boxes.turned(hit.facet), inward) >= PARALLEL && thickness < least_mm;
    is_wall.then_some(thickness)
}
