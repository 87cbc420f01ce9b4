//! From the rows of a logger's channel table to the sensors of a rig, and from counts to SI.
//!
//! A row is matched by the sensor's name and its component. Counts become SI by these rules, the only ones there are:
//! - inertial units: `raw · scale + offset` of the channel table, which is in m/s² and rad/s;
//! - everything else: the rig file's scale, per count, because only the builder knows what is tied to the shaft;
//! - a ratiometric reading (the table names its excitation channel) is first brought to an excitation of
//!   [`NOMINAL_EXCITATION_V`]: `counts · nominal / excitation`, so that a sagging supply does not look like travel.

use crate::rig::{Kind, Rig, Sensor};
use hingeline_protocol::channel::MAX_CHANNELS;
use hingeline_protocol::{Channel, Component, Unit};

/// Excitation at which a ratiometric sensor's scale in the rig file holds, V.
pub const NOMINAL_EXCITATION_V: f64 = 3.3;

/// A scale in the rig file and one on the wire that differ by more than this factor cannot both be right.
const SCALES_AGREE_WITHIN: f64 = 1.2;

/// A channel of a sensor of the rig.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Target {
    /// Index of the sensor in the rig.
    pub sensor: usize,
    /// Index of the channel in the sensor.
    pub channel: usize,
}

/// One row of the table and what it means for the rig.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// The row as the logger sent it.
    pub channel: Channel,
    /// The rig's channel that it fills; none for an excitation, a temperature, or a sensor that the rig has not.
    pub target: Option<Target>,
}

/// A logger's channel table as far as it has arrived.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelTable {
    rows: Vec<Option<Row>>,
    slots_us: [u32; MAX_CHANNELS],
}

impl Default for ChannelTable {
    fn default() -> Self {
        Self { rows: vec![None; MAX_CHANNELS], slots_us: [0; MAX_CHANNELS] }
    }
}

impl ChannelTable {
    /// Takes a row. Rows beyond a table that has become shorter are forgotten.
    pub fn set(&mut self, rig: &Rig, channel: Channel) {
        let count = usize::from(channel.count);
        self.rows.iter_mut().skip(count).for_each(|row| *row = None);
        let index = usize::from(channel.index);
        if let (Some(row), Some(slot)) = (self.rows.get_mut(index), self.slots_us.get_mut(index)) {
            *slot = channel.slot_us;
            let target = target(rig, &channel);
            *row = Some(Row { channel, target });
        }
    }

    /// The row of a channel number.
    pub fn row(&self, index: u8) -> Option<&Row> {
        self.rows.get(usize::from(index))?.as_ref()
    }

    /// Every row that has arrived.
    pub fn rows(&self) -> impl Iterator<Item = &Row> {
        self.rows.iter().flatten()
    }

    /// Whether every row that the table announces is here.
    pub fn is_complete(&self) -> bool {
        let count = self.rows().map(|r| usize::from(r.channel.count)).max();
        count.is_some_and(|count| self.rows.iter().take(count).all(Option::is_some))
    }

    /// When in a scan each channel is read, µs, as blocks need it.
    pub fn slots_us(&self) -> &[u32; MAX_CHANNELS] {
        &self.slots_us
    }

    /// Channels of a block's mask that fill a channel of the rig.
    pub fn targets(&self, mask: u64) -> usize {
        self.rows().filter(|r| mask >> r.channel.index & 1 == 1 && r.target.is_some()).count()
    }

    /// The name of a sensor by its number on the wire.
    pub fn sensor_name(&self, sensor_index: u8) -> Option<&str> {
        self.rows().find(|r| r.channel.sensor_index == sensor_index).map(|r| r.channel.sensor.as_str())
    }

    /// Sentences about sensors of the rig that the logger does not read, channels that the rig does not know, and scales
    /// that contradict each other.
    pub fn remarks(&self, rig: &Rig) -> Vec<String> {
        let mut remarks = Vec::new();
        let without = |k: &usize| !self.rows().any(|r| r.target.is_some_and(|t| t.sensor == *k));
        let names: Vec<String> = (0..rig.sensors.len())
            .filter(without)
            .filter_map(|k| rig.sensors.get(k).map(|sensor| format!("\"{}\"", sensor.name)))
            .collect();
        match names.as_slice() {
            [] => {}
            [one] => remarks.push(format!("{one} was not recorded: the logger was set up without it.")),
            [most @ .., last] => remarks.push(format!(
                "{} and {last} were not recorded: the logger was set up without them.",
                most.join(", ")
            )),
        }
        for row in self.rows() {
            let name = row.channel.sensor.as_str();
            let silent = matches!(row.channel.component, Component::Excitation | Component::Temperature);
            if row.target.is_none() && !silent {
                let what = row.channel.component.as_str();
                remarks.push(format!(
                    "The logger's \"{name}\" ({what}) is no sensor of the rig and was left out."
                ));
            }
            if let Some(remark) = self.contradiction(rig, row) {
                remarks.push(remark);
            }
        }
        remarks
    }

