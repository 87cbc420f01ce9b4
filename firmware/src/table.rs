//! From the configured sensors to what is to be done: devices on the buses, jobs on the devices (one conversion each),
//! and the rows of the channel table.

use heapless::Vec;
use hingeline_protocol::{
    Channel, Component, MAX_CHANNELS, MAX_GROUPS, MAX_SENSORS, MuxPort, Outcome, SensorConfig,
};

use crate::board::Board;
use crate::config::Configuration;
use crate::sensors::{Driver, Part, Scalar};

/// Most devices: one per sensor.
pub const MAX_DEVICES: usize = MAX_SENSORS;

/// Most jobs: one per channel.
pub const MAX_JOBS: usize = MAX_CHANNELS;

/// Most jobs of one device: the inputs of an ADC.
const MAX_DEVICE_JOBS: usize = 4;

/// Conversions begin this long after the scan's start on the wire, µs, so that a reading that is older than the moment at
/// which it is read still has a slot that is not negative.
pub const LEAD_US: u32 = 2_000;

/// The excitation is read at least so often, µs: 2 Hz.
const EXCITATION_US: u32 = 500_000;

/// Time that the processor adds to each transfer, µs.
const TRANSFER_US: u32 = 10;

/// Nine parts of ten of the time may go into transfers.
const BUSY_TENTHS: u32 = 9;

/// What is read in every other scan or less often may go on into the scan after its own, which is when that one must be closed:
/// eighteen tenths of a period, and two are left for others' transfers.
const TWO_SCANS_TENTHS: u32 = 18;

/// A part on a bus.
#[derive(Debug, Clone)]
pub struct Device {
    /// Which bus.
    pub bus: u8,
    /// Behind which multiplexer's output.
    pub mux: Option<MuxPort>,
    /// 7-bit address.
    pub address: u8,
    /// Its driver.
    pub driver: Driver,
    /// The sensors that it serves, one bit each.
    pub sensors: u32,
    /// Its jobs, in the order in which they are done.
    pub jobs: Vec<u8, MAX_DEVICE_JOBS>,
    /// Whether all its jobs take longer than a period: then the excitation takes the turn of one input after another.
    pub crowded: bool,
    /// Its first conversion of a scan begins so long after the scan's work starts, µs: converters take turns, so that their
    /// transfers do not meet and every reading keeps its slot.
    pub phase_us: u32,
}

/// One conversion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Job {
    /// On which device.
    pub device: u8,
    /// Of which input.
    pub input: u8,
    /// The channel of its first scalar.
    pub first_channel: u8,
    /// How many scalars it gives.
    pub channels: u8,
    /// Done in every so-many-th scan.
    pub every: u16,
    /// Whether it reads an excitation.
    pub excitation: bool,
}

impl Job {
    /// Whether it belongs in a scan: the last of every so many, so that the first scan of all has only the jobs that are
    /// in every scan.
    pub fn is_in(&self, scan: u64) -> bool {
        (scan.wrapping_add(1)).checked_rem(u64::from(self.every)) == Some(0)
    }
}

/// A row of the channel table, without what the configuration or the driver says.
#[derive(Debug, Clone, Copy)]
struct Row {
    sensor: u8,
    job: u8,
    scalar: u8,
    component: Component,
    ratio_to: Option<u8>,
}

/// Channels that share a rate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Group {
    /// Read in every so-many-th scan.
    pub every: u16,
    /// The channels, one bit each.
    pub channels: u64,
}

/// All that is to be done.
#[derive(Debug, Clone, Default)]
pub struct Table {
    /// Devices.
    pub devices: Vec<Device, MAX_DEVICES>,
    /// Jobs.
    pub jobs: Vec<Job, MAX_JOBS>,
    /// Groups of channels; the number is the place.
    pub groups: Vec<Group, MAX_GROUPS>,
    rows: Vec<Row, MAX_CHANNELS>,
    board_clock_hz: [u32; crate::board::MAX_BUSES],
}

/// A refusal, as replied to the host: outcome and detail.
pub type Refusal = (Outcome, u32);

const FULL: Refusal = (Outcome::TableFull, MAX_CHANNELS as u32);

