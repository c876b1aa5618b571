//! The rooms of a print: hollows that narrow places part from the open.
//!
//! The widest ball that passes a narrow place says whether the bath gets in.
//! Where the surface nowhere faces itself closely there are none ([`clumps`],
//! [`facing`]). Elsewhere the space is cut into cells ([`cells`]) with balls
//! that the surface does not cut; two balls that overlap are a way. [`basins`]
//! parts the space where the ways are narrow, [`throat`] measures how narrow,
//! [`walls`] tells whose wall a facet is.
//!
//! A print with more narrow places than are looked at is seen more coarsely. Two
//! parts never seem to hang together that do not; but a way may be missed, and
//! what then seems shut is doubted, not told.

mod basins;
mod cells;
mod clumps;
mod facing;
mod surface;
#[cfg(test)]
mod tests;
mod throat;
mod tree;
mod walls;

use std::f64::consts::PI;

use rayon::prelude::*;

use super::space::{area, dot, length, less, middle, normal, plus, times, unit};
use super::{Cavity, Corner, Facet};
use crate::units::{Stopped, Watch, go_on};
use basins::Basins;
use cells::Cells;
use facing::{Gaps, spots};
use surface::{Surface, cut};
use throat::{Throat, summit, throat};
use tree::Span;
use walls::Plan;

/// The hollows of the region that hangs together with the outside.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Rooms {
    /// Facets that the bath does not reach, by their place in the list, and
    /// which share of their area, over 0 and up to 1.
    pub(super) shut: Vec<(usize, f64)>,
    /// The walls of the cavities, shut and drained.
    pub(super) walls: Vec<Wall>,
    /// Each with an opening; sealed where the bath stays out.
    pub(super) cavities: Vec<Cavity>,
    /// How far off the shut area may be, in mm²: what stands or falls with the
    /// width of a passage that is nearly the bubble's.
    pub(super) doubt_mm2: f64,
    /// Whether the print has too many narrow places to tell its hollows.
    pub(super) given_up: bool,
}

/// A facet, or a share of it, as a wall of a cavity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Wall {
    /// Its place in the list of facets.
    pub(super) facet: usize,
    /// The place of the cavity in [`Rooms::cavities`].
    pub(super) cavity: usize,
    /// Of its area, over 0 and up to 1.
    pub(super) share: f64,
}

/// An opening of more than this of the hollow's own width makes it no cavity:
/// a choice of ours.
const NARROW: f64 = 0.55;
/// What the cells know of widths is less than the truth by this factor at most.
const BLUR: f64 = 0.85;
/// A passage closer than this to the bubble may be on the other side of it.
const DOUBT: f64 = 0.03;

/// Finds the rooms behind narrow places. `wetted` is the boundary of all that
/// hangs together with the outside, turned to the open side.
///
/// # Errors
/// [`Stopped`] where `watch` asks for it.
pub(super) fn rooms(wetted: &[Facet], bubble_mm: f64, watch: &dyn Watch) -> Result<Rooms, Stopped> {
    go_on(watch, STEP, 0.0)?;
    let Some(whole) = clumps::bounds(wetted) else {
        return Ok(Rooms::default());
    };
    let thinnest = whole.size().into_iter().fold(f64::INFINITY, f64::min);
    let limit = (thinnest / 2.0).max(bubble_mm);
    if !clumps::may_face(wetted, &whole, limit) {
        return Ok(Rooms::default());
    }
    let search = Search {
        wetted,
        bubble: bubble_mm,
        longest: whole.size().into_iter().fold(0.0, f64::max),
        middle: whole.middle(),
        watch,
    };
    search.rooms(limit)
}

const STEP: &str = "looking for hollows";

struct Search<'a> {
    wetted: &'a [Facet],
    bubble: f64,
    longest: f64,
    middle: Corner,
    watch: &'a dyn Watch,
}

/// A room that stays: what it opens into and how.
#[derive(Debug, Clone, Copy)]
struct Room {
    before: Option<usize>,
    throat: Throat,
    largest: f64,
    shut: bool,
}

