//! What the bath reaches of a print's surface.
//!
//! Wet is what a way leads to from outside without crossing a triangle,
//! however the triangle is turned and however often it is there. So: equal
//! corners become one ([`weld`]); holes get lids that stop the bath ([`lids`]);
//! a tree of boxes finds where triangles meet other than along their sides
//! ([`touch`]); only these are cut ([`cut`]); sides that lie open to the same
//! space are joined ([`free`]); and the spaces are told apart ([`spaces`]).
//!
//! What is closer together than a few last places of single precision counts as
//! one: faces that coincide still do after a file was turned and rounded.

mod cut;
mod free;
mod join;
mod lids;
mod scene;
mod spaces;
mod touch;
mod weld;

use std::collections::{BTreeMap, BTreeSet, HashMap};

use rayon::prelude::*;

use super::space::{area, dot, length, less, normal};
use super::{Cavity, Class, Corner, Facet, InMm, Island};
use crate::units::{Stopped, Watch, go_on};
use free::Free;
use join::Sets;
pub(super) use lids::Holes;
use scene::Scene;
use spaces::{Space, Wall};
use touch::Meeting;
use weld::Welded;

/// How many of a kind, how large together, and where the largest is.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Tally {
    pub(super) count: usize,
    pub(super) size: f64,
    pub(super) at: Corner,
    /// The triangle of the file that was counted last.
    last: Option<u32>,
}

impl Tally {
    fn of(these: impl Iterator<Item = (f64, Corner)>) -> Self {
        let mut tally = Self::default();
        these.for_each(|(size, at)| tally.add(size, at));
        tally
    }

    /// Adds a bit of a triangle of the file, of which each counts once.
    fn add_of(&mut self, triangle: u32, size: f64, at: Corner) {
        self.add(size, at);
        if self.last.replace(triangle) == Some(triangle) {
            self.count -= 1;
        }
    }

    fn add(&mut self, size: f64, at: Corner) {
        if self.count == 0 || size > self.size {
            self.at = at;
        }
        self.count += 1;
        self.size += size;
    }
}

/// Triangles that meet along less than so many tolerances are not told of.
const SHORTEST: f64 = 64.0;

/// Hollows thinner than so many tolerances come of rounding.
const THINNEST: f64 = 256.0;

/// What the bath reaches, and what was found on the way.
#[derive(Debug)]
pub(super) struct Reach {
    /// The surface. Every triangle of the file that has an area is in it.
    pub(super) facets: Vec<Facet>,
    /// Of the solid, in mm³.
    pub(super) volume: f64,
    /// Of the lids that are walls of the solid, in mm².
    pub(super) lidded: f64,
    /// With what is shut inside, in mm³.
    pub(super) envelope: f64,
    /// The connected pieces of the solid that the bath touches.
    pub(super) islands: Vec<Island>,
    /// Hollows without any way in.
    pub(super) sealed: Vec<Cavity>,
    /// Whether each side of a triangle is met by exactly one other.
    pub(super) watertight: bool,
    /// Holes and cracks.
    pub(super) holes: Holes,
    /// Triangles without area.
    pub(super) flat: Tally,
    /// Triangles that are there before: whole ones, or parts.
    pub(super) doubled: Tally,
    /// Turned with their back to the open side.
    pub(super) flipped: Tally,
    /// With solid on both sides.
    pub(super) internal: Tally,
    /// Meetings of two shells.
    pub(super) overlaps: Tally,
    /// Meetings of a shell with itself.
    pub(super) self_meetings: Tally,
    /// Sides that more than two triangles share.
    pub(super) crowds: Tally,
    /// What is too thin to be told and taken for wet, in mm².
    pub(super) untold: f64,
    /// How far a corner may be off for the rounding of its file, in mm.
    pub(super) rounding: f64,
}

