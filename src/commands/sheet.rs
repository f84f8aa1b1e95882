//! `sheet`: writes a starter sheet for a folder of logs.

use std::path::Path;
use std::process::ExitCode;

use runtrue::folder::{self, FolderError, SHEET};
use runtrue::sheet::schema::schema;
use runtrue::storage::{WriteError, write_new};
use runtrue::units::Units;
use runtrue::wording::counted;
use serde_json::json;

use super::output::{Output, Problem, print};
use crate::cli::SheetArguments;

pub fn run(arguments: &SheetArguments, output: Output) -> Result<ExitCode, Problem> {
    match &arguments.folder {
        Some(folder) if !arguments.schema => write_starter(folder, arguments.shown.units, output),
        _ => print(format!("{:#}\n", schema())),
    }
}

fn write_starter(folder: &Path, units: Option<Units>, output: Output) -> Result<ExitCode, Problem> {
    let path = folder.join(SHEET);
    if path.symlink_metadata().is_ok() {
        return Err(unwritten(WriteError::Exists { path: path.display().to_string() }));
    }
    let problem = |e: FolderError| Problem::new(&e);
    let logs = folder::find_logs(folder).map_err(|source| {
        problem(FolderError::Io { path: folder.to_owned(), source }).hint("name a folder with logs in it")
    })?;
    if logs.is_empty() {
        let hint = "put logs ending in `.csv` or `.txt` into the folder";
        return Err(problem(FolderError::NoLogs(folder.to_owned())).hint(hint));
    }
    let starter = folder::starter_for(folder, &logs, units.unwrap_or_default());
    write_new(&path, |out| out.write_all(starter.as_bytes()).map_err(|e| e.to_string())).map_err(unwritten)?;
    let text = || {
        let found = counted(logs.len(), "log");
        format!(
            "Wrote {} with {found} in it. Fill in what you know, then run:\nruntrue review {}\n",
            path.display(),
            folder.display()
        )
    };
    output.say(text, || json!({ "sheet": path, "runs": logs.len() }))
}

fn unwritten(e: WriteError) -> Problem {
    let hint = match e {
        WriteError::Exists { .. } => "edit it, or move it away first",
        _ => "the sheet goes into the folder of the logs: make it writable",
    };
    Problem::new(e).hint(hint)
}
