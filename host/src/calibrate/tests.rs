//! Stated uncertainties are the errors made: drawn sensors, fixed seeds.

use super::heading::Attitude;
use super::line::Point;
use super::rest::{Rest, Settled};
use super::*;
use crate::geometry::Vector3;
use crate::rig::inertial::STANDARD_GRAVITY;
use crate::rig::{Carrier, Inertial, Kind, Reading, Scale, Sensor, UnitFound};
use nalgebra::{Matrix3, Rotation3, Unit};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal, Uniform};

/// Draws: the root mean square of 400 normalised errors lies within 7 % of 1 nineteen times in twenty (χ² with 400 degrees of
/// freedom); the rest is room for errors that are not normal.
const DRAWS: u64 = 400;
const HONEST: std::ops::Range<f64> = 0.85..1.15;
/// Rectangular parts (a bow, a loop) are bounded: what is stated for them is a little more than what happens.
const HONEST_WITH_BOW: std::ops::Range<f64> = 0.75..1.2;

struct Dice(ChaCha8Rng);

impl Dice {
    fn normal(&mut self, sigma: f64) -> f64 {
        let z: f64 = StandardNormal.sample(&mut self.0);
        sigma * z
    }

    fn even(&mut self) -> f64 {
        Uniform::new_inclusive(-1.0, 1.0).unwrap().sample(&mut self.0)
    }

    fn vector(&mut self, sigma: f64) -> Vector3<f64> {
        Vector3::from_fn(|_, _| self.normal(sigma))
    }
}

fn dice(seed: u64) -> Dice {
    Dice(ChaCha8Rng::seed_from_u64(seed))
}

/// Root mean square of `error / u` over all draws.
fn honesty(of: impl Fn(u64) -> f64) -> f64 {
    ((0..DRAWS).map(|seed| of(seed).powi(2)).sum::<f64>() / DRAWS as f64).sqrt()
}

fn reading(linearity: f64) -> Reading {
    Reading {
        scale: Scale::Linear(1e-3),
        scale_u: 0.03,
        noise: 3e-4,
        linearity,
        hysteresis: 1e-3,
        range: Some([0.0, 0.8]),
        mount_m: 2e-3,
        gain: 1.0,
        zero: None,
    }
}

fn wire(reading: &Reading) -> Sensor {
    let kind = Kind::DrawWire(crate::rig::DrawWire {
        chassis: Vector3::new(0.0, 0.5, 1.0),
        axle: Vector3::new(0.0, 0.6, 0.46),
        reading: reading.clone(),
    });
    Sensor { name: "left travel".into(), axle: 0, kind, input: None, rate_hz: 100.0 }
}

/// The rest of a wire whose true factor is `factor`, at the known values.
fn points(known: &[f64], factor: f64, known_u: f64, reading: &Reading, dice: &mut Dice) -> Vec<Point> {
    let (bow, phase) = (reading.linearity * dice.even(), std::f64::consts::PI * dice.even());
    let (half_loop, zero) = (0.5 * reading.hysteresis * dice.even().abs(), dice.normal(0.01));
    let span = reading.range.map_or(1.0, |[low, high]| high - low);
    known
        .iter()
        .map(|known| {
            let truth = known + dice.normal(known_u);
            let bent = truth + bow * (std::f64::consts::TAU * truth / span + phase).sin();
            let flank = half_loop * dice.even().signum();
            let mean = (bent + flank + zero) / factor + dice.normal(reading.noise / 10.0);
            Point { known: *known, known_u, reading: Settled { mean, scatter: reading.noise, count: 100 } }
        })
        .collect()
}

#[test]
fn a_scale_three_per_cent_off_is_found_as_well_as_is_said() {
    const FACTOR: f64 = 1.03;
    let cases: [(&[f64], f64); 4] = [
        (&[0.1, 0.7], 0.0),
        (&[0.1, 0.7], 2.4e-3),
        (&[0.1, 0.3, 0.5, 0.7], 2.4e-3),
        (&[0.05, 0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75], 2.4e-3),
    ];
    for (known, linearity) in cases {
        let reading = reading(linearity);
        let found = |seed| {
            line::fit(&wire(&reading), &reading, &points(known, FACTOR, 5e-4, &reading, &mut dice(seed)))
                .unwrap()
        };
        let honesty = honesty(|seed| {
            let found = found(seed);
            (found.factor - FACTOR) / (found.relative_u * found.factor)
        });
        let u = found(1).relative_u;
        assert!(HONEST_WITH_BOW.contains(&honesty), "{known:?} {linearity}: {honesty}, u {u}");
        assert!(u < 0.006, "{known:?} {linearity}: u {u}");
    }
}

