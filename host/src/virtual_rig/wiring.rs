//! From a rig file's `input` entries to buses with parts on them, and what those parts measure.

use super::error::VirtualRigError;
use super::hands::Hands;
use super::parts::bus::{Bus, Seat};
use super::parts::{Ads1115, As5600, Lsm6dso, Part, Surroundings, Terminal, Vl53l4cd};
use super::readings::{Felt, Readings};
use crate::geometry::Vector3;
use crate::rig::{Input, Kind, Rig, Scale, Sensor};

/// Clocks of the virtual logger's buses, Hz: short ones at 400 kHz, and bus 1 for units on long cables.
pub const BUS_CLOCKS_HZ: [u32; 4] = [400_000, 100_000, 400_000, 400_000];
/// Volt per count of an ADC at its default full scale of ±4.096 V: the counts of a rig file's scale.
const VOLT_PER_COUNT: f64 = 4.096 / 32768.0;
/// Supply of the potentiometers, V: what a rig file's scale is for, where it really is, and how far it wanders, and how fast.
const NOMINAL_EXCITATION_V: f64 = 3.3;
const EXCITATION_V: f64 = 3.27;
const EXCITATION_WANDERS_V: f64 = 0.01;
const EXCITATION_PERIOD_S: f64 = 311.0;
/// An ADC's clock may be off by 10 %; each part has its own.
const CLOCK_OFF: f64 = 0.06;
/// Sensors that one ADC serves by default; its last input reads the excitation.
const SENSORS_PER_ADC: usize = 3;

/// A hand pulls a load cell with so many newtons where it would pull a wire by a metre: some 300 N.
const HAND_N_PER_M: f64 = 2500.0;

/// A rig's sensors with the time at which their test begins.
#[derive(Debug, Clone)]
pub struct Bench {
    readings: Readings,
    sensors: Vec<Socket>,
    /// Device time at which the test began or begins, µs.
    pub begun_us: Option<u64>,
    /// What a builder's hands do with the sensors.
    pub hands: Hands,
}

/// What lies between a sensor's value and the part that it is wired to.
#[derive(Debug, Clone)]
struct Socket {
    /// How the value becomes counts, where it is a scalar.
    scale: Option<Scale>,
    /// Whether the counts go with the excitation.
    ratiometric: bool,
    /// What a hand does to it, of the sensor's unit for each metre or radian that it would move a wire or a magnet.
    by_hand: f64,
}

impl Bench {
    /// The sensors of `rig`, read by `readings`.
    pub fn new(rig: &Rig, readings: Readings) -> Self {
        let sensors = rig.sensors.iter().map(|s| {
            let ratiometric = s.input.as_ref().is_some_and(|i| i.excitation.is_some());
            let by_hand = if matches!(s.kind, Kind::Force(_)) { HAND_N_PER_M } else { 1.0 };
            Socket { scale: s.reading().map(|r| r.scale.clone()), ratiometric, by_hand }
        });
        Self { sensors: sensors.collect(), readings, begun_us: None, hands: Hands::default() }
    }

    /// The sensors' own readings.
    pub fn readings(&self) -> &Readings {
        &self.readings
    }

    /// Time in the test, s; before it begins the vehicle stands still.
    pub fn test_s(&self, t_us: u64) -> f64 {
        self.begun_us.map_or(-1.0, |begun| (t_us as f64 - begun as f64) * 1e-6)
    }

    /// What the scalar sensor in a socket reads, SI.
    fn value(&mut self, socket: usize, t_us: u64) -> Option<f64> {
        let (t_s, sensor) = (self.test_s(t_us), self.hands.plugged(socket));
        match self.readings.read(sensor, t_s)? {
            Felt::Scalar(value) => {
                Some(value + self.hands.off(sensor, t_s) * self.sensors.get(sensor)?.by_hand)
            }
            Felt::Unit(_) => None,
        }
    }

    /// The same in counts of its rig file, and whether it goes with the excitation.
    fn counts(&mut self, socket: usize, t_us: u64) -> Option<(f64, bool)> {
        let value = self.value(socket, t_us)?;
        let Socket { scale, ratiometric, .. } = self.sensors.get(self.hands.plugged(socket))?;
        scale.as_ref().map(|scale| (scale.invert(value), *ratiometric))
    }
}

fn excitation_v(t_us: u64) -> f64 {
    let t_s = t_us as f64 * 1e-6;
    EXCITATION_V + EXCITATION_WANDERS_V * (std::f64::consts::TAU * t_s / EXCITATION_PERIOD_S).sin()
}

impl Surroundings for Bench {
    fn volts(&mut self, terminal: Terminal, t_us: u64) -> f64 {
        let supply_v = excitation_v(t_us);
        match terminal {
            Terminal::Excitation => supply_v,
            Terminal::Sensor(sensor) => match self.counts(sensor, t_us) {
                Some((counts, true)) => {
                    (counts * VOLT_PER_COUNT * supply_v / NOMINAL_EXCITATION_V).clamp(0.0, supply_v)
                }
                Some((counts, false)) => counts * VOLT_PER_COUNT,
                None => 0.0,
            },
        }
    }

    fn turns(&mut self, terminal: Terminal, t_us: u64) -> Option<f64> {
        /// Counts of a turn of a 12-bit angle sensor.
        const COUNTS_PER_TURN: f64 = 4096.0;
        match terminal {
            Terminal::Excitation => None,
            Terminal::Sensor(sensor) => self.counts(sensor, t_us).map(|(counts, _)| counts / COUNTS_PER_TURN),
        }
    }

