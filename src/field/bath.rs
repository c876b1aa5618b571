//! Metal in a bath at given volts or amps, and the currents that flow:
//! prepared once, asked often.

use std::sync::Arc;

use rayon::prelude::*;

use super::bodies::{Body, Currents, FieldError, Order, checked};
use super::equations::{Place, State};
use super::kinetics::Kinetics;
use super::krylov;
use super::linear::Linear;
use super::operator::Operator;
use super::panel::Panel;
use super::tank::{Tank, Walls};
use crate::units::{Stopped, Watch, go_on};

/// The geometry of a bath, ready to be asked with any volts and kinetics.
#[derive(Debug)]
pub struct Bath {
    pub(super) conductivity: f64,
    pub(super) in_tank: bool,
    walls: Option<Arc<Walls>>,
    pub(super) operator: Operator,
    /// In the operator's order: area, surface, body and place in the body.
    pub(super) panels: Vec<Place>,
    /// The single layer of each panel on itself, m.
    pub(super) own: Vec<f64>,
    pub(super) anodes: Vec<bool>,
    pub(super) sizes: Vec<usize>,
}

/// Newton steps at most.
const MOST_NEWTON: usize = 40;

/// Krylov steps at most for one Newton step.
const MOST_STEPS: usize = 150;

/// How exactly a Newton step is worked out while kinetics bend.
const INEXACT: f64 = 0.05;

/// A smaller part of a step is not tried.
const LEAST_PART: f64 = 0.01;

/// So far above the aim single precision may leave the equations.
const NOISE: f64 = 10.0;

impl Bath {
    /// Prepares a bath of `conductivity`, S/m, in a tank or without end.
    ///
    /// # Errors
    /// [`FieldError::Empty`] without panels, [`FieldError::Wrong`] for a number
    /// that cannot be, [`FieldError::Stopped`] as the watch asks.
    pub fn new(
        tank: Option<Tank>,
        conductivity: f64,
        bodies: &[Body],
        watch: &dyn Watch,
    ) -> Result<Self, FieldError> {
        checked(tank, conductivity, bodies)?;
        let walls = tank.map(|tank| Arc::new(Walls::new(tank)));
        Self::between(walls, conductivity, bodies, watch)
    }

    /// The same liquid in the same tank with other bodies in it.
    ///
    /// # Errors
    /// As [`Self::new`].
    pub fn with(&self, bodies: &[Body], watch: &dyn Watch) -> Result<Self, FieldError> {
        let walls = self.walls.clone();
        let tank = walls.as_ref().map(|walls| walls.tank);
        checked(tank, self.conductivity, bodies)?;
        Self::between(walls, self.conductivity, bodies, watch)
    }

    fn between(
        walls: Option<Arc<Walls>>,
        conductivity: f64,
        bodies: &[Body],
        watch: &dyn Watch,
    ) -> Result<Self, FieldError> {
        let given: Vec<Panel> = bodies
            .iter()
            .flat_map(|body| body.panels.iter().copied())
            .collect();
        let operator = Operator::new(&given, walls.as_ref(), watch)?;
        let places: Vec<Place> = bodies
            .iter()
            .enumerate()
            .flat_map(|(body, of)| {
                of.panels.iter().zip(&of.surfaces).enumerate().map(
                    move |(panel, (shape, surface))| Place {
                        area: shape.area,
                        surface: *surface,
                        body,
                        panel,
                    },
                )
            })
            .collect();
        let own = operator
            .groups()
            .flat_map_iter(|group| (0..group.panels.len()).map(move |k| group.between(k, k).0));
        let own: Vec<f64> = own.collect();
        let mut sorted = vec![0.0; own.len()];
        let spots = operator
            .groups()
            .flat_map_iter(|group| group.panels)
            .collect::<Vec<_>>();
        spots
            .iter()
            .zip(own)
            .for_each(|(spot, value)| sorted[*spot] = value);
        Ok(Self {
            conductivity,
            in_tank: walls.is_some(),
            walls,
            panels: operator
                .order()
                .iter()
                .map(|k| places[*k as usize])
                .collect(),
            operator,
            own: sorted,
            anodes: bodies.iter().map(|body| body.anode).collect(),
            sizes: bodies.iter().map(|body| body.panels.len()).collect(),
        })
    }

    /// The currents at these volts and kinetics: Newton's method, each step by
    /// GMRES no more exactly than it is worth (Dembo, Eisenstat & Steihaug 1982,
    /// from memory).
    ///
    /// # Errors
    /// [`FieldError::Unsolved`] where the residual stays too large, others as
    /// [`Self::new`].
    pub fn solve(&self, order: &Order, watch: &dyn Watch) -> Result<Currents, FieldError> {
        self.solve_from(order, None, watch)
    }

