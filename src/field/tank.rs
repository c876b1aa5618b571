//! The insulating walls of a tank, by mirror images.
//!
//! A wall that lets no current through is a mirror: the potential of a charge
//! in the tank is that of the charge and of all its images, mirrored again and
//! again in six walls (method of images). The next images, one beyond each
//! wall, edge and corner, are summed like the charge itself; all farther ones
//! make a smooth rest, which is worked out once between a few places
//! (Ewald 1921 for its sum) and interpolated.

use std::f64::consts::PI;
use std::sync::Arc;

use rayon::prelude::*;

use super::lanes::widest;
use super::panel::{Panel, Point};

/// A cuboid tank filled with liquid; walls, floor and surface insulate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tank {
    /// Its lowest corner, m.
    pub low: Point,
    /// Its highest corner, m.
    pub high: Point,
}

impl Tank {
    /// Its inner lengths, m.
    pub fn size(&self) -> Point {
        [0, 1, 2].map(|axis| self.high[axis] - self.low[axis])
    }
}

/// One of the images of a tank: so many tanks aside along each axis, mirrored
/// where that is odd.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Image(pub(super) [i32; 3]);

impl Image {
    /// The tank itself.
    pub(super) const ITSELF: Self = Self([0; 3]);

    /// The tank itself and the 26 images that touch it.
    pub(super) fn next() -> Vec<Self> {
        let three = || -1..=1;
        three()
            .flat_map(|x| three().flat_map(move |y| three().map(move |z| Self([x, y, z]))))
            .collect()
    }

    /// The axes it is mirrored in, a bit each.
    pub(super) fn mirrored(self) -> u8 {
        (0..3)
            .map(|axis| u8::from(self.0[axis] % 2 != 0) << axis)
            .sum()
    }

    /// Where a charge at the place would have to be for its image to make at
    /// `place` what the charge itself makes here.
    pub(super) fn back(self, tank: &Tank, place: Point) -> Point {
        [0, 1, 2].map(|axis| {
            let (aside, low, high) = (self.0[axis], tank.low[axis], tank.high[axis]);
            if aside == 0 {
                place[axis]
            } else if aside % 2 == 0 {
                place[axis] - f64::from(aside) * (high - low)
            } else {
                low + high + f64::from(aside) * (high - low) - place[axis]
            }
        })
    }
}

/// `α` times the shortest side: what images beyond the next ones add in
/// Ewald's short part is `erfc` of it, 7e-7.
const SPLIT: f64 = 3.5;

/// So many numbers the machine adds at once.
const LANES: usize = 8;

/// How exact the interpolation is, as a share of the largest value.
const EXACT: f64 = 1e-4;

/// What all farther images of a charge make between a tank's places of
/// interpolation, up to a constant, which the balance of charge settles.
pub(super) struct Walls {
    pub(super) tank: Tank,
    count: [usize; 3],
    along: [Vec<f64>; 3],
    /// Between any two places; symmetric.
    between: Vec<f64>,
}

impl Walls {
    pub(super) fn new(tank: Tank) -> Self {
        let size = tank.size();
        let mut count = size.map(|long| places_along(long, size));
        count[2] = count[2].next_multiple_of(LANES);
        let along = count.map(chebyshev);
        Self {
            between: between(&tank, &along),
            tank,
            count,
            along,
        }
    }
}

impl std::fmt::Debug for Walls {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Walls({:?}, {:?} places)", self.tank, self.count)
    }
}

/// The smooth rest: the potential of all farther images.
#[derive(Debug)]
pub(super) struct Rest {
    walls: Arc<Walls>,
    /// Of each panel, its shares in the places along x, y and z.
    shares: Vec<f32>,
    /// Their slopes along the panel's normal, axis by axis.
    slopes: Vec<f32>,
    areas: Vec<f64>,
}

