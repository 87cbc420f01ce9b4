//! The `hingeline` program: parse, work, render. Everything else is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    hingeline::cli::main()
}
