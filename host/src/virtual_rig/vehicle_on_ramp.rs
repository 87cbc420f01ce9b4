//! A true vehicle on a scripted test: where its chassis and its axles are at any time.
//!
//! States are solved once (mechanism, springs, contact with floor and ramp) along each phase's course; smooth curves through
//! them give the motion in between. The truth that results can be compared with what was measured.

use super::contact::OnRamp;
use super::error::VirtualRigError;
use super::pull::{self, PULL_N};
use super::script::Script;
use super::spline::Spline;
use super::springs::Sprung;
use super::stand::{Chassis, Ground};
use crate::design::drag_link::knuckle_turn;
use crate::design::{Follower, Mechanism};
use crate::geometry::{Matrix3, Pose, Vector3};
use crate::run::{Phase, PhaseSpan};
use crate::vehicle::{Axle, DragLink, Position, Vehicle};
use nalgebra::{Rotation3, Unit};

/// Part of the sweep that a bounce goes through: jacks and frames leave some.
const BOUNCE_OF_SWEEP: f64 = 0.7;
/// A jack is never quite in the middle: articulation that a bounce brings along, rad.
const BOUNCE_ROLL_RAD: f64 = 0.005;
/// States of a bounce's cycle, and how many are solved beyond each end so that the curve has no seam.
const BOUNCE_STATES: i32 = 240;
const BOUNCE_BEYOND: i32 = 12;
/// Rough ground: how often it lifts both wheels and how often one after the other, on the way, and the parts of the sweep that it takes.
const HEAVES: f64 = 5.0;
const ROLLS: f64 = 3.0;
const OBSTACLE_OF_SWEEP: f64 = 0.65;
/// States of a drive over it, and the part of the way on which it begins and ends.
const OBSTACLE_STATES: i32 = 360;
const GENTLE_PART: f64 = 0.12;
/// Ramps that a vehicle climbs, rad: 5° to 45°.
const RAMPS_RAD: [f64; 2] = [std::f64::consts::PI / 36.0, std::f64::consts::FRAC_PI_4];

/// What is done with which axle.
#[derive(Debug, Clone, PartialEq)]
pub struct Test {
    /// The axle under test, by its place in the vehicle's list.
    pub axle: usize,
    /// Phases in order.
    pub phases: Vec<Phase>,
    /// Angle of the ramp, rad.
    pub ramp_rad: f64,
}

/// Where everything is at an instant. Level frame: z up; it coincides with the floor coordinates of the axle under test at
/// ride height.
#[derive(Debug, Clone, PartialEq)]
pub struct Stance {
    /// The chassis.
    pub chassis: Chassis,
    /// Pose of each axle relative to the chassis, by its place in the vehicle's list.
    pub poses: Vec<Pose>,
}

/// The moment when the mate of the climbing wheel is about to lift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lift {
    /// Distance along the ramp from its toe to the tyre's contact, m.
    pub distance_m: f64,
    /// Ramp travel index, 1000·distance/wheelbase.
    pub index: f64,
    /// Articulation, rad, towards the climbing wheel.
    pub articulation_rad: f64,
    /// Inclination of the axle against the horizontal, rad, towards the climbing wheel.
    pub inclination_rad: f64,
}

/// The states along a phase's course: chassis (roll, pitch, x, y, z) and axle poses.
#[derive(Debug, Clone)]
struct Course {
    /// Whether the parameter counts cycles, all alike.
    cyclic: bool,
    chassis: Spline<5>,
    axles: Vec<Spline<6>>,
}

/// A vehicle in a test.
#[derive(Debug, Clone)]
pub struct VehicleOnRamp {
    script: Script,
    /// The axle under test, by its place in the vehicle's list.
    under_test: usize,
    /// One per leg of the script; none for a still.
    courses: Vec<Option<Course>>,
    ride: Stance,
    lifts: Vec<(Phase, Lift)>,
    /// Of each axle: its centre, and its wheel centreline from the axle under test.
    axles: Vec<(Vector3<f64>, f64)>,
    /// Of each axle: what steers its knuckles.
    drag_links: Vec<Option<DragLink>>,
}

