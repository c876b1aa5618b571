//! Typed quantities: one generic type, one table of units per dimension.

use std::cmp::Ordering;
use std::fmt;
use std::marker::PhantomData;
use std::ops::{Add, Div, Mul, Sub};
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::show::plain;

/// A physical dimension: its name for messages and the units it is read in.
pub trait Dimension: Copy + fmt::Debug + 'static {
    /// What a person calls it ("an area").
    const NAME: &'static str;
    /// Every unit that is understood; the first is the one files are written in.
    const UNITS: &'static [Unit<Self>];
    /// Whether a value below zero makes sense.
    const SIGNED: bool = false;
}

/// One unit of a dimension: `si = value * factor + offset`.
#[derive(Debug, Clone, Copy)]
pub struct Unit<D> {
    /// How it is written after the number, without a space.
    pub symbol: &'static str,
    factor: f64,
    offset: f64,
    dimension: PhantomData<D>,
}

impl<D: Dimension> Unit<D> {
    const fn shifted(symbol: &'static str, factor: f64, offset: f64) -> Self {
        Self {
            symbol,
            factor,
            offset,
            dimension: PhantomData,
        }
    }

    /// The quantity of `value` of this unit.
    pub const fn of(self, value: f64) -> Quantity<D> {
        Quantity::from_si(value * self.factor + self.offset)
    }
}

/// A quantity of dimension `D`, held in SI.
pub struct Quantity<D> {
    si: f64,
    dimension: PhantomData<D>,
}

impl<D> Clone for Quantity<D> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<D> Copy for Quantity<D> {}

impl<D> PartialEq for Quantity<D> {
    fn eq(&self, other: &Self) -> bool {
        self.si.total_cmp(&other.si) == Ordering::Equal
    }
}

impl<D> PartialOrd for Quantity<D> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        self.si.partial_cmp(&other.si)
    }
}

impl<D> Default for Quantity<D> {
    fn default() -> Self {
        Self::from_si(0.0)
    }
}

impl<D> Quantity<D> {
    /// The quantity with this SI value.
    pub const fn from_si(si: f64) -> Self {
        Self {
            si,
            dimension: PhantomData,
        }
    }

    /// The plain SI number, for kernels.
    pub const fn si(self) -> f64 {
        self.si
    }
}

impl<D: Dimension> Quantity<D> {
    /// The number of `unit`s in it.
    pub fn to(self, unit: Unit<D>) -> f64 {
        (self.si - unit.offset) / unit.factor
    }

    /// As files and commands write it: the dimension's first unit, no space.
    pub fn written(self) -> String {
        D::UNITS.first().map_or_else(
            || plain(self.si),
            |unit| format!("{}{}", plain(self.to(*unit)), unit.symbol),
        )
    }

    /// In the given unit, with a space, rounded to `digits` significant digits.
    pub fn shown(self, unit: Unit<D>, digits: usize) -> String {
        format!("{} {}", super::number(self.to(unit), digits), unit.symbol)
    }
}

impl<D: Dimension> fmt::Display for Quantity<D> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.written())
    }
}

impl<D: Dimension> fmt::Debug for Quantity<D> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.written())
    }
}

impl<D> Add for Quantity<D> {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::from_si(self.si + other.si)
    }
}

impl<D> Sub for Quantity<D> {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self::from_si(self.si - other.si)
    }
}

impl<D> Mul<f64> for Quantity<D> {
    type Output = Self;
    fn mul(self, by: f64) -> Self {
        Self::from_si(self.si * by)
    }
}

impl<D> Div for Quantity<D> {
    type Output = f64;
    fn div(self, by: Self) -> f64 {
        self.si / by.si
    }
}

impl<D> std::iter::Sum for Quantity<D> {
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        all.fold(Self::default(), |a, b| a + b)
    }
}

/// Text that is no quantity of the dimension wanted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{found}` is no {wanted}: {why}; write a number with one of {units}, such as {example}")]
pub struct QuantityError {
    found: String,
    wanted: &'static str,
    why: String,
    units: String,
    example: String,
}

impl<D: Dimension> FromStr for Quantity<D> {
    type Err = QuantityError;

