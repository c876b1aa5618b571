//! What came of a scene: where the current goes, and how far that may be off.

use serde::{Deserialize, Serialize};

use super::super::bodies::{Body, Currents, Order, Surface};
use super::super::cover::Cover;
use super::super::panel::{Panel, Point};
use super::build::{Part, bounds, upright};
use super::places::{Place, places, smoothed};
use super::ready::Ready;
use super::{Supply, doubt};
use crate::mesh::space::{area, middle, plus, times};

/// What a body is in the tank.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// A piece.
    Piece,
    /// A contact wire.
    Wire,
    /// Wire that takes current from a piece.
    Thief,
    /// An anode.
    Anode,
    /// An insulating plate.
    Shield,
}

impl Kind {
    /// Its word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Piece => "piece",
            Self::Wire => "wire",
            Self::Thief => "thief",
            Self::Anode => "anode",
            Self::Shield => "shield",
        }
    }

    /// Whether it hangs at the negative pole.
    pub fn is_cathode(self) -> bool {
        matches!(self, Self::Piece | Self::Wire | Self::Thief)
    }
}

/// A triangle with the current into it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Cell {
    /// Which triangle of the print's file it is a part of; of a panel its own
    /// number.
    pub triangle: u32,
    /// In the tank, mm, counter-clockwise seen from the liquid.
    pub corners_mm: [Point; 3],
    /// Its area, mm²: of a panel on a round, what the round has there.
    pub area_mm2: f64,
    /// Current density, deposition positive, A/dm².
    pub i_a_dm2: f64,
}

impl Cell {
    /// Its middle, mm.
    pub fn middle_mm(&self) -> Point {
        middle(self.corners_mm)
    }

    /// Upright on it, of length 1, into the liquid.
    pub fn normal(&self) -> Point {
        upright(self.corners_mm)
    }
}

/// One body's current.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BodySpread {
    /// Its name.
    pub name: String,
    /// What it is.
    pub kind: Kind,
    /// Its volts.
    pub volts: f64,
    /// The area that works, dm²: both faces of an anode plate in the liquid.
    pub area_dm2: f64,
    /// Amps into it; out of an anode they are negative.
    pub amps: f64,
    /// Its share of the current into all cathodes; of an anode what it gives of
    /// that.
    pub share: f64,
    /// Amps over area, A/dm².
    pub mean_a_dm2: f64,
    /// The least density over the mean: the ten thousandth part of the area
    /// that has less is left out.
    pub min_over_mean: f64,
    /// The greatest density over the mean, likewise.
    pub max_over_mean: f64,
    /// So much of the mean has the twentieth part of the area that has least.
    pub p05: f64,
    /// So much of the mean has the twentieth part of the area that has most.
    pub p95: f64,
    /// Places to watch, those that get most first.
    pub places: Vec<Place>,
    /// The box around it in the tank, mm.
    pub box_mm: [Point; 2],
    /// Every panel.
    pub panels: Vec<Cell>,
    /// Of a piece, what is wetted of every triangle of its print.
    pub triangles: Vec<Cell>,
}

/// What a result rests on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Flows {
    /// How many panels there are.
    pub panels: usize,
    /// What is left of the equations, as a share of the volts.
    pub residual: f64,
    /// Amps in less amps out, as a share of them.
    pub balance: f64,
    /// Upper bound of the resistance's error, as a share of it.
    pub error_resistance: f64,
    /// Upper bound of the error of a zone's mean density, as a share of it (of
    /// a twentieth of the mean where there is less).
    pub error_zones: f64,
}

/// Where the current goes in a scene.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Spread {
    /// Volts between the highest anode (or infinity) and the pieces.
    pub volts: f64,
    /// Amps into all cathodes.
    pub amps: f64,
    /// Volts over amps, ohm.
    pub resistance_ohm: f64,
    /// Pieces, wires and thieves, anodes.
    pub bodies: Vec<BodySpread>,
    /// What it rests on.
    pub flows: Flows,
}

/// The part of the area that is left out at either end: a bad panel is no
/// extreme.
const LEFT_OUT: f64 = 1e-4;

