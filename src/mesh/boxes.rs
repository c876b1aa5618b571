//! A tree of boxes: which of many things are near to a place.

use super::Corner;

/// The corners of a box with the lowest and the highest x, y, z.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounds {
    pub(super) low: Corner,
    pub(super) high: Corner,
}

impl Bounds {
    /// Around nothing.
    const NONE: Self = Self {
        low: [f64::INFINITY; 3],
        high: [f64::NEG_INFINITY; 3],
    };

    /// Around points.
    pub(super) fn of(points: &[Corner]) -> Self {
        let point = |point: &Corner| Self {
            low: *point,
            high: *point,
        };
        points.iter().map(point).fold(Self::NONE, Self::and)
    }

    fn and(self, other: Self) -> Self {
        let mut both = self;
        for n in 0..3 {
            both.low[n] = both.low[n].min(other.low[n]);
            both.high[n] = both.high[n].max(other.high[n]);
        }
        both
    }

    /// Wider by a length on every side.
    pub(super) fn wider(self, by: f64) -> Self {
        Self {
            low: self.low.map(|n| n - by),
            high: self.high.map(|n| n + by),
        }
    }

    /// The least distance between points of two boxes.
    pub(super) fn distance(&self, other: &Self) -> f64 {
        let gap = |n: usize| {
            let gap = (self.low[n] - other.high[n]).max(other.low[n] - self.high[n]);
            gap.max(0.0).powi(2)
        };
        (gap(0) + gap(1) + gap(2)).sqrt()
    }

    fn widest(&self) -> usize {
        let wide = |n: &usize| self.high[*n] - self.low[*n];
        (0..3)
            .max_by(|a, b| wide(a).total_cmp(&wide(b)))
            .unwrap_or(0)
    }

    /// From corner to corner.
    pub(super) fn diagonal(&self) -> f64 {
        super::space::length(super::space::less(self.high, self.low))
    }
}

/// Things in a tree by their boxes.
#[derive(Debug)]
pub(super) struct BoxTree {
    /// The root first; a node's first child stands right behind it.
    pub(super) nodes: Vec<Node>,
    /// The things, those of a leaf together.
    order: Vec<u32>,
}

/// A part of the tree.
#[derive(Debug)]
pub(super) struct Node {
    pub(super) bounds: Bounds,
    /// The second child; none of a leaf.
    pub(super) second: Option<usize>,
    start: usize,
    end: usize,
}

/// Things in a leaf at most.
const LEAF: usize = 4;

impl BoxTree {
    /// Of the things that have these boxes.
    pub(super) fn new(boxes: &[Bounds]) -> Self {
        let mut tree = Self {
            nodes: Vec::new(),
            order: (0..boxes.len() as u32).collect(),
        };
        if !boxes.is_empty() {
            tree.grow(boxes, 0, boxes.len());
        }
        tree
    }

    fn grow(&mut self, boxes: &[Bounds], start: usize, end: usize) {
        let things = &mut self.order[start..end];
        let each = things.iter().map(|thing| boxes[*thing as usize]);
        let bounds = each.fold(Bounds::NONE, Bounds::and);
        let node = self.nodes.len();
        self.nodes.push(Node {
            bounds,
            second: None,
            start,
            end,
        });
        if end - start <= LEAF {
            return;
        }
        let axis = bounds.widest();
        let middle = |thing: &u32| {
            let of = boxes[*thing as usize];
            of.low[axis] + of.high[axis]
        };
        let half = things.len() / 2;
        things.select_nth_unstable_by(half, |a, b| middle(a).total_cmp(&middle(b)));
        self.grow(boxes, start, start + half);
        self.nodes[node].second = Some(self.nodes.len());
        self.grow(boxes, start + half, end);
    }

    /// The things in a node.
    pub(super) fn things(&self, node: &Node) -> &[u32] {
        &self.order[node.start..node.end]
    }

    /// Calls `found` with each thing of a leaf whose box touches these bounds.
    pub(super) fn touching(&self, bounds: &Bounds, mut found: impl FnMut(u32)) {
        let mut open = vec![0];
        while let Some(at) = open.pop() {
            let Some(node) = self.nodes.get(at) else {
                continue;
            };
            if node.bounds.distance(bounds) > 0.0 {
                continue;
            }
            match node.second {
                Some(second) => open.extend([at + 1, second]),
                None => self.things(node).iter().for_each(|thing| found(*thing)),
            }
        }
    }
}
