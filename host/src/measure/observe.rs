//! Residuals of one axle's sensors at a pose, with their derivatives by the pose and by every nuisance.
//!
//! Scalar sensors are read against the still: `h(q) − h(0) − (m − m_still)`. An axle unit and a chassis unit give
//! `R(q)·f_axle − f_chassis − a_rel`, where common acceleration cancels and `a_rel` is what moves one unit against the other.

use super::instants::{Instant, SensorInstant, Smoothed, UnitSmoothed};
use super::nuisance::{Nuisance, What};
use super::scalar::{ReadingErrors, ScalarObserver};
use super::still::{ChannelStill, SensorStill};
use crate::geometry::placed::PlacedBody;
use crate::geometry::{DMatrix, DVector, Matrix3, Pose, Vector3};
use crate::rig::inertial::{Levelled, Levelling, UnitErrors};
use crate::rig::model::Model;
use crate::rig::{Carrier, Inertial, Kind, Reading, Rig};
use crate::run::Timing;

/// Standard deviation of the floor's slope under the still, rad: 0.5°.
pub const FLOOR_SLOPE_U_RAD: f64 = 0.5 * std::f64::consts::PI / 180.0;

/// What remains of accelerations that the quasi-static correction does not see (a tyre that slips, an engine that shakes),
/// per component of one instant, m/s². From memory.
pub const UNMODELLED_ACCELERATION: f64 = 0.01;

/// Acceleration of one inertial unit against the other at an instant, and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RelativeAcceleration {
    /// m/s², chassis frame.
    pub value: Vector3<f64>,
    /// Standard uncertainty per component beyond [`UNMODELLED_ACCELERATION`], m/s².
    pub u: f64,
}

impl RelativeAcceleration {
    /// Nothing is known but that tests are slow: a heave of 100 mm at 8 s a cycle makes 0.06 m/s².
    pub const SLOW: Self = Self { value: Vector3::new(0.0, 0.0, 0.0), u: 0.1 };
}

/// Readings of the still that count as independent at the most: slow drifts do not average away.
pub const INDEPENDENT_STILL_READINGS: usize = 100;

/// An inertial unit with its levelling, and what each of its errors would do to it.
#[derive(Debug, Clone, PartialEq)]
struct UnitObserver {
    sensor: usize,
    unit: Inertial,
    levelling: Levelling,
    sigma: f64,
    errors: Vec<(usize, UnitErrors)>,
    time: usize,
    /// What the run has taught of its errors.
    learnt: UnitErrors,
    learnt_time_s: f64,
    /// How it reads with what is learnt, and with one standard deviation of each error on top.
    levelled: Levelled,
    changed: Vec<Levelled>,
}

/// The angular rate of a body as its unit says, and how well that is known.
#[derive(Debug, Clone, Copy)]
pub(super) struct UnitRate {
    /// In the body's axes, rad/s.
    pub rate: Vector3<f64>,
    /// Standard deviation of its noise, rad/s.
    pub noise: f64,
    /// Standard deviation of the unit's heading, rad.
    pub heading_u_rad: f64,
    /// Standard deviation of the accelerometer's bias, which levels the unit, m/s².
    pub accel_bias_u: f64,
}

/// All that one axle's sensors say, made ready for poses.
#[derive(Debug, Clone, PartialEq)]
pub struct Observer {
    centre: Vector3<f64>,
    scalars: Vec<ScalarObserver>,
    units: Vec<UnitObserver>,
    /// Pairs (axle unit, chassis unit) by place in `units`.
    pairs: Vec<(usize, usize)>,
    nuisances: Vec<Nuisance>,
    time_u_s: f64,
}

/// Residuals at a pose.
#[derive(Debug, Clone)]
pub struct Rows {
    /// Residuals, SI.
    pub residuals: DVector<f64>,
    /// Derivatives by the pose, m × 6.
    pub jacobian: DMatrix<f64>,
    /// Variances of the readings' noise.
    pub noise: DVector<f64>,
    /// Change of each residual for one standard deviation of each nuisance, m × K.
    pub effects: DMatrix<f64>,
}

