//! Drivers as transcripts of the bus: every byte that goes each way.
#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unusual_byte_groupings,
    reason = "tests; bits grouped as the registers are"
)]

use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
use hingeline_firmware::sensors::{Ads1115, As5600, Conversion, Fault, Lsm6dso, Sensor, Vl53l4cd, tca9548};
use hingeline_protocol::{Component, Quantity, Unit};

const NO_ANSWER: ErrorKind = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);

fn write(address: u8, bytes: &[u8]) -> Transaction {
    Transaction::write(address, bytes.to_vec())
}

fn write_read(address: u8, register: u8, bytes: &[u8]) -> Transaction {
    Transaction::write_read(address, vec![register], bytes.to_vec())
}

/// Runs `work` against exactly these transactions.
fn on_bus<T>(transactions: &[Transaction], work: impl FnOnce(&mut Mock) -> T) -> T {
    let mut bus = Mock::new(transactions);
    let result = work(&mut bus);
    bus.done();
    result
}

/// Config register: OS, MUX 100 + input, PGA, single-shot, 860/s, no comparator (SBAS444D, 8.6.3).
#[test]
fn ads1115_each_input() {
    for (input, full_scale_mv, high) in [
        (0, 0, 0b1_100_001_1),
        (1, 6144, 0b1_101_000_1),
        (2, 2048, 0b1_110_010_1),
        (3, 256, 0b1_111_101_1_u8),
    ] {
        let mut adc = Ads1115::new(0x48);
        adc.set_gain(input, full_scale_mv);
        let conversion =
            on_bus(&[write(0x48, &[1, high, 0b1110_0011])], |bus| adc.begin(bus, input).unwrap());
        // 1/860 s, ten per cent slower, and the wake-up.
        assert_eq!(conversion, Conversion::Timed { middle_us: 581, ready_us: 1162 + 116 + 25 });
    }
}

#[test]
fn ads1115_counts_are_signed() {
    for (bytes, count) in [([0x7f, 0xff], 32767), ([0, 1], 1), ([0xff, 0xff], -1), ([0x80, 0], -32768)] {
        let mut adc = Ads1115::new(0x4a);
        // The first reading asks whether the conversion was done.
        let transcript = [write_read(0x4a, 1, &[0xc3, 0xe3]), write_read(0x4a, 0, &bytes)];
        let counts = on_bus(&transcript, |bus| adc.finish(bus).unwrap());
        assert_eq!(counts, [count, 0, 0, 0, 0, 0]);
        // The next does not.
        assert_eq!(on_bus(&[write_read(0x4a, 0, &bytes)], |bus| adc.finish(bus).unwrap())[0], count);
    }
}

#[test]
fn ads1115_not_done_is_no_reading() {
    let mut adc = Ads1115::new(0x48);
    let transcript = [write_read(0x48, 1, &[0x43, 0xe3])];
    assert_eq!(on_bus(&transcript, |bus| adc.finish(bus)), Err(Fault::NotReady));
}

/// What is written must read back; OS reads 1 when idle.
#[test]
fn ads1115_set_up() {
    let written = write(0x48, &[1, 0x43, 0xe3]);
    for (back, result) in
        [([0xc3, 0xe3], Ok(())), ([0x43, 0xe3], Ok(())), ([0x85, 0x83], Err(Fault::WrongPart))]
    {
        let transcript = [written.clone(), write_read(0x48, 1, &back)];
        assert_eq!(on_bus(&transcript, |bus| Ads1115::new(0x48).setup(bus)), result);
    }
}

/// Volt per count: 187.5, 125, 62.5, 31.25, 15.625, 7.8125 µV (SBAS444D, table 3).
#[test]
fn ads1115_scales() {
    let scales = [(6144, 187.5), (4096, 125.0), (2048, 62.5), (1024, 31.25), (512, 15.625), (256, 7.8125)];
    for (full_scale_mv, microvolt) in scales {
        let mut adc = Ads1115::new(0x48);
        adc.set_gain(0, full_scale_mv);
        let scale = f64::from(adc.scalar(0, Component::Length).scale);
        // f32 has seven digits.
        assert!((scale / (microvolt * 1e-6) - 1.0).abs() < 1e-6, "{full_scale_mv}: {scale}");
    }
}

