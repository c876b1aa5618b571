//! A tree of boxes around facets: what a ray hits, what is near a point.
//!
//! The facets are laid along a space-filling curve (Morton 1966), eight to a
//! leaf and four leaves or boxes to the next: nothing but a sort, so that a
//! million of them are ready in well under a second.

use rayon::prelude::*;

use crate::mesh::space::{cross, dot, less, middle, normal};
use crate::mesh::{Corner, Facet};

const LEAF: usize = 8;
const FAN: usize = 4;

/// Facets in boxes.
pub(super) struct Boxes<'a> {
    facets: &'a [Facet],
    order: Vec<u32>,
    /// The leaves first, the one box around all last.
    levels: Vec<Vec<Bounds>>,
}

/// What a ray met.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hit {
    /// How far, in lengths of the ray's direction.
    pub(super) far: f64,
    /// Which facet.
    pub(super) facet: usize,
}

/// A box, as [low, high] in each axis.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounds {
    pub(super) low: Corner,
    pub(super) high: Corner,
}

impl Bounds {
    pub(super) const NONE: Self = Self {
        low: [f64::INFINITY; 3],
        high: [f64::NEG_INFINITY; 3],
    };

    pub(super) fn around(facets: &[Facet]) -> Self {
        let both = |a: Self, b: Self| a.with(b.low).with(b.high);
        facets
            .par_chunks(4096)
            .map(|chunk| chunk.iter().fold(Self::NONE, Self::with_facet))
            .reduce(|| Self::NONE, both)
    }

    pub(super) fn size(self) -> Corner {
        less(self.high, self.low)
    }

    fn with(self, corner: Corner) -> Self {
        Self {
            low: [0, 1, 2].map(|axis| self.low[axis].min(corner[axis])),
            high: [0, 1, 2].map(|axis| self.high[axis].max(corner[axis])),
        }
    }

    fn with_facet(self, facet: &Facet) -> Self {
        facet
            .corners
            .iter()
            .fold(self, |all, &corner| all.with(corner))
    }

    /// Where a ray enters, if it does before `upto`.
    fn entered(&self, ray: &Ray, upto: f64) -> Option<f64> {
        let (mut enter, mut leave) = (0.0_f64, upto);
        for axis in 0..3 {
            let near = (self.low[axis] - ray.from[axis]) * ray.inverse[axis];
            let far = (self.high[axis] - ray.from[axis]) * ray.inverse[axis];
            // A ray within the plane of a side gives no number: min and max pass it over.
            enter = enter.max(near.min(far));
            leave = leave.min(near.max(far));
        }
        (enter <= leave * (1.0 + 1e-12)).then_some(enter)
    }

    fn distance_squared(&self, point: Corner) -> f64 {
        let gap = |axis: usize| {
            let low = self.low[axis] - point[axis];
            low.max(point[axis] - self.high[axis]).max(0.0)
        };
        gap(0).powi(2) + gap(1).powi(2) + gap(2).powi(2)
    }
}

/// A box that a ray enters.
#[derive(Debug, Clone, Copy, Default)]
struct Entered {
    level: u32,
    at: u32,
    enter: f64,
}

/// How many boxes can be open at once: three of each level and one, for more
/// levels than 2^32 facets have.
const OPEN: usize = 64;

struct Ray {
    from: Corner,
    way: Corner,
    inverse: Corner,
}

impl Ray {
    /// Where it meets a triangle from either side (Möller & Trumbore 1997).
    fn meets(&self, [a, b, c]: [Corner; 3]) -> Option<f64> {
        const SLACK: f64 = 1e-9;
        let (side, other) = (less(b, a), less(c, a));
        let upright = cross(self.way, other);
        let turn = dot(side, upright);
        if turn == 0.0 {
            return None;
        }
        let start = less(self.from, a);
        let along = dot(start, upright) / turn;
        let across = cross(start, side);
        let aside = dot(self.way, across) / turn;
        let within = along >= -SLACK && aside >= -SLACK && along + aside <= 1.0 + SLACK;
        let far = dot(other, across) / turn;
        (within && far > 0.0).then_some(far)
    }
}

impl<'a> Boxes<'a> {
    pub(super) fn new(facets: &'a [Facet]) -> Self {
        let order = along_the_curve(facets);
        let leaves = order.par_chunks(LEAF).with_min_len(256).map(|leaf| {
            let around = |all: Bounds, &at: &u32| all.with_facet(&facets[at as usize]);
            leaf.iter().fold(Bounds::NONE, around)
        });
        let mut levels: Vec<Vec<Bounds>> = vec![leaves.collect()];
        while let Some(below) = levels.last().filter(|below| below.len() > 1) {
            let both = |all: Bounds, one: &Bounds| all.with(one.low).with(one.high);
            let above = below
                .chunks(FAN)
                .map(|few| few.iter().fold(Bounds::NONE, both));
            levels.push(above.collect());
        }
        Self {
            facets,
            order,
            levels,
        }
    }

