//! What an open page must know to go on: kept with the folder, so that it can save what was typed after the server was
//! started anew on the same port.

use std::io;
use std::path::Path;

use super::own::{OWN, write_private};

/// File of the secret, in [`OWN`]; nobody but its owner may read it.
const SECRET: &str = "secret";
/// Bytes of each of its parts.
const BYTES: usize = 32;

/// The secret of a folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Secret {
    /// First part of every address: a cookie goes to all ports of a machine, but only below its own path.
    pub room: String,
    /// Value of the cookie.
    pub cookie: String,
}

impl Secret {
    /// A new one from the system's random source.
    pub fn new() -> Self {
        Self { room: random_text(), cookie: random_text() }
    }

    /// The folder's secret; a new one, which is kept, where it has none that can be read.
    ///
    /// # Errors
    /// If the new one cannot be kept.
    pub fn of_folder(folder: &Path) -> io::Result<Self> {
        let path = folder.join(OWN).join(SECRET);
        let is_file = std::fs::symlink_metadata(&path).is_ok_and(|about| about.is_file() && is_private(&about));
        if let Some(kept) = is_file.then(|| std::fs::read_to_string(&path).ok()).flatten().and_then(|t| Self::parse(&t))
        {
            return Ok(kept);
        }
        let secret = Self::new();
        write_private(&folder.join(OWN), SECRET, &format!("{}\n{}\n", secret.room, secret.cookie))?;
        Ok(secret)
    }

    fn parse(text: &str) -> Option<Self> {
        let is_part = |line: &&str| line.len() == 2 * BYTES && line.bytes().all(|b| b.is_ascii_hexdigit());
        let mut parts = text.lines().filter(is_part).map(str::to_owned);
        Some(Self { room: parts.next()?, cookie: parts.next()? })
    }
}

/// A random text that nobody guesses.
pub fn random_text() -> String {
    rand::random::<[u8; BYTES]>().iter().map(|b| format!("{b:02x}")).collect()
}

/// Whether nobody but the owner may read a file.
#[cfg(unix)]
fn is_private(about: &std::fs::Metadata) -> bool {
    use std::os::unix::fs::PermissionsExt;
    about.permissions().mode() & 0o077 == 0
}

/// Whether nobody but the owner may read a file: what a user's folder holds is the user's where rights go by folder.
#[cfg(not(unix))]
fn is_private(_: &std::fs::Metadata) -> bool {
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_keeps_its_secret_and_nobody_else_can_read_it() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join(OWN)).unwrap();
        let first = Secret::of_folder(folder.path()).unwrap();
        assert_eq!(Secret::of_folder(folder.path()).unwrap(), first);
        let path = folder.path().join(OWN).join(SECRET);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
            // One that others could read is a secret no longer.
            std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o644)).unwrap();
            assert_ne!(Secret::of_folder(folder.path()).unwrap(), first);
        }
        std::fs::write(&path, "short").unwrap();
        assert_eq!(Secret::of_folder(folder.path()).unwrap().room.len(), 64);
    }
}
