//! A recording of a virtual vehicle, straight from its sensors: what a logger would store if it lost nothing.

use hingeline::rig::Rig;
use hingeline::run::{Phase, Recording, Series, Timing};
use hingeline::vehicle::Vehicle;
use hingeline::virtual_rig::readings::{Felt, Readings};
use hingeline::virtual_rig::{Test, VehicleOnRamp};

/// Angle of the ramp, rad: 20°.
const RAMP_RAD: f64 = std::f64::consts::PI / 9.0;

/// The vehicle's first axle through a test.
pub fn of(vehicle: &Vehicle, phases: &[Phase]) -> VehicleOnRamp {
    VehicleOnRamp::new(vehicle, &Test { axle: 0, phases: phases.to_vec(), ramp_rad: RAMP_RAD })
        .expect("a vehicle that can be tested")
}

/// One run; sensors read one after another within a scan, each with its own time.
pub fn run(vehicle: &VehicleOnRamp, rig: &Rig, seed: u64) -> Recording {
    let mut readings =
        Readings::new(vehicle.clone(), rig, Some(seed)).expect("sensors that the vehicle carries");
    let mut recording = Recording::empty(rig);
    recording.timing = Timing::Own;
    recording.phases = vehicle.phases().cloned().collect();
    for (k, sensor) in rig.sensors.iter().enumerate() {
        let step_s = 1.0 / sensor.rate_hz;
        let late_s = step_s * k as f64 / rig.sensors.len() as f64;
        let scans = (vehicle.end_s() / step_s) as usize;
        let channels = &mut recording.series[k];
        *channels = vec![Series::default(); channels.len()];
        for scan in 0..scans {
            let t_s = scan as f64 * step_s + late_s;
            let felt: Vec<f64> = match readings.read(k, t_s).expect("a sensor of the rig") {
                Felt::Scalar(value) => vec![value],
                Felt::Unit([force, rate]) => force.iter().chain(rate.iter()).copied().collect(),
            };
            for (series, value) in channels.iter_mut().zip(felt) {
                series.t_s.push(t_s);
                series.value.push(value);
            }
        }
    }
    recording
}
