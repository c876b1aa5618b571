//! Where nodules will grow: the ends of spikes, rods, blades and corners.

use rayon::prelude::*;

use super::boxes::{Bounds, Boxes};
use super::lean::Lean;
use crate::mesh::space::{dot, length, less, middle, plus, times, unit};
use crate::mesh::{Corner, Facet};
use crate::units::{Stopped, Watch, go_on};

/// A convex end of the surface: current crowds there, and metal grows thick
/// and rough.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tip {
    /// Its outermost corner, in mm.
    pub at_mm: Corner,
    /// Radius in mm of the ball that lies in it as it lies in a round end;
    /// [`Tip::RESOLVED_MM`] means that or less.
    pub radius_mm: f64,
    /// Half angle in degrees of the round cone that is as pointed, within the
    /// scale that was looked at.
    pub half_angle_deg: f64,
    /// From 0, flat, to 1, the end of a needle: the cosine of the half angle.
    /// A cube's corner has 0.753, a right-angled edge 0.541.
    pub sharpness: f64,
}

impl Tip {
    /// The smallest radius in mm that is told apart from none: finer than what
    /// a printer leaves of a point. Common practice, no source.
    pub const RESOLVED_MM: f64 = 0.05;

    /// The radius of the ball in which the surface is looked at, as a share of
    /// the diagonal of the box around the print. A choice.
    /// A round end is a tip up to about two fifths of it.
    pub const SCALE: f64 = 0.03;

    /// How far the surface leans away from a tip at least. From an edge, were
    /// it a razor's, it is at most 2/pi = 0.637 (two half discs on each other,
    /// centroid 4 r / 3 pi), from the corner of a cube 0.735.
    const LEAST_POINTED: f64 = 0.68;
}

/// The tips of a print, the sharpest first.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tips {
    /// The sharpest of them, at most [`Tips::MOST`].
    pub sharpest: Vec<Tip>,
    /// How many there are in all.
    pub count: usize,
}

impl Tips {
    /// How many are listed at most.
    pub const MOST: usize = 12;
}

/// Finds the tips of a surface that is turned outwards.
///
/// Around each point that may be one, the surface within a ball is weighed: the
/// further its centroid lies from the point, the more pointed it is there; the
/// thinner the solid in the ball, the sharper. Such
/// integrals over a ball depend on the shape and not on how it is cut into
/// triangles (Pottmann et al., Integral invariants for robust geometry
/// processing, 2009; from memory). Points closer to each other than the ball's
/// radius are one tip.
///
/// # Errors
/// [`Stopped`] where `watch` asks for it.
pub fn tips(facets: &[Facet], watch: &dyn Watch) -> Result<Tips, Stopped> {
    within(&Boxes::new(facets), watch)
}

pub(super) fn within(boxes: &Boxes<'_>, watch: &dyn Watch) -> Result<Tips, Stopped> {
    go_on(watch, "looking for tips", 0.0)?;
    let scale = Tip::SCALE * boxes.diagonal();
    if scale <= 0.0 {
        return Ok(Tips::default());
    }
    let suspects = every_corner(boxes.facets()).unwrap_or_else(|| suspects(boxes, scale));
    go_on(watch, "looking for tips", 0.5)?;
    let found: Vec<_> = suspects
        .into_par_iter()
        .filter_map(|corner| climb(boxes, corner, scale))
        .collect();
    let mut tips = merged(found, scale);
    let count = tips.len();
    tips.truncate(Tips::MOST);
    let sharpest = tips.iter().map(|point| point.tip(boxes, scale)).collect();
    Ok(Tips { sharpest, count })
}

#[derive(Debug, Clone, Copy)]
struct Point {
    at: Corner,
    pointedness: f64,
    sharpness: f64,
}

impl Point {
    fn tip(self, boxes: &Boxes<'_>, scale: f64) -> Tip {
        Tip {
            at_mm: self.at,
            radius_mm: radius(boxes, self, scale),
            half_angle_deg: self.sharpness.acos().to_degrees(),
            sharpness: self.sharpness,
        }
    }
}

