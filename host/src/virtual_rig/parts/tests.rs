//! The parts against the logger's own drivers.

use super::bus::{Bus, Seat, Trouble, Wired};
use super::*;
use embedded_hal::i2c::{I2c, Operation};
use hingeline_firmware::Recover;
use hingeline_firmware::bus::BusState;
use hingeline_firmware::sensors::{Conversion, Driver, Fault, Part as PartName, Sensor, tca9548};
use hingeline_protocol::{Component, MuxPort, SensorConfig};
use std::cell::{Cell, RefCell};

/// Surroundings in which everything is known: inputs at steady voltages but for one that rises 1 V/s.
struct Known;

impl Surroundings for Known {
    fn volts(&mut self, terminal: Terminal, t_us: u64) -> f64 {
        match terminal {
            Terminal::Excitation => 3.3,
            Terminal::Sensor(0) => 1.0 + t_us as f64 * 1e-6,
            Terminal::Sensor(k) => 0.5 * k as f64,
        }
    }

    fn turns(&mut self, terminal: Terminal, _: u64) -> Option<f64> {
        match terminal {
            Terminal::Sensor(k) => Some(0.125 * k as f64),
            Terminal::Excitation => None,
        }
    }

    fn metres(&mut self, terminal: Terminal, t_us: u64) -> Option<f64> {
        match terminal {
            // Comes nearer by 0.1 m/s.
            Terminal::Sensor(0) => Some(0.7 - 1e-7 * t_us as f64),
            Terminal::Sensor(k) => Some(k as f64),
            Terminal::Excitation => None,
        }
    }

    fn motion(&mut self, _: Terminal, _: u64) -> [Vector3<f64>; 2] {
        [Vector3::new(0.5, -1.0, 9.81), Vector3::new(0.1, -0.2, 0.3)]
    }
}

/// A bus and its clock.
struct Bench {
    bus: Bus,
    around: RefCell<Known>,
    clock_ns: Cell<u64>,
}

impl Bench {
    fn new() -> Self {
        Self { bus: Bus::new(400_000), around: RefCell::new(Known), clock_ns: Cell::new(0) }
    }

    fn wired(&mut self) -> Wired<'_, Known> {
        Wired { bus: &mut self.bus, around: &self.around, clock_ns: &self.clock_ns }
    }

    fn now_us(&self) -> u64 {
        self.clock_ns.get() / 1000
    }

    fn wait(&self, us: u64) {
        self.clock_ns.set(self.clock_ns.get() + 1000 * us);
    }
}

fn seat(address: u8) -> Seat {
    Seat { mux: None, address }
}

fn adc(address: u8) -> Box<dyn Part> {
    let inputs = [Some(Terminal::Sensor(0)), Some(Terminal::Sensor(3)), None, Some(Terminal::Excitation)];
    assert_ne!(address, 0);
    Box::new(Ads1115::new(inputs, 1.08))
}

fn driver(part: PartName, address: u8) -> Driver {
    let config = SensorConfig {
        index: 0,
        name: heapless::String::new(),
        part: heapless::String::new(),
        bus: 0,
        mux: None,
        address,
        input: 0,
        excitation: None,
        component: Component::Length,
        every: 1,
        full_scale_mv: 0,
        full_scale_g: 0,
        full_scale_dps: 0,
    };
    Driver::new(part, &config)
}

/// Begins a conversion, waits as long as the driver says, and reads it: count and time of its middle, µs.
fn convert(bench: &mut Bench, driver: &mut Driver, input: u8) -> Result<(i32, u64), Fault> {
    let conversion = driver.begin(&mut bench.wired(), input)?;
    let begun_us = bench.now_us();
    let middle_us = match conversion {
        Conversion::Timed { middle_us, ready_us } => {
            bench.wait(u64::from(ready_us));
            begun_us + u64::from(middle_us)
        }
        Conversion::OnRead { age_us } => begun_us.saturating_sub(u64::from(age_us)),
    };
    Ok((driver.finish(&mut bench.wired())?[0], middle_us))
}

#[test]
fn the_adc_gives_the_voltage_in_the_middle_of_its_conversion() {
    // At 8 % slow the middle is 71 µs later than the driver assumes: 71 µV on the rising input, less than a count.
    const COUNTS: f64 = 1.6;
    let mut bench = Bench::new();
    bench.bus.seat(seat(0x48), adc(0x48));
    let mut driver = driver(PartName::Ads1115, 0x48);
    driver.setup(&mut bench.wired()).expect("it is there");
    for (input, terminal) in [
        (0, Some(Terminal::Sensor(0))),
        (1, Some(Terminal::Sensor(3))),
        (2, None),
        (3, Some(Terminal::Excitation)),
    ] {
        let (count, middle_us) = convert(&mut bench, &mut driver, input).expect("it converts");
        let volts = terminal.map_or(0.0, |t| Known.volts(t, middle_us));
        assert!(
            (f64::from(count) - volts * 32768.0 / 4.096).abs() < COUNTS,
            "input {input}: {count} at {volts} V"
        );
    }
}