impl VehicleOnRamp {
    /// The vehicle `vehicle` (the true one, whatever was drawn) in a test.
    ///
    /// # Errors
    /// [`VirtualRigError`] where a design cannot be solved, an axle has no travel, or a phase is not one that can be done.
    pub fn new(vehicle: &Vehicle, test: &Test) -> Result<Self, VirtualRigError> {
        let [gentlest, steepest] = RAMPS_RAD;
        if !(gentlest..=steepest).contains(&test.ramp_rad) {
            return Err(VirtualRigError::Ramp { ramp_rad: test.ramp_rad });
        }
        let mechanisms = mechanisms(vehicle)?;
        let solver = Solver::new(vehicle, test, &mechanisms)?;
        let ride = Stance {
            chassis: solver.ground.level(&mechanisms[test.axle].ride().pose),
            poses: mechanisms.iter().map(|m| m.ride().pose).collect(),
        };
        let mut it = Self {
            script: Script::default(),
            under_test: test.axle,
            courses: Vec::new(),
            ride,
            lifts: Vec::new(),
            axles: vehicle.axles.iter().map(|a| (a.centre(), solver.ahead_m(a))).collect(),
            drag_links: vehicle.axles.iter().map(|a| a.drag_link.clone()).collect(),
        };
        for phase in &test.phases {
            let course = match phase {
                Phase::Still => {
                    it.script.still();
                    None
                }
                Phase::Bounce => {
                    it.script.bounce();
                    Some(solver.bounce()?)
                }
                Phase::RampLeft | Phase::RampRight => {
                    let (course, rises, lift) = solver.climb(*phase)?;
                    let [from_m, to_m] = course.chassis.ends();
                    it.script.climb(*phase, from_m, to_m, |way| rises.at(way)[0]);
                    it.lifts.push((*phase, lift));
                    Some(course)
                }
                Phase::RockForward | Phase::RockBack | Phase::ShoveLeft | Phase::ShoveRight => {
                    it.script.pull(*phase);
                    Some(solver.pull(*phase)?)
                }
                Phase::Obstacle => {
                    it.script.obstacle();
                    Some(solver.obstacle()?)
                }
            };
            it.courses.push(course);
        }
        Ok(it)
    }

    /// Where everything is at `t_s`; at ride height before the script and after it.
    pub fn at(&self, t_s: f64) -> Stance {
        let here = self.script.at(t_s).and_then(|(leg, at)| Some((self.courses.get(leg)?.as_ref()?, at)));
        here.map_or_else(|| self.ride.clone(), |(course, at)| course.at(at))
    }

    /// How hard an axle is pulled at `t_s`, whichever way, N.
    pub fn pull_n(&self, axle: usize, t_s: f64) -> f64 {
        let pulled = || {
            let (leg, part) = self.script.at(t_s)?;
            let span = self.script.phases().nth(leg)?;
            pull::pulls(span.phase).then_some(part * PULL_N)
        };
        if axle == self.under_test { pulled().unwrap_or(0.0) } else { 0.0 }
    }

    /// The phases and their times, s.
    pub fn phases(&self) -> impl Iterator<Item = &PhaseSpan> {
        self.script.phases()
    }

    /// When the test ends, s.
    pub fn end_s(&self) -> f64 {
        self.script.end_s()
    }

    /// The lift of a climb, by contact geometry.
    pub fn lift(&self, phase: Phase) -> Option<&Lift> {
        self.lifts.iter().find(|(p, _)| *p == phase).map(|(_, lift)| lift)
    }

    /// An axle's centre at ride height, m, in its own floor coordinates.
    pub fn centre(&self, axle: usize) -> Vector3<f64> {
        self.axles.get(axle).map_or_else(Vector3::zeros, |(centre, _)| *centre)
    }

