//! `convert`: writes a log in another format, a file for each run in it.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use runtrue::storage::{write_log, write_log_to};
use serde_json::json;

use super::log_input::{STANDARD, read_log};
use super::output::{Output, Problem, print};
use crate::cli::ConvertArguments;

const ANOTHER_FILE: &str = "name another file with `--out`";

pub fn run(arguments: &ConvertArguments, output: Output) -> Result<ExitCode, Problem> {
    let (log, format) = (&arguments.log, arguments.to);
    let logs = read_log(log)?;
    let standard = Path::new(STANDARD);
    if arguments.out.is_none() && log == standard {
        let message = "reading standard input: name an output file with `--out`";
        return Err(Problem::wrong_use(message).hint("`--out -` writes to standard output"));
    }
    let base = arguments.out.clone().unwrap_or_else(|| log.with_extension(format.file_ending()));
    if base == standard {
        let [log] = logs.as_slice() else {
            let message = format!("the log holds {} runs; standard output takes only one", logs.len());
            return Err(Problem::wrong_use(message).hint("name a file with `--out`; each run gets a file of its own"));
        };
        let mut bytes = Vec::new();
        write_log_to(log, format, &mut bytes).map_err(Problem::new)?;
        return print(&bytes);
    }
    for (index, log) in logs.iter().enumerate() {
        let path = if logs.len() == 1 { base.clone() } else { numbered(&base, index + 1) };
        if path.exists() {
            return Err(Problem::new(format!("`{}` already exists; not changed", path.display())).hint(ANOTHER_FILE));
        }
        write_log(log, format, &path).map_err(|e| Problem::new(e).hint(ANOTHER_FILE))?;
        let text = || format!("{}: {} rows\n", path.display(), log.rows());
        output.say(text, || json!({ "file": path, "rows": log.rows() }))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// `name.ending` as `name.2.ending`.
fn numbered(path: &Path, number: usize) -> PathBuf {
    path.with_extension(format!("{number}.{}", path.extension().unwrap_or_default().to_string_lossy()))
}
