//! What several tests share.

#![allow(dead_code, reason = "each of the two binaries uses what it needs")]

pub(crate) mod bench;
pub(crate) mod cli;
pub(crate) mod disk;
pub(crate) mod field;
pub(crate) mod known;
pub(crate) mod long;
pub(crate) mod prints;
#[cfg(unix)]
pub(crate) mod pty;
pub(crate) mod solids;
pub(crate) mod words;
