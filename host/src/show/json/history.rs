//! `history --json`, `service --json`.

use super::{FORMAT, Value, text};
use crate::history::service::ServiceEvent;
use crate::jobs::history::{Listed, Listing};
use crate::jobs::service::Record;
use crate::run::Counts;
use crate::vehicle::Side;
use serde::Serialize;
use std::collections::BTreeMap;

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    runs: Vec<Run<'a>>,
    earlier: usize,
    services: Vec<Service<'a>>,
    said: &'a [String],
}

#[derive(Serialize)]
struct Run<'a> {
    vehicle: &'a str,
    run: &'a str,
    started: &'a str,
    test: Option<&'a str>,
    ramp_angle_rad: Option<f64>,
    notes: &'a str,
    vehicle_hash: &'a str,
    rig_hash: &'a str,
    calibration_hash: Option<&'a str>,
    data_hash: &'a str,
    firmware: Option<&'a str>,
    program: &'a str,
    samples: Counts,
    problem: Option<&'a str>,
    axles: Vec<Axle<'a>>,
}

#[derive(Serialize)]
struct Axle<'a> {
    name: &'a str,
    measured: BTreeMap<&'a str, Value>,
    links: Vec<Link<'a>>,
}

#[derive(Serialize)]
struct Link<'a> {
    name: &'a str,
    #[serde(flatten)]
    measured: BTreeMap<&'a str, Value>,
}

/// An entry of a service record.
#[derive(Serialize)]
pub(super) struct Service<'a> {
    vehicle: &'a str,
    date: &'a str,
    text: &'a str,
    work: String,
    element: Option<&'a str>,
    end: Option<&'static str>,
}

impl<'a> Service<'a> {
    pub(super) fn of(vehicle: &'a str, event: &'a ServiceEvent) -> Self {
        let end = event.work.end().map(|e| if e == Side::Chassis { "chassis" } else { "axle" });
        let element = event.work.element();
        Self { vehicle, date: &event.date, text: &event.text, work: event.work.words(), element, end }
    }
}

fn run_of(listed: &Listed) -> Run<'_> {
    let facts = &listed.run.facts;
    let mut axles: Vec<Axle<'_>> = Vec::new();
    for (axle, entry) in &listed.entries {
        let at = match axles.iter().position(|a| a.name == axle) {
            Some(at) => at,
            None => {
                axles.push(Axle { name: axle, measured: BTreeMap::new(), links: Vec::new() });
                axles.len() - 1
            }
        };
        let Some(found) = axles.get_mut(at) else { continue };
        let value = Value::of(&entry.measured);
        let element = entry.quantity.element();
        if element.is_empty() {
            found.measured.insert(entry.quantity.name(), value);
        } else if let Some(link) = found.links.iter_mut().find(|l| l.name == element) {
            link.measured.insert(entry.quantity.name(), value);
        } else {
            let measured = BTreeMap::from([(entry.quantity.name(), value)]);
            found.links.push(Link { name: element, measured });
        }
    }
    Run {
        vehicle: &facts.vehicle,
        run: &facts.run,
        started: &facts.started,
        test: facts.test.as_deref(),
        ramp_angle_rad: facts.ramp_angle_rad,
        notes: &facts.notes,
        vehicle_hash: &facts.design_hash,
        rig_hash: &facts.rig_hash,
        calibration_hash: facts.calibration_hash.as_deref(),
        data_hash: &facts.data_hash,
        firmware: facts.firmware.as_deref(),
        program: &facts.program,
        samples: facts.counts,
        problem: facts.problem.as_deref(),
        axles,
    }
}

/// Runs as JSON.
pub fn history(listing: &Listing) -> String {
    text(&Document {
        format: FORMAT,
        runs: listing.runs.iter().map(run_of).collect(),
        earlier: listing.earlier,
        services: listing.services.iter().map(|(vehicle, event)| Service::of(vehicle, event)).collect(),
        said: &listing.said,
    })
}

/// A service record as JSON.
pub fn service(record: &Record) -> String {
    #[derive(Serialize)]
    struct Services<'a> {
        format: u32,
        added: Vec<Service<'a>>,
        services: Vec<Service<'a>>,
    }
    text(&Services {
        format: FORMAT,
        added: record.added.iter().map(|e| Service::of(&record.vehicle, e)).collect(),
        services: record.all.iter().map(|e| Service::of(&record.vehicle, e)).collect(),
    })
}
