//! `history`: what runs measured over time, which were made when, and what was done to the vehicles in between.

use super::catalogue::{self, Opening, Progress};
use crate::explain::{Explain, Failure};
use crate::files::logbook::{Logbook, LogbookError, VEHICLE_FILE};
use crate::files::{did_you_mean, nearest};
use crate::history::quantity::{OfLink, Quantity};
use crate::history::record::Entry;
use crate::history::service::ServiceEvent;
use crate::history::service_file;
use crate::history::store::{Filter, RunRow};
use std::collections::{BTreeSet, HashMap};
use std::path::{Path, PathBuf};

/// What is asked.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// The logbook that was named.
    pub logbook: Option<PathBuf>,
    /// Which runs.
    pub filter: Filter,
    /// Only this axle.
    pub axle: Option<String>,
    /// Only this quantity, by its name.
    pub number: Option<String>,
    /// Only this link.
    pub element: Option<String>,
    /// Whether to make the history again from the runs.
    pub rebuild: bool,
    /// The time, as a file that is set aside is marked with it.
    pub stamp: String,
}

/// One run with what was asked of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Listed {
    /// The run.
    pub run: RunRow,
    /// Axle and entry, in the order of results.
    pub entries: Vec<(String, Entry)>,
}

/// What there is.
#[derive(Debug, Clone, PartialEq)]
pub struct Listing {
    /// Runs in order of time.
    pub runs: Vec<Listed>,
    /// How many more there are before them that fit the question.
    pub earlier: usize,
    /// Service records of the vehicles concerned: vehicle and event, in order of time.
    pub services: Vec<(String, ServiceEvent)>,
    /// Whether one quantity was asked for.
    pub one_number: bool,
    /// Whether any run's play holds what joints give as drawn, asked for or not.
    pub with_drawn_give: bool,
    /// What a person should be told.
    pub said: Vec<String>,
}

/// Why nothing can be listed.
#[derive(Debug, thiserror::Error)]
pub enum HistoryError {
    /// No such vehicle.
    #[error("the logbook has no vehicle \"{name}\"")]
    NoVehicle {
        /// The name asked for.
        name: String,
        /// Those that there are.
        there: Vec<String>,
    },
    /// Nothing that the listed runs measured is of this axle, or of this link.
    #[error("the runs that fit have no {what} called \"{name}\"")]
    NoSuch {
        /// "axle" or "link".
        what: &'static str,
        /// The name asked for.
        name: String,
        /// Those that there are.
        there: Vec<String>,
    },
    /// No such number.
    #[error("there is no number called \"{name}\"")]
    NoNumber {
        /// The name asked for.
        name: String,
    },
}

impl Explain for HistoryError {
    fn hint(&self) -> Option<String> {
        match self {
            HistoryError::NoVehicle { there, .. } if there.is_empty() => {
                Some("hingeline new LAYOUT NAME makes one".into())
            }
            HistoryError::NoVehicle { name, there } | HistoryError::NoSuch { name, there, .. } => {
                did_you_mean(name, there)
            }
            HistoryError::NoNumber { name } => Some(match nearest(name, Quantity::names()) {
                Some(near) => format!("Did you mean {near}?"),
                None => format!("There are: {}.", Quantity::names().collect::<Vec<_>>().join(", ")),
            }),
        }
    }
}

/// The logbook that was named or is nearest.
///
/// # Errors
/// Where there is none.
pub fn logbook(named: Option<&Path>) -> Result<Logbook, LogbookError> {
    Logbook::find(named, Path::new("."))
}

/// Checks that a logbook has a vehicle.
///
/// # Errors
/// Where it has not.
pub fn known_vehicle(logbook: &Logbook, name: &str) -> Result<(), Failure> {
    let there = logbook.vehicles()?;
    if there.iter().any(|v| v == name) {
        return Ok(());
    }
    Err(HistoryError::NoVehicle { name: name.to_owned(), there }.into())
}

/// The folder of a vehicle of a logbook, which may also be named by a path.
///
/// # Errors
/// Where the logbook has no such vehicle.
pub fn vehicle_folder(logbook: &Logbook, name: &str) -> Result<PathBuf, Failure> {
    let folder = logbook.vehicle_folder(name);
    if !folder.join(VEHICLE_FILE).is_file() {
        known_vehicle(logbook, name)?;
    }
    Ok(folder)
}

