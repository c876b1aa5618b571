//! Facets joined along their sides, with points set along every side.

use std::collections::HashMap;

use super::Groups;
use super::boxes::Boxes;
use crate::mesh::space::{dot, length, less, plus, times};
use crate::mesh::{Class, Corner, Facet};

/// Points on the sides of facets, and which lie around which facet.
///
/// Where a side of one facet meets several shorter ones of others, it is split
/// at their ends, so that both have the same points.
pub(super) struct Net {
    pub(super) points: Vec<Corner>,
    /// Of each facet the points around it, in order.
    rings: Lists,
    /// Of each point the facets it is on.
    at_point: Lists,
    /// Of each facet its three corners among the points.
    pub(super) corners: Vec<[u32; 3]>,
}

/// Lists one behind the other.
struct Lists {
    starts: Vec<u32>,
    items: Vec<u32>,
}

impl Lists {
    fn of(&self, at: usize) -> &[u32] {
        &self.items[self.starts[at] as usize..self.starts[at + 1] as usize]
    }
}

impl Net {
    pub(super) fn new(facets: &[Facet]) -> Self {
        let reach = 1e-6 * Boxes::new(facets).diagonal();
        let (mut points, corners) = welded(facets, reach);
        let splits = splits(&points, &corners, reach);
        let mut setter = Setter::new(&points, &corners);
        let mut rings = Lists {
            starts: vec![0],
            items: Vec::with_capacity(6 * facets.len()),
        };
        for of in &corners {
            for at in 0..3 {
                let (from, to) = (of[at], of[(at + 1) % 3]);
                let stops = stops(&points, &splits, from, to);
                for pair in stops.windows(2) {
                    setter.along(&mut points, pair[0], pair[1], &mut rings.items);
                }
            }
            rings.starts.push(rings.items.len() as u32);
        }
        let at_point = turned_round(&rings, points.len());
        Self {
            points,
            rings,
            at_point,
            corners,
        }
    }

    pub(super) fn ring(&self, facet: usize) -> &[u32] {
        self.rings.of(facet)
    }

    pub(super) fn facets_at(&self, point: usize) -> &[u32] {
        self.at_point.of(point)
    }

    /// The points in groups that hang together.
    pub(super) fn islands(&self) -> Vec<Vec<usize>> {
        let mut groups = Groups::of(self.points.len());
        for facet in 0..self.corners.len() {
            for pair in self.ring(facet).windows(2) {
                groups.join(pair[0] as usize, pair[1] as usize);
            }
        }
        groups.sets()
    }
}

/// Every corner once; those closer than `reach` are one.
fn welded(facets: &[Facet], reach: f64) -> (Vec<Corner>, Vec<[u32; 3]>) {
    let cell = (4.0 * reach).max(f64::MIN_POSITIVE);
    let mut points: Vec<Corner> = Vec::with_capacity(facets.len() / 2);
    let mut cells: HashMap<[i64; 3], Vec<u32>> = HashMap::with_capacity(facets.len() / 2);
    let mut weld = |corner: Corner| {
        let place = |shift: f64| corner.map(|number| ((number + shift) / cell).floor() as i64);
        let (low, high) = (place(-reach), place(reach));
        for near in between(low, high) {
            let here = cells.get(&near).into_iter().flatten();
            let mut same = here.filter(|&&at| length(less(points[at as usize], corner)) <= reach);
            if let Some(&at) = same.next() {
                return at;
            }
        }
        let at = points.len() as u32;
        points.push(corner);
        cells.entry(place(0.0)).or_default().push(at);
        at
    };
    let corners = facets
        .iter()
        .map(|facet| facet.corners.map(&mut weld))
        .collect();
    (points, corners)
}

fn between(low: [i64; 3], high: [i64; 3]) -> impl Iterator<Item = [i64; 3]> {
    (low[0]..=high[0]).flat_map(move |x| {
        (low[1]..=high[1]).flat_map(move |y| (low[2]..=high[2]).map(move |z| [x, y, z]))
    })
}

fn sides(of: [u32; 3]) -> [(u32, u32); 3] {
    [0, 1, 2].map(|at| key(of[at], of[(at + 1) % 3]))
}

fn key(a: u32, b: u32) -> (u32, u32) {
    (a.min(b), a.max(b))
}

