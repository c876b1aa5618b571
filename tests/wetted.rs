//! What the bath wets of prints whose wetted area is known: each as it is, and
//! again turned, moved, scaled, cut finer, flipped, doubled and shuffled;
//! boxes on a grid against counted cells; real prints against other libraries.

#![allow(
    clippy::cast_possible_wrap,
    clippy::struct_excessive_bools,
    clippy::too_many_lines,
    reason = "small counts; tables of cases, each with what is true of it"
)]

use std::collections::BTreeMap;
use std::fmt::Display;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

use proptest::prelude::*;
use tankside::mesh::shape::{self, Wall};
use tankside::mesh::{self, Class, Flaw, LengthUnit, Mask, Mesh, Order, Survey};
use tankside::units::{Stopped, Unwatched, Watch};

use crate::support::known::{self, Case};
use crate::support::solids::{Dice, Solid};

/// What numbers that were not rounded may be off, relative.
const SHARP: f64 = 1e-5;
/// The same for numbers that went through the single precision of an STL.
const SINGLE: f64 = 1e-3;

fn surveyed(mesh: &Mesh, order: &Order) -> Survey {
    mesh::survey(mesh, order, &Unwatched).unwrap()
}

fn order() -> Order {
    Order::in_unit(LengthUnit::Mm)
}

fn survey_of(solid: &Solid) -> Survey {
    surveyed(&Mesh::of(solid.0.clone()), &order())
}

/// What a test found wrong, told together at its end.
#[derive(Default)]
struct Found(Vec<String>);

impl Found {
    fn unless(&mut self, holds: bool, what: impl FnOnce() -> String) {
        if !holds {
            self.0.push(what());
        }
    }

    fn near(&mut self, what: &str, found: f64, expected: f64, within: f64) {
        let off = (found - expected).abs();
        self.unless(off <= within, || {
            format!("{what}: {found}, expected {expected} within {within:.2e}, off by {off:.2e}")
        });
    }

    fn between(&mut self, what: &str, found: f64, range: &RangeInclusive<f64>, share: f64) {
        let (low, high) = (range.start() * (1.0 - share), range.end() * (1.0 + share));
        self.unless((low..=high).contains(&found), || {
            format!("{what}: {found}, expected {low} to {high}")
        });
    }

    /// Takes over what was found of something that has a name.
    fn of(&mut self, name: impl Display, other: Self) {
        self.0
            .extend(other.0.into_iter().map(|line| format!("{name}: {line}")));
    }

    #[track_caller]
    fn none(self) {
        assert!(
            self.0.is_empty(),
            "{} wrong:\n{}",
            self.0.len(),
            self.0.join("\n")
        );
    }
}

/// The areas of the facets by class.
fn by_class(survey: &Survey) -> BTreeMap<Class, f64> {
    let mut areas = BTreeMap::new();
    for facet in &survey.facets {
        *areas.entry(facet.class).or_insert(0.0) += facet.area_mm2();
    }
    areas
}

/// How a case is given to the survey.
struct Given<'a> {
    mesh: Mesh<'a>,
    /// What the areas may be off, relative.
    within: f64,
    change: Change,
}

/// What of a survey does not fit the case.
fn misfits(case: &Case, given: &Given) -> Found {
    let square = given.change.scale * given.change.scale;
    let bubble_mm = Order::BUBBLE_MM * given.change.scale;
    let survey = surveyed(
        &given.mesh,
        &Order {
            bubble_mm,
            ..order()
        },
    );
    let mut found = Found::default();
    let wetted = case.wetted_mm2 * square;
    let within = wetted * given.within.max(case.exact);
    found.near("wetted", survey.wetted_area_mm2, wetted, within);
    let covers = survey.wetted_pm_mm2 + wetted * case.exact;
    found.near(
        "wetted beyond its own ±",
        survey.wetted_area_mm2,
        wetted,
        covers,
    );
    // Corners far from the origin are rounded more coarsely.
    let away = |at: f64| at.abs() / survey.diagonal_mm();
    let furthest = survey.low_mm.iter().chain(&survey.high_mm);
    let furthest = furthest.map(|at| away(*at)).fold(0.0, f64::max);
    let most = 2.0 * (given.within + furthest * 2_f64.powi(-20));
    found.unless(survey.wetted_pm_mm2 <= wetted * most, || {
        format!("± of {} on {wetted}", survey.wetted_pm_mm2)
    });
    let naive = case.solid.area() * given.change.copies * square;
    found.near(
        "naive",
        survey.naive_area_mm2,
        naive,
        naive * given.within.min(2e-4),
    );
    classes(case, given, &survey, &mut found);
    if !(given.change.is_mixed && case.turn_matters) {
        solid_and_hollows(case, given, &survey, &mut found);
    }
    found
}

fn classes(case: &Case, given: &Given, survey: &Survey, found: &mut Found) {
    let areas = by_class(survey);
    let of = |class| areas.get(&class).copied().unwrap_or(0.0);
    let naive = survey.naive_area_mm2;
    // What has no area may gain some where it is rounded.
    let rounded = if given.within > SHARP { 1e-6 } else { 1e-9 };
    let close = naive * case.exact.max(rounded);
    found.near(
        "wetted facets",
        of(Class::Wetted),
        survey.wetted_area_mm2,
        close,
    );
    found.near("masked facets", of(Class::Masked), 0.0, 0.0);
    found.near("all facets", areas.values().sum(), naive, close);
    if case.sealed.is_empty() && case.hollows_are_open_question
        || given.change.is_mixed && case.turn_matters
    {
        return;
    }
    let dry = case.sealed.iter().map(|[area, _]| area).sum::<f64>()
        * given.change.scale
        * given.change.scale;
    let nested_may_be_dry = case.volumes_mm3.len() > 1;
    if !nested_may_be_dry {
        found.near("dry facets", of(Class::Dry), dry, naive * given.within);
    }
}

