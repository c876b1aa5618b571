//! PLY: a header and rows.
#![no_main]

mod read;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let rest = bytes.strip_prefix(b"ply\n").unwrap_or(bytes);
    read::read(&[b"ply\n", rest].concat());
});
