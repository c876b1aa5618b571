//! The triangles of a print with what a free way needs to know: where they
//! meet, their parts, and what a ray meets first.

use rayon::prelude::*;

use super::super::Corner;
use super::super::space::{cross, dot, length, less, unit};
use super::super::tree::{Bounds, Ray, Tree};
use super::cut::{Cutting, Line, Sheet};
use super::fans::Fans;
use super::touch::{Flat, Meeting, meet};
use super::weld::{NONE, Plane, Welded, height};
use crate::units::{Stopped, Watch, go_on};

/// Two triangles that meet other than along a common side.
pub(super) type Contact = (u32, u32, Meeting);

/// The triangles of a print.
#[derive(Debug)]
pub(super) struct Scene {
    pub(super) welded: Welded,
    planes: Vec<Plane>,
    tree: Tree,
    /// By triangle: so thin that its sides cannot be told apart. It stops a
    /// look, but nothing is told from it.
    blind: Vec<bool>,
    /// By triangle, the number of its cutting; [`NONE`] where nothing meets it.
    cutting_of: Vec<u32>,
    /// The triangles that are met.
    pub(super) met: Vec<u32>,
    /// By number, of `met`.
    pub(super) cuttings: Vec<Cutting>,
    /// The triangles that each of `met` lies on.
    pub(super) stacks: Vec<Vec<u32>>,
    /// All meetings, the lower number first.
    pub(super) contacts: Vec<Contact>,
}

/// Triangles lower than so many tolerances are blind.
const BLIND: f64 = 64.0;

/// A wall closer than so many tolerances is not seen for sure.
const CLOSE: f64 = 8.0;

/// What a ray meets first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Sight {
    /// Nothing.
    Open,
    /// A triangle, at a point, from the side to which its normal points or not.
    Wall {
        triangle: u32,
        point: Corner,
        front: bool,
    },
    /// It grazes a side or a corner: it could be either way.
    Unsure,
}

impl Scene {
    /// Finds where the triangles meet.
    pub(super) fn of(welded: Welded, watch: &dyn Watch) -> Result<Self, Stopped> {
        let count = welded.triangles.len();
        let margin = welded.tolerance;
        let (mut planes, mut blind) = (Vec::new(), Vec::new());
        (0..count)
            .into_par_iter()
            .with_min_len(4096)
            .map(|at| {
                let corners = welded.corners_of(at);
                (Plane::of(corners), height(corners) < BLIND * margin)
            })
            .unzip_into_vecs(&mut planes, &mut blind);
        let tree = Tree::over(count, |at| Bounds::around(&welded.corners_of(at), margin));
        let mut scene = Self {
            welded,
            planes,
            tree,
            blind,
            cutting_of: vec![NONE; count],
            met: Vec::new(),
            cuttings: Vec::new(),
            stacks: Vec::new(),
            contacts: Vec::new(),
        };
        scene.find_contacts(watch)?;
        go_on(watch, "cutting what runs through each other", 0.45)?;
        scene.cut();
        Ok(scene)
    }

    pub(super) fn plane(&self, triangle: u32) -> &Plane {
        &self.planes[triangle as usize]
    }

    /// Whether a triangle is too thin to tell its sides apart.
    pub(super) fn is_blind(&self, triangle: u32) -> bool {
        self.blind[triangle as usize]
    }

    /// The number of the cutting of a triangle that others meet.
    pub(super) fn cutting(&self, triangle: u32) -> Option<usize> {
        let cutting = self.cutting_of[triangle as usize];
        (cutting != NONE).then_some(cutting as usize)
    }

    /// Whether a point in a triangle's plane lies on the triangle.
    pub(super) fn is_over(&self, triangle: u32, point: Corner) -> bool {
        self.inside(triangle as usize, point) > 0.0
    }

    /// Whether it lies on the triangle or less than `margin` beside it.
    pub(super) fn is_by(&self, triangle: u32, point: Corner, margin: f64) -> bool {
        self.inside(triangle as usize, point) > -margin
    }

    /// How far a point in a triangle's plane is from the nearest of its sides;
    /// negative beyond them.
    fn inside(&self, triangle: usize, point: Corner) -> f64 {
        let corners = self.welded.corners_of(triangle);
        let normal = self.planes[triangle].normal;
        let from_side = |k: usize| {
            let along = less(corners[(k + 1) % 3], corners[k]);
            dot(unit(cross(normal, along)), less(point, corners[k]))
        };
        (0..3).map(from_side).fold(f64::INFINITY, f64::min)
    }

    /// Whether a line on a triangle runs along one of its sides.
    pub(super) fn runs_along(&self, triangle: u32, line: [Corner; 2]) -> bool {
        let corners = self.welded.corners_of(triangle as usize);
        (0..3).any(|k| {
            let side = unit(less(corners[(k + 1) % 3], corners[k]));
            let aside = |end: Corner| length(cross(side, less(end, corners[k])));
            line.iter()
                .all(|end| aside(*end) <= 4.0 * self.welded.tolerance)
        })
    }

