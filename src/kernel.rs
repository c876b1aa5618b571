//! Quantities of the trade and the geometry of prints: the two lowest rooms of
//! `tankside`, which names them as its own.

pub mod mesh;
pub mod units;
