//! The travel that was used and the flex that axles share, as `analyse --json` has them.

use super::{Plain, Value};
use crate::measure::{End, Envelope, Measured, Shared, Sharing};
use serde::Serialize;

/// What an axle used of its travel.
#[derive(Serialize)]
pub(super) struct Used {
    of: &'static str,
    seconds: f64,
    heave_m: Ends,
    roll_rad: Ends,
    left_wheel_m: Ends,
    right_wheel_m: Ends,
    region: Vec<Corner>,
    share_of_sweep: f64,
    droop: Near,
    bump: Near,
    right_wheel_up: Near,
    left_wheel_up: Near,
}

#[derive(Serialize)]
struct Ends {
    least: Plain,
    greatest: Plain,
}

#[derive(Serialize)]
struct Corner {
    heave_m: f64,
    roll_rad: f64,
}

#[derive(Serialize)]
struct Near {
    limit: f64,
    used: f64,
    times: usize,
    time_share: f64,
}

impl Used {
    pub(super) fn of(envelope: &Envelope) -> Self {
        let [left, right] = &envelope.wheels_m;
        let [droop, bump, right_up, left_up] = &envelope.ends;
        Self {
            of: if envelope.obstacle { "obstacle" } else { "all phases" },
            seconds: envelope.seconds,
            heave_m: Ends::of(&envelope.heave_m),
            roll_rad: Ends::of(&envelope.roll_rad),
            left_wheel_m: Ends::of(left),
            right_wheel_m: Ends::of(right),
            region: envelope
                .region
                .iter()
                .map(|[heave_m, roll_rad]| Corner { heave_m: *heave_m, roll_rad: *roll_rad })
                .collect(),
            share_of_sweep: envelope.share_of_sweep,
            droop: Near::of(droop),
            bump: Near::of(bump),
            right_wheel_up: Near::of(right_up),
            left_wheel_up: Near::of(left_up),
        }
    }
}

impl Ends {
    fn of([least, greatest]: &[Measured; 2]) -> Self {
        let plain = |m: &Measured| Plain::new(m.value, m.u);
        Self { least: plain(least), greatest: plain(greatest) }
    }
}

impl Near {
    fn of(end: &End) -> Self {
        let End { limit, used, times, time_share } = *end;
        Self { limit, used, times, time_share }
    }
}

/// How two axles share a ramp.
#[derive(Serialize)]
pub(super) struct Share<'a> {
    phase: &'static str,
    front: &'a str,
    rear: &'a str,
    greatest: Step,
    along: Vec<Step>,
    stiffness_ratio_front_to_rear: Value,
    flexes_first: Option<&'a str>,
    binds: Option<Binds<'a>>,
}

#[derive(Serialize)]
struct Step {
    total_rad: f64,
    front_rad: Plain,
    rear_rad: Plain,
    rear_share: Plain,
}

#[derive(Serialize)]
struct Binds<'a> {
    axle: &'a str,
    from_total_rad: f64,
}

impl<'a> Share<'a> {
    pub(super) fn of(sharing: &'a Sharing) -> Self {
        let [front, rear] = &sharing.axles;
        let name = |axle: usize| sharing.axles.get(axle).map_or("", String::as_str);
        Self {
            phase: sharing.phase.words(),
            front,
            rear,
            greatest: Step::of(&sharing.greatest),
            along: sharing.along.iter().map(Step::of).collect(),
            stiffness_ratio_front_to_rear: Value::of(&sharing.stiffness_ratio),
            flexes_first: sharing.first.map(name),
            binds: sharing.binds.map(|(axle, from_total_rad)| Binds { axle: name(axle), from_total_rad }),
        }
    }
}

impl Step {
    fn of(shared: &Shared) -> Self {
        let plain = |(value, u): (f64, f64)| Plain::new(Some(value), Some(u));
        let [front, rear] = shared.roll_rad.map(plain);
        Self {
            total_rad: shared.total_rad,
            front_rad: front,
            rear_rad: rear,
            rear_share: plain(shared.rear_share),
        }
    }
}
