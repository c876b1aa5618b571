//! The `tankside` program: parse, dispatch, exit code.
fn main() {}