impl Search<'_> {
    /// First only with gaps that may let the bubble pass. Where that leaves a
    /// room without a way in, it is behind a narrower one, which is looked for
    /// about it.
    fn rooms(&self, limit: f64) -> Result<Rooms, Stopped> {
        let Some(surface) = Surface::of(&self.triangles()) else {
            return Ok(Rooms::default());
        };
        let finest = self.longest / 4000.0;
        let gaps = |least: f64, within| Gaps {
            least,
            most: self.longest * 0.35,
            within,
        };
        go_on(self.watch, STEP, 0.1)?;
        let least = (0.6 * self.bubble).min(self.longest / COARSE).max(finest);
        let (mut spots, seen) = spots(&surface, gaps(least, &[]));
        let narrowest = spots.iter().map(|spot| f64::from(spot.gap));
        if narrowest.fold(f64::INFINITY, f64::min) > limit {
            return Ok(Rooms::default());
        }
        go_on(self.watch, STEP, 0.2)?;
        let cells = Cells::grow(&surface, &spots);
        go_on(self.watch, STEP, 0.4)?;
        // Where whole, what seems shut off is so by less than lets the bubble pass.
        let mut is_whole = seen <= least && !cells.cut_short;
        let mut plan = self.plan(&surface, cells, least);
        let mut unknown = self.unknown_mm2(&plan, is_whole);
        if plan.cells.cut_short && self.is_unknown(unknown) {
            let mut cells = plan.cells;
            cells.refine(&surface, &spots, |_| true, MOST_CELLS);
            is_whole = seen <= least && !cells.cut_short;
            plan = self.plan(&surface, cells, least);
            unknown = self.unknown_mm2(&plan, is_whole);
        }
        plan.is_sure = is_whole;
        let shut_off = plan.about_shut_off();
        if (1..=MOST_ROOMS).contains(&shut_off.len()) {
            go_on(self.watch, STEP, 0.5)?;
            let fine = gaps((self.bubble / 12.0).max(finest), &shut_off);
            let (more, seen) = facing::spots(&surface, fine);
            spots.extend(more);
            let mut cells = plan.cells;
            let is_about = |own: &Span| shut_off.iter().any(|about| about.gap_squared(own) <= 0.0);
            let budget = cells.all.len() + FINER;
            cells.refine(&surface, &spots, is_about, budget);
            go_on(self.watch, STEP, 0.6)?;
            plan = self.plan(&surface, cells, fine.least);
            plan.is_sure = is_whole || seen <= fine.least && !plan.cells.cut_short;
        }
        go_on(self.watch, STEP, 0.8)?;
        let (rooms, room_of) = self.kept(&plan);
        go_on(self.watch, STEP, 0.9)?;
        let mut furnished = self.furnish(&plan, &rooms, &room_of);
        if !plan.is_sure {
            furnished.doubt_mm2 += unknown;
            furnished.given_up = self.is_unknown(unknown);
        }
        if surface.is_exhausted() {
            return Ok(Rooms {
                given_up: true,
                ..Rooms::default()
            });
        }
        Ok(furnished)
    }

    /// The space, parted where it is narrow.
    fn plan<'a>(&self, surface: &'a Surface, cells: Cells, least: f64) -> Plan<'a> {
        let is_narrow = |passes: f64, largest: f64| self.may_part(passes, largest);
        let counts = (self.bubble / 2.0).min(self.longest / (1.2 * COARSE));
        let basins = Basins::of(&cells, surface, counts, is_narrow);
        Plan {
            surface,
            borders: basins.borders(&cells),
            cells,
            basins,
            least,
            is_sure: false,
            largest: self.longest * 0.2,
        }
    }

    /// Whether so much of the surface, in mm², is too much to leave unknown.
    fn is_unknown(&self, unknown: f64) -> bool {
        unknown > UNKNOWN * self.area()
    }

    fn area(&self) -> f64 {
        self.wetted.par_iter().map(Facet::area_mm2).sum()
    }

    /// The area in mm² of the wall where the bubble has room but no way is known,
    /// because the cells are too coarse to show it: by samples.
    fn unknown_mm2(&self, plan: &Plan<'_>, is_whole: bool) -> f64 {
        if is_whole {
            return 0.0;
        }
        let each = self.area() / SAMPLES;
        let (mut left, mut asked) = (0.0, Vec::new());
        for facet in self.wetted {
            left += facet.area_mm2();
            let steps = (left / each).floor();
            left -= steps * each;
            if steps > 0.0 {
                asked.push((facet, steps * each));
            }
        }
        let is_unknown = |tile: &[Corner; 3], upright: Corner| {
            plan.is_unknown(middle(*tile), upright, self.bubble / 2.0)
        };
        let unknown = asked.into_par_iter().map(|(facet, stands_for)| {
            let corners = self.moved(facet);
            let upright = unit(normal(corners));
            let mut tiles = Vec::new();
            cut(corners, 2.0 * each.sqrt(), &mut tiles);
            let all = tiles.len() as f64;
            tiles.retain(|tile| is_unknown(tile, upright));
            stands_for * tiles.len() as f64 / all
        });
        unknown.sum()
    }

    /// About the middle, where single precision is finest.
    fn triangles(&self) -> Vec<[Corner; 3]> {
        let wetted = self.wetted.par_iter();
        wetted.map(|facet| self.moved(facet)).collect()
    }

    fn moved(&self, facet: &Facet) -> [Corner; 3] {
        facet.corners.map(|corner| less(corner, self.middle))
    }

    /// Whether it may, by what the cells know of them.
    fn may_part(&self, passes: f64, largest: f64) -> bool {
        passes < 0.9 * largest && self.parts(passes, largest / BLUR)
    }

    /// Whether a passage parts a room with this largest ball from the rest: it
    /// stops the bubble that has room there, or an opening is clearly narrower.
    fn parts(&self, passes: f64, largest: f64) -> bool {
        self.shuts(passes, largest) || largest > self.bubble && passes < NARROW * largest
    }

    /// Where a room is too small for the bubble, the passage is a passage only
    /// if it is clearly narrower.
    fn shuts(&self, passes: f64, largest: f64) -> bool {
        let is_stopped = 2.0 * passes < self.bubble;
        is_stopped && (self.bubble <= 2.0 * largest || passes < NARROW * largest)
    }

    /// The rooms, and to each basin its room.
    fn kept(&self, plan: &Plan<'_>) -> (Vec<Room>, Vec<Option<usize>>) {
        let basins = &plan.basins.list;
        let wide = |basin: usize| plan.cells.clearance(basins[basin].widest as usize);
        let mut widest: Vec<usize> = (0..basins.len()).collect();
        widest.sort_by(|a, b| wide(*b).total_cmp(&wide(*a)));
        widest.truncate(MOST_ROOMS);
        let is_told = |basin: &usize| widest.contains(basin);
        let measured: Vec<_> = (0..basins.len())
            .into_par_iter()
            .map(|basin| is_told(&basin).then(|| measured(plan, basin)).flatten())
            .collect();
        let (mut rooms, mut room_of) = (Vec::<Room>::new(), Vec::new());
        for (basin, measured) in basins.iter().zip(measured) {
            let before: Option<usize> = basin.before.and_then(|before| room_of[before]);
            let parted = measured.filter(|(throat, largest)| self.parts(throat.radius, *largest));
            let Some((throat, largest)) = parted else {
                room_of.push(before);
                continue;
            };
            let behind_shut = before.is_some_and(|room| rooms[room].shut);
            room_of.push(Some(rooms.len()));
            rooms.push(Room {
                before,
                throat,
                largest,
                shut: behind_shut || self.shuts(throat.radius, largest),
            });
        }
        (rooms, room_of)
    }

    fn furnish(&self, plan: &Plan<'_>, rooms: &[Room], room_of: &[Option<usize>]) -> Rooms {
        let Some(reach) = plan.reach(|basin| room_of[basin].is_some()) else {
            return Rooms::default();
        };
        let is_near = |corners: &[Corner; 3]| reach.touches(&Span::of(corners));
        let smallest = rooms.iter().map(|room| room.largest);
        let fine = smallest.fold(f64::INFINITY, f64::min) / 4.0;
        let dealt = self.wetted.par_iter().enumerate();
        let dealt: Vec<(usize, [Corner; 3])> = dealt
            .map(|(facet, of)| (facet, self.moved(of)))
            .filter(|(_, corners)| is_near(corners))
            .collect();
        let whole: f64 = dealt.iter().map(|(_, corners)| area(*corners)).sum();
        let side = fine.max(1.5 * (whole / TILES).sqrt());
        let dealt: Vec<Share> = dealt
            .into_par_iter()
            .flat_map_iter(|(facet, corners)| {
                let mut tiles = Vec::new();
                cut(corners, side, &mut tiles);
                tiles.retain(is_near);
                shares(plan, room_of, (facet, corners), &tiles)
            })
            .collect();
        let (rooms, dealt) = without_specks(rooms, dealt);
        self.summed(&rooms, &dealt)
    }

    fn summed(&self, rooms: &[Room], dealt: &[Share]) -> Rooms {
        let mut hollows = vec![Hollow::default(); rooms.len()];
        for share in dealt {
            let hollow = &mut hollows[share.room];
            let from = rooms[share.room].throat.at;
            hollow.area += share.area;
            hollow.upright = plus(hollow.upright, share.upright);
            hollow.volume += share.volume(from);
        }
        close_inner_openings(rooms, &mut hollows);
        let cavity = |(room, hollow): (&Room, &Hollow)| Cavity {
            area_mm2: hollow.area,
            volume_mm3: hollow.volume.max(0.0),
            sealed: room.shut,
            opening_mm: Some(2.0 * room.throat.radius),
            at_mm: plus(room.throat.at, self.middle),
        };
        let wall = |share: &Share| Wall {
            facet: share.facet,
            cavity: share.room,
            share: share.part,
        };
        Rooms {
            shut: shut(rooms, dealt),
            walls: dealt.iter().map(wall).collect(),
            cavities: rooms.iter().zip(&hollows).map(cavity).collect(),
            doubt_mm2: self.doubt(rooms, &hollows),
            given_up: false,
        }
    }

    /// The area of the rooms whose passage is so close to the bubble that they
    /// may as well be on the other side of it.
    fn doubt(&self, rooms: &[Room], hollows: &[Hollow]) -> f64 {
        let mut doubted = Vec::<bool>::new();
        for room in rooms {
            let near = |radius: f64| (2.0 * radius / self.bubble - 1.0).abs() < DOUBT;
            let own = near(room.throat.radius) || room.shut && near(room.largest);
            doubted.push(own || room.before.is_some_and(|before| doubted[before]));
        }
        let of = doubted.iter().zip(hollows);
        of.filter(|of| *of.0).map(|of| of.1.area).sum()
    }
}

