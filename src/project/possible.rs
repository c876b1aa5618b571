//! Whether an act is possible: the order of stages, what hangs where. Gates are
//! not asked here.

use super::state::{PieceState, TankState};
use super::{Command, Definition, Refusal, Stage, StageState, State, What};

impl State {
    fn known_piece(&self, name: &str) -> Result<&PieceState, Refusal> {
        self.piece(name).ok_or_else(|| {
            let near = super::nearest::nearest(name, self.pieces.keys().map(String::as_str));
            Refusal::new(
                "unknown-piece",
                format!("there is no piece `{}`{near}", name.escape_debug()),
            )
        })
    }

    fn known_tank(&self, name: &str) -> Result<&TankState, Refusal> {
        self.tank(name).ok_or_else(|| {
            let names: Vec<&str> = self.tanks.keys().map(String::as_str).collect();
            Refusal::new(
                "unknown-tank",
                format!(
                    "there is no tank `{}`; there is {}",
                    name.escape_debug(),
                    names.join(", ")
                ),
            )
        })
    }

    /// Whether an act is possible in this state.
    ///
    /// # Errors
    /// A refusal that names what stands in the way.
    pub fn check(&self, definition: &Definition, what: &What) -> Result<(), Refusal> {
        match what {
            What::Start { piece, stage, tank } => {
                self.check_start(definition, piece, stage, tank.as_deref())
            }
            What::Pause { piece } => self.check_pause(piece),
            What::Resume { piece } => match self.known_piece(piece)?.stage_state {
                StageState::Paused => Ok(()),
                _ => Err(Refusal::new("not-paused", format!("{piece} is not paused"))),
            },
            What::Finish { piece } => self.check_finish(piece),
            What::Rework { piece, stage, .. } => self.check_rework(definition, piece, stage),
            What::Skip { piece, stage, .. } => self.check_at(piece, stage),
            What::Lift { piece } => match self.known_piece(piece)? {
                p if p.in_bath() => Ok(()),
                p if p.lifted_at.is_some() => Err(Refusal::new(
                    "already-out",
                    format!("{piece} is already lifted"),
                )
                .or(Command::record(piece, "return"))),
                _ => Err(Refusal::new(
                    "not-in-bath",
                    format!("{piece} does not hang in a tank"),
                )),
            },
            What::Return { piece, .. } | What::TouchUp { piece, .. } => {
                if self.known_piece(piece)?.lifted_at.is_some() {
                    Ok(())
                } else {
                    Err(
                        Refusal::new("not-lifted", format!("{piece} has not been lifted"))
                            .or(Command::record(piece, "lift")),
                    )
                }
            }
            What::Coat { piece } | What::Weigh { piece, .. } => match self.known_piece(piece)? {
                p if p.in_bath() => Err(Refusal::new(
                    "in-bath",
                    format!("{piece} hangs in the bath"),
                )
                .or(Command::record(piece, "lift"))),
                _ => Ok(()),
            },
            What::Look { piece, .. }
            | What::Tick { piece, .. }
            | What::Ohms { piece, .. }
            | What::Turn { piece, .. }
            | What::Contact { piece, .. }
            | What::Climate { piece, .. }
            | What::Note { piece, .. } => self.known_piece(piece).map(|_| ()),
            What::Wipe { pieces } => pieces
                .iter()
                .try_for_each(|p| self.known_piece(p).map(|_| ())),
            What::Shares {
                tank, shares, rel, ..
            } => {
                self.known_tank(tank)?;
                let pieces = shares.iter().map(|of| of.piece.as_str());
                pieces
                    .into_iter()
                    .try_for_each(|piece| self.known_piece(piece).map(|_| ()))?;
                What::check_shares(shares, *rel)
            }
            What::Reading { tank, piece, .. } => self.check_reading(tank, piece.as_deref()),
            What::Supply { tank, .. } | What::Bath { tank, .. } | What::Logger { tank, .. } => {
                self.known_tank(tank).map(|_| ())
            }
            What::CloseoutTick { .. }
            | What::CloseoutSign { .. }
            | What::Undo { .. }
            | What::Redo { .. } => Ok(()),
        }
    }

