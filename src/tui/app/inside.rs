//! Keys inside what lies on top of a screen.

use super::layer::Does;
use super::{
    Checklist, Deed, Effect, Entry, Form, Id, Key, KeyCode, Layer, Menu, Model, Refused, Task,
    Upkeep, inside_look, update,
};
use crate::project::What;

/// The keys that unlock the keyboard, far apart on purpose.
const UNLOCK: [KeyCode; 3] = [KeyCode::Char('7'), KeyCode::Char('3'), KeyCode::Enter];

/// Gives a key to what lies on top; `None` when nothing does.
pub(super) fn key(model: &mut Model, key: Key) -> Option<Vec<Effect>> {
    let ctrl_c = key.ctrl && key.code == KeyCode::Char('c');
    let layer = model.layers.pop()?;
    if ctrl_c {
        return Some(update::run(model, Id::Leave, key));
    }
    Some(match layer {
        Layer::Menu(menu) => in_menu(model, menu, key),
        Layer::Form(form) => in_form(model, form, key),
        Layer::Look(entry) => inside_look::key(model, entry, key),
        Layer::Gates(list) => in_gates(model, list, key),
        Layer::Refused(refused) => in_refused(model, refused, key),
        Layer::Confirm(confirm) => {
            // Undo is answered by its own key: minus must not read as "back".
            let keys = &model.keys;
            if key.code == KeyCode::Enter || update::asked_by(keys, confirm.then, key) {
                update::confirmed(model, confirm.then)
            } else {
                model.say("left as it was");
                Vec::new()
            }
        }
        Layer::Help(at) => scrolled(model, Layer::Help, at, key),
        Layer::Told(at) => scrolled(model, Layer::Told, at, key),
        Layer::Adding(adding) => super::adding::key(model, adding, key),
        Layer::Far | Layer::Morning => Vec::new(),
        Layer::Typing(typing) => super::typing::key(model, typing, key),
        Layer::Print(showing) => super::print::key(model, showing, key),
        Layer::Spread(showing) => super::spread::key(model, showing, key),
        Layer::Changing(changing) => super::changing::key(model, changing, key),
        Layer::Masking(masking) => super::masking::key(model, masking, key),
        Layer::Locked(done) => in_lock(model, done, key),
    })
}

/// Gives pasted text to the field under the cursor.
pub(super) fn paste(model: &mut Model, text: &str) {
    match model.layers.last_mut() {
        Some(Layer::Form(form)) => {
            if let Some(field) = form.fields.get_mut(form.at) {
                field.paste(text);
            }
        }
        Some(Layer::Look(entry)) if entry.at_when => entry.when.paste(text),
        Some(Layer::Adding(adding)) => super::adding::paste(adding, text),
        Some(Layer::Typing(typing)) => typing.paste(text),
        Some(Layer::Changing(changing)) => changing.paste(text),
        Some(Layer::Masking(masking)) => masking.paste(text),
        Some(Layer::Gates(list)) if list.at_when => list.when.paste(text),
        _ => {}
    }
}

fn in_lock(model: &mut Model, done: usize, key: Key) -> Vec<Effect> {
    let next = if UNLOCK.get(done) == Some(&key.code) {
        done + 1
    } else {
        usize::from(UNLOCK.first() == Some(&key.code))
    };
    if next < UNLOCK.len() {
        model.layers.push(Layer::Locked(next));
    } else {
        model.say("unlocked");
    }
    Vec::new()
}

/// A text on top of the screen: keys scroll it, any other closes it.
fn scrolled(model: &mut Model, layer: fn(usize) -> Layer, at: usize, key: Key) -> Vec<Effect> {
    let next = match key.code {
        KeyCode::Up => at.saturating_sub(1),
        KeyCode::Down => at + 1,
        KeyCode::PageUp => at.saturating_sub(10),
        KeyCode::PageDown => at + 10,
        _ => return Vec::new(),
    };
    model.layers.push(layer(next.min(2000)));
    Vec::new()
}

/// Moves a selected line; `None` if the key moves none.
pub(super) fn moved(row: usize, rows: usize, key: Key) -> Option<usize> {
    let last = rows.saturating_sub(1);
    match key.code {
        KeyCode::Up => Some(row.saturating_sub(1)),
        KeyCode::Down => Some((row + 1).min(last)),
        KeyCode::Char('0') | KeyCode::PageDown => {
            let next = (row / 9 + 1) * 9;
            Some(if next < rows { next } else { 0 })
        }
        KeyCode::PageUp => Some((row / 9).saturating_sub(1) * 9),
        _ => None,
    }
}

