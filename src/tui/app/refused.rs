//! A refusal with its ways out: why it was, and what would do instead.

use super::layer::Way;
use super::{Deed, Form, Layer, Model, Refused, Task, Upkeep};
use crate::project::{Action, Refusal, Subject, What, When};

impl Model {
    pub(super) fn open_refused(&mut self, action: Action, refusal: Refusal, form: Option<Form>) {
        let ways = self.ways(&action, &refusal, form.is_some());
        self.layers.push(Layer::Refused(Refused {
            late: self.ticked_later(&action),
            action,
            refusal,
            form,
            ways,
            row: 0,
        }));
    }

    /// The gates that were ticked, but only after the instant of an act.
    pub(super) fn ticked_later(&self, action: &Action) -> Vec<String> {
        let (when, name) = match &action.what {
            What::Start { piece, .. } => (When::Start, piece),
            What::Finish { piece } => (When::End, piece),
            _ => return Vec::new(),
        };
        let (Some(at), Some(piece)) = (action.at, self.piece(name)) else {
            return Vec::new();
        };
        let Some(stage) = &piece.stage else {
            return Vec::new();
        };
        let state = self.project.state_at(at);
        let mut gates = state.gates_at(&self.project.definition, name, stage, when, at);
        gates.retain(|g| !g.held);
        let ticks = gates
            .iter()
            .filter_map(|g| piece.ticks.get_key_value(&g.gate));
        ticks
            .filter(|(_, ticked)| **ticked > at)
            .map(|(gate, ticked)| format!("{gate}: ticked only at {}", self.clock(*ticked)))
            .collect()
    }

    /// The ways out of a refusal, as this screen offers them.
    fn ways(&self, action: &Action, refusal: &Refusal, again: bool) -> Vec<(&'static str, Way)> {
        let mut ways = Vec::new();
        let piece = match action.what.subject() {
            Subject::Piece(name) => Some(name.to_owned()),
            _ => None,
        };
        let first = |say: &'static str, deed: Deed| {
            piece
                .clone()
                .map(|p| (say, Way::Task(Task::Piece(p, deed))))
        };
        let gated = matches!(
            action.what,
            What::Start { .. } | What::Finish { .. } | What::Return { .. }
        );
        let by_gate = gated && refusal.may_be_overridden();
        if by_gate {
            if matches!(action.what, What::Return { .. }) {
                ways.extend(first("return it, dipped", Deed::Return));
            } else {
                ways.push(("tick what holds", Way::Gates));
            }
            ways.push(("override with a reason", Way::Override));
        }
        match refusal.rule.as_str() {
            "in-bath" => ways.extend(first("lift it first", Deed::Lift)),
            "already-out" => ways.extend(first("return it", Deed::Return)),
            "not-lifted" => ways.extend(first("lift it", Deed::Lift)),
            "not-begun" => ways.extend(first("start its stage", Deed::Start)),
            "already-begun" => ways.extend(first("finish its stage", Deed::Finish)),
            "open-items" => ways.push(("tick the rest of the close-out", Way::CloseOut)),
            "current-flows" => {
                let on = self.facts.tanks.iter().find(|t| t.on);
                ways.extend(on.map(|t| {
                    let task = Task::Tank(t.name.clone(), Upkeep::Off);
                    ("supply off", Way::Task(task))
                }));
            }
            _ => {}
        }
        if again && !by_gate {
            ways.push(("enter it again", Way::Again));
        }
        ways.push(("leave it", Way::Leave));
        ways
    }

    /// Takes a way out of a refusal.
    pub(super) fn take_way(&mut self, refused: Refused, way: Way) {
        let piece = match refused.action.what.subject() {
            Subject::Piece(name) => Some(name.to_owned()),
            _ => None,
        };
        match way {
            Way::Gates => {
                let task = match (&refused.action.what, piece) {
                    (What::Start { .. }, Some(p)) => Some(Task::Piece(p, Deed::Start)),
                    (_, Some(p)) => Some(Task::Piece(p, Deed::Finish)),
                    _ => None,
                };
                if let Some(task) = task {
                    self.open(task, false);
                }
            }
            Way::Override => {
                let Action { what, at, .. } = refused.action;
                self.open_form(Task::Override(Box::new(what), at), false);
            }
            Way::Task(task) => self.open(task, false),
            Way::Again => {
                if let Some(form) = refused.form {
                    self.layers.push(Layer::Form(form));
                }
            }
            Way::CloseOut => {
                self.layers.clear();
                self.screen = super::Screen::CloseOut;
            }
            Way::Leave => self.guide.clear(),
        }
    }
}
