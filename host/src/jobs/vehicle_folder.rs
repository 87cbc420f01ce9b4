//! A vehicle's folder in a logbook, read for a run: its files as types and as bytes.

use super::sensors::{SensorsError, without};
use crate::explain::Failure;
use crate::files::logbook::{RIG_FILE, VEHICLE_FILE};
use crate::geometry::Vector3;
use crate::rig::calibration::file::parse as parse_calibration;
use crate::rig::calibration::overlay;
use crate::rig::{self, Rig};
use crate::run::Phase;
use crate::run::find::RUNS;
use crate::run::folder::{CALIBRATION, Draft, FolderError};
use crate::run::header::Header;
use crate::run::plan::Test;
use crate::vehicle::{self, Vehicle};
use jiff::ZonedDateTime;
use std::path::{Path, PathBuf};

/// The files of a vehicle as they are now.
#[derive(Debug, Clone)]
pub struct VehicleFolder {
    /// The folder.
    pub path: PathBuf,
    /// The design.
    pub vehicle: Vehicle,
    /// The rig, as its file has it until it is calibrated.
    pub rig: Rig,
    vehicle_text: String,
    rig_text: String,
    calibration: Option<Vec<u8>>,
}

impl VehicleFolder {
    /// Reads a vehicle's folder.
    ///
    /// # Errors
    /// Where a file is missing or wrong.
    pub fn load(path: &Path) -> Result<Self, Failure> {
        Self::load_with_rig(path, &path.join(RIG_FILE))
    }

    /// Reads a vehicle's folder with another rig file than its own; the calibration stays the one beside the vehicle.
    ///
    /// # Errors
    /// As for [`Self::load`].
    pub fn load_with_rig(path: &Path, rig_path: &Path) -> Result<Self, Failure> {
        let vehicle_path = path.join(VEHICLE_FILE);
        let vehicle_text = crate::files::read_text(&vehicle_path)?;
        let vehicle = vehicle::file::parse(&vehicle_text, &vehicle_path.display().to_string())?;
        let rig_text = crate::files::read_text(rig_path)?;
        let rig = rig::file::parse(&rig_text, &rig_path.display().to_string(), &vehicle)?;
        let calibration_path = path.join(CALIBRATION);
        let calibration = match std::fs::read(&calibration_path) {
            Ok(bytes) => Some(bytes),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => None,
            Err(e) => return Err(FolderError::io(&calibration_path)(e).into()),
        };
        Ok(Self { path: path.to_owned(), vehicle, rig, vehicle_text, rig_text, calibration })
    }

    /// Lays the folder's calibration over its rig, as it stands at `now_us`, µs since 1970.
    ///
    /// # Errors
    /// Where the calibration has mistakes.
    pub fn calibrate(&mut self, now_us: i64) -> Result<(), Failure> {
        let Some(bytes) = &self.calibration else { return Ok(()) };
        let path = self.path.join(CALIBRATION);
        let calibration = parse_calibration(&String::from_utf8_lossy(bytes), &path.display().to_string())?;
        overlay(&mut self.rig, &calibration, Some(now_us));
        Ok(())
    }

    /// Leaves out sensors by name; the copies of the files stay whole.
    ///
    /// # Errors
    /// Where there is no such sensor, or none would be left.
    pub fn leave_out(&mut self, names: &[String]) -> Result<(), SensorsError> {
        self.rig = without(self.rig.clone(), names)?;
        Ok(())
    }

    /// Axle centres at ride height, m.
    pub fn centres(&self) -> Vec<Vector3<f64>> {
        self.vehicle.axles.iter().map(|a| a.centre()).collect()
    }

    /// Begins a run of this vehicle.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn begin_run(&self) -> Result<Draft, FolderError> {
        self.begin_in(RUNS)
    }

    /// Begins a recording in another folder of this vehicle's.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn begin_in(&self, shelf: &str) -> Result<Draft, FolderError> {
        Draft::begin(&self.path.join(shelf))
    }

    /// Puts the header and the copies of the files into a run.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn describe(&self, draft: &Draft, header: &mut Header) -> Result<(), FolderError> {
        let calibration = self.calibration.as_deref();
        draft.describe(header, self.vehicle_text.as_bytes(), self.rig_text.as_bytes(), calibration)
    }
}

/// A run's name: local date and time, and the test, or what its phases say it was.
pub fn run_name(started: &ZonedDateTime, test: Option<Test>, phases: &[Phase]) -> String {
    let moved = phases.iter().find(|p| **p != Phase::Still).or(phases.first());
    let words = match (test, moved) {
        (Some(test), _) => test.words(),
        (None, Some(Phase::RampLeft | Phase::RampRight)) => "ramp",
        (None, Some(phase)) => phase.words(),
        (None, None) => "run",
    };
    format!("{}-{}", started.strftime("%Y-%m-%d-%H%M"), words.replace(' ', "-"))
}

/// A time as headers keep it: RFC 3339 with the zone's offset, to the second.
pub fn time_text(time: &ZonedDateTime) -> String {
    time.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use crate::jobs::{init, new};
    use std::fs;

    /// 14:12 on a day in November, an hour ahead of UTC.
    pub fn some_time() -> ZonedDateTime {
        "2026-11-25T14:12:03+01:00[+01:00]".parse().unwrap()
    }

    /// A logbook with a vehicle `Bramble` whose rig file is this text.
    pub fn logbook_with_rig(rig: &str) -> (tempfile::TempDir, PathBuf) {
        let dir = tempfile::tempdir().unwrap();
        init::run(dir.path()).unwrap();
        let made = new::run("four-link", "Bramble", dir.path()).unwrap();
        fs::write(&made.rig_file, rig).unwrap();
        (dir, made.rig_file.parent().unwrap().to_owned())
    }

    #[test]
    fn names_tell_when_and_what() {
        let name =
            |test: Option<&str>, phases: &[Phase]| run_name(&some_time(), test.and_then(Test::parse), phases);
        assert_eq!(name(Some("ramp"), &[]), "2026-11-25-1412-ramp");
        assert_eq!(name(Some("rock back"), &[]), "2026-11-25-1412-rock-back");
        assert_eq!(name(None, &[Phase::Still, Phase::RampRight]), "2026-11-25-1412-ramp");
        assert_eq!(name(None, &[Phase::Still]), "2026-11-25-1412-still");
        assert_eq!(name(None, &[]), "2026-11-25-1412-run");
        assert_eq!(time_text(&some_time()), "2026-11-25T14:12:03+01:00");
    }
}
