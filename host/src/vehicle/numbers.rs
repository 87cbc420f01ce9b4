//! The characteristic numbers: one vocabulary and one set of formulas for designed and measured motion alike.
//!
//! Formulas are textbook vehicle dynamics in ISO 8855:2011 axes (z up). Everything is in the chassis frame.

use super::{Axle, Position, TorqueReaction, Vehicle};
use crate::geometry::pose::{COORDINATES, Pose};
use serde::{Serialize, Serializer};

macro_rules! keys {
    ($($variant:ident $text:literal $label:literal $unit:ident;)*) => {
        /// A characteristic number; the text form ends in its SI unit.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Key { $(#[doc = $label] $variant),* }

        impl Key {
            /// Every key, in the order in which results list them.
            pub const ALL: [Key; keys!(@count $($variant)*)] = [$(Key::$variant),*];

            /// The key as files and JSON write it.
            pub fn as_str(self) -> &'static str {
                match self { $(Key::$variant => $text),* }
            }

            /// What a builder calls it.
            pub fn label(self) -> &'static str {
                match self { $(Key::$variant => $label),* }
            }

            /// Its unit.
            pub fn unit(self) -> Unit {
                match self { $(Key::$variant => Unit::$unit),* }
            }
        }
    };
    (@count $($x:ident)*) => { <[()]>::len(&[$(keys!(@unit $x)),*]) };
    (@unit $x:ident) => { () };
}

keys! {
    SideViewInstantCentreX "side_view_instant_centre_x_m" "side-view instant centre, ahead of the axle" Metre;
    SideViewInstantCentreZ "side_view_instant_centre_z_m" "side-view instant centre, height" Metre;
    SideViewDirection "side_view_direction_rad" "side-view direction (instant centre at infinity)" Radian;
    PitchPerHeave "pitch_per_heave_rad_per_m" "pitch per bump" RadianPerMetre;
    ContactForwardPerHeave "contact_forward_per_heave" "contact patch forward per bump" Ratio;
    AntiSquat "anti_squat_percent" "anti-squat" Percent;
    AntiLiftBrake "anti_lift_brake_percent" "anti-lift under brakes" Percent;
    AntiLiftDrive "anti_lift_drive_percent" "anti-lift under drive" Percent;
    AntiDive "anti_dive_percent" "anti-dive" Percent;
    RollCentreZ "roll_centre_z_m" "roll centre height" Metre;
    RollAxisRise "roll_axis_rise_rad" "roll axis rise" Radian;
    RollAxisScrewPitch "roll_axis_screw_pitch_m_per_rad" "roll axis screw pitch" MetrePerRadian;
    RollSteer "roll_steer_rad_per_rad" "roll steer" RadianPerRadian;
    LateralPerHeave "lateral_per_heave" "sideways per bump" Ratio;
    PinionAngle "pinion_angle_rad" "pinion angle" Radian;
    Castor "castor_rad" "castor" Radian;
    WheelbaseChangeLeft "wheelbase_change_left_m" "wheelbase change, left wheel" Metre;
    WheelbaseChangeRight "wheelbase_change_right_m" "wheelbase change, right wheel" Metre;
    TrackShiftLeft "track_shift_left_m" "sideways shift, left wheel" Metre;
    TrackShiftRight "track_shift_right_m" "sideways shift, right wheel" Metre;
    HeaveRate "heave_rate_n_per_m" "heave rate" NewtonPerMetre;
    RollRate "roll_rate_nm_per_rad" "roll rate" NewtonMetrePerRadian;
    BumpSteerHeave "bump_steer_rad_per_m" "bump steer per bump" RadianPerMetre;
    BumpSteerRoll "bump_steer_rad_per_rad" "bump steer per roll" RadianPerRadian;
}

/// Unit of a number in SI.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// m
    Metre,
    /// rad
    Radian,
    /// rad/m
    RadianPerMetre,
    /// m/rad
    MetrePerRadian,
    /// rad/rad
    RadianPerRadian,
    /// m/m
    Ratio,
    /// %
    Percent,
    /// N/m
    NewtonPerMetre,
    /// N·m/rad
    NewtonMetrePerRadian,
}

impl Key {
    /// The key that this text names.
    pub fn parse(text: &str) -> Option<Key> {
        Key::ALL.into_iter().find(|k| k.as_str() == text)
    }

