//! Sums over the triangles of a mesh.

use super::space::{cross, dot, less};
use super::{Corner, LengthUnit, Mesh, Triangles, stl};

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

/// Triangles that are summed side by side: as many as fill a processor's
/// registers.
const LANES: usize = 8;

/// Triangles that are summed plainly before a compensated sum takes them up.
const BLOCK: usize = 32 * LANES;

/// Measures a mesh whose numbers are in `unit`.
///
/// The volume is the sum of the signed tetrahedra between each triangle and the
/// first corner of the mesh, without its sign; taking a corner of the mesh keeps
/// the terms small however far from the origin it lies. The sums are in double
/// precision and compensated, so their error does not grow with the number of
/// triangles. A mesh without triangles measures zero.
pub fn measure(mesh: &Mesh<'_>, unit: LengthUnit) -> Measure {
    let sums = match &mesh.triangles {
        Triangles::Records(records) => Sums::of(records, stl::numbers),
        Triangles::Listed(triangles) => Sums::of(triangles, |numbers| *numbers),
        Triangles::Numbered { corners, triangles } => Sums::of(triangles, |of| {
            let [a, b, c] = of.map(|at| corners[at as usize]);
            [a[0], a[1], a[2], b[0], b[1], b[2], c[0], c[1], c[2]]
        }),
    };
    let mm = unit.mm();
    Measure {
        triangles: mesh.count(),
        size_mm: sums.extents().map(|extent| extent * mm),
        naive_area_mm2: sums.doubled_area.value() / 2.0 * mm.powi(2),
        volume_mm3: sums.sixfold_volume.value().abs() / 6.0 * mm.powi(3),
    }
}

/// What one pass over the triangles gathers, in their own unit.
struct Sums {
    low: Corner,
    high: Corner,
    doubled_area: CompensatedSum,
    sixfold_volume: CompensatedSum,
}

/// What coordinates are held in: single or double precision.
trait Number: Copy + Default + PartialOrd + Into<f64> {}
impl Number for f32 {}
impl Number for f64 {}

impl Sums {
    fn of<T: Copy, N: Number>(triangles: &[T], numbers: impl Fn(&T) -> [N; 9]) -> Self {
        let first = triangles.first().map_or([N::default(); 9], &numbers);
        let first = [first[0], first[1], first[2]];
        let origin = first.map(Into::into);
        let mut sums = Self {
            low: origin,
            high: origin,
            doubled_area: CompensatedSum::default(),
            sixfold_volume: CompensatedSum::default(),
        };
        for block in triangles.chunks(BLOCK) {
            let mut lanes = Lanes::new(first, origin);
            let (groups, rest) = block.as_chunks::<LANES>();
            for group in groups {
                lanes.add(|lane| numbers(&group[lane]));
            }
            if !rest.is_empty() {
                // A triangle of three equal corners adds nothing.
                let [x, y, z] = first;
                let nothing = [x, y, z, x, y, z, x, y, z];
                lanes.add(|lane| rest.get(lane).map_or(nothing, &numbers));
            }
            sums.take(&lanes);
        }
        sums
    }

    fn take<N: Number>(&mut self, lanes: &Lanes<N>) {
        for axis in 0..3 {
            let (low, high) = (&mut self.low[axis], &mut self.high[axis]);
            *low = lanes.low[axis]
                .map(Into::into)
                .into_iter()
                .fold(*low, f64::min);
            *high = lanes.high[axis]
                .map(Into::into)
                .into_iter()
                .fold(*high, f64::max);
        }
        self.doubled_area.add(lanes.doubled_area.iter().sum());
        self.sixfold_volume.add(lanes.sixfold_volume.iter().sum());
    }

    fn extents(&self) -> [f64; 3] {
        [0, 1, 2].map(|axis| self.high[axis] - self.low[axis])
    }
}

/// The sums of a block, each lane of its own: the compiler makes wide
/// instructions of loops over lanes.
struct Lanes<N> {
    origin: [f64; 3],
    low: [[N; LANES]; 3],
    high: [[N; LANES]; 3],
    doubled_area: [f64; LANES],
    sixfold_volume: [f64; LANES],
}

impl<N: Number> Lanes<N> {
    fn new(first: [N; 3], origin: [f64; 3]) -> Self {
        Self {
            origin,
            low: first.map(|coordinate| [coordinate; LANES]),
            high: first.map(|coordinate| [coordinate; LANES]),
            doubled_area: [0.0; LANES],
            sixfold_volume: [0.0; LANES],
        }
    }

    fn add(&mut self, triangle: impl Fn(usize) -> [N; 9]) {
        // By coordinate (x, y, z of each corner in turn), then by lane.
        let mut numbers = [[N::default(); LANES]; 9];
        for lane in 0..LANES {
            for (row, number) in numbers.iter_mut().zip(triangle(lane)) {
                row[lane] = number;
            }
        }
        for (at, row) in numbers.iter().enumerate() {
            let (low, high) = (&mut self.low[at % 3], &mut self.high[at % 3]);
            for (number, (low, high)) in row.iter().zip(low.iter_mut().zip(high)) {
                *low = if number < low { *number } else { *low };
                *high = if number > high { *number } else { *high };
            }
        }
        let sums = self.doubled_area.iter_mut().zip(&mut self.sixfold_volume);
        for (lane, (doubled_area, sixfold_volume)) in sums.enumerate() {
            let corner = |at: usize| {
                [0, 1, 2].map(|axis| {
                    let coordinate: f64 = numbers[3 * at + axis][lane].into();
                    coordinate - self.origin[axis]
                })
            };
            let (a, b, c) = (corner(0), corner(1), corner(2));
            let normal = cross(less(b, a), less(c, a));
            *doubled_area += dot(normal, normal).sqrt();
            *sixfold_volume += dot(a, normal);
        }
    }
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