fn solid_and_hollows(case: &Case, given: &Given, survey: &Survey, found: &mut Found) {
    let (square, cube) = (given.change.scale.powi(2), given.change.scale.powi(3));
    let near = |found: f64, expected: f64| {
        (found - expected).abs() <= expected * given.within.max(case.exact)
    };
    let shut: f64 = case.sealed.iter().map(|[_, volume]| volume).sum();
    if let Some(first) = case.volumes_mm3.first() {
        let fits = |volume| case.volumes_mm3.iter().any(|one| near(volume, one * cube));
        found.unless(survey.volume_mm3.is_some_and(fits), || {
            format!(
                "volume: {:?}, expected {:?}",
                survey.volume_mm3, case.volumes_mm3
            )
        });
        let envelope = (first + shut) * cube;
        let fits = |volume| near(volume, envelope);
        found.unless(survey.envelope_volume_mm3.is_some_and(fits), || {
            format!(
                "envelope: {:?}, expected {envelope}",
                survey.envelope_volume_mm3
            )
        });
    }
    if case.hollows_are_open_question || case.volumes_mm3.len() > 1 {
        return;
    }
    found.unless(case.islands.contains(&survey.islands.len()), || {
        format!(
            "islands: {}, expected {:?}",
            survey.islands.len(),
            case.islands
        )
    });
    let sealed: Vec<_> = survey
        .cavities
        .iter()
        .filter(|cavity| cavity.sealed)
        .collect();
    found.unless(sealed.len() == case.sealed.len(), || {
        format!("sealed: {sealed:?}, expected {:?}", case.sealed)
    });
    for (cavity, [area, volume]) in sealed.iter().zip(&case.sealed) {
        found.near(
            "sealed area",
            cavity.area_mm2,
            area * square,
            area * square * given.within,
        );
        found.near(
            "sealed volume",
            cavity.volume_mm3,
            volume * cube,
            volume * cube * given.within,
        );
        found.unless(cavity.opening_mm.is_none(), || {
            format!("an opening: {cavity:?}")
        });
    }
    hollows(case, given, survey, found);
}

fn hollows(case: &Case, given: &Given, survey: &Survey, found: &mut Found) {
    let (square, cube) = (given.change.scale.powi(2), given.change.scale.powi(3));
    let open: Vec<_> = survey
        .cavities
        .iter()
        .filter(|cavity| !cavity.sealed)
        .collect();
    let outside = survey.outside_area_mm2;
    let (wetted, within) = (survey.wetted_area_mm2, survey.wetted_area_mm2 * 1e-9);
    let inside: f64 = open.iter().map(|cavity| cavity.area_mm2).sum();
    found.near("outside and hollows", outside + inside, wetted, within);
    let Some(hollow) = &case.hollow else { return };
    let [cavity] = open[..] else {
        found.0.push(format!("hollows: {open:?}, expected one"));
        return;
    };
    // 3 %: what the figures of a hollow may be off where its opening ends is
    // a matter of taste.
    found.between(
        "hollow's area",
        cavity.area_mm2 / square,
        &hollow.area_mm2,
        0.03,
    );
    found.between(
        "hollow's volume",
        cavity.volume_mm3 / cube,
        &hollow.volume_mm3,
        0.03,
    );
    let opening = cavity.opening_mm.unwrap_or(0.0) / given.change.scale;
    found.between("opening", opening, &hollow.opening_mm, 0.0);
}

/// What is told of a case as it stands.
fn tellings(case: &Case) -> Found {
    let survey = survey_of(&case.solid);
    let mut found = Found::default();
    let mut told: Vec<Flaw> = survey.defects.iter().map(|defect| defect.what).collect();
    let thin = shape::thin_walls(&survey.facets, Wall::LEAST_MM, &Unwatched).unwrap();
    told.extend(thin.map(|_| Flaw::ThinWall));
    for any_of in &case.told {
        found.unless(told.iter().any(|flaw| any_of.contains(flaw)), || {
            format!("told {told:?}, expected one of {any_of:?}")
        });
    }
    found.unless(!case.is_clean || told.is_empty(), || {
        format!("told {told:?} of a clean print")
    });
    found.unless(survey.defects.iter().all(|defect| defect.count > 0), || {
        format!("told of nothing: {:?}", survey.defects)
    });
    found.unless(
        case.watertight.is_none_or(|is| is == survey.watertight),
        || format!("watertight: {}", survey.watertight),
    );
    found.unless(survey.triangles == case.solid.0.len(), || {
        format!("{} triangles", survey.triangles)
    });
    found
}

/// What a change does beyond putting the print elsewhere.
#[derive(Clone, Copy)]
struct Change {
    scale: f64,
    copies: f64,
    is_mixed: bool,
}

const NONE: Change = Change {
    scale: 1.0,
    copies: 1.0,
    is_mixed: false,
};

const MIXED: Change = Change {
    is_mixed: true,
    ..NONE
};

/// A case that is surveyed in one form after another.
struct Trial<'a> {
    case: &'a Case,
    found: Found,
}

