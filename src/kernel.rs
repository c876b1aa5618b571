//! Quantities of the trade, the geometry of prints and the field in a tank: the
//! lowest rooms of `tankside`, which names them as its own.

pub mod field;
pub mod mesh;
pub mod units;