/// The line that a digit takes: the page of nine around the selected line.
pub(super) fn row_of_digit(row: usize, rows: usize, key: Key) -> Option<usize> {
    let digit = key.digit().filter(|d| *d > 0)?;
    let wanted = row / 9 * 9 + digit - 1;
    (wanted < rows).then_some(wanted)
}

fn in_menu(model: &mut Model, mut menu: Menu, key: Key) -> Vec<Effect> {
    let letter = menu
        .entries
        .iter()
        .position(|e| e.letter != ' ' && KeyCode::Char(e.letter) == key.code);
    let taken = row_of_digit(menu.row, menu.entries.len(), key)
        .or(letter)
        .or_else(|| (key.code == KeyCode::Enter).then_some(menu.row));
    if let Some(entry) = taken.and_then(|row| menu.entries.get(row)).cloned() {
        match entry.does {
            Does::Task(task) => model.open(task, false),
            Does::Menu(spot) => model.open_menu(Some(spot)),
            Does::Command(id) => return update::run(model, id, key),
            Does::Copy(figure) => return update::copy(model, &figure),
        }
        return Vec::new();
    }
    if let Some(row) = moved(menu.row, menu.entries.len(), key) {
        menu.row = row;
    } else if matches!(key.code, KeyCode::Char('/' | '?')) {
        menu.why = !menu.why;
    } else if key.code == KeyCode::Char('+') {
        let next = menu.spot.is_some().then_some(None);
        model.open_menu(next.unwrap_or_else(|| model.spot.clone()));
        return Vec::new();
    } else if key.is_back() {
        return Vec::new();
    }
    model.layers.push(Layer::Menu(menu));
    Vec::new()
}

fn in_form(model: &mut Model, mut form: Form, key: Key) -> Vec<Effect> {
    if form.waits {
        model.layers.push(Layer::Form(form));
        return Vec::new();
    }
    if form.fields.get_mut(form.at).is_some_and(|f| f.key(key)) {
        form.wrong = None;
        form.asks_same = false;
        model.layers.push(Layer::Form(form));
        return Vec::new();
    }
    match key.code {
        KeyCode::Enter if !form.asks_same && form.at + 1 < form.fields.len() => {
            let onwards = usize::from(form.accepts(model));
            form.go_to(form.at + onwards);
        }
        KeyCode::Enter | KeyCode::Char('+') => return submit(model, form),
        KeyCode::Up | KeyCode::BackTab => form.go_to(form.at.saturating_sub(1)),
        KeyCode::Down | KeyCode::Tab => form.go_to(form.at + 1),
        KeyCode::Char('*') if form.guided => {
            model.next_step();
            return Vec::new();
        }
        KeyCode::Char('*') => form.empty_field(),
        _ if key.is_back() && form.at > 0 => form.go_to(form.at - 1),
        _ if key.is_back() => {
            leave(model, &form);
            return Vec::new();
        }
        _ => {}
    }
    model.layers.push(Layer::Form(form));
    Vec::new()
}

/// Leaving an entry ends its guide; what is still due stays due.
fn leave(model: &mut Model, form: &Form) {
    if form.guided {
        model.guide.clear();
        model.say("left here; what is still due stays on the list");
    }
    if form.task != Task::Who {
        return;
    }
    if let Some(action) = model.pending.take() {
        model.say("nothing was written down: it wants a name");
        for layer in &mut model.layers {
            match (layer, &action.what) {
                (Layer::Gates(list), What::Tick { names, .. }) => list.chosen.clone_from(names),
                (Layer::Form(form), _) => form.waits = false,
                (Layer::Look(entry), _) => entry.waits = false,
                (Layer::Typing(typing), _) => typing.waits = false,
                _ => {}
            }
        }
    }
}

impl Form {
    /// Goes to a field, or to the last one.
    fn go_to(&mut self, at: usize) {
        self.asks_same = false;
        self.at = at.min(self.fields.len().saturating_sub(1));
        if let Some(field) = self.fields.get_mut(self.at) {
            field.enter_anew();
        }
    }

    fn empty_field(&mut self) {
        self.wrong = None;
        if let Some(field) = self.fields.get_mut(self.at) {
            field.empty();
        }
    }