/// The radius of the round end at a tip.
///
/// Seen from a point of a sphere of radius R, the cap within a ball of radius s
/// has the area pi s² and its centroid at s² / 4 R (Archimedes), which is a
/// pointedness of 3 s / 8 R. The ball is made smaller as long as the surface is
/// well bent within it.
fn radius(boxes: &Boxes<'_>, point: Point, scale: f64) -> f64 {
    const SMALLER: f64 = 0.8;
    const WELL_BENT: f64 = 0.35;
    let on_sphere = |ball: f64, pointedness: f64| 3.0 * ball / (8.0 * pointedness);
    let (mut ball, mut radius) = (scale, on_sphere(scale, point.pointedness));
    while radius > Tip::RESOLVED_MM {
        ball *= SMALLER;
        let pointedness = Lean::at(boxes, point.at, ball).pointedness(ball);
        if pointedness < WELL_BENT {
            return radius;
        }
        radius = on_sphere(ball, pointedness);
    }
    Tip::RESOLVED_MM
}

/// From a corner to the outermost one near it, as long as it gets sharper.
fn climb(boxes: &Boxes<'_>, from: Corner, scale: f64) -> Option<Point> {
    const STEPS: usize = 4;
    const HOPELESS: f64 = 0.5;
    let mut best = Lean::at(boxes, from, scale);
    let mut at = from;
    for _ in 0..STEPS {
        if best.pointedness(scale) < HOPELESS {
            return None;
        }
        let outermost = outermost(boxes, at, unit(best.mean()), scale / 2.0);
        let lean = Lean::at(boxes, outermost, scale);
        if lean.pointedness(scale) <= best.pointedness(scale) {
            break;
        }
        (at, best) = (outermost, lean);
    }
    let pointedness = best.pointedness(scale);
    let is_tip = pointedness >= Tip::LEAST_POINTED && best.is_convex();
    is_tip.then(|| Point {
        at,
        pointedness,
        sharpness: best.sharpness(scale),
    })
}

fn outermost(boxes: &Boxes<'_>, at: Corner, inward: Corner, reach: f64) -> Corner {
    let (mut best, mut depth) = (at, 0.0);
    boxes.near(at, reach, |facet| {
        for corner in facet.corners {
            let step = less(corner, at);
            if dot(step, inward) < depth && length(step) <= reach {
                (best, depth) = (corner, dot(step, inward));
            }
        }
    });
    best
}

/// The most pointed of each neighbourhood, the sharpest first.
fn merged(mut found: Vec<Point>, scale: f64) -> Vec<Point> {
    // What differs by less than rounding is equal, and goes by where it is.
    let falling = |number: f64| -(number * 1e6).round() as i64;
    let place = |point: &Point| point.at.map(|number| (number * 1e3).round() as i64);
    found.sort_by_key(|point| (falling(point.pointedness), place(point)));
    let mut kept: Vec<Point> = Vec::new();
    for point in found {
        if kept
            .iter()
            .all(|other| length(less(other.at, point.at)) > scale)
        {
            kept.push(point);
        }
    }
    kept.sort_by_key(|point| (falling(point.sharpness), place(point)));
    kept
}

/// So many corners at most are looked at closely.
const MOST_SUSPECTS: usize = 3000;

/// All corners, where they are so few that none need be left out.
fn every_corner(facets: &[Facet]) -> Option<Vec<Corner>> {
    if facets.len() > 2 * MOST_SUSPECTS {
        return None;
    }
    let all = facets.iter().flat_map(|facet| facet.corners);
    let mut corners: Vec<Corner> = all.map(|corner| corner.map(|at| at + 0.0)).collect();
    corners.sort_by(|a, b| a.partial_cmp(b).unwrap_or(std::cmp::Ordering::Equal));
    corners.dedup();
    (corners.len() <= MOST_SUSPECTS).then_some(corners)
}

