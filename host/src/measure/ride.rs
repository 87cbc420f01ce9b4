//! Where the axle really sits at ride height, against the drawing: from taped ride marks, from the angles of pinion, kingpins and
//! thrust line, and from wires that tell whole lengths.
//!
//! A run sees changes since the still. What was measured by hand at the still, and wires whose scale is a table of lengths, tell
//! the still's own place; with it every link has a length and not only a change of length.

use super::links::Line;
use super::still::SensorStill;
use crate::geometry::distance::distance;
use crate::geometry::least_squares::{self, Options, Residuals};
use crate::geometry::placed::PlacedBody;
use crate::geometry::pose::COORDINATES;
use crate::geometry::{DMatrix, DVector, Pose, Vector3};
use crate::rig::model::{Model, PoseGradient};
use crate::rig::{Rig, Scale};
use crate::vehicle::{AngleOf, Axle, Position, RideAngle};

const ROLL: usize = 3;
const PITCH: usize = 4;
const YAW: usize = 5;

/// A tape from bolt to bolt, standard deviation, m.
const TAPE_U_M: f64 = 0.002;
/// How far an axle may sit from where it was drawn before anything was taped, one standard deviation, m and rad.
const BUILT_U: [f64; COORDINATES] = [0.03, 0.03, 0.03, 0.05, 0.05, 0.03];
/// How the axle is pitched at the still is told when its standard uncertainty is below this, rad: a degree.
const TELLING_RAD: f64 = 0.02;
/// A length is told when its standard uncertainty is below this, m.
const TELLING_M: f64 = 0.006;

/// The pose at the still against the drawing.
#[derive(Debug, Clone, PartialEq)]
pub struct RidePose {
    /// From where it was drawn.
    pub pose: Pose,
    /// Its covariance, 6 × 6.
    pub covariance: DMatrix<f64>,
    /// What was measured by hand and contradicts the rest most, in words with how far it is off; none where all agree.
    pub contradicts: Option<String>,
}

/// What is this many standard deviations from what the others say is a slip of hand or eye: eleven are looked at.
const SLIP: f64 = 4.0;

/// A distance that somebody or something measured at the still.
struct Taped {
    name: String,
    chassis: Vector3<f64>,
    axle: Vector3<f64>,
    length_m: f64,
    u_m: f64,
}

/// An angle of the axle that somebody measured at the still, against what was drawn.
struct Levelled {
    of: AngleOf,
    front: bool,
    turned_rad: f64,
    u_rad: f64,
}

impl Levelled {
    fn all(axle: &Axle) -> Vec<Levelled> {
        let against = |angle: &RideAngle| {
            let drawn_rad = match angle.of {
                AngleOf::Pinion => axle.pinion_rad?,
                AngleOf::Castor => axle.castor_rad?,
                AngleOf::Thrust => 0.0,
            };
            let front = axle.position == Position::Front;
            let turned_rad = angle.angle_rad - drawn_rad;
            Some(Levelled { of: angle.of, front, turned_rad, u_rad: angle.u_rad })
        };
        axle.ride_angles.iter().filter_map(against).collect()
    }

    /// How far a pose turns it, rad, and the derivative by the pose: pinion and kingpins with the pitch, the thrust line as the
    /// axle steers, `δ = yaw − atan(sin pitch · tan roll)`.
    fn at(&self, pose: &Pose) -> (f64, PoseGradient) {
        let mut gradient = PoseGradient::zeros();
        match self.of {
            AngleOf::Pinion if self.front => {
                gradient[PITCH] = 1.0;
                (pose.pitch_rad, gradient)
            }
            AngleOf::Pinion | AngleOf::Castor => {
                gradient[PITCH] = -1.0;
                (-pose.pitch_rad, gradient)
            }
            AngleOf::Thrust => {
                let (sin_pitch, cos_pitch) = pose.pitch_rad.sin_cos();
                let tan_roll = pose.roll_rad.tan();
                let by_tan = 1.0 + (sin_pitch * tan_roll).powi(2);
                gradient[ROLL] = -sin_pitch * (1.0 + tan_roll.powi(2)) / by_tan;
                gradient[PITCH] = -cos_pitch * tan_roll / by_tan;
                gradient[YAW] = 1.0;
                (pose.axle_steer_rad(), gradient)
            }
        }
    }
}

