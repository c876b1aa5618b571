//! An evening as the rows of its sheet: what may happen to each tank and piece.

use super::rows::tick;
use super::{Asks, EVENING_H, Row, Section, Tick, looks_ahead, tank_stands};
use crate::project::{
    CloseOut, Definition, Due, DueKind, GateView, Piece, PieceFigures, PieceState, Planned,
    Setting, Side, Stage, StageState, State, TankFigures, WeighedAs, When,
};
use crate::report::told;
use crate::units::{A, H, Instant, MIN, V, number};

/// Empty rows for readings are added up to so many.
const READINGS: usize = 6;
/// Empty rows for looks where the clock does not tell them yet.
const LOOKS: usize = 4;
/// Rows for looks at one of many pieces; the further clock times are told.
const LOOKS_OF_MANY: usize = 6;
/// Above so many pieces those that wait have no more than their start.
const FEW: usize = 12;

/// Every section with its rows numbered through.
pub(super) fn sections(
    definition: &Definition,
    state: &State,
    (due, ahead): (&[Due], &[Planned]),
    now: Instant,
) -> Vec<Section> {
    let evening = Evening {
        definition,
        state,
        due,
        ahead,
        now,
    };
    let tanks = TankFigures::all(definition, state, now);
    let mut sections: Vec<Section> = tanks.iter().map(|t| evening.tank(t)).collect();
    for piece in &definition.pieces {
        if let Some(at) = state.piece(&piece.name) {
            sections.extend(evening.piece(piece, at));
        }
    }
    sections.push(evening.close_out());
    let rows = sections.iter_mut().flat_map(|s| &mut s.rows);
    for (n, row) in rows.enumerate() {
        row.number = n + 1;
    }
    sections
}

/// A row that gets its number with the others.
fn row(say: impl Into<String>, asks: Asks) -> Row {
    Row {
        number: 0,
        planned: None,
        say: say.into(),
        asks,
    }
}

/// What the rows are made from.
struct Evening<'a> {
    definition: &'a Definition,
    state: &'a State,
    due: &'a [Due],
    ahead: &'a [Planned],
    now: Instant,
}

