//! Carries out the schedule on the buses: begins and reads conversions, stamps readings, notices lost and found sensors and
//! saturation, and hands complete scans on.

use embedded_hal::i2c::I2c;
use heapless::Vec;
use hingeline_protocol::block::bits;
use hingeline_protocol::{EventKind, MAX_CHANNELS, Scan};

use crate::board::MAX_BUSES;
use crate::bus::{BusState, Recover};
use crate::config::Configuration;
use crate::health::Health;
use crate::outbox::Outbox;
use crate::schedule::{Action, Due, Presence, Schedule};
use crate::sensors::{Conversion, Counts, Fault, Sensor};
use crate::stream::Stream;
use crate::table::{Device, Table};

/// Saturation of a channel is reported at most once in this time, µs.
const SATURATED_EVERY_US: u64 = 1_000_000;

/// Longer behind than this many scans, and the ones between are left out at once.
const FAR_BEHIND: u64 = 4;

/// The buses, as the board hands them in, and what is known of them.
pub struct Buses<'a, B> {
    /// The buses.
    pub buses: &'a mut [B],
    /// Their states.
    pub states: &'a mut Vec<BusState, MAX_BUSES>,
}

impl<B: I2c + Recover> Buses<'_, B> {
    /// Connects a device's multiplexer output and works on it. A fault is followed by what its bus needs, and gives the
    /// event that reports that.
    fn with<T>(
        &mut self,
        device: &mut Device,
        now_us: u64,
        work: impl FnOnce(&mut Device, &mut B) -> Result<T, Fault>,
    ) -> Result<T, (Fault, Option<EventKind>)> {
        let place = usize::from(device.bus);
        let (Some(bus), Some(state)) = (self.buses.get_mut(place), self.states.get_mut(place)) else {
            return Err((Fault::NoAnswer, None));
        };
        state
            .select(bus, device.mux)
            .and_then(|()| work(device, bus))
            .map_err(|fault| (fault, state.after_fault(bus, fault, now_us)))
    }
}

/// Where the sampler reports to.
pub struct Sinks<'a> {
    /// Messages.
    pub outbox: &'a mut Outbox,
    /// Scans.
    pub stream: &'a mut Stream,
    /// Counts.
    pub health: &'a mut Health,
}

/// Samples while streaming.
#[derive(Debug, Clone)]
pub struct Sampler {
    schedule: Schedule,
    /// The open scan and the one after it, by the number's last bit.
    scans: [Scan; 2],
    saturated: [u32; MAX_CHANNELS],
    saturated_since: u64,
    saturated_reported_us: Option<u64>,
}

impl Default for Sampler {
    fn default() -> Self {
        Self::new()
    }
}

impl Sampler {
    /// Nothing to sample.
    pub const fn new() -> Self {
        Self {
            schedule: Schedule::new(),
            scans: [Scan::new(0), Scan::new(0)],
            saturated: [0; MAX_CHANNELS],
            saturated_since: 0,
            saturated_reported_us: None,
        }
    }

    /// Prepares for a table; nothing is sampled before [`Sampler::start_at`].
    pub fn prepare(&mut self, table: &Table, period_us: u32) {
        *self = Self::new();
        self.schedule = Schedule::start(table.devices.len(), 0, period_us);
    }

    /// The first scan starts at `start_us`.
    pub fn start_at(&mut self, start_us: u64) {
        self.schedule.start_at(start_us);
        self.open_scans();
    }

    fn open_scans(&mut self) {
        for scan in [self.schedule.open(), self.schedule.open() + 1] {
            self.open_scan(scan);
        }
    }

    fn open_scan(&mut self, scan: u64) {
        let start_us = self.schedule.scan_start_us(scan);
        if let Some(at) = self.scans.get_mut((scan & 1) as usize) {
            *at = Scan::new(start_us);
        }
    }

