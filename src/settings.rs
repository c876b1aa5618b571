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

use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use ron::extensions::Extensions;
use serde::Deserialize;

use crate::project::nearest;
use crate::store::ron_text::{self, PathError, Placed};
use crate::store::{self, Disk, RealDisk};

/// Replaces the place of the settings; for a portable installation and tests.
const PLACE: &str = "TANKSIDE_CONFIG_DIR";

const FILE: &str = "settings.ron";

const KEYS_FILE: &str = "keys.ron";

/// Nobody writes longer ones, in bytes.
const LONGEST: u64 = 1 << 20;

const MAY_HOLD: &str = "it may hold (who: \"Ana\", ascii: false, colour: true, palette: Dark)";

const KEYS_MAY_HOLD: &str =
    "it may hold (undo: [\"u\", \"F9\"]); `tankside keys` lists every name and its keys";

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
        /// What would be right.
        may_hold: &'static str,
    },
    /// The disk stands in the way.
    #[error("{}: {source}", path.display())]
    Disk {
        /// Which file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// There is no home folder to keep settings in.
    #[error("there is no home folder to keep settings in")]
    Homeless,
}

impl SettingsError {
    /// The file, with line and column where the fault has such.
    pub fn place(&self) -> (Option<&Path>, Option<(usize, usize)>) {
        match self {
            Self::Text {
                path, line, column, ..
            } => (Some(path), Some((*line, *column))),
            Self::Disk { path, .. } => (Some(path), None),
            Self::Homeless => (None, None),
        }
    }

    /// What is wrong, without its place.
    pub fn message(&self) -> String {
        match self {
            Self::Text { message, .. } => message.clone(),
            Self::Disk { source, .. } => source.to_string(),
            Self::Homeless => self.to_string(),
        }
    }

