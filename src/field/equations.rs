//! The equations of a bath.
//!
//! Laplace's equation in the liquid, as an equation on its boundary (Green's
//! third identity; direct formulation): with i the current density into the
//! metal (A/m²), u the potential of the liquid there less the metal's V (V),
//! κ the conductivity (S/m), S and D the single and double layer,
//!
//! `V + f u - D u + S i/κ = C`, f = 1/2 (1 on a plate flush in a wall).
//!
//! C is the potential far away, or in a tank a constant that makes the currents
//! balance. Metal without kinetics has u = 0; an insulator has i = 0; otherwise
//! i follows from u. That D of a whole body's V is no more than -V/2 on itself
//! is used already, so bodies have to be closed; plates without thickness are
//! the exception, they have no D.

use super::bath::Bath;
use super::bodies::{Currents, Order, Surface};
use super::kinetics::Kinetics;
use super::krylov::{self, norm};

#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) area: f64,
    pub(super) surface: Surface,
    pub(super) body: usize,
    pub(super) panel: usize,
}

/// The unknowns: u and i of every panel, C, and by how much anodes are raised.
#[derive(Debug, Clone)]
pub(super) struct State {
    pub(super) u: Vec<f64>,
    pub(super) i: Vec<f64>,
    pub(super) constant: f64,
    pub(super) raised: f64,
}

/// One condition on amps.
#[derive(Debug, Clone, Copy)]
pub(super) struct Border {
    pub(super) anodes_only: bool,
    pub(super) lifts_anodes: bool,
    pub(super) amps: f64,
}

