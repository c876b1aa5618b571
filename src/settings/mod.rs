//! The user's own settings and keys: two small files in the user's
//! configuration folder, shared by all projects.
//!
//! `settings.ron`, which the program writes too:
//!
//! ```ron
//! (
//!     who: "Ana",      // written beside everything that is recorded
//!     ascii: false,    // true: lines and marks of plain ASCII only
//!     colour: true,    // false: no colours; true: colours in spite of NO_COLOR
//!     palette: Dark,   // Terminal: its own 16 colours; Light, Dark: 24-bit
//!                      // colours for such a background, colour-blind-safe
//!     print: Auto,     // how prints are drawn. Auto: the terminal's own pictures
//!                      // where it has them, else Blocks; Blocks, Braille: never asked
//!     notices: (       // how it is told that something is due
//!         bell: true,           // the terminal's bell
//!         terminal: Auto,       // the terminal's own notice: Auto, Osc9, Osc777, Off
//!         desktop: true,        // the desktop's notice; left out: where the terminal has none
//!         command: ["say-it"],  // a program of your own with its arguments; no shell
//!     ),
//! )
//! ```
//!
//! `keys.ron`, which only the user writes: a patch over the default keys. It is
//! a file of its own so that a slip in it never takes the settings along, and
//! so that it can be handed on to another person or computer.
//!
//! ```ron
//! (
//!     undo: ["u", "F9"],  // the first one is shown
//!     lock: ["Ctrl-l"],
//! )
//! ```

mod error;
mod files;
mod keys;

use std::path::{Path, PathBuf};

use ron::extensions::Extensions;
use serde::{Deserialize, Deserializer};

pub use error::SettingsError;
pub use files::{cache_dir, login, samples_dir};
pub use keys::{KeysFile, KeysPatch};

use crate::project::nearest;
use crate::store::{Disk, RealDisk, ron_text};
use files::{config_dir, read, write};

const FILE: &str = "settings.ron";

const MAY_HOLD: &str = "it may hold (who: \"Ana\", ascii: false, colour: true, palette: Dark, print: Auto, notices: (bell: true, \
                        terminal: Auto, desktop: true, command: [\"program\", \"argument\"]))";

/// What a user has settled for all projects; what is left out is `None`.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// Who records.
    pub who: Option<String>,
    /// Whether the screen draws with plain ASCII only.
    pub ascii: Option<bool>,
    /// Whether the screen uses colours; stands above `NO_COLOR`.
    pub colour: Option<bool>,
    /// Which colours the screen uses; [`Palette::Terminal`] if not said.
    pub palette: Option<Palette>,
    /// How prints are drawn.
    pub print: PrintDots,
    /// How it is told that something is due.
    pub notices: Notices,
}

/// How the screen draws prints.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
pub enum PrintDots {
    /// As the terminal's own pictures where it offers them, else in half blocks.
    #[default]
    Auto,
    /// In half blocks, two dots a cell; the terminal is asked for nothing.
    Blocks,
    /// In Braille, eight dots a cell; the terminal is asked for nothing.
    Braille,
}

impl PrintDots {
    /// As it is written in the settings.
    pub fn word(self) -> &'static str {
        match self {
            Self::Auto => "Auto",
            Self::Blocks => "Blocks",
            Self::Braille => "Braille",
        }
    }
}

/// How the screen tells that something is due.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Notices {
    /// By the terminal's bell.
    pub bell: bool,
    /// By the terminal's own notice.
    pub terminal: TerminalNotice,
    /// By the desktop's notice; `None` where the terminal gives none.
    pub desktop: Option<bool>,
    /// By a program of the user's own, looked up in `PATH`, with its
    /// arguments. No shell reads them: `~` and `$` are plain characters.
    #[serde(deserialize_with = "program")]
    pub command: Vec<String>,
}

impl Default for Notices {
    fn default() -> Self {
        Self {
            bell: true,
            terminal: TerminalNotice::Auto,
            desktop: None,
            command: Vec::new(),
        }
    }
}

/// Which sequence asks the terminal for a notice.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
pub enum TerminalNotice {
    /// The one that the terminal is known for, if it is for any.
    #[default]
    Auto,
    /// `OSC 9`, one text.
    Osc9,
    /// `OSC 777 ; notify`, a title and a text.
    Osc777,
    /// None.
    Off,
}

/// A program with its arguments, or nothing at all.
fn program<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<String>, D::Error> {
    let words = Vec::<String>::deserialize(deserializer)?;
    if words
        .first()
        .is_some_and(|program| program.trim().is_empty())
    {
        let message =
            "`command` begins with the name of a program, such as [\"say-it\", \"--loud\"]";
        return Err(serde::de::Error::custom(message));
    }
    if words.iter().any(|word| word.contains('\0')) {
        return Err(serde::de::Error::custom("`command` cannot hold a NUL"));
    }
    Ok(words)
}

