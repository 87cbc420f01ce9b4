//! The server as a caller meets it: in process for what it answers, over sockets for how connections live and end.

mod board;
mod connections;
mod doors;
mod live;
mod pages;

use super::listen::Ends;
use super::state::{App, Doors};
use super::{Notice, Rim, Stop, router};
use crate::files::logbook::Logbook;
use crate::jobs::{init, new};
use crate::show::Units;
use axum::body::{Body, to_bytes};
use axum::http::{Request, Response, StatusCode};
use std::future::Future;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use tower::ServiceExt;

const PORT: u16 = 8480;
const HOST: &str = "127.0.0.1:8480";
const LOCAL: IpAddr = IpAddr::V4(Ipv4Addr::LOCALHOST);
/// This computer, and a phone, on the network.
const HERE: IpAddr = IpAddr::V4(Ipv4Addr::new(192, 168, 1, 20));
const PHONE: IpAddr = IpAddr::V4(Ipv4Addr::new(192, 168, 1, 77));

/// Secrets in order, so that tests know them; 32 digits like real ones.
fn secret() -> String {
    static NEXT: AtomicU32 = AtomicU32::new(1);
    format!("{:032x}", NEXT.fetch_add(1, Ordering::Relaxed))
}

/// A server of a logbook with one vehicle, `Bramble`, and what the person at the terminal was told.
struct Served {
    folder: tempfile::TempDir,
    app: Arc<App>,
    told: Arc<Mutex<Vec<Notice>>>,
}

impl Served {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        init::run(folder.path()).unwrap();
        new::run("double-triangulated-four-link", "Bramble", folder.path()).unwrap();
        let told = Arc::new(Mutex::new(Vec::new()));
        let to = told.clone();
        let now = || "2026-11-25T14:12:03+01:00[+01:00]".parse().unwrap();
        let rim = Rim { now, secret, tell: Box::new(move |notice| to.lock().unwrap().push(notice)) };
        let book = Logbook::find(Some(folder.path()), folder.path()).unwrap();
        let doors = Doors { port: PORT, lan: Some(HERE) };
        let app = Arc::new(App::new(book, Units::Mm, doors, rim, Stop::default()));
        Self { folder, app, told }
    }

    fn page_token(&self) -> String {
        self.app.setting.page_token.clone()
    }

    /// The answer to a request from `peer` that came by this computer's address for it.
    async fn answer(&self, peer: IpAddr, mut request: Request<Body>) -> Response<Body> {
        let here = SocketAddr::new(if peer.is_loopback() { LOCAL } else { HERE }, PORT);
        request.extensions_mut().insert(Ends { peer, here });
        router(self.app.clone()).oneshot(request).await.unwrap()
    }

    /// Status and text of a page asked for from this computer.
    async fn get(&self, path: &str) -> (StatusCode, String) {
        let request = Request::get(path).header("host", HOST).body(Body::empty()).unwrap();
        read(self.answer(LOCAL, request).await).await
    }
}

async fn read(response: Response<Body>) -> (StatusCode, String) {
    let status = response.status();
    let bytes = to_bytes(response.into_body(), usize::MAX).await.unwrap();
    (status, String::from_utf8_lossy(&bytes).into_owned())
}

fn wait_for<T>(work: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap().block_on(work)
}
