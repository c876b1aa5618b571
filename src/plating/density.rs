//! What a current density means at the tank, in plain words.

use crate::units::{A_DM2, CurrentDensity};

/// A plain word for a current density on the covered area.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DensityWord {
    /// Under 0.1 A/dm²: no growth, and the paint soaks.
    TooLow,
    /// 0.1 to 0.5 A/dm²: strike.
    Strike,
    /// 0.5 to 1.5 A/dm²: matte to satin.
    Safe,
    /// 1.5 to 3 A/dm²: bright if stirred.
    Brisk,
    /// 3 to 5 A/dm²: edges grain, stirring essential.
    Grainy,
    /// Over 5 A/dm²: burnt.
    Burning,
}

impl DensityWord {
    /// The word and what it means.
    pub fn say(self) -> &'static str {
        match self {
            Self::TooLow => "too low: no growth, paint soaks",
            Self::Strike => "strike range",
            Self::Safe => "safe: matte to satin",
            Self::Brisk => "brisk: bright if stirred",
            Self::Grainy => "high: edges grain, stirring essential",
            Self::Burning => "too high: burns",
        }
    }
}

/// The word for a density (common practice at the hobby tank, no source; acid
/// copper, still or stirred).
pub fn density_word(density: CurrentDensity) -> DensityWord {
    let steps = [
        (0.1, DensityWord::TooLow),
        (0.5, DensityWord::Strike),
        (1.5, DensityWord::Safe),
        (3.0, DensityWord::Brisk),
        (5.0, DensityWord::Grainy),
    ];
    steps
        .into_iter()
        .find(|(below, _)| density.to(A_DM2) < *below)
        .map_or(DensityWord::Burning, |(_, word)| word)
}
