//! How much stiffer a print becomes under its coat.

use std::f64::consts::PI;

/// Young's modulus of plated copper in GPa: least, usual, most. Handbooks have
/// 110 to 130 for copper; from memory, and a bath's additives move it.
pub const COPPER_GPA: [f64; 3] = [110.0, 117.0, 130.0];

/// The section of a long part that bends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Section {
    /// Full and round.
    Round {
        /// In mm.
        diameter_mm: f64,
    },
    /// Full and rectangular.
    Rectangular {
        /// Across the way it bends, in mm.
        width_mm: f64,
        /// Along the way it bends, in mm.
        height_mm: f64,
    },
}

impl Section {
    /// Second moment of area in mm⁴: pi d⁴ / 64 and b h³ / 12.
    pub fn second_moment_mm4(self) -> f64 {
        match self {
            Self::Round { diameter_mm } => PI * diameter_mm.powi(4) / 64.0,
            Self::Rectangular {
                width_mm,
                height_mm,
            } => width_mm * height_mm.powi(3) / 12.0,
        }
    }

    fn grown(self, coat_mm: f64) -> Self {
        let more = 2.0 * coat_mm;
        match self {
            Self::Round { diameter_mm } => Self::Round {
                diameter_mm: diameter_mm + more,
            },
            Self::Rectangular {
                width_mm,
                height_mm,
            } => Self::Rectangular {
                width_mm: width_mm + more,
                height_mm: height_mm + more,
            },
        }
    }

    /// Second moment of area in mm⁴ of a coat of even thickness around it.
    pub fn shell_mm4(self, coat_um: f64) -> f64 {
        self.grown(coat_um * 1e-3).second_moment_mm4() - self.second_moment_mm4()
    }
}

/// How many times as stiff in bending a coated part is as the bare one:
/// `(E_core I_core + E_coat I_coat) / (E_core I_core)`, moduli in GPa, the coat
/// in µm. The transformed section of any handbook on the strength of materials
/// (Gere & Timoshenko, Mechanics of Materials, composite beams; from memory).
///
/// Say with it: it holds for a long part, an even coat that sticks everywhere
/// and has no pores, and small bending; a print with sparse infill is softer
/// than its plastic, which makes the gain larger and the part no stronger.
pub fn stiffness_gain(section: Section, core_gpa: f64, coat_um: f64, coat_gpa: f64) -> f64 {
    let core = core_gpa * section.second_moment_mm4();
    1.0 + coat_gpa * section.shell_mm4(coat_um) / core
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(found: f64, wanted: f64) {
        assert!(
            (found - wanted).abs() < 0.001 * wanted,
            "{found} for {wanted}"
        );
    }

    /// A rod of 6 mm: I = pi 6⁴ / 64 = 63.617 mm⁴. Under 100 µm it is 6.2 mm:
    /// 72.533 mm⁴, the shell 8.915; the thin-wall form pi r³ t with r = 3.05 has
    /// 8.914. With copper of 117 GPa on PLA of 3.5: 1 + 117 8.915 / (3.5 63.617)
    /// = 5.685 (by hand).
    #[test]
    fn a_coated_rod_is_nearly_six_times_as_stiff() {
        let rod = Section::Round { diameter_mm: 6.0 };
        near(rod.second_moment_mm4(), 63.617);
        near(rod.shell_mm4(100.0), PI * 3.05_f64.powi(3) * 0.1);
        near(stiffness_gain(rod, 3.5, 100.0, COPPER_GPA[1]), 5.685);
        near(stiffness_gain(rod, 3.5, 0.0, COPPER_GPA[1]), 1.0);
    }

    /// A bar of 10 x 4 mm: 53.333 mm⁴ flat; under 50 µm 10.1 x 4.1: 58.008,
    /// the shell 4.675; 1 + 117 4.675 / (3.5 53.333) = 3.930. On edge
    /// 333.333 and 4.1 10.1³ / 12 = 352.019: 1 + 117 18.686 / (3.5 333.333) = 2.874.
    #[test]
    fn a_bar_gains_more_the_flat_way() {
        let flat = Section::Rectangular {
            width_mm: 10.0,
            height_mm: 4.0,
        };
        near(stiffness_gain(flat, 3.5, 50.0, 117.0), 3.930);
        let on_edge = Section::Rectangular {
            width_mm: 4.0,
            height_mm: 10.0,
        };
        near(stiffness_gain(on_edge, 3.5, 50.0, 117.0), 2.874);
        assert!(COPPER_GPA.is_sorted());
    }
}
