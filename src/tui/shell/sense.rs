//! What the terminal can show and the user wants to see.

use std::io::{IsTerminal as _, stdin, stdout};

use super::ShellError;
use crate::settings::{Palette, Settings};
use crate::tui::view::Colours;

/// How the screen may look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Look {
    pub(super) colours: Colours,
    pub(super) ascii: bool,
}

pub(super) type Env<'a> = &'a dyn Fn(&str) -> Option<String>;

/// The colours that the screen would have here and now, in words.
pub fn colours_told(settings: &Settings) -> &'static str {
    told(settings, &of_process)
}

fn told(settings: &Settings, env: Env<'_>) -> &'static str {
    let wanted = settings.palette.unwrap_or(Palette::Terminal);
    match (colours(settings, env), wanted) {
        (Colours::None, _) if settings.colour == Some(false) => "none, as these settings say",
        (Colours::None, _) => "none, as NO_COLOR says",
        (Colours::Terminal, Palette::Terminal) => "the terminal's own 16",
        (Colours::Terminal, _) => {
            "the terminal's own 16, since COLORTERM says neither truecolor nor 24bit"
        }
        (Colours::Light, _) => "24-bit for a light background, colour-blind-safe",
        (Colours::Dark, _) => "24-bit for a dark background, colour-blind-safe",
    }
}

fn colours(settings: &Settings, env: Env<'_>) -> Colours {
    if !settings.colour.unwrap_or(set(env, "NO_COLOR").is_none()) {
        return Colours::None;
    }
    // There is no standard; https://github.com/termstandard/colors tells what
    // terminals set.
    let deep = set(env, "COLORTERM").is_some_and(|v| v == "truecolor" || v == "24bit");
    match settings.palette {
        Some(Palette::Light) if deep => Colours::Light,
        Some(Palette::Dark) if deep => Colours::Dark,
        _ => Colours::Terminal,
    }
}

pub(super) fn of_process(name: &str) -> Option<String> {
    std::env::var(name).ok()
}

/// A variable that is not empty.
fn set(env: Env<'_>, name: &str) -> Option<String> {
    env(name).filter(|value| !value.is_empty())
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
        Self::from(settings, &of_process)
    }

    fn from(settings: &Settings, env: Env<'_>) -> Result<Self, ShellError> {
        let set = |name: &str| set(env, name);
        if let Some(term) = set("TERM").filter(|term| term == "dumb") {
            return Err(ShellError::Dumb(term));
        }
        let locale = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().find_map(set);
        let narrow = locale.is_some_and(|locale| !is_utf8(&locale));
        let asked = set("TANKSIDE_ASCII").map(|value| value != "0");
        Ok(Self {
            colours: colours(settings, env),
            ascii: asked.or(settings.ascii).unwrap_or(narrow),
        })
    }
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
        assert_eq!((seen.colours, seen.ascii), (Colours::Terminal, true));
        let once = look(&own, &[("TANKSIDE_ASCII", "0")]).unwrap();
        assert!(!once.ascii);
    }

    #[test]
    fn no_color_counts_only_when_it_is_not_empty() {
        // https://no-color.org: "when present and not an empty string".
        let plain = Settings::default();
        let colour = |env| look(&plain, env).unwrap().colours != Colours::None;
        assert!(colour(&[]));
        assert!(colour(&[("NO_COLOR", "")]));
        assert!(!colour(&[("NO_COLOR", "0")]));
    }

    #[test]
    fn a_palette_is_drawn_where_the_terminal_has_its_colours() {
        let dark = Settings {
            palette: Some(Palette::Dark),
            ..Settings::default()
        };
        let with = |env: &'static [(&str, &str)]| look(&dark, env).unwrap().colours;
        assert_eq!(with(&[("COLORTERM", "truecolor")]), Colours::Dark);
        assert_eq!(with(&[("COLORTERM", "24bit")]), Colours::Dark);
        assert_eq!(with(&[]), Colours::Terminal);
        assert_eq!(with(&[("COLORTERM", "yes")]), Colours::Terminal);
        assert_eq!(
            with(&[("COLORTERM", "24bit"), ("NO_COLOR", "1")]),
            Colours::None
        );
        assert!(told(&dark, &|_| None).contains("COLORTERM"));
        let plain = look(&Settings::default(), &[("COLORTERM", "truecolor")]);
        assert_eq!(plain.unwrap().colours, Colours::Terminal);
    }

    #[test]
    fn a_dumb_terminal_is_refused_with_what_works_instead() {
        let error = look(&Settings::default(), &[("TERM", "dumb")]).unwrap_err();
        assert!(error.to_string().contains("`dumb`"));
        assert!(error.remedy().contains("tankside status"));
    }
}