/// Of sides that belong to one facet only, the points of other such sides that
/// lie on them.
fn splits(points: &[Corner], corners: &[[u32; 3]], reach: f64) -> HashMap<(u32, u32), Vec<u32>> {
    let mut counts: HashMap<(u32, u32), u32> = HashMap::with_capacity(2 * corners.len());
    for side in corners.iter().flat_map(|&of| sides(of)) {
        *counts.entry(side).or_default() += 1;
    }
    let mut lonely: Vec<_> = counts
        .into_iter()
        .filter(|&(_, count)| count == 1)
        .map(|(side, _)| side)
        .collect();
    lonely.sort_unstable();
    let mut ends: Vec<u32> = lonely.iter().flat_map(|&(a, b)| [a, b]).collect();
    ends.sort_unstable();
    ends.dedup();
    let as_facet = |&end: &u32| Facet {
        triangle: end,
        corners: [points[end as usize]; 3],
        class: Class::Wetted,
    };
    let ends: Vec<Facet> = ends.iter().map(as_facet).collect();
    let boxes = Boxes::new(&ends);
    let mut splits = HashMap::new();
    for (a, b) in lonely {
        let (from, to) = (points[a as usize], points[b as usize]);
        let middle = times(plus(from, to), 0.5);
        let mut on: Vec<u32> = Vec::new();
        boxes.near(middle, length(less(to, from)) / 2.0, |end| {
            if lies_between(end.corners[0], from, to, reach) {
                on.push(end.triangle);
            }
        });
        if !on.is_empty() {
            splits.insert((a, b), on);
        }
    }
    splits
}

fn lies_between(point: Corner, from: Corner, to: Corner, reach: f64) -> bool {
    let (way, out) = (less(to, from), less(point, from));
    let share = dot(out, way) / dot(way, way);
    let off = length(less(out, times(way, share)));
    let ends = length(out).min(length(less(point, to)));
    share > 0.0 && share < 1.0 && off <= reach && ends > reach
}

/// A side from end to end with the points at which it is split.
fn stops(
    points: &[Corner],
    splits: &HashMap<(u32, u32), Vec<u32>>,
    from: u32,
    to: u32,
) -> Vec<u32> {
    let mut stops = vec![from];
    if let Some(on) = splits.get(&key(from, to)) {
        let far = |&at: &u32| length(less(points[at as usize], points[from as usize]));
        let mut on = on.clone();
        on.sort_by(|a, b| far(a).total_cmp(&far(b)));
        stops.extend(on);
    }
    stops.push(to);
    stops
}

/// Sets points along sides, the same for both facets of a side.
struct Setter {
    gap: f64,
    least: u32,
    /// Of a side the first of its points and how many there are.
    set: HashMap<(u32, u32), (u32, u32)>,
}

impl Setter {
    /// How many points there are at most, about.
    const POINTS: f64 = 300_000.0;
    /// How many pairs of points are on one facet, about: what the wave costs.
    const PAIRS: f64 = 5e6;
    /// Up to so many facets every side has a point at least.
    const FINE: usize = 400_000;

    fn new(points: &[Corner], corners: &[[u32; 3]]) -> Self {
        let long = |(a, b): (u32, u32)| length(less(points[a as usize], points[b as usize]));
        let round = |&of: &[u32; 3]| sides(of).map(long).iter().sum::<f64>();
        let (total, squared) = corners
            .iter()
            .map(round)
            .fold((0.0, 0.0), |(sum, squared), round| {
                (sum + round, squared + round * round)
            });
        Self {
            gap: (squared / Self::PAIRS)
                .sqrt()
                .max(total / 2.0 / Self::POINTS),
            least: u32::from(corners.len() <= Self::FINE),
            set: HashMap::with_capacity(2 * corners.len()),
        }
    }

    /// Appends the points from one end of a side up to before the other.
    fn along(&mut self, points: &mut Vec<Corner>, from: u32, to: u32, ring: &mut Vec<u32>) {
        ring.push(from);
        if from == to {
            return;
        }
        let (gap, least) = (self.gap, self.least);
        let (low, high) = key(from, to);
        let (first, count) = *self.set.entry((low, high)).or_insert_with(|| {
            let (start, end) = (points[low as usize], points[high as usize]);
            let way = less(end, start);
            let count = ((length(way) / gap) as u32).max(least);
            let first = points.len() as u32;
            points.extend(
                (1..=count).map(|at| plus(start, times(way, f64::from(at) / f64::from(count + 1)))),
            );
            (first, count)
        });
        if from == low {
            ring.extend(first..first + count);
        } else {
            ring.extend((first..first + count).rev());
        }
    }
}

/// From "points of each facet" to "facets of each point".
fn turned_round(rings: &Lists, points: usize) -> Lists {
    let mut starts = vec![0_u32; points + 1];
    for &point in &rings.items {
        starts[point as usize + 1] += 1;
    }
    for at in 0..points {
        starts[at + 1] += starts[at];
    }
    let mut next = starts.clone();
    let mut items = vec![0; rings.items.len()];
    for facet in 0..rings.starts.len() - 1 {
        for &point in rings.of(facet) {
            items[next[point as usize] as usize] = facet as u32;
            next[point as usize] += 1;
        }
    }
    Lists { starts, items }
}
