//! What every request must pass: it must be meant for this server, come from one of its own pages where it changes anything,
//! be small, come from somebody who was let in; and what every answer carries.

use super::entry::{COOKIE, same};
use super::listen::Ends;
use super::problem::{Refusal, refused};
use super::state::App;
use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::header::{self, HeaderMap, HeaderName};
use axum::http::{HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::Response;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

/// Bytes of a request's body at the most: a form, or the points of a vehicle.
pub const MOST_BYTES: usize = 64 * 1024;
/// How long a body may take.
const BODY_WITHIN: Duration = Duration::from_secs(10);
/// What pages send with everything that changes something: other sites can send no header of their own.
pub const TOKEN_HEADER: HeaderName = HeaderName::from_static("x-page-token");

/// What pages may do: show their own files, speak to their own server, nothing else.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; \
    connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Lets a request through, or answers it.
pub async fn guard(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let mut response = match passed(&app, request).await {
        Ok(request) => next.run(request).await,
        Err(refusal) => refused(&app, refusal),
    };
    seal(response.headers_mut());
    response
}

async fn passed(app: &App, request: Request) -> Result<Request, Refusal> {
    let ends = request.extensions().get::<Ends>().copied();
    // A request that came over no connection of this server is nobody's.
    let ends = ends.ok_or(Refusal::WrongHost)?;
    let host = meant_for(app, &request, &ends)?;
    let changes = !matches!(*request.method(), Method::GET | Method::HEAD);
    from_own_page(request.headers(), &host, changes)?;
    if !ends.peer.is_loopback() && request.uri().path() != "/enter" && !inside(app, request.headers()) {
        return Err(Refusal::NotLetIn);
    }
    if changes && !carries_token(request.headers(), &app.setting.page_token) {
        return Err(Refusal::NoToken);
    }
    with_whole_body(request).await
}

/// The host that the request names, if it is this server: a page elsewhere may let a name of its own point here, but a
/// browser then says that name.
fn meant_for(app: &App, request: &Request, ends: &Ends) -> Result<String, Refusal> {
    let mut hosts = request.headers().get_all(header::HOST).iter();
    let host = hosts.next().and_then(|host| host.to_str().ok()).ok_or(Refusal::WrongHost)?;
    if hosts.next().is_some() || request.uri().authority().is_some_and(|a| a.as_str() != host) {
        return Err(Refusal::WrongHost);
    }
    let port = app.doors.port;
    let own =
        [IpAddr::V4(Ipv4Addr::LOCALHOST), ends.here.ip()].map(|ip| SocketAddr::new(ip, port).to_string());
    let named = format!("localhost:{port}");
    let local_name = host.eq_ignore_ascii_case(&named) && ends.peer.is_loopback();
    // Port 80 need not be said.
    let bare = port == 80 && own.iter().any(|own| own.strip_suffix(":80") == Some(host));
    if local_name || bare || own.iter().any(|own| own == host) {
        Ok(host.to_owned())
    } else {
        Err(Refusal::WrongHost)
    }
}

/// Refuses what another site's page sends. Reading is refused only where the browser says that another site wants to frame
/// or fetch it; a link from elsewhere may be followed.
fn from_own_page(headers: &HeaderMap, host: &str, changes: bool) -> Result<(), Refusal> {
    if let Some(origin) = headers.get(header::ORIGIN)
        && origin.to_str().ok() != Some(&format!("http://{host}"))
    {
        return Err(Refusal::OtherSite);
    }
    let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or_default().to_owned());
    match (text("sec-fetch-site").as_deref(), text("sec-fetch-mode").as_deref()) {
        (None | Some("same-origin" | "none"), _) => Ok(()),
        (Some(_), Some("navigate")) if !changes => Ok(()),
        (Some(_), _) => Err(Refusal::OtherSite),
    }
}

/// Whether a device was let in.
fn inside(app: &App, headers: &HeaderMap) -> bool {
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|c| c.to_str().ok());
    let given: Vec<&str> = cookies
        .flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .filter_map(|(name, value)| (name == COOKIE).then_some(value))
        .collect();
    let keys = app.keys();
    keys.inside.iter().fold(false, |any, key| any | given.iter().any(|given| same(given, key)))
}

fn carries_token(headers: &HeaderMap, token: &str) -> bool {
    headers.get(TOKEN_HEADER).and_then(|given| given.to_str().ok()).is_some_and(|given| same(given, token))
}

/// The request with its whole body, if that is small and comes in time.
async fn with_whole_body(request: Request) -> Result<Request, Refusal> {
    let (head, body) = request.into_parts();
    let body = tokio::time::timeout(BODY_WITHIN, to_bytes(body, MOST_BYTES)).await;
    let bytes = body.map_err(|_| Refusal::TooSlow)?.map_err(|_| Refusal::TooLarge)?;
    Ok(Request::from_parts(head, Body::from(bytes)))
}

fn seal(headers: &mut HeaderMap) {
    let fixed = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (header::REFERRER_POLICY, "same-origin"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ];
    for (name, value) in fixed {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
}

/// What a refusal is as a status.
pub fn status(refusal: Refusal) -> StatusCode {
    match refusal {
        Refusal::WrongHost => StatusCode::MISDIRECTED_REQUEST,
        Refusal::OtherSite | Refusal::NoToken => StatusCode::FORBIDDEN,
        Refusal::NotLetIn => StatusCode::UNAUTHORIZED,
        Refusal::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
        Refusal::TooSlow => StatusCode::REQUEST_TIMEOUT,
    }
}