    /// What would do.
    pub fn remedy(&self) -> String {
        match self {
            Self::Text { path, may_hold, .. } => format!(
                "mend that line of {}, or delete the file to begin afresh; {may_hold}",
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
        Some(folder()?.join(FILE))
    }

    /// The text of the file, as it stands; `None` without one.
    ///
    /// # Errors
    /// When the file is there and cannot be read.
    pub fn text() -> Result<Option<String>, SettingsError> {
        Self::path().map_or(Ok(None), |path| read(&RealDisk, &path))
    }

    /// Where what can be made anew is kept between starts: the folder named by
    /// `TANKSIDE_CACHE_DIR`, else the user's cache folder (on Linux
    /// `~/.cache/tankside`). `None` for a user without a home.
    pub fn cache_dir() -> Option<PathBuf> {
        let named = std::env::var_os("TANKSIDE_CACHE_DIR").filter(|place| !place.is_empty());
        named.map(PathBuf::from).or_else(|| {
            let dirs = directories::ProjectDirs::from("", "", "tankside")?;
            Some(dirs.cache_dir().to_path_buf())
        })
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

    /// The same on a disk and in a file of one's own.
    ///
    /// # Errors
    /// As [`Self::load`].
    pub fn load_from(disk: &dyn Disk, path: &Path) -> Result<Self, SettingsError> {
        read(disk, path)?.map_or_else(|| Ok(Self::default()), |text| Self::parse(path, &text))
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

/// The folder of the user's own files.
fn folder() -> Option<PathBuf> {
    let named = std::env::var_os(PLACE).filter(|place| !place.is_empty());
    named.map(PathBuf::from).or_else(|| {
        let dirs = directories::ProjectDirs::from("", "", "tankside")?;
        Some(dirs.config_dir().to_path_buf())
    })
}

/// What a look at a file tells, so that a change of it is seen.
type Stamp = Option<store::Stamp>;

/// The user's own keys, `keys.ron`: where it is, what it says, whether it
/// changed. What the names in it mean, the screen knows.
#[derive(Debug, Clone)]
pub struct KeysFile {
    path: Option<PathBuf>,
    seen: Stamp,
}

/// Names of commands with the names of their keys, in the order of the file.
pub type KeysPatch = Vec<(Placed, Vec<Placed>)>;

impl KeysFile {
    /// Beside the user's settings.
    pub fn of_the_user() -> Self {
        Self::at(folder().map(|folder| folder.join(KEYS_FILE)))
    }

    fn at(path: Option<PathBuf>) -> Self {
        let mut file = Self { path, seen: None };
        file.seen = file.stamp();
        file
    }

    /// Where it is; `None` for a user without a home.
    pub fn path(&self) -> Option<&Path> {
        self.path.as_deref()
    }

    /// Its text as it stands; `None` without one.
    ///
    /// # Errors
    /// When the file is there and cannot be read.
    pub fn text(&self) -> Result<Option<String>, SettingsError> {
        self.path().map_or(Ok(None), |path| read(&RealDisk, path))
    }

    /// What it says; nothing without a file.
    ///
    /// # Errors
    /// When the file is there and is no list of names with their keys.
    pub fn patch(&self) -> Result<KeysPatch, SettingsError> {
        let text = self.text()?.unwrap_or_else(|| "()".to_owned());
        ron_text::text_lists(&text).map_err(|error| match error {
            PathError::Text {
                line,
                column,
                expected,
                found,
            } => self.fault(line, column, format!("expected {expected}, found {found}")),
            other => self.fault(1, 1, other.to_string()),
        })
    }

    /// A fault at a place in it.
    pub fn fault(&self, line: usize, column: usize, message: String) -> SettingsError {
        SettingsError::Text {
            path: self.path.clone().unwrap_or_default(),
            line,
            column,
            message,
            may_hold: KEYS_MAY_HOLD,
        }
    }

    /// Whether the file is another one than when this was asked last.
    pub fn changed(&mut self) -> bool {
        let now = self.stamp();
        std::mem::replace(&mut self.seen, now) != now
    }

    fn stamp(&self) -> Stamp {
        RealDisk.stat(self.path()?).ok()
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

fn read(disk: &dyn Disk, path: &Path) -> Result<Option<String>, SettingsError> {
    let failed = |source| SettingsError::Disk {
        path: path.to_owned(),
        source,
    };
    let fits = disk.stat(path).and_then(|stamp| {
        if stamp.is_file && stamp.len > LONGEST {
            let wrong = "it is longer than such a file can be";
            return Err(io::Error::new(ErrorKind::InvalidInput, wrong));
        }
        Ok(())
    });
    match fits.and_then(|()| disk.read(path)) {
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
        Err(error) => Err(failed(error)),
        Ok(bytes) => String::from_utf8(bytes)
            .map(Some)
            .map_err(|error| failed(io::Error::new(ErrorKind::InvalidData, error.utf8_error()))),
    }
}

fn write(disk: &dyn Disk, path: &Path, text: &str) -> io::Result<()> {
    let (Some(folder), Some(name)) = (path.parent(), path.file_name()) else {
        return Err(ErrorKind::InvalidInput.into());
    };
    store::make_folder(disk, folder)?;
    store::replace(disk, folder, &name.to_string_lossy(), text.as_bytes())
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

    #[test]
    fn keys_are_told_with_their_places_and_a_change_is_seen_once() {
        let (_folder, path) = place();
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        let mut file = KeysFile::at(Some(path.with_file_name(KEYS_FILE)));
        assert!(file.patch().unwrap().is_empty(), "without a file");
        assert!(!file.changed());
        fs::write(file.path().unwrap(), "(\n    undo: [\"u\"],\n)").unwrap();
        assert!(file.changed() && !file.changed());
        let patch = file.patch().unwrap();
        let [(name, keys)] = patch.as_slice() else {
            panic!("{patch:?}")
        };
        assert_eq!((name.text.as_str(), name.line, name.column), ("undo", 2, 5));
        assert_eq!(
            (keys[0].text.as_str(), keys[0].line, keys[0].column),
            ("u", 2, 12)
        );
        fs::write(file.path().unwrap(), "(undo: u)").unwrap();
        assert!(file.changed());
        let error = file.patch().unwrap_err();
        assert_eq!(error.place().1, Some((1, 8)), "{error}");
        assert!(error.to_string().contains("expected a list"), "{error}");
        fs::remove_file(file.path().unwrap()).unwrap();
        assert!(file.changed() && file.patch().unwrap().is_empty());
    }
}