impl Rest {
    pub(super) fn new(walls: &Arc<Walls>, panels: &[Panel]) -> Self {
        let (tank, size) = (&walls.tank, walls.tank.size());
        let (mut shares, mut slopes) = (Vec::new(), Vec::new());
        for panel in panels {
            for (axis, long) in size.into_iter().enumerate() {
                let half = long / 2.0;
                let at = (panel.middle[axis] - tank.low[axis]) / half - 1.0;
                for (share, slope) in lagrange(&walls.along[axis], at) {
                    shares.push(share as f32);
                    slopes.push((slope / half * panel.normal[axis]) as f32);
                }
            }
        }
        Self {
            walls: Arc::clone(walls),
            shares,
            slopes,
            areas: panels.iter().map(|panel| panel.area).collect(),
        }
    }

    /// Adds the potential of the rest to `out`: of `single` charges and
    /// `double` dipoles per m² on each panel.
    pub(super) fn add(&self, single: &[f64], double: &[f64], out: &mut [f64]) {
        let places = self.walls.count.iter().product::<usize>();
        let chunk = 2048;
        let gathered = single
            .par_chunks(chunk)
            .enumerate()
            .map(|(k, part)| {
                let mut sum = vec![0.0_f32; places];
                widest(
                    #[inline(always)]
                    || {
                        for panel in k * chunk..k * chunk + part.len() {
                            self.gather(panel, single[panel], double[panel], &mut sum);
                        }
                    },
                );
                sum
            })
            .collect::<Vec<_>>();
        let mut charges = vec![0.0_f64; places];
        for part in gathered {
            for (sum, value) in charges.iter_mut().zip(part) {
                *sum += f64::from(value);
            }
        }
        let potential: Vec<f32> = self
            .walls
            .between
            .par_chunks(places)
            .map(|row| row.iter().zip(&charges).map(|(a, b)| a * b).sum::<f64>() as f32)
            .collect();
        out.par_chunks_mut(chunk).enumerate().for_each(|(k, part)| {
            widest(
                #[inline(always)]
                || {
                    for (value, panel) in part.iter_mut().zip(k * chunk..) {
                        *value += self.interpolate(panel, &potential);
                    }
                },
            );
        });
    }

    #[inline(always)]
    fn axes<'a>(&self, of: &'a [f32], panel: usize) -> [&'a [f32]; 3] {
        let [nx, ny, nz] = self.walls.count;
        let of = &of[panel * (nx + ny + nz)..];
        [&of[..nx], &of[nx..nx + ny], &of[nx + ny..nx + ny + nz]]
    }

    #[inline(always)]
    fn gather(&self, panel: usize, single: f64, double: f64, sum: &mut [f32]) {
        let [x, y, z] = self.axes(&self.shares, panel);
        let [sx, sy, sz] = self.axes(&self.slopes, panel);
        let charge = (single * self.areas[panel]) as f32;
        let dipole = (double * self.areas[panel]) as f32;
        let (z, sz) = (z.as_chunks::<LANES>().0, sz.as_chunks::<LANES>().0);
        let mut rows = sum.as_chunks_mut::<LANES>().0.chunks_exact_mut(z.len());
        for (x, sx) in x.iter().zip(sx) {
            for ((y, sy), row) in y.iter().zip(sy).zip(&mut rows) {
                let flat = charge * x * y + dipole * (sx * y + x * sy);
                let steep = dipole * x * y;
                for ((sum, z), sz) in row.iter_mut().zip(z).zip(sz) {
                    *sum =
                        std::array::from_fn(|lane| sum[lane] + flat * z[lane] + steep * sz[lane]);
                }
            }
        }
    }

    #[inline(always)]
    fn interpolate(&self, panel: usize, potential: &[f32]) -> f64 {
        let [x, y, z] = self.axes(&self.shares, panel);
        let z = z.as_chunks::<LANES>().0;
        let mut rows = potential.as_chunks::<LANES>().0.chunks_exact(z.len());
        let mut lanes = [0.0_f32; LANES];
        for x in x {
            for (y, row) in y.iter().zip(&mut rows) {
                let share = x * y;
                for (value, z) in row.iter().zip(z) {
                    lanes = std::array::from_fn(|lane| lanes[lane] + share * value[lane] * z[lane]);
                }
            }
        }
        f64::from(lanes.iter().sum::<f32>())
    }
}