impl Trial<'_> {
    /// In the numbers as they are.
    fn exactly(&mut self, name: &str, solid: &Solid, change: Change) {
        let mesh = Mesh::of(solid.0.clone());
        self.given(name, mesh, SHARP, change);
    }

    /// In numbers rounded as a binary STL rounds them.
    fn in_single(&mut self, name: &str, solid: &Solid, change: Change) {
        if !self.case.is_fine {
            let stl = solid.stl();
            let name = format!("{name}, in single precision");
            self.given(&name, mesh::read(&stl).unwrap(), SINGLE, change);
        }
    }

    fn given(&mut self, name: &str, mesh: Mesh, within: f64, change: Change) {
        let given = Given {
            mesh,
            within,
            change,
        };
        self.found.of(name, misfits(self.case, &given));
    }

    /// Whether it has so few triangles that it may be surveyed often.
    fn is_small(&self) -> bool {
        self.case.solid.0.len() < 3000
    }
}

/// Tries each case.
fn each(attempt: impl Fn(&mut Trial)) {
    let mut all = Found::default();
    for case in &known::cases() {
        let mut trial = Trial {
            case,
            found: Found::default(),
        };
        attempt(&mut trial);
        all.of(format!("{} ({})", case.name, case.source), trial.found);
    }
    all.none();
}

#[test]
fn each_print_as_it_is() {
    each(|trial| {
        let solid = &trial.case.solid;
        trial.exactly("as it is", solid, NONE);
        trial.in_single("as it is", solid, NONE);
    });
}

#[test]
fn each_print_is_told_what_is_wrong_with_it() {
    each(|trial| trial.found = tellings(trial.case));
}

#[test]
fn each_print_turned_and_moved() {
    each(|trial| {
        let mut dice = Dice(1);
        for round in 0..if trial.is_small() { 2 } else { 1 } {
            let turned = trial.case.solid.turned_by(dice.turn());
            let moved = turned.moved([1000.0, -1000.0, 31.4]);
            trial.in_single(&format!("turn {round}"), &turned, NONE);
            trial.in_single(&format!("turn {round} and move"), &moved, NONE);
            if trial.is_small() {
                trial.exactly(&format!("turn {round}"), &turned, NONE);
            }
            if trial.is_small() && !trial.case.is_fine {
                trial.exactly(&format!("turn {round} and move"), &moved, NONE);
            }
        }
    });
}

#[test]
fn each_print_smaller_and_larger() {
    each(|trial| {
        for scale in [0.37, 7.3] {
            if trial.is_small() {
                let scaled = trial.case.solid.turned_by(Dice(2).turn()).scaled(scale);
                let change = Change { scale, ..NONE };
                trial.exactly(&format!("scaled by {scale}"), &scaled, change);
            }
        }
    });
}

#[test]
fn each_print_cut_finer() {
    each(|trial| {
        // Twelve times as many triangles come of it.
        if trial.case.solid.0.len() < 300 {
            let solid = &trial.case.solid;
            let sides = solid.cut_at_sides();
            trial.exactly("cut at middles", &solid.cut_at_middles(), NONE);
            trial.exactly("cut at sides", &sides, NONE);
            let turned = sides.cut_at_middles().turned_by(Dice(3).turn());
            trial.in_single("cut at both and turned", &turned, NONE);
        }
    });
}

#[test]
fn each_print_flipped() {
    each(|trial| {
        let (solid, mut dice) = (&trial.case.solid, Dice(4));
        let random = solid.flipped_where(|_| dice.below(2) == 0);
        trial.exactly("flipped at random", &random, MIXED);
        if trial.is_small() {
            trial.exactly("inside out", &solid.inside_out(), NONE);
            let second = solid.flipped_where(|at| at % 2 == 1);
            trial.exactly("every second flipped", &second, MIXED);
        }
    });
}

#[test]
fn each_print_shuffled_and_doubled() {
    each(|trial| {
        let mut dice = Dice(5);
        let copies = 2.0;
        let shuffled = trial.case.solid.shuffled(&mut dice);
        let doubled = trial.case.solid.clone().and(&shuffled);
        if trial.is_small() {
            trial.exactly("shuffled", &shuffled, NONE);
            trial.exactly("doubled", &doubled, Change { copies, ..NONE });
        }
        let everything = doubled
            .flipped_where(|_| dice.below(2) == 0)
            .turned_by(dice.turn())
            .moved([-400.0, 30.0, 700.0])
            .shuffled(&mut dice);
        trial.in_single("all at once", &everything, Change { copies, ..MIXED });
    });
}

#[test]
fn fine_balls_come_near_smooth_ones() {
    let survey = survey_of(&known::triad(64));
    let smooth = known::smooth_three_balls();
    let off = survey.wetted_area_mm2 / smooth - 1.0;
    assert!((-1e-3..0.0).contains(&off), "{off}");
}

#[test]
fn ten_thousand_loose_cubes() {
    let cube = |k: usize| {
        let [x, y, z] = [k % 25, k / 25 % 20, k / 500].map(|at| 2.0 * at as f64);
        Solid::cube([x, y, z], 1.0)
    };
    let survey = survey_of(&Solid::all((0..10_000).map(cube)));
    let mut found = Found::default();
    found.near("wetted", survey.wetted_area_mm2, 60_000.0, 0.6);
    found.near("volume", survey.volume_mm3.unwrap_or(0.0), 10_000.0, 0.1);
    found.unless(survey.islands.len() == 10_000, || {
        format!("{} islands", survey.islands.len())
    });
    found.none();
}