/// Checks that something is there of the axle and of the link that were asked for; where nothing was measured at all, nothing
/// can be told of names.
fn known_names(request: &Request, entries: &[(i64, String, Entry)]) -> Result<(), HistoryError> {
    let of = |what, name: &Option<String>, there: BTreeSet<&str>| match name {
        Some(name) if !there.is_empty() && !there.contains(name.as_str()) => {
            let there = there.into_iter().map(str::to_owned).collect();
            Err(HistoryError::NoSuch { what, name: name.clone(), there })
        }
        _ => Ok(()),
    };
    of("axle", &request.axle, entries.iter().map(|(_, axle, _)| axle.as_str()).collect())?;
    let elements = entries.iter().map(|(_, _, entry)| entry.quantity.element()).filter(|e| !e.is_empty());
    of("link", &request.element, elements.collect())
}

/// Lists runs; the history is brought up to date first.
///
/// # Errors
/// Where there is no logbook, a name is not there, or the database cannot be used.
pub fn run(request: &Request, progress: &mut dyn FnMut(Progress<'_>)) -> Result<Listing, Failure> {
    let logbook = logbook(request.logbook.as_deref())?;
    if let Some(vehicle) = &request.filter.vehicle {
        known_vehicle(&logbook, vehicle)?;
    }
    if let Some(name) = &request.number
        && !Quantity::names().any(|n| n == name)
    {
        return Err(HistoryError::NoNumber { name: name.clone() }.into());
    }
    let opening = Opening { logbook: &logbook, stamp: request.stamp.clone(), rebuild: request.rebuild };
    let ((rows, entries, all), said) = catalogue::with(&opening, progress, |catalogue| {
        let rows = catalogue.store.runs(&request.filter)?;
        let ids: Vec<i64> = rows.iter().map(|r| r.id).collect();
        Ok((rows, catalogue.store.entries(&ids)?, catalogue.store.count(&request.filter)?))
    })?;
    known_names(request, &entries)?;
    let with_drawn_give = entries.iter().any(|(_, _, entry)| {
        matches!(entry.quantity, Quantity::Link(OfLink::DrawnGive, _)) && entry.measured.measured().is_some()
    });
    let mut by_run: HashMap<i64, Vec<(String, Entry)>> = HashMap::new();
    for (run, axle, entry) in entries {
        let wanted = request.axle.as_ref().is_none_or(|a| *a == axle)
            && request.number.as_ref().is_none_or(|n| n == entry.quantity.name())
            && request.element.as_ref().is_none_or(|e| e == entry.quantity.element());
        if wanted {
            by_run.entry(run).or_default().push((axle, entry));
        }
    }
    let earlier = all.saturating_sub(request.filter.skip + rows.len());
    let services =
        services(&logbook, request, rows.first().map(|r| r.facts.started_us).filter(|_| earlier > 0))?;
    let runs = rows
        .into_iter()
        .map(|run| Listed { entries: by_run.remove(&run.id).unwrap_or_default(), run })
        .collect();
    let one_number = request.number.is_some();
    Ok(Listing { runs, earlier, services, one_number, with_drawn_give, said })
}

/// Service records of the vehicles and the time asked for; `from_us` is where the list begins if not at the beginning.
fn services(
    logbook: &Logbook,
    request: &Request,
    from_us: Option<i64>,
) -> Result<Vec<(String, ServiceEvent)>, Failure> {
    let filter = &request.filter;
    let mut all = Vec::new();
    for vehicle in logbook.vehicles()? {
        if filter.vehicle.as_ref().is_some_and(|v| *v != vehicle) {
            continue;
        }
        let events = service_file::load(&logbook.vehicle_folder(&vehicle))?;
        all.extend(events.into_iter().map(|e| (vehicle.clone(), e)));
    }
    let since = filter.since_us.max(from_us);
    all.retain(|(_, e)| since.is_none_or(|s| e.at_us >= s) && filter.until_us.is_none_or(|u| e.at_us < u));
    all.sort_by_key(|(_, e)| e.at_us);
    Ok(all)
}
