//! Two runs of a vehicle set beside each other.

use super::names;
use super::problem::{Answer, aside, shown};
use super::state::App;
use crate::jobs::compare::with_run;
use crate::jobs::source;
use crate::show::page;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;
use std::sync::Arc;

/// Which runs.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Form {
    vehicle: String,
    first: String,
    second: String,
    refitted: String,
}

/// The page of both.
pub async fn two(State(app): State<Arc<App>>, Query(form): Query<Form>) -> Response {
    let at_work = app.clone();
    shown(&app, aside(move || page_of(&at_work, &form)).await)
}

fn page_of(app: &App, form: &Form) -> Answer<String> {
    let request = |run: &str| -> Answer<source::Request> {
        let folder = names::run(app, &form.vehicle, run)?;
        Ok(source::Request {
            run: folder.display().to_string(),
            logbook: app.folder(),
            ..source::Request::default()
        })
    };
    let refitted = !form.refitted.is_empty();
    let compared = with_run(&request(&form.first)?, &request(&form.second)?, refitted)?;
    let names = [form.first.as_str(), form.second.as_str()];
    let (runs, vehicle) = (&compared.runs, &compared.vehicle);
    Ok(page::runs_side_by_side(runs, vehicle, &form.vehicle, names, refitted, &app.setting))
}
