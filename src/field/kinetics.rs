//! How much metal an overpotential deposits.

use serde::{Deserialize, Serialize};

/// Faraday constant over gas constant, K/V (CODATA 2018: 96485.33212 C/mol,
/// 8.314462618 J/(mol K); both exact by definition).
const F_OVER_R: f64 = 96_485.332_12 / 8.314_462_618;

/// Larger exponents are carried on along their tangent, so that no step of a
/// solver overflows; e^60 A/m² is beyond any bath.
const STEEPEST: f64 = 60.0;

/// What one metal in one bath does: the current density i (A/m², deposition
/// positive) at the potential p (V) of the liquid next to the metal less the
/// metal's own, 0 at equilibrium.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Kinetics {
    /// None: whatever flows, p stays 0 (primary distribution).
    #[default]
    None,
    /// `i = p / Rp`.
    Linear {
        /// Polarisation resistance, Ω m², above 0.
        rp_ohm_m2: f64,
    },
    /// `i = i0 exp(αc F p / RT)`, limited by `i / (1 + i/L)`.
    Tafel {
        /// Exchange current density, A/m², above 0.
        i0_a_m2: f64,
        /// Cathodic transfer coefficient, above 0.
        alpha_c: f64,
        /// Temperature, K, above 0.
        temperature_k: f64,
        /// Limiting current density L, A/m², above 0 where there is one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        limit_a_m2: Option<f64>,
    },
    /// `i = i0 (exp(αc F p / RT) - exp(-αa F p / RT))`, deposition limited by
    /// `i / (1 + i/L)`.
    ButlerVolmer {
        /// Exchange current density, A/m², above 0.
        i0_a_m2: f64,
        /// Anodic transfer coefficient, above 0.
        alpha_a: f64,
        /// Cathodic transfer coefficient, above 0.
        alpha_c: f64,
        /// Temperature, K, above 0.
        temperature_k: f64,
        /// Limiting current density L, A/m², above 0 where there is one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        limit_a_m2: Option<f64>,
    },
}

/// A law's current density, A/m², and its slope di/dp, A/(m² V).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flow {
    /// Current density, A/m².
    pub current: f64,
    /// Its slope, A/(m² V); never below 0.
    pub slope: f64,
}

impl Kinetics {
    /// The density that deposition never reaches, A/m².
    pub fn limit(&self) -> Option<f64> {
        match self {
            Self::None | Self::Linear { .. } => None,
            Self::Tafel { limit_a_m2, .. } | Self::ButlerVolmer { limit_a_m2, .. } => *limit_a_m2,
        }
    }

    /// Whether the metal takes any overpotential at all.
    pub fn is_none(&self) -> bool {
        matches!(self, Self::None)
    }

    /// The current density at overpotential `p`, V; without kinetics nothing
    /// is known from p.
    pub fn flow(&self, p: f64) -> Flow {
        match *self {
            Self::None => Flow {
                current: 0.0,
                slope: 0.0,
            },
            Self::Linear { rp_ohm_m2 } => Flow {
                current: p / rp_ohm_m2,
                slope: 1.0 / rp_ohm_m2,
            },
            Self::Tafel {
                i0_a_m2,
                alpha_c,
                temperature_k,
                limit_a_m2,
            } => limited(
                growing(p, i0_a_m2, alpha_c * F_OVER_R / temperature_k),
                limit_a_m2,
            ),
            Self::ButlerVolmer {
                i0_a_m2,
                alpha_a,
                alpha_c,
                temperature_k,
                limit_a_m2,
            } => {
                let there = growing(p, i0_a_m2, alpha_c * F_OVER_R / temperature_k);
                let back = growing(-p, i0_a_m2, alpha_a * F_OVER_R / temperature_k);
                let both = Flow {
                    current: there.current - back.current,
                    slope: there.slope + back.slope,
                };
                limited(both, limit_a_m2)
            }
        }
    }

    /// The overpotential, V, at which `current`, A/m², flows; `None` where the
    /// law never reaches it.
    pub fn overpotential(&self, current: f64) -> Option<f64> {
        match *self {
            Self::None => Some(0.0),
            Self::Linear { rp_ohm_m2 } => Some(current * rp_ohm_m2),
            Self::Tafel {
                i0_a_m2,
                alpha_c,
                temperature_k,
                limit_a_m2,
            } => {
                let free = unlimited(current, limit_a_m2)?;
                (free > 0.0).then(|| (free / i0_a_m2).ln() * temperature_k / (alpha_c * F_OVER_R))
            }
            Self::ButlerVolmer {
                i0_a_m2,
                alpha_a,
                alpha_c,
                temperature_k,
                limit_a_m2,
            } => {
                let free = unlimited(current, limit_a_m2)? / i0_a_m2;
                let unit = F_OVER_R / temperature_k;
                Some(butler_volmer_inverse(free, alpha_a, alpha_c) / unit)
            }
        }
    }

    /// The overpotential after a Newton step `dp` from `p`, V. The step is
    /// taken in the current where the law steepens ahead, in the potential
    /// where it flattens, so that no exponential runs away.
    pub fn step(&self, p: f64, dp: f64) -> f64 {
        let Flow { current, slope } = self.flow(p);
        let aimed = current + slope * dp;
        match self.overpotential(aimed) {
            Some(gentler) if (gentler - p).abs() < dp.abs() => gentler,
            _ => p + dp,
        }
    }
}

