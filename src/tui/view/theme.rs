//! What a role looks like. States are told by word and shape first; colour
//! comes on top, from the terminal's own sixteen, and never as a background.

use ratatui::style::{Color, Modifier, Style};

/// What a piece of text is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Ordinary text.
    Plain,
    /// Names and figures that are looked for.
    Strong,
    /// Headings.
    Title,
    /// Keys.
    Key,
    /// Overdue, refused, wrong.
    Alarm,
    /// Due soon; questions.
    Soon,
    /// Done, holds, reached.
    Good,
    /// The liquid and the vessel.
    Vessel,
    /// Metal: charge and thickness bars.
    Metal,
}

/// How the screen is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Theme {
    colour: bool,
    ascii: bool,
}

impl Theme {
    /// With the terminal's sixteen colours or none at all; with box and block
    /// glyphs or plain ASCII.
    pub fn new(colour: bool, ascii: bool) -> Self {
        Self { colour, ascii }
    }

    /// Whether only ASCII glyphs of our own are drawn.
    pub fn is_ascii(self) -> bool {
        self.ascii
    }

    /// The style of a role. Without colour no foreground and no background is
    /// set, so that nothing but modifiers is ever sent.
    pub fn style(self, role: Role) -> Style {
        let plain = Style::new();
        let (colour, modifier) = match role {
            Role::Plain => return plain,
            Role::Strong => (None, Modifier::BOLD),
            Role::Title => (None, Modifier::BOLD | Modifier::UNDERLINED),
            Role::Key => (Some(Color::Magenta), Modifier::BOLD),
            Role::Alarm => (Some(Color::Red), Modifier::BOLD),
            Role::Soon => (Some(Color::Blue), Modifier::BOLD),
            Role::Good => (Some(Color::Green), Modifier::empty()),
            Role::Vessel => (Some(Color::Cyan), Modifier::empty()),
            Role::Metal => (Some(Color::Red), Modifier::empty()),
        };
        match colour.filter(|_| self.colour) {
            Some(colour) => plain.fg(colour).add_modifier(modifier),
            None => plain.add_modifier(modifier),
        }
    }

    /// The style of what is selected.
    pub fn selected(self, role: Role) -> Style {
        self.style(role).add_modifier(Modifier::REVERSED)
    }

    /// The text in the glyphs of this theme.
    pub(super) fn glyphs(self, text: &str) -> String {
        if !self.ascii {
            return text.to_owned();
        }
        text.chars().fold(String::new(), |mut out, c| {
            out.push_str(match c {
                '\u{b1}' => "+-",
                '\u{fffd}' => "?",
                '\u{b7}' | '\u{2026}' => ".",
                '\u{b2}' => "2",
                '\u{b5}' => "u",
                '\u{b0}' => " ",
                '\u{2588}' => "#",
                '\u{2500}' | '\u{2550}' => "-",
                '\u{2502}' => "|",
                '\u{2592}' | '\u{250c}' | '\u{2510}' | '\u{2514}' | '\u{2518}' | '\u{2564}'
                | '\u{2552}' | '\u{2555}' | '\u{2534}' => "+",
                '\u{25cf}' => "*",
                '\u{25cb}' => "o",
                '\u{25a0}' => "x",
                other => {
                    out.push(other);
                    return out;
                }
            });
            out
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROLES: [Role; 9] = [
        Role::Plain,
        Role::Strong,
        Role::Title,
        Role::Key,
        Role::Alarm,
        Role::Soon,
        Role::Good,
        Role::Vessel,
        Role::Metal,
    ];

    #[test]
    fn no_background_is_ever_set_and_mono_sets_no_colour() {
        for role in ROLES {
            for theme in [Theme::new(true, false), Theme::new(false, false)] {
                assert_eq!(theme.style(role).bg, None);
                assert_eq!(theme.selected(role).bg, None);
            }
            assert_eq!(Theme::new(false, true).style(role).fg, None);
        }
    }
}
