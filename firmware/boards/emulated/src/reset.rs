//! Why the board last reset. The controller does not say, so words in memory that start-up leaves alone do.

use core::ptr::{addr_of, addr_of_mut};

use hingeline_protocol::ResetCause;

/// Stands in memory as long as the board has power.
const POWERED: u32 = 0x6869_6e67;
/// Stands in memory after a processor fault.
const FAULTED: u32 = 0x6661_756c;

/// Left alone at start-up.
#[unsafe(link_section = ".uninit.RESET_NOTE")]
static mut NOTE: [u32; 2] = [0; 2];

fn note() -> [u32; 2] {
    // Safety: only this file touches it, and never from two places at once: any word is a valid one.
    unsafe { addr_of!(NOTE).read_volatile() }
}

fn set(words: [u32; 2]) {
    // Safety: as above.
    unsafe { addr_of_mut!(NOTE).write_volatile(words) }
}

/// Why it last reset. To be asked once, at start-up.
pub fn cause() -> ResetCause {
    let cause = match note() {
        [POWERED, FAULTED] => ResetCause::Fault,
        // Nothing but the watchdog resets this board while it has power.
        [POWERED, _] => ResetCause::Watchdog,
        _ => ResetCause::PowerOn,
    };
    set([POWERED, 0]);
    cause
}

/// A processor fault: takes note of it and waits for the watchdog.
pub fn fault() -> ! {
    set([POWERED, FAULTED]);
    loop {
        core::hint::spin_loop();
    }
}
