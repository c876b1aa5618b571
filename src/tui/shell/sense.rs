//! What the terminal can show and the user wants to see.

use std::io::{IsTerminal as _, stdin, stdout};

use super::ShellError;
use crate::settings::Settings;

/// How the screen may look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Look {
    pub(super) colour: bool,
    pub(super) ascii: bool,
}

impl Look {
    /// Asks the environment; the user's settings stand above `NO_COLOR` and
    /// the locale, `TANKSIDE_ASCII=1` above the settings.
    pub(super) fn sense(settings: &Settings) -> Result<Self, ShellError> {
        if !stdin().is_terminal() {
            return Err(ShellError::NoTerminal("standard input"));
        }
        if !stdout().is_terminal() {
            return Err(ShellError::NoTerminal("standard output"));
        }
        Self::from(settings, &|name| std::env::var(name).ok())
    }

    fn from(settings: &Settings, env: &dyn Fn(&str) -> Option<String>) -> Result<Self, ShellError> {
        let set = |name: &str| env(name).filter(|value| !value.is_empty());
        if let Some(term) = set("TERM").filter(|term| term == "dumb") {
            return Err(ShellError::Dumb(term));
        }
        let locale = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().find_map(set);
        let narrow = locale.is_some_and(|locale| !is_utf8(&locale));
        let asked = set("TANKSIDE_ASCII").map(|value| value != "0");
        Ok(Self {
            colour: settings.colour.unwrap_or(set("NO_COLOR").is_none()),
            ascii: asked.or(settings.ascii).unwrap_or(narrow),
        })
    }
}

/// The login name of the computer; Windows has it in `USERNAME`.
pub(super) fn login() -> Option<String> {
    let names = ["USER", "LOGNAME", "USERNAME"].into_iter();
    let set = names.filter_map(|name| std::env::var(name).ok());
    set.map(|name| name.trim().to_owned())
        .find(|name| !name.is_empty())
}

/// Whether a locale such as `de_DE.UTF-8@euro` writes UTF-8.
fn is_utf8(locale: &str) -> bool {
    let locale = locale.to_ascii_lowercase();
    locale.contains("utf-8") || locale.contains("utf8")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(settings: &Settings, env: &[(&str, &str)]) -> Result<Look, ShellError> {
        let owned = |name: &str| {
            let value = env.iter().find(|(n, _)| *n == name)?.1;
            Some(value.to_owned())
        };
        Look::from(settings, &owned)
    }

    #[test]
    fn a_locale_without_utf8_means_ascii_and_the_first_one_that_is_set_decides() {
        let plain = Settings::default();
        let ascii = |env| look(&plain, env).unwrap().ascii;
        assert!(!ascii(&[]), "no locale says nothing against UTF-8");
        assert!(!ascii(&[("LANG", "de_DE.UTF-8@euro")]));
        assert!(!ascii(&[("LANG", "C.utf8")]));
        assert!(ascii(&[("LANG", "C")]));
        assert!(ascii(&[("LC_ALL", "POSIX"), ("LANG", "en_US.UTF-8")]));
        assert!(!ascii(&[
            ("LC_ALL", ""),
            ("LC_CTYPE", "C.UTF-8"),
            ("LANG", "C")
        ]));
        assert!(ascii(&[("TANKSIDE_ASCII", "1"), ("LANG", "C.UTF-8")]));
    }

    #[test]
    fn settings_stand_above_the_locale_and_no_color() {
        let own = Settings {
            ascii: Some(true),
            colour: Some(true),
            ..Settings::default()
        };
        let seen = look(&own, &[("NO_COLOR", "1"), ("LANG", "C.UTF-8")]).unwrap();
        assert_eq!((seen.colour, seen.ascii), (true, true));
        let once = look(&own, &[("TANKSIDE_ASCII", "0")]).unwrap();
        assert!(!once.ascii);
    }

    #[test]
    fn no_color_counts_only_when_it_is_not_empty() {
        // https://no-color.org: "when present and not an empty string".
        let plain = Settings::default();
        let colour = |env| look(&plain, env).unwrap().colour;
        assert!(colour(&[]));
        assert!(colour(&[("NO_COLOR", "")]));
        assert!(!colour(&[("NO_COLOR", "0")]));
    }

    #[test]
    fn a_dumb_terminal_is_refused_with_what_works_instead() {
        let error = look(&Settings::default(), &[("TERM", "dumb")]).unwrap_err();
        assert!(error.to_string().contains("`dumb`"));
        assert!(error.remedy().contains("tankside status"));
    }
}
