//! The logbook's history, brought up to date: runs that it lacks are measured and put in, what is gone is taken out, and a
//! damaged database is set aside and made again.

use super::analyse::{self, Analysed};
use super::source::{self, Request as RunRequest};
use crate::explain::{Explain, Failure, Status};
use crate::files::logbook::Logbook;
use crate::files::written;
use crate::history::record::{Fingerprint, RunFacts, RunRecord};
use crate::history::service_file::{self, instant_us};
use crate::history::store::{HISTORY_FILE, Store, StoreError, remove, set_aside};
use crate::run::Counts;
use crate::run::find::{self, RUNS, RunRef, in_order};
use crate::run::folder::{HEADER, RIG, RunFolder, WIRE};
use crate::run::header::Source as RunSource;
use crate::run::marks::Mark;
use std::collections::HashMap;
use std::fs::Metadata;
use std::io;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

/// Version of the program that measures.
const PROGRAM: &str = env!("CARGO_PKG_VERSION");

/// How far the history is: the run that is being measured.
#[derive(Debug, Clone, Copy)]
pub struct Progress<'a> {
    /// The vehicle's folder.
    pub vehicle: &'a str,
    /// The run's name.
    pub run: &'a str,
    /// Its number among those to measure, from 1.
    pub number: usize,
    /// How many there are to measure.
    pub of: usize,
}

/// The history, open and up to date.
#[derive(Debug)]
pub struct Catalogue {
    /// The database.
    pub store: Store,
    /// What a person should be told, sentences.
    pub said: Vec<String>,
}

/// The database could not be put out of the way.
#[derive(Debug, thiserror::Error)]
#[error("{} cannot be put out of the way: {source}", .path.display())]
pub struct AsideError {
    path: PathBuf,
    source: io::Error,
}

impl Explain for AsideError {
    fn status(&self) -> Status {
        Status::Device
    }

    fn hint(&self) -> Option<String> {
        Some("Move it away yourself; the history is made again from the runs.".into())
    }
}

/// How to open the history.
#[derive(Debug, Clone)]
pub struct Opening<'a> {
    /// The logbook.
    pub logbook: &'a Logbook,
    /// What a file that is set aside is marked with: the time.
    pub stamp: String,
    /// Whether to make it again from the runs.
    pub rebuild: bool,
}

