//! What a prediction says. Renderers read these types; nothing here computes.

use super::drag_link::BumpSteer;
use super::driveshaft::ShaftAt;
use super::error::OutOfReach;
use super::loads::{LoadCase, ShaftTorque};
use super::misalignment::Misalignment;
use crate::geometry::Pose;
use crate::vehicle::numbers::Numbers;
use crate::vehicle::{Position, Sweep};

/// A vehicle as designed.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// Its name.
    pub vehicle: String,
    /// Distance between the wheel centrelines, m.
    pub wheelbase_m: f64,
    /// In file order.
    pub axles: Vec<AxlePrediction>,
    /// Defaults that the file left to the project.
    pub defaults_used: Vec<String>,
}

/// One axle as designed.
#[derive(Debug, Clone, PartialEq)]
pub struct AxlePrediction {
    /// Its name.
    pub name: String,
    /// Front or rear.
    pub position: Position,
    /// Distance between the wheel centres, m.
    pub track_m: f64,
    /// Loaded tyre radius, m.
    pub tyre_radius_m: f64,
    /// Degrees of freedom that distances and bush translations leave; 2 is just right.
    pub mobility: usize,
    /// Distances and bush translations beyond what the free coordinates need.
    pub redundant: usize,
    /// What was assumed, and cautions.
    pub notes: Vec<String>,
    /// Values of the file that no vehicle has, a sentence each: whatever follows from them is as wrong as they are.
    pub implausible: Vec<String>,
    /// Pose at ride height where stated lengths disagree with the drawn points.
    pub ride_shift: Option<Pose>,
    /// At ride height.
    pub ride: Reached,
    /// Standard uncertainty (k = 1) of each number at ride height.
    pub ride_u: Numbers,
    /// The states that were asked for, in their order.
    pub states: Vec<AtState>,
    /// How far sweeps were to go.
    pub sweep: Sweep,
    /// Over heave and over articulation.
    pub sweeps: Sweeps,
    /// Two-force members: links, then legs of wishbones, then links of Watts linkages, in file order.
    pub links: Vec<LinkPrediction>,
    /// One per load case that was asked for.
    pub loads: Vec<LoadPrediction>,
    /// Springs and shocks.
    pub struts: Vec<StrutPrediction>,
    /// Where bump stops, straps and shocks end travel.
    pub ends: Vec<TravelEnd>,
    /// How near moving parts come to the boxes that must stay free, then to each other.
    pub clearances: Vec<Clearance>,
    /// Its driveshaft, where it has one.
    pub driveshaft: Option<ShaftPrediction>,
    /// How far it articulates before something ends that: left wheel up, right wheel up.
    pub articulation: [ArticulationLimit; 2],
    /// Up a ramp with its left, and with its right wheel; none where the vehicle has no other axle to stand on.
    pub ramp: Option<[RampPrediction; 2]>,
}

/// Sweeps through ride height, lowest first.
#[derive(Debug, Clone, PartialEq)]
pub struct Sweeps {
    /// From full droop to full bump, no articulation.
    pub heave: Vec<AtState>,
    /// From right wheel up to left wheel up, no heave.
    pub roll: Vec<AtState>,
}

/// A state that was asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct AtState {
    /// Asked for, m.
    pub heave_m: f64,
    /// Asked for, rad.
    pub roll_rad: f64,
    /// What is there, or what keeps the axle from it.
    pub outcome: Result<Reached, OutOfReach>,
}

/// What an axle does at a state.
#[derive(Debug, Clone, PartialEq)]
pub struct Reached {
    /// Pose relative to the chassis.
    pub pose: Pose,
    /// Heading of the wheels' spin axis, rad.
    pub axle_steer_rad: f64,
    /// Travel of the left and the right wheel, m.
    pub wheel_travel_m: [f64; 2],
    /// Elastic energy in bushes, J.
    pub strain_energy_j: f64,
    /// Roll moment of binding, `dE/droll`, N·m.
    pub roll_moment_nm: f64,
    /// Every number there.
    pub numbers: Numbers,
    /// What the drag link does, where there is one and it reaches.
    pub bump_steer: Option<BumpSteer>,
}

