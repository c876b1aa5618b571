//! Which pieces are meant, and in which tank.

use crate::cli::outcome::Trouble;
use crate::cli::survey::with_print;
use crate::project::{Command, Definition, Piece, Refusal, State, Tank, quoted};

/// Pieces in one tank.
#[derive(Debug)]
pub(super) struct Chosen {
    pub(super) tank: Tank,
    pub(super) pieces: Vec<Piece>,
    /// What was chosen without being asked.
    pub(super) said: Vec<String>,
}

/// The pieces named, else those that hang in a tank now, else all; the tank
/// named, else where they hang, else the first.
pub(super) fn chosen(
    definition: &Definition,
    state: &State,
    tank: Option<&str>,
    named: &[String],
) -> Result<Chosen, Trouble> {
    let hangs_in = |piece: &Piece| state.piece(&piece.name).and_then(|at| at.tank.clone());
    let mut pieces = with_print(definition, named)?;
    let mut said = Vec::new();
    let hangs = |piece: &Piece| match (hangs_in(piece), tank) {
        (Some(its), Some(tank)) => its == tank,
        (its, None) => its.is_some(),
        (None, Some(_)) => false,
    };
    if named.is_empty() && pieces.iter().any(hangs) {
        let all = pieces.len();
        pieces.retain(hangs);
        if pieces.len() < all {
            let names: Vec<&str> = pieces.iter().map(|piece| piece.name.as_str()).collect();
            said.push(format!(
                "only {}, which {} now: `--piece` names others",
                names.join(", "),
                if names.len() == 1 { "hangs" } else { "hang" }
            ));
        }
    }
    let bare = definition.pieces.iter().filter(|piece| {
        let is_asked = named.is_empty() && (!pieces.iter().any(hangs) || hangs(piece));
        is_asked && piece.mesh.is_none()
    });
    let bare: Vec<&str> = bare.map(|piece| piece.name.as_str()).collect();
    if !bare.is_empty() {
        said.push(format!("left out for want of a print: {}", bare.join(", ")));
    }
    let mut tanks: Vec<String> = pieces.iter().filter_map(hangs_in).collect();
    tanks.sort();
    tanks.dedup();
    let name = match (tank, tanks.as_slice()) {
        (Some(tank), _) => tank.to_owned(),
        (None, [only]) => only.clone(),
        (None, []) => first_tank(definition, &mut said),
        (None, _) => return Err(several(&pieces, &tanks, hangs_in).into()),
    };
    let Some(tank) = definition.tank(&name) else {
        let known: Vec<&str> = definition
            .tanks
            .iter()
            .map(|tank| tank.name.as_str())
            .collect();
        let because = format!(
            "there is no tank `{}`; there is {}",
            name.escape_debug(),
            known.join(", ")
        );
        return Err(Refusal::new("unknown-tank", because).into());
    };
    Ok(Chosen {
        tank: tank.clone(),
        pieces,
        said,
    })
}

fn first_tank(definition: &Definition, said: &mut Vec<String>) -> String {
    let name = definition.tanks.first().map_or("", |tank| &tank.name);
    if definition.tanks.len() > 1 {
        said.push(format!(
            "in `{name}`, the first of the tanks, since the pieces hang in none: `--tank` names another"
        ));
    }
    name.to_owned()
}

/// Pieces in several tanks are no one field: each tank's are a command.
fn several(
    pieces: &[Piece],
    tanks: &[String],
    hangs_in: impl Fn(&Piece) -> Option<String>,
) -> Refusal {
    let command = |tank: &String| {
        let its = pieces
            .iter()
            .filter(|piece| hangs_in(piece).as_ref() == Some(tank));
        let named: Vec<String> = its
            .map(|piece| format!("--piece {}", quoted(&piece.name)))
            .collect();
        Command::new("spread", named.join(" "))
    };
    let refusal = Refusal::new(
        "several-tanks",
        format!("the pieces hang in several tanks: {}", tanks.join(", ")),
    );
    tanks.iter().map(command).fold(refusal, Refusal::or)
}
