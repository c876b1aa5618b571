//! The words that events are told in: findings, conditions, settings, upkeep.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::units::{Current, Mass, Ratio, Voltage, Volume};

/// Words of a fixed set: parse, print and list from one table.
macro_rules! words {
    ($(#[$meta:meta])* $type:ident, $noun:literal; $($(#[$doc:meta])* $variant:ident = $word:literal,)+) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        pub enum $type { $($(#[$doc])* #[serde(rename = $word)] $variant,)+ }

        impl $type {
            /// All of them, in the order they are listed.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The word in commands and files.
            pub fn word(self) -> &'static str {
                match self { $(Self::$variant => $word,)+ }
            }
        }

        impl fmt::Display for $type {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(self.word())
            }
        }

        impl FromStr for $type {
            type Err = String;
            fn from_str(text: &str) -> Result<Self, String> {
                Self::ALL.iter().copied().find(|w| w.word() == text).ok_or_else(|| {
                    let words: Vec<&str> = Self::ALL.iter().map(|w| w.word()).collect();
                    let shown: String = text.chars().take(40).flat_map(char::escape_debug).collect();
                    format!("`{shown}` is no {}; there are: {}", $noun, words.join(" "))
                })
            }
        }
    };
}

words! {
    /// In which condition a piece was weighed.
    WeighedAs, "condition of a weighing";
    /// Primed, before the conductive coat.
    Primed = "primed",
    /// With its conductive coat, dry.
    Coated = "coated",
    /// With its wires.
    Wired = "wired",
    /// Plated, rinsed and dry.
    Plated = "plated",
    /// After polishing.
    Polished = "polished",
}

words! {
    /// What was done to a contact.
    ContactChange, "change of a contact";
    /// Its place was changed, so that no bare mark stays.
    Moved = "moved",
    /// It was wiggled loose, so that it does not weld to the piece.
    Loosened = "loosened",
    /// One more was made.
    Added = "added",
}

words! {
    /// What the supply holds constant.
    Mode, "mode of a supply";
    /// Current.
    Cc = "cc",
    /// Voltage.
    Cv = "cv",
}

words! {
    /// What a look found.
    FindingKind, "finding";
    /// Nothing amiss.
    Ok = "ok",
    /// Metal covers it.
    Covered = "covered",
    /// No metal on a spot.
    Bare = "bare",
    /// The front moves out.
    Advancing = "advancing",
    /// Dark powder at a contact.
    DarkContact = "dark-contact",
    /// A contact that wiggles.
    LooseContact = "loose-contact",
    /// Thin on the side away from the anode.
    Shadow = "shadow",
    /// Nodules.
    Nodules = "nodules",
    /// A tree toward an anode.
    Tree = "tree",
    /// Rough.
    Rough = "rough",
    /// Pits.
    Pits = "pits",
    /// Dull.
    Dull = "dull",
    /// Burnt.
    Burnt = "burnt",
    /// Peeling.
    Peeling = "peeling",
    /// Gas on the work.
    Gassing = "gassing",
}

impl FindingKind {
    /// What to do about it, where a look calls for something (common practice,
    /// no source).
    pub fn advice(self) -> Option<&'static str> {
        Some(match self {
            Self::Ok | Self::Covered | Self::Advancing => return None,
            Self::Bare => "wait while the front moves; an island after 60-90 min wants a touch-up",
            Self::DarkContact => "too much current there: halve it",
            Self::LooseContact => "break it, clean, re-crimp",
            Self::Shadow => "turn the piece, or hang a second anode",
            Self::Nodules | Self::Tree => {
                "stop, or down 30 %; sand, dip, go on at two thirds with a thief"
            }
            Self::Burnt => "stop, or down 30 %; a thief at the edge",
            Self::Rough => "filter, bags, re-hang",
            Self::Pits => "stir, look for gas; the bath may want a wetter",
            Self::Dull => "the bath may want a dose",
            Self::Peeling => "back to abrade and dip: passive copper lies under it",
            Self::Gassing => "lower the current; check contact and bath",
        })
    }

    /// Whether it is a sign to stop.
    pub fn stops(self) -> bool {
        matches!(
            self,
            Self::Nodules | Self::Tree | Self::Burnt | Self::Peeling
        )
    }
}

