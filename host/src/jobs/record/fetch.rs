//! `record --fetch`: brings what the board kept by itself while no host listened, each of its starts as a run.

use super::starts::{self, Start};
use super::{BUFFER, RecordError, Request, STEP, facts, header};
use crate::device::line::{Clock, Connect};
use crate::device::link::{Heard, Link};
use crate::device::session::{Goal, Happening, Session};
use crate::explain::Failure;
use crate::jobs::import::file_name;
use crate::jobs::vehicle_folder::{VehicleFolder, run_name};
use crate::run::find::{RUNS, runs_of};
use crate::run::folder::{FolderError, Keep, RunFolder, Writer};
use crate::run::header::{Header, Logger, Source, StoredStart};
use crate::run::marks::{Instant, Mark};
use hingeline_protocol::sizes::MAX_WIRE;
use hingeline_protocol::{DeviceMessage, Identity, StoredRecord, encode_frame};
use jiff::{SignedDuration, ZonedDateTime};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// Most records that are taken: some 30 MB of them, far more than any board keeps.
const MOST: usize = 120_000;
/// Stands in the notes of a run whose time nobody knows.
const UNKNOWN_TIME: &str = "Recorded by the board alone; when is not known: it was switched off since. The run's name and time are those of fetching it.";

/// What was fetched.
#[derive(Debug, Clone, PartialEq)]
pub struct Fetched {
    /// The recordings, in the order in which they were made.
    pub recordings: Vec<Recording>,
    /// Records received.
    pub records: u32,
    /// Of these, how many belong to no recording: of boots that read nothing.
    pub left_out: u32,
    /// Records that did not come in spite of asking again.
    pub missing: u32,
}

/// One recording that the board kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Recording {
    /// The run's name.
    pub name: String,
    /// Its folder.
    pub folder: PathBuf,
    /// Whether it was fetched before, and is the run that it was then.
    pub known: bool,
    /// When it was made; none if the board was switched off since.
    pub begun: Option<ZonedDateTime>,
    /// How long it lasts, s.
    pub seconds: f64,
    /// Scans of its first group of channels.
    pub scans: u64,
}

/// Fetches what the board kept; `watch` is told how many bytes have come and may end it by `false`.
///
/// Runs appear only when everything has come: what the board kept stays on the board.
///
/// # Errors
/// Where the vehicle's files are wrong, the logger cannot be reached or refuses, has kept nothing, or the disk refuses.
pub fn run(
    request: &Request,
    connect: &mut dyn Connect,
    clock: &dyn Clock,
    watch: &mut dyn FnMut(u64) -> bool,
) -> Result<Fetched, Failure> {
    let folder = VehicleFolder::load(&request.vehicle_folder)?;
    let brought = bring(request, connect, clock, watch)?;
    let received = brought.records.len() as u32;
    let (starts, left_out) = starts::part(brought.records.into_values());
    if starts.is_empty() {
        return Err(RecordError::KeptNothing.into());
    }
    let store = Store { request, folder: &folder, identity: &brought.identity, booted: brought.booted };
    let known = store.known();
    let recordings = starts.iter().map(|start| store.recording(start, &known)).collect::<Result<_, _>>()?;
    Ok(Fetched { recordings, records: received, left_out: left_out as u32, missing: brought.missing })
}

/// Everything that came.
struct Brought {
    identity: Identity,
    /// When the board's present boot was.
    booted: Option<ZonedDateTime>,
    records: BTreeMap<u32, StoredRecord>,
    missing: u32,
}

fn bring(
    request: &Request,
    connect: &mut dyn Connect,
    clock: &dyn Clock,
    watch: &mut dyn FnMut(u64) -> bool,
) -> Result<Brought, Failure> {
    let mut link = Link::open(connect, request.reconnect_s)?;
    let zero_us = clock.now_us();
    let now = || clock.now_us().saturating_sub(zero_us);
    let mut session = Session::new(Goal::Fetch, 0);
    let (mut buffer, mut total) = (vec![0; BUFFER], 0);
    let (mut records, mut booted) = (BTreeMap::new(), None);
    loop {
        while let Some(message) = session.outgoing() {
            link.send(&message, now());
        }
        match link.read(&mut buffer, STEP, clock, now())? {
            Heard::Bytes(count) => {
                total += count as u64;
                session.receive(buffer.get(..count).unwrap_or_default(), now())?;
            }
            Heard::Back { .. } => session.relinked(now()),
            Heard::Nothing => {}
        }
        while let Some(happening) = session.happening() {
            match happening {
                Happening::Identified(identity) => {
                    booted = ago(&request.now, now(), identity.uptime_us);
                }
                Happening::Message(DeviceMessage::Stored(record)) if records.len() < MOST => {
                    records.entry(record.index).or_insert(record);
                }
                Happening::Fetched { missing, .. } => {
                    let identity = session.identity().cloned().ok_or(RecordError::Nothing)?;
                    return Ok(Brought { identity, booted, records, missing });
                }
                _ => {}
            }
        }
        if link.is_up() {
            session.tick(now())?;
        }
        if !watch(total) {
            return Err(RecordError::Nothing.into());
        }
    }
}

