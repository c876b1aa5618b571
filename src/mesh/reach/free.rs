//! Which sides of the surface lie open to the same space.
//!
//! Every triangle has two sides, and so has every part of one that is cut. Two
//! sides are joined only where a free way between them is seen: over a common
//! edge that nothing else touches, across a cut where there is no wall, or
//! along a ray that meets nothing before. A way that could graze something does
//! not count, so no joint is wrong; and as every side is tried in many ways,
//! one that is missed matters little.

use rayon::prelude::*;

use super::super::Corner;
use super::super::space::{cross, dot, middle, plus, times, unit};
use super::cut::{Border, Line, Point, between};
use super::join::Sets;
use super::scene::{Scene, Sight};
use super::weld::NONE;
use crate::units::{Stopped, Watch, go_on};

/// A side by number: the two of patch `p` are `2 p` (to which the normal of its
/// first triangle points) and `2 p + 1`; those of the parts follow.
type Side = u32;

/// The surface by pieces that lie open to one space as a whole.
#[derive(Debug)]
pub(super) struct Free {
    /// By triangle that nothing meets: twice the number of its patch, and one
    /// more if it is turned against the patch's first; [`NONE`] of others.
    patch_of: Vec<u32>,
    /// A triangle of each patch.
    pub(super) patches: Vec<u32>,
    /// The number of the first part of each cutting, and of all parts.
    first_part: Vec<u32>,
    /// By part: whether a triangle that comes before has it, too.
    doubled: Vec<bool>,
    /// By side, the space that it lies open to; 0 is outside.
    spaces: Vec<u32>,
    /// How many spaces there are.
    pub(super) count: usize,
    /// Triangles taken for wet because nothing can be told of them.
    pub(super) untold: Vec<u32>,
}

impl Free {
    /// Joins the sides of all triangles.
    pub(super) fn of(scene: &Scene, watch: &dyn Watch) -> Result<Self, Stopped> {
        go_on(watch, "following the surface", 0.5)?;
        let (mut free, one_sided) = Self::unjoined(scene);
        let mut sets = Sets::new(free.sides() as usize + 1);
        let steps = free.steps(scene);
        let stacks = free.stacked(scene);
        for (a, b) in one_sided.into_iter().chain(steps).chain(stacks) {
            sets.join(a, b);
        }
        free.look_around(scene, &mut sets, watch)?;
        let outside = sets.find(free.sides());
        let mut names = vec![NONE; free.sides() as usize + 1];
        names[outside as usize] = 0;
        free.count = 1;
        for side in 0..free.sides() {
            let name = &mut names[sets.find(side) as usize];
            if *name == NONE {
                *name = free.count as u32;
                free.count += 1;
            }
            free.spaces.push(*name);
        }
        free.lead_the_blind(scene);
        Ok(free)
    }

    /// Gives triangles that are too thin to be told the spaces of a neighbour.
    fn lead_the_blind(&mut self, scene: &Scene) {
        let is_blind = |patch: &usize| scene.is_blind(self.patches[*patch]);
        let mut blind: Vec<usize> = (0..self.patches.len()).filter(is_blind).collect();
        let mut is_led = vec![false; scene.welded.triangles.len()];
        loop {
            let before = blind.len();
            blind.retain(|&patch| {
                let triangle = self.patches[patch];
                let Some(spaces) = self.beside(scene, triangle, &is_led) else {
                    return true;
                };
                self.spaces[2 * patch..2 * patch + 2].copy_from_slice(&spaces);
                is_led[triangle as usize] = true;
                false
            });
            if blind.len() == before {
                break;
            }
        }
        // A print of which nothing at all can be told is wet.
        if self.first_part.len() == 1 && blind.len() == self.patches.len() {
            for patch in blind {
                self.spaces[2 * patch] = 0;
                self.untold.push(self.patches[patch]);
            }
        }
    }

