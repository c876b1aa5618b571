//! The whole scene that a project asks: its tank with the pieces, what masks
//! keep from the bath, and what is not told.

use super::{Definition, Piece, PrintBox, Tank};
use crate::field::scene::Scene;
use crate::mesh::Mask;
use crate::units::DM2;

/// The box of a print that was not read.
const UNREAD: PrintBox = [[0.0; 3], [1.0; 3]];

impl Definition {
    /// The scene of pieces with the boxes around their prints, mm, and what was
    /// assumed for it.
    pub fn whole_scene(&self, tank: &Tank, pieces: &[(&Piece, PrintBox)]) -> (Scene, Vec<String>) {
        let hung: Vec<_> = pieces
            .iter()
            .map(|(piece, print)| {
                let area = piece.wetted_area().map_or(1.0, |area| area.to(DM2));
                (*piece, *print, area)
            })
            .collect();
        let (mut scene, mut assumed) = self.scene(tank, &hung);
        for (body, (piece, _)) in scene.bodies.iter_mut().zip(pieces) {
            let shapes = piece.masks.iter().map(|mask| mask.shape.clone());
            body.masks = shapes
                .filter(|shape| shape.parse::<Mask>().is_ok())
                .collect();
        }
        let undrawn = pieces.iter().map(|(piece, _)| piece).filter(|piece| {
            piece.leads.is_empty() && !(piece.wires.is_empty() && piece.thieves.is_empty())
        });
        let undrawn: Vec<&str> = undrawn.map(|piece| piece.name.as_str()).collect();
        if !undrawn.is_empty() {
            assumed.push(format!(
                "no wires at {}: `leads` of a piece tell how they run",
                undrawn.join(", ")
            ));
        }
        (scene, assumed)
    }

    /// The scene as far as the project says it, prints unread: where it is the
    /// same, the same is asked.
    pub fn outline(&self, tank: &Tank, pieces: &[&Piece]) -> Scene {
        let unread: Vec<_> = pieces.iter().map(|piece| (*piece, UNREAD)).collect();
        self.whole_scene(tank, &unread).0
    }
}
