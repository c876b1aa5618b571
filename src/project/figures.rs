//! The figures a person acts on, at one instant.

use std::collections::BTreeMap;

use super::{Definition, Piece, ShareBy, State};
use crate::plating::{
    ASSUMED_LEAST_OVER_MEAN, ASSUMED_MOST_OVER_MEAN, ByField, Delivered, Immersion, ShareByArea,
    Weighed, Weighing, thickness_of_charge, weigh,
};
use crate::units::{
    Area, AreaDim, Charge, ChargeDim, Current, CurrentDensity, DensityDim, Duration, Figure,
    Instant, Kind, Length, LengthDim,
};

/// Charge through a piece's lead.
#[derive(Debug, Clone, PartialEq)]
pub struct Charges {
    /// Between readings.
    pub measured: Charge,
    /// Carried on after a last reading.
    pub estimated: Charge,
    /// Since when the share was not known, if it ever was not.
    pub unknown_since: Option<Instant>,
}

impl Charges {
    /// Measured and estimated.
    pub fn total(&self) -> Charge {
        self.measured + self.estimated
    }

    /// `measured`, `estimated` (any tail) or `unknown-share`.
    pub fn kind_word(&self) -> &'static str {
        if self.unknown_since.is_some() {
            "unknown-share"
        } else {
            self.kind().word()
        }
    }

    fn kind(&self) -> Kind {
        if self.estimated.si() > 0.0 {
            Kind::Estimated
        } else {
            Kind::Measured
        }
    }
}

/// An ageing hold at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoldFigures {
    /// When it began, or last began anew.
    pub started_at: Instant,
    /// How long it has lasted, or lasted.
    pub elapsed: Duration,
    /// How long it shall last.
    pub target: Duration,
    /// Give or take.
    pub tolerance: Duration,
    /// When it is over.
    pub ends_at: Instant,
    /// Whether the seal has begun.
    pub ended: bool,
}

impl HoldFigures {
    /// Where it stands: `early`, `now` within the tolerance, `late`, or `sealed`.
    pub fn word(&self) -> &'static str {
        if self.ended {
            "sealed"
        } else if self.elapsed < self.target - self.tolerance {
            "early"
        } else if self.elapsed <= self.target + self.tolerance {
            "now"
        } else {
            "late"
        }
    }

    /// The earliest and the latest instant at which the seal may begin.
    pub fn window(&self) -> (Instant, Instant) {
        (self.ends_at - self.tolerance, self.ends_at + self.tolerance)
    }
}

/// All figures of a piece.
#[derive(Debug, Clone, PartialEq)]
pub struct PieceFigures {
    /// Its name.
    pub name: String,
    /// The area the bath touches.
    pub wetted_area: Option<Figure<AreaDim>>,
    /// Wetted area times roughness.
    pub plating_area: Option<Area>,
    /// Plating area, wires and thieves.
    pub conductor_area: Option<Area>,
    /// The charge that puts the target on it, predicted.
    pub charge_target: Option<Figure<ChargeDim>>,
    /// The charge so far.
    pub charges: Charges,
    /// The charge so far with its doubt; `None` where the share is unknown.
    pub charge: Option<Figure<ChargeDim>>,
    /// The mean thickness so far; `None` where share or area is unknown.
    pub thickness: Option<Figure<LengthDim>>,
    /// The current in its lead, as last known.
    pub amps: Option<Current>,
    /// When the reading was made that it rests on.
    pub read_at: Option<Instant>,
    /// Current density on its covered area.
    pub density: Option<Figure<DensityDim>>,
    /// When the target is reached at the present current.
    pub target_at: Option<Instant>,
    /// Its ageing hold.
    pub hold: Option<HoldFigures>,
    /// Least and most local thickness over the mean, where predicted.
    pub evenness: Option<(f64, f64)>,
    /// What tells its share of its tank's current now.
    pub share_by: Option<ShareBy>,
    /// Since when that is no longer a field, and what would do.
    pub shares_ended: Option<String>,
    /// The part of the charge so far that was shared as a field predicted.
    pub charge_by_field: Charge,
}

