//! What the trade asks of a shape: where nodules grow and where metal stays
//! thin, how far it is from a contact, whether it floats, fits and bends.
//!
//! All of it are functions of facets that are turned to the bath
//! ([`super::Survey::wetted`]) or of numbers. None relies on a closed mesh.

mod boxes;
mod fit;
mod lean;
mod net;
mod path;
mod recesses;
mod sample;
mod sink;
mod sky;
mod stiff;
mod tips;
mod walls;

pub use fit::{Fit, Fits, Room, Turn, fits};
pub use path::{Farthest, farthest};
pub use recesses::{Recess, Recesses, recesses};
pub use sink::{ACID_COPPER_BATH_G_CM3, Afloat, Coat, Plastic, Print};
pub use sky::sky;
pub use stiff::{COPPER_GPA, Section, stiffness_gain};
pub use tips::{Tip, Tips, tips};
pub use walls::{Wall, thin_walls};

use super::Facet;
use crate::units::{Stopped, Watch};

/// What is told of every print that is measured.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Shape {
    /// Where nodules will grow.
    pub tips: Tips,
    /// Where metal stays thin.
    pub recesses: Recesses,
    /// What is thinner than [`Wall::LEAST_MM`], if anything is.
    pub thin: Option<Wall>,
}

/// The tips, recesses and thin walls of a surface that is turned outwards.
///
/// # Errors
/// [`Stopped`] where `watch` asks for it.
pub fn of(facets: &[Facet], watch: &dyn Watch) -> Result<Shape, Stopped> {
    let boxes = boxes::Boxes::new(facets);
    let samples = sample::samples(&boxes);
    Ok(Shape {
        tips: tips::within(&boxes, watch)?,
        recesses: recesses::within(&boxes, &samples, watch)?,
        thin: walls::within(&boxes, &samples, Wall::LEAST_MM, watch)?,
    })
}

/// Things that are joined two by two (union and find).
struct Groups {
    /// Of each, one that it is joined to; of one in each group, itself.
    towards: Vec<usize>,
}

impl Groups {
    fn of(count: usize) -> Self {
        Self {
            towards: (0..count).collect(),
        }
    }

    fn head(&mut self, mut at: usize) -> usize {
        while self.towards[at] != at {
            self.towards[at] = self.towards[self.towards[at]];
            at = self.towards[at];
        }
        at
    }

    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.head(a), self.head(b));
        self.towards[a.max(b)] = a.min(b);
    }

    /// The groups, in the order of their first members.
    fn sets(mut self) -> Vec<Vec<usize>> {
        let count = self.towards.len();
        let mut sets = vec![Vec::new(); count];
        for at in 0..count {
            sets[self.head(at)].push(at);
        }
        sets.retain(|set| !set.is_empty());
        sets
    }
}
