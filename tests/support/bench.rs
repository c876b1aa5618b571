//! A project in memory and a simulated clock, for tests that live an evening.

#![allow(dead_code, reason = "each test binary uses what it needs")]

use std::collections::BTreeMap;

use tankside::plating::Metal;
use tankside::project::{
    Action, Decision, Definition, Due, DueKind, Finding, Mode, Piece, PieceFigures, Project,
    Refusal, Setting, Stage, Target, What, When,
};
use tankside::units::{A, AH, Area, DM2, Instant, OHM, UM, V};

/// A project and the time of its clock.
pub(crate) struct Bench {
    /// The project.
    pub(crate) project: Project,
    /// What the clock shows.
    pub(crate) now: Instant,
}

/// A piece of so many dm².
pub(crate) fn piece(name: &str, dm2: f64) -> Piece {
    Piece {
        area: Some(DM2.of(dm2)),
        ..Piece::named(name)
    }
}

impl Bench {
    /// A copper project of 40 um mean with these pieces, at 18:00 UTC.
    pub(crate) fn new(pieces: Vec<Piece>) -> Self {
        let metal = Metal::named("copper-acid").expect("a metal");
        let mut definition = Definition::new("Table bell", metal, Target::Mean(UM.of(40.0)));
        definition.pieces = pieces;
        Self::of(definition)
    }

    /// A project of this definition, at 18:00 UTC.
    pub(crate) fn of(definition: Definition) -> Self {
        Self {
            project: Project::new(definition, Vec::new(), BTreeMap::new())
                .expect("an empty history"),
            now: "2026-03-02T18:00:00Z".parse().expect("an instant"),
        }
    }

    /// Turns the clock to `HH:MM` UTC of the day it shows, or of a later one
    /// with `day+N HH:MM`.
    pub(crate) fn clock(&mut self, text: &str) -> &mut Self {
        let (days, time) = match text.split_once(' ') {
            Some((days, time)) => (days.trim_start_matches("day+").parse().expect("days"), time),
            None => (0.0, text),
        };
        let date = self
            .now
            .to_string()
            .split('T')
            .next()
            .expect("a date")
            .to_owned();
        let of_today: Instant = format!("{date}T{time}:00Z").parse().expect("a time");
        self.now = of_today.plus_seconds(days * 86400.0);
        self
    }

    /// Decides and folds, or gives the refusal.
    pub(crate) fn try_action(&mut self, action: &Action) -> Result<Decision, Refusal> {
        let decision = self.project.decide(action, self.now)?;
        self.project
            .push(decision.event.clone(), None)
            .expect("what was decided folds");
        Ok(decision)
    }

    /// Does it now; panics if it is refused.
    pub(crate) fn did(&mut self, what: What) -> &mut Self {
        if let Err(refusal) = self.try_action(&Action::now(what.clone(), "Ida")) {
            panic!("{what} at {}: {refusal:?}", self.now);
        }
        self
    }

    /// Asks for it now; gives the rule that refuses it.
    pub(crate) fn refused(&mut self, what: What) -> Refusal {
        match self.try_action(&Action::now(what.clone(), "Ida")) {
            Ok(_) => panic!("{what} was not refused"),
            Err(refusal) => refusal,
        }
    }

    /// Starts a stage.
    pub(crate) fn start(&mut self, piece: &str, stage: Stage) -> &mut Self {
        self.did(What::Start {
            piece: piece.into(),
            stage,
            tank: None,
        })
    }

    /// Finishes a stage.
    pub(crate) fn finish(&mut self, piece: &str) -> &mut Self {
        self.did(What::Finish {
            piece: piece.into(),
        })
    }

    /// Lifts a piece.
    pub(crate) fn lift(&mut self, piece: &str) -> &mut Self {
        self.did(What::Lift {
            piece: piece.into(),
        })
    }

    /// Returns a piece.
    pub(crate) fn back(&mut self, piece: &str, dipped: bool) -> &mut Self {
        self.did(What::Return {
            piece: piece.into(),
            dipped,
        })
    }

    /// Looks at a piece.
    pub(crate) fn look(&mut self, piece: &str, findings: &str) -> &mut Self {
        let findings: Vec<Finding> = findings
            .split(' ')
            .map(|f| f.parse().expect("a finding"))
            .collect();
        self.did(What::Look {
            piece: piece.into(),
            findings,
        })
    }

