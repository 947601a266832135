//! Connections to the desk: limited in number, and closed when a request does not arrive in time.

use std::convert::Infallible;
use std::net::TcpListener;
use std::sync::Arc;
use std::time::Duration;

use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::TcpStream;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use super::{Desk, routes};

/// Connections open at a time: a browser opens six to a page.
const MOST_CONNECTIONS: usize = 64;
/// Time for a request's head to arrive; an idle connection is closed after the same time.
const HEAD_TIMEOUT: Duration = Duration::from_secs(10);
/// Pause after the system refuses a connection, as when too many files are open.
const RETRY_AFTER: Duration = Duration::from_millis(200);

/// Serves requests for ever.
pub async fn serve(listener: TcpListener, desk: Arc<Desk>) -> std::io::Result<()> {
    listener.set_nonblocking(true)?;
    let listener = tokio::net::TcpListener::from_std(listener)?;
    let free = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    loop {
        let Ok(permit) = free.clone().acquire_owned().await else { return Ok(()) };
        match listener.accept().await {
            Ok((stream, _)) => drop(tokio::spawn(serve_connection(stream, desk.clone(), permit))),
            Err(_) => tokio::time::sleep(RETRY_AFTER).await,
        }
    }
}

async fn serve_connection(stream: TcpStream, desk: Arc<Desk>, permit: OwnedSemaphorePermit) {
    let service = service_fn(move |request| {
        let desk = desk.clone();
        async move { Ok::<_, Infallible>(routes::respond(desk, request).await) }
    });
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(HEAD_TIMEOUT);
    // A broken connection needs no report: the browser asks again.
    let _ = http.serve_connection(TokioIo::new(stream), service).await;
    drop(permit);
}