impl Evening<'_> {
    fn clock(&self, at: Instant) -> String {
        self.definition.zone.local(at).clock()
    }

    /// Set points and readings as the clock calls for them, then empty ones.
    fn tank(&self, tank: &TankFigures) -> Section {
        let name = &tank.name;
        let mut rows = Vec::new();
        if tank.on || !tank.pieces.is_empty() || self.may_be_hung() {
            rows.extend(self.planned_at(name));
            let read = |row: &Row| matches!(row.asks, Asks::Reading { piece: None, .. });
            let missing = READINGS.saturating_sub(rows.iter().filter(|r| read(r)).count());
            let set = Asks::Set {
                tank: name.clone(),
                planned: None,
            };
            rows.push(row("supply set", set));
            let reading = Asks::Reading {
                tank: name.clone(),
                piece: None,
            };
            rows.extend((0..missing).map(|_| row("reading", reading.clone())));
            rows.push(row("supply off", Asks::Off { tank: name.clone() }));
        }
        rows.push(row("bath", Asks::Bath { tank: name.clone() }));
        Section {
            name: name.clone(),
            stands: format!("tank, {}", tank_stands(tank)),
            facts: Vec::new(),
            open: Vec::new(),
            rows,
        }
    }

    /// Whether a piece may be hung in a tank this evening.
    fn may_be_hung(&self) -> bool {
        self.definition.pieces.iter().any(|piece| {
            let at = self.state.piece(&piece.name);
            at.is_some_and(|at| {
                let stages = self.stages_near(piece, at);
                stages.iter().any(Stage::in_bath)
            })
        })
    }

    fn planned_at(&self, tank: &str) -> Vec<Row> {
        let here = self.ahead.iter().filter(|p| p.tank == tank);
        let rows = here.filter_map(|planned| {
            let tank = tank.to_owned();
            let (say, asks) = match (planned.what, planned.setting) {
                (DueKind::Ladder, Some(setting)) => {
                    let say = setting.to_string();
                    let planned = Some(setting);
                    (say, Asks::Set { tank, planned })
                }
                (DueKind::Reading, _) => {
                    let piece = planned.piece.clone();
                    let say = piece.as_ref().map_or_else(
                        || "reading".to_owned(),
                        |piece| format!("own lead of {piece}"),
                    );
                    (say, Asks::Reading { tank, piece })
                }
                _ => return None,
            };
            Some(Row {
                planned: Some(self.clock(planned.at)),
                ..row(say, asks)
            })
        });
        rows.collect()
    }

    /// Whether the present stage of a piece may end this evening: one that
    /// takes its hours must have begun, and its time be near.
    fn ends_tonight(&self, piece: &Piece, at: &PieceState) -> bool {
        use Stage::{Age, Coat, Cure, Dry, Seal};
        if !matches!(at.stage, Some(Coat | Dry | Age | Seal | Cure)) {
            return true;
        }
        let mut timer = self.due.iter().filter(|due| {
            let waits = matches!(due.what, DueKind::Dry | DueKind::Hold | DueKind::Cure);
            waits && due.piece.as_ref() == Some(&piece.name)
        });
        let latest = self.now + H.of(EVENING_H) + self.definition.hold.tolerance;
        timer.next().is_some_and(|due| due.at <= latest)
    }

    /// The present stage of a piece, and the one after it if that may begin
    /// this evening.
    fn stages_near(&self, piece: &Piece, at: &PieceState) -> Vec<Stage> {
        let route = self.definition.route_of(piece);
        let stages = if self.ends_tonight(piece, at) { 2 } else { 1 };
        let ahead = route
            .into_iter()
            .skip_while(|s| Some(s) != at.stage.as_ref());
        ahead.take(stages).collect()
    }

    fn piece(&self, piece: &Piece, at: &PieceState) -> Vec<Section> {
        let stages = self.stages_near(piece, at);
        let begun = at.stage_state != StageState::Waiting;
        let few = self.definition.pieces.len() <= FEW;
        // Of many, those that only wait get their rows on the next sheet.
        let in_full = begun || few;
        let mut sections = Vec::new();
        for (n, stage) in stages.iter().enumerate() {
            let of_stage = AtStage {
                evening: self,
                piece,
                at,
                stage,
                is_present: n == 0,
            };
            if n == 0 || in_full {
                sections.push(of_stage.section(in_full));
            }
        }
        if let Some(last) = sections.last_mut() {
            let note = Asks::Note {
                piece: piece.name.clone(),
            };
            last.rows.push(row("note", note));
        }
        sections
    }

    fn close_out(&self) -> Section {
        let closeout = CloseOut::of(self.definition, self.state, self.now);
        let can = |id: &String| closeout.check_ticks(std::slice::from_ref(id)).is_ok();
        let items = closeout.items.iter().filter(|i| !i.done && can(&i.id));
        let boxes = items.map(|i| tick(&i.id, &i.text)).collect();
        let paper = closeout.items.iter().filter(|i| i.side == Side::Paper);
        Section {
            name: "Close-out".to_owned(),
            stands: "before the light goes off".to_owned(),
            facts: paper
                .filter(|i| !i.done && !can(&i.id))
                .map(|i| i.text.clone())
                .collect(),
            open: Vec::new(),
            rows: vec![
                row("tank side", Asks::CloseOut { boxes }),
                row("signed", Asks::Sign),
            ],
        }
    }
}

/// A piece at one stage of its evening.
struct AtStage<'a> {
    evening: &'a Evening<'a>,
    piece: &'a Piece,
    at: &'a PieceState,
    stage: &'a Stage,
    is_present: bool,
}

