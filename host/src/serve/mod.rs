//! The local web page: pages of the logbook over plain HTTP, on this computer alone unless the caller lets others in.
//!
//! This module parses requests, calls a job and renders its result. Clocks and secrets are given by the caller.

mod assets;
mod compare;
mod design;
mod desk;
mod entry;
mod guard;
mod listen;
mod names;
mod problem;
mod record;
mod runs;
mod state;
mod stop;
mod wear;

#[cfg(test)]
mod tests;

pub use state::{Notice, Rim};
pub use stop::Stop;

use crate::explain::{Explain, Status};
use crate::jobs::history::logbook;
use crate::show::Units;
use axum::Router;
use axum::routing::{get, post};
use state::{App, Doors};
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

/// How long work that cannot be interrupted is waited for at the end.
const LAST_WAIT: Duration = Duration::from_millis(500);

/// What to serve.
#[derive(Debug, Clone)]
pub struct Request {
    /// The logbook that was named.
    pub logbook: Option<PathBuf>,
    /// Units of pages.
    pub units: Units,
    /// The port; 0 for any that is free.
    pub port: u16,
    /// Whether other devices may come in, with a token.
    pub lan: bool,
}

/// Why nothing is served.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The port cannot be had.
    #[error("cannot listen on port {port}: {source}")]
    Port {
        /// The port.
        port: u16,
        /// What the system said.
        source: std::io::Error,
    },
    /// The system gives no threads.
    #[error("cannot start the server: {0}")]
    Start(std::io::Error),
}

impl Explain for ServeError {
    fn status(&self) -> Status {
        Status::Device
    }

    fn hint(&self) -> Option<String> {
        match self {
            ServeError::Port { .. } => {
                Some("Take another with --port N, or --port 0 for any that is free.".into())
            }
            ServeError::Start(_) => None,
        }
    }
}

/// Serves until `stop` is asked for; `rim` is told where.
///
/// # Errors
/// Where there is no logbook, or the port cannot be had.
pub fn run(request: &Request, rim: Rim, stop: &Stop) -> Result<(), crate::explain::Failure> {
    let book = logbook(request.logbook.as_deref())?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(ServeError::Start)?;
    let served: Result<(), ServeError> = runtime.block_on(async {
        let ip = if request.lan { Ipv4Addr::UNSPECIFIED } else { Ipv4Addr::LOCALHOST };
        let port = request.port;
        let failed = |source| ServeError::Port { port, source };
        let listener = tokio::net::TcpListener::bind((ip, port)).await.map_err(failed)?;
        let port = listener.local_addr().map_err(failed)?.port();
        let doors = Doors { port, lan: request.lan.then(lan_address).flatten() };
        let app = Arc::new(App::new(book, request.units, doors, rim, stop.clone()));
        app.rim.tell(Notice::Listening { port });
        if request.lan {
            entry::invite(&app);
        }
        let desk = app.desk.clone();
        let last_words = async {
            stop.heard().await;
            desk.end().await;
        };
        tokio::join!(listen::serve(listener, router(app.clone()), stop), last_words);
        Ok(())
    });
    runtime.shutdown_timeout(LAST_WAIT);
    Ok(served?)
}

/// Every page behind its guard.
fn router(app: Arc<App>) -> Router {
    Router::new()
        .route("/", get(runs::list))
        .route("/run/{vehicle}/{run}", get(runs::one))
        .route("/run/{vehicle}/{run}/report.html", get(runs::report))
        .route("/compare", get(compare::two))
        .route("/design", get(design::all))
        .route("/design/{vehicle}", get(design::one))
        .route("/design/{vehicle}/redraw", post(design::redraw))
        .route("/record", get(record::page_of))
        .route("/record/events", get(record::events))
        .route("/record/start", post(record::start))
        .route("/record/command", post(record::command))
        .route("/wear", get(wear::all))
        .route("/wear/{vehicle}", get(wear::one))
        .route("/enter", get(entry::enter))
        .route("/assets/{name}", get(assets::one))
        .fallback(problem::nothing_here)
        .layer(axum::middleware::from_fn_with_state(app.clone(), guard::guard))
        .with_state(app)
}

/// The address at which others reach this computer, by the way that packets to the world outside would take; none is sent.
/// The far address is one of those kept for documents (RFC 5737).
fn lan_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?;
    let ip = socket.local_addr().as_ref().map(SocketAddr::ip).ok()?;
    (!ip.is_loopback() && !ip.is_unspecified()).then_some(ip)
}
