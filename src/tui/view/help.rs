//! Help is the screen you are on: its keys, its words, its cautions.

use super::Role;
use super::pen::{Row, wrapped};
use crate::tui::app::{INSIDE, Model, cautions_of, commands, words_of};

/// All lines of the help, for this width.
pub(super) fn rows(model: &Model, width: usize) -> Vec<Row> {
    let mut rows = vec![Row::of(
        Role::Title,
        format!("{}: keys", model.screen.title()),
    )];
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
            &command.key_names(),
            &format!("{}{why}", command.say),
            Role::Key,
            width,
        ));
    }
    rows.push(Row::of(Role::Title, "keys in menus and entries"));
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

fn entry(lead: &str, say: &str, role: Role, width: usize) -> Vec<Row> {
    let margin = if role == Role::Alarm {
        4
    } else {
        (width / 3).clamp(12, 20)
    };
    wrapped(say, width.saturating_sub(margin))
        .into_iter()
        .enumerate()
        .map(|(n, line)| {
            let lead = if n == 0 { lead } else { "" };
            Row::default()
                .column(role, lead, margin - 1)
                .and(Role::Plain, " ")
                .and(Role::Plain, line)
        })
        .collect()
}
