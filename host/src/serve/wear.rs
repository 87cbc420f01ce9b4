//! Wear over all runs.

use super::names;
use super::problem::{Answer, Trouble, aside, shown};
use super::state::App;
use crate::jobs::wear::{self, Found};
use crate::show::page;
use axum::extract::{Path, State};
use axum::response::Response;
use std::sync::Arc;

fn found(app: &App, vehicle: Option<String>) -> Answer<Found> {
    let request = wear::Request { logbook: app.folder(), vehicle, stamp: app.stamp() };
    Ok(wear::run(&request, &mut |_| {})?)
}

/// A line for each vehicle.
pub async fn all(State(app): State<Arc<App>>) -> Response {
    let at_work = app.clone();
    let page = aside(move || {
        let folders = at_work.book.vehicles().map_err(|e| Trouble::Failed(e.into()))?;
        let Found { vehicles, said } = found(&at_work, None)?;
        let vehicles: Vec<_> = folders.into_iter().zip(vehicles).collect();
        Ok(page::which_vehicle(&vehicles, &said, &at_work.setting))
    });
    shown(&app, page.await)
}

/// One vehicle.
pub async fn one(State(app): State<Arc<App>>, Path(vehicle): Path<String>) -> Response {
    let at_work = app.clone();
    let page = aside(move || {
        names::vehicle(&at_work, &vehicle)?;
        let found = found(&at_work, Some(vehicle.clone()))?;
        let wear = found.vehicles.first().ok_or(Trouble::Broke)?;
        Ok(page::wear(wear, &found.said, &vehicle, &at_work.setting))
    });
    shown(&app, page.await)
}
