//! Random vehicles: a starter with every bracket moved, drawn so; built within the builder's tolerance, but for one thing.

use hingeline::design::Mechanism;
use hingeline::files::starters::Layout;
use hingeline::geometry::Vector3;
use hingeline::geometry::placed::PlacedBody;
use hingeline::rig::{Kind as SensorKind, Rig};
use hingeline::run::Phase;
use hingeline::vehicle::{AngleOf, Mount, Position, RideAngle, RideMark, Vehicle};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// How far a random vehicle's points are from the starter's, at the most in each coordinate, m.
const JITTER_M: f64 = 0.02;
/// Holes of a bracket are this far apart, m.
const PITCH_M: f64 = 0.02;
const LOW_M: f64 = 0.02;
const LONG_M: f64 = 6e-3;
const LONGER_M: f64 = 10e-3;
const PLAY_M: f64 = 8e-4;
/// A sound joint pair of the random vehicles as drawn, N/m; one that went soft gives ten times as much.
const SOUND_N_PER_M: f64 = 8e6;
const SOFTER: f64 = 10.0;
/// What bushes give is off from the drawing, relative standard deviations: all of a vehicle's by the mixture, down to the least
/// part, and each by itself.
const MIXTURE: f64 = 0.45;
const LEAST: f64 = 0.3;
const EACH_BUSH: f64 = 0.2;
/// The next bolt is between these away, m.
const NEXT_BOLT_M: [f64; 2] = [0.03, 0.06];
/// A builder who welds with care, standard deviation of each coordinate, m.
const TOLERANCE_M: f64 = 1e-3;
/// Wires that are made for play: 0.1 mm of hysteresis.
const FINE_HYSTERESIS_M: f64 = 1e-4;

/// Taped with care, standard deviation, m.
const TAPE_U_M: f64 = 2e-3;
/// A digital level on housing and frame, a string along the wheels: standard deviations, rad.
const LEVELLED_U_RAD: f64 = 0.3 * std::f64::consts::PI / 180.0;
const STRUNG_U_RAD: f64 = 0.15 * std::f64::consts::PI / 180.0;
/// From bolt to bolt: on the chassis, on the axle, m.
const TAPED: [([f64; 3], [f64; 3]); 8] = [
    ([0.0, 0.50, 1.0], [0.0, 0.62, 0.50]),
    ([0.0, -0.50, 1.0], [0.0, -0.62, 0.50]),
    ([0.65, 0.55, 0.48], [0.02, 0.60, 0.42]),
    ([0.65, -0.55, 0.48], [0.02, -0.60, 0.42]),
    ([-0.10, 0.55, 0.60], [-0.08, -0.35, 0.55]),
    ([-0.10, -0.55, 0.60], [-0.08, 0.35, 0.55]),
    ([0.60, 0.05, 0.75], [0.03, 0.0, 0.66]),
    ([-0.50, 0.05, 0.80], [-0.10, 0.0, 0.50]),
];

/// What is not as drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Bracket,
    Hole,
    Play,
    SoftBush,
    LongLink,
    Sensor,
    Nothing,
    /// Nothing either, rocked and shoved.
    Tight,
    LongerLink,
}

impl Kind {
    /// Tests that show it.
    pub fn phases(self) -> Vec<Phase> {
        match self {
            Kind::Play | Kind::SoftBush | Kind::Tight => {
                vec![Phase::Still, Phase::RockForward, Phase::RockBack, Phase::ShoveLeft, Phase::ShoveRight]
            }
            _ => vec![Phase::Still, Phase::Bounce, Phase::RampLeft, Phase::RampRight],
        }
    }
}

/// A vehicle with one thing that is not as drawn.
pub struct Planted {
    /// The vehicle file's.
    pub drawn: Vehicle,
    /// The one on the ramp.
    pub built: Vehicle,
    /// The rig file's.
    pub rig: Rig,
    /// Where sensors are really clipped, before their own errors.
    pub clipped: Rig,
    /// Names of which one names it.
    pub names: Vec<String>,
}

const LAYOUTS: [Layout; 4] = [
    Layout::TriangulatedFourLink,
    Layout::DoubleTriangulatedFourLink,
    Layout::ThreeLink,
    Layout::WishboneThreeLink,
];

/// A vehicle of a kind; a seed is a vehicle.
pub fn planted(kind: Kind, seed: u64) -> Planted {
    let mut dice = ChaCha8Rng::seed_from_u64(seed * 1000 + kind as u64);
    let layout = LAYOUTS[seed as usize % LAYOUTS.len()];
    let text = layout.vehicle_text("Bramble");
    let mut drawn = hingeline::vehicle::file::parse(&text, "vehicle.toml").expect("a starter");
    let mut rig = hingeline::rig::file::parse(layout.rig_text(), "rig.toml", &drawn).expect("its rig");
    drawn.tolerance_m = TOLERANCE_M;
    rig.rate_hz = 50.0;
    for sensor in &mut rig.sensors {
        sensor.rate_hz = 50.0;
        if let (SensorKind::DrawWire(wire), Kind::Play | Kind::SoftBush | Kind::Tight) =
            (&mut sensor.kind, kind)
        {
            wire.reading.hysteresis = FINE_HYSTERESIS_M;
        }
    }
    everywhere(&mut drawn, |mount| {
        let hole = mount.point() + even(&mut dice, JITTER_M);
        *mount = Mount::with_holes([-1.0, 0.0, 1.0].map(|k| hole + Vector3::z() * (k * PITCH_M)).to_vec(), 1)
            .expect("the middle one of three");
    });
    for link in &mut drawn.axles[0].locating.links {
        link.stiffness_n_per_m = Some(SOUND_N_PER_M);
    }
    let mut built = drawn.clone();
    everywhere(&mut built, |mount| *mount = mount.moved(&even(&mut dice, 3f64.sqrt() * TOLERANCE_M)));
    mix(&mut built, &mut dice);
    let mut clipped = rig.clone();
    let names = plant(kind, &mut built, &mut clipped, &mut dice);
    if matches!(kind, Kind::LongLink | Kind::LongerLink) {
        tape(&mut drawn, &built, &mut dice);
    }
    Planted { drawn, built, rig, clipped, names }
}

