//! What an entry will mean, shown before Enter.

use super::{Entry, Form, Model, Task};
use crate::plating::density_word;
use crate::project::{Action, Piece, PieceState, Setting, Stage, What};
use crate::report::cautions::for_act;
use crate::units::{AH, Area, Current, CurrentDensity, G, Mass, OHM};

impl Form {
    /// What it will mean, in sentences; little while a field is wrong.
    pub fn meaning(&self, model: &Model) -> Vec<String> {
        let when = self.fields.last();
        let at_start = when.is_some_and(|f| f.at.is_some() && !f.touched);
        let start = at_start.then(|| "at the start, so that no share is unknown".to_owned());
        let mut lines: Vec<String> = start.into_iter().collect();
        if let Ok(what) = self.task.what(model, &self.fields) {
            lines.extend(self.why_set(model));
            lines.extend(meaning(model, &what));
        }
        lines
    }

    /// What to mind before Enter, most pressing of all that is shown: why it
    /// will be refused, or the warnings with which it passes.
    pub fn warnings(&self, model: &Model) -> Vec<String> {
        let what = self.task.what(model, &self.fields);
        what.map_or_else(|_| Vec::new(), |what| self.verdict(model, what))
    }

    /// Why a guide asks for another current.
    fn why_set(&self, model: &Model) -> Option<String> {
        let Task::Set(tank, Setting::Amps(ready)) = &self.task else {
            return None;
        };
        let now = model.project.state().tank(tank)?.set_amps?;
        let ladder = model.ladder_setting(tank);
        let guides = self.guided && ladder != Some(Setting::Amps(*ready));
        let lower = guides && *ready < now;
        let back = guides && *ready > now;
        match (lower, back) {
            (true, _) => Some("lower first: the others must not get its share on top".to_owned()),
            (_, true) => Some("as it was before the look: all share it again".to_owned()),
            _ => None,
        }
    }

    /// What the rules will say: warnings that let it pass, or a refusal.
    fn verdict(&self, model: &Model, what: What) -> Vec<String> {
        let zone = model.project.definition.zone;
        let when = self.fields.last().filter(|f| f.entry == Entry::When);
        let at = when.map_or(Ok(None), |f| f.instant(zone, model.now));
        let Ok(at) = at else {
            return Vec::new();
        };
        let passed = matches!(self.task, Task::Override(..)).then(|| "given".to_owned());
        let action = Action {
            at,
            override_reason: passed,
            ..Action::now(what, "")
        };
        match model.project.decide(&action, model.now) {
            Ok(decision) => {
                let warnings = decision.warnings.into_iter();
                warnings.map(|w| format!("mind: {w}")).collect()
            }
            Err(refusal) => std::iter::once(format!("this will be refused: {}", refusal.because))
                .chain(model.ticked_later(&action))
                .collect(),
        }
    }

    /// The cautions that belong to it.
    pub fn cautions(&self, model: &Model) -> &'static [&'static str] {
        let by_deed = || match &self.task {
            Task::Piece(piece, deed) => deed.trial(model, piece),
            _ => None,
        };
        let what = self.task.what(model, &self.fields).ok().or_else(by_deed);
        if let Some(What::Lift { piece }) = &what
            && !is_live(model, piece)
        {
            return &["No current: out at once; let it drain over the bath."];
        }
        what.map_or(&[], |what| for_act(&what))
    }
}

/// Whether current flows in the tank that a piece hangs in.
fn is_live(model: &Model, piece: &str) -> bool {
    let tank = model.piece(piece).and_then(|p| p.tank.as_deref());
    tank.and_then(|t| model.facts.tank(t)).is_some_and(|t| t.on)
}

