//! Faces as dots, the nearest in front.

use std::cmp::Ordering;

use super::light::light;
use super::scene::across;
use super::{Eye, Face, Point, Scene, View, dot, plus};

/// No face at all.
const NONE: u32 = u32::MAX;

/// Faces nearer to one another than this share of the picture's depth lie on
/// one another: the one of the lower tint is seen.
const TOUCHING: f32 = 1e-4;

/// How much darker a dot is that lies behind an edge.
const BEHIND: f32 = 0.55;

/// How light a cut through the solid is.
const SECTION: f32 = 0.5;

/// A scene as it is seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Dots in a line.
    pub width: usize,
    /// Lines.
    pub height: usize,
    /// How points come to lie in it.
    pub view: View,
    dots: Vec<Option<Dot>>,
}

/// What is seen at one dot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dot {
    /// Which face, as [`Face::of`] says.
    pub face: u32,
    /// Its tint.
    pub tint: u8,
    /// How light it lies, 0 to 1.
    pub light: f32,
    /// Whether its back is seen because the print is cut open there: the cut
    /// goes through the solid.
    pub section: bool,
    /// How much nearer than the middle of the box, in mm.
    pub near: f32,
}

/// What is hit along a line of sight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hit {
    /// Which face, as [`Face::of`] says.
    pub face: u32,
    /// Where, in mm from the middle of the box.
    pub at: Point,
    /// Upright on the face at that side of it which is seen; not of length 1.
    pub upright: Point,
}

impl Picture {
    /// At how many of its dots something is seen.
    pub fn covered(&self) -> usize {
        self.dots.iter().flatten().count()
    }

    /// What is seen at a dot, counted from the top left.
    pub fn seen(&self, x: usize, y: usize) -> Option<&Dot> {
        if x >= self.width {
            return None;
        }
        self.dots.get(y * self.width + x)?.as_ref()
    }
}

/// Draws a scene on so many dots.
pub fn draw(scene: &Scene, eye: &Eye, width: usize, height: usize) -> Picture {
    let view = eye.view(scene, width, height);
    let mut raster = Raster {
        width,
        height,
        near: vec![f32::NEG_INFINITY; width * height],
        face: vec![NONE; width * height],
    };
    let faces = faces(scene, &view);
    let touching = TOUCHING * scene.half().into_iter().fold(0.0, f32::max);
    for (at, face) in (0..).zip(faces) {
        let places = face.corners.map(|corner| view.place(corner));
        if !is_open(eye, face.tint, turn_of(&places) < 0.0) {
            let is_over = |other: u32| face.tint < faces[other as usize].tint;
            raster.fill(&places, at, eye.cut, (touching, is_over));
        }
    }
    let dots = raster.dots(scene, faces, eye, &view);
    Picture {
        width,
        height,
        view,
        dots,
    }
}

/// The stand-in while its cells are less than two dots wide.
fn faces<'s>(scene: &'s Scene, view: &View) -> &'s [Face] {
    let side = 2.0 * scene.half().into_iter().fold(0.0, f32::max) / 256.0;
    if scene.stand_in.is_empty() || view.scale * side > 2.0 {
        &scene.faces
    } else {
        &scene.stand_in
    }
}

/// Whether a face is left out so that what lies behind it is seen.
fn is_open(eye: &Eye, tint: u8, is_front: bool) -> bool {
    is_front && u32::from(tint) < u32::BITS && eye.open >> tint & 1 == 1
}

