//! Joints: what is left between two mating faces after plating.

use super::boxes::{Bounds, BoxTree, Node};
use super::near::{crossing, triangle_to_triangle};
use super::{Class, Corner, Facet};
use crate::units::{Stopped, Watch, go_on};

/// How two faces mate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MatingKind {
    /// A round peg in a hole, or a square one in a socket: metal grows on both
    /// sides of the peg, so its width changes by twice the thickness.
    Peg,
    /// Two flat faces that meet: metal stands them apart.
    Flat,
}

/// What comes upon one of the mating faces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Face {
    /// Mean thickness of the metal planned, in mm.
    pub deposit_mm: f64,
    /// Its expanded uncertainty, k = 2, in mm.
    pub deposit_pm_mm: f64,
    /// All else that is put on it: conductive coat, clear coat, in mm.
    pub coat_mm: f64,
    /// Whether it is kept from the bath: its coat counts, metal does not.
    pub masked: bool,
}

impl Face {
    fn metal_mm(&self) -> f64 {
        if self.masked { 0.0 } else { self.deposit_mm }
    }

    fn metal_pm_mm(&self) -> f64 {
        if self.masked { 0.0 } else { self.deposit_pm_mm }
    }
}

/// Two faces that shall go together. Lengths are in mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mating {
    /// How they mate.
    pub kind: MatingKind,
    /// Free room as printed, on each side of a peg: half of what hole and peg
    /// differ. Less than nothing of a press fit.
    pub gap_mm: f64,
    /// The printer's accuracy on that, k = 2.
    pub gap_pm_mm: f64,
    /// What has to be left on each side.
    pub least_mm: f64,
    /// The thickest metal over the mean.
    pub thickest: f64,
    /// The hole's, then the peg's; of flat ones in either order.
    pub faces: [Face; 2],
}

/// Which of the two faces.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// The first: the hole.
    Hole,
    /// The second: the peg.
    Peg,
    /// Both of them.
    Both,
}

/// What to do with a joint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Answer {
    /// Nothing: it fits.
    Fits {
        /// Left on each side, in mm.
        gap_mm: f64,
    },
    /// Keep faces from the bath.
    MaskIt {
        /// Which.
        which: Which,
        /// What is then left on each side, in mm.
        gap_mm: f64,
    },
    /// Take some off the hole after plating.
    ReamIt {
        /// Off its diameter or width, in mm.
        by_mm: f64,
        /// Whether that takes all metal from its walls.
        bares: bool,
    },
    /// Print the peg thinner, or one of two flat faces lower.
    PrintSmaller {
        /// By so much of its diameter, width or height, in mm.
        by_mm: f64,
    },
}

/// What is left of a joint after plating.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// On each side, in mm; less than nothing where it does not go in.
    pub gap_mm: f64,
    /// Its expanded uncertainty, k = 2, in mm.
    pub gap_pm_mm: f64,
    /// On each side where the metal is thickest.
    pub thick_gap_mm: f64,
    /// What would do, the least trouble first; never empty.
    pub answers: Vec<Answer>,
}

/// The least gap on each side of a peg that still goes in by hand, in mm:
/// common practice, no source.
pub const LEAST_GAP_MM: f64 = 0.05;

/// Rounding of sums of tenths, in mm.
const ROUNDING_MM: f64 = 1e-9;

impl Mating {
    /// What is left after plating: on each side the gap as printed, less metal
    /// and coats of both faces. The ± are independent and add in quadrature.
    pub fn fit(&self) -> Fit {
        let [hole, peg] = &self.faces;
        let metal = hole.metal_mm() + peg.metal_mm();
        let gap_mm = self.gap_mm - hole.coat_mm - peg.coat_mm - metal;
        let pms = [self.gap_pm_mm, hole.metal_pm_mm(), peg.metal_pm_mm()];
        Fit {
            gap_mm,
            gap_pm_mm: pms.into_iter().map(|pm| pm * pm).sum::<f64>().sqrt(),
            thick_gap_mm: gap_mm - metal * (self.thickest - 1.0),
            answers: self.answers(gap_mm),
        }
    }

