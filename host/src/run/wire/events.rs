//! What a logger reported about itself, as sentences for the person who reads the results.

use super::super::channels::ChannelTable;
use crate::rig::Rig;
use hingeline_protocol::{Event, EventKind, ResetCause};
use std::collections::BTreeMap;

/// Most stretches that are told one by one.
const TOLD_ONE_BY_ONE: usize = 4;

/// Events of a log, counted.
#[derive(Debug, Clone, Default)]
pub struct EventLog {
    last: Option<Event>,
    /// By sensor number: its name and each loss, from and (if it came back) to, µs.
    losses: BTreeMap<u8, Vec<Loss>>,
    overrun_scans: u64,
    dropped_messages: u64,
    supply_low: Option<(i64, u16)>,
    stuck_bus: Option<(i64, u8)>,
    store_full_us: Option<i64>,
    restarts: Vec<(i64, &'static str)>,
}

#[derive(Debug, Clone)]
struct Loss {
    name: String,
    reason: &'static str,
    from_us: i64,
    to_us: Option<i64>,
}

impl EventLog {
    /// Takes an event at its placed time, µs. A repeated frame is one event.
    pub fn take(&mut self, event: Event, placed_us: i64, table: &ChannelTable) {
        if self.last.replace(event) == Some(event) {
            return;
        }
        match event.kind {
            EventKind::SensorLost { sensor, reason } => {
                let name =
                    table.sensor_name(sensor).map_or_else(|| format!("number {sensor}"), str::to_owned);
                let losses = self.losses.entry(sensor).or_default();
                if losses.last().is_none_or(|l| l.to_us.is_some()) {
                    losses.push(Loss { name, reason: reason.as_str(), from_us: placed_us, to_us: None });
                }
            }
            EventKind::SensorFound { sensor } => {
                if let Some(loss) = self.losses.get_mut(&sensor).and_then(|l| l.last_mut()) {
                    loss.to_us.get_or_insert(placed_us);
                }
            }
            EventKind::Overrun { scans } => self.overrun_scans += u64::from(scans),
            EventKind::QueueFull { messages } => self.dropped_messages += u64::from(messages),
            EventKind::SupplyLow { millivolts } => self.supply_low = Some((placed_us, millivolts)),
            EventKind::BusStuck { bus } => self.stuck_bus = Some((placed_us, bus)),
            EventKind::StoreFull => self.store_full_us = Some(placed_us),
            EventKind::Saturated { .. }
            | EventKind::Booted { .. }
            | EventKind::Button { .. }
            | EventKind::Still
            | EventKind::BusRecovered { .. }
            | EventKind::Started
            | EventKind::Stopped => {}
        }
    }

    /// The logger restarted at this placed time, µs.
    pub fn restarted(&mut self, placed_us: i64, cause: ResetCause) {
        self.restarts.push((placed_us, cause.as_str()));
    }

    /// The sentences; `seconds` turns a placed time into the recording's, s.
    pub fn remarks(&self, rig: &Rig, seconds: impl Fn(i64) -> f64) -> Vec<String> {
        let mut remarks = Vec::new();
        for losses in self.losses.values() {
            let Some(first) = losses.first() else { continue };
            let open = losses.last().is_some_and(|l| l.to_us.is_none());
            let back = if open { "it did not come back" } else { "it came back" };
            let times =
                if losses.len() > 1 { format!(", {} times in all", losses.len()) } else { String::new() };
            if rig.sensors.iter().any(|s| s.name == first.name) {
                let when = when(seconds(first.from_us));
                remarks.push(format!("\"{}\" {} {when}{times}; {back}.", first.name, first.reason));
            }
        }
        for (at_us, cause) in &self.restarts {
            remarks.push(format!(
                "The logger restarted before {:.1} s (cause: {cause}); what follows is placed by the host's clock.",
                seconds(*at_us)
            ));
        }
        if self.overrun_scans > 0 {
            remarks
                .push(format!("The logger left out {} scans that it had no time for.", self.overrun_scans));
        }
        if self.dropped_messages > 0 {
            remarks.push(format!(
                "The logger dropped {} messages: the line did not keep up.",
                self.dropped_messages
            ));
        }
        if let Some((at_us, millivolts)) = self.supply_low {
            let volts = f64::from(millivolts) / 1000.0;
            remarks.push(format!("The logger's supply was low {}: {volts:.2} V.", when(seconds(at_us))));
        }
        if let Some((at_us, bus)) = self.stuck_bus {
            remarks.push(format!("Bus {bus} was stuck {}.", when(seconds(at_us))));
        }
        if let Some(at_us) = self.store_full_us {
            remarks.push(format!("The logger's own store was full {}.", when(seconds(at_us))));
        }
        remarks
    }
}

/// When something was, by the recording's clock; a logger tells of some things before its first reading.
fn when(at_s: f64) -> String {
    if at_s < 0.0 { "before the first reading".to_owned() } else { format!("at {at_s:.1} s") }
}

/// Sentences for stretches without readings, each from and to in s.
pub fn gap_remarks(gaps: &[[f64; 2]]) -> Vec<String> {
    if gaps.len() <= TOLD_ONE_BY_ONE {
        return gaps.iter().map(|[a, b]| format!("No readings between {a:.2} s and {b:.2} s.")).collect();
    }
    let total: f64 = gaps.iter().map(|[a, b]| b - a).sum();
    let longest = gaps.iter().max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])));
    let [from, to] = longest.copied().unwrap_or_default();
    let count = gaps.len();
    vec![format!(
        "No readings in {count} stretches of together {total:.1} s; the longest is from {from:.2} s to {to:.2} s."
    )]
}
