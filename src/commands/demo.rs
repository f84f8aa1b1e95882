//! `demo`: writes an invented weekend, or a season of them.

use std::process::ExitCode;

use runtrue::demo::{alder_quay, season};
use runtrue::folder::SHEET;
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
    alder_quay::invent(seed)
        .write(folder)
        .map_err(|e| Problem::new(e).hint(format!("name a folder without a `{SHEET}`")))?;
    let text = || format!("An invented weekend is in {0}.\nNow try: runtrue review {0}\n", folder.display());
    output.say(text, || json!({ "folder": folder, "seed": seed }))
}

fn write_season(arguments: &DemoArguments, weekends: u8, output: Output) -> Result<ExitCode, Problem> {
    let (folder, seed) = (&arguments.folder, arguments.seed);
    let rounds = season::invent(seed, weekends);
    if let Some(taken) = rounds.iter().map(|r| folder.join(&r.folder)).find(|f| f.join(SHEET).exists()) {
        let message = format!("there is already a weekend in `{}`; nothing was written", taken.display());
        return Err(Problem::new(message).hint("name another folder"));
    }
    for round in rounds {
        let written = round.weekend.write(&folder.join(&round.folder));
        written.map_err(|e| Problem::new(e).hint("name another folder"))?;
    }
    let text = || format!("An invented season is in {0}.\nNow try: runtrue season {0}\n", folder.display());
    output.say(text, || json!({ "folder": folder, "seed": seed, "weekends": weekends }))
}