/// So many places of interpolation are enough along a side: they converge like
/// ρ^-n with ρ of the ellipse that reaches the nearest image left
/// (Trefethen, Approximation Theory and Approximation Practice, theorem 8.2;
/// from memory).
fn places_along(long: f64, size: Point) -> usize {
    let beyond = 3.0 + 8.0_f64.sqrt();
    let shortest = size.iter().copied().fold(f64::INFINITY, f64::min);
    let aside = shortest / (long / 2.0);
    let beside = aside + (aside * aside + 1.0).sqrt();
    let rho = beyond.min(beside);
    (-EXACT.ln() / rho.ln()).ceil().clamp(4.0, 40.0) as usize
}

/// Chebyshev places of the first kind in -1 to 1.
fn chebyshev(count: usize) -> Vec<f64> {
    (0..count)
        .map(|k| -((2 * k + 1) as f64 * PI / (2 * count) as f64).cos())
        .collect()
}

/// Lagrange's polynomials of the places, and their slopes, at `at`.
fn lagrange(places: &[f64], at: f64) -> Vec<(f64, f64)> {
    (0..places.len())
        .map(|k| {
            let (mut value, mut slope) = (1.0, 0.0);
            for (j, place) in places.iter().enumerate() {
                if j != k {
                    let below = places[k] - place;
                    slope = (slope * (at - place) + value) / below;
                    value *= (at - place) / below;
                }
            }
            (value, slope)
        })
        .collect()
}

/// The rest between any two places of interpolation: Ewald's long part, a sum
/// of cosines, less what it holds of the next images.
fn between(tank: &Tank, along: &[Vec<f64>; 3]) -> Vec<f64> {
    let size = tank.size();
    let shortest = size.iter().copied().fold(f64::INFINITY, f64::min);
    let alpha = SPLIT / shortest;
    let place = |k: [usize; 3]| {
        [0, 1, 2].map(|axis| tank.low[axis] + f64::midpoint(along[axis][k[axis]], 1.0) * size[axis])
    };
    let [nx, ny, nz] = [along[0].len(), along[1].len(), along[2].len()];
    let apart = |k: usize| [k / (ny * nz), k / nz % ny, k % nz];
    let places: Vec<Point> = (0..nx * ny * nz).map(|k| place(apart(k))).collect();
    let long = LongPart::new(tank, alpha, along);
    let images = Image::next();
    let row = |i: usize| {
        let back: Vec<Point> = images
            .iter()
            .map(|image| image.back(tank, places[i]))
            .collect();
        let mut row = long.row(apart(i));
        for (value, to) in row.iter_mut().zip(&places) {
            for from in &back {
                let square: f64 = (0..3).map(|a| (from[a] - to[a]).powi(2)).sum();
                *value -= erf_over(alpha, square.sqrt()) / (4.0 * PI);
            }
        }
        row
    };
    // The tank is its own mirror image, so an eighth of the rows has them all.
    let turn = |k: usize, count: usize, flip: bool| if flip { count - 1 - k } else { k };
    let mirrored = |k: usize, axes: [bool; 3]| {
        let [x, y, z] = apart(k);
        (turn(x, nx, axes[0]) * ny + turn(y, ny, axes[1])) * nz + turn(z, nz, axes[2])
    };
    let upper = |k: usize| {
        let [x, y, z] = apart(k);
        [2 * x >= nx, 2 * y >= ny, 2 * z >= nz]
    };
    let rows: Vec<Vec<f64>> = (0..places.len())
        .into_par_iter()
        .map(|i| {
            if upper(i) == [false; 3] {
                row(i)
            } else {
                Vec::new()
            }
        })
        .collect();
    (0..places.len())
        .flat_map(|i| {
            let axes = upper(i);
            let known = &rows[mirrored(i, axes)];
            (0..places.len()).map(move |j| known[mirrored(j, axes)])
        })
        .collect()
}

