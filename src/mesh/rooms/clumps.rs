//! A first look that spares most prints the rest: the facets in clumps.

use rayon::prelude::*;

use super::super::space::{normal, unit};
use super::super::{Corner, Facet};
use super::facing::Patch;
use super::surface::{mixed, name};
use super::tree::{Branch, Span, Tree};

/// Clumps along the longest way of the print.
const ALONG: usize = 48;

/// The box around the facets; none where there are none.
pub(super) fn bounds(facets: &[Facet]) -> Option<Span> {
    let span = |facet: &Facet| Span::of(&facet.corners);
    facets.par_iter().map(span).reduce_with(Span::join)
}

/// Whether walls closer than `limit` may face each other. Told in one pass and
/// without knowing what adjoins what: a facet goes into the clumps of its three
/// corners, so the clump of a corner knows all normals there. The rim of a
/// sheet faces ways that no facet does, so only a closed surface passes.
pub(super) fn may_face(facets: &[Facet], whole: &Span, limit: f64) -> bool {
    let grid = Grid::over(whole);
    let share = facets.len().div_ceil(rayon::current_num_threads()).max(1);
    let sorted = facets.par_chunks(share).map(|facets| grid.sort(facets));
    let Some(sorted) = sorted.reduce_with(Sorted::join) else {
        return false;
    };
    if sorted.open != 0 {
        return true;
    }
    let filled = |clump: &Patch| clump.span.low[0] <= clump.span.high[0];
    let clumps: Vec<Patch> = sorted.clumps.into_iter().filter(filled).collect();
    let Some(tree) = Tree::of(&clumps) else {
        return false;
    };
    clumps.par_iter().any(|clump| {
        let mut found = false;
        let worth = |found: &bool, branch: &Patch| {
            let near = |gap: &f32| !found && *gap < limit as f32;
            clump.faces(branch).filter(near)
        };
        tree.visit(
            &mut found,
            worth,
            |found, _| !found,
            |found, place| {
                *found |= clump
                    .faces(&tree.items[place])
                    .is_some_and(|gap| gap < limit as f32);
            },
        );
        found
    })
}

struct Grid {
    low: Corner,
    per_mm: f64,
    counts: [usize; 3],
}

struct Sorted {
    clumps: Vec<Patch>,
    /// A sum over the sides to which one and its reverse add nothing.
    open: u64,
}

impl Grid {
    fn over(whole: &Span) -> Self {
        let size = whole.size();
        let longest = size.into_iter().fold(f64::MIN_POSITIVE, f64::max);
        let per_mm = ALONG as f64 / longest;
        Self {
            low: whole.low.map(f64::from),
            per_mm,
            counts: size.map(|size| (size * per_mm) as usize + 1),
        }
    }

    fn clump(&self, corner: Corner) -> usize {
        let step = |axis: usize| {
            let at = ((corner[axis] - self.low[axis]) * self.per_mm) as usize;
            at.min(self.counts[axis] - 1)
        };
        (step(2) * self.counts[1] + step(1)) * self.counts[0] + step(0)
    }

    fn sort(&self, facets: &[Facet]) -> Sorted {
        let mut clumps = vec![Patch::EMPTY; self.counts.iter().product()];
        let mut open = 0u64;
        for facet in facets {
            let patch = Patch {
                span: Span::of(&facet.corners),
                normals: Span::of(&[unit(normal(facet.corners))]),
            };
            let [a, b, c] = facet.corners.map(|corner| self.clump(corner));
            clumps[a] = clumps[a].join(patch);
            if b != a {
                clumps[b] = clumps[b].join(patch);
            }
            if c != a && c != b {
                clumps[c] = clumps[c].join(patch);
            }
            let [a, b, c] = facet.corners.map(name);
            for (from, to) in [(a, b), (b, c), (c, a)] {
                let way = |from: u64, to: u64| mixed(from ^ to.rotate_left(31));
                open = open.wrapping_add(way(from, to)).wrapping_sub(way(to, from));
            }
        }
        Sorted { clumps, open }
    }
}

impl Sorted {
    fn join(mut self, other: Self) -> Self {
        let pairs = self.clumps.iter_mut().zip(other.clumps);
        pairs.for_each(|(clump, other)| *clump = clump.join(other));
        self.open = self.open.wrapping_add(other.open);
        self
    }
}
