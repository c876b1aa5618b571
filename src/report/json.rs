//! Objects for scripts. Keys carry their unit; what is not known is null,
//! never 0; instants are RFC 3339 in UTC. The caller adds `schema`.

use serde_json::{Value, json};

use super::charge::{Asked, Deposit};
use crate::plating::Weighing;
use crate::project::{
    CloseOut, Definition, Due, Event, HoldFigures, Mark, Match, MaySign, PieceFigures, Project,
    Refusal, ShareBy, State, Subject, TankFigures, What, weighing,
};
use crate::units::{
    A, A_DM2, AH, Dimension, Figure, G, H, Instant, Length, MM, Quantity, S, UM, Unit, V, rounded,
};

/// A number for scripts: twelve significant digits, null if not finite.
fn number(value: f64) -> Value {
    serde_json::Number::from_f64(rounded(value, 12)).map_or(Value::Null, Value::Number)
}

fn quantity<D: Dimension>(value: Option<Quantity<D>>, unit: Unit<D>) -> Value {
    value.map_or(Value::Null, |v| number(v.to(unit)))
}

fn best<D: Dimension>(figure: Option<&Figure<D>>, unit: Unit<D>) -> Value {
    quantity(figure.map(|f| f.value), unit)
}

/// The ± (k = 2) of a figure: a difference, so no offset of a unit enters.
fn pm<D: Dimension>(figure: Option<&Figure<D>>, unit: Unit<D>) -> Value {
    quantity(figure.map(Figure::pm), unit)
}

fn size_mm(size: Option<[Length; 3]>) -> Value {
    size.map_or(Value::Null, |s| s.map(|l| number(l.to(MM))).to_vec().into())
}

/// Where everything stands at `now`.
pub fn status(project: &Project, now: Instant) -> Value {
    let state = project.state_at(now);
    let definition = &project.definition;
    let figures = PieceFigures::all(definition, &state, now);
    let pieces: Vec<Value> = figures
        .iter()
        .map(|f| piece(definition, &state, f, now))
        .collect();
    let tanks: Vec<Value> = TankFigures::all(definition, &state, now)
        .iter()
        .map(|t| tank(definition, &state, (t, now)))
        .collect();
    let due: Vec<Value> = state
        .due(definition, now)
        .iter()
        .map(|d| due(d, now))
        .collect();
    json!({
        "name": definition.name,
        "metal": definition.metal,
        "now": now,
        "pieces": pieces,
        "tanks": tanks,
        "match": matched(&Match::of(definition, &figures)),
        "due": due,
        "uncertainty": uncertainty(definition),
    })
}

fn piece(definition: &Definition, state: &State, figures: &PieceFigures, now: Instant) -> Value {
    let defined = definition.piece(&figures.name);
    let at = state.piece(&figures.name);
    let (Some(defined), Some(at)) = (defined, at) else {
        return Value::Null;
    };
    let charges = figures
        .charges
        .unknown_since
        .is_none()
        .then_some(&figures.charges);
    let thickness = figures.thickness.as_ref();
    let density = figures.density.as_ref().map(|d| d.value);
    let next = state.next_step(definition, &figures.name);
    json!({
        "name": figures.name,
        "stage": at.stage,
        "stage_state": at.stage_state.word(),
        "tank": at.tank,
        "in_bath": at.in_bath(),
        "out_s": at.lifted_at.map_or(Value::Null, |lifted| number(now.elapsed_since(lifted))),
        "wetted_area_dm2": quantity(figures.wetted_area.as_ref().map(|a| a.value), crate::units::DM2),
        "plating_area_dm2": quantity(figures.plating_area, crate::units::DM2),
        "conductor_area_dm2": quantity(figures.conductor_area, crate::units::DM2),
        "coverage": at.coverage.map_or(Value::Null, number),
        "charge_target_ah": quantity(figures.charge_target.as_ref().map(|t| t.value), AH),
        "charge_ah": quantity(charges.map(|c| c.measured), AH),
        "charge_estimated_ah": quantity(charges.map(|c| c.estimated), AH),
        "charge_kind": figures.charges.kind_word(),
        "thickness_um": best(thickness, UM),
        "thickness_pm_um": pm(thickness, UM),
        "thickness_local": local(figures),
        "density_a_dm2": quantity(density, A_DM2),
        "stage_elapsed_s": at.stage_elapsed(now).map_or(Value::Null, number),
        "hold": figures.hold.as_ref().map_or(Value::Null, hold),
        "marks": at.marks.iter().map(mark).collect::<Vec<_>>(),
        "amps": quantity(figures.amps, A),
        "read_at": figures.read_at,
        "share_by": figures.share_by.map(ShareBy::word),
        "charge_by_field_ah": number(figures.charge_by_field.to(AH)),
        "shares_ended": figures.shares_ended,
        "evenness_stale": state.stale_evenness(definition, &figures.name),
        "share_unknown_since": figures.charges.unknown_since,
        "target_at": figures.target_at,
        "next_step": next.map(|n| json!({
            "step": n.step.number,
            "of": n.step.of,
            "at": n.due,
            "set": n.setting.map(|s| s.to_string()),
        })),
        "weighed": weighing(definition, state, figures).as_ref().map(weighed),
        "turn": at.turn,
        "touched_up": at.touched_up,
        "contacts_moved": at.contacts_moved,
        "last_look": at.looks.last().map(|look| json!({
            "at": look.at,
            "findings": look.findings.iter().map(ToString::to_string).collect::<Vec<_>>(),
        })),
        "size_mm": size_mm(defined.size),
        "area_rel": number(defined.area_rel(&definition.uncertainty)),
        "area_method": defined.area_method,
    })
}

