//! Why the screen could not be shown, or not to the end.

use crate::store::StoreError;
use crate::tui::app::Failure;

/// Why the screen could not be shown, or not to the end.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ShellError {
    /// Input or output is a file or a pipe.
    #[error("the screen needs a terminal, and {0} is none")]
    NoTerminal(&'static str),
    /// A terminal that can only write line after line.
    #[error("the screen needs a terminal that can place its text, and TERM is `{0}`")]
    Dumb(String),
    /// The terminal cannot be read or written.
    #[error("the terminal cannot be read or written: {0}")]
    Terminal(#[from] std::io::Error),
    /// The thread that owns the project's folder ended by itself.
    #[error("a part of the program that reads and writes the project stopped by itself")]
    Worker,
    /// The project could be shown, and not be opened.
    #[error(transparent)]
    Unopened(StoreError),
    /// Something asked for just before leaving was not done.
    #[error("the last thing asked for before leaving was not done: {}", message(.0))]
    Undone(Failure),
}

impl ShellError {
    /// What would do.
    pub fn remedy(&self) -> String {
        match self {
            Self::NoTerminal(_) | Self::Dumb(_) => "`tankside status DIR` prints where every \
                piece is and what is due, `tankside record DIR ...` writes down what happened, \
                and `tankside sheet DIR` prints a sheet to fill in with a pencil"
                .to_owned(),
            Self::Terminal(_) => "open the project again in another terminal; \
                what was shown as recorded is on the disk"
                .to_owned(),
            Self::Worker => "open the project again; what was shown as recorded is on the disk, \
                and `tankside check DIR` looks the files over"
                .to_owned(),
            Self::Unopened(error) => error.remedy.clone(),
            Self::Undone(Failure::Refused(refusal)) => {
                let commands: Vec<_> = refusal.instead.iter().map(|c| c.line("DIR")).collect();
                match commands.as_slice() {
                    [] => "open the project again and look at the piece".to_owned(),
                    commands => format!("this would do: {}", commands.join(", or ")),
                }
            }
            Self::Undone(Failure::Trouble { remedy, .. }) => remedy.clone(),
        }
    }
}

fn message(failure: &Failure) -> &str {
    match failure {
        Failure::Refused(refusal) => &refusal.because,
        Failure::Trouble { message, .. } => message,
    }
}
