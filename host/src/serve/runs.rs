//! The list of runs, one run, its report.

use super::names;
use super::problem::{Answer, Trouble, aside, shown};
use super::state::App;
use crate::jobs::catalogue::Progress;
use crate::jobs::compare::{Compared, with_design};
use crate::jobs::{history, source};
use crate::run::find::runs_of;
use crate::run::plan::Test;
use crate::show::page::{self, Asked, PAGE};
use crate::show::report;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{Html, IntoResponse, Response};
use jiff::civil::Date;
use serde::Deserialize;
use std::sync::Arc;
use std::time::Duration;

/// How long a list is waited for; then a page says what is being measured.
const PATIENCE: Duration = Duration::from_millis(1500);
/// Runs that a run's page offers to be set beside.
const OFFERED: usize = 200;

/// The filter as a form sends it.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Form {
    vehicle: String,
    test: String,
    since: String,
    until: String,
    skip: String,
}

impl Form {
    fn asked(self) -> Answer<Asked> {
        let skip = match self.skip.as_str() {
            "" => 0,
            text => text
                .parse()
                .map_err(|_| Trouble::Asked("the number of runs to leave out is no number".into()))?,
        };
        Ok(Asked { vehicle: self.vehicle, test: self.test, since: self.since, until: self.until, skip })
    }
}

/// The list.
pub async fn list(State(app): State<Arc<App>>, Query(form): Query<Form>) -> Response {
    let asked = match form.asked() {
        Ok(asked) => asked,
        Err(trouble) => return trouble.page(&app),
    };
    let (at_work, for_work) = (app.clone(), asked.clone());
    if let Some(doing) = app.catching_up().clone() {
        return Html(page::catching_up(Some(&doing), &app.setting)).into_response();
    }
    let work = aside(move || listed(&at_work, &for_work));
    let task = tokio::spawn(work);
    match tokio::time::timeout(PATIENCE, task).await {
        Ok(done) => shown(&app, done.unwrap_or(Err(Trouble::Broke))),
        Err(_) => {
            let doing = app.catching_up().clone();
            Html(page::catching_up(doing.as_deref(), &app.setting)).into_response()
        }
    }
}

fn listed(app: &App, asked: &Asked) -> Answer<String> {
    let vehicles = app.book.vehicles().map_err(|e| Trouble::Failed(e.into()))?;
    let filter = filter(app, asked)?;
    let request =
        history::Request { logbook: app.folder(), filter, stamp: app.stamp(), ..history::Request::default() };
    let listing = history::run(&request, &mut |progress| *app.catching_up() = Some(told(progress)));
    *app.catching_up() = None;
    Ok(page::runs(&listing?, &vehicles, asked, &app.setting))
}

fn told(progress: Progress) -> String {
    let Progress { vehicle, run, number, of } = progress;
    format!("Run {number} of {of}: {vehicle}/{run}")
}

fn filter(app: &App, asked: &Asked) -> Answer<crate::history::store::Filter> {
    let some = |text: &str| (!text.is_empty()).then(|| text.to_owned());
    if let Some(name) = some(&asked.vehicle) {
        names::vehicle(app, &name)?;
    }
    if !asked.test.is_empty() && Test::parse(&asked.test).is_none() {
        return Err(Trouble::Asked(format!("there is no test \"{}\"", asked.test)));
    }
    Ok(crate::history::store::Filter {
        vehicle: some(&asked.vehicle),
        test: some(&asked.test),
        since_us: day_us(app, &asked.since)?,
        until_us: day_us(app, &asked.until)?,
        latest: Some(PAGE),
        skip: asked.skip,
    })
}

/// When a day begins where this computer stands, µs since 1970.
fn day_us(app: &App, text: &str) -> Answer<Option<i64>> {
    if text.is_empty() {
        return Ok(None);
    }
    let zone = (app.rim.now)().time_zone().clone();
    let begins = text.parse::<Date>().ok().and_then(|day| day.to_zoned_datetime(zone).ok());
    let wrong = || Trouble::Asked(format!("\"{text}\" is no day; write it as 2026-11-25"));
    begins.map(|day| Some(day.timestamp().as_microsecond())).ok_or_else(wrong)
}

/// A run measured and set beside its drawing.
fn compared(app: &App, vehicle: &str, run: &str) -> Answer<Compared> {
    let folder = names::run(app, vehicle, run)?;
    let request = source::Request {
        run: folder.display().to_string(),
        logbook: app.folder(),
        ..source::Request::default()
    };
    Ok(with_design(&request)?)
}

/// The page of a run.
pub async fn one(State(app): State<Arc<App>>, Path((vehicle, run)): Path<(String, String)>) -> Response {
    let at_work = app.clone();
    let page = aside(move || {
        let Compared { source, comparison } = compared(&at_work, &vehicle, &run)?;
        let mut others = runs_of(&at_work.book.vehicle_folder(&vehicle));
        others.retain(|other| *other != run);
        let others: Vec<String> = others.into_iter().rev().take(OFFERED).collect();
        Ok(page::run(
            &comparison,
            (&source.vehicle, &source.calibration),
            [&vehicle, &run],
            &others,
            &at_work.setting,
        ))
    });
    shown(&app, page.await)
}

/// The report of a run as one file.
pub async fn report(State(app): State<Arc<App>>, Path((vehicle, run)): Path<(String, String)>) -> Response {
    let at_work = app.clone();
    let name = format!("attachment; filename=\"{}-report.html\"", safe(&run));
    let file = aside(move || {
        let Compared { source, comparison } = compared(&at_work, &vehicle, &run)?;
        let made = Some((at_work.rim.now)().strftime("%Y-%m-%d %H:%M").to_string());
        let recorded = comparison.provenance.recorded.clone();
        let calibration = source.calibration;
        let options = report::Options { units: at_work.setting.units, recorded, made, calibration };
        Ok(report::html(&comparison, &source.vehicle, &options))
    });
    match file.await {
        Ok(html) => ([(header::CONTENT_DISPOSITION, name)], Html(html)).into_response(),
        Err(trouble) => trouble.page(&app),
    }
}

/// A name that a header may carry.
fn safe(name: &str) -> String {
    name.chars().map(|c| if c.is_ascii_alphanumeric() || "-_.".contains(c) { c } else { '-' }).collect()
}
