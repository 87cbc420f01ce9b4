//! What an analysis says. Renderers and the judge read these types; nothing here computes.

use super::anew::Anew;
use super::envelope::Envelope;
use super::nuisance::Dearest;
use super::numbers::HALF_95;
use super::ride::RidePose;
use super::sharing::Sharing;
use super::surface::SurfaceFit;
use super::suspect::Suspect;
use crate::geometry::{DMatrix, DVector, Pose};
use crate::run::{Counts, Facts, Phase, Provenance};
use crate::vehicle::Position;
use crate::vehicle::numbers::Key;
use serde::Serialize;
use std::collections::BTreeMap;

/// How far a number can be believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Status {
    /// Measured, with its u.
    #[serde(rename = "measured")]
    Measured,
    /// Excited and seen, but its u is too large for the number to mean anything.
    #[serde(rename = "not resolved")]
    NotResolved,
    /// The run did not move enough.
    #[serde(rename = "not excited")]
    NotExcited,
    /// The sensors cannot see it, or the state has no such number.
    #[serde(rename = "not measured")]
    NotMeasured,
    /// Taken from the drawing, under that label.
    #[serde(rename = "from design")]
    FromDesign,
}

impl Status {
    /// The word that people and JSON read.
    pub fn word(self) -> &'static str {
        match self {
            Status::Measured => "measured",
            Status::NotResolved => "not resolved",
            Status::NotExcited => "not excited",
            Status::NotMeasured => "not measured",
            Status::FromDesign => "from design",
        }
    }
}

/// A measured quantity, SI.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// Best estimate.
    pub value: Option<f64>,
    /// Standard uncertainty (k = 1).
    pub u: Option<f64>,
    /// How far to believe it.
    pub status: Status,
    /// Why not, and what would help, where the status is not `measured`.
    pub why: Option<String>,
}

impl Measured {
    /// A value with its u.
    pub fn new(value: f64, u: f64) -> Self {
        Self { value: Some(value), u: Some(u), status: Status::Measured, why: None }
    }

    /// No value, and why.
    pub fn without(status: Status, why: impl Into<String>) -> Self {
        Self { value: None, u: None, status, why: Some(why.into()) }
    }

    /// The value and its u where it was measured.
    pub fn measured(&self) -> Option<(f64, f64)> {
        match (self.status, self.value, self.u) {
            (Status::Measured, Some(value), Some(u)) => Some((value, u)),
            _ => None,
        }
    }
}

/// Where an uncertainty comes from: standard uncertainties that add in squares, SI.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Budget {
    /// Scatter of the readings.
    pub noise: f64,
    /// Where sensors are clipped.
    pub mount: f64,
    /// Scales, linearity included.
    pub scale: f64,
    /// Zeros and biases.
    pub zero: f64,
    /// Headings of inertial units.
    pub heading: f64,
    /// Hysteresis, time offsets, floor slope, and what the fitted surface leaves over.
    pub model: f64,
}

impl Budget {
    /// The whole standard uncertainty.
    pub fn total(&self) -> f64 {
        [self.noise, self.mount, self.scale, self.zero, self.heading, self.model]
            .iter()
            .map(|u| u * u)
            .sum::<f64>()
            .sqrt()
    }

    /// The part that runs with one rig do not share, and the part that they do: mounts, scales and headings stay as they are
    /// while the sensors stay clipped on, readings and the zero are made anew in each run.
    pub fn own_and_shared(&self) -> [f64; 2] {
        let root = |parts: [f64; 3]| parts.iter().map(|u| u * u).sum::<f64>().sqrt();
        [root([self.noise, self.zero, self.model]), root([self.mount, self.scale, self.heading])]
    }
}

/// Direction of travel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// Away from ride height upwards: bump, or a wheel climbing.
    Up,
    /// Coming back.
    Down,
}

/// The numbers at one state along the travel.
#[derive(Debug, Clone, PartialEq)]
pub struct AlongPoint {
    /// m
    pub heave_m: f64,
    /// rad
    pub roll_rad: f64,
    /// Which half of the motion.
    pub direction: Direction,
    /// Steer of the axle there, rad.
    pub axle_steer_rad: Measured,
    /// The measured pose there, with coordinates that nothing sees left at zero.
    pub pose: Pose,
    /// By key.
    pub numbers: BTreeMap<Key, Measured>,
}

/// One measured pose.
#[derive(Debug, Clone, PartialEq)]
pub struct PosePoint {
    /// s
    pub t_s: f64,
    /// Part of the test.
    pub phase: Phase,
    /// The pose.
    pub pose: Pose,
    /// Standard uncertainty of each coordinate, systematic part included; none where nothing sees it.
    pub u: [Option<f64>; 6],
    /// Sum of squared whitened residuals.
    pub chi_square: f64,
    /// Readings more than unknowns.
    pub redundancy: usize,
    /// Which half of the motion it belongs to; none where the axle is not meant to travel.
    pub direction: Option<Direction>,
}