/// `after_us` after a time, less `ago_us`.
fn ago(time: &ZonedDateTime, after_us: u64, ago_us: u64) -> Option<ZonedDateTime> {
    let signed = |us: u64| i64::try_from(us).ok();
    let by_us = signed(after_us)?.checked_sub(signed(ago_us)?)?;
    time.checked_add(SignedDuration::from_micros(by_us)).ok()
}

/// A board's store, and where its recordings go.
struct Store<'a> {
    request: &'a Request,
    folder: &'a VehicleFolder,
    identity: &'a Identity,
    booted: Option<ZonedDateTime>,
}

impl Store<'_> {
    /// Which starts of this board are runs already, and what these are called.
    fn known(&self) -> Vec<(StoredStart, String)> {
        let board = Logger::from(self.identity);
        let ours = |header: &Header| {
            header
                .logger
                .as_ref()
                .is_some_and(|l| (&l.board, &l.unique_id) == (&board.board, &board.unique_id))
        };
        let runs = runs_of(&self.folder.path).into_iter().filter_map(|name| {
            let run = RunFolder::open(&self.folder.path.join(RUNS).join(&name)).ok()?;
            Some((run.header.stored.filter(|_| ours(&run.header))?, name))
        });
        runs.collect()
    }

    fn recording(&self, start: &Start, known: &[(StoredStart, String)]) -> Result<Recording, FolderError> {
        let stored = StoredStart { boot: start.boot, begun_us: start.begun_us, ended_us: start.ended_us };
        let this_boot = start.boot == self.identity.boot_count;
        let booted = self.booted.as_ref().filter(|_| this_boot);
        let begun = booted.and_then(|booted| ago(booted, start.begun_us, 0));
        let (folder, known) = match known.iter().find(|(known, _)| *known == stored) {
            Some((_, name)) => (self.folder.path.join(RUNS).join(name), true),
            None => (self.make(start, stored, begun.as_ref())?, false),
        };
        let name = file_name(&folder);
        Ok(Recording { name, folder, known, begun, seconds: start.seconds(), scans: start.scans })
    }

    /// Makes a run of a start; gives its folder.
    fn make(
        &self,
        start: &Start,
        stored: StoredStart,
        begun: Option<&ZonedDateTime>,
    ) -> Result<PathBuf, FolderError> {
        let Request { test, plan, now, .. } = self.request;
        let when = begun.unwrap_or(now);
        let mut header = header(Source::Store, when, plan, Some(self.identity));
        let mut facts = facts(*test, &[], &self.request.facts);
        if begun.is_none() {
            let notes = [facts.notes.as_str(), UNKNOWN_TIME];
            facts.notes = notes.into_iter().filter(|n| !n.is_empty()).collect::<Vec<_>>().join("\n");
        }
        header.set_facts(&facts);
        header.stored = Some(stored);
        let draft = self.folder.begin_run()?;
        let mut writer = Writer::open(draft.path())?;
        for record in &start.records {
            let mut frame = [0; MAX_WIRE];
            // What came in a frame fits one.
            let used = encode_frame(&DeviceMessage::Stored(record.clone()), &mut frame).unwrap_or(0);
            writer.append(frame.get(..used).unwrap_or_default(), 0)?;
        }
        let at = Instant { boot: start.boot, device_us: start.ended_us, host_us: 0 };
        let why = format!("the logger's store was fetched: {} records", start.records.len());
        writer.mark(&Mark::End { at, why })?;
        writer.close()?;
        self.folder.describe(&draft, &mut header)?;
        draft.publish(&run_name(when, *test, plan))
    }
}
