//! The recording at work: one at a time, on a thread of its own, watched by any number of pages.
//!
//! Whoever watches slowly misses updates and is told how many; the recording waits for nobody.

use super::problem::{Answer, Trouble, of_failure};
use super::state::held;
use crate::device::line::{Clock, SystemClock};
use crate::device::ports::{DEFAULT_BAUD, PortConnector};
use crate::jobs::record::guide::{Assessor, Guide};
use crate::jobs::record::{self, Command, Recorded};
use crate::jobs::source;
use crate::show::Units;
use crate::show::page::{Told, numbers_so_far};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::sync::broadcast;

/// Updates that a page may lag behind before it loses some.
const ROOM: usize = 64;
/// Shortest time between two updates, µs.
const EVERY_US: u64 = 100_000;
/// How long a recording is waited for at the end: the logger may take two seconds over its last readings.
const LAST_BLOCK: Duration = Duration::from_millis(2800);

/// Something for pages.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Update {
    /// What it is: `state`, `numbers`.
    pub kind: &'static str,
    /// JSON.
    pub data: Arc<str>,
}

/// What is known now.
#[derive(Debug)]
struct Now {
    state: Arc<str>,
    numbers: Arc<str>,
    /// Where commands go while a recording is at work.
    to: Option<Sender<Command>>,
    worker: Option<JoinHandle<()>>,
}

/// The recording and who watches it.
#[derive(Debug)]
pub struct Desk {
    now: Mutex<Now>,
    updates: broadcast::Sender<Update>,
}

impl Default for Desk {
    fn default() -> Self {
        let now =
            Now { state: json(&Told::nothing()).into(), numbers: json("").into(), to: None, worker: None };
        Self { now: Mutex::new(now), updates: broadcast::Sender::new(ROOM) }
    }
}

/// A document of strings, which cannot fail to be written.
fn json<T: serde::Serialize + ?Sized>(document: &T) -> String {
    serde_json::to_string(document).unwrap_or_default()
}

impl Desk {
    /// What is known now, and whatever comes.
    pub fn watch(&self) -> ([Update; 2], broadcast::Receiver<Update>) {
        let now = held(&self.now);
        let receiver = self.updates.subscribe();
        let latest = [("state", &now.state), ("numbers", &now.numbers)];
        (latest.map(|(kind, data)| Update { kind, data: data.clone() }), receiver)
    }

    /// Tells every page where the recording is.
    pub fn tell(&self, told: &Told) {
        let data: Arc<str> = json(told).into();
        held(&self.now).state = data.clone();
        // Nobody may be watching.
        let _ = self.updates.send(Update { kind: "state", data });
    }

    /// Tells every page the numbers so far, as HTML.
    pub fn tell_numbers(&self, html: &str) {
        let data: Arc<str> = json(html).into();
        held(&self.now).numbers = data.clone();
        let _ = self.updates.send(Update { kind: "numbers", data });
    }

    /// Begins a recording.
    ///
    /// # Errors
    /// Where one is at work.
    pub fn start(
        self: &Arc<Self>,
        request: record::Request,
        port: &str,
        vehicle: &str,
        units: Units,
    ) -> Answer<()> {
        let (to, commands) = channel();
        let mut now = held(&self.now);
        if now.worker.as_ref().is_some_and(|worker| !worker.is_finished()) {
            return Err(Trouble::Asked("a test is being recorded already; stop it first".into()));
        }
        now.to = Some(to);
        now.numbers = json("").into();
        let work = Work { desk: self.clone(), port: port.to_owned(), vehicle: vehicle.to_owned(), units };
        now.worker = Some(std::thread::spawn(move || work.go(&request, &commands)));
        drop(now);
        self.tell_numbers("");
        Ok(())
    }

    /// Hands on what a person wants.
    ///
    /// # Errors
    /// Where nothing is recorded.
    pub fn command(&self, command: Command) -> Answer<()> {
        let now = held(&self.now);
        let sent = now.to.as_ref().is_some_and(|to| to.send(command).is_ok());
        if sent { Ok(()) } else { Err(Trouble::Asked("nothing is being recorded".into())) }
    }

    /// Stops what is at work and waits for it, but not for ever.
    pub async fn end(&self) {
        // Nothing at work is nothing to stop.
        let _ = self.command(Command::Stop);
        let Some(worker) = held(&self.now).worker.take() else { return };
        let joined = tokio::task::spawn_blocking(move || worker.join());
        // What is recorded is on the disk, whether or not the logger said its last word.
        let _ = tokio::time::timeout(LAST_BLOCK, joined).await;
    }
}

/// A recording on its own thread.
struct Work {
    desk: Arc<Desk>,
    port: String,
    vehicle: String,
    units: Units,
}

impl Work {
    fn go(self, request: &record::Request, commands: &Receiver<Command>) {
        self.desk.tell(&Told::begins(&self.port));
        let now_us = request.now.timestamp().as_microsecond();
        let told = match Guide::load(&request.vehicle_folder, &request.without, &request.facts, now_us) {
            Ok(guide) => self.record(request, guide, commands),
            Err(failure) => Told::failed(&of_failure(failure.as_ref())),
        };
        held(&self.desk.now).to = None;
        self.desk.tell(&told);
    }

    /// Records with a guide; what has become of it.
    fn record(&self, request: &record::Request, mut guide: Guide, commands: &Receiver<Command>) -> Told {
        let clock = SystemClock::start();
        let mut assessor = Assessor::start(&guide);
        let advice = guide.advice_before(&request.plan, &request.facts, &request.without).join(" ");
        let mut connector = PortConnector::new(&self.port, DEFAULT_BAUD);
        let (mut due_us, mut phase) = (0, None);
        let recorded = record::run(request, &mut connector, &clock, &mut |progress| {
            let trail = progress.live.trail();
            guide.watch(trail, progress.phase);
            if let Some(axles) = assessor.poll(progress.elapsed_s.unwrap_or(0.0), || guide.so_far(trail)) {
                self.desk.tell_numbers(&numbers_so_far(&axles, self.units));
            }
            if clock.now_us() >= due_us || phase != Some(progress.phase) {
                due_us = clock.now_us() + EVERY_US;
                phase = Some(progress.phase);
                let told = Told::under_way(progress, &guide.now(trail), self.units);
                self.desk.tell(&Told { advice: advice.clone(), ..told });
            }
            commands.try_recv().ok()
        });
        match recorded {
            Ok(recorded) => {
                let told = Told::over(&recorded, &self.vehicle);
                // The numbers of the whole run take a moment; that it is over is told before.
                self.desk.tell(&told);
                self.whole(&guide, &recorded);
                told
            }
            Err(failure) => Told::failed(&of_failure(failure.as_ref())),
        }
    }

    /// Tells the numbers of the whole run. Where it cannot be read, its own page says why.
    fn whole(&self, guide: &Guide, recorded: &Recorded) {
        let request =
            source::Request { run: recorded.folder.display().to_string(), ..source::Request::default() };
        if let Ok(source) = source::open(&request) {
            self.desk.tell_numbers(&numbers_so_far(&guide.judge(&source.recording), self.units));
        }
    }
}
