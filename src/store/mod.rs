//! The store room.