/// Ewald's long part between places on a grid:
/// `1/V Σ cos(kx) cos(kx') … exp(-k²/4α²)/k²`, summed axis by axis.
struct LongPart {
    count: [usize; 3],
    /// Of each wave along x, its cosine at each place along x.
    along_x: Vec<Vec<f64>>,
    /// Of each wave along x: the sum over those along y and z, between y, y', z
    /// and z' in this order.
    summed: Vec<Vec<f64>>,
}

impl LongPart {
    fn new(tank: &Tank, alpha: f64, along: &[Vec<f64>; 3]) -> Self {
        let size = tank.size();
        let cosines = [0, 1, 2].map(|axis| {
            let top = (2.0 * alpha * SPLIT * size[axis] / PI).ceil() as usize;
            let wave = |k: usize| {
                let at = |along: &f64| (k as f64 * PI * f64::midpoint(*along, 1.0)).cos();
                along[axis].iter().map(at).collect::<Vec<f64>>()
            };
            (0..=top).map(wave).collect::<Vec<_>>()
        });
        let volume: f64 = size.iter().product();
        let weight = |waves: [usize; 3]| {
            let k = [0, 1, 2].map(|axis| waves[axis] as f64 * PI / size[axis]);
            let square: f64 = k.iter().map(|k| k * k).sum();
            let damped = square / (4.0 * alpha * alpha);
            let both = waves.iter().filter(|wave| **wave > 0).count();
            if square > 0.0 && damped < SPLIT * SPLIT {
                2.0_f64.powf(both as f64) * (-damped).exp() / square / volume
            } else {
                0.0
            }
        };
        let [of_x, of_y, of_z] = &cosines;
        let summed = (0..of_x.len())
            .into_par_iter()
            .map(|x| {
                let mut sum = Vec::new();
                for (y, of_y) in of_y.iter().enumerate() {
                    let mut inner = Vec::new();
                    for (z, of_z) in of_z.iter().enumerate() {
                        add_pairs(&mut inner, of_z, &[weight([x, y, z])]);
                    }
                    add_pairs(&mut sum, of_y, &inner);
                }
                sum
            })
            .collect();
        let [along_x, ..] = cosines;
        Self {
            count: [0, 1, 2].map(|axis| along[axis].len()),
            along_x,
            summed,
        }
    }

    /// From one place of the grid to all of them.
    fn row(&self, [x, y, z]: [usize; 3]) -> Vec<f64> {
        let [nx, ny, nz] = self.count;
        let mut row = vec![0.0; nx * ny * nz];
        for (of_x, summed) in self.along_x.iter().zip(&self.summed) {
            for (to_x, row) in row.chunks_exact_mut(ny * nz).enumerate() {
                let factor = of_x[x] * of_x[to_x];
                for (to_y, row) in row.chunks_exact_mut(nz).enumerate() {
                    let first = ((y * ny + to_y) * nz + z) * nz;
                    let of_z = &summed[first..first + nz];
                    for (value, summed) in row.iter_mut().zip(of_z) {
                        *value += factor * summed;
                    }
                }
            }
        }
        row
    }
}

/// Adds `inner` times every product of two of `values`, one block a pair.
fn add_pairs(sum: &mut Vec<f64>, values: &[f64], inner: &[f64]) {
    sum.resize(values.len() * values.len() * inner.len(), 0.0);
    let mut blocks = sum.chunks_exact_mut(inner.len());
    for one in values {
        for (other, block) in values.iter().zip(&mut blocks) {
            let factor = one * other;
            for (value, inner) in block.iter_mut().zip(inner) {
                *value += factor * inner;
            }
        }
    }
}

