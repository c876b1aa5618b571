//! The metals that can be reckoned with, and where their constants come from.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Faraday constant, C/mol: exact since the 2019 revision of the SI (CODATA).
pub const FARADAY: f64 = 96_485.332_12;

/// One metal as it comes out of one kind of bath.
///
/// Molar masses: IUPAC/CIAAW standard atomic weights. Densities: CRC Handbook
/// of Chemistry and Physics, near 20 °C, as carried in open periodic-table data.
#[derive(Debug, Clone, Copy)]
pub struct Metal {
    /// Name in files and on the command line.
    pub name: &'static str,
    /// Chemical symbol.
    pub symbol: &'static str,
    /// Electrons per atom deposited from this bath.
    pub electrons: u32,
    /// Molar mass, g/mol.
    pub molar_mass_g_mol: f64,
    /// Density of the deposit, g/cm³.
    pub density_g_cm3: f64,
    /// A cyanide bath: arithmetic only, no project, licensed shops only.
    pub cyanide: bool,
}

const fn metal(
    name: &'static str,
    symbol: &'static str,
    electrons: u32,
    molar: f64,
    density: f64,
) -> Metal {
    Metal {
        name,
        symbol,
        electrons,
        molar_mass_g_mol: molar,
        density_g_cm3: density,
        cyanide: false,
    }
}

const fn cyanide(metal: Metal) -> Metal {
    Metal {
        cyanide: true,
        ..metal
    }
}

/// Every metal, in the order messages list them.
pub const METALS: [Metal; 8] = [
    metal("copper-acid", "Cu", 2, 63.546, 8.96),
    cyanide(metal("copper-cyanide", "Cu", 1, 63.546, 8.96)),
    metal("nickel", "Ni", 2, 58.6934, 8.90),
    metal("silver", "Ag", 1, 107.8682, 10.50),
    metal("zinc", "Zn", 2, 65.38, 7.14),
    metal("tin-acid", "Sn", 2, 118.710, 7.287),
    metal("tin-stannate", "Sn", 4, 118.710, 7.287),
    cyanide(metal("gold-cyanide", "Au", 1, 196.966_57, 19.3)),
];

/// A name that is no metal of the table.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no metal here; there are {names}", names = METALS.map(|m| m.name).join(" "))]
pub struct UnknownMetal(String);

impl Metal {
    /// The metal of this name.
    ///
    /// # Errors
    /// When there is none; the message lists the names.
    pub fn named(name: &str) -> Result<Self, UnknownMetal> {
        METALS.into_iter().find(|m| m.name == name).ok_or_else(|| {
            UnknownMetal(name.chars().take(40).flat_map(char::escape_debug).collect())
        })
    }

    /// Charge that one cubic metre of deposit takes at 100 % efficiency, C/m³:
    /// `n F rho / M` (Faraday's laws).
    pub fn charge_per_volume(&self) -> f64 {
        f64::from(self.electrons) * FARADAY * (self.density_g_cm3 * 1e6) / self.molar_mass_g_mol
    }

    /// Mass that one coulomb deposits at 100 % efficiency, kg/C: `M / (n F)`.
    pub fn mass_per_charge(&self) -> f64 {
        self.molar_mass_g_mol * 1e-3 / (f64::from(self.electrons) * FARADAY)
    }
}

impl PartialEq for Metal {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

impl fmt::Display for Metal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name)
    }
}

impl Serialize for Metal {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name)
    }
}

impl<'de> Deserialize<'de> for Metal {
    fn deserialize<S: Deserializer<'de>>(deserializer: S) -> Result<Self, S::Error> {
        let name = <std::borrow::Cow<'de, str>>::deserialize(deserializer)?;
        Self::named(&name).map_err(serde::de::Error::custom)
    }
}