    /// Sets a device up before streaming. Gives after how long its readings are good, µs.
    pub fn set_up<B: I2c + Recover>(
        &mut self,
        table: &mut Table,
        place: u8,
        now_us: u64,
        buses: &mut Buses<'_, B>,
        sinks: &mut Sinks<'_>,
    ) -> u64 {
        let Some(device) = table.devices.get_mut(usize::from(place)) else { return 0 };
        match buses.with(device, now_us, |device, bus| device.driver.setup(bus)) {
            Ok(()) => device.driver.part().settle_us(),
            Err(failure) => {
                let news = self.schedule.lose(place, now_us);
                report_fault(device, now_us, failure, news, sinks);
                0
            }
        }
    }

    /// Does what is due at `now_us`, one transfer or so; gives when to come again, µs.
    pub fn step<B: I2c + Recover>(
        &mut self,
        now_us: u64,
        table: &mut Table,
        config: &Configuration,
        buses: &mut Buses<'_, B>,
        sinks: &mut Sinks<'_>,
    ) -> u64 {
        self.close_scans(now_us, table, config, sinks);
        let due = self.schedule.next(table);
        let wake_us = match due {
            Some(due) if due.at_us <= now_us => {
                self.carry_out(&due, now_us, table, buses, sinks);
                now_us
            }
            _ => {
                let next_us =
                    due.map_or(u64::MAX, |due| due.at_us).min(self.schedule.closing_us().max(now_us + 1));
                match self.schedule.next_probe() {
                    Some((probe_us, device)) if probe_us <= now_us => {
                        self.probe(device, now_us, table, buses, sinks);
                        now_us
                    }
                    Some((probe_us, _)) => next_us.min(probe_us),
                    None => next_us,
                }
            }
        };
        self.report_saturation(now_us, sinks);
        wake_us
    }

    /// The sensors that do not answer, one bit each.
    pub fn lost_sensors(&self, table: &Table) -> u32 {
        let lost = |place: usize| self.schedule.presence(place as u8) != Presence::Present;
        table
            .devices
            .iter()
            .enumerate()
            .filter(|(place, _)| lost(*place))
            .fold(0, |mask, (_, d)| mask | d.sensors)
    }

    fn carry_out<B: I2c + Recover>(
        &mut self,
        due: &Due,
        now_us: u64,
        table: &mut Table,
        buses: &mut Buses<'_, B>,
        sinks: &mut Sinks<'_>,
    ) {
        let Some(&job) = table.jobs.get(usize::from(due.job)) else { return };
        let latched_us =
            now_us + table.devices.get(usize::from(due.device)).map_or(0, |device| table.latch_us(device));
        let Some(device) = table.devices.get_mut(usize::from(due.device)) else { return };
        let result = buses.with(device, now_us, |device, bus| match due.action {
            Action::Finish { middle_us } => Ok(Ok((middle_us, device.driver.finish(bus)?))),
            Action::Begin => match device.driver.begin(bus, job.input)? {
                conversion @ Conversion::Timed { .. } => Ok(Err(conversion)),
                Conversion::OnRead { age_us } => {
                    Ok(Ok((latched_us.saturating_sub(u64::from(age_us)), device.driver.finish(bus)?)))
                }
            },
        });
        match result {
            Ok(Err(conversion)) => self.schedule.begun(due, latched_us, conversion),
            Ok(Ok((time_us, counts))) => {
                if self.schedule.done(due.device, now_us) {
                    for sensor in bits(device.sensors.into()) {
                        sinks.outbox.event(now_us, EventKind::SensorFound { sensor });
                    }
                }
                self.keep(due, time_us, &counts, table);
            }
            Err(failure) => {
                let news = self.schedule.failed(due.device, now_us);
                report_fault(device, now_us, failure, news, sinks);
            }
        }
    }