#[test]
fn the_unit_is_heeded() {
    // A brick saved in metres, a box of 2 x 1 x 1/2 inches.
    let metres = Solid::cuboid([0.0; 3], [0.02, 0.03, 0.04]);
    let inches = Solid::cuboid([0.0; 3], [2.0, 1.0, 0.5]);
    let mut found = Found::default();
    for (name, solid, unit, area, volume) in [
        ("metres", &metres, LengthUnit::M, 5200.0, 24_000.0),
        ("metres as mm", &metres, LengthUnit::Mm, 0.0052, 2.4e-5),
        ("inches", &inches, LengthUnit::In, 4516.12, 16_387.064),
        ("inches as mm", &inches, LengthUnit::Mm, 7.0, 1.0),
    ] {
        let mesh = Mesh::of(solid.0.clone());
        let survey = surveyed(&mesh, &Order::in_unit(unit));
        found.near(name, survey.wetted_area_mm2, area, area * SHARP);
        found.near(
            name,
            survey.volume_mm3.unwrap_or(0.0),
            volume,
            volume * SHARP,
        );
        let told = survey
            .defects
            .iter()
            .any(|defect| defect.what == Flaw::UnitSuspect);
        found.unless(told == (unit == LengthUnit::Mm), || {
            format!("{name}: {:?}", survey.defects)
        });
    }
    found.none();
}

#[test]
fn a_passage_under_the_bubble_is_shut() {
    // A square drain lets a ball of its own width pass.
    let mut found = Found::default();
    for (width, bubble_mm, is_open) in [
        (0.4, 0.5, false),
        (0.4, 0.3, true),
        (2.0, 1.9, true),
        (2.0, 2.1, false),
        (4.0, 0.0, true),
    ] {
        let name = format!("a drain of {width} for bubbles of {bubble_mm}");
        let mesh = Mesh::of(known::drained(width).0);
        let survey = surveyed(
            &mesh,
            &Order {
                bubble_mm,
                ..order()
            },
        );
        let rim = 5400.0 - width * width;
        let (neck, inside) = (4.0 * width * 5.0, 2400.0 - width * width);
        let expected = if is_open {
            rim + neck + inside..=rim + neck + inside
        } else {
            rim..=rim + neck
        };
        found.between(&name, survey.wetted_area_mm2, &expected, SHARP);
        let [cavity] = &survey.cavities[..] else {
            found.0.push(format!("{name}: {:?}", survey.cavities));
            continue;
        };
        found.unless(cavity.sealed != is_open, || format!("{name}: {cavity:?}"));
        let opening = cavity.opening_mm.unwrap_or(0.0);
        found.near(&format!("{name}, opening"), opening, width, width * 0.1);
        let at_drain =
            (cavity.at_mm[0] - 15.0).abs() <= width && (cavity.at_mm[1] - 15.0).abs() <= width;
        found.unless(at_drain, || {
            format!("{name}, middle of the opening: {:?}", cavity.at_mm)
        });
    }
    found.none();
}

#[test]
fn a_chamber_behind_a_chamber_hangs_on_the_passage() {
    let whole = 2.0 * (1800.0 + 1800.0 + 900.0);
    let first = 2400.0 - 16.0 + 80.0 - 16.0;
    let mut found = Found::default();
    for (passage, is_open) in [(0.4, false), (2.0, true)] {
        let survey = survey_of(&known::two_chambers(passage));
        let second = 2400.0 - 2.0 * passage * passage;
        let between = 4.0 * passage * 10.0;
        let shut = whole + first;
        let expected = if is_open {
            shut + second + between..=shut + second + between
        } else {
            shut - passage * passage..=shut + between
        };
        found.between(
            &format!("passage of {passage}"),
            survey.wetted_area_mm2,
            &expected,
            SHARP,
        );
        let sealed = survey
            .cavities
            .iter()
            .filter(|cavity| cavity.sealed)
            .count();
        found.unless(sealed == usize::from(!is_open), || {
            format!("{:?}", survey.cavities)
        });
    }
    found.none();
}

#[test]
fn masks_take_their_part_of_the_wetted_area() {
    let cube = Mesh::of(Solid::cube([0.0; 3], 20.0).0);
    let mask = Mask::Box {
        from: [-1.0; 3],
        to: [21.0, 21.0, 5.0],
    };
    let survey = surveyed(
        &cube,
        &Order {
            masks: vec![mask],
            ..order()
        },
    );
    let mut found = Found::default();
    // The floor and a quarter of four sides.
    found.near("masked", survey.masked_area_mm2, 800.0, 0.01);
    found.near("left", survey.wetted_area_mm2, 1600.0, 0.01);
    let glued = "v 0 0 0\nv 20 0 0\nv 0 30 0\nv 20 30 0\nv 0 0 40\nv 20 0 40\nv 0 30 40\nv 20 30 40\n\
                 g body\nf 5 6 8 7\nf 1 2 6 5\nf 3 7 8 4\nf 1 5 7 3\nf 2 4 8 6\ng glue\nf 1 3 4 2\n";
    let mesh = mesh::read(glued.as_bytes()).unwrap();
    let survey = surveyed(
        &mesh,
        &Order {
            masks: vec![Mask::Group("glue".into())],
            ..order()
        },
    );
    found.near("glued", survey.masked_area_mm2, 600.0, 0.01);
    found.near("left", survey.wetted_area_mm2, 4600.0, 0.01);
    found.none();
}