impl Table {
    /// Nothing to do.
    pub const fn new() -> Self {
        Self {
            devices: Vec::new(),
            jobs: Vec::new(),
            groups: Vec::new(),
            rows: Vec::new(),
            board_clock_hz: [0; crate::board::MAX_BUSES],
        }
    }

    /// Works out a configuration.
    ///
    /// # Errors
    /// What cannot be, as replied to the host.
    pub fn build(config: &Configuration, board: &Board) -> Result<Self, Refusal> {
        let mut table = Self { board_clock_hz: board.bus_clock_hz, ..Self::new() };
        for sensor in &config.sensors {
            let part = Configuration::check(sensor, board)?;
            let device = table.device(sensor, part, config)?;
            table.add_job(sensor, device, sensor.input, sensor.every, None)?;
        }
        for sensor in &config.sensors {
            if let Some(input) = sensor.excitation {
                table.add_excitation(sensor, input)?;
            }
        }
        table.fit(config.period_us);
        table.find_groups()?;
        Ok(table)
    }

    /// Gives the devices their turns within that period, and the excitations theirs among the scans.
    pub fn fit(&mut self, period_us: u32) {
        let every = (EXCITATION_US / period_us.max(1)).clamp(1, u32::from(u16::MAX)) as u16;
        for job in self.jobs.iter_mut().filter(|job| job.excitation) {
            job.every = every;
        }
        self.find_crowded(period_us);
        self.find_phases(period_us);
    }

    /// The device of a sensor: one that is there already, or a new one.
    fn device(&mut self, sensor: &SensorConfig, part: Part, config: &Configuration) -> Result<u8, Refusal> {
        let other = |device: &Device| u32::from(device.sensors.trailing_zeros() as u8);
        for (place, device) in self.devices.iter_mut().enumerate() {
            if device.bus != sensor.bus || device.address != sensor.address {
                continue;
            }
            if device.mux == sensor.mux {
                let same_scales = config.sensors.get(other(device) as usize).is_some_and(|first| {
                    (first.full_scale_g, first.full_scale_dps) == (sensor.full_scale_g, sensor.full_scale_dps)
                });
                if device.driver.part() != part || !same_scales {
                    return Err((Outcome::Conflict, other(device)));
                }
                device.sensors |= 1 << sensor.index;
                return Ok(place as u8);
            }
            // What sits on the bus itself answers behind every output as well.
            if device.mux.is_none() || sensor.mux.is_none() {
                return Err((Outcome::Conflict, other(device)));
            }
        }
        let device = Device {
            bus: sensor.bus,
            mux: sensor.mux,
            address: sensor.address,
            driver: Driver::new(part, sensor),
            sensors: 1 << sensor.index,
            jobs: Vec::new(),
            crowded: false,
            phase_us: 0,
        };
        self.devices.push(device).map_err(|_| FULL)?;
        Ok((self.devices.len() - 1) as u8)
    }

    fn add_job(
        &mut self,
        sensor: &SensorConfig,
        device: u8,
        input: u8,
        every: u16,
        excitation: Option<Component>,
    ) -> Result<u8, Refusal> {
        if let Some(job) = self.jobs.iter().find(|job| (job.device, job.input) == (device, input)) {
            // Of the two the later is the one that the host tries to add.
            let user = self.rows.get(usize::from(job.first_channel)).map_or(0, |row| row.sensor);
            return Err((Outcome::Conflict, u32::from(user.min(sensor.index))));
        }
        let place = self.jobs.len() as u8;
        let first_channel = self.rows.len() as u8;
        let owner = self.devices.get_mut(usize::from(device)).ok_or(FULL)?;
        owner.driver.set_input(input, sensor.full_scale_mv);
        owner.jobs.push(place).map_err(|_| FULL)?;
        let channels = owner.driver.part().scalars();
        let job = Job { device, input, first_channel, channels, every, excitation: excitation.is_some() };
        self.jobs.push(job).map_err(|_| FULL)?;
        for scalar in 0..channels {
            let component = excitation.unwrap_or(sensor.component);
            let row = Row { sensor: sensor.index, job: place, scalar, component, ratio_to: None };
            self.rows.push(row).map_err(|_| FULL)?;
        }
        Ok(first_channel)
    }

