//! The guide of a recording: where the axle is now, how well each number is resolved so far, and what more motion would do.
//!
//! It looks at the readings that a recorder keeps thinned ([`Trail`]); the run keeps every byte whatever happens here. The
//! judgement takes a moment, so [`Assessor`] makes it on a thread of its own.

use crate::design::tolerance;
use crate::device::recorder::Trail;
use crate::explain::Failure;
use crate::geometry::Vector3;
use crate::geometry::placed::PlacedBody;
use crate::jobs::vehicle_folder::VehicleFolder;
use crate::judge::verdict;
use crate::measure::live::{LivePose, WINDOW_S};
use crate::measure::numbers::{Excitation, LEAST_HEAVE_M, LEAST_ROLL_RAD, needs};
use crate::measure::{self, AxleAnalysis, Budget, Measured, Status};
use crate::rig::{Carrier, Kind, Rig};
use crate::run::{Facts, Phase, PhaseSpan, Recording};
use crate::vehicle::numbers::{Key, Numbers};
use crate::vehicle::{Axle, Position, Vehicle};
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

/// A still shorter than this says nothing, s.
const LEAST_STILL_S: f64 = measure::still::LEAST_STILL_S;
/// More range than this times what there was is not asked for: more of the same then does more.
const MOST_STRETCH: f64 = 2.0;
/// More repetitions than this are no advice.
const MOST_REPEATS: f64 = 8.0;

/// Where an axle is now.
#[derive(Debug, Clone, PartialEq)]
pub struct AxleNow {
    /// The axle's name.
    pub name: String,
    /// Heave from ride height, m, and its standard uncertainty; none where nothing sees it.
    pub heave_m: Option<(f64, f64)>,
    /// Articulation against the chassis, rad, left wheel up positive, and its standard uncertainty.
    pub articulation_rad: Option<(f64, f64)>,
    /// How far the left and the right wheel have moved up against the chassis, m.
    pub wheel_travel_m: Option<[f64; 2]>,
    /// How much higher the left wheel stands than the right one, m: the height climbed. Needs a unit on the axle.
    pub rise_m: Option<f64>,
}

/// How well a number is resolved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Resolution {
    /// Well enough to say that it agrees with the drawing.
    Well,
    /// Measured, but too coarsely for that.
    Coarse,
    /// The motion has not shown it yet.
    NotYet,
    /// The sensors cannot show it.
    Unseen,
}

/// What would resolve a number better.
#[derive(Debug, Clone, PartialEq)]
pub enum Advice {
    /// So much more articulation, rad, to the side of this wheel going up.
    Articulate {
        /// How much more.
        more_rad: f64,
        /// Whether the left wheel goes up; none: either.
        left: Option<bool>,
    },
    /// So much more travel up and down, m.
    Travel {
        /// How much more.
        more_m: f64,
    },
    /// The same motion so many times more.
    Repeat {
        /// How often.
        times: u32,
    },
    /// No motion will do: where the sensors are clipped, their scales, headings or zeros limit it.
    NoMotion {
        /// What limits it, in words.
        because: &'static str,
    },
}

/// One number so far.
#[derive(Debug, Clone, PartialEq)]
pub struct Resolved {
    /// Which.
    pub key: Key,
    /// As measured so far.
    pub measured: Measured,
    /// Standard uncertainty that would do, SI: half the difference that counts as agreement.
    pub enough_u: f64,
    /// How well.
    pub resolution: Resolution,
    /// What would help.
    pub advice: Option<Advice>,
}

/// An axle so far.
#[derive(Debug, Clone, PartialEq)]
pub struct AxleResolved {
    /// Its name.
    pub name: String,
    /// Every number that it can have, in the order of results.
    pub numbers: Vec<Resolved>,
    /// Least and greatest heave so far, m.
    pub heave_m: [f64; 2],
    /// Least and greatest articulation so far, rad.
    pub roll_rad: [f64; 2],
}

/// What a guide needs to know, shared with the thread that judges.
#[derive(Debug)]
struct Known {
    vehicle: Vehicle,
    rig: Rig,
    facts: Facts,
    designed_u: Vec<Numbers>,
}

/// The guide of one recording.
#[derive(Debug)]
pub struct Guide {
    known: Arc<Known>,
    phases: Vec<PhaseSpan>,
    phase: Option<Phase>,
    live: Vec<LivePose>,
    live_axles: Vec<usize>,
}

