//! What the bath does with each bit of a print's surface.

use rayon::prelude::*;

use super::reach::{Reach, Tally, reach};
use super::rooms::rooms;
use super::size::LARGEST_PRINT_MM;
use super::space::{area, length, less};
use super::{Corner, InMm, LengthUnit, Mask, MaskTaken, Mesh, mask, measure, plausible_print};
use crate::units::{Part, Stopped, Watch, go_on};

/// What the bath does with a bit of the surface.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Class {
    /// The bath reaches it and metal grows on it.
    Wetted,
    /// It lies inside the solid, or is in the file a second time.
    Hidden,
    /// It is the wall of a cavity that the bath does not reach.
    Dry,
    /// The bath would reach it, but a mask keeps it off.
    Masked,
}

/// A flat bit of the surface: a whole triangle of the file, or a part of one
/// that is cut by another or by a mask.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Facet {
    /// Which triangle of the file, counted from 0.
    pub triangle: u32,
    /// In mm. Wetted, masked and dry facets run counter-clockwise seen from
    /// the open side, whatever the file says; hidden ones as in the file.
    pub corners: [Corner; 3],
    /// What the bath does with it.
    pub class: Class,
}

impl Facet {
    /// Its area in mm².
    pub fn area_mm2(&self) -> f64 {
        area(self.corners)
    }
}

/// What to survey, and how.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// What the file's numbers are in.
    pub unit: LengthUnit,
    /// A passage whose widest ball is under this diameter in mm is shut.
    pub bubble_mm: f64,
    /// What is kept from the bath.
    pub masks: Vec<Mask>,
}

impl Order {
    /// The usual bubble, in mm: common practice, no source.
    pub const BUBBLE_MM: f64 = 0.5;

    /// No masks, the usual bubble.
    pub fn in_unit(unit: LengthUnit) -> Self {
        Self {
            unit,
            bubble_mm: Self::BUBBLE_MM,
            masks: Vec::new(),
        }
    }
}

/// A hollow of the print.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cavity {
    /// Of its walls, in mm².
    pub area_mm2: f64,
    /// In mm³.
    pub volume_mm3: f64,
    /// Whether the bath stays out.
    pub sealed: bool,
    /// Diameter in mm of the widest ball that passes its widest opening; none
    /// where there is no opening at all.
    pub opening_mm: Option<f64>,
    /// A point within it; of one with an opening, the middle of the opening.
    pub at_mm: Corner,
}

impl Cavity {
    /// What it is told as.
    pub fn flaw(&self) -> Flaw {
        match (self.sealed, self.opening_mm) {
            (true, None) => Flaw::SealedCavity,
            (true, Some(_)) => Flaw::PinholeCavity,
            (false, _) => Flaw::DrainedCavity,
        }
    }
}

/// A connected piece of the solid: it needs a contact of its own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Island {
    /// A point on it.
    pub at_mm: Corner,
    /// In mm³.
    pub volume_mm3: f64,
}

/// What can be wrong with a mesh.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Flaw {
    /// Shells that run through each other.
    OverlappingShells,
    /// Triangles turned with their back to the open side.
    FlippedNormals,
    /// Triangles that are there more than once.
    DuplicateFaces,
    /// Triangles with solid on both sides.
    InternalFaces,
    /// Sides where more than two triangles meet.
    NonManifoldEdges,
    /// Sides of only one triangle: a hole.
    OpenMesh,
    /// A corner in the middle of another triangle's side.
    TJunction,
    /// Triangles without area.
    DegenerateTriangles,
    /// A shell that runs through itself.
    SelfIntersection,
    /// A hollow without a way in.
    SealedCavity,
    /// A hollow whose only way in lets no bubble through.
    PinholeCavity,
    /// A hollow with an opening.
    DrainedCavity,
    /// A size that no print has.
    UnitSuspect,
    /// Triangles so far away from the rest that they are none of the print.
    FarOff,
    /// Walls thinner than a printer or a bath forgives.
    ThinWall,
}

