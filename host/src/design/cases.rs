//! Axles for tests. The cases T, S, W, H, P, R, Q are own layouts whose states were worked out by programs that share no code
//! with this one (least squares, and Newton's method on SE(3)).

use crate::geometry::Vector3;
use crate::vehicle::*;

/// A point, m.
pub type P = [f64; 3];

fn point(p: P) -> Vector3<f64> {
    Vector3::from(p)
}

fn mirrored(p: P) -> P {
    [p[0], -p[1], p[2]]
}

/// A rigid link without joints.
pub fn link(name: &str, chassis: P, axle: P) -> Link {
    Link {
        name: name.into(),
        chassis: Mount::fixed(point(chassis)),
        axle: Mount::fixed(point(axle)),
        joints: None,
        stiffness_n_per_m: None,
        tube: None,
        misalignment_limit_rad: None,
        bolts: [Vector3::y(), Vector3::y()],
        length_m: None,
        play_m: 0.0,
        refit: true,
        joint_rating_n: None,
        tolerance_m: None,
    }
}

/// A left link and its mirror image.
pub fn pair(name: &str, chassis: P, axle: P) -> [Link; 2] {
    [
        link(&format!("{name} left"), chassis, axle),
        link(&format!("{name} right"), mirrored(chassis), mirrored(axle)),
    ]
}

/// An axle with nothing to hold it yet.
pub fn axle(position: Position, locating: Locating) -> Axle {
    Axle {
        name: if position == Position::Front { "front" } else { "rear" }.into(),
        position,
        track_m: 1.6,
        tyre_radius_m: 0.46,
        drive_share: 1.0,
        brake_share: 1.0,
        drive_torque: TorqueReaction::Housing,
        brake_torque: TorqueReaction::Housing,
        sweep: Sweep { up_m: 0.09, down_m: 0.13, roll_rad: 0.3 },
        tyre_width_m: 0.255,
        axle_tube_m: 0.08,
        pinion_rad: None,
        castor_rad: None,
        unsprung_mass_kg: None,
        mass_share: None,
        locating,
        springs: vec![],
        shocks: vec![],
        bump_stops: vec![],
        straps: vec![],
        driveshaft: None,
        drag_link: None,
        keep_outs: vec![],
        wish: vec![],
        agree: vec![],
        wear_play_m: None,
        alternatives: vec![],
        ride_marks: vec![],
        ride_angles: vec![],
    }
}

/// A vehicle with this one axle.
pub fn vehicle(axle: Axle) -> Vehicle {
    Vehicle {
        name: "Bramble".into(),
        wheelbase_m: 2.54,
        cg_height_m: 0.81,
        mass_kg: None,
        tolerance_m: 0.003,
        axles: vec![axle],
        defaults_used: vec![],
        hash: String::new(),
    }
}

/// A vehicle whose axle is held by links alone.
pub fn linked(position: Position, links: impl IntoIterator<Item = Link>) -> Vehicle {
    vehicle(axle(position, Locating { links: links.into_iter().collect(), ..Locating::default() }))
}

/// Double triangulated four-link, rear.
pub fn t() -> Vehicle {
    let lower = pair("lower", [0.95, 0.36, 0.50], [0.02, 0.58, 0.40]);
    let upper = pair("upper", [0.80, 0.45, 0.66], [0.03, 0.12, 0.62]);
    linked(Position::Rear, lower.into_iter().chain(upper))
}

fn s_lower() -> [Link; 2] {
    pair("lower", [0.95, 0.45, 0.50], [0.0, 0.45, 0.40])
}

/// Single triangulated four-link, rear.
pub fn s() -> Vehicle {
    let upper = pair("upper", [0.80, 0.42, 0.66], [0.03, 0.10, 0.64]);
    linked(Position::Rear, s_lower().into_iter().chain(upper))
}

/// Wishbone three-link, rear.
pub fn w() -> Vehicle {
    let wishbone = Wishbone {
        name: "upper wishbone".into(),
        apex_on: Side::Axle,
        apex: Mount::fixed(point([0.03, 0.0, 0.64])),
        legs: [[0.70, 0.40, 0.66], [0.70, -0.40, 0.66]].map(|p| Mount::fixed(point(p))),
        joints: None,
        stiffness_n_per_m: None,
        tube: None,
        play_m: 0.0,
    };
    let locating = Locating { links: s_lower().to_vec(), wishbones: vec![wishbone], ..Locating::default() };
    vehicle(axle(Position::Rear, locating))
}

