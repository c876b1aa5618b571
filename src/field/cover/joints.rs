//! Where a corner of one triangle lies on the edge of another (a T-junction),
//! the other is split there, so that the surface goes on over the edge.

use rayon::prelude::*;

use super::boxes::{Boxes, bounds};
use super::skin::{Skin, Stars};
use crate::field::panel::Point;
use crate::mesh::space::{dot, length, less, plus, times};

/// A corner this close to an edge lies on it, as a share of the print's size.
const ON: f64 = 2e-7;

/// Splits the triangles that have corners of others on their edges.
pub(super) fn closed(skin: &mut Skin) {
    let ends = ends(skin);
    if ends.is_empty() {
        return;
    }
    let mut corners: Vec<u32> = ends
        .iter()
        .flat_map(|(face, k)| edge(skin, *face, *k))
        .collect();
    corners.sort_unstable();
    corners.dedup();
    let at = |corner: &u32| skin.points[*corner as usize];
    let tree = Boxes::new(
        corners
            .iter()
            .map(|corner| (at(corner), at(corner)))
            .collect(),
    );
    let (low, high) = bounds(skin.points.iter());
    let near = ON * length(less(high, low));
    let splits: Vec<_> = ends
        .par_iter()
        .map(|(face, k)| {
            let ids = edge(skin, *face, *k);
            (*face, ids, on_edge(skin, &tree, &corners, ids, near))
        })
        .filter(|(.., between)| !between.is_empty())
        .collect();
    split(skin, &splits);
}

/// The edges where the surface does not go on: face and number of the edge.
fn ends(skin: &Skin) -> Vec<(u32, usize)> {
    let stars = Stars::new(skin.points.len(), &skin.faces);
    (0..skin.faces.len() as u32)
        .into_par_iter()
        .flat_map_iter(|face| {
            let (skin, stars) = (&*skin, &stars);
            (0..3).filter_map(move |k| {
                let [a, b] = edge(skin, face, k);
                let goes_on = stars.beyond(&skin.faces, face, a, b).is_some();
                (!goes_on).then_some((face, k))
            })
        })
        .collect()
}

fn edge(skin: &Skin, face: u32, k: usize) -> [u32; 2] {
    let face = skin.faces[face as usize];
    [face[k], face[(k + 1) % 3]]
}

/// The corners on an edge, from its first end on.
fn on_edge(skin: &Skin, tree: &Boxes, corners: &[u32], ids: [u32; 2], near: f64) -> Vec<u32> {
    let [from, to] = ids.map(|id| skin.points[id as usize]);
    let along = less(to, from);
    let long = length(along);
    let mut found: Vec<(f64, u32)> = Vec::new();
    let (low, high) = bounds([from, to].iter());
    let wide = |at: Point, by: f64| at.map(|c| c + by);
    tree.meeting((wide(low, -near), wide(high, near)), |k| {
        let corner = corners[k as usize];
        let at = skin.points[corner as usize];
        let share = dot(less(at, from), along) / (long * long).max(f64::MIN_POSITIVE);
        let aside = length(less(at, plus(from, times(along, share))));
        let inside = share * long > near && (1.0 - share) * long > near;
        if inside && aside <= near && !ids.contains(&corner) {
            found.push((share, corner));
        }
    });
    found.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    found.into_iter().map(|(_, corner)| corner).collect()
}

fn split(skin: &mut Skin, splits: &[(u32, [u32; 2], Vec<u32>)]) {
    let mut done = 0;
    while done < splits.len() {
        let face = splits[done].0;
        let of_face = splits[done..].iter().take_while(|(of, ..)| *of == face);
        let mut parts = vec![skin.faces[face as usize]];
        for (_, ends, between) in of_face {
            fan(&mut parts, *ends, between);
            done += 1;
        }
        skin.faces[face as usize] = parts[0];
        skin.live.extend(std::iter::repeat_n(
            skin.live[face as usize],
            parts.len() - 1,
        ));
        skin.faces.extend_from_slice(&parts[1..]);
    }
}

/// Splits the part with that edge at the corners on it.
fn fan(parts: &mut Vec<[u32; 3]>, [from, to]: [u32; 2], between: &[u32]) {
    let with = |part: &[u32; 3]| (0..3).find(|k| part[*k] == from && part[(k + 1) % 3] == to);
    let Some((k, turn)) = parts
        .iter()
        .enumerate()
        .find_map(|(k, part)| with(part).map(|turn| (k, turn)))
    else {
        return;
    };
    let top = parts[k][(turn + 2) % 3];
    if between.contains(&top) {
        return;
    }
    let mut last = from;
    for (number, next) in between.iter().chain([&to]).enumerate() {
        let part = [last, *next, top];
        if number == 0 {
            parts[k] = part;
        } else {
            parts.push(part);
        }
        last = *next;
    }
}
