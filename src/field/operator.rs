//! The potential that all panels make on all panels, in time that grows like
//! their number.
//!
//! A fast multipole method (Greengard & Rokhlin 1987): panels close together
//! act by closed forms, worked out once and kept; what lies afar acts through
//! the expansions of its cell. Walls are images of the same cells.

use std::collections::HashMap;
use std::ops::Range;
use std::sync::Arc;

use rayon::prelude::*;

use super::harmonics::{
    Expansion, Harmonics, Map, ORDER, TERMS, add_mapped, dot_terms, inward_shift, mirror_signs,
    outward_shift, outward_to_inward,
};
use super::lanes::widest;
use super::panel::{Panel, Places};
use super::tank::{Image, Rest, Tank, Walls};
use super::tree::{Cell, Sight, Tree};
use crate::mesh::space::{less, times};
use crate::units::{Stopped, Watch, go_on};

/// The near panels of one leaf's panels.
#[derive(Debug, Default)]
struct Near {
    /// Which panels, and where their columns begin.
    from: Vec<(Range<usize>, usize)>,
    /// Column by column: of a unit of charge per m², m.
    single: Vec<f32>,
    /// Column by column: of a unit of dipole per m².
    double: Vec<f32>,
}

/// One cell's far sights: which cell, mirrored how, by which map.
#[derive(Debug, Clone, Copy)]
struct Far {
    to: u32,
    from: u32,
    mirrored: u8,
    map: u32,
}

/// The operator. Panels are in its own order; see [`Operator::order`].
#[derive(Debug)]
pub(super) struct Operator {
    tree: Tree,
    leaves: Vec<usize>,
    near: Vec<Near>,
    far: Vec<Far>,
    maps: Vec<Map>,
    up: [Map; 8],
    down: [Map; 8],
    rest: Option<Rest>,
    charges: Vec<Expansion>,
    dipoles: Vec<Expansion>,
    weights: Vec<Expansion>,
}

/// Cells that take their far sights together, so that maps stay at hand.
const TOGETHER: usize = 64;

impl Operator {
    /// # Errors
    /// [`Stopped`] as the watch asks.
    pub(super) fn new(
        given: &[Panel],
        walls: Option<&Arc<Walls>>,
        watch: &dyn Watch,
    ) -> Result<Self, Stopped> {
        go_on(watch, "sorting panels", 0.0)?;
        let tank = walls.map(|walls| &walls.tank);
        let tree = Tree::new(given, tank);
        let panels: Vec<Panel> = tree.order.iter().map(|k| given[*k as usize]).collect();
        let images = tank.map_or_else(|| vec![Image::ITSELF], |_| Image::next());
        let mut sights = tree.sights(&images);
        let leaves: Vec<usize> = (0..tree.cells.len())
            .filter(|k| tree.cells[*k].is_leaf())
            .collect();
        go_on(watch, "near panels", 0.1)?;
        sights.near.sort_by_key(|sight| (sight.to, sight.from));
        let near = leaves
            .par_iter()
            .map(|leaf| {
                if watch.stopped() {
                    return Err(Stopped);
                }
                let first = sights
                    .near
                    .partition_point(|sight| (sight.to as usize) < *leaf);
                let last = sights
                    .near
                    .partition_point(|sight| sight.to as usize <= *leaf);
                Ok(Near::new(&tree, &panels, tank, &sights.near[first..last]))
            })
            .collect::<Result<Vec<_>, Stopped>>()?;
        go_on(watch, "far panels", 0.7)?;
        let (far, maps) = far_sights(&tree, &sights.far);
        let up = shifts(&tree);
        let down = [0, 1, 2, 3, 4, 5, 6, 7].map(|part: usize| inward_shift(&up[part]));
        let rest = walls.map(|walls| Rest::new(walls, &panels));
        let mut operator = Self {
            tree,
            leaves,
            near,
            far,
            maps,
            up,
            down,
            rest,
            charges: Vec::new(),
            dipoles: Vec::new(),
            weights: Vec::new(),
        };
        operator.fill_moments(&panels);
        Ok(operator)
    }

