//! Starting: the folder is taken, the address listened on, the folder watched, requests answered.

use std::fs::File;
use std::net::{IpAddr, SocketAddr, TcpListener};
use std::path::Path;
use std::sync::Arc;

use super::guard::Guard;
use super::routes::router;
use super::state::Server;
use crate::serve::error::ServeError;
use crate::serve::folder::{own, watch};

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
    let lock = own::lock(folder)?;
    let address = SocketAddr::new(address, port);
    let listener = TcpListener::bind(address).map_err(|source| ServeError::Address { address, source })?;
    listener.set_nonblocking(true)?;
    let guard = Guard::new(listener.local_addr()?);
    own::write_address(folder, guard.shown_address());
    Ok(Listening { server: Arc::new(Server::new(folder, guard)), listener, _lock: lock })
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
            axum::serve(listener, router(self.server)).await
        })?;
        Ok(())
    }
}
