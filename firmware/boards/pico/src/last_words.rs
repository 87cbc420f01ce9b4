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
/// Bytes of a place: the end of a file's name, a colon, and the line.
const PLACE: usize = 48;
/// Of these, the longest line number, and the colon.
const LINE: usize = 6;

/// Mark, length and place.
#[repr(C)]
#[derive(Clone, Copy)]
struct Words {
    mark: u32,
    length: usize,
    place: [u8; PLACE],
}

/// Left alone at start-up.
#[unsafe(link_section = ".uninit.LAST_WORDS")]
static mut WORDS: Words = Words { mark: 0, length: 0, place: [0; PLACE] };

/// The words of the boot before, for as long as this one lasts.
static mut RECALLED: [u8; PLACE] = [0; PLACE];

/// Why it last reset, and where its program failed if it did. To be asked once, at start-up.
pub fn recall() -> (ResetCause, &'static str) {
    // Safety: only this file touches both, and only before interrupts are on or when all has ended; any bits are valid ones.
    let words = unsafe { addr_of!(WORDS).read_volatile() };
    // Safety: as above.
    unsafe { addr_of_mut!(WORDS.mark).write_volatile(0) };
    if words.mark == MARK {
        // Safety: as above; nobody writes to it any more.
        let recalled: &'static [u8; PLACE] = unsafe {
            addr_of_mut!(RECALLED).write(words.place);
            &*addr_of!(RECALLED)
        };
        let place = recalled.get(..words.length).and_then(|bytes| core::str::from_utf8(bytes).ok());
        return (ResetCause::Fault, place.unwrap_or("an unknown place"));
    }
    // Safety: reads two registers of which reading changes nothing.
    let (watchdog, chip) = unsafe {
        ((*pac::WATCHDOG::PTR).reason().read(), (*pac::VREG_AND_CHIP_RESET::PTR).chip_reset().read())
    };
    let cause = if watchdog.timer().bit_is_set() {
        ResetCause::Watchdog
    } else if watchdog.force().bit_is_set() {
        ResetCause::Software
    } else if chip.had_run().bit_is_set() {
        ResetCause::Pin
    } else {
        // Power on and a supply that fell look the same to this controller.
        ResetCause::PowerOn
    };
    (cause, "")
}

/// The end of a file's name and the line, as bytes and how many they are.
fn place_of(file: &[u8], line: u32) -> ([u8; PLACE], usize) {
    let kept = file.len().min(PLACE - LINE);
    let name = file.iter().skip(file.len() - kept).copied();
    // Decimal digits without the formatting machinery, which could fail itself.
    let digits = [10_000, 1_000, 100, 10, 1].map(|unit| b'0' + (line / unit % 10) as u8);
    let leading = digits.iter().take(4).take_while(|digit| **digit == b'0').count();
    let whole = name.chain([b':']).chain(digits.into_iter().skip(leading));
    let (mut place, mut length) = ([0; PLACE], 0);
    place.iter_mut().zip(whole).for_each(|(at, byte)| {
        *at = byte;
        length += 1;
    });
    (place, length)
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
    let file_and_line = info.location().map(|place| place_of(place.file().as_bytes(), place.line()));
    let (place, length) = file_and_line.unwrap_or(([0; PLACE], 0));
    let words = Words { mark: MARK, length, place };
    // Safety: as in `recall`; the program ends here.
    unsafe { addr_of_mut!(WORDS).write_volatile(words) };
    reset()
}
