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

/// A part of long work, as its whole is watched.
#[derive(Clone, Copy)]
pub struct Part<'a> {
    /// Who waits for the whole.
    pub whole: &'a dyn Watch,
    /// The share of the whole that is done before this part, 0 to 1.
    pub from: f64,
    /// The share that is done after it.
    pub to: f64,
}

impl std::fmt::Debug for Part<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Part({} to {})", self.from, self.to)
    }
}

impl Watch for Part<'_> {
    fn at(&self, step: &'static str, done: f64) {
        let whole = self.from + (self.to - self.from) * done.clamp(0.0, 1.0);
        self.whole.at(step, whole);
    }

    fn stopped(&self) -> bool {
        self.whole.stopped()
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
