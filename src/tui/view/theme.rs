//! What a role looks like. States are told by word and shape first; colour
//! comes on top and never as a background, so that the terminal's own stays.

use ratatui::style::{Color, Modifier, Style};

use crate::mesh::Class;

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

/// Which colours are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Colours {
    /// None: bold, underline and reverse only.
    None,
    /// Of the terminal's own sixteen those that are seen on light and on dark.
    Terminal,
    /// 24-bit colours for a light background.
    Light,
    /// 24-bit colours for a dark background.
    Dark,
}

/// A colour in 24 bits: `0xRRGGBB`.
type Rgb = u32;

/// How the screen is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Theme {
    colours: Colours,
    ascii: bool,
}

impl Theme {
    /// With the terminal's sixteen colours or none at all; with box and block
    /// glyphs or plain ASCII.
    pub fn new(colour: bool, ascii: bool) -> Self {
        let colours = if colour {
            Colours::Terminal
        } else {
            Colours::None
        };
        Self::with(colours, ascii)
    }

    /// With these colours; with box and block glyphs or plain ASCII.
    pub fn with(colours: Colours, ascii: bool) -> Self {
        Self { colours, ascii }
    }

    /// The style of a role. Without colour no foreground and no background is
    /// set, so that nothing but modifiers is ever sent.
    pub fn style(self, role: Role) -> Style {
        let modifier = match role {
            Role::Strong | Role::Key | Role::Alarm | Role::Soon => Modifier::BOLD,
            Role::Title => Modifier::BOLD | Modifier::UNDERLINED,
            Role::Plain | Role::Good | Role::Vessel | Role::Metal => Modifier::empty(),
        };
        let style = Style::new().add_modifier(modifier);
        self.colour(role).map_or(style, |colour| style.fg(colour))
    }

    fn colour(self, role: Role) -> Option<Color> {
        match self.colours {
            Colours::None => None,
            Colours::Terminal => own(role),
            Colours::Light => light(role).map(Color::from_u32),
            Colours::Dark => dark(role).map(Color::from_u32),
        }
    }

    /// The style of what is selected.
    pub fn selected(self, role: Role) -> Style {
        self.style(role).add_modifier(Modifier::REVERSED)
    }

    /// Whether only plain ASCII is drawn.
    pub(super) fn is_ascii(self) -> bool {
        self.ascii
    }

    /// Whether surfaces have shades of colours.
    pub(super) fn has_shades(self) -> bool {
        matches!(self.colours, Colours::Light | Colours::Dark)
    }

    /// Whether the background is known to be light.
    pub(super) fn is_light(self) -> bool {
        self.colours == Colours::Light
    }

    /// The colour of a surface; `None` where there are no shades.
    pub(super) fn shade(self, shade: Shade) -> Option<Rgb> {
        self.has_shades().then(|| self.lasting_shade(shade))
    }

    /// The same where colours are needed whatever the theme: grey without any.
    pub(super) fn lasting_shade(self, shade: Shade) -> Rgb {
        let tones = match (self.colours, shade.section) {
            (Colours::None, _) => [0x20_2020, 0x90_9090, 0xf4_f4f4],
            (_, true) => [0x30_2620, 0x7a_6656, 0xc8_b8a8],
            _ => tones(shade.class),
        };
        between(tones, shade.light)
    }

    /// One colour that stands for a class; `None` where there are no shades.
    pub(super) fn tone(self, class: Class) -> Option<Rgb> {
        let light = if self.colours == Colours::Light {
            0.42
        } else {
            0.7
        };
        self.has_shades().then(|| between(tones(class), light))
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
                '\u{2588}' | '\u{2593}' => "#",
                '\u{2500}' | '\u{2550}' => "-",
                '\u{2502}' => "|",
                '\u{2592}' | '\u{250c}' | '\u{2510}' | '\u{2514}' | '\u{2518}' | '\u{2564}'
                | '\u{2552}' | '\u{2555}' | '\u{2534}' => "+",
                '\u{25cf}' => "*",
                '\u{25cb}' => "o",
                '\u{25a0}' => "x",
                '\u{2573}' => "M",
                '\u{2571}' => "H",
                '\u{2261}' => "D",
                '\u{253c}' => "/",
                other => {
                    out.push(other);
                    return out;
                }
            });
            out
        })
    }
}

/// How a bit of a surface looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shade {
    /// What the bath does with it.
    pub(super) class: Class,
    /// Whether it is a cut through the solid.
    pub(super) section: bool,
    /// How light it lies, 0 to 1.
    pub(super) light: f32,
}

