//! The `tankside` program: parse, dispatch, exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(tankside::cli::run_process())
}
