//! The action menu: what can be done now, and why the rest cannot.

use super::{Deed, Does, Id, Menu, MenuEntry, Model, Screen, Spot, Task, Upkeep, commands};
use crate::project::{GateView, Stage, StageState, What, When};

impl Menu {
    /// The menu of a piece or a tank; of everything else without one.
    pub fn of(model: &Model, spot: Option<Spot>) -> Self {
        let mut menu = Self {
            spot: spot.clone(),
            entries: Vec::new(),
            cannot: Vec::new(),
            why: false,
            row: 0,
            figures: false,
        };
        match spot {
            Some(Spot::Piece(name)) => menu.of_piece(model, &name),
            Some(Spot::Tank(name)) => menu.of_tank(&name),
            None => menu.of_everything(model),
        }
        menu
    }

    /// The same menu of what is so now, the same line selected.
    pub(super) fn anew(&self, model: &Model) -> Self {
        let of = if self.figures {
            Self::of_figures
        } else {
            Self::of
        };
        let mut menu = of(model, self.spot.clone());
        menu.why = self.why;
        menu.row = self.row.min(menu.entries.len().saturating_sub(1));
        menu
    }

    fn push(&mut self, letter: char, say: String, does: Does) {
        self.entries.push(MenuEntry { letter, say, does });
    }

    fn of_piece(&mut self, model: &Model, name: &str) {
        for deed in Deed::ALL {
            let (letter, say) = deed.shown();
            match possible(model, name, deed) {
                Ok(remark) => {
                    let say = format!("{}{remark}", told(model, name, deed));
                    self.push(letter, say, Does::Task(Task::Piece(name.to_owned(), deed)));
                }
                Err(why) => self.cannot.push((say, why)),
            }
        }
        let tanks = tanks_of(model, name);
        if let [tank] = tanks.as_slice() {
            self.supply_of(model, tank);
        }
        for (n, tank) in tanks.into_iter().enumerate() {
            let letter = if n == 0 { 'v' } else { NO_LETTER };
            let say = format!("{tank}: supply, bath and the rest");
            self.push(letter, say, Does::Menu(Spot::Tank(tank)));
        }
        let say = "its print, drawn: turn it, mark places".to_owned();
        self.push('j', say, Does::Command(Id::Print));
    }

    /// The supply of the tank that a piece hangs in, or will hang in.
    fn supply_of(&mut self, model: &Model, tank: &str) {
        let on = model.facts.tank(tank).is_some_and(|t| t.on);
        let lines = [
            ('y', "reading", Upkeep::Reading, true),
            ('a', "supply set to amps (cc)", Upkeep::SetAmps, true),
            ('u', "supply set to volts (cv)", Upkeep::SetVolts, true),
            ('q', "supply off", Upkeep::Off, on),
        ];
        for (letter, say, upkeep, _) in lines.into_iter().filter(|line| line.3) {
            let task = Task::Tank(tank.to_owned(), upkeep);
            self.push(letter, format!("{tank}: {say}"), Does::Task(task));
        }
    }

    fn of_tank(&mut self, tank: &str) {
        for upkeep in Upkeep::ALL {
            let (letter, say) = upkeep.shown();
            let task = Task::Tank(tank.to_owned(), upkeep);
            self.push(letter, say.to_owned(), Does::Task(task));
        }
    }

    fn of_everything(&mut self, model: &Model) {
        let listed = [
            Id::Lock,
            Id::Silence,
            Id::Told,
            Id::Redo,
            Id::Refresh,
            Id::Show(Screen::CloseOut),
            Id::Sheet,
            Id::TypeIn,
            Id::Far,
            Id::Who,
            Id::Edit,
            Id::Copy,
            Id::Help,
            Id::Quit,
        ];
        for command in commands().iter().filter(|c| listed.contains(&c.id)) {
            let letter = model.keys.letter(command).unwrap_or(NO_LETTER);
            match command.can(model) {
                Ok(()) => {
                    self.push(letter, command.say.to_owned(), Does::Command(command.id));
                }
                Err(why) => self.cannot.push((command.say, why)),
            }
        }
    }
}

/// Stands for no letter: the digit alone takes the line.
const NO_LETTER: char = ' ';

