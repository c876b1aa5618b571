//! The screen's model: what is shown, and what a key does.

mod message;

pub use message::{Effect, Failure, Key, KeyCode, Message};
