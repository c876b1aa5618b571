//! Whether a print fits into a tank, and how it has to be turned.

use std::f64::consts::{PI, TAU};
use std::fmt;

use rayon::prelude::*;

use crate::mesh::space::{dot, less};
use crate::mesh::{Corner, Facet};

/// The liquid that a print has to fit into, in mm. Axis z stands upright.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Room {
    /// A tank with flat walls.
    Box {
        /// Inside, along x, y and z (the depth of the bath).
        inside_mm: [f64; 3],
        /// What has to stay free at the low and at the high wall of each axis:
        /// the thickness of an anode and its bag there, and the gap to it; below,
        /// the sludge; above, the bath over the work.
        keep_mm: [[f64; 2]; 3],
    },
    /// A round tank or beaker.
    Round {
        /// Inside.
        diameter_mm: f64,
        /// Of the bath.
        depth_mm: f64,
        /// What has to stay free all around the wall.
        keep_side_mm: f64,
        /// What has to stay free below and above.
        keep_ends_mm: [f64; 2],
    },
}

/// How a print is turned: about the tank's fixed axes x, then y, then z, in
/// degrees, each counter-clockwise seen from the axis' end.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Turn {
    /// About x, y, z in degrees.
    pub degrees: [f64; 3],
}

impl Turn {
    /// Where it takes a point.
    pub fn of(self, point: Corner) -> Corner {
        let rows = self.rows();
        rows.map(|row| dot(row, point))
    }

    fn rows(self) -> [Corner; 3] {
        let [(sx, cx), (sy, cy), (sz, cz)] =
            self.degrees.map(|degrees| degrees.to_radians().sin_cos());
        [
            [cz * cy, cz * sy * sx - sz * cx, cz * sy * cx + sz * sx],
            [sz * cy, sz * sy * sx + cz * cx, sz * sy * cx - cz * sx],
            [-sy, cy * sx, cy * cx],
        ]
    }

    fn is_none(self) -> bool {
        self.degrees.iter().all(|degrees| degrees.abs() < 0.05)
    }
}

impl fmt::Display for Turn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_none() {
            return f.write_str("as it is");
        }
        let mut joint = "turned ";
        for (axis, degrees) in ["x", "y", "z"].into_iter().zip(self.degrees) {
            if degrees.abs() >= 0.05 {
                write!(f, "{joint}{degrees:.0}° about {axis}")?;
                joint = ", then ";
            }
        }
        Ok(())
    }
}

/// A way in which a print fits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// How it is turned.
    pub turn: Turn,
    /// Its extents along x, y, z then; in a round tank the first two are the
    /// diameter of the narrowest upright tube around it.
    pub size_mm: [f64; 3],
    /// From the low and the high wall of each axis, hung in the middle of what
    /// is free; what was to be kept is in it. In a round tank the first two
    /// axes both tell the gap all around.
    pub clear_mm: [[f64; 2]; 3],
    /// What is left over on each side in the tightest direction, beyond what
    /// was to be kept.
    pub spare_mm: f64,
    /// Whether its longest way lies more than 10 degrees off all three axes.
    pub is_diagonal: bool,
}

impl fmt::Display for Fit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.turn)?;
        if self.is_diagonal {
            f.write_str(", laid along the diagonal")?;
        }
        Ok(())
    }
}

/// Whether a print fits into a tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fits {
    /// As it is in the file, if it fits so.
    pub as_is: Option<Fit>,
    /// The plainest turn in which it fits: as it is, by quarter turns, by steps
    /// of 5 degrees about one axis, then any. Of equally plain ones that with
    /// the most to spare.
    pub turned: Option<Fit>,
}

/// Fits a print into a tank.
///
/// It stands for the corners of its convex hull: those that are outermost in
/// one of 1200 directions (all of a plain shape; of a round one the error is
/// under a thousandth of its size). Turns are tried in steps of about 10
/// degrees and the best refined, so that what fits with less than about half a
/// per cent of its size to spare may be missed; what is told to fit does.
pub fn fits(facets: &[Facet], room: Room) -> Fits {
    let corners = distinct(facets);
    if corners.is_empty() {
        return Fits {
            as_is: None,
            turned: None,
        };
    }
    let as_is = tried(&corners, room, Turn::default());
    let found = || plainest(&outermost(&corners), room);
    // The search knows the hull only nearly: what it found is tried in full.
    let turned = as_is.or_else(|| tried(&corners, room, found()?.turn));
    Fits { as_is, turned }
}

/// The fit in this turn, if it is one.
fn tried(hull: &[Corner], room: Room, turn: Turn) -> Option<Fit> {
    let fit = hung(hull, room, turn);
    (fit.spare_mm >= 0.0).then_some(fit)
}

