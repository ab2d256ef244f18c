//! The `scalewright` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    scalewright::cli::main()
}
