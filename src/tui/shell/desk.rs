//! What the threads for long work share: one thing at a time, the newest alone,
//! and the screen told how far it is.

use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender};
use std::time::Duration;

use super::inbox::Incoming;
use crate::tui::app::Message;
use crate::units::Watch;

/// How often the files of what was done last are looked at for changes.
const FOLLOW: Duration = Duration::from_secs(1);

/// Does one job after the other and tells what comes of it, until nobody asks or
/// listens. Without a job, `next` looks whether what was done last still holds.
pub(super) fn work<J>(
    todo: &Receiver<J>,
    tell: &Sender<Incoming>,
    mut next: impl FnMut(Option<J>) -> Option<Message>,
) {
    loop {
        let message = match todo.recv_timeout(FOLLOW) {
            Ok(job) => next(Some(job)),
            Err(RecvTimeoutError::Timeout) => next(None),
            Err(RecvTimeoutError::Disconnected) => return,
        };
        if let Some(message) = message
            && tell.send(Incoming::Message(message)).is_err()
        {
            return;
        }
    }
}

/// Tells the screen how far a job is, a percent at a time, and stops it once
/// another is wanted.
pub(super) struct Waiting<'w> {
    wanted: &'w AtomicU64,
    number: u64,
    /// Where it is told, which step was told last, and how many percent.
    told: Mutex<(Sender<Incoming>, &'static str, u8)>,
    say: &'w (dyn Fn(&'static str, f64) -> Message + Sync),
}

impl<'w> Waiting<'w> {
    /// For the job of this number; `say` is the message of a step and the share
    /// that is done.
    pub(super) fn new(
        wanted: &'w AtomicU64,
        number: u64,
        tell: &Sender<Incoming>,
        say: &'w (dyn Fn(&'static str, f64) -> Message + Sync),
    ) -> Self {
        Self {
            wanted,
            number,
            told: Mutex::new((tell.clone(), "", 0)),
            say,
        }
    }
}

impl Watch for Waiting<'_> {
    fn at(&self, step: &'static str, done: f64) {
        // Where another thread tells just now, it is told next time.
        let Ok(mut told) = self.told.try_lock() else {
            return;
        };
        let percent = (done * 100.0).clamp(0.0, 100.0) as u8;
        if (told.1, told.2) != (step, percent) && !self.stopped() {
            (told.1, told.2) = (step, percent);
            let message = (self.say)(step, done);
            // Where the loop has gone, nobody listens.
            let _loop_gone = told.0.send(Incoming::Message(message));
        }
    }

    fn stopped(&self) -> bool {
        self.wanted.load(Ordering::SeqCst) != self.number
    }
}