#[test]
fn as5600_angle() {
    let mut sensor = As5600::new(0x36);
    let transcript = [
        write(0x36, &[0x07, 0x02, 0x00]),
        write_read(0x36, 0x07, &[0xc2, 0x00]),
        write_read(0x36, 0x0b, &[0x20, 0x00, 0x00]),
    ];
    assert_eq!(on_bus(&transcript, |bus| sensor.setup(bus)), Ok(()));
    // Half of the settling time of 0.55 ms; nothing on the bus.
    assert_eq!(on_bus(&[], |bus| sensor.begin(bus, 0)), Ok(Conversion::OnRead { age_us: 275 }));
    // Four bits above the angle are not part of it.
    let counts = on_bus(&[write_read(0x36, 0x0b, &[0x20, 0xfa, 0xbc])], |bus| sensor.finish(bus).unwrap());
    assert_eq!(counts[0], 0xabc);
}

#[test]
fn as5600_without_its_magnet() {
    let transcript = [write_read(0x36, 0x0b, &[0x10, 0x01, 0x00])];
    assert_eq!(on_bus(&transcript, |bus| As5600::new(0x36).finish(bus)), Err(Fault::NoSignal));
}

#[test]
fn as5600_other_part() {
    let transcript = [write(0x36, &[0x07, 0x02, 0x00]), write_read(0x36, 0x07, &[0xff, 0xff])];
    assert_eq!(on_bus(&transcript, |bus| As5600::new(0x36).setup(bus)), Err(Fault::WrongPart));
}

#[test]
fn lsm6dso_set_up() {
    for (full_scale_g, full_scale_dps, accel, gyro) in [
        (0, 0, 0x78, 0x70),
        (2, 125, 0x70, 0x72),
        (8, 500, 0x7c, 0x74),
        (16, 2000, 0x74, 0x7c),
        (4, 1000, 0x78, 0x78),
    ] {
        let transcript = [
            write_read(0x6a, 0x0f, &[0x6c]),
            write(0x6a, &[0x12, 0x44]),
            write(0x6a, &[0x10, accel, gyro]),
            write_read(0x6a, 0x10, &[accel, gyro, 0x44]),
        ];
        let mut unit = Lsm6dso::new(0x6a, full_scale_g, full_scale_dps);
        assert_eq!(on_bus(&transcript, |bus| unit.setup(bus)), Ok(()));
    }
}

#[test]
fn lsm6dso_refusals() {
    let mut unit = Lsm6dso::new(0x6a, 0, 0);
    // The older LSM6DS3 answers 0x69.
    assert_eq!(on_bus(&[write_read(0x6a, 0x0f, &[0x69])], |bus| unit.setup(bus)), Err(Fault::WrongPart));
    let begun =
        [write_read(0x6a, 0x0f, &[0x6c]), write(0x6a, &[0x12, 0x44]), write(0x6a, &[0x10, 0x78, 0x70])];
    for (back, fault) in [([0x78, 0x70, 0x45], Fault::NotReady), ([0, 0, 0x44], Fault::WrongPart)] {
        let transcript = [&begun[..], &[write_read(0x6a, 0x10, &back)]].concat();
        assert_eq!(on_bus(&transcript, |bus| unit.setup(bus)), Err(fault));
    }
}

/// Status, temperature, rates, accelerations in one burst; the wire has accelerations first.
#[test]
fn lsm6dso_burst() {
    let burst = [0x07, 0, 0x34, 0x12, 1, 0, 2, 0, 0xff, 0xff, 0xe8, 0x03, 0x18, 0xfc, 0x00, 0x80];
    let mut unit = Lsm6dso::new(0x6a, 0, 0);
    let counts = on_bus(&[write_read(0x6a, 0x1e, &burst)], |bus| unit.finish(bus).unwrap());
    assert_eq!(counts, [1000, -1000, -32768, 1, 2, -1]);
    // Without anything new on both: the part stands still.
    for status in [0, 1, 2, 4] {
        let mut still = burst;
        still[0] = status;
        assert_eq!(on_bus(&[write_read(0x6a, 0x1e, &still)], |bus| unit.finish(bus)), Err(Fault::NotReady));
    }
}

