//! Runs as blocks of lines on a sheet's text: taken off, moved and split with the comments that are their own.
//!
//! A run's own are the comment lines right above its heading, and those right below its last key that a blank line parts
//! from what follows. A heading that somebody drew of signs, `# ===== Saturday =====`, stays where it is.

use std::ops::Range;

use toml_edit::{Document, Item};

use super::commented::is_waiting_in_run;
use super::document::{EditError, parse};
use super::keys::{Key, Table};
use super::values::set;

const RUNS: &str = Table::Run.name();
/// Signs that a drawn heading is made of, and how many of one make it.
const DRAWN: [char; 6] = ['=', '-', '*', '#', '~', '_'];
const LEAST_DRAWN: usize = 3;

/// The text without the runs that have these numbers (from 0).
pub(super) fn without_runs(keys: &[Key], text: &str, gone: &[usize]) -> Result<String, EditError> {
    let text = in_tables(keys, text)?;
    let mut lines: Vec<&str> = text.split('\n').collect();
    for block in blocks(keys, &text)?.into_iter().enumerate().rev().filter(|b| gone.contains(&b.0)).map(|b| b.1) {
        let is_blank = |line: Option<&&str>| line.is_none_or(|l| l.trim().is_empty());
        let above = block.start.checked_sub(1).and_then(|above| lines.get(above));
        // Of the blank lines around it one stays, and none at the end.
        let is_last = lines[block.end..].iter().all(|line| is_blank(Some(line)));
        let (mut start, mut end) = (block.start, block.end);
        if is_blank(above) && is_last {
            start = start.saturating_sub(1);
        } else if is_blank(above) && is_blank(lines.get(end)) {
            end += 1;
        }
        lines.drain(start..end);
    }
    checked(&text, lines.join("\n"), |runs| {
        let mut number = 0;
        runs.retain(|_| {
            number += 1;
            !gone.contains(&(number - 1))
        });
    })
}

/// The text with the run `from` in the place of the run `to`; those between move up or down.
pub(super) fn with_run_moved(keys: &[Key], text: &str, from: usize, to: usize) -> Result<String, EditError> {
    let text = in_tables(keys, text)?;
    let blocks = blocks(keys, &text)?;
    if from >= blocks.len() || to >= blocks.len() {
        return Err(EditError::Place(RUNS.to_owned()));
    }
    let lines: Vec<&str> = text.split('\n').collect();
    let mut order: Vec<usize> = (0..blocks.len()).collect();
    let moved = order.remove(from);
    order.insert(to, moved);
    let mut new: Vec<&str> = Vec::with_capacity(lines.len());
    let mut done = 0;
    for (place, block) in blocks.iter().enumerate() {
        new.extend(&lines[done..block.start]);
        new.extend(&lines[blocks[order[place]].clone()]);
        done = block.end;
    }
    new.extend(&lines[done..]);
    checked(&text, new.join("\n"), |runs| {
        let run = runs.remove(from);
        runs.insert(to, run);
    })
}

/// The text with the run `number` once for each of `ids`, one after the other: the first run in its log, the second, …
pub(super) fn with_run_split(keys: &[Key], text: &str, number: usize, ids: &[String]) -> Result<String, EditError> {
    let text = in_tables(keys, text)?;
    let block = blocks(keys, &text)?.into_iter().nth(number).ok_or_else(|| EditError::Place(RUNS.to_owned()))?;
    let lines: Vec<&str> = text.split('\n').collect();
    let mut new: Vec<&str> = lines[..block.start].to_vec();
    for part in 0..ids.len() {
        if part > 0 {
            new.push("");
        }
        new.extend(&lines[block.clone()]);
    }
    new.extend(&lines[block.end..]);
    let mut text = checked(&text, new.join("\n"), |runs| {
        for _ in 1..ids.len() {
            runs.insert(number, runs[number].clone());
        }
    })?;
    for (part, id) in ids.iter().enumerate() {
        let path = |key: &str| [RUNS, &(number + part).to_string(), key].map(str::to_owned);
        text = set(keys, &text, &path("id"), id)?;
        text = set(keys, &text, &path("part"), &(part + 1).to_string())?;
    }
    Ok(text)
}