/// The local range around the mean: predicted, or assumed.
fn local(figures: &PieceFigures) -> Value {
    let local = figures.local();
    let kind = local.map_or(crate::units::Kind::Assumed, |(.., kind)| kind);
    json!({
        "least_um": quantity(local.map(|(least, ..)| least), UM),
        "most_um": quantity(local.map(|(_, most, _)| most), UM),
        "kind": kind.word(),
    })
}

fn hold(hold: &HoldFigures) -> Value {
    let (from, to) = hold.window();
    json!({
        "started_at": hold.started_at,
        "elapsed_h": number(hold.elapsed.to(H)),
        "target_h": number(hold.target.to(H)),
        "ends_at": hold.ends_at,
        "tolerance_h": number(hold.tolerance.to(H)),
        "seal_from": from,
        "seal_to": to,
        "ended": hold.ended,
    })
}

fn mark(mark: &Mark) -> Value {
    json!({
        "kind": mark.kind.word(),
        "because": mark.because,
        "at": mark.at,
        "gate": mark.gate,
    })
}

fn weighed(weighing: &Weighing) -> Value {
    let efficiency = weighing.efficiency.as_ref();
    json!({
        "gained_g": best(Some(&weighing.gained), G),
        "gained_pm_g": pm(Some(&weighing.gained), G),
        "thickness_um": best(Some(&weighing.thickness), UM),
        "thickness_pm_um": pm(Some(&weighing.thickness), UM),
        "efficiency": efficiency.map_or(Value::Null, |e| number(e.value.si())),
        "efficiency_pm": efficiency.map_or(Value::Null, |e| number(e.pm().si())),
        "plausible": weighing.plausible(),
    })
}

fn tank(definition: &Definition, state: &State, (figures, now): (&TankFigures, Instant)) -> Value {
    let at = state.tank(&figures.name);
    let mut warnings = at.map(|t| t.left_out.clone()).unwrap_or_default();
    warnings.extend(state.shares_ended(definition, &figures.name, now));
    let [dose, filter, bags] = figures.since.map(|c| number(c.to(AH)));
    let every = definition.tank(&figures.name).map(|t| &t.bath);
    json!({
        "name": figures.name,
        "supply": {
            "mode": figures.mode,
            "amps": quantity(figures.amps, A),
            "volts": quantity(figures.volts, V),
        },
        "charge_ah": number(figures.charge.to(AH)),
        "since": { "dose_ah": dose, "filter_ah": filter, "bags_ah": bags },
        "pieces": figures.pieces,
        "share_by": figures.share_by.map(ShareBy::word),
        "on": figures.on,
        "read_at": at.and_then(|t| t.reading).map(|r| r.at),
        "celsius": quantity(
            at.and_then(|t| t.reading).and_then(|r| r.celsius),
            crate::units::CELSIUS,
        ),
        "every": {
            "dose_ah": quantity(every.and_then(|b| b.dose_every), AH),
            "filter_ah": quantity(every.and_then(|b| b.filter_every), AH),
            "bags_ah": quantity(every.and_then(|b| b.bags_every), AH),
        },
        "marks": at.map(|t| t.marks.iter().map(mark).collect::<Vec<_>>()).unwrap_or_default(),
        "warnings": warnings,
    })
}

