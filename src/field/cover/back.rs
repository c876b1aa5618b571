//! The way back: which panels stand for which triangle of the print, and with
//! which share of it.

use rayon::prelude::*;

use super::boxes::{Bounds, Boxes, bounds};
use crate::field::panel::{Panel, Point};
use crate::mesh::space::{area, cross, dot, length, less, middle, normal, unit};
use crate::units::{Stopped, Watch, go_on};

/// How far off a triangle its panels are looked for, over the size of panels: at
/// first, and where less than [`COVERED`] of it was found.
const REACHES: [f64; 2] = [0.05, 0.4];
const COVERED: f64 = 0.6;
/// How far a panel may lean against its triangle, as cosine.
const LEANS: f64 = 0.3;
/// A panel that stands for less than this share of its area, or as many times
/// more, goes together with a neighbour.
const UNEVEN: f64 = 0.6;

/// Shares of the print's triangles.
#[derive(Debug, Clone)]
pub(super) struct Back {
    /// Where the shares of each triangle begin.
    first: Vec<u32>,
    shares: Vec<(u32, f32)>,
    /// The group of each panel, and what area of the print stands in each group, m².
    groups: Vec<u32>,
    stands_for: Vec<f64>,
    areas: Vec<f64>,
}

impl Back {
    /// # Errors
    /// [`Stopped`] as asked.
    pub(super) fn new(
        triangles: &[[Point; 3]],
        masked: &[bool],
        panels: (&[Panel], &[bool]),
        size: f64,
        watch: &dyn Watch,
    ) -> Result<Self, Stopped> {
        const AT_ONCE: usize = 4096;
        let cast = Cast::new(panels.0, panels.1, size);
        let parts: Vec<_> = triangles
            .par_chunks(AT_ONCE)
            .zip(masked.par_chunks(AT_ONCE))
            .map(|(triangles, masked)| {
                go_on(watch, "the way back from panels to triangles", 0.8)?;
                let mut found = Vec::new();
                let shares = triangles
                    .iter()
                    .zip(masked)
                    .map(|(triangle, masked)| cast.shares(*triangle, !masked, &mut found))
                    .collect::<Vec<_>>();
                Ok((shares, found))
            })
            .collect::<Result<_, Stopped>>()?;
        let mut back = Self {
            first: vec![0],
            shares: Vec::new(),
            groups: Vec::new(),
            stands_for: Vec::new(),
            areas: panels.0.iter().map(|panel| panel.area).collect(),
        };
        for (counts, found) in parts {
            for count in counts {
                back.first.push(back.first[back.first.len() - 1] + count);
            }
            back.shares.extend(found);
        }
        back.group(triangles, &cast);
        Ok(back)
    }

    /// Panels that stand for much more or less than their area together with a
    /// neighbour.
    fn group(&mut self, triangles: &[[Point; 3]], cast: &Cast) {
        let mut covered = vec![0.0; self.areas.len()];
        for (k, triangle) in triangles.iter().enumerate() {
            let area = area(*triangle);
            for (panel, share) in self.of(k) {
                covered[*panel as usize] += area * f64::from(*share);
            }
        }
        self.groups = (0..self.areas.len() as u32).collect();
        let mut sums: Vec<(f64, f64)> = covered.into_iter().zip(self.areas.clone()).collect();
        for k in 0..self.areas.len() {
            let own = self.root(k as u32);
            if !even(sums[own as usize])
                && let Some(other) = self.partner(k, own, &sums, cast)
            {
                let more = sums[own as usize];
                self.groups[own as usize] = other;
                let sum = &mut sums[other as usize];
                *sum = (sum.0 + more.0, sum.1 + more.1);
            }
        }
        self.groups = (0..self.areas.len() as u32).map(|k| self.root(k)).collect();
        self.stands_for = sums.into_iter().map(|(covered, _)| covered).collect();
    }

    fn root(&self, mut panel: u32) -> u32 {
        while self.groups[panel as usize] != panel {
            panel = self.groups[panel as usize];
        }
        panel
    }