    /// How a knuckle is turned about its kingpin, the steering held: a point of the kingpin (m) and the turn, in the axle's axes. None
    /// where nothing steers the axle. Both knuckles turn alike, as the tie rod makes them.
    pub fn knuckle(
        &self,
        stance: &Stance,
        axle: usize,
        left: bool,
    ) -> Option<(Vector3<f64>, Rotation3<f64>)> {
        let link = self.drag_links.get(axle)?.as_ref()?;
        let (steer_rad, turn) = knuckle_turn(link, self.centre(axle), &stance.pose(axle))?;
        let point = link.kingpin_point;
        if (point.y > 0.0) == left {
            return Some((point, turn));
        }
        let upward = link.kingpin_direction * link.kingpin_direction.z.signum();
        let mirrored = |v: &Vector3<f64>| Vector3::new(v.x, -v.y, v.z);
        let axis = Unit::new_normalize(mirrored(&upward));
        Some((mirrored(&point), Rotation3::from_axis_angle(&axis, steer_rad)))
    }

    /// A chassis point of an axle's floor coordinates in the level frame, m.
    pub fn place(&self, stance: &Stance, axle: usize, point: &Vector3<f64>) -> Vector3<f64> {
        let ahead_m = self.axles.get(axle).map_or(0.0, |(_, ahead)| *ahead);
        stance.chassis.origin_m + stance.chassis.rotation() * (point + Vector3::new(ahead_m, 0.0, 0.0))
    }
}

impl Stance {
    /// Pose of an axle.
    pub fn pose(&self, axle: usize) -> Pose {
        self.poses.get(axle).copied().unwrap_or_default()
    }

    /// From an axle to the level frame.
    pub fn axle_rotation(&self, axle: usize) -> Matrix3<f64> {
        self.chassis.rotation() * self.pose(axle).rotation()
    }
}

impl Course {
    /// Through solved states: parameter, chassis, axle poses.
    fn through(cyclic: bool, states: Vec<(f64, Chassis, Vec<Pose>)>) -> Option<Self> {
        let axles = states.first().map_or(0, |(_, _, poses)| poses.len());
        let chassis = Spline::through(states.iter().map(|(at, c, _)| (*at, row(c))).collect())?;
        let axles = (0..axles)
            .map(|k| {
                let pose = |poses: &[Pose]| poses.get(k).copied().unwrap_or_default().to_array();
                Spline::through(states.iter().map(|(at, _, poses)| (*at, pose(poses))).collect())
            })
            .collect::<Option<_>>()?;
        Some(Self { cyclic, chassis, axles })
    }

    fn at(&self, at: f64) -> Stance {
        let at = if self.cyclic { at.rem_euclid(1.0) } else { at };
        let [roll_rad, pitch_rad, x, y, z] = self.chassis.at(at);
        let chassis = Chassis { roll_rad, pitch_rad, origin_m: Vector3::new(x, y, z) };
        Stance { chassis, poses: self.axles.iter().map(|a| Pose::from_array(a.at(at))).collect() }
    }
}

fn row(chassis: &Chassis) -> [f64; 5] {
    let Chassis { roll_rad, pitch_rad, origin_m } = chassis;
    [*roll_rad, *pitch_rad, origin_m.x, origin_m.y, origin_m.z]
}

fn mechanisms(vehicle: &Vehicle) -> Result<Vec<Mechanism>, VirtualRigError> {
    (0..vehicle.axles.len()).map(|k| Ok(Mechanism::new(vehicle, k)?)).collect()
}

/// Solves the states of a test's courses.
struct Solver<'a> {
    test: &'a Test,
    mechanisms: &'a [Mechanism],
    axle: &'a Axle,
    sprung: Sprung<'a>,
    other_nm_per_rad: f64,
    ground: Ground<'a>,
}