    /// Where the logger itself knows the sensor's own unit, the rig's scale must be about the same.
    fn contradiction(&self, rig: &Rig, row: &Row) -> Option<String> {
        let sensor = rig.sensors.get(row.target?.sensor)?;
        let reading = sensor.reading()?;
        let own = match sensor.kind {
            Kind::Angle(_) => Unit::Radian,
            Kind::DrawWire(_) | Kind::Range(_) => Unit::Metre,
            Kind::Force(_) => Unit::Newton,
            Kind::Inertial(_) => return None,
        };
        let per_count = (reading.scale.apply(1.0) - reading.scale.apply(0.0)).abs();
        let ratio = per_count / f64::from(row.channel.scale).abs();
        let agrees = (1.0 / SCALES_AGREE_WITHIN..=SCALES_AGREE_WITHIN).contains(&ratio);
        (row.channel.unit == own && !agrees).then(|| {
            format!(
                "\"{}\": the rig file's scale is {ratio:.3} times what its part gives per count; check `scale` in rig.toml.",
                sensor.name
            )
        })
    }
}

/// That readings outside a sensor's range were set aside, as a sentence: all of them, where nothing is left, and that a calibrated
/// scale may be why.
pub fn outside_range(name: &str, count: u64, all: bool, sensor: &Sensor) -> String {
    let mut told = format!("\"{name}\": readings outside the sensor's range, set aside: {count}");
    if all {
        told.push_str(", all of them");
    }
    told.push('.');
    let gain = sensor.reading().map_or(1.0, |reading| reading.gain);
    if all && gain != 1.0 {
        told.push_str(&format!(
            " Its calibration may be the cause: it makes the scale {gain:.3} times what rig.toml says; --no-calibration measures \
             without it."
        ));
    }
    told
}

/// Whether two rows give the same meaning to a count.
pub fn means_the_same(a: &Channel, b: &Channel) -> bool {
    (a.sensor.as_str(), a.component, a.unit, a.scale, a.offset, a.ratio_to)
        == (b.sensor.as_str(), b.component, b.unit, b.scale, b.offset, b.ratio_to)
}

fn target(rig: &Rig, channel: &Channel) -> Option<Target> {
    let (sensor, spec) = rig.sensors.iter().enumerate().find(|(_, s)| s.name == channel.sensor.as_str())?;
    let fits = match (&spec.kind, channel.component) {
        (Kind::Inertial(_), component) => {
            [Component::Ax, Component::Ay, Component::Az, Component::Gx, Component::Gy, Component::Gz]
                .iter()
                .position(|c| *c == component)
        }
        (Kind::DrawWire(_), Component::Length)
        | (Kind::Angle(_), Component::Angle)
        | (Kind::Range(_), Component::Range)
        | (Kind::Force(_), Component::Force) => Some(0),
        _ => None,
    };
    fits.map(|channel| Target { sensor, channel })
}

/// Counts in a full turn of an angle channel, a whole number (the scale on the wire is rounded to single precision); `None`
/// for anything else.
pub fn counts_per_turn(channel: &Channel) -> Option<f64> {
    let turns = channel.component == Component::Angle && channel.unit == Unit::Radian && channel.scale != 0.0;
    turns.then(|| (std::f64::consts::TAU / f64::from(channel.scale).abs()).round())
}

/// Whether a count sits at an end of its channel's range. A part that reads the whole circle has no ends.
pub fn saturated(channel: &Channel, raw: i32) -> bool {
    let span = f64::from(channel.raw_max) - f64::from(channel.raw_min) + 1.0;
    let circle = counts_per_turn(channel).is_some_and(|turn| span > turn - 1.5);
    !circle && (raw <= channel.raw_min || raw >= channel.raw_max)
}

/// A count in the unit of its channel.
pub fn in_unit(channel: &Channel, raw: f64) -> f64 {
    raw * f64::from(channel.scale) + f64::from(channel.offset)
}

/// A count in SI; `raw` may be unwound beyond a turn. `None` where a ratiometric reading has no excitation to divide by.
pub fn to_si(sensor: &Sensor, channel: &Channel, raw: f64, excitation_v: Option<f64>) -> Option<f64> {
    let Some(reading) = sensor.reading() else { return Some(in_unit(channel, raw)) };
    let counts = match (channel.ratio_to, excitation_v) {
        (None, _) => raw,
        (Some(_), Some(volts)) if volts > 0.1 * NOMINAL_EXCITATION_V => raw * NOMINAL_EXCITATION_V / volts,
        (Some(_), _) => return None,
    };
    Some(reading.scale.apply(counts))
}
