//! The `steadypass` program: arguments in, exit code out. The work is in the library; each verb has a file in `commands`.

mod cli;
mod commands;

use std::process::ExitCode;

fn main() -> ExitCode {
    commands::run(cli::Cli::typed())
}