impl Bath {
    pub(super) fn law<'a>(order: &'a Order, place: &Place) -> &'a Kinetics {
        match place.surface {
            Surface::Metal | Surface::FlushPlate => &order.kinetics[place.body],
            Surface::Plate | Surface::Insulator => &Kinetics::None,
        }
    }

    /// The share of u in its own equation.
    pub(super) fn free(place: &Place) -> f64 {
        if place.surface == Surface::FlushPlate {
            1.0
        } else {
            0.5
        }
    }

    pub(super) fn at_rest(&self, order: &Order) -> State {
        let flow = |place: &Place| Self::law(order, place).flow(0.0).current;
        State {
            u: vec![0.0; self.panels.len()],
            i: self.panels.iter().map(flow).collect(),
            constant: if self.in_tank { 0.0 } else { order.far_volts },
            raised: 0.0,
        }
    }

    pub(super) fn fits(&self, like: &Currents) -> bool {
        like.density
            .iter()
            .map(Vec::len)
            .eq(self.sizes.iter().copied())
    }

    /// The state those currents would be; where nothing bends, their best
    /// multiple.
    pub(super) fn begun(&self, order: &Order, like: &Currents, bent: bool) -> State {
        let mut state = self.at_rest(order);
        state.raised = like.raised;
        if self.in_tank || order.amps.is_some() {
            state.constant = like.constant;
        }
        // Where amps are wanted, all of it grows about like them.
        let moved = like.amps.iter().map(|amps| amps.abs()).sum::<f64>() / 2.0;
        let factor = order.amps.map_or(1.0, |amps| amps.abs() / moved);
        let factor = if factor.is_finite() { factor } else { 1.0 };
        for (k, place) in self.panels.iter().enumerate() {
            let law = Self::law(order, place);
            let (i, u) = (
                factor * like.density[place.body][place.panel],
                like.overpotential[place.body][place.panel],
            );
            let metal = place.surface != Surface::Insulator;
            state.i[k] = if metal { i } else { 0.0 };
            state.u[k] = if metal {
                law.overpotential(i).unwrap_or(u)
            } else {
                u
            };
            if !law.is_none() {
                state.i[k] = law.flow(state.u[k]).current;
            }
        }
        if bent {
            state
        } else {
            self.best_multiple(order, state)
        }
    }

    pub(super) fn best_multiple(&self, order: &Order, mut state: State) -> State {
        let here = self.residual(order, &state);
        let rest = self.residual(order, &self.at_rest(order));
        let moved: Vec<f64> = here
            .iter()
            .zip(&rest)
            .map(|(here, rest)| here - rest)
            .collect();
        let factor =
            -krylov::dot(&rest, &moved) / krylov::dot(&moved, &moved).max(f64::MIN_POSITIVE);
        let far = if self.in_tank { 0.0 } else { order.far_volts };
        state
            .u
            .iter_mut()
            .chain(&mut state.i)
            .for_each(|value| *value *= factor);
        state.constant = far + factor * (state.constant - far);
        state.raised *= factor;
        state
    }

    pub(super) fn largest_volts(&self, order: &Order) -> f64 {
        let far = if self.in_tank {
            None
        } else {
            Some(order.far_volts)
        };
        let metal = self
            .panels
            .iter()
            .filter(|p| p.surface != Surface::Insulator)
            .map(|p| order.volts[p.body]);
        let (low, high) = metal
            .chain(far)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
                (low.min(v), high.max(v))
            });
        let by_amps = order
            .amps
            .map_or(0.0, |amps| amps.abs() / self.conductivity / self.length());
        (high - low).max(by_amps).max(f64::MIN_POSITIVE)
    }

    /// A length that makes volts of amps: the root of the metal's area, m.
    pub(super) fn length(&self) -> f64 {
        let metal = self
            .panels
            .iter()
            .filter(|p| p.surface != Surface::Insulator);
        metal.map(|p| p.area).sum::<f64>().sqrt()
    }

    /// Root mean square over the panels, as a share of the largest volts.
    pub(super) fn size_of(&self, left: &[f64], largest: f64) -> f64 {
        norm(left) / (self.panels.len() as f64).sqrt() / largest
    }

    /// The equations' left sides: of each panel, V; then of the amps.
    pub(super) fn residual(&self, order: &Order, state: &State) -> Vec<f64> {
        let mut left = self.layers(&state.u, &state.i);
        for ((value, place), u) in left.iter_mut().zip(&self.panels).zip(&state.u) {
            let raised = if self.anodes[place.body] {
                state.raised
            } else {
                0.0
            };
            *value += order.volts[place.body] + raised + Self::free(place) * u - state.constant;
        }
        for border in self.borders(order) {
            let wanted = border.amps;
            left.push((self.amps_of(&border, &state.i) - wanted) * self.border_weight());
        }
        left
    }

    /// `S i/κ - D u`.
    pub(super) fn layers(&self, u: &[f64], i: &[f64]) -> Vec<f64> {
        let single: Vec<f64> = i.iter().map(|i| i / self.conductivity).collect();
        let dipole = |(u, place): (&f64, &Place)| match place.surface {
            Surface::Metal | Surface::Insulator => -u,
            Surface::Plate | Surface::FlushPlate => 0.0,
        };
        let double: Vec<f64> = u.iter().zip(&self.panels).map(dipole).collect();
        self.operator.apply(&single, &double)
    }

    /// The conditions on amps, each with the unknown volts that serve it.
    pub(super) fn borders(&self, order: &Order) -> Vec<Border> {
        let balance = Border {
            anodes_only: false,
            lifts_anodes: false,
            amps: 0.0,
        };
        match (self.in_tank, order.amps) {
            (false, None) => Vec::new(),
            (false, Some(amps)) => vec![Border { amps, ..balance }],
            (true, None) => vec![balance],
            (true, Some(amps)) => vec![
                balance,
                Border {
                    anodes_only: true,
                    lifts_anodes: true,
                    amps: -amps,
                },
            ],
        }
    }

    /// Amps of a condition count like volts of all panels together.
    pub(super) fn border_weight(&self) -> f64 {
        (self.panels.len() as f64).sqrt() / self.conductivity / self.length()
    }

    pub(super) fn amps_of(&self, border: &Border, i: &[f64]) -> f64 {
        let counts = |place: &Place| !border.anodes_only || self.anodes[place.body];
        self.panels
            .iter()
            .zip(i)
            .filter(|(place, _)| counts(place))
            .map(|(place, i)| place.area * i)
            .sum()
    }
}