    /// Ticks every tick gate of the present stage at one end.
    pub(crate) fn tick_all(&mut self, piece: &str, stage: &Stage, when: When) -> &mut Self {
        let gates =
            self.project
                .state()
                .gates_at(&self.project.definition, piece, stage, when, self.now);
        let names: Vec<String> = gates
            .into_iter()
            .filter(|g| !g.held && g.tickable)
            .map(|g| g.gate)
            .collect();
        if names.is_empty() {
            self
        } else {
            self.did(What::Tick {
                piece: piece.into(),
                names,
            })
        }
    }

    /// Confirms a condition.
    pub(crate) fn tick(&mut self, piece: &str, name: &str) -> &mut Self {
        self.did(What::Tick {
            piece: piece.into(),
            names: vec![name.into()],
        })
    }

    /// Takes a piece through coat and wiring, up to the strike.
    pub(crate) fn prepared(&mut self, piece: &str) -> &mut Self {
        self.tick_all(piece, &Stage::Coat, When::Start)
            .start(piece, Stage::Coat);
        self.did(What::Coat {
            piece: piece.into(),
        });
        self.did(What::Ohms {
            piece: piece.into(),
            resistance: OHM.of(240.0),
            place: None,
        });
        self.tick_all(piece, &Stage::Coat, When::End)
            .finish(piece)
            .start(piece, Stage::Wiring);
        self.did(What::Ohms {
            piece: piece.into(),
            resistance: OHM.of(200.0),
            place: Some("rim".into()),
        });
        self.tick_all(piece, &Stage::Wiring, When::End)
            .finish(piece);
        self.tick_all(piece, &Stage::Strike, When::Start)
    }

    /// Reads the tank's meters.
    pub(crate) fn read(&mut self, volts: f64, amps: f64) -> &mut Self {
        self.read_as(volts, amps, None, None)
    }

    /// Reads the tank's meters or a piece's own.
    pub(crate) fn read_as(
        &mut self,
        volts: f64,
        amps: f64,
        mode: Option<Mode>,
        piece: Option<&str>,
    ) -> &mut Self {
        self.did(What::Reading {
            tank: "main".into(),
            volts: V.of(volts),
            amps: A.of(amps),
            celsius: None,
            mode,
            piece: piece.map(str::to_owned),
        })
    }

    /// Sets the supply's current.
    pub(crate) fn amps(&mut self, amps: f64) -> &mut Self {
        self.did(What::Supply {
            tank: "main".into(),
            to: Setting::Amps(A.of(amps)),
        })
    }

    /// Sets the supply's voltage.
    pub(crate) fn volts(&mut self, volts: f64) -> &mut Self {
        self.did(What::Supply {
            tank: "main".into(),
            to: Setting::Volts(V.of(volts)),
        })
    }

    /// Switches the supply off.
    pub(crate) fn off(&mut self) -> &mut Self {
        self.did(What::Supply {
            tank: "main".into(),
            to: Setting::Off,
        })
    }

    /// The figures of a piece now.
    pub(crate) fn figures(&self, piece: &str) -> PieceFigures {
        let state = self.project.state_at(self.now);
        PieceFigures::of(&self.project.definition, &state, piece, self.now).expect("a piece")
    }

    /// Measured and estimated ampere-hours of a piece now.
    pub(crate) fn ah(&self, piece: &str) -> (f64, f64) {
        let charges = self.figures(piece).charges;
        (charges.measured.to(AH), charges.estimated.to(AH))
    }

    /// What is due now, most urgent first.
    pub(crate) fn due(&self) -> Vec<Due> {
        self.project
            .state_at(self.now)
            .due(&self.project.definition, self.now)
    }

    /// The first due thing of a kind.
    pub(crate) fn due_of(&self, what: DueKind, piece: &str) -> Due {
        self.due()
            .into_iter()
            .find(|d| d.what == what && d.piece.as_deref().or(d.tank.as_deref()) == Some(piece))
            .unwrap_or_else(|| panic!("no {what:?} of {piece} in {:?}", self.due()))
    }
}

/// An area for tests.
pub(crate) fn dm2(value: f64) -> Area {
    DM2.of(value)
}

/// Asserts two numbers within a relative tolerance.
#[track_caller]
pub(crate) fn close(found: f64, wanted: f64, rel: f64) {
    assert!(
        (found - wanted).abs() <= rel * wanted.abs().max(1e-9),
        "found {found}, wanted {wanted}"
    );
}
