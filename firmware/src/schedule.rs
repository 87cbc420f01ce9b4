//! When what is to be done: pure arithmetic on times, no bus.
//!
//! Each device does its jobs of a scan one after another; devices overlap, so that all converters work at the same time, each
//! a little after the other, so that their transfers do not meet. Of all that is due the earliest is done first. A device may be up to one period behind; then it leaves out the rest of that
//! scan.

use heapless::Vec;

use crate::sensors::Conversion;
use crate::table::{Device, LEAD_US, MAX_DEVICES, Table};

/// A lost device is tried again after this, µs.
pub const PROBE_EVERY_US: u64 = 1_000_000;

/// So many faults in a row make a device lost.
pub const LOST_AFTER: u8 = 3;

/// Whether a device is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Presence {
    /// It is.
    Present,
    /// It was set up again, but has not yet given a reading.
    OnTrial,
    /// It is not; tried again at that time, µs.
    Lost(u64),
}

/// A conversion that goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Converting {
    job: u8,
    middle_us: u64,
    ready_us: u64,
}

/// Where a device is.
#[derive(Debug, Clone, Copy)]
struct Run {
    /// The scan that it works on.
    scan: u64,
    /// The next of its jobs.
    next: u8,
    converting: Option<Converting>,
    /// It can take a job from then on.
    free_us: u64,
    presence: Presence,
    faults: u8,
}

/// Something to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    /// Begin a job's conversion.
    Begin,
    /// Read it; its middle was at that time, µs.
    Finish {
        /// Middle of the conversion, µs.
        middle_us: u64,
    },
}

/// What is due first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Due {
    /// When, µs.
    pub at_us: u64,
    /// On which device.
    pub device: u8,
    /// Which job.
    pub job: u8,
    /// For which scan.
    pub scan: u64,
    /// What.
    pub action: Action,
}

/// The timetable of a streaming logger.
#[derive(Debug, Clone, Default)]
pub struct Schedule {
    runs: Vec<Run, MAX_DEVICES>,
    start_us: u64,
    period_us: u64,
    /// The oldest scan that is not closed.
    open: u64,
}

impl Schedule {
    /// Nothing to do.
    pub const fn new() -> Self {
        Self { runs: Vec::new(), start_us: 0, period_us: 0, open: 0 }
    }

    /// Every device present, the first scan at `start_us`.
    pub fn start(devices: usize, start_us: u64, period_us: u32) -> Self {
        let run =
            Run { scan: 0, next: 0, converting: None, free_us: 0, presence: Presence::Present, faults: 0 };
        let mut runs = Vec::new();
        while runs.len() < devices && runs.push(run).is_ok() {}
        Self { runs, start_us, period_us: u64::from(period_us.max(1)), open: 0 }
    }

    /// Moves the first scan to `start_us`; for before it has begun.
    pub fn start_at(&mut self, start_us: u64) {
        self.start_us = start_us;
    }

    /// The oldest scan that is not closed.
    pub const fn open(&self) -> u64 {
        self.open
    }

    /// When a scan starts, as the wire says it, µs.
    pub const fn scan_start_us(&self, scan: u64) -> u64 {
        self.start_us.saturating_add(self.period_us.saturating_mul(scan))
    }

    /// When the conversions of a scan begin, µs.
    const fn work_start_us(&self, scan: u64) -> u64 {
        self.scan_start_us(scan).saturating_add(LEAD_US as u64)
    }

    /// Whether a device is there.
    pub fn presence(&self, device: u8) -> Presence {
        self.runs.get(usize::from(device)).map_or(Presence::Present, |run| run.presence)
    }

    /// What is due first, if anything is before the open scan closes.
    pub fn next(&mut self, table: &Table) -> Option<Due> {
        let mut first: Option<(Due, bool)> = None;
        for (place, device) in table.devices.iter().enumerate() {
            let Some(due) = self.next_of(table, place as u8, device) else { continue };
            // Of what is due at once, first what then converts by itself.
            let waits = device.driver.part().cost().ready_us == 0;
            if first.is_none_or(|(best, best_waits)| (due.at_us, waits) < (best.at_us, best_waits)) {
                first = Some((due, waits));
            }
        }
        first.map(|(due, _)| due)
    }

    fn next_of(&mut self, table: &Table, place: u8, device: &Device) -> Option<Due> {
        let open = self.open;
        let run = self.runs.get_mut(usize::from(place))?;
        if matches!(run.presence, Presence::Lost(_)) {
            return None;
        }
        if let Some(Converting { job, middle_us, ready_us }) = run.converting {
            let action = Action::Finish { middle_us };
            return Some(Due { at_us: ready_us, device: place, job, scan: run.scan, action });
        }
        loop {
            let stolen = table.stolen(device, run.scan);
            while let Some(&job) = device.jobs.get(usize::from(run.next)) {
                let in_scan = table.jobs.get(usize::from(job)).is_some_and(|job| job.is_in(run.scan));
                if in_scan && stolen != Some(job) {
                    let (scan, free_us) = (run.scan, run.free_us);
                    let turn_us = self.work_start_us(scan).saturating_add(u64::from(device.phase_us));
                    let at_us = turn_us.max(free_us);
                    return Some(Due { at_us, device: place, job, scan, action: Action::Begin });
                }
                run.next = run.next.saturating_add(1);
            }
            if run.scan > open {
                return None;
            }
            run.scan += 1;
            run.next = 0;
        }
    }