fn meaning(model: &Model, what: &What) -> Vec<String> {
    match what {
        What::Supply { tank, to } => setting(model, tank, *to),
        What::Reading {
            tank,
            amps,
            piece: None,
            ..
        } => current(model, tank, *amps),
        What::Reading {
            piece: Some(piece),
            amps,
            ..
        } => own_current(model, piece, *amps),
        What::Ohms {
            piece,
            resistance,
            place,
        } => {
            let at_contact = place.as_ref().is_some_and(|p| p.starts_with("contact"))
                || model.piece(piece).and_then(|p| p.stage.as_ref()) == Some(&Stage::Wiring);
            let word = (!at_contact).then(|| coat_word(resistance.to(OHM)).to_owned());
            word.into_iter().collect()
        }
        What::Weigh { piece, mass, .. } => gained(model, piece, *mass).into_iter().collect(),
        What::Lift { piece } => lift(model, piece),
        What::Return { dipped: true, .. } => {
            vec!["5-10 % sulfuric dip of 10-30 s, copper only, then lowered in live".to_owned()]
        }
        What::Return { piece, .. } if !is_live(model, piece) => {
            vec!["no current in the tank: supply on first, so that it goes in live".to_owned()]
        }
        What::Return { .. } => vec!["lowered in live; the charge counts from here".to_owned()],
        What::Start { piece, stage, .. } => begin(model, piece, stage),
        What::Finish { piece } => finish(model, piece),
        What::Rework { piece, .. } => {
            vec![format!("{piece} comes out of the tank; its charge is kept")]
        }
        What::Skip { piece, .. } => vec![format!("stays on the traveller of {piece} for good")],
        What::Wipe { pieces } => vec![format!(
            "the ageing hold of {} begins anew",
            pieces.join(", ")
        )],
        What::Pause { piece } if model.piece(piece).is_some_and(PieceState::in_bath) => {
            vec!["no current through it: lift it out, its paint soaks".to_owned()]
        }
        _ => Vec::new(),
    }
}

fn setting(model: &Model, tank: &str, to: Setting) -> Vec<String> {
    match to {
        Setting::Amps(amps) => current(model, tank, amps),
        Setting::Volts(_) => {
            vec!["volts depend on the tank: the meter's amps tell the density".to_owned()]
        }
        Setting::Off => {
            let inside: Vec<&str> = model
                .project
                .state()
                .hanging(tank)
                .filter(|(_, p)| p.in_bath())
                .map(|(name, _)| name)
                .collect();
            if inside.is_empty() {
                vec!["the immersion ends here".to_owned()]
            } else {
                vec![format!(
                    "{} would hang without current: lift out first",
                    inside.join(", ")
                )]
            }
        }
    }
}

/// The density over the covered area of what hangs in the circuit.
fn current(model: &Model, tank: &str, amps: Current) -> Vec<String> {
    let definition = &model.project.definition;
    let hanging: Vec<(&str, Option<f64>, Option<f64>)> = model
        .project
        .state()
        .hanging(tank)
        .filter(|(_, p)| p.in_circuit())
        .map(|(name, p)| {
            let piece = definition.piece(name);
            let plating = piece.and_then(Piece::plating_area);
            let wires = piece.map_or(0.0, |p| p.wire_area().si());
            let covered = plating
                .zip(p.coverage)
                .map(|(area, share)| area.si() * share + wires);
            (
                name,
                covered,
                piece.and_then(Piece::conductor_area).map(Area::si),
            )
        })
        .collect();
    if hanging.is_empty() {
        return vec!["nothing hangs in the circuit".to_owned()];
    }
    let Some(covered) = hanging.iter().map(|h| h.1).sum::<Option<f64>>() else {
        return vec!["A/dm2 not known: the covered area comes from a look".to_owned()];
    };
    let mut lines = vec![density(model, amps, covered)];
    if let [(name, _, _)] = hanging.as_slice() {
        lines.extend(target(model, name, amps));
    } else if let Some(all) = hanging.iter().map(|h| h.2).sum::<Option<f64>>()
        && let Some((name, area)) = hanging.iter().find_map(|h| Some((h.0, h.2?)))
    {
        lines.extend(target(model, name, amps * (area / all)));
    }
    lines
}

fn density(model: &Model, amps: Current, covered: f64) -> String {
    let units = model.project.definition.units;
    if amps.si() <= 0.0 {
        return "no current".to_owned();
    }
    if covered <= 0.0 {
        return "nothing is covered yet".to_owned();
    }
    let density = CurrentDensity::from_si(amps.si() / covered);
    format!(
        "{} on {} covered: {}",
        units.show_density(density),
        units.show_area(Area::from_si(covered)),
        density_word(density).say()
    )
}

