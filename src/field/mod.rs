//! One tank: where the current goes.

mod harmonics;
mod kinetics;
mod operator;
mod panel;
#[cfg(test)]
mod shapes;
mod tank;
mod tree;

pub use kinetics::{Flow, Kinetics};
pub use panel::{Panel, Point, Potential};
pub use tank::Tank;
