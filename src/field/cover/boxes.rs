//! Which of many things lie near: their boxes in a tree.

use crate::field::panel::Point;

/// The low and the high corner of a box, m.
pub(super) type Bounds = (Point, Point);

const LEAF: usize = 4;

/// The box around these triangles.
pub(super) fn around(triangles: &[[Point; 3]]) -> Bounds {
    bounds(triangles.iter().flatten())
}

/// The box around these places.
pub(super) fn bounds<'a>(places: impl Iterator<Item = &'a Point>) -> Bounds {
    places.fold(
        ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]),
        |(low, high), at| joined((low, high), (*at, *at)),
    )
}

fn joined(a: Bounds, b: Bounds) -> Bounds {
    (
        [0, 1, 2].map(|k| a.0[k].min(b.0[k])),
        [0, 1, 2].map(|k| a.1[k].max(b.1[k])),
    )
}

/// Boxes in a tree.
#[derive(Debug)]
pub(super) struct Boxes {
    nodes: Vec<Node>,
    of_things: Vec<Bounds>,
    order: Vec<u32>,
}

#[derive(Debug)]
struct Node {
    bounds: Bounds,
    /// The node to go on with where this one is not met.
    skip: u32,
    /// Its things, of a leaf.
    things: (u32, u32),
}

impl Boxes {
    pub(super) fn new(boxes: Vec<Bounds>) -> Self {
        let mut tree = Self {
            nodes: Vec::with_capacity(boxes.len()),
            order: (0..boxes.len() as u32).collect(),
            of_things: boxes,
        };
        if !tree.order.is_empty() {
            tree.grow(0, tree.order.len());
        }
        tree.of_things = tree
            .order
            .iter()
            .map(|k| tree.of_things[*k as usize])
            .collect();
        tree
    }

    fn grow(&mut self, from: usize, to: usize) {
        let things = &mut self.order[from..to];
        let bounds = things
            .iter()
            .map(|k| self.of_things[*k as usize])
            .reduce(joined)
            .unwrap_or_default();
        let at = self.nodes.len();
        let leaf = to - from <= LEAF;
        self.nodes.push(Node {
            bounds,
            skip: 0,
            things: if leaf {
                (from as u32, to as u32)
            } else {
                (0, 0)
            },
        });
        if !leaf {
            let span = |k: usize| bounds.1[k] - bounds.0[k];
            let axis = (0..3)
                .max_by(|a, b| span(*a).total_cmp(&span(*b)))
                .unwrap_or(0);
            let boxes = &self.of_things;
            let middle = |k: u32| boxes[k as usize].0[axis] + boxes[k as usize].1[axis];
            let half = things.len().div_euclid(2);
            things.select_nth_unstable_by(half, |a, b| middle(*a).total_cmp(&middle(*b)));
            self.grow(from, from + half);
            self.grow(from + half, to);
        }
        self.nodes[at].skip = self.nodes.len() as u32;
    }

    /// Tells each thing whose box meets this one.
    pub(super) fn meeting(&self, (low, high): Bounds, mut found: impl FnMut(u32)) {
        let meet = |other: &Bounds| (0..3).all(|k| other.0[k] <= high[k] && other.1[k] >= low[k]);
        let mut at = 0;
        while let Some(node) = self.nodes.get(at) {
            if !meet(&node.bounds) {
                at = node.skip as usize;
                continue;
            }
            for k in node.things.0 as usize..node.things.1 as usize {
                if meet(&self.of_things[k]) {
                    found(self.order[k]);
                }
            }
            at += 1;
        }
    }
}
