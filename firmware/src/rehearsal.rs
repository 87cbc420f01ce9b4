//! Whether the buses keep up with a period: the timetable gone through on paper before the first scan, with what the parts'
//! transfers and conversions cost.
//!
//! Adding costs up does not tell. A transfer cannot be broken off, so that a long one on a slow bus holds up the
//! conversions of every other converter, and how often it does depends on where in a scan each falls.

use hingeline_protocol::MuxPort;

use crate::board::MAX_BUSES;
use crate::schedule::{Action, Due, Schedule};
use crate::sensors::{Conversion, tca9548};
use crate::table::{Device, Table};

/// Transfers are taken to last so many ninths of what they should: a tenth of the time is for what else the processor does.
const TRANSFER_NINTHS: u32 = 10;

/// A turn has so many scans if no excitation says how many.
const TURN: u64 = 50;

/// So many turns of the excitations are gone through. A first one makes late, the next show whether each adds to it.
const TURNS: u64 = 4;

/// From one turn to the next what is done may be later by so much, µs: less than the tenth that was added to the transfers.
const LATER_US: u64 = 20;

/// Longest period that is tried, µs: any rig keeps up with it.
const LONGEST_US: u32 = 1_000_000;

/// Whether every scan of `table` can be closed in time with that period.
pub fn keeps_up(table: &Table, period_us: u32) -> bool {
    let mut schedule = Schedule::start(table.devices.len(), 0, period_us);
    let mut selected = [None; MAX_BUSES];
    let mut now_us = 0;
    let excitations = table.jobs.iter().filter(|job| job.excitation);
    let turn = excitations.map(|job| u64::from(job.every)).max().unwrap_or(TURN);
    // How late the latest was in the turn before, and is in this one.
    let (mut before_us, mut late_us) = (u64::MAX, 0);
    while schedule.open() < TURNS * turn {
        if schedule.is_overdue(now_us) {
            return false;
        }
        match schedule.next(table) {
            Some(due) if due.at_us <= now_us => {
                let Some(device) = table.devices.get(usize::from(due.device)) else { return false };
                if due.scan == schedule.open() {
                    late_us = late_us.max(now_us.saturating_sub(schedule.closing_us()));
                }
                now_us += selecting_us(table, device, &mut selected);
                now_us += carry_out(table, device, &due, now_us, &mut schedule);
            }
            _ if schedule.is_complete(now_us) => {
                schedule.close();
                if schedule.open().checked_rem(turn) == Some(0) {
                    if schedule.open() > 2 * turn && late_us > before_us.saturating_add(LATER_US) {
                        return false;
                    }
                    (before_us, late_us) = (late_us, 0);
                }
            }
            due => {
                let next_us = due.map_or(u64::MAX, |due| due.at_us).min(schedule.closing_us());
                now_us = next_us.max(now_us + 1);
            }
        }
    }
    true
}

/// Goes through a job's next step at `now_us`. Gives how long it holds the processor, µs.
fn carry_out(table: &Table, device: &Device, due: &Due, now_us: u64, schedule: &mut Schedule) -> u64 {
    let cost = device.driver.part().cost();
    let begin_us = transfer_us(table, device, cost.begin_bytes);
    let finish_us = transfer_us(table, device, cost.finish_bytes);
    match due.action {
        Action::Begin if cost.ready_us > 0 => {
            let conversion = Conversion::Timed { middle_us: 0, ready_us: cost.ready_us };
            schedule.begun(due, now_us + begin_us, conversion);
            begin_us
        }
        action => {
            schedule.done(due.device, now_us);
            finish_us + if action == Action::Begin { begin_us } else { 0 }
        }
    }
}

/// How long it takes to connect a device's multiplexer output, and to part that of another multiplexer, µs.
fn selecting_us(table: &Table, device: &Device, selected: &mut [Option<MuxPort>; MAX_BUSES]) -> u64 {
    let Some(before) = selected.get_mut(usize::from(device.bus)) else { return 0 };
    let before = core::mem::replace(before, device.mux);
    if before == device.mux {
        return 0;
    }
    let parts = before.is_some_and(|old| device.mux.is_none_or(|new| new.address != old.address));
    let transfers = u64::from(parts) + u64::from(device.mux.is_some());
    transfers * transfer_us(table, device, tca9548::SELECT_BYTES)
}

/// The shortest period, `asked_us` or longer, with which the buses keep up, µs; to about a sixteenth. The table stays fitted
/// to `asked_us`.
pub fn shortest_period_us(table: &mut Table, asked_us: u32) -> u32 {
    let mut period_us = asked_us;
    while period_us < LONGEST_US {
        table.fit(period_us);
        let least_us = table.least_period_us();
        if period_us >= least_us && keeps_up(table, period_us) {
            break;
        }
        period_us = least_us.max(period_us + period_us / 16 + 1);
    }
    table.fit(asked_us);
    period_us
}

fn transfer_us(table: &Table, device: &Device, bytes: u32) -> u64 {
    u64::from(table.transfer_us(device.bus, bytes) * TRANSFER_NINTHS / 9)
}
