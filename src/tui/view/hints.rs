//! The keys of what lies on top of a screen, for the hint bar: the keypad's
//! key first.

use crate::tui::app::{
    AddStep, Cell, ChangeKind, ChangeStep, Changing, Checklist, Field, Form, Key, Keymap, Layer,
    MaskStep, Masking, Measure, Model, Showing, Then, Typing,
};

type Hint = (&'static str, &'static str);

/// The keys of a layer and what they do now.
pub(super) fn hints(model: &Model, layer: &Layer) -> Vec<Hint> {
    match layer {
        Layer::Menu(menu) if menu.why => vec![("/", "what can"), ("-", "back")],
        Layer::Menu(menu) if menu.figures => [
            vec![("1-9 Enter", "copy")],
            next_nine(menu.entries.len()),
            vec![("/", "why not"), ("-", "back")],
        ]
        .concat(),
        Layer::Menu(menu) => [
            vec![("1-9 Enter", "take")],
            next_nine(menu.entries.len()),
            vec![("/", "why not"), ("+", "everything else"), ("-", "back")],
        ]
        .concat(),
        Layer::Form(form) => of_form(form),
        Layer::Look(entry) if entry.at_when => {
            vec![("Enter", "write down"), ("*", "empty"), ("-", "back")]
        }
        Layer::Look(entry) => {
            let mut hints = vec![("1-9", "pick"), ("0", "others"), ("Enter", "go on")];
            hints.extend(entry.guided.then_some(("*", "leave this step out")));
            let back = if entry.picked.is_empty() {
                "leave"
            } else {
                "take back"
            };
            hints.push(("-", back));
            hints
        }
        Layer::Gates(list) if list.at_when => {
            vec![("Enter", "go on"), ("*", "empty"), ("-", "back")]
        }
        Layer::Gates(list) => [
            vec![("1-9", "tick"), ("*", "all"), ("Enter", of_enter(list))],
            next_nine(list.rows()),
            vec![(".", "when"), ("-", "back")],
        ]
        .concat(),
        Layer::Refused(_) => vec![("1-9 Enter", "take"), ("-", "leave it")],
        Layer::Confirm(confirm) => of_question(&model.keys, confirm.then),
        Layer::Help(_) | Layer::Told(_) => vec![("Down", "scroll"), ("-", "close")],
        Layer::Far | Layer::Morning => vec![("Enter", "go on")],
        Layer::Adding(adding) => of_adding(&adding.step),
        Layer::Typing(typing) => of_typing(typing),
        Layer::Print(showing) => of_print(model, showing),
        Layer::Spread(showing) => of_spread(model, showing),
        Layer::Changing(changing) => of_changing(model, changing),
        Layer::Masking(masking) => of_masking(model, masking),
        Layer::Locked(_) => vec![("7 3 Enter", "unlock")],
    }
}

/// What Enter does in a checklist: nothing is ticked unawares.
fn of_enter(list: &Checklist) -> &'static str {
    if !list.chosen.is_empty() {
        "write down"
    } else if list.name_of(list.row).is_some() {
        "tick it"
    } else {
        "go on"
    }
}

/// The key that asked answers too, as minus does for the undo: then another
/// one says no.
fn of_question(keys: &Keymap, then: Then) -> Vec<Hint> {
    let asks = |c| keys.asks(then.command(), Key::char(c));
    match (asks('-'), asks('0')) {
        (false, _) => vec![("Enter", "yes"), ("-", "no")],
        (true, false) => vec![("Enter", "yes"), ("-", "yes"), ("0", "no")],
        (true, true) => vec![("Enter", "yes"), ("Esc", "no")],
    }
}

fn next_nine(lines: usize) -> Vec<Hint> {
    let more = (lines > 9).then_some(("0", "next nine"));
    more.into_iter().collect()
}

/// Plus and minus are hinted only where they are not typed among words.
fn of_form(form: &Form) -> Vec<Hint> {
    let amid_words = form.fields.get(form.at).is_some_and(Field::is_amid_words);
    let last = form.at + 1 == form.fields.len();
    let mut hints = vec![("Enter", if last { "write down" } else { "on" })];
    if !amid_words && !last {
        hints.push(("+", "write down"));
    }
    if form.guided {
        hints.push(("*", "leave this step out"));
    } else {
        hints.push(("*", "empty"));
    }
    hints.push(("Up", "field above"));
    hints.push(match (amid_words, form.at) {
        (true, 0) => ("Esc", "leave"),
        (true, _) => ("Esc", "back"),
        (false, 0) => ("-", "leave"),
        (false, _) => ("-", "back"),
    });
    hints
}

/// The keys while a piece is added.
fn of_adding(step: &AddStep) -> Vec<Hint> {
    match step {
        AddStep::Fields => vec![("Enter", "go on"), ("Left Right", "choose"), ("-", "back")],
        AddStep::Unit { .. } => vec![("1-4 Enter", "take"), ("/", "help"), ("-", "back")],
        AddStep::Reading | AddStep::Surveying { .. } => vec![("-", "give up")],
        AddStep::Found(_) => vec![
            ("Enter", "add it"),
            ("Down", "scroll"),
            ("/", "help"),
            ("-", "back"),
        ],
        AddStep::Writing(_) => Vec::new(),
    }
}

