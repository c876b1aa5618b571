//! The figures of one instant, computed once and drawn many times.

use std::collections::BTreeMap;

use crate::project::{
    CloseOut, Due, DueKind, Match, PieceFigures, PieceState, Project, Stage, StageState,
    TankFigures,
};
use crate::units::Instant;

/// Everything that is computed from the project at one instant.
#[derive(Debug, Clone)]
pub struct Facts {
    /// The instant.
    pub at: Instant,
    /// What is due, most urgent first; one line for the ladders of a tank,
    /// since they set one supply.
    pub due: Vec<Due>,
    /// The same, piece by piece.
    each: Vec<Due>,
    /// Every piece's figures, by name.
    pub pieces: BTreeMap<String, PieceFigures>,
    /// Every tank's figures, in the definition's order.
    pub tanks: Vec<TankFigures>,
    /// How far the pieces differ.
    pub matching: Match,
    /// The close-out as it stands.
    pub closeout: CloseOut,
    /// What stands along the bench, from left to right.
    pub bench: Vec<Station>,
}

/// A place along the bench with what is there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Station {
    /// Which place.
    pub place: Place,
    /// The pieces there, those out of the liquid first in a tank.
    pub pieces: Vec<String>,
}

/// The places along the bench, from left to right.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// Where coats are put on and contacts are made.
    Bench,
    /// A tank, by its name.
    Tank(String),
    /// The rinses.
    Rinse,
    /// Where pieces dry, are polished and age.
    Shelf,
    /// Sealed, cured, put together, done.
    Sealed,
}

impl Place {
    /// What stands over it.
    pub fn title(&self) -> &str {
        match self {
            Self::Bench => "bench",
            Self::Tank(name) => name,
            Self::Rinse => "rinses",
            Self::Shelf => "shelf",
            Self::Sealed => "sealed",
        }
    }
}

impl Facts {
    /// The facts of `project` at `now`.
    pub fn of(project: &Project, now: Instant) -> Self {
        let definition = &project.definition;
        let state = project.state();
        let all = PieceFigures::all(definition, state, now);
        let each = state.due(definition, now);
        Self {
            at: now,
            due: by_supply(&each),
            each,
            tanks: TankFigures::all(definition, state, now),
            matching: Match::of(definition, &all),
            closeout: CloseOut::of(definition, state, now),
            bench: bench(project),
            pieces: all.into_iter().map(|f| (f.name.clone(), f)).collect(),
        }
    }

    /// What is due by now.
    pub fn overdue(&self) -> impl Iterator<Item = &Due> {
        self.due.iter().filter(|d| d.at <= self.at)
    }

    /// The next thing due of a piece.
    pub fn next_of(&self, piece: &str) -> Option<&Due> {
        self.each.iter().find(|d| d.piece.as_deref() == Some(piece))
    }

    /// The figures of a tank.
    pub fn tank(&self, name: &str) -> Option<&TankFigures> {
        self.tanks.iter().find(|t| t.name == name)
    }
}

/// Ladder lines of pieces that share a tank as one line of that tank, where the
/// most urgent of them stood; it names the pieces and what else they ask.
fn by_supply(each: &[Due]) -> Vec<Due> {
    let mut lines: Vec<Due> = Vec::new();
    for due in each {
        let of_supply = |d: &Due| d.what == DueKind::Ladder && d.tank == due.tank;
        let is_first = due.what != DueKind::Ladder || !lines.iter().any(of_supply);
        if is_first {
            let sharing: Vec<&Due> = each.iter().filter(|d| of_supply(d)).collect();
            lines.push(match sharing.as_slice() {
                [first, _, ..] if due.what == DueKind::Ladder => shared(first, &sharing),
                _ => due.clone(),
            });
        }
    }
    lines
}

/// `set main to 7.00 A for stem, leaf-1: step 2 of 3`.
fn shared(first: &Due, sharing: &[&Due]) -> Due {
    let asked = |due: &Due| {
        let ending = format!(" for {}", due.piece.as_deref().unwrap_or_default());
        due.say.strip_suffix(&ending).unwrap_or(&due.say).to_owned()
    };
    let all = asked(first);
    let (same, others): (Vec<&Due>, Vec<&Due>) = sharing.iter().partition(|d| asked(d) == all);
    let names: Vec<&str> = same.iter().filter_map(|d| d.piece.as_deref()).collect();
    let (setting, step) = all.split_once(": ").unwrap_or((&all, ""));
    let mut say = format!("{setting} for {}: {step}", names.join(", "));
    for other in others {
        let name = other.piece.as_deref().unwrap_or_default();
        say = format!("{say}; {name} wants: {}", asked(other));
    }
    Due {
        piece: None,
        say,
        ..first.clone()
    }
}

/// What stands along the bench: every place, each piece where it is.
fn bench(project: &Project) -> Vec<Station> {
    let tanks = project.definition.tanks.iter();
    let places = std::iter::once(Place::Bench)
        .chain(tanks.map(|t| Place::Tank(t.name.clone())))
        .chain([Place::Rinse, Place::Shelf, Place::Sealed]);
    let mut stations: Vec<Station> = places
        .map(|place| Station {
            place,
            pieces: Vec::new(),
        })
        .collect();
    for piece in &project.definition.pieces {
        let Some(state) = project.state().piece(&piece.name) else {
            continue;
        };
        let place = place_of(state, &project.definition.route_of(piece));
        if let Some(station) = stations.iter_mut().find(|s| s.place == place) {
            station.pieces.push(piece.name.clone());
        }
    }
    for station in &mut stations {
        let lifted = |name: &String| {
            let state = project.state().piece(name);
            state.is_some_and(|p| p.lifted_at.is_some())
        };
        station.pieces.sort_by_key(|name| !lifted(name));
    }
    stations
}

fn place_of(piece: &PieceState, route: &[Stage]) -> Place {
    if let Some(tank) = &piece.tank {
        return Place::Tank(tank.clone());
    }
    let Some(stage) = &piece.stage else {
        return Place::Sealed;
    };
    match stage {
        Stage::Coat | Stage::Wiring | Stage::Strike | Stage::Build => Place::Bench,
        Stage::Rinse => Place::Rinse,
        Stage::Dry | Stage::Polish | Stage::Age => Place::Shelf,
        Stage::Seal if piece.stage_state == StageState::Waiting => Place::Shelf,
        Stage::Seal | Stage::Cure | Stage::Assemble => Place::Sealed,
        Stage::Own(_) => {
            let at = |wanted: &Stage| route.iter().position(|s| s == wanted);
            if at(stage) < at(&Stage::Strike).or(at(&Stage::Build)) {
                Place::Bench
            } else {
                Place::Shelf
            }
        }
    }
}
