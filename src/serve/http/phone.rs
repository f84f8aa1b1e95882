//! Opening the weekend on a phone: the server listens on the network too, until it is stopped.

use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::network;
use super::respond::{failed, html, see_other};
use super::state::Server;
use crate::notice::Failure;
use crate::serve::pages::{self, Link, Place};

const TO_PHONE: Link = Link { address: "phone", text: "Back" };

/// The warning with its button; once the server is open to the network, the address and its code.
pub async fn show(State(server): State<Arc<Server>>) -> Response {
    let frame = server.frame(Place::Phone);
    let Some(address) = server.guard.network_address() else {
        return html(StatusCode::OK, pages::phone_closed(frame));
    };
    let url = server.guard.invite_to(address);
    let code = network::code_for_page(&url).unwrap_or_default();
    html(StatusCode::OK, pages::phone_open(frame, url, code))
}

/// Listens on the network from now on.
pub async fn open(State(server): State<Arc<Server>>) -> Response {
    if server.guard.network_address().is_some() {
        return see_other("phone");
    }
    match listener(server.guard.address().port()) {
        Ok((address, listener)) => {
            server.guard.open_to(address);
            // The other end is there as long as the server answers.
            let _ = server.more_listeners.send(listener);
            see_other("phone")
        }
        Err(failure) => failed(StatusCode::CONFLICT, "Not open on the network", &failure, Some(TO_PHONE)),
    }
}

fn listener(port: u16) -> Result<(SocketAddr, TcpListener), Failure> {
    let failure = |message: String, hint: &str| Failure { message, hint: Some(hint.to_owned()) };
    let ip = network::own_address().ok_or_else(|| {
        failure("this computer is on no network".to_owned(), "connect it to the network that the phone is on")
    })?;
    let address = SocketAddr::new(ip, port);
    let refused = |e: std::io::Error| {
        let message = format!("`{address}` cannot be listened on: {e}");
        failure(message, "start `runtrue serve` again with another `--port`")
    };
    let listener = TcpListener::bind(address).map_err(refused)?;
    listener.set_nonblocking(true).map_err(refused)?;
    Ok((address, listener))
}
