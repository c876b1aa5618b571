//! What is said before a start or a setting, and lets it pass.

use super::{Definition, JointFit, Piece, Setting, Stage, State, Tank, What};
use crate::plating::density_word;
use crate::units::{A_DM2, Area, CM, Current, CurrentDensity, Instant, Length, Voltage};

/// A set point this fresh was made for what comes next, in seconds.
const JUST_SET_S: f64 = 120.0;

/// Free room wanted around a piece on every side.
const CLEARANCE: Length = Length::from_si(0.02);

impl State {
    /// Warnings about an act: a piece that does not fit its tank, a joint that
    /// will not go together, a supply beyond its limit, an anode too small or
    /// too large.
    pub(super) fn warnings(
        &self,
        definition: &Definition,
        what: &What,
        at: Instant,
    ) -> Vec<String> {
        let mut warnings = joints(definition, what);
        warnings.extend(self.of_tank(definition, what, at));
        warnings.extend(self.ends_shares(what));
        warnings
    }

    /// Warnings about what an act does to a tank.
    fn of_tank(&self, definition: &Definition, what: &What, at: Instant) -> Vec<String> {
        match what {
            What::Start {
                piece,
                tank: Some(tank),
                ..
            } => {
                let (Some(piece), Some(tank)) = (definition.piece(piece), definition.tank(tank))
                else {
                    return Vec::new();
                };
                let mut warnings: Vec<String> = fit(piece, tank).into_iter().collect();
                if self.tank(&tank.name).is_some_and(|t| !t.on) {
                    warnings.push(format!(
                        "{} has no current yet: the work enters live, set its supply first",
                        tank.name
                    ));
                }
                let hanging = self
                    .hanging(&tank.name)
                    .filter(|(name, _)| *name != piece.name)
                    .map(|(name, _)| definition.piece(name)?.conductor_area());
                if let Some(area) = hanging
                    .chain([piece.conductor_area()])
                    .sum::<Option<Area>>()
                {
                    warnings.extend(anodes(tank, area));
                    warnings.extend(supply(definition, tank, area));
                }
                warnings
            }
            What::Supply { tank, to } => definition
                .tank(tank)
                .map(|t| self.setting(definition, t, *to))
                .unwrap_or_default(),
            What::Reading {
                tank, volts, amps, ..
            } => definition
                .tank(tank)
                .map(|t| over_limits(t, Some(*volts), Some(*amps)))
                .unwrap_or_default(),
            What::Lift { piece } => self.lower_first(definition, piece, at),
            What::Finish { piece } if self.leaves_on_finish(definition, piece) => {
                self.lower_first(definition, piece, at)
            }
            _ => Vec::new(),
        }
    }

    /// Whether finishing its stage takes a piece out of its tank.
    fn leaves_on_finish(&self, definition: &Definition, name: &str) -> bool {
        let (Some(state), Some(piece)) = (self.piece(name), definition.piece(name)) else {
            return false;
        };
        let mut route = definition.route_of(piece).into_iter();
        route.find(|s| Some(s) == state.stage.as_ref());
        !route.next().is_some_and(|next| next.in_bath())
    }

    /// Taking a piece from a shared constant current leaves its share on the
    /// others; a set point of this very moment has seen to that.
    fn lower_first(&self, definition: &Definition, name: &str, at: Instant) -> Vec<String> {
        let just_set = |tank: &str| {
            let last = self.tank(tank).and_then(|t| t.sets.last());
            last.is_some_and(|(set, _)| at.elapsed_since(*set) < JUST_SET_S)
        };
        self.current_without(definition, name)
            .filter(|(tank, _)| !just_set(tank))
            .map(|(tank, amps)| {
                format!(
                    "{name} leaves its share on the others: {tank} wants {} first",
                    amps.shown(crate::units::A, 3)
                )
            })
            .into_iter()
            .collect()
    }

    fn setting(&self, definition: &Definition, tank: &Tank, to: Setting) -> Vec<String> {
        let mut warnings = Vec::new();
        match to {
            Setting::Amps(amps) => {
                warnings.extend(over_limits(tank, None, Some(amps)));
                if let Some(carries) = carried(tank).filter(|c| amps > *c) {
                    warnings.push(format!(
                        "{amps} is over what the anodes of {} may carry ({carries})",
                        tank.name
                    ));
                }
                if let Some(area) = self
                    .hanging_area(definition, &tank.name)
                    .filter(|a| a.si() > 0.0)
                {
                    let density = CurrentDensity::from_si(amps.si() / area.si());
                    if density.to(A_DM2) > 3.0 {
                        warnings.push(format!(
                            "{} is {}",
                            density.shown(A_DM2, 2),
                            density_word(density).say()
                        ));
                    }
                }
            }
            Setting::Volts(volts) => warnings.extend(over_limits(tank, Some(volts), None)),
            Setting::Off => {}
        }
        if to == Setting::Off {
            warnings.extend(self.left_without_current(&tank.name));
        }
        warnings
    }

    /// With the supply off, pieces in the bath are in the worst place.
    fn left_without_current(&self, tank: &str) -> Option<String> {
        let inside: Vec<&str> = self
            .hanging(tank)
            .filter(|(_, p)| p.in_bath())
            .map(|(n, _)| n)
            .collect();
        (!inside.is_empty()).then(|| {
            format!(
                "{} in {tank} without current: lift out now",
                inside.join(", ")
            )
        })
    }

