//! What holds an axle: links, wishbones, radius arms, Watts linkages, and what rides along with them.

use super::Locating;
use crate::geometry::Vector3;

/// A point that may be one of several bracket holes.
#[derive(Debug, Clone, PartialEq)]
pub struct Mount {
    /// Every hole of the bracket, m; never empty.
    holes: Vec<Vector3<f64>>,
    /// Which one is in use, counted from 0; always a valid index.
    in_use: usize,
}

impl Mount {
    /// A bracket with one hole.
    pub fn fixed(point: Vector3<f64>) -> Self {
        Self { holes: vec![point], in_use: 0 }
    }

    /// A bracket with several holes, `in_use` counted from 0; `None` if there is no such hole.
    pub fn with_holes(holes: Vec<Vector3<f64>>, in_use: usize) -> Option<Self> {
        (in_use < holes.len()).then_some(Self { holes, in_use })
    }

    /// The hole in use, m.
    pub fn point(&self) -> Vector3<f64> {
        self.holes[self.in_use]
    }

    /// All holes, m.
    pub fn holes(&self) -> &[Vector3<f64>] {
        &self.holes
    }

    /// Which hole is in use, counted from 0.
    pub fn in_use(&self) -> usize {
        self.in_use
    }

    /// The same bracket moved by `offset`, m.
    pub fn moved(&self, offset: &Vector3<f64>) -> Self {
        self.map(|hole| hole + offset)
    }

    /// The same bracket with `place` done to each hole.
    pub fn map(&self, place: impl Fn(&Vector3<f64>) -> Vector3<f64>) -> Self {
        Self { holes: self.holes.iter().map(place).collect(), in_use: self.in_use }
    }

    /// Uses another hole, counted from 0; stays as it is and says `false` if there is no such hole.
    pub fn use_hole(&mut self, hole: usize) -> bool {
        let there = hole < self.holes.len();
        if there {
            self.in_use = hole;
        }
        there
    }

    /// The same bracket with another hole in use; `None` if there is no such hole.
    pub fn using(&self, hole: usize) -> Option<Self> {
        Self::with_holes(self.holes.clone(), hole)
    }
}

/// Kind of joint, for assumed stiffness.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum JointKind {
    /// Spherical metal joint.
    RodEnd,
    /// Rubber bush.
    Rubber,
    /// Polyurethane bush.
    Polyurethane,
}

/// Stiffness of a bush in the axes of its bolt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BushStiffness {
    /// Across the bolt, N/m.
    pub radial_n_per_m: f64,
    /// Along the bolt, N/m.
    pub axial_n_per_m: f64,
    /// About the bolt, N·m/rad.
    pub torsional_nm_per_rad: f64,
    /// About the two other axes, N·m/rad.
    pub conical_nm_per_rad: f64,
}

/// A bush and whether its stiffness is the file's or assumed from the joint kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bush {
    /// The stiffness.
    pub stiffness: BushStiffness,
    /// The kind it was assumed from, if it was.
    pub assumed_from: Option<JointKind>,
}

impl JointKind {
    /// Every kind, with the name that files use.
    pub const NAMES: [(&'static str, JointKind); 3] = [
        ("rod-end", JointKind::RodEnd),
        ("rubber", JointKind::Rubber),
        ("polyurethane", JointKind::Polyurethane),
    ];

    /// Assumed axial stiffness of a link with these joints at its ends: their compliances add, N/m.
    pub fn in_series_n_per_m(joints: [Self; 2]) -> f64 {
        1.0 / joints.iter().map(|k| 1.0 / k.assumed().radial_n_per_m).sum::<f64>()
    }

    /// Assumed stiffness: round engineering values, from memory.
    pub fn assumed(self) -> BushStiffness {
        let per_degree = 180.0 / std::f64::consts::PI;
        let (radial, axial, torsional, conical) = match self {
            JointKind::RodEnd => (100e6, 50e6, 0.0, 0.0),
            JointKind::Rubber => (8e6, 1.5e6, 1.5 * per_degree, 6.0 * per_degree),
            JointKind::Polyurethane => (20e6, 5e6, 4.0 * per_degree, 20.0 * per_degree),
        };
        BushStiffness {
            radial_n_per_m: radial,
            axial_n_per_m: axial,
            torsional_nm_per_rad: torsional,
            conical_nm_per_rad: conical,
        }
    }
}

/// A tube, for clearance and buckling.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tube {
    /// Outside diameter, m.
    pub diameter_m: f64,
    /// Wall thickness, m.
    pub wall_m: f64,
    /// Yield stress, Pa.
    pub yield_pa: Option<f64>,
    /// Young's modulus, Pa (205 GPa where the file gives none).
    pub modulus_pa: f64,
}

