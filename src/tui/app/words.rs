//! The words of a screen, explained; its cautions.

use super::{Model, Screen};
use crate::report::cautions::{DEFERS, FIRST_AID, GENERAL, for_stage};

const FIGURES: [(&str, &str); 3] = [
    (
        "12.3 +-0.4",
        "measured; the +- is twice the standard uncertainty (k = 2)",
    ),
    (
        "~",
        "estimated: carried on from the last reading; an area, reckoned from the print's file",
    ),
    (
        "?",
        "assumed: a rule of the trade, neither measured nor computed",
    ),
];

const BENCH: [(&str, &str); 12] = [
    (
        "strike",
        "low volts until the whole surface is seen covered",
    ),
    ("build", "metal to the charge target"),
    (
        "charge",
        "ampere-hours through the piece's lead: so far of what is wanted",
    ),
    ("cc, cv", "what the supply holds constant: current, voltage"),
    (
        "look",
        "the piece is lifted and looked at; findings are written down",
    ),
    (
        "lift, return",
        "out of the bath for a look, and back in; no charge while out",
    ),
    (
        "touch-up",
        "lift, rinse, dry, repaint a bare spot, return: inside strike",
    ),
    ("ladder", "the stepped volts or amps of strike and build"),
    (
        "coverage",
        "the share of the surface that carries metal, from looks",
    ),
    ("density", "A/dm2 on the covered area"),
    (
        "share",
        "what of the tank's current goes through one piece; by area, once all are covered",
    ),
    (
        "gate",
        "what must be true or ticked before a stage starts or ends",
    ),
];

const PIECE: [(&str, &str); 8] = [
    (
        "wetted area",
        "the area the bath touches and metal can grow on",
    ),
    ("masked", "the bath would reach it, but a mask keeps it off"),
    ("dry", "the wall of a hollow that the bath does not reach"),
    (
        "hidden",
        "inside the solid, or in the print's file a second time",
    ),
    (
        "plating area",
        "wetted area times roughness; the charge target is made from it",
    ),
    (
        "local",
        "thinnest and thickest place, assumed 0.5x to 3x the mean",
    ),
    (
        "mark",
        "stays on the traveller for good: override, rework, skipped, late",
    ),
    (
        "rework",
        "back to an earlier stage with a reason; charge is kept",
    ),
];

const SPREAD: [(&str, &str); 8] = [
    (
        "predicted",
        "computed from print, tank and bath before any current flows; nothing of it is measured",
    ),
    (
        "assumed",
        "taken as usual where project.ron says nothing: where pieces hang, conductivity, kinetics",
    ),
    (
        "over the mean",
        "the density at a place as a multiple of the piece's mean: so thick will its metal be",
    ),
    (
        "least, most",
        "the least and the greatest of that on a piece, a ten thousandth of the area left out",
    ),
    (
        "5-95 %",
        "what the twentieth part with least stays under, and the twentieth with most exceeds",
    ),
    (
        "tip, edge, face",
        "a place to watch where most goes: nodules grow there; a thief or a turn takes some away",
    ),
    (
        "hollow, shadow",
        "a place to watch where least goes: thin metal; a turn or an anode nearer brings some",
    ),
    (
        "+-",
        "how far the figure may be off, from a second solve with a quarter of the panels",
    ),
];

const HOLDS: [(&str, &str); 5] = [
    (
        "ageing hold",
        "the timed exposure before sealing, so that pieces age alike",
    ),
    ("spread", "largest less smallest age or thickness"),
    (
        "behind",
        "how much thinner than the thickest; shared errors cancel in the +-",
    ),
    (
        "window",
        "when one visit to seal falls inside the tolerance of every hold",
    ),
    (
        "refresh",
        "finished pieces polished or dipped together: one new ageing hold for all",
    ),
];

const CLOSEOUT: [(&str, &str); 4] = [
    (
        "tank side",
        "ticked by hand; every item before the signature",
    ),
    (
        "paper side",
        "kept by the program from the project itself; never in the way",
    ),
    ("sign", "keeps the sheet as it stands, with who and when"),
    (
        "unattended",
        "plating goes on with nobody near: never, unless the project says how",
    ),
];

/// The words of a screen and what they mean; how figures are told comes last.
pub fn words_of(screen: Screen) -> Vec<(&'static str, &'static str)> {
    let own: &[(&str, &str)] = match screen {
        Screen::Line => &BENCH,
        Screen::Piece => &PIECE,
        Screen::Spread => &SPREAD,
        Screen::Holds => &HOLDS,
        Screen::CloseOut => &CLOSEOUT,
    };
    own.iter().chain(&FIGURES).copied().collect()
}

/// The cautions that apply now: those that always do, those of the stages that
/// pieces are at, first aid; local codes come before all of them.
pub fn cautions_of(model: &Model) -> Vec<&'static str> {
    let mut cautions: Vec<&'static str> = GENERAL.to_vec();
    for name in model.facts.pieces.keys() {
        let stage = model.piece(name).and_then(|p| p.stage.as_ref());
        for caution in stage.map_or(&[][..], for_stage) {
            if !cautions.contains(caution) {
                cautions.push(caution);
            }
        }
    }
    cautions.extend(FIRST_AID);
    cautions.push(DEFERS);
    cautions
}
