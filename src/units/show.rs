//! Numbers as text: for files (exact), for screens (rounded), and clocks.

use serde::{Deserialize, Serialize};

use super::{
    A_DM2, A_FT2, Area, AreaDim, CELSIUS, CurrentDensity, DM2, DensityDim, FAHRENHEIT, FT2, Length,
    LengthDim, MIL, Temperature, TemperatureDim, UM, Unit,
};

/// Which units the screen shows. Files and scripts always name their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum System {
    /// µm, dm², A/dm², °C.
    #[default]
    Metric,
    /// mil, ft², A/ft², °F.
    Imperial,
}

impl System {
    /// The unit thickness is shown in.
    pub fn thickness(self) -> Unit<LengthDim> {
        if self == Self::Metric { UM } else { MIL }
    }

    /// The unit area is shown in.
    pub fn area(self) -> Unit<AreaDim> {
        if self == Self::Metric { DM2 } else { FT2 }
    }

    /// The unit current density is shown in.
    pub fn density(self) -> Unit<DensityDim> {
        if self == Self::Metric { A_DM2 } else { A_FT2 }
    }

    /// The unit temperature is shown in.
    pub fn temperature(self) -> Unit<TemperatureDim> {
        if self == Self::Metric {
            CELSIUS
        } else {
            FAHRENHEIT
        }
    }

    /// A thickness to three significant digits.
    pub fn show_thickness(self, value: Length) -> String {
        value.shown(self.thickness(), 3)
    }

    /// An area to three significant digits.
    pub fn show_area(self, value: Area) -> String {
        value.shown(self.area(), 3)
    }

    /// A current density to two significant digits.
    pub fn show_density(self, value: CurrentDensity) -> String {
        value.shown(self.density(), 2)
    }

    /// A temperature to three significant digits.
    pub fn show_temperature(self, value: Temperature) -> String {
        value.shown(self.temperature(), 3)
    }
}

/// A number for files: at most twelve significant digits, no exponent, so that
/// what was typed comes back as typed (`6.84`, not `6.840000000000001`).
pub fn plain(value: f64) -> String {
    let rounded = rounded(value, 12);
    if rounded == 0.0 {
        "0".to_owned()
    } else {
        rounded.to_string()
    }
}

/// `value` rounded to `digits` significant digits.
pub fn rounded(value: f64, digits: usize) -> f64 {
    if !value.is_finite() {
        return value;
    }
    format!("{value:.*e}", digits.saturating_sub(1))
        .parse()
        .unwrap_or(value)
}

/// The most decimals on the screen, and what shows on the last of them.
const FINEST: i32 = 5;
const FINEST_SHOWN: f64 = 5e-6;

/// A number for the screen: `digits` significant digits kept aligned by
/// keeping their zeros (`40.0`, `6.84`, `0.052`), never an exponent, and at
/// most five decimals: what is smaller than the last of them is nothing.
pub fn number(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return "?".to_owned();
    }
    let value = if value.abs() < FINEST_SHOWN {
        0.0
    } else {
        rounded(value, digits)
    };
    let magnitude = if value == 0.0 {
        0
    } else {
        value.abs().log10().floor() as i32
    };
    let wanted = i32::try_from(digits).unwrap_or(9);
    let decimals = (wanted - 1 - magnitude).clamp(0, FINEST) as usize;
    format!("{value:.decimals$}")
}

/// A span of seconds as a person reads it on a clock: `58 s`, `12 min`,
/// `3 h 05`, `2 d 04 h`. The sign is left to the words around it.
pub fn clock_span(seconds: f64) -> String {
    let total = seconds.abs().round() as u64;
    let (minutes, hours, days) = (total / 60, total / 3600, total / 86400);
    if total < 60 {
        format!("{total} s")
    } else if hours == 0 {
        format!("{minutes} min")
    } else if days < 2 {
        format!("{hours} h {:02}", minutes % 60)
    } else {
        format!("{days} d {:02} h", hours % 24)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_their_significant_digits() {
        assert_eq!(number(40.0, 3), "40.0");
        assert_eq!(number(6.842, 3), "6.84");
        assert_eq!(number(0.0523, 2), "0.052");
        assert_eq!(number(1234.0, 3), "1230");
        assert_eq!(number(0.0, 3), "0.00");
        assert_eq!(number(9.999, 3), "10.0");
        assert_eq!(number(f64::NAN, 3), "?");
        assert_eq!(number(0.00123, 3), "0.00123");
        assert_eq!(number(0.000_209_4, 3), "0.00021");
        assert_eq!(number(0.000_008_6, 2), "0.00001");
        assert_eq!(number(-0.000_000_086, 3), "0.00");
        assert_eq!(plain(0.1 + 0.2), "0.3");
        assert_eq!(plain(-0.0), "0");
    }

    #[test]
    fn spans_read_like_a_clock() {
        assert_eq!(clock_span(58.2), "58 s");
        assert_eq!(clock_span(720.0), "12 min");
        assert_eq!(clock_span(3.0 * 3600.0 + 300.0), "3 h 05");
        assert_eq!(clock_span(-(2.0 * 86400.0 + 4.0 * 3600.0)), "2 d 04 h");
    }
}