fn matched(matched: &Match) -> Value {
    let spread = matched.thickness_spread.as_ref();
    let behind: Vec<Value> = matched
        .behind
        .iter()
        .map(|b| {
            json!({
                "piece": b.name,
                "by_um": best(Some(&b.by), UM),
                "by_pm_um": pm(Some(&b.by), UM),
                "charge_ah": number(b.charge.to(AH)),
                "time_s": quantity(b.time, S),
            })
        })
        .collect();
    json!({
        "thickness_spread_um": best(spread, UM),
        "thickness_spread_pm_um": pm(spread, UM),
        "age_spread_h": quantity(matched.age_spread, H),
        "thickest": matched.thickest,
        "behind": behind,
        "visit": matched.visit.map(|(from, to)| json!({ "from": from, "to": to })),
        "finishes_differ": matched.finishes_differ,
    })
}

/// One thing that is due, or will be.
pub fn due(due: &Due, now: Instant) -> Value {
    json!({
        "piece": due.piece,
        "tank": due.tank,
        "what": due.what.word(),
        "at": due.at,
        "overdue_s": number(due.overdue_s(now)),
        "say": due.say,
    })
}

fn uncertainty(definition: &Definition) -> Value {
    let u = &definition.uncertainty;
    json!({
        "area_rel": number(u.area_rel),
        "efficiency_rel": number(u.efficiency_rel),
        "amps_rel": number(u.amps_rel),
        "share_rel": number(u.share_rel),
        "water_rel": number(u.water.si()),
        "balance_g": number(u.balance.to(G)),
    })
}

/// The gates of a piece at `now`, for the project in `folder`.
pub fn gates(project: &Project, piece: &str, now: Instant, folder: &str) -> Value {
    let state = project.state_at(now);
    let gates: Vec<Value> = state
        .gates(&project.definition, piece, now)
        .into_iter()
        .map(|g| {
            json!({
                "gate": g.gate,
                "stage": g.stage,
                "when": g.when.word(),
                "held": g.held,
                "satisfy_with": g.satisfy_with.map(|c| c.line(folder)),
                "say": g.say,
                "tickable": g.tickable,
            })
        })
        .collect();
    json!({ "piece": piece, "gates": gates })
}

/// Every event as it was written down, or those of one piece.
pub fn history(project: &Project, piece: Option<&str>) -> Value {
    let (undone, back_dated) = (project.undone_sequences(), project.back_dated());
    let events: Vec<Value> = project
        .events()
        .iter()
        .filter(|e| piece.is_none_or(|p| e.what.concerns(p)))
        .map(|e| {
            event(
                e,
                undone.contains(&e.sequence),
                back_dated.contains(&e.sequence),
            )
        })
        .collect();
    json!({ "events": events })
}

fn event(event: &Event, undone: bool, back_dated: bool) -> Value {
    let (piece, pieces): (Option<&str>, &[String]) = match (event.what.subject(), &event.what) {
        (Subject::Piece(piece), _) => (Some(piece), &[]),
        (Subject::Pieces(pieces), _) => (None, pieces),
        (_, What::Reading { piece, .. }) => (piece.as_deref(), &[]),
        _ => (None, &[]),
    };
    let tank = match (event.what.subject(), &event.what) {
        (Subject::Tank(tank), _) => Some(tank),
        (_, What::Start { tank, .. }) => tank.as_deref(),
        _ => None,
    };
    json!({
        "sequence": event.sequence,
        "at": event.at,
        "recorded": event.recorded,
        "who": event.who,
        "kind": kind(&event.what),
        "what": event.what.to_string(),
        "piece": piece,
        "pieces": pieces,
        "tank": tank,
        "undone": undone,
        "override": event.reason,
        "overridden": event.overridden,
        "back_dated": back_dated,
    })
}

