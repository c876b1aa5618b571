//! The print's surface as corners that triangles share: where it is sharp, where
//! it ends, how it bends.

use rayon::prelude::*;

use crate::field::panel::Point;
use crate::mesh::space::{cross, dot, length, less, normal, plus, times, unit};

/// No corner, no triangle.
pub(super) const NONE: u32 = u32::MAX;
/// Two triangles at a steeper angle than this (cosine of 35°) meet at an edge
/// that is meant, not at the facets of a round.
const SHARP: f64 = 0.82;
/// A line of edges that turns more than this (cosine of 40°) has a corner.
const TURNED: f64 = 0.77;
/// Corners closer than this share of the print's size are one.
const SAME: f64 = 1e-8;

/// How the surface goes on over an edge of a triangle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Edge {
    /// In a smooth way.
    Smooth,
    /// Sharply, around liquid: current shuns it.
    Concave,
    /// Sharply around the metal, or no further, or masked from there on: the
    /// current crowds there.
    Crowded,
}

/// What a corner is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Corner {
    /// In a smooth part, with the normal there.
    Smooth(Point),
    /// On a sharp line that runs along this direction, between two corners.
    Line(Point, [u32; 2]),
    /// Not to be moved: an end, a tip, where lines meet.
    Fixed,
}

/// The surface.
#[derive(Debug, Clone)]
pub(super) struct Skin {
    pub(super) points: Vec<Point>,
    pub(super) faces: Vec<[u32; 3]>,
    pub(super) live: Vec<bool>,
}

impl Skin {
    /// Triangles with the corners they share; those without area are left out.
    pub(super) fn new(triangles: &[[Point; 3]], masked: &[bool]) -> Self {
        let (points, ids) = welded(triangles);
        let mut faces = Vec::with_capacity(triangles.len());
        let mut live = Vec::with_capacity(triangles.len());
        for (face, masked) in ids.into_iter().zip(masked) {
            let [a, b, c] = face;
            if a != b && b != c && c != a {
                faces.push(face);
                live.push(!masked);
            }
        }
        let mut skin = Self {
            points,
            faces,
            live,
        };
        super::joints::closed(&mut skin);
        skin
    }

    pub(super) fn corners(&self, face: usize) -> [Point; 3] {
        self.faces[face].map(|corner| self.points[corner as usize])
    }
}

/// The faces around each corner.
#[derive(Debug)]
pub(super) struct Stars {
    first: Vec<u32>,
    faces: Vec<u32>,
}

impl Stars {
    /// Of the faces that are (those that are gone have [`NONE`] as corner).
    pub(super) fn new(count: usize, faces: &[[u32; 3]]) -> Self {
        let mut first = vec![0_u32; count + 1];
        let there = || faces.iter().enumerate().filter(|(_, face)| face[0] != NONE);
        for (_, face) in there() {
            for corner in face {
                first[*corner as usize + 1] += 1;
            }
        }
        for k in 0..count {
            first[k + 1] += first[k];
        }
        let mut next = first.clone();
        let mut around = vec![0; first[count] as usize];
        for (k, face) in there() {
            for corner in face {
                let at = &mut next[*corner as usize];
                around[*at as usize] = k as u32;
                *at += 1;
            }
        }
        Self {
            first,
            faces: around,
        }
    }

    pub(super) fn around(&self, corner: u32) -> &[u32] {
        let k = corner as usize;
        &self.faces[self.first[k] as usize..self.first[k + 1] as usize]
    }

    /// The face on the other side of the edge from `a` to `b` of `face`, if it is
    /// the only one there and turned alike.
    pub(super) fn beyond(&self, faces: &[[u32; 3]], face: u32, a: u32, b: u32) -> Option<u32> {
        let mut found = None;
        for other in self.around(a) {
            let corners = faces[*other as usize];
            if *other == face || !corners.contains(&b) {
                continue;
            }
            if found.is_some() {
                return None;
            }
            let back = (0..3).any(|k| corners[k] == b && corners[(k + 1) % 3] == a);
            found = back.then_some(*other);
            if !back {
                return None;
            }
        }
        found
    }
}

/// The corners without repetition, and the three of each triangle.
fn welded(triangles: &[[Point; 3]]) -> (Vec<Point>, Vec<[u32; 3]>) {
    let (low, high) = super::boxes::around(triangles);
    let span = length(less(high, low)).max(f64::MIN_POSITIVE);
    let per = 1.0 / (SAME * span);
    let key = |at: Point| [0, 1, 2].map(|k| ((at[k] - low[k]) * per).round() as i64);
    let size = (triangles.len() * 2).next_power_of_two().max(16);
    let mut table = vec![NONE; size];
    let (mut points, mut keys): (Vec<Point>, Vec<[i64; 3]>) = (Vec::new(), Vec::new());
    let mut id = |at: Point| {
        let key = key(at);
        let mut slot = scattered(key) as usize & (size - 1);
        loop {
            let there = table[slot];
            if there == NONE {
                table[slot] = points.len() as u32;
                points.push(at);
                keys.push(key);
                return table[slot];
            }
            if keys[there as usize] == key {
                return there;
            }
            slot = (slot + 1) & (size - 1);
        }
    };
    let ids = triangles
        .iter()
        .map(|corners| corners.map(&mut id))
        .collect();
    (points, ids)
}