/// Something wrong with a mesh.
#[derive(Debug, Clone, PartialEq)]
pub struct Defect {
    /// What.
    pub what: Flaw,
    /// How many.
    pub count: usize,
    /// Where the first or the largest is.
    pub at_mm: Corner,
    /// How large: an area in mm² of faces, a length in mm of sides, holes,
    /// walls and how far off, a volume in mm³ of cavities; of those behind a
    /// pinhole the width in mm of the widest.
    pub size: f64,
}

/// All that is known of one print.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    /// Triangles in the file.
    pub triangles: usize,
    /// The corner of the box around it with the lowest x, y, z, in mm.
    pub low_mm: Corner,
    /// The corner with the highest.
    pub high_mm: Corner,
    /// The sum over all triangles, in mm².
    pub naive_area_mm2: f64,
    /// What the bath reaches and no mask takes, in mm².
    pub wetted_area_mm2: f64,
    /// Its expanded uncertainty, k = 2, in mm².
    pub wetted_pm_mm2: f64,
    /// The part of the wetted area that is not in a cavity, in mm², before masks.
    pub outside_area_mm2: f64,
    /// What the masks took of the wetted area, in mm².
    pub masked_area_mm2: f64,
    /// What each mask took, in their order.
    pub masks: Vec<MaskTaken>,
    /// Of the solid, in mm³; none where holes are too wide to tell.
    pub volume_mm3: Option<f64>,
    /// The solid and all that is shut inside, in mm³.
    pub envelope_volume_mm3: Option<f64>,
    /// How far a corner may be off for the rounding of its file, in mm: one
    /// standard uncertainty.
    pub rounding_mm: f64,
    /// Whether each side of a triangle is met by exactly one other.
    pub watertight: bool,
    /// The connected pieces of the solid, the largest first.
    pub islands: Vec<Island>,
    /// Its hollows, the largest first.
    pub cavities: Vec<Cavity>,
    /// Whether there are too many narrow places to look for hollows with
    /// openings and for passages that a bubble shuts: then all that a way leads
    /// to counts as wetted.
    pub hollows_untold: bool,
    /// What is wrong with it.
    pub defects: Vec<Defect>,
    /// The surface, bit by bit.
    pub facets: Vec<Facet>,
}

impl Survey {
    /// The surface that the bath reaches, turned outwards.
    pub fn wetted(&self) -> impl Iterator<Item = &Facet> {
        let is_wetted = |facet: &&Facet| facet.class == Class::Wetted;
        self.facets.iter().filter(is_wetted)
    }

    /// Extents of the box around it in mm.
    pub fn size_mm(&self) -> [f64; 3] {
        [0, 1, 2].map(|axis| self.high_mm[axis] - self.low_mm[axis])
    }

    /// The expanded uncertainty (k = 2) in mm² of the area of some of the
    /// facets, that of the reckoning alone: corners are rounded in the file, each
    /// by itself, so that the sides of each triangle are off by as much.
    pub fn area_pm_mm2<'a>(&self, facets: impl Iterator<Item = &'a Facet>) -> f64 {
        area_pm(self.rounding_mm, facets)
    }

    /// The expanded uncertainty (k = 2) in mm³ of the volume, that of the
    /// reckoning alone; none where no volume is told.
    ///
    /// A corner that is off by r moves a third of the triangles around it by r:
    /// of six, a variance of 6 r² (A/3)² a corner, of which there are half as
    /// many as triangles.
    pub fn volume_pm_mm3(&self) -> Option<f64> {
        let volume = self.volume_mm3?;
        let is_skin = |facet: &&Facet| facet.class != Class::Hidden;
        let skin = self.facets.iter().filter(is_skin);
        let squares: f64 = skin.map(|facet| facet.area_mm2().powi(2)).sum();
        let rounding = self.rounding_mm * (2.0 * squares).sqrt();
        Some((2.0 * rounding).hypot(RECKONING * volume))
    }

    /// From corner to corner of the box around it, in mm.
    pub fn diagonal_mm(&self) -> f64 {
        length(self.size_mm())
    }
}