    /// Reads `6.84dm2`, `6,84 dm2`, `1.6mil`; the unit must be there unless
    /// the dimension has a bare one (a ratio).
    ///
    /// # Errors
    /// When there is no number, no unit, an unknown unit, a value that is not
    /// finite, one below zero where that makes no sense, or a comma that may
    /// part thousands (`1,000mm2`). The message names
    /// the units that would do.
    fn from_str(text: &str) -> Result<Self, QuantityError> {
        let trimmed = text.trim();
        let (number, symbol) = split_number(trimmed);
        if could_be_thousands(number) {
            let why = "the comma may part thousands or decimals: write it with a point, or without";
            return Err(refuse::<D>(text, why));
        }
        let number = number.replacen(',', ".", 1);
        let value: f64 = number
            .parse()
            .map_err(|_not_a_number: std::num::ParseFloatError| {
                refuse::<D>(text, "there is no number")
            })?;
        let unit = unit_named::<D>(symbol.trim()).ok_or_else(|| {
            refuse::<D>(
                text,
                &if symbol.trim().is_empty() {
                    "the unit is missing".to_owned()
                } else {
                    format!("`{}` is not one of its units", symbol.trim())
                },
            )
        })?;
        let quantity = unit.of(value);
        if !quantity.si.is_finite() {
            return Err(refuse::<D>(text, "the number is too large"));
        }
        if !D::SIGNED && quantity.si < 0.0 {
            return Err(refuse::<D>(text, "it is below zero"));
        }
        Ok(quantity)
    }
}

fn refuse<D: Dimension>(found: &str, why: &str) -> QuantityError {
    let symbols: Vec<&str> = D::UNITS
        .iter()
        .map(|u| u.symbol)
        .filter(|s| !s.is_empty())
        .collect();
    QuantityError {
        found: found
            .chars()
            .take(60)
            .flat_map(char::escape_debug)
            .collect(),
        wanted: D::NAME,
        why: why.to_owned(),
        units: symbols.join(" "),
        example: format!("5{}", symbols.first().unwrap_or(&"")),
    }
}

fn unit_named<D: Dimension>(symbol: &str) -> Option<Unit<D>> {
    let ascii = symbol
        .replace(['\u{b5}', '\u{3bc}'], "u")
        .replace(['\u{3a9}', '\u{2126}'], "ohm")
        .replace('\u{b2}', "2")
        .replace('\u{b0}', "");
    D::UNITS
        .iter()
        .find(|u| u.symbol == ascii || u.symbol == symbol)
        .copied()
}

/// Whether a number is 1 to 3 digits, a comma and 3 digits: a thousand and more
/// to some, a decimal fraction to others. `0,125` is no thousand to anybody.
fn could_be_thousands(number: &str) -> bool {
    let digits = |part: &str, most: usize| {
        (1..=most).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit())
    };
    let unsigned = number.trim_start_matches(['+', '-']);
    unsigned.split_once(',').is_some_and(|(whole, rest)| {
        digits(whole, 3) && !whole.starts_with('0') && rest.len() == 3 && digits(rest, 3)
    })
}

/// Splits a text into its leading number and the rest.
fn split_number(text: &str) -> (&str, &str) {
    let bytes = text.as_bytes();
    let mut end = 0;
    while let Some(&byte) = bytes.get(end) {
        let exponent = matches!(byte, b'e' | b'E')
            && end > 0
            && bytes
                .get(end + 1)
                .is_some_and(|next| next.is_ascii_digit() || matches!(next, b'+' | b'-'));
        let sign =
            matches!(byte, b'+' | b'-') && (end == 0 || matches!(bytes[end - 1], b'e' | b'E'));
        if !(byte.is_ascii_digit() || matches!(byte, b'.' | b',') || exponent || sign) {
            break;
        }
        end += 1;
    }
    text.split_at(end)
}

/// People read it with its unit, programs as SI.
impl<D: Dimension> Serialize for Quantity<D> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if serializer.is_human_readable() {
            serializer.serialize_str(&self.written())
        } else {
            serializer.serialize_f64(self.si)
        }
    }
}

impl<'de, D: Dimension> Deserialize<'de> for Quantity<D> {
    fn deserialize<S: Deserializer<'de>>(deserializer: S) -> Result<Self, S::Error> {
        struct Visitor<D>(PhantomData<D>);
        impl<D: Dimension> serde::de::Visitor<'_> for Visitor<D> {
            type Value = Quantity<D>;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{} with its unit, in quotes", D::NAME)
            }
            fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Quantity<D>, E> {
                text.parse().map_err(E::custom)
            }
            fn visit_f64<E: serde::de::Error>(self, value: f64) -> Result<Quantity<D>, E> {
                plain(value).parse().map_err(E::custom)
            }
            fn visit_u64<E: serde::de::Error>(self, value: u64) -> Result<Quantity<D>, E> {
                value.to_string().parse().map_err(E::custom)
            }
            fn visit_i64<E: serde::de::Error>(self, value: i64) -> Result<Quantity<D>, E> {
                value.to_string().parse().map_err(E::custom)
            }
        }
        if deserializer.is_human_readable() {
            deserializer.deserialize_any(Visitor(PhantomData))
        } else {
            f64::deserialize(deserializer).map(Self::from_si)
        }
    }
}