    /// Which of the given panels stands at each place of the operator's order.
    pub(super) fn order(&self) -> &[u32] {
        &self.tree.order
    }

    fn scale(&self, level: u32) -> f64 {
        self.tree.half_at(level).into_iter().fold(0.0, f64::max)
    }

    fn fill_moments(&mut self, panels: &[Panel]) {
        let moments: Vec<[Expansion; 3]> = self
            .leaves
            .par_iter()
            .flat_map_iter(|leaf| {
                let cell = &self.tree.cells[*leaf];
                let (centre, scale) = (self.tree.centre(cell), self.scale(cell.level));
                panels[cell.panels.clone()]
                    .iter()
                    .map(move |panel| moments(panel, centre, scale))
            })
            .collect();
        let mut placed = vec![[[0.0; TERMS]; 3]; panels.len()];
        let places = self
            .leaves
            .iter()
            .flat_map(|leaf| self.tree.cells[*leaf].panels.clone());
        for (place, moment) in places.zip(moments) {
            placed[place] = moment;
        }
        self.charges = placed.iter().map(|[charge, ..]| *charge).collect();
        self.dipoles = placed.iter().map(|[_, dipole, _]| *dipole).collect();
        self.weights = placed.iter().map(|[.., weights]| *weights).collect();
    }

    /// The potential on every panel: of `single` charges and `double` dipoles
    /// per m² on each.
    pub(super) fn apply(&self, single: &[f64], double: &[f64]) -> Vec<f64> {
        let with_dipoles = double.iter().any(|dipole| *dipole != 0.0);
        let inward = self.inward(&self.outward(single, double, with_dipoles));
        let parts: Vec<Vec<f32>> = self
            .leaves
            .par_iter()
            .zip(&self.near)
            .map(|(leaf, near)| {
                let weights = &self.weights[self.tree.cells[*leaf].panels.clone()];
                widest(
                    #[inline(always)]
                    || {
                        let mut sum = near.apply(weights.len(), single, double, with_dipoles);
                        for (value, weights) in sum.iter_mut().zip(weights) {
                            *value += dot_terms(weights, &inward[*leaf]);
                        }
                        sum
                    },
                )
            })
            .collect();
        let mut out = vec![0.0; single.len()];
        for (leaf, part) in self.leaves.iter().zip(parts) {
            let panels = self.tree.cells[*leaf].panels.clone();
            for (value, sum) in out[panels].iter_mut().zip(part) {
                *value = f64::from(sum);
            }
        }
        if let Some(rest) = &self.rest {
            rest.add(single, double, &mut out);
        }
        out
    }

    fn outward(&self, single: &[f64], double: &[f64], with_dipoles: bool) -> Vec<Expansion> {
        let mut outward = vec![[0.0; TERMS]; self.tree.cells.len()];
        outward
            .par_iter_mut()
            .zip(&self.tree.cells)
            .for_each(|(sum, cell)| {
                if cell.is_leaf() {
                    widest(
                        #[inline(always)]
                        || {
                            for panel in cell.panels.clone() {
                                add(sum, &self.charges[panel], single[panel] as f32);
                                if with_dipoles {
                                    add(sum, &self.dipoles[panel], double[panel] as f32);
                                }
                            }
                        },
                    );
                }
            });
        for level in self.levels().into_iter().rev() {
            let (above, below) = outward.split_at_mut(level.end);
            above[level.clone()]
                .par_iter_mut()
                .zip(&self.tree.cells[level.clone()])
                .for_each(|(sum, cell)| {
                    widest(
                        #[inline(always)]
                        || {
                            for part in cell.parts.clone() {
                                let map = &self.up[octant(&self.tree.cells[part])];
                                add_mapped(sum, map, &below[part - level.end], 1.0);
                            }
                        },
                    );
                });
        }
        outward
    }

