//! What reaches the loop, and the threads that wait for it.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread;

use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGQUIT, SIGTERM, SIGTSTP, SIGTTIN, SIGWINCH};
use signal_hook::iterator::Handle;

use super::keys::translate;
use crate::store::StoreError;
use crate::tui::app::{Failure, Message, Notice};

/// What reaches the loop.
#[derive(Debug)]
pub(super) enum Incoming {
    /// For the model.
    Message(Message),
    /// For the model, from the reader, which waits for [`Reader::go_on`].
    Typed(Message),
    /// A notice that still stands is to go out; whether the user's own
    /// program is to be started for it here.
    Ring(Box<Notice>, bool),
    /// The editor is closed.
    Edited(Result<(), Failure>),
    /// The terminal has another size.
    Resized,
    /// Ctrl-C, or a signal to end.
    Leave,
    /// Another program asks this one to stop until it is continued.
    Stop,
    /// The program runs again after it was stopped.
    Continued,
    /// The terminal cannot be read.
    TerminalFailed(io::Error),
    /// The folder that a first look was had at cannot be opened.
    Unopened(StoreError),
    /// A thread that fills the inbox has ended by itself.
    WorkerGone,
}

/// Goes along with a thread that fills the inbox and tells when it ends, so
/// that the loop never waits for one that panicked.
pub(super) struct Ending(pub(super) Sender<Incoming>);

impl Drop for Ending {
    fn drop(&mut self) {
        // Where the loop has gone first, nobody listens.
        let _loop_gone = self.0.send(Incoming::WorkerGone);
    }
}

/// The thread that reads the terminal. It reads one event and waits until
/// that is dealt with, so nothing reads the terminal while an editor has it.
///
/// The thread is never joined: it may block in a read, and a terminal that
/// was closed keeps it busy for ever. It ends with the program.
pub(super) struct Reader {
    go_on: Sender<()>,
}

impl Reader {
    pub(super) fn start(tell: Sender<Incoming>) -> io::Result<Self> {
        let (go_on, dealt_with) = mpsc::channel();
        thread::Builder::new()
            .name("reader".to_owned())
            .spawn(move || {
                let ending = Ending(tell);
                read(&ending.0, &dealt_with);
            })?;
        Ok(Self { go_on })
    }

    /// Lets the reader read the next event.
    pub(super) fn go_on(&self) {
        // A reader that has ended has told why.
        let _ended = self.go_on.send(());
    }
}

fn read(tell: &Sender<Incoming>, dealt_with: &Receiver<()>) {
    loop {
        let incoming = match crossterm::event::read() {
            Ok(event) => match translate(event) {
                Some(incoming) => incoming,
                None => continue,
            },
            Err(error) => Incoming::TerminalFailed(error),
        };
        if tell.send(incoming).is_err() || dealt_with.recv().is_err() {
            return;
        }
    }
}

/// The thread that waits for signals.
pub(super) struct Signals {
    handle: Handle,
    lent: Arc<AtomicBool>,
}

impl Signals {
    pub(super) fn watch(tell: Sender<Incoming>) -> io::Result<Self> {
        let mut signals = signal_hook::iterator::Signals::new([
            SIGTERM, SIGHUP, SIGINT, SIGQUIT, SIGTSTP, SIGCONT, SIGWINCH,
        ])?;
        let handle = signals.handle();
        let lent = Arc::new(AtomicBool::new(false));
        let is_lent = Arc::clone(&lent);
        thread::Builder::new()
            .name("signals".to_owned())
            .spawn(move || {
                let ending = Ending(tell);
                for signal in signals.forever() {
                    let incoming = match (signal, is_lent.load(Ordering::SeqCst)) {
                        (SIGCONT | SIGINT | SIGQUIT, true) => continue,
                        (SIGTSTP, true) => match stop() {
                            Ok(()) => continue,
                            Err(error) => Incoming::TerminalFailed(error),
                        },
                        (SIGTSTP, false) => Incoming::Stop,
                        (SIGWINCH, _) => Incoming::Resized,
                        (SIGCONT, false) => Incoming::Continued,
                        _ => Incoming::Leave,
                    };
                    if ending.0.send(incoming).is_err() {
                        return;
                    }
                }
            })?;
        Ok(Self { handle, lent })
    }

    /// Says that the terminal is lent to another program, whose Ctrl-C, Ctrl-\
    /// and `fg` are not ours; with its Ctrl-Z all of the job stops.
    pub(super) fn lend(&self, lent: bool) {
        self.lent.store(lent, Ordering::SeqCst);
    }
}

impl Drop for Signals {
    fn drop(&mut self) {
        self.handle.close();
    }
}

/// Stops the program until it is continued. Where nobody could continue it
/// (no shell with job control), the system lets it run on: SIGSTOP would stop
/// it for ever, and SIGTSTP is heard by us. A shell tells of waiting for input.
pub(super) fn stop() -> io::Result<()> {
    signal_hook::low_level::raise(SIGTTIN)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thread_that_panics_is_heard_of() {
        let (tell, inbox) = mpsc::channel();
        let thread = thread::spawn(move || {
            let _ending = Ending(tell);
            panic!("the lamp fell into the tank");
        });
        assert!(matches!(inbox.recv(), Ok(Incoming::WorkerGone)));
        assert!(thread.join().is_err());
    }
}