/// `i0 exp(k p)` and its slope; straight on beyond [`STEEPEST`].
fn growing(p: f64, i0: f64, k: f64) -> Flow {
    let power = (k * p).min(STEEPEST);
    let current = i0 * power.exp();
    Flow {
        current: current * (1.0 + (k * p - power)),
        slope: current * k,
    }
}

/// `i / (1 + i/L)` for deposition; dissolving is not limited.
fn limited(free: Flow, limit: Option<f64>) -> Flow {
    match limit {
        Some(limit) if free.current > 0.0 => {
            let below = 1.0 + free.current / limit;
            Flow {
                current: free.current / below,
                slope: free.slope / (below * below),
            }
        }
        _ => free,
    }
}

fn unlimited(current: f64, limit: Option<f64>) -> Option<f64> {
    match limit {
        Some(limit) if current > 0.0 => {
            (current < limit).then(|| current / (1.0 - current / limit))
        }
        _ => Some(current),
    }
}

/// The x with `exp(c x) - exp(-a x) = y`: Newton on the logarithm of the larger
/// exponential, from the asymptote or from the tangent at 0.
fn butler_volmer_inverse(y: f64, a: f64, c: f64) -> f64 {
    if y < 0.0 {
        return -butler_volmer_inverse(-y, c, a);
    }
    let mut x = (y.ln_1p() / c).min(y / (a + c));
    for _ in 0..50 {
        let (there, back) = ((c * x).exp(), (-a * x).exp());
        // ln(exp(c x)) = ln(y + exp(-a x)) bends less than the law itself.
        let off = c * x - (y + back).ln();
        let step = off / (c + a * back / (y + back));
        x -= step;
        if step.abs() <= 1e-15 * (1.0 + x.abs()) || !there.is_finite() {
            break;
        }
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    fn copper(limit_a_m2: Option<f64>) -> Kinetics {
        Kinetics::ButlerVolmer {
            i0_a_m2: 10.0,
            alpha_a: 1.5,
            alpha_c: 0.5,
            temperature_k: 298.15,
            limit_a_m2,
        }
    }

    fn close(a: f64, b: f64, relative: f64) {
        assert!((a / b - 1.0).abs() < relative, "{a} is not {b}");
    }

    #[test]
    fn butler_volmer_of_concentric_spheres() {
        // Root finding on 4π a² i0 (e^(.5Fp/RT) - e^(-1.5Fp/RT)) = I, a = 10 mm,
        // worked out independently: p 0.2632175 V at 2.10794 A.
        let area = 4.0 * std::f64::consts::PI * 1e-4;
        close(
            copper(None).flow(0.263_217_5).current,
            2.107_94 / area,
            1e-5,
        );
        close(
            copper(None).flow(0.083_707_67).current,
            0.063_979_84 / area,
            1e-5,
        );
        close(
            copper(None).overpotential(2.107_94 / area).unwrap(),
            0.263_217_5,
            1e-6,
        );
    }

    #[test]
    fn tafel_slope_is_118_mv_a_decade() {
        // 2.303 RT/(0.5 F) at 25 °C = 118.3 mV; textbook, from memory.
        let law = Kinetics::Tafel {
            i0_a_m2: 3.0,
            alpha_c: 0.5,
            temperature_k: 298.15,
            limit_a_m2: None,
        };
        close(law.overpotential(30.0).unwrap(), 0.118_32, 1e-4);
        close(law.flow(0.118_32).current, 30.0, 1e-3);
        assert_eq!(law.overpotential(-1.0), None);
    }

    #[test]
    fn a_limit_halves_what_would_flow_at_it() {
        // i/(1 + i/L) at i = L is L/2: arithmetic.
        let free = copper(None).overpotential(400.0).unwrap();
        close(copper(Some(400.0)).flow(free).current, 200.0, 1e-12);
        close(
            copper(Some(400.0)).overpotential(200.0).unwrap(),
            free,
            1e-12,
        );
        assert_eq!(copper(Some(400.0)).overpotential(400.0), None);
        assert!(copper(Some(400.0)).flow(9.0).current < 400.0 + 1e-9);
    }

    #[test]
    fn inverse_and_slope_are_the_laws() {
        for law in [
            copper(None),
            copper(Some(500.0)),
            Kinetics::Linear { rp_ohm_m2: 4e-4 },
        ] {
            for p in [-0.3, -0.02, -1e-9, 0.0, 1e-7, 0.05, 0.2, 0.35] {
                let flow = law.flow(p);
                let back = law.overpotential(flow.current).unwrap();
                assert!((back - p).abs() < 1e-9, "{law:?} {p} {back}");
                let (up, down) = (law.flow(p + 1e-6), law.flow(p - 1e-6));
                let secant = (up.current - down.current) / 2e-6;
                assert!(
                    (flow.slope - secant).abs() < 1e-5 * flow.slope,
                    "{law:?} {p}"
                );
            }
        }
    }

    #[test]
    fn nothing_overflows_and_steps_hold_back() {
        for law in [copper(None), copper(Some(500.0))] {
            for p in [-1e6, 1e6] {
                assert!(law.flow(p).current.is_finite() && law.flow(p).slope.is_finite());
            }
            let p = law.step(0.0, 50.0);
            assert!(p > 0.0 && p.is_finite());
        }
        // The tangent at 0 of i0 2 sinh-like law: 50 V ask for 38924.2·0.5·… A/m²;
        // ln of that is under half a volt.
        assert!(copper(None).step(0.0, 50.0) < 0.5);
    }
}
