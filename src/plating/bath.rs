//! What an acid copper bath conducts.

/// An acid copper bath, as it is made up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AcidCopper {
    /// Copper (as metal), g/L.
    pub copper_g_l: f64,
    /// Sulphuric acid, g/L.
    pub acid_g_l: f64,
    /// Its temperature, °C.
    pub celsius: f64,
}

/// A conductivity with its doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conductivity {
    /// S/m.
    pub s_m: f64,
    /// Its expanded uncertainty (k = 2), relative.
    pub pm_rel: f64,
}

impl AcidCopper {
    /// Copper for which a conductivity is told, g/L.
    pub const COPPER_G_L: std::ops::RangeInclusive<f64> = 10.0..=60.0;
    /// Acid for which a conductivity is told, g/L.
    pub const ACID_G_L: std::ops::RangeInclusive<f64> = 50.0..=250.0;
    /// Temperatures for which a conductivity is told, °C.
    pub const CELSIUS: std::ops::RangeInclusive<f64> = 15.0..=70.0;

    /// `κ = 13.4 - 0.356 Cu + 0.249 H2SO4 + 0.426 T` S/m, with g/L and °C: the
    /// linear regression of Price & Davenport, Metall. Trans. B 11 (1980) 159 and
    /// 12 (1981) 639 (from memory). It was made between 50 and 70 °C, 10 to 50 g/L
    /// of copper and 50 to 250 g/L of acid: ±5 % there. Colder or with more
    /// copper it is carried on, and ±20 % by what pure acid has at 18 to 25 °C.
    ///
    /// `None` where it is carried on too far.
    pub fn conductivity(&self) -> Option<Conductivity> {
        let is_told = Self::COPPER_G_L.contains(&self.copper_g_l)
            && Self::ACID_G_L.contains(&self.acid_g_l)
            && Self::CELSIUS.contains(&self.celsius);
        let was_measured = self.copper_g_l <= 50.0 && self.celsius >= 50.0;
        let s_m = 13.4 - 0.356 * self.copper_g_l + 0.249 * self.acid_g_l + 0.426 * self.celsius;
        is_told.then_some(Conductivity {
            s_m,
            pm_rel: if was_measured { 0.05 } else { 0.2 },
        })
    }
}