    pub(super) fn facets(&self) -> &'a [Facet] {
        self.facets
    }

    pub(super) fn bounds(&self) -> Bounds {
        let top = self.levels.last().and_then(|level| level.first());
        top.copied().unwrap_or(Bounds::NONE)
    }

    /// From corner to corner of the box around all; 0 around nothing.
    pub(super) fn diagonal(&self) -> f64 {
        if self.facets.is_empty() {
            return 0.0;
        }
        crate::mesh::space::length(self.bounds().size())
    }

    /// The first facet that a ray meets within `upto` lengths of `way`.
    pub(super) fn hit(&self, from: Corner, way: Corner, upto: f64) -> Option<Hit> {
        let mut first = None;
        let ray = ray(from, way);
        self.descend(&ray, upto, |far, facet| {
            first = Some(Hit { far, facet });
            Some(far)
        });
        first
    }

    /// Whether a ray meets any facet within `upto` lengths of `way`.
    pub(super) fn blocked(&self, from: Corner, way: Corner, upto: f64) -> bool {
        let mut met = false;
        self.descend(&ray(from, way), upto, |_, _| {
            met = true;
            None
        });
        met
    }

    /// Tells `met` of facets on the ray; it answers how far to look from then
    /// on, or not at all.
    fn descend(&self, ray: &Ray, mut upto: f64, mut met: impl FnMut(f64, usize) -> Option<f64>) {
        let mut open = [Entered::default(); OPEN];
        open[0].level = (self.levels.len() - 1) as u32;
        let mut count = 1;
        while count > 0 {
            count -= 1;
            let Entered { level, at, enter } = open[count];
            if enter > upto {
                continue;
            }
            if level > 0 {
                count += self.open_box(ray, upto, (level - 1, at), &mut open[count..]);
                continue;
            }
            for &facet in self.leaf(at as usize) {
                let facet = facet as usize;
                let far = ray.meets(self.facets[facet].corners);
                if let Some(far) = far.filter(|&far| far <= upto) {
                    let Some(least) = met(far, facet) else {
                        return;
                    };
                    upto = least;
                }
            }
        }
    }

    /// The boxes below that the ray enters, the nearest last, and how many.
    fn open_box(
        &self,
        ray: &Ray,
        upto: f64,
        (level, at): (u32, u32),
        open: &mut [Entered],
    ) -> usize {
        let below = &self.levels[level as usize];
        let first = at as usize * FAN;
        let mut count = 0;
        for (child, bounds) in below.iter().enumerate().skip(first).take(FAN) {
            if let Some(enter) = bounds.entered(ray, upto) {
                let mut place = count;
                while place > 0 && open[place - 1].enter < enter {
                    open[place] = open[place - 1];
                    place -= 1;
                }
                let at = child as u32;
                open[place] = Entered { level, at, enter };
                count += 1;
            }
        }
        count
    }

    fn leaf(&self, at: usize) -> &[u32] {
        &self.order[at * LEAF..((at + 1) * LEAF).min(self.order.len())]
    }

    /// All facets whose boxes are within `radius` of a point, and few others.
    pub(super) fn near(&self, point: Corner, radius: f64, mut visit: impl FnMut(&Facet)) {
        let mut open = vec![(self.levels.len() - 1, 0_usize)];
        while let Some((level, at)) = open.pop() {
            let is_near = |bounds: &Bounds| bounds.distance_squared(point) <= radius * radius;
            if !self.levels[level].get(at).is_some_and(is_near) {
                continue;
            }
            if level > 0 {
                let below = at * FAN..((at + 1) * FAN).min(self.levels[level - 1].len());
                open.extend(below.map(|child| (level - 1, child)));
                continue;
            }
            for &facet in self.leaf(at) {
                visit(&self.facets[facet as usize]);
            }
        }
    }

    /// The side of a facet to which it is turned, of length 1.
    pub(super) fn turned(&self, facet: usize) -> Corner {
        crate::mesh::space::unit(normal(self.facets[facet].corners))
    }
}

fn ray(from: Corner, way: Corner) -> Ray {
    Ray {
        from,
        way,
        inverse: way.map(|number| 1.0 / number),
    }
}

/// The facets in the order of their middles along a Morton curve.
fn along_the_curve(facets: &[Facet]) -> Vec<u32> {
    const CELLS: f64 = 2_097_151.0;
    let bounds = Bounds::around(facets);
    let scale = bounds
        .size()
        .map(|extent| if extent > 0.0 { CELLS / extent } else { 0.0 });
    let key = |(at, facet): (usize, &Facet)| {
        let middle = less(middle(facet.corners), bounds.low);
        let cell = [0, 1, 2].map(|axis| spread((middle[axis] * scale[axis]).max(0.0) as u64));
        (cell[0] | cell[1] << 1 | cell[2] << 2, at as u32)
    };
    let mut keys: Vec<_> = facets
        .par_iter()
        .enumerate()
        .with_min_len(4096)
        .map(key)
        .collect();
    keys.par_sort_unstable();
    keys.into_iter().map(|(_, at)| at).collect()
}

/// Twenty-one bits, two zeros between each.
fn spread(cell: u64) -> u64 {
    let mut bits = cell & 0x1f_ffff;
    bits = (bits | bits << 32) & 0x001f_0000_0000_ffff;
    bits = (bits | bits << 16) & 0x001f_0000_ff00_00ff;
    bits = (bits | bits << 8) & 0x100f_00f0_0f00_f00f;
    bits = (bits | bits << 4) & 0x10c3_0c30_c30c_30c3;
    (bits | bits << 2) & 0x1249_2492_4924_9249
}