/// Measures by hand where the built axle sits: eight distances from frame to axle, its pinion and thrust angle.
fn tape(drawn: &mut Vehicle, built: &Vehicle, dice: &mut ChaCha8Rng) {
    let mechanism = Mechanism::new(built, 0).expect("a layout that is located");
    let body = PlacedBody::new(&mechanism.ride().pose, mechanism.centre());
    let marks = TAPED.iter().enumerate().map(|(k, (chassis, axle))| {
        let (chassis, axle) = (Vector3::from(*chassis), Vector3::from(*axle));
        let z: f64 = StandardNormal.sample(dice);
        let length_m = (body.position(&axle) - chassis).norm() + TAPE_U_M * z;
        RideMark { name: format!("mark {k}"), chassis, axle, length_m }
    });
    drawn.axles[0].ride_marks = marks.collect();
    let pose = mechanism.ride().pose;
    let nose_up_rad =
        if drawn.axles[0].position == Position::Front { pose.pitch_rad } else { -pose.pitch_rad };
    let pinion_rad = drawn.axles[0].pinion_rad.expect("a starter says it") + nose_up_rad;
    let angles = [
        (AngleOf::Pinion, pinion_rad, LEVELLED_U_RAD),
        (AngleOf::Thrust, pose.axle_steer_rad(), STRUNG_U_RAD),
    ];
    drawn.axles[0].ride_angles = angles
        .map(|(of, true_rad, u_rad)| {
            let z: f64 = StandardNormal.sample(dice);
            RideAngle { of, angle_rad: true_rad + u_rad * z, u_rad }
        })
        .to_vec();
}

/// Bushes as they come: a mixture for the vehicle, and none like another.
fn mix(built: &mut Vehicle, dice: &mut ChaCha8Rng) {
    let mut give = |u: f64| {
        let z: f64 = StandardNormal.sample(dice);
        (1.0 + u * z).max(LEAST)
    };
    let mixture = give(MIXTURE);
    for link in &mut built.axles[0].locating.links {
        link.stiffness_n_per_m = link.stiffness_n_per_m.map(|k| k / (mixture * give(EACH_BUSH)));
    }
}

fn plant(kind: Kind, built: &mut Vehicle, clipped: &mut Rig, dice: &mut ChaCha8Rng) -> Vec<String> {
    let links = &mut built.axles[0].locating.links;
    let link = dice.random_range(0..links.len());
    let link = &mut links[link];
    let name = link.name.clone();
    let chassis_end: bool = dice.random();
    let (mount, end) =
        if chassis_end { (&mut link.chassis, "chassis end") } else { (&mut link.axle, "axle end") };
    match kind {
        Kind::Bracket => *mount = mount.moved(&(Vector3::z() * -LOW_M)),
        Kind::Hole => *mount = mount.using(if dice.random() { 0 } else { 2 }).expect("one of three"),
        Kind::Play => link.play_m = PLAY_M,
        Kind::SoftBush => link.stiffness_n_per_m = link.stiffness_n_per_m.map(|k| k / SOFTER),
        // The axle goes where its links put it, and is zeroed there.
        Kind::LongLink => link.length_m = Some(link.drawn_length_m() + LONG_M),
        Kind::LongerLink => link.length_m = Some(link.drawn_length_m() + LONGER_M),
        Kind::Sensor => return vec![wrong_bolt(clipped, dice)],
        Kind::Nothing | Kind::Tight => return Vec::new(),
    }
    match kind {
        Kind::Bracket | Kind::Hole => vec![format!("{name}, {end}")],
        _ => vec![name],
    }
}

fn wrong_bolt(clipped: &mut Rig, dice: &mut ChaCha8Rng) -> String {
    let wires: Vec<usize> = (0..clipped.sensors.len())
        .filter(|k| matches!(clipped.sensors[*k].kind, SensorKind::DrawWire(_)))
        .collect();
    let sensor = &mut clipped.sensors[wires[dice.random_range(0..wires.len())]];
    let direction = loop {
        let direction = even(dice, 1.0);
        if (0.1..1.0).contains(&direction.norm()) {
            break direction.normalize();
        }
    };
    let by = direction * dice.random_range(NEXT_BOLT_M[0]..NEXT_BOLT_M[1]);
    if let SensorKind::DrawWire(wire) = &mut sensor.kind {
        let end = if dice.random() { &mut wire.chassis } else { &mut wire.axle };
        *end += by;
    }
    sensor.name.clone()
}

fn even(dice: &mut ChaCha8Rng, half: f64) -> Vector3<f64> {
    Vector3::from_fn(|_, _| dice.random_range(-half..half))
}

fn everywhere(vehicle: &mut Vehicle, mut place: impl FnMut(&mut Mount)) {
    let locating = &mut vehicle.axles[0].locating;
    for link in &mut locating.links {
        place(&mut link.chassis);
        place(&mut link.axle);
    }
    for wishbone in &mut locating.wishbones {
        place(&mut wishbone.apex);
        wishbone.legs.iter_mut().for_each(&mut place);
    }
}
