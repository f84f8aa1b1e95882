//! An archive that was dropped on the page: each log and lap list in it is taken in as if it had been dropped itself.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

use tempfile::NamedTempFile;

use super::names::last_name;
use super::own::arriving_file;
use super::take::{Taken, not_saved, take};
use crate::archives_in_folder::WhyLeft;
use crate::folder_names::{SHEET, may_be_log};
use crate::notice::Failure;
use crate::packed::archive::{Archive, is_archive};
use crate::packed::path::has_archive_name;
use crate::packed::workbook::{Packing, packing_of};

/// A file of an archive, and what became of it.
pub struct UnpackedFile {
    /// Its path in the archive.
    pub name: String,
    /// What became of it, or why it was not taken.
    pub taken: Result<Taken, Failure>,
}

/// Whether the file `arrived` is an archive of files, and not one that is a table itself.
pub fn is_archive_of_files(arrived: &Path) -> bool {
    let mut head = Vec::new();
    let opened = File::open(arrived).and_then(|file| {
        (&file).take(4).read_to_end(&mut head)?;
        Ok(file)
    });
    let Ok(file) = opened else { return false };
    is_archive(&head) && matches!(packing_of(BufReader::new(file)), Ok(Packing::Archive) | Err(_))
}

/// Takes the files in the archive `arrived`, which was called `raw_name`, into the weekend's folder. Each is unpacked
/// onto the drive, within the archive's bounds, before it is looked at.
///
/// # Errors
/// Why the archive could not be opened; nothing is in the folder then.
pub fn take_all(folder: &Path, raw_name: &str, arrived: &NamedTempFile) -> Result<Vec<UnpackedFile>, Failure> {
    let shown = last_name(raw_name);
    let file = File::open(arrived.path()).map_err(|e| not_saved(&shown, &e))?;
    let mut archive = Archive::open(BufReader::new(file)).map_err(|e| Failure {
        message: format!("`{shown}` could not be read: {e}"),
        hint: Some(e.hint().to_owned()),
    })?;
    let contents = archive.contents().clone();
    let left = |name: String, why: &WhyLeft| UnpackedFile {
        name,
        taken: Err(Failure { message: why.to_string(), hint: why.hint().map(str::to_owned) }),
    };
    let mut all = Vec::new();
    for packed in contents.files {
        let name = packed.path.to_string_lossy().into_owned();
        if has_archive_name(&packed.path) {
            all.push(left(name, &WhyLeft::Nested));
        } else if !may_be_log(&packed.path) && packed.path.file_name().is_none_or(|n| n != SHEET) {
            all.push(left(name, &WhyLeft::NotALog));
        } else {
            let taken = unpack_one(folder, &mut archive, &packed.path, &name);
            all.push(UnpackedFile { name, taken });
        }
    }
    all.extend(contents.outside.into_iter().map(|name| left(name, &WhyLeft::LeadsOut)));
    if all.is_empty() {
        let message = format!("there is no file in `{shown}`");
        return Err(Failure { message, hint: Some("pack the logs again".to_owned()) });
    }
    Ok(all)
}

fn unpack_one(
    folder: &Path,
    archive: &mut Archive<BufReader<File>>,
    inner: &Path,
    name: &str,
) -> Result<Taken, Failure> {
    let mut file = arriving_file(folder).map_err(|e| not_saved(name, &e))?;
    archive
        .unpack(inner, &mut file)
        .map_err(|e| Failure { message: format!("it could not be unpacked: {e}"), hint: Some(e.hint().to_owned()) })?;
    take(folder, name, file)
}
