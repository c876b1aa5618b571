//! What the spaces are: the outside, solid, or a hollow.

use std::collections::{BTreeMap, BinaryHeap};

use super::super::Corner;

/// A bit of the surface that parts two spaces as a whole.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wall {
    /// The spaces in front and behind.
    pub(super) spaces: [u32; 2],
    /// In mm²; none where another wall stands for the same place.
    pub(super) area: f64,
    /// Of all triangles that lie there.
    pub(super) layers: f64,
    /// Of them, what is turned to the front in the file less what is turned to
    /// the back.
    pub(super) turned: f64,
    /// Of that, what comes of the very same triangles there again.
    pub(super) again: f64,
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

/// What parts two spaces: areas in mm², what is turned seen from the first.
#[derive(Debug, Clone, Copy, Default)]
struct Between {
    /// With lids.
    all: f64,
    area: f64,
    layers: f64,
    turned: f64,
    again: f64,
}

impl Between {
    fn add(&mut self, wall: &Wall, sign: f64) {
        self.all += wall.area;
        if !wall.lid {
            self.area += wall.area;
            self.layers += wall.layers;
            self.turned += sign * wall.turned;
            self.again += sign * wall.again;
        }
    }

    fn seen_from_behind(self) -> Self {
        Self {
            turned: -self.turned,
            again: -self.again,
            ..self
        }
    }

    /// How many more walls are turned against a way across than with it; none
    /// where the file turns the triangles of a wall both ways.
    fn crossed(&self) -> Option<i64> {
        if self.area <= 0.0 {
            return Some(0);
        }
        let (layers, turned) = (self.layers / self.area, self.turned / self.area);
        let crossed = turned.round();
        let fits = (turned - crossed).abs() < 1.0 - TRUSTED
            // As many walls as there are cannot leave an odd rest of an even number.
            && (layers.round() - crossed).rem_euclid(2.0) == 0.0;
        fits.then_some(crossed as i64)
    }

    /// The depth beyond, on a way from this depth.
    fn beyond(&self, depth: i64) -> i64 {
        let beyond = |between: &Self| between.crossed().map(|crossed| depth + crossed);
        // What is left more often than it was entered has walls that the file
        // has twice.
        let is_left = |beyond: &i64| depth.signum() * beyond.signum() < 0;
        beyond(self)
            .filter(|beyond| !is_left(beyond))
            .or_else(|| beyond(&self.once()))
            .or_else(|| beyond(self))
            .unwrap_or(i64::from(depth == 0))
    }

    /// The same without what is there again.
    fn once(self) -> Self {
        Self {
            layers: self.layers - self.again.abs(),
            turned: self.turned - self.again,
            again: 0.0,
            ..self
        }
    }
}

/// Tells solid from hollow, from the outside inwards.
///
/// A space is solid where a way in from outside crosses more walls turned
/// against it than with it, or fewer; with as many of both it is a hollow, if
/// all its walls are turned alike. Where the file turns the triangles of a wall
/// both ways, crossing it makes hollow of solid and solid of hollow.
pub(super) fn tell(walls: &[Wall], count: usize) -> Vec<Space> {
    let mut spaces = measured(walls, count);
    let mut pairs: BTreeMap<(u32, u32), Between> = BTreeMap::new();
    for wall in walls {
        let [front, back] = wall.spaces;
        if front < back {
            pairs.entry((front, back)).or_default().add(wall, 1.0);
        } else if back < front {
            pairs.entry((back, front)).or_default().add(wall, -1.0);
        }
    }
    let mut next: Vec<Vec<(u32, Between)>> = vec![Vec::new(); count];
    for (&(a, b), &between) in &pairs {
        next[a as usize].push((b, between));
        next[b as usize].push((a, between.seen_from_behind()));
    }
    let depths = depths(&next);
    for (at, space) in spaces.iter_mut().enumerate().skip(1) {
        let walls = next[at].iter().map(|(_, between)| between);
        let (area, turned) = walls.fold((0.0, 0.0), |(area, turned), wall| {
            (
                area + wall.area,
                turned + wall.turned.clamp(-wall.area, wall.area),
            )
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

/// How deep in the solid each space is, by the way over the largest walls.
fn depths(next: &[Vec<(u32, Between)>]) -> Vec<Option<i64>> {
    let mut depths: Vec<Option<i64>> = vec![None; next.len()];
    let mut open = BinaryHeap::from([(u64::MAX, 0_u32, 0_i64)]);
    while let Some((_, space, depth)) = open.pop() {
        if depths[space as usize].is_some() {
            continue;
        }
        depths[space as usize] = Some(depth);
        for (to, between) in &next[space as usize] {
            let beyond = match between.beyond(depth) {
                // What the bath does not get into is not all hollow: where the
                // walls are turned both ways at once, they hold something.
                0 if space == 0 && between.area > 0.0 => 1,
                beyond => beyond,
            };
            // The bits of positive numbers are ordered as they are.
            open.push((between.all.to_bits(), *to, beyond));
        }
    }
    depths
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
