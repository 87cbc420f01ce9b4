//! The logger as a machine image under an emulator, on the same virtual rig as the native one.
//!
//! `emulator` is the process with its two serial lines; `peer` answers what the image asks of its buses.

mod emulator;
mod error;
mod peer;

pub use emulator::{Emulator, Pace, tied};
pub use error::ImageError;
pub use peer::Peer;

use super::stage::Stage;
use crate::run::Phase;
use hingeline_protocol::{DeviceMessage, EventKind, FrameDecoder, Press, Received};
use std::io::{self, ErrorKind, Read, Write};
use std::net::Shutdown;
use std::os::unix::net::UnixStream;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;

/// Bytes that are read at once.
const PIECE: usize = 4096;

/// A machine image that runs, with its buses served.
#[derive(Debug)]
pub struct ImageLogger {
    emulator: Emulator,
    host_line: UnixStream,
    peer: Arc<Mutex<Peer>>,
    serving: Option<(UnixStream, JoinHandle<()>)>,
    decoder: FrameDecoder<DeviceMessage>,
    now_us: u64,
}

impl ImageLogger {
    /// Starts an emulator and serves its buses with the parts of `stage`.
    ///
    /// # Errors
    /// Where the emulator does not start.
    pub fn start(image: &std::path::Path, pace: Pace, stage: Stage) -> Result<Self, ImageError> {
        let (emulator, lines) = Emulator::start(image, pace)?;
        let peer = Arc::new(Mutex::new(Peer::new(stage.with_board())));
        lines.host.set_nonblocking(true).map_err(ImageError::Line)?;
        let buses = lines.buses.try_clone().map_err(ImageError::Line)?;
        let serving = std::thread::spawn({
            let peer = peer.clone();
            move || serve_buses(lines.buses, &peer)
        });
        Ok(Self {
            emulator,
            host_line: lines.host,
            peer,
            serving: Some((buses, serving)),
            decoder: FrameDecoder::new(),
            now_us: 0,
        })
    }

    fn peer(&self) -> MutexGuard<'_, Peer> {
        // A peer that broke off in the middle of an answer is a peer all the same.
        self.peer.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Device time as far as it is known, over all boots, µs.
    pub fn now_us(&self) -> u64 {
        self.now_us.max(self.peer().now_us())
    }

    /// Time in the test, s; negative before it begins.
    pub fn test_s(&self) -> f64 {
        let peer = self.peer();
        peer.stage().test_s(peer.now_us())
    }

    /// The phase of the test; none before it begins and after its end.
    pub fn phase(&self) -> Option<Phase> {
        let peer = self.peer();
        peer.stage().phase(peer.now_us())
    }

    /// Presses the button, shortly or for long.
    pub fn press(&mut self, press: Press) {
        let mut peer = self.peer();
        let now_us = peer.now_us();
        peer.stage_mut().press(now_us, press);
    }

    /// How often the light went on.
    pub fn flashes(&self) -> u64 {
        self.peer().stage().panel().flashes()
    }

    /// Takes bytes from the host.
    ///
    /// # Errors
    /// Where the emulator has ended.
    pub fn feed(&mut self, bytes: &[u8]) -> io::Result<()> {
        // A line of its own that is read all the time: it takes what a host sends.
        self.host_line.write_all(bytes)
    }

    /// Moves what the image says to `out`.
    ///
    /// # Errors
    /// Where the emulator has ended.
    pub fn take_output(&mut self, out: &mut Vec<u8>) -> io::Result<()> {
        let mut piece = [0; PIECE];
        let count = match self.host_line.read(&mut piece) {
            Ok(0) => return Err(io::Error::new(ErrorKind::BrokenPipe, self.emulator.last_words())),
            Ok(count) => count,
            Err(error) if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::Interrupted) => 0,
            Err(error) => return Err(error),
        };
        for &byte in piece.iter().take(count) {
            out.push(byte);
            if let Some(Received::Message(message)) = self.decoder.push(byte) {
                self.note(&message);
            }
        }
        Ok(())
    }

    /// Its own time, and when it begins to stream.
    fn note(&mut self, message: &DeviceMessage) {
        let (uptime_us, started) = match message {
            DeviceMessage::Identity(identity) => (identity.uptime_us, false),
            DeviceMessage::Status(status) => (status.uptime_us, false),
            DeviceMessage::Event(event) => (event.time_us, event.kind == EventKind::Started),
            _ => return,
        };
        let now_us = {
            let mut peer = self.peer();
            let now_us = peer.at(uptime_us);
            if started {
                peer.stage_mut().streaming_began(now_us);
            }
            now_us
        };
        self.now_us = self.now_us.max(now_us);
    }
}

impl Drop for ImageLogger {
    fn drop(&mut self) {
        self.emulator.end();
        if let Some((buses, serving)) = self.serving.take() {
            // Ends the thread's reading; it has nothing to say that anybody could hear.
            let _ = buses.shutdown(Shutdown::Both);
            let _ = serving.join();
        }
    }
}

/// Answers what the image asks, until its line is closed.
fn serve_buses(mut buses: UnixStream, peer: &Mutex<Peer>) {
    let mut piece = [0; PIECE];
    while let Ok(count @ 1..) = buses.read(&mut piece) {
        let answers = {
            let mut peer = peer.lock().unwrap_or_else(PoisonError::into_inner);
            peer.take(piece.get(..count).unwrap_or_default())
        };
        if buses.write_all(&answers).is_err() {
            return;
        }
    }
}