/// The opening of a basin, and the radius of the largest ball on the side where
/// that is the smaller; none where that ball has another way to the other side.
fn measured(plan: &Plan<'_>, at: usize) -> Option<(Throat, f64)> {
    let basin = &plan.basins.list[at];
    basin.before?;
    if !plan.is_sure && plan.shut_off(at).is_some() {
        return None;
    }
    let ball = |cell: u32| {
        let cell = cell as usize;
        (plan.cells.middle(cell), plan.cells.clearance(cell))
    };
    let start = ball(basin.widest);
    let (top, largest) = summit(plan.surface, start);
    let reached = plan.cells.at(top).unwrap_or_default();
    let is_behind = |cell: usize| plan.basins.is_behind(at, cell);
    if is_behind(reached) != is_behind(basin.widest as usize) {
        return None;
    }
    if basin.passes <= 0.0 {
        let unseen = Throat {
            radius: plan.least / 2.0,
            at: start.0,
        };
        return Some((unseen, largest));
    }
    let side = plan.cells.side_of(basin.opening[0] as usize);
    let about = basin.passes.max(side);
    let enough = (2.0 * about).min(0.95 * start.1);
    let mut throats = Vec::<Throat>::new();
    let mut tried = 0;
    let ways = std::iter::once(basin.opening).chain(plan.other_ways(at));
    for way in ways {
        let middle = ball(way[0]).0;
        let is_known = |throat: &Throat| length(less(throat.at, middle)) < 4.0 * about;
        if throats.iter().any(is_known) {
            continue;
        }
        let found = throats.iter().map(|throat| throat.radius);
        let seems = plan.cells.passage(way[0] as usize, way[1] as usize);
        if f64::from(seems.unwrap_or(0.0)) < BLUR * BLUR * found.fold(0.0, f64::max) {
            break;
        }
        tried += 1;
        if tried > MOST_OPENINGS {
            break;
        }
        let thread = thread(plan, at, way, enough);
        throats.extend(throat(plan.surface, &thread, about / 2.0));
    }
    let widest = |a: &Throat, b: &Throat| a.radius.total_cmp(&b.radius);
    Some((throats.into_iter().max_by(widest)?, largest))
}

