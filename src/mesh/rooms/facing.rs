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

/// A bit of the surface and how far off the wall is that faces it, in mm.
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

/// Which gaps are of interest.
#[derive(Debug, Clone, Copy)]
pub(super) struct Gaps<'a> {
    /// Narrower ones are not, in mm.
    pub(super) least: f64,
    /// Nor are wider ones.
    pub(super) most: f64,
    /// Only those in one of these boxes are.
    pub(super) within: &'a [Span],
}

/// So many looks are the gaps worth at most.
const MOST_LOOKS: u64 = 6_000_000;

/// Where on the surface the gaps are, and how narrow ones were looked for. What
/// reaches further than its gap is halved: first the branches of the tree, then
/// the features. The large ones come first, so that a surface with more narrow
/// places than can be looked at is seen more coarsely all over.
pub(super) fn spots(surface: &Surface, gaps: Gaps<'_>) -> (Vec<Spot>, f64) {
    const TOPS: usize = 512;
    let branches = surface.tree.branches_at(TOPS);
    let mut open: Vec<Bit> = branches.map(|branch| Bit::Branch(branch, NONE)).collect();
    let looked = surface.looks();
    let (mut found, mut floor) = (Vec::new(), gaps.most);
    while !open.is_empty() {
        if surface.looks() - looked > MOST_LOOKS {
            return (found, floor.max(gaps.least));
        }
        floor *= 0.7;
        let seen = open.into_par_iter().map(|bit| {
            let mut seen = Seen::default();
            let scan = Scan {
                surface,
                gaps,
                floor,
            };
            scan.look(bit, &mut seen);
            seen
        });
        let seen: Vec<Seen> = seen.collect();
        open = Vec::new();
        for seen in seen {
            found.extend(seen.spots);
            open.extend(seen.left);
        }
    }
    (found, gaps.least)
}

/// What is to be looked at: a branch of the tree or a piece of a feature; and
/// a feature that may face it closely.
#[derive(Debug, Clone, Copy)]
enum Bit {
    Branch(usize, usize),
    Piece(usize, [Corner; 3], usize),
}

const NONE: usize = usize::MAX;

#[derive(Debug, Default)]
struct Seen {
    spots: Vec<Spot>,
    left: Vec<Bit>,
}

/// One round of looks: what reaches less than `floor` is left for the next.
struct Scan<'a> {
    surface: &'a Surface,
    gaps: Gaps<'a>,
    floor: f64,
}

/// The least gap, and the feature across it.
type Gap = (f32, usize);

