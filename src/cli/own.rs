//! `settings`, `keys`: the user's own files.

use std::path::Path;

use serde_json::{Value, json};

use super::outcome::{Fault, Outcome, Trouble, line_safe};
use crate::report;
use crate::settings::{KeysFile, Palette, Settings, SettingsError};
use crate::tui::app::{INSIDE, Keymap, commands};
use crate::tui::shell::{Ways, colours_told, keys_of};

/// `settings [--who NAME]`: both files, where they are and what they say.
pub(super) fn settings(who: Option<&str>) -> Result<Outcome, Trouble> {
    if let Some(who) = who {
        Settings::remember_who(who)?;
    }
    let (settings, keys) = (Settings::load(), KeysFile::of_the_user());
    let (text, keys_text) = (Settings::text(), keys.text());
    let path = Settings::path();
    let flag = |value: Option<bool>| {
        value.map_or_else(|| "as the terminal says".to_owned(), |v| v.to_string())
    };
    let summary = settings.as_ref().map_or_else(
        |_unread| String::new(),
        |settings| {
            format!(
                "who: {}\nascii: {}\ncolour: {}\npalette: {}\ncolours drawn here: {}\nprint: {}\nnotices here:\n  {}\n",
                settings.who.as_deref().map_or_else(|| "not said yet".into(), line_safe),
                flag(settings.ascii),
                flag(settings.colour),
                settings.palette.unwrap_or(Palette::Terminal).word(),
                colours_told(settings),
                settings.print.word(),
                Ways::sense(&settings.notices).said().join("\n  "),
            )
        },
    );
    let told = format!(
        "{}{summary}\n{}",
        content(path.as_deref(), &text, "nothing is settled"),
        content(keys.path(), &keys_text, "the default keys hold"),
    );
    let settled = settings.as_ref().ok();
    let json = json!({
        "path": path.as_deref().map(Path::to_string_lossy),
        "content": text.ok().flatten(),
        "who": settled.map(|s| &s.who),
        "ascii": settled.map(|s| s.ascii),
        "colour": settled.map(|s| s.colour),
        "palette": settled.and_then(|s| s.palette).map(Palette::word),
        "colours": settled.map(colours_told),
        "print": settled.map(|s| s.print.word()),
        "notices": settled.map(|s| Ways::sense(&s.notices).said().to_vec()),
        "keys": {
            "path": keys.path().map(Path::to_string_lossy),
            "content": keys_text.ok().flatten(),
        },
    });
    let faults = [settings.err(), keys_of(&keys).err()];
    Ok(faulted(
        Outcome::both(told, json),
        faults.into_iter().flatten(),
    ))
}

/// A file's path, then its text.
fn content(
    path: Option<&Path>,
    text: &Result<Option<String>, SettingsError>,
    without: &str,
) -> String {
    let Some(path) = path else {
        let homeless = SettingsError::Homeless;
        return format!("{homeless}: {without}; {}\n", homeless.remedy());
    };
    let path = line_safe(&path.to_string_lossy());
    match text {
        Ok(Some(text)) => format!("{path}\n{}\n", indented(text)),
        Ok(None) => format!("{path}\nnot there: {without}\n"),
        Err(_) => format!("{path}\n"),
    }
}

/// What a file holds, set off from what the program says of it.
fn indented(text: &str) -> String {
    let lines = text.trim_end().lines().map(|line| format!("  {line}"));
    lines.collect::<Vec<_>>().join("\n")
}

/// `keys`: every command with its name and its keys, as they are now.
pub(super) fn keys() -> Outcome {
    let file = KeysFile::of_the_user();
    let (map, fault) = match keys_of(&file) {
        Ok(map) => (map, None),
        Err(fault) => (Keymap::default(), Some(fault)),
    };
    let mut lines = Vec::new();
    let mut list = Vec::new();
    for command in commands() {
        let names: Vec<String> = map.of(command).iter().map(|k| k.name()).collect();
        let keys = match names.as_slice() {
            [] => "none".to_owned(),
            _ if command.is_fixed() => map.names(command),
            names => names.join("  "),
        };
        let (name, place) = (command.name, command.place());
        let what = match command.say {
            "" => "the same for the line after it",
            say => say,
        };
        lines.push(format!("{name:<16} {keys:<17}  {what} ({place})"));
        list.push(json!({
            "name": name, "keys": names, "where": place, "what": what,
            "fixed": command.is_fixed(),
        }));
    }
    lines.push("\nin menus and entries, always:".to_owned());
    let fixed = INSIDE.iter();
    lines.extend(fixed.map(|(keys, say)| format!("{keys:<34}  {say}")));
    let path = file.path().map(Path::to_string_lossy);
    let place = path
        .as_deref()
        .unwrap_or("a folder named in TANKSIDE_CONFIG_DIR");
    let example = "such as (undo: [\"u\", \"F9\"])";
    lines.push(format!(
        "\nTo change them, say it in {}, {example}",
        line_safe(place)
    ));
    let inside: Vec<Value> = INSIDE
        .iter()
        .map(|(keys, say)| json!({ "keys": keys, "what": say }))
        .collect();
    let json = json!({ "path": path, "commands": list, "inside": inside });
    faulted(Outcome::both(lines.join("\n"), json), fault)
}

/// What was found wrong goes with the answer; the exit status tells it too.
fn faulted(mut done: Outcome, faults: impl IntoIterator<Item = SettingsError>) -> Outcome {
    for fault in faults {
        done.status = 2;
        if let (Value::Object(object), Value::Object(error)) = (&mut done.json, as_json(&fault)) {
            // The first one is the error of the answer.
            for (key, value) in error {
                object.entry(key).or_insert(value);
            }
        }
        done.warnings.push(format!("{fault}; {}", fault.remedy()));
    }
    done
}

fn as_json(fault: &SettingsError) -> Value {
    let (path, place) = fault.place();
    report::json::error(&report::json::Fault {
        kind: "settings",
        message: &fault.message(),
        remedy: Some(&fault.remedy()),
        file: path.map(Path::to_string_lossy).as_deref(),
        line: place.map(|p| p.0),
        column: place.map(|p| p.1),
    })
}

impl From<SettingsError> for Trouble {
    fn from(error: SettingsError) -> Self {
        let (path, place) = error.place();
        Self::Error(Box::new(Fault {
            kind: "settings".to_owned(),
            message: error.message(),
            remedy: error.remedy(),
            file: path.map(Path::to_path_buf),
            line: place.map(|p| p.0),
            column: place.map(|p| p.1),
        }))
    }
}
