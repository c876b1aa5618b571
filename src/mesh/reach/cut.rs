//! A triangle cut along the lines where others meet it.
//!
//! The lines are put one after the other into a tree of half planes (Fuchs,
//! Kedem & Naylor 1980): each cuts only the parts that it runs through, so the
//! parts stay few, and all of them bulge everywhere.

use super::super::Corner;
use super::super::space::{cross, dot, less, plus, times, unit};
use super::super::tree::{Bounds, Tree};

/// A point in a triangle's plane.
pub(super) type Point = [f64; 2];

/// A line in the plane from point to point.
pub(super) type Line = [Point; 2];

/// A triangle's plane with axes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sheet {
    origin: Corner,
    axes: [Corner; 2],
}

impl Sheet {
    pub(super) fn of(corners: [Corner; 3], normal: Corner) -> Self {
        let first = unit(less(corners[1], corners[0]));
        Self {
            origin: corners[0],
            axes: [first, cross(normal, first)],
        }
    }

    pub(super) fn flat(&self, point: Corner) -> Point {
        let from = less(point, self.origin);
        self.axes.map(|axis| dot(axis, from))
    }

    pub(super) fn raised(&self, point: Point) -> Corner {
        let [x, y] = self.axes;
        plus(self.origin, plus(times(x, point[0]), times(y, point[1])))
    }
}

/// What a side of a part lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Border {
    /// The triangle's side of this number.
    Side(u8),
    /// A cut.
    Cut,
}

/// A part of a triangle: corners counter-clockwise, each with what the side
/// from it to the next lies on.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    pub(super) outline: Vec<(Point, Border)>,
}

impl Part {
    pub(super) fn corners(&self) -> impl Iterator<Item = Point> + '_ {
        self.outline.iter().map(|(point, _)| *point)
    }

    /// Its sides, each with what it lies on.
    pub(super) fn sides(&self) -> impl Iterator<Item = (Line, Border)> + '_ {
        let next = self.outline.iter().cycle().skip(1);
        let both = self.outline.iter().zip(next);
        both.map(|((from, border), (to, _))| ([*from, *to], *border))
    }

    pub(super) fn area(&self) -> f64 {
        let first = self.outline.first().map_or([0.0; 2], |(point, _)| *point);
        let doubled = |([a, b], _): (Line, Border)| cross2(less2(a, first), less2(b, first));
        self.sides().map(doubled).sum::<f64>() / 2.0
    }

    /// The middle of its area.
    pub(super) fn middle(&self) -> Point {
        let first = self.outline.first().map_or([0.0; 2], |(point, _)| *point);
        let (mut sum, mut doubled) = ([0.0; 2], 0.0);
        for ([a, b], _) in self.sides() {
            let (a, b) = (less2(a, first), less2(b, first));
            let area = cross2(a, b);
            doubled += area;
            sum = [sum[0] + area * (a[0] + b[0]), sum[1] + area * (a[1] + b[1])];
        }
        if doubled > 0.0 {
            let share = 1.0 / (3.0 * doubled);
            [first[0] + sum[0] * share, first[1] + sum[1] * share]
        } else {
            first
        }
    }

    /// The parts before and behind a line; none where one of them would be
    /// thinner than the tolerance.
    fn halves(&self, half: &Half, tolerance: f64) -> Option<[Self; 2]> {
        let above: Vec<f64> = self.corners().map(|point| half.above(point)).collect();
        let highest = above.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let lowest = above.iter().copied().fold(f64::INFINITY, f64::min);
        if highest <= tolerance || lowest >= -tolerance {
            return None;
        }
        let mut before = Vec::with_capacity(self.outline.len() + 1);
        let mut behind = Vec::with_capacity(self.outline.len() + 1);
        for (k, &(point, border)) in self.outline.iter().enumerate() {
            let next = (k + 1) % self.outline.len();
            let (here, there) = (above[k], above[next]);
            if here >= 0.0 {
                before.push((
                    point,
                    if here == 0.0 && there < 0.0 {
                        Border::Cut
                    } else {
                        border
                    },
                ));
            }
            if here <= 0.0 {
                behind.push((
                    point,
                    if here == 0.0 && there > 0.0 {
                        Border::Cut
                    } else {
                        border
                    },
                ));
            }
            if here * there < 0.0 {
                let middle = between(point, self.outline[next].0, here / (here - there));
                before.push((middle, if here > 0.0 { Border::Cut } else { border }));
                behind.push((middle, if here < 0.0 { Border::Cut } else { border }));
            }
        }
        Some([Self { outline: before }, Self { outline: behind }])
    }
}

fn less2(a: Point, b: Point) -> Point {
    [a[0] - b[0], a[1] - b[1]]
}

fn cross2(a: Point, b: Point) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

/// The point so far on the way from `a` to `b`.
pub(super) fn between(a: Point, b: Point, share: f64) -> Point {
    [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]
}

fn length2(a: Point) -> f64 {
    a[0].hypot(a[1])
}

