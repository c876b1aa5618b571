//! The stages a piece goes through.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// One stage of a route; stages of the user's own carry their name.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// The conductive coat on a primed print.
    Coat,
    /// Contacts, support, thieves.
    Wiring,
    /// Low volts until the whole surface is seen covered.
    Strike,
    /// Metal to the charge target.
    Build,
    /// Rinsed, neutral, not weeping.
    Rinse,
    /// Dried to constant mass (optional).
    Dry,
    /// Polished or brushed (optional).
    Polish,
    /// The ageing hold.
    Age,
    /// The clear coat.
    Seal,
    /// The clear coat's cure (optional).
    Cure,
    /// Put together (optional).
    Assemble,
    /// A stage that the project defines.
    Own(String),
}

const KNOWN: [(Stage, &str, &str); 11] = [
    (Stage::Coat, "coat", "conductive coat"),
    (Stage::Wiring, "wiring", "wiring"),
    (Stage::Strike, "strike", "strike"),
    (Stage::Build, "build", "build"),
    (Stage::Rinse, "rinse", "rinse"),
    (Stage::Dry, "dry", "dry"),
    (Stage::Polish, "polish", "polish"),
    (Stage::Age, "age", "ageing hold"),
    (Stage::Seal, "seal", "seal"),
    (Stage::Cure, "cure", "cure"),
    (Stage::Assemble, "assemble", "assemble"),
];

impl Stage {
    /// The stages of a project that says nothing else.
    pub fn default_route() -> Vec<Self> {
        use Stage::{Age, Build, Coat, Rinse, Seal, Strike, Wiring};
        vec![Coat, Wiring, Strike, Build, Rinse, Age, Seal]
    }

    /// The stage of this name; any unknown name is a stage of the user's own,
    /// which only a project that defines it accepts.
    pub fn named(name: &str) -> Self {
        KNOWN
            .iter()
            .find(|(_, word, _)| *word == name)
            .map_or_else(|| Self::Own(name.to_owned()), |(stage, _, _)| stage.clone())
    }

    /// The names of all stages that every project knows.
    pub fn known_names() -> impl Iterator<Item = &'static str> {
        KNOWN.iter().map(|(_, word, _)| *word)
    }

    /// The word in files and commands.
    pub fn word(&self) -> &str {
        match self {
            Self::Own(name) => name,
            known => KNOWN
                .iter()
                .find(|(s, _, _)| s == known)
                .map_or("", |(_, word, _)| word),
        }
    }

    /// What the screen calls it.
    pub fn title(&self) -> &str {
        match self {
            Self::Own(name) => name,
            known => KNOWN
                .iter()
                .find(|(s, _, _)| s == known)
                .map_or("", |(_, _, title)| title),
        }
    }

    /// Whether the piece hangs in the bath for it.
    pub fn in_bath(&self) -> bool {
        matches!(self, Self::Strike | Self::Build)
    }
}

impl fmt::Display for Stage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

impl Serialize for Stage {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.word())
    }
}

impl<'de> Deserialize<'de> for Stage {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let name = <std::borrow::Cow<'de, str>>::deserialize(deserializer)?;
        Ok(Self::named(&name))
    }
}