    fn flat(&self, triangle: usize) -> Flat<'_> {
        let numbers = &self.welded.triangles[triangle];
        let corner = |k: usize| &self.welded.corners[numbers[k] as usize];
        Flat {
            numbers,
            corners: [corner(0), corner(1), corner(2)],
            plane: &self.planes[triangle],
        }
    }

    fn find_contacts(&mut self, watch: &dyn Watch) -> Result<(), Stopped> {
        const GROUPS: usize = 2048;
        let tolerance = self.welded.tolerance;
        let groups = self.tree.groups_of_items();
        let fans = Fans::of(&self.welded, &self.planes, &self.blind);
        let triangles = &self.welded.triangles;
        let found: Vec<Vec<Contact>> = (0..groups.div_ceil(GROUPS))
            .into_par_iter()
            .map(|block| {
                let first = block * GROUPS;
                go_on(watch, "looking for what runs through each other", 0.2)?;
                let mut contacts = Vec::new();
                self.tree.pairs(first..groups.min(first + GROUPS), |a, b| {
                    if fans.part(&triangles[a], &triangles[b]) {
                        return;
                    }
                    if let Some(meeting) = meet(&self.flat(a), &self.flat(b), tolerance) {
                        contacts.push((a as u32, b as u32, meeting));
                    }
                });
                Ok(contacts)
            })
            .collect::<Result<_, Stopped>>()?;
        self.contacts = found.concat();
        Ok(())
    }

    /// Cuts every triangle along the lines where others meet it.
    fn cut(&mut self) {
        let mut walls: Vec<Vec<[Corner; 2]>> = Vec::new();
        for at in 0..self.contacts.len() {
            let (a, b, meeting) = self.contacts[at];
            for (one, other) in [(a, b), (b, a)] {
                if self.blind[one as usize] {
                    continue;
                }
                let cutting = &mut self.cutting_of[one as usize];
                if *cutting == NONE {
                    *cutting = walls.len() as u32;
                    self.met.push(one);
                    walls.push(Vec::new());
                    self.stacks.push(Vec::new());
                }
                let cutting = *cutting as usize;
                match meeting {
                    Meeting::Line(line) => walls[cutting].push(line),
                    Meeting::Stack => {
                        let corners = self.welded.corners_of(other as usize);
                        self.stacks[cutting].push(other);
                        walls[cutting]
                            .extend([0, 1, 2].map(|k| [corners[k], corners[(k + 1) % 3]]));
                    }
                }
            }
        }
        let cutting = |(&triangle, walls): (&u32, &Vec<[Corner; 2]>)| {
            let corners = self.welded.corners_of(triangle as usize);
            let sheet = Sheet::of(corners, self.plane(triangle).normal);
            let flat: Vec<Line> = walls
                .iter()
                .map(|line| line.map(|end| sheet.flat(end)))
                .collect();
            Cutting::of(sheet, corners, flat, self.welded.tolerance)
        };
        self.cuttings = self.met.par_iter().zip(&walls).map(cutting).collect();
    }

    /// What is first seen from a point on a triangle along a direction of
    /// length 1. The triangle itself and those that it lies on are not seen.
    pub(super) fn look(&self, own: u32, from: Corner, along: Corner) -> Sight {
        let stack = self
            .cutting(own)
            .map_or(&[][..], |cutting| &self.stacks[cutting]);
        let ray = Ray::new(from, along);
        let (mut nearest, mut grazed) = (f64::INFINITY, f64::INFINITY);
        let mut seen = None;
        self.tree.along(&ray, f64::INFINITY, |item| {
            let triangle = item as u32;
            if triangle != own && !stack.contains(&triangle) {
                match self.met_at(item, &ray) {
                    Some((distance, true)) if distance < nearest => {
                        nearest = distance;
                        seen = Some(triangle);
                    }
                    Some((distance, false)) => grazed = grazed.min(distance),
                    _ => {}
                }
            }
            nearest
        });
        let grazes = grazed <= nearest + self.welded.tolerance && grazed < f64::INFINITY;
        // What is so close may as well lie on the other side.
        if grazes || nearest <= CLOSE * self.welded.tolerance {
            return Sight::Unsure;
        }
        seen.map_or(Sight::Open, |triangle| Sight::Wall {
            triangle,
            point: ray.at(nearest),
            front: dot(self.plane(triangle).normal, along) < 0.0,
        })
    }

    /// The first corner of a triangle.
    fn corner(&self, triangle: usize) -> Corner {
        self.welded.corners[self.welded.triangles[triangle][0] as usize]
    }

    /// How far along a ray a triangle is met, and whether that is sure.
    fn met_at(&self, triangle: usize, ray: &Ray) -> Option<(f64, bool)> {
        let tolerance = self.welded.tolerance;
        let plane = &self.planes[triangle];
        let slope = dot(plane.normal, ray.along);
        let above = dot(plane.normal, less(ray.from, self.corner(triangle)));
        let is_steep = slope.abs() > 1e-7;
        if !is_steep && above.abs() > tolerance {
            return None;
        }
        let distance = if is_steep { -above / slope } else { 0.0 };
        if distance < 0.0 {
            return None;
        }
        let inside = self.inside(triangle, ray.at(distance));
        if !is_steep {
            return Some((distance, false));
        }
        (inside >= -tolerance).then_some((distance, inside > tolerance))
    }
}
