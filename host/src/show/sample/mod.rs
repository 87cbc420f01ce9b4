//! A comparison for the tests of this folder. The drawn vehicle and the vehicle that was "measured" differ by one bracket
//! hole; uncertainties and verdicts are set by hand so that every status, verdict and kind of finding occurs.

mod by_itself;

use crate::design::{Follower, Mechanism, State};
use crate::judge::*;
use crate::measure::*;
use crate::run::{Counts, Facts, Phase, Provenance};
use crate::vehicle::numbers::{Key, Numbers};
use crate::vehicle::{self, Mount, Position, Vehicle};
use std::collections::BTreeMap;

/// States along each way of the travel.
const ALONG: i32 = 9;
/// Half of the greatest heave, m, and of the greatest roll, rad, per step.
const STEP: (f64, f64) = (0.02, 0.065);

/// The vehicle as drawn: a rear axle on four links, the upper pair splayed.
pub fn bramble() -> Vehicle {
    let text = include_str!("bramble.toml");
    vehicle::file::parse(text, "bramble.toml").expect("the sample is a valid file")
}

/// The vehicle as it stands: the lower links sit one hole lower on the chassis.
fn as_built() -> Vehicle {
    let mut vehicle = bramble();
    for link in vehicle.axles.iter_mut().flat_map(|a| &mut a.locating.links) {
        link.chassis = link.chassis.using(0).unwrap_or_else(|| Mount::fixed(link.chassis.point()));
    }
    vehicle
}

/// Standard uncertainty of each number, as a good rig reaches it.
fn u_of(key: Key) -> f64 {
    match key {
        Key::SideViewInstantCentreX => 0.021,
        Key::SideViewInstantCentreZ => 0.004,
        Key::PitchPerHeave => 0.0021,
        Key::AntiSquat | Key::AntiLiftBrake => 0.6,
        Key::RollCentreZ => 0.0019,
        Key::RollAxisRise => 0.0042,
        Key::RollSteer => 0.0031,
        _ => 0.0012,
    }
}

/// Where nothing is measured in the sample, and why.
fn withheld(key: Key) -> Option<Measured> {
    match key {
        Key::SideViewDirection => {
            Some(Measured::without(Status::NotMeasured, "the instant centre is not at infinity"))
        }
        Key::HeaveRate | Key::RollRate => Some(Measured::without(
            Status::NotMeasured,
            "needs the loads on the wheels, which no sensor of a rig reads",
        )),
        Key::LateralPerHeave => Some(Measured::without(
            Status::NotExcited,
            "the axle hardly moved up and down by itself: bounce it 23 mm more",
        )),
        Key::RollAxisScrewPitch => {
            let mut known = Measured::new(0.004, 0.011);
            known.status = Status::NotResolved;
            known.why = Some("its uncertainty is larger than any such number".into());
            Some(known)
        }
        _ => None,
    }
}

fn measured(numbers: &Numbers) -> BTreeMap<Key, Measured> {
    Key::ALL
        .into_iter()
        .filter(|k| k.applies_to(Position::Rear))
        .map(|key| {
            let seen = withheld(key).or_else(|| Some(Measured::new(numbers.get(key)?, u_of(key))));
            (
                key,
                seen.unwrap_or_else(|| {
                    Measured::without(Status::NotMeasured, "this state has no such number")
                }),
            )
        })
        .collect()
}

fn states() -> Vec<(f64, f64)> {
    let steps = (ALONG - 1) / 2;
    let heave = (-steps..=steps).map(|k| (f64::from(k) * STEP.0, 0.0));
    let roll = (-steps..=steps).map(|k| (0.01 * f64::from(k * k) / 4.0, f64::from(k) * STEP.1));
    heave.chain(roll).collect()
}

fn solve(mechanism: &Mechanism, heave_m: f64, roll_rad: f64) -> State {
    mechanism.solve(heave_m, roll_rad).expect("the sample reaches its states")
}

fn along(mechanism: &Mechanism) -> Vec<AlongPoint> {
    let mut points = Vec::new();
    for (direction, lag) in [(Direction::Up, 0.0004), (Direction::Down, -0.0004)] {
        for (heave_m, roll_rad) in states() {
            let state = solve(mechanism, heave_m, roll_rad);
            let steer = state.pose.axle_steer_rad() + lag;
            points.push(AlongPoint {
                heave_m,
                roll_rad,
                direction,
                axle_steer_rad: Measured::new(steer, 0.0009 + 0.004 * roll_rad.abs()),
                pose: state.pose,
                numbers: measured(&mechanism.numbers(&state)),
            });
        }
    }
    points
}

