//! Sums over the triangles of a mesh.

use super::{Corner, LengthUnit, Mesh};

/// What the triangles of a mesh sum to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measure {
    /// Triangles in the file, doubled and flat ones included.
    pub triangles: usize,
    /// Extents of the box around it along x, y, z, in mm.
    pub size_mm: [f64; 3],
    /// Sum of the areas of all triangles, in mm².
    ///
    /// This is not the wetted area: what lies inside the solid, twice in the
    /// file or in a sealed cavity is counted as well. For a single closed shell
    /// without cavities the two agree.
    pub naive_area_mm2: f64,
    /// Volume in mm³, right for closed shells ([`super::is_closed`]) that do not
    /// overlap; whether they are turned outwards or inwards does not matter.
    pub volume_mm3: f64,
}

/// Triangles that are summed plainly before a compensated sum takes them up.
const BLOCK: usize = 256;

/// Measures a mesh whose numbers are in `unit`.
///
/// The volume is the sum of the signed tetrahedra between each triangle and the
/// centre of the box around the mesh, without its sign; taking the centre keeps
/// the terms small however far from the origin the mesh lies. The sums are in
/// double precision and compensated, so their error does not grow with the
/// number of triangles. A mesh without triangles measures zero.
pub fn measure(mesh: &Mesh, unit: LengthUnit) -> Measure {
    let (low, high) = bounds(&mesh.triangles);
    let centre = [0, 1, 2].map(|axis| f64::midpoint(low[axis], high[axis]));
    let mut doubled_area = CompensatedSum::default();
    let mut sixfold_volume = CompensatedSum::default();
    for block in mesh.triangles.chunks(BLOCK) {
        let (mut area, mut volume) = (0.0, 0.0);
        for triangle in block {
            let [a, b, c] = triangle.map(|corner| less(corner.map(f64::from), centre));
            let normal = cross(less(b, a), less(c, a));
            area += dot(normal, normal).sqrt();
            volume += dot(a, normal);
        }
        doubled_area.add(area);
        sixfold_volume.add(volume);
    }
    let mm = unit.mm();
    Measure {
        triangles: mesh.triangles.len(),
        size_mm: [0, 1, 2].map(|axis| (high[axis] - low[axis]) * mm),
        naive_area_mm2: doubled_area.value() / 2.0 * mm.powi(2),
        volume_mm3: sixfold_volume.value().abs() / 6.0 * mm.powi(3),
    }
}

/// The lowest and highest coordinates; zeros if there are no triangles.
fn bounds(triangles: &[[Corner; 3]]) -> ([f64; 3], [f64; 3]) {
    let Some([first, ..]) = triangles.first().copied() else {
        return ([0.0; 3], [0.0; 3]);
    };
    let (mut low, mut high) = (first, first);
    for corner in triangles.iter().flatten() {
        for axis in 0..3 {
            low[axis] = if corner[axis] < low[axis] {
                corner[axis]
            } else {
                low[axis]
            };
            high[axis] = if corner[axis] > high[axis] {
                corner[axis]
            } else {
                high[axis]
            };
        }
    }
    (low.map(f64::from), high.map(f64::from))
}

/// A sum that carries along what each addition loses (Neumaier 1974, from
/// memory).
#[derive(Default)]
struct CompensatedSum {
    sum: f64,
    lost: f64,
}

impl CompensatedSum {
    fn add(&mut self, term: f64) {
        let sum = self.sum + term;
        self.lost += if self.sum.abs() >= term.abs() {
            (self.sum - sum) + term
        } else {
            (term - sum) + self.sum
        };
        self.sum = sum;
    }

    fn value(&self) -> f64 {
        self.sum + self.lost
    }
}

fn less(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}
