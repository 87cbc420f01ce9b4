//! Serial ports: which there are, and a line over one.

use super::line::{Connect, Line};
use serde::Serialize;
use serialport::{SerialPort, SerialPortType};
use std::io::{self, ErrorKind, Read, Write};
use std::time::{Duration, Instant};

/// Speed where nothing else is asked for, baud. USB serial takes any.
pub const DEFAULT_BAUD: u32 = 115_200;
/// Bytes that are written at once: a large write may ignore its time limit.
const PIECE: usize = 64;
/// How long the port may take nothing.
const WRITE_WITHIN: Duration = Duration::from_secs(1);

/// A serial port.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Port {
    /// Its path, as `--port` takes it.
    pub path: String,
    /// Maker and product as the device tells them, for a USB port.
    pub usb: Option<UsbPort>,
}

/// What a USB port tells.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct UsbPort {
    /// Vendor number.
    pub vendor: u16,
    /// Product number.
    pub product: u16,
    /// Its words for itself, where it has some.
    pub name: Option<String>,
    /// Serial number.
    pub serial: Option<String>,
}

/// The serial ports of this computer, USB ports first, each kind by path.
///
/// # Errors
/// When the system does not list them.
pub fn list() -> io::Result<Vec<Port>> {
    let mut ports: Vec<Port> = serialport::available_ports()?
        .into_iter()
        .map(|info| {
            let usb = match info.port_type {
                SerialPortType::UsbPort(usb) => Some(UsbPort {
                    vendor: usb.vid,
                    product: usb.pid,
                    name: usb.product,
                    serial: usb.serial_number,
                }),
                _ => None,
            };
            Port { path: info.port_name, usb }
        })
        .collect();
    ports.sort_by(|a, b| (a.usb.is_none(), &a.path).cmp(&(b.usb.is_none(), &b.path)));
    Ok(ports)
}

/// Opens one port by its path.
#[derive(Debug, Clone)]
pub struct PortConnector {
    path: String,
    baud: u32,
}

impl PortConnector {
    /// For the port at `path`.
    pub fn new(path: &str, baud: u32) -> Self {
        Self { path: path.to_owned(), baud }
    }
}

impl Connect for PortConnector {
    fn connect(&mut self) -> io::Result<Box<dyn Line>> {
        let timeout = Duration::from_millis(50);
        let port = serialport::new(&self.path, self.baud).timeout(timeout).dtr_on_open(true).open()?;
        Ok(Box::new(SerialLine { port, timeout }))
    }

    fn name(&self) -> &str {
        &self.path
    }
}

/// A line over a serial port.
struct SerialLine {
    port: Box<dyn SerialPort>,
    timeout: Duration,
}

/// Whether an error only says that nothing happened in time.
fn only_late(error: &io::Error) -> bool {
    matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted)
}

impl Line for SerialLine {
    fn read(&mut self, buffer: &mut [u8], timeout: Duration) -> io::Result<usize> {
        if timeout != self.timeout {
            self.port.set_timeout(timeout)?;
            self.timeout = timeout;
        }
        match self.port.read(buffer) {
            Ok(0) => Err(ErrorKind::BrokenPipe.into()),
            Err(error) if only_late(&error) => Ok(0),
            other => other,
        }
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        let mut rest = bytes;
        let mut until = Instant::now() + WRITE_WITHIN;
        while !rest.is_empty() {
            let piece = rest.get(..PIECE.min(rest.len())).unwrap_or(rest);
            match self.port.write(piece) {
                Ok(0) => return Err(ErrorKind::BrokenPipe.into()),
                Ok(count) => {
                    rest = rest.get(count..).unwrap_or_default();
                    until = Instant::now() + WRITE_WITHIN;
                }
                Err(error) if only_late(&error) && Instant::now() < until => {}
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }
}

#[cfg(test)]
#[cfg(unix)]
mod tests {
    use super::*;
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    use std::fs::File;

    /// A pseudo-terminal: our end, and the path of the other.
    fn terminal() -> (File, String) {
        let ours = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        grantpt(&ours).unwrap();
        unlockpt(&ours).unwrap();
        let path = ptsname(&ours, Vec::new()).unwrap().into_string().unwrap();
        (File::from(ours), path)
    }

    #[test]
    fn a_port_passes_every_byte_and_says_when_the_other_end_is_gone() {
        let (mut ours, path) = terminal();
        let mut line = PortConnector::new(&path, DEFAULT_BAUD).connect().unwrap();
        let every: Vec<u8> = (0..=255).collect();
        let mut buffer = [0; 1024];

        line.write(&every).unwrap();
        let mut heard = Vec::new();
        while heard.len() < every.len() {
            let count = ours.read(&mut buffer).unwrap();
            heard.extend_from_slice(&buffer[..count]);
        }
        assert_eq!(heard, every);

        assert_eq!(line.read(&mut buffer, Duration::from_millis(5)).unwrap(), 0, "nothing came");
        ours.write_all(&every).unwrap();
        let mut heard = Vec::new();
        while heard.len() < every.len() {
            let count = line.read(&mut buffer, Duration::from_millis(200)).unwrap();
            assert!(count > 0);
            heard.extend_from_slice(&buffer[..count]);
        }
        assert_eq!(heard, every);

        drop(ours);
        assert!(line.read(&mut buffer, Duration::from_millis(200)).is_err());
        assert!(line.write(&every).is_err());
        assert!(PortConnector::new(&path, DEFAULT_BAUD).connect().is_err());
    }

    #[test]
    fn the_list_can_be_made() {
        let ports = list().unwrap();
        assert!(ports.iter().all(|p| !p.path.is_empty()));
    }
}