impl Observer {
    /// The sensors of axle `axle` that have data; `centre` is the axle centre at ride height, `spans` the least and greatest
    /// reading of each sensor over the run.
    pub fn new(
        rig: &Rig,
        axle: usize,
        centre: Vector3<f64>,
        stills: &[Option<SensorStill>],
        spans: &[[f64; 2]],
        timing: Timing,
    ) -> Self {
        let time_u_s = match timing {
            Timing::Own => 0.0,
            Timing::SharedRow { period_s } => period_s / 12f64.sqrt(),
        };
        let mut observer =
            Self { centre, scalars: vec![], units: vec![], pairs: vec![], nuisances: vec![], time_u_s };
        for axis in 0..2 {
            observer.nuisances.push(Nuisance {
                sensor: None,
                what: What::FloorSlope(axis),
                u: FLOOR_SLOPE_U_RAD,
            });
        }
        for (index, sensor) in rig.sensors.iter().enumerate().filter(|(_, s)| s.axle == axle) {
            match (&sensor.kind, stills.get(index).and_then(Option::as_ref)) {
                (Kind::Inertial(unit), Some(SensorStill::Unit { levelling, accel_scatter, count })) => {
                    observer.add_unit(index, unit, levelling, *accel_scatter, *count);
                }
                (kind, Some(SensorStill::Scalar(still))) => {
                    if let (Some(model), Some(reading)) = (Model::of(kind), sensor.reading()) {
                        observer.add_scalar(index, &sensor.name, model, reading, still, spans[index]);
                    }
                }
                _ => {}
            }
        }
        let of = |carrier| {
            observer.units.iter().enumerate().filter(move |(_, u)| u.unit.carrier == carrier).map(|(k, _)| k)
        };
        if let Some(chassis) = of(Carrier::Chassis).next() {
            observer.pairs = of(Carrier::Axle).map(|axle| (axle, chassis)).collect();
        }
        observer
    }

    fn add_scalar(
        &mut self,
        sensor: usize,
        name: &str,
        model: Model,
        reading: &Reading,
        still: &ChannelStill,
        span: [f64; 2],
    ) {
        let first = self.nuisances.len();
        let sigma = reading.noise.max(still.scatter);
        let ride_body = PlacedBody::new(&Pose::default(), self.centre);
        let scalar = ScalarObserver {
            sensor,
            name: name.to_string(),
            ride: model.value(&ride_body),
            ride_ends: model.end_gradients(&ride_body),
            model,
            reading: reading.clone(),
            mounts_m: [reading.mount_m; 2],
            zero: still.mean,
            zero_u: mean_u(sigma, still.count).hypot(reading.start_u()),
            sigma,
            span: reading.range.unwrap_or(span),
            first,
            learnt: ReadingErrors::expected(reading),
        };
        let nuisance = |(what, u)| Nuisance { sensor: Some(sensor), what, u };
        self.nuisances.extend(scalar.nuisances(self.time_u_s).into_iter().map(nuisance));
        self.scalars.push(scalar);
    }

