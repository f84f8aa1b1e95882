//! Words and paths of the sheet: near misses of known keys, and paths that must stay inside.

use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};

use crate::notice::printable;

/// The path, if it stays inside the weekend's folder.
pub fn inside(text: &str) -> Result<PathBuf, String> {
    let shown = printable(text, 60);
    // A sheet may come from another system: its separators and drives count too.
    let unified = text.replace('\\', "/");
    let path = Path::new(&unified);
    if text.trim().is_empty() || unified.contains('\0') {
        return Err("is empty".to_owned());
    }
    if path.is_absolute() || unified.as_bytes().get(1) == Some(&b':') {
        return Err(format!("is `{shown}`, which leaves the weekend's folder"));
    }
    let mut depth = 0i32;
    for part in path.components() {
        match part {
            Component::Normal(_) => depth += 1,
            Component::ParentDir => depth -= 1,
            _ => {}
        }
        if depth < 0 {
            return Err(format!("is `{shown}`, which leaves the weekend's folder"));
        }
    }
    Ok(path.to_owned())
}

/// Slips between two words: Levenshtein's distance (1966), a swap of neighbours counted as one.
pub fn distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut table: BTreeMap<(usize, usize), usize> = BTreeMap::new();
    for i in 0..=a.len() {
        for j in 0..=b.len() {
            let best = if i == 0 || j == 0 {
                i + j
            } else {
                let change = table[&(i - 1, j - 1)] + usize::from(a[i - 1] != b[j - 1]);
                let mut best = change.min(table[&(i - 1, j)] + 1).min(table[&(i, j - 1)] + 1);
                if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                    best = best.min(table[&(i - 2, j - 2)] + 1);
                }
                best
            };
            table.insert((i, j), best);
        }
    }
    table[&(a.len(), b.len())]
}