impl Guide {
    /// A guide for a vehicle's folder, without the sensors of these names; `now_us` is now, µs since 1970.
    ///
    /// # Errors
    /// Where a file is missing or wrong.
    pub fn load(
        vehicle_folder: &Path,
        without: &[String],
        facts: &Facts,
        now_us: i64,
    ) -> Result<Self, Failure> {
        let mut folder = VehicleFolder::load(vehicle_folder)?;
        folder.calibrate(now_us)?;
        folder.leave_out(without)?;
        Ok(Self::new(folder.vehicle, folder.rig, facts.clone()))
    }

    /// A guide for a vehicle and a rig.
    pub fn new(vehicle: Vehicle, rig: Rig, facts: Facts) -> Self {
        // A drawing that cannot be solved has no tolerance: then only the floors of the limits count.
        let designed_u =
            (0..vehicle.axles.len()).map(|k| tolerance::number_u(&vehicle, k).unwrap_or_default()).collect();
        let known = Arc::new(Known { vehicle, rig, facts, designed_u });
        Self { known, phases: Vec::new(), phase: None, live: Vec::new(), live_axles: Vec::new() }
    }

    /// Sentences to read before the test: how a steered axle is held, and what goes on without what is not there.
    pub fn advice_before(&self, phases: &[Phase], facts: &Facts, without: &[String]) -> Vec<String> {
        let (vehicle, rig) = (&self.known.vehicle, &self.known.rig);
        let mut said = Vec::new();
        let steered = |sensor: &crate::rig::Sensor| {
            vehicle.axles.get(sensor.axle).is_some_and(|axle| axle.position == Position::Front)
        };
        if rig.sensors.iter().any(steered) {
            said.push(
                "Steered axle: wheels straight, the steering tied so that it cannot turn, sensors clipped to the housing and \
                 not to a knuckle."
                    .into(),
            );
        }
        let ramp = phases.iter().any(|p| matches!(p, Phase::RampLeft | Phase::RampRight));
        if ramp && facts.ramp_angle_rad.is_none() {
            said.push(
                "Without --ramp-angle everything is measured but the ramp travel index; analyse takes the angle later.".into(),
            );
        }
        let unit = |carrier| {
            rig.sensors.iter().any(|s| matches!(&s.kind, Kind::Inertial(unit) if unit.carrier == carrier))
        };
        if unit(Carrier::Axle) || unit(Carrier::Chassis) {
            said.push(
                "The still's floor should be level within half a degree: inclination, and with it the ramp travel index, is \
                 read against it. Wires do not care."
                    .into(),
            );
        } else if ramp {
            said.push("Without an inertial unit on the axle the height climbed is not seen, nor the ramp travel index.".into());
        }
        if !without.is_empty() {
            let blind = self.blind();
            let what = match blind.as_slice() {
                [] => "the others still see all six ways in which the axle moves".into(),
                some => format!("nothing sees the axle move {}", some.join(" nor ")),
            };
            said.push(format!(
                "Without {}: {what}; hingeline sensors --without says what that costs.",
                without.join(", ")
            ));
        }
        said
    }

    /// The ways in which the first axle with sensors moves unseen at ride height.
    fn blind(&self) -> Vec<&'static str> {
        const WAYS: [&str; 6] =
            ["fore and aft", "sideways", "up and down", "in articulation", "in pitch", "in yaw"];
        let (vehicle, rig) = (&self.known.vehicle, &self.known.rig);
        let Some(index) = rig.sensors.first().map(|s| s.axle) else { return Vec::new() };
        let Some(axle) = vehicle.axles.get(index) else { return Vec::new() };
        let seen = measure::live::seen_at_ride(rig, index, axle);
        WAYS.into_iter().zip(seen).filter(|(_, seen)| !seen).map(|(way, _)| way).collect()
    }

    /// Takes note of the phase that lasts; to be called each time a recording is watched.
    pub fn watch(&mut self, trail: &Trail, phase: Option<Phase>) {
        let now_s = trail.end_s();
        if phase == self.phase {
            if let (Some(_), Some(span)) = (phase, self.phases.last_mut()) {
                span.to_s = now_s;
            }
            return;
        }
        self.phase = phase;
        if let Some(phase) = phase {
            self.phases.push(PhaseSpan { phase, from_s: now_s, to_s: now_s });
        }
    }

    /// Where the axles are now; none before a still has given the sensors their zeros.
    pub fn now(&mut self, trail: &Trail) -> Vec<AxleNow> {
        let known = self.known.clone();
        let (vehicle, rig) = (&known.vehicle, &known.rig);
        let still =
            self.phases.iter().find(|s| s.phase == Phase::Still && s.to_s - s.from_s >= LEAST_STILL_S);
        let Some(still) = still.filter(|s| s.to_s < trail.end_s()) else { return Vec::new() };
        if self.live.is_empty() {
            let recording = trail.recording(rig, &[*still]);
            for (index, axle) in vehicle.axles.iter().enumerate() {
                if let Ok(Some(live)) = LivePose::new(rig, index, axle, &recording) {
                    self.live.push(live);
                    self.live_axles.push(index);
                }
            }
        }
        let latest = trail.latest(rig, self.phase.unwrap_or(Phase::Bounce), WINDOW_S);
        let axles = self.live.iter_mut().zip(&self.live_axles);
        axles
            .filter_map(|(live, index)| Some((vehicle.axles.get(*index)?, live.now(rig, &latest)?)))
            .map(|(axle, now)| axle_now(axle, &now))
            .collect()
    }

    /// Everything so far, ready to be judged; none before anything moved after a still.
    pub fn so_far(&self, trail: &Trail) -> Option<Recording> {
        let ready = self.phases.iter().any(|s| s.phase == Phase::Still && s.to_s - s.from_s >= LEAST_STILL_S)
            && self.phases.iter().any(|s| s.phase.travels());
        ready.then(|| {
            let mut recording = trail.recording(&self.known.rig, &self.phases);
            recording.facts = self.known.facts.clone();
            recording
        })
    }

    /// Judges what was recorded so far; takes a moment.
    pub fn judge(&self, so_far: &Recording) -> Vec<AxleResolved> {
        self.known.judge(so_far)
    }
}

