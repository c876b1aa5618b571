//! The user's own keys: from the words in `keys.ron` to the screen's keys.

use crate::settings::{KeysFile, SettingsError};
use crate::store::ron_text::Placed;
use crate::tui::app::{Keymap, Rebinding, Word};

/// The keys that a user has: the defaults, with `keys.ron` over them.
///
/// # Errors
/// When the file is there and cannot be read or taken; with line and column,
/// and with the nearest known name.
pub fn keys_of(file: &KeysFile) -> Result<Keymap, SettingsError> {
    let rebindings = file.patch()?.into_iter().map(|(command, keys)| Rebinding {
        command: word(command),
        keys: keys.into_iter().map(word).collect(),
    });
    Keymap::patched(&rebindings.collect::<Vec<_>>())
        .map_err(|bad| file.fault(bad.line, bad.column, bad.message))
}

fn word(placed: Placed) -> Word {
    Word {
        text: placed.text,
        line: placed.line,
        column: placed.column,
    }
}

/// The same for the screen: a fault in one sentence.
pub(super) fn for_screen(file: &KeysFile) -> Result<Keymap, String> {
    keys_of(file).map_err(|error| {
        let fault = in_short(&error);
        let end = if fault.ends_with('?') { "" } else { "." };
        format!("{fault}{end} Until that is mended the keys stay as they were")
    })
}

/// A fault of one of the user's own files, with the file's name and the place.
pub(super) fn in_short(error: &SettingsError) -> String {
    let (path, place) = error.place();
    let name = path.and_then(|p| p.file_name()).map(|n| n.display());
    let name = name.map_or_else(String::new, |name| name.to_string());
    match place {
        Some((line, column)) => format!("{name}:{line}:{column}: {}", error.message()),
        None if name.is_empty() => error.message(),
        None => format!("{name}: {}", error.message()),
    }
}