/// The colours of a class in the dark, lit, and shining. What is wetted is of
/// copper; the others are told by their patterns too.
fn tones(class: Class) -> [Rgb; 3] {
    match class {
        Class::Wetted => [0x2e_140c, 0xb8_6a3c, 0xff_e2c2],
        Class::Masked => [0x1d_1a4a, 0x6d_70d6, 0xe0_e2ff],
        Class::Dry => [0x04_2a26, 0x2f_a58c, 0xcc_f6ea],
        Class::Hidden => [0x1c_2630, 0x83_96a8, 0xea_f2fa],
    }
}

/// The colour between three, at a light of 0, 0.5 and 1.
fn between([dark, middle, bright]: [Rgb; 3], light: f32) -> Rgb {
    let light = light.clamp(0.0, 1.0) * 2.0;
    let (from, to, share) = if light < 1.0 {
        (dark, middle, light)
    } else {
        (middle, bright, light - 1.0)
    };
    let part = |shift: u32| {
        let [from, to] = [from, to].map(|rgb| (rgb >> shift & 0xff) as f32);
        ((from + (to - from) * share).round() as u32) << shift
    };
    part(16) | part(8) | part(0)
}

/// Of the terminal's own sixteen. White, black, yellow and the bright ones
/// vanish on one of the backgrounds.
fn own(role: Role) -> Option<Color> {
    match role {
        Role::Plain | Role::Strong | Role::Title => None,
        Role::Key => Some(Color::Magenta),
        Role::Alarm | Role::Metal => Some(Color::Red),
        Role::Soon => Some(Color::Blue),
        Role::Good => Some(Color::Green),
        Role::Vessel => Some(Color::Cyan),
    }
}

/// For light backgrounds. The hues of Okabe and Ito, Color Universal Design
/// (2008): vermillion, blue, bluish green, orange, reddish purple; darkened
/// until they can be read and set apart in lightness too, so that no kind of
/// colour blindness takes one state for another.
fn light(role: Role) -> Option<Rgb> {
    match role {
        Role::Plain | Role::Strong | Role::Title => None,
        Role::Key => Some(0x8a_1c66),
        Role::Alarm => Some(0x8f_2300),
        Role::Soon => Some(0x0a_1f8f),
        Role::Good => Some(0x00_7575),
        Role::Vessel => Some(0x3d_6470),
        Role::Metal => Some(0xa6_7200),
    }
}

