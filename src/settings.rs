//! The user's own settings: one small file in the user's configuration
//! folder, shared by all projects.
//!
//! ```ron
//! (
//!     who: "Ana",      // written beside everything that is recorded
//!     ascii: false,    // true: lines and marks of plain ASCII only
//!     colour: true,    // false: no colours; true: colours in spite of NO_COLOR
//!     palette: Dark,   // Terminal: its own 16 colours; Light, Dark: 24-bit
//!                      // colours for such a background, colour-blind-safe
//! )
//! ```

use std::fs::{self, File};
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

use ron::extensions::Extensions;
use serde::Deserialize;

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
    /// Which colours the screen uses; [`Palette::Terminal`] if not said.
    pub palette: Option<Palette>,
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
                 it may hold (who: \"Ana\", ascii: false, colour: true, palette: Dark)",
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