    fn add_unit(
        &mut self,
        sensor: usize,
        unit: &Inertial,
        levelling: &Levelling,
        scatter: f64,
        count: usize,
    ) {
        let sigma = unit.accel_noise.max(scatter);
        let still_u = mean_u(sigma, count);
        let mut errors: Vec<(usize, UnitErrors)> = (0..2)
            .map(|axis| {
                let mut e = UnitErrors::default();
                e.slope_rad[axis] = FLOOR_SLOPE_U_RAD;
                (axis, e)
            })
            .collect();
        let mut own = vec![(
            What::Heading,
            unit.heading_u_rad,
            UnitErrors { heading_rad: unit.heading_u_rad, ..Default::default() },
        )];
        for axis in 0..3 {
            let along = |size: f64| Vector3::from_fn(|k, _| if k == axis { size } else { 0.0 });
            let (scale, still, bias) = (along(unit.scale_u), along(still_u), along(unit.accel_bias_u));
            own.push((What::AccelScale(axis), unit.scale_u, UnitErrors { scale, ..Default::default() }));
            own.push((What::AccelStill(axis), still_u, UnitErrors { still, ..Default::default() }));
            own.push((What::AccelBias(axis), unit.accel_bias_u, UnitErrors { bias, ..Default::default() }));
        }
        for (what, u, error) in own {
            errors.push((self.nuisances.len(), error));
            self.nuisances.push(Nuisance { sensor: Some(sensor), what, u });
        }
        let time = self.nuisances.len();
        self.nuisances.push(Nuisance { sensor: Some(sensor), what: What::Time, u: self.time_u_s });
        let mut observer = UnitObserver {
            sensor,
            unit: unit.clone(),
            levelling: levelling.clone(),
            sigma,
            errors,
            time,
            learnt: UnitErrors::default(),
            learnt_time_s: 0.0,
            levelled: levelling.levelled(unit, &UnitErrors::default()),
            changed: Vec::new(),
        };
        observer.level();
        self.units.push(observer);
    }

    /// The same sensors with nuisances at `theta` standard deviations from what the file says, K.
    pub fn corrected(&self, theta: &DVector<f64>) -> Self {
        let mut observer = self.clone();
        let ride = PlacedBody::new(&Pose::default(), self.centre);
        for (scalar, plain) in observer.scalars.iter_mut().zip(&self.scalars) {
            scalar.learn(plain, theta, self.time_u_s, &ride);
        }
        for (unit, plain) in observer.units.iter_mut().zip(&self.units) {
            unit.learnt = plain.errors.iter().fold(plain.learnt, |sum, (k, e)| sum.plus(e, theta[*k]));
            unit.learnt_time_s = plain.learnt_time_s + theta[plain.time] * self.time_u_s;
            unit.level();
        }
        observer
    }

    /// The same sensors, one end of one of the scalar ones (by place among them; chassis end 0, axle end 1) known no better
    /// than `mount_m`.
    pub(super) fn with_end_anywhere(&self, scalar: usize, end: usize, mount_m: f64) -> Self {
        let mut observer = self.clone();
        if let Some(scalar) = observer.scalars.get_mut(scalar) {
            scalar.mounts_m[end] = scalar.mounts_m[end].hypot(mount_m);
            for nuisance in &mut observer.nuisances[scalar.first + 3 * end..][..3] {
                nuisance.u = scalar.mounts_m[end];
            }
        }
        observer
    }

    /// Every nuisance, in the order of the columns of [`Rows::effects`].
    pub fn nuisances(&self) -> &[Nuisance] {
        &self.nuisances
    }

    /// Whether any sensor can say anything of the pose.
    pub fn is_blind(&self) -> bool {
        self.scalars.is_empty() && self.pairs.is_empty()
    }

    /// Its scalar sensors.
    pub(super) fn scalars(&self) -> &[ScalarObserver] {
        &self.scalars
    }

    /// The axle centre at ride height, m.
    pub fn centre(&self) -> Vector3<f64> {
        self.centre
    }

    /// Residuals and derivatives by the pose only, for the solver. `against` is `a_rel`.
    pub fn residuals(
        &self,
        instant: &Instant,
        against: &RelativeAcceleration,
        pose: &Pose,
    ) -> (DVector<f64>, DMatrix<f64>) {
        let body = PlacedBody::new(pose, self.centre);
        let rows = self.row_count(instant);
        let (mut r, mut j) = (DVector::zeros(rows), DMatrix::zeros(rows, 6));
        let mut row = 0;
        for (scalar, smoothed) in self.scalars_at(instant) {
            let (h, gradient) = scalar.model.value_and_gradient(&body);
            r[row] = h - scalar.ride - scalar.change(smoothed);
            j.row_mut(row).copy_from(&gradient.transpose());
            row += 1;
        }
        for (axle, axle_at, chassis, chassis_at) in self.pairs_at(instant) {
            let (f_axle, f_chassis) = (axle.force(axle_at), chassis.force(chassis_at));
            r.rows_mut(row, 3).copy_from(&(body.rotation() * f_axle - f_chassis - against.value));
            j.view_mut((row, 0), (3, 6)).copy_from(&body.direction_jacobian(&f_axle));
            row += 3;
        }
        (r, j)
    }

