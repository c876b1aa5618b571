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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Class;
    use crate::units::Unwatched;

    /// Four walls, a floor and no lid: 4 x 4 mm, 20 deep.
    fn shaft() -> Vec<Facet> {
        let at = |x: f64, y: f64, z: f64| [x, y, z];
        let ring = [
            at(0.0, 0.0, 0.0),
            at(4.0, 0.0, 0.0),
            at(4.0, 4.0, 0.0),
            at(0.0, 4.0, 0.0),
        ];
        let mut triangles = vec![[ring[0], ring[1], ring[2]], [ring[0], ring[2], ring[3]]];
        for side in 0..4 {
            let (a, b) = (ring[side], ring[(side + 1) % 4]);
            let (c, d) = (plus(b, [0.0, 0.0, 20.0]), plus(a, [0.0, 0.0, 20.0]));
            triangles.extend([[a, c, b], [a, d, c]]);
        }
        let facet = |corners| Facet {
            triangle: 0,
            corners,
            class: Class::Wetted,
        };
        triangles.into_iter().map(facet).collect()
    }

    /// The view factor from the middle of the floor to the mouth, in closed
    /// form: four rectangles of 2 x 2 at 20 over their corner, each
    /// (1/2 pi) 2 X/√(1+X²) atan(X/√(1+X²)) with X = 2/20 (Howell, A Catalog of
    /// Radiation Heat Transfer Configuration Factors, B-3; from memory):
    /// 0.012565.
    #[test]
    fn the_floor_of_a_shaft_sees_what_the_view_factor_says() {
        const RAYS: usize = 400_000;
        let facets = shaft();
        let boxes = Boxes::new(&facets);
        let floor = ([2.0, 2.0, 0.0], [0.0, 0.0, 1.0]);
        let seen = share(&open_ways(&boxes, floor, RAYS, 0.0), RAYS);
        assert!((seen - 0.012_565).abs() < 0.01 * 0.012_565, "{seen}");
    }

    #[test]
    fn the_foot_of_a_lone_wall_sees_half_and_a_plate_all() {
        let wall = [
            [0.0, -1e4, 0.0],
            [0.0, 1e4, 0.0],
            [0.0, 1e4, 1e4],
            [0.0, -1e4, 1e4],
        ];
        let facet = |corners| Facet {
            triangle: 0,
            corners,
            class: Class::Wetted,
        };
        let wall = [[wall[0], wall[1], wall[2]], [wall[0], wall[2], wall[3]]].map(facet);
        let boxes = Boxes::new(&wall);
        let foot = ([0.01, 0.0, 0.0], [0.0, 0.0, 1.0]);
        let seen = share(&open_ways(&boxes, foot, 4096, 0.0), 4096);
        assert!((seen - 0.5).abs() < 0.01, "{seen}");
        assert_eq!(sky(&wall, &Unwatched), Ok(vec![1.0; 2]));
    }
}
