//! `demo`: writes an invented weekend, or a season of them.

use std::process::ExitCode;

use runtrue::demo::files::DemoError;
use runtrue::demo::{alder_quay, files, season};
use serde_json::json;

use super::output::{Output, Problem};
use crate::cli::DemoArguments;

pub fn run(arguments: &DemoArguments, output: Output) -> Result<ExitCode, Problem> {
    match arguments.season {
        Some(weekends) => write_season(arguments, weekends, output),
        None => write_weekend(arguments, output),
    }
}

fn write_weekend(arguments: &DemoArguments, output: Output) -> Result<ExitCode, Problem> {
    let (folder, seed) = (&arguments.folder, arguments.seed);
    alder_quay::invent(seed).write(folder).map_err(unwritten)?;
    let text = || format!("An invented weekend is in {0}.\nNow try: runtrue review {0}\n", folder.display());
    output.say(text, || json!({ "folder": folder, "seed": seed }))
}

fn write_season(arguments: &DemoArguments, weekends: u8, output: Output) -> Result<ExitCode, Problem> {
    let (folder, seed) = (&arguments.folder, arguments.seed);
    files::write(folder, &season::files(&season::invent(seed, weekends))).map_err(unwritten)?;
    let text = || format!("An invented season is in {0}.\nNow try: runtrue season {0}\n", folder.display());
    output.say(text, || json!({ "folder": folder, "seed": seed, "weekends": weekends }))
}

fn unwritten(e: DemoError) -> Problem {
    let hint = match e {
        DemoError::Taken { .. } => "name a folder that does not exist yet, or an empty one",
        DemoError::Unreadable { .. } | DemoError::Unwritten(_) => "name another folder",
    };
    Problem::new(e).hint(hint)
}
