//! Solids of triangles, each built from its description, and what changes the
//! list of triangles but not the surface. Lengths are in mm.

use std::f64::consts::{PI, TAU};

pub(crate) type Point = [f64; 3];
pub(crate) type Triangle = [Point; 3];

/// One or more shells, simply listed one after the other.
#[derive(Clone, Debug, Default)]
pub(crate) struct Solid(pub(crate) Vec<Triangle>);

fn quad([a, b, c, d]: [Point; 4]) -> [Triangle; 2] {
    [[a, b, c], [a, c, d]]
}

/// The flat quads of a grid that face along an axis: `planes` of the three
/// axes, which cell, which side.
fn wall(planes: [&[f64]; 3], cell: [usize; 3], axis: usize, high: bool) -> [Triangle; 2] {
    let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
    let corner = |on_u: usize, on_v: usize| {
        let mut step = [0; 3];
        (step[axis], step[u], step[v]) = (usize::from(high), on_u, on_v);
        [0, 1, 2].map(|a| planes[a][cell[a] + step[a]])
    };
    let (second, fourth) = if high {
        ([1, 0], [0, 1])
    } else {
        ([0, 1], [1, 0])
    };
    quad([
        corner(0, 0),
        corner(second[0], second[1]),
        corner(1, 1),
        corner(fourth[0], fourth[1]),
    ])
}

/// All cells of a grid.
fn cells(counts: [usize; 3]) -> impl Iterator<Item = [usize; 3]> {
    let [along_x, along_y, along_z] = counts;
    (0..along_x)
        .flat_map(move |x| (0..along_y).flat_map(move |y| (0..along_z).map(move |z| [x, y, z])))
}

impl Solid {
    /// The closed box of twelve triangles, turned outwards.
    pub(crate) fn cuboid(low: Point, size: Point) -> Self {
        Self::block(low, size, [1; 3])
    }

    pub(crate) fn cube(low: Point, side: f64) -> Self {
        Self::cuboid(low, [side; 3])
    }

    /// A closed box whose faces are grids of so many cells along x, y and z.
    pub(crate) fn block(low: Point, size: Point, counts: [usize; 3]) -> Self {
        let planes = [0, 1, 2].map(|axis| {
            let count = counts[axis];
            // The last plane is where a neighbour would begin, to the bit.
            let at = |k| {
                if k == count {
                    size[axis]
                } else {
                    size[axis] * k as f64 / count as f64
                }
            };
            (0..=count).map(|k| low[axis] + at(k)).collect::<Vec<f64>>()
        });
        Self::lattice([&planes[0], &planes[1], &planes[2]], |_| true)
    }

    /// The cells between these planes whose middles are solid, as one shell
    /// with two triangles to each cell's outer face.
    pub(crate) fn lattice(planes: [&[f64]; 3], is_solid: impl Fn(Point) -> bool) -> Self {
        let counts = planes.map(|along| along.len() - 1);
        let solid = |cell: [usize; 3]| {
            is_solid([0, 1, 2].map(|a| f64::midpoint(planes[a][cell[a]], planes[a][cell[a] + 1])))
        };
        let mut triangles = Vec::new();
        for cell in cells(counts).filter(|cell| solid(*cell)) {
            for (axis, high) in [
                (0, false),
                (0, true),
                (1, false),
                (1, true),
                (2, false),
                (2, true),
            ] {
                let mut beside = cell;
                let at_rim = if high {
                    cell[axis] + 1 == counts[axis]
                } else {
                    cell[axis] == 0
                };
                beside[axis] = if high {
                    cell[axis] + 1
                } else {
                    cell[axis].wrapping_sub(1)
                };
                if at_rim || !solid(beside) {
                    triangles.extend(wall(planes, cell, axis, high));
                }
            }
        }
        Self(triangles)
    }

    /// The prism over an outline that bulges everywhere and runs
    /// counter-clockwise.
    pub(crate) fn prism(outline: &[[f64; 2]], low: f64, high: f64) -> Self {
        let at = |k: usize, z| {
            let [x, y] = outline[k % outline.len()];
            [x, y, z]
        };
        let mut triangles = Vec::new();
        for k in 0..outline.len() {
            triangles.extend(quad([
                at(k, low),
                at(k + 1, low),
                at(k + 1, high),
                at(k, high),
            ]));
        }
        for k in 2..outline.len() {
            triangles.push([at(0, low), at(k, low), at(k - 1, low)]);
            triangles.push([at(0, high), at(k - 1, high), at(k, high)]);
        }
        Self(triangles)
    }

