//! Connections: each has a turn, says soon what it asks for, and none takes the server down.

use std::convert::Infallible;
use std::sync::Arc;

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::time::timeout;

use crate::serve::limits::{CONNECTIONS_AT_ONCE, LONGEST_HEAD, LONGEST_LEAVE, OUT_OF_HANDLES_WAIT};

/// Answers connections until the program ends: so many at a time, the others wait. One that does not say what it asks
/// for within [`LONGEST_HEAD`], or is idle for as long, is closed. Where the system has no handles left, connections are
/// taken again a moment later.
pub async fn answer(listener: TcpListener, router: Router) -> Infallible {
    let turns = Arc::new(Semaphore::new(CONNECTIONS_AT_ONCE));
    loop {
        let turn = turns.clone().acquire_owned().await;
        let Ok((stream, _)) = listener.accept().await else {
            tokio::time::sleep(OUT_OF_HANDLES_WAIT).await;
            continue;
        };
        let service = TowerToHyperService::new(router.clone());
        tokio::spawn(async move {
            let _turn = turn;
            let mut http = http1::Builder::new();
            http.timer(TokioTimer::new()).header_read_timeout(LONGEST_HEAD);
            // Whoever breaks off does not want an answer.
            let mut stream = TokioIo::new(stream);
            if http.serve_connection(&mut stream, service).await.is_ok() {
                take_leave(stream.into_inner()).await;
            }
        });
    }
}

/// Waits until the other side is done, but not for ever, after all was sent to it. What was refused before it had all
/// arrived is still on its way: closed upon, it would be answered by a reset, and the other side could lose the answer
/// to it.
async fn take_leave(mut stream: TcpStream) {
    // Whoever is gone needs no answer.
    let _ = timeout(LONGEST_LEAVE, io::copy(&mut stream, &mut io::sink())).await;
}
