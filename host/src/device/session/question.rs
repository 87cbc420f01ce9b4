//! Host messages as questions: their number on the wire, and in words.

use hingeline_protocol::{HostMessage, WireMessage};

/// The kind number of a host message: the first byte of its form.
pub(super) fn kind(message: &HostMessage) -> Option<u8> {
    let mut bytes = [0; hingeline_protocol::sizes::MAX_HOST_FRAME];
    message.encode(&mut bytes).ok()?;
    bytes.first().copied()
}

/// What a message asks the logger to do, as a part of a sentence.
pub(super) fn question(message: &HostMessage) -> String {
    match message {
        HostMessage::Identify => "who it is".to_owned(),
        HostMessage::ClearSensors => "to forget its sensors".to_owned(),
        HostMessage::SetSensor(sensor) => format!("to read \"{}\"", sensor.name),
        HostMessage::SetRate { period_us, .. } => format!("to read at {:.0} Hz", 1e6 / f64::from(*period_us)),
        HostMessage::Start => "to start".to_owned(),
        HostMessage::Stop => "to stop".to_owned(),
        HostMessage::Still => "to mark the still".to_owned(),
        HostMessage::Ping { .. } => "for its time".to_owned(),
        HostMessage::ScanBus { bus } => format!("what is on bus {bus}"),
        HostMessage::FetchStored { .. } => "for what it has kept".to_owned(),
        HostMessage::EraseStored => "to forget what it has kept".to_owned(),
    }
}