/// Twice the area on the picture; below zero where the front is seen, since
/// lines are counted downwards.
fn turn_of(places: &[Point; 3]) -> f32 {
    let [a, b, c] = places;
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

struct Raster {
    width: usize,
    height: usize,
    near: Vec<f32>,
    face: Vec<u32>,
}

impl Raster {
    /// Fills the dots whose middles lie in a face, its sides included, so that
    /// neighbours leave no gap.
    fn fill(
        &mut self,
        [a, b, c]: &[Point; 3],
        at: u32,
        cut: Option<f32>,
        (touching, is_over): (f32, impl Fn(u32) -> bool),
    ) {
        // The first and the last middle of a dot within the face.
        let span = |axis: usize, dots: usize| {
            let low = a[axis].min(b[axis]).min(c[axis]);
            let high = a[axis].max(b[axis]).max(c[axis]);
            // Casts end at zero and are far quicker than rounding.
            let (first, beyond) = ((low + 0.5) as usize, (high + 0.5) as usize);
            let beyond = beyond.min(dots);
            (first < beyond).then(|| (first, beyond - 1))
        };
        let Some((left, right)) = span(0, self.width) else {
            return;
        };
        let Some((top, bottom)) = span(1, self.height) else {
            return;
        };
        let area = turn_of(&[*a, *b, *c]);
        if area.abs() < f32::MIN_POSITIVE {
            return;
        }
        // Shares of the corners a and b at a dot, and what they grow by.
        let (a_right, b_right) = ((b[1] - c[1]) / area, (c[1] - a[1]) / area);
        let most = cut.unwrap_or(f32::INFINITY);
        for y in top..=bottom {
            let (px, py) = (left as f32 + 0.5, y as f32 + 0.5);
            let mut of_a = ((b[0] - px) * (c[1] - py) - (b[1] - py) * (c[0] - px)) / area;
            let mut of_b = ((c[0] - px) * (a[1] - py) - (c[1] - py) * (a[0] - px)) / area;
            for x in left..=right {
                let of_c = 1.0 - of_a - of_b;
                if of_a >= -1e-5 && of_b >= -1e-5 && of_c >= -1e-5 {
                    let near = of_a * a[2] + of_b * b[2] + of_c * c[2];
                    let dot = y * self.width + x;
                    let over = near - self.near[dot];
                    if near < most
                        && (over > touching || over > -touching && is_over(self.face[dot]))
                    {
                        self.near[dot] = near;
                        self.face[dot] = at;
                    }
                }
                of_a += a_right;
                of_b += b_right;
            }
        }
    }

    /// The dots with their light.
    fn dots(&self, scene: &Scene, faces: &[Face], eye: &Eye, view: &View) -> Vec<Option<Dot>> {
        let is_rounded = !scene.upright.is_empty() && faces.len() == scene.faces.len();
        let [_, _, towards] = view.directions;
        let edge = 3.0 / view.scale;
        let every = (0..self.height).flat_map(|y| (0..self.width).map(move |x| (x, y)));
        let dots = every.map(|(x, y)| {
            let dot_at = y * self.width + x;
            let at = self.face[dot_at];
            if at == NONE {
                return None;
            }
            let (face, near) = (&faces[at as usize], self.near[dot_at]);
            let flat = across(&face.corners);
            let is_back = dot(flat, towards) < 0.0;
            let section = is_back && eye.cut.is_some();
            let upright = match scene.upright.get(at as usize) {
                Some(corners) if is_rounded => {
                    let place = [x as f32 + 0.5, y as f32 + 0.5];
                    let upright = between(&face.corners, corners, view, place);
                    // A rounded rim must not look away from the eye.
                    if (dot(upright, towards) < 0.0) == is_back {
                        upright
                    } else {
                        flat
                    }
                }
                _ => flat,
            };
            let mut light = if section {
                SECTION
            } else {
                light(view.directions.map(|direction| dot(upright, direction)))
            };
            if self.is_behind(x, y, near + edge) {
                light *= BEHIND;
            }
            Some(Dot {
                face: face.of,
                tint: face.tint,
                light,
                section,
                near,
            })
        });
        dots.collect()
    }

    /// Whether a neighbour is nearer than this.
    fn is_behind(&self, x: usize, y: usize, near: f32) -> bool {
        let row = y * self.width;
        let beside = [
            (x > 0).then(|| row + x - 1),
            (x + 1 < self.width).then_some(row + x + 1),
            (y > 0).then(|| row + x - self.width),
            (y + 1 < self.height).then_some(row + x + self.width),
        ];
        let mut beside = beside.into_iter().flatten();
        beside.any(|dot| self.near[dot] > near)
    }
}

/// What is upright on a rounded face at a dot: the mean of its corners'.
fn between(corners: &[Point; 3], upright: &[Point; 3], view: &View, [x, y]: [f32; 2]) -> Point {
    let [a, b, c] = corners.map(|corner| view.place(corner));
    let area = turn_of(&[a, b, c]);
    if area.abs() < f32::MIN_POSITIVE {
        return upright[0];
    }
    let of_a = ((b[0] - x) * (c[1] - y) - (b[1] - y) * (c[0] - x)) / area;
    let of_b = ((c[0] - x) * (a[1] - y) - (c[1] - y) * (a[0] - x)) / area;
    let sum = plus([0.0; 3], upright[0], of_a);
    let sum = plus(sum, upright[1], of_b);
    plus(sum, upright[2], 1.0 - of_a - of_b)
}

/// What is seen at a point: what the line of sight through it meets first.
pub fn pick(scene: &Scene, eye: &Eye, point: Point) -> Option<Hit> {
    let [right, up, _] = eye.directions();
    let aside = [dot(point, right), dot(point, up)];
    let faces = scene.along([right, up], aside);
    first_of(faces.map(|at| &scene.faces[at]), eye, aside)
}

/// What a line of sight meets first of these faces; of those equally near the
/// first of the print.
fn first_of<'f>(faces: impl Iterator<Item = &'f Face>, eye: &Eye, [x, y]: [f32; 2]) -> Option<Hit> {
    let [right, up, near] = eye.directions();
    let mut found: Option<(f32, Hit)> = None;
    for face in faces {
        let [a, b, c] = face
            .corners
            .map(|corner| [dot(corner, right) - x, dot(corner, up) - y]);
        let shares = [(b, c), (c, a), (a, b)].map(|(b, c)| b[0] * c[1] - b[1] * c[0]);
        let area: f32 = shares.iter().sum();
        let is_within = shares.iter().all(|share| share * area >= 0.0);
        if !is_within || area.abs() < f32::MIN_POSITIVE || is_open(eye, face.tint, area > 0.0) {
            continue;
        }
        let met = face.corners.iter().zip(shares);
        let at = met.fold([0.0; 3], |sum, (corner, share)| {
            plus(sum, *corner, share / area)
        });
        let depth = dot(at, near);
        let is_cut = eye.cut.is_some_and(|cut| depth >= cut);
        let is_first = found.is_none_or(|(nearest, hit)| match depth.total_cmp(&nearest) {
            Ordering::Greater => true,
            Ordering::Equal => face.of < hit.face,
            Ordering::Less => false,
        });
        if !is_cut && is_first {
            let flat = across(&face.corners);
            let upright = if area < 0.0 { flat.map(|n| -n) } else { flat };
            let face = face.of;
            found = Some((depth, Hit { face, at, upright }));
        }
    }
    found.map(|(_, hit)| hit)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Corner;

    /// A ball of radius 10, its triangles turned outwards.
    fn ball(bands: usize) -> Vec<[Corner; 3]> {
        use std::f64::consts::PI;
        let at = |band: usize, step: usize| {
            let (down, round) = (
                PI * band as f64 / bands as f64,
                PI * step as f64 / bands as f64,
            );
            [
                10.0 * down.sin() * round.cos(),
                10.0 * down.sin() * round.sin(),
                10.0 * down.cos(),
            ]
        };
        let mut ball = Vec::new();
        for band in 0..bands {
            for step in 0..2 * bands {
                let [a, b] = [at(band, step), at(band, step + 1)];
                let [c, d] = [at(band + 1, step), at(band + 1, step + 1)];
                ball.push([a, c, b]);
                ball.push([b, c, d]);
            }
        }
        ball
    }

    fn square(y: f64, tint: u8, half: f64) -> [([Corner; 3], u8); 2] {
        let [a, b, c, d] = [(-1, -1), (1, -1), (1, 1), (-1, 1)]
            .map(|(x, z)| [half * f64::from(x), y, half * f64::from(z)]);
        [([a, b, c], tint), ([a, c, d], tint)]
    }

    fn scene_of(triangles: Vec<[Corner; 3]>) -> Scene {
        Scene::of(triangles.into_iter().map(|corners| (corners, 0)))
    }

    #[test]
    fn a_ball_covers_the_area_of_its_disc_from_every_side_and_at_every_zoom() {
        let scene = scene_of(ball(90));
        for (yaw, tilt, zoom) in [(0.0, 0.0, 1.0), (40.0, 25.0, 1.0), (-120.0, -80.0, 0.7)] {
            let eye = Eye {
                yaw,
                tilt,
                zoom,
                ..Eye::FRONT
            };
            let picture = draw(&scene, &eye, 300, 300);
            let radius = 10.0 * picture.view.scale;
            let disc = std::f32::consts::PI * radius * radius;
            let found = picture.covered() as f32;
            assert!((found / disc - 1.0).abs() < 0.01, "{found} for {disc}");
        }
    }

    #[test]
    fn x_goes_right_z_goes_up_and_the_front_looks_along_minus_y() {
        let pixel = |x: f64, z: f64| {
            let corner = |dx: f64, dz: f64| [x + dx, 0.0, z + dz];
            [corner(-1.0, -1.0), corner(1.0, -1.0), corner(0.0, 1.0)]
        };
        let scene = Scene::of([
            (pixel(-9.0, 0.0), 1),
            (pixel(9.0, 0.0), 2),
            (pixel(0.0, 9.0), 3),
            (pixel(0.0, -9.0), 4),
        ]);
        let picture = draw(&scene, &Eye::FRONT, 100, 100);
        let middle = |tint: u8| {
            let dots = (0..100).flat_map(|y| (0..100).map(move |x| (x, y)));
            let of = |(x, y): &(usize, usize)| picture.seen(*x, *y).is_some_and(|d| d.tint == tint);
            dots.clone().find(of).unwrap()
        };
        assert!(middle(1).0 < 40 && middle(2).0 > 60, "left and right");
        assert!(middle(3).1 < 40 && middle(4).1 > 60, "up and down");
        // Turned by a quarter to the right, the front looks to the right.
        let [right, ..] = Eye::FRONT.turned(90.0, 0.0).directions();
        assert!(dot(right, [0.0, -1.0, 0.0]) > 0.999);
        // From above, what was at the back is up.
        let [_, up, near] = Eye::FRONT.turned(0.0, 90.0).directions();
        assert!(up[1] > 0.999 && near[2] > 0.999);
    }

    #[test]
    fn the_nearest_is_seen_whatever_comes_first_and_a_cut_opens_what_is_behind() {
        let (near, far) = (square(-5.0, 1, 5.0), square(5.0, 2, 5.0));
        for faces in [[near, far].concat(), [far, near].concat()] {
            let scene = Scene::of(faces);
            let tint = |eye: &Eye| {
                let picture = draw(&scene, eye, 40, 40);
                picture.seen(20, 20).map(|dot| dot.tint)
            };
            let hit = |eye: &Eye| pick(&scene, eye, [0.5, 0.0, 0.5]).map(|hit| hit.at[1]);
            assert_eq!(tint(&Eye::FRONT), Some(1));
            assert_eq!(hit(&Eye::FRONT), Some(-5.0));
            assert_eq!(tint(&Eye::FRONT.turned(180.0, 0.0)), Some(2));
            let cut = Eye {
                cut: Some(0.0),
                ..Eye::FRONT
            };
            assert_eq!((tint(&cut), hit(&cut)), (Some(2), Some(5.0)));
            let open = Eye {
                open: 0b10,
                ..Eye::FRONT
            };
            assert_eq!((tint(&open), hit(&open)), (Some(2), Some(5.0)));
        }
    }

    #[test]
    fn of_faces_on_one_another_the_lower_tint_is_seen() {
        for tints in [[1, 3], [3, 1]] {
            let faces = tints.map(|tint| square(0.0, tint, 5.0)).concat();
            let picture = draw(&Scene::of(faces), &Eye::FRONT, 30, 30);
            assert!(picture.dots.iter().flatten().all(|dot| dot.tint == 1));
        }
    }

    #[test]
    fn what_is_picked_is_what_is_drawn() {
        let scene = scene_of(ball(12));
        let eye = Eye::REST;
        let picture = draw(&scene, &eye, 60, 60);
        let [right, up, _] = eye.directions();
        for (x, y) in [(30, 30), (20, 25), (40, 33), (30, 45), (25, 12)] {
            let aside = (x as f32 + 0.5 - 30.0) / picture.view.scale;
            let higher = (30.0 - y as f32 - 0.5) / picture.view.scale;
            let point = plus(plus([0.0; 3], right, aside), up, higher);
            let hit = pick(&scene, &eye, point).unwrap();
            let seen = picture.seen(x, y).unwrap();
            assert_eq!(hit.face, seen.face, "{x}, {y}");
            assert!((dot(hit.at, eye.directions()[2]) - seen.near).abs() < 1e-3);
        }
        assert_eq!(pick(&scene, &eye, [0.0, 0.0, 30.0]), None);
    }

    #[test]
    fn of_many_faces_few_are_looked_at_and_none_is_missed() {
        // In an order in which neighbours lie apart.
        let mut faces = ball(60);
        faces.sort_by_key(|[[x, ..], ..]| (x * 1e6) as i64 % 997);
        let scene = scene_of(faces);
        let (mut looked, mut hits) = (0, 0);
        for step in 0..400 {
            let eye = Eye::FRONT.turned(step as f32 * 7.0, step as f32 % 50.0);
            let [right, up, _] = eye.directions();
            let (u, v) = ((step % 20) as f32 - 9.7, (step / 20) as f32 - 9.9);
            let point = plus(plus([0.0; 3], right, u), up, v);
            let aside = [dot(point, right), dot(point, up)];
            let hit = pick(&scene, &eye, point);
            assert_eq!(hit, first_of(scene.faces.iter(), &eye, aside), "{step}");
            hits += usize::from(hit.is_some());
            looked += scene.along([right, up], aside).count();
        }
        assert!(hits > 250, "{hits}");
        assert!(looked < 400 * scene.faces.len() / 5, "{looked}");
    }

    #[test]
    fn light_falls_from_the_upper_left_and_a_ball_is_round() {
        let picture = draw(&scene_of(ball(40)), &Eye::FRONT, 100, 100);
        let light = |x: usize, y: usize| picture.seen(x, y).unwrap().light;
        assert!(light(35, 30) > light(50, 50) + 0.05);
        assert!(light(50, 50) > light(68, 75) + 0.2);
        // Neighbours on a rounded surface differ by little.
        for x in 30..70 {
            assert!((light(x, 50) - light(x + 1, 50)).abs() < 0.03, "{x}");
        }
    }

    #[test]
    fn a_cut_through_the_solid_is_a_section_all_over() {
        let cut = Eye {
            cut: Some(0.0),
            ..Eye::FRONT
        };
        let picture = draw(&scene_of(ball(40)), &cut, 100, 100);
        assert!(picture.covered() > 3000);
        assert!(picture.dots.iter().flatten().all(|dot| dot.section));
    }

    #[test]
    fn a_stand_in_looks_the_same_from_afar() {
        let fine = scene_of(ball(290));
        assert!(!fine.stand_in.is_empty() && fine.stand_in.len() < fine.faces.len());
        let stand_in = draw(&fine, &Eye::REST, 200, 200);
        let mut whole = fine.clone();
        whole.stand_in.clear();
        let whole = draw(&whole, &Eye::REST, 200, 200);
        let same = stand_in.dots.iter().zip(&whole.dots);
        let other = same.filter(|(a, b)| a.is_some() != b.is_some()).count();
        assert!(other < 200, "{other}");
    }

    #[test]
    fn nothing_and_what_is_not_finite_is_drawn_as_nothing() {
        for faces in [Vec::new(), vec![([[f64::NAN; 3]; 3], 0)]] {
            let picture = draw(&Scene::of(faces), &Eye::REST, 10, 10);
            assert_eq!(picture.covered(), 0);
        }
        let line = [([[1.0; 3], [2.0; 3], [3.0; 3]], 0)];
        draw(&Scene::of(line), &Eye::REST, 10, 10);
        assert_eq!(draw(&Scene::of(line), &Eye::REST, 0, 0).dots.len(), 0);
    }
}