/// About so many samples tell whose wall the surface is, besides one of each
/// facet.
const TILES: f64 = 16_000.0;

/// No more cells than this where a way is not known otherwise.
const MOST_CELLS: usize = 2_000_000;

/// Where no way is known to more than this share of the surface, a closer look
/// is worth its while.
const UNKNOWN: f64 = 0.02;

/// About so many samples of the surface tell how much of it is unknown.
const SAMPLES: f64 = 1_000.0;

/// Gaps narrower than this part of the print are looked at however large the
/// bubble is: a room may be too small for it.
const COARSE: f64 = 100.0;

/// So many more cells about what seems shut off.
const FINER: usize = 100_000;

/// So many rooms are told, the widest; a print with more is a sponge.
const MOST_ROOMS: usize = 24;

/// So many openings of a room are measured, those first that seem the widest.
const MOST_OPENINGS: usize = 5;

/// From where there is room on the one side of an opening to where there is on
/// the other.
fn thread(plan: &Plan<'_>, basin: usize, [inner, outer]: [u32; 2], enough: f64) -> Vec<Corner> {
    let side = |from: u32| {
        let is_inner = plan.basins.is_behind(basin, from as usize);
        let stays = move |&cell: &u32| plan.basins.is_behind(basin, cell as usize) == is_inner;
        let inwards = plan.basins.way_in(from).take_while(stays);
        let inwards = until_wide(&plan.cells, inwards, enough);
        let outwards = plan.basins.way_out(from).take_while(stays);
        let outwards = until_wide(&plan.cells, outwards, enough);
        let top = |way: &[u32]| {
            way.last()
                .map_or(0.0, |&cell| plan.cells.clearance(cell as usize))
        };
        if top(&inwards) > top(&outwards) {
            inwards
        } else {
            outwards
        }
    };
    let mut thread = side(inner);
    thread.reverse();
    thread.extend(side(outer));
    let middle = |&cell: &u32| plan.cells.middle(cell as usize);
    thread.iter().map(middle).collect()
}