/// `erf(α r)/r`, right to 2e-7 of its largest value (Abramowitz & Stegun
/// 7.1.26, from memory; its series near 0).
fn erf_over(alpha: f64, r: f64) -> f64 {
    let x = alpha * r;
    if x < 0.05 {
        return alpha * 2.0 / PI.sqrt() * (1.0 - x * x / 3.0 + x.powi(4) / 10.0);
    }
    if x > 5.0 {
        // 1 to 2e-12.
        return 1.0 / r;
    }
    let t = 1.0 / (1.0 + 0.327_591_1 * x);
    let powers = t
        * (0.254_829_592
            + t * (-0.284_496_736
                + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    (1.0 - powers * (-x * x).exp()) / r
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The potential in a tank by the images of one charge and of an opposite
    /// one, shell by shell, slowly: brute force.
    fn by_force(tank: &Tank, at: Point, charges: [(Point, f64); 2]) -> f64 {
        let shells = 30;
        let mut sum = 0.0;
        for x in -shells..shells {
            for y in -shells..shells {
                for z in -shells..shells {
                    let back = Image([x, y, z]).back(tank, at);
                    for (place, charge) in charges {
                        let square: f64 = (0..3).map(|a| (back[a] - place[a]).powi(2)).sum();
                        sum += charge / (4.0 * PI * square.sqrt());
                    }
                }
            }
        }
        sum
    }

    fn speck(at: Point) -> Panel {
        let [x, y, z] = at;
        Panel::new([[x - 1e-5, y, z], [x + 1e-5, y - 1e-5, z], [x, y + 1e-5, z]])
    }

    #[test]
    fn rest_and_next_images_are_all_images() {
        let tank = Tank {
            low: [-0.15, -0.1, -0.1],
            high: [0.15, 0.1, 0.1],
        };
        let panels = [
            [-0.14, 0.02, 0.09],
            [0.1, -0.09, -0.03],
            [0.05, 0.06, 0.01],
            [-0.05, -0.08, 0.03],
        ]
        .map(speck);
        let rest = Rest::new(&Arc::new(Walls::new(tank)), &panels);
        let mut out = vec![0.0; 4];
        let per = |k: usize, charge: f64| charge / panels[k].area;
        rest.add(&[per(0, 1.0), per(1, -1.0), 0.0, 0.0], &[0.0; 4], &mut out);
        let charges = [(panels[0].middle, 1.0), (panels[1].middle, -1.0)];
        let here = |k: usize| {
            let place = panels[k].middle;
            let mut sum = out[k];
            for image in Image::next() {
                let back = image.back(&tank, place);
                for (at, charge) in charges {
                    let square: f64 = (0..3).map(|a| (back[a] - at[a]).powi(2)).sum();
                    sum += charge / (4.0 * PI * square.sqrt());
                }
            }
            sum
        };
        // A constant is free: compare a difference.
        let got = here(2) - here(3);
        let force =
            by_force(&tank, panels[2].middle, charges) - by_force(&tank, panels[3].middle, charges);
        assert!((got - force).abs() < 2e-3, "{got} {force}");
    }

    #[test]
    fn interpolation_is_exact_for_what_it_should_be() {
        let places = chebyshev(6);
        for (k, (share, slope)) in lagrange(&places, places[2]).into_iter().enumerate() {
            assert!((share - if k == 2 { 1.0 } else { 0.0 }).abs() < 1e-12);
            assert!(slope.is_finite());
        }
        let cubic = |x: f64| x.powi(3) - x;
        let at: (f64, f64) = lagrange(&places, 0.3)
            .iter()
            .zip(&places)
            .fold((0.0, 0.0), |sum, ((a, b), x)| {
                (sum.0 + a * cubic(*x), sum.1 + b * cubic(*x))
            });
        assert!((at.0 - cubic(0.3)).abs() < 1e-12 && (at.1 - (3.0 * 0.09 - 1.0)).abs() < 1e-12);
    }

    #[test]
    fn erf_has_its_table_values() {
        // erf(0.5) = 0.5204998778, erf(2) = 0.9953222650: Abramowitz & Stegun.
        assert!((erf_over(1.0, 0.5) * 0.5 - 0.520_499_877_8).abs() < 2e-7);
        assert!((erf_over(2.0, 1.0) - 0.995_322_265).abs() < 2e-7);
        assert!((erf_over(1.0, 0.049_999) - erf_over(1.0, 0.050_001)).abs() < 1e-5);
    }
}
