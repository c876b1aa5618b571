//! The surface as a thing to measure distances to.

use std::cell::Cell;
use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;

use super::super::Corner;
use super::super::space::{cross, dot, length, less, normal, plus, times, unit};
use super::facing::Patch;
use super::tree::{Span, Tree};

/// The faces of a surface, its sharp ridges and their corners (as triangles
/// without area), in pieces: what is near a point is then small.
#[derive(Debug)]
pub(super) struct Surface {
    /// In the order of the tree.
    pub(super) features: Vec<[Corner; 3]>,
    pub(super) tree: Tree<Patch>,
    /// Of which face, or ridge after the faces, each feature is a piece.
    whole: Vec<u32>,
    /// The ways that a ridge or a corner faces; faces need none.
    fans: Vec<Fan>,
    faces: usize,
    /// How many features were measured to.
    looks: AtomicU64,
}

/// After so many measurements, a few seconds, the search is given up: a print
/// with narrow places everywhere has more hollows than can be told.
const MOST_LOOKS: u64 = 40_000_000;

/// No piece of a feature is longer than this share of the surface.
const PIECE: f64 = 1.0 / 12.0;

/// Unit vectors: the normals that meet, and what is between.
type Fan = Vec<Corner>;

/// The ways that a feature faces.
pub(super) enum Ways<'a> {
    Normal([Corner; 1]),
    Fan(&'a [Corner]),
}

impl std::ops::Deref for Ways<'_> {
    type Target = [Corner];

    fn deref(&self) -> &[Corner] {
        match self {
            Self::Normal(normal) => normal,
            Self::Fan(fan) => fan,
        }
    }
}

impl Surface {
    pub(super) fn of(faces: &[[Corner; 3]]) -> Option<Self> {
        let whole = faces.par_iter().map(|face| Span::of(face));
        let longest = whole.reduce_with(Span::join)?.longest_mm();
        let ridges = ridges(faces, longest);
        let lines = ridges.par_iter().map(|ridge| &ridge.0);
        let pieces: Vec<(u32, [Corner; 3])> = faces
            .par_iter()
            .chain(lines)
            .enumerate()
            .flat_map_iter(|(whole, &feature)| {
                let mut pieces = Vec::new();
                cut(feature, longest * PIECE, &mut pieces);
                pieces.into_iter().map(move |piece| (whole as u32, piece))
            })
            .collect();
        let patch = |&(whole, piece): &(u32, [Corner; 3])| Patch {
            span: Span::of(&piece),
            normals: match (whole as usize).checked_sub(faces.len()) {
                Some(ridge) => Span::of(&ridges[ridge].1),
                None => Span::of(&[unit(normal(faces[whole as usize]))]),
            },
        };
        let patches: Vec<_> = pieces.par_iter().map(patch).collect();
        let tree = Tree::of(&patches)?;
        let piece = |&item: &u32| pieces[item as usize];
        let (whole, features) = tree.order.par_iter().map(piece).unzip();
        Some(Self {
            features,
            tree,
            whole,
            fans: ridges.into_iter().map(|ridge| ridge.1).collect(),
            faces: faces.len(),
            looks: AtomicU64::new(0),
        })
    }

    /// Whether there were more looks than the search is worth; then what they
    /// tell is worth nothing.
    pub(super) fn is_exhausted(&self) -> bool {
        self.looks() > MOST_LOOKS
    }

    /// Whether looks enough are left only for what must be told.
    pub(super) fn is_half_exhausted(&self) -> bool {
        self.looks() > MOST_LOOKS / 2
    }

    pub(super) fn looks(&self) -> u64 {
        self.looks.load(Ordering::Relaxed)
    }

    pub(super) fn looked(&self, looks: u64) {
        self.looks.fetch_add(looks, Ordering::Relaxed);
    }

