//! What the layers of a print add to its surface.

use std::fmt;
use std::str::FromStr;

/// How a print was made, as far as its surface knows it.
///
/// A print is rougher than its mesh. The factor of a method is the closed form
/// of a stated profile, not a measurement of this print: it holds for steep
/// walls, and what is flat on top or below has less.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Printed {
    /// Laid down as a molten strand, in layers so many mm high.
    Fdm(f64),
    /// Hardened from resin, in layers so many mm high.
    Resin(f64),
    /// Sintered from powder.
    Sls,
    /// Sanded, filled or smoothed until no layer is felt.
    Smoothed,
}

/// Depth of the valleys over the height of a layer: common practice, no
/// source.
const FDM_DEPTH: f64 = 0.25;
/// The same of resin, whose layers bleed into each other.
const RESIN_DEPTH: f64 = 0.1;
/// Height over radius of the grains that stand out of a sintered wall: common
/// practice, no source.
const GRAIN_HEIGHT: f64 = 0.5;

impl Printed {
    /// One of each, at its usual layer.
    pub const USUAL: [Self; 4] = [Self::Fdm(0.2), Self::Resin(0.05), Self::Sls, Self::Smoothed];

    /// Area of the textured wall over that of the flat one.
    pub fn factor(self) -> f64 {
        match self {
            Self::Fdm(_) => scallops(FDM_DEPTH),
            Self::Resin(_) => scallops(RESIN_DEPTH),
            Self::Sls => 1.0 + CLOSEST * GRAIN_HEIGHT * GRAIN_HEIGHT,
            Self::Smoothed => 1.0,
        }
    }

    /// Why that factor: the profile and where its numbers come from.
    pub fn because(self) -> String {
        let layers = |height: f64, depth: f64| {
            format!(
                "{self}: layers of {height} mm as round scallops {} mm deep on steep walls (closed form; depth by \
                 common practice, no source); less once primer fills them",
                crate::units::plain(height * depth)
            )
        };
        match self {
            Self::Fdm(height) => layers(height, FDM_DEPTH),
            Self::Resin(height) => layers(height, RESIN_DEPTH),
            Self::Sls => format!(
                "{self}: grains side by side, half of a ball's half standing out (closed form; by common practice, \
                 no source); less once primer fills them"
            ),
            Self::Smoothed => format!("{self}: no layer is felt"),
        }
    }
}

/// The share of a plane that equal circles cover at most: pi / sqrt 12
/// (Lagrange 1773 for lattices, from memory).
const CLOSEST: f64 = 0.906_899_682_117_109;

/// Length of a circular arc over its chord, `depth` high where the chord is 1.
///
/// With half the arc's angle a, tan (a/2) = 2 depth, and the ratio is
/// a / sin a. A half circle (depth 0.5) has pi / 2, the most that round layers
/// side by side can have.
fn scallops(depth: f64) -> f64 {
    let half = 2.0 * (2.0 * depth).atan();
    half / half.sin()
}

impl fmt::Display for Printed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Fdm(height) => write!(f, "fdm:{height}mm"),
            Self::Resin(height) => write!(f, "resin:{height}mm"),
            Self::Sls => f.pad("sls"),
            Self::Smoothed => f.pad("smoothed"),
        }
    }
}

/// The text names no way of printing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{0}` is no way of printing; there are fdm:0.2mm, resin:0.05mm (the height of a layer), sls, smoothed"
)]
pub struct UnknownPrinting(String);

impl FromStr for Printed {
    type Err = UnknownPrinting;

    fn from_str(text: &str) -> Result<Self, UnknownPrinting> {
        let unknown = || UnknownPrinting(crate::units::excerpt(text, 60).into_owned());
        let lower = text.trim().to_ascii_lowercase();
        let height = |most_mm: f64, text: &str| {
            let height: crate::units::Length = text.parse().map_err(|_unread| unknown())?;
            let mm = crate::units::rounded(height.to(crate::units::MM), 6);
            (0.005..=most_mm)
                .contains(&mm)
                .then_some(mm)
                .ok_or_else(unknown)
        };
        match lower.split_once(':') {
            Some(("fdm", layer)) => Ok(Self::Fdm(height(2.0, layer)?)),
            Some(("resin", layer)) => Ok(Self::Resin(height(0.5, layer)?)),
            None if lower == "sls" => Ok(Self::Sls),
            None if lower == "smoothed" => Ok(Self::Smoothed),
            _ => Err(unknown()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scallops_are_arcs_over_chords() {
        assert!((scallops(0.5) - std::f64::consts::FRAC_PI_2).abs() < 1e-12);
        // By adding up a thousand chords of the same arc.
        for depth in [0.1_f64, 0.25] {
            let radius = (0.25 + depth * depth) / (2.0 * depth);
            let half = (0.5 / radius).asin();
            let at = |n: f64| {
                let angle = half * (n / 500.0 - 1.0);
                (radius * angle.sin(), radius * angle.cos())
            };
            let length: f64 = (0..1000)
                .map(|n| {
                    let ((x0, y0), (x1, y1)) = (at(f64::from(n)), at(f64::from(n + 1)));
                    (x1 - x0).hypot(y1 - y0)
                })
                .sum();
            assert!((scallops(depth) - length).abs() < 1e-6, "{depth}: {length}");
        }
    }

    #[test]
    fn each_way_of_printing_reads_as_it_is_written_and_says_why() {
        for printed in Printed::USUAL {
            assert_eq!(printed.to_string().parse(), Ok(printed));
            assert!((1.0..=1.571).contains(&printed.factor()), "{printed}");
            assert!(printed.because().starts_with(&printed.to_string()));
        }
        assert!(Printed::Fdm(0.2).because().contains("0.05 mm deep"));
        for text in [
            "fdm",
            "fdm:0.2",
            "fdm:3mm",
            "resin:0mm",
            "SLA",
            "",
            "sls:1mm",
        ] {
            let error = text.parse::<Printed>().unwrap_err().to_string();
            assert!(error.contains("fdm:0.2mm"), "{text}: {error}");
        }
    }
}
