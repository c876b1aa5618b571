//! The user's own files: where they are, how they are read and written.

use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};

use directories::ProjectDirs;

use super::SettingsError;
use crate::store::{self, Disk};

/// Replaces the place of settings and keys; for a portable installation and tests.
pub(super) const CONFIG_DIR: &str = "TANKSIDE_CONFIG_DIR";

/// Nobody writes longer ones, in bytes.
const LONGEST: u64 = 1 << 20;

/// The folder of settings and keys: the one named by `TANKSIDE_CONFIG_DIR`,
/// else the user's configuration folder (on Linux `~/.config/tankside`). `None`
/// for a user without a home.
pub(super) fn config_dir() -> Option<PathBuf> {
    named_or(CONFIG_DIR, |dirs| dirs.config_dir().to_owned())
}

/// Where what can be made anew is kept between starts: the folder named by
/// `TANKSIDE_CACHE_DIR`, else the user's cache folder (on Linux
/// `~/.cache/tankside`). `None` for a user without a home.
pub fn cache_dir() -> Option<PathBuf> {
    named_or("TANKSIDE_CACHE_DIR", |dirs| dirs.cache_dir().to_owned())
}

/// Where copies of the samples are laid out: the folder named by
/// `TANKSIDE_TRY_DIR`, else one in the user's data folder (on Linux
/// `~/.local/share/tankside/try`). `None` for a user without a home.
pub fn samples_dir() -> Option<PathBuf> {
    named_or("TANKSIDE_TRY_DIR", |dirs| dirs.data_local_dir().join("try"))
}

/// The folder that a variable names, unless it is empty, or else one of the
/// user's own.
fn named_or(variable: &str, own: impl FnOnce(&ProjectDirs) -> PathBuf) -> Option<PathBuf> {
    let named = std::env::var_os(variable).filter(|dir| !dir.is_empty());
    let own = || Some(own(&ProjectDirs::from("", "", "tankside")?));
    named.map(PathBuf::from).or_else(own)
}

/// The login name of the computer; Windows has it in `USERNAME`.
pub fn login() -> Option<String> {
    let names = ["USER", "LOGNAME", "USERNAME"].into_iter();
    let set = names.filter_map(|name| std::env::var(name).ok());
    set.map(|name| name.trim().to_owned())
        .find(|name| !name.is_empty())
}

/// The text of a file of the user's own; `None` without one.
///
/// # Errors
/// When it is there and is no short text.
pub(super) fn read(disk: &dyn Disk, path: &Path) -> Result<Option<String>, SettingsError> {
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

/// Writes such a file anew, in one step, its folder too. Where it is a link, as
/// to a folder that keeps all of a user's settings, the link stays.
pub(super) fn write(disk: &dyn Disk, path: &Path, text: &str) -> io::Result<()> {
    let path = &disk.real_path(path).unwrap_or_else(|_| path.to_owned());
    let (Some(folder), Some(name)) = (path.parent(), path.file_name()) else {
        return Err(ErrorKind::InvalidInput.into());
    };
    store::make_folder(disk, folder)?;
    store::replace(disk, folder, &name.to_string_lossy(), text.as_bytes())
}