    /// The group nearby with which that of panel `k` is most even.
    fn partner(&self, k: usize, own: u32, sums: &[(f64, f64)], cast: &Cast) -> Option<u32> {
        let panel = &cast.panels[k];
        let mut reach = panel.radius;
        for _ in 0..12 {
            let mut best: Option<(f64, u32)> = None;
            let near = wide(bounds(panel.corners.iter()), reach);
            cast.tree.meeting(near, |other| {
                let group = self.root(other);
                let fits = cast.live[other as usize] == cast.live[k]
                    && dot(cast.panels[other as usize].normal, panel.normal) > LEANS;
                let sum = [own, group].map(|group| sums[group as usize]);
                let off = unevenness((sum[0].0 + sum[1].0, sum[0].1 + sum[1].1));
                if fits
                    && group != own
                    && off.is_finite()
                    && best.is_none_or(|(least, _)| off < least)
                {
                    best = Some((off, group));
                }
            });
            if best.is_some() {
                return best.map(|(_, group)| group);
            }
            reach *= 2.0;
        }
        // Nothing that lies alike: whatever stands for something.
        let there = |k: &u32| sums[*k as usize].0 > 0.0 && self.root(*k) == *k && *k != own;
        (0..self.areas.len() as u32).find(there)
    }

    fn of(&self, triangle: usize) -> &[(u32, f32)] {
        &self.shares[self.first[triangle] as usize..self.first[triangle + 1] as usize]
    }

    /// A/m² on each triangle.
    pub(super) fn carried(&self, densities: &[f64]) -> Vec<f64> {
        let mut flows = vec![0.0; self.areas.len()];
        for (k, density) in densities.iter().enumerate().take(self.areas.len()) {
            flows[self.groups[k] as usize] += density * self.areas[k];
        }
        let group = |panel: u32| {
            let group = self.groups[panel as usize] as usize;
            let area = self.stands_for[group];
            if area > 0.0 { flows[group] / area } else { 0.0 }
        };
        (0..self.first.len() - 1)
            .map(|k| {
                let of_panel = |(panel, share): &(u32, f32)| f64::from(*share) * group(*panel);
                self.of(k).iter().map(of_panel).sum()
            })
            .collect()
    }
}

fn unevenness((covered, area): (f64, f64)) -> f64 {
    (covered / area).ln().abs()
}

fn even(sums: (f64, f64)) -> bool {
    unevenness(sums) < -UNEVEN.ln()
}

fn wide((low, high): Bounds, by: f64) -> Bounds {
    (low.map(|c| c - by), high.map(|c| c + by))
}

/// The panels as triangles are cast on them.
struct Cast<'a> {
    panels: &'a [Panel],
    live: &'a [bool],
    tree: Boxes,
    size: f64,
}

impl<'a> Cast<'a> {
    fn new(panels: &'a [Panel], live: &'a [bool], size: f64) -> Self {
        let tree = Boxes::new(panels.iter().map(|p| bounds(p.corners.iter())).collect());
        Self {
            panels,
            live,
            tree,
            size,
        }
    }

    /// Adds the shares of a triangle, which are 1 together; how many.
    fn shares(&self, triangle: [Point; 3], live: bool, found: &mut Vec<(u32, f32)>) -> u32 {
        let upright = normal(triangle);
        let from = found.len();
        for reach in REACHES {
            let covered = self.cast(triangle, upright, live, reach * self.size, found);
            if covered > COVERED * length(upright) / 2.0 {
                return even_out(&mut found[from..]);
            }
            if reach < REACHES[1] {
                found.truncate(from);
            }
        }
        if found.len() > from {
            return even_out(&mut found[from..]);
        }
        found.extend(
            self.nearest(triangle, unit(upright), live)
                .map(|k| (k, 1.0)),
        );
        (found.len() - from) as u32
    }

    /// Adds the area that each panel has in common with a triangle cast upright on
    /// it; the sum of it, on the triangle, m².
    fn cast(
        &self,
        triangle: [Point; 3],
        upright: Point,
        live: bool,
        reach: f64,
        found: &mut Vec<(u32, f32)>,
    ) -> f64 {
        let long = length(upright);
        let mut covered = 0.0;
        self.tree
            .meeting(wide(bounds(triangle.iter()), reach), |k| {
                let panel = &self.panels[k as usize];
                let lean = dot(panel.normal, upright) / long.max(f64::MIN_POSITIVE);
                if self.live[k as usize] != live || lean < LEANS {
                    return;
                }
                let Some((common, off)) = common(triangle, panel) else {
                    return;
                };
                if off < reach {
                    covered += common / lean;
                    found.push((k, (common / lean) as f32));
                }
            });
        covered
    }

