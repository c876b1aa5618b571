//! Holes, grooves, cups: where the bath hardly carries metal.

use rayon::prelude::*;

use super::boxes::Boxes;
use super::sample::{Sample, across, samples, spacing};
use super::sky::{RAYS, lifted, open_ways, share, turn_of};
use crate::mesh::space::{dot, length, less, plus, times, unit};
use crate::mesh::{Corner, Facet};
use crate::units::{Stopped, Watch, go_on};

/// A place that is deep for its width.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recess {
    /// The middle of its mouth, in mm.
    pub at_mm: Corner,
    /// From the mouth to the deepest place, in mm; of a passage with two
    /// mouths, half its length.
    pub depth_mm: f64,
    /// Across its mouth where that is narrowest, in mm.
    pub width_mm: f64,
}

impl Recess {
    /// Depth to width: over about 1 the floor gets clearly less metal than the
    /// outside. Common practice, no source.
    pub fn ratio(&self) -> f64 {
        self.depth_mm / self.width_mm
    }

    /// What is shallower for its width is none. Common practice, no source.
    pub const LEAST_RATIO: f64 = 0.5;
}

/// The recesses of a print, the deepest for their width first.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Recesses {
    /// The deepest of them, at most [`Recesses::MOST`].
    pub deepest: Vec<Recess>,
    /// How many were found in all.
    pub count: usize,
}

impl Recesses {
    /// How many are listed at most.
    pub const MOST: usize = 12;
}

/// Finds the recesses of a surface that is turned outwards.
///
/// Points spread over the surface look at the sky. Those that see little of it
/// and lie side by side in the open make a recess; what they see of it shows
/// where its mouth is. From there its width is measured, out to where it is no
/// longer enclosed. Of meshes over 8,000 triangles 4,000 points are looked
/// at, so a hole of less than a thousandth of the area may be missed.
///
/// # Errors
/// [`Stopped`] where `watch` asks for it.
pub fn recesses(facets: &[Facet], watch: &dyn Watch) -> Result<Recesses, Stopped> {
    let boxes = Boxes::new(facets);
    within(&boxes, &samples(&boxes), watch)
}

pub(super) fn within(
    boxes: &Boxes<'_>,
    samples: &[Sample],
    watch: &dyn Watch,
) -> Result<Recesses, Stopped> {
    go_on(watch, "looking for recesses", 0.0)?;
    let dim = dim_places(boxes, samples);
    go_on(watch, "looking for recesses", 0.6)?;
    let mut all: Vec<Recess> = gathered(boxes, &dim)
        .into_par_iter()
        .filter_map(|places| recess(boxes, &places))
        .filter(|recess| recess.ratio() >= Recess::LEAST_RATIO)
        .collect();
    all.sort_by(|a, b| b.ratio().total_cmp(&a.ratio()));
    all = without_doubles(all);
    let count = all.len();
    all.truncate(Recesses::MOST);
    Ok(Recesses {
        deepest: all,
        count,
    })
}

/// A place that sees little of the sky, and in which directions it does.
#[derive(Debug, Clone)]
struct Dim {
    at: Corner,
    upright: Corner,
    open: Vec<Corner>,
}

fn dim_places(boxes: &Boxes<'_>, samples: &[Sample]) -> Vec<Dim> {
    /// The foot of a wall that stands alone sees half.
    const DIM: f64 = 0.45;
    /// A first glance, which settles most places.
    const GLANCE: usize = 16;
    const SURELY_OPEN: f64 = 0.7;
    let look = |(number, sample): (usize, &Sample)| {
        let place = (sample.at, sample.upright);
        let turn = turn_of(number);
        if share(&open_ways(boxes, place, GLANCE, turn), GLANCE) > SURELY_OPEN {
            return None;
        }
        let open = open_ways(boxes, place, RAYS, turn);
        (share(&open, RAYS) < DIM).then_some(Dim {
            at: sample.at,
            upright: sample.upright,
            open,
        })
    };
    samples.par_iter().enumerate().filter_map(look).collect()
}

