//! One tank: where the current goes.

mod bath;
mod harmonics;
mod kinetics;
#[cfg(test)]
mod known;
mod krylov;
mod operator;
mod panel;
#[cfg(test)]
mod shapes;
mod tank;
mod tree;

pub use bath::{Bath, Body, Currents, FieldError, Order, Surface};
pub use kinetics::{Flow, Kinetics};
pub use panel::{Panel, Point, Potential};
pub use tank::Tank;
