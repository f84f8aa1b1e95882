//! `completions` and `man`: the arguments as shells and manual readers want them.

use std::process::ExitCode;

use clap::CommandFactory;
use serde_json::json;

use super::output::{Output, Problem, print};
use crate::cli::{Arguments, CompletionsArguments, ManArguments};

/// Prints the completion script of a shell.
pub fn print_completions(arguments: &CompletionsArguments) -> Result<ExitCode, Problem> {
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut Arguments::command(), "runtrue", &mut script);
    print(script)
}

/// Writes a manual page for each command.
pub fn write_pages(arguments: &ManArguments, output: Output) -> Result<ExitCode, Problem> {
    let folder = &arguments.folder;
    std::fs::create_dir_all(folder).and_then(|()| clap_mangen::generate_to(Arguments::command(), folder)).map_err(
        |e| {
            let message = format!("the manual pages could not be written to `{}`: {e}", folder.display());
            Problem::new(message).hint("name another folder")
        },
    )?;
    output.say(|| format!("The manual pages are in {}\n", folder.display()), || json!({ "folder": folder }))
}
