//! A recording of a virtual vehicle, straight from its sensors: what a logger would store if it lost nothing.

use hingeline::measure::observe::{FLOOR_SLOPE_U_RAD, INDEPENDENT_STILL_READINGS, UNMODELLED_ACCELERATION};
use hingeline::rig::{Kind, Rig};
use hingeline::run::{Phase, Recording, Series, Timing};
use hingeline::vehicle::Vehicle;
use hingeline::virtual_rig::readings::{Felt, Readings};
use hingeline::virtual_rig::{Test, VehicleOnRamp};
use nalgebra::Vector3;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Angle of the ramp, rad: 20°.
const RAMP_RAD: f64 = std::f64::consts::PI / 9.0;

/// The vehicle's first axle through a test.
pub fn of(vehicle: &Vehicle, phases: &[Phase]) -> VehicleOnRamp {
    VehicleOnRamp::new(vehicle, &Test { axle: 0, phases: phases.to_vec(), ramp_rad: RAMP_RAD })
        .expect("a vehicle that can be tested")
}

/// For how long an acceleration that a slow test does not explain stays the same, s.
const JOLT_S: f64 = 0.2;

/// What is drawn beside the sensors' own errors: the floor's slope, a still that drifts, and accelerations of each unit that a slow
/// test does not explain.
struct Surroundings {
    rng: ChaCha8Rng,
    jolt: (i64, Vector3<f64>),
}

impl Surroundings {
    fn new(seed: u64, sensor: usize) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        // A stream for the floor and one for each sensor, none of which the sensors draw from.
        rng.set_stream(1000 + sensor as u64);
        Self { rng, jolt: (-1, Vector3::zeros()) }
    }

    fn normal(&mut self, sigma: f64) -> f64 {
        sigma * Distribution::<f64>::sample(&StandardNormal, &mut self.rng)
    }

    /// How far a unit's still is off beyond its noise: drifts that the estimator does not average away, m/s².
    fn drift(&mut self, rig: &Rig, sensor: usize, still_s: f64) -> Vector3<f64> {
        let Kind::Inertial(unit) = &rig.sensors[sensor].kind else { return Vector3::zeros() };
        let readings = (still_s * rig.sensors[sensor].rate_hz).max(1.0);
        let beyond = (1.0 / INDEPENDENT_STILL_READINGS as f64 - 1.0 / readings).max(0.0).sqrt();
        Vector3::from_fn(|_, _| self.normal(unit.accel_noise * beyond))
    }

    /// Of one of two units whose difference has the stated standard deviation, m/s².
    fn jolt(&mut self, t_s: f64) -> Vector3<f64> {
        let now = (t_s / JOLT_S).floor() as i64;
        if now != self.jolt.0 {
            let each = UNMODELLED_ACCELERATION / 2f64.sqrt();
            self.jolt = (now, Vector3::from_fn(|_, _| self.normal(each)));
        }
        self.jolt.1
    }
}

/// One run; sensors read one after another within a scan, each with its own time.
pub fn run(vehicle: &VehicleOnRamp, rig: &Rig, seed: u64) -> Recording {
    let mut floor = Surroundings::new(seed, rig.sensors.len());
    let slope_rad = [floor.normal(FLOOR_SLOPE_U_RAD), floor.normal(FLOOR_SLOPE_U_RAD)];
    let mut readings = Readings::new(vehicle.clone(), rig, Some(seed))
        .expect("sensors that the vehicle carries")
        .on_a_slope(slope_rad);
    let mut recording = Recording::empty(rig);
    recording.timing = Timing::Own;
    recording.phases = vehicle.phases().cloned().collect();
    let still = *recording.phases.iter().find(|p| p.phase == Phase::Still).expect("a still");
    for (k, sensor) in rig.sensors.iter().enumerate() {
        let step_s = 1.0 / sensor.rate_hz;
        let late_s = step_s * k as f64 / rig.sensors.len() as f64;
        let mut around = Surroundings::new(seed, k);
        let drift = around.drift(rig, k, still.to_s - still.from_s);
        let scans = (vehicle.end_s() / step_s) as usize;
        let channels = &mut recording.series[k];
        *channels = vec![Series::default(); channels.len()];
        for scan in 0..scans {
            let t_s = scan as f64 * step_s + late_s;
            let felt: Vec<f64> = match readings.read(k, t_s).expect("a sensor of the rig") {
                Felt::Scalar(value) => vec![value],
                Felt::Unit([force, rate]) => {
                    let still = t_s < still.to_s;
                    let beside = if still { drift } else { Vector3::zeros() };
                    (force + around.jolt(t_s) + beside).iter().chain(rate.iter()).copied().collect()
                }
            };
            for (series, value) in channels.iter_mut().zip(felt) {
                series.t_s.push(t_s);
                series.value.push(value);
            }
        }
    }
    recording
}