/// Surveys triangles in mm.
///
/// # Errors
/// [`Stopped`] where `watch` asks for it.
pub(super) fn reach(raw: InMm<'_>, watch: &dyn Watch) -> Result<Reach, Stopped> {
    go_on(watch, "welding corners", 0.05)?;
    let mut welded = Welded::of(raw);
    let watertight = welded.doubled.is_empty()
        && !welded.triangles.is_empty()
        && welded.sides.twins.iter().all(|twin| *twin < weld::CROWD);
    let holes = lids::shut(&mut welded);
    let scene = Scene::of(welded, watch)?;
    let free = Free::of(&scene, watch)?;
    go_on(watch, "telling inside from outside", 0.85)?;
    let walls = walls(&scene, &free);
    let spaces = spaces::tell(&walls, free.count);
    let least_mm = THINNEST * scene.welded.tolerance;
    let untold = free.untold.iter();
    let untold = untold.map(|at| area(scene.welded.corners_of(*at as usize)));
    let mut reach = Reach {
        facets: Vec::new(),
        volume: 0.0,
        lidded: 0.0,
        envelope: 0.0,
        islands: islands(&walls, &spaces),
        sealed: sealed(&spaces, least_mm),
        watertight,
        holes,
        flat: Tally::of(
            scene
                .welded
                .flat
                .iter()
                .map(|at| (0.0, raw.corners(*at as usize)[0])),
        ),
        doubled: Tally::default(),
        flipped: Tally::default(),
        internal: Tally::default(),
        overlaps: Tally::default(),
        self_meetings: Tally::default(),
        crowds: Tally::default(),
        untold: untold.sum(),
        rounding: scene.welded.tolerance / 8.0,
    };
    reach.sum_volumes(&walls, &spaces);
    reach.tell_meetings(&scene, &free);
    go_on(watch, "classing the surface", 0.9)?;
    reach.class(&scene, &free, &spaces, raw);
    Ok(reach)
}

/// Triangles that are summed together.
const BLOCK: usize = 1 << 13;

/// The surface by patches and parts, as far as it parts spaces.
fn walls(scene: &Scene, free: &Free) -> Vec<Wall> {
    let origin = scene.welded.corners.first().copied().unwrap_or_default();
    let nothing = |at: u32, spaces| Wall {
        spaces,
        area: 0.0,
        layers: 0.0,
        turned: 0.0,
        again: 0.0,
        volume: 0.0,
        at: scene.welded.corners_of(at as usize)[0],
        lid: scene.welded.is_lid(at as usize),
    };
    let patches = free.patches.iter().enumerate();
    let mut walls: Vec<Wall> = patches
        .map(|(patch, &first)| nothing(first, free.of_patch(patch)))
        .collect();
    // Triangles of one patch follow each other for long. Blocks of a fixed
    // length make the sums the same however many threads there are.
    let count = scene.welded.triangles.len();
    let runs: Vec<Vec<(usize, Wall)>> = (0..count.div_ceil(BLOCK))
        .into_par_iter()
        .map(|block| {
            let mut runs: Vec<(usize, Wall)> = Vec::new();
            for triangle in block * BLOCK..count.min((block + 1) * BLOCK) {
                let Some((patch, turned)) = free.patch(triangle as u32) else {
                    continue;
                };
                let is_lid = scene.welded.is_lid(triangle);
                let corners = scene.welded.corners_of(triangle);
                let upright = normal(corners);
                let sign = if turned { -1.0 } else { 1.0 };
                let area = dot(upright, upright).sqrt() / 2.0;
                let volume = sign * dot(upright, less(corners[0], origin)) / 6.0;
                match runs.last_mut() {
                    Some((last, wall)) if *last == patch && !wall.lid && !is_lid => {
                        wall.area += area;
                        wall.turned += sign * area;
                        wall.volume += volume;
                    }
                    _ => runs.push((
                        patch,
                        Wall {
                            area,
                            turned: sign * area,
                            volume,
                            ..nothing(triangle as u32, free.of_patch(patch))
                        },
                    )),
                }
            }
            runs
        })
        .collect();
    let mut lids = Vec::new();
    for (patch, run) in runs.into_iter().flatten() {
        if run.lid {
            lids.push(Wall { turned: 0.0, ..run });
            continue;
        }
        let wall = &mut walls[patch];
        wall.area += run.area;
        wall.layers += run.area;
        wall.turned += run.turned;
        wall.volume += run.volume;
    }
    walls.extend(lids);
    let nets = nets(&scene.welded);
    for (&triangle, &net) in &nets {
        if let Some((patch, turned)) = free.patch(triangle) {
            let area = area(scene.welded.corners_of(triangle as usize));
            let sign = if turned { -1.0 } else { 1.0 };
            walls[patch].turned += f64::from(net - 1) * sign * area;
            walls[patch].layers += (layers(net) - 1.0) * area;
            walls[patch].again += again(net) * sign * area;
        }
    }
    for (cutting, &triangle) in scene.met.iter().enumerate() {
        let here = &scene.cuttings[cutting];
        let upright = scene.plane(triangle).normal;
        let net = nets.get(&triangle).copied().unwrap_or(1);
        for (part, outline) in here.parts.iter().enumerate() {
            let (layer, at) = (outline.area(), here.sheet.raised(outline.middle()));
            let area = if free.is_doubled(cutting, part) {
                0.0
            } else {
                layer
            };
            walls.push(Wall {
                area,
                layers: layer * layers(net),
                turned: layer * f64::from(net),
                again: layer * again(net),
                volume: area * dot(upright, less(at, origin)) / 3.0,
                at,
                ..nothing(triangle, free.of_part(cutting, part))
            });
        }
    }
    walls
}

