//! Paths on the sheet, which must stay inside the weekend's folder.

use std::path::{Component, Path, PathBuf};

use crate::notice::printable;

/// The path, if it stays inside the weekend's folder.
///
/// # Errors
/// What is wrong with it, to follow the name of its key.
pub fn inside_folder(text: &str) -> Result<PathBuf, String> {
    // A sheet may come from another system: its separators and drives count too.
    let unified = text.replace('\\', "/");
    let path = Path::new(&unified);
    if text.trim().is_empty() || unified.contains('\0') {
        return Err("is empty".to_owned());
    }
    let outside = || Err(format!("is `{}`, which is outside the weekend's folder", printable(text, 60)));
    if path.is_absolute() || unified.as_bytes().get(1) == Some(&b':') {
        return outside();
    }
    let mut depth = 0i32;
    for part in path.components() {
        match part {
            Component::Normal(_) => depth += 1,
            Component::ParentDir => depth -= 1,
            _ => {}
        }
        if depth < 0 {
            return outside();
        }
    }
    Ok(path.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    #[rstest]
    #[case("../x.csv")]
    #[case("/etc/passwd")]
    #[case("a/../../x.csv")]
    #[case("..\\x.csv")]
    #[case("C:\\x.csv")]
    fn paths_stay_inside(#[case] path: &str) {
        assert!(inside_folder(path).unwrap_err().contains("outside the weekend's folder"));
    }
}