impl PieceFigures {
    /// The figures of one piece; `None` if there is no such piece.
    pub fn of(definition: &Definition, state: &State, name: &str, now: Instant) -> Option<Self> {
        let piece = definition.piece(name)?;
        let at = state.piece(name)?;
        let by_tank = delivered(state, name, now);
        let hangs = at.tank.as_deref().and_then(|t| state.tank(t));
        let lead = hangs
            .filter(|tank| tank.on)
            .and_then(|tank| tank.immersion.as_ref())
            .and_then(|immersion| immersion.leads(now, &ShareByArea).remove(name));
        let alive = lead.is_some_and(|l| now.since(l.read_at) <= limit(definition, at).si());
        let conductor = piece.conductor_area().filter(|a| a.si() > 0.0);
        let charges = charges(by_tank.values());
        let charge = charges
            .unknown_since
            .is_none()
            .then(|| charge_figure(definition, piece, &by_tank, &charges));
        let by_field = by_tank.values().map(|d| d.by_field);
        let by_field = by_field.fold(ByField::default(), ByField::and);
        let on_wires = hangs.and_then(|_| {
            let shares = state.field_shares(at.tank.as_deref()?)?;
            Some(shares.of(name)?.wire)
        });
        let on_it = OnIt::of(piece, (charges.total(), by_field), on_wires);
        let thickness = charge.as_ref().and_then(|_| {
            let part = on_it.so_far;
            thickness_figure(definition, piece, (conductor?, part), &by_tank, &charges)
        });
        let no_current = hangs.is_some_and(|tank| !tank.on || !at.in_circuit());
        let amps = if no_current {
            Some(Current::from_si(0.0))
        } else {
            lead.and_then(|l| l.amps).map(Current::from_si)
        };
        let mut charge_target = definition.charge_target_figure(piece);
        if let (Some(target), Some(thickness)) = (&mut charge_target, &thickness)
            && on_it.is_told
        {
            // What is there, and what is still wanted as the metal goes now.
            let there = thickness.value / definition.mean_of(piece);
            target.value = charges.total() + target.value * ((1.0 - there) / on_it.now);
        }
        let wanted = charge_target.as_ref().map(|t| t.value);
        let target_at = amps
            .filter(|a| a.si() > 0.0 && at.is_running())
            .and_then(|amps| {
                let left = wanted?.si() - charges.total().si();
                let reached = if alive {
                    now.plus_seconds(left / amps.si())
                } else {
                    // Frozen: it was reached before the estimate stopped, or never told.
                    (lead?.read_at + limit(definition, at)).plus_seconds(left / amps.si())
                };
                let known = charges.unknown_since.is_none() && (alive || left <= 0.0);
                known.then_some(reached)
            });
        Some(Self {
            name: name.to_owned(),
            wetted_area: piece.wetted_area_figure(&definition.uncertainty),
            plating_area: piece.plating_area(),
            conductor_area: conductor,
            charge_target,
            charge,
            thickness,
            amps,
            read_at: lead.map(|l| l.read_at),
            density: density(definition, piece, at, amps, lead.map(|l| l.read_at == now)),
            target_at,
            hold: hold_figures(definition, state, name, now),
            evenness: piece.evenness.as_ref().map(|even| (even.least, even.most)),
            share_by: at
                .tank
                .as_deref()
                .filter(|_| at.in_circuit())
                .and_then(|tank| state.share_by(tank)),
            shares_ended: at
                .tank
                .as_deref()
                .and_then(|tank| state.shares_ended(definition, tank, now)),
            charge_by_field: Charge::from_si(by_field.through),
            charges,
        })
    }

