//! PLY: a header and rows.
#![no_main]

mod read;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    read::read(&[b"ply\n", bytes].concat());
});
