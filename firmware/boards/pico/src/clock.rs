//! Sleeping until a time, or until USB has something to say.

use core::sync::atomic::{AtomicBool, Ordering};

use cortex_m::peripheral::NVIC;
use rp2040_hal::Timer;
use rp2040_hal::fugit::MicrosDurationU32;
use rp2040_hal::pac::{self, interrupt};
use rp2040_hal::timer::{Alarm, Alarm0};

/// Sleeps shorter than this are not worth their alarm, µs.
const SHORT_US: u64 = 20;
/// The longest sleep, µs: the watchdog waits for twice as long.
const LONG_US: u64 = 500_000;

/// Whether USB has called since the loop looked at it last.
static CALLED: AtomicBool = AtomicBool::new(false);

/// The alarm rang: it has woken the loop, which is all that it is for.
#[interrupt]
fn TIMER_IRQ_0() {
    // Safety: writing ones to INTR clears the alarms' requests, and nobody else uses them.
    unsafe { (*pac::TIMER::PTR).intr().write(|w| w.alarm_0().clear_bit_by_one()) };
}

/// USB calls: the loop takes what there is. Until then the call stands, so that it must be held off.
#[interrupt]
fn USBCTRL_IRQ() {
    CALLED.store(true, Ordering::Relaxed);
    NVIC::mask(pac::Interrupt::USBCTRL_IRQ);
}

/// The alarm and the interrupts that end a sleep.
pub struct Sleeper {
    alarm: Option<Alarm0>,
}

impl Sleeper {
    /// Takes the first alarm and lets both interrupts through.
    pub fn start(timer: &mut Timer, _: NVIC) -> Self {
        let mut alarm = timer.alarm_0();
        if let Some(alarm) = &mut alarm {
            alarm.enable_interrupt();
        }
        // Safety: the handlers above are all that these interrupts reach; they share an atomic and write-to-clear registers.
        unsafe {
            NVIC::unmask(pac::Interrupt::TIMER_IRQ_0);
            NVIC::unmask(pac::Interrupt::USBCTRL_IRQ);
        }
        Self { alarm }
    }

    /// Sleeps until `wake_us`, or until USB calls.
    pub fn sleep_until(&mut self, now_us: u64, wake_us: u64) {
        let left_us = wake_us.saturating_sub(now_us).min(LONG_US);
        let Some(alarm) = self.alarm.as_mut().filter(|_| left_us >= SHORT_US) else { return };
        if alarm.schedule(MicrosDurationU32::micros(left_us as u32)).is_err() {
            return;
        }
        // Safety: its handler is the one above.
        unsafe { NVIC::unmask(pac::Interrupt::USBCTRL_IRQ) };
        cortex_m::interrupt::disable();
        // A call that comes after this look is held back and ends the sleep at once.
        if !CALLED.swap_off() {
            cortex_m::asm::wfi();
        }
        // Safety: nothing here is within a section that must not be interrupted.
        unsafe { cortex_m::interrupt::enable() };
    }
}

trait SwapOff {
    /// Its value, and it is off then. Interrupts are held back: this controller has no atomic exchange.
    fn swap_off(&self) -> bool;
}

impl SwapOff for AtomicBool {
    fn swap_off(&self) -> bool {
        let was = self.load(Ordering::Relaxed);
        self.store(false, Ordering::Relaxed);
        was
    }
}