/// The triangles that stand for doubles, each with its net of how these are
/// turned.
fn nets(welded: &Welded) -> BTreeMap<u32, i32> {
    let nets: HashMap<u32, i32> = welded.nets.iter().copied().collect();
    if nets.is_empty() {
        return BTreeMap::new();
    }
    let triangles = (0_u32..).zip(&welded.file);
    triangles
        .filter_map(|(at, file)| Some((at, *nets.get(file)?)))
        .collect()
}

/// The least number of doubles that leaves this net.
fn layers(net: i32) -> f64 {
    if net == 0 { 2.0 } else { f64::from(net.abs()) }
}

/// What of a net is there again after the first.
fn again(net: i32) -> f64 {
    f64::from(net - net.signum())
}

/// The connected pieces of the solid with a wall to the outside.
fn islands(walls: &[Wall], spaces: &[Space]) -> Vec<Island> {
    let mut sets = Sets::new(spaces.len());
    let mut wet = vec![None; spaces.len()];
    for wall in walls.iter().filter(|wall| wall.area > 0.0) {
        let [front, back] = wall.spaces;
        let solid = wall.spaces.map(|space| spaces[space as usize].solid);
        match (solid, front, back) {
            ([true, true], ..) => {
                sets.join(front, back);
            }
            ([false, true], 0, inner) | ([true, false], inner, 0) => {
                wet[inner as usize].get_or_insert(wall.at);
            }
            _ => {}
        }
    }
    let mut volumes = vec![0.0; spaces.len()];
    let mut points: Vec<Option<Corner>> = vec![None; spaces.len()];
    for (at, space) in spaces.iter().enumerate().filter(|(_, space)| space.solid) {
        let island = sets.find(at as u32) as usize;
        volumes[island] += space.volume;
        points[island] = points[island].or(wet[at]);
    }
    let whole: f64 = volumes.iter().sum();
    let mut islands: Vec<Island> = volumes
        .iter()
        .zip(points)
        .filter(|(volume, _)| **volume > 1e-9 * whole)
        .filter_map(|(&volume_mm3, at)| {
            Some(Island {
                at_mm: at?,
                volume_mm3,
            })
        })
        .collect();
    islands.sort_by(|a, b| b.volume_mm3.total_cmp(&a.volume_mm3));
    islands
}

/// Whether its walls can hold its volume: a ball has the most for its walls.
fn is_body(space: &Space) -> bool {
    let ball = space.area.powf(1.5) / (6.0 * std::f64::consts::PI.sqrt());
    space.volume < ball * 1.001
}

/// The hollows, the largest first. What is thinner than `least_mm` is where two
/// surfaces lie on each other but for rounding, and no hollow.
fn sealed(spaces: &[Space], least_mm: f64) -> Vec<Cavity> {
    let hollow = spaces.iter().skip(1).filter(|space| !space.solid);
    let mut sealed: Vec<Cavity> = hollow
        .filter(|space| 2.0 * space.volume > least_mm * space.area && is_body(space))
        .map(|space| Cavity {
            area_mm2: space.area,
            volume_mm3: space.volume,
            sealed: true,
            opening_mm: None,
            at_mm: space.at,
        })
        .collect();
    sealed.sort_by(|a, b| b.volume_mm3.total_cmp(&a.volume_mm3));
    sealed
}