struct ByHand<'a> {
    centre: Vector3<f64>,
    taped: &'a [Taped],
    levelled: &'a [Levelled],
}

impl Residuals for ByHand<'_> {
    fn unknowns(&self) -> usize {
        COORDINATES
    }

    fn evaluate(&self, x: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let count = self.taped.len() + self.levelled.len();
        let pose = Pose::from_array(std::array::from_fn(|k| x[k]));
        let body = PlacedBody::new(&pose, self.centre);
        let (mut r, mut j) =
            (DVector::zeros(count + COORDINATES), DMatrix::zeros(count + COORDINATES, COORDINATES));
        for (row, taped) in self.taped.iter().enumerate() {
            let d = distance(&taped.chassis, &body.position(&taped.axle));
            r[row] = (d.length_m - taped.length_m) / taped.u_m;
            let gradient = body.jacobian(&taped.axle).tr_mul(&d.direction) / taped.u_m;
            j.row_mut(row).copy_from(&gradient.transpose());
        }
        for (row, angle) in (self.taped.len()..).zip(self.levelled) {
            let (turned_rad, gradient) = angle.at(&pose);
            r[row] = (turned_rad - angle.turned_rad) / angle.u_rad;
            j.row_mut(row).copy_from(&(gradient / angle.u_rad).transpose());
        }
        for k in 0..COORDINATES {
            r[count + k] = x[k] / BUILT_U[k];
            j[(count + k, k)] = 1.0 / BUILT_U[k];
        }
        (r, j)
    }
}

/// Where an axle sits at the still; none where nothing was measured by hand and no wire tells whole lengths.
pub fn ride_pose(axle: &Axle, index: usize, rig: &Rig, stills: &[Option<SensorStill>]) -> Option<RidePose> {
    let marks = axle.ride_marks.iter().map(|mark| Taped {
        name: format!("ride mark \"{}\"", mark.name),
        chassis: mark.chassis,
        axle: mark.axle,
        length_m: mark.length_m,
        u_m: TAPE_U_M,
    });
    let wires = rig.sensors.iter().zip(stills).filter(|(s, _)| s.axle == index).filter_map(|(s, still)| {
        let (reading, model) = (s.reading()?, Model::of(&s.kind)?);
        let (Scale::Points(_), Some(SensorStill::Scalar(still))) = (&reading.scale, still) else {
            return None;
        };
        let crate::rig::Kind::DrawWire(_) = s.kind else { return None };
        let parts = [
            reading.mount_m * std::f64::consts::SQRT_2,
            reading.scale_u * still.mean,
            reading.linearity / 3f64.sqrt(),
            reading.start_u(),
        ];
        let u_m = parts.iter().map(|u| u * u).sum::<f64>().sqrt();
        Some(Taped {
            name: format!("\"{}\"", s.name),
            chassis: model.ends.chassis,
            axle: model.ends.axle,
            length_m: still.mean,
            u_m,
        })
    });
    let taped: Vec<Taped> = marks.chain(wires).filter(|t| t.u_m > 0.0).collect();
    let levelled = Levelled::all(axle);
    if taped.is_empty() && levelled.is_empty() {
        return None;
    }
    let by_hand = ByHand { centre: axle.centre(), taped: &taped, levelled: &levelled };
    let solution = least_squares::solve(&by_hand, DVector::zeros(COORDINATES), Options::default());
    let (residuals, jacobian) = by_hand.evaluate(&solution.x);
    let covariance = jacobian.tr_mul(&jacobian).cholesky()?.inverse();
    let pose = Pose::from_array(std::array::from_fn(|k| solution.x[k]));
    let contradicts = by_hand.slip(&residuals, &jacobian, &covariance);
    Some(RidePose { pose, covariance, contradicts })
}