/// The text with a heading of its own for each run.
fn in_tables(keys: &[Key], text: &str) -> Result<String, EditError> {
    let inline = text.parse::<Document<String>>().is_ok_and(|d| d.get(RUNS).is_some_and(Item::is_value));
    if inline { Ok(parse(keys, text)?.to_string()) } else { Ok(text.to_owned()) }
}

/// The lines of each run, in the order of the sheet.
fn blocks(keys: &[Key], text: &str) -> Result<Vec<Range<usize>>, EditError> {
    let no_place = || EditError::Place(RUNS.to_owned());
    let document = Document::parse(text).map_err(|_| no_place())?;
    let runs = document.get(RUNS).and_then(Item::as_array_of_tables).ok_or_else(no_place)?;
    let line_of = |byte: usize| text[..byte].matches('\n').count();
    let headings: Option<Vec<usize>> = runs.iter().map(|run| Some(line_of(run.span()?.start))).collect();
    let headings = headings.ok_or_else(no_place)?;
    let lines: Vec<&str> = text.split('\n').collect();
    let mut blocks: Vec<Range<usize>> = Vec::new();
    for (number, &heading) in headings.iter().enumerate() {
        let above = blocks.last().map_or(0, |before| before.end);
        let next = headings.get(number + 1).copied().unwrap_or(lines.len());
        let start = own_comment(keys, &lines, above, heading);
        blocks.push(start..own_end(keys, &lines, heading, next));
    }
    Ok(blocks)
}

fn is_comment(line: &str) -> bool {
    line.trim_start().starts_with('#')
}

/// The first line of the comment above a heading that is its run's own, `above` or below it.
fn own_comment(keys: &[Key], lines: &[&str], above: usize, heading: usize) -> usize {
    let drawn =
        |line: &str| DRAWN.iter().any(|c| line.trim_start().trim_start_matches('#').matches(*c).count() >= LEAST_DRAWN);
    let ruled = |line: &str| line.trim().len() >= LEAST_DRAWN && line.trim().bytes().all(|b| b == b'#');
    let is_own = |line: &&&str| is_comment(line) && !drawn(line) && !ruled(line) && !is_waiting_in_run(keys, line);
    heading - lines[above..heading].iter().rev().take_while(is_own).count()
}

/// The line behind the last one of a run whose heading is at `heading`, before the run at `next`.
fn own_end(keys: &[Key], lines: &[&str], heading: usize, next: usize) -> usize {
    let inner = |line: &str| ["[runs.", "[[runs."].iter().any(|form| line.replace(' ', "").starts_with(form));
    let other_table = |line: &&str| line.trim_start().starts_with('[') && !inner(line.trim_start());
    let length = lines[heading + 1..next].iter().take_while(|line| !other_table(line)).count();
    let end = heading + 1 + length;
    let is_key = |line: &str| !line.trim().is_empty() && !is_comment(line);
    let last = lines[heading..end].iter().rposition(|line| is_key(line)).map_or(heading, |at| heading + at);
    let comments = lines[last + 1..end].iter().take_while(|line| is_comment(line)).count();
    if last + 1 + comments < end || end == lines.len() {
        return last + 1 + comments;
    }
    // Up to the next heading without a blank line: a comment there is that one's, a line to be filled in is not.
    last + 1 + lines[last + 1..end].iter().take_while(|line| is_waiting_in_run(keys, line)).count()
}

/// `new`, where it says what `old` does but for its runs, which are as `change` makes them.
fn checked(old: &str, new: String, change: impl FnOnce(&mut Vec<toml::Value>)) -> Result<String, EditError> {
    let no_place = || EditError::Place(RUNS.to_owned());
    let read = |text: &str| text.parse::<toml::Table>().map_err(|_| no_place());
    let (mut expected, said) = (read(old)?, read(&new)?);
    let runs = expected.get_mut(RUNS).and_then(toml::Value::as_array_mut).ok_or_else(no_place)?;
    change(runs);
    if runs.is_empty() {
        expected.remove(RUNS);
    }
    if expected == said { Ok(new) } else { Err(no_place()) }
}
