//! The server's own folder in the weekend's: its lock, its address, files that are arriving, earlier versions of the
//! sheet.

use std::fs::{File, TryLockError};
use std::io;
use std::net::SocketAddr;
use std::path::Path;

use tempfile::NamedTempFile;

use crate::serve::error::ServeError;
use crate::storage::{sweep, write_whole};

/// Folder of what the server keeps, in the weekend's folder.
pub const OWN: &str = ".runtrue";
/// Folder of earlier versions of the sheet, in [`OWN`].
pub const SHEETS: &str = "sheets";
/// File that a running server holds locked, in [`OWN`].
const LOCK: &str = "serving";
/// File with the running server's address, in [`OWN`].
const ADDRESS: &str = "address";
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
            let address = written.filter(|a| a.parse::<SocketAddr>().is_ok());
            return Err(ServeError::Taken { path: folder.to_owned(), address });
        }
        Err(TryLockError::Error(source)) => return Err(unusable(source)),
    }
    sweep(folder);
    for entry in std::fs::read_dir(&own).map_err(unusable)?.flatten() {
        if entry.file_name().to_string_lossy().starts_with(ARRIVING) {
            // One that cannot be removed does no harm.
            let _ = std::fs::remove_file(entry.path());
        }
    }
    Ok(lock)
}

/// Writes the address down for a second server on the folder; without it the second just knows less.
pub fn write_address(folder: &Path, address: SocketAddr) {
    let text = address.to_string();
    let _ =
        write_whole(&folder.join(OWN).join(ADDRESS), |out| out.write_all(text.as_bytes()).map_err(|e| e.to_string()));
}

/// An empty file for what arrives; it is removed unless it is kept under another name.
///
/// # Errors
/// If the system refuses.
pub fn arriving_file(folder: &Path) -> io::Result<NamedTempFile> {
    let own = folder.join(OWN);
    std::fs::create_dir_all(&own)?;
    tempfile::Builder::new().prefix(ARRIVING).tempfile_in(own)
}