fn axle_now(axle: &Axle, now: &measure::live::Now) -> AxleNow {
    let estimate = &now.estimate;
    let seen = |k: usize, value: f64| {
        let variance = estimate.covariance.get((k, k)).copied().unwrap_or(f64::INFINITY);
        estimate.seen.get(k).is_some_and(|s| *s).then(|| (value, variance.max(0.0).sqrt()))
    };
    let heave_m = seen(2, estimate.pose.z_m);
    let articulation_rad = seen(3, estimate.pose.roll_rad);
    let body = PlacedBody::new(&estimate.pose, axle.centre());
    let half_m = 0.5 * axle.track_m;
    let wheel = |y_m: f64| {
        let at = Vector3::new(0.0, y_m, axle.tyre_radius_m);
        body.position(&at).z - at.z
    };
    AxleNow {
        name: axle.name.clone(),
        heave_m,
        articulation_rad,
        wheel_travel_m: heave_m.and(articulation_rad).map(|_| [wheel(half_m), wheel(-half_m)]),
        rise_m: now.inclination_rad.map(|inclination| axle.track_m * inclination.sin()),
    }
}

impl Known {
    fn judge(&self, so_far: &Recording) -> Vec<AxleResolved> {
        let Ok(analysis) = measure::analyse(&self.vehicle, &self.rig, so_far) else { return Vec::new() };
        analysis.axles.iter().filter_map(|found| self.axle(found)).collect()
    }

    fn axle(&self, found: &AxleAnalysis) -> Option<AxleResolved> {
        let axle = self.vehicle.axles.get(found.index)?;
        let states: Vec<(f64, f64)> =
            found.path.iter().filter(|p| p.phase.travels()).map(|p| (p.pose.z_m, p.pose.roll_rad)).collect();
        let excitation = Excitation::of(&states, found.seen);
        let number = |(key, measured): (&Key, &Measured)| {
            let stated = axle.agree.iter().find(|(k, _)| k == key).map(|(_, limit)| *limit);
            let designed_u = self.designed_u.get(found.index).and_then(|u| u.get(*key));
            let enough_u = 0.5 * verdict::limit(*key, stated, designed_u);
            let motion = Motion { found, excitation: &excitation };
            motion.resolved(*key, measured, found.budget.get(key), enough_u)
        };
        Some(AxleResolved {
            name: found.name.clone(),
            numbers: found.measured.iter().map(number).collect(),
            heave_m: found.travel.heave_m,
            roll_rad: found.travel.roll_rad,
        })
    }
}

/// The motion so far, as advice needs it.
struct Motion<'a> {
    found: &'a AxleAnalysis,
    excitation: &'a Excitation,
}

