//! Fewer triangles: corners drawn into neighbours where the edges are shorter
//! than wanted.

use super::sizes::Sizes;
use super::skin::{Corner, NONE, Shape, Skin, Stars};
use crate::field::panel::Point;
use crate::mesh::space::{dot, length, less, normal, plus, times, unit};
use crate::units::{Stopped, Watch, go_on};

/// The shares of the wanted length below which edges go, one after the other: the
/// short ones first, for even triangles; the last only where there are still too
/// many.
const ROUNDS: [f64; 9] = [0.3, 0.45, 0.6, 0.7, 0.8, 0.95, 1.1, 1.3, 1.6];
/// So many rounds are held even where there are few enough triangles.
const ALWAYS: usize = 3;
/// How far a triangle may lean against the surface at its corners, as cosine:
/// at first, and where there are too many triangles.
const LEANS: [f64; 3] = [0.85, 0.6, 0.3];
/// And against the triangle it was.
const TURNS: f64 = 0.5;
/// How far a sharp line may lean against what it was at its corners (cosine).
const BENDS: f64 = 0.93;
/// The worst shape that is made of a better one: 4√3 area over the sum of squared
/// edges, 1 for an even triangle.
const WORST: f64 = 0.25;
/// Among bad ones none is made that is worse than the worst by more than this.
const WORSE: f64 = 0.8;
/// The longest edge that is made, over the wanted length.
const LONGEST: f64 = 1.5;

/// What is left of a skin.
#[derive(Debug)]
pub(super) struct Coarse {
    pub(super) skin: Skin,
    /// At each corner, the size there by how the surface bends, m.
    pub(super) bent: Vec<f64>,
}

/// The skin with at most about `wanted` faces, where its shape allows, and no
/// edges much shorter than the sizes.
///
/// # Errors
/// [`Stopped`] as asked.
pub(super) fn coarser(
    skin: Skin,
    shape: Shape,
    sizes: &Sizes,
    wanted: usize,
    watch: &dyn Watch,
) -> Result<Coarse, Stopped> {
    let mut work = Work::new(skin, shape, sizes);
    let rounds = ROUNDS.iter().map(|share| (LEANS[0], *share));
    let harder = LEANS[1..]
        .iter()
        .flat_map(|lean| [1.1, 1.6, 2.3].map(|share| (*lean, share)));
    for (number, (lean, share)) in rounds.chain(harder).enumerate() {
        if number >= ALWAYS && work.count <= wanted {
            break;
        }
        work.lean = lean;
        work.share = share;
        loop {
            go_on(watch, "making panels", 0.2 + 0.03 * number as f64)?;
            let before = work.count;
            work.pass(if number < ALWAYS { 0 } else { wanted });
            if work.count as f64 > 0.97 * before as f64 {
                break;
            }
        }
    }
    super::flips::flip(&mut work.skin, &work.corners);
    Ok(work.finished(sizes))
}

struct Work {
    skin: Skin,
    corners: Vec<Corner>,
    sizes: Vec<f64>,
    /// How many corners each has taken up.
    taken: Vec<u32>,
    gone: Vec<bool>,
    count: usize,
    lean: f64,
    share: f64,
}

/// The faces and neighbours of a corner.
#[derive(Default)]
struct Ring {
    faces: Vec<u32>,
    others: Vec<u32>,
    near: Vec<(f64, u32)>,
}

impl Work {
    fn new(skin: Skin, shape: Shape, sizes: &Sizes) -> Self {
        Self {
            sizes: sizes.at_corners(&skin),
            corners: shape.corners,
            taken: vec![1; skin.points.len()],
            gone: vec![false; skin.points.len()],
            count: skin.faces.len(),
            skin,
            lean: 1.0,
            share: 0.0,
        }
    }

    /// Each corner that may is drawn into a neighbour that nothing else was drawn
    /// into, until `enough` faces are left.
    fn pass(&mut self, enough: usize) {
        let stars = Stars::new(self.skin.points.len(), &self.skin.faces);
        let mut full = vec![false; self.skin.points.len()];
        let mut ring = Ring::default();
        for corner in 0..self.skin.points.len() as u32 {
            let k = corner as usize;
            if self.count <= enough {
                return;
            }
            if self.gone[k] || full[k] || self.corners[k] == Corner::Fixed {
                continue;
            }
            self.gather(&stars, corner, &full, &mut ring);
            for n in 0..ring.near.len().min(3) {
                let into = ring.near[n].1;
                if self.fits(&stars, &ring, corner, into) {
                    self.draw(&ring, corner, into);
                    full[into as usize] = true;
                    break;
                }
            }
        }
    }

