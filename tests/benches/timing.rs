//! What benches share: real time, the most memory, a row with a ratio.

use std::time::Instant;

/// Seconds that it took, and what came of it.
#[expect(clippy::disallowed_methods, reason = "a bench measures real time")]
pub(crate) fn timed<T>(act: impl FnOnce() -> T) -> (f64, T) {
    let begun = Instant::now();
    let done = act();
    (begun.elapsed().as_secs_f64(), done)
}

/// The shortest of three times, in seconds, and what came of it.
pub(crate) fn shortest<T>(act: impl Fn() -> T) -> (f64, T) {
    let (mut best, mut done) = timed(&act);
    for _ in 0..2 {
        let (seconds, again) = timed(&act);
        if seconds < best {
            (best, done) = (seconds, again);
        }
    }
    (best, done)
}

/// Prints a time, and how often it is as long as another.
pub(crate) fn row(what: &str, seconds: f64, than: f64, note: &str) {
    println!(
        "{what:<44} {:>10.1} ms {:>8.2}x  {note}",
        seconds * 1e3,
        seconds / than
    );
}

/// The most memory that this process had, in MB; Linux alone tells.
pub(crate) fn peak_mb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))?;
    let kilobytes: f64 = line.trim().trim_end_matches(" kB").trim().parse().ok()?;
    Some(kilobytes / 1024.0)
}
