//! `wear`: which joint to look at before the next trip.

use super::catalogue::{self, Opening, Progress};
use super::history::{known_vehicle, logbook};
use crate::explain::Failure;
use crate::history::service_file;
use crate::history::store::Filter;
use crate::history::wear::{Past, Wear, wear_of};
use crate::vehicle;
use std::path::PathBuf;

/// What is asked.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// The logbook that was named.
    pub logbook: Option<PathBuf>,
    /// The vehicle's folder.
    pub vehicle: String,
    /// The time, as a file that is set aside is marked with it.
    pub stamp: String,
}

/// A vehicle's wear, with what a person should be told beside it.
#[derive(Debug, Clone)]
pub struct Found {
    /// The vehicle's folder.
    pub folder: String,
    /// Its wear.
    pub wear: Wear,
    /// Sentences.
    pub said: Vec<String>,
}

/// Reads a vehicle's wear from its history, which is brought up to date first.
///
/// # Errors
/// Where there is no logbook or no such vehicle, a file of it is wrong, or the database cannot be used.
pub fn run(request: &Request, progress: &mut dyn FnMut(Progress<'_>)) -> Result<Found, Failure> {
    let logbook = logbook(request.logbook.as_deref())?;
    known_vehicle(&logbook, &request.vehicle)?;
    let folder = logbook.vehicle_folder(&request.vehicle);
    let vehicle = vehicle::file::load(&folder.join(crate::files::logbook::VEHICLE_FILE))?;
    let services = service_file::load(&folder)?;
    let opening = Opening { logbook: &logbook, stamp: request.stamp.clone(), rebuild: false };
    let (past, said) = catalogue::with(&opening, progress, |catalogue| {
        let store = &catalogue.store;
        let filter = Filter { vehicle: Some(request.vehicle.clone()), ..Filter::default() };
        Ok(Past {
            vehicle: vehicle.clone(),
            runs: store.runs(&filter)?,
            axles: store.axles(&request.vehicle)?,
            bases: store.bases()?,
            series: store.series(&request.vehicle)?,
            services: services.clone(),
        })
    })?;
    Ok(Found { folder: request.vehicle.clone(), wear: wear_of(past), said })
}