    fn inward(&self, outward: &[Expansion]) -> Vec<Expansion> {
        let signs = [0, 1, 2, 3, 4, 5, 6, 7].map(mirror_signs);
        let mut inward = vec![[0.0; TERMS]; outward.len()];
        inward
            .par_chunks_mut(TOGETHER)
            .enumerate()
            .for_each(|(chunk, sums)| {
                let of = |far: &Far| far.to as usize / TOGETHER;
                let first = self.far.partition_point(|far| of(far) < chunk);
                let last = self.far.partition_point(|far| of(far) <= chunk);
                widest(
                    #[inline(always)]
                    || {
                        for far in &self.far[first..last] {
                            self.add_far(far, outward, &signs, sums);
                        }
                    },
                );
            });
        for level in self.levels() {
            for cell in level {
                let from = inward[cell];
                for part in self.tree.cells[cell].parts.clone() {
                    let map = &self.down[octant(&self.tree.cells[part])];
                    add_mapped(&mut inward[part], map, &from, 1.0);
                }
            }
        }
        inward
    }

    /// Adds what a cell makes in another one, whose chunk's sums these are.
    #[inline(always)]
    fn add_far(
        &self,
        far: &Far,
        outward: &[Expansion],
        signs: &[Expansion; 8],
        sums: &mut [Expansion],
    ) {
        let mut from = outward[far.from as usize];
        if far.mirrored != 0 {
            from.iter_mut()
                .zip(&signs[far.mirrored as usize])
                .for_each(|(value, sign)| *value *= sign);
        }
        let level = self.tree.cells[far.to as usize].level;
        let factor = 1.0 / (4.0 * std::f64::consts::PI * self.scale(level));
        let sum = &mut sums[far.to as usize % TOGETHER];
        add_mapped(sum, &self.maps[far.map as usize], &from, factor as f32);
    }

    /// The cells of each level.
    fn levels(&self) -> Vec<Range<usize>> {
        let mut levels = Vec::new();
        let mut first = 0;
        for chunk in self.tree.cells.chunk_by(|a, b| a.level == b.level) {
            levels.push(first..first + chunk.len());
            first += chunk.len();
        }
        levels
    }

    /// Panels that are strongly tied to each other, group by group, in order of
    /// leaves.
    pub(super) fn groups(&self) -> impl ParallelIterator<Item = Group<'_>> {
        let leaves = self.leaves.par_iter().zip(&self.near);
        leaves.flat_map_iter(|(leaf, near)| {
            let all = self.tree.cells[*leaf].panels.clone();
            let own = near.from.iter().find(|(panels, _)| *panels == all);
            let columns = own.map_or(0, |(_, first)| *first);
            all.clone().step_by(GROUP).map(move |first| Group {
                panels: first..(first + GROUP).min(all.end),
                leaf: all.clone(),
                columns,
                near,
            })
        })
    }
}

/// Panels of a group at most. A leaf has more where a large panel keeps it from
/// being divided.
const GROUP: usize = 64;

/// Panels of one leaf, and what they make on each other.
#[derive(Debug)]
pub(super) struct Group<'a> {
    pub(super) panels: Range<usize>,
    leaf: Range<usize>,
    /// Where the leaf's own columns begin.
    columns: usize,
    near: &'a Near,
}

impl Group<'_> {
    /// Of the group's panel `from` on `to`, numbered within the group: single
    /// and double layer of unit density.
    pub(super) fn between(&self, to: usize, from: usize) -> (f64, f64) {
        let aside = self.panels.start - self.leaf.start;
        let entry = (self.columns + aside + from) * self.leaf.len() + aside + to;
        (
            f64::from(self.near.single[entry]),
            f64::from(self.near.double[entry]),
        )
    }
}

