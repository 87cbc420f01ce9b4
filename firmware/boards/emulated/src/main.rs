//! The logger on an emulated Cortex-M3 (QEMU's lm3s6965evb): pins, clock, lines and the loop.
//!
//! UART 0 is the line to the host; UART 1 leads to I²C buses whose parts, the board's memory among them, live on the PC (see
//! `far_bus` of the logger). Port F has the button and the light.
#![no_std]
#![no_main]

mod clock;
mod line;
mod memory;
mod registers;
mod reset;

use cortex_m_rt::{entry, exception};
use hingeline_firmware::far_bus::{FarBus, MEMORY_BUS};
use hingeline_firmware::panel::Button;
use hingeline_firmware::store::Store;
use hingeline_firmware::{Board, Logger, MAX_BUSES, serial};

use crate::line::{BusLine, HostLine};
use crate::memory::Fram;
use crate::registers::{
    BUTTON, LIGHT, PORT_F_DATA, PORT_F_DIGITAL, PORT_F_DIRECTION, PORT_F_PULL_UP, RCGC0, RCGC1, RCGC2, TIMER0A_IRQ,
    UART0_IRQ,
};

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

/// The button is looked at this often, µs: its pin wakes nobody.
const LOOK_US: u64 = 10_000;

/// Steps the button and sets the light; gives when to do so again, µs.
fn step_panel(logger: &mut Logger, button: &mut Button, now_us: u64) -> u64 {
    if let Some(press) = button.step(now_us, PORT_F_DATA.read() & BUTTON == 0) {
        logger.button(now_us, press);
    }
    PORT_F_DATA.write(if logger.light().is_on(now_us) { LIGHT } else { 0 });
    now_us.saturating_add(LOOK_US)
}

#[entry]
fn main() -> ! {
    // Clocks of the watchdog, timer 0, both UARTs and port F.
    RCGC0.write(1 << 3);
    RCGC1.write(1 << 16 | 0b11);
    RCGC2.write(1 << 5);
    let reset_cause = reset::cause();
    clock::start();
    PORT_F_DIRECTION.write(LIGHT);
    PORT_F_PULL_UP.write(BUTTON);
    PORT_F_DIGITAL.write(LIGHT | BUTTON);
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
    let mut memory = Fram(FarBus::new(bus_line, MEMORY_BUS));
    let mut logger = match Store::open(&mut memory) {
        Ok(store) => Logger::with_store(board, store, clock::now_us()),
        // It says that it has no store, and works without.
        Err(_) => Logger::new(board, clock::now_us()),
    };
    let mut button = Button::new();
    // Only now: a memory that is used for the first time keeps the board for longer than the watchdog waits.
    clock::start_watchdog();
    loop {
        let mut wake_us = logger.step(clock::now_us(), &mut buses);
        wake_us = wake_us.min(logger.step_store(clock::now_us(), &mut memory));
        wake_us = wake_us.min(step_panel(&mut logger, &mut button, clock::now_us()));
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