    /// The prism over the regular polygon with a corner in +x.
    pub(crate) fn cylinder(radius: f64, low: f64, high: f64, sides: usize) -> Self {
        let corner = |k| [radius * turn(k, sides).0, radius * turn(k, sides).1];
        Self::prism(&(0..sides).map(corner).collect::<Vec<_>>(), low, high)
    }

    /// The solid of revolution about z of a polyline of (radius, height) from
    /// axis to axis, in so many equal sectors; turned outwards if the polyline
    /// has the solid on its left.
    pub(crate) fn turned(profile: &[[f64; 2]], sectors: usize) -> Self {
        let at = |[radius, height]: [f64; 2], k| {
            let (cos, sin) = turn(k, sectors);
            if radius > 0.0 {
                [radius * cos, radius * sin, height]
            } else {
                [0.0, 0.0, height]
            }
        };
        let mut triangles = Vec::new();
        for (from, to) in profile.iter().copied().zip(profile.iter().copied().skip(1)) {
            for k in 0..sectors {
                let [first, second] =
                    quad([at(from, k), at(from, k + 1), at(to, k + 1), at(to, k)]);
                // Where a quad ends on the axis, half of it has no area.
                if from[0] > 0.0 {
                    triangles.push(first);
                }
                if to[0] > 0.0 {
                    triangles.push(second);
                }
            }
        }
        Self(triangles)
    }

    /// A ball of `rows` circles of latitude and `meridians`.
    pub(crate) fn globe(radius: f64, rows: usize, meridians: usize) -> Self {
        let ring = |row: usize| {
            let (cos, sin) = half_turn(row, rows);
            [radius * sin, -radius * cos]
        };
        Self::turned(&(0..=rows).map(ring).collect::<Vec<_>>(), meridians)
    }

