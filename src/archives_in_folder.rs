//! The archives of a weekend's folder: which files in them count as the folder's own, and which are left.

use std::fmt::{self, Display};
use std::path::{Path, PathBuf};

use crate::folder_names::{SHEET, may_be_log};
use crate::notice::{Notice, NoticeCode, printable};
use crate::packed::archive::ArchiveError;
use crate::packed::path::{self, has_archive_name, is_archive_file, through_archive};
use crate::wording::counted;

/// Longest name that is shown, characters.
const LONGEST_NAME: usize = 80;
/// Names shown of several files at most.
const MOST_NAMES: usize = 3;

/// Why a packed file is left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhyLeft {
    /// The archive could not be opened: why, and what to do.
    Unreadable(String, &'static str),
    /// It is an archive in an archive.
    Nested,
    /// Its name has not the ending of a log or a lap list.
    NotALog,
    /// It is a setup sheet, where one is not looked for.
    Sheet,
    /// Its name leads out of the archive.
    LeadsOut,
}

impl WhyLeft {
    /// What to do about it.
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            Self::Unreadable(_, hint) => Some(hint),
            Self::Nested => Some("unpack it yourself and add what is in it"),
            Self::LeadsOut => Some("pack the files again, by their names alone"),
            Self::NotALog | Self::Sheet => None,
        }
    }
}

impl Display for WhyLeft {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Unreadable(why, _) => why,
            Self::Nested => "it is packed in a packed file",
            Self::NotALog => "it is neither a log nor a lap list, by its name",
            Self::Sheet => "it is a setup sheet; only one in the folder itself is used",
            Self::LeadsOut => "its name leads out of the packed file",
        })
    }
}

/// A packed file that is left, or a whole archive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftPacked {
    /// The file, from the folder.
    pub file: PathBuf,
    /// Why.
    pub why: WhyLeft,
}

/// What is in the archives of a folder.
#[derive(Debug, Default)]
pub struct Unpacked {
    /// Files that may be logs or lap lists, from the folder.
    pub files: Vec<PathBuf>,
    /// What is left.
    pub left: Vec<LeftPacked>,
}

/// Looks into the archives among `files` of a folder on the drive; of a folder in an archive, says what is left of it.
pub fn look_into(folder: &Path, files: &[PathBuf]) -> Unpacked {
    let mut found = Unpacked::default();
    if through_archive(folder).is_some() {
        let other = |f: &&PathBuf| !may_be_log(f) && f.as_os_str() != SHEET;
        found
            .left
            .extend(files.iter().filter(other).map(|file| LeftPacked { file: file.clone(), why: why_left(file) }));
        return found;
    }
    for archive in files.iter().filter(|f| is_archive_file(&folder.join(f))) {
        let mut inner = of_archive(&folder.join(archive), archive);
        inner.files.retain(|file| !is_there(folder, file, files));
        found.files.append(&mut inner.files);
        found.left.append(&mut inner.left);
    }
    found
}

/// What is in the archive at `path`, below its name `shown`.
pub fn of_archive(path: &Path, shown: &Path) -> Unpacked {
    let mut found = Unpacked::default();
    match path::contents(path) {
        Ok(contents) => {
            for file in contents.files {
                let file = shown.join(file.path);
                if may_be_log(&file) {
                    found.files.push(file);
                } else {
                    let why = why_left(&file);
                    found.left.push(LeftPacked { file, why });
                }
            }
            let outside = |name: String| LeftPacked { file: shown.join(plain(&name)), why: WhyLeft::LeadsOut };
            found.left.extend(contents.outside.into_iter().map(outside));
        }
        Err(e) => found.left.push(LeftPacked { file: shown.to_owned(), why: unreadable(&e) }),
    }
    found
}

/// Why an archive that could not be opened is left.
pub fn unreadable(e: &ArchiveError) -> WhyLeft {
    WhyLeft::Unreadable(e.to_string(), e.hint())
}

fn why_left(file: &Path) -> WhyLeft {
    if has_archive_name(file) {
        WhyLeft::Nested
    } else if file.file_name().is_some_and(|name| name == SHEET) {
        WhyLeft::Sheet
    } else {
        WhyLeft::NotALog
    }
}

/// A name that leads out of an archive, as one that leads nowhere.
fn plain(name: &str) -> String {
    name.replace(['/', '\\', ':'], "-")
}

/// Whether the folder has the packed `file` as a file of its own too: who unpacks an archive leaves it there.
fn is_there(folder: &Path, file: &Path, files: &[PathBuf]) -> bool {
    let same_name = |other: &&PathBuf| other.file_name() == file.file_name() && folder.join(other).is_file();
    files.iter().filter(same_name).any(|other| {
        let (packed, own) = (folder.join(file), folder.join(other));
        let length = |path: &Path| path::size(path).ok();
        let bytes = |path: &Path| path::read(path).ok();
        length(&packed) == length(&own) && bytes(&packed) == bytes(&own)
    })
}

/// Remarks on what is left, one for each archive and reason.
pub fn notices(left: &[LeftPacked]) -> Vec<Notice> {
    let mut notices = Vec::new();
    let shown = |path: &Path| printable(&path.to_string_lossy().replace('\\', "/"), LONGEST_NAME);
    for (index, first) in left.iter().enumerate() {
        let alike = |other: &&LeftPacked| {
            other.why == first.why && other.file.components().next() == first.file.components().next()
        };
        if left[..index].iter().any(|other| alike(&other)) {
            continue;
        }
        let all: Vec<&LeftPacked> = left[index..].iter().filter(alike).collect();
        let message = match all.as_slice() {
            [one] => format!("`{}` was not read: {}", shown(&one.file), one.why),
            several => {
                let names: Vec<String> =
                    several.iter().take(MOST_NAMES).map(|l| format!("`{}`", shown(&l.file))).collect();
                let more = several.len().saturating_sub(MOST_NAMES);
                let more = if more > 0 { format!(" and {more} more") } else { String::new() };
                let files = counted(several.len(), "packed file");
                format!("{files} were not read, such as {}{more}: of each, {}", names.join(", "), first.why)
            }
        };
        let notice = match first.why {
            WhyLeft::NotALog | WhyLeft::Sheet => Notice::note(NoticeCode::PackedFile, message),
            _ => Notice::warning(NoticeCode::PackedFile, message),
        };
        notices.push(match first.why.hint() {
            Some(hint) => notice.hint(hint),
            None => notice,
        });
    }
    notices
}