impl Reach {
    fn sum_volumes(&mut self, walls: &[Wall], spaces: &[Space]) {
        for wall in walls {
            let sign = |is_in: [bool; 2]| match is_in {
                [false, true] => 1.0,
                [true, false] => -1.0,
                _ => 0.0,
            };
            let solid = sign(wall.spaces.map(|space| spaces[space as usize].solid));
            self.volume += wall.volume * solid;
            if wall.lid {
                self.lidded += wall.area * solid.abs();
            }
            self.envelope += wall.volume * sign(wall.spaces.map(|space| space != 0));
        }
    }

    /// Tells which shells the meeting triangles belong to.
    fn tell_meetings(&mut self, scene: &Scene, free: &Free) {
        for crowd in &scene.welded.sides.crowds {
            let ends = [0, 1].map(|end| {
                let (triangle, k) = (crowd[0] / 3, crowd[0] % 3);
                scene.welded.corners_of(triangle as usize)[(k as usize + end) % 3]
            });
            self.crowds.add(length(less(ends[1], ends[0])), ends[0]);
        }
        if scene.contacts.is_empty() {
            return;
        }
        let mut shells = Sets::new(free.patches.len() + scene.met.len());
        let shell = |triangle: u32| match (free.patch(triangle), scene.cutting(triangle)) {
            (_, Some(cutting)) => (free.patches.len() + cutting) as u32,
            (Some((patch, _)), None) => patch as u32,
            (None, None) => 0,
        };
        let blind = free.patches.iter().filter(|at| scene.is_blind(**at));
        for &triangle in scene.met.iter().chain(blind) {
            for side in 3 * triangle..3 * triangle + 3 {
                if let Some(twin) = scene.welded.sides.twin(side) {
                    shells.join(shell(triangle), shell(twin / 3));
                }
            }
        }
        for crowd in &scene.welded.sides.crowds {
            for side in &crowd[1..] {
                shells.join(shell(crowd[0] / 3), shell(side / 3));
            }
        }
        // Each pair of shells counts once, however many triangles meet.
        let mut told = BTreeSet::new();
        for &(a, b, meeting) in &scene.contacts {
            let Meeting::Line([from, to]) = meeting else {
                continue;
            };
            if [a, b].iter().any(|at| scene.welded.is_lid(*at as usize)) {
                continue;
            }
            // What is shorter comes of sides that run on past a shared corner.
            if length(less(to, from)) < SHORTEST * scene.welded.tolerance {
                continue;
            }
            // Sides that lie on each other touch, but run through nothing.
            if [a, b].iter().all(|at| scene.runs_along(*at, [from, to])) {
                continue;
            }
            let (a, b) = (shells.find(shell(a)), shells.find(shell(b)));
            let kind = if a == b {
                &mut self.self_meetings
            } else {
                &mut self.overlaps
            };
            kind.size += length(less(to, from));
            if told.insert((a.min(b), a.max(b))) {
                kind.count += 1;
                kind.at = from;
            }
        }
    }

    /// Classes every triangle and part.
    fn class(&mut self, scene: &Scene, free: &Free, spaces: &[Space], raw: InMm<'_>) {
        let told = |of: [u32; 2]| Told::of(of, spaces);
        let patches: Vec<Told> = (0..free.patches.len())
            .map(|patch| told(free.of_patch(patch)))
            .collect();
        // In the order of the file, so that the same print gives the same list.
        let mut places = vec![weld::NONE; raw.count];
        for (place, &file) in (0..).zip(&scene.welded.file) {
            if file != weld::NONE {
                places[file as usize] = place;
            }
        }
        for &file in &scene.welded.doubled {
            places[file as usize] = weld::CROWD;
        }
        let whole = |place: u32| match place {
            weld::NONE => None,
            weld::CROWD => Some(Told::DOUBLED),
            _ if scene.cutting(place).is_some() => None,
            _ => free
                .patch(place)
                .map(|(patch, turned)| patches[patch].seen(turned)),
        };
        // Nearly all triangles are whole and as they should be: these go side
        // by side into their places.
        let mut facets = Vec::with_capacity(raw.count + 4 * scene.met.len());
        (0..raw.count)
            .into_par_iter()
            .with_min_len(BLOCK)
            .map(|file| {
                let facet = |told: Told| told.facet(file as u32, raw.corners(file));
                whole(places[file]).map_or(ABSENT, facet)
            })
            .collect_into_vec(&mut facets);
        let odd: Vec<usize> = (0..raw.count)
            .into_par_iter()
            .with_min_len(BLOCK)
            .filter(|&file| whole(places[file]).is_none_or(Told::is_odd))
            .collect();
        for &file in &odd {
            let place = places[file];
            match whole(place) {
                Some(told) => self.tally(file as u32, raw.corners(file), told),
                None if place == weld::NONE => {}
                None => {
                    if let Some(cutting) = scene.cutting(place) {
                        self.class_parts(scene, free, (cutting, place), &told);
                    }
                }
            }
        }
        if odd.iter().any(|file| whole(places[*file]).is_none()) {
            facets.retain(|facet| facet.triangle != weld::NONE);
            facets.append(&mut self.facets);
            facets.sort_by_key(|facet| facet.triangle);
        }
        self.facets = facets;
    }