    fn keep(&mut self, due: &Due, time_us: u64, counts: &Counts, table: &Table) {
        let Some(job) = table.jobs.get(usize::from(due.job)) else { return };
        let Some(scan) = self.scans.get_mut((due.scan & 1) as usize) else { return };
        for (channel, &raw) in (job.first_channel..).zip(counts.iter().take(usize::from(job.channels))) {
            scan.set(channel, time_us, raw);
            let saturated =
                table.scalar(channel).is_some_and(|scalar| raw <= scalar.raw_min || raw >= scalar.raw_max);
            if let (true, Some(count)) = (saturated, self.saturated.get_mut(usize::from(channel))) {
                *count = count.saturating_add(1);
                self.saturated_since |= 1 << channel;
            }
        }
    }

    fn probe<B: I2c + Recover>(
        &mut self,
        place: u8,
        now_us: u64,
        table: &mut Table,
        buses: &mut Buses<'_, B>,
        sinks: &mut Sinks<'_>,
    ) {
        let Some(device) = table.devices.get_mut(usize::from(place)) else { return };
        match buses.with(device, now_us, |device, bus| device.driver.setup(bus)) {
            Ok(()) => {
                let settled_us = now_us.saturating_add(device.driver.part().settle_us());
                self.schedule.try_again(place, settled_us);
            }
            Err(failure) => {
                let news = self.schedule.lose(place, now_us);
                report_fault(device, now_us, failure, news, sinks);
            }
        }
    }

    fn close_scans(&mut self, now_us: u64, table: &Table, config: &Configuration, sinks: &mut Sinks<'_>) {
        let mut overrun = 0_u64;
        while self.schedule.is_overdue(now_us) {
            overrun += u64::from(self.close(table, config, sinks));
            if self.schedule.scan_start_us(self.schedule.open() + FAR_BEHIND) < now_us {
                overrun += self.schedule.skip(now_us);
                self.open_scans();
            }
            sinks.health.scanned(now_us);
        }
        if self.schedule.next(table).is_none_or(|due| due.at_us > now_us) && self.schedule.is_complete(now_us)
        {
            self.close(table, config, sinks);
            sinks.health.scanned(now_us);
        }
        if overrun > 0 {
            let scans = u32::try_from(overrun).unwrap_or(u32::MAX);
            sinks.health.overrun_scans = sinks.health.overrun_scans.saturating_add(scans);
            sinks.outbox.event(now_us, EventKind::Overrun { scans });
        }
    }

    fn close(&mut self, table: &Table, config: &Configuration, sinks: &mut Sinks<'_>) -> bool {
        let open = self.schedule.open();
        let left_out = self.schedule.close();
        if let Some(scan) = self.scans.get((open & 1) as usize) {
            sinks.stream.take(scan, table, config, sinks.outbox);
        }
        self.open_scan(open + 2);
        left_out
    }

    fn report_saturation(&mut self, now_us: u64, sinks: &mut Sinks<'_>) {
        let too_soon =
            self.saturated_reported_us.is_some_and(|then| now_us.saturating_sub(then) < SATURATED_EVERY_US);
        if self.saturated_since == 0 || too_soon {
            return;
        }
        self.saturated_reported_us = Some(now_us);
        for channel in bits(core::mem::take(&mut self.saturated_since)) {
            if let Some(count) = self.saturated.get_mut(usize::from(channel)) {
                let count = core::mem::take(count);
                sinks.outbox.event(now_us, EventKind::Saturated { channel, count });
            }
        }
    }
}

/// Counts a fault, reports what became of the bus, and, if that is news, that the device's sensors are lost.
fn report_fault(
    device: &Device,
    now_us: u64,
    (fault, bus_event): (Fault, Option<EventKind>),
    news: bool,
    sinks: &mut Sinks<'_>,
) {
    if matches!(fault, Fault::NoAnswer | Fault::Bus) {
        sinks.health.bus_errors = sinks.health.bus_errors.saturating_add(1);
    }
    if let Some(kind) = bus_event {
        sinks.outbox.event(now_us, kind);
    }
    if news {
        for sensor in bits(device.sensors.into()) {
            sinks.outbox.event(now_us, EventKind::SensorLost { sensor, reason: fault.into() });
        }
    }
}
