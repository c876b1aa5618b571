//! Linear equations that are only known by what they do to a vector.

/// Solves `A P y = b`, and yields `x = P y`: GMRES (Saad & Schultz, SIAM J. Sci.
/// Stat. Comput. 7, 1986, 856; from memory) with the preconditioner `prepared`
/// on the right, until `enough` of the right side is left or after `most` steps;
/// also yields how many steps it took.
/// `operator` may give up with an error.
pub(super) fn solve<E>(
    right: &[f64],
    enough: f64,
    most: usize,
    prepared: impl Fn(&[f64]) -> Vec<f64>,
    mut operator: impl FnMut(&[f64]) -> Result<Vec<f64>, E>,
) -> Result<(Vec<f64>, usize), E> {
    let first = norm(right);
    if first <= 0.0 {
        return Ok((vec![0.0; right.len()], 0));
    }
    let mut basis = vec![scaled(right, 1.0 / first)];
    let mut triangle: Vec<Vec<f64>> = Vec::new();
    let mut turns: Vec<(f64, f64)> = Vec::new();
    let mut rest = vec![first];
    while rest[turns.len()].abs() > enough * first && turns.len() < most {
        let last = turns.len();
        let mut next = operator(&prepared(&basis[last]))?;
        let mut column = orthogonalised(&mut next, &basis);
        let length = norm(&next);
        column.push(length);
        for (k, turn) in turns.iter().enumerate() {
            rotate(&mut column, k, *turn);
        }
        let (a, b) = (column[last], column[last + 1]);
        let turn = (a / a.hypot(b), b / a.hypot(b));
        rotate(&mut column, last, turn);
        rest.push(0.0);
        rotate(&mut rest, last, turn);
        turns.push(turn);
        triangle.push(column);
        if length <= 1e-14 * first {
            break;
        }
        basis.push(scaled(&next, 1.0 / length));
    }
    let steps = turns.len();
    let mut sum = vec![0.0; right.len()];
    for (factor, vector) in back_substituted(&triangle, &rest[..steps])
        .iter()
        .zip(&basis)
    {
        add(&mut sum, vector, *factor);
    }
    Ok((prepared(&sum), steps))
}

/// Takes out of `vector` what it has of the basis, and tells how much that was.
fn orthogonalised(vector: &mut [f64], basis: &[Vec<f64>]) -> Vec<f64> {
    basis
        .iter()
        .map(|other| {
            let share = dot(vector, other);
            add(vector, other, -share);
            share
        })
        .collect()
}

fn rotate(column: &mut [f64], k: usize, (cos, sin): (f64, f64)) {
    let (a, b) = (column[k], column[k + 1]);
    column[k] = cos * a + sin * b;
    column[k + 1] = cos * b - sin * a;
}

fn back_substituted(triangle: &[Vec<f64>], right: &[f64]) -> Vec<f64> {
    let mut result = right.to_vec();
    for k in (0..result.len()).rev() {
        result[k] /= triangle[k][k];
        for j in 0..k {
            result[j] -= triangle[k][j] * result[k];
        }
    }
    result
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

pub(super) fn norm(a: &[f64]) -> f64 {
    dot(a, a).sqrt()
}

/// `sum += factor · other`.
pub(super) fn add(sum: &mut [f64], other: &[f64], factor: f64) {
    for (value, other) in sum.iter_mut().zip(other) {
        *value += factor * other;
    }
}

fn scaled(a: &[f64], factor: f64) -> Vec<f64> {
    a.iter().map(|value| value * factor).collect()
}

/// A small dense matrix as its factors (Gauss, with rows swapped).
#[derive(Debug)]
pub(super) struct Factors {
    size: usize,
    /// Row by row.
    entries: Vec<f64>,
    swapped: Vec<usize>,
}

impl Factors {
    /// Of the matrix with these entries, row by row.
    pub(super) fn new(size: usize, mut entries: Vec<f64>) -> Self {
        let mut swapped = Vec::with_capacity(size);
        for k in 0..size {
            let largest = (k..size)
                .max_by(|a, b| {
                    entries[a * size + k]
                        .abs()
                        .total_cmp(&entries[b * size + k].abs())
                })
                .unwrap_or(k);
            for j in 0..size {
                entries.swap(k * size + j, largest * size + j);
            }
            swapped.push(largest);
            let (above, below) = entries.split_at_mut((k + 1) * size);
            let pivot = &above[k * size..];
            for row in below.chunks_exact_mut(size) {
                let factor = row[k] / pivot[k];
                row[k] = factor;
                for j in k + 1..size {
                    row[j] -= factor * pivot[j];
                }
            }
        }
        Self {
            size,
            entries,
            swapped,
        }
    }

    /// Solves for one right side, in place.
    pub(super) fn solve(&self, right: &mut [f64]) {
        let row = |k: usize| &self.entries[k * self.size..(k + 1) * self.size];
        for (k, largest) in self.swapped.iter().enumerate() {
            right.swap(k, *largest);
        }
        for k in 0..self.size {
            right[k] -= dot(&row(k)[..k], &right[..k]);
        }
        for k in (0..self.size).rev() {
            let known = dot(&row(k)[k + 1..], &right[k + 1..]);
            right[k] = (right[k] - known) / row(k)[k];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 5, 1, 1.. on the diagonals, by hand invertible only with care: the check
    /// is that the product comes back.
    fn entries(size: usize) -> Vec<f64> {
        (0..size * size)
            .map(|k| {
                let (i, j) = (k / size, k % size);
                if i == j {
                    0.1
                } else {
                    1.0 / (1.0 + i as f64 + 2.0 * j as f64)
                }
            })
            .collect()
    }

    fn product(size: usize, entries: &[f64], x: &[f64]) -> Vec<f64> {
        entries.chunks_exact(size).map(|row| dot(row, x)).collect()
    }

    #[test]
    fn both_solve_what_was_multiplied() {
        let size = 23;
        let known: Vec<f64> = (0..size).map(|k| (k as f64).cos()).collect();
        let right = product(size, &entries(size), &known);
        let mut direct = right.clone();
        Factors::new(size, entries(size)).solve(&mut direct);
        let (krylov, steps) = solve::<()>(&right, 1e-13, 60, <[f64]>::to_vec, |x| {
            Ok(product(size, &entries(size), x))
        })
        .unwrap();
        assert!(steps <= size + 1, "{steps}");
        for k in 0..size {
            assert!((direct[k] - known[k]).abs() < 1e-8);
            assert!(
                (krylov[k] - known[k]).abs() < 1e-6,
                "{} {}",
                krylov[k],
                known[k]
            );
        }
    }
}
