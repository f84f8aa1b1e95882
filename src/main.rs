//! Parse, call, exit code.

mod commands;

#[global_allocator]
static MEMORY: mimalloc::MiMalloc = mimalloc::MiMalloc;

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