/// The corners that are outermost in some direction.
fn outermost(corners: &[Corner]) -> Vec<Corner> {
    const WAYS: usize = 1200;
    let ways: Vec<Corner> = (0..WAYS).map(|number| on_sphere(number, WAYS)).collect();
    let furthest = |way: &Corner| {
        let along = |&corner: &Corner| dot(corner, *way);
        let further = |best: (f64, usize), (at, corner)| {
            let far = along(corner);
            if far > best.0 { (far, at) } else { best }
        };
        corners
            .iter()
            .enumerate()
            .fold((f64::NEG_INFINITY, 0), further)
            .1
    };
    let mut kept: Vec<usize> = ways.par_iter().map(furthest).collect();
    kept.sort_unstable();
    kept.dedup();
    kept.into_iter().map(|at| corners[at]).collect()
}

/// Every corner once, as good as: facets that follow each other share most.
fn distinct(facets: &[Facet]) -> Vec<Corner> {
    let mut corners: Vec<Corner> = facets.iter().flat_map(|facet| facet.corners).collect();
    let bits = |corner: &Corner| corner.map(f64::to_bits);
    corners.par_sort_unstable_by_key(bits);
    corners.dedup_by_key(|corner| bits(corner));
    corners
}

/// Directions spread evenly over the sphere (Fibonacci lattice).
fn on_sphere(number: usize, of: usize) -> Corner {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    let height = 1.0 - (2.0 * number as f64 + 1.0) / of as f64;
    let angle = TAU * (number as f64 * GOLDEN).fract();
    let round = (1.0 - height * height).sqrt();
    [round * angle.cos(), round * angle.sin(), height]
}

/// A print hung in the middle of what is free, whether it fits or not.
fn hung(hull: &[Corner], room: Room, turn: Turn) -> Fit {
    let rows = turn.rows();
    let extent = |axis: usize| {
        let along = hull.iter().map(|&corner| dot(corner, rows[axis]));
        let ends = along.fold((f64::MAX, f64::MIN), |(low, high), x| {
            (low.min(x), high.max(x))
        });
        ends.1 - ends.0
    };
    let (size_mm, inside, keep) = match room {
        Room::Box { inside_mm, keep_mm } => ([0, 1, 2].map(extent), inside_mm, keep_mm),
        Room::Round {
            diameter_mm,
            depth_mm,
            keep_side_mm,
            keep_ends_mm,
        } => {
            let flat: Vec<_> = hull
                .iter()
                .map(|&corner| [dot(corner, rows[0]), dot(corner, rows[1])])
                .collect();
            let tube = 2.0 * narrowest_circle(&flat);
            let side = [keep_side_mm; 2];
            (
                [tube, tube, extent(2)],
                [diameter_mm, diameter_mm, depth_mm],
                [side, side, keep_ends_mm],
            )
        }
    };
    let spare = |axis: usize| (inside[axis] - size_mm[axis] - keep[axis][0] - keep[axis][1]) / 2.0;
    Fit {
        turn,
        size_mm,
        clear_mm: [0, 1, 2].map(|axis| keep[axis].map(|kept| kept + spare(axis))),
        spare_mm: spare(0).min(spare(1)).min(spare(2)),
        is_diagonal: is_diagonal(hull, turn),
    }
}

/// Whether the longest way across lies well off every axis.
fn is_diagonal(hull: &[Corner], turn: Turn) -> bool {
    /// The cosine of 10 degrees, squared.
    const ALONG: f64 = 0.9698;
    let furthest = |from: Corner| {
        let far = |&corner: &Corner| {
            let way = less(corner, from);
            dot(way, way)
        };
        let best = hull.iter().max_by(|a, b| far(a).total_cmp(&far(b)));
        best.copied().unwrap_or(from)
    };
    let start = hull.first().copied().unwrap_or_default();
    let one = furthest(furthest(start));
    let way = less(furthest(one), one);
    let turned = turn.of(way);
    let squared = dot(way, way);
    turned.iter().all(|along| along * along < ALONG * squared)
}

/// The radius of the narrowest circle around points (Welzl 1991, in loops).
fn narrowest_circle(points: &[[f64; 2]]) -> f64 {
    let is_in = |circle: &Circle, point: [f64; 2]| {
        let far = (point[0] - circle.middle[0]).hypot(point[1] - circle.middle[1]);
        far <= circle.radius * (1.0 + 1e-9) + 1e-12
    };
    let mut circle = Circle {
        middle: points.first().copied().unwrap_or_default(),
        radius: 0.0,
    };
    for (i, &a) in points.iter().enumerate() {
        if is_in(&circle, a) {
            continue;
        }
        circle = Circle {
            middle: a,
            radius: 0.0,
        };
        for (j, &b) in points[..i].iter().enumerate() {
            if is_in(&circle, b) {
                continue;
            }
            circle = Circle::on_two(a, b);
            for &c in &points[..j] {
                if !is_in(&circle, c) {
                    circle = Circle::on_three(a, b, c);
                }
            }
        }
    }
    circle.radius
}

struct Circle {
    middle: [f64; 2],
    radius: f64,
}