    /// The same, begun at currents that are not far off: of the same bodies, at
    /// other volts or kinetics.
    ///
    /// # Errors
    /// As [`Self::solve`].
    pub fn solve_from(
        &self,
        order: &Order,
        like: Option<&Currents>,
        watch: &dyn Watch,
    ) -> Result<Currents, FieldError> {
        self.check(order)?;
        let bent = self.panels.iter().any(|p| {
            !matches!(
                Self::law(order, p),
                Kinetics::None | Kinetics::Linear { .. }
            )
        });
        let largest = self.largest_volts(order);
        let mut state = match like {
            Some(like) if self.fits(like) => self.begun(order, like, bent),
            _ => self.at_rest(order),
        };
        let mut left = self.residual(order, &state);
        let mut steps = 0;
        for newton in 0..MOST_NEWTON {
            let size = self.size_of(&left, largest);
            if size <= order.exact {
                break;
            }
            go_on(watch, "currents", newton as f64 / MOST_NEWTON as f64)?;
            let inner = if bent {
                INEXACT.max(0.3 * order.exact / size)
            } else {
                (0.3 * order.exact / size).min(0.1)
            };
            let linear = Linear::new(self, order, &state);
            let right: Vec<f64> = left.iter().map(|value| -value).collect();
            let (x, asked) = krylov::solve(
                &right,
                inner,
                MOST_STEPS,
                |x| linear.prepared(x),
                |x| {
                    if watch.stopped() {
                        Err(Stopped)
                    } else {
                        Ok(linear.apply(x))
                    }
                },
            )?;
            steps += asked;
            let (next, after) = self.stepped(&state, &linear, &x, size, largest);
            steps += 1;
            state = next;
            left = after;
            // As near as single precision comes.
            if size < NOISE * order.exact && self.size_of(&left, largest) > 0.9 * size {
                break;
            }
        }
        let residual = self.size_of(&left, largest);
        if residual > NOISE * order.exact || !residual.is_finite() {
            return Err(FieldError::Unsolved {
                left: residual,
                steps,
            });
        }
        Ok(self.told(&state, residual, steps))
    }

    /// The state after the step `x`, or a part of it where the whole makes the
    /// equations no better.
    fn stepped(
        &self,
        state: &State,
        linear: &Linear<'_>,
        x: &[f64],
        size: f64,
        largest: f64,
    ) -> (State, Vec<f64>) {
        let mut part = 1.0;
        loop {
            let next = linear.moved(state, x, part);
            let left = self.residual(linear.order, &next);
            if self.size_of(&left, largest) < size || part < LEAST_PART {
                return (next, left);
            }
            part /= 2.0;
        }
    }

    fn told(&self, state: &State, residual: f64, steps: usize) -> Currents {
        let empty = || {
            self.sizes
                .iter()
                .map(|size| vec![0.0; *size])
                .collect::<Vec<_>>()
        };
        let (mut density, mut overpotential) = (empty(), empty());
        let mut amps = vec![0.0; self.sizes.len()];
        let (mut sum, mut moved) = (0.0, 0.0);
        for (k, place) in self.panels.iter().enumerate() {
            density[place.body][place.panel] = state.i[k];
            overpotential[place.body][place.panel] = state.u[k];
            let here = state.i[k] * place.area;
            amps[place.body] += here;
            sum += here;
            moved += here.abs();
        }
        let balance = if self.in_tank && moved > 0.0 {
            2.0 * sum.abs() / moved
        } else {
            0.0
        };
        Currents {
            density,
            overpotential,
            amps,
            constant: state.constant,
            raised: state.raised,
            residual,
            balance,
            panels: self.panels.len(),
            steps,
        }
    }

    fn check(&self, order: &Order) -> Result<(), FieldError> {
        for (what, count) in [
            ("volts", order.volts.len()),
            ("kinetics", order.kinetics.len()),
        ] {
            if count != self.sizes.len() {
                return Err(FieldError::Wrong(
                    what,
                    format!("{count} for {} bodies", self.sizes.len()),
                ));
            }
        }
        let numbers = order
            .volts
            .iter()
            .copied()
            .chain([order.far_volts, order.exact])
            .chain(order.amps);
        for number in numbers {
            if !number.is_finite() {
                return Err(FieldError::Wrong("volts or amps", number.to_string()));
            }
        }
        Ok(())
    }
}