    /// Whether an axle at this position has this number at all.
    pub fn applies_to(self, position: Position) -> bool {
        match self {
            Key::AntiSquat | Key::AntiLiftBrake => position == Position::Rear,
            Key::AntiLiftDrive | Key::AntiDive => position == Position::Front,
            Key::Castor | Key::BumpSteerHeave | Key::BumpSteerRoll => position == Position::Front,
            _ => true,
        }
    }
}

impl Key {
    /// Whether it is zero at ride height by its definition, so that only its course over the travel says anything.
    pub fn zero_at_ride(self) -> bool {
        use Key::{TrackShiftLeft, TrackShiftRight, WheelbaseChangeLeft, WheelbaseChangeRight};
        matches!(self, WheelbaseChangeLeft | WheelbaseChangeRight | TrackShiftLeft | TrackShiftRight)
    }
}

impl Serialize for Key {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.as_str())
    }
}

/// A value per key; `None` where the state has no such number.
#[derive(Debug, Clone, PartialEq)]
pub struct Numbers([Option<f64>; Key::ALL.len()]);

impl Default for Numbers {
    fn default() -> Self {
        Self([None; Key::ALL.len()])
    }
}

impl Numbers {
    /// The value of `key`, SI.
    pub fn get(&self, key: Key) -> Option<f64> {
        self.0[key as usize]
    }

    /// Sets the value of `key`; a value that is not finite counts as none.
    pub fn set(&mut self, key: Key, value: f64) {
        self.0[key as usize] = value.is_finite().then_some(value);
    }

    /// Every key with its value.
    pub fn iter(&self) -> impl Iterator<Item = (Key, Option<f64>)> + '_ {
        Key::ALL.into_iter().map(|k| (k, self.get(k)))
    }
}

/// Below this pitch per heave the side-view instant centre counts as lying at infinity, rad/m.
pub const PARALLEL_RAD_PER_M: f64 = 1e-6;

/// Articulation at which flex steer is told, rad (10°).
pub const FLEX_RAD: f64 = 10.0 * std::f64::consts::PI / 180.0;

/// What the formulas need to know of an axle and its vehicle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AxleFacts {
    /// Front or rear.
    pub position: Position,
    /// m
    pub track_m: f64,
    /// m
    pub tyre_radius_m: f64,
    /// m
    pub wheelbase_m: f64,
    /// m
    pub cg_height_m: f64,
    /// 1
    pub drive_share: f64,
    /// 1
    pub brake_share: f64,
    /// Reaction of drive torque.
    pub drive_torque: TorqueReaction,
    /// Reaction of brake torque.
    pub brake_torque: TorqueReaction,
    /// rad at ride height
    pub pinion_rad: Option<f64>,
    /// rad at ride height
    pub castor_rad: Option<f64>,
}

impl AxleFacts {
    /// The facts of one axle.
    pub fn of(vehicle: &Vehicle, axle: &Axle) -> Self {
        Self {
            position: axle.position,
            track_m: axle.track_m,
            tyre_radius_m: axle.tyre_radius_m,
            wheelbase_m: vehicle.wheelbase_m,
            cg_height_m: vehicle.cg_height_m,
            drive_share: axle.drive_share,
            brake_share: axle.brake_share,
            drive_torque: axle.drive_torque,
            brake_torque: axle.brake_torque,
            pinion_rad: axle.pinion_rad,
            castor_rad: axle.castor_rad,
        }
    }
}

/// The motion at a state: the pose and its derivatives by heave (at constant roll) and by roll (at constant heave).
/// `by_heave[2] = 1`, `by_heave[3] = 0`, `by_roll[2] = 0`, `by_roll[3] = 1`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion {
    /// The pose.
    pub pose: Pose,
    /// Coordinates per metre of heave.
    pub by_heave: [f64; COORDINATES],
    /// Coordinates per radian of roll.
    pub by_roll: [f64; COORDINATES],
}

/// `s = v_x − η·r·ω_y`: how far the contact patch moves forward per unit of bump.
fn contact_path(v_x: f64, omega_y: f64, tyre_radius_m: f64, reaction: TorqueReaction) -> f64 {
    let eta = match reaction {
        TorqueReaction::Housing => 1.0,
        TorqueReaction::Chassis => 0.0,
    };
    v_x - eta * tyre_radius_m * omega_y
}

/// How far forward the contact patches move per roll, m/rad: `x′r − η·r·pitch′r`. A drive force does that much work on roll.
pub fn contact_forward_per_roll(facts: &AxleFacts, motion: &Motion) -> f64 {
    let roll = motion.pose.twist(motion.by_roll);
    contact_path(roll.velocity.x, roll.omega.y, facts.tyre_radius_m, facts.drive_torque)
}