#[test]
fn how_straight_a_wire_is_shows_from_five_lengths_on() {
    let reading = reading(2.4e-3);
    let known: Vec<f64> = (0..9).map(|k| 0.04 + 0.09 * f64::from(k)).collect();
    let of = |known: &[f64], seed| {
        let mut straight = reading.clone();
        straight.hysteresis = 0.0;
        let mut dice = dice(seed);
        let points = points(known, 1.0, 1e-4, &straight, &mut dice);
        line::fit(&wire(&straight), &straight, &points).unwrap().linearity
    };
    assert_eq!(of(&known[..4], 1), None);
    assert_eq!(of(&known[..5], 1), None, "half of the range is not covered");
    let found: Vec<f64> = (0..40).map(|seed| of(&known, seed).unwrap()).collect();
    let mean = found.iter().sum::<f64>() / 40.0;
    // Half widths are even between 0 and 2.4 mm: 1.2 mm on average, less what the straight line takes of a wave.
    assert!((0.7e-3..1.5e-3).contains(&mean), "{mean}");
}

#[test]
fn readings_that_say_nothing_of_a_scale_are_refused_in_a_sentence() {
    let reading = reading(0.0);
    let wire = wire(&reading);
    let some = points(&[0.1, 0.7], 1.0, 5e-4, &reading, &mut dice(1));
    let one = line::fit(&wire, &reading, &some[..1]).unwrap_err();
    assert_eq!(one.to_string(), "a scale needs at least 2 known values, and there are 1");
    let alike = points(&[0.5, 0.5005], 1.0, 5e-4, &reading, &mut dice(1));
    let alike = line::fit(&wire, &reading, &alike).unwrap_err();
    assert!(alike.to_string().ends_with("the known values are too close together"), "{alike}");
    let mut stuck = some.clone();
    stuck[1].reading = stuck[0].reading;
    let stuck = line::fit(&wire, &reading, &stuck).unwrap_err();
    assert!(stuck.to_string().ends_with("it reads the same in every position"), "{stuck}");
    let mut swapped = some.clone();
    (swapped[0].reading, swapped[1].reading) = (some[1].reading, some[0].reading);
    let swapped = line::fit(&wire, &reading, &swapped).unwrap_err();
    assert!(matches!(swapped, CalibrateError::Backwards { .. }), "{swapped}");
    // Three that lie on no line: the middle one reads as far as the last.
    let mut bent = points(&[0.1, 0.4, 0.7], 1.0, 5e-4, &reading, &mut dice(1));
    bent[1].reading.mean = 0.9;
    let bent = line::fit(&wire, &reading, &bent).unwrap_err();
    assert!(matches!(bent, CalibrateError::VagueScale { relative_u, .. } if relative_u > 0.2), "{bent}");
}

#[test]
fn weights_are_those_of_the_closed_form() {
    // Straight line through points of equal weight, no bow: slope variance σ²/Σ(x − x̄)² (JCGM 100:2008, H.3.3).
    const ROUNDING: f64 = 1e-9;
    let mut plain = reading(0.0);
    (plain.hysteresis, plain.noise) = (0.0, 0.0);
    let known = [0.1, 0.25, 0.4, 0.7];
    let settled = |mean| Settled { mean, scatter: 0.0, count: 100 };
    let points = known.map(|k| Point { known: k, known_u: 5e-4, reading: settled(k / 1.02 + 0.004) });
    let found = line::fit(&wire(&plain), &plain, &points).unwrap();
    let mean = known.iter().map(|k| k / 1.02).sum::<f64>() / 4.0;
    let square: f64 = known.iter().map(|k| (k / 1.02 - mean).powi(2)).sum();
    assert!((found.factor - 1.02).abs() < ROUNDING && found.residual < ROUNDING);
    assert!((found.relative_u * 1.02 - 5e-4 / square.sqrt()).abs() < ROUNDING);
    assert!((found.offset + 1.02 * 0.004).abs() < ROUNDING);
}

fn unit() -> Inertial {
    Inertial {
        carrier: Carrier::Axle,
        at: Vector3::zeros(),
        axes: Matrix3::identity(),
        heading_u_rad: 3f64.to_radians(),
        scale_u: 0.01,
        accel_bias_u: 0.2,
        gyro_bias_u: 3e-4,
        accel_noise: 0.02,
        gyro_noise: 0.002,
        found: UnitFound::default(),
    }
}

fn axle_unit() -> Sensor {
    Sensor { name: "axle unit".into(), axle: 0, kind: Kind::Inertial(unit()), input: None, rate_hz: 100.0 }
}