    /// The figures of every piece, in the definition's order.
    pub fn all(definition: &Definition, state: &State, now: Instant) -> Vec<Self> {
        definition
            .pieces
            .iter()
            .filter_map(|p| Self::of(definition, state, &p.name, now))
            .collect()
    }

    /// Least and most local thickness: as the field predicts it, or the range
    /// that is assumed.
    pub fn local(&self) -> Option<(Length, Length, Kind)> {
        let mean = self.thickness.as_ref()?.value;
        let assumed = (ASSUMED_LEAST_OVER_MEAN, ASSUMED_MOST_OVER_MEAN);
        let (least, most) = self.evenness.unwrap_or(assumed);
        let kind = self.evenness.map_or(Kind::Assumed, |_| Kind::Predicted);
        Some((mean * least, mean * most, kind))
    }

    /// How far the charge is, as a fraction of the target.
    pub fn progress(&self) -> Option<f64> {
        let target = self
            .charge_target
            .as_ref()
            .filter(|_| self.charges.unknown_since.is_none())?
            .value;
        Some(self.charges.total() / target)
    }
}

/// How much of a lead's charge lands on the piece itself, over what the areas of
/// piece and wires say.
#[derive(Debug, Clone, Copy)]
struct OnIt {
    /// Whether a field tells anything of it.
    is_told: bool,
    /// Of the charge so far.
    so_far: f64,
    /// Of what flows now.
    now: f64,
}

impl OnIt {
    /// `on_wires` is the part of the lead's current that a field sees land on
    /// wires now.
    fn of(piece: &Piece, (total, by_field): (Charge, ByField), on_wires: Option<f64>) -> Self {
        let by_area = Self {
            is_told: false,
            so_far: 1.0,
            now: 1.0,
        };
        let (Some(plating), Some(all)) = (piece.plating_area(), piece.conductor_area()) else {
            return by_area;
        };
        let told = by_field.through > 0.0 || on_wires.is_some();
        if !told || plating.si() <= 0.0 {
            return by_area;
        }
        let over = all / plating;
        let (through, total) = (by_field.through, total.si());
        let on_piece = (total - through) + (through - by_field.on_wires) * over;
        Self {
            is_told: true,
            so_far: if total > 0.0 { on_piece / total } else { 1.0 },
            now: on_wires.map_or(1.0, |wire| (1.0 - wire) * over),
        }
    }
}

/// What a piece's lead carried, by tank: in the immersions that have ended, and
/// in those that go on, whether it still hangs there or has left.
fn delivered(state: &State, name: &str, now: Instant) -> BTreeMap<String, Delivered> {
    let mut by_tank = state
        .piece(name)
        .map(|p| p.delivered.clone())
        .unwrap_or_default();
    for (tank, at) in &state.tanks {
        let was_in = |i: &&Immersion| i.changes.iter().any(|(_, piece, _)| piece == name);
        let Some(immersion) = at.immersion.as_ref().filter(was_in) else {
            continue;
        };
        if let Some(open) = immersion.settle(now, &ShareByArea).pieces.get(name) {
            by_tank.entry(tank.clone()).or_default().add(open);
        }
    }
    by_tank
}

fn limit(definition: &Definition, piece: &super::PieceState) -> Duration {
    match piece.stage {
        Some(super::Stage::Strike) => definition.readings.strike,
        _ => definition.readings.build,
    }
}

fn charges<'a>(by_tank: impl Iterator<Item = &'a Delivered>) -> Charges {
    let mut all = Delivered::default();
    by_tank.for_each(|d| all.add(d));
    Charges {
        measured: Charge::from_si(all.measured),
        estimated: Charge::from_si(all.estimated),
        unknown_since: all.unknown_since,
    }
}

