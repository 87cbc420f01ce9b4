//! Time that this thread had a processor, so that what else the machine does counts as little as it can.

use criterion::measurement::{Measurement, ValueFormatter, WallTime};
use rustix::time::{ClockId, clock_gettime};
use std::time::Duration;

/// Measures processor time; shown as times are.
pub struct ProcessorTime(WallTime);

impl ProcessorTime {
    pub fn new() -> Self {
        Self(WallTime)
    }
}

fn now() -> Duration {
    let at = clock_gettime(ClockId::ThreadCPUTime);
    Duration::new(at.tv_sec.unsigned_abs(), u32::try_from(at.tv_nsec).unwrap_or_default())
}

impl Measurement for ProcessorTime {
    type Intermediate = Duration;
    type Value = Duration;

    fn start(&self) -> Duration {
        now()
    }

    fn end(&self, start: Duration) -> Duration {
        now().saturating_sub(start)
    }

    fn add(&self, one: &Duration, other: &Duration) -> Duration {
        *one + *other
    }

    fn zero(&self) -> Duration {
        Duration::ZERO
    }

    fn to_f64(&self, value: &Duration) -> f64 {
        self.0.to_f64(value)
    }

    fn formatter(&self) -> &dyn ValueFormatter {
        self.0.formatter()
    }
}