/// Places that lie side by side with nothing between them.
fn gathered(boxes: &Boxes<'_>, dim: &[Dim]) -> Vec<Vec<Dim>> {
    const NEIGHBOURS: usize = 12;
    let reach = 4.0 * spacing(boxes);
    let lifted: Vec<_> = dim
        .iter()
        .map(|place| lifted(boxes, place.at, place.upright))
        .collect();
    let near = |at: usize| {
        let mut near: Vec<_> = (0..dim.len())
            .map(|other| (length(less(dim[other].at, dim[at].at)), other))
            .filter(|&(far, other)| far <= reach && other != at)
            .collect();
        near.sort_by(|a, b| a.0.total_cmp(&b.0));
        near.truncate(NEIGHBOURS);
        let sees = |&(_, other): &(f64, usize)| {
            !boxes.blocked(lifted[at], less(lifted[other], lifted[at]), 1.0)
        };
        near.into_iter()
            .filter(sees)
            .map(|(_, other)| other)
            .collect::<Vec<_>>()
    };
    let links: Vec<Vec<usize>> = (0..dim.len()).into_par_iter().map(near).collect();
    let mut groups = super::Groups::of(dim.len());
    for (at, others) in links.iter().enumerate() {
        for &other in others {
            groups.join(at, other);
        }
    }
    let sets = groups.sets();
    sets.into_iter()
        .map(|set| set.into_iter().map(|at| dim[at].clone()).collect())
        .collect()
}

/// The recess that these places line, if they line one.
fn recess(boxes: &Boxes<'_>, places: &[Dim]) -> Option<Recess> {
    let (outward, has_two_mouths) = outward(places)?;
    let start = waist(places, outward)?;
    let mouth = mouth(boxes, start, outward)?;
    let height = dot(mouth.at, outward);
    let depth = |place: &Dim| height - dot(place.at, outward);
    let deepest = places.iter().map(depth).fold(0.0, f64::max);
    Some(Recess {
        at_mm: mouth.at,
        depth_mm: if has_two_mouths {
            deepest / 2.0
        } else {
            deepest
        },
        width_mm: mouth.width,
    })
}

/// The direction in which the sky is, and whether there is as good as another
/// opposite to it.
fn outward(places: &[Dim]) -> Option<(Corner, bool)> {
    const ROUNDS: usize = 8;
    const AS_GOOD: f64 = 0.2;
    let ways = || places.iter().flat_map(|place| place.open.iter().copied());
    let first = ways().next()?;
    // The axis along which most of them point, either way.
    let mut axis = first;
    for _ in 0..ROUNDS {
        let pulled = |sum, way: Corner| plus(sum, times(way, dot(way, axis)));
        axis = unit(ways().fold([0.0; 3], pulled));
    }
    let side = |sign: f64| {
        let along = ways().filter(move |&way| sign * dot(way, axis) > 0.0);
        along.fold(([0.0; 3], 0_usize), |(sum, count), way| {
            (plus(sum, way), count + 1)
        })
    };
    let (ahead, behind) = (side(1.0), side(-1.0));
    let (more, less) = if ahead.1 >= behind.1 {
        (ahead, behind)
    } else {
        (behind, ahead)
    };
    let two = less.1 as f64 > AS_GOOD * more.1 as f64;
    let way = off_the_floor(places, unit(more.0));
    Some((along_the_walls(places, way), two))
}

/// The direction made upright on the floor where there is one.
fn off_the_floor(places: &[Dim], outward: Corner) -> Corner {
    /// The cosine of 20 degrees.
    const LEVEL: f64 = 0.94;
    let uprights = places.iter().map(|place| place.upright);
    let floor = uprights.filter(|&upright| dot(upright, outward) > LEVEL);
    let mean = unit(floor.fold([0.0; 3], plus));
    if length(mean) > 0.0 { mean } else { outward }
}

/// The direction made parallel to the walls where there are any: what it has
/// along their normals is taken off, the rest stays.
fn along_the_walls(places: &[Dim], outward: Corner) -> Corner {
    const ROUNDS: usize = 100;
    const STEEP: f64 = 0.5;
    let walls: Vec<Corner> = places
        .iter()
        .map(|place| place.upright)
        .filter(|&upright| dot(upright, outward).abs() < STEEP)
        .collect();
    let mut way = outward;
    for _ in 0..ROUNDS {
        let pulled = |sum, &wall: &Corner| plus(sum, times(wall, dot(wall, way)));
        let off = walls.iter().fold([0.0; 3], pulled);
        way = unit(less(way, times(off, 1.0 / walls.len().max(1) as f64)));
    }
    way
}

