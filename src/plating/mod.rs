//! The plating room.