    /// Residuals with everything that their uncertainty needs.
    pub fn rows(&self, instant: &Instant, against: &RelativeAcceleration, pose: &Pose) -> Rows {
        let body = PlacedBody::new(pose, self.centre);
        let (residuals, jacobian) = self.residuals(instant, against, pose);
        let mut noise = DVector::zeros(residuals.len());
        let mut effects = DMatrix::zeros(residuals.len(), self.nuisances.len());
        let mut row = 0;
        for (scalar, smoothed) in self.scalars_at(instant) {
            noise[row] = scalar.variance(smoothed);
            for (k, effect) in scalar.effects(&body, smoothed, self.time_u_s).into_iter().enumerate() {
                effects[(row, scalar.first + k)] = effect;
            }
            row += 1;
        }
        for (axle, axle_at, chassis, chassis_at) in self.pairs_at(instant) {
            let variance = axle.sigma.powi(2) / axle_at.count as f64
                + chassis.sigma.powi(2) / chassis_at.count as f64
                + UNMODELLED_ACCELERATION.powi(2)
                + against.u.powi(2);
            noise.rows_mut(row, 3).fill(variance);
            // Effects are taken at the common force that both units together say, as for scalar sensors at the pose.
            let in_chassis = body.rotation() * axle.force(axle_at) - against.value;
            let common = (in_chassis + chassis.force(chassis_at)) * 0.5;
            let on_axle = body.rotation().tr_mul(&(common + against.value));
            let mut add =
                |unit: &UnitObserver, at: &UnitSmoothed, force: Vector3<f64>, to_chassis: Matrix3<f64>| {
                    for (column, change) in unit.force_changes(&force) {
                        let mut cell = effects.view_mut((row, column), (3, 1));
                        cell += to_chassis * change;
                    }
                    let late = -(unit.levelled.matrix * at.force_slope) * self.time_u_s;
                    effects.view_mut((row, unit.time), (3, 1)).copy_from(&(to_chassis * late));
                };
            add(axle, axle_at, on_axle, *body.rotation());
            add(chassis, chassis_at, common, -Matrix3::identity());
            row += 3;
        }
        Rows { residuals, jacobian, noise, effects }
    }

    /// Whose each row is, in the order of [`Rows`]: a sensor of the rig, and an axis of the chassis where an axle's unit speaks
    /// against the chassis' unit.
    pub fn sayings(&self, instant: &Instant) -> Vec<(usize, Option<usize>)> {
        let scalars = self.scalars_at(instant).map(|(scalar, _)| (scalar.sensor, None));
        let pairs =
            self.pairs_at(instant).flat_map(|(axle, ..)| (0..3).map(|axis| (axle.sensor, Some(axis))));
        scalars.chain(pairs).collect()
    }

    /// Angular rate of the chassis in its own axes, rad/s, where a chassis unit says.
    pub fn chassis_rate(&self, instant: &Instant) -> Option<Vector3<f64>> {
        let (_, chassis) = self.pairs.first()?;
        let unit = &self.units[*chassis];
        unit_at(unit, instant).map(|at| unit.levelling.rate(&unit.unit, &at.rate))
    }

    /// Whether a body carries a unit with data.
    pub(super) fn has(&self, carrier: Carrier) -> bool {
        self.units.iter().any(|u| u.unit.carrier == carrier)
    }

