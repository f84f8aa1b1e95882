//! Why the local page could not be served.

use std::io;
use std::net::SocketAddr;
use std::path::PathBuf;

/// Why the page could not be served.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The folder cannot be made or written to.
    #[error("`{path}` cannot be used as a weekend's folder: {source}")]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Another server has the folder.
    #[error("`{path}` is already open {}", place_of(address.as_deref()))]
    Taken {
        /// The folder.
        path: PathBuf,
        /// Its address, where it could be read.
        address: Option<String>,
    },
    /// The address cannot be listened on.
    #[error("the page cannot be served on `{address}`: {source}")]
    Address {
        /// The address.
        address: SocketAddr,
        /// What the system said.
        source: io::Error,
    },
    /// The folder cannot be watched.
    #[error("the folder cannot be watched for changes: {0}")]
    Watch(#[from] notify::Error),
    /// The system gives no thread or no socket.
    #[error("the page cannot be served: {0}")]
    System(#[from] io::Error),
}

/// Where a folder is open, for the end of a sentence.
fn place_of(address: Option<&str>) -> String {
    address.map_or_else(|| "in another `runtrue serve`".to_owned(), |a| format!("at http://{a}"))
}

impl ServeError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Folder { .. } => "choose a folder that you can write to",
            Self::Taken { .. } => "use the page that is already open, or stop the other one first",
            Self::Address { .. } => {
                "leave out `--port` to get a free one; `--address` must be an address of this computer"
            }
            Self::Watch(_) | Self::System(_) => "close other programs and try again",
        }
    }
}