    fn check_start(
        &self,
        definition: &Definition,
        name: &str,
        stage: &Stage,
        tank: Option<&str>,
    ) -> Result<(), Refusal> {
        let piece = self.known_piece(name)?;
        self.check_at(name, stage)
            .map_err(|refusal| self.with_way_forward(definition, name, refusal))?;
        if piece.stage_state != StageState::Waiting {
            return Err(Refusal::new(
                "already-begun",
                format!("{stage} of {name} is {}", piece.stage_state.word()),
            )
            .or(Command::record(name, "finish")));
        }
        match (stage.in_bath(), tank) {
            (true, Some(tank)) => self.known_tank(tank).map(|_| ()),
            (true, None) => {
                let choices = self.tanks.keys().map(|t| {
                    Command::record(name, format!("start {stage} --tank {}", super::quoted(t)))
                });
                Err(Refusal {
                    rule: "which-tank".into(),
                    because: format!("there are several tanks: say in which one {name} hangs"),
                    instead: choices.collect(),
                })
            }
            (false, Some(_)) => Err(Refusal::new("no-tank", format!("{stage} needs no tank"))
                .or(Command::record(name, format!("start {stage}")))),
            (false, None) => Ok(()),
        }
    }

    fn with_way_forward(&self, definition: &Definition, name: &str, refusal: Refusal) -> Refusal {
        let Some(piece) = self.piece(name) else {
            return refusal;
        };
        match (&piece.stage, piece.stage_state) {
            (Some(stage), StageState::Waiting) => {
                refusal.or(Command::record(name, format!("start {stage}")))
            }
            (Some(_), _) => refusal.or(Command::record(name, "finish")),
            (None, _) => definition.route.first().map_or(refusal.clone(), |first| {
                refusal.or(Command::record(
                    name,
                    format!("rework {first} --because 'what is wrong'"),
                ))
            }),
        }
    }

    fn check_at(&self, name: &str, stage: &Stage) -> Result<(), Refusal> {
        match &self.known_piece(name)?.stage {
            Some(at) if at == stage => Ok(()),
            Some(at) => Err(Refusal::new(
                "order",
                format!("{name} is at {at}, not at {stage}"),
            )),
            None => Err(Refusal::new("order", format!("{name} is done"))),
        }
    }

    fn check_pause(&self, name: &str) -> Result<(), Refusal> {
        let piece = self.known_piece(name)?;
        if piece.is_running() {
            return Ok(());
        }
        let refusal = Refusal::new(
            "not-running",
            format!("{name} is {}, not running", piece.stage_state.word()),
        );
        Err(match &piece.tank {
            Some(tank) => refusal.or(Command::new(
                "record",
                format!("supply --tank {} --off", super::quoted(tank)),
            )),
            None => refusal,
        })
    }

    fn check_finish(&self, name: &str) -> Result<(), Refusal> {
        let piece = self.known_piece(name)?;
        match (&piece.stage, piece.stage_state) {
            (Some(_), StageState::Running | StageState::Paused) => Ok(()),
            (Some(stage), _) => Err(Refusal::new(
                "not-begun",
                format!("{stage} of {name} has not begun"),
            )
            .or(Command::record(name, format!("start {stage}")))),
            (None, _) => Err(Refusal::new("order", format!("{name} is done"))),
        }
    }

    fn check_rework(
        &self,
        definition: &Definition,
        name: &str,
        stage: &Stage,
    ) -> Result<(), Refusal> {
        let piece = self.known_piece(name)?;
        let route = definition
            .piece(name)
            .map(|p| definition.route_of(p))
            .unwrap_or_default();
        let place = |stage: &Stage| route.iter().position(|s| s == stage);
        let Some(wanted) = place(stage) else {
            return Err(Refusal::new(
                "order",
                format!("{stage} is not on the route of {name}"),
            ));
        };
        let at = piece.stage.as_ref().and_then(place).unwrap_or(route.len());
        if wanted < at {
            Ok(())
        } else {
            Err(Refusal::new(
                "order",
                format!("rework goes back: {name} has not passed {stage} yet"),
            ))
        }
    }

    fn check_reading(&self, tank: &str, piece: Option<&str>) -> Result<(), Refusal> {
        self.known_tank(tank)?;
        let Some(name) = piece else { return Ok(()) };
        match self.known_piece(name)? {
            p if p.tank.as_deref() != Some(tank) => Err(Refusal::new(
                "not-in-bath",
                format!("{name} does not hang in {tank}"),
            )),
            p if p.lifted_at.is_some() => Err(Refusal::new(
                "not-in-bath",
                format!("{name} is lifted: no current flows through it"),
            )
            .or(Command::record(name, "return"))),
            _ => Ok(()),
        }
    }
}