/// Declares a dimension, its quantity type and its units in one place.
macro_rules! dimension {
    ($dim:ident, $quantity:ident, $name:literal, $signed:literal;
     $($unit:ident = $symbol:literal, $factor:expr, $offset:expr;)+) => {
        #[doc = concat!("The dimension of ", $name, ".")]
        #[derive(Debug, Clone, Copy)]
        pub enum $dim {}
        #[doc = concat!("A quantity: ", $name, ".")]
        pub type $quantity = Quantity<$dim>;
        impl Dimension for $dim {
            const NAME: &'static str = $name;
            const UNITS: &'static [Unit<Self>] = &[$($unit),+];
            const SIGNED: bool = $signed;
        }
        $(
            #[doc = concat!("The unit `", $symbol, "`.")]
            pub const $unit: Unit<$dim> = Unit::shifted($symbol, $factor, $offset);
        )+
    };
}

// Exact by definition: 1 in = 25.4 mm, 1 US gal = 3.785411784 L,
// 1 oz = 28.349523125 g (international yard and pound, 1959; NIST SP 811).
dimension!(LengthDim, Length, "length", false;
    MM = "mm", 1e-3, 0.0; UM = "um", 1e-6, 0.0; CM = "cm", 1e-2, 0.0; M = "m", 1.0, 0.0;
    IN = "in", 0.0254, 0.0; MIL = "mil", 2.54e-5, 0.0; FT = "ft", 0.3048, 0.0;);
dimension!(AreaDim, Area, "area", false;
    DM2 = "dm2", 1e-2, 0.0; CM2 = "cm2", 1e-4, 0.0; M2 = "m2", 1.0, 0.0; MM2 = "mm2", 1e-6, 0.0;
    IN2 = "in2", 6.4516e-4, 0.0; FT2 = "ft2", 0.092_903_04, 0.0;);
dimension!(VolumeDim, Volume, "volume", false;
    L = "L", 1e-3, 0.0; ML = "mL", 1e-6, 0.0; CM3 = "cm3", 1e-6, 0.0; GAL = "gal", 3.785_411_784e-3, 0.0;);
dimension!(CurrentDim, Current, "current", false;
    A = "A", 1.0, 0.0; MA = "mA", 1e-3, 0.0;);
dimension!(VoltageDim, Voltage, "voltage", false;
    V = "V", 1.0, 0.0; MV = "mV", 1e-3, 0.0;);
dimension!(ChargeDim, Charge, "charge", false;
    AH = "Ah", 3600.0, 0.0; MAH = "mAh", 3.6, 0.0; COULOMB = "C", 1.0, 0.0;);
dimension!(TemperatureDim, Temperature, "temperature", true;
    CELSIUS = "C", 1.0, 273.15; FAHRENHEIT = "F", 5.0 / 9.0, 459.67 * 5.0 / 9.0; KELVIN = "K", 1.0, 0.0;);
dimension!(MassDim, Mass, "mass", false;
    G = "g", 1e-3, 0.0; KG = "kg", 1.0, 0.0; MG = "mg", 1e-6, 0.0; OZ = "oz", 0.028_349_523_125, 0.0;);
dimension!(ResistanceDim, Resistance, "resistance", false;
    OHM = "ohm", 1.0, 0.0; KOHM = "kohm", 1e3, 0.0; MOHM = "mohm", 1e-3, 0.0;);
dimension!(DurationDim, Duration, "time", false;
    MIN = "min", 60.0, 0.0; H = "h", 3600.0, 0.0; S = "s", 1.0, 0.0; D = "d", 86400.0, 0.0;);
dimension!(RatioDim, Ratio, "share", false;
    PERCENT = "%", 0.01, 0.0; ONE = "", 1.0, 0.0;);