fn h_lower() -> [Link; 2] {
    pair("lower", [-0.95, 0.42, 0.50], [0.0, 0.45, 0.40])
}

fn h_upper() -> [Link; 2] {
    pair("upper", [-0.80, 0.30, 0.66], [0.03, 0.33, 0.62])
}

fn h_panhard() -> Link {
    link("panhard", [0.05, 0.45, 0.62], [0.08, -0.42, 0.52])
}

/// Three-link and panhard bar, front.
pub fn h() -> Vehicle {
    let [upper, _] = h_upper();
    linked(Position::Front, h_lower().into_iter().chain([upper, h_panhard()]))
}

/// Four-link without a panhard bar, front, rigid; `splay_m` is how far apart the axle ends stand beyond the chassis ends on
/// each side.
pub fn four_link_without_panhard(splay_m: f64) -> Vehicle {
    let lower = pair("lower", [-0.95, 0.42, 0.50], [0.0, 0.42 + splay_m, 0.40]);
    let upper = pair("upper", [-0.80, 0.30, 0.66], [0.03, 0.30 + splay_m, 0.62]);
    linked(Position::Front, lower.into_iter().chain(upper))
}

/// Parallel four-link and panhard bar, front; every link 5e6 N/m.
pub fn p() -> Vehicle {
    let mut v = linked(Position::Front, h_lower().into_iter().chain(h_upper()).chain([h_panhard()]));
    for link in &mut v.axles[0].locating.links {
        link.stiffness_n_per_m = Some(5e6);
    }
    v
}

/// Radius arms and panhard bar, front; with another conical stiffness of all bushes where `conical` gives the factor.
pub fn r(conical: f64) -> Vehicle {
    let bush = |radial, axial, torsional, cone| Bush {
        stiffness: BushStiffness {
            radial_n_per_m: radial,
            axial_n_per_m: axial,
            torsional_nm_per_rad: torsional,
            conical_nm_per_rad: cone * conical,
        },
        assumed_from: None,
    };
    let arm = |name: &str, side: f64| RadiusArm {
        name: name.into(),
        chassis: Mount::fixed(point([-0.95, 0.40 * side, 0.52])),
        axle: [[0.09, 0.42 * side, 0.47], [-0.11, 0.42 * side, 0.47]].map(|p| Mount::fixed(point(p))),
        bolt: Vector3::y(),
        chassis_bush: bush(4e6, 0.8e6, 80.0, 1000.0),
        axle_bush: bush(8e6, 1e6, 100.0, 2000.0),
        tube: None,
    };
    let mut panhard = link("panhard", [0.12, 0.45, 0.62], [0.15, -0.42, 0.54]);
    panhard.stiffness_n_per_m = Some(1e9);
    let locating = Locating {
        links: vec![panhard],
        radius_arms: vec![arm("arm left", 1.0), arm("arm right", -1.0)],
        ..Locating::default()
    };
    vehicle(axle(Position::Front, locating))
}

/// Three-link and Watts linkage, rear.
pub fn q() -> Vehicle {
    let watts = Watts {
        name: "watts".into(),
        pivot_on: Side::Axle,
        pivot: Mount::fixed(point([-0.10, 0.0, 0.50])),
        axis: Vector3::x(),
        crank: [[-0.10, 0.0, 0.60], [-0.10, 0.0, 0.40]].map(point),
        ends: [[-0.10, 0.55, 0.60], [-0.10, -0.55, 0.40]].map(|p| Mount::fixed(point(p))),
        stiffness_n_per_m: None,
        tube: None,
    };
    let upper = link("upper", [0.80, 0.30, 0.66], [0.03, 0.33, 0.62]);
    let locating = Locating {
        links: s_lower().into_iter().chain([upper]).collect(),
        watts: vec![watts],
        ..Locating::default()
    };
    vehicle(axle(Position::Rear, locating))
}