/// A two-force member.
#[derive(Debug, Clone, PartialEq)]
pub struct LinkPrediction {
    /// Its name.
    pub name: String,
    /// Between joint centres, m.
    pub length_m: f64,
    /// Of its joints; none for members whose bolts the file does not know.
    pub misalignment: Option<LinkMisalignment>,
    /// Compression at which its tube buckles, N; none without a tube.
    pub buckling_n: Option<f64>,
    /// What the file says its joints bear, N.
    pub joint_rating_n: Option<f64>,
}

/// Misalignment of a link's joints.
#[derive(Debug, Clone, PartialEq)]
pub struct LinkMisalignment {
    /// What its joints bear, rad.
    pub limit_rad: Option<f64>,
    /// At ride height.
    pub ride: Misalignment,
    /// At the states that were asked for, in their order; none where one is out of reach.
    pub states: Vec<Option<Misalignment>>,
    /// The worst over the whole range of travel.
    pub worst: WorstMisalignment,
}

/// Where a link's joints are turned furthest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WorstMisalignment {
    /// m
    pub heave_m: f64,
    /// rad
    pub roll_rad: f64,
    /// There.
    pub at: Misalignment,
}

/// Forces for one load case, in the order of `links`, tension +.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadPrediction {
    /// The case.
    pub case: LoadCase,
    /// Moment with which a drive force rolls the axle by its links alone at ride height, left side up positive, N·m; none for
    /// other forces.
    pub drive_roll_nm: Option<f64>,
    /// What the driveshaft does to the axle at ride height, where that was asked for; it is in the forces.
    pub shaft: Option<ShaftTorque>,
    /// At ride height.
    pub ride: Option<LinkForces>,
    /// At the states that were asked for, in their order; none where one is out of reach.
    pub states: Vec<Option<LinkForces>>,
}

/// Forces at one state.
#[derive(Debug, Clone, PartialEq)]
pub struct LinkForces {
    /// Axial, tension +, N, in the order of `links`.
    pub links_n: Vec<f64>,
    /// Left on heave, for the springs, N.
    pub heave_n: f64,
    /// Left on roll, for the springs, N·m.
    pub roll_nm: f64,
}

/// A spring or a shock.
#[derive(Debug, Clone, PartialEq)]
pub struct StrutPrediction {
    /// Its name.
    pub name: String,
    /// At ride height, m.
    pub length_m: f64,
    /// Shortening per heave.
    pub heave_ratio: f64,
    /// Lengthening per travel of the left wheel in roll, negated: `−(∂L/∂roll)/(track/2)`.
    pub roll_ratio: f64,
}

/// A driveshaft over the travel.
#[derive(Debug, Clone, PartialEq)]
pub struct ShaftPrediction {
    /// What its joints bear, rad.
    pub limit_rad: Option<f64>,
    /// At ride height.
    pub ride: ShaftAt,
    /// At the states that were asked for, in their order; none where one is out of reach.
    pub states: Vec<Option<ShaftAt>>,
    /// Along the sweep of heave, in its order.
    pub heave: Vec<Option<ShaftAt>>,
    /// Along the sweep of articulation, in its order.
    pub roll: Vec<Option<ShaftAt>>,
    /// Extremes over all that the links reach within the sweep.
    pub reach: ShaftRange,
    /// Extremes over what bump stops, straps and shocks leave of that; none where the axle has none of them.
    pub within_stops: Option<ShaftRange>,
}

impl ShaftPrediction {
    /// The extremes that can occur: within the stops where there are any.
    pub fn range(&self) -> &ShaftRange {
        self.within_stops.as_ref().unwrap_or(&self.reach)
    }
}

