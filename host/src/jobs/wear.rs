//! `wear`: which joint to look at before the next trip.

use super::catalogue::{self, Opening, Progress};
use super::history::{known_vehicle, logbook};
use crate::explain::Failure;
use crate::files::LoadError;
use crate::files::logbook::VEHICLE_FILE;
use crate::history::service::ServiceEvent;
use crate::history::service_file;
use crate::history::store::{Filter, Store, StoreError};
use crate::history::wear::{Past, Wear, wear_of};
use crate::vehicle::{self, Vehicle};
use std::path::{Path, PathBuf};

/// Runs of a vehicle that are looked at, the latest: many years of them. More would only make an old baseline older.
pub const LATEST: usize = 500;

/// What is asked.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// The logbook that was named.
    pub logbook: Option<PathBuf>,
    /// The vehicle's folder; every vehicle of the logbook where none is named.
    pub vehicle: Option<String>,
    /// The time, as a file that is set aside is marked with it.
    pub stamp: String,
}

/// Vehicles' wear, with what a person should be told beside it.
#[derive(Debug, Clone)]
pub struct Found {
    /// Each vehicle's wear; one where one was named.
    pub vehicles: Vec<Wear>,
    /// Sentences.
    pub said: Vec<String>,
}

/// Reads vehicles' wear from the history, which is brought up to date first.
///
/// # Errors
/// Where there is no logbook or no such vehicle, a file of it is wrong, or the database cannot be used.
pub fn run(request: &Request, progress: &mut dyn FnMut(Progress<'_>)) -> Result<Found, Failure> {
    let logbook = logbook(request.logbook.as_deref())?;
    let folders = match &request.vehicle {
        Some(name) => {
            known_vehicle(&logbook, name)?;
            vec![name.clone()]
        }
        None => logbook.vehicles()?,
    };
    let mut drawn = Vec::new();
    let mut unread = Vec::new();
    for name in folders {
        match files(&logbook.vehicle_folder(&name)) {
            Ok((vehicle, services)) => drawn.push((name, vehicle, services)),
            // One vehicle's mistake must not hide what the others need.
            Err(error) if request.vehicle.is_none() => unread.push(format!("{name} is left out: {error}")),
            Err(error) => return Err(error.into()),
        }
    }
    let opening = Opening { logbook: &logbook, stamp: request.stamp.clone(), rebuild: false };
    let (pasts, mut said) = catalogue::with(&opening, progress, |catalogue| {
        drawn
            .iter()
            .map(|(name, vehicle, services)| past(&catalogue.store, name, vehicle, services))
            .collect::<Result<Vec<Past>, StoreError>>()
    })?;
    said.extend(unread);
    Ok(Found { vehicles: pasts.into_iter().map(wear_of).collect(), said })
}

/// What a vehicle's folder says beside its runs.
fn files(folder: &Path) -> Result<(Vehicle, Vec<ServiceEvent>), LoadError> {
    Ok((vehicle::file::load(&folder.join(VEHICLE_FILE))?, service_file::load(folder)?))
}

fn past(store: &Store, name: &str, vehicle: &Vehicle, services: &[ServiceEvent]) -> Result<Past, StoreError> {
    let filter = Filter { vehicle: Some(name.to_owned()), latest: Some(LATEST), ..Filter::default() };
    let runs = store.runs(&filter)?;
    let from = runs.iter().map(|r| r.id).min().unwrap_or(0);
    Ok(Past {
        vehicle: vehicle.clone(),
        runs,
        axles: store.axles(name, from)?,
        bases: store.bases()?,
        series: store.series(name, from)?,
        services: services.to_vec(),
    })
}
