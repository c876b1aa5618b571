//! A project's files: its folder, its journal, the lock.
//!
//! ```text
//! project.ron      what a person wrote; comments and order survive every change
//! journal.ron      what happened, one event a line, each chained to the one before
//! project.edited.ron   an edit of project.ron under way, or one that did not do
//! meshes/          the prints
//! immersions/      the files of data loggers, 001.csv, 002.csv …
//! notices.ron      what was told of what is due, what was silenced; no part of the history
//! journal.torn-1.ron   the line that a failed write left, set aside
//! ```
//!
//! [`Folder`] is the door: [`Folder::open`], [`Folder::record`],
//! [`Folder::set`], [`Folder::follow`]. [`check()`] tells everything that is
//! wrong with a folder, [`salvage()`] puts what can be saved into a new one. No
//! other room touches the user's files, and all writing goes through [`Disk`].

mod check;
mod digests;
mod disk;
mod draft;
mod edit;
mod error;
mod files;
mod folder;
mod intake;
mod journal;
mod kept;
mod layout;
pub mod logger;
mod notice_log;
mod notices;
mod piece_text;
pub mod ron_text;
mod salvage;
mod scene_text;
mod spreads;

pub use check::{CheckReport, Problem, check, check_on};
pub use disk::{Disk, Locked, RealDisk, Stamp};
pub use draft::{Draft, Edited};
pub use error::{ErrorKind, RecordError, StoreError};
pub use files::{
    files_with_endings, is_project, make_folder, projects_in, read_file, replace, sha256_hex,
    write_out,
};
pub use folder::Folder;
pub use intake::TakenLogger;
pub use kept::{LONG, program_stamp};
pub use layout::read_journal;
pub use notice_log::{NoticeDone, NoticeEntry, NoticeLog, silences};
pub use piece_text::{piece_entry, survey_values};
pub use salvage::{Rescue, Salvage, salvage, salvage_on};
pub use spreads::{keep_spread, kept_spread};