/// Notes how far the work is, and stops it after so many notes.
struct Patience {
    left: Mutex<usize>,
    last: Mutex<f64>,
}

impl Watch for Patience {
    fn at(&self, _step: &'static str, done: f64) {
        let mut left = self.left.lock().unwrap();
        *left = left.saturating_sub(1);
        let mut last = self.last.lock().unwrap();
        assert!((*last..=1.0).contains(&done), "{done} after {last}");
        *last = done;
    }

    fn stopped(&self) -> bool {
        *self.left.lock().unwrap() == 0
    }
}

#[test]
fn a_survey_tells_how_far_it_is_and_can_be_stopped() {
    let mesh = Mesh::of(known::globe().0);
    for notes in 1..4 {
        let watch = Patience {
            left: Mutex::new(notes),
            last: Mutex::new(0.0),
        };
        assert_eq!(mesh::survey(&mesh, &order(), &watch), Err(Stopped));
    }
    let watch = Patience {
        left: Mutex::new(usize::MAX),
        last: Mutex::new(0.0),
    };
    assert!(mesh::survey(&mesh, &order(), &watch).is_ok());
}

/// A grid of cells around boxes, with a free rim.
struct Cells {
    solid: Vec<bool>,
}

/// Cells along an axis: 0 and the last are free.
const ALONG: usize = 10;

type Box = ([usize; 3], [usize; 3]);

/// What counting cells says of some boxes.
#[derive(Debug, PartialEq)]
struct Counted {
    wetted: usize,
    solid: usize,
    /// Wall faces and cells of each void, in order.
    voids: Vec<(usize, usize)>,
    /// Pieces that hang together by faces, and also by edges and corners.
    pieces: RangeInclusive<usize>,
}

impl Cells {
    fn of(boxes: &[Box]) -> Self {
        let within = |cell: usize| {
            let at = Self::at(cell);
            let in_box =
                |(low, size): &Box| (0..3).all(|a| low[a] <= at[a] && at[a] < low[a] + size[a]);
            boxes.iter().any(in_box)
        };
        Self {
            solid: (0..ALONG * ALONG * ALONG).map(within).collect(),
        }
    }

    fn at(cell: usize) -> [usize; 3] {
        [cell % ALONG, cell / ALONG % ALONG, cell / ALONG / ALONG]
    }

    /// The cells around one, those across a face only or all.
    fn around(cell: usize, across_faces: bool) -> impl Iterator<Item = usize> {
        let at = Self::at(cell).map(|x| x as isize);
        let steps = (0..27_isize).map(|k| [k % 3 - 1, k / 3 % 3 - 1, k / 9 - 1]);
        steps.filter_map(move |step| {
            let far = step.iter().map(|x| x.abs()).sum::<isize>();
            let to = [0, 1, 2].map(|a| at[a] + step[a]);
            let is_there = to.iter().all(|x| (0..ALONG as isize).contains(x));
            let counts = far > 0 && (far == 1 || !across_faces) && is_there;
            counts.then(|| (to[0] + ALONG as isize * (to[1] + ALONG as isize * to[2])) as usize)
        })
    }

    /// Cells of one kind that hang together, piece by piece; the outermost
    /// free one first.
    fn pieces(&self, solid: bool, across_faces: bool) -> Vec<Vec<usize>> {
        let mut is_left: Vec<bool> = self.solid.iter().map(|is| *is == solid).collect();
        let mut pieces = Vec::new();
        for from in 0..is_left.len() {
            if !is_left[from] {
                continue;
            }
            is_left[from] = false;
            let (mut piece, mut next) = (vec![from], 0);
            while let Some(cell) = piece.get(next).copied() {
                next += 1;
                for beside in Self::around(cell, across_faces) {
                    if std::mem::take(&mut is_left[beside]) {
                        piece.push(beside);
                    }
                }
            }
            pieces.push(piece);
        }
        pieces
    }

    fn counted(&self) -> Counted {
        let walls = |piece: &Vec<usize>| {
            let of = |cell: &usize| {
                Self::around(*cell, true)
                    .filter(|at| self.solid[*at])
                    .count()
            };
            piece.iter().map(of).sum::<usize>()
        };
        let free = self.pieces(false, true);
        let mut voids: Vec<_> = free[1..]
            .iter()
            .map(|piece| (walls(piece), piece.len()))
            .collect();
        voids.sort_unstable();
        Counted {
            wetted: walls(&free[0]),
            solid: self.solid.iter().filter(|is| **is).count(),
            voids,
            pieces: self.pieces(true, false).len()..=self.pieces(true, true).len(),
        }
    }
}

fn solid_of(boxes: &[Box]) -> Solid {
    let one = |(low, size): &Box| Solid::cuboid(low.map(|x| x as f64), size.map(|x| x as f64));
    Solid::all(boxes.iter().map(one))
}

