//! `read`: shows how logs were read.

use std::process::ExitCode;

use runtrue::report::terminal;
use serde_json::json;

use super::log_input::read_log;
use super::output::{Output, Problem};
use crate::cli::ReadArguments;

pub fn run(arguments: &ReadArguments, output: Output) -> Result<ExitCode, Problem> {
    let mut any_read = false;
    for path in &arguments.logs {
        let name = path.display().to_string();
        match read_log(path) {
            Ok(logs) => {
                any_read = true;
                let value = || json!({ "log": name, "runs": logs.iter().map(|l| &l.reading).collect::<Vec<_>>() });
                output.say(|| terminal::reading(&name, &logs, arguments.shown.units.unwrap_or_default()), value)?;
            }
            Err(problem) => problem.print(output),
        }
    }
    Ok(if any_read { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}
