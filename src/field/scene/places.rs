//! Places to watch: where most goes, and where least does.

use std::collections::HashSet;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::super::panel::{Panel, Point};
use crate::mesh::space::{cross, dot, length, less, normal, plus, times};
use crate::mesh::tree::{Bounds, Ray, Tree};

/// A place to watch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// `tip`, `edge` or `face` where most goes, `hollow` or `shadow` where least
    /// does.
    pub what: String,
    /// Where, in the tank, mm.
    pub at_mm: Point,
    /// Current density there over the piece's mean.
    pub over_mean: f64,
}

/// So many of either sort at most.
const MOST: usize = 4;

/// Places nearer to one another than this share of the piece are one.
const APART: f64 = 0.12;

/// What has less than this much more, or less, than the mean is no place to
/// watch, but for the first of its sort.
const WORTH: f64 = 0.25;

/// Normals this near to one another are a face: the share of another direction.
const BENT: f64 = 0.04;

/// Panels with their densities, A/m², whose mean is `mean`: most first, least
/// last.
pub(super) fn places(panels: &[(&Panel, f64)], mean: f64) -> Vec<Place> {
    let ground = Ground::new(panels, mean);
    let mut found = ground.most();
    found.extend(ground.least());
    found
}

/// The densities, each the mean of its panel and those around it on the same
/// side: the equations hold in the middles of panels, and where these are of
/// uneven shape the densities jitter.
pub(super) fn smoothed(panels: &[(&Panel, f64)]) -> Vec<f64> {
    const SAME_SIDE: f64 = 0.9;
    const NEAR: f64 = 1.5;
    let tree = Tree::over(panels.len(), |k| Bounds::around(&[panels[k].0.middle], 0.0));
    let around = |(panel, _): &(&Panel, f64)| {
        let (mut amps, mut area) = (0.0, 0.0);
        let far = NEAR * panel.radius;
        tree.overlapping(&Bounds::around(&[panel.middle], far), |k| {
            let (other, density) = panels[k];
            let near = length(less(other.middle, panel.middle)) <= far;
            if near && dot(other.normal, panel.normal) > SAME_SIDE {
                amps += density * other.area;
                area += other.area;
            }
        });
        amps / area
    };
    panels.par_iter().map(around).collect()
}

struct Ground<'a> {
    panels: &'a [(&'a Panel, f64)],
    over: Vec<f64>,
    tree: Tree,
    size: f64,
}