/// The keys over the masks of a piece.
fn of_masking(model: &Model, masking: &Masking) -> Vec<Hint> {
    let chosen_of = |does, lines| {
        let first = vec![("1-9 Enter", does)];
        [first, next_nine(lines), vec![("-", "back")]].concat()
    };
    match &masking.step {
        MaskStep::List(_) => {
            let mut hints = chosen_of("take", masking.rows(model));
            hints.push(("/", "help"));
            hints
        }
        MaskStep::Groups(_) => chosen_of("mask it", masking.groups.len()),
        MaskStep::Sure(..) => vec![("Enter", "take it off"), ("-", "no")],
        MaskStep::Fields { fields, at, .. } => {
            let last = at + 1 == fields.len();
            let back = if fields[*at].is_amid_words() {
                "Esc"
            } else {
                "-"
            };
            let mut hints = vec![("Enter", if last { "mask it" } else { "on" })];
            hints.extend((!last).then_some(("+", "mask it")));
            hints.extend([("*", "empty"), (back, "back")]);
            hints
        }
    }
}

/// The keys over the list of changes, and in the figures of one.
fn of_changing(model: &Model, changing: &Changing) -> Vec<Hint> {
    match &changing.step {
        ChangeStep::List(_) => {
            let rows = ChangeKind::ALL.len() + changing.edits(model).len();
            let first = vec![("1-9 Enter", "take")];
            [first, next_nine(rows), vec![("-", "back"), ("/", "help")]].concat()
        }
        ChangeStep::Fields { kind, fields, at } => {
            let last = at + 1 == fields.len();
            let does = match kind {
                ChangeKind::File => "write it",
                _ => "try it",
            };
            let mut hints = vec![("Enter", if last { does } else { "on" })];
            hints.extend((!last).then_some(("+", does)));
            hints.extend([("*", "empty"), ("-", "back")]);
            hints
        }
    }
}

/// A print that is not there yet can only be waited for or left.
fn of_print(model: &Model, showing: &Showing) -> Vec<Hint> {
    let known = model.prints.of(&showing.piece);
    let stale = model.is_stale(&showing.piece);
    let read_again =
        (stale || known.is_some_and(|k| k.fault.is_some())).then_some(("Enter", "read it again"));
    let mut hints: Vec<Hint> = read_again.into_iter().collect();
    if known.is_some_and(|k| k.print.is_some()) {
        hints.extend(if showing.marking {
            [("2468", "move"), ("*", "turn")]
        } else {
            [("2468", "turn"), ("*", "mark")]
        });
        let can_mask = !stale && known.is_some_and(|k| k.reading.is_none() && k.fault.is_none());
        hints.extend(can_mask.then_some(("Enter", "masks")));
        let is_larger = showing.eye.zoom > 1.0;
        hints.extend([
            ("+", "larger"),
            ("-", if is_larger { "smaller" } else { "back" }),
            ("/", "help"),
        ]);
        let still = known.and_then(|k| k.still.as_ref());
        let has_places = still.is_some_and(|still| !still.places.is_empty());
        hints.extend(has_places.then_some(("0", "next flaw")));
        hints.extend([
            ("3 1", "cut"),
            ("7", "inside"),
            ("9", "dots"),
            ("5", "at first"),
        ]);
        if showing.eye.zoom > 1.0 {
            hints.push(("Esc", "back"));
        }
    } else {
        hints.push((
            "-",
            if known.is_some_and(|k| k.reading.is_some()) {
                "stop"
            } else {
                "back"
            },
        ));
    }
    hints
}

/// The keys over the picture of where the metal goes.
fn of_spread(model: &Model, showing: &Showing) -> Vec<Hint> {
    let can_compute = model.is_spread_stale() && model.spreads.solving.is_none();
    let mut hints: Vec<Hint> = can_compute
        .then_some(("Enter", "compute again"))
        .into_iter()
        .collect();
    hints.extend(if showing.marking {
        [("2468", "move"), ("*", "turn")]
    } else {
        [("2468", "turn"), ("*", "probe")]
    });
    let is_larger = showing.eye.zoom > 1.0;
    let other = match model.spreads.measure {
        Measure::Density => "thickness",
        Measure::Thickness => "density",
    };
    hints.extend([
        ("0", "next place"),
        ("+", "larger"),
        ("-", if is_larger { "smaller" } else { "back" }),
        ("/", "help"),
        ("z", other),
        ("3 1", "cut"),
        ("7", "inside"),
        ("9", "dots"),
        ("5", "at first"),
    ]);
    let has_before = model
        .spread_known()
        .is_some_and(|known| known.before.is_some());
    hints.extend(has_before.then_some((".", "before")));
    if is_larger {
        hints.push(("Esc", "back"));
    }
    hints
}

fn of_typing(typing: &Typing) -> Vec<Hint> {
    if typing.sheet.is_none() {
        return vec![("Enter", "on"), ("*", "empty"), ("-", "back")];
    }
    let first = typing.at == 0;
    match typing.cells.get(typing.at) {
        Some(Cell::Boxes(boxes, ..)) => [
            vec![("1-9", "tick"), ("*", "all")],
            next_nine(boxes.len()),
            vec![("Enter", "write down"), ("-", "back")],
        ]
        .concat(),
        Some(Cell::Seen(_)) => vec![
            ("1-9", "pick"),
            ("Enter", "on"),
            ("*", "empty"),
            ("-", "back"),
        ],
        _ if first => {
            let mut hints = vec![("Enter", "on; empty: next row")];
            hints.extend(typing.has_time_before().then_some(("Right", "same time")));
            hints.extend([("/", "leave"), ("-", "row before")]);
            hints
        }
        Some(Cell::Field(field) | Cell::Override(field)) if field.is_amid_words() => {
            vec![("Enter", "on"), ("*", "empty"), ("Esc", "leave")]
        }
        _ => vec![
            ("Enter", "on"),
            ("+", "write down"),
            ("*", "empty"),
            ("-", "back"),
        ],
    }
}
