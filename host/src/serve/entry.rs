//! How other devices come in: a token that opens once, and what a device carries from then on.

use super::problem::{Refusal, refused};
use super::state::{App, Notice};
use axum::extract::{Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;
use std::sync::Arc;

/// The cookie of a device that was let in.
pub const COOKIE: &str = "hingeline-device";
/// Devices that may be inside at once; the next one closes the door behind it until the program starts anew.
const MOST_DEVICES: usize = 32;

/// What a device shows at the door.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Shown {
    token: String,
}

/// Makes a token for one more device and tells the person at the terminal.
pub fn invite(app: &App) {
    let token = (app.rim.secret)();
    app.keys().token = Some(token.clone());
    let address = app.doors.lan.map(|ip| format!("http://{ip}:{}/enter?token={token}", app.doors.port));
    app.rim.tell(Notice::Invitation { address, token });
}

/// Lets a device in by its token, once, and makes a token for the next one.
pub async fn enter(State(app): State<Arc<App>>, Query(Shown { token }): Query<Shown>) -> Response {
    let key = (app.rim.secret)();
    {
        let mut keys = app.keys();
        let opens = keys.token.as_ref().is_some_and(|own| same(own, &token));
        if !opens || keys.inside.len() >= MOST_DEVICES {
            return refused(&app, Refusal::NotLetIn);
        }
        keys.token = None;
        keys.inside.insert(key.clone());
    }
    invite(&app);
    let cookie = format!("{COOKIE}={key}; Path=/; HttpOnly; SameSite=Strict");
    ([(header::SET_COOKIE, cookie)], Redirect::to("/")).into_response()
}

/// Whether two secrets are the same, in a time that does not tell how much of them is.
pub fn same(a: &str, b: &str) -> bool {
    // Of their hashes, so that neither length nor any part of a guess shows in the time; `blake3::Hash` compares in constant
    // time.
    blake3::hash(a.as_bytes()) == blake3::hash(b.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn secrets_are_compared_whole() {
        assert!(same("0123456789abcdef", "0123456789abcdef"));
        for other in ["", "0123456789abcde", "0123456789abcdeF", "0123456789abcdef0"] {
            assert!(!same("0123456789abcdef", other), "{other}");
        }
    }
}