/// One finding of a look: `bare:5%@rim`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Finding {
    /// What.
    pub kind: FindingKind,
    /// On how much of the surface.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub share: Option<Ratio>,
    /// Where.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
}

/// What a look says of the coverage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Coverage {
    /// Nothing: it stays as it was.
    Unsaid,
    /// It is known to be this (a fraction), or no longer known.
    Is(Option<f64>),
}

impl Coverage {
    /// `covered` is all of it, `covered:60%` so much; else what the `bare`
    /// ones leave; a `bare` without its share makes it unknown.
    pub fn of(findings: &[Finding]) -> Self {
        if let Some(covered) = findings.iter().find(|f| f.kind == FindingKind::Covered) {
            return Self::Is(Some(covered.share.map_or(1.0, Ratio::si)));
        }
        let bare: Vec<_> = findings
            .iter()
            .filter(|f| f.kind == FindingKind::Bare)
            .collect();
        if bare.is_empty() {
            return Self::Unsaid;
        }
        let shares: Option<f64> = bare.iter().map(|f| f.share.map(Ratio::si)).sum();
        Self::Is(shares.map(|s| (1.0 - s).max(0.0)))
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.kind)?;
        self.share
            .iter()
            .try_for_each(|share| write!(f, ":{share}"))?;
        self.place
            .iter()
            .try_for_each(|place| write!(f, "@{place}"))
    }
}

impl FromStr for Finding {
    type Err = String;

    /// Reads `FINDING[:SHARE][@PLACE]`.
    fn from_str(text: &str) -> Result<Self, String> {
        let (head, place) = text
            .split_once('@')
            .map_or((text, None), |(h, p)| (h, Some(p)));
        let (kind, share) = head
            .split_once(':')
            .map_or((head, None), |(k, s)| (k, Some(s)));
        let share: Option<Ratio> = share
            .map(|s| {
                s.parse()
                    .map_err(|e: crate::units::QuantityError| e.to_string())
            })
            .transpose()?;
        if share.is_some_and(|s| s.si() > 1.0) {
            return Err(format!("`{head}`: a share is at most 100%"));
        }
        Ok(Self {
            kind: kind.parse()?,
            share,
            place: place.filter(|p| !p.is_empty()).map(str::to_owned),
        })
    }
}

/// What a supply was set to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Setting {
    /// Constant current.
    Amps(Current),
    /// Constant voltage.
    Volts(Voltage),
    /// Switched off.
    Off,
}

impl fmt::Display for Setting {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Amps(amps) => write!(f, "set to {}", amps.shown(crate::units::A, 3)),
            Self::Volts(volts) => write!(f, "set to {}", volts.shown(crate::units::V, 3)),
            Self::Off => write!(f, "off"),
        }
    }
}

/// Upkeep of a bath.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum BathWork {
    /// Brightener or other addition.
    Dose(Volume),
    /// The filter was changed or cleaned.
    Filter,
    /// The anode bags were changed or rinsed.
    Bags,
    /// Water or bath was topped up.
    TopUp(Volume),
    /// Anode metal was added.
    Anodes(Mass),
    /// Anodes or shields were moved.
    Moved(String),
}

impl fmt::Display for BathWork {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Dose(volume) => write!(f, "dose {}", volume.shown(crate::units::ML, 3)),
            Self::Filter => write!(f, "filter"),
            Self::Bags => write!(f, "bags"),
            Self::TopUp(volume) => write!(f, "top-up {}", volume.shown(crate::units::ML, 3)),
            Self::Anodes(mass) => write!(f, "anodes {}", mass.shown(crate::units::G, 3)),
            Self::Moved(text) => write!(f, "moved: {text}"),
        }
    }
}