    fn class_parts(
        &mut self,
        scene: &Scene,
        free: &Free,
        (cutting, triangle): (usize, u32),
        told: &impl Fn([u32; 2]) -> Told,
    ) {
        let here = &scene.cuttings[cutting];
        let file = scene.welded.file[triangle as usize];
        let of_part = |part: usize| {
            if free.is_doubled(cutting, part) {
                Told::DOUBLED
            } else {
                told(free.of_part(cutting, part))
            }
        };
        let first = of_part(0);
        if (1..here.parts.len()).all(|part| of_part(part) == first) {
            return self.put(file, scene.welded.corners_of(triangle as usize), first);
        }
        for (part, outline) in here.parts.iter().enumerate() {
            let corners: Vec<Corner> = outline.corners().map(|at| here.sheet.raised(at)).collect();
            let fan = (2..corners.len()).map(|k| [corners[0], corners[k - 1], corners[k]]);
            for corners in fan.filter(|corners| area(*corners) > 0.0) {
                self.put(file, corners, of_part(part));
            }
        }
    }

    /// Adds a facet, given as the file turns it.
    fn put(&mut self, triangle: u32, corners: [Corner; 3], told: Told) {
        self.tally(triangle, corners, told);
        self.facets.push(told.facet(triangle, corners));
    }

    /// Notes what is wrong with a bit of the surface.
    fn tally(&mut self, triangle: u32, corners: [Corner; 3], told: Told) {
        let size = || area(corners);
        if told.is_doubled {
            self.doubled.add_of(triangle, size(), corners[0]);
        } else if told.class == Class::Hidden {
            self.internal.add_of(triangle, size(), corners[0]);
        }
        if told.is_flipped() {
            self.flipped.add_of(triangle, size(), corners[0]);
        }
    }
}

/// In the place of a triangle that is not there as a whole.
const ABSENT: Facet = Facet {
    triangle: weld::NONE,
    corners: [[0.0; 3]; 3],
    class: Class::Hidden,
};

/// What is told of a bit of the surface.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Told {
    class: Class,
    /// Whether the front and the back lie open.
    open: [bool; 2],
    is_doubled: bool,
}

impl Told {
    const DOUBLED: Self = Self {
        class: Class::Hidden,
        open: [false; 2],
        is_doubled: true,
    };

    /// By the spaces in front and behind.
    fn of(sides: [u32; 2], spaces: &[Space]) -> Self {
        let outside = sides.map(|space| space == 0);
        let hollow = sides.map(|space| !spaces[space as usize].solid);
        let (class, open) = if outside.contains(&true) {
            (Class::Wetted, outside)
        } else if hollow.contains(&true) {
            (Class::Dry, hollow)
        } else {
            (Class::Hidden, [false; 2])
        };
        Self {
            class,
            open,
            is_doubled: false,
        }
    }

    /// The same of a triangle that may be turned against its patch.
    fn seen(mut self, turned: bool) -> Self {
        if turned {
            self.open.reverse();
        }
        self
    }

    /// A bit of the surface of which this is told, given as the file turns it.
    fn facet(self, triangle: u32, [a, b, c]: [Corner; 3]) -> Facet {
        Facet {
            triangle,
            corners: if self.is_flipped() {
                [a, c, b]
            } else {
                [a, b, c]
            },
            class: self.class,
        }
    }

    /// Whether there is something wrong with it.
    fn is_odd(self) -> bool {
        self.class == Class::Hidden || self.is_flipped()
    }

    /// Whether the back alone lies open.
    fn is_flipped(self) -> bool {
        self.open == [false, true]
    }
}
