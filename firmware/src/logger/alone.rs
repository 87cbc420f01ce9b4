//! The logger without a host: its button, its light, and what it keeps while nobody listens.

use hingeline_protocol::{EventKind, Outcome, Press};

use super::{Logger, Mode};
use crate::config::Configuration;
use crate::keeper::Keeper;
use crate::panel::Light;

/// A host that says nothing for so long does not listen, µs. One that records asks for the time every second.
pub const HOST_SILENT_US: u64 = 10_000_000;

/// Alone it makes no more than 50 scans a second, so that a small memory lasts for a whole test.
pub const ALONE_PERIOD_US: u32 = 20_000;

/// A recording that the button began.
#[derive(Debug, Clone, Copy)]
pub(super) struct Alone {
    /// The period that the host configured, µs.
    period_us: u32,
    /// Short presses so far.
    presses: u32,
}

impl Logger {
    /// The button was pressed, see [`crate::panel`]. A host that listens decides itself what that means.
    pub fn button(&mut self, now_us: u64, press: Press) {
        let Some(alone) = &mut self.alone else {
            self.outbox.event(now_us, EventKind::Button { press });
            if press == Press::Long && !self.is_streaming() && !self.host_listens(now_us) {
                self.start_alone(now_us);
            }
            return;
        };
        if press == Press::Short {
            alone.presses = alone.presses.saturating_add(1);
        }
        let first = alone.presses == 1 && press == Press::Short;
        self.outbox.event(now_us, if first { EventKind::Still } else { EventKind::Button { press } });
        if press == Press::Long {
            self.stop(now_us);
        }
    }

    /// What the light says.
    pub fn light(&self) -> Light {
        let keeper = self.keeper.as_ref();
        match &self.mode {
            Mode::Streaming if self.sampler.lost_sensors(&self.table) != 0 => Light::SensorMissing,
            Mode::Streaming | Mode::Starting { .. } if self.alone.is_some_and(|alone| alone.presses == 1) => {
                Light::Still
            }
            Mode::Streaming | Mode::Starting { .. } => Light::Recording,
            Mode::Idle | Mode::Scanning(_) if keeper.is_some_and(|k| !k.store().log.has_room()) => {
                Light::Full
            }
            Mode::Idle | Mode::Scanning(_) => {
                let able = keeper.is_some_and(Keeper::takes) && !self.config.sensors.is_empty();
                if able { Light::Ready } else { Light::Unable }
            }
        }
    }

    fn host_listens(&self, now_us: u64) -> bool {
        self.host_heard_us.is_some_and(|then| now_us.saturating_sub(then) < HOST_SILENT_US)
    }

    /// Keeps messages from when nobody listens, with all that makes them legible, to when somebody does.
    pub(super) fn mind_host(&mut self, now_us: u64) {
        let Some(keeper) = &self.keeper else { return };
        if self.outbox.is_keeping() && !keeper.takes() {
            return self.store_is_full(now_us);
        }
        let unheard = self.alone.is_some() || !self.host_listens(now_us);
        let keep = self.is_streaming() && unheard && keeper.takes();
        if keep == self.outbox.is_keeping() {
            return;
        }
        self.outbox.keep(keep);
        if keep {
            self.send_identity(now_us);
            self.stream.request_rows(&self.table);
        }
    }

    fn start_alone(&mut self, now_us: u64) {
        if !self.keeper.as_ref().is_some_and(Keeper::takes) {
            return;
        }
        let period_us = self.config.period_us;
        let slower = Configuration { period_us: period_us.max(ALONE_PERIOD_US), ..self.config.clone() };
        if self.configure(slower).is_ok() && self.start(now_us).0 == Outcome::Done {
            // What is kept is what the host configured.
            if let Some(keeper) = &mut self.keeper {
                keeper.configuration_due = false;
            }
            self.alone = Some(Alone { period_us, presses: 0 });
            self.mind_host(now_us);
        } else {
            self.go_back(period_us);
        }
    }

    /// After a recording alone all is as it was configured.
    pub(super) fn end_alone(&mut self) {
        if let Some(alone) = self.alone.take() {
            self.go_back(alone.period_us);
        }
    }

    fn go_back(&mut self, period_us: u32) {
        let before = Configuration { period_us, ..self.config.clone() };
        // It was in use before, so it is taken again.
        let _ = self.configure(before);
    }

    /// The store takes no more: a recording alone ends, and everybody who listens is told.
    pub(super) fn store_is_full(&mut self, now_us: u64) {
        self.outbox.keep(false);
        if self.alone.is_some() {
            self.stop(now_us);
        }
        self.outbox.event(now_us, EventKind::StoreFull);
    }
}