    /// The spaces in front and behind of a neighbour that can be told, seen from
    /// a triangle.
    fn beside(&self, scene: &Scene, triangle: u32, is_led: &[bool]) -> Option<[u32; 2]> {
        (3 * triangle..3 * triangle + 3).find_map(|side| {
            let twin = scene.welded.sides.twin(side)?;
            let other = twin / 3;
            if scene.is_blind(other) && !is_led[other as usize] {
                return None;
            }
            let mut spaces = match (self.patch(other), scene.cutting(other)) {
                (_, Some(cutting)) => {
                    let k = (side % 3) as usize;
                    let corners = scene.welded.corners_of(triangle as usize);
                    let half = times(plus(corners[k], corners[(k + 1) % 3]), 0.5);
                    let there = &scene.cuttings[cutting];
                    let part = there.part_at(there.sheet.flat(half));
                    self.of_part(cutting, part as usize)
                }
                (Some((patch, turned)), None) => {
                    let [front, back] = self.of_patch(patch);
                    if turned { [back, front] } else { [front, back] }
                }
                (None, None) => return None,
            };
            if !scene.welded.runs_on(side, twin) {
                spaces.reverse();
            }
            Some(spaces)
        })
    }

    /// How many sides there are; as a side, what is outside of everything.
    fn sides(&self) -> Side {
        2 * (self.patches.len() as u32 + self.first_part.last().copied().unwrap_or(0))
    }

    /// Whether a triangle that nothing meets is turned against its patch.
    pub(super) fn patch(&self, triangle: u32) -> Option<(usize, bool)> {
        let patch = self.patch_of[triangle as usize];
        (patch != NONE).then_some((patch as usize / 2, patch & 1 == 1))
    }

    /// The spaces in front of and behind a patch.
    pub(super) fn of_patch(&self, patch: usize) -> [u32; 2] {
        [self.spaces[2 * patch], self.spaces[2 * patch + 1]]
    }

    /// The spaces in front of and behind a part of a cutting.
    pub(super) fn of_part(&self, cutting: usize, part: usize) -> [u32; 2] {
        let side = self.part_side(cutting, part as u32, true) as usize;
        [self.spaces[side], self.spaces[side + 1]]
    }

    /// Whether a triangle that comes before has this part, too.
    pub(super) fn is_doubled(&self, cutting: usize, part: usize) -> bool {
        self.doubled[self.first_part[cutting] as usize + part]
    }

    fn patch_side(&self, triangle: u32, front: bool) -> Side {
        self.patch_of[triangle as usize] ^ u32::from(!front)
    }

    fn part_side(&self, cutting: usize, part: u32, front: bool) -> Side {
        let number = self.patches.len() as u32 + self.first_part[cutting] + part;
        2 * number + u32::from(!front)
    }

    /// The patches, by following sides that only two triangles share and none
    /// other meets; and the sides of patches that close up turned over.
    fn unjoined(scene: &Scene) -> (Self, Vec<(Side, Side)>) {
        let count = scene.welded.triangles.len();
        let mut first_part = vec![0];
        for cutting in &scene.cuttings {
            first_part.push(first_part.last().copied().unwrap_or(0) + cutting.parts.len() as u32);
        }
        let mut free = Self {
            patch_of: vec![NONE; count],
            patches: Vec::new(),
            doubled: vec![false; first_part.last().copied().unwrap_or(0) as usize],
            first_part,
            spaces: Vec::new(),
            count: 0,
            untold: Vec::new(),
        };
        let mut one_sided = Vec::new();
        let mut open = Vec::new();
        for seed in 0..count as u32 {
            if free.patch_of[seed as usize] != NONE || scene.cutting(seed).is_some() {
                continue;
            }
            let patch = 2 * free.patches.len() as u32;
            free.patches.push(seed);
            free.patch_of[seed as usize] = patch;
            if !scene.is_blind(seed) {
                open.push(seed);
            }
            while let Some(triangle) = open.pop() {
                let here = free.patch_of[triangle as usize];
                for side in 3 * triangle..3 * triangle + 3 {
                    let Some(twin) = scene.welded.sides.twin(side) else {
                        continue;
                    };
                    let other = twin / 3;
                    let there = here ^ u32::from(!scene.welded.runs_on(side, twin));
                    let known = &mut free.patch_of[other as usize];
                    if *known == there || scene.cutting(other).is_some() || scene.is_blind(other) {
                        continue;
                    }
                    if *known == NONE {
                        *known = there;
                        open.push(other);
                    } else {
                        one_sided.push((patch, patch + 1));
                    }
                }
            }
        }
        (free, one_sided)
    }

