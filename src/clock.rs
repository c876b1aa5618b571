//! The one place that reads the time; everything else takes it as an argument.

use std::time::{SystemTime, UNIX_EPOCH};

use crate::units::Instant;

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
