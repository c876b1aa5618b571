//! Lids over holes: they stop the bath and have no area.

use std::cmp::Ordering;
use std::collections::HashMap;

use super::super::Corner;
use super::super::space::{area, dot, length, less, plus, times};
use super::super::tree::{Bounds, Tree, in_order};
use super::weld::{NONE, Numbers, Welded};

/// What became of the open sides of a mesh.
#[derive(Debug, Clone, Default, PartialEq)]
pub(in super::super) struct Holes {
    /// Along the edges of the holes, in mm.
    pub(in super::super) around: f64,
    /// Along the cracks, in mm.
    pub(in super::super) cracked: f64,
    /// Holes that got a lid: the middle and area in mm² of each.
    pub(in super::super) lids: Vec<(Corner, f64)>,
    /// Cracks without width, where a corner stands in another's side: the first
    /// corner of each.
    pub(in super::super) cracks: Vec<Corner>,
}

/// Shuts the holes of a mesh. First, corners on open sides that are as good as
/// equal become one.
pub(super) fn shut(welded: &mut Welded) -> Holes {
    if !welded.sides.twins.contains(&NONE) {
        return Holes::default();
    }
    snap(welded);
    let mut holes = Holes::default();
    let open = holes.close_junctions(&open_sides(welded), welded);
    let mut lids = Vec::new();
    for outline in loops(&open) {
        let at = outline.iter().map(|&at| welded.corners[at as usize]);
        let sum = at.clone().fold([0.0; 3], plus);
        let middle = times(sum, 1.0 / outline.len() as f64);
        let lid = lid(&outline, &mut welded.corners, middle);
        let lid_area: f64 = lid
            .iter()
            .map(|of| area(of.map(|at| welded.corners[at as usize])))
            .sum();
        let corners: Vec<Corner> = at_all(&outline, &welded.corners);
        let around: f64 = (0..corners.len())
            .map(|k| length(less(corners[(k + 1) % corners.len()], corners[k])))
            .sum();
        if lid_area <= welded.tolerance * around {
            holes.cracks.push(corners[0]);
            holes.cracked += around / 2.0;
        } else {
            holes.lids.push((middle, lid_area));
            holes.around += around;
            lids.extend(lid);
        }
    }
    welded.add_lids(lids);
    holes
}

impl Holes {
    /// The open sides that are left when those that are split by corners of
    /// others are taken as closed: each with what lies along it.
    fn close_junctions(&mut self, open: &[[u32; 2]], welded: &Welded) -> Vec<[u32; 2]> {
        let mut corners: Vec<u32> = open.iter().flatten().copied().collect();
        corners.sort_unstable();
        corners.dedup();
        let at = |number: u32| welded.corners[number as usize];
        let order = in_order(corners.len(), |place| at(corners[place]));
        let corners: Vec<u32> = order.iter().map(|&place| corners[place as usize]).collect();
        let tree = Tree::over(corners.len(), |place| {
            Bounds::around(&[at(corners[place])], welded.tolerance)
        });
        let mut pieces = Vec::with_capacity(open.len());
        for &[a, b] in open {
            let along = less(at(b), at(a));
            let whole = length(along);
            let mut between = Vec::new();
            tree.overlapping(&Bounds::around(&[at(a), at(b)], 0.0), |place| {
                let to = less(at(corners[place]), at(a));
                let way = dot(to, along) / whole;
                let aside = less(to, times(along, way / whole));
                let is_within = way > welded.tolerance && way < whole - welded.tolerance;
                if is_within && length(aside) <= welded.tolerance {
                    between.push((way, corners[place]));
                }
            });
            between.sort_by(|one, other| one.0.total_cmp(&other.0));
            self.cracks
                .extend(between.iter().map(|(_, corner)| at(*corner)));
            self.cracked += if between.is_empty() { 0.0 } else { whole };
            let ends = between.into_iter().map(|(_, corner)| corner).chain([b]);
            let mut from = a;
            for to in ends {
                pieces.push([from, to]);
                from = to;
            }
        }
        let ends = |[a, b]: [u32; 2]| (a.min(b), a.max(b));
        let mut count: HashMap<(u32, u32), usize> = HashMap::new();
        for piece in &pieces {
            *count.entry(ends(*piece)).or_default() += 1;
        }
        pieces.retain(|piece| count.get(&ends(*piece)) == Some(&1));
        pieces
    }
}