impl ByHand<'_> {
    /// The reading that is furthest from what the others say, in words. Of a reading with residual `r` and leverage `h` that is
    /// `r/(1 − h)`, with the standard deviation `1/√(1 − h)` (deletion residuals; Belsley, Kuh and Welsch, Regression Diagnostics,
    /// 1980, from memory).
    fn slip(
        &self,
        residuals: &DVector<f64>,
        jacobian: &DMatrix<f64>,
        covariance: &DMatrix<f64>,
    ) -> Option<String> {
        let readings = self.taped.len() + self.levelled.len();
        let of = |k: usize| {
            let row = jacobian.row(k);
            let free = 1.0 - (row * covariance * row.transpose())[(0, 0)];
            (k, residuals[k] / free, (residuals[k] / free.sqrt()).abs())
        };
        let (k, off, sure) = (0..readings).map(of).max_by(|a, b| a.2.total_cmp(&b.2))?;
        if sure < SLIP {
            return None;
        }
        // A residual is what the pose says less what was read.
        let word = |off: f64, more: &'static str, less: &'static str| if off < 0.0 { more } else { less };
        Some(match (self.taped.get(k), k.checked_sub(self.taped.len()).and_then(|k| self.levelled.get(k))) {
            (Some(taped), _) => {
                let mm = 1e3 * off.abs() * taped.u_m;
                format!(
                    "{} is {mm:.0} mm {} than the rest of it says",
                    taped.name,
                    word(off, "longer", "shorter")
                )
            }
            (None, Some(angle)) => {
                let degrees = (off.abs() * angle.u_rad).to_degrees();
                let name = match angle.of {
                    AngleOf::Pinion => "pinion angle",
                    AngleOf::Castor => "castor",
                    AngleOf::Thrust => "thrust angle",
                };
                format!("the {name} is {degrees:.1}° {} than the rest of it says", word(off, "more", "less"))
            }
            (None, None) => return None,
        })
    }
}

impl RidePose {
    /// Length of a line as built and its standard uncertainty, m, the tolerance of its own ends included; none where too little
    /// was measured to tell.
    pub fn length(&self, line: &Line, centre: Vector3<f64>) -> Option<(f64, f64)> {
        let (longer_m, covariance) = self.longer(std::slice::from_ref(line), centre);
        let u = covariance[(0, 0)].sqrt();
        (u < TELLING_M).then(|| (line.nominal_m() + longer_m[0], u))
    }

    /// How much longer than drawn each line is, m, and the covariance: of the pose, and of the ends, which legs of one wishbone
    /// share.
    pub fn longer(&self, lines: &[Line], centre: Vector3<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let body = PlacedBody::new(&self.pose, centre);
        let count = lines.len();
        let (mut longer_m, mut gradients) = (DVector::zeros(count), DMatrix::zeros(count, COORDINATES));
        for (k, line) in lines.iter().enumerate() {
            let (length_m, gradient) = line.apparent(&body);
            longer_m[k] = length_m - line.nominal_m();
            gradients.row_mut(k).copy_from(&gradient.transpose());
        }
        let of_ends = DMatrix::from_fn(count, count, |a, b| lines[a].shared_with(&lines[b]));
        (longer_m, &gradients * &self.covariance * gradients.transpose() + of_ends)
    }

    /// How far the axle is pitched from where it was drawn, nose down positive, and the standard uncertainty, rad; none where too little
    /// was measured to tell.
    pub fn pitch_rad(&self) -> Option<(f64, f64)> {
        let u = self.covariance[(PITCH, PITCH)].max(0.0).sqrt();
        (u < TELLING_RAD).then_some((self.pose.pitch_rad, u))
    }