/// Meter, share and what lies between readings, by name, so that pieces of one
/// tank share its meter's error.
fn charge_figure(
    definition: &Definition,
    piece: &Piece,
    by_tank: &BTreeMap<String, Delivered>,
    charges: &Charges,
) -> Figure<ChargeDim> {
    let share_rel = definition.uncertainty.share_rel;
    let figure = Figure::exact(charges.total(), charges.kind());
    by_tank.iter().fold(figure, |figure, (tank, d)| {
        figure
            .doubt(
                format!("amps {tank}"),
                d.total() * definition.amps_rel(tank),
            )
            .doubt(
                format!("share {}", piece.name),
                d.shared * share_rel + d.by_field.doubt,
            )
            .doubt(format!("readings {}", piece.name), d.bound / 3_f64.sqrt())
    })
}

fn thickness_figure(
    definition: &Definition,
    piece: &Piece,
    (conductor, on_it): (Area, f64),
    by_tank: &BTreeMap<String, Delivered>,
    charges: &Charges,
) -> Option<Figure<LengthDim>> {
    let per_coulomb = thickness_of_charge(
        &definition.metal,
        Charge::from_si(1.0),
        conductor,
        definition.efficiency,
    )
    .si()
        * on_it;
    let charge = charge_figure(definition, piece, by_tank, charges);
    let thickness: Figure<LengthDim> = charge.scaled(per_coulomb);
    let area_rel = piece.area_rel(&definition.uncertainty);
    let with_area = thickness.doubt_relative(format!("area {}", piece.name), -area_rel);
    per_coulomb.is_finite().then(|| {
        by_tank.iter().fold(with_area, |figure, (tank, d)| {
            let standard = d.total() * per_coulomb * definition.uncertainty.efficiency_rel;
            figure.doubt(format!("efficiency {tank}"), standard)
        })
    })
}

/// Lead current over coverage times plating area, wires and thieves; measured
/// at the instant of a reading, an estimate after it.
fn density(
    definition: &Definition,
    piece: &Piece,
    at: &super::PieceState,
    amps: Option<Current>,
    fresh: Option<bool>,
) -> Option<Figure<DensityDim>> {
    let area = piece.plating_area()?.si() * at.coverage? + piece.wire_area().si();
    let kind = if fresh == Some(false) {
        Kind::Estimated
    } else {
        Kind::Measured
    };
    let density = CurrentDensity::from_si(amps.filter(|_| area > 0.0)?.si() / area);
    let tank = at.tank.as_deref().unwrap_or_default();
    let area_rel = piece.area_rel(&definition.uncertainty);
    Some(
        Figure::exact(density, kind)
            .doubt_relative(format!("amps {tank}"), definition.amps_rel(tank))
            .doubt_relative(format!("area {}", piece.name), -area_rel),
    )
}

impl Piece {
    /// The wetted area with its doubt: as given, or summed from the print.
    pub fn wetted_area_figure(&self, project: &super::Uncertainty) -> Option<Figure<AreaDim>> {
        let kind = if self.mesh.is_some() {
            Kind::Estimated
        } else {
            Kind::Measured
        };
        let figure = Figure::exact(self.wetted_area()?, kind);
        Some(figure.doubt_relative(format!("area {}", self.name), self.area_rel(project)))
    }
}

impl Definition {
    /// The charge that puts the target on a piece, with the doubt of its area
    /// and of the efficiency.
    pub fn charge_target_figure(&self, piece: &Piece) -> Option<Figure<ChargeDim>> {
        let figure = Figure::exact(self.charge_target(piece)?, Kind::Predicted);
        Some(
            figure
                .doubt_relative(
                    format!("area {}", piece.name),
                    piece.area_rel(&self.uncertainty),
                )
                .doubt_relative("efficiency", -self.uncertainty.efficiency_rel),
        )
    }
}

