//! Local time, for showing and for typing `19:40`; never for storing.

use std::fmt;

use time::{Date, OffsetDateTime, Time, UtcOffset};
use tz::TimeZoneRef;

use super::{Instant, InstantError};

/// A time zone of the IANA database, by its name.
#[derive(Clone, Copy)]
pub struct Zone {
    name: &'static str,
    rules: TimeZoneRef<'static>,
}

/// A zone name that the database does not have.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{found}` is no time zone of the IANA database; {nearest}")]
pub struct ZoneError {
    found: String,
    nearest: String,
}

/// An instant as a clock on the wall shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LocalTime(OffsetDateTime);

impl Zone {
    /// Universal time.
    pub const UTC: Self = Self {
        name: "UTC",
        rules: TimeZoneRef::utc(),
    };

    /// The zone with this IANA name (`Europe/Berlin`), case aside.
    ///
    /// # Errors
    /// When the database has no such zone; the nearest name is told.
    pub fn named(name: &str) -> Result<Self, ZoneError> {
        let known = tzdb::raw_tz_by_name(name)
            .and(tzdb::TZ_NAMES.iter().find(|n| n.eq_ignore_ascii_case(name)));
        match (known, tzdb::tz_by_name(name)) {
            (Some(name), Some(rules)) => Ok(Self { name, rules }),
            _ => Err(ZoneError {
                found: name.chars().take(60).flat_map(char::escape_debug).collect(),
                nearest: tzdb::TZ_NAMES
                    .iter()
                    .max_by(|a, b| {
                        strsim::jaro_winkler(a, name).total_cmp(&strsim::jaro_winkler(b, name))
                    })
                    .map_or_else(String::new, |near| format!("did you mean {near}?")),
            }),
        }
    }

    /// Its IANA name.
    pub fn name(self) -> &'static str {
        self.name
    }

    fn offset_at(self, instant: Instant) -> UtcOffset {
        self.rules
            .find_local_time_type(instant.unix_ms().div_euclid(1000))
            .ok()
            .and_then(|kind| UtcOffset::from_whole_seconds(kind.ut_offset()).ok())
            .unwrap_or(UtcOffset::UTC)
    }

    /// What the clock on the wall shows at `instant`.
    pub fn local(self, instant: Instant) -> LocalTime {
        LocalTime(instant.utc().to_offset(self.offset_at(instant)))
    }

    /// Reads an instant as a person types it: RFC 3339, `-12min` before `now`,
    /// or `19:40`, the latest one not after `now`.
    ///
    /// # Errors
    /// When the text is none of these.
    pub fn instant(self, text: &str, now: Instant) -> Result<Instant, InstantError> {
        let wrong = || InstantError(text.chars().take(60).flat_map(char::escape_debug).collect());
        let text = text.trim();
        if let Some(ago) = text.strip_prefix('-') {
            let ago: super::Duration = ago.parse().map_err(|_no_span| wrong())?;
            return Ok(now - ago);
        }
        match clock_time(text) {
            Some(time) => self.latest(time, now).ok_or_else(wrong),
            None => text.parse(),
        }
    }

    /// Reads what a clock on the wall showed, as a data logger writes it:
    /// `2026-03-01 19:40:07`, seconds with or without a fraction, a `T` or a
    /// blank between. Of an hour that comes twice, the first one not before
    /// `not_before` is meant.
    ///
    /// # Errors
    /// When the text is none, or the clock never showed that.
    pub fn wall_clock(
        self,
        text: &str,
        not_before: Option<Instant>,
    ) -> Result<Instant, InstantError> {
        let wrong = || InstantError(text.chars().take(60).flat_map(char::escape_debug).collect());
        let (second, fraction) = text.split_once('.').unwrap_or((text, ""));
        let (date, clock) = second.split_once([' ', 'T']).ok_or_else(wrong)?;
        let format = time::macros::format_description!("[year]-[month]-[day]");
        let date = Date::parse(date, format).map_err(|_no_date| wrong())?;
        let clock = clock_time(clock.trim_start()).ok_or_else(wrong)?;
        if !fraction.bytes().all(|b| b.is_ascii_digit()) {
            return Err(wrong());
        }
        let part: f64 = format!("0.{fraction}0").parse().unwrap_or(0.0);
        let mut shown = self
            .instants_of(date, clock)
            .into_iter()
            .map(|i| i.plus_seconds(part));
        let first = shown.next().ok_or_else(wrong)?;
        let fits = |i: &Instant| not_before.is_none_or(|before| before <= *i);
        Ok(Some(first)
            .filter(fits)
            .or(shown.find(fits))
            .unwrap_or(first))
    }

    /// The latest instant not after `now` at which the wall clock shows
    /// `time`. Around a change of clocks a time may be missing (the search
    /// goes on a day back) or come twice (the later one past is taken).
    fn latest(self, time: Time, now: Instant) -> Option<Instant> {
        let today = self.local(now).0.date();
        let mut day = Some(today);
        for _ in 0..3 {
            let found = day.and_then(|d| {
                self.instants_of(d, time)
                    .into_iter()
                    .filter(|i| *i <= now)
                    .max()
            });
            if found.is_some() {
                return found;
            }
            day = day.and_then(Date::previous_day);
        }
        None
    }

    /// Every instant at which this zone's clock shows `date` and `time`.
    fn instants_of(self, date: Date, time: Time) -> Vec<Instant> {
        let as_utc = date.with_time(time).assume_utc().unix_timestamp() * 1000;
        let mut found: Vec<Instant> = [-26, -12, 0, 12, 26]
            .iter()
            .map(|h| self.offset_at(Instant::from_unix_ms(as_utc + h * 3_600_000)))
            .map(|offset| Instant::from_unix_ms(as_utc - i64::from(offset.whole_seconds()) * 1000))
            .filter(|i| {
                let local = self.local(*i).0;
                local.date() == date && local.time() == time
            })
            .collect();
        found.sort();
        found.dedup();
        found
    }
}