    /// A ball from an octahedron whose faces are cut into `cuts`² triangles
    /// each, all corners on the sphere.
    pub(crate) fn ball(radius: f64, cuts: usize) -> Self {
        let mut triangles = Vec::with_capacity(8 * cuts * cuts);
        for octant in 0..8 {
            let sign = |bit: usize| if octant >> bit & 1 == 1 { -1.0 } else { 1.0 };
            let is_mirrored = sign(0) * sign(1) * sign(2) < 0.0;
            let at = |i: usize, j: usize| {
                let k = cuts - i - j;
                let point = [sign(0) * i as f64, sign(1) * j as f64, sign(2) * k as f64];
                let length = point.iter().map(|x| x * x).sum::<f64>().sqrt();
                // Adding zero turns a negative zero positive.
                point.map(|x| radius * x / length + 0.0)
            };
            let mut push = |[a, b, c]: Triangle| {
                triangles.push(if is_mirrored { [a, c, b] } else { [a, b, c] });
            };
            for i in 0..cuts {
                for j in 0..cuts - i {
                    push([at(i, j), at(i + 1, j), at(i, j + 1)]);
                    if i + j + 2 <= cuts {
                        push([at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)]);
                    }
                }
            }
        }
        Self(triangles)
    }

    /// A bar of square section along a closed level path with square corners:
    /// one shell, which runs through itself where the path crosses itself.
    pub(crate) fn bar(path: &[[f64; 2]], half: f64) -> Self {
        let count = path.len();
        let along = |k: usize| {
            let ([ax, ay], [bx, by]) = (path[k % count], path[(k + 1) % count]);
            let length = (bx - ax).hypot(by - ay);
            [(bx - ax) / length, (by - ay) / length]
        };
        // The mitred corner to the left (1) or right (-1) of the path.
        let beside = |k: usize, side: f64| {
            let ([ax, ay], [bx, by]) = (along(k + count - 1), along(k));
            let [x, y] = path[k % count];
            [x - side * half * (ay + by), y + side * half * (ax + bx)]
        };
        let section = |k: usize| {
            [(1.0, -half), (-1.0, -half), (-1.0, half), (1.0, half)].map(|(side, z)| {
                let [x, y] = beside(k, side);
                [x, y, z]
            })
        };
        let mut triangles = Vec::new();
        for k in 0..count {
            let (from, to) = (section(k), section(k + 1));
            for edge in 0..4 {
                let next = (edge + 1) % 4;
                triangles.extend(quad([from[edge], to[edge], to[next], from[next]]));
            }
        }
        Self(triangles)
    }

    /// A flat sheet without thickness between four corners.
    pub(crate) fn sheet(corners: [Point; 4]) -> Self {
        Self(quad(corners).to_vec())
    }

    pub(crate) fn and(mut self, other: &Self) -> Self {
        self.0.extend_from_slice(&other.0);
        self
    }

    pub(crate) fn all(parts: impl IntoIterator<Item = Self>) -> Self {
        Self(parts.into_iter().flat_map(|part| part.0).collect())
    }

    /// Each point put elsewhere.
    pub(crate) fn mapped(&self, to: impl Fn(Point) -> Point) -> Self {
        Self(self.0.iter().map(|triangle| triangle.map(&to)).collect())
    }

    pub(crate) fn moved(&self, by: Point) -> Self {
        self.mapped(|point| [0, 1, 2].map(|axis| point[axis] + by[axis]))
    }

    pub(crate) fn scaled(&self, factor: f64) -> Self {
        self.mapped(|point| point.map(|x| x * factor))
    }

    /// Turned about an axis through the origin by a unit quaternion.
    pub(crate) fn turned_by(&self, [w, x, y, z]: [f64; 4]) -> Self {
        let rows = [
            [
                1.0 - 2.0 * (y * y + z * z),
                2.0 * (x * y - w * z),
                2.0 * (x * z + w * y),
            ],
            [
                2.0 * (x * y + w * z),
                1.0 - 2.0 * (x * x + z * z),
                2.0 * (y * z - w * x),
            ],
            [
                2.0 * (x * z - w * y),
                2.0 * (y * z + w * x),
                1.0 - 2.0 * (x * x + y * y),
            ],
        ];
        self.mapped(|point| rows.map(|row| (0..3).map(|k| row[k] * point[k]).sum()))
    }

    pub(crate) fn inside_out(&self) -> Self {
        self.flipped_where(|_| true)
    }

    pub(crate) fn flipped_where(&self, mut is_flipped: impl FnMut(usize) -> bool) -> Self {
        let turn = |(at, [a, b, c]): (usize, Triangle)| {
            if is_flipped(at) { [a, c, b] } else { [a, b, c] }
        };
        Self(self.0.iter().copied().enumerate().map(turn).collect())
    }

    pub(crate) fn without(&self, is_left_out: impl Fn(&Triangle) -> bool) -> Self {
        Self(
            self.0
                .iter()
                .filter(|triangle| !is_left_out(triangle))
                .copied()
                .collect(),
        )
    }

    /// Every triangle in three, at its middle.
    pub(crate) fn cut_at_middles(&self) -> Self {
        let cut = |[a, b, c]: &Triangle| {
            let middle = [0, 1, 2].map(|k| (a[k] + b[k] + c[k]) / 3.0);
            [[*a, *b, middle], [*b, *c, middle], [*c, *a, middle]]
        };
        Self(self.0.iter().flat_map(cut).collect())
    }

    /// Every triangle in four, at the middles of its sides.
    pub(crate) fn cut_at_sides(&self) -> Self {
        let half = |a: Point, b: Point| [0, 1, 2].map(|k| f64::midpoint(a[k], b[k]));
        let cut = |[a, b, c]: &Triangle| {
            let (ab, bc, ca) = (half(*a, *b), half(*b, *c), half(*c, *a));
            [[*a, ab, ca], [ab, *b, bc], [ca, bc, *c], [ab, bc, ca]]
        };
        Self(self.0.iter().flat_map(cut).collect())
    }

    /// In another order, and each triangle from another of its corners.
    pub(crate) fn shuffled(&self, dice: &mut Dice) -> Self {
        let mut triangles = self.0.clone();
        for last in (1..triangles.len()).rev() {
            triangles.swap(last, dice.below(last + 1));
        }
        for triangle in &mut triangles {
            triangle.rotate_left(dice.below(3));
        }
        Self(triangles)
    }

    /// A binary STL of it, which rounds every number to single precision.
    pub(crate) fn stl(&self) -> Vec<u8> {
        let mut bytes = vec![b' '; 80];
        bytes.reserve(4 + 50 * self.0.len());
        bytes.extend((self.0.len() as u32).to_le_bytes());
        for triangle in &self.0 {
            bytes.extend([0; 12]);
            for number in triangle.as_flattened() {
                bytes.extend((*number as f32).to_le_bytes());
            }
            bytes.extend([0; 2]);
        }
        bytes
    }

    /// The sum of all triangles.
    pub(crate) fn area(&self) -> f64 {
        self.0.iter().map(area).sum()
    }

    /// By the signs of the triangles as they are turned.
    pub(crate) fn signed_volume(&self) -> f64 {
        let of = |[a, b, c]: &Triangle| dot(*a, cross(*b, *c)) / 6.0;
        self.0.iter().map(of).sum()
    }
}