    /// The current to set before a piece is lifted from a shared constant
    /// current, so that the others do not get its share on top.
    pub fn current_without(
        &self,
        definition: &Definition,
        name: &str,
    ) -> Option<(String, Current)> {
        let piece = self.piece(name).filter(|p| p.in_circuit())?;
        let tank_name = piece.tank.as_deref()?;
        let tank = self.tank(tank_name)?;
        let amps = tank.set_amps.filter(|_| tank.on)?;
        let field = self.field_shares(tank_name);
        let area = |name: &str| match field {
            Some(shares) => shares.of(name).map(|part| part.share),
            None => definition
                .piece(name)
                .and_then(Piece::conductor_area)
                .map(Area::si),
        };
        let others: Option<f64> = self
            .hanging(tank_name)
            .filter(|(other, p)| *other != name && p.in_circuit())
            .map(|(other, _)| area(other))
            .sum();
        let others = others.filter(|o| *o > 0.0)?;
        let part = others / (others + area(name)?);
        Some((tank_name.to_owned(), amps * part))
    }
}

/// The joints of a piece that plating closes, told while something can be done
/// about it: a mask before the coat, less metal before the bath, a reamer
/// before the assembly.
fn joints(definition: &Definition, what: &What) -> Vec<String> {
    let What::Start { piece, stage, .. } = what else {
        return Vec::new();
    };
    if !matches!(
        stage,
        Stage::Coat | Stage::Strike | Stage::Build | Stage::Assemble
    ) {
        return Vec::new();
    }
    let doubtful = definition.fits_of(piece).filter(JointFit::is_in_doubt);
    let told = |joint: JointFit| format!("joint {}: {}", joint.name, joint.say);
    doubtful.map(told).collect()
}

/// Volts and amps beyond what a tank's supply gives.
fn over_limits(tank: &Tank, volts: Option<Voltage>, amps: Option<Current>) -> Vec<String> {
    let supply = &tank.supply;
    let volts = volts
        .zip(supply.limit_volts)
        .filter(|(volts, limit)| volts > limit)
        .map(|(volts, limit)| (volts.to_string(), limit.to_string()));
    let amps = amps
        .zip(supply.limit_amps)
        .filter(|(amps, limit)| amps > limit)
        .map(|(amps, limit)| (amps.to_string(), limit.to_string()));
    let said = |(what, limit)| {
        format!(
            "{what} is over what the supply of {} gives ({limit})",
            tank.name
        )
    };
    volts.into_iter().chain(amps).map(said).collect()
}

fn carried(tank: &Tank) -> Option<Current> {
    let each: Option<Vec<Current>> = tank.anodes.iter().map(|a| a.carries).collect();
    each.filter(|c| !c.is_empty()).map(|c| c.into_iter().sum())
}

/// Whether the piece, turned in right angles, goes into the liquid with room
/// on every side.
fn fit(piece: &Piece, tank: &Tank) -> Option<String> {
    let (size, inside) = (piece.size?, tank.inside?);
    let height = tank.fill.unwrap_or(inside[2]);
    let sorted = |mut lengths: [f64; 3]| {
        lengths.sort_by(f64::total_cmp);
        lengths
    };
    let room =
        sorted([inside[0].si(), inside[1].si(), height.si()]).map(|l| l - 2.0 * CLEARANCE.si());
    let needed = sorted(size.map(Length::si));
    let fits = needed
        .iter()
        .zip(room)
        .all(|(needed, room)| *needed <= room);
    let show = |l: [Length; 3]| l.map(|l| crate::units::number(l.to(CM), 3)).join(" x ");
    (!fits).then(|| {
        format!(
            "{} ({} cm) does not fit {} ({} cm to the fill line) with {} cm free on every side",
            piece.name,
            show(size),
            tank.name,
            show([inside[0], inside[1], height]),
            crate::units::number(CLEARANCE.to(CM), 1)
        )
    })
}

/// Facing anode area 1-2x the work (hobby rule about 2:1, published in a
/// model-engineering build log; 1-2x is common practice).
fn anodes(tank: &Tank, work: Area) -> Option<String> {
    let anode = tank.anode_area()?;
    let ratio = anode / work;
    let told = format!("anodes of {} face {:.1}x the work's area", tank.name, ratio);
    if ratio < 1.0 {
        Some(format!("{told}: too small, they passivate; 1-2x is usual"))
    } else if ratio > 2.0 {
        Some(format!(
            "{told}: more than the usual 1-2x, the bath's copper rises"
        ))
    } else {
        None
    }
}

/// The build ladder's last step against the supply's limit.
fn supply(definition: &Definition, tank: &Tank, area: Area) -> Option<String> {
    let limit = tank.supply.limit_amps?;
    let last = definition.ladders.build.last()?;
    match last.setting(Some(area))? {
        Setting::Amps(wanted) if wanted > limit => Some(format!(
            "the build ladder asks {} for what hangs in {}; its supply gives {limit}",
            wanted.shown(crate::units::A, 3),
            tank.name
        )),
        _ => None,
    }
}