    /// The ways that the feature at this place faces.
    pub(super) fn ways(&self, place: usize) -> Ways<'_> {
        match (self.whole[place] as usize).checked_sub(self.faces) {
            Some(ridge) => Ways::Fan(&self.fans[ridge]),
            // The box of one normal is that normal.
            None => Ways::Normal([self.tree.items[place].normals.middle()]),
        }
    }

    /// Whether a point off the surface is on the open side of what is closest:
    /// of faces that are as close, of the one that it is most straight above.
    pub(super) fn is_open(&self, point: Corner, clearance: f64) -> bool {
        let here = Span::around(point, 0.0);
        let reach = clearance * 1.0001;
        let mut above = 0.0f64;
        self.tree.visit(
            &mut above,
            |_, branch| {
                let gap = here.gap_squared(&branch.span);
                (f64::from(gap) < reach * reach).then_some(gap)
            },
            |_, _| true,
            |above, place| {
                let face = self.features[place];
                let off = less(point, closest_on(face, point));
                let height = dot(unit(off), unit(normal(face)));
                if dot(off, off) < reach * reach && height.abs() > above.abs() {
                    *above = height;
                }
            },
        );
        above > 0.0
    }

    /// The feature closest to `point` and how far off it is in mm. A good guess
    /// makes it quick.
    pub(super) fn closest(&self, point: Corner, guess: u32) -> (f64, u32) {
        let touched = closest_on(self.features[guess as usize], point);
        let guess = (length(less(touched, point)), touched, guess);
        let (gap, _, place) = self.near(point, guess, 1.0);
        (gap, place)
    }

    /// The point of the surface closest to `point` and how far off it is in
    /// mm; `point` itself at `within` where none is closer than that.
    pub(super) fn nearest(&self, point: Corner, within: f64) -> (f64, Corner) {
        self.about_nearest(point, within, 1.0)
    }

    /// The same, but another point may be closer, no closer than `slack` of what
    /// is told: in the middle of a round hollow all of it is nearly as close.
    pub(super) fn about_nearest(&self, point: Corner, within: f64, slack: f64) -> (f64, Corner) {
        let (gap, touched, _) = self.near(point, (within, point, 0), slack);
        (gap, touched)
    }

    /// How far off the closest feature is, the point of it and its place; or
    /// what is known before, where none is clearly closer.
    fn near(&self, point: Corner, known: (f64, Corner, u32), slack: f64) -> (f64, Corner, u32) {
        if self.is_exhausted() {
            return (0.0, point, known.2);
        }
        let looks = Cell::new(0);
        let here = Span::of(&[point]);
        let slack = slack * slack;
        let mut best = (known.0 * known.0, known.1, known.2);
        self.tree.visit(
            &mut best,
            |best, branch| {
                let gap = here.gap_squared(&branch.span);
                (f64::from(gap) < slack * best.0).then_some(gap)
            },
            |best, gap| f64::from(gap) < slack * best.0,
            |best, place| {
                looks.set(looks.get() + 1);
                let touched = closest_on(self.features[place], point);
                let off = less(touched, point);
                let gap = dot(off, off);
                if gap < best.0 {
                    *best = (gap, touched, place as u32);
                }
            },
        );
        self.looked(looks.get());
        (best.0.sqrt(), best.1, best.2)
    }
}

