//! `record --json`: one line for each thing that happens, for a program that watches.

use super::{FORMAT, finite};
use crate::jobs::record::fetch::{Fetched, Recording};
use crate::jobs::record::guide::{Advice, AxleNow, AxleResolved, Resolution, Resolved};
use crate::jobs::record::{Progress, Recorded};
use crate::run::Phase;
use serde::Serialize;
use std::collections::BTreeMap;

/// Where a recording is.
pub fn progress(progress: &Progress<'_>, now: &[AxleNow]) -> String {
    let silent = progress.live.latest.iter().filter(|all| all.iter().any(Option::is_none)).count();
    line(&Line::Progress {
        format: FORMAT,
        elapsed_s: progress.elapsed_s,
        phase: progress.phase.map(Phase::words),
        next: progress.next.map(Phase::words),
        linked: progress.linked,
        received: progress.live.received,
        lost: progress.live.lost,
        damaged_frames: progress.damaged_frames,
        restarts: progress.restarts,
        silent_sensors: silent,
        axles: now.iter().map(Axle::of).collect(),
    })
}

/// How well the numbers are resolved so far.
pub fn resolved(axles: &[AxleResolved]) -> String {
    let axle = |axle: &AxleResolved| Judged {
        name: axle.name.clone(),
        heave_m: axle.heave_m,
        roll_rad: axle.roll_rad,
        numbers: axle.numbers.iter().map(|n| (n.key.as_str(), Number::of(n))).collect(),
    };
    line(&Line::Resolved { format: FORMAT, axles: axles.iter().map(axle).collect() })
}

/// How a recording ended.
pub fn recorded(recorded: &Recorded) -> String {
    line(&Line::Ended {
        format: FORMAT,
        run: recorded.full_name(),
        seconds: recorded.seconds,
        received: recorded.received,
        lost: recorded.lost,
        damaged_frames: recorded.damaged_frames,
        gaps: recorded.gaps.0,
        gaps_s: recorded.gaps.1,
        restarts: recorded.restarts,
        silent: recorded.silent.clone(),
        phases: recorded.phases.iter().map(|p| p.words()).collect(),
        why: recorded.why.clone(),
        trouble: recorded.trouble.as_ref().map(ToString::to_string),
    })
}

/// What was fetched for a vehicle, as one line.
pub fn fetched(fetched: &Fetched, vehicle: &str) -> String {
    let recording = |r: &Recording| FetchedRecording {
        run: format!("{vehicle}/{}", r.name),
        known: r.known,
        begun: r.begun.as_ref().map(|at| at.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()),
        seconds: r.seconds,
        scans: r.scans,
    };
    line(&Line::Fetched {
        format: FORMAT,
        records: fetched.records,
        left_out: fetched.left_out,
        missing: fetched.missing,
        recordings: fetched.recordings.iter().map(recording).collect(),
    })
}

fn line(line: &Line) -> String {
    // Made of numbers, strings, lists and maps with string keys, none of which can fail to be written.
    serde_json::to_string(line).unwrap_or_default()
}

#[derive(Serialize)]
#[serde(tag = "event", rename_all = "lowercase")]
enum Line {
    Fetched {
        format: u32,
        records: u32,
        left_out: u32,
        missing: u32,
        recordings: Vec<FetchedRecording>,
    },
    Progress {
        format: u32,
        elapsed_s: Option<f64>,
        phase: Option<&'static str>,
        next: Option<&'static str>,
        linked: bool,
        received: u64,
        lost: u64,
        damaged_frames: u32,
        restarts: u32,
        silent_sensors: usize,
        axles: Vec<Axle>,
    },
    Resolved {
        format: u32,
        axles: Vec<Judged>,
    },
    Ended {
        format: u32,
        run: String,
        seconds: f64,
        received: u64,
        lost: u64,
        damaged_frames: u32,
        gaps: u32,
        gaps_s: f64,
        restarts: u32,
        silent: Vec<String>,
        phases: Vec<&'static str>,
        why: String,
        trouble: Option<String>,
    },
}

#[derive(Serialize)]
struct Axle {
    name: String,
    heave_m: Option<f64>,
    heave_u_m: Option<f64>,
    articulation_rad: Option<f64>,
    articulation_u_rad: Option<f64>,
    wheel_travel_left_m: Option<f64>,
    wheel_travel_right_m: Option<f64>,
    rise_m: Option<f64>,
}

impl Axle {
    fn of(axle: &AxleNow) -> Self {
        Self {
            name: axle.name.clone(),
            heave_m: finite(axle.heave_m.map(|v| v.0)),
            heave_u_m: finite(axle.heave_m.map(|v| v.1)),
            articulation_rad: finite(axle.articulation_rad.map(|v| v.0)),
            articulation_u_rad: finite(axle.articulation_rad.map(|v| v.1)),
            wheel_travel_left_m: finite(axle.wheel_travel_m.map(|[left, _]| left)),
            wheel_travel_right_m: finite(axle.wheel_travel_m.map(|[_, right]| right)),
            rise_m: finite(axle.rise_m),
        }
    }
}

#[derive(Serialize)]
struct FetchedRecording {
    run: String,
    known: bool,
    begun: Option<String>,
    seconds: f64,
    scans: u64,
}

#[derive(Serialize)]
struct Judged {
    name: String,
    heave_m: [f64; 2],
    roll_rad: [f64; 2],
    numbers: BTreeMap<&'static str, Number>,
}

#[derive(Serialize)]
struct Number {
    value: Option<f64>,
    u: Option<f64>,
    status: &'static str,
    enough_u: f64,
    resolution: &'static str,
    more_articulation_rad: Option<f64>,
    wheel_up: Option<&'static str>,
    more_travel_m: Option<f64>,
    more_times: Option<u32>,
    limited_by: Option<&'static str>,
}

impl Number {
    fn of(number: &Resolved) -> Self {
        let mut said = Self {
            value: finite(number.measured.value),
            u: finite(number.measured.u),
            status: number.measured.status.word(),
            enough_u: number.enough_u,
            resolution: match number.resolution {
                Resolution::Well => "well",
                Resolution::Coarse => "coarse",
                Resolution::NotYet => "not yet",
                Resolution::Unseen => "unseen",
            },
            more_articulation_rad: None,
            wheel_up: None,
            more_travel_m: None,
            more_times: None,
            limited_by: None,
        };
        match number.advice {
            Some(Advice::Articulate { more_rad, left }) => {
                said.more_articulation_rad = finite(Some(more_rad));
                said.wheel_up = left.map(|left| if left { "left" } else { "right" });
            }
            Some(Advice::Travel { more_m }) => said.more_travel_m = finite(Some(more_m)),
            Some(Advice::Repeat { times }) => said.more_times = Some(times),
            Some(Advice::NoMotion { because }) => said.limited_by = Some(because),
            None => {}
        }
        said
    }
}
