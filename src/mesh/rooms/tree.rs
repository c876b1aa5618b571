//! A tree of boxes: what lies near a point or a box is found without looking
//! at the rest.

use super::super::Corner;

/// An upright box in mm, or of unit normals. Single precision, so what is made
/// of [`Corner`]s may be off by a rounding.
#[derive(Debug, Clone, Copy)]
pub(super) struct Span {
    pub(super) low: [f32; 3],
    pub(super) high: [f32; 3],
}

impl Span {
    pub(super) const EMPTY: Self = Self {
        low: [f32::INFINITY; 3],
        high: [f32::NEG_INFINITY; 3],
    };

    pub(super) fn of(points: &[Corner]) -> Self {
        let around = |span: Self, point: &Corner| span.with(point.map(|number| number as f32));
        points.iter().fold(Self::EMPTY, around)
    }

    pub(super) fn with(self, point: [f32; 3]) -> Self {
        self.join(Self {
            low: point,
            high: point,
        })
    }

    pub(super) fn join(mut self, other: Self) -> Self {
        for axis in 0..3 {
            self.low[axis] = self.low[axis].min(other.low[axis]);
            self.high[axis] = self.high[axis].max(other.high[axis]);
        }
        self
    }

    pub(super) fn around(centre: Corner, half: f64) -> Self {
        Self {
            low: centre.map(|number| (number - half) as f32),
            high: centre.map(|number| (number + half) as f32),
        }
    }

    /// The square of the distance between the closest points of the two.
    pub(super) fn gap_squared(&self, other: &Self) -> f32 {
        let gap = |axis: usize| {
            let apart = (self.low[axis] - other.high[axis]).max(other.low[axis] - self.high[axis]);
            apart.max(0.0)
        };
        let [x, y, z] = [gap(0), gap(1), gap(2)];
        x * x + y * y + z * z
    }

    pub(super) fn size(&self) -> [f64; 3] {
        [0, 1, 2].map(|axis| f64::from(self.high[axis]) - f64::from(self.low[axis]))
    }

    pub(super) fn longest_mm(&self) -> f64 {
        self.size().into_iter().fold(0.0, f64::max)
    }

    fn longest(&self) -> usize {
        let width = |axis: usize| self.high[axis] - self.low[axis];
        (1..3).fold(0, |best, axis| {
            if width(axis) > width(best) {
                axis
            } else {
                best
            }
        })
    }

    pub(super) fn middle(&self) -> Corner {
        [0, 1, 2].map(|axis| f64::from(self.doubled_middle(axis)) / 2.0)
    }

    fn doubled_middle(&self, axis: usize) -> f32 {
        self.low[axis] + self.high[axis]
    }
}

/// What a tree holds, and what it knows of a branch.
pub(super) trait Branch: Copy + Send + Sync {
    fn span(&self) -> &Span;
    fn join(self, other: Self) -> Self;
}

impl Branch for Span {
    fn span(&self) -> &Span {
        self
    }

    fn join(self, other: Self) -> Self {
        Self::join(self, other)
    }
}

/// A balanced tree: the children of branch i are 2 i and 2 i + 1, its items a
/// share of all that follows from i alone.
#[derive(Debug)]
pub(super) struct Tree<B> {
    /// Which item is where in the order of the leaves.
    pub(super) order: Vec<u32>,
    /// The items in that order.
    pub(super) items: Vec<B>,
    branches: Vec<B>,
    shares: Shares,
}

/// So many items or fewer are not parted further.
const LEAF: usize = 4;

impl<B: Branch> Tree<B> {
    /// None without items.
    pub(super) fn of(items: &[B]) -> Option<Self> {
        let any = *items.first()?;
        let leaves = items.len().div_ceil(LEAF).next_power_of_two();
        let shares = Shares {
            items: items.len(),
            leaves,
        };
        let mut order: Vec<u32> = (0..items.len() as u32).collect();
        shares.part(items, &mut order, 0, leaves);
        let items: Vec<B> = order.iter().map(|&item| items[item as usize]).collect();
        let mut branches = vec![any; 2 * leaves];
        for leaf in 0..leaves {
            let held = &items[shares.start(leaf)..shares.start(leaf + 1)];
            let joined = held.iter().copied().reduce(B::join);
            branches[leaves + leaf] = joined.unwrap_or(any);
        }
        for branch in (1..leaves).rev() {
            branches[branch] = branches[2 * branch].join(branches[2 * branch + 1]);
        }
        Some(Self {
            order,
            items,
            branches,
            shares,
        })
    }

