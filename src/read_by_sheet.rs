//! How a log is read by what the sheet says of it.

use std::path::{Path, PathBuf};

use crate::folder::{SHEET, folder_of, readable_sheet, unlisted_run};
use crate::gears::set_rollout_mm;
use crate::import;
use crate::import::columns::Hints;
use crate::log::Log;
use crate::sheet::{RunPlan, Sheet};

/// What the sheet says about how a run's log is to be read.
pub fn hints(plan: &RunPlan, sheet: &Sheet) -> Hints {
    Hints {
        rules: sheet.import.rules.clone(),
        encoding: sheet.import.encoding.clone(),
        delimiter: sheet.import.delimiter,
        decimal: sheet.import.decimal,
        rate_hz: sheet.import.rate_hz,
        poles: plan.settings.number("motor.poles"),
        cells: plan.settings.number("battery.cells"),
        ambient_c: plan.ambient_c,
        rollout_mm: set_rollout_mm(&plan.settings),
    }
}

/// Reads one log with what the sheet beside it, or in the folder above, says about reading it.
///
/// # Errors
/// [`import::ReadError`].
pub fn read_log(path: &Path) -> Result<Vec<Log>, import::ReadError> {
    read_log_bytes(path, &import::bytes_of(path)?)
}

/// The same of a log at `path` whose bytes are known.
///
/// # Errors
/// [`import::ReadError`].
pub fn read_log_bytes(path: &Path, bytes: &[u8]) -> Result<Vec<Log>, import::ReadError> {
    let folder = folder_of(path);
    let nearest = [folder.clone(), folder.join("..")].into_iter().find(|f| f.join(SHEET).is_file());
    let sheet = nearest.and_then(|f| readable_sheet(&f)).unwrap_or_default();
    let name = path.file_name().unwrap_or_default();
    let listed = sheet.runs.iter().find(|r| r.log.file_name() == Some(name)).cloned();
    let run = listed.unwrap_or_else(|| unlisted_run(PathBuf::from(name), None));
    import::read_bytes(path, bytes, &hints(&run, &sheet))
}