fn hold_figures(
    definition: &Definition,
    state: &State,
    name: &str,
    now: Instant,
) -> Option<HoldFigures> {
    let hold = state.piece(name)?.hold?;
    let rule = &definition.hold;
    Some(HoldFigures {
        started_at: hold.started_at,
        elapsed: Duration::from_si(hold.ended_at.unwrap_or(now).elapsed_since(hold.started_at)),
        target: rule.time,
        tolerance: rule.tolerance,
        ends_at: hold.started_at + rule.time,
        ended: hold.ended_at.is_some(),
    })
}

/// How a piece stands to the thickest one.
#[derive(Debug, Clone, PartialEq)]
pub struct Behind {
    /// The piece.
    pub name: String,
    /// How much thinner it is, with the ± of the difference.
    pub by: Figure<LengthDim>,
    /// The charge that brings it level.
    pub charge: Charge,
    /// How long that takes at the present current, if one flows.
    pub time: Option<Duration>,
}

/// How far the pieces differ.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Match {
    /// Largest less smallest thickness, over at least two pieces.
    pub thickness_spread: Option<Figure<LengthDim>>,
    /// Largest less smallest age, over at least two pieces with a hold.
    pub age_spread: Option<Duration>,
    /// Every piece that is thinner than the thickest.
    pub behind: Vec<Behind>,
    /// The thickest piece, or the first of several.
    pub thickest: Option<String>,
    /// When one visit to seal falls inside the tolerance of every running hold.
    pub visit: Option<(Instant, Instant)>,
    /// Surfaces that differ in finish, so that hours do not compare.
    pub finishes_differ: bool,
}

impl Match {
    /// Compares the pieces that have metal or age.
    pub fn of(definition: &Definition, figures: &[PieceFigures]) -> Self {
        let mut plated: Vec<(&PieceFigures, &Figure<LengthDim>)> = figures
            .iter()
            .filter_map(|f| Some((f, f.thickness.as_ref().filter(|t| t.value.si() > 0.0)?)))
            .collect();
        plated.sort_by(|a, b| b.1.value.si().total_cmp(&a.1.value.si()));
        let spread = match (plated.first(), plated.last()) {
            (Some((_, most)), Some((_, least))) if plated.len() > 1 => Some(most.minus(least)),
            _ => None,
        };
        let holds: Vec<HoldFigures> = figures.iter().filter_map(|f| f.hold).collect();
        let ages = || holds.iter().map(|h| h.elapsed.si());
        let age_spread = (holds.len() > 1).then(|| {
            Duration::from_si(ages().fold(0.0, f64::max) - ages().fold(f64::INFINITY, f64::min))
        });
        Self {
            thickness_spread: spread,
            age_spread,
            behind: behind(definition, &plated),
            thickest: plated.first().map(|(f, _)| f.name.clone()),
            visit: visit(&holds),
            finishes_differ: finishes_differ(definition, figures),
        }
    }
}

fn behind(definition: &Definition, plated: &[(&PieceFigures, &Figure<LengthDim>)]) -> Vec<Behind> {
    let Some(((_, most), rest)) = plated.split_first() else {
        return Vec::new();
    };
    rest.iter()
        .filter_map(|(figures, thickness)| {
            let by = Some(most.minus(thickness)).filter(|by| by.value.si() > 0.0)?;
            let area = figures.conductor_area?;
            let charge = crate::plating::charge_for(
                &definition.metal,
                area,
                by.value,
                definition.efficiency,
            );
            let time = figures
                .amps
                .filter(|a| a.si() > 0.0)
                .map(|a| Duration::from_si(charge.si() / a.si()));
            Some(Behind {
                name: figures.name.clone(),
                by,
                charge,
                time,
            })
        })
        .collect()
}

/// The instants between which every running hold may be ended.
fn visit(holds: &[HoldFigures]) -> Option<(Instant, Instant)> {
    let windows: Vec<_> = holds
        .iter()
        .filter(|h| !h.ended)
        .map(HoldFigures::window)
        .collect();
    let from = windows.iter().map(|w| w.0).max()?;
    let to = windows.iter().map(|w| w.1).min()?;
    (from <= to).then_some((from, to))
}