    /// The panel closest to a triangle's middle, of those that lie alike if any do.
    fn nearest(&self, triangle: [Point; 3], upright: Point, live: bool) -> Option<u32> {
        let at = middle(triangle);
        let mut reach = self.size;
        for turn in 0..40 {
            let mut best: Option<(f64, u32)> = None;
            self.tree
                .meeting((at.map(|c| c - reach), at.map(|c| c + reach)), |k| {
                    let panel = &self.panels[k as usize];
                    let alike = dot(panel.normal, upright) > 0.0 || turn > 2;
                    let away = length(less(panel.middle, at));
                    if alike
                        && self.live[k as usize] == live
                        && best.is_none_or(|(least, _)| away < least)
                    {
                        best = Some((away, k));
                    }
                });
            if let Some((_, k)) = best {
                return Some(k);
            }
            reach *= 2.0;
        }
        None
    }
}

/// Shares of areas in place of the areas; how many.
fn even_out(found: &mut [(u32, f32)]) -> u32 {
    let sum: f32 = found.iter().map(|(_, area)| area).sum();
    for (_, area) in found.iter_mut() {
        *area /= sum;
    }
    found.len() as u32
}

/// The area (m²) that a triangle cast on a panel has in common with it, and how
/// far the middle of that is off the panel, m.
fn common(triangle: [Point; 3], panel: &Panel) -> Option<(f64, f64)> {
    let away = triangle.map(|corner| less(corner, panel.corners[0]));
    let sides = [1, 2].map(|k| less(panel.corners[k], panel.corners[0]));
    // Coordinates along both sides: inside are u, v >= 0 and u + v <= 1.
    let [one, other] = [cross(sides[1], panel.normal), cross(panel.normal, sides[0])];
    let whole = dot(sides[0], one);
    let flat = away.map(|off| {
        [
            dot(off, one) / whole,
            dot(off, other) / whole,
            dot(off, panel.normal),
        ]
    });
    let cuts = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [-1.0, -1.0, 1.0]];
    let value = |at: &Point, [u, v, c]: [f64; 3]| u * at[0] + v * at[1] + c;
    let mut shape = [[0.0; 3]; 8];
    shape[..3].copy_from_slice(&flat);
    let mut count = 3;
    for cut in cuts {
        if flat.iter().all(|at| value(at, cut) <= 0.0) {
            return None;
        }
        if flat.iter().any(|at| value(at, cut) < 0.0) {
            (shape, count) = clipped(shape, count, |at| value(at, cut));
        }
    }
    let (twice, off) = measured(&shape[..count]);
    (twice > 1e-12).then(|| (twice * area(panel.corners), off.abs()))
}

fn clipped(shape: [Point; 8], count: usize, value: impl Fn(&Point) -> f64) -> ([Point; 8], usize) {
    let (mut kept, mut left) = ([[0.0; 3]; 8], 0);
    for k in 0..count {
        let [a, b] = [shape[k], shape[(k + 1) % count]];
        let [from, to] = [value(&a), value(&b)];
        if from >= 0.0 && left < 8 {
            kept[left] = a;
            left += 1;
        }
        if (from < 0.0) != (to < 0.0) && left < 8 {
            let share = from / (from - to);
            kept[left] = [0, 1, 2].map(|k| a[k] + (b[k] - a[k]) * share);
            left += 1;
        }
    }
    (kept, left)
}

/// Twice the area in coordinates of the panel's sides (1 is the panel), and the
/// mean height.
fn measured(shape: &[Point]) -> (f64, f64) {
    let mut twice = 0.0;
    let mut height = 0.0;
    for k in 0..shape.len() {
        let [a, b] = [shape[k], shape[(k + 1) % shape.len()]];
        twice += a[0] * b[1] - a[1] * b[0];
        height += a[2];
    }
    (twice, height / shape.len().max(1) as f64)
}
