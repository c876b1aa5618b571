//! What a field's answer changes in a project: each piece's evenness in
//! `project.ron`, and in the journal the shares of what hangs together now.

use sha2::{Digest, Sha256};

use crate::field::scene::{BodySpread, Kind, Spread};
use crate::project::{Action, Definition, Piece, PieceShare, PredictedFor, Refusal, State, What};
use crate::store::ron_text::quote;
use crate::store::{Folder, RecordError};
use crate::units::{Instant, number, rounded};

/// A least below this makes a target by it a matter of masks and anodes.
const LOW: f64 = 0.1;

/// The least standard uncertainty of a share by a field, relative: ±5 % as a
/// rectangular bound. Pieces hung by hand are off by some 5 mm in the 10 cm
/// before their anode, and kinetics are seldom known better (common practice, no
/// source).
pub const LEAST_SHARE_REL: f64 = 0.029;

/// A field's answer for pieces of a project.
#[derive(Debug)]
pub struct Predicted<'a> {
    /// The tank.
    pub tank: &'a str,
    /// The pieces that were asked for.
    pub pieces: Vec<&'a str>,
    /// [`Definition::scene_digest`] of what was asked.
    pub scene: Option<&'a str>,
    /// Where the current goes.
    pub spread: &'a Spread,
}

/// What became of it.
#[derive(Debug, Default)]
pub struct Taken {
    /// Of each piece what was set.
    pub even: Vec<String>,
    /// The shares that were recorded, or why none were.
    pub shares: String,
    /// Whether shares were recorded.
    pub recorded: bool,
    /// What is to be minded.
    pub warnings: Vec<String>,
}

impl Predicted<'_> {
    /// Writes it into the project: evenness, and, where exactly these pieces hang
    /// in the tank at `now`, their shares. `clock` is the moment of writing,
    /// `replaced` the present if it is another.
    ///
    /// # Errors
    /// When `project.ron` tells another scene by now, or it or the journal cannot
    /// be written.
    pub fn take(
        &self,
        folder: &mut Folder,
        who: &str,
        (now, clock, replaced): (Instant, Instant, Option<Instant>),
    ) -> Result<Taken, RecordError> {
        self.is_of(&folder.project().definition)?;
        let mut taken = Taken::default();
        let mut values = Vec::new();
        for body in self.of_kind(Kind::Piece) {
            let even = Even::of(body);
            values.push((
                format!("pieces.{}.evenness", quote(&body.name)),
                self.written(body, even, now),
            ));
            let Even { least, most } = even;
            let name = &body.name;
            taken.even.push(format!(
                "{name}: evenness {least} to {most} of the mean is set, as predicted"
            ));
            taken.warnings.extend(even.low(name));
        }
        folder.set_all(&values)?;
        let project = folder.project();
        match self.shares(&project.definition, &project.state_at(now)) {
            Ok(shares) => {
                taken.shares = shares.to_string();
                folder.record(&Action::now(shares, who), clock, replaced)?;
                taken.recorded = true;
            }
            Err(why) => taken.shares = format!("no shares are recorded: {why}"),
        }
        Ok(taken)
    }

    /// Whether what was asked still is what the project tells.
    fn is_of(&self, definition: &Definition) -> Result<(), Refusal> {
        let now = definition.scene_digest(self.tank, &self.pieces);
        if now.as_deref() == self.scene {
            return Ok(());
        }
        Err(Refusal::new(
            "other-scene",
            "project.ron tells another scene by now than the one that was computed: compute it again",
        ))
    }

    fn of_kind(&self, kind: Kind) -> impl Iterator<Item = &BodySpread> {
        self.spread.bodies.iter().filter(move |b| b.kind == kind)
    }

    /// The evenness of a piece as `project.ron` has it.
    fn written(&self, body: &BodySpread, even: Even, at: Instant) -> String {
        let Even { least, most } = even;
        let because = quote(&self.because(body));
        let of = self.scene.map(|scene| PredictedFor {
            tank: self.tank.to_owned(),
            pieces: self.pieces.iter().map(|name| (*name).to_owned()).collect(),
            scene: scene.to_owned(),
            at,
        });
        let of = of.and_then(|of| ron::to_string(&of).ok());
        let of = of.map_or_else(String::new, |of| format!(", of: {of}"));
        format!("(least: {least:?}, most: {most:?}, because: {because}{of})")
    }

    fn because(&self, body: &BodySpread) -> String {
        let others = self.pieces.iter().filter(|name| **name != body.name);
        let others: Vec<&str> = others.copied().collect();
        let with = if others.is_empty() {
            "alone".to_owned()
        } else {
            format!("with {}", others.join(", "))
        };
        format!(
            "predicted at {} A {with}, {} panels, +- {} % in a zone",
            number(self.spread.amps, 3),
            self.spread.flows.panels,
            number(self.spread.flows.error_zones * 100.0, 2)
        )
    }

    /// The shares of what hangs in the tank, to be recorded.
    ///
    /// # Errors
    /// In words: other pieces hang there, or no current flows into them.
    pub fn shares(&self, definition: &Definition, state: &State) -> Result<What, String> {
        let mut told = self.pieces.clone();
        told.sort_unstable();
        let hang = state.in_circuit_of(self.tank);
        if told != hang {
            let tank = self.tank;
            return Err(if hang.is_empty() {
                format!("nothing hangs in {tank}")
            } else {
                format!(
                    "in {tank} hang {}, and this is of {}",
                    hang.join(", "),
                    told.join(", ")
                )
            });
        }
        let pieces = self.pieces.iter().filter_map(|name| definition.piece(name));
        let amps: Vec<(&Piece, f64, f64)> = pieces.map(|piece| self.amps(piece)).collect();
        let all: f64 = amps.iter().map(|(_, on_it, wires)| on_it + wires).sum();
        let is_some = |(_, on_it, wires): &(&Piece, f64, f64)| *on_it > 0.0 && *wires >= 0.0;
        let (Some(scene), true) = (self.scene, amps.iter().all(is_some)) else {
            return Err("current does not flow into every piece".to_owned());
        };
        let share = |(piece, on_it, wires): &(&Piece, f64, f64)| PieceShare {
            piece: piece.name.clone(),
            share: (on_it + wires) / all,
            wire: wires / (on_it + wires),
        };
        Ok(What::Shares {
            tank: self.tank.to_owned(),
            rel: self.rel(amps.iter().map(|part| share(part).share)),
            shares: amps.iter().map(share).collect(),
            scene: scene.to_owned(),
            result: self.digest(),
        })
    }

    /// Relative standard uncertainty of shares: the error of the tank's whole
    /// current, as if all of it were the least one's. That of a zone is of no use
    /// here, it tells how a piece's own current spreads over it.
    fn rel(&self, shares: impl Iterator<Item = f64>) -> f64 {
        let least = shares.fold(1.0, f64::min);
        let error = self.spread.flows.error_resistance / least;
        rounded(error.max(LEAST_SHARE_REL), 3).min(1.0)
    }

    /// The amps onto a piece itself and onto its wires. Wires of which it is not
    /// told how they run are in no field: they take by their area.
    fn amps<'p>(&self, piece: &'p Piece) -> (&'p Piece, f64, f64) {
        let of = |name: &str| self.spread.bodies.iter().find(|body| body.name == name);
        let on_it = of(&piece.name).map_or(0.0, |body| body.amps);
        let drawn = piece
            .leads
            .iter()
            .filter_map(|lead| of(&lead.body_of(piece)));
        let drawn: f64 = drawn.map(|body| body.amps).sum();
        let by_area = piece.plating_area().filter(|area| area.si() > 0.0);
        let wires = match by_area {
            Some(area) if piece.leads.is_empty() => on_it * (piece.wire_area() / area),
            _ => drawn,
        };
        (piece, on_it, wires)
    }

    /// A digest of the result: what flows into each body, on how many panels.
    fn digest(&self) -> String {
        let mut digest = Sha256::new();
        digest.update(self.spread.flows.panels.to_le_bytes());
        for body in &self.spread.bodies {
            digest.update(body.name.as_bytes());
            let figures = [
                body.amps,
                body.volts,
                body.min_over_mean,
                body.max_over_mean,
            ];
            for figure in figures {
                digest.update(figure.to_le_bytes());
            }
        }
        format!("{:x}", digest.finalize())
    }
}

