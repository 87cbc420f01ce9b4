//! The logger: what it does with messages from the host, and when.

use embedded_hal::i2c::I2c;
use embedded_storage::nor_flash::NorFlash;
use heapless::Vec;
use hingeline_protocol::sizes::MAX_HOST_FRAME;
use hingeline_protocol::{
    DeviceMessage, EventKind, FrameDecoder, HostMessage, MAX_SENSORS, Outcome, Pong, Received, Reply,
    SensorConfig,
};

use crate::board::{Board, MAX_BUSES};
use crate::bus::{BusState, Recover};
use crate::bus_scan::{BusScanner, Progress};
use crate::config::{Configuration, PERIODS_US};
use crate::health::Health;
use crate::keeper::{Keeper, Worked};
use crate::outbox::Outbox;
use crate::rehearsal;
use crate::sampler::{Buses, Sampler, Sinks};
use crate::store::{Store, pending};
use crate::stream::Stream;
use crate::table::Table;

mod alone;
mod telling;

pub use alone::{ALONE_PERIOD_US, HOST_SILENT_US};

/// A status is sent this often, and what was dropped is reported, µs.
const HEARTBEAT_US: u64 = 1_000_000;

/// What the logger does.
#[derive(Debug, Clone)]
enum Mode {
    /// It waits for the host.
    Idle,
    /// It searches a bus for the host.
    Scanning(BusScanner),
    /// It sets the devices up: which is next, and when all that are set up give good readings, µs.
    Starting { next: u8, settled_us: u64 },
    /// It streams.
    Streaming,
}

/// The logger.
#[derive(Debug, Clone)]
pub struct Logger {
    board: Board,
    mode: Mode,
    config: Configuration,
    table: Table,
    decoder: FrameDecoder<HostMessage, MAX_HOST_FRAME>,
    outbox: Outbox,
    stream: Stream,
    sampler: Sampler,
    bus_states: Vec<BusState, MAX_BUSES>,
    health: Health,
    heartbeat_us: u64,
    /// When [`Logger::step`] has something to do again.
    wake_us: u64,
    keeper: Option<Keeper>,
    /// When the host last said something.
    host_heard_us: Option<u64>,
    /// While it records alone: what it goes back to.
    alone: Option<alone::Alone>,
}

// It must fit a board with 64 KiB of RAM beside its stack and a USB driver.
const _: () = assert!(size_of::<Logger>() <= 24 * 1024);

impl Logger {
    /// A logger that has just booted, see [`Logger::boot`].
    pub fn new(board: Board, now_us: u64) -> Self {
        let mut logger = Self::blank();
        logger.boot(board, now_us);
        logger
    }

    /// A logger that has just booted on a board with a memory, see [`Logger::boot_with_store`].
    pub fn with_store(board: Board, store: Store, now_us: u64) -> Self {
        let mut logger = Self::blank();
        logger.boot_with_store(board, store, now_us);
        logger
    }

    /// A logger before it boots: a board with little RAM keeps it in a static, so that it is never moved over the stack.
    pub const fn blank() -> Self {
        Self {
            board: Board::BLANK,
            mode: Mode::Idle,
            config: Configuration::new(),
            table: Table::new(),
            decoder: FrameDecoder::new(),
            outbox: Outbox::new(),
            stream: Stream::new(),
            sampler: Sampler::new(),
            bus_states: Vec::new(),
            health: Health::new(),
            heartbeat_us: 0,
            wake_us: 0,
            keeper: None,
            host_heard_us: None,
            alone: None,
        }
    }

    /// Boots a blank logger on a board. It says so, and who it is.
    pub fn boot(&mut self, board: Board, now_us: u64) {
        self.settle(board, now_us);
        self.say_hello(now_us);
    }

    /// Boots on a board with a memory: it goes on with the configuration that is kept there, and keeps what it measures while
    /// nobody listens. [`Logger::step_store`] must then be called as often as [`Logger::step`].
    // Never inlined: its stack is free again before the loop begins.
    #[inline(never)]
    pub fn boot_with_store(&mut self, board: Board, store: Store, now_us: u64) {
        self.settle(Board { boot_count: store.boot_count(), ..board }, now_us);
        // One that this board cannot take was kept by another firmware: the host will send its own.
        let _ = self.configure(store.configuration().clone());
        self.keeper = Some(Keeper::new(store));
        self.say_hello(now_us);
    }

