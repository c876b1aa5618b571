//! More triangles: the one that is largest for its place is halved, again and
//! again.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use rayon::prelude::*;

use super::coarser::Coarse;
use super::sizes::Sizes;
use super::skin::half;
use crate::field::panel::Point;
use crate::mesh::space::{length, less, middle};
use crate::units::{Stopped, Watch, go_on};

/// A triangle this many times too long is halved even where there are enough.
const TOO_LONG: f64 = 2.2;
/// But no more than this many times what was wanted.
const MOST: f64 = 1.2;

/// A triangle of the cover.
#[derive(Debug, Clone, Copy)]
pub(super) struct Facet {
    pub(super) corners: [Point; 3],
    pub(super) live: bool,
    /// The sizes at its corners by how the surface bends, m.
    bent: [f64; 3],
    /// Its longest edge over the size there.
    long: f64,
}

impl Facet {
    fn new(corners: [Point; 3], live: bool, bent: [f64; 3], sizes: &Sizes) -> Self {
        let size = sizes
            .sharp(middle(corners))
            .min((bent[0] + bent[1] + bent[2]) / 3.0);
        let long = (0..3).map(|k| edge(corners, k)).fold(0.0, f64::max) / size;
        Self {
            corners,
            live,
            bent,
            long,
        }
    }

    /// Both halves of it, parted at the middle of the longest edge.
    fn halved(&self, sizes: &Sizes) -> [Self; 2] {
        let k = (0..3)
            .max_by(|a, b| edge(self.corners, *a).total_cmp(&edge(self.corners, *b)))
            .unwrap_or(0);
        let next = (k + 1) % 3;
        let parted = half(self.corners[k], self.corners[next]);
        let bent = f64::midpoint(self.bent[k], self.bent[next]);
        let part = |from: usize| {
            let (mut corners, mut sizes_there) = (self.corners, self.bent);
            corners[from] = parted;
            sizes_there[from] = bent;
            Self::new(corners, self.live, sizes_there, sizes)
        };
        [part(next), part(k)]
    }
}

fn edge(corners: [Point; 3], k: usize) -> f64 {
    length(less(corners[(k + 1) % 3], corners[k]))
}

/// By how much too long they are.
struct Worst(Facet);

impl PartialEq for Worst {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Worst {}

impl PartialOrd for Worst {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Worst {
    fn cmp(&self, other: &Self) -> Ordering {
        self.0.long.total_cmp(&other.0.long)
    }
}

/// The faces as facets, halved until there are as many as wanted.
///
/// # Errors
/// [`Stopped`] as asked.
pub(super) fn finer(
    coarse: &Coarse,
    sizes: &Sizes,
    wanted: usize,
    watch: &dyn Watch,
) -> Result<Vec<Facet>, Stopped> {
    let skin = &coarse.skin;
    let facets: Vec<Worst> = (0..skin.faces.len())
        .into_par_iter()
        .map(|face| {
            let bent = skin.faces[face].map(|corner| coarse.bent[corner as usize]);
            Worst(Facet::new(skin.corners(face), skin.live[face], bent, sizes))
        })
        .collect();
    let mut heap = BinaryHeap::from(facets);
    let most = (MOST * wanted as f64) as usize;
    while let Some(worst) = heap.peek() {
        let enough = heap.len() >= wanted && worst.0.long < TOO_LONG;
        if enough || heap.len() >= most || worst.0.long <= 0.0 {
            break;
        }
        if heap.len() % 4096 == 0 {
            go_on(watch, "making panels", 0.6)?;
        }
        let halves = worst.0.halved(sizes);
        heap.pop();
        heap.extend(halves.map(Worst));
    }
    Ok(heap.into_iter().map(|worst| worst.0).collect())
}