/// What is left over of a sensor, and in which unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeftOver {
    /// m
    Length,
    /// rad
    Angle,
    /// m/s²
    Acceleration,
}

/// What one reading leaves over beside the pose that all readings of its instant give.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResidualPoint {
    /// s
    pub t_s: f64,
    /// Read less expected, SI.
    pub residual: f64,
    /// Standard deviation that the residual has by what is stated of the sensors, SI.
    pub u: f64,
}

/// Residuals of one sensor over the run.
#[derive(Debug, Clone, PartialEq)]
pub struct SensorResiduals {
    /// Its name, with the axis where it says three things.
    pub name: String,
    /// Of what.
    pub quantity: LeftOver,
    /// Mean redundancy number: the share of its variance that the other readings check, 0…1.
    pub redundancy: f64,
    /// In order of time.
    pub points: Vec<ResidualPoint>,
}

/// A sensor with a smaller redundancy number is checked by nothing: its pose follows it wherever it goes.
const UNCHECKED: f64 = 0.01;

impl SensorResiduals {
    /// Share of residuals beyond 1.96 standard deviations, 0…1; none where nothing checks the sensor.
    pub fn beyond(&self) -> Option<f64> {
        let beyond = self.points.iter().filter(|p| p.is_beyond()).count();
        (self.redundancy >= UNCHECKED).then(|| beyond as f64 / self.points.len().max(1) as f64)
    }
}

impl ResidualPoint {
    /// Whether it lies beyond 1.96 standard deviations.
    pub fn is_beyond(&self) -> bool {
        self.residual.abs() > HALF_95 * self.u
    }
}

/// The ramp travel index of one side.
#[derive(Debug, Clone, PartialEq)]
pub struct RampIndex {
    /// The index, 1000·d/wheelbase.
    pub index: Measured,
    /// Distance along the ramp, m.
    pub distance_m: Option<f64>,
    /// When the mate was about to lift, s.
    pub lift_t_s: Option<f64>,
    /// Articulation then, rad.
    pub articulation_rad: Option<f64>,
    /// Inclination of the axle against the horizontal then, rad.
    pub inclination_rad: Option<f64>,
    /// Distance as taped, m.
    pub taped_m: Option<f64>,
    /// The climb and the way back, in order of time.
    pub profile: Vec<ClimbPoint>,
}

/// A moment of a climb, positive towards the climbing wheel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClimbPoint {
    /// s
    pub t_s: f64,
    /// Articulation and its standard uncertainty, rad; none where nothing sees it.
    pub articulation_rad: Option<[f64; 2]>,
    /// Inclination of the axle against the horizontal and its standard uncertainty, rad.
    pub inclination_rad: [f64; 2],
}

/// A link as the measured motion sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct LinkMeasured {
    /// Its name (a wishbone gives one per leg).
    pub name: String,
    /// Length as drawn, m.
    pub nominal_m: f64,
    /// Length as built; needs wires that were calibrated absolutely.
    pub length_m: Measured,
    /// Play of its joints, m: the jump of its apparent length when a load turns round, with what its bushes and brackets give
    /// under that load, or without where its compliance is measured. Not resolved, it still carries the jump and its u.
    pub play_m: Measured,
    /// How much of `play_m` its joints give as they are drawn, m; not measured where the compliance is, since its play is then
    /// without. The judge puts it in; its error is shared by all runs under one load.
    pub drawn_give_m: Measured,
    /// What it gives for each newton along it, chassis brackets included, m/N. The judge puts it in, since the force along a link
    /// under a pull comes from the drawing; not resolved, it still carries the slope and its u.
    pub compliance_m_per_n: Measured,
    /// Largest change of its apparent length over the travel, m: zero if its ends are where they were drawn.
    pub apparent_change_m: Measured,
    /// Apparent change of length at each pose of the path, m; empty where the pose is not wholly measured.
    pub apparent_m: Vec<f64>,
    /// Its standard uncertainty at each pose, m.
    pub apparent_u_m: Vec<f64>,
}

/// What loads the links.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Load {
    /// Drive torque or a strap, forth and back.
    Rock,
    /// A push from the side, left and right.
    Shove,
}

impl Load {
    /// The name of the test.
    pub fn word(self) -> &'static str {
        match self {
            Load::Rock => "rock",
            Load::Shove => "shove",
        }
    }
}

/// What turning a load round did to the links' apparent lengths.
#[derive(Debug, Clone, PartialEq)]
pub struct Turned {
    /// Which load.
    pub load: Load,
    /// Change of each line's apparent length from the second direction to the first, m.
    pub jump_m: DVector<f64>,
    /// Its covariance, m².
    pub covariance: DMatrix<f64>,
    /// Change of each line's apparent length since the still while the load was held, first direction and second, m.
    pub held_m: [DVector<f64>; 2],
    /// Their standard uncertainties, m.
    pub held_u_m: [DVector<f64>; 2],
}

