//! A first look that spares most prints the rest: the facets in clumps.

use rayon::prelude::*;

use super::super::space::{area, normal, unit};
use super::super::{Corner, Facet};
use super::facing::Patch;
use super::surface::{self, SEAM, mixed, name};
use super::tree::{Branch, Span, Tree};

/// Clumps along the longest way of the print.
const ALONG: usize = 48;

/// The box around the facets; none where there are none.
pub(super) fn bounds(facets: &[Facet]) -> Option<Span> {
    let span = |facet: &Facet| Span::of(&facet.corners);
    facets.par_iter().map(span).reduce_with(Span::join)
}

/// Whether walls closer than `limit` may face each other. Told first without
/// knowing what adjoins what: a facet goes into the clumps of its three
/// corners, so the clump of a corner knows all normals there. The rim of a
/// sheet faces ways that no facet does. Where clumps leave it open and are few,
/// their facets are looked at one by one.
pub(super) fn may_face(facets: &[Facet], whole: &Span, limit: f64) -> bool {
    let grid = Grid::over(whole);
    let share = facets.len().div_ceil(rayon::current_num_threads()).max(1);
    let sorted = facets.par_chunks(share).map(|facets| grid.sort(facets));
    let Some(sorted) = sorted.reduce_with(Sorted::join) else {
        return false;
    };
    let doubted = sorted.doubted(limit as f32);
    if !doubted.contains(&true) {
        return false;
    }
    let is_doubted = |facet: &&Facet| facet.corners.iter().any(|at| doubted[grid.clump(*at)]);
    let mut close: Vec<[Corner; 3]> = facets
        .par_iter()
        .filter(is_doubted)
        .map(|facet| facet.corners)
        .collect();
    if close.len() > facets.len() / 3 {
        return true;
    }
    let is_open = |corner: Corner| sorted.open[grid.clump(corner)] != 0;
    let seam = whole.longest_mm() * SEAM;
    if surface::has_rim(&close, seam, is_open) {
        return true;
    }
    // What is thinner than a seam has no way of its own.
    let is_flat = |face: &[Corner; 3]| area(*face) > seam * Span::of(face).longest_mm();
    close.retain(is_flat);
    any_faces(&close, limit as f32)
}

/// Whether any two of the faces do, closer than `limit`.
fn any_faces(faces: &[[Corner; 3]], limit: f32) -> bool {
    let patch = |face: &[Corner; 3]| Patch {
        span: Span::of(face),
        normals: Span::of(&[unit(normal(*face))]),
    };
    let patches: Vec<Patch> = faces.par_iter().map(patch).collect();
    let Some(tree) = Tree::of(&patches) else {
        return false;
    };
    let tops = tree.branches_at(64).into_par_iter();
    tops.any(|branch| any_in(&tree, branch, limit))
}

fn any_in(tree: &Tree<Patch>, branch: usize, limit: f32) -> bool {
    faces_any(tree, tree.branch(branch), limit)
        && match tree.children(branch) {
            Ok(children) => children.into_iter().any(|child| any_in(tree, child, limit)),
            Err(mut places) => places.any(|place| faces_any(tree, &tree.items[place], limit)),
        }
}

/// Whether a patch faces anything in the tree closer than `limit`.
fn faces_any(tree: &Tree<Patch>, patch: &Patch, limit: f32) -> bool {
    let close = |other: &Patch| patch.faces(other).filter(|gap| *gap < limit);
    let mut found = false;
    tree.visit(
        &mut found,
        |found, branch| close(branch).filter(|_| !found),
        |found, _| !found,
        |found, place| *found |= close(&tree.items[place]).is_some(),
    );
    found
}

struct Grid {
    low: Corner,
    per_mm: f64,
    counts: [usize; 3],
}

struct Sorted {
    clumps: Vec<Patch>,
    /// For each a sum over sides to which one and its reverse add nothing: the
    /// corner with the lower name is in it.
    open: Vec<u64>,
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
        let mut open = vec![0u64; clumps.len()];
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
            let names = facet.corners.map(name);
            let [ab, bc, ca] = [(0, 1), (1, 2), (2, 0)].map(|(from, to)| {
                let (from, to) = (names[from], names[to]);
                let sum = mixed(from.wrapping_add(to));
                if from < to { sum } else { sum.wrapping_neg() }
            });
            if a == b && b == c {
                open[a] = open[a].wrapping_add(ab.wrapping_add(bc).wrapping_add(ca));
                continue;
            }
            let ends = [(names[0], a), (names[1], b), (names[2], c)];
            for (from, to, sum) in [(0, 1, ab), (1, 2, bc), (2, 0, ca)] {
                let clump = &mut open[ends[from].min(ends[to]).1];
                *clump = clump.wrapping_add(sum);
            }
        }
        Sorted { clumps, open }
    }
}

impl Sorted {
    fn join(mut self, other: Self) -> Self {
        let pairs = self.clumps.iter_mut().zip(other.clumps);
        pairs.for_each(|(clump, other)| *clump = clump.join(other));
        let pairs = self.open.iter_mut().zip(other.open);
        pairs.for_each(|(sum, other)| *sum = sum.wrapping_add(other));
        self
    }

    /// Which clumps have a rim or may face another closer than `limit`.
    fn doubted(&self, limit: f32) -> Vec<bool> {
        let filled = |clump: &Patch| clump.span.low[0] <= clump.span.high[0];
        let clumps = self.clumps.iter().copied().filter(filled);
        let Some(tree) = Tree::of(&clumps.collect::<Vec<_>>()) else {
            return vec![false; self.clumps.len()];
        };
        let open = self.open.par_iter().map(|open| *open != 0);
        let clumps = self.clumps.par_iter().zip(open);
        clumps
            .map(|(clump, open)| open || filled(clump) && faces_any(&tree, clump, limit))
            .collect()
    }
}
