//! A vehicle as its builder drew it: axles, elements, holes, tolerances. Everything is SI and in floor coordinates
//! (x from the axle's wheel centreline, y from the vehicle's centreline, z from the floor, at ride height).

pub mod elements;
pub mod file;
pub mod magnitude;
pub mod numbers;
pub mod plausible;
pub mod points;
pub mod room;

pub use elements::*;
pub use points::Spot;
pub use room::Room;

use crate::geometry::Vector3;

/// A vehicle file, made into types that cannot be wrong.
#[derive(Debug, Clone, PartialEq)]
pub struct Vehicle {
    /// What its builder calls it.
    pub name: String,
    /// Distance between the wheel centrelines, m.
    pub wheelbase_m: f64,
    /// Height of the centre of gravity above the floor, m.
    pub cg_height_m: f64,
    /// Mass ready to drive, kg.
    pub mass_kg: Option<f64>,
    /// Standard deviation of each coordinate of a point as measured or welded, m.
    pub tolerance_m: f64,
    /// Its instrumented axles, in file order; never empty.
    pub axles: Vec<Axle>,
    /// Defaults that the file left to the project, each as a sentence part such as "drive share 1".
    pub defaults_used: Vec<String>,
    /// Content hash of the file's bytes (BLAKE3, hex).
    pub hash: String,
}

/// Which end of the vehicle an axle carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Position {
    /// Front axle.
    Front,
    /// Rear axle.
    Rear,
}

/// Which body reacts a wheel torque.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TorqueReaction {
    /// The axle housing (live axle, outboard brakes, portal hubs): η = 1.
    Housing,
    /// The chassis (inboard brake, open differential on the frame): η = 0.
    Chassis,
}

/// How far sweeps go from ride height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sweep {
    /// Bump, m.
    pub up_m: f64,
    /// Droop, m (positive).
    pub down_m: f64,
    /// Articulation to each side, rad.
    pub roll_rad: f64,
}

/// One axle with everything that holds it.
#[derive(Debug, Clone, PartialEq)]
pub struct Axle {
    /// Its name, unique in the vehicle.
    pub name: String,
    /// Front or rear.
    pub position: Position,
    /// Distance between the wheel centres, m.
    pub track_m: f64,
    /// Loaded tyre radius, m.
    pub tyre_radius_m: f64,
    /// Share of the drive force at this axle.
    pub drive_share: f64,
    /// Share of the brake force at this axle.
    pub brake_share: f64,
    /// Which body reacts drive torque.
    pub drive_torque: TorqueReaction,
    /// Which body reacts brake torque.
    pub brake_torque: TorqueReaction,
    /// How far sweeps go.
    pub sweep: Sweep,
    /// Width of a tyre's section, m.
    pub tyre_width_m: f64,
    /// Outside diameter of the axle tube, m.
    pub axle_tube_m: f64,
    /// Pinion angle at ride height, nose up positive, rad.
    pub pinion_rad: Option<f64>,
    /// Castor at ride height, rad.
    pub castor_rad: Option<f64>,
    /// Unsprung mass, kg, for simulation.
    pub unsprung_mass_kg: Option<f64>,
    /// Share of the vehicle's mass over this axle, for simulation.
    pub mass_share: Option<f64>,
    /// Elements that locate the axle.
    pub locating: Locating,
    /// Springs.
    pub springs: Vec<Spring>,
    /// Shocks.
    pub shocks: Vec<Shock>,
    /// Bump stops: shortest distances.
    pub bump_stops: Vec<Stop>,
    /// Limit straps: longest distances.
    pub straps: Vec<Stop>,
    /// Driveshaft to the pinion.
    pub driveshaft: Option<Driveshaft>,
    /// Drag link of a steered axle.
    pub drag_link: Option<DragLink>,
    /// Room that must stay free.
    pub keep_outs: Vec<KeepOut>,
    /// Limits and weights on numbers, for `tune`.
    pub wish: Vec<(numbers::Key, Wish)>,
    /// The builder's own limits of agreement per number, SI.
    pub agree: Vec<(numbers::Key, f64)>,
    /// Play at which a joint counts as worn, m.
    pub wear_play_m: Option<f64>,
    /// Named alternatives to some of the elements.
    pub alternatives: Vec<Alternative>,
    /// Distances taped at the still, which set the zero pose.
    pub ride_marks: Vec<RideMark>,
    /// Angles measured at the still.
    pub ride_angles: Vec<RideAngle>,
}

/// The elements that locate an axle.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Locating {
    /// Two-force members, panhard bars included.
    pub links: Vec<Link>,
    /// Wishbones.
    pub wishbones: Vec<Wishbone>,
    /// Radius arms.
    pub radius_arms: Vec<RadiusArm>,
    /// Watts linkages.
    pub watts: Vec<Watts>,
    /// Names of elements with those of the mirror images that the file asked for: such a pair is bolted alike.
    pub twins: Vec<[String; 2]>,
}

impl Axle {
    /// The axle centre at ride height, `(0, 0, tyre radius)`, m.
    pub fn centre(&self) -> Vector3<f64> {
        Vector3::new(0.0, 0.0, self.tyre_radius_m)
    }
}

impl Vehicle {
    /// The axle with this name, or the only one where `name` is `None`.
    pub fn axle_index(&self, name: Option<&str>) -> Option<usize> {
        match name {
            Some(name) => self.axles.iter().position(|a| a.name == name),
            None => (self.axles.len() == 1).then_some(0),
        }
    }
}