impl Spread {
    pub(super) fn of(ready: &Ready, order: &Order, fine: &Currents, coarse: &Currents) -> Self {
        let cathode = |k: &usize| ready.parts[*k].kind.is_cathode();
        let total: f64 = (0..ready.parts.len())
            .filter(cathode)
            .map(|k| fine.amps[k].max(0.0))
            .sum();
        let raised = |k: usize| match ready.parts[k].kind {
            Kind::Anode => order.volts[k] + fine.raised,
            _ => order.volts[k],
        };
        let told = (0..ready.parts.len()).filter(|k| ready.parts[*k].kind != Kind::Shield);
        let bodies = told.map(|k| {
            let part = &ready.parts[k];
            BodySpread::of(
                part,
                &ready.fine.bodies[k],
                ready.fine.covers[k].as_ref(),
                &fine.density[k],
                Drawn {
                    volts: raised(k),
                    amps: fine.amps[k],
                    share: fine.amps[k] / total,
                },
            )
        });
        let bodies: Vec<BodySpread> = bodies.collect();
        let volts = volts_between(&bodies, (!ready.in_tank).then_some(fine.constant));
        let amps_of = |currents: &Currents| {
            (0..ready.parts.len())
                .filter(cathode)
                .map(|k| currents.amps[k].max(0.0))
                .sum::<f64>()
        };
        let resistance = |currents: &Currents| {
            let moved = currents.raised - fine.raised
                + if ready.in_tank {
                    0.0
                } else {
                    currents.constant - fine.constant
                };
            (volts + moved) / amps_of(currents)
        };
        let (fine_ohm, coarse_ohm) = (resistance(fine), resistance(coarse));
        Self {
            volts,
            amps: total,
            resistance_ohm: fine_ohm,
            flows: Flows {
                panels: fine.panels,
                residual: fine.residual,
                balance: fine.balance,
                error_resistance: doubt::of_resistance(fine_ohm, coarse_ohm)
                    + doubt::of_sides(&bodies),
                error_zones: doubt::of_zones(ready, fine, coarse),
            },
            bodies,
        }
    }

    /// The supply that would hold this.
    pub fn supply(&self) -> Supply {
        Supply::Amps(self.amps)
    }
}

/// Volts between what stands highest and the lowest piece, or wire where there
/// is no piece.
fn volts_between(bodies: &[BodySpread], far: Option<f64>) -> f64 {
    let of = |is: &dyn Fn(Kind) -> bool| {
        let those = bodies.iter().filter(|body| is(body.kind));
        those.map(|body| body.volts).collect::<Vec<f64>>()
    };
    let least = |of: Vec<f64>| of.into_iter().reduce(f64::min);
    let most = |of: Vec<f64>| of.into_iter().reduce(f64::max);
    let low = least(of(&|kind| kind == Kind::Piece)).or_else(|| least(of(&Kind::is_cathode)));
    let high = most(of(&|_| true).into_iter().chain(far).collect());
    high.unwrap_or(0.0) - low.unwrap_or(0.0)
}

/// What a body draws.
struct Drawn {
    volts: f64,
    amps: f64,
    /// Of the current of all that is plated.
    share: f64,
}

impl BodySpread {
    fn of(
        part: &Part,
        body: &Body,
        cover: Option<&Cover>,
        density: &[f64],
        Drawn { volts, amps, share }: Drawn,
    ) -> Self {
        // Both faces of an anode in the liquid work; their currents are told as a sum.
        let faces = if part.surface == Surface::Plate && part.kind == Kind::Anode {
            2.0
        } else {
            1.0
        };
        let live: Vec<usize> = (0..body.panels.len())
            .filter(|k| body.surfaces[*k] != Surface::Insulator)
            .collect();
        let panel = |k: &usize| (&body.panels[*k], density[*k] / faces);
        let values: Vec<(&Panel, f64)> = live.iter().map(panel).collect();
        let area_m2 = faces * values.iter().map(|(panel, _)| panel.area).sum::<f64>();
        let mean = amps / area_m2;
        let even: Vec<(&Panel, f64)> = values
            .iter()
            .zip(smoothed(&values))
            .map(|((panel, _), density)| (*panel, density))
            .collect();
        let mut ranked: Vec<(f64, f64)> = even
            .iter()
            .map(|(panel, density)| (density / mean, panel.area))
            .collect();
        ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
        let places = if part.kind == Kind::Piece {
            places(&even, mean)
        } else {
            Vec::new()
        };
        let over = |furthest: fn(f64, f64) -> f64, rest: f64| {
            let of_places = places.iter().map(|place: &Place| place.over_mean);
            of_places.fold(rest, furthest)
        };
        let cell = |triangle: u32, corners: [Point; 3], area: f64, density: f64| Cell {
            triangle,
            corners_mm: corners.map(|corner| times(corner, 1e3)),
            area_mm2: area * 1e6,
            i_a_dm2: density / 100.0,
        };
        let panels = values
            .iter()
            .zip(0..)
            .map(|((panel, density), k)| cell(k, panel.corners, panel.area, *density));
        let (low, high) = bounds(&part.shell);
        Self {
            name: part.name.clone(),
            kind: part.kind,
            volts,
            area_dm2: area_m2 * 100.0,
            amps,
            share: if part.kind == Kind::Anode {
                -share
            } else {
                share
            },
            mean_a_dm2: mean / 100.0,
            // A place to watch is never beyond them.
            min_over_mean: over(f64::min, quantile(&ranked, LEFT_OUT)),
            max_over_mean: over(f64::max, quantile(&ranked, 1.0 - LEFT_OUT)),
            p05: quantile(&ranked, 0.05),
            p95: quantile(&ranked, 0.95),
            places,
            box_mm: [times(low, 1e3), times(high, 1e3)],
            panels: panels.collect(),
            triangles: cover.map_or_else(Vec::new, |cover| {
                let densities = cover.carried_back(density);
                let wetted = (0..part.shell.len()).filter(|at| !part.masked[*at]);
                wetted
                    .map(|at| {
                        cell(
                            part.of[at],
                            part.shell[at],
                            area(part.shell[at]),
                            densities[at],
                        )
                    })
                    .collect()
            }),
        }
    }

