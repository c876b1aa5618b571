//! Gates: what must be true or ticked before a stage starts or ends.
//!
//! The defaults are common practice with no source; they differ from shop to
//! shop, and `gates:` in `project.ron` changes them.

use super::gate_table::{Gate, gates_of};
use super::state::PieceState;
use super::{
    Command, Definition, GateRule, Piece, PieceFigures, Refusal, Stage, State, Target, WeighedAs,
    When,
};
use crate::units::{AH, Duration, Instant, Resistance};

/// A gate as it stands for a piece now.
#[derive(Debug, Clone, PartialEq)]
pub struct GateView {
    /// Its name.
    pub gate: String,
    /// The stage it stands at.
    pub stage: Stage,
    /// At the stage's start or end.
    pub when: When,
    /// Whether it holds now.
    pub held: bool,
    /// What it asks, and what is missing.
    pub say: String,
    /// A command that would satisfy it, if it does not hold.
    pub satisfy_with: Option<Command>,
    /// Whether a tick of its own name satisfies it.
    pub tickable: bool,
}

/// Ticks that satisfy the charge gate of a build.
pub(super) const STOP_TICKS: [&str; 4] = ["stop-nodules", "stop-tree", "stop-time", "good-enough"];
/// The tick that satisfies the coverage gates.
pub(super) const NEVER_SEEN: &str = "never-seen";
/// The gate of a return to the bath.
pub(super) const DIP: &str = "dip";

/// What a gate is asked about.
struct Asked<'a> {
    definition: &'a Definition,
    state: &'a State,
    piece: &'a Piece,
    now: Instant,
}

impl State {
    /// Every gate from a piece's present stage on, in the order of its route,
    /// as it stands now; what it has passed is history.
    pub fn gates(&self, definition: &Definition, name: &str, now: Instant) -> Vec<GateView> {
        let Some(piece) = definition.piece(name) else {
            return Vec::new();
        };
        let asked = Asked {
            definition,
            state: self,
            piece,
            now,
        };
        let gates = gates_of(definition);
        let present = asked.piece_state().and_then(|p| p.stage.clone());
        let ahead = definition
            .route_of(piece)
            .into_iter()
            .skip_while(|s| Some(s) != present.as_ref());
        let ordered = ahead.flat_map(|stage| {
            let at = |when| gates.iter().filter(move |g| g.when == when);
            at(When::Start)
                .chain(at(When::End))
                .filter(|g| g.stage == stage)
                .cloned()
                .collect::<Vec<_>>()
        });
        ordered.map(|gate| asked.view(gate)).collect()
    }

    /// The gates that stand at one end of one stage of a piece.
    pub fn gates_at(
        &self,
        definition: &Definition,
        name: &str,
        stage: &Stage,
        when: When,
        now: Instant,
    ) -> Vec<GateView> {
        let mut gates = self.gates(definition, name, now);
        gates.retain(|g| g.stage == *stage && g.when == when);
        gates
    }

    /// Every name that may be ticked for a piece.
    pub fn tick_names(definition: &Definition, piece: &Piece) -> Vec<String> {
        let route = definition.route_of(piece);
        let gates = gates_of(definition)
            .into_iter()
            .filter(|g| route.contains(&g.stage) && g.rule.tickable());
        gates
            .map(|g| g.id)
            .chain(STOP_TICKS.map(str::to_owned))
            .chain([NEVER_SEEN.to_owned()])
            .collect()
    }

    /// The dip before a return: asked after minutes out or a repaint, where
    /// there is copper to passivate.
    pub(super) fn dip_gate(
        &self,
        definition: &Definition,
        name: &str,
        now: Instant,
    ) -> Option<GateView> {
        let piece = self.piece(name)?;
        let out = now.elapsed_since(piece.lifted_at?);
        let long = out > definition.looks.out.si();
        if !(piece.has_metal() && (long || piece.touched_up)) {
            return None;
        }
        let why = if piece.touched_up {
            format!(
                "{name} was repainted: dip its copper (5-10 % sulfuric, 10-30 s) before it goes back in, live"
            )
        } else {
            format!(
                "{name} has been out {}: copper wants a 5-10 % sulfuric dip of 10-30 s before it goes back in, live",
                crate::units::clock_span(out)
            )
        };
        Some(GateView {
            gate: DIP.into(),
            stage: piece.stage.clone()?,
            when: When::Start,
            held: false,
            say: why,
            satisfy_with: Some(Command::record(name, "return --dipped")),
            tickable: false,
        })
    }
}

