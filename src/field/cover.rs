//! Stand-in.
use super::FieldError;
use super::panel::{Panel, Point};
use crate::mesh::space::{cross, length, less, plus, times, unit};
use crate::units::Watch;
#[derive(Debug)]
pub struct Cover {
    pub panels: Vec<Panel>,
    pub live: Vec<bool>,
    of: Vec<usize>,
    count: usize,
}
impl Cover {
    pub fn carried_back(&self, densities: &[f64]) -> Vec<f64> {
        let mut sum = vec![0.0; self.count];
        let mut area = vec![0.0; self.count];
        for ((d, p), of) in densities.iter().zip(&self.panels).zip(&self.of) {
            sum[*of] += d * p.area;
            area[*of] += p.area;
        }
        sum.iter()
            .zip(area)
            .map(|(s, a)| if a > 0.0 { s / a } else { 0.0 })
            .collect()
    }
}
pub fn print(
    triangles: &[[Point; 3]],
    masked: &[bool],
    wanted: usize,
    _watch: &dyn Watch,
) -> Result<Cover, FieldError> {
    let mut panels: Vec<(Panel, usize)> = triangles
        .iter()
        .enumerate()
        .map(|(k, t)| (Panel::new(*t), k))
        .filter(|p| p.0.area > 0.0)
        .collect();
    let total: f64 = panels.iter().map(|p| p.0.area).sum();
    let limit = total / wanted as f64 * 2.0;
    let mut out = Vec::new();
    while let Some((p, k)) = panels.pop() {
        if p.area > limit {
            let l = [0, 1, 2].map(|i| length(less(p.corners[(i + 1) % 3], p.corners[i])));
            let i = (0..3).max_by(|a, b| l[*a].total_cmp(&l[*b])).unwrap_or(0);
            let (a, b, c) = (p.corners[i], p.corners[(i + 1) % 3], p.corners[(i + 2) % 3]);
            let m = times(plus(a, b), 0.5);
            panels.push((Panel::new([a, m, c]), k));
            panels.push((Panel::new([m, b, c]), k));
        } else {
            out.push((p, k));
        }
    }
    Ok(Cover {
        live: out.iter().map(|p| !masked[p.1]).collect(),
        of: out.iter().map(|p| p.1).collect(),
        panels: out.into_iter().map(|p| p.0).collect(),
        count: triangles.len(),
    })
}
fn quad(out: &mut Vec<Panel>, a: Point, u: Point, v: Point, fine: f64) {
    let (nu, nv) = (
        (length(u) / fine).ceil().max(1.0) as usize,
        (length(v) / fine).ceil().max(1.0) as usize,
    );
    let at = |i: usize, j: usize| {
        plus(
            a,
            plus(
                times(u, i as f64 / nu as f64),
                times(v, j as f64 / nv as f64),
            ),
        )
    };
    for i in 0..nu {
        for j in 0..nv {
            out.push(Panel::new([at(i, j), at(i + 1, j), at(i + 1, j + 1)]));
            out.push(Panel::new([at(i, j), at(i + 1, j + 1), at(i, j + 1)]));
        }
    }
}
fn sides(normal: Point) -> (Point, Point) {
    let n = unit(normal);
    if n[0].abs() < 1e-9 && n[1].abs() < 1e-9 {
        if n[2] > 0.0 {
            ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0])
        } else {
            ([-1.0, 0.0, 0.0], [0.0, 1.0, 0.0])
        }
    } else {
        let w = unit(cross([0.0, 0.0, 1.0], n));
        (w, cross(n, w))
    }
}
pub fn tube(points: &[Point], diameter: f64, closed: bool, fineness: f64) -> Vec<Panel> {
    let around = 8;
    let r = diameter / 2.0
        * (std::f64::consts::PI
            / 8.0
            / (std::f64::consts::PI / 8.0).sin()
            / (std::f64::consts::PI / 8.0).cos())
        .sqrt();
    let mut out = Vec::new();
    let n = points.len();
    let m = if closed { n } else { n - 1 };
    let dir = |k: usize| unit(less(points[(k + 1) % n], points[k]));
    let ring = |k: usize| {
        let d = if closed {
            unit(plus(dir(k % n), dir((k + n - 1) % n)))
        } else if k == 0 {
            dir(0)
        } else if k == n - 1 {
            dir(n - 2)
        } else {
            unit(plus(dir(k), dir(k - 1)))
        };
        let h = if d[2].abs() < 0.9 {
            [0.0, 0.0, 1.0]
        } else {
            [1.0, 0.0, 0.0]
        };
        let u = unit(cross(h, d));
        let v = cross(d, u);
        let c = points[k % n];
        (0..around)
            .map(|j| {
                let t = std::f64::consts::TAU * j as f64 / around as f64;
                plus(c, plus(times(u, r * t.cos()), times(v, r * t.sin())))
            })
            .collect::<Vec<_>>()
    };
    for k in 0..m {
        let (a, b) = (ring(k), ring(if closed { (k + 1) % n } else { k + 1 }));
        let l = length(less(points[(k + 1) % n], points[k]));
        let cut = (l / fineness).ceil().max(1.0) as usize;
        for c in 0..cut {
            for j in 0..around {
                let i = (j + 1) % around;
                let at = |j: usize, c: usize| {
                    plus(
                        times(a[j], 1.0 - c as f64 / cut as f64),
                        times(b[j], c as f64 / cut as f64),
                    )
                };
                out.push(Panel::new([at(j, c), at(i, c), at(i, c + 1)]));
                out.push(Panel::new([at(j, c), at(i, c + 1), at(j, c + 1)]));
            }
        }
    }
    if !closed {
        for (k, flip) in [(0, true), (n - 1, false)] {
            let q = ring(k);
            for j in 0..around {
                let i = (j + 1) % around;
                out.push(Panel::new(if flip {
                    [points[k], q[i], q[j]]
                } else {
                    [points[k], q[j], q[i]]
                }));
            }
        }
    }
    out
}
pub fn block(
    centre: Point,
    normal: Point,
    size: [f64; 2],
    thickness: f64,
    fineness: f64,
) -> Vec<Panel> {
    let n = unit(normal);
    let (w, h) = sides(n);
    let mut out = Vec::new();
    let (w, h, t) = (times(w, size[0]), times(h, size[1]), times(n, thickness));
    let low = less(centre, times(plus(plus(w, h), t), 0.5));
    quad(&mut out, low, h, w, fineness);
    quad(&mut out, plus(low, t), w, h, fineness);
    quad(&mut out, low, w, t, fineness);
    quad(&mut out, plus(low, h), t, w, fineness);
    quad(&mut out, low, t, h, fineness);
    quad(&mut out, plus(low, w), h, t, fineness);
    out
}
pub fn face(centre: Point, normal: Point, size: [f64; 2], fineness: f64) -> Vec<Panel> {
    let n = unit(normal);
    let (w, h) = sides(n);
    let mut out = Vec::new();
    let (w, h) = (times(w, size[0]), times(h, size[1]));
    quad(
        &mut out,
        less(centre, times(plus(w, h), 0.5)),
        w,
        h,
        fineness,
    );
    out
}