impl<'a> Solver<'a> {
    fn new(
        vehicle: &'a Vehicle,
        test: &'a Test,
        mechanisms: &'a [Mechanism],
    ) -> Result<Self, VirtualRigError> {
        let index = test.axle;
        let none = || VirtualRigError::NoAxle { index };
        let axle = vehicle.axles.get(index).ok_or_else(none)?;
        let sprung = Sprung::new(vehicle, index, mechanisms.get(index).ok_or_else(none)?)?;
        let mut others = (0..vehicle.axles.len()).zip(mechanisms).filter(|(k, _)| *k != index);
        let other_nm_per_rad = match others.next() {
            Some((k, mechanism)) => Sprung::new(vehicle, k, mechanism)?.roll_stiffness_nm_per_rad(),
            None => sprung.assumed_other_nm_per_rad(),
        };
        let ground = Ground { axle, wheelbase_m: vehicle.wheelbase_m };
        Ok(Self { test, mechanisms, axle, sprung, other_nm_per_rad, ground })
    }

    /// An axle's wheel centreline from that of the axle under test, m.
    fn ahead_m(&self, axle: &Axle) -> f64 {
        match (self.axle.position, axle.position) {
            (Position::Rear, Position::Front) => self.ground.wheelbase_m,
            (Position::Front, Position::Rear) => -self.ground.wheelbase_m,
            _ => 0.0,
        }
    }

    fn no_travel(&self, phase: Phase) -> VirtualRigError {
        VirtualRigError::NoTravel { axle: self.axle.name.clone(), phase }
    }

    /// Poses of all axles: the axle under test as asked for, any other at its ride height against the chassis' roll.
    fn poses(
        &self,
        followers: &mut [Follower<'_>],
        heave_m: f64,
        roll_rad: f64,
        chassis_roll_rad: f64,
    ) -> Result<Vec<Pose>, VirtualRigError> {
        let each = followers.iter_mut().enumerate().map(|(k, follower)| {
            let (heave_m, roll_rad) =
                if k == self.test.axle { (heave_m, roll_rad) } else { (0.0, -chassis_roll_rad) };
            Ok(follower.go(heave_m, roll_rad)?.pose)
        });
        each.collect()
    }

    fn followers(&self) -> Vec<Follower<'_>> {
        self.mechanisms.iter().map(Follower::new).collect()
    }

    /// One cycle of a bounce, counted from 0 to 1.
    fn bounce(&self) -> Result<Course, VirtualRigError> {
        let sweep = &self.axle.sweep;
        let (up_m, down_m) = (BOUNCE_OF_SWEEP * sweep.up_m, BOUNCE_OF_SWEEP * sweep.down_m);
        if up_m + down_m <= 0.0 {
            return Err(self.no_travel(Phase::Bounce));
        }
        let mut followers = self.followers();
        let mut states = Vec::new();
        for k in -BOUNCE_BEYOND..=BOUNCE_STATES + BOUNCE_BEYOND {
            let cycle = f64::from(k) / f64::from(BOUNCE_STATES);
            let (sin, cos) = (std::f64::consts::TAU * cycle).sin_cos();
            // Up to `up` a quarter into the cycle, down to `-down` after three quarters.
            let heave_m =
                0.5 * (up_m + down_m) * sin + 0.25 * (up_m - down_m) * (1.0 - (2.0 * cos * cos - 1.0));
            let roll_rad = BOUNCE_ROLL_RAD * sin;
            let pose = self.poses(&mut followers, heave_m, roll_rad, 0.0)?;
            let chassis = self.ground.level(&pose[self.test.axle]);
            states.push((cycle, chassis, self.poses(&mut followers, heave_m, roll_rad, chassis.roll_rad)?));
        }
        Course::through(true, states).ok_or_else(|| self.no_travel(Phase::Bounce))
    }