    fn gather(&self, stars: &Stars, corner: u32, full: &[bool], ring: &mut Ring) {
        ring.faces.clear();
        ring.others.clear();
        ring.near.clear();
        for face in stars.around(corner) {
            let ids = self.skin.faces[*face as usize];
            if ids[0] == NONE {
                continue;
            }
            ring.faces.push(*face);
            for id in ids {
                if id != corner && !ring.others.contains(&id) {
                    ring.others.push(id);
                }
            }
        }
        let at = self.at(corner);
        let most = self.share * self.sizes[corner as usize];
        for other in &ring.others {
            let k = *other as usize;
            let long = length(less(self.skin.points[k], at));
            if !full[k] && long < most.min(self.share * self.sizes[k]) {
                ring.near.push((long, *other));
            }
        }
        if let Corner::Line(_, ends) = self.corners[corner as usize] {
            ring.near.retain(|(_, other)| ends.contains(other));
        }
        ring.near.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    }

    fn at(&self, corner: u32) -> Point {
        self.skin.points[corner as usize]
    }

    /// Whether the surface stays what it is when `corner` goes into `into`.
    fn fits(&self, stars: &Stars, ring: &Ring, corner: u32, into: u32) -> bool {
        if !self.stays_a_surface(stars, ring, into) || !self.line_fits(corner, into) {
            return false;
        }
        let least = WORST.min(WORSE * self.worst(ring));
        ring.faces
            .iter()
            .all(|face| self.face_fits(*face, corner, into, least))
    }

    /// The evenness of the worst face of a ring.
    fn worst(&self, ring: &Ring) -> f64 {
        let even = |face: &u32| {
            let corners = self.skin.corners(*face as usize);
            evenness(corners, length(normal(corners)))
        };
        ring.faces.iter().map(even).fold(1.0, f64::min)
    }

    /// The neighbours both have must be those of the faces both have.
    fn stays_a_surface(&self, stars: &Stars, ring: &Ring, into: u32) -> bool {
        let ids = |face: u32| self.skin.faces[face as usize];
        let shared = ring.faces.iter().filter(|face| ids(**face).contains(&into));
        let shared = shared.count();
        let mut both: [u32; 3] = [NONE; 3];
        let mut count = 0;
        for face in stars.around(into) {
            for id in ids(*face) {
                let new = id != into && id != NONE && !both[..count].contains(&id);
                if new && ring.others.contains(&id) {
                    if count == 2 {
                        return false;
                    }
                    both[count] = id;
                    count += 1;
                }
            }
        }
        // More faces than two must be left around.
        shared > 0 && shared == count && ring.faces.len() > shared
    }

    fn line_fits(&self, corner: u32, into: u32) -> bool {
        let Corner::Line(_, ends) = self.corners[corner as usize] else {
            return true;
        };
        let other = if ends[0] == into { ends[1] } else { ends[0] };
        if other == into {
            return false;
        }
        let way = unit(less(self.at(other), self.at(into)));
        [into, other]
            .into_iter()
            .chain([corner])
            .all(|end| match self.corners[end as usize] {
                Corner::Line(along, ends) => {
                    let closing = end != corner && ends.contains(&into) && ends.contains(&corner);
                    let triangle = closing && ends.contains(&other);
                    !triangle && dot(way, along).abs() > BENDS
                }
                Corner::Smooth(_) | Corner::Fixed => true,
            })
    }

