//! A drive over rough ground: the travel that was used is measured as well as is said.

use super::motion::record;
use super::{RAMP_RAD, bramble};
use crate::measure;
use crate::run::Phase;
use crate::virtual_rig::readings::Readings;
use crate::virtual_rig::{Test, VehicleOnRamp};

#[test]
fn the_travel_that_was_used_is_what_the_axle_did() {
    /// Twelve extremes; each may miss by three standard uncertainties, and an instant of 0.2 s by as much as the axle moves within half
    /// of it near its turning point, m and rad.
    const COVERAGE: f64 = 3.0;
    const BETWEEN_INSTANTS: f64 = 1.5e-3;
    let (vehicle, rig) = bramble();
    let test = Test { axle: 0, phases: vec![Phase::Still, Phase::Obstacle], ramp_rad: RAMP_RAD };
    let drive = VehicleOnRamp::new(&vehicle, &test).expect("it can be driven");
    let span = *drive.phases().last().expect("it is in the plan");
    let steps = (0..4000).map(|k| span.from_s + (span.to_s - span.from_s) * f64::from(k) / 4000.0);
    let poses: Vec<_> = steps.map(|t_s| drive.at(t_s).pose(0)).collect();
    let extremes = |of: &dyn Fn(&crate::geometry::Pose) -> f64| {
        poses.iter().map(of).fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], v| [l.min(v), h.max(v)])
    };
    let half_track_m = 0.5 * vehicle.axles[0].track_m;
    let wheel = |side: f64| extremes(&|p| p.z_m + side * half_track_m * p.pitch_rad.cos() * p.roll_rad.sin());
    let truths = [extremes(&|p| p.z_m), extremes(&|p| p.roll_rad), wheel(1.0), wheel(-1.0)];
    for seed in [3, 4] {
        let mut readings =
            Readings::new(drive.clone(), &rig, Some(seed)).expect("every sensor has something to read");
        let analysis =
            measure::analyse(&vehicle, &rig, &record(&mut readings, &rig)).expect("it can be measured");
        let used = analysis.axles[0].envelope.as_ref().expect("it moved");
        let found = [&used.heave_m, &used.roll_rad, &used.wheels_m[0], &used.wheels_m[1]];
        for (found, truth) in found.iter().zip(truths) {
            for (measured, truth) in found.iter().zip(truth) {
                let (value, u) = measured.measured().expect("it is seen");
                assert!((value - truth).abs() < COVERAGE * u + BETWEEN_INSTANTS, "{value} ± {u}, {truth}");
            }
        }
        assert!(used.obstacle && (40.0..50.0).contains(&used.seconds), "{}", used.seconds);
        assert!((0.15..0.6).contains(&used.share_of_sweep), "{}", used.share_of_sweep);
        assert!(
            used.ends.iter().all(|end| (0.4..0.9).contains(&end.used) && end.times == 0),
            "{:?}",
            used.ends
        );
    }
}
