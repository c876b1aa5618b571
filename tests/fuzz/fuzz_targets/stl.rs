//! STL, binary and ASCII.
#![no_main]

mod read;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| read::read(bytes));