    /// How far the axle's centre sits from where it was drawn, m, and the standard uncertainty along that way.
    pub fn off(&self) -> (f64, f64) {
        let by = self.pose.translation();
        let size = by.norm();
        let direction = if size > 0.0 { by / size } else { Vector3::x() };
        let covariance = self.covariance.view((0, 0), (3, 3));
        (size, (direction.transpose() * covariance * direction)[(0, 0)].max(0.0).sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::links::lines;
    use crate::vehicle::RideMark;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    const MARKS: [([f64; 3], [f64; 3]); 8] = [
        ([0.0, 0.50, 1.0], [0.0, 0.62, 0.50]),
        ([0.0, -0.50, 1.0], [0.0, -0.62, 0.50]),
        ([0.65, 0.55, 0.48], [0.02, 0.60, 0.42]),
        ([0.65, -0.55, 0.48], [0.02, -0.60, 0.42]),
        ([-0.10, 0.55, 0.60], [-0.08, -0.35, 0.55]),
        ([-0.10, -0.55, 0.60], [-0.08, 0.35, 0.55]),
        ([0.60, 0.05, 0.75], [0.03, 0.0, 0.66]),
        ([-0.50, 0.05, 0.80], [-0.10, 0.0, 0.50]),
    ];

    fn taped(dice: &mut impl FnMut(f64) -> f64, true_pose: &Pose) -> Axle {
        let text = crate::files::starters::Layout::TriangulatedFourLink.vehicle_text("Bramble");
        let vehicle = crate::vehicle::file::parse(&text, "vehicle.toml").expect("a starter");
        let mut axle = vehicle.axles[0].clone();
        let body = PlacedBody::new(true_pose, axle.centre());
        axle.ride_marks = MARKS
            .iter()
            .enumerate()
            .map(|(k, (chassis, on_axle))| RideMark {
                name: format!("mark {k}"),
                chassis: (*chassis).into(),
                axle: (*on_axle).into(),
                length_m: (body.position(&(*on_axle).into()) - Vector3::from(*chassis)).norm()
                    + dice(TAPE_U_M),
            })
            .collect();
        axle
    }

    #[test]
    fn lengths_as_built_are_as_sure_as_is_said() {
        // Poses drawn from what a builder may be off, tapes from their u: squared errors are u² on average. Four lengths of a
        // run err together, so 200 runs are at least 200 independent ones: four standard deviations, 4·√(2/200).
        const RUNS: usize = 200;
        let band = 4.0 * (2.0 / RUNS as f64).sqrt();
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        let mut dice = |sigma: f64| {
            let z: f64 = StandardNormal.sample(&mut rng);
            sigma * z
        };
        let rig = Rig { sensors: vec![], rate_hz: 50.0, hash: String::new() };
        let (mut square, mut count) = (0.0, 0.0);
        for _ in 0..RUNS {
            let truth = Pose::from_array(BUILT_U.map(|u| dice(0.5 * u)));
            let axle = taped(&mut dice, &truth);
            let body = PlacedBody::new(&truth, axle.centre());
            let ride = ride_pose(&axle, 0, &rig, &[]).expect("eight tapes");
            for mut line in lines(&axle, 0.0) {
                line.tolerance_m = 0.0;
                let (length_m, u) = ride.length(&line, axle.centre()).expect("eight tapes tell it");
                square += ((length_m - line.apparent(&body).0) / u).powi(2);
                count += 1.0;
            }
        }
        let mean: f64 = square / count;
        // The prior is twice as wide as the poses that were drawn: its share makes u a little large, never small.
        assert!(mean < 1.0 + band && mean > 0.8 - band, "{mean}");
    }

    /// The front or rear axle of a starter that has both angles drawn, with the angles of a true pose measured without error.
    fn levelled(position: Position, truth: &Pose) -> Axle {
        let mut axle = taped(&mut |_| 0.0, truth);
        (axle.position, axle.castor_rad) = (position, Some(0.08));
        let nose_up_rad = if position == Position::Front { truth.pitch_rad } else { -truth.pitch_rad };
        axle.ride_angles = [
            (AngleOf::Pinion, axle.pinion_rad.expect("drawn") + nose_up_rad),
            (AngleOf::Castor, 0.08 - truth.pitch_rad),
            (AngleOf::Thrust, truth.axle_steer_rad()),
        ]
        .map(|(of, angle_rad)| RideAngle { of, angle_rad, u_rad: 1e-4 })
        .to_vec();
        axle
    }

    #[test]
    fn angles_alone_tell_how_the_axle_is_turned() {
        // To the prior's pull: (1e-4 / 0.03)² of the angle.
        const PULLED_RAD: f64 = 1e-6;
        let truth = Pose::from_array([0.0, 0.0, 0.0, 0.0, 0.021, -0.013]);
        let rig = Rig { sensors: vec![], rate_hz: 50.0, hash: String::new() };
        for position in [Position::Front, Position::Rear] {
            let mut axle = levelled(position, &truth);
            axle.ride_marks.clear();
            let ride = ride_pose(&axle, 0, &rig, &[]).expect("three angles");
            assert!((ride.pose.pitch_rad - truth.pitch_rad).abs() < PULLED_RAD, "{position:?} {ride:?}");
            let steer_rad = [ride.pose, truth].map(|pose| pose.axle_steer_rad());
            assert!((steer_rad[0] - steer_rad[1]).abs() < PULLED_RAD, "{position:?} {ride:?}");
        }
    }

    #[test]
    fn angles_and_tapes_agree_on_one_pose() {
        // Tapes and angles without error: what is left is the prior's pull on a pose within it, some (0.002 / 0.03)² of it.
        const PULLED: f64 = 2e-4;
        let truth = Pose::from_array([0.006, -0.004, 0.008, 0.02, 0.021, -0.013]);
        let rig = Rig { sensors: vec![], rate_hz: 50.0, hash: String::new() };
        let of = |axle: &Axle| ride_pose(axle, 0, &rig, &[]).expect("tapes and angles");
        let (both, taped) = (of(&levelled(Position::Rear, &truth)), of(&taped(&mut |_| 0.0, &truth)));
        for k in 0..COORDINATES {
            assert!((both.pose.to_array()[k] - truth.to_array()[k]).abs() < PULLED, "{k} {both:?}");
        }
        // The angles make the pitch five times as sure, and lengths with it.
        let u = |ride: &RidePose| ride.covariance[(PITCH, PITCH)].sqrt();
        assert!(5.0 * u(&both) < u(&taped), "{} {}", u(&both), u(&taped));
    }

    #[test]
    fn an_angle_s_gradient_is_its_difference() {
        // Central differences of smooth functions of order 1 at this step: rounding 1e-10, third order 1e-12.
        const STEP: f64 = 1e-6;
        const TOLERANCE: f64 = 1e-9;
        let q = [0.0, 0.0, 0.0, 0.12, 0.07, -0.05];
        for (of, front) in [
            (AngleOf::Pinion, true),
            (AngleOf::Pinion, false),
            (AngleOf::Castor, true),
            (AngleOf::Thrust, false),
        ] {
            let angle = Levelled { of, front, turned_rad: 0.0, u_rad: 1.0 };
            let gradient = angle.at(&Pose::from_array(q)).1;
            for k in 0..COORDINATES {
                let at = |sign: f64| {
                    let mut q = q;
                    q[k] += sign * STEP;
                    angle.at(&Pose::from_array(q)).0
                };
                let difference = (at(1.0) - at(-1.0)) / (2.0 * STEP);
                assert!((gradient[k] - difference).abs() < TOLERANCE, "{of:?} by {k}");
            }
        }
    }

    #[test]
    fn one_slip_of_the_tape_is_named() {
        let truth = Pose::from_array([0.006, -0.004, 0.008, 0.02, 0.021, -0.013]);
        let rig = Rig { sensors: vec![], rate_hz: 50.0, hash: String::new() };
        let of = |axle: &Axle| ride_pose(axle, 0, &rig, &[]).expect("tapes and angles").contradicts;
        let mut axle = levelled(Position::Rear, &truth);
        assert_eq!(of(&axle), None);
        axle.ride_marks[2].length_m += 0.030;
        let told = of(&axle).expect("30 mm are 15 standard deviations");
        assert!(told.starts_with("ride mark \"mark 2\" is ") && told.contains("mm longer"), "{told}");
        let mut axle = levelled(Position::Rear, &truth);
        axle.ride_angles.iter_mut().for_each(|angle| angle.u_rad = 5e-3);
        axle.ride_angles[0].angle_rad += 0.1;
        let told = of(&axle).expect("the castor says otherwise");
        assert!(told.starts_with("the pinion angle is ") && told.contains("° more"), "{told}");
    }

    #[test]
    fn two_tapes_tell_no_length() {
        let mut axle = taped(&mut |_| 0.0, &Pose::default());
        axle.ride_marks.truncate(2);
        let rig = Rig { sensors: vec![], rate_hz: 50.0, hash: String::new() };
        let ride = ride_pose(&axle, 0, &rig, &[]).expect("two tapes");
        assert!(lines(&axle, 0.001).iter().all(|line| ride.length(line, axle.centre()).is_none()));
    }
}