fn own_current(model: &Model, piece: &str, amps: Current) -> Vec<String> {
    let definition = &model.project.definition;
    let covered = definition.piece(piece).and_then(|p| {
        let coverage = model.piece(piece)?.coverage?;
        Some(p.plating_area()?.si() * coverage + p.wire_area().si())
    });
    let first = match covered {
        Some(covered) => density(model, amps, covered),
        None => "A/dm2 not known: the covered area comes from a look".to_owned(),
    };
    std::iter::once(first)
        .chain(target(model, piece, amps))
        .collect()
}

/// When a piece reaches its target at this current.
fn target(model: &Model, piece: &str, amps: Current) -> Option<String> {
    let figures = model.figures(piece)?;
    if model.piece(piece)?.stage != Some(Stage::Build) || figures.charges.unknown_since.is_some() {
        return None;
    }
    let left = figures.charge_target.as_ref()?.value.si() - figures.charges.total().si();
    if amps.si() <= 0.0 || left <= 0.0 {
        return None;
    }
    let at = model.now.plus_seconds(left / amps.si());
    Some(format!(
        "{piece}: {:.2} Ah left, target {}",
        left / AH.of(1.0).si(),
        model.clock(at)
    ))
}

fn coat_word(ohms: f64) -> &'static str {
    match ohms {
        o if o < 300.0 => "good: under 300 ohm",
        o if o < 1000.0 => "enough: under 1 kohm",
        _ => "too much: one more coat, burnish, measure again",
    }
}

fn gained(model: &Model, piece: &str, mass: Mass) -> Option<String> {
    let masses = &model.piece(piece)?.masses;
    let (_, before, condition) = masses.last()?;
    Some(format!(
        "{:+.1} g since {condition}",
        mass.to(G) - before.to(G)
    ))
}

fn lift(model: &Model, piece: &str) -> Vec<String> {
    let out = model.project.definition.looks.out;
    let mut lines = vec![format!(
        "no charge while out; copper out longer than {} wants an acid dip",
        crate::units::clock_span(out.si())
    )];
    let lower = model
        .project
        .state()
        .current_without(&model.project.definition, piece);
    if let Some((tank, amps)) = lower {
        lines.insert(
            0,
            format!(
                "set {tank} to {:.3} A first: the others share its current",
                amps.si()
            ),
        );
    }
    lines
}

fn begin(model: &Model, piece: &str, stage: &Stage) -> Vec<String> {
    let definition = &model.project.definition;
    let mut lines = Vec::new();
    if stage.in_bath() {
        let hangs = model.piece(piece).is_some_and(|p| p.tank.is_some());
        lines.push(if hangs {
            "it hangs already; its charge goes on".to_owned()
        } else {
            "in live, lowered in 10-30 s, tilting out air".to_owned()
        });
        let target = model
            .figures(piece)
            .and_then(|f| f.charge_target.as_ref())
            .map(|t| t.value);
        if let Some(target) = target {
            lines.push(format!("its charge target is {:.2} Ah", target.to(AH)));
        }
    } else if *stage == Stage::Age {
        let ends = model.now + definition.hold.time;
        lines.push(format!("the ageing hold is over {}", model.clock(ends)));
    }
    lines
}

fn finish(model: &Model, name: &str) -> Vec<String> {
    let Some((piece, state)) = model.project.definition.piece(name).zip(model.piece(name)) else {
        return Vec::new();
    };
    let route = model.project.definition.route_of(piece);
    let at = route.iter().position(|s| Some(s) == state.stage.as_ref());
    let next = at.and_then(|at| route.get(at + 1));
    vec![match (next, &state.stage) {
        (Some(next), Some(now)) if now.in_bath() && next.in_bath() => {
            format!(
                "stays in the tank, its charge goes on; next: {}",
                next.title()
            )
        }
        (Some(next), Some(now)) if now.in_bath() => {
            format!("comes out of the tank; next: {}", next.title())
        }
        (Some(next), _) => format!("next: {}", next.title()),
        (None, _) => "the whole route is done".to_owned(),
    }]
}
