//! `hingeline ports`

use super::output::Screen;
use super::{Ending, Failure};
use crate::device::ports;
use crate::explain::{Explain, Status};

/// List the serial ports that a logger may be on.
#[derive(Debug, clap::Args)]
pub struct Args {}

/// The system does not say which ports there are.
#[derive(Debug, thiserror::Error)]
#[error("cannot list the serial ports: {0}")]
struct PortsError(std::io::Error);

impl Explain for PortsError {
    fn status(&self) -> Status {
        Status::Device
    }
}

/// Runs the command.
pub fn run(_: &Args, screen: &Screen) -> Result<Ending, Failure> {
    let ports = ports::list().map_err(PortsError)?;
    if ports.is_empty() {
        screen
            .print("No serial port. Is the logger plugged in? A virtual one: hingeline simulate VEHICLE.")?;
    }
    for port in ports {
        let name = port.usb.and_then(|usb| usb.name).map_or_else(String::new, |name| format!("  {name}"));
        screen.print(&format!("{}{name}", port.path))?;
    }
    Ok(Ending::Done)
}
