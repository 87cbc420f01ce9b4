//! The logger on a Raspberry-Pi-Pico-class board (RP2040): pins, clock, USB serial and the loop.
//!
//! | pin | is |
//! |---|---|
//! | GP4, GP5 | SDA and SCL of bus 0, 400 kHz: what is in the box |
//! | GP6, GP7 | SDA and SCL of bus 1, 100 kHz: units on long cables |
//! | GP22 | the button, to ground |
//! | GP25 | the light, on the board itself |
//!
//! Settings and recordings are kept in the flash chip behind the program.
//!
//! USB needs code of others, which can panic: see `last_words`.
#![no_std]
#![no_main]

mod clock;
mod flash;
mod i2c;
mod last_words;
mod usb;

use core::convert::Infallible;
use core::ptr::addr_of_mut;

use embedded_hal::digital::{InputPin, OutputPin};
use hingeline_firmware::panel::Button;
use hingeline_firmware::store::Store;
use hingeline_firmware::{Board, Logger, MAX_BUSES, serial};
use hingeline_protocol::ResetCause;
use rp2040_hal::clocks::{ClocksManager, init_clocks_and_plls};
use rp2040_hal::gpio::{FunctionI2C, Pins, PullUp};
use rp2040_hal::usb::UsbBus;
use rp2040_hal::{Clock, Sio, Timer, Watchdog, pac};

use crate::clock::Sleeper;
use crate::flash::Flash;
use crate::i2c::Controller;
use crate::usb::UsbLine;

/// Copies the program's head from flash at start-up; for the flash chips that these boards carry.
#[unsafe(link_section = ".boot2")]
#[used]
static BOOT2: [u8; 256] = rp2040_boot2::BOOT_LOADER_GENERIC_03H;

/// The board's crystal, Hz.
const CRYSTAL_HZ: u32 = 12_000_000;
/// Clocks of the buses, Hz.
const BUS_CLOCKS_HZ: [u32; 2] = [400_000, 100_000];
/// Unfed for so long, the watchdog resets the board, µs.
const WATCHDOG_US: u32 = 2_000_000;
/// The button is looked at this often, µs.
const LOOK_US: u64 = 5_000;

/// The logger, off the stack.
static mut LOGGER: Logger = Logger::blank();