fn until_wide(cells: &Cells, way: impl Iterator<Item = u32>, enough: f64) -> Vec<u32> {
    let mut taken = Vec::new();
    for cell in way {
        taken.push(cell);
        if cells.clearance(cell as usize) >= enough {
            break;
        }
    }
    taken
}

/// What of a facet is wall of a room.
struct Share {
    facet: usize,
    room: usize,
    /// Of the area of the facet.
    part: f64,
    area: f64,
    /// The sums over its tiles of area times upright, and of that times place.
    upright: Corner,
    moment: f64,
}

impl Share {
    /// Of the cone from a point of the room to it, in mm³.
    fn volume(&self, from: Corner) -> f64 {
        (dot(from, self.upright) - self.moment) / 3.0
    }
}

fn shares(
    plan: &Plan<'_>,
    room_of: &[Option<usize>],
    (facet, corners): (usize, [Corner; 3]),
    tiles: &[[Corner; 3]],
) -> Vec<Share> {
    let mut shares = Vec::<Share>::new();
    let (whole, upright) = (area(corners), unit(normal(corners)));
    for &tile in tiles {
        let (area, at) = (area(tile), middle(tile));
        let basin = plan.basin(at, upright);
        let Some(room) = basin.and_then(|basin| room_of[basin]) else {
            continue;
        };
        let known = shares.iter().position(|share| share.room == room);
        let share = known.unwrap_or_else(|| {
            shares.push(Share {
                facet,
                room,
                part: 0.0,
                area: 0.0,
                upright: [0.0; 3],
                moment: 0.0,
            });
            shares.len() - 1
        });
        let share = &mut shares[share];
        let upright = times(upright, area);
        share.area += area;
        share.upright = plus(share.upright, upright);
        share.moment += dot(at, upright);
    }
    shares.retain(|share| share.area > 0.0);
    for share in &mut shares {
        share.part = share.area / whole;
    }
    shares
}

