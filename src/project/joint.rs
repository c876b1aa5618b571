//! Joints: whether two pieces still go together after plating.

use super::{Definition, Joint, JointKind, Piece};
use crate::mesh::{self, Answer, Face, LEAST_GAP_MM, Mating, MatingKind, Which};
use crate::plating::ASSUMED_MOST_OVER_MEAN;
use crate::units::{Length, MIL, MM, System};

/// What plating leaves of a joint.
#[derive(Debug, Clone, PartialEq)]
pub struct JointFit {
    /// The joint's name.
    pub name: String,
    /// The pieces with the hole and with the peg.
    pub between: [String; 2],
    /// Which of the two mating faces are kept from the bath.
    pub masked: [bool; 2],
    /// What is left; none where no size is told.
    pub fit: Option<mesh::Fit>,
    /// All of it in a sentence or two.
    pub say: String,
}

impl JointFit {
    /// One word: `fits`, `mask`, `ream`, `print-smaller`, or `unknown`.
    pub fn word(&self) -> &'static str {
        match self.fit.as_ref().map(mesh::Fit::answer) {
            None => "unknown",
            Some(Answer::Fits { .. }) => "fits",
            Some(Answer::MaskIt { .. }) => "mask",
            Some(Answer::ReamIt { .. }) => "ream",
            Some(Answer::PrintSmaller { .. }) => "print-smaller",
        }
    }

    /// Whether something has to be done about it.
    pub fn is_in_doubt(&self) -> bool {
        self.fit.as_ref().is_some_and(|fit| !fit.fits())
    }
}

impl Joint {
    /// The gap as printed on each side, told or from the sizes of hole and peg;
    /// flat faces are printed to touch.
    pub fn printed_gap(&self) -> Option<Length> {
        let of_sizes = || Some((self.hole? - self.peg?) * 0.5);
        let flat = (self.kind == JointKind::FlatFaces).then_some(Length::from_si(0.0));
        self.gap_per_side.or_else(of_sizes).or(flat)
    }

    /// What has to be left on each side.
    fn least(&self) -> Length {
        self.least_gap.unwrap_or(match self.kind {
            JointKind::PegInHole | JointKind::SquarePeg => MM.of(LEAST_GAP_MM),
            JointKind::FlatFaces => MM.of(0.0),
        })
    }
}

/// What plating leaves of a joint: the planned mean on both faces, unless they
/// are masked.
///
/// The ± holds the printer's accuracy, where it is told, and that of each
/// planned thickness: area, efficiency and ammeter.
pub fn fit(definition: &Definition, joint: &Joint) -> JointFit {
    let masked = [0, 1].map(|side| is_masked(definition, joint, side));
    let mating = mating(definition, joint, masked);
    let fit = mating.map(|mating| mating.fit());
    let say = match (mating, &fit) {
        (Some(mating), Some(fit)) => Words {
            definition,
            joint,
            mating,
            fit,
        }
        .say(),
        _ => "no size is told: give hole and peg, or gap_per_side".to_owned(),
    };
    JointFit {
        name: joint.name.clone(),
        between: joint.between.clone(),
        masked,
        fit,
        say,
    }
}

impl Definition {
    /// What plating leaves of every joint, in their order.
    pub fn fits(&self) -> impl Iterator<Item = JointFit> {
        self.joints.iter().map(|joint| fit(self, joint))
    }

    /// What plating leaves of the joints of one piece.
    pub fn fits_of(&self, piece: &str) -> impl Iterator<Item = JointFit> {
        let of_piece = move |joint: &&Joint| joint.between.iter().any(|name| name == piece);
        self.joints
            .iter()
            .filter(of_piece)
            .map(|joint| fit(self, joint))
    }
}

/// A face is masked where the joint says so, or where it is one of the masks
/// of its piece.
fn is_masked(definition: &Definition, joint: &Joint, side: usize) -> bool {
    let name = &joint.between[side];
    let of_piece = |face: &String| {
        let masks = definition.piece(name).map(|piece| &piece.masks);
        let is_face = |mask: &super::Mask| mask.name == *face || mask.shape == *face;
        !face.is_empty() && masks.is_some_and(|masks| masks.iter().any(is_face))
    };
    joint.masked.contains(name)
        || joint
            .faces
            .as_ref()
            .is_some_and(|faces| of_piece(&faces[side]))
}