/// Least and most over the mean, to three digits, as `project.ron` takes them.
#[derive(Debug, Clone, Copy)]
struct Even {
    least: f64,
    most: f64,
}

impl Even {
    fn of(body: &BodySpread) -> Self {
        Self {
            least: rounded(body.min_over_mean, 3).clamp(1e-3, 1.0),
            most: rounded(body.max_over_mean, 3).max(1.0),
        }
    }

    /// What is to be said of a piece with a place that gets next to nothing.
    fn low(self, name: &str) -> Option<String> {
        let Self { least, .. } = self;
        (least < LOW).then(|| {
            format!(
                "{name}: its thinnest place has {least} of the mean, so a minimum target asks {} times as much on \
                 the mean: see to anodes, a turn or a mask first",
                number(1.0 / least, 2)
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::scene::Flows;

    #[test]
    fn what_was_computed_of_another_scene_is_not_taken() {
        let holds = tempfile::tempdir().unwrap();
        let path = holds.path().join("p");
        let text = "(format: 1, name: \"p\", metal: \"copper-acid\", target: Mean(\"40um\"), \
                    tanks: [(name: \"main\")], pieces: [(name: \"leaf\", area: \"1dm2\")])";
        let now: Instant = "2026-03-02T17:00:00Z".parse().unwrap();
        let mut folder = Folder::create(&path, text, now).unwrap();
        let spread = Spread {
            volts: 0.4,
            amps: 3.0,
            resistance_ohm: 0.1333,
            bodies: Vec::new(),
            flows: Flows {
                panels: 600,
                residual: 1e-7,
                balance: 1e-5,
                error_resistance: 0.01,
                error_zones: 0.03,
            },
        };
        let asked = folder.project().definition.scene_digest("main", &["leaf"]);
        let predicted = Predicted {
            tank: "main",
            pieces: vec!["leaf"],
            scene: asked.as_deref(),
            spread: &spread,
        };
        let taken = predicted
            .take(&mut folder, "ida", (now, now, None))
            .unwrap();
        assert!(taken.shares.contains("nothing hangs in main"), "{taken:?}");
        folder.set("pieces.leaf.area", "2dm2").unwrap();
        let refused = predicted.take(&mut folder, "ida", (now, now, None));
        let Err(RecordError::Refused(refusal)) = refused else {
            panic!("{refused:?}");
        };
        assert_eq!(refusal.rule, "other-scene");
    }
}