    /// The joints of each part with what is next to it in its own triangle and
    /// across the triangle's sides.
    fn steps(&self, scene: &Scene) -> Vec<(Side, Side)> {
        let of_cutting = |cutting: usize| {
            let mut joints = Vec::new();
            for (part, outline) in (0_u32..).zip(&scene.cuttings[cutting].parts) {
                for (line, border) in outline.sides() {
                    for share in [0.5, 0.15, 0.85] {
                        let at = between(line[0], line[1], share);
                        let over = self.over(scene, cutting, (line, border), at);
                        let Some([front, back]) = over else { continue };
                        joints.push((self.part_side(cutting, part, true), front));
                        joints.push((self.part_side(cutting, part, false), back));
                    }
                }
            }
            joints
        };
        let all = (0..scene.cuttings.len()).into_par_iter();
        all.flat_map_iter(of_cutting).collect()
    }

    /// The sides in front and behind beyond a point of a part's border.
    fn over(
        &self,
        scene: &Scene,
        cutting: usize,
        (line, border): (Line, Border),
        at: Point,
    ) -> Option<[Side; 2]> {
        let near = 8.0 * scene.welded.tolerance;
        let here = &scene.cuttings[cutting];
        if !here.is_clear(at, near) {
            return None;
        }
        let Border::Side(k) = border else {
            let beyond = outwards(line, at, near / 2.0)?;
            let part = here.part_at(beyond);
            return Some([true, false].map(|front| self.part_side(cutting, part, front)));
        };
        let raised = here.sheet.raised(at);
        // What a triangle lies on may run on below its side, however little.
        let is_backed = |cutting: usize| {
            let mut stack = scene.stacks[cutting].iter();
            stack.any(|other| scene.is_by(*other, raised, near))
        };
        if is_backed(cutting) {
            return None;
        }
        let side = 3 * scene.met[cutting] + u32::from(k);
        let twin = scene.welded.sides.twin(side)?;
        let other = twin / 3;
        if scene.is_blind(other) {
            return None;
        }
        let runs_on = scene.welded.runs_on(side, twin);
        let Some(across) = scene.cutting(other) else {
            return Some([true, false].map(|front| self.patch_side(other, front == runs_on)));
        };
        let there = &scene.cuttings[across];
        let point = there.sheet.flat(raised);
        (there.is_clear(point, near) && !is_backed(across)).then(|| {
            let part = there.part_at(point);
            [true, false].map(|front| self.part_side(across, part, front == runs_on))
        })
    }

    /// The joints of parts that lie on each other: they are one wall, and what
    /// is between them is nowhere. Notes which are there before.
    fn stacked(&mut self, scene: &Scene) -> Vec<(Side, Side)> {
        let mut joints = Vec::new();
        for cutting in 0..scene.cuttings.len() {
            if scene.stacks[cutting].is_empty() {
                continue;
            }
            let own = scene.met[cutting];
            let here = &scene.cuttings[cutting];
            for (part, outline) in (0_u32..).zip(&here.parts) {
                let middle = here.sheet.raised(outline.middle());
                for &other in &scene.stacks[cutting] {
                    if !scene.is_over(other, middle) {
                        continue;
                    }
                    let Some(across) = scene.cutting(other) else {
                        continue;
                    };
                    let there = &scene.cuttings[across];
                    let beyond = there.part_at(there.sheet.flat(middle));
                    let agree = dot(scene.plane(own).normal, scene.plane(other).normal) > 0.0;
                    for front in [true, false] {
                        joints.push((
                            self.part_side(cutting, part, front),
                            self.part_side(across, beyond, front == agree),
                        ));
                    }
                    if other < own {
                        self.doubled[(self.first_part[cutting] + part) as usize] = true;
                    }
                }
            }
        }
        joints
    }