    /// A conversion was begun; the part took it at `now_us`.
    pub fn begun(&mut self, due: &Due, now_us: u64, conversion: Conversion) {
        if let (Some(run), Conversion::Timed { middle_us, ready_us }) =
            (self.runs.get_mut(usize::from(due.device)), conversion)
        {
            run.converting = Some(Converting {
                job: due.job,
                middle_us: now_us.saturating_add(u64::from(middle_us)),
                ready_us: now_us.saturating_add(u64::from(ready_us)),
            });
        }
    }

    /// A job is done, with a reading. Gives whether the device had been lost.
    pub fn done(&mut self, device: u8, now_us: u64) -> bool {
        let Some(run) = self.runs.get_mut(usize::from(device)) else { return false };
        run.step_on(now_us);
        run.faults = 0;
        core::mem::replace(&mut run.presence, Presence::Present) == Presence::OnTrial
    }

    /// A job failed. Gives whether the device is now lost, and whether that is news.
    pub fn failed(&mut self, device: u8, now_us: u64) -> bool {
        let Some(run) = self.runs.get_mut(usize::from(device)) else { return false };
        run.step_on(now_us);
        run.faults = run.faults.saturating_add(1);
        let was_present = run.presence == Presence::Present;
        if run.faults >= LOST_AFTER || !was_present {
            run.presence = Presence::Lost(now_us.saturating_add(PROBE_EVERY_US));
            return was_present;
        }
        false
    }

    /// A device could not be set up: it is lost. Gives whether that is news.
    pub fn lose(&mut self, device: u8, now_us: u64) -> bool {
        let Some(run) = self.runs.get_mut(usize::from(device)) else { return false };
        let lost = Presence::Lost(now_us.saturating_add(PROBE_EVERY_US));
        core::mem::replace(&mut run.presence, lost) == Presence::Present
    }

    /// A lost device was set up again, and gives good readings from `settled_us` on.
    pub fn try_again(&mut self, device: u8, settled_us: u64) {
        let open = self.open;
        let next_work_us = self.work_start_us(open.saturating_add(1));
        if let Some(run) = self.runs.get_mut(usize::from(device)) {
            run.presence = Presence::OnTrial;
            run.scan = open.saturating_add(1);
            run.next = 0;
            run.converting = None;
            run.faults = 0;
            run.free_us = settled_us.max(next_work_us);
        }
    }

    /// The lost device to be tried next, and when, µs.
    pub fn next_probe(&self) -> Option<(u64, u8)> {
        let lost = |(place, run): (usize, &Run)| match run.presence {
            Presence::Lost(at_us) => Some((at_us, place as u8)),
            Presence::Present | Presence::OnTrial => None,
        };
        self.runs.iter().enumerate().filter_map(lost).min()
    }

    /// Whether the open scan can be closed: its time is over and every device is done with it.
    pub fn is_complete(&self, now_us: u64) -> bool {
        now_us >= self.closing_us() && self.runs.iter().all(|run| run.is_past(self.open))
    }

    /// When the open scan closes at the earliest, µs.
    pub const fn closing_us(&self) -> u64 {
        self.work_start_us(self.open.saturating_add(1))
    }

    /// Whether the open scan must be closed as it is: the scan after it is over as well.
    pub const fn is_overdue(&self, now_us: u64) -> bool {
        now_us >= self.work_start_us(self.open.saturating_add(2))
    }

    /// Closes the open scan: devices that are not done leave out the rest. Gives whether there were any.
    pub fn close(&mut self) -> bool {
        let open = self.open;
        let mut left_out = false;
        for run in self.runs.iter_mut().filter(|run| run.scan <= open) {
            left_out |= !matches!(run.presence, Presence::Lost(_));
            run.skip_to(open.saturating_add(1));
        }
        self.open = open.saturating_add(1);
        left_out
    }

    /// After a long standstill: leaves out all scans but the one before the current one. Gives how many.
    pub fn skip(&mut self, now_us: u64) -> u64 {
        let current = now_us
            .saturating_sub(self.start_us.saturating_add(u64::from(LEAD_US)))
            .checked_div(self.period_us)
            .unwrap_or(0);
        let target = current.saturating_sub(1);
        let skipped = target.saturating_sub(self.open);
        if skipped > 0 {
            self.open = target;
            for run in self.runs.iter_mut().filter(|run| run.scan < target) {
                run.skip_to(target);
            }
        }
        skipped
    }
}

impl Run {
    fn step_on(&mut self, now_us: u64) {
        self.converting = None;
        self.next = self.next.saturating_add(1);
        self.free_us = now_us;
    }

    /// A conversion that goes on cannot be broken off: the part takes no other before it is done.
    fn skip_to(&mut self, scan: u64) {
        if let Some(converting) = self.converting.take() {
            self.free_us = converting.ready_us;
        }
        self.scan = scan;
        self.next = 0;
    }

    fn is_past(&self, scan: u64) -> bool {
        self.scan > scan || matches!(self.presence, Presence::Lost(_))
    }
}