#[test]
fn an_adc_read_too_early_still_holds_the_input_before() {
    let mut bench = Bench::new();
    bench.bus.seat(seat(0x48), adc(0x48));
    let mut driver = driver(PartName::Ads1115, 0x48);
    driver.setup(&mut bench.wired()).expect("it is there");
    let (before, _) = convert(&mut bench, &mut driver, 1).expect("it converts");
    driver.begin(&mut bench.wired(), 3).expect("it takes the command");
    let mut early = [0; 2];
    bench.wired().write_read(0x48, &[0], &mut early).expect("it answers");
    assert_eq!(i32::from(i16::from_be_bytes(early)), before);
    let mut config = [0; 2];
    bench.wired().write_read(0x48, &[1], &mut config).expect("it answers");
    assert_eq!(config[0] >> 7, 0, "busy");
    bench.wait(2000);
    bench.wired().write_read(0x48, &[1], &mut config).expect("it answers");
    assert_eq!(config[0] >> 7, 1, "done");
}

#[test]
fn a_slow_clock_beyond_the_data_sheet_is_noticed_by_the_driver() {
    let mut bench = Bench::new();
    bench.bus.seat(seat(0x48), Box::new(Ads1115::new([Some(Terminal::Excitation); 4], 1.4)));
    let mut driver = driver(PartName::Ads1115, 0x48);
    driver.setup(&mut bench.wired()).expect("it is there");
    assert_eq!(convert(&mut bench, &mut driver, 0), Err(Fault::NotReady));
}

#[test]
fn continuous_conversions_and_small_full_scales_follow_the_data_sheet() {
    // MUX 100, PGA 011 (±1.024 V), continuous, DR 111: 0.5 V is 16000 counts; differential MUX 011 would be input 2 − 3.
    let mut bench = Bench::new();
    let inputs = [Some(Terminal::Sensor(1)), None, Some(Terminal::Sensor(1)), Some(Terminal::Sensor(2))];
    bench.bus.seat(seat(0x49), Box::new(Ads1115::new(inputs, 1.0)));
    let mut read = |mux: u16, pga: u16| {
        let [high, low] = (mux << 12 | pga << 9 | 0b111 << 5 | 0b11).to_be_bytes();
        bench.wired().write(0x49, &[1, high, low]).expect("it answers");
        bench.wait(5000);
        let mut bytes = [0; 2];
        bench.wired().write_read(0x49, &[0], &mut bytes).expect("it answers");
        i16::from_be_bytes(bytes)
    };
    assert_eq!(read(0b100, 0b011), 16_000);
    assert_eq!(read(0b011, 0b011), -16_000);
    assert_eq!(read(0b111, 0b011), 32_000);
    assert_eq!(read(0b111, 0b100), i16::MAX, "1 V clips at ±0.512 V");
}

#[test]
fn the_angle_sensor_tells_its_angle_and_a_missing_magnet() {
    let mut bench = Bench::new();
    bench.bus.seat(seat(0x36), Box::new(As5600::new(Terminal::Sensor(3))));
    let mut present = driver(PartName::As5600, 0x36);
    present.setup(&mut bench.wired()).expect("it is there");
    assert_eq!(convert(&mut bench, &mut present, 0).map(|c| c.0), Ok(3 * 4096 / 8));
    let mut bench = Bench::new();
    bench.bus.seat(seat(0x36), Box::new(As5600::new(Terminal::Excitation)));
    assert_eq!(driver(PartName::As5600, 0x36).setup(&mut bench.wired()), Err(Fault::NoSignal));
}

#[test]
fn the_inertial_unit_gives_six_axes_once_it_has_turned_on() {
    let mut bench = Bench::new();
    bench.bus.seat(seat(0x6a), Box::new(Lsm6dso::new(Terminal::Sensor(0))));
    let mut driver = driver(PartName::Lsm6dso, 0x6a);
    driver.setup(&mut bench.wired()).expect("it is there");
    assert_eq!(
        driver.finish(&mut bench.wired()),
        Err(Fault::NotReady),
        "nothing new before its turn-on time"
    );
    bench.wait(80_000);
    let counts = driver.finish(&mut bench.wired()).expect("it measures");
    let [force, rate] = Known.motion(Terminal::Sensor(0), 0);
    let expected = force.iter().chain(rate.iter());
    for (index, (count, value)) in counts.iter().zip(expected).enumerate() {
        let scalar = driver.scalar(0, index as u8, Component::Ax);
        let read = f64::from(*count) * f64::from(scalar.scale);
        assert!((read - value).abs() <= 0.51 * f64::from(scalar.scale), "axis {index}: {read} for {value}");
    }
    // A burst takes 0.4 ms, a sample 1.2 ms: of two more bursts one at least finds nothing new.
    let again = [driver.finish(&mut bench.wired()), driver.finish(&mut bench.wired())];
    assert!(again.contains(&Err(Fault::NotReady)), "{again:?}");
}

