//! `convert`: writes a log in another format, a file for each run in it.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use runtrue::storage::{WriteError, write_log_to, write_new};
use serde_json::json;

use super::log_input::{STANDARD, read_log_to_convert};
use super::output::{Output, Problem, print};
use crate::cli::ConvertArguments;

const ANOTHER_FILE: &str = "name another file with `--out`";

pub fn run(arguments: &ConvertArguments, output: Output) -> Result<ExitCode, Problem> {
    let (log, format) = (&arguments.log, arguments.to);
    let (logs, mark) = read_log_to_convert(log)?;
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
        write_log_to(log, format, mark, &mut bytes).map_err(Problem::new)?;
        return print(&bytes);
    }
    let path_of = |index: usize| if logs.len() == 1 { base.clone() } else { numbered(&base, index + 1) };
    // All are looked at before one is written.
    if let Some(taken) = (0..logs.len()).map(path_of).find(|path| path.symlink_metadata().is_ok()) {
        let path = taken.display().to_string();
        return Err(Problem::new(WriteError::Exists { path }).hint(ANOTHER_FILE));
    }
    for (index, log) in logs.iter().enumerate() {
        let path = path_of(index);
        write_new(&path, |out| write_log_to(log, format, mark, out)).map_err(|e| Problem::new(e).hint(ANOTHER_FILE))?;
        let text = || format!("{}: {} rows\n", path.display(), log.rows());
        output.say(text, || json!({ "file": path, "rows": log.rows() }))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// `name.ending` as `name.2.ending`.
fn numbered(path: &Path, number: usize) -> PathBuf {
    path.with_extension(format!("{number}.{}", path.extension().unwrap_or_default().to_string_lossy()))
}
