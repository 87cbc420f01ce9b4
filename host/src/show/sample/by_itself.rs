//! What the sample's run shows by itself: a climb, links under a load, loops, what sensors leave over.

use crate::geometry::{DMatrix, DVector};
use crate::measure::*;
use crate::run::Phase;

/// Which way the axle travels at a time of the sample's schedule.
pub fn way(t_s: f64, phase: Phase) -> Option<Direction> {
    let wave = |t: f64, period: f64| (std::f64::consts::TAU * t / period).cos();
    let rising = match phase {
        Phase::Bounce => wave(t_s - 4.0, 8.0) > 0.0,
        Phase::RampLeft => wave(t_s - 20.0, 32.0) > 0.0,
        Phase::RampRight => wave(t_s - 36.0, 32.0) > 0.0,
        _ => return None,
    };
    Some(if rising { Direction::Up } else { Direction::Down })
}

/// Apparent change of link `k` at a pose: a bracket that sits elsewhere, and slack that comes along.
pub fn apparent_m(at: &PosePoint, k: usize) -> f64 {
    let slack = match at.direction {
        Some(Direction::Up) => 0.0008,
        Some(Direction::Down) => -0.0008,
        None => 0.0,
    };
    let bent = 0.008 * at.pose.roll_rad * (k as f64 - 1.5) + 0.05 * at.pose.z_m * at.pose.z_m;
    bent + if k == 0 { slack } else { 0.1 * slack }
}

/// The left wheel up the ramp; the mate lifts at 31 s.
pub fn profile() -> Vec<ClimbPoint> {
    (0..80)
        .map(|k| {
            let t_s = 20.0 + 0.2 * f64::from(k);
            let up = (std::f64::consts::PI * (t_s - 20.0) / 16.0).sin();
            ClimbPoint {
                t_s,
                articulation_rad: Some([0.25 * (1.4 * up).min(1.0), 0.0012]),
                inclination_rad: [0.33 * up, 0.004],
            }
        })
        .collect()
}

/// A rock of the four links: the first has play.
pub fn turned() -> Vec<Turned> {
    let one = DVector::from_vec(vec![0.0016, 0.0002, -0.0001, 0.0003]);
    let other = DVector::from_vec(vec![-0.0015, -0.0001, 0.0002, -0.0002]);
    let u = DVector::from_element(4, 0.0004);
    vec![Turned {
        load: Load::Rock,
        jump_m: &one - &other,
        covariance: DMatrix::from_diagonal_element(4, 4, 0.0004 * 0.0004),
        held_m: [one, other],
        held_u_m: [u.clone(), u],
    }]
}

/// A wire as good as its word, one that slipped at 30 s, a unit, and one that nothing checks.
pub fn residuals() -> Vec<SensorResiduals> {
    let series = |name: &str, quantity, redundancy, size: f64, slip: f64| SensorResiduals {
        name: name.into(),
        quantity,
        redundancy,
        points: (0..260)
            .map(|k| {
                let t_s = 0.2 * f64::from(k);
                let wobble = size * (1.7 * f64::from(k)).sin();
                ResidualPoint { t_s, residual: wobble + if t_s > 30.0 { slip } else { 0.0 }, u: size }
            })
            .collect(),
    };
    vec![
        series("left down", LeftOver::Length, 0.4, 0.0008, 0.0),
        series("left fore", LeftOver::Length, 0.3, 0.0008, 0.006),
        series("axle unit, up", LeftOver::Acceleration, 0.9, 0.03, 0.0),
        series("across", LeftOver::Length, 0.001, 0.0, 0.0),
    ]
}
