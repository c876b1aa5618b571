//! Words that arrows walk through, so that a keypad alone can choose them.

use super::Model;
use crate::project::What;
use crate::units::Temperature;

/// Owned words.
pub(super) fn strings(words: &[&str]) -> Vec<String> {
    words.iter().map(|w| (*w).to_owned()).collect()
}

/// The words of both, each once.
fn joined(mut first: Vec<String>, then: &[&str]) -> Vec<String> {
    for word in then {
        if !first.iter().any(|known| known == word) {
            first.push((*word).to_owned());
        }
    }
    first
}

impl Model {
    /// Places that were named in findings, for the next one; then common ones.
    pub fn places(&self) -> Vec<String> {
        let common = ["rim", "tip", "hollow", "back", "underside", "contact 1"];
        joined(self.places_seen(), &common)
    }

    /// Where a contact may be: places named before, then contacts by number.
    pub fn contact_places(&self) -> Vec<String> {
        let common = ["contact 1", "contact 2", "contact 3"];
        joined(self.places_seen(), &common)
    }

    fn places_seen(&self) -> Vec<String> {
        let mut places: Vec<String> = Vec::new();
        let state = self.project.state();
        for piece in &self.project.definition.pieces {
            let looks = state.piece(&piece.name).into_iter().flat_map(|p| &p.looks);
            for place in looks
                .flat_map(|l| &l.findings)
                .filter_map(|f| f.place.as_ref())
            {
                if !places.contains(place) {
                    places.push(place.clone());
                }
            }
        }
        places
    }

    /// The last notes on any piece, latest first; then common ones.
    pub fn last_notes(&self) -> Vec<String> {
        let mut notes: Vec<String> = Vec::new();
        for event in self.project.events().iter().rev() {
            match &event.what {
                _ if notes.len() == 6 => break,
                What::Note { text, .. } if !notes.contains(text) => notes.push(text.clone()),
                _ => {}
            }
        }
        joined(
            notes,
            &["see the pencil sheet", "looked at, nothing to note"],
        )
    }

    /// The temperature of a tank's bath when it was last read.
    pub fn last_bath(&self, name: &str) -> Option<Temperature> {
        let events = self.project.events().iter().rev();
        events
            .filter(|e| !self.project.is_undone(e.sequence))
            .find_map(|e| match &e.what {
                What::Reading { tank, celsius, .. } if tank == name => *celsius,
                _ => None,
            })
    }

    /// Who it may be: who wrote down last in this project, then the others,
    /// then the login name of the computer.
    pub fn who_choices(&self) -> Vec<String> {
        let events = self.project.events().iter().rev();
        let mut names: Vec<String> = Vec::new();
        for name in events.map(|e| &e.who).chain(&self.login) {
            if !name.is_empty() && !names.contains(name) {
                names.push(name.clone());
            }
        }
        names
    }
}

/// Why gates are passed.
pub(super) fn override_reasons() -> Vec<String> {
    strings(&["measured otherwise", "seen by eye", "decided at the tank"])
}

/// Why a stage is skipped.
pub(super) fn skip_reasons() -> Vec<String> {
    strings(&["not needed", "done elsewhere"])
}
