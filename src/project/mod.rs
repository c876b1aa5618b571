//! The project room.