/// Why a gate does not hold, and what would do.
type Missing = (String, Command);

impl Asked<'_> {
    fn view(&self, gate: Gate) -> GateView {
        let tickable = gate.rule.tickable();
        let ticked = tickable
            && self
                .piece_state()
                .is_some_and(|p| p.ticked(&gate.stage, &gate.id));
        let missing = if ticked { None } else { self.missing(&gate) };
        let say = match &missing {
            Some((why, _)) if !why.is_empty() => format!("{}: {why}", gate.say),
            _ => gate.say.clone(),
        };
        GateView {
            gate: gate.id,
            stage: gate.stage,
            when: gate.when,
            held: missing.is_none(),
            say,
            satisfy_with: missing.map(|(_, command)| command),
            tickable,
        }
    }

    fn piece_state(&self) -> Option<&PieceState> {
        self.state.piece(&self.piece.name)
    }

    fn record(&self, rest: impl std::fmt::Display) -> Command {
        Command::record(&self.piece.name, rest)
    }

    fn missing(&self, gate: &Gate) -> Option<Missing> {
        let piece = self.piece_state()?;
        let tick = || self.record(format!("tick {}", super::quoted(&gate.id)));
        match &gate.rule {
            GateRule::Tick => Some((String::new(), tick())),
            GateRule::Coats(wanted) => {
                let on = piece
                    .coats
                    .iter()
                    .filter(|at| piece.counts(&gate.stage, **at))
                    .count();
                (on < *wanted as usize).then(|| (format!("{on} of {wanted}"), self.record("coat")))
            }
            GateRule::Drying => {
                let last = piece
                    .coats
                    .iter()
                    .copied()
                    .filter(|at| piece.counts(&gate.stage, *at))
                    .max();
                self.too_soon(last, self.definition.drying, tick())
            }
            GateRule::Hours(hours) => {
                let last = piece
                    .coats
                    .iter()
                    .copied()
                    .filter(|at| piece.started_at.is_none_or(|s| *at >= s))
                    .max();
                self.too_soon(last.or(started(piece, gate)), *hours, tick())
            }
            GateRule::Dried(_) if mass_is_stable(piece, &gate.stage) => None,
            GateRule::Dried(hours) => self.too_soon(started(piece, gate), *hours, tick()),
            GateRule::OhmsUnder(limit) => self.ohms_under(piece, gate, *limit),
            GateRule::OhmsAgree(factor) => self.ohms_agree(piece, gate, *factor),
            GateRule::Coverage => self.not_covered(piece, &gate.stage),
            GateRule::Charge(within) => self.charge_missing(piece, &gate.stage, *within),
            GateRule::OutOfBath => piece.tank.is_some().then(|| {
                (
                    format!("{} hangs in a tank", self.piece.name),
                    self.record("finish"),
                )
            }),
            GateRule::Hold => self.hold_missing(piece),
            GateRule::AllAt(stage) => self.not_all_at(stage),
        }
    }

    fn too_soon(&self, since: Option<Instant>, wanted: Duration, tick: Command) -> Option<Missing> {
        let Some(since) = since else {
            return Some(("not begun".into(), tick));
        };
        let left = wanted.si() - self.now.since(since);
        (left > 0.0).then(|| {
            let over = self
                .definition
                .zone
                .local(since + wanted)
                .beside(self.definition.zone.local(self.now));
            (
                format!("{} to go, over {over}", crate::units::clock_span(left)),
                tick,
            )
        })
    }

    fn ohms_under(&self, piece: &PieceState, gate: &Gate, limit: Resistance) -> Option<Missing> {
        let ohms = ohms(piece, &gate.stage);
        let worst = ohms.iter().max_by(|a, b| a.1.si().total_cmp(&b.1.si()));
        let measure = |place: Option<&String>| {
            let place =
                place.map_or_else(String::new, |p| format!(" --place {}", super::quoted(p)));
            self.record(format!("ohms {}{place}", limit * 0.3))
        };
        match worst {
            None => Some(("not measured since the last coat".into(), measure(None))),
            Some((place, worst)) if *worst >= limit => {
                let place_words = place
                    .as_ref()
                    .map_or_else(String::new, |p| format!(" at {p}"));
                Some((
                    format!("{worst}{place_words} is too much: one more coat, burnish, measure"),
                    measure(place.as_ref()),
                ))
            }
            Some(_) => None,
        }
    }

    fn ohms_agree(&self, piece: &PieceState, gate: &Gate, factor: f64) -> Option<Missing> {
        let ohms = ohms(piece, &gate.stage);
        let worst = ohms.iter().max_by(|a, b| a.1.si().total_cmp(&b.1.si()));
        let least = ohms.values().map(|o| o.si()).fold(f64::INFINITY, f64::min);
        match worst {
            None => Some((
                "no contact measured since the wiring began".into(),
                self.record("ohms 100ohm --place 'contact 1'"),
            )),
            Some((place, most)) if most.si() > least * factor => {
                let least = Resistance::from_si(least);
                let named = place.clone().unwrap_or_else(|| "one contact".into());
                let place = place
                    .as_ref()
                    .map_or_else(String::new, |p| format!(" --place {}", super::quoted(p)));
                Some((
                    format!("{most} at {named}, {least} at the best: remake it"),
                    self.record(format!("ohms {least}{place}")),
                ))
            }
            Some(_) => None,
        }
    }

    fn not_covered(&self, piece: &PieceState, stage: &Stage) -> Option<Missing> {
        let strike = &Stage::Strike;
        let never_seen = piece.ticked(stage, NEVER_SEEN) || piece.ticked(strike, NEVER_SEEN);
        if never_seen || piece.coverage.is_some_and(|c| c >= 1.0 - 1e-9) {
            return None;
        }
        let seen = piece.coverage.map_or_else(
            || "not seen yet".into(),
            |c| format!("{:.0} % at the last look", c * 100.0),
        );
        Some((
            format!("{seen}; `tick {NEVER_SEEN}` names the bare spots as never seen"),
            self.record("look covered"),
        ))
    }

    fn charge_missing(&self, piece: &PieceState, stage: &Stage, within: f64) -> Option<Missing> {
        if STOP_TICKS.iter().any(|t| piece.ticked(stage, t)) {
            return None;
        }
        let good_enough = || self.record("tick good-enough");
        let figures = PieceFigures::of(self.definition, self.state, &self.piece.name, self.now)?;
        let Some(target) = figures.charge_target.as_ref().map(|t| t.value) else {
            return Some(("no area, so no target".into(), good_enough()));
        };
        let least = target.si() * (1.0 - within);
        if let Some(since) = figures.charges.unknown_since {
            let local = self
                .definition
                .zone
                .local(since)
                .beside(self.definition.zone.local(self.now));
            return Some((
                format!(
                    "its share is unknown since {local}: give it a reading of its own there, or a stop reason"
                ),
                good_enough(),
            ));
        }
        let charges = &figures.charges;
        if charges.measured.si() >= least {
            return None;
        }
        let told = format!(
            "{:.2} of {:.2} Ah measured",
            charges.measured.to(AH),
            target.to(AH)
        );
        let reading = piece.tank.as_deref().and_then(|tank| {
            let last = self.state.tank(tank)?.reading?;
            Some(Command::new(
                "record",
                format!(
                    "reading --tank {} --volts {} --amps {}",
                    super::quoted(tank),
                    last.volts,
                    last.amps
                ),
            ))
        });
        match reading {
            Some(reading) if charges.total().si() >= least => Some((
                format!("{told}; the rest is estimated: read the meter"),
                reading,
            )),
            _ => Some((
                format!("{told}; or a stop reason: {}", STOP_TICKS.join(", ")),
                good_enough(),
            )),
        }
    }

    fn hold_missing(&self, piece: &PieceState) -> Option<Missing> {
        let rule = &self.definition.hold;
        let verb = match piece.stage {
            Some(Stage::Seal) => "start seal",
            _ => "finish",
        };
        let Some(hold) = piece.hold else {
            let ages = self.definition.route_of(self.piece).contains(&Stage::Age);
            return ages.then(|| ("no hold has begun".into(), self.record("start age")));
        };
        let until = hold.started_at + (rule.time - rule.tolerance);
        let left = until.since(hold.ended_at.unwrap_or(self.now));
        (left > 0.0).then(|| {
            let clock = self
                .definition
                .zone
                .local(until)
                .beside(self.definition.zone.local(self.now));
            (
                format!(
                    "{} to go, may end from {clock}",
                    crate::units::clock_span(left)
                ),
                self.record(format!("{verb} --override 'why it may pass'")),
            )
        })
    }

    fn not_all_at(&self, stage: &Stage) -> Option<Missing> {
        let behind = self.definition.pieces.iter().find_map(|other| {
            let route = self.definition.route_of(other);
            let wanted = route.iter().position(|s| s == stage)?;
            let at = self.state.piece(&other.name)?.stage.as_ref()?;
            (route.iter().position(|s| s == at)? < wanted).then(|| (other.name.clone(), at.clone()))
        })?;
        Some((
            format!("{} is still at {}", behind.0, behind.1),
            Command::record(&behind.0, "finish"),
        ))
    }
}