    /// Adds the excitation of a sensor, if none of its device's other sensors has done so, and ties the sensor's channel
    /// to it.
    fn add_excitation(&mut self, sensor: &SensorConfig, input: u8) -> Result<(), Refusal> {
        let row = self.rows.iter().position(|row| row.sensor == sensor.index).ok_or(FULL)?;
        let device = self
            .rows
            .get(row)
            .and_then(|row| self.jobs.get(usize::from(row.job)))
            .map(|job| job.device)
            .ok_or(FULL)?;
        let there = |job: &&Job| job.excitation && (job.device, job.input) == (device, input);
        let channel = match self.jobs.iter().find(there) {
            Some(job) => job.first_channel,
            None => self.add_job(sensor, device, input, 1, Some(Component::Excitation))?,
        };
        if let Some(row) = self.rows.get_mut(row) {
            row.ratio_to = Some(channel);
        }
        Ok(())
    }

    fn find_crowded(&mut self, period_us: u32) {
        for place in 0..self.devices.len() {
            let cycle_us = self.cycle_us(place as u8, true);
            if let Some(device) = self.devices.get_mut(place) {
                device.crowded = cycle_us > period_us;
            }
        }
    }

    /// Spreads the converters that have to be waited for over the time of one conversion. One that takes longer than a scan is not
    /// waited for by others.
    fn find_phases(&mut self, period_us: u32) {
        let waits = |device: &Device| {
            let ready_us = device.driver.part().cost().ready_us;
            ready_us > 0 && ready_us < period_us
        };
        let count = self.devices.iter().filter(|device| waits(device)).count() as u32;
        let mut turn = 0;
        for place in 0..self.devices.len() {
            let each_us = self.conversion_us(place as u8);
            if let Some(device) = self.devices.get_mut(place).filter(|device| waits(device)) {
                device.phase_us = each_us.checked_div(count).unwrap_or(0) * turn;
                turn += 1;
            }
        }
    }

    fn find_groups(&mut self) -> Result<(), Refusal> {
        for job in &self.jobs {
            let channels = ((1_u64 << job.channels) - 1) << job.first_channel;
            match self.groups.iter_mut().find(|group| group.every == job.every) {
                Some(group) => group.channels |= channels,
                None => self
                    .groups
                    .push(Group { every: job.every, channels })
                    .map_err(|_| (Outcome::TableFull, MAX_GROUPS as u32))?,
            }
        }
        Ok(())
    }

    /// How many channels there are.
    pub fn channels(&self) -> u8 {
        self.rows.len() as u8
    }

    /// What a channel's counts mean.
    pub fn scalar(&self, channel: u8) -> Option<Scalar> {
        let row = self.rows.get(usize::from(channel))?;
        let job = self.jobs.get(usize::from(row.job))?;
        let device = self.devices.get(usize::from(job.device))?;
        Some(device.driver.scalar(job.input, row.scalar, row.component))
    }

    /// A row of the channel table as it is sent.
    pub fn row(&self, channel: u8, config: &Configuration, slot_us: u32) -> Option<Channel> {
        let row = self.rows.get(usize::from(channel))?;
        let job = self.jobs.get(usize::from(row.job))?;
        let scalar = self.scalar(channel)?;
        Some(Channel {
            index: channel,
            count: self.channels(),
            sensor_index: row.sensor,
            sensor: config.sensors.get(usize::from(row.sensor))?.name.clone(),
            component: scalar.component,
            quantity: scalar.quantity,
            unit: scalar.unit,
            scale: scalar.scale,
            offset: 0.0,
            raw_min: scalar.raw_min,
            raw_max: scalar.raw_max,
            ratio_to: row.ratio_to,
            group: self.groups.iter().position(|group| group.every == job.every)? as u8,
            slot_us,
            period_us: config.period_us.saturating_mul(u32::from(job.every)),
        })
    }

