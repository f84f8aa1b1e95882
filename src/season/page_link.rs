//! The way from the data set's folder to the page of a weekend.

use std::path::{Component, Path, PathBuf};

/// A weekend's page in its folder.
const PAGE: [&str; 2] = ["report", "index.html"];

/// The page of the weekend in `folder`, from the data set's folder at `root`, which is there: names between `/`, as in
/// an address. `None` where no way leads there (another drive), or a name is not text.
pub fn page_link(root: &Path, folder: &Path) -> Option<String> {
    let (root, folder) = (root.canonicalize().ok()?, folder.canonicalize().ok()?);
    let (from, to): (Vec<Component>, Vec<Component>) = (root.components().collect(), folder.components().collect());
    let shared = from.iter().zip(&to).take_while(|(a, b)| a == b).count();
    if shared == 0 {
        return None;
    }
    let up = (shared..from.len()).map(|_| Some(".."));
    let down = to[shared..].iter().map(|name| name.as_os_str().to_str());
    let names: Option<Vec<&str>> = up.chain(down).chain(PAGE.map(Some)).collect();
    Some(names?.join("/"))
}

/// Where such a link leads.
pub fn linked_page(root: &Path, link: &str) -> PathBuf {
    link.split('/').fold(root.to_owned(), |path, name| path.join(name))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_goes_up_to_the_folder_that_both_are_in() {
        let all = tempfile::tempdir().unwrap();
        let (season, weekend) = (all.path().join("data/season"), all.path().join("Round 1 & 2"));
        std::fs::create_dir_all(&season).unwrap();
        std::fs::create_dir_all(&weekend).unwrap();
        let link = page_link(&season, &weekend).unwrap();
        assert_eq!(link, "../../Round 1 & 2/report/index.html");
        assert_eq!(page_link(all.path(), &weekend).unwrap(), "Round 1 & 2/report/index.html");
        assert_eq!(page_link(&season, &season).unwrap(), "report/index.html");
        std::fs::create_dir(weekend.join("report")).unwrap();
        std::fs::write(weekend.join("report/index.html"), "").unwrap();
        assert!(linked_page(&season, &link).is_file());
    }

    #[test]
    fn no_way_leads_to_a_folder_that_is_gone() {
        let all = tempfile::tempdir().unwrap();
        assert_eq!(page_link(all.path(), &all.path().join("gone")), None);
    }
}
