//! A scene cut into panels, ready to be asked with any volts and kinetics.

use super::super::bath::Bath;
use super::super::bodies::{Body, Currents, FieldError, Order, Surface};
use super::super::cover::Cover;
use super::super::kinetics::Kinetics;
use super::super::tank::Tank;
use super::build::{Covered, Make, Part, Print};
use super::check::SceneError;
use super::meet::Pieces;
use super::spread::Spread;
use super::{Kind, Scene, Supply, meet};
use crate::mesh::space::times;
use crate::units::{Part as PartOf, Watch, number};

/// A scene cut into panels twice, as fine as asked and with a quarter of the
/// panels, from which the error is told.
#[derive(Debug)]
pub struct Ready {
    pub(super) parts: Vec<Part>,
    pub(super) in_tank: bool,
    pub(super) fine: Cut,
    pub(super) coarse: Cut,
}

/// All parts in panels.
#[derive(Debug)]
pub(super) struct Cut {
    pub(super) bodies: Vec<Body>,
    pub(super) covers: Vec<Option<Cover>>,
    bath: Bath,
}

/// What came of a scene, with what the next solve on it may begin from.
#[derive(Debug)]
pub struct Solved {
    /// What came of it.
    pub spread: Spread,
    fine: Currents,
    coarse: Currents,
}

/// Panels of a part at least.
const LEAST: usize = 60;

/// The coarse panels' share.
const COARSE: f64 = 0.25;

impl Ready {
    /// Checks a scene and cuts it into about `panels` panels. `prints` are those
    /// of its bodies, in their order.
    ///
    /// # Errors
    /// [`SceneError`]; stopped as the watch asks.
    pub fn new(
        scene: &Scene,
        prints: &[Print],
        panels: usize,
        watch: &dyn Watch,
    ) -> Result<Self, SceneError> {
        scene.check()?;
        let parts = Part::all(scene, prints)?;
        meet::look(scene.tank.as_ref(), &parts)?;
        let step = |from: f64, to: f64| PartOf {
            whole: watch,
            from,
            to,
        };
        let few = (panels as f64 * COARSE) as usize;
        let coarse = Cut::new(scene, &parts, few, None, &step(0.0, 0.2))?;
        Ok(Self {
            fine: Cut::new(scene, &parts, panels, Some(&coarse), &step(0.2, 1.0))?,
            coarse,
            in_tank: scene.tank.is_some(),
            parts,
        })
    }

    /// The currents of a scene of the same geometry, at its volts, kinetics and
    /// supply; `like` is what came of it before.
    ///
    /// # Errors
    /// [`SceneError::Wrong`] where nothing drives a current, others as
    /// [`Bath::solve`].
    pub fn solve(
        &self,
        scene: &Scene,
        like: Option<&Solved>,
        watch: &dyn Watch,
    ) -> Result<Solved, SceneError> {
        let order = self.order(scene)?;
        let step = |from: f64, to: f64| PartOf {
            whole: watch,
            from,
            to,
        };
        let coarse =
            self.coarse
                .bath
                .solve_from(&order, like.map(|like| &like.coarse), &step(0.0, 0.2))?;
        let fine =
            self.fine
                .bath
                .solve_from(&order, like.map(|like| &like.fine), &step(0.2, 1.0))?;
        Ok(Solved {
            spread: Spread::of(self, &order, &fine, &coarse),
            fine,
            coarse,
        })
    }

