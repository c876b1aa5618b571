//! What the spaces are: the outside, solid, or a hollow.

use std::collections::{BTreeMap, BinaryHeap};

use super::super::Corner;

/// A bit of the surface that parts two spaces as a whole.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wall {
    /// The spaces in front and behind.
    pub(super) spaces: [u32; 2],
    /// In mm².
    pub(super) area: f64,
    /// Of it, what is turned to the front in the file less what is turned to
    /// the back.
    pub(super) turned: f64,
    /// Volume in mm³ between it and the origin, positive where its front looks
    /// away.
    pub(super) volume: f64,
    /// A point on it.
    pub(super) at: Corner,
    /// A lid: the file has not got it.
    pub(super) lid: bool,
}

/// What is known of a space.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Space {
    /// Whether the print is there.
    pub(super) solid: bool,
    /// In mm³; of the outside, without meaning.
    pub(super) volume: f64,
    /// Of its walls, in mm², without lids.
    pub(super) area: f64,
    /// A point on its largest wall.
    pub(super) at: Corner,
}

/// Tells solid from hollow, from the outside inwards.
///
/// A space is solid where a way in from outside crosses more walls turned
/// against it than with it, or fewer; with as many of both it is a hollow, if
/// all its walls are turned alike. Where the file turns the triangles of a wall
/// both ways, crossing it makes hollow of solid and solid of hollow.
pub(super) fn tell(walls: &[Wall], count: usize) -> Vec<Space> {
    let mut spaces = measured(walls, count);
    let mut between: BTreeMap<(u32, u32), (f64, f64, f64)> = BTreeMap::new();
    for wall in walls {
        let [front, back] = wall.spaces;
        if front == back {
            continue;
        }
        let (pair, sign) = if front < back {
            ((front, back), 1.0)
        } else {
            ((back, front), -1.0)
        };
        let sums = between.entry(pair).or_default();
        sums.0 += wall.area;
        if !wall.lid {
            sums.1 += wall.area;
            sums.2 += sign * wall.turned;
        }
    }
    let mut next: Vec<Vec<(u32, (f64, f64, f64))>> = vec![Vec::new(); count];
    for (&(a, b), &(all, area, turned)) in &between {
        next[a as usize].push((b, (all, area, turned)));
        next[b as usize].push((a, (all, area, -turned)));
    }
    let mut depths: Vec<Option<i64>> = vec![None; count];
    depths[0] = Some(0);
    let mut heap = BinaryHeap::new();
    let push = |heap: &mut BinaryHeap<(u64, u32, u32)>, from: u32| {
        for (to, (all, ..)) in &next[from as usize] {
            // Positive numbers are ordered as their bits are.
            heap.push((all.to_bits(), from, *to));
        }
    };
    push(&mut heap, 0);
    while let Some((_, from, to)) = heap.pop() {
        if depths[to as usize].is_some() {
            continue;
        }
        let depth = depths[from as usize].unwrap_or(0);
        let way = next[from as usize].iter().find(|(other, _)| *other == to);
        let (area, turned) = way.map_or((0.0, 0.0), |(_, (_, area, turned))| (*area, *turned));
        let is_trusted = turned.abs() >= TRUSTED * area;
        depths[to as usize] = Some(if area == 0.0 {
            depth
        } else if is_trusted {
            depth + if turned > 0.0 { 1 } else { -1 }
        } else {
            i64::from(depth == 0)
        });
        push(&mut heap, to);
    }
    for (at, space) in spaces.iter_mut().enumerate().skip(1) {
        let walls = next[at].iter().filter(|(_, (_, area, _))| *area > 0.0);
        let (area, turned) = walls.fold((0.0, 0.0), |(all, sum), (_, (_, area, turned))| {
            (all + area, sum + turned)
        });
        let is_mixed = turned.abs() < TRUSTED * area && next[at].len() > 1;
        space.solid = match depths[at] {
            Some(0) => is_mixed,
            Some(_) => true,
            // Nothing is known of what no way leads to.
            None => false,
        };
    }
    spaces
}

/// The share of a wall that has to be turned alike to be believed.
const TRUSTED: f64 = 0.9;

/// Volume, area and a point of each space.
fn measured(walls: &[Wall], count: usize) -> Vec<Space> {
    let nothing = Space {
        solid: false,
        volume: 0.0,
        area: 0.0,
        at: [0.0; 3],
    };
    let mut spaces = vec![nothing; count];
    let mut largest = vec![-1.0; count];
    for wall in walls {
        let [front, back] = wall.spaces.map(|space| space as usize);
        if front == back {
            continue;
        }
        spaces[front].volume -= wall.volume;
        spaces[back].volume += wall.volume;
        for space in [front, back] {
            if !wall.lid {
                spaces[space].area += wall.area;
            }
            if wall.area > largest[space] {
                largest[space] = wall.area;
                spaces[space].at = wall.at;
            }
        }
    }
    spaces
}