/// What of a survey does not fit the count.
fn against_count(solid: &Solid, counted: &Counted, stl: Option<&[u8]>) -> Found {
    let within = if stl.is_some() { SINGLE } else { 1e-9 };
    let mesh = stl.map_or_else(|| Mesh::of(solid.0.clone()), |stl| mesh::read(stl).unwrap());
    let survey = surveyed(&mesh, &order());
    let mut found = Found::default();
    let near = |found: &mut Found, what, is: f64, expected: usize| {
        found.near(what, is, expected as f64, expected as f64 * within);
    };
    near(&mut found, "wetted", survey.wetted_area_mm2, counted.wetted);
    near(
        &mut found,
        "volume",
        survey.volume_mm3.unwrap_or(-1.0),
        counted.solid,
    );
    let shut: usize = counted.voids.iter().map(|(_, cells)| cells).sum();
    let envelope = survey.envelope_volume_mm3.unwrap_or(-1.0);
    near(&mut found, "envelope", envelope, counted.solid + shut);
    let rounded = |x: f64| x.round() as usize;
    let mut voids: Vec<_> = survey
        .cavities
        .iter()
        .filter(|cavity| cavity.sealed)
        .map(|cavity| (rounded(cavity.area_mm2), rounded(cavity.volume_mm3)))
        .collect();
    voids.sort_unstable();
    found.unless(voids == counted.voids, || {
        format!("voids {voids:?}, not {:?}", counted.voids)
    });
    found.unless(counted.pieces.contains(&survey.islands.len()), || {
        format!("{} islands, not {:?}", survey.islands.len(), counted.pieces)
    });
    found
}

fn boxes() -> impl Strategy<Value = Vec<Box>> {
    let side = |_: u8| (1..ALONG - 1).prop_flat_map(|low| (Just(low), 1..ALONG - low));
    let one = [0; 3].map(side);
    let one = one.prop_map(|sides| (sides.map(|(low, _)| low), sides.map(|(_, size)| size)));
    // Flat boxes leave hollows between them more often than thick ones.
    let flat = (one.clone(), 0..3_usize).prop_map(|((low, mut size), axis)| {
        size[axis] = 1;
        (low, size)
    });
    proptest::collection::vec(prop_oneof![one, flat], 2..13)
}

/// Six slabs around a room, with something in it: what random boxes seldom
/// make.
fn rooms() -> impl Strategy<Value = Vec<Box>> {
    let corner = [1..3_usize, 1..3, 1..3];
    let room = [1..5_usize, 1..5, 1..5];
    (corner, room, boxes(), 0..4_usize).prop_map(|(low, room, more, kept)| {
        let mut walls = Vec::new();
        for axis in 0..3 {
            let mut size = room.map(|x| x + 2);
            size[axis] = 1;
            let mut far = low;
            far[axis] += room[axis] + 1;
            walls.extend([(low, size), (far, size)]);
        }
        walls.extend(more.into_iter().take(kept));
        walls
    })
}

fn box_sets() -> impl Strategy<Value = Vec<Box>> {
    prop_oneof![2 => boxes(), 1 => rooms()]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(48) })]

    #[test]
    fn boxes_on_a_grid_are_what_counting_cells_says(boxes in box_sets(), doubled in 0..3_usize) {
        let counted = Cells::of(&boxes).counted();
        let twice = boxes.iter().take(doubled).copied();
        let solid = solid_of(&boxes.iter().copied().chain(twice).collect::<Vec<_>>());
        let found = against_count(&solid, &counted, None);
        prop_assert!(found.0.is_empty(), "{counted:?}\n{}", found.0.join("\n"));
    }

    #[test]
    fn so_are_boxes_turned_at_random(boxes in box_sets(), seed in any::<u64>()) {
        let counted = Cells::of(&boxes).counted();
        let mut dice = Dice(seed);
        let solid = solid_of(&boxes).turned_by(dice.turn()).shuffled(&mut dice);
        let found = against_count(&solid, &counted, Some(&solid.stl()));
        prop_assert!(found.0.is_empty(), "{counted:?}\n{}", found.0.join("\n"));
    }

    #[test]
    fn flipping_triangles_of_boxes_leaves_the_wetted_area(boxes in box_sets(), seed in any::<u64>()) {
        let expected = Cells::of(&boxes).counted().wetted as f64;
        let mut dice = Dice(seed);
        let survey = survey_of(&solid_of(&boxes).flipped_where(|_| dice.below(3) == 0));
        prop_assert!((survey.wetted_area_mm2 - expected).abs() <= expected * 1e-9);
    }
}

fn soups() -> impl Strategy<Value = Solid> {
    let corner = [0..4_u8, 0..4, 0..4].prop_map(|corner| corner.map(f64::from));
    let triangle = [corner.clone(), corner.clone(), corner];
    proptest::collection::vec(triangle, 1..24).prop_map(Solid)
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(48) })]

    #[test]
    fn any_triangles_are_surveyed_in_any_order(soup in soups(), seed in any::<u64>()) {
        // Narrow places of sheets are looked for on one side only, as they are turned.
        let fine = Order { bubble_mm: 1e-3, ..order() };
        let survey = surveyed(&Mesh::of(soup.0.clone()), &fine);
        let (wetted, naive) = (survey.wetted_area_mm2, survey.naive_area_mm2);
        prop_assert!((0.0..=naive * (1.0 + 1e-9) + 1e-9).contains(&wetted), "{wetted} of {naive}");
        let mut dice = Dice(seed);
        let other = soup.shuffled(&mut dice).flipped_where(|_| dice.below(2) == 0);
        let again = surveyed(&Mesh::of(other.0), &fine).wetted_area_mm2;
        prop_assert!((again - wetted).abs() <= 1e-6 * naive, "{wetted}, then {again}");
    }
}