impl Scan<'_> {
    fn look(&self, bit: Bit, seen: &mut Seen) {
        match bit {
            Bit::Branch(branch, guess) => self.look_about(branch, guess, seen),
            Bit::Piece(own, piece, guess) => self.look_at(own, piece, guess, seen),
        }
    }

    fn is_out(&self, span: &Span) -> bool {
        let within = self.gaps.within;
        !within.is_empty() && within.iter().all(|within| within.gap_squared(span) > 0.0)
    }

    fn look_about(&self, branch: usize, guess: usize, seen: &mut Seen) {
        let tree = &self.surface.tree;
        let patch = tree.branch(branch);
        let size = patch.span.size();
        let reach = dot(size, size).sqrt() / 2.0;
        if self.is_out(&patch.span) {
            return;
        }
        if reach < self.floor && reach > 0.0 {
            seen.left.push(Bit::Branch(branch, guess));
            return;
        }
        let Some((gap, across)) = self.about(patch, guess, 2.0 * reach) else {
            return;
        };
        if 2.0 * reach <= gap {
            self.keep(patch.span, gap, reach, seen);
            return;
        }
        match tree.children(branch) {
            Ok(children) => {
                for child in children {
                    self.look_about(child, across, seen);
                }
            }
            Err(places) => {
                for place in places {
                    self.look_at(place, self.surface.features[place], across, seen);
                }
            }
        }
    }

    fn look_at(&self, own: usize, piece: [Corner; 3], guess: usize, seen: &mut Seen) {
        let centre = middle(piece);
        let reach = piece.map(|corner| length(less(corner, centre)));
        let reach = reach.into_iter().fold(0.0, f64::max);
        if self.is_out(&Span::of(&piece)) {
            return;
        }
        if reach < self.floor && reach > self.gaps.least {
            seen.left.push(Bit::Piece(own, piece, guess));
            return;
        }
        let Some((gap, across)) = self.ahead(own, piece, reach, guess) else {
            return;
        };
        if reach <= gap.max(self.gaps.least) {
            // Not the least that it may be: that would call for finer cells.
            let across = self.surface.features[across];
            let off = piece.map(|corner| length(less(closest_on(across, corner), corner)));
            let off = off.into_iter().fold(gap + reach, f64::min);
            self.keep(
                Span::of(&piece),
                gap.max(0.9 * off - reach / 2.0),
                reach,
                seen,
            );
            return;
        }
        for half in halves(piece) {
            self.look_at(own, half, across, seen);
        }
    }

    /// From somewhere on a bit of this reach the gap is so much at least.
    fn keep(&self, span: Span, gap: f64, reach: f64, seen: &mut Seen) {
        if gap + reach >= self.gaps.least {
            let gap = (gap + reach / 2.0) as f32;
            seen.spots.push(Spot { span, gap });
        }
    }

    /// How close the nearest wall at least is that may face a bit of the
    /// surface, and which; no matter how much less than `enough`.
    fn about(&self, patch: &Patch, guess: usize, enough: f64) -> Option<(f64, usize)> {
        let items = &self.surface.tree.items;
        self.least(patch, guess, |best, place| {
            let gap = patch.faces(&items[place]).filter(|gap| *gap < best)?;
            Some(if f64::from(gap) < enough { 0.0 } else { gap })
        })
    }

    /// How close the nearest wall at least is that faces the piece. What is much
    /// closer than the gaps of interest is passed over: it may be a seam.
    fn ahead(
        &self,
        own: usize,
        piece: [Corner; 3],
        reach: f64,
        guess: usize,
    ) -> Option<(f64, usize)> {
        let centre = middle(piece);
        let ways = self.surface.ways(own);
        let patch = Patch {
            span: Span::of(&piece),
            normals: Span::of(&ways),
        };
        let enough = if reach > self.gaps.least { reach } else { 0.0 };
        self.least(&patch, guess, |best, place| {
            if place == own || patch.faces(&self.surface.tree.items[place]).is_none() {
                return None;
            }
            let other = self.surface.features[place];
            let off = length(less(closest_on(other, centre), centre));
            let gap = (off - reach).max(0.0);
            let is_closer = off > self.gaps.least / 2.0 && (gap as f32) < best;
            let sees =
                is_closer && sees(&ways, &self.surface.ways(place), centre, other, reach, gap);
            sees.then_some(if gap < enough { 0.0 } else { gap as f32 })
        })
    }

    /// The least of the gaps that `closer` tells of features which may face the
    /// patch, if it is of interest; the guess is tried first.
    fn least(
        &self,
        patch: &Patch,
        guess: usize,
        closer: impl Fn(f32, usize) -> Option<f32>,
    ) -> Option<(f64, usize)> {
        let looks = Cell::new(0);
        let mut best: Gap = (self.gaps.most as f32, NONE);
        let take = |best: &mut Gap, place: usize| {
            if let Some(gap) = closer(best.0, place) {
                *best = (gap, place);
            }
        };
        if guess != NONE {
            take(&mut best, guess);
        }
        self.surface.tree.visit(
            &mut best,
            |best, branch| {
                looks.set(looks.get() + 1);
                patch.faces(branch).filter(|gap| *gap < best.0)
            },
            |best, gap| gap < best.0,
            take,
        );
        self.surface.looked(looks.get());
        (best.1 != NONE).then_some((f64::from(best.0), best.1))
    }
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