dimension!(DensityDim, CurrentDensity, "current density", false;
    A_DM2 = "A/dm2", 100.0, 0.0; A_FT2 = "A/ft2", 1.0 / 0.092_903_04, 0.0; MA_CM2 = "mA/cm2", 10.0, 0.0;);

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: f64, wanted: f64, rel: f64) {
        assert!(
            (found / wanted - 1.0).abs() <= rel,
            "{found} is not {wanted}"
        );
    }

    #[test]
    fn units_convert_by_their_exact_definitions() {
        // Exact unit definitions (1 in = 25.4 mm, 1 US gal = 3.785411784 L,
        // 1 oz = 28.349523125 g), NIST SP 811.
        close(A_FT2.of(1.0).to(A_DM2), 0.107_639_1, 1e-5);
        close(A_DM2.of(1.0).to(A_FT2), 9.290_304, 1e-9);
        close(MIL.of(1.0).to(UM), 25.4, 1e-12);
        close(FT2.of(1.0).to(DM2), 9.290_304, 1e-12);
        close(MA_CM2.of(1.0).to(A_DM2), 0.1, 1e-12);
        close(OZ.of(1.0).to(G) / GAL.of(1.0).to(L), 7.489_15, 1e-5);
    }

    #[test]
    fn a_temperature_has_an_offset() {
        // Fixed points of water, ITS-90 to the digits given: 32 F = 0 C, 212 F = 100 C.
        assert!((FAHRENHEIT.of(32.0).to(CELSIUS)).abs() < 1e-9);
        close(FAHRENHEIT.of(212.0).to(CELSIUS), 100.0, 1e-12);
        assert_eq!(
            "77F".parse::<Temperature>().unwrap().to(CELSIUS).round() as i32,
            25
        );
        assert_eq!("-5C".parse::<Temperature>().unwrap().written(), "-5C");
    }

    #[test]
    fn text_of_the_bench_is_read() {
        assert_eq!(
            "6.84dm2".parse::<Area>().unwrap(),
            "684 cm2".parse().unwrap()
        );
        close("106in2".parse::<Area>().unwrap().to(DM2), 6.8387, 1e-4);
        close("1,6mil".parse::<Length>().unwrap().to(UM), 40.64, 1e-12);
        close("620mA".parse::<Current>().unwrap().to(A), 0.62, 1e-12);
        close(
            "1.2kohm".parse::<Resistance>().unwrap().to(OHM),
            1200.0,
            1e-12,
        );
        close("95%".parse::<Ratio>().unwrap().si(), 0.95, 1e-12);
        close("0.95".parse::<Ratio>().unwrap().si(), 0.95, 1e-12);
        close("40\u{b5}m".parse::<Length>().unwrap().to(UM), 40.0, 1e-12);
        close("5d".parse::<Duration>().unwrap().si(), 432_000.0, 1e-12);
        close("1e3mA".parse::<Current>().unwrap().to(A), 1.0, 1e-12);
    }

    #[test]
    fn a_refusal_names_the_units_that_would_do() {
        let bare = "6.84".parse::<Area>().unwrap_err().to_string();
        assert!(
            bare.contains("unit is missing") && bare.contains("dm2 cm2 m2"),
            "{bare}"
        );
        for bad in [
            "", "dm2", "1.2.3dm2", "6.84kg", "-1dm2", "1e999dm2", "NaNdm2", "inf dm2", "--1dm2",
        ] {
            assert!(bad.parse::<Area>().is_err(), "{bad}");
        }
    }

    #[test]
    fn a_comma_that_may_part_thousands_is_refused() {
        for unclear in ["1,000mm2", "-12,345mm2", "999,999dm2"] {
            let told = unclear.parse::<Area>().unwrap_err().to_string();
            assert!(told.contains("thousands"), "{told}");
        }
        for (clear, mm2) in [
            ("1,5mm2", 1.5),
            ("0,125mm2", 0.125),
            ("1,0000mm2", 1.0),
            ("1.000mm2", 1.0),
        ] {
            close(clear.parse::<Area>().unwrap().to(MM2), mm2, 1e-12);
        }
    }

    #[test]
    fn what_is_written_reads_back_the_same() {
        for n in 1..2000 {
            let value = f64::from(n) * 0.013_7;
            let once: Area = DM2.of(value).written().parse().unwrap();
            assert_eq!(once.written().parse::<Area>().unwrap(), once);
            let once: Charge = AH.of(value).written().parse().unwrap();
            assert_eq!(once.written().parse::<Charge>().unwrap(), once);
            let once: Temperature = FAHRENHEIT.of(value).written().parse().unwrap();
            assert_eq!(once.written().parse::<Temperature>().unwrap(), once);
        }
    }
}