/// The middle of where the sight lines to the sky run closest together.
fn waist(places: &[Dim], outward: Corner) -> Option<Corner> {
    const STEPS: usize = 32;
    const STEEP: f64 = 0.3;
    let lines: Vec<(Corner, Corner)> = places
        .iter()
        .flat_map(|place| place.open.iter().map(|&way| (place.at, way)))
        .filter(|&(_, way)| dot(way, outward) > STEEP)
        .collect();
    let heights = || places.iter().map(|place| dot(place.at, outward));
    let (low, high) = (
        heights().fold(f64::MAX, f64::min),
        heights().fold(f64::MIN, f64::max),
    );
    let crossing = |height: f64| {
        let below = lines.iter().filter(|line| dot(line.0, outward) < height);
        let points: Vec<Corner> = below
            .map(|&(at, way)| {
                let far = (height - dot(at, outward)) / dot(way, outward);
                plus(at, times(way, far))
            })
            .collect();
        let count = points.len() as f64;
        let middle = times(points.iter().copied().fold([0.0; 3], plus), 1.0 / count);
        let spread = points
            .iter()
            .map(|&point| length(less(point, middle)).powi(2))
            .sum::<f64>();
        (points.len() >= 4).then_some((spread / count, middle))
    };
    let levels = (1..=STEPS).filter_map(|step| {
        let up = step as f64 / STEPS as f64;
        crossing(low + (high - low) * (0.3 + 0.75 * up))
    });
    levels
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, middle)| middle)
}

#[derive(Debug, Clone, Copy)]
struct Mouth {
    at: Corner,
    width: f64,
}

/// From a point in the recess outwards to where its walls end.
fn mouth(boxes: &Boxes<'_>, start: Corner, outward: Corner) -> Option<Mouth> {
    const WIDENS: f64 = 1.6;
    const HALVINGS: usize = 24;
    let mut inside = enclosed(boxes, start, outward, f64::INFINITY)?;
    let mut step = inside.width / 4.0;
    let end = boxes.diagonal();
    let mut gone = 0.0;
    let next = |from: &Mouth, step: f64| {
        let at = plus(from.at, times(outward, step));
        let is_open = !boxes.blocked(from.at, outward, step);
        let mouth = enclosed(boxes, at, outward, WIDENS * from.width);
        mouth.filter(|_| is_open)
    };
    while gone < end {
        let Some(further) = next(&inside, step) else {
            break;
        };
        gone += step;
        inside = further;
    }
    for _ in 0..HALVINGS {
        step /= 2.0;
        if let Some(further) = next(&inside, step) {
            inside = further;
        }
    }
    Some(inside)
}

/// The narrowest way across at a point, moved to its middle; none where there
/// are not walls on two opposite sides within `widest` of each other.
fn enclosed(boxes: &Boxes<'_>, at: Corner, outward: Corner, widest: f64) -> Option<Mouth> {
    const WAYS: usize = 18;
    const ROUNDS: usize = 3;
    let (x_way, y_way) = across(outward);
    let way = |number: usize| {
        let angle = std::f64::consts::PI * number as f64 / WAYS as f64;
        plus(times(x_way, angle.cos()), times(y_way, angle.sin()))
    };
    let chord = |at: Corner, way: Corner| {
        let ahead = boxes.hit(at, way, f64::INFINITY)?.far;
        let behind = boxes.hit(at, times(way, -1.0), f64::INFINITY)?.far;
        Some((ahead + behind, (ahead - behind) / 2.0))
    };
    let narrowest = |at: Corner| {
        let chords = (0..WAYS).filter_map(|number| {
            let way = way(number);
            chord(at, way).map(|(width, off)| (width, plus(at, times(way, off))))
        });
        chords.min_by(|a, b| a.0.total_cmp(&b.0))
    };
    let mut middle = at;
    for _ in 0..ROUNDS {
        let (width, nearer) = narrowest(middle)?;
        if width > widest {
            return None;
        }
        middle = nearer;
        // Along the other way too, where that has an end.
        let other = unit(crate::mesh::space::cross(outward, less(nearer, at)));
        if let Some((_, off)) = chord(middle, other).filter(|&(far, _)| far < 3.0 * width) {
            middle = plus(middle, times(other, off));
        }
    }
    let (width, middle) = narrowest(middle)?;
    (width <= widest).then_some(Mouth { at: middle, width })
}

/// The same mouth found from several groups of places is one recess.
fn without_doubles(all: Vec<Recess>) -> Vec<Recess> {
    let mut kept: Vec<Recess> = Vec::new();
    for recess in all {
        let is_near = |other: &Recess| {
            length(less(other.at_mm, recess.at_mm)) < 0.5 * other.width_mm.min(recess.width_mm)
        };
        if !kept.iter().any(is_near) {
            kept.push(recess);
        }
    }
    kept
}
