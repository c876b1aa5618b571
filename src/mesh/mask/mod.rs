//! Parts of a print that are kept from the bath on purpose.
//!
//! A [`Mask`] has a text (`box:-1,-1,-1:21,21,5`) and takes wetted facets: those
//! that its border crosses are cut there, so that areas are exact. Only patches
//! and groups take whole facets.

mod cut;
mod patch;
mod text;

#[cfg(test)]
mod tests;

use std::ops::Range;

use rayon::prelude::*;

pub use text::MaskError;

use self::cut::{Border, Polygon, pieces, polygon_of};
use super::{Class, Corner, Facet, Group};
use crate::units::{Stopped, Watch, go_on};

/// A part kept from the bath. Points and lengths are in mm.
///
/// As a text, with POINT as `x,y,z`: `plane:POINT:NORMAL`, `box:A:B`,
/// `sphere:C:R`, `cylinder:A:B:R`, `patch:POINT:DEGREES`, `group:NAME`.
///
/// ```
/// # use tankside_kernel::mesh::Mask;
/// let foot: Mask = "plane:0,0,5:0,0,-1".parse()?;
/// assert_eq!(foot.to_string(), "plane:0,0,5:0,0,-1");
/// # Ok::<(), tankside_kernel::mesh::MaskError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub enum Mask {
    /// All on the side of a plane to which its normal points, the plane
    /// included: `plane:0,0,5:0,0,-1` takes what is at z = 5 and below.
    Plane {
        /// A point of the plane.
        point: Corner,
        /// Upright on it, to the masked side; of any length but zero.
        normal: Corner,
    },
    /// All in the box between two corners, its faces included.
    Box {
        /// One corner.
        from: Corner,
        /// The opposite one.
        to: Corner,
    },
    /// All in a ball.
    Sphere {
        /// Its middle.
        middle: Corner,
        /// Its radius.
        radius: f64,
    },
    /// All in a cylinder with flat ends.
    Cylinder {
        /// The middle of one end.
        from: Corner,
        /// The middle of the other.
        to: Corner,
        /// Its radius.
        radius: f64,
    },
    /// What is reached over the wetted surface from the bit nearest to a point
    /// without crossing an edge that is bent by more than an angle.
    Patch {
        /// On or near the surface.
        point: Corner,
        /// The largest bend that is crossed, in degrees from 0 to 180.
        degrees: f64,
    },
    /// The triangles that the file has under a name.
    Group(
        /// The name.
        String,
    ),
}

/// What a mask took.
#[derive(Debug, Clone, PartialEq)]
pub struct MaskTaken {
    /// Which mask.
    pub mask: Mask,
    /// In mm²; what several masks take counts to the first.
    pub area_mm2: f64,
    /// The masked facets of the survey that it took: runs that rise.
    pub facets: Vec<Range<usize>>,
    /// Why it took nothing, where there is more to say than that it touches
    /// nothing.
    pub because: Option<String>,
}

impl MaskTaken {
    /// Whether it took this facet of the survey.
    pub fn has(&self, facet: usize) -> bool {
        let next = self.facets.partition_point(|run| run.end <= facet);
        self.facets
            .get(next)
            .is_some_and(|run| run.contains(&facet))
    }

    /// Notes that it took these facets, which come after all before.
    fn took(&mut self, run: Range<usize>) {
        match self.facets.last_mut() {
            Some(last) if last.end == run.start => last.end = run.end,
            _ if run.is_empty() => {}
            _ => self.facets.push(run),
        }
    }

    /// What to say of a mask that took nothing.
    pub fn warning(&self) -> Option<String> {
        let because = self.nothing_because()?;
        Some(format!("mask {} takes nothing: {because}", self.mask))
    }

    /// Why it took nothing, if it did not take anything.
    pub fn nothing_because(&self) -> Option<&str> {
        let because = self.because.as_deref();
        let because = because.unwrap_or("it touches nothing that the bath wets and no other took");
        (self.area_mm2 <= 0.0).then_some(because)
    }
}

/// What a mask is, ready to be asked of each facet.
enum Ready<'a> {
    /// Where its border is.
    Shape(Border),
    /// Which facets are in it.
    Facets(Vec<bool>),
    /// Which triangles of the file are in it.
    Triangles(&'a [Range<u32>]),
}

/// Facets that one thread takes at a time.
const BLOCK: usize = 4096;

