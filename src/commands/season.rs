//! What `season` does: gathers weekends, one at a time, and answers over all that are in the data set.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use runtrue::cli::Format;
use runtrue::report::{self, terminal};
use runtrue::season;
use runtrue::season::known::Known;
use runtrue::season::partition::Partition;
use serde_json::{Value, json};

use super::{Out, Problem, print, say};

/// Columns of the data set and the JSON Schema of its answers.
pub fn schema() -> Value {
    let mut schema = json!(season::schema::schema());
    schema["answers"] = report::season::schema().to_value();
    schema
}

/// Gathers weekends into the data set at `root`, then answers over all that is in it.
pub fn gather(paths: &[PathBuf], root: &Path, only: bool, out: Out) -> Result<ExitCode, Problem> {
    let (mut gathered, mut failed) = (Vec::new(), 0);
    let mut known = Known::load(root).map_err(unlisted)?;
    for folder in season::gather::weekends(paths) {
        match gather_weekend(&folder, root, &gathered, &mut known, out) {
            Ok(partition) => gathered.push((partition, folder)),
            Err(problem) => {
                problem.print(out);
                failed += 1;
            }
        }
    }
    if gathered.is_empty() {
        return Ok(ExitCode::FAILURE);
    }
    if only && failed > 0 {
        let message = "no weekend was taken out: of those named, some could not be gathered";
        Problem::new(message, Some("put that right, and ask for `--only` again".to_owned())).print(out);
    } else if only {
        for partition in season::store::partitions(root).map_err(unlisted)? {
            if !gathered.iter().any(|g| g.0 == partition) {
                season::store::remove(root, &partition).map_err(|e| Problem::new(e, None))?;
            }
        }
    }
    let (answers, broken) = season::answers::answers(root).map_err(unlisted)?;
    broken.into_iter().for_each(|e| unreadable(e).print(out));
    let page = report::season::write(&answers, root).map_err(|e| Problem::new(e, None))?;
    let text = || format!("{}\nThe season's page is {}\n", terminal::season(&answers), page.display());
    match out.format {
        Format::Json => print(report::season::text(&answers)),
        Format::Text => say(out, text, || Value::Null),
    }
}

fn unreadable(e: season::store::ReadError) -> Problem {
    let hint = "its weekend is left out of the answers: remove it from the data set, or gather it again";
    Problem::new(e, Some(hint.to_owned()))
}

fn unlisted(e: season::store::ReadError) -> Problem {
    Problem::new(e, Some("name another folder with `--out`".to_owned()))
}

/// Gathers one weekend; `before` are those of this call, `known` those of the data set.
fn gather_weekend(
    folder: &Path,
    root: &Path,
    before: &[(Partition, PathBuf)],
    known: &mut Known,
    out: Out,
) -> Result<Partition, Problem> {
    let weekend = season::gather::gather(folder).map_err(|e| Problem::new(&e, Some(e.hint())))?;
    let partition = weekend.partition.clone();
    let own = folder.display();
    let refused = |why: String| {
        let hint = "an entry of its own needs a `name` of its own in weekend.toml; a weekend counts once";
        Problem::new(format!("`{own}` {why} and was not gathered"), Some(hint.to_owned()))
    };
    let old = known.renamed(&weekend).cloned();
    let of_this_call = |p: &Partition| before.iter().find(|g| g.0 == *p).map(|g| g.1.display());
    if let Some(other) = of_this_call(&partition) {
        return Err(refused(format!("has the date and the name of `{other}`")));
    }
    if let Some(other) = old.as_ref().and_then(of_this_call) {
        return Err(refused(format!("holds the same logs as `{other}`")));
    }
    if known.has_different(&weekend) {
        return Err(refused(format!("has other logs than `{}`, which is in the data set already", partition.weekend)));
    }
    let note = |text: String| {
        if out.format == Format::Text {
            eprintln!("{}", terminal::wrap(&text, "  "));
        }
    };
    if weekend.reviewed_anew && out.verbose {
        note(format!("{own}: had no review as new as its files, and was reviewed in passing"));
    }
    season::store::write(root, &weekend)
        .map_err(|e| Problem::new(e, Some("name another folder with `--out`".to_owned())))?;
    if let Some(old) = &old {
        season::store::remove(root, old).map_err(|e| Problem::new(e, None))?;
        if !out.quiet {
            let (old, new) = (&old.weekend, &partition.weekend);
            note(format!("`{old}` held the same logs and was taken out: the weekend is `{new}` now"));
        }
    }
    known.add(&weekend, old.as_ref());
    Ok(partition)
}
