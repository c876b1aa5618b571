//! Whether a print floats, what it weighs before and after.

/// Standard gravity in m/s² (3rd General Conference on Weights and Measures,
/// 1901).
const GRAVITY: f64 = 9.806_65;

/// Density of an acid copper bath in g/cm³ at 25 °C: 200 g/L copper sulphate
/// and 60 g/L sulphuric acid. From memory; baths lie between 1.10 and 1.20.
pub const ACID_COPPER_BATH_G_CM3: f64 = 1.16;

/// What a print is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Plastic {
    /// Polylactide.
    Pla,
    /// Glycol-modified polyethylene terephthalate.
    Petg,
    /// Acrylonitrile butadiene styrene.
    Abs,
    /// Cured photopolymer.
    Resin,
}

impl Plastic {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Pla, Self::Petg, Self::Abs, Self::Resin];

    /// Density without voids in g/cm³: least, usual, most. From memory of data
    /// sheets; fillers go beyond.
    pub const fn density_g_cm3(self) -> [f64; 3] {
        match self {
            Self::Pla => [1.21, 1.24, 1.27],
            Self::Petg => [1.23, 1.27, 1.29],
            Self::Abs => [1.02, 1.05, 1.08],
            Self::Resin => [1.08, 1.15, 1.22],
        }
    }

    /// How it is called.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Pla => "PLA",
            Self::Petg => "PETG",
            Self::Abs => "ABS",
            Self::Resin => "resin",
        }
    }
}

/// A print that is weighed by its shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Print {
    /// Of the solid, in mm³.
    pub solid_mm3: f64,
    /// Of the solid and all that is shut inside, in mm³; never less than the
    /// solid.
    pub envelope_mm3: f64,
    /// In g/cm³.
    pub density_g_cm3: f64,
    /// What share of the solid is plastic, 0 to 1, perimeters and infill
    /// together; the rest is air that the bath does not reach.
    pub filled: f64,
}

/// A coat of metal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coat {
    /// Under it, in mm².
    pub area_mm2: f64,
    /// Mean thickness, in µm.
    pub thickness_um: f64,
    /// In g/cm³.
    pub density_g_cm3: f64,
}

impl Coat {
    fn volume_cm3(self) -> f64 {
        self.area_mm2 * self.thickness_um * 1e-6
    }

    /// Area times thickness times density, in g.
    pub fn mass_g(self) -> f64 {
        self.volume_cm3() * self.density_g_cm3
    }
}

/// What a piece weighs and how the bath lifts it (Archimedes).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Afloat {
    /// In air, in g.
    pub mass_g: f64,
    /// What the bath it displaces weighs, in g.
    pub displaced_g: f64,
}

impl Afloat {
    /// A print without metal in a bath of this density.
    pub fn before(print: Print, bath_g_cm3: f64) -> Self {
        Self {
            mass_g: print.solid_mm3 * 1e-3 * print.filled * print.density_g_cm3,
            displaced_g: print.envelope_mm3 * 1e-3 * bath_g_cm3,
        }
    }

    /// The same print under a coat.
    pub fn after(print: Print, coat: Coat, bath_g_cm3: f64) -> Self {
        let bare = Self::before(print, bath_g_cm3);
        Self {
            mass_g: bare.mass_g + coat.mass_g(),
            displaced_g: bare.displaced_g + coat.volume_cm3() * bath_g_cm3,
        }
    }

    /// What pulls it upward, in g; below 0 where it sinks.
    pub fn pull_g(self) -> f64 {
        self.displaced_g - self.mass_g
    }

    /// What pulls it upward, in N; below 0 where it sinks.
    pub fn pull_n(self) -> f64 {
        self.pull_g() * 1e-3 * GRAVITY
    }

    /// The weight that just holds it under, in g as weighed in air; the weight
    /// is lifted by the bath too. 0 where it sinks by itself, none where the
    /// weight is no denser than the bath. To hang quietly it takes some more.
    pub fn sinker_g(self, sinker_g_cm3: f64, bath_g_cm3: f64) -> Option<f64> {
        let left = 1.0 - bath_g_cm3 / sinker_g_cm3;
        (left > 0.0).then(|| self.pull_g().max(0.0) / left)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(found: f64, wanted: f64) {
        assert!(
            (found - wanted).abs() < 0.002 * wanted.abs(),
            "{found} for {wanted}"
        );
    }

    /// A cube of 30 mm around a sealed hollow of 20 mm: 19 cm³ of PLA at 1.24
    /// are 23.56 g, 27 cm³ of bath at 1.16 are 31.32 g: 7.76 g or 0.0761 N
    /// upward. Steel of 7.85 keeps 1 - 1.16/7.85 = 0.8522 of its weight in the
    /// bath, so 9.106 g hold it (by hand, Archimedes' principle).
    #[test]
    fn a_hollow_cube_floats_as_archimedes_says() {
        let print = Print {
            solid_mm3: 19_000.0,
            envelope_mm3: 27_000.0,
            density_g_cm3: Plastic::Pla.density_g_cm3()[1],
            filled: 1.0,
        };
        let bare = Afloat::before(print, ACID_COPPER_BATH_G_CM3);
        near(bare.mass_g, 23.56);
        near(bare.displaced_g, 31.32);
        near(bare.pull_g(), 7.76);
        near(bare.pull_n(), 0.076_10);
        near(bare.sinker_g(7.85, 1.16).unwrap_or_default(), 9.106);
        assert_eq!(bare.sinker_g(1.16, 1.16), None);
        // 54 cm² under 100 µm: 0.54 cm³, 4.838 g of copper at 8.96 (CRC Handbook).
        let coat = Coat {
            area_mm2: 5400.0,
            thickness_um: 100.0,
            density_g_cm3: 8.96,
        };
        let coated = Afloat::after(print, coat, 1.16);
        near(coated.mass_g, 23.56 + 4.838);
        near(coated.displaced_g, 31.32 + 0.6264);
        near(coated.pull_g(), 3.548);
        // Another 100 µm sink it.
        let thick = Coat {
            thickness_um: 200.0,
            ..coat
        };
        let sunk = Afloat::after(print, thick, 1.16);
        assert!(sunk.pull_g() < 0.0);
        assert_eq!(sunk.sinker_g(7.85, 1.16), Some(0.0));
        let sparse = Print {
            filled: 0.5,
            ..print
        };
        near(Afloat::before(sparse, 1.16).mass_g, 11.78);
    }

    /// Solid PLA sinks in the bath, solid ABS floats: 1.05 against 1.16.
    #[test]
    fn abs_floats_and_pla_sinks() {
        let pull = |plastic: Plastic| {
            let [_, density_g_cm3, _] = plastic.density_g_cm3();
            let print = Print {
                solid_mm3: 1000.0,
                envelope_mm3: 1000.0,
                density_g_cm3,
                filled: 1.0,
            };
            Afloat::before(print, ACID_COPPER_BATH_G_CM3).pull_g()
        };
        assert!(pull(Plastic::Abs) > 0.0 && pull(Plastic::Pla) < 0.0);
        for plastic in Plastic::ALL {
            let [least, usual, most] = plastic.density_g_cm3();
            assert!(least < usual && usual < most, "{}", plastic.name());
        }
    }
}
