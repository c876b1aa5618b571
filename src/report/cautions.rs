//! Hazard notes, by where they apply: on screens, sheets and in the README.
//!
//! Common practice where no source is told; none of them says that something
//! is safe, and [`DEFERS`] stands beside every list that is shown.

use crate::project::{BathWork, Setting, Stage, What};

/// What every list of cautions ends with.
pub const DEFERS: &str = "Local codes and licensed practice come before anything said here.";

/// What holds everywhere at the tank.
pub const GENERAL: &[&str] = &[
    "Acid slowly into water, never water into acid.",
    "Goggles, gloves, apron; cover and ventilate; no food, no children, no pets.",
    "Eyewash, water, bicarbonate and a phone within reach.",
    "Isolated low-voltage supply, RCD on the mains side, leads above splash.",
    "Never left unattended with current on; this program cuts nothing off.",
    "Nothing goes down a drain: copper is very toxic to aquatic life. Collection points and local rules decide.",
];

/// First aid, shown and not practised.
pub const FIRST_AID: &[&str] = &[
    "Eyes or skin: running lukewarm water for 15-30 min, and call for help.",
    "Swallowed: rinse the mouth, no vomiting, medical help.",
    "Mist or solvent breathed in: fresh air.",
    "Electric: unplug first.",
];

/// What is said wherever a cyanide bath's figures are shown.
pub const CYANIDE: &str = "Arithmetic only: no route, ladder or bath is kept for cyanide. Acid on cyanide frees a deadly gas; licensed shops only.";

/// What to mind in a stage.
pub fn for_stage(stage: &Stage) -> &'static [&'static str] {
    match stage {
        Stage::Coat => &[
            "Graphite and copper dust: wipe wet, mask on; graphite conducts, keep it off mains parts.",
            "Solvent vapour: no flame, no live supply near; ventilate.",
        ],
        Stage::Wiring => &["Supply off and unplugged while contacts are made."],
        Stage::Strike => &[
            "Work on minus: reversed, the coat and the copper come off.",
            "In live and out live: without current the paint soaks and thin copper dissolves.",
            "Goggles, gloves and apron on; bath covered where it mists; nobody else near.",
        ],
        Stage::Build => &[
            "Stay with it: current is never left unattended.",
            "Goggles, gloves and apron on; ventilation on: the bath mists while gas comes off.",
            "Move leads with the current down, above splash, with dry hands.",
        ],
        Stage::Rinse => &[
            "Rinse water is waste: still rinses are kept, never poured down a drain.",
            "Bicarbonate on acid foams: little by little.",
        ],
        Stage::Dry => &["At most 45 \u{b0}C for PLA; no open heat beside solvent or acid."],
        Stage::Polish => &["Copper dust: mask on, wipe wet, keep the wipes as hazardous."],
        Stage::Age => &["Gloves: a bare finger leaves its mark and begins the hold anew."],
        Stage::Seal => &["Solvent vapour: no clear coat near a live supply or a flame; ventilate."],
        Stage::Cure => &["Vapour goes on while it cures: keep ventilating, no flame."],
        Stage::Assemble => &["Glue: gloves, ventilation, its own label."],
        Stage::Own(_) => &["A stage of your own: its cautions are yours to write."],
    }
}

/// What to mind before an act is carried out.
pub fn for_act(what: &What) -> &'static [&'static str] {
    match what {
        What::Start { stage, .. } => for_stage(stage),
        What::Pause { .. } => &["In the bath without current is the worst place: lift it out."],
        What::Lift { .. } => &[
            "Set the lower current first where others hang; lift live; let it drain over the bath.",
        ],
        What::Return { .. } => {
            &["Dip where copper dried or was repainted; lower it in live; goggles on."]
        }
        What::TouchUp { .. } => {
            &["Only the copper touches the dip; paint dry before it goes back."]
        }
        What::Supply {
            to: Setting::Off, ..
        } => &["Lift the work live, then off: nothing stays in the bath without current."],
        What::Supply { .. } => {
            &["Check minus on the work and the current limit before switching on."]
        }
        What::Bath { work, .. } => match work {
            BathWork::Dose(_) | BathWork::TopUp(_) => {
                &["Acid slowly into water, never water into acid; goggles, gloves, ventilation."]
            }
            BathWork::Filter | BathWork::Bags => {
                &["Filters and bags are hazardous waste; pump and supply unplugged first."]
            }
            BathWork::Anodes(_) | BathWork::Moved(_) => &["Supply off and unplugged; bags whole."],
        },
        _ => &[],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_stage_has_its_cautions_and_none_calls_anything_safe() {
        let stages = Stage::known_names()
            .map(Stage::named)
            .chain([Stage::named("gild")]);
        for stage in stages {
            let lines = for_stage(&stage);
            assert!(!lines.is_empty(), "{stage}");
            for line in lines.iter().chain(GENERAL).chain(FIRST_AID) {
                let words = line.to_lowercase();
                assert!(
                    !words
                        .split(|c: char| !c.is_alphabetic())
                        .any(|w| w == "safe"),
                    "{line}"
                );
            }
        }
    }
}
