//! Solid harmonics: what a cell full of charges makes afar, in few numbers.
//!
//! In the scaling of Epton & Dembart (SIAM J. Sci. Comput. 16, 1995, 865), as
//! in Dehnen (Comput. Astrophys. Cosmol. 1, 2014, 1), both from memory:
//! `1/|x-y| = Σ conj(Υ(y)) Θ(x)` for |y| < |x|. Kept as real numbers: of each
//! m > 0 the real part at index +m and the imaginary part at -m.

use super::panel::Point;
use crate::mesh::space::dot;

/// The highest degree that is kept.
pub(super) const ORDER: usize = 7;

/// How many real numbers an expansion has.
pub(super) const TERMS: usize = (ORDER + 1) * (ORDER + 1);

/// An expansion: of charges in a cell about its centre (outwards), or of the
/// potential in a cell about its centre (inwards).
pub(super) type Expansion = [f32; TERMS];

/// A linear map of expansions; column by column.
pub(super) type Map = Vec<Expansion>;

#[derive(Debug, Clone, Copy, Default)]
struct Complex {
    re: f64,
    im: f64,
}

impl Complex {
    fn times(self, by: Self) -> Self {
        Self {
            re: self.re * by.re - self.im * by.im,
            im: self.re * by.im + self.im * by.re,
        }
    }

    fn scaled(self, by: f64) -> Self {
        Self {
            re: self.re * by,
            im: self.im * by,
        }
    }

    fn plus(self, other: Self) -> Self {
        Self {
            re: self.re + other.re,
            im: self.im + other.im,
        }
    }
}

/// Complex harmonics up to a degree, m from 0 on; those of negative m follow.
#[derive(Debug)]
pub(super) struct Harmonics {
    degree: usize,
    values: Vec<Complex>,
}

fn triangular(n: usize, m: usize) -> usize {
    n * (n + 1) / 2 + m
}

impl Harmonics {
    fn zero(degree: usize) -> Self {
        Self {
            degree,
            values: vec![Complex::default(); triangular(degree + 1, 0)],
        }
    }

    /// The regular ones, `Υ ~ r^n/(n+m)! P e^{imφ}`.
    pub(super) fn regular(at: Point, degree: usize) -> Self {
        let square = dot(at, at);
        let turn = Complex {
            re: at[0],
            im: at[1],
        };
        Self::grown(
            degree,
            1.0,
            |m, before| turn.times(before).scaled(0.5 / m),
            |n, m, one, two| {
                let sum = one
                    .scaled((2.0 * n - 1.0) * at[2])
                    .plus(two.scaled(-square));
                sum.scaled(1.0 / (n * n - m * m))
            },
        )
    }

    /// The irregular ones, `Θ ~ (n-m)! r^(-n-1) P e^{imφ}`.
    fn irregular(at: Point, degree: usize) -> Self {
        let inverse = 1.0 / dot(at, at);
        let turn = Complex {
            re: at[0] * inverse,
            im: at[1] * inverse,
        };
        Self::grown(
            degree,
            inverse.sqrt(),
            |m, before| turn.times(before).scaled(2.0 * m - 1.0),
            |n, m, one, two| {
                let before = two.scaled(m * m - (n - 1.0) * (n - 1.0));
                one.scaled((2.0 * n - 1.0) * at[2])
                    .plus(before)
                    .scaled(inverse)
            },
        )
    }

    /// Along the diagonal by `aside`, then up in degree by `upward` from the
    /// two before.
    fn grown(
        degree: usize,
        first: f64,
        aside: impl Fn(f64, Complex) -> Complex,
        upward: impl Fn(f64, f64, Complex, Complex) -> Complex,
    ) -> Self {
        let mut all = Self::zero(degree);
        all.values[0] = Complex { re: first, im: 0.0 };
        for m in 0..=degree {
            if m > 0 {
                all.values[triangular(m, m)] =
                    aside(m as f64, all.values[triangular(m - 1, m - 1)]);
            }
            let mut two = Complex::default();
            for n in m + 1..=degree {
                let one = all.values[triangular(n - 1, m)];
                all.values[triangular(n, m)] = upward(n as f64, m as f64, one, two);
                two = one;
            }
        }
        all
    }

    fn get(&self, n: usize, m: isize) -> Complex {
        let up = m.unsigned_abs();
        if n > self.degree || up > n {
            return Complex::default();
        }
        let value = self.values[triangular(n, up)];
        if m >= 0 {
            return value;
        }
        let sign = if up.is_multiple_of(2) { 1.0 } else { -1.0 };
        Complex {
            re: sign * value.re,
            im: -sign * value.im,
        }
    }

