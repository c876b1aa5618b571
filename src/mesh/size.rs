//! Units of length, and sizes that no print has.

use std::fmt;
use std::str::FromStr;

/// A unit that the numbers of a mesh file may be in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LengthUnit {
    /// Millimetres.
    Mm,
    /// Centimetres.
    Cm,
    /// Metres.
    M,
    /// Inches.
    In,
    /// Micrometres.
    Um,
    /// Feet.
    Ft,
}

impl LengthUnit {
    /// Every unit, the commonest first.
    pub const ALL: [Self; 6] = [Self::Mm, Self::Cm, Self::M, Self::In, Self::Um, Self::Ft];

    /// The units that files without one are in.
    pub const COMMON: [Self; 4] = [Self::Mm, Self::Cm, Self::M, Self::In];

    /// Millimetres in one of this unit. The inch is exactly 25.4 mm and the foot
    /// 12 in (international yard and pound agreement, 1959).
    pub fn mm(self) -> f64 {
        match self {
            Self::Mm => 1.0,
            Self::Cm => 10.0,
            Self::M => 1000.0,
            Self::In => 25.4,
            Self::Um => 0.001,
            Self::Ft => 304.8,
        }
    }

    /// As it is written: `mm`, `cm`, `m`, `in`, `um` or `ft`.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Mm => "mm",
            Self::Cm => "cm",
            Self::M => "m",
            Self::In => "in",
            Self::Um => "um",
            Self::Ft => "ft",
        }
    }
}

impl fmt::Display for LengthUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.symbol())
    }
}

/// The text is no unit of length.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no unit of a mesh; expected mm, cm, m, in, um or ft")]
pub struct UnknownUnit(String);

impl FromStr for LengthUnit {
    type Err = UnknownUnit;

    /// Reads the symbol, in either case.
    fn from_str(text: &str) -> Result<Self, UnknownUnit> {
        Self::ALL
            .into_iter()
            .find(|unit| unit.symbol().eq_ignore_ascii_case(text.trim()))
            .ok_or_else(|| UnknownUnit(text.to_owned()))
    }
}

/// Under this largest extent, in mm, a thing is no plausible print.
const SMALLEST_PRINT_MM: f64 = 5.0;
/// Over this largest extent, in mm, a thing is no plausible print.
pub(super) const LARGEST_PRINT_MM: f64 = 2000.0;

/// A size that no print has: most likely the unit is another.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("its longest side is {} mm, {}; expected 5 mm to 2 m: give the unit of the file (mm, cm, m or in)", three_digits(*.largest_mm), self.words())]
pub struct SizeDoubt {
    /// The largest of the three extents, in mm.
    pub largest_mm: f64,
}

impl SizeDoubt {
    /// The size beside a thing that everybody knows: "as tall as a door".
    pub fn words(&self) -> &'static str {
        size_beside(self.largest_mm)
    }
}

/// A size, its largest side in mm, beside a thing that everybody knows: "as
/// large as a fist".
pub fn size_beside(largest_mm: f64) -> &'static str {
    const UP_TO_MM: [(f64, &str); 15] = [
        (0.1, "as thin as a hair"),
        (1.0, "as small as a grain of sand"),
        (SMALLEST_PRINT_MM, "as small as a peppercorn"),
        (15.0, "as small as a fingernail"),
        (40.0, "as small as a walnut"),
        (70.0, "as large as an egg"),
        (130.0, "as large as a fist"),
        (220.0, "as long as a hand"),
        (350.0, "as long as a shoe"),
        (600.0, "as long as an arm"),
        (1000.0, "as tall as a table"),
        (LARGEST_PRINT_MM, "as tall as a person"),
        (2500.0, "as tall as a door"),
        (6000.0, "as long as a car"),
        (15_000.0, "as long as a bus"),
    ];
    UP_TO_MM
        .iter()
        .find(|(limit, _)| largest_mm <= *limit)
        .map_or("as large as a church or larger", |(_, words)| words)
}

/// Whether a thing of this size (x, y, z in mm) can be a print: its largest
/// extent is from 5 mm to 2 m.
///
/// # Errors
/// [`SizeDoubt`] if not, also for a size that is no number: the unit should
/// then be asked for.
pub fn plausible_print(size_mm: [f64; 3]) -> Result<(), SizeDoubt> {
    let largest_mm = size_mm.into_iter().fold(0.0, f64::max);
    if (SMALLEST_PRINT_MM..=LARGEST_PRINT_MM).contains(&largest_mm) {
        Ok(())
    } else {
        Err(SizeDoubt { largest_mm })
    }
}

/// A positive number with three digits that count, without an exponent.
pub(crate) fn three_digits(number: f64) -> String {
    let before_point = number.log10().floor().clamp(-9.0, 2.0) as i32;
    format!("{number:.*}", (2 - before_point) as usize)
}