    fn answers(&self, gap_mm: f64) -> Vec<Answer> {
        let missing = self.least_mm - gap_mm;
        if missing <= ROUNDING_MM {
            return vec![Answer::Fits { gap_mm }];
        }
        let mut answers = self.masks(gap_mm);
        match self.kind {
            MatingKind::Flat => answers.push(Answer::PrintSmaller { by_mm: missing }),
            MatingKind::Peg => {
                let by_mm = 2.0 * missing;
                let bares = missing >= self.faces[0].metal_mm() - ROUNDING_MM;
                let ream = Answer::ReamIt { by_mm, bares };
                let print = Answer::PrintSmaller { by_mm };
                answers.extend(if bares { [print, ream] } else { [ream, print] });
            }
        }
        answers
    }

    /// The masks that would do: a peg is masked more easily than a hole.
    fn masks(&self, gap_mm: f64) -> Vec<Answer> {
        let [hole, peg] = self.faces.map(|face| face.metal_mm());
        let does = |(which, metal): &(Which, f64)| {
            *metal > 0.0 && gap_mm + metal >= self.least_mm - ROUNDING_MM && *which != Which::Both
        };
        let mask = |(which, metal)| Answer::MaskIt {
            which,
            gap_mm: gap_mm + metal,
        };
        let one: Vec<Answer> = [(Which::Peg, peg), (Which::Hole, hole)]
            .into_iter()
            .filter(does)
            .map(mask)
            .collect();
        let both = gap_mm + hole + peg;
        let does_both = hole > 0.0 && peg > 0.0 && both >= self.least_mm - ROUNDING_MM;
        if one.is_empty() && does_both {
            return vec![mask((Which::Both, hole + peg))];
        }
        one
    }
}

impl Fit {
    /// What to do: the first of the answers.
    pub fn answer(&self) -> Answer {
        let gap_mm = self.gap_mm;
        self.answers
            .first()
            .copied()
            .unwrap_or(Answer::Fits { gap_mm })
    }

    /// Whether nothing has to be done.
    pub fn fits(&self) -> bool {
        matches!(self.answer(), Answer::Fits { .. })
    }
}

/// The least distance between two surfaces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// In mm; 0 where they touch or run through each other.
    pub mm: f64,
    /// Where: a point of each.
    pub at_mm: [Corner; 2],
    /// Whether they run through each other.
    pub overlap: bool,
}

/// The least distance between two surfaces that stand as they are assembled,
/// exact between all their triangles; none where one of them has none. What is
/// hidden inside a solid is no surface.
///
/// A print that lies wholly within the solid of another does not run through
/// its surface: that is told by the survey of both.
///
/// # Errors
/// [`Stopped`] where `watch` asks for it.
pub fn least_gap(a: &[Facet], b: &[Facet], watch: &dyn Watch) -> Result<Option<Gap>, Stopped> {
    let step = "measuring the gap";
    go_on(watch, step, 0.0)?;
    let (a, b) = (Side::of(a), Side::of(b));
    let far = Gap {
        mm: f64::INFINITY,
        at_mm: [[0.0; 3]; 2],
        overlap: false,
    };
    let mut search = Search {
        sides: [&a, &b],
        best: far,
        watch,
    };
    if let (Some(first), Some(second)) = (a.tree.nodes.first(), b.tree.nodes.first()) {
        search.nodes((0, first), (0, second))?;
    }
    go_on(watch, step, 1.0)?;
    Ok(Some(search.best).filter(|gap| gap.mm.is_finite()))
}

/// One surface in a tree.
struct Side {
    triangles: Vec<[Corner; 3]>,
    tree: BoxTree,
}