/// Surveys a print.
///
/// # Errors
/// [`Stopped`] where `watch` asks for it.
pub fn survey(mesh: &Mesh<'_>, order: &Order, watch: &dyn Watch) -> Result<Survey, Stopped> {
    go_on(watch, "reading the triangles", 0.0)?;
    let (sums, raw) = (measure(mesh, order.unit), mesh.in_mm(order.unit));
    let part = |from: f64, to: f64| Part {
        whole: watch,
        from,
        to,
    };
    let mut reach = reach(raw, &part(0.0, 0.6))?;
    let hollows = Hollows::of(&mut reach.facets, order.bubble_mm, &part(0.6, 0.95))?;
    let masks = mask::apply(
        &order.masks,
        mesh.groups(),
        &mut reach.facets,
        &part(0.95, 1.0),
    )?;
    let (low_mm, high_mm) = extent(raw);
    // Blocks of a fixed length make the sums the same however many threads
    // there are.
    let sum = |class: Class| -> f64 {
        let of_class = |facets: &[Facet]| -> f64 {
            let of_class = facets.iter().filter(|facet| facet.class == class);
            of_class.map(Facet::area_mm2).sum()
        };
        let blocks = reach.facets.par_chunks(BLOCK).map(of_class);
        // A sum of nothing is -0.
        blocks.collect::<Vec<f64>>().into_iter().sum::<f64>() + 0.0
    };
    let (wetted, masked) = (sum(Class::Wetted), sum(Class::Masked));
    // Triangles that are lost in the rounding of much larger ones have an area
    // all the same.
    let classed = wetted + masked + sum(Class::Hidden) + sum(Class::Dry);
    let lost = sums.naive_area_mm2 - classed;
    let lost = if lost > LOST * sums.naive_area_mm2 {
        lost
    } else {
        0.0
    };
    // A lid that covers much of the print says that it is no solid at all.
    let is_solid = reach.lidded <= WIDE_HOLES * sums.naive_area_mm2 && reach.volume > 0.0;
    let mut cavities = reach.sealed.clone();
    cavities.extend(hollows.cavities);
    cavities.sort_by(|a, b| b.volume_mm3.total_cmp(&a.volume_mm3));
    let mut defects = defects(&reach, &cavities, sums.naive_area_mm2);
    if let Err(doubt) = plausible_print(sums.size_mm) {
        let of_size = Defect {
            what: Flaw::UnitSuspect,
            count: 1,
            at_mm: low_mm,
            size: doubt.largest_mm,
        };
        // What matters most stands first.
        defects.insert(0, far_off(raw).unwrap_or(of_size));
    }
    Ok(Survey {
        triangles: mesh.count(),
        low_mm,
        high_mm,
        naive_area_mm2: sums.naive_area_mm2,
        wetted_area_mm2: wetted,
        wetted_pm_mm2: doubt(&reach).hypot(hollows.doubt_mm2) + lost,
        outside_area_mm2: (wetted + masked - hollows.drained_mm2).max(0.0),
        masked_area_mm2: masked,
        masks,
        volume_mm3: is_solid.then_some(reach.volume),
        envelope_volume_mm3: is_solid.then_some(reach.envelope + hollows.shut_mm3),
        rounding_mm: reach.rounding,
        watertight: reach.watertight,
        defects,
        islands: reach.islands,
        cavities,
        hollows_untold: hollows.untold,
        facets: reach.facets,
    })
}

/// The hollows behind narrow openings.
struct Hollows {
    cavities: Vec<Cavity>,
    /// The walls of those that the bath gets into, in mm².
    drained_mm2: f64,
    /// What those hold that it does not get into, in mm³.
    shut_mm3: f64,
    doubt_mm2: f64,
    untold: bool,
}

