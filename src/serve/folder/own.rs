//! The server's own folder in the weekend's: its lock, its address, files that are arriving, earlier versions of the
//! sheet.

use std::fs::{File, TryLockError};
use std::io::{self, Write};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use crate::serve::error::ServeError;
use crate::storage::sweep;

/// Folder of what the server keeps, in the weekend's folder.
pub const OWN: &str = ".runtrue";
/// Folder of earlier versions of the sheet, in [`OWN`].
pub const SHEETS: &str = "sheets";
/// File that a running server holds locked, in [`OWN`].
const LOCK: &str = "serving";
/// File with the running server's address, in [`OWN`].
const ADDRESS: &str = "address";
/// Page by which a browser is led to the server, in the weekend's folder.
const OPENER: &str = "runtrue-opens-here.html";
/// Start of the names of files that are arriving, in [`OWN`].
const ARRIVING: &str = "arriving-";

/// Takes the folder for one server, and makes it where it is not there; what an interrupted upload left behind goes.
/// The folder is free again when the file is closed.
///
/// # Errors
/// [`ServeError::Folder`] if the folder cannot be used, [`ServeError::Taken`] if another server has it.
pub fn lock(folder: &Path) -> Result<File, ServeError> {
    let unusable = |source| ServeError::Folder { path: folder.to_owned(), source };
    let own = folder.join(OWN);
    std::fs::create_dir_all(&own).map_err(unusable)?;
    // An unpacked folder may bring links that lead elsewhere.
    if [own.clone(), own.join(LOCK), own.join(SHEETS)].iter().any(|p| p.is_symlink()) {
        let message = format!("there is a link in `{OWN}`, where only files of runtrue belong: remove the link");
        return Err(unusable(io::Error::other(message)));
    }
    let lock = File::options().create(true).write(true).truncate(false).open(own.join(LOCK)).map_err(unusable)?;
    match lock.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            let written = std::fs::read_to_string(own.join(ADDRESS)).ok();
            let is_address = |a: &String| a.split('/').next().is_some_and(|host| host.parse::<SocketAddr>().is_ok());
            let address = written.filter(is_address);
            return Err(ServeError::Taken { path: folder.to_owned(), address });
        }
        Err(TryLockError::Error(source)) => return Err(unusable(source)),
    }
    sweep(folder);
    remove_opener(folder);
    for entry in std::fs::read_dir(&own).map_err(unusable)?.flatten() {
        if entry.file_name().to_string_lossy().starts_with(ARRIVING) {
            // One that cannot be removed does no harm.
            let _ = std::fs::remove_file(entry.path());
        }
    }
    Ok(lock)
}

/// Writes the address of the weekend's page down for a second server on the folder; without it the second just knows
/// less. It opens in a browser that was let in before, and is nobody else's to know.
pub fn write_address(folder: &Path, address: &str) {
    let _ = write_private(&folder.join(OWN), ADDRESS, address);
}

/// Writes the file `name` of `folder` whole, for its owner alone to read: a temporary file is so, and stays so under its
/// new name.
///
/// # Errors
/// If the system refuses.
pub fn write_private(folder: &Path, name: &str, text: &str) -> io::Result<()> {
    let mut file = NamedTempFile::new_in(folder)?;
    file.write_all(text.as_bytes())?;
    file.persist(folder.join(name))?;
    Ok(())
}

/// A page that leads a browser to `url`, which nobody else may read: what a browser is called with, others can see. It
/// lies in the folder itself, since some browsers may not look into hidden folders.
///
/// # Errors
/// If it cannot be written.
pub fn write_opener(folder: &Path, url: &str) -> io::Result<PathBuf> {
    let page = format!(
        "<!doctype html><meta charset=\"utf-8\"><meta http-equiv=\"refresh\" content=\"0;url={url}\"><title>runtrue</title>"
    );
    write_private(folder, OPENER, &page)?;
    Ok(folder.canonicalize()?.join(OPENER))
}

/// Removes that page, which is of no more use once it was opened.
pub fn remove_opener(folder: &Path) {
    // One that is not there or cannot be removed does no harm.
    let _ = std::fs::remove_file(folder.join(OPENER));
}

/// An empty file for what arrives; it is removed unless it is kept under another name. A weekend's folder that was
/// moved away is not made anew.
///
/// # Errors
/// If the system refuses, or the weekend's folder is not there.
pub fn arriving_file(folder: &Path) -> io::Result<NamedTempFile> {
    let own = folder.join(OWN);
    match std::fs::create_dir(&own) {
        Err(e) if e.kind() != io::ErrorKind::AlreadyExists => return Err(e),
        _ => {}
    }
    tempfile::Builder::new().prefix(ARRIVING).tempfile_in(own)
}
