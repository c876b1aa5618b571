//! The one place that reads the time; everything else takes it as an argument.

use std::time::{SystemTime, UNIX_EPOCH};

use crate::units::{Instant, Zone};

/// Something that tells the present.
pub trait Clock: Send + Sync {
    /// The present.
    fn now(&self) -> Instant;
}

/// The machine's clock.
#[derive(Debug, Clone, Copy, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[expect(
        clippy::disallowed_methods,
        reason = "the one place that reads the machine's clock"
    )]
    fn now(&self) -> Instant {
        let since = SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .unwrap_or_default();
        Instant::from_unix_ms(i64::try_from(since.as_millis()).unwrap_or(i64::MAX))
    }
}

/// A clock that stands at an instant: for `--now` and for tests.
impl Clock for Instant {
    fn now(&self) -> Instant {
        *self
    }
}

/// A clock that runs so many seconds ahead of another: `--now` on the screen.
pub(crate) struct Ahead<'a> {
    /// The clock that it runs with.
    pub(crate) clock: &'a dyn Clock,
    /// Seconds; negative while it runs behind.
    pub(crate) by: f64,
}

impl Clock for Ahead<'_> {
    fn now(&self) -> Instant {
        self.clock.now().plus_seconds(self.by)
    }
}

/// The time zone that this machine is set to; UTC where it does not say.
pub fn local_zone() -> Zone {
    iana_time_zone::get_timezone()
        .ok()
        .and_then(|name| Zone::named(&name).ok())
        .unwrap_or(Zone::UTC)
}