impl Hollows {
    /// Finds them behind the wetted facets, and makes those dry that the bath
    /// does not get to.
    fn of(facets: &mut [Facet], bubble_mm: f64, watch: &dyn Watch) -> Result<Self, Stopped> {
        let is_wet = |facet: &Facet| facet.class == Class::Wetted;
        let places: Vec<usize> = (0..facets.len())
            .filter(|at| is_wet(&facets[*at]))
            .collect();
        let mut found = if places.len() == facets.len() {
            rooms(facets, bubble_mm, watch)?
        } else {
            let wetted: Vec<Facet> = places.iter().map(|at| facets[*at]).collect();
            rooms(&wetted, bubble_mm, watch)?
        };
        let mut doubt_mm2 = found.doubt_mm2;
        // What cannot hold the usual bubble is a slip of the search, not a hollow.
        let bubble = std::f64::consts::PI / 6.0 * bubble_mm.min(Order::BUBBLE_MM).powi(3);
        let is_told = |cavity: &Cavity| !cavity.sealed || cavity.volume_mm3 >= bubble;
        for wall in &found.walls {
            let cavity = &found.cavities[wall.cavity];
            if !cavity.sealed || !is_told(cavity) {
                continue;
            }
            let facet = &mut facets[places[wall.facet]];
            // A facet in the throat is dry or wet as its greater part is.
            doubt_mm2 += wall.share.min(1.0 - wall.share) * facet.area_mm2();
            if wall.share >= 0.5 {
                facet.class = Class::Dry;
            }
        }
        found.cavities.retain(is_told);
        let of = |sealed: bool, size: fn(&Cavity) -> f64| {
            let these = found
                .cavities
                .iter()
                .filter(|cavity| cavity.sealed == sealed);
            these.map(size).sum()
        };
        Ok(Self {
            drained_mm2: of(false, |cavity| cavity.area_mm2),
            shut_mm3: of(true, |cavity| cavity.volume_mm3),
            cavities: found.cavities,
            doubt_mm2,
            untold: found.given_up,
        })
    }
}

/// The share of its area from which on holes leave no solid to tell of.
const WIDE_HOLES: f64 = 0.01;

/// The share of the sum of all triangles from which on some were lost.
const LOST: f64 = 1e-6;

/// What sums and cuts are off by at most, as a share.
const RECKONING: f64 = 1e-6;

/// The expanded uncertainty (k = 2) of a wetted area in mm². That a hole may be
/// open in truth is told as a defect.
fn doubt(reach: &Reach) -> f64 {
    let is_wet = |facet: &&Facet| facet.class == Class::Wetted;
    area_pm(reach.rounding, reach.facets.iter().filter(is_wet)) + reach.untold
}

/// See [`Survey::area_pm_mm2`].
fn area_pm<'a>(rounding: f64, facets: impl Iterator<Item = &'a Facet>) -> f64 {
    let around =
        |[a, b, c]: [Corner; 3]| length(less(b, a)) + length(less(c, b)) + length(less(a, c));
    let (area, squares) = facets.fold((0.0, 0.0), |(area, squares), facet| {
        let around = around(facet.corners);
        (area + facet.area_mm2(), squares + around * around)
    });
    (2.0 * rounding * f64::sqrt(squares)).hypot(RECKONING * area)
}

/// Triangles that are none of the print, of one that is larger than any: the
/// rest, half of them at least, lies within a tenth of how far these are off.
fn far_off(raw: InMm<'_>) -> Option<Defect> {
    const TIMES: f64 = 10.0;
    let middle = [0, 1, 2].map(|axis| {
        let corners = (0..raw.count).flat_map(|at| raw.corners(at));
        let mut along: Vec<f64> = corners.map(|corner| corner[axis]).collect();
        let half = along.len().saturating_sub(1) / 2;
        *along.select_nth_unstable_by(half, f64::total_cmp).1
    });
    let off = |corner: &Corner| length(less(*corner, middle));
    let farthest = |at: usize| {
        let corners = raw.corners(at).into_iter();
        corners.max_by(|a, b| off(a).total_cmp(&off(b)))
    };
    let mut corners: Vec<Corner> = (0..raw.count).filter_map(farthest).collect();
    corners.sort_by(|a, b| off(a).total_cmp(&off(b)));
    let is_gap = |at: &usize| {
        let (rest, next) = (off(&corners[at - 1]), off(&corners[*at]));
        next > LARGEST_PRINT_MM && next > TIMES * rest
    };
    let half = corners.len().div_ceil(2).max(1);
    let first = (half..corners.len()).find(is_gap)?;
    Some(Defect {
        what: Flaw::FarOff,
        count: corners.len() - first,
        at_mm: corners[first],
        size: off(&corners[first]),
    })
}

