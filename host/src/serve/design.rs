//! The drawing board: which vehicle, its page, and what becomes of its numbers when a point is moved.

use super::names;
use super::problem::{Answer, Trouble, aside, shown, told_as_json};
use super::state::{App, AsDrawn, Board};
use crate::explain::Failure;
use crate::files::logbook::VEHICLE_FILE;
use crate::jobs::what_if::{self, Change, Tried};
use crate::show::page;
use crate::vehicle::{self, Vehicle};
use axum::Json;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use std::sync::Arc;

/// Which vehicle.
pub async fn all(State(app): State<Arc<App>>) -> Response {
    let at_work = app.clone();
    let page = aside(move || {
        let vehicles = at_work.book.vehicles().map_err(|e| Trouble::Failed(e.into()))?;
        Ok(page::which_drawing(&vehicles, &at_work.setting))
    });
    shown(&app, page.await)
}

/// Which axle of it, counted from 0.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Which {
    axle: usize,
}

/// The board of one axle.
pub async fn one(
    State(app): State<Arc<App>>,
    Path(vehicle): Path<String>,
    Query(which): Query<Which>,
) -> Response {
    let at_work = app.clone();
    let page = aside(move || {
        let drawn = drawing(&at_work, &vehicle)?;
        let base = tried(&drawn, &Asked { axle: which.axle, rests: true, ..Asked::default() })?;
        let axle = drawn.axles.get(which.axle).ok_or(Trouble::Broke)?;
        Ok(page::board(&vehicle, &drawn, &what_if::handles(axle), &base, &at_work.setting))
    });
    shown(&app, page.await)
}

/// What a hand did.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Asked {
    axle: usize,
    changes: Vec<Moved>,
    heave_m: f64,
    roll_rad: f64,
    /// Whether the hand rests, so that there is time for the ±.
    rests: bool,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Moved {
    handle: usize,
    hole: usize,
    offset_m: [f64; 3],
}

/// The axle anew.
pub async fn redraw(
    State(app): State<Arc<App>>,
    Path(vehicle): Path<String>,
    Json(asked): Json<Asked>,
) -> Response {
    let at_work = app.clone();
    let answer = aside(move || {
        let drawn = drawing(&at_work, &vehicle)?;
        let now = tried(&drawn, &asked)?;
        let base = as_drawn(&at_work, &drawn, asked)?;
        Ok(page::redrawn(&now, &base, at_work.setting.units))
    });
    match answer.await {
        Ok(redrawn) => Json(redrawn).into_response(),
        Err(trouble) => told_as_json(&trouble),
    }
}

fn tried(drawn: &Vehicle, asked: &Asked) -> Answer<Tried> {
    let change = |m: &Moved| Change { handle: m.handle, hole: m.hole, offset_m: m.offset_m };
    let request = what_if::Request {
        vehicle: drawn,
        axle_index: asked.axle,
        changes: asked.changes.iter().map(change).collect(),
        shown: (asked.heave_m, asked.roll_rad),
        with_u: asked.rests,
    };
    what_if::run(&request).map_err(|error| Trouble::Failed(error.into()))
}

/// The vehicle as drawn: read again only when its file looks otherwise than last time.
fn drawing(app: &App, name: &str) -> Answer<Arc<Vehicle>> {
    let file = names::vehicle(app, name)?.join(VEHICLE_FILE);
    let look = std::fs::metadata(&file).ok().and_then(|meta| Some((meta.len(), meta.modified().ok()?)));
    if let Some(board) = app.board().as_ref()
        && board.file == file
        && board.look.is_some()
        && board.look == look
    {
        return Ok(board.vehicle.clone());
    }
    let vehicle =
        Arc::new(vehicle::file::load(&file).map_err(|error| Trouble::Failed(Failure::from(error)))?);
    *app.board() = Some(Board { file, look, vehicle: vehicle.clone(), drawn: Vec::new() });
    Ok(vehicle)
}

/// Axles without a point moved that are kept: while a hand drags and while it rests, on two screens.
const KEPT: usize = 4;

/// The axle without a point moved: solved once for as long as a hand moves points.
fn as_drawn(app: &App, vehicle: &Arc<Vehicle>, asked: Asked) -> Answer<Arc<Tried>> {
    let which = AsDrawn { axle: asked.axle, shown: (asked.heave_m, asked.roll_rad), with_u: asked.rests };
    let same = |board: &&mut Board| Arc::ptr_eq(&board.vehicle, vehicle);
    if let Some(board) = app.board().as_mut().filter(same)
        && let Some((_, kept)) = board.drawn.iter().find(|(kept, _)| *kept == which)
    {
        return Ok(kept.clone());
    }
    let base = Arc::new(tried(vehicle, &Asked { changes: Vec::new(), ..asked })?);
    if let Some(board) = app.board().as_mut().filter(same) {
        board.drawn.truncate(KEPT - 1);
        board.drawn.insert(0, (which, base.clone()));
    }
    Ok(base)
}