    /// This times `by` on top.
    pub(super) fn add(&mut self, other: &Self, by: f64) {
        for (mine, value) in self.values.iter_mut().zip(&other.values) {
            *mine = mine.plus(value.scaled(by));
        }
    }

    /// The slope of regular ones along `direction`.
    pub(super) fn slope(&self, direction: Point) -> Self {
        let mut slope = Self::zero(self.degree);
        for n in 1..=self.degree {
            for m in 0..=n {
                let (low, high) = (
                    self.get(n - 1, m.cast_signed() - 1),
                    self.get(n - 1, m.cast_signed() + 1),
                );
                let x = low.plus(high.scaled(-1.0)).scaled(0.5 * direction[0]);
                let sum = low.plus(high).scaled(0.5 * direction[1]);
                let y = Complex {
                    re: -sum.im,
                    im: sum.re,
                };
                let z = self.get(n - 1, m.cast_signed()).scaled(direction[2]);
                slope.values[triangular(n, m)] = x.plus(y).plus(z);
            }
        }
        slope
    }

    /// As an expansion of charges.
    pub(super) fn expansion(&self) -> Expansion {
        let mut real = [0.0; TERMS];
        for_each_term(|term, n, m| {
            let value = self.get(n, m.abs());
            real[term] = if m < 0 { value.im } else { value.re } as f32;
        });
        real
    }

    /// As weights that make the potential from an inward expansion.
    pub(super) fn weights(&self) -> Expansion {
        let mut real = self.expansion();
        for_each_term(|term, _n, m| {
            if m != 0 {
                real[term] *= 2.0;
            }
        });
        real
    }
}

fn for_each_term(mut each: impl FnMut(usize, usize, isize)) {
    for n in 0..=ORDER {
        let top = n.cast_signed();
        for m in -top..=top {
            each((n * n).wrapping_add_signed(top + m), n, m);
        }
    }
}

/// The complex numbers, of every m, that are meant by 1 at one real term alone.
fn meant(m: isize) -> [(isize, Complex); 2] {
    let up = m.abs();
    let one = if m < 0 {
        Complex { re: 0.0, im: 1.0 }
    } else {
        Complex { re: 1.0, im: 0.0 }
    };
    let sign = if up % 2 == 0 { 1.0 } else { -1.0 };
    let mirrored = Complex {
        re: sign * one.re,
        im: -sign * one.im,
    };
    [
        (up, one),
        (
            -up,
            if up == 0 {
                Complex::default()
            } else {
                mirrored
            },
        ),
    ]
}

/// Charges about a centre, told about another that lies at `-shift` from it,
/// in lengths that are so many times (`shrink`) as small there.
pub(super) fn outward_shift(shift: Point, shrink: f64) -> Map {
    let moved = Harmonics::regular(shift, ORDER);
    let mut map = vec![[0.0; TERMS]; TERMS];
    for_each_term(|from, k, l| {
        for (l, one) in meant(l) {
            let one = one.scaled(shrink.powf(k as f64));
            for_each_term(|to, n, m| {
                if n >= k {
                    let value = one.times(moved.get(n - k, m.abs() - l));
                    map[from][to] += if m < 0 { value.im } else { value.re } as f32;
                }
            });
        }
    });
    map
}

/// The inward expansion of a cell, told about the centre of a cell in it:
/// [`outward_shift`] turned round.
pub(super) fn inward_shift(outward: &Map) -> Map {
    let mut weight = [0.0; TERMS];
    for_each_term(|term, _n, m| weight[term] = if m == 0 { 1.0 } else { 2.0 });
    let mut map = vec![[0.0; TERMS]; TERMS];
    for (from, column) in outward.iter().enumerate() {
        for (to, value) in column.iter().enumerate() {
            map[to][from] = value * weight[to] / weight[from];
        }
    }
    map
}

/// Charges about a centre, as the potential about another that lies at `away`
/// from it.
pub(super) fn outward_to_inward(away: Point) -> Map {
    let theta = Harmonics::irregular(away, 2 * ORDER);
    let mut map = vec![[0.0; TERMS]; TERMS];
    for_each_term(|from, k, l| {
        for (l, one) in meant(l) {
            let turned = Complex {
                re: one.re,
                im: -one.im,
            };
            for_each_term(|to, n, m| {
                let sign = if n.is_multiple_of(2) { 1.0 } else { -1.0 };
                let value = turned.times(theta.get(n + k, m.abs() + l)).scaled(sign);
                map[from][to] += if m < 0 { value.im } else { value.re } as f32;
            });
        }
    });
    map
}