/// The colours of the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum Palette {
    /// The terminal's own sixteen, whatever its background.
    Terminal,
    /// 24-bit colours for a light background, told apart by colour-blind eyes
    /// too; where the terminal has no such colours, its own sixteen.
    Light,
    /// The same for a dark background.
    Dark,
}

impl Palette {
    /// As it is written in the settings.
    pub fn word(self) -> &'static str {
        match self {
            Self::Terminal => "Terminal",
            Self::Light => "Light",
            Self::Dark => "Dark",
        }
    }
}

impl Settings {
    /// Where the settings are kept: `settings.ron` in the folder named by
    /// `TANKSIDE_CONFIG_DIR`, else in the user's configuration folder (on
    /// Linux `~/.config/tankside`). `None` for a user without a home.
    pub fn path() -> Option<PathBuf> {
        Some(config_dir()?.join(FILE))
    }

    /// The text of the file, as it stands; `None` without one.
    ///
    /// # Errors
    /// When the file is there and cannot be read.
    pub fn text() -> Result<Option<String>, SettingsError> {
        Self::path().map_or(Ok(None), |path| read(&RealDisk, &path))
    }

    /// Reads the settings; without a file nothing is settled.
    ///
    /// # Errors
    /// When the file is there and cannot be read or understood.
    pub fn load() -> Result<Self, SettingsError> {
        Self::path().map_or_else(
            || Ok(Self::default()),
            |path| Self::load_from(&RealDisk, &path),
        )
    }

    /// The same on a disk and in a file of one's own.
    ///
    /// # Errors
    /// As [`Self::load`].
    pub fn load_from(disk: &dyn Disk, path: &Path) -> Result<Self, SettingsError> {
        read(disk, path)?.map_or_else(|| Ok(Self::default()), |text| Self::parse(path, &text))
    }

    /// Writes the user's name into the settings. The rest of the file, its
    /// comments too, stays as it was. After a crash the file is the old or
    /// the new one, never a part of it.
    ///
    /// # Errors
    /// When the present file cannot be understood or the new one not written.
    pub fn remember_who(who: &str) -> Result<(), SettingsError> {
        let path = Self::path().ok_or(SettingsError::Homeless)?;
        remember_who_on(&RealDisk, &path, who)
    }

    fn parse(path: &Path, text: &str) -> Result<Self, SettingsError> {
        ron::Options::default()
            .with_default_extension(Extensions::IMPLICIT_SOME)
            .from_str(text)
            .map_err(|error| {
                let (line, column) = place_of(&error, text);
                SettingsError::Text {
                    path: path.to_owned(),
                    line,
                    column,
                    message: told(&error.code),
                    may_hold: MAY_HOLD,
                }
            })
    }
}

/// Where the fault stands: the reader tells the end of what it had read before,
/// which may be followed by blanks.
fn place_of(error: &ron::error::SpannedError, text: &str) -> (usize, usize) {
    let start = error.span.start;
    let lines = text
        .split_inclusive('\n')
        .take(start.line.saturating_sub(1));
    let line: usize = lines.map(str::len).sum();
    let before = text[line..].chars().take(start.col.saturating_sub(1));
    let read = line + before.map(char::len_utf8).sum::<usize>();
    let rest = &text[read..];
    ron_text::line_column(text, read + rest.len() - rest.trim_start().len())
}

