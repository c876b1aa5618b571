//! What is printed or handed on: JSON for scripts, text for terminals,
//! Markdown for keeping, a table for spreadsheets, a pencil sheet for the bench.
//!
//! Everything here is a function of the project and an instant; the shells
//! print it or write it to a file.

pub mod cautions;
pub mod charge;
pub mod csv;
pub mod json;
pub mod markdown;
pub mod print;
pub mod safe;
pub mod sheet;
pub mod spread;
pub mod text;
mod told;