/// `19:40` or `19:40:30`.
fn clock_time(text: &str) -> Option<Time> {
    let parts: Vec<&str> = text.split(':').collect();
    let digits = |s: &&str| (1..=2).contains(&s.len()) && s.bytes().all(|b| b.is_ascii_digit());
    if !(2..=3).contains(&parts.len()) || !parts.iter().all(digits) {
        return None;
    }
    let mut numbers = parts.iter().filter_map(|p| p.parse::<u8>().ok());
    Time::from_hms(
        numbers.next()?,
        numbers.next()?,
        numbers.next().unwrap_or(0),
    )
    .ok()
}

impl fmt::Debug for Zone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Zone").field(&self.name).finish()
    }
}

impl serde::Serialize for Zone {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name)
    }
}

impl<'de> serde::Deserialize<'de> for Zone {
    fn deserialize<S: serde::Deserializer<'de>>(deserializer: S) -> Result<Self, S::Error> {
        let name = <std::borrow::Cow<'de, str>>::deserialize(deserializer)?;
        Self::named(&name).map_err(serde::de::Error::custom)
    }
}

impl PartialEq for Zone {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

impl LocalTime {
    /// `19:40`.
    pub fn clock(self) -> String {
        format!("{:02}:{:02}", self.0.hour(), self.0.minute())
    }

    /// `19:40:07`.
    pub fn clock_seconds(self) -> String {
        format!("{}:{:02}", self.clock(), self.0.second())
    }

    /// `2026-03-01`.
    pub fn date(self) -> String {
        format!(
            "{:04}-{:02}-{:02}",
            self.0.year(),
            u8::from(self.0.month()),
            self.0.day()
        )
    }

    /// `Sun 1 Mar`.
    pub fn day(self) -> String {
        let weekday = self.0.weekday().to_string();
        let month = self.0.month().to_string();
        format!("{} {} {}", head(&weekday), self.0.day(), head(&month))
    }

