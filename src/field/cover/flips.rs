//! The other diagonal of two triangles in one plane, where it makes them better.

use super::coarser::evenness;
use super::skin::{Corner, NONE, Skin, Stars};
use crate::field::panel::Point;
use crate::mesh::space::{dot, length, normal};

/// Triangles better than this stay as they are.
const GOOD: f64 = 0.6;
/// How far two triangles may be from one plane, as cosine (8°).
const FLAT: f64 = 0.99;
const PASSES: usize = 4;

/// Flips diagonals between bad triangles.
pub(super) fn flip(skin: &mut Skin, corners: &[Corner]) {
    for _ in 0..PASSES {
        let stars = Stars::new(skin.points.len(), &skin.faces);
        let mut done = vec![false; skin.faces.len()];
        let mut count = 0;
        for face in 0..skin.faces.len() as u32 {
            if skin.faces[face as usize][0] == NONE || done[face as usize] {
                continue;
            }
            if let Some(other) = flip_one(skin, corners, &stars, &done, face) {
                done[face as usize] = true;
                done[other as usize] = true;
                count += 1;
            }
        }
        if count == 0 {
            return;
        }
    }
}

/// Flips the best edge of a face; the face beyond it.
fn flip_one(
    skin: &mut Skin,
    corners: &[Corner],
    stars: &Stars,
    done: &[bool],
    face: u32,
) -> Option<u32> {
    let ids = skin.faces[face as usize];
    let old = shape(skin, ids);
    if old.0 > GOOD {
        return None;
    }
    for k in 0..3 {
        let [a, b, c] = [k, (k + 1) % 3, (k + 2) % 3].map(|k| ids[k]);
        let Some(other) = stars.beyond(&skin.faces, face, a, b) else {
            continue;
        };
        let o = other as usize;
        if done[o] || skin.live[o] != skin.live[face as usize] || on_line(corners, a, b) {
            continue;
        }
        let Some(d) = skin.faces[o].into_iter().find(|id| *id != a && *id != b) else {
            continue;
        };
        let beyond = shape(skin, skin.faces[o]);
        let new = [[a, d, c], [d, b, c]];
        let shapes = new.map(|ids| shape(skin, ids));
        let flat = shapes
            .iter()
            .all(|one| dot(one.1, old.1) > FLAT && dot(one.1, beyond.1) > FLAT);
        let better = shapes[0].0.min(shapes[1].0) > 1.15 * old.0.min(beyond.0);
        // An edge between c and d that is there already would be there twice.
        let twice = stars.around(c).iter().any(|f| {
            let ids = skin.faces[*f as usize];
            ids.contains(&c) && ids.contains(&d)
        });
        if flat && better && !twice && c != d {
            skin.faces[face as usize] = new[0];
            skin.faces[o] = new[1];
            return Some(other);
        }
    }
    None
}

/// Whether a sharp line runs along the edge.
fn on_line(corners: &[Corner], a: u32, b: u32) -> bool {
    let leads = |from: u32, to: u32| matches!(corners[from as usize], Corner::Line(_, ends) if ends.contains(&to));
    leads(a, b) || leads(b, a)
}

/// Evenness and direction.
fn shape(skin: &Skin, ids: [u32; 3]) -> (f64, Point) {
    let corners = ids.map(|id| skin.points[id as usize]);
    let upright = normal(corners);
    let twice = length(upright);
    let way = upright.map(|c| c / twice.max(f64::MIN_POSITIVE));
    (evenness(corners, twice), way)
}
