//! UART 0 to the host, and UART 1 to the buses.

use core::convert::Infallible;

use embedded_io::{ErrorType, Read, ReadReady, Write, WriteReady};
use hingeline_firmware::far_bus::Line;

use crate::clock;
use crate::registers::{RX_EMPTY, TX_FULL, UART0, UART1, Uart};

/// Speed of the line to the host.
const BAUD: u64 = 115_200;
/// A byte's time on it, ns: ten bits.
const BYTE_NS: u64 = 10 * 1_000_000_000 / BAUD;
/// Bytes that a transmitter with its interrupt's ring holds: more than go out while the longest transfer keeps the loop.
const RING: u64 = 256;
/// Looks at the line to the buses before the clock is looked at: under the emulator each costs far more of the PC's time than
/// of the board's, so that a PC that is late is not much later in the board's time.
const LOOKS: u32 = 64;

fn start(uart: Uart) {
    uart.control().write(0);
    // 12.5 MHz / (16 · 115 200) = 6 + 50/64.
    let [whole, parts] = uart.divisor();
    whole.write(6);
    parts.write(50);
    // Eight bits, FIFOs.
    uart.line().write(0b111 << 4);
    // Transmit, receive, enable.
    uart.control().write(1 << 9 | 1 << 8 | 1);
}

fn get(uart: Uart) -> Option<u8> {
    (uart.flags().read() & RX_EMPTY == 0).then(|| uart.data().read() as u8)
}

/// The line to the host.
///
/// The emulator passes bytes on in no time; here each takes its time, so that this line carries what a real one would.
pub struct HostLine {
    /// When the transmitter will have sent all that it was given, ns.
    sent_ns: u64,
}

impl HostLine {
    /// Opens it.
    pub fn start() -> Self {
        start(UART0);
        Self { sent_ns: 0 }
    }

    /// The transmitter's ring is half empty from then on, µs.
    pub fn has_room_us(&self) -> u64 {
        self.sent_ns.saturating_sub(RING / 2 * BYTE_NS) / 1000 + 1
    }

    /// Whether bytes have come; if not, the next one will interrupt.
    pub fn listen(&self) -> bool {
        // Receive, receive timeout.
        UART0.interrupts().write(1 << 4 | 1 << 6);
        UART0.flags().read() & RX_EMPTY == 0
    }

    /// A byte has come: it is taken by the loop, which the interrupt has woken.
    pub fn heard() {
        UART0.interrupts().write(0);
    }
}

impl ErrorType for HostLine {
    type Error = Infallible;
}

impl Read for HostLine {
    fn read(&mut self, out: &mut [u8]) -> Result<usize, Infallible> {
        let mut count = 0;
        for (at, byte) in out.iter_mut().zip(core::iter::from_fn(|| get(UART0))) {
            *at = byte;
            count += 1;
        }
        Ok(count)
    }
}

impl ReadReady for HostLine {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(UART0.flags().read() & RX_EMPTY == 0)
    }
}

impl WriteReady for HostLine {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(clock::now_us() >= self.has_room_us() && UART0.flags().read() & TX_FULL == 0)
    }
}

impl Write for HostLine {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        let now_ns = clock::now_us() * 1000;
        let mut count = 0;
        for byte in bytes {
            self.sent_ns = self.sent_ns.max(now_ns);
            let full = self.sent_ns - now_ns > (RING - 1) * BYTE_NS || UART0.flags().read() & TX_FULL != 0;
            if full {
                break;
            }
            UART0.data().write(u32::from(*byte));
            self.sent_ns += BYTE_NS;
            count += 1;
        }
        Ok(count)
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// The line to the buses. As fast as the emulator passes bytes on.
#[derive(Clone, Copy)]
pub struct BusLine;

impl BusLine {
    /// Opens it.
    pub fn start() -> Self {
        start(UART1);
        Self
    }
}

impl Line for BusLine {
    fn now_us(&mut self) -> u64 {
        clock::now_us()
    }

    fn put(&mut self, byte: u8) {
        while UART1.flags().read() & TX_FULL != 0 {}
        UART1.data().write(u32::from(byte));
    }

    fn get(&mut self) -> Option<u8> {
        (0..LOOKS).find_map(|_| {
            get(UART1).or_else(|| {
                // An access costs the PC a hundred times what an instruction does, and the board the same.
                (0..8).for_each(|_| _ = UART1.flags().read());
                None
            })
        })
    }

    fn wait_until(&mut self, until_us: u64) {
        clock::wait_until(until_us);
    }
}
