//! A project as far as it can be shown before its history has been read again.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::decide::Undone;
use super::refold::Checkpoints;
use super::{Definition, Event, Project, State};

/// What a history has come to, without the history.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    state: State,
    undone: Undone,
}

impl Project {
    /// What everything so far has come to.
    pub fn outcome(&self) -> Outcome {
        Outcome {
            state: self.state.clone(),
            undone: self.undone.clone(),
        }
    }

    /// A project of which only the last events are known, and what they and all
    /// before them have come to under this very definition. It is for showing:
    /// what is asked of the past has the present for its answer, and nothing is
    /// taken back in it.
    pub fn glimpse(definition: Definition, outcome: Outcome, last: Vec<Event>) -> Self {
        Self {
            definition,
            events: last.into(),
            undone: outcome.undone,
            logs: Arc::default(),
            state: outcome.state,
            checkpoints: Checkpoints::default(),
            whole: false,
        }
    }

    /// Whether all of its history is known.
    pub fn is_whole(&self) -> bool {
        self.whole
    }

    /// Adds an event that happened after all others; `None` where that takes
    /// the whole history, or the event cannot be.
    pub fn go_on(&mut self, event: Event) -> Option<()> {
        let goes_on = self.comes_last(&event);
        goes_on.then(|| self.push(event, None).ok())?
    }
}
