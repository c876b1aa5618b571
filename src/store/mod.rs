//! The store room.

pub mod ron_text;
