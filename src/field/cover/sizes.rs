//! How large a panel is to be where.

use rayon::prelude::*;

use super::boxes::bounds;
use super::skin::{Corner, Edge, Shape, Skin};
use crate::field::panel::Point;
use crate::mesh::space::{area, dot, length, less, plus, times};

/// The smallest panel as a share of one where all is smooth. Smaller ones
/// add less at edges than they take from what is deep in a hollow with thin walls.
const SMALLEST: f64 = 0.2;
/// By how much the size grows with the distance from what is sharp.
const SLOPE: f64 = 1.0;
/// The size over the radius of what bends around the metal, and around liquid.
const BENT: [f64; 2] = [0.5, 1.0];
/// Panels on one square of the size: triangles with even edges of that length.
const PER_SQUARE: f64 = 2.31;
/// Pieces of sharp edges closer than this share of the size are told once.
const APART: f64 = 0.0625;

/// How long the edges of panels are to be, m.
#[derive(Debug)]
pub(super) struct Sizes {
    /// Where nothing is sharp.
    pub(super) smooth: f64,
    crowds: Crowds,
    /// At each corner of the skin, by how the surface bends.
    pub(super) bent: Vec<f64>,
}

impl Sizes {
    /// Sizes for about so many panels.
    pub(super) fn new(skin: &Skin, shape: &Shape, wanted: usize) -> Self {
        let limits: Vec<f64> = shape.bend.iter().map(|bend| limit(*bend)).collect();
        let pieces = pieces(skin, shape);
        let smooth = smooth(skin, &limits, &pieces, wanted);
        let bent = spread(skin, &limits, smooth);
        let crowds = Crowds::new(&pieces, smooth);
        Self {
            smooth,
            crowds,
            bent,
        }
    }

    /// By the distance from what is sharp.
    pub(super) fn sharp(&self, at: Point) -> f64 {
        self.crowds.size(at)
    }

    /// At each corner of the skin.
    pub(super) fn at_corners(&self, skin: &Skin) -> Vec<f64> {
        skin.points
            .par_iter()
            .zip(&self.bent)
            .map(|(at, bent)| self.sharp(*at).min(*bent))
            .collect()
    }
}

/// The largest size for a bend in 1/m.
fn limit(bend: f64) -> f64 {
    let allowed = if bend > 0.0 { BENT[0] } else { BENT[1] };
    allowed / bend.abs().max(f64::MIN_POSITIVE)
}

/// The edges where current crowds, and the tips as edges without length.
fn pieces(skin: &Skin, shape: &Shape) -> Vec<[Point; 2]> {
    let edges = (0..skin.faces.len()).into_par_iter().flat_map_iter(|face| {
        let corners = skin.corners(face);
        let crowded = move |k: &usize| shape.edges[face][*k] == Edge::Crowded;
        (0..3)
            .filter(crowded)
            .map(move |k| [corners[k], corners[(k + 1) % 3]])
    });
    let tip = |k: &usize| shape.corners[*k] == Corner::Fixed && shape.bend[*k] > 0.0;
    let tips = (0..skin.points.len())
        .into_par_iter()
        .filter(tip)
        .map(|k| [skin.points[k]; 2]);
    edges.chain(tips).collect()
}