#[test]
fn a_sheet_that_is_touched_in_its_middle_is_wet_on_both_sides() {
    // Two triangles, a corner of one in the middle of the other; areas by hand,
    // sqrt(5)/2 and 3/2.
    let touching = [[0.0, 1.0, 0.0], [2.0, 0.0, 2.0], [0.0, 1.0, 1.0]];
    let touched = [[1.0, 0.0, 3.0], [3.0, 0.0, 2.0], [2.0, 0.0, 1.0]];
    for touched in [touched, [touched[2], touched[1], touched[0]]] {
        let wetted = survey_of(&Solid(vec![touching, touched])).wetted_area_mm2;
        assert!(
            (wetted - f64::sqrt(5.0) / 2.0 - 1.5).abs() < 1e-9,
            "{wetted}"
        );
    }
}

#[test]
fn counting_cells_counts() {
    // A room of 2 x 2 x 2 in walls of 1, by hand.
    let walls: Vec<Box> = vec![
        ([1; 3], [4, 4, 1]),
        ([1, 1, 4], [4, 4, 1]),
        ([1; 3], [4, 1, 4]),
        ([1, 4, 1], [4, 1, 4]),
        ([1; 3], [1, 4, 4]),
        ([4, 1, 1], [1, 4, 4]),
    ];
    let expected = Counted {
        wetted: 96,
        solid: 56,
        voids: vec![(24, 8)],
        pieces: 1..=1,
    };
    assert_eq!(Cells::of(&walls).counted(), expected);
    // Two cubes corner to corner.
    let apart: Vec<Box> = vec![([1; 3], [2; 3]), ([3; 3], [1; 3])];
    let expected = Counted {
        wetted: 30,
        solid: 9,
        voids: vec![],
        pieces: 1..=2,
    };
    assert_eq!(Cells::of(&apart).counted(), expected);
}

/// A real print and what other libraries say of it.
struct Real {
    file: &'static str,
    triangles: usize,
    naive_mm2: f64,
    /// By the exact arrangement; what is told beside it is why less or more is
    /// right too.
    wetted_mm2: f64,
    accepted_mm2: RangeInclusive<f64>,
    volume_mm3: Option<f64>,
    islands: Option<usize>,
    watertight: bool,
    told: &'static [&'static [Flaw]],
}

/// Wetted areas by libigl 2.6.3: `remesh_self_intersections` and `extract_cells`
/// (exact numbers), every facet that borders the unbounded cell; loops of open
/// sides shut by fans that add no area. manifold3d 3.5.4 (union of the shells)
/// agrees where each shell is a closed manifold. The accepted range reaches
/// down where walls face gaps under 0.1 mm or random walks of 200 steps
/// (embreex 4.4.0) find no way in, and up where open sheets count on both
/// sides.
const REAL: [Real; 8] = [
    // Only sheets with open rims; spout and handle end in the body.
    Real {
        file: "teapot.stl",
        triangles: 992,
        naive_mm2: 20_621.418_9,
        wetted_mm2: 20_112.397_7,
        accepted_mm2: 20_100.229_7..=36_051.429_3,
        volume_mm3: None,
        islands: None,
        watertight: false,
        told: &[&[Flaw::OpenMesh]],
    },
    // 24 closed and half-closed shells that run into each other.
    Real {
        file: "max-export.stl",
        triangles: 2000,
        naive_mm2: 1734.4157,
        wetted_mm2: 1701.2129,
        accepted_mm2: 1692.0519..=1701.2129,
        volume_mm3: None,
        islands: None,
        watertight: false,
        told: &[&[Flaw::OverlappingShells, Flaw::InternalFaces]],
    },
    // A scan; 1489 triangles twice, sides of four triangles, tiny flaps.
    Real {
        file: "dragon_res2.ply",
        triangles: 202_520,
        naive_mm2: 76_101.740_8,
        wetted_mm2: 75_723.952_3,
        accepted_mm2: 75_626.268_4..=75_995.336_8,
        volume_mm3: Some(513_161.418),
        islands: None,
        watertight: false,
        told: &[&[Flaw::DuplicateFaces]],
    },
    // A clean closed scan.
    Real {
        file: "bunny.obj",
        triangles: 56_172,
        naive_mm2: 15_117.366_3,
        wetted_mm2: 15_117.366_3,
        accepted_mm2: 15_117.366_3..=15_117.366_3,
        volume_mm3: Some(101_822.509),
        islands: Some(1),
        watertight: true,
        told: &[],
    },
    // 29 shells that overlap and shut gaps in, 190 triangles without area.
    Real {
        file: "printer_parts.orig.3mf",
        triangles: 19_670,
        naive_mm2: 1_297_787.47,
        wetted_mm2: 1_241_477.38,
        accepted_mm2: 1_202_472.16..=1_241_477.38,
        volume_mm3: None,
        islands: None,
        watertight: false,
        told: &[
            &[Flaw::OverlappingShells, Flaw::InternalFaces],
            &[Flaw::DuplicateFaces],
        ],
    },
    Real {
        file: "screw_m3x10.orig.stl",
        triangles: 15_532,
        naive_mm2: 236.6552,
        wetted_mm2: 236.6552,
        accepted_mm2: 235.5175..=236.6552,
        volume_mm3: Some(125.774),
        islands: Some(1),
        watertight: true,
        told: &[],
    },
    // A nozzle with a narrow bore right through.
    Real {
        file: "nozzle.orig.stl",
        triangles: 4204,
        naive_mm2: 538.7347,
        wetted_mm2: 538.7347,
        accepted_mm2: 520.1904..=538.7347,
        volume_mm3: Some(345.574),
        islands: Some(1),
        watertight: true,
        told: &[],
    },
    // A plate with raised figures and twelve handles.
    Real {
        file: "relief.orig.stl",
        triangles: 3636,
        naive_mm2: 18_229.653_5,
        wetted_mm2: 18_229.653_4,
        accepted_mm2: 18_199.756_8..=18_229.653_4,
        volume_mm3: Some(19_761.508),
        islands: Some(1),
        watertight: true,
        told: &[],
    },
];

