//! A value with its kind and its doubt (GUM, JCGM 100:2008).

use super::{Dimension, Quantity, Unit};

/// Where a figure comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Read from an instrument, or computed from such readings alone.
    Measured,
    /// Carried on from the last reading.
    Estimated,
    /// Computed ahead from a model.
    Predicted,
    /// A stated rule of the trade, neither measured nor computed.
    Assumed,
}

impl Kind {
    /// The word for screens, files and scripts.
    pub fn word(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Estimated => "estimated",
            Self::Predicted => "predicted",
            Self::Assumed => "assumed",
        }
    }

    /// The sign drawn before a figure, so that kinds differ without colour.
    pub fn sign(self) -> &'static str {
        match self {
            Self::Measured => "",
            Self::Estimated => "~",
            Self::Predicted => ">",
            Self::Assumed => "?",
        }
    }
}

/// One named component of a figure's standard uncertainty.
///
/// Two figures whose doubts carry the same name share that error: it cancels
/// in their difference as far as both feel it with the same sign.
#[derive(Debug, Clone, PartialEq)]
pub struct Doubt {
    /// What is in doubt: `area stem`, `efficiency main`, `amps main` …
    pub source: String,
    /// How much the value moves, in SI and signed, for one standard
    /// uncertainty of the source.
    pub standard: f64,
}

/// A quantity with its kind and its error components.
#[derive(Debug, Clone)]
pub struct Figure<D: Dimension> {
    /// The best value.
    pub value: Quantity<D>,
    /// Where it comes from.
    pub kind: Kind,
    /// Its error components by name; independent of each other.
    pub doubts: Vec<Doubt>,
}

impl<D: Dimension> PartialEq for Figure<D> {
    fn eq(&self, other: &Self) -> bool {
        self.value == other.value && self.kind == other.kind && self.doubts == other.doubts
    }
}

impl<D: Dimension> Figure<D> {
    /// A figure without any stated doubt.
    pub fn exact(value: Quantity<D>, kind: Kind) -> Self {
        Self {
            value,
            kind,
            doubts: Vec::new(),
        }
    }

    /// Adds a component of `relative` standard uncertainty of the value.
    pub fn doubt_relative(mut self, source: impl Into<String>, relative: f64) -> Self {
        let standard = self.value.si() * relative;
        self.push(source.into(), standard);
        self
    }

    /// Adds a component in SI.
    pub fn doubt(mut self, source: impl Into<String>, standard: f64) -> Self {
        self.push(source.into(), standard);
        self
    }

    fn push(&mut self, source: String, standard: f64) {
        match self.doubts.iter_mut().find(|d| d.source == source) {
            Some(same) => same.standard += standard,
            None => self.doubts.push(Doubt { source, standard }),
        }
    }

    /// The combined standard uncertainty: components in quadrature.
    pub fn standard(&self) -> Quantity<D> {
        Quantity::from_si(
            self.doubts
                .iter()
                .map(|d| d.standard.powi(2))
                .sum::<f64>()
                .sqrt(),
        )
    }

    /// The expanded uncertainty ±, coverage factor k = 2 (GUM 6.2.1).
    pub fn pm(&self) -> Quantity<D> {
        self.standard() * 2.0
    }

    /// This less `other`: components of the same name cancel.
    pub fn minus(&self, other: &Self) -> Self {
        let mut difference = Self {
            value: self.value - other.value,
            kind: self.kind.max(other.kind),
            doubts: self.doubts.clone(),
        };
        for doubt in &other.doubts {
            difference.push(doubt.source.clone(), -doubt.standard);
        }
        difference
    }

    /// The same figure scaled by an exact factor into another dimension.
    pub fn scaled<E: Dimension>(&self, factor: f64) -> Figure<E> {
        Figure {
            value: Quantity::from_si(self.value.si() * factor),
            kind: self.kind,
            doubts: self
                .doubts
                .iter()
                .map(|d| Doubt {
                    source: d.source.clone(),
                    standard: d.standard * factor,
                })
                .collect(),
        }
    }

    /// `~38.2 ± 1.9 um`: sign of the kind, value and ± to the same decimals;
    /// a value that drowns in its ± is told to the decimals of the ±.
    pub fn shown(&self, unit: Unit<D>) -> String {
        let value = self.value.to(unit);
        let pm = self.pm().si() / unit.of(1.0).si().abs().max(f64::MIN_POSITIVE);
        let larger = if pm > value.abs() {
            super::number(pm, 2)
        } else {
            super::number(value, 3)
        };
        let decimals = larger.split_once('.').map_or(0, |(_, after)| after.len());
        let text = if pm > value.abs() {
            format!("{:.decimals$}", value + 0.0)
        } else {
            larger
        };
        if self.doubts.is_empty() {
            format!("{}{text} {}", self.kind.sign(), unit.symbol)
        } else {
            format!(
                "{}{text} \u{b1}{pm:.decimals$} {}",
                self.kind.sign(),
                unit.symbol
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Length, LengthDim, UM};

    fn figure(um: f64, doubts: &[(&str, f64)]) -> Figure<LengthDim> {
        doubts
            .iter()
            .fold(Figure::exact(UM.of(um), Kind::Measured), |f, (name, um)| {
                f.doubt(*name, UM.of(*um).si())
            })
    }

    #[test]
    fn components_add_in_quadrature_and_expand_by_two() {
        // GUM (JCGM 100:2008) 5.1.2 and 6.2.1: u = sqrt(3^2 + 4^2) = 5, U = 2u = 10.
        let f = figure(100.0, &[("a", 3.0), ("b", 4.0)]);
        assert!((f.standard().to(UM) - 5.0).abs() < 1e-9);
        assert!((f.pm().to(UM) - 10.0).abs() < 1e-9);
    }

    #[test]
    fn shared_errors_cancel_in_a_difference() {
        let a = figure(40.0, &[("bath", 0.4), ("area a", 0.8)]);
        let b = figure(38.0, &[("bath", 0.38), ("area b", 0.76)]);
        let d = a.minus(&b);
        assert!((d.value.to(UM) - 2.0).abs() < 1e-9);
        let wanted = (0.02_f64.powi(2) + 0.8_f64.powi(2) + 0.76_f64.powi(2)).sqrt() * 2.0;
        assert!((d.pm().to(UM) - wanted).abs() < 1e-9);
        let zero: Length = a.minus(&a).pm();
        assert!(zero.to(UM).abs() < 1e-12);
    }

    #[test]
    fn kinds_look_different_without_colour() {
        let signs = [
            Kind::Measured,
            Kind::Estimated,
            Kind::Predicted,
            Kind::Assumed,
        ]
        .map(Kind::sign);
        assert!(
            signs
                .iter()
                .all(|s| signs.iter().filter(|t| *t == s).count() == 1)
        );
        assert_eq!(figure(38.2, &[("a", 0.95)]).shown(UM), "38.2 \u{b1}1.9 um");
        assert_eq!(figure(1e-9, &[("a", 0.6)]).shown(UM), "0.0 \u{b1}1.2 um");
    }
}
