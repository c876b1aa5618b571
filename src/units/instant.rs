//! Instants: UTC, to the millisecond; a timer is a subtraction of two.

use std::fmt;
use std::ops::{Add, Sub};
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

use super::Duration;

/// A point in time, UTC. Journals hold these; local time is only for showing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Instant {
    unix_ms: i64,
}

/// Text that is no instant.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no instant: write 2026-03-01T19:40:00Z, 19:40 or -12min")]
pub struct InstantError(pub String);

/// Years 1970 to 9999: what RFC 3339 can write.
const LATEST_MS: i64 = 253_402_300_799_999;

impl Instant {
    /// The instant so many milliseconds after 1970-01-01T00:00:00Z, kept
    /// within what RFC 3339 can write (years 1970 to 9999).
    pub fn from_unix_ms(unix_ms: i64) -> Self {
        Self {
            unix_ms: unix_ms.clamp(0, LATEST_MS),
        }
    }

    /// Milliseconds since 1970-01-01T00:00:00Z.
    pub fn unix_ms(self) -> i64 {
        self.unix_ms
    }

    /// Seconds from `earlier` to this; negative when this is the earlier one.
    pub fn since(self, earlier: Self) -> f64 {
        (self.unix_ms - earlier.unix_ms) as f64 / 1000.0
    }

    /// Seconds from `earlier` to this, or 0 when the clock went back.
    pub fn elapsed_since(self, earlier: Self) -> f64 {
        self.since(earlier).max(0.0)
    }

    /// This moved by seconds, which may be negative.
    pub fn plus_seconds(self, seconds: f64) -> Self {
        Self::from_unix_ms(
            self.unix_ms
                .saturating_add((seconds * 1000.0).round() as i64),
        )
    }

    pub(super) fn utc(self) -> OffsetDateTime {
        OffsetDateTime::from_unix_timestamp_nanos(i128::from(self.unix_ms) * 1_000_000)
            .unwrap_or(OffsetDateTime::UNIX_EPOCH)
    }
}

impl Add<Duration> for Instant {
    type Output = Self;
    fn add(self, span: Duration) -> Self {
        self.plus_seconds(span.si())
    }
}

impl Sub<Duration> for Instant {
    type Output = Self;
    fn sub(self, span: Duration) -> Self {
        self.plus_seconds(-span.si())
    }
}

impl fmt::Display for Instant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = self
            .utc()
            .format(&Rfc3339)
            .map_err(|_unwritable| fmt::Error)?;
        f.pad(&text)
    }
}

impl FromStr for Instant {
    type Err = InstantError;

    /// Reads RFC 3339 with any offset.
    ///
    /// # Errors
    /// When the text is not RFC 3339 or lies outside the years 1970 to 9999.
    fn from_str(text: &str) -> Result<Self, InstantError> {
        let wrong = || InstantError(text.chars().take(60).flat_map(char::escape_debug).collect());
        let parsed =
            OffsetDateTime::parse(text.trim(), &Rfc3339).map_err(|_not_rfc3339| wrong())?;
        let ms =
            i64::try_from(parsed.unix_timestamp_nanos() / 1_000_000).map_err(|_too_far| wrong())?;
        if (0..=LATEST_MS).contains(&ms) {
            Ok(Self { unix_ms: ms })
        } else {
            Err(wrong())
        }
    }
}

/// People read it as RFC 3339, programs as milliseconds since 1970.
impl Serialize for Instant {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if serializer.is_human_readable() {
            serializer.collect_str(self)
        } else {
            serializer.serialize_i64(self.unix_ms)
        }
    }
}

impl<'de> Deserialize<'de> for Instant {
    fn deserialize<S: Deserializer<'de>>(deserializer: S) -> Result<Self, S::Error> {
        if !deserializer.is_human_readable() {
            return i64::deserialize(deserializer).map(Self::from_unix_ms);
        }
        let text = <std::borrow::Cow<'de, str>>::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rfc3339_goes_in_and_out() {
        // Examples of RFC 3339, section 5.8.
        let a: Instant = "1985-04-12T23:20:50.52Z".parse().unwrap();
        assert_eq!(a.to_string(), "1985-04-12T23:20:50.52Z");
        let b: Instant = "1996-12-19T16:39:57-08:00".parse().unwrap();
        assert_eq!(b.to_string(), "1996-12-20T00:39:57Z");
        assert!("yesterday".parse::<Instant>().is_err());
        assert!("2026-02-30T00:00:00Z".parse::<Instant>().is_err());
    }

    #[test]
    fn nothing_goes_negative_when_the_clock_goes_back() {
        let a: Instant = "2026-03-01T20:00:00Z".parse().unwrap();
        let b = a.plus_seconds(-600.0);
        assert!(b.since(a) < 0.0);
        assert!(b.elapsed_since(a) == 0.0);
    }
}