/// A unit as it really is: `read = M⁻¹·force + bias`.
struct TrueUnit {
    inverse: Matrix3<f64>,
    bias: Vector3<f64>,
    gyro: Vector3<f64>,
}

fn true_unit(dice: &mut Dice) -> TrueUnit {
    let skew = dice.vector(0.01);
    let matrix = crate::rig::calibration::file::symmetric(&dice.vector(0.01).add_scalar(1.0), &skew);
    TrueUnit { inverse: matrix.try_inverse().unwrap(), bias: dice.vector(0.2), gyro: dice.vector(0.017) }
}

impl TrueUnit {
    fn rest(&self, up: &Vector3<f64>, dice: &mut Dice) -> Rest {
        let force =
            self.inverse * (up * STANDARD_GRAVITY) + self.bias + dice.vector(0.02 / 10.0) + dice.vector(2e-3);
        let rate = self.gyro + dice.vector(0.002 / 10.0);
        let settled = |mean, scatter| Settled { mean, scatter, count: 100 };
        let channels =
            force.iter().map(|m| settled(*m, 0.02)).chain(rate.iter().map(|m| settled(*m, 0.002))).collect();
        Rest { from_s: 0.0, to_s: 5.0, channels }
    }
}

/// Each face down in turn, then edges and corners; a hand lays them within some degrees.
fn ups(count: usize, dice: &mut Dice) -> Vec<Vector3<f64>> {
    let (one, none) = (1.0, 0.0);
    let faces = [[one, none, none], [none, one, none], [none, none, one]];
    let both = faces.iter().flat_map(|f| [Vector3::from(*f), -Vector3::from(*f)]);
    let edges = [
        [1.0, 1.0, 0.0],
        [0.0, 1.0, 1.0],
        [1.0, 0.0, 1.0],
        [1.0, -1.0, 0.0],
        [0.0, -1.0, 1.0],
        [-1.0, 0.0, 1.0],
    ];
    let all = both.chain(edges.iter().map(|e| Vector3::from(*e).normalize()));
    all.take(count).map(|up| Rotation3::from_scaled_axis(dice.vector(0.05)) * up).collect()
}

#[test]
fn six_and_more_positions_find_a_unit_as_well_as_is_said() {
    for count in [6, 12] {
        let drawn = |seed| {
            let mut dice = dice(seed);
            let truth = true_unit(&mut dice);
            let ups = ups(count, &mut dice);
            let rests: Vec<Rest> = ups.iter().map(|up| truth.rest(up, &mut dice)).collect();
            (tumble::fit(&axle_unit(), &unit(), &rests).unwrap(), truth)
        };
        for axis in 0..3 {
            let bias = honesty(|seed| {
                let (found, truth) = drawn(seed);
                (found.bias[axis] - truth.bias[axis]) / found.bias_u[axis]
            });
            assert!(HONEST.contains(&bias), "{count} positions, bias {axis}: {bias}");
            let gyro = honesty(|seed| {
                let (found, truth) = drawn(seed);
                (found.gyro_bias[axis] - truth.gyro[axis]) / found.gyro_bias_u[axis]
            });
            assert!(HONEST.contains(&gyro), "{count} positions, gyro {axis}: {gyro}");
            // Gravity itself is the gauge here: what it may differ by is in the stated u, and not in the draw.
            let scale = honesty(|seed| {
                let (found, truth) = drawn(seed);
                let matrix = truth.inverse.try_inverse().unwrap();
                let u = (found.scale_u[axis].powi(2) - 1.5e-3f64.powi(2)).sqrt();
                (found.matrix[(axis, axis)] - matrix[(axis, axis)]) / u
            });
            assert!(HONEST.contains(&scale), "{count} positions, scale {axis}: {scale}");
        }
        let (found, _) = drawn(3);
        // Six faces leave the misalignment open, and a face that lies some degrees off mixes it into the bias.
        let (most, skew) = (found.bias_u.max(), found.misalignment_u_rad.max());
        let as_known = if count == 6 { most < 0.015 && skew > 5e-3 } else { most < 4e-3 && skew < 1e-3 };
        assert!(as_known, "{count} positions: bias {most} m/s², misalignment {skew} rad");
    }
}