fn mating(definition: &Definition, joint: &Joint, masked: [bool; 2]) -> Option<Mating> {
    let gap = joint.printed_gap()?;
    let face = |side: usize| {
        let piece = definition.piece(&joint.between[side])?;
        let deposit = definition.mean_of(piece);
        Some(Face {
            deposit_mm: deposit.to(MM),
            deposit_pm_mm: deposit.to(MM) * planned_pm(definition, piece),
            coat_mm: joint.coats[side].to(MM),
            masked: masked[side],
        })
    };
    Some(Mating {
        kind: match joint.kind {
            JointKind::PegInHole | JointKind::SquarePeg => MatingKind::Peg,
            JointKind::FlatFaces => MatingKind::Flat,
        },
        gap_mm: gap.to(MM),
        gap_pm_mm: joint.printed_pm.map_or(0.0, |pm| pm.to(MM)),
        least_mm: joint.least().to(MM),
        thickest: ASSUMED_MOST_OVER_MEAN,
        faces: [face(0)?, face(1)?],
    })
}

/// The relative expanded uncertainty (k = 2) of a thickness that is plated to
/// its charge: area, efficiency and ammeter in quadrature.
fn planned_pm(definition: &Definition, piece: &Piece) -> f64 {
    let u = &definition.uncertainty;
    let parts = [piece.area_rel(u), u.efficiency_rel, u.amps_rel];
    2.0 * parts
        .into_iter()
        .map(|part| part * part)
        .sum::<f64>()
        .sqrt()
}

/// A joint in words.
struct Words<'a> {
    definition: &'a Definition,
    joint: &'a Joint,
    mating: Mating,
    fit: &'a mesh::Fit,
}

impl Words<'_> {
    fn say(&self) -> String {
        let what = format!("{} leaves {}", self.grown(), self.left());
        let thick = self.thick();
        if self.fit.fits() {
            return format!("{what}: {}{thick}", self.verdict());
        }
        let ways: Vec<String> = self.fit.answers.iter().map(|a| self.way(*a)).collect();
        let mut ways = ways.join(", or ");
        if let Some(first) = ways.get_mut(..1) {
            first.make_ascii_uppercase();
        }
        format!("{what}: {}. {ways}{thick}", self.verdict())
    }

    /// `0.04 mm of copper on stem, none on base (masked)`.
    fn grown(&self) -> String {
        let faces = &self.mating.faces;
        let metal = self.definition.metal.name;
        let metal = metal.split('-').next().unwrap_or(metal);
        let one = |side: usize| {
            let (face, piece) = (&faces[side], &self.joint.between[side]);
            let coat = match face.coat_mm {
                coat if coat > 0.0 => format!(" over {} of coat", self.length(coat)),
                _ => String::new(),
            };
            if face.masked {
                format!("no {metal}{coat} on {piece} (masked)")
            } else {
                format!(
                    "{} of {metal}{coat} on {piece}",
                    self.length(face.deposit_mm)
                )
            }
        };
        let is_bare = |face: &Face| !face.masked && face.coat_mm <= 0.0;
        let [hole, peg] = [0, 1].map(|side: usize| self.length(faces[side].deposit_mm));
        if faces.iter().all(is_bare) && hole == peg {
            return format!("{hole} of {metal} on both");
        }
        format!("{} and {}", one(0), one(1))
    }

    fn left(&self) -> String {
        let pm = match self.fit.gap_pm_mm {
            pm if pm > 0.0 => format!(" +- {}", self.length(pm)),
            _ => String::new(),
        };
        match self.mating.kind {
            MatingKind::Peg => format!("{}{pm} a side", self.length(self.fit.gap_mm)),
            MatingKind::Flat => format!("{}{pm} between the faces", self.length(self.fit.gap_mm)),
        }
    }

    fn verdict(&self) -> String {
        let least = self.mating.least_mm;
        match (self.mating.kind, self.fit.fits()) {
            (_, true) => "it fits".to_owned(),
            (MatingKind::Peg, false) if self.fit.gap_mm <= 0.0 => "it does not go in".to_owned(),
            (MatingKind::Peg, false) => {
                format!(
                    "it is tight, {} is the least that goes in",
                    self.length(least)
                )
            }
            (MatingKind::Flat, false) => "the pieces stand further apart than printed".to_owned(),
        }
    }

    fn way(&self, answer: Answer) -> String {
        let [hole, peg] = &self.joint.between;
        let is_peg = self.mating.kind == MatingKind::Peg;
        match answer {
            Answer::Fits { .. } => "it fits".to_owned(),
            Answer::MaskIt { which, gap_mm } => {
                let which = match which {
                    Which::Both => "both faces".to_owned(),
                    Which::Peg if is_peg => format!("the peg of {peg}"),
                    Which::Hole if is_peg => format!("the hole of {hole}"),
                    Which::Peg => format!("the face of {peg}"),
                    Which::Hole => format!("the face of {hole}"),
                };
                format!("mask {which} (leaves {})", self.length(gap_mm))
            }
            Answer::ReamIt { by_mm, bares } => {
                let bares = if bares { ", which bares it" } else { "" };
                format!("ream the hole of {hole} by {}{bares}", self.length(by_mm))
            }
            Answer::PrintSmaller { by_mm } if is_peg => {
                format!("print the peg of {peg} {} smaller", self.length(by_mm))
            }
            Answer::PrintSmaller { by_mm } => {
                format!("print one of them {} lower", self.length(by_mm))
            }
        }
    }

    /// What is left where the metal is thickest, if that is no longer enough.
    fn thick(&self) -> String {
        let is_enough = self.fit.thick_gap_mm >= self.mating.least_mm;
        let is_flat = self.mating.kind == MatingKind::Flat;
        if is_enough || is_flat || self.fit.thick_gap_mm >= self.fit.gap_mm {
            return String::new();
        }
        format!(
            "; at edges, {}x the mean (assumed), {} a side: break them with a file",
            self.mating.thickest,
            self.length(self.fit.thick_gap_mm)
        )
    }

    fn length(&self, mm: f64) -> String {
        shown(self.definition.units, mm)
    }
}

