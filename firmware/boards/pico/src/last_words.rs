//! Why the board last reset, and where its program failed if it did.
//!
//! The logger itself cannot panic, which `firmware/check-cortex-m.sh` proves; the USB stack can (`firmware/panics.py` lists
//! where). A panic leaves its place in memory that start-up leaves alone, and has the watchdog reset the board.

use core::panic::PanicInfo;
use core::ptr::{addr_of, addr_of_mut};

use hingeline_protocol::ResetCause;
use rp2040_hal::pac;

/// Stands before the words of a panic.
const MARK: u32 = 0x6c61_7374;

/// Mark, line, and the end of the file's name.
#[repr(C)]
#[derive(Clone, Copy)]
struct Words {
    mark: u32,
    line: u32,
    file: [u8; 24],
}

/// Left alone at start-up.
#[unsafe(link_section = ".uninit.LAST_WORDS")]
static mut WORDS: Words = Words { mark: 0, line: 0, file: [0; 24] };

/// Why it last reset. To be asked once, at start-up.
pub fn cause() -> ResetCause {
    // Safety: only this file touches it, and only before interrupts are on or when all has ended; any bits are valid ones.
    let words = unsafe { addr_of!(WORDS).read_volatile() };
    // Safety: as above.
    unsafe { addr_of_mut!(WORDS.mark).write_volatile(0) };
    // Safety: reads two registers of which reading changes nothing.
    let (watchdog, chip) = unsafe {
        ((*pac::WATCHDOG::PTR).reason().read(), (*pac::VREG_AND_CHIP_RESET::PTR).chip_reset().read())
    };
    if words.mark == MARK {
        ResetCause::Fault
    } else if watchdog.timer().bit_is_set() {
        ResetCause::Watchdog
    } else if watchdog.force().bit_is_set() {
        ResetCause::Software
    } else if chip.had_run().bit_is_set() {
        ResetCause::Pin
    } else {
        // Power on and a supply that fell look the same to this controller.
        ResetCause::PowerOn
    }
}

/// Resets the board.
pub fn reset() -> ! {
    loop {
        // Safety: writes one bit of a register, which ends the program.
        unsafe { (*pac::WATCHDOG::PTR).ctrl().modify(|_, w| w.trigger().set_bit()) };
    }
}

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    cortex_m::interrupt::disable();
    let mut words = Words { mark: MARK, line: 0, file: [0; 24] };
    if let Some(place) = info.location() {
        words.line = place.line();
        let name = place.file().as_bytes();
        let end = name.len().saturating_sub(words.file.len());
        words.file.iter_mut().zip(name.iter().skip(end)).for_each(|(at, byte)| *at = *byte);
    }
    // Safety: as in `cause`; the program ends here.
    unsafe { addr_of_mut!(WORDS).write_volatile(words) };
    reset()
}
