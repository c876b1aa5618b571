//! Points spread evenly over a surface, and directions over a hemisphere.

use rayon::prelude::*;

use super::boxes::Boxes;
use crate::mesh::space::{area, cross, plus, times, unit};
use crate::mesh::{Corner, Facet};

/// A point of the surface that stands for some of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sample {
    pub(super) at: Corner,
    /// Upright on it, to the open side.
    pub(super) upright: Corner,
    /// In mm².
    pub(super) area: f64,
}

/// So many points are spread by area.
const SPREAD: usize = 4000;

/// Meshes of up to so many triangles get a point on each, so that no small
/// hole is passed over.
const EACH: usize = 8000;

/// About [`SPREAD`] points on the surface; where there are few triangles, at
/// least one on each.
pub(super) fn samples(boxes: &Boxes<'_>) -> Vec<Sample> {
    let facets = boxes.facets();
    let areas: Vec<f64> = facets
        .par_iter()
        .with_min_len(4096)
        .map(Facet::area_mm2)
        .collect();
    let total: f64 = areas.iter().sum();
    if total <= 0.0 {
        return Vec::new();
    }
    let step = total / SPREAD as f64;
    let with_each = facets.len() <= EACH;
    let (mut samples, mut due) = (Vec::with_capacity(2 * SPREAD), 0.5);
    for (at, &area) in areas.iter().enumerate() {
        due += area / step;
        let mut count = due as usize;
        due -= count as f64;
        if with_each && area > 0.0 {
            count = count.max(1);
        }
        let share = if with_each {
            area / count.max(1) as f64
        } else {
            step
        };
        samples.extend(on_facet(boxes, at, count).map(|(at, upright)| Sample {
            at,
            upright,
            area: share,
        }));
    }
    samples
}

/// So many points on a facet, at one its middle.
fn on_facet(
    boxes: &Boxes<'_>,
    facet: usize,
    count: usize,
) -> impl Iterator<Item = (Corner, Corner)> {
    let [a, b, c] = boxes.facets()[facet].corners;
    let upright = boxes.turned(facet);
    (0..count).map(move |number| {
        let [mut along, mut aside] = if count == 1 {
            [1.0 / 3.0; 2]
        } else {
            evenly(number)
        };
        if along + aside > 1.0 {
            (along, aside) = (1.0 - along, 1.0 - aside);
        }
        let rest = 1.0 - along - aside;
        let at = plus(times(a, rest), plus(times(b, along), times(c, aside)));
        (at, upright)
    })
}

/// Points of the unit square that fill it evenly, however many are taken: the
/// R2 sequence (Roberts 2018; from memory), 1 / p and 1 / p² with p³ = p + 1.
pub(super) fn evenly(number: usize) -> [f64; 2] {
    const STEPS: [f64; 2] = [0.754_877_666_246_692_8, 0.569_840_290_998_053_3];
    STEPS.map(|step| (0.5 + step * (number + 1) as f64).fract())
}

/// The direction of a number in a hemisphere around `upright`: as many in a
/// direction as its cosine (Malley's method: a disc, lifted), all turned by
/// `turn` of a full turn.
pub(super) fn in_sky(upright: Corner, number: usize, turn: f64) -> Corner {
    let [share, around] = evenly(number);
    let (sine, angle) = (share.sqrt(), (around + turn) * std::f64::consts::TAU);
    let (x_way, y_way) = across(upright);
    let flat = plus(
        times(x_way, sine * angle.cos()),
        times(y_way, sine * angle.sin()),
    );
    plus(flat, times(upright, (1.0 - share).sqrt()))
}

/// Two directions at right angles to one and to each other.
pub(super) fn across(way: Corner) -> (Corner, Corner) {
    let least = (0..3).min_by(|&a, &b| way[a].abs().total_cmp(&way[b].abs()));
    let mut axis = [0.0; 3];
    axis[least.unwrap_or(0)] = 1.0;
    let x_way = unit(cross(way, axis));
    (x_way, cross(way, x_way))
}

/// The area of a facet's surroundings that a sample stands for, as a length.
pub(super) fn spacing(boxes: &Boxes<'_>) -> f64 {
    let total: f64 = boxes
        .facets()
        .par_iter()
        .map(|facet| area(facet.corners))
        .sum();
    (total / SPREAD as f64).sqrt()
}
