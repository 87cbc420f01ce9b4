//! Keeps what the logger says while nobody listens, hands it over later, and forgets it when told to. One small piece of work
//! at a time: a memory that is written takes the processor's time from the sampling.

use embedded_storage::nor_flash::NorFlash;
use hingeline_protocol::sizes::{MAX_STORED, MAX_WIRE};
use hingeline_protocol::{DeviceMessage, Outcome, StoredRecord};

use crate::config::Configuration;
use crate::outbox::Outbox;
use crate::store::log::Cursor;
use crate::store::{Store, StoreError};

/// What the host asked for last, and how far that is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Task {
    /// Nothing.
    None,
    /// Records from `first`, at most so many.
    Fetch { first: u32, left: u32, sent: u32 },
    /// The erasure is to be begun.
    BeginErasing,
    /// This many sectors are left.
    Erase { left: u32 },
}

/// What came of a piece of work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Worked {
    /// There was nothing to do.
    Nothing,
    /// There is more to do.
    More,
    /// A host message is done: its kind, the outcome and its detail.
    Reply(u8, Outcome, u32),
    /// The memory takes no more.
    Full,
}

/// The store at work.
#[derive(Debug, Clone)]
pub struct Keeper {
    store: Store,
    task: Task,
    /// Where the record after the last one that was handed over is.
    cursor: Cursor,
    next: u32,
    /// The memory refused.
    broken: bool,
    /// The configuration is to be kept before sampling begins.
    pub configuration_due: bool,
}

impl Keeper {
    /// With a store that is open.
    pub const fn new(store: Store) -> Self {
        let cursor = store.log.cursor();
        Self { store, task: Task::None, cursor, next: 0, broken: false, configuration_due: false }
    }

    /// The store.
    pub const fn store(&self) -> &Store {
        &self.store
    }

    /// Whether it takes messages.
    pub fn takes(&self) -> bool {
        !self.broken && self.store.is_settled() && self.task == Task::None && self.store.log.has_room()
    }

    /// Whether it works for the host.
    pub fn is_busy(&self) -> bool {
        self.task != Task::None
    }

    /// Whether the memory is still being made ready.
    pub const fn is_settling(&self) -> bool {
        !self.broken && !self.store.is_settled()
    }

    /// Is to hand over records.
    pub fn fetch(&mut self, first: u32, count: u32) {
        if first < self.next {
            (self.cursor, self.next) = (self.store.log.cursor(), 0);
        }
        self.task = Task::Fetch { first, left: count, sent: 0 };
    }

    /// Is to forget everything.
    pub fn erase(&mut self) {
        self.task = Task::BeginErasing;
    }

    /// Keeps the configuration. Erases a sector: before sampling begins.
    pub fn keep_configuration<F: NorFlash>(&mut self, flash: &mut F, configuration: &Configuration) {
        self.configuration_due = false;
        self.broken |= self.store.keep_configuration(flash, configuration).is_err();
    }

    /// Does one piece of what there is to do: the memory is made ready first, then messages, then what the host asked for.
    pub fn work<F: NorFlash>(&mut self, flash: &mut F, outbox: &mut Outbox) -> Worked {
        if self.is_settling() {
            self.broken |= self.store.settle(flash).is_err();
            return Worked::More;
        }
        if self.store.log.is_writing() {
            return match self.store.log.write_piece(flash) {
                Ok(()) => Worked::More,
                Err(error) => self.lost(error, outbox),
            };
        }
        let mut bytes = [0; MAX_STORED];
        if let Some(message) = outbox.kept.pop(&mut bytes) {
            return match self.store.log.begin(self.store.boot_count(), message) {
                Ok(()) => Worked::More,
                Err(error) => self.lost(error, outbox),
            };
        }
        match self.task {
            Task::None => Worked::Nothing,
            Task::Fetch { first, left, sent } => self.hand_over(flash, outbox, first, left, sent),
            Task::BeginErasing => match self.store.begin_erasing(flash) {
                Ok(left) => {
                    self.task = Task::Erase { left };
                    Worked::More
                }
                Err(_) => self.done(10, Outcome::NotSupported, 0),
            },
            Task::Erase { left } => match self.store.erase_next(flash, left) {
                Ok(()) if left > 0 => {
                    self.task = Task::Erase { left: left - 1 };
                    Worked::More
                }
                Ok(()) => {
                    (self.cursor, self.next) = (self.store.log.cursor(), 0);
                    self.done(10, Outcome::Done, 0)
                }
                Err(_) => {
                    self.broken = true;
                    self.done(10, Outcome::NotSupported, 0)
                }
            },
        }
    }

    fn done(&mut self, to: u8, outcome: Outcome, detail: u32) -> Worked {
        self.task = Task::None;
        Worked::Reply(to, outcome, detail)
    }

    /// A message cannot be kept: it is counted, with all that wait.
    fn lost(&mut self, error: StoreError, outbox: &mut Outbox) -> Worked {
        self.broken |= error != StoreError::Full;
        outbox.lose();
        let mut bytes = [0; MAX_STORED];
        while outbox.kept.pop(&mut bytes).is_some() {
            outbox.lose();
        }
        Worked::Full
    }

    fn hand_over<F: NorFlash>(
        &mut self,
        flash: &mut F,
        outbox: &mut Outbox,
        first: u32,
        left: u32,
        sent: u32,
    ) -> Worked {
        if outbox.line_room() < MAX_WIRE {
            return Worked::Nothing;
        }
        let record = match self.store.log.next(flash, &mut self.cursor) {
            Ok(Some(record)) if left > 0 => record,
            _ => {
                // Whatever is asked for next, it is found from the start.
                (self.cursor, self.next) = (self.store.log.cursor(), 0);
                return self.done(9, Outcome::Done, sent);
            }
        };
        self.next = record.index.saturating_add(1);
        if record.index < first {
            return Worked::More;
        }
        outbox.send(&DeviceMessage::Stored(StoredRecord {
            index: record.index,
            total: self.store.log.total(),
            boot_count: record.boot_count,
            message: record.message,
        }));
        let (left, sent) = (left - 1, sent + 1);
        self.task = Task::Fetch { first, left, sent };
        if left == 0 { self.done(9, Outcome::Done, sent) } else { Worked::More }
    }
}