impl Circle {
    fn on_two(a: [f64; 2], b: [f64; 2]) -> Self {
        Self {
            middle: [f64::midpoint(a[0], b[0]), f64::midpoint(a[1], b[1])],
            radius: (a[0] - b[0]).hypot(a[1] - b[1]) / 2.0,
        }
    }

    fn on_three(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> Self {
        let (b, c) = ([b[0] - a[0], b[1] - a[1]], [c[0] - a[0], c[1] - a[1]]);
        let turn = 2.0 * (b[0] * c[1] - b[1] * c[0]);
        let (bb, cc) = (b[0] * b[0] + b[1] * b[1], c[0] * c[0] + c[1] * c[1]);
        let x = (c[1] * bb - b[1] * cc) / turn;
        let y = (b[0] * cc - c[0] * bb) / turn;
        Self {
            middle: [a[0] + x, a[1] + y],
            radius: x.hypot(y),
        }
    }
}

/// The best fit among the plainest turns in which there is one.
fn plainest(hull: &[Corner], room: Room) -> Option<Fit> {
    let best = |turns: Vec<[f64; 3]>| {
        let fits = turns
            .into_par_iter()
            .filter_map(|degrees| tried(hull, room, Turn { degrees }));
        fits.max_by(more_spare)
    };
    best(quarter_turns())
        .or_else(|| best(steps_about_one_axis()))
        .or_else(|| searched(hull, room))
}

fn more_spare(a: &Fit, b: &Fit) -> std::cmp::Ordering {
    // The plainer of two that are as good.
    let plain = |fit: &Fit| {
        fit.turn
            .degrees
            .iter()
            .map(|degrees| degrees.abs())
            .sum::<f64>()
    };
    let rounded = |fit: &Fit| (fit.spare_mm * 1e6).round();
    rounded(a)
        .total_cmp(&rounded(b))
        .then(plain(b).total_cmp(&plain(a)))
}

/// The turns that lay each axis along each other.
fn quarter_turns() -> Vec<[f64; 3]> {
    let quarter = [0.0, 90.0];
    let all = quarter.map(|x| quarter.map(|y| quarter.map(|z| [x, y, z])));
    all.into_iter().flatten().flatten().collect()
}

fn steps_about_one_axis() -> Vec<[f64; 3]> {
    let steps = (-17..=18).map(|step| f64::from(step) * 5.0);
    let about = |axis: usize| {
        move |degrees: f64| {
            let mut turn = [0.0; 3];
            turn[axis] = degrees;
            turn
        }
    };
    steps
        .flat_map(|degrees| [0, 1, 2].map(|axis| about(axis)(degrees)))
        .collect()
}

/// The best of all turns: a grid over them, and the best dozen refined.
fn searched(hull: &[Corner], room: Room) -> Option<Fit> {
    const REFINED: usize = 12;
    let steps_about_z = match room {
        Room::Box { .. } => 18,
        Room::Round { .. } => 1,
    };
    // Evenly over the sphere: even in the tilt's sine. Tilts below 0 are half
    // turns of those above.
    let tilts = (0..8).map(|step| ((2.0 * f64::from(step) + 1.0) / 16.0_f64).asin());
    let turns: Vec<[f64; 3]> = tilts
        .flat_map(|tilt| {
            (0..36).flat_map(move |x| {
                (0..steps_about_z)
                    .map(move |z| [f64::from(x) * 10.0, tilt * 180.0 / PI, f64::from(z) * 10.0])
            })
        })
        .collect();
    let hang = |degrees: [f64; 3]| hung(hull, room, Turn { degrees });
    let mut hung: Vec<Fit> = turns.into_par_iter().map(hang).collect();
    hung.sort_by(|a, b| b.spare_mm.total_cmp(&a.spare_mm));
    hung.truncate(REFINED);
    let refined = hung.into_par_iter().map(|start| refined(start, &hang));
    refined.max_by(more_spare).filter(|fit| fit.spare_mm >= 0.0)
}

/// Turned on as long as it gets roomier, by ever smaller steps about each axis
/// and about pairs of them.
fn refined(start: Fit, hang: &impl Fn([f64; 3]) -> Fit) -> Fit {
    const SMALLEST: f64 = 0.01;
    let ways: Vec<[f64; 3]> = (0..27)
        .map(|number| [number % 3, number / 3 % 3, number / 9])
        .map(|way| way.map(|step| f64::from(step) - 1.0))
        .collect();
    let (mut best, mut step) = (start, 5.0);
    while step > SMALLEST {
        let next = ways.iter().map(|way| {
            let from = best.turn.degrees;
            hang([0, 1, 2].map(|axis| from[axis] + step * way[axis]))
        });
        match next.max_by(more_spare) {
            Some(next) if next.spare_mm > best.spare_mm + 1e-9 => best = next,
            _ => step /= 2.0,
        }
    }
    best
}
