//! The line to the host: USB serial, which never waits for a host that is gone.

use core::ptr::addr_of_mut;

use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use rp2040_hal::usb::UsbBus;
use usb_device::UsbError;
use usb_device::class_prelude::UsbBusAllocator;
use usb_device::device::{StringDescriptors, UsbDevice, UsbDeviceBuilder, UsbVidPid};
use usbd_serial::{SerialPort, USB_CLASS_CDC};

/// Vendor and product number that any CDC device may use (from the list of free numbers of V-USB).
const NUMBERS: UsbVidPid = UsbVidPid(0x16c0, 0x27dd);
/// Bytes that are taken at once: a full packet.
const PACKET: usize = 64;
/// Bytes that wait for the host in the port itself.
const WAITING: usize = 512;

/// What hands out the controller's memory; it must outlive the port.
static mut ALLOCATOR: Option<UsbBusAllocator<UsbBus>> = None;

/// The USB serial port as a line.
pub struct UsbLine {
    device: Option<UsbDevice<'static, UsbBus>>,
    serial: SerialPort<'static, UsbBus, [u8; PACKET], [u8; WAITING]>,
    taken: [u8; PACKET],
    begin: usize,
    end: usize,
    full: bool,
}

impl UsbLine {
    /// Starts the device. To be called once.
    pub fn start(bus: UsbBus) -> Self {
        // Safety: called once, before anything else looks at it.
        let allocator: &'static UsbBusAllocator<UsbBus> =
            unsafe { (*addr_of_mut!(ALLOCATOR)).insert(UsbBusAllocator::new(bus)) };
        let serial = SerialPort::new_with_store(allocator, [0; PACKET], [0; WAITING]);
        let words = StringDescriptors::default().product("hingeline logger");
        let device = UsbDeviceBuilder::new(allocator, NUMBERS)
            .strings(&[words])
            .and_then(|builder| builder.max_packet_size_0(PACKET as u8))
            .map(|builder| builder.device_class(USB_CLASS_CDC).build());
        Self { device: device.ok(), serial, taken: [0; PACKET], begin: 0, end: 0, full: false }
    }

    /// Moves what there is. Must be called every few milliseconds, or when USB calls.
    pub fn poll(&mut self) {
        if let Some(device) = &mut self.device {
            device.poll(&mut [&mut self.serial]);
        }
        self.full = false;
    }
}

impl ErrorType for UsbLine {
    type Error = core::convert::Infallible;
}

impl ReadReady for UsbLine {
    fn read_ready(&mut self) -> Result<bool, Self::Error> {
        if self.begin == self.end {
            // Nothing has come, or the host is gone: the same for a reader.
            let count = self.serial.read(&mut self.taken).unwrap_or(0);
            (self.begin, self.end) = (0, count.min(PACKET));
        }
        Ok(self.begin < self.end)
    }
}

impl Read for UsbLine {
    fn read(&mut self, out: &mut [u8]) -> Result<usize, Self::Error> {
        let waiting = self.taken.get(self.begin..self.end).unwrap_or(&[]);
        let count = waiting.len().min(out.len());
        out.iter_mut().zip(waiting).for_each(|(at, byte)| *at = *byte);
        self.begin += count;
        Ok(count)
    }
}

impl WriteReady for UsbLine {
    fn write_ready(&mut self) -> Result<bool, Self::Error> {
        // A host that has not opened the port takes nothing.
        Ok(!self.full && self.serial.dtr())
    }
}

impl Write for UsbLine {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Self::Error> {
        match self.serial.write(bytes) {
            Ok(count) => Ok(count),
            Err(UsbError::WouldBlock) => {
                self.full = true;
                Ok(0)
            }
            // It is being reset: what was given is lost, as on any line that is pulled.
            Err(_) => {
                self.full = true;
                Ok(0)
            }
        }
    }

    fn flush(&mut self) -> Result<(), Self::Error> {
        // What cannot be sent now goes with the next packet.
        let _ = self.serial.flush();
        Ok(())
    }
}
