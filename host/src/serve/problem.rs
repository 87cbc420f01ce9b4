//! Answers that say why there is nothing to show.

use super::names::Unknown;
use super::state::App;
use crate::explain::{Explain, Failure, Status};
use crate::show::page::{self, Problem};
use crate::show::words;
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use std::sync::Arc;

/// Why a request does not get past the guard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// It names another server.
    WrongHost,
    /// Another site's page sent it.
    OtherSite,
    /// It would change something and carries no token of a page.
    NoToken,
    /// It comes from another device that was not let in.
    NotLetIn,
    /// Its body is too large.
    TooLarge,
    /// Its body does not come.
    TooSlow,
}

impl Refusal {
    fn words(self) -> (&'static str, Option<&'static str>) {
        match self {
            Refusal::WrongHost => {
                ("this server does not go by that name", Some("Use the address that it printed."))
            }
            Refusal::OtherSite => ("another site asked for this", None),
            Refusal::NoToken => ("this page is older than the server", Some("Load it again.")),
            Refusal::NotLetIn => (
                "this device was not let in, or its token was used before",
                Some("Scan the code in the terminal where hingeline serve runs; each opens once."),
            ),
            Refusal::TooLarge => ("that is more than this server takes", None),
            Refusal::TooSlow => ("the request did not come in time", None),
        }
    }
}

/// Answers a request that the guard refused.
pub fn refused(app: &App, refusal: Refusal) -> Response {
    let (sentence, hint) = refusal.words();
    let problem = Problem { sentence: sentence.into(), hint: hint.map(Into::into), details: None };
    // Whoever is refused gets no token.
    let setting =
        page::Setting { page_token: String::new(), logbook: "hingeline".into(), ..app.setting.clone() };
    (super::guard::status(refusal), Html(page::problem(&problem, &setting))).into_response()
}

/// What a handler gives.
pub type Answer<T> = Result<T, Trouble>;

/// Why a handler has nothing to show.
#[derive(Debug)]
pub enum Trouble {
    /// There is no such thing.
    Unknown(Unknown),
    /// What was asked makes no sense.
    Asked(String),
    /// A job failed.
    Failed(Failure),
    /// The work itself broke.
    Broke,
}

impl From<Unknown> for Trouble {
    fn from(unknown: Unknown) -> Self {
        Trouble::Unknown(unknown)
    }
}

impl From<Failure> for Trouble {
    fn from(failure: Failure) -> Self {
        Trouble::Failed(failure)
    }
}

impl Trouble {
    /// Its status and what a person is told.
    pub fn told(&self) -> (StatusCode, Problem) {
        let plain = |sentence: &str| Problem { sentence: sentence.into(), hint: None, details: None };
        match self {
            Trouble::Unknown(unknown) => {
                let hint = unknown.hint();
                (StatusCode::NOT_FOUND, Problem { hint, ..plain(&unknown.to_string()) })
            }
            Trouble::Asked(sentence) => (StatusCode::BAD_REQUEST, plain(sentence)),
            Trouble::Failed(failure) => {
                let status = match failure.status() {
                    Status::Device => StatusCode::INTERNAL_SERVER_ERROR,
                    _ => StatusCode::UNPROCESSABLE_ENTITY,
                };
                (status, of_failure(failure.as_ref()))
            }
            Trouble::Broke => {
                (StatusCode::INTERNAL_SERVER_ERROR, plain("hingeline made a mistake on this page"))
            }
        }
    }

    /// The page of it.
    pub fn page(&self, app: &App) -> Response {
        let (status, problem) = self.told();
        (status, Html(page::problem(&problem, &app.setting))).into_response()
    }
}

/// What a failure tells a person.
pub fn of_failure(failure: &dyn Explain) -> Problem {
    Problem { sentence: failure.to_string(), hint: failure.hint(), details: failure.report(false) }
}

/// What went wrong, for a script.
pub fn told_as_json(trouble: &Trouble) -> Response {
    let (status, problem) = trouble.told();
    let sentence = format!("{}.", words::capital(&problem.sentence));
    (status, Json(serde_json::json!({ "sentence": sentence, "hint": problem.hint }))).into_response()
}

/// The answer of a handler.
pub fn shown(app: &App, page: Answer<String>) -> Response {
    match page {
        Ok(html) => Html(html).into_response(),
        Err(trouble) => trouble.page(app),
    }
}

/// Does work that computes or waits for the disk where it is in nobody's way.
pub async fn aside<T: Send + 'static>(work: impl FnOnce() -> Answer<T> + Send + 'static) -> Answer<T> {
    tokio::task::spawn_blocking(work).await.unwrap_or(Err(Trouble::Broke))
}

/// For addresses that lead nowhere.
pub async fn nothing_here(State(app): State<Arc<App>>) -> Response {
    let problem = Problem { sentence: "there is no such page".into(), hint: None, details: None };
    (StatusCode::NOT_FOUND, Html(page::problem(&problem, &app.setting))).into_response()
}