/// A link's ends, chassis end first.
#[derive(Debug, Clone, PartialEq)]
pub struct Link {
    /// Name, unique on its axle.
    pub name: String,
    /// Chassis bracket.
    pub chassis: Mount,
    /// Axle bracket.
    pub axle: Mount,
    /// Joint kinds, chassis end and axle end.
    pub joints: Option<[JointKind; 2]>,
    /// Axial stiffness of both ends in series, N/m; none = rigid.
    pub stiffness_n_per_m: Option<f64>,
    /// The tube.
    pub tube: Option<Tube>,
    /// Largest misalignment of its joints, rad.
    pub misalignment_limit_rad: Option<f64>,
    /// Unit bolt directions, chassis end and axle end.
    pub bolts: [Vector3<f64>; 2],
    /// Length between joint centres where it is not the distance of its ends at ride height, m.
    pub length_m: Option<f64>,
    /// Total play of its joints, m.
    pub play_m: f64,
    /// Whether another hole re-makes the link so that the drawn ride pose stays.
    pub refit: bool,
    /// Rating of its joints, N.
    pub joint_rating_n: Option<f64>,
    /// Standard deviation of each coordinate of its ends, m, where it is not the vehicle's.
    pub tolerance_m: Option<f64>,
}

impl Link {
    /// Distance of its ends at ride height, m.
    pub fn drawn_length_m(&self) -> f64 {
        (self.axle.point() - self.chassis.point()).norm()
    }

    /// Axial stiffness of both ends in series as the file states it, or as the joint kinds lead to expect, N/m; none = rigid.
    pub fn end_stiffness_n_per_m(&self) -> Option<f64> {
        self.stiffness_n_per_m.or_else(|| self.joints.map(JointKind::in_series_n_per_m))
    }

    /// The link in other holes, counted from 0; `None` if there is no such hole. With `refit` it is re-made to the distance of
    /// its new ends at ride height, without it keeps its length.
    pub fn using(&self, chassis_hole: usize, axle_hole: usize) -> Option<Self> {
        let kept_m = self.length_m.unwrap_or_else(|| self.drawn_length_m());
        Some(Self {
            chassis: self.chassis.using(chassis_hole)?,
            axle: self.axle.using(axle_hole)?,
            length_m: (!self.refit).then_some(kept_m),
            ..self.clone()
        })
    }
}

/// Chassis or axle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// On the chassis.
    Chassis,
    /// On the axle.
    Axle,
}

/// A wishbone: two legs that share an apex joint.
#[derive(Debug, Clone, PartialEq)]
pub struct Wishbone {
    /// Name, unique on its axle.
    pub name: String,
    /// Which body carries the apex.
    pub apex_on: Side,
    /// The apex.
    pub apex: Mount,
    /// Far ends of its legs, on the other body.
    pub legs: [Mount; 2],
    /// Joint kind.
    pub joints: Option<[JointKind; 2]>,
    /// Axial stiffness of each leg, N/m; none = rigid.
    pub stiffness_n_per_m: Option<f64>,
    /// The tube of its legs.
    pub tube: Option<Tube>,
    /// Play of the apex joint, m.
    pub play_m: f64,
}

impl Wishbone {
    /// Axial stiffness of each leg as the file states it, or as the joint kinds lead to expect, N/m; none = rigid.
    pub fn leg_stiffness_n_per_m(&self) -> Option<f64> {
        self.stiffness_n_per_m.or_else(|| self.joints.map(JointKind::in_series_n_per_m))
    }
}

/// A radius arm: a rigid body with one chassis joint and two bushes on the axle.
#[derive(Debug, Clone, PartialEq)]
pub struct RadiusArm {
    /// Name, unique on its axle.
    pub name: String,
    /// Chassis joint.
    pub chassis: Mount,
    /// Axle bushes, front and rear or top and bottom.
    pub axle: [Mount; 2],
    /// Unit direction of its bolts.
    pub bolt: Vector3<f64>,
    /// Chassis bush.
    pub chassis_bush: Bush,
    /// Axle bushes.
    pub axle_bush: Bush,
    /// The tube from its chassis joint to each axle bush.
    pub tube: Option<Tube>,
}

/// A Watts linkage.
#[derive(Debug, Clone, PartialEq)]
pub struct Watts {
    /// Name, unique on its axle.
    pub name: String,
    /// Which body carries the crank's pivot.
    pub pivot_on: Side,
    /// The pivot.
    pub pivot: Mount,
    /// Unit direction of the pivot's axis.
    pub axis: Vector3<f64>,
    /// The crank's two ends.
    pub crank: [Vector3<f64>; 2],
    /// Far joint of each link, on the other body.
    pub ends: [Mount; 2],
    /// Axial stiffness of each link, N/m; none = rigid.
    pub stiffness_n_per_m: Option<f64>,
    /// The tube of its links.
    pub tube: Option<Tube>,
}