impl Side {
    fn of(facets: &[Facet]) -> Self {
        let open = facets.iter().filter(|facet| facet.class != Class::Hidden);
        let triangles: Vec<[Corner; 3]> = open.map(|facet| facet.corners).collect();
        let boxes: Vec<Bounds> = triangles
            .iter()
            .map(|corners| Bounds::of(corners))
            .collect();
        let tree = BoxTree::new(&boxes);
        Self { triangles, tree }
    }
}

/// The two children of a node.
fn children((at, node): (usize, &Node)) -> Option<[usize; 2]> {
    node.second.map(|second| [at + 1, second])
}

struct Search<'a> {
    sides: [&'a Side; 2],
    best: Gap,
    watch: &'a dyn Watch,
}

impl<'a> Search<'a> {
    /// Goes down where there may be something nearer, the nearest first.
    fn nodes(&mut self, a: (usize, &'a Node), b: (usize, &'a Node)) -> Result<(), Stopped> {
        if self.is_no_nearer(a.1.bounds.distance(&b.1.bounds)) {
            return Ok(());
        }
        let [one, other] = self.sides;
        let wider = a.1.bounds.diagonal() >= b.1.bounds.diagonal();
        let mut pairs: Vec<[(usize, &'a Node); 2]> = match (children(a), children(b)) {
            (None, None) => return self.leaves(a.1, b.1),
            (Some(children), rest) if wider || rest.is_none() => {
                let child = |at: usize| [(at, &one.tree.nodes[at]), b];
                children.map(child).to_vec()
            }
            (_, Some(children)) => {
                let child = |at: usize| [a, (at, &other.tree.nodes[at])];
                children.map(child).to_vec()
            }
            (Some(_), None) => Vec::new(),
        };
        let distance = |[a, b]: &[(usize, &Node); 2]| a.1.bounds.distance(&b.1.bounds);
        pairs.sort_by(|p, q| distance(p).total_cmp(&distance(q)));
        pairs.into_iter().try_for_each(|[a, b]| self.nodes(a, b))
    }

    fn is_no_nearer(&self, distance: f64) -> bool {
        self.best.overlap || distance > self.best.mm || (distance >= self.best.mm && distance > 0.0)
    }

    fn leaves(&mut self, a: &Node, b: &Node) -> Result<(), Stopped> {
        if self.watch.stopped() {
            return Err(Stopped);
        }
        let [one, other] = self.sides;
        for &n in one.tree.things(a) {
            for &m in other.tree.things(b) {
                self.triangles(one.triangles[n as usize], other.triangles[m as usize]);
            }
        }
        Ok(())
    }

    fn triangles(&mut self, a: [Corner; 3], b: [Corner; 3]) {
        let distance = Bounds::of(&a).distance(&Bounds::of(&b));
        if self.is_no_nearer(distance) {
            return;
        }
        let sides = |[a, b, c]: [Corner; 3]| [[a, b], [b, c], [c, a]];
        let through = |one, other| {
            sides(one)
                .into_iter()
                .find_map(|side| crossing(side, other))
        };
        if let Some(at) = through(a, b).or_else(|| through(b, a)) {
            self.best = Gap {
                mm: 0.0,
                at_mm: [at, at],
                overlap: true,
            };
            return;
        }
        let (mm, at_mm) = triangle_to_triangle(a, b);
        if mm < self.best.mm {
            self.best = Gap {
                mm,
                at_mm,
                overlap: false,
            };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Unwatched;

    /// 8.00 mm in 8.30 mm, with metal of these thicknesses on hole and peg.
    fn pin(hole: f64, peg: f64) -> Mating {
        let face = |deposit_mm| Face {
            deposit_mm,
            deposit_pm_mm: 0.06 * deposit_mm,
            coat_mm: 0.0,
            masked: false,
        };
        Mating {
            kind: MatingKind::Peg,
            gap_mm: (8.30 - 8.00) / 2.0,
            gap_pm_mm: 0.0,
            least_mm: LEAST_GAP_MM,
            thickest: 3.0,
            faces: [face(hole), face(peg)],
        }
    }

    fn near(a: f64, b: f64) {
        assert!((a - b).abs() < 1e-9, "{a} is not {b}");
    }

    /// Closed form: 0.15 mm a side less what grows on both.
    #[test]
    fn metal_on_both_faces_closes_the_gap() {
        for (hole, peg, gap, fits) in [
            (0.0, 0.0, 0.15, true),
            (0.05, 0.05, 0.05, true),
            (0.1, 0.1, -0.05, false),
            (0.0, 0.1, 0.05, true),
            (0.051, 0.05, 0.049, false),
        ] {
            let fit = pin(hole, peg).fit();
            near(fit.gap_mm, gap);
            assert_eq!(fit.fits(), fits, "{hole} {peg}");
            // 3x of the metal: the gap as printed less three times as much.
            near(fit.thick_gap_mm, 0.15 - 3.0 * (hole + peg));
            near(fit.gap_pm_mm, 0.06 * hole.hypot(peg));
        }
    }

    #[test]
    fn a_gap_that_is_closed_has_its_answers() {
        let answers = pin(0.1, 0.1).fit().answers;
        let [peg, hole, print, ream] = answers[..] else {
            panic!("{answers:?}");
        };
        let is_mask = |answer, face| match answer {
            Answer::MaskIt { which, gap_mm } => {
                near(gap_mm, 0.05);
                which == face
            }
            _ => false,
        };
        assert!(is_mask(peg, Which::Peg) && is_mask(hole, Which::Hole));
        match (print, ream) {
            (Answer::PrintSmaller { by_mm }, Answer::ReamIt { by_mm: off, bares }) => {
                near(by_mm, 0.2);
                near(off, 0.2);
                assert!(bares, "0.1 mm a side is all there is");
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_little_too_tight_is_reamed_when_masks_are_there() {
        let mut tight = pin(0.12, 0.1);
        tight.faces[1].masked = true;
        tight.faces[1].coat_mm = 0.03;
        tight.gap_pm_mm = 0.04;
        let fit = tight.fit();
        near(fit.gap_mm, 0.0);
        near(fit.gap_pm_mm, 0.04_f64.hypot(0.06 * 0.12));
        assert_eq!(fit.answers.len(), 3, "{fit:?}");
        tight.faces[0].coat_mm = 0.05;
        // Nothing but the print itself is in the way now: 0.07 mm a side.
        tight.faces[0].masked = true;
        tight.gap_mm = 0.06;
        let fit = tight.fit();
        match fit.answer() {
            Answer::PrintSmaller { by_mm } => near(by_mm, 2.0 * 0.07),
            other => panic!("{other:?}"),
        }
        tight.faces[0] = pin(0.3, 0.1).faces[0];
        tight.gap_mm = 0.05;
        tight.faces[0].masked = false;
        tight.gap_mm = 0.36;
        // 0.36 - 0.03 - 0.3 = 0.03: the mask of the hole would do, or 0.04 off.
        let fit = tight.fit();
        match fit.answers[1] {
            Answer::ReamIt { by_mm, bares } => {
                near(by_mm, 0.04);
                assert!(!bares);
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn flat_faces_stand_apart_by_both_deposits() {
        let mut flat = pin(0.04, 0.04);
        (flat.kind, flat.gap_mm, flat.least_mm) = (MatingKind::Flat, 0.0, 0.0);
        let fit = flat.fit();
        near(fit.gap_mm, -0.08);
        match fit.answers[..] {
            [
                Answer::MaskIt { which, gap_mm },
                Answer::PrintSmaller { by_mm },
            ] => {
                assert_eq!(which, Which::Both);
                near(gap_mm, 0.0);
                near(by_mm, 0.08);
            }
            ref other => panic!("{other:?}"),
        }
    }

    /// The four walls of an upright square tube about the middle of 15, 15, or
    /// their lids too.
    fn tube(half: f64, low: f64, high: f64) -> Vec<Facet> {
        let at = |n: usize, z: f64| {
            let turn = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
            let (x, y) = turn[n % 4];
            [15.0 + half * x, 15.0 + half * y, z]
        };
        let wall = |n: usize| {
            let (a, b, c, d) = (at(n, low), at(n + 1, low), at(n + 1, high), at(n, high));
            [[a, b, c], [a, c, d]]
        };
        let facet = |corners| Facet {
            triangle: 0,
            corners,
            class: Class::Wetted,
        };
        (0..4).flat_map(wall).map(facet).collect()
    }

    /// Closed form: an 8.00 mm pin in an 8.30 mm socket.
    #[test]
    fn the_gap_between_two_surfaces_is_exact() {
        let (socket, pin) = (tube(4.15, 0.0, 20.0), tube(4.0, -10.0, 30.0));
        let gap = least_gap(&socket, &pin, &Unwatched).unwrap().unwrap();
        near(gap.mm, 0.15);
        near(
            crate::mesh::space::length(crate::mesh::space::less(gap.at_mm[0], gap.at_mm[1])),
            0.15,
        );
        assert!(!gap.overlap);
        // Corner to corner, of a turned pin: between edges and faces.
        let above = tube(4.0, 23.0, 30.0);
        let gap = least_gap(&socket, &above, &Unwatched).unwrap().unwrap();
        near(gap.mm, 3.0_f64.hypot(0.15));
    }

    #[test]
    fn surfaces_that_touch_or_cross_have_no_gap() {
        let touching = least_gap(&tube(4.0, 0.0, 1.0), &tube(4.0, 1.0, 2.0), &Unwatched);
        let touching = touching.unwrap().unwrap();
        near(touching.mm, 0.0);
        assert!(!touching.overlap);
        let mut moved = tube(4.0, -10.0, 30.0);
        for facet in &mut moved {
            facet.corners.iter_mut().for_each(|corner| corner[0] += 0.2);
        }
        let gap = least_gap(&tube(4.15, 0.0, 20.0), &moved, &Unwatched);
        let gap = gap.unwrap().unwrap();
        assert!(gap.overlap);
        near(gap.mm, 0.0);
        assert_eq!(least_gap(&[], &moved, &Unwatched), Ok(None));
    }

    /// Against all pairs, at points drawn from a list without order.
    #[test]
    fn the_tree_finds_what_all_pairs_have() {
        let mut seed = 7_u64;
        let mut number = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (seed >> 40) as f64 / 1_677_721.6
        };
        let mut cloud = |far: f64| -> Vec<Facet> {
            let corner = |number: &mut dyn FnMut() -> f64| [number() + far, number(), number()];
            let facet = |_| {
                let first = corner(&mut number);
                let near =
                    |number: &mut dyn FnMut() -> f64| [0, 1, 2].map(|n| first[n] + number() / 10.0);
                let corners = [first, near(&mut number), near(&mut number)];
                Facet {
                    triangle: 0,
                    corners,
                    class: Class::Wetted,
                }
            };
            (0..60).map(facet).collect()
        };
        for far in [11.0, 11.5, 14.0] {
            let (a, b) = (cloud(0.0), cloud(far));
            let all = a.iter().flat_map(|a| {
                b.iter()
                    .map(|b| triangle_to_triangle(a.corners, b.corners).0)
            });
            let least = all.fold(f64::INFINITY, f64::min);
            let gap = least_gap(&a, &b, &Unwatched).unwrap().unwrap();
            near(gap.mm, least);
        }
    }

    #[test]
    fn a_gap_can_be_stopped() {
        struct Impatient;
        impl Watch for Impatient {
            fn at(&self, _: &'static str, _: f64) {}
            fn stopped(&self) -> bool {
                true
            }
        }
        let wall = tube(1.0, 0.0, 1.0);
        assert_eq!(least_gap(&wall, &wall, &Impatient), Err(Stopped));
    }
}
