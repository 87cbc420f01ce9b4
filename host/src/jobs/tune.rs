//! `tune`: every combination of bracket holes and named alternatives of a vehicle, ranked by what its builder wants.

use super::subject::vehicle_file;
use crate::design::DesignError;
use crate::design::tune::{AxleTuning, Space, Tick, Untuned, Wanting, tune};
use crate::explain::{Explain, Status};
use crate::files::LoadError;
use crate::files::logbook::Logbook;
use crate::vehicle::numbers::Key;
use crate::vehicle::{self, Position, Vehicle, Wish};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use thiserror::Error;

/// What was asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// A vehicle file, its folder, or the name of a vehicle of the logbook.
    pub vehicle: String,
    /// The logbook that was named.
    pub logbook: Option<PathBuf>,
    /// The only axle to tune.
    pub axle: Option<String>,
    /// Wishes beside those of the file; one on the same number takes its place.
    pub wishes: Vec<(Key, Wish)>,
    /// How many of the best are told.
    pub top: usize,
    /// Whether the sides of mirrored elements may be bolted differently.
    pub apart: bool,
}

/// A vehicle, tuned.
#[derive(Debug, Clone, PartialEq)]
pub struct Tuned {
    /// Its name.
    pub vehicle: String,
    /// Its file.
    pub file: String,
    /// Axles that have a choice, in file order.
    pub axles: Vec<AxleTuning>,
    /// Names of the axles that were asked for and have none.
    pub without_choice: Vec<String>,
}

/// Why nothing was tuned.
#[derive(Debug, Error)]
pub enum TuneError {
    /// A file is missing or wrong.
    #[error(transparent)]
    Load(#[from] LoadError),
    /// The vehicle has no axle of that name.
    #[error("{file} has no axle \"{name}\"; it has {}", .has.join(", "))]
    NoAxle {
        /// The vehicle file.
        file: String,
        /// Asked for.
        name: String,
        /// Its axles.
        has: Vec<String>,
    },
    /// A wish on a number that none of the axles has.
    #[error("a {} axle has no {}", position(.at), .key.label())]
    NoNumber {
        /// The number.
        key: Key,
        /// Where the axles are.
        at: Position,
    },
    /// No bracket has more than one hole, and there is no alternative.
    #[error(
        "{file} leaves nothing to choose: no bracket has more than one hole, and there is no alternative"
    )]
    NothingToChoose {
        /// The vehicle file.
        file: String,
    },
    /// More combinations than can be counted.
    #[error("{file}: axle \"{axle}\" has more combinations than can be counted")]
    TooMany {
        /// The vehicle file.
        file: String,
        /// The axle.
        axle: String,
    },
    /// No combination can be hung.
    #[error("{file}: no combination works; as it is, {source}")]
    Design {
        /// The vehicle file.
        file: String,
        /// What is wrong with the present one.
        source: DesignError,
    },
    /// The person stopped it.
    #[error("stopped after {tried} of {of} combinations: a part of them ranks nothing")]
    Stopped {
        /// Looked at.
        tried: u64,
        /// Of so many.
        of: u64,
    },
}

fn position(at: &Position) -> &'static str {
    match at {
        Position::Front => "front",
        Position::Rear => "rear",
    }
}

impl Explain for TuneError {
    fn status(&self) -> Status {
        match self {
            TuneError::Load(error) => error.status(),
            TuneError::Stopped { .. } => Status::Stopped,
            _ => Status::BadInput,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            TuneError::Load(error) => error.hint(),
            TuneError::NoAxle { .. } => None,
            TuneError::NoNumber { .. } => Some("Take the wish out, or name the axle with --axle.".into()),
            TuneError::NothingToChoose { .. } => Some(
                "Write a bracket with every hole it has and the one in use, counted from 1:\n    \
                 chassis = { holes = [[800, 450, 640], [800, 450, 660]], use = 1 }\n  \
                 or an [[axle.alternative]] that replaces elements by name."
                    .into(),
            ),
            TuneError::TooMany { .. } => Some("Leave the holes out that are not worth trying.".into()),
            TuneError::Design { source, .. } => source.hint(),
            TuneError::Stopped { .. } => None,
        }
    }