/// Polished and as-plated copper tarnish differently: hours do not compare.
fn finishes_differ(definition: &Definition, figures: &[PieceFigures]) -> bool {
    let polished = |f: &PieceFigures| {
        definition
            .piece(&f.name)
            .is_some_and(|p| definition.route_of(p).contains(&super::Stage::Polish))
    };
    let ageing: Vec<bool> = figures
        .iter()
        .filter(|f| f.hold.is_some())
        .map(polished)
        .collect();
    ageing.windows(2).any(|pair| pair.first() != pair.last())
}

/// A tank at an instant.
#[derive(Debug, Clone, PartialEq)]
pub struct TankFigures {
    /// Its name.
    pub name: String,
    /// What the supply limits.
    pub mode: Option<super::Mode>,
    /// The current that flows, as last known.
    pub amps: Option<Current>,
    /// The voltage, as set or last read.
    pub volts: Option<crate::units::Voltage>,
    /// Whether current flows.
    pub on: bool,
    /// Measured charge since the beginning.
    pub charge: Charge,
    /// Measured charge since the last dose, filter and bags.
    pub since: [Charge; 3],
    /// What hangs in it.
    pub pieces: Vec<String>,
    /// What tells the shares of what hangs in it.
    pub share_by: Option<ShareBy>,
}

impl TankFigures {
    /// The figures of every tank, in the definition's order.
    pub fn all(definition: &Definition, state: &State, now: Instant) -> Vec<Self> {
        definition
            .tanks
            .iter()
            .filter_map(|tank| Self::of(state, &tank.name, now))
            .collect()
    }

    /// The figures of one tank.
    pub fn of(state: &State, name: &str, now: Instant) -> Option<Self> {
        let tank = state.tank(name)?;
        let open = tank
            .immersion
            .as_ref()
            .map_or(0.0, |i| i.settle(now, &ShareByArea).tank.measured);
        let read_volts = tank.reading.filter(|_| tank.on).map(|r| r.volts);
        Some(Self {
            name: name.to_owned(),
            mode: tank.mode,
            amps: tank.since.and_then(|_| tank.amps(now)),
            volts: tank.set_volts.filter(|_| tank.on).or(read_volts),
            on: tank.on,
            charge: Charge::from_si(tank.delivered.measured + open),
            since: [0, 1, 2].map(|u| Charge::from_si(tank.measured_since(u, now))),
            pieces: state
                .hanging(name)
                .map(|(piece, _)| piece.to_owned())
                .collect(),
            share_by: state.share_by(name),
        })
    }
}

/// What the balance says of a piece, from the last weighing before plating
/// (`wired`, else `coated`, else `primed`) to the last `plated` one.
pub fn weighing(
    definition: &Definition,
    state: &State,
    figures: &PieceFigures,
) -> Option<Weighing> {
    use super::WeighedAs::{Coated, Plated, Primed, Wired};
    let at = state.piece(&figures.name)?;
    let piece = definition.piece(&figures.name)?;
    let (plated_at, after) = at.mass_before(Plated, None)?;
    let earlier = |condition| at.mass_before(condition, Some(plated_at));
    let wired = earlier(Wired);
    let (_, before) = wired
        .or_else(|| earlier(Coated))
        .or_else(|| earlier(Primed))?;
    let area = if wired.is_some() {
        figures.conductor_area?
    } else {
        figures.plating_area?
    };
    let u = &definition.uncertainty;
    let on_it = figures.conductor_area.map(|all| area / all);
    let on = Weighed {
        name: &figures.name,
        area,
        area_rel: piece.area_rel(u),
        charge: figures
            .charge
            .as_ref()
            .zip(on_it)
            .map(|(c, part)| c.value * part),
        amps_rel: u.amps_rel,
    };
    Some(weigh(
        &definition.metal,
        before,
        after,
        u.water,
        u.balance,
        on,
    ))
}
