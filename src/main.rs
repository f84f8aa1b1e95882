//! Parse, call, exit code.

#![forbid(unsafe_code)]

mod commands;

use std::process::ExitCode;

use clap::Parser;
use runtrue::cli::Arguments;

/// It asks for large pages: reading a long log would spend half of its time in page faults.
#[global_allocator]
static MEMORY: mimalloc::MiMalloc = mimalloc::MiMalloc;

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