fn at_all(outline: &[u32], corners: &[Corner]) -> Vec<Corner> {
    outline.iter().map(|&at| corners[at as usize]).collect()
}

/// The open sides, from corner to corner by place, as they are by place: so the
/// lids are the same in whatever order the triangles come, and turned anyhow.
fn open_sides(welded: &Welded) -> Vec<[u32; 2]> {
    let sides = (0_usize..).zip(&welded.sides.twins);
    let open = sides.filter(|(_, twin)| **twin == NONE);
    let at = |number: u32| welded.corners[number as usize];
    let mut open: Vec<[u32; 2]> = open
        .map(|(side, _)| {
            let numbers = welded.triangles[side / 3];
            let (from, to) = (numbers[side % 3], numbers[(side + 1) % 3]);
            if by_place(at(from), at(to)).is_le() {
                [from, to]
            } else {
                [to, from]
            }
        })
        .collect();
    open.sort_by(|a, b| by_place(at(a[0]), at(b[0])).then(by_place(at(a[1]), at(b[1]))));
    open
}

fn by_place(a: Corner, b: Corner) -> Ordering {
    let along = |axis: usize| a[axis].total_cmp(&b[axis]);
    along(0).then(along(1)).then(along(2))
}

/// Makes one of the corners on open sides that are closer than the tolerance.
fn snap(welded: &mut Welded) {
    let mut corners: Vec<u32> = open_sides(welded).into_iter().flatten().collect();
    corners.sort_unstable();
    corners.dedup();
    let at = |number: u32| welded.corners[number as usize];
    corners.sort_by(|a, b| by_place(at(*a), at(*b)));
    let mut now: HashMap<u32, u32> = HashMap::new();
    for (place, &corner) in corners.iter().enumerate() {
        let near = corners[..place].iter().rev();
        let near = near.take_while(|&&other| at(corner)[0] - at(other)[0] <= welded.tolerance);
        let same = near.filter(|&&other| length(less(at(corner), at(other))) <= welded.tolerance);
        if let Some(&other) = same.last() {
            now.insert(corner, *now.get(&other).unwrap_or(&other));
        }
    }
    if !now.is_empty() {
        welded.renumber(|number| *now.get(&number).unwrap_or(&number));
    }
}

/// The closed ways along open sides, each as its corners.
fn loops(open: &[[u32; 2]]) -> Vec<Vec<u32>> {
    let mut from: HashMap<u32, Vec<(u32, usize)>> = HashMap::new();
    for (side, &[a, b]) in open.iter().enumerate() {
        from.entry(a).or_default().push((b, side));
    }
    for (side, &[a, b]) in open.iter().enumerate() {
        from.entry(b).or_default().push((a, side));
    }
    for ways in from.values_mut() {
        ways.reverse();
    }
    let mut used = vec![false; open.len()];
    let mut found = Vec::new();
    for &[start, _] in open {
        let mut way = vec![start];
        while let Some(&last) = way.last() {
            let next = from.get_mut(&last).and_then(|ways| {
                while let Some(&(to, side)) = ways.last() {
                    if !used[side] {
                        used[side] = true;
                        return Some(to);
                    }
                    ways.pop();
                }
                None
            });
            let Some(next) = next else { break };
            if let Some(before) = way.iter().rposition(|&corner| corner == next) {
                let outline = way.split_off(before);
                if outline.len() > 2 {
                    found.push(outline);
                }
                way.push(next);
            } else {
                way.push(next);
            }
        }
    }
    found
}

/// Triangles over a loop.
fn lid(outline: &[u32], corners: &mut Vec<Corner>, middle: Corner) -> Vec<Numbers> {
    match *outline {
        [a, b, c] => vec![[c, b, a]],
        [a, b, c, d] => {
            let across =
                |from: u32, to: u32| length(less(corners[from as usize], corners[to as usize]));
            if across(a, c) <= across(b, d) {
                vec![[c, b, a], [a, d, c]]
            } else {
                vec![[b, a, d], [d, c, b]]
            }
        }
        _ => {
            let top = corners.len() as u32;
            corners.push(middle);
            let next = outline.iter().cycle().skip(1);
            outline
                .iter()
                .zip(next)
                .map(|(&a, &b)| [b, a, top])
                .collect()
        }
    }
}