    /// Looks from every piece of the surface, and again from where the outside
    /// is not yet seen, until nothing new is.
    fn look_around(
        &self,
        scene: &Scene,
        sets: &mut Sets,
        watch: &dyn Watch,
    ) -> Result<(), Stopped> {
        let members = self.members();
        for round in 0..ROUNDS {
            go_on(
                watch,
                "looking out from every side",
                0.55 + 0.05 * f64::from(round),
            )?;
            let outside = sets.find(self.sides());
            let inner: Vec<Side> = (0..self.sides())
                .filter(|side| round == 0 || sets.find(*side) != outside)
                .collect();
            let seen: Vec<(Side, Side)> = inner
                .par_iter()
                .flat_map_iter(|&side| self.looks(scene, &members, side, round))
                .collect();
            let mut news = false;
            for (a, b) in seen {
                news |= sets.join(a, b);
            }
            if round > 0 && !news {
                break;
            }
        }
        Ok(())
    }

    /// The triangles of each patch, one after the other.
    fn members(&self) -> Vec<Vec<u32>> {
        let patched = self.patch_of.iter().filter(|patch| **patch != NONE);
        let mut counts = vec![0; self.patches.len()];
        patched.for_each(|patch| counts[*patch as usize / 2] += 1);
        let mut members: Vec<Vec<u32>> = counts.into_iter().map(Vec::with_capacity).collect();
        for (triangle, patch) in (0..).zip(&self.patch_of) {
            if *patch != NONE {
                members[*patch as usize / 2].push(triangle);
            }
        }
        members
    }

    fn looks(
        &self,
        scene: &Scene,
        members: &[Vec<u32>],
        side: Side,
        round: u32,
    ) -> Vec<(Side, Side)> {
        let front = side & 1 == 0;
        let number = side as usize / 2;
        let Some(triangles) = members.get(number) else {
            let part = (number - members.len()) as u32;
            return self
                .looks_from_part(scene, part, front, round)
                .map(|to| (side, to))
                .collect();
        };
        let whole = (triangles.len() as f64).sqrt() as usize / 4;
        if scene.is_blind(self.patches[number]) {
            return Vec::new();
        }
        let samples = if round == 0 { 8 } else { whole.clamp(16, 64) };
        let samples = samples.min(if round == 0 { triangles.len() } else { samples });
        let look = |sample: usize| {
            let place = (sample * triangles.len() + triangles.len() / 2) / samples;
            let triangle = triangles[place % triangles.len()];
            let front = front != (self.patch_of[triangle as usize] & 1 == 1);
            let number = round * 1000 + sample as u32;
            // What touches a triangle just in its middle leaves all looks from
            // there unsure.
            let corners = scene.welded.corners_of(triangle as usize);
            let from = if round == 0 {
                middle(corners)
            } else {
                spread_over(corners, number)
            };
            self.look(scene, triangle, from, front, number)
        };
        (0..samples).filter_map(look).map(|to| (side, to)).collect()
    }

    fn looks_from_part(
        &self,
        scene: &Scene,
        part: u32,
        front: bool,
        round: u32,
    ) -> impl Iterator<Item = Side> {
        let cutting = self.first_part.partition_point(|first| *first <= part) - 1;
        let here = &scene.cuttings[cutting];
        let outline = &here.parts[(part - self.first_part[cutting]) as usize];
        let middle = outline.middle();
        let near = 8.0 * scene.welded.tolerance;
        let tries = if here.is_clear(middle, near) {
            TRIES
        } else {
            0
        };
        let look = move |from: Point, number: u32| {
            let from = here.sheet.raised(from);
            let number = TRIES * round + number;
            self.look(scene, scene.met[cutting], from, front, number)
        };
        // What touches a part just in its middle leaves all looks from there
        // unsure. Parts are convex.
        let beside = move || {
            let mut corners = outline.corners().take(tries as usize);
            corners.find_map(|corner| {
                let from = between(middle, corner, 0.5);
                let is_clear = here.is_clear(from, CLEAR * near);
                is_clear.then(|| look(from, TRIES - 1)).flatten()
            })
        };
        // The first look that is sure will do.
        let seen = (0..tries).find_map(|number| look(middle, number));
        seen.or_else(beside).into_iter()
    }

