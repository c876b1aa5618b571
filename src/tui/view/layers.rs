//! What lies on top of a screen: menus, entries, checklists, questions.

use ratatui::layout::Rect;

use super::pen::{Pen, Row, below, line_of, wrapped};
use super::{Role, closeout, help, is_narrow};
use crate::tui::app::{
    Checklist, Confirm, Entry, Field, Form, Layer, LookEntry, Menu, Model, Refused, Spot,
};

/// Draws the uppermost layer in the place of the screen.
pub(super) fn draw(model: &Model, layer: &Layer, pen: &mut Pen<'_>, area: Rect) {
    let (title, rows, (at, until)) = match layer {
        Layer::Menu(menu) => menu_rows(model, menu, usize::from(area.width)),
        Layer::Form(form) => form_rows(model, form, usize::from(area.width)),
        Layer::Look(entry) => look_rows(model, entry, usize::from(area.width)),
        Layer::Gates(list) => gate_rows(model, list, usize::from(area.width)),
        Layer::Adding(adding) => super::adding::rows(model, adding, usize::from(area.width)),
        Layer::Typing(typing) => super::typing::rows(model, typing, usize::from(area.width)),
        Layer::Changing(changing) => {
            super::changing::rows(model, changing, usize::from(area.width))
        }
        Layer::Masking(masking) => super::masking::rows(model, masking, usize::from(area.width)),
        Layer::Refused(refused) => refused_rows(refused, usize::from(area.width)),
        Layer::Confirm(confirm) => confirm_rows(model, confirm, usize::from(area.width)),
        Layer::Help(at) => {
            let rows = help::rows(model, usize::from(area.width));
            scrolled("help", rows, *at, area)
        }
        Layer::Told(at) => {
            let rows = told_rows(model, usize::from(area.width));
            scrolled("told and silenced", rows, *at, area)
        }
        Layer::Morning => {
            let lines = closeout::morning(model).into_iter();
            let width = usize::from(area.width);
            let rows = lines
                .flat_map(|l| wrapped(&l, width))
                .map(Row::plain)
                .collect();
            (
                "from the last close-out; any key goes on".to_owned(),
                rows,
                (0, 0),
            )
        }
        Layer::Far | Layer::Locked(_) | Layer::Print(_) | Layer::Spread(_) => return,
    };
    let (rule, inner) = (line_of(area, 0), below(area, 1));
    let height = usize::from(inner.height);
    let first = (until + 1).saturating_sub(height).min(at);
    let first = first.max((at + 1).saturating_sub(height));
    let rows: Vec<Row> = rows.into_iter().skip(first).collect();
    // What does not fit is counted on the rule.
    let more = match rows.len().saturating_sub(height) {
        0 => Row::default(),
        more => Row::of(Role::Soon, format!(" {more} more below")),
    };
    let wide = u16::try_from(more.width()).unwrap_or(0).min(rule.width);
    let (left, right) = (rule.width - wide, rule.x + rule.width - wide);
    pen.rule(
        Rect {
            width: left,
            ..rule
        },
        &Row::of(Role::Strong, title),
    );
    pen.row(
        Rect {
            x: right,
            width: wide,
            ..rule
        },
        &more,
    );
    pen.rows(inner, &rows);
}

/// A title, the rows, and which of them must be seen: the selected one, and
/// the last of its nine where there is room.
pub(super) type Drawn = (String, Vec<Row>, (usize, usize));

/// A text that is longer than its place, scrolled so far.
fn scrolled(title: &str, rows: Vec<Row>, at: usize, area: Rect) -> Drawn {
    let height = usize::from(area.height).saturating_sub(1);
    let first = at.min(rows.len().saturating_sub(height));
    let shown = rows.into_iter().skip(first).collect();
    let title = format!("{title}: Up Down scroll, any other key closes");
    (title, shown, (0, 0))
}

/// What was told and what was silenced, the latest first.
fn told_rows(model: &Model, width: usize) -> Vec<Row> {
    if model.told.is_empty() {
        return vec![Row::plain("nothing was told yet")];
    }
    marked(&model.told, "- ", Role::Plain, width)
}

/// The digit that takes a line: the nine around the selected one have one.
pub(super) fn digit(row: usize, selected: usize) -> String {
    if row / 9 == selected / 9 {
        (row % 9 + 1).to_string()
    } else {
        " ".to_owned()
    }
}