fn told(error: &ron::Error) -> String {
    match error {
        ron::Error::NoSuchStructField {
            expected, found, ..
        } => {
            let near = nearest(found, expected.iter().copied());
            let (found, fields) = (found.escape_debug(), expected.join(" "));
            format!("there is no field `{found}`{near}; the fields are: {fields}")
        }
        ron::Error::NoSuchEnumVariant {
            expected, found, ..
        } => {
            let near = nearest(found, expected.iter().copied());
            let (found, words) = (found.escape_debug(), expected.join(" "));
            format!("`{found}` is not known here{near}; there are: {words}")
        }
        other => other.to_string(),
    }
}
/// [`Settings::remember_who`] on a disk and in a file of one's own.
///
/// # Errors
/// As there.
pub fn remember_who_on(disk: &dyn Disk, path: &Path, who: &str) -> Result<(), SettingsError> {
    let text = read(disk, path)?.unwrap_or_else(|| "(\n)\n".to_owned());
    Settings::parse(path, &text)?;
    let changed = ron_text::set(&text, "who", &ron_text::quote(who)).map_err(|error| {
        SettingsError::Text {
            path: path.to_owned(),
            line: 1,
            column: 1,
            message: error.to_string(),
            may_hold: MAY_HOLD,
        }
    })?;
    write(disk, path, &changed).map_err(|source| SettingsError::Disk {
        path: path.to_owned(),
        source,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn place() -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tankside").join(FILE);
        (folder, path)
    }

    #[test]
    fn without_a_file_nothing_is_settled() {
        let (_folder, path) = place();
        assert_eq!(
            Settings::load_from(&RealDisk, &path).unwrap(),
            Settings::default()
        );
    }

    #[cfg(unix)]
    #[test]
    fn a_link_to_the_settings_stays_a_link() {
        let home = tempfile::tempdir().unwrap();
        let (link, kept) = (home.path().join(FILE), home.path().join("kept.ron"));
        fs::write(&kept, "(ascii: true)").unwrap();
        std::os::unix::fs::symlink("kept.ron", &link).unwrap();
        remember_who_on(&RealDisk, &link, "Ana").unwrap();
        assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
        assert!(fs::read_to_string(&kept).unwrap().contains("Ana"));
    }

    #[test]
    fn a_name_is_remembered_in_a_folder_that_was_not_there() {
        let (_folder, path) = place();
        remember_who_on(&RealDisk, &path, "Ana \"the glove\" Ødegård").unwrap();
        let settings = Settings::load_from(&RealDisk, &path).unwrap();
        assert_eq!(settings.who.as_deref(), Some("Ana \"the glove\" Ødegård"));
        let left: Vec<_> = fs::read_dir(path.parent().unwrap()).unwrap().collect();
        assert_eq!(left.len(), 1, "only the settings are left: {left:?}");
    }

    #[test]
    fn a_name_changes_and_every_other_byte_stays() {
        let (_folder, path) = place();
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        let written = "// mine\n(\n    ascii: true, // the old terminal\n    who: \"Bo\",\n)\n";
        fs::write(&path, written).unwrap();
        remember_who_on(&RealDisk, &path, "Ana").unwrap();
        let text = fs::read_to_string(&path).unwrap();
        assert_eq!(text, written.replace("Bo", "Ana"));
        assert_eq!(
            Settings::load_from(&RealDisk, &path).unwrap().ascii,
            Some(true)
        );
    }

    #[test]
    fn notices_are_told_as_settled_and_by_default_without_a_program() {
        let parse = |text: &str| Settings::parse(Path::new(FILE), text);
        assert_eq!(parse("()").unwrap().notices, Notices::default());
        let text = r#"(notices: (bell: false, terminal: Osc9, desktop: true, command: ["say-it", "--loud"]))"#;
        let wanted = Notices {
            bell: false,
            terminal: TerminalNotice::Osc9,
            desktop: Some(true),
            command: vec!["say-it".into(), "--loud".into()],
        };
        assert_eq!(parse(text).unwrap().notices, wanted);
        for (wrong, word) in [
            ("(\n notices: (\n bel: true))", "bel"),
            ("(\n notices: (\n terminal: Osc8))", "Osc8"),
            ("(\n notices: (\n command: [\"\"]))", "program"),
            ("(\n notices: (\n command: [\"a\\0\"]))", "NUL"),
            ("(\n notices: (\n command: \"say-it\"))", "expected"),
        ] {
            let error = parse(wrong).unwrap_err();
            assert!(
                matches!(error, SettingsError::Text { line: 3, .. }),
                "{error}"
            );
            assert!(
                error
                    .to_string()
                    .to_lowercase()
                    .contains(&word.to_lowercase()),
                "{error}"
            );
            assert!(error.remedy().contains("notices: (bell: true"));
        }
    }

    #[test]
    fn what_is_no_file_is_refused_and_not_waited_for() {
        let (folder, _) = place();
        let error = Settings::load_from(&RealDisk, folder.path()).unwrap_err();
        assert!(error.to_string().contains("no regular file"), "{error}");
    }

    #[test]
    fn an_unknown_word_is_refused_with_its_place_and_the_file_stays() {
        let (_folder, path) = place();
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        let written = "(\n    color: false,\n)\n";
        fs::write(&path, written).unwrap();
        let error = Settings::load_from(&RealDisk, &path).unwrap_err();
        assert_eq!(error.place().1, Some((2, 5)), "{error}");
        let told = "there is no field `color`; did you mean `colour`?";
        assert!(error.to_string().contains(told), "{error}");
        assert!(error.remedy().contains("colour"));
        assert!(remember_who_on(&RealDisk, &path, "Ana").is_err());
        assert_eq!(fs::read_to_string(&path).unwrap(), written);
    }

    #[test]
    fn a_wrong_value_is_refused_at_its_own_place() {
        for (written, place) in [
            ("(\n    ascii: 3,\n)", (2, 12)),
            ("(palette: Drak)", (1, 11)),
            ("(\n    who: Ana,\n)", (2, 10)),
            ("(\n    ascii: true\n    colour: true,\n)", (3, 5)),
            ("(\n    who: \"\u{d8}\", asci: true)", (2, 15)),
            ("", (1, 1)),
        ] {
            let error = Settings::parse(Path::new("s"), written).unwrap_err();
            assert_eq!(error.place().1, Some(place), "{written:?}: {error}");
        }
    }
}
