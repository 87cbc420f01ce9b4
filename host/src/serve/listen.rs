//! Connections: how many, how long they may be idle, and how they end.

use super::Stop;
use axum::Router;
use axum::extract::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::task::JoinSet;
use tower_service::Service;

/// Connections at once; a page with a live stream takes two or three.
pub const MOST_CONNECTIONS: usize = 256;
/// Of these, connections of other devices: whoever sits at this computer always gets in.
pub const MOST_FROM_OTHERS: usize = 192;
/// How long a connection may take for the head of its next request, which is also how long it may be idle.
pub const IDLE: Duration = Duration::from_secs(15);
/// How long requests that are being answered are waited for at the end.
const GRACE: Duration = Duration::from_millis(1500);
/// Rest after the system refused a connection, as it does when it has run out of files.
const BREATH: Duration = Duration::from_millis(50);

/// The two ends of a connection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ends {
    /// Who calls.
    pub peer: IpAddr,
    /// By which of this computer's addresses.
    pub here: SocketAddr,
}

/// Answers connections until the end is asked for, and then ends them: idle ones at once, busy ones after a grace.
pub async fn serve(listener: TcpListener, router: Router, stop: &Stop) {
    serve_within(listener, router, stop, IDLE).await;
}

/// [`serve`] with another idle time, for tests that cannot wait.
pub async fn serve_within(listener: TcpListener, router: Router, stop: &Stop, idle: Duration) {
    let all = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    let others = Arc::new(Semaphore::new(MOST_FROM_OTHERS));
    let mut connections = JoinSet::new();
    loop {
        let (stream, peer) = tokio::select! {
            () = stop.heard() => break,
            accepted = listener.accept() => match accepted {
                Ok(accepted) => accepted,
                Err(_) => {
                    tokio::time::sleep(BREATH).await;
                    continue;
                }
            },
        };
        while connections.try_join_next().is_some() {}
        let Ok(here) = stream.local_addr() else { continue };
        let ends = Ends { peer: peer.ip().to_canonical(), here };
        let local = ends.peer.is_loopback();
        let outer = if local { None } else { others.clone().try_acquire_owned().ok() };
        let Some(permit) = all.clone().try_acquire_owned().ok().filter(|_| local || outer.is_some()) else {
            connections.spawn(refuse(stream));
            continue;
        };
        let (router, stop) = (router.clone(), stop.clone());
        connections.spawn(async move {
            one(stream, ends, router, &stop, idle).await;
            drop((permit, outer));
        });
    }
    drop(listener);
    let all_ended = async { while connections.join_next().await.is_some() {} };
    // Whoever is not done by then is cut off: `JoinSet` ends its tasks when it is dropped.
    let _ = tokio::time::timeout(GRACE, all_ended).await;
}

async fn one(stream: TcpStream, ends: Ends, router: Router, stop: &Stop, idle: Duration) {
    // Without it small answers wait for the other end's acknowledgement; where the system refuses, they do.
    let _ = stream.set_nodelay(true);
    let service = hyper::service::service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(ends);
        router.clone().call(request)
    });
    let mut builder = http1::Builder::new();
    builder.timer(TokioTimer::new()).header_read_timeout(idle).max_headers(64);
    let connection = builder.serve_connection(TokioIo::new(stream), service);
    tokio::pin!(connection);
    tokio::select! {
        // A connection that breaks concerns nobody but the one who called.
        _ = connection.as_mut() => return,
        () = stop.heard() => {}
    }
    connection.as_mut().graceful_shutdown();
    let _ = connection.await;
}

/// Tells a caller that there are too many.
async fn refuse(stream: TcpStream) {
    const ANSWER: &[u8] = b"HTTP/1.1 503 Service Unavailable\r\nretry-after: 5\r\nconnection: close\r\ncontent-length: 0\r\n\r\n";
    // What the caller has sent already is taken first: the system would else answer it with a reset in place of this.
    if tokio::time::timeout(BREATH, stream.readable()).await.is_ok_and(|ready| ready.is_ok()) {
        let _ = stream.try_read(&mut [0; 4096]);
    }
    if stream.writable().await.is_ok() {
        // A new connection has room for so little; one that is gone needs no answer.
        let _ = stream.try_write(ANSWER);
    }
}