    /// Where a place of it is, in words: "upper left, front".
    pub fn direction(&self, at_mm: Point) -> String {
        direction_words(self.box_mm, at_mm)
    }

    /// Its parts of triangles, those of one triangle as one: area and current
    /// added up, the middle between them. Each with its normal.
    pub fn whole_triangles(&self) -> Vec<Whole> {
        let mut wholes: Vec<Whole> = Vec::new();
        let mut order: Vec<&Cell> = self.triangles.iter().collect();
        order.sort_by_key(|cell| cell.triangle);
        for cell in order {
            let area = cell.area_mm2;
            match wholes
                .last_mut()
                .filter(|last| last.triangle == cell.triangle)
            {
                Some(last) => last.add(cell, area),
                None => wholes.push(Whole {
                    triangle: cell.triangle,
                    at_mm: cell.middle_mm(),
                    normal: cell.normal(),
                    area_mm2: area,
                    i_a_dm2: cell.i_a_dm2,
                }),
            }
        }
        wholes
    }
}

/// What is wetted of one triangle of a print.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Whole {
    /// Which, counted from 0.
    pub triangle: u32,
    /// Its middle in the tank, mm.
    pub at_mm: Point,
    /// Upright on it, of length 1, into the liquid.
    pub normal: Point,
    /// Its area, mm².
    pub area_mm2: f64,
    /// Mean current density, A/dm².
    pub i_a_dm2: f64,
}

impl Whole {
    /// Of one cell alone.
    pub fn of(cell: &Cell) -> Self {
        Self {
            triangle: cell.triangle,
            at_mm: cell.middle_mm(),
            normal: cell.normal(),
            area_mm2: cell.area_mm2,
            i_a_dm2: cell.i_a_dm2,
        }
    }

    fn add(&mut self, cell: &Cell, area: f64) {
        let both = self.area_mm2 + area;
        let (old, new) = (self.area_mm2 / both, area / both);
        self.at_mm = plus(times(self.at_mm, old), times(cell.middle_mm(), new));
        self.i_a_dm2 = self.i_a_dm2 * old + cell.i_a_dm2 * new;
        self.area_mm2 = both;
    }
}

/// The value that the share `part` of the area stays below; values rise, each
/// with its area.
fn quantile(ranked: &[(f64, f64)], part: f64) -> f64 {
    let all: f64 = ranked.iter().map(|(_, area)| area).sum();
    let mut below = 0.0;
    for (value, area) in ranked {
        below += area;
        if below >= part * all {
            return *value;
        }
    }
    ranked.last().map_or(f64::NAN, |(value, _)| *value)
}

/// Where a place lies in a box, as seen from the front (along y, x to the
/// right, z up): "upper left, front"; "middle" where it is near the middle.
pub fn direction_words([low, high]: [Point; 2], at: Point) -> String {
    const ASIDE: f64 = 0.33;
    let side = |axis: usize| {
        let half = (high[axis] - low[axis]) / 2.0;
        let off = (at[axis] - f64::midpoint(low[axis], high[axis])) / half.max(1e-12);
        if off > ASIDE {
            1
        } else if off < -ASIDE {
            -1
        } else {
            0
        }
    };
    let pick = |side: i32, words: [&'static str; 2]| match side {
        1 => words[1],
        -1 => words[0],
        _ => "",
    };
    let flat = [
        pick(side(2), ["lower", "upper"]),
        pick(side(0), ["left", "right"]),
    ];
    let flat: Vec<&str> = flat.into_iter().filter(|word| !word.is_empty()).collect();
    let deep = pick(side(1), ["front", "back"]);
    let words = [flat.join(" "), deep.to_owned()];
    let words: Vec<String> = words.into_iter().filter(|word| !word.is_empty()).collect();
    if words.is_empty() {
        "middle".to_owned()
    } else {
        words.join(", ")
    }
}
