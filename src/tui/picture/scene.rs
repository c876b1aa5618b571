//! What is drawn: faces with their tints, upright on their surface.

use std::collections::HashMap;

use super::{Point, cross, dot, minus, plus, unit};
use crate::mesh::Corner;

/// Beyond so many faces a scene is drawn flat: rounding them would take longer
/// than anybody sees it.
const ROUNDED: usize = 300_000;

/// Beyond so many faces a coarser stand-in is drawn while the print is small.
const FINE: usize = 150_000;

/// Cells of the stand-in along the longest side of the box.
const CELLS: f32 = 256.0;

/// So many faces that lie together are looked at together.
const TOGETHER: usize = 64;

/// Faces that meet at less than this are one rounded surface: cosine of 40
/// degrees.
const CREASE: f32 = 0.766;

/// One face, corners in mm from the middle of the scene's box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Face {
    /// Counter-clockwise seen from its front.
    pub corners: [Point; 3],
    /// Its class, or its step of a scale.
    pub tint: u8,
    /// Which of the faces that the scene was made of, counted from 0.
    pub of: u32,
}

/// The faces of a print.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    pub(super) faces: Vec<Face>,
    /// Upright on the rounded surface at each corner; empty where it is drawn
    /// flat.
    pub(super) upright: Vec<[Point; 3]>,
    /// Fewer faces that look the same from afar; empty where there are few.
    pub(super) stand_in: Vec<Face>,
    /// The places of the faces, neighbours beside one another.
    order: Vec<u32>,
    /// The least and the greatest corner of each 64 of them.
    boxes: Vec<[Point; 2]>,
    middle: Corner,
    half: Point,
    /// At steps of the height, up or down from the middle: how far from the
    /// upright axis it reaches, and that height, in mm.
    profile: Vec<[f32; 2]>,
}

impl Scene {
    /// The scene of these faces: corners in mm, and a tint. What is not finite
    /// is left out.
    pub fn of(faces: impl IntoIterator<Item = ([Corner; 3], u8)>) -> Self {
        Self::among(faces, &[])
    }

    /// The same; at its whole size these places are in the picture too.
    pub fn among(faces: impl IntoIterator<Item = ([Corner; 3], u8)>, places: &[Corner]) -> Self {
        let given: Vec<(u32, [Corner; 3], u8)> = (0..)
            .zip(faces)
            .map(|(of, (corners, tint))| (of, corners, tint))
            .filter(|(_, corners, _)| corners.as_flattened().iter().all(|n| n.is_finite()))
            .collect();
        let corners = || {
            let of_faces = given.iter().flat_map(|(_, corners, _)| corners);
            of_faces.chain(places)
        };
        let bound = |axis: usize, pick: fn(f64, f64) -> f64| {
            corners().map(|corner| corner[axis]).reduce(pick)
        };
        let low = [0, 1, 2].map(|axis| bound(axis, f64::min).unwrap_or(0.0));
        let high = [0, 1, 2].map(|axis| bound(axis, f64::max).unwrap_or(0.0));
        let middle = [0, 1, 2].map(|axis| f64::midpoint(low[axis], high[axis]));
        let half = [0, 1, 2].map(|axis| ((high[axis] - low[axis]) / 2.0) as f32);
        let from_middle =
            |corner: Corner| [0, 1, 2].map(|axis| (corner[axis] - middle[axis]) as f32);
        let faces: Vec<Face> = given
            .iter()
            .map(|(of, corners, tint)| Face {
                corners: corners.map(from_middle),
                tint: *tint,
                of: *of,
            })
            .collect();
        let order = neighbours(&faces, half);
        let profile = profile(corners().map(|corner| from_middle(*corner)), half[2]);
        Self {
            boxes: order
                .chunks(TOGETHER)
                .map(|some| around(&faces, some))
                .collect(),
            order,
            upright: if faces.len() <= ROUNDED {
                rounded(&faces)
            } else {
                Vec::new()
            },
            stand_in: if faces.len() > FINE {
                coarser(&faces, half)
            } else {
                Vec::new()
            },
            profile,
            faces,
            middle,
            half,
        }
    }

    /// Its faces; those that were left out are none.
    pub fn faces(&self) -> &[Face] {
        &self.faces
    }

    /// The places of the faces that a line of sight may meet, and perhaps some
    /// more. `directions` are those to the right and up, `aside` is where the
    /// line is along them, in mm from the middle of the box.
    pub(super) fn along(
        &self,
        directions: [Point; 2],
        aside: [f32; 2],
    ) -> impl Iterator<Item = usize> {
        let some = self.order.chunks(TOGETHER).zip(&self.boxes);
        let met = some.filter(move |(_, [low, high])| {
            directions.iter().zip(aside).all(|(direction, aside)| {
                let ends = [0, 1, 2].map(|axis| {
                    let ends = [low[axis], high[axis]].map(|end| end * direction[axis]);
                    [ends[0].min(ends[1]), ends[0].max(ends[1])]
                });
                let [least, most]: [f32; 2] =
                    [0, 1].map(|end| ends.iter().map(|ends| ends[end]).sum());
                let rounding = 1e-5 * (aside.abs() + f32::max(-least, most));
                least - rounding <= aside && aside <= most + rounding
            })
        });
        met.flat_map(|(some, _)| some.iter().map(|at| *at as usize))
    }

    /// Half the extents of the box around it, in mm.
    pub fn half(&self) -> Point {
        self.half
    }