fn cross(a: Point, b: Point) -> Point {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

fn dot(a: Point, b: Point) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(crate) fn area([a, b, c]: &Triangle) -> f64 {
    let side = |from: &Point, to: &Point| [0, 1, 2].map(|k| to[k] - from[k]);
    let upright = cross(side(a, b), side(a, c));
    dot(upright, upright).sqrt() / 2.0
}

/// Cosine and sine of `k` of `of` parts of a turn, the same numbers for `k`
/// and `k + of`.
fn turn(k: usize, of: usize) -> (f64, f64) {
    let (sin, cos) = (TAU * (k % of) as f64 / of as f64).sin_cos();
    (cos, sin)
}

/// Cosine and sine of `k` of `of` parts of half a turn, with nothing left of
/// the sine at its ends.
fn half_turn(k: usize, of: usize) -> (f64, f64) {
    if k == 0 || k == of {
        return (if k == 0 { 1.0 } else { -1.0 }, 0.0);
    }
    let (sin, cos) = (PI * k as f64 / of as f64).sin_cos();
    (cos, sin)
}

/// Area of the regular polygon with corners at this radius.
pub(crate) fn polygon_area(radius: f64, sides: usize) -> f64 {
    sides as f64 / 2.0 * radius * radius * (TAU / sides as f64).sin()
}

/// Its perimeter.
pub(crate) fn polygon_perimeter(radius: f64, sides: usize) -> f64 {
    2.0 * sides as f64 * radius * (PI / sides as f64).sin()
}

/// Area of what a polyline of (radius, height) sweeps: a trapezoid for each
/// sector and part, its parallel sides 2 r sin(π/n) long.
pub(crate) fn turned_area(profile: &[[f64; 2]], sectors: usize) -> f64 {
    let (sin, cos) = (PI / sectors as f64).sin_cos();
    let part = |pair: &[[f64; 2]]| {
        let ([r, z], [s, y]) = (pair[0], pair[1]);
        sectors as f64 * sin * (r + s) * ((s - r) * cos).hypot(y - z)
    };
    profile.windows(2).map(part).sum()
}

/// Volume of what such a closed polyline sweeps: frustums over the polygon.
pub(crate) fn turned_volume(profile: &[[f64; 2]], sectors: usize) -> f64 {
    let part = |pair: &[[f64; 2]]| {
        let ([r, z], [s, y]) = (pair[0], pair[1]);
        polygon_area(1.0, sectors) * (r * r + r * s + s * s) / 3.0 * (y - z)
    };
    profile.windows(2).map(part).sum()
}

/// Numbers that look random and are the same in every run (splitmix64, Steele,
/// Lea, Flood 2014; constants from memory).
#[derive(Clone, Debug)]
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub(crate) fn below(&mut self, limit: usize) -> usize {
        (self.next() % limit as u64) as usize
    }

    /// From -1 to 1.
    pub(crate) fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }

    /// A turn about a random axis, as a unit quaternion.
    pub(crate) fn turn(&mut self) -> [f64; 4] {
        loop {
            let four = [(); 4].map(|()| self.share());
            let length = four.iter().map(|x| x * x).sum::<f64>().sqrt();
            if (0.1..1.0).contains(&length) {
                return four.map(|x| x / length);
            }
        }
    }
}
