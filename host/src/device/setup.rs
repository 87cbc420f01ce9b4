//! What a logger is told to read: the wired sensors of a rig, and how often.

use crate::explain::Explain;
use crate::rig::{Kind, Rig, Sensor};
use hingeline_protocol::{Component, MAX_SENSORS, MuxPort, SensorConfig};

/// Sensors and rate, ready to be sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setup {
    /// The wired sensors, in the rig's order. None: the logger reads what it is set up for already.
    pub sensors: Vec<SensorConfig>,
    /// Time between scans, µs.
    pub period_us: u32,
}

/// Why a rig cannot be sent to a logger.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SetupError {
    /// A name is longer than the wire carries.
    #[error("{what} \"{text}\" is longer than {most} bytes, the most that a logger takes")]
    TooLong {
        /// Which name.
        what: &'static str,
        /// The name.
        text: String,
        /// Most bytes.
        most: usize,
    },
    /// More sensors than a logger takes.
    #[error("the rig has {count} wired sensors, a logger takes {MAX_SENSORS}")]
    TooMany {
        /// How many.
        count: usize,
    },
}

impl Explain for SetupError {
    fn hint(&self) -> Option<String> {
        Some(match self {
            Self::TooLong { .. } => "Give it a shorter name in rig.toml.".to_owned(),
            Self::TooMany { .. } => "Spread the sensors over two loggers and two rigs.".to_owned(),
        })
    }
}

impl Setup {
    /// The setup of a rig's wired sensors.
    ///
    /// # Errors
    /// When a name is too long, or there are too many sensors.
    pub fn of(rig: &Rig) -> Result<Self, SetupError> {
        let wired: Vec<_> = rig.sensors.iter().filter(|s| s.input.is_some()).collect();
        if wired.len() > MAX_SENSORS {
            return Err(SetupError::TooMany { count: wired.len() });
        }
        let sensors = wired.iter().enumerate().filter_map(|(k, s)| sensor(rig, k, s).transpose());
        Ok(Self {
            sensors: sensors.collect::<Result<_, _>>()?,
            period_us: (1e6 / rig.rate_hz).round() as u32,
        })
    }
}

fn short<const N: usize>(what: &'static str, text: &str) -> Result<heapless::String<N>, SetupError> {
    text.try_into().map_err(|_| SetupError::TooLong { what, text: text.to_owned(), most: N })
}

fn sensor(rig: &Rig, index: usize, sensor: &Sensor) -> Result<Option<SensorConfig>, SetupError> {
    let Some(input) = &sensor.input else { return Ok(None) };
    Ok(Some(SensorConfig {
        index: index as u8,
        name: short("the sensor's name", &sensor.name)?,
        part: short("the part's name", &input.device)?,
        bus: input.bus,
        mux: input.mux.map(|(address, channel)| MuxPort { address, channel }),
        address: input.address,
        input: input.channel,
        excitation: input.excitation,
        component: match sensor.kind {
            Kind::DrawWire(_) => Component::Length,
            Kind::Angle(_) => Component::Angle,
            Kind::Inertial(_) => Component::Ax,
            Kind::Range(_) => Component::Range,
            Kind::Force(_) => Component::Force,
        },
        every: (rig.rate_hz / sensor.rate_hz).round().clamp(1.0, f64::from(u16::MAX)) as u16,
        // The part's defaults.
        full_scale_mv: 0,
        full_scale_g: 0,
        full_scale_dps: 0,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::Input;
    use crate::run::test_rig::whole;

    #[test]
    fn wired_sensors_are_sent_with_their_place_and_pace() {
        let mut rig = whole();
        assert!(Setup::of(&rig).unwrap().sensors.is_empty());
        let input = Input {
            bus: 1,
            mux: Some((0x70, 2)),
            device: "ads1115".into(),
            address: 0x48,
            channel: 1,
            excitation: Some(3),
        };
        rig.sensors[1].input = Some(input.clone());
        rig.sensors[1].rate_hz = 25.0;
        rig.sensors[2].input = Some(input);
        let setup = Setup::of(&rig).unwrap();
        assert_eq!(setup.period_us, 10_000);
        let [right, arm] = setup.sensors.as_slice() else { panic!("two are wired") };
        assert_eq!((right.index, right.name.as_str(), right.every), (0, "right", 4));
        assert_eq!((arm.index, arm.component), (1, Component::Angle));
        assert_eq!(right.mux, Some(MuxPort { address: 0x70, channel: 2 }));
        rig.sensors[1].name = "x".repeat(33);
        assert!(matches!(Setup::of(&rig), Err(SetupError::TooLong { most: 32, .. })));
    }
}
