//! `read`: shows how logs were read.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use runtrue::archives_in_folder::{LeftPacked, WhyLeft, notices, of_archive};
use runtrue::packed::path::is_archive_file;
use runtrue::report::terminal;
use serde_json::json;

use super::log_input::read_log;
use super::output::{Output, Problem};
use crate::cli::ReadArguments;

pub fn run(arguments: &ReadArguments, output: Output) -> Result<ExitCode, Problem> {
    let mut any_read = false;
    for path in arguments.logs.iter().flat_map(|path| logs_at(path, output)) {
        let name = path.display().to_string();
        match read_log(&path) {
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

/// The logs that are meant by `path`: those in an archive, after it was said what in it is none; else the path itself.
fn logs_at(path: &Path, output: Output) -> Vec<PathBuf> {
    if !is_archive_file(path) {
        return vec![path.to_owned()];
    }
    let found = of_archive(path, path);
    let (unreadable, other): (Vec<_>, Vec<_>) =
        found.left.into_iter().partition(|left| matches!(left.why, WhyLeft::Unreadable(..)));
    for LeftPacked { file, why } in &unreadable {
        let problem = Problem::new(format!("`{}` could not be read: {why}", file.display()));
        problem.hint(why.hint().unwrap_or_default()).print(output);
    }
    for notice in notices(&other).iter().filter(|_| !output.quiet) {
        output.remark(&notice.text());
        notice.hint.iter().for_each(|hint| output.remark(&format!("hint: {hint}")));
    }
    found.files
}
