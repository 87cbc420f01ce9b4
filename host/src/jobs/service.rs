//! `service`: what was done to a vehicle and when.

use super::history::{logbook, vehicle_folder};
use crate::explain::{Explain, Failure};
use crate::files::did_you_mean;
use crate::history::service::{ServiceEvent, UnknownName, Work, elements};
use crate::history::service_file;
use crate::vehicle;
use std::path::PathBuf;

/// What was done.
#[derive(Debug, Clone)]
pub struct Request {
    /// The logbook that was named.
    pub logbook: Option<PathBuf>,
    /// The vehicle's folder.
    pub vehicle: String,
    /// In the builder's words.
    pub text: String,
    /// What was done; empty to list.
    pub work: Vec<Work>,
    /// When, RFC 3339, and µs since 1970.
    pub date: (String, i64),
}

/// A vehicle's service record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// The vehicle's folder.
    pub vehicle: String,
    /// What was added now.
    pub added: Vec<ServiceEvent>,
    /// Everything, oldest first.
    pub all: Vec<ServiceEvent>,
    /// By event added, what begins anew with it.
    pub consequences: Vec<String>,
}

/// Why nothing was added.
#[derive(Debug, thiserror::Error)]
pub enum ServiceNameError {
    /// The vehicle has no such thing.
    #[error("{vehicle} has no {} called \"{}\"", .unknown.what, .unknown.name)]
    Unknown {
        /// The vehicle.
        vehicle: String,
        /// The name and those that there are.
        unknown: UnknownName,
    },
}

impl Explain for ServiceNameError {
    fn hint(&self) -> Option<String> {
        let ServiceNameError::Unknown { unknown, .. } = self;
        did_you_mean(&unknown.name, &unknown.there)
    }
}

/// Adds to a vehicle's service record, or only reads it.
///
/// # Errors
/// Where the vehicle or an element is not there, the record has mistakes, or the disk refuses.
pub fn run(request: &Request) -> Result<Record, Failure> {
    let logbook = logbook(request.logbook.as_deref())?;
    let folder = vehicle_folder(&logbook, &request.vehicle)?;
    // A record with mistakes is mended before anything is added.
    service_file::load(&folder)?;
    let added: Vec<ServiceEvent> = request
        .work
        .iter()
        .map(|work| ServiceEvent {
            date: request.date.0.clone(),
            at_us: request.date.1,
            text: request.text.clone(),
            work: work.clone(),
        })
        .collect();
    let mut consequences = Vec::new();
    if !added.is_empty() {
        let vehicle = vehicle::file::load(&folder.join(crate::files::logbook::VEHICLE_FILE))?;
        if let Some(unknown) = request.work.iter().find_map(|w| w.unknown_name(&vehicle)) {
            return Err(ServiceNameError::Unknown { vehicle: request.vehicle.clone(), unknown }.into());
        }
        service_file::append(&folder, &added)?;
        let all: Vec<_> = vehicle.axles.iter().flat_map(elements).collect();
        consequences = request.work.iter().map(|work| work.consequence(&all)).collect();
    }
    Ok(Record { vehicle: request.vehicle.clone(), added, all: service_file::load(&folder)?, consequences })
}
