//! Starting: the folder is taken, the address listened on, the folder watched, requests answered.

use std::fs::File;
use std::io;
use std::net::{IpAddr, SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

use super::connections;
use super::guard::Guard;
use super::network;
use super::routes::router;
use super::state::Server;
use crate::serve::error::ServeError;
use crate::serve::folder::secret::Secret;
use crate::serve::folder::{own, watch};

/// A server that listens and has its folder to itself.
pub struct Listening {
    server: Arc<Server>,
    listener: TcpListener,
    more_listeners: UnboundedReceiver<TcpListener>,
    // Holds the folder until the program ends.
    _lock: File,
}

/// Takes the folder (made if it is not there) and an address; port 0 is any free one.
///
/// # Errors
/// [`ServeError`].
pub fn listen(folder: &Path, address: IpAddr, port: u16) -> Result<Listening, ServeError> {
    let lock = own::lock(folder)?;
    let address = SocketAddr::new(address, port);
    let listener = TcpListener::bind(address).map_err(|source| ServeError::Address { address, source })?;
    listener.set_nonblocking(true)?;
    let secret = Secret::of_folder(folder).map_err(|source| ServeError::Folder { path: folder.to_owned(), source })?;
    let guard = Guard::new(listener.local_addr()?, secret);
    own::write_address(folder, &format!("{}{}", guard.shown_address(), guard.room()));
    let (hands_in, more_listeners) = unbounded_channel();
    if let Some(reachable) = network::reachable(guard.address()) {
        guard.open_to(reachable);
    }
    Ok(Listening { server: Arc::new(Server::new(folder, guard, hands_in)), listener, more_listeners, _lock: lock })
}

impl Listening {
    /// The address to open, with a token that is good once.
    pub fn url(&self) -> String {
        self.server.guard.invite()
    }

    /// The address that others on the network can open, with a token that is good once, and its code for a phone's
    /// camera; `None` where the server is for this machine alone.
    pub fn invitation(&self) -> Option<(String, Option<String>)> {
        let url = self.server.guard.invite_to(self.server.guard.network_address()?);
        let code = network::code_for_terminal(&url);
        Some((url, code))
    }

    /// A page of the user's own that leads a browser there: the browser is called with nothing that others may see.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn opener(&self) -> io::Result<PathBuf> {
        own::write_opener(self.server.folder(), &self.server.guard.invite())
    }

    /// Serves until the program ends.
    ///
    /// # Errors
    /// [`ServeError`] if the folder cannot be watched or the system gives out.
    pub fn serve(mut self) -> Result<(), ServeError> {
        watch::watch(self.server.current.clone())?;
        let current = self.server.current.clone();
        std::thread::Builder::new().name("review".to_owned()).spawn(move || current.refresh())?;
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
        runtime.block_on(async {
            let router = router(self.server);
            let mut next = Some(self.listener);
            while let Some(listener) = next {
                tokio::spawn(connections::answer(tokio::net::TcpListener::from_std(listener)?, router.clone()));
                next = self.more_listeners.recv().await;
            }
            Ok(())
        })
    }
}
