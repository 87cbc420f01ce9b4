//! Sensors as a host wires them up.

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