    /// How a time is told beside `now`: `19:40` on the same day, `Sun 19:40`
    /// within six days, else the date too.
    pub fn beside(self, now: Self) -> String {
        let days = (self.0.date() - now.0.date()).whole_days();
        match days {
            0 => self.clock(),
            -6..=6 => format!("{} {}", head(&self.0.weekday().to_string()), self.clock()),
            _ => format!("{} {}", self.day(), self.clock()),
        }
    }
}

fn head(word: &str) -> String {
    word.chars().take(3).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Instant {
        text.parse().unwrap()
    }

    #[test]
    fn a_clock_time_is_the_latest_one_past() {
        let berlin = Zone::named("Europe/Berlin").unwrap();
        // Berlin is UTC+1 in winter.
        let now = at("2026-01-10T20:00:00Z");
        assert_eq!(
            berlin.instant("19:40", now).unwrap(),
            at("2026-01-10T18:40:00Z")
        );
        assert_eq!(
            berlin.instant("21:40", now).unwrap(),
            at("2026-01-09T20:40:00Z")
        );
        assert_eq!(
            berlin.instant("-12min", now).unwrap(),
            at("2026-01-10T19:48:00Z")
        );
        assert!(berlin.instant("25:00", now).is_err());
        assert!(berlin.instant("-12", now).is_err());
    }

    #[test]
    fn clock_changes_are_taken_from_the_zone_database() {
        // EU directive 2000/84/EC: clocks go to summer time on the last Sunday
        // of March at 01:00 UTC and back on the last Sunday of October at 01:00 UTC.
        let berlin = Zone::named("europe/berlin").unwrap();
        assert_eq!(berlin.local(at("2026-03-29T00:59:59Z")).clock(), "01:59");
        assert_eq!(berlin.local(at("2026-03-29T01:00:00Z")).clock(), "03:00");
        // 02:30 does not exist that night: the one of the day before is meant.
        assert_eq!(
            berlin.instant("2:30", at("2026-03-29T10:00:00Z")).unwrap(),
            at("2026-03-28T01:30:00Z")
        );
        // 02:30 comes twice in October: the later one past.
        assert_eq!(
            berlin.instant("2:30", at("2026-10-25T10:00:00Z")).unwrap(),
            at("2026-10-25T01:30:00Z")
        );
        assert_eq!(
            berlin.instant("2:30", at("2026-10-25T00:45:00Z")).unwrap(),
            at("2026-10-25T00:30:00Z")
        );
    }

    #[test]
    fn a_logger_clock_is_read_in_its_zone() {
        let berlin = Zone::named("Europe/Berlin").unwrap();
        let read =
            |text: &str, not_before: Option<&str>| berlin.wall_clock(text, not_before.map(at)).ok();
        let winter = Some(at("2026-01-10T18:40:07.25Z"));
        assert_eq!(read("2026-01-10 19:40:07.25", None), winter);
        assert_eq!(read("2026-01-10T19:40:07.250", None), winter);
        // The hour that comes twice, see the test above.
        let twice = "2026-10-25 02:30:00";
        let (first, second) = ("2026-10-25T00:30:00Z", "2026-10-25T01:30:00Z");
        assert_eq!(read(twice, None), Some(at(first)));
        assert_eq!(read(twice, Some(first)), Some(at(first)));
        assert_eq!(read(twice, Some("2026-10-25T00:59:00Z")), Some(at(second)));
        // The hour that does not exist, and what is no clock at all.
        for none in [
            "2026-03-29 02:30:00",
            "2026-01-10",
            "2026-02-30 10:00:00",
            "2026-01-10 10:00:00.x",
        ] {
            assert_eq!(read(none, None), None, "{none}");
        }
    }

    #[test]
    fn an_unknown_zone_names_the_nearest() {
        let text = Zone::named("Europe/Berln").unwrap_err().to_string();
        assert!(text.contains("Europe/Berlin"), "{text}");
    }
}