/// `0.15 mm`, `0.125 mm`; in mil to a tenth.
fn shown(units: System, mm: f64) -> String {
    let (number, unit) = match units {
        System::Metric => {
            let long = format!("{mm:.3}");
            let number = long.strip_suffix('0').unwrap_or(&long);
            (number.to_owned(), "mm")
        }
        System::Imperial => (format!("{:.1}", MM.of(mm).to(MIL)), "mil"),
    };
    let is_zero = number
        .trim_start_matches('-')
        .chars()
        .all(|c| matches!(c, '0' | '.'));
    let number = if is_zero {
        number.trim_start_matches('-')
    } else {
        &number
    };
    format!("{number} {unit}")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An 8.00 mm pin in an 8.30 mm socket; what is told besides.
    fn joint(target_um: u32, more: &str) -> Definition {
        let text = format!(
            r#"(format: 1, name: "Bell", metal: "copper-acid", target: Mean("{target_um}um"),
            pieces: [(name: "bell", area: "6dm2", masks: [(name: "socket", shape: "the socket's walls")]),
                (name: "knob", area: "2dm2")],
            joints: [(name: "stem", between: ("bell", "knob"), {more})])"#
        );
        Definition::parse(&text).unwrap()
    }

    const SIZES: &str = r#"kind: SquarePeg, hole: "8.3mm", peg: "8mm""#;

    fn stem(definition: &Definition) -> JointFit {
        definition.fits().next().unwrap()
    }

    /// Closed form: 0.15 mm a side less what grows on both faces.
    #[test]
    fn a_pin_fits_its_socket_or_has_its_answers() {
        for (target_um, masked, gap, word) in [
            (50, "", 0.05, "fits"),
            (51, "", 0.048, "mask"),
            (100, "", -0.05, "mask"),
            (100, r#"masked: ["bell"]"#, 0.05, "fits"),
            (100, r#"faces: ("socket", "peg")"#, 0.05, "fits"),
            (100, r#"faces: ("peg", "socket")"#, -0.05, "mask"),
            (
                90,
                r#"coats: ("20um", "0um"), masked: ["knob"]"#,
                0.04,
                "mask",
            ),
            (
                90,
                r#"coats: ("60um", "50um"), masked: ["knob", "bell"]"#,
                0.04,
                "print-smaller",
            ),
            (
                100,
                r#"least_gap: "0.04mm", masked: ["knob"]"#,
                0.05,
                "fits",
            ),
        ] {
            let told = stem(&joint(target_um, &format!("{SIZES}, {masked}")));
            let fit = told.fit.as_ref().unwrap();
            assert!((fit.gap_mm - gap).abs() < 1e-9, "{masked}: {fit:?}");
            assert_eq!(told.word(), word, "{target_um} {masked}: {told:?}");
            assert_eq!(told.is_in_doubt(), word != "fits");
        }
    }

    #[test]
    fn the_sentence_names_its_numbers() {
        let say = |target_um, more: &str| stem(&joint(target_um, more)).say;
        assert_eq!(
            say(100, SIZES),
            "0.10 mm of copper on both leaves -0.05 mm +- 0.007 mm a side: it does not go in. Mask the peg of knob \
             (leaves 0.05 mm), or mask the hole of bell (leaves 0.05 mm), or print the peg of knob 0.20 mm smaller, or \
             ream the hole of bell by 0.20 mm, which bares it; at edges, 3x the mean (assumed), -0.45 mm a side: break \
             them with a file"
        );
        assert_eq!(
            say(
                20,
                &format!(r#"{SIZES}, coats: ("0um", "25um"), masked: ["bell"]"#)
            ),
            "no copper on bell (masked) and 0.02 mm of copper over 0.025 mm of coat on knob leaves 0.105 mm +- 0.001 mm a \
             side: it fits"
        );
        assert_eq!(
            say(40, "kind: FlatFaces"),
            "0.04 mm of copper on both leaves -0.08 mm +- 0.003 mm between the faces: the pieces stand further apart than \
             printed. Mask both faces (leaves 0.00 mm), or print one of them 0.08 mm lower"
        );
        assert_eq!(
            say(40, ""),
            "no size is told: give hole and peg, or gap_per_side"
        );
        let tight = say(53, &format!("{SIZES}, printed_pm: \"0.1mm\""));
        assert!(
            tight.contains("leaves 0.044 mm +- 0.10 mm a side: it is tight, 0.05 mm is the least"),
            "{tight}"
        );
    }

    /// 2 sqrt(0.02^2 + 0.01^2 + 0.01^2) of 0.1 mm on each of two faces, and the
    /// printer's 0.02 mm.
    #[test]
    fn the_doubt_of_both_faces_adds_in_quadrature() {
        let told = stem(&joint(100, &format!("{SIZES}, printed_pm: \"0.02mm\"")));
        let one = 2.0 * 0.1 * 6e-4_f64.sqrt();
        let wanted = (2.0 * one * one + 0.02 * 0.02).sqrt();
        assert!((told.fit.unwrap().gap_pm_mm - wanted).abs() < 1e-9);
    }

    #[test]
    fn imperial_projects_are_told_in_mil() {
        assert_eq!(shown(System::Imperial, 0.0508), "2.0 mil");
        assert_eq!(shown(System::Metric, -0.0004), "0.00 mm");
        assert_eq!(shown(System::Metric, 0.125), "0.125 mm");
    }

    #[test]
    fn joints_that_cannot_be_are_refused() {
        let text = |more: &str| {
            format!(
                r#"(format: 1, name: "Bell", metal: "copper-acid", target: Mean("40um"),
                pieces: [(name: "bell"), (name: "knob")], joints: [(name: "stem", between: ("bell", "knob"), {more})])"#
            )
        };
        for (more, path) in [
            (
                r#"hole: "8mm", peg: "8mm", gap_per_side: "0.2mm""#,
                "joints.stem.gap_per_side",
            ),
            (r#"hole: "0mm""#, "joints.stem.hole"),
            (r#"hole: "8mm", peg: "0mm""#, "joints.stem.peg"),
            (r#"hole: "8mm""#, "joints.stem.peg"),
            (r#"peg: "8mm""#, "joints.stem.hole"),
            (r#"masked: ["bel"]"#, "joints.stem.masked"),
            (r#"faces: ("box:0,0:1,1,1", "")"#, "joints.stem.faces"),
        ] {
            let e = Definition::parse(&text(more)).expect_err(more);
            assert_eq!(e.path.as_deref(), Some(path), "{e:?}");
            assert!(!e.remedy.is_empty());
        }
        let same = r#"hole: "8.4mm", peg: "8mm", gap_per_side: "0.2mm""#;
        assert!(Definition::parse(&text(same)).is_ok());
    }
}