#[rp2040_hal::entry]
fn main() -> ! {
    let (reset_cause, last_words) = last_words::recall();
    let (Some(mut pac), Some(core)) = (pac::Peripherals::take(), cortex_m::Peripherals::take()) else {
        last_words::reset()
    };
    let (mut watchdog, resets) = (Watchdog::new(pac.WATCHDOG), &mut pac.RESETS);
    let oscillators = (pac.XOSC, pac.CLOCKS, pac.PLL_SYS, pac.PLL_USB);
    let clocks = start_clocks(oscillators, resets, &mut watchdog);
    // A crystal that does not start, or clocks that do not lock: try again.
    let Some(clocks) = clocks else { last_words::reset() };
    watchdog.start(rp2040_hal::fugit::MicrosDurationU32::micros(WATCHDOG_US));
    let mut timer = Timer::new(pac.TIMER, resets, &clocks);
    let sio = Sio::new(pac.SIO);
    let pins = Pins::new(pac.IO_BANK0, pac.PADS_BANK0, sio.gpio_bank0, resets);
    let light = pins.gpio25.into_push_pull_output();
    let button = pins.gpio22.into_pull_up_input();
    let _bus_0 =
        (pins.gpio4.reconfigure::<FunctionI2C, PullUp>(), pins.gpio5.reconfigure::<FunctionI2C, PullUp>());
    let _bus_1 =
        (pins.gpio6.reconfigure::<FunctionI2C, PullUp>(), pins.gpio7.reconfigure::<FunctionI2C, PullUp>());
    let system_hz = clocks.system_clock.freq().to_Hz();
    let mut buses = [
        Controller::start(i2c::Which::First, system_hz, BUS_CLOCKS_HZ[0], timer),
        Controller::start(i2c::Which::Second, system_hz, BUS_CLOCKS_HZ[1], timer),
    ];
    let usb = UsbBus::new(pac.USBCTRL_REGS, pac.USBCTRL_DPRAM, clocks.usb_clock, true, resets);
    let mut line = UsbLine::start(usb);
    let mut sleeper = Sleeper::start(&mut timer, core.NVIC);
    let mut flash = Flash::start();
    let board = board(reset_cause, last_words, flash.as_ref());
    // Safety: `main` runs once, and nothing else knows of it.
    let logger = unsafe { &mut *addr_of_mut!(LOGGER) };
    let now_us = move || timer.get_counter().ticks();
    match flash.as_mut().and_then(|flash| Store::open(flash).ok()) {
        Some(store) => logger.boot_with_store(board, store, now_us()),
        // It says that it has no store, and works without.
        None => logger.boot(board, now_us()),
    }
    let mut panel = Panel { button, light, presses: Button::new(), look_us: 0 };
    loop {
        line.poll();
        let mut wake_us = logger.step(now_us(), &mut buses).min(panel.step(now_us(), logger));
        if let Some(flash) = &mut flash {
            wake_us = wake_us.min(logger.step_store(now_us(), flash));
        }
        // A line that is gone takes nothing; what waits is counted when there is no more room for it.
        let _ = serial::exchange(logger, now_us(), &mut line);
        if logger.is_alive(now_us()) {
            watchdog.feed();
        }
        sleeper.sleep_until(now_us(), wake_us);
    }
}

/// The crystal, both phase-locked loops, and the clocks from them.
fn start_clocks(
    (xosc, clocks, pll_sys, pll_usb): (pac::XOSC, pac::CLOCKS, pac::PLL_SYS, pac::PLL_USB),
    resets: &mut pac::RESETS,
    watchdog: &mut Watchdog,
) -> Option<ClocksManager> {
    init_clocks_and_plls(CRYSTAL_HZ, xosc, clocks, pll_sys, pll_usb, resets, watchdog).ok()
}

/// Who this board is.
fn board(reset_cause: ResetCause, last_words: &'static str, flash: Option<&Flash>) -> Board {
    let mut unique_id = [0; 16];
    let chip = flash.map_or([0; 8], Flash::unique_id);
    unique_id.iter_mut().zip(chip).for_each(|(at, byte)| *at = byte);
    let mut bus_clock_hz = [0; MAX_BUSES];
    bus_clock_hz.iter_mut().zip(BUS_CLOCKS_HZ).for_each(|(at, hz)| *at = hz);
    Board {
        name: "pico rp2040",
        firmware: env!("CARGO_PKG_VERSION"),
        build: option_env!("HINGELINE_BUILD").unwrap_or("unnamed"),
        unique_id,
        unique_id_length: 8,
        boot_count: 1,
        reset_cause,
        last_words,
        bus_clock_hz,
    }
}

/// The button and the light.
struct Panel<B, L> {
    button: B,
    light: L,
    presses: Button,
    look_us: u64,
}

impl<B, L> Panel<B, L>
where
    B: InputPin<Error = Infallible>,
    L: OutputPin<Error = Infallible>,
{
    /// Looks at the button and switches the light, when that is due; gives when to look again, µs.
    fn step(&mut self, now_us: u64, logger: &mut Logger) -> u64 {
        if now_us >= self.look_us {
            self.look_us = now_us.saturating_add(LOOK_US);
            let Ok(down) = self.button.is_low();
            if let Some(press) = self.presses.step(now_us, down) {
                logger.button(now_us, press);
            }
            let on = logger.light().is_on(now_us);
            let Ok(()) = if on { self.light.set_high() } else { self.light.set_low() };
        }
        self.look_us
    }
}
