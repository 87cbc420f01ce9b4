//! What all requests share.

use super::Stop;
use super::desk::Desk;
use crate::files::logbook::Logbook;
use crate::jobs::what_if::Tried;
use crate::show::Units;
use crate::show::page::Setting;
use crate::vehicle::Vehicle;
use jiff::ZonedDateTime;
use std::collections::HashSet;
use std::fmt;
use std::net::IpAddr;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::SystemTime;

/// What a person at the terminal is told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Notice {
    /// Pages are served on this port of this computer.
    Listening {
        /// The port.
        port: u16,
    },
    /// One more device may come in by this address, once.
    Invitation {
        /// The address with its token; none where this computer has no address on a network.
        address: Option<String>,
        /// The token.
        token: String,
    },
}

/// What only the outside can give: the time, secrets, and somebody who is told.
pub struct Rim {
    /// The time.
    pub now: fn() -> ZonedDateTime,
    /// A secret that nobody can guess: 32 hexadecimal digits.
    pub secret: fn() -> String,
    /// Told what concerns the person at the terminal.
    pub tell: Box<dyn Fn(Notice) + Send + Sync>,
}

impl Rim {
    /// Tells the person at the terminal.
    pub(super) fn tell(&self, notice: Notice) {
        (self.tell)(notice);
    }
}

impl fmt::Debug for Rim {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Rim")
    }
}

/// Where the server is reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Doors {
    /// Its port.
    pub port: u16,
    /// Its address on the network, where others may come in.
    pub lan: Option<IpAddr>,
}

/// Keys of other devices.
#[derive(Debug, Default)]
pub struct Keys {
    /// Lets one device in.
    pub token: Option<String>,
    /// What devices that came in carry.
    pub inside: HashSet<String>,
}

/// The drawing that was read last, and how its file looked then.
#[derive(Debug)]
pub struct Board {
    /// The vehicle file.
    pub file: PathBuf,
    /// Its length and when it was changed; none where the system does not say.
    pub look: Option<(u64, SystemTime)>,
    /// What it draws.
    pub vehicle: Arc<Vehicle>,
    /// Its axles without a point moved, as they were last asked for: what every redrawing is set beside.
    pub drawn: Vec<(AsDrawn, Arc<Tried>)>,
}

/// Which axle without a point moved, in which state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AsDrawn {
    /// The axle, counted from 0.
    pub axle: usize,
    /// Heave m, roll rad.
    pub shown: (f64, f64),
    /// Whether its numbers carry their u.
    pub with_u: bool,
}

/// What all requests share.
#[derive(Debug)]
pub struct App {
    /// The logbook.
    pub book: Logbook,
    /// Where the server is reached.
    pub doors: Doors,
    /// Clock, secrets, terminal.
    pub rim: Rim,
    /// What pages are told.
    pub setting: Setting,
    keys: Mutex<Keys>,
    /// What is being measured before a list can be shown; none while nothing is.
    catching_up: Mutex<Option<String>>,
    board: Mutex<Option<Board>>,
    /// The recording.
    pub desk: Arc<Desk>,
    /// The end.
    pub stop: Stop,
}

impl App {
    /// Shared by all requests of one server.
    pub fn new(book: Logbook, units: Units, doors: Doors, rim: Rim, stop: Stop) -> Self {
        let setting = Setting { logbook: book.name.clone(), units, page_token: (rim.secret)() };
        Self {
            book,
            doors,
            rim,
            setting,
            keys: Mutex::default(),
            catching_up: Mutex::default(),
            board: Mutex::default(),
            desk: Arc::default(),
            stop,
        }
    }

    /// The logbook's folder, as jobs take it.
    pub fn folder(&self) -> Option<PathBuf> {
        Some(self.book.folder.clone())
    }

    /// The time, as files that are set aside are marked with it.
    pub fn stamp(&self) -> String {
        (self.rim.now)().strftime("%Y-%m-%d-%H%M%S").to_string()
    }

    /// Keys of other devices.
    pub fn keys(&self) -> MutexGuard<'_, Keys> {
        held(&self.keys)
    }

    /// The drawing that was read last.
    pub fn board(&self) -> MutexGuard<'_, Option<Board>> {
        held(&self.board)
    }

    /// What is being measured.
    pub fn catching_up(&self) -> MutexGuard<'_, Option<String>> {
        held(&self.catching_up)
    }
}

/// What a lock guards. Nothing that is done under these locks can leave half a change behind, so a thread that died holding
/// one does no harm.
pub fn held<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}