/// The tanks whose supply matters to a piece: the one it hangs in; all while
/// its present or next stage is in a bath; else those that are on and empty.
fn tanks_of(model: &Model, name: &str) -> Vec<String> {
    let Some(piece) = model.piece(name) else {
        return Vec::new();
    };
    if let Some(tank) = &piece.tank {
        return vec![tank.clone()];
    }
    let route = model.project.definition.piece(name);
    let route = route.map_or_else(Vec::new, |p| model.project.definition.route_of(p));
    let at = route.iter().position(|s| Some(s) == piece.stage.as_ref());
    let near = at.is_some_and(|at| route.iter().skip(at).take(2).any(Stage::in_bath));
    let tanks = model.facts.tanks.iter();
    tanks
        .filter(|t| near || t.on && t.pieces.is_empty())
        .map(|t| t.name.clone())
        .collect()
}

/// What the menu calls a deed for this piece: its stage named.
fn told(model: &Model, name: &str, deed: Deed) -> String {
    let say = deed.say(model, name);
    let stage = model.piece(name).and_then(|p| p.stage.as_ref());
    match (deed, stage) {
        (Deed::Start | Deed::Finish | Deed::Pause | Deed::Resume, Some(stage)) => {
            format!("{say} {}", stage.title())
        }
        _ => say.to_owned(),
    }
}

/// Whether a deed can be done now; a remark where gates are open.
pub(super) fn possible(model: &Model, name: &str, deed: Deed) -> Result<String, String> {
    sensible(model, name, deed)?;
    let what = deed
        .trial(model, name)
        .ok_or_else(|| "it is not at a stage for it".to_owned())?;
    let state = model.project.state();
    state
        .check(&model.project.definition, &what)
        .map_err(|refusal| refusal.because)?;
    Ok(match open_gates(model, name, &what).len() {
        0 => String::new(),
        1 => " (1 gate open)".to_owned(),
        open => format!(" ({open} gates open)"),
    })
}

/// The gates that do not hold before an act.
pub(super) fn open_gates(model: &Model, name: &str, what: &What) -> Vec<GateView> {
    let stage = model.piece(name).and_then(|p| p.stage.clone());
    let (when, Some(stage)) = (
        match what {
            What::Start { .. } => When::Start,
            What::Finish { .. } => When::End,
            _ => return Vec::new(),
        },
        stage,
    ) else {
        return Vec::new();
    };
    let (definition, state) = (&model.project.definition, model.project.state());
    let mut gates = state.gates_at(definition, name, &stage, when, model.now);
    gates.retain(|g| !g.held);
    gates
}

/// What would be allowed at any time but makes sense only here.
fn sensible(model: &Model, name: &str, deed: Deed) -> Result<(), String> {
    let Some(piece) = model.piece(name) else {
        return Err("there is no such piece".to_owned());
    };
    let need = |holds: bool, why: &str| if holds { Ok(()) } else { Err(why.to_owned()) };
    let at = |stages: &[Stage]| piece.stage.as_ref().is_some_and(|s| stages.contains(s));
    let ageing = piece.hold.is_some_and(|h| h.ended_at.is_none());
    match deed {
        Deed::Look | Deed::Turn | Deed::Contact => {
            need(piece.tank.is_some(), "it hangs in no tank")
        }
        Deed::OwnReading => need(piece.in_bath(), "it does not hang in the bath"),
        Deed::Coat => need(
            at(&[Stage::Coat, Stage::Seal]) && piece.is_running(),
            "coats go on in a begun coat or seal",
        ),
        Deed::Ohms => need(
            at(&[Stage::Coat, Stage::Wiring]) || piece.lifted_at.is_some(),
            "ohms are measured on coat and wiring, or on a lifted piece",
        ),
        Deed::Pause => need(piece.is_running(), "nothing of it runs"),
        Deed::Wipe => need(ageing, "no ageing hold runs"),
        Deed::Climate => need(ageing || piece.tank.is_none(), "it hangs in the bath"),
        Deed::Ticks => {
            let gates = model
                .project
                .state()
                .gates(&model.project.definition, name, model.now);
            let open = gates
                .iter()
                .any(|g| !g.held && Some(&g.stage) == piece.stage.as_ref());
            need(open, "no condition of its stage is open")
        }
        Deed::Rework => need(
            !model.rework_choices(name).is_empty(),
            "it has not passed a stage yet",
        ),
        Deed::Start => need(
            piece.stage_state == StageState::Waiting,
            "its stage has begun",
        ),
        _ => Ok(()),
    }
}
