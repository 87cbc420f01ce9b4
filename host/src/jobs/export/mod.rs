//! `export`: readings, poses and numbers of many runs as three data sets that any query engine reads.
//!
//! `DIR/samples`, `DIR/poses` and `DIR/numbers` each hold one file per run in `vehicle=FOLDER/run=NAME/`, the folder layout
//! that query engines take for columns. One run is in memory at a time.

mod columns;
mod file;
mod numbers;
mod poses;
mod samples;
#[cfg(test)]
mod tests;

pub use file::{Form, TableFileError};
pub use poses::write_file as write_poses;

use super::analyse;
use super::catalogue::Progress;
use super::history::known_vehicle;
use super::source::{self, Request as RunRequest, Source};
use crate::explain::{Explain, Failure, pasted};
use crate::files::logbook::Logbook;
use crate::history::service_file::instant_us;
use crate::measure::Analysis;
use crate::run::find::{self, RunRef, all_runs, run_folder};
use columns::Column;
use file::TableFile;
use std::fs;
use std::path::{Path, PathBuf};

/// Version of these tables.
pub const FORMAT: u32 = 1;

/// The file of a run in each of its folders, without its ending.
const FILE: &str = "data";

/// What to do with a run that was exported before.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum There {
    /// Say so, and write nothing at all.
    #[default]
    Refuse,
    /// Write it anew.
    Overwrite,
    /// Leave it as it is.
    Keep,
}

/// What to export.
#[derive(Debug, Clone)]
pub struct Request {
    /// Where to: a folder, made if it is not there.
    pub into: PathBuf,
    /// The logbook that was named.
    pub logbook: Option<PathBuf>,
    /// Only these runs; all where none is named.
    pub runs: Vec<String>,
    /// Only runs of these vehicles; of all where none is named.
    pub vehicles: Vec<String>,
    /// How to write.
    pub forms: Vec<Form>,
    /// What to do where a run is there.
    pub there: There,
}

/// One run, exported.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ExportedRun {
    /// The vehicle's folder.
    pub vehicle: String,
    /// The run's name.
    pub run: String,
    /// Rows of readings.
    pub samples: u64,
    /// Rows of poses.
    pub poses: u64,
    /// Rows of numbers.
    pub numbers: u64,
    /// Why there are no poses and no numbers.
    pub not_measured: Option<String>,
}

/// A run that could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unread {
    /// The vehicle's folder.
    pub vehicle: String,
    /// The run's name.
    pub run: String,
    /// Why.
    pub why: String,
}

/// What was exported.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Exported {
    /// Where to.
    pub into: PathBuf,
    /// Runs written.
    pub runs: Vec<ExportedRun>,
    /// Runs left as they were.
    pub kept: usize,
    /// Runs that could not be read.
    pub unread: Vec<Unread>,
}

/// Why nothing can be exported.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// No run fits.
    #[error("there is no run to export")]
    NoRun,
    /// A bare table.
    #[error("\"{0}\" is a table of readings, not a run")]
    Table(String),
    /// The place is taken by something that is no folder.
    #[error("{} is not a folder", .0.display())]
    NotAFolder(PathBuf),
    /// The place is a vehicle's folder.
    #[error("\"{}\" is the folder of the vehicle \"{vehicle}\", and an export needs a folder of its own", .into.display())]
    InVehicle {
        /// The place.
        into: PathBuf,
        /// The vehicle.
        vehicle: String,
    },
    /// The place is the name of a run.
    #[error("\"{0}\" is a run, and the folder to write to comes first")]
    IsARun(String),
    /// A run is there already.
    #[error("{} is already there", .path.display())]
    There {
        /// One file of it.
        path: PathBuf,
    },
}

impl Explain for ExportError {
    fn hint(&self) -> Option<String> {
        Some(match self {
            Self::NoRun => "Record or import one first; hingeline history lists those that there are.".into(),
            Self::Table(_) => "hingeline import makes a run of it.".into(),
            Self::NotAFolder(_) => "Name a folder; it is made if it is not there.".into(),
            Self::InVehicle { vehicle, .. } => {
                format!(
                    "The folder to write to comes first: hingeline export exported --vehicle {}",
                    pasted(Path::new(vehicle))
                )
            }
            Self::IsARun(run) => format!("hingeline export exported {}", pasted(Path::new(run))),
            Self::There { .. } => {
                "--only-new exports the runs that are not there yet, --overwrite writes them all anew.".into()
            }
        })
    }
}

/// A data set.
struct DataSet {
    name: &'static str,
    columns: &'static [Column],
}

const SAMPLES: DataSet = DataSet { name: "samples", columns: samples::COLUMNS };
const POSES: DataSet = DataSet { name: "poses", columns: poses::COLUMNS };
const NUMBERS: DataSet = DataSet { name: "numbers", columns: numbers::COLUMNS };
const DATA_SETS: [DataSet; 3] = [SAMPLES, POSES, NUMBERS];