fn menu_rows(model: &Model, menu: &Menu, width: usize) -> Drawn {
    let about = match &menu.spot {
        Some(Spot::Piece(name)) => name.clone(),
        Some(Spot::Tank(name)) => format!("tank {name}"),
        None => model.project.definition.name.clone(),
    };
    if menu.why {
        let cannot = menu.cannot.iter();
        let told = cannot.map(|(say, why)| format!("{say} ({why})"));
        let rows = marked(told, "", Role::Plain, width);
        return (format!("{about}: what cannot, and why"), rows, (0, 0));
    }
    let title = match &menu.spot {
        _ if menu.figures => format!("{about}: figures to copy"),
        Some(_) => format!("{about}: what can be done now"),
        None => format!("{about}: everything else"),
    };
    let rows = menu.entries.iter().enumerate().map(|(n, entry)| {
        Row::of(
            Role::Key,
            format!("{} {}  ", digit(n, menu.row), entry.letter),
        )
        .and(Role::Plain, &entry.say)
        .chosen(n == menu.row)
    });
    let until = (menu.row / 9 * 9 + 8).min(menu.entries.len().saturating_sub(1));
    (title, rows.collect(), (menu.row, until))
}

pub(super) fn field_row(model: &Model, field: &Field, here: bool, width: usize) -> Row {
    let cursor = if here { "_" } else { "" };
    let lead = Row::of(
        if here { Role::Strong } else { Role::Plain },
        if here { "> " } else { "  " },
    )
    .column(
        if here { Role::Strong } else { Role::Plain },
        &field.label,
        if is_narrow(width) { 12 } else { 21 },
    );
    let typed = format!("{}{cursor}", field.text);
    let zone = model.project.definition.zone;
    match &field.entry {
        Entry::Number { unit, .. } => {
            let last = matches!(field.entry, Entry::Number { last: Some(_), .. });
            let ready = if !field.touched && !field.text.is_empty() {
                "   ready"
            } else if here && last && field.text.is_empty() {
                "   Right: as last time"
            } else {
                ""
            };
            let empty = if field.optional && field.text.is_empty() {
                "   may stay empty"
            } else {
                ""
            };
            let bare = field
                .text
                .chars()
                .all(|c| c.is_ascii_digit() || ".,-".contains(c));
            let unit = if bare { *unit } else { "" };
            lead.and(Role::Strong, format!("{typed} {unit}"))
                .and(Role::Plain, format!("{ready}{empty}"))
        }
        Entry::Words(suggestions) => {
            let more = if here && !suggestions.is_empty() {
                "   Left Right suggest"
            } else {
                ""
            };
            let empty = if field.optional && field.text.is_empty() {
                "   may stay empty"
            } else {
                ""
            };
            lead.and(Role::Strong, typed)
                .and(Role::Plain, format!("{more}{empty}"))
        }
        Entry::Choice(of)
            if lead.width() + of.iter().map(|c| c.len() + 5).sum::<usize>() > width =>
        {
            let at = of.iter().position(|choice| *choice == field.text);
            let at = at.map_or(0, |at| at + 1);
            lead.and(Role::Title, format!("[{at} {}]", field.text))
                .and(Role::Plain, format!(" of {}", of.len()))
        }
        Entry::Choice(of) => of.iter().enumerate().fold(lead, |row, (n, choice)| {
            let text = format!("{} {choice}", n + 1);
            if *choice == field.text {
                row.and(Role::Title, format!("[{text}]"))
                    .and(Role::Plain, " ")
            } else {
                row.and(Role::Plain, format!(" {text}  "))
            }
        }),
        Entry::When => {
            let words = field.when_words(zone, model.now);
            let how = if here {
                "   12 = min ago, 19.40 = clock"
            } else {
                ""
            };
            lead.and(Role::Strong, format!("{typed} "))
                .and(Role::Strong, format!("({words})"))
                .and(Role::Plain, how)
        }
    }
}

/// Sentences with a mark before each, wrapped.
pub(super) fn marked<S: AsRef<str>>(
    sentences: impl IntoIterator<Item = S>,
    mark: &str,
    role: Role,
    width: usize,
) -> Vec<Row> {
    let mut rows = Vec::new();
    for sentence in sentences {
        let lines = wrapped(sentence.as_ref(), width.saturating_sub(2));
        for (n, line) in lines.into_iter().enumerate() {
            let mark = if n == 0 { mark } else { "  " };
            rows.push(Row::of(role, mark).and(Role::Plain, line));
        }
    }
    rows
}

fn form_rows(model: &Model, form: &Form, width: usize) -> Drawn {
    let mut rows: Vec<Row> = form
        .fields
        .iter()
        .enumerate()
        .map(|(n, field)| field_row(model, field, n == form.at, width))
        .collect();
    if let Some(wrong) = &form.wrong {
        rows.extend(
            wrapped(wrong, width)
                .into_iter()
                .map(|l| Row::of(Role::Alarm, l)),
        );
    }
    rows.extend(marked(form.warnings(model), "! ", Role::Alarm, width));
    rows.extend(marked(form.meaning(model), "= ", Role::Soon, width));
    rows.extend(marked(form.cautions(model), "! ", Role::Alarm, width));
    let ahead = model.guide_ahead().filter(|_| form.guided);
    rows.extend(ahead.map(Row::plain));
    if form.waits {
        rows.push(Row::of(Role::Soon, "writing it down"));
    }
    (form.title.clone(), rows, (form.at, form.at))
}