/// All numbers of a motion that need no springs and no steering linkage.
pub fn at_state(facts: &AxleFacts, motion: &Motion) -> Numbers {
    let mut n = Numbers::default();
    heave_numbers(facts, motion, &mut n);
    roll_numbers(facts, motion, &mut n);
    position_numbers(facts, motion, &mut n);
    n
}

fn heave_numbers(facts: &AxleFacts, motion: &Motion, n: &mut Numbers) {
    let heave = motion.pose.twist(motion.by_heave);
    let (v_x, omega_y) = (heave.velocity.x, heave.omega.y);
    n.set(Key::PitchPerHeave, omega_y);
    if omega_y.abs() < PARALLEL_RAD_PER_M {
        n.set(Key::SideViewDirection, (-v_x).atan());
    } else {
        n.set(Key::SideViewInstantCentreX, motion.pose.x_m + 1.0 / omega_y);
        n.set(Key::SideViewInstantCentreZ, facts.tyre_radius_m + motion.pose.z_m - v_x / omega_y);
    }
    let drive = contact_path(v_x, omega_y, facts.tyre_radius_m, facts.drive_torque);
    let brake = contact_path(v_x, omega_y, facts.tyre_radius_m, facts.brake_torque);
    n.set(Key::ContactForwardPerHeave, drive);
    let per_share = 100.0 * facts.wheelbase_m / facts.cg_height_m;
    match facts.position {
        Position::Rear => {
            n.set(Key::AntiSquat, -per_share * drive * facts.drive_share);
            n.set(Key::AntiLiftBrake, -per_share * brake * facts.brake_share);
        }
        Position::Front => {
            n.set(Key::AntiLiftDrive, per_share * drive * facts.drive_share);
            n.set(Key::AntiDive, per_share * brake * facts.brake_share);
        }
    }
    n.set(Key::LateralPerHeave, heave.velocity.y);
}

fn roll_numbers(facts: &AxleFacts, motion: &Motion, n: &mut Numbers) {
    let roll = motion.pose.twist(motion.by_roll);
    let (v, w) = (roll.velocity, roll.omega);
    // Where a side force makes no roll: the height of no lateral velocity (ISO 8855 roll centre, by virtual work).
    n.set(Key::RollCentreZ, facts.tyre_radius_m + motion.pose.z_m + v.y / w.x);
    n.set(Key::RollAxisRise, w.z.atan2(w.x));
    n.set(Key::RollAxisScrewPitch, w.dot(&v) / w.norm_squared());
    n.set(Key::RollSteer, steer_per_roll(motion));
}

/// `dδ/droll` with `δ = yaw − atan(sin pitch · tan roll)`, by the chain rule.
fn steer_per_roll(motion: &Motion) -> f64 {
    let (pitch, roll) = (motion.pose.pitch_rad, motion.pose.roll_rad);
    let [_, _, _, roll_rate, pitch_rate, yaw_rate] = motion.by_roll;
    let a = pitch.sin() * roll.tan();
    let a_rate = pitch.cos() * pitch_rate * roll.tan() + pitch.sin() * roll_rate / roll.cos().powi(2);
    yaw_rate - a_rate / (1.0 + a * a)
}

fn position_numbers(facts: &AxleFacts, motion: &Motion, n: &mut Numbers) {
    let pose = &motion.pose;
    if let Some(pinion) = facts.pinion_rad {
        let sign = if facts.position == Position::Rear { -1.0 } else { 1.0 };
        n.set(Key::PinionAngle, pinion + sign * pose.pitch_rad);
    }
    if let (Some(castor), Position::Front) = (facts.castor_rad, facts.position) {
        n.set(Key::Castor, castor - pose.pitch_rad);
    }
    // Wheel centres c ± (0, track/2, 0): forward and sideways movement of each against ride height.
    let spin = pose.rotation().column(1) * (0.5 * facts.track_m);
    let half = 0.5 * facts.track_m;
    let forward = match facts.position {
        Position::Front => 1.0,
        Position::Rear => -1.0,
    };
    n.set(Key::WheelbaseChangeLeft, forward * (pose.x_m + spin.x));
    n.set(Key::WheelbaseChangeRight, forward * (pose.x_m - spin.x));
    n.set(Key::TrackShiftLeft, pose.y_m + spin.y - half);
    n.set(Key::TrackShiftRight, pose.y_m - spin.y + half);
}