#[test]
fn positions_that_are_missing_or_wrong_are_named() {
    let mut dice = dice(5);
    let truth = true_unit(&mut dice);
    let ups = ups(6, &mut dice);
    let rests: Vec<Rest> = ups.iter().map(|up| truth.rest(up, &mut dice)).collect();
    let few = tumble::fit(&axle_unit(), &unit(), &rests[..5]).unwrap_err();
    assert_eq!(few.to_string(), "a tumble needs at least 6 positions, and there are 5");
    let mut same = rests.clone();
    same[5] = same[4].clone();
    let same = tumble::fit(&axle_unit(), &unit(), &same).unwrap_err();
    assert_eq!(same.to_string(), "the z axis of \"axle unit\" never pointed down");
    let mut moved = rests.clone();
    moved.extend(ups.iter().map(|up| truth.rest(&(up * 1.1), &mut dice)));
    let moved = tumble::fit(&axle_unit(), &unit(), &moved).unwrap_err();
    assert!(matches!(moved, CalibrateError::Contradict { .. }), "{moved}");
}

#[test]
fn the_heading_is_found_as_well_as_is_said() {
    const NAMED_U_RAD: f64 = 0.2 * std::f64::consts::PI / 180.0;
    let named = |roll_deg: f64, pitch_deg: f64| Attitude {
        roll_rad: roll_deg.to_radians(),
        pitch_rad: pitch_deg.to_radians(),
    };
    for attitudes in [vec![named(10.0, 0.0)], vec![named(12.0, 0.0), named(-12.0, 1.0), named(0.0, 5.0)]] {
        let drawn = |seed| {
            let mut dice = dice(seed);
            // The tumble has been done: what it leaves of biases and scales.
            let mut unit = unit();
            (unit.accel_bias_u, unit.scale_u) = (4e-3, 1.5e-3);
            let truth = TrueUnit {
                inverse: Matrix3::from_diagonal(&dice.vector(1.5e-3).add_scalar(1.0)),
                bias: dice.vector(4e-3),
                gyro: Vector3::zeros(),
            };
            let heading = dice.normal(unit.heading_u_rad);
            let tilt = Rotation3::from_euler_angles(dice.normal(0.03), dice.normal(0.03), 0.0);
            let mounting = Rotation3::from_euler_angles(0.0, 0.0, heading) * tilt;
            let sees = |a: &Attitude, dice: &mut Dice| {
                let body = Rotation3::from_euler_angles(a.roll_rad, a.pitch_rad, dice.normal(1.0));
                truth.rest(&(mounting.inverse() * (body.inverse() * Vector3::z())), dice)
            };
            let level = sees(&Attitude::default(), &mut dice);
            let rests: Vec<Rest> = attitudes
                .iter()
                .map(|a| {
                    let (roll, pitch) = (dice.normal(NAMED_U_RAD), dice.normal(NAMED_U_RAD));
                    let is = Attitude { roll_rad: a.roll_rad + roll, pitch_rad: a.pitch_rad + pitch };
                    sees(&is, &mut dice)
                })
                .collect();
            let positions: Vec<_> = attitudes.iter().copied().zip(&rests).collect();
            let found = heading::fit(&axle_unit(), &unit, &level, &positions, NAMED_U_RAD).unwrap();
            (found, heading)
        };
        let honesty = honesty(|seed| {
            let (found, truth) = drawn(seed);
            (found.heading_rad - truth) / found.u_rad
        });
        assert!(HONEST.contains(&honesty), "{attitudes:?}: {honesty}");
        let u = drawn(1).0.u_rad;
        assert!(u < 0.5 * 3f64.to_radians(), "{u}");
    }
}

#[test]
fn a_tilt_that_is_not_the_named_one_is_refused() {
    let (unit, mut dice) = (unit(), dice(2));
    let truth = TrueUnit { inverse: Matrix3::identity(), bias: Vector3::zeros(), gyro: Vector3::zeros() };
    let up = |roll_deg: f64| {
        Rotation3::from_axis_angle(&Unit::new_unchecked(Vector3::x()), roll_deg.to_radians()).inverse()
            * Vector3::z()
    };
    let level = truth.rest(&up(0.0), &mut dice);
    let rest = truth.rest(&up(10.0), &mut dice);
    let of = |roll_deg: f64| {
        let named = Attitude { roll_rad: f64::to_radians(roll_deg), pitch_rad: 0.0 };
        heading::fit(&axle_unit(), &unit, &level, &[(named, &rest)], 3e-3)
    };
    assert!(of(10.0).is_ok() && of(9.0).is_ok());
    assert!(matches!(of(-10.0), Err(CalibrateError::OtherTilt { position: 2, .. })));
    assert!(matches!(of(20.0), Err(CalibrateError::OtherTilt { .. })));
    let flat = heading::fit(&axle_unit(), &unit, &level, &[(Attitude::default(), &level)], 3e-3);
    assert!(matches!(flat, Err(CalibrateError::NotTilted { .. })));
}
