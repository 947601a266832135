//! Connections to the desk: so many at a time, each closed when no request comes over it in time.

use std::convert::Infallible;
use std::net::TcpListener;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::TcpStream;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use super::{Room, routes};

/// Connections open at a time: a browser opens six to a page.
const MOST_CONNECTIONS: usize = 64;
/// A request's head must have arrived by then, and a connection that waits for its next request is closed.
const HEAD_WITHIN: Duration = Duration::from_secs(10);
/// What is waited where the system can take no further connection, as when a program has too many files open.
const TAKEN_AGAIN_AFTER: Duration = Duration::from_millis(200);

/// Answers every request that comes, for ever.
pub async fn answering(listener: TcpListener, room: Arc<Room>) -> std::io::Result<()> {
    listener.set_nonblocking(true)?;
    let listener = tokio::net::TcpListener::from_std(listener)?;
    let free = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    loop {
        let Ok(place) = free.clone().acquire_owned().await else { return Ok(()) };
        match listener.accept().await {
            Ok((stream, _)) => drop(tokio::spawn(connection(stream, room.clone(), place))),
            Err(_) => tokio::time::sleep(TAKEN_AGAIN_AFTER).await,
        }
    }
}

/// Answers what comes over one connection, until it is closed.
async fn connection(stream: TcpStream, room: Arc<Room>, place: OwnedSemaphorePermit) {
    let service = service_fn(move |request: hyper::Request<hyper::body::Incoming>| {
        let room = room.clone();
        async move { Ok::<_, Infallible>(routes::answer(room, request.map(Body::new)).await) }
    });
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(HEAD_WITHIN);
    // A connection that breaks off is the other side's affair: it asks again.
    let _ = http.serve_connection(TokioIo::new(stream), service).await;
    drop(place);
}