/// Turns the wetted facets that lie in a mask into masked ones, cut at the
/// border of the mask where it goes through them; dry and hidden ones stay.
/// Returns what each mask took, in their order.
///
/// A patch grows over the surface as it was wetted before any mask.
///
/// # Errors
/// [`Stopped`] where `watch` asks for it; the facets are then as before.
pub(super) fn apply(
    masks: &[Mask],
    groups: &[Group],
    facets: &mut Vec<Facet>,
    watch: &dyn Watch,
) -> Result<Vec<MaskTaken>, Stopped> {
    let mut taken: Vec<MaskTaken> = masks.iter().cloned().map(nothing_taken).collect();
    if masks.is_empty() {
        return Ok(taken);
    }
    let step = "taking off the masked parts";
    let mut ready = Vec::with_capacity(masks.len());
    for told in &mut taken {
        go_on(watch, step, 0.0)?;
        ready.push(made_ready(told, groups, facets));
    }
    let starts = (0..).step_by(BLOCK);
    let blocks: Vec<(usize, &[Facet])> = starts.zip(facets.chunks(BLOCK)).collect();
    let done = blocks.into_par_iter().map(|(start, block)| {
        if watch.stopped() {
            return Err(Stopped);
        }
        let mut all = Vec::with_capacity(block.len());
        let mut of_block: Vec<MaskTaken> = masks.iter().cloned().map(nothing_taken).collect();
        for (at, facet) in (start..).zip(block) {
            divide(&ready, at, facet, &mut all, &mut of_block);
        }
        Ok((all, of_block))
    });
    let done: Vec<(Vec<Facet>, Vec<MaskTaken>)> = done.collect::<Result<_, _>>()?;
    facets.clear();
    for (block, of_block) in done {
        let before = facets.len();
        facets.extend(block);
        for (told, of_block) in taken.iter_mut().zip(of_block) {
            told.area_mm2 += of_block.area_mm2;
            for run in of_block.facets {
                told.took(before + run.start..before + run.end);
            }
        }
    }
    go_on(watch, step, 1.0)?;
    Ok(taken)
}

fn nothing_taken(mask: Mask) -> MaskTaken {
    MaskTaken {
        mask,
        area_mm2: 0.0,
        facets: Vec::new(),
        because: None,
    }
}

fn made_ready<'a>(told: &mut MaskTaken, groups: &'a [Group], facets: &[Facet]) -> Ready<'a> {
    match &told.mask {
        Mask::Patch { point, degrees } => match patch::grown(*point, *degrees, facets) {
            Ok(patch) => Ready::Facets(patch),
            Err(because) => {
                told.because = Some(because);
                Ready::Triangles(&[])
            }
        },
        Mask::Group(name) => match known_group(name, groups) {
            Ok(group) => Ready::Triangles(&group.runs),
            Err(unknown) => {
                told.because = Some(unknown.to_string());
                Ready::Triangles(&[])
            }
        },
        shape => Border::of(shape).map_or(Ready::Triangles(&[]), Ready::Shape),
    }
}

fn known_group<'a>(name: &str, groups: &'a [Group]) -> Result<&'a Group, MaskError> {
    groups
        .iter()
        .find(|group| group.name == name)
        .ok_or_else(|| MaskError::unknown_group(name, groups))
}

impl Mask {
    /// Whether the file has the group that the mask names, if it names one.
    ///
    /// # Errors
    /// [`MaskError::UnknownGroup`] with the nearest name there is.
    pub fn check_group(&self, groups: &[Group]) -> Result<(), MaskError> {
        match self {
            Self::Group(name) => known_group(name, groups).map(|_| ()),
            _ => Ok(()),
        }
    }
}

/// Adds one facet to `all` as what the masks make of it, and to `taken` what
/// each takes.
fn divide(
    ready: &[Ready<'_>],
    at: usize,
    facet: &Facet,
    all: &mut Vec<Facet>,
    taken: &mut [MaskTaken],
) {
    if facet.class != Class::Wetted {
        all.push(*facet);
        return;
    }
    let mut left = vec![polygon_of(facet.corners)];
    for (mask, told) in ready.iter().zip(taken) {
        let (inside, outside) = match mask {
            Ready::Shape(border) => border.divide(left),
            Ready::Facets(patch) => whole(patch[at], left),
            Ready::Triangles(runs) => whole(holds(runs, facet.triangle), left),
        };
        let before = all.len();
        told.area_mm2 += add(inside, facet, Class::Masked, all);
        told.took(before..all.len());
        left = outside;
    }
    add(left, facet, Class::Wetted, all);
}

fn whole(is_in: bool, left: Vec<Polygon>) -> (Vec<Polygon>, Vec<Polygon>) {
    if is_in {
        (left, Vec::new())
    } else {
        (Vec::new(), left)
    }
}

fn holds(runs: &[Range<u32>], triangle: u32) -> bool {
    let next = runs.partition_point(|run| run.end <= triangle);
    runs.get(next).is_some_and(|run| run.contains(&triangle))
}

/// Adds the triangles of convex pieces of a facet; their area in mm².
fn add(polygons: Vec<Polygon>, of: &Facet, class: Class, all: &mut Vec<Facet>) -> f64 {
    let mut area = 0.0;
    let whole = of.area_mm2();
    for corners in polygons.iter().flat_map(|polygon| pieces(polygon, whole)) {
        let facet = Facet {
            triangle: of.triangle,
            corners,
            class,
        };
        area += facet.area_mm2();
        all.push(facet);
    }
    area
}