/// For dark backgrounds: the same hues, lightened.
fn dark(role: Role) -> Option<Rgb> {
    match role {
        Role::Plain | Role::Strong | Role::Title => None,
        Role::Key => Some(0xe0_8bbd),
        Role::Alarm => Some(0xff_6020),
        Role::Soon => Some(0x9c_c0ff),
        Role::Good => Some(0x2f_a58c),
        Role::Vessel => Some(0x9f_b4bc),
        Role::Metal => Some(0xff_c45a),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Colours; 4] = [
        Colours::None,
        Colours::Terminal,
        Colours::Light,
        Colours::Dark,
    ];

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
            for theme in ALL.map(|colours| Theme::with(colours, false)) {
                assert_eq!(theme.style(role).bg, None);
                assert_eq!(theme.selected(role).bg, None);
            }
            assert_eq!(Theme::new(false, true).style(role).fg, None);
        }
    }

    #[test]
    fn no_colour_takes_emphasis_away() {
        for role in ROLES {
            let emphasis = |colours| Theme::with(colours, false).style(role).add_modifier;
            for colours in ALL {
                assert_eq!(emphasis(colours), emphasis(Colours::None), "{role:?}");
            }
        }
    }

    #[test]
    fn of_the_sixteen_only_those_that_show_on_light_and_on_dark() {
        // The base colours 1 to 6 without yellow; their bright twins are for
        // dark backgrounds, 0, 7, 8 and 15 are backgrounds themselves. From
        // memory of the default tables of xterm and the Linux console.
        let fit = [
            Color::Red,
            Color::Green,
            Color::Blue,
            Color::Magenta,
            Color::Cyan,
        ];
        let used = ROLES.into_iter().filter_map(own);
        assert!(used.into_iter().all(|colour| fit.contains(&colour)));
    }

    /// Linear red, green, blue of an sRGB colour (IEC 61966-2-1).
    fn linear(rgb: Rgb) -> [f64; 3] {
        [16, 8, 0].map(|shift| {
            let share = f64::from(rgb >> shift & 0xff) / 255.0;
            if share <= 0.04045 {
                share / 12.92
            } else {
                ((share + 0.055) / 1.055).powf(2.4)
            }
        })
    }

    /// Contrast ratio of WCAG 2.2, with its relative luminance.
    fn contrast(a: Rgb, b: Rgb) -> f64 {
        let luminance = |rgb| {
            let [r, g, b] = linear(rgb);
            0.2126 * r + 0.7152 * g + 0.0722 * b
        };
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// What a pair of eyes sees of linear red, green, blue.
    type Eyes = [[f64; 3]; 3];

    /// Full colour vision, then no red, no green, no blue cones: Machado,
    /// Oliveira and Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009),
    /// severity 1.0.
    const EYES: [Eyes; 4] = [
        [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [
            [0.152_286, 1.052_583, -0.204_868],
            [0.114_503, 0.786_281, 0.099_216],
            [-0.003_882, -0.048_116, 1.051_998],
        ],
        [
            [0.367_322, 0.860_646, -0.227_968],
            [0.280_085, 0.672_501, 0.047_413],
            [-0.011_820, 0.042_940, 0.968_881],
        ],
        [
            [1.255_528, -0.076_749, -0.178_779],
            [-0.078_411, 0.930_809, 0.147_602],
            [0.004_733, 0.691_367, 0.303_900],
        ],
    ];

    fn times(matrix: &Eyes, colour: [f64; 3]) -> [f64; 3] {
        matrix.map(|row| row.iter().zip(colour).map(|(m, c)| m * c).sum())
    }

    /// Lightness and the two axes of colour of OKLab (B. Ottosson, 2020: "A
    /// perceptual color space for image processing").
    fn oklab(seen: [f64; 3]) -> [f64; 3] {
        let cones = times(
            &[
                [0.412_221_470_8, 0.536_332_536_3, 0.051_445_992_9],
                [0.211_903_498_2, 0.680_699_545_1, 0.107_396_956_6],
                [0.088_302_461_9, 0.281_718_837_6, 0.629_978_700_5],
            ],
            seen.map(|c| c.clamp(0.0, 1.0)),
        );
        times(
            &[
                [0.210_454_255_3, 0.793_617_785_0, -0.004_072_046_8],
                [1.977_998_495_1, -2.428_592_205_0, 0.450_593_709_9],
                [0.025_904_037_1, 0.782_771_766_2, -0.808_675_766_0],
            ],
            cones.map(f64::cbrt),
        )
    }

    fn distance(eyes: &Eyes, a: Rgb, b: Rgb) -> f64 {
        let [a, b] = [a, b].map(|rgb| oklab(times(eyes, linear(rgb))));
        let squares = a.iter().zip(b).map(|(a, b)| (a - b).powi(2));
        squares.sum::<f64>().sqrt()
    }

    /// A set, the backgrounds it is for (the second the least contrast among
    /// usual ones), and the text around it.
    type Set = (fn(Role) -> Option<Rgb>, [Rgb; 2], Rgb);
    const SETS: [Set; 2] = [
        (light, [0xff_ffff, 0xee_eeee], 0x00_0000),
        (dark, [0x00_0000, 0x26_2626], 0xff_ffff),
    ];

    #[test]
    fn every_set_can_be_read_on_its_backgrounds() {
        // WCAG 2.2, 1.4.3: 4.5 for text; 1.4.11: 3 for graphics.
        assert!((contrast(0xff_ffff, 0x00_0000) - 21.0).abs() < 1e-9);
        for (set, backgrounds, _) in SETS {
            for role in ROLES {
                let Some(colour) = set(role) else { continue };
                let wanted = if role == Role::Metal { 3.0 } else { 4.5 };
                for background in backgrounds {
                    let found = contrast(colour, background);
                    assert!(found >= wanted, "{role:?} on {background:06x}: {found}");
                }
            }
        }
    }

    #[test]
    fn no_kind_of_colour_blindness_takes_one_state_for_another() {
        // A difference of 0.02 in OKLab is about just noticeable (from memory);
        // the states are six times as far apart, from plain text more.
        let states = [Role::Alarm, Role::Soon, Role::Good, Role::Metal];
        for (set, _, text) in SETS {
            let colours = states.map(|role| set(role).unwrap());
            for eyes in &EYES {
                for (n, a) in colours.iter().enumerate() {
                    for b in &colours[..n] {
                        let found = distance(eyes, *a, *b);
                        assert!(found >= 0.12, "{a:06x} and {b:06x}: {found}");
                    }
                    let found = distance(eyes, *a, text);
                    assert!(found >= 0.18, "{a:06x} in text: {found}");
                }
            }
        }
    }

    #[test]
    fn the_simulated_eyes_take_red_for_green() {
        // What the sets are held against does see less: pure red and a green
        // of the same look to eyes without green cones.
        let [full, _, without_green, _] = &EYES;
        let (red, green) = (0xff_0000, 0xb0_8400);
        let (seen, told) = (
            distance(without_green, red, green),
            distance(full, red, green),
        );
        assert!(seen < told / 2.0, "{seen} beside {told}");
    }
}
