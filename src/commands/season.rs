//! `season`: collects weekends into the data set, one at a time, and answers over all that are in it.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use runtrue::report::{self, terminal};
use runtrue::season::gather;
use runtrue::season::known::Known;
use runtrue::season::page_link::page_link;
use runtrue::season::partition::Partition;
use runtrue::season::rows::Weekend;
use runtrue::season::store::{self, ReadError};
use runtrue::season::{answers, schema};
use runtrue::storage::{WriteError, own_folder};
use runtrue::units::Units;
use serde_json::{Value, json};

use super::output::{Output, Problem, print};
use crate::cli::SeasonArguments;

const ANOTHER_FOLDER: &str = "name another folder with `--out`";

pub fn run(arguments: &SeasonArguments, output: Output) -> Result<ExitCode, Problem> {
    if arguments.schema {
        return print(format!("{:#}\n", tables_and_answers()));
    }
    let root = &arguments.out;
    report::season::check(root).map_err(unwritten)?;
    let mut collection =
        Collection { root, known: Known::load(root).map_err(unreadable_root)?, collected: Vec::new(), output };
    let mut any_failed = false;
    for folder in gather::weekends(&arguments.paths) {
        if let Err(problem) = collection.collect(&folder) {
            problem.print(output);
            any_failed = true;
        }
    }
    if collection.collected.is_empty() {
        return Ok(ExitCode::FAILURE);
    }
    if arguments.only && any_failed {
        let message = "no weekend was removed, because some of those you named could not be collected";
        Problem::new(message).hint("correct that, then run with `--only` again").print(output);
    } else if arguments.only {
        collection.remove_others()?;
    }
    answer(root, arguments.shown.units.unwrap_or_default(), output)
}

/// Columns of the data set and the JSON Schema of its answers.
fn tables_and_answers() -> Value {
    let mut schema = json!(schema::schema());
    schema["answers"] = report::season::schema().to_value();
    schema
}

/// Answers over the whole data set: writes the page, prints the summary.
fn answer(root: &Path, units: Units, output: Output) -> Result<ExitCode, Problem> {
    let (answers, broken) = answers::answers(root).map_err(unreadable_root)?;
    for e in broken {
        let hint = "its weekend is not in the answers: delete the file if it is there, then run `runtrue season` with \
                    that weekend's folder again";
        Problem::new(e).hint(hint).print(output);
    }
    let page = report::season::write(&answers, root, units).map_err(unwritten)?;
    let text = || format!("{}\nSeason page: {}\n", terminal::season(&answers, units), page.display());
    output.say_document(text, || report::season::text(&answers))
}

fn unreadable_root(e: ReadError) -> Problem {
    Problem::new(e).hint(ANOTHER_FOLDER)
}

fn unwritten(e: WriteError) -> Problem {
    Problem::new(&e).hint(e.hint())
}

/// What one call of `season` collects.
struct Collection<'a> {
    /// The data set's folder.
    root: &'a Path,
    /// Weekends in the data set.
    known: Known,
    /// Weekends of this call with the folders they came from.
    collected: Vec<(Partition, PathBuf)>,
    output: Output,
}

impl Collection<'_> {
    /// Adds the weekend in `folder` to the data set, or replaces it there.
    fn collect(&mut self, folder: &Path) -> Result<(), Problem> {
        let weekend = gather::gather(folder).map_err(|e| Problem::new(&e).hint(e.hint()))?;
        let partition = weekend.partition.clone();
        let earlier = self.known.renamed(&weekend).cloned();
        self.refuse_double(&weekend, &partition, earlier.as_ref(), folder)?;
        if weekend.reviewed_anew && self.output.verbose {
            let why = "its review was missing or older than its files, so it was reviewed again";
            self.output.remark(&format!("{}: {why}", folder.display()));
        }
        own_folder(self.root, Path::new("")).map_err(unwritten)?;
        let weekend = weekend.with_page(page_link(self.root, folder));
        store::write(self.root, &weekend).map_err(unwritten)?;
        if let Some(earlier) = &earlier {
            store::remove(self.root, earlier).map_err(unwritten)?;
            if !self.output.quiet {
                let (old, new) = (&earlier.weekend, &partition.weekend);
                self.output.remark(&format!("`{old}` held the same logs and was removed: the weekend is now `{new}`"));
            }
        }
        self.known.add(&weekend, earlier.as_ref());
        self.collected.push((partition, folder.to_owned()));
        Ok(())
    }

    /// A weekend counts once: refuses one that was collected before in this call, and one that would replace another.
    fn refuse_double(
        &self,
        weekend: &Weekend,
        partition: &Partition,
        earlier: Option<&Partition>,
        folder: &Path,
    ) -> Result<(), Problem> {
        let of_this_call = |p: &Partition| self.collected.iter().find(|c| c.0 == *p).map(|c| c.1.display());
        let why = if let Some(other) = of_this_call(partition) {
            format!("has the same date and name as `{other}`")
        } else if let Some(other) = earlier.and_then(of_this_call) {
            format!("holds the same logs as `{other}`")
        } else if self.known.has_different(weekend) {
            format!("has the date and name of `{}` in the data set, but other logs", partition.weekend)
        } else {
            return Ok(());
        };
        let hint = "a weekend counts once; if this is another one, give it a `name` of its own in weekend.toml";
        Err(Problem::new(format!("`{}` {why}; it was not collected", folder.display())).hint(hint))
    }

    /// Removes the weekends from the data set that were not collected in this call.
    fn remove_others(&self) -> Result<(), Problem> {
        for partition in store::partitions(self.root).map_err(unreadable_root)? {
            if !self.collected.iter().any(|c| c.0 == partition) {
                store::remove(self.root, &partition).map_err(unwritten)?;
            }
        }
        Ok(())
    }
}
