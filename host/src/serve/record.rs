//! Recording from a page: start, what a person wants meanwhile, and the stream of updates.

use super::desk::{Desk, Update};
use super::names;
use super::problem::{Answer, Trouble, aside, shown, told_as_json};
use super::state::App;
use crate::device::ports;
use crate::jobs;
use crate::jobs::record::{Command, Request};
use crate::run::find::RUNS;
use crate::run::plan::{Test, parse_plan};
use crate::run::{Facts, Phase};
use crate::show::page;
use axum::Json;
use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::Stream;
use futures_util::stream::unfold;
use serde::Deserialize;
use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::broadcast::Receiver;
use tokio::sync::broadcast::error::RecvError;

/// How long a cable that was pulled is waited for, s: as long as the command line waits unasked.
const RECONNECT_S: f64 = 30.0;
/// A line that says nothing, so that both ends know that the other is there.
const ALIVE: Duration = Duration::from_secs(10);
/// Letters of a remark at the most.
const LONGEST: usize = 400;

/// The page.
pub async fn page_of(State(app): State<Arc<App>>) -> Response {
    let at_work = app.clone();
    let page = aside(move || {
        let vehicles = at_work.book.vehicles().map_err(|e| Trouble::Failed(e.into()))?;
        let vehicles: Vec<page::Rigged> = vehicles
            .into_iter()
            .map(|name| page::Rigged { sensors: sensors(&at_work, &name), name })
            .collect();
        // Without a list of ports a person still knows the name of his.
        let ports: Vec<_> =
            ports::list().unwrap_or_default().into_iter().map(|p| (p.path.clone(), name(&p))).collect();
        Ok(page::record(&vehicles, &ports, &at_work.setting))
    });
    shown(&app, page.await)
}

/// Names of a vehicle's sensors; none where its files are wrong, which the start of a recording then tells.
fn sensors(app: &App, vehicle: &str) -> Vec<String> {
    jobs::sensors::names(&app.book.vehicle_folder(vehicle)).unwrap_or_default()
}

fn name(port: &ports::Port) -> String {
    port.usb.as_ref().and_then(|usb| usb.name.clone()).unwrap_or_else(|| "serial port".into())
}

/// What to record, as the form sends it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Start {
    vehicle: String,
    port: String,
    #[serde(default)]
    test: String,
    #[serde(default)]
    plan: String,
    ramp_angle_deg: Option<f64>,
    taped_left_mm: Option<f64>,
    taped_right_mm: Option<f64>,
    load_n: Option<f64>,
    /// Sensors of the rig that are not there.
    #[serde(default)]
    without: Vec<String>,
    #[serde(default)]
    notes: String,
}

/// Begins a recording.
pub async fn start(State(app): State<Arc<App>>, Json(start): Json<Start>) -> Response {
    match begin(&app, &start) {
        Ok(()) => Json(serde_json::json!({})).into_response(),
        Err(trouble) => told_as_json(&trouble),
    }
}

fn begin(app: &App, start: &Start) -> Answer<()> {
    let vehicle_folder = names::vehicle(app, &start.vehicle)?;
    let (test, plan) = planned(start)?;
    let angle = start.ramp_angle_deg;
    if angle.is_some_and(|deg| !(deg > 0.0 && deg < 60.0)) {
        return Err(Trouble::Asked("a ramp's angle is between 0 and 60 degrees".into()));
    }
    let typed = [start.taped_left_mm, start.taped_right_mm, start.load_n];
    if typed.into_iter().flatten().any(|value| !(value > 0.0 && value.is_finite())) {
        return Err(Trouble::Asked("a distance and a load are greater than nothing".into()));
    }
    if start.port.trim().is_empty() {
        return Err(Trouble::Asked("say which port the logger is on".into()));
    }
    let facts = Facts {
        test: test.map(|t| t.words().to_owned()),
        ramp_angle_rad: angle.map(f64::to_radians),
        taped_ramp_m: [start.taped_left_mm, start.taped_right_mm].map(|mm| mm.map(|mm| mm * 1e-3)),
        load_n: start.load_n,
        notes: start.notes.chars().take(LONGEST).collect(),
    };
    let now = (app.rim.now)();
    let without = start.without.clone();
    let request = Request {
        vehicle_folder,
        shelf: RUNS,
        test,
        plan,
        facts,
        without,
        seconds: None,
        reconnect_s: RECONNECT_S,
        now,
    };
    app.desk.start(request, start.port.trim(), &start.vehicle, app.setting.units)
}

fn planned(start: &Start) -> Answer<(Option<Test>, Vec<Phase>)> {
    if !start.plan.trim().is_empty() {
        let plan = parse_plan(&start.plan)
            .map_err(|part| Trouble::Asked(format!("there is no phase \"{part}\"")))?;
        return Ok((None, plan));
    }
    let test = Test::parse(&start.test);
    let test = test.ok_or_else(|| Trouble::Asked(format!("there is no test \"{}\"", start.test)))?;
    Ok((Some(test), test.plan()))
}

/// What a person wants meanwhile.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wish {
    r#do: String,
    #[serde(default)]
    text: String,
}

/// Hands it on.
pub async fn command(State(app): State<Arc<App>>, Json(wish): Json<Wish>) -> Response {
    let command = match wish.r#do.as_str() {
        "next" => Command::Next,
        "pause" => Command::Pause,
        "lift" => Command::Lift,
        "stop" => Command::Stop,
        "note" if !wish.text.trim().is_empty() => {
            Command::Note(wish.text.trim().chars().take(LONGEST).collect())
        }
        _ => return told_as_json(&Trouble::Asked("there is nothing like that to do".into())),
    };
    match app.desk.command(command) {
        Ok(()) => Json(serde_json::json!({})).into_response(),
        Err(trouble) => told_as_json(&trouble),
    }
}

/// The updates, from now on.
pub async fn events(State(app): State<Arc<App>>) -> Response {
    let stream = updates(&app.desk, app.stop.clone());
    Sse::new(stream).keep_alive(KeepAlive::new().interval(ALIVE)).into_response()
}

/// What a page hears: where things are, then every update, how many it missed, and the end when the server ends.
pub fn updates(
    desk: &Desk,
    stop: super::Stop,
) -> impl Stream<Item = Result<Event, Infallible>> + Send + use<> {
    struct Listener {
        first: VecDeque<Update>,
        receiver: Receiver<Update>,
        stop: super::Stop,
    }
    let (first, receiver) = desk.watch();
    let listener = Listener { first: first.into(), receiver, stop };
    unfold(listener, async |mut listener| {
        if let Some(update) = listener.first.pop_front() {
            return Some((Ok(event(&update)), listener));
        }
        let heard = tokio::select! {
            () = listener.stop.heard() => return None,
            heard = listener.receiver.recv() => heard,
        };
        match heard {
            Ok(update) => Some((Ok(event(&update)), listener)),
            Err(RecvError::Lagged(missed)) => {
                Some((Ok(Event::default().event("missed").data(missed.to_string())), listener))
            }
            Err(RecvError::Closed) => None,
        }
    })
}

fn event(update: &Update) -> Event {
    Event::default().event(update.kind).data(&*update.data)
}
