//! The user's own settings: one small file in the user's configuration
//! folder, shared by all projects.
//!
//! ```ron
//! (
//!     who: "Ana",      // written beside everything that is recorded
//!     ascii: false,    // true: lines and marks of plain ASCII only
//!     colour: true,    // false: no colours; true: colours in spite of NO_COLOR
//!     notices: (       // how it is told that something is due
//!         bell: true,           // the terminal's bell
//!         terminal: Auto,       // the terminal's own notice: Auto, Osc9, Osc777, Off
//!         desktop: true,        // the desktop's notice; left out: where the terminal has none
//!         command: ["say-it"],  // a program of your own with its arguments; no shell
//!     ),
//! )
//! ```

use std::fs::{self, File};
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

use ron::extensions::Extensions;
use serde::{Deserialize, Deserializer};

use crate::store::ron_text;

/// Replaces the place of the settings; for a portable installation and tests.
const PLACE: &str = "TANKSIDE_CONFIG_DIR";

const FILE: &str = "settings.ron";

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
    /// How it is told that something is due.
    pub notices: Notices,
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

/// Settings that cannot be read or kept.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SettingsError {
    /// The file is no settings file.
    #[error("{}:{line}:{column}: {message}", path.display())]
    Text {
        /// Which file.
        path: PathBuf,
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What is wrong there.
        message: String,
    },
    /// The disk stands in the way.
    #[error("{}: {source}", path.display())]
    Disk {
        /// Which file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// There is no home folder to keep settings in.
    #[error("there is no home folder to keep settings in")]
    Homeless,
}

impl SettingsError {
    /// What would do.
    pub fn remedy(&self) -> String {
        match self {
            Self::Text { path, .. } => format!(
                "mend that line of {}, or delete the file to begin afresh; \
                 it may hold (who: \"Ana\", ascii: false, colour: true, notices: (bell: true, \
                 terminal: Auto, desktop: true, command: [\"program\", \"argument\"]))",
                path.display()
            ),
            Self::Disk { path, .. } => format!(
                "see that {} can be read and written, or name another folder in {PLACE}",
                path.display()
            ),
            Self::Homeless => format!("name a folder for them in {PLACE}"),
        }
    }
}

impl Settings {
    /// Where the settings are kept: `settings.ron` in the folder named by
    /// `TANKSIDE_CONFIG_DIR`, else in the user's configuration folder (on
    /// Linux `~/.config/tankside`). `None` for a user without a home.
    pub fn path() -> Option<PathBuf> {
        let named = std::env::var_os(PLACE).filter(|place| !place.is_empty());
        let folder = match named {
            Some(place) => PathBuf::from(place),
            None => directories::ProjectDirs::from("", "", "tankside")?
                .config_dir()
                .to_path_buf(),
        };
        Some(folder.join(FILE))
    }

    /// Reads the settings; without a file nothing is settled.
    ///
    /// # Errors
    /// When the file is there and cannot be read or understood.
    pub fn load() -> Result<Self, SettingsError> {
        Self::path().map_or_else(|| Ok(Self::default()), |path| Self::load_from(&path))
    }

    /// Writes the user's name into the settings. The rest of the file, its
    /// comments too, stays as it was. After a crash the file is the old or
    /// the new one, never a part of it.
    ///
    /// # Errors
    /// When the present file cannot be understood or the new one not written.
    pub fn remember_who(who: &str) -> Result<(), SettingsError> {
        let path = Self::path().ok_or(SettingsError::Homeless)?;
        remember_who_in(&path, who)
    }

    fn load_from(path: &Path) -> Result<Self, SettingsError> {
        read(path)?.map_or_else(|| Ok(Self::default()), |text| Self::parse(path, &text))
    }

    fn parse(path: &Path, text: &str) -> Result<Self, SettingsError> {
        ron::Options::default()
            .with_default_extension(Extensions::IMPLICIT_SOME)
            .from_str(text)
            .map_err(|error| SettingsError::Text {
                path: path.to_owned(),
                line: error.span.start.line,
                column: error.span.start.col,
                message: error.code.to_string(),
            })
    }
}

fn remember_who_in(path: &Path, who: &str) -> Result<(), SettingsError> {
    let text = read(path)?.unwrap_or_else(|| "(\n)\n".to_owned());
    Settings::parse(path, &text)?;
    let changed = ron_text::set(&text, "who", &ron_text::quote(who)).map_err(|error| {
        SettingsError::Text {
            path: path.to_owned(),
            line: 1,
            column: 1,
            message: error.to_string(),
        }
    })?;
    write(path, &changed).map_err(|source| SettingsError::Disk {
        path: path.to_owned(),
        source,
    })
}

fn read(path: &Path) -> Result<Option<String>, SettingsError> {
    let regular = fs::metadata(path).and_then(|data| {
        if data.is_file() {
            return Ok(());
        }
        let no_file = "it is no regular file";
        Err(std::io::Error::new(ErrorKind::InvalidInput, no_file))
    });
    match regular.and_then(|()| fs::read_to_string(path)) {
        Ok(text) => Ok(Some(text)),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
        Err(source) => Err(SettingsError::Disk {
            path: path.to_owned(),
            source,
        }),
    }
}

/// The new text is whole on the disk before it takes the name.
fn write(path: &Path, text: &str) -> std::io::Result<()> {
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder)?;
    }
    let beside = path.with_extension("ron.new");
    let mut file = File::create(&beside)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    fs::rename(&beside, path)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place() -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tankside").join(FILE);
        (folder, path)
    }

    #[test]
    fn without_a_file_nothing_is_settled() {
        let (_folder, path) = place();
        assert_eq!(Settings::load_from(&path).unwrap(), Settings::default());
    }

    #[test]
    fn a_name_is_remembered_in_a_folder_that_was_not_there() {
        let (_folder, path) = place();
        remember_who_in(&path, "Ana \"the glove\" Ødegård").unwrap();
        let settings = Settings::load_from(&path).unwrap();
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
        remember_who_in(&path, "Ana").unwrap();
        let text = fs::read_to_string(&path).unwrap();
        assert_eq!(text, written.replace("Bo", "Ana"));
        assert_eq!(Settings::load_from(&path).unwrap().ascii, Some(true));
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
        let error = Settings::load_from(folder.path()).unwrap_err();
        assert!(error.to_string().contains("no regular file"), "{error}");
    }

    #[test]
    fn an_unknown_word_is_refused_with_its_place_and_the_file_stays() {
        let (_folder, path) = place();
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        let written = "(\n    color: false,\n)\n";
        fs::write(&path, written).unwrap();
        let error = Settings::load_from(&path).unwrap_err();
        assert!(
            matches!(error, SettingsError::Text { line: 2, .. }),
            "{error}"
        );
        assert!(error.to_string().contains("color"), "{error}");
        assert!(error.remedy().contains("colour"));
        assert!(remember_who_in(&path, "Ana").is_err());
        assert_eq!(fs::read_to_string(&path).unwrap(), written);
    }
}
