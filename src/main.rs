//! Parse, call, exit code.

mod commands;

use std::process::ExitCode;

use clap::Parser;
use runtrue::cli::Arguments;

fn main() -> ExitCode {
    let Arguments { format, quiet, verbose, command } = Arguments::parse();
    let out = commands::Out { format, quiet, verbose };
    match commands::call(command, out) {
        Ok(code) => code,
        Err(problem) => {
            problem.print(out);
            ExitCode::from(problem.code)
        }
    }
}
