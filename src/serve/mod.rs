//! The local page: a folder's review in the browser of the same machine, logs dropped on it, its sheet as a form. No physics of its own.
//!
//! The folder is the only store: what the page takes in are files in it, what it shows is [`crate::review`] of it. Other programs may change
//! the folder at any time; it is watched, and the page follows.

mod changes;
mod current;
mod files;
mod form;
mod guard;
mod pages;
mod routes;
mod setup;
mod take;
mod versions;
mod watch;

use std::fs::{File, TryLockError};
use std::io;
use std::net::{IpAddr, SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use crate::storage::{sweep, write_whole};
use current::Current;
use guard::Guard;
use routes::Server;
use tokio::sync::Semaphore;

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
    #[error("`{path}` is served already{}", .address.as_ref().map(|a| format!(", at http://{a}/")).unwrap_or_default())]
    Taken {
        /// The folder.
        path: PathBuf,
        /// Its address, where it could be read.
        address: Option<String>,
    },
    /// The address cannot be listened on.
    #[error("`{address}` cannot be listened on: {source}")]
    Address {
        /// The address.
        address: SocketAddr,
        /// What the system said.
        source: io::Error,
    },
    /// The folder cannot be watched.
    #[error("the folder cannot be watched: {0}")]
    Watch(#[from] notify::Error),
    /// The system gives no thread or no socket.
    #[error("the page cannot be served: {0}")]
    System(#[from] io::Error),
}

impl ServeError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Folder { .. } => "name a folder that can be written to",
            Self::Taken { .. } => "go on in the page that is open, or stop the other one first",
            Self::Address { .. } => "leave `--port` out for a free one; `--address` takes an address of this machine",
            Self::Watch(_) | Self::System(_) => "close other programs and try again",
        }
    }
}

/// A server that listens and has its folder to itself.
pub struct Listening {
    server: Arc<Server>,
    listener: TcpListener,
    // Holds the folder until the program ends.
    _lock: File,
}

/// Takes the folder (made if it is not there) and an address; port 0 is any free one.
///
/// # Errors
/// [`ServeError`].
pub fn listen(folder: &Path, address: IpAddr, port: u16) -> Result<Listening, ServeError> {
    let lock = take_folder(folder)?;
    let address = SocketAddr::new(address, port);
    let refused = |source| ServeError::Address { address, source };
    let listener = TcpListener::bind(address).map_err(refused)?;
    listener.set_nonblocking(true)?;
    let guard = Guard::new(listener.local_addr()?);
    // Told to a second server; without it the second just knows less.
    let shown = guard.shown_address().to_string();
    let _ = write_whole(&folder.join(versions::OWN).join("address"), |out| {
        out.write_all(shown.as_bytes()).map_err(|e| e.to_string())
    });
    let current = Arc::new(Current::new(folder.to_owned()));
    let server = Server {
        current,
        guard,
        writing: Mutex::default(),
        arrivals: Arc::new(Semaphore::new(routes::AT_ONCE)),
        shown: Mutex::default(),
    };
    Ok(Listening { server: Arc::new(server), listener, _lock: lock })
}

impl Listening {
    /// The address to open, with the token.
    pub fn url(&self) -> String {
        self.server.guard.url()
    }

    /// Serves until the program ends.
    ///
    /// # Errors
    /// [`ServeError`] if the folder cannot be watched or the system gives out.
    pub fn serve(self) -> Result<(), ServeError> {
        watch::watch(self.server.current.clone())?;
        let current = self.server.current.clone();
        std::thread::Builder::new().name("review".to_owned()).spawn(move || current.refresh())?;
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
        runtime.block_on(async {
            let listener = tokio::net::TcpListener::from_std(self.listener)?;
            axum::serve(listener, routes::router(self.server)).await
        })?;
        Ok(())
    }
}

/// The folder with its lock; what an interrupted upload left behind goes.
fn take_folder(folder: &Path) -> Result<File, ServeError> {
    let unusable = |source| ServeError::Folder { path: folder.to_owned(), source };
    let own = folder.join(versions::OWN);
    std::fs::create_dir_all(&own).map_err(unusable)?;
    // An unpacked folder may bring links that lead elsewhere.
    if [own.clone(), own.join("serving"), own.join("sheets")].iter().any(|p| p.is_symlink()) {
        return Err(unusable(io::Error::other("there is a link in its `.runtrue`: remove it")));
    }
    let lock = File::options().create(true).write(true).truncate(false).open(own.join("serving")).map_err(unusable)?;
    match lock.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            let address = std::fs::read_to_string(own.join("address")).ok().filter(|a| a.parse::<SocketAddr>().is_ok());
            return Err(ServeError::Taken { path: folder.to_owned(), address });
        }
        Err(TryLockError::Error(source)) => return Err(unusable(source)),
    }
    sweep(folder);
    for entry in std::fs::read_dir(&own).map_err(unusable)?.flatten() {
        if entry.file_name().to_string_lossy().starts_with("arriving-") {
            // One that cannot be removed does no harm.
            let _ = std::fs::remove_file(entry.path());
        }
    }
    Ok(lock)
}
