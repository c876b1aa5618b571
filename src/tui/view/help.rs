//! Help is the screen you are on: its keys, its words, its cautions.

use super::Role;
use super::pen::{Row, wrapped};
use crate::tui::app::{INSIDE, Layer, Model, cautions_of, commands, words_of};

/// All lines of the help, for this width.
pub(super) fn rows(model: &Model, width: usize) -> Vec<Row> {
    let mut rows = over(model, width);
    rows.push(Row::of(
        Role::Title,
        format!("{}: keys", model.screen.title()),
    ));
    let mut listed: Vec<_> = commands()
        .iter()
        .filter(|c| c.on(model.screen) && !c.say.is_empty())
        .collect();
    listed.sort_by_key(|c| matches!(c.applies, crate::tui::app::Applies::Everywhere));
    for command in listed {
        let why = command
            .can(model)
            .err()
            .map_or_else(String::new, |why| format!(" (not now: {why})"));
        rows.extend(entry(
            &model.keys.names(command),
            &format!("{}{why}", command.say),
            Role::Key,
            width,
        ));
    }
    rows.extend(entry("keys.ron", &changed(model), Role::Strong, width));
    rows.push(Row::of(
        Role::Title,
        "keys in menus and entries: always these",
    ));
    for (keys, say) in INSIDE {
        rows.extend(entry(keys, say, Role::Key, width));
    }
    rows.push(Row::of(Role::Title, "words"));
    for (word, say) in words_of(model.screen) {
        rows.extend(entry(word, say, Role::Strong, width));
    }
    rows.push(Row::of(Role::Title, "cautions"));
    for caution in cautions_of(model) {
        rows.extend(entry("!", caution, Role::Alarm, width));
    }
    rows
}

/// The keys of what the help was asked from, where that was no screen.
fn over(model: &Model, width: usize) -> Vec<Row> {
    let about = match model.layers.iter().rev().nth(1) {
        Some(Layer::Print(_)) => "on a print",
        Some(Layer::Spread(_)) => "on the spread",
        Some(Layer::Changing(_)) => "trying a change",
        Some(Layer::Masking(_)) => "on its masks",
        Some(Layer::Adding(_)) => "adding a piece",
        _ => return Vec::new(),
    };
    let mut rows = vec![Row::of(Role::Title, format!("{about}: keys"))];
    for (keys, say) in INSIDE {
        let say = say
            .strip_prefix(about)
            .and_then(|say| say.strip_prefix(": "));
        rows.extend(
            say.map(|say| entry(keys, say, Role::Key, width))
                .into_iter()
                .flatten(),
        );
    }
    rows
}

/// Where the keys are changed.
fn changed(model: &Model) -> String {
    match &model.keys_place {
        Some(place) => format!("changes these keys: {place}; `tankside keys` lists the names"),
        None => "changes these keys; `tankside settings` tells where it is".to_owned(),
    }
}

fn entry(lead: &str, say: &str, role: Role, width: usize) -> Vec<Row> {
    let margin = if role == Role::Alarm {
        4
    } else {
        (width / 3).clamp(12, 20)
    };
    let says = wrapped(say, width.saturating_sub(margin));
    let leads = wrapped(lead, margin - 1);
    let line = |lines: &[String], n: usize| lines.get(n).cloned().unwrap_or_default();
    (0..says.len().max(leads.len()))
        .map(|n| {
            Row::default()
                .column(role, &line(&leads, n), margin - 1)
                .and(Role::Plain, " ")
                .and(Role::Plain, line(&says, n))
        })
        .collect()
}