    /// What is asked of the bath.
    fn order(&self, scene: &Scene) -> Result<Order, SceneError> {
        let mut order = Order::volts(self.volts(scene));
        order.kinetics = self.kinetics(scene);
        match scene.supply {
            Some(Supply::Amps(amps)) => {
                self.within_limits(&order, amps)?;
                order.amps = Some(amps);
            }
            Some(Supply::Volts(volts)) => {
                order.far_volts = volts;
                let anodes = || {
                    (self.parts.iter().zip(&order.volts))
                        .filter(|(part, _)| part.kind == Kind::Anode)
                };
                let highest = anodes().map(|(_, volts)| *volts).reduce(f64::max);
                if highest.is_none() && scene.tank.is_some() {
                    return Err(nothing(
                        "supply.volts",
                        "there is no anode to hold at these volts",
                    ));
                }
                let raise = highest.map_or(0.0, |highest| volts - highest);
                for (part, volts) in self.parts.iter().zip(&mut order.volts) {
                    if part.kind == Kind::Anode {
                        *volts += raise;
                    }
                }
            }
            None => {}
        }
        let metal = self.parts.iter().zip(&order.volts);
        let metal = metal.filter(|(part, _)| part.kind != Kind::Shield);
        let far = scene.tank.is_none().then_some(order.far_volts);
        let (low, high) = metal
            .map(|(_, volts)| *volts)
            .chain(far)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), volts| {
                (low.min(volts), high.max(volts))
            });
        if order.amps.is_none() && high - low <= 0.0 {
            return Err(nothing(
                "supply",
                "everything is at the same volts, so nothing flows: give the supply volts or amps",
            ));
        }
        Ok(order)
    }

    /// Whether the cathodes can take so many amps at all.
    fn within_limits(&self, order: &Order, amps: f64) -> Result<(), SceneError> {
        let cathodes = (self
            .parts
            .iter()
            .zip(&self.fine.bodies)
            .zip(&order.kinetics))
        .filter(|((part, _), _)| part.kind.is_cathode());
        let most = cathodes.map(|((_, body), kinetics)| {
            let live = body.panels.iter().zip(&body.surfaces);
            let live = live.filter(|(_, surface)| **surface != Surface::Insulator);
            let area = live.map(|(panel, _)| panel.area).sum::<f64>();
            kinetics.limit().map(|limit| limit * area)
        });
        match most.sum::<Option<f64>>() {
            Some(most) if amps >= most && most > 0.0 => Err(nothing(
                "supply.amps",
                &format!(
                    "with `limit_a_m2` no more than {} A go into all that is plated: give fewer amps, or a higher limit",
                    number(most, 3)
                ),
            )),
            _ => Ok(()),
        }
    }

    /// The parts' volts, in their order.
    fn volts(&self, scene: &Scene) -> Vec<f64> {
        let told = (scene.bodies.iter().map(|of| of.volts))
            .chain(scene.wires.iter().map(|of| of.volts))
            .chain(scene.anodes.iter().map(|of| of.volts))
            .chain(scene.rods.iter().map(|of| of.volts));
        filled(told, 0.0, self.parts.len())
    }

    fn kinetics(&self, scene: &Scene) -> Vec<Kinetics> {
        let usual = scene
            .bodies
            .first()
            .map_or(Kinetics::None, |of| of.kinetics);
        let told = (scene.bodies.iter().map(|of| of.kinetics))
            .chain(scene.wires.iter().map(|of| of.kinetics.unwrap_or(usual)));
        filled(told, Kinetics::None, self.parts.len())
    }
}

/// What is told, and then the same up to a length.
fn filled<T: Clone>(told: impl Iterator<Item = T>, rest: T, long: usize) -> Vec<T> {
    told.chain(std::iter::repeat(rest)).take(long).collect()
}

fn nothing(path: &str, because: &str) -> SceneError {
    SceneError::Wrong {
        path: path.to_owned(),
        because: because.to_owned(),
    }
}

impl Cut {
    /// `other` is of the same scene with another count of panels.
    fn new(
        scene: &Scene,
        parts: &[Part],
        panels: usize,
        other: Option<&Self>,
        watch: &dyn Watch,
    ) -> Result<Self, FieldError> {
        let need: f64 = parts.iter().map(Part::need).sum();
        let share = |part: &Part| ((panels as f64 * part.need() / need) as usize).max(LEAST);
        let pieces = Pieces::of(parts);
        let (mut bodies, mut covers) = (Vec::new(), Vec::new());
        for (k, part) in parts.iter().enumerate() {
            let of = parts.len() as f64;
            let step = PartOf {
                whole: watch,
                from: 0.5 * k as f64 / of,
                to: 0.5 * (k + 1) as f64 / of,
            };
            let Covered { mut body, cover } =
                part.covered(share(part), scene.tank.as_ref(), &step)?;
            if part.make == Make::Tube {
                for (panel, surface) in body.panels.iter().zip(&mut body.surfaces) {
                    if pieces.have(panel.middle) {
                        *surface = Surface::Insulator;
                    }
                }
            }
            bodies.push(body);
            covers.push(cover);
        }
        let rest = PartOf {
            whole: watch,
            from: 0.5,
            to: 1.0,
        };
        let bath = match other {
            Some(other) => other.bath.with(&bodies, &rest)?,
            None => Bath::new(tank_of(scene), scene.conductivity_s_m, &bodies, &rest)?,
        };
        Ok(Self {
            bodies,
            covers,
            bath,
        })
    }
}

/// Its tank, in m.
fn tank_of(scene: &Scene) -> Option<Tank> {
    scene.tank.map(|tank| Tank {
        low: times(tank.min_mm, 1e-3),
        high: times(tank.max_mm, 1e-3),
    })
}