/// A spring between chassis and axle.
#[derive(Debug, Clone, PartialEq)]
pub struct Spring {
    /// Name.
    pub name: String,
    /// Chassis end, m.
    pub chassis: Vector3<f64>,
    /// Axle end, m.
    pub axle: Vector3<f64>,
    /// Rate, N/m.
    pub rate_n_per_m: f64,
    /// Force at ride height, N, where the file gives it.
    pub preload_n: Option<f64>,
}

/// A shock with its end lengths.
#[derive(Debug, Clone, PartialEq)]
pub struct Shock {
    /// Name.
    pub name: String,
    /// Chassis end, m.
    pub chassis: Vector3<f64>,
    /// Axle end, m.
    pub axle: Vector3<f64>,
    /// Length fully open, m.
    pub open_m: f64,
    /// Length fully closed, m.
    pub closed_m: f64,
}

/// A bump stop (shortest) or strap (longest): a distance at which travel ends.
#[derive(Debug, Clone, PartialEq)]
pub struct Stop {
    /// Name.
    pub name: String,
    /// Chassis end, m.
    pub chassis: Vector3<f64>,
    /// Axle end, m.
    pub axle: Vector3<f64>,
    /// The distance, m.
    pub length_m: f64,
}

/// Which way a shaft turns when the vehicle drives forward, seen from the front of the vehicle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turning {
    /// As most engines turn.
    Clockwise,
    /// The other way.
    Anticlockwise,
}

/// The driveshaft between transfer case and pinion.
#[derive(Debug, Clone, PartialEq)]
pub struct Driveshaft {
    /// Joint at the transfer case, m.
    pub output: Vector3<f64>,
    /// Joint at the pinion, m.
    pub pinion: Vector3<f64>,
    /// Unit direction of the output shaft.
    pub output_axis: Vector3<f64>,
    /// Unit direction of the pinion shaft.
    pub pinion_axis: Vector3<f64>,
    /// Its outside diameter, m; a line where the file gives none.
    pub diameter_m: Option<f64>,
    /// Largest angle that its joints bear, rad.
    pub limit_rad: Option<f64>,
    /// Turns of the pinion per turn of the wheels.
    pub final_drive: Option<f64>,
    /// Which way it turns.
    pub turning: Turning,
}

/// The drag link of a steered axle and the kingpin that its knuckle end turns about.
#[derive(Debug, Clone, PartialEq)]
pub struct DragLink {
    /// Steering arm end on the chassis, m.
    pub chassis: Vector3<f64>,
    /// Knuckle end on the axle, m.
    pub axle: Vector3<f64>,
    /// A point of the kingpin's axis, m.
    pub kingpin_point: Vector3<f64>,
    /// Unit direction of the kingpin's axis.
    pub kingpin_direction: Vector3<f64>,
}

/// A box that moving parts must keep out of.
#[derive(Debug, Clone, PartialEq)]
pub struct KeepOut {
    /// Name.
    pub name: String,
    /// Body that carries it.
    pub on: Side,
    /// Corner with the least coordinates, m.
    pub min: Vector3<f64>,
    /// Corner with the greatest coordinates, m.
    pub max: Vector3<f64>,
}

/// A wish on a number, SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wish {
    /// Least value wanted.
    pub min: Option<f64>,
    /// Greatest value wanted.
    pub max: Option<f64>,
    /// How much it matters.
    pub weight: f64,
}

/// Elements that may take the place of others.
#[derive(Debug, Clone, PartialEq)]
pub struct Alternative {
    /// Name.
    pub name: String,
    /// Names of the elements it replaces.
    pub replaces: Vec<String>,
    /// What it brings.
    pub locating: Locating,
}

/// An angle of the axle that can be measured at the still.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AngleOf {
    /// Of the pinion against the frame, nose up positive.
    Pinion,
    /// Of the kingpins against the frame, castor positive.
    Castor,
    /// Heading of the wheels' axis against the vehicle's centreline: the thrust angle, to the left positive; drawn as 0.
    Thrust,
}

/// An angle measured at the still.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RideAngle {
    /// Which.
    pub of: AngleOf,
    /// What was read, rad.
    pub angle_rad: f64,
    /// Its standard uncertainty, rad.
    pub u_rad: f64,
}

/// A distance taped at the still.
#[derive(Debug, Clone, PartialEq)]
pub struct RideMark {
    /// Name.
    pub name: String,
    /// Chassis point, m.
    pub chassis: Vector3<f64>,
    /// Axle point, m.
    pub axle: Vector3<f64>,
    /// The tape's reading, m.
    pub length_m: f64,
}