impl Motion<'_> {
    fn resolved(&self, key: Key, measured: &Measured, budget: Option<&Budget>, enough_u: f64) -> Resolved {
        let (resolution, advice) = match (measured.status, measured.u) {
            (Status::Measured, Some(u)) if u <= enough_u => (Resolution::Well, None),
            (Status::Measured, Some(u)) => {
                (Resolution::Coarse, budget.and_then(|b| self.finer(key, b, u, enough_u)))
            }
            (Status::NotExcited, _) => (Resolution::NotYet, self.more(key)),
            (Status::NotResolved, _) => (Resolution::Coarse, None),
            _ => (Resolution::Unseen, None),
        };
        Resolved { key, measured: measured.clone(), enough_u, resolution, advice }
    }

    /// What a number lacks that the motion has not shown at all.
    fn more(&self, key: Key) -> Option<Advice> {
        // The range of an even motion is 2·√3 of its standard deviation.
        let range = 2.0 * 3f64.sqrt();
        match needs(key) {
            (_, true) if self.excitation.roll_rad < LEAST_ROLL_RAD => {
                Some(self.articulate(range * (LEAST_ROLL_RAD - self.excitation.roll_rad)))
            }
            (true, _) if self.excitation.heave_m < LEAST_HEAVE_M => {
                Some(Advice::Travel { more_m: range * (LEAST_HEAVE_M - self.excitation.heave_m) })
            }
            _ => None,
        }
    }

    /// Articulation to the side that went less far.
    fn articulate(&self, more_rad: f64) -> Advice {
        let [right, left] = self.found.travel.roll_rad.map(f64::abs);
        let even = (left - right).abs() < 0.1 * left.max(right);
        Advice::Articulate { more_rad, left: (!even).then_some(left < right) }
    }

    /// What makes a measured number finer: scatter and model shrink with range and with repetition, the rest with neither.
    fn finer(&self, key: Key, budget: &Budget, u: f64, enough_u: f64) -> Option<Advice> {
        let fixed = [
            ("limited by sensor mounts", budget.mount),
            ("limited by sensor scales", budget.scale),
            ("limited by unit headings", budget.heading),
            ("limited by the still's zeros", budget.zero),
        ];
        let fixed_u = fixed.iter().map(|(_, part)| part * part).sum::<f64>().sqrt();
        if fixed_u >= enough_u {
            let most = fixed.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
            return Some(Advice::NoMotion { because: most.0 });
        }
        let moving = (u * u - fixed_u * fixed_u).max(0.0).sqrt();
        let stretch = moving / (enough_u * enough_u - fixed_u * fixed_u).sqrt();
        let range = |[low, high]: [f64; 2]| high - low;
        let (heave, roll) = needs(key);
        if stretch <= MOST_STRETCH && (heave || roll) {
            return Some(match roll {
                true => self.articulate((stretch - 1.0) * range(self.found.travel.roll_rad)),
                false => Advice::Travel { more_m: (stretch - 1.0) * range(self.found.travel.heave_m) },
            });
        }
        let repeats = (stretch * stretch - 1.0).ceil().max(1.0);
        (repeats <= MOST_REPEATS).then_some(Advice::Repeat { times: repeats as u32 })
    }
}

/// Judges recordings on a thread of its own, one at a time; it ends with its owner.
pub struct Assessor {
    ask: SyncSender<Recording>,
    answers: Receiver<Vec<AxleResolved>>,
    /// Since when it judges, s.
    busy_since_s: Option<f64>,
    /// When it may judge next, s.
    next_s: f64,
}

/// Rest between two judgements, s, and as many times as long as the last one took: the recording comes first.
const REST_S: f64 = 2.0;
/// See [`REST_S`].
const REST_TIMES: f64 = 2.0;

impl Assessor {
    /// Starts the thread.
    pub fn start(guide: &Guide) -> Self {
        let (ask, asked) = sync_channel::<Recording>(1);
        let (answer, answers) = sync_channel(1);
        let known = guide.known.clone();
        std::thread::spawn(move || {
            while let Ok(so_far) = asked.recv() {
                if answer.send(known.judge(&so_far)).is_err() {
                    break;
                }
            }
        });
        Self { ask, answers, busy_since_s: None, next_s: 0.0 }
    }

    /// What was judged since the last call, at `now_s` of any clock. Where it is time, `so_far` is asked for and judged next.
    pub fn poll(
        &mut self,
        now_s: f64,
        so_far: impl FnOnce() -> Option<Recording>,
    ) -> Option<Vec<AxleResolved>> {
        let answer = self.answers.try_recv().ok();
        if answer.is_some()
            && let Some(since_s) = self.busy_since_s.take()
        {
            self.next_s = now_s + REST_S.max(REST_TIMES * (now_s - since_s));
        }
        if self.busy_since_s.is_none()
            && now_s >= self.next_s
            && let Some(recording) = so_far()
        {
            self.busy_since_s = self.ask.try_send(recording).is_ok().then_some(now_s);
        }
        answer
    }
}

#[cfg(test)]
mod tests;
