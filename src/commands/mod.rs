//! The commands, one file each: what it reads, what it calls in the library, what it prints.

pub mod output;

mod ahead;
mod convert;
mod demo;
mod gears;
mod log_input;
mod manual;
mod read;
mod review;
mod season;
mod serve;
mod sheet;

use std::process::ExitCode;

use crate::cli::Command;
use output::{Output, Problem};

/// Does what `command` asks for.
pub fn run(command: Command, output: Output) -> Result<ExitCode, Problem> {
    match command {
        Command::Review(arguments) => review::run(&arguments, output),
        Command::Read(arguments) => read::run(&arguments, output),
        Command::Sheet(arguments) => sheet::run(&arguments, output),
        Command::Gears(arguments) => gears::run(arguments, output),
        Command::Ahead(arguments) => ahead::run(&arguments, output),
        Command::Convert(arguments) => convert::run(&arguments, output),
        Command::Serve(arguments) => serve::run(&arguments, output),
        Command::Season(arguments) => season::run(&arguments, output),
        Command::Completions(arguments) => manual::print_completions(&arguments),
        Command::Man(arguments) => manual::write_pages(&arguments, output),
        Command::Demo(arguments) => demo::run(&arguments, output),
    }
}