impl Real {
    /// Where it lies: some are kept here, others only where
    /// `TANKSIDE_REAL_MESHES` says.
    fn path(&self) -> Option<PathBuf> {
        let kept = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("tests/prints")
            .join(self.file);
        let fetched = std::env::var_os("TANKSIDE_REAL_MESHES")
            .map(|folder| Path::new(&folder).join(self.file));
        kept.exists().then_some(kept).or(fetched)
    }

    fn misfits(&self, path: &Path) -> Found {
        let bytes =
            std::fs::read(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        let mesh = mesh::read(&bytes).unwrap();
        let unit = mesh.unit.unwrap_or(LengthUnit::Mm);
        let survey = surveyed(&mesh, &Order::in_unit(unit));
        let mut found = Found::default();
        found.unless(survey.triangles == self.triangles, || {
            format!("{} triangles", survey.triangles)
        });
        found.near(
            "naive",
            survey.naive_area_mm2,
            self.naive_mm2,
            self.naive_mm2 * 1e-6,
        );
        // 0.3 %: a hole may be shut, a flap counted, in more than one way.
        found.between("wetted", survey.wetted_area_mm2, &self.accepted_mm2, 0.003);
        let off = survey.wetted_area_mm2 / self.wetted_mm2 - 1.0;
        let covers = survey.wetted_pm_mm2 + self.accepted_mm2.end() - self.accepted_mm2.start();
        found.unless(
            (off * self.wetted_mm2).abs() <= covers + self.wetted_mm2 * 0.003,
            || {
                format!(
                    "wetted {} ± {}",
                    survey.wetted_area_mm2, survey.wetted_pm_mm2
                )
            },
        );
        found.unless(survey.watertight == self.watertight, || "watertight".into());
        if let Some(volume) = self.volume_mm3 {
            found.near(
                "volume",
                survey.volume_mm3.unwrap_or(0.0),
                volume,
                volume * 1e-4,
            );
        }
        found.unless(
            self.islands
                .is_none_or(|count| count == survey.islands.len()),
            || format!("{} islands", survey.islands.len()),
        );
        for any_of in self.told {
            let is_told = survey
                .defects
                .iter()
                .any(|defect| any_of.contains(&defect.what));
            found.unless(is_told, || {
                format!("not told: {any_of:?} but {:?}", survey.defects)
            });
        }
        found
    }
}

#[test]
fn real_prints_are_what_other_libraries_say() {
    let mut found = Found::default();
    let mut seen = 0;
    for real in &REAL {
        if let Some(path) = real.path() {
            found.of(real.file, real.misfits(&path));
            seen += 1;
        }
    }
    assert!(seen >= 2, "the two that are kept here");
    found.none();
}

#[test]
fn shells_that_share_faces_inside_another_leave_no_hollow() {
    // The second and the third have the same end, bit for bit.
    let boxes = [
        ([1, 1, 1], [7, 8, 5]),
        ([7, 1, 5], [1, 7, 1]),
        ([7, 4, 5], [1, 4, 1]),
    ];
    let counted = Cells::of(&boxes).counted();
    let mut found = against_count(&solid_of(&boxes), &counted, None);
    let turned = solid_of(&boxes).turned_by(Dice(9).turn());
    found.of(
        "turned",
        against_count(&turned, &counted, Some(&turned.stl())),
    );
    found.none();
}

#[test]
fn a_hollow_whose_walls_are_there_twice_is_a_hollow() {
    let inner = Solid::cube([5.0; 3], 10.0).inside_out();
    let survey = survey_of(&Solid::cube([0.0; 3], 20.0).and(&inner).and(&inner));
    let mut found = Found::default();
    found.near("wetted", survey.wetted_area_mm2, 2400.0, 1e-3);
    found.near("volume", survey.volume_mm3.unwrap_or(0.0), 7000.0, 1e-3);
    found.unless(survey.cavities.len() == 1, || {
        format!("{:?}", survey.cavities)
    });
    found.none();
}

#[test]
fn faces_are_counted_once_however_they_are_cut() {
    let two = Solid::cube([0.0; 3], 20.0).and(&Solid::cube([10.0; 3], 20.0));
    let survey = survey_of(&two);
    let internal = survey.defects.iter();
    let internal = internal.filter(|defect| defect.what == Flaw::InternalFaces);
    let count: usize = internal.map(|defect| defect.count).sum();
    // Three sides of each run into the other, of two triangles each.
    assert_eq!(count, 12);
}

#[test]
fn what_is_masked_whole_leaves_nothing_and_no_minus() {
    let order = Order {
        masks: vec!["box:-1,-1,-1:2,2,2".parse::<Mask>().unwrap()],
        ..order()
    };
    let survey = surveyed(&Mesh::of(Solid::cube([0.0; 3], 1.0).0), &order);
    assert_eq!(survey.wetted_area_mm2.to_bits(), 0.0_f64.to_bits());
}

#[test]
fn triangles_without_any_area_are_nothing_to_measure() {
    let line = [[0.0; 3], [1.0, 0.0, 0.0], [2.0, 0.0, 0.0]];
    let stl = Solid(vec![line; 5]).stl();
    assert_eq!(mesh::read(&stl).unwrap_err().kind(), "no_triangles");
}
