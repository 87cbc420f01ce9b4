//! The logger on an emulated Cortex-M3 (QEMU's lm3s6965evb): pins, clock, lines and the loop.
//!
//! UART 0 is the line to the host; UART 1 leads to I²C buses whose parts, the board's memory among them, live on the PC (see
//! `far_bus` of the logger). The button and the light hang on a
//! port expander beside the memory.
#![no_std]
#![no_main]

mod clock;
mod line;
mod memory;
mod panel;
mod registers;
mod reset;

use core::ptr::addr_of_mut;

use cortex_m_rt::{entry, exception};
use hingeline_firmware::far_bus::{FarBus, MEMORY_BUS};
use hingeline_firmware::panel::Button;
use hingeline_firmware::store::Store;
use hingeline_firmware::{Board, Logger, MAX_BUSES, serial};

use crate::line::{BusLine, HostLine};
use crate::memory::Fram;
use crate::panel::Expander;
use crate::registers::{RCGC0, RCGC1, TIMER0A_IRQ, UART0_IRQ};

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

/// The button is looked at this often, µs: its expander wakes nobody.
const LOOK_US: u64 = 10_000;

/// The logger, off the stack.
static mut LOGGER: Logger = Logger::blank();

#[entry]
fn main() -> ! {
    // Clocks of the watchdog, timer 0 and both UARTs.
    RCGC0.write(1 << 3);
    RCGC1.write(1 << 16 | 0b11);
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
        last_words: "",
        bus_clock_hz: BUS_CLOCKS_HZ,
    };
    let mut buses = [0, 1, 2, 3].map(|bus| FarBus::new(bus_line, bus));
    let mut memory = Fram(FarBus::new(bus_line, MEMORY_BUS));
    // Safety: `main` runs once, and nothing else knows of it.
    let logger = unsafe { &mut *addr_of_mut!(LOGGER) };
    match Store::open(&mut memory) {
        Ok(store) => logger.boot_with_store(board, store, clock::now_us()),
        // It says that it has no store, and works without.
        Err(_) => logger.boot(board, clock::now_us()),
    }
    let (mut button, mut expander) = (Button::new(), Expander::new(FarBus::new(bus_line, MEMORY_BUS)));
    let mut look_us = 0;
    loop {
        let mut wake_us = logger.step(clock::now_us(), &mut buses);
        wake_us = wake_us.min(logger.step_store(clock::now_us(), &mut memory));
        let now_us = clock::now_us();
        if now_us >= look_us {
            look_us = now_us.saturating_add(LOOK_US);
            if let Some(press) = button.step(now_us, expander.is_down()) {
                logger.button(now_us, press);
            }
            expander.light(logger.light().is_on(now_us));
        }
        wake_us = wake_us.min(look_us);
        let Ok(()) = serial::exchange(logger, clock::now_us(), &mut line);
        if logger.is_alive(clock::now_us()) {
            clock::feed_watchdog();
        }
        if !logger.output().is_empty() {
            wake_us = wake_us.min(line.has_room_us());
        }
        clock::sleep_until(wake_us, || line.listen());
    }
}