/// Corners that may be tips: the outermost of each cell of a coarse grid around
/// which the surface, seen coarsely, leans away.
fn suspects(boxes: &Boxes<'_>, scale: f64) -> Vec<Corner> {
    // Seen from the middle of a cell's surface the corner of a box leans away
    // less than seen from itself, where it is 0.735; an edge, 0.541 at most.
    const SUSPICIOUS: f64 = 0.4;
    let grid = Grid::new(boxes.bounds(), scale / 3.0);
    let tally = grid.tally(boxes.facets());
    let means: Vec<Corner> = (0..tally.len())
        .into_par_iter()
        .with_min_len(256)
        .map(|cell| {
            let is_bare = !tally[cell].has_corner;
            if is_bare {
                [0.0; 3]
            } else {
                grid.coarse_mean(&tally, cell, scale)
            }
        })
        .collect();
    let sharpness: Vec<f64> = means
        .iter()
        .map(|&mean| 1.5 * length(mean) / scale)
        .collect();
    let mut leaning: Vec<(usize, f64, Corner)> = (0..tally.len())
        .filter(|&cell| sharpness[cell] > SUSPICIOUS && grid.is_summit(&sharpness, cell))
        .map(|cell| (cell, sharpness[cell], unit(means[cell])))
        .collect();
    leaning.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    leaning.truncate(MOST_SUSPECTS);
    grid.outermost(boxes.facets(), &leaning, tally.len())
}

/// Cubes that fill the box around a print.
struct Grid {
    low: Corner,
    cell: f64,
    counts: [usize; 3],
}

/// What a cell of the grid holds.
#[derive(Debug, Clone, Copy, Default)]
struct Cell {
    area: f64,
    moment: Corner,
    has_corner: bool,
}

/// In how many parts the facets are tallied: fixed, so that the sums are the
/// same on every machine.
const PARTS: usize = 4;

impl Grid {
    fn new(bounds: Bounds, cell: f64) -> Self {
        let counts = bounds.size().map(|extent| (extent / cell) as usize + 1);
        Self {
            low: bounds.low,
            cell,
            counts,
        }
    }

    fn cell_of(&self, point: Corner) -> usize {
        let along = |axis: usize| {
            let at = ((point[axis] - self.low[axis]) / self.cell) as usize;
            at.min(self.counts[axis] - 1)
        };
        (along(2) * self.counts[1] + along(1)) * self.counts[0] + along(0)
    }

    fn tally(&self, facets: &[Facet]) -> Vec<Cell> {
        let nothing = || vec![Cell::default(); self.counts.iter().product()];
        let tallied: Vec<_> = facets
            .par_chunks(facets.len().div_ceil(PARTS).max(1))
            .map(|part| {
                let mut cells = nothing();
                for facet in part {
                    self.weigh(facet.corners, &mut cells);
                    for corner in facet.corners {
                        cells[self.cell_of(corner)].has_corner = true;
                    }
                }
                cells
            })
            .collect();
        tallied.into_iter().fold(nothing(), |mut sum, part| {
            for (cell, more) in sum.iter_mut().zip(part) {
                cell.area += more.area;
                cell.moment = plus(cell.moment, more.moment);
                cell.has_corner |= more.has_corner;
            }
            sum
        })
    }

    /// Adds a triangle to the cells it lies in, in pieces no longer than a cell.
    fn weigh(&self, corners: [Corner; 3], cells: &mut [Cell]) {
        const MOST_CUTS: usize = 24;
        let mut pieces = vec![(corners, 0)];
        while let Some((piece, cuts)) = pieces.pop() {
            let side = |at: usize| length(less(piece[(at + 1) % 3], piece[at]));
            let longest = (0..3)
                .max_by(|&a, &b| side(a).total_cmp(&side(b)))
                .unwrap_or(0);
            if side(longest) > self.cell && cuts < MOST_CUTS {
                let [a, b, c] = [0, 1, 2].map(|turn| piece[(longest + turn) % 3]);
                let half = times(plus(a, b), 0.5);
                pieces.extend([([a, half, c], cuts + 1), ([half, b, c], cuts + 1)]);
                continue;
            }
            let (area, middle) = (crate::mesh::space::area(piece), middle(piece));
            let cell = &mut cells[self.cell_of(middle)];
            cell.area += area;
            cell.moment = plus(cell.moment, times(middle, area));
        }
    }