/// How far a point is from a line's points.
fn distance(point: Point, [a, b]: Line) -> f64 {
    let (along, to) = (less2(b, a), less2(point, a));
    let square = along[0] * along[0] + along[1] * along[1];
    let share = if square > 0.0 {
        ((to[0] * along[0] + to[1] * along[1]) / square).clamp(0.0, 1.0)
    } else {
        0.0
    };
    length2(less2(point, between(a, b, share)))
}

/// A straight line without ends.
#[derive(Debug, Clone, Copy)]
struct Half {
    from: Point,
    along: Point,
}

impl Half {
    fn of([a, b]: Line) -> Self {
        let along = less2(b, a);
        let length = length2(along);
        Self {
            from: a,
            along: [along[0] / length, along[1] / length],
        }
    }

    fn above(&self, point: Point) -> f64 {
        cross2(self.along, less2(point, self.from))
    }
}

/// Lines up to this number are looked through one by one.
const FEW: usize = 24;

#[derive(Debug)]
enum Node {
    Split {
        half: Half,
        before: u32,
        behind: u32,
    },
    Part(u32),
}

/// A triangle in parts.
#[derive(Debug)]
pub(super) struct Cutting {
    pub(super) sheet: Sheet,
    /// Never empty.
    pub(super) parts: Vec<Part>,
    /// The lines along which others meet the triangle.
    walls: Vec<Line>,
    /// Over the walls, where they are many.
    tree: Option<Tree>,
    nodes: Vec<Node>,
    tolerance: f64,
}

impl Cutting {
    /// The triangle cut along lines.
    pub(super) fn of(sheet: Sheet, corners: [Corner; 3], walls: Vec<Line>, tolerance: f64) -> Self {
        let outline = (0_u8..)
            .zip(corners)
            .map(|(k, corner)| (sheet.flat(corner), Border::Side(k)))
            .collect();
        let mut cutting = Self {
            sheet,
            parts: vec![Part { outline }],
            walls: Vec::new(),
            tree: None,
            nodes: vec![Node::Part(0)],
            tolerance,
        };
        // In no order, or the tree grows like a list.
        let count = walls.len();
        let stride = (count * 382 / 619).max(1);
        let stride = (stride..stride + count + 2)
            .find(|stride| are_coprime(*stride, count))
            .unwrap_or(1);
        for k in 0..count {
            cutting.cut(0, walls[(k * stride) % count]);
        }
        let bounds = |wall: usize| Bounds::around(&walls[wall].map(upright), 0.0);
        cutting.tree = (count > FEW).then(|| Tree::over(count, bounds));
        cutting.walls = walls;
        cutting
    }

    fn cut(&mut self, node: usize, line: Line) {
        if length2(less2(line[1], line[0])) <= self.tolerance {
            return;
        }
        match self.nodes[node] {
            Node::Part(part) => self.split(node, part, line),
            Node::Split {
                half,
                before,
                behind,
            } => {
                let (a, b) = (half.above(line[0]), half.above(line[1]));
                let tolerance = self.tolerance;
                if a.abs() <= tolerance && b.abs() <= tolerance {
                    return;
                }
                if a >= -tolerance && b >= -tolerance {
                    self.cut(before as usize, line);
                } else if a <= tolerance && b <= tolerance {
                    self.cut(behind as usize, line);
                } else {
                    let middle = between(line[0], line[1], a / (a - b));
                    let (first, last) = if a > 0.0 {
                        (before, behind)
                    } else {
                        (behind, before)
                    };
                    self.cut(first as usize, [line[0], middle]);
                    self.cut(last as usize, [middle, line[1]]);
                }
            }
        }
    }

    fn split(&mut self, node: usize, part: u32, line: Line) {
        let half = Half::of(line);
        let Some([before, behind]) = self.parts[part as usize].halves(&half, self.tolerance) else {
            return;
        };
        let other = self.parts.len() as u32;
        self.parts[part as usize] = before;
        self.parts.push(behind);
        let children = self.nodes.len() as u32;
        self.nodes.push(Node::Part(part));
        self.nodes.push(Node::Part(other));
        self.nodes[node] = Node::Split {
            half,
            before: children,
            behind: children + 1,
        };
    }

    /// The part at a point, as if the outermost had no outer border.
    pub(super) fn part_at(&self, point: Point) -> u32 {
        let mut node = 0;
        loop {
            match &self.nodes[node as usize] {
                Node::Part(part) => return *part,
                Node::Split {
                    half,
                    before,
                    behind,
                } => {
                    node = if half.above(point) >= 0.0 {
                        *before
                    } else {
                        *behind
                    };
                }
            }
        }
    }

    /// Whether no other triangle meets this one within a distance of a point.
    pub(super) fn is_clear(&self, point: Point, within: f64) -> bool {
        let is_near = |wall: &Line| distance(point, *wall) <= within;
        let Some(tree) = &self.tree else {
            return !self.walls.iter().any(is_near);
        };
        let mut clear = true;
        let bounds = Bounds::around(&[upright(point)], within);
        tree.overlapping(&bounds, |wall| clear &= !is_near(&self.walls[wall]));
        clear
    }
}

/// A point of the plane as one of space.
fn upright([x, y]: Point) -> Corner {
    [x, y, 0.0]
}

fn are_coprime(a: usize, b: usize) -> bool {
    let (mut a, mut b) = (a, b);
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a == 1
}