fn look_rows(model: &Model, entry: &LookEntry, width: usize) -> Drawn {
    let title = format!("look at {}: what is seen?", entry.piece);
    let mut rows = Vec::new();
    let picked: Vec<String> = entry.picked.iter().map(ToString::to_string).collect();
    if !picked.is_empty() {
        let told = format!("seen: {}", picked.join(", "));
        rows.extend(
            wrapped(&told, width)
                .into_iter()
                .map(|l| Row::of(Role::Strong, l)),
        );
    }
    let advice = entry.picked.iter().filter_map(|f| f.kind.advice());
    rows.extend(marked(advice, "= ", Role::Soon, width));
    let ahead = model
        .guide_ahead()
        .filter(|_| entry.guided && picked.is_empty());
    rows.extend(ahead.map(Row::plain));
    if let Some(wrong) = &entry.wrong {
        rows.push(Row::of(Role::Alarm, wrong));
    }
    if entry.at_when {
        rows.push(field_row(model, &entry.when, true, width));
        return (title, rows, (0, 0));
    }
    let kinds = LookEntry::kinds();
    let page = entry.row / 9 * 9;
    for (n, kind) in kinds.iter().enumerate().skip(page).take(9) {
        let stop = if kind.stops() { "   stop sign" } else { "" };
        rows.push(
            Row::of(Role::Key, format!("{} ", digit(n, entry.row)))
                .and(Role::Plain, kind.word())
                .and(Role::Alarm, stop)
                .chosen(n == entry.row),
        );
    }
    let other = if page == 0 {
        "the other findings"
    } else {
        "the first findings"
    };
    rows.push(Row::of(Role::Key, "0 ").and(Role::Plain, other));
    (title, rows, (0, 0))
}

fn gate_rows(model: &Model, list: &Checklist, width: usize) -> Drawn {
    let title = match &list.then {
        Some(_) => format!("{}: what must hold first", list.piece),
        None => format!("{}: tick what holds", list.piece),
    };
    let mut rows = Vec::new();
    if list.at_when || !list.when.text.is_empty() {
        rows.push(field_row(model, &list.when, list.at_when, width));
    }
    let (mut at, mut until) = (0, 0);
    for row in 0..list.rows() {
        if row == list.row {
            at = rows.len();
        }
        let name = list.name_of(row);
        let held = list.gates.get(row).is_some_and(|g| g.held);
        let mark = match name {
            _ if held => "ok ",
            Some(name) if list.chosen.iter().any(|c| c == name) => "[x]",
            Some(_) => "[ ]",
            None if list.is_override(row) => " ! ",
            None => "[?]",
        };
        let say = match (list.gates.get(row), list.is_override(row)) {
            (Some(gate), _) => gate.say.as_str(),
            (None, true) => "override with a reason (stays on the traveller)",
            (None, false) => list
                .instead
                .get(row - list.gates.len())
                .map_or("", |(_, say)| say),
        };
        for (n, line) in wrapped(say, width.saturating_sub(6))
            .into_iter()
            .enumerate()
        {
            let lead = if n == 0 {
                format!("{} {mark} ", digit(row, list.row))
            } else {
                " ".repeat(6)
            };
            rows.push(
                Row::of(Role::Key, lead)
                    .and(if held { Role::Good } else { Role::Plain }, line)
                    .chosen(row == list.row),
            );
        }
        if row / 9 == list.row / 9 {
            until = rows.len().saturating_sub(1);
        }
    }
    (title, rows, (at, until))
}

fn refused_rows(refused: &Refused, width: usize) -> Drawn {
    let mut rows: Vec<Row> = wrapped(&refused.refusal.because, width)
        .into_iter()
        .map(|l| Row::of(Role::Alarm, l))
        .collect();
    rows.extend(marked(&refused.late, "! ", Role::Alarm, width));
    rows.push(Row::of(Role::Title, "ways out"));
    for (n, (say, _)) in refused.ways.iter().enumerate() {
        rows.push(
            Row::of(Role::Key, format!("{} ", digit(n, refused.row)))
                .and(Role::Plain, *say)
                .chosen(n == refused.row),
        );
    }
    let at = rows.len() - 1;
    (format!("refused: {}", refused.action.what), rows, (at, at))
}

fn confirm_rows(model: &Model, confirm: &Confirm, width: usize) -> Drawn {
    let lines = confirm.lines.iter().flat_map(|l| wrapped(l, width));
    let mut rows: Vec<Row> = lines.map(Row::plain).collect();
    let asked = model.key_of(confirm.then.command());
    let asked = asked.filter(|key| !matches!(key.as_str(), "Enter" | "Esc"));
    let keys = asked.map_or_else(|| "Enter".to_owned(), |key| format!("Enter or {key}"));
    rows.push(Row::of(Role::Key, keys).and(Role::Plain, ": yes; any other key: no"));
    (confirm.question.clone(), rows, (0, 0))
}
