//! OBJ: a text that begins with a corner.
#![no_main]

mod read;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    read::read(&[b"v 0 0 0\n", bytes].concat());
});
