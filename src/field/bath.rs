//! Metal in a bath at given volts or amps, and the currents that flow.
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

use rayon::prelude::*;

use super::kinetics::{Flow, Kinetics};
use super::krylov::{self, Factors, add, norm};
use super::operator::Operator;
use super::panel::{Panel, Point};
use super::tank::Tank;
use crate::units::{Stopped, Watch, go_on};

/// What a body's surface is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Surface {
    /// Metal of a closed body, the bath on one side of each panel.
    Metal,
    /// A metal plate without thickness in the liquid: current reaches both of
    /// its faces and is told as their sum. It knows no kinetics.
    Plate,
    /// A metal plate in a wall of the tank: one face works.
    FlushPlate,
    /// An insulator, or a part of metal that is masked.
    Insulator,
}

/// One electrode or insulator.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// Its panels, normals into the liquid.
    pub panels: Vec<Panel>,
    /// What each panel is: as many as panels.
    pub surfaces: Vec<Surface>,
    /// Whether it belongs to the side of the supply whose volts are shifted
    /// until the wanted amps flow: the anodes.
    pub anode: bool,
}

impl Body {
    /// A body that is one thing all over.
    pub fn uniform(panels: Vec<Panel>, surface: Surface) -> Self {
        Self {
            surfaces: vec![surface; panels.len()],
            panels,
            anode: false,
        }
    }

    /// The same as an anode.
    pub fn as_anode(mut self) -> Self {
        self.anode = true;
        self
    }
}

/// What hangs at which volts.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// Each body's volts.
    pub volts: Vec<f64>,
    /// Each body's kinetics.
    pub kinetics: Vec<Kinetics>,
    /// The volts of the anode at infinity; of use without a tank.
    pub far_volts: f64,
    /// The amps wanted from the anodes (in a tank) or from infinity; their volts
    /// are then shifted together. None: the volts are as they are.
    pub amps: Option<f64>,
    /// How much of the residual may be left, as a share of the largest volts.
    pub exact: f64,
}

impl Order {
    /// These volts, no kinetics.
    pub fn volts(volts: Vec<f64>) -> Self {
        Self {
            kinetics: vec![Kinetics::None; volts.len()],
            volts,
            far_volts: 0.0,
            amps: None,
            exact: 2e-5,
        }
    }
}

/// What flows.
#[derive(Debug, Clone, PartialEq)]
pub struct Currents {
    /// Of each body, of each panel: the current density into the metal, A/m².
    pub density: Vec<Vec<f64>>,
    /// Of each body, of each panel: the potential of the liquid less the body's
    /// volts, V.
    pub overpotential: Vec<Vec<f64>>,
    /// Of each body: the amps into it.
    pub amps: Vec<f64>,
    /// The potential far away, V; in a tank a constant without a place.
    pub constant: f64,
    /// What the anodes' volts (or those at infinity) were raised by for the amps
    /// that were wanted, V.
    pub raised: f64,
    /// The root mean square of what is left of the equations, as a share of the
    /// largest volts between bodies.
    pub residual: f64,
    /// In a tank: amps that go in less those that come out, as a share of
    /// either; with an anode at infinity 0.
    pub balance: f64,
    /// How many panels there are.
    pub panels: usize,
    /// How often the operator was asked.
    pub steps: usize,
}

