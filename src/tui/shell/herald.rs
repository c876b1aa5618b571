//! The thread that starts the programs which tell of what is due, and waits
//! for them, so that neither a slow start nor a slow program holds up a key.

use std::io;
use std::path::Path;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::thread;
use std::time::Duration;

use super::inbox::Incoming;
use super::notify::Call;
use crate::tui::app::{Failure, Message};

/// How often it is looked whether a program has ended.
const LOOK: Duration = Duration::from_millis(200);

/// So many programs run at once; what is to be told meanwhile is told by the
/// next ring.
const MOST: usize = 4;

/// The herald, seen from the loop.
pub(super) struct Herald {
    calls: Sender<Vec<Call>>,
}

impl Herald {
    /// The thread is never joined: a program of the user's own may run on
    /// when the screen is left.
    pub(super) fn start(tell: Sender<Incoming>) -> io::Result<Self> {
        let (calls, to_start) = mpsc::channel();
        let desk = Desk {
            tell,
            running: Vec::new(),
            complained: false,
        };
        thread::Builder::new()
            .name("herald".to_owned())
            .spawn(move || desk.work(&to_start))?;
        Ok(Self { calls })
    }

    /// Starts programs and returns at once.
    pub(super) fn tell(&self, calls: Vec<Call>) {
        // Without its thread nobody is told; the bell has rung all the same.
        let _ended = self.calls.send(calls);
    }
}

struct Desk {
    tell: Sender<Incoming>,
    /// What runs, its name, and whether it is the user's own.
    running: Vec<(Child, String, bool)>,
    /// Whether a failure of the user's own program was told.
    complained: bool,
}

impl Desk {
    fn work(mut self, to_start: &Receiver<Vec<Call>>) {
        loop {
            let calls = if self.running.is_empty() {
                to_start
                    .recv()
                    .map_err(|_gone| RecvTimeoutError::Disconnected)
            } else {
                to_start.recv_timeout(LOOK)
            };
            self.look();
            match calls {
                Ok(calls) => calls.into_iter().for_each(|call| self.start(call)),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return,
            }
        }
    }

    fn start(&mut self, call: Call) {
        let file = Path::new(&call.program).file_name().unwrap_or_default();
        let (name, own) = (file.to_string_lossy().into_owned(), call.own);
        if self.running.len() >= MOST {
            if own {
                self.complain(&name, &format!("does not end: {MOST} of them still run"));
            }
            return;
        }
        match started(call) {
            Ok(child) => self.running.push((child, name, own)),
            Err(error) if own => self.complain(&name, &format!("does not start: {error}")),
            // A desktop that tells nothing is told of by `tankside settings`.
            Err(_) => {}
        }
    }

    /// Takes leave of what has ended.
    fn look(&mut self) {
        let mut ended: Vec<(String, ExitStatus)> = Vec::new();
        self.running
            .retain_mut(|(child, name, own)| match child.try_wait() {
                Ok(None) => true,
                Ok(Some(status)) => {
                    if *own && !status.success() {
                        ended.push((std::mem::take(name), status));
                    }
                    false
                }
                Err(_) => false,
            });
        for (name, status) in ended {
            self.complain(&name, &format!("ended with {status}"));
        }
    }

    /// Tells once what is wrong with the user's program.
    fn complain(&mut self, name: &str, what: &str) {
        if self.complained {
            return;
        }
        self.complained = true;
        let failure = Failure::Trouble {
            message: format!("`{name}`, your program for notices, {what}"),
            remedy: "see `notices` in `tankside settings`".to_owned(),
        };
        // Where the loop has gone, nobody listens.
        let _loop_gone = self.tell.send(Incoming::Message(Message::Failed(failure)));
    }
}

/// A process group of its own keeps what is typed at the editor from it.
fn started(call: Call) -> io::Result<Child> {
    let mut command = Command::new(call.program);
    command
        .args(call.arguments)
        .envs(call.environment)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    #[cfg(unix)]
    std::os::unix::process::CommandExt::process_group(&mut command, 0);
    command.spawn()
}