/// A number that looks random, the same for the same key.
pub(super) fn scattered(key: [i64; 3]) -> u64 {
    let mut mixed = 0_u64;
    for part in key {
        mixed = (mixed ^ part as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        mixed ^= mixed >> 29;
    }
    mixed
}

/// What the corners and edges of a skin are.
#[derive(Debug)]
pub(super) struct Shape {
    pub(super) corners: Vec<Corner>,
    /// Of each face, the edge from its first to its second corner and so on.
    pub(super) edges: Vec<[Edge; 3]>,
    /// Of each corner: how the surface bends there, 1/m; twice the mean
    /// curvature, positive around the metal.
    pub(super) bend: Vec<f64>,
}

impl Shape {
    pub(super) fn new(skin: &Skin) -> Self {
        let stars = Stars::new(skin.points.len(), &skin.faces);
        let normals: Vec<Point> = (0..skin.faces.len())
            .into_par_iter()
            .map(|face| normal(skin.corners(face)))
            .collect();
        let seen = Seen {
            skin,
            stars: &stars,
            normals: &normals,
        };
        let (edges, turns): (Vec<_>, Vec<_>) = (0..skin.faces.len())
            .into_par_iter()
            .map(|face| seen.edges(face))
            .unzip();
        let (corners, bend) = (0..skin.points.len() as u32)
            .into_par_iter()
            .map(|corner| seen.corner(corner, &edges, &turns))
            .unzip();
        Self {
            corners,
            edges,
            bend,
        }
    }
}

struct Seen<'a> {
    skin: &'a Skin,
    stars: &'a Stars,
    /// Twice the area long.
    normals: &'a [Point],
}

impl Seen<'_> {
    /// Each edge of a face, and its angle (radians) times its length where it is
    /// smooth.
    fn edges(&self, face: usize) -> ([Edge; 3], [f64; 3]) {
        let mut edges = [Edge::Crowded; 3];
        let mut turns = [0.0; 3];
        for k in 0..3 {
            let [a, b] = [k, (k + 1) % 3].map(|k| self.skin.faces[face][k]);
            if let Some(beyond) = self
                .stars
                .beyond(&self.skin.faces, face as u32, a, b)
                .map(|beyond| beyond as usize)
                && self.skin.live[beyond] == self.skin.live[face]
            {
                (edges[k], turns[k]) = self.edge(face, beyond, [a, b]);
            }
        }
        (edges, turns)
    }

    fn edge(&self, face: usize, beyond: usize, ends: [u32; 2]) -> (Edge, f64) {
        let [one, other] = [self.normals[face], self.normals[beyond]];
        let along = less(self.at(ends[1]), self.at(ends[0]));
        let across = cross(one, other);
        let scale = length(one) * length(other);
        let cos = dot(one, other) / scale.max(f64::MIN_POSITIVE);
        let convex = dot(across, along) > 0.0;
        if scale > 0.0 && cos < SHARP {
            return (if convex { Edge::Crowded } else { Edge::Concave }, 0.0);
        }
        let angle = (length(across) / scale.max(f64::MIN_POSITIVE))
            .min(1.0)
            .asin();
        let signed = if convex { angle } else { -angle };
        (Edge::Smooth, signed * length(along))
    }

    fn at(&self, corner: u32) -> Point {
        self.skin.points[corner as usize]
    }

    fn corner(&self, corner: u32, edges: &[[Edge; 3]], turns: &[[f64; 3]]) -> (Corner, f64) {
        let mut sum = [0.0; 3];
        let (mut turn, mut area) = (0.0, 0.0);
        let mut line = Ends::default();
        for face in self.stars.around(corner) {
            let face = *face as usize;
            let ids = self.skin.faces[face];
            sum = plus(sum, self.normals[face]);
            area += length(self.normals[face]) / 6.0;
            for k in 0..3 {
                let next = (k + 1) % 3;
                if ids[k] == corner || ids[next] == corner {
                    turn += turns[face][k];
                    if edges[face][k] != Edge::Smooth {
                        line.add(if ids[k] == corner { ids[next] } else { ids[k] });
                    }
                }
            }
        }
        // Each edge is met from both its faces, and belongs to both its ends:
        // the mean curvature is half the angles times lengths over the area
        // (Steiner; textbook geometry, from memory).
        let bend = 0.25 * turn / area.max(f64::MIN_POSITIVE);
        (self.kind(corner, unit(sum), &line), bend)
    }

    fn kind(&self, corner: u32, upright: Point, line: &Ends) -> Corner {
        let steep = |face: &u32| {
            let normal = self.normals[*face as usize];
            dot(normal, upright) < TURNED * length(normal)
        };
        match (line.count, line.two) {
            (0, _) if !self.stars.around(corner).iter().any(steep) => Corner::Smooth(upright),
            (2, [a, b]) => {
                let [from, to] = [
                    less(self.at(corner), self.at(a)),
                    less(self.at(b), self.at(corner)),
                ];
                if dot(unit(from), unit(to)) < TURNED {
                    Corner::Fixed
                } else {
                    Corner::Line(unit(less(self.at(b), self.at(a))), [a, b])
                }
            }
            _ => Corner::Fixed,
        }
    }
}

/// The other ends of the sharp edges at a corner.
#[derive(Default)]
struct Ends {
    two: [u32; 2],
    count: usize,
}

impl Ends {
    fn add(&mut self, other: u32) {
        let known = self.two[..self.count.min(2)].contains(&other);
        if !known {
            if self.count < 2 {
                self.two[self.count] = other;
            }
            self.count += 1;
        }
    }
}

/// The middle between two places.
pub(super) fn half(a: Point, b: Point) -> Point {
    times(plus(a, b), 0.5)
}