/// Heave, roll and phase over time: still, two bounces, each side up a ramp and back.
fn schedule(t_s: f64) -> (f64, f64, Phase) {
    let wave = |t: f64, period: f64| (std::f64::consts::TAU * t / period).sin();
    match t_s {
        t if t < 4.0 => (0.0, 0.0, Phase::Still),
        t if t < 20.0 => (0.08 * wave(t - 4.0, 8.0), 0.0, Phase::Bounce),
        t if t < 36.0 => (0.035 * wave(t - 20.0, 32.0), 0.25 * wave(t - 20.0, 32.0), Phase::RampLeft),
        t => (0.035 * wave(t - 36.0, 32.0), -0.25 * wave(t - 36.0, 32.0), Phase::RampRight),
    }
}

fn path(mechanism: &Mechanism) -> Vec<PosePoint> {
    let mut follower = Follower::new(mechanism);
    (0..=104)
        .map(|k| {
            let t_s = 0.5 * f64::from(k);
            let (heave_m, roll_rad, phase) = schedule(t_s);
            let pose = follower.go(heave_m, roll_rad).expect("the sample reaches its path").pose;
            PosePoint {
                t_s,
                phase,
                pose,
                u: [Some(0.001); 6],
                chi_square: 2.0,
                redundancy: 2,
                direction: by_itself::way(t_s, phase),
            }
        })
        .collect()
}

fn links(path: &[PosePoint]) -> Vec<LinkMeasured> {
    bramble().axles[0]
        .locating
        .links
        .iter()
        .enumerate()
        .map(|(k, link)| LinkMeasured {
            name: link.name.clone(),
            nominal_m: link.drawn_length_m(),
            length_m: Measured::without(
                Status::NotMeasured,
                "wires zeroed at ride height see changes of length only",
            ),
            play_m: match k {
                0 => Measured::new(0.0031, 0.0004),
                _ => Measured::without(Status::NotResolved, "less than the wires' hysteresis of 1 mm"),
            },
            drawn_give_m: match k {
                0 => Measured::new(0.0004, 0.0002),
                _ => Measured::without(Status::NotMeasured, "the drawing does not tell"),
            },
            compliance_m_per_n: match k {
                0 => Measured::new(2.1e-7, 0.2e-7),
                _ => Measured::without(
                    Status::NotResolved,
                    "no more than the sensors' hysteresis and noise could make",
                ),
            },
            apparent_change_m: Measured::new(0.002 * (4 - k) as f64, 0.0007),
            apparent_m: path.iter().map(|p| by_itself::apparent_m(p, k)).collect(),
            apparent_u_m: vec![0.0006; path.len()],
        })
        .collect()
}

fn ramp() -> [RampIndex; 2] {
    let none = RampIndex {
        index: Measured::without(
            Status::NotExcited,
            "the other wheel did not lift: climb until articulation stops growing",
        ),
        distance_m: None,
        lift_t_s: None,
        articulation_rad: None,
        inclination_rad: None,
        taped_m: None,
        profile: Vec::new(),
    };
    let left = RampIndex {
        index: Measured::new(577.4, 12.3),
        distance_m: Some(1.4667),
        lift_t_s: Some(31.0),
        articulation_rad: Some(0.249),
        inclination_rad: Some(0.30),
        taped_m: Some(1.455),
        profile: by_itself::profile(),
    };
    [left, none]
}

/// One axle, analysed.
fn axle(mechanism: &Mechanism) -> AxleAnalysis {
    let measured = measured(&mechanism.numbers(mechanism.ride()));
    let budget = measured
        .iter()
        .filter_map(|(key, m)| {
            let (_, u) = m.measured()?;
            let part = |share: f64| u * share.sqrt();
            let budget = Budget {
                noise: part(0.05),
                mount: part(0.55),
                scale: part(0.1),
                zero: part(0.03),
                heading: part(0.2),
                model: part(0.07),
            };
            Some((*key, budget))
        })
        .collect();
    let path = path(mechanism);
    AxleAnalysis {
        ride: None,
        name: "rear".into(),
        index: 0,
        position: Position::Rear,
        measured,
        budget,
        dearest: Default::default(),
        along: along(mechanism),
        ramp_travel_index: ramp(),
        links: links(&path),
        turned: by_itself::turned(),
        stepped: Vec::new(),
        suspects: Vec::new(),
        sensors: Vec::new(),
        anew: None,
        theta: nalgebra::DVector::zeros(0),
        fit: FitQuality { chi_square_per_dof: Some(1.12), surface_residual: [2e-4, 2e-4, 1e-4, 1e-4] },
        envelope: None,
        travel: Travel { heave_m: [-0.08, 0.08], roll_rad: [-0.25, 0.25] },
        seen: [true; 6],
        residuals: by_itself::residuals(),
        path,
        surfaces: None,
        remarks: Vec::new(),
    }
}