impl Near {
    fn new(tree: &Tree, panels: &[Panel], tank: Option<&Tank>, sights: &[Sight]) -> Self {
        let mut near = Self::default();
        let mut columns = 0;
        for same in sights.chunk_by(|a, b| a.from == b.from) {
            let from = tree.cells[same[0].from as usize].panels.clone();
            let to = tree.cells[same[0].to as usize].panels.clone();
            near.from.push((from.clone(), columns));
            columns += from.len();
            let first = &tree.cells[same[0].from as usize];
            let seen = same.iter().map(|sight| {
                let back = |panel: &Panel| {
                    let back = |tank| sight.image.back(tank, panel.middle);
                    tank.map_or(panel.middle, back)
                };
                Places::new(
                    tree.centre(first),
                    panels[to.clone()].iter().map(back).collect(),
                )
            });
            let seen: Vec<Places> = seen.collect();
            let rows = to.len();
            for source in &panels[from] {
                let entry = near.single.len();
                near.single.resize(entry + rows, 0.0);
                near.double.resize(entry + rows, 0.0);
                let (single, double) = (&mut near.single[entry..], &mut near.double[entry..]);
                for places in &seen {
                    widest(
                        #[inline(always)]
                        || source.add_potentials(places, single, double),
                    );
                }
            }
        }
        near
    }

    #[inline(always)]
    fn apply(&self, rows: usize, single: &[f64], double: &[f64], with_dipoles: bool) -> Vec<f32> {
        let mut sum = vec![0.0_f32; rows];
        let mut add = |columns: &[f32], factor: f32| {
            for (value, entry) in sum.iter_mut().zip(columns) {
                *value += factor * entry;
            }
        };
        for (from, first) in &self.from {
            for (k, panel) in from.clone().enumerate() {
                let entries = (first + k) * rows..(first + k + 1) * rows;
                add(&self.single[entries.clone()], single[panel] as f32);
                if with_dipoles {
                    add(&self.double[entries], double[panel] as f32);
                }
            }
        }
        sum
    }
}

#[inline(always)]
fn add(sum: &mut Expansion, other: &Expansion, factor: f32) {
    for (value, term) in sum.iter_mut().zip(other) {
        *value += factor * term;
    }
}

/// Which eighth of its parent a cell is, a bit an axis.
fn octant(cell: &Cell) -> usize {
    (0..3)
        .map(|axis| ((cell.at[axis] & 1) << axis) as usize)
        .sum()
}

/// From each eighth's centre to its parent's, in halves of the parent.
fn shifts(tree: &Tree) -> [Map; 8] {
    let half = tree.half_at(0);
    let scale = half.into_iter().fold(0.0, f64::max);
    [0, 1, 2, 3, 4, 5, 6, 7].map(|part: usize| {
        let side = |axis: usize| if part >> axis & 1 == 0 { -0.5 } else { 0.5 };
        outward_shift([0, 1, 2].map(|axis| side(axis) * half[axis] / scale), 0.5)
    })
}

/// A panel's charge, dipole and place in the expansions of its leaf.
fn moments(panel: &Panel, centre: [f64; 3], scale: f64) -> [Expansion; 3] {
    let within = |place| times(less(place, centre), 1.0 / scale);
    let [a, b, c] = panel
        .points()
        .map(|point| Harmonics::regular(within(point), ORDER));
    let mut sum = a;
    sum.add(&b, 1.0);
    sum.add(&c, 1.0);
    let slope = sum.slope(times(panel.normal, 1.0 / scale));
    let third = (panel.area / 3.0) as f32;
    [
        sum.expansion().map(|term| term * third),
        slope.expansion().map(|term| term * third),
        Harmonics::regular(within(panel.middle), ORDER).weights(),
    ]
}

/// Far sights in the order they are best taken, and the maps they need.
fn far_sights(tree: &Tree, sights: &[Sight]) -> (Vec<Far>, Vec<Map>) {
    let mut numbers = HashMap::new();
    let mut needed = Vec::new();
    let mut far: Vec<Far> = sights
        .iter()
        .map(|sight| Far {
            to: sight.to,
            from: sight.from,
            mirrored: sight.image.mirrored(),
            map: *numbers.entry(sight.apart).or_insert_with(|| {
                needed.push(sight.apart);
                needed.len() as u32 - 1
            }),
        })
        .collect();
    far.sort_unstable_by_key(|far| (far.to as usize / TOGETHER, far.map, far.to));
    let half = tree.half_at(0);
    let scale = half.into_iter().fold(0.0, f64::max);
    let maps = needed
        .par_iter()
        .map(|apart| {
            outward_to_inward(
                [0, 1, 2].map(|axis| 2.0 * f64::from(apart[axis]) * half[axis] / scale),
            )
        })
        .collect();
    (far, maps)
}