/// The point of a triangle that is closest to `p`: that in its face, or else on
/// a side or at a corner, by the signs of the shares of the corners (Ericson,
/// Real-Time Collision Detection, 5.1.5; from memory).
pub(super) fn closest_on([a, b, c]: [Corner; 3], p: Corner) -> Corner {
    let (ab, ac, ap) = (less(b, a), less(c, a), less(p, a));
    let (d1, d2) = (dot(ab, ap), dot(ac, ap));
    if d1 <= 0.0 && d2 <= 0.0 {
        return a;
    }
    let bp = less(p, b);
    let (d3, d4) = (dot(ab, bp), dot(ac, bp));
    if d3 >= 0.0 && d4 <= d3 {
        return b;
    }
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 && d1 > d3 {
        return plus(a, times(ab, d1 / (d1 - d3)));
    }
    let cp = less(p, c);
    let (d5, d6) = (dot(ab, cp), dot(ac, cp));
    if d6 >= 0.0 && d5 <= d6 {
        return c;
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 && d2 > d6 {
        return plus(a, times(ac, d2 / (d2 - d6)));
    }
    let va = d3 * d6 - d5 * d4;
    let (to_c, to_b) = (d4 - d3, d5 - d6);
    if va <= 0.0 && to_c >= 0.0 && to_b >= 0.0 && to_c + to_b > 0.0 {
        return plus(b, times(less(c, b), to_c / (to_c + to_b)));
    }
    let whole = va + vb + vc;
    if whole <= 0.0 {
        return a;
    }
    plus(a, plus(times(ab, vb / whole), times(ac, vc / whole)))
}

/// Cuts a triangle into pieces no longer than this.
pub(super) fn cut(triangle: [Corner; 3], most: f64, pieces: &mut Vec<[Corner; 3]>) {
    let [a, b, c] = triangle;
    let longest = [less(b, a), less(c, b), less(a, c)].map(length);
    if longest.into_iter().fold(0.0, f64::max) <= most {
        pieces.push(triangle);
        return;
    }
    for half in halves(triangle) {
        cut(half, most, pieces);
    }
}

/// The two parts of a triangle, cut through the middle of its longest side.
pub(super) fn halves([a, b, c]: [Corner; 3]) -> [[Corner; 3]; 2] {
    let long = |a, b| length(less(a, b));
    let (sides, triangle) = ([long(a, b), long(b, c), long(c, a)], [a, b, c]);
    let longest = (1..3).fold(0, |best, side| {
        if sides[side] > sides[best] {
            side
        } else {
            best
        }
    });
    let [a, b, c] = [0, 1, 2].map(|turn| triangle[(longest + turn) % 3]);
    let cut = times(plus(a, b), 0.5);
    if sides[(longest + 2) % 3] <= 0.0 {
        return [[a, cut, a], [cut, b, cut]];
    }
    if sides[(longest + 1) % 3] <= 0.0 {
        return [[a, cut, cut], [cut, b, b]];
    }
    [[a, cut, c], [cut, b, c]]
}

/// Ridges where the surface bends away by more than this are features of their
/// own: the cosine of 20 degrees.
const SHARP: f64 = 0.94;

/// The ridges that bend sharply away from the open side, the rims of sheets,
/// and the corners where these meet.
fn ridges(faces: &[[Corner; 3]], longest: f64) -> Vec<([Corner; 3], Fan)> {
    let sides = sides(faces);
    let meet = sides.chunk_by(|a, b| a.0 == b.0);
    let (rims, meet): (Vec<_>, Vec<_>) = meet.partition(|sides| sides.len() == 1);
    let ends = |rim: &&[Side]| turned(faces, &rim[0]);
    let lines: Vec<_> = rims.iter().map(ends).collect();
    let seams = seams(&lines, longest * SEAM);
    let rims = rims.into_iter().zip(seams);
    let rims = rims.filter_map(|(rim, seam)| (!seam).then_some(rim));
    let ridges = meet.into_iter().chain(rims);
    let ridges: Vec<_> = ridges.filter_map(|sides| ridge(faces, sides)).collect();
    let tips = tips(&ridges);
    ridges.into_iter().chain(tips).collect()
}

/// Of the longest way of the print: no further apart are the sides of a seam.
pub(super) const SEAM: f64 = 1e-5;

/// Whether a side is a rim, of those with their first corner by name where
/// `asked` says.
pub(super) fn has_rim(faces: &[[Corner; 3]], within: f64, asked: impl Fn(Corner) -> bool) -> bool {
    let sides = sides(faces);
    let alone = sides.chunk_by(|a, b| a.0 == b.0);
    let alone = alone.filter(|sides| sides.len() == 1);
    let is_asked = |&[a, b, _]: &[Corner; 3]| asked(if name(a) < name(b) { a } else { b });
    let lines = alone.map(|sides| turned(faces, &sides[0]));
    let lines: Vec<_> = lines.filter(is_asked).collect();
    seams(&lines, within).contains(&false)
}

/// A name for the side of a face, the same either way; its face and which it is.
type Side = (u64, u32, u8);

fn sides(faces: &[[Corner; 3]]) -> Vec<Side> {
    let sides = faces.par_iter().enumerate();
    let sides = sides.flat_map_iter(|(face, corners)| {
        let names = corners.map(name);
        let side = move |side: usize| {
            let (a, b) = (names[side], names[(side + 1) % 3]);
            let both = mixed(a ^ b).wrapping_add(a.wrapping_add(b));
            (both, face as u32, side as u8)
        };
        [side(0), side(1), side(2)]
    });
    let mut sides: Vec<Side> = sides.collect();
    sides.par_sort_unstable();
    sides
}

/// The corners of its face, those of the side first.
fn turned(faces: &[[Corner; 3]], &(_, face, side): &Side) -> [Corner; 3] {
    let corners = faces[face as usize];
    [0, 1, 2].map(|turn| corners[(usize::from(side) + turn) % 3])
}

/// Of sides that no other is the same as, whether others go along them all the
/// same: where a face was cut and the one beside it was not.
fn seams(lines: &[[Corner; 3]], within: f64) -> Vec<bool> {
    let patch = |&[a, b, _]: &[Corner; 3]| Patch {
        span: Span::of(&[a, b]),
        normals: Span::EMPTY,
    };
    let patches: Vec<_> = lines.iter().map(patch).collect();
    let Some(tree) = Tree::of(&patches) else {
        return Vec::new();
    };
    let is_seam = |(own, &[a, b, _]): (usize, &[Corner; 3])| {
        let middle = times(plus(a, b), 0.5);
        let here = Span::around(middle, within);
        let mut found = false;
        tree.visit(
            &mut found,
            |found, branch| (!found && here.gap_squared(&branch.span) <= 0.0).then_some(0.0),
            |found, _| !found,
            |found, place| {
                let other = tree.order[place] as usize;
                let [c, d, _] = lines[other];
                let off = less(closest_on([c, d, d], middle), middle);
                *found |= other != own && dot(off, off) < within * within;
            },
        );
        found
    };
    lines.par_iter().enumerate().map(is_seam).collect()
}

fn ridge(faces: &[[Corner; 3]], sides: &[Side]) -> Option<([Corner; 3], Fan)> {
    let turned = |side: &Side| turned(faces, side);
    let [a, b, c] = turned(sides.first()?);
    let here = unit(normal([a, b, c]));
    let fan = match sides {
        [_] => vec![here, times(here, -1.0), unit(cross(less(b, a), here))],
        [_, other] => {
            let other = turned(other);
            let there = unit(normal(other));
            let bends_away = dot(here, less(other[2], a)) < 0.0;
            if !bends_away || dot(here, there) > SHARP {
                return None;
            }
            with_middle(vec![here, there])
        }
        _ => with_middle(
            sides
                .iter()
                .map(|side| unit(normal(turned(side))))
                .collect(),
        ),
    };
    Some(([a, b, b], fan))
}

fn tips(ridges: &[([Corner; 3], Fan)]) -> Vec<([Corner; 3], Fan)> {
    let mut ends: Vec<(u64, Corner, &Fan)> = ridges
        .iter()
        .flat_map(|([a, b, _], fan)| [(name(*a), *a, fan), (name(*b), *b, fan)])
        .collect();
    ends.sort_by_key(|end| end.0);
    ends.chunk_by(|a, b| a.0 == b.0)
        .filter(|ends| ends.len() > 2)
        .map(|ends| {
            let fan = ends.iter().flat_map(|end| end.2.iter().copied());
            ([ends[0].1; 3], with_middle(fan.collect()))
        })
        .collect()
}

fn with_middle(mut fan: Fan) -> Fan {
    let sum = fan.iter().fold([0.0; 3], |sum, &one| plus(sum, one));
    fan.push(unit(sum));
    fan
}

/// A number for a corner: the same for the same corner, hardly ever for another.
pub(super) fn name(corner: Corner) -> u64 {
    corner.into_iter().fold(0, |name: u64, number| {
        // -0 and 0 are one place.
        mixed(name.rotate_left(23) ^ (number + 0.0).to_bits())
    })
}

/// Mixes all bits of a number (the finisher of SplitMix64; from memory).
pub(super) fn mixed(mut bits: u64) -> u64 {
    bits = bits.wrapping_add(0x9e37_79b9_7f4a_7c15);
    bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    bits ^ (bits >> 31)
}
