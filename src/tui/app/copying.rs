//! The figures of what is selected, each ready to be copied with its unit.

use super::{Does, Menu, MenuEntry, Model, Spot};
use crate::project::{Due, PieceFigures, TankFigures};
use crate::report::safe::pad;
use crate::units::{A, AH, H, V};

/// A figure as it is copied, or why it is not known.
type Known = Result<String, &'static str>;

impl Menu {
    /// The figures of a piece or a tank, and the selected due line.
    pub fn of_figures(model: &Model, spot: Option<Spot>) -> Self {
        let figures = match &spot {
            Some(Spot::Piece(name)) => model.figures(name).map(|f| of_piece(model, f)),
            Some(Spot::Tank(name)) => model.facts.tank(name).map(|t| of_tank(model, t)),
            None => None,
        };
        let due = model.facts.due.get(model.due_row);
        let due = due.map(|due| ("due", Ok(told(model, due))));
        let mut menu = Self {
            spot,
            entries: Vec::new(),
            cannot: Vec::new(),
            why: false,
            row: 0,
            figures: true,
        };
        for (name, known) in figures.into_iter().flatten().chain(due) {
            match known {
                Ok(figure) => menu.entries.push(MenuEntry {
                    letter: ' ',
                    say: format!("{}{figure}", pad(name, 18)),
                    does: Does::Copy(figure),
                }),
                Err(why) => menu.cannot.push((name, why.to_owned())),
            }
        }
        menu
    }
}

fn of_piece(model: &Model, figures: &PieceFigures) -> Vec<(&'static str, Known)> {
    let units = model.project.definition.units;
    let shown = |text: Option<String>, why| text.ok_or(why);
    let charge = figures.charge.as_ref();
    let target = figures.charge_target.as_ref();
    let left = charge.zip(target).map(|(c, t)| t.minus(c).shown(AH));
    let thickness = figures.thickness.as_ref();
    let density = figures.density.as_ref();
    let area = figures.wetted_area.as_ref();
    let no_area = "its area is not known";
    vec![
        (
            "charge",
            shown(charge.map(|c| c.shown(AH)), "its share is not known"),
        ),
        ("charge target", shown(target.map(|t| t.shown(AH)), no_area)),
        (
            "charge left",
            shown(left, "its share or its target is not known"),
        ),
        (
            "thickness, mean",
            shown(
                thickness.map(|t| t.shown(units.thickness())),
                "its share or its area is not known",
            ),
        ),
        (
            "current",
            shown(
                figures.amps.map(|a| a.shown(A, 3)),
                "no amps of it are known",
            ),
        ),
        (
            "current density",
            shown(
                density.map(|d| d.shown(units.density())),
                "it wants the coverage from a look, and amps",
            ),
        ),
        (
            "wetted area",
            shown(area.map(|a| a.shown(units.area())), no_area),
        ),
        (
            "plating area",
            shown(figures.plating_area.map(|a| units.show_area(a)), no_area),
        ),
        (
            "target reached",
            shown(
                figures.target_at.map(|at| model.clock(at)),
                "not known at the present current",
            ),
        ),
        (
            "aged",
            shown(
                figures.hold.map(|hold| hold.elapsed.shown(H, 3)),
                "its ageing hold has not begun",
            ),
        ),
    ]
}

fn of_tank(model: &Model, tank: &TankFigures) -> Vec<(&'static str, Known)> {
    let reading = model
        .project
        .state()
        .tank(&tank.name)
        .and_then(|t| t.reading);
    let celsius = reading.and_then(|r| r.celsius);
    let units = model.project.definition.units;
    let not_read = "it was not read yet";
    vec![
        ("volts", tank.volts.map(|v| v.shown(V, 3)).ok_or(not_read)),
        ("amps", tank.amps.map(|a| a.shown(A, 3)).ok_or(not_read)),
        (
            "bath",
            celsius.map(|c| units.show_temperature(c)).ok_or(not_read),
        ),
        ("charge", Ok(tank.charge.shown(AH, 3))),
        ("charge since dose", Ok(tank.since[0].shown(AH, 3))),
    ]
}

/// `20:30 in 20 min: look at stem`
fn told(model: &Model, due: &Due) -> String {
    let (clock, distance) = (model.clock(due.at), model.distance(due.at));
    format!("{clock} {distance}: {}", due.say)
}