    fn settle(&mut self, board: Board, now_us: u64) {
        self.board = board;
        self.heartbeat_us = now_us.saturating_add(HEARTBEAT_US);
        self.wake_us = now_us;
        for bus in 0..board.buses() {
            if self.bus_states.push(BusState::new(bus)).is_err() {
                break;
            }
        }
        self.health.stepped(now_us);
    }

    fn say_hello(&mut self, now_us: u64) {
        self.send_identity(now_us);
        self.outbox.event(now_us, EventKind::Booted { cause: self.board.reset_cause });
    }

    /// Takes bytes from the host, in pieces of any size.
    pub fn feed(&mut self, now_us: u64, bytes: &[u8]) {
        for &byte in bytes {
            match self.decoder.push(byte) {
                Some(Received::Message(message)) => {
                    self.host_heard_us = Some(now_us);
                    self.handle(now_us, message);
                }
                // It shall learn whom it talks to, in the only words that this logger has.
                Some(Received::OtherMajor(_)) => self.send_identity(now_us),
                None => {}
            }
        }
    }

    /// Does what is due, one transfer or so; gives when to call again, µs. That is at once while more is due.
    ///
    /// `buses` are the board's buses in their order, the same in every call.
    pub fn step<B: I2c + Recover>(&mut self, now_us: u64, buses: &mut [B]) -> u64 {
        self.health.stepped(now_us);
        self.mind_host(now_us);
        self.stream.send_rows(&self.table, &self.config, &mut self.outbox);
        if now_us >= self.heartbeat_us {
            self.heartbeat_us = now_us.saturating_add(HEARTBEAT_US);
            self.outbox.report_losses(now_us);
            self.send_status(now_us);
        }
        let wake_us = match self.mode {
            Mode::Idle => u64::MAX,
            Mode::Scanning(_) => self.step_bus_scan(now_us, buses),
            Mode::Starting { next, settled_us } => self.step_start(now_us, next, settled_us, buses),
            Mode::Streaming => {
                let mut buses = Buses { buses, states: &mut self.bus_states };
                let mut sinks =
                    Sinks { outbox: &mut self.outbox, stream: &mut self.stream, health: &mut self.health };
                self.sampler.step(now_us, &mut self.table, &self.config, &mut buses, &mut sinks)
            }
        };
        self.wake_us = wake_us.min(self.heartbeat_us);
        self.wake_us
    }

    /// Writes, hands over or erases a piece of what is kept, if sampling leaves the time; gives when to call again, µs.
    /// Every call after a [`Logger::step`] counts as that.
    // Never inlined: settings take a few kilobytes of stack while they are written.
    #[inline(never)]
    pub fn step_store<F: NorFlash>(&mut self, now_us: u64, flash: &mut F) -> u64 {
        /// A piece takes no longer than this on a memory that suits, µs.
        const PIECE_US: u64 = 1_000;
        let Some(keeper) = &mut self.keeper else { return u64::MAX };
        if core::mem::take(&mut keeper.configuration_due) {
            keeper.keep_configuration(flash, &self.config);
            return now_us;
        }
        let urgent = self.outbox.kept.room() < pending::QUEUE / 2;
        let sampling = matches!(self.mode, Mode::Streaming | Mode::Starting { .. });
        if sampling && keeper.is_settling() {
            return u64::MAX;
        }
        if sampling && !urgent && self.wake_us < now_us.saturating_add(PIECE_US) {
            return u64::MAX;
        }
        match keeper.work(flash, &mut self.outbox) {
            Worked::Nothing => u64::MAX,
            Worked::More => now_us,
            Worked::Reply(to, outcome, detail) => {
                self.reply(to, outcome, detail);
                now_us
            }
            Worked::Full => {
                self.store_is_full(now_us);
                now_us
            }
        }
    }

    /// Moves bytes for the host into `out`; gives how many.
    pub fn take_output(&mut self, out: &mut [u8]) -> usize {
        self.outbox.take(out)
    }

    /// The oldest bytes for the host, as many as lie together; tell [`Logger::sent`] how many the line took.
    pub fn output(&self) -> &[u8] {
        self.outbox.oldest()
    }

    /// The line took so many of [`Logger::output`].
    pub fn sent(&mut self, count: usize) {
        self.outbox.sent(count);
    }

    /// The supply is about to fail.
    pub fn supply_low(&mut self, now_us: u64, millivolts: u16) {
        self.outbox.event(now_us, EventKind::SupplyLow { millivolts });
    }

    /// Whether the watchdog may be fed: steps are made, and streaming brings scans.
    pub fn is_alive(&self, now_us: u64) -> bool {
        self.health.is_alive(now_us, matches!(self.mode, Mode::Streaming), self.config.period_us)
    }

