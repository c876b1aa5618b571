//! What the library promises, a file a subject: nothing here starts a program.
//!
//! One binary, since each one links the whole library anew.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test that fails panics"
)]

mod screens_support;
mod support;

mod adding;
mod architecture;
mod evening;
mod field_laws;
mod keypad;
mod laws;
mod long;
mod mesh_formats;
mod mesh_hostile;
mod mesh_stl;
mod print;
mod report;
mod screens;
mod shape;
mod shares;
mod spread_screen;
mod states;
mod store;
mod store_crash;
mod store_damage;
mod store_flip;
mod store_formats;
mod store_property;
mod trade;
mod wetted;