/// 0.061, 0.122, 0.244, 0.488 mg and 4.375, 8.75, 17.5, 35, 70 mdps per count (DS12140, mechanical characteristics).
#[test]
fn lsm6dso_scales() {
    for (full_scale_g, mg) in [(2, 0.061), (4, 0.122), (8, 0.244), (16, 0.488)] {
        let axis = Lsm6dso::new(0x6a, full_scale_g, 0).scalar(2);
        assert_eq!(
            (axis.component, axis.quantity, axis.unit),
            (Component::Az, Quantity::SpecificForce, Unit::MetrePerSecondSquared)
        );
        assert!((f64::from(axis.scale) / (mg * 1e-3 * 9.80665) - 1.0).abs() < 1e-6);
    }
    for (full_scale_dps, mdps) in [(125, 4.375), (250, 8.75), (500, 17.5), (1000, 35.0), (2000, 70.0)] {
        let axis = Lsm6dso::new(0x6a, 0, full_scale_dps).scalar(3);
        assert_eq!(
            (axis.component, axis.quantity, axis.unit),
            (Component::Gx, Quantity::AngularRate, Unit::RadianPerSecond)
        );
        assert!((f64::from(axis.scale) / (mdps * 1e-3_f64).to_radians() - 1.0).abs() < 1e-6);
    }
}

/// A register of 16 bits and what is written there.
fn write_16(register: u16, bytes: &[u8]) -> Transaction {
    write(0x29, &[&register.to_be_bytes(), bytes].concat())
}

fn read_16(register: u16, bytes: &[u8]) -> Transaction {
    Transaction::write_read(0x29, register.to_be_bytes().to_vec(), bytes.to_vec())
}

/// Settings from 0x2d to 0x87 as the maker's driver has them (STSW-IMG026 2.2.3, `VL53L4CD_DEFAULT_CONFIGURATION`): those that
/// are not 0, by register.
const VL53L4CD_SETTINGS: [(u16, u8); 43] = [
    (0x30, 0x11),
    (0x31, 0x02),
    (0x33, 0x02),
    (0x34, 0x08),
    (0x36, 0x08),
    (0x37, 0x10),
    (0x38, 0x01),
    (0x39, 0x01),
    (0x3e, 0xff),
    (0x40, 0x0f),
    (0x46, 0x20),
    (0x47, 0x0b),
    (0x4a, 0x02),
    (0x4b, 0x14),
    (0x4c, 0x21),
    (0x4f, 0x05),
    (0x54, 0xc8),
    (0x57, 0x38),
    (0x58, 0xff),
    (0x59, 0x01),
    (0x5b, 0x08),
    (0x5e, 0x01),
    (0x5f, 0xcc),
    (0x60, 0x07),
    (0x61, 0x01),
    (0x62, 0xf1),
    (0x63, 0x05),
    (0x65, 0xa0),
    (0x67, 0x80),
    (0x68, 0x08),
    (0x69, 0x38),
    (0x6e, 0x0f),
    (0x6f, 0x89),
    (0x77, 0x01),
    (0x78, 0x07),
    (0x79, 0x05),
    (0x7a, 0x06),
    (0x7b, 0x06),
    (0x7e, 0x02),
    (0x7f, 0xc7),
    (0x80, 0xff),
    (0x81, 0x9b),
    (0x85, 0x01),
];

/// Who it is, that it has booted, stop, settings, calibrate.
fn vl53l4cd_set_up() -> [Transaction; 5] {
    let mut settings = [0; 0x88 - 0x2d];
    VL53L4CD_SETTINGS.iter().for_each(|(register, value)| settings[usize::from(register - 0x2d)] = *value);
    [
        read_16(0x010f, &[0xeb, 0xaa]),
        read_16(0x00e5, &[3]),
        write_16(0x0087, &[0x80]),
        write_16(0x002d, &settings),
        write_16(0x0087, &[0x40]),
    ]
}

