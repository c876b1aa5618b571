//! Keys while the findings of a look are picked.

use super::inside::{moved, row_of_digit};
use super::{Effect, Form, Key, KeyCode, Layer, LookEntry, Model, Task, finding};
use crate::project::{Finding, FindingKind, What};

/// Adds what the form of a finding tells to the look below it.
pub(super) fn add(model: &mut Model, kind: FindingKind, form: &Form) {
    let found = finding(kind, &form.fields);
    if let Some(Layer::Look(entry)) = model.layers.last_mut() {
        match found {
            Ok(finding) => entry.picked.push(finding),
            Err(wrong) => entry.wrong = Some(wrong),
        }
    }
}

/// A key while the findings of a look are picked.
pub(super) fn key(model: &mut Model, mut entry: LookEntry, key: Key) -> Vec<Effect> {
    if entry.waits {
        model.layers.push(Layer::Look(entry));
        return Vec::new();
    }
    if entry.at_when {
        return in_when(model, entry, key);
    }
    entry.wrong = None;
    let kinds = LookEntry::kinds();
    if let Some(kind) = row_of_digit(entry.row, kinds.len(), key).and_then(|row| kinds.get(row)) {
        return pick(model, entry, *kind);
    }
    if let Some(row) = moved(entry.row, kinds.len(), key) {
        entry.row = row;
    } else if key.code == KeyCode::Char(' ') || key.code == KeyCode::Right {
        if let Some(kind) = kinds.get(entry.row) {
            return pick(model, entry, *kind);
        }
    } else if matches!(key.code, KeyCode::Enter | KeyCode::Char('+')) {
        if entry.picked.is_empty() {
            entry.wrong = Some("pick at least one by its digit".to_owned());
        } else if super::typing::take_findings(model, &entry.picked) {
            return Vec::new();
        } else {
            entry.at_when = true;
        }
    } else if key.code == KeyCode::Char('*') && entry.guided {
        model.next_step();
        return Vec::new();
    } else if matches!(key.code, KeyCode::Backspace | KeyCode::Delete) {
        entry.picked.pop();
    } else if key.is_back() && entry.picked.pop().is_none() {
        if entry.guided {
            model.guide.clear();
            model.say("left here; what is still due stays on the list");
        }
        return Vec::new();
    }
    model.layers.push(Layer::Look(entry));
    Vec::new()
}

/// Picks a finding: `ok` as it is, the others with their share and place.
fn pick(model: &mut Model, mut entry: LookEntry, kind: FindingKind) -> Vec<Effect> {
    let plain = kind == FindingKind::Ok;
    if plain {
        entry.picked.push(Finding {
            kind,
            share: None,
            place: None,
        });
    }
    model.layers.push(Layer::Look(entry));
    if !plain {
        model.open_form(Task::Finding(kind), false);
    }
    Vec::new()
}

fn in_when(model: &mut Model, mut entry: LookEntry, key: Key) -> Vec<Effect> {
    let zone = model.project.definition.zone;
    if entry.when.key(key) {
        entry.wrong = None;
    } else if key.code == KeyCode::Char('*') {
        entry.when.empty();
    } else if matches!(key.code, KeyCode::Enter | KeyCode::Char('+')) {
        match entry.when.instant(zone, model.now) {
            Ok(at) => {
                let what = What::Look {
                    piece: entry.piece.clone(),
                    findings: entry.picked.clone(),
                };
                entry.waits = true;
                model.layers.push(Layer::Look(entry));
                return model.record(what, at, None);
            }
            Err(wrong) => entry.wrong = Some(wrong),
        }
    } else if key.is_back() || key.code == KeyCode::Up {
        entry.at_when = false;
    }
    model.layers.push(Layer::Look(entry));
    Vec::new()
}