    /// A drive over rough ground by the part of the way: heave and articulation come and go each in its own time.
    fn obstacle(&self) -> Result<Course, VirtualRigError> {
        let sweep = &self.axle.sweep;
        let middle_m = 0.5 * (sweep.up_m - sweep.down_m);
        let half_m = 0.5 * (sweep.up_m + sweep.down_m);
        let mut followers = self.followers();
        let mut states = Vec::new();
        for k in 0..=OBSTACLE_STATES {
            let way = f64::from(k) / f64::from(OBSTACLE_STATES);
            let near_end = (way.min(1.0 - way) / GENTLE_PART).min(1.0);
            let size = OBSTACLE_OF_SWEEP * near_end * near_end * (3.0 - 2.0 * near_end);
            let turns = std::f64::consts::TAU * way;
            let heave_m = size * (middle_m + half_m * (HEAVES * turns).sin());
            let roll_rad = size * sweep.roll_rad * (ROLLS * turns).sin();
            let pose = self.poses(&mut followers, heave_m, roll_rad, 0.0)?;
            let chassis = self.ground.level(&pose[self.test.axle]);
            states.push((way, chassis, self.poses(&mut followers, heave_m, roll_rad, chassis.roll_rad)?));
        }
        Course::through(false, states).ok_or_else(|| self.no_travel(Phase::Obstacle))
    }

    /// A pull by the part of its load.
    fn pull(&self, phase: Phase) -> Result<Course, VirtualRigError> {
        let none = || self.no_travel(phase);
        let under_load = self
            .mechanisms
            .get(self.test.axle)
            .and_then(|m| pull::poses(self.axle, m, phase))
            .ok_or_else(none)?;
        let ride = self.poses(&mut self.followers(), 0.0, 0.0, 0.0)?;
        let states = under_load.into_iter().map(|(part, pose)| {
            let mut poses = ride.clone();
            poses[self.test.axle] = pose;
            (part, self.ground.level(&pose), poses)
        });
        Course::through(false, states.collect()).ok_or_else(none)
    }

    /// A climb by the way along the ramp, the climbing wheel's rise by the same, and the lift.
    fn climb(&self, phase: Phase) -> Result<(Course, Spline<1>, Lift), VirtualRigError> {
        let side = if phase == Phase::RampLeft { 1.0 } else { -1.0 };
        let ramp = OnRamp {
            ramp_rad: self.test.ramp_rad,
            track_m: self.axle.track_m,
            tyre_radius_m: self.axle.tyre_radius_m,
        };
        let none = || self.no_travel(phase);
        let way_up = self.sprung.way_up(side, self.other_nm_per_rad).ok_or_else(none)?;
        let mut followers = self.followers();
        let (mut states, mut rises, mut lift, mut start_x_m) = (Vec::new(), Vec::new(), None, None);
        for (k, rest) in way_up.states.iter().enumerate() {
            let poses = self.poses(&mut followers, rest.heave_m, rest.roll_rad, rest.chassis_roll_rad)?;
            let pose = &poses[self.test.axle];
            let stand = self.ground.ramp(&ramp, side, pose, rest.chassis_roll_rad);
            let (mut chassis, touch) = stand.ok_or_else(none)?;
            chassis.origin_m.x -= *start_x_m.get_or_insert(chassis.origin_m.x);
            if k == way_up.lift {
                let up = (chassis.rotation() * pose.rotation() * Vector3::y()).z;
                lift = Some(Lift {
                    distance_m: touch.along_m,
                    index: 1000.0 * touch.along_m / self.ground.wheelbase_m,
                    articulation_rad: side * rest.roll_rad,
                    inclination_rad: (side * up).asin(),
                });
            }
            rises.push((touch.along_m, [touch.climbing_centre_m[1] - self.axle.tyre_radius_m]));
            states.push((touch.along_m, chassis, poses));
        }
        let course = Course::through(false, states).ok_or_else(none)?;
        Ok((course, Spline::through(rises).ok_or_else(none)?, lift.ok_or_else(none)?))
    }
}
