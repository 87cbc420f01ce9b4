//! `record --fetch`: brings what the board kept by itself while no host listened, as a run.

use super::{BUFFER, RecordError, Request, STEP, facts, header};
use crate::device::line::{Clock, Connect};
use crate::device::link::{Heard, Link};
use crate::device::session::{Goal, Happening, Session};
use crate::explain::Failure;
use crate::jobs::import::file_name;
use crate::jobs::vehicle_folder::{VehicleFolder, run_name};
use crate::run::folder::{Keep, Writer};
use crate::run::header::Source;
use crate::run::marks::{Instant, Mark};
use std::path::PathBuf;

/// What was fetched.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fetched {
    /// The run's name.
    pub name: String,
    /// Its folder.
    pub folder: PathBuf,
    /// Records received.
    pub records: u32,
    /// Records that did not come in spite of asking again.
    pub missing: u32,
}

/// Fetches what the board kept; `watch` is told how many bytes have come and may end it by `false`.
///
/// The run appears only when everything has come: what the board kept stays on the board.
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
    let mut link = Link::open(connect, request.reconnect_s)?;
    let zero_us = clock.now_us();
    let now = || clock.now_us().saturating_sub(zero_us);
    let mut session = Session::new(Goal::Fetch, 0);
    let draft = folder.begin_run()?;
    let mut writer = Writer::open(draft.path())?;
    let (mut buffer, mut total) = (vec![0; BUFFER], 0);
    let (records, missing) = 'fetching: loop {
        while let Some(message) = session.outgoing() {
            link.send(&message, now());
        }
        match link.read(&mut buffer, STEP, clock, now())? {
            Heard::Bytes(count) => {
                let bytes = buffer.get(..count).unwrap_or_default();
                total += count as u64;
                writer.append(bytes, now())?;
                session.receive(bytes, now())?;
            }
            Heard::Back { .. } => session.relinked(now()),
            Heard::Nothing => {}
        }
        while let Some(happening) = session.happening() {
            if let Happening::Fetched { records, missing } = happening {
                break 'fetching (records, missing);
            }
        }
        if link.is_up() {
            session.tick(now())?;
        }
        if !watch(total) {
            return Err(RecordError::Nothing.into());
        }
    };
    if records == 0 {
        return Err(RecordError::KeptNothing.into());
    }
    let mut header = header(Source::Store, &request.now, &request.plan, session.identity());
    header.set_facts(&facts(request.test, &[], &request.facts));
    let at = Instant { boot: 0, device_us: 0, host_us: now() };
    let why = format!("the logger's store was fetched: {records} records, {missing} missing");
    writer.mark(&Mark::End { at, why })?;
    writer.close()?;
    folder.describe(&draft, &mut header)?;
    let path = draft.publish(&run_name(&request.now, request.test, &request.plan))?;
    Ok(Fetched { name: file_name(&path), folder: path, records, missing })
}