    fn face_fits(&self, face: u32, corner: u32, into: u32, least: f64) -> bool {
        let ids = self.skin.faces[face as usize];
        if ids.contains(&into) {
            return true;
        }
        let old = ids.map(|id| self.at(id));
        let new = ids.map(|id| self.at(if id == corner { into } else { id }));
        let (was, is) = (normal(old), normal(new));
        let size = length(is);
        let leans = ids.iter().any(|id| match self.corners[*id as usize] {
            Corner::Smooth(upright) => dot(upright, is) < self.lean * size,
            Corner::Line(..) | Corner::Fixed => false,
        });
        if leans || size <= 0.0 || dot(was, is) < TURNS.max(self.lean - 0.1) * length(was) * size {
            return false;
        }
        if evenness(new, size) < least {
            return false;
        }
        let to = self.at(into);
        let most = LONGEST * self.share.max(1.0) * self.sizes[into as usize];
        ids.iter().filter(|id| **id != corner).all(|id| {
            let other = self.at(*id);
            let long = length(less(other, to));
            long <= most || long <= 1.1 * length(less(other, self.at(corner)))
        })
    }

    fn draw(&mut self, ring: &Ring, corner: u32, into: u32) {
        for face in &ring.faces {
            let ids = &mut self.skin.faces[*face as usize];
            if ids.contains(&into) {
                *ids = [NONE; 3];
                self.count -= 1;
            } else {
                *ids = ids.map(|id| if id == corner { into } else { id });
            }
        }
        if let Corner::Line(_, ends) = self.corners[corner as usize] {
            let other = if ends[0] == into { ends[1] } else { ends[0] };
            for (end, next) in [(into, other), (other, into)] {
                if let Corner::Line(_, ends) = &mut self.corners[end as usize] {
                    *ends = ends.map(|id| if id == corner { next } else { id });
                }
            }
        }
        let k = into as usize;
        self.gone[corner as usize] = true;
        self.taken[k] += self.taken[corner as usize];
    }

    /// The corners that are left, set out by what flat triangles take away from a
    /// round.
    fn finished(mut self, sizes: &Sizes) -> Coarse {
        self.set_out();
        let mut ids = vec![NONE; self.skin.points.len()];
        let mut left = Coarse {
            skin: Skin {
                points: Vec::new(),
                faces: Vec::with_capacity(self.count),
                live: Vec::with_capacity(self.count),
            },
            bent: Vec::new(),
        };
        for (face, live) in self.skin.faces.iter().zip(&self.skin.live) {
            if face[0] == NONE {
                continue;
            }
            left.skin.live.push(*live);
            left.skin.faces.push(face.map(|id| {
                let k = id as usize;
                if ids[k] == NONE {
                    ids[k] = left.skin.points.len() as u32;
                    left.skin.points.push(self.skin.points[k]);
                    left.bent.push(sizes.bent[k]);
                }
                ids[k]
            }));
        }
        left
    }

    /// On a round, a corner stands a quarter of its height over its neighbours
    /// too low for the triangles to lie as much outside as inside: even triangles
    /// of edge h lie h²/8R below a sphere of radius R, a corner h²/2R over the
    /// plane of its neighbours. Only corners that stand for several.
    fn set_out(&mut self) {
        const SEVERAL: u32 = 4;
        const OUT: f64 = 0.25;
        let stars = Stars::new(self.skin.points.len(), &self.skin.faces);
        let none = vec![true; self.skin.points.len()];
        let mut ring = Ring::default();
        let mut moved = Vec::new();
        for corner in 0..self.skin.points.len() as u32 {
            let k = corner as usize;
            let Corner::Smooth(upright) = self.corners[k] else {
                continue;
            };
            if self.gone[k] || self.taken[k] < SEVERAL {
                continue;
            }
            self.gather(&stars, corner, &none, &mut ring);
            let count = ring.others.len().max(1) as f64;
            let sum = ring
                .others
                .iter()
                .fold([0.0; 3], |sum, other| plus(sum, self.at(*other)));
            let height = dot(less(self.at(corner), times(sum, 1.0 / count)), upright);
            let most = 0.05 * self.sizes[k];
            let out = times(upright, (OUT * height).clamp(-most, most));
            moved.push((k, plus(self.at(corner), out)));
        }
        for (k, at) in moved {
            self.skin.points[k] = at;
        }
    }
}

/// 1 for an even triangle, 0 for one without area; `twice`: double its area.
pub(super) fn evenness([a, b, c]: [Point; 3], twice: f64) -> f64 {
    let square = |a: Point, b: Point| {
        let way = less(b, a);
        dot(way, way)
    };
    let sum = square(a, b) + square(b, c) + square(c, a);
    2.0 * 3.0_f64.sqrt() * twice / sum.max(f64::MIN_POSITIVE)
}