    fn place(&self, cell: usize) -> [usize; 3] {
        let [x, y, _] = self.counts;
        [cell % x, cell / x % y, cell / x / y]
    }

    /// The cells at most so many away along each axis, the cell itself too.
    fn around(&self, cell: usize, reach: usize) -> impl Iterator<Item = usize> {
        let (place, [x, y, _]) = (self.place(cell), self.counts);
        let [xs, ys, zs] = [0, 1, 2].map(|axis| {
            place[axis].saturating_sub(reach)..(place[axis] + reach + 1).min(self.counts[axis])
        });
        zs.flat_map(move |k| ys.clone().map(move |j| (k * y + j) * x))
            .flat_map(move |row| xs.clone().map(move |i| row + i))
    }

    /// Whether none of the cells around is clearly sharper.
    fn is_summit(&self, sharpness: &[f64], cell: usize) -> bool {
        const CLEARLY: f64 = 0.9;
        self.around(cell, 1)
            .all(|near| CLEARLY * sharpness[near] <= sharpness[cell])
    }

    /// Where the surface within about `reach` of a cell lies, seen from the
    /// cell's own part of it.
    fn coarse_mean(&self, cells: &[Cell], at: usize, reach: f64) -> Corner {
        let place = self.place(at);
        let own = cells[at];
        let centre = [0, 1, 2].map(|axis| {
            if own.area > 0.0 {
                own.moment[axis] / own.area
            } else {
                self.low[axis] + (place[axis] as f64 + 0.5) * self.cell
            }
        });
        let (mut area, mut moment) = (0.0, [0.0; 3]);
        for near in self.around(at, (reach / self.cell).ceil() as usize) {
            let cell = &cells[near];
            let from = less(cell.moment, times(centre, cell.area));
            if cell.area > 0.0 && length(from) <= reach * cell.area {
                area += cell.area;
                moment = plus(moment, from);
            }
        }
        if area > 0.0 {
            times(moment, 1.0 / area)
        } else {
            moment
        }
    }

    /// The corner that is furthest against each cell's direction.
    fn outermost(
        &self,
        facets: &[Facet],
        leaning: &[(usize, f64, Corner)],
        cells: usize,
    ) -> Vec<Corner> {
        const NONE: u32 = u32::MAX;
        let mut numbers = vec![NONE; cells];
        for (number, &(cell, ..)) in (0..).zip(leaning) {
            numbers[cell] = number;
        }
        let nothing = || vec![(f64::INFINITY, [0.0; 3]); leaning.len()];
        let lower = |a: (f64, Corner), b: (f64, Corner)| if b.0 < a.0 { b } else { a };
        let found: Vec<_> = facets
            .par_chunks(facets.len().div_ceil(PARTS).max(1))
            .map(|part| {
                let mut best = nothing();
                for &corner in part.iter().flat_map(|facet| &facet.corners) {
                    let number = numbers[self.cell_of(corner)];
                    if number != NONE {
                        let number = number as usize;
                        let depth = dot(corner, leaning[number].2);
                        best[number] = lower(best[number], (depth, corner));
                    }
                }
                best
            })
            .collect();
        let all = found.into_iter().fold(nothing(), |all, part| {
            all.into_iter()
                .zip(part)
                .map(|(a, b)| lower(a, b))
                .collect()
        });
        all.into_iter().map(|(_, corner)| corner).collect()
    }
}
