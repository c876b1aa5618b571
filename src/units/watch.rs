//! The handle that long work takes: it tells how far it is and asks whether to
//! go on.

/// Who waits for long work.
///
/// Called from several threads, a few times a second at most, so it has to be
/// quick and may not block.
pub trait Watch: Sync {
    /// The work is at this step, in plain words, and this share of the whole is
    /// done (0 to 1, never less than before).
    fn at(&self, step: &'static str, done: f64);

    /// Whether to stop: the work ends soon after with [`Stopped`].
    fn stopped(&self) -> bool;
}

/// Nobody waits and nobody stops it.
#[derive(Debug, Clone, Copy, Default)]
pub struct Unwatched;

impl Watch for Unwatched {
    fn at(&self, _step: &'static str, _done: f64) {}

    fn stopped(&self) -> bool {
        false
    }
}

/// The work was stopped before its end, as asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("stopped before the end")]
pub struct Stopped;

/// [`Stopped`] if `watch` says so; otherwise it is told where the work is.
///
/// # Errors
/// [`Stopped`] as asked.
pub fn go_on(watch: &dyn Watch, step: &'static str, done: f64) -> Result<(), Stopped> {
    if watch.stopped() {
        return Err(Stopped);
    }
    watch.at(step, done);
    Ok(())
}
