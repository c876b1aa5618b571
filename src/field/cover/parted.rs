//! Needles parted across: a fan or a strip of long triangles, as drawing programs
//! make them, gets corners along its edges, so that its width can grow where
//! edges are drawn together.

use rayon::prelude::*;

use super::coarser::evenness;
use super::sizes::Sizes;
use super::skin::{Skin, half};
use crate::mesh::space::{length, less, normal};

/// Triangles less even than this are needles.
const NEEDLE: f64 = 0.5;
/// An edge is parted that is longer than this times the size there, and than this
/// share of the longest of its triangle.
const LONG: [f64; 2] = [1.4, 0.6];
const MOST_TURNS: usize = 16;

/// Halves the long edges of needles, again and again; whether there were any.
pub(super) fn parted(skin: &mut Skin, sizes: &mut Sizes, wanted: usize) -> bool {
    let most = skin.faces.len() + 3 * wanted;
    let mut any = false;
    for _ in 0..MOST_TURNS {
        let edges = long_edges(skin, sizes);
        if edges.is_empty() || skin.faces.len() > most {
            break;
        }
        halve(skin, sizes, &edges);
        any = true;
    }
    any
}

/// The ends of those edges, the lower first, in order.
fn long_edges(skin: &Skin, sizes: &Sizes) -> Vec<[u32; 2]> {
    let mut edges: Vec<[u32; 2]> = (0..skin.faces.len())
        .into_par_iter()
        .flat_map_iter(|face| {
            let corners = skin.corners(face);
            let lengths = [0, 1, 2].map(|k| length(less(corners[(k + 1) % 3], corners[k])));
            let longest = lengths.into_iter().fold(0.0, f64::max);
            let needle = evenness(corners, length(normal(corners))) < NEEDLE;
            let ids = skin.faces[face];
            let long = move |k: &usize| {
                let ends = [ids[*k], ids[(*k + 1) % 3]];
                needle
                    && lengths[*k] > LONG[1] * longest
                    && lengths[*k] > LONG[0] * size(skin, sizes, ends)
            };
            (0..3)
                .filter(long)
                .map(move |k| key(ids[k], ids[(k + 1) % 3]))
        })
        .collect();
    edges.par_sort_unstable();
    edges.dedup();
    edges
}

/// In the middle of an edge.
fn size(skin: &Skin, sizes: &Sizes, ends: [u32; 2]) -> f64 {
    let [a, b] = ends.map(|id| id as usize);
    let bent = f64::midpoint(sizes.bent[a], sizes.bent[b]);
    sizes.sharp(half(skin.points[a], skin.points[b])).min(bent)
}

fn key(a: u32, b: u32) -> [u32; 2] {
    [a.min(b), a.max(b)]
}

fn halve(skin: &mut Skin, sizes: &mut Sizes, edges: &[[u32; 2]]) {
    let first = skin.points.len();
    for edge in edges {
        let [a, b] = edge.map(|id| id as usize);
        skin.points.push(half(skin.points[a], skin.points[b]));
        sizes.bent.push(f64::midpoint(sizes.bent[a], sizes.bent[b]));
    }
    let parted = |a: u32, b: u32| {
        let place = edges.binary_search(&key(a, b));
        place.ok().map(|place| (first + place) as u32)
    };
    for face in 0..skin.faces.len() {
        let ids = skin.faces[face];
        let middles = [0, 1, 2].map(|k| parted(ids[k], ids[(k + 1) % 3]));
        if middles.iter().all(Option::is_none) {
            continue;
        }
        let parts = parts(skin, ids, middles);
        skin.faces[face] = parts[0];
        skin.faces.extend_from_slice(&parts[1..]);
        let live = skin.live[face];
        skin.live.resize(skin.faces.len(), live);
    }
}

/// A triangle cut at the middles of some of its edges.
fn parts(skin: &Skin, ids: [u32; 3], middles: [Option<u32>; 3]) -> Vec<[u32; 3]> {
    if let [Some(ab), Some(bc), Some(ca)] = middles {
        let [a, b, c] = ids;
        return vec![[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]];
    }
    for k in 0..3 {
        let (next, last) = ((k + 1) % 3, (k + 2) % 3);
        let [a, b, c] = [k, next, last].map(|k| ids[k]);
        match (middles[k], middles[next]) {
            (Some(ab), Some(bc)) => {
                let long =
                    |p: u32, q: u32| length(less(skin.points[p as usize], skin.points[q as usize]));
                return if long(a, bc) < long(ab, c) {
                    vec![[ab, b, bc], [a, ab, bc], [a, bc, c]]
                } else {
                    vec![[ab, b, bc], [a, ab, c], [ab, bc, c]]
                };
            }
            (Some(ab), None) if middles[last].is_none() => {
                return vec![[a, ab, c], [ab, b, c]];
            }
            _ => {}
        }
    }
    vec![ids]
}