/// Why no currents are told.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FieldError {
    /// Stopped as asked.
    #[error(transparent)]
    Stopped(#[from] Stopped),
    /// No more panels than none.
    #[error("there is no metal in the bath")]
    Empty,
    /// A number that cannot be.
    #[error("{0} cannot be: {1}")]
    Wrong(&'static str, String),
    /// The equations were not solved well enough.
    #[error("the equations are not solved: {left:.1e} of them is left after {steps} steps")]
    Unsolved {
        /// The residual that is left.
        left: f64,
        /// After so many steps.
        steps: usize,
    },
}

/// The geometry of a bath, ready to be asked with any volts and kinetics.
#[derive(Debug)]
pub struct Bath {
    conductivity: f64,
    in_tank: bool,
    operator: Operator,
    /// In the operator's order: area, surface, body and place in the body.
    panels: Vec<Place>,
    /// The single layer of each panel on itself, m.
    own: Vec<f64>,
    anodes: Vec<bool>,
    sizes: Vec<usize>,
}

#[derive(Debug, Clone, Copy)]
struct Place {
    area: f64,
    surface: Surface,
    body: usize,
    panel: usize,
}

/// The unknowns: u and i of every panel, C, and by how much anodes are raised.
#[derive(Debug, Clone)]
struct State {
    u: Vec<f64>,
    i: Vec<f64>,
    constant: f64,
    raised: f64,
}

/// Newton steps at most.
const MOST_NEWTON: usize = 40;

/// Krylov steps at most for one Newton step.
const MOST_STEPS: usize = 150;

/// How exactly a Newton step is worked out while kinetics bend.
const INEXACT: f64 = 0.05;

impl Bath {
    /// Prepares a bath of `conductivity`, S/m, in a tank or without end.
    ///
    /// # Errors
    /// [`FieldError::Empty`] without panels, [`FieldError::Wrong`] for a number
    /// that cannot be, [`FieldError::Stopped`] as the watch asks.
    pub fn new(tank: Option<Tank>, conductivity: f64, bodies: &[Body], watch: &dyn Watch) -> Result<Self, FieldError> {
        checked(tank, conductivity, bodies)?;
        let given: Vec<Panel> = bodies.iter().flat_map(|body| body.panels.iter().copied()).collect();
        let operator = Operator::new(&given, tank.as_ref(), watch)?;
        let places: Vec<Place> = bodies
            .iter()
            .enumerate()
            .flat_map(|(body, of)| {
                of.panels.iter().zip(&of.surfaces).enumerate().map(move |(panel, (shape, surface))| Place {
                    area: shape.area,
                    surface: *surface,
                    body,
                    panel,
                })
            })
            .collect();
        let own = operator.groups().flat_map_iter(|group| {
            (0..group.panels.len()).map(move |k| group.between(k, k).0)
        });
        let own: Vec<f64> = own.collect();
        let mut sorted = vec![0.0; own.len()];
        let spots = operator.groups().flat_map_iter(|group| group.panels).collect::<Vec<_>>();
        spots.iter().zip(own).for_each(|(spot, value)| sorted[*spot] = value);
        Ok(Self {
            conductivity,
            in_tank: tank.is_some(),
            panels: operator.order().iter().map(|k| places[*k as usize]).collect(),
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
    pub fn solve_from(&self, order: &Order, like: Option<&Currents>, watch: &dyn Watch) -> Result<Currents, FieldError> {
        self.check(order)?;
        let bent = self.panels.iter().any(|p| !matches!(self.law(order, p), Kinetics::None | Kinetics::Linear { .. }));
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
            let inner = if bent { INEXACT.max(0.3 * order.exact / size) } else { (0.3 * order.exact / size).min(0.1) };
            let linear = Linear::new(self, order, &state);
            let right: Vec<f64> = left.iter().map(|value| -value).collect();
            let (x, ended) = krylov::solve(&right, inner, MOST_STEPS, |x| linear.prepared(x), |x| {
                if watch.stopped() { Err(Stopped) } else { Ok(linear.apply(x)) }
            })?;
            steps += ended.steps;
            let (next, after) = self.stepped(order, &state, &linear, &x, size, largest);
            steps += 1;
            state = next;
            left = after;
        }
        let residual = self.size_of(&left, largest);
        // GMRES with single precision inside ends a little above its aim.
        if residual > 10.0 * order.exact || !residual.is_finite() {
            return Err(FieldError::Unsolved { left: residual, steps });
        }
        Ok(self.told(&state, residual, steps))
    }

    /// The state after the step `x`, or a part of it where the whole makes the
    /// equations no better.
    fn stepped(&self, order: &Order, state: &State, linear: &Linear<'_>, x: &[f64], size: f64, largest: f64) -> (State, Vec<f64>) {
        let mut part = 1.0;
        loop {
            let next = linear.moved(state, x, part);
            let left = self.residual(order, &next);
            if self.size_of(&left, largest) < size || part < 0.1 {
                return (next, left);
            }
            part /= 2.0;
        }
    }

    fn law<'a>(&self, order: &'a Order, place: &Place) -> &'a Kinetics {
        match place.surface {
            Surface::Metal | Surface::FlushPlate => &order.kinetics[place.body],
            Surface::Plate | Surface::Insulator => &Kinetics::None,
        }
    }

    /// The share of u in its own equation.
    fn free(place: &Place) -> f64 {
        if place.surface == Surface::FlushPlate { 1.0 } else { 0.5 }
    }

    fn at_rest(&self, order: &Order) -> State {
        let flow = |place: &Place| self.law(order, place).flow(0.0).current;
        State {
            u: vec![0.0; self.panels.len()],
            i: self.panels.iter().map(flow).collect(),
            constant: if self.in_tank { 0.0 } else { order.far_volts },
            raised: 0.0,
        }
    }

    fn fits(&self, like: &Currents) -> bool {
        like.density.iter().map(Vec::len).eq(self.sizes.iter().copied())
    }

    /// The state those currents would be; where nothing bends, their best
    /// multiple.
    fn begun(&self, order: &Order, like: &Currents, bent: bool) -> State {
        let mut state = self.at_rest(order);
        state.raised = like.raised;
        if self.in_tank || order.amps.is_some() {
            state.constant = like.constant;
        }
        for (k, place) in self.panels.iter().enumerate() {
            let law = self.law(order, place);
            let (i, u) = (like.density[place.body][place.panel], like.overpotential[place.body][place.panel]);
            let metal = place.surface != Surface::Insulator;
            state.i[k] = if metal { i } else { 0.0 };
            state.u[k] = if metal { law.overpotential(i).unwrap_or(u) } else { u };
            if !law.is_none() {
                state.i[k] = law.flow(state.u[k]).current;
            }
        }
        if bent { state } else { self.best_multiple(order, state) }
    }

    fn best_multiple(&self, order: &Order, mut state: State) -> State {
        let here = self.residual(order, &state);
        let rest = self.residual(order, &self.at_rest(order));
        let moved: Vec<f64> = here.iter().zip(&rest).map(|(here, rest)| here - rest).collect();
        let factor = -krylov::dot(&rest, &moved) / krylov::dot(&moved, &moved).max(f64::MIN_POSITIVE);
        let far = if self.in_tank { 0.0 } else { order.far_volts };
        state.u.iter_mut().chain(&mut state.i).for_each(|value| *value *= factor);
        state.constant = far + factor * (state.constant - far);
        state.raised *= factor;
        state
    }

    fn largest_volts(&self, order: &Order) -> f64 {
        let far = if self.in_tank { None } else { Some(order.far_volts) };
        let metal = self.panels.iter().filter(|p| p.surface != Surface::Insulator).map(|p| order.volts[p.body]);
        let (low, high) = metal.chain(far).fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
        let by_amps = order.amps.map_or(0.0, |amps| amps.abs() / self.conductivity / self.length());
        (high - low).max(by_amps).max(f64::MIN_POSITIVE)
    }

    /// A length that makes volts of amps: the root of the metal's area, m.
    fn length(&self) -> f64 {
        let metal = self.panels.iter().filter(|p| p.surface != Surface::Insulator);
        metal.map(|p| p.area).sum::<f64>().sqrt()
    }

    /// Root mean square over the panels, as a share of the largest volts.
    fn size_of(&self, left: &[f64], largest: f64) -> f64 {
        norm(left) / (self.panels.len() as f64).sqrt() / largest
    }

    /// The equations' left sides: of each panel, V; then of the amps.
    fn residual(&self, order: &Order, state: &State) -> Vec<f64> {
        let mut left = self.layers(&state.u, &state.i);
        for ((value, place), u) in left.iter_mut().zip(&self.panels).zip(&state.u) {
            let raised = if self.anodes[place.body] { state.raised } else { 0.0 };
            *value += order.volts[place.body] + raised + Self::free(place) * u - state.constant;
        }
        for border in self.borders(order) {
            let wanted = border.amps;
            left.push((self.amps_of(&border, &state.i) - wanted) * self.border_weight());
        }
        left
    }

    /// `S i/κ - D u`.
    fn layers(&self, u: &[f64], i: &[f64]) -> Vec<f64> {
        let single: Vec<f64> = i.iter().map(|i| i / self.conductivity).collect();
        let dipole = |(u, place): (&f64, &Place)| match place.surface {
            Surface::Metal | Surface::Insulator => -u,
            Surface::Plate | Surface::FlushPlate => 0.0,
        };
        let double: Vec<f64> = u.iter().zip(&self.panels).map(dipole).collect();
        self.operator.apply(&single, &double)
    }

    /// The conditions on amps, each with the unknown volts that serve it.
    fn borders(&self, order: &Order) -> Vec<Border> {
        let balance = Border { anodes_only: false, lifts_anodes: false, amps: 0.0 };
        match (self.in_tank, order.amps) {
            (false, None) => Vec::new(),
            (false, Some(amps)) => vec![Border { amps, ..balance }],
            (true, None) => vec![balance],
            (true, Some(amps)) => vec![balance, Border { anodes_only: true, lifts_anodes: true, amps: -amps }],
        }
    }

    /// Amps of a condition count like volts of all panels together.
    fn border_weight(&self) -> f64 {
        (self.panels.len() as f64).sqrt() / self.conductivity / self.length()
    }

    fn amps_of(&self, border: &Border, i: &[f64]) -> f64 {
        let counts = |place: &Place| !border.anodes_only || self.anodes[place.body];
        self.panels.iter().zip(i).filter(|(place, _)| counts(place)).map(|(place, i)| place.area * i).sum()
    }

    fn told(&self, state: &State, residual: f64, steps: usize) -> Currents {
        let empty = || self.sizes.iter().map(|size| vec![0.0; *size]).collect::<Vec<_>>();
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
        let balance = if self.in_tank && moved > 0.0 { 2.0 * sum.abs() / moved } else { 0.0 };
        Currents { density, overpotential, amps, constant: state.constant, raised: state.raised, residual, balance, panels: self.panels.len(), steps }
    }

    fn check(&self, order: &Order) -> Result<(), FieldError> {
        for (what, count) in [("volts", order.volts.len()), ("kinetics", order.kinetics.len())] {
            if count != self.sizes.len() {
                return Err(FieldError::Wrong(what, format!("{count} for {} bodies", self.sizes.len())));
            }
        }
        let numbers = order.volts.iter().copied().chain([order.far_volts, order.exact]).chain(order.amps);
        for number in numbers {
            if !number.is_finite() {
                return Err(FieldError::Wrong("volts or amps", number.to_string()));
            }
        }
        Ok(())
    }
}

fn checked(tank: Option<Tank>, conductivity: f64, bodies: &[Body]) -> Result<(), FieldError> {
    let panels = || bodies.iter().flat_map(|body| &body.panels);
    if panels().next().is_none() {
        return Err(FieldError::Empty);
    }
    if !(conductivity.is_finite() && conductivity > 0.0) {
        return Err(FieldError::Wrong("conductivity", format!("{conductivity} S/m")));
    }
    if let Some(tank) = tank
        && !tank.size().iter().all(|long| long.is_finite() && *long > 0.0)
    {
        return Err(FieldError::Wrong("tank", format!("{:?} m", tank.size())));
    }
    if let Some(panel) = panels().find(|panel| !(panel.area.is_finite() && panel.area > 0.0)) {
        return Err(FieldError::Wrong("panel", format!("{:?}", panel.corners)));
    }
    if bodies.iter().any(|body| body.surfaces.len() != body.panels.len()) {
        return Err(FieldError::Wrong("surfaces", "not as many as panels".to_owned()));
    }
    let outside = |tank: Tank, middle: Point| {
        let slack = 1e-6 * tank.size().iter().copied().fold(0.0, f64::max);
        (0..3).any(|axis| middle[axis] < tank.low[axis] - slack || middle[axis] > tank.high[axis] + slack)
    };
    match tank.and_then(|tank| panels().find(|panel| outside(tank, panel.middle))) {
        Some(panel) => Err(FieldError::Wrong("panel outside the tank", format!("{:?} m", panel.middle))),
        None => Ok(()),
    }
}

/// One condition on amps.
#[derive(Debug, Clone, Copy)]
struct Border {
    anodes_only: bool,
    lifts_anodes: bool,
    amps: f64,
}

/// The equations around one state, in unknowns that weigh alike: each panel's
/// own share of its equation is 1.
struct Linear<'a> {
    bath: &'a Bath,
    order: &'a Order,
    /// By how much u and i of each panel move with its unknown.
    per_u: Vec<f64>,
    per_i: Vec<f64>,
    borders: Vec<Border>,
    blocks: Vec<(std::ops::Range<usize>, Factors)>,
    /// The preconditioner's answer to each border's column.
    answers: Vec<Vec<f64>>,
    corner: Option<Factors>,
}