/// The size that makes so many panels.
fn smooth(skin: &Skin, limits: &[f64], pieces: &[[Point; 2]], wanted: usize) -> f64 {
    let areas: Vec<(f64, f64)> = binned(skin, limits);
    let whole: f64 = areas.iter().map(|(area, _)| area).sum();
    let long: f64 = pieces.iter().map(|[a, b]| length(less(*b, *a))).sum();
    let count = |size: f64| {
        let flat = |(area, limit): &(f64, f64)| {
            let size = limit.clamp(SMALLEST * size, size);
            area / (size * size)
        };
        // One side of an edge: the panels between the smallest and size, less those
        // that would be there without it.
        let more = 1.0 / SMALLEST - 1.0 - (1.0 - SMALLEST);
        let edges = long * more / (SLOPE * size);
        let most = 63.0 * whole / (size * size);
        PER_SQUARE * (areas.iter().map(flat).sum::<f64>() + edges.min(most))
    };
    let (mut low, mut high) = (1e-6 * whole.sqrt(), whole.sqrt());
    for _ in 0..60 {
        let middle = (low * high).sqrt();
        if count(middle) > wanted as f64 {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// The area (m²) that has about each limit of size (m).
fn binned(skin: &Skin, limits: &[f64]) -> Vec<(f64, f64)> {
    const PER_OCTAVE: f64 = 4.0;
    let mut bins = vec![0.0; 256];
    for face in 0..skin.faces.len() {
        let third = area(skin.corners(face)) / 3.0;
        for corner in skin.faces[face] {
            let octave = limits[corner as usize].log2() * PER_OCTAVE;
            bins[(octave + 128.0).clamp(0.0, 255.0) as usize] += third;
        }
    }
    let limit = |k: usize| ((k as f64 + 0.5 - 128.0) / PER_OCTAVE).exp2();
    bins.into_iter()
        .enumerate()
        .filter(|(_, area)| *area > 0.0)
        .map(|(k, area)| (area, if k == 255 { f64::INFINITY } else { limit(k) }))
        .collect()
}

/// The limits kept within what there is to be, growing from a corner to the next
/// no faster than the slope.
fn spread(skin: &Skin, limits: &[f64], smooth: f64) -> Vec<f64> {
    let mut sizes: Vec<f64> = limits
        .iter()
        .map(|limit| limit.clamp(SMALLEST * smooth, smooth))
        .collect();
    if sizes.iter().all(|size| *size >= smooth) {
        return sizes;
    }
    let mut relax = |face: &[u32; 3]| {
        for k in 0..3 {
            let [a, b] = [face[k], face[(k + 1) % 3]].map(|corner| corner as usize);
            let low = sizes[a].min(sizes[b]);
            if sizes[a].max(sizes[b]) > low * (1.0 + 1e-6) {
                let most = low + SLOPE * length(less(skin.points[a], skin.points[b]));
                sizes[a] = sizes[a].min(most);
                sizes[b] = sizes[b].min(most);
            }
        }
    };
    for _ in 0..2 {
        skin.faces.iter().for_each(&mut relax);
        skin.faces.iter().rev().for_each(&mut relax);
    }
    sizes
}

/// Where current crowds, in cells as wide as that matters.
#[derive(Debug)]
struct Crowds {
    smooth: f64,
    low: Point,
    cell: f64,
    counts: [usize; 3],
    first: Vec<u32>,
    /// One end of a piece and the way to the other.
    pieces: Vec<(Point, Point)>,
}

impl Crowds {
    fn new(edges: &[[Point; 2]], smooth: f64) -> Self {
        let pieces = told_once(edges, smooth);
        let (low, high) = bounds(pieces.iter().flatten());
        let reach = (1.0 - SMALLEST) * smooth / SLOPE;
        let mut cell = reach + 0.25 * smooth;
        let counted =
            |cell: f64| [0, 1, 2].map(|k| ((high[k] - low[k]).max(0.0) / cell) as usize + 3);
        while counted(cell).iter().product::<usize>() > 4_000_000 {
            cell *= 1.5;
        }
        let low = low.map(|c| c - cell);
        let mut crowds = Self {
            smooth,
            low,
            cell,
            counts: counted(cell),
            first: Vec::new(),
            pieces: Vec::new(),
        };
        if !pieces.is_empty() {
            crowds.fill(&pieces);
        }
        crowds
    }

    /// Each piece into the cell of its middle and those around it.
    fn fill(&mut self, pieces: &[[Point; 2]]) {
        let cells = self.counts.iter().product::<usize>();
        let mut first = vec![0_u32; cells + 1];
        for piece in pieces {
            self.around(piece, |cell| first[cell + 1] += 1);
        }
        for k in 0..cells {
            first[k + 1] += first[k];
        }
        let mut next = first.clone();
        let mut filled = vec![([0.0; 3], [0.0; 3]); first[cells] as usize];
        for piece in pieces {
            self.around(piece, |cell| {
                filled[next[cell] as usize] = (piece[0], less(piece[1], piece[0]));
                next[cell] += 1;
            });
        }
        self.first = first;
        self.pieces = filled;
    }

    fn around(&self, piece: &[Point; 2], mut tell: impl FnMut(usize)) {
        let Some([x, y, z]) = self.place(super::skin::half(piece[0], piece[1])) else {
            return;
        };
        let span = |k: usize, of: usize| k.saturating_sub(1)..(k + 2).min(of);
        for z in span(z, self.counts[2]) {
            for y in span(y, self.counts[1]) {
                for x in span(x, self.counts[0]) {
                    tell((z * self.counts[1] + y) * self.counts[0] + x);
                }
            }
        }
    }

    fn place(&self, at: Point) -> Option<[usize; 3]> {
        let mut place = [0; 3];
        for k in 0..3 {
            let share = (at[k] - self.low[k]) / self.cell;
            if !(share >= 0.0 && share < self.counts[k] as f64) {
                return None;
            }
            place[k] = share as usize;
        }
        Some(place)
    }

    fn size(&self, at: Point) -> f64 {
        let least = SMALLEST * self.smooth;
        let Some([x, y, z]) = self.place(at).filter(|_| !self.first.is_empty()) else {
            return self.smooth;
        };
        let cell = (z * self.counts[1] + y) * self.counts[0] + x;
        let mut nearest = f64::INFINITY;
        for (from, way) in &self.pieces[self.first[cell] as usize..self.first[cell + 1] as usize] {
            let off = less(at, *from);
            let long = dot(*way, *way);
            let share = if long > 0.0 {
                (dot(off, *way) / long).clamp(0.0, 1.0)
            } else {
                0.0
            };
            let away = less(off, times(*way, share));
            nearest = nearest.min(dot(away, away));
        }
        (least + SLOPE * nearest.sqrt()).min(self.smooth)
    }
}

/// The edges in pieces no longer than half the size, and no two in one place.
fn told_once(edges: &[[Point; 2]], smooth: f64) -> Vec<[Point; 2]> {
    let apart = APART * smooth;
    let mut pieces: Vec<([i64; 3], [Point; 2])> = Vec::new();
    for [from, to] in edges {
        let way = less(*to, *from);
        let parts = (length(way) / (0.5 * smooth)).ceil().max(1.0);
        for k in 0..parts as usize {
            let at = |k: usize| plus(*from, times(way, k as f64 / parts));
            let ends = [at(k), at(k + 1)];
            let middle = super::skin::half(ends[0], ends[1]);
            pieces.push((middle.map(|c| (c / apart).floor() as i64), ends));
        }
    }
    pieces.par_sort_unstable_by(|a, b| a.0.cmp(&b.0).then_with(|| long(b.1).total_cmp(&long(a.1))));
    pieces.dedup_by_key(|(key, _)| *key);
    pieces.into_iter().map(|(_, piece)| piece).collect()
}

fn long([from, to]: [Point; 2]) -> f64 {
    length(less(to, from))
}