impl AtStage<'_> {
    fn name(&self) -> String {
        self.piece.name.clone()
    }

    fn section(&self, in_full: bool) -> Section {
        let begun = self.is_present && self.at.stage_state != StageState::Waiting;
        let mut rows = Vec::new();
        if !begun {
            rows.extend(self.ticks(When::Start));
            rows.push(self.start());
        }
        if in_full {
            rows.extend(self.work());
            rows.extend(self.ticks(When::End));
            let say = format!("{} done", self.stage.title());
            rows.push(row(say, Asks::Finish { piece: self.name() }));
        }
        Section {
            name: self.name(),
            stands: self.stands(),
            facts: self.facts(),
            open: self.measured(begun),
            rows,
        }
    }

    fn stands(&self) -> String {
        if !self.is_present {
            return format!("then {}", self.stage.title());
        }
        let place = self.at.tank.as_ref().map_or_else(String::new, |tank| {
            let lifted = self.at.lifted_at.map_or("", |_| ", lifted");
            format!(" in {tank}{lifted}")
        });
        format!("{}{place}", told::stage(self.at))
    }

    fn gates(&self, when: When) -> Vec<GateView> {
        let Evening {
            definition,
            state,
            now,
            ..
        } = self.evening;
        let mut gates = state.gates_at(definition, &self.piece.name, self.stage, when, *now);
        gates.retain(|g| !g.held);
        gates
    }

    /// Gates that a record holds, not a tick.
    fn measured(&self, begun: bool) -> Vec<(String, String)> {
        let ends = [When::Start, When::End].into_iter();
        let ends = ends.filter(|when| !(begun && *when == When::Start));
        ends.flat_map(|when| self.gates(when))
            .filter(|g| !g.tickable)
            .map(|g| (g.gate, g.say))
            .collect()
    }

    /// The open ticks of one end of the stage, as one row.
    fn ticks(&self, when: When) -> Option<Row> {
        let gates = self.gates(when).into_iter().filter(|g| g.tickable);
        let mut boxes: Vec<Tick> = gates.map(|g| tick(&g.gate, &g.say)).collect();
        if when == When::End {
            boxes.extend(self.instead());
        }
        let title = self.stage.title();
        let say = match when {
            When::Start => format!("before {title}"),
            When::End => format!("end of {title}"),
        };
        let piece = self.name();
        (!boxes.is_empty()).then(|| row(say, Asks::Ticks { piece, boxes }))
    }

    /// Ticks that stand for no gate of their own: why a build stops, what no
    /// look will ever see.
    fn instead(&self) -> Vec<Tick> {
        let gates =
            self.evening
                .state
                .gates(self.evening.definition, &self.piece.name, self.evening.now);
        let names = State::tick_names(self.evening.definition, self.piece).into_iter();
        let names = names.filter(|name| !gates.iter().any(|g| g.gate == *name));
        let fits = |name: &String| match self.stage {
            Stage::Build => name.starts_with("stop-") || name == "good-enough",
            Stage::Strike => name == "never-seen",
            _ => false,
        };
        let fitting = names.filter(fits);
        fitting.map(|id| tick(&id, &id.replace('-', " "))).collect()
    }

    fn start(&self) -> Row {
        let tanks = self.evening.definition.tanks.iter();
        let hangs = self.at.tank.is_some() || !self.stage.in_bath();
        let tanks = tanks.filter(|_| !hangs).map(|t| t.name.clone()).collect();
        let asks = Asks::Start {
            piece: self.name(),
            stage: self.stage.clone(),
            tanks,
        };
        row(format!("{} begun", self.stage.title()), asks)
    }

    /// Charge and thickness so far, the looks to come, the ladder.
    fn facts(&self) -> Vec<String> {
        let Evening {
            definition,
            state,
            now,
            ..
        } = self.evening;
        let mut facts = Vec::new();
        if self.is_present && self.stage.in_bath() {
            let figures = PieceFigures::of(definition, state, &self.piece.name, *now);
            facts.extend(figures.map(|f| {
                let charge = told::charge(&f);
                let thick = told::thickness(definition, &f);
                thick.map_or(charge.clone(), |t| format!("{charge}, {t}"))
            }));
        }
        let looks = self.looks();
        if !looks.is_empty() {
            facts.push(format!("looks at {}", looks_ahead(definition, &looks)));
        }
        if !(self.is_present && self.at.is_running()) {
            facts.extend(self.ladder());
        }
        facts
    }

    /// The steps of a stage that has not begun: its clock does not run yet.
    fn ladder(&self) -> Option<String> {
        let area = self.piece.conductor_area();
        let steps = self.evening.definition.ladder(self.stage).iter();
        let told: Vec<String> = steps
            .filter_map(|step| {
                let setting = match step.setting(area)? {
                    Setting::Amps(amps) => amps.shown(A, 3),
                    Setting::Volts(volts) => volts.shown(V, 3),
                    Setting::Off => return None,
                };
                Some(match step.time {
                    Some(time) => format!("{setting} for {} min", number(time.to(MIN), 2)),
                    None => format!("then {setting}"),
                })
            })
            .collect();
        (!told.is_empty()).then(|| format!("alone in its tank: {}", told.join(", ")))
    }

    fn looks(&self) -> Vec<&Planned> {
        let ahead = self.evening.ahead.iter();
        let own = |p: &&Planned| {
            p.what == DueKind::Look && p.piece.as_deref() == Some(self.piece.name.as_str())
        };
        ahead.filter(own).filter(|_| self.is_present).collect()
    }

    /// What is done within the stage.
    fn work(&self) -> Vec<Row> {
        let piece = self.name();
        let weigh = |condition: WeighedAs| {
            let piece = piece.clone();
            row(
                format!("mass {condition}"),
                Asks::Weigh { piece, condition },
            )
        };
        let ohms = || {
            let piece = piece.clone();
            row("ohms", Asks::Ohms { piece })
        };
        let coat = || {
            let piece = piece.clone();
            row("a coat on", Asks::Coat { piece })
        };
        let air = || {
            let piece = piece.clone();
            row("air", Asks::Climate { piece })
        };
        match self.stage {
            Stage::Coat => vec![
                coat(),
                coat(),
                coat(),
                ohms(),
                ohms(),
                weigh(WeighedAs::Coated),
            ],
            Stage::Wiring => vec![ohms(), ohms(), ohms(), weigh(WeighedAs::Wired)],
            Stage::Strike | Stage::Build => self.bath_work(),
            Stage::Rinse | Stage::Dry => vec![weigh(WeighedAs::Plated)],
            Stage::Polish => vec![weigh(WeighedAs::Polished)],
            Stage::Age => {
                let piece = piece.clone();
                vec![air(), row("wiped, touched", Asks::Wipe { piece })]
            }
            Stage::Seal => vec![air(), coat(), coat(), coat()],
            Stage::Cure | Stage::Assemble | Stage::Own(_) => Vec::new(),
        }
    }

    /// Looks as the clock calls for them, then what is done to the piece.
    fn bath_work(&self) -> Vec<Row> {
        let piece = self.name();
        let strikes = *self.stage == Stage::Strike;
        let look = || {
            let asks = Asks::Look {
                piece: piece.clone(),
                repaints: strikes,
            };
            row("look", asks)
        };
        let looks = self.looks();
        let planned = looks.iter().map(|planned| Row {
            planned: Some(self.evening.clock(planned.at)),
            ..look()
        });
        let many = self.evening.definition.pieces.len() > FEW;
        let most = if many { LOOKS_OF_MANY } else { usize::MAX };
        let mut rows: Vec<Row> = planned.take(most).collect();
        let missing = LOOKS.saturating_sub(rows.len());
        rows.extend((0..missing).map(|_| look()));
        let contact = Asks::Contact {
            piece: piece.clone(),
        };
        rows.push(row("contact", contact.clone()));
        if strikes {
            rows.push(row("ohms", Asks::Ohms { piece }));
        } else {
            rows.push(row("contact", contact));
        }
        rows
    }
}