/// What is wrong with a mesh.
fn defects(reach: &Reach, cavities: &[Cavity], naive: f64) -> Vec<Defect> {
    let defect = |what: Flaw, tally: Tally| Defect {
        what,
        count: tally.count,
        at_mm: tally.at,
        size: tally.size,
    };
    let worth = 1e-7 * naive;
    let hidden = reach.internal.size;
    let overlap = |what: Flaw, tally: Tally| Defect {
        size: hidden,
        ..defect(what, tally)
    };
    let of_area = [
        (Flaw::FlippedNormals, reach.flipped),
        (Flaw::DuplicateFaces, reach.doubled),
        (Flaw::InternalFaces, reach.internal),
    ];
    let of_area = of_area.into_iter().filter(|(_, tally)| tally.size > worth);
    let mut defects: Vec<Defect> = of_area.map(|(what, tally)| defect(what, tally)).collect();
    defects.push(overlap(Flaw::OverlappingShells, reach.overlaps));
    defects.push(overlap(Flaw::SelfIntersection, reach.self_meetings));
    defects.push(defect(Flaw::NonManifoldEdges, reach.crowds));
    defects.push(defect(Flaw::DegenerateTriangles, reach.flat));
    let holes = &reach.holes;
    let at = |points: Option<Corner>| points.unwrap_or_default();
    defects.push(Defect {
        what: Flaw::OpenMesh,
        count: holes.lids.len(),
        at_mm: at(holes.lids.first().map(|(at, _)| *at)),
        size: holes.around,
    });
    defects.push(Defect {
        what: Flaw::TJunction,
        count: holes.cracks.len(),
        at_mm: at(holes.cracks.first().copied()),
        size: holes.cracked,
    });
    for what in [Flaw::SealedCavity, Flaw::PinholeCavity, Flaw::DrainedCavity] {
        let these = || cavities.iter().filter(|cavity| cavity.flaw() == what);
        let volume: f64 = these().map(|cavity| cavity.volume_mm3).sum();
        let widths = these().filter_map(|cavity| cavity.opening_mm);
        let widest = widths.fold(0.0, f64::max);
        defects.push(Defect {
            what,
            count: these().count(),
            at_mm: at(these().next().map(|cavity| cavity.at_mm)),
            size: match what {
                Flaw::PinholeCavity => widest,
                _ => volume,
            },
        });
    }
    defects.retain(|defect| defect.count > 0);
    defects.sort_by_key(|defect| Flaw::ALL.iter().position(|what| *what == defect.what));
    defects
}

/// Facets that are summed together.
const BLOCK: usize = 1 << 13;

/// The corners of the box around triangles.
fn extent(raw: InMm<'_>) -> (Corner, Corner) {
    let none = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    let wider = |(low, high): (Corner, Corner), (lower, higher): (Corner, Corner)| {
        let axes = [0, 1, 2];
        (
            axes.map(|axis| low[axis].min(lower[axis])),
            axes.map(|axis| high[axis].max(higher[axis])),
        )
    };
    let all = (0..raw.count).into_par_iter().with_min_len(BLOCK);
    all.flat_map_iter(|at| raw.corners(at))
        .map(|corner| (corner, corner))
        .reduce(|| none, wider)
}
