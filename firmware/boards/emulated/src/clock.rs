//! Microseconds since boot from SysTick, sleeping until a time, and the watchdog.

use core::sync::atomic::{AtomicU32, Ordering};

use crate::registers::{
    ICSR, NVIC_ISER0, PENDSTSET, SYST_CSR, SYST_CVR, SYST_RVR, TIMER0_CFG, TIMER0_CTL, TIMER0_ICR, TIMER0_IMR,
    TIMER0_TAILR, TIMER0_TAMR, TIMER0A_IRQ, UART0_IRQ, WDT_CTL, WDT_ICR, WDT_LOAD,
};

/// The processor's clock after reset, Hz, from which SysTick, timer and watchdog count.
const CLOCK_HZ: u32 = 12_500_000;
/// SysTick counts down through all of its 24 bits: around in 1.34 s.
const RELOAD: u32 = 0x00ff_ffff;
/// The watchdog asks after so many counts and resets after as many again: 2 s in all.
const WATCHDOG_LOAD: u32 = CLOCK_HZ;

/// Rounds that SysTick has made.
static ROUNDS: AtomicU32 = AtomicU32::new(0);

/// Rounds of [`spin`] in a microsecond.
static SPINS_PER_US: AtomicU32 = AtomicU32::new(1);

/// Starts SysTick with its interrupt, and readies the alarm.
pub fn start() {
    SYST_RVR.write(RELOAD);
    SYST_CVR.write(0);
    // Processor clock, interrupt, enable.
    SYST_CSR.write(0b111);
    TIMER0_CTL.write(0);
    // One timer of 32 bits, one shot.
    TIMER0_CFG.write(0);
    TIMER0_TAMR.write(1);
    TIMER0_IMR.write(1);
    NVIC_ISER0.write(1 << TIMER0A_IRQ | 1 << UART0_IRQ);
    calibrate();
}

/// SysTick went around.
pub fn went_around() {
    ROUNDS.fetch_add(1, Ordering::Relaxed);
}

/// The alarm rang.
pub fn rang() {
    TIMER0_ICR.write(1);
}

/// Runs `work` with interrupts held back.
fn held<T>(work: impl FnOnce() -> T) -> T {
    // Safety: the only interrupts are this board's own, and they bear waiting; nothing here nests.
    unsafe { core::arch::asm!("cpsid i", options(nomem, nostack)) };
    let done = work();
    // Safety: as above.
    unsafe { core::arch::asm!("cpsie i", options(nomem, nostack)) };
    done
}

/// SysTick's count. At zero its interrupt is raised or about to be, and a tick later the count begins again: no telling which
/// round that is, so that tick is waited out.
fn count() -> u32 {
    loop {
        match SYST_CVR.read() & RELOAD {
            0 => {}
            count => return count,
        }
    }
}

/// Microseconds since [`start`].
pub fn now_us() -> u64 {
    let (rounds, count) = held(|| {
        let (rounds, before) = (ROUNDS.load(Ordering::Relaxed), count());
        // It went around and its interrupt waits: the count may be from before or after, so it is read again.
        if ICSR.read() & PENDSTSET != 0 { (rounds.wrapping_add(1), count()) } else { (rounds, before) }
    });
    // 12.5 ticks a microsecond: 25 µs are 2 · ticks. A round is 2²⁴ ticks, 1 342 177 µs and 7/25; division by a constant is
    // cheap in 32 bits only.
    let fraction = rounds.wrapping_mul(7).wrapping_add(2 * (RELOAD - count)) / 25;
    u64::from(rounds) * 1_342_177 + u64::from(fraction)
}

/// Counts a register down, two instructions a round.
fn spin(rounds: u32) {
    let mut left = rounds.max(1);
    // Safety: counts a register down to zero.
    unsafe { core::arch::asm!("1: subs {0}, {0}, #1", "bhi 1b", inout(reg) left, options(nomem, nostack)) };
    let _ = left;
}

/// Finds out how fast [`spin`] is.
fn calibrate() {
    const TRIAL: u32 = 20_000;
    let start_us = now_us();
    spin(TRIAL);
    let took_us = (now_us().saturating_sub(start_us) as u32).max(1);
    SPINS_PER_US.store(TRIAL / took_us, Ordering::Relaxed);
}

/// Lets a time pass that is too short to sleep.
pub fn wait_until(until_us: u64) {
    let spins_per_us = SPINS_PER_US.load(Ordering::Relaxed);
    loop {
        let left_us = until_us.saturating_sub(now_us()).min(1_000_000) as u32;
        if left_us == 0 {
            return;
        }
        // The clock's registers are slow: between two looks at them a little less than what is left.
        spin(left_us.saturating_mul(spins_per_us) / 16 * 15);
    }
}

/// Sleeps until `until_us`, or until an interrupt; not at all if `stay_awake` finds something to do.
pub fn sleep_until(until_us: u64, stay_awake: impl FnOnce() -> bool) {
    let left_us = until_us.saturating_sub(now_us());
    if left_us == 0 {
        return;
    }
    // Longer sleeps end when the alarm does, and begin again.
    let ticks = u32::try_from(left_us).unwrap_or(u32::MAX).min(60_000_000) * (CLOCK_HZ / 500_000) / 2;
    TIMER0_CTL.write(0);
    TIMER0_TAILR.write(ticks);
    TIMER0_CTL.write(1);
    // An interrupt that comes between the look and the sleep is held back, and ends the sleep at once.
    held(|| {
        if !stay_awake() {
            // Safety: waits for an interrupt, which ends it even while held back.
            unsafe { core::arch::asm!("wfi", options(nomem, nostack)) };
        }
    });
}

/// Starts the watchdog: unfed for two seconds it resets the board.
pub fn start_watchdog() {
    WDT_LOAD.write(WATCHDOG_LOAD);
    // Interrupt (which nobody takes: it stands for the first second) and reset.
    WDT_CTL.write(0b11);
}

/// Feeds the watchdog.
pub fn feed_watchdog() {
    WDT_ICR.write(1);
}