/// The command word that records an event.
pub fn kind(what: &What) -> &'static str {
    match what {
        What::Start { .. } => "start",
        What::Pause { .. } => "pause",
        What::Resume { .. } => "resume",
        What::Finish { .. } => "finish",
        What::Rework { .. } => "rework",
        What::Skip { .. } => "skip",
        What::Lift { .. } => "lift",
        What::Return { .. } => "return",
        What::TouchUp { .. } => "touch-up",
        What::Look { .. } => "look",
        What::Tick { .. } => "tick",
        What::Ohms { .. } => "ohms",
        What::Weigh { .. } => "weigh",
        What::Coat { .. } => "coat",
        What::Turn { .. } => "turn",
        What::Contact { .. } => "contact",
        What::Wipe { pieces } if pieces.len() > 1 => "refresh",
        What::Wipe { .. } => "wipe",
        What::Climate { .. } => "climate",
        What::Note { .. } => "note",
        What::Reading { .. } => "reading",
        What::Supply { .. } => "supply",
        What::Bath { .. } => "bath",
        What::Shares { .. } => "shares",
        What::Logger { .. } => "logger",
        What::CloseoutTick { .. } => "closeout-tick",
        What::CloseoutSign { .. } => "closeout-sign",
        What::Undo { .. } => "undo",
        What::Redo { .. } => "redo",
    }
}

/// The close-out as it stands at `now`.
pub fn closeout(project: &Project, now: Instant) -> Value {
    let state = project.state_at(now);
    let closeout = CloseOut::of(&project.definition, &state, now);
    let items: Vec<Value> = closeout
        .items
        .iter()
        .map(|i| {
            json!({
                "id": i.id,
                "side": i.side.word(),
                "text": i.text,
                "done": i.done,
                "by": i.ticked.as_ref().map(|(who, _)| who),
                "at": i.ticked.as_ref().map(|(_, at)| at),
                "blocks": i.blocks(),
            })
        })
        .collect();
    let (may_sign, because) = match &closeout.may_sign {
        MaySign::Yes(because) => (true, because.as_ref()),
        MaySign::No(because) => (false, Some(because)),
    };
    json!({
        "items": items,
        "may_sign": may_sign,
        "because": because,
        "signed": state.signed.as_ref().map(|(sequence, at, by)| json!({
            "sequence": sequence,
            "at": at,
            "by": by,
        })),
    })
}

/// A refusal, with whole commands for the project in `folder`.
pub fn refused(refusal: &Refusal, folder: &str) -> Value {
    let instead: Vec<String> = refusal.instead.iter().map(|c| c.line(folder)).collect();
    json!({ "refused": {
        "rule": refusal.rule,
        "because": refusal.because,
        "instead": instead,
    } })
}

/// What went wrong, where, and what would do.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Fault<'a> {
    /// One word for scripts: `usage`, `parse`, `locked` …
    pub kind: &'a str,
    /// What, in a sentence.
    pub message: &'a str,
    /// What would do.
    pub remedy: Option<&'a str>,
    /// In which file.
    pub file: Option<&'a str>,
    /// On which line, from 1.
    pub line: Option<usize>,
    /// In which column, from 1.
    pub column: Option<usize>,
}

/// A fault as an object; what is not known about it is null.
pub fn error(fault: &Fault<'_>) -> Value {
    json!({ "error": {
        "kind": fault.kind,
        "message": fault.message,
        "remedy": fault.remedy,
        "file": fault.file,
        "line": fault.line,
        "column": fault.column,
    } })
}

/// What `charge` was asked, and its answer.
pub fn charge(asked: &Asked) -> Value {
    let Deposit {
        charge,
        mass,
        thickness,
        time,
    } = asked.deposit();
    let metal = &asked.metal;
    json!({
        "charge_ah": number(charge.to(AH)),
        "mass_g": number(mass.to(G)),
        "thickness_um": number(thickness.to(UM)),
        "hours": quantity(time, H),
        "metal": {
            "symbol": metal.symbol,
            "electrons": metal.electrons,
            "molar_mass_g_mol": number(metal.molar_mass_g_mol),
            "density_g_cm3": number(metal.density_g_cm3),
            "name": metal.name,
        },
        "efficiency": number(asked.efficiency.si()),
        "caution": metal.cyanide.then_some(super::cautions::CYANIDE),
    })
}