    /// All that the tree holds.
    pub(super) fn whole(&self) -> &B {
        &self.branches[1]
    }

    pub(super) fn branch(&self, branch: usize) -> &B {
        &self.branches[branch]
    }

    /// About so many branches that hold all there is together.
    pub(super) fn branches_at(&self, count: usize) -> std::ops::Range<usize> {
        let first = count.next_power_of_two().min(self.shares.leaves);
        first..2 * first
    }

    /// The two branches of a branch, or else the places of its items.
    pub(super) fn children(&self, branch: usize) -> Result<[usize; 2], std::ops::Range<usize>> {
        match branch.checked_sub(self.shares.leaves) {
            Some(leaf) => Err(self.shares.start(leaf)..self.shares.start(leaf + 1)),
            None => Ok([2 * branch, 2 * branch + 1]),
        }
    }

    /// Whether the box of any item touches this one.
    pub(super) fn touches(&self, span: &Span) -> bool {
        let mut found = false;
        self.visit(
            &mut found,
            |found, branch| (!found && span.gap_squared(branch.span()) <= 0.0).then_some(0.0),
            |found, _| !found,
            |found, place| *found |= span.gap_squared(self.items[place].span()) <= 0.0,
        );
        found
    }

    /// Visits the items, nearest branches first, as far as `worth` lets in: it
    /// ranks a branch by how soon it is to be looked at, if at all. `still`
    /// says of a rank whether by now it is in vain.
    pub(super) fn visit<S>(
        &self,
        state: &mut S,
        worth: impl Fn(&S, &B) -> Option<f32>,
        still: impl Fn(&S, f32) -> bool,
        mut item: impl FnMut(&mut S, usize),
    ) {
        let mut stack = [(0usize, 0f32); 64];
        let mut filled = 0;
        if let Some(rank) = worth(state, &self.branches[1]) {
            stack[0] = (1, rank);
            filled = 1;
        }
        while filled > 0 {
            filled -= 1;
            let (branch, rank) = stack[filled];
            if !still(state, rank) {
                continue;
            }
            let children = match self.children(branch) {
                Ok(children) => children,
                Err(places) => {
                    places.for_each(|place| item(state, place));
                    continue;
                }
            };
            let [left, right] =
                children.map(|child| worth(state, &self.branches[child]).map(|rank| (child, rank)));
            let (first, then) = match (left, right) {
                (Some(left), Some(right)) if left.1 <= right.1 => (Some(left), Some(right)),
                _ => (right, left),
            };
            for child in [then, first].into_iter().flatten() {
                stack[filled] = child;
                filled += 1;
            }
        }
    }
}

/// How the items are dealt out to the leaves: evenly, in their order.
#[derive(Debug)]
struct Shares {
    items: usize,
    leaves: usize,
}

impl Shares {
    fn start(&self, leaf: usize) -> usize {
        leaf * self.items / self.leaves
    }

    /// Orders the items of the leaves from `from` to `to` so that each half
    /// lies on its side of their longest way.
    fn part<B: Branch>(&self, items: &[B], order: &mut [u32], from: usize, to: usize) {
        if to - from <= 1 || order.len() <= 1 {
            return;
        }
        let place = |item: u32, axis: usize| items[item as usize].span().doubled_middle(axis);
        let middles = order.iter().fold(Span::EMPTY, |span, &item| {
            span.with([0, 1, 2].map(|axis| place(item, axis)))
        });
        let axis = middles.longest();
        let half = from.midpoint(to);
        let low = self.start(half) - self.start(from);
        if low < order.len() {
            order.select_nth_unstable_by(low, |&a, &b| {
                place(a, axis).total_cmp(&place(b, axis)).then(a.cmp(&b))
            });
        }
        let (low, high) = order.split_at_mut(low);
        rayon::join(
            || self.part(items, low, from, half),
            || self.part(items, high, half, to),
        );
    }
}