/// Where a driveshaft is at its extremes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShaftRange {
    /// Pulled out furthest.
    pub longest: ShaftWhere,
    /// Pushed in furthest.
    pub shortest: ShaftWhere,
    /// Its joint at the transfer case bent furthest.
    pub output_joint: ShaftWhere,
    /// Its joint at the pinion bent furthest.
    pub pinion_joint: ShaftWhere,
    /// Running least evenly.
    pub equivalent: ShaftWhere,
}

impl ShaftRange {
    /// How far the joint that bends further does, rad.
    pub fn largest_rad(&self) -> f64 {
        self.output_joint.at.output_rad.max(self.pinion_joint.at.pinion_rad)
    }

    /// What its slip joint must give, m.
    pub fn plunge_m(&self) -> f64 {
        self.longest.at.length_m - self.shortest.at.length_m
    }
}

/// A driveshaft at one state of the travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShaftWhere {
    /// m
    pub heave_m: f64,
    /// rad
    pub roll_rad: f64,
    /// There.
    pub at: ShaftAt,
}

/// What ends articulation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LimitedBy {
    /// A bump stop, a strap or a shock.
    End {
        /// Its name.
        name: String,
        /// Which end it is.
        kind: EndKind,
    },
    /// A link that reaches no further.
    Link(String),
    /// Nothing within the sweep: it may go further.
    Sweep,
}

/// How far an axle articulates at no heave.
#[derive(Debug, Clone, PartialEq)]
pub struct ArticulationLimit {
    /// rad, positive
    pub roll_rad: f64,
    /// What ends it.
    pub by: LimitedBy,
}

/// A vehicle with one wheel of this axle on a ramp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RampPrediction {
    /// Ramp travel index; none where the axle would stand on end.
    pub index: Option<f64>,
    /// Along the ramp from its toe to the tyre's contact, m.
    pub distance_m: Option<f64>,
    /// Inclination of the axle: what both axles articulate together, rad.
    pub inclination_rad: f64,
    /// Angle of the ramp, rad.
    pub ramp_rad: f64,
}

/// What a moving part must stay clear of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Obstacle {
    /// A box of the file, by its name.
    KeepOut(String),
    /// Another moving part, by its name.
    Part(String),
}

/// How near a moving part comes to something over the whole range of travel.
#[derive(Debug, Clone, PartialEq)]
pub struct Clearance {
    /// The part: a link or a leg by its name, "axle tube", "pinion", "driveshaft", "left tyre", "right tyre".
    pub part: String,
    /// Of its section, m; 0 where it is a line, because the file gives no tube.
    pub diameter_m: f64,
    /// What it must stay clear of.
    pub obstacle: Obstacle,
    /// The least over all that the links reach within the sweep.
    pub least: Nearest,
    /// The least over what bump stops, straps and shocks leave of that; none where the axle has none of them.
    pub within_stops: Option<Nearest>,
}

impl Clearance {
    /// The least that can occur: within the stops where there are any.
    pub fn nearest(&self) -> &Nearest {
        self.within_stops.as_ref().unwrap_or(&self.least)
    }
}

/// A least clearance and where it occurs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nearest {
    /// Between the surfaces, m; negative where the part stands in the box: how deep.
    pub gap_m: f64,
    /// m
    pub heave_m: f64,
    /// rad
    pub roll_rad: f64,
}

/// What ends travel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EndKind {
    /// A bump stop touches.
    BumpStop,
    /// A strap is taut.
    Strap,
    /// A shock is fully closed.
    ShockClosed,
    /// A shock is fully open.
    ShockOpen,
}

/// Where something ends travel.
#[derive(Debug, Clone, PartialEq)]
pub struct TravelEnd {
    /// Name of the stop, strap or shock.
    pub name: String,
    /// Which end it is.
    pub kind: EndKind,
    /// First met in heave at, m; none within the sweep.
    pub heave_m: Option<f64>,
    /// First met in articulation at, rad; none within the sweep.
    pub roll_rad: Option<f64>,
}
