//! Where the surface faces itself: every throat has its wall on both sides.
//!
//! The widest ball that passes a throat touches walls around its middle: at
//! least one of the touching points sees another at 1.6 radii or more, straight
//! ahead within 35.3 degrees on both sides, the normals 109.5 degrees apart or
//! more (the worst case are four points at the corners of a tetrahedron). What
//! follows asks for somewhat less, so that the little bends between the facets
//! of a round wall need no thought.

use std::cell::Cell;

use rayon::prelude::*;

use super::super::Corner;
use super::super::space::{dot, length, less, middle};
use super::surface::{Surface, closest_on, halves};
use super::tree::{Branch, Span};

/// Normals of walls that face each other make no more than this.
const AGAINST: f32 = -0.2;
/// How straight ahead they see each other: the least cosine.
const AHEAD: f64 = 0.74;

/// A bit of the surface and the ways that it faces.
#[derive(Debug, Clone, Copy)]
pub(super) struct Patch {
    pub(super) span: Span,
    pub(super) normals: Span,
}

impl Branch for Patch {
    fn span(&self) -> &Span {
        &self.span
    }

    fn join(self, other: Self) -> Self {
        Self {
            span: self.span.join(other.span),
            normals: self.normals.join(other.normals),
        }
    }
}

impl Patch {
    pub(super) const EMPTY: Self = Self {
        span: Span::EMPTY,
        normals: Span::EMPTY,
    };

    /// How close at least a point of this and one of `other` that face each
    /// other are; none where none can.
    pub(super) fn faces(&self, other: &Self) -> Option<f32> {
        if least_product(&self.normals, &other.normals) > AGAINST {
            return None;
        }
        let gap = self.span.gap_squared(&other.span).sqrt();
        let ahead = gap * AHEAD as f32;
        let from = |a: &Self, b: &Self| {
            let way = |axis: usize| {
                let (low, high) = (
                    b.span.low[axis] - a.span.high[axis],
                    b.span.high[axis] - a.span.low[axis],
                );
                let (least, most) = (a.normals.low[axis], a.normals.high[axis]);
                (low * least)
                    .max(low * most)
                    .max(high * least)
                    .max(high * most)
            };
            way(0) + way(1) + way(2)
        };
        (from(self, other) >= ahead && from(other, self) >= ahead).then_some(gap)
    }
}

fn least_product(a: &Span, b: &Span) -> f32 {
    let least = |axis: usize| {
        let (low, high) = (a.low[axis], a.high[axis]);
        (low * b.low[axis])
            .min(low * b.high[axis])
            .min(high * b.low[axis])
            .min(high * b.high[axis])
    };
    least(0) + least(1) + least(2)
}

/// A point of the surface and how far off the wall is that faces it, in mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spot {
    pub(super) span: Span,
    pub(super) gap: f32,
}

impl Branch for Spot {
    fn span(&self) -> &Span {
        &self.span
    }

    fn join(self, other: Self) -> Self {
        Self {
            span: self.span.join(other.span),
            gap: self.gap.min(other.gap),
        }
    }
}

/// Narrower and wider gaps, in mm, are of no interest.
#[derive(Debug, Clone, Copy)]
pub(super) struct Gaps {
    pub(super) least: f64,
    pub(super) most: f64,
}

/// Where on the surface the gaps are. What reaches further than its gap is
/// halved: first the branches of the tree, then the features.
pub(super) fn spots(surface: &Surface, gaps: Gaps) -> Vec<Spot> {
    const TOPS: usize = 512;
    let tops = surface.tree.branches_at(TOPS).into_par_iter();
    tops.flat_map_iter(|branch| {
        let mut found = Vec::new();
        look_about(surface, gaps, branch, &mut found);
        found
    })
    .collect()
}

fn look_about(surface: &Surface, gaps: Gaps, branch: usize, found: &mut Vec<Spot>) {
    if surface.is_exhausted() {
        return;
    }
    let tree = &surface.tree;
    let patch = tree.branch(branch);
    let size = patch.span.size();
    let reach = dot(size, size).sqrt() / 2.0;
    let Some(gap) = about(surface, gaps, patch, 2.0 * reach) else {
        return;
    };
    if 2.0 * reach <= gap {
        let gap = gap + reach / 2.0;
        if gap >= gaps.least {
            let span = patch.span;
            let gap = gap as f32;
            found.push(Spot { span, gap });
        }
        return;
    }
    match tree.children(branch) {
        Ok(children) => {
            for child in children {
                look_about(surface, gaps, child, found);
            }
        }
        Err(places) => {
            for place in places {
                look(surface, gaps, place, surface.features[place], found);
            }
        }
    }
}