    /// How far from the middle it reaches in any turn about its upright axis,
    /// looked at from so high, in mm: to the side, and up.
    pub(super) fn reach(&self, lower: f32, level: f32) -> [f32; 2] {
        let each = self.profile.iter();
        let up = each
            .clone()
            .map(|[aside, high]| high * level + aside * lower);
        let aside = each.map(|[aside, _]| *aside);
        [aside.fold(0.0, f32::max), up.fold(0.0, f32::max)]
    }

    /// Where a point that is told from the middle of the box lies in the print.
    pub fn in_print(&self, point: Point) -> Corner {
        [0, 1, 2].map(|axis| self.middle[axis] + f64::from(point[axis]))
    }

    /// Where a point of the print lies from the middle of the box.
    pub fn from_middle(&self, point: Corner) -> Point {
        [0, 1, 2].map(|axis| (point[axis] - self.middle[axis]) as f32)
    }
}

/// The steps of a profile.
const STEPS: f32 = 64.0;

fn profile(corners: impl Iterator<Item = Point>, half: f32) -> Vec<[f32; 2]> {
    let mut profile = vec![[0.0_f32; 2]; STEPS as usize + 1];
    let step = half.max(f32::MIN_POSITIVE) / STEPS;
    for [x, y, z] in corners {
        let at = (z.abs() / step) as usize;
        let [aside, high] = &mut profile[at.min(STEPS as usize)];
        *aside = aside.max(x.hypot(y));
        *high = high.max(z.abs());
    }
    profile
}

/// The places of the faces in an order in which neighbours lie near one
/// another: along the curve of G. M. Morton (1966), by their middles.
fn neighbours(faces: &[Face], half: Point) -> Vec<u32> {
    /// Steps along each axis: ten bits.
    const STEPS: f32 = 1023.0;
    let apart = |bits: u32| (0..10).fold(0, |all, bit| all | (bits >> bit & 1) << (3 * bit));
    let size = 2.0 * half.into_iter().fold(f32::MIN_POSITIVE, f32::max);
    let place = |face: &Face| {
        let [a, b, c] = face.corners;
        let steps = [0, 1, 2].map(|axis| {
            let middle = (a[axis] + b[axis] + c[axis]) / 3.0;
            ((middle + half[axis]) / size * STEPS) as u32
        });
        (0..)
            .zip(steps)
            .fold(0, |all, (axis, step)| all | apart(step) << axis)
    };
    let mut places: Vec<(u32, u32)> = faces.iter().map(place).zip(0..).collect();
    places.sort_unstable();
    places.into_iter().map(|(_, at)| at).collect()
}

/// The box around some of the faces.
fn around(faces: &[Face], some: &[u32]) -> [Point; 2] {
    let corners = some.iter().flat_map(|at| faces[*at as usize].corners);
    let none = [[f32::INFINITY; 3], [f32::NEG_INFINITY; 3]];
    corners.fold(none, |[low, high], corner| {
        [
            [0, 1, 2].map(|axis| low[axis].min(corner[axis])),
            [0, 1, 2].map(|axis| high[axis].max(corner[axis])),
        ]
    })
}

/// Upright on a face; its length is twice the area.
pub(super) fn across(corners: &[Point; 3]) -> Point {
    cross(minus(corners[1], corners[0]), minus(corners[2], corners[0]))
}

/// At each corner the mean of the faces that meet there without a crease.
fn rounded(faces: &[Face]) -> Vec<[Point; 3]> {
    let bits = |corner: Point| corner.map(|number| (number + 0.0).to_bits());
    let mut around: HashMap<[u32; 3], Vec<u32>> = HashMap::with_capacity(faces.len());
    let flat: Vec<Point> = faces.iter().map(|face| across(&face.corners)).collect();
    for (at, face) in (0..).zip(faces) {
        for corner in face.corners {
            around.entry(bits(corner)).or_default().push(at);
        }
    }
    let units: Vec<Point> = flat.iter().map(|across| unit(*across)).collect();
    let mean = |at: usize, corner: Point| {
        // A corner that hundreds of faces share is rounded by the first ones.
        let met = around.get(&bits(corner)).map_or(&[][..], Vec::as_slice);
        let smooth = met.iter().take(24).map(|other| *other as usize);
        let smooth = smooth.filter(|other| dot(units[*other], units[at]) > CREASE);
        let sum = smooth.fold([0.0; 3], |sum, other| plus(sum, flat[other], 1.0));
        unit(if dot(sum, sum) > 0.0 { sum } else { flat[at] })
    };
    let corners = faces.iter().enumerate();
    corners
        .map(|(at, face)| face.corners.map(|corner| mean(at, corner)))
        .collect()
}

/// Every corner moved to the first one in its cell of a grid; faces that
/// shrink to a line or to nothing by it are left out.
fn coarser(faces: &[Face], half: Point) -> Vec<Face> {
    let side = 2.0 * half.into_iter().fold(f32::MIN_POSITIVE, f32::max) / CELLS;
    let cell = |corner: Point| corner.map(|number| (number / side).floor() as i16);
    let mut first: HashMap<[i16; 3], Point> = HashMap::new();
    let kept = faces.iter().filter_map(|face| {
        let cells = face.corners.map(cell);
        let is_whole = cells[0] != cells[1] && cells[1] != cells[2] && cells[2] != cells[0];
        let mut at = 0;
        let corners = face.corners.map(|corner| {
            at += 1;
            *first.entry(cells[at - 1]).or_insert(corner)
        });
        is_whole.then_some(Face { corners, ..*face })
    });
    kept.collect()
}