/// The rooms that have walls enough around their largest ball, which no other
/// body encloses with less, and hold half of it; what is wall of the others goes
/// to what they open into. What has less is a whim of the cells.
fn without_specks(rooms: &[Room], dealt: Vec<Share>) -> (Vec<Room>, Vec<Share>) {
    let mut sizes = vec![(0.0, 0.0); rooms.len()];
    for share in &dealt {
        let (area, volume) = &mut sizes[share.room];
        *area += share.area;
        *volume += share.volume(rooms[share.room].throat.at);
    }
    for inner in (0..rooms.len()).rev() {
        if let Some(outer) = rooms[inner].before {
            sizes[outer].0 += sizes[inner].0;
            sizes[outer].1 += sizes[inner].1;
        }
    }
    let (mut stay, mut now) = (Vec::<Room>::new(), Vec::<Option<usize>>::new());
    for (room, (area, volume)) in rooms.iter().zip(sizes) {
        let before = room.before.and_then(|before| now[before]);
        let disc = PI * room.largest * room.largest;
        let is_speck = area < 2.0 * disc || volume < disc * room.largest * 2.0 / 3.0;
        now.push(if is_speck { before } else { Some(stay.len()) });
        if !is_speck {
            stay.push(Room { before, ..*room });
        }
    }
    let moved = |share: Share| now[share.room].map(|room| Share { room, ..share });
    (stay, dealt.into_iter().filter_map(moved).collect())
}

fn shut(rooms: &[Room], dealt: &[Share]) -> Vec<(usize, f64)> {
    let mut shut = Vec::<(usize, f64)>::new();
    for share in dealt.iter().filter(|share| rooms[share.room].shut) {
        match shut.last_mut() {
            Some((facet, part)) if *facet == share.facet => *part = (*part + share.part).min(1.0),
            _ => shut.push((share.facet, share.part)),
        }
    }
    shut
}

/// Sums over the walls of a room.
#[derive(Debug, Clone, Copy, Default)]
struct Hollow {
    area: f64,
    /// Of area times upright: what the openings lack.
    upright: Corner,
    /// From the middle of its own opening, which therefore adds nothing.
    volume: f64,
}

/// A room ends at the opening of the one behind it: as large, and as upright,
/// as the walls of that one leave open.
fn close_inner_openings(rooms: &[Room], hollows: &mut [Hollow]) {
    for inner in (0..rooms.len()).rev() {
        if let Some(outer) = rooms[inner].before {
            let open = hollows[inner].upright;
            let off = less(rooms[outer].throat.at, rooms[inner].throat.at);
            hollows[outer].volume += dot(off, open) / 3.0;
            hollows[outer].upright = plus(hollows[outer].upright, open);
        }
    }
}