#[cfg(test)]
mod tests {
    use super::super::shapes::{plate, sphere};
    use super::*;
    use crate::units::Unwatched;

    fn dense(panels: &[Panel], single: &[f64], double: &[f64], to: usize) -> f64 {
        let sum = |(k, panel): (usize, &Panel)| {
            let potential = panel.potential(panels[to].middle);
            potential.single * single[k] + potential.double * double[k]
        };
        panels.iter().enumerate().map(sum).sum()
    }

    fn wavy(panels: &[Panel]) -> (Vec<f64>, Vec<f64>) {
        let single = panels
            .iter()
            .map(|p| 1.0 + (50.0 * p.middle[0]).sin())
            .collect();
        let double = panels
            .iter()
            .map(|p| 0.02 * (70.0 * p.middle[1]).cos())
            .collect();
        (single, double)
    }

    #[test]
    fn is_the_sum_over_all_panels() {
        let mut panels = sphere(14, 0.03, [0.0; 3]);
        panels.extend(sphere(6, 0.005, [0.0, 0.036, 0.0]));
        let operator = Operator::new(&panels, None, &Unwatched).unwrap();
        let panels: Vec<Panel> = operator
            .order()
            .iter()
            .map(|k| panels[*k as usize])
            .collect();
        let (single, double) = wavy(&panels);
        let fast = operator.apply(&single, &double);
        let mut worst = 0.0_f64;
        for to in (0..panels.len()).step_by(37) {
            let slow = dense(&panels, &single, &double, to);
            worst = worst.max((fast[to] / slow - 1.0).abs());
        }
        assert!(worst < 2e-4, "{worst}");
    }

    #[test]
    fn walls_are_mirrors() {
        // Two tanks beside each other, each other's mirror image, are one tank
        // with a charge and its image: the same potential up to a constant.
        let small = Tank {
            low: [0.0, -0.1, -0.1],
            high: [0.15, 0.1, 0.1],
        };
        let wide = Tank {
            low: [-0.15, -0.1, -0.1],
            high: [0.15, 0.1, 0.1],
        };
        let mut panels = sphere(8, 0.03, [0.04, 0.02, -0.03]);
        panels.extend(plate(
            6,
            1.0,
            [0.15, -0.075, -0.075],
            [0.0, 0.0, 0.15],
            [0.0, 0.15, 0.0],
        ));
        let count = panels.len();
        let mirrored: Vec<Panel> = panels
            .iter()
            .map(|p| {
                let [a, b, c] = p.corners.map(|[x, y, z]| [-x, y, z]);
                Panel::new([a, c, b])
            })
            .collect();
        let both: Vec<Panel> = panels.iter().copied().chain(mirrored).collect();
        let potential = |panels: &[Panel], tank: &Tank| {
            let operator =
                Operator::new(panels, Some(&Arc::new(Walls::new(*tank))), &Unwatched).unwrap();
            let (mut single, mut double) = (Vec::new(), Vec::new());
            for k in operator.order() {
                let k = *k as usize % count;
                single.push(if k < 768 {
                    1.0
                } else {
                    -panels[..768].iter().map(|p| p.area).sum::<f64>() / 0.0225
                });
                double.push(if k < 768 { 0.02 } else { 0.0 });
            }
            let out = operator.apply(&single, &double);
            let mut back = vec![0.0; panels.len()];
            for (value, k) in out.iter().zip(operator.order()) {
                back[*k as usize] = *value;
            }
            back
        };
        let (one, two) = (potential(&panels, &small), potential(&both, &wide));
        let off = one[0] - two[0];
        for k in 0..count {
            assert!(
                (one[k] - two[k] - off).abs() < 3e-4 * 0.03,
                "{k} {} {}",
                one[k] - off,
                two[k]
            );
            assert!((two[k] - two[k + count]).abs() < 3e-4 * 0.03);
        }
    }
}
