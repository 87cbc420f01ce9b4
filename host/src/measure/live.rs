//! The pose now, while a test runs: one instant from the latest readings, against the still.

use super::MeasureError;
use super::instants::instants;
use super::observe::{Observer, RelativeAcceleration};
use super::pose::{PoseEstimate, Weighting, estimate};
use super::still::{LEAST_STILL_S, stills};
use crate::geometry::placed::PlacedBody;
use crate::geometry::pose::COORDINATES;
use crate::geometry::{Pose, Vector3};
use crate::rig::inertial::STANDARD_GRAVITY;
use crate::rig::model::Model;
use crate::rig::{Kind, Rig};
use crate::run::{Phase, PhaseSpan, Recording};
use crate::vehicle::Axle;

/// Time over which readings are taken together, s: a little more than one step of instants.
pub const WINDOW_S: f64 = 0.45;

/// Where an axle is now.
#[derive(Debug, Clone)]
pub struct Now {
    /// Its pose against the chassis.
    pub estimate: PoseEstimate,
    /// Its inclination against the horizontal, rad, left wheel up positive; none without a unit on the axle.
    pub inclination_rad: Option<f64>,
}

/// An axle's sensors with their zeros, ready to tell its pose.
#[derive(Debug, Clone)]
pub struct LivePose {
    observer: Observer,
    last: Pose,
}

impl LivePose {
    /// For an axle; `recording` holds the still. None where no sensor of the axle has data.
    ///
    /// # Errors
    /// Where there is no still yet.
    pub fn new(
        rig: &Rig,
        index: usize,
        axle: &Axle,
        recording: &Recording,
    ) -> Result<Option<Self>, MeasureError> {
        let stills = stills(rig, recording)?;
        // What a wire's linearity is spread over where its file gives no range is not known before the test is over: all of
        // a metre.
        let spans = vec![[0.0, 1.0]; rig.sensors.len()];
        let observer = Observer::new(rig, index, axle.centre(), &stills, &spans, recording.timing);
        Ok((!observer.is_blind()).then_some(Self { observer, last: Pose::default() }))
    }

    /// The pose at the end of `latest`, the last [`WINDOW_S`] of readings; none where nothing new came.
    pub fn now(&mut self, rig: &Rig, latest: &Recording) -> Option<Now> {
        let (instants, _) = instants(rig, latest);
        let instant = instants.last()?;
        let found =
            estimate(&self.observer, instant, &RelativeAcceleration::SLOW, &self.last, Weighting::Alone)?;
        self.last = found.pose;
        let inclination_rad = self.observer.axle_up(instant).map(|(up, _)| up.y.clamp(-1.0, 1.0).asin());
        Some(Now { estimate: found, inclination_rad })
    }
}

/// Which coordinates the sensors of an axle see at ride height: a still of nothing but the readings that the rig file
/// expects there, measured.
pub fn seen_at_ride(rig: &Rig, index: usize, axle: &Axle) -> [bool; COORDINATES] {
    let ride = PlacedBody::new(&Pose::default(), axle.centre());
    let up = Vector3::new(0.0, 0.0, STANDARD_GRAVITY);
    let mut recording = Recording::empty(rig);
    recording.phases = vec![PhaseSpan { phase: Phase::Still, from_s: 0.0, to_s: 2.0 * LEAST_STILL_S }];
    for (sensor, channels) in rig.sensors.iter().zip(&mut recording.series) {
        let values: Vec<f64> = match &sensor.kind {
            Kind::Inertial(unit) => (unit.axes.transpose() * up).iter().copied().chain([0.0; 3]).collect(),
            kind => Model::of(kind).map(|model| model.value(&ride)).into_iter().collect(),
        };
        for (series, value) in channels.iter_mut().zip(values) {
            series.t_s = (0..100).map(|k| f64::from(k) * 2.0 * LEAST_STILL_S / 99.0).collect();
            series.value = vec![value; series.t_s.len()];
        }
    }
    match LivePose::new(rig, index, axle, &recording) {
        Ok(Some(mut live)) => live.now(rig, &recording).map_or([false; COORDINATES], |now| now.estimate.seen),
        _ => [false; COORDINATES],
    }
}
