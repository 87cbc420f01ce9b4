//! Whatever rate the logger takes, it keeps: no scan left out, no channel silent; what it refuses, it refuses with a period that it takes.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "tests")]

mod common;

use common::*;
use hingeline_protocol::*;
use proptest::prelude::*;

/// What three conversions with their transfers (4.6 ms) and two units' transfers on a bus with 100 kHz (1.7 ms each) take one after the
/// other, and at most a tenth and a sixteenth more: what is kept for the processor, and the step in which periods are tried.
const NEEDED_US: std::ops::RangeInclusive<u32> = 8_100..=9_500;

/// Seconds of streaming that must go well.
const STREAMED_US: u64 = 3_000_000;

/// What hangs on the buses.
#[derive(Debug, Clone)]
struct Wiring {
    /// Wires on each of the ADCs of the first bus.
    adcs: Vec<u8>,
    /// Whether an input of each ADC reads the excitation.
    excited: bool,
    /// Inertial units, and the bus that carries them.
    units: u8,
    unit_bus: u8,
    /// Angle sensors behind a multiplexer of the first bus.
    angles: u8,
    clocks_hz: [u32; 2],
}

impl Wiring {
    fn rig(&self) -> Rig {
        let rig = Rig::new(|now| {
            let mut buses = self.clocks_hz.map(|clock| Bench::clocked(now, clock));
            buses[0] = self
                .adcs
                .iter()
                .zip(0x48..)
                .fold(std::mem::replace(&mut buses[0], Bench::new(now)), |bench, (_, address)| {
                    bench.with(address, Model::adc())
                });
            for output in 0..self.angles {
                let bench = std::mem::replace(&mut buses[0], Bench::new(now));
                buses[0] = bench.behind(0x70, output, 0x36, Model::angle());
            }
            for unit in 0..self.units {
                let at = usize::from(self.unit_bus);
                let bench = std::mem::replace(&mut buses[at], Bench::new(now));
                buses[at] = bench.with(0x6a + unit, Model::inertial());
            }
            buses.into()
        });
        rig.with_clocks(&self.clocks_hz)
    }

    fn sensors(&self) -> Vec<SensorConfig> {
        let mut sensors: Vec<SensorConfig> = Vec::new();
        for (&wires, address) in self.adcs.iter().zip(0x48..) {
            for input in 0..wires {
                sensors.push(wire(sensors.len() as u8, address, input, self.excited.then_some(3)));
            }
        }
        for unit in 0..self.units {
            let unit = inertial(sensors.len() as u8, 0x6a + unit);
            sensors.push(SensorConfig { bus: self.unit_bus, ..unit });
        }
        for output in 0..self.angles {
            sensors.push(angle(sensors.len() as u8, 0x70, output));
        }
        sensors
    }

    /// Asks for a period; gives the one that would do, if this one does not.
    fn ask(&self, period_us: u32) -> (Rig, Option<u32>) {
        let mut rig = self.rig();
        let sensors = self.sensors();
        start(&mut rig, sensors, period_us);
        rig.run(100);
        let refused =
            rig.replies().iter().find(|(_, outcome, _)| *outcome == Outcome::TooFast).map(|&(.., us)| us);
        (rig, refused)
    }

    /// Streams for a while; gives how many scans had to be left out, and the channels that said nothing.
    fn stream(&self, mut rig: Rig) -> (u32, Vec<u8>) {
        rig.run(STREAMED_US);
        rig.tell(&[HostMessage::Stop]);
        rig.run(100_000);
        let heard: std::collections::BTreeSet<u8> =
            rig.readings().iter().map(|(_, reading)| reading.channel).collect();
        let count = rig.received.iter().find_map(|message| match message {
            DeviceMessage::Channel(row) => Some(row.count),
            _ => None,
        });
        let silent = (0..count.unwrap()).filter(|channel| !heard.contains(channel)).collect();
        (rig.last_status().overrun_scans, silent)
    }
}

fn wirings() -> impl Strategy<Value = Wiring> {
    let clocks = || prop::sample::select(vec![100_000_u32, 400_000]);
    (prop::collection::vec(1_u8..=3, 1..=4), any::<bool>(), 0_u8..=2, 0_u8..=1, 0_u8..=3, clocks(), clocks())
        .prop_map(|(adcs, excited, units, unit_bus, angles, first, second)| {
            let clocks_hz = [first, second];
            Wiring { adcs, excited, units, unit_bus, angles, clocks_hz }
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_rate_that_is_taken_is_kept(wiring in wirings(), period_us in 1_500_u32..20_000) {
        let (rig, refused) = wiring.ask(period_us);
        let Some(shortest_us) = refused else {
            prop_assert_eq!(wiring.stream(rig), (0, vec![]));
            return Ok(());
        };
        prop_assert!(shortest_us > period_us);
        let (rig, refused) = wiring.ask(shortest_us);
        prop_assert_eq!(refused, None, "{} µs was offered", shortest_us);
        prop_assert_eq!(wiring.stream(rig), (0, vec![]));
    }
}

/// Two units on a slow second bus hold up the converters of the first, whose own work would fit into 5 ms: the
/// workshop's rig, as it was once taken at 182 Hz and then lost its wires.
#[test]
fn units_on_a_slow_bus_hold_up_the_wires_of_another() {
    let wiring = Wiring {
        adcs: vec![3, 3],
        excited: true,
        units: 2,
        unit_bus: 1,
        angles: 0,
        clocks_hz: [400_000, 100_000],
    };
    let shortest_us = wiring.ask(5_500).1.unwrap();
    assert!(NEEDED_US.contains(&shortest_us), "{shortest_us}");
    let (rig, refused) = wiring.ask(shortest_us);
    assert_eq!((refused, wiring.stream(rig)), (None, (0, vec![])));
}