/// Does `work` on the history, brought up to date first. If the database turns out damaged on the way it is set aside, made
/// again, and the work is done on the new one.
///
/// # Errors
/// Where the database or a service record cannot be read or written.
pub fn with<T>(
    opening: &Opening<'_>,
    progress: &mut dyn FnMut(Progress<'_>),
    work: impl Fn(&Catalogue) -> Result<T, StoreError>,
) -> Result<(T, Vec<String>), Failure> {
    let path = opening.logbook.folder.join(HISTORY_FILE);
    if opening.rebuild && path.exists() {
        remove(&path).map_err(|source| AsideError { path: path.clone(), source })?;
    }
    let mut said = Vec::new();
    loop {
        let tried = Store::open(&path).map_err(Failure::from_store).and_then(|store| {
            let mut catalogue = Catalogue { store, said: Vec::new() };
            catalogue.update(opening.logbook, progress)?;
            let done = work(&catalogue).map_err(Failure::from_store)?;
            Ok((done, catalogue.said))
        });
        match tried {
            Ok((done, more)) => {
                said.extend(more);
                return Ok((done, said));
            }
            Err(Trouble::Store(error)) if error.is_damage() && said.is_empty() => {
                let kept = aside(&path, &opening.stamp)?;
                let name = kept.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
                said.push(format!(
                    "The history was damaged: it is kept as {name}, and a new one was made from the runs and the service records, which hold all that it held."
                ));
            }
            Err(Trouble::Store(error)) => return Err(error.into()),
            Err(Trouble::Other(failure)) => return Err(failure),
        }
    }
}

/// Damage is told from everything else.
enum Trouble {
    Store(StoreError),
    Other(Failure),
}

trait FromStore {
    fn from_store(error: StoreError) -> Trouble;
}

impl FromStore for Failure {
    fn from_store(error: StoreError) -> Trouble {
        Trouble::Store(error)
    }
}

fn aside(path: &Path, stamp: &str) -> Result<PathBuf, AsideError> {
    set_aside(path, stamp).map_err(|source| AsideError { path: path.to_owned(), source })
}

impl Catalogue {
    fn update(&mut self, logbook: &Logbook, progress: &mut dyn FnMut(Progress<'_>)) -> Result<(), Trouble> {
        let store = Trouble::Store;
        let known = self.store.known().map_err(store)?;
        let mut known: HashMap<(String, String), Fingerprint> =
            known.into_iter().map(|k| ((k.vehicle, k.run), k.fingerprint)).collect();
        let mut lacking = Vec::new();
        for vehicle in logbook.vehicles().unwrap_or_default() {
            for (run, folder, look) in runs_with_look(&logbook.vehicle_folder(&vehicle).join(RUNS)) {
                let kept = known.remove(&(vehicle.clone(), run.clone()));
                if kept.is_none_or(|kept| !same(&folder, look, &kept)) {
                    lacking.push((vehicle.clone(), run, folder));
                }
            }
        }
        for (vehicle, run) in known.into_keys() {
            self.store.take_out(&vehicle, &run).map_err(store)?;
        }
        let of = lacking.len();
        for (k, (vehicle, run, folder)) in lacking.iter().enumerate() {
            progress(Progress { vehicle, run, number: k + 1, of });
            self.store.put(&measured(vehicle, folder)).map_err(store)?;
        }
        let other = self.store.measured_by_others(PROGRAM).map_err(store)?;
        if other > 0 {
            self.said.push(format!(
                "{other} of the runs were measured by another version of this program; hingeline history --rebuild measures them anew."
            ));
        }
        for vehicle in logbook.vehicles().unwrap_or_default() {
            let events = service_file::load(&logbook.vehicle_folder(&vehicle))
                .map_err(|e| Trouble::Other(e.into()))?;
            let now: Vec<_> =
                events.iter().map(|e| (e.date.clone(), e.at_us, e.text.clone(), e.work.words())).collect();
            if self.store.services(&vehicle).map_err(store)? != now {
                self.store.set_services(&vehicle, &events).map_err(store)?;
            }
        }
        Ok(())
    }
}

/// Puts a run that was just measured into the history of its logbook; a run outside any logbook, or one that was measured with
/// other files than its own, is not put in.
///
/// # Errors
/// Where the database cannot be written.
pub fn keep(request: &RunRequest, analysed: &Analysed) -> Result<(), Failure> {
    if request.vehicle.is_some() || request.rig.is_some() || request.ramp_angle_rad.is_some() {
        return Ok(());
    }
    let logbook = Logbook::find(request.logbook.as_deref(), Path::new(".")).ok();
    let Ok(RunRef::Folder(folder)) = find::resolve(&request.run, Path::new(""), logbook.as_ref()) else {
        return Ok(());
    };
    let folder = std::path::absolute(&folder).unwrap_or(folder);
    let Some((logbook, vehicle)) = home(&folder) else { return Ok(()) };
    let Ok(run) = RunFolder::open(&folder) else { return Ok(()) };
    let record = RunRecord::measured(
        facts(&vehicle, &run),
        fingerprint(&run),
        &analysed.source.vehicle,
        &analysed.analysis,
    );
    Store::open(&logbook.join(HISTORY_FILE))?.put(&record)?;
    Ok(())
}

/// The logbook's folder and the vehicle's name of a run folder that stands where runs do.
fn home(run: &Path) -> Option<(PathBuf, String)> {
    let runs = run.parent().filter(|p| p.file_name().is_some_and(|n| n == RUNS))?;
    let vehicle = runs.parent()?;
    let logbook = Logbook::find(Some(vehicle.parent()?), Path::new(".")).ok()?;
    Some((logbook.folder, vehicle.file_name()?.to_string_lossy().into_owned()))
}

/// A run as the history keeps it: measured, or with the reason why it cannot be.
fn measured(vehicle: &str, folder: &Path) -> RunRecord {
    let name = folder.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let run = match RunFolder::open(folder) {
        Ok(run) => run,
        Err(error) => {
            let program = PROGRAM.to_owned();
            let problem = Some(error.to_string());
            let facts =
                RunFacts { vehicle: vehicle.to_owned(), run: name, program, problem, ..RunFacts::default() };
            let (header_bytes, header_us) = header_look(folder);
            let fingerprint = Fingerprint { header_bytes, header_us, data_bytes: None };
            return RunRecord { facts, fingerprint, axles: Vec::new() };
        }
    };
    let (facts, fingerprint) = (facts(vehicle, &run), fingerprint(&run));
    let request = RunRequest { run: folder.display().to_string(), ..RunRequest::default() };
    let told = |failure: Failure| failure.to_string();
    let result = source::open(&request).map_err(told).and_then(|source| {
        let analysis = analyse::measured(&source).map_err(|e| e.to_string())?;
        Ok((source.vehicle, analysis))
    });
    match result {
        Ok((vehicle, analysis)) => RunRecord::measured(facts, fingerprint, &vehicle, &analysis),
        Err(problem) => {
            RunRecord { facts: RunFacts { problem: Some(problem), ..facts }, fingerprint, axles: Vec::new() }
        }
    }
}

fn facts(vehicle: &str, run: &RunFolder) -> RunFacts {
    let header = &run.header;
    RunFacts {
        vehicle: vehicle.to_owned(),
        run: run.name(),
        started: header.started.clone(),
        started_us: instant_us(&header.started).unwrap_or(0),
        test: header.test.clone(),
        ramp_angle_rad: header.ramp_angle_rad,
        notes: header.notes.clone(),
        design_hash: header.vehicle_hash.clone(),
        rig_hash: header.rig_hash.clone(),
        calibration_hash: header.calibration_hash.clone(),
        data_hash: String::new(),
        rig_basis: rig_basis(&run.path).unwrap_or_else(|| header.rig_hash.clone()),
        firmware: header.logger.as_ref().map(|l| format!("{} build {}", l.firmware, l.build)),
        program: PROGRAM.to_owned(),
        counts: Counts::default(),
        problem: None,
    }
}

/// Hash of what a rig file says, whatever its comments, blanks and order of keys.
fn rig_basis(run: &Path) -> Option<String> {
    let text = std::fs::read_to_string(run.join(RIG)).ok()?;
    let content: serde_json::Value = written::from_text(&text).ok()?;
    Some(blake3::hash(content.to_string().as_bytes()).to_hex().to_string())
}

fn fingerprint(run: &RunFolder) -> Fingerprint {
    let (header_bytes, header_us) = header_look(&run.path);
    let ended = run.header.source == RunSource::Table
        || run.marks().is_ok_and(|(marks, _)| marks.iter().any(|m| matches!(m, Mark::End { .. })));
    let data_bytes = (!ended).then(|| data_look(&run.path));
    Fingerprint { header_bytes, header_us, data_bytes }
}

/// Bytes of the header and when it was last changed, µs since 1970.
fn header_look(run: &Path) -> (u64, i64) {
    std::fs::metadata(run.join(HEADER)).map_or((0, 0), |meta| look_of(&meta))
}

fn look_of(meta: &Metadata) -> (u64, i64) {
    let since = meta.modified().ok().and_then(|t| t.duration_since(UNIX_EPOCH).ok());
    (meta.len(), since.map_or(0, |d| i64::try_from(d.as_micros()).unwrap_or(i64::MAX)))
}

/// The runs in a folder with their names, and how their headers look. Each is looked at once: there may be thousands.
fn runs_with_look(runs: &Path) -> Vec<(String, PathBuf, (u64, i64))> {
    let found = std::fs::read_dir(runs).into_iter().flatten().flatten().filter_map(|entry| {
        let name = entry.file_name().to_string_lossy().into_owned();
        // A run in the making, or what a crash left of one.
        if name.starts_with('.') {
            return None;
        }
        let folder = entry.path();
        let meta = std::fs::metadata(folder.join(HEADER)).ok().filter(Metadata::is_file)?;
        Some((name, folder, look_of(&meta)))
    });
    let mut found: Vec<_> = found.collect();
    found.sort_by(|a, b| in_order(&a.0, &b.0));
    found
}

fn data_look(run: &Path) -> u64 {
    std::fs::metadata(run.join(WIRE)).map_or(0, |m| m.len())
}

/// Whether a run's files still look as they did.
fn same(run: &Path, look: (u64, i64), kept: &Fingerprint) -> bool {
    look == (kept.header_bytes, kept.header_us) && kept.data_bytes.is_none_or(|bytes| data_look(run) == bytes)
}

#[cfg(test)]
mod tests;