    /// The job that the excitation's turn takes away in a scan, on a crowded device.
    pub fn stolen(&self, device: &Device, scan: u64) -> Option<u8> {
        let jobs =
            || device.jobs.iter().filter_map(|&place| Some((place, self.jobs.get(usize::from(place))?)));
        let excitation = jobs().find(|(_, job)| job.excitation && job.is_in(scan))?.1;
        let others = || jobs().filter(|(_, job)| !job.excitation).map(|(place, _)| place);
        let turn = scan.checked_div(u64::from(excitation.every))?.checked_rem(others().count() as u64)?;
        if device.crowded { others().nth(turn as usize) } else { None }
    }

    /// Time of one transfer, µs: nine bits a byte, and start and stop.
    pub fn transfer_us(&self, bus: u8, bytes: u32) -> u32 {
        let clock_hz = self.board_clock_hz.get(usize::from(bus)).copied().unwrap_or(0).max(1);
        match bytes {
            0 => 0,
            _ => (bytes * 9 + 3).saturating_mul(1_000_000) / clock_hz + TRANSFER_US,
        }
    }

    /// Time on the bus before a device's conversion begins or its reading is latched, µs.
    pub fn latch_us(&self, device: &Device) -> u64 {
        u64::from(self.transfer_us(device.bus, device.driver.part().cost().latch_bytes))
    }

    /// Time that one conversion of a device takes, transfers included, µs.
    fn conversion_us(&self, device: u8) -> u32 {
        let Some(owner) = self.devices.get(usize::from(device)) else { return 0 };
        let cost = owner.driver.part().cost();
        self.transfer_us(owner.bus, cost.begin_bytes)
            + cost.ready_us
            + self.transfer_us(owner.bus, cost.finish_bytes)
    }

    /// Time that a device needs for its jobs, one after another, µs.
    fn cycle_us(&self, device: u8, with_excitation: bool) -> u32 {
        let jobs =
            self.jobs.iter().filter(|job| job.device == device && (with_excitation || !job.excitation));
        self.conversion_us(device).saturating_mul(jobs.count() as u32)
    }

    /// The shortest period in which a device can do its jobs, µs.
    fn period_of_us(&self, place: u8, device: &Device) -> u32 {
        let cycle_us = self.cycle_us(place, false);
        let jobs = device.jobs.iter().filter_map(|&job| self.jobs.get(usize::from(job)));
        match jobs.filter(|job| !job.excitation).map(|job| job.every).min() {
            Some(2..) => cycle_us.saturating_add(device.phase_us).saturating_mul(10) / TWO_SCANS_TENTHS,
            _ => cycle_us,
        }
    }

    /// No period can be shorter, µs: no device may need longer for its inputs, nor all transfers together. Whether the buses keep up
    /// with this one, [`crate::rehearsal`] tells.
    pub fn least_period_us(&self) -> u32 {
        let each = (0..).zip(&self.devices).map(|(place, device)| self.period_of_us(place, device));
        let slowest_us = each.max().unwrap_or(0);
        let mut transfers_us = 0_u32;
        for job in &self.jobs {
            let Some(device) = self.devices.get(usize::from(job.device)) else { continue };
            let cost = device.driver.part().cost();
            let both_us = self.transfer_us(device.bus, cost.begin_bytes)
                + self.transfer_us(device.bus, cost.finish_bytes);
            transfers_us = transfers_us.saturating_add(both_us / u32::from(job.every.max(1)));
        }
        slowest_us.max(transfers_us.saturating_mul(10) / BUSY_TENTHS)
    }

    /// Where a channel's slot will be, about: replaced by what the first scan shows.
    pub fn expected_slot_us(&self, channel: u8) -> u32 {
        let Some(job) =
            self.rows.get(usize::from(channel)).and_then(|row| self.jobs.get(usize::from(row.job)))
        else {
            return LEAD_US;
        };
        let Some(device) = self.devices.get(usize::from(job.device)) else { return LEAD_US };
        let each_us = self.conversion_us(job.device);
        let before = device
            .jobs
            .iter()
            .filter_map(|&place| self.jobs.get(usize::from(place)))
            .position(|at| at == job);
        LEAD_US + device.phase_us + each_us / 2 + each_us * before.unwrap_or(0) as u32
    }
}