    /// Whether it streams, or is about to.
    pub fn is_streaming(&self) -> bool {
        matches!(self.mode, Mode::Streaming | Mode::Starting { .. })
    }

    /// What is configured, for a board that keeps it.
    pub const fn configuration(&self) -> &Configuration {
        &self.config
    }

    /// Takes a configuration that a board has kept. Only while idle.
    ///
    /// # Errors
    /// The outcome that the host would have been told.
    // Never inlined: tables are built beside the old one, and only here.
    #[inline(never)]
    pub fn configure(&mut self, config: Configuration) -> Result<(), Outcome> {
        if self.is_streaming() {
            return Err(Outcome::Streaming);
        }
        self.table = Table::build(&config, &self.board).map_err(|(outcome, _)| outcome)?;
        self.config = config;
        self.stream.reset(&self.table);
        Ok(())
    }

    // Never inlined: as `configure`.
    #[inline(never)]
    fn handle(&mut self, now_us: u64, message: HostMessage) {
        let (to, (outcome, detail)) = match message {
            HostMessage::Identify => {
                self.send_identity(now_us);
                self.stream.request_rows(&self.table);
                return;
            }
            HostMessage::Ping { host_us } => {
                self.outbox.send(&DeviceMessage::Pong(Pong { host_us, device_us: now_us }));
                return;
            }
            HostMessage::ClearSensors => (1, self.clear_sensors()),
            HostMessage::SetSensor(sensor) => (2, self.set_sensor(sensor)),
            HostMessage::SetRate { period_us, scans_per_block } => {
                (3, self.set_rate(period_us, scans_per_block))
            }
            HostMessage::Start => (4, self.start(now_us)),
            HostMessage::Stop => (5, self.stop(now_us)),
            HostMessage::Still => {
                self.outbox.event(now_us, EventKind::Still);
                (6, (Outcome::Done, 0))
            }
            HostMessage::ScanBus { bus } => match self.scan_bus(bus) {
                // The reply follows what is found.
                (Outcome::Done, _) => return,
                refusal => (8, refusal),
            },
            HostMessage::FetchStored { first, count } => {
                match self.stored(|keeper| keeper.fetch(first, count)) {
                    // The reply follows the records.
                    (Outcome::Done, _) => return,
                    refusal => (9, refusal),
                }
            }
            HostMessage::EraseStored => match self.stored(Keeper::erase) {
                // The reply follows the erasure.
                (Outcome::Done, _) => return,
                refusal => (10, refusal),
            },
        };
        self.reply(to, outcome, detail);
    }

    fn reply(&mut self, to: u8, outcome: Outcome, detail: u32) {
        self.outbox.send(&DeviceMessage::Reply(Reply { to, outcome, detail }));
    }

    fn clear_sensors(&mut self) -> (Outcome, u32) {
        let empty = Configuration { sensors: Vec::new(), ..self.config.clone() };
        match self.configure(empty) {
            Ok(()) => (Outcome::Done, 0),
            Err(outcome) => (outcome, 0),
        }
    }

    fn set_sensor(&mut self, sensor: SensorConfig) -> (Outcome, u32) {
        let index = sensor.index;
        if self.is_streaming() {
            return (Outcome::Streaming, 0);
        }
        if usize::from(index) != self.config.sensors.len() {
            return (Outcome::OutOfOrder, self.config.sensors.len() as u32);
        }
        if self.config.sensors.push(sensor).is_err() {
            return (Outcome::TableFull, MAX_SENSORS as u32);
        }
        match Table::build(&self.config, &self.board) {
            Ok(table) => {
                self.table = table;
                self.stream.reset(&self.table);
                (Outcome::Done, u32::from(index))
            }
            Err(refusal) => {
                self.config.sensors.pop();
                refusal
            }
        }
    }

    fn set_rate(&mut self, period_us: u32, scans_per_block: u8) -> (Outcome, u32) {
        if self.is_streaming() {
            return (Outcome::Streaming, 0);
        }
        if !PERIODS_US.contains(&period_us) {
            return (Outcome::BadValue, *PERIODS_US.start());
        }
        let before = (self.config.period_us, self.config.scans_per_block);
        (self.config.period_us, self.config.scans_per_block) = (period_us, scans_per_block);
        match Table::build(&self.config, &self.board) {
            Ok(table) => {
                self.table = table;
                self.stream.reset(&self.table);
                (Outcome::Done, period_us)
            }
            Err(refusal) => {
                (self.config.period_us, self.config.scans_per_block) = before;
                refusal
            }
        }
    }

