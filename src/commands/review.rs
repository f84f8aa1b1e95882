//! `review`: reviews weekends or single logs, writes each report and prints its summary.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use runtrue::packed::path::{is_file, through_archive};
use runtrue::report::{terminal, write};
use runtrue::review_file;
use runtrue::storage::WriteError;
use runtrue::units::Units;

use super::output::{Output, Problem, print};
use crate::cli::{OutputFormat, ReviewArguments};

/// From this many runs on the work takes long enough for a progress bar.
const RUNS_FOR_A_BAR: usize = 4;

pub fn run(arguments: &ReviewArguments, output: Output) -> Result<ExitCode, Problem> {
    if arguments.schema {
        return print(format!("{:#}\n", review_file::schema().to_value()));
    }
    let mut any_reviewed = false;
    for path in &arguments.paths {
        match report_folder(path, arguments).and_then(|report| review_one(path, &report, arguments.shown.units, output))
        {
            Ok(reviewed) => any_reviewed |= reviewed,
            Err(problem) if arguments.paths.len() == 1 => return Err(problem),
            Err(problem) => problem.print(output),
        }
    }
    Ok(if any_reviewed { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// Folder of the report of `path`. One that the user did not name himself may not be a link: it may lead anywhere.
fn report_folder(path: &Path, arguments: &ReviewArguments) -> Result<PathBuf, Problem> {
    let folder = match &arguments.out {
        Some(folder) if arguments.paths.len() == 1 => return Ok(folder.clone()),
        Some(folder) => folder.join(path.file_name().unwrap_or_default()),
        None if path.is_file() => path.with_extension("report"),
        // Nothing is written into an archive.
        None if is_file(path) => through_archive(path)
            .map(|through| through.archive.with_file_name(path.file_name().unwrap_or_default()))
            .map_or_else(|| path.with_extension("report"), |beside| beside.with_extension("report")),
        None => path.join("report"),
    };
    if folder.is_symlink() {
        return Err(unwritten(WriteError::Link { path: folder.display().to_string() }));
    }
    Ok(folder)
}

fn unwritten(e: WriteError) -> Problem {
    Problem::new(&e).hint(e.hint())
}

/// Reviews one weekend or log; whether any of its runs could be reviewed.
fn review_one(path: &Path, report: &Path, units: Option<Units>, output: Output) -> Result<bool, Problem> {
    let bar = ProgressBar::hidden();
    bar.set_style(
        ProgressStyle::with_template("{wide_bar} {pos}/{len} runs").unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    let progress = |done: usize, count: usize| {
        let wanted = !output.quiet && output.format == OutputFormat::Text && std::io::stderr().is_terminal();
        // A target set anew forgets the line that it drew, and would draw the next one behind it.
        if count >= RUNS_FOR_A_BAR && wanted && bar.is_hidden() {
            bar.set_draw_target(ProgressDrawTarget::stderr());
        }
        bar.update(|state| {
            state.set_len(count as u64);
            state.set_pos(done as u64);
        });
    };
    let review = runtrue::review::review(path, &progress).map_err(|e| Problem::new(&e).hint(e.hint()))?;
    bar.finish_and_clear();
    let units = units.unwrap_or(review.sheet.units());
    let page = write::write(&review, report, units).map_err(unwritten)?;
    let text = || {
        let how_read = if output.verbose { terminal::how_read(&review) } else { String::new() };
        format!("{}\n{how_read}Report: {}\n", terminal::summary(&review, units), page.display())
    };
    // The same text as the file, so that a program may take either.
    output.say_document(text, || review_file::text(&review))?;
    Ok(review.runs.iter().any(|r| r.done().is_some()))
}