/// Calibrated: clear, stop, what follows, timing, range.
fn vl53l4cd_first_begin(oscillator: u16, timeouts: [u16; 2]) -> [Transaction; 11] {
    [
        read_16(0x0031, &[2]),
        write_16(0x0086, &[1]),
        write_16(0x0087, &[0x80]),
        write_16(0x0008, &[0x09]),
        write_16(0x000b, &[0]),
        write_16(0x0024, &[5, 0]),
        write_16(0x006c, &[0, 0, 0, 0]),
        read_16(0x0006, &oscillator.to_be_bytes()),
        write_16(0x005e, &timeouts[0].to_be_bytes()),
        write_16(0x0061, &timeouts[1].to_be_bytes()),
        write_16(0x0087, &[0x21]),
    ]
}

#[test]
fn vl53l4cd_set_up_and_refusals() {
    let mut sensor = Vl53l4cd::new(0x29);
    assert_eq!(on_bus(&vl53l4cd_set_up(), |bus| sensor.setup(bus)), Ok(()));
    // The VL53L1X answers 0xeacc.
    assert_eq!(on_bus(&[read_16(0x010f, &[0xea, 0xcc])], |bus| sensor.setup(bus)), Err(Fault::WrongPart));
    let boots = [read_16(0x010f, &[0xeb, 0xaa]), read_16(0x00e5, &[1])];
    assert_eq!(on_bus(&boots, |bus| sensor.setup(bus)), Err(Fault::NotReady));
}

/// Timeouts for 10 ms by the formula of the maker's driver (STSW-IMG026 2.2.3, `VL53L4CD_SetRangeTiming`), worked out with the
/// 32-bit integers of C for each oscillator.
#[test]
fn vl53l4cd_timing_follows_the_parts_oscillator() {
    let cases = [
        (0xbccc, [0x99, 0xcc]),
        (0xb000, [0x8e, 0xbe]),
        (0xc800, [0xa2, 0xd8]),
        (0x8000, [0x67, 0x8a]),
        (0xffff, [0xcf, 0x18a]),
        (0x4000, [0x33, 0x44]),
    ];
    for (oscillator, timeouts) in cases {
        let mut sensor = Vl53l4cd::new(0x29);
        let transcript = [&vl53l4cd_set_up()[..], &vl53l4cd_first_begin(oscillator, timeouts)].concat();
        let conversion = on_bus(&transcript, |bus| {
            sensor.setup(bus).unwrap();
            sensor.begin(bus, 0).unwrap()
        });
        assert_eq!(conversion, Conversion::Timed { middle_us: 5_000, ready_us: 12_500 });
    }
    let mut stopped = vl53l4cd_first_begin(0, [0, 0])[..8].to_vec();
    assert_eq!(on_bus(&stopped, |bus| Vl53l4cd::new(0x29).begin(bus, 0)), Err(Fault::NotReady));
    // Not calibrated yet: the line is still high.
    stopped = vec![read_16(0x0031, &[3])];
    assert_eq!(on_bus(&stopped, |bus| Vl53l4cd::new(0x29).begin(bus, 0)), Err(Fault::NotReady));
}

