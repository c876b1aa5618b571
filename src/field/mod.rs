//! One tank: where the current goes.

mod kinetics;
mod panel;

pub use kinetics::{Flow, Kinetics};
pub use panel::{Panel, Point, Potential};
