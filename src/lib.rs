//! `tankside`: a tracked assembly at a plating tank.
//!
//! The rooms, from the ground up; an arrow points down only, and a test
//! (`tests/architecture.rs`) reads the imports and holds it.
//!
//! | room | what it knows | may use |
//! |---|---|---|
//! | [`units`] | quantities of the trade, instants, figures with their doubt | std |
//! | [`plating`] | one deposit: metals, Faraday, charge from readings, shares, ladders | units |
//! | [`mesh`] | one print: file formats, area, size | units |
//! | [`field`] | one tank: where the current goes | units, mesh |
//! | [`project`] | the user's project: definition, events, and the state they fold into | the rooms above |
//! | [`store`] | its files: folder, journal, lock, notices, what is kept for the next start | project, `std::fs` |
//! | [`settings`] | the user's own settings and keys, for all projects | project, store |
//! | [`report`] | what is printed or handed on | project and below |
//! | [`spreading`] | where the metal goes in a project's tank: asked, kept from before or solved | report and below |
//! | [`predicted`] | what a field's answer changes in a project: evenness, shares | store and below |
//! | [`clock`] | the present, for the shells alone | units |
//! | [`cli`] | one-shot commands | all |
//! | [`tui`] | app (pure), view (drawing), shell (terminal) | see the module |

pub mod cli;
pub mod clock;
pub mod plating;
pub mod predicted;
pub mod project;
pub mod report;
pub mod settings;
pub mod spreading;
pub mod store;
pub mod tui;

pub use tankside_kernel::{field, mesh, units};
