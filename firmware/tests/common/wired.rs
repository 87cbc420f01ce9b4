//! Sensors as a host wires them up.

use super::Rig;
use hingeline_firmware::Board;
use hingeline_protocol::*;

/// A sensor on input `input` of an ADC.
pub fn wire(index: u8, address: u8, input: u8, excitation: Option<u8>) -> SensorConfig {
    SensorConfig {
        index,
        name: format!("wire {index}").as_str().try_into().unwrap(),
        part: "ads1115".try_into().unwrap(),
        bus: 0,
        mux: None,
        address,
        input,
        excitation,
        component: Component::Length,
        every: 1,
        full_scale_mv: 0,
        full_scale_g: 0,
        full_scale_dps: 0,
    }
}

pub fn inertial(index: u8, address: u8) -> SensorConfig {
    SensorConfig { part: "lsm6dso".try_into().unwrap(), ..wire(index, address, 0, None) }
}

pub fn angle(index: u8, mux: u8, output: u8) -> SensorConfig {
    SensorConfig {
        part: "as5600".try_into().unwrap(),
        mux: Some(MuxPort { address: mux, channel: output }),
        component: Component::Angle,
        ..wire(index, 0x36, 0, None)
    }
}

/// Configures, sets the rate and starts.
pub fn start(rig: &mut Rig, sensors: Vec<SensorConfig>, period_us: u32) {
    rig.tell(&[HostMessage::ClearSensors]);
    let sensors: Vec<_> = sensors.into_iter().map(HostMessage::SetSensor).collect();
    rig.tell(&sensors);
    rig.tell(&[HostMessage::SetRate { period_us, scans_per_block: 0 }, HostMessage::Start]);
}

/// A board with that many buses.
pub fn board(buses: usize) -> Board {
    let bus_clock_hz = std::array::from_fn(|bus| if bus < buses { 400_000 } else { 0 });
    Board {
        name: "bench",
        firmware: "0.1.0",
        build: "test",
        unique_id: [7; 16],
        unique_id_length: 8,
        boot_count: 3,
        reset_cause: ResetCause::PowerOn,
        bus_clock_hz,
        ..Board::BLANK
    }
}
