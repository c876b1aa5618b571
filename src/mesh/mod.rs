//! The mesh room.