    /// The side that is first seen from a point on a triangle.
    fn look(
        &self,
        scene: &Scene,
        own: u32,
        from: Corner,
        front: bool,
        number: u32,
    ) -> Option<Side> {
        let normal = scene.plane(own).normal;
        let up = if front { normal } else { times(normal, -1.0) };
        let along = if number == 0 {
            up
        } else {
            askew(up, own, number)
        };
        match scene.look(own, from, along) {
            Sight::Open => Some(self.sides()),
            Sight::Unsure => None,
            Sight::Wall { triangle, .. } if scene.is_blind(triangle) => None,
            Sight::Wall {
                triangle,
                point,
                front,
            } => {
                let Some(cutting) = scene.cutting(triangle) else {
                    return Some(self.patch_side(triangle, front));
                };
                let there = &scene.cuttings[cutting];
                let point = there.sheet.flat(point);
                let clear = there.is_clear(point, 4.0 * scene.welded.tolerance);
                clear.then(|| self.part_side(cutting, there.part_at(point), front))
            }
        }
    }
}

/// So many looks from a part in each round.
const TRIES: u32 = 3;

/// So many times as far from walls as a part's middle any other place of it
/// that is looked from has to be.
const CLEAR: f64 = 8.0;

/// The most rounds of looking.
const ROUNDS: u32 = 5;

/// Points of a triangle by number, evenly spread and clear of its sides (the R2
/// sequence, Roberts 2018; from memory).
fn spread_over([a, b, c]: [Corner; 3], number: u32) -> Corner {
    const CLEAR: f64 = 0.05;
    let step = |by: f64| (f64::from(number) * by).fract();
    let (mut u, mut v) = (step(0.754_877_666), step(0.569_840_291));
    if u + v > 1.0 {
        (u, v) = (1.0 - u, 1.0 - v);
    }
    let share = |of: f64| CLEAR + (1.0 - 3.0 * CLEAR) * of;
    let (u, v) = (share(u), share(v));
    plus(plus(times(a, 1.0 - u - v), times(b, u)), times(c, v))
}

/// A point beside a line of an outline that runs counter-clockwise.
fn outwards([a, b]: Line, at: Point, by: f64) -> Option<Point> {
    let (x, y) = (b[0] - a[0], b[1] - a[1]);
    let length = x.hypot(y);
    (length > by).then(|| [at[0] + y / length * by, at[1] - x / length * by])
}

/// A direction on the same side, the same one for the same numbers: cosines of
/// the angle to `up` are spread evenly from 0.1 on.
fn askew(up: Corner, own: u32, number: u32) -> Corner {
    let mixed = (u64::from(own) << 32 | u64::from(number)).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    let mixed = (mixed ^ (mixed >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let share = |bits: u64| (bits & 0xffff) as f64 / 65536.0;
    let (turn, cosine) = (
        share(mixed >> 16) * std::f64::consts::TAU,
        0.1 + 0.9 * share(mixed >> 40),
    );
    let aside = if up[0].abs() < 0.6 {
        [1.0, 0.0, 0.0]
    } else {
        [0.0, 1.0, 0.0]
    };
    let first = unit(cross(up, aside));
    let second = cross(up, first);
    let sine = (1.0 - cosine * cosine).sqrt();
    let flat = plus(times(first, turn.cos()), times(second, turn.sin()));
    plus(times(up, cosine), times(flat, sine))
}
