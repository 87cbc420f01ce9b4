//! A logger as it was found.

use super::{FORMAT, finite, text};
use crate::jobs::device::{Channel, Report, Row};
use crate::show::hand;
use serde_json::{Value, json};

/// The report as a document.
pub fn device(report: &Report) -> String {
    let identity = &report.identity;
    let unique_id: String = identity.unique_id.iter().map(|byte| format!("{byte:02x}")).collect();
    let answering: Vec<Value> = report
        .answering
        .iter()
        .map(|a| json!({ "bus": a.bus, "multiplexer": a.mux, "addresses": a.addresses }))
        .collect();
    let swapped: Vec<[&str; 2]> = report
        .swapped
        .iter()
        .map(|(a, b)| [*a, *b].map(|k| report.rows.get(k).map_or("", |r| r.name.as_str())))
        .collect();
    let names = |rows: &[usize]| {
        rows.iter().filter_map(|k| report.rows.get(*k)).map(|r| r.name.clone()).collect::<Vec<_>>()
    };
    let [overrun_scans, dropped_messages, bus_errors] =
        report.left_out.map_or([None; 3], |counts| counts.map(Some));
    text(&json!({
        "format": FORMAT,
        "port": report.port,
        "well": report.is_well(),
        "broken_off": report.broken_off,
        "identity": {
            "board": identity.board.as_str(),
            "firmware": identity.firmware.as_str(),
            "build": identity.build.as_str(),
            "wire": [identity.major, identity.minor],
            "unique_id": unique_id,
            "boot_count": identity.boot_count,
            "uptime_us": identity.uptime_us,
            "reset_cause": identity.reset_cause.as_str(),
            "last_words": report.last_words,
            "buses": identity.buses,
            "stored_records": identity.stored,
        },
        "vehicle": report.vehicle,
        "set_up_for": report.set_up_for,
        "settings": report.settings,
        "answering": answering,
        "sensors": report.rows.iter().map(|row| sensor(report, row)).collect::<Vec<_>>(),
        "shared": report.shared,
        "swapped": swapped,
        "moved_together": names(&report.moved_together),
        "also_moved_in_the_push": names(&report.also_moved),
        "clock": { "ppm": report.drift.and_then(|d| finite(Some(d.ppm))), "u_ppm": report.drift.and_then(|d| finite(Some(d.u_ppm))) },
        "overrun_scans": overrun_scans,
        "dropped_messages": dropped_messages,
        "bus_errors": bus_errors,
        "damaged_frames": report.damaged_frames,
    }))
}

fn sensor(report: &Report, row: &Row) -> Value {
    let place = row.place.as_ref().map(|p| {
        json!({ "device": p.part, "bus": p.bus, "multiplexer": p.mux, "address": p.address, "input": p.input })
    });
    json!({
        "name": row.name,
        "place": place,
        "readings": row.readings.iter().map(reading).collect::<Vec<_>>(),
        "trouble": row.trouble.as_ref().map(|t| json!({ "what": t.what, "check": t.check })),
        "moved": row.moved.as_ref().map(|moved| hand::moved(report, moved)),
        "sense": row.sense.map(hand::sense),
    })
}

fn reading(channel: &Channel) -> Value {
    let of = |pick: fn(&crate::jobs::device::Seen) -> f64| finite(channel.seen.as_ref().map(pick));
    json!({
        "channel": channel.name,
        "unit": channel.unit,
        "latest": of(|s| s.latest),
        "low": of(|s| s.low),
        "high": of(|s| s.high),
    })
}