/// How close the nearest wall at least is that may face a bit of the surface;
/// no matter how much less than `enough`.
fn about(surface: &Surface, gaps: Gaps, patch: &Patch, enough: f64) -> Option<f64> {
    let looks = Cell::new(0);
    let mut best = gaps.most as f32;
    surface.tree.visit(
        &mut best,
        |best, branch| {
            looks.set(looks.get() + 1);
            patch.faces(branch).filter(|gap| gap < best)
        },
        |best, gap| gap < *best,
        |best, place| {
            let gap = patch.faces(&surface.tree.items[place]);
            if let Some(gap) = gap.filter(|gap| gap < best) {
                *best = if f64::from(gap) < enough { 0.0 } else { gap };
            }
        },
    );
    surface.looked(looks.get());
    (f64::from(best) < gaps.most).then_some(f64::from(best))
}

fn look(surface: &Surface, gaps: Gaps, own: usize, piece: [Corner; 3], found: &mut Vec<Spot>) {
    if surface.is_exhausted() {
        return;
    }
    let centre = middle(piece);
    let reach = piece.map(|corner| length(less(corner, centre)));
    let reach = reach.into_iter().fold(0.0, f64::max);
    let Some(gap) = ahead(surface, gaps, own, piece, reach) else {
        return;
    };
    if reach <= gap.max(gaps.least) {
        let gap = gap + reach / 2.0;
        if gap >= gaps.least {
            let span = Span::of(&[centre]);
            let gap = gap as f32;
            found.push(Spot { span, gap });
        }
        return;
    }
    for half in halves(piece) {
        look(surface, gaps, own, half, found);
    }
}

/// How close the nearest wall at least is that faces the piece. What is much
/// closer than the gaps of interest is passed over: it may be a seam.
fn ahead(surface: &Surface, gaps: Gaps, own: usize, piece: [Corner; 3], reach: f64) -> Option<f64> {
    let centre = middle(piece);
    let ways = surface.ways(own);
    let patch = Patch {
        span: Span::of(&piece),
        normals: Span::of(&ways),
    };
    let looks = Cell::new(0);
    let mut best = gaps.most as f32;
    surface.tree.visit(
        &mut best,
        |best, branch| {
            looks.set(looks.get() + 1);
            patch.faces(branch).filter(|gap| gap < best)
        },
        |best, gap| gap < *best,
        |best, place| {
            if place == own || patch.faces(&surface.tree.items[place]).is_none() {
                return;
            }
            let other = surface.features[place];
            let off = length(less(closest_on(other, centre), centre));
            let gap = (off - reach).max(0.0);
            let is_closer = off > gaps.least / 2.0 && (gap as f32) < *best;
            if is_closer && sees(&ways, &surface.ways(place), centre, other, reach, gap) {
                *best = gap as f32;
            }
        },
    );
    surface.looked(looks.get());
    (f64::from(best) < gaps.most).then_some(f64::from(best))
}

/// Whether a piece of this reach about `centre` and the triangle, both facing
/// any of their ways, can be straight ahead of each other at a distance `gap`.
fn sees(
    ways: &[Corner],
    back: &[Corner],
    centre: Corner,
    triangle: [Corner; 3],
    reach: f64,
    gap: f64,
) -> bool {
    let to = triangle.map(|corner| less(corner, centre));
    let ahead = |way: &Corner| {
        let most = to.iter().map(|&to| dot(to, *way));
        most.fold(f64::NEG_INFINITY, f64::max) + reach >= AHEAD * gap
    };
    let behind = |way: &Corner| {
        let most = to.iter().map(|&to| -dot(to, *way));
        most.fold(f64::NEG_INFINITY, f64::max) + reach >= AHEAD * gap
    };
    let against = |way: &Corner| {
        back.iter()
            .any(|back| dot(*way, *back) <= f64::from(AGAINST))
    };
    ways.iter().any(against) && ways.iter().any(ahead) && back.iter().any(behind)
}
