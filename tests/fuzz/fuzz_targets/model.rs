//! 3MF by its model part, in an archive that is sound.
#![no_main]

mod read;

#[allow(dead_code)]
#[path = "../../support/prints.rs"]
mod prints;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let relationships = prints::relationships("/m");
    read::read(&prints::stored(&[
        ("_rels/.rels", relationships.as_bytes()),
        ("m", bytes),
    ]));
});
