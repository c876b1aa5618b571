//! Newton's equations around one state, and their preconditioner.

use std::ops::Range;

use rayon::prelude::*;

use super::bath::Bath;
use super::bodies::{Order, Surface};
use super::equations::{Border, Place, State};
use super::kinetics::{Flow, Kinetics};
use super::krylov::{Factors, add};
use super::operator::Group;

/// The equations around one state, in unknowns that weigh alike: each panel's
/// own share of its equation is 1.
pub(super) struct Linear<'a> {
    bath: &'a Bath,
    pub(super) order: &'a Order,
    /// By how much u and i of each panel move with its unknown.
    per_u: Vec<f64>,
    per_i: Vec<f64>,
    borders: Vec<Border>,
    blocks: Vec<(Range<usize>, Factors)>,
    /// The preconditioner's answer to each border's column.
    answers: Vec<Vec<f64>>,
    corner: Option<Factors>,
}

impl<'a> Linear<'a> {
    pub(super) fn new(bath: &'a Bath, order: &'a Order, state: &State) -> Self {
        let (mut per_u, mut per_i) = (Vec::new(), Vec::new());
        for ((place, own), u) in bath.panels.iter().zip(&bath.own).zip(&state.u) {
            let own = own / bath.conductivity;
            let (u, i) = match (place.surface, Bath::law(order, place)) {
                (Surface::Insulator, _) => (1.0 / Bath::free(place), 0.0),
                (_, Kinetics::None) => (0.0, 1.0 / own),
                (_, law) => {
                    let Flow { slope, .. } = law.flow(*u);
                    let whole = Bath::free(place) + own * slope;
                    (1.0 / whole, slope / whole)
                }
            };
            per_u.push(u);
            per_i.push(i);
        }
        let mut linear = Self {
            bath,
            order,
            per_u,
            per_i,
            borders: bath.borders(order),
            blocks: Vec::new(),
            answers: Vec::new(),
            corner: None,
        };
        linear.prepare();
        linear
    }

    fn prepare(&mut self) {
        let blocks = self
            .bath
            .operator
            .groups()
            .map(|group| self.block(&group))
            .collect();
        self.blocks = blocks;
        self.answers = self
            .borders
            .iter()
            .map(|border| self.by_blocks(&self.column(border)))
            .collect();
        let size = self.borders.len();
        if size > 0 {
            let mut entries = Vec::new();
            for row in &self.borders {
                entries.extend(self.answers.iter().map(|answer| self.row(row, answer)));
            }
            self.corner = Some(Factors::new(size, entries));
        }
    }

    /// The equations of one group among themselves.
    fn block(&self, group: &Group<'_>) -> (Range<usize>, Factors) {
        let (first, size) = (group.panels.start, group.panels.len());
        let mut entries = Vec::with_capacity(size * size);
        for to in 0..size {
            for from in 0..size {
                let (single, double) = group.between(to, from);
                let panel = first + from;
                let place = &self.bath.panels[panel];
                let flat = matches!(place.surface, Surface::Plate | Surface::FlushPlate);
                let double = if flat { 0.0 } else { double };
                let free = if to == from { Bath::free(place) } else { 0.0 };
                entries.push(
                    self.per_u[panel] * (free - double)
                        + self.per_i[panel] * single / self.bath.conductivity,
                );
            }
        }
        (group.panels.clone(), Factors::new(size, entries))
    }

    /// What one volt of the border's unknown adds to each panel's equation.
    fn column(&self, border: &Border) -> Vec<f64> {
        let lifted = |place: &Place| self.bath.anodes[place.body];
        let share = |place: &Place| match border.lifts_anodes {
            false => -1.0,
            true if lifted(place) => 1.0,
            true => 0.0,
        };
        self.bath.panels.iter().map(share).collect()
    }

    /// What the panels' unknowns add to the border's condition.
    fn row(&self, border: &Border, x: &[f64]) -> f64 {
        let i: Vec<f64> = x.iter().zip(&self.per_i).map(|(x, per)| x * per).collect();
        self.bath.amps_of(border, &i) * self.bath.border_weight()
    }

    pub(super) fn apply(&self, x: &[f64]) -> Vec<f64> {
        let (panels, volts) = x.split_at(self.bath.panels.len());
        let u: Vec<f64> = panels
            .iter()
            .zip(&self.per_u)
            .map(|(x, per)| x * per)
            .collect();
        let i: Vec<f64> = panels
            .iter()
            .zip(&self.per_i)
            .map(|(x, per)| x * per)
            .collect();
        let mut out = self.bath.layers(&u, &i);
        for ((value, place), u) in out.iter_mut().zip(&self.bath.panels).zip(&u) {
            *value += Bath::free(place) * u;
        }
        for (border, volts) in self.borders.iter().zip(volts) {
            add(&mut out, &self.column(border), *volts);
        }
        let amps: Vec<f64> = self
            .borders
            .iter()
            .map(|border| self.row(border, panels))
            .collect();
        out.extend(amps);
        out
    }

    fn by_blocks(&self, right: &[f64]) -> Vec<f64> {
        let parts: Vec<Vec<f64>> = self
            .blocks
            .par_iter()
            .map(|(panels, factors)| {
                let mut part = right[panels.clone()].to_vec();
                factors.solve(&mut part);
                part
            })
            .collect();
        let mut out = vec![0.0; self.bath.panels.len()];
        for ((panels, _), part) in self.blocks.iter().zip(parts) {
            out[panels.clone()].copy_from_slice(&part);
        }
        out
    }

    /// The preconditioner: each group alone, and the conditions on amps met.
    pub(super) fn prepared(&self, right: &[f64]) -> Vec<f64> {
        let (panels, amps) = right.split_at(self.bath.panels.len());
        let mut out = self.by_blocks(panels);
        if let Some(corner) = &self.corner {
            let mut volts: Vec<f64> = self
                .borders
                .iter()
                .zip(amps)
                .map(|(border, amps)| self.row(border, &out) - amps)
                .collect();
            corner.solve(&mut volts);
            for (answer, volts) in self.answers.iter().zip(&volts) {
                add(&mut out, answer, -volts);
            }
            out.extend(volts);
        }
        out
    }

    /// The state moved by a part of the step `x`.
    pub(super) fn moved(&self, state: &State, x: &[f64], part: f64) -> State {
        let mut next = state.clone();
        for (k, place) in self.bath.panels.iter().enumerate() {
            let law = Bath::law(self.order, place);
            let du = part * self.per_u[k] * x[k];
            if law.is_none() {
                next.u[k] += du;
                next.i[k] += part * self.per_i[k] * x[k];
            } else {
                next.u[k] = law.step(state.u[k], du);
                next.i[k] = law.flow(next.u[k]).current;
            }
        }
        for (border, volts) in self.borders.iter().zip(&x[self.bath.panels.len()..]) {
            let unknown = if border.lifts_anodes {
                &mut next.raised
            } else {
                &mut next.constant
            };
            *unknown += part * volts;
        }
        next
    }
}