    fn report(&self, styled: bool) -> Option<String> {
        match self {
            TuneError::Load(error) => error.report(styled),
            _ => None,
        }
    }
}

/// What there is to try, counted before it is tried.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    vehicle: String,
    file: String,
    axles: Vec<(Space, Wanting)>,
    without_choice: Vec<String>,
}

/// Reads the vehicle and counts its combinations.
///
/// # Errors
/// [`TuneError`]
pub fn plan(request: &Request) -> Result<Plan, TuneError> {
    let logbook = Logbook::find(request.logbook.as_deref(), Path::new(".")).ok();
    let path = vehicle_file(&request.vehicle, Path::new(""), logbook.as_ref());
    // A name that stands for no vehicle is told as the file that is missing.
    let path = path.unwrap_or_else(|| PathBuf::from(&request.vehicle));
    let file = path.display().to_string();
    let vehicle = vehicle::file::load(&path)?;
    let chosen = chosen(&vehicle, request, &file)?;
    let mut plan =
        Plan { vehicle: vehicle.name.clone(), file, axles: Vec::new(), without_choice: Vec::new() };
    for index in chosen {
        let Some(axle) = vehicle.axles.get(index) else { continue };
        let too_many = || TuneError::TooMany { file: plan.file.clone(), axle: axle.name.clone() };
        let space = Space::new(&vehicle, index, request.apart).ok_or_else(too_many)?;
        if space.count() < 2 {
            plan.without_choice.push(axle.name.clone());
            continue;
        }
        let mut wishes = axle.wish.clone();
        for (key, wish) in request.wishes.iter().filter(|(key, _)| key.applies_to(axle.position)) {
            wishes.retain(|(other, _)| other != key);
            wishes.push((*key, *wish));
        }
        plan.axles.push((space, Wanting { wishes, top: request.top }));
    }
    if plan.axles.is_empty() {
        return Err(TuneError::NothingToChoose { file: plan.file });
    }
    Ok(plan)
}

/// Indices of the axles that were asked for.
fn chosen(vehicle: &Vehicle, request: &Request, file: &str) -> Result<Vec<usize>, TuneError> {
    let chosen: Vec<usize> = match &request.axle {
        None => (0..vehicle.axles.len()).collect(),
        Some(name) => vec![vehicle.axle_index(Some(name)).ok_or_else(|| TuneError::NoAxle {
            file: file.to_owned(),
            name: name.clone(),
            has: vehicle.axles.iter().map(|a| a.name.clone()).collect(),
        })?],
    };
    let positions: Vec<Position> =
        chosen.iter().filter_map(|k| Some(vehicle.axles.get(*k)?.position)).collect();
    let homeless = |key: &Key| !positions.iter().any(|at| key.applies_to(*at));
    match (request.wishes.iter().find(|(key, _)| homeless(key)), positions.first()) {
        (Some((key, _)), Some(at)) => Err(TuneError::NoNumber { key: *key, at: *at }),
        _ => Ok(chosen),
    }
}

impl Plan {
    /// How many combinations there are, all axles together.
    pub fn combinations(&self) -> u64 {
        self.axles.iter().fold(0, |sum, (space, _)| sum.saturating_add(space.count()))
    }

    /// Tries them all.
    ///
    /// # Errors
    /// [`TuneError::Design`] where an axle cannot be hung in any way, [`TuneError::Stopped`] where `tick` said so.
    pub fn run(self, tick: Tick) -> Result<Tuned, TuneError> {
        let of = self.combinations();
        let tried = AtomicU64::new(0);
        let counting = |more: u64| {
            tried.fetch_add(more, Ordering::Relaxed);
            tick(more)
        };
        let mut axles = Vec::new();
        for (space, wanting) in &self.axles {
            axles.push(tune(space, wanting, &counting).map_err(|untuned| match untuned {
                Untuned::Design(source) => TuneError::Design { file: self.file.clone(), source },
                Untuned::Stopped => TuneError::Stopped { tried: tried.load(Ordering::Relaxed), of },
            })?);
        }
        Ok(Tuned { vehicle: self.vehicle, file: self.file, axles, without_choice: self.without_choice })
    }
}