    /// What the gyro of the unit on a body says at an instant.
    pub(super) fn unit_rate(&self, carrier: Carrier, instant: &Instant) -> Option<UnitRate> {
        let unit = self.units.iter().find(|u| u.unit.carrier == carrier)?;
        let at = unit_at(unit, instant)?;
        Some(UnitRate {
            rate: unit.levelling.rate(&unit.unit, &at.rate),
            noise: unit.unit.gyro_noise / (at.count as f64).sqrt(),
            heading_u_rad: unit.unit.heading_u_rad,
            accel_bias_u: unit.unit.accel_bias_u,
        })
    }

    /// Where the units of the first pair sit: on the axle and on the chassis, m.
    pub fn unit_places(&self) -> Option<[Vector3<f64>; 2]> {
        let (axle, chassis) = self.pairs.first()?;
        Some([self.units[*axle].unit.at, self.units[*chassis].unit.at])
    }

    /// Up direction in the axle's axes (unit vector), and its change for one standard deviation of each nuisance, where an
    /// axle unit says.
    pub fn axle_up(&self, instant: &Instant) -> Option<(Vector3<f64>, DMatrix<f64>)> {
        let (unit, at) = self
            .units
            .iter()
            .filter(|u| u.unit.carrier == Carrier::Axle)
            .find_map(|u| unit_at(u, instant).map(|at| (u, at)))?;
        let nominal = unit.force(at);
        let mut effects = DMatrix::zeros(3, self.nuisances.len());
        for (column, change) in unit.force_changes(&nominal) {
            effects.set_column(column, &((nominal + change).normalize() - nominal.normalize()));
        }
        Some((nominal.normalize(), effects))
    }

    fn row_count(&self, instant: &Instant) -> usize {
        self.scalars_at(instant).count() + 3 * self.pairs_at(instant).count()
    }

    fn scalars_at<'a>(
        &'a self,
        instant: &'a Instant,
    ) -> impl Iterator<Item = (&'a ScalarObserver, &'a Smoothed)> {
        self.scalars.iter().filter_map(|s| match instant.sensors.get(s.sensor) {
            Some(SensorInstant::Scalar(smoothed)) => Some((s, smoothed)),
            _ => None,
        })
    }

    fn pairs_at<'a>(
        &'a self,
        instant: &'a Instant,
    ) -> impl Iterator<Item = (&'a UnitObserver, &'a UnitSmoothed, &'a UnitObserver, &'a UnitSmoothed)> {
        self.pairs.iter().filter_map(|(axle, chassis)| {
            let (axle, chassis) = (&self.units[*axle], &self.units[*chassis]);
            Some((axle, unit_at(axle, instant)?, chassis, unit_at(chassis, instant)?))
        })
    }
}

/// Standard uncertainty of a still's mean.
fn mean_u(sigma: f64, count: usize) -> f64 {
    sigma / (count.clamp(1, INDEPENDENT_STILL_READINGS) as f64).sqrt()
}

fn unit_at<'a>(unit: &UnitObserver, instant: &'a Instant) -> Option<&'a UnitSmoothed> {
    match instant.sensors.get(unit.sensor) {
        Some(SensorInstant::Unit(at)) => Some(at),
        _ => None,
    }
}

impl UnitObserver {
    /// Makes ready for many readings what the learnt errors mean.
    fn level(&mut self) {
        let level = |errors: &UnitErrors| self.levelling.levelled(&self.unit, errors);
        self.changed = self.errors.iter().map(|(_, error)| level(&self.learnt.plus(error, 1.0))).collect();
        self.levelled = level(&self.learnt);
    }

    /// Specific force in the axes of the carrying body, m/s², as far as the unit's errors are known.
    fn force(&self, at: &UnitSmoothed) -> Vector3<f64> {
        self.levelled.force(&(at.force - at.force_slope * self.learnt_time_s))
    }

    /// Change of a specific force for one standard deviation of each of the unit's errors, by column of the nuisances.
    fn force_changes(&self, force: &Vector3<f64>) -> impl Iterator<Item = (usize, Vector3<f64>)> + '_ {
        let raw = self.levelled.raw(force);
        let force = *force;
        self.errors.iter().zip(&self.changed).map(move |((k, _), changed)| (*k, changed.force(&raw) - force))
    }
}
