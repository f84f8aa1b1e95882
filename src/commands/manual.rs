//! `completions` and `man`: the arguments as shells and manual readers want them.

use std::io;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::CommandFactory;
use runtrue::storage::{WriteError, check_own, own_folder, write_own};
use serde_json::json;

use super::output::{Output, Problem, print};
use crate::cli::{Arguments, CompletionsArguments, ManArguments};

/// Prints the completion script of a shell.
pub fn print_completions(arguments: &CompletionsArguments) -> Result<ExitCode, Problem> {
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut Arguments::command(), "runtrue", &mut script);
    print(script)
}

/// Writes a manual page for each command, over nothing but earlier ones.
pub fn write_pages(arguments: &ManArguments, output: Output) -> Result<ExitCode, Problem> {
    let folder = &arguments.folder;
    let problem = |e: WriteError| Problem::new(e).hint("name another folder");
    let pages = pages().map_err(|e| Problem::new(format!("the manual pages could not be made: {e}")))?;
    own_folder(folder, Path::new("")).map_err(problem)?;
    check_own(folder, pages.iter().map(|(name, _)| name.as_path())).map_err(problem)?;
    for (name, text) in pages {
        write_own(folder, &name, |out| out.write_all(&text).map_err(|e| e.to_string())).map_err(problem)?;
    }
    output.say(|| format!("The manual pages are in {}\n", folder.display()), || json!({ "folder": folder }))
}

/// The manual pages by the names of their files.
fn pages() -> io::Result<Vec<(PathBuf, Vec<u8>)>> {
    // They come as files only.
    let made = tempfile::tempdir()?;
    clap_mangen::generate_to(Arguments::command(), made.path())?;
    let mut pages = Vec::new();
    for entry in std::fs::read_dir(made.path())? {
        let entry = entry?;
        pages.push((PathBuf::from(entry.file_name()), std::fs::read(entry.path())?));
    }
    pages.sort();
    Ok(pages)
}