impl<'a> Linear<'a> {
    fn new(bath: &'a Bath, order: &'a Order, state: &State) -> Self {
        let (mut per_u, mut per_i) = (Vec::new(), Vec::new());
        for ((place, own), u) in bath.panels.iter().zip(&bath.own).zip(&state.u) {
            let own = own / bath.conductivity;
            let (u, i) = match (place.surface, bath.law(order, place)) {
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
        let blocks = self.bath.operator.groups().map(|group| self.block(&group)).collect();
        self.blocks = blocks;
        self.answers = self.borders.iter().map(|border| self.by_blocks(&self.column(border))).collect();
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
    fn block(&self, group: &super::operator::Group<'_>) -> (std::ops::Range<usize>, Factors) {
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
                    self.per_u[panel] * (free - double) + self.per_i[panel] * single / self.bath.conductivity,
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

    fn apply(&self, x: &[f64]) -> Vec<f64> {
        let (panels, volts) = x.split_at(self.bath.panels.len());
        let u: Vec<f64> = panels.iter().zip(&self.per_u).map(|(x, per)| x * per).collect();
        let i: Vec<f64> = panels.iter().zip(&self.per_i).map(|(x, per)| x * per).collect();
        let mut out = self.bath.layers(&u, &i);
        for ((value, place), u) in out.iter_mut().zip(&self.bath.panels).zip(&u) {
            *value += Bath::free(place) * u;
        }
        for (border, volts) in self.borders.iter().zip(volts) {
            add(&mut out, &self.column(border), *volts);
        }
        let amps: Vec<f64> = self.borders.iter().map(|border| self.row(border, panels)).collect();
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
    fn prepared(&self, right: &[f64]) -> Vec<f64> {
        let (panels, amps) = right.split_at(self.bath.panels.len());
        let mut out = self.by_blocks(panels);
        if let Some(corner) = &self.corner {
            let mut volts: Vec<f64> =
                self.borders.iter().zip(amps).map(|(border, amps)| self.row(border, &out) - amps).collect();
            corner.solve(&mut volts);
            for (answer, volts) in self.answers.iter().zip(&volts) {
                add(&mut out, answer, -volts);
            }
            out.extend(volts);
        }
        out
    }

    /// The state moved by a part of the step `x`.
    fn moved(&self, state: &State, x: &[f64], part: f64) -> State {
        let mut next = state.clone();
        for (k, place) in self.bath.panels.iter().enumerate() {
            let law = self.bath.law(self.order, place);
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
            let unknown = if border.lifts_anodes { &mut next.raised } else { &mut next.constant };
            *unknown += part * volts;
        }
        next
    }
}
