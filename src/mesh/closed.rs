//! Whether the triangles of a mesh close up.

use super::{Corner, Mesh, Triangles, stl};

/// Whether the mesh is closed, so that its volume means something: each side of
/// a triangle, walked in the triangle's turn, is met by exactly one other that
/// walks the opposite way.
///
/// Corners are the same where their numbers are, bit for bit, but for the sign
/// of zero. A triangle with two equal corners is a line and is passed over. A
/// mesh of nothing else is not closed, nor is one whose shells share a side.
/// Sorting twice, it takes the time of n log n comparisons.
pub fn is_closed(mesh: &Mesh<'_>) -> bool {
    let corners = numbered(mesh);
    let mut sides = Vec::with_capacity(corners.len());
    for &[a, b, c] in &corners {
        if a != b && b != c && c != a {
            sides.extend([side(a, b), side(b, c), side(c, a)]);
        }
    }
    sides.sort_unstable();
    let (pairs, odd) = sides.as_chunks::<2>();
    let is_met = |[there, back]: &[u64; 2]| there & 1 == 0 && *back == there | 1;
    !pairs.is_empty() && odd.is_empty() && pairs.iter().all(is_met)
}

/// The two corners of a side, the lower number first, and which way it is
/// walked in the last bit. [`super::TRIANGLE_BUDGET`] keeps numbers to 26 bits.
fn side(from: u32, to: u32) -> u64 {
    let (low, high) = (from.min(to), from.max(to));
    (u64::from(low) << 32) | (u64::from(high) << 1) | u64::from(from > to)
}

/// The triangles with each corner as a number; equal corners have equal ones.
fn numbered(mesh: &Mesh<'_>) -> Vec<[u32; 3]> {
    match &mesh.triangles {
        Triangles::Records(records) => single(records.iter().map(stl::numbers)),
        Triangles::Listed(listed) => single(listed.iter().copied()),
        Triangles::Numbered { corners, triangles } => {
            // Adding zero makes -0 to 0.
            let bits = |corner: &Corner| corner.map(|number| (number + 0.0).to_bits());
            let keys = corners.iter().map(bits).zip(0_u32..).collect();
            let numbers = numbers(keys, |(bits, _)| bits, |(_, at)| at);
            let renumbered = |of: &[u32; 3]| of.map(|at| numbers[at as usize]);
            triangles.iter().map(renumbered).collect()
        }
    }
}

/// The same of corners in single precision, nine numbers a triangle, in less
/// time and space: the corner's 96 bits above, where it stands below.
fn single(triangles: impl Iterator<Item = [f32; 9]>) -> Vec<[u32; 3]> {
    let corners = triangles.flat_map(|[ax, ay, az, bx, by, bz, cx, cy, cz]| {
        [[ax, ay, az], [bx, by, bz], [cx, cy, cz]]
    });
    let key = |(corner, at): ([f32; 3], u32)| {
        let bits = corner.map(|number| (number + 0.0).to_bits());
        let above = bits
            .iter()
            .fold(0, |key, bits| (key << 32) | u128::from(*bits));
        (above << 32) | u128::from(at)
    };
    let keys = corners.zip(0_u32..).map(key).collect();
    let numbers = numbers(keys, |key| key >> 32, |key| key as u32);
    numbers.as_chunks().0.to_vec()
}

/// Numbers for the keys, equal ones for equal corners, each at its place.
fn numbers<K: Ord + Copy, C: PartialEq>(
    mut keys: Vec<K>,
    corner: impl Fn(K) -> C,
    place: impl Fn(K) -> u32,
) -> Vec<u32> {
    keys.sort_unstable();
    let mut numbers = vec![0; keys.len()];
    let (mut number, mut before) = (0, None);
    for key in keys {
        let is_other = |before: C| before != corner(key);
        number += u32::from(before.replace(corner(key)).is_some_and(is_other));
        if let Some(at) = numbers.get_mut(place(key) as usize) {
            *at = number;
        }
    }
    numbers
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tetrahedron on the axes, turned outwards.
    fn tetrahedron(zero: f64) -> Vec<[Corner; 3]> {
        let (o, x, y, z) = ([zero; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]);
        vec![[o, y, x], [[0.0; 3], z, y], [o, x, z], [x, y, z]]
    }

    fn closed(triangles: Vec<[Corner; 3]>) -> bool {
        is_closed(&Mesh::of(triangles))
    }

    #[test]
    fn a_tetrahedron_is_closed_and_no_part_of_it_is() {
        assert!(closed(tetrahedron(0.0)));
        assert!(closed(tetrahedron(-0.0)), "-0 is 0");
        assert!(!closed(Vec::new()));
        for gone in 0..4 {
            let mut open = tetrahedron(0.0);
            open.remove(gone);
            assert!(!closed(open));
            let mut flipped = tetrahedron(0.0);
            flipped[gone].swap(0, 1);
            assert!(!closed(flipped));
            let mut twice = tetrahedron(0.0);
            twice.push(twice[gone]);
            assert!(!closed(twice));
        }
    }

    #[test]
    fn lines_are_passed_over_and_shells_that_share_a_side_are_not_closed() {
        let mut with_line = tetrahedron(0.0);
        with_line.push([[0.0; 3], [0.0; 3], [1.0, 0.0, 0.0]]);
        assert!(closed(with_line));
        assert!(!closed(vec![[[0.0; 3]; 3]]));
        let mirrored = |t: [Corner; 3]| {
            let [a, b, c] = t.map(|[x, y, z]| [-x, -y, z]);
            [a, b, c]
        };
        let mut two = tetrahedron(0.0);
        two.extend(tetrahedron(0.0).into_iter().map(mirrored));
        assert!(!closed(two), "they share the side along z");
        let mut apart = tetrahedron(0.0);
        let moved = |t: [Corner; 3]| t.map(|[x, y, z]| [x + 5.0, y, z]);
        apart.extend(tetrahedron(0.0).into_iter().map(moved));
        assert!(closed(apart));
    }
}