fn started(piece: &PieceState, gate: &Gate) -> Option<Instant> {
    piece
        .started_at
        .filter(|_| piece.stage.as_ref() == Some(&gate.stage))
}

fn mass_is_stable(piece: &PieceState, stage: &Stage) -> bool {
    let mut plated = piece
        .masses
        .iter()
        .rev()
        .filter(|(at, _, as_)| *as_ == WeighedAs::Plated && piece.counts(stage, *at));
    let Some((last_at, last, _)) = plated.next() else {
        return false;
    };
    plated
        .find(|(at, _, _)| last_at.since(*at) >= 4.0 * 3600.0)
        .is_some_and(|(_, before, _)| ((last.si() - before.si()) / before.si()).abs() < 1e-3)
}

/// The last resistance at each place that still counts.
fn ohms(
    piece: &PieceState,
    stage: &Stage,
) -> std::collections::BTreeMap<Option<String>, Resistance> {
    let since = if *stage == Stage::Coat {
        piece.coats.last().copied()
    } else {
        piece.started_at
    };
    piece
        .ohms
        .iter()
        .filter(|(at, _, _)| piece.counts(stage, *at) && since.is_none_or(|s| *at >= s))
        .map(|(_, ohms, place)| (place.clone(), *ohms))
        .collect()
}

/// The refusal for gates that do not hold: every one's words, and the commands
/// that would do, an override last.
pub(super) fn refuse_gates(missing: &[GateView], again: Command) -> Refusal {
    let because: Vec<&str> = missing.iter().map(|g| g.say.as_str()).collect();
    let mut instead: Vec<Command> = Vec::new();
    for command in missing.iter().filter_map(|g| g.satisfy_with.clone()) {
        if !instead.contains(&command) {
            instead.push(command);
        }
    }
    if !instead.contains(&again) {
        instead.push(again);
    }
    Refusal {
        rule: missing.first().map_or_else(String::new, |g| g.gate.clone()),
        because: because.join("; "),
        instead,
    }
}

impl Target {
    /// In a few words, in the units the screen shows.
    pub fn words(self, units: crate::units::System) -> String {
        match self {
            Self::Mean(mean) => format!("{} mean", units.show_thickness(mean)),
            Self::Minimum(least) => format!("{} minimum", units.show_thickness(least)),
        }
    }
}