    fn metres(&mut self, terminal: Terminal, t_us: u64) -> Option<f64> {
        match terminal {
            Terminal::Excitation => None,
            Terminal::Sensor(sensor) => self.value(sensor, t_us),
        }
    }

    fn motion(&mut self, terminal: Terminal, t_us: u64) -> [Vector3<f64>; 2] {
        let t_s = self.test_s(t_us);
        match terminal {
            Terminal::Sensor(socket) => {
                let sensor = self.hands.plugged(socket);
                match self.readings.read(sensor, t_s) {
                    Some(Felt::Unit([force, rate])) => {
                        [force + Vector3::z() * self.hands.knock(sensor, t_s), rate]
                    }
                    _ => [Vector3::zeros(); 2],
                }
            }
            Terminal::Excitation => [Vector3::zeros(); 2],
        }
    }
}

/// The rig with every sensor wired: as its file says, or, where it wires none, as a builder would: three wires to a converter,
/// angle sensors behind a multiplexer, inertial units on the bus for long cables.
pub fn wired(rig: &Rig) -> Rig {
    let mut rig = rig.clone();
    if rig.sensors.iter().any(|s| s.input.is_some()) {
        return rig;
    }
    let (mut analogue, mut angles, mut units) = (0, 0, 0);
    for sensor in &mut rig.sensors {
        let input = match sensor.kind {
            Kind::Inertial(_) => {
                units += 1;
                unit_input(units - 1)
            }
            Kind::Angle(_) => {
                angles += 1;
                angle_input(angles - 1)
            }
            Kind::DrawWire(_) | Kind::Range(_) | Kind::Force(_) => {
                analogue += 1;
                analogue_input(analogue - 1)
            }
        };
        sensor.input = Some(input);
    }
    rig
}

/// The four addresses that a converter has are taken on bus 0, then on buses 2 and 3.
fn analogue_input(place: usize) -> Input {
    let adc = place / SENSORS_PER_ADC;
    let bus = [0, 2, 3].get(adc / 4).copied().unwrap_or(3);
    Input {
        bus,
        mux: None,
        device: "ads1115".into(),
        address: 0x48 + (adc % 4) as u8,
        channel: (place % SENSORS_PER_ADC) as u8,
        excitation: Some(SENSORS_PER_ADC as u8),
    }
}

fn angle_input(place: usize) -> Input {
    let mux = (0x70 + (place / 8 % 8) as u8, (place % 8) as u8);
    Input { bus: 0, mux: Some(mux), device: "as5600".into(), address: 0x36, channel: 0, excitation: None }
}

fn unit_input(place: usize) -> Input {
    let mux = (place >= 2).then(|| (0x70, (place / 2 - 1) as u8 % 8));
    let address = 0x6a + (place % 2) as u8;
    // The first two sit on the bus itself and would answer behind a multiplexer too: more of them go on another bus.
    let bus = if place < 2 { 1 } else { 2 };
    Input { bus, mux, device: "lsm6dso".into(), address, channel: 0, excitation: None }
}

/// Where a wired sensor's part sits.
pub fn seat(input: &Input) -> Seat {
    Seat { mux: input.mux, address: input.address }
}

/// The buses of a wired rig.
///
/// # Errors
/// Where a sensor is wired to a part or a bus that the virtual logger has not.
pub fn buses(rig: &Rig) -> Result<Vec<Bus>, VirtualRigError> {
    let mut buses: Vec<Bus> = BUS_CLOCKS_HZ.iter().map(|clock| Bus::new(*clock)).collect();
    let wired: Vec<(usize, &Sensor, &Input)> =
        rig.sensors.iter().enumerate().filter_map(|(k, s)| Some((k, s, s.input.as_ref()?))).collect();
    for (place, (k, sensor, input)) in wired.iter().enumerate() {
        let same = |other: &Input| (other.bus, seat(other)) == (input.bus, seat(input));
        if wired.iter().take(place).any(|(_, _, other)| same(other)) {
            continue;
        }
        let inputs = || inputs(&wired, same);
        let part: Box<dyn Part> = match input.device.as_str() {
            "ads1115" => Box::new(Ads1115::new(inputs(), 1.0 + CLOCK_OFF * (1.7 * place as f64).sin())),
            "as5600" => Box::new(As5600::new(Terminal::Sensor(*k))),
            "lsm6dso" => Box::new(Lsm6dso::new(Terminal::Sensor(*k))),
            "vl53l4cd" => Box::new(Vl53l4cd::new(Terminal::Sensor(*k))),
            part => {
                return Err(VirtualRigError::NoPart { sensor: sensor.name.clone(), part: part.into() });
            }
        };
        let bus = buses.get_mut(usize::from(input.bus));
        bus.ok_or_else(|| VirtualRigError::NoBus { sensor: sensor.name.clone(), bus: input.bus })?
            .seat(seat(input), part);
    }
    Ok(buses)
}

/// What is tied to the inputs of the converter that these sensors share.
fn inputs(wired: &[(usize, &Sensor, &Input)], same: impl Fn(&Input) -> bool) -> [Option<Terminal>; 4] {
    let mut terminals = [None; 4];
    for (k, _, input) in wired.iter().filter(|(_, _, i)| same(i)) {
        let supply = input.excitation.map(|channel| (channel, Terminal::Excitation));
        for (channel, terminal) in supply.into_iter().chain([(input.channel, Terminal::Sensor(*k))]) {
            if let Some(at) = terminals.get_mut(usize::from(channel)) {
                *at = Some(terminal);
            }
        }
    }
    terminals
}
