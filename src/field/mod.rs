//! One tank: where the current goes.

mod harmonics;
mod kinetics;
mod panel;
mod tank;

pub use kinetics::{Flow, Kinetics};
pub use panel::{Panel, Point, Potential};
pub use tank::Tank;
