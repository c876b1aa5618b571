//! What the real program promises, a file a subject: all of these start it.
//!
//! Apart from `library.rs`, whose sums would take the processor from what is
//! held to a time here.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test that fails panics"
)]
#![allow(
    clippy::duplicate_mod,
    reason = "the example and the command line both split words"
)]

mod screens_support;
mod support;

mod by_keys;
mod contract;
mod field_known;
mod first_hour;
mod joints;
mod kill;
mod measure;
mod own_keys;
mod paper;
mod pty;
mod raw;
mod readme;
mod retell;
mod samples;
mod spread;
mod spread_both;
mod spread_set;
mod store_digests;
mod told;