/// A run to export.
struct Wanted {
    vehicle: String,
    run: String,
    folder: PathBuf,
}

/// Exports runs. One that cannot be read is told and left out; one that cannot be measured has its readings only.
///
/// # Errors
/// Where a name is not there, a run was exported before and that is to be refused, or the disk does not take the files:
/// then the run at hand leaves nothing, and those before it are whole.
pub fn run(request: &Request, progress: &mut dyn FnMut(Progress<'_>)) -> Result<Exported, Failure> {
    if request.into.exists() && !request.into.is_dir() {
        return Err(ExportError::NotAFolder(request.into.clone()).into());
    }
    let logbook = match Logbook::find(request.logbook.as_deref(), Path::new(".")) {
        Ok(logbook) => Some(logbook),
        Err(error) if request.logbook.is_some() || request.runs.is_empty() => return Err(error.into()),
        Err(_) => None,
    };
    if let Some(logbook) = &logbook {
        place_of_its_own(request, logbook)?;
    }
    let mut wanted = wanted(request, logbook)?;
    if wanted.is_empty() {
        return Err(ExportError::NoRun.into());
    }
    let mut exported = Exported { into: request.into.clone(), ..Exported::default() };
    match request.there {
        There::Overwrite => {}
        There::Refuse => {
            if let Some(path) = wanted.iter().find_map(|w| w.files(request).find(|path| path.exists())) {
                return Err(ExportError::There { path }.into());
            }
        }
        There::Keep => {
            let all = wanted.len();
            wanted.retain(|w| !w.files(request).all(|path| path.exists()));
            exported.kept = all - wanted.len();
        }
    }
    let of = wanted.len();
    for (k, wanted) in wanted.iter().enumerate() {
        progress(Progress { vehicle: &wanted.vehicle, run: &wanted.run, number: k + 1, of });
        let of_run = RunRequest { run: wanted.folder.display().to_string(), ..RunRequest::default() };
        match source::open(&of_run) {
            Ok(source) => exported.runs.push(wanted.export(request, &source)?),
            Err(failure) => exported.unread.push(Unread {
                vehicle: wanted.vehicle.clone(),
                run: wanted.run.clone(),
                why: failure.to_string(),
            }),
        }
    }
    Ok(exported)
}

/// Checks that the place is no vehicle's folder and no run: whoever names one there means what is to be exported.
fn place_of_its_own(request: &Request, logbook: &Logbook) -> Result<(), ExportError> {
    let whole = |path: &Path| path.canonicalize().or_else(|_| std::path::absolute(path)).unwrap_or_default();
    let (into, book) = (whole(&request.into), whole(&logbook.folder));
    let first = into.strip_prefix(&book).ok().and_then(|below| below.components().next());
    if let Some(vehicle) = first.and_then(|name| logbook.alike(&name.as_os_str().to_string_lossy())) {
        return Err(ExportError::InVehicle { into: request.into.clone(), vehicle });
    }
    let name = request.into.display().to_string();
    let is_run = request.runs.is_empty() && !request.into.exists();
    match find::resolve(&name, Path::new(""), Some(logbook)) {
        Ok(RunRef::Folder(_)) if is_run => Err(ExportError::IsARun(name)),
        _ => Ok(()),
    }
}

/// The runs that are asked for, in order.
fn wanted(request: &Request, logbook: Option<Logbook>) -> Result<Vec<Wanted>, Failure> {
    if let Some(logbook) = &logbook {
        request.vehicles.iter().try_for_each(|vehicle| known_vehicle(logbook, vehicle))?;
    }
    let mut found = Vec::new();
    for name in &request.runs {
        match find::resolve(name, Path::new(""), logbook.as_ref())? {
            RunRef::Folder(folder) => found.push(Wanted::at(&folder)),
            RunRef::Table(_) => return Err(ExportError::Table(name.clone()).into()),
        }
    }
    if let Some(logbook) = logbook.filter(|_| request.runs.is_empty()) {
        found.extend(all_runs(&logbook).into_iter().map(|(vehicle, run)| {
            let folder = run_folder(&logbook, &vehicle, &run);
            Wanted { vehicle, run, folder }
        }));
    }
    found.retain(|w| request.vehicles.is_empty() || request.vehicles.contains(&w.vehicle));
    found.sort_by(|a, b| (&a.vehicle, &a.run).cmp(&(&b.vehicle, &b.run)));
    found.dedup_by(|a, b| (&a.vehicle, &a.run) == (&b.vehicle, &b.run));
    Ok(found)
}

/// A name as part of a path `key=name`: what engines and file systems read otherwise is written as % and two hex digits.
fn escaped(name: &str) -> String {
    let mut text = String::new();
    for c in name.chars() {
        if c.is_control() || "\"#%'*/:=?\\{}[]^".contains(c) {
            let mut bytes = [0; 4];
            for byte in c.encode_utf8(&mut bytes).bytes() {
                text.push_str(&format!("%{byte:02X}"));
            }
        } else {
            text.push(c);
        }
    }
    text
}

impl Wanted {
    /// A run by its folder `VEHICLE/runs/RUN`.
    fn at(folder: &Path) -> Self {
        let whole = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
        let name = |path: Option<&Path>| {
            path.and_then(Path::file_name).map(|n| n.to_string_lossy().into_owned()).unwrap_or_default()
        };
        let vehicle = name(whole.parent().and_then(Path::parent));
        Self { vehicle, run: name(Some(&whole)), folder: folder.to_owned() }
    }

    fn file(&self, request: &Request, set: &DataSet, form: Form) -> PathBuf {
        let folder = request.into.join(set.name);
        let folder = folder.join(format!("vehicle={}", escaped(&self.vehicle)));
        folder.join(format!("run={}", escaped(&self.run))).join(format!("{FILE}.{}", form.ending()))
    }

    fn files<'a>(&'a self, request: &'a Request) -> impl Iterator<Item = PathBuf> + 'a {
        DATA_SETS.iter().flat_map(move |set| request.forms.iter().map(|form| self.file(request, set, *form)))
    }

    fn begin(
        &self,
        request: &Request,
        set: &DataSet,
        facts: &[(&'static str, String)],
    ) -> Result<Vec<TableFile>, TableFileError> {
        let begin = |form: &Form| {
            let path = self.file(request, set, *form);
            if let Some(folder) = path.parent() {
                fs::create_dir_all(folder)
                    .map_err(|source| TableFileError::Write { path: folder.to_owned(), source })?;
            }
            TableFile::begin(&path, *form, set.name, set.columns, facts)
        };
        request.forms.iter().map(begin).collect()
    }

    /// Writes the three tables of a run, and only when all of them are whole gives them their names.
    fn export(&self, request: &Request, source: &Source) -> Result<ExportedRun, TableFileError> {
        let Source { vehicle, rig, recording, .. } = source;
        let (analysis, not_measured) = match analyse::measured(source) {
            Ok(analysis) => (Some(analysis), None),
            Err(error) => (None, Some(error.to_string())),
        };
        let mut facts = facts(source, analysis.as_ref());
        facts.extend([("vehicle", self.vehicle.clone()), ("run", self.run.clone())]);
        facts.extend(not_measured.clone().map(|why| ("not_measured", why)));
        let mut files = self.begin(request, &SAMPLES, &facts)?;
        let samples = samples::write(&mut files, vehicle, rig, recording)?;
        let mut pose_files = self.begin(request, &POSES, &facts)?;
        let mut number_files = self.begin(request, &NUMBERS, &facts)?;
        let (mut poses, mut numbers) = (0, 0);
        if let Some(analysis) = &analysis {
            let started_us = recording.provenance.recorded.as_deref().and_then(instant_us);
            poses = poses::write(&mut pose_files, analysis)?;
            numbers = numbers::write(&mut number_files, analysis, started_us)?;
        }
        files.extend(pose_files);
        files.extend(number_files);
        files.iter_mut().try_for_each(TableFile::end)?;
        files.into_iter().try_for_each(TableFile::publish)?;
        let (vehicle, run) = (self.vehicle.clone(), self.run.clone());
        Ok(ExportedRun { vehicle, run, samples, poses, numbers, not_measured })
    }
}

/// Facts that a table carries about the run that it is of.
pub fn facts(source: &Source, analysis: Option<&Analysis>) -> Vec<(&'static str, String)> {
    let recording = &source.recording;
    let origin = &recording.provenance;
    let mut facts = vec![
        ("format", FORMAT.to_string()),
        ("program", format!("hingeline {}", env!("CARGO_PKG_VERSION"))),
        ("vehicle_name", source.vehicle.name.clone()),
        ("run_hash", origin.data_hash.clone()),
        ("design_hash", origin.vehicle_hash.clone()),
        ("rig_hash", origin.rig_hash.clone()),
        ("received", recording.counts.received.to_string()),
        ("lost", recording.counts.lost.to_string()),
        ("excluded", recording.counts.excluded.to_string()),
    ];
    let optional = [
        ("calibration_hash", origin.calibration_hash.clone()),
        ("firmware", origin.firmware.clone()),
        ("started", origin.recorded.clone()),
        ("test", recording.facts.test.clone()),
        ("ramp_angle_rad", recording.facts.ramp_angle_rad.map(|a| a.to_string())),
        ("notes", Some(recording.facts.notes.clone()).filter(|n| !n.is_empty())),
    ];
    facts.extend(optional.into_iter().filter_map(|(key, value)| Some((key, value?))));
    let remarks = recording.remarks.iter().chain(analysis.iter().flat_map(|a| &a.remarks));
    let mut remarks: Vec<&str> = remarks.map(String::as_str).collect();
    remarks.dedup();
    if !remarks.is_empty() {
        facts.push(("remarks", remarks.join("\n")));
    }
    facts
}
