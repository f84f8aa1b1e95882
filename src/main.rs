//! The program: reads its arguments, does what the command asks, ends with an exit status.

#![forbid(unsafe_code)]

mod cli;
mod commands;

use std::process::ExitCode;

use clap::Parser;

use cli::Arguments;
use commands::output::Output;
use runtrue::report::terminal;

/// This allocator asks the system for large pages: with small ones, half the time of reading a long log goes into page
/// faults.
#[global_allocator]
static MEMORY: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let Arguments { format, quiet, verbose, command } = Arguments::parse();
    let output = Output { format, quiet, verbose };
    if let Some((_, columns)) = console::Term::stdout().size_checked() {
        terminal::fit_to(usize::from(columns));
    }
    commands::run(command, output).unwrap_or_else(|problem| {
        problem.print(output);
        ExitCode::from(problem.exit_status)
    })
}