    /// The question to ask once before a meter is written down as it read last,
    /// of which no figure was touched.
    fn same_as_last(&self) -> Option<String> {
        let reading = matches!(
            self.task,
            Task::Tank(_, Upkeep::Reading) | Task::Piece(_, Deed::OwnReading)
        );
        let [volts, amps, ..] = self.fields.as_slice() else {
            return None;
        };
        let untouched = reading && !volts.touched && !amps.touched;
        untouched.then(|| {
            let (volts, amps) = (&volts.text, &amps.text);
            format!("the same as last: {volts} V {amps} A? Enter yes")
        })
    }

    /// Whether the field under the cursor may be left: it reads, and a tenfold
    /// jump was asked about once.
    fn accepts(&mut self, model: &Model) -> bool {
        let zone = model.project.definition.zone;
        let Some(field) = self.fields.get_mut(self.at) else {
            return true;
        };
        let wrong = match field.entry {
            Entry::Number { .. } => number_wrong(field),
            Entry::Words(_) => field.said().err(),
            Entry::When => field.instant(zone, model.now).err(),
            Entry::Choice(_) => None,
        };
        let question = wrong.is_none().then(|| field.jump()).flatten();
        if question.is_some() {
            field.asked = Some(field.text.clone());
        }
        if wrong.is_some() || question.is_some() {
            field.enter_anew();
        }
        self.wrong = wrong.or(question);
        self.wrong.is_none()
    }
}

/// Reads the number as every dimension its unit belongs to would.
pub(super) fn number_wrong(field: &super::Field) -> Option<String> {
    use crate::units::{
        ChargeDim, CurrentDim, MassDim, RatioDim, ResistanceDim, TemperatureDim, VoltageDim,
        VolumeDim,
    };
    let Entry::Number { unit, .. } = field.entry else {
        return None;
    };
    match unit {
        "A" => field.quantity::<CurrentDim>().err(),
        "V" => field.quantity::<VoltageDim>().err(),
        "C" | "F" => field.quantity::<TemperatureDim>().err(),
        "g" => field.quantity::<MassDim>().err(),
        "ohm" => field.quantity::<ResistanceDim>().err(),
        "mL" | "L" => field.quantity::<VolumeDim>().err(),
        "%" => field.quantity::<RatioDim>().err(),
        _ => field.quantity::<ChargeDim>().err(),
    }
}

/// Writes the form down, after every field was looked at.
fn submit(model: &mut Model, mut form: Form) -> Vec<Effect> {
    let at = form.at;
    for n in 0..form.fields.len() {
        form.at = n;
        if !form.accepts(model) {
            model.layers.push(Layer::Form(form));
            return Vec::new();
        }
    }
    form.at = at;
    if let Some(question) = form.same_as_last().filter(|_| !form.asks_same) {
        form.wrong = Some(question);
        form.asks_same = true;
        model.layers.push(Layer::Form(form));
        return Vec::new();
    }
    match &form.task {
        Task::Who => {
            let name = form.fields.first().map(|f| f.text.trim().to_owned());
            model.who_is(name.unwrap_or_default())
        }
        Task::Finding(kind) => {
            inside_look::add(model, *kind, &form);
            Vec::new()
        }
        task => match task.what(model, &form.fields) {
            Ok(what) => {
                let zone = model.project.definition.zone;
                let when = form.fields.last().filter(|f| f.entry == Entry::When);
                let typed = when.and_then(|f| f.instant(zone, model.now).ok().flatten());
                let (at, reason) = match task {
                    Task::Override(_, at) => (
                        at.or(typed),
                        form.fields.first().map(|f| f.text.trim().to_owned()),
                    ),
                    _ => (typed, None),
                };
                form.waits = true;
                model.layers.push(Layer::Form(form));
                model.record(what, at, reason)
            }
            Err(wrong) => {
                form.wrong = Some(wrong);
                model.layers.push(Layer::Form(form));
                Vec::new()
            }
        },
    }
}

fn in_gates(model: &mut Model, mut list: Checklist, key: Key) -> Vec<Effect> {
    let rows = list.rows();
    if list.at_when {
        in_gates_when(model, &mut list, key);
        model.layers.push(Layer::Gates(list));
        return Vec::new();
    }
    if let Some(row) = row_of_digit(list.row, rows, key) {
        list.row = row;
        return take_gate(model, list);
    }
    if let Some(row) = moved(list.row, rows, key) {
        list.row = row;
    } else if key.code == KeyCode::Char('*') {
        let all = list
            .gates
            .iter()
            .filter(|g| g.tickable && !g.held)
            .map(|g| g.gate.clone());
        list.chosen = all.collect();
    } else if matches!(key.code, KeyCode::Char('.' | ',')) {
        list.at_when = true;
    } else if key.code == KeyCode::Char(' ') {
        return take_gate(model, list);
    } else if matches!(key.code, KeyCode::Enter | KeyCode::Char('+')) {
        if list.chosen.is_empty() && list.name_of(list.row).is_none() {
            return take_gate(model, list);
        }
        return tick_chosen(model, list);
    } else if key.is_back() {
        model.guide.clear();
        return Vec::new();
    }
    model.layers.push(Layer::Gates(list));
    Vec::new()
}