impl<'a> Ground<'a> {
    fn new(panels: &'a [(&'a Panel, f64)], mean: f64) -> Self {
        let corners: Vec<Point> = panels.iter().flat_map(|(panel, _)| panel.corners).collect();
        let none = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
        let (low, high) = corners.iter().fold(none, |(low, high), corner| {
            (
                [0, 1, 2].map(|axis| low[axis].min(corner[axis])),
                [0, 1, 2].map(|axis| high[axis].max(corner[axis])),
            )
        });
        Self {
            over: panels.iter().map(|(_, density)| density / mean).collect(),
            tree: Tree::over(panels.len(), |k| Bounds::around(&panels[k].0.corners, 0.0)),
            size: length(less(high, low)),
            panels,
        }
    }

    fn most(&self) -> Vec<Place> {
        let named = |k: usize| {
            if self.is_tip(k) {
                "tip"
            } else if self.is_bent(k) {
                "edge"
            } else {
                "face"
            }
        };
        self.ranked(|a, b| b.total_cmp(&a), |over| over > 1.0 + WORTH, named)
    }

    fn least(&self) -> Vec<Place> {
        let named = |k: usize| {
            if self.is_hollow(k) {
                "hollow"
            } else {
                "shadow"
            }
        };
        self.ranked(|a, b| a.total_cmp(&b), |over| over < 1.0 - WORTH, named)
    }

    /// The first of those panels that none around them comes before.
    fn ranked(
        &self,
        order: impl Fn(f64, f64) -> std::cmp::Ordering,
        is_worth: impl Fn(f64) -> bool,
        named: impl Fn(usize) -> &'static str,
    ) -> Vec<Place> {
        let mut all: Vec<usize> = (0..self.panels.len()).collect();
        all.sort_by(|a, b| order(self.over[*a], self.over[*b]));
        let far = APART * self.size;
        let mut seen = vec![false; all.len()];
        let mut cells = HashSet::new();
        let mut found: Vec<Place> = Vec::new();
        // Deeper in the order there are no more extremes worth a word.
        let looked_at = all.len().div_ceil(4);
        for k in all.into_iter().take(looked_at) {
            if found.len() == MOST || !(found.is_empty() || is_worth(self.over[k])) {
                break;
            }
            let at = self.panels[k].0.middle;
            // No two places of one cell are farther apart.
            let cell = at.map(|along| (along / (0.5 * far)).floor() as i64);
            let mut is_first = cells.insert(cell);
            if is_first {
                self.around(at, far, |other| is_first &= !seen[other]);
            }
            seen[k] = true;
            if is_first {
                found.push(Place {
                    what: named(k).to_owned(),
                    at_mm: times(at, 1e3),
                    over_mean: self.over[k],
                });
            }
        }
        found
    }

    fn around(&self, at: Point, far: f64, mut found: impl FnMut(usize)) {
        self.tree.overlapping(&Bounds::around(&[at], far), |k| {
            if length(less(self.panels[k].0.middle, at)) <= far {
                found(k);
            }
        });
    }

    /// The eigenvalues of `∑ A n nᵀ / ∑ A` around a panel, falling: one for a
    /// face, two for an edge, three for a tip.
    fn bends(&self, k: usize) -> [f64; 3] {
        let (mut sum, mut all) = ([[0.0; 3]; 3], 0.0);
        let panel = self.panels[k].0;
        let far = (0.02 * self.size).max(3.0 * panel.radius);
        self.around(panel.middle, far, |other| {
            let other = self.panels[other].0;
            all += other.area;
            for (row, a) in sum.iter_mut().zip(other.normal) {
                for (cell, b) in row.iter_mut().zip(other.normal) {
                    *cell += other.area * a * b;
                }
            }
        });
        eigenvalues(sum.map(|row| row.map(|cell| cell / all)))
    }

    fn is_tip(&self, k: usize) -> bool {
        self.bends(k)[2] > BENT
    }

    fn is_bent(&self, k: usize) -> bool {
        self.bends(k)[1] > BENT
    }

    /// Whether the piece itself stands across from a panel.
    fn is_hollow(&self, k: usize) -> bool {
        let panel = self.panels[k].0;
        let from = plus(panel.middle, times(panel.normal, 1e-3 * self.size));
        let ray = Ray::new(from, panel.normal);
        let mut met = false;
        self.tree.along(&ray, self.size, |item| {
            met |= item != k && hits(from, panel.normal, self.panels[item].0.corners);
            if met { 0.0 } else { self.size }
        });
        met
    }
}

/// Whether a ray meets a triangle.
fn hits(from: Point, along: Point, triangle: [Point; 3]) -> bool {
    let upright = normal(triangle);
    let steep = dot(along, upright);
    if steep.abs() <= 0.0 {
        return false;
    }
    let far = dot(less(triangle[0], from), upright) / steep;
    let at = plus(from, times(along, far));
    far > 0.0
        && (0..3).all(|k| {
            let (p, q) = (triangle[k], triangle[(k + 1) % 3]);
            dot(cross(less(q, p), less(at, p)), upright) >= 0.0
        })
}

/// The eigenvalues of a symmetric matrix, falling (Smith, Commun. ACM 4, 1961,
/// 168; from memory).
fn eigenvalues(m: [[f64; 3]; 3]) -> [f64; 3] {
    let third = (m[0][0] + m[1][1] + m[2][2]) / 3.0;
    let off = m[0][1] * m[0][1] + m[0][2] * m[0][2] + m[1][2] * m[1][2];
    let on = (0..3).map(|k| (m[k][k] - third).powi(2)).sum::<f64>();
    let p = ((on + 2.0 * off) / 6.0).sqrt();
    if p < 1e-12 {
        return [third; 3];
    }
    let b = |r: usize, c: usize| (m[r][c] - if r == c { third } else { 0.0 }) / p;
    let determinant = b(0, 0) * (b(1, 1) * b(2, 2) - b(1, 2) * b(2, 1))
        - b(0, 1) * (b(1, 0) * b(2, 2) - b(1, 2) * b(2, 0))
        + b(0, 2) * (b(1, 0) * b(2, 1) - b(1, 1) * b(2, 0));
    let angle = (0.5 * determinant).clamp(-1.0, 1.0).acos() / 3.0;
    let most = third + 2.0 * p * angle.cos();
    let least = third + 2.0 * p * (angle + 2.0 * std::f64::consts::FRAC_PI_3).cos();
    [most, 3.0 * third - most - least, least]
}