#[test]
fn vl53l4cd_distance() {
    let mut sensor = Vl53l4cd::new(0x29);
    on_bus(&vl53l4cd_first_begin(0xbccc, [0x99, 0xcc]), |bus| sensor.begin(bus, 0).unwrap());
    let mut result = [0; 15];
    (result[0], result[13], result[14]) = (0xe9, 0x02, 0x8e);
    let fetch = [read_16(0x0031, &[0]), read_16(0x0089, &result)];
    assert_eq!(on_bus(&fetch, |bus| sensor.finish(bus).unwrap()), [654, 0, 0, 0, 0, 0]);
    // The next measurement begins when this one is cleared.
    let conversion = on_bus(&[write_16(0x0086, &[1])], |bus| sensor.begin(bus, 0).unwrap());
    assert_eq!(conversion, Conversion::Timed { middle_us: 5_000, ready_us: 12_500 });
    assert_eq!(on_bus(&[read_16(0x0031, &[1])], |bus| sensor.finish(bus)), Err(Fault::NotReady));
    // Too weak a signal (status 4), a phase out of bounds (6): saturated, not a distance.
    let scalar = hingeline_firmware::sensors::Driver::Vl53l4cd(sensor).scalar(0, 0, Component::Range);
    assert_eq!((scalar.quantity, scalar.unit), (Quantity::Length, Unit::Metre));
    assert!((f64::from(scalar.scale) - 1e-3).abs() < 1e-9);
    for status in [4, 6, 0] {
        result[0] = status;
        let fetch = [read_16(0x0031, &[0]), read_16(0x0089, &result)];
        assert_eq!(on_bus(&fetch, |bus| sensor.finish(bus).unwrap())[0], scalar.raw_max, "status {status}");
    }
}

#[test]
fn tca9548_outputs() {
    on_bus(&[write(0x70, &[1]), write(0x77, &[0x80]), write(0x70, &[0])], |bus| {
        tca9548::select(bus, 0x70, 0).unwrap();
        tca9548::select(bus, 0x77, 7).unwrap();
        tca9548::deselect(bus, 0x70).unwrap();
    });
    let read = |address, value| Transaction::read(address, vec![value]);
    let echo = [write(0x70, &[0x80]), read(0x70, 0x80), write(0x70, &[0]), read(0x70, 0)];
    assert!(on_bus(&echo, |bus| tca9548::is_one(bus, 0x70)));
    let other = [write(0x76, &[0x80]), read(0x76, 0x55)];
    assert!(!on_bus(&other, |bus| tca9548::is_one(bus, 0x76)));
    assert!(!on_bus(&[], |bus| tca9548::is_one(bus, 0x48)));
}

/// A bus error at any transfer of a driver is given on as what it is, and the driver stops there.
#[test]
fn errors_at_any_transfer() {
    type Work = fn(&mut Mock) -> Result<(), Fault>;
    let range_finder =
        [vl53l4cd_set_up().to_vec(), vl53l4cd_first_begin(0xbccc, [0x99, 0xcc]).to_vec()].concat();
    let cases: [(&[Transaction], Work); 5] = [
        (&[write(0x48, &[1, 0x43, 0xe3]), write_read(0x48, 1, &[0xc3, 0xe3])], |bus| {
            Ads1115::new(0x48).setup(bus)
        }),
        (&[write_read(0x48, 1, &[0xc3, 0xe3]), write_read(0x48, 0, &[0, 0])], |bus| {
            Ads1115::new(0x48).finish(bus).map(|_| ())
        }),
        (
            &[write(0x36, &[7, 2, 0]), write_read(0x36, 7, &[2, 0]), write_read(0x36, 0x0b, &[0x20, 0, 0])],
            |bus| As5600::new(0x36).setup(bus),
        ),
        (
            &[
                write_read(0x6a, 0x0f, &[0x6c]),
                write(0x6a, &[0x12, 0x44]),
                write(0x6a, &[0x10, 0x78, 0x70]),
                write_read(0x6a, 0x10, &[0x78, 0x70, 0x44]),
            ],
            |bus| Lsm6dso::new(0x6a, 0, 0).setup(bus),
        ),
        (&range_finder, |bus| {
            let mut sensor = Vl53l4cd::new(0x29);
            sensor.setup(bus)?;
            sensor.begin(bus, 0).map(|_| ())
        }),
    ];
    for (transcript, work) in cases {
        for at in 0..transcript.len() {
            for (error, fault) in [(NO_ANSWER, Fault::NoAnswer), (ErrorKind::ArbitrationLoss, Fault::Bus)] {
                let mut cut = transcript[..=at].to_vec();
                cut[at] = cut[at].clone().with_error(error);
                assert_eq!(on_bus(&cut, work), Err(fault), "transfer {at}");
            }
        }
    }
}