/// Typing when the conditions were true: before a start that is written down
/// afterwards they must have been ticked by then.
fn in_gates_when(model: &mut Model, list: &mut Checklist, key: Key) {
    if list.when.key(key) {
        return;
    }
    if key.code == KeyCode::Char('*') {
        list.when.empty();
    } else if key.code == KeyCode::Enter {
        let zone = model.project.definition.zone;
        match list.when.instant(zone, model.now) {
            Ok(_) => list.at_when = false,
            Err(wrong) => model.alarm(wrong),
        }
    } else if key.is_back() {
        list.at_when = false;
    }
}

/// Ticks or unticks a line, opens what would make its gate hold, or the
/// override.
fn take_gate(model: &mut Model, mut list: Checklist) -> Vec<Effect> {
    if list.is_override(list.row) {
        let Some(Task::Piece(piece, deed)) = list.then.clone() else {
            return Vec::new();
        };
        if let Some(what) = deed.trial(model, &piece) {
            model.open_form(Task::Override(Box::new(what), None), false);
        }
        return Vec::new();
    }
    let task = match list.name_of(list.row).map(str::to_owned) {
        Some(name) => {
            let at = list.chosen.iter().position(|c| *c == name);
            match at {
                Some(at) => drop(list.chosen.remove(at)),
                None => list.chosen.push(name),
            }
            None
        }
        None => list
            .gates
            .get(list.row)
            .filter(|gate| !gate.held)
            .and_then(|gate| model.task_for(&list.piece, gate)),
    };
    model.layers.push(Layer::Gates(list));
    match task {
        Some(task) => model.open(task, false),
        None => model.said = super::Said::default(),
    }
    Vec::new()
}

fn tick_chosen(model: &mut Model, mut list: Checklist) -> Vec<Effect> {
    let mut names = std::mem::take(&mut list.chosen);
    if names.is_empty() {
        names.extend(list.name_of(list.row).map(str::to_owned));
    }
    let what = What::Tick {
        piece: list.piece.clone(),
        names,
    };
    let zone = model.project.definition.zone;
    let at = list.when.instant(zone, model.now).ok().flatten();
    model.layers.push(Layer::Gates(list));
    model.record(what, at, None)
}

fn in_refused(model: &mut Model, mut refused: Refused, key: Key) -> Vec<Effect> {
    let rows = refused.ways.len();
    let taken = row_of_digit(refused.row, rows, key)
        .or_else(|| (key.code == KeyCode::Enter).then_some(refused.row));
    if let Some((_, way)) = taken.and_then(|row| refused.ways.get(row)).cloned() {
        model.take_way(refused, way);
        return Vec::new();
    }
    if let Some(row) = moved(refused.row, rows, key) {
        refused.row = row;
    } else if key.is_back() {
        model.guide.clear();
        return Vec::new();
    }
    model.layers.push(Layer::Refused(refused));
    Vec::new()
}

#[cfg(test)]
mod tests {
    use super::super::Then;
    use super::*;

    #[test]
    fn minus_answers_the_undo_question_only() {
        let (keys, minus) = (super::super::Keymap::default(), Key::char('-'));
        assert!(update::asked_by(&keys, Then::Undo, minus));
        assert!(!update::asked_by(&keys, Then::Quit, minus));
        assert!(!update::asked_by(&keys, Then::Sign, minus));
    }

    #[test]
    fn digits_take_lines_nine_at_a_time() {
        assert_eq!(row_of_digit(0, 15, Key::char('9')), Some(8));
        assert_eq!(row_of_digit(9, 15, Key::char('1')), Some(9));
        assert_eq!(row_of_digit(9, 15, Key::char('7')), None);
        assert_eq!(moved(3, 15, Key::char('0')), Some(9));
        assert_eq!(moved(12, 15, Key::char('0')), Some(0));
    }
}
