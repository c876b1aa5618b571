//! What hangs in a tank, as `project.ron` holds it.

use super::ron_text::{self, PathError, quote};
use crate::project::{Definition, Hangs, Lead, Plate, SceneEdit};
use crate::units::{Length, MM, plain, rounded};

/// The text with a change made in it, `None` where what it changes is another by
/// now.
pub(super) fn edited(
    text: &str,
    edit: &SceneEdit,
    now: &Definition,
) -> Option<Result<String, PathError>> {
    if !edit.fits(now) {
        return None;
    }
    let piece = |name: &str, field: &str| format!("pieces.{}.{field}", quote(name));
    let tank = |name: &str, field: &str| format!("tanks.{}.{field}", quote(name));
    Some(match edit {
        SceneEdit::Hang {
            piece: name, to, ..
        } => match to {
            Some(to) => ron_text::set(text, &piece(name, "hangs"), &hangs(to)),
            None => ron_text::remove(text, &piece(name, "hangs")),
        },
        SceneEdit::AddLead(name, new) => ron_text::push(text, &piece(name, "leads"), &lead(new)),
        SceneEdit::RemoveLead(name, old) => {
            let mut leads = now.piece(name)?.leads.iter();
            let at = leads.position(|lead| lead.is_as(old))?;
            ron_text::remove(text, &piece(name, &format!("leads.{at}")))
        }
        SceneEdit::AddShield(name, new) => {
            ron_text::push(text, &tank(name, "shields"), &plate(new))
        }
        SceneEdit::RemoveShield(name, old) => {
            let mut shields = now.tank(name)?.shields.iter();
            let at = shields.position(|shield| shield.is_as(old))?;
            ron_text::remove(text, &tank(name, &format!("shields.{at}")))
        }
        SceneEdit::AddAnode(name, anode, new) => {
            let entry = format!("(name: {}, plate: {})", quote(anode), plate(new));
            ron_text::push(text, &tank(name, "anodes"), &entry)
        }
        SceneEdit::RemoveAnode(name, old, _) => {
            let mut anodes = now.tank(name)?.anodes.iter();
            let at = anodes.position(|anode| anode.name == *old)?;
            ron_text::remove(text, &tank(name, &format!("anodes.{at}")))
        }
    })
}

/// A length in mm, to a thousandth.
fn mm(length: Length) -> String {
    format!("\"{}mm\"", plain((length.to(MM) * 1e3).round() / 1e3 + 0.0))
}

fn place(at: [Length; 3]) -> String {
    format!("({})", at.map(mm).join(", "))
}

/// Numbers without a unit, to six digits.
fn numbers<const N: usize>(numbers: [f64; N]) -> String {
    let digits = numbers.map(|number| plain(rounded(number, 6) + 0.0));
    format!("({})", digits.join(", "))
}

fn hangs(hangs: &Hangs) -> String {
    format!("(at: {}, turn: {})", place(hangs.at), numbers(hangs.turn))
}

fn lead(lead: &Lead) -> String {
    let points: Vec<String> = lead.points.iter().map(|at| place(*at)).collect();
    let thief = if lead.thief { ", thief: true" } else { "" };
    let closed = if lead.closed { ", closed: true" } else { "" };
    format!(
        "(name: {}, points: [{}], diameter: {}{thief}{closed})",
        quote(&lead.name),
        points.join(", "),
        mm(lead.diameter)
    )
}

fn plate(plate: &Plate) -> String {
    let thickness = plate
        .thickness
        .map(|thick| format!(", thickness: {}", mm(thick)));
    let one_face = if plate.one_face {
        ", one_face: true"
    } else {
        ""
    };
    format!(
        "(at: {}, facing: {}, size: ({}){}{one_face})",
        place(plate.at),
        numbers(plate.facing),
        plate.size.map(mm).join(", "),
        thickness.unwrap_or_default()
    )
}