    /// Puts the keeper to work for the host.
    fn stored(&mut self, ask: impl FnOnce(&mut Keeper)) -> (Outcome, u32) {
        let streaming = self.is_streaming();
        match &mut self.keeper {
            None => (Outcome::NotSupported, 0),
            Some(_) if streaming => (Outcome::Streaming, 0),
            Some(keeper) if keeper.is_busy() => (Outcome::Busy, 0),
            Some(keeper) => {
                ask(keeper);
                (Outcome::Done, 0)
            }
        }
    }

    fn start(&mut self, now_us: u64) -> (Outcome, u32) {
        if self.is_streaming() {
            return (Outcome::Streaming, 0);
        }
        if matches!(self.mode, Mode::Scanning(_)) || self.keeper.as_ref().is_some_and(Keeper::is_busy) {
            return (Outcome::Busy, 0);
        }
        if self.config.sensors.is_empty() {
            return (Outcome::NoSensors, 0);
        }
        let shortest_us = rehearsal::shortest_period_us(&mut self.table, self.config.period_us);
        if shortest_us > self.config.period_us {
            return (Outcome::TooFast, shortest_us);
        }
        self.bus_states.iter_mut().for_each(BusState::clear);
        for device in &self.table.devices {
            if let (Some(port), Some(state)) = (device.mux, self.bus_states.get_mut(usize::from(device.bus)))
            {
                state.add_mux(port.address);
            }
        }
        self.sampler.prepare(&self.table, self.config.period_us);
        if let Some(keeper) = &mut self.keeper {
            keeper.configuration_due = true;
        }
        self.mode = Mode::Starting { next: 0, settled_us: now_us };
        (Outcome::Done, 0)
    }

    fn stop(&mut self, now_us: u64) -> (Outcome, u32) {
        if matches!(self.mode, Mode::Streaming) {
            self.stream.finish(&mut self.outbox);
            self.outbox.event(now_us, EventKind::Stopped);
        }
        if self.is_streaming() {
            self.mode = Mode::Idle;
        }
        self.end_alone();
        (Outcome::Done, 0)
    }

    fn scan_bus(&mut self, bus: u8) -> (Outcome, u32) {
        if self.is_streaming() {
            return (Outcome::Streaming, 0);
        }
        if matches!(self.mode, Mode::Scanning(_)) {
            return (Outcome::Busy, 0);
        }
        if bus >= self.board.buses() {
            return (Outcome::NoSuchBus, u32::from(self.board.buses()));
        }
        self.mode = Mode::Scanning(BusScanner::new(bus));
        (Outcome::Done, 0)
    }

    fn step_bus_scan<B: I2c>(&mut self, now_us: u64, buses: &mut [B]) -> u64 {
        let Mode::Scanning(scanner) = &mut self.mode else { return now_us };
        let place = usize::from(scanner.bus());
        let progress = match (buses.get_mut(place), self.bus_states.get_mut(place)) {
            (Some(bus), Some(state)) => scanner.step(bus, state),
            _ => Progress::Done,
        };
        match progress {
            Progress::Working => {}
            Progress::Found(found) => {
                self.outbox.send(&DeviceMessage::BusScan(found));
            }
            Progress::Done => {
                self.mode = Mode::Idle;
                self.reply(8, Outcome::Done, 0);
            }
        }
        now_us
    }

    /// Sets one device up; after the last, waits until all give good readings.
    fn step_start<B: I2c + Recover>(
        &mut self,
        now_us: u64,
        next: u8,
        settled_us: u64,
        buses: &mut [B],
    ) -> u64 {
        if self.keeper.as_ref().is_some_and(|keeper| keeper.configuration_due) {
            return now_us;
        }
        if usize::from(next) < self.table.devices.len() {
            let mut buses = Buses { buses, states: &mut self.bus_states };
            let mut sinks =
                Sinks { outbox: &mut self.outbox, stream: &mut self.stream, health: &mut self.health };
            let settle_us = self.sampler.set_up(&mut self.table, next, now_us, &mut buses, &mut sinks);
            let settled_us = settled_us.max(now_us.saturating_add(settle_us));
            self.mode = Mode::Starting { next: next.saturating_add(1), settled_us };
            return now_us;
        }
        if now_us < settled_us {
            return settled_us;
        }
        self.sampler.start_at(now_us);
        self.outbox.event(now_us, EventKind::Started);
        self.stream.start(&self.table, &self.config);
        self.health.scanned(now_us);
        self.mode = Mode::Streaming;
        now_us
    }
}
