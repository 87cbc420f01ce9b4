//! The logger on an emulated Cortex-M3 (QEMU's lm3s6965evb): pins, clock, lines and the loop.
//!
//! UART 0 is the line to the host; UART 1 leads to I²C buses whose parts live on the PC (see `far_bus` of the logger).
#![no_std]
#![no_main]

mod clock;
mod line;
mod registers;
mod reset;

use cortex_m_rt::{entry, exception};
use hingeline_firmware::far_bus::FarBus;
use hingeline_firmware::{Board, Logger, MAX_BUSES, serial};

use crate::line::{BusLine, HostLine};
use crate::registers::{RCGC0, RCGC1, RCGC2, TIMER0A_IRQ, UART0_IRQ};

/// Clocks of the buses, Hz: short ones at 400 kHz, and bus 1 for units on long cables.
const BUS_CLOCKS_HZ: [u32; MAX_BUSES] = [400_000, 100_000, 400_000, 400_000];

unsafe extern "C" {
    /// Does not exist: the image links only if nothing in it can panic.
    fn a_panic_can_be_reached() -> !;
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    // Safety: this never links, so it never runs.
    unsafe { a_panic_can_be_reached() }
}

#[exception]
fn SysTick() {
    clock::went_around();
}

#[exception]
unsafe fn DefaultHandler(irq: i16) {
    match u32::try_from(irq) {
        Ok(UART0_IRQ) => HostLine::heard(),
        Ok(TIMER0A_IRQ) => clock::rang(),
        // No other is enabled.
        _ => reset::fault(),
    }
}

#[exception(trampoline = false)]
unsafe fn HardFault() -> ! {
    reset::fault()
}

#[entry]
fn main() -> ! {
    // Clocks of the watchdog, timer 0, both UARTs and port F.
    RCGC0.write(1 << 3);
    RCGC1.write(1 << 16 | 0b11);
    RCGC2.write(1 << 5);
    let reset_cause = reset::cause();
    clock::start();
    clock::start_watchdog();
    let mut line = HostLine::start();
    let bus_line = BusLine::start();
    let board = Board {
        name: "emulated lm3s6965evb",
        firmware: env!("CARGO_PKG_VERSION"),
        build: option_env!("HINGELINE_BUILD").unwrap_or("unnamed"),
        unique_id: [0; 16],
        unique_id_length: 8,
        boot_count: 1,
        reset_cause,
        bus_clock_hz: BUS_CLOCKS_HZ,
    };
    let mut buses = [0, 1, 2, 3].map(|bus| FarBus::new(bus_line, bus));
    let mut logger = Logger::new(board, clock::now_us());
    loop {
        let mut wake_us = logger.step(clock::now_us(), &mut buses);
        let Ok(()) = serial::exchange(&mut logger, clock::now_us(), &mut line);
        if logger.is_alive(clock::now_us()) {
            clock::feed_watchdog();
        }
        if !logger.output().is_empty() {
            wake_us = wake_us.min(line.has_room_us());
        }
        clock::sleep_until(wake_us, || line.listen());
    }
}
