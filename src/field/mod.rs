//! One tank: where the current goes.
//!
//! A [`Bath`] is made of [`Body`]s cut into [`Panel`]s, in a [`Tank`] or without
//! end, and is then asked for the [`Currents`] at any volts and [`Kinetics`].
//! Its equations hold on the surface of metal and insulators alone
//! (`equations`), the tank's walls are mirrors (`tank`), and what all panels do to
//! all is summed by a fast multipole method (`operator`, `tree`, `harmonics`)
//! on closed forms for each panel (`panel`).
//!
//! Everything is in SI: metres, volts, amperes, A/m², S/m.

#![allow(
    clippy::inline_always,
    reason = "what is not inlined into `lanes::widest` is compiled without the wide lanes"
)]

mod bath;
mod bodies;
mod cover;
mod doubt;
mod equations;
mod harmonics;
mod kinetics;
#[cfg(test)]
mod known;
mod krylov;
mod lanes;
mod linear;
mod operator;
mod panel;
pub mod scene;
#[cfg(test)]
mod shapes;
mod tank;
mod tree;

pub use bath::Bath;
pub use bodies::{Body, Currents, FieldError, Order, Surface};
pub use cover::{Cover, block, face, print, tube};
pub use doubt::{Doubted, solve_doubted};
pub use kinetics::{Flow, Kinetics};
pub use panel::{Panel, Point, Potential};
pub use tank::Tank;
