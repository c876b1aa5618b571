//! The screen: a pure model, pure drawing, and the shell that owns the terminal.
//!
//! - [`app`]: model, messages, update, command table, keys. No terminal, no
//!   files, no clock.
//! - [`picture`]: pictures of prints: faces in, dots out. No terminal, no colours.
//! - [`view`]: draws a model. No state of its own.
//! - [`shell`]: terminal, loop, workers, clock, signals.

pub mod app;
pub mod picture;
pub mod shell;
pub mod view;