fn provenance(run: &str) -> Provenance {
    let hash = |text: &str| blake3::hash(text.as_bytes()).to_hex().to_string();
    Provenance {
        run: run.into(),
        vehicle_hash: bramble().hash,
        rig_hash: hash("rig"),
        calibration_hash: None,
        data_hash: hash(run),
        firmware: Some("0.1.0".into()),
        recorded: None,
    }
}

/// A run, measured.
pub fn analysis() -> Analysis {
    let vehicle = as_built();
    let mechanism = Mechanism::new(&vehicle, 0).expect("the sample is located");
    Analysis {
        vehicle: "Bramble".into(),
        axles: vec![axle(&mechanism)],
        sharing: Vec::new(),
        counts: Counts { received: 62_400, lost: 38, excluded: 12 },
        facts: Facts { test: Some("ramp".into()), ramp_angle_rad: Some(0.349), ..Facts::default() },
        provenance: provenance("ramp-2"),
        remarks: vec!["a gap of 0.38 s at 27.2 s is not bridged".into()],
    }
}

fn number(key: Key, measured: &Measured, designed: Option<f64>) -> NumberComparison {
    let (limit, u) = (3.5 * u_of(key), 1.8 * u_of(key));
    let other = Quantity { value: designed, u: designed.map(|_| u) };
    let known = measured.measured().zip(designed);
    let difference = known.map(|((value, u), designed)| (value - designed, u));
    let verdict = match difference {
        None if measured.status == Status::NotResolved => Verdict::NotResolved,
        None => Verdict::NotMeasured,
        Some((d, u)) if d.abs() > limit + 1.645 * u => Verdict::Differs,
        Some((d, u)) if d.abs() < limit - 1.645 * u => Verdict::Agrees,
        Some(_) => Verdict::NotResolved,
    };
    NumberComparison {
        designed: other,
        measured: measured.clone(),
        difference: Quantity { value: difference.map(|d| d.0), u: difference.map(|d| d.1) },
        limit: Some(limit),
        verdict,
    }
}

fn findings() -> Vec<Finding> {
    let finding = |kind, element: &str, text: &str| Finding {
        kind,
        element: element.into(),
        undecided: false,
        text: text.into(),
        size: None,
        u: None,
        probability: 0.5,
        explains: Vec::new(),
    };
    vec![
        Finding {
            size: Some(0.02),
            u: Some(0.0021),
            probability: 0.93,
            explains: vec![
                (Key::RollSteer, 0.97),
                (Key::SideViewInstantCentreX, 0.91),
                (Key::AntiSquat, 0.88),
                (Key::RollCentreZ, 0.02),
            ],
            ..finding(
                FindingKind::Hole,
                "lower left and lower right",
                "the data fit hole 1 of the chassis brackets of \"lower left\" and \"lower right\", the file says hole 2: look which hole the bolts are in",
            )
        },
        Finding {
            size: Some(0.0031),
            u: Some(0.0004),
            probability: 0.99,
            ..finding(
                FindingKind::Play,
                "lower left",
                "\"lower left\" has 3.1 mm of play: check both of its joints",
            )
        },
    ]
}

/// The run set beside the drawing.
pub fn comparison() -> Comparison {
    let vehicle = bramble();
    let mechanism = Mechanism::new(&vehicle, 0).expect("the sample is located");
    let mut analysis = analysis();
    let axle = analysis.axles.remove(0);
    let ride = mechanism.numbers(mechanism.ride());
    let numbers = axle.measured.iter().map(|(key, m)| (*key, number(*key, m, ride.get(*key)))).collect();
    let designed = |p: &AlongPoint| {
        let state = solve(&mechanism, p.heave_m, p.roll_rad);
        DesignedPoint {
            heave_m: p.heave_m,
            roll_rad: p.roll_rad,
            pose: state.pose,
            numbers: mechanism.numbers(&state),
        }
    };
    let axle = AxleComparison {
        name: axle.name.clone(),
        numbers,
        findings: findings(),
        designed_along: axle.along.iter().map(|p| Some(designed(p))).collect(),
        analysis: axle,
    };
    Comparison {
        vehicle: analysis.vehicle,
        axles: vec![axle],
        sharing: analysis.sharing,
        counts: analysis.counts,
        facts: analysis.facts,
        provenance: analysis.provenance,
        remarks: analysis.remarks,
    }
}

/// Two runs set beside each other.
pub fn runs() -> RunsComparison {
    let comparison = comparison();
    let axle = &comparison.axles[0];
    RunsComparison {
        vehicle: comparison.vehicle.clone(),
        first_vehicle: comparison.vehicle.clone(),
        unpaired: [Vec::new(), Vec::new()],
        first: provenance("ramp-1"),
        second: provenance("ramp-2"),
        axles: vec![AxleRuns { name: axle.name.clone(), numbers: axle.numbers.clone() }],
        remarks: vec!["the vehicle file changed between the two runs".into()],
    }
}