#[test]
fn the_range_finder_tells_the_distance_in_the_middle_of_its_measurement() {
    let mut bench = Bench::new();
    bench.bus.seat(seat(0x29), Box::new(Vl53l4cd::new(Terminal::Sensor(0))));
    let mut driver = driver(PartName::Vl53l4cd, 0x29);
    assert_eq!(driver.setup(&mut bench.wired()), Err(Fault::NotReady), "it boots");
    bench.wait(2_000);
    driver.setup(&mut bench.wired()).expect("it is there");
    assert_eq!(driver.begin(&mut bench.wired(), 0), Err(Fault::NotReady), "it calibrates itself");
    bench.wait(PartName::Vl53l4cd.settle_us());
    // A count is a millimetre: half of one, and what the object moves while the transfers go.
    for _ in 0..50 {
        let (count, middle_us) = convert(&mut bench, &mut driver, 0).expect("it measures");
        let distance_m = Known.metres(Terminal::Sensor(0), middle_us).expect("it is there");
        assert!((f64::from(count) - 1e3 * distance_m).abs() <= 0.7, "{count} for {distance_m}");
        bench.wait(3_000);
    }
    driver.begin(&mut bench.wired(), 0).expect("it takes the command");
    assert_eq!(driver.finish(&mut bench.wired()), Err(Fault::NotReady), "not before its time");
}

#[test]
fn a_range_finder_without_a_target_is_saturated() {
    for terminal in [Terminal::Excitation, Terminal::Sensor(2)] {
        let mut bench = Bench::new();
        bench.bus.seat(seat(0x29), Box::new(Vl53l4cd::new(terminal)));
        bench.wait(2_000);
        let mut driver = driver(PartName::Vl53l4cd, 0x29);
        driver.setup(&mut bench.wired()).expect("it is there");
        bench.wait(PartName::Vl53l4cd.settle_us());
        let (count, _) = convert(&mut bench, &mut driver, 0).expect("it measures");
        assert_eq!(count, driver.scalar(0, 0, Component::Range).raw_max);
    }
}

#[test]
fn a_multiplexer_keeps_equal_addresses_apart() {
    let mut bench = Bench::new();
    for output in [1, 4] {
        let seat = Seat { mux: Some((0x70, output)), address: 0x36 };
        bench.bus.seat(seat, Box::new(As5600::new(Terminal::Sensor(usize::from(output)))));
    }
    assert!(tca9548::is_one(&mut bench.wired(), 0x70));
    let mut state = BusState::new(0);
    state.add_mux(0x70);
    for output in [4, 1] {
        let port = MuxPort { address: 0x70, channel: output };
        state.select(&mut bench.wired(), Some(port)).expect("it connects");
        let mut driver = driver(PartName::As5600, 0x36);
        driver.setup(&mut bench.wired()).expect("it is there");
        let count = convert(&mut bench, &mut driver, 0).expect("it reads").0;
        assert_eq!(count, i32::from(output) * 512);
    }
    state.select(&mut bench.wired(), None).expect("it disconnects");
    assert_eq!(driver(PartName::As5600, 0x36).setup(&mut bench.wired()), Err(Fault::NoAnswer));
}

#[test]
fn troubles_look_to_the_drivers_as_they_do_on_a_bench() {
    let mut bench = Bench::new();
    bench.bus.seat(seat(0x48), adc(0x48));
    let mut driver = driver(PartName::Ads1115, 0x48);
    bench.bus.trouble(seat(0x48), Trouble::Unplugged, 0);
    assert_eq!(driver.setup(&mut bench.wired()), Err(Fault::NoAnswer));
    bench.bus.trouble(seat(0x48), Trouble::Garbled, 0);
    assert_eq!(driver.setup(&mut bench.wired()), Err(Fault::WrongPart));
    bench.bus.trouble(seat(0x48), Trouble::Refuses(2), 0);
    assert_eq!(driver.setup(&mut bench.wired()), Err(Fault::NoAnswer));
    assert_eq!(driver.setup(&mut bench.wired()), Err(Fault::NoAnswer));
    assert_eq!(driver.setup(&mut bench.wired()), Ok(()));
    bench.bus.stick(2);
    assert_eq!(driver.setup(&mut bench.wired()), Err(Fault::Bus));
    assert!(!bench.wired().recover(), "the first clear is not enough");
    assert!(bench.wired().recover());
    assert_eq!(driver.setup(&mut bench.wired()), Ok(()));
}

#[test]
fn transfers_take_the_time_of_their_bytes() {
    // Address, three bytes, address again, two bytes: seven bytes of nine clocks at 400 kHz.
    let mut bench = Bench::new();
    bench.bus.seat(seat(0x48), adc(0x48));
    let mut back = [0; 2];
    let mut operations =
        [Operation::Write(&[1, 0x85]), Operation::Write(&[0x83]), Operation::Read(&mut back)];
    bench.wired().transaction(0x48, &mut operations).expect("it answers");
    assert_eq!(bench.clock_ns.get(), 7 * 22_500);
    assert_eq!(back[1], 0x83, "the two writes were one stream");
}