impl Turned {
    /// Jump of a line without its sign, and its standard uncertainty, m.
    pub fn of(&self, line: usize) -> (f64, f64) {
        (self.jump_m[line].abs(), self.covariance[(line, line)].max(0.0).sqrt())
    }
}

/// What holding a pull at several known levels did to the links' apparent lengths. No drawing is in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Stepped {
    /// Which load.
    pub load: Load,
    /// Pull of each hold, N, the first direction positive.
    pub pulls_n: Vec<f64>,
    /// Change of each line's apparent length by a pull in the first direction, m/N.
    pub per_pull_m_per_n: DVector<f64>,
    /// Its standard uncertainty apart from that of the pull, m/N.
    pub per_pull_u_m_per_n: DVector<f64>,
    /// Change of each line's apparent length from the second direction to the first that is left without any pull, m; none where
    /// one direction only was held.
    pub jump_m: Option<DVector<f64>>,
    /// Its standard uncertainty, m.
    pub jump_u_m: DVector<f64>,
    /// Relative standard uncertainty of the pull's differences.
    pub pull_u: f64,
}

/// How well the readings agree with one another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FitQuality {
    /// Near 1 if the sensors agree within their stated uncertainties; none without redundant readings.
    pub chi_square_per_dof: Option<f64>,
    /// Root mean square departure of the poses from the fitted surfaces: x, y (m), pitch, yaw (rad).
    pub surface_residual: [f64; 4],
}

/// How far the run moved.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Travel {
    /// Least and greatest heave, m.
    pub heave_m: [f64; 2],
    /// Least and greatest articulation, rad.
    pub roll_rad: [f64; 2],
}

/// Everything measured on one axle.
#[derive(Debug, Clone, PartialEq)]
pub struct AxleAnalysis {
    /// Its name.
    pub name: String,
    /// Its place in the vehicle's list.
    pub index: usize,
    /// Front or rear.
    pub position: Position,
    /// Numbers at ride height, every key that the axle can have.
    pub measured: BTreeMap<Key, Measured>,
    /// Where each u comes from, for measured keys.
    pub budget: BTreeMap<Key, Budget>,
    /// What to know better first, for measured keys.
    pub dearest: BTreeMap<Key, Dearest>,
    /// Numbers along the travel.
    pub along: Vec<AlongPoint>,
    /// Left wheel up, right wheel up.
    pub ramp_travel_index: [RampIndex; 2],
    /// Where it sits at the still against the drawing; none where nothing tells.
    pub ride: Option<RidePose>,
    /// Links.
    pub links: Vec<LinkMeasured>,
    /// Loads that the run turned round, rock and shove, with what each did to all links at once.
    pub turned: Vec<Turned>,
    /// Loads that were held at several known levels.
    pub stepped: Vec<Stepped>,
    /// Sensors that seem to be clipped elsewhere than the rig file says, most probable first: one of them is. Their places were
    /// left open for everything else here.
    pub suspects: Vec<Suspect>,
    /// Names of the rig's sensors, by place in the rig.
    pub sensors: Vec<String>,
    /// The readings, to measure the motion anew with errors elsewhere; none for a result that was not measured here.
    pub anew: Option<Anew>,
    /// What the run taught of the nuisances of `surfaces`, in prior standard deviations.
    pub theta: DVector<f64>,
    /// Agreement of the readings.
    pub fit: FitQuality,
    /// How far it moved.
    pub travel: Travel,
    /// What it used of the travel that it has; none where it hardly moved.
    pub envelope: Option<Envelope>,
    /// Which coordinates the sensors see: x, y, z, roll, pitch, yaw.
    pub seen: [bool; 6],
    /// The measured poses.
    pub path: Vec<PosePoint>,
    /// What each sensor's readings leave over beside them.
    pub residuals: Vec<SensorResiduals>,
    /// The fitted motion: responses x, y, pitch, yaw, then one per link; none if nothing moved.
    pub surfaces: Option<SurfaceFit>,
    /// Sentences to read beside the results.
    pub remarks: Vec<String>,
}

/// Everything measured in one run.
#[derive(Debug, Clone, PartialEq)]
pub struct Analysis {
    /// Name of the vehicle.
    pub vehicle: String,
    /// By axle that carries sensors.
    pub axles: Vec<AxleAnalysis>,
    /// How two axles shared each ramp; empty where one carries sensors.
    pub sharing: Vec<Sharing>,
    /// Readings received, lost, set aside.
    pub counts: Counts,
    /// What a person typed in.
    pub facts: Facts,
    /// Where it came from.
    pub provenance: Provenance,
    /// Sentences to read beside the results.
    pub remarks: Vec<String>,
}
