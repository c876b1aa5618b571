//! Any few triangles on a coarse grid, where most things coincide.
#![no_main]

use tankside::mesh::{self, LengthUnit, Mesh, Order, Survey};
use tankside::units::Unwatched;

type Triangle = [[f64; 3]; 3];

/// A survey of many triangles on so small a grid tells nothing more.
const MOST: usize = 32;

/// A byte is a corner: two bits for each of x, y and z.
fn corner(byte: u8) -> [f64; 3] {
    [0, 2, 4].map(|shift| f64::from(byte >> shift & 3))
}

fn survey(triangles: Vec<Triangle>) -> Survey {
    let mesh = Mesh::of(triangles);
    mesh::survey(&mesh, &Order::in_unit(LengthUnit::Mm), &Unwatched).expect("nobody stops it")
}

/// Backwards, and every triangle whose number has the bit turned over.
fn otherwise(triangles: &[Triangle], bit: usize) -> Vec<Triangle> {
    let turn = |(at, [a, b, c]): (usize, &Triangle)| {
        if at & bit == 0 {
            [*b, *c, *a]
        } else {
            [*a, *c, *b]
        }
    };
    triangles.iter().enumerate().map(turn).rev().collect()
}

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let three = |three: &[u8]| [0, 1, 2].map(|at| corner(three[at]));
    let triangles: Vec<Triangle> = bytes.chunks_exact(3).take(MOST).map(three).collect();
    if triangles.is_empty() {
        return;
    }
    let found = survey(triangles.clone());
    let (wetted, naive) = (found.wetted_area_mm2, found.naive_area_mm2);
    assert!(
        (0.0..=naive * (1.0 + 1e-9) + 1e-9).contains(&wetted),
        "{wetted} of {naive}"
    );
    assert!(
        found.cavities.iter().all(|cavity| cavity.volume_mm3 >= 0.0),
        "{found:?}"
    );
    // Where sheets that cross are open, what is inside hangs on their order.
    if mesh::is_closed(&Mesh::of(triangles.clone())) {
        for bit in [1, 2] {
            let again = survey(otherwise(&triangles, bit)).wetted_area_mm2;
            assert!(
                (again - wetted).abs() <= 1e-6 * naive,
                "{wetted}, then {again}"
            );
        }
    }
});
