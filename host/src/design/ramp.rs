//! How far up a ramp a vehicle would climb as drawn: each axle articulates to its limit, the axle on the flat the other way,
//! so that the climbing one is inclined by both together.

use super::prediction::{ArticulationLimit, AxlePrediction, RampPrediction};
use crate::geometry::on_ramp::{OnRamp, ramp_travel_index};

/// Angle of the ramp where nobody says another, rad: 20° (common practice, no source).
pub const RAMP_RAD: f64 = std::f64::consts::PI / 9.0;

/// The ramp travel index of an axle with its left, and its right wheel on the ramp, while the other axle stands on the flat.
pub fn ramp(
    axle: &AxlePrediction,
    other: &AxlePrediction,
    wheelbase_m: f64,
    ramp_rad: f64,
) -> [RampPrediction; 2] {
    // With the left wheel of one axle up the chassis leans right between them: the other has its right wheel up against it.
    let [left, right] = &axle.articulation;
    let [other_left, other_right] = &other.articulation;
    [(left, other_right), (right, other_left)]
        .map(|(own, others)| one_side(axle, own, others, wheelbase_m, ramp_rad))
}

fn one_side(
    axle: &AxlePrediction,
    own: &ArticulationLimit,
    others: &ArticulationLimit,
    wheelbase_m: f64,
    ramp_rad: f64,
) -> RampPrediction {
    let inclination_rad = own.roll_rad + others.roll_rad;
    let on_ramp = OnRamp {
        track_m: axle.track_m,
        ramp_rad,
        inclination: inclination_rad.sin(),
        heading_rad: 0.0,
        climbing_radius_m: axle.tyre_radius_m,
        flat_radius_m: axle.tyre_radius_m,
    };
    // An axle on end touches no ramp.
    let stands = inclination_rad < std::f64::consts::FRAC_PI_2;
    let distance_m = Some(on_ramp.distance_m()).filter(|d| stands && d.is_finite());
    RampPrediction {
        index: distance_m.map(|d| ramp_travel_index(d, wheelbase_m)),
        distance_m,
        inclination_rad,
        ramp_rad,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::predict::{Wanted, predict_wanted};
    use crate::design::prediction::LimitedBy;
    use crate::design::{cases, predict};
    use crate::geometry::Vector3;
    use crate::vehicle::{Stop, Vehicle};

    /// Printed to six digits.
    const PRINTED: f64 = 6e-6;

    /// Case T behind case H, each swept to these angles.
    fn both(rear_rad: f64, front_rad: f64) -> Vehicle {
        let mut vehicle = cases::t();
        vehicle.axles[0].sweep.roll_rad = rear_rad;
        let mut front = cases::h().axles.remove(0);
        front.sweep.roll_rad = front_rad;
        vehicle.axles.push(front);
        vehicle
    }

    /// Values computed by a program that shares no code with this one: equal radii 0.46, track 1.6, wheelbase 2.54.
    #[test]
    fn worked_values_on_ramps() {
        for (degrees, rear_rad, front_rad, distance_m) in
            [(20.0_f64, 0.17, 0.13, 1.46666), (30.0, 0.15, 0.20, 1.22522), (20.0, 0.04, 0.06, 0.548474)]
        {
            let wanted = Wanted { ramp_rad: Some(degrees.to_radians()), ..Wanted::default() };
            let told = predict_wanted(&both(rear_rad, front_rad), &wanted).unwrap();
            for axle in &told.axles {
                for side in axle.ramp.as_ref().unwrap() {
                    let d = side.distance_m.unwrap();
                    assert!((d - distance_m).abs() < PRINTED, "{d} instead of {distance_m}");
                    assert!((side.inclination_rad - rear_rad - front_rad).abs() < 1e-15);
                }
                assert!(axle.articulation.iter().all(|limit| limit.by == LimitedBy::Sweep));
            }
        }
        let told = predict(&both(0.17, 0.13)).unwrap();
        let index = told.axles[0].ramp.as_ref().unwrap()[0].index.unwrap();
        assert!((index - 577.424).abs() < 6e-4, "{index}");
    }

    #[test]
    fn one_axle_alone_has_no_index() {
        assert_eq!(predict(&cases::t()).unwrap().axles[0].ramp, None);
    }

    #[test]
    fn what_ends_articulation_on_one_side_counts_for_the_other_axle_crosswise() {
        let mut vehicle = both(0.3, 0.2);
        // On the rear axle's left: its left wheel comes up to this stop before anything else is met.
        vehicle.axles[0].bump_stops = vec![Stop {
            name: "stop left".into(),
            chassis: Vector3::new(0.0, 0.5, 0.69),
            axle: Vector3::new(0.0, 0.52, 0.56),
            length_m: 0.06,
        }];
        let told = predict(&vehicle).unwrap();
        let [rear, front] = &told.axles[..] else { panic!("two axles") };
        let [left, right] = &rear.articulation;
        assert!(matches!(&left.by, LimitedBy::End { name, .. } if name == "stop left"), "{left:?}");
        assert!(left.roll_rad < 0.2 && (right.roll_rad, &right.by) == (0.3, &LimitedBy::Sweep));
        let inclined =
            |axle: &AxlePrediction| axle.ramp.as_ref().unwrap().each_ref().map(|r| r.inclination_rad);
        assert_eq!(inclined(rear), [left.roll_rad + 0.2, 0.3 + 0.2]);
        assert_eq!(inclined(front), [0.2 + 0.3, 0.2 + left.roll_rad]);
    }

    #[test]
    fn a_link_that_ends_articulation_is_named() {
        // A bar 180 mm long, 300 mm off the centre: as its axle end drops it is soon taut.
        let mut vehicle = cases::h();
        let axle = &mut vehicle.axles[0];
        axle.sweep.roll_rad = 1.0;
        axle.locating.links[3] = cases::link("panhard", [0.05, 0.45, 0.62], [0.05, 0.30, 0.52]);
        let told = predict(&vehicle).unwrap();
        let [_, right] = &told.axles[0].articulation;
        assert_eq!(right.by, LimitedBy::Link("panhard".into()));
        assert!(right.roll_rad > 0.1 && right.roll_rad < 0.5, "{right:?}");
    }
}