/// The signs that mirror an expansion of charges in the axes whose bit is set.
pub(super) fn mirror_signs(axes: u8) -> Expansion {
    let mut signs = [1.0; TERMS];
    for_each_term(|term, n, m| {
        let odd = m.unsigned_abs() % 2 == 1;
        let imaginary = m < 0;
        let flips = [
            axes & 1 != 0 && odd != imaginary,
            axes & 2 != 0 && imaginary,
            axes & 4 != 0 && (n + m.unsigned_abs()) % 2 == 1,
        ];
        if flips.iter().filter(|flip| **flip).count() % 2 == 1 {
            signs[term] = -1.0;
        }
    });
    signs
}

/// `out += factor · map · from`.
#[inline(always)]
pub(super) fn add_mapped(out: &mut Expansion, map: &Map, from: &Expansion, factor: f32) {
    let (columns, _) = map.as_chunks::<4>();
    let (values, _) = from.as_chunks::<4>();
    for ([a, b, c, d], value) in columns.iter().zip(values) {
        let [x, y, z, w] = value.map(|value| value * factor);
        for row in 0..TERMS {
            out[row] += x * a[row] + y * b[row] + z * c[row] + w * d[row];
        }
    }
}

/// `Σ a b`, in as many lanes as the machine adds at once.
#[inline(always)]
pub(super) fn dot_terms(a: &Expansion, b: &Expansion) -> f32 {
    let mut lanes = [0.0_f32; 8];
    for (x, y) in a.as_chunks::<8>().0.iter().zip(b.as_chunks::<8>().0) {
        for lane in 0..8 {
            lanes[lane] += x[lane] * y[lane];
        }
    }
    lanes.iter().sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::space::{length, less, plus, times};

    const CHARGE: Point = [0.31, -0.22, 0.43];

    fn seen(outward: &Expansion, away: Point, at: Point) -> f64 {
        let mut inward = [0.0; TERMS];
        add_mapped(&mut inward, &outward_to_inward(away), outward, 1.0);
        let here = Harmonics::regular(less(at, away), ORDER).weights();
        f64::from(dot_terms(&inward, &here))
    }

    #[test]
    fn a_charge_is_seen_from_a_cell_away() {
        let outward = Harmonics::regular(CHARGE, ORDER).expansion();
        for away in [[2.0, 0.0, 2.0], [0.0, -4.0, 2.0], [6.0, 4.0, -6.0]] {
            let at = plus(away, [-0.25, 0.3, 0.1]);
            let exact = 1.0 / length(less(at, CHARGE));
            assert!((seen(&outward, away, at) / exact - 1.0).abs() < 3e-5);
        }
    }

    #[test]
    fn shifts_agree_with_what_is_shifted() {
        let child = [0.5, -0.5, 0.5];
        let map = outward_shift(child, 0.5);
        let mut parent = [0.0; TERMS];
        add_mapped(
            &mut parent,
            &map,
            &Harmonics::regular(CHARGE, ORDER).expansion(),
            1.0,
        );
        let direct = Harmonics::regular(plus(times(CHARGE, 0.5), child), ORDER).expansion();
        for (a, b) in parent.iter().zip(&direct) {
            assert!((a - b).abs() < 1e-5 * b.abs().max(1e-2));
        }
        let mut inward = [0.0; TERMS];
        add_mapped(&mut inward, &inward_shift(&map), &direct, 1.0);
        let fine = dot_terms(&inward, &Harmonics::regular(CHARGE, ORDER).weights());
        let coarse = dot_terms(
            &direct,
            &Harmonics::regular(plus(times(CHARGE, 0.5), child), ORDER).weights(),
        );
        assert!((fine / coarse - 1.0).abs() < 1e-5);
    }

    #[test]
    fn slopes_are_differences() {
        let n = [0.48, -0.6, 0.64];
        let slope = Harmonics::regular(CHARGE, ORDER).slope(n).expansion();
        let up = Harmonics::regular(plus(CHARGE, times(n, 1e-3)), ORDER).expansion();
        let down = Harmonics::regular(less(CHARGE, times(n, 1e-3)), ORDER).expansion();
        for term in 0..TERMS {
            assert!((slope[term] - (up[term] - down[term]) / 2e-3).abs() < 1e-4);
        }
    }

    #[test]
    fn mirrored_charges_have_mirrored_expansions() {
        for axes in 0..8_u8 {
            let mut mirrored = CHARGE;
            for (axis, at) in mirrored.iter_mut().enumerate() {
                if axes & (1 << axis) != 0 {
                    *at = -*at;
                }
            }
            let (plain, signs) = (
                Harmonics::regular(CHARGE, ORDER).expansion(),
                mirror_signs(axes),
            );
            let there = Harmonics::regular(mirrored, ORDER).expansion();
            for term in 0..TERMS {
                assert!((plain[term] * signs[term] - there[term]).abs() < 1e-7);
            }
        }
    }
}
